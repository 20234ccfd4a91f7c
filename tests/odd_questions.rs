//! Questions, records and catalogues at the edge of sense, through page and API: a message that
//! says what would be accepted, or numbers that are numbers.

use coldtrap::catalogue::{Catalogue, parse};
use serde_json::{Value, json};

use crate::{
    catalogue::files,
    support::{
        app::{Answer, TestApp},
        record,
    },
};

const TOOL: &str = "BRK-04";

/// The catalogue as shipped with every place of a text in a file replaced.
fn with(path: &str, from: &str, to: &str) -> Catalogue {
    let mut files = files();
    let file = files.iter_mut().find(|file| file.path == path);
    let file = file.expect("the file");
    assert!(file.text.contains(from), "no {from:?} in {path}");
    file.text = file.text.replace(from, to);
    parse(&files).expect("an odd catalogue, not a wrong one")
}

#[track_caller]
fn assert_sound(page: &Answer) {
    for nonsense in ["NaN", "inf ", ">inf<", "-0 "] {
        assert!(!page.text.contains(nonsense), "{nonsense}");
    }
}

/// Every number of an answer is one; JSON has none for what is no number.
#[track_caller]
fn assert_numbers(advice: &Value) {
    for name in [
        "expected_minutes",
        "common_practice_minutes",
        "mended_minutes",
        "gap",
    ] {
        // Where no check is left, none is told.
        match advice["checks"] == json!([]) {
            true => assert!(advice[name].is_null(), "{name}: {advice}"),
            false => assert!(advice[name].as_f64() >= Some(0.0), "{name}: {advice}"),
        }
    }
    let mut total = advice["unlisted_chance"].as_f64().expect("a chance");
    for cause in advice["causes"].as_array().expect("causes") {
        total += cause["chance"].as_f64().expect("a chance");
        assert!(cause["interval"][0].is_number() && cause["interval"][1].is_number());
    }
    assert!((total - 1.0).abs() < 1e-9, "{total}");
    for check in advice["checks"].as_array().expect("checks") {
        for number in [&check["chance"], &check["minutes"], &check["interval"][1]] {
            assert!(number.as_f64() >= Some(0.0), "{check}");
        }
    }
}

async fn advice(app: &TestApp, asked: Value) -> Value {
    let answer = app.post("/api/sequence", &asked).await;
    answer.expect(200).json()
}

#[tokio::test]
async fn a_sign_both_seen_and_absent_is_refused() {
    let app = TestApp::demo().await;
    let plain = app
        .get(&format!("/sequence/tools/{TOOL}"))
        .await
        .expect(200);
    assert!(!plain.text.contains("both as seen and as absent"));
    for (group, id) in [("signs", "rise-linear"), ("antecedents", "door-opened")] {
        let address = format!("/sequence/tools/{TOOL}?{group}.{id}=seen&{group}.{id}=absent");
        let page = app.get(&address).await.expect(200);
        page.assert_shows("is given both as seen and as absent; accepted: one of them, or neither");
        assert_sound(&page);
        let same = format!("/sequence/tools/{TOOL}?{group}.{id}=seen&{group}.{id}=seen");
        let page = app.get(&same).await.expect(200);
        assert!(!page.text.contains("both as seen and as absent"));
        // The last of two answers must not count silently.
        let body =
            format!("{{\"tool\": \"{TOOL}\", \"{group}\": {{\"{id}\": true, \"{id}\": false}}}}");
        let request = axum::http::Request::post("/api/sequence")
            .header("content-type", "application/json")
            .body(axum::body::Body::from(body))
            .expect("a request");
        let answer = app.send(request).await.expect(400);
        answer.assert_shows("is given twice; accepted is once");
        answer.assert_shows(id);
    }
}

/// A record of this tool that the fleet takes.
fn of_tool() -> Value {
    let mut record = record::closed();
    for (name, value) in [
        ("tool", TOOL),
        ("tool_class", "cryo-evaporator"),
        ("site", "BRK"),
    ] {
        record[name] = json!(value);
    }
    record
}

