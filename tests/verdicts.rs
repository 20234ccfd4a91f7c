//! Every calculation brought to each of its verdicts: what a verdict suggests has its cautions before
//! it, in the report and on the page, and no output calls anything safe.
//!
//! The verdicts are walked by matches without a catch-all, so that a new one has to be given a story
//! here before the tests compile.

use coldtrap::calculation::rise::Conclusion;
use coldtrap::vacuum::{
    conductance::Regime, gas_load::FaultSize, gas_load::ForelineVerdict, gauge::Verdict as Gauge,
    leak::LeakRegime, pump_down::ExplanationKind, residual_gas::Air,
};
use serde_json::{Value, json};

use crate::{
    calculations::{asked, log},
    support::app::{Answer, TestApp},
};

/// A request and what its report must say, by JSON pointer.
struct Story {
    kind: &'static str,
    request: Value,
    says: Vec<(&'static str, Value)>,
}

/// All values from the first on.
fn every<T: Copy>(first: T, after: impl Fn(T) -> Option<T>) -> Vec<T> {
    std::iter::successors(Some(first), |value| after(*value)).collect()
}

pub(crate) fn in_unit(value: f64, unit: &str) -> Value {
    json!({"value": value, "unit": unit})
}

/// The kind and request of every story.
pub(crate) fn every_story() -> Vec<(&'static str, Value)> {
    [
        rises(),
        gauges(),
        gas_loads(),
        pump_downs(),
        spectra(),
        leaks(),
        paths(),
    ]
    .into_iter()
    .flatten()
    .map(|story| (story.kind, story.request))
    .collect()
}

fn rises() -> Vec<Story> {
    use Conclusion::{AsHealthy, CannotTell, Leak, LeakAndOutgassing, Outgassing};
    let all = every(Leak, |verdict| match verdict {
        Leak => Some(LeakAndOutgassing),
        LeakAndOutgassing => Some(Outgassing),
        Outgassing => Some(AsHealthy),
        AsHealthy => Some(CannotTell),
        CannotTell => None,
    });
    let story = |verdict| {
        let pressure: fn(f64) -> f64 = match verdict {
            Leak | AsHealthy => |t| 1e-5 + 1.65e-6 * t,
            LeakAndOutgassing => |t| 1e-5 + 1e-6 * t + 8e-4 * (1.0 - (-t / 60.0).exp()),
            Outgassing => |t| 1e-5 + 1e-3 * (1.0 - (-t / 250.0).exp()),
            CannotTell => |t| 1e-5 + 4e-7 * t + 6e-4 * (1.0 - (-t / 1000.0).exp()),
        };
        let times = (0..601).map(|row| 2.0 * f64::from(row));
        let mut request = json!({
            "log": log("time (s),pressure (mbar)", times, pressure),
            "volume": in_unit(100.0, "l"),
            "pumped_for": in_unit(24.0, "h"),
        });
        if verdict == AsHealthy {
            let end = |rate| in_unit(rate, "mbar-l/s");
            request["healthy"] = json!({
                "low": end(1.5e-4), "high": end(1.8e-4), "pumped_for": in_unit(24.0, "h"),
            });
        }
        Story {
            kind: "rise",
            request,
            says: vec![("/conclusion", json!(verdict))],
        }
    };
    all.into_iter().map(story).collect()
}

fn gauges() -> Vec<Story> {
    let all = every(Gauge::Consistent, |verdict| match verdict {
        Gauge::Consistent => Some(Gauge::StuckAtPiraniLimit),
        Gauge::StuckAtPiraniLimit => Some(Gauge::StuckDecadesLower),
        Gauge::StuckDecadesLower => Some(Gauge::NotLit),
        Gauge::NotLit => Some(Gauge::GasDependent),
        Gauge::GasDependent => Some(Gauge::PiraniZeroOff),
        Gauge::PiraniZeroOff => Some(Gauge::CapacitanceZeroOff),
        Gauge::CapacitanceZeroOff => Some(Gauge::CannotTell),
        Gauge::CannotTell => None,
    });
    let reads = |kind: &str, torr: f64| json!({"kind": kind, "pressure": in_unit(torr, "torr")});
    let with = |mut reading: Value, field: &str, seen: bool| {
        reading[field] = json!(seen);
        reading
    };
    let story = |verdict| {
        let request = match verdict {
            Gauge::Consistent => {
                json!({"readings": [reads("cold-cathode", 5e-7), reads("hot-filament", 4e-7)]})
            }
            Gauge::StuckAtPiraniLimit => {
                json!({"readings": [with(reads("combination-cold-cathode", 5e-4), "moves", false)]})
            }
            Gauge::StuckDecadesLower => {
                json!({"readings": [with(reads("cold-cathode", 9e-6), "moves", false)]})
            }
            Gauge::NotLit => {
                json!({"readings": [with(reads("combination-cold-cathode", 5e-4), "lit", false)]})
            }
            Gauge::GasDependent => json!({
                "readings": [reads("pirani", 1e-2), reads("capacitance", 4e-2)], "gas": "krypton",
            }),
            Gauge::PiraniZeroOff => json!({
                "readings": [reads("pirani", 2e-2), reads("hot-filament", 4e-7)],
                "surely_high_vacuum": true,
            }),
            Gauge::CapacitanceZeroOff => json!({"readings": [reads("capacitance", -2e-4)]}),
            Gauge::CannotTell => {
                json!({"readings": [reads("pirani", 2e-2), reads("cold-cathode", 4e-7)]})
            }
        };
        Story {
            kind: "gauge",
            request,
            says: vec![("/finding", json!(verdict))],
        }
    };
    all.into_iter().map(story).collect()
}

fn gas_loads() -> Vec<Story> {
    let sizes = every(FaultSize::Traces, |size| match size {
        FaultSize::Traces => Some(FaultSize::Fine),
        FaultSize::Fine => Some(FaultSize::Middling),
        FaultSize::Middling => Some(FaultSize::Coarse),
        FaultSize::Coarse => None,
    });
    let balance = |faulty: f64| {
        json!({
            "healthy": in_unit(5e-9, "mbar"), "faulty": in_unit(faulty, "mbar"),
            "speed_at_chamber": in_unit(100.0, "l/s"),
        })
    };
    let mut stories: Vec<Story> = sizes
        .into_iter()
        .map(|size| Story {
            kind: "gas-load",
            request: balance(match size {
                FaultSize::Traces => 1e-8,
                FaultSize::Fine => 2e-7,
                FaultSize::Middling => 2e-5,
                FaultSize::Coarse => 2e-3,
            }),
            says: vec![("/fault_size", json!(size))],
        })
        .collect();
    stories.push(Story {
        kind: "gas-load",
        request: balance(5.1e-9),
        says: vec![("/fault_size", Value::Null), ("/concluded", json!(false))],
    });
    let findings = every(ForelineVerdict::Explains, |finding| match finding {
        ForelineVerdict::Explains => Some(ForelineVerdict::Partly),
        ForelineVerdict::Partly => Some(ForelineVerdict::CannotExplain),
        ForelineVerdict::CannotExplain => None,
    });
    stories.extend(findings.into_iter().map(|finding| {
        let mut request = balance(2e-7);
        request["foreline"] = json!({
            "pressure": in_unit(1e-2, "mbar"),
            "compression": match finding {
                ForelineVerdict::Explains => 6e4,
                ForelineVerdict::Partly => 2e5,
                ForelineVerdict::CannotExplain => 1e8,
            },
        });
        Story {
            kind: "gas-load",
            request,
            says: vec![("/foreline/finding", json!(finding))],
        }
    }));
    let mut open = balance(2e-7);
    open["foreline"] = json!({"pressure": in_unit(1e-2, "mbar"), "gas": "helium"});
    stories.push(Story {
        kind: "gas-load",
        request: open,
        says: vec![("/foreline/finding", Value::Null)],
    });
    stories
}

/// How a pump-down differs from the healthy one.
#[derive(Clone, Copy)]
struct PumpDown {
    rate: f64,
    fine_rate: f64,
    factor: f64,
    scale: f64,
    steady: f64,
    extra: f64,
}

const HEALTHY: PumpDown = PumpDown {
    rate: 0.02,
    fine_rate: 0.02,
    factor: 1.0,
    scale: 1.0,
    steady: 0.0,
    extra: 0.0,
};

impl PumpDown {
    /// A minute at atmosphere, then six hours of pumping, in mbar.
    fn log(self) -> String {
        let early = (-30..900).map(|row| 2.0 * f64::from(row));
        let times = early.chain((90..1080).map(|row| 20.0 * f64::from(row)));
        let crossover = 20_000f64.ln() / self.rate;
        let from_start = times.map(|time| time + 60.0);
        log("time (s),pressure (mbar)", from_start, move |time| {
            let pumped = (time - 60.0).max(0.0);
            let hours = (pumped / 3600.0).max(0.02);
            let fine = (pumped - crossover).max(0.0);
            let air = 1013.0 * (-self.rate * (pumped - fine) - self.fine_rate * fine).exp();
            let walls = self.factor * (2e-6 / hours + 5e-8) + self.extra * hours.powf(-0.5);
            self.scale * (air + walls + self.steady)
        })
    }

