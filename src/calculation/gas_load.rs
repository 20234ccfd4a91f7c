//! Base-pressure balance: the extra gas load between a healthy and a faulty pressure, and whether
//! the foreline can explain it.

use serde::{Deserialize, Serialize};

use super::conductance::{self, PartRequest, Path, PumpRequest, litres, read_pump};
use super::spoken::{Spoken, in_percent};
use super::{FieldError, FieldErrors, Interval, Outcome};
use crate::vacuum::gas::Gas;
use crate::vacuum::gas_load::{
    Backing, ExtraLoad, FaultSize, ForelineShare, ForelineVerdict, GasLoadError, Uncertainty,
    extra_load, foreline_share, typical_compression,
};
use crate::vacuum::leak::equivalent_diameter;
use crate::vacuum::units::{
    LengthUnit, Pressure, PressureUnit, Speed, SpeedUnit, Temperature, Throughput, ThroughputUnit,
    Typed, TypedPressure, to_figures,
};

/// Two base pressures of one tool and its pumping speed.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Request {
    /// Base pressure while healthy.
    pub healthy: TypedPressure,
    /// Base pressure now.
    pub faulty: TypedPressure,
    /// Pumping speed at the chamber; or give `pump` and `path`.
    pub speed_at_chamber: Option<Typed<SpeedUnit>>,
    /// The pump, if the speed at the chamber is to be computed.
    pub pump: Option<PumpRequest>,
    /// The parts between chamber and pump, chamber side first.
    pub path: Option<Vec<PartRequest>>,
    /// Half width of the 95 % interval of the gauge's scale, as a share; 0.3 unless given.
    pub gauge_scale_uncertainty: Option<f64>,
    /// The same of a single reading, by chance; 0.1 unless given.
    pub gauge_repeat_uncertainty: Option<f64>,
    /// The same of the pumping speed; 0.2 unless given.
    pub speed_uncertainty: Option<f64>,
    /// The foreline of a turbo pump.
    pub foreline: Option<ForelineRequest>,
}

/// What is behind a turbo pump.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ForelineRequest {
    /// Total pressure in the foreline.
    pub pressure: TypedPressure,
    /// The gas asked about; nitrogen unless given.
    pub gas: Option<Gas>,
    /// That gas's share of the foreline pressure; 1 unless given.
    pub share: Option<f64>,
    /// The pump's compression for that gas, from its manual; a usual range unless given.
    pub compression: Option<f64>,
    /// The foreline up to which the pump holds its compression, from its manual; what turbo pumps have unless
    /// given.
    pub critical_backing_pressure: Option<TypedPressure>,
}

/// The balance.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// Verdict, assumptions, signs, next checks and cautions.
    #[serde(flatten)]
    pub outcome: Outcome,
    /// Pumping speed at the chamber that was used.
    pub speed_at_chamber: Typed<SpeedUnit>,
    /// Gas load at the healthy pressure.
    pub healthy_gas_load: Typed<ThroughputUnit>,
    /// The gas load that came on top, if the speed is unchanged.
    pub extra_gas_load: Typed<ThroughputUnit>,
    /// Its 95 % interval.
    pub extra_gas_load_interval_95: Interval<ThroughputUnit>,
    /// Extra over healthy gas load.
    pub extra_over_healthy: f64,
    /// Its 95 % interval, low and high; free of gauge scale and speed.
    pub extra_over_healthy_interval_95: [f64; 2],
    /// Decades between the two pressures.
    pub decades_lost: f64,
    /// The share of the healthy pumping speed that would explain the loss with no extra gas.
    pub speed_share_that_would_explain: Option<f64>,
    /// The size of the extra load; absent if no loss is shown.
    pub fault_size: Option<FaultSize>,
    /// What is usually behind a load of this size.
    pub usual_causes: Option<String>,
    /// Diameter of the round opening to air that would pass the extra load.
    pub equivalent_opening: Option<Typed<LengthUnit>>,
    /// The foreline's part in the faulty pressure.
    pub foreline: Option<ForelineReport>,
}

/// What comes back from the foreline.
#[derive(Clone, Debug, Serialize)]
pub struct ForelineReport {
    /// The gas.
    pub gas: Gas,
    /// The compression taken, lowest and highest.
    pub compression: [f64; 2],
    /// Pressure in the chamber that the foreline alone would cause; absent where the pump may be above its
    /// critical backing pressure, so that no compression holds.
    pub pressure_from_foreline: Option<Interval<PressureUnit>>,
    /// The compression at which it alone would cause the faulty pressure; none would where this is 1 or less.
    pub compression_that_would_explain: f64,
    /// Whether it explains the faulty pressure; absent if the range of compression, or a foreline that may be
    /// above the critical backing pressure, leaves it open.
    pub finding: Option<ForelineVerdict>,
    /// The finding in words.
    pub verdict: String,
}

