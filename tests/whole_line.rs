//! A report filed in one set of words is found in another, by page and by API; a
//! correction keeps what was there.

use serde_json::json;

use crate::support::{app::TestApp, record};

#[tokio::test]
async fn a_report_filed_by_form_is_found_in_other_words() {
    let mut app = TestApp::demo().await;
    let filed = app
        .form(
            "/incidents/new",
            &[
                ("status", "closed"),
                ("tool", "BRK-04"),
                ("occurred_at", "2025-03-04T10:20"),
                ("closed_at", "2025-03-04T19:05"),
                (
                    "symptom",
                    "Wrapped the shutters in fresh aluminium, now it hangs. Zirbelnuss smell.",
                ),
                ("pressures.healthy.value", "5x10^-7"),
                ("pressures.healthy.unit", "torr"),
                ("pressures.faulty.value", "5,3e-5 mbar"),
                ("pressures.faulty.unit", "torr"),
                ("pressures.restored.value", "6e-7"),
                ("pressures.restored.unit", "torr"),
                ("signs.rise-linear", "seen"),
                ("signs.water-visible", "absent"),
                ("checks.0.check", "door-seal-inspection"),
                ("checks.0.outcome", "found"),
                ("checks.0.minutes", "15"),
                ("cause", "door-seal-tape-or-foil"),
                ("fix", "pulled a strip off the seal"),
                ("labour_minutes", "40"),
                ("down_hours", "8,75"),
                ("author", "test"),
            ],
        )
        .await
        .expect(303);
    let address = filed.location.expect("the report's page");
    let number = address
        .trim_start_matches("/incidents/")
        .split('?')
        .next()
        .expect("a number")
        .to_owned();
    let page = app.get(&address).await.expect(200);
    page.assert_shows("Filed as number");
    // The unit beside the number outranks the one in the list.
    page.assert_shows("5.3e-5 mbar");
    page.assert_shows("5.30e-3 Pa");

    app.settle().await;
    let found = app
        .get("/search?q=hanging+after+wrapping+shutter,+smells+of+zirbelnus")
        .await
        .expect(200);
    found.assert_shows(&format!("href=\"/incidents/{number}\""));
    found.assert_shows("<mark>");
    let found = app
        .get("/api/search?q=zirbelnuss&limit=5")
        .await
        .expect(200)
        .json();
    assert_eq!(found["total"], 1);
    assert_eq!(found["hits"][0]["number"].to_string(), number);
    assert_eq!(found["hits"][0]["cause"], "door-seal-tape-or-foil");

    let stored = app
        .get(&format!("/api/incidents/{number}"))
        .await
        .expect(200)
        .json();
    assert_eq!(
        stored["pressures"]["faulty"],
        json!({"value": 5.3e-5, "unit": "mbar"})
    );
    assert_eq!(
        stored["signs"],
        json!({"rise-linear": true, "water-visible": false})
    );
    assert_eq!(stored["down_hours"], 8.75);
}

#[tokio::test]
async fn a_correction_is_a_new_revision_and_loses_nothing() {
    let app = TestApp::empty().await;
    let filed = app
        .post("/api/incidents", &record::closed())
        .await
        .expect(201);
    assert_eq!(filed.json(), json!({"number": 1}));
    assert_eq!(filed.location.as_deref(), Some("/api/incidents/1"));

    let mut fields = vec![
        ("status", "closed"),
        ("tool", "TST-01"),
        ("occurred_at", "2025-03-04T10:20"),
        ("closed_at", "2025-03-04T19:05"),
        ("symptom", "won't go below 5.3E-5 mbar, it was the hair"),
        ("pressures.restored.value", "6e-7"),
        ("pressures.restored.unit", "torr"),
        ("cause", "door-seal-hair-or-fibre"),
        ("fix", "took a hair off"),
        ("labour_minutes", "40"),
        ("down_hours", "8"),
        ("author", "second hand"),
        ("based_on", "1"),
    ];
    let refused = app.form("/incidents/1/edit", &fields).await.expect(422);
    refused.assert_shows("why the report is corrected");
    refused.assert_shows("it was the hair");

    fields.push(("reason", "looked again"));
    let _ = app.form("/incidents/1/edit", &fields).await.expect(303);
    // The same form again was made on a revision that is no longer the newest.
    let late = app.form("/incidents/1/edit", &fields).await.expect(409);
    late.assert_shows("it was the hair");
    late.assert_shows("revision 2");

    let stored = app.get("/api/incidents/1").await.expect(200).json();
    assert_eq!(stored["revision"], 2);
    assert_eq!(stored["cause"], "door-seal-hair-or-fibre");
    assert_eq!(stored["author"], "tests", "its author stays");
    let revisions = stored["revisions"].as_array().expect("a list");
    assert_eq!(revisions.len(), 2);
    assert_eq!(revisions[0]["record"]["cause"], "door-seal-tape-or-foil");
    assert_eq!(revisions[1]["author"], "second hand");
    assert_eq!(revisions[1]["reason"], "looked again");
    let old = app.get("/incidents/1/revisions/1").await.expect(200);
    old.assert_shows("since the shields were wrapped");
}

