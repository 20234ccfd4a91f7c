//! Logs too long to go to the browser and back: held after a calculation, kept with an incident,
//! computed again, taken home, and carried by an export.

use std::fmt::Write;

use axum::{
    body::Body,
    http::{Request, header},
};
use coldtrap::calculation::packed::unpack;
use coldtrap::store::Store;
use http_body_util::BodyExt;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::support::{app::TestApp, process, record};

/// Readings with remarks that make the log longer than 8 MB: one every `step` seconds.
fn long_log(step: f64, pressure: impl Fn(f64) -> f64) -> String {
    let mut text = "time (s),pressure (mbar),remark\n".to_owned();
    let remark = "a logger that writes much beside each reading ".repeat(5);
    for row in 0..40_000 {
        let scatter = 0.02 * ((f64::from(row) * 0.618_033_988_75).fract() - 0.5);
        let time = step * f64::from(row);
        let pressure = pressure(time) * (1.0 + scatter);
        let _ = writeln!(text, "{time:.2},{pressure:.5e},{remark}");
    }
    assert!(text.len() > 8 << 20, "{} bytes", text.len());
    text
}

/// A straight rise.
fn long_rise() -> String {
    long_log(0.05, |t| 1e-5 + 3e-6 * t)
}

/// A pump-down to this floor.
fn long_pump_down(floor: f64) -> String {
    long_log(0.5, |t| {
        1013.0 * (-0.02 * t).exp() + 2e-6 * 3600.0 / t.max(72.0) + floor
    })
}

/// A closed incident that brings its tool.
fn first_incident() -> Value {
    let mut incident = record::closed();
    incident["tool_details"] = json!({
        "site_name": "Test site", "volume_litres": 400, "speed_litres_per_second": 1500,
        "healthy_base": {"value": 5e-7, "unit": "torr"},
    });
    incident
}

async fn incident(app: &TestApp) -> i64 {
    let filed = app
        .post("/api/incidents", &first_incident())
        .await
        .expect(201);
    filed.json()["number"].as_i64().expect("a number")
}

/// The value of a hidden field of a page.
fn hidden<'a>(page: &'a str, name: &str) -> &'a str {
    let from = format!("name=\"{name}\" value=\"");
    let at = page.find(&from).unwrap_or_else(|| panic!("no {name}")) + from.len();
    page[at..].split('"').next().expect("a value")
}

#[tokio::test]
async fn a_long_log_is_held_kept_computed_again_and_taken_home() {
    let app = TestApp::empty().await;
    let number = incident(&app).await;
    let log = long_rise();
    let volume = [("volume.value", "100"), ("volume.unit", "l")];
    let page = app
        .upload("rise", &volume, &[("log_file", &log)])
        .await
        .expect(200);
    page.assert_shows("40000 of 40000");
    page.assert_shows("held here for 2 hours");
    let held = hidden(&page.text, "held.log").to_owned();
    assert_eq!(held.len(), 64);
    let request = hidden(&page.text, "request").replace("&#34;", "\"");
    assert!(request.len() < 1000, "the log is no part of the request");
    let number_text = number.to_string();
    let mut fields = vec![
        ("name", "rise"),
        ("request", &request),
        ("held.log", &held),
        ("incident", &number_text),
        ("author", "K. M."),
    ];
    let kept = app.upload("attach", &fields, &[]).await.expect(303);
    let place = kept.location.expect("where it is kept");
    let shown = app.get(&place).await.expect(200);
    shown.assert_shows("the same, shown below");
    shown.assert_shows("The log that went in (");
    let file = place.split('?').next().expect("a path").to_owned() + "/logs/log";
    assert!(app.get(&file).await.expect(200).text == log);
    // Whoever takes zlib gets it packed.
    let asked = Request::get(format!("/api{file}"))
        .header(header::ACCEPT_ENCODING, "gzip, deflate")
        .body(Body::empty())
        .expect("a request");
    let answer = app.respond(asked).await;
    assert_eq!(answer.headers()[header::CONTENT_ENCODING], "deflate");
    let packed = answer
        .into_body()
        .collect()
        .await
        .expect("a body")
        .to_bytes();
    assert!(packed.len() * 5 < log.len());
    let mut whole = Vec::new();
    unpack(&packed[..], 1 << 30, |piece| whole.extend_from_slice(piece)).expect("zlib");
    assert!(whole == log.as_bytes());
    let again = format!("/api{}/again", place.split('?').next().expect("a path"));
    assert_eq!(app.get(&again).await.expect(200).json()["same"], true);

    // What is held no longer and never was kept has to be sent again, which is said.
    fields[2].1 = "0000000000000000000000000000000000000000000000000000000000000000";
    let lost = app.upload("attach", &fields, &[]).await.expect(422);
    lost.assert_shows("no longer held here");
    lost.assert_shows("choose it, calculate, and attach the result");
    let list = app
        .get(&format!("/api/incidents/{number}/calculations"))
        .await;
    let list = list.expect(200).json();
    assert_eq!(list["calculations"].as_array().map(Vec::len), Some(1));
    let log_kept = &list["calculations"][0]["logs"]["log"];
    assert_eq!(log_kept, &json!({"sha256": held, "bytes": log.len()}));
    let _ = app.get(&format!("{file}x")).await.expect(404);
}

