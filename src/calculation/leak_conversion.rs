//! A leak rate in other gases and units, its size as an opening, and what a helium test can find.

use serde::{Deserialize, Serialize};

use super::spoken::{Spoken, in_percent};
use super::{FieldError, FieldErrors, Interval, Outcome};
use crate::vacuum::gas::Gas;
use crate::vacuum::gas_load::base_pressure;
use crate::vacuum::leak::{
    Across, HeliumTest, LeakConversion, LeakError, LeakRegime, convert, equivalent_diameter,
};
use crate::vacuum::units::{
    FlowTemperatures, LengthUnit, PressureUnit, Seconds, Speed, SpeedUnit, Temperature,
    TemperatureUnit, Throughput, ThroughputUnit, TimeUnit, Typed, TypedPressure, TypedThroughput,
    VolumeUnit, to_figures,
};

/// A leak rate, a chamber under a helium test, or both.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Request {
    /// The leak rate as measured or allowed.
    pub rate: Option<TypedThroughput>,
    /// The gas it was measured with; helium unless given.
    pub from_gas: Option<Gas>,
    /// The gas wanted; air unless given.
    pub to_gas: Option<Gas>,
    /// Share of test gas at the leak, above 0 up to 1; 1 unless given.
    pub test_gas_share: Option<f64>,
    /// The pressures between which it was measured; one atmosphere to vacuum unless given.
    pub measured_across: Option<AcrossRequest>,
    /// The pressures between which it is wanted; one atmosphere to vacuum unless given.
    pub wanted_across: Option<AcrossRequest>,
    /// Temperature of the gas; 20 °C unless given.
    pub temperature: Option<Typed<TemperatureUnit>>,
    /// Reference temperature of a standard cubic centimetre; 0 °C unless given.
    pub reference_temperature: Option<Typed<TemperatureUnit>>,
    /// Pumping speed at the chamber, for the base pressure that the leak causes.
    pub speed_at_chamber: Option<Typed<SpeedUnit>>,
    /// The chamber under a helium test.
    pub helium_test: Option<HeliumTestRequest>,
}

/// The pressures on both sides of a leak.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AcrossRequest {
    /// Where the gas comes from.
    pub upstream: TypedPressure,
    /// Where it goes; vacuum unless given.
    pub downstream: Option<TypedPressure>,
}

/// A chamber under a helium test.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HeliumTestRequest {
    /// Volume that is pumped.
    pub volume: Typed<VolumeUnit>,
    /// Pumping speed for helium at the chamber.
    pub helium_speed: Typed<SpeedUnit>,
    /// The smallest change of helium partial pressure that the detector shows.
    pub smallest_change: TypedPressure,
    /// How long each place is sprayed.
    pub spray_time: Typed<TimeUnit>,
}

/// The leak in other gases and units.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// Verdict, assumptions, signs, next checks and cautions.
    #[serde(flatten)]
    pub outcome: Outcome,
    /// The leak rate in the other gas, if a rate was given.
    pub conversion: Option<ConversionReport>,
    /// What the helium test can find, if a chamber was given.
    pub helium_test: Option<HeliumTestReport>,
    /// Temperature of the gas.
    pub temperature: Typed<TemperatureUnit>,
    /// Reference temperature of a standard cubic centimetre.
    pub reference_temperature: Typed<TemperatureUnit>,
}

/// A leak rate carried over.
#[derive(Clone, Debug, Serialize)]
pub struct ConversionReport {
    /// The gas it was measured with.
    pub from_gas: Gas,
    /// The gas it is given for.
    pub to_gas: Gas,
    /// The regime judged by its size.
    pub regime: LeakRegime,
    /// The rate in this regime, in each unit; low and high differ only between the regimes.
    pub rate: Vec<Interval<ThroughputUnit>>,
    /// The rate if the leak is molecular, in the unit given.
    pub if_molecular: TypedThroughput,
    /// The rate if the leak is viscous, in the unit given.
    pub if_viscous: TypedThroughput,
    /// Diameter of the round opening that passes the upper rate from the pressure upstream into
    /// vacuum.
    pub equivalent_opening: Option<Typed<LengthUnit>>,
    /// Why there is none.
    pub no_equivalent_opening: Option<String>,
    /// The base pressure that the leak alone causes.
    pub base_pressure_caused: Option<Interval<PressureUnit>>,
}

