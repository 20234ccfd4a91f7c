//! Calculations through the API and on their pages, held to published values.

use axum::{
    body::Body,
    http::{Request, header},
};
use serde_json::{Value, json};

use crate::support::app::{Answer, TestApp};

const NAMES: [&str; 7] = [
    "rise",
    "gauge",
    "gas-load",
    "pump-down",
    "residual-gas",
    "leak-conversion",
    "conductance",
];

/// Air with a little water: 28, 32 and 40 as 100 : 26.8 : 1.2 (US Standard Atmosphere), 14 at 7 %
/// of 28 (typical quadrupole, from memory of O'Hanlon).
const AIR: &str = "12:1e-12 14:5.5e-10 16:4e-10 17:4e-10 18:2e-9 20:1.3e-11 28:7.8e-9 32:2.1e-9 \
                   40:9.4e-11 44:3e-11 43:0 45:0 58:0 41:0 55:0 57:0 39:0";

async fn compute(app: &TestApp, name: &str, request: &Value) -> Value {
    app.post(&format!("/api/calculations/{name}"), request)
        .await
        .expect(200)
        .json()
}

#[track_caller]
fn close(value: &Value, expected: f64, share: f64) {
    let number = value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"));
    assert!(
        (number / expected - 1.0).abs() <= share,
        "{number} is not {expected} to {share}"
    );
}

/// 1e-5 to 1e-3 mbar in 600 s.
fn straight_rise() -> String {
    log(
        "time (s),pressure (mbar)",
        (0..301).map(|row| 2.0 * f64::from(row)),
        |t| 1e-5 + (1e-3 - 1e-5) / 600.0 * t,
    )
}

/// Readings with a scatter of 1 %, the same at every run.
pub(crate) fn log(
    heading: &str,
    times: impl Iterator<Item = f64>,
    pressure: impl Fn(f64) -> f64,
) -> String {
    let mut text = format!("{heading}\n");
    for (row, time) in times.enumerate() {
        let scatter = 0.02 * ((row as f64 * 0.618_033_988_75).fract() - 0.5);
        text.push_str(&format!("{time},{:e}\n", pressure(time) * (1.0 + scatter)));
    }
    text
}

fn tube(diameter: f64, length: f64) -> Value {
    json!({
        "shape": "tube",
        "diameter": {"value": diameter, "unit": "mm"},
        "length": {"value": length, "unit": "mm"},
    })
}

/// Exact transmission of short tubes: Clausing's integral equation (1932), values of Cole, Prog.
/// Astronaut. Aeronaut. 51 (1977) 261, from memory and solved again independently.
#[tokio::test]
async fn tubes_pass_what_the_exact_solution_says() {
    let app = TestApp::empty().await;
    for (length_over_radius, chance) in [
        (0.2, 0.90922),
        (1.0, 0.67198),
        (4.0, 0.35657),
        (10.0, 0.19094),
        (40.0, 0.0595),
    ] {
        let request = json!({"parts": [tube(50.0, 25.0 * length_over_radius)]});
        let report = compute(&app, "conductance", &request).await;
        close(
            &report["parts"][0]["transmission_probability"],
            chance,
            1e-3,
        );
    }
    // 5 cm wide and 1 m long, air at 20 °C: 12.1 d³/L gives 15.1 L/s (handbooks), the exact one
    // 0.0595 · 11.57 L/s/cm² · 19.635 cm² = 13.5 L/s.
    let report = compute(&app, "conductance", &json!({"parts": [tube(50.0, 1000.0)]})).await;
    close(&report["conductance"]["value"], 13.5, 0.005);
    assert_eq!(report["conductance"]["unit"], "l/s");
    close(
        &report["parts"][0]["long_tube_formula"]["value"],
        15.1,
        0.005,
    );
    // 300 L/s through 10 cm, 30 cm long, by 1/S = 1/S₀ + 1/C with C = 250.4 L/s.
    let request = json!({
        "parts": [tube(100.0, 300.0)],
        "pump": {"speed": {"value": 300, "unit": "l/s"}},
    });
    let report = compute(&app, "conductance", &request).await;
    close(&report["conductance"]["value"], 250.4, 0.002);
    close(
        &report["speed_at_chamber_by_plain_rule"]["value"],
        136.5,
        0.002,
    );
    // Two tubes side by side pass twice as much (Normand, Ind. Eng. Chem. 40 (1948) 783), by the
    // API and on the page.
    let beside = |branch: &str| {
        let mut part = tube(50.0, 1000.0);
        part["branch"] = json!(branch);
        part
    };
    let request = json!({"parts": [beside("a"), beside("b")]});
    let report = compute(&app, "conductance", &request).await;
    close(&report["conductance"]["value"], 27.0, 0.005);
    let rows: String = ["a", "b"]
        .iter()
        .enumerate()
        .map(|(row, branch)| {
            format!(
                "&parts.{row}.shape=tube&parts.{row}.diameter.value=50&parts.{row}.diameter.unit=mm\
                 &parts.{row}.length.value=1&parts.{row}.length.unit=m&parts.{row}.branch={branch}"
            )
        })
        .collect();
    app.get(&format!("/calculations/conductance?calculate=yes{rows}"))
        .await
        .expect(200)
        .assert_shows("tube in branch b");
    // A roughing line: 135 d⁴ p̄/L (cm, mbar, L/s) for air in viscous flow (handbooks, from memory),
    // 2 m of 40 mm at 2 mbar pass 345 L/s.
    let request = json!({
        "parts": [tube(40.0, 1000.0), tube(40.0, 1000.0)],
        "inlet_pressure": {"value": 2.005, "unit": "mbar"},
        "outlet_pressure": {"value": 1.995, "unit": "mbar"},
    });
    let report = compute(&app, "conductance", &request).await;
    assert_eq!(report["regime"], "viscous");
    close(&report["conductance"]["value"], 345.6, 0.03);
    let rows: String = (0..2)
        .map(|row| {
            format!(
                "&parts.{row}.shape=tube&parts.{row}.diameter.value=40&parts.{row}.diameter.unit=mm\
                 &parts.{row}.length.value=1&parts.{row}.length.unit=m"
            )
        })
        .collect();
    app.get(&format!(
        "/calculations/conductance?calculate=yes{rows}&inlet_pressure.value=2.005&\
         inlet_pressure.unit=mbar&outlet_pressure.value=1.995&outlet_pressure.unit=mbar"
    ))
    .await
    .expect(200)
    .assert_shows("Each part between the pressures given, in mbar");
}

