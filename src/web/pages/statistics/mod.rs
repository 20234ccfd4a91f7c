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
    http::{HeaderName, header},
    response::{IntoResponse, Response},
    routing::get,
};

use super::search::filters;
use crate::{
    casebook::Site,
    day,
    knowledge::Knowledge,
    statistics::{Filter, Interval, Share, observation::Watch},
    web::{
        fault::Fault,
        fields::Asked,
        show,
        state::App,
        views::{
            Link,
            form::{Field, LineKind, SelectOption},
            statistics::Way,
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
}

async fn selection(app: &App, asked: &Asked) -> Result<Selection, Fault> {
    let asker = app.asker();
    let (narrowed, view) = filters(app, asked);
    let sites = app.store.sites(&asker).await?;
    let site = asker.only_site().or(asked.get("site")).map(str::to_owned);
    let mut tool = Field::line("tool", "Tool", LineKind::Text)
        .with(asked.get("tool").unwrap_or_default())
        .optional();
    if let Some(id) = asked.get("tool")
        && app.store.tool(&asker, id).await?.is_none()
    {
        tool.message = Some("is no tool of the fleet; its name stands on its page".to_owned());
    }
    let options = std::iter::once(SelectOption::new("", "Any site"))
        .chain(
            sites
                .iter()
                .map(|s| SelectOption::new(s.code.as_str(), format!("{} · {}", s.code, s.name))),
        )
        .collect();
    let mut from = Field::line("from", "From", LineKind::Date)
        .with(&view.from)
        .optional();
    from.message = view.message;
    let filter = Filter {
        class: narrowed.class.clone(),
        site: site.clone(),
        tool: asked.get("tool").map(str::to_owned),
        from_day: narrowed.from.map(|time| time.div_euclid(day::MICROSECONDS)),
        // `until` is the first moment after the last day.
        to_day: narrowed
            .until
            .map(|time| (time - 1).div_euclid(day::MICROSECONDS)),
    };
    if let (Some(from_day), Some(to_day)) = (filter.from_day, filter.to_day)
        && from_day > to_day
    {
        from.message = Some("lies after the last day".to_owned());
    }
    Ok(Selection {
        filter,
        fields: vec![
            Field::flat_select("tool_class", "Tool class", view.tool_class),
            Field::flat_select("site", "Site", options).with(site.as_deref().unwrap_or_default()),
            tool,
            from,
            Field::line("to", "To", LineKind::Date)
                .with(&view.to)
                .optional(),
        ],
        filtered: view.active || asked.get("site").or(asked.get("tool")).is_some(),
        sites,
    })
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

/// `18 % (12 to 26 %), 31 of 172`.
fn share(share: &Share) -> String {
    match (share.value, share.interval) {
        (Some(value), Some(interval)) => format!(
            "{} ({} to {}), {} of {}",
            show::percent(value),
            show::percent(interval.low),
            show::percent(interval.high),
            share.count,
            share.sample
        ),
        _ => "no case".to_owned(),
    }
}

/// Three figures, as many as a rate deserves.
fn figure(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let places = (2.0 - value.abs().log10().floor()).clamp(0.0, 6.0) as usize;
    show::trimmed(value, places)
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

/// By which rule, with what the data cannot tell.
fn rules_of(watch: &Watch) -> Vec<String> {
    let mut said = vec![
        "A site is watched from the day after its first known case (which opens the record and is \
         not counted), a tool from its first day in service if that is later. The watch ends with \
         the newest case on record: after it nobody can tell a quiet fleet from one that does not \
         report."
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
            "{} of the selection opened a record or lie outside the time in service, and are not \
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
    value.map_or_else(String::new, |value| format!("{value:.6}"))
}
