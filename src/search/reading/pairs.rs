//! What words mean, learnt from texts given twice: as written and as meant.
//!
//! Each pair of texts is aligned in order, one or two words as written against none to three as
//! meant, by hard expectation maximisation: the cheapest alignment under the present chances gives
//! the counts of the next round (Viterbi training; Brown and others 1993 for alignment by chances,
//! from memory). At first a word is taken for one that begins alike and holds its letters in order.
//! Words with figures in them also speak for all words of their shape. Pure.

use std::collections::HashMap;

use super::analysis::split;

/// The file in the data folder.
pub(in crate::search) const FILE: &str = "pairs.tsv";

/// Only so many pairs are learnt from.
pub(in crate::search) const MOST_PAIRS: usize = 50_000;

/// Only so many words of a text are aligned.
const MOST_WORDS: usize = 40;

const ROUNDS: usize = 4;

/// Cost of a word that has no counterpart.
const ALONE: f64 = 3.0;

/// Cost of each further word of a piece.
const FURTHER: f64 = 0.7;

/// Meanings of smaller chance are left aside.
const LEAST: f32 = 0.1;

/// Meanings kept for one form.
const KEPT: usize = 3;

/// What a form means: words side by side, each with its stem, and how likely.
pub(in crate::search) type Meaning = (Vec<Meant>, f32);

/// A word as meant: as written, and its stem.
pub(in crate::search) type Meant = (String, String);

/// The meanings learnt.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::search) struct Learnt {
    forms: HashMap<Vec<String>, Vec<Meaning>>,
}

type Counts = HashMap<Vec<String>, HashMap<Vec<Meant>, f64>>;

impl Learnt {
    /// Learns from texts as written and as meant.
    pub(in crate::search) fn new<'a>(pairs: impl IntoIterator<Item = (&'a str, &'a str)>) -> Self {
        let pairs: Vec<_> = pairs
            .into_iter()
            .take(MOST_PAIRS)
            .map(|(written, meant)| (stems(written), words(meant)))
            .collect();
        let mut counts = Counts::new();
        for _ in 0..ROUNDS {
            let mut next = Counts::new();
            for (written, meant) in &pairs {
                for (form, meaning) in align(written, meant, &counts) {
                    if let [word] = form.as_slice()
                        && let Some(shape) = shape(word)
                    {
                        *next
                            .entry(vec![shape])
                            .or_default()
                            .entry(meaning.clone())
                            .or_default() += 1.0;
                    }
                    *next.entry(form).or_default().entry(meaning).or_default() += 1.0;
                }
            }
            counts = next;
        }
        let forms = counts.into_iter().filter_map(|(form, meanings)| {
            let all: f64 = meanings.values().sum();
            let mut meanings: Vec<Meaning> = meanings
                .into_iter()
                .map(|(meaning, count)| (meaning, (count / all) as f32))
                .filter(|(meaning, chance)| *chance >= LEAST && !meaning.is_empty())
                .collect();
            meanings.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
            meanings.truncate(KEPT);
            let own = |meaning: &[Meant]| meaning.iter().map(|(_, stem)| stem).eq(&form);
            let says = meanings.iter().any(|(meaning, _)| !own(meaning));
            says.then_some((form, meanings))
        });
        Self {
            forms: forms.collect(),
        }
    }

    /// What the words at the front of `stems` mean: of how many words, and the meanings, the
    /// likeliest first.
    pub(in crate::search) fn meanings(&self, stems: &[&str]) -> Option<(usize, &[Meaning])> {
        (1..=stems.len().min(2)).rev().find_map(|count| {
            let form: Vec<String> = stems[..count].iter().map(|&stem| stem.to_owned()).collect();
            let known = self.forms.get(&form);
            let alike = || match form.as_slice() {
                [word] => self.forms.get(&vec![shape(word)?]),
                _ => None,
            };
            known.or_else(alike).map(|m| (count, m.as_slice()))
        })
    }
}

fn stems(text: &str) -> Vec<String> {
    words(text).into_iter().map(|(_, stem)| stem).collect()
}

fn words(text: &str) -> Vec<Meant> {
    let words = split(text, &[]).into_iter();
    words
        .map(|word| (word.plain.to_string(), word.stem.to_string()))
        .take(MOST_WORDS)
        .collect()
}

/// The shape of a word that has figures in it.
fn shape(word: &str) -> Option<String> {
    let figures = word.chars().any(|c| c.is_ascii_digit());
    figures.then(|| {
        let kind = |c: char| if c.is_ascii_digit() { '9' } else { 'a' };
        let shape = word.chars().map(kind);
        std::iter::once('#').chain(shape).collect()
    })
}

