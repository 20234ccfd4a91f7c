//! The generating model of a seed, stated in full: whoever reads it can play the searcher
//! who knows every true chance, and measure what not knowing costs.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::{FIX_SIGMA, LONGEST_SEARCH, LOOKED_FOR, MINUTES_SIGMA, NOT_FOUND_SHARE, fleet::Fleet};
use crate::catalogue::{Cause, ComponentId, ToolClass};

/// Every number the incidents of one seed are drawn with. Chances are 0 to 1, minutes are
/// minutes, losses are decades of base pressure. Serialises to the same bytes for the same seed.
#[derive(Debug, Serialize)]
pub struct Model<'a> {
    /// The seed.
    pub seed: u64,
    /// Chance that an incident ends without a cause, whatever its cause is: its signs are
    /// those of a cause drawn as always, and its record says "not-found".
    pub not_found_share: f64,
    /// Chance that a sign or antecedent of the class was looked for. A sign is not looked for
    /// once one before it, in the order of the class's signs, was seen that excludes it.
    pub looked_for: f64,
    /// Sigma of the log-normal factor on the minutes of a check, whose median is 1.
    pub minutes_sigma: f64,
    /// The same of the minutes of a fix.
    pub fix_sigma: f64,
    /// After how many checks a search ends unfinished; its cause is written down all the same.
    pub longest_search: usize,
    /// Tool classes by identifier. Each tool, and so each class, is equally likely.
    pub classes: BTreeMap<&'a str, ModelClass<'a>>,
    /// Causes by identifier.
    pub causes: BTreeMap<&'a str, ModelCause<'a>>,
    /// Checks by identifier.
    pub checks: BTreeMap<&'a str, ModelCheck<'a>>,
}

/// What is true in a class.
#[derive(Debug, Serialize)]
pub struct ModelClass<'a> {
    /// Chance of each cause; they add up to 1.
    pub causes: BTreeMap<&'a str, f64>,
    /// What common practice believes these chances to be.
    pub common_practice: BTreeMap<&'a str, f64>,
    /// Signs that can be looked for on its tools.
    pub signs: Vec<String>,
    /// Antecedents that can be asked for.
    pub antecedents: Vec<String>,
    /// The checks in the order in which its people make them.
    pub checks: Vec<&'a str>,
    /// Minutes to change the state of a tool: `vent` and `pump_down` between pumped and
    /// vented, `stop_and_purge` and `restart` to and from stopped and purged. Stopping the pump of a
    /// vented tool takes longer by what `pump_down` takes more than `restart`, since the chamber has
    /// to be pumped down as well.
    pub minutes: BTreeMap<&'a str, f64>,
}

/// What is true of a cause.
#[derive(Debug, Serialize)]
pub struct ModelCause<'a> {
    /// Chance of seeing each sign that was looked for.
    pub signs: BTreeMap<&'a str, f64>,
    /// Chance of each antecedent that was asked for.
    pub antecedents: BTreeMap<&'a str, f64>,
    /// The loss is uniform between these.
    pub loss_decades: [f64; 2],
    /// Median minutes of the fix.
    pub fix_minutes: f64,
    /// State the tool has at least to be brought to for the fix.
    pub fix_state: &'a str,
}

/// What is true of a check.
#[derive(Debug, Serialize)]
pub struct ModelCheck<'a> {
    /// State the tool has to be in.
    pub state: &'a str,
    /// State the tool is in after it, the minutes of that change beside its own.
    pub leaves: &'a str,
    /// Whether it vents the chamber while the pump is stopped; what `pump_down` of the class takes
    /// more than `restart` then comes to its minutes.
    pub vents: bool,
    /// Median minutes.
    pub minutes: f64,
    /// Whether it only tells causes apart: "found" by it does not end a search.
    pub isolating: bool,
    /// Chance of "found" under each cause it answers to.
    pub found: BTreeMap<&'a str, f64>,
    /// Chance of "found" under any other cause.
    pub false_alarm: f64,
    /// Components without which it is not made.
    pub needs_components: BTreeSet<&'a str>,
    /// Checks that have to be made before it, if they can be made on the tool.
    pub needs_first: Vec<&'a str>,
}

impl<'a> Model<'a> {
    pub(super) fn of(fleet: &'a Fleet<'a>) -> Self {
        let catalogue = fleet.catalogue();
        let classes = catalogue.classes().map(|class| {
            let (causes, checks) = fleet.truth(class);
            let built: BTreeSet<ComponentId> = class.components.iter().cloned().collect();
            let of_class = ModelClass {
                causes,
                common_practice: believed(fleet, class),
                signs: catalogue
                    .signs_of(&built)
                    .map(|sign| sign.id.to_string())
                    .collect(),
                antecedents: catalogue
                    .antecedents_of(&built)
                    .map(|antecedent| antecedent.id.to_string())
                    .collect(),
                checks,
                minutes: BTreeMap::from([
                    ("vent", class.minutes.vent),
                    ("pump_down", class.minutes.pump_down),
                    ("stop_and_purge", class.minutes.stop_and_purge),
                    ("restart", class.minutes.restart),
                ]),
            };
            (class.id.as_str(), of_class)
        });
        let cause = |cause: &'a Cause| {
            let signs = catalogue.signs().map(|sign| {
                let listed = cause.signs.get(&sign.id);
                (sign.id.as_str(), listed.copied().unwrap_or(sign.background))
            });
            let antecedents = catalogue.antecedents().map(|item| {
                let listed = cause.antecedents.get(&item.id);
                (item.id.as_str(), listed.copied().unwrap_or(item.background))
            });
            let (low, high) = super::loss_range(cause);
            ModelCause {
                signs: signs.collect(),
                antecedents: antecedents.collect(),
                loss_decades: [low, high],
                fix_minutes: cause.fix_minutes,
                fix_state: cause.fix_state.id(),
            }
        };
        let checks = catalogue.checks().map(|check| {
            let found = check.reveals.iter();
            let stated = ModelCheck {
                state: check.state.id(),
                leaves: check.leaves.id(),
                vents: check.vents,
                minutes: check.minutes,
                isolating: check.isolating,
                found: found
                    .map(|(cause, chance)| (cause.as_str(), *chance))
                    .collect(),
                false_alarm: check.false_alarm,
                needs_components: check
                    .needs_components
                    .iter()
                    .map(|id| id.as_str())
                    .collect(),
                needs_first: check.first().map(|id| id.as_str()).collect(),
            };
            (check.id.as_str(), stated)
        });
        Self {
            seed: fleet.seed(),
            not_found_share: NOT_FOUND_SHARE,
            looked_for: LOOKED_FOR,
            minutes_sigma: MINUTES_SIGMA,
            fix_sigma: FIX_SIGMA,
            longest_search: LONGEST_SEARCH,
            classes: classes.collect(),
            causes: catalogue
                .causes()
                .map(|known| (known.id.as_str(), cause(known)))
                .collect(),
            checks: checks.collect(),
        }
    }
}

/// Common-practice chances of the causes of a class.
fn believed<'a>(fleet: &'a Fleet<'a>, class: &ToolClass) -> BTreeMap<&'a str, f64> {
    let mut weights: BTreeMap<&str, f64> = fleet
        .catalogue()
        .causes()
        .filter(|cause| class.components.contains(&cause.component))
        .map(|cause| (cause.id.as_str(), cause.weight_in(&class.id)))
        .collect();
    let total: f64 = weights.values().sum();
    weights.values_mut().for_each(|weight| *weight /= total);
    weights
}
