//! A short list of the likeliest cases, found without looking at every match.
//!
//! In a large index a common word is held by most cases, and to weigh each of them takes
//! longer the more there are. The words alone, as one flat union, let the index pass over
//! whole blocks that cannot reach the best (block-max WAND); only those best are then
//! weighed in full, each looked up in the lists of the words. Filters and field words are
//! put into sets first, so that they cost the same whatever the words. Cases near a pressure or
//! another quantity asked for have a list of their own beside that of the words alone: the best of
//! them by the words, and the nearest whatever their words.

use std::{cmp::Reverse, collections::BinaryHeap};

use tantivy::{
    BitSet, DocAddress, DocId, DocSet, Score, Searcher, SegmentReader, TERMINATED,
    query::{
        AllQuery, BooleanQuery, DisjunctionMaxQuery, EnableScoring, Occur, Query, Scorer, Weight,
    },
};

use super::{
    SearchError,
    beside::{self, Beside},
    plan::Understood,
    rank,
};

/// An index of no more cases is weighed whole.
pub(super) const WHOLE: u64 = 20_000;

/// How many cases are weighed in full.
pub(super) const LENGTH: usize = 500;

/// How many more of those near a pressure or quantity, by their words.
const NEAR_BY_WORDS: usize = 250;

/// How many more of those nearest, whatever their words.
const NEAREST: usize = 100;

/// Cases of a segment looked at in one go for those nearest.
const AT_ONCE: usize = 1 << 14;

/// How much of the other forms and fields of a word counts beside the one that fits best.
const OTHER_FORMS: f32 = 0.3;

/// A search as the index is asked: what a case has to hold, and what it gains by.
#[derive(Debug, Default)]
pub(super) struct Plan {
    /// What is wanted.
    pub(super) wanted: Vec<Forms>,
    /// Whether anything was wanted, held by a case or not.
    pub(super) words_typed: bool,
    /// Pressures that do as well as a word.
    pub(super) near: Vec<Box<dyn Query>>,
    /// What brings a case on a short list beside words: the pressures and other quantities asked for.
    pub(super) beside: Vec<Beside>,
    /// What a case must hold one form of, each; they count as well.
    pub(super) required: Vec<Forms>,
    /// What a case must be or must not be by what was typed.
    pub(super) bounds: Vec<(Occur, Box<dyn Query>)>,
    /// The same by filters.
    pub(super) narrowing: Vec<(Occur, Box<dyn Query>)>,
}

/// One thing wanted in all its forms and fields, of which the best counts.
#[derive(Debug)]
pub(super) struct Forms {
    pub(super) each: Vec<Box<dyn Query>>,
    /// No case gains more by it.
    pub(super) most: Score,
}

impl Forms {
    /// Of forms with the most that a case gains by each.
    pub(super) fn new(forms: Vec<(Box<dyn Query>, Score)>) -> Self {
        let best = forms.iter().map(|(_, most)| *most).fold(0.0, Score::max);
        let all: Score = forms.iter().map(|(_, most)| *most).sum();
        Self {
            // Not through the difference, which is no number where neither has a limit.
            most: best * (1.0 - OTHER_FORMS) + all * OTHER_FORMS,
            each: forms.into_iter().map(|(form, _)| form).collect(),
        }
    }

    /// The best of several counts, and a share of the others.
    fn best(&self) -> Box<dyn Query> {
        let forms = self.each.iter().map(|form| form.box_clone()).collect();
        Box::new(DisjunctionMaxQuery::with_tie_breaker(forms, OTHER_FORMS))
    }
}

impl Plan {
    /// Whether a case has to hold a word or lie near a pressure to fit.
    pub(super) fn needs_words(&self) -> bool {
        let musts = self.bounds.iter().any(|(occur, _)| *occur == Occur::Must);
        let asks = self.words_typed || !self.near.is_empty();
        asks && !musts && self.required.is_empty()
    }

