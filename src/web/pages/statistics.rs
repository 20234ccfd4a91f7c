//! Cause statistics, and the same as a table for a spreadsheet.

use axum::{
    extract::State,
    http::{HeaderName, header},
    response::{Html, IntoResponse, Response},
};

use super::search::filters;
use crate::{
    casebook::Finding,
    catalogue::ToolClass,
    search::Filters,
    statistics::{Breakdown, Dimension, Filter, Group, Spread},
    web::{
        fault::{self, Fault},
        fields::{Asked, address},
        show,
        state::App,
        views::{
            Link,
            bar::ShareBar,
            form::{Field, LineKind, SelectOption},
            page::{Page, Section},
            statistics::{CauseRow, CauseTable, StatisticsPage},
        },
    },
};

/// Microseconds in a day.
const DAY: i64 = 86_400_000_000;

/// Below this many cases a table says that little is known.
const FEW: u64 = 20;

const METHOD: &str = "Share is cases over the closed incidents of the class in this selection. \
    Interval: 95 % score interval (Wilson 1927; NIST/SEMATECH e-Handbook 7.2.4.1). Searches that \
    ended without a cause are counted as “not found”.";

pub(super) async fn show(State(app): State<App>, asked: Asked) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let (narrowed, view) = filters(&app, &asked);
    let site = asked.get("site");
    let mut tables = Vec::new();
    let mut total = 0;
    for class in app.catalogue.classes() {
        if narrowed
            .class
            .as_deref()
            .is_some_and(|id| id != class.id.as_str())
        {
            continue;
        }
        let counted = app
            .knowledge
            .by(Dimension::Cause, &filter(&narrowed, site, class));
        total += counted.sample;
        tables.push(class_table(&app, class, &counted, &asked));
    }
    tables.retain(|table| !table.rows.is_empty() || narrowed.class.is_some());
    let sites =
        std::iter::once(SelectOption::new("", "Any site"))
            .chain(
                app.store.sites(&asker).await?.into_iter().map(|s| {
                    SelectOption::new(s.code.as_str(), format!("{} · {}", s.code, s.name))
                }),
            )
            .collect();
    let mut from = Field::line("from", "From", LineKind::Date)
        .with(&view.from)
        .optional();
    from.message = view.message;
    fault::page(&StatisticsPage {
        page: Page::new("What the causes cost", Section::Statistics),
        filters: vec![
            Field::flat_select("tool_class", "Tool class", view.tool_class),
            Field::flat_select("site", "Site", sites).with(site.unwrap_or_default()),
            from,
            Field::line("to", "To", LineKind::Date)
                .with(&view.to)
                .optional(),
        ],
        filtered: view.active || site.is_some(),
        summary: show::counted(total, "closed incident", "closed incidents"),
        method: METHOD.to_owned(),
        tables,
    })
}

/// `GET /statistics/causes.csv`: the same figures, one row a class and cause.
pub(super) async fn table(State(app): State<App>, asked: Asked) -> Result<Response, Fault> {
    let (narrowed, _) = filters(&app, &asked);
    let mut writer = csv::Writer::from_writer(Vec::new());
    let internal = |error: csv::Error| Fault::Internal(std::sync::Arc::new(error.into()));
    writer
        .write_record([
            "tool_class",
            "cause",
            "kind",
            "cases",
            "sample",
            "share",
            "interval_low",
            "interval_high",
            "labour_minutes",
            "labour_minutes_median",
            "down_hours",
            "down_hours_median",
        ])
        .map_err(internal)?;
    for class in app.catalogue.classes() {
        if narrowed
            .class
            .as_deref()
            .is_some_and(|id| id != class.id.as_str())
        {
            continue;
        }
        let counted = app.knowledge.by(
            Dimension::Cause,
            &filter(&narrowed, asked.get("site"), class),
        );
        for group in &counted.groups {
            let finding = Finding::from(group.id.clone());
            let interval = group.share.interval;
            let end = |end: Option<f64>| end.map_or_else(String::new, |end| format!("{end:.6}"));
            writer
                .write_record([
                    class.id.as_str(),
                    &group.id,
                    kind(&app, &finding).0,
                    &group.share.count.to_string(),
                    &counted.sample.to_string(),
                    &end(group.share.value),
                    &end(interval.map(|interval| interval.low)),
                    &end(interval.map(|interval| interval.high)),
                    &show::trimmed(group.labour.sum, 2),
                    &end(group.labour.median),
                    &show::trimmed(group.down.sum, 2),
                    &end(group.down.median),
                ])
                .map_err(internal)?;
        }
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| Fault::Internal(std::sync::Arc::new(error.into_error().into())))?;
    let headers: [(HeaderName, &str); 2] = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8"),
        (
            header::CONTENT_DISPOSITION,
            "attachment; filename=\"causes.csv\"",
        ),
    ];
    Ok((headers, bytes).into_response())
}

