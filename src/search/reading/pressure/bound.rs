//! What keeps pressures out: `< 1e-6`, `below 1e-6 torr`, `more than 4e-5`, `1e-5 or worse`, `1e-5..`.
//!
//! `Won't go below 4e-5` and `got under 1e-6` tell where a reading stands or stood, and keep nothing
//! out; the words belong to the number all the same.

use super::{Found, ends_clause, words_before};
use crate::search::reading::lexer::{Lex, Piece};

/// Which side of a number is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    /// No higher than it.
    Below,
    /// No lower than it.
    Above,
}

use Side::{Above, Below};

impl Side {
    fn other(self) -> Self {
        match self {
            Below => Above,
            Above => Below,
        }
    }
}

/// Of a pressure these alone say on which side.
const ALONE: [(&str, Side); 12] = [
    ("above", Above),
    ("over", Above),
    ("exceeding", Above),
    ("exceeds", Above),
    ("minimum", Above),
    ("min", Above),
    ("below", Below),
    ("under", Below),
    ("beneath", Below),
    ("maximum", Below),
    ("max", Below),
    ("within", Below),
];

/// These say it before `than` and after `or`.
const COMPARED: [(&str, Side); 13] = [
    ("more", Above),
    ("greater", Above),
    ("higher", Above),
    ("larger", Above),
    ("bigger", Above),
    ("worse", Above),
    ("less", Below),
    ("lower", Below),
    ("smaller", Below),
    ("better", Below),
    ("fewer", Below),
    ("deeper", Below),
    ("lesser", Below),
];

/// A number after these is where a reading went, not an end of a range.
const MOVES: [&str; 36] = [
    "go", "goes", "going", "went", "gone", "get", "gets", "getting", "got", "come", "comes",
    "came", "reach", "reaches", "reached", "drop", "drops", "dropped", "fall", "falls", "fell",
    "rise", "rises", "rose", "climb", "climbs", "climbed", "crept", "jumped", "pump", "pumps",
    "pumped", "pull", "pulls", "pulled", "pulling",
];

/// A thing that is not reached stands about where it is said not to go.
const FAILS: [&str; 24] = [
    "wont",
    "cannot",
    "cant",
    "t",
    "not",
    "never",
    "no",
    "nor",
    "unable",
    "fails",
    "failed",
    "fail",
    "refuses",
    "refused",
    "hardly",
    "barely",
    "doesnt",
    "didnt",
    "couldnt",
    "isnt",
    "nothing",
    "struggles",
    "impossible",
    "without",
];

fn side_of(list: &[(&str, Side)], word: &str) -> Option<Side> {
    let mut list = list.iter();
    list.find_map(|(other, side)| word.eq_ignore_ascii_case(other).then_some(*side))
}

fn is_any(word: &str, list: &[&str]) -> bool {
    list.iter().any(|other| word.eq_ignore_ascii_case(other))
}

