//! Errors of quantities and of readings typed by a person.

use super::PressureUnit;

/// A number that is no such quantity, or a unit not known here.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum UnitError {
    /// The number is infinite, not a number, or becomes so in SI units.
    #[error("{quantity} must be a finite number in range, not {value}")]
    NotFinite {
        /// What was being made, e.g. `a pressure`.
        quantity: &'static str,
        /// The number as given.
        value: f64,
    },
    /// The number is below zero, or zero where zero has no meaning.
    #[error("{quantity} must be {accepted}, not {value}")]
    TooLow {
        /// What was being made.
        quantity: &'static str,
        /// The number as given.
        value: f64,
        /// `zero or more` or `above zero`.
        accepted: &'static str,
    },
    /// The number is beyond what is computed with.
    #[error("{quantity} must be {accepted} in SI units, not {value:e}")]
    OutOfRange {
        /// What was being made.
        quantity: &'static str,
        /// The number as given, in SI units.
        value: f64,
        /// `at most 1e30`, or `from 1e-30 to 1e30`.
        accepted: &'static str,
    },
    /// The unit is not one of this quantity.
    #[error("{given:?} is not a unit of {quantity} known here; accepted: {accepted}")]
    UnknownUnit {
        /// The kind of quantity, e.g. `pressure`.
        quantity: &'static str,
        /// The unit as given, cut to a readable length.
        given: String,
        /// The accepted units, separated by commas.
        accepted: String,
    },
}

/// A typed reading that cannot be taken for a pressure.
///
/// Each message says what was read and what would be taken instead.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReadingError {
    /// Nothing but white space.
    #[error("no pressure was given; write a number and its unit, for example 5e-7 Torr")]
    Empty,
    /// More text than any pressure needs.
    #[error(
        "{length} characters are too many for a pressure; write only a number and its unit, for example 5e-7 Torr"
    )]
    TooLong {
        /// Number of characters.
        length: usize,
    },
    /// Words for a decade instead of a number.
    #[error(
        "{text:?} names a decade, not a pressure; write the number, for example 2e-{decade} Torr"
    )]
    DecadeOnly {
        /// The text, cut to a readable length.
        text: String,
        /// The decade found in it.
        decade: u32,
    },
    /// The text does not begin with a number that can be read.
    #[error(
        "cannot read {text:?} as a pressure; write a number and its unit, for example 5e-7 Torr or 0.3 mTorr"
    )]
    NotANumber {
        /// The text, cut to a readable length.
        text: String,
    },
    /// Points and commas that can be read in two ways, a thousandfold apart.
    #[error(
        "{text:?} can be read in two ways; write it without a mark between thousands, for example 1013.25 or 1.013e3"
    )]
    Ambiguous {
        /// The text, cut to a readable length.
        text: String,
    },
    /// What follows the number is not a unit of pressure.
    #[error(
        "{unit:?} is not a pressure unit known here{}; use one of {}",
        why.map_or_else(String::new, |why| format!(": {why}")),
        unit_list()
    )]
    UnknownUnit {
        /// The words after the number, cut to a readable length.
        unit: String,
        /// Why it is none, where that is known.
        why: Option<&'static str>,
    },
    /// A number alone, where no unit is implied.
    #[error("{text:?} has no unit; add one of {}", unit_list())]
    UnitMissing {
        /// The text, cut to a readable length.
        text: String,
    },
    /// A number below zero.
    #[error("{text:?} is below zero; a pressure is zero or more")]
    Negative {
        /// The text, cut to a readable length.
        text: String,
    },
    /// A number too large or too small to be computed with.
    #[error("{text:?} is out of the range of numbers; check the exponent")]
    OutOfRange {
        /// The text, cut to a readable length.
        text: String,
    },
}

/// The text cut to a length that fits a message.
pub(super) fn shown(text: &str) -> String {
    const LONGEST: usize = 40;
    let text = text.trim();
    if text.chars().count() <= LONGEST {
        text.to_owned()
    } else {
        text.chars().take(LONGEST).chain(['…']).collect()
    }
}

fn unit_list() -> String {
    PressureUnit::ALL.map(|unit| unit.to_string()).join(", ")
}
