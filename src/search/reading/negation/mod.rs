//! What a text says is not so: `no water seen`, `gate valve ruled out`, `door fine`, `not the gauge`.
//!
//! Only what rules a thing out counts. `Does not close`, `won't go below` and `no longer`
//! tell of a fault and rule nothing out; what is `not ruled out` may be so. The words that rule
//! out are not searched for themselves. Works on words and the signs between them; pure.

mod cue;
mod lists;
#[cfg(test)]
mod tests;

use std::ops::Range;

use super::analysis::Word;
use cue::Cue;
use lists::{
    CLAUSE, COURSE, DIVIDES, GONE_THROUGH, HOW_OFTEN, LOOKED_AT, MATTER, MEDIA, NO_THING, ONE,
    PLACED, REACH, SEEN_NOW, SIGHT, TELLS_NO_KIND, THERE, TRIED, TRYING, TURNED_ON,
};

/// Marks the words that are ruled out, and takes those that rule them out from what is searched for.
pub(in crate::search) fn mark(text: &str, words: &mut [Word]) {
    for at in 0..words.len() {
        if !words[at].may_deny {
            continue;
        }
        let told = Told { text, words };
        let Some(cue) = cue::at(&told, at) else {
            continue;
        };
        let own = match cue.own.is_empty() {
            true => at..at + 1,
            false => cue.own.clone(),
        };
        let denial = spanned(words, own);
        if let Some(lacks) = cue.lacks {
            words[lacks].lacking = true;
            words[lacks].denial = denial;
            continue;
        }
        let (reached, mut aside) = told.reached(&cue);
        aside.extend(told.looked_at(&reached));
        for word in &mut words[cue.own.clone()] {
            word.common = true;
        }
        for i in aside {
            words[i].common = true;
        }
        let first = reached.iter().copied().min().unwrap_or_default();
        let span = first..reached.iter().max().map_or(first, |last| last + 1);
        let matter = |word: &Word| MATTER.contains(&&*word.plain);
        let names = |word: &Word| !matter(word) && !TELLS_NO_KIND.contains(&&*word.plain);
        let thing = reached
            .iter()
            .any(|i| !words[*i].common && names(&words[*i]));
        let there = |word: &Word| THERE.contains(&&*word.plain);
        let more = reached
            .iter()
            .any(|i| !words[*i].common && !there(&words[*i]));
        for i in reached {
            words[i].ruled_out = true;
            words[i].denial = denial;
            words[i].common |= thing && matter(&words[i]) || more && there(&words[i]);
        }
        let told = Told { text, words };
        let one_of =
            |i: &usize| told.qualified(*i) || told.words[*i].ruled_out && told.named_before(*i);
        let qualified: Vec<usize> = span.filter(one_of).collect();
        for i in qualified {
            words[i].qualified = true;
        }
    }
}

/// Whether a denial may begin with a word; asked once of each word there is, since most begin none.
pub(in crate::search) fn may_begin(plain: &str) -> bool {
    cue::BEGINNINGS.contains(&plain)
}

/// Where some words stand in the text.
fn spanned(words: &[Word], own: Range<usize>) -> Option<(u32, u32)> {
    let (first, last) = (words.get(own.start)?, words.get(own.end.checked_sub(1)?)?);
    let end = |at: usize| u32::try_from(at).ok();
    Some((end(first.place.start)?, end(last.place.end)?))
}

/// Whether a word tells how a pressure goes.
pub(in crate::search) fn tells_course(plain: &str) -> bool {
    COURSE.contains(&plain)
}

/// Whether a word says no more than what may be the matter.
pub(in crate::search) fn tells_matter(plain: &str) -> bool {
    MATTER.contains(&plain)
}

/// Whether a word tells of what is seen.
pub(in crate::search) fn tells_sight(plain: &str) -> bool {
    SIGHT.contains(&plain)
}

