//! How far the evidence of one incident is trusted, and what a search without a cause means.
//!
//! Signs are not independent given the cause, and people do not write down a random choice
//! of them. So the likelihood of signs, antecedents and loss counts with an exponent, the
//! same for all, which is averaged over a grid by how well the chances foretold the causes
//! of past cases, each with itself taken out of what was learnt (leave one out).
//!
//! A search that found nothing either gave up on a listed cause, and then showed what that
//! cause shows, or came from something that is not listed, and showed background. The share
//! that gave up is averaged over a grid by the likelihood of what those searches showed.

use super::{Learned, shares_of};
use crate::{
    advice::{items::Items, knowledge::Knowledge},
    statistics::{
        NOT_FOUND,
        tables::{Lessons, Remembered},
    },
};

const EXPONENTS: [f64; 11] = [0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.4, 1.6];
/// Spread of the exponent expected beforehand, in natural logarithm around 1.
const EXPONENT_SPREAD: f64 = 0.2;
const GIVEN_UP: [f64; 10] = [0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95];

/// What a past case tells of its possible causes.
struct Told {
    weight: f64,
    /// Chance beforehand and ln of the likelihood, by cause; the true one comes first.
    causes: Vec<(f64, f64)>,
}

/// The exponent of the evidence.
pub(super) fn exponent(knowledge: &Knowledge, learned: &Learned, lessons: &Lessons<'_>) -> f64 {
    let told: Vec<Told> = lessons
        .latest
        .iter()
        .filter_map(|case| told(knowledge, learned, case))
        .collect();
    if told.is_empty() {
        return 1.0;
    }
    let fits = EXPONENTS.map(|exponent| {
        let start = -0.5 * (exponent.ln() / EXPONENT_SPREAD).powi(2);
        told.iter().fold(start, |fit, case| {
            let logs = case
                .causes
                .iter()
                .map(|(prior, ln)| prior.ln() + exponent * ln);
            let logs: Vec<f64> = logs.collect();
            fit + case.weight * (logs[0] - super::ln_sum(&logs))
        })
    });
    let shares = shares_of(&fits);
    EXPONENTS
        .iter()
        .zip(&shares)
        .map(|(at, share)| at * share)
        .sum()
}

/// Share of the searches without a cause that gave up on a listed one.
pub(super) fn given_up(knowledge: &Knowledge, learned: &Learned, lessons: &Lessons<'_>) -> f64 {
    let unfound = lessons.latest.iter().filter(|case| case.cause == NOT_FOUND);
    let pairs: Vec<(f64, f64)> = unfound
        .filter_map(|case| {
            let items = Items::of_case(knowledge, case);
            let class = *knowledge.class_index.get(&case.class)?;
            let prior = &learned.classes[class].chances;
            let logs: Vec<f64> = (0..knowledge.causes.len())
                .filter(|&cause| prior[cause] > 0.0)
                .map(|cause| prior[cause].ln() + learned.trust * items.ln_symptoms(learned, cause))
                .collect();
            let listed: f64 = prior[..knowledge.causes.len()].iter().sum();
            let none = learned.trust * items.ln_symptoms(learned, knowledge.causes.len());
            let against = super::ln_sum(&logs) - listed.ln() - none;
            against
                .is_finite()
                .then_some((case.weight, against.clamp(-500.0, 500.0)))
        })
        .collect();
    let fits = GIVEN_UP.map(|share| {
        pairs
            .iter()
            .map(|(weight, against)| weight * (share * against.exp() + 1.0 - share).ln())
            .sum()
    });
    let shares = shares_of(&fits);
    GIVEN_UP
        .iter()
        .zip(&shares)
        .map(|(at, share)| at * share)
        .sum()
}

fn told(knowledge: &Knowledge, learned: &Learned, case: &Remembered) -> Option<Told> {
    let class = *knowledge.class_index.get(&case.class)?;
    let truth = *knowledge.cause_index.get(&case.cause)?;
    let prior = &learned.classes[class];
    let items = Items::of_case(knowledge, case);
    let worth = prior.worths[truth];
    let without = prior.chances[truth] * (worth - case.weight).max(0.1 * worth) / worth;
    if without <= 0.0 {
        return None;
    }
    let own = (without, without_itself(learned, &items, truth, case.weight));
    let others = (0..knowledge.causes.len())
        .filter(|&cause| cause != truth && prior.chances[cause] > 0.0)
        .map(|cause| (prior.chances[cause], items.ln_symptoms(learned, cause)));
    Some(Told {
        weight: case.weight,
        causes: std::iter::once(own).chain(others).collect(),
    })
}

/// ln of the chance of what a case showed under its own cause, had the case not been counted.
fn without_itself(learned: &Learned, items: &Items, truth: usize, weight: f64) -> f64 {
    let mut ln = items.loss.map_or(0.0, |loss| {
        learned.losses[truth].ln_density_without(loss, weight)
    });
    for (items, observed) in [
        (&items.signs, &learned.signs),
        (&items.antecedents, &learned.antecedents),
    ] {
        for &(item, seen) in items {
            let (chance, worth) = (observed.chances[truth][item], observed.worths[truth][item]);
            let side = if seen { chance } else { 1.0 - chance };
            let left = ((side * worth - weight) / (worth - weight)).clamp(0.1 * side, side);
            ln += left.ln();
        }
    }
    ln
}