/// What a helium test on this chamber can find.
#[derive(Clone, Debug, Serialize)]
pub struct HeliumTestReport {
    /// Volume over speed: the time to 63 % of the signal, and for it to fade to 37 %.
    pub time_constant: Typed<TimeUnit>,
    /// The time to 95 % of the signal.
    pub time_to_95_percent: Typed<TimeUnit>,
    /// The share of the signal reached while spraying.
    pub response_after_spray: f64,
    /// The smallest leak found, as helium.
    pub smallest_leak_as_helium: TypedThroughput,
    /// The same leak, as air.
    pub smallest_leak_as_air: Interval<ThroughputUnit>,
}

/// Carries the leak over and judges the test.
pub fn run(request: &Request) -> Result<Report, Vec<FieldError>> {
    let mut errors = FieldErrors::new();
    let mut assumed = Vec::new();
    let at = read_temperatures(request, &mut assumed, &mut errors);
    let speed = match request.speed_at_chamber {
        Some(typed) => errors.speed("speed_at_chamber", typed).map(Some),
        None => Some(None),
    };
    if request.rate.is_none() && request.helium_test.is_none() {
        errors.refuse(
            "rate",
            "is missing",
            "a leak rate, or a chamber in `helium_test`",
        );
    }
    let (Some(at), Some(speed)) = (at, speed) else {
        return Err(errors.into_vec());
    };
    let conversion = request
        .rate
        .and_then(|rate| carry_over(rate, request, speed, at, &mut assumed, &mut errors));
    let test = request
        .helium_test
        .as_ref()
        .and_then(|test| judge_test(test, request, at, &mut errors));
    errors.finish()?;
    if test.is_some() {
        assumed.push(
            "The helium speed is that at the chamber; on a cryopump it is far below the speed for air and falls as the charcoal fills"
                .to_owned(),
        );
    }
    let mut outcome = Outcome {
        verdict: verdict(conversion.as_ref(), test.as_ref(), at.reference),
        concluded: true,
        assumed,
        ..Outcome::default()
    };
    if test.is_some()
        || conversion
            .as_ref()
            .is_some_and(|c| c.from_gas == Gas::Helium)
    {
        outcome.suggest(&["helium-leak-test"]);
    }
    Ok(Report {
        outcome,
        conversion,
        helium_test: test,
        temperature: Typed::new(at.gas.celsius(), TemperatureUnit::Celsius),
        reference_temperature: Typed::new(at.reference.celsius(), TemperatureUnit::Celsius),
    })
}

fn read_temperatures(
    request: &Request,
    assumed: &mut Vec<String>,
    errors: &mut FieldErrors,
) -> Option<FlowTemperatures> {
    let mut take = |field: &str,
                    typed: Option<Typed<TemperatureUnit>>,
                    usual: Temperature,
                    what: &str| match typed {
        Some(typed) => errors.quantity(field, typed),
        None => {
            assumed.push(what.to_owned());
            Some(usual)
        }
    };
    let gas = take(
        "temperature",
        request.temperature,
        Temperature::ROOM,
        "The gas is at 20 °C",
    );
    let reference = take(
        "reference_temperature",
        request.reference_temperature,
        Temperature::ZERO_CELSIUS,
        "A standard cubic centimetre is at 0 °C and one atmosphere",
    );
    if let Some(typed) = request.reference_temperature {
        assumed.push(format!(
            "A standard cubic centimetre is at {typed} and one atmosphere, as given"
        ));
    }
    Some(FlowTemperatures {
        gas: gas?,
        reference: reference?,
    })
}

