//! What the counts teach: chances of causes by class (`prior`), of signs, antecedents and
//! findings of checks by cause (`observed`), sizes of loss (`loss`), and how far all
//! that is to be trusted (`trust`). Without cases it is common practice.

mod loss;
mod observed;
mod prior;
mod trust;
mod unlisted;

use std::collections::BTreeMap;

use statrs::function::gamma::ln_gamma;

use super::knowledge::{Knowledge, Observation};
use crate::statistics::{
    NOT_FOUND,
    tables::{CauseTable, Lessons, Looked, Tables},
};

use loss::LossModel;
use observed::{Cells, Observed};

/// Share that common practice keeps for a search that ends without a listed cause.
pub const UNLISTED_SHARE: f64 = 0.03;
/// No listed chance is taken as surer than this, so that one slip never kills a cause.
const SUREST: f64 = 0.998;
/// No outcome of a check is taken as surer than this.
pub const SUREST_CHECK: f64 = 0.999;
/// The usual decades lost to a cause that states none, and to one that is not listed.
const ANY_LOSS: [(f64, f64); 2] = [(0.3, 2.0), (0.2, 3.0)];

/// What the counts teach. Holds for one state of the ledger.
#[derive(Clone, Debug)]
pub struct Learned {
    pub(crate) classes: Vec<ClassPrior>,
    pub(crate) signs: Observed,
    pub(crate) antecedents: Observed,
    /// Chances that a check finds something.
    pub(crate) checks: Observed,
    pub(crate) losses: Vec<LossModel>,
    /// Exponent of the likelihood of signs, antecedents and loss.
    pub(crate) trust: f64,
    /// Share of the searches without a cause that gave up on a listed one.
    pub(crate) given_up: f64,
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
    /// Variance of each chance in units of its square, before they are made to add up to 1.
    pub(crate) spreads: Vec<f64>,
    pub(crate) cases: Vec<u64>,
    pub(crate) fleet_cases: Vec<u64>,
}

impl Learned {
    /// Learns from the cases; from [`Lessons::default`], common practice.
    pub fn from(knowledge: &Knowledge, lessons: &Lessons<'_>) -> Self {
        let prior = prior::pooled(knowledge, lessons);
        let tables = &lessons.tables().causes;
        let listed = |of: fn(&super::CauseFacts) -> &BTreeMap<String, f64>| {
            move |cause: usize, id: &str| of(&knowledge.causes[cause]).get(id).copied()
        };
        let reveals = |cause: usize, id: &str| {
            let check = &knowledge.checks[*knowledge.check_index.get(id)?];
            check.reveals.get(&knowledge.causes[cause].id).copied()
        };
        let alarms: Vec<Observation> = knowledge
            .checks
            .iter()
            .map(|check| Observation {
                id: check.id.clone(),
                background: check.false_alarm,
            })
            .collect();
        let cells = |items: &[Observation],
                     listed: &dyn Fn(usize, &str) -> Option<f64>,
                     seen: fn(&CauseTable) -> &BTreeMap<String, Looked>| {
            cells(knowledge, lessons.tables(), items, listed, seen)
        };
        let of_signs = cells(&knowledge.signs, &listed(|facts| &facts.signs), |t| {
            &t.signs
        });
        let of_antecedents = cells(
            &knowledge.antecedents,
            &listed(|facts| &facts.antecedents),
            |t| &t.antecedents,
        );
        // A check nobody made was not one that found nothing.
        let of_checks = Cells {
            cases: None,
            ..cells(&alarms, &reveals, |t| &t.checks)
        };
        let losses: Vec<_> = knowledge
            .causes
            .iter()
            .map(|cause| {
                let seen = tables.get(&cause.id).map(|table| table.losses.clone());
                (
                    cause.decades.unwrap_or(ANY_LOSS[0]),
                    seen.unwrap_or_default(),
                )
            })
            .chain([(ANY_LOSS[1], Default::default())])
            .collect();
        let mut learned = Self {
            classes: prior.classes,
            signs: of_signs.learn(SUREST),
            antecedents: of_antecedents.learn(SUREST),
            checks: of_checks.learn(SUREST_CHECK),
            losses: loss::models(&losses),
            trust: 1.0,
            given_up: 0.5,
            strength: prior.strength,
            pooled: prior.pooled,
        };
        learned.trust = trust::exponent(knowledge, &learned, lessons);
        learned.given_up = trust::given_up(knowledge, &learned, lessons);
        learned
    }

    /// Shape of a typical cause, in units of its common-practice pseudo-count.
    pub fn strength(&self) -> f64 {
        self.strength
    }

    /// How far the prior of a class follows the other classes, 0 to 1.
    pub fn pooled(&self) -> f64 {
        self.pooled
    }

    /// Exponent with which signs, antecedents and loss count; 1 takes them at face value.
    pub fn trust(&self) -> f64 {
        self.trust
    }

    /// Share of the searches without a cause that are taken to have given up on a listed one.
    pub fn given_up(&self) -> f64 {
        self.given_up
    }
}

/// Common practice and counts by cause and item.
fn cells(
    knowledge: &Knowledge,
    tables: &Tables,
    items: &[Observation],
    listed: &dyn Fn(usize, &str) -> Option<f64>,
    seen: fn(&CauseTable) -> &BTreeMap<String, Looked>,
) -> Cells {
    let causes = knowledge.causes.len();
    let practice = (0..=causes).map(|cause| {
        let of = |item: &Observation| {
            let listed = (cause < causes).then(|| listed(cause, &item.id)).flatten();
            (listed.unwrap_or(item.background), listed.is_some())
        };
        items.iter().map(of).collect()
    });
    let counts = (0..=causes).map(|cause| {
        let id = knowledge
            .causes
            .get(cause)
            .map_or(NOT_FOUND, |known| &known.id);
        let table = tables.causes.get(id).filter(|_| cause < causes).map(seen);
        let of = |item: &Observation| {
            let looked = table.and_then(|table| table.get(&item.id));
            looked.copied().unwrap_or_default()
        };
        items.iter().map(of).collect()
    });
    // What searches without a cause showed counts for no cause.
    let cases = knowledge.causes.iter().map(|cause| {
        let of_class = tables.classes.values();
        of_class.filter_map(|class| class.get(&cause.id)).sum()
    });
    Cells {
        practice: practice.collect(),
        counts: counts.collect(),
        cases: Some(cases.chain([0.0]).collect()),
    }
}

/// ln of `x (x+1) … (x+n-1)`, for a weight `n` that need not be whole.
fn ln_rising(x: f64, n: f64) -> f64 {
    if n <= 0.0 {
        0.0
    } else if n <= 8.0 && n.fract() == 0.0 {
        (0..n as u32).map(|step| (x + f64::from(step)).ln()).sum()
    } else {
        ln_gamma(x + n) - ln_gamma(x)
    }
}

/// Posterior shares from logarithms of their weights.
fn shares_of(logs: &[f64]) -> Vec<f64> {
    let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !best.is_finite() {
        return vec![1.0 / logs.len().max(1) as f64; logs.len()];
    }
    let mut shares: Vec<f64> = logs.iter().map(|ln| (ln - best).exp()).collect();
    normalise(&mut shares);
    shares
}

fn ln_sum(logs: &[f64]) -> f64 {
    let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if best.is_finite() {
        best + logs.iter().map(|ln| (ln - best).exp()).sum::<f64>().ln()
    } else {
        best
    }
}

pub(crate) fn normalise(shares: &mut [f64]) {
    let total: f64 = shares.iter().sum();
    if total > 0.0 {
        shares.iter_mut().for_each(|share| *share /= total);
    }
}
