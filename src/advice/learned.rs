//! What the counts teach: chances of causes by class, and of signs, antecedents and sizes
//! of loss by cause.
//!
//! Chances of causes are pooled in part. In class c a cause is as frequent as
//! `base = (1 - m) practice_c + m fleet_c` says, times a factor of its own that is gamma
//! distributed with mean 1 and shape `s (base / mean base)^d`; `fleet_c` is practice
//! corrected by how much more often than practice says each cause came up in the other
//! classes. With `d = 1` that is the Dirichlet prior of strength `s` times the number of
//! causes, and with `d = 0` rare causes keep to practice as firmly as frequent ones. None
//! of `s`, `d`, `m` is a constant: they are averaged over a grid by the marginal likelihood
//! of the counts of all classes (for `d = 1` the Dirichlet-multinomial; Gelman et al.,
//! Bayesian Data Analysis, chapter 5; formula from memory), each count being negative
//! binomial and their total taken as given by a normal approximation. Without cases the
//! prior is common practice itself.
//!
//! A chance of a sign is `(c p + seen) / (c + looked)`, `p` being common practice and `c`
//! averaged the same way by the Beta-binomial marginal likelihood.

use std::collections::BTreeMap;

use statrs::function::gamma::ln_gamma;

use super::knowledge::{Knowledge, Observation};
use crate::statistics::tables::{Looked, Losses, Tables};

/// Share of the common-practice pseudo-counts kept for a cause that is not listed.
pub const UNLISTED_SHARE: f64 = 0.03;
/// No listed chance is taken as surer than this, so that one slip never kills a cause.
const SUREST: f64 = 0.998;
/// Half-octaves of the shape of a typical cause, around its common-practice pseudo-count.
const SHAPES: std::ops::RangeInclusive<i32> = -6..=12;
const EXPONENTS: [f64; 3] = [0.0, 0.5, 1.0];
const POOLS: [f64; 5] = [0.0, 0.2, 0.4, 0.6, 0.85];
/// Pseudo-cases that hold the fleet's correction at common practice.
const FLEET_PSEUDO_CASES: f64 = 2.0;

/// What the counts teach. Holds for one state of the ledger.
#[derive(Clone, Debug)]
pub struct Learned {
    pub(crate) classes: Vec<ClassPrior>,
    /// Chance of each sign by cause; the last row is of the cause that is not listed.
    pub(crate) signs: Vec<Vec<f64>>,
    pub(crate) antecedents: Vec<Vec<f64>>,
    pub(crate) losses: Vec<LossModel>,
    strength: f64,
    pooled: f64,
}

/// Chances in a class; the last entry is the cause that is not listed.
#[derive(Clone, Debug)]
pub(crate) struct ClassPrior {
    pub(crate) chances: Vec<f64>,
    pub(crate) practice: Vec<f64>,
    /// How many cases, real and pseudo, each chance is worth.
    pub(crate) worths: Vec<f64>,
    pub(crate) cases: Vec<u64>,
    pub(crate) fleet_cases: Vec<u64>,
}

/// Student's t of the decades lost.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LossModel {
    mean: f64,
    scale: f64,
    degrees: f64,
    constant: f64,
}

impl Learned {
    /// Learns from the counts.
    pub fn from(knowledge: &Knowledge, tables: &Tables) -> Self {
        let counts = counts(knowledge, tables);
        let practice = practice(knowledge);
        let fleet = fleet(&counts, &practice);
        let settings = settings(&counts, &practice, &fleet);
        let classes = (0..knowledge.classes.len())
            .map(|class| class_prior(class, &counts, &practice, &fleet, &settings))
            .collect();
        let none = Losses::default();
        let losses = knowledge
            .causes
            .iter()
            .map(|cause| {
                let seen = tables
                    .causes
                    .get(&cause.id)
                    .map_or(none, |table| table.losses);
                LossModel::new(cause.decades.unwrap_or((0.3, 2.0)), seen)
            })
            .chain([LossModel::new((0.2, 3.0), none)])
            .collect();
        let seen_signs = |cause: &str| tables.causes.get(cause).map(|table| &table.signs);
        let seen_before = |cause: &str| tables.causes.get(cause).map(|table| &table.antecedents);
        let listed_signs = |cause: usize| &knowledge.causes[cause].signs;
        let listed_before = |cause: usize| &knowledge.causes[cause].antecedents;
        Self {
            classes,
            signs: chances(knowledge, &knowledge.signs, listed_signs, seen_signs),
            antecedents: chances(
                knowledge,
                &knowledge.antecedents,
                listed_before,
                seen_before,
            ),
            losses,
            strength: settings.iter().map(|set| set.share * set.strength).sum(),
            pooled: settings.iter().map(|set| set.share * set.pooled).sum(),
        }
    }

