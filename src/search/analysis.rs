//! How text becomes words, in one place for documents, queries and excerpts.
//!
//! Pressures are taken out first (they are searched as numbers, not as words). What is left
//! is split, lowered, folded to plain letters and stemmed; figures part from the units glued
//! to them; words of the trade get their concepts from the word list; what is said not to be
//! so is marked as ruled out; words too common to tell anything are dropped, their places kept.
//! Pure. Nothing here knows of the index beyond the form of its terms.

use std::{
    cell::RefCell,
    collections::{HashMap, HashSet},
    hash::BuildHasherDefault,
    ops::Range,
    sync::{Arc, LazyLock},
};

use tantivy::tokenizer::{
    AsciiFoldingFilter, Language, LowerCaser, RawTokenizer, Stemmer, TextAnalyzer, Token,
    TokenStream, Tokenizer,
};

use super::{
    digest::Digest,
    negation,
    pairs::Learnt,
    pressure::{Reading, readings},
    words::{Concept, WordList},
};

/// The name under which the reader of terms is registered with an index.
pub(super) const NAME: &str = "incident-text";

/// Longer words are numbers pasted from somewhere, never words.
const LONGEST_WORD: usize = 40;

/// Words each thread keeps at most.
const WORDS_KEPT: usize = 50_000;

/// What stands before the index term of a word that is ruled out.
const RULED_OUT: char = '!';

/// What stands before the index term of a concept.
const CONCEPT: char = '=';

/// Symbols of units that people glue to figures: `40min`, `400W`, `14K`.
const UNITS: [&str; 40] = [
    "s", "sec", "secs", "min", "mins", "m", "h", "hr", "hrs", "d", "day", "days", "wk", "wks", "k",
    "c", "w", "kw", "v", "kv", "a", "ma", "mm", "cm", "um", "l", "ltr", "lpm", "sccm", "amu",
    "rpm", "hz", "bar", "psi", "torr", "mtorr", "mbar", "hpa", "pa", "x",
];

/// Words too common to tell cases apart, after folding, before stemming.
const STOP_WORDS: [&str; 133] = [
    "a", "about", "after", "again", "all", "also", "am", "an", "and", "any", "are", "as", "at",
    "be", "because", "been", "before", "being", "but", "by", "can", "cannot", "cant", "could", "d",
    "did", "do", "does", "doesnt", "doing", "dont", "each", "else", "for", "from", "get", "gets",
    "getting", "go", "goes", "going", "got", "had", "has", "have", "having", "he", "her", "here",
    "his", "how", "i", "if", "im", "in", "into", "is", "isnt", "it", "its", "just", "ll", "m",
    "me", "more", "my", "n", "no", "nor", "not", "now", "of", "on", "once", "one", "only", "or",
    "other", "our", "ours", "re", "s", "same", "she", "should", "since", "so", "some", "still",
    "such", "t", "than", "that", "the", "their", "them", "then", "there", "these", "they", "this",
    "those", "to", "too", "u", "us", "ve", "very", "w", "was", "wasnt", "we", "were", "what",
    "when", "where", "which", "while", "who", "whole", "why", "will", "with", "without", "won",
    "wont", "would", "you", "your", "didnt", "ive", "thats", "yet",
];

/// One word of a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Word {
    /// Lowered and folded, not stemmed.
    pub(super) plain: String,
    /// Its stem.
    pub(super) stem: String,
    /// Where it stands in the text, in bytes.
    pub(super) place: Range<usize>,
    /// Its number in the text, dropped words counted.
    pub(super) position: usize,
    /// Whether the text says that it is not so.
    pub(super) ruled_out: bool,
    /// Whether it is too common to be searched for.
    pub(super) common: bool,
}

/// A word or group of words of the word list in a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Mention {
    /// Which words of the text, by their index.
    pub(super) words: Range<usize>,
    /// What they mean, the concept as written first, broader ones after it.
    pub(super) concepts: Vec<Concept>,
}

/// A text understood.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Analysed {
    /// Its words in order, the common ones among them.
    pub(super) words: Vec<Word>,
    /// What of the word list it mentions.
    pub(super) mentions: Vec<Mention>,
    /// Its pressures.
    pub(super) readings: Vec<Reading>,
}

/// The one analysis, with its word list.
#[derive(Clone, Debug, Default)]
pub(super) struct Analysis {
    list: Arc<WordList>,
    learnt: Arc<Learnt>,
}

impl Analysis {
    pub(super) fn new(list: Arc<WordList>) -> Self {
        Self {
            list,
            learnt: Arc::default(),
        }
    }

    /// The same with what a site's pairs of texts teach, for queries.
    pub(super) fn with_learnt(self, learnt: Arc<Learnt>) -> Self {
        Self { learnt, ..self }
    }

    pub(super) fn learnt(&self) -> &Learnt {
        &self.learnt
    }

    pub(super) fn list(&self) -> &WordList {
        &self.list
    }

    /// Understands a text.
    pub(super) fn read(&self, text: &str) -> Analysed {
        let readings = readings(text);
        let mut words = split(text, &readings);
        negation::mark(text, &mut words);
        let mentions = self.list.mentions(text, &words);
        Analysed {
            words,
            mentions,
            readings,
        }
    }
}

