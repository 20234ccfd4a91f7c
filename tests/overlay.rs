//! Rise tests of one tool laid over each other, rises and pump-downs held against the healthy tool,
//! and the units of plots.

use coldtrap::casebook::{Asker, SiteCode, SiteScope};
use jiff::Timestamp;
use serde_json::{Value, json};

use crate::support::{app::TestApp, record};

/// Two seconds apart with a scatter of 1 %, the same at every run.
fn log(rows: u32, unit: &str, pressure: impl Fn(f64) -> f64) -> String {
    let mut text = format!("time (s),pressure ({unit})\n");
    for row in 0..rows {
        let time = 2.0 * f64::from(row);
        let scatter = 0.02 * ((f64::from(row) * 0.618_033_988_75).fract() - 0.5);
        text.push_str(&format!("{time},{:e}\n", pressure(time) * (1.0 + scatter)));
    }
    text
}

/// A straight rise of a leak in 100 L. `mbar_litres` is V·dp/dt, by definition of throughput.
fn rise_of(rows: u32, mbar_litres: f64) -> Value {
    json!({
        "log": log(rows, "mbar", |time| 1e-5 + mbar_litres / 100.0 * time),
        "volume": {"value": 100, "unit": "l"},
        "pumped_for": {"value": 48, "unit": "h"},
    })
}

fn rise(mbar_litres: f64) -> Value {
    rise_of(301, mbar_litres)
}

/// Files an incident of the tool: closed long ago, or open since just now.
async fn incident(app: &TestApp, open: bool) -> i64 {
    let mut incident = record::closed();
    if open {
        let fields = incident.as_object_mut().expect("an object");
        for field in ["closed_at", "signs", "checks", "cause", "fix", "proof"] {
            fields.remove(field);
        }
        fields.remove("labour_minutes");
        fields.remove("down_hours");
        incident["status"] = json!("open");
        incident["occurred_at"] = json!(Timestamp::now().to_string());
        let pressures = incident["pressures"].as_object_mut().expect("an object");
        pressures.remove("restored");
    }
    incident["tool_details"] = json!({
        "site_name": "Test site", "volume_litres": 100, "speed_litres_per_second": 1500,
        "healthy_base": {"value": 5e-7, "unit": "torr"},
    });
    let filed = app.post("/api/incidents", &incident).await.expect(201);
    filed.json()["number"].as_i64().expect("a number")
}

async fn attach(app: &TestApp, number: i64, kind: &str, request: &Value) -> Value {
    app.post(
        &format!("/api/incidents/{number}/calculations"),
        &json!({"kind": kind, "by": "K. M.", "request": request}),
    )
    .await
    .expect(201)
    .json()
}