    /// Shape of a typical cause, in units of its common-practice pseudo-count.
    pub fn strength(&self) -> f64 {
        self.strength
    }

    /// How far the prior of a class follows the other classes, 0 to 1.
    pub fn pooled(&self) -> f64 {
        self.pooled
    }
}

impl LossModel {
    /// Normal with conjugate prior: the listed range taken as uniform gives mean and
    /// variance, worth four cases (Gelman et al., section 3.3).
    fn new((low, high): (f64, f64), seen: Losses) -> Self {
        const WORTH: f64 = 4.0;
        let (mean, variance) = ((low + high) / 2.0, (high - low).powi(2) / 12.0 + 0.01);
        let cases = seen.cases as f64;
        let average = if seen.cases > 0 {
            seen.sum / cases
        } else {
            mean
        };
        let scatter = (seen.squares - cases * average * average).max(0.0);
        let degrees = 2.0 * WORTH + cases;
        let shift = WORTH * cases / (WORTH + cases) * (average - mean).powi(2);
        let square = (2.0 * WORTH * variance + scatter + shift) / degrees;
        let scale = (square * (1.0 + 1.0 / (WORTH + cases))).sqrt();
        let constant = ln_gamma((degrees + 1.0) / 2.0)
            - ln_gamma(degrees / 2.0)
            - 0.5 * (degrees * std::f64::consts::PI).ln()
            - scale.ln();
        Self {
            mean: (WORTH * mean + cases * average) / (WORTH + cases),
            scale,
            degrees,
            constant,
        }
    }

