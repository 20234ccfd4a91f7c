//! Conductance of the path to the pump.

use super::{
    About,
    form::{gas, group, pressure, rows, units},
    result::{cell, common, figure, percent, typed},
};
use crate::{
    calculation::conductance::{PartReport, Report, Request, ShapeName},
    vacuum::{
        conductance::Regime,
        units::{LengthUnit, SpeedUnit, TemperatureUnit},
    },
    web::{
        fault::Fault,
        plot::{Row, Rows},
        views::{
            Tone,
            calculation::{CalculationForm, CalculationResult, FieldGroup},
            chart::{Chart, DataTable},
            form::{Field, LineKind, SelectOption},
        },
    },
};

pub(super) const ABOUT: About = About {
    name: "Conductance and speed at the chamber",
    answers: "How much of the pump's speed is left at the chamber behind its valve, elbow and tube?",
    needs: "the inner diameters and lengths from chamber to pump, and the pump's speed",
    intro: "A pump is only as fast as the path lets it be. Give the parts from the chamber on; the \
            result says which of them throttles and what is left at the chamber.",
    check: None,
    method: "The chance that a molecule passes a tube is the exact one for molecular flow, not the \
             long-tube formula, which is tens of per cent too high for short tubes: Clausing, Ann. \
             Phys. 12 (1932) 961; Cole, Prog. Astronaut. Aeronaut. 51 (1977) 261; the formula used, \
             Berman, J. Appl. Phys. 36 (1965) 3356, from memory. Parts in a row count each opening \
             once: Oatley, Br. J. Appl. Phys. 8 (1957) 15; Haefer, Vacuum 30 (1980) 217, both from \
             memory. Branches side by side add up and count as one part whose opening is the sum of \
             theirs. Molecules followed one by one pass such chains some 3 to 12 % better.\n\n\
             Denser flow, part by part at its own pressure: Poiseuille's flow, with the ends of short \
             parts by Sampson (1891), plus Knudsen's share of the molecular conductance (Ann. Phys. 28 \
             (1909) 75), from memory. It is refused where the flow would be turbulent, or take more than \
             a tenth of the pressure drop to speed up. Where gas leaves a part nearly at the speed of \
             sound, as from dense flow into a good vacuum, the least and the most that can flow are given: \
             with pressure enough in its mouth to keep it at 0.3 of that speed, and without the pressure \
             that speeding up takes; it is refused where they are more than 1.5 times apart.\n\n\
             The plain rule 1/C = 1/C1 + 1/C2 is shown beside it, since many calculate with it.",
};

/// Rows for parts at first.
const FEWEST: usize = 3;

