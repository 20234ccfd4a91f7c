//! How text becomes words, in one place for documents, queries and excerpts.
//!
//! Pressures are taken out first (they are searched as numbers, not as words). What is left
//! is split, lowered, folded to plain letters and stemmed; figures part from the units glued
//! to them; words of the trade get their concepts from the word list; what is said not to be
//! so is marked as ruled out; times of day, dates and words too common to tell anything are dropped, their
//! places kept.
//! Pure. Nothing here knows of the index beyond the form of its terms.

use std::{
    cell::RefCell,
    collections::{HashMap, HashSet},
    ops::Range,
    sync::{Arc, LazyLock},
};

use tantivy::tokenizer::{
    AsciiFoldingFilter, Language, LowerCaser, RawTokenizer, Stemmer, TextAnalyzer, Token,
    TokenStream, Tokenizer,
};

use super::{
    abbreviations,
    moments::moments,
    negation,
    pairs::Learnt,
    pressure::{Reading, readings},
    surface,
    words::{Concept, WordList},
};
use crate::quick::Quickly;

/// The name under which the reader of terms is registered with an index.
pub(in crate::search) const NAME: &str = "incident-text";

/// Longer words are numbers pasted from somewhere, never words.
const LONGEST_WORD: usize = 40;

/// Words each thread keeps at most.
const WORDS_KEPT: usize = 50_000;

/// What stands before the index term of a word that is ruled out.
const RULED_OUT: char = '!';

/// What stands before the stem of a word that is ruled out together with those beside it: the valve of `gas
/// valve good` is no other valve.
const OF_A_KIND: char = '+';

/// What stands before the index term of what is told to be lacking, beside the term as it stands: `no flow`
/// is not that the flow is fine.
const LACKING: char = '-';

/// What stands before the stem of a word that tells only what is denied, or that a proof denies: the `fine` of
/// `door fine`, the `no` of `no change`. Nothing finds it but a phrase in quotation marks.
const ASIDE: char = '~';

/// The common words that deny: without them a phrase would say the opposite as well.
const DENYING: [&str; 13] = [
    "no", "not", "nor", "without", "t", "cannot", "cant", "isnt", "wasnt", "dont", "doesnt",
    "didnt", "wont",
];

/// What stands before the index term of a concept.
const CONCEPT: char = '=';

/// Symbols of units that people glue to figures: `40min`, `400W`, `14K`.
const UNITS: [&str; 40] = [
    "s", "sec", "secs", "min", "mins", "m", "h", "hr", "hrs", "d", "day", "days", "wk", "wks", "k",
    "c", "w", "kw", "v", "kv", "a", "ma", "mm", "cm", "um", "l", "ltr", "lpm", "sccm", "amu",
    "rpm", "hz", "bar", "psi", "torr", "mtorr", "mbar", "hpa", "pa", "x",
];

/// Words too common to tell cases apart, after folding, before stemming.
pub(in crate::search) const STOP_WORDS: [&str; 146] = [
    "a", "about", "after", "again", "all", "also", "am", "an", "and", "any", "are", "aren", "as",
    "at", "be", "because", "been", "before", "being", "but", "by", "can", "cannot", "cant",
    "could", "couldn", "d", "did", "didn", "didnt", "do", "does", "doesn", "doesnt", "doing",
    "don", "dont", "each", "else", "for", "from", "get", "gets", "getting", "go", "goes", "going",
    "got", "had", "hadn", "has", "hasn", "have", "haven", "having", "he", "her", "here", "his",
    "how", "i", "if", "im", "in", "into", "is", "isn", "isnt", "it", "its", "ive", "just", "ll",
    "m", "me", "more", "my", "n", "no", "nor", "not", "now", "of", "on", "once", "one", "only",
    "or", "other", "our", "ours", "re", "s", "same", "she", "should", "shouldn", "since", "so",
    "some", "still", "such", "t", "than", "that", "thats", "the", "their", "them", "then", "there",
    "these", "they", "this", "those", "to", "too", "u", "us", "ve", "very", "w", "was", "wasn",
    "wasnt", "we", "were", "weren", "what", "when", "where", "which", "while", "who", "whole",
    "why", "will", "with", "without", "won", "wont", "would", "wouldn", "yet", "you", "your",
];

