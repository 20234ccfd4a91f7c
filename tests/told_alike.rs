//! Which cases a person would take for one telling, and how lists and sums count them.

use serde_json::{Value, json};

use crate::support::{app::TestApp, record};

/// Tools of the demo fleet, of three classes, the first two of one.
const TOOLS: [(&str, &str, &str); 4] = [
    ("BRK-04", "cryo-evaporator", "BRK"),
    ("KSM-03", "cryo-evaporator", "KSM"),
    ("QSB-02", "turbo-sputter", "QSB"),
    ("OLV-03", "load-lock-turbo", "OLV"),
];

fn open(symptom: &str, (tool, class, site): (&str, &str, &str)) -> Value {
    json!({
        "status": "open", "tool": tool, "tool_class": class, "site": site,
        "occurred_at": "2025-03-04T10:20:00Z", "symptom": symptom, "author": "t",
    })
}

fn closed(symptom: &str, cause: &str) -> Value {
    let mut case = record::with("symptom", json!(symptom));
    case["cause"] = json!(cause);
    let (tool, class, site) = TOOLS[0];
    (case["tool"], case["tool_class"], case["site"]) = (json!(tool), json!(class), json!(site));
    case["checks"] = json!([]);
    case
}

async fn file(app: &TestApp, case: &Value) -> i64 {
    let answer = app.post("/api/incidents", case).await.expect(201).json();
    answer["number"].as_i64().expect("a number")
}

async fn hits(app: &TestApp, query: &str) -> Vec<(i64, String)> {
    let answer = app
        .get(&format!("/api/search?q={query}&limit=50"))
        .await
        .expect(200)
        .json();
    let hits = answer["hits"].as_array().expect("hits").iter();
    hits.map(|hit| {
        let number = hit["number"].as_i64().expect("a number");
        (number, hit["why"].to_string())
    })
    .collect()
}

/// Pairs of reports, each found by a word nobody else writes, and whether they are one telling.
#[tokio::test]
async fn cases_told_alike_stand_together_and_no_others() {
    let mut app = TestApp::demo().await;
    let [brk, ksm, qsb, olv] = TOOLS;
    let post = "source-post-oring-overheated";
    let long = "Wobblestone ran gold because the boat was the wrong one, 5e-5 torr and helium into post 2 \
                in ten seconds. There is a brown ring burnt on the base plate.";
    let pairs = [
        (
            "the same few words",
            true,
            open("bumbershoot 6e-5 mbar", brk),
            open("bumbershoot 6e-5 mbar", ksm),
        ),
        (
            "a number written otherwise, a common word more",
            true,
            open("08:00 flumadiddle stuck 6e-5 mbar", brk),
            open("08:00 flumadiddle stuck at 6.0e-5 mbar", ksm),
        ),
        (
            "a count as a word",
            true,
            open("taradiddle in two posts", brk),
            open("taradiddle in 2 posts", brk),
        ),
        (
            "two words of a long story, one cause",
            true,
            closed(long, post),
            closed(&long.replace("brown", "rusty").replace("ten", "10"), post),
        ),
        (
            "another pressure",
            false,
            open(
                "Marzipan drifted at 4e-6 torr after lunch, door opened twice",
                brk,
            ),
            open(
                "Marzipan drifted at 5e-6 torr after lunch, door opened twice",
                brk,
            ),
        ),
        (
            "another count",
            false,
            open("quixotry leaks in 2 posts", brk),
            open("quixotry leaks in 3 posts", brk),
        ),
        (
            "one denies what the other says",
            false,
            open("skedaddle 2e-2 torr, turbo whistles loudly", qsb),
            open("skedaddle 2e-2 torr, no turbo whistles loudly", qsb),
        ),
        (
            "another class of tool",
            false,
            open(
                "gobbledygook stuck at 2e-2 torr, turbo whistles loudly",
                qsb,
            ),
            open(
                "gobbledygook stuck at 2e-2 torr, turbo whistles loudly",
                olv,
            ),
        ),
        (
            "no cause yet, and one word differs",
            false,
            open(
                "lollygag at the left post after new boat and foil change",
                brk,
            ),
            open(
                "lollygag at the right post after new boat and foil change",
                brk,
            ),
        ),
        (
            "another cause",
            false,
            closed("cattywampus since the foil was wrapped", post),
            closed(
                "cattywampus since the foil was wrapped",
                "door-seal-tape-or-foil",
            ),
        ),
    ];
    let mut filed = Vec::new();
    for (what, together, one, other) in pairs {
        let symptom = one["symptom"].as_str().expect("a text").to_lowercase();
        let word = symptom.split(' ').find(|word| !word.starts_with('0'));
        let word = word.expect("its word").to_owned();
        let numbers = [file(&app, &one).await, file(&app, &other).await];
        filed.push((what, together, word, numbers));
    }
    app.settle().await;
    for (what, together, word, numbers) in filed {
        let found = hits(&app, &word).await;
        assert_eq!(
            found.len(),
            if together { 1 } else { 2 },
            "{what}: {found:?}"
        );
        let (first, why) = &found[0];
        let other = numbers.iter().find(|number| *number != first);
        let told = format!("told alike: {}", other.expect("the other"));
        assert_eq!(why.contains(&told), together, "{what}: {why}");
    }
}

/// Lists and sums count a telling once, and say so.
#[tokio::test]
async fn a_telling_counts_once() {
    let mut app = TestApp::demo().await;
    for _ in 0..3 {
        file(
            &app,
            &closed("argle bargle since noon", "door-seal-tape-or-foil"),
        )
        .await;
    }
    let other = closed(
        "argle bargle with the gun on",
        "source-post-oring-overheated",
    );
    file(&app, &other).await;
    app.settle().await;
    let page = app.get("/search?q=argle+bargle").await.expect(200);
    page.assert_shows("4 cases, 2 of them put with one told alike");
    page.assert_shows(
        "Of the 2 nearest with a cause (2 more told alike with one of them, not counted again)",
    );
    page.assert_shows("1 to 2 of 2");
}

/// A reason names the part of the record that the word stands in.
#[tokio::test]
async fn reasons_name_parts_and_notes_by_what_they_are() {
    let mut app = TestApp::demo().await;
    let mut case = closed("slow since noon", "door-seal-tape-or-foil");
    case["notes"] = json!("kerfuffle with the crane");
    case["parts"] = json!(["bamboozle ring", "kerfuffle clamp"]);
    case["proof"] = json!("6e-7 Torr, folderol gone");
    case["checks"] =
        json!([{"check": "door-seal-inspection", "outcome": "found", "note": "hullabaloo found"}]);
    file(&app, &case).await;
    app.settle().await;
    for (word, reasons) in [
        ("bamboozle", &["\"parts: bamboozle\""][..]),
        ("kerfuffle", &["\"notes, parts: kerfuffle\""]),
        ("folderol", &["\"proof: folderol\""]),
        ("hullabaloo", &["\"notes of checks: hullabaloo\""]),
    ] {
        let found = hits(&app, word).await;
        let why = &found[0].1;
        for reason in reasons {
            assert!(why.contains(reason), "{word}: {why}");
        }
    }
}