/// Q = p·S (Elsey, Vacuum 25 (1975) 347): 3.3e-7 mbar on top at 500 L/s is 1.65e-4 mbar·L/s.
#[tokio::test]
async fn an_extra_gas_load_follows_from_two_pressures() {
    let app = TestApp::empty().await;
    let request = json!({
        "healthy": {"value": 1e-7, "unit": "mbar"},
        "faulty": {"value": 4.3e-7, "unit": "mbar"},
        "speed_at_chamber": {"value": 1800, "unit": "m3/h"},
    });
    let report = compute(&app, "gas-load", &request).await;
    close(&report["extra_gas_load"]["value"], 1.65e-4, 1e-9);
    assert_eq!(report["extra_gas_load"]["unit"], "mbar-l/s");
    let interval = &report["extra_gas_load_interval_95"];
    assert!(interval["low"].as_f64() < Some(1.65e-4) && interval["high"].as_f64() > Some(1.65e-4));
    // A nitrogen foreline at 1e-2 mbar behind a compression of 1e8 makes 1e-10 mbar (definition of
    // the compression, ISO 21360-4), which cannot explain 4.3e-7 mbar.
    let mut with_foreline = request;
    with_foreline["foreline"] = json!({
        "pressure": {"value": 1e-2, "unit": "mbar"}, "gas": "nitrogen", "compression": 1e8,
    });
    let report = compute(&app, "gas-load", &with_foreline).await;
    assert_eq!(report["foreline"]["finding"], "cannot-explain");
    close(
        &report["foreline"]["pressure_from_foreline"]["high"],
        1e-10 * 760.0 / 1013.25,
        1e-6,
    );
}

/// √(4.0026/28.9647) = 0.3717, kinetic theory; 1 mbar·L/s = 0.750062 Torr·L/s (NIST SP 811, B.8);
/// 1 sccm of 0 °C is 0.018124 mbar·L/s of gas at 20 °C.
#[tokio::test]
async fn a_helium_leak_is_carried_over_to_air_and_other_units() {
    let app = TestApp::empty().await;
    let request = json!({"rate": {"value": 1e-9, "unit": "mbar-l/s"}});
    let report = compute(&app, "leak-conversion", &request).await;
    let conversion = &report["conversion"];
    assert_eq!(conversion["regime"], "molecular");
    close(&conversion["if_molecular"]["value"], 0.3717e-9, 1e-3);
    let in_unit = |unit: &str| {
        conversion["rate"]
            .as_array()
            .expect("rates")
            .iter()
            .find(|rate| rate["unit"] == unit)
            .unwrap_or_else(|| panic!("no rate in {unit}"))["low"]
            .as_f64()
            .expect("a number")
    };
    close(
        &json!(in_unit("torr-l/s") / in_unit("mbar-l/s")),
        0.750_062,
        1e-6,
    );
    close(
        &json!(in_unit("mbar-l/s") / in_unit("sccm")),
        0.018_124,
        1e-4,
    );
    // Before the work that a helium test is, its cautions.
    assert_eq!(
        report["cautions"],
        json!([
            "asphyxiation",
            "compressed-air",
            "high-voltage",
            "lifting",
            "turbo-stored-energy"
        ])
    );
}

/// Argon reads 1.2 times too high on an ion gauge: Summers, NASA TN D-5285 (1969), in a secondary
/// reprint.
#[tokio::test]
async fn readings_are_corrected_for_the_gas_in_the_right_direction() {
    let app = TestApp::empty().await;
    let request = json!({
        "readings": [{"kind": "hot-filament", "pressure": {"value": 5e-6, "unit": "pa"}}],
        "gas": "argon",
    });
    let report = compute(&app, "gauge", &request).await;
    close(
        &report["corrected"][0]["true_pressure"]["value"],
        5e-6 / 1.2,
        0.01,
    );
    let stuck = json!({
        "readings": [
            {"kind": "combination-cold-cathode", "moves": false,
             "pressure": {"value": 5e-4, "unit": "torr"}},
            {"kind": "hot-filament", "lit": true, "pressure": {"value": 4e-7, "unit": "torr"}},
        ],
    });
    let report = compute(&app, "gauge", &stuck).await;
    assert_eq!(report["finding"], "stuck-at-pirani-limit");
    assert_eq!(report["signs"]["gauge-stuck-pirani-limit"], true);
}

