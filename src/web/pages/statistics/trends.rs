//! What gets worse and what better.

use axum::{
    extract::State,
    response::{IntoResponse, Response},
};

use super::{
    SHOWN, ask, chance, day, figure, figures, file, machine_day, number, refused, rules_of,
    selection, unwatched, watched, ways,
};
use crate::{
    statistics::{
        Dimension,
        observation::Watch,
        trends::{CALLED, Change, TESTED_FROM, Trend, Trends, Verdict},
    },
    web::{
        fault::{self, Fault},
        fields::Asked,
        groupings::{self, GROUPINGS, Grouping},
        plot::{Axis, Curves, Mark, Series},
        show,
        state::App,
        views::{
            Tone,
            chart::{Chart, DataTable},
            page::{Page, Section},
            statistics::{self, Part, StatisticsPage},
        },
    },
};

const PATH: &str = "/statistics/trends";

const TITLE: &str = "What gets worse, what better";

/// A change is taken for likely from this chance on.
const LIKELY: f64 = 0.9;

pub(super) async fn show(State(app): State<App>, asked: Asked) -> Result<Response, Fault> {
    let selection = selection(&app, &asked).await?;
    if !selection.refusals.is_empty() {
        return refused(TITLE, PATH, &asked, selection.fields, &selection.refusals);
    }
    let filter = selection.filter.clone();
    let wanted: Vec<String> = app
        .catalogue
        .classes()
        .map(|class| class.id.to_string())
        .filter(|_| filter.class.is_none())
        .collect();
    let (trends, classes, tools_shown, months) = ask(&app, move |knowledge, today| {
        let trends = knowledge.trends(&filter, today);
        let classes = knowledge.trends_of_classes(&filter, wanted, today);
        let shown = trends.tools.iter().take(SHOWN);
        let tools: Vec<Trend> = shown
            .map(|trend| Trend {
                change: knowledge.change_of_tool(&trend.id, &filter, today),
                ..trend.clone()
            })
            .collect();
        (trends, classes, tools, knowledge.per_month(&filter, today))
    })
    .await?;
    let watch = &trends.watch;
    let empty = unwatched(watch, selection.filtered);
    let mut sections = Vec::new();
    if empty.is_none() {
        let export = asked.address("/statistics/trends.csv", "by", "");
        sections.push(together(&trends, &months)?);
        if !classes.is_empty() {
            let rows = classes
                .iter()
                .map(|trend| row(&show::class_name(&app.catalogue, &trend.id), trend))
                .collect();
            sections.push(table_part(
                "classes",
                "By tool class",
                "",
                "Tool class",
                rows,
                Some(asked.address("/statistics/trends.csv", "by", "tool_class")),
            ));
        }
        sections.push(causes(&app, &trends, &export));
        sections.push(tools(&tools_shown, trends.tools.len(), &asked));
    }
    let summary = if watch.tools == 0 {
        String::new()
    } else {
        format!(
            "{} in {} tool-months",
            show::counted(watch.events, "closed incident", "closed incidents"),
            figure(watch.tool_days / crate::statistics::trends::DAYS_PER_MONTH)
        )
    };
    let remarks: Vec<String> = empty
        .is_none()
        .then(|| watched(watch))
        .into_iter()
        .collect();
    let page = fault::page(&StatisticsPage {
        page: Page::new(TITLE, Section::Statistics),
        ways: ways(&asked, PATH),
        action: PATH.to_owned(),
        summary: selection.summary(&app, summary),
        filters: selection.fields,
        filtered: selection.filtered,
        empty,
        remarks,
        sections,
        method: method(watch),
        ..StatisticsPage::default()
    })?;
    Ok(page.into_response())
}

/// What trends are listed by.
fn listed_by() -> Vec<Grouping> {
    let tested = [Dimension::Cause, Dimension::Tool, Dimension::Class];
    let groupings = GROUPINGS.into_iter();
    groupings
        .filter(|grouping| tested.contains(&grouping.dimension))
        .collect()
}

