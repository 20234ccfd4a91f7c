//! A search as the index is asked, and the short list of its best cases.
//!
//! In a large index a common word is held by most cases, and to weigh each of them takes longer the more
//! there are; [`crate::search::ranking::walk`] finds the best without that. Filters and field words are put into sets
//! first, so that they cost the same whatever the words; where they leave few cases, these are looked up
//! in the lists of the words.

use std::{cmp::Reverse, collections::BinaryHeap};

use tantivy::{
    BitSet, DocAddress, DocId, DocSet, Score, Searcher, SegmentReader, TERMINATED, Term,
    query::{
        AllQuery, BooleanQuery, DisjunctionMaxQuery, EnableScoring, Occur, Query, Scorer, Weight,
    },
};

use super::{
    beside::{self, Beside},
    rank,
};
use crate::search::{SearchError, asking::plan::Understood};

/// An index of no more cases is weighed whole.
pub(in crate::search) const WHOLE: u64 = 20_000;

/// How many cases are on the list.
pub(in crate::search) const LENGTH: usize = 500;

/// The lists of words that hold no more cases together are counted through within filters.
pub(in crate::search) const COUNTED: usize = 100_000;

/// How much of the other forms and fields of a word counts beside the one that fits best.
pub(in crate::search) const OTHER_FORMS: f32 = 0.3;

/// A search as the index is asked: what a case has to hold, and what it gains by.
#[derive(Debug, Default)]
pub(in crate::search) struct Plan {
    /// What is wanted.
    pub(in crate::search) wanted: Vec<Forms>,
    /// Whether anything was wanted, held by a case or not.
    pub(in crate::search) words_typed: bool,
    /// Whether a case fits without any of it, if it is what it was asked to be.
    pub(in crate::search) words_optional: bool,
    /// Pressures that do as well as a word.
    pub(in crate::search) near: Vec<Box<dyn Query>>,
    /// What brings a case on a short list beside words: the pressures and other quantities asked for.
    pub(in crate::search) beside: Vec<Beside>,
    /// What a case must hold one form of, each; they count as well.
    pub(in crate::search) required: Vec<Forms>,
    /// What a case must be or must not be by what was typed.
    pub(in crate::search) bounds: Vec<(Occur, Box<dyn Query>)>,
    /// The same by filters.
    pub(in crate::search) narrowing: Vec<(Occur, Box<dyn Query>)>,
}

/// One thing wanted in all its forms and fields, of which the best counts.
#[derive(Debug, Default)]
pub(in crate::search) struct Forms {
    pub(in crate::search) each: Vec<Form>,
    /// How many cases hold its commonest.
    pub(in crate::search) held: usize,
}

/// One form in one field.
#[derive(Debug)]
pub(in crate::search) struct Form {
    pub(in crate::search) query: Box<dyn Query>,
    /// The term and its weight, where it is a single word.
    pub(in crate::search) word: Option<(Term, Score)>,
    /// No case gains more by it.
    pub(in crate::search) most: Score,
}

impl Forms {
    fn queries(&self) -> Vec<Box<dyn Query>> {
        let queries = self.each.iter();
        queries.map(|form| form.query.box_clone()).collect()
    }

    /// The best of several counts, and a share of the others.
    fn best(&self) -> Box<dyn Query> {
        Box::new(DisjunctionMaxQuery::with_tie_breaker(
            self.queries(),
            OTHER_FORMS,
        ))
    }
}

impl Plan {
    /// Whether a case has to hold a word or lie near a pressure to fit.
    pub(in crate::search) fn needs_words(&self) -> bool {
        (self.words_typed || !self.near.is_empty()) && !self.words_optional
    }

    /// The cases that hold any of what is wanted or lie near a pressure.
    pub(in crate::search) fn any_wanted(&self) -> Box<dyn Query> {
        let wanted = self.wanted.iter().flat_map(Forms::queries);
        let near = self.near.iter().map(|near| near.box_clone());
        Box::new(BooleanQuery::union(wanted.chain(near).collect()))
    }

