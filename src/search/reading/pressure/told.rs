//! Which of a text's pressures is how things stand, which how they were or ought to be, and which is
//! read at another place than the chamber.
//!
//! `Normally` and `instead of` say it of any number; `was`, `yesterday` and `last week` only beside
//! another number, since `it was stuck at 4e-5` tells of the fault.

use super::{Found, Told, ends_clause, words_before};
use crate::{
    search::reading::lexer::{Lex, Piece},
    vacuum::units::PressureUnit,
};

/// Beside a number these say how things ought to be, or were.
const BEFORE: [&str; 24] = [
    "used",
    "normal",
    "normally",
    "usual",
    "usually",
    "typical",
    "typically",
    "healthy",
    "spec",
    "specified",
    "should",
    "against",
    "before",
    "formerly",
    "previously",
    "originally",
    "prior",
    "instead",
    "vs",
    "versus",
    "expected",
    "nominal",
    "nominally",
    "supposed",
];

/// These say that things were so, if another number says how they are.
const PAST: [&str; 16] = [
    "was",
    "were",
    "had",
    "yesterday",
    "last",
    "ago",
    "earlier",
    "until",
    "monday",
    "tuesday",
    "wednesday",
    "thursday",
    "friday",
    "saturday",
    "sunday",
    "initially",
];

/// These say how things are.
const NOW: [&str; 7] = [
    "now",
    "today",
    "currently",
    "presently",
    "tonight",
    "nowadays",
    "meanwhile",
];

/// A number becomes another by these.
const CHANGES: [&str; 30] = [
    "went",
    "goes",
    "going",
    "gone",
    "rose",
    "rises",
    "rising",
    "risen",
    "climbed",
    "climbs",
    "jumped",
    "jumps",
    "crept",
    "creeps",
    "fell",
    "falls",
    "dropped",
    "drops",
    "changed",
    "changes",
    "increased",
    "increases",
    "degraded",
    "worsened",
    "improved",
    "moved",
    "shifted",
    "became",
    "came",
    "up",
];

/// Before `from` these make two numbers a range.
const RANGES: [&str; 10] = [
    "range", "ranges", "ranging", "ranged", "varies", "vary", "varied", "varying", "anywhere",
    "anything",
];

/// Where the pressure is not the chamber's.
const PLACES: [&str; 5] = ["foreline", "forelines", "backing", "forevacuum", "fore"];

/// Of a line that is told by two words the second: `roughing line 20 mtorr`, where `roughing stalls at 300
/// mtorr` is said of the chamber.
const LINE: &str = "line";

/// Where such a place is named behind a number, `200 microns in the foreline`, `250 mtorr foreline scroll`, these
/// name a part of it, and the number may be of anything: `0.4 mbar, foreline valve shut`.
const PARTS: [&str; 22] = [
    "valve",
    "valves",
    "hose",
    "clamp",
    "clamps",
    "fitting",
    "fittings",
    "flange",
    "flanges",
    "trap",
    "bellows",
    "pump",
    "pumps",
    "leak",
    "leaks",
    "elbow",
    "tee",
    "seal",
    "seals",
    "isolation",
    "filter",
    "oring",
];

/// These end a place told by two words: `turbo exhaust`.
const EXHAUST: [&str; 2] = ["exhaust", "outlet"];

/// Less than this power of ten of a pascal a pump that backs another does not reach, so that it is read in
/// the chamber whatever else is named beside it (common practice, no source).
const LOWEST_ELSEWHERE: f64 = -1.5;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Cue {
    Before,
    /// So many words away.
    Past(usize),
    Now,
}

fn is_any(word: &str, list: &[&str]) -> bool {
    list.iter().any(|other| word.eq_ignore_ascii_case(other))
}