    /// All of it as one query.
    pub(super) fn whole(&self) -> BooleanQuery {
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
pub(super) struct Allowed {
    only: Option<Vec<BitSet>>,
    except: Option<Vec<BitSet>>,
}

impl Allowed {
    /// By what a plan demands and rules out.
    pub(super) fn new(searcher: &Searcher, plan: &Plan) -> Result<Self, SearchError> {
        let mut only: Vec<(Occur, Box<dyn Query>)> = Vec::new();
        let mut except: Vec<Box<dyn Query>> = Vec::new();
        for (occur, query) in plan.bounds.iter().chain(&plan.narrowing) {
            match occur {
                Occur::MustNot => except.push(query.box_clone()),
                Occur::Must | Occur::Should => only.push((Occur::Must, query.box_clone())),
            }
        }
        for forms in &plan.required {
            let forms = forms.each.iter().map(|form| form.box_clone()).collect();
            only.push((Occur::Must, Box::new(BooleanQuery::union(forms))));
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

    fn holds(&self, segment: usize, case: DocId) -> bool {
        let within = |sets: &[BitSet]| sets.get(segment).is_some_and(|set| set.contains(case));
        self.only.as_deref().is_none_or(within) && !self.except.as_deref().is_some_and(within)
    }

    /// All of them, where they are few enough to weigh each.
    pub(super) fn few(&self) -> Option<Vec<DocAddress>> {
        let only = self.only.as_ref()?;
        if only.iter().map(BitSet::len).sum::<usize>() > LENGTH {
            return None;
        }
        Some(self.cases(only).collect())
    }

    /// How many there are, where not all but some are left out.
    pub(super) fn count(&self) -> Option<usize> {
        let only = self.only.as_ref()?;
        Some(match self.except {
            None => only.iter().map(BitSet::len).sum(),
            Some(_) => self.cases(only).count(),
        })
    }

    fn cases<'a>(&'a self, only: &'a [BitSet]) -> impl Iterator<Item = DocAddress> + 'a {
        only.iter().enumerate().flat_map(move |(segment, set)| {
            members(set)
                .filter(move |case| self.holds(segment, *case))
                .map(move |case| DocAddress::new(segment as u32, case))
        })
    }

    /// How many are ruled out.
    pub(super) fn ruled_out(&self) -> usize {
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

/// A short list, in the order of the index.
pub(super) struct List {
    pub(super) cases: Vec<DocAddress>,
    /// How many of them are there by their words alone.
    pub(super) by_words: usize,
}

/// The best by `words` among those allowed, and those near what is asked for beside words.
pub(super) fn likely(
    searcher: &Searcher,
    words: &dyn Query,
    allowed: &Allowed,
    plan: &Plan,
    asked: &Understood,
) -> Result<List, SearchError> {
    let [best, best_near] = best_by_words(searcher, words, allowed, &plan.beside)?;
    let mut cases: Vec<DocAddress> = best.cases().collect();
    let by_words = cases.len();
    if !plan.beside.is_empty() {
        cases.extend(best_near.cases());
        cases.extend(nearest(searcher, allowed, &plan.beside, asked).cases());
    }
    cases.sort_unstable();
    cases.dedup();
    Ok(List { cases, by_words })
}

/// Those nearest what is asked for beside words, whatever their words; of equal ones the oldest, and no
/// more are looked at once none can be nearer.
fn nearest(searcher: &Searcher, allowed: &Allowed, beside: &[Beside], asked: &Understood) -> Best {
    let mut nearest = Best::new(NEAREST);
    let most = rank::most(asked) + beside.len() as Score;
    for (ord, segment) in searcher.segment_readers().iter().enumerate() {
        let pressures = rank::Scorer::new(asked, segment);
        let columns = beside::OfSegment::new(beside, segment);
        for from in (0..segment.max_doc()).step_by(AT_ONCE) {
            if nearest.least() >= most {
                return nearest;
            }
            let until = segment.max_doc().min(from + AT_ONCE as DocId);
            for case in columns.any_close(from..until) {
                if !segment.is_deleted(case) && allowed.holds(ord, case) {
                    let worth = pressures.worth(case) + columns.close(case) as Score;
                    nearest.add(worth, DocAddress::new(ord as u32, case));
                }
            }
        }
    }
    nearest
}

/// The best by `words` of those allowed, and of those of them that are near, in one walk.
fn best_by_words(
    searcher: &Searcher,
    words: &dyn Query,
    allowed: &Allowed,
    beside: &[Beside],
) -> Result<[Best; 2], SearchError> {
    let weight = words.weight(EnableScoring::enabled_from_searcher(searcher))?;
    let (mut best, mut best_near) = (Best::new(LENGTH), Best::new(NEAR_BY_WORDS));
    for (ord, segment) in searcher.segment_readers().iter().enumerate() {
        let columns = beside::OfSegment::new(beside, segment);
        let least = |best: &Best, best_near: &Best| match beside {
            [] => best.least(),
            _ => best.least().min(best_near.least()),
        };
        let start = least(&best, &best_near);
        weight.for_each_pruning(start, segment, &mut |case, score| {
            if !segment.is_deleted(case) && allowed.holds(ord, case) {
                let address = DocAddress::new(ord as u32, case);
                best.add(score, address);
                if score > best_near.least() && columns.is_near(case) {
                    best_near.add(score, address);
                }
            }
            least(&best, &best_near)
        })?;
    }
    Ok([best, best_near])
}

/// The best of the cases added.
struct Best {
    length: usize,
    ranked: BinaryHeap<Ranked>,
}

impl Best {
    fn new(length: usize) -> Self {
        Self {
            length,
            ranked: BinaryHeap::with_capacity(length + 1),
        }
    }

    fn add(&mut self, score: Score, case: DocAddress) {
        self.ranked.push(Ranked(score, Reverse(case)));
        if self.ranked.len() > self.length {
            self.ranked.pop();
        }
    }

    /// What a case has to pass to be among them.
    fn least(&self) -> Score {
        match self.ranked.peek() {
            Some(Ranked(score, _)) if self.ranked.len() == self.length => *score,
            _ => Score::MIN,
        }
    }

    fn cases(self) -> impl Iterator<Item = DocAddress> {
        self.ranked.into_iter().map(|Ranked(_, case)| case.0)
    }
}

/// Cases weighed in full, best first, and how many fit at all.
pub(super) struct Weighed {
    pub(super) found: Vec<(f32, DocAddress)>,
    pub(super) fit: usize,
}

/// A case that is being weighed.
struct Candidate {
    case: DocAddress,
    score: Score,
    fits: bool,
}

/// Weighs cases given in the order of the index as [`Plan::whole`] does; those that do not fit are left
/// out, and once it is certain that a case is not among the best `most` it may be as well. So what tells
/// most is weighed first.
pub(super) fn weighed(
    searcher: &Searcher,
    cases: &[DocAddress],
    plan: &Plan,
    asked: &Understood,
    most: usize,
) -> Result<Weighed, SearchError> {
    let scoring = EnableScoring::enabled_from_searcher(searcher);
    let mut candidates = Vec::with_capacity(cases.len());
    let needs_words = plan.needs_words();
    for of_segment in cases.chunk_by(|a, b| a.segment_ord == b.segment_ord) {
        let segment = searcher.segment_reader(of_segment[0].segment_ord);
        let pressures = rank::Scorer::new(asked, segment);
        let columns = beside::OfSegment::new(&plan.beside, segment);
        candidates.extend(of_segment.iter().map(|case| Candidate {
            case: *case,
            score: pressures.worth(case.doc_id),
            fits: !needs_words || columns.is_near(case.doc_id),
        }));
    }
    let mut groups: Vec<&Forms> = plan.wanted.iter().chain(&plan.required).collect();
    groups.sort_by(|a, b| b.most.total_cmp(&a.most));
    let mut left_out = 0;
    for (at, forms) in groups.iter().enumerate() {
        let to_come: Score = groups[at..].iter().map(|forms| forms.most).sum();
        left_out += leave_out(&mut candidates, most, to_come);
        let weights: Vec<Box<dyn Weight>> = forms
            .each
            .iter()
            .map(|form| form.weight(scoring))
            .collect::<Result<_, _>>()?;
        for of_segment in candidates.chunk_by_mut(|a, b| a.case.segment_ord == b.case.segment_ord) {
            let segment = searcher.segment_reader(of_segment[0].case.segment_ord);
            add_best(&weights, segment, of_segment)?;
        }
    }
    candidates.retain(|candidate| candidate.fits);
    let mut found: Vec<(f32, DocAddress)> = candidates
        .into_iter()
        .map(|candidate| (candidate.score, candidate.case))
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let fit = found.len() + left_out;
    Ok(Weighed { found, fit })
}

/// Leaves out those that fit but cannot reach the best `most` by all that is `to_come`, and says how many.
fn leave_out(candidates: &mut Vec<Candidate>, most: usize, to_come: Score) -> usize {
    if candidates.len() <= most || !to_come.is_finite() {
        return 0;
    }
    let mut scores: Vec<Score> = candidates.iter().map(|candidate| candidate.score).collect();
    let (_, least, _) = scores.select_nth_unstable_by(most - 1, |a, b| b.total_cmp(a));
    // A little less, since sums are rounded.
    let least = *least * 0.9999 - to_come;
    let before = candidates.len();
    candidates.retain(|candidate| !candidate.fits || candidate.score >= least);
    before - candidates.len()
}

/// Adds what the best of several forms gives each case, and says which cases hold any.
fn add_best(
    forms: &[Box<dyn Weight>],
    segment: &SegmentReader,
    candidates: &mut [Candidate],
) -> Result<(), SearchError> {
    let mut sums: Vec<Score> = vec![0.0; candidates.len()];
    let mut best: Vec<Score> = vec![0.0; candidates.len()];
    for form in forms {
        let mut scorer = form.scorer(segment, 1.0)?;
        for (at, candidate) in candidates.iter_mut().enumerate() {
            if reaches(scorer.as_mut(), candidate.case.doc_id) {
                let score = scorer.score();
                sums[at] += score;
                best[at] = best[at].max(score);
                candidate.fits = true;
            } else if scorer.doc() == TERMINATED {
                break;
            }
        }
    }
    for (at, candidate) in candidates.iter_mut().enumerate() {
        candidate.score += best[at] + (sums[at] - best[at]) * OTHER_FORMS;
    }
    Ok(())
}

fn reaches(scorer: &mut dyn Scorer, case: DocId) -> bool {
    let at = scorer.doc();
    at == case || (at < case && scorer.seek(case) == case)
}
