//! Pressures in free text, as people at tools write them.
//!
//! Finds every pressure in a symptom, a note or a query: `5.3E-5 mbar`, `4e-5`,
//! `5x10^-6 Torr`, `2,3e-4`, `mid -6s torr`, `four minus six`, `between 1e-6 and 1e-5 torr`.
//! Pure: no I/O, no index, no catalogue. Never panics. Logarithms are to the base ten; those of a
//! [`Reading`] are of the number in its unit, so that a number without a unit can be read
//! in the unit of whoever wrote it.

use std::ops::Range;

use super::lexer::{Lex, Piece, lex};
use crate::vacuum::units::PressureUnit;

/// Numbers outside these powers of ten, in pascals, are no pressure of a vacuum tool.
const POWERS: Range<f64> = -11.0..5.3;

/// Words before a number say that it is how things were, or ought to be.
const BEFORE: [&str; 18] = [
    "was", "were", "used", "normal", "normally", "usual", "usually", "healthy", "spec", "should",
    "against", "before", "formerly", "instead", "vs", "versus", "not", "expected",
];

/// What a number says about the tool.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Told {
    /// What it reads, or read when it was called in.
    Now,
    /// What it read before, or ought to.
    Before,
}

/// A pressure, or a stretch of pressures, in a text.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Reading {
    /// Where it stands, in bytes.
    pub(super) place: Range<usize>,
    /// Power of ten of the lower end, in its unit; infinite if open.
    pub(super) low: f64,
    /// Power of ten of the upper end, in its unit; infinite if open.
    pub(super) high: f64,
    /// The unit, if one was written.
    pub(super) unit: Option<PressureUnit>,
    /// What it says.
    pub(super) told: Told,
    /// Whether it was written as a range with two ends, or with `<` or `>`.
    pub(super) bounded: bool,
}

impl Reading {
    /// Its two ends as powers of ten of pascals, where a number without unit is in `unit`.
    pub(super) fn pascals(&self, unit: PressureUnit) -> (f64, f64) {
        let scale = scale(self.unit.unwrap_or(unit));
        (self.low + scale, self.high + scale)
    }

    fn plausible(&self) -> bool {
        let scale = self.unit.map_or(0.0, scale);
        let fits = |power: f64| power.is_infinite() || POWERS.contains(&(power + scale));
        !self.low.is_nan() && !self.high.is_nan() && fits(self.low) && fits(self.high)
    }
}

/// The power of ten of one unit, in pascals.
pub(super) fn scale(unit: PressureUnit) -> f64 {
    unit.pascals_per_unit().log10()
}

/// Every pressure in a text, in order, none overlapping another.
pub(super) fn readings(text: &str) -> Vec<Reading> {
    readings_in(&lex(text))
}