/// Whether a word denied is a medium that the words behind it say to be turned off, which tells how things were
/// set up: `no gas flowing`, but not `no water on the floor`.
pub(in crate::search) fn tells_setting(text: &str, words: &[Word], at: usize) -> bool {
    let told = Told { text, words };
    let next = told.plain(at + 1);
    let alone = !["on", "in", "flow"].contains(&next) || told.ends(at + 1);
    MEDIA.contains(&told.plain(at)) && TURNED_ON.contains(&next) && !told.parted(at) && alone
}

/// A text and its words.
struct Told<'a> {
    text: &'a str,
    words: &'a [Word],
}

impl Told<'_> {
    /// The word at a place; empty where there is none.
    fn plain(&self, at: usize) -> &str {
        self.words.get(at).map_or("", |word| &*word.plain)
    }

    /// The word so many places before; empty where there is none.
    fn before(&self, at: usize, back: usize) -> &str {
        at.checked_sub(back).map_or("", |at| self.plain(at))
    }

    /// Whether a word says no more than which of a kind is meant: the valve of `gas valve good`.
    fn qualified(&self, at: usize) -> bool {
        let own = &self.words[at];
        if self.before(at, 1) == "own" && self.before(at, 2) == "s" {
            return true;
        }
        at.checked_sub(1).is_some_and(|before| {
            let (gap, word) = (self.gap(before), &self.words[before]);
            let said = |word: &Word| word.ruled_out && !word.common;
            let one = word.denial == own.denial && (gap.trim().is_empty() || gap == "-");
            one && said(own) && said(word) && !TELLS_NO_KIND.contains(&&*word.plain)
        })
    }

    /// Whether a word is that of which the text said before which of a kind it is: the valve of `slit valve
    /// suspected, but it was not the valve`.
    fn named_before(&self, at: usize) -> bool {
        let own = &self.words[at];
        let alone = ["the", "that"].contains(&self.before(at, 1)) && self.parted_or_common(at);
        let same = |i: &usize| {
            let word = &self.words[*i];
            let kind = i.checked_sub(1).map(|before| &self.words[before]);
            word.plain == own.plain
                && self.joined(*i)
                && kind.is_some_and(|kind| {
                    !kind.common && !TELLS_NO_KIND.contains(&&*kind.plain) && !kind.ruled_out
                })
        };
        alone && (1..at.saturating_sub(1)).any(|i| same(&i))
    }

    /// Whether the word behind goes on naming the thing.
    fn parted_or_common(&self, at: usize) -> bool {
        self.ends(at) || self.words.get(at + 1).is_none_or(|next| next.common)
    }

    /// What stands between a word and the next.
    fn gap(&self, at: usize) -> &str {
        match (self.words.get(at), self.words.get(at + 1)) {
            (Some(word), Some(next)) => self
                .text
                .get(word.place.end..next.place.start)
                .unwrap_or_default(),
            _ => "",
        }
    }

    /// Whether a sign that ends a clause, or a number, stands between a word and the next.
    fn parted(&self, at: usize) -> bool {
        let ends = |c: char| {
            matches!(
                c,
                ',' | '.' | ';' | ':' | '!' | '?' | '(' | ')' | '\n' | '·' | '–' | '—'
            ) || c.is_ascii_digit()
        };
        at + 1 >= self.words.len() || self.gap(at).contains(ends) || self.gap(at).contains(" - ")
    }

    /// Whether a word stands in one clause with the word before.
    fn joined(&self, at: usize) -> bool {
        at > 0 && !self.parted(at - 1)
    }

    /// Whether a clause ends behind a word.
    fn ends(&self, at: usize) -> bool {
        let next = self.plain(at + 1);
        // A time of day begins the next line of a log.
        let counts = next.starts_with(|c: char| c.is_ascii_digit());
        self.parted(at) || CLAUSE.contains(&next) || counts
    }

    /// The verbs beside what is ruled out that say how it was tried: `checked door, not it`.
    fn looked_at(&self, reached: &[usize]) -> Vec<usize> {
        let (first, last) = (reached.iter().min(), reached.iter().max());
        let before = first.and_then(|first| first.checked_sub(1));
        let before = before.filter(|at| !self.parted(*at));
        let after = last
            .filter(|last| !self.parted(**last))
            .map(|last| last + 1);
        let beside = before.into_iter().chain(after);
        beside
            .filter(|at| LOOKED_AT.contains(&self.plain(*at)))
            .collect()
    }

    /// The words a cue rules out, and those that only say where something is not: neither there nor
    /// ruled out.
    fn reached(&self, cue: &Cue) -> (Vec<usize>, Vec<usize>) {
        let mut reached: Vec<usize> = cue.also.into_iter().collect();
        let mut aside = Vec::new();
        if let Some(from) = cue
            .forward
            .filter(|from| cue.lists || !self.parted(from - 1))
        {
            let end = self.forward(from, cue, &mut reached);
            if let Some(placed) = end {
                let last = (placed..self.words.len()).find(|at| self.ends(*at));
                aside.extend(placed..=last.unwrap_or(placed).min(placed + REACH));
            }
        }
        if let Some(last) = cue.backward {
            self.backward(last, cue.most, &mut reached);
        }
        (reached, aside)
    }

    /// Gives the word at which a place begins.
    fn forward(&self, from: usize, cue: &Cue, reached: &mut Vec<usize>) -> Option<usize> {
        let (mut left, lists) = (cue.most, cue.lists);
        let named = self.gap(from - 1).contains(':');
        for i in from..self.words.len() {
            let plain = self.plain(i);
            let list = lists && plain == "and" && self.names_thing(i + 1);
            let placed = cue.absent
                && PLACED.contains(&plain)
                && reached.iter().any(|i| !self.words[*i].common)
                && !reached
                    .iter()
                    .any(|i| GONE_THROUGH.contains(&self.plain(*i)));
            let ended = CLAUSE.contains(&plain) || SEEN_NOW.contains(&plain);
            if placed && left > 0 {
                return Some(i);
            }
            if left == 0 || (ended && !list) {
                break;
            }
            if list {
                left = REACH;
            } else {
                reached.push(i);
                left -= usize::from(!self.words[i].common);
            }
            if self.parted(i) {
                let next = named && self.gap(i).trim() == "," && self.names_thing(i + 1);
                if !next && !self.goes_on(i + 1, lists) {
                    break;
                }
                left = REACH;
            }
        }
        None
    }

    /// Whether a list goes on behind a comma: a name of one or two words, and another comma or "or" to
    /// come.
    fn goes_on(&self, from: usize, lists: bool) -> bool {
        let mut at = from;
        if self.gap(from.saturating_sub(1)).trim() != "," || from >= self.words.len() {
            return false;
        }
        loop {
            let end = (at..at + 3)
                .find(|i| self.parted(*i) || ["or", "nor", "and"].contains(&self.plain(*i + 1)));
            let Some(end) = end.filter(|_| self.names_thing(at)) else {
                return false;
            };
            match self.plain(end + 1) {
                "or" | "nor" if !self.parted(end) => return true,
                "and" if !self.parted(end) => return lists,
                _ if self.gap(end).trim() == "," => at = end + 1,
                _ => return false,
            }
        }
    }

    /// Whether a thing is named at a place: no verb, no pronoun, no number.
    fn names_thing(&self, at: usize) -> bool {
        let past = ["the", "a", "an", "any", "our", "both"].contains(&self.plain(at));
        let plain = self.plain(at + usize::from(past));
        let verb = plain.len() > 4 && plain.ends_with("ed") && !plain.ends_with("eed");
        !plain.is_empty()
            && !verb
            && !NO_THING.contains(&plain)
            && !plain.starts_with(|c: char| c.is_ascii_digit())
    }

    fn backward(&self, last: usize, most: usize, reached: &mut Vec<usize>) {
        let thing = self.back_over_verb(last);
        let one = (thing..=last + 1).any(|i| ONE.contains(&self.plain(i)));
        let mut left = most;
        let mut i = thing;
        loop {
            if left == 0 || CLAUSE.contains(&self.plain(i)) {
                let list = left > 0 && !one && self.plain(i) == "and" && i > 0;
                let first = if list { self.begins(i - 1) } else { i };
                let named = |first: usize, end: usize| {
                    end - first <= 3 && (first..end).all(|i| self.names_thing(i))
                };
                if list && named(first, i) {
                    reached.extend(first..i);
                    self.list_before(first, named, reached);
                }
                return;
            }
            // What was tried is not what was found not to be it: `checked door, not it`.
            if i != thing && is_tried(self.plain(i)) {
                return;
            }
            reached.push(i);
            left -= usize::from(!self.words[i].common);
            if !self.joined(i) {
                return;
            }
            i -= 1;
        }
    }

    /// The things of a list of which the last two are joined by "and": `door, gauge and water are fine`.
    fn list_before(
        &self,
        first: usize,
        named: impl Fn(usize, usize) -> bool,
        reached: &mut Vec<usize>,
    ) {
        let mut first = first;
        while let Some(last) = first
            .checked_sub(1)
            .filter(|last| self.gap(*last).trim() == ",")
        {
            let begins = self.begins(last);
            if !named(begins, last + 1) {
                return;
            }
            reached.extend(begins..=last);
            first = begins;
        }
    }

    /// Where the clause of a word begins.
    fn begins(&self, at: usize) -> usize {
        let mut at = at;
        while self.joined(at) && !CLAUSE.contains(&self.plain(at - 1)) {
            at -= 1;
        }
        at
    }

    /// Steps back over `is`, `was`, `therefore` to the thing itself.
    fn back_over_verb(&self, from: usize) -> usize {
        let mut at = from;
        while self.joined(at) && (self.words[at].common || lists::IS.contains(&self.plain(at))) {
            at -= 1;
        }
        at
    }

    /// The thing tried in the clause before the one that begins here: `checked door, not it`, `water
    /// suspected but not it`, `door suspected, wiped three times, no good`.
    fn thing_tried_before(&self, at: usize) -> Option<usize> {
        let mut last = at.checked_sub(1)?;
        while CLAUSE.contains(&self.plain(last)) {
            last = last.checked_sub(1)?;
        }
        self.thing_tried(last)
    }

    /// The thing tried that a clause which ends here tells of, or, where it says no more than how it was
    /// tried, the clause before it.
    fn thing_tried(&self, last: usize) -> Option<usize> {
        // What was done twice was done.
        let done = |i: usize| {
            let plain = self.plain(i);
            is_tried(plain) || ["twice", "times"].contains(&plain)
        };
        let mut tried = (self.begins(last)..=last).any(done);
        let mut at = last;
        let mut clauses = 0;
        while self.says_how(at) {
            if !self.joined(at) {
                clauses += 1;
            }
            at = at.checked_sub(1).filter(|_| clauses < 2)?;
            tried |= done(at);
        }
        let begins = self.begins(at);
        let divides = (begins..=at).any(|i| DIVIDES.contains(&self.plain(i)));
        tried |= clauses == 0 && (begins..at).any(|i| is_tried(self.plain(i)));
        (tried && !divides && !self.words[at].common && self.names_thing(at)).then_some(at)
    }

    /// Whether a word says only what was tried, how often or when.
    fn says_how(&self, at: usize) -> bool {
        let plain = self.plain(at);
        let passive = ["was", "were", "is", "been", "has", "have", "had"].contains(&plain);
        TRIED.contains(&plain)
            || (passive && TRIED.contains(&self.plain(at + 1)))
            || HOW_OFTEN.contains(&plain)
            || plain.bytes().all(|b| b.is_ascii_digit())
    }

    /// The last word before a place that may be a thing, in the same clause.
    fn thing_before(&self, at: usize) -> Option<usize> {
        let mut at = at;
        while self.joined(at) {
            at -= 1;
            if CLAUSE.contains(&self.plain(at)) {
                return None;
            }
            if !self.words[at].common && !lists::IS.contains(&self.plain(at)) {
                return Some(at);
            }
        }
        None
    }
}

/// Whether a word tells how a thing was tried, `wiped` or `wiping`.
pub(in crate::search) fn is_tried(plain: &str) -> bool {
    let done = |stem: &str| {
        let past = [stem, "ed"].concat();
        TRIED.contains(&&*past)
    };
    TRIED.contains(&plain) || TRYING.contains(&plain) || plain.strip_suffix("ing").is_some_and(done)
}
