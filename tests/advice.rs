//! Advice as pages and the API give it: evidence that fits nothing, and cases that grow old.

use coldtrap::catalogue::{SourceFile, parse};
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
    let page = app
        .get(
            "/sequence/tools/BRK-04?signs.gauge-stuck-pirani-limit=seen&signs.gauge-not-lit=seen\
             &signs.cooling-water-off-pressure-falls=seen&signs.hearth-moved=seen",
        )
        .await
        .expect(200);
    page.assert_shows("What is stated fits no single cause well.");
    page.assert_shows("Two faults at once would fit better: ");
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
    for app in [&aged, &whole] {
        let asked = json!({"tool": "BRK-04"});
        let advice = app.post("/api/sequence", &asked).await.expect(200).json();
        assert!(advice["class_cases"].as_u64() > Some(20), "{advice}");
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