/// The same of a text in pieces.
pub(super) fn readings_in(pieces: &[Piece<'_>]) -> Vec<Reading> {
    let mut found: Vec<Reading> = Vec::new();
    let mut at = 0;
    while at < pieces.len() {
        if !may_begin(&pieces[at]) {
            at += 1;
            continue;
        }
        match read(pieces, at, found.last()) {
            Some((readings, next)) => {
                found.extend(readings.into_iter().filter(Reading::plausible));
                at = next;
            }
            None => at += 1,
        }
    }
    found
}

/// Whether a pressure may begin with this piece; most words of a text are passed over by it.
fn may_begin(piece: &Piece<'_>) -> bool {
    match piece.lex {
        Lex::Number(_) => true,
        Lex::Sign(sign) => matches!(sign, '<' | '≤' | '>' | '≥' | '-' | '−' | '–'),
        Lex::Word(word) => {
            let figure = || {
                let singular = |word: &str| FIGURES.iter().any(|f| word.eq_ignore_ascii_case(f));
                let cut = |by: usize| word.get(..word.len().saturating_sub(by));
                (0..=2).filter_map(cut).any(singular)
            };
            let part = || PARTS.iter().any(|part| word.eq_ignore_ascii_case(part));
            // The letters that any of them begins with: most words are told by their first.
            let may = |letter: &u8| b"lmhueotfsn".contains(&letter.to_ascii_lowercase());
            word.len() <= LONGEST_BEGINNING
                && word.as_bytes().first().is_some_and(may)
                && (part() || figure())
        }
        Lex::Raised(_) => false,
    }
}

/// Parts of a decade, and what stands before its power.
const PARTS: [&str; 7] = ["low", "lower", "mid", "middle", "high", "upper", "e"];

/// Figures in words.
const FIGURES: [&str; 11] = [
    "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
];

/// The longest word of both, as several.
const LONGEST_BEGINNING: usize = 8;

/// One number read: its ends, unit, and the piece after it.
#[derive(Clone, Copy)]
struct Number {
    low: f64,
    high: f64,
    unit: Option<PressureUnit>,
    /// Whether form or unit make it a pressure; a bare `40` is not.
    sure: bool,
    next: usize,
}

fn read(pieces: &[Piece<'_>], at: usize, last: Option<&Reading>) -> Option<(Vec<Reading>, usize)> {
    if at > 0 && glued_to_word(pieces, at) {
        return None;
    }
    let compared = compared(pieces, at);
    let from = at + compared.map_or(0, |(_, used)| used);
    let mut first = number(pieces, from)?;
    let between = at > 0 && pieces[at - 1].is_word("between");
    if compared.is_none()
        && let Some((link, start)) = link(pieces, first.next, between)
        && let Some(second) = number(pieces, start)
        && second.sure
        && (first.sure || link != Link::Dash || !pieces[first.next].spaced)
    {
        if !first.sure {
            let power = second.low.floor();
            (first.low, first.high) = (first.low + power, first.high + power);
        }
        first.unit = first.unit.or(second.unit);
        let second_unit = second.unit.or(first.unit);
        let change = link == Link::To && before_word(pieces, at) == Some("from");
        let place = |number: &Number, start: usize| pieces[start].from..pieces[number.next - 1].to;
        if change {
            let told = [Told::Before, Told::Now];
            let readings = [(first, from), (second, start)]
                .into_iter()
                .zip(told)
                .map(|((number, start), told)| Reading {
                    place: place(&number, start),
                    low: number.low,
                    high: number.high,
                    unit: number.unit.or(second_unit),
                    told,
                    bounded: false,
                })
                .collect();
            return Some((readings, second.next));
        }
        let shift = match (first.unit, second_unit) {
            (Some(a), Some(b)) => scale(b) - scale(a),
            _ => 0.0,
        };
        let start = if between { at - 1 } else { from };
        let reading = Reading {
            place: pieces[start].from..pieces[second.next - 1].to,
            low: first.low.min(second.low + shift),
            high: first.high.max(second.high + shift),
            unit: first.unit,
            told: Told::Now,
            bounded: true,
        };
        return Some((vec![reading], second.next));
    }
    if !first.sure {
        return None;
    }
    let (mut low, mut high) = (first.low, first.high);
    match compared {
        Some((Side::Below, _)) => low = f64::NEG_INFINITY,
        Some((Side::Above, _)) => high = f64::INFINITY,
        None => {}
    }
    let reading = Reading {
        place: pieces[at].from..pieces[first.next - 1].to,
        low,
        high,
        unit: first.unit,
        told: told(pieces, at, first.next, last),
        bounded: compared.is_some(),
    };
    Some((vec![reading], first.next))
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

#[derive(Clone, Copy, PartialEq, Eq)]
enum Side {
    Below,
    Above,
}

fn compared(pieces: &[Piece<'_>], at: usize) -> Option<(Side, usize)> {
    let side = match pieces[at].lex {
        Lex::Sign('<' | '≤') => Side::Below,
        Lex::Sign('>' | '≥') => Side::Above,
        _ => return None,
    };
    let equals = pieces.get(at + 1).is_some_and(|p| p.lex == Lex::Sign('='));
    Some((side, 1 + usize::from(equals)))
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Link {
    To,
    Dash,
    And,
}

/// What ties two numbers to a range: `to`, a dash, dots, or `and` after `between`.
fn link(pieces: &[Piece<'_>], at: usize, between: bool) -> Option<(Link, usize)> {
    let piece = pieces.get(at)?;
    match piece.lex {
        Lex::Word(word) if word.eq_ignore_ascii_case("to") => Some((Link::To, at + 1)),
        Lex::Word(word) if between && word.eq_ignore_ascii_case("and") => Some((Link::And, at + 1)),
        Lex::Sign('-' | '…') => Some((Link::Dash, at + 1)),
        Lex::Sign('.') if pieces.get(at + 1).is_some_and(|p| p.lex == Lex::Sign('.')) => {
            let more = pieces[at + 1..]
                .iter()
                .take_while(|p| p.lex == Lex::Sign('.'))
                .count();
            Some((Link::Dash, at + 1 + more))
        }
        _ => None,
    }
}

fn before_word<'a>(pieces: &[Piece<'a>], at: usize) -> Option<&'a str> {
    match pieces.get(at.checked_sub(1)?)?.lex {
        Lex::Word(word) => Some(word),
        _ => None,
    }
}

/// `5e-7 before`, with nothing said of what it was before.
fn told_after(pieces: &[Piece<'_>], next: usize) -> bool {
    let looks_back = pieces.get(next).is_some_and(|piece| {
        [
            "before",
            "previously",
            "formerly",
            "earlier",
            "normally",
            "usually",
        ]
        .iter()
        .any(|word| piece.is_word(word))
    });
    looks_back
        && pieces
            .get(next + 1)
            .is_none_or(|piece| matches!(piece.lex, Lex::Sign(_)) || piece.is_word("and"))
}

fn told(pieces: &[Piece<'_>], at: usize, next: usize, last: Option<&Reading>) -> Told {
    if told_after(pieces, next) {
        return Told::Before;
    }
    let words = pieces[..at]
        .iter()
        .rev()
        .take_while(|piece| !matches!(piece.lex, Lex::Sign('.' | ';' | ',' | ':')))
        .filter_map(|piece| match piece.lex {
            Lex::Word(word) => Some(word.to_lowercase()),
            _ => None,
        })
        .take(3)
        .collect::<Vec<_>>();
    let telling = |word: &String| BEFORE.contains(&word.as_str());
    // "was 5e-7" after another number looks back; a text that begins with "it was" may not.
    let mut near = words.iter().filter(|word| telling(word));
    match near.next().map(String::as_str) {
        None => Told::Now,
        Some("was" | "were") if last.is_none() => Told::Now,
        Some("not") if words.first().is_none_or(|word| word != "not") => Told::Now,
        Some(_) => Told::Before,
    }
}

fn number(pieces: &[Piece<'_>], at: usize) -> Option<Number> {
    let read = part_of_decade(pieces, at)
        .or_else(|| in_figures(pieces, at))
        .or_else(|| in_words(pieces, at))?;
    with_unit(pieces, read)
}

/// Takes the unit after a number; a flow, a current or a length is no pressure.
fn with_unit(pieces: &[Piece<'_>], mut number: Number) -> Option<Number> {
    let Some(piece) = pieces.get(number.next) else {
        return Some(number);
    };
    let Lex::Word(word) = piece.lex else {
        return Some(number);
    };
    let milli = word.eq_ignore_ascii_case("m")
        && pieces
            .get(number.next + 1)
            .is_some_and(|next| next.is_word("torr"));
    let unit = if milli {
        Some((PressureUnit::Millitorr, 2))
    } else {
        word.parse().ok().map(|unit| (unit, 1))
    };
    if let Some((unit, used)) = unit {
        let after = number.next + used;
        if flows(pieces, after) {
            return None;
        }
        (number.unit, number.next, number.sure) = (Some(unit), after, true);
        return Some(number);
    }
    const OTHER: [&str; 14] = [
        "sccm", "std", "cc", "mbarl", "torrl", "a", "ma", "amp", "amps", "w", "v", "k", "hz", "ohm",
    ];
    if OTHER.iter().any(|other| word.eq_ignore_ascii_case(other)) {
        return None;
    }
    Some(number)
}

/// Whether a unit of pressure goes on to one of flow: `mbar l/s`, `Pa·m3/s`, `atm cc/s`.
fn flows(pieces: &[Piece<'_>], at: usize) -> bool {
    let mut at = at;
    while pieces
        .get(at)
        .is_some_and(|piece| matches!(piece.lex, Lex::Sign('x' | '*' | '·' | '.' | '-' | '⋅')))
    {
        at += 1;
    }
    let volume = pieces.get(at).is_some_and(|piece| {
        [
            "l", "ltr", "liter", "litre", "liters", "litres", "m", "cc", "cm", "ls",
        ]
        .iter()
        .any(|word| piece.is_word(word))
    });
    let slash = pieces[at.min(pieces.len())..]
        .iter()
        .skip(1)
        .take(2)
        .any(|piece| piece.lex == Lex::Sign('/') || piece.is_word("per"));
    let rate = pieces.get(at).is_some_and(|p| p.lex == Lex::Sign('/'));
    rate || (volume && slash) || pieces.get(at).is_some_and(|p| p.is_word("ls"))
}

/// `5.3E-5`, `5x10^-6`, `10⁻⁶`, `40` with a unit.
fn in_figures(pieces: &[Piece<'_>], at: usize) -> Option<Number> {
    let Lex::Number(figures) = pieces.get(at)?.lex else {
        return None;
    };
    let value = mantissa(figures)?;
    let power_next = exponent_after(pieces, at + 1, false).or_else(|| {
        let mut next = at + 1;
        let times = pieces.get(next)?;
        if !(times.is_word("x") || matches!(times.lex, Lex::Sign('×' | '*' | '·' | '⋅' | '∙')))
        {
            return None;
        }
        next += 1;
        if pieces.get(next)?.lex != Lex::Number("10") {
            return None;
        }
        exponent_after(pieces, next + 1, true)
    });
    if let Some((power, next)) = power_next {
        let power = f64::from(power) + value.log10();
        return Some(whole(power, next, true));
    }
    if figures == "10"
        && let Some((power, next)) = raised(pieces, at + 1)
    {
        let (low, high, next) = decade_words(pieces, next, f64::from(power));
        return Some(Number {
            low,
            high,
            unit: None,
            sure: true,
            next,
        });
    }
    Some(whole(value.log10(), at + 1, false))
}

fn whole(power: f64, next: usize, sure: bool) -> Number {
    Number {
        low: power,
        high: power,
        unit: None,
        sure,
        next,
    }
}

/// A decimal point or comma; nothing that could be thousands. Above zero.
fn mantissa(figures: &str) -> Option<f64> {
    let marks = figures.matches(['.', ',']).count();
    if marks > 1 || figures.len() > 12 {
        return None;
    }
    let value: f64 = figures.replace(',', ".").parse().ok()?;
    (value > 0.0).then_some(value)
}

/// `e-6`, or after `x10`: `^-6`, `-6`, `⁻⁶`, `e-6`.
fn exponent_after(pieces: &[Piece<'_>], at: usize, times_ten: bool) -> Option<(i32, usize)> {
    let piece = pieces.get(at)?;
    if piece.is_word("e") {
        let minus = pieces.get(at + 1)?;
        if minus.spaced && !piece.spaced {
            return None;
        }
        return signed(pieces, at + 1);
    }
    if times_ten {
        return raised(pieces, at).or_else(|| signed(pieces, at).filter(|(power, _)| *power < 0));
    }
    None
}

/// `^-6`, `**-6` or `⁻⁶`.
fn raised(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    match pieces.get(at)?.lex {
        Lex::Raised(power) => Some((power, at + 1)),
        Lex::Sign('^') => signed(pieces, at + 1),
        Lex::Sign('*') if pieces.get(at + 1)?.lex == Lex::Sign('*') => signed(pieces, at + 2),
        _ => None,
    }
}

/// A whole number of at most two figures with or without sign.
fn signed(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    let (sign, next) = match pieces.get(at)?.lex {
        Lex::Sign('-' | '−' | '–') => (-1, at + 1),
        Lex::Sign('+') => (1, at + 1),
        _ => (1, at),
    };
    let piece = pieces.get(next)?;
    let Lex::Number(figures) = piece.lex else {
        return None;
    };
    if piece.spaced && next > at {
        return None;
    }
    let figures = figures.trim_end_matches(['.', ',']);
    let power: i32 = figures.parse().ok()?;
    (figures.len() <= 2).then_some((sign * power, next + 1))
}

/// `mid -6s`, `low e-7`, `high 10^-6`, `-6 range`, `e-6 scale`: part of a decade, or all of it.
fn part_of_decade(pieces: &[Piece<'_>], at: usize) -> Option<Number> {
    let part = match pieces.get(at)?.lex {
        Lex::Word(word) => match word.to_lowercase().as_str() {
            "low" | "lower" => Some((0.0, 3.3_f64.log10())),
            "mid" | "middle" => Some((3.3_f64.log10(), 6.6_f64.log10())),
            "high" | "upper" => Some((6.6_f64.log10(), 1.0)),
            "e" => None,
            _ => return None,
        },
        Lex::Sign('-' | '−' | '–') => None,
        _ => return None,
    };
    let mut next = at + usize::from(part.is_some());
    let mut written = part.is_some();
    if pieces.get(next).is_some_and(|p| p.lex == Lex::Sign('-'))
        && !pieces[next].spaced
        && part.is_some()
        && pieces
            .get(next + 1)
            .is_some_and(|p| p.is_word("e") || matches!(p.lex, Lex::Number("10") | Lex::Sign('-')))
    {
        next += 1;
    }
    let power = if pieces.get(next)?.is_word("e") {
        next += 1;
        signed(pieces, next).filter(|(power, _)| *power < 0)
    } else if pieces[next].lex == Lex::Number("10") {
        raised(pieces, next + 1)
            .or_else(|| signed(pieces, next + 1).filter(|(power, _)| *power < 0))
    } else if pieces[next].is_word("minus") && part.is_some() {
        let (figure, after) = figure_word(pieces, next + 1)?;
        Some((-figure, after))
    } else if matches!(pieces[next].lex, Lex::Sign('-' | '−' | '–')) {
        if at == next && at > 0 && !pieces[at].spaced {
            return None;
        }
        signed(pieces, next)
    } else {
        None
    };
    let (power, mut next) = power?;
    let base = f64::from(power);
    if pieces
        .get(next)
        .is_some_and(|p| p.is_word("s") && !p.spaced)
    {
        (written, next) = (true, next + 1);
    }
    if pieces.get(next).is_some_and(is_scale_word) {
        (written, next) = (true, next + 1);
    }
    let (low, high) = part.unwrap_or((0.0, 1.0));
    written.then_some(Number {
        low: base + low,
        high: base + high,
        unit: None,
        sure: true,
        next,
    })
}

fn is_scale_word(piece: &Piece<'_>) -> bool {
    ["range", "scale", "decade", "decades", "area"]
        .iter()
        .any(|word| piece.is_word(word))
}

/// `10^-6 range` is a whole decade; `10^-6` alone a number.
fn decade_words(pieces: &[Piece<'_>], next: usize, power: f64) -> (f64, f64, usize) {
    if pieces.get(next).is_some_and(is_scale_word) {
        (power, power + 1.0, next + 1)
    } else {
        (power, power, next)
    }
}

/// `four point two E minus five`, `four minus six`.
fn in_words(pieces: &[Piece<'_>], at: usize) -> Option<Number> {
    let (first, mut next) = figure_word(pieces, at)?;
    let mut value = f64::from(first);
    if pieces.get(next)?.is_word("point") {
        let (tenths, after) = figure_word(pieces, next + 1)?;
        value += f64::from(tenths) / 10.0;
        next = after;
    }
    if pieces.get(next)?.is_word("e") {
        next += 1;
    } else if pieces.get(next)?.is_word("times") && pieces.get(next + 1)?.is_word("ten") {
        next += 2;
        while pieces
            .get(next)
            .is_some_and(|p| ["to", "the"].iter().any(|word| p.is_word(word)))
        {
            next += 1;
        }
    }
    if !pieces.get(next)?.is_word("minus") {
        return None;
    }
    let (power, next) = figure_word(pieces, next + 1)?;
    (value > 0.0 && power > 1).then(|| whole(value.log10() - f64::from(power), next, true))
}

/// A figure in words from one to eleven, or of several: `sixes`.
fn figure_word(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    let Lex::Word(word) = pieces.get(at)?.lex else {
        return None;
    };
    let word = word.to_lowercase();
    let singular = word
        .strip_suffix("es")
        .filter(|stem| *stem == "six")
        .or_else(|| word.strip_suffix('s'))
        .unwrap_or(&word);
    let figure = FIGURES.iter().position(|figure| *figure == singular)?;
    Some((i32::try_from(figure).ok()? + 1, at + 1))
}
