//! What a search states that a check sequence can start from: the pressure at the fault, and the
//! signs and antecedents of the catalogue that it names. Pure.
//!
//! A sign is named where the telling words of its name, or of its id, stand side by side, in any
//! of the word list's forms and in any order; denied where any of them is said not to be so. What has a "not" in its
//! own name is named where what follows it there is said not to be so. Of two whose words are part of the other's the
//! fuller is meant; and where a text goes on with a condition that only a fuller one has, neither is.

use std::collections::BTreeMap;

use super::{
    analysis::{Analysed, Analysis, STOP_WORDS, concept_term},
    document::{Part, certain},
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

/// Before these a text says under which condition something is so: `cryo warms when vented`.
const CONDITIONS: [&str; 16] = [
    "when", "whenever", "while", "during", "once", "if", "as", "upon", "on", "at", "with", "after",
    "only", "each", "every", "by",
];

/// A word that tells something: what it may mean, and whether it is said not to be so.
struct Said {
    ideas: Vec<String>,
    ruled_out: bool,
    /// Whether a condition follows in the same clause.
    goes_on: bool,
}

/// A name as a text has to say it.
struct Name {
    ideas: Vec<String>,
    /// Those that its own "not" turns.
    turned: Vec<String>,
}

/// How a text names something.
struct Named {
    seen: bool,
    ideas: Vec<String>,
    goes_on: bool,
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
        let read: Vec<Vec<Said>> = texts
            .filter(|text| !asks(text))
            .map(|text| said(text, &self.analysis.read(text)))
            .collect();
        let signs = catalogue
            .signs()
            .map(|sign| (sign.id.as_str(), &*sign.name));
        let before = catalogue.antecedents().map(|a| (a.id.as_str(), &*a.name));
        let names: Vec<(&str, Vec<Name>)> = signs
            .chain(before)
            .map(|(id, name)| (id, names_of(id, name, &self.analysis)))
            .collect();
        let found: Vec<Option<Named>> = names
            .iter()
            .map(|(_, names)| {
                let found = names
                    .iter()
                    .flat_map(|name| read.iter().map(move |said| named(name, said)));
                found.flatten().next()
            })
            .collect();
        let answer = |id: &str| {
            let at = names.iter().position(|(own, _)| *own == id)?;
            let own = found[at].as_ref()?;
            let fuller = |other: &Vec<String>| {
                other.len() > own.ideas.len() && own.ideas.iter().all(|idea| other.contains(idea))
            };
            let meant = found.iter().flatten().any(|other| fuller(&other.ideas));
            let others = names.iter().filter(|(other, _)| *other != id);
            let mut all = others.flat_map(|(_, names)| names);
            let left_open = own.goes_on && all.any(|name| fuller(&name.ideas));
            (!meant && !left_open).then_some(own.seen)
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
                .filter_map(|sign| Some((sign.id.clone(), answer(sign.id.as_str())?)))
                .collect(),
            antecedents: catalogue
                .antecedents()
                .filter_map(|a| Some((a.id.clone(), answer(a.id.as_str())?)))
                .collect(),
        }
    }
}

/// The telling words of a text in order, each with what it may mean; several that mean one thing
/// together are one.
fn said(text: &str, analysed: &Analysed) -> Vec<Said> {
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
        // What a denial takes from what is searched for tells something here: `no water visible`.
        for word in words.iter().filter(|word| tells(&word.plain)) {
            ideas.push(word.stem.to_string());
            if NEW.contains(&&*word.plain) {
                ideas.push(NEW_IDEA.to_owned());
            }
        }
        if !ideas.is_empty() {
            said.push(Said {
                ideas,
                ruled_out: word.ruled_out || denied(analysed, at),
                goes_on: goes_on(text, analysed, end),
            });
        }
        at = end;
    }
    said
}

fn tells(plain: &str) -> bool {
    !(STOP_WORDS.contains(&plain) || DENYING.contains(&plain) || PASSED.contains(&plain))
}

/// Whether the clause goes on at a word with a condition.
fn goes_on(text: &str, analysed: &Analysed, at: usize) -> bool {
    let (Some(before), Some(word)) = (analysed.words.get(at - 1), analysed.words.get(at)) else {
        return false;
    };
    let gap = text.get(before.place.end..word.place.start);
    gap.is_some_and(|gap| gap.trim().is_empty()) && CONDITIONS.contains(&&*word.plain)
}

/// Whether a "not" stands before a word. The search takes `power not high` for a word of the
/// report; a sign stated from it would be the opposite of what was said.
fn denied(analysed: &Analysed, at: usize) -> bool {
    let mut before = analysed.words[..at].iter().rev();
    // "isn't" is read as "isn" and "t".
    before
        .find(|word| !PASSED.contains(&&*word.plain))
        .is_some_and(|word| DENYING.contains(&&*word.plain))
}

/// Between a "not" and what it turns.
const PASSED: [&str; 9] = [
    "be", "been", "to", "even", "really", "fully", "quite", "want", "show",
];

/// What turns the words behind it.
const DENYING: [&str; 22] = [
    "not", "no", "never", "t", "isnt", "wasnt", "arent", "nor", "wont", "doesnt", "didnt", "dont",
    "cant", "cannot", "couldnt", "wouldnt", "refuses", "refused", "fails", "failed", "unable",
    "hardly",
];

