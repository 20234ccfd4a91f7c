//! The pressure-rise test as a page or the API asks for it: a log in, leak and outgassing out.

use serde::{Deserialize, Serialize};

use super::healthy_rise::{Healthy, HealthyRise, held_against};
use super::log::{Columns, Source};
use super::{FieldError, FieldErrors, Outcome, outcome::verdict_of};
use crate::vacuum::gas::Gas;
use crate::vacuum::gas_load::base_pressure;
use crate::vacuum::leak::equivalent_diameter;
use crate::vacuum::log::{LineProblem, LogOptions, LogReader, Mark, PressureLog, TidyRecord, tidy};
use crate::vacuum::rise::{Doubt, Interval, RiseShape, RiseTest, RiseVerdict, Weighed, examine};
use crate::vacuum::units::{
    LengthUnit, Pressure, PressureUnit, Seconds, Speed, SpeedUnit, Temperature, Throughput,
    ThroughputUnit, TimeUnit, Typed, Volume, VolumeUnit,
};

/// A pressure-rise test.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Request {
    /// The text of the log; or give `readings`.
    pub log: Option<String>,
    /// The readings in columns; or give `log`.
    pub readings: Option<Columns>,
    /// Unit of pressures for which the log gives none.
    pub pressure_unit: Option<PressureUnit>,
    /// Unit of elapsed times for which the log gives none; seconds unless given.
    pub time_unit: Option<TimeUnit>,
    /// Volume that was sealed; without it there are no rates.
    pub volume: Option<Typed<VolumeUnit>>,
    /// Pumping speed at the chamber, for the base pressure that a leak would cause.
    pub speed: Option<Typed<SpeedUnit>>,
    /// How long the chamber had been pumped before the valve closed.
    pub pumped_for: Option<Typed<TimeUnit>>,
    /// Whether the gauge is a cold cathode left on, which pumps; no unless given.
    #[serde(default)]
    pub cold_cathode_left_on: bool,
    /// The gas load of the same tool when it was healthy; a test attached to an incident takes the
    /// newest kept one of its tool that was made after a fix.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub healthy: Option<HealthyRise>,
}

/// A value with the 95 % interval around it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ranged<U> {
    /// The likeliest value.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Unit of the three.
    pub unit: U,
}

impl<U> Ranged<U> {
    /// Puts a unit to an interval.
    pub fn new(interval: Interval, unit: U) -> Self {
        Self {
            value: interval.best,
            low: interval.low,
            high: interval.high,
            unit,
        }
    }
}

/// What a pressure-rise test says.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// Verdict, assumptions, signs, next checks and cautions.
    #[serde(flatten)]
    pub outcome: Outcome,
    /// The verdict as a word.
    pub conclusion: RiseVerdict,
    /// Its reasons, or those against one.
    pub reasons: Vec<String>,
    /// Whole rise times volume over time.
    pub gas_load: Option<Ranged<ThroughputUnit>>,
    /// Steady inflow, mean over the test.
    pub leak_rate: Option<Ranged<ThroughputUnit>>,
    /// Gas from inside, mean over the test.
    pub outgassing_rate: Option<Ranged<ThroughputUnit>>,
    /// The steady inflow's share of the rise, 0 to 1: value, low, high.
    pub leak_share: Option<[f64; 3]>,
    /// Rise by the steady inflow in Pa/s: value, low, high.
    pub leak_pascals_per_second: Option<[f64; 3]>,
    /// The round opening that would pass the leak from air at 20 °C and one atmosphere. A measure of
    /// size, not the hole.
    pub equivalent_orifice: Option<Ranged<LengthUnit>>,
    /// Base pressure this leak alone would cause at the given speed.
    pub base_pressure_of_leak: Option<Ranged<PressureUnit>>,
    /// Each shape that was weighed, best first.
    pub shapes: Vec<ShapeReport>,
    /// Scatter of a reading about the fit, in percent.
    pub scatter_percent: Option<f64>,
    /// Slow drift of the gauge allowed for, in percent.
    pub drift_percent: Option<f64>,
    /// Readings' worth of independent scatter.
    pub effective_readings: Option<f64>,
    /// Readings used, and read.
    pub readings_used: usize,
    /// Readings in the log.
    pub readings: usize,
    /// Time over which the used readings run.
    pub used_seconds: [f64; 2],
    /// Whether the record is sound enough for its gas load to be held against another test's: there
    /// is one, and no doubt but of the shape.
    pub comparable: bool,
    /// Unit in which pressures are shown: as chosen, else that of the log's first reading.
    pub pressure_unit: Option<PressureUnit>,
    /// Points to plot, at most 400, with the fitted pressure where there is one.
    pub points: Vec<Point>,
    /// What was odd in the record, by time.
    pub flags: Vec<Mark>,
    /// Lines of the log that were not used or read with a reservation.
    pub line_problems: Vec<LineProblem>,
    /// How many such lines there are, listed or not.
    pub line_problem_count: usize,
}

