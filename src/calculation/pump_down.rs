//! A pump-down as a page or the API asks for it: a log and a healthy log in, phases and explanations
//! out.

use serde::{Deserialize, Serialize};

use super::log::{Columns, Source};
use super::rise::{Point, Ranged};
use super::spoken::Spoken;
use super::{FieldError, FieldErrors, Outcome, outcome::verdict_of};
use crate::vacuum::log::{
    LineProblem, LogOptions, LogReader, Mark, MarkKind, PressureLog, TidyRecord, tidy,
};
use crate::vacuum::pump_down::{
    Comparison, Course, Explanation, ExplanationKind, FloorUnseen, Interruption, LatePhase,
    NoLatePhase, SLOWER_VOLUME, Stop, VOLUME_PHASE_ENDS, begins_late, compare, holds_an_earlier,
    late_phase, pumping_begins, volume_phase, without_end,
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
    /// Unit of the healthy record's pressures, where its log gives none; `pressure_unit` unless given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub healthy_pressure_unit: Option<PressureUnit>,
    /// Where the healthy record is kept, if it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub healthy_from: Option<HealthyFrom>,
    /// Unit of pressures for which the logs give none.
    pub pressure_unit: Option<PressureUnit>,
    /// The column of the pressures in the log, by its heading or its number counted from one; the likeliest
    /// unless given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pressure_column: Option<String>,
    /// The same of the healthy record's log.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub healthy_pressure_column: Option<String>,
    /// Unit of elapsed times for which the logs give none; seconds unless given.
    pub time_unit: Option<TimeUnit>,
    /// Volume of the chamber, for the speed of the roughing phase.
    pub volume: Option<Typed<VolumeUnit>>,
    /// Pumping speed at the chamber in high vacuum, for the extra gas load.
    pub speed: Option<Typed<SpeedUnit>>,
}

/// Where a healthy record is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HealthyFrom {
    /// The incident after whose fix it was made.
    pub incident: i64,
    /// Its number as a kept calculation.
    pub calculation: i64,
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
    /// Readings at atmosphere over those of the healthy record: value, low, high.
    pub atmosphere_over_healthy: Option<[f64; 3]>,
    /// Rate at which the chamber's own air leaves in high vacuum over that of the healthy record, if
    /// both logs are fast enough to see it: value, low, high.
    pub high_vacuum_fall_over_healthy: Option<[f64; 3]>,
    /// Where the healthy record is kept, if it is.
    pub healthy_from: Option<HealthyFrom>,
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

/// What is read of a kept report, whichever version of the program made it; what it lacks is left
/// out.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct KeptPumpDown {
    /// The verdict in plain words.
    pub verdict: String,
    /// Speed over volume in the volume phase, per second: value, low, high.
    pub speed_over_volume_per_second: Option<[f64; 3]>,
    /// Exponent of the fall with time in the outgassing phase: value, low, high.
    pub outgassing_exponent: Option<[f64; 3]>,
    /// The floor.
    pub floor: Option<Ranged<PressureUnit>>,
    /// Unit in which pressures are shown.
    pub pressure_unit: Option<PressureUnit>,
    /// Points to plot.
    pub points: Vec<Point>,
}

impl KeptPumpDown {
    /// Reads a kept report; of one that cannot be read, the verdict alone.
    pub fn of(report: &serde_json::Value) -> Self {
        Self::deserialize(report).unwrap_or_else(|_| Self {
            verdict: verdict_of(report).to_owned(),
            ..Self::default()
        })
    }

    /// The floor in Pa: value, low, high.
    pub fn floor_pascals(&self) -> Option<[f64; 3]> {
        let floor = self.floor.as_ref()?;
        let per_unit = floor.unit.pascals_per_unit();
        Some([floor.value, floor.low, floor.high].map(|end| end * per_unit))
    }
}

