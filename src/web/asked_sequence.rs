//! What a page or a program asks the check sequence, checked against catalogue and fleet,
//! and the answer together with the cases behind it.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::{
    fault::Fault,
    fields::{address, place},
    state::App,
};
use crate::{
    advice::{Advice, AdviceError, Evidence, Request, sequence::Effort},
    casebook::{Incident, Outcome, Refusal, Tool},
    catalogue::{Catalogue, Check, ClassId, ComponentId, ToolClass, ToolState},
    knowledge,
    statistics::{Dimension, Filter},
    vacuum::units::TypedPressure,
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

    pub(super) fn healthy_base(&self) -> TypedPressure {
        match self {
            Self::Tool(tool) => tool.healthy_base,
            Self::Class(class) => class.healthy_base,
        }
    }

    /// What bringing help costs the tool's site, in minutes, if anybody has said.
    pub(super) async fn price_of_help(&self, app: &App) -> Result<Option<f64>, Fault> {
        let Self::Tool(tool) = self else {
            return Ok(None);
        };
        let sites = app.store.sites(&app.asker()).await?;
        let site = sites.into_iter().find(|site| site.code == tool.site);
        Ok(site.and_then(|site| site.help_minutes))
    }

    /// A question with nothing stated.
    pub(super) fn question(&self) -> Question {
        Question {
            request: Request {
                class: self.class().to_string(),
                components: Some(self.components().iter().map(ToString::to_string).collect()),
                state: knowledge::state(ToolState::Pumped),
                evidence: Evidence::default(),
                price_of_help: None,
                effort: Effort::Full,
            },
            state: ToolState::Pumped,
        }
    }
}

/// The address of the sequence with what is known of an incident filled in, and `signs`
/// (which calculations set) where the report itself is silent.
pub(super) fn address_for(incident: &Incident, mut signs: BTreeMap<String, bool>) -> String {
    let answer = |seen: &bool| if *seen { "seen" } else { "absent" };
    let mut pairs: Vec<(String, &str)> = Vec::new();
    signs.extend(
        incident
            .signs
            .iter()
            .map(|(id, seen)| (id.to_string(), *seen)),
    );
    for (id, seen) in &signs {
        pairs.push((format!("signs.{id}"), answer(seen)));
    }
    for (id, happened) in &incident.antecedents {
        pairs.push((format!("antecedents.{id}"), answer(happened)));
    }
    for check in &incident.checks {
        pairs.push((format!("outcomes.{}", check.check), check.outcome.id()));
    }
    address(
        &place("/sequence/tools", incident.tool.as_str()),
        pairs.iter().map(|(name, value)| (name.as_str(), *value)),
    )
}

/// A question on its way.
#[derive(Clone, Debug)]
pub(super) struct Question {
    request: Request,
    /// The state the tool is in.
    pub(super) state: ToolState,
}

/// An answer with the newest cases of each cause in the class.
pub(super) struct Answer {
    pub(super) advice: Advice,
    cases: BTreeMap<String, Vec<i64>>,
}

/// Cases linked from one step at most.
const LINKED: usize = 5;

impl Answer {
    /// The newest cases of the class with a cause that the check reveals.
    pub(super) fn cases_behind(&self, check: &Check) -> Vec<i64> {
        let mut numbers: Vec<i64> = check
            .reveals
            .keys()
            .filter(|_| !check.isolating)
            .filter_map(|cause| self.cases.get(cause.as_str()))
            .flatten()
            .copied()
            .collect();
        numbers.sort_unstable_by(|a, b| b.cmp(a));
        numbers.truncate(LINKED);
        numbers
    }
}

impl Question {
    /// Adds a sign, an antecedent, an outcome, the state or the price of help; other paths
    /// are passed over.
    pub(super) fn state(
        &mut self,
        catalogue: &Catalogue,
        path: &str,
        value: &str,
    ) -> Result<(), Refusal> {
        let refusal = |problem: String, accepted: &str| Err(Refusal::new(path, problem, accepted));
        if path == "state" {
            return match ToolState::ALL.into_iter().find(|state| state.id() == value) {
                Some(state) => {
                    self.state = state;
                    self.request.state = knowledge::state(state);
                    Ok(())
                }
                None => refusal(
                    format!("{value:?} is not a state of a tool"),
                    "pumped, vented or stopped-purged",
                ),
            };
        }
        if path == "help_minutes" {
            return match value.parse::<f64>() {
                Ok(minutes) if (0.0..=1e6).contains(&minutes) => {
                    self.request.price_of_help = Some(minutes);
                    Ok(())
                }
                _ => refusal(
                    format!("{value:?} is not a number of minutes"),
                    "0 to 1000000",
                ),
            };
        }
        let Some((group, id)) = path.split_once('.') else {
            return Ok(());
        };
        let evidence = &mut self.request.evidence;
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
                        return refusal(
                            format!("{other:?} is neither yes nor no"),
                            "true or false",
                        );
                    }
                };
                let answers = if group == "signs" {
                    &mut evidence.signs
                } else {
                    &mut evidence.antecedents
                };
                let before = answers.iter().position(|(other, _)| other == id);
                if before.is_some_and(|at| answers[at].1 != yes) {
                    answers.retain(|(other, _)| other != id);
                    return refusal(
                        format!("{id:?} is given both as seen and as absent"),
                        "one of them, or neither",
                    );
                }
                if before.is_none() {
                    answers.push((id.to_owned(), yes));
                }
            }
            "outcomes" => {
                if catalogue.check(id).is_none() {
                    return refusal(format!("no check is called {id:?}"), "one of the catalogue");
                }
                match value.parse::<Outcome>() {
                    Ok(outcome) => {
                        evidence.outcomes.retain(|(check, _)| check != id);
                        evidence
                            .outcomes
                            .push((id.to_owned(), knowledge::outcome(outcome)));
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

    /// Takes a price of help where none is stated.
    pub(super) fn priced(&mut self, minutes: Option<f64>) {
        let price = &mut self.request.price_of_help;
        *price = price.or(minutes);
    }

    /// What bringing help costs, in minutes, if that is known.
    pub(super) fn price(&self) -> Option<f64> {
        self.request.price_of_help
    }

    /// States how far the base pressure is lost.
    pub(super) fn loss(&mut self, healthy: TypedPressure, faulty: TypedPressure) {
        let pascals = |typed: TypedPressure| typed.pressure().ok().map(|p| p.pascals());
        if let (Some(healthy), Some(faulty)) = (pascals(healthy), pascals(faulty))
            && healthy > 0.0
            && faulty > 0.0
        {
            self.request.evidence.loss_decades = Some((faulty / healthy).log10());
        }
    }

    /// Asks, off the threads that serve requests.
    pub(super) async fn ask(self, app: &App) -> Result<Answer, Fault> {
        let knowledge = Arc::clone(&app.knowledge);
        let request = self.request;
        let today = app.today();
        let site = app.asker().only_site().map(str::to_owned);
        tokio::task::spawn_blocking(move || {
            let cases = knowledge
                .by(
                    Dimension::Cause,
                    &Filter {
                        class: Some(request.class.clone()),
                        site,
                        ..Filter::default()
                    },
                )
                .groups
                .iter()
                .map(|group| (group.id.clone(), group.recent.clone()))
                .collect();
            let advice = knowledge.advise(&request, today)?;
            Ok::<_, AdviceError>(Answer { advice, cases })
        })
        .await?
        .map_err(|error| {
            Fault::Refused(vec![Refusal::new(
                "question",
                error.to_string(),
                "signs, antecedents and outcomes that do not contradict each other",
            )])
        })
    }
}
