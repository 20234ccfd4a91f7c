//! The counts that chances are learnt from: causes by class, and signs, antecedents and
//! sizes of loss by cause. Kept by the ledger as cases come and go.

use std::collections::BTreeMap;

/// How often something was looked for, and seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Looked {
    /// Seen.
    pub seen: u64,
    /// Looked for, seen or not.
    pub looked: u64,
}

/// Number, sum and sum of squares of the decades of pressure lost.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Losses {
    /// How many cases have both pressures.
    pub cases: u64,
    /// Sum of the decades.
    pub sum: f64,
    /// Sum of their squares.
    pub squares: f64,
}

/// What is known of the cases with one cause, all classes together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CauseTable {
    /// Signs by identifier.
    pub signs: BTreeMap<String, Looked>,
    /// Antecedents by identifier.
    pub antecedents: BTreeMap<String, Looked>,
    /// Sizes of the loss.
    pub losses: Losses,
}

/// Everything chances are learnt from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tables {
    /// Cases by tool class, then by cause ("not-found" among them).
    pub classes: BTreeMap<String, BTreeMap<String, u64>>,
    /// Evidence by cause.
    pub causes: BTreeMap<String, CauseTable>,
}

impl Tables {
    /// Cases of a class with a cause.
    pub fn cases(&self, class: &str, cause: &str) -> u64 {
        self.classes
            .get(class)
            .and_then(|causes| causes.get(cause))
            .copied()
            .unwrap_or(0)
    }

    /// Cases of a class.
    pub fn cases_of_class(&self, class: &str) -> u64 {
        self.classes
            .get(class)
            .map_or(0, |causes| causes.values().sum())
    }
}