/// The latest time both records have, in seconds of pumping, and the pressure of one there over that of
/// the other; of each the geometric mean of three points about that time. `None` where they have no
/// time in common after the first second.
pub fn level_ratio(one: &[Point], other: &[Point]) -> Option<(f64, f64)> {
    let latest = one.last()?.seconds.min(other.last()?.seconds);
    let first = one.first()?.seconds.max(other.first()?.seconds);
    if latest < first.max(1.0) {
        return None;
    }
    let level = |points: &[Point]| {
        let at = points.partition_point(|point| point.seconds < latest);
        let near = &points[at.saturating_sub(2)..(at + 1).min(points.len())];
        let sum: f64 = near.iter().map(|point| point.pascals.ln()).sum();
        (sum / near.len() as f64).exp()
    };
    let ratio = level(one) / level(other);
    (ratio.is_finite() && ratio > 0.0).then_some((latest, ratio))
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
    /// Whether it fits about as well as the best, and nothing speaks against it.
    pub fits: bool,
    /// What elsewhere in the records speaks against it.
    pub against: Option<&'static str>,
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
///
/// # Errors
/// Every field that cannot be taken.
pub fn run(request: &Request) -> Result<Report, Vec<FieldError>> {
    run_with(request, None, None)
}

/// Judges the pump-down of a request whose logs, where they arrived, were read on the way.
///
/// # Errors
/// Every field that cannot be taken.
pub fn run_with(
    request: &Request,
    arrived: Option<LogReader>,
    healthy_arrived: Option<LogReader>,
) -> Result<Report, Vec<FieldError>> {
    let options = LogOptions {
        pressure_unit: request.pressure_unit,
        time_unit: request.time_unit,
        pressure_column: request.pressure_column.as_deref(),
    };
    let mut errors = FieldErrors::new();
    if arrived.is_none() && request.log.is_none() && request.readings.is_none() {
        errors.refuse("log", "no log was given", "`log` or `readings`");
    }
    let source = Source {
        log: "log",
        readings: "readings",
        arrived,
        text: request.log.as_deref(),
        columns: request.readings.as_ref(),
        column: "pressure_column",
    };
    let log = source.read(&options, &mut errors);
    let healthy = Source {
        log: "healthy_log",
        readings: "healthy_readings",
        arrived: healthy_arrived,
        text: request.healthy_log.as_deref(),
        columns: request.healthy_readings.as_ref(),
        column: "healthy_pressure_column",
    };
    let healthy = healthy.read(
        &LogOptions {
            pressure_unit: request.healthy_pressure_unit.or(request.pressure_unit),
            pressure_column: request.healthy_pressure_column.as_deref(),
            ..options
        },
        &mut errors,
    );
    let volume = request
        .volume
        .and_then(|volume| errors.volume("volume", volume));
    let speed = request.speed.and_then(|speed| errors.speed("speed", speed));
    errors.finish()?;
    let log = log.unwrap_or_default();
    let unit = request.pressure_unit.or(log.unit);
    let given = healthy.is_some();
    let mut report = judge(log, healthy, volume, speed, unit);
    report.healthy_from = request.healthy_from.filter(|_| given);
    Ok(report)
}

fn judge(
    log: PressureLog,
    healthy: Option<PressureLog>,
    volume: Option<Volume>,
    speed: Option<Speed>,
    unit: Option<PressureUnit>,
) -> Report {
    let mut problems = log.problems.clone();
    if let Some(healthy) = &healthy {
        let of_healthy = healthy.problems.listed.iter().map(|problem| LineProblem {
            problem: format!("of the healthy pump-down: {}", problem.problem),
            ..*problem
        });
        problems.listed.extend(of_healthy);
        problems.count += healthy.problems.count;
    }
    let mut assumed = log.assumed.clone();
    let spoken = Spoken {
        pressure: unit.unwrap_or(PressureUnit::Pascal),
        ..Spoken::SI
    };
    assumed.push(format!(
        "pumping begins where the pressure first leaves its highest value; the volume phase is judged only above {}",
        spoken.pressure(VOLUME_PHASE_ENDS)
    ));
    assumed.push("both pump-downs were done alike: same valves, same time open, same gauges; two healthy ones differ by about 15 % (common practice, no source)".to_owned());
    let record = without_end(tidy(log));
    let healthy = healthy.map(|log| without_end(tidy(log)));
    let course = Course::of(&record);
    let (late, no_late) = match late_phase(&record, &course) {
        Ok(late) => (Some(late), None),
        Err(reason) => (None, Some(reason)),
    };
    let volume_part = volume_phase(&record);
    let comparison = healthy
        .as_ref()
        .map(|healthy| compare((&record, &course), (healthy, &Course::of(healthy))));
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
        atmosphere_over_healthy: comparison
            .as_ref()
            .and_then(|comparison| comparison.evidence.atmosphere)
            .map(three),
        high_vacuum_fall_over_healthy: comparison
            .as_ref()
            .and_then(|comparison| comparison.evidence.fall)
            .map(three),
        healthy_from: None,
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
        pressure_unit: unit,
        points: points(&record, late.as_ref()),
        healthy_points: healthy
            .as_ref()
            .map_or_else(Vec::new, |healthy| points(healthy, None)),
        flags: flags(&record, healthy.as_ref()),
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
    if let Some(first) = begins_late(&record) {
        report.reasons.push(format!(
            "the log begins at {} and not at atmosphere, so when pumping began is not known, and times count from its first reading{}",
            in_words(first, unit),
            if late.is_none() {
                ": no exponent of the fall and no floor are given"
            } else {
                ""
            }
        ));
    }
    if holds_an_earlier(&record) {
        report.reasons.push(
            "the log holds an earlier pump-down, and atmosphere after it; the last one is judged"
                .to_owned(),
        );
    }
    let verdict_tells = comparison
        .as_ref()
        .is_some_and(|one| one.interrupted.is_some() || one.stands_still.is_some());
    if verdict_tells
        && matches!(
            no_late,
            Some(NoLatePhase::Interrupted(_) | NoLatePhase::Stops(_))
        )
    {
        report
            .reasons
            .push("no exponent of the fall and no floor are given".to_owned());
    } else if let Some(reason) = no_late.and_then(|reason| without_exponent(reason, unit)) {
        report.reasons.push(reason);
    }
    match &comparison {
        Some(comparison) => conclude(&mut report, comparison),
        None => {
            "The phases are given; without a healthy pump-down of this tool there is no verdict"
                .clone_into(&mut report.outcome.verdict);
            report
                .reasons
                .push("no healthy record was given to compare with".to_owned());
            match no_late {
                Some(NoLatePhase::Interrupted(_)) => report.outcome.suggest(INTERRUPTED),
                Some(NoLatePhase::Stops(stop)) => suggest_for_stop(&mut report, &stop),
                Some(NoLatePhase::ChangesCourse) => {
                    report.outcome.suggest(&["turbo-health-check"]);
                }
                _ => (),
            }
            report.outcome.suggest(&["pump-down-comparison"]);
        }
    }
    report
}

/// The marks of the record, then those of the healthy one that are of readings left out as wild.
fn flags(record: &TidyRecord, healthy: Option<&TidyRecord>) -> Vec<Mark> {
    let of_healthy = healthy.into_iter().flat_map(|healthy| &healthy.marks);
    let of_healthy = of_healthy.filter(|mark| mark.kind == MarkKind::DroppedReadings);
    let named = of_healthy.map(|mark| Mark {
        words: format!("of the healthy pump-down: {}", mark.words),
        ..mark.clone()
    });
    record.marks.iter().cloned().chain(named).collect()
}

/// A pressure as it stands in the log.
fn in_words(pascals: f64, unit: Option<PressureUnit>) -> String {
    let unit = unit.unwrap_or(PressureUnit::Pascal);
    let value = pascals / unit.pascals_per_unit();
    if (0.1..1e5).contains(&value) {
        format!("{value:.1} {unit}")
    } else {
        format!("{value:.1e} {unit}")
    }
}

/// A number of times: `4.7`, `3100`.
fn times(factor: f64) -> String {
    if factor < 10.0 {
        format!("{factor:.1}")
    } else if factor < 1e5 {
        let step = 10f64.powf(factor.log10().floor() - 1.0);
        format!("{:.0}", (factor / step).round() * step)
    } else {
        format!("{factor:.1e}")
    }
}

/// Checks after a pressure that rose and fell again.
const INTERRUPTED: &[&str] = &[
    "turbo-health-check",
    "gate-valve-opening-check",
    "cryo-temperature-watch",
];

fn rose_and_fell(interruption: &Interruption) -> String {
    let (from, to) = interruption.between;
    if !interruption.is_over {
        return format!(
            "rises {} times from {:.0} min after pumping began on and does not fall again: a pump that stops or warms, a valve that shuts, gas let in, a leak that opened",
            times(interruption.factor),
            from / 60.0
        );
    }
    let often = match interruption.count {
        1 => String::new(),
        count => format!("{count} times by up to "),
    };
    let mut words = format!(
        "rose {often}{} times between {:.0} and {:.0} min after pumping began and fell again: a pump that stopped, a valve that shut, gas let in",
        times(interruption.factor),
        from / 60.0,
        to / 60.0
    );
    if interruption.count > 1 {
        words.push_str(", a pocket that gives gas in bursts");
    }
    words
}

fn stands(stop: &Stop, unit: Option<PressureUnit>) -> String {
    let at = in_words(stop.pascals, unit);
    let minutes = stop.seconds / 60.0;
    if stop.is_at_heat_loss_limit() {
        format!(
            "stands still at {at} from {minutes:.0} min after pumping began, where a heat-loss gauge that reads alone has its limit"
        )
    } else {
        format!(
            "stands still at {at} from {minutes:.0} min after pumping began, as that of a gauge at its limit, or of a logger that repeats the last it has"
        )
    }
}

fn suggest_for_stop(report: &mut Report, stop: &Stop) {
    if stop.is_at_heat_loss_limit() {
        report.outcome.suggest(&["cathode-gauge-strike-check"]);
    }
    report.outcome.suggest(&["gauge-comparison"]);
    // A dirty cathode that hardly burns stands a decade or two below that.
    if !stop.is_at_heat_loss_limit() {
        report.outcome.suggest(&["cathode-gauge-cleaning"]);
    }
}

/// Why there is no exponent, for a reason that is told nowhere else.
fn without_exponent(reason: NoLatePhase, unit: Option<PressureUnit>) -> Option<String> {
    let why = match reason {
        NoLatePhase::TooShort | NoLatePhase::BeginsLate => return None,
        NoLatePhase::Interrupted(interruption) => {
            format!("the pressure {}", rose_and_fell(&interruption))
        }
        NoLatePhase::Stops(stop) => format!("the reading {}", stands(&stop, unit)),
        NoLatePhase::ChangesCourse => {
            "the fall changes its course, as while a turbo still runs up or where gas is pumped away".to_owned()
        }
    };
    Some(format!(
        "{why}; no exponent of the fall and no floor are given"
    ))
}

fn three(interval: Interval) -> [f64; 3] {
    [interval.best, interval.low, interval.high]
}

fn explained(explanation: &Explanation, speed: Option<Speed>) -> ExplanationReport {
    let multiple = matches!(
        explanation.kind,
        ExplanationKind::LowerSpeed | ExplanationKind::GaugeScale
    );
    let extra = explanation.size.filter(|_| !multiple);
    ExplanationReport {
        kind: explanation.kind,
        words: words(explanation.kind),
        fits: explanation.fits,
        against: explanation.against,
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
        ExplanationKind::LowerSpeed => "less pumping speed in high vacuum throughout",
        ExplanationKind::GaugeScale => "a gauge or a log whose scale is off",
        ExplanationKind::SteadyLoad => {
            "a steady gas load on top, such as a leak, or a pump that slows with time"
        }
        ExplanationKind::GaugeZero => "a heat-loss gauge whose zero is off",
        ExplanationKind::MoreOutgassing => "more gas from inside, falling with time",
    }
}

fn conclude(report: &mut Report, comparison: &Comparison) {
    let slower_volume = comparison
        .volume_speed_ratio
        .map(|ratio| ratio.high < SLOWER_VOLUME);
    if let Some(slower) = slower_volume {
        report.outcome.sign("pump-down-slower-volume-phase", slower);
    }
    tell_evidence(report, comparison);
    let slow_start = slower_volume == Some(true);
    let verdict = high_vacuum_verdict(report, comparison);
    report.outcome.concluded = verdict.as_ref().is_some_and(|(_, concluded)| *concluded)
        || (slow_start && verdict.is_none());
    report.outcome.verdict = match (slow_start, verdict) {
        (true, Some((words, _))) => {
            format!(
                "Pumping is slower from the start, in the roughing phase; {}",
                uncapital(&words)
            )
        }
        (true, None) => "Pumping is slower from the start, in the roughing phase".to_owned(),
        (false, Some((words, _))) => words,
        (false, None) if !comparison.same_start => {
            "The two logs do not begin alike, so their times cannot be laid over each other: send both from atmosphere on, or both from the same pressure".to_owned()
        }
        (false, None) => "The records share no outgassing phase long enough to compare".to_owned(),
    };
    if slow_start {
        report.outcome.suggest(&[
            "roughing-pump-ultimate-check",
            "roughing-line-bore-inspection",
        ]);
    } else if report.outcome.next_checks.is_empty() && !report.outcome.concluded {
        report.outcome.suggest(&["pump-down-comparison"]);
    }
}

/// The same with a small first letter, as a clause.
fn uncapital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(letters).collect()
    })
}