/// One word of a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::search) struct Word {
    /// Lowered and folded, not stemmed.
    pub(in crate::search) plain: Arc<str>,
    /// Its stem.
    pub(in crate::search) stem: Arc<str>,
    /// Where it stands in the text, in bytes.
    pub(in crate::search) place: Range<usize>,
    /// Its number in the text, dropped words counted.
    pub(in crate::search) position: usize,
    /// Whether the text says that it is not so.
    pub(in crate::search) ruled_out: bool,
    /// Whether the text says that it is not so, which tells of a fault: `does not turn`, `not cold`.
    pub(in crate::search) lacking: bool,
    /// Whether what is ruled out is only that which the word before says: `gas valve good` is said of
    /// no other valve.
    pub(in crate::search) qualified: bool,
    /// Whether it is too common to be searched for.
    pub(in crate::search) common: bool,
    /// Whether it is too common wherever it stands.
    everyday: bool,
    /// Whether a denial may begin with it.
    pub(in crate::search) may_deny: bool,
    /// [`surface::digest`] of it as written.
    pub(in crate::search) digest: u16,
    /// Where the words stand that say that it is not so, in bytes.
    pub(in crate::search) denial: Option<(u32, u32)>,
}

impl Word {
    /// Whether it tells cases apart, and is not searched for only since it denies or is denied by a proof.
    pub(in crate::search) fn set_aside(&self) -> bool {
        self.common && !self.everyday
    }

    /// Whether a phrase in quotation marks asks for it: `no change` is not `change`.
    pub(in crate::search) fn in_phrase(&self) -> bool {
        !self.everyday || (self.may_deny && DENYING.contains(&&*self.plain))
    }
}

/// A word or group of words of the word list in a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::search) struct Mention {
    /// Which words of the text, by their index.
    pub(in crate::search) words: Range<usize>,
    /// What they mean, the concept as written first, broader ones after it.
    pub(in crate::search) concepts: Vec<Concept>,
}

impl Mention {
    /// What a text that holds it holds: all of its concepts, or, where it is ruled out, only that
    /// written. No drip is not yet no water, though a drip is water.
    pub(in crate::search) fn held(&self, ruled_out: bool) -> &[Concept] {
        match ruled_out {
            true => &self.concepts[..self.concepts.len().min(1)],
            false => &self.concepts,
        }
    }
}

/// A text understood.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::search) struct Analysed {
    /// Its words in order, the common ones among them.
    pub(in crate::search) words: Vec<Word>,
    /// What of the word list it mentions.
    pub(in crate::search) mentions: Vec<Mention>,
    /// Its pressures.
    pub(in crate::search) readings: Vec<Reading>,
}

/// The one analysis, with its word list.
#[derive(Clone, Debug, Default)]
pub(in crate::search) struct Analysis {
    list: Arc<WordList>,
    learnt: Arc<Learnt>,
}

impl Analysis {
    pub(in crate::search) fn new(list: Arc<WordList>) -> Self {
        Self {
            list,
            learnt: Arc::default(),
        }
    }

    /// The same with what a site's pairs of texts teach, for queries.
    pub(in crate::search) fn with_learnt(self, learnt: Arc<Learnt>) -> Self {
        Self { learnt, ..self }
    }

    pub(in crate::search) fn learnt(&self) -> &Learnt {
        &self.learnt
    }

    pub(in crate::search) fn shared_list(&self) -> Arc<WordList> {
        Arc::clone(&self.list)
    }

    pub(in crate::search) fn list(&self) -> &WordList {
        &self.list
    }

