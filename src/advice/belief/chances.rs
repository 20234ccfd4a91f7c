//! Chances alone, by dense index, without the intervals and counts a page wants.
//!
//! The states the chances are over, in this order: each cause the tool can have, found in
//! the end; something that is not listed; and each cause the tool can have, given up on. In
//! the last the checks that would find a cause found nothing, and all else is as with it.

use super::{Evidence, posterior};
use crate::advice::{
    error::AdviceError,
    items::Items,
    knowledge::Knowledge,
    learned::{Learned, normalise},
};

/// Chances of the causes of one incident.
#[derive(Clone, Debug, PartialEq)]
pub struct Chances {
    /// Causes possible on this tool, in the order of the knowledge.
    pub(crate) present: Vec<usize>,
    /// Chance of each state.
    pub(crate) states: Vec<f64>,
    /// Chance of each cause before the evidence, the unlisted last.
    pub(crate) prior: Vec<f64>,
    unlisted: usize,
}

impl Chances {
    /// Chances on a tool of `class` with `components` (none: all the class can have).
    ///
    /// # Errors
    /// A class, sign, antecedent or check nobody knows, something both seen and absent, a
    /// loss outside its range, or no cause possible with the components.
    pub fn of(
        knowledge: &Knowledge,
        learned: &Learned,
        class: &str,
        components: Option<&[String]>,
        evidence: &Evidence,
    ) -> Result<Self, AdviceError> {
        let class = knowledge.class_number(class)?;
        let items = Items::read(knowledge, evidence)?;
        let prior = &learned.classes[class].chances;
        Self::from(knowledge, learned, prior, components, &items)
    }

    pub(super) fn from(
        knowledge: &Knowledge,
        learned: &Learned,
        prior: &[f64],
        components: Option<&[String]>,
        items: &Items,
    ) -> Result<Self, AdviceError> {
        let unlisted = knowledge.causes.len();
        let present: Vec<usize> = (0..unlisted)
            .filter(|&cause| {
                let component = &knowledge.causes[cause].component;
                prior[cause] > 0.0
                    && components.is_none_or(|components| components.contains(component))
            })
            .collect();
        if present.is_empty() {
            return Err(AdviceError::NoCause);
        }
        let rows = present.iter().chain([&unlisted]);
        let mut prior: Vec<f64> = rows.map(|&cause| prior[cause]).collect();
        normalise(&mut prior);
        let mut chances = Self {
            states: spread(&prior, learned.given_up),
            prior,
            present,
            unlisted,
        };
        let mut logs = vec![0.0; chances.states.len()];
        for (at, &cause) in chances.present.iter().chain([&unlisted]).enumerate() {
            let symptoms = learned.trust * items.ln_symptoms(learned, cause);
            logs[at] = symptoms;
            if cause != unlisted {
                logs[chances.present.len() + 1 + at] = symptoms;
            }
        }
        for &(check, found) in &items.checks {
            let given = chances.given(knowledge, learned, check);
            for (ln, given) in logs.iter_mut().zip(given) {
                *ln += crate::advice::items::ln_side(given, found);
            }
        }
        chances.states = posterior(&chances.states, &logs);
        Ok(chances)
    }

    /// Chance of a cause by identifier, 0 if the tool cannot have it.
    pub fn of_cause(&self, knowledge: &Knowledge, id: &str) -> f64 {
        let cause = knowledge.cause_index.get(id);
        let at = cause.and_then(|cause| self.present.iter().position(|other| other == cause));
        at.map_or(0.0, |at| self.states[at])
    }

    /// The likeliest listed cause and its chance.
    pub fn likeliest<'k>(&self, knowledge: &'k Knowledge) -> (&'k str, f64) {
        let best = (0..self.present.len())
            .max_by(|&a, &b| self.states[a].total_cmp(&self.states[b]))
            .unwrap_or(0);
        (&knowledge.causes[self.present[best]].id, self.states[best])
    }

    /// Chance that the search ends without one of the listed causes.
    pub fn unlisted(&self) -> f64 {
        self.states[self.present.len()..].iter().sum()
    }

    /// Chance that a check gives "found" in each state.
    pub(crate) fn given(&self, knowledge: &Knowledge, learned: &Learned, check: usize) -> Vec<f64> {
        let of = |cause: usize| learned.checks.chances[cause][check];
        let alarm = of(self.unlisted);
        let isolating = knowledge.checks[check].isolating;
        let given_up = self.present.iter().map(|&cause| match isolating {
            true => of(cause),
            false => alarm,
        });
        self.present
            .iter()
            .map(|&cause| of(cause))
            .chain([alarm])
            .chain(given_up)
            .collect()
    }
}

/// Chances of the states before any evidence.
fn spread(prior: &[f64], given_up: f64) -> Vec<f64> {
    let Some((&unlisted, causes)) = prior.split_last() else {
        return Vec::new();
    };
    let listed: f64 = causes.iter().sum();
    let share = unlisted * given_up / listed.max(f64::MIN_POSITIVE);
    causes
        .iter()
        .copied()
        .chain([unlisted * (1.0 - given_up)])
        .chain(causes.iter().map(|cause| cause * share))
        .collect()
}
