//! What a page or a program asks the check sequence, checked against catalogue and fleet,
//! and the answer together with the cases behind it.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::{
    fault::Fault,
    fields::{Pairs, address, place},
    pages::unit_id,
    state::App,
};
use crate::{
    advice::{Advice, AdviceError, Belief, Evidence, Request, sequence::Effort},
    casebook::{Incident, Outcome, Refusal, Tool},
    catalogue::{
        Catalogue, Cause, CauseId, Check, CheckId, ClassId, ComponentId, SignId, ToolClass,
        ToolState,
    },
    knowledge,
    statistics::{self, Dimension, Filter},
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
            Self::Tool(tool) => BTreeSet::clone(&tool.components),
            Self::Class(class) => class.components.iter().cloned().collect(),
        }
    }

    /// Whether the tool has what a check is made on.
    pub(super) fn fits(&self, catalogue: &Catalogue, check: &CheckId) -> bool {
        let components = self.components();
        let check = catalogue.check(check.as_str());
        check.is_some_and(|check| {
            let mut parts = check.needs_components.iter();
            parts.all(|part| components.contains(part))
        })
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
            twice: BTreeSet::new(),
            against: Vec::new(),
            elsewhere: BTreeSet::new(),
            foreign: BTreeSet::new(),
            history: Vec::new(),
        }
    }
}

/// The address of the sequence with what is known of an incident filled in, and `signs`
/// (which calculations set) where the report itself is silent. The pressure at the fault comes along where it
/// is a loss against the report's healthy pressure, or against `healthy` where it tells none.
pub(super) fn address_for(
    incident: &Incident,
    healthy: Option<TypedPressure>,
    mut signs: BTreeMap<String, bool>,
) -> String {
    let answer = |seen: &bool| if *seen { "seen" } else { "absent" };
    let pascals = |typed: TypedPressure| typed.pressure().ok().map(|p| p.pascals());
    let told = incident.pressures;
    let faulty = told
        .faulty
        .filter(|faulty| told.healthy.or(healthy).and_then(pascals) < pascals(*faulty));
    let pressures: Vec<_> = [("healthy", told.healthy), ("faulty", faulty)]
        .into_iter()
        .filter_map(|(which, typed)| Some(pressure_pairs(which, typed?)))
        .flatten()
        .collect();
    let mut pairs: Vec<(String, &str)> = pressures
        .iter()
        .map(|(name, value)| (name.clone(), value.as_str()))
        .collect();
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
    let made = incident.checks.iter().map(|check| check.check.as_str());
    let made = made.collect::<Vec<_>>().join(",");
    if !made.is_empty() {
        pairs.push((MADE.to_owned(), &made));
    }
    address(
        &place("/sequence/tools", incident.tool.as_str()),
        pairs.iter().map(|(name, value)| (name.as_str(), *value)),
    )
}

/// The healthy pressure or the one at the fault, as the sequence and the report take it.
pub(super) fn pressure_pairs(which: &str, typed: TypedPressure) -> [(String, String); 2] {
    [
        (
            format!("pressures.{which}.value"),
            format!("{:e}", typed.value),
        ),
        (
            format!("pressures.{which}.unit"),
            unit_id(typed.unit).to_owned(),
        ),
    ]
}

/// Under this name a form holds the checks made, in order, their identifiers between commas, and
/// among them the states the tool was in meanwhile, each behind an `@`.
pub(super) const MADE: &str = "made";

/// Before a check's identifier, the name under which a form says that it was made once more.
pub(super) const AGAIN: &str = "again.";

/// What a form remembers, in order.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Happened {
    /// A check was made.
    Made(CheckId),
    /// The tool was said to be in a state.
    Stood(ToolState),
}

impl Happened {
    fn all(catalogue: &Catalogue, sent: &Pairs) -> Vec<Self> {
        let words = sent.get(MADE).unwrap_or_default().split(',');
        let again = sent.below(AGAIN).map(|(id, _)| id);
        let told = words.chain(again).filter_map(|word| {
            if let Some(check) = catalogue.check(word) {
                return Some(Self::Made(check.id.clone()));
            }
            let state = word.strip_prefix('@')?;
            let mut states = ToolState::ALL.into_iter();
            states.find(|known| known.id() == state).map(Self::Stood)
        });
        Self::tidy(told.collect())
    }

