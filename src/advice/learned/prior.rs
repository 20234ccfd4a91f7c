//! Chances of causes by class, pooled in part.
//!
//! In class c a cause is as frequent as `base = (1 - m) practice_c + m fleet_c` says, times
//! a factor of its own that is gamma distributed with mean 1 and shape
//! `s (base / mean base)^d`; `fleet_c` is practice corrected by how much more often than
//! practice says each cause came up in the other classes. With `d = 1` that is the Dirichlet
//! prior of strength `s` times the number of causes, and with `d = 0` rare causes keep to
//! practice as firmly as frequent ones. None of `s`, `d`, `m` is a constant: they are
//! averaged over a grid by the marginal likelihood of the counts of all classes (for `d = 1`
//! the Dirichlet-multinomial; Gelman et al., Bayesian Data Analysis, chapter 5; formula from
//! memory), each count being negative binomial and their total taken as given by a normal
//! approximation. Without cases the prior is common practice itself. All that concerns the
//! causes that are listed; the share of the searches that end without one of them is
//! `unlisted`.

use super::{
    ClassPrior, UNLISTED_SHARE, ln_rising, normalise,
    unlisted::{self, Share},
};
use crate::{
    advice::knowledge::Knowledge,
    statistics::tables::{Lessons, Tables},
};

/// Half-octaves of the shape of a typical cause, around its common-practice pseudo-count.
const SHAPES: std::ops::RangeInclusive<i32> = -6..=12;
const EXPONENTS: [f64; 3] = [0.0, 0.5, 1.0];
const POOLS: [f64; 5] = [0.0, 0.2, 0.4, 0.6, 0.85];
/// Pseudo-cases that hold the fleet's correction at common practice.
const FLEET_PSEUDO_CASES: f64 = 2.0;

/// The classes' chances, and the settings they come from.
pub(super) struct Pooled {
    pub(super) classes: Vec<ClassPrior>,
    /// Mean shape of a typical cause over its common-practice pseudo-count.
    pub(super) strength: f64,
    /// Mean share of the other classes in the base.
    pub(super) pooled: f64,
}

pub(super) fn pooled(knowledge: &Knowledge, lessons: &Lessons<'_>) -> Pooled {
    let weighed = counts(knowledge, lessons.tables());
    let cases: Vec<Vec<u64>> = counts(knowledge, &lessons.counts)
        .iter()
        .map(|row| row.iter().map(|cases| cases.round() as u64).collect())
        .collect();
    let practice = practice(knowledge);
    let without = |counts: &Vec<f64>| {
        let unlisted = counts.last().copied().unwrap_or_default();
        (unlisted, counts.iter().sum())
    };
    let unlisted = unlisted::shares(&weighed.iter().map(without).collect::<Vec<_>>());
    let listed: Vec<&[f64]> = weighed
        .iter()
        .map(|counts| &counts[..knowledge.causes.len()])
        .collect();
    let fleet = fleet(&listed, &practice);
    let settings = settings(&listed, &practice, &fleet);
    let classes = unlisted.iter().enumerate().map(|(class, unlisted)| {
        let learned = shares(listed[class], &practice[class], &fleet[class], &settings);
        let fleet_cases = (0..=knowledge.causes.len())
            .map(|cause| cases.iter().map(|cases| cases[cause]).sum())
            .collect();
        class_prior(
            &practice[class],
            &learned,
            unlisted,
            cases[class].clone(),
            fleet_cases,
        )
    });
    Pooled {
        classes: classes.collect(),
        strength: settings.iter().map(|set| set.share * set.strength).sum(),
        pooled: settings.iter().map(|set| set.share * set.pooled).sum(),
    }
}

struct Setting {
    /// Shape of a typical cause over its common-practice pseudo-count.
    strength: f64,
    exponent: f64,
    pooled: f64,
    /// Posterior share of this setting.
    share: f64,
}

impl Setting {
    /// Base share and shape of each cause of a class.
    fn base(&self, practice: &[f64], fleet: &[f64]) -> Vec<(f64, f64)> {
        let total = practice.iter().sum::<f64>().max(f64::MIN_POSITIVE);
        let possible = practice
            .iter()
            .filter(|weight| **weight > 0.0)
            .count()
            .max(1) as f64;
        let typical = self.strength * total / possible;
        practice
            .iter()
            .zip(fleet)
            .map(|(practice, fleet)| {
                let base = (1.0 - self.pooled) * practice / total + self.pooled * fleet;
                (base, typical * (base * possible).powf(self.exponent))
            })
            .collect()
    }
}

/// Cases by class and cause, the last entry for those not found or not listed.
fn counts(knowledge: &Knowledge, tables: &Tables) -> Vec<Vec<f64>> {
    knowledge
        .classes
        .iter()
        .enumerate()
        .map(|(number, class)| {
            let mut counts = vec![0.0; knowledge.causes.len() + 1];
            for (cause, cases) in tables.classes.get(&class.id).into_iter().flatten() {
                let at = knowledge
                    .cause_index
                    .get(cause)
                    .copied()
                    .filter(|&cause| knowledge.weight(number, cause) > 0.0)
                    .unwrap_or(knowledge.causes.len());
                counts[at] += cases;
            }
            counts
        })
        .collect()
}

/// Common-practice pseudo-counts by class and cause.
fn practice(knowledge: &Knowledge) -> Vec<Vec<f64>> {
    let causes = 0..knowledge.causes.len();
    (0..knowledge.classes.len())
        .map(|class| {
            causes
                .clone()
                .map(|cause| knowledge.weight(class, cause))
                .collect()
        })
        .collect()
}

