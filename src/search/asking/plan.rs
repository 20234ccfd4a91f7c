//! What a query came to, against what the fleet has written.
//!
//! Words nobody wrote are taken for those that were probably meant; words written apart are
//! also looked for in one, and the other way about; words of the list bring those that mean
//! the same. The result says what is searched for, at which worth, and what was made of
//! what was typed.

use std::{
    collections::{HashMap, HashSet},
    sync::Arc,
};

use super::{
    language::{Named, NamedValue, Query, Within, parse},
    remark::Remark,
};
use crate::search::{
    indexed::{
        document::{Noted, Part},
        vocabulary::Vocabulary,
    },
    ranking::{
        circumstances::Circumstances, leaning::Leaning, learning::Learning,
        side_by_side::MOST_PAIRS, telling::Told, weights::Weights,
    },
    reading::{
        analysis::{
            Analysed, Analysis, Mention, Word, any_term, concept_term, denied_forms, lacking_term,
            ruled_out, split, stem_term,
        },
        negation,
        pressure::{self, Reading, rates, tells_place},
        quantity::{Quantity, quantities},
        surface::Surface,
        words::{Concept, adjoin},
    },
};

/// A query is cut here; more words than this say nothing more.
const MOST_WORDS: usize = 64;

/// Only so many words are looked up for other spellings.
const MOST_SPELT: usize = 12;

/// Only so many things said not to be it are looked for.
const MOST_DENIED: usize = 8;

/// Only so many pressures are compared.
const MOST_PRESSURES: usize = 8;

/// Beside two pressures these say which was when and how it changed, and are no words to search for.
const TIMES: [&str; 31] = [
    "yesterday",
    "today",
    "tonight",
    "last",
    "week",
    "weeks",
    "month",
    "months",
    "ago",
    "earlier",
    "currently",
    "normally",
    "previously",
    "formerly",
    "usually",
    "usual",
    "normal",
    "healthy",
    "fault",
    "faulty",
    "restored",
    "went",
    "up",
    "down",
    "rose",
    "fell",
    "dropped",
    "climbed",
    "crept",
    "jumped",
    "risen",
];

/// Worth of a word met through another that means the same.
const SAME_WORTH: f32 = 0.9;

/// Worth of a word that is only part of a term of several words.
const PART_WORTH: f32 = 0.5;

/// Worth of how others misspelt a word.
const MISSPELT_WORTH: f32 = 0.5;

/// Worth of the word of which one typed is a slip.
const SLIP_WORTH: f32 = 0.9;

/// Worth of a word as it stands where its lack is asked for: `not cold` is told in other words too.
const LACKING_WORTH: f32 = 0.25;

/// Parts that are well where the whole is, of whose kind there are others.
const OF_A_WHOLE: [&str; 8] = [
    "seal", "seals", "gasket", "ring", "seat", "bonnet", "hinge", "face",
];

/// What is missed when it is not there: `no flow` tells of a fault and denies none.
const MISSED: [&str; 12] = [
    "flow", "power", "signal", "current", "voltage", "light", "reading", "display", "response",
    "vacuum", "cooling", "pressure",
];

/// Worth of the words that say where a pressure was read, beside the pressure itself.
const PLACE_WORTH: f32 = 0.3;

/// Worth of what is only said not to have been seen.
const UNSEEN_WORTH: f32 = 0.3;

/// Worth of two words written in one, or one in two.
const JOINED_WORTH: f32 = 0.8;

/// Something searched for, in one of its forms.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::search) struct Wanted {
    /// As typed.
    pub(in crate::search) shown: String,
    /// Its forms as terms of the index, each with its worth; the first is as typed.
    pub(in crate::search) terms: Vec<(String, f32)>,
    /// Two words side by side that would do.
    pub(in crate::search) pair: Option<[String; 2]>,
    /// Whether it was typed in a way nobody wrote.
    pub(in crate::search) corrected: bool,
    /// Whether it is another way of saying what is wanted besides, or a part of it.
    pub(in crate::search) besides: bool,
}

/// Words that have to stand side by side, or in one part.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::search) struct Strict {
    /// As typed.
    pub(in crate::search) shown: String,
    pub(in crate::search) part: Option<Part>,
    /// Of the notes, in which of the things they are put together from.
    pub(in crate::search) noted: Option<Noted>,
    /// Whether it asks for a component.
    pub(in crate::search) component: bool,
    /// Terms with their places; side by side if a phrase.
    pub(in crate::search) terms: Vec<(usize, String)>,
    pub(in crate::search) wanted: Vec<Wanted>,
}

/// A thing said not to be it.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::search) struct Denied {
    /// Terms that a part holds all of where it says that it is.
    pub(in crate::search) terms: Vec<String>,
    /// Whether any part may say so; else only that of the cause.
    pub(in crate::search) anywhere: bool,
    /// Whether it is only said not to have been seen.
    pub(in crate::search) unseen: bool,
    /// Whether it is no more than what is the matter in general: `no leak`.
    pub(in crate::search) general: bool,
}

/// A pressure searched for.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::search) struct AskedPressure {
    pub(in crate::search) reading: Reading,
    /// As typed.
    pub(in crate::search) shown: String,
}

/// A name searched for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::search) struct AskedName {
    pub(in crate::search) named: Named,
    /// Identifier and name of each that will do.
    pub(in crate::search) values: Vec<(String, String)>,
    /// As typed.
    pub(in crate::search) shown: String,
    pub(in crate::search) left_out: bool,
}