/// `GET /statistics/trends.csv`: every cause, or with `by=tool` every tool, or with
/// `by=tool_class` every class.
pub(super) async fn table(State(app): State<App>, asked: Asked) -> Result<Response, Fault> {
    let mut selection = selection(&app, &asked).await?;
    let grouping = selection.or_refuse(groupings::asked(&asked, &listed_by()));
    let filter = selection.sound()?.filter;
    let grouping = grouping.unwrap_or(GROUPINGS[0]);
    let classes: Vec<String> = app
        .catalogue
        .classes()
        .map(|class| class.id.to_string())
        .filter(|id| filter.class.as_ref().is_none_or(|class| class == id))
        .collect();
    let rows = ask(&app, move |knowledge, today| {
        let listed = match grouping.dimension {
            Dimension::Class => knowledge.trends_of_classes(&filter, classes, today),
            Dimension::Tool => {
                let trends = knowledge.trends(&filter, today);
                let with_change = trends.tools.iter().map(|trend| Trend {
                    change: knowledge.change_of_tool(&trend.id, &filter, today),
                    ..trend.clone()
                });
                with_change.collect()
            }
            _ => knowledge.trends(&filter, today).causes.clone(),
        };
        listed.iter().map(cells).collect::<Vec<_>>()
    })
    .await?;
    let name = format!("trends-by-{}.csv", grouping.path);
    let headings = [
        grouping.id,
        "cases",
        "tool_days",
        "rate_per_tool_month",
        "rate_low",
        "rate_high",
        "laplace_z",
        "laplace_p",
        "laplace_p_adjusted",
        "power_law_chi_square",
        "power_law_p",
        "power_law_shape",
        "verdict",
        "change_chance",
        "change_day",
        "change_day_low",
        "change_day_high",
        "rate_before_change",
        "rate_after_change",
    ];
    file(&name, &headings, rows)
}

fn cells(trend: &Trend) -> Vec<String> {
    let rate = trend.rate();
    let day = |day: Option<i64>| day.map_or_else(String::new, machine_day);
    let change = trend.change;
    vec![
        trend.id.clone(),
        trend.events.to_string(),
        number(Some(trend.tool_days)),
        number(rate.map(|rate| rate.value)),
        number(rate.map(|rate| rate.interval.low)),
        number(rate.map(|rate| rate.interval.high)),
        number(trend.laplace.map(|test| test.statistic)),
        number(trend.laplace.map(|test| test.p())),
        number(trend.adjusted),
        number(trend.power_law_test.map(|test| test.statistic)),
        number(trend.power_law_test.map(|test| test.p())),
        number(trend.power_law.map(|law| law.shape)),
        trend.verdict.id().to_owned(),
        number(change.map(|change| change.chance)),
        day(change.map(|change| change.day)),
        day(change.map(|change| change.days.0)),
        day(change.map(|change| change.days.1)),
        number(change.map(|change| change.before)),
        number(change.map(|change| change.after)),
    ]
}

