//! Where a text begins to rule something out, and in which direction.

use std::ops::Range;

use super::{
    Told,
    lists::{
        AFTER_NOT_IT, ANSWERS, AT_ALL, CLAUSE, COMPARED, COURSE, DUE, FILLED, FILLINGS, FINDS,
        FITTED, FREE_OF, IN_PLACE, IN_VAIN, IS, LACKED, LOOKED_FOR, MEDIA, NO_CAUSE, NO_EFFECT,
        NO_THEN, NOT_IT, NOT_SO, PLACED, REACH, READS, RUNS, SEALING, SEEN_NOW, SHOWS, SOUGHT,
        STATES, TESTS, THING_FOLLOWS, THINGS, THINGS_IN_ING, THINKS, TO_THE_THING, TRIALS, TURNS,
        WELL_THEN,
    },
};

/// Words that rule something out.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Cue {
    /// Those words.
    pub(super) own: Range<usize>,
    /// From which word on they rule out.
    pub(super) forward: Option<usize>,
    /// Back from which word.
    pub(super) backward: Option<usize>,
    /// A word that is ruled out as well.
    pub(super) also: Option<usize>,
    /// A word that is told to be lacking; then nothing is ruled out.
    pub(super) lacks: Option<usize>,
    /// Whether things joined by "and" are all meant.
    pub(super) lists: bool,
    /// Whether something is said not to be there, which says nothing of where.
    pub(super) absent: bool,
    /// How many words they reach.
    pub(super) most: usize,
}

impl Cue {
    /// Words that only say that something is in doubt.
    fn of(own: Range<usize>) -> Self {
        Self {
            own,
            forward: None,
            backward: None,
            also: None,
            lacks: None,
            lists: false,
            absent: false,
            most: REACH,
        }
    }

    fn forward(own: Range<usize>) -> Option<Self> {
        let forward = Some(own.end);
        Some(Self {
            forward,
            ..Self::of(own)
        })
    }

    fn backward(last: usize, own: Range<usize>) -> Option<Self> {
        Some(Self {
            backward: Some(last),
            ..Self::of(own)
        })
    }

    fn with_lists(self) -> Self {
        Self {
            lists: true,
            ..self
        }
    }
}

/// The words that [`at`] knows, as its arms name them: it is asked of no other.
pub(super) const BEGINNINGS: &[&str] = &[
    "no",
    "none",
    "nope",
    "nil",
    "without",
    "neither",
    "nor",
    "o",
    "nothing",
    "not",
    "t",
    "isnt",
    "wasnt",
    "arent",
    "werent",
    "doesnt",
    "didnt",
    "dont",
    "cant",
    "cannot",
    "couldnt",
    "wont",
    "never",
    "havent",
    "hasnt",
    "hadnt",
    "aint",
    "hardly",
    "zip",
    "zero",
    "barely",
    "still",
    "same",
    "free",
    "absence",
    "rather",
    "instead",
    "opposed",
    "other",
    "apart",
    "aside",
    "except",
    "excepting",
    "besides",
    "anything",
    "all",
    "out",
    "doubt",
    "excluding",
    "exclude",
    "excluded",
    "excludes",
    "eliminate",
    "eliminating",
    "eliminated",
    "discounted",
    "dismissed",
    "disproved",
    "disproven",
    "exonerated",
    "innocent",
    "unlikely",
    "improbable",
    "doubtful",
    "absent",
    "fine",
    "ok",
    "okay",
    "normal",
    "good",
    "clean",
    "clear",
    "tight",
    "dry",
    "spotless",
    "agree",
    "agrees",
    "agreed",
    "negative",
    "neg",
    "vain",
    "perfect",
    "happy",
];

