//! The API's description of itself (OpenAPI 3.1, whose schemas are those of JSON Schema 2020-12) held to
//! what comes: every report of every calculation, every refusal, every parameter of an address.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use crate::{
    calculations::log,
    support::app::TestApp,
    verdicts::{every_story, in_unit},
};

/// Holds answers to schemas, and notes which described fields came.
struct Held<'a> {
    schemas: &'a Value,
    came: BTreeSet<String>,
}

impl Held<'_> {
    fn named(&self, schema: &Value) -> Option<(String, Value)> {
        let name = schema["$ref"].as_str()?.rsplit('/').next()?.to_owned();
        let named = self.schemas[&name].clone();
        assert!(named.is_object(), "{name} is not described");
        Some((name, named))
    }

    /// Holds a value found at `place` to a schema that is a part of the one called `of`.
    fn hold(&mut self, schema: &Value, of: &str, value: &Value, place: &str) {
        if let Some((name, named)) = self.named(schema) {
            return self.hold(&named, &name, value, place);
        }
        if let Some(choices) = schema["oneOf"].as_array() {
            let null = |choice: &Value| choice["type"] == "null";
            let fits = choices
                .iter()
                .find(|choice| null(choice) == value.is_null());
            let fits = fits.unwrap_or_else(|| panic!("{place}: {value} is none of {choices:?}"));
            return self.hold(fits, of, value, place);
        }
        let kind = match value {
            Value::Null => "null",
            Value::Bool(_) => "boolean",
            Value::Number(number) if number.is_f64() => "number",
            Value::Number(_) => "integer",
            Value::String(_) => "string",
            Value::Array(_) => "array",
            Value::Object(_) => "object",
        };
        let described = match &schema["type"] {
            Value::Array(kinds) => kinds.clone(),
            one => vec![one.clone()],
        };
        let fits = described
            .iter()
            .any(|one| one == kind || (one == "number" && kind == "integer"));
        assert!(fits, "{place}: {value} is no {described:?}");
        if let Some(words) = schema["enum"].as_array() {
            assert!(
                words.contains(value),
                "{place}: {value} is none of {words:?}"
            );
        }
        match value {
            Value::Object(fields) => {
                for name in schema["required"].as_array().into_iter().flatten() {
                    let name = name.as_str().expect("a name");
                    assert!(fields.contains_key(name), "{place}: {name} is missing");
                }
                for (name, value) in fields {
                    let place = format!("{place}.{name}");
                    let known = &schema["properties"][name];
                    if known.is_object() {
                        if !value.is_null() {
                            self.came.insert(format!("{of}.{name}"));
                        }
                        self.hold(known, of, value, &place);
                    } else {
                        let any = &schema["additionalProperties"];
                        assert!(any.is_object(), "{place} is not described");
                        self.hold(any, of, value, &place);
                    }
                }
            }
            Value::Array(items) => {
                let count = items.len() as u64;
                assert!(
                    schema["minItems"]
                        .as_u64()
                        .is_none_or(|least| count >= least)
                );
                assert!(schema["maxItems"].as_u64().is_none_or(|most| count <= most));
                for (row, item) in items.iter().enumerate() {
                    self.hold(&schema["items"], of, item, &format!("{place}[{row}]"));
                }
            }
            _ => {}
        }
    }

    /// Every described field below a schema, as `schema.field`; each has to say what it is.
    fn described(&self, schema: &Value, of: &str, out: &mut BTreeSet<String>) {
        if let Some((name, named)) = self.named(schema) {
            return self.described(&named, &name, out);
        }
        for choice in schema["oneOf"].as_array().into_iter().flatten() {
            self.described(choice, of, out);
        }
        if schema["items"].is_object() {
            self.described(&schema["items"], of, out);
        }
        for (name, field) in schema["properties"].as_object().into_iter().flatten() {
            let told = field["description"].as_str().map_or(0, str::len);
            let named = self.named(field).map(|(_, schema)| schema);
            let told_there = named.and_then(|schema| schema["description"].as_str().map(str::len));
            assert!(
                told.max(told_there.unwrap_or(0)) > 3,
                "{of}.{name} does not say what it is"
            );
            if out.insert(format!("{of}.{name}")) {
                self.described(field, of, out);
            }
        }
    }
}

