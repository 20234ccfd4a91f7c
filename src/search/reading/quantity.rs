//! Quantities other than pressures in free text, where a near value tells of a like case: minutes,
//! the temperature of a cold head in kelvin, the power of a drive in watts, and mass numbers.
//!
//! Read in the spellings people use (`18 K`, `18K`, `1.5 h`, `0.4 kW`, `mass 40`, `28/32`, `m/z 18`,
//! `12,100 h`, `RGA shows 43 and 58`);
//! numbers in words are not. A mass number is a name and has to be right; the others are near if they
//! differ by little. Pure; never panics.

mod masses;

use std::ops::Range;

use super::{
    lexer::{Lex, Piece, lex},
    pressure::{of_before, peaks},
};
pub(in crate::search) use masses::{
    is_known as is_known_mass, is_sure as is_sure_mass, tells_spectrum,
};

/// What a quantity is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::search) enum Sort {
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
    pub(in crate::search) const ALL: [Self; 4] =
        [Self::Minutes, Self::Kelvin, Self::Watts, Self::Mass];

    /// The name of its column.
    pub(in crate::search) fn column(self) -> &'static str {
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
pub(in crate::search) struct Quantity {
    /// What of.
    pub(in crate::search) sort: Sort,
    /// In the unit of its sort.
    pub(in crate::search) value: f64,
    /// As typed.
    pub(in crate::search) shown: String,
    /// Where it stands, in bytes.
    pub(in crate::search) place: Range<usize>,
    /// Whether it was so before, or ought to be.
    pub(in crate::search) before: bool,
    /// Whether it is said not to be there.
    pub(in crate::search) denied: bool,
}

/// So near, as a share of the value, is as good as right; so near is still near.
pub(in crate::search) const CLOSE: f64 = 0.1;
pub(in crate::search) const NEAR: f64 = 0.3;

/// Quantities read of one text at most.
const MOST: usize = 16;

impl Quantity {
    /// The ends between which another of its sort is near, `share` of the value off; a mass has to
    /// be right.
    pub(in crate::search) fn around(&self, share: f64) -> (f64, f64) {
        match self.sort {
            Sort::Mass => (self.value - 0.25, self.value + 0.25),
            _ => (self.value * (1.0 - share), self.value * (1.0 + share)),
        }
    }

    /// Whether it says nothing of how things are at the fault.
    pub(in crate::search) fn aside(&self) -> bool {
        self.before || self.denied
    }

    /// Whether another is of the same sort and near.
    pub(in crate::search) fn is_near(&self, other: &Self) -> bool {
        let (low, high) = self.around(NEAR);
        self.sort == other.sort && (low..=high).contains(&other.value)
    }
}

/// Every quantity of a text, those that overlap one of `taken` (its pressures) left out.
pub(in crate::search) fn quantities(text: &str, taken: &[Range<usize>]) -> Vec<Quantity> {
    quantities_in(text, &lex(text), taken)
}

