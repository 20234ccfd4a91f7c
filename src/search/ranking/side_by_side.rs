//! Which cases hold words side by side as they were typed: a base plate is more than a base and a plate.
//!
//! Looked up in the places of words, and only for the first hits, so that it costs the same however many
//! cases there are.

use tantivy::{
    DocAddress, DocSet, Searcher, TERMINATED, Term,
    query::{EnableScoring, PhraseQuery, Query},
    schema::Field,
};

use super::shortlist::reaches;
use crate::search::SearchError;

/// Only so many pairs of neighbours are looked up.
pub(in crate::search) const MOST_PAIRS: usize = 4;

/// Words that stand at most between a thing and what it is told to lack: `gate valve does not seal`.
pub(in crate::search) const BETWEEN: u32 = 2;

/// For each case, the share of the pairs that one of its parts holds side by side, or with at most so many
/// words between.
pub(in crate::search) fn shares(
    searcher: &Searcher,
    fields: &[Field],
    pairs: &[[(usize, String); 2]],
    between: u32,
    cases: &[DocAddress],
) -> Result<Vec<f32>, SearchError> {
    let mut shares = vec![0.0; cases.len()];
    let mut order: Vec<usize> = (0..cases.len()).collect();
    order.sort_by_key(|at| cases[*at]);
    for pair in pairs {
        let mut holds = vec![false; cases.len()];
        for field in fields {
            let term =
                |(place, word): &(usize, String)| (*place, Term::from_field_text(*field, word));
            let words = pair.iter().map(term).collect();
            let phrase = PhraseQuery::new_with_offset_and_slop(words, between);
            let phrase = phrase.weight(EnableScoring::disabled_from_searcher(searcher))?;
            for of_segment in order.chunk_by(|a, b| cases[*a].segment_ord == cases[*b].segment_ord)
            {
                let segment = searcher.segment_reader(cases[of_segment[0]].segment_ord);
                let mut scorer = phrase.scorer(segment, 1.0)?;
                for at in of_segment {
                    holds[*at] |= reaches(scorer.as_mut(), cases[*at].doc_id);
                    if scorer.doc() == TERMINATED {
                        break;
                    }
                }
            }
        }
        for (share, held) in shares.iter_mut().zip(holds) {
            *share += f32::from(u8::from(held)) / pairs.len() as f32;
        }
    }
    Ok(shares)
}