/// A fall from atmosphere with speed over volume in 1/s, outgassing that falls as 1/t, and a floor.
fn pump_down(speed_over_volume: f64, outgassing: f64, floor: f64) -> String {
    let times = (0..900).map(|row| f64::from(row).powf(1.35));
    log("time (s),pressure (mbar)", times, |t| {
        1013.0 * (-speed_over_volume * t).exp() + outgassing / (t + 10.0) + floor
    })
}

/// Requests that bring the fields which no verdict needs.
fn more() -> Vec<(&'static str, Value)> {
    let tube = |length: f64| json!({"shape": "tube", "diameter": in_unit(25.0, "mm"), "length": in_unit(length, "m")});
    let mut beside = [tube(1.0), tube(2.0)];
    beside[0]["branch"] = json!("a");
    beside[1]["branch"] = json!("b");
    let rise = |odd: bool| {
        let times =
            (0..601).map(|row| 2.0 * f64::from(row) + if odd && row > 300 { 400.0 } else { 0.0 });
        let text = log("time (s),pressure (mbar)", times, |t| {
            1e-5 + 1e-6 * t + 8e-4 * (1.0 - (-t / 60.0).exp())
        });
        if odd { format!("{text}x,y\n") } else { text }
    };
    let mut rises = vec![];
    for odd in [false, true] {
        rises.push((
            "rise",
            json!({"log": rise(odd), "volume": in_unit(100.0, "l"), "speed": in_unit(500.0, "l/s"), "pressure_unit": "mbar"}),
        ));
    }
    let power_law = log(
        "time (s),pressure (mbar)",
        (0..601).map(|row| 3.0 * f64::from(row)),
        |t| 1e-5 + 4e-6 * ((t + 5.0).powf(0.4) - 5.0_f64.powf(0.4)) / 0.4,
    );
    rises.push((
        "rise",
        json!({"log": power_law, "volume": in_unit(100.0, "l")}),
    ));
    let healthy = pump_down(0.05, 2e-3, 2e-7);
    let worse = pump_down(0.02, 2e-3, 3e-5);
    let mut all = rises;
    for (log, more) in [(&worse, "x,y\n"), (&healthy, "")] {
        all.push((
            "pump-down",
            json!({
                "log": format!("{log}{more}"), "healthy_log": healthy,
                "volume": in_unit(100.0, "l"), "speed": in_unit(500.0, "l/s"),
                "healthy_from": {"incident": 1, "calculation": 1}, "pressure_unit": "mbar",
            }),
        ));
    }
    all.extend([
        (
            "gas-load",
            json!({
                "healthy": in_unit(1e-7, "torr"), "faulty": in_unit(5e-6, "torr"),
                "speed_at_chamber": in_unit(300.0, "l/s"),
                "foreline": {"pressure": in_unit(1e-2, "mbar")},
            }),
        ),
        (
            "conductance",
            json!({
                "parts": [tube(2.0), beside[0], beside[1]],
                "pump": {"speed": in_unit(5.0, "l/s"), "inlet_diameter": in_unit(25.0, "mm")},
                "inlet_pressure": in_unit(1e-2, "mbar"),
            }),
        ),
        (
            "conductance",
            json!({"parts": [tube(2.0)], "pump": {"speed": in_unit(3.0, "l/s")}}),
        ),
        (
            "conductance",
            json!({
                "parts": [tube(2.0)],
                "inlet_pressure": in_unit(1.0, "mbar"), "outlet_pressure": in_unit(1e-4, "mbar"),
            }),
        ),
        (
            "leak-conversion",
            json!({
                "rate": in_unit(1e-5, "mbar-l/s"), "speed_at_chamber": in_unit(500.0, "l/s"),
                "helium_test": {
                    "volume": in_unit(100.0, "l"), "helium_speed": in_unit(10.0, "l/s"),
                    "smallest_change": in_unit(1e-11, "mbar"), "spray_time": in_unit(30.0, "s"),
                },
            }),
        ),
        (
            "leak-conversion",
            json!({"rate": in_unit(1e-12, "mbar-l/s")}),
        ),
        (
            "gauge",
            json!({
                "readings": [
                    {"kind": "hot-filament", "pressure": in_unit(6e-6, "mbar")},
                    {"kind": "cold-cathode", "pressure": in_unit(5e-6, "mbar")},
                ],
                "gas": "argon",
            }),
        ),
    ]);
    all
}

