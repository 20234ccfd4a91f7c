//! What a page or a program asks the check sequence, checked against catalogue and fleet.

use std::collections::{BTreeMap, BTreeSet};

use crate::{
    casebook::{Outcome, Refusal, Tool},
    catalogue::{Catalogue, ClassId, ComponentId, ToolClass, ToolState},
    knowledge::Question,
};

/// The tool or class the question is about.
pub(super) enum About<'a> {
    /// One tool with what it is fitted with.
    Tool(&'a Tool),
    /// Any tool of a class, as built.
    Class(&'a ToolClass),
}

impl About<'_> {
    pub(super) fn class(&self) -> &ClassId {
        match self {
            Self::Tool(tool) => &tool.class,
            Self::Class(class) => &class.id,
        }
    }

    pub(super) fn components(&self) -> BTreeSet<ComponentId> {
        match self {
            Self::Tool(tool) => tool.components.clone(),
            Self::Class(class) => class.components.iter().cloned().collect(),
        }
    }

    /// A question with nothing stated.
    pub(super) fn question(&self) -> Question {
        Question {
            class: self.class().clone(),
            components: self.components(),
            state: ToolState::Pumped,
            signs: BTreeMap::new(),
            antecedents: BTreeMap::new(),
            outcomes: Vec::new(),
        }
    }
}

/// Adds a sign, an antecedent, an outcome or the state to a question.
///
/// `seen` reads what a form or a program calls yes and no.
pub(super) fn state(
    question: &mut Question,
    catalogue: &Catalogue,
    path: &str,
    value: &str,
) -> Result<(), Refusal> {
    let refusal = |problem: String, accepted: &str| Err(Refusal::new(path, problem, accepted));
    if path == "state" {
        return match ToolState::ALL.into_iter().find(|state| state.id() == value) {
            Some(state) => {
                question.state = state;
                Ok(())
            }
            None => refusal(
                format!("{value:?} is not a state of a tool"),
                "pumped, vented or stopped-purged",
            ),
        };
    }
    let Some((group, id)) = path.split_once('.') else {
        return Ok(());
    };
    match group {
        "signs" | "antecedents" => {
            let (known, what) = if group == "signs" {
                (catalogue.sign(id).is_some(), "sign")
            } else {
                (catalogue.antecedent(id).is_some(), "antecedent")
            };
            if !known {
                return refusal(
                    format!("no {what} is called {id:?}"),
                    "one of the catalogue",
                );
            }
            let yes = match value {
                "seen" | "true" => true,
                "absent" | "false" => false,
                other => {
                    return refusal(format!("{other:?} is neither yes nor no"), "true or false");
                }
            };
            let answers = if group == "signs" {
                &mut question.signs
            } else {
                &mut question.antecedents
            };
            answers.insert(id.to_owned(), yes);
        }
        "outcomes" => {
            if catalogue.check(id).is_none() {
                return refusal(format!("no check is called {id:?}"), "one of the catalogue");
            }
            match value.parse::<Outcome>() {
                Ok(outcome) => {
                    question.outcomes.retain(|(check, _)| check != id);
                    question.outcomes.push((id.to_owned(), outcome));
                }
                Err(()) => {
                    return refusal(
                        format!("{value:?} is not an outcome"),
                        "found, clear or inconclusive",
                    );
                }
            }
        }
        _ => {}
    }
    Ok(())
}