/// Draws the balance.
pub fn run(request: &Request) -> Result<Report, Vec<FieldError>> {
    let mut errors = FieldErrors::new();
    let healthy = errors.quantity("healthy", request.healthy);
    let faulty = errors.quantity("faulty", request.faulty);
    let mut assumed = Vec::new();
    let speed = read_speed(request, faulty, &mut assumed, &mut errors);
    let uncertainty = read_uncertainty(request, &mut assumed);
    let foreline = match (&request.foreline, faulty) {
        (Some(foreline), Some(faulty)) => {
            let faulty = (request.faulty, faulty);
            Some(read_foreline(foreline, faulty, &mut assumed, &mut errors))
        }
        _ => None,
    };
    let (Some(healthy), Some(faulty), Some(speed)) = (healthy, faulty, speed) else {
        return Err(errors.into_vec());
    };
    let extra = extra_load(healthy, faulty, speed, uncertainty)
        .map_err(|error| refuse_balance(&error, request, faulty, &mut errors))
        .ok();
    let (Some(extra), false) = (extra, matches!(foreline, Some(None))) else {
        return Err(errors.into_vec());
    };
    errors.finish()?;
    assumed.push("The pumping speed is the same at both pressures".to_owned());
    let foreline = foreline.flatten();
    let concluded = extra.is_shown();
    let size = concluded.then(|| FaultSize::of(extra.extra));
    let mut outcome = Outcome {
        verdict: verdict(&extra, size, foreline.as_ref()),
        concluded,
        assumed,
        ..Outcome::default()
    };
    if concluded {
        set_signs(&mut outcome, &extra);
    }
    suggest(&mut outcome, size, foreline.as_ref());
    let atmosphere = Pressure::from_pascals(101_325.0).ok();
    Ok(Report {
        speed_at_chamber: litres(speed),
        healthy_gas_load: millibar_litres(extra.healthy),
        extra_gas_load: millibar_litres(extra.extra),
        extra_gas_load_interval_95: Interval {
            low: millibar_litres(extra.low).value,
            high: millibar_litres(extra.high).value,
            unit: ThroughputUnit::MillibarLitre,
        },
        extra_over_healthy: extra.ratio,
        extra_over_healthy_interval_95: [extra.ratio_low, extra.ratio_high],
        decades_lost: (faulty.pascals() / healthy.pascals()).log10(),
        speed_share_that_would_explain: concluded.then_some(extra.speed_share_instead),
        fault_size: size,
        usual_causes: size.map(|size| size.usual_causes().to_owned()),
        equivalent_opening: atmosphere.filter(|_| concluded).and_then(|atmosphere| {
            equivalent_diameter(extra.extra, atmosphere, Gas::Air, Temperature::ROOM)
                .ok()
                .map(|diameter| Typed::new(diameter.metres() * 1e6, LengthUnit::Micrometre))
        }),
        foreline,
        outcome,
    })
}

/// Half widths of intervals that are taken.
const SHARES: &str = "from 0 to 2";

/// Notes what keeps the balance from being drawn under the field that it is about.
fn refuse_balance(
    error: &GasLoadError,
    request: &Request,
    faulty: Pressure,
    errors: &mut FieldErrors,
) {
    let about = match *error {
        GasLoadError::TooHigh { pascals } if pascals == faulty.pascals() => "faulty",
        GasLoadError::Zero { what } | GasLoadError::Uncertainty { what, .. } => what,
        _ => "healthy",
    };
    let spoken = |typed: TypedPressure| Spoken {
        pressure: typed.unit,
        ..Spoken::SI
    };
    let pressure = |typed| {
        format!(
            "a pressure above zero up to {}",
            spoken(typed).pressure(1.0)
        )
    };
    let (field, accepted) = match about {
        "the faulty pressure" | "faulty" => ("faulty", pressure(request.faulty)),
        "the pumping speed" => ("speed_at_chamber", "a speed above zero".to_owned()),
        "the uncertainty of the gauge's scale" => ("gauge_scale_uncertainty", SHARES.to_owned()),
        "the uncertainty of a single reading" => ("gauge_repeat_uncertainty", SHARES.to_owned()),
        "the uncertainty of the pumping speed" => ("speed_uncertainty", SHARES.to_owned()),
        _ => ("healthy", pressure(request.healthy)),
    };
    let spoken = spoken(if field == "faulty" {
        request.faulty
    } else {
        request.healthy
    });
    errors.refuse(field, spoken.gas_load(error), accepted);
}