fn together(trends: &Trends, months: &[(i64, u64, f64)]) -> Result<Part, Fault> {
    let all = &trends.all;
    let (tone, headline) = match all.verdict {
        Verdict::Rising => (
            Tone::Bad,
            "Losses of base pressure come faster than before.",
        ),
        Verdict::Falling => (
            Tone::Good,
            "Losses of base pressure come more slowly than before.",
        ),
        Verdict::NotShown => (
            Tone::Unsure,
            "The data show no trend. That is not to say that there is none.",
        ),
        Verdict::TooFew => (Tone::Unsure, "Too few cases to test for a trend."),
    };
    let mut reasons = Vec::new();
    if let Some(rate) = all.rate() {
        reasons.push(format!(
            "{} a tool and month (95 %: {}), from {}.",
            figure(rate.value),
            figures(rate.interval),
            show::counted(all.events, "case", "cases")
        ));
    }
    if let (Some(laplace), Some(power)) = (all.laplace, all.power_law_test) {
        reasons.push(format!(
            "Laplace’s test: z = {:.2}, chance {} if the rate is constant. Power-law test \
             (MIL-HDBK-189): χ² = {} with {} degrees, chance {}.",
            laplace.statistic,
            chance(laplace.p()),
            figure(power.statistic),
            2 * power.events,
            chance(power.p())
        ));
    }
    if let Some(change) = all.change {
        reasons.push(changed(&change));
    }
    let mut charts = Vec::new();
    // The first and the last month are often not whole.
    let points: Vec<(f64, f64)> = months
        .iter()
        .enumerate()
        .filter(|(_, (_, _, exposure))| *exposure > 0.0)
        .map(|(at, (_, events, exposure))| (at as f64, *events as f64 / exposure))
        .collect();
    let up = points.iter().map(|(_, rate)| *rate).chain([0.0]);
    if let (Some((first, ..)), Some(across), Some(up)) = (
        months.first(),
        Axis::linear("Months since the first", points.iter().map(|(x, _)| *x)),
        Axis::linear("Cases a tool and month", up),
    ) && points.len() > 2
    {
        let title = "Cases a tool and month";
        let description = format!(
            "Closed incidents in each month over the tool-months in service, from {}; the line is \
             the rate over all of it.",
            day(*first)
        );
        let mean = all.rate().map_or(0.0, |rate| rate.value);
        let last = points.last().map_or(0.0, |(x, _)| *x);
        charts.push(Chart {
            id: "months".to_owned(),
            title: title.to_owned(),
            description: description.clone(),
            svg: Curves {
                title,
                description: &description,
                across,
                up,
                series: vec![
                    Series {
                        name: "each month".to_owned(),
                        mark: Mark::Stems,
                        points: points.clone(),
                    },
                    Series {
                        name: "all months together".to_owned(),
                        mark: Mark::Dashes,
                        points: vec![(0.0, mean), (last, mean)],
                    },
                ],
            }
            .draw()?,
            table: DataTable {
                caption: title.to_owned(),
                headings: [
                    "Month from",
                    "Cases",
                    "Tool-months",
                    "Cases a tool and month",
                ]
                .map(str::to_owned)
                .to_vec(),
                rows: months
                    .iter()
                    .map(|(start, events, exposure)| {
                        vec![
                            day(*start),
                            events.to_string(),
                            figure(*exposure),
                            if *exposure > 0.0 {
                                figure(*events as f64 / exposure)
                            } else {
                                "–".to_owned()
                            },
                        ]
                    })
                    .collect(),
            },
        });
    }
    Ok(Part {
        id: "together".to_owned(),
        title: "All causes together".to_owned(),
        verdict: Some(statistics::Verdict {
            tone,
            headline: headline.to_owned(),
            reasons,
        }),
        charts,
        ..Part::default()
    })
}

fn causes(app: &App, trends: &Trends, export: &str) -> Part {
    let called = |verdict: Verdict| {
        let names: Vec<String> = trends
            .causes
            .iter()
            .filter(|trend| trend.verdict == verdict)
            .map(|trend| app.catalogue.cause_name(&trend.id).to_owned())
            .collect();
        names
    };
    let tested = trends.causes.iter().filter(|t| t.laplace.is_some()).count();
    let (worse, better) = (called(Verdict::Rising), called(Verdict::Falling));
    let mut reasons = Vec::new();
    if !worse.is_empty() {
        reasons.push(format!("Faster: {}.", worse.join("; ")));
    }
    if !better.is_empty() {
        reasons.push(format!("More slowly: {}.", better.join("; ")));
    }
    reasons.push(format!(
        "{tested} of {} causes have the {TESTED_FROM} cases a test needs.",
        trends.causes.len()
    ));
    if worse.len() + better.len() > 0 {
        reasons.push(format!(
            "About one in {:.0} of the trends called may be false.",
            1.0 / CALLED
        ));
    }
    let headline = match (worse.len(), better.len()) {
        (0, 0) => "No cause stands clear of chance.".to_owned(),
        (more, fewer) => format!(
            "{} faster, {} more slowly.",
            show::counted(more as u64, "cause comes", "causes come"),
            show::counted(fewer as u64, "cause comes", "causes come")
        ),
    };
    let rows: Vec<Vec<String>> = trends
        .causes
        .iter()
        .take(SHOWN)
        .map(|trend| {
            let name = show::capital(app.catalogue.cause_name(&trend.id));
            row(&name, trend)
        })
        .collect();
    let mut part = table_part(
        "causes",
        "By cause",
        "Rates count the tools that have the component. Smallest chances first.",
        "Cause",
        rows,
        Some(export.to_owned()),
    );
    part.verdict = Some(statistics::Verdict {
        tone: if worse.is_empty() {
            Tone::Plain
        } else {
            Tone::Bad
        },
        headline,
        reasons,
    });
    part
}

fn tools(shown: &[Trend], of: usize, asked: &Asked) -> Part {
    let rows = shown.iter().map(|trend| row(&trend.id, trend)).collect();
    let left = of.saturating_sub(shown.len());
    let intro = if left > 0 {
        format!("The {SHOWN} with the smallest chances; {left} more are in the file.")
    } else {
        "Tools with at least one case. Smallest chances first.".to_owned()
    };
    table_part(
        "tools",
        "By tool",
        &intro,
        "Tool",
        rows,
        Some(asked.address("/statistics/trends.csv", "by", "tool")),
    )
}

