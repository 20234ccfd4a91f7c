//! A pump-down as a page or the API asks for it: a log and a healthy log in, phases and explanations
//! out.

use serde::{Deserialize, Serialize};

use super::rise::{Columns, Point, Ranged, from_columns, log_error, thinned};
use super::{FieldError, FieldErrors, Outcome};
use crate::vacuum::log::{LineProblem, LogOptions, Mark, PressureLog, TidyRecord, read_log, tidy};
use crate::vacuum::pump_down::{
    Comparison, Explanation, ExplanationKind, LatePhase, VOLUME_PHASE_ENDS, compare, late_phase,
    pumping_begins, volume_phase,
};
use crate::vacuum::rise::Interval;
use crate::vacuum::units::{
    PressureUnit, Speed, SpeedUnit, ThroughputUnit, TimeUnit, Typed, Volume, VolumeUnit,
};

/// A pump-down, best with a healthy one of the same tool.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Request {
    /// The text of the log; or give `readings`.
    pub log: Option<String>,
    /// The readings in columns; or give `log`.
    pub readings: Option<Columns>,
    /// The log of a healthy pump-down of the same tool.
    pub healthy_log: Option<String>,
    /// The same in columns.
    pub healthy_readings: Option<Columns>,
    /// Unit of pressures for which the logs give none.
    pub pressure_unit: Option<PressureUnit>,
    /// Unit of elapsed times for which the logs give none; seconds unless given.
    pub time_unit: Option<TimeUnit>,
    /// Volume of the chamber, for the speed of the roughing phase.
    pub volume: Option<Typed<VolumeUnit>>,
    /// Pumping speed at the chamber in high vacuum, for the extra gas load.
    pub speed: Option<Typed<SpeedUnit>>,
}

/// What a pump-down says.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// Verdict, assumptions, signs, next checks and cautions.
    #[serde(flatten)]
    pub outcome: Outcome,
    /// Its reasons, or those against one.
    pub reasons: Vec<String>,
    /// Speed over volume in the volume phase, per second: value, low, high.
    pub speed_over_volume_per_second: Option<[f64; 3]>,
    /// Speed in the volume phase, if the volume was given.
    pub roughing_speed: Option<Ranged<SpeedUnit>>,
    /// The same over that of the healthy record: value, low, high.
    pub roughing_speed_over_healthy: Option<[f64; 3]>,
    /// Exponent of the fall with time in the outgassing phase: value, low, high.
    pub outgassing_exponent: Option<[f64; 3]>,
    /// The floor.
    pub floor: Option<Ranged<PressureUnit>>,
    /// Where the curve leaves the healthy one.
    pub leaves: Option<LeavesReport>,
    /// Explanations, best first.
    pub explanations: Vec<ExplanationReport>,
    /// Unit in which pressures are shown: as chosen, else that of the log's first reading.
    pub pressure_unit: Option<PressureUnit>,
    /// Points to plot, at most 400, with the fitted outgassing phase.
    pub points: Vec<Point>,
    /// Points of the healthy record, at most 400.
    pub healthy_points: Vec<Point>,
    /// What was odd in the record, by time.
    pub flags: Vec<Mark>,
    /// Lines of the log that were not used or read with a reservation.
    pub line_problems: Vec<LineProblem>,
    /// How many such lines there are, listed or not.
    pub line_problem_count: usize,
}

/// Where a curve leaves the healthy one for good.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct LeavesReport {
    /// Time since pumping began.
    pub time: Typed<TimeUnit>,
    /// Pressure there.
    pub pressure: Typed<PressureUnit>,
    /// Pressure over the healthy one at the end.
    pub factor_at_end: f64,
}

/// One explanation of the outgassing phase.
#[derive(Clone, Debug, Serialize)]
pub struct ExplanationReport {
    /// Which one.
    pub kind: ExplanationKind,
    /// The same in words.
    pub words: &'static str,
    /// Whether it fits about as well as the best.
    pub fits: bool,
    /// Information criterion above that of the best; above 10 is strong evidence against.
    pub criterion_above_best: f64,
    /// Multiple of the healthy pressure: value, low, high.
    pub factor: Option<[f64; 3]>,
    /// Pressure on top of the healthy one, at the end.
    pub extra_pressure: Option<Ranged<PressureUnit>>,
    /// That pressure times the given speed.
    pub extra_gas_load: Option<Ranged<ThroughputUnit>>,
}