/// What the word at a place rules out, if anything.
pub(super) fn at(told: &Told<'_>, at: usize) -> Option<Cue> {
    let next = |ahead: usize| told.plain(at + ahead);
    // `Post no 3` and `turbo no. 2` count.
    let counted = next(1).starts_with(|c: char| c.is_ascii_digit());
    match told.plain(at) {
        "no" if counted && ["", "."].contains(&told.gap(at).trim()) => None,
        "no" | "none" | "nope" | "nil" if told.ends(at) => answered(told, at),
        "none" if next(1) == "of" => Cue::forward(at..at + 2),
        // `The rise was neither line nor curve`
        "neither" if ["line", "linear", "straight", "curve", "curved"].contains(&next(1)) => None,
        "no" | "without" | "neither" | "nor" => absent(told, at, at),
        "o" if told.before(at, 1) == "w" && told.gap(at - 1) == "/" => absent(told, at - 1, at),
        "nothing" => nothing(told, at),
        "not" | "t" | "isnt" | "wasnt" | "arent" | "werent" | "doesnt" | "didnt" | "dont"
        | "cant" | "cannot" | "couldnt" | "wont" | "never" | "havent" | "hasnt" | "hadnt"
        | "aint" | "hardly" => not(told, at),
        "zip" | "zero" if told.ends(at) => unanswered(told, at, at + 1),
        "zero" if THINGS.contains(&next(1)) => Cue::forward(at..at + 1),
        "barely" if next(1) == "any" => Cue::forward(at..at + 2),
        "still" | "same" => as_before(told, at),
        "free" => free(told, at),
        "absence" if next(1) == "of" => Cue::forward(at..at + 2),
        "rather" if next(1) == "than" => Cue::forward(at..at + 2),
        "instead" if next(1) == "of" => Cue::forward(at..at + 2),
        "opposed" if next(1) == "to" => Cue::forward(at..at + 2),
        "other" if next(1) == "than" && told.before(at, 1) != "none" && !all_well(told, at) => {
            Cue::forward(at..at + 2)
        }
        "apart" | "aside" if next(1) == "from" && !all_well(told, at) => Cue::forward(at..at + 2),
        "except" | "excepting" | "besides" if next(1) != "that" && !all_well(told, at) => {
            let end = at + 1 + usize::from(next(1) == "for");
            Cue::forward(at..end)
        }
        // What could not be anything but a thing is that.
        "anything" | "all" if next(1) == "but" && !negated(told, at) && !all_well(told, at) => {
            let named = told.plain(at) == "anything" || ["the", "a", "our"].contains(&next(2));
            named.then(|| Cue::forward(at..at + 2))?
        }
        "out" if told.before(at, 1).starts_with("rul") => ruled_out(told, at - 1, at),
        "out" if next(1) == "of" && next(2) == "the" && next(3) == "question" => {
            Cue::backward(told.thing_before(at)?, at..at + 4)
        }
        "doubt" if !["no", "without", "beyond", "any"].contains(&told.before(at, 1)) => {
            let end = over(told, at + 1, &["that", "it", "s", "is", "was", "the", "a"]);
            (end > at + 1).then(|| Cue::forward(at..end))?
        }
        "out" if ["checks", "checked"].contains(&told.before(at, 1)) => {
            let thing = told.thing_before(at - 1)?;
            let at_end = told.ends(at) && !negated(told, at - 1);
            at_end.then(|| Cue::backward(thing, at - 1..at + 1))?
        }
        "excluding" | "exclude" | "excluded" | "excludes" | "eliminate" | "eliminating"
        | "eliminated" | "discounted" | "dismissed" | "disproved" | "disproven" | "exonerated"
        | "innocent" => ruled_out(told, at, at),
        "unlikely" | "improbable" | "doubtful" => match told.thing_before(at) {
            _ if negated(told, at) => None,
            Some(thing) if told.ends(at) => Cue::backward(thing, at..at + 1),
            None => {
                let mut end = at + 1;
                while ["to", "be", "that", "it", "s", "is", "a", "the"].contains(&told.plain(end)) {
                    end += 1;
                }
                Cue::forward(at..end)
            }
            Some(_) => None,
        },
        "absent" if told.ends(at) && !negated(told, at) => {
            Cue::backward(told.thing_before(at)?, at..at + 1)
        }
        "vain" if told.before(at, 1) == "in" && told.joined(at) => {
            let last = at.checked_sub(2).filter(|_| told.joined(at - 1))?;
            Cue::backward(told.thing_tried(last)?, at - 1..at + 1)
        }
        "fine" | "ok" | "okay" | "normal" | "good" | "perfect" | "happy" | "clean" | "clear"
        | "tight" | "dry" | "spotless" | "agree" | "agrees" | "agreed" | "negative" | "neg" => {
            well(told, at)
        }
        _ => None,
    }
}

/// `water: none`, `gauge? no`.
fn answered(told: &Told<'_>, at: usize) -> Option<Cue> {
    let last = at.checked_sub(1)?;
    let gap = told.gap(last);
    let asked = gap.contains([':', '?', '=', '–', '—']) || gap.trim() == "-";
    let short = gap.trim().is_empty() && last - told.begins(last) < 2;
    let own = at..at + 1;
    let plain = matches!(told.plain(at), "none" | "no");
    (asked || (short && plain && !told.words[last].common && told.names_thing(told.begins(last))))
        .then(|| Cue::backward(last, own))?
}

/// Whether a text has said before that things are well, so that an exception is what is wrong.
fn all_well(told: &Told<'_>, at: usize) -> bool {
    let well = [
        "fine", "ok", "okay", "good", "normal", "clean", "well", "tight",
    ];
    (0..at).any(|at| well.contains(&told.plain(at)))
}

