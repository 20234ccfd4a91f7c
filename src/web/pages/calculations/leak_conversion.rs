//! Leak rates in other gases and units, and the reach of a helium test.

use super::{
    About,
    form::{gas, group, pressure, units},
    result::{cell, common, figure, figures, percent, range, typed},
};
use crate::{
    calculation::leak_conversion::{HeliumTestReport, Report, Request},
    vacuum::{
        leak::LeakRegime,
        units::{SpeedUnit, TemperatureUnit, ThroughputUnit, TimeUnit, VolumeUnit},
    },
    web::{
        fault::Fault,
        plot::{Axis, Curves, Mark, Row, Rows, Series},
        views::{
            Tone,
            calculation::{CalculationForm, CalculationResult},
            chart::{Chart, DataTable},
            form::{Field, LineKind},
        },
    },
};

pub(super) const ABOUT: About = About {
    name: "Leak rates",
    answers: "What is this helium leak as air, how large is it, and what can a helium test find here?",
    needs: "a leak rate with its unit, or the chamber's volume and helium speed",
    intro: "Carries a leak rate over to other gases and units, and says how fast and how fine a helium \
            test on this chamber is. A leak of middling size may be molecular or viscous; then the \
            result is a range. A vapour is carried over up to the pressure at which it turns liquid.",
    check: None,
    method: "Molecular: the rates are as the roots of the inverse molar masses. Viscous: as the inverse \
             viscosities. Limits of size, 1e-7 and 1e-4 mbar·L/s: Umrath, Fundamentals of Vacuum \
             Technology, from memory; many fine paths side by side stay molecular above them. \
             EN 1779 names the same rules, from memory. Other pressures: viscous as p₁² − p₂² \
             (Poiseuille, for a gas that expands on its way), molecular as p₁ − p₂. Equivalent opening: choked flow of the gas \
             asked for from its pressure outside (for air from one atmosphere 20 L/s per cm²). Helium signal: (1 − exp(−t·S/V)) of the whole.\n\n\
             A standard cubic centimetre is at 0 °C unless another reference is given; 20 °C differs \
             by 7 %.",
};

pub(super) fn form() -> CalculationForm {
    let temperature = |id: &str, label: &str, hint: &str| {
        Field::quantity(id, label, units!(TemperatureUnit, TemperatureUnit::Celsius))
            .hint(hint)
            .optional()
    };
    CalculationForm {
        groups: vec![
            group(
                "Leak rate",
                "Leave it empty to ask about a helium test alone.",
                vec![
                    Field::quantity(
                        "rate",
                        "Leak rate",
                        units!(ThroughputUnit, ThroughputUnit::MillibarLitre),
                    )
                    .optional(),
                    gas("from_gas", "Measured with", "Helium"),
                    gas("to_gas", "Wanted for", "Air"),
                    Field::line(
                        "test_gas_share",
                        "Share of test gas at the leak",
                        LineKind::Number,
                    )
                    .hint("1 is all of it, and is taken unless given; a sprayed cloud is less.")
                    .optional(),
                    Field::quantity(
                        "speed_at_chamber",
                        "Pumping speed at the chamber",
                        units!(SpeedUnit, SpeedUnit::LitrePerSecond),
                    )
                    .hint("For the base pressure that the leak alone would cause.")
                    .optional(),
                ],
            ),
            group(
                "Pressures across the leak",
                "From one atmosphere to vacuum unless given. A viscous leak follows the difference of \
                 their squares, a molecular one their difference.",
                [("measured_across", "measured"), ("wanted_across", "wanted")]
                    .into_iter()
                    .flat_map(|(id, label)| {
                        [
                            pressure(&format!("{id}.upstream"), &format!("Before it, as {label}")),
                            pressure(
                                &format!("{id}.downstream"),
                                &format!("Behind it, as {label}"),
                            ),
                        ]
                    })
                    .map(Field::optional)
                    .collect(),
            ),
            group(
                "Helium test on a chamber",
                "All four, or none.",
                vec![
                    Field::quantity(
                        "helium_test.volume",
                        "Volume that is pumped",
                        units!(VolumeUnit, VolumeUnit::Litre),
                    )
                    .optional(),
                    Field::quantity(
                        "helium_test.helium_speed",
                        "Helium speed at the chamber",
                        units!(SpeedUnit, SpeedUnit::LitrePerSecond),
                    )
                    .optional(),
                    pressure(
                        "helium_test.smallest_change",
                        "Smallest change of helium pressure shown",
                    )
                    .optional(),
                    Field::quantity(
                        "helium_test.spray_time",
                        "How long each place is sprayed",
                        units!(TimeUnit, TimeUnit::Second),
                    )
                    .optional(),
                ],
            ),
            group(
                "Temperatures",
                "",
                vec![
                    temperature("temperature", "The gas", "20 °C unless given."),
                    temperature(
                        "reference_temperature",
                        "Reference of a standard cubic centimetre",
                        "0 °C unless given.",
                    ),
                ],
            ),
        ],
        ..CalculationForm::default()
    }
}