/// The comparison's figures as reasons.
fn tell_evidence(report: &mut Report, comparison: &Comparison) {
    let mut tell = |what: &str, interval: Interval| {
        report.reasons.push(format!(
            "{what}: {:.2} (95 %: {:.2} to {:.2})",
            interval.best, interval.low, interval.high
        ));
    };
    if let Some(ratio) = comparison.volume_speed_ratio {
        tell("speed in the volume phase over the healthy one", ratio);
    }
    if let Some(ratio) = comparison.evidence.fall {
        tell(
            "rate at which the chamber's own air leaves in high vacuum over the healthy one",
            ratio,
        );
    }
    if let Some(level) = comparison.evidence.atmosphere {
        let off = level.low > 1.1 || level.high < 0.9;
        tell(
            if off {
                "the scale of the gauge or the unit of one log is off: readings at atmosphere over the healthy ones"
            } else {
                "readings at atmosphere over the healthy ones"
            },
            level,
        );
    }
    if let Some(leaves) = &comparison.leaves {
        report.reasons.push(format!(
            "leaves the healthy curve {:.0} min after pumping began, at {}; {} times the healthy pressure at the end",
            leaves.seconds / 60.0,
            in_words(leaves.pascals, report.pressure_unit),
            times(leaves.factor_at_end)
        ));
    }
}