/// `no flow`, `no cooling water`: the word that is lacking.
fn missed(told: &Told<'_>, at: usize) -> Option<usize> {
    for place in at + 1..at + 4 {
        if told.parted(place - 1) {
            return None;
        }
        let (plain, next) = (told.plain(place), told.plain(place + 1));
        if is_due(told, at, place) || is_filling(told, place) || is_fitted(told, at, place) {
            return Some(place);
        }
        let last = told.ends(place) || PLACED.contains(&next) || !told.names_thing(place + 1);
        if LACKED.contains(&plain) && (last || next == "water") {
            return Some(place);
        }
    }
    None
}

/// `no regen for months`: what was not done, and should have been.
fn is_due(told: &Told<'_>, at: usize, place: usize) -> bool {
    let next = told.plain(place + 1);
    let since = ["for", "since", "yet", "done", "made", "in", "within"].contains(&next);
    let ends = at > 0 && told.plain(at) == "no" && told.ends(place) && told.begins(at) < at;
    DUE.contains(&told.plain(place))
        && (since && !told.parted(place) || ends || place == at + 1 && told.ends(place))
}

/// `no oil in the pump`
fn is_filling(told: &Told<'_>, place: usize) -> bool {
    let held = ["in", "inside"].contains(&told.plain(place + 1)) && !told.parted(place);
    let mut into = place + 2..place + 5;
    let filled = |at: usize| FILLED.contains(&told.plain(at)) && !told.parted(at - 1);
    FILLINGS.contains(&told.plain(place)) && held && into.any(filled)
}

/// `without gasket`, `no o-ring fitted`
fn is_fitted(told: &Told<'_>, at: usize, place: usize) -> bool {
    let without = told.plain(at) == "without" && told.ends(place);
    let fitted = IN_PLACE.contains(&told.plain(place + 1)) && !told.parted(place);
    FITTED.contains(&told.plain(place)) && (without || fitted)
}

/// The medium in `no process gas`, `without cooling water`.
fn medium(told: &Told<'_>, at: usize) -> Option<usize> {
    for place in at + 1..at + 4 {
        if told.parted(place - 1) {
            return None;
        }
        if MEDIA.contains(&told.plain(place)) {
            return Some(place);
        }
    }
    None
}

/// `cleaned gauge, no change`, `regeneration no help`: what was done in vain.
fn in_vain(told: &Told<'_>, at: usize) -> Option<Cue> {
    let end = at + 1;
    let ends = told.ends(end) || AT_ALL.contains(&told.plain(end + 1));
    if !IN_VAIN.contains(&told.plain(end)) || told.parted(at) || !ends {
        return None;
    }
    let mut before = at.checked_sub(1)?;
    if ["makes", "made", "brought", "brings", "gave", "gives"].contains(&told.plain(before))
        && told.joined(before)
        && told.joined(at)
    {
        before -= 1;
    }
    let here = || told.joined(at).then(|| told.thing_tried(before)).flatten();
    let earlier = || {
        (!told.joined(at))
            .then(|| told.thing_tried_before(at))
            .flatten()
    };
    // `Stage water no difference`
    let short = || {
        let thing = told.thing_before(at)?;
        let fits = NO_EFFECT.contains(&told.plain(end)) && before - told.begins(before) < 3;
        (fits && thing == before && told.names_thing(told.begins(thing))).then_some(thing)
    };
    let thing = here().or_else(earlier).or_else(short)?;
    Cue::backward(thing, at..end + 1)
}

/// `Changed gauge, still same reading`, `door seal replaced still 4e-6`: what was done in vain.
fn as_before(told: &Told<'_>, at: usize) -> Option<Cue> {
    let next = told.plain(at + 1);
    let rest = told
        .text
        .get(told.words[at].place.end..)
        .unwrap_or_default();
    let rest = rest.trim_start().trim_start_matches("at ");
    let figure = rest.starts_with(|c: char| c.is_ascii_digit());
    let end = match told.plain(at) {
        "same" => at + 1,
        _ if figure => at + 1,
        _ if ["same", "bad", "high", "stuck", "leaking", "leaks", "there"].contains(&next) => {
            at + 2
        }
        _ => return None,
    };
    let follows = told.plain(end);
    let ends = end >= told.words.len()
        || told.parted(end - 1)
        || CLAUSE.contains(&follows)
        || ["reading", "result", "pressure", "base", "value", "at", "as"].contains(&follows)
        || figure;
    let mut first = at;
    while told.joined(first) && READS.contains(&told.before(first, 1)) {
        first -= 1;
    }
    let before = first.checked_sub(1)?;
    let thing = match told.joined(first) {
        true => told.thing_tried(before)?,
        false => told.thing_tried_before(first)?,
    };
    // Only the thing is ruled out; how things stand now is told by the other words.
    ends.then(|| Cue::backward(thing, at..at + 1))?
}

