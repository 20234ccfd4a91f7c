//! Residual gas.

use super::{
    About,
    form::{group, pressure},
    result::{cell, common, figure, figures, sentence},
};
use crate::{
    calculation::residual_gas::Report,
    catalogue::source::PATTERNS,
    vacuum::residual_gas::Patterns,
    web::{
        fault::Fault,
        plot::{Axis, Curves, Mark, Row, Rows, Series},
        views::{
            Tone,
            calculation::{CalculationForm, CalculationResult},
            chart::{Chart, DataTable},
            form::Field,
        },
    },
};

pub(super) const ABOUT: About = About {
    name: "Residual gas spectrum",
    answers: "Is it air, water, solvent, oil or process gas?",
    needs: "a mass spectrum as a file, or its peaks",
    intro: "Takes a spectrum apart into gases and judges air by the peaks 28, 14, 32 and 40 together; \
            28 alone proves nothing. A spectrum taken above 1e-4 mbar is refused.",
    check: Some("residual-gas-scan"),
    method: "Non-negative least squares on cracking patterns, which are a data file that a site may \
             replace by its own; peak heights are good to about 30 % between analysers (common \
             practice, no source). Air: 28 to 32 of 3.7 to 5, 28 to 40 of 100 to 1.0 to 1.5, 14 to 28 \
             of 0.05 to 0.14 (from memory: O'Hanlon, A User's Guide to Vacuum Technology; Umrath, \
             Fundamentals of Vacuum Technology), widened. Where carbon monoxide or another gas shares 28, \
             air is still told by 14, 32 and 40 among themselves: 32 to 40 of 18.7, 40 to 14 of 0.1 to \
             0.2 (U.S. Standard Atmosphere and the factors above), widened. A hot filament eats oxygen, so a missing 32 \
             denies nothing; then 12 has to clear 28 of carbon monoxide. A current of zero is taken as \
             anything below the lowest shown. Hydrogen or helium builds up if its peak grew by half or more since an \
             earlier spectrum, and by half more than the others (common practice, no source).",
};

/// The cracking patterns in use, as Markdown: where they are from, and each gas with its sources.
pub(super) fn patterns(patterns: &Patterns) -> String {
    let plain = |text: &str| text.replace(['\n', '\r'], " ");
    let mut text = format!(
        "Cracking patterns in use: {}. A site puts its own beside the data, as `{PATTERNS}`, and \
         they are read when the program starts. Heights in per cent of the highest peak, sensitivity \
         with nitrogen as 1:\n\n",
        plain(patterns.origin())
    );
    for gas in patterns.gases() {
        let mut peaks: Vec<_> = gas.peaks.iter().collect();
        peaks.sort_by(|a, b| b.1.total_cmp(a.1));
        let peaks: Vec<_> = peaks
            .into_iter()
            .map(|(mass, height)| format!("{mass} at {}", figures(100.0 * height)))
            .collect();
        text.push_str(&format!(
            "- {}: {} (from: {}); sensitivity {} ({})\n",
            plain(&gas.name),
            peaks.join(", "),
            plain(&gas.source),
            figures(gas.sensitivity),
            plain(&gas.sensitivity_source),
        ));
    }
    text
}

/// Gases below this share of the pressure are left out of the plot, per cent.
const SMALLEST: f64 = 0.05;

pub(super) fn form() -> CalculationForm {
    CalculationForm {
        groups: vec![
            group(
                "Spectrum",
                "Two columns, mass and ion current, with or without a header; or peaks such as 18:4e-9 28:2.1e-9. Up to 2 MB: one scan.",
                vec![
                    Field::file("spectrum_file", "File", ".csv,.tsv,.txt,.asc,.dat").optional(),
                    Field::area("spectrum", "Or pasted text", 8),
                ],
            ),
            group(
                "An earlier spectrum",
                "By the same analyser and settings, hours before: whether hydrogen or helium builds up.",
                vec![
                    Field::file("earlier_file", "File", ".csv,.tsv,.txt,.asc,.dat").optional(),
                    Field::area("earlier", "Or pasted text", 4).optional(),
                ],
            ),
            group(
                "Beside it",
                "",
                vec![
                    pressure("total_pressure", "Total pressure at the time").optional(),
                    Field::tick(
                        "argon_is_process_gas",
                        "Argon is let in for the process, or was shortly before",
                    ),
                    Field::tick(
                        "pump_is_regenerating",
                        "A pump is regenerating, or just was",
                    ),
                ],
            ),
        ],
        ..CalculationForm::default()
    }
}