    /// All of it as one query.
    pub(in crate::search) fn whole(&self) -> BooleanQuery {
        let copy = |(occur, query): &(Occur, Box<dyn Query>)| (*occur, query.box_clone());
        let mut clauses: Vec<(Occur, Box<dyn Query>)> = self
            .bounds
            .iter()
            .chain(&self.narrowing)
            .map(copy)
            .collect();
        for forms in &self.required {
            clauses.push((Occur::Must, forms.best()));
        }
        let wanted = self.wanted.iter().map(Forms::best);
        let any: Vec<_> = wanted
            .chain(self.near.iter().map(|near| near.box_clone()))
            .collect();
        if self.needs_words() {
            clauses.push((Occur::Must, Box::new(BooleanQuery::union(any))));
        } else {
            clauses.push((Occur::Must, Box::new(AllQuery)));
            if !any.is_empty() {
                clauses.push((Occur::Should, Box::new(BooleanQuery::union(any))));
            }
        }
        BooleanQuery::new(clauses)
    }
}

/// Which cases may be on a list, by segment.
pub(in crate::search) struct Allowed {
    only: Option<Vec<BitSet>>,
    except: Option<Vec<BitSet>>,
}

impl Allowed {
    /// By what a plan demands and rules out.
    pub(in crate::search) fn new(searcher: &Searcher, plan: &Plan) -> Result<Self, SearchError> {
        let mut only: Vec<(Occur, Box<dyn Query>)> = Vec::new();
        let mut except: Vec<Box<dyn Query>> = Vec::new();
        for (occur, query) in plan.bounds.iter().chain(&plan.narrowing) {
            match occur {
                Occur::MustNot => except.push(query.box_clone()),
                Occur::Must | Occur::Should => only.push((Occur::Must, query.box_clone())),
            }
        }
        for forms in &plan.required {
            let any = BooleanQuery::union(forms.queries());
            only.push((Occur::Must, Box::new(any)));
        }
        Ok(Self {
            only: (!only.is_empty())
                .then(|| sets(searcher, &BooleanQuery::new(only)))
                .transpose()?,
            except: (!except.is_empty())
                .then(|| sets(searcher, &BooleanQuery::union(except)))
                .transpose()?,
        })
    }

    pub(in crate::search) fn holds(&self, segment: usize, case: DocId) -> bool {
        let within = |sets: &[BitSet]| sets.get(segment).is_some_and(|set| set.contains(case));
        self.only.as_deref().is_none_or(within) && !self.except.as_deref().is_some_and(within)
    }

    /// All of them, where they are few enough to weigh each.
    pub(in crate::search) fn few(&self) -> Option<Vec<DocAddress>> {
        let only = self.only.as_ref()?;
        if only.iter().map(BitSet::len).sum::<usize>() > LENGTH {
            return None;
        }
        Some(self.cases(only).collect())
    }

    /// How many there are, where not all but some are left out.
    pub(in crate::search) fn count(&self) -> Option<usize> {
        let only = self.only.as_ref()?;
        Some(match self.except {
            None => only.iter().map(BitSet::len).sum(),
            Some(_) => self.cases(only).count(),
        })
    }

    /// How many of those that a query finds there are.
    pub(in crate::search) fn counted(
        &self,
        searcher: &Searcher,
        query: &dyn Query,
    ) -> Result<usize, SearchError> {
        let weight = query.weight(EnableScoring::disabled_from_searcher(searcher))?;
        let mut count = 0;
        for (at, segment) in searcher.segment_readers().iter().enumerate() {
            weight.for_each_no_score(segment, &mut |cases| {
                let here = |case: &&DocId| !segment.is_deleted(**case) && self.holds(at, **case);
                count += cases.iter().filter(here).count();
            })?;
        }
        Ok(count)
    }

    fn cases<'a>(&'a self, only: &'a [BitSet]) -> impl Iterator<Item = DocAddress> + 'a {
        only.iter().enumerate().flat_map(move |(segment, set)| {
            members(set)
                .filter(move |case| self.holds(segment, *case))
                .map(move |case| DocAddress::new(segment as u32, case))
        })
    }

    /// How many are ruled out.
    pub(in crate::search) fn ruled_out(&self) -> usize {
        self.except.iter().flatten().map(BitSet::len).sum()
    }
}

fn members(set: &BitSet) -> impl Iterator<Item = DocId> + '_ {
    (0..set.max_value()).filter(|case| set.contains(*case))
}

/// The cases a query finds, by segment; those taken out are left aside.
fn sets(searcher: &Searcher, query: &dyn Query) -> Result<Vec<BitSet>, SearchError> {
    let weight = query.weight(EnableScoring::disabled_from_searcher(searcher))?;
    let mut sets = Vec::new();
    for segment in searcher.segment_readers() {
        let mut set = BitSet::with_max_value(segment.max_doc());
        weight.for_each_no_score(segment, &mut |cases| {
            for case in cases {
                if !segment.is_deleted(*case) {
                    set.insert(*case);
                }
            }
        })?;
        sets.push(set);
    }
    Ok(sets)
}