/// Whether what is said to be missing is the condition of a test, after which things are well: `without water
/// it falls to 1e-6`, `with no load base is good`.
fn condition(told: &Told<'_>, at: usize) -> bool {
    let with = told.plain(at) == "without" || told.before(at, 1) == "with";
    let rest = at + 1..(at + 9).min(told.words.len());
    for i in rest {
        let plain = told.plain(i);
        if (with || told.plain(i.saturating_sub(1)) == "flowing") && WELL_THEN.contains(&plain) {
            return i > at + 1;
        }
        if told.parted(i) && told.gap(i).trim() != "," {
            return false;
        }
    }
    false
}

/// `helium no response`, `helium shows nothing`: what was sprayed, where that found nothing.
fn unanswered(told: &Told<'_>, at: usize, end: usize) -> Option<Cue> {
    let sprayed = |at: &usize| ["helium", "he", "sniffer"].contains(&told.plain(*at));
    let begins = told.begins(at);
    // `Sprayed he round the flanges for an hour, nothing`
    let alone = begins == at && told.ends(end - 1);
    let earlier = at.checked_sub(1).filter(|_| alone);
    let before = earlier.map(|last| told.begins(last)..at);
    let spray = [
        "helium", "sprayed", "spraying", "sniffed", "sniffing", "hired", "with", "of",
    ];
    let in_clause = |at: &usize| {
        told.plain(*at) == "helium" || sprayed(at) && spray.contains(&told.before(*at, 1))
    };
    if let Some(helium) = before.and_then(|mut clause| clause.find(in_clause)) {
        return Some(Cue {
            also: Some(helium),
            ..Cue::of(at..end)
        });
    }
    let helium = (begins..at).rev().take(4).find(sprayed)?;
    let between = (helium + 1..at).all(|at| SHOWS.contains(&told.plain(at)));
    let next = told.plain(end + 1);
    let time = ["half", "an", "two", "three", "four", "several"].contains(&next)
        || next.starts_with(|c: char| c.is_ascii_digit());
    let placed = PLACED.contains(&told.plain(end)) && !time && !told.parted(end - 1);
    between.then(|| Cue {
        also: Some(helium),
        forward: placed.then_some(end),
        ..Cue::of(helium + 1..end)
    })
}

/// `no water`, `no sign of water`, `no fault in the gauge`.
fn absent(told: &Told<'_>, first: usize, at: usize) -> Option<Cue> {
    if let Some(cue) = in_vain(told, at) {
        return Some(cue);
    }
    if condition(told, at) {
        return None;
    }
    let begins = told.begins(first);
    if let Some(place) = medium(told, at)
        && (begins..first).any(|i| RUNS.contains(&told.plain(i)))
    {
        return Some(Cue {
            lacks: Some(place),
            ..Cue::of(first..at + 1)
        });
    }
    if ANSWERS.contains(&told.plain(at + 1))
        && !told.parted(at)
        && let Some(cue) = unanswered(told, first, at + 2)
    {
        return Some(cue);
    }
    // Before the end of a clause it is the gas, and nobody.
    if told.plain(at + 1) == "he" && told.plain(at) == "no" && told.ends(at + 1) {
        return Cue::forward(first..at + 1);
    }
    // `Cryo no longer cold`
    if told.plain(at + 1) == "longer" && told.plain(at) == "no" && !told.parted(at + 1) {
        return lacking(told, at + 2);
    }
    if let Some(lacks) = missed(told, at) {
        return Some(Cue {
            lacks: Some(lacks),
            ..Cue::of(first..at + 1)
        });
    }
    if NO_THEN.contains(&told.plain(at + 1)) || told.parted(at) {
        return None;
    }
    let sign = [
        "sign",
        "signs",
        "trace",
        "traces",
        "evidence",
        "hint",
        "indication",
        "suspicion",
    ];
    let matter = [
        "problem", "problems", "issue", "issues", "trouble", "fault", "faults",
    ];
    // `Door no issue`
    let none = matter.contains(&told.plain(at + 1)) || told.plain(at + 1) == "findings";
    if none
        && told.plain(at) == "no"
        && told.ends(at + 1)
        && let Some(thing) = told.thing_before(at)
        && thing + 1 - told.begins(thing) <= 3
    {
        return Cue::backward(thing, first..at + 2);
    }
    let of = |place: usize| {
        ["of", "with", "in", "at", "on", "from"].contains(&told.plain(place))
            && !told.parted(place - 1)
    };
    let end = if sign.contains(&told.plain(at + 1)) {
        at + 2 + usize::from(of(at + 2))
    } else if matter.contains(&told.plain(at + 1)) && of(at + 2) {
        at + 3
    } else {
        at + 1
    };
    let cue = Cue::forward(first..end.min(told.words.len()))?;
    Some(Cue {
        absent: true,
        ..cue
    })
}

