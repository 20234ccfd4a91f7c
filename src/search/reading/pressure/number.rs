//! One number of a pressure, in figures or words, with its unit.

use super::unit::{self, Written};
use crate::{
    search::reading::lexer::{Lex, Piece},
    vacuum::units::PressureUnit,
};

/// Parts of a decade, and what stands before its power.
const PARTS: [&str; 8] = [
    "low", "lower", "mid", "middle", "high", "upper", "e", "minus",
];

/// Figures in words.
const FIGURES: [&str; 11] = [
    "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
];

/// The longest word of both, as several.
const LONGEST_BEGINNING: usize = 8;

/// A decimal below this is a pressure without more: `0.00004`; so small a length or time is written in
/// a smaller unit.
const SMALL: f64 = 1e-3;

/// Powers of ten that people leave the `e` out of: `4 -5`, `10-6`.
const BARE_POWERS: std::ops::RangeInclusive<i32> = 3..=11;

/// The same where nothing parts them: `2.0-6`.
const GLUED_POWERS: std::ops::RangeInclusive<i32> = 4..=11;

/// What goes on behind a unit of pressure where a flow or a rate is told.
const OF_FLOW: [&str; 22] = [
    "l", "ltr", "liter", "litre", "liters", "litres", "ls", "m", "m3", "cc", "cm", "s", "sec",
    "second", "min", "mins", "minute", "minutes", "h", "hr", "hour", "per",
];

/// One number read: its ends, unit, and the piece after it.
#[derive(Clone, Copy)]
pub(super) struct Number {
    /// Power of ten of the lower end, in the unit as written.
    pub(super) low: f64,
    /// Power of ten of the upper end.
    pub(super) high: f64,
    /// The power of ten written out.
    pub(super) power: Option<i32>,
    pub(super) unit: Option<Written>,
    /// Whether form or unit make it a pressure; a bare `40` is not.
    pub(super) sure: bool,
    pub(super) next: usize,
}

impl Number {
    /// Powers of ten of both ends in the named unit.
    pub(super) fn ends(&self) -> (f64, f64) {
        let shift = self.unit.map_or(0.0, |unit| unit.shift);
        (self.low + shift, self.high + shift)
    }

    fn of_power(value: f64, power: i32, next: usize) -> Self {
        let whole = f64::from(power) + value.log10();
        Self {
            low: whole,
            high: whole,
            power: Some(power),
            unit: None,
            sure: true,
            next,
        }
    }

    fn decade(low: f64, high: f64, next: usize) -> Self {
        Self {
            low,
            high,
            power: None,
            unit: None,
            sure: true,
            next,
        }
    }
}

/// Whether a number may begin with this word; most words of a text are told by their first letter.
pub(super) fn may_begin(word: &str) -> bool {
    let figure = || {
        let singular = |word: &str| FIGURES.iter().any(|f| word.eq_ignore_ascii_case(f));
        let cut = |by: usize| word.get(..word.len().saturating_sub(by));
        (0..=2).filter_map(cut).any(singular)
    };
    let part = || PARTS.iter().any(|part| word.eq_ignore_ascii_case(part));
    let may = |letter: &u8| b"lmhueotfsn".contains(&letter.to_ascii_lowercase());
    word.len() <= LONGEST_BEGINNING
        && word.as_bytes().first().is_some_and(may)
        && (part() || figure())
}

