//! Rise tests of one tool laid over each other: rise above its start against time since the rise
//! began, on common axes, with the rates beside it. Shows the results as kept, computes nothing
//! again.

use axum::{
    extract::{Path, State},
    response::Html,
};

use super::{
    form::units,
    result::{cell, figures, typed},
    rise,
};
use crate::{
    calculation::{
        named::Named,
        rise::{KeptRise, Ranged},
    },
    casebook::{Refusal, Tool},
    store::KeptReport,
    vacuum::units::{Pressure, PressureUnit, ThroughputUnit},
    web::{
        fault::{self, Fault},
        fields::{Asked, address, place},
        pages::markdown,
        plot::{Axis, Curves, Mark, Series},
        show,
        state::App,
        views::{
            Link,
            chart::{Chart, DataTable},
            form::{Field, SelectOption},
            overlay::{LaidOver, RiseLine, RisesPage},
            page::{Page, Section},
        },
    },
};

/// The most tests in one plot, the newest.
const SHOWN: i64 = 8;
/// Rows a test in the table beside the plot.
const LISTED: usize = 10;
/// Rises that differ by more than this factor at their ends are drawn by decades.
const APART: f64 = 30.0;
/// Above this many seconds time is shown in minutes.
const LONG: f64 = 1200.0;

/// Where the rise tests of a tool are laid over each other.
pub(in crate::web::pages) fn link(tool: &str) -> Link {
    Link::new("Rise tests of this tool", page_of(tool))
}

fn page_of(tool: &str) -> String {
    format!("{}/rises", place("/tools", tool))
}

/// One kept test.
struct Test {
    kept: KeptReport,
    rise: KeptRise,
    /// Seconds since the rise began, and Pa above its start.
    curve: Vec<(f64, f64)>,
}

pub(super) async fn show(
    State(app): State<App>,
    Path(id): Path<String>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let kind = Named::Rise;
    let Newest { tool, kept, count } = newest(&app, &id, kind, SHOWN).await?;
    let tests: Vec<Test> = kept
        .into_iter()
        .map(|kept| {
            let rise = KeptRise::of(&kept.report);
            let curve = curve(&rise);
            Test { kept, rise, curve }
        })
        .collect();
    let known = tests.iter().find_map(|test| test.rise.pressure_unit);
    let unit = chosen_unit(&asked, known.unwrap_or(tool.healthy_base.unit))?;
    let kept = show::counted(count, "rise test", "rise tests");
    let summary = if count > tests.len() as u64 {
        format!("{kept} kept with its incidents; the newest {SHOWN} are shown")
    } else {
        format!("{kept} kept with its incidents")
    };
    fault::page(&RisesPage {
        page: framed("Rise tests", &tool),
        laid: LaidOver {
            summary,
            comparison: comparison(&tests),
            action: page_of(tool.id.as_str()),
            rule: markdown::render(rise::AS_HEALTHY),
            ..laid_over(&tool, kind, unit, chart(&tests, unit)?)
        },
        tests: tests
            .iter()
            .enumerate()
            .map(|(place, test)| line(place + 1, test))
            .collect(),
    })
}

/// The newest kept calculations of a tool.
pub(super) struct Newest {
    pub(super) tool: Tool,
    /// The newest first.
    pub(super) kept: Vec<KeptReport>,
    /// How many there are in all.
    pub(super) count: u64,
}

/// The newest so many of a kind.
pub(super) async fn newest(app: &App, id: &str, kind: Named, most: i64) -> Result<Newest, Fault> {
    let asker = app.asker();
    let tool = app
        .store
        .tool(&asker, id)
        .await?
        .ok_or_else(|| Fault::NotFound(format!("The fleet has no tool called {id:?}.")))?;
    let code = tool.id.as_str();
    let kept = app
        .store
        .kept_reports(&asker, code, kind.id(), false, most)
        .await?;
    let count = app.store.kept_count(&asker, code, kind.id()).await?;
    Ok(Newest {
        kept,
        count: count.unsigned_abs(),
        tool,
    })
}

/// The frame of a page of such calculations, below its tool.
pub(super) fn framed(what: &str, tool: &Tool) -> Page {
    let mut page = Page::new(format!("{what} of {}", tool.id), Section::Fleet);
    page.trail = vec![
        Link::new("Fleet", "/fleet"),
        Link::new(tool.id.as_str(), place("/tools", tool.id.as_str())),
    ];
    page
}