/// `nothing wrong with the gauge`, `gauge: nothing wrong`.
fn nothing(told: &Told<'_>, at: usize) -> Option<Cue> {
    let next = |ahead: usize| told.plain(at + ahead);
    if next(1) == "to" && next(2) == "do" && next(3) == "with" {
        return match told.thing_before(at) {
            Some(thing) if ["it", "this", "that"].contains(&next(4)) => {
                Cue::backward(thing, at..at + 5)
            }
            _ => Cue::forward(at..at + 4),
        };
    }
    let did = [
        "does", "did", "do", "changes", "changed", "brings", "brought", "made", "makes",
    ];
    if did.contains(&told.before(at, 1)) && told.joined(at) && told.ends(at) {
        // `Pressing the door does nothing`
        let thing = match told.joined(at - 1) {
            true => told.thing_tried(at.checked_sub(2)?)?,
            false => told.thing_tried_before(at - 1)?,
        };
        return Cue::backward(thing, at - 1..at + 1);
    }
    let later = ["in", "after", "for"].contains(&next(1));
    let silent = told.ends(at) || later || ["at", "anywhere", "found", "seen"].contains(&next(1));
    if let Some(cue) = silent.then(|| unanswered(told, at, at + 1)).flatten() {
        return Some(cue);
    }
    // `Checked the water, nothing`
    if told.ends(at)
        && !told.joined(at)
        && let Some(thing) = told.thing_tried_before(at)
    {
        return Cue::backward(thing, at..at + 1);
    }
    let helium = ["helium", "he", "sniffer"].contains(&next(2));
    if ["on", "in", "at", "under"].contains(&next(1))
        && ["it", "them", "there"].contains(&next(2))
        && let Some(thing) = told.thing_tried_before(at)
    {
        return Cue::backward(thing, at..at + 3);
    }
    let placed = ["on", "under", "with", "at"].contains(&next(1)) && !told.parted(at);
    let named = ["the", "our"].contains(&next(2)) || THINGS.contains(&next(2));
    if placed && (named || helium) {
        return Cue::forward(at..at + 2);
    }
    if ![
        "wrong", "amiss", "odd", "unusual", "untoward", "bad", "visible", "found", "seen",
    ]
    .contains(&next(1))
    {
        return None;
    }
    let with = ["with", "w", "at", "in", "on", "from", "under", "about"].contains(&next(2))
        && !told.parted(at + 1);
    if with && !["it", "them", "that"].contains(&next(3)) {
        return Cue::forward(at..at + 3);
    }
    let wrong = ["wrong", "amiss"].contains(&next(1));
    let end = at + 2 + if with { 2 } else { 0 };
    let last = at.checked_sub(1).filter(|_| wrong)?;
    let asked = told.gap(last).trim() == ":" || told.gap(last).trim() == "-";
    (asked || told.thing_before(at).is_some()).then(|| Cue::backward(last, at..end))?
}

/// How a "not" is said.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Not {
    /// It is not, it was not; or nothing before.
    Is,
    /// It does not, it cannot.
    Does,
    /// After a thing: `foil not water`, `cathode not lit`.
    After,
    Never,
}

fn said(told: &Told<'_>, at: usize) -> Option<Not> {
    let before = if told.joined(at) {
        told.before(at, 1)
    } else {
        ""
    };
    let does = [
        "do", "does", "did", "has", "have", "had", "will", "would", "should", "could", "can",
        "must", "may", "might", "shall", "don", "doesn", "didn", "hasn", "haven", "hadn", "won",
        "wouldn", "shouldn", "couldn", "mustn",
    ];
    Some(match told.plain(at) {
        "never" | "hardly" => Not::Never,
        "isnt" | "wasnt" | "arent" | "werent" | "aint" => Not::Is,
        "t" if ["isn", "wasn", "aren", "weren", "ain"].contains(&before) => Not::Is,
        "t" if does.contains(&before) => Not::Does,
        "t" => return None,
        "not" if does.contains(&before) => Not::Does,
        "not" if before.is_empty() || CLAUSE.contains(&before) => Not::Is,
        "not" if IS.contains(&before) || ["s", "its", "that", "this", "or"].contains(&before) => {
            Not::Is
        }
        "not" => Not::After,
        _ => Not::Does,
    })
}