/// `<`, `>=`, `≤` at a piece, or the two points of `..1e-5`, and how many pieces it takes.
pub(super) fn sign(pieces: &[Piece<'_>], at: usize) -> Option<(Side, usize)> {
    let side = match pieces[at].lex {
        Lex::Sign('<' | '≤') => Below,
        Lex::Sign('>' | '≥') => Above,
        Lex::Sign('.') if two_points(pieces, at) && begins(pieces, at) => {
            let number = pieces.get(at + 2).filter(|piece| !piece.spaced)?;
            return matches!(number.lex, Lex::Number(_)).then_some((Below, 2));
        }
        _ => return None,
    };
    let equals = pieces.get(at + 1).is_some_and(|p| p.lex == Lex::Sign('='));
    Some((side, 1 + usize::from(equals)))
}

/// The piece after `1e-5..`, a range without an upper end. Three points, or two within a sentence, are
/// a pause.
pub(super) fn open_end(pieces: &[Piece<'_>], first: usize, next: usize) -> Option<usize> {
    let glued = pieces.get(next).is_some_and(|piece| !piece.spaced);
    let ends = pieces.get(next + 2).is_none_or(|piece| piece.spaced);
    let open = glued && ends && two_points(pieces, next) && begins(pieces, first);
    open.then_some(next + 2)
}

/// Whether two points and no third stand here.
fn two_points(pieces: &[Piece<'_>], at: usize) -> bool {
    let point = |at: usize| pieces.get(at).is_some_and(|p| p.lex == Lex::Sign('.'));
    let before = at.checked_sub(1).is_some_and(point);
    !before && point(at) && point(at + 1) && !pieces[at + 1].spaced && !point(at + 2)
}

/// Whether a text, or a clause of it, begins here.
fn begins(pieces: &[Piece<'_>], at: usize) -> bool {
    at.checked_sub(1)
        .is_none_or(|before| ends_clause(&pieces[before]))
}

/// Where a number from `first` to `next` begins and ends with the words that bound it, and which side
/// they leave; nothing before `done` belongs to it.
pub(super) fn worded(
    pieces: &[Piece<'_>],
    first: usize,
    next: usize,
    done: usize,
) -> (usize, usize, Option<Side>) {
    if let Some((start, side)) = before(pieces, first, done) {
        return (start, next, side);
    }
    match after(pieces, next) {
        Some((next, side)) => (first, next, Some(side)),
        None => (first, next, None),
    }
}

fn word<'a>(pieces: &[Piece<'a>], at: Option<usize>, done: usize) -> &'a str {
    match at.filter(|at| *at >= done).and_then(|at| pieces.get(at)) {
        Some(Piece {
            lex: Lex::Word(word),
            ..
        }) => word,
        _ => "",
    }
}

fn before(pieces: &[Piece<'_>], first: usize, done: usize) -> Option<(usize, Option<Side>)> {
    let back = |by: usize| word(pieces, first.checked_sub(by), done);
    let mut skipped = 0;
    while is_any(
        back(1 + skipped),
        &["about", "approx", "roughly", "around", "the"],
    ) {
        skipped += 1;
    }
    let back = |by: usize| back(by + skipped);
    let (side, used) = if let Some(side) = side_of(&ALONE, back(1)) {
        (side, 1)
    } else if back(1).eq_ignore_ascii_case("than") {
        (side_of(&COMPARED, back(2))?, 2)
    } else if back(2).eq_ignore_ascii_case("at") && back(1).eq_ignore_ascii_case("least") {
        (Above, 2)
    } else if back(2).eq_ignore_ascii_case("at") && back(1).eq_ignore_ascii_case("most") {
        (Below, 2)
    } else if back(2).eq_ignore_ascii_case("up") && back(1).eq_ignore_ascii_case("to") {
        // `Went up to` and `back up to` tell of a rise.
        let asked = [
            "",
            "pressure",
            "pressures",
            "base",
            "anything",
            "all",
            "cases",
        ];
        if !is_any(back(3), &asked) {
            return None;
        }
        (Below, 2)
    } else if back(1).eq_ignore_ascii_case("of")
        && is_any(back(2), &["upwards", "upward", "excess"])
    {
        (Above, 2)
    } else {
        return None;
    };
    let start = first - used - skipped;
    let earlier = back(used + 1);
    let negated = is_any(earlier, &["no", "not"]);
    if negated && (side == Above || back(2).eq_ignore_ascii_case("less")) {
        return Some((start - 1, Some(side.other())));
    }
    let fails = side == Below
        && words_before(pieces, start, done)
            .take(6)
            .any(|word| is_any(word, &FAILS));
    let moves = is_any(earlier, &MOVES);
    let kept = !(fails || moves);
    // `Never below` and `will not pull below` are said of the number, not of anything else.
    let moved = usize::from(moves);
    let start = match fails && is_any(back(used + 1 + moved), &FAILS) {
        true => start - 1 - moved,
        false => start,
    };
    Some((start, kept.then_some(side)))
}

/// `or worse`, `or less`, `and up`, `max`.
fn after(pieces: &[Piece<'_>], next: usize) -> Option<(usize, Side)> {
    let ahead = |by: usize| word(pieces, Some(next + by), 0);
    let ends = |at: usize| {
        pieces
            .get(at)
            .is_none_or(|piece| !matches!(piece.lex, Lex::Word(_) | Lex::Number(_)))
    };
    let more = [
        ("above", Above),
        ("over", Above),
        ("up", Above),
        ("upwards", Above),
        ("below", Below),
        ("under", Below),
    ];
    let compared = side_of(&COMPARED, ahead(1)).or(side_of(&more, ahead(1)));
    match ahead(0).to_ascii_lowercase().as_str() {
        "or" => Some((next + 2, compared?)),
        "and" if ends(next + 2) => Some((next + 2, compared?)),
        "max" | "maximum" if ends(next + 1) => Some((next + 1, Below)),
        "min" | "minimum" if ends(next + 1) => Some((next + 1, Above)),
        _ => None,
    }
}

/// Makes one range of two that follow one another with one end each: `> 1e-5 and < 1e-4`.
pub(super) fn join(pieces: &[Piece<'_>], found: &mut Vec<Found>) {
    let mut at = 0;
    while at + 1 < found.len() {
        let (a, b) = (&found[at], &found[at + 1]);
        let near = pieces[a.next..b.first].iter().all(|piece| {
            matches!(piece.lex, Lex::Sign(',' | '&'))
                || piece.is_word("and")
                || piece.is_word("but")
        });
        let open = |found: &Found| {
            let reading = &found.reading;
            reading.bounded && (reading.low.is_infinite() != reading.high.is_infinite())
        };
        let unit = a.reading.unit.or(b.reading.unit);
        let same = a.reading.unit.is_none()
            || b.reading.unit.is_none()
            || a.reading.unit == b.reading.unit;
        let low = a.reading.low.max(b.reading.low);
        let high = a.reading.high.min(b.reading.high);
        let one = near
            && open(a)
            && open(b)
            && same
            && low.is_finite()
            && high.is_finite()
            && low <= high;
        if one {
            let next = found.remove(at + 1);
            let own = &mut found[at];
            own.reading.place.end = next.reading.place.end;
            (own.reading.low, own.reading.high, own.reading.unit) = (low, high, unit);
            own.next = next.next;
        }
        at += 1;
    }
}
