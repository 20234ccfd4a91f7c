//! Whether gauge readings can be believed, and what gas does to them.
//!
//! Gauges lie in a few known ways; this names the one that fits, or says that the readings cannot
//! tell. Imports the units and the gases only.

mod correction;
mod error;
mod judgement;
mod kind;

#[cfg(test)]
mod tests;

pub use correction::{Correction, correction};
pub use error::GaugeError;
pub(in crate::vacuum) use judgement::PIRANI_LIMIT;
pub use judgement::{Judgement, Reading, Situation, Step, Verdict, judge};
pub use kind::{GaugeKind, Principle};