pub(super) fn show(request: &Request, report: &Report) -> Result<CalculationResult, Fault> {
    let mut result = common(&report.outcome, Tone::Plain);
    if let Some(c) = &report.conversion {
        let regime = match c.regime {
            LeakRegime::Molecular => "molecular by its size",
            LeakRegime::Between => "of a size at which either may hold",
            LeakRegime::Viscous => "viscous by its size",
        };
        let mut molecular = figure("If the leak is molecular", typed(c.if_molecular));
        molecular.note = format!("as {}; {regime}", c.to_gas.name());
        result.figures.push(molecular);
        let mut viscous = figure("If the leak is viscous", typed(c.if_viscous));
        viscous.note = format!("as {}", c.to_gas.name());
        result.figures.push(viscous);
        if let Some(opening) = c.equivalent_opening {
            let mut line = figure("Equivalent opening", typed(opening));
            line.note =
                "diameter of a round opening to one atmosphere; a measure of size, not the hole"
                    .to_owned();
            result.figures.push(line);
        } else if let Some(reason) = &c.no_equivalent_opening {
            let mut line = figure("Equivalent opening", "none".to_owned());
            line.note.clone_from(reason);
            result.figures.push(line);
        }
        if let Some(base) = &c.base_pressure_caused {
            let mut line = figure(
                "Base pressure it alone causes, at most",
                format!("{} {}", figures(base.high), base.unit),
            );
            line.interval = range(base);
            result.figures.push(line);
        }
        result.tables.push(DataTable {
            caption: format!("The leak as {}, in each unit", c.to_gas.name()),
            headings: ["Unit", "From", "To"].map(str::to_owned).into(),
            rows: c
                .rate
                .iter()
                .map(|rate| {
                    vec![
                        rate.unit.to_string(),
                        cell(Some(rate.low)),
                        cell(Some(rate.high)),
                    ]
                })
                .collect(),
        });
        result.charts.extend(rates(request, report)?);
    }
    if let Some(test) = &report.helium_test {
        let mut constant = figure("Time constant", typed(test.time_constant));
        constant.note = format!("{} to 95 % of the signal", typed(test.time_to_95_percent));
        result.figures.push(constant);
        result.figures.push(figure(
            "Signal reached while spraying",
            percent(test.response_after_spray),
        ));
        let mut smallest = figure(
            "Smallest leak found, as helium",
            typed(test.smallest_leak_as_helium),
        );
        smallest.note = format!("as air {}", range(&test.smallest_leak_as_air));
        result.figures.push(smallest);
        result.charts.extend(response(request, test)?);
    }
    Ok(result)
}

fn rates(request: &Request, report: &Report) -> Result<Option<Chart>, Fault> {
    let (Some(c), Some(rate)) = (&report.conversion, request.rate) else {
        return Ok(None);
    };
    let rows = vec![
        Row::value(format!("As measured, {}", c.from_gas.name()), rate.value),
        Row::value(
            format!("As {}, molecular", c.to_gas.name()),
            c.if_molecular.value,
        ),
        Row::value(
            format!("As {}, viscous", c.to_gas.name()),
            c.if_viscous.value,
        ),
    ];
    let title = "The leak in both gases";
    let description =
        "The leak rate as measured, and carried over by the molecular and by the viscous rule.";
    let table = DataTable {
        caption: format!("Leak rates in {}", rate.unit),
        headings: vec!["Leak".to_owned(), rate.unit.to_string()],
        rows: rows
            .iter()
            .map(|row| vec![row.name.clone(), cell(row.value)])
            .collect(),
    };
    let axis = format!("Leak rate in {}", rate.unit);
    let drawn = Rows {
        title,
        description,
        axis: &axis,
        rows,
    }
    .draw()?;
    Ok(drawn.map(|svg| Chart {
        id: "chart-rates".to_owned(),
        title: title.to_owned(),
        description: description.to_owned(),
        svg,
        table,
    }))
}

/// The helium signal while a place is sprayed and after.
fn response(request: &Request, test: &HeliumTestReport) -> Result<Option<Chart>, Fault> {
    let Some(spray) = request
        .helium_test
        .as_ref()
        .and_then(|test| test.spray_time.quantity().ok())
    else {
        return Ok(None);
    };
    let (constant, spray) = (test.time_constant.value, spray.seconds());
    let signal = |time: f64| {
        let reached = 1.0 - (-time.min(spray) / constant).exp();
        100.0 * reached * (-(time - spray).max(0.0) / constant).exp()
    };
    let end = spray + 5.0 * constant;
    let points = |count: u32| -> Vec<_> {
        (0..=count)
            .map(|n| end * f64::from(n) / f64::from(count))
            .map(|time| (time, signal(time)))
            .collect()
    };
    let drawn_points = points(240);
    let axes = Axis::linear("Time since spraying began in s", [0.0, end])
        .zip(Axis::linear("Helium signal in %", [0.0, 100.0]));
    let Some((across, up)) = axes else {
        return Ok(None);
    };
    let title = "The helium signal of a place sprayed";
    let description = "Share of the full signal while a leak is sprayed, and its fading after.";
    let svg = Curves {
        title,
        description,
        across,
        up,
        series: vec![Series {
            name: "Signal of a leak, share of the whole".to_owned(),
            mark: Mark::Line,
            points: drawn_points,
        }],
    }
    .draw()?;
    Ok(Some(Chart {
        id: "chart-helium".to_owned(),
        title: title.to_owned(),
        description: description.to_owned(),
        svg,
        table: DataTable {
            caption: "Helium signal over time".to_owned(),
            headings: ["Time in s", "Signal in %"].map(str::to_owned).into(),
            rows: points(20)
                .into_iter()
                .map(|(time, signal)| vec![cell(Some(time)), cell(Some(signal))])
                .collect(),
        },
    }))
}