#[tokio::test]
async fn a_request_sent_twice_with_its_key_is_one_report() {
    let app = TestApp::empty().await;
    let key = [("idempotency-key", "the-one")];
    for _ in 0..3 {
        let answer = app
            .post_with("/api/incidents", &record::closed(), &key)
            .await
            .expect(201);
        assert_eq!(answer.json()["number"], 1);
    }
    let other = record::with("symptom", json!("another"));
    let _ = app
        .post_with("/api/incidents", &other, &key)
        .await
        .expect(409);
    assert_eq!(app.store.counts().await.expect("counts"), (0, 1));
}

#[tokio::test]
async fn similar_cases_leave_out_the_case_itself() {
    let mut app = TestApp::empty().await;
    for symptom in [
        "foil on the shields, stuck at 4e-5",
        "stuck at 5e-5 since foil on the shields",
        "turbo howls",
    ] {
        let _ = app
            .post("/api/incidents", &record::with("symptom", json!(symptom)))
            .await
            .expect(201);
    }
    app.settle().await;
    let similar = app.get("/api/incidents/1/similar").await.expect(200).json();
    let numbers: Vec<_> = similar["hits"]
        .as_array()
        .expect("hits")
        .iter()
        .map(|hit| hit["number"].as_i64().expect("a number"))
        .collect();
    assert_eq!(numbers[0], 2);
    assert!(!numbers.contains(&1));
}

#[tokio::test]
async fn each_broken_rule_names_its_field_and_what_is_accepted() {
    let app = TestApp::empty().await;
    let cases = [
        (record::without("tool"), "tool"),
        (record::without("symptom"), "symptom"),
        (record::without("status"), "status"),
        (record::without("cause"), "cause"),
        (record::without("fix"), "fix"),
        (record::without("author"), "author"),
        (record::without("closed_at"), "closed_at"),
        (record::with("status", json!("shut")), "status"),
        (record::with("cause", json!("gremlins")), "cause"),
        // The class has no turbo pump.
        (
            record::with("cause", json!("turbo-worn-or-damaged")),
            "cause",
        ),
        (
            record::with("occurred_at", json!("2999-01-01T00:00:00Z")),
            "occurred_at",
        ),
        (
            record::with("occurred_at", json!("yesterday")),
            "occurred_at",
        ),
        (
            record::with("closed_at", json!("2025-03-04T09:00:00Z")),
            "closed_at",
        ),
        (
            record::with("pressures.faulty.unit", json!("psi")),
            "pressures.faulty.unit",
        ),
        (
            record::with("pressures.faulty.value", json!(-5e-6)),
            "pressures.faulty.value",
        ),
        (
            record::with("pressures.restored.value", json!(1.0)),
            "pressures.restored",
        ),
        (record::with("signs", json!({"glows": true})), "signs.glows"),
        (
            record::with("checks", json!([{"check": "dance", "outcome": "clear"}])),
            "checks[0].check",
        ),
        (record::with("down_hours", json!(-1)), "down_hours"),
        // Longer than from occurred_at to closed_at.
        (record::with("down_hours", json!(5000)), "down_hours"),
        (record::with("colour", json!("red")), "colour"),
        (record::with("fix", json!("x".repeat(30_000))), "fix"),
        (json!([1, 2]), "record"),
    ];
    for (body, field) in cases {
        let answer = app.post("/api/incidents", &body).await.expect(422);
        assert_eq!(answer.kind, "application/problem+json");
        let errors = answer.json()["errors"].clone();
        let named = errors
            .as_array()
            .expect("errors")
            .iter()
            .find(|error| error["field"] == field)
            .unwrap_or_else(|| panic!("{field} is not named in {errors}"));
        assert!(!named["accepted"].as_str().expect("text").is_empty());
    }
    assert_eq!(app.store.counts().await.expect("counts"), (0, 0));
}