pub(super) fn show(report: &Report) -> Result<CalculationResult, Fault> {
    let air = report.outcome.signs.get("residual-air") == Some(&true);
    let tone = if air { Tone::Bad } else { Tone::Plain };
    let mut result = common(&report.outcome, tone);
    if let Some(verdict) = &mut result.verdict {
        verdict
            .reasons
            .extend(report.reasons.iter().map(|reason| sentence(reason)));
    }
    for gas in report.gases.iter().take(6) {
        let share = gas.share_percent;
        let mut line = figure(&gas.name, format!("{} %", figures(share.value)));
        line.interval = format!("{} to {} %", figures(share.low), figures(share.high));
        line.note = "of the total pressure".to_owned();
        result.figures.push(line);
    }
    result.figures.push(figure(
        "Ion current left unexplained",
        format!("{} %", figures(report.unexplained_percent)),
    ));
    result
        .assumptions
        .push(sentence(&format!("Cracking patterns: {}", report.patterns)));
    result.charts.extend(spectrum(report)?);
    result.charts.extend(shares(report)?);
    Ok(result)
}

fn spectrum(report: &Report) -> Result<Option<Chart>, Fault> {
    let masses = report.peaks.iter().map(|peak| f64::from(peak.mass));
    let highest = report
        .peaks
        .iter()
        .map(|peak| peak.measured.max(peak.fitted))
        .fold(0.0, f64::max);
    // Below this nothing is told from noise, and an axis down to it would show little else.
    let floor = highest * 1e-5;
    let currents = report
        .peaks
        .iter()
        .flat_map(|peak| [peak.measured, peak.fitted])
        .filter(|current| *current >= floor);
    let axes = Axis::linear("Mass number", masses.chain([0.0])).zip(Axis::decades(
        "Ion current in the unit of the spectrum",
        currents,
    ));
    let Some((across, up)) = axes else {
        return Ok(None);
    };
    let series =
        |name: &str, mark, current: fn(&crate::calculation::residual_gas::Peak) -> f64| Series {
            name: name.to_owned(),
            mark,
            points: report
                .peaks
                .iter()
                .map(|peak| (f64::from(peak.mass), current(peak)))
                .collect(),
        };
    let title = "The spectrum, measured and fitted";
    let description = "Ion current at each mass as measured, and what the gases found would give.";
    let svg = Curves {
        title,
        description,
        across,
        up,
        series: vec![
            series("Measured", Mark::Stems, |peak| peak.measured),
            series("Sum of the gases found", Mark::Circles, |peak| peak.fitted),
        ],
    }
    .draw()?;
    Ok(Some(Chart {
        id: "chart-spectrum".to_owned(),
        title: title.to_owned(),
        description: description.to_owned(),
        svg,
        table: DataTable {
            caption: "Ion currents, in the unit of the spectrum".to_owned(),
            headings: ["Mass", "Measured", "Fitted", "Most of it from"]
                .map(str::to_owned)
                .into(),
            rows: report
                .peaks
                .iter()
                .map(|peak| {
                    let most = peak
                        .parts
                        .iter()
                        .max_by(|a, b| a.ion_current.total_cmp(&b.ion_current))
                        .filter(|part| part.ion_current > 0.0);
                    vec![
                        peak.mass.to_string(),
                        cell(Some(peak.measured)),
                        cell(Some(peak.fitted)),
                        most.map_or_else(
                            || "–".to_owned(),
                            |part| {
                                report
                                    .gases
                                    .iter()
                                    .find(|gas| gas.id == part.gas)
                                    .map_or_else(|| part.gas.clone(), |gas| gas.name.clone())
                            },
                        ),
                    ]
                })
                .collect(),
        },
    }))
}

fn shares(report: &Report) -> Result<Option<Chart>, Fault> {
    let rows: Vec<_> = report
        .gases
        .iter()
        .filter(|gas| gas.share_percent.value >= SMALLEST)
        .map(|gas| {
            let share = gas.share_percent;
            Row::range(
                gas.name.clone(),
                Some(share.value),
                // An end far below the rest would squeeze them; it is drawn as reaching to nothing.
                if share.low < SMALLEST / 10.0 {
                    0.0
                } else {
                    share.low
                },
                share.high,
            )
        })
        .collect();
    let title = "Gases by share of the pressure";
    let description = "Share of each gas found, with its 95 % interval, on an axis of decades.";
    let drawn = Rows {
        title,
        description,
        axis: "Share of the total pressure in %",
        rows,
    }
    .draw()?;
    Ok(drawn.map(|svg| Chart {
        id: "chart-shares".to_owned(),
        title: title.to_owned(),
        description: description.to_owned(),
        svg,
        table: DataTable {
            caption: "Gases found".to_owned(),
            headings: ["Gas", "Share in %", "From", "To"]
                .map(str::to_owned)
                .into(),
            rows: report
                .gases
                .iter()
                .map(|gas| {
                    let share = gas.share_percent;
                    vec![
                        gas.name.clone(),
                        cell(Some(share.value)),
                        cell(Some(share.low)),
                        cell(Some(share.high)),
                    ]
                })
                .collect(),
        },
    }))
}