/// 1e-5 to 1e-3 mbar in 600 s on 100 L is 1.65e-4 mbar·L/s (definition, EN 1330-8), which makes
/// 3.3e-7 mbar at 500 L/s (p = Q/S, Elsey 1975).
#[tokio::test]
async fn a_straight_rise_is_a_leak_of_its_size() {
    let app = TestApp::empty().await;
    let request = json!({
        "log": straight_rise(),
        "volume": {"value": 100, "unit": "l"},
        "speed": {"value": 500, "unit": "l/s"},
        "pumped_for": {"value": 24, "unit": "h"},
    });
    let report = compute(&app, "rise", &request).await;
    assert_eq!(report["concluded"], true, "{report}");
    assert_eq!(report["signs"]["rise-linear"], true);
    close(&report["leak_rate"]["value"], 1.65e-5, 0.02);
    assert!(report["leak_rate"]["low"].as_f64() < Some(1.65e-5));
    assert!(report["leak_rate"]["high"].as_f64() > Some(1.65e-5));
    close(&report["base_pressure_of_leak"]["value"], 3.3e-5, 0.02);
}

/// 500 L from 1013 to 1 mbar in 10 min takes 20.8 m³/h: t = V/S · ln(p₁/p₂) (Umrath, Fundamentals
/// of Vacuum Technology, chapter 2, from memory).
#[tokio::test]
async fn a_pump_down_tells_the_speed_while_roughing() {
    let app = TestApp::empty().await;
    let pressure =
        |t: f64| 1013.0 * (-t * 1013f64.ln() / 600.0).exp() + 2e-6 * 3600.0 / t.max(72.0);
    let request = json!({
        "log": log("time (s),pressure (mbar)", (0..1800).map(|row| 5.0 * f64::from(row)), pressure),
        "volume": {"value": 500, "unit": "l"},
    });
    let report = compute(&app, "pump-down", &request).await;
    close(&report["roughing_speed"]["value"], 20.8 / 3.6, 0.02);
    assert_eq!(
        report["concluded"], false,
        "there is no healthy record: {report}"
    );
}

#[tokio::test]
async fn bad_lines_of_the_healthy_pump_down_are_told_too() {
    let app = TestApp::empty().await;
    let rows = || (1..200).map(|row| 20.0 * f64::from(row));
    let pressure = |t: f64| 1e-4 * 3600.0 / t;
    let header = "time (s),pressure (mbar)";
    let healthy = format!("{}3985,offline\n", log(header, rows(), pressure));
    let request = json!({"log": log(header, rows(), pressure), "healthy_log": healthy});
    let report = compute(&app, "pump-down", &request).await;
    assert_eq!(report["line_problem_count"], 1, "{report}");
    let problem = &report["line_problems"][0];
    assert_eq!(problem["line"], 201);
    let words = problem["problem"].as_str().expect("words");
    assert!(words.starts_with("of the healthy pump-down: "), "{words}");
    assert!(words.contains("offline"), "{words}");
}

#[tokio::test]
async fn air_is_told_by_its_peaks_and_not_by_28_alone() {
    let app = TestApp::empty().await;
    let total = json!({"value": 3e-6, "unit": "torr"});
    let request = json!({"spectrum": AIR, "total_pressure": total});
    let report = compute(&app, "residual-gas", &request).await;
    assert_eq!(report["signs"]["residual-air"], true, "{report}");
    assert_eq!(report["gases"][0]["id"], "nitrogen");
    let alone = json!({"spectrum": "18:2e-9 28:7.8e-9 44:3e-11", "total_pressure": total});
    let report = compute(&app, "residual-gas", &alone).await;
    assert_ne!(report["signs"]["residual-air"], true, "{report}");
    let too_high = json!({"spectrum": AIR, "total_pressure": {"value": 1e-3, "unit": "mbar"}});
    let refused = app
        .post("/api/calculations/residual-gas", &too_high)
        .await
        .expect(422);
    assert_eq!(refused.json()["errors"][0]["field"], "total_pressure");
}