/// What a search was understood to ask.
#[derive(Clone, Debug, Default)]
pub struct Understood {
    pub(in crate::search) analysis: Analysis,
    pub(in crate::search) wanted: Vec<Wanted>,
    pub(in crate::search) phrases: Vec<Strict>,
    pub(in crate::search) left_out: Vec<Strict>,
    pub(in crate::search) required: Vec<Strict>,
    pub(in crate::search) pressures: Vec<AskedPressure>,
    pub(in crate::search) quantities: Vec<Quantity>,
    /// Masses said not to be there.
    pub(in crate::search) quantities_denied: Vec<Quantity>,
    /// Whether the cases nearest to a pressure are told of, however far off they are.
    pub(in crate::search) nearest: bool,
    /// Whether the cases are those that hold none of the words.
    pub(in crate::search) silent: bool,
    /// Whether a case fits that is what it was asked to be and holds none of the words.
    pub(in crate::search) words_optional: bool,
    /// Pressures of which none near is wanted.
    pub(in crate::search) pressures_left_out: Vec<AskedPressure>,
    /// Names after field words, until it is known what they stand for.
    pub(in crate::search) typed_names: Vec<NamedValue>,
    pub(in crate::search) named: Vec<AskedName>,
    /// What is known of the tool and the case asked about beside words.
    pub(in crate::search) circumstances: Circumstances,
    pub(in crate::search) leaning: Leaning,
    pub(in crate::search) weights: Weights,
    /// Words typed side by side, each with its place.
    pub(in crate::search) neighbours: Vec<[(usize, String); 2]>,
    /// Things and what they are said to lack, in the same way: `gate valve not closing`.
    pub(in crate::search) lacks: Vec<[(usize, String); 2]>,
    /// What is said not to be it.
    pub(in crate::search) denied: Vec<Denied>,
    /// The causes among that.
    pub(in crate::search) denied_causes: HashSet<String>,
    /// The words typed, or as meant, for a comparison letter by letter.
    pub(in crate::search) surface: Surface,
    /// What the fleet's own cases teach, if that counts.
    pub(in crate::search) learning: Arc<Learning>,
    /// What those words and the circumstances tell of the cause.
    pub(in crate::search) told: Told,
    /// Words that no case holds in any form: as typed, and their stems.
    pub(in crate::search) unread: Vec<(String, String)>,
    pub(in crate::search) remarks: Vec<Remark>,
    places: HashMap<String, (usize, usize)>,
}

impl Understood {
    /// Makes out what was typed.
    pub(in crate::search) fn new(
        typed: &str,
        analysis: &Analysis,
        vocabulary: &Vocabulary,
    ) -> Self {
        let mut query = parse(typed);
        part(&mut query, analysis, vocabulary);
        let mut analysed = analysis.read(&query.plain);
        let quantities = measured(&query.plain, &mut analysed, vocabulary);
        let (quantities_denied, quantities): (Vec<_>, Vec<_>) =
            quantities.into_iter().partition(|quantity| quantity.denied);
        let told = no_words(&query, &mut analysed);
        if analysed.readings.len() > 1 {
            for word in &mut analysed.words {
                word.common |= TIMES.contains(&&*word.plain);
            }
        }
        let mut planner = Planner {
            analysis,
            vocabulary,
            spelt: HashMap::new(),
            looked_up: 0,
            unread: Vec::new(),
            remarks: query.remarks.iter().cloned().chain(told).collect(),
        };
        let mut wanted = planner.wanted(&query.plain, &analysed);
        let placed = |reading: &Reading| reading.told == pressure::Told::Elsewhere;
        if analysed.readings.iter().any(placed) {
            for of_place in wanted.iter_mut().filter(|own| tells_place(&own.shown)) {
                for (_, worth) in &mut of_place.terms {
                    *worth *= PLACE_WORTH;
                }
            }
        }
        let neighbours = planner.neighbours(&query.plain, &analysed);
        let surface = Surface::of_query(&analysed, analysis.learnt());
        let aside = |reading: &&Reading| reading.told == pressure::Told::Aside;
        for reading in analysed.readings.iter().filter(aside) {
            let shown = reading.shown(&query.plain).to_owned();
            planner.remarks.push(Remark::OtherTime(shown));
        }
        let compared = analysed.readings.iter().filter(|reading| !aside(reading));
        let mut pressures: Vec<_> = query
            .pressures
            .iter()
            .cloned()
            .chain(compared.map(|reading| {
                let shown = reading.shown(&query.plain).to_owned();
                (reading.clone(), shown)
            }))
            .map(|(reading, shown)| AskedPressure { reading, shown })
            .collect();
        once_each(&mut pressures);
        pressures.truncate(MOST_PRESSURES);
        let Query {
            phrases,
            left_out,
            required,
            named,
            pressures_left_out,
            ..
        } = query;
        let pressures_left_out = pressures_left_out.into_iter();
        let pressures_left_out = pressures_left_out
            .map(|(reading, shown)| AskedPressure { reading, shown })
            .collect();
        Self {
            analysis: analysis.clone(),
            wanted,
            phrases: planner.strict(&phrases),
            left_out: planner.strict(&left_out),
            required: planner.strict(&required),
            pressures,
            quantities,
            quantities_denied,
            nearest: false,
            silent: false,
            words_optional: false,
            circumstances: vocabulary.circumstances(&analysed, analysis.list()),
            pressures_left_out,
            typed_names: named,
            named: Vec::new(),
            learning: Arc::default(),
            told: Told::default(),
            leaning: Leaning::default(),
            weights: Weights::QUERY,
            neighbours,
            lacks: lacks(&query.plain, &analysed),
            denied: denied(&query.plain, &analysed),
            denied_causes: HashSet::new(),
            surface,
            unread: planner.unread,
            remarks: planner.remarks,
            places: HashMap::new(),
        }
        .indexed()
    }

