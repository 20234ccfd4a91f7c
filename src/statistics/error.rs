//! What a statistic refuses.

use thiserror::Error;

/// Why a figure cannot be given.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum StatisticsError {
    /// A number outside what the formula holds for.
    #[error("{what} is {value}; accepted is {accepted}")]
    OutOfRange {
        /// The quantity, in words.
        what: &'static str,
        /// What was given.
        value: f64,
        /// What would be accepted.
        accepted: &'static str,
    },
    /// Too few observations for the method.
    #[error("{what} needs at least {needed} observations; there are {given}")]
    TooFew {
        /// The method, in words.
        what: &'static str,
        /// How many it needs.
        needed: usize,
        /// How many there are.
        given: usize,
    },
    /// A case that contradicts itself or cannot be counted.
    #[error("case {number}: {field} {problem}")]
    BadCase {
        /// Number of the case.
        number: i64,
        /// The field.
        field: &'static str,
        /// What is wrong and what would be accepted.
        problem: String,
    },
    /// An iteration that did not settle.
    #[error("{what} did not settle; the observations may not fit the model")]
    NotSettled {
        /// The method, in words.
        what: &'static str,
    },
}

/// Refuses a number that is not finite or lies outside `low..=high`.
pub(crate) fn within(
    what: &'static str,
    value: f64,
    low: f64,
    high: f64,
    accepted: &'static str,
) -> Result<f64, StatisticsError> {
    if value.is_finite() && value >= low && value <= high {
        Ok(value)
    } else {
        Err(StatisticsError::OutOfRange {
            what,
            value,
            accepted,
        })
    }
}