/// One shape.
#[derive(Clone, Debug, Serialize)]
pub struct ShapeReport {
    /// The shape.
    pub shape: RiseShape,
    /// The same in words.
    pub words: &'static str,
    /// Information criterion above that of the best shape; above 10 is strong evidence against.
    pub criterion_above_best: f64,
    /// Time constant of the flattening part.
    pub time_constant: Option<Typed<TimeUnit>>,
    /// Exponent of the power law.
    pub exponent: Option<f64>,
}

/// One point of the plot.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// Seconds from the first reading.
    pub seconds: f64,
    /// Reading in Pa.
    pub pascals: f64,
    /// Fitted pressure in Pa.
    pub fitted_pascals: Option<f64>,
}

/// What is read of a kept report, whichever version of the program made it; what it lacks is left
/// out.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct KeptRise {
    /// The verdict in plain words.
    pub verdict: String,
    /// Whole rise times volume over time.
    pub gas_load: Option<Ranged<ThroughputUnit>>,
    /// Steady inflow.
    pub leak_rate: Option<Ranged<ThroughputUnit>>,
    /// Gas from inside.
    pub outgassing_rate: Option<Ranged<ThroughputUnit>>,
    /// Time over which the used readings run.
    pub used_seconds: [f64; 2],
    /// Whether its gas load may be held against another's.
    pub comparable: bool,
    /// Unit in which pressures are shown.
    pub pressure_unit: Option<PressureUnit>,
    /// Points to plot.
    pub points: Vec<Point>,
}

impl KeptRise {
    /// Reads a kept report; of one that cannot be read, the verdict alone.
    pub fn of(report: &serde_json::Value) -> Self {
        Self::deserialize(report).unwrap_or_else(|_| Self {
            verdict: verdict_of(report).to_owned(),
            ..Self::default()
        })
    }
}

/// The most points of a plot.
pub const MOST_POINTS: usize = 400;

/// Judges the test of a request.
///
/// # Errors
/// Every field that cannot be taken.
pub fn run(request: &Request) -> Result<Report, Vec<FieldError>> {
    run_with(request, None)
}

/// Judges the test of a request whose log, if it `arrived`, was read on the way.
///
/// # Errors
/// Every field that cannot be taken.
pub fn run_with(request: &Request, arrived: Option<LogReader>) -> Result<Report, Vec<FieldError>> {
    let options = LogOptions {
        pressure_unit: request.pressure_unit,
        time_unit: request.time_unit,
    };
    let mut errors = FieldErrors::new();
    if arrived.is_none() && request.log.is_none() && request.readings.is_none() {
        errors.refuse(
            "log",
            "neither a log nor readings were given",
            "`log` with the text of the log, or `readings` with columns",
        );
    }
    let source = Source {
        log: "log",
        readings: "readings",
        arrived,
        text: request.log.as_deref(),
        columns: request.readings.as_ref(),
    };
    let log = source.read(&options, &mut errors);
    let given = Given {
        volume: request
            .volume
            .and_then(|volume| errors.quantity("volume", volume)),
        speed: request.speed.and_then(|speed| errors.speed("speed", speed)),
        pumped_for: request
            .pumped_for
            .and_then(|time| errors.quantity("pumped_for", time)),
        healthy: request
            .healthy
            .and_then(|healthy| healthy.checked(&mut errors)),
    };
    errors.finish()?;
    Ok(judge(request, log.unwrap_or_default(), &given))
}