    /// Of each check the last time, and of the states between two checks each once.
    fn tidy(all: Vec<Self>) -> Vec<Self> {
        let mut kept: Vec<Self> = Vec::new();
        for happened in all.into_iter().rev() {
            let state = |other: &&Self| matches!(other, Self::Stood(_));
            let again = match &happened {
                Self::Made(_) => kept.contains(&happened),
                Self::Stood(_) => kept.iter().rev().take_while(state).any(|s| *s == happened),
            };
            if !again {
                kept.push(happened);
            }
        }
        kept.reverse();
        kept
    }

    /// Where a check was made.
    fn place(history: &[Self], check: &str) -> Option<usize> {
        let made = |happened: &Self| matches!(happened, Self::Made(id) if id.as_str() == check);
        history.iter().position(made)
    }
}

/// The outcomes a form states, as check and outcome, in the order in which the checks were made;
/// those whose order is not known come last.
pub(super) fn in_order_made<'s>(catalogue: &Catalogue, sent: &'s Pairs) -> Vec<(&'s str, &'s str)> {
    let history = Happened::all(catalogue, sent);
    let mut outcomes: Vec<_> = sent.below("outcomes.").collect();
    outcomes.sort_by_key(|(check, _)| Happened::place(&history, check).unwrap_or(usize::MAX));
    outcomes
}

/// A question on its way.
#[derive(Clone, Debug)]
pub(super) struct Question {
    request: Request,
    /// The state the tool is in.
    pub(super) state: ToolState,
    /// Checks with more than one outcome.
    twice: BTreeSet<String>,
    /// Signs with whether they were seen, and the check that looks for each and came out otherwise.
    against: Vec<(SignId, bool, CheckId)>,
    /// Checks of something the tool does not have.
    elsewhere: BTreeSet<String>,
    /// Signs and antecedents that were seen, of something the tool does not have.
    foreign: BTreeSet<String>,
    /// What the form remembers.
    history: Vec<Happened>,
}

/// Causes named in a note at most.
const SOUGHT: usize = 6;

/// The causes possible with these components that a check answers to.
fn possible<'c>(
    catalogue: &'c Catalogue,
    check: &Check,
    parts: &BTreeSet<ComponentId>,
) -> impl Iterator<Item = &'c Cause> {
    let causes = check.reveals.iter().filter(|(_, chance)| **chance > 0.0);
    causes
        .filter_map(|(id, _)| catalogue.cause(id.as_str()))
        .filter(|cause| parts.contains(&cause.component))
}

/// What to do about a finding, and what it may be, the likeliest first.
fn note_of_finding(
    catalogue: &Catalogue,
    check: &Check,
    parts: &BTreeSet<ComponentId>,
    belief: &Belief,
) -> String {
    let mut sought: Vec<(&str, f64)> = possible(catalogue, check, parts)
        .map(|cause| {
            let mut believed = belief.causes.iter();
            let of = believed.find(|believed| believed.id == cause.id.as_str());
            (cause.name.as_str(), of.map_or(0.0, |of| of.chance))
        })
        .collect();
    sought.sort_by(|(_, a), (_, b)| b.total_cmp(a));
    let more = match sought.len().saturating_sub(SOUGHT) {
        0 => String::new(),
        1 => "; and 1 more".to_owned(),
        more => format!("; and {more} more"),
    };
    let names: Vec<&str> = sought.iter().take(SOUGHT).map(|(name, _)| *name).collect();
    let sought = match names.is_empty() {
        true => "Nothing listed for this tool is what it looks for".to_owned(),
        false => format!(
            "What it looks for, the likeliest first: {}{more}",
            names.join("; ")
        ),
    };
    format!(
        "“{}” has found something: mend that, then prove it by pumping down again. {sought}. The \
         checks below are for the case that it is a false alarm, or that the pressure does not come \
         back.",
        check.name
    )
}

/// An answer with the newest cases of each cause in the class.
pub(super) struct Answer {
    pub(super) advice: Advice,
    /// What became of what was asked, where that is not plain.
    pub(super) notes: Vec<String>,
    /// Checks that are not isolating and have found something.
    pub(super) found: Vec<CheckId>,
    /// Checks with an outcome that could be judged.
    pub(super) judged: BTreeSet<String>,
    cases: BTreeMap<String, Vec<i64>>,
}