fn not(told: &Told<'_>, at: usize) -> Option<Cue> {
    let said = said(told, at)?;
    let mut ahead = at + 1..at + 4;
    let only = ahead.find_map(|i| {
        let any = ["anything", "nothing", "any"].contains(&told.plain(i));
        let but = i + 1 + usize::from(told.plain(i + 1) == "other");
        let but = Some(but).filter(|but| ["but", "than", "except"].contains(&told.plain(*but)));
        Some(i..but.filter(|_| any)? + 1)
    });
    let likely = ["probably", "likely", "certainly", "definitely", "surely"];
    if told.ends(at) && told.joined(at) && likely.contains(&told.before(at, 1)) {
        // `Door probably not`
        return Cue::backward(told.thing_before(at - 1)?, at - 1..at + 1);
    }
    if told.parted(at) {
        return None;
    }
    if let Some(only) = only {
        return Some(Cue::of(only));
    }
    let own_from = at - usize::from(told.plain(at) == "t");
    let mut place = at + 1;
    if COURSE.contains(&told.plain(place)) && said != Not::Never {
        let cue = Cue::forward(own_from..place)?;
        return Some(Cue { most: 1, ..cue });
    }
    if said == Not::Does {
        // What is not ruled out, nothing but a fault, or a way of saying that it is not.
        place = match told.plain(place) {
            "be" => place + 1,
            "have" if told.plain(place + 1) == "been" => place + 2,
            word if THINKS.iter().any(|thinks| word.starts_with(thinks)) => place + 1,
            word if FINDS.contains(&word) => {
                let end = over(told, place + 1, &["the", "a", "an", "any"]);
                // What cannot be found is there.
                let one = ["a", "an", "any"].contains(&told.plain(end - 1));
                let sought = SOUGHT.contains(&told.plain(end)) && !one;
                let rules_out = !sought && thing_at(told, end, true);
                return rules_out.then(|| Cue::forward(own_from..end))?;
            }
            // What was done in vain was not it.
            "help" | "helped" | "fix" | "cure" | "matter" => {
                let thing = told.thing_before(at)?;
                return Cue::backward(thing, own_from..place + 1);
            }
            "leak" => {
                let thing = told.thing_before(at)?;
                let cue = Cue::backward(thing, own_from..at + 1)?;
                return Some(Cue {
                    also: Some(place),
                    ..cue
                });
            }
            _ => return lacking(told, place),
        };
    }
    let had = (place..place + 6).any(|i| ["like", "before"].contains(&told.plain(i)));
    if said == Not::Never && told.plain(place) == "had" && had {
        return None;
    }
    if said == Not::Never && FINDS.contains(&told.plain(place)) {
        let end = over(told, place + 1, &["the", "a", "an", "any"]);
        if !told.parted(place) && thing_at(told, end, true) {
            return Cue::forward(own_from..end);
        }
    }
    let mut end = over(told, place, TO_THE_THING);
    if said == Not::Does {
        end = over(
            told,
            place,
            &[
                "it", "s", "is", "was", "that", "like", "to", "be", "it", "the", "a", "an", "any",
                "our", "this",
            ],
        );
    } else if told.plain(end) == "to" && end > place {
        end = over(told, end + 1, TO_THE_THING);
    } else if ["to", "at"].contains(&told.plain(place)) {
        // Not to blame, not at fault.
        end = place + 1;
    }
    let meant = told.plain(end);
    let before = told.thing_before(own_from);
    let last = told.ends(end) || AFTER_NOT_IT.contains(&told.plain(end + 1));
    let so = NOT_SO.contains(&meant);
    if meant == "it"
        && before.is_none()
        && told.ends(end)
        && let Some(thing) = told.thing_tried_before(own_from)
    {
        return Cue::backward(thing, own_from..end + 1);
    }
    if (so || NOT_IT.contains(&meant))
        && last
        && let Some(thing) = before
    {
        let in_vain =
            ["found", "seen", "detected"].contains(&meant) && SOUGHT.contains(&told.plain(thing));
        if in_vain {
            return None;
        }
        let cue = Cue::backward(thing, own_from..end + usize::from(!so))?;
        return Some(Cue {
            also: so.then_some(end),
            ..cue
        });
    }
    let by_a_hair = meant == "hair" && NO_THEN.contains(&told.plain(end + 1));
    if by_a_hair
        || TURNS.contains(&meant)
        || NO_THEN.contains(&meant)
        || ["to", "at"].contains(&told.plain(place))
    {
        return None;
    }
    if so && said != Not::Never {
        return Cue::forward(own_from..end);
    }
    let follows = (place..end).any(|i| THING_FOLLOWS.contains(&told.plain(i)));
    let certain = match said {
        Not::Is => follows || !told.words.get(end)?.common,
        Not::Does => true,
        Not::After => follows || THINGS.contains(&meant),
        Not::Never => follows || THINGS.contains(&meant),
    };
    match certain && thing_at(told, end, follows) {
        true => Cue::forward(own_from..end),
        false if follows => None,
        false => lacking(told, end),
    }
}

/// What is not done or not so, where that tells of a fault: `does not turn`, `not fully open`, `not cold`.
fn lacking(told: &Told<'_>, from: usize) -> Option<Cue> {
    let adverb = |plain: &str| {
        plain.len() > 4 && plain.ends_with("ly") || ["quite", "get", "getting"].contains(&plain)
    };
    let mut at = from;
    while adverb(told.plain(at)) && !told.parted(at) {
        at += 1;
    }
    let plain = told.plain(at);
    let says = !told.words.get(at)?.common
        && !NO_THEN.contains(&plain)
        && !TURNS.contains(&plain)
        && !plain.starts_with(|c: char| c.is_ascii_digit());
    says.then(|| Cue {
        lacks: Some(at),
        ..Cue::of(at..at)
    })
}

