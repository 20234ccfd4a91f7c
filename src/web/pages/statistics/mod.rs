//! Statistics a manager can act on: shares and costs, trends, wear-out, time between
//! losses. Every page shows a selection (class, site, days) and gives its tables as files.

mod reliability;
mod replay;
mod shares;
mod trends;
mod wear_out;

use std::sync::Arc;

use axum::{
    Router,
    http::{HeaderName, StatusCode, header},
    response::{IntoResponse, Response},
    routing::get,
};

use crate::{
    casebook::{Refusal, Site},
    day,
    knowledge::Knowledge,
    statistics::{Filter, Interval, Share, observation::Watch},
    web::{
        asked_cases::{self, AskedCases},
        fault::{self, Fault},
        fields::Asked,
        show,
        state::App,
        views::{
            Link,
            form::{Field, LineKind, SelectOption},
            page::{Page, Section},
            statistics::{StatisticsPage, Way},
        },
    },
};

/// Rows a page shows at most; the file holds all.
const SHOWN: usize = 12;

/// The pages with their files.
pub(super) fn routes() -> Router<App> {
    Router::new()
        .route("/statistics", get(shares::show))
        .route("/statistics/table.csv", get(shares::table))
        .route("/statistics/pooled.csv", get(shares::pooled_table))
        .route("/statistics/trends", get(trends::show))
        .route("/statistics/trends.csv", get(trends::table))
        .route("/statistics/wear-out", get(wear_out::show))
        .route("/statistics/wear-out.csv", get(wear_out::table))
        .route("/statistics/reliability", get(reliability::show))
        .route("/statistics/reliability.csv", get(reliability::table))
        .route("/statistics/replay", get(replay::show))
}

/// What was asked for.
struct Selection {
    filter: Filter,
    /// Class, site and days.
    fields: Vec<Field>,
    filtered: bool,
    sites: Vec<Site>,
    /// What cannot be taken, so that nothing is counted.
    refusals: Vec<Refusal>,
}

async fn selection(app: &App, asked: &Asked) -> Result<Selection, Fault> {
    let AskedCases {
        filter,
        sites,
        refusals,
    } = asked_cases::read(app, asked).await?;
    let typed = |name: &str| asked.get(name).unwrap_or_default();
    let classes = std::iter::once(SelectOption::new("", "Any class")).chain(
        app.catalogue
            .classes()
            .map(|class| SelectOption::new(class.id.as_str(), class.name.as_str())),
    );
    let options = std::iter::once(SelectOption::new("", "Any site")).chain(
        sites
            .iter()
            .map(|s| SelectOption::new(s.code.as_str(), format!("{} · {}", s.code, s.name))),
    );
    let site = filter.site.as_deref().unwrap_or_default();
    let line =
        |name: &str, label: &str, kind| Field::line(name, label, kind).with(typed(name)).optional();
    let names = ["tool_class", "site", "tool", "from", "to"];
    Ok(Selection {
        fields: vec![
            Field::flat_select("tool_class", "Tool class", classes.collect())
                .with(typed("tool_class")),
            Field::flat_select("site", "Site", options.collect()).with(site),
            line("tool", "Tool", LineKind::Text),
            line("from", "From", LineKind::Date),
            line("to", "To", LineKind::Date),
        ],
        filtered: names.iter().any(|name| asked.get(name).is_some()),
        filter,
        sites,
        refusals,
    })
}

impl Selection {
    /// What was counted, with what it was narrowed to: a printed page shows no form.
    fn summary(&self, app: &App, counted: String) -> String {
        let filter = &self.filter;
        let class = filter.class.as_deref();
        let narrowed = [
            class.map(|class| show::class_name(&app.catalogue, class)),
            filter.site.as_ref().map(|site| format!("site {site}")),
            filter.tool.as_ref().map(|tool| format!("tool {tool}")),
            filter.from_day.map(|first| format!("from {}", day(first))),
            filter.to_day.map(|last| format!("to {}", day(last))),
        ];
        let narrowed: Vec<String> = narrowed.into_iter().flatten().collect();
        if narrowed.is_empty() || counted.is_empty() {
            counted
        } else {
            format!("{counted}: {}", narrowed.join(", "))
        }
    }

    /// Takes a choice from a list, or marks that it cannot be taken.
    fn or_refuse<T>(&mut self, choice: Result<T, Refusal>) -> Option<T> {
        choice.map_err(|refusal| self.refusals.push(refusal)).ok()
    }

    /// The refusals as a fault, for a file.
    fn sound(self) -> Result<Self, Fault> {
        if self.refusals.is_empty() {
            Ok(self)
        } else {
            Err(Fault::Refused(self.refusals))
        }
    }
}

/// The page with its form as it was typed, what is wrong with it, and nothing counted.
fn refused(
    title: &str,
    path: &str,
    asked: &Asked,
    mut fields: Vec<Field>,
    refusals: &[Refusal],
) -> Result<Response, Fault> {
    for refusal in refusals {
        let words = format!("{}; accepted: {}", refusal.problem, refusal.accepted);
        if let Some(field) = fields.iter_mut().find(|field| field.id == refusal.field) {
            field.message = Some(words);
        }
    }
    let page = fault::page(&StatisticsPage {
        page: Page::new(title, Section::Statistics),
        ways: ways(asked, path),
        action: path.to_owned(),
        filters: fields,
        filtered: true,
        empty: Some("Nothing is counted until what is marked above is mended.".to_owned()),
        ..StatisticsPage::default()
    })?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// The pages of statistics, with the selection kept.
fn ways(asked: &Asked, current: &str) -> Vec<Way> {
    [
        ("/statistics", "What the causes cost"),
        ("/statistics/trends", "Trends"),
        ("/statistics/wear-out", "Wear-out"),
        ("/statistics/reliability", "Time between losses"),
        ("/statistics/replay", "Would the advice have helped?"),
    ]
    .into_iter()
    .map(|(path, words)| Way {
        link: Link::new(words, asked.address(path, "by", "")),
        current: path == current,
    })
    .collect()
}

/// Asks the fleet's memory off the threads that serve requests.
async fn ask<T: Send + 'static>(
    app: &App,
    question: impl FnOnce(&Knowledge, i64) -> T + Send + 'static,
) -> Result<T, Fault> {
    let knowledge = Arc::clone(&app.knowledge);
    let today = app.today();
    Ok(tokio::task::spawn_blocking(move || question(&knowledge, today)).await?)
}