/// The number that begins with this piece.
pub(super) fn number(pieces: &[Piece<'_>], at: usize) -> Option<Number> {
    let read = part_of_decade(pieces, at)
        .or_else(|| in_figures(pieces, at))
        .or_else(|| in_words(pieces, at))?;
    with_unit(pieces, at, read)
}

/// Takes the unit after a number; a flow, a current or a length is no pressure.
fn with_unit(pieces: &[Piece<'_>], first: usize, mut number: Number) -> Option<Number> {
    let Some(piece) = pieces.get(number.next) else {
        return Some(number);
    };
    let word = match piece.lex {
        Lex::Word(word) => word,
        Lex::Sign('%') => return None,
        // `4e-5/mbar`, as the heads of columns have it, and `4e-5,mbar` of a logger's file
        Lex::Sign(sign @ ('/' | ',' | ';'))
            if number.sure
                && (sign == '/' || !piece.spaced && !spaced(pieces, number.next + 1))
                && unit::unit(pieces, number.next + 1).is_some() =>
        {
            number.next += 1;
            ""
        }
        _ => return Some(number),
    };
    let slip = || {
        number
            .power
            .and_then(|_| unit::slip(word))
            .map(|unit| (unit, 1))
    };
    if let Some((unit, used)) = unit::unit(pieces, number.next).or_else(slip) {
        let mut after = number.next + used;
        if flows(pieces, after) || span_of_time(pieces, after).is_some() {
            return None;
        }
        if rise_within(pieces, first, after).is_some() {
            return None;
        }
        // `1e-6 torr range`
        if number.low == number.high
            && number.low.fract() == 0.0
            && number.sure
            && pieces.get(after).is_some_and(is_scale_word)
        {
            number.high += 1.0;
            after += 1;
        }
        (number.unit, number.next, number.sure) = (Some(unit), after, true);
        return Some(number);
    }
    let daily = number.sure && span_of_time(pieces, number.next).is_some();
    // `4e-5 a day after the foil` tells no current.
    let article = number.sure
        && word == "a"
        && pieces
            .get(number.next + 1)
            .is_some_and(|piece| TIMES.iter().any(|time| piece.is_word(time)));
    (!daily && (article || !unit::is_other(word))).then_some(number)
}

/// In which something changes by so much.
const TIMES: [&str; 8] = ["day", "week", "hour", "minute", "min", "h", "hr", "night"];

/// The piece after the time in which something changes so much: `1e-6 a day`, `2e-6 per hour`. A day after
/// something is a moment.
fn span_of_time(pieces: &[Piece<'_>], at: usize) -> Option<usize> {
    const MOMENTS: [&str; 7] = ["after", "later", "ago", "before", "since", "into", "from"];
    let is = |at: usize, any: &[&str]| {
        let piece = pieces.get(at);
        piece.is_some_and(|piece| any.iter().any(|word| piece.is_word(word)))
    };
    let each = is(at, &["per", "each", "every"]);
    let time = is(at + 1, &TIMES) && (each || is(at, &["a", "an"]));
    (time && (each || !is(at + 2, &MOMENTS))).then_some(at + 2)
}

fn spaced(pieces: &[Piece<'_>], at: usize) -> bool {
    pieces.get(at).is_none_or(|piece| piece.spaced)
}

/// The piece after the time in which a pressure rose by so much, from the number's own piece to before another:
/// `rise 3e-4 mbar in 10 min`, `1e-3 torr in 10 min rise`. What rises to a pressure is one.
fn rise_within(pieces: &[Piece<'_>], first: usize, next: usize) -> Option<usize> {
    const RISES: [&str; 8] = [
        "rise",
        "rises",
        "rose",
        "rising",
        "risen",
        "increase",
        "increases",
        "ror",
    ];
    const LONG: [&str; 12] = [
        "min", "mins", "minute", "minutes", "h", "hr", "hrs", "hour", "hours", "s", "sec",
        "seconds",
    ];
    let is = |at: usize, any: &[&str]| {
        let piece = pieces.get(at);
        piece.is_some_and(|piece| any.iter().any(|word| piece.is_word(word)))
    };
    let count = matches!(pieces.get(next + 1)?.lex, Lex::Number(_));
    let time = is(next, &["in", "within", "over"]) && count && is(next + 2, &LONG);
    let before = super::words_before(pieces, first, 0).take(4);
    let before: Vec<_> = before.collect();
    let any = |words: &[&str], word: &str| words.iter().any(|own| word.eq_ignore_ascii_case(own));
    let to = before.first().is_some_and(|word| any(&["to", "at"], word));
    let rose = before.iter().any(|word| any(&RISES, word)) || is(next + 3, &RISES);
    (time && rose && !to).then_some(next + 3)
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

/// `5.3E-5`, `5x10^-6`, `10⁻⁶`, `10-6 torr`, `0.00004`, `5.5 minus 6`, `4 -5`, `40` with a unit.
fn in_figures(pieces: &[Piece<'_>], at: usize) -> Option<Number> {
    let Lex::Number(figures) = pieces.get(at)?.lex else {
        return None;
    };
    if let Some(number) = points_for_times(pieces, at, figures) {
        return Some(number);
    }
    let value = mantissa(figures)?;
    let power = exponent_after(pieces, at + 1)
        .or_else(|| times_ten(pieces, at + 1))
        .or_else(|| ten_alone(pieces, at + 1, value))
        .or_else(|| in_minus(pieces, at + 1));
    if let Some((power, next)) = power {
        return Some(Number::of_power(value, power, next));
    }
    if figures == "10"
        && let Some((power, next)) = raised(pieces, at + 1).or_else(|| bare_ten(pieces, at + 1))
    {
        let number = Number::of_power(1.0, power, next);
        return Some(match pieces.get(next).is_some_and(is_scale_word) {
            true => Number::decade(number.low, number.low + 1.0, next + 1),
            false => number,
        });
    }
    let bare = bare_power(pieces, at, value);
    if let Some((power, next)) = bare.or_else(|| glued_power(pieces, at, figures, value)) {
        return Some(Number::of_power(value, power, next));
    }
    Some(Number {
        low: value.log10(),
        high: value.log10(),
        power: None,
        unit: None,
        sure: value < SMALL,
        next: at + 1,
    })
}

/// `2.10-6 mbar`, `5,3.10-5 torr`, `2.10^-6`: a point for times, as much of Europe writes it.
fn points_for_times(pieces: &[Piece<'_>], at: usize, figures: &str) -> Option<Number> {
    let value = figures
        .strip_suffix(".10")
        .or_else(|| figures.strip_suffix(",10"))?;
    let value = mantissa(value).filter(|value| (1.0..10.0).contains(value))?;
    let (power, next) = raised(pieces, at + 1).or_else(|| bare_ten(pieces, at + 1))?;
    (power < 0).then(|| Number::of_power(value, power, next))
}

/// A decimal point or comma; nothing that could be thousands. Above zero.
fn mantissa(figures: &str) -> Option<f64> {
    let marks = figures.matches(['.', ',']).count();
    if marks > 1 || figures.len() > 14 {
        return None;
    }
    let value: f64 = match figures.contains(',') {
        true => figures.replace(',', ".").parse().ok()?,
        false => figures.parse().ok()?,
    };
    (value > 0.0).then_some(value)
}

/// `e-6`, `exp -6`, `e minus 6`.
fn exponent_after(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    let piece = pieces.get(at)?;
    // `4.e-5`
    if piece.lex == Lex::Sign('.')
        && !piece.spaced
        && pieces
            .get(at + 1)
            .is_some_and(|piece| piece.is_word("e") && !piece.spaced)
    {
        return exponent_after(pieces, at + 1);
    }
    if !piece.is_word("e") && !piece.is_word("exp") {
        return None;
    }
    let minus = pieces.get(at + 1)?;
    if minus.is_word("minus") {
        return in_minus(pieces, at + 1);
    }
    let power = signed(pieces, at + 1);
    // `8E -6` is one number, `4e 5` is not.
    let parted = minus.spaced && !piece.spaced;
    power.filter(|(power, _)| !parted || (-11..=-3).contains(power))
}

/// `x10^-6`, `·10-6`, `times ten to the minus six`.
fn times_ten(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    let times = pieces.get(at)?;
    let is_times = ["x", "times"].iter().any(|word| times.is_word(word))
        || matches!(times.lex, Lex::Sign('×' | '*' | '·' | '⋅' | '∙'));
    let ten = pieces.get(at + 1)?;
    if !is_times || !(ten.lex == Lex::Number("10") || ten.is_word("ten")) {
        return None;
    }
    let mut next = at + 2;
    let power = raised(pieces, next)
        .or_else(|| signed(pieces, next).filter(|(power, _)| *power < 0))
        .or_else(|| exponent_after(pieces, next));
    if power.is_some() {
        return power;
    }
    while pieces.get(next).is_some_and(|piece| {
        ["to", "the", "power", "of"]
            .iter()
            .any(|word| piece.is_word(word))
    }) {
        next += 1;
    }
    in_minus(pieces, next).or_else(|| signed(pieces, next).filter(|(power, _)| *power < 0))
}

/// `5.3 10-5 torr`, `5 10^-6`: the sign of times left out.
fn ten_alone(pieces: &[Piece<'_>], at: usize, value: f64) -> Option<(i32, usize)> {
    let ten = pieces.get(at)?;
    let times = (1.0..10.0).contains(&value) && ten.spaced && ten.lex == Lex::Number("10");
    let power = || raised(pieces, at + 1).or_else(|| bare_ten(pieces, at + 1));
    // `2 10e-6`
    let power = || power().or_else(|| exponent_after(pieces, at + 1));
    times.then(power)?.filter(|(power, _)| *power < 0)
}

/// `minus 6`, `minus six`.
fn in_minus(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    if !pieces.get(at)?.is_word("minus") {
        return None;
    }
    let hyphen = pieces
        .get(at + 1)
        .is_some_and(|piece| piece.lex == Lex::Sign('-'));
    let figure = at + 1 + usize::from(hyphen);
    let (power, next) = figure_word(pieces, figure).or_else(|| plain_figure(pieces, figure))?;
    BARE_POWERS.contains(&power).then_some((-power, next))
}

/// A whole number of one or two figures.
fn plain_figure(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    let Lex::Number(figures) = pieces.get(at)?.lex else {
        return None;
    };
    let figure = figures.trim_end_matches(['.', ',']);
    (figure.len() <= 2).then_some((figure.parse().ok()?, at + 1))
}

/// `10-6 torr`, `10-6 range`: without what makes it a pressure it is a count or a date.
fn bare_ten(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    let dash = pieces.get(at)?;
    if !matches!(dash.lex, Lex::Sign('-' | '−' | '–')) || dash.spaced {
        return None;
    }
    let (power, next) = plain_figure(pieces, at + 1).filter(|_| !pieces[at + 1].spaced)?;
    let told = pieces.get(next).is_some_and(is_scale_word) || unit::unit(pieces, next).is_some();
    (told && BARE_POWERS.contains(&power)).then_some((-power, next))
}

/// `4 -5`: a dash that stands off the first number and not off the second is no range.
fn bare_power(pieces: &[Piece<'_>], at: usize, value: f64) -> Option<(i32, usize)> {
    let dash = pieces.get(at + 1)?;
    if !matches!(dash.lex, Lex::Sign('-' | '−')) || !dash.spaced || !(1.0..10.0).contains(&value)
    {
        return None;
    }
    if at > 0 && matches!(pieces[at - 1].lex, Lex::Number(_)) {
        return None;
    }
    let (power, next) = plain_figure(pieces, at + 2).filter(|_| !pieces[at + 2].spaced)?;
    (ends_bare(pieces, next) && BARE_POWERS.contains(&power)).then_some((-power, next))
}

/// `2.0-6`, `5,3-7 mbar`: the letter left out. After a whole number, or before a figure that might be the
/// other end of a range of pressures as they are in a chamber with gas in it, it is none.
fn glued_power(pieces: &[Piece<'_>], at: usize, figures: &str, value: f64) -> Option<(i32, usize)> {
    let dash = pieces.get(at + 1)?;
    let fits = matches!(dash.lex, Lex::Sign('-' | '−' | '–')) && !dash.spaced;
    if !fits || !figures.contains(['.', ',']) || !(1.0..10.0).contains(&value) {
        return None;
    }
    let before = at.checked_sub(1).map(|before| &pieces[before]);
    if before.is_some_and(|piece| match piece.lex {
        Lex::Number(_) => true,
        Lex::Word(_) | Lex::Sign('-' | '.' | ',' | '/' | ':') => !pieces[at].spaced,
        _ => false,
    }) {
        return None;
    }
    let (power, next) = plain_figure(pieces, at + 2).filter(|_| !pieces[at + 2].spaced)?;
    let small = unit::unit(pieces, next).is_some_and(|(unit, _)| {
        matches!(unit.named, PressureUnit::Millitorr | PressureUnit::Micron) || unit.shift != 0.0
    });
    let point = pieces
        .get(next)
        .is_some_and(|piece| piece.lex == Lex::Sign('.'));
    let ends = ends_bare(pieces, next) || point || pieces.get(next).is_some_and(is_scale_word);
    (ends && !small && GLUED_POWERS.contains(&power)).then_some((-power, next))
}

/// Whether nothing follows a power of ten without its `e`, or what goes on after a pressure.
fn ends_bare(pieces: &[Piece<'_>], next: usize) -> bool {
    match pieces.get(next).map(|piece| piece.lex) {
        None => true,
        Some(Lex::Word(_)) => {
            !pieces[next].is_word("s") && unit::unit(pieces, next).is_some()
                || follows_bare(&pieces[next])
        }
        Some(Lex::Sign(sign)) => matches!(sign, ',' | ';' | ')' | '?' | '!'),
        Some(_) => false,
    }
}

/// The piece after a rate of rise, a leak rate or a flow that begins here: `2e-5 torr/min`, `3e-6 mbar l/s`.
pub(super) fn rate(pieces: &[Piece<'_>], at: usize) -> Option<usize> {
    let number = in_figures(pieces, at)?;
    let unit = unit::unit(pieces, number.next);
    let mut next = number.next + unit.map_or(0, |(_, used)| used);
    if number.sure
        && let Some(end) = span_of_time(pieces, next).or_else(|| rise_within(pieces, at, next))
    {
        return Some(end);
    }
    unit?;
    flows(pieces, next).then_some(())?;
    let of_flow = |piece: &Piece<'_>| OF_FLOW.iter().any(|word| piece.is_word(word));
    loop {
        let sign = pieces.get(next).is_some_and(|piece| {
            matches!(
                piece.lex,
                Lex::Sign('x' | '*' | '·' | '.' | '-' | '⋅' | '/')
            )
        });
        let word = next + usize::from(sign);
        if !pieces.get(word).is_some_and(of_flow) {
            return Some(next);
        }
        next = word + 1;
        // The 3 of `m3/s`
        let cube = pieces.get(next).filter(|piece| !piece.spaced);
        next += usize::from(cube.is_some_and(|piece| piece.lex == Lex::Number("3")));
    }
}

/// Words that go on after a pressure and not after a count.
fn follows_bare(piece: &Piece<'_>) -> bool {
    [
        "now", "today", "since", "after", "was", "were", "and", "but", "all", "on", "with",
    ]
    .iter()
    .any(|word| piece.is_word(word))
}

/// `^-6`, `**-6` or `⁻⁶`.
fn raised(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    match pieces.get(at)?.lex {
        Lex::Raised(power) => Some((power, at + 1)),
        Lex::Sign('^') => signed(pieces, at + 1),
        Lex::Sign('*') if pieces.get(at + 1)?.lex == Lex::Sign('*') => signed(pieces, at + 2),
        // `4x10(-5)`
        Lex::Sign('(') if !pieces[at].spaced => {
            let (power, next) = signed(pieces, at + 1)?;
            let closed = pieces.get(next)?.lex == Lex::Sign(')');
            (closed && power < 0).then_some((power, next + 1))
        }
        _ => None,
    }
}

/// A whole number of at most two figures, or three with a nought first, with or without sign.
fn signed(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    let (sign, next) = match pieces.get(at)?.lex {
        Lex::Sign('-' | '−' | '–' | '‐' | '‑') => (-1, at + 1),
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
    let length = figures.strip_prefix('0').unwrap_or(figures).len();
    (length <= 2).then_some((sign * power, next + 1))
}

/// `mid -6s`, `low e-7`, `high 10^-6`, `-6 range`, `minus six range`, `e-6 torr`: part of a decade, or
/// all of it.
fn part_of_decade(pieces: &[Piece<'_>], at: usize) -> Option<Number> {
    let part = match pieces.get(at)?.lex {
        Lex::Word(word) => match word.to_lowercase().as_str() {
            "low" | "lower" => Some((0.0, 3.3_f64.log10())),
            "mid" | "middle" => Some((3.3_f64.log10(), 6.6_f64.log10())),
            "high" | "upper" => Some((6.6_f64.log10(), 1.0)),
            "e" | "minus" => None,
            _ => return None,
        },
        Lex::Sign('-' | '−' | '–') => None,
        _ => return None,
    };
    if let Some((low, high)) = part
        && let Some((power, next)) = plural_power(pieces, at + 1)
    {
        let base = f64::from(power);
        return Some(Number::decade(base + low, base + high, next));
    }
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
    } else if pieces[next].is_word("minus") {
        in_minus(pieces, next)
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
    let in_scale = |at: usize| pieces.get(at).is_some_and(is_scale_word);
    written |= power < 0
        && unit::unit(pieces, next)
            .is_some_and(|(_, used)| pieces[at].is_word("e") || in_scale(next + used));
    let (low, high) = part.unwrap_or((0.0, 1.0));
    written.then(|| Number::decade(base + low, base + high, next))
}

/// The `6s` of `mid 6s` and the `sixes` of `low sixes`: powers of ten of which all know that they are
/// negative.
fn plural_power(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    const SAID: std::ops::RangeInclusive<i32> = 3..=9;
    let piece = pieces.get(at)?;
    let (power, next) = match piece.lex {
        Lex::Word(word) if word.ends_with('s') => figure_word(pieces, at)?,
        Lex::Number(_) => {
            let (power, next) = plain_figure(pieces, at)?;
            let several = pieces.get(next)?;
            (several.is_word("s") && !several.spaced).then_some((power, next + 1))?
        }
        _ => return None,
    };
    SAID.contains(&power).then_some((-power, next))
}

fn is_scale_word(piece: &Piece<'_>) -> bool {
    ["range", "ranges", "scale", "decade", "decades", "area"]
        .iter()
        .any(|word| piece.is_word(word))
}

/// `four point two E minus five`, `four minus six`.
fn in_words(pieces: &[Piece<'_>], at: usize) -> Option<Number> {
    if let Some((power, next)) = ten_to_minus(pieces, at) {
        let few = at > 0
            && ["few", "some", "several"]
                .iter()
                .any(|word| pieces[at - 1].is_word(word));
        let low = f64::from(power);
        return Some(match few {
            true => Number::decade(low, low + 1.0, next),
            false => Number::of_power(1.0, power, next),
        });
    }
    let (first, mut next) = figure_word(pieces, at)?;
    let mut value = f64::from(first);
    if pieces.get(next)?.is_word("point") {
        let (tenths, after) = figure_word(pieces, next + 1)?;
        value += f64::from(tenths) / 10.0;
        next = after;
    }
    let of = usize::from(pieces.get(next)?.is_word("of"));
    let (power, next) = times_ten(pieces, next)
        .or_else(|| ten_to_minus(pieces, next + of))
        .or_else(|| exponent_after(pieces, next))
        .or_else(|| in_minus(pieces, next))?;
    (power < -1).then(|| Number::of_power(value, power, next))
}

/// `ten to the minus five`, `ten-to-minus-six`.
fn ten_to_minus(pieces: &[Piece<'_>], at: usize) -> Option<(i32, usize)> {
    let ten = pieces.get(at)?;
    if !(ten.is_word("ten") || ten.lex == Lex::Number("10")) {
        return None;
    }
    let mut next = at + 1;
    while pieces.get(next).is_some_and(|piece| {
        piece.lex == Lex::Sign('-') || ["to", "the"].iter().any(|word| piece.is_word(word))
    }) {
        next += 1;
    }
    (next > at + 1).then_some(())?;
    in_minus(pieces, next)
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