/// Rates leave it out, so whoever reads it is told.
#[tokio::test]
async fn an_incident_before_the_first_day_in_service_says_so() {
    let mut app = TestApp::empty().await;
    let early = record::with("tool_details", json!({"in_service": "2025-06-01"}));
    let filed = app.post("/api/incidents", &early).await.expect(201).json();
    app.settle().await;
    let page = app.get(&format!("/incidents/{}", filed["number"])).await;
    page.expect(200)
        .assert_shows("before the tool’s first day in service, 2025-06-01");
}

#[tokio::test]
async fn a_worse_pressure_is_taken_with_a_reason() {
    let app = TestApp::empty().await;
    let mut body = record::with("pressures.restored.value", json!(1e-3));
    body["not_restored_reason"] = json!("pump on order");
    let _ = app.post("/api/incidents", &body).await.expect(201);
}

#[tokio::test]
async fn a_refused_form_comes_back_filled_in() {
    let app = TestApp::demo().await;
    let refused = app
        .form(
            "/incidents/new",
            &[
                ("status", "closed"),
                ("tool", "BRK-04"),
                ("symptom", "typed with care <b>&\"'"),
                ("pressures.faulty.value", "low -7s"),
                ("pressures.faulty.unit", "mbar"),
                ("checks.3.check", "door-seal-inspection"),
                ("checks.3.minutes", "a quarter"),
                ("checks.3.note", "kept note"),
                ("signs.water-visible", "seen"),
                ("labour_minutes", "about 40"),
            ],
        )
        .await
        .expect(422);
    refused.assert_shows("typed with care &#60;b&#62;&#38;&#34;&#39;");
    refused.assert_shows("low -7s");
    refused.assert_shows("kept note");
    refused.assert_shows("a quarter");
    refused.assert_shows("about 40");
    refused.assert_shows("Nothing you typed is lost");
}

/// Filing reports with one cause in a class changes its share, and with enough of them
/// the order of checks.
#[tokio::test]
async fn new_cases_change_shares_and_then_the_order() {
    let mut app = TestApp::demo().await;
    let cause = "viewport-cracked";
    let check = "viewport-inspection";
    let share = |answer: &serde_json::Value| {
        answer["causes"]
            .as_array()
            .expect("causes")
            .iter()
            .find(|row| row["cause"] == cause)
            .map_or((0, 0.0), |row| {
                (
                    row["cases"].as_u64().expect("a count"),
                    row["share"].as_f64().expect("a share"),
                )
            })
    };
    let place = |answer: &serde_json::Value| {
        answer["checks"]
            .as_array()
            .expect("checks")
            .iter()
            .position(|step| step["check"] == check)
            .expect("the check is offered")
    };
    let statistics = "/api/statistics/causes?tool_class=cryo-evaporator";
    let question = json!({"tool": "BRK-04"});
    let (cases, before) = share(&app.get(statistics).await.expect(200).json());
    let place_before = place(
        &app.post("/api/sequence", &question)
            .await
            .expect(200)
            .json(),
    );
    assert!(place_before > 2, "already near the front at {place_before}");

    let mut report = record::with("cause", json!(cause));
    report["tool"] = json!("BRK-04");
    report["site"] = json!("BRK");
    let _ = app.post("/api/incidents", &report).await.expect(201);
    app.settle().await;
    let (one_more, after) = share(&app.get(statistics).await.expect(200).json());
    assert_eq!(one_more, cases + 1);
    assert!(after > before);

    for _ in 0..120 {
        let _ = app.post("/api/incidents", &report).await.expect(201);
    }
    app.settle().await;
    let place_after = place(
        &app.post("/api/sequence", &question)
            .await
            .expect(200)
            .json(),
    );
    assert!(
        place_after < place_before,
        "{place_before} then {place_after}"
    );
    let page = app.get("/sequence/tools/BRK-04").await.expect(200);
    page.assert_shows("earlier than common practice");
    let page = app
        .get("/statistics?tool_class=cryo-evaporator")
        .await
        .expect(200);
    page.assert_shows("95 % interval");
}