/// The cheapest way to lay the two side by side, in order.
fn align(written: &[String], meant: &[Meant], counts: &Counts) -> Vec<(Vec<String>, Vec<Meant>)> {
    let (rows, columns) = (written.len() + 1, meant.len() + 1);
    let mut best = vec![(f64::INFINITY, 0, 0); rows * columns];
    best[0].0 = 0.0;
    for i in 0..rows {
        for j in 0..columns {
            for taken in 0..=2.min(i) {
                for given in 0..=3.min(j) {
                    let cost = match (taken, given) {
                        (0, 0) | (0, 2..) | (2, 0) | (2, 3) => continue,
                        (0, _) => ALONE,
                        _ => cost(&written[i - taken..i], &meant[j - given..j], counts),
                    };
                    let from = best[(i - taken) * columns + j - given].0 + cost;
                    let cell = &mut best[i * columns + j];
                    if from < cell.0 {
                        *cell = (from, taken, given);
                    }
                }
            }
        }
    }
    let (mut i, mut j) = (written.len(), meant.len());
    let mut pieces = Vec::new();
    while i > 0 || j > 0 {
        let (_, taken, given) = best[i * columns + j];
        if taken > 0 {
            pieces.push((written[i - taken..i].to_vec(), meant[j - given..j].to_vec()));
        }
        (i, j) = (i - taken, j - given);
    }
    pieces
}

fn cost(form: &[String], meaning: &[Meant], counts: &Counts) -> f64 {
    let further = (form.len() - 1 + meaning.len().saturating_sub(1)) as f64;
    let first = match meaning {
        [] => ALONE,
        _ => unlike(&form.concat(), meaning),
    };
    let known = counts.get(form);
    let all: f64 = known.map_or(0.0, |known| known.values().sum());
    let count = known
        .and_then(|known| known.get(meaning))
        .copied()
        .unwrap_or_default();
    -((count + (-first).exp()) / (all + 1.0)).ln() + FURTHER * further
}

/// How little a word looks like what it may stand for.
fn unlike(word: &str, meaning: &[Meant]) -> f64 {
    let stems = || meaning.iter().map(|(_, stem)| stem.as_str());
    let whole: String = stems().collect();
    if word == whole {
        return 0.0;
    }
    let initials: String = stems().filter_map(|stem| stem.chars().next()).collect();
    let mut letters = whole.chars();
    let within = word.chars().all(|c| letters.any(|other| other == c));
    let begins = word.chars().next() == whole.chars().next();
    match (begins, within) {
        _ if meaning.len() > 1 && word == initials => 0.7,
        (true, true) => 0.7,
        (true, false) => 2.0,
        _ => 2.5 + meaning.len() as f64,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn first(learnt: &Learnt, written: &str) -> String {
        let stems = stems(written);
        let stems: Vec<&str> = stems.iter().map(String::as_str).collect();
        learnt
            .meanings(&stems)
            .map_or(String::new(), |(_, meanings)| {
                let meant: Vec<_> = meanings[0].0.iter().map(|(_, s)| s.as_str()).collect();
                meant.join(" ")
            })
    }

    #[test]
    fn short_forms_groups_and_shapes_are_learnt_from_whole_texts() {
        let learnt = Learnt::new([
            ("chg fl pmp brk-4", "change foreline pump tool"),
            ("fl pmp noisy", "foreline pump noisy"),
            ("chg gb glass", "change glove box glass"),
            ("gb seal hard", "glove box seal hard"),
            ("pmp u/s", "pump unserviceable"),
            ("valve u/s", "valve unserviceable"),
            ("seen on qx17", "seen on tool"),
            ("qx18 noisy", "tool noisy"),
        ]);
        assert_eq!(first(&learnt, "pmp"), "pump");
        assert_eq!(first(&learnt, "fl"), "forelin");
        assert_eq!(first(&learnt, "gb"), "glove box");
        assert_eq!(first(&learnt, "u/s"), first(&learnt, "u s"));
        assert!(first(&learnt, "u/s").starts_with("unservic"));
        assert_eq!(first(&learnt, "zz99"), "tool");
        assert_eq!(first(&learnt, "glass"), "");
    }

    proptest! {
        /// Texts that say what they mean teach nothing, and chances never pass one.
        #[test]
        fn a_text_against_itself_teaches_nothing(words in "([a-z]{1,8} ?){0,12}") {
            let learnt = Learnt::new([(words.as_str(), words.as_str())]);
            prop_assert_eq!(learnt, Learnt::default());
        }

        #[test]
        fn chances_are_chances(a in "([a-z0-9/]{1,6} ?){0,8}", b in "([a-z]{1,6} ?){0,8}") {
            let learnt = Learnt::new([(a.as_str(), b.as_str())]);
            for meanings in learnt.forms.values() {
                let all: f32 = meanings.iter().map(|(_, chance)| chance).sum();
                prop_assert!(all <= 1.0 + 1e-5);
            }
        }
    }
}