#[tokio::test]
async fn what_cannot_be_taken_is_named_with_what_would() {
    let app = TestApp::empty().await;
    let healthy = json!({"value": 5e-7, "unit": "torr"});
    let cases = [
        ("rise", json!({}), "log"),
        ("rise", json!({"log": ""}), "log"),
        ("rise", json!({"log": "0,1\n1,2\n"}), "pressure_unit"),
        ("rise", json!({"log": "words only"}), "log"),
        ("rise", json!({"log": 5}), "log"),
        ("pump-down", json!({}), "log"),
        ("gas-load", json!({"healthy": healthy}), "faulty"),
        (
            "gas-load",
            json!({"healthy": healthy, "faulty": healthy}),
            "speed_at_chamber",
        ),
        (
            "gas-load",
            json!({"healthy": {"value": 5e-7, "unit": "psi"}}),
            "healthy.unit",
        ),
        (
            "gas-load",
            json!({"healthy": {"value": "low", "unit": "pa"}}),
            "healthy.value",
        ),
        ("conductance", json!({"parts": []}), "parts"),
        (
            "conductance",
            json!({"parts": [tube(-5.0, 10.0)]}),
            "parts[0].diameter",
        ),
        (
            "conductance",
            json!({"parts": [tube(5.0, 10.0)], "colour": 1}),
            "colour",
        ),
        ("leak-conversion", json!({}), "rate"),
        ("gauge", json!({"readings": []}), "readings"),
        (
            "gauge",
            json!({"readings": [{"kind": "dial", "pressure": healthy}]}),
            "readings[0].kind",
        ),
        (
            "residual-gas",
            json!({"spectrum": "18:2e-9 28"}),
            "spectrum",
        ),
        ("residual-gas", json!({}), "spectrum"),
    ];
    for (name, body, field) in cases {
        let answer = app
            .post(&format!("/api/calculations/{name}"), &body)
            .await
            .expect(422);
        assert_eq!(answer.kind, "application/problem+json");
        let error = &answer.json()["errors"][0];
        assert_eq!(error["field"], field, "{name} {body}: {}", answer.text);
        for part in ["problem", "accepted"] {
            let words = error[part].as_str().unwrap_or_default();
            assert!(!words.is_empty(), "{name} {body}: {}", answer.text);
        }
    }
    let both = json!({
        "healthy": {"value": -1, "unit": "torr"},
        "faulty": {"value": 3e-5, "unit": "torr"},
        "speed_at_chamber": {"value": -1, "unit": "l/s"},
    });
    let answer = app
        .post("/api/calculations/gas-load", &both)
        .await
        .expect(422);
    assert_eq!(answer.json()["errors"].as_array().map(Vec::len), Some(2));
}

#[tokio::test]
async fn what_is_no_request_at_all_is_a_problem_of_its_own() {
    let app = TestApp::empty().await;
    for name in NAMES {
        let address = format!("/api/calculations/{name}");
        for body in ["{", "", "{} trailing", "\u{1}", r#"{"a": 1e999}"#] {
            let request = Request::post(&address)
                .body(Body::from(body))
                .expect("a request");
            let answer = app.send(request).await;
            assert!(
                [400, 422].contains(&answer.status.as_u16()),
                "{name} {body:?}: {}",
                answer.text
            );
            assert_eq!(answer.kind, "application/problem+json");
        }
        let _ = app.get(&address).await.expect(405);
    }
    let unknown = app
        .post("/api/calculations/none", &json!({}))
        .await
        .expect(404);
    unknown.assert_shows("leak-conversion");
}

#[tokio::test]
async fn logs_may_be_large_and_other_requests_may_not() {
    let app = TestApp::empty().await;
    let long = log(
        "time (s),pressure (mbar)",
        (0..120_000).map(|row| 0.01 * f64::from(row)),
        |t| 1e-5 + 1.65e-6 * t,
    );
    assert!(long.len() > 2 << 20, "{}", long.len());
    let report = compute(
        &app,
        "rise",
        &json!({"log": long, "volume": {"value": 100, "unit": "l"}}),
    )
    .await;
    assert_eq!(report["readings"], 120_000);
    close(&report["leak_rate"]["value"], 1.65e-5, 0.02);
    let padding = " ".repeat(3 << 20);
    let body = format!("{{\"parts\": []{padding}}}");
    let request = Request::post("/api/calculations/conductance")
        .body(Body::from(body))
        .expect("a request");
    let _ = app.send(request).await.expect(413);
    let huge = " ".repeat(54 << 20);
    let request = Request::post("/api/calculations/rise")
        .body(Body::from(huge))
        .expect("a request");
    let _ = app.send(request).await.expect(413);
}

pub(crate) fn asked(name: &str, fields: &[(&str, &str)]) -> String {
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("calculate", "yes")
        .extend_pairs(fields)
        .finish();
    format!("/calculations/{name}?{query}")
}

/// A page with a result: the hazards first, then verdict, figures, a plot with its table, the cautions whole
/// before what would decide, and what was assumed; and never a word that something is safe.
#[track_caller]
fn assert_result(page: &Answer, caution: Option<&str>, verdict: &str) {
    let place = |words: &str| {
        page.text
            .find(words)
            .unwrap_or_else(|| panic!("no {words:?} in {}", page.text))
    };
    let result = place("id=\"result\"");
    if let Some(caution) = caution {
        assert!(place(caution) < place(verdict), "{caution} comes late");
        let whole = place("id=\"cautions-title\"");
        assert!(
            page.text[whole..].contains(caution),
            "{caution} is not told"
        );
        if let Some(next) = page.text.find("<h3>What would decide</h3>") {
            assert!(whole < next, "the cautions come late");
        }
    }
    assert!(place(verdict) > result);
    assert!(place("<svg width=") > result && place("viewBox=\"0 0 420") > result);
    assert!(place("<desc>") > result && place("The same as a table") > result);
    assert!(place("<h3>Assumed</h3>") > place(verdict));
    let lower = page.text.to_lowercase();
    for word in [" safe ", " safe.", " safe,", " safely"] {
        assert!(!lower.contains(word), "the page says {word:?}");
    }
    assert!(!page.text.contains("NaN") && !page.text.contains(" style="));
}

