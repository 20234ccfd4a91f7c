//! What a search states that a check sequence can start from: the pressure at the fault, and the
//! signs and antecedents of the catalogue that it names. Pure.
//!
//! A sign is named where the telling words of its name, or of its id, stand side by side, in any
//! of the word list's forms and in any order; denied where any of them is said not to be so. What has a "not" in its
//! own name is named where what follows it there is said not to be so. Of two whose words are part of the other's the
//! fuller is meant; and where a text goes on with a condition that only a fuller one has, neither is. What is
//! asked, doubted or said both ways states nothing, and neither does what was found right or ruled out as
//! the cause: new foil that is not it was put in all the same.

use std::{collections::BTreeMap, ops::Range};

use super::{language::parse, plan::Understood};
use crate::{
    catalogue::{AntecedentId, Catalogue, SignId},
    search::{
        indexed::document::{Part, certain},
        reading::{
            analysis::{Analysed, Analysis, STOP_WORDS, concept_term},
            pressure::{Told, readings},
        },
    },
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

/// A word that tells something, and what it may mean.
struct Said {
    ideas: Vec<String>,
    /// Which words of the text it is.
    words: Range<usize>,
}

/// A text as it is searched for names.
struct Text<'a> {
    text: &'a str,
    analysed: Analysed,
    said: Vec<Said>,
}

/// A name as a text has to say it.
struct Name {
    ideas: Vec<String>,
    /// Those that its own "not" turns.
    turned: Vec<String>,
}

