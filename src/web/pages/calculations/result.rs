//! Pieces of a result as pages show them.

use std::fmt::Display;

use crate::{
    calculation::Interval,
    vacuum::units::Typed,
    web::views::{
        Tone,
        calculation::{CalculationResult, Figure, Verdict},
    },
};

/// The parts of a result that every report has, with the verdict read in this tone.
pub(super) fn common(
    verdict: &str,
    concluded: bool,
    assumed: &[String],
    tone: Tone,
) -> CalculationResult {
    let mut sentences = verdict.split(". ").map(|sentence| {
        let sentence = sentence.trim_end_matches('.');
        format!("{sentence}.")
    });
    let headline = sentences.next().unwrap_or_default();
    CalculationResult {
        verdict: Some(Verdict {
            tone: if concluded { tone } else { Tone::Unsure },
            headline: headline.trim_end_matches('.').to_owned(),
            reasons: sentences.collect(),
        }),
        assumptions: assumed.iter().map(|line| sentence(line)).collect(),
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
    format!("{} to {} {unit}", figures(low), figures(high))
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

/// A share as a percentage.
pub(super) fn percent(share: f64) -> String {
    format!("{} %", figures(100.0 * share))
}

/// A cell of a table: a number as written on paper, or a dash for none.
pub(super) fn cell(value: Option<f64>) -> String {
    value.map_or_else(|| "–".to_owned(), figures)
}