    pub(crate) fn ln_density(&self, decades: f64) -> f64 {
        let z = (decades - self.mean) / self.scale;
        self.constant - (self.degrees + 1.0) / 2.0 * (z * z / self.degrees).ln_1p()
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
        let total: f64 = practice.iter().sum();
        let possible = practice.iter().filter(|weight| **weight > 0.0).count() as f64;
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
fn counts(knowledge: &Knowledge, tables: &Tables) -> Vec<Vec<u64>> {
    knowledge
        .classes
        .iter()
        .enumerate()
        .map(|(number, class)| {
            let mut counts = vec![0; knowledge.causes.len() + 1];
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

/// Common-practice pseudo-counts by class and cause, with the share for none of them.
fn practice(knowledge: &Knowledge) -> Vec<Vec<f64>> {
    (0..knowledge.classes.len())
        .map(|class| {
            let mut weights: Vec<f64> = (0..knowledge.causes.len())
                .map(|cause| knowledge.weight(class, cause))
                .collect();
            let listed: f64 = weights.iter().sum();
            weights.push((listed * UNLISTED_SHARE / (1.0 - UNLISTED_SHARE)).max(1e-3));
            weights
        })
        .collect()
}

/// What the other classes make of common practice, as shares by class and cause.
fn fleet(counts: &[Vec<u64>], practice: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let causes = practice.first().map_or(0, Vec::len);
    let totals: Vec<f64> = practice
        .iter()
        .map(|weights| weights.iter().sum())
        .collect();
    let cases: Vec<f64> = counts
        .iter()
        .map(|counts| counts.iter().sum::<u64>() as f64)
        .collect();
    (0..practice.len())
        .map(|class| {
            let mut shares: Vec<f64> = (0..causes)
                .map(|cause| {
                    let (mut seen, mut expected) = (FLEET_PSEUDO_CASES, FLEET_PSEUDO_CASES);
                    for other in (0..practice.len()).filter(|&other| other != class) {
                        if practice[other][cause] > 0.0 {
                            seen += counts[other][cause] as f64;
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

fn settings(counts: &[Vec<u64>], practice: &[Vec<f64>], fleet: &[Vec<f64>]) -> Vec<Setting> {
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
fn ln_marginal(counts: &[u64], base: &[(f64, f64)]) -> f64 {
    let cases = counts.iter().sum::<u64>() as f64;
    if cases == 0.0 {
        return 0.0;
    }
    let (mut ln, mut variance) = (0.0, 0.0);
    for (&count, &(base, shape)) in counts.iter().zip(base).filter(|(_, (base, _))| *base > 0.0) {
        let mean = cases * base;
        ln += ln_rising(shape, count) - shape * (mean / shape).ln_1p();
        if count > 0 {
            ln += count as f64 * (mean / (shape + mean)).ln();
        }
        variance += mean + mean * mean / shape;
    }
    ln + 0.5 * variance.ln()
}

fn class_prior(
    class: usize,
    counts: &[Vec<u64>],
    practice: &[Vec<f64>],
    fleet: &[Vec<f64>],
    settings: &[Setting],
) -> ClassPrior {
    let (own, practice, fleet) = (&counts[class], &practice[class], &fleet[class]);
    let total: f64 = practice.iter().sum();
    let cases = own.iter().sum::<u64>() as f64;
    let mut chances = vec![0.0; practice.len()];
    let mut worths = vec![0.0; practice.len()];
    for set in settings {
        let base = set.base(practice, fleet);
        let mut means: Vec<f64> = base
            .iter()
            .zip(own)
            .map(|(&(base, shape), &count)| {
                if base > 0.0 {
                    base * (shape + count as f64) / (shape + cases * base)
                } else {
                    0.0
                }
            })
            .collect();
        normalise(&mut means);
        for (cause, mean) in means.iter().enumerate() {
            chances[cause] += set.share * mean;
            worths[cause] += set.share * (base[cause].1 + own[cause] as f64);
        }
    }
    let fleet_cases = (0..practice.len())
        .map(|cause| counts.iter().map(|counts| counts[cause]).sum())
        .collect();
    ClassPrior {
        chances,
        practice: practice.iter().map(|weight| weight / total).collect(),
        worths,
        cases: own.clone(),
        fleet_cases,
    }
}

/// Chances of observations by cause, the last row for the cause that is not listed.
fn chances<'a>(
    knowledge: &'a Knowledge,
    observations: &[Observation],
    listed: impl Fn(usize) -> &'a BTreeMap<String, f64>,
    seen: impl Fn(&str) -> Option<&'a BTreeMap<String, Looked>>,
) -> Vec<Vec<f64>> {
    let causes = knowledge.causes.len();
    let cells: Vec<Vec<(f64, Looked)>> = (0..=causes)
        .map(|cause| {
            let id = knowledge
                .causes
                .get(cause)
                .map_or(crate::statistics::NOT_FOUND, |c| &c.id);
            let seen = seen(id);
            observations
                .iter()
                .map(|item| {
                    let practice = (cause < causes)
                        .then(|| listed(cause).get(&item.id))
                        .flatten()
                        .copied()
                        .unwrap_or(item.background)
                        .clamp(1.0 - SUREST, SUREST);
                    let looked = seen.and_then(|seen| seen.get(&item.id)).copied();
                    (practice, looked.unwrap_or_default())
                })
                .collect()
        })
        .collect();
    let strengths: Vec<f64> = (1..=9).map(|step| 2f64.powi(step)).collect();
    let mut shares: Vec<f64> = strengths
        .iter()
        .map(|&strength| {
            let start = -0.5 * (strength / 16.0).ln().powi(2);
            cells
                .iter()
                .flatten()
                .filter(|(_, looked)| looked.looked > 0)
                .fold(start, |ln, &(practice, Looked { seen, looked })| {
                    ln + ln_rising(strength * practice, seen)
                        + ln_rising(strength * (1.0 - practice), looked.saturating_sub(seen))
                        - ln_rising(strength, looked)
                })
        })
        .collect();
    let best = shares.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    shares
        .iter_mut()
        .for_each(|share| *share = (*share - best).exp());
    normalise(&mut shares);
    cells
        .iter()
        .map(|row| {
            row.iter()
                .map(|&(practice, Looked { seen, looked })| {
                    if looked == 0 {
                        return practice;
                    }
                    strengths
                        .iter()
                        .zip(&shares)
                        .map(|(strength, share)| {
                            share * (strength * practice + seen as f64) / (strength + looked as f64)
                        })
                        .sum()
                })
                .collect()
        })
        .collect()
}

/// ln of `x (x+1) … (x+n-1)`.
fn ln_rising(x: f64, n: u64) -> f64 {
    match n {
        0 => 0.0,
        1..=8 => (0..n).map(|step| (x + step as f64).ln()).sum(),
        _ => ln_gamma(x + n as f64) - ln_gamma(x),
    }
}

pub(crate) fn normalise(shares: &mut [f64]) {
    let total: f64 = shares.iter().sum();
    if total > 0.0 {
        shares.iter_mut().for_each(|share| *share /= total);
    }
}
