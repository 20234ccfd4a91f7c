//! Calculations kept with incidents: attached, read, computed again, carried by an export, and
//! used by the check sequence of their incident.

use std::{collections::BTreeMap, fmt::Write};

use coldtrap::{
    casebook::{Asker, Calculation},
    store::Store,
};
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::support::{app::TestApp, process, record};

/// Air with a little water: 28, 32 and 40 as 100 : 26.8 : 1.2 (US Standard Atmosphere), 14 at 7 %
/// of 28 (typical quadrupole, from memory of O'Hanlon).
const AIR: &str = "12:1e-12 14:5.5e-10 16:4e-10 17:4e-10 18:2e-9 20:1.3e-11 28:7.8e-9 32:2.1e-9 \
                   40:9.4e-11 44:3e-11 43:0 45:0 58:0 41:0 55:0 57:0 39:0";

/// A log with a scatter of 1 %, the same at every run.
fn log(times: impl Iterator<Item = f64>, pressure: impl Fn(f64) -> f64) -> String {
    let mut text = "time (s),pressure (mbar)\n".to_owned();
    for (row, time) in times.enumerate() {
        let scatter = 0.02 * ((row as f64 * 0.618_033_988_75).fract() - 0.5);
        let _ = writeln!(text, "{time},{:e}", pressure(time) * (1.0 + scatter));
    }
    text
}

fn pump_down(floor: f64) -> String {
    log((0..1800).map(|row| 10.0 * f64::from(row)), |t| {
        1013.0 * (-0.02 * t).exp() + 2e-6 * 3600.0 / t.max(72.0) + floor
    })
}

/// One request of each kind whose verdict sets a sign, with that sign.
fn telling() -> [(&'static str, Value, &'static str); 5] {
    let torr = |value: f64| json!({"value": value, "unit": "torr"});
    let rise = log((0..301).map(|row| 2.0 * f64::from(row)), |t| {
        1e-5 + (1e-3 - 1e-5) / 600.0 * t
    });
    [
        (
            "rise",
            json!({"log": rise, "volume": {"value": 100, "unit": "l"},
                   "pumped_for": {"value": 24, "unit": "h"}}),
            "rise-linear",
        ),
        (
            "gauge",
            json!({"readings": [{"kind": "combination-cold-cathode", "moves": false,
                                 "pressure": torr(5e-4)}]}),
            "gauge-stuck-pirani-limit",
        ),
        (
            "residual-gas",
            json!({"spectrum": AIR, "total_pressure": torr(3e-6)}),
            "residual-air",
        ),
        (
            "pump-down",
            json!({"log": pump_down(5e-6), "healthy_log": pump_down(5e-8),
                   "speed": {"value": 1000, "unit": "l/s"}}),
            "pump-down-higher-floor",
        ),
        (
            "gas-load",
            json!({"healthy": torr(5e-8), "faulty": torr(5e-6),
                   "speed_at_chamber": {"value": 1000, "unit": "l/s"}}),
            "gas-load-large",
        ),
    ]
}

/// An open incident that says nothing of what was seen.
fn open_record() -> Value {
    let mut incident = record::closed();
    for field in [
        "closed_at",
        "signs",
        "checks",
        "cause",
        "fix",
        "labour_minutes",
        "down_hours",
        "proof",
    ] {
        incident.as_object_mut().expect("an object").remove(field);
    }
    incident["status"] = json!("open");
    incident["pressures"]
        .as_object_mut()
        .expect("an object")
        .remove("restored");
    incident["tool_details"] = json!({
        "site_name": "Test site", "volume_litres": 400, "speed_litres_per_second": 1500,
        "healthy_base": {"value": 5e-7, "unit": "torr"},
    });
    incident
}

async fn open_incident(app: &TestApp) -> i64 {
    let incident = open_record();
    let filed = app.post("/api/incidents", &incident).await.expect(201);
    filed.json()["number"].as_i64().expect("a number")
}

