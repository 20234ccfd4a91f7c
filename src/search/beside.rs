//! What is asked for beside words, a pressure or another quantity, looked up in columns: a case near one of
//! them fits without any of the words. In a large fleet many cases are near any pressure, so that no set of
//! them is made.

use std::ops::RangeInclusive;

use tantivy::{DocId, SegmentReader, columnar::Column};

/// One quantity asked for.
#[derive(Debug)]
pub(super) struct Beside {
    /// The column that holds the cases' own.
    pub(super) column: &'static str,
    /// Where a case's own has to lie to be near.
    pub(super) near: Vec<RangeInclusive<f64>>,
}

/// The quantities asked for, as the cases of one segment hold them.
pub(super) struct OfSegment<'a> {
    each: Vec<(Column<f64>, &'a Beside)>,
}

impl<'a> OfSegment<'a> {
    pub(super) fn new(asked: &'a [Beside], segment: &SegmentReader) -> Self {
        let column = |beside: &Beside| segment.fast_fields().f64(beside.column).ok();
        let each = asked
            .iter()
            .filter_map(|beside| Some((column(beside)?, beside)));
        Self {
            each: each.collect(),
        }
    }

    /// Whether a case is near any of them.
    pub(super) fn is_near(&self, case: DocId) -> bool {
        let mut each = self.each.iter();
        each.any(|(column, beside)| lies(column, case, &beside.near))
    }
}

fn lies(column: &Column<f64>, case: DocId, within: &[RangeInclusive<f64>]) -> bool {
    let mut own = column.values_for_doc(case);
    own.any(|value| within.iter().any(|within| within.contains(&value)))
}
