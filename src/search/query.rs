//! From what a person typed to the incidents that answer it.

use std::{collections::BTreeSet, ops::Bound};

use tantivy::{
    DocAddress, Order, Searcher, Term,
    collector::{Count, TopDocs},
    query::{
        AllQuery, BooleanQuery, BoostQuery, ConstScoreQuery, DisjunctionMaxQuery, FuzzyTermQuery,
        Occur, Query, RangeQuery, TermQuery,
    },
    schema::{Field, IndexRecordOption},
};

use super::{Entry, SearchError, SearchIndex, analysis};
use crate::catalogue::Kind;

/// A query is cut here; more words than this say nothing more.
const MOST_WORDS: usize = 64;

/// Only so many characters of what was typed are looked at.
pub(super) const MOST_CHARACTERS: usize = 2_000;

/// What a word spelt nearly right is worth beside one spelt right.
const NEAR_MISS_WEIGHT: f32 = 0.25;

/// How much of the other fields counts beside the field a word fits best.
const OTHER_FIELDS: f32 = 0.3;

/// How many of its own words a case is compared by.
const SIMILAR_WORDS: usize = 40;

/// What narrows a search.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filters {
    /// Tool class.
    pub class: Option<String>,
    /// Kind of cause.
    pub kind: Option<Kind>,
    /// One cause.
    pub cause: Option<String>,
    /// One site.
    pub site: Option<String>,
    /// Not before, microseconds since 1970.
    pub from: Option<i64>,
    /// Before, microseconds since 1970.
    pub until: Option<i64>,
}

/// A search.
#[derive(Clone, Debug, Default)]
pub struct Request {
    /// What was typed; empty lists everything, newest first.
    pub text: String,
    /// What narrows it.
    pub filters: Filters,
    /// How many hits to leave out.
    pub skip: usize,
    /// How many hits to return.
    pub limit: usize,
}

/// One incident found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Its number.
    pub number: i64,
    /// How well it fits; only comparable within one answer.
    pub score: f32,
}

/// What a search found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Answer {
    /// How many incidents fit at all.
    pub total: usize,
    /// The best of them.
    pub hits: Vec<Hit>,
}

impl SearchIndex {
    /// Searches.
    ///
    /// # Errors
    /// The search library failing. Nothing that can be typed is an error.
    pub fn search(&self, request: &Request) -> Result<Answer, SearchError> {
        let searcher = self.reader.searcher();
        let stems = stems(&request.text);
        if stems.is_empty() {
            if request.text.trim().is_empty() {
                return self.newest(&searcher, request);
            }
            return Ok(Answer::default());
        }
        let words = stems
            .iter()
            .map(|stem| (Occur::Should, self.word(&searcher, stem)))
            .collect::<Vec<_>>();
        self.ranked(&searcher, Box::new(BooleanQuery::new(words)), request)
    }

    /// The cases most like `entry`, leaving out `entry` itself. Compared by the words of
    /// symptom and circumstances, which are known before the cause is.
    ///
    /// # Errors
    /// The search library failing.
    pub fn similar(&self, entry: &Entry, request: &Request) -> Result<Answer, SearchError> {
        let searcher = self.reader.searcher();
        let mut telling: Vec<(f32, String)> = Vec::new();
        let words: BTreeSet<_> = analysis::words(&entry.symptom)
            .into_iter()
            .chain(analysis::words(&entry.facts))
            .map(|word| word.stem)
            .collect();
        for stem in words {
            let frequency = self.frequency(&searcher, &stem)?;
            if frequency > 0 {
                let rarity = (searcher.num_docs() as f32 / frequency as f32).ln();
                telling.push((rarity, stem));
            }
        }
        telling.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
        telling.truncate(SIMILAR_WORDS);
        let mut clauses: Vec<(Occur, Box<dyn Query>)> = telling
            .iter()
            .map(|(_, stem)| (Occur::Should, self.exact(stem)))
            .collect();
        if clauses.is_empty() {
            return Ok(Answer::default());
        }
        let own = Term::from_field_i64(self.fields.number, entry.number);
        clauses.push((Occur::MustNot, term(own)));
        self.ranked(&searcher, Box::new(BooleanQuery::new(clauses)), request)
    }

    fn frequency(&self, searcher: &Searcher, stem: &str) -> Result<u64, SearchError> {
        let mut frequency = 0;
        for (field, _) in self.fields.texts() {
            frequency = frequency.max(searcher.doc_freq(&Term::from_field_text(field, stem))?);
        }
        Ok(frequency)
    }

    fn ranked(
        &self,
        searcher: &Searcher,
        words: Box<dyn Query>,
        request: &Request,
    ) -> Result<Answer, SearchError> {
        let query = self.narrowed(words, &request.filters);
        let top = TopDocs::with_limit(request.limit.max(1))
            .and_offset(request.skip)
            .order_by_score();
        let (found, total) = searcher.search(&query, &(top, Count))?;
        let hits = self.numbered(searcher, found)?;
        Ok(Answer { total, hits })
    }

