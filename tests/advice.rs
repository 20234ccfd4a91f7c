//! Advice as pages and the API give it: evidence that fits nothing, cases that grow old, and
//! chances that come true.

use std::collections::{BTreeMap, HashSet};

use axum::{
    body::Body,
    http::{Request as Asked, header},
};
use coldtrap::{
    advice::{Chances, Evidence, Learned, Request, State, advise, sequence::Effort},
    casebook::Asker,
    catalogue::{SourceFile, parse, source},
    knowledge::{self, case_of},
    replay::History,
    statistics::{Case, Ledger, NOT_FOUND, tables::Lessons},
    synthesise::Fleet,
};
use serde_json::{Value, json};

use crate::{
    catalogue::files,
    support::{app::TestApp, record},
};

#[tokio::test]
async fn evidence_against_every_single_cause_is_said() {
    let app = TestApp::demo().await;
    let asked = |signs: Value| json!({"tool": "BRK-04", "signs": signs});
    let plain = app
        .post("/api/sequence", &asked(json!({})))
        .await
        .expect(200)
        .json();
    assert_eq!(plain["contradiction"], false);
    assert_eq!(plain["two_faults"], Value::Null);
    let gauge = json!({"gauge-stuck-pirani-limit": true, "gauge-not-lit": true});
    let one = app
        .post("/api/sequence", &asked(gauge))
        .await
        .expect(200)
        .json();
    assert_eq!(one["contradiction"], false);
    let both = json!({
        "gauge-stuck-pirani-limit": true,
        "gauge-not-lit": true,
        "cooling-water-off-pressure-falls": true,
        "hearth-moved": true,
    });
    let two = app
        .post("/api/sequence", &asked(both))
        .await
        .expect(200)
        .json();
    assert_eq!(two["contradiction"], true);
    let faults = two["two_faults"].as_array().expect("two causes");
    let names: Vec<String> = faults
        .iter()
        .map(|cause| {
            let cause = cause.as_str().expect("a cause");
            let known = app.catalogue.cause(cause).expect("one of the catalogue");
            known.name.to_lowercase()
        })
        .collect();
    // One that the gauge tells of, and one that water or the hearth does.
    assert_eq!(names.len(), 2);
    let tells = |cause: &Value, sign: &str| {
        let cause = app.catalogue.cause(cause.as_str().expect("a cause"));
        cause
            .expect("a cause")
            .signs
            .keys()
            .any(|own| own.as_str() == sign)
    };
    for signs in [
        ["gauge-stuck-pirani-limit", "gauge-not-lit"],
        ["cooling-water-off-pressure-falls", "hearth-moved"],
    ] {
        let told = |cause: &Value| signs.iter().any(|sign| tells(cause, sign));
        assert!(
            faults.iter().any(told),
            "{names:?} say nothing of {signs:?}"
        );
    }
    let page = app
        .get(
            "/sequence/tools/BRK-04?signs.gauge-stuck-pirani-limit=seen&signs.gauge-not-lit=seen\
             &signs.cooling-water-off-pressure-falls=seen&signs.hearth-moved=seen",
        )
        .await
        .expect(200);
    page.assert_shows("What is stated fits no single cause well.");
    let [one, other] = [&names[0], &names[1]];
    page.assert_shows(&format!(
        "Two faults at once would fit better: {one} and {other}."
    ));
}

/// What the stop rule says will be left is what the advice expects once the outcomes that it takes
/// for granted are stated, and one step earlier going on costs no more than help. In every class
/// of the demo, with what its incidents teach, for three prices and with a sign that changes the
/// order; to 2 %, since the order is searched for anew (in a debug build with the quick search).
#[tokio::test]
async fn the_stop_rule_and_the_advice_expect_the_same() {
    const AGREES: f64 = 0.02;
    let app = TestApp::demo().await;
    let history = History::read(&app.store, &app.catalogue, &Asker::console(), 10_000).await;
    let practice = knowledge::practice(&app.catalogue).expect("usable");
    let untaught = Learned::from(&practice, &Lessons::default());
    let mut ledger = Ledger::new();
    for past in history.expect("the demo's incidents").cases {
        let case = &past.case;
        ledger.apply(case.number, Some(case)).expect("a case");
    }
    let learned = Learned::from(&practice, &ledger.lessons(None));
    let (mut compared, mut worst, mut never) = (0, 0.0_f64, 0);
    for class in app.catalogue.classes() {
        for sign in [None, Some("rise-linear")] {
            let mut request = Request {
                class: class.id.to_string(),
                components: Some(class.components.iter().map(ToString::to_string).collect()),
                state: State::Pumped,
                evidence: Evidence::default(),
                price_of_help: None,
                effort: match cfg!(debug_assertions) {
                    true => Effort::Quick,
                    false => Effort::Full,
                },
            };
            request.evidence.signs = sign.map(|id| (id.to_owned(), true)).into_iter().collect();
            request.evidence.ordered = usize::MAX;
            let ask = |request: &Request| {
                advise(&practice, &learned, &untaught, request).expect("advice")
            };
            let now = ask(&request).expected_minutes;
            for price in [1.1 * now, 1.4 * now, 1.8 * now] {
                request.price_of_help = Some(price);
                let advice = ask(&request);
                let Some(stop) = advice.stop else {
                    never += 1;
                    continue;
                };
                assert!(stop.after > 0 && stop.left_minutes > price);
                for made in [stop.after - 1, stop.after] {
                    let mut next = request.clone();
                    for step in &advice.steps[..made] {
                        next.evidence
                            .outcomes
                            .push((step.check.clone(), step.assumed));
                        next.state = match step.leave_minutes > 0.0 {
                            true => State::Pumped,
                            false => step.state,
                        };
                    }
                    let left = ask(&next).expected_minutes;
                    if made == stop.after {
                        worst = worst.max((stop.left_minutes / left - 1.0).abs());
                        compared += 1;
                    }
                    let told = format!(
                        "{} {sign:?}, {now:.0} now, help {price:.0}: {left:.1} after {made}, {:.1} \
                         promised after {}",
                        class.id, stop.left_minutes, stop.after
                    );
                    println!("{told}");
                    assert!(
                        made == stop.after || left <= (1.0 + AGREES) * price,
                        "{told}"
                    );
                }
            }
        }
    }
    println!("{compared} compared, worst {worst}, {never} times no stop");
    assert!(compared >= 20, "{compared}");
    assert!(worst < AGREES, "{worst}");
}

