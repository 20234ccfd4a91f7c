//! What is known of an incident, by dense index, and how likely a cause makes it.

use std::collections::{BTreeMap, HashMap};

use super::{
    belief::Evidence,
    error::{AdviceError, within},
    knowledge::Knowledge,
    learned::Learned,
};
use crate::statistics::{Outcome, tables::Remembered};

/// Evidence of one incident.
pub(crate) struct Items {
    pub(crate) signs: Vec<(usize, bool)>,
    pub(crate) antecedents: Vec<(usize, bool)>,
    /// Checks that could be judged, the last judgement of each.
    pub(crate) checks: Vec<(usize, bool)>,
    pub(crate) loss: Option<f64>,
}

impl Items {
    pub(crate) fn read(knowledge: &Knowledge, evidence: &Evidence) -> Result<Self, AdviceError> {
        let loss = evidence
            .loss_decades
            .map(|loss| {
                within(
                    "the loss",
                    "the incident",
                    loss,
                    (-20.0, 20.0),
                    "-20 to 20 decades",
                )
            })
            .transpose()?;
        let mut checks: BTreeMap<usize, bool> = BTreeMap::new();
        for (id, outcome) in &evidence.outcomes {
            let check = knowledge.check_number(id)?;
            if *outcome != Outcome::Inconclusive && !evidence.told.contains(id) {
                checks.insert(check, *outcome == Outcome::Found);
            }
        }
        Ok(Self {
            signs: observed(&knowledge.sign_index, "sign", &evidence.signs)?,
            antecedents: observed(
                &knowledge.antecedent_index,
                "antecedent",
                &evidence.antecedents,
            )?,
            checks: checks.into_iter().collect(),
            loss,
        })
    }

    /// What a past case showed, apart from its checks; what the catalogue no longer holds
    /// is left out.
    pub(crate) fn of_case(knowledge: &Knowledge, case: &Remembered) -> Self {
        let known = |index: &HashMap<String, usize>, pairs: &[(String, bool)]| {
            pairs
                .iter()
                .filter_map(|(id, seen)| Some((*index.get(id)?, *seen)))
                .collect()
        };
        Self {
            signs: known(&knowledge.sign_index, &case.signs),
            antecedents: known(&knowledge.antecedent_index, &case.antecedents),
            checks: Vec::new(),
            loss: case.loss_decades,
        }
    }

    /// ln of the chance of signs, antecedents and loss under a cause, as far as they are
    /// trusted; an index beyond the causes is the cause that is not listed.
    pub(crate) fn ln_symptoms(&self, learned: &Learned, cause: usize) -> f64 {
        let told = |items: &[(usize, bool)], chances: &[f64]| -> f64 {
            items
                .iter()
                .map(|&(item, seen)| ln_side(chances[item], seen))
                .sum()
        };
        let loss = self
            .loss
            .map_or(0.0, |loss| learned.losses[cause].ln_density(loss));
        told(&self.signs, &learned.signs.chances[cause])
            + told(&self.antecedents, &learned.antecedents.chances[cause])
            + loss
    }

    /// Whether each item was seen, in the order of [`Items::chances`].
    fn seen(&self) -> impl Iterator<Item = bool> + '_ {
        [&self.signs, &self.antecedents, &self.checks]
            .into_iter()
            .flatten()
            .map(|(_, seen)| *seen)
    }

    /// Chance of each item under a cause, the loss apart.
    pub(crate) fn chances(&self, learned: &Learned, cause: usize) -> Vec<f64> {
        let of = |items: &[(usize, bool)], chances: &[f64]| -> Vec<f64> {
            items.iter().map(|(item, _)| chances[*item]).collect()
        };
        [
            of(&self.signs, &learned.signs.chances[cause]),
            of(&self.antecedents, &learned.antecedents.chances[cause]),
            of(&self.checks, &learned.checks.chances[cause]),
        ]
        .concat()
    }

    /// ln of the chance of what was seen, from the chance of each item.
    pub(crate) fn ln_likelihood(&self, chances: &[f64]) -> f64 {
        self.seen()
            .zip(chances)
            .map(|(seen, chance)| ln_side(*chance, seen))
            .sum()
    }

    /// How many standard deviations less likely the evidence is than a cause leads to expect,
    /// which makes each item likely by `chances`.
    pub(crate) fn surprise(&self, learned: &Learned, cause: usize, chances: &[f64]) -> f64 {
        let (mut expected, mut variance) = (0.0, 0.0);
        let mut told = self.ln_likelihood(chances);
        if let Some(loss) = self.loss {
            let model = &learned.losses[cause];
            (expected, variance) = model.ln_density_expected();
            told += model.ln_density(loss);
        }
        for &p in chances {
            let (yes, no) = (p.ln(), (1.0 - p).ln());
            expected += p * yes + (1.0 - p) * no;
            variance += p * (1.0 - p) * (yes - no).powi(2);
        }
        (expected - told) / variance.sqrt().max(1.0)
    }
}

/// ln of the chance that something of this chance was seen, or not.
pub(crate) fn ln_side(chance: f64, seen: bool) -> f64 {
    if seen {
        chance.ln()
    } else {
        (1.0 - chance).ln()
    }
}

fn observed(
    index: &HashMap<String, usize>,
    what: &'static str,
    pairs: &[(String, bool)],
) -> Result<Vec<(usize, bool)>, AdviceError> {
    let mut seen: BTreeMap<usize, bool> = BTreeMap::new();
    for (id, value) in pairs {
        let &at = index.get(id).ok_or_else(|| AdviceError::Unknown {
            what,
            id: id.clone(),
        })?;
        if seen
            .insert(at, *value)
            .is_some_and(|before| before != *value)
        {
            return Err(AdviceError::Contradictory { id: id.clone() });
        }
    }
    Ok(seen.into_iter().collect())
}
