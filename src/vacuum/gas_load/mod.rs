//! Base-pressure balance: gas load, pumping speed, and what a foreline can add.
//!
//! In a pumped chamber at rest the gas load is speed times pressure, Q = S·p. Imports the units and
//! the gases only.

mod error;
mod extra;
mod turbo;

#[cfg(test)]
mod tests;

pub use error::GasLoadError;
pub use extra::{ExtraLoad, FaultSize, Uncertainty, base_pressure, extra_load, gas_load};
pub use turbo::{Backing, ForelineShare, ForelineVerdict, foreline_share, typical_compression};