/// Once every check was made and nothing found, no time to the cause is told and nothing is called
/// proven; the help named is what was not had yet, and the report holds what was done.
#[tokio::test]
async fn the_end_of_the_checks_is_no_shortest_order() {
    let app = TestApp::demo().await;
    let checks: Vec<String> = app
        .catalogue
        .checks()
        .map(|check| check.id.to_string())
        .collect();
    let but = |left: &[&str]| {
        let made = checks.iter().filter(|id| !left.contains(&id.as_str()));
        made.cloned().collect::<Vec<_>>()
    };
    let asked = |made: &[String]| {
        let of = |id: &String| json!({"check": id, "outcome": "clear"});
        json!({"tool": "OLV-01", "help_minutes": 5, "outcomes": made.iter().map(of).collect::<Vec<_>>()})
    };
    let address = |made: &[String]| {
        let of = |id: &String| format!("outcomes.{id}=clear");
        let outcomes = made.iter().map(of).collect::<Vec<_>>().join("&");
        format!("/sequence/tools/OLV-01?{outcomes}")
    };
    let all = but(&[]);
    let answer = app
        .post("/api/sequence", &asked(&all))
        .await
        .expect(200)
        .json();
    assert_eq!(answer["checks"], json!([]));
    for told in [
        "expected_minutes",
        "common_practice_minutes",
        "mended_minutes",
        "gap",
    ] {
        assert!(answer[told].is_null(), "{told}");
    }
    assert_eq!(answer["proven_optimal"], false);
    let page = app.get(&address(&all)).await.expect(200);
    page.assert_shows("No check is left that could find the cause");
    page.assert_shows("Helium leak test and residual gas analysis were made");
    assert!(!page.shows("Proven shortest") && !page.shows(">0 min<"));
    let report = page
        .text
        .split("href=\"/incidents/new?")
        .nth(1)
        .expect("a report");
    let report = report.split('"').next().expect("its address");
    assert!(report.contains("tool=OLV-01") && report.contains("=door-seal-inspection"));

    // The help that is named is what was not had yet, at the end and before it.
    let analysis = ["residual-gas-scan", "residual-gas-analysis-hired"];
    let page = app.get(&address(&but(&analysis))).await.expect(200);
    page.assert_shows("Bring the residual gas analyser, which costs ");
    let helium = ["helium-leak-test-hired".to_owned()];
    for (made, help) in [
        (&helium[..], "the residual gas analyser"),
        (&[], "the helium leak detector or the residual gas analyser"),
    ] {
        let page = app.get(&format!("{}&help_minutes=5", address(made))).await;
        page.expect(200)
            .assert_shows(&format!("Now, bring {help}: "));
    }
}

/// What is told of a part that the tool lacks, of a check that nobody could judge, and of a state that the
/// last check contradicts is said, and counts for nothing where it means nothing.
#[tokio::test]
async fn what_does_not_fit_is_said() {
    let app = TestApp::demo().await;
    let ask = async |question: Value| {
        app.post("/api/sequence", &question)
            .await
            .expect(200)
            .json()
    };
    let says = |answer: &Value, words: &str| answer["notes"].to_string().contains(words);
    // A turbo tool has no cold stage, so that neither answer moves a cause; a cryo tool has one.
    let with =
        |class: &str, seen: Value| json!({"tool_class": class, "signs": seen, "antecedents": {}});
    let sign = |seen: bool| json!({"cryo-warms-when-vented": seen});
    let foreign = "is of something that this tool does not have";
    let plain = ask(with("turbo-sputter", json!({}))).await;
    for seen in [true, false] {
        let told = ask(with("turbo-sputter", sign(seen))).await;
        assert_eq!(told["causes"], plain["causes"], "{seen}");
        assert_eq!(says(&told, foreign), seen);
    }
    let page = app.get("/sequence/classes/turbo-sputter").await.expect(200);
    assert!(!page.shows("cold stage") && !page.shows("signs.cryo-"));
    let plain = ask(with("cryo-sputter", json!({}))).await;
    let told = ask(with("cryo-sputter", sign(true))).await;
    assert_ne!(told["causes"], plain["causes"]);
    assert!(!says(&told, foreign));

    let outcomes = |of: &[(&str, &str)]| {
        let of = of
            .iter()
            .map(|(check, outcome)| json!({"check": check, "outcome": outcome}));
        json!({"tool": "BRK-04", "outcomes": of.collect::<Vec<_>>()})
    };
    let unsure = ask(outcomes(&[("gauge-comparison", "inconclusive")])).await;
    assert!(says(&unsure, "could not be judged, so it says nothing"));
    let door = [
        ("electron-beam-lock-out", "clear"),
        ("door-seal-inspection", "clear"),
    ];
    let leaves = "leaves the tool vented; it is taken as pumped since then";
    let pumped = ask(outcomes(&door)).await;
    assert!(says(&pumped, leaves) && !says(&pumped, "could not be judged"));
    let mut vented = outcomes(&door);
    vented["state"] = json!("vented");
    assert!(!says(&ask(vented).await, "it is taken as"));
    // A form that tells what came last is as plain; one that said the tool was pumped since is believed.
    let stated =
        "/sequence/tools/BRK-04?outcomes.door-seal-inspection=clear&made=door-seal-inspection";
    app.get(stated).await.expect(200).assert_shows(leaves);
    let since = app.get(&format!("{stated},@pumped")).await.expect(200);
    assert!(!since.shows(leaves));
}

