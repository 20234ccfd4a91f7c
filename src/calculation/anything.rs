//! Every calculation on requests of any numbers: refused field by field, or a report without a number
//! that is none.

use rand::{RngExt, SeedableRng, seq::IndexedRandom};
use rand_chacha::ChaCha8Rng;
use serde::Serialize;
use serde_json::{Map, Value, json};

use super::named::{Computed, Named, Refused, run};
use crate::vacuum::gas::Gas;
use crate::vacuum::gauge::GaugeKind;
use crate::vacuum::units::{
    LengthUnit, PressureUnit, SpeedUnit, TemperatureUnit, ThroughputUnit, TimeUnit, VolumeUnit,
};

/// Requests of each calculation.
const REQUESTS: usize = 600;

struct Draw(ChaCha8Rng);

impl Draw {
    fn yes(&mut self, share: f64) -> bool {
        self.0.random::<f64>() < share
    }

    /// A number near this size, now and then of any size or sign, or zero.
    fn number(&mut self, about: f64) -> Value {
        let power = match self.0.random_range(0..60) {
            0 => -320.0 + 628.0 * self.0.random::<f64>(),
            1 => return json!(0.0),
            2 => return json!(-about),
            3 => -30.0 + 60.0 * self.0.random::<f64>(),
            _ => about.log10() - 0.7 + 1.4 * self.0.random::<f64>(),
        };
        json!(10_f64.powf(power))
    }

    fn one<T: Serialize + Copy>(&mut self, of: &[T]) -> Value {
        json!(of.choose(&mut self.0).expect("one of several"))
    }

    fn typed<T: Serialize + Copy>(&mut self, about: f64, units: &[T]) -> Value {
        json!({"value": self.number(about), "unit": self.one(units)})
    }

    fn pressure(&mut self, about: f64) -> Value {
        self.typed(about, &PressureUnit::ALL)
    }

    fn speed(&mut self) -> Value {
        self.typed(300.0, &SpeedUnit::ALL)
    }

    /// Puts a field in, more often than not.
    fn maybe(&mut self, fields: &mut Value, name: &str, value: impl FnOnce(&mut Self) -> Value) {
        if self.yes(0.6) {
            fields[name] = value(self);
        }
    }

    fn part(&mut self) -> Value {
        let mut part = json!({
            "shape": self.one(&["opening", "tube", "elbow", "valve"]),
            "diameter": self.typed(100.0, &LengthUnit::ALL),
        });
        self.maybe(&mut part, "length", |draw| {
            draw.typed(300.0, &LengthUnit::ALL)
        });
        self.maybe(&mut part, "angle_degrees", |draw| draw.number(60.0));
        self.maybe(&mut part, "conductance", |draw| {
            draw.typed(3.0, &SpeedUnit::ALL)
        });
        if self.yes(0.2) {
            part["branch"] = self.one(&["a", "b", "c", "d"]);
        }
        part
    }

    fn parts(&mut self) -> Value {
        let count = self.0.random_range(0..3);
        (0..count).map(|_| self.part()).collect()
    }

    fn pump(&mut self) -> Value {
        let mut pump = json!({"speed": self.speed()});
        self.maybe(&mut pump, "inlet_diameter", |draw| {
            draw.typed(100.0, &LengthUnit::ALL)
        });
        pump
    }

    fn temperature(&mut self) -> Value {
        self.typed(20.0, &TemperatureUnit::ALL)
    }

    fn across(&mut self) -> Value {
        let mut across = json!({"upstream": self.pressure(1000.0)});
        self.maybe(&mut across, "downstream", |draw| draw.pressure(1.0));
        across
    }

