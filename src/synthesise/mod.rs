//! A made-up fleet and its incidents, for trials and measurements.
//!
//! The generating model, all of it drawn from one seed:
//!
//! * **Tools.** [`TOOLS_PER_CLASS`] tools of each class at [`SITES`] sites, built as their
//!   class is built. Healthy pressure: the class's, times a log-normal factor of 0.15 decades.
//! * **Causes.** In a class, the chance of a cause is its common-practice weight times a
//!   gamma(2)/2 factor of that class, over the causes of components the class has,
//!   normalised; [`NOT_FOUND_SHARE`] of the incidents end without a cause.
//! * **Signs and antecedents.** Each is looked for with chance [`LOOKED_FOR`], and then seen
//!   with the catalogue's chance given the cause, or its background chance.
//! * **Pressures.** The loss in decades is uniform over the cause's usual range; after the
//!   fix the healthy pressure times a log-normal factor of 0.05 decades.
//! * **Checks.** Done in common-practice order (chance by pseudo-counts, per minute), each
//!   outcome drawn from its detection and false-alarm chance, until the cause is found or
//!   [`LONGEST_SEARCH`] checks are made; the cause is written down all the same, as by people who
//!   learn of it in another way. Minutes: the check's, times a log-normal factor of
//!   sigma [`MINUTES_SIGMA`]; those of the fix likewise, of sigma [`FIX_SIGMA`].
//! * **Words.** The names of what was seen, in the phrases of one of several hands.
//!
//! [`Fleet::model`] states every chance and time a seed leads to, so that the cost of not
//! knowing them can be measured from outside.
//!
//! The same seed gives the same bytes on every machine.

mod fleet;
mod model;
mod words;

pub use fleet::{Fleet, Made};
pub use model::{Model, ModelCause, ModelCheck, ModelClass};

use crate::catalogue::Cause;

/// How many sites.
pub const SITES: usize = 12;
/// How many tools of each class.
pub const TOOLS_PER_CLASS: usize = 40;
/// Share of incidents that end without a cause.
pub const NOT_FOUND_SHARE: f64 = 0.05;
/// Chance that a sign or antecedent was looked for.
pub const LOOKED_FOR: f64 = 0.35;
/// Sigma of the log-normal factor on the minutes of a check.
pub const MINUTES_SIGMA: f64 = 0.3;
/// Sigma of the log-normal factor on the minutes of a fix.
pub const FIX_SIGMA: f64 = 0.4;
/// After how many checks a search ends unfinished.
pub const LONGEST_SEARCH: usize = 25;

/// The decades a cause costs, for one that states none the usual ones.
fn loss_range(cause: &Cause) -> (f64, f64) {
    cause.decades.unwrap_or((0.3, 2.0))
}