/// A case by its score, the worst first; of equal ones the later.
#[derive(PartialEq)]
struct Ranked(Score, Reverse<DocAddress>);

impl Eq for Ranked {}

impl PartialOrd for Ranked {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Ranked {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        other.0.total_cmp(&self.0).then(other.1.cmp(&self.1))
    }
}

/// The best of the cases added.
pub(in crate::search) struct Best {
    length: usize,
    ranked: BinaryHeap<Ranked>,
}

impl Best {
    pub(in crate::search) fn new(length: usize) -> Self {
        Self {
            length,
            ranked: BinaryHeap::with_capacity(length + 1),
        }
    }

    pub(in crate::search) fn add(&mut self, score: Score, case: DocAddress) {
        self.ranked.push(Ranked(score, Reverse(case)));
        if self.ranked.len() > self.length {
            self.ranked.pop();
        }
    }

    /// What a case has to pass to be among them.
    pub(in crate::search) fn least(&self) -> Score {
        match self.ranked.peek() {
            Some(Ranked(score, _)) if self.ranked.len() == self.length => *score,
            _ => Score::MIN,
        }
    }

    /// All of them, best first.
    pub(in crate::search) fn sorted(self) -> Vec<(Score, DocAddress)> {
        let ranked = self.ranked.into_sorted_vec().into_iter();
        ranked.map(|Ranked(score, case)| (score, case.0)).collect()
    }
}

/// Weighs cases given in the order of the index as [`Plan::whole`] does, best first; those that do not
/// fit are left out.
pub(in crate::search) fn weighed(
    searcher: &Searcher,
    cases: &[DocAddress],
    plan: &Plan,
    asked: &Understood,
) -> Result<Vec<(Score, DocAddress)>, SearchError> {
    let scoring = EnableScoring::enabled_from_searcher(searcher);
    let groups = plan.wanted.iter().chain(&plan.required);
    let groups: Vec<Vec<Box<dyn Weight>>> = groups
        .map(|forms| {
            let weights = forms.each.iter().map(|form| form.query.weight(scoring));
            weights.collect::<Result<_, _>>()
        })
        .collect::<Result<_, _>>()?;
    let needs_words = plan.needs_words();
    let mut found = Vec::with_capacity(cases.len());
    for of_segment in cases.chunk_by(|a, b| a.segment_ord == b.segment_ord) {
        let segment = searcher.segment_reader(of_segment[0].segment_ord);
        let columns = beside::OfSegment::new(&plan.beside, segment);
        let near = |case: &DocAddress| !needs_words || columns.is_near(case.doc_id);
        let mut scores = vec![0.0; of_segment.len()];
        let mut fits: Vec<bool> = of_segment.iter().map(near).collect();
        for forms in &groups {
            add_best(forms, segment, of_segment, &mut scores, &mut fits)?;
        }
        let pressures = rank::Scorer::new(asked, segment);
        for ((case, score), fits) in of_segment.iter().zip(scores).zip(fits) {
            if fits {
                found.push((score + pressures.worth(case.doc_id), *case));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    Ok(found)
}

/// Adds what the best of several forms gives each case, and says which cases hold any.
fn add_best(
    forms: &[Box<dyn Weight>],
    segment: &SegmentReader,
    cases: &[DocAddress],
    scores: &mut [Score],
    fits: &mut [bool],
) -> Result<(), SearchError> {
    let mut sums = vec![0.0; cases.len()];
    let mut best: Vec<Score> = vec![0.0; cases.len()];
    for form in forms {
        let mut scorer = form.scorer(segment, 1.0)?;
        for (at, case) in cases.iter().enumerate() {
            if reaches(scorer.as_mut(), case.doc_id) {
                let score = scorer.score();
                sums[at] += score;
                best[at] = best[at].max(score);
                fits[at] = true;
            } else if scorer.doc() == TERMINATED {
                break;
            }
        }
    }
    for (at, score) in scores.iter_mut().enumerate() {
        *score += best[at] + (sums[at] - best[at]) * OTHER_FORMS;
    }
    Ok(())
}

/// Whether a case, not before any asked for earlier, is among those of a list.
pub(in crate::search) fn reaches(scorer: &mut dyn Scorer, case: DocId) -> bool {
    let at = scorer.doc();
    at == case || (at < case && scorer.seek(case) == case)
}