/// At most [`MOST_POINTS`] indices spread over `count` readings, the ends included.
pub(super) fn thinned(count: usize) -> Vec<usize> {
    if count <= MOST_POINTS {
        return (0..count).collect();
    }
    (0..MOST_POINTS)
        .map(|point| point * (count - 1) / (MOST_POINTS - 1))
        .collect()
}

struct Given {
    volume: Option<Volume>,
    speed: Option<Speed>,
    pumped_for: Option<Seconds>,
    healthy: Option<Healthy>,
}

fn judge(request: &Request, log: PressureLog, given: &Given) -> Report {
    let readings = log.seconds.len();
    let problems = log.problems.clone();
    let mut assumed = log.assumed.clone();
    let unit = request.pressure_unit.or(log.unit);
    let record = tidy(log);
    let test = examine(&record, request.cold_cathode_left_on);
    assumed.extend(assumptions(given, &test));
    let mut report = Report {
        outcome: Outcome {
            assumed,
            ..Outcome::default()
        },
        conclusion: test.verdict,
        reasons: test.doubts.iter().map(ToString::to_string).collect(),
        gas_load: None,
        leak_rate: None,
        outgassing_rate: None,
        leak_share: None,
        leak_pascals_per_second: None,
        equivalent_orifice: None,
        base_pressure_of_leak: None,
        shapes: Vec::new(),
        scatter_percent: None,
        drift_percent: None,
        effective_readings: None,
        readings_used: test.readings,
        readings,
        used_seconds: [test.used.0, test.used.1],
        comparable: false,
        pressure_unit: unit,
        points: points(&record, &test),
        flags: test.marks.clone(),
        line_problems: problems.listed,
        line_problem_count: problems.count,
    };
    if let Some(weighed) = &test.weighed {
        fill(&mut report, weighed, given);
    }
    let doubt = steady_outgassing(&report, given);
    if doubt.is_some() {
        report.conclusion = RiseVerdict::CannotTell;
    }
    conclude(&mut report);
    if let Some(doubt) = doubt {
        report.reasons.push(doubt);
    }
    report.comparable = report.gas_load.is_some()
        && test
            .doubts
            .iter()
            .all(|doubt| matches!(doubt, Doubt::Alike { .. } | Doubt::LittleRise { .. }));
    compare(&mut report, given.healthy.as_ref());
    report
}

/// Holds the rise against that of the healthy tool, and sets the sign where that tells.
fn compare(report: &mut Report, healthy: Option<&Healthy>) {
    let (Some(load), Some(healthy), true) = (&report.gas_load, healthy, report.comparable) else {
        return;
    };
    let seconds = report.used_seconds[1] - report.used_seconds[0];
    let (as_healthy, words) = held_against(load, seconds, healthy);
    report.reasons.push(words);
    if let Some(as_healthy) = as_healthy {
        report.outcome.sign("rise-as-healthy", as_healthy);
    }
}

fn assumptions(given: &Given, test: &RiseTest) -> Vec<String> {
    let mut assumed = vec![
        "readings err by a share of their value, with scatter and a slow drift; a drift of about 2 %, a steady change of gain of 2.2 % and a swing of 1 % (standard deviations) over the test are allowed for even where the record shows none (common practice, no source)".to_owned(),
        format!(
            "gas from inside that takes longer than the test ({:.0} min) to slow counts as a leak would: shape alone cannot tell them apart",
            (test.used.1 - test.used.0) / 60.0
        ),
        "all valves to pumps and gas lines were shut, and the gauge reads air or nitrogen".to_owned(),
    ];
    if given.volume.is_none() {
        assumed.push("no volume was given, so there are no rates".to_owned());
    }
    if given.pumped_for.is_none() {
        assumed.push(
            "the time of pumping before the test was not given: after many hours wet walls give gas off so steadily that the rise is straight; compare with a rise of this tool when it was healthy".to_owned(),
        );
    }
    assumed
}

