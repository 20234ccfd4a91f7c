//! Cases of which a sign is on record as looked for and not seen: `sign:"not linear"`.
//!
//! The index keeps these as a column, which only such a search reads from end to end.

use tantivy::{BitSet, SegmentReader};

use super::held::Holding;
use crate::search::indexed::schema::UNSEEN;

/// A sign not seen, by its identifier.
#[derive(Clone, Debug)]
pub(in crate::search) struct Unseen(pub(in crate::search) String);

impl Holding for Unseen {
    const TOLD: &'static str = "one of which the sign was not seen";

    fn put_cases(&self, segment: &SegmentReader, cases: &mut BitSet) -> tantivy::Result<()> {
        let Some(column) = segment.fast_fields().str(UNSEEN)? else {
            return Ok(());
        };
        let Some(sign) = column.dictionary().term_ord(self.0.as_bytes())? else {
            return Ok(());
        };
        for case in 0..segment.max_doc() {
            if column.term_ords(case).any(|own| own == sign) {
                cases.insert(case);
            }
        }
        Ok(())
    }
}
