//! A query of the cases that something of this search's own looks up, all alike in worth.

use std::fmt::Debug;

use tantivy::{
    BitSet, DocId, DocSet, Score, SegmentReader, TantivyError,
    query::{BitSetDocSet, ConstScorer, EnableScoring, Explanation, Query, Scorer, Weight},
};

/// What looks up cases by itself.
pub(in crate::search) trait Holding:
    Clone + Debug + Send + Sync + 'static
{
    /// What is said of a case that it brings.
    const TOLD: &'static str;

    /// Puts the cases of a segment into a set that has room for all of them.
    ///
    /// # Errors
    ///
    /// When the index cannot be read.
    fn put_cases(&self, segment: &SegmentReader, cases: &mut BitSet) -> tantivy::Result<()>;
}

/// The query of it.
#[derive(Clone, Debug)]
pub(in crate::search) struct Held<T>(pub(in crate::search) T);

impl<T: Holding> Query for Held<T> {
    fn weight(&self, _: EnableScoring<'_>) -> tantivy::Result<Box<dyn Weight>> {
        Ok(Box::new(self.clone()))
    }
}

impl<T: Holding> Weight for Held<T> {
    fn scorer(&self, segment: &SegmentReader, boost: Score) -> tantivy::Result<Box<dyn Scorer>> {
        let mut cases = BitSet::with_max_value(segment.max_doc());
        self.0.put_cases(segment, &mut cases)?;
        Ok(Box::new(ConstScorer::new(BitSetDocSet::from(cases), boost)))
    }

    fn explain(&self, segment: &SegmentReader, case: DocId) -> tantivy::Result<Explanation> {
        let mut scorer = self.scorer(segment, 1.0)?;
        if scorer.doc() > case || scorer.seek(case) != case {
            let told = format!("case {case} is not {}", T::TOLD);
            return Err(TantivyError::InvalidArgument(told));
        }
        Ok(Explanation::new(T::TOLD, 1.0))
    }
}
