//! Residual gas: what the peaks of a mass spectrum say about the gas in a chamber.
//!
//! A spectrum is read ([`Spectrum::read`]), explained as a non-negative sum of cracking patterns
//! ([`decompose`]), and judged by rules on the peaks themselves ([`judge`]), because the heights in
//! pattern tables are good to 30 % at best. Currents are relative: only their ratios are used, so
//! any unit of ion current serves. Pure: patterns come in as text, randomness as a seed.
//! Imports the units only.

mod air;
mod decompose;
mod judge;
mod nnls;
mod patterns;
mod spectrum;
mod unit;

#[cfg(test)]
mod tests;

pub use air::{Air, AirTest, Evidence, Finding};
pub use decompose::{Amount, Decomposition, DecompositionError, Part, PeakFit, decompose};
pub use judge::{Circumstances, Judgement, LightGas, judge, light_gas};
pub use nnls::{NnlsError, non_negative_least_squares};
pub use patterns::{Gas, PatternError, Patterns};
pub use spectrum::{Spectrum, SpectrumError};
