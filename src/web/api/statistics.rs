//! Cause statistics.

use axum::{Json, extract::State};
use jiff::{civil::Date, tz::TimeZone};
use serde_json::{Value, json};

use crate::{
    casebook::Refusal,
    knowledge::Scope,
    web::{fault::Fault, fields::Asked, state::App},
};

/// Microseconds in a day.
const DAY: i64 = 86_400_000_000;

/// `GET /api/statistics/causes?tool_class=&site=&from=&to=`.
pub(super) async fn causes(State(app): State<App>, asked: Asked) -> Result<Json<Value>, Fault> {
    let mut refusals = Vec::new();
    let class = asked.get("tool_class");
    if let Some(class) = class
        && app.catalogue.class(class).is_none()
    {
        let known: Vec<_> = app.catalogue.classes().map(|c| c.id.as_str()).collect();
        refusals.push(Refusal::new(
            "tool_class",
            format!("no tool class is called {class:?}"),
            known.join(", "),
        ));
    }
    let mut day = |name: &str, shift: i64| {
        let text = asked.get(name)?;
        let start = text
            .parse::<Date>()
            .ok()
            .and_then(|date| date.to_zoned_datetime(TimeZone::UTC).ok());
        if start.is_none() {
            refusals.push(Refusal::new(
                name,
                format!("{text:?} is not a day"),
                "a day like 2025-03-04",
            ));
        }
        Some(start?.timestamp().as_microsecond() + shift)
    };
    let from = day("from", 0);
    let until = day("to", DAY);
    if !refusals.is_empty() {
        return Err(Fault::Refused(refusals));
    }
    let counted = app.knowledge.causes(&Scope {
        class: class.map(str::to_owned),
        site: asked.get("site").map(str::to_owned),
        from,
        until,
    });
    let causes: Vec<_> = counted
        .rows
        .iter()
        .map(|row| {
            let cause = app.catalogue.cause(row.cause.id());
            json!({
                "cause": row.cause.id(),
                "name": app.catalogue.cause_name(row.cause.id()),
                "kind": cause.map(|cause| cause.kind),
                "component": cause.map(|cause| &cause.component),
                "cases": row.cases,
                "sample": counted.sample,
                "share": row.share,
                "interval": [row.interval.low, row.interval.high],
                "labour_minutes": row.labour_minutes,
                "down_hours": row.down_hours,
            })
        })
        .collect();
    Ok(Json(json!({
        "tool_class": class,
        "sample": counted.sample,
        "labour_minutes": counted.labour_minutes,
        "down_hours": counted.down_hours,
        "causes": causes,
    })))
}