#[tokio::test]
async fn rise_tests_of_a_tool_are_laid_over_each_other() {
    let app = TestApp::empty().await;
    let number = incident(&app, true).await;
    let empty = app.get("/tools/TST-01/rises").await.expect(200);
    empty.assert_shows("No rise test is kept with an incident of this tool");
    assert!(
        !empty.text.contains("<svg class=\"chart"),
        "a plot of nothing"
    );
    let incident_page = format!("/incidents/{number}");
    let before = app.get(&incident_page).await.expect(200);
    assert!(!before.text.contains("/tools/TST-01/rises"));

    let first = attach(&app, number, "rise", &rise(1.65e-4)).await;
    app.get("/tools/TST-01/rises")
        .await
        .expect(200)
        .assert_shows("There is one test alone");
    let second = attach(&app, number, "rise", &rise(1.65e-4)).await;
    let page = app.get("/tools/TST-01/rises").await.expect(200);
    page.assert_shows(
        "the leak rate, gas from inside and the whole gas load do not differ beyond both intervals",
    );
    let other = incident(&app, true).await;
    let third = attach(&app, other, "rise", &rise(3.3e-4)).await;
    let page = app.get("/tools/TST-01/rises").await.expect(200);
    page.assert_shows("the leak rate and the whole gas load are higher beyond both intervals");
    page.assert_shows("3 rise tests kept with its incidents");
    page.assert_shows("Pumped before");
    page.assert_shows("Rise above the start in mbar");
    page.assert_shows("Time since the valve closed in s");
    for (place, kept, number) in [
        (1, &third, other),
        (2, &second, number),
        (3, &first, number),
    ] {
        let id = &kept["id"];
        page.assert_shows(&format!("href=\"/incidents/{number}/calculations/{id}\""));
        page.assert_shows(&format!("<a href=\"/incidents/{number}\">{number}</a>"));
        let day = Timestamp::now().strftime("%-d %b %Y").to_string();
        page.assert_shows(&format!("{place}: {day}, incident {number}"));
        page.assert_shows(kept["report"]["verdict"].as_str().expect("words"));
        // The table says what was kept, in mbar·L/s, to three figures.
        let low = kept["report"]["leak_rate"]["low"].as_f64().expect("a rate");
        page.assert_shows(&format!("({:.2e} to ", 10.0 * low));
    }
    // Twice the leak in the same volume and time rises twice as high: 1.98e-3 mbar in 600 s.
    let top: f64 = page
        .text
        .replace("<span class=\"whole\">", "")
        .split("<th scope=\"row\">1</th>")
        .skip(1)
        .filter_map(|row| row.split("<td>").nth(2)?.split('<').next()?.parse().ok())
        .fold(0.0, f64::max);
    assert!((1.6e-3..2.1e-3).contains(&top), "{top}");

    for address in [
        "/tools/TST-01".to_owned(),
        incident_page,
        format!("/incidents/{other}/calculations/{}", third["id"]),
        "/calculations/rise?tool=TST-01".to_owned(),
    ] {
        app.get(&address)
            .await
            .expect(200)
            .assert_shows("href=\"/tools/TST-01/rises\"");
    }
    let pascals = app.get("/tools/TST-01/rises?unit=pa").await.expect(200);
    pascals.assert_shows("Rise above the start in Pa");
    let _ = app.get("/tools/TST-01/rises?unit=psi").await.expect(422);
    let _ = app.get("/tools/NONE-9/rises").await.expect(404);

    for _ in 0..7 {
        let _ = attach(&app, other, "rise", &rise(3.3e-5)).await;
    }
    let page = app.get("/tools/TST-01/rises").await.expect(200);
    page.assert_shows("10 rise tests kept with its incidents; the newest 8 are shown");
    page.assert_shows("8: ");
    assert!(!page.text.contains("9: "));
}

#[tokio::test]
async fn an_asker_of_another_site_sees_no_rise_test_of_the_tool() {
    let app = TestApp::empty().await;
    let number = incident(&app, false).await;
    let _ = attach(&app, number, "rise", &rise(1e-4)).await;
    for (site, seen) in [("TST", 1), ("ELS", 0)] {
        let asker = Asker {
            scope: SiteScope::Only(SiteCode::new(site)),
            ..Asker::console()
        };
        for only_after_fix in [false, true] {
            let kept = app
                .store
                .kept_reports(&asker, "TST-01", "rise", only_after_fix, 8)
                .await
                .expect("readable");
            assert_eq!(kept.len(), seen, "{site}");
        }
        let count = app.store.kept_count(&asker, "TST-01", "rise").await;
        assert_eq!(count.expect("a count"), seen as i64, "{site}");
    }
}