/// A look that is told as a sign and as the outcome of the check that looks for it moves the belief as one
/// look does; one that came out otherwise is another look.
#[tokio::test]
async fn one_look_counts_once() {
    let app = TestApp::demo().await;
    let ask = async |signs: Value, outcomes: &[(&str, &str)]| {
        let of = outcomes
            .iter()
            .map(|(check, outcome)| json!({"check": check, "outcome": outcome}));
        let outcomes: Vec<Value> = of.collect();
        let asked = json!({"tool_class": "cryo-evaporator", "signs": signs, "outcomes": outcomes});
        let answer = app.post("/api/sequence", &asked).await.expect(200).json();
        answer["causes"].clone()
    };
    let post = ("source-post-turn-by-hand", "found");
    let seen = json!({"post-turns-by-hand": true});
    let absent = json!({"post-turns-by-hand": false});
    let clear = [("source-post-turn-by-hand", "clear")];
    let sign = ask(seen.clone(), &[]).await;
    assert_eq!(ask(seen.clone(), &[post]).await, sign);
    assert_eq!(ask(absent, &clear).await, ask(json!({}), &clear).await);
    // Told against itself, the check counts, whichever sort it is, and a note says so.
    assert_eq!(ask(seen, &clear).await, ask(json!({}), &clear).await);
    // The gauges compared once, told by a calculation and by hand.
    let compared = json!({"gauge-disagrees": true, "gauge-plausible": false});
    let gauges = [("gauge-comparison", "found")];
    assert_eq!(
        ask(compared.clone(), &gauges).await,
        ask(compared, &[]).await
    );
    for (sign, seen, check, outcome, words) in [
        (
            "gauge-disagrees",
            true,
            "gauge-comparison",
            "clear",
            "stated as seen, and",
        ),
        (
            "rise-as-healthy",
            true,
            "pressure-rise-test",
            "found",
            "as found: one look",
        ),
        (
            "cooling-water-off-pressure-falls",
            false,
            "cooling-water-off-test",
            "found",
            "not seen, and",
        ),
        (
            "door-seal-joint-open",
            true,
            "door-seal-joint-inspection",
            "clear",
            "as clear: one look",
        ),
    ] {
        let outcomes = json!([{"check": check, "outcome": outcome}]);
        let asked = async |signs: Value| {
            let asked = json!({"tool_class": "cryo-sputter", "signs": signs, "outcomes": outcomes});
            app.post("/api/sequence", &asked).await.expect(200).json()
        };
        let (both, alone) = (asked(json!({sign: seen})).await, asked(json!({})).await);
        assert_eq!(both["causes"], alone["causes"], "{sign} {outcome}");
        assert!(
            both["notes"].to_string().contains(words),
            "{sign}: {}",
            both["notes"]
        );
        assert!(!alone["notes"].to_string().contains("two answers"));
    }
    // A chance that is mostly one of a false alarm is no chance of finding.
    let page = app
        .get("/sequence/classes/load-lock-turbo")
        .await
        .expect(200);
    page.assert_shows("that a cause is there which it finds; the rest is a false alarm");
    let asked = json!({"tool_class": "load-lock-turbo"});
    let order = app.post("/api/sequence", &asked).await.expect(200).json();
    for step in order["checks"].as_array().expect("checks") {
        let [all, of_cause] =
            ["chance", "true_chance"].map(|name| step[name].as_f64().expect("a chance"));
        assert!((0.0..=all + 1e-12).contains(&of_cause), "{step}");
    }
    // What agrees is one look and needs no note; two finds of different parts may be two faults.
    let asked = json!({"tool_class": "glove-box-evaporator", "signs": {"gauge-disagrees": true},
        "outcomes": [{"check": "gauge-comparison", "outcome": "found"},
            {"check": "source-post-turn-by-hand", "outcome": "found"},
            {"check": "scroll-tip-seal-check", "outcome": "found"}]});
    let told = app.post("/api/sequence", &asked).await.expect(200).json()["notes"].to_string();
    assert!(
        !told.contains("two answers") && told.contains("two faults may be there"),
        "{told}"
    );
}

