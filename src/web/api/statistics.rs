//! Counts, shares, times and trends of closed incidents, by each thing that cases are counted by.

use std::{collections::HashMap, sync::Arc};

use axum::{Json, Router, extract::State, routing::get};
use serde_json::{Map, Value, json};

use crate::{
    day,
    statistics::{
        Dimension, Filter, Group, Interval, Share, Spread,
        trends::{Trend, Verdict},
    },
    web::{
        asked_cases,
        fault::Fault,
        fields::Asked,
        groupings::{GROUPINGS, Grouping},
        state::App,
    },
};

/// `GET /api/statistics/causes?tool_class=&site=&tool=&from=&to=`, and its like by component,
/// kind, tool class, site and tool.
pub(super) fn routes() -> Router<App> {
    GROUPINGS
        .into_iter()
        .fold(Router::new(), |router, grouping| {
            let answer = move |State(app): State<App>, asked: Asked| counted(app, asked, grouping);
            router.route(&format!("/api/statistics/{}", grouping.path), get(answer))
        })
}

/// Trends of what is counted by; none where no trend is tested by it.
fn trends_of(
    app: &App,
    dimension: Dimension,
    filter: &Filter,
    today: i64,
) -> Option<HashMap<String, Trend>> {
    let trends = app.knowledge.trends(filter, today);
    let listed = match dimension {
        Dimension::Cause => trends.causes.clone(),
        Dimension::Tool => trends.tools.clone(),
        Dimension::Class => {
            let classes = app.catalogue.classes().map(|class| class.id.to_string());
            let wanted = |id: &String| filter.class.as_ref().is_none_or(|class| class == id);
            let classes = classes.filter(wanted).collect();
            app.knowledge.trends_of_classes(filter, classes, today)
        }
        Dimension::Component | Dimension::Kind | Dimension::Site => return None,
    };
    let named = listed.into_iter().map(|trend| (trend.id.clone(), trend));
    Some(named.collect())
}

async fn counted(app: App, asked: Asked, grouping: Grouping) -> Result<Json<Value>, Fault> {
    asked.only(&["tool_class", "site", "tool", "from", "to"])?;
    let cases = asked_cases::read(&app, &asked).await?;
    if !cases.refusals.is_empty() {
        return Err(Fault::Refused(cases.refusals));
    }
    let filter = cases.filter.clone();
    let today = app.today();
    let asking = app.clone();
    let (counted, watch, trends, pooled) = tokio::task::spawn_blocking(move || {
        let knowledge = &asking.knowledge;
        let dimension = grouping.dimension;
        let pooled = match &filter.class {
            // Pooled shares are of all sites and days.
            Some(class) if dimension == Dimension::Cause && filter == of_class(class) => {
                Some(knowledge.pooled(class, today))
            }
            _ => None,
        };
        (
            knowledge.by(dimension, &filter),
            knowledge.watch(&filter, today),
            trends_of(&asking, dimension, &filter, today),
            pooled,
        )
    })
    .await?;
    let catalogue = Arc::clone(&app.catalogue);
    let groups: Vec<Value> = counted
        .groups
        .iter()
        .map(|of| {
            let mut told = Map::new();
            told.insert(grouping.id.to_owned(), json!(of.id));
            let name = match grouping.dimension {
                Dimension::Cause => catalogue.cause_name(&of.id).to_owned(),
                _ => grouping.name(&of.id, &catalogue, &cases.sites).words,
            };
            told.insert("name".to_owned(), json!(name));
            if grouping.dimension == Dimension::Cause {
                let cause = catalogue.cause(&of.id);
                told.insert("kind".to_owned(), json!(cause.map(|cause| cause.kind)));
                let component = cause.map(|cause| &cause.component);
                told.insert("component".to_owned(), json!(component));
            }
            group(&mut told, of);
            if let Some(trends) = &trends {
                told.insert("trend".to_owned(), trend(trends.get(&of.id)));
            }
            Value::Object(told)
        })
        .collect();
    let mut all = Map::new();
    group(&mut all, &counted.all);
    let mut answer = Map::new();
    for (name, value) in [
        ("tool_class", json!(cases.filter.class)),
        ("site", json!(cases.filter.site)),
        ("tool", json!(cases.filter.tool)),
        ("from", written(cases.filter.from_day)),
        ("to", written(cases.filter.to_day)),
        ("sample", json!(counted.sample)),
        ("tools_watched", json!(watch.tools)),
        ("tool_days", json!(watch.tool_days)),
        // An empty sum is minus nothing.
        ("labour_minutes", json!(counted.all.labour.sum + 0.0)),
        ("down_hours", json!(counted.all.down.sum + 0.0)),
        ("all", Value::Object(all)),
        (grouping.plural, Value::Array(groups)),
    ] {
        answer.insert(name.to_owned(), value);
    }
    if let Some(mut pooled) = pooled {
        pooled.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        let pooled: Vec<Value> = pooled
            .iter()
            .map(|(cause, share, interval)| {
                json!({
                    "cause": cause,
                    "name": catalogue.cause_name(cause),
                    "share": share,
                    "interval": [interval.low, interval.high],
                })
            })
            .collect();
        answer.insert("pooled".to_owned(), Value::Array(pooled));
    }
    Ok(Json(Value::Object(answer)))
}