fn fill(report: &mut Report, weighed: &Weighed, given: &Given) {
    let per_second = |interval: Interval| interval.scaled(weighed.length.recip());
    let leak = per_second(weighed.straight);
    report.leak_pascals_per_second = Some([leak.best, leak.low, leak.high]);
    let share = weighed.share;
    report.leak_share = Some([share.best, share.low, share.high]);
    report.scatter_percent = Some(100.0 * weighed.scatter);
    report.drift_percent = Some(100.0 * weighed.drift);
    report.effective_readings = Some(weighed.effective_count);
    let lowest = weighed.shapes[0].criterion;
    report.shapes = weighed
        .shapes
        .iter()
        .map(|fit| ShapeReport {
            shape: fit.shape,
            words: fit.shape.words(),
            criterion_above_best: fit.criterion - lowest,
            time_constant: fit
                .time_constant
                .map(|time| Typed::new(time, TimeUnit::Second)),
            exponent: fit.power.map(|(exponent, _)| exponent),
        })
        .collect();
    let Some(volume) = given.volume else {
        return;
    };
    let rate = |interval: Interval| per_second(interval).scaled(volume.cubic_metres());
    let unit = ThroughputUnit::PascalCubicMetre;
    report.gas_load = Some(Ranged::new(rate(weighed.rise), unit));
    report.leak_rate = Some(Ranged::new(rate(weighed.straight), unit));
    report.outgassing_rate = Some(Ranged::new(rate(weighed.slowing), unit));
    let leak = rate(weighed.straight);
    report.equivalent_orifice = orifice(leak);
    if let Some(speed) = given.speed {
        report.base_pressure_of_leak = base_of(leak, speed);
        if report.base_pressure_of_leak.is_none() {
            report.outcome.assumed.push(
                "no base pressure is given for this leak: it would be above 1 Pa, where a high-vacuum pump's speed is no longer constant"
                    .to_owned(),
            );
        }
    }
}

/// The pressure that a leak, Pa·m³/s, causes at this speed; none above the range of the formula.
fn base_of(leak: Interval, speed: Speed) -> Option<Ranged<PressureUnit>> {
    let pascals = |rate: f64| {
        let rate = Throughput::from_pascal_cubic_metres_per_second(rate).ok()?;
        Some(base_pressure(rate, speed).ok()?.pascals())
    };
    Some(Ranged {
        value: pascals(leak.best)?,
        low: pascals(leak.low)?,
        high: pascals(leak.high)?,
        unit: PressureUnit::Pascal,
    })
}

/// Equivalent opening in micrometres; none where the likeliest leak is too small for the formula. The
/// lower end is zero where that of the leak is.
fn orifice(leak: Interval) -> Option<Ranged<LengthUnit>> {
    let outside = Pressure::from_pascals(101_325.0).ok()?;
    let diameter = |rate: f64| {
        let rate = Throughput::from_pascal_cubic_metres_per_second(rate).ok()?;
        let diameter = equivalent_diameter(rate, outside, Gas::Air, Temperature::ROOM).ok()?;
        Some(diameter.metres() * 1e6)
    };
    Some(Ranged {
        value: diameter(leak.best)?,
        low: diameter(leak.low).unwrap_or(0.0),
        high: diameter(leak.high)?,
        unit: LengthUnit::Micrometre,
    })
}

/// Water given off by unbaked metal after one hour of pumping, in Pa·m³/s per m²; it falls as the
/// time of pumping (Chiggiato, arXiv:1404.0960, from memory: 3e-9 mbar·L/s per cm²).
const WET_METAL: f64 = 3e-6;
/// How much more the surfaces of a fitted chamber may give: rough shields, seals, spread of data.
const MORE: f64 = 30.0;

/// Why a straight rise may be steady outgassing: after long pumping, and no larger than walls give.
fn steady_outgassing(report: &Report, given: &Given) -> Option<String> {
    if !matches!(
        report.conclusion,
        RiseVerdict::Leak | RiseVerdict::LeakAndOutgassing
    ) {
        return None;
    }
    let (pumped, volume, leak) = (given.pumped_for?, given.volume?, report.leak_rate?);
    let length = report.used_seconds[1] - report.used_seconds[0];
    if pumped.seconds() < 2.0 * length {
        return None;
    }
    let hours = pumped.seconds() / 3600.0;
    // The surface of a cube of this volume.
    let area = 6.0 * volume.cubic_metres().powf(2.0 / 3.0);
    let walls = MORE * WET_METAL * area / hours.max(0.1);
    (leak.low < walls).then(|| {
        format!(
            "the rise is straight, but after {hours:.1} h of pumping wet walls give gas off as steadily, and they may give up to {:.1e} mbar·L/s here: compare with a rise of this tool when it was healthy, or look for nitrogen and argon in a mass spectrum",
            10.0 * walls
        )
    })
}

