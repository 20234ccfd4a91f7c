//! Words in one of the things that the notes are put together from: `proof:helium`, `parts:gasket`.
//!
//! The notes are one field of the index, so that a search of all of a case looks into no more fields than
//! it has to. Each thing has a stretch of places of its own in it; a search in one of them looks at the
//! places, which only such a search pays for.

use std::ops::Range;

use tantivy::{
    BitSet, DocId, DocSet, Score, SegmentReader, TERMINATED, TantivyError, Term,
    postings::Postings,
    query::{BitSetDocSet, ConstScorer, EnableScoring, Explanation, Query, Scorer, Weight},
    schema::IndexRecordOption,
};

use super::{
    analysis::{Analysed, Word},
    document::{NOTED, Noted},
};

/// Places of each thing; words beyond share the last.
const PLACES: usize = 10_000;

/// Gives the words of the notes their places; each thing ends where `ends` says.
pub(super) fn place(words: &mut [Word], ends: &[usize; NOTED.len()]) {
    let mut first = [None; NOTED.len()];
    for word in words {
        let thing = ends.iter().position(|end| word.place.start < *end);
        let thing = thing.unwrap_or(NOTED.len() - 1);
        let begins = *first[thing].get_or_insert(word.position);
        word.position = thing * PLACES + (word.position - begins).min(PLACES - 1);
    }
}

/// Takes what the proof says not to be so out of what the notes say: it was mended, so that it is no more
/// says nothing of what it was.
pub(super) fn prove_nothing_absent(read: &mut Analysed, ends: &[usize; NOTED.len()]) {
    let proof = ends[Noted::PROOF.0];
    for word in &mut read.words {
        let out = word.place.start < proof && word.ruled_out;
        word.common |= out;
        word.lacking &= word.place.start >= proof;
    }
    let words = &read.words;
    read.mentions.retain(|mention| {
        let first = &words[mention.words.start];
        first.place.start >= proof || !first.ruled_out
    });
}

/// A word in one of the things.
#[derive(Clone, Debug)]
pub(super) struct InNoted {
    /// The word in the field of the notes.
    pub(super) word: Term,
    pub(super) noted: Noted,
}

impl InNoted {
    fn places(&self) -> Range<u32> {
        let from = self.noted.0 * PLACES;
        let end = |place: usize| u32::try_from(place).unwrap_or(u32::MAX);
        end(from)..end(from + PLACES)
    }
}

impl Query for InNoted {
    fn weight(&self, _: EnableScoring<'_>) -> tantivy::Result<Box<dyn Weight>> {
        Ok(Box::new(self.clone()))
    }
}

impl Weight for InNoted {
    fn scorer(&self, segment: &SegmentReader, boost: Score) -> tantivy::Result<Box<dyn Scorer>> {
        let mut holding = BitSet::with_max_value(segment.max_doc());
        let index = segment.inverted_index(self.word.field())?;
        let all = IndexRecordOption::WithFreqsAndPositions;
        if let Some(mut cases) = index.read_postings(&self.word, all)? {
            let own = self.places();
            let mut places = Vec::new();
            while cases.doc() != TERMINATED {
                cases.positions(&mut places);
                if places.iter().any(|place| own.contains(place)) {
                    holding.insert(cases.doc());
                }
                cases.advance();
            }
        }
        let holding = BitSetDocSet::from(holding);
        Ok(Box::new(ConstScorer::new(holding, boost)))
    }

    fn explain(&self, segment: &SegmentReader, case: DocId) -> tantivy::Result<Explanation> {
        let mut scorer = self.scorer(segment, 1.0)?;
        if scorer.doc() > case || scorer.seek(case) != case {
            let told = format!("case {case} does not hold it there");
            return Err(TantivyError::InvalidArgument(told));
        }
        Ok(Explanation::new("held in this part of the notes", 1.0))
    }
}