/// Judges the pump-down of a request.
pub fn run(request: &Request) -> Result<Report, Vec<FieldError>> {
    let log = source(
        request,
        "log",
        request.log.as_deref(),
        request.readings.as_ref(),
    )?;
    let healthy = source(
        request,
        "healthy_log",
        request.healthy_log.as_deref(),
        request.healthy_readings.as_ref(),
    )?;
    let mut errors = FieldErrors::new();
    let volume = request
        .volume
        .and_then(|volume| errors.quantity("volume", volume));
    let speed = request
        .speed
        .and_then(|speed| errors.quantity("speed", speed));
    if log.is_none() {
        errors.refuse("log", "no log was given", "`log` or `readings`");
    }
    errors.finish()?;
    let log = log.unwrap_or_default();
    let unit = request.pressure_unit.or(log.unit);
    let mut report = judge(log, healthy, volume, speed);
    report.pressure_unit = unit;
    Ok(report)
}

fn source(
    request: &Request,
    field: &str,
    text: Option<&str>,
    columns: Option<&Columns>,
) -> Result<Option<PressureLog>, Vec<FieldError>> {
    let options = LogOptions {
        pressure_unit: request.pressure_unit,
        time_unit: request.time_unit,
    };
    match (text, columns) {
        (None, None) => Ok(None),
        (Some(text), None) => read_log(text.as_bytes(), &options)
            .map(Some)
            .map_err(|error| {
                let mut error = log_error(&error);
                if error.field == "log" {
                    field.clone_into(&mut error.field);
                }
                vec![error]
            }),
        (None, Some(columns)) => from_columns(columns, request.pressure_unit).map(Some),
        (Some(_), Some(_)) => Err(vec![FieldError::new(
            field,
            "both a log and readings were given",
            "one of the two",
        )]),
    }
}

fn judge(
    log: PressureLog,
    healthy: Option<PressureLog>,
    volume: Option<Volume>,
    speed: Option<Speed>,
) -> Report {
    let problems = log.problems.clone();
    let mut assumed = log.assumed.clone();
    assumed.push(format!(
        "pumping begins where the pressure first leaves its highest value; the volume phase is judged only above {VOLUME_PHASE_ENDS} Pa"
    ));
    assumed.push("both pump-downs were done alike: same valves, same time open, same gauges; two healthy ones differ by about 15 % (common practice, no source)".to_owned());
    let record = tidy(log);
    let healthy = healthy.map(tidy);
    let late = late_phase(&record);
    let volume_part = volume_phase(&record);
    let comparison = healthy.as_ref().map(|healthy| compare(&record, healthy));
    let mut report = Report {
        outcome: Outcome {
            assumed,
            ..Outcome::default()
        },
        reasons: Vec::new(),
        speed_over_volume_per_second: volume_part.map(|part| three(part.speed_over_volume)),
        roughing_speed: volume_part.zip(volume).map(|(part, volume)| {
            Ranged::new(
                part.speed_over_volume.scaled(1e3 * volume.cubic_metres()),
                SpeedUnit::LitrePerSecond,
            )
        }),
        roughing_speed_over_healthy: comparison
            .as_ref()
            .and_then(|comparison| comparison.volume_speed_ratio)
            .map(three),
        outgassing_exponent: late.as_ref().map(|late| three(late.exponent)),
        floor: late
            .as_ref()
            .map(|late| Ranged::new(late.floor, PressureUnit::Pascal)),
        leaves: comparison
            .as_ref()
            .and_then(|comparison| comparison.leaves)
            .map(|leaves| LeavesReport {
                time: Typed::new(leaves.seconds, TimeUnit::Second),
                pressure: Typed::new(leaves.pascals, PressureUnit::Pascal),
                factor_at_end: leaves.factor_at_end,
            }),
        explanations: comparison
            .iter()
            .flat_map(|comparison| &comparison.explanations)
            .map(|explanation| explained(explanation, speed))
            .collect(),
        pressure_unit: None,
        points: points(&record, late.as_ref()),
        healthy_points: healthy
            .as_ref()
            .map_or_else(Vec::new, |healthy| points(healthy, None)),
        flags: record.marks.clone(),
        line_problems: problems.listed,
        line_problem_count: problems.count,
    };
    if let Some(part) = volume_part
        && !(0.6..=1.6).contains(&part.later_over_earlier)
    {
        report.reasons.push(format!(
            "the speed of the volume phase is not constant: it changes by a factor of {:.2} from its earlier to its later half, so V/S is a mean",
            part.later_over_earlier
        ));
    }
    match &comparison {
        Some(comparison) => conclude(&mut report, comparison),
        None => {
            "The phases are given; without a healthy pump-down of this tool there is no verdict"
                .clone_into(&mut report.outcome.verdict);
            report
                .reasons
                .push("no healthy record was given to compare with".to_owned());
        }
    }
    report
}

fn three(interval: Interval) -> [f64; 3] {
    [interval.best, interval.low, interval.high]
}

