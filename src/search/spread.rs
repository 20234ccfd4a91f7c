//! Orders the first hits by what they say together, and puts cases told in the same words
//! together.
//!
//! A cause that many of the nearest cases share is likelier than one that a single case names,
//! so its cases gain.
//! A cause named again counts for a little less each time, so that ten hits are one cause
//! ten times only where that cause fits far better than any other.

use std::collections::HashMap;

use tantivy::{DocAddress, Searcher};

use super::{
    Hit, SearchError,
    query::number_of,
    schema::{ALIKE, CAUSE, SURFACE},
    surface::Surface,
};

/// The order of so many first hits is looked at.
pub(super) const LOOKED_AT: usize = 60;

/// What each further case of a cause already shown is worth.
const AGAIN: f32 = 0.96;

/// How much the cases of a cause gain if all of the nearest share it. Fitted on the tuning
/// half of `tests/judged`, no further than still leaves several causes first in a vague search.
const SHARED: f32 = 4.0;

/// How much a case gains that is told in the very words of the query. The gain falls with the third
/// power of the likeness, so that in long texts, never that alike, it says next to nothing.
const LIKENESS: f32 = 2.0;

/// How fast a case's say falls with its score.
const SAY: i32 = 6;

struct Candidate {
    hit: Hit,
    cause: String,
}

/// Orders what was found, best first.
pub(super) fn out(
    searcher: &Searcher,
    surface: &Surface,
    found: Vec<(f32, DocAddress)>,
) -> Result<Vec<Hit>, SearchError> {
    let found = by_likeness(searcher, surface, found)?;
    let mut found = found.into_iter();
    let mut near: Vec<Candidate> = Vec::new();
    let mut groups: HashMap<u64, usize> = HashMap::new();
    for (score, address) in found.by_ref().take(LOOKED_AT) {
        let Some(number) = number_of(searcher, address)? else {
            continue;
        };
        let columns = searcher.segment_reader(address.segment_ord).fast_fields();
        let alike = columns
            .u64(ALIKE)?
            .first(address.doc_id)
            .unwrap_or_default();
        if let Some(first) = groups.get(&alike) {
            near[*first].hit.alike.push(number);
            continue;
        }
        groups.insert(alike, near.len());
        let mut cause = String::new();
        if let Some(causes) = columns.str(CAUSE)?
            && let Some(ord) = causes.term_ords(address.doc_id).next()
        {
            causes.ord_to_str(ord, &mut cause)?;
        }
        near.push(Candidate {
            hit: Hit {
                number,
                score,
                alike: Vec::new(),
            },
            cause,
        });
    }
    share(&mut near);
    let mut hits = spread(near);
    for (score, address) in found {
        let number = number_of(searcher, address)?;
        hits.extend(number.map(|number| Hit {
            number,
            score,
            alike: Vec::new(),
        }));
    }
    Ok(hits)
}

/// Lets the first hits gain by how alike they are letter by letter.
fn by_likeness(
    searcher: &Searcher,
    surface: &Surface,
    mut found: Vec<(f32, DocAddress)>,
) -> Result<Vec<(f32, DocAddress)>, SearchError> {
    let looked_at = found.len().min(LOOKED_AT);
    for (score, address) in &mut found[..looked_at] {
        let columns = searcher.segment_reader(address.segment_ord).fast_fields();
        let column = columns.u64(SURFACE)?;
        let own = column.values_for_doc(address.doc_id).collect();
        *score *= 1.0 + LIKENESS * surface.likeness(&own).powi(3);
    }
    found[..looked_at].sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    Ok(found)
}

/// Lets the cases of each cause gain by how much the nearest say for it. A case without a
/// cause is not set back for that, and the one that fits best by itself stays first.
fn share(near: &mut [Candidate]) {
    let best = near.iter().map(|c| c.hit.score).fold(0.0, f32::max);
    if best <= 0.0 {
        return;
    }
    let mut said: HashMap<String, f32> = HashMap::new();
    let mut all = 0.0;
    for candidate in near.iter() {
        let say = (candidate.hit.score / best).powi(SAY);
        all += say;
        if !candidate.cause.is_empty() {
            *said.entry(candidate.cause.clone()).or_default() += say;
        }
    }
    let most = said.values().copied().fold(0.0, f32::max);
    let mut highest = 0.0_f32;
    for candidate in near.iter_mut() {
        let said = said.get(&candidate.cause).copied().unwrap_or(most);
        candidate.hit.score *= 1.0 + SHARED * said / all;
        highest = highest.max(candidate.hit.score);
    }
    if let Some(first) = near.first_mut() {
        first.hit.score = highest;
    }
}

fn spread(mut near: Vec<Candidate>) -> Vec<Hit> {
    let mut shown: HashMap<String, i32> = HashMap::new();
    let mut hits = Vec::with_capacity(near.len());
    while !near.is_empty() {
        let worth = |candidate: &Candidate| {
            let again = match candidate.cause.as_str() {
                "" => 0,
                cause => shown.get(cause).copied().unwrap_or_default(),
            };
            candidate.hit.score * AGAIN.powi(again)
        };
        let mut best = 0;
        for at in 1..near.len() {
            if worth(&near[at]) > worth(&near[best]) {
                best = at;
            }
        }
        let score = worth(&near[best]);
        let mut best = near.remove(best);
        best.hit.score = score;
        *shown.entry(best.cause).or_default() += 1;
        hits.push(best.hit);
    }
    hits
}