#[tokio::test]
async fn only_checks_for_what_the_tool_has_are_offered_and_classes_differ() {
    let app = TestApp::demo().await;
    let first = async |class: &str| {
        let advice = app
            .post("/api/sequence", &json!({"tool_class": class}))
            .await
            .expect(200)
            .json();
        advice["checks"].clone()
    };
    let cryo = first("cryo-evaporator").await;
    let turbo = first("turbo-sputter").await;
    let names = |checks: &serde_json::Value| {
        checks
            .as_array()
            .expect("checks")
            .iter()
            .map(|step| step["check"].as_str().expect("a name").to_owned())
            .collect::<Vec<_>>()
    };
    let (cryo, turbo) = (names(&cryo), names(&turbo));
    assert_ne!(cryo[..5], turbo[..5]);
    assert!(
        !turbo.iter().any(|check| check.starts_with("cryo-")),
        "{turbo:?}"
    );
    assert!(
        !cryo.iter().any(|check| check == "turbo-health-check"),
        "{cryo:?}"
    );
    // What has to come first does, whatever it costs.
    for order in [&cryo, &turbo] {
        for (place, id) in order.iter().enumerate() {
            for before in &app.catalogue.check(id).expect("known").needs_first {
                let earlier = order.iter().position(|check| check == before.as_str());
                assert!(earlier.is_none_or(|at| at < place), "{before} after {id}");
            }
        }
    }
}

#[tokio::test]
async fn the_order_is_never_dearer_than_common_practice_and_its_chances_lie_in_their_intervals() {
    let app = TestApp::demo().await;
    for class in app.catalogue.classes() {
        for signs in [
            json!({}),
            json!({"rise-linear": true}),
            json!({"water-visible": true, "loss-sudden": true}),
            json!({"gauge-disagrees": true, "residual-air": false}),
        ] {
            let question = json!({"tool_class": class.id, "signs": signs});
            let advice = app
                .post("/api/sequence", &question)
                .await
                .expect(200)
                .json();
            let number = |name: &str| advice[name].as_f64().expect("a number");
            assert!(
                number("expected_minutes") <= number("common_practice_minutes") + 1e-6,
                "{}: {signs}",
                class.id
            );
            assert!(number("lower_bound_minutes") <= number("expected_minutes") + 1e-6);
            let mut total = number("unlisted_chance");
            for cause in advice["causes"].as_array().expect("causes") {
                total += cause["chance"].as_f64().expect("a chance");
            }
            assert!((total - 1.0).abs() < 1e-9, "{total}");
            for step in advice["checks"].as_array().expect("checks") {
                let chance = step["chance"].as_f64().expect("a chance");
                let end = |at: usize| step["interval"][at].as_f64().expect("an end");
                assert!(
                    end(0) <= chance + 1e-9 && chance <= end(1) + 1e-9,
                    "{}: {chance} outside {}",
                    step["check"],
                    step["interval"]
                );
            }
        }
    }
}

#[tokio::test]
async fn a_form_sent_twice_is_one_report_and_an_untouched_correction_changes_nothing() {
    let app = TestApp::empty().await;
    let mut odd = record::with("labour_minutes", json!(12.34567));
    odd["occurred_at"] = json!("2025-03-04T10:20:30.123456Z");
    odd["down_hours"] = json!(0.005);
    let _ = app.post("/api/incidents", &odd).await.expect(201);
    let form = app.get("/incidents/1/edit").await.expect(200).text;
    let mut fields = fields_of(&form);
    fields.retain(|(name, _)| name != "reason" && name != "author" && name != "action");
    fields.push(("reason".to_owned(), "nothing at all".to_owned()));
    fields.push(("author".to_owned(), "x".to_owned()));
    let pairs: Vec<_> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let _ = app.form("/incidents/1/edit", &pairs).await.expect(303);
    let stored = app.get("/api/incidents/1").await.expect(200).json();
    assert_eq!(stored["revision"], 2);
    for name in [
        "labour_minutes",
        "occurred_at",
        "down_hours",
        "signs",
        "pressures",
        "checks",
    ] {
        assert_eq!(
            stored[name], stored["revisions"][0]["record"][name],
            "{name}"
        );
    }

    let blank = app.get("/incidents/new?tool=TST-01").await.expect(200).text;
    let mut fields = fields_of(&blank);
    fields.retain(|(name, _)| !["status", "symptom", "author", "action"].contains(&name.as_str()));
    for (name, value) in [("status", "open"), ("symptom", "hisses"), ("author", "x")] {
        fields.push((name.to_owned(), value.to_owned()));
    }
    let pairs: Vec<_> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let first = app.form("/incidents/new", &pairs).await.expect(303);
    let second = app.form("/incidents/new", &pairs).await.expect(303);
    assert_eq!(first.location, second.location);
    assert_eq!(app.store.counts().await.expect("counts"), (1, 1));
}