    /// Understands a text.
    pub(in crate::search) fn read(&self, text: &str) -> Analysed {
        self.read_with(text, readings(text))
    }

    /// Understands a text whose pressures are known.
    pub(in crate::search) fn read_with(&self, text: &str, readings: Vec<Reading>) -> Analysed {
        let read = self.read_around(text, &readings);
        Analysed { readings, ..read }
    }

    /// The same, the pressures left with the caller.
    pub(in crate::search) fn read_around(&self, text: &str, readings: &[Reading]) -> Analysed {
        self.read_into(Vec::new(), text, readings)
    }

    /// The same in the room of the words of another text.
    pub(in crate::search) fn read_into(
        &self,
        room: Vec<Word>,
        text: &str,
        readings: &[Reading],
    ) -> Analysed {
        let mut words = room;
        split_into(&mut words, text, readings);
        negation::mark(text, &mut words);
        let mentions = self.list.mentions(text, &words);
        Analysed {
            words,
            mentions,
            readings: Vec::new(),
        }
    }

    /// Reads a name. That a check cleared it rules its words out, but nobody wrote so: the words that
    /// tell it are none of the case's.
    fn read_name(&self, name: &str) -> Name {
        let mut read = self.read(name);
        if let Some(thing) = name.strip_suffix(CLEARED) {
            let told = read.words.iter_mut();
            for word in told.filter(|word| word.place.start >= thing.len()) {
                word.common = true;
                word.everyday = true;
            }
        }
        read.name()
    }

    /// Hands the index names that stand one behind the other. Each is read by itself, and only
    /// once: the catalogue's come over and over.
    pub(in crate::search) fn hand_names(&self, names: &str, handed: &mut String) {
        let (mut base, mut last) = (0, 0);
        NAMES.with_borrow_mut(|known| {
            let list = self.list.fingerprint();
            if known.list != list || known.names.len() >= NAMES_KEPT {
                *known = KnownNames {
                    list,
                    names: HashMap::default(),
                };
            }
            for name in names_in(names) {
                let read;
                let found = match known.names.get(name) {
                    Some(found) => found,
                    None => {
                        read = self.read_name(name);
                        known.names.entry(name.to_owned()).or_insert(read)
                    }
                };
                if let Some((first, end)) = found.ends {
                    put_step(handed, base + first - last);
                    handed.push_str(&found.handed);
                    last = base + end;
                }
                base += found.words;
            }
        });
    }
}

/// What stands between [`BETWEEN_NAMES`]: looked for by the sign in it, as a search for a text takes longer.
fn names_in(names: &str) -> impl Iterator<Item = &str> {
    let sign = BETWEEN_NAMES.trim();
    let mut rest = Some(names);
    std::iter::from_fn(move || {
        let text = rest?;
        let mut signs = text.match_indices('·').map(|(at, _)| at);
        let between =
            signs.find(|at| text[..*at].ends_with(' ') && text[at + sign.len()..].starts_with(' '));
        rest = between.map(|at| &text[at + sign.len() + 1..]);
        Some(between.map_or(text, |at| &text[..at - 1]))
    })
}

/// What is said of a component that checks cleared, behind its name.
pub(in crate::search) const CLEARED: &str = " ruled out";

/// What stands between names that are one text.
pub(in crate::search) const BETWEEN_NAMES: &str = " · ";

/// Names each thread keeps at most.
const NAMES_KEPT: usize = 10_000;

thread_local! {
    /// Names met before, as the index is handed them.
    static NAMES: RefCell<KnownNames> = RefCell::default();
}

#[derive(Default)]
struct KnownNames {
    /// The word list they were read with.
    list: u64,
    names: HashMap<String, Name, Quickly>,
}

/// A name as the index is handed it.
struct Name {
    /// Its terms, the step to the first left out.
    handed: String,
    /// Where its first and its last term stand; none without terms.
    ends: Option<(usize, usize)>,
    /// Its words, those without a term among them.
    words: usize,
}