/// Whoever files an incident and asks at once finds it counted in the order, in the statistics and
/// among the hits of a search, though index and knowledge follow the store a moment later.
#[tokio::test]
async fn what_was_just_filed_counts_at_once() {
    let mut app = TestApp::demo().await;
    let sequence = || {
        let body = json!({"tool_class": "cryo-evaporator"}).to_string();
        let asked = Asked::post("/api/sequence").header(header::CONTENT_TYPE, "application/json");
        asked.body(Body::from(body)).expect("a request")
    };
    let get = |address: &str| Asked::get(address).body(Body::empty()).expect("a request");
    let before = app.send(sequence()).await.expect(200).json()["class_cases"].clone();
    let before = before.as_u64().expect("a count");
    let filed = record::with("symptom", json!("heathfern in the foreline"));
    let _ = app.post("/api/incidents", &filed).await.expect(201);
    let order = app.send_before_settling(sequence()).await.expect(200);
    assert_eq!(order.json()["class_cases"], before + 1);

    let _ = app.post("/api/incidents", &filed).await.expect(201);
    let address = "/api/statistics/causes?tool_class=cryo-evaporator";
    let causes = app.send_before_settling(get(address)).await.expect(200);
    assert_eq!(causes.json()["sample"], before + 2, "{}", causes.text);

    let _ = app.post("/api/incidents", &filed).await.expect(201);
    let found = app.send_before_settling(get("/api/search?q=heathfern"));
    assert_eq!(found.await.expect(200).json()["total"], 3);
    let _ = app.post("/api/incidents", &filed).await.expect(201);
    let page = app.send_before_settling(get("/search?q=heathfern"));
    page.await.expect(200).assert_shows("4 cases");
}

/// A check of something the tool does not have cannot have been made on it: it is said and not
/// counted, neither as an end of the search nor for any cause.
#[tokio::test]
async fn a_check_of_what_the_tool_lacks_does_not_count() {
    let app = TestApp::demo().await;
    let asked = |outcomes: Value| json!({"tool_class": "cryo-evaporator", "help_minutes": 5, "outcomes": outcomes});
    let ask = async |outcomes: Value| {
        let answer = app.post("/api/sequence", &asked(outcomes)).await;
        answer.expect(200).json()
    };
    let turbo = json!([{"check": "turbo-health-check", "outcome": "found"}]);
    let (plain, told) = (ask(json!([])).await, ask(turbo).await);
    assert_eq!(told["notes"].as_array().map(Vec::len), Some(1), "{told}");
    let note = told["notes"][0].as_str().expect("a note");
    assert!(
        note.contains("does not have, so its outcome is not counted"),
        "{note}"
    );
    for name in ["causes", "checks", "stop", "expected_minutes"] {
        assert_eq!(told[name], plain[name], "{name}");
    }
    let page = app
        .get("/sequence/classes/cryo-evaporator?help_minutes=5&outcomes.turbo-health-check=found")
        .await
        .expect(200);
    page.assert_shows("does not have, so its outcome is not counted");
    page.assert_shows("bring the helium leak detector");
    assert!(!page.shows("something is found"));
}

/// What was said to be made with the tool vented is over once another check was made on the pumped
/// tool. Where nobody says which came first, it may be over, so the lock-outs come again before
/// hands go in; where a form or a link says so, it counts.
#[tokio::test]
async fn a_lock_out_of_unknown_order_comes_again() {
    let mut app = TestApp::demo().await;
    let locked = "outcomes.electron-beam-lock-out=clear&outcomes.resistive-power-lock-out=clear";
    let rise = "outcomes.pressure-rise-test=clear";
    let made = "electron-beam-lock-out,resistive-power-lock-out";
    let shields = "id=\"step-shields-and-deposit-inspection\"";
    let held = "Taken as still in force";
    for (address, holds) in [
        (format!("{locked}&{rise}"), false),
        (format!("{rise}&{locked}"), false),
        (format!("{locked}&{rise}&made=pressure-rise-test"), true),
        (format!("{locked}&{rise}&made={made}"), false),
        (
            format!("{locked}&{rise}&made={made},pressure-rise-test"),
            false,
        ),
        (
            format!("{locked}&{rise}&made=pressure-rise-test,{made}"),
            true,
        ),
        (locked.to_owned(), true),
    ] {
        let here = format!("/sequence/tools/BRK-04?{address}&state=vented");
        let page = app.get(&here).await.expect(200);
        assert_eq!(page.shows(held), holds, "{address}");
        let before = page.text.split(shields).next().expect("what comes before");
        assert!(before.len() < page.text.len(), "{address}: no {shields}");
        for lock_out in ["electron-beam", "resistive-power"] {
            let again = before.contains(&format!("id=\"step-{lock_out}-lock-out-again-"));
            assert_eq!(again, !holds, "{address}: {lock_out}");
        }
        // The next question knows no better than this one.
        let sent = remembered(&page.text);
        let risen = if address.contains(rise) { rise } else { "" };
        let next = format!("/sequence/tools/BRK-04?{locked}&{risen}&made={sent}&state=vented");
        let next = app.get(&next).await;
        assert_eq!(
            next.expect(200).shows(held),
            holds,
            "{address}, then {sent}"
        );
    }
    let outcomes = json!({"electron-beam-lock-out": "clear", "gauge-comparison": "clear"});
    let asked = json!({"tool": "BRK-04", "state": "vented", "outcomes": outcomes});
    let advice = app.post("/api/sequence", &asked).await.expect(200).json();
    assert_eq!(advice["held"], json!([]));
    // A report says in which order its checks were made.
    let mut record = record::with("tool", json!("BRK-04"));
    for name in ["site", "closed_at", "cause", "fix", "proof"] {
        record.as_object_mut().expect("a record").remove(name);
    }
    record["status"] = json!("open");
    record["pressures"] = json!({});
    record["checks"] = json!([
        {"check": "pressure-rise-test", "outcome": "clear"},
        {"check": "electron-beam-lock-out", "outcome": "clear"},
    ]);
    let filed = app.post("/api/incidents", &record).await.expect(201).json();
    app.settle().await;
    let page = app.get(&format!("/incidents/{}", filed["number"])).await;
    page.expect(200)
        .assert_shows("made=pressure-rise-test%2Celectron-beam-lock-out");
}

