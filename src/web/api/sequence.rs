//! The next check.

use axum::{
    Json,
    extract::{Request, State},
};
use serde_json::{Map, Value, json};

use super::json;
use crate::{
    advice::Shift,
    casebook::{self, Refusal},
    statistics::Outcome,
    web::{asked_sequence::About, attaching, fault::Fault, fields::body, state::App},
};

/// `POST /api/sequence`.
pub(super) async fn advise(State(app): State<App>, request: Request) -> Result<Json<Value>, Fault> {
    let bytes = body(request, &app).await?;
    let Value::Object(mut asked) = json(&bytes)? else {
        return Err(Fault::Refused(vec![Refusal::new(
            "record",
            "is not an object",
            "an object with incident, tool or tool_class, signs, antecedents, outcomes",
        )]));
    };
    if let Some(number) = asked.remove("incident").filter(|number| !number.is_null()) {
        asked = of_incident(&app, &number, asked).await?;
    }
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
        (Some(tool), Some(class)) if class != tool.class.as_str() => {
            return Err(Fault::Refused(vec![Refusal::new(
                "tool_class",
                format!("{class:?} is not the class of {}", tool.id),
                format!("{}, or no tool_class beside tool", tool.class),
            )]));
        }
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
        if let Err(refusal) = question.state(&app.catalogue, &path, &value) {
            refusals.push(refusal);
        }
    }
    if asked.get("outcomes").is_some_and(Value::is_array) {
        question.in_order();
    }
    if let Some(pressures) = asked.get("pressures") {
        let record = json!({ "pressures": pressures });
        let (draft, unread) = casebook::read_record(&record);
        refusals.extend(unread);
        if let Some(faulty) = draft.faulty {
            let healthy = draft.healthy.unwrap_or(about.healthy_base());
            if let Err(refusal) = question.loss(healthy, faulty) {
                refusals.push(refusal);
            }
        }
    }
    if !refusals.is_empty() {
        return Err(Fault::Refused(refusals));
    }
    let of_site = about.price_of_help(&app).await?;
    let stated = question.price().is_some();
    question.priced(of_site);
    let price = question.price();
    let answer = question.ask(&app).await?;
    let advice = &answer.advice;
    let checks: Vec<_> = advice
        .steps
        .iter()
        .filter_map(|step| Some((step, app.catalogue.check(&step.check)?)))
        .map(|(step, check)| {
            let finds: Vec<_> = step
                .finds
                .iter()
                .map(|find| json!({"cause": find.cause, "chance": find.chance}))
                .collect();
            json!({
                "check": step.check,
                "name": check.name,
                "isolating": step.isolating,
                "chance": step.chance,
                "interval": [step.interval.low, step.interval.high],
                "true_chance": step.true_chance,
                "minutes": step.minutes,
                "state": check.state.id(),
                "state_change_minutes": step.change_minutes,
                "leaves": check.leaves.id(),
                "leaves_minutes": step.leave_minutes,
                "cautions": check.cautions,
                "needs_first": check.first().filter(|id| about.fits(&app.catalogue, id)).collect::<Vec<_>>(),
                "anew": step.anew,
                "finds": finds,
                "cases": if step.anew { Vec::new() } else { answer.cases_behind(check) },
                "case_count": step.class_cases,
                "fleet_case_count": step.fleet_cases,
                "moved": step.moved,
                "assumed": match step.assumed {
                    Outcome::Found => "found",
                    Outcome::Clear => "clear",
                    Outcome::Inconclusive => "inconclusive",
                },
                "moved_by": step.moved_by.as_ref().map(shift),
                "if_clear": step.if_clear.as_ref().map(shift),
            })
        })
        .collect();
    let causes: Vec<_> = advice
        .belief
        .causes
        .iter()
        .map(|cause| {
            json!({
                "cause": cause.id,
                "chance": cause.chance,
                "interval": [cause.interval.low, cause.interval.high],
                "common_practice_chance": cause.practice,
                "class_cases": cause.class_cases,
                "fleet_cases": cause.fleet_cases,
            })
        })
        .collect();
    let without_check: Vec<_> = advice
        .without_check
        .iter()
        .map(|find| json!({"cause": find.cause, "chance": find.chance}))
        .collect();
    let blocked: Vec<_> = advice
        .blocked
        .iter()
        .map(|blocked| json!({"check": blocked.check, "missing": blocked.missing}))
        .collect();
    // Where nothing is left to be made, or found, nothing takes time.
    let ended = answer.ended() && answer.found.is_empty();
    let told = |number: f64| (!ended).then_some(number);
    Ok(Json(json!({
        "tool_class": about.class(),
        "class_cases": advice.belief.class_cases,
        "fleet_cases": advice.belief.fleet_cases,
        "expected_minutes": told(advice.expected_minutes),
        "found_by_checks": (!ended && advice.found.share > 0.0).then(|| json!({
            "chance": advice.found.share,
            "minutes": advice.found.minutes / advice.found.share,
        })),
        "common_practice_minutes": told(advice.practice_minutes),
        "mended_minutes": told(advice.mended_minutes),
        "common_practice_mended_minutes": told(advice.practice_mended_minutes),
        "common_practice_order": advice.practice_order,
        "proven_optimal": advice.proven && !ended,
        "lower_bound_minutes": told(advice.lower_bound),
        "gap": told(advice.gap),
        "unlisted_chance": advice.belief.unlisted,
        "contradiction": advice.belief.contradiction.is_some(),
        "two_faults": advice.belief.contradiction.as_ref().and_then(|found| {
            found.pair.as_ref().map(|(one, other)| [one, other])
        }),
        "without_check": without_check,
        "blocked": blocked,
        "held": advice.held,
        "set_aside": advice.set_aside,
        "notes": answer.notes,
        "half_life_days": app.catalogue.half_life_days(),
        "help_minutes": price,
        "help_minutes_from": price.map(|_| if stated { "request" } else { "site" }),
        "found": answer.found,
        "stop": advice.stop.filter(|_| answer.found.is_empty()).map(|stop| {
            json!({
                "after_checks": stop.after,
                "left_minutes": stop.left_minutes,
                "before_help": stop.before_help.map(|before| json!({
                    "checks": before.checks,
                    "chance": before.chance,
                    "minutes": before.minutes,
                })),
            })
        }),
        "checks": checks,
        "causes": causes,
    })))
}