#[tokio::test]
async fn signs_that_exclude_each_other_are_refused_with_both_names() {
    let app = TestApp::demo().await;
    for group in app.catalogue.exclusive_signs() {
        assert!(group.len() > 1, "{group:?}");
        let [one, other] = [&group[0], &group[group.len() - 1]].map(|id| id.as_str());
        let names = [one, other].map(|id| app.catalogue.sign(id).expect("a sign").name.clone());
        let said = |answer: &Answer| {
            answer.assert_shows("exclude each other");
            for name in &names {
                answer.assert_shows(name);
            }
        };
        let both = json!({one: true, other: true});
        let asked = json!({"tool": TOOL, "signs": both});
        said(&app.post("/api/sequence", &asked).await.expect(422));
        let address = format!("/sequence/tools/{TOOL}?signs.{one}=seen&signs.{other}=seen");
        let page = app.get(&address).await.expect(200);
        said(&page);
        assert_sound(&page);
        let mut record = of_tool();
        record["signs"] = both;
        said(&app.post("/api/incidents", &record).await.expect(422));
        let fields = [
            ("tool", TOOL),
            (&format!("signs.{one}"), "seen"),
            (&format!("signs.{other}"), "seen"),
        ];
        said(&app.form("/incidents/new", &fields).await.expect(422));
        // Both may be absent, and one of them seen.
        for answers in [
            json!({one: false, other: false}),
            json!({one: true, other: false}),
        ] {
            let _ = advice(&app, json!({"tool": TOOL, "signs": answers})).await;
        }
    }
}

#[tokio::test]
async fn a_pressure_below_the_healthy_one_is_refused() {
    let app = TestApp::demo().await;
    let pressure = |value: f64| json!({"value": value, "unit": "torr"});
    let asked = json!({"tool": TOOL,
        "pressures": {"healthy": pressure(5e-7), "faulty": pressure(4e-7)}});
    let answer = app.post("/api/sequence", &asked).await.expect(422);
    answer.assert_shows("lies below the healthy pressure");
    let address =
        format!("/sequence/tools/{TOOL}?pressures.faulty.value=1e-12&pressures.faulty.unit=torr");
    let page = app.get(&address).await.expect(200);
    page.assert_shows("lies below the healthy pressure");
    assert_sound(&page);
}

#[tokio::test]
async fn what_is_not_plain_in_a_question_is_said() {
    let app = TestApp::demo().await;
    let outcome = |outcome: &str| json!({"check": "change-review", "outcome": outcome});
    let asked = json!({"tool": TOOL, "signs": {"turbo-power-high": true},
        "outcomes": [outcome("clear"), outcome("found")]});
    let notes = advice(&app, asked).await["notes"].to_string();
    assert!(
        notes.contains("has several outcomes: the last one that could be judged counts"),
        "{notes}"
    );
    assert!(
        notes.contains("Nothing that this tool has brings about"),
        "{notes}"
    );
    assert!(
        notes.contains("mend that, then prove it by pumping down again"),
        "{notes}"
    );
    let plain = advice(&app, json!({"tool": TOOL, "signs": {"rise-linear": true}})).await;
    assert_eq!(plain["notes"], json!([]));
    // What was looked for in vain was not seen on another tool either.
    let absent = advice(
        &app,
        json!({"tool": TOOL, "signs": {"turbo-power-high": false}}),
    )
    .await;
    assert_eq!(absent["notes"], json!([]));

    let address = format!(
        "/sequence/tools/{TOOL}?signs.turbo-power-high=seen&help_minutes=30\
         &outcomes.change-review=clear&outcomes.change-review=found"
    );
    let page = app.get(&address).await.expect(200);
    page.assert_shows("has several outcomes: the last one that could be judged counts");
    page.assert_shows("Nothing that this tool has brings about");
    page.assert_shows("Not now: something is found.");

    let mut address = format!("/sequence/tools/{TOOL}?help_minutes=30");
    for check in app.catalogue.checks() {
        address.push_str(&format!("&outcomes.{}=clear", check.id));
    }
    let page = app.get(&address).await.expect(200);
    page.assert_shows("No check is left that could find the cause");
    assert!(!page.text.contains("going on is expected to cost less"));
}