    fn newest(&self, searcher: &Searcher, request: &Request) -> Result<Answer, SearchError> {
        let query = self.narrowed(Box::new(AllQuery), &request.filters);
        let top = TopDocs::with_limit(request.limit.max(1))
            .and_offset(request.skip)
            .order_by_fast_field::<i64>("occurred_at", Order::Desc);
        let (found, total) = searcher.search(&query, &(top, Count))?;
        let found = found.into_iter().map(|(_, address)| (0.0, address));
        let hits = self.numbered(searcher, found)?;
        Ok(Answer { total, hits })
    }

    fn numbered(
        &self,
        searcher: &Searcher,
        found: impl IntoIterator<Item = (f32, DocAddress)>,
    ) -> Result<Vec<Hit>, SearchError> {
        let mut hits = Vec::new();
        for (score, address) in found {
            let segment = searcher.segment_reader(address.segment_ord);
            let numbers = segment.fast_fields().i64("number")?;
            if let Some(number) = numbers.first(address.doc_id) {
                hits.push(Hit { number, score });
            }
        }
        Ok(hits)
    }

    /// A typed word: as spelt, and nearly as spelt where the fleet never wrote it so.
    fn word(&self, searcher: &Searcher, stem: &str) -> Box<dyn Query> {
        let exact = self.exact(stem);
        let known = self
            .frequency(searcher, stem)
            .is_ok_and(|frequency| frequency > 0);
        let Some(distance) = near_miss_distance(stem).filter(|_| !known) else {
            return exact;
        };
        let near = self.fields.texts().map(|(field, weight)| {
            let near = FuzzyTermQuery::new(Term::from_field_text(field, stem), distance, true);
            weighted(Box::new(near), weight * NEAR_MISS_WEIGHT)
        });
        Box::new(BooleanQuery::union(vec![exact, best_of(near.into())]))
    }

    fn exact(&self, stem: &str) -> Box<dyn Query> {
        let fields = self.fields.texts().map(|(field, weight)| {
            let term = Term::from_field_text(field, stem);
            weighted(
                Box::new(TermQuery::new(term, IndexRecordOption::WithFreqs)),
                weight,
            )
        });
        best_of(fields.into())
    }

    fn narrowed(&self, words: Box<dyn Query>, filters: &Filters) -> Box<dyn Query> {
        let mut clauses = vec![(Occur::Must, words)];
        let mut only = |field: Field, value: &str| {
            let term = term(Term::from_field_text(field, value));
            clauses.push((Occur::Must, unscored(term)));
        };
        if let Some(class) = &filters.class {
            only(self.fields.class, class);
        }
        if let Some(kind) = filters.kind {
            only(self.fields.kind, kind.id());
        }
        if let Some(cause) = &filters.cause {
            only(self.fields.cause, cause);
        }
        if let Some(site) = &filters.site {
            only(self.fields.site, site);
        }
        if filters.from.is_some() || filters.until.is_some() {
            let at = |time| Term::from_field_i64(self.fields.occurred_at, time);
            let from = filters
                .from
                .map_or(Bound::Unbounded, |t| Bound::Included(at(t)));
            let until = filters
                .until
                .map_or(Bound::Unbounded, |t| Bound::Excluded(at(t)));
            clauses.push((
                Occur::Must,
                unscored(Box::new(RangeQuery::new(from, until))),
            ));
        }
        if clauses.len() == 1 {
            return clauses.remove(0).1;
        }
        Box::new(BooleanQuery::new(clauses))
    }
}

/// The distinct words of what was typed, in the order typed.
pub(super) fn stems(text: &str) -> Vec<String> {
    let looked_at: String = text.chars().take(MOST_CHARACTERS).collect();
    let mut stems: Vec<String> = Vec::new();
    for word in analysis::words(&looked_at) {
        if !stems.contains(&word.stem) {
            stems.push(word.stem);
        }
        if stems.len() == MOST_WORDS {
            break;
        }
    }
    stems
}

/// How many slips are forgiven in a word; short words and numbers have to be right.
pub(super) fn near_miss_distance(stem: &str) -> Option<u8> {
    if stem.bytes().any(|b| b.is_ascii_digit()) {
        return None;
    }
    match stem.chars().count() {
        0..=3 => None,
        4..=7 => Some(1),
        _ => Some(2),
    }
}

fn term(term: Term) -> Box<dyn Query> {
    Box::new(TermQuery::new(term, IndexRecordOption::Basic))
}

fn unscored(query: Box<dyn Query>) -> Box<dyn Query> {
    Box::new(ConstScoreQuery::new(query, 0.0))
}

fn weighted(query: Box<dyn Query>, weight: f32) -> Box<dyn Query> {
    Box::new(BoostQuery::new(query, weight))
}

fn best_of(queries: Vec<Box<dyn Query>>) -> Box<dyn Query> {
    Box::new(DisjunctionMaxQuery::with_tie_breaker(queries, OTHER_FIELDS))
}
