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
    Length, LengthUnit, Pressure, PressureUnit, Seconds, Speed, SpeedUnit, Temperature,
    TemperatureUnit, ThroughputUnit, TimeUnit, Unit, Volume, VolumeUnit,
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

    /// A quantity of about so many SI units, in any of `units`.
    fn typed<U: Unit + Serialize>(
        &mut self,
        about: f64,
        units: &[U],
        si: fn(U::Quantity) -> f64,
    ) -> Value {
        let unit = *units.choose(&mut self.0).expect("one of several");
        let of = |number: f64| unit.quantity(number).map_or(0.0, si);
        // Of a temperature the zero is elsewhere.
        let (zero, one) = (of(0.0), of(1.0));
        json!({"value": self.number((about - zero) / (one - zero)), "unit": unit})
    }

    fn pressure(&mut self, pascals: f64) -> Value {
        self.typed(pascals, &PressureUnit::ALL, Pressure::pascals)
    }

    fn length(&mut self, metres: f64) -> Value {
        self.typed(metres, &LengthUnit::ALL, Length::metres)
    }

    fn volume(&mut self) -> Value {
        self.typed(0.1, &VolumeUnit::ALL, Volume::cubic_metres)
    }

    fn time(&mut self, seconds: f64) -> Value {
        self.typed(seconds, &TimeUnit::ALL, Seconds::seconds)
    }

    fn speed(&mut self, cubic_metres: f64) -> Value {
        self.typed(
            cubic_metres,
            &SpeedUnit::ALL,
            Speed::cubic_metres_per_second,
        )
    }

    /// Puts a field in, more often than not.
    fn maybe(&mut self, fields: &mut Value, name: &str, value: impl FnOnce(&mut Self) -> Value) {
        if self.yes(0.6) {
            fields[name] = value(self);
        }
    }

    /// A part with what its shape needs, mostly.
    fn part(&mut self) -> Value {
        let shape = *["opening", "tube", "elbow", "valve"]
            .choose(&mut self.0)
            .expect("one of several");
        let mut part = json!({"shape": shape, "diameter": self.length(0.1)});
        if matches!(shape, "tube" | "elbow") != self.yes(0.03) {
            part["length"] = self.length(0.6);
        }
        if shape == "elbow" {
            self.maybe(&mut part, "angle_degrees", |draw| draw.number(40.0));
        }
        if (shape == "valve") != self.yes(0.03) {
            part["conductance"] = self.speed(0.03);
        }
        part
    }

    /// Parts one behind the other, now and then two side by side.
    fn parts(&mut self) -> Value {
        let mut parts = Vec::new();
        let count = self.0.random_range(1..4);
        for _ in 0..if self.yes(0.03) { 0 } else { count } {
            let mut part = self.part();
            if self.yes(0.15) {
                let mut beside = self.part();
                (part["branch"], beside["branch"]) = (json!("a"), self.one(&["b", "c", "a"]));
                parts.push(beside);
            }
            parts.push(part);
        }
        json!(parts)
    }

    fn pump(&mut self) -> Value {
        let mut pump = json!({"speed": self.speed(0.03)});
        self.maybe(&mut pump, "inlet_diameter", |draw| draw.length(0.1));
        pump
    }

    fn temperature(&mut self) -> Value {
        self.typed(293.0, &TemperatureUnit::ALL, Temperature::kelvin)
    }

    fn across(&mut self) -> Value {
        let mut across = json!({"upstream": self.pressure(1e5)});
        self.maybe(&mut across, "downstream", |draw| draw.pressure(100.0));
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
                if self.yes(0.4) {
                    request["inlet_pressure"] = self.pressure(1.0);
                    self.maybe(&mut request, "outlet_pressure", |draw| draw.pressure(0.1));
                }
            }
            Named::GasLoad => {
                request["healthy"] = self.pressure(1e-4);
                request["faulty"] = self.pressure(1e-2);
                if self.yes(0.7) {
                    request["speed_at_chamber"] = self.speed(0.3);
                } else {
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
                    let mut foreline = json!({"pressure": draw.pressure(10.0)});
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
                            "pressure": self.pressure(1e-2),
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
                    let unit = draw.one(&ThroughputUnit::ALL);
                    json!({"value": draw.number(1e-6), "unit": unit})
                });
                self.maybe(&mut request, "from_gas", |draw| draw.one(&Gas::ALL));
                self.maybe(&mut request, "to_gas", |draw| draw.one(&Gas::ALL));
                self.maybe(&mut request, "test_gas_share", |draw| draw.number(0.1));
                self.maybe(&mut request, "measured_across", Self::across);
                self.maybe(&mut request, "wanted_across", Self::across);
                self.maybe(&mut request, "temperature", Self::temperature);
                self.maybe(&mut request, "reference_temperature", Self::temperature);
                self.maybe(&mut request, "speed_at_chamber", |draw| draw.speed(0.3));
                self.maybe(&mut request, "helium_test", |draw| {
                    json!({
                        "volume": draw.volume(),
                        "helium_speed": draw.speed(0.1),
                        "smallest_change": draw.pressure(1e-8),
                        "spray_time": draw.time(10.0),
                    })
                });
            }
            Named::ResidualGas => {
                request["spectrum"] = self.spectrum();
                self.maybe(&mut request, "earlier", Self::spectrum);
                self.maybe(&mut request, "total_pressure", |draw| draw.pressure(1e-4));
                request["argon_is_process_gas"] = json!(self.yes(0.2));
            }
            Named::Rise => {
                request["readings"] = self.columns(false);
                request["pressure_unit"] = self.one(&PressureUnit::ALL);
                self.maybe(&mut request, "volume", Self::volume);
                self.maybe(&mut request, "speed", |draw| draw.speed(0.3));
                self.maybe(&mut request, "pumped_for", |draw| draw.time(36_000.0));
                request["cold_cathode_left_on"] = json!(self.yes(0.2));
            }
            Named::PumpDown => {
                request["readings"] = self.columns(true);
                self.maybe(&mut request, "healthy_readings", |draw| draw.columns(true));
                request["pressure_unit"] = self.one(&PressureUnit::ALL);
                self.maybe(&mut request, "volume", Self::volume);
                self.maybe(&mut request, "speed", |draw| draw.speed(0.3));
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
        // Enough of either for the property to mean something.
        assert!(
            reports * 3 > REQUESTS && refused * 50 > REQUESTS,
            "{}: {reports}",
            named.id()
        );
    }
}