/// What is asked, with what the incident and the calculations kept with it tell where the
/// request itself is silent.
async fn of_incident(
    app: &App,
    number: &Value,
    mut asked: Map<String, Value>,
) -> Result<Map<String, Value>, Fault> {
    let refused = |problem: String, accepted: &str| {
        Fault::Refused(vec![Refusal::new("incident", problem, accepted)])
    };
    if asked.contains_key("tool") || asked.contains_key("tool_class") {
        return Err(refused(
            "is given beside a tool or a class".to_owned(),
            "one of the three",
        ));
    }
    let asker = app.asker();
    let filed = match number.as_i64() {
        Some(number) => app.store.incident(&asker, number).await?,
        None => None,
    };
    let filed = filed.ok_or_else(|| {
        refused(
            format!("there is no incident {number}"),
            "the number of an incident",
        )
    })?;
    let incident = &filed.current().incident;
    let calculations = app.store.calculations(&asker, filed.number).await?;
    let mut known = json!({
        "signs": attaching::signs(app, &incident.signs, &calculations),
        "antecedents": incident.antecedents,
        "outcomes": incident
            .checks
            .iter()
            .map(|done| json!({"check": done.check, "outcome": done.outcome.id()}))
            .collect::<Vec<_>>(),
        "pressures": {
            "healthy": incident.pressures.healthy,
            "faulty": incident.pressures.faulty,
        },
    });
    if let Some(signs) = known["signs"].as_object_mut() {
        let seen = incident.signs.iter();
        signs.extend(seen.map(|(id, seen)| (id.to_string(), json!(seen))));
    }
    asked.insert("tool".to_owned(), json!(incident.tool));
    for (name, value) in known.as_object().into_iter().flatten() {
        match (asked.get_mut(name), value) {
            (None, _) => {
                asked.insert(name.clone(), value.clone());
            }
            (Some(Value::Object(stated)), Value::Object(known)) => {
                for (id, value) in known {
                    if !stated.contains_key(id) {
                        stated.insert(id.clone(), value.clone());
                    }
                }
            }
            // What the report holds was made before what is stated beside it.
            (Some(Value::Array(stated)), Value::Array(known)) => {
                stated.splice(0..0, known.iter().cloned());
            }
            (Some(Value::Object(stated)), Value::Array(known)) => {
                for done in known {
                    if let Some(check) = done["check"].as_str()
                        && !stated.contains_key(check)
                    {
                        stated.insert(check.to_owned(), done["outcome"].clone());
                    }
                }
            }
            _ => {}
        }
    }
    Ok(asked)
}

fn shift(shift: &Shift) -> Value {
    json!({"cause": shift.cause, "from": shift.from, "to": shift.to})
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
            ("tool" | "tool_class" | "pressures", _) | (_, Value::Null) => {}
            ("state", Value::String(state)) => stated.push((name.clone(), state.clone())),
            ("help_minutes", Value::Number(minutes)) => {
                stated.push((name.clone(), minutes.to_string()));
            }
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
                for (at, outcome) in outcomes.iter().enumerate() {
                    match outcome_of(at, outcome) {
                        Ok(outcome) => stated.push(outcome),
                        Err(broken) => refusals.extend(broken),
                    }
                }
            }
            ("signs" | "antecedents" | "outcomes" | "state" | "help_minutes", _) => refusals.push(Refusal::new(
                name,
                "has the wrong shape",
                "signs and antecedents: name to true or false; outcomes: a list of check and outcome; state: a word; help_minutes: a number",
            )),
            _ => refusals.push(Refusal::new(
                name.chars().take(60).collect::<String>(),
                "is not a field of this request",
                "incident, tool, tool_class, state, signs, antecedents, outcomes, pressures, help_minutes",
            )),
        }
    }
    stated
}

/// One of a list of outcomes, as path and word.
fn outcome_of(at: usize, outcome: &Value) -> Result<(String, String), Vec<Refusal>> {
    const FIELDS: [&str; 2] = ["check", "outcome"];
    let Some(fields) = outcome.as_object() else {
        return Err(vec![Refusal::new(
            format!("outcomes[{at}]"),
            "is not an object",
            "an object with check and outcome",
        )]);
    };
    let odd: Vec<_> = fields
        .keys()
        .filter(|name| !FIELDS.contains(&name.as_str()))
        .map(|name| {
            let name = name.chars().take(60).collect::<String>();
            Refusal::new(
                format!("outcomes[{at}].{name}"),
                "is not a field of an outcome",
                FIELDS.join(", "),
            )
        })
        .collect();
    let word = |name: &str| fields.get(name).and_then(Value::as_str).unwrap_or_default();
    match odd.is_empty() {
        true => Ok((
            format!("outcomes.{}", word("check")),
            word("outcome").to_owned(),
        )),
        false => Err(odd),
    }
}
