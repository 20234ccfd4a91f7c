//! What is asked for beside words, a pressure or another quantity, looked up in columns.
//!
//! A case near one of them comes on a short list beside those that hold the words. In a large fleet many
//! cases are near any pressure, so that no set of them is made: a case found by its words is looked up by
//! itself, and the closest are looked for from the oldest on only until none can be better.

use std::ops::{Range, RangeInclusive};

use tantivy::{DocId, SegmentReader, columnar::Column};

/// One quantity asked for.
#[derive(Debug)]
pub(super) struct Beside {
    /// The column that holds the cases' own.
    pub(super) column: &'static str,
    /// Where a case's own has to lie to be near.
    pub(super) near: Vec<RangeInclusive<f64>>,
    /// The same for as good as right.
    pub(super) close: Vec<RangeInclusive<f64>>,
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

    /// How many of them a case has as good as right.
    pub(super) fn close(&self, case: DocId) -> usize {
        let close = |(column, beside): &&(Column<f64>, &Beside)| lies(column, case, &beside.close);
        self.each.iter().filter(close).count()
    }

    /// The cases of a stretch that have any of them as good as right, in order, each once.
    pub(super) fn any_close(&self, cases: Range<DocId>) -> Vec<DocId> {
        let (mut all, mut some) = (Vec::new(), Vec::new());
        for (column, beside) in &self.each {
            for within in &beside.close {
                some.clear();
                column.get_docids_for_value_range(within.clone(), cases.clone(), &mut some);
                all.append(&mut some);
            }
        }
        all.sort_unstable();
        all.dedup();
        all
    }
}

fn lies(column: &Column<f64>, case: DocId, within: &[RangeInclusive<f64>]) -> bool {
    let mut own = column.values_for_doc(case);
    own.any(|value| within.iter().any(|within| within.contains(&value)))
}
