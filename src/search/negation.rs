//! What a text says is not so: `no water seen`, `gate valve ruled out`, `door fine`.
//!
//! Only what rules a thing out counts. `Does not close`, `won't go below` and `no longer`
//! tell of a fault and rule nothing out. Works on words and the signs between them; pure.

use super::analysis::Word;

/// How many words one "no" or "ruled out" reaches, common ones not counted.
const REACH: usize = 4;

/// After "no" or "not" these say something else than that a thing is absent.
const NO_THEN: [&str; 12] = [
    "longer",
    "more",
    "better",
    "lower",
    "doubt",
    "good",
    "matter",
    "idea",
    "way",
    "change",
    "improvement",
    "difference",
];

/// A clause ends where one of these begins.
const CLAUSE: [&str; 13] = [
    "but", "except", "and", "so", "then", "however", "though", "although", "because", "since",
    "while", "yet", "when",
];

/// The verb between a thing and the word that rules it out.
const IS: [&str; 16] = [
    "is", "are", "was", "were", "look", "looks", "looked", "seem", "seems", "seemed", "all",
    "both", "came", "comes", "be", "been",
];

/// Marks the words that are ruled out.
pub(super) fn mark(text: &str, words: &mut [Word]) {
    for at in 0..words.len() {
        let (forward, backward) = reach(text, words, at);
        let mut left = forward.map_or(0, |_| REACH);
        for i in forward.unwrap_or(words.len())..words.len() {
            if left == 0 || (i > 0 && parted(text, &words[i - 1], &words[i])) {
                break;
            }
            if CLAUSE.contains(&&*words[i].plain) {
                break;
            }
            words[i].ruled_out = true;
            left -= usize::from(!words[i].common);
        }
        let Some(last) = backward else { continue };
        let mut left = REACH;
        for i in (0..=last).rev() {
            let ends = i < last && parted(text, &words[i], &words[i + 1]);
            if left == 0 || ends || CLAUSE.contains(&&*words[i].plain) {
                break;
            }
            words[i].ruled_out = true;
            left -= usize::from(!words[i].common);
        }
    }
}

/// From which word on, and back from which word, the word at `at` rules out.
fn reach(text: &str, words: &[Word], at: usize) -> (Option<usize>, Option<usize>) {
    let word = &*words[at].plain;
    let next = |ahead: usize| words.get(at + ahead).map_or("", |word| &*word.plain);
    let before = |back: usize| at.checked_sub(back).map_or("", |i| &*words[i].plain);
    let joined = || at == 0 || !parted(text, &words[at - 1], &words[at]);
    match word {
        "no" if next(1) == "sign" || next(1) == "trace" || next(1) == "evidence" => {
            let skip = if next(2) == "of" { 3 } else { 2 };
            (Some(at + skip), None)
        }
        "no" | "without" | "neither" if !NO_THEN.contains(&next(1)) => (Some(at + 1), None),
        "never" if next(1) == "any" => (Some(at + 2), None),
        "not" if ["a", "an", "any", "the", "from", "to", "our", "by", "due"].contains(&next(1)) => {
            (Some(at + 2), None)
        }
        "free" if next(1) == "of" => (Some(at + 2), None),
        "out" if before(1) == "ruled" || before(1) == "rule" => {
            if joined() && at >= 2 && !parted(text, &words[at - 2], &words[at - 1]) {
                return (None, Some(back_over_verb(words, at - 2)));
            }
            (Some(at + 1), None)
        }
        "excluded" | "eliminated" | "innocent" | "exonerated" if joined() && at > 0 => {
            (None, Some(back_over_verb(words, at - 1)))
        }
        "guilty" | "it" | "involved" | "blame" if before(1) == "not" && at >= 2 => {
            (None, Some(back_over_verb(words, at - 2)))
        }
        "fine" | "ok" | "okay" | "normal" if joined() && at > 0 => {
            let after_verb = IS.contains(&before(1));
            let at_end = words.get(at + 1).is_none_or(|next| {
                parted(text, &words[at], next) || CLAUSE.contains(&&*next.plain)
            });
            let back = (after_verb || at_end).then(|| back_over_verb(words, at - 1));
            (None, back)
        }
        "good" | "clean" | "clear" | "tight" | "dry" if joined() && IS.contains(&before(1)) => {
            (None, Some(back_over_verb(words, at - 1)))
        }
        _ => (None, None),
    }
}

/// Steps back over `is`, `was`, `therefore` to the thing itself.
fn back_over_verb(words: &[Word], from: usize) -> usize {
    let mut at = from;
    while at > 0 && (words[at].common || IS.contains(&&*words[at].plain)) {
        at -= 1;
    }
    at
}

/// Whether a sign that ends a clause stands between two words.
fn parted(text: &str, a: &Word, b: &Word) -> bool {
    text.get(a.place.end..b.place.start)
        .is_none_or(|gap| gap.contains([',', '.', ';', ':', '!', '?', '(', ')', '\n', '·']))
}