    /// Columns of a rise or of a pump-down, with any numbers among them.
    fn columns(&mut self, falls: bool) -> Value {
        let count = self.0.random_range(0..80);
        let (step, floor) = (self.number(10.0), self.number(1e-4));
        let (step, floor) = (step.as_f64().unwrap_or(1.0), floor.as_f64().unwrap_or(1.0));
        let mut seconds = Vec::new();
        let mut pressures = Vec::new();
        for index in 0..count {
            let share = f64::from(index) / 80.0;
            let course = if falls {
                1e3 * (-60.0 * share).exp() + floor / (share + 0.01)
            } else {
                floor * (1.0 + 30.0 * share)
            };
            let odd = self.yes(0.02);
            seconds.push(if odd {
                self.number(step.abs())
            } else {
                json!(step * f64::from(index))
            });
            let scatter = 0.95 + 0.1 * self.0.random::<f64>();
            pressures.push(if self.yes(0.02) {
                self.number(floor.abs())
            } else {
                json!(course * scatter)
            });
        }
        json!({"seconds": seconds, "pressures": pressures})
    }

    fn spectrum(&mut self) -> Value {
        let count = self.0.random_range(0..60);
        let mut peaks = Vec::new();
        for mass in 1..=count {
            if self.yes(0.7) {
                peaks.push(format!("{mass}:{}", self.number(1e-9)));
            }
        }
        json!(peaks.join(" "))
    }

    fn request(&mut self, named: Named) -> Value {
        let mut request = Value::Object(Map::new());
        match named {
            Named::Conductance => {
                request["parts"] = self.parts();
                self.maybe(&mut request, "gas", |draw| draw.one(&Gas::ALL));
                self.maybe(&mut request, "temperature", Self::temperature);
                self.maybe(&mut request, "pump", Self::pump);
                self.maybe(&mut request, "inlet_pressure", |draw| draw.pressure(1e-2));
                self.maybe(&mut request, "outlet_pressure", |draw| draw.pressure(1e-3));
            }
            Named::GasLoad => {
                request["healthy"] = self.pressure(1e-6);
                request["faulty"] = self.pressure(1e-5);
                self.maybe(&mut request, "speed_at_chamber", Self::speed);
                if self.yes(0.3) {
                    request["pump"] = self.pump();
                    request["path"] = self.parts();
                }
                for name in [
                    "gauge_scale_uncertainty",
                    "gauge_repeat_uncertainty",
                    "speed_uncertainty",
                ] {
                    self.maybe(&mut request, name, |draw| draw.number(0.1));
                }
                self.maybe(&mut request, "foreline", |draw| {
                    let mut foreline = json!({"pressure": draw.pressure(1e-2)});
                    draw.maybe(&mut foreline, "gas", |draw| draw.one(&Gas::ALL));
                    draw.maybe(&mut foreline, "share", |draw| draw.number(0.5));
                    draw.maybe(&mut foreline, "compression", |draw| draw.number(1e6));
                    foreline
                });
            }
            Named::Gauge => {
                let count = self.0.random_range(0..4);
                request["readings"] = (0..count)
                    .map(|_| {
                        let mut reading = json!({
                            "kind": self.one(&GaugeKind::ALL),
                            "pressure": self.pressure(1e-4),
                        });
                        self.maybe(&mut reading, "lit", |draw| json!(draw.yes(0.5)));
                        self.maybe(&mut reading, "moves", |draw| json!(draw.yes(0.5)));
                        reading
                    })
                    .collect();
                self.maybe(&mut request, "gas", |draw| draw.one(&Gas::ALL));
                self.maybe(&mut request, "surely_high_vacuum", |draw| {
                    json!(draw.yes(0.5))
                });
            }
            Named::LeakConversion => {
                self.maybe(&mut request, "rate", |draw| {
                    draw.typed(1e-6, &ThroughputUnit::ALL)
                });
                self.maybe(&mut request, "from_gas", |draw| draw.one(&Gas::ALL));
                self.maybe(&mut request, "to_gas", |draw| draw.one(&Gas::ALL));
                self.maybe(&mut request, "test_gas_share", |draw| draw.number(0.1));
                self.maybe(&mut request, "measured_across", Self::across);
                self.maybe(&mut request, "wanted_across", Self::across);
                self.maybe(&mut request, "temperature", Self::temperature);
                self.maybe(&mut request, "reference_temperature", Self::temperature);
                self.maybe(&mut request, "speed_at_chamber", Self::speed);
                self.maybe(&mut request, "helium_test", |draw| {
                    json!({
                        "volume": draw.typed(100.0, &VolumeUnit::ALL),
                        "helium_speed": draw.speed(),
                        "smallest_change": draw.pressure(1e-9),
                        "spray_time": draw.typed(10.0, &TimeUnit::ALL),
                    })
                });
            }
            Named::ResidualGas => {
                request["spectrum"] = self.spectrum();
                self.maybe(&mut request, "earlier", Self::spectrum);
                self.maybe(&mut request, "total_pressure", |draw| draw.pressure(1e-6));
                request["argon_is_process_gas"] = json!(self.yes(0.2));
            }
            Named::Rise => {
                request["readings"] = self.columns(false);
                request["pressure_unit"] = self.one(&PressureUnit::ALL);
                self.maybe(&mut request, "volume", |draw| {
                    draw.typed(100.0, &VolumeUnit::ALL)
                });
                self.maybe(&mut request, "speed", Self::speed);
                self.maybe(&mut request, "pumped_for", |draw| {
                    draw.typed(10.0, &TimeUnit::ALL)
                });
                request["cold_cathode_left_on"] = json!(self.yes(0.2));
            }
            Named::PumpDown => {
                request["readings"] = self.columns(true);
                self.maybe(&mut request, "healthy_readings", |draw| draw.columns(true));
                request["pressure_unit"] = self.one(&PressureUnit::ALL);
                self.maybe(&mut request, "volume", |draw| {
                    draw.typed(100.0, &VolumeUnit::ALL)
                });
                self.maybe(&mut request, "speed", Self::speed);
            }
        }
        request
    }
}