    /// What a text has to be compared by, in all its forms; minus, quotes and field words are plain text in it.
    pub(in crate::search) fn wanted_of(
        text: &str,
        analysis: &Analysis,
        vocabulary: &Vocabulary,
    ) -> Vec<Wanted> {
        let mut planner = Planner {
            analysis,
            vocabulary,
            spelt: HashMap::new(),
            looked_up: 0,
            unread: Vec::new(),
            remarks: Vec::new(),
        };
        let mut analysed = analysis.read(text);
        measured(text, &mut analysed, vocabulary);
        planner.wanted(text, &analysed)
    }

    /// What a case is compared by: given terms, and its pressure at the fault.
    pub(in crate::search) fn of_terms(
        analysis: &Analysis,
        wanted: Vec<Wanted>,
        pressures: Vec<AskedPressure>,
    ) -> Self {
        Self {
            analysis: analysis.clone(),
            wanted,
            pressures,
            ..Self::default()
        }
        .indexed()
    }

    /// The one tool that a case has to be of, if the search names one.
    pub fn tool(&self) -> Option<&str> {
        let tools = self
            .named
            .iter()
            .filter(|name| name.named == Named::Tool && !name.left_out);
        let mut ids = tools.flat_map(|name| &name.values);
        let (_, shown) = ids.next()?;
        ids.next().is_none().then_some(shown)
    }

    /// What was made of what was typed; empty if it was taken as it stands.
    pub fn remarks(&self) -> &[Remark] {
        &self.remarks
    }

    /// What to look for in place of words that no case holds: those most like them. None where there are
    /// none, or where other words were typed.
    pub(in crate::search) fn most_like(&self, vocabulary: &Vocabulary) -> Option<Self> {
        let known = |wanted: &Wanted| {
            let unread = |(shown, _): &(String, String)| *shown == wanted.shown;
            !self.unread.iter().any(unread)
        };
        if self.wanted.iter().any(known) || !self.pressures.is_empty() {
            return None;
        }
        let like = self.unread.iter().map(|(shown, stem)| {
            let like = vocabulary.most_like(stem).into_iter();
            Wanted {
                shown: shown.clone(),
                terms: like.map(|word| (word, 1.0)).collect(),
                corrected: true,
                ..Wanted::default()
            }
        });
        let wanted: Vec<_> = like.filter(|wanted| !wanted.terms.is_empty()).collect();
        let found = !wanted.is_empty();
        found.then(|| {
            let like = Self {
                wanted,
                ..self.clone()
            };
            like.indexed()
        })
    }

    /// Weighs what is only said not to have been seen less: where nobody saw a drip there may be water.
    pub(in crate::search) fn weigh_less(&mut self, unseen: &Denied) {
        for wanted in &mut self.wanted {
            let own = |(term, _): &(String, f32)| {
                ruled_out(term).is_some_and(|term| unseen.terms.iter().any(|own| own == term))
            };
            if wanted.terms.iter().any(own) {
                for (_, worth) in &mut wanted.terms {
                    *worth *= UNSEEN_WORTH;
                }
            }
        }
    }

    /// The same, where a case fits as well that says of a word or thing that it is not so.
    pub(in crate::search) fn with_denied_forms(&self) -> Self {
        let mut denied = self.clone();
        for wanted in &mut denied.wanted {
            let forms = wanted.terms.iter().flat_map(|(term, worth)| {
                let forms = denied_forms(term).into_iter();
                forms.map(|form| (form, *worth * LACKING_WORTH))
            });
            let forms: Vec<_> = forms.collect();
            wanted.terms.extend(forms);
        }
        denied.indexed()
    }

    /// Whether nothing is asked: no word, pressure or field.
    pub(in crate::search) fn asks_nothing(&self) -> bool {
        self.wanted.is_empty()
            && self.pressures.is_empty()
            && self.quantities.is_empty()
            && self.quantities_denied.is_empty()
            && !self.is_strict()
    }

    /// Whether nothing is said but what is not it.
    pub(in crate::search) fn only_denies(&self) -> bool {
        let mut terms = self.wanted.iter().flat_map(|wanted| &wanted.terms);
        !self.denied.is_empty()
            && terms.all(|(term, _)| ruled_out(term).is_some())
            && self.pressures.is_empty()
            && self.quantities.is_empty()
            && self.phrases.is_empty()
            && self.required.is_empty()
    }

    /// Whether a case has to be or to hold something of which more than its words is asked.
    pub(in crate::search) fn keeps_to_something(&self) -> bool {
        let named = self.named.iter().any(|name| !name.left_out);
        named || !self.phrases.is_empty() || !self.required.is_empty()
    }

    /// Whether it leaves cases out.
    pub(in crate::search) fn is_strict(&self) -> bool {
        !(self.phrases.is_empty()
            && self.left_out.is_empty()
            && self.required.is_empty()
            && self.named.is_empty()
            && self.pressures_left_out.is_empty())
    }

    /// What is wanted under this term of the index, if anything.
    pub(in crate::search) fn wanting(&self, term: &str) -> Option<&Wanted> {
        let (list, at) = self.places.get(term)?;
        match list {
            0 => self.wanted.get(*at),
            list => self
                .phrases
                .iter()
                .chain(&self.required)
                .nth(list - 1)?
                .wanted
                .get(*at),
        }
    }

