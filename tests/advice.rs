//! Advice as pages and the API give it: evidence that fits nothing, cases that grow old, and
//! chances that come true.

use std::collections::BTreeMap;

use coldtrap::{
    advice::{Chances, Evidence, Learned},
    catalogue::{SourceFile, parse, source},
    knowledge::{self, case_of},
    statistics::{Case, Ledger, NOT_FOUND, tables::Lessons},
    synthesise::Fleet,
};
use serde_json::{Value, json};

use crate::{catalogue::files, support::app::TestApp};

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
