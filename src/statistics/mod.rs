//! What the closed cases say: counts, shares and times with their intervals.
//!
//! Pure: no I/O, no clock; a day is an argument. Nothing here knows of the store, the
//! web or the catalogue. Every figure carries the size of the sample behind it, and an
//! empty sample gives no figure rather than a zero.

mod case;
mod cell;
mod column;
mod error;
pub mod interval;
pub mod ledger;
mod mean;
pub mod observation;
#[cfg(test)]
pub(crate) mod reference;
mod rows;
pub mod survival;
mod symbols;
pub mod tables;
pub mod trend;
pub mod trends;
pub mod uptime;
pub mod wear_out;

pub use case::{Case, NOT_FOUND, Outcome};
pub use error::StatisticsError;
pub use interval::{Interval, Share};
pub use ledger::{Breakdown, Dimension, Filter, Group, Ledger, Spread, ToolService, Total};
