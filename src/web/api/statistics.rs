//! Cause statistics.

use axum::{Json, extract::State};
use jiff::{civil::Date, tz::TimeZone};
use serde_json::{Value, json};

use crate::{
    casebook::Refusal,
    statistics::{Dimension, Filter},
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
    let mut day = |name: &str| {
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
        Some(start?.timestamp().as_microsecond().div_euclid(DAY))
    };
    let from_day = day("from");
    let to_day = day("to");
    if !refusals.is_empty() {
        return Err(Fault::Refused(refusals));
    }
    let counted = app.knowledge.by(
        Dimension::Cause,
        &Filter {
            class: class.map(str::to_owned),
            site: asked.get("site").map(str::to_owned),
            from_day,
            to_day,
        },
    );
    let causes: Vec<_> = counted
        .groups
        .iter()
        .map(|group| {
            let cause = app.catalogue.cause(&group.id);
            json!({
                "cause": group.id,
                "name": app.catalogue.cause_name(&group.id),
                "kind": cause.map(|cause| cause.kind),
                "component": cause.map(|cause| &cause.component),
                "cases": group.share.count,
                "sample": group.share.sample,
                "share": group.share.value,
                "interval": group.share.interval.map(|i| [i.low, i.high]),
                "labour_minutes": group.labour.sum,
                "labour_minutes_median": group.labour.median,
                "down_hours": group.down.sum,
                "down_hours_median": group.down.median,
                "recent": group.recent,
            })
        })
        .collect();
    Ok(Json(json!({
        "tool_class": class,
        "sample": counted.sample,
        // An empty sum is minus nothing.
        "labour_minutes": counted.all.labour.sum + 0.0,
        "down_hours": counted.all.down.sum + 0.0,
        "causes": causes,
    })))
}