#[tokio::test]
async fn a_rise_is_held_against_the_newest_test_after_a_fix() {
    let app = TestApp::empty().await;
    // A test while the incident was open is no healthy one.
    let open = incident(&app, true).await;
    let _ = attach(&app, open, "rise", &rise(1e-4)).await;
    let next = attach(&app, open, "rise", &rise(1e-4)).await;
    assert_eq!(next["request"]["healthy"], Value::Null);
    assert_eq!(next["report"]["signs"]["rise-as-healthy"], Value::Null);
    // Nor is one after the fix of another incident while this one is open.
    let closed = incident(&app, false).await;
    let _ = attach(&app, closed, "rise", &rise(1e-4)).await;
    let next = attach(&app, closed, "rise", &rise(1e-4)).await;
    assert_eq!(next["request"]["healthy"], Value::Null);

    let app = TestApp::empty().await;
    let fixed = incident(&app, false).await;
    let _ = attach(&app, fixed, "rise", &rise(5e-4)).await;
    let healthy = attach(&app, fixed, "rise", &rise(1e-4)).await;
    let number = incident(&app, true).await;
    for (load, as_healthy) in [
        (1e-4, json!(true)),
        (5e-5, json!(true)),
        (1.5e-4, Value::Null),
        (3e-4, json!(false)),
    ] {
        let kept = attach(&app, number, "rise", &rise(load)).await;
        assert_eq!(kept["request"]["healthy"]["calculation"], healthy["id"]);
        assert_eq!(kept["request"]["healthy"]["incident"], fixed);
        let report = &kept["report"];
        assert_eq!(report["signs"]["rise-as-healthy"], as_healthy, "{load}");
        let reasons = report["reasons"].to_string();
        assert!(
            reasons.contains(&format!("fix of incident {fixed}")),
            "{reasons}"
        );
        // What it was held against is kept with it.
        let address = format!("/api/incidents/{number}/calculations/{}/again", kept["id"]);
        assert_eq!(app.get(&address).await.expect(200).json()["same"], true);
        if let Some(seen) = as_healthy.as_bool() {
            let answer = if seen { "seen" } else { "absent" };
            app.get(&format!("/incidents/{number}"))
                .await
                .expect(200)
                .assert_shows(&format!("signs.rise-as-healthy={answer}"));
        }
    }
    let form = app.get("/calculations/rise?tool=TST-01").await.expect(200);
    let low = healthy["report"]["gas_load"]["low"]
        .as_f64()
        .expect("a load");
    form.assert_shows(&format!("value=\"{:.3e}\"", 10.0 * low));
    app.get("/tools/TST-01/rises")
        .await
        .expect(200)
        .assert_shows("When a rise is as on the healthy tool");
}

#[tokio::test]
async fn a_given_healthy_gas_load_counts_where_it_tells() {
    let app = TestApp::empty().await;
    let sign = |request: Value| {
        let app = &app;
        async move {
            let answer = app.post("/api/calculations/rise", &request).await;
            answer.expect(200).json()["signs"]["rise-as-healthy"].clone()
        }
    };
    let with = |request: Value, low: f64, high: f64, seconds: Option<f64>| {
        let end = |value: f64| json!({"value": value, "unit": "mbar-l/s"});
        let mut request = request;
        let pumped = json!({"value": 48, "unit": "h"});
        request["healthy"] = json!({"low": end(low), "high": end(high), "pumped_for": pumped});
        if let Some(seconds) = seconds {
            request["healthy"]["seconds"] = json!(seconds);
        }
        request
    };
    assert_eq!(sign(with(rise(1e-4), 9e-5, 1.1e-4, None)).await, true);
    // What walls no longer give after two days they may have given then, unless that was as long after.
    let mut unknown = with(rise(1e-4), 9e-5, 1.1e-4, None);
    let fields = unknown["healthy"].as_object_mut().expect("an object");
    fields.remove("pumped_for");
    assert_eq!(sign(unknown).await, Value::Null);
    assert_eq!(
        sign(with(rise(1e-4), 9e-5, 1.1e-4, Some(400.0))).await,
        true
    );
    // Too wide, or another length of test: nothing is said.
    assert_eq!(
        sign(with(rise(1e-4), 4e-5, 1.1e-4, None)).await,
        Value::Null
    );
    let longer = with(rise(1e-4), 9e-5, 1.1e-4, Some(3000.0));
    assert_eq!(sign(longer).await, Value::Null);
    assert_eq!(
        sign(with(rise(1e-4), 2e-5, 2.1e-5, Some(3000.0))).await,
        false
    );
    // Nor of a record that steps in the middle.
    let mut stepped = rise(1e-4);
    stepped["log"] = json!(log(301, "mbar", |time| {
        (1e-5 + 1e-6 * time) * if time > 300.0 { 1.6 } else { 1.0 }
    }));
    assert_eq!(sign(with(stepped, 5e-5, 9e-5, None)).await, Value::Null);
    // Nor without a volume.
    let mut bare = rise(1e-4);
    bare.as_object_mut().expect("an object").remove("volume");
    assert_eq!(sign(with(bare, 9e-5, 1.1e-4, None)).await, Value::Null);

    for (low, high, field) in [
        (2e-4, 1e-4, "healthy.low"),
        (0.0, 1e-4, "healthy.low"),
        (-1.0, 1e-4, "healthy.low"),
    ] {
        let request = with(rise(1e-4), low, high, None);
        let refused = app
            .post("/api/calculations/rise", &request)
            .await
            .expect(422);
        assert_eq!(refused.json()["errors"][0]["field"], field);
    }
}