/// Steps over some words in one clause.
fn over(told: &Told<'_>, from: usize, some: &[&str]) -> usize {
    let mut at = from;
    while some.contains(&told.plain(at)) && !told.parted(at) {
        at += 1;
    }
    at
}

/// Whether the word at a place names a thing; after an article almost any does.
fn thing_at(told: &Told<'_>, at: usize, after_article: bool) -> bool {
    let plain = told.plain(at);
    if plain.is_empty() || plain.starts_with(|c: char| c.is_ascii_digit()) {
        return false;
    }
    if after_article {
        return told.names_thing(at);
    }
    let verb = plain.len() > 3
        && (plain.ends_with("ed")
            || plain.ends_with("ly")
            || plain.ends_with("en") && plain.len() > 5 && !plain.ends_with("gen")
            || plain.ends_with("ing") && !THINGS_IN_ING.contains(&plain));
    told.names_thing(at) && !verb && !STATES.contains(&plain) && !told.words[at].common
}

/// `leak-free`, `free of water`.
fn free(told: &Told<'_>, at: usize) -> Option<Cue> {
    if ["of", "from"].contains(&told.plain(at + 1)) && !told.parted(at) {
        return Cue::forward(at..at + 2);
    }
    let last = at.checked_sub(1)?;
    let glued = ["-", "‐", "‑"].contains(&told.gap(last));
    let listed = told.gap(last).trim().is_empty() && FREE_OF.contains(&told.plain(last));
    let cue = (glued || listed).then(|| Cue::backward(last, at..at + 1))??;
    Some(Cue { most: 1, ..cue })
}

/// `gate valve ruled out`, `ruled out the gate valve`, `we excluded water`.
fn ruled_out(told: &Told<'_>, first: usize, at: usize) -> Option<Cue> {
    let own = first..at + 1;
    if negated(told, first) {
        return Some(Cue::of(own));
    }
    let word = told.plain(first);
    let thing = told.thing_before(first);
    let eliminated = word == "eliminated";
    let acts = [
        "excluding",
        "exclude",
        "eliminate",
        "eliminating",
        "ruling",
        "rule",
    ]
    .contains(&word);
    let object =
        ["the", "a", "an", "any", "both", "our"].contains(&told.plain(at + 1)) && !told.parted(at);
    match thing {
        Some(thing) if !acts && !object => {
            // A leak eliminated was there.
            let sought = eliminated && SOUGHT.contains(&told.plain(thing));
            (!sought).then(|| Cue::backward(thing, own))?
        }
        _ if told.parted(at) && ![":", "-", "–"].contains(&told.gap(at).trim()) => None,
        _ => Cue::forward(own).map(Cue::with_lists),
    }
}

/// Whether what follows is said not to be: `not ruled out`, `couldn't exclude`, `not ok`.
fn negated(told: &Told<'_>, at: usize) -> bool {
    let mut place = at;
    for _ in 0..3 {
        if !told.joined(place) {
            return false;
        }
        place -= 1;
        let word = told.plain(place);
        if [
            "not",
            "never",
            "t",
            "cannot",
            "cant",
            "couldnt",
            "isnt",
            "wasnt",
            "arent",
            "werent",
            "hardly",
            "yet",
            "hard",
            "difficult",
            "didnt",
            "doesnt",
            "dont",
            "wont",
            "havent",
            "hasnt",
            "nor",
            "neither",
        ]
        .contains(&word)
        {
            return true;
        }
    }
    false
}