fn carry_over(
    typed: TypedThroughput,
    request: &Request,
    speed: Option<Speed>,
    at: FlowTemperatures,
    assumed: &mut Vec<String>,
    errors: &mut FieldErrors,
) -> Option<ConversionReport> {
    let from = request.from_gas.unwrap_or(Gas::Helium);
    let to = request.to_gas.unwrap_or(Gas::Air);
    assumed.push(format!(
        "Of the gas at the leak, {} is {}",
        in_percent(request.test_gas_share.unwrap_or(1.0)),
        from.name()
    ));
    let measured = read_across("measured_across", request.measured_across, errors);
    let wanted = read_across("wanted_across", request.wanted_across, errors);
    let (measured, wanted) = (measured?, wanted?);
    if request.measured_across.is_none() || request.wanted_across.is_none() {
        assumed.push(
            "The leak lies between one atmosphere and vacuum, where no pressures are given"
                .to_owned(),
        );
    }
    let rate = errors.made("rate", typed, typed.throughput(at))?;
    let converted = convert(
        rate,
        from,
        to,
        request.test_gas_share.unwrap_or(1.0),
        at.gas,
    )
    .and_then(|converted| converted.across(measured, wanted))
    .map_err(|error| {
        let spoken = in_the_units_of(request, at);
        let (field, accepted) = match error {
            LeakError::Share { .. } => ("test_gas_share", "from 1e-6 to 1".to_owned()),
            LeakError::NoViscosity { .. } => {
                ("temperature", "a temperature in that range".to_owned())
            }
            LeakError::Liquid { gas, pascals, .. } => (
                if gas == to && pascals == wanted.upstream().pascals() {
                    "wanted_across.upstream"
                } else {
                    "measured_across.upstream"
                },
                "a pressure at which it is a vapour, or another gas".to_owned(),
            ),
            _ => (
                "rate",
                format!("a leak rate above zero, up to {}", spoken.rate(1000.0)),
            ),
        };
        errors.refuse(field, spoken.leak(&error), accepted);
    })
    .ok()?;
    let base = match speed {
        Some(speed) => Some(base_caused(
            &converted,
            speed,
            in_the_units_of(request, at),
            errors,
        )?),
        None => None,
    };
    let opening = equivalent_diameter(converted.high, wanted.upstream(), to, at.gas)
        .map_err(|error| in_the_units_of(request, at).leak(&error));
    Some(ConversionReport {
        from_gas: from,
        to_gas: to,
        regime: converted.regime,
        rate: ThroughputUnit::ALL
            .into_iter()
            .map(|unit| interval(&converted, unit, at))
            .collect(),
        if_molecular: Typed::new(converted.if_molecular.in_unit(typed.unit, at), typed.unit),
        if_viscous: Typed::new(converted.if_viscous.in_unit(typed.unit, at), typed.unit),
        no_equivalent_opening: opening.as_ref().err().cloned(),
        equivalent_opening: opening
            .ok()
            .map(|diameter| Typed::new(diameter.metres() * 1e6, LengthUnit::Micrometre)),
        base_pressure_caused: base,
    })
}

fn read_across(
    field: &str,
    given: Option<AcrossRequest>,
    errors: &mut FieldErrors,
) -> Option<Across> {
    let vacuum = Typed::new(0.0, PressureUnit::Pascal);
    let given = given.unwrap_or(AcrossRequest {
        upstream: Typed::new(1.0, PressureUnit::Atmosphere),
        downstream: None,
    });
    let upstream = errors.quantity(&format!("{field}.upstream"), given.upstream);
    let downstream = errors.quantity(
        &format!("{field}.downstream"),
        given.downstream.unwrap_or(vacuum),
    );
    let spoken = Spoken {
        pressure: given.upstream.unit,
        ..Spoken::SI
    };
    Across::new(upstream?, downstream?)
        .map_err(|error| {
            errors.refuse(
                format!("{field}.upstream"),
                spoken.leak(&error),
                format!(
                    "more pressure upstream than downstream, up to {}",
                    spoken.pressure(1e6)
                ),
            );
        })
        .ok()
}