fn conclude(report: &mut Report) {
    report.outcome.concluded = report.conclusion != RiseVerdict::CannotTell;
    let percent = |share: f64| format!("{:.0} %", 100.0 * share);
    let share = report
        .leak_share
        .map(|[_, low, high]| format!("{} to {}", percent(low), percent(high)));
    let in_millibar = |ranged: &Ranged<ThroughputUnit>| {
        format!(
            "{:.2e} mbar·L/s (95 %: {:.2e} to {:.2e})",
            10.0 * ranged.value,
            10.0 * ranged.low,
            10.0 * ranged.high
        )
    };
    report.outcome.verdict = match report.conclusion {
        RiseVerdict::Leak => "A leak: the pressure rises straight".to_owned(),
        RiseVerdict::LeakAndOutgassing => {
            "A leak, and gas from inside: the rise slows but does not level off".to_owned()
        }
        RiseVerdict::Outgassing => {
            "Mostly gas from inside (a trapped volume or outgassing): the rise flattens".to_owned()
        }
        RiseVerdict::CannotTell => "These readings do not tell a leak from gas inside".to_owned(),
    };
    if let (true, Some(share)) = (report.outcome.concluded, share) {
        report
            .reasons
            .push(format!("a steady inflow makes {share} of the rise (95 %)"));
        if let Some(best) = report.shapes.first() {
            report.reasons.push(format!("best shape: {}", best.words));
        }
    }
    if let Some(leak) = &report.leak_rate {
        let words = if leak.low > 0.0 {
            format!("steady inflow {}", in_millibar(leak))
        } else {
            format!(
                "a steady inflow above {:.2e} mbar·L/s is excluded (95 %)",
                10.0 * leak.high
            )
        };
        report.reasons.push(words);
    }
    let outcome = &mut report.outcome;
    match report.conclusion {
        RiseVerdict::Leak => {
            outcome.sign("rise-linear", true);
            outcome.sign("rise-flattens", false);
        }
        RiseVerdict::Outgassing => {
            outcome.sign("rise-linear", false);
            outcome.sign("rise-flattens", true);
        }
        RiseVerdict::LeakAndOutgassing => outcome.sign("rise-linear", false),
        RiseVerdict::CannotTell => {}
    }
    outcome.suggest(match report.conclusion {
        RiseVerdict::Leak => &["helium-leak-test", "gas-line-isolation-test"],
        RiseVerdict::LeakAndOutgassing => &["helium-leak-test", "residual-gas-scan"],
        RiseVerdict::Outgassing => &[
            "residual-gas-scan",
            "trapped-volume-review",
            "extended-pumping-or-bake",
        ],
        RiseVerdict::CannotTell => &["pressure-rise-test", "residual-gas-scan"],
    });
}

