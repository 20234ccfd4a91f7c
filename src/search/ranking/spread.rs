//! Orders the first hits by all that is known of them and by what they say together, and puts
//! cases told alike together.
//!
//! To the worth of words and pressures, as a share of the best, comes what the circumstances share.
//! The gain by words told alike falls with the third power of the likeness, so that in long texts,
//! never that alike, it says next to nothing. Outcomes of checks raise and lower the cases of a cause.
//!
//! A cause that many of the nearest cases share is likelier than one that a single case names,
//! so its cases gain.
//! A cause named again counts for a little less each time. Beyond that, each cause that a tenth of
//! the nearest cases have has a place among the first ten, unless its best case fits far worse than
//! the one that would give place: ten hits are one cause ten times only where the fleet says so.

use std::collections::{BTreeMap, BTreeSet, HashMap, VecDeque, hash_map::Entry};

use tantivy::{
    DocAddress, DocId, Searcher, SegmentReader,
    columnar::{Column, StrColumn},
};

use super::{
    circumstances::{Circumstances, OfSegment, Worths},
    side_by_side,
};
use crate::search::{
    Hit, SearchError,
    asking::{denied, plan::Understood},
    indexed::schema::{ALIKE, CAUSE, Fields, SURFACE},
    query::Numbers,
    reading::surface,
};

/// The order of so many first hits is looked at.
pub(in crate::search) const LOOKED_AT: usize = 200;

/// So many of the nearest say which causes have a place among the first; pages sum up as many.
const NEAREST: usize = 40;

/// Among so many first hits causes have places.
const FIRST: usize = 10;

/// So many first hits stand whatever their causes.
const KEPT: usize = 3;

/// A cause that fewer of the nearest have has no place of its own.
const FEWEST: usize = 3;

/// How well a case has to fit, as a share of the one that gives place to it.
const FITS: f32 = 0.7;

/// However much speaks against a case, it stays above nothing.
const LEAST: f32 = 1e-3;

/// How fast a case's say falls with its score.
const SAY: i32 = 6;

struct Candidate {
    hit: Hit,
    cause: String,
}

/// Orders what was found, best first.
pub(in crate::search) fn out(
    searcher: &Searcher,
    fields: &Fields,
    asked: &Understood,
    found: Vec<(f32, DocAddress)>,
) -> Result<Vec<Hit>, SearchError> {
    let best = found.first().map_or(0.0, |(worth, _)| *worth);
    let scale = if best > 0.0 { best.recip() } else { 1.0 };
    let mut found = found.into_iter().map(|(worth, at)| (worth * scale, at));
    let looked_at: Vec<_> = found.by_ref().take(LOOKED_AT).collect();
    let weighed = weighed(searcher, fields, asked, looked_at)?;
    let mut near: Vec<Candidate> = Vec::new();
    let mut groups: HashMap<u64, Vec<(BTreeSet<u64>, usize)>> = HashMap::new();
    for (alike, words, candidate) in weighed {
        let firsts = groups.entry(alike).or_default();
        // Without a cause, what they have in common says that their words are the same.
        let same =
            |told: &BTreeSet<u64>| candidate.cause.is_empty() || surface::told_alike(told, &words);
        if let Some((_, first)) = firsts.iter().find(|(told, _)| same(told)) {
            near[*first].hit.alike.push(candidate.hit.number);
            continue;
        }
        firsts.push((words, near.len()));
        near.push(candidate);
    }
    share(&mut near, asked.weights.shared_cause);
    let mut hits = represent(spread(near, asked.weights.again));
    let mut numbers = Numbers::new(searcher);
    for (score, address) in found {
        let number = numbers.of(address)?;
        hits.extend(number.map(|number| Hit {
            number,
            score,
            alike: Vec::new(),
        }));
    }
    Ok(hits)
}

