//! Conductance of openings, tubes and elbows, and the pumping speed that is left behind them.
//!
//! Molecular flow uses the transmission probability of [`transmission`], so short tubes are right
//! too; the formula for long tubes is kept apart and named so. Viscous and transitional flow are
//! refused outside the range of their formulas. Imports the units and the gases only.

mod between;
mod chain;
mod elbow;
mod error;
mod molecular;
mod regime;
mod transmission;
mod tube;

#[cfg(test)]
mod monte_carlo;
#[cfg(test)]
mod tests;

pub use between::{Behind, ChainFlow, PartFlow};
pub use chain::{Chain, Part, Shape, Stage, effective_speed, parallel, series};
pub use elbow::elbow_transmission;
pub use error::ConductanceError;
pub use molecular::{aperture, long_tube, short_or_long_tube};
pub use regime::{Regime, knudsen_number};
pub use transmission::transmission;
