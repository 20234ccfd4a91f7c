//! Mass numbers read off an instrument: `RGA shows 43 and 58`, `57 on the scan`, `28 peak`. Only numbers are
//! taken that somebody names of a residual gas, and no count of something else.

use super::{Read, Sort, another_mass, glued, is_any, listed, of_unit};
use crate::search::reading::lexer::{Lex, Piece};

/// Masses that people name of a residual gas, of air, water, pumps, solvents and oils (those of the
/// patterns in `seed-data/cracking-patterns.toml`, and peaks of long hydrocarbons); other numbers around a
/// stroke are dates or parts.
const MASSES: [u16; 52] = [
    1, 2, 4, 12, 13, 14, 15, 16, 17, 18, 19, 20, 22, 26, 27, 28, 29, 30, 31, 32, 34, 36, 38, 39,
    40, 41, 42, 43, 44, 45, 46, 51, 53, 55, 56, 57, 58, 59, 60, 64, 67, 69, 70, 71, 77, 78, 81, 83,
    85, 91, 97, 99,
];

/// What shows masses.
const INSTRUMENTS: [&str; 13] = [
    "rga",
    "analyser",
    "analyzer",
    "scan",
    "scans",
    "spectrum",
    "spectra",
    "spectrometer",
    "qms",
    "quadrupole",
    "quad",
    "trace",
    "msp",
];

/// Between an instrument and the masses it shows so many pieces stand at most.
const FAR: usize = 7;

/// Right before masses that an instrument shows.
const BEFORE_MASSES: [&str; 34] = [
    "show", "shows", "showed", "showing", "see", "sees", "saw", "seeing", "read", "reads", "say",
    "says", "has", "had", "have", "with", "is", "was", "are", "at", "all", "only", "mostly",
    "just", "mainly", "a", "the", "little", "big", "high", "and", "plus", "also", "still",
];

/// Behind a number that counts something else than masses.
const COUNTED: [&str; 30] = [
    "jan",
    "feb",
    "mar",
    "apr",
    "may",
    "jun",
    "jul",
    "aug",
    "sep",
    "oct",
    "nov",
    "dec",
    "january",
    "february",
    "march",
    "april",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
    "times",
    "x",
    "percent",
    "scans",
    "turns",
    "am",
    "pm",
];

/// Whether a word says that masses are told: an instrument, or what they are called.
pub(in crate::search) fn tells_spectrum(piece: &Piece<'_>) -> bool {
    is_any(piece, &INSTRUMENTS)
        || is_any(
            piece,
            &["mass", "masses", "amu", "mz", "z", "peak", "peaks"],
        )
}

pub(in crate::search) fn is_known(mass: &f64) -> bool {
    MASSES.iter().any(|known| f64::from(*known) == *mass)
}

/// Whether a number standing by itself is a mass rather than a count.
pub(in crate::search) fn is_sure(mass: &f64) -> bool {
    *mass >= 12.0 && is_known(mass)
}

/// `RGA shows 43 and 58`, `analyser sees only 18 and 17`, `57 on the scan`, `28 peak`.
pub(super) fn of_a_scan(pieces: &[Piece<'_>], at: usize) -> Option<Read> {
    if glued(pieces, at) {
        return None;
    }
    let mut masses = listed(&pieces[at])?;
    let mut next = at + 1;
    loop {
        if let Some((another, after)) = another_mass(pieces, next) {
            masses.extend(another);
            next = after;
        } else if let Some(bare) = pieces.get(next).filter(|piece| piece.spaced)
            && let Some(another) = listed(bare)
        {
            masses.extend(another);
            next += 1;
        } else {
            break;
        }
    }
    let fits = match masses.as_slice() {
        [one] => is_sure(one),
        several => several.iter().all(is_known),
    };
    let counts = pieces.get(next).is_some_and(|piece| {
        matches!(piece.lex, Lex::Sign('-' | '°')) && !piece.spaced
            || matches!(piece.lex, Lex::Sign('%'))
            || is_any(piece, &COUNTED)
            || of_unit(pieces, next, 5.0).is_some()
            || of_other_unit(piece)
    });
    let peak = pieces
        .get(next)
        .is_some_and(|piece| is_any(piece, &["peak", "peaks"]))
        && masses.iter().all(is_sure);
    let beside = masses.iter().all(is_sure) && beside_another(pieces, next);
    let shown = peak || beside || shown_before(pieces, at) || shown_behind(pieces, next);
    (fits && !counts && shown).then_some((Sort::Mass, masses, next))
}

/// Whether an instrument stands before a number, with nothing between that would be counted by it.
fn shown_before(pieces: &[Piece<'_>], at: usize) -> bool {
    let is_instrument = |piece: &Piece<'_>| is_any(piece, &INSTRUMENTS);
    let Some(last) = at.checked_sub(1).map(|last| &pieces[last]) else {
        return false;
    };
    let leads = is_instrument(last)
        || is_any(last, &BEFORE_MASSES)
        || matches!(last.lex, Lex::Sign(':' | ',' | '='));
    let mut before = pieces[at.saturating_sub(FAR)..at].iter().rev();
    leads
        && before
            .by_ref()
            .take_while(|piece| {
                !matches!(piece.lex, Lex::Sign('.' | ';' | '(' | ')') | Lex::Number(_))
            })
            .any(is_instrument)
}

/// Whether another mass is said behind it not to be there: `28 way up and no 32`.
fn beside_another(pieces: &[Piece<'_>], next: usize) -> bool {
    const HIGH: [&str; 9] = [
        "way", "well", "very", "high", "up", "big", "strong", "and", "but",
    ];
    let behind = pieces.get(next..).unwrap_or_default().iter();
    let mut rest =
        behind.skip_while(|piece| is_any(piece, &HIGH) || matches!(piece.lex, Lex::Sign(',')));
    let denied = rest
        .next()
        .is_some_and(|piece| is_any(piece, &["no", "without", "not"]));
    let mass = rest.next().and_then(listed);
    denied && mass.is_some_and(|masses| masses.iter().all(is_sure))
}

/// Whether the words behind say that they are read off an instrument: `gone from the scan`.
fn shown_behind(pieces: &[Piece<'_>], next: usize) -> bool {
    let mut at = next;
    let skip = |at: &mut usize, words: &[&str], most: usize| {
        let end = *at + most;
        while *at < end && pieces.get(*at).is_some_and(|piece| is_any(piece, words)) {
            *at += 1;
        }
    };
    skip(
        &mut at,
        &["gone", "high", "up", "big", "peak", "peaks", "only"],
        2,
    );
    let linked = pieces
        .get(at)
        .is_some_and(|piece| is_any(piece, &["on", "in", "from", "off"]));
    skip(
        &mut at,
        &["on", "in", "from", "off", "the", "our", "my", "a", "little"],
        3,
    );
    linked
        && pieces
            .get(at)
            .is_some_and(|piece| is_any(piece, &INSTRUMENTS))
}

/// Whether a word is a unit of something that is no mass.
fn of_other_unit(piece: &Piece<'_>) -> bool {
    const UNITS: [&str; 9] = ["a", "ma", "v", "kv", "c", "kg", "g", "rpm", "times"];
    is_any(piece, &UNITS)
}