fn points(record: &TidyRecord, test: &RiseTest) -> Vec<Point> {
    let fitted = |seconds: f64| {
        let best = test.weighed.as_ref()?.shapes.first()?;
        best.pascals_at(seconds - test.used.0)
    };
    thinned(record.seconds.len())
        .into_iter()
        .map(|index| Point {
            seconds: record.seconds[index],
            pascals: record.pascals[index],
            fitted_pascals: fitted(record.seconds[index]),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(rows: usize, pressure: impl Fn(f64) -> f64) -> String {
        let mut text = "time (s),pressure (mbar)\n".to_owned();
        for row in 0..rows {
            let time = 2.0 * row as f64;
            // A scatter of 1 % without a generator: a low-discrepancy sequence.
            let scatter = 0.02 * ((row as f64 * 0.618_033_988_75).fract() - 0.5);
            text.push_str(&format!("{time},{:e}\n", pressure(time) * (1.0 + scatter)));
        }
        text
    }

    fn request(log: String) -> Request {
        Request {
            log: Some(log),
            volume: Some(Typed::new(100.0, VolumeUnit::Litre)),
            speed: Some(Typed::new(500.0, SpeedUnit::LitrePerSecond)),
            ..Request::default()
        }
    }

    /// 1e-5 to 1e-3 mbar in 600 s on 100 L is 1.65e-4 mbar·L/s, and 3.3e-7 mbar at 500 L/s
    /// (p = Q/S, Elsey, Vacuum 25 (1975) 347); by choked flow of air, about 1 µm.
    #[test]
    fn a_leak_is_sized() {
        let rate = (1e-3 - 1e-5) / 600.0;
        let report = run(&request(log(301, |time| 1e-5 + rate * time))).unwrap();
        assert_eq!(report.conclusion, RiseVerdict::Leak, "{:?}", report.reasons);
        let leak = report.leak_rate.unwrap();
        assert!(leak.low <= 1.65e-5 && 1.65e-5 <= leak.high, "{leak:?}");
        assert!((leak.value / 1.65e-5 - 1.0).abs() < 0.02, "{leak:?}");
        let base = report.base_pressure_of_leak.unwrap();
        assert!((base.value / 3.3e-5 - 1.0).abs() < 0.02, "{base:?}");
        let opening = report.equivalent_orifice.unwrap();
        assert!(
            (opening.value / (1.65f64 / 1.58).sqrt() - 1.0).abs() < 0.02,
            "{opening:?}"
        );
        assert!(report.outcome.signs["rise-linear"]);
        assert!(!report.outcome.cautions.is_empty());
        assert_eq!(report.points.len(), 301);
        let text = serde_json::to_string(&report).unwrap();
        assert!(
            !text.contains("null,null") && !text.to_lowercase().contains("safe"),
            "{text}"
        );
    }

    #[test]
    fn a_straight_rise_after_long_pumping_may_be_the_walls() {
        let small = |pumped: f64| {
            let mut request = request(log(301, |time| 1e-7 + 1e-9 * time));
            request.pumped_for = Some(Typed::new(pumped, TimeUnit::Hour));
            run(&request).unwrap()
        };
        let doubtful = small(10.0);
        assert!(!doubtful.outcome.concluded);
        assert!(doubtful.outcome.cautions.contains(&"hot-parts".to_owned()));
        assert!(small(0.1).outcome.concluded);
    }

    #[test]
    fn fields_that_cannot_be_taken_are_named_all_at_once() {
        let mut request = request(log(301, |time| 1e-5 + 1e-6 * time));
        request.volume = Some(Typed::new(-1.0, VolumeUnit::Litre));
        request.speed = Some(Typed::new(f64::NAN, SpeedUnit::LitrePerSecond));
        let errors = run(&request).unwrap_err();
        let fields: Vec<&str> = errors.iter().map(|error| error.field.as_str()).collect();
        assert_eq!(fields, ["volume", "speed"]);
        assert_eq!(run(&Request::default()).unwrap_err()[0].field, "log");
        let no_unit = Request {
            log: Some("0,1\n1,2\n".to_owned()),
            ..Request::default()
        };
        assert_eq!(run(&no_unit).unwrap_err()[0].field, "pressure_unit");
    }

    #[test]
    fn columns_are_taken_and_refused_by_position() {
        let mut request = Request {
            readings: Some(Columns {
                seconds: (0..200).map(f64::from).collect(),
                pressures: (0..200).map(|row| 1e-6 + 1e-7 * f64::from(row)).collect(),
            }),
            pressure_unit: Some(PressureUnit::Torr),
            ..Request::default()
        };
        assert_eq!(run(&request).unwrap().readings, 200);
        if let Some(columns) = &mut request.readings {
            columns.pressures[3] = -1.0;
        }
        assert_eq!(run(&request).unwrap_err()[0].field, "readings.pressures[3]");
    }

    #[test]
    fn long_logs_are_thinned_for_the_plot() {
        let report = run(&request(log(5000, |time| 1e-5 + 1e-6 * time))).unwrap();
        assert_eq!(report.points.len(), MOST_POINTS);
        assert_eq!(report.points[MOST_POINTS - 1].seconds, 9998.0);
        assert!(
            report
                .points
                .iter()
                .all(|point| point.fitted_pascals.is_some())
        );
    }
}
