//! How text becomes words, in one place for documents, queries and excerpts.
//!
//! Pressures are taken out first (they are searched as numbers, not as words). What is left
//! is split, lowered, folded to plain letters and stemmed; figures part from the units glued
//! to them; words of the trade get their concepts from the word list; what is said not to be
//! so is marked as ruled out; words too common to tell anything are dropped, their places kept.
//! Pure. Nothing here knows of the index beyond the form of its terms.

use std::{cell::RefCell, collections::HashMap, ops::Range, sync::Arc};

use tantivy::tokenizer::{
    AsciiFoldingFilter, Language, LowerCaser, RawTokenizer, RemoveLongFilter, SimpleTokenizer,
    Stemmer, TextAnalyzer, Token, TokenStream, Tokenizer,
};

use super::{
    negation,
    pairs::Learnt,
    pressure::{Reading, readings},
    words::{Concept, WordList},
};

/// The name under which the analyser is registered with an index.
pub(super) const NAME: &str = "incident-text";

/// Longer words are numbers pasted from somewhere, never words.
const LONGEST_WORD: usize = 40;

/// Stems each thread keeps at most.
const STEMS_KEPT: usize = 50_000;

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
    let plain = tokens(text);
    let mut words: Vec<Word> = Vec::with_capacity(plain.len());
    let mut push = |plain: &str, stem: String, place: Range<usize>| {
        words.push(Word {
            position: words.len(),
            plain: plain.to_owned(),
            stem,
            place,
            ruled_out: false,
            common: STOP_WORDS.contains(&plain),
        });
    };
    let mut readings = readings.iter().peekable();
    for plain in &plain {
        let place = plain.offset_from..plain.offset_to;
        while readings.next_if(|r| r.place.end <= place.start).is_some() {}
        if readings.peek().is_some_and(|r| r.place.start < place.end) {
            continue;
        }
        match glued(&plain.text) {
            Some(at) if place.len() == plain.text.len() => {
                let (figures, unit) = plain.text.split_at(at);
                push(figures, figures.to_owned(), place.start..place.start + at);
                push(unit, unit.to_owned(), place.start + at..place.end);
            }
            _ => push(&plain.text, stem(&plain.text), place),
        }
    }
    words
}

/// Where figures end and the symbol of a unit begins.
fn glued(word: &str) -> Option<usize> {
    let at = word.find(|c: char| !c.is_ascii_digit())?;
    (at > 0 && UNITS.contains(&&word[at..])).then_some(at)
}

fn tokens(text: &str) -> Vec<Token> {
    let mut analyser = TextAnalyzer::builder(SimpleTokenizer::default())
        .filter(RemoveLongFilter::limit(LONGEST_WORD))
        .filter(LowerCaser)
        .filter(AsciiFoldingFilter)
        .build();
    let mut stream = analyser.token_stream(text);
    let mut tokens = Vec::new();
    while let Some(token) = stream.next() {
        tokens.push(token.clone());
    }
    tokens
}

thread_local! {
    /// Stems found before: a fleet's cases are told in few words, over and over.
    static STEMS: RefCell<HashMap<String, String>> = RefCell::default();
}

/// The stem of a word in plain small letters.
fn stem(word: &str) -> String {
    STEMS.with_borrow_mut(|known| {
        if let Some(stem) = known.get(word) {
            return stem.clone();
        }
        let mut stemmer = TextAnalyzer::builder(RawTokenizer::default())
            .filter(Stemmer::new(Language::English))
            .build();
        let mut stream = stemmer.token_stream(word);
        let stem = stream
            .next()
            .map_or_else(|| word.to_owned(), |token| token.text.clone());
        if known.len() == STEMS_KEPT {
            known.clear();
        }
        known.insert(word.to_owned(), stem.clone());
        stem
    })
}

impl Tokenizer for Analysis {
    type TokenStream<'a> = Terms;

    fn token_stream<'a>(&'a mut self, text: &'a str) -> Terms {
        let analysed = self.read(text);
        let mut tokens: Vec<Token> = analysed
            .terms()
            .map(|(text, word)| Token {
                offset_from: word.place.start,
                offset_to: word.place.end,
                position: word.position,
                text,
                position_length: 1,
            })
            .collect();
        tokens.sort_by_key(|token| token.position);
        Terms { tokens, next: 0 }
    }
}

/// The index terms of a text, one after another.
#[derive(Debug)]
pub(super) struct Terms {
    tokens: Vec<Token>,
    next: usize,
}

impl TokenStream for Terms {
    fn advance(&mut self) -> bool {
        self.next += 1;
        self.next <= self.tokens.len()
    }

    fn token(&self) -> &Token {
        &self.tokens[self.next - 1]
    }

    fn token_mut(&mut self) -> &mut Token {
        &mut self.tokens[self.next - 1]
    }
}
