//! The search from outside: pressures, words of the trade, what is ruled out, the query language.

use std::time::{Duration, Instant};

use coldtrap::{
    casebook::{Asker, SiteCode, SiteScope},
    search::Request,
};
use serde_json::{Value, json};

use crate::support::app::TestApp;

/// An open incident on a tool of the demo fleet.
async fn file(app: &TestApp, symptom: &str) -> i64 {
    let body = json!({
        "status": "open", "tool": "BRK-04", "tool_class": "cryo-evaporator", "site": "BRK",
        "occurred_at": "2025-03-04T10:20:00Z", "symptom": symptom, "author": "t",
    });
    let answer = app.post("/api/incidents", &body).await.expect(201).json();
    answer["number"].as_i64().expect("a number")
}

async fn hits(app: &TestApp, query: &str) -> Value {
    let words = form_urlencoded::byte_serialize(query.as_bytes()).collect::<String>();
    app.get(&format!("/api/search?q={words}&limit=50"))
        .await
        .expect(200)
        .json()
}

fn numbers(found: &Value) -> Vec<i64> {
    let hits = found["hits"].as_array().expect("hits").iter();
    hits.filter_map(|hit| hit["number"].as_i64()).collect()
}

fn why(found: &Value, number: i64) -> String {
    let mut hits = found["hits"].as_array().expect("hits").iter();
    let hit = hits.find(|hit| hit["number"] == number).expect("the hit");
    hit["why"].to_string()
}

#[tokio::test]
async fn a_pressure_finds_the_case_that_wrote_it_otherwise() {
    let mut app = TestApp::demo().await;
    let near = file(
        &app,
        "base press. won't go below 5.3E-5 mbar since shields were wrapped (quillwort)",
    )
    .await;
    let far = file(&app, "base press. won't go below 9E-8 mbar (quillwort)").await;
    app.settle().await;
    let found = hits(&app, "quillwort 4e-5 Torr").await;
    assert_eq!(numbers(&found)[..2], [near, far]);
    let why = why(&found, near);
    assert!(
        why.contains("pressure 5.3E-5 mbar, near 4e-5 Torr"),
        "{why}"
    );
    let pascals = hits(&app, "quillwort 5.3e-3 Pa").await;
    assert_eq!(numbers(&pascals)[0], near);
    let bare = hits(&app, "quillwort 4e-5").await;
    assert_eq!(numbers(&bare)[0], near);
    let range = hits(&app, "quillwort between 1e-5 and 1e-4 torr").await;
    assert_eq!(numbers(&range)[0], near);
    assert!(!numbers(&range).contains(&far));
}

#[tokio::test]
async fn a_thing_ruled_out_is_not_found_as_there() {
    let mut app = TestApp::demo().await;
    let out = file(&app, "spindlewhack fitted, no tramontane seen, gate fine").await;
    let there = file(&app, "spindlewhack fitted, tramontane on the floor").await;
    app.settle().await;
    let found = hits(&app, "tramontane").await;
    assert!(numbers(&found).contains(&there));
    assert!(!numbers(&found).contains(&out));
    let found = hits(&app, "spindlewhack, no tramontane").await;
    assert_eq!(numbers(&found)[0], out);
}

#[tokio::test]
async fn words_too_common_count_nowhere() {
    let app = TestApp::demo().await;
    let found = hits(&app, "hair on the seal").await;
    let first = numbers(&found)[0];
    let why = why(&found, first);
    assert!(!why.contains(" the") && !why.contains(" on"), "{why}");
    let snippet = found["hits"][0]["snippet"].as_str().expect("a snippet");
    assert!(
        !snippet.to_lowercase().contains("<mark>the</mark>"),
        "{snippet}"
    );
}

#[tokio::test]
async fn other_words_for_the_same_thing_and_slips_find_it() {
    let mut app = TestApp::demo().await;
    let a = file(&app, "backing line zwickel").await;
    let b = file(&app, "pumpdown brambling").await;
    app.settle().await;
    for (query, number) in [
        ("foreline zwickel", a),
        ("forline zwickel", a),
        ("fore-line zwickle", a),
        ("pump down bramblings", b),
        ("pump-down bramling", b),
    ] {
        let found = hits(&app, query).await;
        assert_eq!(numbers(&found).first(), Some(&number), "{query}");
    }
    let found = hits(&app, "foreline zwickel").await;
    let why = why(&found, a);
    assert!(why.contains("backing line (for foreline)"), "{why}");
}

#[tokio::test]
async fn phrases_minus_and_field_words_narrow() {
    let app = TestApp::demo().await;
    let all = hits(&app, "door seal").await;
    let phrase = hits(&app, "\"door seal\"").await;
    let total = |found: &Value| found["total"].as_u64().expect("a total");
    assert!(total(&phrase) > 0 && total(&phrase) < total(&all));
    let left_out = hits(&app, "\"door seal\" -hair").await;
    assert!(total(&left_out) > 0 && total(&left_out) < total(&phrase));
    for hit in hits(&app, "seal kind:water-leak tool:BRK-04").await["hits"]
        .as_array()
        .expect("hits")
    {
        assert_eq!(hit["tool"], "BRK-04");
    }
    for hit in hits(&app, "leak status:open").await["hits"]
        .as_array()
        .expect("hits")
    {
        assert_eq!(hit["status"], "open");
    }
    let site = hits(&app, "leak site:brk").await;
    assert!(total(&site) > 0);
}

