//! Words side by side, each in whatever way a text says it: `"blue dot"` finds `no blue dot` as well.
//!
//! What a text denies, and what it denies it with, is indexed under other terms than what is there, so that a
//! denial is no find; a phrase in quotation marks asks for the words alone. Places are looked at one list
//! after another, which only such a search pays for.

use std::collections::HashMap;

use tantivy::{
    BitSet, DocId, DocSet, SegmentReader, TERMINATED, Term, postings::Postings,
    schema::IndexRecordOption,
};

use super::held::Holding;

/// Words side by side in one field.
#[derive(Clone, Debug)]
pub(in crate::search) struct Phrase {
    /// How far each word stands behind the first, and the terms it may be indexed under.
    pub(in crate::search) words: Vec<(u32, Vec<Term>)>,
}

impl Phrase {
    /// Where the phrase begins in each case that may still hold it, once this word is looked up.
    fn narrowed(
        segment: &SegmentReader,
        (offset, terms): &(u32, Vec<Term>),
        begun: Option<&HashMap<DocId, Vec<u32>>>,
    ) -> tantivy::Result<HashMap<DocId, Vec<u32>>> {
        let mut begins: HashMap<DocId, Vec<u32>> = HashMap::new();
        let mut places = Vec::new();
        for term in terms {
            let index = segment.inverted_index(term.field())?;
            let all = IndexRecordOption::WithFreqsAndPositions;
            let Some(mut cases) = index.read_postings(term, all)? else {
                continue;
            };
            while cases.doc() != TERMINATED {
                let case = cases.doc();
                let before = begun.map(|begun| begun.get(&case));
                if before != Some(None) {
                    cases.positions(&mut places);
                    let first = places.iter().filter_map(|place| place.checked_sub(*offset));
                    let before = before.flatten();
                    let fits = |first: &u32| before.is_none_or(|before| before.contains(first));
                    let own: Vec<u32> = first.filter(fits).collect();
                    if !own.is_empty() {
                        begins.entry(case).or_default().extend(own);
                    }
                }
                cases.advance();
            }
        }
        Ok(begins)
    }
}

impl Holding for Phrase {
    const TOLD: &'static str = "holding these words side by side";

    fn put_cases(&self, segment: &SegmentReader, cases: &mut BitSet) -> tantivy::Result<()> {
        let mut begins: Option<HashMap<DocId, Vec<u32>>> = None;
        for word in &self.words {
            begins = Some(Self::narrowed(segment, word, begins.as_ref())?);
        }
        for case in begins.unwrap_or_default().into_keys() {
            cases.insert(case);
        }
        Ok(())
    }
}