    /// Adds what the fleet's own cases teach of these words.
    pub(in crate::search) fn learn(&mut self, learning: Arc<Learning>) {
        self.told = learning.told(self.surface.words(), &self.circumstances);
        self.learning = learning;
    }

    /// The same without quotation marks, minus, field words and the ends of ranges.
    pub(in crate::search) fn relaxed(&self) -> Self {
        let mut relaxed = self.clone();
        for strict in self.phrases.iter().chain(&self.required) {
            relaxed.wanted.extend(strict.wanted.iter().cloned());
        }
        relaxed.phrases.clear();
        relaxed.required.clear();
        relaxed.left_out.clear();
        relaxed.named.clear();
        relaxed.pressures_left_out.clear();
        relaxed.without_bounds().indexed()
    }

    /// The same without what a minus leaves out; none where it has none, or nothing else.
    pub(in crate::search) fn without_minus(&self) -> Option<Self> {
        let mut plus = self.clone();
        plus.left_out.clear();
        plus.pressures_left_out.clear();
        plus.named.retain(|name| !name.left_out);
        let fewer = plus.left_out.len() < self.left_out.len()
            || plus.pressures_left_out.len() < self.pressures_left_out.len()
            || plus.named.len() < self.named.len();
        (fewer && !plus.asks_nothing()).then_some(plus)
    }

    /// The same with all names after field words but one, the last left aside first; none where there is but
    /// one.
    pub(in crate::search) fn without_one_name(&self) -> Vec<Self> {
        let several = self.named.len() > 1;
        let places = (0..self.named.len()).rev().filter(|_| several);
        places
            .map(|place| {
                let mut fewer = self.clone();
                fewer.named.remove(place);
                fewer
            })
            .collect()
    }

    /// Says nothing of words that stand in a name, which are not searched for, being in no case.
    pub(in crate::search) fn leave_untold(&mut self, name: &str) {
        for remark in &mut self.remarks {
            if let Remark::Unwritten(words) = remark {
                words.retain(|word| !name.contains(word.as_str()));
            }
        }
        self.remarks
            .retain(|remark| *remark != Remark::Unwritten(Vec::new()));
    }

    /// The same with ranges of pressure taken as near, not as bounds.
    pub(in crate::search) fn without_bounds(mut self) -> Self {
        for asked in &mut self.pressures {
            asked.reading = asked.reading.clone().without_bounds();
        }
        self
    }

    /// The same, where a case fits that holds none of the words.
    pub(in crate::search) fn with_words_optional(mut self) -> Self {
        self.words_optional = true;
        self
    }

    fn indexed(mut self) -> Self {
        let mut places = HashMap::new();
        let strict = self.phrases.iter().chain(&self.required);
        let lists = std::iter::once(&self.wanted).chain(strict.map(|strict| &strict.wanted));
        for (list, wanted) in lists.enumerate() {
            for (at, wanted) in wanted.iter().enumerate() {
                for (term, _) in &wanted.terms {
                    places.entry(term.clone()).or_insert((list, at));
                }
                for term in wanted.pair.iter().flatten() {
                    places.entry(term.clone()).or_insert((list, at));
                }
            }
        }
        self.places = places;
        self
    }
}

/// What a text says both to be there and not to be it, as in `door seal new, so not door`: only the denial
/// is searched for.
fn contradicted(analysed: &Analysed) -> Vec<Arc<str>> {
    let words = analysed.words.iter().enumerate();
    let whole =
        words.filter(|(at, word)| word.ruled_out && !word.common && !analysed.of_a_kind(*at));
    whole.map(|(_, word)| Arc::clone(&word.stem)).collect()
}

/// The things that a text says to lack something, each with what it lacks and how far that stands behind it.
fn lacks(text: &str, analysed: &Analysed) -> Vec<[(usize, String); 2]> {
    let mut lacks = Vec::new();
    for (at, _) in analysed
        .words
        .iter()
        .enumerate()
        .filter(|(_, word)| word.lacking)
    {
        let named = |at: usize| {
            let mut mentions = analysed.mentions.iter();
            mentions.find(|mention| mention.words.contains(&at) && !mention.concepts.is_empty())
        };
        let (first, lack) = match named(at) {
            Some(mention) => {
                let term = concept_term(mention.concepts[0], false);
                let own = match analysed.lacks(mention) {
                    Some(_) => lacking_term(&term),
                    None => term,
                };
                (mention.words.start, own)
            }
            None => (at, lacking_term(&analysed.words[at].stem)),
        };
        let told = |at: &usize| !analysed.words[*at].common;
        let Some(last) = (0..first).rev().take(4).find(told) else {
            continue;
        };
        let one = (last..first).all(|at| match analysed.words.get(at..at + 2) {
            Some([a, b]) => text[a.place.end..b.place.start]
                .trim_matches(['\'', '’', ' '])
                .is_empty(),
            _ => false,
        });
        if !one || analysed.words[last].ruled_out || analysed.words[last].lacking {
            continue;
        }
        let (begins, thing) = match named(last) {
            Some(mention) => (
                mention.words.start,
                concept_term(mention.concepts[0], false),
            ),
            None => (last, stem_term(&analysed.words[last].stem, false)),
        };
        let place = |at: usize| analysed.words[at].position - analysed.words[begins].position;
        lacks.push([(0, thing), (place(first), lack)]);
    }
    lacks.truncate(MOST_PAIRS);
    lacks
}