#[tokio::test]
async fn each_verdict_becomes_a_sign_of_the_check_sequence_of_its_incident() {
    let app = TestApp::empty().await;
    for (kind, request, sign) in telling() {
        let number = open_incident(&app).await;
        let before = app.get(&format!("/incidents/{number}")).await.expect(200);
        assert!(!before.text.contains(&format!("signs.{sign}=")));
        let attached = app
            .post(
                &format!("/api/incidents/{number}/calculations"),
                &json!({"kind": kind, "by": "K. M.", "request": request}),
            )
            .await
            .expect(201)
            .json();
        assert_eq!(attached["report"]["signs"][sign], true, "{attached}");
        let page = app.get(&format!("/incidents/{number}")).await.expect(200);
        page.assert_shows(&format!("signs.{sign}=seen"));

        // The order of checks is another one for it, on the page and by the API.
        let asked = app
            .post("/api/sequence", &json!({"incident": number}))
            .await
            .expect(200)
            .json();
        let pressures = &record::closed()["pressures"];
        let tool = json!({
            "tool": "TST-01",
            "antecedents": {"foil-added": true},
            "pressures": {"healthy": pressures["healthy"], "faulty": pressures["faulty"]},
        });
        let without = app.post("/api/sequence", &tool).await.expect(200).json();
        assert_ne!(asked["causes"], without["causes"], "{kind} tells nothing");
        let mut with = tool.clone();
        with["signs"] = attached["report"]["signs"].clone();
        let with = app.post("/api/sequence", &with).await.expect(200).json();
        assert_eq!(asked["checks"], with["checks"], "{kind}");
        let start = page.text.find("/sequence/tools/").expect("a link");
        let address: String = page.text[start..]
            .chars()
            .take_while(|c| *c != '"')
            .collect();
        let _ = app
            .get(&address.replace("&#38;", "&").replace("&amp;", "&"))
            .await
            .expect(200);
    }
}

/// A person saw the gauge stuck, a calculation finds it plausible: one of the two is wrong, and what both say
/// does not go to the check sequence together.
#[tokio::test]
async fn a_calculation_that_the_report_contradicts_sets_no_sign_and_says_so() {
    let app = TestApp::empty().await;
    let mut incident = open_record();
    incident["signs"] = json!({"gauge-stuck-pirani-limit": true});
    let filed = app.post("/api/incidents", &incident).await.expect(201);
    let number = filed.json()["number"].clone();
    let gauge = |pascals: f64, moves: bool| {
        json!({"kind": "gauge", "by": "K. M.", "request": {"readings": [
            {"kind": "combination-cold-cathode", "pressure": {"value": pascals, "unit": "pa"}, "moves": moves},
        ]}})
    };
    let address = format!("/api/incidents/{number}/calculations");
    let attached = app.post(&address, &gauge(9e-5, true)).await.expect(201);
    assert_eq!(attached.json()["report"]["signs"]["gauge-plausible"], true);
    let page = app.get(&format!("/incidents/{number}")).await.expect(200);
    page.assert_shows("signs.gauge-stuck-pirani-limit=seen");
    assert!(!page.text.contains("gauge-plausible"), "{}", page.text);
    page.assert_shows("the report says otherwise of");
    let asked = json!({"incident": number});
    let asked = app.post("/api/sequence", &asked).await.expect(200).json();
    let alone = json!({
        "tool": "TST-01",
        "antecedents": incident["antecedents"],
        "pressures": {"healthy": incident["pressures"]["healthy"], "faulty": incident["pressures"]["faulty"]},
        "signs": {"gauge-stuck-pirani-limit": true},
    });
    let alone = app.post("/api/sequence", &alone).await.expect(200).json();
    assert_eq!(asked["causes"], alone["causes"]);
    // One that agrees counts, with all it says; and of two of a kind the later one alone.
    let number = open_incident(&app).await;
    let address = format!("/api/incidents/{number}/calculations");
    let _ = app.post(&address, &gauge(5e-2, false)).await.expect(201);
    let page = app.get(&format!("/incidents/{number}")).await.expect(200);
    page.assert_shows("signs.gauge-stuck-pirani-limit=seen");
    page.assert_shows("signs.gauge-plausible=absent");
    let _ = app.post(&address, &gauge(9e-5, true)).await.expect(201);
    let page = app.get(&format!("/incidents/{number}")).await.expect(200);
    page.assert_shows("signs.gauge-stuck-pirani-limit=absent");
    page.assert_shows("signs.gauge-plausible=seen");
}

