//! Pump-down against a healthy one.

use super::{
    About,
    form::{group, log_column, log_units, units},
    result::{
        cell, common, converted, ends, figure, figures, in_unit, marks, ranged, sentence,
        throughput, typed,
    },
};
use crate::{
    calculation::pump_down::{HealthyFrom, Report},
    store::KeptReport,
    vacuum::{
        pump_down::ExplanationKind,
        units::{Pressure, PressureUnit, SpeedUnit, Typed, VolumeUnit},
    },
    web::{
        fault::Fault,
        plot::{Axis, Curves, Mark, Series},
        views::{
            Link, Tone,
            calculation::{CalculationForm, CalculationResult, Figure},
            chart::{Chart, DataTable},
            form::Field,
        },
    },
};

pub(super) const ABOUT: About = About {
    name: "Pump-down against a healthy one",
    answers: "Where does this pump-down leave the healthy one of the same tool, and what explains it?",
    needs: "a log of the pump-down, and best one of the same tool when it was healthy",
    intro: "Roughing speed, outgassing and floor of a pump-down, each with its interval. With a healthy \
            record of the same tool: where the curve leaves it, and which explanations fit.",
    check: Some("pump-down-comparison"),
    method: "Volume phase: p falls as exp(−S·t/V), judged only at pressures where outgassing does not \
             yet count (Umrath, Fundamentals of Vacuum Technology, chapter 2, from memory). Outgassing \
             phase: a power of time on a floor (Dayton 1959, from memory). Explanations are weighed by an \
             information criterion; two healthy pump-downs differ by about 15 % (common practice, no \
             source).",
};

/// How a healthy record is found, in Markdown.
pub(super) const HEALTHY: &str = "The healthy record of a tool is the newest pump-down made after a fix: \
    kept with a closed incident whose pressure was restored, attached after the closing, while no \
    other incident of the tool was open, and not itself found worse than an earlier one. It is taken \
    where none is given, and kept along with the result.\n\n\
    Less pumping speed and a gauge whose scale is off both make the pressure a multiple of the healthy \
    one. They are told apart where the log is fast enough to see the chamber's own air leave in high \
    vacuum, which less speed slows and no gauge does; or by the readings at atmosphere, where a log in \
    the wrong unit or voltage scale is off by the same factor. Otherwise both are named. A steady load, \
    a pump that slows as it fills, and the zero of a heat-loss gauge look alike too; below 6e-3 Pa it is no such zero (common \
    practice, no source).\n\n\
    No verdict is given where the pressure rose in high vacuum and fell again, unless it did in both \
    records, or where the reading of either stops at a sharp corner, as that of a gauge at its limit.";

/// Rows of the table beside the plot.
const LISTED: usize = 40;

pub(super) fn form() -> CalculationForm {
    let [pressure_unit, time_unit] = log_units();
    let files = ".csv,.tsv,.txt,.log,.dat";
    CalculationForm {
        groups: vec![
            group(
                "This pump-down",
                "Columns of time and pressure from atmosphere on, as a logger writes them.",
                vec![
                    // First, since a file is read while it arrives.
                    log_column("pressure_column"),
                    Field::file("log_file", "File", files).optional(),
                    Field::area("log", "Or pasted columns", 8),
                ],
            ),
            group(
                "A healthy pump-down of the same tool",
                "Without it the phases are given, and no verdict.",
                vec![
                    log_column("healthy_pressure_column"),
                    Field::file("healthy_log_file", "File", files).optional(),
                    Field::area("healthy_log", "Or pasted columns", 8).optional(),
                ],
            ),
            group(
                "Both",
                "",
                vec![
                    pressure_unit,
                    time_unit,
                    Field::quantity(
                        "volume",
                        "Volume of the chamber",
                        units!(VolumeUnit, VolumeUnit::Litre),
                    )
                    .hint("For the speed while roughing.")
                    .optional(),
                    Field::quantity(
                        "speed",
                        "Pumping speed at the chamber in high vacuum",
                        units!(SpeedUnit, SpeedUnit::LitrePerSecond),
                    )
                    .hint("For the extra gas load.")
                    .optional(),
                ],
            ),
        ],
        ..CalculationForm::default()
    }
}

