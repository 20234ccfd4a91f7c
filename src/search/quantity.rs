//! Quantities other than pressures in free text, where a near value tells of a like case: minutes,
//! the temperature of a cold head in kelvin, the power of a drive in watts, and mass numbers.
//!
//! Read in the spellings people use (`18 K`, `18K`, `1.5 h`, `0.4 kW`, `mass 40`, `28/32`, `m/z 18`);
//! numbers in words are not. A mass number is a name and has to be right; the others are near if they
//! differ by little. Pure; never panics.

use std::ops::Range;

use super::lexer::{Lex, Piece, lex};

/// What a quantity is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sort {
    /// A time, in minutes.
    Minutes,
    /// A temperature, in kelvin.
    Kelvin,
    /// A power, in watts.
    Watts,
    /// A mass number of a spectrum.
    Mass,
}

impl Sort {
    /// Every sort, in the order of the index's columns.
    pub(super) const ALL: [Self; 4] = [Self::Minutes, Self::Kelvin, Self::Watts, Self::Mass];

    /// The name of its column.
    pub(super) fn column(self) -> &'static str {
        match self {
            Self::Minutes => "minutes",
            Self::Kelvin => "kelvin",
            Self::Watts => "watts",
            Self::Mass => "mass",
        }
    }
}

/// A quantity in a text.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Quantity {
    /// What of.
    pub(super) sort: Sort,
    /// In the unit of its sort.
    pub(super) value: f64,
    /// As typed.
    pub(super) shown: String,
    /// Where it stands, in bytes.
    pub(super) place: Range<usize>,
}

/// So near, as a share of the value, is as good as right; so near is still near.
pub(super) const CLOSE: f64 = 0.1;
pub(super) const NEAR: f64 = 0.3;

/// Quantities read of one text at most.
const MOST: usize = 16;

/// Masses that people name of a residual gas; other numbers around a stroke are dates or parts.
const MASSES: [u8; 17] = [
    1, 2, 4, 12, 14, 15, 16, 17, 18, 20, 28, 29, 32, 36, 40, 43, 44,
];

impl Quantity {
    /// The ends between which another of its sort is near, `share` of the value off; a mass has to
    /// be right.
    pub(super) fn around(&self, share: f64) -> (f64, f64) {
        match self.sort {
            Sort::Mass => (self.value - 0.25, self.value + 0.25),
            _ => (self.value * (1.0 - share), self.value * (1.0 + share)),
        }
    }

    /// Whether another is of the same sort and near.
    pub(super) fn is_near(&self, other: &Self) -> bool {
        let (low, high) = self.around(NEAR);
        self.sort == other.sort && (low..=high).contains(&other.value)
    }
}

/// Every quantity of a text, those that overlap one of `taken` (its pressures) left out.
pub(super) fn quantities(text: &str, taken: &[Range<usize>]) -> Vec<Quantity> {
    quantities_in(text, &lex(text), taken)
}