/// What stands against any verdict on the gas: a record that is interrupted, or that stands at a gauge's limit.
fn no_pump_down(report: &mut Report, comparison: &Comparison) -> Option<String> {
    let unit = report.pressure_unit;
    if let Some(interruption) = &comparison.interrupted {
        report.outcome.suggest(INTERRUPTED);
        return Some(format!(
            "The pressure {}; no verdict on the gas",
            rose_and_fell(interruption)
        ));
    }
    if let Some(interruption) = &comparison.healthy_interrupted {
        report.outcome.suggest(&["pump-down-comparison"]);
        return Some(format!(
            "In the healthy record the pressure {}; no verdict on the gas: compare with another healthy record",
            rose_and_fell(interruption)
        ));
    }
    if let Some(stop) = &comparison.stands_still {
        suggest_for_stop(report, stop);
        return Some(format!(
            "The reading {}; no verdict on the gas",
            stands(stop, unit)
        ));
    }
    if let Some(stop) = &comparison.healthy_stands_still {
        suggest_for_stop(report, stop);
        return Some(format!(
            "In the healthy record the reading {}; no verdict on the gas: compare with another healthy record",
            stands(stop, unit)
        ));
    }
    None
}

/// The verdict on the outgassing phase and whether it is one, with its signs and next checks; none
/// where the records share no such phase.
fn high_vacuum_verdict(report: &mut Report, comparison: &Comparison) -> Option<(String, bool)> {
    use ExplanationKind::{
        AsHealthy, GaugeScale, GaugeZero, LowerSpeed, MoreOutgassing, SteadyLoad,
    };
    if let Some(words) = no_pump_down(report, comparison) {
        return Some((words, false));
    }
    if comparison.explanations.is_empty() {
        return None;
    }
    let fitting: Vec<&Explanation> = comparison
        .explanations
        .iter()
        .filter(|explanation| explanation.fits)
        .collect();
    let mut kinds: Vec<ExplanationKind> = fitting.iter().map(|one| one.kind).collect();
    if kinds.contains(&AsHealthy) && comparison.leaves.is_none() {
        kinds = vec![AsHealthy];
    }
    // A cathode that struck late explains why the reading stood above.
    let struck_late = comparison
        .rested
        .filter(|_| comparison.came_back.is_some() && kinds == [AsHealthy]);
    if let Some((stop, until)) = struck_late {
        report
            .outcome
            .suggest(&["cathode-gauge-strike-check", "gauge-comparison"]);
        return Some((
            format!(
                "The curve ends as the healthy one, but the reading {} to {:.0} min: as where a cathode struck late; what the pressure was meanwhile is not known, so no verdict",
                stands(&stop, report.pressure_unit),
                until / 60.0
            ),
            false,
        ));
    }
    // What is fitted is the end of a curve that was another before.
    if let (Some(before), [AsHealthy | GaugeScale]) = (&comparison.came_back, kinds.as_slice()) {
        report.outcome.suggest(&[
            "gate-valve-opening-check",
            "turbo-health-check",
            "pressure-rise-test",
        ]);
        let end = if kinds == [AsHealthy] {
            "ends as the healthy one"
        } else {
            "does not end as a multiple of the healthy one"
        };
        return Some((
            format!(
                "The curve {end}, but stood up to {} times above it from {:.0} to {:.0} min after pumping began: no verdict; a valve that was not open, a turbo that took longer to run up, gas that was pumped away, or something mended meanwhile",
                times(before.factor),
                before.between.0 / 60.0,
                before.between.1 / 60.0
            ),
            false,
        ));
    }
    if kinds == [MoreOutgassing] && comparison.leaves.is_none() {
        report.outcome.suggest(&["turbo-health-check"]);
        return Some((
            "The pressure falls more slowly at first and ends as the healthy one: a turbo that takes longer to run up, or gas that was pumped away; no verdict on the gas".to_owned(),
            false,
        ));
    }
    if let (Some(unseen), [AsHealthy]) = (&comparison.floor_unseen, kinds.as_slice()) {
        return Some((does_not_tell_the_floor(report, unseen), false));
    }
    set_signs(report, &kinds);
    for kind in &kinds {
        report.outcome.suggest(checks(*kind));
    }
    let below = fitting
        .iter()
        .any(|one| one.kind == GaugeScale && one.size.is_some_and(|size| size.high < 1.0));
    Some(match kinds.as_slice() {
        [AsHealthy] => (
            "In high vacuum the curve does not differ from the healthy one by more than two healthy ones do".to_owned(),
            true,
        ),
        [LowerSpeed] => (
            "Less pumping speed in high vacuum: the pressure is a multiple of the healthy one throughout, and the chamber's own air leaves more slowly".to_owned(),
            true,
        ),
        [GaugeScale] if below => (
            "The pressure is below the healthy one throughout: less gas than then, or a gauge that reads low".to_owned(),
            false,
        ),
        [GaugeScale] => (
            "A gauge or a log whose scale is off: the reading is a multiple of the healthy one throughout, and what tells the speed has not changed".to_owned(),
            true,
        ),
        [SteadyLoad] => (
            "A steady gas load on top of the healthy one, such as a leak, or a pump that slows with time, as one that fills: the curve ends on a higher floor; a pressure-rise test tells which".to_owned(),
            true,
        ),
        [GaugeZero] => (
            "A heat-loss gauge whose zero is off: the curve ends on a higher floor".to_owned(),
            true,
        ),
        [MoreOutgassing] => (
            "More gas from inside, still falling: water, a trapped volume or new surfaces".to_owned(),
            true,
        ),
        [LowerSpeed, GaugeScale] => (
            "Less pumping speed in high vacuum or a gauge that reads high, and these readings do not tell which: the pressure is a multiple of the healthy one throughout; a second gauge tells".to_owned(),
            false,
        ),
        [SteadyLoad, GaugeZero] => (
            "A steady gas load such as a leak, or a heat-loss gauge whose zero is off, or a pump that slows with time, and these readings do not tell which: the curve ends on a higher floor; the gauge's zero and a pressure-rise test tell".to_owned(),
            false,
        ),
        [] => (
            "Nothing known here fits the curve and the rest of the record together".to_owned(),
            false,
        ),
        several => {
            let list: Vec<&str> = several.iter().map(|kind| words(*kind)).collect();
            (
                format!(
                    "The curve does not tell: these fit alike: {}",
                    list.join(", ")
                ),
                false,
            )
        }
    })
}

