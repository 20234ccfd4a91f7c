//! Chances of the causes given what is known.
//!
//! One cause at a time, evidence independent given the cause. Signs and antecedents have
//! three states: seen, absent, and not looked for, which is no evidence. An outcome of a
//! check counts with its chances of detection and of false alarm, never with certainty; of
//! several outcomes of one check the last that could be judged counts. Two faults at once
//! stay possible: [`Belief::contradiction`] says when no single cause explains the evidence.

use std::collections::{BTreeMap, HashMap};

use super::{
    error::{AdviceError, within},
    knowledge::Knowledge,
    learned::{Learned, normalise},
};
use crate::statistics::{Interval, Outcome, interval};

/// No outcome of a check is taken as surer than this.
pub const SUREST_CHECK: f64 = 0.999;
/// Beyond how many standard deviations of surprise a cause no longer explains the evidence.
pub const SURPRISE: f64 = 3.0;

/// What is known of an incident.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evidence {
    /// Signs looked for, and whether they were seen.
    pub signs: Vec<(String, bool)>,
    /// Antecedents asked about, and whether they had happened.
    pub antecedents: Vec<(String, bool)>,
    /// Decades of base pressure lost, -20 to 20.
    pub loss_decades: Option<f64>,
    /// Checks made, in order.
    pub outcomes: Vec<(String, Outcome)>,
}

/// Chance of a cause.
#[derive(Clone, Debug, PartialEq)]
pub struct CauseBelief {
    /// The cause.
    pub id: String,
    /// Chance given all evidence.
    pub chance: f64,
    /// 95 % posterior interval of the chance: how well the counts fix it.
    pub interval: Interval,
    /// Chance before the evidence of this incident.
    pub prior: f64,
    /// Chance by common practice alone, before any case and any evidence.
    pub practice: f64,
    /// Cases of this cause in the class.
    pub class_cases: u64,
    /// Cases of this cause in all classes.
    pub fleet_cases: u64,
}

/// A possible contradiction.
#[derive(Clone, Debug, PartialEq)]
pub struct Contradiction {
    /// How many standard deviations the evidence surprises the cause it surprises least.
    pub surprise: f64,
    /// The two causes that together explain the evidence best.
    pub pair: Option<(String, String)>,
}

/// Chances of the causes of one incident.
#[derive(Clone, Debug, PartialEq)]
pub struct Belief {
    /// Causes possible on this tool, the likeliest first.
    pub causes: Vec<CauseBelief>,
    /// Chance of a cause that is not listed.
    pub unlisted: f64,
    /// Set when the evidence contradicts every single cause.
    pub contradiction: Option<Contradiction>,
    /// Cases of the class.
    pub class_cases: u64,
    /// Cases of all classes.
    pub fleet_cases: u64,
    /// By dense index, in the order of the knowledge: causes possible on this tool.
    pub(crate) present: Vec<usize>,
    pub(crate) chances: Vec<f64>,
    prior: Vec<f64>,
    worths: Vec<f64>,
}