#[tokio::test]
async fn a_calculation_is_attached_once_per_key_and_read_back() {
    let app = TestApp::empty().await;
    let number = open_incident(&app).await;
    let address = format!("/api/incidents/{number}/calculations");
    let [(kind, request, _), ..] = telling();
    let body = json!({"kind": kind, "by": "K. M.", "request": request});
    let key = [("idempotency-key", "rise-of-tuesday")];
    let first = app.post_with(&address, &body, &key).await.expect(201);
    let again = app.post_with(&address, &body, &key).await.expect(201);
    assert_eq!(first.text, again.text);
    let place = first.location.clone().expect("where it is");
    assert_eq!(app.get(&place).await.expect(200).json(), first.json());
    let listed = app.get(&address).await.expect(200).json();
    assert_eq!(listed["calculations"], json!([first.json()]));
    let mut other = body.clone();
    other["by"] = json!("somebody else");
    let _ = app.post_with(&address, &other, &key).await.expect(409);
    // The same key on another incident is another request.
    let second = open_incident(&app).await;
    let elsewhere = format!("/api/incidents/{second}/calculations");
    let _ = app.post_with(&elsewhere, &body, &key).await.expect(409);
    assert_eq!(
        app.get(&elsewhere).await.expect(200).json()["calculations"],
        json!([])
    );

    let kept = first.json();
    assert_eq!(kept["kind"], "rise");
    assert_eq!(kept["program_version"], env!("CARGO_PKG_VERSION"));
    let incident = app
        .get(&format!("/api/incidents/{number}"))
        .await
        .expect(200)
        .json();
    assert_eq!(incident["calculations"][0]["report"], kept["report"]);
    let again = app.get(&format!("{place}/again")).await.expect(200).json();
    assert_eq!(again["same"], true, "{again}");
    assert_eq!(again["differences"], json!([]));
}

#[tokio::test]
async fn another_result_of_another_version_is_shown_value_by_value() {
    let app = TestApp::empty().await;
    let number = open_incident(&app).await;
    let kept = |request: Value| Calculation {
        kind: "leak-conversion".to_owned(),
        made_at: "2025-03-04T12:00:00Z".parse().expect("a time"),
        by: "K. M.".to_owned(),
        program_version: "0.0.1".to_owned(),
        logs: BTreeMap::new(),
        request,
        report: json!({"verdict": "As air: 4e-10 mbar·L/s", "signs": {}, "concluded": true}),
    };
    let request = json!({"rate": {"value": 1e-9, "unit": "mbar-l/s"}});
    let id = app
        .store
        .attach(number, kept(request), None)
        .await
        .expect("an incident to attach to");
    let again = app
        .get(&format!("/api/incidents/{number}/calculations/{id}/again"))
        .await
        .expect(200)
        .json();
    assert_eq!(again["same"], false);
    assert_eq!(again["program_version_then"], "0.0.1");
    let difference = again["differences"]
        .as_array()
        .expect("a list")
        .iter()
        .find(|difference| difference["field"] == "verdict")
        .expect("the verdict differs");
    assert_eq!(difference["then"], "As air: 4e-10 mbar·L/s");
    assert!(
        difference["now"]
            .as_str()
            .expect("words")
            .contains("3.72e-10")
    );
    // One that today's program refuses says so, and keeps what it said then.
    let id = app
        .store
        .attach(number, kept(json!({"speed": 3})), None)
        .await
        .expect("an incident to attach to");
    let refused = app
        .get(&format!("/api/incidents/{number}/calculations/{id}/again"))
        .await
        .expect(200)
        .json();
    assert_eq!(refused["same"], false);
    assert_eq!(refused["refused"][0]["field"], "request.speed");
    app.get(&format!("/incidents/{number}/calculations/{id}"))
        .await
        .expect(200)
        .assert_shows("As air: 4e-10 mbar·L/s");
}

