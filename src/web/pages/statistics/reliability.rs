//! Time between losses of base pressure, time down for one, and what is left of the time.

use axum::{
    extract::State,
    response::{IntoResponse, Response},
};

use super::{
    Selection, ask, figure, file, hours, number, refused, rules_of, selection, unwatched, watched,
    ways,
};
use crate::{
    knowledge::Knowledge,
    statistics::{
        Filter, Interval, Spread,
        interval::{MeanTime, mean_time_between_failures},
        observation::Watch,
        uptime,
    },
    web::{
        fault::{self, Fault},
        fields::Asked,
        show,
        state::App,
        views::{
            chart::DataTable,
            page::{Page, Section},
            statistics::{KeyFigure, Part, StatisticsPage},
        },
    },
};

const PATH: &str = "/statistics/reliability";
const TITLE: &str = "Time between losses of base pressure";

/// Tools that are looked at together. Every figure is of the cases on days they were watched.
struct Unit {
    id: String,
    watch: Watch,
    between: Option<MeanTime>,
    down: Spread,
    labour: Spread,
    /// Share of the time in service down for a loss of base pressure.
    lost: Option<(f64, Interval)>,
}

fn unit(knowledge: &Knowledge, id: String, filter: &Filter, today: i64) -> Unit {
    let (watch, counted) = knowledge.watched(filter, today);
    let hours = 24.0 * watch.tool_days;
    Unit {
        id,
        between: mean_time_between_failures(watch.tool_days, watch.events, 0.95).ok(),
        lost: uptime::share_lost(watch.events, hours, &counted.down).ok(),
        down: counted.down,
        labour: counted.labour,
        watch,
    }
}

async fn units(app: &App, selection: &Selection) -> Result<(Unit, Vec<Unit>, Vec<Unit>), Fault> {
    let filter = selection.filter.clone();
    let classes: Vec<String> = app
        .catalogue
        .classes()
        .map(|class| class.id.to_string())
        .filter(|id| filter.class.as_ref().is_none_or(|wanted| wanted == id))
        .collect();
    let sites: Vec<String> = selection
        .sites
        .iter()
        .map(|site| site.code.to_string())
        .filter(|code| filter.site.as_ref().is_none_or(|wanted| wanted == code))
        .collect();
    ask(app, move |knowledge, today| {
        let all = unit(knowledge, String::new(), &filter, today);
        let class = |id: String| {
            let filter = Filter {
                class: Some(id.clone()),
                ..filter.clone()
            };
            unit(knowledge, id, &filter, today)
        };
        let site = |code: String| {
            let filter = Filter {
                site: Some(code.clone()),
                ..filter.clone()
            };
            unit(knowledge, code, &filter, today)
        };
        let seen = |unit: &Unit| unit.watch.tools > 0;
        (
            all,
            classes.into_iter().map(class).filter(seen).collect(),
            sites.into_iter().map(site).filter(seen).collect(),
        )
    })
    .await
}

pub(super) async fn show(State(app): State<App>, asked: Asked) -> Result<Response, Fault> {
    let selection = selection(&app, &asked).await?;
    if !selection.refusals.is_empty() {
        return refused(TITLE, PATH, &asked, selection.fields, &selection.refusals);
    }
    let (all, classes, sites) = units(&app, &selection).await?;
    let empty = unwatched(&all.watch, selection.filtered);
    let export = asked.address("/statistics/reliability.csv", "by", "");
    let mut sections = Vec::new();
    if empty.is_none() {
        let class_name = |id: &str| show::class_name(&app.catalogue, id);
        let site_name = |code: &str| {
            selection
                .sites
                .iter()
                .find(|site| site.code.as_str() == code)
                .map_or_else(|| code.to_owned(), |site| format!("{code} · {}", site.name))
        };
        sections.push(part(
            "classes",
            "By tool class",
            &classes,
            class_name,
            &export,
        ));
        sections.push(part("sites", "By site", &sites, site_name, &export));
        sections.push(states());
    }
    let remarks: Vec<String> = empty
        .is_none()
        .then(|| {
            format!(
                "{} Every figure here is of the {} on those days.",
                watched(&all.watch),
                show::counted(all.watch.events, "case", "cases")
            )
        })
        .into_iter()
        .collect();
    let page = fault::page(&StatisticsPage {
        page: Page::new(TITLE, Section::Statistics),
        ways: ways(&asked, PATH),
        action: PATH.to_owned(),
        filtered: selection.filtered,
        summary: if empty.is_some() {
            String::new()
        } else {
            let counted = show::counted(all.watch.events, "closed incident", "closed incidents");
            selection.summary(&app, format!("{counted} while watched"))
        },
        figures: if empty.is_some() {
            Vec::new()
        } else {
            key_figures(&all)
        },
        filters: selection.fields,
        empty,
        remarks,
        sections,
        method: method(&all.watch),
    })?;
    Ok(page.into_response())
}

