//! Base-pressure balance.

use super::{
    About, conductance,
    form::{gas, group, pressure, units},
    result::{
        cell, common, decades, ends, figure, figures, other_throughputs, percent, range, typed,
    },
};
use crate::{
    calculation::gas_load::Report,
    vacuum::units::{LengthUnit, SpeedUnit},
    web::{
        fault::Fault,
        plot::{Row, Rows},
        views::{
            Tone,
            calculation::{CalculationForm, CalculationResult},
            chart::{Chart, DataTable},
            form::{Field, LineKind},
        },
    },
};

pub(super) const ABOUT: About = About {
    name: "Gas load from two base pressures",
    answers: "How much gas came on top, and what faults are of that size?",
    needs: "the healthy and the present base pressure, and the pumping speed at the chamber",
    intro: "At base pressure the pump takes away as much gas as comes in. From two base pressures \
            and the speed follows what came on top, with its interval; a pump that lost speed would \
            look the same, and the result says how much it would have to have lost.",
    check: None,
    method: "Q = p·S (Elsey, Vacuum 25 (1975) 299 and 347). The interval takes the gauge's scale, the \
             scatter of a reading and the speed as given. Bands of fault sizes: common practice, no \
             source. Turbo pump: what comes back is the foreline's partial pressure over the \
             compression for that gas (ISO 21360-4 defines it); usual ranges from memory, orders of \
             magnitude only. Above the critical backing pressure (ISO 21360-1) compression collapses: \
             some 0.1 mbar for a plain pump, 10 to 20 mbar with a drag stage.",
};

/// Rows for parts of the path at first.
const FEWEST: usize = 2;

pub(super) fn form(names: &[&str]) -> CalculationForm {
    let share = |id: &str, label: &str, hint: &str| {
        Field::line(id, label, LineKind::Number)
            .hint(hint)
            .optional()
    };
    let mut groups = vec![
        group(
            "Base pressures",
            "Both from the same gauge, long after pumping down.",
            vec![
                pressure("healthy", "Healthy"),
                pressure("faulty", "At the fault"),
            ],
        ),
        group(
            "Pumping speed",
            "At the chamber; or leave it empty and give the pump and its path below.",
            vec![
                Field::quantity(
                    "speed_at_chamber",
                    "Speed at the chamber",
                    units!(SpeedUnit, SpeedUnit::LitrePerSecond),
                )
                .optional(),
                Field::quantity(
                    "pump.speed",
                    "Or: the pump's speed at its inlet",
                    units!(SpeedUnit, SpeedUnit::LitrePerSecond),
                )
                .optional(),
                Field::quantity(
                    "pump.inlet_diameter",
                    "Diameter of its inlet",
                    units!(LengthUnit, LengthUnit::Millimetre),
                )
                .optional(),
            ],
        ),
    ];
    groups.extend(
        conductance::parts("path", names, FEWEST)
            .into_iter()
            .map(|mut part| {
                part.title = format!("Path to the pump: {}", part.title.to_lowercase());
                part
            }),
    );
    groups.push(group(
        "Foreline of a turbo pump",
        "To ask whether the foreline explains the base pressure.",
        vec![
            pressure("foreline.pressure", "Pressure in the foreline").optional(),
            gas("foreline.gas", "The gas asked about", "Nitrogen"),
            share(
                "foreline.share",
                "Its share of the foreline's gas",
                "1 is all of it, and is taken unless given.",
            ),
            share(
                "foreline.compression",
                "The pump's compression for it",
                "From the pump's manual, such as 1e8; a usual range unless given.",
            ),
            pressure(
                "foreline.critical_backing_pressure",
                "The pump's critical backing pressure",
            )
            .hint("From its manual: the foreline up to which it holds its compression. Unless given: 0.1 mbar, and open up to 20 mbar.")
            .optional(),
        ],
    ));
    groups.push(group(
        "How well the numbers are known",
        "Half widths of 95 % intervals, as shares: 0.3 is plus or minus 30 %.",
        vec![
            share(
                "gauge_scale_uncertainty",
                "The gauge's scale",
                "0.3 unless given.",
            ),
            share(
                "gauge_repeat_uncertainty",
                "One reading against the next",
                "0.1 unless given.",
            ),
            share(
                "speed_uncertainty",
                "The pumping speed",
                "0.2 unless given.",
            ),
        ],
    ));
    CalculationForm {
        groups,
        ..CalculationForm::default()
    }
}