/// Says in the form which record is taken unless one is given.
pub(super) fn tell_healthy(form: &mut CalculationForm, healthy: &KeptReport) {
    if let Some(group) = form.groups.get_mut(1) {
        group.about = format!(
            "Left empty, the one kept with incident {} on {} is taken, the newest made after a fix.",
            healthy.incident,
            crate::web::show::moment(healthy.made_at)
        );
    }
}

/// The healthy record that was taken.
pub(super) fn healthy_link(from: HealthyFrom) -> Link {
    Link::new(
        format!(
            "Held against the pump-down after the fix of incident {}",
            from.incident
        ),
        format!(
            "/incidents/{}/calculations/{}",
            from.incident, from.calculation
        ),
    )
}

pub(super) fn show(report: &Report) -> Result<CalculationResult, Fault> {
    let healthy = report
        .explanations
        .iter()
        .any(|explanation| explanation.fits && explanation.kind == ExplanationKind::AsHealthy);
    let tone = if healthy { Tone::Plain } else { Tone::Bad };
    let mut result = common(&report.outcome, tone);
    if let Some(verdict) = &mut result.verdict {
        verdict
            .reasons
            .extend(report.reasons.iter().map(|reason| sentence(reason)));
    }
    result.figures = phases(report);
    result.charts.extend(chart(report)?);
    if !report.explanations.is_empty() {
        result.tables.push(explanations(report));
    }
    result.marks = marks(
        &report.flags,
        &report.line_problems,
        report.line_problem_count,
    );
    Ok(result)
}

fn phases(report: &Report) -> Vec<Figure> {
    let three = |name: &str, [value, low, high]: [f64; 3], unit: &str| {
        let mut line = figure(name, format!("{} {unit}", figures(value)));
        line.interval = ends(low, high, &unit);
        line
    };
    let mut lines = Vec::new();
    if let Some(speed) = &report.roughing_speed {
        lines.push(ranged("Speed while roughing", speed));
    }
    if let Some(rate) = report.speed_over_volume_per_second {
        lines.push(three("Speed over volume while roughing", rate, "per s"));
    }
    if let Some(ratio) = report.roughing_speed_over_healthy {
        lines.push(three(
            "Speed while roughing over the healthy one",
            ratio,
            "times",
        ));
    }
    if let Some(fall) = report.high_vacuum_fall_over_healthy {
        let mut line = three(
            "Rate at which the chamber's own air leaves in high vacuum, over the healthy one",
            fall,
            "times",
        );
        line.note = "slower where the speed is less, the same where a gauge is off".to_owned();
        lines.push(line);
    }
    if let Some(level) = report.atmosphere_over_healthy {
        let mut line = three(
            "Readings at atmosphere over the healthy ones",
            level,
            "times",
        );
        line.note = "far from 1, the scale of a gauge or the unit of a log is off".to_owned();
        lines.push(line);
    }
    if let Some(exponent) = report.outgassing_exponent {
        let mut line = three("Outgassing falls with time to the power", exponent, "");
        line.note = "about 1 for wet metal, 0.5 for elastomers".to_owned();
        lines.push(line);
    }
    if let Some(floor) = &report.floor {
        lines.push(in_unit("Floor", floor, shown_in(report)));
    }
    if let Some(leaves) = &report.leaves {
        let mut line = figure("Leaves the healthy curve at", typed(leaves.time));
        line.note = format!(
            "at {}; {} times the healthy pressure at the end",
            typed(converted(leaves.pressure, shown_in(report))),
            figures(leaves.factor_at_end)
        );
        lines.push(line);
    }
    for explanation in report.explanations.iter().filter(|e| e.fits) {
        if let Some(load) = &explanation.extra_gas_load {
            lines.push(throughput(
                &format!("If {}: extra gas load", explanation.words),
                load,
            ));
        }
    }
    lines
}

/// The unit of pressures on the page: that of the log.
fn shown_in(report: &Report) -> PressureUnit {
    report.pressure_unit.unwrap_or(PressureUnit::Torr)
}

