//! How likely each cause is on a tool, before and after what was seen.
//!
//! Before: the common-practice pseudo-counts of the class, plus the class's cases, plus
//! the fleet's other cases shrunk to at most [`FLEET_WORTH`] of them; only causes on
//! components the tool has. After: each sign, antecedent and outcome multiplies a cause
//! by the chance of seeing it if that were the cause (Bayes, taken as independent given
//! the cause). Those chances start from the catalogue and move with the cases.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::Case;
use crate::{
    casebook::{Finding, Outcome},
    catalogue::{Catalogue, Cause, Check, ComponentId},
};

/// All cases of other classes together weigh at most this many cases.
const FLEET_WORTH: f64 = 10.0;

/// A catalogue chance counts as much as this many cases with that sign looked for.
const CHANCE_WORTH: f64 = 8.0;

/// No observation of the trade is surer than this.
const SUREST: f64 = 0.995;

/// One cause with how likely it is.
#[derive(Clone, Debug)]
pub struct Believed<'a> {
    /// Which cause.
    pub cause: &'a Cause,
    /// Chance, 0..=1; all of them add up to 1.
    pub chance: f64,
    /// Chance by common practice alone, with the same observations.
    pub practice: f64,
    /// The class's cases with this cause, newest first.
    pub cases: Vec<i64>,
}

/// What was observed.
pub(super) struct Observed<'q> {
    pub(super) signs: &'q BTreeMap<String, bool>,
    pub(super) antecedents: &'q BTreeMap<String, bool>,
    pub(super) outcomes: &'q [(String, Outcome)],
}

/// Weighs every cause that can be on a tool of `class` with `components`.
pub(super) fn weigh<'a>(
    catalogue: &'a Catalogue,
    cases: &HashMap<i64, Case>,
    class: &crate::catalogue::ClassId,
    components: &BTreeSet<ComponentId>,
    observed: &Observed<'_>,
) -> Vec<Believed<'a>> {
    let mut own: HashMap<&str, Vec<(i64, i64)>> = HashMap::new();
    let mut elsewhere: HashMap<&str, f64> = HashMap::new();
    let mut elsewhere_total = 0.0;
    for (number, case) in cases {
        let Finding::Cause(cause) = &case.cause else {
            continue;
        };
        if case.class == *class {
            own.entry(cause.as_str())
                .or_default()
                .push((case.occurred_at, *number));
        } else {
            *elsewhere.entry(cause.as_str()).or_default() += 1.0;
            elsewhere_total += 1.0;
        }
    }
    let shrink = FLEET_WORTH / f64::max(elsewhere_total, FLEET_WORTH);
    let learnt = Learnt::new(cases);
    let mut believed: Vec<Believed<'a>> = catalogue
        .causes()
        .filter(|cause| components.contains(&cause.component))
        .map(|cause| {
            let mut numbers = own.remove(cause.id.as_str()).unwrap_or_default();
            numbers.sort_unstable_by(|a, b| b.cmp(a));
            let weight = cause.weight_in(class);
            let counted = numbers.len() as f64
                + shrink
                    * elsewhere
                        .get(cause.id.as_str())
                        .copied()
                        .unwrap_or_default();
            Believed {
                cause,
                chance: (weight + counted) * fits(catalogue, cause, observed, &learnt),
                practice: weight * fits(catalogue, cause, observed, &Learnt::default()),
                cases: numbers.into_iter().map(|(_, number)| number).collect(),
            }
        })
        .collect();
    normalise(&mut believed, |b| &mut b.chance);
    normalise(&mut believed, |b| &mut b.practice);
    believed.sort_by(|a, b| {
        b.chance
            .total_cmp(&a.chance)
            .then_with(|| a.cause.id.cmp(&b.cause.id))
    });
    believed
}

/// Makes the chances add up to one; even ones where nothing is possible.
fn normalise(
    believed: &mut [Believed<'_>],
    chance: impl for<'b> Fn(&'b mut Believed<'_>) -> &'b mut f64,
) {
    let count = believed.len() as f64;
    let mut total = 0.0;
    for b in believed.iter_mut() {
        total += *chance(b);
    }
    for b in believed {
        let chance = chance(b);
        *chance = if total > 0.0 {
            *chance / total
        } else {
            1.0 / count
        };
    }
}

/// The chance of everything observed if `cause` were the cause.
fn fits(catalogue: &Catalogue, cause: &Cause, observed: &Observed<'_>, learnt: &Learnt<'_>) -> f64 {
    let held = |chance: f64| chance.clamp(1.0 - SUREST, SUREST);
    let mut fit = 1.0;
    for (id, seen) in observed.signs {
        if let Some(sign) = catalogue.sign(id) {
            let start = cause
                .signs
                .get(id.as_str())
                .copied()
                .unwrap_or(sign.background);
            let chance = held(learnt.sign(cause.id.as_str(), id, start));
            fit *= if *seen { chance } else { 1.0 - chance };
        }
    }
    for (id, happened) in observed.antecedents {
        if let Some(antecedent) = catalogue.antecedent(id) {
            let start = cause
                .antecedents
                .get(id.as_str())
                .copied()
                .unwrap_or(antecedent.background);
            let chance = held(learnt.antecedent(cause.id.as_str(), id, start));
            fit *= if *happened { chance } else { 1.0 - chance };
        }
    }
    for (id, outcome) in observed.outcomes {
        if let Some(check) = catalogue.check(id) {
            let chance = held(detection(check, cause));
            fit *= match outcome {
                Outcome::Found => chance,
                Outcome::Clear => 1.0 - chance,
                Outcome::Inconclusive => 1.0,
            };
        }
    }
    fit
}

/// The chance that a check comes out "found" if `cause` is the cause.
pub(super) fn detection(check: &Check, cause: &Cause) -> f64 {
    check
        .reveals
        .get(&cause.id)
        .copied()
        .unwrap_or(check.false_alarm)
}

/// How often signs and antecedents were seen with each cause, among the cases where
/// they were looked for.
#[derive(Default)]
struct Learnt<'c> {
    signs: HashMap<(&'c str, &'c str), (f64, f64)>,
    antecedents: HashMap<(&'c str, &'c str), (f64, f64)>,
}

impl<'c> Learnt<'c> {
    fn new(cases: &'c HashMap<i64, Case>) -> Self {
        let mut learnt = Self::default();
        for case in cases.values() {
            let Finding::Cause(cause) = &case.cause else {
                continue;
            };
            for (sign, seen) in &case.signs {
                let entry = learnt
                    .signs
                    .entry((cause.as_str(), sign.as_str()))
                    .or_default();
                entry.0 += f64::from(u8::from(*seen));
                entry.1 += 1.0;
            }
            for (antecedent, happened) in &case.antecedents {
                let entry = learnt
                    .antecedents
                    .entry((cause.as_str(), antecedent.as_str()))
                    .or_default();
                entry.0 += f64::from(u8::from(*happened));
                entry.1 += 1.0;
            }
        }
        learnt
    }

    fn sign(&self, cause: &str, sign: &str, start: f64) -> f64 {
        moved(self.signs.get(&(cause, sign)), start)
    }

    fn antecedent(&self, cause: &str, antecedent: &str, start: f64) -> f64 {
        moved(self.antecedents.get(&(cause, antecedent)), start)
    }
}

fn moved(counted: Option<&(f64, f64)>, start: f64) -> f64 {
    let (seen, looked) = counted.copied().unwrap_or_default();
    (start * CHANCE_WORTH + seen) / (CHANCE_WORTH + looked)
}
