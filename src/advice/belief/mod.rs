//! Chances of the causes given what is known.
//!
//! One cause at a time, evidence independent given the cause. Signs and antecedents have
//! three states: seen, absent, and not looked for, which is no evidence. An outcome of a
//! check counts with its chances of detection and of false alarm, never with certainty; of
//! several outcomes of one check the last that could be judged counts. Two faults at once
//! stay possible: [`Belief::contradiction`] says when no single cause explains the evidence.

mod chances;

use super::{
    error::AdviceError,
    items::Items,
    knowledge::{CauseFacts, Knowledge},
    learned::{Learned, normalise},
};
use crate::statistics::{Interval, Outcome, interval};

pub use chances::Chances;

/// Beyond how many standard deviations of surprise a cause no longer explains the evidence.
pub const SURPRISE: f64 = 3.0;

/// How many times as likely two causes have to make the evidence as the best single one to be
/// named: strong evidence on the scale of Kass and Raftery, J. Am. Stat. Assoc. 90 (1995) 773
/// (from memory: 3 to 20 positive, 20 to 150 strong).
const STRONG: f64 = 20.0;

/// What is known of an incident.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evidence {
    /// Signs looked for, and whether they were seen.
    pub signs: Vec<(String, bool)>,
    /// Antecedents asked about, and whether they had happened.
    pub antecedents: Vec<(String, bool)>,
    /// Decades of base pressure lost, -20 to 20.
    pub loss_decades: Option<f64>,
    /// Checks made, in order as far as that is known.
    pub outcomes: Vec<(String, Outcome)>,
    /// How many of them, from the first, stand in the order in which they were made; the others
    /// came later, in an order nobody knows. More than there are: all.
    pub ordered: usize,
    /// Checks after which the tool is known to have been in another state than theirs, whatever
    /// the outcomes say.
    pub lapsed: Vec<String>,
    /// Checks that have been made and of whose outcomes the signs tell already, so that they do not
    /// count once more.
    pub told: Vec<String>,
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
    /// The two causes that together explain the evidence best, if they make it much likelier
    /// than the best single one does.
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
    pub(crate) chances: Chances,
    spreads: Vec<f64>,
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

    /// Chance that something happens which has the chance `given` in each state, once
    /// outcomes taken for granted have made the chances of the states `states`; with its
    /// 95 % interval.
    pub(crate) fn chance_among(&self, states: &[f64], given: &[f64]) -> (f64, Interval) {
        let chance: f64 = states
            .iter()
            .zip(given)
            .map(|(state, given)| state * given)
            .sum();
        let chance = chance.clamp(0.0, 1.0);
        // Delta method: the chance of each cause, and of none of them, is a gamma variable
        // over their sum; a cause given up on has the factors of both.
        let pull = |at: usize| states[at] * (given[at] - chance);
        let causes = self.chances.present.len();
        let none: f64 = (causes..states.len()).map(pull).sum();
        let pulls = (0..causes).map(|at| pull(at) + pull(causes + 1 + at));
        let variance: f64 = pulls
            .chain([none])
            .zip(&self.spreads)
            .map(|(pull, spread)| pull.powi(2) * spread)
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
        let chances = Chances::from(knowledge, learned, prior, components, &items)?;
        let rows: Vec<usize> = chances
            .present
            .iter()
            .copied()
            .chain([knowledge.causes.len()])
            .collect();
        let counts = &learned.classes[class];
        let mut belief = Self {
            causes: Vec::new(),
            unlisted: chances.unlisted(),
            contradiction: contradiction(knowledge, learned, &chances, &items),
            class_cases: counts.cases.iter().sum(),
            fleet_cases: counts.fleet_cases.iter().sum(),
            spreads: rows.iter().map(|&cause| counts.spreads[cause]).collect(),
            chances,
        };
        let practice: f64 = rows.iter().map(|&cause| counts.practice[cause]).sum();
        let mut target = vec![0.0; belief.chances.states.len()];
        for (at, &cause) in belief.chances.present.iter().enumerate() {
            target[at] = 1.0;
            let (chance, interval) = belief.chance_among(&belief.chances.states, &target);
            target[at] = 0.0;
            belief.causes.push(CauseBelief {
                id: knowledge.causes[cause].id.clone(),
                chance,
                interval,
                prior: belief.chances.prior[at],
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

/// Chances of the causes a class can have, before any evidence, with their 95 % intervals.
///
/// # Errors
/// A class nobody knows.
pub fn before_evidence(
    knowledge: &Knowledge,
    learned: &Learned,
    class: &str,
) -> Result<Vec<(String, f64, Interval)>, AdviceError> {
    let prior = &learned.classes[knowledge.class_number(class)?];
    let all = || prior.chances.iter().zip(&prior.spreads).enumerate();
    let of_cause = |(at, cause): (usize, &CauseFacts)| {
        let chance = prior.chances[at];
        let pull = |other: usize, p: f64| p * (f64::from(u8::from(other == at)) - chance);
        let variance = all().map(|(other, (p, spread))| pull(other, *p).powi(2) * spread);
        (cause.id.clone(), chance, matched(chance, variance.sum()))
    };
    let possible = knowledge
        .causes
        .iter()
        .enumerate()
        .filter(|(at, _)| prior.chances[*at] > 0.0);
    Ok(possible.map(of_cause).collect())
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

/// Looks for a cause the evidence does not surprise, and, where there is none, for two.
fn contradiction(
    knowledge: &Knowledge,
    learned: &Learned,
    chances: &Chances,
    items: &Items,
) -> Option<Contradiction> {
    let present = &chances.present;
    let of_items: Vec<Vec<f64>> = present
        .iter()
        .map(|&cause| items.chances(learned, cause))
        .collect();
    let surprise = present
        .iter()
        .zip(&of_items)
        .map(|(&cause, chances)| items.surprise(learned, cause, chances))
        .fold(f64::INFINITY, f64::min);
    if !surprise.is_finite() || surprise <= SURPRISE {
        return None;
    }
    let told = of_items.iter().map(|chances| items.ln_likelihood(chances));
    let single = told.fold(f64::NEG_INFINITY, f64::max);
    let mut best: Option<(f64, usize, usize)> = None;
    for a in 0..present.len() {
        for b in a + 1..present.len() {
            let both: Vec<f64> = of_items[a]
                .iter()
                .zip(&of_items[b])
                .map(|(a, b)| 1.0 - (1.0 - a) * (1.0 - b))
                .collect();
            let told = items.ln_likelihood(&both);
            let ln = chances.prior[a].ln() + chances.prior[b].ln() + told;
            // Two that leave the evidence as unlikely as one does explain nothing.
            if told > single + STRONG.ln() && best.is_none_or(|(most, ..)| ln > most) {
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

/// The Beta interval with this mean and variance. It holds the mean, which the quantiles of a
/// very narrow or very skewed distribution can miss.
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
    .map_or(flat, |found| Interval {
        low: found.low.min(mean),
        high: found.high.max(mean),
    })
}