#[tokio::test]
async fn the_api_keeps_a_long_log_once_and_tells_faults_at_their_place() {
    let app = TestApp::empty().await;
    let number = incident(&app).await;
    let address = format!("/api/incidents/{number}/calculations");
    let body = json!({
        "kind": "rise", "by": "K. M.",
        "request": {"log": long_rise(), "volume": {"value": 100, "unit": "l"}},
    });
    let key = [("idempotency-key", "a-long-one")];
    let first = app
        .post_with(&address, &body, &key)
        .await
        .expect(201)
        .json();
    assert_eq!(first["request"]["log"], Value::Null);
    assert_eq!(first["report"]["readings"], 40_000);
    let second = app
        .post_with(&address, &body, &key)
        .await
        .expect(201)
        .json();
    assert_eq!(first, second);
    // The same log with another volume is kept once, and twice in use.
    let mut other = body.clone();
    other["request"]["volume"]["value"] = json!(50);
    let _ = app.post_with(&address, &other, &key).await.expect(409);
    let other = app.post(&address, &other).await.expect(201).json();
    assert_eq!(other["logs"], first["logs"]);
    let place = format!("{address}/{}", other["id"]);
    assert_eq!(
        app.get(&format!("{place}/again")).await.expect(200).json()["same"],
        true
    );

    // Wrong fields are told with their place, a fault of the JSON where it was sent.
    let mut wrong = body.clone();
    wrong["request"]["speed"] = json!("fast");
    let refused = app.post(&address, &wrong).await.expect(422).json();
    assert_eq!(refused["errors"][0]["field"], "request.speed");
    wrong = json!({"kind": "gauge", "by": "K. M.", "request": {"log": "0,1\n"}});
    let refused = app.post(&address, &wrong).await.expect(422).json();
    assert!(refused.to_string().contains("request.log"), "{refused}");
    let broken = Request::post(&address)
        .header(header::CONTENT_TYPE, "application/json")
        .body(Body::from("{\"request\": {\"log\": \"0,1\\n1,2\"}, x}"))
        .expect("a request");
    let refused = app.send(broken).await.expect(400);
    refused.assert_shows("line 1 column 34");
}

/// A pump-down whose log is kept beside its request can be the healthy one of later ones.
#[tokio::test]
async fn a_later_pump_down_is_held_against_a_long_one() {
    let app = TestApp::empty().await;
    let number = incident(&app).await;
    let address = format!("/api/incidents/{number}/calculations");
    let attach = async |log: String| {
        let body = json!({"kind": "pump-down", "by": "K. M.", "request": {"log": log}});
        app.post(&address, &body).await.expect(201).json()
    };
    let healthy = attach(long_pump_down(5e-8)).await;
    let faulty = attach(long_pump_down(5e-6)).await;
    assert_eq!(
        faulty["request"]["healthy_from"]["calculation"],
        healthy["id"]
    );
    assert_eq!(faulty["report"]["signs"]["pump-down-higher-floor"], true);
    let again = app.get(&format!("{address}/{}/again", faulty["id"])).await;
    assert_eq!(again.expect(200).json()["same"], true);
}

/// An export carries a long log, and an import gives the same bytes; one that is not what it says
/// is refused.
#[tokio::test]
async fn an_export_carries_long_logs_there_and_back() {
    let (one, two) = (
        TempDir::new().expect("a folder"),
        TempDir::new().expect("a folder"),
    );
    let row = first_incident().to_string();
    let taken = process::run_on(one.path(), &["import", "/dev/stdin"], row.as_bytes());
    assert!(taken.status.success(), "{taken:?}");
    let log = long_rise();
    {
        let server = process::Server::serve(one.path());
        let body = json!({
            "kind": "pump-down", "by": "K. M.",
            "request": {"log": "t_s,p_pa\n0,10\n1,9\n2,8\n3,7\n", "healthy_log": log},
        });
        let path = "/api/incidents/1/calculations";
        let (status, text) = server.request("POST", path, &body.to_string());
        assert_eq!(status, 201, "{text}");
    }
    let first = process::run_on(one.path(), &["export"], b"");
    let text = String::from_utf8(first.stdout.clone()).expect("text");
    let mut record: Value = serde_json::from_str(&text).expect("one record");
    let kept = &record["calculations"][0];
    assert!(kept["request"]["log"].is_string());
    assert_eq!(kept["logs"]["healthy_log"]["bytes"], log.len());
    let taken = process::run_on(two.path(), &["import", "/dev/stdin"], &first.stdout);
    assert!(taken.status.success(), "{taken:?}");
    let second = process::run_on(two.path(), &["export"], b"");
    assert!(first.stdout == second.stdout, "export differs after import");
    for folder in [one.path(), two.path()] {
        let verified = process::run_on(folder, &["verify"], b"");
        let told = String::from_utf8_lossy(&verified.stdout).into_owned();
        assert!(verified.status.success(), "{verified:?}");
        assert!(told.contains("1 kept, 1 of them given alike"), "{told}");
    }
    let store = Store::open(&process::db(two.path()))
        .await
        .expect("a store");
    let sha256 = record["calculations"][0]["logs"]["healthy_log"]["sha256"].clone();
    let kept = store.kept_log(sha256.as_str().expect("text")).await;
    assert_eq!(
        kept.expect("readable").expect("there").bytes,
        log.len() as u64
    );
    store.close().await;

    record["number"] = json!(7);
    let logs = &mut record["calculations"][0]["logs"];
    logs["healthy_log"]["bytes"] = json!(1);
    logs["other"] = json!({});
    logs["log"] = json!({"packed": "not zlib", "sha256": "", "bytes": 3});
    let refused = process::run_on(
        two.path(),
        &["import", "/dev/stdin"],
        record.to_string().as_bytes(),
    );
    assert!(!refused.status.success());
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    for field in ["healthy_log.bytes:", "other:", "log.packed:"] {
        assert!(
            told.contains(&format!("calculations[0].logs.{field}")),
            "{told}"
        );
    }
}
