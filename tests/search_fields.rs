//! Field words, quotation marks and minus from outside: what they name is what is found, denied or not, and
//! what cannot be had is told.

use std::collections::BTreeSet;

use coldtrap::catalogue::source;
use serde_json::{Value, json};

use crate::support::{app::TestApp, record, searching};

async fn hits(app: &TestApp, query: &str) -> Value {
    searching::hits_up_to(app, query, 200).await
}

fn numbers(found: &Value) -> BTreeSet<i64> {
    searching::numbers(found).into_iter().collect()
}

fn remarks(found: &Value) -> String {
    found["remarks"].to_string()
}

/// Every case of the fleet as its report says.
async fn cases(app: &TestApp) -> Vec<(i64, Value)> {
    let mut cases = Vec::new();
    for number in 1..=422 {
        let case = app.get(&format!("/api/incidents/{number}")).await;
        cases.push((number, case.expect(200).json()));
    }
    cases
}

/// A component is named by the field word of that name: all causes of it, and of no other.
#[tokio::test]
async fn a_component_finds_the_cases_of_its_causes() {
    let app = TestApp::demo().await;
    let catalogue = source::built_in().expect("the catalogue is right");
    let cases = cases(&app).await;
    for component in catalogue.components() {
        let of = |case: &Value| {
            let cause = case["cause"].as_str().and_then(|id| catalogue.cause(id));
            cause.is_some_and(|cause| cause.component == component.id)
        };
        let own: BTreeSet<i64> = cases
            .iter()
            .filter_map(|(number, case)| of(case).then_some(*number))
            .collect();
        for typed in [component.id.to_string(), format!("\"{}\"", component.name)] {
            let found = hits(&app, &format!("component:{typed}")).await;
            match own.is_empty() {
                true => assert!(
                    remarks(&found).contains("No case has the"),
                    "{typed}: {found}"
                ),
                false => {
                    assert_eq!(found["total"], own.len(), "{typed}");
                    assert!(numbers(&found).is_subset(&own), "{typed}");
                }
            }
        }
    }
}

/// A phone's keyboard puts a space behind a colon.
#[tokio::test]
async fn a_tool_behind_a_field_word_and_a_space_is_that_tool() {
    let app = TestApp::demo().await;
    let own = hits(&app, "tool:BRK-04").await;
    for typed in ["tool: BRK-04", "tool: brk-04", "tool:  BRK-04"] {
        let found = hits(&app, typed).await;
        assert_eq!(numbers(&found), numbers(&own), "{typed}");
        assert_eq!(found["remarks"], own["remarks"], "{typed}");
    }
}

/// Before the index has taken what was filed nobody can say what no case holds.
#[tokio::test]
async fn an_index_behind_the_store_says_so() {
    let mut app = TestApp::demo().await;
    for n in 0..25 {
        let symptom = json!(format!("heathfern at the door, number {n}"));
        let record = record::with("symptom", symptom);
        let filed = app.post("/api/incidents", &record).await.expect(201);
        assert!(filed.json()["number"].is_number());
    }
    let found = hits(&app, "heathfern").await;
    let told = remarks(&found);
    assert!(told.contains("is behind the store"), "{told}");
    assert!(told.contains("not every case is found"), "{told}");
    assert!(!told.contains("No case holds"), "{told}");
    app.settle().await;
    let found = hits(&app, "heathfern").await;
    assert_eq!(
        (&found["total"], remarks(&found)),
        (&json!(25), "[]".to_owned())
    );
}