/// A check that pumps the tool down ends what was locked out or purged before it: in every order of
/// every class what comes after it vents or stops the tool anew, and locks out and purges anew.
#[tokio::test]
async fn a_check_that_pumps_down_ends_what_was_secured() {
    let app = TestApp::demo().await;
    let mut pumps = 0;
    let classes: Vec<_> = app
        .catalogue
        .classes()
        .map(|class| class.id.clone())
        .collect();
    for class in classes {
        let asked = json!({"tool_class": class});
        let advice = app.post("/api/sequence", &asked).await.expect(200).json();
        let (mut state, mut since) = ("pumped".to_owned(), HashSet::new());
        for step in advice["checks"].as_array().expect("steps") {
            let text = |name: &str| step[name].as_str().expect("a word").to_owned();
            let number = |name: &str| step[name].as_f64().expect("a number");
            if text("state") != state {
                since.clear();
            }
            let changes = number("state_change_minutes") > 0.0;
            assert_eq!(changes, text("state") != state, "{class}: {step}");
            for need in step["needs_first"].as_array().expect("a list") {
                let need = need.as_str().expect("a check");
                let of = app.catalogue.check(need).expect("a check").state.id();
                assert!(of == "pumped" || since.contains(need), "{class}: {step}");
            }
            since.insert(text("check"));
            state = text("leaves");
            if text("state") != state {
                assert!(number("leaves_minutes") > 0.0, "{step}");
                pumps += 1;
                since.clear();
            }
        }
    }
    assert!(pumps > 6, "only {pumps}");
    for (class, state, outcomes) in [
        (
            "cryo-sputter",
            "stopped-purged",
            ["cryo-stop-and-purge", "cryo-regeneration"],
        ),
        (
            "glove-box-evaporator",
            "vented",
            ["resistive-power-lock-out", "empty-chamber-pump-down"],
        ),
    ] {
        let outcomes = outcomes.map(|check| json!({"check": check, "outcome": "clear"}));
        let asked = json!({"tool_class": class, "state": state, "outcomes": outcomes});
        let advice = app.post("/api/sequence", &asked).await.expect(200).json();
        assert_eq!(advice["held"], json!([]), "{class}");
    }
}

/// With something found the page sends to mending it, and gives no time to a cause that no check
/// left can find.
#[tokio::test]
async fn what_is_found_is_mended_before_anything_is_timed() {
    let app = TestApp::demo().await;
    let address = "/sequence/classes/cryo-evaporator?outcomes.cathode-gauge-strike-check=found\
                   &help_minutes=100";
    let page = app.get(address).await.expect(200);
    page.assert_shows("Mend what was found");
    assert!(!page.shows("Expected time to the cause"));
    assert!(!page.shows("Start with:"));
    let found = [json!({"check": "cathode-gauge-strike-check", "outcome": "found"})];
    let asked = json!({"tool_class": "cryo-evaporator", "outcomes": found, "help_minutes": 100});
    let advice = app.post("/api/sequence", &asked).await.expect(200).json();
    assert_eq!(advice["found"], json!(["cathode-gauge-strike-check"]));
    assert_eq!(advice["stop"], json!(null));
    // What is left to be made is for the case that the finding was none, not for finding it once more; what
    // is believed is not.
    for (tool, check) in [
        ("BRK-04", "door-seal-inspection"),
        ("OLV-01", "glove-box-door-seal-inspection"),
    ] {
        let mut answers = Vec::new();
        for outcome in ["found", "clear"] {
            let outcomes = [json!({"check": check, "outcome": outcome})];
            let asked = json!({"tool": tool, "state": "vented", "outcomes": outcomes});
            answers.push(app.post("/api/sequence", &asked).await.expect(200).json());
        }
        for same in ["checks", "expected_minutes", "mended_minutes"] {
            assert_eq!(answers[0][same], answers[1][same], "{tool}: {same}");
        }
        let likeliest = |of: &Value| of["causes"][0]["chance"].as_f64().expect("a chance");
        assert!(
            likeliest(&answers[0]) > likeliest(&answers[1]) + 0.2,
            "{tool}"
        );
    }
}

/// What the form of a page remembers of the order in which checks were made.
fn remembered(page: &str) -> &str {
    let sent = page.split("name=\"made\" value=\"").nth(1);
    let sent = sent.expect("an order");
    sent.split('"').next().expect("its end")
}