/// Fields that an earlier version did not have are no difference; figures that moved are told together.
#[tokio::test]
async fn a_rise_of_an_earlier_version_is_the_same_but_for_what_moved() {
    let app = TestApp::empty().await;
    let number = open_incident(&app).await;
    let rise = log((0..301).map(|row| 2.0 * f64::from(row)), |t| {
        1e-5 + 1.65e-6 * t
    });
    let request = json!({"log": rise, "volume": {"value": 100, "unit": "l"}});
    let mut report = app
        .post("/api/calculations/rise", &request)
        .await
        .expect(200)
        .json();
    let fields = report.as_object_mut().expect("a report");
    for later in ["comparable", "pressure_unit"] {
        assert!(fields.remove(later).is_some(), "{later}");
    }
    let mut kept = Calculation {
        kind: "rise".to_owned(),
        made_at: "2025-03-04T12:00:00Z".parse().expect("a time"),
        by: "K. M.".to_owned(),
        program_version: "0.0.1".to_owned(),
        logs: BTreeMap::new(),
        request,
        report,
    };
    let id = app
        .store
        .attach(number, kept.clone(), None)
        .await
        .expect("kept");
    let place = format!("incidents/{number}/calculations/{id}");
    let again = app
        .get(&format!("/api/{place}/again"))
        .await
        .expect(200)
        .json();
    assert_eq!(again["same"], true, "{again}");
    assert_eq!(again["differences"], json!([]));
    assert_eq!(again["new_fields"], json!(["comparable", "pressure_unit"]));
    let page = app.get(&format!("/{place}")).await.expect(200);
    page.assert_shows("computed by coldtrap 0.0.1");
    page.assert_shows("the same, shown below. This version tells 2 values more besides.");

    for point in kept.report["points"].as_array_mut().expect("points") {
        let fitted = point["fitted_pascals"].as_f64().expect("a fit");
        point["fitted_pascals"] = json!(fitted * 1.001);
    }
    let id = app.store.attach(number, kept, None).await.expect("kept");
    let place = format!("incidents/{number}/calculations/{id}");
    let again = app
        .get(&format!("/api/{place}/again"))
        .await
        .expect(200)
        .json();
    assert_eq!(again["same"], false);
    assert_eq!(again["differences"].as_array().map(Vec::len), Some(301));
    let page = app.get(&format!("/{place}")).await.expect(200);
    page.assert_shows("not the same. Another version may compute otherwise.");
    page.assert_shows("The verdict is the same");
    page.assert_shows("points[].fitted_pascals, 301 values, the first");
    page.assert_shows("at most 0.0999 %");
}

#[tokio::test]
async fn what_cannot_be_attached_is_named_all_at_once() {
    let app = TestApp::empty().await;
    let number = open_incident(&app).await;
    let address = format!("/api/incidents/{number}/calculations");
    let fields = |answer: Value| -> Vec<String> {
        answer["errors"]
            .as_array()
            .expect("errors")
            .iter()
            .map(|error| error["field"].as_str().expect("a field").to_owned())
            .collect()
    };
    let nothing = app.post(&address, &json!({"note": 1})).await.expect(422);
    assert_eq!(fields(nothing.json()), ["kind", "by", "request", "note"]);
    let wrong = json!({"kind": "gauge", "by": "K. M.", "request": {"readings": []}});
    let refused = app.post(&address, &wrong).await.expect(422);
    assert_eq!(fields(refused.json()), ["request.readings"]);
    for (address, status) in [
        ("/api/incidents/999/calculations", 404),
        ("/api/incidents/x/calculations", 404),
    ] {
        let _ = app.post(address, &wrong).await.expect(status);
        let _ = app.get(address).await.expect(404);
    }
    let _ = app.get(&format!("{address}/7")).await.expect(404);
    let _ = app.get(&format!("{address}/seven/again")).await.expect(404);
    let long = json!({"kind": "rise", "by": "K. M.", "request": {"log": "1".repeat(9 << 20)}});
    let refused = app.post(&address, &long).await.expect(422);
    assert_eq!(fields(refused.json()), ["request.log"]);
    let long = json!({"kind": "rise", "by": "K. M.", "request": {"volume": "1".repeat(9 << 20)}});
    let _ = app.post(&address, &long).await.expect(413);
    let long = json!({"kind": "rise", "by": "K. M.", "request": {"log": "1".repeat(52 << 20)}});
    let _ = app.post(&address, &long).await.expect(413);
    assert_eq!(
        app.get(&address).await.expect(200).json()["calculations"],
        json!([])
    );
}