/// What follows from tool, kind, unit and plot alone; the rest is left empty.
pub(super) fn laid_over(
    tool: &Tool,
    kind: Named,
    unit: PressureUnit,
    chart: Option<Chart>,
) -> LaidOver {
    LaidOver {
        code: tool.id.to_string(),
        unit: chart.is_some().then(|| {
            let options: Vec<SelectOption> = units!(PressureUnit, unit);
            Field::flat_select("unit", "Unit of the plot", options).with(unit.id())
        }),
        chart,
        calculate: address(
            &format!("/calculations/{}", kind.id()),
            [("tool", tool.id.as_str())],
        ),
        ..LaidOver::default()
    }
}

/// The curve of a kept calculation, numbered as in the table.
pub(super) fn numbered(
    number: u8,
    kept: &KeptReport,
    about: &str,
    points: Vec<(f64, f64)>,
) -> Series {
    Series {
        name: format!(
            "{number}: {}, incident {}{about}",
            show::day(kept.made_at),
            kept.incident
        ),
        mark: Mark::Numbered(number),
        points,
    }
}

/// About so many points of each curve, as rows of the table beside the plot.
pub(super) fn listed(series: &[Series], most: usize) -> Vec<Vec<String>> {
    let rows = series.iter().zip(1..).flat_map(|(series, number)| {
        let step = series.points.len().div_ceil(most).max(1);
        let points = series.points.iter().step_by(step);
        points.map(move |(x, y)| vec![format!("{number}"), cell(Some(*x)), cell(Some(*y))])
    });
    rows.collect()
}

/// The unit of pressure that an address asks for, or else another.
pub(super) fn chosen_unit(asked: &Asked, otherwise: PressureUnit) -> Result<PressureUnit, Fault> {
    let Some(text) = asked.get("unit") else {
        return Ok(otherwise);
    };
    text.parse().map_err(|_| {
        Fault::Refused(vec![Refusal::new(
            "unit",
            format!("{text:?} is not a unit of pressure"),
            PressureUnit::ALL.map(PressureUnit::id).join(", "),
        )])
    })
}

/// A value with its low and high, of the newer and of the other.
pub(super) type Two = [Option<[f64; 3]>; 2];

/// How values stand to another's by their intervals, in words; what is said of several is said once.
pub(super) fn interval_words<const N: usize>(compared: [(&str, Two); N]) -> String {
    let mut told: Vec<([&str; 2], Vec<&str>)> = Vec::new();
    for (what, two) in compared {
        let of_one_and_several = match two {
            [Some([_, low, _]), Some([_, _, high])] if low > high => [
                "is higher beyond both intervals",
                "are higher beyond both intervals",
            ],
            [Some([_, _, high]), Some([_, low, _])] if high < low => [
                "is lower beyond both intervals",
                "are lower beyond both intervals",
            ],
            [Some(_), Some(_)] => [
                "does not differ beyond both intervals",
                "do not differ beyond both intervals",
            ],
            _ => [
                "is not compared, since it is not known of both",
                "are not compared, since they are not known of both",
            ],
        };
        match told
            .iter_mut()
            .find(|(said, _)| *said == of_one_and_several)
        {
            Some((_, of)) => of.push(what),
            None => told.push((of_one_and_several, vec![what])),
        }
    }
    let parts = told.into_iter().map(|([of_one, of_several], of)| {
        let stands = if of.len() > 1 { of_several } else { of_one };
        format!("{} {stands}", show::all_of(&of))
    });
    parts.collect::<Vec<_>>().join("; ")
}

/// The used readings above the pressure at which the rise began: fitted where there is a fit,
/// since one reading scatters, else the first reading.
fn curve(rise: &KeptRise) -> Vec<(f64, f64)> {
    let [begin, end] = rise.used_seconds;
    let mut used = rise
        .points
        .iter()
        .filter(|point| (begin..=end).contains(&point.seconds))
        .peekable();
    let Some(start) = used
        .peek()
        .map(|point| point.fitted_pascals.unwrap_or(point.pascals))
    else {
        return Vec::new();
    };
    used.map(|point| (point.seconds - begin, point.pascals - start))
        .collect()
}

fn line(number: usize, test: &Test) -> RiseLine {
    let in_millibar = |rate: &Option<Ranged<ThroughputUnit>>| match rate {
        None => ("–".to_owned(), String::new()),
        Some(rate) => (
            figures(10.0 * rate.value),
            format!(
                "{} to {}",
                figures(10.0 * rate.low),
                figures(10.0 * rate.high)
            ),
        ),
    };
    let (leak, leak_interval) = in_millibar(&test.rise.leak_rate);
    let (outgassing, outgassing_interval) = in_millibar(&test.rise.outgassing_rate);
    let KeptReport { id, incident, .. } = test.kept;
    RiseLine {
        number,
        when: show::moment(test.kept.made_at),
        pumped: test.rise.pumped_for.map_or_else(|| "–".to_owned(), typed),
        href: format!("/incidents/{incident}/calculations/{id}"),
        incident,
        leak,
        leak_interval,
        outgassing,
        outgassing_interval,
        verdict: test.rise.verdict.clone(),
        after_fix: test.kept.after_fix,
    }
}

