//! A short list of the likeliest cases, found without looking at every match.
//!
//! In a large index a common word is held by most cases, and to weigh each of them takes
//! longer the more there are. The words alone, as one flat union, let the index pass over
//! whole blocks that cannot reach the best (block-max WAND); only those best are then
//! weighed in full. A case outside the list by its words cannot be brought in by a pressure.

use tantivy::{
    DocAddress, DocSet, Searcher, TERMINATED,
    collector::TopDocs,
    query::{EnableScoring, Query},
};

use super::{SearchError, plan::AskedPressure, rank::Scorer};

/// An index of no more cases is weighed whole.
pub(super) const WHOLE: u64 = 20_000;

/// How many cases are weighed in full.
pub(super) const LENGTH: usize = 500;

/// The best by `words`, weighed by `query` and pressures, best first.
pub(super) fn weighed(
    searcher: &Searcher,
    words: &dyn Query,
    query: &dyn Query,
    pressures: &[AskedPressure],
) -> Result<Vec<(f32, DocAddress)>, SearchError> {
    let likely = TopDocs::with_limit(LENGTH).order_by_score();
    let mut likely: Vec<DocAddress> = searcher
        .search(words, &likely)?
        .into_iter()
        .map(|(_, address)| address)
        .collect();
    likely.sort_unstable();
    let weight = query.weight(EnableScoring::enabled_from_searcher(searcher))?;
    let mut found = Vec::with_capacity(likely.len());
    for of_segment in likely.chunk_by(|a, b| a.segment_ord == b.segment_ord) {
        let segment = searcher.segment_reader(of_segment[0].segment_ord);
        let mut scorer = weight.scorer(segment, 1.0)?;
        let near = Scorer::new(pressures, segment);
        for address in of_segment {
            let mut case = scorer.doc();
            if case < address.doc_id {
                case = scorer.seek(address.doc_id);
            }
            if case == TERMINATED {
                break;
            }
            if case == address.doc_id {
                found.push((scorer.score() + near.worth(case), *address));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    Ok(found)
}