/// `GET /statistics/reliability.csv`: a row for everything, each class and each site.
pub(super) async fn table(State(app): State<App>, asked: Asked) -> Result<Response, Fault> {
    let selection = selection(&app, &asked).await?.sound()?;
    let (all, classes, sites) = units(&app, &selection).await?;
    let cells = |kind: &str, unit: &Unit| {
        let spread = |spread: &Spread| {
            [
                number(spread.mean),
                number(spread.mean_interval.map(|i| i.low)),
                number(spread.mean_interval.map(|i| i.high)),
            ]
        };
        let mut row = vec![
            kind.to_owned(),
            unit.id.clone(),
            unit.watch.tools.to_string(),
            number(Some(unit.watch.tool_days)),
            unit.watch.events.to_string(),
            number(unit.between.and_then(|between| between.estimate)),
            number(unit.between.map(|between| between.low)),
            number(unit.between.and_then(|between| between.high)),
        ];
        row.extend(spread(&unit.down));
        row.extend(spread(&unit.labour));
        row.extend([
            number(unit.lost.map(|lost| 1.0 - lost.0)),
            number(unit.lost.map(|lost| 1.0 - lost.1.high)),
            number(unit.lost.map(|lost| 1.0 - lost.1.low)),
        ]);
        row
    };
    let rows = std::iter::once(cells("all", &all))
        .chain(classes.iter().map(|unit| cells("tool_class", unit)))
        .chain(sites.iter().map(|unit| cells("site", unit)))
        .collect();
    let headings = [
        "of",
        "id",
        "tools",
        "tool_days",
        "cases_while_watched",
        "days_between",
        "days_between_low",
        "days_between_high",
        "down_hours_mean",
        "down_hours_mean_low",
        "down_hours_mean_high",
        "labour_minutes_mean",
        "labour_minutes_mean_low",
        "labour_minutes_mean_high",
        "not_down_for_this",
        "not_down_for_this_low",
        "not_down_for_this_high",
    ];
    file("reliability.csv", &headings, rows)
}

fn key_figures(all: &Unit) -> Vec<KeyFigure> {
    let (between, between_interval) = between(all);
    let (left, left_interval) = left(all);
    let mean = |name: &str, spread: &Spread, shown: &dyn Fn(f64) -> String| KeyFigure {
        name: name.to_owned(),
        value: spread.mean.map_or_else(|| "–".to_owned(), shown),
        detail: format!("{}, n = {}", interval(spread, shown), spread.sample),
    };
    vec![
        KeyFigure {
            name: "Mean time in service between losses, a tool".to_owned(),
            value: between,
            detail: format!("{between_interval}, n = {}", all.watch.events),
        },
        mean("Mean time down for one", &all.down, &hours),
        mean("Mean labour for one", &all.labour, &show::minutes),
        KeyFigure {
            name: "Not down for this".to_owned(),
            value: left,
            detail: format!("{left_interval}, n = {}", all.watch.events),
        },
    ]
}

fn interval(spread: &Spread, shown: &dyn Fn(f64) -> String) -> String {
    spread.mean_interval.map_or_else(
        || "no interval".to_owned(),
        |i| format!("{} to {}", shown(i.low), shown(i.high)),
    )
}

fn between(unit: &Unit) -> (String, String) {
    let days = |days: f64| format!("{} days", figure(days));
    match unit.between {
        Some(MeanTime {
            estimate: Some(estimate),
            low,
            high: Some(high),
        }) => (
            days(estimate),
            format!("{} to {} days", figure(low), figure(high)),
        ),
        Some(MeanTime { low, .. }) => (
            "no case".to_owned(),
            format!("at least {} (95 %)", days(low)),
        ),
        None => ("–".to_owned(), "no time in service".to_owned()),
    }
}