/// Once the supply was given back, what is behind a lock-out has it again; on a tool that is
/// said to be still vented it is taken as on, and that is said.
#[tokio::test]
async fn a_lock_out_that_ended_is_ordered_again() {
    let app = TestApp::demo().await;
    let lock_out = json!({"check": "electron-beam-lock-out", "outcome": "clear"});
    let place = |advice: &Value, check: &str| {
        let checks = advice["checks"].as_array().expect("checks");
        checks.iter().position(|step| step["check"] == check)
    };
    let door = "door-seal-inspection";
    let pumped = advice(&app, json!({"tool": TOOL, "outcomes": [lock_out]})).await;
    let again = place(&pumped, "electron-beam-lock-out").expect("it ended");
    assert!(again < place(&pumped, door).expect("a check"));
    assert_eq!(pumped["checks"][again]["anew"], true);
    assert_eq!(pumped["checks"][again]["chance"], 0.0);
    let vented = json!({"tool": TOOL, "state": "vented", "outcomes": [lock_out]});
    let vented = advice(&app, vented).await;
    assert_eq!(vented["held"], json!(["electron-beam-lock-out"]));
    let first = place(&vented, "electron-beam-lock-out");
    assert!(first.is_none_or(|again| again > place(&vented, door).expect("a check")));
    assert!(
        vented["notes"]
            .to_string()
            .contains("Taken as still in force")
    );
    // In a list of outcomes a check on the pumped tool after it ended it.
    let between = json!({"check": "gauge-comparison", "outcome": "clear"});
    let since = json!({"tool": TOOL, "state": "vented", "outcomes": [lock_out, between]});
    assert_eq!(advice(&app, since).await["held"], json!([]));

    let page = app
        .get(&format!(
            "/sequence/tools/{TOOL}?outcomes.electron-beam-lock-out=clear"
        ))
        .await
        .expect(200);
    page.assert_shows("what it secured ended when the tool left its state");
    page.assert_shows("id=\"outcomes.electron-beam-lock-out");
}

#[tokio::test]
async fn checks_of_no_minutes_give_numbers() {
    let catalogue = with("checks/gauge-zero-check.md", "minutes = ", "minutes = 0 # ");
    let app = TestApp::demo_by(catalogue).await;
    let all = advice(&app, json!({"tool": TOOL})).await;
    assert_numbers(&all);
    let checks = all["checks"].as_array().expect("checks");
    let free = checks
        .iter()
        .find(|check| check["check"] == "gauge-zero-check");
    assert_eq!(free.expect("it costs nothing")["minutes"], 0.0);
    let page = app
        .get(&format!("/sequence/tools/{TOOL}"))
        .await
        .expect(200);
    assert_sound(&page);
}