/// What a text may say to name what has this id and this name.
fn names_of(id: &str, name: &str, analysis: &Analysis) -> Vec<Name> {
    let mut names = vec![name.to_owned(), id.replace('-', " ")];
    names.extend(each_of(name));
    // `Regeneration overdue` is said of no other pump.
    let pump = name.strip_prefix("Cryopump ");
    names.extend(
        pump.filter(|rest| rest.starts_with("regenerat"))
            .map(str::to_owned),
    );
    let names = names.iter();
    names.filter_map(|name| name_of(name, analysis)).collect()
}

/// What happened, one by one, of a name that ends in several: `Door seal cleaned, greased or changed`.
fn each_of(name: &str) -> Vec<String> {
    let words: Vec<&str> = name.split_whitespace().collect();
    let done = |word: &str| word.trim_end_matches(',').ends_with("ed");
    let ends = |word: &&&str| done(word) || **word == "or";
    let several = words.iter().rev().take_while(ends).count();
    let (thing, all) = words.split_at(words.len() - several);
    if thing.is_empty() || thing.contains(&"or") || !all.contains(&"or") {
        return Vec::new();
    }
    let each = all.iter().filter(|word| done(word));
    let each = each.map(|word| format!("{} {}", thing.join(" "), word.trim_end_matches(',')));
    each.collect()
}

/// Whether a text asks whether something is so: `is the rise linear?`
fn asks(text: &str) -> bool {
    const ASKING: [&str; 10] = [
        "is", "are", "was", "were", "does", "do", "did", "has", "could", "can",
    ];
    let first = text.split_whitespace().next().unwrap_or_default();
    text.trim_end().ends_with('?') && ASKING.contains(&&*first.to_lowercase())
}

/// What a text has to say to name this; none where that is too little.
fn name_of(name: &str, analysis: &Analysis) -> Option<Name> {
    let analysed = analysis.read(certain(name));
    let mut ideas: Vec<String> = Vec::new();
    let mut turned: Vec<String> = Vec::new();
    let turn = analysed
        .words
        .iter()
        .position(|word| TURNING.contains(&&*word.plain));
    for (at, word) in analysed.words.iter().enumerate() {
        if turn == Some(at) {
            continue;
        }
        let mention = analysed.mentions.iter().find(|m| m.words.contains(&at));
        let idea = match mention.and_then(|mention| mention.concepts.first()) {
            Some(concept) => concept_term(*concept, false),
            None if !tells(&word.plain) => continue,
            None if NEW.contains(&&*word.plain) => NEW_IDEA.to_owned(),
            None => word.stem.to_string(),
        };
        if ideas.contains(&idea) {
            continue;
        }
        if turn.is_some_and(|turn| turn < at) {
            turned.push(idea.clone());
        }
        ideas.push(idea);
    }
    // One word alone is too little to say that it was meant.
    let words = analysed.words.iter().filter(|word| tells(&word.plain));
    let enough = words.count() > 1 && ideas.len() > usize::from(turn.is_some());
    (enough && turn.is_some() != turned.is_empty()).then_some(Name { ideas, turned })
}

/// Whether a text names this, and as seen: not, where any of its words is said not to be so.
fn named(name: &Name, said: &[Said]) -> Option<Named> {
    said.windows(name.ideas.len().max(1)).find_map(|close| {
        let holding = |idea: &String| close.iter().find(|word| word.ideas.contains(idea));
        let words: Option<Vec<&Said>> = name.ideas.iter().map(holding).collect();
        let words = words?;
        let turned = name.turned.iter().filter_map(holding);
        let seen = match name.turned.is_empty() {
            true => !words.iter().any(|word| word.ruled_out),
            // Without its "not" a text says the opposite, or something else.
            false => turned.clone().any(|word| word.ruled_out).then_some(true)?,
        };
        Some(Named {
            seen,
            ideas: name.ideas.clone(),
            goes_on: close.last().is_some_and(|word| word.goes_on),
        })
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
            // The fuller of two, and neither where another condition is meant.
            (
                "cryo warms when chamber vented",
                &["cryo-warms-when-vented"],
            ),
            (
                "cryopump warms when the chamber is vented",
                &["cryo-warms-when-vented"],
            ),
            ("cryo warm, water visible", &["cryo-warm", "water-visible"]),
            ("cryo warms while roughing", &[]),
            ("cryo warms with every wafer", &[]),
            (
                "foreline pressure high with gate open",
                &["foreline-pressure-high"],
            ),
            ("gate closing no change", &["gate-closing-no-change"]),
            ("rise flattens after an hour", &["rise-flattens"]),
            // What has a "not" in its own name.
            ("stage will not turn", &["stage-will-not-turn"]),
            ("stage won't turn", &["stage-will-not-turn"]),
            ("the stage doesn't turn any more", &["stage-will-not-turn"]),
            ("stage refuses to turn", &["stage-will-not-turn"]),
            ("stage turns, water visible", &["water-visible"]),
            ("is the rise linear?", &[]),
            ("rise linear?", &["rise-linear"]),
            ("regeneration overdue", &["cryo-regeneration-overdue"]),
            ("door seal cleaned, slow", &["work-at-door-seal"]),
            ("shields cleaned", &["shields-changed"]),
            ("cleaned", &[]),
            ("gate valve not open", &["gate-valve-not-open"]),
            ("gate valve isn't fully open", &["gate-valve-not-open"]),
            // Said not to be so, whichever way round.
            ("no water visible", &["no water-visible"]),
            ("water not visible", &["no water-visible"]),
            ("hiss not heard", &["no hiss-heard"]),
            ("post does not turn by hand", &["no post-turns-by-hand"]),
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