/// Weighs the first hits by all that is known of them, best first, each with what is the same for
/// cases that may be told alike, and with its words.
fn weighed(
    searcher: &Searcher,
    fields: &Fields,
    asked: &Understood,
    found: Vec<(f32, DocAddress)>,
) -> Result<Vec<(u64, BTreeSet<u64>, Candidate)>, SearchError> {
    let worths = Worths::new(searcher, fields.known, &asked.circumstances, &asked.weights)?;
    let cases: Vec<_> = found.iter().map(|(_, case)| *case).collect();
    let shares = |pairs: &[[(usize, String); 2]], between: u32, weight: f32| match weight > 0.0 {
        true => side_by_side::shares(searcher, &fields.texts(), pairs, between, &cases),
        false => Ok(vec![0.0; cases.len()]),
    };
    let side_by_side = shares(&asked.neighbours, 0, asked.weights.side_by_side)?;
    let lacks = shares(&asked.lacks, side_by_side::BETWEEN, asked.weights.lacks)?;
    let side_by_side = side_by_side.into_iter().zip(lacks);
    let denied = match asked.weights.denied > 0.0 {
        true => denied::shares(searcher, fields, &asked.denied, &cases)?,
        false => vec![0.0; cases.len()],
    };
    let deny_as_well = match asked.denied_causes.is_empty() {
        true => vec![false; cases.len()],
        false => denied::deny_as_well(searcher, fields, &asked.denied, &cases)?,
    };
    let denied = denied.into_iter().zip(deny_as_well);
    let mut segments: HashMap<u32, Columns> = HashMap::new();
    let mut weighed = Vec::with_capacity(found.len());
    let found = found.into_iter().zip(side_by_side).zip(denied);
    for (((words, address), (side_by_side, lacks)), (denied, denies)) in found {
        let columns = match segments.entry(address.segment_ord) {
            Entry::Occupied(open) => open.into_mut(),
            Entry::Vacant(new) => new.insert(Columns::new(
                searcher.segment_reader(address.segment_ord),
                &worths,
            )?),
        };
        let case = address.doc_id;
        let Some(number) = columns.number.first(case) else {
            continue;
        };
        let own: BTreeSet<u64> = columns.surface.values_for_doc(case).collect();
        let likeness = asked.surface.likeness(&own).powi(3);
        let cause = columns.cause(case)?;
        let tells = if asked.weights.tells == 0.0 || asked.told.is_empty() {
            0.0
        } else if cause.is_empty() {
            let words = own.iter().map(|word| (*word, 1.0));
            let told = asked.learning.told(words, &Circumstances::default());
            asked.told.of_text(&told)
        } else {
            asked.learning.telling.of_cause(&asked.told, &cause)
        };
        let told_alike = asked.weights.likeness * likeness;
        let beside = asked.weights.side_by_side * side_by_side + asked.weights.lacks * lacks;
        let worth = words * (1.0 + told_alike + beside)
            + columns.circumstances.worth(case)
            + asked.weights.tells * tells;
        let denied = match asked.denied_causes.contains(&cause) && !denies {
            true => 1.0,
            false => denied,
        };
        let leaning = (asked.weights.outcome * asked.leaning.of(&cause)).exp();
        let hit = Hit {
            number,
            score: worth.max(LEAST) * leaning * (1.0 - asked.weights.denied * denied),
            alike: Vec::new(),
        };
        let alike = columns.alike.first(case).unwrap_or_default();
        weighed.push((alike, own, Candidate { hit, cause }));
    }
    weighed.sort_by(|(.., a), (.., b)| {
        let worth = b.hit.score.total_cmp(&a.hit.score);
        worth.then(a.hit.number.cmp(&b.hit.number))
    });
    Ok(weighed)
}

/// What is read of the cases of one segment, opened once.
struct Columns {
    number: Column<i64>,
    alike: Column<u64>,
    surface: Column<u64>,
    causes: Option<StrColumn>,
    /// Names of causes looked up before.
    named: HashMap<u64, String>,
    circumstances: OfSegment,
}

impl Columns {
    fn new(segment: &SegmentReader, worths: &Worths) -> Result<Self, SearchError> {
        let columns = segment.fast_fields();
        Ok(Self {
            number: columns.i64("number")?,
            alike: columns.u64(ALIKE)?,
            surface: columns.u64(SURFACE)?,
            causes: columns.str(CAUSE)?,
            named: HashMap::new(),
            circumstances: worths.of_segment(segment)?,
        })
    }

    /// The cause of a case; empty if it has none.
    fn cause(&mut self, case: DocId) -> Result<String, SearchError> {
        let Some(causes) = &self.causes else {
            return Ok(String::new());
        };
        let Some(ord) = causes.term_ords(case).next() else {
            return Ok(String::new());
        };
        if let Some(known) = self.named.get(&ord) {
            return Ok(known.clone());
        }
        let mut cause = String::new();
        causes.ord_to_str(ord, &mut cause)?;
        self.named.insert(ord, cause.clone());
        Ok(cause)
    }
}

/// Lets the cases of each cause gain by how much the nearest say for it. A case without a
/// cause is not set back for that, and the one that fits best by itself stays first.
fn share(near: &mut [Candidate], weight: f32) {
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
        candidate.hit.score *= 1.0 + weight * said / all;
        highest = highest.max(candidate.hit.score);
    }
    if let Some(first) = near.first_mut() {
        first.hit.score = highest;
    }
}

/// The cases of one cause that are not shown yet, by their places, best first.
struct Waiting {
    /// What the next of them is worth, as a share of its score.
    worth: f32,
    shown: i32,
    places: VecDeque<usize>,
}