#[tokio::test]
async fn every_calculation_has_a_page_that_works_without_scripts() {
    let app = TestApp::demo().await;
    let list = app.get("/calculations").await.expect(200);
    for name in NAMES {
        list.assert_shows(&format!("href=\"/calculations/{name}\""));
        let page = app.get(&format!("/calculations/{name}")).await.expect(200);
        page.assert_shows("<form");
        assert!(!page.text.contains("id=\"result\""));
    }
    let _ = app.get("/calculations/none").await.expect(404);
    let _ = app.get("/calculations/rise?tool=none").await.expect(404);

    let gauge = asked(
        "gauge",
        &[
            ("readings.0.kind", "combination-cold-cathode"),
            ("readings.0.pressure.value", "5e-4"),
            ("readings.0.pressure.unit", "torr"),
            ("readings.0.moves", "absent"),
            ("readings.2.kind", "hot-filament"),
            ("readings.2.pressure.value", "4×10⁻⁷ Torr"),
            ("readings.2.lit", "seen"),
        ],
    );
    let page = app.get(&gauge).await.expect(200);
    assert_result(&page, Some("High voltage"), "stuck at its Pirani limit");
    page.assert_shows("/checks/gauge-comparison");
    // A diaphragm whose zero is off, as its display shows it; no other gauge reads below zero.
    let below_zero = |kind| {
        let reading = [
            ("readings.0.kind", kind),
            ("readings.0.pressure.value", "−2e-4 Torr"),
        ];
        asked("gauge", &reading)
    };
    let page = app.get(&below_zero("capacitance")).await.expect(200);
    assert_result(
        &page,
        Some("High voltage"),
        "The zero of the capacitance gauge is off",
    );
    let page = app.get(&below_zero("pirani")).await.expect(422);
    page.assert_shows("a pressure must be zero or more, not -2e-4 Torr");

    let load = asked(
        "gas-load",
        &[
            ("healthy.value", "1e-7"),
            ("healthy.unit", "mbar"),
            ("faulty.value", "4,3e-7"),
            ("faulty.unit", "mbar"),
            ("speed_at_chamber.value", "500"),
            ("speed_at_chamber.unit", "l/s"),
        ],
    );
    let page = app.get(&load).await.expect(200);
    assert_result(&page, None, "If the pump is as good as before");
    page.assert_shows("1.65e-4 mbar·L/s");

    let path = asked(
        "conductance",
        &[
            ("parts.1.shape", "tube"),
            ("parts.1.diameter.value", "100"),
            ("parts.1.diameter.unit", "mm"),
            ("parts.1.length.value", "30"),
            ("parts.1.length.unit", "cm"),
            ("pump.speed.value", "300"),
            ("pump.speed.unit", "l/s"),
        ],
    );
    let page = app.get(&path).await.expect(200);
    assert_result(&page, None, "250 L/s");

    let leak = asked(
        "leak-conversion",
        &[
            ("rate.value", "1e-9"),
            ("rate.unit", "mbar-l/s"),
            ("helium_test.volume.value", "400"),
            ("helium_test.volume.unit", "l"),
            ("helium_test.helium_speed.value", "100"),
            ("helium_test.helium_speed.unit", "l/s"),
            ("helium_test.smallest_change.value", "1e-10 mbar"),
            ("helium_test.spray_time.value", "5"),
            ("helium_test.spray_time.unit", "s"),
        ],
    );
    let page = app.get(&leak).await.expect(200);
    assert_result(&page, Some("Asphyxiation"), "3.72e-10 mbar·L/s");
    page.assert_shows("Helium signal in %");
}

