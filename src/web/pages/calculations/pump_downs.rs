//! Pump-downs of one tool laid over each other: pressure against time since pumping began, both by
//! decades, the healthy one marked. Shows the results as kept, computes nothing again.

use axum::{
    extract::{Path, State},
    response::Html,
};

use super::{
    overlay::{Newest, chosen_unit, framed, interval_words, laid_over, listed, newest, numbered},
    pump_down,
    result::figures,
};
use crate::{
    calculation::{
        named::Named,
        pump_down::{KeptPumpDown, level_ratio},
    },
    store::KeptReport,
    vacuum::units::{Pressure, PressureUnit},
    web::{
        attaching,
        fault::{self, Fault},
        fields::{Asked, place},
        pages::markdown,
        plot::{Axis, Curves, Series},
        show,
        state::App,
        views::{
            Link,
            chart::{Chart, DataTable},
            overlay::{LaidOver, PumpDownLine, PumpDownsPage},
        },
    },
};

/// The most pump-downs in one plot: the newest, and the healthy one if it is older.
const SHOWN: i64 = 8;
/// Rows a pump-down in the table beside the plot.
const LISTED: usize = 12;

/// Where the pump-downs of a tool are laid over each other.
pub(in crate::web::pages) fn link(tool: &str) -> Link {
    Link::new("Pump-downs of this tool", page_of(tool))
}

fn page_of(tool: &str) -> String {
    format!("{}/pump-downs", place("/tools", tool))
}

/// One kept pump-down.
struct PumpDown {
    kept: KeptReport,
    report: KeptPumpDown,
    healthy: bool,
}

pub(super) async fn show(
    State(app): State<App>,
    Path(id): Path<String>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let kind = Named::PumpDown;
    let Newest {
        tool,
        mut kept,
        count,
    } = newest(&app, &id, kind, SHOWN).await?;
    let code = tool.id.as_str();
    let healthy = attaching::healthy_pump_down(&app, code).await?;
    let healthy_id = healthy.as_ref().map(|healthy| healthy.id);
    if let Some(healthy) = healthy.filter(|healthy| kept.iter().all(|kept| kept.id != healthy.id)) {
        kept.push(healthy);
    }
    let all: Vec<PumpDown> = kept
        .into_iter()
        .map(|kept| PumpDown {
            report: KeptPumpDown::of(&kept.report),
            healthy: healthy_id == Some(kept.id),
            kept,
        })
        .collect();
    let known = all.iter().find_map(|one| one.report.pressure_unit);
    let unit = chosen_unit(&asked, known.unwrap_or(tool.healthy_base.unit))?;
    let kept = show::counted(count, "pump-down", "pump-downs");
    let summary = match count > all.len() as u64 {
        true => format!(
            "{kept} kept with its incidents; the newest {SHOWN} are shown, and the healthy one"
        ),
        false => format!("{kept} kept with its incidents"),
    };
    fault::page(&PumpDownsPage {
        page: framed("Pump-downs", &tool),
        laid: LaidOver {
            summary,
            comparison: comparison(&all),
            action: page_of(code),
            rule: markdown::render(pump_down::HEALTHY),
            ..laid_over(&tool, kind, unit, chart(&all, unit)?)
        },
        floors_in: format!("Floors in {unit}, with 95 % intervals"),
        pump_downs: all
            .iter()
            .enumerate()
            .map(|(place, one)| line(place + 1, one, unit))
            .collect(),
    })
}

fn line(number: usize, one: &PumpDown, unit: PressureUnit) -> PumpDownLine {
    let three = |size: Option<[f64; 3]>| match size {
        None => ("–".to_owned(), String::new()),
        Some([value, low, high]) => (
            figures(value),
            format!("{} to {}", figures(low), figures(high)),
        ),
    };
    let floor = one.report.floor.as_ref().map(|floor| {
        let per_pascal = per_pascal(unit) * floor.unit.pascals_per_unit();
        [floor.value, floor.low, floor.high].map(|end| end * per_pascal)
    });
    let KeptReport { id, incident, .. } = one.kept;
    PumpDownLine {
        number,
        when: show::moment(one.kept.made_at),
        href: format!("/incidents/{incident}/calculations/{id}"),
        incident,
        sizes: [
            three(one.report.speed_over_volume_per_second),
            three(one.report.outgassing_exponent),
            three(floor),
        ],
        verdict: one.report.verdict.clone(),
        healthy: one.healthy,
    }
}

