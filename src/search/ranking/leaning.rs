//! What the outcomes of checks say about causes: a clear check speaks against those it would
//! have shown, a found one for them. Pure.

use std::collections::HashMap;

use crate::{
    casebook::{Incident, Outcome},
    catalogue::Catalogue,
};

/// A check is never taken to be surer than this, whatever its description says.
const SUREST: f64 = 0.98;

/// For each cause the logarithm of how much likelier the outcomes are if it is the cause than if
/// no cause a check answers to is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Leaning {
    causes: HashMap<String, f32>,
    /// Of that, what checks say that found nothing.
    clear: HashMap<String, f32>,
}

impl Leaning {
    /// Of the outcomes recorded on an incident.
    pub fn new(incident: &Incident, catalogue: &Catalogue) -> Self {
        let mut causes: HashMap<String, f64> = HashMap::new();
        let mut clear: HashMap<String, f64> = HashMap::new();
        for done in &incident.checks {
            let Some(check) = catalogue.check(done.check.as_str()) else {
                continue;
            };
            let alarm = check.false_alarm.clamp(1.0 - SUREST, SUREST);
            for (cause, chance) in &check.reveals {
                let chance = chance.clamp(1.0 - SUREST, SUREST);
                let says = match done.outcome {
                    Outcome::Found => (chance / alarm).ln(),
                    Outcome::Clear => ((1.0 - chance) / (1.0 - alarm)).ln(),
                    Outcome::Inconclusive => continue,
                };
                *causes.entry(cause.to_string()).or_default() += says;
                if done.outcome == Outcome::Clear {
                    *clear.entry(cause.to_string()).or_default() += says;
                }
            }
        }
        let narrow = |says: HashMap<String, f64>| {
            let says = says.into_iter().map(|(id, says)| (id, says as f32));
            says.collect()
        };
        Self {
            causes: narrow(causes),
            clear: narrow(clear),
        }
    }

    /// Whether checks that found nothing make a cause less than half as likely as it was, beside those for
    /// which as much was found: what shows many causes speaks for each of them alike.
    pub fn speaks_against(&self, cause: &str) -> bool {
        let half = std::f32::consts::LN_2;
        let clear = self.clear.get(cause).copied().unwrap_or_default();
        let best = self.causes.values().copied().fold(0.0, f32::max);
        clear < -half && self.of(cause) < best - half
    }

    /// What the outcomes say about a cause; 0 if nothing.
    pub(in crate::search) fn of(&self, cause: &str) -> f32 {
        self.causes.get(cause).copied().unwrap_or_default()
    }
}
