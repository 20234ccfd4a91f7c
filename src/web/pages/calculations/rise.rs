//! Pressure-rise test.

use super::{
    About,
    form::{group, log_column, log_units, units},
    result::{
        cell, common, converted, ends, figure, figures, in_unit, marks, ranged, sentence,
        throughput, typed,
    },
};
use crate::{
    calculation::{
        healthy_rise::HealthyRise,
        rise::{Conclusion, Report},
    },
    vacuum::units::{
        FlowTemperatures, Pressure, PressureUnit, SpeedUnit, ThroughputUnit, TimeUnit, Typed,
        VolumeUnit,
    },
    web::{
        fault::Fault,
        plot::{Axis, Curves, Mark, Series},
        show,
        views::{
            Tone,
            calculation::{CalculationForm, CalculationResult, FieldGroup, Figure},
            chart::{Chart, DataTable},
            form::{Field, Fields, LineKind},
        },
    },
};

pub(super) const ABOUT: About = About {
    name: "Pressure-rise test",
    answers: "With the pumps shut off: is it a leak, or gas from inside?",
    needs: "a log of pressure against time, and the volume that was shut off",
    intro: "Shut the valves to all pumps and gas lines, log the pressure, and send the log. A leak \
            rises straight; gas from inside slows. What the readings cannot tell is refused.",
    check: Some("pressure-rise-test"),
    method: "Shapes fitted to the logarithm of the pressure, since a gauge errs by a share of its \
             reading: straight, flattening, power law and their sums, weighed by an information \
             criterion; 95 % intervals by profile likelihood with the drift of the gauge allowed for. \
             Rates are V·dp/dt; the base pressure of a leak is Q/S (O'Hanlon, A User's Guide to Vacuum \
             Technology; Umrath, Fundamentals of Vacuum Technology; from memory). Power-law outgassing: \
             Dayton (1959), from memory.\n\n\
             The equivalent opening is the round hole that would pass as much air: a measure of size, \
             not the hole.",
};

/// When a rise is as on the healthy tool, in Markdown.
pub(super) const AS_HEALTHY: &str = "A rise is *as on the healthy tool* if its gas load (whole rise \
    times volume over time) is not above that of the healthy tool beyond both 95 % intervals. The \
    healthy tool is the newest comparable rise test of the same tool made after a fix: kept with a \
    closed incident whose pressure was restored, attached after the closing, while no other incident \
    of the tool was open. Or its gas load is given.\n\n\
    It is *not* as on the healthy tool if it is more than twice as fast, beyond both intervals. Nothing \
    is said between the two, where an interval is wider than a factor of two, or where one test is more \
    than twice as long as the other, since gas from inside slows (cuts: common practice, no source). \
    For the same reason, lay tests over each other that followed about the same time of pumping.";

/// Rows of the table beside the plot.
const LISTED: usize = 40;

pub(super) fn form() -> CalculationForm {
    let [pressure_unit, time_unit] = log_units();
    CalculationForm {
        groups: vec![
            group(
                "Log",
                "Columns of time and pressure, as a logger writes them: times elapsed, as date and clock in any \
                 usual form, as a clock alone, as an epoch or as days of a spreadsheet. Units and scales are \
                 read from the heading or beside the numbers; one that is not known is refused by name.",
                vec![
                    // First, since a file is read while it arrives.
                    log_column("pressure_column"),
                    Field::file("log_file", "File", ".csv,.tsv,.txt,.log,.dat").optional(),
                    Field::area("log", "Or pasted columns", 8),
                    pressure_unit,
                    time_unit,
                ],
            ),
            group(
                "Chamber",
                "",
                vec![
                    Field::quantity(
                        "volume",
                        "Volume that was shut off",
                        units!(VolumeUnit, VolumeUnit::Litre),
                    )
                    .hint("Without it there are no leak rates.")
                    .optional(),
                    Field::quantity(
                        "speed",
                        "Pumping speed at the chamber",
                        units!(SpeedUnit, SpeedUnit::LitrePerSecond),
                    )
                    .hint("For the base pressure that a leak would cause.")
                    .optional(),
                    Field::quantity(
                        "pumped_for",
                        "Pumped before the test for",
                        units!(TimeUnit, TimeUnit::Hour),
                    )
                    .hint("Without it a straight rise that wet walls could give is not called a leak.")
                    .optional(),
                    Field::tick(
                        "cold_cathode_left_on",
                        "The gauge is a cold cathode and was left on (it pumps)",
                    ),
                ],
            ),
            healthy(),
        ],
        ..CalculationForm::default()
    }
}