/// A curve that is as the healthy one as far as it goes, which ends before a floor could show.
fn does_not_tell_the_floor(report: &mut Report, unseen: &FloorUnseen) -> String {
    report.outcome.suggest(&["pump-down-comparison"]);
    format!(
        "Up to {:.0} min after pumping began the curve does not differ from the healthy one by more than two healthy ones do, but a floor of up to {} would not show yet: no verdict on the gas; let it pump for {:.0} min, as long as the healthy record",
        unseen.until / 60.0,
        in_words(unseen.up_to, report.pressure_unit),
        unseen.healthy_until / 60.0
    )
}

/// Sets the signs on which all explanations that fit agree.
fn set_signs(report: &mut Report, kinds: &[ExplanationKind]) {
    let answers = |kind: &ExplanationKind| match kind {
        ExplanationKind::AsHealthy => (Some(false), Some(false)),
        ExplanationKind::SteadyLoad | ExplanationKind::GaugeZero => (Some(true), Some(false)),
        ExplanationKind::MoreOutgassing => (Some(false), Some(true)),
        ExplanationKind::LowerSpeed | ExplanationKind::GaugeScale => (None, None),
    };
    let Some((first, rest)) = kinds.split_first() else {
        return;
    };
    let (floor, falling) = rest.iter().fold(answers(first), |(floor, falling), kind| {
        let (also_floor, also_falling) = answers(kind);
        (
            floor.filter(|_| floor == also_floor),
            falling.filter(|_| falling == also_falling),
        )
    });
    for (sign, value) in [
        ("pump-down-higher-floor", floor),
        ("pump-down-slower-outgassing-phase", falling),
    ] {
        if let Some(value) = value {
            report.outcome.sign(sign, value);
        }
    }
}

