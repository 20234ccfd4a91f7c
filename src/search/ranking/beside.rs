//! What is asked for beside words, a pressure or another quantity, looked up in columns: a case near one of
//! them fits without any of the words. In a large fleet many cases are near any pressure, so that no set of
//! them is made but where it keeps the others out.

use std::ops::{Bound, RangeInclusive};

use tantivy::{
    BitSet, DocId, SegmentReader, Term,
    columnar::Column,
    query::{Query, RangeQuery},
    schema::Field,
};

use super::rank;
use crate::search::{
    asking::held::{Held, Holding},
    indexed::schema::{ELSEWHERE, UNIT},
};

/// One quantity asked for.
#[derive(Clone, Debug)]
pub(in crate::search) struct Beside {
    /// The field that holds the cases' own.
    pub(in crate::search) field: Field,
    /// Its column.
    pub(in crate::search) column: &'static str,
    /// Where a case's own has to lie to be near.
    pub(in crate::search) near: RangeInclusive<f64>,
    /// Whether that is in the unit the case is written in, as a power of ten.
    pub(in crate::search) in_own_unit: bool,
}

impl Beside {
    /// The cases that are near.
    pub(in crate::search) fn cases(&self) -> Box<dyn Query> {
        // An older index that is searched while a new one is filled has no such column.
        if self.in_own_unit || self.column == ELSEWHERE {
            return Box::new(Held(self.clone()));
        }
        let end = |power: f64| {
            if power.is_finite() {
                Bound::Included(Term::from_field_f64(self.field, power))
            } else {
                Bound::Unbounded
            }
        };
        let (low, high) = match (end(*self.near.start()), end(*self.near.end())) {
            (Bound::Unbounded, Bound::Unbounded) => {
                let lowest = Term::from_field_f64(self.field, f64::MIN);
                (Bound::Included(lowest), Bound::Unbounded)
            }
            ends => ends,
        };
        Box::new(RangeQuery::new(low, high))
    }
}

/// The quantities asked for, as the cases of one segment hold them.
pub(in crate::search) struct OfSegment<'a> {
    each: Vec<(Column<f64>, &'a Beside)>,
    unit: Option<Column<f64>>,
}

impl<'a> OfSegment<'a> {
    pub(in crate::search) fn new(asked: &'a [Beside], segment: &SegmentReader) -> Self {
        let column = |beside: &Beside| segment.fast_fields().f64(beside.column).ok();
        let each = asked
            .iter()
            .filter_map(|beside| Some((column(beside)?, beside)));
        let own_unit = asked.iter().any(|beside| beside.in_own_unit);
        Self {
            each: each.collect(),
            unit: own_unit
                .then(|| segment.fast_fields().f64(UNIT).ok())
                .flatten(),
        }
    }

    /// Whether a case is near any of them.
    pub(in crate::search) fn is_near(&self, case: DocId) -> bool {
        let mut each = self.each.iter();
        each.any(|(column, beside)| {
            let own = match beside.in_own_unit {
                true => rank::own_scale(self.unit.as_ref(), case),
                false => 0.0,
            };
            let mut values = column.values_for_doc(case);
            values.any(|value| beside.near.contains(&(value - own)))
        })
    }
}

impl Holding for Beside {
    const TOLD: &'static str = "near in its own unit";

    fn put_cases(&self, segment: &SegmentReader, cases: &mut BitSet) -> tantivy::Result<()> {
        let of_segment = OfSegment::new(std::slice::from_ref(self), segment);
        for case in (0..segment.max_doc()).filter(|case| of_segment.is_near(*case)) {
            cases.insert(case);
        }
        Ok(())
    }
}