/// Suggests the checks that tell a gas load from lost speed, air from water, and whether the
/// foreline matters.
fn suggest(outcome: &mut Outcome, size: Option<FaultSize>, foreline: Option<&ForelineReport>) {
    let Some(size) = size else {
        return;
    };
    if foreline.is_some_and(|found| found.finding == Some(ForelineVerdict::Explains)) {
        outcome.suggest(&["turbo-health-check"]);
    }
    outcome.suggest(&["pressure-rise-test", "residual-gas-scan"]);
    if matches!(size, FaultSize::Traces | FaultSize::Fine) {
        outcome.suggest(&["helium-leak-test"]);
    }
    if let Some(foreline) = foreline {
        outcome.suggest(&["turbo-health-check"]);
        if foreline.pressure_from_foreline.is_none() {
            outcome.suggest(&["backing-pump-quick-look"]);
        }
    }
}

/// Sets the signs that the whole interval of the ratio decides.
fn set_signs(outcome: &mut Outcome, extra: &ExtraLoad) {
    let mut decide = |id: &str, yes: bool, no: bool| {
        if yes || no {
            outcome.sign(id, yes);
        }
    };
    decide(
        "gas-load-small",
        extra.ratio_high <= 1.0,
        extra.ratio_low > 1.0,
    );
    decide(
        "gas-load-large",
        extra.ratio_low > 10.0,
        extra.ratio_high <= 10.0,
    );
}

fn verdict(
    extra: &ExtraLoad,
    size: Option<FaultSize>,
    foreline: Option<&ForelineReport>,
) -> String {
    let Some(size) = size else {
        if extra.is_below_healthy() {
            return "The pressure at the fault is below the healthy one by more than the scatter of both readings, so no loss is shown; see whether the two are in the right fields and from the same gauge"
                .to_owned();
        }
        return "The two readings do not differ by more than their own scatter, so they show no loss"
            .to_owned();
    };
    let rate = |load| to_figures(millibar_litres(load).value, 2);
    let mut verdict = format!(
        "If the pump is as good as before, {} mbar·L/s came on top (95 % interval {} to {}); usual at this size: {}. A pump with {} of its speed left would look the same",
        rate(extra.extra),
        rate(extra.low),
        rate(extra.high),
        size.usual_causes(),
        in_percent(extra.speed_share_instead),
    );
    if let Some(foreline) = foreline {
        verdict.push_str(". ");
        verdict.push_str(&foreline.verdict);
    }
    verdict
}

fn read_speed(
    request: &Request,
    faulty: Option<Pressure>,
    assumed: &mut Vec<String>,
    errors: &mut FieldErrors,
) -> Option<Speed> {
    match (request.speed_at_chamber, &request.pump, &request.path) {
        (Some(typed), None, None) => errors.speed("speed_at_chamber", typed),
        (None, Some(pump), Some(path)) => {
            let mut inner = FieldErrors::new();
            let whole = conductance::Request {
                parts: path.clone(),
                gas: None,
                temperature: None,
                pump: None,
                inlet_pressure: None,
                outlet_pressure: None,
            };
            let path = Path::read(&whole, &mut inner);
            for error in inner.into_vec() {
                errors.refuse(
                    error.field.replacen("parts", "path", 1),
                    error.problem,
                    error.accepted,
                );
            }
            let unit = pump.speed.unit;
            let pump = read_pump(pump, errors)?;
            let limit = path.as_ref().and_then(Path::molecular_below);
            if let (Some(limit), Some(faulty)) = (limit, faulty)
                && limit.pressure().is_ok_and(|limit| faulty > limit)
            {
                errors.refuse(
                    "faulty",
                    "puts the path out of molecular flow, in which its conductance is computed here",
                    format!(
                        "at most {:.1e} {} with this path, or `speed_at_chamber` at that pressure instead of pump and path",
                        limit.value, limit.unit
                    ),
                );
                return None;
            }
            assumed
                .push("Pumping speed and path are for air at 20 °C, in molecular flow".to_owned());
            path?.speed_at_chamber(pump, unit, errors)
        }
        _ => {
            errors.refuse(
                "speed_at_chamber",
                "the pumping speed is not given in one way",
                "either `speed_at_chamber`, or `pump` and `path` together",
            );
            None
        }
    }
}

