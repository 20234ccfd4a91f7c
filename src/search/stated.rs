//! What a search states that a check sequence can start from: the pressure at the fault, and the
//! signs and antecedents of the catalogue that it names. Pure.
//!
//! A sign is named where the telling words of its name, or of its id, stand side by side, in any
//! of the word list's forms and in any order; denied where any of them is said not to be so. What has a "not" in its
//! own name is left alone: its words without it say the opposite.

use std::collections::BTreeMap;

use super::{
    analysis::{Analysed, Analysis, concept_term},
    document::Part,
    language::parse,
    plan::Understood,
    pressure::Told,
};
use crate::{
    catalogue::{AntecedentId, Catalogue, SignId},
    vacuum::units::PressureUnit,
};

/// Words that turn a name into its opposite.
const TURNING: [&str; 5] = ["not", "no", "without", "hardly", "fail"];

/// A thing put in lately is told by any of these.
const NEW: [&str; 6] = ["new", "fresh", "added", "renewed", "changed", "replaced"];

/// The idea of these words.
const NEW_IDEA: &str = "=new";

/// What a search states of a case.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stated {
    /// The pressure at the fault, and its unit if one is written.
    pub faulty: Option<(f64, Option<PressureUnit>)>,
    /// Signs seen and not seen.
    pub signs: BTreeMap<SignId, bool>,
    /// What happened before, and what did not.
    pub antecedents: BTreeMap<AntecedentId, bool>,
}

/// A word that tells something: what it may mean, and whether it is said not to be so.
struct Said {
    ideas: Vec<String>,
    ruled_out: bool,
}

impl Understood {
    /// What the search states, as typed.
    pub fn stated(&self, typed: &str, catalogue: &Catalogue) -> Stated {
        let query = parse(typed);
        let signs = query
            .required
            .iter()
            .filter(|w| w.part == Some(Part::Facts));
        let texts = std::iter::once(&query.plain).chain(signs.map(|within| &within.text));
        let read: Vec<Vec<Said>> = texts.map(|text| said(&self.analysis.read(text))).collect();
        let answer = |id: &str, name: &str| {
            let names = [name.to_owned(), id.replace('-', " ")];
            let names = names
                .iter()
                .filter_map(|name| ideas_of(name, &self.analysis));
            let found = names.flat_map(|ideas| read.iter().map(move |said| named(&ideas, said)));
            found.flatten().next()
        };
        let faulty = self.pressures.iter().find_map(|asked| {
            let reading = &asked.reading;
            let single = !reading.bounded && (reading.low - reading.high).abs() < 1e-9;
            (reading.told == Told::Now && single).then(|| (10f64.powf(reading.low), reading.unit))
        });
        Stated {
            faulty,
            signs: catalogue
                .signs()
                .filter_map(|sign| Some((sign.id.clone(), answer(sign.id.as_str(), &sign.name)?)))
                .collect(),
            antecedents: catalogue
                .antecedents()
                .filter_map(|a| Some((a.id.clone(), answer(a.id.as_str(), &a.name)?)))
                .collect(),
        }
    }
}

/// The telling words of a text in order, each with what it may mean; several that mean one thing
/// together are one.
fn said(analysed: &Analysed) -> Vec<Said> {
    let mut said = Vec::new();
    let mut at = 0;
    while let Some(word) = analysed.words.get(at) {
        let here = analysed.mentions.iter().filter(|m| m.words.start == at);
        let longest = here.max_by_key(|mention| mention.words.len());
        let end = longest.map_or(at + 1, |mention| mention.words.end.max(at + 1));
        let concept = longest.and_then(|mention| mention.concepts.first());
        let mut ideas: Vec<_> = concept
            .map(|c| concept_term(*c, false))
            .into_iter()
            .collect();
        let words = analysed.words.get(at..end).unwrap_or_default();
        for word in words.iter().filter(|word| !word.common) {
            ideas.push(word.stem.to_string());
            if NEW.contains(&&*word.plain) {
                ideas.push(NEW_IDEA.to_owned());
            }
        }
        if !ideas.is_empty() {
            said.push(Said {
                ideas,
                ruled_out: word.ruled_out || denied(analysed, at),
            });
        }
        at = end;
    }
    said
}

