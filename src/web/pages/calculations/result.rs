//! Pieces of a result as pages show them.

use std::fmt::Display;

use crate::{
    calculation::{Interval, Outcome, rise::Ranged},
    catalogue::Catalogue,
    vacuum::{
        log::{LineProblem, Mark},
        units::{PressureUnit, ThroughputUnit, Typed},
    },
    web::views::{
        Link, Tone,
        calculation::{CalculationResult, Figure, Verdict},
    },
};

/// The parts of a result that every report has, with the verdict read in this tone.
pub(super) fn common(outcome: &Outcome, tone: Tone) -> CalculationResult {
    let mut clauses = outcome
        .verdict
        .split(". ")
        .flat_map(|sentence| sentence.split("; "));
    let headline = clauses.next().unwrap_or_default();
    CalculationResult {
        verdict: Some(Verdict {
            tone: if outcome.concluded {
                tone
            } else {
                Tone::Unsure
            },
            headline: headline.trim_end_matches('.').to_owned(),
            reasons: clauses.map(sentence).collect(),
        }),
        assumptions: outcome.assumed.iter().map(|line| sentence(line)).collect(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        ..CalculationResult::default()
    }
}

/// As a sentence, from a clause.
pub(super) fn sentence(clause: &str) -> String {
    let text = crate::web::show::capital(clause.trim_end_matches('.'));
    format!("{text}.")
}

/// A number to three figures: `1.65e-4`, `0.25`, `346`.
pub(super) fn figures(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 {
        return "0".to_owned();
    }
    if !(0.01..1e5).contains(&size) {
        return format!("{value:.2e}");
    }
    let places = (2.0 - size.log10().floor()).clamp(0.0, 4.0) as usize;
    crate::web::show::trimmed(value, places)
}

/// `1 decade`, `1.63 decades`.
pub(super) fn decades(count: f64) -> String {
    match figures(count) {
        one if one == "1" => "1 decade".to_owned(),
        other => format!("{other} decades"),
    }
}

/// A quantity to three figures with its unit.
pub(super) fn typed<U: Display>(typed: Typed<U>) -> String {
    format!("{} {}", figures(typed.value), typed.unit)
}

/// `1.2e-5 to 3.4e-5 mbar·L/s`.
pub(super) fn range<U: Display>(interval: &Interval<U>) -> String {
    ends(interval.low, interval.high, &interval.unit)
}

/// Two ends with their unit.
pub(super) fn ends(low: f64, high: f64, unit: &dyn Display) -> String {
    let (low, high) = (figures(low), figures(high));
    if low == high {
        format!("{low} {unit}")
    } else {
        format!("{low} to {high} {unit}")
    }
}

/// A line of the figures.
pub(super) fn figure(name: &str, value: String) -> Figure {
    Figure {
        name: name.to_owned(),
        value,
        ..Figure::default()
    }
}

/// A throughput of mbar·L/s in the two units people use beside it.
pub(super) fn other_throughputs(millibar_litres: f64) -> String {
    format!(
        "{} Torr·L/s, {} Pa·m³/s",
        figures(millibar_litres * 760.0 / 1013.25),
        figures(millibar_litres * 0.1)
    )
}

/// A quantity with its interval.
pub(super) fn ranged<U: Display>(name: &str, ranged: &Ranged<U>) -> Figure {
    let mut line = figure(name, format!("{} {}", figures(ranged.value), ranged.unit));
    line.interval = ends(ranged.low, ranged.high, &ranged.unit);
    line
}

/// A throughput of Pa·m³/s in mbar·L/s, as people at tools speak of it.
pub(super) fn throughput(name: &str, rate: &Ranged<ThroughputUnit>) -> Figure {
    let mut line = ranged(
        name,
        &Ranged {
            value: 10.0 * rate.value,
            low: 10.0 * rate.low,
            high: 10.0 * rate.high,
            unit: ThroughputUnit::MillibarLitre,
        },
    );
    line.note = other_throughputs(10.0 * rate.value);
    line
}

/// A pressure in another unit.
pub(super) fn converted(pressure: Typed<PressureUnit>, unit: PressureUnit) -> Typed<PressureUnit> {
    let pascals = pressure.value * pressure.unit.pascals_per_unit();
    Typed::new(pascals / unit.pascals_per_unit(), unit)
}

/// A pressure with its interval in the unit of its log.
pub(super) fn in_unit(name: &str, pressure: &Ranged<PressureUnit>, unit: PressureUnit) -> Figure {
    let into = |value: f64| converted(Typed::new(value, pressure.unit), unit).value;
    ranged(
        name,
        &Ranged {
            value: into(pressure.value),
            low: into(pressure.low),
            high: into(pressure.high),
            unit,
        },
    )
}

/// What was odd in a log, by time, and the lines that were not read as they stood.
pub(super) fn marks(flags: &[Mark], problems: &[LineProblem], count: usize) -> Vec<String> {
    let mut marks: Vec<_> = flags
        .iter()
        .map(|mark| {
            format!(
                "Line {}, at {} s: {}.",
                mark.line,
                figures(mark.seconds),
                mark.words
            )
        })
        .collect();
    marks.extend(
        problems
            .iter()
            .map(|problem| format!("Line {}: {}.", problem.line, problem.problem)),
    );
    if count > problems.len() {
        marks.push(format!(
            "{count} lines in all were not used or read with a reservation; the first {} are listed.",
            problems.len()
        ));
    }
    marks
}

/// A share as a percentage.
pub(super) fn percent(share: f64) -> String {
    format!("{} %", figures(100.0 * share))
}

/// A cell of a table: a number as written on paper, or a dash for none.
pub(super) fn cell(value: Option<f64>) -> String {
    value.map_or_else(|| "–".to_owned(), figures)
}

/// The checks of these ids, to be opened in this order.
pub(super) fn next(checks: &[String], catalogue: &Catalogue) -> Vec<Link> {
    checks
        .iter()
        .filter_map(|id| catalogue.check(id))
        .map(|check| Link::new(check.name.clone(), format!("/checks/{}", check.id)))
        .collect()
}