/// What the other classes make of common practice, as shares by class and cause.
fn fleet(counts: &[&[f64]], practice: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let causes = practice.first().map_or(0, Vec::len);
    let totals: Vec<f64> = practice
        .iter()
        .map(|weights| weights.iter().sum())
        .collect();
    let cases: Vec<f64> = counts.iter().map(|counts| counts.iter().sum()).collect();
    (0..practice.len())
        .map(|class| {
            let mut shares: Vec<f64> = (0..causes)
                .map(|cause| {
                    let (mut seen, mut expected) = (FLEET_PSEUDO_CASES, FLEET_PSEUDO_CASES);
                    for other in (0..practice.len()).filter(|&other| other != class) {
                        if practice[other][cause] > 0.0 {
                            seen += counts[other][cause];
                            expected += cases[other] * practice[other][cause] / totals[other];
                        }
                    }
                    practice[class][cause] * seen / expected
                })
                .collect();
            normalise(&mut shares);
            shares
        })
        .collect()
}

fn settings(counts: &[&[f64]], practice: &[Vec<f64>], fleet: &[Vec<f64>]) -> Vec<Setting> {
    let mut settings = Vec::new();
    for step in SHAPES {
        let strength = 2f64.powf(f64::from(step) / 2.0);
        for exponent in EXPONENTS {
            for pooled in POOLS {
                let mut setting = Setting {
                    strength,
                    exponent,
                    pooled,
                    share: 0.0,
                };
                // Weak preference for the pseudo-counts as they stand and for little pooling.
                setting.share = -0.5 * (strength.ln() / 1.2).powi(2) - pooled;
                for ((counts, practice), fleet) in counts.iter().zip(practice).zip(fleet) {
                    setting.share += ln_marginal(counts, &setting.base(practice, fleet));
                }
                settings.push(setting);
            }
        }
    }
    let best = settings
        .iter()
        .map(|set| set.share)
        .fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = settings.iter().map(|set| (set.share - best).exp()).sum();
    for set in &mut settings {
        set.share = (set.share - best).exp() / total;
    }
    settings
}

/// ln of the chance of the counts given their total, up to what does not depend on the base.
fn ln_marginal(counts: &[f64], base: &[(f64, f64)]) -> f64 {
    let cases = counts.iter().sum::<f64>();
    if cases == 0.0 {
        return 0.0;
    }
    let (mut ln, mut variance) = (0.0, 0.0);
    for (&count, &(base, shape)) in counts.iter().zip(base).filter(|(_, (base, _))| *base > 0.0) {
        let mean = cases * base;
        ln += ln_rising(shape, count) - shape * (mean / shape).ln_1p();
        if count > 0.0 {
            ln += count * (mean / (shape + mean)).ln();
        }
        variance += mean + mean * mean / shape;
    }
    ln + 0.5 * variance.ln()
}

/// A listed cause's share of the listed ones.
struct Learnt {
    share: f64,
    variance: f64,
    /// Cases, real and pseudo, it rests on.
    worth: f64,
}

fn shares(own: &[f64], practice: &[f64], fleet: &[f64], settings: &[Setting]) -> Vec<Learnt> {
    let cases: f64 = own.iter().sum();
    let (mut means, mut squares) = (vec![0.0; own.len()], vec![0.0; own.len()]);
    let mut worths = vec![0.0; own.len()];
    for set in settings {
        let base = set.base(practice, fleet);
        let mut of_set: Vec<f64> = base
            .iter()
            .zip(own)
            .map(|(&(base, shape), &count)| {
                if base > 0.0 {
                    base * (shape + count) / (shape + cases * base)
                } else {
                    0.0
                }
            })
            .collect();
        normalise(&mut of_set);
        for (cause, mean) in of_set.iter().enumerate() {
            let worth = base[cause].1 + own[cause];
            means[cause] += set.share * mean;
            worths[cause] += set.share * worth;
            if worth > 0.0 {
                // Of a gamma variable; what the settings disagree on comes on top.
                squares[cause] += set.share * mean * mean * (1.0 + 1.0 / worth);
            }
        }
    }
    (0..own.len())
        .map(|cause| Learnt {
            share: means[cause],
            variance: (squares[cause] - means[cause].powi(2)).max(0.0),
            worth: worths[cause],
        })
        .collect()
}

fn class_prior(
    practice: &[f64],
    learned: &[Learnt],
    unlisted: &Share,
    cases: Vec<u64>,
    fleet_cases: Vec<u64>,
) -> ClassPrior {
    let total: f64 = practice.iter().sum();
    let left = 1.0 - unlisted.mean;
    // A class without any cause has nothing but what is not listed.
    let possible = learned.iter().any(|learnt| learnt.share > 0.0);
    let none = if possible { unlisted.mean } else { 1.0 };
    let relative = |mean: f64, variance: f64| {
        if mean > 0.0 {
            variance / (mean * mean)
        } else {
            0.0
        }
    };
    // Odds against the listed ones vary more than the share does.
    let of_none = relative(unlisted.mean, unlisted.variance) / (left * left);
    let of_listed = learned.iter().map(|of| relative(of.share, of.variance));
    let worth_of_none = if of_none > 0.0 { 1.0 / of_none } else { 0.0 };
    ClassPrior {
        chances: learned
            .iter()
            .map(|of| of.share * left)
            .chain([none])
            .collect(),
        practice: practice
            .iter()
            .map(|weight| weight / total.max(f64::MIN_POSITIVE) * (1.0 - UNLISTED_SHARE))
            .chain([UNLISTED_SHARE])
            .collect(),
        worths: learned
            .iter()
            .map(|of| of.worth)
            .chain([worth_of_none])
            .collect(),
        spreads: of_listed.chain([of_none]).collect(),
        cases,
        fleet_cases,
    }
}