fn left(unit: &Unit) -> (String, String) {
    let percent = |share: f64| format!("{:.2} %", 100.0 * share);
    match unit.lost {
        Some((lost, interval)) => (
            percent(1.0 - lost),
            format!(
                "{} to {}",
                percent(1.0 - interval.high),
                percent(1.0 - interval.low)
            ),
        ),
        None if unit.watch.events == 0 => ("–".to_owned(), "no case".to_owned()),
        None => ("–".to_owned(), "two cases are needed".to_owned()),
    }
}

fn part(
    id: &str,
    title: &str,
    units: &[Unit],
    name: impl Fn(&str) -> String,
    export: &str,
) -> Part {
    let rows = units
        .iter()
        .map(|unit| {
            let (between, between_interval) = between(unit);
            let (left, left_interval) = left(unit);
            vec![
                name(&unit.id),
                unit.watch.tools.to_string(),
                unit.watch.events.to_string(),
                between,
                between_interval,
                unit.down.mean.map_or_else(|| "–".to_owned(), hours),
                interval(&unit.down, &hours),
                left,
                left_interval,
            ]
        })
        .collect();
    Part {
        id: id.to_owned(),
        title: title.to_owned(),
        tables: vec![DataTable {
            caption: format!(
                "Time between losses and time down, {}",
                title.to_lowercase()
            ),
            headings: [
                if id == "sites" { "Site" } else { "Tool class" },
                "Tools",
                "Cases while watched",
                "Mean time between",
                "95 % interval",
                "Mean time down",
                "95 % interval",
                "Not down for this",
                "95 % interval",
            ]
            .map(str::to_owned)
            .to_vec(),
            rows,
        }],
        export: Some(export.to_owned()),
        ..Part::default()
    }
}

/// The states of SEMI E10, and what the records know of each.
fn states() -> Part {
    let rows = [
        (
            "Productive time",
            "No. Nothing here records when a tool runs product.",
        ),
        ("Standby time", "No."),
        ("Engineering time", "No."),
        (
            "Scheduled downtime",
            "No. The days of planned services are, on the page of a tool, but not how long they took.",
        ),
        (
            "Unscheduled downtime",
            "In part: hours down for a lost base pressure. Other failures are not recorded here. \
             Waiting for people and parts is inside these hours and cannot be told apart.",
        ),
        (
            "Non-scheduled time",
            "No. Every day in service counts as 24 hours.",
        ),
    ]
    .map(|(state, known)| vec![state.to_owned(), known.to_owned()])
    .to_vec();
    Part {
        id: "states".to_owned(),
        title: "What these figures are, and what they are not".to_owned(),
        intro: "SEMI E10 sorts all time into six states. Mean productive time between failures, mean \
                time to repair and uptime are defined over them (terms as published there; from memory)."
            .to_owned(),
        tables: vec![DataTable {
            caption: "The six states and what is on record".to_owned(),
            headings: ["State", "On record"].map(str::to_owned).to_vec(),
            rows,
        }],
        ..Part::default()
    }
}

fn method(watch: &Watch) -> Vec<String> {
    let terms = [
        "Mean time between losses: days in service over cases, which is E10’s mean time between \
         failures with calendar time in service in place of productive time and with losses of base \
         pressure as the only failures. Productive time is shorter, so E10’s figure would be \
         shorter, for these failures. Interval: chi-square at a constant rate (NIST/SEMATECH \
         e-Handbook 8.4.5.1).",
        "Mean time down: hours from incidents. E10’s mean time to repair counts diagnosis, \
         correction and test without maintenance delay, so it is at most this; labour is people’s \
         time and may exceed it.",
        "Not down for this: one less hours down over hours in service. E10’s uptime also takes off \
         all other downtime, so it is at most this. Interval: hours down as a compound Poisson \
         sum, on the logarithm of the share lost.",
    ]
    .map(str::to_owned);
    rules_of(watch).into_iter().chain(terms).collect()
}
