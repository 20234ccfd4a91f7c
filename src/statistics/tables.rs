//! The counts that chances are learnt from: causes by class, and signs, antecedents, checks
//! and sizes of loss by cause. Kept by the ledger as cases come and go.
//!
//! A count is a sum of the cases' weights. A case weighs 1, unless old cases weigh less
//! ([`Aging`]); whole weights add up without rounding.

use std::{borrow::Cow, collections::BTreeMap};

/// How often something was looked for, and seen.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Looked {
    /// Seen.
    pub seen: f64,
    /// Looked for, seen or not.
    pub looked: f64,
}

/// Number, sum and sum of squares of the decades of pressure lost.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Losses {
    /// How many cases have both pressures.
    pub cases: f64,
    /// Sum of the decades.
    pub sum: f64,
    /// Sum of their squares.
    pub squares: f64,
    /// Cases by tenths of a decade, rounded down: 1.27 decades come under 12.
    pub tenths: BTreeMap<i32, f64>,
}

/// What is known of the cases with one cause, all classes together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CauseTable {
    /// Signs by identifier.
    pub signs: BTreeMap<String, Looked>,
    /// Antecedents by identifier.
    pub antecedents: BTreeMap<String, Looked>,
    /// Checks by identifier: those that could be judged, and those that found something.
    pub checks: BTreeMap<String, Looked>,
    /// Sizes of the loss.
    pub losses: Losses,
}

/// Everything chances are learnt from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tables {
    /// Cases by tool class, then by cause ("not-found" among them).
    pub classes: BTreeMap<String, BTreeMap<String, f64>>,
    /// Evidence by cause.
    pub causes: BTreeMap<String, CauseTable>,
}

/// How old cases lose weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aging {
    /// The day the ages count to, in days since 1 January 1970; later cases weigh 1.
    pub today: i64,
    /// Days after which a case weighs half.
    pub half_life_days: f64,
}

/// What one case showed, as far as chances are learnt from it case by case.
#[derive(Clone, Debug, PartialEq)]
pub struct Remembered {
    /// Weight of the case.
    pub weight: f64,
    /// Its tool class.
    pub class: String,
    /// Its cause, or "not-found".
    pub cause: String,
    /// Signs looked for, and whether they were seen.
    pub signs: Vec<(String, bool)>,
    /// Antecedents asked about, and whether they had happened.
    pub antecedents: Vec<(String, bool)>,
    /// Decades of base pressure lost, if both pressures are known.
    pub loss_decades: Option<f64>,
}

/// All that advice learns from: counts, and the newest cases one by one.
#[derive(Clone, Debug, Default)]
pub struct Lessons<'l> {
    /// Every case with weight 1: what pages call cases.
    pub counts: Cow<'l, Tables>,
    /// The same by weight, where old cases weigh less.
    pub weighed: Option<Tables>,
    /// The newest cases by number.
    pub latest: Vec<Remembered>,
}

impl Lessons<'_> {
    /// The counts to learn from.
    pub fn tables(&self) -> &Tables {
        self.weighed.as_ref().unwrap_or(&self.counts)
    }
}

impl Aging {
    /// Weight of a case of a day: halved with each half-life, 1 for a half-life that is
    /// not above zero.
    pub fn weight(self, day: i64) -> f64 {
        let age = self.today.saturating_sub(day).max(0) as f64;
        if self.half_life_days > 0.0 {
            (-age / self.half_life_days).exp2()
        } else {
            1.0
        }
    }
}

impl Tables {
    /// Cases of a class with a cause.
    pub fn cases(&self, class: &str, cause: &str) -> f64 {
        self.classes
            .get(class)
            .and_then(|causes| causes.get(cause))
            .copied()
            .unwrap_or(0.0)
    }

    /// Cases of a class.
    pub fn cases_of_class(&self, class: &str) -> f64 {
        self.classes
            .get(class)
            .map_or(0.0, |causes| causes.values().sum())
    }
}