/// All cases of a class.
fn of_class(class: &str) -> Filter {
    Filter {
        class: Some(class.to_owned()),
        ..Filter::default()
    }
}

fn written(day: Option<i64>) -> Value {
    let start = day.and_then(day::start);
    json!(start.map(|time| time.strftime("%Y-%m-%d").to_string()))
}

fn ends(interval: Option<Interval>) -> Value {
    json!(interval.map(|interval| [interval.low, interval.high]))
}

/// Every figure of a group, each with its interval.
fn group(told: &mut Map<String, Value>, group: &Group) {
    let mut tell = |name: String, value: Value| {
        told.insert(name, value);
    };
    tell("cases".to_owned(), json!(group.share.count));
    tell("sample".to_owned(), json!(group.share.sample));
    tell("share".to_owned(), json!(group.share.value));
    tell("interval".to_owned(), ends(group.share.interval));
    tell("cumulative_share".to_owned(), json!(group.cumulative));
    let mut times = |name: &str, spread: &Spread| {
        tell(name.to_owned(), json!(spread.sum + 0.0));
        tell(format!("{name}_mean"), json!(spread.mean));
        tell(format!("{name}_mean_interval"), ends(spread.mean_interval));
        tell(format!("{name}_median"), json!(spread.median));
        tell(
            format!("{name}_median_interval"),
            ends(spread.median_interval),
        );
    };
    times("labour_minutes", &group.labour);
    times("down_hours", &group.down);
    let mut share = |[count, sample, named]: [&str; 3], share: &Share| {
        tell(count.to_owned(), json!(share.count));
        tell(sample.to_owned(), json!(share.sample));
        tell(format!("{named}_share"), json!(share.value));
        tell(format!("{named}_interval"), ends(share.interval));
    };
    share(
        ["first_check_found", "first_check_sample", "first_check"],
        &group.first_check,
    );
    share(
        ["repeats_30_days", "repeat_sample", "repeat_30"],
        &group.repeat_30,
    );
    share(
        ["repeats_90_days", "repeat_sample", "repeat_90"],
        &group.repeat_90,
    );
    share(
        ["not_found", "not_found_sample", "not_found"],
        &group.not_found,
    );
    tell("recent".to_owned(), json!(group.recent));
}

/// Cases counted against time in service; all of them may lie outside it.
fn trend(trend: Option<&Trend>) -> Value {
    let rate = trend.and_then(Trend::rate);
    let change = trend.and_then(|trend| trend.change);
    json!({
        "verdict": trend.map_or(Verdict::TooFew, |trend| trend.verdict).id(),
        "cases": trend.map_or(0, |trend| trend.events),
        "tool_days": trend.map(|trend| trend.tool_days),
        "cases_per_tool_month": rate.map(|rate| rate.value),
        "interval": rate.map(|rate| [rate.interval.low, rate.interval.high]),
        "laplace_z": trend.and_then(|trend| Some(trend.laplace?.statistic)),
        "chance": trend.and_then(|trend| Some(trend.laplace?.p())),
        "chance_adjusted": trend.and_then(|trend| trend.adjusted),
        "power_law_chance": trend.and_then(|trend| Some(trend.power_law_test?.p())),
        "change": change.map(|change| json!({
            "chance": change.chance,
            "day": written(Some(change.day)),
            "interval": [written(Some(change.days.0)), written(Some(change.days.1))],
            "cases_per_tool_month_before": change.before,
            "cases_per_tool_month_after": change.after,
        })),
    })
}