/// The report with its numbers as they are: JSON would write one that is none as nothing.
fn numbers(computed: &Computed) -> toml::Value {
    let value = match computed {
        Computed::Rise(both) => toml::Value::try_from(&both.1),
        Computed::PumpDown(both) => toml::Value::try_from(&both.1),
        Computed::GasLoad(both) => toml::Value::try_from(&both.1),
        Computed::Gauge(both) => toml::Value::try_from(&both.1),
        Computed::ResidualGas(both) => toml::Value::try_from(&both.1),
        Computed::LeakConversion(both) => toml::Value::try_from(&both.1),
        Computed::Conductance(both) => toml::Value::try_from(&both.1),
    };
    value.expect("a report in TOML")
}

fn all_finite(value: &toml::Value) -> bool {
    match value {
        toml::Value::Float(number) => number.is_finite(),
        toml::Value::Array(values) => values.iter().all(all_finite),
        toml::Value::Table(fields) => fields.values().all(all_finite),
        _ => true,
    }
}

/// The guard sees what JSON would hide.
#[test]
fn a_number_that_is_none_is_seen() {
    let report = |number: f64| toml::Value::try_from([Some([number, 1.0])]).expect("TOML");
    assert!(all_finite(&report(2.0)));
    assert!(!all_finite(&report(f64::NAN)) && !all_finite(&report(f64::INFINITY)));
}

#[test]
fn no_report_holds_a_number_that_is_none() {
    let patterns = crate::catalogue::source::built_in_patterns().expect("shipped patterns");
    for (seed, named) in (61..).zip(Named::ALL) {
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(seed));
        let (mut reports, mut refused) = (0, 0);
        for _ in 0..REQUESTS {
            let request = draw.request(named).to_string();
            match run(named, request.as_bytes(), &patterns) {
                Ok(computed) => {
                    reports += 1;
                    let report = numbers(&computed);
                    assert!(all_finite(&report), "{request}\n{report}");
                    assert!(!report.to_string().contains("NaN"), "{request}\n{report}");
                }
                Err(Refused::Fields(errors)) => {
                    refused += 1;
                    assert!(!errors.is_empty());
                    for error in errors {
                        assert!(!error.field.is_empty() && !error.accepted.is_empty());
                    }
                }
                Err(Refused::NotJson(error)) => panic!("{error}: {request}"),
            }
        }
        println!("{}: {reports} reports, {refused} refused", named.id());
        assert!(
            reports * 50 > REQUESTS && refused * 50 > REQUESTS,
            "{}: {reports}",
            named.id()
        );
    }
}