#[tokio::test]
async fn every_field_of_a_report_is_described_and_every_one_described_comes() {
    let app = TestApp::empty().await;
    let description = app.get("/api/openapi.json").await.expect(200).json();
    let mut held = Held {
        schemas: &description["components"]["schemas"],
        came: BTreeSet::new(),
    };
    let schema = |kind: &str| {
        let answer =
            &description["paths"][format!("/api/calculations/{kind}")]["post"]["responses"]["200"];
        answer["content"]["application/json"]["schema"].clone()
    };
    let mut kinds = BTreeSet::new();
    for (kind, request) in every_story().into_iter().chain(more()) {
        let address = format!("/api/calculations/{kind}");
        let report = app.post(&address, &request).await.expect(200).json();
        held.hold(&schema(kind), kind, &report, kind);
        kinds.insert(kind);
    }
    assert_eq!(kinds.len(), 7);
    let mut described = BTreeSet::new();
    for kind in kinds {
        held.described(&schema(kind), kind, &mut described);
    }
    let never: Vec<_> = described.difference(&held.came).collect();
    assert!(never.is_empty(), "described, but never came: {never:#?}");
}

#[tokio::test]
async fn refusals_are_as_described() {
    let app = TestApp::empty().await;
    let description = app.get("/api/openapi.json").await.expect(200).json();
    let mut held = Held {
        schemas: &description["components"]["schemas"],
        came: BTreeSet::new(),
    };
    for kind in [
        "rise",
        "gauge",
        "gas-load",
        "pump-down",
        "residual-gas",
        "leak-conversion",
        "conductance",
    ] {
        let address = format!("/api/calculations/{kind}");
        for (request, status) in [(json!({"nonsense": 1}), "422"), (json!([]), "422")] {
            let answer = app.post(&address, &request).await;
            assert_eq!(
                answer.status.as_u16().to_string(),
                status,
                "{kind}: {}",
                answer.text
            );
            let content = &description["paths"][&address]["post"]["responses"][status]["content"];
            let problem = &content["application/problem+json"]["schema"];
            held.hold(problem, "problem", &answer.json(), kind);
        }
    }
}

/// What an address takes behind its question mark is what the description says, no more and no less: a
/// name that it does not take is refused with those that it does.
#[tokio::test]
async fn every_parameter_of_an_address_is_described() {
    let app = TestApp::demo().await;
    let description = app.get("/api/openapi.json").await.expect(200).json();
    let mut looked_at = 0;
    for (path, calls) in description["paths"].as_object().expect("paths") {
        let names: BTreeSet<&str> = calls["get"]["parameters"]
            .as_array()
            .into_iter()
            .flatten()
            .filter(|parameter| parameter["in"] == "query")
            .filter_map(|parameter| parameter["name"].as_str())
            .collect();
        if names.is_empty() {
            continue;
        }
        looked_at += 1;
        let address = path.replace("{number}", "1");
        let answer = app
            .get(&format!("{address}?nonsense=1"))
            .await
            .expect(422)
            .json();
        let refusal = &answer["errors"][0];
        assert_eq!(refusal["field"], "nonsense", "{path}");
        let taken: BTreeSet<&str> = refusal["accepted"]
            .as_str()
            .expect("words")
            .split(", ")
            .collect();
        assert_eq!(taken, names, "{path}");
    }
    assert!(looked_at >= 4);
}