/// A lock-out that was stated while the tool stood pumped is over, although the next question only
/// says that the tool is vented, until somebody says that it was made again.
#[tokio::test]
async fn a_lock_out_from_before_the_tool_was_pumped_is_over() {
    let app = TestApp::demo().await;
    let locked = "outcomes.electron-beam-lock-out=clear&outcomes.resistive-power-lock-out=clear";
    let held = "Taken as still in force";
    let ask = async |address: &str| {
        let page = app.get(&format!("/sequence/tools/BRK-04?{address}")).await;
        page.expect(200)
    };
    for stated in [
        locked.to_owned(),
        format!("{locked}&outcomes.pressure-rise-test=clear"),
    ] {
        let pumped = ask(&stated).await;
        let made = remembered(&pumped.text);
        let vented = format!("{stated}&state=vented&made={made}");
        let over = ask(&vented).await;
        assert!(!over.shows(held), "{vented}");
        over.assert_shows("id=\"step-electron-beam-lock-out-again-");
        over.assert_shows("name=\"again.electron-beam-lock-out\"");
        let again = "again.electron-beam-lock-out=yes&again.resistive-power-lock-out=yes";
        let again = ask(&format!("{vented}&{again}")).await;
        assert!(again.shows(held), "{vented}");
        let made = remembered(&again.text);
        let later = ask(&format!("{stated}&state=vented&made={made}")).await;
        assert!(later.shows(held), "{made}");
        let pumped = ask(&format!("{stated}&made={made}")).await;
        let made = remembered(&pumped.text);
        let over = ask(&format!("{stated}&state=vented&made={made}")).await;
        assert!(!over.shows(held), "{made}");
    }
    // The report lists checks as they were made.
    let page = ask(&format!("{locked}&made=resistive-power-lock-out")).await;
    page.assert_shows("checks.0.check=resistive-power-lock-out");
    page.assert_shows("checks.1.check=electron-beam-lock-out");
}

/// Of several outcomes of one check the last that could be judged counts, as it does in statistics.
#[tokio::test]
async fn an_outcome_that_could_not_be_judged_takes_nothing_back() {
    let app = TestApp::demo().await;
    let ask = async |outcomes: &[&str]| {
        let outcomes: Vec<Value> = outcomes
            .iter()
            .map(|outcome| json!({"check": "cathode-gauge-strike-check", "outcome": outcome}))
            .collect();
        let asked = json!({"tool_class": "cryo-evaporator", "outcomes": outcomes});
        app.post("/api/sequence", &asked).await.expect(200).json()
    };
    let found = ask(&["found"]).await;
    for outcomes in [&["found", "inconclusive"][..], &["clear", "found"]] {
        assert_eq!(
            ask(outcomes).await["causes"],
            found["causes"],
            "{outcomes:?}"
        );
    }
    let note = found["notes"][0].as_str().expect("a note");
    // Of what the note says it looks for, every cause is one the catalogue lists for the check.
    let check = app
        .catalogue
        .check("cathode-gauge-strike-check")
        .expect("a check");
    const SOUGHT: &str = "What it looks for, the likeliest first: ";
    let (_, named) = note.split_once(SOUGHT).expect("causes");
    let (named, _) = named.split_once(". The checks below").expect("their end");
    for name in named.split("; ") {
        let mut listed = check.reveals.keys();
        let known = |id: &str| app.catalogue.cause_name(id) == name;
        assert!(listed.any(|id| known(id.as_str())), "{name}");
    }
    // A helium test finds more than are named, of which the likeliest is not left out.
    let outcomes = [json!({"check": "helium-leak-test", "outcome": "found"})];
    let asked = json!({"tool_class": "cryo-evaporator", "outcomes": outcomes});
    let helium = app.post("/api/sequence", &asked).await.expect(200).json();
    let first = helium["causes"][0]["cause"].as_str().expect("a cause");
    let note = helium["notes"][0].as_str().expect("a note");
    let named = format!("{SOUGHT}{}; ", app.catalogue.cause_name(first));
    assert!(note.contains(&named) && note.contains("; and "), "{note}");
    let clear = ask(&["found", "clear"]).await;
    assert_eq!(clear["causes"], ask(&["clear"]).await["causes"]);
    assert!(!clear["notes"].to_string().contains("mend that"));
}

/// A loss far beyond what any cause leads to fits none of them; a usual one does.
#[tokio::test]
async fn a_loss_no_cause_explains_is_said() {
    let app = TestApp::demo().await;
    for class in app.catalogue.classes() {
        let healthy = class.healthy_base.pressure().expect("a pressure").pascals();
        // An atmosphere lies nine to eleven decades above; no cause listed leads beyond six.
        for (pascals, beyond) in [(30.0 * healthy, false), (9e4, true)] {
            let faulty = json!({"value": pascals, "unit": "Pa"});
            let asked = json!({"tool_class": class.id, "pressures": {"faulty": faulty}});
            let advice = app.post("/api/sequence", &asked).await.expect(200).json();
            assert_eq!(
                advice["contradiction"], beyond,
                "{}: {pascals} Pa",
                class.id
            );
        }
    }
}

/// Cases linked from a check are those it is said to have, as long as all of them are linked.
#[tokio::test]
async fn cases_behind_a_check_are_linked_as_they_are_counted() {
    let app = TestApp::demo().await;
    let mut compared = 0;
    for class in app.catalogue.classes() {
        let asked = json!({"tool_class": class.id});
        let advice = app.post("/api/sequence", &asked).await.expect(200).json();
        for step in advice["checks"].as_array().expect("checks") {
            let linked = step["cases"].as_array().expect("cases").len() as u64;
            let counted = step["case_count"].as_u64().expect("a count");
            assert_eq!(linked, counted.min(5), "{}: {step}", class.id);
            compared += u64::from((1..5).contains(&counted));
        }
    }
    assert!(compared > 20, "{compared}");
}