/// The units in which the request speaks of temperatures, pressures and leak rates.
fn in_the_units_of(request: &Request, at: FlowTemperatures) -> Spoken {
    let across = request.wanted_across.or(request.measured_across);
    Spoken {
        pressure: across.map_or(PressureUnit::Millibar, |across| across.upstream.unit),
        temperature: request
            .temperature
            .map_or(TemperatureUnit::Celsius, |typed| typed.unit),
        throughput: (
            request
                .rate
                .map_or(ThroughputUnit::MillibarLitre, |typed| typed.unit),
            at,
        ),
        ..Spoken::SI
    }
}

fn base_caused(
    converted: &LeakConversion,
    speed: Speed,
    spoken: Spoken,
    errors: &mut FieldErrors,
) -> Option<Interval<PressureUnit>> {
    let mut caused = |rate: Throughput| {
        base_pressure(rate, speed)
            .map_err(|error| {
                errors.refuse(
                    "speed_at_chamber",
                    spoken.gas_load(&error),
                    format!(
                        "a speed above zero that keeps the chamber below {}",
                        spoken.pressure(1.0)
                    ),
                );
            })
            .ok()
    };
    Some(Interval {
        low: caused(converted.low)?.in_unit(PressureUnit::Torr),
        high: caused(converted.high)?.in_unit(PressureUnit::Torr),
        unit: PressureUnit::Torr,
    })
}

fn judge_test(
    test: &HeliumTestRequest,
    request: &Request,
    at: FlowTemperatures,
    errors: &mut FieldErrors,
) -> Option<HeliumTestReport> {
    let volume = errors.volume("helium_test.volume", test.volume);
    let speed = errors.quantity("helium_test.helium_speed", test.helium_speed);
    let change = errors.quantity("helium_test.smallest_change", test.smallest_change);
    let spray = errors.time("helium_test.spray_time", test.spray_time);
    let (volume, speed, change, spray) = (volume?, speed?, change?, spray?);
    let tested =
        HeliumTest::new(volume, speed, request.test_gas_share.unwrap_or(1.0)).and_then(|set_up| {
            Ok((
                set_up.time_constant()?,
                set_up.response(spray)?,
                set_up.smallest_leak(change, spray)?,
            ))
        });
    let (constant, response, smallest) = tested
        .map_err(|error| {
            let (field, accepted) = match error {
                LeakError::Share { .. } => ("test_gas_share", "from 1e-6 to 1"),
                LeakError::NoHeliumSpeed => ("helium_test.helium_speed", "a speed above zero"),
                LeakError::NoLeak if change.pascals() < 1e-20 => (
                    "helium_test.smallest_change",
                    "the smallest change of helium partial pressure that the detector shows, above zero",
                ),
                LeakError::NoLeak => (
                    "helium_test.spray_time",
                    "at least a millionth of the time constant",
                ),
                _ => (
                    "helium_test.volume",
                    "a volume of some chamber and the speed that pumps helium from it",
                ),
            };
            let problem = match (&error, field) {
                (LeakError::NoLeak, "helium_test.smallest_change") => {
                    format!("{} is none", test.smallest_change)
                }
                (LeakError::NoLeak, _) => {
                    format!("{} is too short for any signal", test.spray_time)
                }
                _ => error.to_string(),
            };
            errors.refuse(field, problem, accepted);
        })
        .ok()?;
    let as_air = convert(smallest, Gas::Helium, Gas::Air, 1.0, at.gas)
        .map_err(|error| {
            let field = match error {
                LeakError::NoViscosity { .. } => "temperature",
                _ => "helium_test.smallest_change",
            };
            let problem = in_the_units_of(request, at).leak(&error);
            errors.refuse(
                field,
                problem,
                "a test that could find a leak at room temperature",
            );
        })
        .ok()?;
    let unit = ThroughputUnit::MillibarLitre;
    Some(HeliumTestReport {
        time_constant: in_seconds(constant, 1.0),
        time_to_95_percent: in_seconds(constant, -(0.05_f64.ln())),
        response_after_spray: response,
        smallest_leak_as_helium: Typed::new(smallest.in_unit(unit, at), unit),
        smallest_leak_as_air: interval(&as_air, unit, at),
    })
}

