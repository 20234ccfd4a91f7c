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
    knowledge::{CauseShare, CauseTable as Counted, Scope},
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
        let scope = scope(&asked, &app, class);
        let counted = app.knowledge.causes(&scope);
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
            "down_hours",
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
        let counted = app.knowledge.causes(&scope(&asked, &app, class));
        for row in &counted.rows {
            writer
                .write_record([
                    class.id.as_str(),
                    row.cause.id(),
                    kind(&app, &row.cause).0,
                    &row.cases.to_string(),
                    &counted.sample.to_string(),
                    &format!("{:.6}", row.share),
                    &format!("{:.6}", row.interval.low),
                    &format!("{:.6}", row.interval.high),
                    &show::trimmed(row.labour_minutes, 2),
                    &show::trimmed(row.down_hours, 2),
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

fn scope(asked: &Asked, app: &App, class: &ToolClass) -> Scope {
    let (narrowed, _) = filters(app, asked);
    Scope {
        class: Some(class.id.to_string()),
        site: asked.get("site").map(str::to_owned),
        from: narrowed.from,
        until: narrowed.until,
    }
}

fn class_table(app: &App, class: &ToolClass, counted: &Counted, asked: &Asked) -> CauseTable {
    let full = ShareBar::axis_end(counted.rows.iter().map(|row| row.interval.high));
    CauseTable {
        id: class.id.to_string(),
        title: class.name.clone(),
        sample_size: counted.sample,
        axis_end: format!("{:.0} %", 100.0 * full),
        rows: counted
            .rows
            .iter()
            .map(|row| self::row(app, class, row, full))
            .collect(),
        labour_total: show::minutes(counted.labour_minutes),
        down_total: show::hours(counted.down_hours),
        sequence: Some(Link::new(
            "Check sequence of this class",
            format!("/sequence/classes/{}", class.id),
        )),
        export: asked.address("/statistics/causes.csv", "tool_class", class.id.as_str()),
        remark: if counted.sample < FEW {
            format!("Fewer than {FEW} cases: the intervals are wide.")
        } else {
            String::new()
        },
    }
}

fn row(app: &App, class: &ToolClass, row: &CauseShare, full: f64) -> CauseRow {
    CauseRow {
        cause: Some(show::cause_link(&row.cause, &app.catalogue)),
        kind: kind(app, &row.cause).1.to_owned(),
        cases: row.cases,
        cases_href: address(
            "/search",
            [("tool_class", class.id.as_str()), ("cause", row.cause.id())],
        ),
        share: show::percent(row.share),
        interval: format!(
            "{} to {}",
            show::percent(row.interval.low),
            show::percent(row.interval.high)
        ),
        bar: ShareBar::new(row.share, row.interval.low, row.interval.high, full),
        labour: show::minutes(row.labour_minutes),
        down: show::hours(row.down_hours),
    }
}

/// Identifier and name of a cause's kind.
fn kind(app: &App, finding: &Finding) -> (&'static str, &'static str) {
    match app.catalogue.cause(finding.id()) {
        Some(cause) => (cause.kind.id(), cause.kind.name()),
        None => ("", ""),
    }
}
