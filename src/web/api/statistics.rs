//! Cause statistics.

use std::{collections::HashMap, sync::Arc};

use axum::{Json, extract::State};
use jiff::civil::Date;
use serde_json::{Value, json};

use crate::{
    casebook::Refusal,
    day,
    statistics::{
        Dimension, Filter,
        trends::{Trend, Verdict},
    },
    web::{fault::Fault, fields::Asked, state::App},
};

/// `GET /api/statistics/causes?tool_class=&site=&tool=&from=&to=`.
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
        let day = text.parse::<Date>().ok().and_then(day::of_date);
        if day.is_none() {
            refusals.push(Refusal::new(
                name,
                format!("{text:?} is not a day"),
                "a day like 2025-03-04",
            ));
        }
        day
    };
    let from_day = day("from");
    let to_day = day("to");
    if !refusals.is_empty() {
        return Err(Fault::Refused(refusals));
    }
    let asker = app.asker();
    let site = asker.only_site().or(asked.get("site")).map(str::to_owned);
    let filter = Filter {
        class: class.map(str::to_owned),
        site,
        tool: asked.get("tool").map(str::to_owned),
        from_day,
        to_day,
    };
    let knowledge = Arc::clone(&app.knowledge);
    let today = app.today();
    let (counted, trends) = tokio::task::spawn_blocking(move || {
        (
            knowledge.by(Dimension::Cause, &filter),
            knowledge.trends(&filter, today),
        )
    })
    .await?;
    let trend_of: HashMap<&str, &Trend> = trends
        .causes
        .iter()
        .map(|trend| (trend.id.as_str(), trend))
        .collect();
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
                "labour_minutes_mean": group.labour.mean,
                "down_hours_mean": group.down.mean,
                "cumulative_share": group.cumulative,
                "first_check_found": group.first_check.count,
                "first_check_sample": group.first_check.sample,
                "repeats_30_days": group.repeat_30.count,
                "repeats_90_days": group.repeat_90.count,
                "trend": trend(trend_of.get(group.id.as_str()).copied()),
                "recent": group.recent,
            })
        })
        .collect();
    Ok(Json(json!({
        "tool_class": class,
        "sample": counted.sample,
        "tools": trends.watch.tools,
        "tool_days": trends.watch.tool_days,
        // An empty sum is minus nothing.
        "labour_minutes": counted.all.labour.sum + 0.0,
        "down_hours": counted.all.down.sum + 0.0,
        "causes": causes,
    })))
}

/// Cases counted against time in service; all of them may lie outside it.
fn trend(trend: Option<&Trend>) -> Value {
    let rate = trend.and_then(Trend::rate);
    json!({
        "verdict": trend.map_or(Verdict::TooFew, |trend| trend.verdict).id(),
        "cases": trend.map_or(0, |trend| trend.events),
        "tool_days": trend.map(|trend| trend.tool_days),
        "cases_per_tool_month": rate.map(|rate| rate.value),
        "interval": rate.map(|rate| [rate.interval.low, rate.interval.high]),
        "laplace_z": trend.and_then(|trend| Some(trend.laplace?.statistic)),
        "chance": trend.and_then(|trend| Some(trend.laplace?.p())),
        "chance_adjusted": trend.and_then(|trend| trend.adjusted),
    })
}