    fn against_healthy(self) -> Value {
        json!({"log": self.log(), "healthy_log": HEALTHY.log(), "speed": in_unit(1000.0, "l/s")})
    }
}

fn pump_downs() -> Vec<Story> {
    use ExplanationKind::{
        AsHealthy, GaugeScale, GaugeZero, LowerSpeed, MoreOutgassing, SteadyLoad,
    };
    let all = every(AsHealthy, |kind| match kind {
        AsHealthy => Some(LowerSpeed),
        LowerSpeed => Some(GaugeScale),
        GaugeScale => Some(SteadyLoad),
        SteadyLoad => Some(GaugeZero),
        GaugeZero => Some(MoreOutgassing),
        MoreOutgassing => None,
    });
    let mut stories: Vec<Story> = all
        .into_iter()
        .map(|kind| {
            let (is, words) = match kind {
                AsHealthy => (HEALTHY, "In high vacuum the curve does not differ"),
                LowerSpeed => (
                    PumpDown {
                        fine_rate: 0.02 / 3.0,
                        factor: 3.0,
                        ..HEALTHY
                    },
                    "Less pumping speed in high vacuum: the pressure is a multiple",
                ),
                GaugeScale => (
                    PumpDown {
                        scale: 3.0,
                        ..HEALTHY
                    },
                    "A gauge or a log whose scale is off",
                ),
                SteadyLoad => (
                    PumpDown {
                        steady: 5e-6,
                        ..HEALTHY
                    },
                    "A steady gas load on top of the healthy one",
                ),
                GaugeZero => (
                    PumpDown {
                        steady: 3e-4,
                        ..HEALTHY
                    },
                    "A steady gas load such as a leak, or a heat-loss gauge whose zero is off",
                ),
                MoreOutgassing => (
                    PumpDown {
                        extra: 2e-5,
                        ..HEALTHY
                    },
                    "More gas from inside, still falling",
                ),
            };
            Story {
                kind: "pump-down",
                request: is.against_healthy(),
                says: vec![("/verdict", json!(words))],
            }
        })
        .collect();
    let mut other = |request: Value, words: &str| {
        stories.push(Story {
            kind: "pump-down",
            request,
            says: vec![("/verdict", json!(words))],
        });
    };
    other(
        json!({"log": HEALTHY.log()}),
        "The phases are given; without a healthy pump-down",
    );
    let slow = PumpDown {
        rate: 0.01,
        fine_rate: 0.01,
        ..HEALTHY
    };
    other(
        slow.against_healthy(),
        "Pumping is slower from the start, in the roughing phase",
    );
    let lower = PumpDown {
        factor: 0.2,
        ..HEALTHY
    };
    other(
        lower.against_healthy(),
        "The pressure is below the healthy one throughout",
    );
    let still: String = HEALTHY
        .log()
        .lines()
        .map(|line| match line.split_once(',') {
            Some((time, pressure)) if pressure.parse().is_ok_and(|p: f64| p < 1e-4) => {
                format!("{time},1e-4\n")
            }
            _ => format!("{line}\n"),
        })
        .collect();
    other(
        json!({"log": still, "healthy_log": HEALTHY.log()}),
        "The reading stands still at 1.0e-4 mbar",
    );
    let rough: String = HEALTHY
        .log()
        .lines()
        .take(300)
        .fold(String::new(), |text, line| text + line + "\n");
    other(
        json!({"log": rough, "healthy_log": HEALTHY.log()}),
        "The records share no outgassing phase",
    );
    stories
}

/// Peaks that say nothing of air.
const PLAIN: &str = "14:1e-12 28:1e-11 32:1e-13 40:1e-13 44:1e-11 2:0 4:0 17:4.6e-10 18:2e-9";

fn spectra() -> Vec<Story> {
    let all = every(Air::Present, |air| match air {
        Air::Present => Some(Air::Absent),
        Air::Absent => Some(Air::Undecided),
        Air::Undecided => None,
    });
    let story = |spectrum: &str, says: Vec<(&'static str, Value)>| Story {
        kind: "residual-gas",
        request: json!({"spectrum": spectrum, "total_pressure": in_unit(3e-6, "torr")}),
        says,
    };
    let sign = |pointer, seen: bool| vec![(pointer, json!(seen))];
    let mut stories: Vec<Story> = all
        .into_iter()
        .map(|air| match air {
            Air::Present => story(
                "12:1e-12 14:5.5e-10 16:4e-10 17:4e-10 18:2e-9 20:1.3e-11 28:7.8e-9 32:2.1e-9 \
                 40:9.4e-11 44:3e-11",
                sign("/signs/residual-air", true),
            ),
            // Carbon monoxide: 12 at 4.5 % and 14 at 0.6 % of 28 (typical quadrupole, from memory).
            Air::Absent => story(
                "12:3.5e-10 14:4.7e-11 16:1.3e-10 17:4.6e-10 18:2e-9 28:7.8e-9 29:9e-11 32:0 40:0 44:0",
                sign("/signs/residual-air", false),
            ),
            Air::Undecided => story(
                "28:4e-9 18:2e-9 2:1e-9",
                vec![("/signs/residual-air", Value::Null)],
            ),
        })
        .collect();
    for (peaks, pointer, words) in [
        ("", "/signs/residual-water", "Water is by far the highest"),
        (
            "39:3e-11 41:9e-11 43:1e-10 55:6e-11 57:7e-11 69:3e-11 71:2e-11",
            "/signs/residual-hydrocarbon",
            "There are hydrocarbons",
        ),
        (
            "45:1e-9 43:2e-10 27:2e-10",
            "/signs/residual-solvent",
            "isopropanol",
        ),
        (
            "43:1e-9 58:3e-10 15:3e-10",
            "/signs/residual-solvent",
            "acetone",
        ),
        (
            "69:1e-9 31:2.5e-10 47:2e-10 50:1.5e-10 119:1e-10 55:0 57:0",
            "/signs/residual-pump-fluid",
            "fluorinated pump fluid",
        ),
        (
            "78:1e-9 77:7e-10 51:4e-10 39:2.5e-10 55:0 57:0",
            "/signs/residual-pump-fluid",
            "silicone pump fluid",
        ),
        (
            "40:9e-9 20:1e-9",
            "/signs/residual-process-gas",
            "Argon is the highest",
        ),
    ] {
        let kept: Vec<&str> = PLAIN
            .split(' ')
            .filter(|peak| {
                let mass = peak.split_once(':').map_or("", |(mass, _)| mass);
                !peaks
                    .split(' ')
                    .any(|one| one.starts_with(&format!("{mass}:")))
            })
            .collect();
        let spectrum = format!("{} {peaks}", kept.join(" "));
        stories.push(story(
            &spectrum,
            vec![(pointer, json!(true)), ("/verdict", json!(words))],
        ));
    }
    for (peaks, words) in [
        (
            "17:1.9e-9 18:2e-9",
            "Mass 17 is more than water and methane give",
        ),
        ("4:1e-9 18:1e-9", "Helium shows at mass 4"),
        ("2:9e-9 18:1e-9", "Hydrogen is the highest peak"),
        ("18:2e-9", "No conclusion: fewer than three peaks"),
    ] {
        let rest = if words.starts_with("No") {
            ""
        } else {
            "14:1e-12 28:1e-11 32:1e-13 40:1e-13 44:1e-11"
        };
        stories.push(story(
            &format!("{rest} {peaks}"),
            vec![("/verdict", json!(words))],
        ));
    }
    let mut growing = story(
        &PLAIN.replace("2:0", "2:9e-11"),
        vec![
            ("/signs/residual-hydrogen-helium", json!(true)),
            ("/verdict", json!("Hydrogen builds up")),
        ],
    );
    growing.request["earlier"] = json!(PLAIN.replace("2:0", "2:3e-11"));
    stories.push(growing);
    stories
}

fn leaks() -> Vec<Story> {
    let all = every(LeakRegime::Molecular, |regime| match regime {
        LeakRegime::Molecular => Some(LeakRegime::Between),
        LeakRegime::Between => Some(LeakRegime::Viscous),
        LeakRegime::Viscous => None,
    });
    let rate = |regime| match regime {
        LeakRegime::Molecular => 1e-9,
        LeakRegime::Between => 1e-6,
        LeakRegime::Viscous => 1e-2,
    };
    let mut stories: Vec<Story> = all
        .into_iter()
        .map(|regime| Story {
            kind: "leak-conversion",
            request: json!({"rate": in_unit(rate(regime), "mbar-l/s")}),
            says: vec![("/conversion/regime", json!(regime))],
        })
        .collect();
    stories.push(Story {
        kind: "leak-conversion",
        request: json!({"helium_test": {
            "volume": in_unit(100.0, "l"), "helium_speed": in_unit(10.0, "l/s"),
            "smallest_change": in_unit(1e-11, "mbar"), "spray_time": in_unit(30.0, "s"),
        }}),
        says: vec![("/verdict", json!("The helium test answers"))],
    });
    stories
}

fn paths() -> Vec<Story> {
    let all = every(Regime::Molecular, |regime| match regime {
        Regime::Molecular => Some(Regime::Transitional),
        Regime::Transitional => Some(Regime::Viscous),
        Regime::Viscous => None,
    });
    let story = |regime| {
        let mbar = match regime {
            Regime::Molecular => 1e-5,
            Regime::Transitional => 2e-2,
            Regime::Viscous => 2.0,
        };
        let tube = json!({"shape": "tube", "diameter": in_unit(40.0, "mm"),
                          "length": in_unit(1000.0, "mm")});
        Story {
            kind: "conductance",
            request: json!({
                "parts": [tube, tube], "pump": {"speed": in_unit(5.0, "l/s")},
                "inlet_pressure": in_unit(mbar, "mbar"),
            }),
            says: vec![("/regime", json!(regime))],
        }
    };
    all.into_iter().map(story).collect()
}

/// A request as the fields of its form.
fn fields(path: &str, value: &Value, out: &mut Vec<(String, String)>) {
    let below = |name: &str| match path {
        "" => name.to_owned(),
        path => format!("{path}.{name}"),
    };
    match value {
        Value::Object(object) => {
            for (name, value) in object {
                fields(&below(name), value, out);
            }
        }
        Value::Array(list) => {
            for (place, value) in list.iter().enumerate() {
                fields(&below(&place.to_string()), value, out);
            }
        }
        Value::Bool(seen) => {
            let answer = if *seen { "seen" } else { "absent" };
            out.push((path.to_owned(), answer.to_owned()));
        }
        Value::String(text) => out.push((path.to_owned(), text.clone())),
        other => out.push((path.to_owned(), other.to_string())),
    }
}

async fn page_of(app: &TestApp, story: &Story) -> Answer {
    let mut filled = Vec::new();
    fields("", &story.request, &mut filled);
    let filled: Vec<(&str, &str)> = filled.iter().map(|(n, v)| (&**n, &**v)).collect();
    match story.kind {
        "rise" | "pump-down" | "residual-gas" => app.upload(story.kind, &filled, &[]).await,
        kind => app.get(&asked(kind, &filled)).await,
    }
    .expect(200)
}

#[track_caller]
fn says_nothing_is_safe(text: &str) {
    let word = text
        .split(|c: char| !c.is_alphabetic())
        .find(|word| matches!(word.to_lowercase().as_str(), "safe" | "safely"));
    assert_eq!(word, None, "{text}");
}

async fn walk(stories: Vec<Story>) {
    let app = TestApp::empty().await;
    for story in stories {
        let address = format!("/api/calculations/{}", story.kind);
        let answer = app.post(&address, &story.request).await.expect(200);
        says_nothing_is_safe(&answer.text);
        let report = answer.json();
        for (pointer, value) in &story.says {
            let said = report.pointer(pointer).unwrap_or(&Value::Null);
            match (said.as_str(), value.as_str()) {
                // Words of a verdict are among the rest of it.
                (Some(said), Some(words)) => {
                    assert!(
                        said.contains(words),
                        "{words}: {said}, {}",
                        report["reasons"]
                    );
                }
                _ => assert_eq!(said, value, "{} {pointer}: {report}", story.kind),
            }
        }
        let ids = |field: &str| -> Vec<String> {
            let list = report[field].as_array().expect("a list");
            list.iter()
                .map(|id| id.as_str().expect("an id").to_owned())
                .collect()
        };
        let (checks, cautions) = (ids("next_checks"), ids("cautions"));
        let page = page_of(&app, &story).await;
        says_nothing_is_safe(&page.text);
        let place = |words: &str| {
            let found = page.text.find(words);
            found.unwrap_or_else(|| panic!("{}: no {words:?} on its page", story.kind))
        };
        let result = place("id=\"result\"");
        if story.kind == "gauge" {
            // One sentence of reasoning, and what would decide, in the report and on the page.
            let reason = report["reason"].as_str().expect("a reason");
            assert!(!reason.contains(". ") && !reason.ends_with('.'), "{reason}");
            assert!(place("class=\"headline\"") > result && !report["verdict"].is_null());
            let steps = report["next"].as_array().expect("steps");
            assert!(!steps.is_empty(), "{reason}");
            for step in steps {
                let words = step.as_str().and_then(|step| step.split(':').next());
                assert!(place(&format!("Next: {}", words.expect("words"))) > result);
            }
        }
        for id in &checks {
            let check = app.catalogue.check(id).expect("a check of the catalogue");
            let link = place(&format!("href=\"/checks/{id}\""));
            assert!(link > result);
            for caution in &check.cautions {
                assert!(
                    cautions.contains(&caution.to_string()),
                    "{} suggests {id} without {caution}",
                    story.kind
                );
                let hazard = &app
                    .catalogue
                    .caution(caution.as_str())
                    .expect("a caution")
                    .hazard;
                // Named before the verdict, and told whole before what to do about it.
                let whole = place("id=\"cautions-title\"");
                assert!(
                    place(hazard) < place("class=\"verdict") && whole < link,
                    "{hazard} comes after what it warns of"
                );
                assert!(page.text[whole..link].contains(hazard.as_str()), "{hazard}");
            }
        }
        if report["concluded"] == false {
            let nothing_to_do = report["fault_size"].is_null() && story.kind == "gas-load";
            assert!(
                !checks.is_empty() || nothing_to_do || story.kind == "residual-gas",
                "{} leaves it open and names no check: {}",
                story.kind,
                report["verdict"]
            );
        }
    }
}

#[tokio::test]
async fn every_verdict_of_rises_gauges_and_loads_has_its_cautions() {
    walk(rises()).await;
    walk(gauges()).await;
    walk(gas_loads()).await;
}

#[tokio::test]
async fn every_verdict_of_pump_downs_has_its_cautions() {
    walk(pump_downs()).await;
}

#[tokio::test]
async fn every_verdict_of_spectra_leaks_and_paths_has_its_cautions() {
    walk(spectra()).await;
    walk(leaks()).await;
    walk(paths()).await;
}