/// The checks that an explanation leads to.
fn checks(kind: ExplanationKind) -> &'static [&'static str] {
    match kind {
        ExplanationKind::AsHealthy => &[],
        ExplanationKind::LowerSpeed => &[
            "gate-valve-opening-check",
            "cryo-temperature-watch",
            "turbo-health-check",
        ],
        ExplanationKind::GaugeScale => &["gauge-comparison"],
        ExplanationKind::SteadyLoad => &[
            "pressure-rise-test",
            "residual-gas-scan",
            "cryo-temperature-watch",
        ],
        ExplanationKind::GaugeZero => &["gauge-zero-check"],
        ExplanationKind::MoreOutgassing => {
            &["pressure-rise-test", "shields-and-deposit-inspection"]
        }
    }
}

/// Points against the time since pumping began, closer to each other the earlier they are.
fn points(record: &TidyRecord, late: Option<&LatePhase>) -> Vec<Point> {
    let begins = pumping_begins(record);
    let origin = record.seconds.get(begins).copied().unwrap_or(0.0);
    thinned(record.seconds.get(begins..).unwrap_or_default())
        .into_iter()
        .map(|index| {
            let seconds = record.seconds[begins + index];
            Point {
                seconds: seconds - origin,
                pascals: record.pascals[begins + index],
                fitted_pascals: late.and_then(|late| late.pascals_at(seconds)),
            }
        })
        .collect()
}

/// The most points that are shown.
const SHOWN: usize = 400;