/// A size with its interval; a dash for none.
fn between(size: Option<[f64; 3]>) -> String {
    size.map_or_else(
        || "–".to_owned(),
        |[value, low, high]| format!("{} ({} to {})", figures(value), figures(low), figures(high)),
    )
}

fn explanations(report: &Report) -> DataTable {
    let unit = shown_in(report);
    DataTable {
        caption: "Explanations weighed, best first".to_owned(),
        headings: vec![
            "Explanation".to_owned(),
            "Fits".to_owned(),
            "Criterion above the best".to_owned(),
            "Times the healthy pressure (95 %)".to_owned(),
            format!("On top at the end in {unit} (95 %)"),
            "What speaks against it".to_owned(),
        ],
        rows: report
            .explanations
            .iter()
            .map(|explanation| {
                vec![
                    crate::web::show::capital(explanation.words),
                    if explanation.fits { "yes" } else { "no" }.to_owned(),
                    cell(Some(explanation.criterion_above_best)),
                    between(explanation.factor),
                    between(explanation.extra_pressure.map(|extra| {
                        [extra.value, extra.low, extra.high]
                            .map(|end| converted(Typed::new(end, extra.unit), unit).value)
                    })),
                    explanation.against.map_or_else(String::new, sentence),
                ]
            })
            .collect(),
    }
}

fn chart(report: &Report) -> Result<Option<Chart>, Fault> {
    let unit = shown_in(report);
    let shown = |pascals: f64| Pressure::from_pascals(pascals).map_or(0.0, |p| p.in_unit(unit));
    let curve = |points: &[crate::calculation::rise::Point]| -> Vec<(f64, f64)> {
        points
            .iter()
            .map(|point| (point.seconds, shown(point.pascals)))
            .collect()
    };
    let readings = curve(&report.points);
    let healthy = curve(&report.healthy_points);
    let fitted: Vec<_> = report
        .points
        .iter()
        .filter_map(|point| Some((point.seconds, shown(point.fitted_pascals?))))
        .collect();
    let both = || readings.iter().chain(&healthy);
    let axes = Axis::decades("Time since pumping began in s", both().map(|p| p.0)).zip(
        Axis::decades(&format!("Pressure in {unit}"), both().map(|p| p.1)),
    );
    let Some((across, up)) = axes else {
        return Ok(None);
    };
    let title = "Pressure against time since pumping began";
    let description = "This pump-down beside the healthy one, both axes by decades, with the fitted \
                       outgassing phase.";
    let mut series = vec![Series {
        name: "This pump-down".to_owned(),
        mark: Mark::Dots,
        points: readings.clone(),
    }];
    if !healthy.is_empty() {
        series.push(Series {
            name: "Healthy".to_owned(),
            mark: Mark::Dashes,
            points: healthy.clone(),
        });
    }
    if !fitted.is_empty() {
        series.push(Series {
            name: "Fitted outgassing phase".to_owned(),
            mark: Mark::Line,
            points: fitted,
        });
    }
    let svg = Curves {
        title,
        description,
        across,
        up,
        series,
    }
    .draw()?;
    let rows = |which: &str, points: &[(f64, f64)]| -> Vec<Vec<String>> {
        points
            .iter()
            .step_by(points.len().div_ceil(LISTED).max(1))
            .map(|(seconds, pressure)| {
                vec![
                    which.to_owned(),
                    cell(Some(*seconds)),
                    cell(Some(*pressure)),
                ]
            })
            .collect()
    };
    let mut table = rows("This one", &readings);
    table.extend(rows("Healthy", &healthy));
    Ok(Some(Chart {
        id: "chart-pump-down".to_owned(),
        title: title.to_owned(),
        description: description.to_owned(),
        svg,
        table: DataTable {
            caption: "Pressure against time since pumping began, some of the points drawn"
                .to_owned(),
            headings: vec![
                "Pump-down".to_owned(),
                "Time in s".to_owned(),
                format!("Pressure in {unit}"),
            ],
            rows: table,
        },
    }))
}