/// The newest against the one before, in one sentence.
fn comparison(tests: &[Test]) -> String {
    let (newest, before) = match tests {
        [] => return String::new(),
        [_] => return "There is one test alone, and none before it to compare it with.".to_owned(),
        [newest, before, ..] => (newest, before),
    };
    let two = |rate: fn(&KeptRise) -> &Option<Ranged<ThroughputUnit>>| {
        [newest, before].map(|test| {
            rate(&test.rise)
                .as_ref()
                .map(|rate| [rate.value, rate.low, rate.high])
        })
    };
    let mut words = format!(
        "The newest test ({}) against the one before ({}): {}.",
        show::moment(newest.kept.made_at),
        show::moment(before.kept.made_at),
        interval_words([
            ("the leak rate", two(|rise| &rise.leak_rate)),
            ("gas from inside", two(|rise| &rise.outgassing_rate)),
            ("the whole gas load", two(|rise| &rise.gas_load)),
        ])
    );
    if let (Some(now), Some(then)) = (newest.rise.pumped_for, before.rise.pumped_for)
        && now != then
    {
        words.push_str(&format!(
            " The chamber had been pumped for {} and for {}: the longer, the less gas from inside.",
            typed(now),
            typed(then)
        ));
    }
    words
}

fn chart(tests: &[Test], unit: PressureUnit) -> Result<Option<Chart>, Fault> {
    let longest = tests
        .iter()
        .flat_map(|test| test.curve.last())
        .map(|last| last.0)
        .fold(0.0, f64::max);
    let (time_unit, seconds) = if longest > LONG {
        ("min", 60.0)
    } else {
        ("s", 1.0)
    };
    // A pressure below the start is a difference, which no pressure can be.
    let per_pascal = Pressure::from_pascals(1.0).map_or(1.0, |one| one.in_unit(unit));
    let curves: Vec<Vec<(f64, f64)>> = tests
        .iter()
        .map(|test| {
            test.curve
                .iter()
                .map(|(time, rise)| (time / seconds, rise * per_pascal))
                .collect()
        })
        .collect();
    let tops: Vec<f64> = curves
        .iter()
        .filter_map(|curve| curve.iter().map(|point| point.1).reduce(f64::max))
        .filter(|top| *top > 0.0)
        .collect();
    let highest = tops.iter().copied().fold(0.0, f64::max);
    let lowest = tops.iter().copied().fold(f64::INFINITY, f64::min);
    let decades = highest > APART * lowest;
    let all = || curves.iter().flatten();
    let across = format!("Time since the valve closed in {time_unit}");
    let up = format!("Rise above the start in {unit}");
    // By decades the first scattered readings would stretch the axes over nothing.
    let shown = |point: &&(f64, f64)| !decades || (point.0 > 0.0 && point.1 > 1e-3 * lowest);
    let times: Vec<f64> = all().filter(shown).map(|point| point.0).collect();
    let rises: Vec<f64> = all().filter(shown).map(|point| point.1).collect();
    let axes = if decades {
        Axis::decades(&across, times).zip(Axis::decades(&up, rises))
    } else {
        Axis::linear(&across, times).zip(Axis::linear(&up, rises))
    };
    let Some((across, up)) = axes else {
        return Ok(None);
    };
    let title = "Rise against time since the valve closed";
    let description = format!(
        "{}, each as its rise above the pressure at its start; {}.",
        show::counted(
            tops.len() as u64,
            "rise test",
            "rise tests laid over each other"
        ),
        if decades {
            "both axes by decades, since the rises differ widely"
        } else {
            "both axes linear"
        }
    );
    let drawn: Vec<Series> = tests
        .iter()
        .zip(&curves)
        .zip(1u8..)
        .map(|((test, curve), number)| {
            let points = curve.iter().filter(shown).copied().collect();
            numbered(number, &test.kept, "", points)
        })
        .collect();
    let rows = listed(&drawn, LISTED);
    let svg = Curves {
        title,
        description: &description,
        across,
        up,
        series: drawn,
    }
    .draw()?;
    Ok(Some(Chart {
        id: "chart-rises".to_owned(),
        title: title.to_owned(),
        description,
        svg,
        table: DataTable {
            caption: format!("Rise above the start, about {LISTED} points of each test"),
            headings: vec![
                "Test".to_owned(),
                format!("Time in {time_unit}"),
                format!("Rise in {unit}"),
            ],
            rows,
        },
    }))
}
