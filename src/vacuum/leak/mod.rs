//! Leaks: from one gas to another, the opening of that size, and what a helium test can find.
//!
//! Leak rates are throughputs at the gas temperature. Imports the units and the gases only.

mod across;
mod conversion;
mod error;
mod helium_test;
mod orifice;

#[cfg(test)]
mod tests;

pub use across::Across;
pub use conversion::{LeakConversion, LeakRegime, convert};
pub use error::LeakError;
pub use helium_test::{HELIUM_IN_AIR, HeliumTest};
pub use orifice::{equivalent_diameter, flow_through_orifice};