/// The order of the cases, best first.
fn spread(near: Vec<Candidate>, worth_again: f32) -> Vec<Candidate> {
    let mut order: Vec<usize> = (0..near.len()).collect();
    order.sort_by(|a, b| {
        let score = near[*b].hit.score.total_cmp(&near[*a].hit.score);
        score.then(a.cmp(b))
    });
    let mut causes: BTreeMap<&str, VecDeque<usize>> = BTreeMap::new();
    for place in order {
        let own = causes.entry(near[place].cause.as_str()).or_default();
        own.push_back(place);
    }
    let mut causes: Vec<(&str, Waiting)> = causes
        .into_iter()
        .map(|(cause, places)| {
            let waiting = Waiting {
                worth: 1.0,
                shown: 0,
                places,
            };
            (cause, waiting)
        })
        .collect();
    let mut hits = Vec::with_capacity(near.len());
    while hits.len() < near.len() {
        let next = causes.iter_mut().filter_map(|(cause, waiting)| {
            let place = *waiting.places.front()?;
            Some((near[place].hit.score * waiting.worth, place, cause, waiting))
        });
        let best = next.max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
        let Some((score, place, cause, waiting)) = best else {
            break;
        };
        waiting.places.pop_front();
        if !cause.is_empty() {
            waiting.shown += 1;
            waiting.worth = worth_again.powi(waiting.shown);
        }
        let hit = Hit {
            score,
            ..near[place].hit.clone()
        };
        hits.push(Candidate {
            hit,
            cause: (*cause).to_owned(),
        });
    }
    hits
}

/// Lets the causes of the nearest cases be among the first, each by its best case; of a cause shown
/// more than once the last gives place.
fn represent(mut ordered: Vec<Candidate>) -> Vec<Hit> {
    let first = FIRST.min(ordered.len());
    let nearest = &ordered[..ordered.len().min(NEAREST)];
    let mut shares: BTreeMap<String, usize> = BTreeMap::new();
    for candidate in nearest.iter().filter(|near| !near.cause.is_empty()) {
        *shares.entry(candidate.cause.clone()).or_default() += 1;
    }
    let known: usize = shares.values().sum();
    let mut named: Vec<(usize, String)> = shares
        .into_iter()
        .filter(|(_, own)| *own >= FEWEST && own * FIRST >= known)
        .map(|(cause, own)| (own, cause))
        .collect();
    named.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    for (_, cause) in named {
        let of_cause = |near: &Candidate| near.cause == cause;
        if ordered[..first].iter().any(of_cause) {
            continue;
        }
        let shown = |at: usize| {
            let same = |near: &&Candidate| near.cause == ordered[at].cause;
            ordered[..first].iter().filter(same).count()
        };
        let gives = (KEPT..first).rev().find(|at| shown(*at) > 1);
        let comes = ordered.iter().position(of_cause);
        let (Some(gives), Some(comes)) = (gives, comes) else {
            continue;
        };
        if ordered[comes].hit.score < FITS * ordered[gives].hit.score {
            continue;
        }
        let mut came = ordered.remove(comes);
        let mut left = ordered.remove(gives);
        // Both stand where the first ten end, and scores fall along the list.
        came.hit.score = ordered[first - 2].hit.score;
        left.hit.score = left.hit.score.min(came.hit.score);
        ordered.insert(first - 1, left);
        ordered.insert(first - 1, came);
    }
    ordered.into_iter().map(|near| near.hit).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cases of these causes one behind the other, each fitting a little worse than the one before.
    fn order(causes: &[(&str, usize)], fall: f32) -> Vec<Candidate> {
        let each = causes
            .iter()
            .flat_map(|(cause, count)| std::iter::repeat_n(*cause, *count));
        let candidate = |(at, cause): (usize, &str)| Candidate {
            hit: Hit {
                number: at as i64,
                score: fall.powi(at as i32),
                alike: Vec::new(),
            },
            cause: cause.to_owned(),
        };
        each.enumerate().map(candidate).collect()
    }

    fn first_ten(causes: &[(&str, usize)], fall: f32) -> Vec<i64> {
        let hits = represent(order(causes, fall));
        let all: usize = causes.iter().map(|(_, count)| count).sum();
        assert_eq!(hits.len(), all);
        assert!(hits.is_sorted_by(|a, b| a.score >= b.score));
        hits.iter().take(FIRST).map(|hit| hit.number).collect()
    }

    #[test]
    fn the_first_ten_hold_the_causes_of_the_nearest() {
        let causes = [("a", 16), ("b", 9), ("c", 6), ("d", 1), ("", 5)];
        assert_eq!(first_ten(&causes, 0.99), [0, 1, 2, 3, 4, 5, 6, 7, 16, 25]);
    }

    #[test]
    fn ten_of_one_cause_stand_where_the_fleet_says_so_or_no_other_fits() {
        let ten: Vec<_> = (0..10).collect();
        assert_eq!(
            first_ten(&[("a", 30), ("b", 2), ("c", 1), ("", 7)], 0.99),
            ten
        );
        assert_eq!(first_ten(&[("a", 16), ("b", 9)], 0.8), ten);
        assert_eq!(first_ten(&[("a", 3)], 0.99), [0, 1, 2]);
        assert_eq!(first_ten(&[], 0.99), Vec::<i64>::new());
    }
}