pub(super) fn show(report: &Report) -> Result<CalculationResult, Fault> {
    let mut result = common(&report.outcome, Tone::Bad);
    let mut extra = figure("Extra gas load", typed(report.extra_gas_load));
    extra.interval = range(&report.extra_gas_load_interval_95);
    extra.note = other_throughputs(report.extra_gas_load.value);
    result.figures.push(extra);
    let mut healthy = figure("Healthy gas load", typed(report.healthy_gas_load));
    healthy.note = other_throughputs(report.healthy_gas_load.value);
    result.figures.push(healthy);
    let mut ratio = figure(
        "Extra over healthy",
        format!("{} times", figures(report.extra_over_healthy)),
    );
    let [low, high] = report.extra_over_healthy_interval_95;
    ratio.interval = ends(low, high, &"times");
    ratio.note = "free of the gauge's scale and of the speed".to_owned();
    result.figures.push(ratio);
    result
        .figures
        .push(figure("Base pressure lost", decades(report.decades_lost)));
    if let Some(share) = report.speed_share_that_would_explain {
        let mut speed = figure("Speed that would explain it instead", percent(share));
        speed.note = format!("of {} at the chamber", typed(report.speed_at_chamber));
        result.figures.push(speed);
    }
    if let Some(opening) = report.equivalent_opening {
        let mut line = figure("Equivalent opening to air", typed(opening));
        line.note =
            "diameter of a round opening that passes as much; a measure of size, not the hole"
                .to_owned();
        result.figures.push(line);
    }
    if let Some(foreline) = &report.foreline
        && let Some(pressure) = &foreline.pressure_from_foreline
    {
        let mut line = figure(
            "From the foreline, at most",
            format!("{} {}", figures(pressure.high), pressure.unit),
        );
        line.interval = range(pressure);
        let needed = foreline.compression_that_would_explain;
        line.note = format!(
            "{}, compression {} to {}; {}",
            foreline.gas.name(),
            figures(foreline.compression[0]),
            figures(foreline.compression[1]),
            if needed > 1.0 {
                format!(
                    "it would have to be {} to explain the base pressure",
                    figures(needed)
                )
            } else {
                "none would explain the base pressure".to_owned()
            }
        );
        result.figures.push(line);
    }
    result.charts.extend(chart(report)?);
    Ok(result)
}

fn chart(report: &Report) -> Result<Option<Chart>, Fault> {
    let interval = &report.extra_gas_load_interval_95;
    let rows = vec![
        Row::value("Healthy gas load", report.healthy_gas_load.value),
        Row::range(
            "Extra gas load, 95 % interval",
            Some(report.extra_gas_load.value),
            interval.low,
            interval.high,
        ),
        Row::range("Usual: permeation, very fine leaks", None, 1e-8, 1e-6),
        Row::range("Usual: particle, scratch, aged seal", None, 1e-6, 1e-4),
        Row::range("Usual: debris, water seep, wet shields", None, 1e-4, 1e-2),
        Row::range("Usual: hair or foil, valve not shut", None, 1e-2, 1.0),
    ];
    let title = "The extra gas load beside faults of usual size";
    let description = "Gas loads in mbar·L/s on an axis of decades: healthy, extra with its interval, \
                       and the bands in which kinds of faults usually lie.";
    let table = DataTable {
        caption: "Gas loads in mbar·L/s".to_owned(),
        headings: ["What", "Value", "From", "To"].map(str::to_owned).into(),
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
        axis: "Gas load in mbar·L/s",
        rows,
    }
    .draw()?;
    Ok(drawn.map(|svg| Chart {
        id: "chart-gas-load".to_owned(),
        title: title.to_owned(),
        description: description.to_owned(),
        svg,
        table,
    }))
}
