//! A number with the unit it was typed in.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::UnitError;

/// A unit that a person can choose for a quantity.
pub trait Unit: Copy + fmt::Display + 'static {
    /// The quantity it measures.
    type Quantity;

    /// The quantity of this many units; an error if the number is no such quantity.
    fn quantity(self, value: f64) -> Result<Self::Quantity, UnitError>;
}

/// A number and its unit, as typed: `{"value": 5.3e-6, "unit": "torr"}`.
///
/// Holds any number, so that what was typed can be shown again; [`Typed::quantity`] judges it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Typed<U> {
    /// The number in that unit.
    pub value: f64,
    /// The unit.
    pub unit: U,
}

impl<U> Typed<U> {
    /// Puts a number and its unit together.
    pub fn new(value: f64, unit: U) -> Self {
        Self { value, unit }
    }
}

impl<U: Unit> Typed<U> {
    /// The quantity in SI units; an error if the number is no such quantity.
    pub fn quantity(self) -> Result<U::Quantity, UnitError> {
        self.unit.quantity(self.value)
    }
}

impl<U: fmt::Display> fmt::Display for Typed<U> {
    /// `5.3e-6 Torr`, or `760 Torr` for numbers near one.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = self.value.abs();
        if size == 0.0 || (0.01..1e5).contains(&size) || !size.is_finite() {
            write!(f, "{} {}", self.value, self.unit)
        } else {
            write!(f, "{:e} {}", self.value, self.unit)
        }
    }
}

/// A number to so many figures: `760` and `0.25` where that is plain, `5.0e-4` where it is not.
pub fn to_figures(value: f64, figures: usize) -> String {
    let written = format!("{value:.*e}", figures.saturating_sub(1));
    let rounded: f64 = written.parse().unwrap_or(value);
    if rounded == 0.0 || (0.01..1e5).contains(&rounded.abs()) {
        rounded.to_string()
    } else {
        written
    }
}

/// Declares a unit enum with its id (in data), name (on a page), spellings and serde form.
macro_rules! unit_enum {
    (
        $(#[$about:meta])*
        $name:ident, $kind:literal,
        { $($(#[$unit_about:meta])* $variant:ident = $id:literal, $shown:literal, [$($spelling:literal),*];)+ }
    ) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name {
            $($(#[$unit_about])* $variant,)+
        }

        impl $name {
            /// Every unit, in the order in which a person is offered them.
            pub const ALL: [Self; [$(Self::$variant),+].len()] = [$(Self::$variant),+];

            /// The unit's name in data, as written and read by serde.
            pub fn id(self) -> &'static str {
                match self {
                    $(Self::$variant => $id,)+
                }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(match self {
                    $(Self::$variant => $shown,)+
                })
            }
        }

        impl $name {
            /// The unit that is spelled so, if any is.
            pub fn spelled(text: &str) -> Option<Self> {
                // As data write it, which is what is read over and over.
                if let Some(unit) = Self::ALL.into_iter().find(|unit| unit.id() == text) {
                    return Some(unit);
                }
                let plain = $crate::vacuum::units::typed::plain(text);
                Self::ALL.into_iter().find(|unit| {
                    let (id, spellings): (&str, &[&str]) = match unit {
                        $(Self::$variant => ($id, &[$($spelling),*]),)+
                    };
                    $crate::vacuum::units::typed::plain_letters(id).eq(plain.chars())
                        || spellings.contains(&plain.as_str())
                })
            }
        }

        impl std::str::FromStr for $name {
            type Err = $crate::vacuum::units::UnitError;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                if let Some(unit) = Self::spelled(text) {
                    return Ok(unit);
                }
                Err($crate::vacuum::units::UnitError::UnknownUnit {
                    quantity: $kind,
                    given: $crate::vacuum::units::error::shown(text),
                    accepted: Self::ALL.map(Self::id).join(", "),
                })
            }
        }

        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.id())
            }
        }

        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let text = <std::borrow::Cow<'de, str>>::deserialize(deserializer)?;
                text.parse().map_err(serde::de::Error::custom)
            }
        }
    };
}
pub(super) use unit_enum;

/// A unit's spelling with case, spaces, dots and raised figures taken out, for comparison:
/// `mbar·L/s`, `mbar l/s` and `MBAR*L/S` become `mbarl/s`.
pub(super) fn plain(text: &str) -> String {
    plain_letters(text).collect()
}

/// The same letter by letter.
pub(super) fn plain_letters(text: &str) -> impl Iterator<Item = char> {
    text.trim()
        .chars()
        .filter_map(|c| match c {
            ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}' | '·' | '∙' | '⋅' | '*' | '.' | '^' | '-'
            | '⁻' | '−' => None,
            '¹' => Some('1'),
            '²' => Some('2'),
            '³' => Some('3'),
            'µ' | 'μ' => Some('u'),
            'ℓ' => Some('l'),
            other => Some(other),
        })
        .flat_map(char::to_lowercase)
}
