//! What to check next, and why.
//!
//! Pure: no I/O, no async, no clock. Nothing here knows of the store, the web or the
//! catalogue's files: the caller hands over plain numbers as [`Knowledge`] and the
//! counts of the ledger. No chance is ever NaN, and hard precedence comes before any
//! saving of time.
//!
//! [`Learned`] is what the counts teach (kept until the ledger changes), [`Belief`] the
//! chances of the causes given the evidence, [`sequence`] the order of checks, and
//! [`advise`] all three together with the reasons. [`mod@backtest`] holds them to history.

mod advise;
pub mod backtest;
pub mod belief;
mod error;
mod items;
pub mod knowledge;
pub mod learned;
pub mod sequence;
#[cfg(test)]
mod tests;

pub use advise::{
    Advice, Blocked, Find, Found, Order, Ordered, Request, Shift, Step, StopRule, advise, order,
    problem_of,
};
pub use backtest::{Past, Replay, Score, backtest};
pub use belief::{Belief, CauseBelief, Chances, Contradiction, Evidence, before_evidence};
pub use error::AdviceError;
pub use knowledge::{CauseFacts, CheckFacts, ClassFacts, Knowledge, Observation, State};
pub use learned::Learned;
