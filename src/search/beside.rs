//! What is asked for beside words, a pressure or another quantity, looked up in columns: a case near one of
//! them fits without any of the words. In a large fleet many cases are near any pressure, so that no set of
//! them is made but where it keeps the others out.

use std::ops::{Bound, RangeInclusive};

use tantivy::{
    BitSet, DocId, DocSet, Score, SegmentReader, TantivyError, Term,
    columnar::Column,
    query::{
        BitSetDocSet, ConstScorer, EnableScoring, Explanation, Query, RangeQuery, Scorer, Weight,
    },
    schema::Field,
};

use super::{
    rank,
    schema::{ELSEWHERE, UNIT},
};

/// One quantity asked for.
#[derive(Clone, Debug)]
pub(super) struct Beside {
    /// The field that holds the cases' own.
    pub(super) field: Field,
    /// Its column.
    pub(super) column: &'static str,
    /// Where a case's own has to lie to be near.
    pub(super) near: RangeInclusive<f64>,
    /// Whether that is in the unit the case is written in, as a power of ten.
    pub(super) in_own_unit: bool,
}

impl Beside {
    /// The cases that are near.
    pub(super) fn cases(&self) -> Box<dyn Query> {
        // An older index that is searched while a new one is filled has no such column.
        if self.in_own_unit || self.column == ELSEWHERE {
            return Box::new(self.clone());
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
pub(super) struct OfSegment<'a> {
    each: Vec<(Column<f64>, &'a Beside)>,
    unit: Option<Column<f64>>,
}

impl<'a> OfSegment<'a> {
    pub(super) fn new(asked: &'a [Beside], segment: &SegmentReader) -> Self {
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
    pub(super) fn is_near(&self, case: DocId) -> bool {
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

impl Query for Beside {
    fn weight(&self, _: EnableScoring<'_>) -> tantivy::Result<Box<dyn Weight>> {
        Ok(Box::new(self.clone()))
    }
}

impl Weight for Beside {
    fn scorer(&self, segment: &SegmentReader, boost: Score) -> tantivy::Result<Box<dyn Scorer>> {
        let of_segment = OfSegment::new(std::slice::from_ref(self), segment);
        let mut near = BitSet::with_max_value(segment.max_doc());
        for case in 0..segment.max_doc() {
            if of_segment.is_near(case) {
                near.insert(case);
            }
        }
        Ok(Box::new(ConstScorer::new(BitSetDocSet::from(near), boost)))
    }

    fn explain(&self, segment: &SegmentReader, case: DocId) -> tantivy::Result<Explanation> {
        let mut scorer = self.scorer(segment, 1.0)?;
        if scorer.seek(case) != case {
            let told = format!("case {case} is not near");
            return Err(TantivyError::InvalidArgument(told));
        }
        Ok(Explanation::new("near in its own unit", 1.0))
    }
}