fn explained(explanation: &Explanation, speed: Option<Speed>) -> ExplanationReport {
    let multiple = explanation.kind == ExplanationKind::LowerSpeedOrGauge;
    let extra = explanation.size.filter(|_| !multiple);
    ExplanationReport {
        kind: explanation.kind,
        words: words(explanation.kind),
        fits: explanation.fits,
        criterion_above_best: explanation.criterion_above_best,
        factor: explanation.size.filter(|_| multiple).map(three),
        extra_pressure: extra.map(|extra| Ranged::new(extra, PressureUnit::Pascal)),
        extra_gas_load: extra.zip(speed).map(|(extra, speed)| {
            Ranged::new(
                extra.scaled(speed.cubic_metres_per_second()),
                ThroughputUnit::PascalCubicMetre,
            )
        }),
    }
}

fn words(kind: ExplanationKind) -> &'static str {
    match kind {
        ExplanationKind::AsHealthy => "as the healthy pump-down",
        ExplanationKind::LowerSpeedOrGauge => "less pumping speed, or a gauge that reads high",
        ExplanationKind::SteadyLoad => "a steady gas load on top, such as a leak",
        ExplanationKind::MoreOutgassing => "more gas from inside, falling with time",
    }
}

fn conclude(report: &mut Report, comparison: &Comparison) {
    let slower_volume = comparison.volume_speed_ratio.map(|ratio| ratio.high < 0.85);
    if let Some(slower) = slower_volume {
        report.outcome.sign("pump-down-slower-volume-phase", slower);
    }
    let fitting: Vec<ExplanationKind> = comparison
        .explanations
        .iter()
        .filter(|explanation| explanation.fits)
        .map(|explanation| explanation.kind)
        .collect();
    if let Some(ratio) = comparison.volume_speed_ratio {
        report.reasons.push(format!(
            "speed in the volume phase against the healthy one: {:.2} (95 %: {:.2} to {:.2})",
            ratio.best, ratio.low, ratio.high
        ));
    }
    if let Some(leaves) = &comparison.leaves {
        report.reasons.push(format!(
            "leaves the healthy curve {:.0} min after pumping began, at {:.1e} Pa; {:.1} times the healthy pressure at the end",
            leaves.seconds / 60.0,
            leaves.pascals,
            leaves.factor_at_end
        ));
    }
    let slow_start = if slower_volume == Some(true) {
        "Pumping is slower from the start, in the roughing phase; "
    } else {
        ""
    };
    if comparison.stands_still {
        report.outcome.verdict = format!(
            "{slow_start}The reading stands still at the end, as that of a gauge at its limit: no verdict on the gas"
        );
        return;
    }
    match fitting.as_slice() {
        [] => {
            if slower_volume == Some(true) {
                report.outcome.concluded = true;
                "Pumping is slower from the start, in the roughing phase"
                    .clone_into(&mut report.outcome.verdict);
            } else {
                "The records share no outgassing phase long enough to compare"
                    .clone_into(&mut report.outcome.verdict);
            }
        }
        several if several.contains(&ExplanationKind::AsHealthy) && comparison.leaves.is_none() => {
            report.outcome.concluded = true;
            report.outcome.verdict =
                format!("{slow_start}{}", sentence(ExplanationKind::AsHealthy));
            set_signs(report, ExplanationKind::AsHealthy);
        }
        [only] => {
            report.outcome.concluded = true;
            report.outcome.verdict = format!("{slow_start}{}", sentence(*only));
            set_signs(report, *only);
        }
        several => {
            let list: Vec<&str> = several.iter().map(|kind| words(*kind)).collect();
            report.outcome.verdict = format!(
                "{slow_start}the curve does not tell: these fit alike: {}",
                list.join("; ")
            );
        }
    }
    if slower_volume == Some(true) {
        report.outcome.suggest(&[
            "roughing-pump-ultimate-check",
            "roughing-line-bore-inspection",
        ]);
    }
}

fn sentence(kind: ExplanationKind) -> &'static str {
    match kind {
        ExplanationKind::AsHealthy => {
            "In high vacuum the curve does not differ from the healthy one by more than two healthy ones do"
        }
        ExplanationKind::LowerSpeedOrGauge => {
            "Less pumping speed in high vacuum, or a gauge that reads high: the pressure is a multiple of the healthy one throughout; a second gauge tells which"
        }
        ExplanationKind::SteadyLoad => {
            "A steady gas load on top of the healthy one, such as a leak: the curve ends on a higher floor"
        }
        ExplanationKind::MoreOutgassing => {
            "More gas from inside, still falling: water, a trapped volume or new surfaces"
        }
    }
}

