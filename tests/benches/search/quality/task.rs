//! What every engine is given, and what it gives back: the same texts, the same queries.

use coldtrap::search::Entry;
use serde::Serialize;

/// A set of texts and what is looked for in it.
#[derive(Debug, Serialize)]
pub struct Task {
    /// The set and the part of it.
    pub name: String,
    /// The texts; an answer names them by their place here.
    pub texts: Vec<String>,
    /// What is looked for.
    pub queries: Vec<Asked>,
    /// How many texts are taken of each answer.
    pub depth: usize,
    /// The same texts as the search under test takes them, numbered by their place.
    #[serde(skip)]
    pub entries: Vec<Entry>,
    /// Whether a query is itself a case that others like it are looked for.
    #[serde(skip)]
    pub is_case: bool,
    /// What an engine may learn words from: as written and as meant. Plain engines have no use
    /// for it.
    #[serde(skip)]
    pub pairs: Vec<(String, String)>,
    /// The labels of the texts, where the nearest are asked for theirs.
    #[serde(skip)]
    pub labels: Vec<String>,
}

/// One query.
#[derive(Debug, Serialize)]
pub struct Asked {
    /// Its text.
    pub text: String,
    /// The text that it is itself, and that is no answer to it.
    pub leave_out: Option<usize>,
}

/// The places of the texts found for one query, best first, with their scores.
pub type Ranking = Vec<(usize, f64)>;

impl Task {
    /// A task over texts that are nothing but text.
    pub fn of_texts(name: impl Into<String>, texts: Vec<String>, queries: Vec<Asked>) -> Self {
        let entries = texts
            .iter()
            .zip(0..)
            .map(|(text, place)| Entry::of_text(place, text));
        Self {
            name: name.into(),
            entries: entries.collect(),
            texts,
            queries,
            depth: 20,
            is_case: false,
            pairs: Vec::new(),
            labels: Vec::new(),
        }
    }
}

impl Asked {
    /// A query that is not one of the texts.
    pub fn new(text: impl Into<String>) -> Self {
        Self {
            text: text.into(),
            leave_out: None,
        }
    }

    /// Leaves the query itself out of an answer and cuts it to length.
    pub fn tidy(&self, mut ranking: Ranking, depth: usize) -> Ranking {
        ranking.retain(|(place, _)| Some(*place) != self.leave_out);
        ranking.truncate(depth);
        ranking
    }
}