/// How a text names something.
struct Named {
    /// Whether it is so; none where the text leaves that open.
    seen: Option<bool>,
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
        let read: Vec<Text<'_>> = texts
            .filter(|text| !asks(text))
            .map(|text| Text::new(text, &self.analysis))
            .collect();
        let signs = catalogue
            .signs()
            .map(|sign| (sign.id.as_str(), &*sign.name));
        let before = catalogue.antecedents().map(|a| (a.id.as_str(), &*a.name));
        let names: Vec<(&str, Vec<Name>)> = signs
            .chain(before)
            .map(|(id, name)| (id, names_of(id, name, &self.analysis)))
            .collect();
        let found: Vec<Vec<Named>> = names
            .iter()
            .map(|(_, names)| {
                let found = names
                    .iter()
                    .flat_map(|name| read.iter().flat_map(move |text| text.named(name)));
                found.collect()
            })
            .collect();
        let answer = |id: &str| {
            let at = names.iter().position(|(own, _)| *own == id)?;
            let own = found[at].first()?;
            let fuller = |other: &Vec<String>| {
                other.len() > own.ideas.len() && own.ideas.iter().all(|idea| other.contains(idea))
            };
            let meant = found.iter().flatten().any(|other| fuller(&other.ideas));
            let others = names.iter().filter(|(other, _)| *other != id);
            let mut all = others.flat_map(|(_, names)| names);
            let left_open = own.goes_on && all.any(|name| fuller(&name.ideas));
            let agreed = found[at].iter().all(|other| other.seen == own.seen);
            own.seen.filter(|_| agreed && !meant && !left_open)
        };
        let others = of_another(&query.plain);
        let faulty = self.pressures.iter().find_map(|asked| {
            let reading = &asked.reading;
            let single = !reading.bounded && (reading.low - reading.high).abs() < 1e-9;
            let own = reading.told == Told::Now && single && !others.contains(&&*asked.shown);
            own.then(|| (10f64.powf(reading.low), reading.unit))
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

impl<'a> Text<'a> {
    fn new(text: &'a str, analysis: &Analysis) -> Self {
        let analysed = analysis.read(text);
        let said = said(&analysed);
        Self {
            text,
            analysed,
            said,
        }
    }

    fn plain(&self, at: usize) -> &str {
        self.analysed.words.get(at).map_or("", |word| &*word.plain)
    }

    /// What stands behind a word, up to the next.
    fn gap(&self, at: usize) -> &str {
        let words = &self.analysed.words;
        let end = words.get(at + 1).map_or(self.text.len(), |w| w.place.start);
        let gap = words
            .get(at)
            .and_then(|word| self.text.get(word.place.end..end));
        gap.unwrap_or_default()
    }

    /// Whether a clause ends behind a word.
    fn ends(&self, at: usize) -> bool {
        let gap = self.gap(at);
        at + 1 >= self.analysed.words.len()
            || gap.contains([',', '.', ';', ':', '!', '?', '(', ')', '\n', '·', '–', '—'])
            || gap.contains(" - ")
    }

    /// The words around some that belong to their clause.
    fn clause(&self, words: &Range<usize>) -> Range<usize> {
        let mut clause = words.clone();
        while clause.start > 0 && !self.ends(clause.start - 1) {
            clause.start -= 1;
        }
        while clause.end > 0 && !self.ends(clause.end - 1) {
            clause.end += 1;
        }
        clause
    }

    /// Every place that names something.
    fn named(&self, name: &Name) -> Vec<Named> {
        let close = self.said.windows(name.ideas.len().max(1));
        close
            .filter_map(|close| self.named_by(name, close))
            .collect()
    }

    fn named_by(&self, name: &Name, close: &[Said]) -> Option<Named> {
        let holding = |idea: &String| close.iter().find(|word| word.ideas.contains(idea));
        let words: Option<Vec<&Said>> = name.ideas.iter().map(holding).collect();
        let words = words?;
        let span = close.first()?.words.start..close.last()?.words.end;
        let seen = if name.turned.is_empty() {
            self.told(&span, &words)
        } else {
            // Without its "not" a text says the opposite, or something else.
            let mut turned = name.turned.iter().filter_map(holding);
            let denied = |word: &Said| {
                let ruled_out = self.analysed.words[word.words.start].ruled_out;
                ruled_out || self.not_before(word.words.start).is_some()
            };
            turned.any(denied).then_some(())?;
            let open = self.doubted(&span) || self.denied_behind(&span).is_some();
            (!open).then_some(true)
        };
        Some(Named {
            seen,
            ideas: name.ideas.clone(),
            goes_on: self.goes_on(span.end),
        })
    }

    /// Whether a text says that what it names in these words is so, or that it is not; none where it leaves
    /// it open.
    fn told(&self, span: &Range<usize>, words: &[&Said]) -> Option<bool> {
        if self.doubted(span) {
            return None;
        }
        let nots = |range: Range<usize>| -> Vec<usize> {
            range.filter(|at| is_not(self.plain(*at))).collect()
        };
        let inside = nots(span.clone());
        let before = self.not_before(span.start);
        let far: Vec<usize> = self.far_before(span.start);
        let behind = self.denied_behind(span);
        let others = far.iter().any(|at| Some(*at) != before);
        let denials = inside.len() + usize::from(before.is_some()) + usize::from(behind.is_some());
        match denials {
            _ if others => None,
            0 => {
                // Found right, or ruled out as the cause, is not that it is not so; unless the name says
                // that it is right, as `gauges agree` does.
                let own = |denial: (u32, u32)| {
                    words.iter().any(|word| {
                        let mut places = self.analysed.words[word.words.clone()].iter();
                        places.any(|word| word.place.start == denial.0 as usize)
                    })
                };
                let ruled_out = |word: &&Said| {
                    let mut words = self.analysed.words[word.words.clone()].iter();
                    words.any(|word| word.ruled_out && !word.denial.is_some_and(own))
                };
                (!words.iter().any(ruled_out)).then_some(true)
            }
            1 => {
                let under =
                    |at: &usize| (span.start..*at).any(|at| CONDITIONS.contains(&self.plain(at)));
                let cause = before.is_some_and(|at| MEANS_CAUSE.contains(&self.plain(at + 1)));
                let open = inside.iter().any(under) || cause || behind == Some(false);
                (!open).then_some(false)
            }
            _ => None,
        }
    }

    /// Whether what is named in these words is asked or doubted, by its clause or a short one behind it.
    fn doubted(&self, span: &Range<usize>) -> bool {
        const SHORT: usize = 3;
        let doubt = |at: usize| {
            let denied = is_not(self.plain(at + 1)) && !self.ends(at);
            DOUBTING.contains(&self.plain(at)) && !denied
        };
        let clause = self.clause(span);
        if self.asked(span.end) || clause.clone().any(doubt) {
            return true;
        }
        let next = self.clause(&(clause.end..clause.end + 1));
        clause.end < self.analysed.words.len() && next.len() <= SHORT && next.into_iter().any(doubt)
    }

    /// Whether the sentence of a word ends as a question.
    fn asked(&self, end: usize) -> bool {
        let word = end
            .checked_sub(1)
            .and_then(|at| self.analysed.words.get(at));
        let rest = word.and_then(|word| self.text.get(word.place.end..));
        let mut signs = rest.unwrap_or_default().chars().peekable();
        while let Some(sign) = signs.next() {
            match sign {
                '?' => return true,
                ';' | '!' | '\n' => return false,
                // A decimal point ends nothing.
                '.' if signs.peek().is_none_or(|next| next.is_whitespace()) => return false,
                _ => {}
            }
        }
        false
    }

    /// A "not" right before a word, with nothing between but what it passes.
    fn not_before(&self, at: usize) -> Option<usize> {
        let mut at = at;
        while let Some(before) = at.checked_sub(1).filter(|before| !self.ends(*before)) {
            if is_not(self.plain(before)) {
                return Some(before);
            }
            if !PASSED.contains(&self.plain(before)) && !ARTICLES.contains(&self.plain(before)) {
                return None;
            }
            at = before;
        }
        None
    }

    /// What in the clause before a word denies, perhaps that word too.
    fn far_before(&self, at: usize) -> Vec<usize> {
        const FAR: usize = 3;
        let mut found = Vec::new();
        for before in (at.saturating_sub(FAR)..at).rev() {
            let plain = self.plain(before);
            if self.ends(before) || CONDITIONS.contains(&plain) || PARTING.contains(&plain) {
                break;
            }
            if is_not(plain) || (plain == "of" && self.plain(before.wrapping_sub(1)) == "instead") {
                found.push(before);
            }
        }
        found
    }

    /// Whether a no stands by itself behind words: `foil added: no`; false where it is not sure that it is
    /// meant of them.
    fn denied_behind(&self, span: &Range<usize>) -> Option<bool> {
        let end = span.end;
        let no = ["no", "not", "none", "never", "nope", "nowhere"].contains(&self.plain(end));
        let alone = no && (self.ends(end) || self.plain(end + 1) == "at");
        alone.then(|| [":", "="].contains(&self.gap(end - 1).trim()))
    }

    /// Whether the clause goes on at a word with a condition.
    fn goes_on(&self, at: usize) -> bool {
        at > 0
            && at < self.analysed.words.len()
            && self.gap(at - 1).trim().is_empty()
            && CONDITIONS.contains(&self.plain(at))
    }
}

/// The telling words of a text in order, each with what it may mean; several that mean one thing
/// together are one.
fn said(analysed: &Analysed) -> Vec<Said> {
    let mut said = Vec::new();
    let mut at = 0;
    while at < analysed.words.len() {
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
            let end = end.min(analysed.words.len());
            said.push(Said {
                ideas,
                words: at..end,
            });
        }
        at = end;
    }
    said
}

fn tells(plain: &str) -> bool {
    !(STOP_WORDS.contains(&plain) || is_not(plain) || PASSED.contains(&plain))
}

fn is_not(plain: &str) -> bool {
    DENYING.contains(&plain)
}

/// Between a "not" and what it turns.
const PASSED: [&str; 9] = [
    "be", "been", "to", "even", "really", "fully", "quite", "want", "show",
];

/// The same, and behind a "not" they mean that something is not the cause: `not the new foil`.
const ARTICLES: [&str; 14] = [
    "a", "an", "any", "as", "ever", "yet", "the", "our", "this", "that", "has", "have", "had", "it",
];

/// Of these, those.
const MEANS_CAUSE: [&str; 5] = ["the", "our", "this", "that", "it"];

/// Something else begins with these, of which a "not" before says nothing.
const PARTING: [&str; 7] = ["but", "though", "so", "then", "because", "since", "yet"];

/// What is said with these may be otherwise.
const DOUBTING: [&str; 30] = [
    "maybe",
    "perhaps",
    "possibly",
    "possible",
    "probably",
    "might",
    "may",
    "could",
    "should",
    "would",
    "if",
    "whether",
    "sure",
    "unsure",
    "unclear",
    "unknown",
    "uncertain",
    "certain",
    "know",
    "guess",
    "suspect",
    "suspected",
    "think",
    "thought",
    "assume",
    "unlikely",
    "supposedly",
    "allegedly",
    "wonder",
    "almost",
];

/// What turns the words behind it.
const DENYING: [&str; 27] = [
    "not", "no", "never", "nobody", "none", "nothing", "without", "neither", "t", "isnt", "wasnt",
    "arent", "nor", "wont", "doesnt", "didnt", "dont", "cant", "cannot", "couldnt", "wouldnt",
    "refuses", "refused", "fails", "failed", "unable", "hardly",
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
    let text = text.trim_end();
    // Not everybody types the mark.
    let asked = text.ends_with('?') || text.to_lowercase().ends_with(" or not");
    asked && ASKING.contains(&&*first.to_lowercase())
}

/// The pressures of a text that are no base pressure at the fault, by what stands right before them: those of
/// another place, of a process, of a moment, or wished for.
fn of_another(text: &str) -> Vec<&str> {
    const SAID: [&str; 36] = [
        "lock",
        "loadlock",
        "airlock",
        "process",
        "argon",
        "ar",
        "gas",
        "crossover",
        "roughing",
        "rough",
        "rougher",
        "scroll",
        "backing",
        "pump",
        "outlet",
        "exhaust",
        "blank",
        "stalls",
        "ultimate",
        "target",
        "goal",
        "spec",
        "limit",
        "fixed",
        "fix",
        "repaired",
        "fine",
        "spikes",
        "spiked",
        "spike",
        "dips",
        "dipped",
        "dip",
        "peaks",
        "kicks",
        "jumps",
    ];
    // Behind these the chamber's own is told again.
    const OWN: [&str; 7] = ["base", "chamber", "main", "now", "have", "stuck", "still"];
    const NEAR: usize = 3;
    let mut done = 0;
    let mut others = Vec::new();
    for reading in readings(text) {
        let before = text.get(done..reading.place.start).unwrap_or_default();
        done = reading.place.end;
        let clause = before.rsplit([',', ';', '.', '(', '\n']).next();
        let mut words = clause
            .unwrap_or_default()
            .split(|c: char| !c.is_alphanumeric());
        let mut near = Vec::new();
        while let Some(word) = words.next_back() {
            if !word.is_empty() && near.len() < NEAR {
                near.push(word.to_lowercase());
            }
        }
        let first = near
            .iter()
            .find(|word| SAID.contains(&&***word) || OWN.contains(&&***word));
        if first.is_some_and(|word| SAID.contains(&&**word)) {
            others.push(reading.shown(text));
        }
    }
    others
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

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::{
        catalogue::source,
        search::{indexed::vocabulary::Vocabulary, reading::words::WordList},
    };

    thread_local! {
        static READ: (Analysis, Catalogue) = {
            let list = WordList::built_in().expect("the built-in list is right");
            let catalogue = source::built_in().expect("the built-in catalogue is right");
            (Analysis::new(Arc::new(list)), catalogue)
        };
    }

    fn stated(typed: &str) -> (Vec<String>, Option<f64>) {
        let stated = READ.with(|(analysis, catalogue)| {
            let asked = Understood::new(typed, analysis, &Vocabulary::default());
            asked.stated(typed, catalogue)
        });
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
            ("rise linear?", &[]),
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
            ("rise not as healthy", &["no rise-as-healthy"]),
            ("rise is as healthy", &["rise-as-healthy"]),
            ("nobody opened the door", &["no door-opened"]),
            ("never opened the door", &["no door-opened"]),
            ("door opened: no", &["no door-opened"]),
            ("no foil added", &["no foil-added"]),
            ("no change since foil added", &["foil-added"]),
            // Where a name says itself that something is right.
            ("gauges agree", &["gauge-plausible"]),
            ("Gauges agree with each other", &["gauge-plausible"]),
            ("gauges do not agree", &["no gauge-plausible"]),
            // Nothing rather than the opposite.
            ("rise linear? not sure", &[]),
            ("rise linear, not sure", &[]),
            ("maybe a power cut", &[]),
            ("not the new foil", &[]),
            ("new foil ruled out", &[]),
            ("shields changed, ok", &[]),
            ("curve instead of linear rise", &[]),
            ("cryo warms when not vented", &[]),
            ("foil added? no", &[]),
            ("not without foil added", &[]),
            ("no foil added friday, foil added sunday", &[]),
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

    /// Said in the catalogue's own words a sign or antecedent is never said not to be so.
    #[test]
    fn a_name_never_states_its_opposite() {
        let catalogue = source::built_in().expect("the built-in catalogue is right");
        let signs = catalogue.signs().map(|s| (s.id.as_str(), &*s.name));
        let before = catalogue.antecedents().map(|a| (a.id.as_str(), &*a.name));
        for (at, (id, name)) in signs.chain(before).enumerate() {
            let (told, _) = stated(name);
            assert!(!told.contains(&format!("no {id}")), "{name}: {told:?}");
            // In a debug build each takes a while.
            if cfg!(debug_assertions) && at % 4 > 0 {
                continue;
            }
            for typed in [format!("{name}?"), format!("maybe {name}")] {
                let (told, _) = stated(&typed);
                let own = |told: &String| told.trim_start_matches("no ") == id;
                assert!(!told.iter().any(own), "{typed}: {told:?}");
            }
        }
    }
}