#[tokio::test]
async fn chances_of_0_and_1_give_numbers() {
    let mut files = files();
    // Every chance of a sign, an antecedent or a check becomes 0 or 1.
    let surely = |word: &str| {
        let number = word.trim_end_matches(',');
        let Some(chance) = number.strip_prefix("0.").and(number.parse::<f64>().ok()) else {
            return word.to_owned();
        };
        format!("{}.0{}", u8::from(chance > 0.5), &word[number.len()..])
    };
    let mut changed = 0;
    for file in &mut files {
        let lines = file.text.lines().map(|line| {
            let name = line.split(" = ").next().unwrap_or_default();
            if !line.contains(" = ") || ["weight", "weights", "decades"].contains(&name) {
                return line.to_owned();
            }
            let sure: Vec<String> = line.split(' ').map(surely).collect();
            sure.join(" ")
        });
        let sure = lines.collect::<Vec<_>>().join("\n") + "\n";
        changed += usize::from(sure != file.text);
        file.text = sure;
    }
    assert!(changed > 20, "{changed} files changed");
    let app = TestApp::demo_by(parse(&files).expect("chances of 0 and 1 are chances")).await;
    let signs = json!({"rise-linear": true, "rise-flattens": false, "water-visible": true});
    for asked in [
        json!({"tool": TOOL}),
        json!({"tool": TOOL, "signs": signs}),
        json!({"tool": TOOL, "signs": signs, "outcomes": {"pressure-rise-test": "found",
            "gauge-comparison": "clear"}}),
    ] {
        assert_numbers(&advice(&app, asked).await);
    }
    let address = format!(
        "/sequence/tools/{TOOL}?signs.rise-linear=seen&signs.rise-flattens=absent\
         &outcomes.pressure-rise-test=found"
    );
    assert_sound(&app.get(&address).await.expect(200));
}

/// A catalogue with a cause that nothing finds is refused; once all that could find one is done,
/// page and API say so.
#[tokio::test]
async fn a_cause_with_no_check_is_said() {
    let cause = "gauge-cable-or-controller";
    let mut files = files();
    for file in &mut files {
        if file.path.starts_with("checks/") {
            let kept = file.text.lines().filter(|line| !line.starts_with(cause));
            file.text = kept.collect::<Vec<_>>().join("\n") + "\n";
        }
    }
    let mistakes = parse(&files).expect_err("nothing finds it").0;
    let said = format!("reveals the cause {cause:?}");
    assert!(
        mistakes
            .iter()
            .any(|mistake| mistake.line > 0 && mistake.problem.contains(&said)),
        "{mistakes:?}"
    );

    let app = TestApp::demo().await;
    let mut outcomes = serde_json::Map::new();
    let mut address = format!("/sequence/tools/{TOOL}?");
    for check in app.catalogue.checks().filter(|check| !check.isolating) {
        outcomes.insert(check.id.to_string(), json!("clear"));
        address.push_str(&format!("&outcomes.{}=clear", check.id));
    }
    let before = advice(&app, json!({"tool": TOOL})).await;
    assert_eq!(before["without_check"], json!([]));
    let all = advice(&app, json!({"tool": TOOL, "outcomes": outcomes})).await;
    assert_numbers(&all);
    let first = &all["without_check"][0];
    assert!(first["chance"].as_f64() > Some(0.01), "{first}");
    let known = app
        .catalogue
        .cause(first["cause"].as_str().expect("a cause"));
    let name = known.expect("the cause").name.to_lowercase();
    let page = app.get(&address).await.expect(200);
    page.assert_shows(&format!("No check that is left can find {name} ("));
    let page = app
        .get(&format!("/sequence/tools/{TOOL}"))
        .await
        .expect(200);
    assert!(!page.text.contains("No check that is left"));
}

#[tokio::test]
async fn a_class_without_cases_is_advised_by_common_practice() {
    let app = TestApp::empty().await;
    for class in app.catalogue.classes().map(|class| class.id.to_string()) {
        let all = advice(&app, json!({"tool_class": class})).await;
        assert_numbers(&all);
        assert_eq!(all["class_cases"], 0);
        for cause in all["causes"].as_array().expect("causes") {
            let chance = |name: &str| cause[name].as_f64().expect("a chance");
            assert!((chance("chance") - chance("common_practice_chance")).abs() < 1e-12);
        }
        let page = app
            .get(&format!("/sequence/classes/{class}"))
            .await
            .expect(200);
        page.assert_shows("0 closed cases of this class");
        assert_sound(&page);
        let page = app
            .get(&format!("/statistics?tool_class={class}"))
            .await
            .expect(200);
        page.assert_shows("No closed incident matches these filters.");
        let counted = app
            .get(&format!("/api/statistics/causes?tool_class={class}"))
            .await;
        let counted = counted.expect(200).json();
        assert_eq!(
            (&counted["sample"], &counted["causes"]),
            (&json!(0), &json!([]))
        );
    }
    let unknown = app
        .post("/api/sequence", &json!({"tool_class": "none"}))
        .await
        .expect(422);
    unknown.assert_shows("no tool class is called");
    unknown.assert_shows("cryo-evaporator");
    let _ = app.get("/sequence/classes/none").await.expect(404);
}