/// `4 Mar 2025`.
fn day(day: i64) -> String {
    day::start(day).map_or_else(String::new, show::day)
}

/// `2025-03-04`.
fn machine_day(day: i64) -> String {
    day::start(day).map_or_else(String::new, |time| time.strftime("%Y-%m-%d").to_string())
}

/// `18 % (12 to 26 %), 31 of 172`, or what there is none of.
fn share(share: &Share, none: &str) -> String {
    match (share.value, share.interval) {
        (Some(value), Some(interval)) => format!(
            "{} ({} to {}), {} of {}",
            show::percent(value),
            show::percent(interval.low),
            show::percent(interval.high),
            share.count,
            share.sample
        ),
        _ => none.to_owned(),
    }
}

/// Three figures, as many as a rate deserves.
fn figure(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if (1e4..1e15).contains(&value) {
        let unit = 10f64.powf(value.log10().floor() - 2.0);
        return show::count(((value / unit).round() * unit).round() as u64);
    }
    let places = (2.0 - value.abs().log10().floor()).clamp(0.0, 6.0) as usize;
    show::trimmed(value, places)
}

/// `31.5 h`: hours however many, so that a column and an interval can be compared.
fn hours(hours: f64) -> String {
    format!("{} h", figure(hours))
}

/// `0.03`, `below 0.001`.
fn chance(p: f64) -> String {
    if p < 0.001 {
        "below 0.001".to_owned()
    } else {
        show::trimmed(p, 3)
    }
}

fn figures(interval: Interval) -> String {
    format!("{} to {}", figure(interval.low), figure(interval.high))
}

/// What the tools were watched for.
fn watched(watch: &Watch) -> String {
    format!(
        "Counted against time in service: {} watched for {} tool-months, to {}.",
        show::counted(watch.tools, "tool", "tools"),
        figure(watch.tool_days / crate::statistics::trends::DAYS_PER_MONTH),
        day(watch.last_day),
    )
}

/// Why there is nothing to show of tools that nobody watched; none if there are any.
fn unwatched(watch: &Watch, filtered: bool) -> Option<String> {
    if watch.tools > 0 {
        return None;
    }
    Some(match (watch.outside, filtered) {
        (0, false) => "No closed incident is on record yet, so no tool is watched.".to_owned(),
        (0, true) => "No tool of this selection was watched on these days.".to_owned(),
        (outside, _) => format!(
            "No tool was watched on these days. {} on record, and the first of a site begins the \
             watch on the day after.",
            if outside == 1 {
                "1 case is".to_owned()
            } else {
                format!("{} cases are", show::count(outside))
            }
        ),
    })
}

/// By which rule, with what the data cannot tell.
fn rules_of(watch: &Watch) -> Vec<String> {
    let mut said = vec![
        "A site is watched from the day after its first known case (which opens the record and is \
         not counted), a tool from its first day in service if that is later. The watch ends the day \
         before the newest case on record (which closes it and is not counted either, since a watch \
         that ends for a case’s sake would make cases seem to come faster): after it nobody can tell \
         a quiet fleet from one that does not report."
            .to_owned(),
    ];
    if watch.undated > 0 {
        said.push(format!(
            "Of {} no first day in service is on record; they are watched from their own first \
             known case on, which is not counted.",
            show::counted(watch.undated, "tool", "tools")
        ));
    }
    if watch.outside > 0 {
        said.push(format!(
            "{} of the selection opened or closed a record or lie outside the time in service, and are not \
             counted here.",
            show::counted(watch.outside, "case", "cases")
        ));
    }
    said.push(
        "Open incidents are not counted until they are closed, so the last weeks look quieter \
         than they were. A tool counts as running until the last day in service that its page \
         says."
            .to_owned(),
    );
    said
}

/// A table for a spreadsheet.
fn file(name: &str, headings: &[&str], rows: Vec<Vec<String>>) -> Result<Response, Fault> {
    let internal = |error: anyhow::Error| Fault::Internal(Arc::new(error));
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer
        .write_record(headings)
        .map_err(|error| internal(error.into()))?;
    for row in rows {
        writer
            .write_record(row.iter().map(|cell| plain(cell)))
            .map_err(|error| internal(error.into()))?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| internal(error.into_error().into()))?;
    let headers: [(HeaderName, String); 2] = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ),
    ];
    Ok((headers, bytes).into_response())
}

/// A cell that no spreadsheet takes for a formula.
fn plain(cell: &str) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err() {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

/// A number of a file; empty if there is none.
fn number(value: Option<f64>) -> String {
    let written = value.map_or_else(String::new, |value| format!("{value:.6}"));
    // What rounds to nothing has no sign.
    if written == "-0.000000" {
        "0.000000".to_owned()
    } else {
        written
    }
}