/// The same of a text that is in pieces already.
pub(in crate::search) fn quantities_in(
    text: &str,
    pieces: &[Piece<'_>],
    taken: &[Range<usize>],
) -> Vec<Quantity> {
    let mut found: Vec<Quantity> = Vec::new();
    let mut at = 0;
    let peaks = peaks(pieces);
    while at < pieces.len() && found.len() < MOST {
        if let Some(peak) = peaks.iter().find(|peak| peak.pieces.start == at) {
            let place = pieces[at].from..pieces[peak.pieces.end - 1].to;
            at = peak.pieces.end;
            if peak.stands_out(&peaks) {
                found.push(Quantity {
                    sort: Sort::Mass,
                    value: peak.mass,
                    shown: text[place.clone()].to_owned(),
                    place,
                    before: false,
                    denied: false,
                });
            }
            continue;
        }
        let inside = |next: usize| {
            let mut peaks = peaks.iter();
            peaks.any(|peak| at < peak.pieces.start && peak.pieces.start < next)
        };
        let Some((sort, values, next)) = read(pieces, at).filter(|(_, _, next)| !inside(*next))
        else {
            at += 1;
            continue;
        };
        let place = pieces[at].from..pieces[next - 1].to;
        let free = |range: &Range<usize>| range.end <= place.start || place.end <= range.start;
        if taken.iter().all(free) {
            let denied = sort == Sort::Mass && (denied(pieces, at) || denied_behind(pieces, next));
            let before = sort != Sort::Mass && of_before(pieces, at, next);
            for value in values {
                found.push(Quantity {
                    sort,
                    value,
                    shown: text[place.clone()].to_owned(),
                    place: place.clone(),
                    before,
                    denied,
                });
            }
        }
        at = next;
    }
    found
}

/// Whether a mass that is read from here on is said not to be there: `no mass 32`.
fn denied(pieces: &[Piece<'_>], at: usize) -> bool {
    let own = |at: usize| is_any(&pieces[at], &["no", "not", "without", "nor"]);
    own(at) || at.checked_sub(1).is_some_and(own)
}

/// The same said behind it: `mass 18 not there`, `mass 32 absent`.
fn denied_behind(pieces: &[Piece<'_>], next: usize) -> bool {
    const THERE: [&str; 6] = ["there", "present", "seen", "visible", "found", "up"];
    let is = |at: usize, words: &[&str]| pieces.get(at).is_some_and(|piece| is_any(piece, words));
    let next = next + usize::from(is(next, &["is", "are", "was"]));
    is(next, &["absent", "missing"]) || (is(next, &["not"]) && is(next + 1, &THERE))
}

type Read = (Sort, Vec<f64>, usize);

fn read(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    match pieces[at].lex {
        Lex::Word(word) if !may_begin(word) => None,
        Lex::Word(_) => named_masses(pieces, at)
            .or_else(|| no_mass(pieces, at))
            .or_else(|| glued_mass(pieces, at))
            .or_else(|| half_hour(pieces, at)),
        Lex::Number(_) => ratio(pieces, at)
            .or_else(|| clock_hours(pieces, at))
            .or_else(|| range(pieces, at))
            .or_else(|| with_unit(pieces, at))
            .or_else(|| masses::of_a_scan(pieces, at)),
        _ => None,
    }
}

/// Whether a quantity may begin with this word; most words of a text are told by their first letter.
fn may_begin(word: &str) -> bool {
    matches!(
        word.as_bytes().first(),
        Some(b'm' | b'M' | b'a' | b'A' | b'p' | b'P' | b'n' | b'N' | b'w' | b'W' | b'h' | b'H')
    )
}

fn number(piece: &Piece<'_>) -> Option<f64> {
    let Lex::Number(figures) = piece.lex else {
        return None;
    };
    let value: f64 = match figures.contains(',') {
        true => plain(figures).parse().ok()?,
        false => figures.parse().ok()?,
    };
    (value > 0.0 && value < 1e7).then_some(value)
}

/// A number without the commas between its thousands, and with a point for a comma before its decimals.
fn plain(figures: &str) -> String {
    let whole = figures.split('.').next().unwrap_or_default();
    let mut groups = whole.split(',');
    let first = groups.next().unwrap_or_default();
    let thousands = groups.clone().count() > 0
        && (1..=3).contains(&first.len())
        && !first.starts_with('0')
        && groups.all(|group| group.len() == 3);
    figures.replace(',', if thousands { "" } else { "." })
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

fn is_any(piece: &Piece<'_>, words: &[&str]) -> bool {
    words.iter().any(|word| piece.is_word(word))
}

/// `mass 40`, `masses 28, 32 and 40`, `mass number 28`, `m/z 18`, `m/z=28`, `amu 28`, `peak at 18`.
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
    let names = ["mass", "masses", "amu", "peak", "peaks", "mz"];
    let mut next = if is_any(&pieces[at], &names) {
        at + 1
    } else if pieces[at].is_word("m")
        && pieces.get(at + 1)?.lex == Lex::Sign('/')
        && is_any(pieces.get(at + 2)?, &["z", "e", "q"])
    {
        at + 3
    } else {
        return None;
    };
    // `28 peak no 32 peak` denies, and names no number of a peak.
    let peak = is_any(&pieces[at], &["peak", "peaks"]);
    while pieces.get(next).is_some_and(|piece| {
        is_any(piece, &["number", "numbers", "nr", "of", "at"])
            || (!peak && piece.is_word("no"))
            || matches!(piece.lex, Lex::Sign('=' | ':' | '#' | '~'))
    }) {
        next += 1;
    }
    let mut masses = listed(pieces.get(next)?)?;
    next += 1;
    while let Some((another, after)) = another_mass(pieces, next) {
        masses.extend(another);
        next = after;
    }
    // `Peak 40 A` is a current; `mass 28 amu` says it twice.
    match pieces.get(next) {
        Some(unit) if is_any(unit, &["amu", "u", "da"]) => next += 1,
        Some(unit)
            if is_any(
                unit,
                &["a", "ma", "v", "kv", "c", "kg", "g", "rpm", "times"],
            ) || of_unit(pieces, next, 1.0).is_some() =>
        {
            return None;
        }
        _ => {}
    }
    Some((Sort::Mass, masses, next))
}

/// The 32 of `mass 28 no 32` and of `rga: no 28`, from the word before it on. Elsewhere `no 28` counts.
fn no_mass(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    const KNOWN: [f64; 13] = [
        12.0, 14.0, 16.0, 17.0, 18.0, 20.0, 28.0, 29.0, 32.0, 36.0, 40.0, 43.0, 44.0,
    ];
    if !is_any(&pieces[at], &["no", "without", "nor"]) {
        return None;
    }
    let mass = mass(pieces.get(at + 1)?).filter(|mass| KNOWN.contains(mass))?;
    let ends = pieces.get(at + 2).is_none_or(|piece| match piece.lex {
        Lex::Word(_) => is_any(
            piece,
            &[
                "and", "nor", "or", "but", "no", "at", "in", "on", "to", "peak", "peaks",
            ],
        ),
        Lex::Sign(sign) => matches!(sign, ',' | ';' | ')' | '?' | '.'),
        _ => false,
    });
    let spectrum = pieces[..at].iter().any(|piece| {
        let names = [
            "mass", "masses", "rga", "scan", "spectrum", "peak", "peaks", "amu", "residual",
        ];
        is_any(piece, &names) || matches!(piece.lex, Lex::Number("28" | "18" | "32" | "40" | "44"))
    });
    (ends && (at == 0 || spectrum)).then(|| (Sort::Mass, vec![mass], at + 2))
}

/// Masses with nothing but commas between them, which look like one number: `18,28`.
fn listed(piece: &Piece<'_>) -> Option<Vec<f64>> {
    let Lex::Number(figures) = piece.lex else {
        return None;
    };
    let each = figures.split(',').map(|figures| {
        let lex = Lex::Number(figures);
        mass(&Piece { lex, ..*piece })
    });
    each.collect()
}

/// The masses after a comma, a stroke or `and`.
fn another_mass(pieces: &[Piece<'_>], at: usize) -> Option<(Vec<f64>, usize)> {
    let linked = |piece: &Piece<'_>| {
        is_any(piece, &["and", "or", "to", "vs"])
            || matches!(piece.lex, Lex::Sign(',' | '/' | '&' | '+' | ':'))
    };
    let mut next = at;
    while next < at + 2 && pieces.get(next).is_some_and(linked) {
        next += 1;
    }
    if next == at && is_any(pieces.get(at)?, &["with"]) {
        let with = listed(pieces.get(at + 1)?)?;
        return with.iter().all(masses::is_sure).then_some((with, at + 2));
    }
    (next > at).then_some(())?;
    Some((listed(pieces.get(next)?)?, next + 1))
}

/// `m28`: letter and mass in one. Screws are called so too, of which none has these sizes.
fn glued_mass(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    const NO_SCREW: [f64; 9] = [17.0, 18.0, 28.0, 29.0, 32.0, 40.0, 43.0, 44.0, 45.0];
    if !pieces[at].is_word("m") || at.checked_sub(1).is_some_and(|_| !pieces[at].spaced) {
        return None;
    }
    let figures = pieces.get(at + 1).filter(|piece| !piece.spaced)?;
    let mass = mass(figures).filter(|mass| NO_SCREW.contains(mass))?;
    let longer = pieces.get(at + 2).is_some_and(|piece| {
        !piece.spaced && matches!(piece.lex, Lex::Word(_) | Lex::Sign('x' | '×' | '-'))
    });
    (!longer).then(|| (Sort::Mass, vec![mass], at + 2))
}

/// `28/32`, `28/32/40`: masses that are compared.
fn ratio(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    if glued(pieces, at) {
        return None;
    }
    let mut masses = vec![mass(&pieces[at])?];
    let mut next = at + 1;
    while let [stroke, another, ..] = pieces.get(next..)?
        && stroke.lex == Lex::Sign('/')
        && !stroke.spaced
        && !another.spaced
    {
        masses.push(mass(another)?);
        next += 2;
    }
    let longer = pieces.get(next).is_some_and(|piece| {
        !piece.spaced && matches!(piece.lex, Lex::Sign('/' | '-') | Lex::Word(_))
    });
    (masses.len() > 1 && !longer && masses.iter().all(masses::is_known)).then_some((
        Sort::Mass,
        masses,
        next,
    ))
}

/// `1:30 h`.
fn clock_hours(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    if glued(pieces, at) {
        return None;
    }
    let [hours, colon, minutes, unit, ..] = pieces.get(at..)? else {
        return None;
    };
    let hours = match hours.lex {
        Lex::Number("0" | "00") => 0.0,
        _ => number(hours)?,
    };
    let Lex::Number(figures) = minutes.lex else {
        return None;
    };
    let joined = colon.lex == Lex::Sign(':') && !colon.spaced && !minutes.spaced;
    let minutes: f64 = figures.parse().ok().filter(|minutes| *minutes < 60.0)?;
    let value = hours * 60.0 + minutes;
    (joined
        && figures.len() == 2
        && hours.fract() == 0.0
        && value > 0.0
        && is_any(unit, &["h", "hr", "hrs", "hour", "hours"]))
    .then(|| (Sort::Minutes, vec![value], at + 4))
}

/// `half an hour`.
fn half_hour(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    if !pieces[at].is_word("half") {
        return None;
    }
    let next = at + 1 + usize::from(is_any(pieces.get(at + 1)?, &["an", "a"]));
    is_any(pieces.get(next)?, &["hour", "hr", "h"]).then(|| (Sort::Minutes, vec![30.0], next + 1))
}

/// `40-60 min`, `10 to 12 K`: both ends.
fn range(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    if glued(pieces, at) {
        return None;
    }
    let first = number(&pieces[at])?;
    let link = pieces.get(at + 1)?;
    if !(link.is_word("to") || matches!(link.lex, Lex::Sign('-' | '–' | '—'))) {
        return None;
    }
    let second = number(pieces.get(at + 2)?)?;
    let (sort, low) = of_unit(pieces, at + 3, first).map(|(sort, value, _)| (sort, value))?;
    let (_, high, next) = of_unit(pieces, at + 3, second)?;
    (low < high && sort != Sort::Mass).then(|| (sort, vec![low, high], next))
}

/// `40 min`, `1.5h`, `1 h 30`, `18 K`, `400W`, `28 amu`.
fn with_unit(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    if glued(pieces, at) {
        return None;
    }
    let value = number(&pieces[at])?;
    let (sort, mut value, mut next) = of_unit(pieces, at + 1, value)?;
    if sort == Sort::Kelvin && counts_hours(pieces, at, next) {
        return None;
    }
    if sort == Sort::Minutes
        && let Some((more, after)) = smaller_time(pieces, next, value)
    {
        (value, next) = (value + more, after);
    }
    Some((sort, vec![value], next))
}

/// Whether thousands of hours are told: `12k hours`, `hrs meter 10.4k`.
fn counts_hours(pieces: &[Piece<'_>], at: usize, next: usize) -> bool {
    const HOURS: [&str; 5] = ["h", "hr", "hrs", "hour", "hours"];
    let before = &pieces[at.saturating_sub(3)..at];
    let behind = pieces.get(next).is_some_and(|piece| is_any(piece, &HOURS));
    let glued = pieces
        .get(at + 1)
        .is_some_and(|piece| piece.is_word("k") && !piece.spaced);
    glued && (behind || before.iter().any(|piece| is_any(piece, &HOURS)))
}

/// The minutes after hours: `1 h 30`, `1h30m`, `2 hours and 15 min`, `1 day 4 h`.
fn smaller_time(pieces: &[Piece<'_>], at: usize, larger: f64) -> Option<(f64, usize)> {
    let at = at + usize::from(pieces.get(at)?.is_word("and"));
    let value = number(pieces.get(at)?)?;
    let hours = larger >= 60.0 && larger % 60.0 == 0.0;
    if let Some((Sort::Minutes, more, next)) = of_unit(pieces, at + 1, value) {
        let smaller = value.fract() == 0.0 && more < larger && (hours || more < 1.0);
        return smaller.then_some((more, next));
    }
    if hours
        && value < 60.0
        && pieces
            .get(at + 1)
            .is_some_and(|p| p.is_word("m") && !p.spaced)
    {
        return Some((value, at + 2));
    }
    let two = matches!(pieces[at].lex, Lex::Number(figures) if figures.len() == 2 && value < 60.0);
    let ends = pieces.get(at + 1).is_none_or(|next| match next.lex {
        Lex::Sign(sign) => matches!(sign, ',' | ';' | ')' | '?'),
        _ => next.spaced && !pieces[at].spaced,
    });
    (hours && larger < 1_440.0 && two && ends).then_some((value, at + 1))
}

/// A number of a unit, in the unit of its sort, and the piece after it.
fn of_unit(pieces: &[Piece<'_>], at: usize, value: f64) -> Option<(Sort, f64, usize)> {
    let mut at = at;
    let degrees = |piece: &Piece<'_>| {
        is_any(piece, &["deg", "degs", "degree", "degrees"]) || piece.lex == Lex::Sign('°')
    };
    let of_degrees = pieces.get(at).is_some_and(degrees);
    at += usize::from(of_degrees);
    let Lex::Word(word) = pieces.get(at)?.lex else {
        return None;
    };
    let goes_on = pieces.get(at + 1).is_some_and(|piece| {
        matches!(piece.lex, Lex::Sign('/' | '·')) && !piece.spaced
            || is_any(piece, &["ohm", "ohms", "rpm", "hz"])
    });
    if goes_on {
        return None;
    }
    let lowered;
    let small = match word.bytes().all(|b| b.is_ascii_lowercase()) {
        true => word,
        false => {
            lowered = word.to_lowercase();
            lowered.as_str()
        }
    };
    let (sort, value) = match small {
        "k" | "kelvin" | "kelvins" | "degk" if (2.0..=400.0).contains(&value) => {
            (Sort::Kelvin, value)
        }
        _ if of_degrees => return None,
        "s" | "sec" | "secs" | "second" | "seconds" => (Sort::Minutes, value / 60.0),
        "min" | "mins" | "minute" | "minutes" => (Sort::Minutes, value),
        "h" | "hr" | "hrs" | "hour" | "hours" => (Sort::Minutes, value * 60.0),
        "day" | "days" => (Sort::Minutes, value * 1_440.0),
        "week" | "weeks" | "wk" | "wks" => (Sort::Minutes, value * 10_080.0),
        "w" | "watt" | "watts" => (Sort::Watts, value),
        "kw" | "kilowatt" | "kilowatts" => (Sort::Watts, value * 1e3),
        "amu" if value.fract() == 0.0 && (1.0..=300.0).contains(&value) => (Sort::Mass, value),
        _ => return None,
    };
    Some((sort, value, at + 1))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn read_all(text: &str) -> Vec<(Sort, f64)> {
        let found = quantities(text, &[]).into_iter();
        let found = found.filter(|quantity| !quantity.aside());
        found
            .map(|quantity| (quantity.sort, quantity.value))
            .collect()
    }

    #[test]
    fn the_spellings_people_use_are_read() {
        use Sort::{Kelvin, Mass, Minutes, Watts};
        for (text, expected) in [
            ("second stage at 18 K", vec![(Kelvin, 18.0)]),
            ("head 18K, not 12k", vec![(Kelvin, 18.0)]),
            (
                "roughing takes 25 minutes, usually 12 min",
                vec![(Minutes, 25.0)],
            ),
            ("12 K before, 28 K now", vec![(Kelvin, 28.0)]),
            ("mass 28, no mass 32", vec![(Mass, 28.0)]),
            ("mass 28 no 32", vec![(Mass, 28.0)]),
            ("rga: no 28 and no 18", vec![]),
            ("RGA shows 43 and 58", vec![(Mass, 43.0), (Mass, 58.0)]),
            ("Analyser 40 and 20 only", vec![(Mass, 40.0), (Mass, 20.0)]),
            ("a 43/58 pair", vec![(Mass, 43.0), (Mass, 58.0)]),
            ("analyser 2 h later", vec![(Minutes, 120.0)]),
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
            (
                "scan 28/32/40 like air",
                vec![(Mass, 28.0), (Mass, 32.0), (Mass, 40.0)],
            ),
            (
                "2/18/28/44",
                vec![(Mass, 2.0), (Mass, 18.0), (Mass, 28.0), (Mass, 44.0)],
            ),
            (
                "peaks 28, 32, 40",
                vec![(Mass, 28.0), (Mass, 32.0), (Mass, 40.0)],
            ),
            (
                "masses 28, 32 and 40",
                vec![(Mass, 28.0), (Mass, 32.0), (Mass, 40.0)],
            ),
            ("m/z=28", vec![(Mass, 28.0)]),
            ("m/z 18,28", vec![(Mass, 18.0), (Mass, 28.0)]),
            ("M/Z: 44", vec![(Mass, 44.0)]),
            ("amu 40", vec![(Mass, 40.0)]),
            ("amu=2", vec![(Mass, 2.0)]),
            ("mass18 up", vec![(Mass, 18.0)]),
            ("18amu up", vec![(Mass, 18.0)]),
            ("mass number 28", vec![(Mass, 28.0)]),
            ("mass of 44", vec![(Mass, 44.0)]),
            ("peak at 18", vec![(Mass, 18.0)]),
            ("mass 28 amu", vec![(Mass, 28.0)]),
            ("m40", vec![(Mass, 40.0)]),
            ("m28 high", vec![(Mass, 28.0)]),
            ("1.5h", vec![(Minutes, 90.0)]),
            ("1h 30", vec![(Minutes, 90.0)]),
            ("1h30", vec![(Minutes, 90.0)]),
            ("1h30m", vec![(Minutes, 90.0)]),
            ("1 h 30 min", vec![(Minutes, 90.0)]),
            ("2 hours and 15 minutes", vec![(Minutes, 135.0)]),
            ("1:30 h", vec![(Minutes, 90.0)]),
            ("0:45 h", vec![(Minutes, 45.0)]),
            ("1 day 4 h", vec![(Minutes, 1_680.0)]),
            ("half an hour", vec![(Minutes, 30.0)]),
            ("half hour", vec![(Minutes, 30.0)]),
            ("2 weeks", vec![(Minutes, 20_160.0)]),
            ("40-60 min", vec![(Minutes, 40.0), (Minutes, 60.0)]),
            ("40 to 60 min", vec![(Minutes, 40.0), (Minutes, 60.0)]),
            ("10 – 12 K", vec![(Kelvin, 10.0), (Kelvin, 12.0)]),
            ("18 deg K", vec![(Kelvin, 18.0)]),
            ("18°K", vec![(Kelvin, 18.0)]),
            ("turbo 400 watts", vec![(Watts, 400.0)]),
            // A comma between thousands is no decimal one.
            ("12,100 h since last set", vec![(Minutes, 726_000.0)]),
            ("2,500 W", vec![(Watts, 2_500.0)]),
            ("0,125 h", vec![(Minutes, 7.5)]),
            // Masses beside what shows them.
            (
                "The analyser shows 28, 32, 14 and 40, so it is air",
                vec![(Mass, 28.0), (Mass, 32.0), (Mass, 14.0), (Mass, 40.0)],
            ),
            (
                "rga 41 43 55 57, so glue",
                vec![(Mass, 41.0), (Mass, 43.0), (Mass, 55.0), (Mass, 57.0)],
            ),
            (
                "07:00 scan: 18 and 17, almost nothing",
                vec![(Mass, 18.0), (Mass, 17.0)],
            ),
            ("Analyser is all 18.", vec![(Mass, 18.0)]),
            (
                "RGA full of junk at 43 and 57.",
                vec![(Mass, 43.0), (Mass, 57.0)],
            ),
            ("2.6e-6 and 57 on the scan", vec![(Mass, 57.0)]),
            ("58 gone from the scan", vec![(Mass, 58.0)]),
            ("28 peak high", vec![(Mass, 28.0)]),
            ("Mass 43 with 45 is high", vec![(Mass, 43.0), (Mass, 45.0)]),
            ("is 1 hour and not 25 minute", vec![(Minutes, 60.0)]),
            ("goes from 12 K to 21 K", vec![(Kelvin, 21.0)]),
            ("0.4kW", vec![(Watts, 400.0)]),
            ("0,4 kW", vec![(Watts, 400.0)]),
        ] {
            assert_eq!(read_all(text), expected, "{text:?}");
        }
        let masses = |text: &str| {
            let found = quantities(text, &[]).into_iter();
            let denied = found.filter(|quantity| quantity.denied);
            denied.map(|quantity| quantity.value).collect::<Vec<_>>()
        };
        for (text, denied) in [
            ("mass 28 no 32", &[32.0][..]),
            ("rga no 28", &[28.0]),
            ("no 32", &[32.0]),
            ("no m/z 32", &[32.0]),
            ("28 without 32", &[32.0]),
            ("post no 2 hot", &[]),
            ("no 12 K", &[]),
            ("pump no 28 noisy", &[]),
        ] {
            assert_eq!(masses(text), denied, "{text}");
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
            "M8 bolts",
            "M12x40",
            "peak 40 A",
            "2025/03/04",
            "28/32-4",
            "BRK-28/32",
            "mass flow 20 sccm",
            "-255 deg C",
            "06:40 flat",
            "analyser swapped 28 Feb",
            "RGA shows 5 peaks",
            "rga head on gun 2",
            "scan 40 times",
            "analyser reads 28 %",
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