fn read_uncertainty(request: &Request, assumed: &mut Vec<String>) -> Uncertainty {
    let usual = Uncertainty::default();
    let mut take = |given: Option<f64>, usual: f64, what: &str| {
        given.unwrap_or_else(|| {
            assumed.push(format!("{what} is known to ±{:.0} %", usual * 100.0));
            usual
        })
    };
    Uncertainty {
        scale: take(
            request.gauge_scale_uncertainty,
            usual.scale,
            "The gauge's scale",
        ),
        repeat: take(
            request.gauge_repeat_uncertainty,
            usual.repeat,
            "A single reading",
        ),
        speed: take(request.speed_uncertainty, usual.speed, "The pumping speed"),
    }
}

fn read_foreline(
    foreline: &ForelineRequest,
    (faulty, base): (TypedPressure, Pressure),
    assumed: &mut Vec<String>,
    errors: &mut FieldErrors,
) -> Option<ForelineReport> {
    let gas = foreline.gas.unwrap_or(Gas::Nitrogen);
    let share = foreline.share.unwrap_or(1.0);
    if foreline.gas.is_none() {
        assumed.push("The foreline holds nitrogen".to_owned());
    }
    if foreline.share.is_none() {
        assumed.push(format!(
            "All of the foreline is {}, as its share was not given; less of it explains less",
            gas.name()
        ));
    }
    if !(share > 0.0 && share <= 1.0) {
        errors.refuse(
            "foreline.share",
            format!("is {share}"),
            "a share above 0 up to 1",
        );
        return None;
    }
    let total = errors.quantity("foreline.pressure", foreline.pressure)?;
    if total <= base {
        errors.refuse(
            "foreline.pressure",
            format!(
                "{} is not above the pressure at the fault, {faulty}, as it is behind any turbo pump that runs",
                foreline.pressure
            ),
            "the reading behind the running pump; if both readings are true, see whether the pump runs, and otherwise which gauge or unit is wrong",
        );
        return None;
    }
    let partial = errors.quantity(
        "foreline.pressure",
        Typed::new(total.pascals() * share, PressureUnit::Pascal),
    )?;
    let critical = match foreline.critical_backing_pressure {
        Some(typed) => {
            let field = "foreline.critical_backing_pressure";
            let critical = errors.quantity(field, typed)?;
            if critical.pascals() <= 0.0 {
                errors.refuse(
                    field,
                    "is zero",
                    "a pressure above zero, from the pump's manual",
                );
                return None;
            }
            Some(critical)
        }
        None => None,
    };
    let (low, high) = match (foreline.compression, typical_compression(gas)) {
        (Some(given), _) => (given, given),
        (None, Some(range)) => {
            assumed.push(format!(
                "A sound turbo pump compresses {} {:.0e} to {:.0e} times; its manual knows better",
                gas.name(),
                range.start(),
                range.end()
            ));
            (*range.start(), *range.end())
        }
        (None, None) => {
            errors.refuse(
                "foreline.compression",
                format!("is missing, and no usual value is known for {}", gas.name()),
                "the compression for that gas from the pump's manual",
            );
            return None;
        }
    };
    let spoken = Spoken {
        pressure: foreline.pressure.unit,
        ..Spoken::SI
    };
    let mut shared = |compression| {
        foreline_share(partial, base, compression)
            .map_err(|error| match error {
                GasLoadError::Compression { .. } => errors.refuse(
                    "foreline.compression",
                    spoken.gas_load(&error),
                    "above 1 and up to 1e20, as the pump's manual gives it for this gas",
                ),
                // What is wrong with the base pressure is told at its own field.
                GasLoadError::TooHigh { .. } | GasLoadError::Zero { .. } => {}
                _ => errors.refuse(
                    "foreline.pressure",
                    spoken.gas_load(&error),
                    format!(
                        "a foreline pressure above the pressure at the fault and up to {}",
                        spoken.pressure(1e4)
                    ),
                ),
            })
            .ok()
    };
    let most = shared(low)?;
    let least = shared(high)?;
    let backing = Backing::of(total, critical);
    if critical.is_none() && backing == Backing::Holds {
        assumed.push(
            "The turbo pump holds its compression against a foreline of up to 0.1 mbar".to_owned(),
        );
    }
    // The readings themselves refute a compression by which the foreline would make far more.
    let agreed = (most.verdict == least.verdict && least.share <= REFUTED).then_some(most.verdict);
    // What explains the pressure with its whole compression does so with less.
    let finding = agreed.filter(|f| backing == Backing::Holds || *f == ForelineVerdict::Explains);
    Some(ForelineReport {
        gas,
        compression: [low, high],
        pressure_from_foreline: (backing == Backing::Holds).then(|| Interval {
            low: least.behind.in_unit(PressureUnit::Torr),
            high: most.behind.in_unit(PressureUnit::Torr),
            unit: PressureUnit::Torr,
        }),
        compression_that_would_explain: most.compression_needed,
        finding,
        verdict: foreline_verdict(foreline, gas, backing, finding, (&least, &most)),
    })
}