impl Belief {
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
        let prior_of_class = &learned.classes[class];
        Self::with(
            knowledge,
            learned,
            class,
            components,
            evidence,
            &prior_of_class.chances,
        )
    }

    /// The same from common practice alone, as if no case had ever been counted.
    ///
    /// # Errors
    /// As [`Belief::of`].
    pub fn of_practice(
        knowledge: &Knowledge,
        untaught: &Learned,
        class: &str,
        components: Option<&[String]>,
        evidence: &Evidence,
    ) -> Result<Self, AdviceError> {
        let class = knowledge.class_number(class)?;
        let prior_of_class = &untaught.classes[class];
        Self::with(
            knowledge,
            untaught,
            class,
            components,
            evidence,
            &prior_of_class.practice,
        )
    }

    /// Chance that something happens which has the chance `given` under each present cause
    /// (in the order of `present`, the unlisted last), with its 95 % interval.
    fn chance_of(&self, given: &[f64]) -> (f64, Interval) {
        self.chance_among(&self.chances, given)
    }

    /// The same once outcomes taken for granted have changed the chances.
    pub(crate) fn chance_among(&self, chances: &[f64], given: &[f64]) -> (f64, Interval) {
        let chance: f64 = chances
            .iter()
            .zip(given)
            .map(|(chance, given)| chance * given)
            .sum();
        let chance = chance.clamp(0.0, 1.0);
        // Delta method: each chance is a gamma variable over their sum.
        let variance: f64 = chances
            .iter()
            .zip(given)
            .zip(&self.worths)
            .filter(|(_, worth)| **worth > 0.0)
            .map(|((posterior, given), worth)| (posterior * (given - chance)).powi(2) / worth)
            .sum();
        (chance, matched(chance, variance))
    }

    fn with(
        knowledge: &Knowledge,
        learned: &Learned,
        class: usize,
        components: Option<&[String]>,
        evidence: &Evidence,
        prior: &[f64],
    ) -> Result<Self, AdviceError> {
        let items = Items::read(knowledge, evidence)?;
        let unlisted = knowledge.causes.len();
        let present: Vec<usize> = (0..knowledge.causes.len())
            .filter(|&cause| {
                let component = &knowledge.causes[cause].component;
                prior[cause] > 0.0
                    && components.is_none_or(|components| components.contains(component))
            })
            .collect();
        if present.is_empty() {
            return Err(AdviceError::NoCause);
        }
        let rows: Vec<usize> = present.iter().copied().chain([unlisted]).collect();
        let mut prior: Vec<f64> = rows.iter().map(|&cause| prior[cause]).collect();
        normalise(&mut prior);
        let chances_of_items: Vec<Vec<f64>> = rows
            .iter()
            .map(|&cause| items.chances(knowledge, learned, cause))
            .collect();
        let logs: Vec<f64> = rows
            .iter()
            .zip(&chances_of_items)
            .map(|(&cause, chances)| {
                let loss = items
                    .loss
                    .map_or(0.0, |loss| learned.losses[cause].ln_density(loss));
                items.ln_likelihood(chances) + loss
            })
            .collect();
        let chances = posterior(&prior, &logs);
        let counts = &learned.classes[class];
        let mut belief = Self {
            causes: Vec::new(),
            unlisted: chances.last().copied().unwrap_or(0.0),
            contradiction: items.contradiction(knowledge, &present, &prior, &chances_of_items),
            class_cases: counts.cases.iter().sum(),
            fleet_cases: counts.fleet_cases.iter().sum(),
            present,
            chances,
            prior,
            worths: rows.iter().map(|&cause| counts.worths[cause]).collect(),
        };
        let practice: f64 = rows.iter().map(|&cause| counts.practice[cause]).sum();
        let mut target = vec![0.0; rows.len()];
        for (at, &cause) in belief.present.iter().enumerate() {
            target[at] = 1.0;
            let (chance, interval) = belief.chance_of(&target);
            target[at] = 0.0;
            belief.causes.push(CauseBelief {
                id: knowledge.causes[cause].id.clone(),
                chance,
                interval,
                prior: belief.prior[at],
                practice: counts.practice[cause] / practice,
                class_cases: counts.cases[cause],
                fleet_cases: counts.fleet_cases[cause],
            });
        }
        belief
            .causes
            .sort_by(|a, b| b.chance.total_cmp(&a.chance).then_with(|| a.id.cmp(&b.id)));
        Ok(belief)
    }
}

/// Posterior chances from prior chances and log-likelihoods, without under- or overflow.
/// Bayes' theorem; where every likelihood is zero the prior stands.
pub fn posterior(prior: &[f64], ln_likelihood: &[f64]) -> Vec<f64> {
    let best = prior
        .iter()
        .zip(ln_likelihood)
        .filter(|(prior, _)| **prior > 0.0)
        .map(|(_, ln)| *ln)
        .fold(f64::NEG_INFINITY, f64::max);
    if !best.is_finite() {
        return prior.to_vec();
    }
    let mut chances: Vec<f64> = prior
        .iter()
        .zip(ln_likelihood)
        .map(|(prior, ln)| prior * (ln - best).exp())
        .collect();
    normalise(&mut chances);
    chances
}

/// Evidence by dense index.
struct Items {
    signs: Vec<(usize, bool)>,
    antecedents: Vec<(usize, bool)>,
    checks: Vec<(usize, bool)>,
    loss: Option<f64>,
}

