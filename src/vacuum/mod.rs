//! Vacuum computation: what a pressure, a rise or a spectrum says about the gas in a chamber.
//!
//! Pure: no input or output, no async, no clock but an argument. Quantities are SI inside and
//! typed (see [`units`]); a formula outside its stated range gives an error, never a number.
//! Nothing here may import from the casebook, the store, the search or the web.

pub mod conductance;
pub mod gas;
pub mod gas_load;
pub mod gauge;
pub mod leak;
pub mod log;
pub mod pump_down;
pub mod residual_gas;
pub mod rise;
pub mod units;

#[cfg(test)]
mod ranges;