/// Above so many times the pressure that is read, a foreline with the compression given explains nothing: the
/// compression is another (a gauge errs by less: common practice, no source).
const REFUTED: f64 = 3.0;

/// From this share on a foreline explains the pressure as a whole (common practice, no source: no gauge tells
/// the rest from none).
const WHOLE: f64 = 0.9;

/// A turbo pump that turns compresses any gas more than so many times (common practice, no source: hydrogen, of which it
/// compresses the least, some thousand times).
const HARDLY_TURNS: f64 = 10.0;

/// A factor of which the first figure counts: `50`, `2e5`.
fn some(factor: f64) -> String {
    let rounded: f64 = format!("{factor:.0e}").parse().unwrap_or(factor);
    if (1.0..1e4).contains(&rounded) {
        rounded.to_string()
    } else {
        format!("{rounded:e}")
    }
}

fn foreline_verdict(
    foreline: &ForelineRequest,
    gas: Gas,
    backing: Backing,
    finding: Option<ForelineVerdict>,
    (least, most): (&ForelineShare, &ForelineShare),
) -> String {
    let needed = most.compression_needed;
    let gas = gas.name();
    let pressure = foreline.pressure;
    if least.share > REFUTED {
        return format!(
            "With that compression the {gas} in the foreline alone would make {:.0} times the base pressure that is read, so the pump compresses it better here, at least some {} times: the foreline pressure, its share of {gas} or the compression is not the true one, and whether it explains the base pressure cannot be told",
            least.share,
            some(needed)
        );
    }
    match (finding, backing) {
        (Some(ForelineVerdict::CannotExplain), _) if needed <= 1.0 => format!(
            "The {gas} in the foreline cannot explain the base pressure: there is less of it than the chamber reads in all, however well the pump compresses it"
        ),
        (Some(ForelineVerdict::CannotExplain), _) if needed < HARDLY_TURNS => format!(
            "The {gas} in the foreline cannot explain the base pressure: the pump would have to stand still, or nearly"
        ),
        (Some(ForelineVerdict::CannotExplain), _) => format!(
            "The {gas} in the foreline cannot explain the base pressure, unless the pump compresses it only some {} times",
            some(needed)
        ),
        (Some(ForelineVerdict::Explains), _) if least.share >= WHOLE => {
            format!("The {gas} in the foreline explains the base pressure")
        }
        (Some(_), _) => {
            let (low, high) = (in_percent(least.share), in_percent(most.share.min(1.0)));
            let share = if low == high {
                low
            } else {
                format!("{low} to {high}")
            };
            format!(
                "The {gas} in the foreline explains {share} of the base pressure, and not the rest"
            )
        }
        (None, Backing::Holds) => format!(
            "Whether the {gas} in the foreline explains the base pressure depends on the pump's compression, which its manual gives"
        ),
        (None, Backing::Depends) => format!(
            "Whether the {gas} in the foreline explains the base pressure depends on the pump's critical backing pressure, above which its compression collapses: at {pressure} a plain turbo pump is above it, while one with a drag stage may not be (its manual says)"
        ),
        (None, Backing::Collapsed) => {
            let above = match foreline.critical_backing_pressure {
                Some(critical) => format!("the pump's critical backing pressure of {critical}"),
                None => {
                    "the critical backing pressure of turbo pumps, with a drag stage too".to_owned()
                }
            };
            format!(
                "A foreline of {pressure} is above {above}, where no figure of compression holds, so its {gas} may explain the base pressure; see first why the foreline is so high"
            )
        }
    }
}