/// The things a text says not to be it, each by all of its words.
pub(in crate::search) fn denied(text: &str, analysed: &Analysed) -> Vec<Denied> {
    let mut denied: Vec<(Denied, bool)> = Vec::new();
    let mut last: Option<usize> = None;
    let unseen = |word: &Word| {
        let mut words = analysed.words.iter();
        words.any(|other| {
            let own = other.denial == word.denial && other.ruled_out;
            let (at, (from, to)) = (other.place.start as u32, word.denial.unwrap_or_default());
            (own || (from..to).contains(&at)) && negation::tells_sight(&other.plain)
        })
    };
    for (at, word) in analysed.words.iter().enumerate() {
        if !word.ruled_out || word.common {
            continue;
        }
        let mention = analysed.mentions.iter().find(|m| m.words.contains(&at));
        let term = match mention.and_then(|mention| mention.concepts.first()) {
            Some(concept) => concept_term(*concept, false),
            None => stem_term(&word.stem, false),
        };
        let goes_on = last.is_some_and(|last| adjoin(text, &analysed.words[last], word));
        let missed =
            MISSED.contains(&&*word.plain) || negation::tells_setting(text, &analysed.words, at);
        match denied.last_mut().filter(|_| goes_on) {
            Some((one, of_missed)) => {
                *of_missed |= missed;
                one.anywhere &= negation::tells_course(&word.plain);
                one.unseen |= unseen(word);
                one.general &= negation::tells_matter(&word.plain);
                if !one.terms.contains(&term) {
                    one.terms.push(term);
                }
            }
            None => denied.push((
                Denied {
                    terms: vec![term],
                    anywhere: negation::tells_course(&word.plain),
                    unseen: unseen(word),
                    general: negation::tells_matter(&word.plain),
                },
                missed,
            )),
        }
        last = Some(at);
    }
    denied.retain(|(_, missed)| !missed);
    denied.truncate(MOST_DENIED);
    denied.into_iter().map(|(denied, _)| denied).collect()
}

/// Whether some words are one word that may be written apart: the ring of `o ring` is no ring, and its o nothing.
fn is_one_word(words: &[Word]) -> bool {
    words.len() > 1 && words.iter().any(|word| word.plain.chars().count() == 1)
}

/// Sets spaces between words written in one that nobody knows so.
fn part(query: &mut Query, analysis: &Analysis, vocabulary: &Vocabulary) {
    let words = split(&query.plain, &[]);
    let unknown = |word: &&Word| {
        let learnt = || analysis.learnt().meanings(&[&*word.stem]);
        !word.common && !vocabulary.knows(&word.stem) && learnt().is_none()
    };
    // From the last on, so that the places of those before stay right.
    for word in words.iter().rev().filter(unknown).take(MOST_SPELT) {
        let meant = || vocabulary.meant_by(&word.plain, &word.stem);
        let Some(pieces) = vocabulary
            .parted(&word.plain)
            .filter(|_| meant().is_empty())
        else {
            continue;
        };
        let (apart, place) = (pieces.join(" "), word.place.clone());
        query.remarks.push(Remark::Parted {
            typed: query.plain[place.clone()].to_owned(),
            apart: apart.clone(),
        });
        query.plain.replace_range(place, &apart);
    }
}

/// The quantities of a text. Their words are left aside, since a column finds what is near; but where no
/// case holds one of the sort, as where all figures were taken out of the texts, only words find it.
fn measured(text: &str, analysed: &mut Analysed, vocabulary: &Vocabulary) -> Vec<Quantity> {
    let taken: Vec<_> = analysed.readings.iter().map(|r| r.place.clone()).collect();
    let mut found = quantities(text, &taken);
    found.truncate(MOST_PRESSURES);
    let found_near = found.iter().filter(|own| vocabulary.measures(own.sort));
    analysed.leave_aside(found_near.map(|quantity| &quantity.place));
    let peaks = pressure::heights(text);
    analysed.leave_aside(peaks.iter());
    found.retain(|quantity| !quantity.before);
    let mut kept: Vec<Quantity> = Vec::with_capacity(found.len());
    for quantity in found {
        let same = |own: &Quantity| {
            own.sort == quantity.sort
                && own.denied == quantity.denied
                && (own.value - quantity.value).abs() < f64::EPSILON
        };
        if !kept.iter().any(same) {
            kept.push(quantity);
        }
    }
    kept
}

/// Where the word begins of which the tail behind an apostrophe begins here: `won't close` is shown whole.
fn word_start(text: &str, at: usize) -> usize {
    let before = &text[..at];
    let head = before.strip_suffix(['\'', '’']).unwrap_or_default();
    let letters = head.trim_end_matches(char::is_alphabetic).len();
    match letters < head.len() {
        true => letters,
        false => at,
    }
}

/// Leaves each pressure in a list once: a pasted log tells the same one over and over, which makes it no
/// weightier.
fn once_each(pressures: &mut Vec<AskedPressure>) {
    /// An eighth.
    const SAME: f64 = 0.05;
    let near = |a: f64, b: f64| (a.is_infinite() && b.is_infinite()) || (a - b).abs() < SAME;
    let same = |a: &Reading, b: &Reading| {
        let both = (a.told, a.unit, a.bounded) == (b.told, b.unit, b.bounded);
        both && near(a.low, b.low) && near(a.high, b.high)
    };
    let mut kept: Vec<AskedPressure> = Vec::with_capacity(pressures.len());
    for asked in pressures.drain(..) {
        if !kept.iter().any(|own| same(&own.reading, &asked.reading)) {
            kept.push(asked);
        }
    }
    *pressures = kept;
}

