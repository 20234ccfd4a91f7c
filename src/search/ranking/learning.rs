//! What the fleet's own cases teach: what words, and what else is known of a case, tell of causes.
//!
//! Learnt from cases spread over the whole index, read by column, so that no text is read. Bounded
//! in cases and words. Learning takes up to seconds, so a large index learns beside its searches
//! ([`crate::search::indexed::vocabulary`] says when).

use std::collections::{HashMap, hash_map::Entry};

use tantivy::{Searcher, SegmentReader};

use super::{
    circumstances::Circumstances,
    rarity::Rarity,
    telling::{Telling, Told},
};
use crate::{
    casebook::Finding,
    search::{
        SearchError,
        indexed::schema::{CAUSE, KNOWN, SURFACE},
        reading::surface::digest,
    },
};

/// Cases learnt from at most.
const MOST_CASES: usize = 10_000;

/// What was learnt.
#[derive(Debug, Default)]
pub(in crate::search) struct Learning {
    /// Of the words of symptoms together with what else is known of a case.
    rarity: Rarity,
    pub(in crate::search) telling: Telling,
}

/// The words of a case's symptom and what else is known of it, and its cause, if it has one.
type Case = (Vec<u64>, Option<String>);

impl Learning {
    /// Learns from an index.
    pub(in crate::search) fn new(searcher: &Searcher) -> Result<Self, SearchError> {
        let cases = cases(searcher)?;
        let rarity = Rarity::new(cases.iter().map(|(words, _)| words.as_slice()));
        let telling = Telling::new(&rarity, &cases);
        Ok(Self { rarity, telling })
    }

    /// What a text's words and what else is known tell of its cause.
    pub(in crate::search) fn told(
        &self,
        words: impl IntoIterator<Item = (u64, f32)>,
        known: &Circumstances,
    ) -> Told {
        let mut others = Vec::new();
        known.each(|sort, which| {
            let word = format!("{sort}{which}");
            others.extend(tells(&word).then(|| (digest(&word), 1.0)));
        });
        self.telling
            .told(&self.rarity.row(words.into_iter().chain(others)))
    }
}

/// Whether a word of the column speaks of the time before the cause was known.
fn tells(word: &str) -> bool {
    word.contains(' ')
}

fn cases(searcher: &Searcher) -> Result<Vec<Case>, SearchError> {
    let all = usize::try_from(searcher.num_docs()).unwrap_or(usize::MAX);
    let step = all.div_ceil(MOST_CASES).max(1);
    let mut cases = Vec::new();
    for segment in searcher.segment_readers() {
        of_segment(segment, step, &mut cases)?;
    }
    Ok(cases)
}

/// Every so many-th case of a segment.
fn of_segment(
    segment: &SegmentReader,
    step: usize,
    cases: &mut Vec<Case>,
) -> Result<(), SearchError> {
    let columns = segment.fast_fields();
    let words = columns.u64(SURFACE)?;
    let causes = columns.str(CAUSE)?;
    let known = columns.str(KNOWN).ok().flatten();
    let mut named: HashMap<u64, Option<String>> = HashMap::new();
    let mut digests: HashMap<u64, Option<u64>> = HashMap::new();
    let mut text = String::new();
    for case in segment.doc_ids_alive().step_by(step) {
        let mut cause = None;
        for (column, ord) in causes
            .iter()
            .flat_map(|column| column.term_ords(case).map(move |ord| (column, ord)))
        {
            if let Entry::Vacant(new) = named.entry(ord) {
                text.clear();
                column.ord_to_str(ord, &mut text)?;
                let found = text != Finding::NotFound.id();
                new.insert(found.then(|| text.clone()));
            }
            cause = named.get(&ord).cloned().flatten();
        }
        let mut own: Vec<u64> = words.values_for_doc(case).collect();
        for (column, ord) in known
            .iter()
            .flat_map(|column| column.term_ords(case).map(move |ord| (column, ord)))
        {
            if let Entry::Vacant(new) = digests.entry(ord) {
                text.clear();
                column.ord_to_str(ord, &mut text)?;
                new.insert(tells(&text).then(|| digest(&text)));
            }
            own.extend(digests.get(&ord).copied().flatten());
        }
        cases.push((own, cause));
    }
    Ok(())
}
