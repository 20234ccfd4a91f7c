//! The next check.

use axum::{
    Json,
    extract::{Request, State},
};
use serde_json::{Map, Value, json};

use super::json;
use crate::{
    casebook::Refusal,
    web::{
        asked_sequence::{self, About},
        fault::Fault,
        fields::body,
        state::App,
    },
};

/// `POST /api/sequence`.
pub(super) async fn advise(State(app): State<App>, request: Request) -> Result<Json<Value>, Fault> {
    let bytes = body(request, &app).await?;
    let Value::Object(asked) = json(&bytes)? else {
        return Err(Fault::Refused(vec![Refusal::new(
            "record",
            "is not an object",
            "an object with tool or tool_class, signs, antecedents, outcomes",
        )]));
    };
    let tool = match text(&asked, "tool")? {
        Some(id) => Some(app.store.tool(&app.asker(), id).await?.ok_or_else(|| {
            Fault::Refused(vec![Refusal::new(
                "tool",
                format!("no tool is called {id:?}"),
                "a tool of the fleet, or tool_class instead",
            )])
        })?),
        None => None,
    };
    let about = match (&tool, text(&asked, "tool_class")?) {
        (Some(tool), _) => About::Tool(tool),
        (None, Some(id)) => About::Class(app.catalogue.class(id).ok_or_else(|| {
            let known: Vec<_> = app.catalogue.classes().map(|c| c.id.as_str()).collect();
            Fault::Refused(vec![Refusal::new(
                "tool_class",
                format!("no tool class is called {id:?}"),
                known.join(", "),
            )])
        })?),
        (None, None) => {
            return Err(Fault::Refused(vec![Refusal::new(
                "tool",
                "is missing, and so is tool_class",
                "one of the two",
            )]));
        }
    };
    let mut question = about.question();
    let mut refusals = Vec::new();
    for (path, value) in stated(&asked, &mut refusals) {
        if let Err(refusal) = asked_sequence::state(&mut question, &app.catalogue, &path, &value) {
            refusals.push(refusal);
        }
    }
    if !refusals.is_empty() {
        return Err(Fault::Refused(refusals));
    }
    let advice = app.knowledge.advise(&question, &app.catalogue);
    let checks: Vec<_> = advice
        .checks
        .iter()
        .map(|step| {
            json!({
                "check": step.check.id,
                "name": step.check.name,
                "isolating": step.check.isolating,
                "chance": step.chance,
                "interval": step.interval.map(|i| [i.low, i.high]),
                "minutes": step.check.minutes,
                "state": step.check.state.id(),
                "state_change_minutes": step.change_minutes,
                "cautions": step.check.cautions,
                "cases": step.cases,
                "case_count": step.case_count,
                "moved": step.moved,
            })
        })
        .collect();
    let causes: Vec<_> = advice
        .believed
        .iter()
        .map(|b| {
            json!({
                "cause": b.cause.id,
                "chance": b.chance,
                "common_practice_chance": b.practice,
                "cases": b.cases.len(),
            })
        })
        .collect();
    Ok(Json(json!({
        "tool_class": about.class(),
        "class_cases": advice.class_cases,
        "fleet_cases": advice.fleet_cases,
        "expected_minutes": advice.expected_minutes,
        "common_practice_minutes": advice.practice_minutes,
        "proven_optimal": false,
        "method": "chance of finding per minute, state changes included",
        "checks": checks,
        "causes": causes,
    })))
}

fn text<'a>(asked: &'a Map<String, Value>, name: &str) -> Result<Option<&'a str>, Fault> {
    match asked.get(name) {
        None | Some(Value::Null) => Ok(None),
        Some(Value::String(text)) => Ok(Some(text)),
        Some(_) => Err(Fault::Refused(vec![Refusal::new(
            name,
            "is not a text",
            "a name as text",
        )])),
    }
}

/// Everything stated, as path and word.
fn stated(asked: &Map<String, Value>, refusals: &mut Vec<Refusal>) -> Vec<(String, String)> {
    let mut stated = Vec::new();
    for (name, value) in asked {
        match (name.as_str(), value) {
            ("tool" | "tool_class", _) | (_, Value::Null) => {}
            ("state", Value::String(state)) => stated.push((name.clone(), state.clone())),
            ("signs" | "antecedents", Value::Object(answers)) => {
                for (id, answer) in answers {
                    let answer = match answer {
                        Value::Null => continue,
                        Value::Bool(yes) => yes.to_string(),
                        other => other.to_string(),
                    };
                    stated.push((format!("{name}.{id}"), answer));
                }
            }
            ("outcomes", Value::Object(outcomes)) => {
                for (check, outcome) in outcomes {
                    let outcome = outcome.as_str().unwrap_or_default();
                    stated.push((format!("outcomes.{check}"), outcome.to_owned()));
                }
            }
            ("outcomes", Value::Array(outcomes)) => {
                for outcome in outcomes {
                    let word = |name: &str| outcome.get(name).and_then(Value::as_str).unwrap_or_default();
                    stated.push((format!("outcomes.{}", word("check")), word("outcome").to_owned()));
                }
            }
            ("signs" | "antecedents" | "outcomes" | "state", _) => refusals.push(Refusal::new(
                name,
                "has the wrong shape",
                "signs and antecedents: name to true or false; outcomes: a list of check and outcome; state: a word",
            )),
            _ => refusals.push(Refusal::new(
                name.chars().take(60).collect::<String>(),
                "is not a field of this request",
                "tool, tool_class, state, signs, antecedents, outcomes",
            )),
        }
    }
    stated
}