fn set_signs(report: &mut Report, kind: ExplanationKind) {
    let (floor, falling) = match kind {
        ExplanationKind::AsHealthy => (Some(false), Some(false)),
        ExplanationKind::SteadyLoad => (Some(true), Some(false)),
        ExplanationKind::MoreOutgassing => (Some(false), Some(true)),
        ExplanationKind::LowerSpeedOrGauge => (None, None),
    };
    for (sign, value) in [
        ("pump-down-higher-floor", floor),
        ("pump-down-slower-outgassing-phase", falling),
    ] {
        if let Some(value) = value {
            report.outcome.sign(sign, value);
        }
    }
    report.outcome.suggest(match kind {
        ExplanationKind::SteadyLoad => &["pressure-rise-test", "residual-gas-scan"],
        ExplanationKind::MoreOutgassing => {
            &["pressure-rise-test", "shields-and-deposit-inspection"]
        }
        ExplanationKind::LowerSpeedOrGauge => &["gauge-comparison", "gate-valve-opening-check"],
        ExplanationKind::AsHealthy => &[],
    });
}

/// Points against the time since pumping began.
fn points(record: &TidyRecord, late: Option<&LatePhase>) -> Vec<Point> {
    let begins = pumping_begins(record);
    let origin = record.seconds.get(begins).copied().unwrap_or(0.0);
    thinned(record.seconds.len() - begins.min(record.seconds.len()))
        .into_iter()
        .map(|index| {
            let seconds = record.seconds[begins + index];
            Point {
                seconds: seconds - origin,
                pascals: record.pascals[begins + index],
                fitted_pascals: late
                    .filter(|late| (late.between.0..=late.between.1).contains(&seconds))
                    .map(|late| late.pascals_at(seconds)),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(rate: f64, steady: f64, walls: f64) -> String {
        let mut text = "time (s);pressure (mbar)\n".to_owned();
        for row in 0..1800 {
            let time = 10.0 * row as f64;
            let scatter = 0.04 * ((row as f64 * 0.618_033_988_75).fract() - 0.5);
            let hours = (time / 3600.0f64).max(0.02);
            let pressure = 1013.0 * (-rate * time).exp() + walls / hours + 5e-8 + steady;
            text.push_str(&format!("{time};{:e}\n", pressure * (1.0 + scatter)));
        }
        text
    }

    fn request(log_now: String) -> Request {
        Request {
            log: Some(log_now),
            healthy_log: Some(log(0.02, 0.0, 2e-6)),
            volume: Some(Typed::new(500.0, VolumeUnit::Litre)),
            speed: Some(Typed::new(1000.0, SpeedUnit::LitrePerSecond)),
            ..Request::default()
        }
    }

    #[test]
    fn a_leak_raises_the_floor() {
        let report = run(&request(log(0.02, 5e-6, 2e-6))).unwrap();
        assert!(
            report.outcome.concluded,
            "{} {:?}",
            report.outcome.verdict, report.explanations
        );
        assert!(report.outcome.signs["pump-down-higher-floor"]);
        assert!(!report.outcome.signs["pump-down-slower-volume-phase"]);
        // 5e-6 mbar at 1000 L/s is 5e-3 mbar·L/s, or 5e-4 Pa·m³/s.
        let load = report.explanations[0].extra_gas_load.unwrap();
        assert!(load.low <= 5e-4 && 5e-4 <= load.high, "{load:?}");
        let speed = report.roughing_speed.unwrap();
        assert!((speed.value / 10.0 - 1.0).abs() < 0.02, "{speed:?}");
        assert!(report.points.len() <= 400 && report.healthy_points.len() <= 400);
        assert!(!serde_json::to_string(&report).unwrap().contains("safe"));
    }

    #[test]
    fn slow_roughing_and_a_healthy_end_are_told_apart() {
        let report = run(&request(log(0.01, 0.0, 2e-6))).unwrap();
        assert!(report.outcome.signs["pump-down-slower-volume-phase"]);
        let healthy = run(&request(log(0.02, 0.0, 2.1e-6))).unwrap();
        assert!(healthy.outcome.concluded, "{}", healthy.outcome.verdict);
        assert!(healthy.leaves.is_none());
    }

    #[test]
    fn without_a_healthy_record_there_is_no_verdict() {
        let mut request = request(log(0.02, 0.0, 2e-6));
        request.healthy_log = None;
        let report = run(&request).unwrap();
        assert!(!report.outcome.concluded);
        let [_, low, high] = report.outgassing_exponent.unwrap();
        assert!(low <= 1.0 && 1.0 <= high, "{low} {high}");
        assert_eq!(run(&Request::default()).unwrap_err()[0].field, "log");
        request.healthy_log = Some("what".to_owned());
        assert_eq!(run(&request).unwrap_err()[0].field, "healthy_log");
    }
}