/// The same of a text that is in pieces already.
pub(super) fn quantities_in(
    text: &str,
    pieces: &[Piece<'_>],
    taken: &[Range<usize>],
) -> Vec<Quantity> {
    let mut found: Vec<Quantity> = Vec::new();
    let mut at = 0;
    while at < pieces.len() && found.len() < MOST {
        let Some((sort, values, next)) = read(pieces, at) else {
            at += 1;
            continue;
        };
        let place = pieces[at].from..pieces[next - 1].to;
        let free = |range: &Range<usize>| range.end <= place.start || place.end <= range.start;
        if taken.iter().all(free) {
            for value in values {
                found.push(Quantity {
                    sort,
                    value,
                    shown: text[place.clone()].to_owned(),
                    place: place.clone(),
                });
            }
        }
        at = next;
    }
    found
}

type Read = (Sort, Vec<f64>, usize);

fn read(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    match pieces[at].lex {
        Lex::Word(_) => named_masses(pieces, at),
        Lex::Number(_) => ratio(pieces, at).or_else(|| with_unit(pieces, at)),
        _ => None,
    }
}

fn number(piece: &Piece<'_>) -> Option<f64> {
    let Lex::Number(figures) = piece.lex else {
        return None;
    };
    let value: f64 = figures.replace(',', ".").parse().ok()?;
    (value > 0.0 && value < 1e7).then_some(value)
}

/// Whether a number is part of a longer one or of a name, as the 4 of `BRK-4` or of `1.2e-4`.
fn glued(pieces: &[Piece<'_>], at: usize) -> bool {
    let Some(before) = at.checked_sub(1).map(|before| &pieces[before]) else {
        return false;
    };
    !pieces[at].spaced
        && matches!(
            before.lex,
            Lex::Word(_) | Lex::Sign('-' | '−' | '^' | '.' | ':')
        )
}

fn mass(piece: &Piece<'_>) -> Option<f64> {
    let value = number(piece)?;
    (value.fract() == 0.0 && (1.0..=300.0).contains(&value)).then_some(value)
}

/// `mass 40`, `masses 28 and 32`, `m/z 18`, `amu 28`, `peak 18`.
fn named_masses(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    let Lex::Word(word) = pieces[at].lex else {
        return None;
    };
    if !matches!(
        word.as_bytes().first(),
        Some(b'm' | b'M' | b'a' | b'A' | b'p' | b'P')
    ) {
        return None;
    }
    let mut next = if ["mass", "masses", "amu", "peak", "peaks"]
        .iter()
        .any(|name| pieces[at].is_word(name))
    {
        at + 1
    } else if pieces[at].is_word("m")
        && pieces.get(at + 1)?.lex == Lex::Sign('/')
        && ["z", "e"]
            .iter()
            .any(|unit| pieces[at + 2..].first().is_some_and(|p| p.is_word(unit)))
    {
        at + 3
    } else {
        return None;
    };
    if pieces.get(next)?.lex == Lex::Sign('=') {
        next += 1;
    }
    let mut masses = vec![mass(pieces.get(next)?)?];
    next += 1;
    while let Some(link) = pieces.get(next)
        && (link.is_word("and") || matches!(link.lex, Lex::Sign(',' | '/' | '&' | '+')))
        && let Some(another) = pieces.get(next + 1).and_then(mass)
    {
        masses.push(another);
        next += 2;
    }
    Some((Sort::Mass, masses, next))
}

/// `28/32`: two masses that are compared.
fn ratio(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    if glued(pieces, at) {
        return None;
    }
    let first = mass(&pieces[at])?;
    let stroke = pieces.get(at + 1)?;
    if stroke.lex != Lex::Sign('/') || stroke.spaced {
        return None;
    }
    let second = pieces.get(at + 2).filter(|piece| !piece.spaced)?;
    let longer = pieces.get(at + 3).is_some_and(|piece| {
        !piece.spaced && matches!(piece.lex, Lex::Sign('/' | '-') | Lex::Word(_))
    });
    let second = mass(second)?;
    let known = |mass: f64| MASSES.iter().any(|known| f64::from(*known) == mass);
    (!longer && known(first) && known(second)).then(|| (Sort::Mass, vec![first, second], at + 3))
}

/// `40 min`, `1.5h`, `18 K`, `400W`, `28 amu`.
fn with_unit(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    if glued(pieces, at) {
        return None;
    }
    let value = number(&pieces[at])?;
    let unit = pieces.get(at + 1)?;
    let Lex::Word(word) = unit.lex else {
        return None;
    };
    let more = pieces.get(at + 2);
    let goes_on = more.is_some_and(|piece| {
        matches!(piece.lex, Lex::Sign('/' | '·')) && !piece.spaced
            || ["ohm", "ohms", "rpm", "hz"]
                .iter()
                .any(|other| piece.is_word(other))
    });
    if goes_on {
        return None;
    }
    let (sort, value) = match word.to_lowercase().as_str() {
        "s" | "sec" | "secs" | "second" | "seconds" => (Sort::Minutes, value / 60.0),
        "min" | "mins" | "minute" | "minutes" => (Sort::Minutes, value),
        "h" | "hr" | "hrs" | "hour" | "hours" => (Sort::Minutes, value * 60.0),
        "day" | "days" => (Sort::Minutes, value * 1_440.0),
        "k" | "kelvin" if (2.0..=400.0).contains(&value) => (Sort::Kelvin, value),
        "w" | "watt" | "watts" => (Sort::Watts, value),
        "kw" => (Sort::Watts, value * 1e3),
        "amu" => (Sort::Mass, mass(&pieces[at])?),
        _ => return None,
    };
    Some((sort, vec![value], at + 2))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn read_all(text: &str) -> Vec<(Sort, f64)> {
        let found = quantities(text, &[]).into_iter();
        found
            .map(|quantity| (quantity.sort, quantity.value))
            .collect()
    }

    #[test]
    fn the_spellings_people_use_are_read() {
        use Sort::{Kelvin, Mass, Minutes, Watts};
        for (text, expected) in [
            ("second stage at 18 K", vec![(Kelvin, 18.0)]),
            ("head 18K, not 12k", vec![(Kelvin, 18.0), (Kelvin, 12.0)]),
            ("turbo draws 0.4 kW now", vec![(Watts, 400.0)]),
            ("drive 400W", vec![(Watts, 400.0)]),
            ("1.5 h to crossover", vec![(Minutes, 90.0)]),
            (
                "40min, was 20 minutes",
                vec![(Minutes, 40.0), (Minutes, 20.0)],
            ),
            ("28/32 is 4:1", vec![(Mass, 28.0), (Mass, 32.0)]),
            (
                "mass 40 there, m/z 18 high",
                vec![(Mass, 40.0), (Mass, 18.0)],
            ),
            ("masses 28 and 32", vec![(Mass, 28.0), (Mass, 32.0)]),
            ("44 amu up", vec![(Mass, 44.0)]),
        ] {
            assert_eq!(read_all(text), expected, "{text:?}");
        }
    }

    #[test]
    fn what_is_no_such_quantity_is_not_read_as_one() {
        for text in [
            "BRK-04 K",
            "5e-6 torr",
            "28/02/2025",
            "3/4 turn",
            "10 k ohm",
            "eighteen kelvin",
            "120 l/s",
            "3 W/m",
            "mass spectrometer",
            "07:40 min",
        ] {
            assert_eq!(read_all(text), [], "{text:?}");
        }
        let text = "stuck at 40 K here";
        assert_eq!(quantities(text, std::slice::from_ref(&(9..11))), []);
    }

    #[test]
    fn near_values_are_near_and_masses_have_to_be_right() {
        let one = |text: &str| quantities(text, &[]).remove(0);
        assert!(one("18 K").is_near(&one("17 K")));
        assert!(!one("18 K").is_near(&one("40 K")));
        assert!(!one("18 K").is_near(&one("18 W")));
        assert!(one("mass 28").is_near(&one("28 amu")));
        assert!(!one("mass 28").is_near(&one("mass 29")));
    }

    proptest! {
        #[test]
        fn any_text_is_read_without_panic(text in ".{0,120}") {
            for quantity in quantities(&text, &[]) {
                prop_assert!(quantity.value.is_finite() && quantity.value > 0.0);
                prop_assert!(text.get(quantity.place).is_some());
            }
        }

        #[test]
        fn text_like_quantities_is_read_without_panic(
            text in "([0-9]{1,3}|[.,/:-]|K|W|min|h|kW|mass|and|m/z|amu| ){0,30}"
        ) {
            let _ = quantities(&text, &[]);
        }
    }
}