impl Analysed {
    /// Leaves the words of these places aside, as too common to be searched for: they are read as
    /// something else.
    pub(in crate::search) fn leave_aside<'a>(
        &mut self,
        places: impl Iterator<Item = &'a Range<usize>>,
    ) {
        for place in places {
            let inside = |word: &Word| word.place.start < place.end && place.start < word.place.end;
            for word in self.words.iter_mut().filter(|word| inside(word)) {
                word.common = true;
            }
            let words = &self.words;
            self.mentions
                .retain(|mention| !words[mention.words.clone()].iter().any(inside));
        }
    }

    /// The terms of the index this text gives, each with its word: stems of what is not
    /// common, and concepts; what the index is handed is held to it.
    #[cfg(test)]
    pub(in crate::search) fn terms(&self) -> impl Iterator<Item = (String, &Word)> {
        let mut terms = Vec::new();
        let aside = |word: &&Word| word.common && word.in_phrase();
        for word in self.words.iter().filter(aside) {
            terms.push((aside_term(&word.stem), word));
        }
        let words = self.words.iter().enumerate();
        for (at, word) in words.filter(|(_, word)| !word.common) {
            let term = match word.ruled_out {
                true => self.ruled_out_term(at),
                false => stem_term(&word.stem, false),
            };
            terms.push((term, word));
            if word.lacking {
                terms.push((lacking_term(&word.stem), word));
            }
        }
        for mention in &self.mentions {
            let first = &self.words[mention.words.start];
            for concept in self.held(mention) {
                terms.push((concept_term(*concept, first.ruled_out), first));
            }
            if self.lacks(mention).is_some() {
                for concept in mention.held(true) {
                    terms.push((lacking_term(&concept_term(*concept, false)), first));
                }
            }
        }
        terms.into_iter()
    }
}

impl Analysed {
    /// Whether a word is ruled out only together with those beside it.
    pub(in crate::search) fn of_a_kind(&self, at: usize) -> bool {
        let of = |at: usize| {
            self.words
                .get(at)
                .filter(|word| word.ruled_out && !word.common)
        };
        let next = of(at + 1).is_some_and(|next| next.qualified);
        of(at).is_some_and(|word| word.qualified || next)
    }

    /// The index term of a word that is ruled out.
    pub(in crate::search) fn ruled_out_term(&self, at: usize) -> String {
        let stem = &self.words[at].stem;
        match self.of_a_kind(at) {
            true => format!("{RULED_OUT}{OF_A_KIND}{stem}"),
            false => stem_term(stem, true),
        }
    }

    /// What the index holds of a mention: nothing, where only one of its kind is ruled out.
    pub(in crate::search) fn held<'a>(&self, mention: &'a Mention) -> &'a [Concept] {
        let first = &self.words[mention.words.start];
        match mention.words.len() == 1 && self.of_a_kind(mention.words.start) {
            true => &[],
            false => mention.held(first.ruled_out),
        }
    }

    /// The word of a mention that is told to be lacking; none where the term itself says so, since `not
    /// working` is what `faulty` is, and not the lack of it.
    pub(in crate::search) fn lacks(&self, mention: &Mention) -> Option<&Word> {
        let words = &self.words[mention.words.clone()];
        let begins = words.first().map_or(0, |word| word.place.start);
        let beyond = |word: &Word| word.denial.is_none_or(|(from, _)| (from as usize) < begins);
        words.iter().find(|word| word.lacking && beyond(word))
    }
}

/// The index term of what is told to be lacking.
pub(in crate::search) fn lacking_term(term: &str) -> String {
    format!("{LACKING}{term}")
}

/// The index term of a word.
pub(in crate::search) fn stem_term(stem: &str, ruled_out: bool) -> String {
    if ruled_out {
        format!("{RULED_OUT}{stem}")
    } else {
        stem.to_owned()
    }
}