#[tokio::test]
async fn an_incident_holds_only_so_many() {
    let app = TestApp::empty().await;
    let number = open_incident(&app).await;
    let kept = Calculation {
        kind: "leak-conversion".to_owned(),
        made_at: "2025-03-04T12:00:00Z".parse().expect("a time"),
        by: "K. M.".to_owned(),
        program_version: "0.0.1".to_owned(),
        logs: BTreeMap::new(),
        request: json!({"rate": {"value": 1e-9, "unit": "mbar-l/s"}}),
        report: json!({"verdict": "x".repeat(9 << 20), "signs": {}}),
    };
    for _ in 0..4 {
        app.store
            .attach(number, kept.clone(), None)
            .await
            .expect("there is room");
    }
    assert!(app.store.attach(number, kept, None).await.is_err());
    let held = app
        .store
        .calculations(&Asker::console(), number)
        .await
        .expect("readable");
    assert_eq!(held.len(), 4);
}

/// An export carries the calculations of its incidents, and taken into an empty store gives the
/// same bytes again; incidents without any are as they were. The three that carry some lie across
/// the 200 rows that an import writes together.
#[tokio::test]
async fn an_export_carries_calculations_there_and_back() {
    let made = process::run(&["synthesise", "--incidents", "450", "--seed", "5"], b"");
    let (one, two) = (
        TempDir::new().expect("a folder"),
        TempDir::new().expect("a folder"),
    );
    let taken = process::run_on(one.path(), &["import", "/dev/stdin"], &made.stdout);
    assert!(taken.status.success(), "{taken:?}");
    let plain = process::run_on(one.path(), &["export"], b"");
    assert!(!String::from_utf8_lossy(&plain.stdout).contains("calculations"));
    {
        let server = process::Server::serve(one.path());
        for (place, (kind, request, _)) in telling().into_iter().enumerate() {
            let number = 199 + place / 2;
            let body = json!({"kind": kind, "by": "K. M.", "request": request}).to_string();
            let path = format!("/api/incidents/{number}/calculations");
            let (status, text) = server.request("POST", &path, &body);
            assert_eq!(status, 201, "{text}");
        }
    }
    let first = process::run_on(one.path(), &["export"], b"");
    let lines = |bytes: &[u8]| -> Vec<String> {
        String::from_utf8_lossy(bytes)
            .lines()
            .map(str::to_owned)
            .collect()
    };
    for (place, (before, after)) in lines(&plain.stdout)
        .iter()
        .zip(lines(&first.stdout))
        .enumerate()
    {
        let carries = (198..201).contains(&place);
        assert_eq!(after.contains("\"calculations\""), carries, "line {place}");
        assert_eq!(*before == after, !carries, "line {place}");
    }
    let record: Value = serde_json::from_str(&lines(&first.stdout)[198]).expect("JSON");
    let calculations = record["calculations"].as_array().expect("a list");
    assert_eq!(calculations.len(), 2);
    for field in [
        "kind",
        "made_at",
        "by",
        "program_version",
        "request",
        "report",
    ] {
        assert!(!calculations[0][field].is_null(), "no {field}");
    }
    let taken = process::run_on(two.path(), &["import", "/dev/stdin"], &first.stdout);
    assert!(taken.status.success(), "{taken:?}");
    let second = process::run_on(two.path(), &["export"], b"");
    assert!(first.stdout == second.stdout, "export differs after import");
    for folder in [one.path(), two.path()] {
        let verified = process::run_on(folder, &["verify"], b"");
        assert!(verified.status.success(), "{verified:?}");
        let told = String::from_utf8_lossy(&verified.stdout).into_owned();
        assert!(
            told.contains("calculations: 5 kept, 5 of them given alike by this program"),
            "{told}"
        );
    }
    // Verify tells of a result that this version does not give.
    let store = Store::open(&process::db(two.path()))
        .await
        .expect("the store is there");
    let mut wrong = store
        .calculations(&Asker::console(), 199)
        .await
        .expect("readable")[0]
        .calculation
        .clone();
    wrong.report["verdict"] = json!("all is well");
    store
        .attach(199, wrong, None)
        .await
        .expect("room for one more");
    store.close().await;
    let verified = process::run_on(two.path(), &["verify"], b"");
    assert!(!verified.status.success());
    let told = String::from_utf8_lossy(&verified.stderr).into_owned();
    assert!(told.contains("no longer gives the same verdict"), "{told}");
}

