//! The best of all matches of a large index, by words and pressures, without weighing each.
//!
//! The lists of the words are walked side by side, a window of cases at a time. As soon as so many good
//! cases are known that some lists together cannot bring a case among them, these are only looked up for
//! cases that the others bring (MaxScore, Turtle and Flood 1995, from memory): the commonest words, which
//! cost most and say least. Pressures are looked up for cases that they may bring among the best. The
//! result is the same as if each match were weighed.

use std::sync::Arc;

use tantivy::{
    DocAddress, DocId, DocSet, Score, Searcher, SegmentReader, TERMINATED, Term,
    fieldnorm::FieldNormReader,
    postings::BlockSegmentPostings,
    query::{Bm25StatisticsProvider, Bm25Weight, EnableScoring, Scorer},
    schema::IndexRecordOption,
};

use super::{
    beside, rank,
    rough::{Limits, Rough},
    shortlist::{Allowed, Best, Form, OTHER_FORMS, Plan},
};
use crate::search::{SearchError, asking::plan::Understood};

/// Cases of a window.
const WINDOW: usize = 1 << 10;

/// The best `most` cases among those allowed.
pub(in crate::search) fn best(
    searcher: &Searcher,
    plan: &Plan,
    allowed: &Allowed,
    asked: &Understood,
    roughs: &[Arc<Rough>],
    most: usize,
) -> Result<Best, SearchError> {
    let mut best = Best::new(most);
    let limits = (!asked.pressures.is_empty()).then(|| Limits::new(asked));
    for (ord, segment) in searcher.segment_readers().iter().enumerate() {
        let walk = Walk {
            ord,
            segment,
            allowed,
            needs_words: plan.needs_words(),
            pressures: rank::Scorer::new(asked, segment),
            columns: beside::OfSegment::new(&plan.beside, segment),
            limits: limits.as_ref().zip(roughs.get(ord).map(Arc::as_ref)),
            most_by_pressure: rank::most(asked),
        };
        walk.run(lists(searcher, segment, plan)?, &mut best);
    }
    Ok(best)
}

/// What stays the same while a segment is walked.
struct Walk<'a> {
    ord: usize,
    segment: &'a SegmentReader,
    allowed: &'a Allowed,
    needs_words: bool,
    pressures: rank::Scorer,
    columns: beside::OfSegment<'a>,
    limits: Option<(&'a Limits, &'a Rough)>,
    most_by_pressure: Score,
}

impl Walk<'_> {
    fn run(&self, mut lists: Lists, best: &mut Best) {
        let mut window = Window::new(lists.groups);
        let until = self.segment.max_doc();
        for from in (0..until).step_by(WINDOW) {
            lists.look_up_while(best.least() - self.most_by_pressure);
            window.sum(from, lists.walked());
            let limit = lists.limit;
            for (at, case) in (from..until).take(WINDOW).enumerate() {
                let words = window.sums[at];
                if words == 0.0 && self.limits.is_none() {
                    continue;
                }
                let by_pressure = self
                    .limits
                    .map_or(0.0, |(limits, rough)| limits.of(rough, case));
                if words + by_pressure + limit <= best.least() {
                    continue;
                }
                self.weigh(case, &window, at, &mut lists, best);
            }
        }
    }

    /// Weighs a case in full, as far as it may be among the best.
    fn weigh(&self, case: DocId, window: &Window, at: usize, lists: &mut Lists, best: &mut Best) {
        if self.segment.is_deleted(case) || !self.allowed.holds(self.ord, case) {
            return;
        }
        let words = window.sums[at];
        let mut score = words + self.pressures.worth(case);
        let Some(more) = lists.looked_up(case, window, at, best.least() - score) else {
            return;
        };
        score += more;
        if score <= best.least() {
            return;
        }
        let fits = !self.needs_words || words + more > 0.0 || self.columns.is_near(case);
        if fits && score > 0.0 {
            best.add(score, DocAddress::new(self.ord as u32, case));
        }
    }
}

/// The cases that hold one form of a word in one field.
struct List {
    /// The thing wanted, of whose forms the best counts.
    group: usize,
    /// No case gains more by it.
    most: Score,
    cases: Cases,
}