#[tokio::test]
async fn a_tool_and_another_class_are_refused() {
    let app = TestApp::demo().await;
    let of = |class: &str| json!({"tool": "BRK-04", "tool_class": class});
    let refused = app.post("/api/sequence", &of("turbo-sputter")).await;
    let refused = refused.expect(422);
    refused.assert_shows("is not the class of BRK-04");
    refused.assert_shows("cryo-evaporator, or no tool_class beside tool");
    let agreed = app.post("/api/sequence", &of("cryo-evaporator")).await;
    let _ = agreed.expect(200);
}

/// With a half-life of a day the demo's cases, years old, weigh nothing: the chances are those
/// of common practice. They are still called cases.
#[tokio::test]
async fn old_cases_weigh_less_where_the_catalogue_says_so() {
    let mut files = files();
    files.retain(|file| file.path != "settings.toml");
    files.push(SourceFile {
        path: "settings.toml".to_owned(),
        text: "half_life_days = 1\n".to_owned(),
    });
    let aged = TestApp::demo_by(parse(&files).expect("a half-life")).await;
    let whole = TestApp::demo().await;
    let mut apart = Vec::new();
    for (app, half_life) in [(&aged, json!(1.0)), (&whole, Value::Null)] {
        let asked = json!({"tool": "BRK-04"});
        let advice = app.post("/api/sequence", &asked).await.expect(200).json();
        assert!(advice["class_cases"].as_u64() > Some(20), "{advice}");
        assert_eq!(advice["half_life_days"], half_life);
        let distances = advice["causes"]
            .as_array()
            .expect("causes")
            .iter()
            .map(|cause| {
                let chance = |name: &str| cause[name].as_f64().expect("a chance");
                (chance("chance") - chance("common_practice_chance")).abs()
            });
        apart.push(distances.fold(0.0, f64::max));
    }
    assert!(apart[0] < 1e-6 && apart[1] > 1e-3, "{apart:?}");
    for (app, words) in [
        (&aged, "A case counts half once it is a day old"),
        (&whole, "Old cases count in full."),
    ] {
        for address in [
            "/sequence/tools/BRK-04",
            "/statistics?tool_class=cryo-evaporator",
        ] {
            app.get(address).await.expect(200).assert_shows(words);
        }
    }
}

/// A made-up fleet, whose generating model is its own: after 300 cases a class the chance
/// stated for the likeliest cause comes true, and the chances say more than before any case.
#[test]
fn chances_of_a_made_up_fleet_come_true() {
    let catalogue = source::built_in().expect("the built-in catalogue is right");
    let practice = knowledge::practice(&catalogue).expect("usable");
    let fleet = Fleet::new(&catalogue, 31);
    let mut cases: BTreeMap<String, Vec<Case>> = BTreeMap::new();
    for (number, made) in fleet.incidents(22_000).enumerate() {
        let case = case_of(number as i64, &made.incident, made.tool, &catalogue);
        let of_class = cases.entry(made.tool.class.to_string()).or_default();
        of_class.push(case.expect("a closed incident"));
    }
    let mut ledger = Ledger::new();
    let taught = cases.values().flat_map(|cases| &cases[..300]);
    taught.for_each(|case| ledger.apply(case.number, Some(case)).expect("a case"));
    let learned = Learned::from(&practice, &ledger.lessons(None));
    let untaught = Learned::from(&practice, &Lessons::default());
    let (mut bins, mut gained, mut count) = ([0.0; 10], 0.0, 0);
    for (class, cases) in &cases {
        let built = &catalogue.class(class).expect("a class").components;
        let parts: Vec<String> = built.iter().map(ToString::to_string).collect();
        for case in &cases[300..] {
            let evidence = Evidence {
                signs: case.signs.clone(),
                antecedents: case.antecedents.clone(),
                loss_decades: case.loss_decades,
                ..Evidence::default()
            };
            let stated = [&learned, &untaught].map(|learned| {
                Chances::of(&practice, learned, class, Some(&parts), &evidence).expect("chances")
            });
            let of_truth = |chances: &Chances| match case.cause.as_str() {
                NOT_FOUND => chances.unlisted(),
                cause => chances.of_cause(&practice, cause),
            };
            gained += (of_truth(&stated[0]) / of_truth(&stated[1])).ln();
            let (best, chance) = stated[0].likeliest(&practice);
            let came_true = f64::from(u8::from(best == case.cause));
            bins[((chance * 10.0) as usize).min(9)] += chance - came_true;
            count += 1;
        }
    }
    let error = bins.iter().map(|bin: &f64| bin.abs()).sum::<f64>() / f64::from(count);
    assert!(count > 20_000, "{count}");
    assert!(error <= 0.03, "calibration error {error}");
    assert!(gained / f64::from(count) > 0.05, "{gained} over {count}");
}