impl Analysed {
    /// The terms of the index this text gives, each with its word: stems of what is not
    /// common, and concepts.
    pub(super) fn terms(&self) -> impl Iterator<Item = (String, &Word)> {
        let plain = self
            .words
            .iter()
            .filter(|word| !word.common)
            .map(|word| (stem_term(&word.stem, word.ruled_out), word));
        let concepts = self.mentions.iter().flat_map(|mention| {
            let first = &self.words[mention.words.start];
            mention
                .concepts
                .iter()
                .map(move |concept| (concept_term(*concept, first.ruled_out), first))
        });
        plain.chain(concepts)
    }
}

/// The index term of a word.
pub(super) fn stem_term(stem: &str, ruled_out: bool) -> String {
    if ruled_out {
        format!("{RULED_OUT}{stem}")
    } else {
        stem.to_owned()
    }
}

/// The index term of a concept.
pub(super) fn concept_term(concept: Concept, ruled_out: bool) -> String {
    let ruled_out = if ruled_out { "!" } else { "" };
    format!("{ruled_out}{CONCEPT}{}", concept.0)
}

/// Whether an index term is a word that somebody wrote.
pub(super) fn is_written(term: &str) -> bool {
    !term.starts_with([RULED_OUT, CONCEPT])
}

/// The words of a text with pressures left out; not yet judged for what is ruled out.
pub(super) fn split(text: &str, readings: &[Reading]) -> Vec<Word> {
    let mut words: Vec<Word> = Vec::with_capacity(text.len() / 6);
    let mut push = |plain: String, stem: String, common: bool, place: Range<usize>| {
        words.push(Word {
            position: words.len(),
            plain,
            stem,
            place,
            ruled_out: false,
            common,
        });
    };
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
        let plain = folded(written);
        match glued(&plain) {
            Some(at) if place.len() == plain.len() => {
                let (figures, unit) = plain.split_at(at);
                let middle = place.start + at;
                for (part, place) in [(figures, place.start..middle), (unit, middle..place.end)] {
                    push(part.to_owned(), part.to_owned(), is_common(part), place);
                }
            }
            _ => {
                let (stem, common) = known(&plain);
                push(plain, stem, common, place);
            }
        }
    }
    words
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

/// A word in small plain letters.
pub(super) fn folded(word: &str) -> String {
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
    static COMMON: LazyLock<HashSet<&'static str, BuildHasherDefault<Digest>>> =
        LazyLock::new(|| STOP_WORDS.into_iter().collect());
    COMMON.contains(word)
}

/// Where figures end and the symbol of a unit begins.
fn glued(word: &str) -> Option<usize> {
    let at = word.find(|c: char| !c.is_ascii_digit())?;
    (at > 0 && UNITS.contains(&&word[at..])).then_some(at)
}

thread_local! {
    /// Words met before, each with its stem and whether it is common: a fleet's cases are told
    /// in few words, over and over.
    static KNOWN: RefCell<HashMap<String, (String, bool), BuildHasherDefault<Digest>>> =
        RefCell::default();
}

/// The stem of a word in plain small letters, and whether it is too common to be searched for.
fn known(word: &str) -> (String, bool) {
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
            .map_or_else(|| word.to_owned(), |token| token.text.clone());
        if known.len() == WORDS_KEPT {
            known.clear();
        }
        let new = (stem, is_common(word));
        known.insert(word.to_owned(), new.clone());
        new
    })
}

impl Analysed {
    /// The terms as the index is handed them: one a line, in the order of their places, each
    /// after its place. [`Handed`] reads them, so that a text is not read through once more.
    pub(super) fn handed(&self) -> String {
        use std::fmt::Write;
        let mut terms: Vec<(usize, String)> = self
            .terms()
            .map(|(term, word)| (word.position, term))
            .collect();
        terms.sort_by_key(|(position, _)| *position);
        let mut handed = String::with_capacity(10 * terms.len());
        for (position, term) in terms {
            // Writing to a string does not fail.
            let _ = writeln!(handed, "{position} {term}");
        }
        handed
    }
}

/// Reads what [`Analysed::handed`] wrote.
#[derive(Clone, Debug, Default)]
pub(super) struct Handed;

/// The index terms of a text, one after another.
#[derive(Debug)]
pub(super) struct Terms<'a> {
    lines: std::str::Lines<'a>,
    token: Token,
}

impl Tokenizer for Handed {
    type TokenStream<'a> = Terms<'a>;

    fn token_stream<'a>(&'a mut self, text: &'a str) -> Terms<'a> {
        Terms {
            lines: text.lines(),
            token: Token::default(),
        }
    }
}

impl TokenStream for Terms<'_> {
    fn advance(&mut self) -> bool {
        let next = self.lines.next().and_then(|line| line.split_once(' '));
        let Some((position, term)) = next else {
            return false;
        };
        self.token.position = position.parse().unwrap_or_default();
        self.token.text.clear();
        self.token.text.push_str(term);
        true
    }

    fn token(&self) -> &Token {
        &self.token
    }

    fn token_mut(&mut self) -> &mut Token {
        &mut self.token
    }
}