#[tokio::test]
async fn plots_use_the_unit_chosen_or_else_that_of_the_data() {
    let app = TestApp::empty().await;
    let number = incident(&app, true).await;
    let falling = |unit: &str| {
        log(900, unit, |time| {
            1013.0 * (-0.02 * time).exp() + 2e-6 * 3600.0 / time.max(72.0)
        })
    };
    let rising = |unit: &str| log(301, unit, |time| 1e-5 + 1e-6 * time);
    for (data, chosen, shown) in [
        ("mbar", None, "mbar"),
        ("Pa", None, "Pa"),
        ("mbar", Some("pa"), "Pa"),
        ("Pa", Some("torr"), "Torr"),
    ] {
        for (kind, log) in [("rise", rising(data)), ("pump-down", falling(data))] {
            let mut request = json!({"log": log});
            if let Some(chosen) = chosen {
                request["pressure_unit"] = json!(chosen);
            }
            let kept = attach(&app, number, kind, &request).await;
            let page = app
                .get(&format!("/incidents/{number}/calculations/{}", kept["id"]))
                .await
                .expect(200);
            page.assert_shows(&format!("Pressure in {shown}\n"));
        }
    }
}

/// Five hours of pumping after a minute at atmosphere, with a steady load of so many mbar on top.
fn pump_down(steady: f64) -> String {
    let mut text = "time (s),pressure (mbar)\n".to_owned();
    for row in 0..1800 {
        let time = 10.0 * f64::from(row);
        let pumped = f64::max(time - 60.0, 0.0);
        let scatter = 0.02 * ((f64::from(row) * 0.618_033_988_75).fract() - 0.5);
        let pressure =
            1013.0 * (-0.02 * pumped).exp() + 2e-6 * 3600.0 / pumped.max(72.0) + 5e-8 + steady;
        text.push_str(&format!("{time},{:e}\n", pressure * (1.0 + scatter)));
    }
    text
}

#[tokio::test]
async fn a_pump_down_is_held_against_the_newest_made_after_a_fix() {
    let app = TestApp::empty().await;
    let kept = |number: i64, steady: f64| {
        let app = &app;
        async move { attach(app, number, "pump-down", &json!({"log": pump_down(steady)})).await }
    };
    let fixed = incident(&app, false).await;
    let first = kept(fixed, 0.0).await;
    assert_eq!(first["report"]["concluded"], false);
    assert_eq!(first["request"]["healthy_from"], Value::Null);
    // One found worse than the healthy one is no healthy one.
    let worse = kept(fixed, 5e-6).await;
    assert_eq!(
        worse["report"]["signs"]["pump-down-higher-floor"], true,
        "{}",
        worse["report"]["verdict"]
    );
    let number = incident(&app, true).await;
    let from = json!({"incident": fixed, "calculation": first["id"]});
    for (steady, higher_floor) in [(5e-6, true), (0.0, false)] {
        let kept = kept(number, steady).await;
        assert_eq!(kept["request"]["healthy_from"], from);
        assert_eq!(kept["report"]["healthy_from"], from);
        let report = &kept["report"];
        assert_eq!(report["concluded"], true, "{}", report["verdict"]);
        assert_eq!(report["signs"]["pump-down-higher-floor"], higher_floor);
        // What it was held against is kept with it, and linked.
        let place = format!("/incidents/{number}/calculations/{}", kept["id"]);
        let again = app.get(&format!("/api{place}/again")).await.expect(200);
        assert_eq!(again.json()["same"], true);
        let healthy = format!("/incidents/{fixed}/calculations/{}", first["id"]);
        app.get(&place)
            .await
            .expect(200)
            .assert_shows(&format!("href=\"{healthy}\""));
    }
    // A later one made after a fix takes its place; while another incident is open, none is made.
    let by_page = async |fields: &[(&str, &str)]| {
        let files = [("log_file", &*pump_down(5e-6))];
        let page = app.upload("pump-down", fields, &files).await.expect(200);
        page.assert_shows("A steady gas load");
        page
    };
    app.get("/calculations/pump-down?tool=TST-01")
        .await
        .expect(200)
        .assert_shows(&format!("the one kept with incident {fixed} on"));
    let page = by_page(&[("tool", "TST-01")]).await;
    page.assert_shows(&format!("after the fix of incident {fixed}"));
    // One that is given counts instead.
    let given = [("tool", "TST-01"), ("healthy_log", &*pump_down(1e-8))];
    let page = by_page(&given).await;
    assert!(!page.text.contains("after the fix of incident"));
}