/// The gas load of the healthy tool, which a tool's own tests may fill.
fn healthy() -> FieldGroup {
    let mut ends = [
        ("healthy.low", "Gas load when healthy, from"),
        ("healthy.high", "to"),
    ]
    .map(|(name, label)| {
        Field::quantity(
            name,
            label,
            units!(ThroughputUnit, ThroughputUnit::MillibarLitre),
        )
        .optional()
    })
    .to_vec();
    ends.push(
        Field::line(
            "healthy.seconds",
            "Length of that test in s",
            LineKind::Number,
        )
        .optional(),
    );
    ends.push(
        Field::quantity(
            "healthy.pumped_for",
            "Pumped before that test for",
            units!(TimeUnit, TimeUnit::Hour),
        )
        .optional(),
    );
    group(
        "Healthy tool",
        "From a rise test of the same tool when it was well: its 95 % interval of both together. Walls give the more the shorter they were pumped, so what was not pumped for as long may be faster without a leak.",
        ends,
    )
}

/// Fills the form with the gas load of the healthy tool.
pub(super) fn prefill(form: &mut CalculationForm, healthy: &HealthyRise) {
    for (name, end) in [("healthy.low", healthy.low), ("healthy.high", healthy.high)] {
        let unit = ThroughputUnit::MillibarLitre;
        if let Ok(rate) = end.throughput(FlowTemperatures::default()) {
            let value = rate.in_unit(unit, FlowTemperatures::default());
            form.fill(&format!("{name}.value"), &format!("{value:.3e}"));
            form.fill(&format!("{name}.unit"), unit.id());
        }
    }
    if let Some(seconds) = healthy.seconds {
        form.fill("healthy.seconds", &show::trimmed(seconds, 1));
    }
    if let Some(time) = healthy.pumped_for {
        form.fill("healthy.pumped_for.value", &time.value.to_string());
        form.fill("healthy.pumped_for.unit", time.unit.id());
    }
}

pub(super) fn shown(report: &Report) -> Result<CalculationResult, Fault> {
    let tone = match report.conclusion {
        Conclusion::Leak | Conclusion::LeakAndOutgassing => Tone::Bad,
        Conclusion::Outgassing | Conclusion::AsHealthy | Conclusion::CannotTell => Tone::Plain,
    };
    let mut result = common(&report.outcome, tone);
    if let Some(verdict) = &mut result.verdict {
        verdict
            .reasons
            .extend(report.reasons.iter().map(|reason| sentence(reason)));
    }
    result.figures.extend(
        [
            ("Leak rate", &report.leak_rate),
            ("Gas from inside", &report.outgassing_rate),
            ("Both together", &report.gas_load),
        ]
        .into_iter()
        .filter_map(|(name, rate)| Some(throughput(name, rate.as_ref()?))),
    );
    if let Some([share, low, high]) = report.leak_share {
        let mut line = figure(
            "The leak's share of the rise",
            format!("{} %", figures(100.0 * share)),
        );
        line.interval = ends(100.0 * low, 100.0 * high, &"%");
        result.figures.push(line);
    }
    if let Some(opening) = &report.equivalent_orifice {
        let high = typed(Typed::new(opening.high, opening.unit));
        let line = ranged("Equivalent opening to air", opening);
        let mut line = up_to(line, opening.low, high);
        line.note = "a measure of size, not the hole".to_owned();
        result.figures.push(line);
    } else if report.leak_rate.as_ref().is_some_and(|leak| leak.low > 0.0) {
        let mut line = figure("Equivalent opening to air", "too small to give".to_owned());
        line.note = "the formula holds from ten mean free paths on, about 0.7 µm in air".to_owned();
        result.figures.push(line);
    }
    if let Some(base) = &report.base_pressure_of_leak {
        let unit = report.pressure_unit.unwrap_or(PressureUnit::Torr);
        let line = in_unit("Base pressure this leak alone causes", base, unit);
        let high = typed(converted(Typed::new(base.high, base.unit), unit));
        result.figures.push(up_to(line, base.low, high));
    }
    let mut readings = figure(
        "Readings used",
        format!("{} of {}", report.readings_used, report.readings),
    );
    readings.note = format!(
        "{} s to {} s{}",
        figures(report.used_seconds[0]),
        figures(report.used_seconds[1]),
        report
            .scatter_percent
            .map_or_else(String::new, |s| format!(", scatter {} %", figures(s)))
    );
    result.figures.push(readings);
    result.charts.extend(chart(report)?);
    if !report.shapes.is_empty() {
        result.tables.push(shapes(report));
    }
    result.marks = marks(
        &report.flags,
        &report.line_problems,
        report.line_problem_count,
    );
    Ok(result)
}