/// The index term of a concept.
pub(in crate::search) fn concept_term(concept: Concept, ruled_out: bool) -> String {
    let ruled_out = if ruled_out { "!" } else { "" };
    format!("{ruled_out}{CONCEPT}{}", concept.0)
}

/// The index term of what this one says is not so; none if it says nothing of the kind.
pub(in crate::search) fn ruled_out(term: &str) -> Option<&str> {
    let term = term.strip_prefix(RULED_OUT)?;
    Some(term.strip_prefix(OF_A_KIND).unwrap_or(term))
}

/// Whether an index term is a word that somebody wrote.
pub(in crate::search) fn is_written(term: &str) -> bool {
    !term.starts_with([RULED_OUT, CONCEPT, LACKING, ASIDE])
}

/// The word that an index term tells to be denied, or to deny; none if it tells nothing of the kind.
pub(in crate::search) fn denied_word(term: &str) -> Option<&str> {
    let word = ruled_out(term).or_else(|| term.strip_prefix(ASIDE))?;
    is_written(word).then_some(word)
}

/// Every index term under which a text may hold a word, that by which it is searched for first.
pub(in crate::search) fn any_term(stem: &str) -> [String; 4] {
    [
        stem.to_owned(),
        format!("{RULED_OUT}{stem}"),
        format!("{RULED_OUT}{OF_A_KIND}{stem}"),
        format!("{ASIDE}{stem}"),
    ]
}

/// The other index terms under which a text may hold the word or concept of one, as far as it denies it.
pub(in crate::search) fn denied_forms(term: &str) -> Vec<String> {
    match ruled_out(term) {
        Some(plain) if is_written(plain) => {
            let [_, forms @ ..] = any_term(plain);
            forms.into_iter().filter(|form| form != term).collect()
        }
        None if term.starts_with(CONCEPT) => vec![format!("{RULED_OUT}{term}")],
        None if is_written(term) => any_term(term).into_iter().skip(1).collect(),
        _ => Vec::new(),
    }
}

/// The index term of a word that tells only what is denied, or that a proof denies.
pub(in crate::search) fn aside_term(stem: &str) -> String {
    format!("{ASIDE}{stem}")
}

/// The words of a text with pressures left out; not yet judged for what is ruled out.
pub(in crate::search) fn split(text: &str, readings: &[Reading]) -> Vec<Word> {
    let mut words = Vec::new();
    split_into(&mut words, text, readings);
    words
}

/// The same in place of the words of another text.
fn split_into(words: &mut Vec<Word>, text: &str, readings: &[Reading]) {
    words.clear();
    words.reserve(text.len() / 4);
    let mut push = |known: Known, place: Range<usize>| {
        words.push(Word {
            position: words.len(),
            plain: known.plain,
            stem: known.stem,
            place,
            ruled_out: false,
            lacking: false,
            qualified: false,
            common: known.everyday,
            everyday: known.everyday,
            may_deny: known.may_deny,
            digest: known.digest,
            denial: None,
        });
    };
    let mut plain = String::new();
    let mut readings = readings.iter().peekable();
    for place in runs(text) {
        let written = &text[place.clone()];
        if written.len() >= LONGEST_WORD {
            continue;
        }
        while readings.next_if(|r| r.place.end <= place.start).is_some() {}
        if readings.peek().is_some_and(|r| r.place.start < place.end) {
            continue;
        }
        plain.clear();
        if written.is_ascii() {
            plain.push_str(written);
            plain.make_ascii_lowercase();
        } else {
            plain.push_str(&folded(written));
        }
        match glued(&plain) {
            Some(at) if place.len() == plain.len() => {
                let (figures, unit) = plain.split_at(at);
                let middle = place.start + at;
                for (part, place) in [(figures, place.start..middle), (unit, middle..place.end)] {
                    let word: Arc<str> = part.into();
                    push(Known::new(Arc::clone(&word), word), place);
                }
            }
            _ => push(known(&plain), place),
        }
    }
    for word in words.iter_mut() {
        let figures = word.plain.starts_with(|c: char| c.is_ascii_digit());
        word.common |= figures && piece_of_number(text, &word.place);
    }
    abbreviations::mark(text, words);
    for moment in moments(text) {
        let from = words.partition_point(|word| word.place.end <= moment.start);
        let inside = words[from..].iter_mut();
        inside
            .take_while(|word| word.place.start < moment.end)
            .for_each(|word| word.common = true);
    }
}

