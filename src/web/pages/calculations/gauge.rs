//! Gauge plausibility.

use super::{
    About,
    form::{gas, group, pressure, rows},
    result::{cell, common, figure, figures, percent, sentence, typed},
};
use crate::{
    calculation::gauge::{Report, Request},
    vacuum::{
        gauge::{GaugeKind, Verdict},
        units::{Pressure, PressureUnit},
    },
    web::{
        fault::Fault,
        plot::{Row, Rows},
        views::{
            Tone,
            calculation::{CalculationForm, CalculationResult},
            chart::{Chart, DataTable},
            form::{Field, SelectOption},
        },
    },
};

pub(super) const ABOUT: About = About {
    name: "Can the gauges be believed?",
    answers: "Is the loss real, or is a gauge stuck, unlit, off its zero, or misled by the gas?",
    needs: "what each gauge on the chamber shows, and its kind",
    intro: "Before anyone looks for a leak: a gauge can stop at its own limit while the chamber is \
            well. Give every gauge on the chamber, read at the same time.",
    check: Some("gauge-comparison"),
    method: "Ion gauges and heat-loss gauges read each gas by a factor of its own; capacitance gauges \
             do not. Ion gauge factors: Summers, NASA TN D-5285 (1969), read in a secondary reprint, \
             and from memory; gauges of one kind differ by 10 to 20 %. Where gauges stop, their ranges \
             and a factor of three for agreement: common practice, no source. A Pirani near its lower end shows only that the pressure \
             is not above it; so does any gauge below its range, and a combination head that stands at its \
             Pirani limit and was not seen to move. Such readings contradict others and confirm none.",
};

/// Rows for gauges at first.
const FEWEST: usize = 3;

pub(super) fn form(names: &[&str]) -> CalculationForm {
    let count = rows("readings", names, FEWEST);
    let mut groups: Vec<_> = (0..count)
        .map(|row| {
            let id = |name: &str| format!("readings.{row}.{name}");
            let mut kinds = vec![SelectOption::new("", "No gauge")];
            kinds.extend(GaugeKind::ALL.into_iter().map(|kind| {
                let id = serde_json::to_value(kind).unwrap_or_default();
                SelectOption::new(
                    id.as_str().unwrap_or_default(),
                    crate::web::show::capital(kind.name()),
                )
            }));
            group(
                &format!("Gauge {}", row + 1),
                "",
                vec![
                    Field::flat_select(&id("kind"), "Kind", kinds),
                    pressure(&id("pressure"), "It shows"),
                    Field::three_state(&id("lit"), "Is its cathode or filament lit?"),
                    Field::three_state(
                        &id("moves"),
                        "Does it move when a valve is shut or a pump is off?",
                    ),
                ],
            )
        })
        .collect();
    groups.push(group(
        "What else is known",
        "",
        vec![
            gas("gas", "Gas that makes up most of the chamber", "Not known"),
            Field::three_state(
                "surely_high_vacuum",
                "Is the chamber in high vacuum for other reasons?",
            )
            .hint(
                "For example: the cryopump is cold and its valve open, or a plasma will not light.",
            ),
        ],
    ));
    CalculationForm {
        groups,
        ..CalculationForm::default()
    }
}

pub(super) fn show(request: &Request, report: &Report) -> Result<CalculationResult, Fault> {
    let tone = match report.finding {
        Verdict::Consistent | Verdict::GasDependent => Tone::Plain,
        _ => Tone::Bad,
    };
    let mut result = common(&report.outcome, tone);
    if let Some(verdict) = &mut result.verdict {
        verdict.reasons.push(sentence(&report.reason));
        verdict
            .reasons
            .extend(report.next.iter().map(|step| format!("Next: {step}.")));
    }
    if let Some(factor) = report.disagreement_factor {
        let mut line = figure("Highest over lowest reading", figures(factor));
        line.note = "above 3 they disagree".to_owned();
        result.figures.push(line);
    }
    if let Some(factor) = report.disagreement_factor_corrected {
        result
            .figures
            .push(figure("The same, corrected for the gas", figures(factor)));
    }
    result.charts.extend(chart(request, report)?);
    if !report.corrected.is_empty() {
        result.tables.push(corrected(report));
    }
    Ok(result)
}

fn corrected(report: &Report) -> DataTable {
    DataTable {
        caption: "Readings corrected for the gas".to_owned(),
        headings: ["Gauge", "It shows", "True pressure", "Spread", "From where"]
            .map(str::to_owned)
            .into(),
        rows: report
            .corrected
            .iter()
            .map(|reading| {
                vec![
                    crate::web::show::capital(reading.kind.name()),
                    typed(reading.reading),
                    reading.true_pressure.map_or_else(|| "–".to_owned(), typed),
                    reading.spread.map_or_else(|| "–".to_owned(), percent),
                    reading.basis.clone(),
                ]
            })
            .collect(),
    }
}

fn chart(request: &Request, report: &Report) -> Result<Option<Chart>, Fault> {
    let unit = request
        .readings
        .first()
        .map_or(PressureUnit::Torr, |reading| reading.pressure.unit);
    let pascals = |value: f64| Pressure::from_pascals(value).map_or(0.0, |p| p.in_unit(unit));
    let mut rows = Vec::new();
    for (place, reading) in request.readings.iter().enumerate() {
        let range = reading.kind.range();
        let shown = reading.pressure.quantity().ok();
        rows.push(Row::range(
            crate::web::show::capital(reading.kind.name()),
            shown.map(|pressure| pressure.in_unit(unit)),
            pascals(*range.start()),
            pascals(*range.end()),
        ));
        if let Some(pressure) = report.corrected.get(place).and_then(|r| r.true_pressure)
            && let Ok(pressure) = pressure.quantity()
        {
            rows.push(Row::value(
                "the same, corrected for the gas",
                pressure.in_unit(unit),
            ));
        }
    }
    let title = "Each reading within the range of its gauge";
    let description = "Readings as dots within the range in which each kind of gauge means something; \
                       a dot near the end of its range may be the gauge's own limit.";
    let axis = format!("Pressure in {unit}");
    let table = DataTable {
        caption: format!("Readings and ranges in {unit}"),
        headings: ["Gauge", "Reading", "Range from", "Range to"]
            .map(str::to_owned)
            .into(),
        rows: rows
            .iter()
            .map(|row| {
                let (low, high) = row.range.unzip();
                vec![row.name.clone(), cell(row.value), cell(low), cell(high)]
            })
            .collect(),
    };
    let drawn = Rows {
        title,
        description,
        axis: &axis,
        rows,
    }
    .draw()?;
    Ok(drawn.map(|svg| Chart {
        id: "chart-gauges".to_owned(),
        title: title.to_owned(),
        description: description.to_owned(),
        svg,
        table,
    }))
}