/// What a browser would send of a form's filled-in fields, read roughly.
fn fields_of(html: &str) -> Vec<(String, String)> {
    let form = html
        .split("<form class=\"report\"")
        .nth(1)
        .expect("the form");
    let form = form.split("</form>").next().expect("its end");
    let mut fields = Vec::new();
    let attribute = |tag: &str, name: &str| {
        let start = tag.find(&format!(" {name}=\""))? + name.len() + 3;
        let end = tag[start..].find('"')? + start;
        Some(tag[start..end].to_owned())
    };
    let mut select = None;
    for piece in form.split('<').skip(1) {
        let (tag, text) = piece.split_once('>').unwrap_or((piece, ""));
        let name = attribute(tag, "name");
        let value = attribute(tag, "value").unwrap_or_default();
        match (tag.split(' ').next().expect("a tag"), name) {
            ("input", Some(name)) => {
                let chosen = !tag.contains("type=\"radio\"") || tag.contains(" checked");
                if chosen && !value.is_empty() {
                    fields.push((name, value));
                }
            }
            ("textarea", Some(name)) if !text.trim().is_empty() => {
                fields.push((name, text.replace("&#39;", "'")));
            }
            ("select", Some(name)) => select = Some(name),
            ("option", _) if tag.contains(" selected") && !value.is_empty() => {
                fields.push((select.clone().expect("inside a select"), value));
            }
            _ => {}
        }
    }
    fields
}

#[tokio::test]
async fn the_sequence_says_when_help_costs_less_and_why_each_check_stands_where_it_does() {
    let app = TestApp::demo().await;
    let asked = |minutes: serde_json::Value| json!({"tool": "BRK-04", "help_minutes": minutes});
    let advice = app
        .post("/api/sequence", &asked(json!(1)))
        .await
        .expect(200)
        .json();
    assert_eq!(advice["stop"]["after_checks"], 0);
    assert_eq!(advice["stop"]["left_minutes"], advice["expected_minutes"]);
    for check in advice["checks"].as_array().expect("checks") {
        for reason in ["moved_by", "if_clear"] {
            let Some(shift) = check[reason].as_object() else {
                continue;
            };
            for end in ["from", "to"] {
                let chance = shift[end].as_f64().expect("a chance");
                assert!((0.0..=1.0).contains(&chance), "{check}");
            }
        }
        // A check comes earlier by a chance that rose, later by one that fell.
        if let Some(moved_by) = check["moved_by"].as_object() {
            let by = moved_by["to"].as_f64() > moved_by["from"].as_f64();
            assert_eq!(by, check["moved"].as_i64() > Some(0), "{check}");
        }
        assert!(check["assumed"].is_string());
    }
    let dear = app
        .post("/api/sequence", &asked(json!(1_000_000)))
        .await
        .expect(200)
        .json();
    assert!(dear["stop"].is_null());
    for odd in [json!(-1), json!(1e7), json!("soon")] {
        let _ = app.post("/api/sequence", &asked(odd)).await.expect(422);
    }
    let page = app
        .get("/sequence/tools/BRK-04?help_minutes=1")
        .await
        .expect(200);
    page.assert_shows("When to stop");
    page.assert_shows("more than bringing help costs");
    let page = app
        .get("/sequence/tools/BRK-04?help_minutes=-1")
        .await
        .expect(200);
    page.assert_shows("is not a number of minutes");
}