#[tokio::test]
async fn logs_and_spectra_are_taken_as_files_or_pasted() {
    let app = TestApp::demo().await;
    let chamber = [
        ("volume.value", "100"),
        ("volume.unit", "l"),
        ("pumped_for.value", "24"),
        ("pumped_for.unit", "h"),
    ];
    let rise = straight_rise();
    let page = app
        .upload("rise", &chamber, &[("log_file", &rise)])
        .await
        .expect(200);
    assert_result(
        &page,
        Some("Stored pressure"),
        "A leak: the pressure rises straight",
    );
    // By definition 1.65e-4 mbar·L/s, which lies in the interval; the scatter of this log is no chance.
    page.assert_shows("1.60e-4</span> to <span class=\"whole\">1.66e-4 mbar·L/s");
    // A short file comes back as text, so that it can be computed again with another volume.
    page.assert_shows("0,9.9e-6");
    let pasted = app
        .upload(
            "rise",
            &[
                ("log", &rise),
                ("volume.value", "100"),
                ("volume.unit", "l"),
                ("pumped_for.value", "24"),
                ("pumped_for.unit", "h"),
                ("tool", ""),
                // A field for a file in which none was chosen, as a browser sends it.
                ("log_file\"; filename=\"", ""),
            ],
            &[],
        )
        .await
        .expect(200);
    pasted.assert_shows("A leak: the pressure rises straight");
    let both = app
        .upload("rise", &[("log", &rise)], &[("log_file", &rise)])
        .await
        .expect(422);
    both.assert_shows("not both");
    both.assert_shows("0,9.9e-6");
    // No page can choose a file for a person; what is wrong with it is told beside all else.
    both.assert_shows("Choose the file again");
    let refused = app
        .upload(
            "rise",
            &[("volume.value", "much"), ("volume.unit", "l")],
            &[("log_file", "a\nb\n")],
        )
        .await
        .expect(422);
    refused.assert_shows("&#34;much&#34; is not a number");
    refused.assert_shows("Refused: </span>line ");
    // What is wrong with a file is told at its field.
    let at_file = refused
        .text
        .split("for=\"log_file\"")
        .nth(1)
        .expect("the field");
    let at_file = at_file.split("id=\"log_file\"").next().expect("its notes");
    assert!(at_file.contains("Refused: "), "{at_file}");
    refused.assert_shows("What it holds now stands as text beside it.");
    let other = app
        .upload(
            "rise",
            &[
                ("volume.value", "100"),
                ("volume.unit", "l"),
                ("pressure_unit", "torr"),
            ],
            &[("log_file", &rise)],
        )
        .await
        .expect(200);
    other.assert_shows("itself says, and not in");

    let healthy = |t: f64| 1013.0 * (-0.02 * t).exp() + 2e-6 * 3600.0 / t.max(72.0) + 5e-8;
    let times = || (0..1800).map(|row| 10.0 * f64::from(row));
    let heading = "time (s),pressure (mbar)";
    let page = app
        .upload(
            "pump-down",
            &[("speed.value", "1000"), ("speed.unit", "l/s")],
            &[
                ("log_file", &log(heading, times(), |t| healthy(t) + 5e-6)),
                ("healthy_log_file", &log(heading, times(), healthy)),
            ],
        )
        .await
        .expect(200);
    assert_result(
        &page,
        Some("Rotating and moving parts"),
        "A steady gas load",
    );
    // One unit of pressure, that of the log; and the volume phase is in the table, not the plot alone.
    page.assert_shows("On top at the end in mbar");
    let text = page.text.replace("<span class=\"whole\">", "");
    let early = text.split("<th scope=\"row\">This one</th>").skip(1);
    let times = early.filter_map(|row| row.split("<td>").nth(1)?.split('<').next()?.parse().ok());
    let early = times.filter(|time: &f64| *time < 600.0).count();
    assert!(early >= 8, "{early} rows of the first ten minutes");

    let page = app
        .upload(
            "residual-gas",
            &[
                ("total_pressure.value", "3e-6"),
                ("total_pressure.unit", "torr"),
            ],
            &[("spectrum_file", AIR)],
        )
        .await
        .expect(200);
    assert_result(&page, Some("Asphyxiation"), "Air is in the chamber");
}

#[tokio::test]
async fn a_refused_form_comes_back_filled_in_with_each_message_at_its_field() {
    let app = TestApp::demo().await;
    let address = asked(
        "gauge",
        &[
            ("readings.0.kind", "pirani"),
            ("readings.0.pressure.value", "5e-3 torr"),
            ("readings.2.kind", "hot-filament"),
            ("readings.2.pressure.value", "low -7s"),
        ],
    );
    let page = app.get(&address).await.expect(422);
    page.assert_shows("value=\"low -7s\"");
    page.assert_shows("id=\"readings.2.pressure.message\"");
    page.assert_shows("names a decade");
    assert!(!page.text.contains("id=\"result\""));

    let page = app.get(&asked("gas-load", &[])).await.expect(422);
    page.assert_shows("id=\"healthy.message\"");
    page.assert_shows("id=\"faulty.message\"");

    // The second row filled in is the third of the form; the message stands there.
    let address = asked(
        "conductance",
        &[
            ("parts.0.shape", "opening"),
            ("parts.0.diameter.value", "50"),
            ("parts.2.shape", "tube"),
            ("parts.2.diameter.value", "-5"),
            ("parts.2.length.value", "10"),
        ],
    );
    let page = app.get(&address).await.expect(422);
    page.assert_shows("id=\"parts.2.diameter.message\"");

    let hostile = "<script>alert(1)</script>";
    let page = app
        .upload(
            "rise",
            &[
                ("log", hostile),
                ("volume.value", "\"><script>alert(2)</script>"),
            ],
            &[],
        )
        .await
        .expect(422);
    assert!(!page.text.contains("<script>alert"));
    let broken = Request::post("/calculations/rise")
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=x")
        .body(Body::from("--x\r\nno end"))
        .expect("a request");
    let _ = app.send(broken).await.expect(400);
}

