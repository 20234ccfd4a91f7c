//! Pressures in free text, as people at tools write them.
//!
//! Finds every pressure in a symptom, a note or a query: `5.3E-5 mbar`, `4e-5`,
//! `5x10^-6 Torr`, `2,3e-4`, `mid -6s torr`, `four minus six`, `between 1e-6 and 1e-5 torr`,
//! `below 1e-6`, `was 3e-7, now 4e-5`.
//! Pure: no I/O, no index, no catalogue. Never panics. Logarithms are to the base ten; those of a
//! [`Reading`] are of the number in its unit, so that a number without a unit can be read
//! in the unit of whoever wrote it.

mod bound;
mod number;
mod peaks;
mod told;
mod unit;

use std::ops::Range;

use super::lexer::{Lex, Piece, lex};
use crate::vacuum::units::PressureUnit;
use bound::Side;
use number::{Number, number};
pub(in crate::search) use peaks::{Peak, peaks};
pub(in crate::search) use told::{of_before, tells_place};

/// Numbers outside these powers of ten, in pascals, are no pressure of a vacuum tool.
const POWERS: Range<f64> = -11.0..5.3;

/// What a number says about the tool.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::search) enum Told {
    /// What it reads, or read when it was called in.
    Now,
    /// What it read before, or ought to.
    Before,
    /// What is read at another place than the chamber.
    Elsewhere,
    /// What it came to after the fault, or was at another place before: cases are not compared by it.
    Aside,
}

/// A pressure, or a stretch of pressures, in a text.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::search) struct Reading {
    /// Where it stands, in bytes, with the words that belong to it.
    pub(in crate::search) place: Range<usize>,
    /// Where its number stands.
    pub(in crate::search) number: Range<usize>,
    /// Power of ten of the lower end, in its unit; infinite if open.
    pub(in crate::search) low: f64,
    /// Power of ten of the upper end, in its unit; infinite if open.
    pub(in crate::search) high: f64,
    /// The unit, if one was written.
    pub(in crate::search) unit: Option<PressureUnit>,
    /// What it says.
    pub(in crate::search) told: Told,
    /// Whether it was written as a range with two ends, or with one that keeps others out.
    pub(in crate::search) bounded: bool,
}

impl Reading {
    /// Its two ends as powers of ten of pascals, where a number without unit is in `unit`.
    pub(in crate::search) fn pascals(&self, unit: PressureUnit) -> (f64, f64) {
        let scale = scale(self.unit.unwrap_or(unit));
        (self.low + scale, self.high + scale)
    }

    /// Itself in the text it was read of: with the words that bound it only where they do.
    pub(in crate::search) fn shown<'a>(&self, text: &'a str) -> &'a str {
        let place = match self.bounded {
            true => &self.place,
            false => &self.number,
        };
        text[place.clone()].trim()
    }

    /// The same taken as near its ends, with nothing kept out.
    pub(in crate::search) fn without_bounds(mut self) -> Self {
        self.bounded = false;
        if self.low.is_infinite() {
            self.low = self.high;
        }
        if self.high.is_infinite() {
            self.high = self.low;
        }
        self
    }

    fn plausible(&self) -> bool {
        let scale = self.unit.map_or(0.0, scale);
        let fits = |power: f64| power.is_infinite() || POWERS.contains(&(power + scale));
        !self.low.is_nan() && !self.high.is_nan() && fits(self.low) && fits(self.high)
    }
}

/// The power of ten of one unit, in pascals.
pub(in crate::search) fn scale(unit: PressureUnit) -> f64 {
    unit.pascals_per_unit().log10()
}

/// Every pressure in a text, in order, none overlapping another.
pub(in crate::search) fn readings(text: &str) -> Vec<Reading> {
    readings_in(&lex(text))
}

