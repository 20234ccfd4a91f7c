//! What keeps a balance from being drawn.

use crate::vacuum::units::UnitError;

/// A balance that cannot be drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GasLoadError {
    /// A pressure or speed of zero.
    #[error("{what} must be above zero (1e-15 in SI units)")]
    Zero {
        /// What was zero.
        what: &'static str,
    },
    /// A relative uncertainty that is none.
    #[error("{what} must be from 0 to 2 (200 %), not {given}")]
    Uncertainty {
        /// Which uncertainty.
        what: &'static str,
        /// The number given.
        given: f64,
    },
    /// Above the pressure at which speed is constant.
    #[error("{pascals} Pa is above 1 Pa, where a high-vacuum pump's speed is no longer constant")]
    TooHigh {
        /// The pressure.
        pascals: f64,
    },
    /// A foreline at which no turbo pump works.
    #[error(
        "a foreline of {pascals} Pa is above 1e4 Pa (100 mbar), against which no turbo pump compresses"
    )]
    ForelineTooHigh {
        /// The pressure.
        pascals: f64,
    },
    /// A compression ratio below one.
    #[error("a compression ratio must be above 1 and up to 1e20, not {given}")]
    Compression {
        /// The ratio given.
        given: f64,
    },
    /// A number out of range.
    #[error(transparent)]
    Unit(#[from] UnitError),
}