#[tokio::test]
async fn pump_downs_of_a_tool_are_laid_over_each_other_with_the_healthy_one_marked() {
    let app = TestApp::empty().await;
    let fixed = incident(&app, false).await;
    let page_of = async |address: &str| app.get(address).await.expect(200);
    let over = "/tools/TST-01/pump-downs";
    let empty = page_of(over).await;
    empty.assert_shows("No pump-down is kept with an incident of this tool");
    assert!(
        !empty.text.contains("<svg class=\"chart"),
        "a plot of nothing"
    );
    let before = page_of(&format!("/incidents/{fixed}")).await;
    assert!(!before.text.contains(over));

    let kept = async |number: i64, steady: f64| {
        attach(
            &app,
            number,
            "pump-down",
            &json!({"log": pump_down(steady)}),
        )
        .await
    };
    let healthy = kept(fixed, 0.0).await;
    let alone = page_of(over).await;
    alone.assert_shows("There is one pump-down alone");
    alone.assert_shows("number 1 is the healthy one");
    let number = incident(&app, true).await;
    let worse = kept(number, 5e-6).await;
    let page = page_of(over).await;
    page.assert_shows("2 pump-downs kept with its incidents");
    page.assert_shows("against the healthy one");
    page.assert_shows("the floor is higher beyond both intervals");
    page.assert_shows(
        "speed over volume while roughing and the exponent of outgassing do not differ beyond both intervals",
    );
    page.assert_shows("number 2 is the healthy one");
    // At 17,930 s of pumping: 5.45e-6 mbar against 4.5e-7, by the formula of the logs.
    page.assert_shows("after 4.98 h of pumping");
    let ratio: f64 = page
        .text
        .replace("<span class=\"whole\">", "")
        .split("its pressure is ")
        .nth(1)
        .and_then(|rest| rest.split([' ', '<']).next()?.parse().ok())
        .expect("a ratio");
    assert!((11.4..12.9).contains(&ratio), "{ratio}");
    page.assert_shows("Pressure in mbar");
    for (place, kept, number, mark) in [(1, &worse, number, ""), (2, &healthy, fixed, ", healthy")]
    {
        let id = &kept["id"];
        page.assert_shows(&format!("href=\"/incidents/{number}/calculations/{id}\""));
        page.assert_shows(kept["report"]["verdict"].as_str().expect("words"));
        let day = Timestamp::now().strftime("%-d %b %Y").to_string();
        page.assert_shows(&format!("{place}: {day}, incident {number}{mark}"));
        // The table says what was kept, in the log's own mbar, to three figures.
        let low = kept["report"]["floor"]["low"].as_f64().expect("a floor");
        let unit = kept["report"]["floor"]["unit"].as_str().expect("a unit");
        let mbar = if unit == "pa" { low / 100.0 } else { low };
        assert!(matches!(unit, "pa" | "mbar"), "{unit}");
        if mbar > 0.0 {
            page.assert_shows(&format!("({mbar:.2e} to "));
        }
    }
    assert_eq!(page.text.matches("<strong>healthy</strong>").count(), 1);
    for address in [
        "/tools/TST-01".to_owned(),
        format!("/incidents/{number}"),
        format!("/incidents/{number}/calculations/{}", worse["id"]),
        "/calculations/pump-down?tool=TST-01".to_owned(),
    ] {
        page_of(&address)
            .await
            .assert_shows("href=\"/tools/TST-01/pump-downs\"");
    }
    page_of(&format!("{over}?unit=pa"))
        .await
        .assert_shows("Pressure in Pa");
    let _ = app.get(&format!("{over}?unit=psi")).await.expect(422);
    let _ = app.get("/tools/NONE-9/pump-downs").await.expect(404);
    // Older than the newest eight, the healthy one is there still.
    for _ in 0..8 {
        let _ = kept(number, 5e-6).await;
    }
    let page = page_of(over).await;
    page.assert_shows(
        "10 pump-downs kept with its incidents; the newest 8 are shown, and the healthy one",
    );
    page.assert_shows("number 9 is the healthy one");
}