#[tokio::test]
async fn a_search_that_finds_nothing_says_what_was_left_out() {
    let app = TestApp::demo().await;
    app.get("/search?q=%22hair+turbo+wafer%22")
        .await
        .expect(200)
        .assert_shows("these fit without them");
    app.get("/search?q=hair+between+1e-11+and+2e-11+torr")
        .await
        .expect(200)
        .assert_shows("these are the nearest");
    app.get("/search?q=the+of+and")
        .await
        .expect(200)
        .assert_shows("these are the newest");
    app.get("/search?q=xylqwvzzk")
        .await
        .expect(200)
        .assert_shows("No case holds the word “xylqwvzzk”");
}

#[tokio::test]
async fn the_nearest_causes_lead_to_a_check_sequence() {
    let app = TestApp::demo().await;
    app.get("/search?q=tip+seals+foreline+high+turbo")
        .await
        .expect(200)
        .assert_shows("/sequence/classes/turbo-sputter");
    let page = app.get("/incidents/1/similar").await.expect(200);
    page.assert_shows("/sequence/tools/");
    let start = page.text.find("/sequence/tools/").expect("the link");
    let link = page.text[start..].split('"').next().expect("its end");
    let answer = app
        .get(&link.replace("&amp;", "&").replace("&#38;", "&"))
        .await;
    let _ = answer.expect(200);
    let help = app.get("/about").await.expect(200);
    help.assert_shows("gate valve ruled out");
}

#[tokio::test]
async fn the_first_ten_are_not_one_cause_alone() {
    let app = TestApp::demo().await;
    let found = hits(&app, "pressure stuck, linear rise").await;
    let hits = found["hits"].as_array().expect("hits");
    let causes: std::collections::BTreeSet<_> = hits
        .iter()
        .take(10)
        .map(|hit| hit["cause"].to_string())
        .collect();
    assert!(causes.len() >= 4, "{causes:?}");
}

#[tokio::test]
async fn cases_told_in_the_same_words_stand_together() {
    let mut app = TestApp::demo().await;
    let mut told = Vec::new();
    for pressure in ["4e-6", "5e-6", "6e-6"] {
        let symptom = format!("Wobblestone drifted at {pressure} torr after marzipan lunch");
        told.push(file(&app, &symptom).await);
    }
    app.settle().await;
    let found = hits(&app, "wobblestone marzipan").await;
    assert_eq!(found["hits"].as_array().expect("hits").len(), 1);
    let first = numbers(&found)[0];
    let why = why(&found, first);
    assert!(why.contains("told alike: "), "{why}");
    for number in told.iter().filter(|number| **number != first) {
        assert!(why.contains(&number.to_string()), "{number}: {why}");
    }
}

#[tokio::test]
async fn anything_typed_is_answered_soon() {
    let app = TestApp::demo().await;
    let _ = hits(&app, "warm").await;
    let typed = [
        "x".repeat(60_000),
        "leak ".repeat(12_000),
        (0..9_000).map(|n| format!("w{n} ")).collect(),
        (0..5_000).map(|n| format!("mispelt{} ", n % 97)).collect(),
        "the of and to in ".repeat(50),
        "\"unbalanced -\" \" cause:\" -".to_owned(),
        "שלום עולם נזילה".to_owned(),
        "🙂🙃 leak 🙂".to_owned(),
        "((((title:a AND [1 TO 2} OR *:* ~5^3".to_owned(),
        "'; DROP TABLE incidents; --".to_owned(),
        "-".repeat(9_000),
        "cause:".repeat(3_000),
        "1e-6..".repeat(5_000),
        "no ".repeat(5_000),
        "between 1e-6 and 1e-5 torr ".repeat(200),
        "e-6 mid ".repeat(300),
    ];
    for text in typed {
        let began = Instant::now();
        let body: String = form_urlencoded::byte_serialize(text.as_bytes()).collect();
        let _ = app.get(&format!("/api/search?q={body}")).await.expect(200);
        let took = began.elapsed();
        let start: String = text.chars().take(30).collect();
        // A build without optimisation on a busy machine; the goal of 200 ms is for release.
        assert!(took < Duration::from_millis(1_500), "{start}: {took:?}");
        println!("{start:<32}{took:?}");
    }
}

/// An asker kept to one site finds nothing of another, and no total tells of it.
#[tokio::test]
async fn an_asker_of_one_site_sees_that_site_only() {
    let app = TestApp::demo().await;
    let only = Asker {
        name: None,
        scope: SiteScope::Only(SiteCode::new("BRK")),
    };
    let request = Request {
        text: "foil".to_owned(),
        limit: 200,
        ..Request::default()
    };
    let all = app
        .index
        .current()
        .search(&Asker::console(), &request)
        .expect("an answer");
    let own = app
        .index
        .current()
        .search(&only, &request)
        .expect("an answer");
    assert!(own.total > 0 && own.total < all.total);
    for hit in &own.hits {
        let filed = app
            .store
            .incident(&only, hit.number)
            .await
            .expect("the store");
        let tool = filed.expect("seen").current().incident.tool.to_string();
        assert!(tool.starts_with("BRK-"), "{tool}");
    }
    let other = all
        .hits
        .iter()
        .find(|hit| own.hits.iter().all(|seen| seen.number != hit.number))
        .expect("a case of another site");
    assert!(
        app.store
            .incident(&only, other.number)
            .await
            .expect("the store")
            .is_none()
    );
    assert!(
        app.store
            .tools(&only)
            .await
            .expect("the store")
            .iter()
            .all(|t| t.site.as_str() == "BRK")
    );
}