#[tokio::test]
async fn a_tool_brings_its_volume_and_speed_and_takes_the_signs_along() {
    let app = TestApp::demo().await;
    let tool = app
        .store
        .tools(&coldtrap::casebook::Asker::console())
        .await
        .expect("the demo's tools")
        .into_iter()
        .next()
        .expect("a tool");
    app.get(&format!("/tools/{}", tool.id))
        .await
        .expect(200)
        .assert_shows(&format!("href=\"/calculations?tool={}\"", tool.id));
    let list = app
        .get(&format!("/calculations?tool={}", tool.id))
        .await
        .expect(200);
    list.assert_shows(&format!("/calculations/rise?tool={}", tool.id));
    let page = app
        .get(&format!("/calculations/rise?tool={}", tool.id))
        .await
        .expect(200);
    page.assert_shows(&format!(
        "name=\"volume.value\" value=\"{}\"",
        tool.volume_litres
    ));
    page.assert_shows(&format!(
        "name=\"speed.value\" value=\"{}\"",
        tool.speed_litres_per_second
    ));
    let result = app
        .upload(
            "rise",
            &[
                ("tool", tool.id.as_str()),
                ("volume.value", "100"),
                ("volume.unit", "l"),
                ("pumped_for.value", "24"),
                ("pumped_for.unit", "h"),
            ],
            &[("log_file", &straight_rise())],
        )
        .await
        .expect(200);
    result.assert_shows(&format!(
        "/sequence/tools/{}?signs.rise-flattens=absent",
        tool.id
    ));
    result.assert_shows("signs.rise-linear=seen");
    let sequence = app
        .get(&format!(
            "/sequence/tools/{}?signs.rise-linear=seen",
            tool.id
        ))
        .await
        .expect(200);
    assert!(!sequence.text.contains("class=\"errors\""));
}

/// The value of a hidden field, as a browser would send it back.
fn hidden(page: &Answer, name: &str) -> String {
    let start = format!("name=\"{name}\" value=\"");
    let from = page.text.find(&start).expect("a hidden field") + start.len();
    let value = &page.text[from..];
    value[..value.find('"').expect("its end")]
        .replace("&quot;", "\"")
        .replace("&#34;", "\"")
        .replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&#38;", "&")
}

#[tokio::test]
async fn a_calculation_is_kept_with_its_incident_and_computed_again() {
    let app = TestApp::demo().await;
    let open = app
        .post(
            "/api/incidents",
            &json!({
                "status": "open", "tool": app.store.tools(&coldtrap::casebook::Asker::console())
                    .await.expect("tools")[0].id.as_str(),
                "occurred_at": "2025-03-04T10:20:00Z",
                "symptom": "does not come below 5e-5 mbar",
                "pressures": {"faulty": {"value": 5e-5, "unit": "mbar"}},
                "author": "tests",
            }),
        )
        .await
        .expect(201)
        .json();
    let number = open["number"].as_i64().expect("a number");
    let incident = app.get(&format!("/incidents/{number}")).await.expect(200);
    incident.assert_shows("Calculate for this incident");
    assert!(!incident.text.contains("signs.rise-linear=seen"));

    let fields = [
        ("volume.value", "100"),
        ("volume.unit", "l"),
        ("pumped_for.value", "24"),
        ("pumped_for.unit", "h"),
        ("incident", &number.to_string()),
    ];
    let result = app
        .upload("rise", &fields, &[("log_file", &straight_rise())])
        .await
        .expect(200);
    let request = hidden(&result, "request");
    let number_text = number.to_string();
    let sent = [
        ("name", "rise"),
        ("request", request.as_str()),
        ("incident", number_text.as_str()),
        ("author", "K. M."),
    ];
    result.assert_shows(&format!("name=\"incident\" value=\"{number}\""));
    let attached = app.upload("attach", &sent, &[]).await.expect(303);
    let place = attached.location.expect("where it is");
    let page = app.get(&place).await.expect(200);
    assert_result(
        &page,
        Some("Stored pressure"),
        "A leak: the pressure rises straight",
    );
    page.assert_shows("K. M.");
    page.assert_shows("the same, shown below");

    let incident = app.get(&format!("/incidents/{number}")).await.expect(200);
    incident.assert_shows("A leak: the pressure rises straight");
    incident.assert_shows(&format!("/incidents/{number}/calculations/"));
    // Its signs go to the check sequence.
    incident.assert_shows("signs.rise-linear=seen");
    incident.assert_shows("signs.rise-flattens=absent");

    // A result of another program version is told from today's.
    let old = app
        .store
        .attach(
            number,
            coldtrap::casebook::Calculation {
                kind: "conductance".to_owned(),
                made_at: "2025-03-04T12:00:00Z".parse().expect("a time"),
                by: "K. M.".to_owned(),
                program_version: "0.0.1".to_owned(),
                logs: std::collections::BTreeMap::new(),
                request: json!({"parts": [tube(50.0, 1000.0)]}),
                report: json!({"verdict": "15.1 L/s pass", "signs": {}}),
            },
            None,
        )
        .await
        .expect("an incident to attach to");
    let page = app
        .get(&format!("/incidents/{number}/calculations/{old}"))
        .await
        .expect(200);
    page.assert_shows("computed by coldtrap 0.0.1");
    page.assert_shows("not the same");
    page.assert_shows("15.1 L/s pass");
    page.assert_shows("13.5 L/s");
    page.assert_shows("What is not as it was");
    page.assert_shows("Field of the result");

    let sent = |incident: &'static str, author: &'static str| {
        [
            ("name", "rise".to_owned()),
            ("request", request.clone()),
            ("incident", incident.to_owned()),
            ("author", author.to_owned()),
        ]
    };
    for (incident, author, status) in [
        ("", "K. M.", 422),
        ("1", "", 422),
        ("x", "y", 422),
        ("999999", "y", 404),
    ] {
        let fields = sent(incident, author);
        let fields: Vec<_> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        let _ = app.upload("attach", &fields, &[]).await.expect(status);
    }
    let _ = app
        .get(&format!("/incidents/{number}/calculations/77"))
        .await
        .expect(404);
    let other = if number == 1 { 2 } else { 1 };
    let _ = app
        .get(&format!("/incidents/{other}/calculations/{old}"))
        .await
        .expect(404);
}

