//! Words in one of the things that the notes are put together from: `proof:helium`, `parts:gasket`.
//!
//! The notes are one field of the index, so that a search of all of a case looks into no more fields than
//! it has to. Each thing has a stretch of places of its own in it; a search in one of them looks at the
//! places, which only such a search pays for.

use std::ops::Range;

use tantivy::{
    BitSet, DocSet, SegmentReader, TERMINATED, Term, postings::Postings, schema::IndexRecordOption,
};

use super::held::Holding;
use crate::search::{
    indexed::document::{NOTED, Noted},
    reading::analysis::{Analysed, Word},
};

/// Places of each thing; words beyond share the last.
const PLACES: usize = 10_000;

/// Gives the words of the notes their places; each thing ends where `ends` says.
pub(in crate::search) fn place(words: &mut [Word], ends: &[usize; NOTED.len()]) {
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
pub(in crate::search) fn prove_nothing_absent(read: &mut Analysed, ends: &[usize; NOTED.len()]) {
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
pub(in crate::search) struct InNoted {
    /// The word in the field of the notes.
    pub(in crate::search) word: Term,
    pub(in crate::search) noted: Noted,
}

impl InNoted {
    fn places(&self) -> Range<u32> {
        let from = self.noted.0 * PLACES;
        let end = |place: usize| u32::try_from(place).unwrap_or(u32::MAX);
        end(from)..end(from + PLACES)
    }
}

impl Holding for InNoted {
    const TOLD: &'static str = "holding it in this part of the notes";

    fn put_cases(&self, segment: &SegmentReader, cases: &mut BitSet) -> tantivy::Result<()> {
        let index = segment.inverted_index(self.word.field())?;
        let all = IndexRecordOption::WithFreqsAndPositions;
        let Some(mut held) = index.read_postings(&self.word, all)? else {
            return Ok(());
        };
        let own = self.places();
        let mut places = Vec::new();
        while held.doc() != TERMINATED {
            held.positions(&mut places);
            if places.iter().any(|place| own.contains(place)) {
                cases.insert(held.doc());
            }
            held.advance();
        }
        Ok(())
    }
}