enum Cases {
    Word(Box<Word>),
    Other(Box<dyn Scorer>),
}

/// The cases of a word, block by block.
struct Word {
    blocks: BlockSegmentPostings,
    at: usize,
    lengths: FieldNormReader,
    weight: Bm25Weight,
}

impl Word {
    fn open(
        searcher: &Searcher,
        segment: &SegmentReader,
        term: &Term,
        weight: Score,
    ) -> Result<Option<Self>, SearchError> {
        let field = term.field();
        let index = segment.inverted_index(field)?;
        let Some(blocks) = index.read_block_postings(term, IndexRecordOption::WithFreqs)? else {
            return Ok(None);
        };
        let cases = searcher.total_num_docs()?;
        let length = searcher.total_num_tokens(field)? as Score / cases as Score;
        let holding = searcher.doc_freq(term)?;
        Ok(Some(Self {
            blocks,
            at: 0,
            lengths: segment.get_fieldnorms_reader(field)?,
            weight: Bm25Weight::for_one_term_without_explain(holding, cases, length)
                .boost_by(weight),
        }))
    }

    /// Tells of each case before `until` that was not told of yet.
    fn walk(&mut self, until: DocId, mut told: impl FnMut(DocId, Score)) {
        loop {
            let cases = self.blocks.docs();
            let Some(last) = cases.last() else {
                return;
            };
            let end = if *last < until {
                cases.len()
            } else {
                self.at + cases[self.at..].partition_point(|case| *case < until)
            };
            let counts = &self.blocks.freqs()[self.at..end];
            for (case, count) in cases[self.at..end].iter().zip(counts) {
                told(
                    *case,
                    self.weight.score(self.lengths.fieldnorm_id(*case), *count),
                );
            }
            if end < cases.len() {
                self.at = end;
                return;
            }
            self.blocks.advance();
            self.at = 0;
        }
    }

    /// What it adds to a case not before any it was asked for earlier.
    fn score(&mut self, case: DocId) -> Option<Score> {
        let cases = self.blocks.docs();
        if *cases.last()? < case {
            self.at = self.blocks.seek(case);
        } else {
            self.at += cases[self.at..].partition_point(|other| *other < case);
        }
        if self.blocks.docs().get(self.at) != Some(&case) {
            return None;
        }
        let count = self.blocks.freqs()[self.at];
        Some(self.weight.score(self.lengths.fieldnorm_id(case), count))
    }
}

impl List {
    fn walk(&mut self, until: DocId, mut told: impl FnMut(DocId, Score)) {
        match &mut self.cases {
            Cases::Word(word) => word.walk(until, told),
            Cases::Other(scorer) => {
                while scorer.doc() < until {
                    told(scorer.doc(), scorer.score());
                    scorer.advance();
                }
            }
        }
    }

    fn score(&mut self, case: DocId) -> Option<Score> {
        match &mut self.cases {
            Cases::Word(word) => word.score(case),
            Cases::Other(scorer) => {
                let at = scorer.doc();
                let reached = if at < case { scorer.seek(case) } else { at };
                (reached == case).then(|| scorer.score())
            }
        }
    }
}

/// All lists of a segment; the first of them are only looked up, the others walked.
struct Lists {
    /// Those that add least first.
    all: Vec<List>,
    groups: usize,
    looked_up: usize,
    /// Of those only looked up by group: the most that one adds, and all of them.
    by_group: Vec<(Score, Score)>,
    /// The groups of those with their lists, those that add most first.
    order: Vec<(usize, Vec<usize>)>,
    /// What those looked up add to a case at most.
    limit: Score,
}