/// Whether the words before a number make it one that changed `to` the next.
pub(super) fn changes(pieces: &[Piece<'_>], at: usize, done: usize) -> bool {
    let mut words = words_before(pieces, at, done);
    match words.next() {
        Some(word) if word.eq_ignore_ascii_case("from") => {
            words.next().is_none_or(|word| !is_any(word, &RANGES))
        }
        Some(word) => is_any(word, &CHANGES),
        None => false,
    }
}

/// Decides what each number says.
pub(super) fn settle(pieces: &[Piece<'_>], found: &mut [Found]) {
    let cues: Vec<Option<Cue>> = (0..found.len()).map(|at| cue(pieces, found, at)).collect();
    for at in 0..found.len() {
        if elsewhere(pieces, found, at) {
            found[at].reading.told = Told::Elsewhere;
            // `Foreline from 40 to 200 mtorr`: both were read there.
            if found[at].paired
                && let [first, second, ..] = &mut found[at..]
                && second.reading.told == Told::Now
            {
                first.reading.told = Told::Aside;
                second.reading.told = Told::Elsewhere;
            }
            continue;
        }
        if found[at].settled {
            continue;
        }
        let stands = |other: usize| !matches!(cues[other], Some(Cue::Before | Cue::Past(_)));
        let before = match cues[at] {
            Some(Cue::Before) => true,
            Some(Cue::Past(away)) => {
                let later = at + 1..found.len();
                let higher = |other: usize| {
                    found[other].reading.high.min(1e3) > found[at].reading.low.max(-1e3)
                };
                (0..at).any(stands)
                    || later.clone().any(|other| cues[other] == Some(Cue::Now))
                    || later
                        .clone()
                        .any(|other| away == 0 && stands(other) && higher(other))
            }
            Some(Cue::Now) | None => false,
        };
        if before {
            found[at].reading.told = Told::Before;
            if found[at].reading.bounded && open(&found[at]) {
                // An end of how things were keeps no case out.
                let own = found[at].reading.clone();
                found[at].reading = own.without_bounds();
            }
        }
    }
}

/// Whether the words beside another quantity, from one piece to before another, say that it was so before or
/// ought to be: `25 minutes, usually 12 min`, `1 hour and not 25 min`, `from 12 K to 21 K`.
pub(in crate::search) fn of_before(pieces: &[Piece<'_>], first: usize, next: usize) -> bool {
    let becomes = pieces.get(next).is_some_and(|piece| piece.is_word("to"))
        && matches!(
            pieces.get(next + 1).map(|piece| piece.lex),
            Some(Lex::Number(_))
        );
    let mut before = words_before(pieces, first, 0).take(2).enumerate();
    before.any(|(away, word)| {
        let left =
            word.eq_ignore_ascii_case("not") || (becomes && word.eq_ignore_ascii_case("from"));
        is_any(word, &BEFORE) || (away == 0 && left)
    }) || after(pieces, next, pieces.len()) == Some(Cue::Before)
}

/// Whether words say no more than where a pressure is read: `foreline`, `backing line`.
pub(in crate::search) fn tells_place(words: &str) -> bool {
    let mut words = words.split_whitespace();
    words.all(|word| is_any(word, &PLACES) || word.eq_ignore_ascii_case(LINE))
}

/// Whether the words beside a number say that it was read at another place than the chamber.
fn elsewhere(pieces: &[Piece<'_>], found: &[Found], at: usize) -> bool {
    let own = &found[at];
    let unit = own.reading.unit.unwrap_or(PressureUnit::Torr);
    let (low, high) = own.reading.pascals(unit);
    if (if low.is_finite() { low } else { high }) < LOWEST_ELSEWHERE {
        return false;
    }
    let done = at.checked_sub(1).map_or(0, |before| found[before].next);
    // `Foreline: 0.2 mbar`, `foreline (0.2 mbar)`
    let label = own
        .first
        .checked_sub(1)
        .filter(|before| *before >= done && matches!(pieces[*before].lex, Lex::Sign(':' | '(')));
    let before = words_before(pieces, label.unwrap_or(own.first), done);
    let before: Vec<_> = before.take(4).collect();
    let of_line = before
        .windows(2)
        .any(|two| two[0].eq_ignore_ascii_case(LINE) && two[1].eq_ignore_ascii_case("roughing"));
    if of_line || before.iter().any(|word| is_any(word, &PLACES)) {
        return true;
    }
    let word = |at: usize| match pieces.get(at).map(|piece| piece.lex) {
        Some(Lex::Word(word)) => word,
        _ => "",
    };
    let mut next = own.next;
    while is_any(word(next), &["in", "at", "on", "the"]) {
        next += 1;
    }
    let behind = word(next + 1);
    let exhaust = word(next).eq_ignore_ascii_case("turbo") && is_any(behind, &EXHAUST);
    exhaust || (is_any(word(next), &PLACES) && !is_any(behind, &PARTS))
}

fn open(found: &Found) -> bool {
    found.reading.low.is_infinite() || found.reading.high.is_infinite()
}

/// What the words around a number say.
fn cue(pieces: &[Piece<'_>], found: &[Found], at: usize) -> Option<Cue> {
    let own = &found[at];
    let done = at.checked_sub(1).map_or(0, |before| found[before].next);
    let until = found.get(at + 1).map_or(pieces.len(), |next| next.first);
    let later = found
        .get(at + 1)
        .is_some_and(|_| follows(pieces, found, at + 1));
    let shared = |from: usize, to: usize| !pieces[from..to].iter().any(ends_clause);
    // Words between two numbers go with the second, unless that has its own after it.
    let taken = done > 0
        && shared(done, own.first)
        && follows(pieces, found, at)
        && after(pieces, done, own.first).is_some();
    let mut said = match taken {
        true => None,
        false => ahead(pieces, own, done),
    };
    if said.is_none() && comes_from(pieces, own.first, done) {
        said = Some(Cue::Before);
    }
    if said.is_some() {
        return said;
    }
    let free = until == pieces.len() || !shared(own.next, until) || later;
    if free {
        let said = after(pieces, own.next, until);
        if said.is_some() {
            return said;
        }
    }
    // `3e-7 went up to 4e-5`
    let gap: Vec<_> = words_before(pieces, until, own.next).take(4).collect();
    let becomes = until < pieces.len()
        && shared(own.next, until)
        && gap.first().is_some_and(|word| is_any(word, &["to", "at"]))
        && gap.iter().any(|word| is_any(word, &CHANGES));
    becomes.then_some(Cue::Before)
}

/// Whether words after a number say when it was, with no other number that they could belong to.
fn follows(pieces: &[Piece<'_>], found: &[Found], at: usize) -> bool {
    let until = found.get(at + 1).map_or(pieces.len(), |next| next.first);
    after(pieces, found[at].next, until).is_some()
}

/// `from 3e-7` after another number, and `up from 3e-7` by itself.
fn comes_from(pieces: &[Piece<'_>], first: usize, done: usize) -> bool {
    let mut words = words_before(pieces, first, done);
    let from = words
        .next()
        .is_some_and(|word| word.eq_ignore_ascii_case("from"));
    from && (done > 0 || words.next().is_some_and(|word| is_any(word, &CHANGES)))
}

/// What up to four words before a number say, the nearest first.
fn ahead(pieces: &[Piece<'_>], own: &Found, done: usize) -> Option<Cue> {
    // `4e-5 not 3e-7` denies a number; `not below 3e-7` does not.
    let bare = own.reading.number.start == own.reading.place.start;
    let mut past = None;
    // A label says it of its number: `normal: 5e-7`.
    let label = own
        .first
        .checked_sub(1)
        .filter(|at| matches!(pieces[*at].lex, Lex::Sign(':' | '=')) && *at >= done);
    let first = label.unwrap_or(own.first);
    for (away, word) in words_before(pieces, first, done).take(4).enumerate() {
        if away == 0 && bare && word.eq_ignore_ascii_case("not") {
            return Some(Cue::Before);
        }
        if is_any(word, &BEFORE) {
            return Some(Cue::Before);
        }
        if is_any(word, &PAST) {
            past = past.or(Some(Cue::Past(away)));
        }
        if is_any(word, &NOW) {
            return past.or(Some(Cue::Now));
        }
    }
    past
}

/// What the words right after a number say: `5e-7 before`, with nothing said of what it was before.
fn after(pieces: &[Piece<'_>], next: usize, until: usize) -> Option<Cue> {
    let word = |at: usize| match pieces.get(at).filter(|_| at < until).map(|piece| piece.lex) {
        Some(Lex::Word(word)) => word,
        _ => "",
    };
    let mut at = next;
    let on = is_any(word(at), &["on"]);
    while is_any(word(at), &["is", "it", "the", "as", "on", "in"]) {
        at += 1;
    }
    let ends = |at: usize| {
        at >= until
            || !matches!(
                pieces[at].lex,
                Lex::Word(_) | Lex::Number(_) | Lex::Sign(':' | '=')
            )
            || is_any(word(at), &["and", "but", "now", "then", "today"])
    };
    let first = word(at);
    if is_any(first, &NOW) {
        return Some(Cue::Now);
    }
    if is_any(first, &BEFORE)
        && !is_any(
            first,
            &["used", "should", "against", "vs", "versus", "instead"],
        )
    {
        return ends(at + 1).then_some(Cue::Before);
    }
    let ago = (at..at + 4).any(|at| word(at).eq_ignore_ascii_case("ago"));
    let past = is_any(first, &["yesterday", "last", "earlier", "until", "on"])
        || (on && first.ends_with("day") && is_any(first, &PAST))
        || ago;
    past.then_some(Cue::Past(0))
}
