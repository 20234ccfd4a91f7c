//! What a search says to have happened before: `after regen`, `since the new foil`.
//!
//! A word alone is of either: a regeneration may be overdue or just made. Behind "after" it was made, and the
//! cases of which that is on record are the likelier ones.

use std::collections::{HashMap, HashSet};

use super::denied::terms_of;
use crate::search::{
    indexed::document::certain,
    reading::{
        analysis::{Analysis, Mention, concept_term, stem_term},
        negation,
    },
};

/// Behind these stands what happened.
const BEHIND: [&str; 3] = ["after", "since", "following"];

/// So many words behind them are looked at.
const REACH: usize = 4;

/// A word counts as much less as more names hold it; a name that counts less than this is not meant.
const LEAST: f32 = 0.5;

/// What a name gains by telling of something done, where that was said: enough to part names that fit alike.
const DEED: f32 = 0.01;

/// Whether a name tells of no one event: `Many runs since the last regeneration`.
fn goes_on(name: &str) -> bool {
    name.starts_with("Many ") || name.starts_with("About ")
}

/// The identifiers of what is said to have happened, of all that may, each with its name.
pub(in crate::search) fn happened(
    typed: &str,
    all: &[(String, String)],
    analysis: &Analysis,
) -> Vec<String> {
    let read = analysis.read(typed);
    let words = &read.words;
    let mut told: HashSet<String> = HashSet::new();
    let mut things: HashSet<String> = HashSet::new();
    for (at, _) in words
        .iter()
        .enumerate()
        .filter(|(_, word)| BEHIND.contains(&&*word.plain))
    {
        for place in at + 1..(at + 1 + REACH).min(words.len()) {
            let gap = &typed[words[place - 1].place.end..words[place].place.start];
            if gap.contains([',', ';', '.', ':', '\n'])
                || gap.contains(|c: char| c.is_ascii_digit())
            {
                break;
            }
            let word = &words[place];
            if word.common || word.ruled_out {
                continue;
            }
            let here = |mention: &&Mention| mention.words.contains(&place);
            let meant = read.mentions.iter().find(here);
            let term = match meant.and_then(|mention| mention.concepts.first()) {
                Some(concept) => concept_term(*concept, false),
                None => stem_term(&word.stem, false),
            };
            if !negation::is_tried(&word.plain) {
                things.insert(term.clone());
            }
            told.insert(term);
        }
    }
    if told.is_empty() {
        return Vec::new();
    }
    let names: Vec<_> = all
        .iter()
        .map(|(_, name)| terms_of(certain(name), analysis))
        .collect();
    let mut held: HashMap<&String, f32> = HashMap::new();
    for term in names.iter().flat_map(|terms| terms.iter()) {
        *held.entry(term).or_default() += 1.0;
    }
    let worth = |terms: &HashSet<String>| -> f32 {
        let both = terms.intersection(&told);
        both.map(|term| held.get(term).map_or(0.0, |held| held.recip()))
            .sum()
    };
    // What was done says nothing of what it was done to: no gauge replaced is foil renewed. Of names that hold
    // the thing alike those of something done are meant.
    let named = |terms: &HashSet<String>| things.is_empty() || !terms.is_disjoint(&things);
    let done = told.len() > things.len();
    let of_deed = |name: &str| {
        let mut words = name.split(|c: char| !c.is_alphanumeric());
        words.any(|word| negation::is_tried(&word.to_lowercase()))
    };
    let worths = names
        .iter()
        .zip(all)
        .map(|(terms, (_, name))| match named(terms) {
            true => worth(terms) + if done && of_deed(name) { DEED } else { 0.0 },
            false => 0.0,
        });
    let worths: Vec<f32> = worths.collect();
    let best = worths.iter().copied().fold(0.0, f32::max);
    let ids = all.iter().zip(&worths);
    let ids = ids.filter(|((_, name), _)| !goes_on(name));
    let meant = ids.filter(|(_, worth)| **worth >= LEAST && **worth >= best);
    meant.map(|((id, _), _)| id.clone()).collect()
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::{catalogue::source, search::reading::words::WordList};

    #[test]
    fn what_happened_before_is_told_behind_after() {
        let list = WordList::built_in().expect("the built-in list is right");
        let analysis = Analysis::new(Arc::new(list));
        let catalogue = source::built_in().expect("the built-in catalogue is right");
        let all = catalogue.antecedents();
        let all: Vec<_> = all.map(|a| (a.id.to_string(), a.name.clone())).collect();
        for (typed, ids) in [
            ("after regen not cold", &["cryo-regenerated"][..]),
            ("stuck 4e-5 after new foil, gate open", &["foil-added"]),
            ("slow since power cut", &["power-cut"]),
            ("regen overdue", &[]),
            ("4e-5 after 40 min", &[]),
            ("leak after", &[]),
            ("since gauge was replaced", &["gauge-worked-on"]),
            ("after the gauge was swapped", &["gauge-worked-on"]),
        ] {
            assert_eq!(happened(typed, &all, &analysis), ids, "{typed}");
        }
    }
}