/// Leaves rates and flows aside, by which no case is searched; gives a remark on those.
fn no_words(query: &Query, analysed: &mut Analysed) -> Option<Remark> {
    let rates = rates(&query.plain);
    analysed.leave_aside(rates.iter());
    let shown = &query.plain[rates.first()?.clone()];
    Some(Remark::Rate(shown.to_owned()))
}

struct Planner<'a> {
    analysis: &'a Analysis,
    vocabulary: &'a Vocabulary,
    /// What words nobody wrote, or that look like a slip, were taken for.
    spelt: HashMap<String, Vec<(String, f32)>>,
    /// How many of the former.
    looked_up: usize,
    /// Words that no case holds in any form.
    unread: Vec<(String, String)>,
    remarks: Vec<Remark>,
}

impl Planner<'_> {
    /// Tells of a word that no case holds, together with the others.
    fn tell_unwritten(&mut self, shown: &str) {
        let others = self.remarks.iter_mut().find_map(|remark| match remark {
            Remark::Unwritten(words) => Some(words),
            _ => None,
        });
        match others {
            Some(words) if words.iter().any(|told| told == shown) => {}
            Some(words) => words.push(shown.to_owned()),
            None => self.remarks.push(Remark::Unwritten(vec![shown.to_owned()])),
        }
    }

    fn wanted(&mut self, text: &str, analysed: &Analysed) -> Vec<Wanted> {
        let mut wanted: Vec<Wanted> = Vec::new();
        let mut add = |new: Wanted| {
            let known = wanted
                .iter()
                .any(|known| known.terms.first() == new.terms.first());
            if !known && wanted.len() < MOST_WORDS {
                wanted.push(new);
            }
        };
        let contradicted = contradicted(analysed);
        let doubted = |word: &Word| !word.ruled_out && contradicted.contains(&word.stem);
        for mention in &analysed.mentions {
            let words = &analysed.words[mention.words.clone()];
            if words.iter().any(doubted) {
                continue;
            }
            if let ([first, .., last], Some(concept)) = (words, mention.concepts.first()) {
                let wider = match first.ruled_out {
                    true => &mention.concepts[1..],
                    false => &[],
                };
                let term = concept_term(*concept, first.ruled_out);
                let own = match analysed.lacks(mention).is_some() {
                    true => vec![(lacking_term(&term), 1.0), (term, LACKING_WORTH)],
                    false => vec![(term, 1.0)],
                };
                let wider = wider
                    .iter()
                    .map(|wide| (concept_term(*wide, true), SAME_WORTH));
                add(Wanted {
                    shown: text[word_start(text, first.place.start)..last.place.end].to_owned(),
                    terms: own.into_iter().chain(wider).collect(),
                    ..Wanted::default()
                });
            }
        }
        for mended in self.mended(text, &analysed.words) {
            add(mended);
        }
        for (at, word) in analysed.words.iter().enumerate().take(2 * MOST_WORDS) {
            if !word.ruled_out {
                for meant in self.learnt(text, &analysed.words[at..]) {
                    add(meant);
                }
            }
            if word.common {
                continue;
            }
            let within =
                |mention: &&Mention| mention.words.len() > 1 && mention.words.contains(&at);
            let mention = analysed.mentions.iter().find(within);
            let whole = mention.is_none();
            if mention.is_some_and(|mention| is_one_word(&analysed.words[mention.words.clone()])) {
                continue;
            }
            if doubted(word) || (word.ruled_out && !whole) {
                // No valve that is fine says anything of the gate valve.
                continue;
            }
            let before = at.checked_sub(1).map(|before| &analysed.words[before]);
            let before = before.filter(|before| !before.common);
            if let (true, Some(before)) = (word.ruled_out && word.qualified, before) {
                let both = stem_term(&format!("{} {}", before.stem, word.stem), true);
                // Where the valves are fine, so is the gate valve.
                let mut terms = vec![(both, 1.0), (stem_term(&word.stem, true), PART_WORTH)];
                if OF_A_WHOLE.contains(&&*word.plain) {
                    // Where the door is fine, so is its seal.
                    let whole = analysed.mentions.iter();
                    let whole = whole.filter(|mention| mention.words.contains(&(at - 1)));
                    let whole = whole.filter_map(|mention| mention.concepts.first());
                    terms.extend(whole.map(|whole| (concept_term(*whole, true), PART_WORTH)));
                }
                add(Wanted {
                    shown: text[before.place.start..word.place.end].to_owned(),
                    terms,
                    pair: Some([at - 1, at].map(|at| analysed.ruled_out_term(at))),
                    ..Wanted::default()
                });
                continue;
            }
            if analysed.of_a_kind(at) {
                continue;
            }
            add(self.word(&text[word.place.clone()], word, whole));
            if let Some(next) = analysed.words.get(at + 1)
                && let Some(joined) = self.joined(text, word, next)
            {
                add(joined);
            }
        }
        wanted
    }

    /// What a word nobody wrote stands for, nearest first, or the word of which one is a slip that somebody
    /// made before; none where it stands as it is.
    fn meant(&mut self, word: &Word) -> Vec<(String, f32)> {
        if self.analysis.learnt().meanings(&[&*word.stem]).is_some() {
            return Vec::new();
        }
        if let Some(known) = self.spelt.get(&*word.plain) {
            return known.clone();
        }
        let meant = if self.vocabulary.knows(&word.stem) {
            let slip_of = self.vocabulary.slip_of(&word.plain, &word.stem);
            let meant = slip_of.map(|meant| (meant.to_owned(), SLIP_WORTH));
            meant.into_iter().collect()
        } else if self.looked_up < MOST_SPELT {
            self.looked_up += 1;
            self.vocabulary.meant_by(&word.plain, &word.stem)
        } else {
            return Vec::new();
        };
        self.spelt.insert(word.plain.to_string(), meant.clone());
        meant
    }

    /// Terms of several words of the list in which one is misspelt: elastomr seal.
    fn mended(&mut self, text: &str, words: &[Word]) -> Vec<Wanted> {
        let mut mended = words.to_vec();
        let mut changed = Vec::new();
        for (at, word) in mended.iter_mut().enumerate().take(2 * MOST_WORDS) {
            let nearest = match word.common {
                true => None,
                false => self.meant(word).into_iter().next(),
            };
            if let Some((nearest, _)) = nearest {
                word.stem = nearest.as_str().into();
                changed.push(at);
            }
        }
        if changed.is_empty() {
            return Vec::new();
        }
        let mentions = self.analysis.list().mentions(text, &mended).into_iter();
        let several = mentions.filter(|mention| {
            mention.words.len() > 1 && changed.iter().any(|at| mention.words.contains(at))
        });
        let wanted = several.filter_map(|mention| {
            let (first, last) = (&words[mention.words.start], &words[mention.words.end - 1]);
            let concept = mention.concepts.first()?;
            Some(Wanted {
                shown: text[first.place.start..last.place.end].to_owned(),
                terms: vec![(concept_term(*concept, first.ruled_out), 1.0)],
                corrected: true,
                besides: true,
                ..Wanted::default()
            })
        });
        wanted.collect()
    }

    /// Words that stand side by side and are no term of the list, which counts as one anyway.
    fn neighbours(&mut self, text: &str, analysed: &Analysed) -> Vec<[(usize, String); 2]> {
        let mut neighbours = Vec::new();
        for (at, pair) in analysed.words.windows(2).enumerate() {
            let said = pair.iter().all(|word| !word.common && !word.ruled_out);
            let mut mentions = analysed.mentions.iter();
            let one = mentions.any(|mention| {
                let both = mention.words.contains(&at) && mention.words.contains(&(at + 1));
                let either = mention.words.contains(&at) || mention.words.contains(&(at + 1));
                both || either && is_one_word(&analysed.words[mention.words.clone()])
            });
            if said && !one && adjoin(text, &pair[0], &pair[1]) && neighbours.len() < MOST_PAIRS {
                neighbours.push([0, 1].map(|word| {
                    let meant = self.meant(&pair[word]).into_iter().next();
                    let stem = meant.map_or_else(|| pair[word].stem.to_string(), |(stem, _)| stem);
                    (word, stem)
                }));
            }
        }
        neighbours
    }

    fn word(&mut self, shown: &str, word: &Word, whole: bool) -> Wanted {
        let worth = if whole { 1.0 } else { PART_WORTH };
        let mut wanted = Wanted {
            shown: shown.to_owned(),
            terms: vec![(stem_term(&word.stem, word.ruled_out), worth)],
            besides: !whole,
            ..Wanted::default()
        };
        if word.lacking {
            let plain = (stem_term(&word.stem, false), worth * LACKING_WORTH);
            wanted.terms.insert(0, (lacking_term(&word.stem), worth));
            wanted.terms[1] = plain;
        }
        let list = self.analysis.list();
        let concepts = match word.qualified {
            true => &[],
            false => list.concepts(&word.stem),
        };
        // Ruled out with all that is wider: where there was no water, there was no drip.
        let meant_by = |concepts: &[Concept], worth: f32| {
            let held = concepts
                .len()
                .min(if word.ruled_out { usize::MAX } else { 1 });
            let held = &concepts[..held];
            let term = |concept: &Concept| (concept_term(*concept, word.ruled_out), worth);
            let lack = |concept: &Concept| (lacking_term(&concept_term(*concept, false)), worth);
            let lacking = held.iter().filter(|_| word.lacking).map(lack);
            held.iter().map(term).chain(lacking).collect::<Vec<_>>()
        };
        if whole {
            wanted.terms.extend(meant_by(concepts, SAME_WORTH));
        }
        let known = self.vocabulary.knows(&word.stem);
        if known && !word.ruled_out {
            for other in self.vocabulary.misspellings(&word.stem) {
                wanted.terms.push((other, worth * MISSPELT_WORTH));
            }
        }
        let held = self.vocabulary.cases_of(&word.stem) > 0;
        if !held && !known && !word.ruled_out && self.vocabulary.denies(&word.stem) {
            // It stands only where it is said not to be so.
            let [_, denied @ ..] = any_term(&word.stem);
            let denied = denied.into_iter().map(|term| (term, worth * LACKING_WORTH));
            wanted.terms.extend(denied);
            return wanted;
        }
        let meant = self.meant(word);
        if meant.is_empty() && (held || (known && !concepts.is_empty())) {
            return wanted;
        }
        if self.analysis.learnt().meanings(&[&*word.stem]).is_some() {
            return wanted;
        }
        wanted.corrected = !known || !meant.is_empty();
        for (meant, worth) in &meant {
            wanted
                .terms
                .push((stem_term(meant, word.ruled_out), *worth));
            wanted
                .terms
                .extend(meant_by(list.concepts(meant), worth * SAME_WORTH));
        }
        if !word.ruled_out && !known {
            wanted.pair = self.vocabulary.split(&word.stem);
        }
        let unread = meant.is_empty() && wanted.pair.is_none();
        if unread && whole && shown.chars().count() < 30 {
            self.tell_unwritten(shown);
            self.unread.push((shown.to_owned(), word.stem.to_string()));
        }
        wanted
    }

    /// What a site's pairs of texts say these words mean, each word meant by itself.
    fn learnt(&self, text: &str, words: &[Word]) -> Vec<Wanted> {
        let side_by_side = match words {
            [first, second, ..] if adjoin(text, first, second) => &words[..2],
            words => &words[..words.len().min(1)],
        };
        let stems: Vec<&str> = side_by_side.iter().map(|word| &*word.stem).collect();
        let Some((count, meanings)) = self.analysis.learnt().meanings(&stems) else {
            return Vec::new();
        };
        let shown = &text[words[0].place.start..words[count - 1].place.end];
        let longest = meanings.iter().map(|(meaning, _)| meaning.len()).max();
        let nth = |at: usize| {
            let terms: Vec<(String, f32)> = meanings
                .iter()
                .filter_map(|(meaning, chance)| Some((meaning.get(at)?.1.clone(), *chance)))
                .collect();
            Wanted {
                shown: shown.to_owned(),
                terms,
                corrected: true,
                ..Wanted::default()
            }
        };
        (0..longest.unwrap_or_default()).map(nth).collect()
    }

    /// Two words written apart that others write in one.
    fn joined(&self, text: &str, word: &Word, next: &Word) -> Option<Wanted> {
        if !adjoin(text, word, next) || word.ruled_out != next.ruled_out {
            return None;
        }
        let one = split(&format!("{}{}", word.plain, next.plain), &[]);
        let stem = &one.first().filter(|_| one.len() == 1)?.stem;
        (self.vocabulary.cases_of(stem) > 0).then(|| Wanted {
            shown: text[word.place.start..next.place.end].to_owned(),
            terms: vec![(stem_term(stem, word.ruled_out), JOINED_WORTH)],
            besides: true,
            ..Wanted::default()
        })
    }

    fn strict(&mut self, all: &[Within]) -> Vec<Strict> {
        all.iter()
            .filter_map(|within| {
                let text = match within.part {
                    None => &within.text[pressure::tail(&within.text)..],
                    Some(_) => &*within.text,
                };
                if text.trim().is_empty() {
                    let shown = within.text.trim().to_owned();
                    self.remarks.push(Remark::PressureEnd(shown));
                    return None;
                }
                let analysed = self.analysis.read(text);
                let cut = text.len() < within.text.len();
                let mut wanted = self.wanted(text, &analysed);
                let split = split(text, &analysed.readings);
                let telling: Vec<&Word> = split.iter().filter(|word| word.in_phrase()).collect();
                if within.part.is_none() && !telling.is_empty() {
                    // Words side by side are asked for as they stand, denied or not.
                    for known in &mut wanted {
                        let other =
                            |word: &&&Word| known.terms.iter().any(|(t, _)| *t == *word.stem);
                        let word = telling.iter().find(other);
                        let terms = word.map(|word| any_term(&word.stem)).into_iter().flatten();
                        known.terms.extend(terms.skip(1).map(|term| (term, 0.0)));
                    }
                    let common = split.iter().filter(|word| !word.in_phrase());
                    let common: Vec<_> = common.map(|word| word.plain.to_string()).collect();
                    if !common.is_empty() {
                        self.remarks.push(Remark::AnyInPlace(common));
                    }
                    let terms = telling.into_iter();
                    let terms = terms.map(|word| (word.position, word.stem.to_string()));
                    return Some(Strict {
                        shown: within.text.trim().to_owned(),
                        part: None,
                        noted: None,
                        component: false,
                        terms: terms.take(MOST_WORDS).collect(),
                        wanted,
                    });
                }
                if within.part.is_none() && !analysed.readings.is_empty() {
                    // It is asked for as a pressure.
                    return None;
                }
                let terms: Vec<_> = analysed
                    .words
                    .iter()
                    .enumerate()
                    .filter(|(_, word)| !word.common || word.set_aside())
                    .map(|(at, word)| {
                        let term = match word.ruled_out {
                            // What only denies another: the `change` of `no change`.
                            _ if word.common => stem_term(&word.stem, true),
                            true => analysed.ruled_out_term(at),
                            false if word.lacking => lacking_term(&word.stem),
                            false => stem_term(&word.stem, false),
                        };
                        (word.position, term)
                    })
                    .take(MOST_WORDS)
                    .collect();
                for known in &mut wanted {
                    let own = known.terms.clone();
                    let denied = own.iter().flat_map(|(term, worth)| {
                        let forms = denied_forms(term).into_iter();
                        forms.map(|form| (form, *worth * LACKING_WORTH))
                    });
                    known.terms.extend(
                        denied.filter(|(form, _)| !own.iter().any(|(term, _)| term == form)),
                    );
                }
                if terms.is_empty() {
                    let shown = within.text.trim().to_owned();
                    self.remarks.push(match cut {
                        true => Remark::PressureEnd(shown),
                        false => Remark::OnlyCommon(shown),
                    });
                    return None;
                }
                Some(Strict {
                    shown: within.text.trim().to_owned(),
                    part: within.part,
                    noted: within.noted,
                    component: within.component,
                    wanted,
                    terms,
                })
            })
            .collect()
    }
}