fn interval(
    converted: &LeakConversion,
    unit: ThroughputUnit,
    at: FlowTemperatures,
) -> Interval<ThroughputUnit> {
    Interval {
        low: converted.low.in_unit(unit, at),
        high: converted.high.in_unit(unit, at),
        unit,
    }
}

fn in_seconds(constant: Seconds, times: f64) -> Typed<TimeUnit> {
    Typed::new(constant.seconds() * times, TimeUnit::Second)
}

fn verdict(
    conversion: Option<&ConversionReport>,
    test: Option<&HeliumTestReport>,
    reference: Temperature,
) -> String {
    let mut sentences = Vec::new();
    if let Some(c) = conversion {
        let (one, other) = (c.if_molecular.value, c.if_viscous.value);
        let unit = match c.if_molecular.unit {
            unit @ (ThroughputUnit::StandardCubicCentimetrePerMinute
            | ThroughputUnit::StandardCubicCentimetrePerSecond) => {
                let celsius = (1e3 * reference.celsius()).round() / 1e3;
                format!("{unit} (at {celsius} °C)")
            }
            unit => unit.to_string(),
        };
        let to = c.to_gas.name();
        let told = |rate| to_figures(rate, 3);
        let alike = (one / other - 1.0).abs() < 1e-9;
        sentences.push(match c.regime {
            LeakRegime::Molecular => format!("As {to}: {} {unit}, by molecular flow", told(one)),
            LeakRegime::Viscous => format!("As {to}: {} {unit}, by viscous flow", told(other)),
            LeakRegime::Between if alike => {
                format!("As {to}: {} {unit}, in molecular and in viscous flow alike", told(one))
            }
            LeakRegime::Between => format!(
                "As {to}: between {} and {} {unit}, since a leak of this size may be molecular or viscous",
                told(one.min(other)),
                told(one.max(other))
            ),
        });
    }
    if let Some(t) = test {
        sentences.push(format!(
            "The helium test answers with a time constant of {:.1} s and finds leaks from {:.1e} mbar·L/s of helium, with {} of the signal reached while spraying",
            t.time_constant.value,
            t.smallest_leak_as_helium.value,
            in_percent(t.response_after_spray)
        ));
    }
    sentences.join(". ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run_json(json: &str) -> Result<Report, Vec<FieldError>> {
        run(&serde_json::from_str(json).unwrap())
    }

    /// √(4.0026/28.9647) = 0.3717, kinetic theory.
    #[test]
    fn a_fine_helium_leak_as_air() {
        let report = run_json(r#"{"rate": {"value": 1e-9, "unit": "mbar-l/s"}}"#).unwrap();
        let conversion = report.conversion.unwrap();
        assert_eq!(conversion.regime, LeakRegime::Molecular);
        assert!((conversion.if_molecular.value / 3.717e-10 - 1.0).abs() < 1e-3);
        assert!(conversion.equivalent_opening.is_none());
        assert!(
            conversion
                .no_equivalent_opening
                .unwrap()
                .contains("too narrow")
        );
        assert_eq!(conversion.rate.len(), ThroughputUnit::ALL.len());
        assert_eq!(report.outcome.next_checks, ["helium-leak-test"]);
        assert!(report.outcome.verdict.contains("molecular"));
    }

    /// 0.0158 mbar·L/s of air is a choked opening of 10 µm; on 500 L/s it makes 3.2e-5 mbar.
    #[test]
    fn a_coarse_air_leak_as_an_opening_and_a_base_pressure() {
        let report = run_json(
            r#"{"rate": {"value": 0.0158, "unit": "mbar-l/s"}, "from_gas": "air",
                "speed_at_chamber": {"value": 500, "unit": "l/s"}}"#,
        )
        .unwrap();
        let conversion = report.conversion.unwrap();
        let opening = conversion.equivalent_opening.unwrap();
        assert!((opening.value / 10.0 - 1.0).abs() < 0.005, "{opening}");
        let base = conversion.base_pressure_caused.unwrap();
        assert!(
            (base.high * 1.333_224 / 3.16e-5 - 1.0).abs() < 1e-3,
            "{base:?}"
        );
    }

    /// Two atmospheres against one: (2² − 1²)/1² = 3 times as much in viscous flow (Poiseuille).
    #[test]
    fn other_pressures_scale_a_viscous_leak_by_their_squares() {
        let report = run_json(
            r#"{"rate": {"value": 1, "unit": "mbar-l/s"}, "from_gas": "air",
                "wanted_across": {"upstream": {"value": 2, "unit": "atm"},
                                  "downstream": {"value": 1, "unit": "atm"}}}"#,
        )
        .unwrap();
        let conversion = report.conversion.unwrap();
        assert!((conversion.if_viscous.value - 3.0).abs() < 1e-9);
        assert!((conversion.if_molecular.value - 1.0).abs() < 1e-9);
        let errors = run_json(
            r#"{"rate": {"value": 1, "unit": "mbar-l/s"},
                "measured_across": {"upstream": {"value": 0, "unit": "atm"}},
                "wanted_across": {"upstream": {"value": -2, "unit": "atm"}}}"#,
        )
        .unwrap_err();
        let fields: Vec<&str> = errors.iter().map(|e| e.field.as_str()).collect();
        assert_eq!(
            fields,
            ["measured_across.upstream", "wanted_across.upstream"]
        );
    }

    /// Water is a vapour up to 2.3388 kPa at 20 °C (table of its vapour pressure, seen): 23.4 mbar.
    #[test]
    fn a_vapour_that_would_be_liquid_is_refused_in_the_typed_units() {
        let refused = |json: &str| run_json(json).unwrap_err().swap_remove(0);
        let water = r#""rate": {"value": 1e-3, "unit": "mbar-l/s"}, "to_gas": "water""#;
        let error = refused(&format!("{{{water}}}"));
        assert_eq!(error.field, "wanted_across.upstream");
        assert!(
            error
                .problem
                .contains("water vapour at 20 °C is a vapour up to 23.")
                && error.problem.contains("1013 mbar"),
            "{}",
            error.problem
        );
        let across = |value: f64, unit: &str| {
            format!(
                r#"{{{water}, "wanted_across": {{"upstream": {{"value": {value}, "unit": "{unit}"}}}}}}"#
            )
        };
        assert!(
            refused(&across(100.0, "torr"))
                .problem
                .contains("at 100 Torr it is liquid")
        );
        assert!(run_json(&across(20.0, "mbar")).is_ok());
        let error =
            refused(r#"{"rate": {"value": 1e-3, "unit": "mbar-l/s"}, "from_gas": "acetone"}"#);
        assert_eq!(error.field, "measured_across.upstream");
    }

    /// The share of helium in air, 5.24 parts per million (U.S. Standard Atmosphere), is not none.
    #[test]
    fn a_small_share_of_test_gas_is_not_rounded_to_none() {
        let report =
            run_json(r#"{"rate": {"value": 1e-8, "unit": "mbar-l/s"}, "test_gas_share": 5.24e-6}"#)
                .unwrap();
        let said = "Of the gas at the leak, 0.00052 % is helium".to_owned();
        assert!(
            report.outcome.assumed.contains(&said),
            "{:?}",
            report.outcome.assumed
        );
    }

    /// 1 sccm at 0 °C is 0.018124 mbar·L/s of gas at 20 °C and at 20 °C 0.0168875 (by definition: 101325 Pa times a
    /// cubic centimetre a minute): the reference has to be said.
    #[test]
    fn standard_cubic_centimetres_come_with_their_temperature() {
        let asked = |reference: &str| {
            run_json(&format!(
                r#"{{"rate": {{"value": 1, "unit": "sccm"}}, "from_gas": "air"{reference}}}"#
            ))
            .unwrap()
        };
        let usual = asked("");
        assert!(
            usual.outcome.verdict.contains("sccm (at 0 °C)"),
            "{}",
            usual.outcome.verdict
        );
        let given = asked(r#", "reference_temperature": {"value": 20, "unit": "celsius"}"#);
        assert!(
            given.outcome.verdict.contains(": 1 sccm (at 20 °C)"),
            "{}",
            given.outcome.verdict
        );
        let said = |line: &String| line.contains("is at 20 °C and one atmosphere, as given");
        assert!(
            given.outcome.assumed.iter().any(said),
            "{:?}",
            given.outcome.assumed
        );
    }

    /// The same gas passes a leak as it did before, whatever the regime.
    #[test]
    fn a_gas_carried_over_to_itself_has_no_range() {
        let report = run_json(
            r#"{"rate": {"value": 1e-6, "unit": "mbar-l/s"}, "from_gas": "air", "to_gas": "air"}"#,
        )
        .unwrap();
        let verdict = &report.outcome.verdict;
        assert!(
            verdict.contains("1.00e-6 mbar") && !verdict.contains("between"),
            "{verdict}"
        );
    }

    #[test]
    fn a_change_of_none_is_refused_at_its_own_field() {
        let asked = |change: f64, spray: f64| {
            let mut errors = run_json(&format!(
                r#"{{"helium_test": {{"volume": {{"value": 100, "unit": "l"}},
                    "helium_speed": {{"value": 10, "unit": "l/s"}},
                    "smallest_change": {{"value": {change}, "unit": "mbar"}},
                    "spray_time": {{"value": {spray}, "unit": "s"}}}}}}"#
            ))
            .unwrap_err();
            errors.swap_remove(0)
        };
        let none = asked(0.0, 30.0);
        assert_eq!(
            (none.field.as_str(), none.problem.as_str()),
            ("helium_test.smallest_change", "0 mbar is none")
        );
        assert_eq!(asked(1e-11, 0.0).field, "helium_test.spray_time");
    }

    /// 100 L over 10 L/s are 10 s, 95 % of a signal comes after −ln 0.05 = 2.9957 of them, and 30 s of spray
    /// bring 1 − e⁻³ = 0.9502 of it: 1e-11 mbar · 10 L/s / 0.9502 = 1.0524e-10 mbar·L/s.
    #[test]
    fn a_helium_test_on_a_chamber() {
        let report = run_json(
            r#"{"helium_test": {"volume": {"value": 100, "unit": "l"},
                "helium_speed": {"value": 10, "unit": "l/s"},
                "smallest_change": {"value": 1e-11, "unit": "mbar"},
                "spray_time": {"value": 30, "unit": "s"}}}"#,
        )
        .unwrap();
        let test = report.helium_test.unwrap();
        assert!((test.time_constant.value - 10.0).abs() < 1e-9);
        assert!((test.time_to_95_percent.value - 29.957).abs() < 1e-2);
        assert!((test.smallest_leak_as_helium.value / 1.0524e-10 - 1.0).abs() < 1e-4);
    }

    #[test]
    fn what_cannot_be_taken_is_named() {
        let fields = |json: &str| -> Vec<String> {
            run_json(json)
                .unwrap_err()
                .into_iter()
                .map(|e| e.field)
                .collect()
        };
        assert_eq!(fields("{}"), ["rate"]);
        assert_eq!(
            fields(r#"{"rate": {"value": 0, "unit": "sccm"}}"#),
            ["rate"]
        );
        assert_eq!(
            fields(r#"{"rate": {"value": 1, "unit": "sccm"}, "test_gas_share": 1.5}"#),
            ["test_gas_share"]
        );
        assert_eq!(
            fields(
                r#"{"helium_test": {"volume": {"value": 0, "unit": "l"},
                    "helium_speed": {"value": 10, "unit": "l/s"},
                    "smallest_change": {"value": 1e-11, "unit": "mbar"},
                    "spray_time": {"value": -30, "unit": "s"}}}"#
            ),
            ["helium_test.volume", "helium_test.spray_time"]
        );
    }
}