fn table_part(
    id: &str,
    title: &str,
    intro: &str,
    first: &str,
    rows: Vec<Vec<String>>,
    export: Option<String>,
) -> Part {
    Part {
        id: id.to_owned(),
        title: title.to_owned(),
        intro: intro.to_owned(),
        tables: vec![DataTable {
            caption: format!("Rates and trends, {}", title.to_lowercase()),
            headings: [
                first,
                "Cases",
                "Cases a tool and month",
                "95 % interval",
                "What the data show",
                "Chance, adjusted",
                "Laplace z",
                "Power-law chance",
                "If the rate changed once: when, and the chance that it did",
            ]
            .map(str::to_owned)
            .to_vec(),
            rows,
        }],
        export,
        ..Part::default()
    }
}

fn row(name: &str, trend: &Trend) -> Vec<String> {
    let rate = trend.rate();
    vec![
        name.to_owned(),
        trend.events.to_string(),
        rate.map_or_else(|| "–".to_owned(), |rate| figure(rate.value)),
        rate.map_or_else(|| "–".to_owned(), |rate| figures(rate.interval)),
        words(trend.verdict).to_owned(),
        trend.adjusted.map_or_else(|| "–".to_owned(), chance),
        trend
            .laplace
            .map_or_else(|| "–".to_owned(), |test| format!("{:.2}", test.statistic)),
        trend
            .power_law_test
            .map_or_else(|| "–".to_owned(), |test| chance(test.p())),
        trend.change.map_or_else(
            || "–".to_owned(),
            |change| {
                format!(
                    "{} (95 %: {} to {}), chance {}",
                    day(change.day),
                    day(change.days.0),
                    day(change.days.1),
                    likelihood(change.chance)
                )
            },
        ),
    ]
}

fn words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::TooFew => "too few to test",
        Verdict::NotShown => "no trend shown",
        Verdict::Rising => "comes faster",
        Verdict::Falling => "comes more slowly",
    }
}

/// When the rate changed, if it did; no more is claimed than the chance allows.
fn changed(change: &Change) -> String {
    let when = format!(
        "about {} (95 %: {} to {}), from {} to {} a tool and month",
        day(change.day),
        day(change.days.0),
        day(change.days.1),
        figure(change.before),
        figure(change.after)
    );
    let chance = likelihood(change.chance);
    if change.chance >= LIKELY {
        format!("The rate changed {when}; chance {chance} that there was one sudden change.")
    } else if change.chance > 0.5 {
        format!(
            "One sudden change of the rate is not shown: its chance is {chance}. If there was one, \
             it came {when}."
        )
    } else {
        format!(
            "A rate without a sudden change is likelier: the chance of one is {chance}. If there \
             was one all the same, it came {when}."
        )
    }
}

/// A chance that is never quite none or all.
fn likelihood(chance: f64) -> String {
    if chance > 0.999 {
        "above 99.9 %".to_owned()
    } else if chance < 0.001 {
        "below 0.1 %".to_owned()
    } else {
        show::percent(chance)
    }
}

fn method(watch: &Watch) -> Vec<String> {
    let tests = [
        "Laplace’s test (Cox and Lewis 1966; NIST/SEMATECH e-Handbook 8.2.3.4) and the power-law \
         test of MIL-HDBK-189, time-truncated, on the summed days in service of the tools, so that \
         a fleet that grows or shrinks is no trend. Both chances are two-sided. Rates: exact \
         Poisson interval (Garwood 1936).",
        "Over all causes, over all tools, and over all classes that have enough cases to be tested, the chances of \
         Laplace’s test are adjusted by Benjamini and Hochberg (1995); below 0.05 adjusted a trend \
         is called. Change: one step of a Poisson rate with a flat prior for its time and even odds \
         beforehand (Raftery and Akman 1986); the day named is the middle of its distribution. It is looked for in every row, and its chances are not \
         adjusted for that: among many rows a few show one by chance.",
        "All of these take cases to come independently. The same trouble coming back within days \
         makes chances look smaller than they are.",
    ]
    .map(str::to_owned);
    rules_of(watch).into_iter().chain(tests).collect()
}