impl Items {
    fn read(knowledge: &Knowledge, evidence: &Evidence) -> Result<Self, AdviceError> {
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
            if *outcome != Outcome::Inconclusive {
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

    /// Whether each item was seen, in the order of [`Items::chances`].
    fn seen(&self) -> impl Iterator<Item = bool> + '_ {
        [&self.signs, &self.antecedents, &self.checks]
            .into_iter()
            .flatten()
            .map(|(_, seen)| *seen)
    }

    /// Chance of each item under a cause (or under none of the listed).
    fn chances(&self, knowledge: &Knowledge, learned: &Learned, cause: usize) -> Vec<f64> {
        let signs = self
            .signs
            .iter()
            .map(|(sign, _)| learned.signs[cause][*sign]);
        let before = self
            .antecedents
            .iter()
            .map(|(item, _)| learned.antecedents[cause][*item]);
        let checks = self
            .checks
            .iter()
            .map(|(check, _)| found_chance(knowledge, *check, cause));
        signs.chain(before).chain(checks).collect()
    }

    fn ln_likelihood(&self, chances: &[f64]) -> f64 {
        self.seen()
            .zip(chances)
            .map(|(seen, chance)| {
                if seen {
                    chance.ln()
                } else {
                    (1.0 - chance).ln()
                }
            })
            .sum()
    }

    /// Looks for a cause the evidence does not surprise.
    fn contradiction(
        &self,
        knowledge: &Knowledge,
        present: &[usize],
        prior: &[f64],
        chances: &[Vec<f64>],
    ) -> Option<Contradiction> {
        let surprise = (0..present.len())
            .map(|at| self.surprise(&chances[at]))
            .fold(f64::INFINITY, f64::min);
        if !surprise.is_finite() || surprise <= SURPRISE {
            return None;
        }
        let mut best: Option<(f64, usize, usize)> = None;
        for a in 0..present.len() {
            for b in a + 1..present.len() {
                let both: Vec<f64> = chances[a]
                    .iter()
                    .zip(&chances[b])
                    .map(|(a, b)| 1.0 - (1.0 - a) * (1.0 - b))
                    .collect();
                let ln = prior[a].ln() + prior[b].ln() + self.ln_likelihood(&both);
                if best.is_none_or(|(most, ..)| ln > most) {
                    best = Some((ln, a, b));
                }
            }
        }
        let name = |at: usize| knowledge.causes[present[at]].id.clone();
        Some(Contradiction {
            surprise,
            pair: best.map(|(_, a, b)| (name(a), name(b))),
        })
    }

    /// How many standard deviations less likely the evidence is than a cause leads to expect.
    fn surprise(&self, chances: &[f64]) -> f64 {
        let (mut expected, mut variance) = (0.0, 0.0);
        for &p in chances {
            let (yes, no) = (p.ln(), (1.0 - p).ln());
            expected += p * yes + (1.0 - p) * no;
            variance += p * (1.0 - p) * (yes - no).powi(2);
        }
        (expected - self.ln_likelihood(chances)) / variance.sqrt().max(1.0)
    }
}

/// Chance that a check gives "found" under a cause; an index beyond the causes is the
/// cause that is not listed.
pub(crate) fn found_chance(knowledge: &Knowledge, check: usize, cause: usize) -> f64 {
    let check = &knowledge.checks[check];
    let listed = knowledge
        .causes
        .get(cause)
        .and_then(|cause| check.reveals.get(&cause.id));
    listed
        .copied()
        .unwrap_or(check.false_alarm)
        .clamp(1.0 - SUREST_CHECK, SUREST_CHECK)
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

/// The Beta interval with this mean and variance.
fn matched(mean: f64, variance: f64) -> Interval {
    let flat = Interval {
        low: mean,
        high: mean,
    };
    if variance <= 0.0 || mean <= 0.0 || mean >= 1.0 {
        return flat;
    }
    let worth = mean * (1.0 - mean) / variance - 1.0;
    if worth <= 0.0 {
        return Interval {
            low: 0.0,
            high: 1.0,
        };
    }
    interval::beta(
        (mean * worth).max(1e-6),
        ((1.0 - mean) * worth).max(1e-6),
        0.95,
    )
    .unwrap_or(flat)
}
