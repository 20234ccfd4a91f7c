//! Abbreviations of the trade that look like common words: `He` for helium, `LL` for load lock.
//!
//! Which is meant shows in how it is written and in the words beside it. Common practice, no source. Pure.

use super::analysis::Word;

/// Before helium, not before a person.
const BEFORE_HELIUM: [&str; 21] = [
    "spray",
    "sprayed",
    "spraying",
    "sprays",
    "puff",
    "puffed",
    "blow",
    "blew",
    "squirt",
    "squirted",
    "squirting",
    "bag",
    "bagged",
    "with",
    "of",
    "some",
    "using",
    "pure",
    "more",
    "no",
    "liquid",
];

/// After helium; after a person stands a verb.
const AFTER_HELIUM: [&str; 30] = [
    "leak",
    "leaks",
    "leakage",
    "leaktest",
    "test",
    "spray",
    "sniffer",
    "sniffing",
    "detector",
    "bottle",
    "cylinder",
    "gas",
    "check",
    "hunt",
    "response",
    "signal",
    "peak",
    "line",
    "supply",
    "background",
    "recovery",
    "compressor",
    "pressure",
    "rate",
    "reading",
    "around",
    "round",
    "at",
    "bag",
    "msld",
];

/// Says of the words that may be meant either way which is meant: those that are not common are searched for.
pub(in crate::search) fn mark(text: &str, words: &mut [Word]) {
    for at in 0..words.len() {
        let means = match &*words[at].plain {
            "ll" => !after_apostrophe(text, &words[at]),
            "he" => is_helium(text, words, at),
            _ => continue,
        };
        words[at].common = !means;
    }
}

/// `we'll` holds no load lock.
fn after_apostrophe(text: &str, word: &Word) -> bool {
    text[..word.place.start].ends_with(['\'', '’'])
}

fn is_helium(text: &str, words: &[Word], at: usize) -> bool {
    let beside = |place: Option<usize>, known: &[&str]| {
        let word = place.and_then(|place| words.get(place));
        word.is_some_and(|word| known.contains(&&*word.plain))
    };
    let before = text[..words[at].place.start].trim_end();
    let begins = before.is_empty() || before.ends_with(['.', '!', '?', '\n']);
    let symbol = text[words[at].place.clone()] == *"He" && !begins;
    symbol
        || words.len() == 1
        || beside(at.checked_sub(1), &BEFORE_HELIUM)
        || beside(Some(at + 1), &AFTER_HELIUM)
}

#[cfg(test)]
mod tests {
    use crate::search::reading::analysis::split;

    #[test]
    fn helium_and_the_load_lock_are_told_from_a_person_and_a_verb() {
        for (text, meant) in [
            ("he", true),
            ("He", true),
            ("sprayed he round the bake flanges", true),
            ("HE LEAK TEST OK", true),
            ("he leak", true),
            ("Sprayed the door with He, nothing", true),
            ("no he response", true),
            ("he response at post 3", true),
            ("he shut the valve", false),
            ("He said the gauge was new. He left", false),
            ("then he checked the door", false),
            ("she and he opened it", false),
            ("ll", true),
            ("LL door", true),
            ("pumped the LL", true),
            ("we'll see", false),
            ("it’ll stay", false),
        ] {
            let words = split(text, &[]);
            let mut word = words.iter().filter(|w| ["he", "ll"].contains(&&*w.plain));
            assert!(word.all(|word| word.common != meant), "{text:?}");
        }
    }
}