/// What the program suggests finds what it names: every cause and sign, by its id and by its name.
#[tokio::test]
async fn ids_and_names_of_the_catalogue_find_what_has_them() {
    let app = TestApp::demo().await;
    let catalogue = source::built_in().expect("the catalogue is right");
    let cases = cases(&app).await;
    for cause in catalogue.causes() {
        let own: BTreeSet<i64> = cases
            .iter()
            .filter(|(_, case)| case["cause"] == cause.id.as_str())
            .map(|(number, _)| *number)
            .collect();
        for typed in [
            format!("cause:{}", cause.id),
            format!("cause:\"{}\"", cause.name),
        ] {
            let found = hits(&app, &typed).await;
            if own.is_empty() {
                continue;
            }
            assert_eq!(found["relaxed"], false, "{typed}: {}", remarks(&found));
            assert_eq!(remarks(&found), "[]", "{typed}");
            assert_eq!(found["total"], own.len(), "{typed}");
            assert!(numbers(&found).is_subset(&own), "{typed}");
        }
    }
    for (field, group, id, name) in catalogue
        .signs()
        .map(|sign| ("sign", "signs", sign.id.as_str(), &sign.name))
        .chain(catalogue.antecedents().map(|before| {
            (
                "antecedent",
                "antecedents",
                before.id.as_str(),
                &before.name,
            )
        }))
    {
        let own: BTreeSet<i64> = cases
            .iter()
            .filter(|(_, case)| case[group][id] == true)
            .map(|(number, _)| *number)
            .collect();
        if own.is_empty() {
            continue;
        }
        for typed in [format!("{field}:{id}"), format!("{field}:\"{name}\"")] {
            let found = hits(&app, &typed).await;
            assert_eq!(found["relaxed"], false, "{typed}: {}", remarks(&found));
            assert_eq!(found["total"], own.len(), "{typed}");
        }
    }
    let spelt = hits(&app, "Cryopump regenerated just before").await;
    let named = hits(&app, "antecedent:cryo-regenerated").await;
    assert_eq!(numbers(&spelt), numbers(&named));
    assert!(
        remarks(&spelt).contains("is taken for the antecedent"),
        "{spelt}"
    );
}

/// Words that a text denies, or that stand in its proof, are there for quotation marks, field words and minus.
#[tokio::test]
async fn quotation_marks_field_words_and_minus_see_what_is_denied() {
    let app = TestApp::demo().await;
    for (typed, all) in [
        ("\"blue dot\"", &[208][..]),
        ("\"ignition lamp\"", &[118]),
        ("\"no help\"", &[25]),
        ("\"roughing valve\"", &[153]),
        ("\"mass 18\"", &[129]),
        ("symptom:dot", &[208]),
        ("proof:helium", &[33, 243, 402]),
    ] {
        let found = hits(&app, typed).await;
        assert_eq!(found["relaxed"], false, "{typed}: {}", remarks(&found));
        for number in all {
            assert!(numbers(&found).contains(number), "{typed}: {number}");
        }
        for hit in found["hits"].as_array().expect("hits") {
            assert!(
                hit["why"].as_array().is_some_and(|why| !why.is_empty()),
                "{typed}: {hit}"
            );
        }
    }
    for (typed, out) in [
        ("cause:found -gauge", 377),
        ("class:cryo-stage-coater -door", 161),
        ("tool:OLV-03 -helium", 150),
        ("tool:OLV-03 -helium", 33),
    ] {
        assert!(
            !numbers(&hits(&app, typed).await).contains(&out),
            "{typed}: {out}"
        );
    }
}

/// Of two values that a case has only one of either will do, and what leaves nothing is told.
#[tokio::test]
async fn what_nothing_fits_is_told() {
    let app = TestApp::demo().await;
    let total = |found: &Value| found["total"].as_u64().expect("a total");
    let (one, other) = (
        hits(&app, "tool:BRK-04").await,
        hits(&app, "tool:KSM-03").await,
    );
    for typed in ["tool:BRK-04 tool:KSM-03", "BRK-04 KSM-03"] {
        let both = hits(&app, typed).await;
        assert_eq!(total(&both), total(&one) + total(&other), "{typed}");
    }
    assert_eq!(total(&hits(&app, "status:open status:closed").await), 422);
    assert_eq!(total(&hits(&app, "-#123").await), 421);
    let site = hits(&app, "site:breckholt foil").await;
    assert_eq!(numbers(&site), numbers(&hits(&app, "site:BRK foil").await));
    assert_eq!(remarks(&site), "[]");
    let unknown = hits(&app, "zzqx P=4.2E-5 Torr wwyq").await;
    assert_eq!(
        remarks(&unknown).matches("No case holds").count(),
        1,
        "{unknown}"
    );
    for (typed, told) in [
        ("kind:gauge-fault -gauge", "The minus leaves no case"),
        (
            "class:cryo-stage-coater -water -door -stage -pump -leak -gas",
            "The minus leaves no case",
        ),
        ("number:1 number:1 -number:1", "The minus leaves no case"),
        (
            "tool:BRK-04 site:KSM",
            "No case is all that the field words ask for",
        ),
    ] {
        let found = hits(&app, typed).await;
        assert!(total(&found) > 0, "{typed}: {found}");
        assert!(
            remarks(&found).contains(told),
            "{typed}: {}",
            remarks(&found)
        );
    }
}