fn millibar_litres(load: Throughput) -> Typed<ThroughputUnit> {
    Typed::new(
        load.pascal_cubic_metres_per_second() * 10.0,
        ThroughputUnit::MillibarLitre,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run_json(json: &str) -> Result<Report, Vec<FieldError>> {
        run(&serde_json::from_str(json).unwrap())
    }

    /// Q = S·Δp: 1000 L/s times 4.95e-6 mbar.
    #[test]
    fn two_decades_are_a_large_load() {
        let report = run_json(
            r#"{"healthy": {"value": 5e-8, "unit": "mbar"}, "faulty": {"value": 5e-6, "unit": "mbar"},
                "speed_at_chamber": {"value": 1000, "unit": "l/s"},
                "foreline": {"pressure": {"value": 1e-2, "unit": "mbar"}}}"#,
        )
        .unwrap();
        assert!((report.extra_gas_load.value / 4.95e-3 - 1.0).abs() < 1e-9);
        assert!((report.decades_lost - 2.0).abs() < 1e-9);
        assert!(report.outcome.concluded);
        assert!(report.outcome.signs["gas-load-large"]);
        assert!(!report.outcome.signs["gas-load-small"]);
        let opening = report.equivalent_opening.unwrap().value;
        assert!((opening / 5.6 - 1.0).abs() < 0.02, "{opening}");
        let foreline = report.foreline.unwrap();
        assert_eq!(foreline.finding, Some(ForelineVerdict::CannotExplain));
        assert!((foreline.compression_that_would_explain / 2e3 - 1.0).abs() < 1e-9);
    }

    /// A foreline of 1e-2 mbar against 5e-6 mbar: compressed 2000 times, a thousandth of it twice (p = p_fore/K). A turbo pump that
    /// turns compresses hydrogen a thousand times at least (from memory).
    #[test]
    fn a_share_that_was_not_given_is_assumed_and_a_stopped_pump_named() {
        let asked = |more: &str| {
            run_json(&format!(
                r#"{{"healthy": {{"value": 5e-8, "unit": "mbar"}}, "faulty": {{"value": 5e-6, "unit": "mbar"}},
                    "speed_at_chamber": {{"value": 1000, "unit": "l/s"}},
                    "foreline": {{"pressure": {{"value": 1e-2, "unit": "mbar"}}, "gas": "hydrogen"{more}}}}}"#
            ))
            .unwrap()
        };
        let says = |report: &Report| {
            let said = |line: &String| line.contains("All of the foreline is hydrogen");
            report.outcome.assumed.iter().any(said)
        };
        assert!(says(&asked("")));
        let thousandth = asked(r#", "share": 1e-3"#);
        assert!(!says(&thousandth));
        let verdict = thousandth.foreline.unwrap().verdict;
        assert!(verdict.contains("would have to stand still"), "{verdict}");
        assert!(!verdict.contains("e0"), "{verdict}");
        let nitrogen = asked(r#", "share": 0.05, "compression": 1e6"#);
        let verdict = nitrogen.foreline.unwrap().verdict;
        assert!(verdict.contains("only some 100 times"), "{verdict}");
    }

    /// Above the critical backing pressure (ISO 21360-1) compression collapses: a plain turbo pump's is some 0.1 mbar, one
    /// with a drag stage has 10 to 20 mbar (sources at [`Backing`]). With a figure from the manual it is decided.
    #[test]
    fn a_foreline_above_the_critical_backing_pressure_is_not_cleared() {
        let asked = |foreline: &str| {
            run_json(&format!(
                r#"{{"healthy": {{"value": 1e-8, "unit": "mbar"}}, "faulty": {{"value": 1e-6, "unit": "mbar"}},
                    "speed_at_chamber": {{"value": 500, "unit": "l/s"}}, "foreline": {{{foreline}}}}}"#
            ))
            .unwrap()
        };
        let at = |millibars: f64, more: &str| {
            asked(&format!(
                r#""pressure": {{"value": {millibars}, "unit": "mbar"}}{more}"#
            ))
        };
        for (millibars, more, word) in [
            (5.0, "", "depends on the pump's critical backing pressure"),
            (
                5.0,
                r#", "compression": 1e9"#,
                "depends on the pump's critical backing pressure",
            ),
            (50.0, "", "no figure of compression holds"),
            (
                5.0,
                r#", "critical_backing_pressure": {"value": 0.5, "unit": "mbar"}"#,
                "above the pump's critical backing pressure of 0.5 mbar",
            ),
            // The total counts, whatever the share of the gas.
            (
                5.0,
                r#", "share": 1e-3"#,
                "depends on the pump's critical backing pressure",
            ),
        ] {
            let report = at(millibars, more);
            let foreline = report.foreline.unwrap();
            assert_eq!(foreline.finding, None, "{more}");
            assert!(foreline.pressure_from_foreline.is_none());
            assert!(foreline.verdict.contains(word), "{}", foreline.verdict);
            assert!(report.outcome.verdict.contains(word));
            assert!(
                report
                    .outcome
                    .next_checks
                    .contains(&"backing-pump-quick-look".to_owned())
            );
        }
        let drag = at(
            5.0,
            r#", "critical_backing_pressure": {"value": 15, "unit": "mbar"}"#,
        );
        assert_eq!(
            drag.foreline.unwrap().finding,
            Some(ForelineVerdict::CannotExplain)
        );
        // With its whole compression it explains the pressure already.
        let poor = at(5.0, r#", "compression": 5e6"#);
        assert_eq!(
            poor.foreline.unwrap().finding,
            Some(ForelineVerdict::Explains)
        );
        assert_eq!(poor.outcome.next_checks[0], "turbo-health-check");
        // With this one the foreline alone would make fifty times what is read.
        let refuted = at(5.0, r#", "compression": 1e5"#);
        let foreline = refuted.foreline.unwrap();
        assert_eq!(foreline.finding, None);
        assert!(
            foreline.verdict.contains("50 times the base pressure"),
            "{}",
            foreline.verdict
        );
        let zero = r#"{"healthy": {"value": 1e-8, "unit": "mbar"}, "faulty": {"value": 1e-6, "unit": "mbar"},
            "speed_at_chamber": {"value": 500, "unit": "l/s"}, "foreline": {"pressure": {"value": 5, "unit": "mbar"},
            "critical_backing_pressure": {"value": 0, "unit": "mbar"}}}"#;
        assert_eq!(
            run_json(zero).unwrap_err()[0].field,
            "foreline.critical_backing_pressure"
        );
    }

    /// Of 1 % helium in a foreline of 1e-5 mbar there is 1e-7 mbar, less than the chamber's 1e-6 mbar, which it cannot
    /// explain (p = p_fore/K, ISO 21360-4); a foreline below the chamber is none of a running pump.
    #[test]
    fn a_foreline_below_the_chamber_is_a_doubt_of_the_readings_and_a_small_share_is_none() {
        let asked = |foreline: &str| {
            run_json(&format!(
                r#"{{"healthy": {{"value": 1e-8, "unit": "mbar"}}, "faulty": {{"value": 1e-6, "unit": "mbar"}},
                    "speed_at_chamber": {{"value": 500, "unit": "l/s"}}, "foreline": {{{foreline}}}}}"#
            ))
        };
        let small =
            r#""pressure": {"value": 1e-5, "unit": "mbar"}, "gas": "helium", "share": 0.01"#;
        let foreline = asked(small).unwrap().foreline.unwrap();
        assert_eq!(foreline.finding, Some(ForelineVerdict::CannotExplain));
        assert!(
            foreline.verdict.contains("there is less of it"),
            "{}",
            foreline.verdict
        );
        let below = asked(r#""pressure": {"value": 5e-5, "unit": "pa"}"#).unwrap_err();
        assert_eq!(below.len(), 1);
        assert_eq!(below[0].field, "foreline.pressure");
        assert!(
            below[0]
                .problem
                .starts_with("5e-5 Pa is not above the pressure at the fault, 1e-6 mbar"),
            "{}",
            below[0].problem
        );
    }

    /// Limits in the unit that was typed: 1 Pa is 7.501e-3 Torr (conversion by definition).
    #[test]
    fn a_refusal_speaks_the_unit_that_was_typed() {
        let refused = run_json(
            r#"{"healthy": {"value": 1e-7, "unit": "torr"}, "faulty": {"value": 5, "unit": "torr"},
                "speed_at_chamber": {"value": 10, "unit": "l/s"},
                "foreline": {"pressure": {"value": 9, "unit": "torr"}}}"#,
        )
        .unwrap_err();
        assert_eq!(refused.len(), 1, "{refused:?}");
        assert_eq!(
            refused[0].accepted,
            "a pressure above zero up to 7.501e-3 Torr"
        );
        let negative = run_json(
            r#"{"healthy": {"value": -1, "unit": "torr"}, "faulty": {"value": 5e-6, "unit": "torr"},
                "speed_at_chamber": {"value": 10, "unit": "l/s"}}"#,
        )
        .unwrap_err();
        assert_eq!(
            negative[0].problem,
            "a pressure must be zero or more, not -1 Torr"
        );
    }

    /// p = p_fore/K (ISO 21360-4): 1e-2 mbar over 2e4 is 5e-7, half of 1e-6 mbar; over 5e4 a fifth; over 1e4 all.
    #[test]
    fn a_part_of_the_base_pressure_is_told_with_its_size() {
        for (compression, said) in [
            (2e4, "explains 50 % of the base pressure, and not the rest"),
            (5e4, "explains 20 % of the base pressure, and not the rest"),
            (1e4, "explains the base pressure"),
        ] {
            let report = run_json(&format!(
                r#"{{"healthy": {{"value": 1e-8, "unit": "mbar"}}, "faulty": {{"value": 1e-6, "unit": "mbar"}},
                    "speed_at_chamber": {{"value": 500, "unit": "l/s"}},
                    "foreline": {{"pressure": {{"value": 1e-2, "unit": "mbar"}}, "compression": {compression:e}}}}}"#
            ))
            .unwrap();
            let verdict = report.foreline.unwrap().verdict;
            assert!(verdict.ends_with(said), "{verdict}");
        }
    }

    /// 1e-6 over 9e-2 Pa is 0.0011 % (arithmetic), which is not none.
    #[test]
    fn a_small_share_of_the_speed_is_not_rounded_to_none() {
        let report = run_json(
            r#"{"healthy": {"value": 1e-6, "unit": "pa"}, "faulty": {"value": 9e-2, "unit": "pa"},
                "speed_at_chamber": {"value": 1000, "unit": "l/s"}}"#,
        )
        .unwrap();
        assert!(
            report
                .outcome
                .verdict
                .contains("A pump with 0.0011 % of its speed left"),
            "{}",
            report.outcome.verdict
        );
    }

    /// The whole interval of the ratio lies below zero: (2e-7 − 5e-7)/5e-7 = −0.6, scatter of 10 % a reading.
    #[test]
    fn a_pressure_below_the_healthy_one_is_told_as_that() {
        let report = run_json(
            r#"{"healthy": {"value": 5e-7, "unit": "torr"}, "faulty": {"value": 2e-7, "unit": "torr"},
                "speed_at_chamber": {"value": 500, "unit": "l/s"}}"#,
        )
        .unwrap();
        assert!(report.extra_over_healthy_interval_95[1] < 0.0);
        assert!(!report.outcome.concluded && report.outcome.signs.is_empty());
        let verdict = &report.outcome.verdict;
        assert!(
            verdict.contains("below the healthy one") && !verdict.contains("do not differ"),
            "{verdict}"
        );
    }

    #[test]
    fn scatter_is_no_loss_and_sets_no_sign() {
        let report = run_json(
            r#"{"healthy": {"value": 5e-7, "unit": "torr"}, "faulty": {"value": 5.3e-7, "unit": "torr"},
                "speed_at_chamber": {"value": 1000, "unit": "l/s"}}"#,
        )
        .unwrap();
        assert!(!report.outcome.concluded);
        assert!(report.outcome.signs.is_empty() && report.fault_size.is_none());
        assert!(report.outcome.verdict.contains("no loss"));
    }

    /// Between 136.5 L/s by the plain rule (Normand, Ind. Eng. Chem. 40 (1948) 783) and the 250.4 L/s that
    /// the tube alone passes (Clausing's equation).
    #[test]
    fn the_path_takes_its_share_of_the_speed() {
        let report = run_json(
            r#"{"healthy": {"value": 5e-7, "unit": "torr"}, "faulty": {"value": 5e-6, "unit": "torr"},
                "pump": {"speed": {"value": 300, "unit": "l/s"}},
                "path": [{"shape": "tube", "diameter": {"value": 10, "unit": "cm"},
                          "length": {"value": 30, "unit": "cm"}}]}"#,
        )
        .unwrap();
        let speed = report.speed_at_chamber.value;
        assert!((136.0..250.0).contains(&speed), "{speed}");
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
        assert_eq!(
            fields(
                r#"{"healthy": {"value": -1, "unit": "torr"}, "faulty": {"value": 5e-6, "unit": "torr"}}"#
            ),
            ["healthy", "speed_at_chamber"]
        );
        assert_eq!(
            fields(
                r#"{"healthy": {"value": 1e-7, "unit": "torr"}, "faulty": {"value": 5e-6, "unit": "torr"},
                    "speed_at_chamber": {"value": 10, "unit": "l/s"},
                    "foreline": {"pressure": {"value": 1e-2, "unit": "mbar"}, "gas": "water"}}"#
            ),
            ["foreline.compression"]
        );
        // In a tube of 10 cm air is molecular up to some 1e-3 mbar.
        assert_eq!(
            fields(
                r#"{"healthy": {"value": 1e-7, "unit": "mbar"}, "faulty": {"value": 5e-3, "unit": "mbar"},
                    "pump": {"speed": {"value": 300, "unit": "l/s"}},
                    "path": [{"shape": "tube", "diameter": {"value": 10, "unit": "cm"},
                              "length": {"value": 30, "unit": "cm"}}]}"#
            ),
            ["faulty"]
        );
        assert_eq!(
            fields(
                r#"{"healthy": {"value": 1e-7, "unit": "torr"}, "faulty": {"value": 5, "unit": "torr"},
                    "speed_at_chamber": {"value": 10, "unit": "l/s"}}"#
            ),
            ["faulty"]
        );
    }
}