/// The lists of a segment's cases for all that is wanted.
fn lists(searcher: &Searcher, segment: &SegmentReader, plan: &Plan) -> Result<Lists, SearchError> {
    let scoring = EnableScoring::enabled_from_searcher(searcher);
    let groups: Vec<_> = plan.wanted.iter().chain(&plan.required).collect();
    let mut all = Vec::new();
    for (group, forms) in groups.iter().enumerate() {
        for Form { query, word, most } in &forms.each {
            let cases = match word {
                Some((term, weight)) => {
                    let word = Word::open(searcher, segment, term, *weight)?;
                    word.map(|word| Cases::Word(Box::new(word)))
                }
                None => {
                    let weight = query.weight(scoring)?;
                    Some(Cases::Other(weight.scorer(segment, 1.0)?))
                }
            };
            all.extend(cases.map(|cases| List {
                group,
                most: *most,
                cases,
            }));
        }
    }
    all.sort_by(|a, b| a.most.total_cmp(&b.most));
    Ok(Lists {
        all,
        groups: groups.len(),
        looked_up: 0,
        by_group: vec![(0.0, 0.0); groups.len()],
        order: Vec::new(),
        limit: 0.0,
    })
}

/// What a group adds whose best form and all of whose forms add so much.
fn worth(best: Score, all: Score) -> Score {
    best * (1.0 - OTHER_FORMS) + all * OTHER_FORMS
}

impl Lists {
    fn walked(&mut self) -> &mut [List] {
        &mut self.all[self.looked_up..]
    }

    /// Walks no more lists than are needed to meet every case that gains more than `least`.
    fn look_up_while(&mut self, least: Score) {
        let before = self.looked_up;
        while let Some(next) = self.all.get(self.looked_up) {
            let (best, all) = self.by_group[next.group];
            // Those that add least come first, so that the next is the best of its group.
            let more = worth(next.most, all + next.most) - worth(best, all);
            if self.limit + more >= least {
                break;
            }
            self.by_group[next.group] = (next.most, all + next.most);
            self.limit += more;
            self.looked_up += 1;
        }
        if self.looked_up > before {
            let limit = |group: usize| worth(self.by_group[group].0, self.by_group[group].1);
            let of = |group: usize| {
                let lists = 0..self.looked_up;
                let own = lists.filter(|list| self.all[*list].group == group);
                (group, own.collect::<Vec<_>>())
            };
            let mut order: Vec<_> = (0..self.groups).map(of).collect();
            order.retain(|(_, lists)| !lists.is_empty());
            order.sort_by(|a, b| limit(b.0).total_cmp(&limit(a.0)));
            self.order = order;
        }
    }

    /// What the lists that are only looked up add to a case; none once that is certain to be no more
    /// than `least`.
    fn looked_up(
        &mut self,
        case: DocId,
        window: &Window,
        at: usize,
        least: Score,
    ) -> Option<Score> {
        let (mut sum, mut to_come) = (0.0, self.limit);
        for (group, lists) in &self.order {
            if sum + to_come * 1.0001 <= least {
                return None;
            }
            let (most, all) = self.by_group[*group];
            to_come -= worth(most, all);
            let walked = window.best[group * WINDOW + at];
            let (mut best, mut all) = (walked, 0.0);
            for list in lists {
                if let Some(score) = self.all[*list].score(case) {
                    best = best.max(score);
                    all += score;
                }
            }
            sum += worth(best - walked, all);
        }
        Some(sum)
    }
}

/// What the lists that are walked add to the cases of a window.
struct Window {
    sums: Vec<Score>,
    /// By group, the most that one list adds.
    best: Vec<Score>,
    /// The groups that add anything.
    met: Vec<bool>,
}

impl Window {
    fn new(groups: usize) -> Self {
        Self {
            sums: vec![0.0; WINDOW],
            best: vec![0.0; WINDOW * groups],
            met: vec![false; groups],
        }
    }

    fn sum(&mut self, from: DocId, lists: &mut [List]) {
        self.sums.fill(0.0);
        for (met, best) in self.met.iter_mut().zip(self.best.chunks_mut(WINDOW)) {
            if std::mem::take(met) {
                best.fill(0.0);
            }
        }
        for list in lists {
            let best = &mut self.best[list.group * WINDOW..][..WINDOW];
            let sums = &mut self.sums;
            let met = &mut self.met[list.group];
            list.walk(
                from.saturating_add(WINDOW as DocId).min(TERMINATED),
                |case, score| {
                    let at = (case - from) as usize;
                    let more = (score - best[at]).max(0.0);
                    best[at] += more;
                    *met = true;
                    sums[at] += worth(more, score);
                },
            );
        }
    }
}