/// The same of a text in pieces.
pub(in crate::search) fn readings_in(pieces: &[Piece<'_>]) -> Vec<Reading> {
    let mut found: Vec<Found> = Vec::new();
    let mut at = 0;
    while at < pieces.len() {
        if !may_begin(&pieces[at]) {
            at += 1;
            continue;
        }
        let done = found.last().map_or(0, |found| found.next);
        match read(pieces, at, done) {
            Some((new, next)) => {
                found.extend(new.into_iter().filter(|new| new.reading.plausible()));
                at = next;
            }
            None => at += 1,
        }
    }
    let labelled = |found: &Found| {
        let before = found.first.checked_sub(1).map(|before| pieces[before].lex);
        matches!(before, Some(Lex::Sign('=' | ':')))
    };
    if found.iter().any(labelled) {
        let peaks = peaks(pieces);
        let height = |found: &Found| peaks.iter().any(|peak| peak.pieces.contains(&found.first));
        found.retain(|found| !height(found));
    }
    if !found.is_empty() {
        bound::join(pieces, &mut found);
        told::settle(pieces, &mut found);
    }
    found.into_iter().map(|found| found.reading).collect()
}

/// Where a text tells a rate of rise, a leak rate or a flow, which is no pressure and no word either.
pub(in crate::search) fn rates(text: &str) -> Vec<Range<usize>> {
    let pieces = lex(text);
    let numbers = (0..pieces.len()).filter(|at| matches!(pieces[*at].lex, Lex::Number(_)));
    let rate = |at: usize| Some(pieces[at].from..pieces[number::rate(&pieces, at)? - 1].to);
    numbers.filter_map(rate).collect()
}

/// Where the end of a pressure ends with which a text begins, `mbar after reload`, `minus six all night`: texts hold
/// no words of pressures.
pub(in crate::search) fn tail(text: &str) -> usize {
    let begun = ["4e-5 ", "four "].map(|begins| {
        let reading = readings(&format!("{begins}{text}")).into_iter().next();
        let number = reading.map(|reading| reading.number);
        let end = number.filter(|number| number.start == 0).map(|own| own.end);
        end.and_then(|end| end.checked_sub(begins.len()))
    });
    begun.into_iter().flatten().max().unwrap_or_default()
}

/// Where a text gives peaks of a spectrum with their heights, which are no pressures of the tool.
pub(in crate::search) fn heights(text: &str) -> Vec<Range<usize>> {
    let pieces = lex(text);
    let peaks = peaks(&pieces);
    let place = |peak: &Peak| pieces[peak.pieces.start].from..pieces[peak.pieces.end - 1].to;
    peaks.iter().map(place).collect()
}

/// A reading with its pieces.
struct Found {
    reading: Reading,
    first: usize,
    next: usize,
    /// Whether the text itself ties it to a time, as `from .. to` does.
    settled: bool,
    /// Whether it changed to the next one, or from it.
    paired: bool,
}

impl Found {
    fn of(pieces: &[Piece<'_>], first: usize, next: usize, ends: (f64, f64)) -> Self {
        Self {
            reading: Reading {
                place: pieces[first].from..pieces[next - 1].to,
                number: pieces[first].from..pieces[next - 1].to,
                low: ends.0,
                high: ends.1,
                unit: None,
                told: Told::Now,
                bounded: false,
            },
            first,
            next,
            settled: false,
            paired: false,
        }
    }
}

/// Whether a pressure may begin with this piece; most words of a text are passed over by it.
fn may_begin(piece: &Piece<'_>) -> bool {
    match piece.lex {
        Lex::Number(_) => true,
        Lex::Sign(sign) => matches!(sign, '<' | '≤' | '>' | '≥' | '-' | '−' | '–' | '.'),
        Lex::Word(word) => number::may_begin(word),
        Lex::Raised(_) => false,
    }
}

fn read(pieces: &[Piece<'_>], at: usize, done: usize) -> Option<(Vec<Found>, usize)> {
    if (at > 0 && glued_to_word(pieces, at)) || of_moment(pieces, at) {
        return None;
    }
    let sign = bound::sign(pieces, at);
    let from = at + sign.map_or(0, |(_, used)| used);
    let mut first = number(pieces, from)?;
    if sign.is_none()
        && let Some(pair) = pair(pieces, from, first, done)
    {
        return Some(pair);
    }
    if !first.sure {
        return None;
    }
    if of_helium(pieces, at, &first) {
        return Some((Vec::new(), first.next));
    }
    let (start, next, side) = match sign {
        Some((side, _)) => (at, first.next, Some(side)),
        None => match bound::open_end(pieces, from, first.next) {
            Some(next) => {
                let unit = first.unit.is_none().then(|| unit::unit(pieces, next));
                first.unit = first.unit.or(unit.flatten().map(|(unit, _)| unit));
                let used = unit.flatten().map_or(0, |(_, used)| used);
                (from, next + used, Some(Side::Above))
            }
            None => bound::worded(pieces, from, first.next, done),
        },
    };
    let (mut low, mut high) = first.ends();
    match side {
        Some(Side::Below) => low = f64::NEG_INFINITY,
        Some(Side::Above) => high = f64::INFINITY,
        None => {}
    }
    let mut found = Found::of(pieces, start, next, (low, high));
    found.reading.unit = first.unit.map(|unit| unit.named);
    found.reading.bounded = side.is_some();
    found.reading.number = pieces[from].from..pieces[first.next - 1].to;
    Some((vec![found], next))
}

/// Two numbers tied to a range or to a change.
fn pair(
    pieces: &[Piece<'_>],
    from: usize,
    mut first: Number,
    done: usize,
) -> Option<(Vec<Found>, usize)> {
    let between = from > 0
        && ["between", "betw", "btw", "btwn"]
            .iter()
            .any(|word| pieces[from - 1].is_word(word));
    let (link, start) = link(pieces, first.next, between)?;
    let mut second = number(pieces, start)?;
    let apart = link == Link::Dash && pieces[first.next].spaced;
    if !second.sure || (apart && !first.sure) {
        return None;
    }
    if !first.sure
        && let Some(power) = second.power
    {
        // `1.7 to 4.4e-6`: one power of ten for both.
        first.low += f64::from(power);
        first.high += f64::from(power);
    }
    first.unit = first.unit.or(second.unit);
    second.unit = second.unit.or(first.unit);
    let found = |number: &Number, start: usize| {
        let mut found = Found::of(pieces, start, number.next, number.ends());
        found.reading.unit = number.unit.map(|unit| unit.named);
        found.settled = true;
        found
    };
    let shift = match (first.unit, second.unit) {
        (Some(a), Some(b)) => scale(b.named) - scale(a.named),
        _ => 0.0,
    };
    if link == Link::Arrow || (link == Link::To && told::changes(pieces, from, done)) {
        let (mut before, mut after) = (found(&first, from), found(&second, start));
        // No fault is half of what was healthy: where it fell, the first was the fault.
        let fell = after.reading.high + shift < before.reading.low - std::f64::consts::LOG10_2;
        match fell {
            true => after.reading.told = Told::Aside,
            false => before.reading.told = Told::Before,
        }
        before.paired = true;
        return Some((vec![before, after], second.next));
    }
    let (first_ends, second_ends) = (first.ends(), second.ends());
    let ends = (
        first_ends.0.min(second_ends.0 + shift),
        first_ends.1.max(second_ends.1 + shift),
    );
    let begin = if between { from - 1 } else { from };
    let mut range = Found::of(pieces, begin, second.next, ends);
    range.reading.unit = first.unit.map(|unit| unit.named);
    range.reading.bounded = true;
    Some((vec![range], second.next))
}

/// A number that is the tail of a word, such as the 4 of `BRK-04e`, is no pressure.
fn glued_to_word(pieces: &[Piece<'_>], at: usize) -> bool {
    let piece = &pieces[at];
    let before = &pieces[at - 1];
    if piece.spaced || !matches!(piece.lex, Lex::Number(_)) {
        return false;
    }
    match before.lex {
        Lex::Word(_) => true,
        Lex::Sign('-' | '.' | ',') => {
            at > 1 && !before.spaced && matches!(pieces[at - 2].lex, Lex::Word(_))
        }
        _ => false,
    }
}

/// Whether a number is one of three of a date or a time of day: `2026-11-30T06:40:12`.
fn of_moment(pieces: &[Piece<'_>], at: usize) -> bool {
    let sign = |at: usize| match pieces.get(at) {
        Some(Piece {
            lex: Lex::Sign(sign @ ('-' | ':' | '/')),
            spaced: false,
            ..
        }) => Some(*sign),
        _ => None,
    };
    let number = |at: usize| matches!(pieces.get(at).map(|piece| piece.lex), Some(Lex::Number(_)));
    let glued = |at: usize| number(at) && !pieces[at].spaced;
    let three = |first: usize| {
        let signs = sign(first + 1).is_some() && sign(first + 1) == sign(first + 3);
        signs && number(first) && glued(first + 2) && glued(first + 4)
    };
    number(at)
        && [0, 2, 4]
            .iter()
            .any(|by| at.checked_sub(*by).is_some_and(three))
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Link {
    To,
    Dash,
    And,
    Arrow,
}

/// What ties two numbers: `to`, a dash, dots, an arrow, or `and` after `between`.
fn link(pieces: &[Piece<'_>], at: usize, between: bool) -> Option<(Link, usize)> {
    let sign = |at: usize| match pieces.get(at)?.lex {
        Lex::Sign(sign) => Some(sign),
        _ => None,
    };
    match pieces.get(at)?.lex {
        Lex::Word(word)
            if ["to", "thru", "through", "till"]
                .iter()
                .any(|to| word.eq_ignore_ascii_case(to)) =>
        {
            Some((Link::To, at + 1))
        }
        Lex::Word(word)
            if between
                && ["and", "or"]
                    .iter()
                    .any(|and| word.eq_ignore_ascii_case(and)) =>
        {
            Some((Link::And, at + 1))
        }
        Lex::Sign('&') if between => Some((Link::And, at + 1)),
        Lex::Sign('→' | '⇒' | '➔' | '⟶') => Some((Link::Arrow, at + 1)),
        Lex::Sign('-' | '=' | '–') if sign(at + 1) == Some('>') => {
            let more = usize::from(sign(at + 2) == Some('>'));
            Some((Link::Arrow, at + 2 + more))
        }
        Lex::Sign('-' | '‐' | '‑' | '–' | '—' | '−' | '…' | '~') => {
            Some((Link::Dash, at + 1))
        }
        Lex::Sign('.') if sign(at + 1) == Some('.') => {
            let more = (at + 1..).take_while(|at| sign(*at) == Some('.')).count();
            Some((Link::Dash, at + 1 + more))
        }
        _ => None,
    }
}

/// Whether a small number without a unit is what a helium leak detector shows: it reads flows, whose
/// unit people leave out, down to 1e-12 mbar l/s, where tools are called in with far more in them
/// (common practice, no source).
fn of_helium(pieces: &[Piece<'_>], at: usize, number: &Number) -> bool {
    const SMALL: f64 = -7.0;
    if number.unit.is_some() || number.high >= SMALL {
        return false;
    }
    words_before(pieces, at, 0).take(5).any(|word| {
        // In small letters it is somebody.
        word == "He"
            || ["helium", "response", "rate", "detector", "sniffer"]
                .iter()
                .any(|other| word.eq_ignore_ascii_case(other))
    })
}

/// The words before a piece in the same clause, the nearest first, not before `done`.
fn words_before<'a>(
    pieces: &'a [Piece<'a>],
    at: usize,
    done: usize,
) -> impl Iterator<Item = &'a str> {
    pieces[done.min(at)..at]
        .iter()
        .rev()
        .take_while(|piece| !ends_clause(piece))
        .filter_map(|piece| match piece.lex {
            Lex::Word(word) => Some(word),
            _ => None,
        })
}

fn ends_clause(piece: &Piece<'_>) -> bool {
    matches!(
        piece.lex,
        Lex::Sign('.' | ';' | ',' | ':' | '(' | ')' | '?' | '!')
    )
}
