//! Units of pressure as people write them, those among them that no field of a form offers.

use crate::{
    search::reading::lexer::{Lex, Piece},
    vacuum::units::PressureUnit,
};

/// A unit as written: so many powers of ten of one that the project names.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Written {
    /// The named unit.
    pub(super) named: PressureUnit,
    /// The written one is 10 to this of it.
    pub(super) shift: f64,
}

/// Pascals of a pound-force per square inch (NIST SP 811, appendix B.8).
const POUND_PER_SQUARE_INCH: f64 = 6_894.757;

/// What may stand before a unit, and its power of ten (SI brochure, 9th edition, table 7).
const PREFIXES: [(&str, f64); 13] = [
    ("", 0.0),
    ("k", 3.0),
    ("kilo", 3.0),
    ("h", 2.0),
    ("hecto", 2.0),
    ("m", -3.0),
    ("milli", -3.0),
    ("u", -6.0),
    ("micro", -6.0),
    ("n", -9.0),
    ("nano", -9.0),
    ("p", -12.0),
    ("pico", -12.0),
];

/// The unit that begins with this piece, and how many pieces it takes.
pub(super) fn unit(pieces: &[Piece<'_>], at: usize) -> Option<(Written, usize)> {
    let Lex::Word(word) = pieces.get(at)?.lex else {
        return None;
    };
    let next = match pieces.get(at + 1).map(|piece| piece.lex) {
        Some(Lex::Word(next)) => next,
        _ => "",
    };
    // `m torr`, `micro bar`, `mm Hg`
    let apart = ["m", "milli", "micro", "µ", "μ", "k", "mm", "um", "µm", "μm"];
    if apart.iter().any(|prefix| word.eq_ignore_ascii_case(prefix))
        && ["torr", "bar", "hg", "pascal", "pascals"]
            .iter()
            .any(|unit| next.eq_ignore_ascii_case(unit))
        && let Some(unit) = of_word(&format!("{word}{next}"))
    {
        return Some((unit, 2));
    }
    let used = 1 + of_mercury(pieces, at + 1);
    of_word(word).map(|unit| (unit, used))
}

/// `4 microns of mercury`
fn of_mercury(pieces: &[Piece<'_>], at: usize) -> usize {
    let word = |at: usize, any: &[&str]| {
        let piece = pieces.get(at);
        piece.is_some_and(|piece| any.iter().any(|word| piece.is_word(word)))
    };
    let of = word(at, &["of"]) && word(at + 1, &["mercury", "hg"]);
    2 * usize::from(of)
}

/// The unit of which a word is a slip of the hand, `4e-5 mabr`: behind a number that can be nothing but a
/// pressure.
pub(super) fn slip(word: &str) -> Option<Written> {
    const SHORT: [(&str, &str); 6] = [
        ("tor", "torr"),
        ("trr", "torr"),
        ("tro", "torr"),
        ("mbr", "mbar"),
        ("mba", "mbar"),
        ("mtor", "mtorr"),
    ];
    const UNITS: [&str; 5] = ["mbar", "torr", "mtorr", "pascal", "micron"];
    // One letter off a unit, and words.
    const WORDS: [&str; 6] = ["torn", "tort", "tore", "tour", "more", "macron"];
    let word = word.to_lowercase();
    let short = SHORT.iter().find(|(slip, _)| *slip == word);
    let near = |unit: &&str| strsim::osa_distance(&word, unit) == 1;
    let long = || {
        let fits = word.len() > 3 && !WORDS.contains(&&*word);
        fits.then(|| UNITS.into_iter().find(near)).flatten()
    };
    of_word(short.map(|(_, unit)| *unit).or_else(long)?)
}

fn of_word(word: &str) -> Option<Written> {
    let written = |named, shift| Some(Written { named, shift });
    if ["MPa", "Mpa"].contains(&word) {
        // Air and water, so that it is not taken for thousandths of a pascal.
        return written(PressureUnit::Pascal, 6.0);
    }
    if let Some(named) = PressureUnit::spelled(word) {
        return written(named, 0.0);
    }
    match word {
        "T" => return written(PressureUnit::Torr, 0.0),
        "mT" | "mt" => return written(PressureUnit::Millitorr, 0.0),
        "µ" | "μ" => return written(PressureUnit::Micron, 0.0),
        _ => {}
    }
    let plain = word.to_lowercase().replace(['µ', 'μ'], "u");
    match plain.as_str() {
        // Conventional millimetre of mercury, the same to seven figures (NIST SP 811, appendix B.8).
        "mmhg" => return written(PressureUnit::Torr, 0.0),
        "umhg" => return written(PressureUnit::Micron, 0.0),
        "psi" | "psia" => return written(PressureUnit::Pascal, POUND_PER_SQUARE_INCH.log10()),
        _ => {}
    }
    let plain = plain.strip_suffix('s').unwrap_or(&plain);
    [
        ("torr", PressureUnit::Torr, 0.0),
        ("bar", PressureUnit::Pascal, 5.0),
        ("pascal", PressureUnit::Pascal, 0.0),
        ("pa", PressureUnit::Pascal, 0.0),
    ]
    .into_iter()
    .find_map(|(unit, named, shift)| {
        let before = plain.strip_suffix(unit)?;
        let (_, power) = PREFIXES.iter().find(|(prefix, _)| *prefix == before)?;
        written(named, shift + power)
    })
}

/// Words after a number that make it something else than a pressure.
pub(super) fn is_other(word: &str) -> bool {
    const OTHER: [&str; 64] = [
        "sccm", "slm", "std", "cc", "mbarl", "torrl", "a", "ma", "amp", "amps", "ampere",
        "amperes", "w", "kw", "watt", "watts", "v", "kv", "volt", "volts", "k", "kelvin", "c",
        "hz", "khz", "ohm", "ohms", "rpm", "amu", "mm", "cm", "nm", "um", "inch", "inches", "mil",
        "mils", "inhg", "psig", "barg", "g", "gram", "grams", "kg", "s", "sec", "secs", "second",
        "seconds", "min", "mins", "minute", "minutes", "h", "hr", "hrs", "hour", "hours", "day",
        "days", "week", "weeks", "turn", "turns",
    ];
    OTHER.iter().any(|other| word.eq_ignore_ascii_case(other))
}