fn filter(narrowed: &Filters, site: Option<&str>, class: &ToolClass) -> Filter {
    Filter {
        class: Some(class.id.to_string()),
        site: site.map(str::to_owned),
        from_day: narrowed.from.map(|time| time.div_euclid(DAY)),
        // `until` is the first moment after the last day.
        to_day: narrowed.until.map(|time| (time - 1).div_euclid(DAY)),
    }
}

fn class_table(app: &App, class: &ToolClass, counted: &Breakdown, asked: &Asked) -> CauseTable {
    let highs = counted
        .groups
        .iter()
        .filter_map(|group| Some(group.share.interval?.high));
    let full = ShareBar::axis_end(highs);
    CauseTable {
        id: class.id.to_string(),
        title: class.name.clone(),
        sample_size: counted.sample,
        axis_end: format!("{:.0} %", 100.0 * full),
        rows: counted
            .groups
            .iter()
            .map(|group| row(app, class, group, full))
            .collect(),
        labour_total: show::minutes(counted.all.labour.sum),
        down_total: show::hours(counted.all.down.sum),
        sequence: Some(Link::new(
            "Check sequence of this class",
            format!("/sequence/classes/{}", class.id),
        )),
        export: asked.address("/statistics/causes.csv", "tool_class", class.id.as_str()),
        remark: remark(counted),
    }
}

fn remark(counted: &Breakdown) -> String {
    let mut remarks = Vec::new();
    if counted.sample > 0 && counted.sample < FEW {
        remarks.push(format!("Fewer than {FEW} cases: the intervals are wide."));
    }
    let first = &counted.all.first_check;
    if let Some(share) = first.value {
        remarks.push(format!(
            "The first check found something in {} ({} of {}).",
            show::percent(share),
            first.count,
            first.sample
        ));
    }
    let again = &counted.all.repeat_90;
    if let Some(share) = again.value.filter(|_| again.count > 0) {
        remarks.push(format!(
            "The same tool had had the same cause within the 90 days before in {} ({} of {}).",
            show::percent(share),
            again.count,
            again.sample
        ));
    }
    remarks.join(" ")
}

fn row(app: &App, class: &ToolClass, group: &Group, full: f64) -> CauseRow {
    let finding = Finding::from(group.id.clone());
    let share = group.share.value.unwrap_or_default();
    let (low, high) = group
        .share
        .interval
        .map_or((0.0, 1.0), |interval| (interval.low, interval.high));
    CauseRow {
        cause: Some(show::cause_link(&finding, &app.catalogue)),
        kind: kind(app, &finding).1.to_owned(),
        cases: group.share.count,
        cases_href: address(
            "/search",
            [
                ("tool_class", class.id.as_str()),
                ("cause", group.id.as_str()),
            ],
        ),
        share: show::percent(share),
        interval: format!("{} to {}", show::percent(low), show::percent(high)),
        bar: ShareBar::new(share, low, high, full),
        labour: with_median(&group.labour, show::minutes),
        down: with_median(&group.down, show::hours),
    }
}

/// A sum, and the usual case beside it, since times are skewed.
fn with_median(spread: &Spread, shown: impl Fn(f64) -> String) -> String {
    match spread.median {
        Some(median) if spread.sample > 1 => {
            format!("{} (median {})", shown(spread.sum), shown(median))
        }
        _ => shown(spread.sum),
    }
}

/// Identifier and name of a cause's kind.
fn kind(app: &App, finding: &Finding) -> (&'static str, &'static str) {
    match app.catalogue.cause(finding.id()) {
        Some(cause) => (cause.kind.id(), cause.kind.name()),
        None => ("", ""),
    }
}