/// Where letters and figures stand together in a text.
fn runs(text: &str) -> impl Iterator<Item = Range<usize>> + '_ {
    let mut chars = text.char_indices();
    std::iter::from_fn(move || {
        let (start, _) = chars.find(|(_, c)| c.is_alphanumeric())?;
        let end = chars.find(|(_, c)| !c.is_alphanumeric());
        Some(start..end.map_or(text.len(), |(end, _)| end))
    })
}

/// Whether a word is a piece of a longer number, by its place: the 9 of `9,800 h` and the 4 of `1.4 A`. Between
/// thousands stands a comma, else it parts a list: `posts 1,2`.
fn piece_of_number(text: &str, place: &Range<usize>) -> bool {
    let bytes = text.as_bytes();
    let figure = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let group = |from: usize| (from..from + 3).all(figure) && !figure(from + 3);
    let goes_on = match bytes.get(place.end) {
        Some(b'.') => figure(place.end + 1),
        Some(b',') => group(place.end + 1),
        _ => false,
    };
    let last = place.start.checked_sub(2).filter(|at| figure(*at));
    let went_before = match last.map(|at| bytes[at + 1]) {
        Some(b'.') => true,
        Some(b',') => group(place.start),
        _ => false,
    };
    goes_on || went_before
}

/// A word in small plain letters.
pub(in crate::search) fn folded(word: &str) -> String {
    if word.is_ascii() {
        return word.to_ascii_lowercase();
    }
    let mut analyser = TextAnalyzer::builder(RawTokenizer::default())
        .filter(LowerCaser)
        .filter(AsciiFoldingFilter)
        .build();
    let mut stream = analyser.token_stream(word);
    stream
        .next()
        .map_or_else(String::new, |token| token.text.clone())
}

/// Whether a word is too common to tell cases apart.
fn is_common(word: &str) -> bool {
    static COMMON: LazyLock<HashSet<&'static str, Quickly>> =
        LazyLock::new(|| STOP_WORDS.into_iter().collect());
    COMMON.contains(word)
}

/// Where figures end and the symbol of a unit begins.
fn glued(word: &str) -> Option<usize> {
    let at = word.find(|c: char| !c.is_ascii_digit())?;
    (at > 0 && UNITS.contains(&&word[at..])).then_some(at)
}

thread_local! {
    /// Words met before: a fleet's cases are told in few words, over and over.
    static KNOWN: RefCell<HashMap<Arc<str>, Known, Quickly>> =
        RefCell::default();
}

/// A word in plain small letters, its stem, and what is told by the word alone.
#[derive(Clone)]
struct Known {
    plain: Arc<str>,
    stem: Arc<str>,
    /// Whether it is too common to be searched for.
    everyday: bool,
    may_deny: bool,
    digest: u16,
}

impl Known {
    fn new(plain: Arc<str>, stem: Arc<str>) -> Self {
        Self {
            everyday: is_common(&plain),
            may_deny: negation::may_begin(&plain),
            digest: surface::digest(&plain) as u16,
            plain,
            stem,
        }
    }
}

fn known(word: &str) -> Known {
    KNOWN.with_borrow_mut(|known| {
        if let Some(found) = known.get(word) {
            return found.clone();
        }
        let mut stemmer = TextAnalyzer::builder(RawTokenizer::default())
            .filter(Stemmer::new(Language::English))
            .build();
        let mut stream = stemmer.token_stream(word);
        let stem = stream
            .next()
            .map_or_else(|| word.into(), |token| token.text.as_str().into());
        if known.len() == WORDS_KEPT {
            known.clear();
        }
        let new = Known::new(word.into(), stem);
        known.insert(Arc::clone(&new.plain), new.clone());
        new
    })
}