/// A figure whose lower end is zero, since there may be no leak at all, told by its upper end.
fn up_to(mut line: Figure, low: f64, high: String) -> Figure {
    if low == 0.0 {
        line.value = format!("up to {high}");
        line.interval.clear();
    }
    line
}

fn shapes(report: &Report) -> DataTable {
    DataTable {
        caption: "Shapes weighed, best first".to_owned(),
        headings: [
            "Shape",
            "Criterion above the best",
            "Time constant in s",
            "Exponent",
        ]
        .map(str::to_owned)
        .into(),
        rows: report
            .shapes
            .iter()
            .map(|shape| {
                vec![
                    show::capital(shape.words),
                    cell(Some(shape.criterion_above_best)),
                    cell(shape.time_constant.map(|time| time.value)),
                    cell(shape.exponent),
                ]
            })
            .collect(),
    }
}

fn chart(report: &Report) -> Result<Option<Chart>, Fault> {
    let unit = report.pressure_unit.unwrap_or(PressureUnit::Torr);
    let shown = |pascals: f64| Pressure::from_pascals(pascals).map_or(0.0, |p| p.in_unit(unit));
    let readings: Vec<_> = report
        .points
        .iter()
        .map(|point| (point.seconds, shown(point.pascals)))
        .collect();
    let fitted: Vec<_> = report
        .points
        .iter()
        .filter_map(|point| Some((point.seconds, shown(point.fitted_pascals?))))
        .collect();
    let axes = Axis::linear("Time in s", readings.iter().map(|p| p.0)).zip(Axis::linear(
        &format!("Pressure in {unit}"),
        readings.iter().map(|p| p.1),
    ));
    let Some((across, up)) = axes else {
        return Ok(None);
    };
    let title = "Pressure against time";
    let description =
        "The readings of the log, and the shape that fits them best over the part used.";
    let mut series = vec![Series {
        name: "Readings".to_owned(),
        mark: Mark::Dots,
        points: readings,
    }];
    if !fitted.is_empty() {
        let name = report
            .shapes
            .first()
            .map_or_else(String::new, |shape| format!("Fit: {}", shape.words));
        series.push(Series {
            name,
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
    let step = report.points.len().div_ceil(LISTED).max(1);
    Ok(Some(Chart {
        id: "chart-rise".to_owned(),
        title: title.to_owned(),
        description: description.to_owned(),
        svg,
        table: DataTable {
            caption: format!("Pressure against time, every {step} of the points drawn"),
            headings: vec![
                "Time in s".to_owned(),
                format!("Reading in {unit}"),
                format!("Fit in {unit}"),
            ],
            rows: report
                .points
                .iter()
                .step_by(step)
                .map(|point| {
                    vec![
                        cell(Some(point.seconds)),
                        cell(Some(shown(point.pascals))),
                        cell(point.fitted_pascals.map(shown)),
                    ]
                })
                .collect(),
        },
    }))
}