/// Who could not judge a check is not sent to it again and again: it is left out, and the times are of
/// what is left. A lock-out of which nobody is sure secures nothing and is made again.
#[tokio::test]
async fn a_check_that_could_not_be_judged_is_left_out() {
    let app = TestApp::demo().await;
    let ask = async |outcomes: Value| {
        let asked =
            json!({"tool": "BRK-03", "signs": {"gauge-not-lit": true}, "outcomes": outcomes});
        app.post("/api/sequence", &asked).await.expect(200).json()
    };
    let order = |answer: &Value| -> Vec<String> {
        let checks = answer["checks"].as_array().expect("checks");
        let id = |check: &Value| check["check"].as_str().expect("an id").to_owned();
        checks.iter().map(id).collect()
    };
    let plain = ask(json!([])).await;
    let first = order(&plain)[0].clone();
    let unsure = json!({"check": first, "outcome": "inconclusive"});
    let aside = ask(json!([unsure])).await;
    assert!(!order(&aside).contains(&first), "{first} comes again");
    assert_eq!(aside["set_aside"], json!([first]));
    assert_eq!(aside["causes"], plain["causes"], "it tells nothing");
    assert_ne!(aside["expected_minutes"], plain["expected_minutes"]);
    assert_eq!(plain["set_aside"], json!([]));
    // What was judged before counts, whatever came after.
    let clear = json!({"check": first, "outcome": "clear"});
    let judged = ask(json!([clear, unsure])).await;
    assert_eq!(judged["set_aside"], json!([]));

    let page =
        format!("/sequence/tools/BRK-03?signs.gauge-not-lit=seen&outcomes.{first}=inconclusive");
    let page = app.get(&page).await.expect(200);
    page.assert_shows("is left out of the order");
    page.assert_shows(&format!("name=\"outcomes.{first}\""));

    let locked = |outcome: &str| {
        json!({
            "tool": "BRK-04",
            "state": "vented",
            "outcomes": [
                {"check": "electron-beam-lock-out", "outcome": outcome},
                {"check": "resistive-power-lock-out", "outcome": outcome},
            ],
        })
    };
    for (outcome, holds) in [("clear", true), ("inconclusive", false)] {
        let answer = app.post("/api/sequence", &locked(outcome)).await;
        let answer = answer.expect(200).json();
        let again = order(&answer)
            .iter()
            .any(|id| id == "electron-beam-lock-out");
        let held = answer["held"].as_array().expect("a list");
        assert_eq!(held.contains(&json!("electron-beam-lock-out")), holds);
        assert!(holds || again, "{outcome}");
    }
}

/// Help is not sent for before a short check that most likely finds the cause: the minutes told for that are
/// those of the check and, where it finds nothing, of help.
#[tokio::test]
async fn a_short_and_likely_check_comes_before_help() {
    let app = TestApp::demo().await;
    let asked = json!({"tool": "BRK-03", "signs": {"gauge-not-lit": true}, "help_minutes": 120});
    let answer = app.post("/api/sequence", &asked).await.expect(200).json();
    let number = |value: &Value| value.as_f64().expect("a number");
    let (stop, first) = (&answer["stop"], &answer["checks"][0]);
    assert_eq!(stop["after_checks"], 0);
    assert!(number(&stop["left_minutes"]) > 120.0);
    let before = &stop["before_help"];
    assert!(number(&before["minutes"]) < 120.0);
    let of_first = |name: &str| number(&first[name]);
    // One check and then help, a false alarm at its cost; further checks may only shorten it.
    let once = of_first("minutes")
        + of_first("state_change_minutes")
        + (1.0 - of_first("true_chance")) * 120.0;
    assert!(
        number(&before["minutes"]) <= once + 60.0 * (of_first("chance") - of_first("true_chance"))
    );
    assert!(number(&before["chance"]) >= of_first("true_chance") - 1e-12);
    let page = app
        .get("/sequence/tools/BRK-03?signs.gauge-not-lit=seen&help_minutes=120")
        .await
        .expect(200);
    page.assert_shows("As it stands, the checks left would take");
    page.assert_shows("Still make");
    page.assert_shows("it is a fault of a gauge or a pump");
    assert!(!page.shows("Now, bring"));

    // Where help costs next to nothing, nothing is worth making before it.
    let cheap = json!({"tool_class": "cryo-evaporator", "help_minutes": 1});
    let answer = app.post("/api/sequence", &cheap).await.expect(200).json();
    assert_eq!(answer["stop"]["before_help"], Value::Null);
}

/// The expected time is split into searches that the checks end and others.
#[tokio::test]
async fn the_expected_time_tells_what_is_of_searches_that_find() {
    let app = TestApp::demo().await;
    let asked = json!({"tool": "BRK-03", "signs": {"gauge-not-lit": true}});
    let answer = app.post("/api/sequence", &asked).await.expect(200).json();
    let number = |value: &Value| value.as_f64().expect("a number");
    let found = &answer["found_by_checks"];
    let (chance, minutes) = (number(&found["chance"]), number(&found["minutes"]));
    assert!(chance <= 1.0 - number(&answer["unlisted_chance"]) + 1e-9);
    assert!(chance > number(&answer["checks"][0]["true_chance"]));
    // Of a first check of 20 minutes with nine chances in ten the mean cannot be hours.
    assert!(minutes >= number(&answer["checks"][0]["minutes"]) && minutes < 60.0);
    assert!(chance * minutes < number(&answer["expected_minutes"]));
    let page = app
        .get("/sequence/tools/BRK-03?signs.gauge-not-lit=seen")
        .await
        .expect(200);
    page.assert_shows("These checks find the cause in");
}