#[test]
fn a_row_with_a_wrong_calculation_is_refused_by_its_fields() {
    let folder = TempDir::new().expect("a folder");
    let row = record::with(
        "calculations",
        json!([
            {"kind": "rise", "made_at": "2025-03-04T12:00:00Z", "by": "K. M.",
             "program_version": "0.1.0", "request": {}, "report": {"verdict": "x", "signs": {}}},
            {"kind": "dowsing", "made_at": "3025-03-04T12:00:00Z", "request": 3,
             "report": {"signs": {}}, "note": 1},
        ]),
    );
    let refused = process::run_on(
        folder.path(),
        &["import", "/dev/stdin"],
        row.to_string().as_bytes(),
    );
    assert!(!refused.status.success());
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    for field in [
        "kind",
        "made_at",
        "by",
        "program_version",
        "request",
        "report.verdict",
        "note",
    ] {
        assert!(
            told.contains(&format!("calculations[1].{field}:")),
            "no {field} in {told}"
        );
    }
    assert!(!told.contains("calculations[0]"), "{told}");
}

/// A site's own cracking patterns are read at the start, named on the page and in the report, and
/// a mistake in them is told by file and line before anything is served.
#[tokio::test]
async fn a_site_replaces_the_cracking_patterns() {
    use coldtrap::catalogue::source;
    let folder = TempDir::new().expect("a folder");
    let shipped = source::patterns([folder.path()]).expect("the built-in ones");
    assert_eq!(shipped.origin(), "those shipped with the program");
    let file = folder.path().join("cracking-patterns.toml");
    let row = |height: u32| {
        format!(
            "[[gas]]\nid = \"xenon\"\nname = \"Xenon of our own\"\nsensitivity = 2.9\n\
             sensitivity-source = \"measured\"\nsource = \"our analyser\"\n\
             peaks = {{ 28 = {height}, 14 = 30 }}\n"
        )
    };
    std::fs::write(&file, row(100)).expect("a file");
    let own = source::patterns([folder.path()]).expect("the site's own");
    let app = TestApp::empty_with(own).await;
    let request = json!({"spectrum": AIR, "total_pressure": {"value": 1e-6, "unit": "torr"}});
    let report = app
        .post("/api/calculations/residual-gas", &request)
        .await
        .expect(200)
        .json();
    assert_eq!(report["gases"][0]["id"], "xenon");
    let words = report["patterns"].as_str().expect("words");
    assert!(words.starts_with("this site's own file"), "{words}");
    let page = app.get("/calculations/residual-gas").await.expect(200);
    page.assert_shows("Xenon of our own: 28 at 100, 14 at 30 (from: our analyser)");

    std::fs::write(&file, row(90)).expect("a file");
    let refused = process::run_on(folder.path(), &["serve", "--listen", "127.0.0.1:0"], b"");
    assert!(!refused.status.success());
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(
        told.contains("cracking-patterns.toml, line 7: xenon"),
        "{told}"
    );
}
