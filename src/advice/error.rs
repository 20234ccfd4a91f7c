//! What advice refuses.

use thiserror::Error;

/// Why no advice can be given.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum AdviceError {
    /// An identifier nobody knows.
    #[error("no {what} is called {id:?}; accepted is one of the catalogue")]
    Unknown {
        /// What was looked for.
        what: &'static str,
        /// What was given.
        id: String,
    },
    /// The same identifier twice.
    #[error("the {what} {id:?} is given twice; accepted is once")]
    Twice {
        /// What is given twice.
        what: &'static str,
        /// Its identifier.
        id: String,
    },
    /// A number outside its range.
    #[error("{what} of {of} is {value}; accepted is {accepted}")]
    OutOfRange {
        /// The quantity, in words.
        what: &'static str,
        /// What it belongs to.
        of: String,
        /// What was given.
        value: f64,
        /// What would be accepted.
        accepted: &'static str,
    },
    /// The same thing seen and absent at once.
    #[error("{id:?} is given both as seen and as absent; accepted is one of them, or neither")]
    Contradictory {
        /// The sign or antecedent.
        id: String,
    },
    /// Checks that wait for each other.
    #[error("the checks {0} wait for each other; accepted is an order in which each can be made")]
    Circle(String),
    /// Something that has to come first and cannot last until what waits for it.
    #[error(
        "{check:?} needs {first:?} first, which lasts only while the tool stays in its state; accepted is a check that is not isolating, made in the same state or on the pumped tool"
    )]
    LapsesBefore {
        /// What has to come first.
        first: String,
        /// What waits for it.
        check: String,
    },
    /// Nothing to believe in.
    #[error(
        "no cause is possible with these components; accepted is a tool with at least one component that can fail"
    )]
    NoCause,
}

/// Refuses a number that is not finite or lies outside `low..=high`.
pub(crate) fn within(
    what: &'static str,
    of: &str,
    value: f64,
    (low, high): (f64, f64),
    accepted: &'static str,
) -> Result<f64, AdviceError> {
    if value.is_finite() && value >= low && value <= high {
        Ok(value)
    } else {
        Err(AdviceError::OutOfRange {
            what,
            of: of.to_owned(),
            value,
            accepted,
        })
    }
}

/// Refuses a chance outside 0 to 1.
pub(crate) fn chance(what: &'static str, of: &str, value: f64) -> Result<f64, AdviceError> {
    within(what, of, value, (0.0, 1.0), "0 to 1")
}

/// Refuses minutes that are negative or absurd.
pub(crate) fn minutes(what: &'static str, of: &str, value: f64) -> Result<f64, AdviceError> {
    within(what, of, value, (0.0, 1e6), "0 to 1e6")
}