/// Whether a "not" stands right before a word. The search takes `power not high` for a word of the
/// report; a sign stated from it would be the opposite of what was said.
fn denied(analysed: &Analysed, at: usize) -> bool {
    let before = at.checked_sub(1).and_then(|at| analysed.words.get(at));
    // "isn't" is read as "isn" and "t".
    before.is_some_and(|word| {
        ["not", "no", "never", "t", "isnt", "wasnt", "nor"].contains(&&*word.plain)
    })
}

/// What a text has to say to name this; none where its own words turn it.
fn ideas_of(name: &str, analysis: &Analysis) -> Option<Vec<String>> {
    let analysed = analysis.read(name);
    let turned = analysed
        .words
        .iter()
        .any(|word| TURNING.contains(&&*word.plain));
    let mut ideas: Vec<String> = Vec::new();
    for (at, word) in analysed.words.iter().enumerate() {
        let mention = analysed.mentions.iter().find(|m| m.words.contains(&at));
        let idea = match mention.and_then(|mention| mention.concepts.first()) {
            Some(concept) => concept_term(*concept, false),
            None if word.common => continue,
            None if NEW.contains(&&*word.plain) => NEW_IDEA.to_owned(),
            None => word.stem.to_string(),
        };
        if !ideas.contains(&idea) {
            ideas.push(idea);
        }
    }
    // One word alone is too little to say that it was meant.
    let words = analysed.words.iter().filter(|word| !word.common).count();
    (!turned && words > 1).then_some(ideas)
}

/// Whether a text names this, and as seen: not, where any of its words is said not to be so.
fn named(ideas: &[String], said: &[Said]) -> Option<bool> {
    said.windows(ideas.len().max(1)).find_map(|close| {
        let holding = ideas
            .iter()
            .map(|idea| close.iter().find(|word| word.ideas.contains(idea)));
        let words: Option<Vec<&Said>> = holding.collect();
        Some(!words?.iter().any(|word| word.ruled_out))
    })
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::{
        catalogue::source,
        search::{vocabulary::Vocabulary, words::WordList},
    };

    fn stated(typed: &str) -> (Vec<String>, Option<f64>) {
        let list = WordList::built_in().expect("the built-in list is right");
        let analysis = Analysis::new(Arc::new(list));
        let catalogue = source::built_in().expect("the built-in catalogue is right");
        let asked = Understood::new(typed, &analysis, &Vocabulary::default());
        let stated = asked.stated(typed, &catalogue);
        let told = |id: &str, seen: bool| format!("{}{id}", if seen { "" } else { "no " });
        let signs = stated
            .signs
            .iter()
            .map(|(id, seen)| told(id.as_str(), *seen));
        let before = stated.antecedents.iter();
        let before = before.map(|(id, happened)| told(id.as_str(), *happened));
        let pressure = stated.faulty.map(|(value, _)| value);
        (signs.chain(before).collect(), pressure)
    }

    #[test]
    fn signs_antecedents_and_the_pressure_are_taken_as_far_as_they_are_named() {
        for (typed, named) in [
            ("stuck 4e-5 after new foil, gate open", &["foil-added"][..]),
            ("foil added, rise linear", &["rise-linear", "foil-added"]),
            (
                "rise is like a ruler after a power cut",
                &["rise-linear", "power-cut"],
            ),
            (
                "backing line pressure high, turbo fine",
                &["foreline-pressure-high"],
            ),
            (
                "turbo drive power not high, rise is linear",
                &["rise-linear", "no turbo-power-high"],
            ),
            (
                "no foreline pressure high, hiss heard",
                &["no foreline-pressure-high", "hiss-heard"],
            ),
            ("sign:linear", &[]),
            ("gate valve open, roughing fine", &[]),
            ("foil on the door, new boat in the left post", &[]),
            ("water", &[]),
        ] {
            assert_eq!(stated(typed).0, named, "{typed}");
        }
        assert_eq!(
            stated("stuck 4e-5 after new foil")
                .1
                .map(|p| (p * 1e7).round()),
            Some(400.0)
        );
        for typed in [
            "door between 1e-6 and 1e-5 torr",
            ">1e-4 gauge",
            "healthy:3e-7 foil",
        ] {
            assert_eq!(stated(typed).1, None, "{typed}");
        }
    }
}