pub(super) fn form(names: &[&str]) -> CalculationForm {
    let mut groups: Vec<FieldGroup> = parts("parts", names, FEWEST);
    groups.push(group(
        "Pump",
        "Leave it empty for the conductance of the path alone.",
        vec![
            Field::quantity(
                "pump.speed",
                "Speed at its own inlet",
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
    ));
    groups.push(group(
        "Gas",
        "",
        vec![
            gas("gas", "Gas", "Air"),
            Field::quantity(
                "temperature",
                "Its temperature",
                units!(TemperatureUnit, TemperatureUnit::Celsius),
            )
            .hint("20 °C unless given.")
            .optional(),
        ],
    ));
    groups.push(group(
        "Denser flow",
        "For viscous flow and the range between: the pressure at both ends of the path, or at the \
         chamber alone where a pump is given.",
        vec![
            pressure("inlet_pressure", "Pressure at the chamber's end").optional(),
            pressure("outlet_pressure", "Pressure at the pump's end").optional(),
        ],
    ));
    CalculationForm {
        groups,
        ..CalculationForm::default()
    }
}

/// Rows for the parts of a path.
pub(super) fn parts(list: &str, names: &[&str], fewest: usize) -> Vec<FieldGroup> {
    let count = rows(list, names, fewest);
    (0..count)
        .map(|row| {
            let id = |name: &str| format!("{list}.{row}.{name}");
            let shapes = [
                ("", "No part"),
                ("opening", "Thin opening"),
                ("tube", "Straight tube"),
                ("elbow", "Elbow"),
                ("valve", "Valve of stated conductance"),
            ]
            .map(|(value, label)| SelectOption::new(value, label));
            let title = match row {
                0 => "Part 1, at the chamber".to_owned(),
                row if row + 1 == count => format!("Part {count}, nearest the pump"),
                row => format!("Part {}", row + 1),
            };
            group(
                &title,
                if row == 0 {
                    "Leave rows empty that you do not need. An elbow's length runs along its axis. Where \
                     the gas has more than one way, name a branch for each part of these ways."
                } else {
                    ""
                },
                vec![
                    Field::flat_select(&id("shape"), "Shape", shapes.into()),
                    Field::quantity(
                        &id("diameter"),
                        "Inner diameter",
                        units!(LengthUnit, LengthUnit::Millimetre),
                    ),
                    Field::quantity(
                        &id("length"),
                        "Length of a tube or elbow",
                        units!(LengthUnit, LengthUnit::Millimetre),
                    ),
                    Field::line(&id("angle_degrees"), "Angle of an elbow", LineKind::Number)
                        .suffix("degrees"),
                    Field::quantity(
                        &id("conductance"),
                        "Conductance of a valve, for air",
                        units!(SpeedUnit, SpeedUnit::LitrePerSecond),
                    ),
                    Field::flat_select(
                        &id("branch"),
                        "Branch, where it runs side by side",
                        [
                            ("", "None, all gas passes it"),
                            ("a", "Branch a"),
                            ("b", "Branch b"),
                            ("c", "Branch c"),
                            ("d", "Branch d"),
                        ]
                        .map(|(value, label)| SelectOption::new(value, label))
                        .into(),
                    ),
                ],
            )
        })
        .collect()
}

pub(super) fn show(request: &Request, report: &Report) -> Result<CalculationResult, Fault> {
    let mut result = common(&report.outcome, Tone::Plain);
    let mut path = figure("Conductance of the path", typed(report.conductance));
    path.note = format!("{}, {} flow", report.gas.name(), report.regime.name());
    result.figures.push(path);
    if let Some(plain) = report.conductance_by_plain_rule {
        let mut line = figure("The same by the plain rule", typed(plain));
        line.note = "1/C = 1/C1 + 1/C2, which counts the openings between parts anew".to_owned();
        result.figures.push(line);
    }
    if let Some(throughput) = report.throughput {
        let mut line = figure("Throughput", typed(throughput));
        if let Some(most) = report.throughput_at_most {
            line.note = format!("at least; at most {}", typed(most));
        }
        result.figures.push(line);
    }
    if let Some(speed) = report.speed_at_chamber {
        let mut line = figure("Speed at the chamber", typed(speed));
        if let Some(share) = report.speed_share_left {
            line.note = format!("{} of the pump's speed", percent(share));
        }
        result.figures.push(line);
    }
    if let Some(speed) = report.speed_at_chamber_by_plain_rule {
        result
            .figures
            .push(figure("The same by the plain rule", typed(speed)));
    }
    if let Some(knudsen) = report.knudsen_number {
        let mut line = figure("Knudsen number", cell(Some(knudsen)));
        line.note = "mean free path over diameter, lowest of all parts".to_owned();
        result.figures.push(line);
    }
    if let Some(outlet) = report.outlet_pressure {
        result
            .figures
            .push(figure("Pressure at the pump's end", typed(outlet)));
    }
    if let Some(below) = report.molecular_below {
        let mut line = figure("Molecular flow below", typed(below));
        line.note = "in the widest part".to_owned();
        result.figures.push(line);
    }
    result.charts.extend(chart(request, report)?);
    result.tables.push(table(report));
    result.tables.extend(between(report));
    Ok(result)
}

/// The shape of a part, and its branch if it has one.
fn name(part: &PartReport) -> String {
    let shape = match part.shape {
        ShapeName::Opening => "opening",
        ShapeName::Tube => "tube",
        ShapeName::Elbow => "elbow",
        ShapeName::Valve => "valve",
    };
    match part.branch {
        Some(branch) => format!("{shape} in branch {}", branch.letter()),
        None => shape.to_owned(),
    }
}

fn chart(request: &Request, report: &Report) -> Result<Option<Chart>, Fault> {
    let mut rows: Vec<_> = report
        .parts
        .iter()
        .enumerate()
        .map(|(place, part)| {
            // In denser flow a part conducts at its own pressure, not as it would alone.
            let (words, conductance) = match part.between.and_then(|flow| flow.conductance) {
                Some(here) if report.regime != Regime::Molecular => ("", here),
                _ => (", alone", part.conductance_alone),
            };
            Row::value(
                format!("Part {}, {}{words}", place + 1, name(part)),
                conductance.value,
            )
        })
        .collect();
    rows.push(Row::value("Whole path", report.conductance.value));
    if let Some(pump) = &request.pump
        && let Ok(speed) = pump.speed.quantity()
    {
        rows.push(Row::value(
            "Pump at its inlet",
            speed.cubic_metres_per_second() * 1e3,
        ));
    }
    if let Some(speed) = report.speed_at_chamber {
        rows.push(Row::value("Left at the chamber", speed.value));
    }
    let title = "What throttles the pump";
    let description = "Conductance of each part and of the whole path, in litres per second; \
                       the smallest part throttles most.";
    let table = DataTable {
        caption: "Conductances and speeds".to_owned(),
        headings: vec!["Part".to_owned(), "L/s".to_owned()],
        rows: rows
            .iter()
            .map(|row| vec![row.name.clone(), cell(row.value)])
            .collect(),
    };
    let drawn = Rows {
        title,
        description,
        axis: "Conductance or speed in L/s",
        rows,
    }
    .draw()?;
    Ok(drawn.map(|svg| Chart {
        id: "chart-path".to_owned(),
        title: title.to_owned(),
        description: description.to_owned(),
        svg,
        table,
    }))
}

/// The flow in each part between the pressures given, if they were.
fn between(report: &Report) -> Option<DataTable> {
    let unit = report.outlet_pressure?.unit;
    Some(DataTable {
        caption: format!("Each part between the pressures given, in {unit}"),
        headings: [
            "Part",
            "Before it",
            "Behind it",
            "L/s",
            "Knudsen number",
            "Flow",
        ]
        .map(str::to_owned)
        .into(),
        rows: report
            .parts
            .iter()
            .enumerate()
            .filter_map(|(place, part)| {
                let flow = part.between?;
                Some(vec![
                    format!("{}, {}", place + 1, name(part)),
                    cell(Some(flow.inlet.value)),
                    cell(Some(flow.outlet.value)),
                    cell(flow.conductance.map(|here| here.value)),
                    cell(Some(flow.knudsen_number)),
                    flow.regime.name().to_owned(),
                ])
            })
            .collect(),
    })
}

fn table(report: &Report) -> DataTable {
    DataTable {
        caption: "Each part alone, in molecular flow".to_owned(),
        headings: [
            "Part",
            "Chance to pass",
            "Conductance in L/s",
            "Long-tube formula in L/s",
            "Too high by",
        ]
        .map(str::to_owned)
        .into(),
        rows: report
            .parts
            .iter()
            .enumerate()
            .map(|(place, part)| {
                vec![
                    format!("{}, {}", place + 1, name(part)),
                    format!("{:.4}", part.transmission_probability),
                    cell(Some(part.conductance_alone.value)),
                    cell(part.long_tube_formula.map(|formula| formula.value)),
                    part.long_tube_formula_excess
                        .map_or_else(|| "–".to_owned(), percent),
                ]
            })
            .collect(),
    }
}