/// A sign whose name gives examples says nothing of any of them.
#[tokio::test]
async fn an_example_in_the_name_of_a_sign_is_not_claimed_of_its_cases() {
    let app = TestApp::demo().await;
    for typed in ["foil tool:BRK-04", "hair tool:BRK-04", "tape tool:LMT-04"] {
        let found = hits(&app, typed).await;
        for hit in found["hits"].as_array().expect("hits") {
            let why = hit["why"].to_string();
            assert!(
                !why.contains("signs and circumstances: foil"),
                "{typed}: {why}"
            );
            assert!(
                !why.contains("signs and circumstances: hair"),
                "{typed}: {why}"
            );
            assert!(
                !why.contains("signs and circumstances: tape"),
                "{typed}: {why}"
            );
        }
    }
}

/// A sign that a search says not to be so is that on record as looked for and not seen.
#[tokio::test]
async fn a_sign_said_not_to_be_so_finds_where_it_was_not_seen() {
    let app = TestApp::demo().await;
    let cases = cases(&app).await;
    for (typed, sign) in [
        ("sign:\"not linear\"", "rise-linear"),
        ("sign:\"no water visible\"", "water-visible"),
    ] {
        let unseen = cases
            .iter()
            .filter(|(_, case)| case["signs"][sign] == false);
        let own: BTreeSet<i64> = unseen.map(|(number, _)| *number).collect();
        assert!(!own.is_empty());
        let found = hits(&app, typed).await;
        assert_eq!(found["total"], own.len(), "{typed}");
        assert!(numbers(&found).is_subset(&own), "{typed}");
        assert!(
            remarks(&found).contains("looked for and not seen"),
            "{found}"
        );
    }
}

/// A component stands for the causes that are its, a sign that no case has is told of, a number that there is
/// is not denied, and a space behind a colon takes nothing away.
#[tokio::test]
async fn what_is_named_is_what_is_meant() {
    let app = TestApp::demo().await;
    let catalogue = source::built_in().expect("the catalogue is right");
    let cases = cases(&app).await;
    for component in ["door-seal", "cryopump", "foreline", "chamber-cooling"] {
        let of = |case: &Value| {
            let cause = catalogue.cause(case["cause"].as_str().unwrap_or_default());
            cause.is_some_and(|cause| cause.component.as_str() == component)
        };
        let own: BTreeSet<i64> = cases
            .iter()
            .filter(|(_, case)| of(case))
            .map(|(number, _)| *number)
            .collect();
        let found = hits(&app, &format!("component:{component}")).await;
        assert_eq!(found["total"], own.len(), "{component}");
        assert!(numbers(&found).is_subset(&own), "{component}");
        assert_eq!(found["relaxed"], false, "{component}");
    }
    let unseen = hits(&app, "sign:residual-pump-fluid").await;
    assert!(
        remarks(&unseen).contains("No case has the sign"),
        "{unseen}"
    );
    let there = hits(&app, "number:190 \"hPa and\"").await;
    assert!(!remarks(&there).contains("There is no incident"), "{there}");
    let tool = hits(&app, "tool:BRK-04").await;
    for typed in ["tool: BRK-04", "tool: brk-04"] {
        let found = hits(&app, typed).await;
        assert_eq!(numbers(&found), numbers(&tool), "{typed}");
        assert_eq!(remarks(&found), "[]", "{typed}");
    }
    let one = hits(&app, "#321 foil").await;
    assert_eq!(numbers(&one), BTreeSet::from([321]), "{one}");
    assert_eq!(one["relaxed"], false, "{one}");
}