/// Places of at most [`SHOWN`] readings, even in the logarithm of the time since the first; all of a short record.
fn thinned(seconds: &[f64]) -> Vec<usize> {
    let (Some(first), Some(last)) = (seconds.first(), seconds.last()) else {
        return Vec::new();
    };
    if seconds.len() <= SHOWN {
        return (0..seconds.len()).collect();
    }
    // A thousandth of the record is as wide as one of the later steps.
    let unit = ((last - first) / 1000.0).max(1e-9);
    let width = ((last - first) / unit).ln_1p().max(1e-9) / (SHOWN - 2) as f64;
    let mut before = -1.0;
    let mut places: Vec<usize> = Vec::with_capacity(SHOWN);
    for (index, time) in seconds.iter().enumerate() {
        let here = (((time - first) / unit).ln_1p() / width).floor();
        if here > before {
            before = here;
            places.push(index);
        }
    }
    if places.last() != Some(&(seconds.len() - 1)) {
        places.push(seconds.len() - 1);
    }
    places.truncate(SHOWN);
    places
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

    /// The readings of a log from a time on, with the times as they stand in it.
    fn from(log: &str, seconds: f64) -> String {
        let late = |line: &&str| {
            let time = line.split(';').next().and_then(|time| time.parse().ok());
            time.is_none_or(|time: f64| time >= seconds)
        };
        log.lines().filter(late).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn a_log_that_begins_in_high_vacuum_is_not_laid_over_one_from_atmosphere() {
        for start in [1100.0, 2000.0] {
            let mut late = request(from(&log(0.02, 5e-6, 2e-6), start));
            let report = run(&late).unwrap();
            assert!(!report.outcome.concluded, "{}", report.outcome.verdict);
            assert!(report.explanations.is_empty() && report.leaves.is_none());
            assert!(report.outgassing_exponent.is_none() && report.floor.is_none());
            assert!(
                report.outcome.signs.is_empty(),
                "{:?}",
                report.outcome.signs
            );
            assert!(report.reasons[0].contains("when pumping began is not known"));
            // Nor is a whole one over a healthy one that begins late.
            late.healthy_log = late.log.replace(log(0.02, 5e-6, 2e-6));
            assert!(!run(&late).unwrap().outcome.concluded);
        }
        // Both from about the same pressure on: times count from there.
        let mut both = request(from(&log(0.02, 5e-6, 2e-6), 700.0));
        both.healthy_log = both.healthy_log.map(|healthy| from(&healthy, 700.0));
        let report = run(&both).unwrap();
        assert!(
            report.outcome.signs["pump-down-higher-floor"],
            "{}",
            report.outcome.verdict
        );
    }

    /// What the sentences and the log say of one pressure is in one unit.
    #[test]
    fn reasons_speak_in_the_unit_of_the_log() {
        let report = run(&request(log(0.02, 5e-6, 2e-6))).unwrap();
        let leaves = report
            .reasons
            .iter()
            .find(|one| one.contains("leaves the healthy"));
        assert!(leaves.unwrap().contains(" mbar;"), "{leaves:?}");
    }

    /// One reading of atmosphere in high vacuum does not move the start, in either record.
    #[test]
    fn a_wild_reading_is_left_out_with_a_mark() {
        let wild = |log: String, row: usize, value: &str| {
            let line = |(at, line): (usize, &str)| match line.split_once(';') {
                Some((time, _)) if at == row => format!("{time};{value}"),
                _ => line.to_owned(),
            };
            // With an end of its own, or the last line may have been cut.
            log.lines()
                .enumerate()
                .map(|numbered| line(numbered) + "\n")
                .collect::<String>()
        };
        for row in [400, 900, 1600, 1800] {
            for value in ["1000", "9.9e9", "1e-3"] {
                let now = wild(log(0.02, 5e-6, 2e-6), row, value);
                let leak = run(&request(now)).unwrap();
                assert!(
                    leak.outcome.signs["pump-down-higher-floor"],
                    "{row} {value} {}",
                    leak.outcome.verdict
                );
                let line =
                    |mark: &Mark| mark.words.contains("not used") && mark.line == row as u32 + 1;
                assert!(leak.flags.iter().any(line), "{:?}", leak.flags);
                let [_, low, high] = leak.outgassing_exponent.unwrap();
                assert!(low <= 1.0 && 1.0 <= high, "{low} {high}");
                let mut other = request(log(0.02, 0.0, 2e-6));
                other.healthy_log = other.healthy_log.map(|log| wild(log, row, value));
                let healthy = run(&other).unwrap();
                assert_eq!(healthy.explanations[0].kind, ExplanationKind::AsHealthy);
                assert!(
                    healthy
                        .flags
                        .iter()
                        .any(|mark| mark.words.starts_with("of the healthy"))
                );
            }
        }
        // The venting after it, and a gauge that was switched off.
        for end in ["1013", "1e-9"] {
            let mut now = log(0.02, 5e-6, 2e-6);
            for row in 0..60 {
                now.push_str(&format!("{};{end}\n", 18_000 + 10 * row));
            }
            let leak = run(&request(now)).unwrap();
            assert!(
                leak.outcome.signs["pump-down-higher-floor"],
                "{}",
                leak.outcome.verdict
            );
            let left_out = |mark: &Mark| mark.words.contains("not used");
            assert!(leak.flags.iter().any(left_out), "{:?}", leak.flags);
        }
    }

    /// The first reading of a log that was dropped moves the start by ten seconds, which matters little.
    #[test]
    fn a_dropped_first_reading_does_not_part_the_records() {
        let now = log(0.02, 5e-6, 2e-6);
        let dropped = request(from(&now, 20.0));
        let report = run(&dropped).unwrap();
        assert!(
            report.outcome.signs["pump-down-higher-floor"],
            "{}",
            report.outcome.verdict
        );
        assert!(report.outgassing_exponent.is_none());
    }

    #[test]
    fn an_earlier_pump_down_in_the_log_is_told() {
        let earlier = log(0.02, 0.0, 2e-6);
        let mut both = earlier.clone();
        for line in log(0.02, 5e-6, 2e-6).lines().skip(1) {
            let (time, pressure) = line.split_once(';').unwrap();
            let time: f64 = time.parse().unwrap();
            both.push_str(&format!("{};{pressure}\n", time + 18_000.0));
        }
        let report = run(&request(both)).unwrap();
        assert!(
            report.outcome.signs["pump-down-higher-floor"],
            "{}",
            report.outcome.verdict
        );
        assert!(
            report
                .reasons
                .iter()
                .any(|one| one.contains("an earlier pump-down"))
        );
        let alone = run(&request(earlier)).unwrap();
        assert!(
            !alone
                .reasons
                .iter()
                .any(|one| one.contains("an earlier pump-down"))
        );
    }

    /// Each verdict that is none names what was seen, and what to do next.
    #[test]
    fn a_record_that_is_no_pump_down_is_given_no_verdict() {
        let changed = |change: &dyn Fn(f64, f64) -> f64| {
            let line = |line: &str| match line.split_once(';') {
                Some((time, pressure)) if time != "time (s)" => {
                    let (time, pressure) = (time.parse().unwrap(), pressure.parse().unwrap());
                    format!("{time};{:e}", change(time, pressure))
                }
                _ => line.to_owned(),
            };
            let lines: Vec<_> = log(0.02, 0.0, 2e-6).lines().map(line).collect();
            lines.join("\n")
        };
        let scatter = |time: f64| 1.0 + 0.02 * (time / 70.0).sin();
        let stopped = changed(&|time, pressure| match time {
            7200.0..7900.0 => 7e-3,
            _ => pressure,
        });
        let low = changed(&|time, pressure| pressure.max(1.2e-6 * scatter(time)));
        // As where a turbo pump takes the rest of the air between two readings.
        let heat_loss = changed(&|time, pressure| {
            if time < 400.0 {
                pressure
            } else {
                6e-4 * scatter(time)
            }
        });
        for (log, words, check) in [
            (stopped, "ressure rose", "turbo-health-check"),
            (
                low,
                "reading stands still at 1.2e-6 mbar",
                "gauge-comparison",
            ),
            (
                heat_loss,
                "where a heat-loss gauge",
                "cathode-gauge-strike-check",
            ),
        ] {
            let now = run(&request(log.clone())).unwrap();
            assert!(!now.outcome.concluded, "{}", now.outcome.verdict);
            assert!(
                now.outcome.verdict.contains(words),
                "{}",
                now.outcome.verdict
            );
            assert!(
                now.outcome.next_checks.iter().any(|one| one == check),
                "{words}"
            );
            assert!(now.outgassing_exponent.is_none() && now.floor.is_none());
            assert!(!now.outcome.signs.contains_key("pump-down-higher-floor"));
            let mut then = request(self::log(0.02, 0.0, 2e-6));
            then.healthy_log = Some(log.clone());
            let then = run(&then).unwrap();
            assert!(!then.outcome.concluded, "{}", then.outcome.verdict);
            assert!(
                then.outcome
                    .verdict
                    .starts_with("In the healthy record the")
            );
            let mut alone = request(log);
            alone.healthy_log = None;
            let alone = run(&alone).unwrap();
            assert!(
                alone.reasons.iter().any(|one| one.contains(words)),
                "{:?}",
                alone.reasons
            );
            assert!(
                alone.outcome.next_checks.iter().any(|one| one == check),
                "{words}"
            );
        }
    }

    /// The table beside the plot goes by these.
    #[test]
    fn points_show_the_volume_phase() {
        let report = run(&request(log(0.02, 0.0, 2e-6))).unwrap();
        let early = report.points.iter().filter(|point| point.seconds < 900.0);
        assert!(early.count() >= 60, "{}", report.points.len());
        assert!(report.points.len() <= SHOWN);
        assert!(report.points.last().unwrap().seconds >= 17_980.0);
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
