//! How alike two texts are letter by letter: which words they share as written, endings and common
//! words counted, against how many each has. It tells apart texts whose stems are the same.
//!
//! Words are kept as short digests in a column of the index, so that only the first hits have to be
//! looked up and no text is read. Pure.

use std::{borrow::Cow, collections::BTreeSet, sync::LazyLock};

use super::{
    analysis::{Analysed, STOP_WORDS, Word},
    pairs::Learnt,
};

/// Words of a text that are compared.
pub(in crate::search) const MOST_WORDS: usize = 64;

/// How much two texts have to share to be told alike, as a share of all their words that are
/// neither common nor a number: one word of five may differ, of fewer none.
const TOLD_ALIKE: f32 = 0.8;

/// Numbers as words, from two on.
const COUNTS: [&str; 11] = [
    "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
];

/// The longest of them.
const LONGEST_COUNT: usize = 6;

/// Words that two tellings of one story may differ in.
static PASSED_OVER: LazyLock<BTreeSet<u64>> = LazyLock::new(|| {
    let words = STOP_WORDS.iter().chain(&COUNTS);
    words.map(|word| digest(word)).collect()
});

/// The figure a word is, in digits.
pub(in crate::search) fn figure(word: &str) -> Option<Cow<'_, str>> {
    if word.bytes().any(|b| b.is_ascii_digit()) {
        return Some(Cow::Borrowed(word));
    }
    if word.len() > LONGEST_COUNT {
        return None;
    }
    let place = COUNTS.iter().position(|count| *count == word)?;
    Some(Cow::Owned((place + 2).to_string()))
}

/// Whether two texts say the same in nearly the same words.
pub(in crate::search) fn told_alike(a: &BTreeSet<u64>, b: &BTreeSet<u64>) -> bool {
    let telling = |words: &BTreeSet<u64>| words.difference(&PASSED_OVER).count();
    let all = telling(a) + telling(b);
    let shared = a.intersection(b).filter(|word| !PASSED_OVER.contains(word));
    2.0 * shared.count() as f32 >= TOLD_ALIKE * all as f32
}

/// The words of a query, each with what it may stand for and how likely.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::search) struct Surface {
    words: Vec<Vec<(u64, f32)>>,
    /// Whether more than words is asked, so that no text is like it.
    more: bool,
}

/// The digests of a text's words, each once, in order.
pub(in crate::search) fn digests(words: &[Word]) -> Vec<u64> {
    let words = words.iter().take(MOST_WORDS);
    let mut digests: Vec<_> = words.map(|word| u64::from(word.digest)).collect();
    digests.sort_unstable();
    digests.dedup();
    digests
}

impl Surface {
    /// Of a query or a case, where words may be meant otherwise. With a pressure in it, its words are
    /// not all that is asked, and nothing is like it.
    pub(in crate::search) fn of_query(query: &Analysed, learnt: &Learnt) -> Self {
        let words = &query.words[..query.words.len().min(MOST_WORDS)];
        let mut surface = Self {
            more: !query.readings.is_empty(),
            ..Self::default()
        };
        let mut at = 0;
        while let Some(word) = words.get(at) {
            let stems = words[at..].iter().take(2);
            let stems: Vec<&str> = stems.map(|word| &*word.stem).collect();
            match learnt.meanings(&stems) {
                Some((count, meanings)) => {
                    for place in 0..meanings[0].0.len() {
                        let mut either: Vec<_> = meanings
                            .iter()
                            .filter_map(|(meant, chance)| {
                                Some((digest(&meant.get(place)?.0), *chance))
                            })
                            .collect();
                        either.push((digest(&word.plain), 1.0));
                        surface.words.push(either);
                    }
                    at += count;
                }
                None => {
                    surface.words.push(vec![(digest(&word.plain), 1.0)]);
                    at += 1;
                }
            }
        }
        surface
    }

    /// Its words, each with how likely it is meant.
    pub(in crate::search) fn words(&self) -> impl Iterator<Item = (u64, f32)> {
        self.words.iter().flatten().copied()
    }

    /// From 0, nothing shared, to 1, the same words (the coefficient of Dice 1945).
    pub(in crate::search) fn likeness(&self, own: &BTreeSet<u64>) -> f32 {
        let all = self.words.len() + own.len();
        if all == 0 || self.more {
            return 0.0;
        }
        let shared = self.words.iter().map(|either| {
            let held = either.iter().filter(|(digest, _)| own.contains(digest));
            held.map(|(_, chance)| *chance).fold(0.0, f32::max)
        });
        (2.0 * shared.sum::<f32>() / all as f32).min(1.0)
    }
}

/// FNV-1a, folded to 16 bits: two different words rarely share one, and then little is lost.
pub(in crate::search) fn digest(word: &str) -> u64 {
    let sum = word.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |sum, byte| {
        (sum ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    (sum ^ (sum >> 16) ^ (sum >> 32) ^ (sum >> 48)) & 0xffff
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use proptest::prelude::*;

    use super::*;
    use crate::search::reading::analysis::Analysis;

    fn likeness(a: &str, b: &str) -> f32 {
        let query = Analysis::new(Arc::default()).read(a);
        let own = BTreeSet::from_iter(digests(&Analysis::default().read(b).words));
        Surface::of_query(&query, &Learnt::default()).likeness(&own)
    }

    #[test]
    fn endings_and_common_words_tell_texts_apart() {
        let same = likeness("light out on door", "light out on door");
        assert!((same - 1.0).abs() < 1e-6);
        assert!(likeness("light out on door", "lights out on door") < same);
        assert!(likeness("light out", "light out on door") < same);
        assert!(likeness("foil", "hair").abs() < 1e-6);
    }

    proptest! {
        /// The coefficient lies between 0 and 1.
        #[test]
        fn likeness_is_a_share(a in ".{0,60}", b in ".{0,60}") {
            let likeness = likeness(&a, &b);
            prop_assert!((0.0..=1.0).contains(&likeness));
        }
    }
}