/// A link with a unit that no list offers is judged by it, and no other is taken for it.
#[tokio::test]
async fn a_unit_of_a_link_is_taken_as_written_or_refused() {
    let app = TestApp::empty().await;
    let ask = |unit: &str| {
        let query = format!(
            "calculate=yes&healthy.value=1e-6&healthy.unit={unit}&faulty.value=1e-5&faulty.unit=mbar&\
             speed_at_chamber.value=500&speed_at_chamber.unit=l/s"
        );
        let app = &app;
        async move { app.get(&format!("/calculations/gas-load?{query}")).await }
    };
    ask("Pa").await.expect(200).assert_shows("5.00e-6");
    ask("xyz")
        .await
        .expect(422)
        .assert_shows("&#34;xyz&#34; is not a unit of pressure");
}

/// The address of a link on a page that begins so.
fn link(page: &Answer, beginning: &str) -> String {
    let start = page.text.find(beginning).expect(beginning);
    let link = page.text[start..].split('"').next().expect("its end");
    link.replace("&amp;", "&").replace("&#38;", "&")
}

/// Whether a form on the page holds this pressure in this unit.
#[track_caller]
fn assert_holds(page: &Answer, field: &str, value: &str, unit: &str) {
    let from = page.text.find(&format!("id=\"{field}.value\""));
    let from = &page.text[from.expect(field)..];
    let field = from.split("</select>").next().expect("its end");
    assert!(field.contains(&format!("value=\"{value}\"")), "{field}");
    let chosen = format!("<option value=\"{unit}\" selected>");
    assert!(field.contains(&chosen), "{field}");
}

/// From an incident to its calculations, from those to the order of checks, and from there to a report.
#[tokio::test]
async fn typed_pressures_go_along_from_page_to_page() {
    let app = TestApp::demo().await;
    let incident = app.get("/incidents/151").await.expect(200);
    let calculate = app.get(&link(&incident, "/calculations?tool=")).await;
    let calculate = calculate.expect(200);
    let form = link(&calculate, "/calculations/gas-load?tool=");
    let page = app.get(&form).await.expect(200);
    assert_holds(&page, "faulty", "9e-6", "mbar");
    let typed = "healthy.value=4e-5&healthy.unit=pa&faulty.value=2e-3&faulty.unit=pa\
                 &speed_at_chamber.value=500&speed_at_chamber.unit=l/s&calculate=yes";
    let result = app.get(&format!("{form}&{typed}")).await.expect(200);
    let sequence = app
        .get(&link(&result, "/sequence/tools/"))
        .await
        .expect(200);
    assert_holds(&sequence, "pressures.healthy", "4e-5", "pa");
    assert_holds(&sequence, "pressures.faulty", "2e-3", "pa");
    let report = app
        .get(&link(&sequence, "/incidents/new?"))
        .await
        .expect(200);
    assert_holds(&report, "pressures.healthy", "4e-5", "pa");
    assert_holds(&report, "pressures.faulty", "2e-3", "pa");
    // The healthy pressure that was typed counts, and not that of the tool.
    let tool = form
        .split("tool=")
        .nth(1)
        .and_then(|rest| rest.split('&').next());
    let tool = tool.expect("the tool");
    let below = format!(
        "/sequence/tools/{tool}?pressures.healthy.value=1e-3&pressures.healthy.unit=torr\
         &pressures.faulty.value=5e-4&pressures.faulty.unit=torr"
    );
    let below = app.get(&below).await.expect(200);
    below.assert_shows("5e-4 Torr lies below the healthy pressure, 1e-3 Torr");
}

/// A rise that flattens as a trapped volume does may be without any leak, so no interval of an opening begins at none.
#[tokio::test]
async fn an_opening_that_may_be_none_is_told_by_its_upper_end() {
    let app = TestApp::demo().await;
    let seconds = (0..400).map(|row| 5.0 * f64::from(row));
    let flattens = log("time (s),pressure (mbar)", seconds, |t| {
        (1e-6 + 1e-1 * (1.0 - (-t / 300.0).exp())) * (1.0 + 0.02 * (37.0 * t).sin())
    });
    let chamber = [
        ("volume.value", "100"),
        ("volume.unit", "l"),
        ("speed.value", "500"),
        ("speed.unit", "l/s"),
    ];
    let page = app
        .upload("rise", &chamber, &[("log_file", &flattens)])
        .await;
    let page = page.expect(200);
    page.assert_shows("Mostly gas from inside");
    let opening = page.text.split("Equivalent opening to air").nth(1);
    let opening = opening.expect("the figure").split("</tr>").next();
    let opening: String = opening.expect("its row").chars().take(400).collect();
    assert!(opening.contains("up to "), "{opening}");
    assert!(!opening.contains(">0<"), "{opening}");
}