/// The question as it stands once what was found turns out to explain nothing; none where nothing is
/// found.
fn after_a_false_alarm(request: &Request, found: &[CheckId]) -> Option<Request> {
    let mut left = (!found.is_empty()).then(|| request.clone())?;
    for (id, outcome) in &mut left.evidence.outcomes {
        if found.iter().any(|check| check.as_str() == id) {
            *outcome = statistics::Outcome::Clear;
        }
    }
    Some(left)
}

/// The same question where its order is of no use.
fn quickly(request: &Request) -> Request {
    Request {
        effort: Effort::Quick,
        price_of_help: None,
        ..request.clone()
    }
}

/// Cases linked from one step at most.
const LINKED: usize = 5;

impl Answer {
    /// Whether no check is left that could find anything.
    pub(super) fn ended(&self) -> bool {
        self.advice.steps.iter().all(|step| step.anew)
    }

    /// The newest cases of the class with a cause that the check reveals.
    pub(super) fn cases_behind(&self, check: &Check) -> Vec<i64> {
        let mut numbers: Vec<i64> = check
            .reveals
            .keys()
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
                if group == "signs" && yes {
                    let seen = answers.iter().filter(|(_, seen)| *seen);
                    if let Some(other) = catalogue.excluded(id, seen.map(|(id, _)| id.as_str())) {
                        return refusal(
                            catalogue.contradiction(id, other),
                            "one of the two as seen",
                        );
                    }
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
                        let outcome = knowledge::outcome(outcome);
                        let mut before = evidence.outcomes.iter();
                        if before.any(|(check, before)| check == id && *before != outcome) {
                            self.twice.insert(id.to_owned());
                        }
                        evidence.outcomes.push((id.to_owned(), outcome));
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
    pub(super) fn loss(
        &mut self,
        healthy: TypedPressure,
        faulty: TypedPressure,
    ) -> Result<(), Refusal> {
        let pascals = |typed: TypedPressure| typed.pressure().ok().map(|p| p.pascals());
        let (Some(well), Some(ill)) = (pascals(healthy), pascals(faulty)) else {
            return Ok(());
        };
        if well <= 0.0 || ill <= 0.0 {
            return Ok(());
        }
        if ill < well {
            return Err(Refusal::new(
                "pressures.faulty",
                format!("{faulty} lies below the healthy pressure, {healthy}: nothing is lost"),
                "a pressure not below the healthy one, or none",
            ));
        }
        self.request.evidence.loss_decades = Some((ill / well).log10());
        Ok(())
    }

    /// Says that the outcomes are stated in the order in which the checks were made.
    pub(super) fn in_order(&mut self) {
        self.request.evidence.ordered = usize::MAX;
    }

    /// States what a form sends. What it remembers holds the checks whose order is known already;
    /// other outcomes were stated since, at once. What was made before the tool was said to be in
    /// another state than the check's has lapsed.
    pub(super) fn state_form(&mut self, catalogue: &Catalogue, sent: &Pairs) -> Vec<Refusal> {
        let history = Happened::all(catalogue, sent);
        let place = |name: &str| Happened::place(&history, name.strip_prefix("outcomes.")?);
        for (at, happened) in history.iter().enumerate() {
            let Happened::Made(id) = happened else {
                continue;
            };
            let of = catalogue.check(id.as_str()).map(|check| check.leaves);
            let left =
                |since: &Happened| matches!(since, Happened::Stood(state) if Some(*state) != of);
            if history[at..].iter().any(left) {
                self.request.evidence.lapsed.push(id.to_string());
            }
        }
        let mut pairs: Vec<_> = sent
            .iter()
            .map(|(name, value)| (name, value.trim()))
            .filter(|(_, value)| !value.is_empty())
            .collect();
        pairs.sort_by_key(|(name, _)| place(name).unwrap_or(usize::MAX));
        let mut refusals = Vec::new();
        for (name, value) in pairs {
            refusals.extend(self.state(catalogue, name, value).err());
            if place(name).is_some() {
                self.request.evidence.ordered = self.request.evidence.outcomes.len();
            }
        }
        self.history = history;
        refusals
    }

    /// What a form has to send as [`MADE`] so that the order is known later, and where the tool
    /// stands now. Of what was stated at once, what was made in another state than that of the
    /// tool now counts as made last, so that nothing passes for secured that may not be.
    pub(super) fn made(&self, catalogue: &Catalogue) -> String {
        let outcomes = &self.request.evidence.outcomes;
        if outcomes.is_empty() {
            return String::new();
        }
        let stated = |happened: &&Happened| match happened {
            Happened::Made(made) => outcomes.iter().any(|(id, _)| id == made.as_str()),
            Happened::Stood(_) => true,
        };
        let mut new: Vec<&Check> = outcomes
            .iter()
            .filter(|(id, _)| Happened::place(&self.history, id).is_none())
            .filter_map(|(id, _)| catalogue.check(id))
            .collect();
        new.sort_by_key(|check| [check.state, check.leaves] != [self.state; 2]);
        let mut all: Vec<Happened> = self.history.iter().filter(stated).cloned().collect();
        all.extend(
            new.into_iter()
                .map(|check| Happened::Made(check.id.clone())),
        );
        all.push(Happened::Stood(self.state));
        let words = Happened::tidy(all)
            .into_iter()
            .map(|happened| match happened {
                Happened::Made(id) => id.to_string(),
                Happened::Stood(state) => format!("@{}", state.id()),
            });
        words.collect::<Vec<_>>().join(",")
    }

    fn notes(&self, catalogue: &Catalogue) -> Vec<String> {
        let name = |id: &str| match catalogue.check(id) {
            Some(check) => format!("“{}”", check.name),
            None => id.to_owned(),
        };
        let mut notes: Vec<String> = self
            .twice
            .iter()
            .map(|id| {
                format!(
                    "{} has several outcomes: the last one that could be judged counts.",
                    name(id)
                )
            })
            .collect();
        notes.extend(self.against.iter().map(|(sign, seen, check)| {
            let of_sign = catalogue.sign(sign.as_str());
            let of_check = catalogue.check(check.as_str());
            let expected = of_check.and_then(|check| catalogue.expects(check, sign, *seen));
            format!(
                "“{}” is stated as {}, and {} as {}: one look, two answers. The outcome of the check \
                 counts alone; if the sign is right, state the check otherwise, or as not made.",
                of_sign.map_or(sign.as_str(), |sign| sign.name.as_str()),
                if *seen { "seen" } else { "not seen" },
                name(check.as_str()),
                if expected == Some(true) { "clear" } else { "found" },
            )
        }));
        let parts = self.parts();
        let found: Vec<&Check> = self.finding(catalogue).collect();
        let alone = |one: &Check, other: &Check| {
            let of_one: BTreeSet<&CauseId> = possible(catalogue, one, &parts)
                .map(|cause| &cause.id)
                .collect();
            !possible(catalogue, other, &parts).any(|cause| of_one.contains(&cause.id))
        };
        let pair = found.iter().copied().enumerate().find_map(|(at, one)| {
            let mut others = found[at + 1..].iter().copied();
            let other = others.find(|&other| alone(one, other))?;
            Some((one, other))
        });
        notes.extend(pair.map(|(one, other)| {
            format!(
                "“{}” and “{}” each found something, and no one listed cause is behind both: two faults \
                 may be there at once. Mend both before you call it proven.",
                one.name, other.name
            )
        }));
        let told: BTreeSet<&str> = catalogue
            .signs_of(&parts)
            .map(|sign| sign.id.as_str())
            .collect();
        // That what it lacks did not happen goes without saying.
        let seen = self.request.evidence.signs.iter().filter(|(_, seen)| *seen);
        for (id, _) in seen {
            if let Some(sign) = catalogue.sign(id).filter(|_| !told.contains(id.as_str())) {
                notes.push(format!(
                    "Nothing that this tool has brings about “{}”: see that it was seen on this \
                     tool. It hardly tells the causes apart here.",
                    sign.name
                ));
            }
        }
        notes.extend(self.foreign.iter().map(|id| {
            let sign = catalogue.sign(id).map(|sign| sign.name.as_str());
            let name = sign.or_else(|| Some(catalogue.antecedent(id)?.name.as_str()));
            format!(
                "“{}” is of something that this tool does not have, so it is not counted: see that it \
                 was this tool, and what the tool is fitted with.",
                name.unwrap_or(id)
            )
        }));
        notes.extend(self.elsewhere.iter().map(|id| {
            format!(
                "{} is made on something that this tool does not have, so its outcome is not \
                 counted: see that it was made on this tool, and what the tool is fitted with.",
                name(id)
            )
        }));
        notes.extend(self.note_of_state(catalogue));
        notes
    }

    /// That the tool was brought into another state than the check made last leaves it in, which
    /// nobody may have meant.
    fn note_of_state(&self, catalogue: &Catalogue) -> Option<String> {
        if matches!(self.history.last(), Some(Happened::Stood(_))) {
            return None;
        }
        let evidence = &self.request.evidence;
        let known = evidence.ordered.min(evidence.outcomes.len());
        let check = |(id, _): &(String, statistics::Outcome)| catalogue.check(id);
        let left = |check: &&Check| check.leaves != self.state;
        let last = match evidence.outcomes.split_at(known) {
            (made, []) => check(made.last()?).filter(left)?,
            // Of those stated at once nobody knows which came last.
            (_, at_once) => {
                let of_all = at_once.iter().map(|made| check(made).filter(left));
                *of_all.collect::<Option<Vec<_>>>()?.last()?
            }
        };
        Some(format!(
            "“{}” leaves the tool {}; it is taken as {} since then. If it is not, say how the tool is \
             now and order again.",
            last.name,
            last.leaves.name(),
            self.state.name()
        ))
    }

    /// What the tool has.
    fn parts(&self) -> BTreeSet<ComponentId> {
        let parts = self.request.components.iter().flatten();
        parts.map(ComponentId::new).collect()
    }

    /// Takes out what was found or not found with checks of what the tool does not have.
    fn set_apart(&mut self, catalogue: &Catalogue) {
        let parts = self.parts();
        let fitted = |id: &str| {
            let check = catalogue.check(id);
            check.is_none_or(|check| {
                check
                    .needs_components
                    .iter()
                    .all(|part| parts.contains(part))
            })
        };
        let evidence = &mut self.request.evidence;
        let ordered = evidence.outcomes.iter().take(evidence.ordered);
        evidence.ordered = ordered.filter(|(id, _)| fitted(id)).count();
        for told in [&mut evidence.signs, &mut evidence.antecedents] {
            told.retain(|(id, seen)| {
                let of_tool = catalogue.can_be_told(id, &parts);
                if !of_tool && *seen {
                    self.foreign.insert(id.clone());
                }
                of_tool
            });
        }
        evidence.outcomes.retain(|(id, _)| {
            let fitted = fitted(id);
            if !fitted {
                self.elsewhere.insert(id.clone());
            }
            fitted
        });
        self.count_once(catalogue);
    }

    /// A sign that a check looks for itself and an outcome of the check that says the same are one
    /// look. What was seen tells more than the outcome, which tells more than what was not seen. Where
    /// they say the opposite, the check counts alone, and a note says so.
    fn count_once(&mut self, catalogue: &Catalogue) {
        let evidence = &mut self.request.evidence;
        let mut judged: BTreeMap<String, statistics::Outcome> = BTreeMap::new();
        for (id, outcome) in &evidence.outcomes {
            if *outcome != statistics::Outcome::Inconclusive {
                judged.insert(id.clone(), *outcome);
            }
        }
        for (id, outcome) in judged {
            let Some(check) = catalogue.check(&id) else {
                continue;
            };
            let own = |sign: &str| check.shows.iter().any(|shown| shown.as_str() == sign);
            let seen = evidence.signs.iter().any(|(sign, seen)| *seen && own(sign));
            let found = outcome == statistics::Outcome::Found;
            let (mut with, mut against) = (false, Vec::new());
            for (sign, seen) in evidence.signs.iter().filter(|(sign, _)| own(sign)) {
                let sign = SignId::new(sign);
                match catalogue.expects(check, &sign, *seen) {
                    Some(expected) if expected == found => with |= *seen,
                    Some(_) => against.push((sign, *seen, check.id.clone())),
                    None => {}
                }
            }
            if !with && !against.is_empty() {
                self.against.append(&mut against);
                evidence.signs.retain(|(sign, _)| !own(sign));
                continue;
            }
            match (check.isolating, outcome, seen) {
                (true, _, true) | (false, statistics::Outcome::Found, true) => {
                    evidence.told.push(id);
                }
                (true, _, false) | (false, statistics::Outcome::Clear, false) => {
                    evidence.signs.retain(|(sign, _)| !own(sign));
                }
                _ => {}
            }
        }
    }

    /// Checks that have found what they look for, by their last outcome that could be judged.
    fn finding<'c>(&'c self, catalogue: &'c Catalogue) -> impl Iterator<Item = &'c Check> {
        let outcomes = &self.request.evidence.outcomes;
        let judged = |outcome: &statistics::Outcome| *outcome != statistics::Outcome::Inconclusive;
        let last = outcomes
            .iter()
            .enumerate()
            .filter(move |(at, (id, outcome))| {
                let mut later = outcomes[at + 1..].iter();
                *outcome == statistics::Outcome::Found
                    && !later.any(|(other, outcome)| other == id && judged(outcome))
            });
        let checks = last.filter_map(|(_, (id, _))| catalogue.check(id));
        checks.filter(|check| !check.isolating)
    }

    /// Asks, off the threads that serve requests.
    pub(super) async fn ask(mut self, app: &App) -> Result<Answer, Fault> {
        self.set_apart(&app.catalogue);
        app.counted().await;
        let knowledge = Arc::clone(&app.knowledge);
        let mut notes = self.notes(&app.catalogue);
        let parts = self.parts();
        let found = self.finding(&app.catalogue);
        let found: Vec<CheckId> = found.map(|check| check.id.clone()).collect();
        let outcomes = self.request.evidence.outcomes.iter();
        let judged = outcomes
            .filter(|(_, outcome)| *outcome != statistics::Outcome::Inconclusive)
            .map(|(id, _)| id.clone())
            .collect();
        let catalogue = Arc::clone(&app.catalogue);
        let request = self.request;
        let today = app.today();
        let site = app.asker().only_site().map(str::to_owned);
        tokio::task::spawn_blocking(move || {
            let groups = knowledge
                .by(
                    Dimension::Cause,
                    &Filter {
                        class: Some(request.class.clone()),
                        site,
                        ..Filter::default()
                    },
                )
                .groups
                .clone();
            let advice = match after_a_false_alarm(&request, &found) {
                None => knowledge.advise(&request, today)?,
                // The belief is that of what is stated; the order is for what is left if that
                // finding was none, or what it found is mended and the pressure not back.
                Some(left) => Advice {
                    belief: knowledge.advise(&quickly(&request), today)?.belief,
                    ..knowledge.advise(&left, today)?
                },
            };
            // Only causes that the tool can have, as they are counted.
            let possible = |id: &str| advice.belief.causes.iter().any(|cause| cause.id == id);
            let cases = groups
                .into_iter()
                .filter(|group| possible(&group.id))
                .map(|group| (group.id, group.recent))
                .collect();
            let of_found = found.iter().filter_map(|id| catalogue.check(id.as_str()));
            notes.extend(
                of_found.map(|check| note_of_finding(&catalogue, check, &parts, &advice.belief)),
            );
            let aside = advice.set_aside.iter().filter_map(|id| catalogue.check(id));
            notes.extend(aside.map(|check| {
                format!(
                    "“{}” could not be judged, so it says nothing and is left out of the order. Where it \
                     can be judged now, state it as not done, and it is back.",
                    check.name
                )
            }));
            let held = advice.held.iter().filter_map(|id| catalogue.check(id));
            let held: Vec<_> = held.map(|check| format!("“{}”", check.name)).collect();
            if !held.is_empty() {
                notes.push(format!(
                    "Taken as still in force, since the tool has not left its state: {}. If the \
                     supply was given back or the tool pumped down meanwhile, state it as not done.",
                    held.join(", ")
                ));
            }
            Ok::<_, AdviceError>(Answer {
                advice,
                notes,
                found,
                judged,
                cases,
            })
        })
        .await?
        .map_err(|error| {
            let told = error.to_string();
            let (problem, accepted) = told.split_once("; accepted is ").unwrap_or((
                &told,
                "signs, antecedents and outcomes that do not contradict each other",
            ));
            Fault::Refused(vec![Refusal::new("question", problem, accepted)])
        })
    }
}