/// A tool that has none of the parts that can fail is refused for that, and sent to nothing else.
#[tokio::test]
async fn a_tool_without_parts_is_refused_for_that() {
    let app = TestApp::demo().await;
    let class = app.catalogue.class("cryo-evaporator").expect("a class");
    let mut report = record::closed();
    report["cause"] = json!("not-found");
    for told in ["signs", "antecedents"] {
        report[told] = json!({});
    }
    report["checks"] = json!([]);
    report["tool_details"] = json!({ "lacking": class.components });
    let _ = app.post("/api/incidents", &report).await.expect(201);
    let asked = app
        .post("/api/sequence", &json!({"tool": "TST-01"}))
        .await
        .expect(422);
    let told = asked.json()["errors"].to_string();
    assert!(
        told.contains("no cause is possible with these components"),
        "{told}"
    );
    assert!(
        told.contains("a tool with at least one component that can fail"),
        "{told}"
    );
    assert!(!told.contains("contradict each other"), "{told}");
    let page = app.get("/sequence/tools/TST-01").await.expect(422);
    page.assert_shows("a tool with at least one component that can fail");
    assert!(!page.shows("contradict each other"));
}

#[tokio::test]
async fn a_negative_time_is_refused() {
    let app = TestApp::demo().await;
    let known = of_tool();
    for (path, field) in [
        ("/labour_minutes", "labour_minutes"),
        ("/down_hours", "down_hours"),
        ("/checks/0/minutes", "checks[0].minutes"),
    ] {
        let mut record = known.clone();
        *record.pointer_mut(path).expect("a time") = json!(-5);
        let answer = app.post("/api/incidents", &record).await.expect(422);
        let problem = answer.json();
        let errors = problem["errors"].as_array().expect("errors");
        let of_field = errors.iter().find(|error| error["field"] == field);
        let error = of_field.unwrap_or_else(|| panic!("{field}: {problem}"));
        assert!(error.to_string().contains("-5"), "{error}");
        assert!(
            error["accepted"]
                .as_str()
                .expect("what is")
                .contains("from 0 "),
            "{error}"
        );
    }
    let answer = app
        .form(
            "/incidents/new",
            &[("labour_minutes", "-5"), ("down_hours", "-0.1")],
        )
        .await;
    let page = answer.expect(422);
    page.assert_shows("value=\"-5\"");
    page.assert_shows("is -5.0; accepted: a number from 0 ");
    page.assert_shows("is -0.1; accepted: a number from 0 ");

    let asked = json!({"tool": TOOL, "help_minutes": -5});
    let answer = app.post("/api/sequence", &asked).await.expect(422);
    answer.assert_shows("is not a number of minutes");
    let page = app
        .get(&format!("/sequence/tools/{TOOL}?help_minutes=-5"))
        .await
        .expect(200);
    page.assert_shows("is not a number of minutes; accepted: 0 to 1000000");
    assert_sound(&page);
    // An outcome holds no time, so that none is passed over in silence.
    let outcome = json!({"check": "gauge-comparison", "outcome": "found", "minutes": -4});
    let asked = json!({"tool": TOOL, "outcomes": [outcome, 7]});
    let refused = app.post("/api/sequence", &asked).await.expect(422);
    refused.assert_shows("outcomes[0].minutes");
    refused.assert_shows("is not a field of an outcome");
    refused.assert_shows("outcomes[1]");
}