/// What one pascal is in a unit; for floors, which are no more than numbers here.
fn per_pascal(unit: PressureUnit) -> f64 {
    unit.pascals_per_unit().recip()
}

/// The newest against the healthy one, or else against the one before, in one or two sentences.
fn comparison(all: &[PumpDown]) -> String {
    let Some(newest) = all.first() else {
        return String::new();
    };
    let healthy = all.iter().find(|one| one.healthy && !newest.healthy);
    let (other, what) = match (healthy, all.get(1)) {
        (Some(healthy), _) => (healthy, "the healthy one"),
        (None, Some(before)) => (before, "the one before"),
        (None, None) => {
            return "There is one pump-down alone, and no other to compare it with.".to_owned();
        }
    };
    let mut words = format!(
        "The newest ({}) against {what} ({}): ",
        show::moment(newest.kept.made_at),
        show::moment(other.kept.made_at),
    );
    if let Some((seconds, ratio)) = level_ratio(&newest.report.points, &other.report.points) {
        words.push_str(&format!(
            "after {} of pumping, the latest time both have, its pressure is {} times that of the other. By their fits, ",
            long(seconds),
            figures(ratio)
        ));
    }
    let two = |of: fn(&KeptPumpDown) -> Option<[f64; 3]>| [of(&newest.report), of(&other.report)];
    words.push_str(&interval_words([
        (
            "speed over volume while roughing",
            two(|report| report.speed_over_volume_per_second),
        ),
        (
            "the exponent of outgassing",
            two(|report| report.outgassing_exponent),
        ),
        ("the floor", two(KeptPumpDown::floor_pascals)),
    ]));
    words.push('.');
    if newest.healthy {
        words.push_str(" The newest is the healthy one that later pump-downs are held against.");
    } else if !all.iter().any(|one| one.healthy) {
        words
            .push_str(" No pump-down made after a fix is kept, so none counts as the healthy one.");
    }
    words
}

/// A time of pumping in words.
fn long(seconds: f64) -> String {
    match seconds {
        ..120.0 => format!("{} s", figures(seconds)),
        ..7200.0 => format!("{} min", figures(seconds / 60.0)),
        _ => format!("{} h", figures(seconds / 3600.0)),
    }
}

fn chart(all: &[PumpDown], unit: PressureUnit) -> Result<Option<Chart>, Fault> {
    let curves: Vec<Vec<(f64, f64)>> = all
        .iter()
        .map(|one| {
            one.report
                .points
                .iter()
                .filter(|point| point.seconds > 0.0)
                .filter_map(|point| {
                    let pressure = Pressure::from_pascals(point.pascals).ok()?;
                    Some((point.seconds, pressure.in_unit(unit)))
                })
                .collect()
        })
        .collect();
    let points = || curves.iter().flatten();
    let across = "Time since pumping began in s";
    let up = format!("Pressure in {unit}");
    let axes = Axis::decades(across, points().map(|point| point.0))
        .zip(Axis::decades(&up, points().map(|point| point.1)));
    let Some((across, up)) = axes else {
        return Ok(None);
    };
    let title = "Pressure against time since pumping began";
    let drawn = curves.iter().filter(|curve| !curve.is_empty()).count() as u64;
    let healthy = match all.iter().position(|one| one.healthy) {
        Some(place) => format!("number {} is the healthy one", place + 1),
        None => "none of them counts as the healthy one".to_owned(),
    };
    let description = format!(
        "{}, both axes by decades; {healthy}.",
        show::counted(drawn, "pump-down", "pump-downs laid over each other"),
    );
    let series: Vec<Series> = all
        .iter()
        .zip(curves)
        .zip(1u8..)
        .map(|((one, points), number)| {
            let about = if one.healthy { ", healthy" } else { "" };
            numbered(number, &one.kept, about, points)
        })
        .collect();
    let rows = listed(&series, LISTED);
    let svg = Curves {
        title,
        description: &description,
        across,
        up,
        series,
    }
    .draw()?;
    Ok(Some(Chart {
        id: "chart-pump-downs".to_owned(),
        title: title.to_owned(),
        description,
        svg,
        table: DataTable {
            caption: format!("Pressure, about {LISTED} points of each pump-down"),
            headings: vec![
                "Pump-down".to_owned(),
                "Time in s".to_owned(),
                format!("Pressure in {unit}"),
            ],
            rows,
        },
    }))
}