impl Analysed {
    /// Hands the index the terms: one a line, in the order of their places, each after a
    /// character for the step from the place before. [`Handed`] reads them, so that a text is not
    /// read through once more.
    pub(in crate::search) fn hand(&self, handed: &mut String) {
        let mut last = 0;
        self.each_term(|position, ruled_out, term| {
            put_step(handed, position - last);
            put_term(handed, ruled_out, term);
            last = position;
        });
    }

    fn name(&self) -> Name {
        let mut handed = String::new();
        let mut ends: Option<(usize, usize)> = None;
        self.each_term(|position, ruled_out, term| {
            if let Some((_, last)) = ends {
                put_step(&mut handed, position - last);
            }
            put_term(&mut handed, ruled_out, term);
            ends = Some((ends.map_or(position, |(first, _)| first), position));
        });
        Name {
            handed,
            ends,
            words: self.words.len(),
        }
    }

    /// What [`Analysed::terms`] gives, in the order of places.
    fn each_term(&self, mut told: impl FnMut(usize, bool, Term<'_>)) {
        let mut mentions = self.mentions.iter().peekable();
        for (at, word) in self.words.iter().enumerate() {
            if !word.common {
                let term = match self.of_a_kind(at) {
                    true => Term::OfAKind(&word.stem),
                    false => Term::Stem(&word.stem),
                };
                told(word.position, word.ruled_out, term);
                if word.lacking {
                    told(word.position, false, Term::Lacking(&word.stem));
                }
            } else if word.in_phrase() {
                told(word.position, false, Term::Aside(&word.stem));
            }
            while let Some(mention) = mentions.next_if(|mention| mention.words.start == at) {
                for concept in self.held(mention) {
                    told(word.position, word.ruled_out, Term::Concept(*concept));
                }
                if self.lacks(mention).is_some() {
                    for concept in mention.held(true) {
                        told(word.position, false, Term::Lack(*concept));
                    }
                }
            }
        }
    }
}

/// A term of the index.
enum Term<'a> {
    Stem(&'a str),
    OfAKind(&'a str),
    Lacking(&'a str),
    Aside(&'a str),
    Concept(Concept),
    Lack(Concept),
}

/// As [`stem_term`] and [`concept_term`] write it, and an end of line.
fn put_term(handed: &mut String, ruled_out: bool, term: Term<'_>) {
    if ruled_out {
        handed.push(RULED_OUT);
    }
    match term {
        Term::Stem(stem) => handed.push_str(stem),
        Term::OfAKind(stem) => {
            handed.push(OF_A_KIND);
            handed.push_str(stem);
        }
        Term::Aside(stem) => {
            handed.push(ASIDE);
            handed.push_str(stem);
        }
        Term::Lacking(stem) => {
            handed.push(LACKING);
            handed.push_str(stem);
        }
        Term::Concept(concept) => {
            handed.push(CONCEPT);
            put_number(handed, concept.0);
        }
        Term::Lack(concept) => {
            handed.extend([LACKING, CONCEPT]);
            put_number(handed, concept.0);
        }
    }
    handed.push('\n');
}

/// A number in figures, as often as a text mentions something of the word list.
fn put_number(handed: &mut String, number: u32) {
    if number >= 10 {
        put_number(handed, number / 10);
    }
    handed.push(char::from(b'0' + (number % 10) as u8));
}

/// The character for a step of none.
const NO_STEP: u32 = 33;

/// The longest step there is a character for.
const LONGEST_STEP: u32 = 0xd000;

fn put_step(handed: &mut String, step: usize) {
    let step = u32::try_from(step).map_or(LONGEST_STEP, |step| step.min(LONGEST_STEP));
    handed.extend(char::from_u32(NO_STEP + step));
}

/// Reads what [`Analysed::hand`] wrote.
#[derive(Clone, Debug, Default)]
pub(in crate::search) struct Handed {
    /// Room for the term that is read, the same for all texts.
    token: Token,
}

/// The index terms of a text, one after another.
#[derive(Debug)]
pub(in crate::search) struct Terms<'a> {
    rest: &'a str,
    place: usize,
    token: &'a mut Token,
}

impl Tokenizer for Handed {
    type TokenStream<'a> = Terms<'a>;

    fn token_stream<'a>(&'a mut self, text: &'a str) -> Terms<'a> {
        Terms {
            rest: text,
            place: 0,
            token: &mut self.token,
        }
    }
}

impl TokenStream for Terms<'_> {
    fn advance(&mut self) -> bool {
        // Byte by byte, since terms are shorter than what a search for a character is made for.
        let Some(end) = self.rest.bytes().position(|byte| byte == b'\n') else {
            return false;
        };
        let mut term = self.rest[..end].chars();
        self.rest = &self.rest[end + 1..];
        let step = term.next().map_or(0, |step| u32::from(step) - NO_STEP);
        self.place += step as usize;
        self.token.position = self.place;
        self.token.text.clear();
        self.token.text.push_str(term.as_str());
        true
    }

    fn token(&self) -> &Token {
        self.token
    }

    fn token_mut(&mut self) -> &mut Token {
        self.token
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn told(handed: &str) -> Vec<(usize, String)> {
        let mut told = Vec::new();
        let mut reader = Handed::default();
        let mut terms = reader.token_stream(handed);
        while terms.advance() {
            told.push((terms.token().position, terms.token().text.clone()));
        }
        told
    }

    fn plainly(read: &Analysed) -> Vec<(usize, String)> {
        let terms = read.terms().map(|(term, word)| (word.position, term));
        let mut terms: Vec<_> = terms.collect();
        terms.sort_by_key(|(position, _)| *position);
        terms
    }

    fn analysis() -> Analysis {
        Analysis::new(Arc::new(WordList::built_in().expect("the list is right")))
    }

    #[test]
    fn names_are_parted_as_a_search_for_what_stands_between_parts_them() {
        for names in [
            "",
            " · ",
            "a · b",
            "a· b · ·c",
            "a · · b",
            " · a · ",
            "·",
            "a · b · c",
        ] {
            let parted: Vec<_> = names_in(names).collect();
            let plainly: Vec<_> = names.split(BETWEEN_NAMES).collect();
            assert_eq!(parted, plainly, "{names:?}");
        }
    }

    #[test]
    fn names_one_behind_the_other_are_as_one_text() {
        let names = "BRK-04 · cryo pump and the foreline · of the · no water seen · O-ring";
        let mut handed = String::new();
        analysis().hand_names(names, &mut handed);
        assert_eq!(told(&handed), plainly(&analysis().read(names)));
    }

    #[test]
    fn what_says_that_a_check_cleared_a_thing_is_not_indexed() {
        let mut handed = String::new();
        let names = "Roughing valve ruled out · Viewport ruled out";
        analysis().hand_names(names, &mut handed);
        let mut written = plainly(&analysis().read(names));
        written.retain(|(_, term)| !["~rule", "~out"].contains(&&**term));
        assert_eq!(told(&handed), written);
        assert!(
            written
                .iter()
                .any(|(place, term)| (*place, &**term) == (4, "!viewport"))
        );
    }

    proptest! {
        /// The index reads the terms that were meant for it.
        #[test]
        fn what_is_handed_is_read(text in "(([a-z]{1,9}|the|no|cryo pump|5e-6 torr|40min|[,.é])[ \n]?){0,30}") {
            let read = analysis().read(&text);
            let mut handed = String::new();
            read.hand(&mut handed);
            prop_assert_eq!(told(&handed), plainly(&read));
        }
    }
}