/// `door fine`, `both doors are clean`.
fn well(told: &Told<'_>, at: usize) -> Option<Cue> {
    if told.ends(at) && at > 0 && [":", "?"].contains(&told.gap(at - 1).trim()) {
        let test = tried_clear(told, told.begins(at - 1)..at);
        return test.or_else(|| Cue::backward(at - 1, at..at + 1));
    }
    let Some(thing) = told.thing_before(at) else {
        return opened_well(told, at);
    };
    if NO_CAUSE.contains(&told.plain(thing)) {
        return told.ends(at).then(|| Cue::of(at..at + 1));
    }
    let before = told.before(at, 1);
    let (series, another) = series(told, at);
    let begins = series.unwrap_or_else(|| told.begins(thing));
    if (begins..thing).any(|at| told.plain(at) == "without") {
        // Without it things are well, so that it is the matter.
        return Some(Cue::of(at..at + 1));
    }
    let next = told.plain(at + 1);
    let ends = told.ends(at) || another || series.is_some() || SEEN_NOW.contains(&next);
    // `gauge ok foil on the door`
    let ends = ends || (["ok", "okay"].contains(&told.plain(at)) && thing_at(told, at + 1, false));
    let short = ends && thing + 1 == at && thing - begins.min(thing) < 3;
    // `Only after wiping the door it came good`
    let mended = begins > 0
        && ["after", "until", "once"].contains(&told.plain(begins - 1))
        && (thing + 1..at).any(|at| told.plain(at) == "it");
    if negated(told, at) || COMPARED.contains(&before) || mended {
        return None;
    }
    let all_round = ["everywhere", "anywhere", "throughout", "again"].contains(&next);
    if (told.ends(at) || all_round)
        && let Some(cue) = tried_clear(told, begins..at)
    {
        return Some(cue);
    }
    let after_verb = IS.contains(&before);
    let fits = match told.plain(at) {
        "fine" | "ok" | "okay" | "normal" | "good" | "perfect" | "happy" => after_verb || short,
        "clean" | "tight" => {
            let plain = told.plain(thing);
            let one = plain.strip_suffix('s').unwrap_or(plain);
            let named = |plain: &str| THINGS.contains(&plain) || SEALING.contains(&plain);
            after_verb || (short && (named(plain) || named(one)))
        }
        "agree" | "agrees" | "agreed" => told.plain(thing).starts_with("gauge"),
        "negative" | "neg" if told.ends(at) && !TRIALS.contains(&before) => {
            return sprayed_in_vain(told, begins, at);
        }
        "negative" | "neg" => told.ends(at),
        _ => after_verb,
    };
    let cue = fits.then(|| Cue::backward(thing, at..at + 1))??;
    let most = (begins..at).filter(|at| !told.words[*at].common).count();
    // `Gauge and water are fine`
    let all = ["are", "were", "all", "both"].contains(&before);
    let and = begins > 0 && told.plain(begins - 1) == "and";
    let most = most + usize::from(all && and);
    Some(Cue {
        most: cue.most.min(most.max(1)),
        ..cue
    })
}

/// `Helium around the door negative`: what was sprayed, and where.
fn sprayed_in_vain(told: &Told<'_>, begins: usize, at: usize) -> Option<Cue> {
    let helium = (begins..at).find(|at| ["helium", "he", "spray"].contains(&told.plain(*at)))?;
    let placed = (helium + 1..at).find(|at| PLACED.contains(&told.plain(*at)))?;
    let cue = Cue::backward(at - 1, at..at + 1)?;
    Some(Cue {
        also: Some(helium),
        most: (placed + 1..at)
            .filter(|at| !told.words[*at].common)
            .count()
            .clamp(1, REACH),
        ..cue
    })
}

/// `Opened door, clean`: what was looked at in the clause before.
fn opened_well(told: &Told<'_>, at: usize) -> Option<Cue> {
    let well = ["fine", "ok", "okay", "good", "clean"].contains(&told.plain(at));
    let alone = well && !told.joined(at) && told.ends(at);
    Cue::backward(
        alone.then(|| told.thing_tried_before(at)).flatten()?,
        at..at + 1,
    )
}

/// `leak check negative`, `helium test: clean`: what was looked for was not found, and the test is none of
/// what is ruled out.
fn tried_clear(told: &Told<'_>, clause: Range<usize>) -> Option<Cue> {
    let end = clause.end;
    let test = clause
        .clone()
        .rev()
        .find(|at| TESTS.contains(&told.plain(*at)))?;
    let between = test + 1..end;
    if !between.into_iter().all(|at| IS.contains(&told.plain(at))) {
        return None;
    }
    let mut sought = (clause.start..test).rev().take(2);
    let sought = sought.find(|at| LOOKED_FOR.contains(&told.plain(*at)))?;
    let cue = Cue::backward(sought, sought + 1..end + 1)?;
    Some(Cue { most: 1, ..cue })
}

/// Said of one thing after another without a sign between: `gauge ok door ok water ok`. Where the name of
/// the thing begins, if another was judged right before it, and whether another follows.
fn series(told: &Told<'_>, at: usize) -> (Option<usize>, bool) {
    const JUDGED: [&str; 5] = ["fine", "ok", "okay", "good", "normal"];
    let judged = |at: &usize| JUDGED.contains(&told.plain(*at));
    let named = |mut between: Range<usize>| {
        let ends = |at: usize| CLAUSE.contains(&told.plain(at));
        between.all(|at| told.names_thing(at) && !judged(&at) && !ends(at))
    };
    if !judged(&at) {
        return (None, false);
    }
    let before = (2..=3).filter_map(|by| at.checked_sub(by)).find(judged);
    let before = before.map(|before| before + 1);
    let after = (at + 2..=at + 3).find(judged);
    (
        before.filter(|begins| named(*begins..at)),
        after.is_some_and(|after| named(at + 1..after)),
    )
}
