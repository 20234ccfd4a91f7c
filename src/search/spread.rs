//! Orders the first hits by all that is known of them and by what they say together, and puts
//! cases told alike together.
//!
//! To the worth of words and pressures, as a share of the best, comes what the circumstances share.
//! The gain by words told alike falls with the third power of the likeness, so that in long texts,
//! never that alike, it says next to nothing. Outcomes of checks raise and lower the cases of a cause.
//!
//! A cause that many of the nearest cases share is likelier than one that a single case names,
//! so its cases gain.
//! A cause named again counts for a little less each time, so that ten hits are one cause
//! ten times only where that cause fits far better than any other.

use std::collections::{BTreeMap, BTreeSet, HashMap, VecDeque, hash_map::Entry};

use tantivy::{
    DocAddress, DocId, Searcher, SegmentReader,
    columnar::{Column, StrColumn},
    schema::Field,
};

use super::{
    Hit, SearchError,
    circumstances::{Circumstances, OfSegment, Worths},
    plan::Understood,
    query::Numbers,
    schema::{ALIKE, CAUSE, SURFACE},
    surface,
};

/// The order of so many first hits is looked at.
pub(super) const LOOKED_AT: usize = 200;

/// However much speaks against a case, it stays above nothing.
const LEAST: f32 = 1e-3;

/// How fast a case's say falls with its score.
const SAY: i32 = 6;

struct Candidate {
    hit: Hit,
    cause: String,
}

/// Orders what was found, best first.
pub(super) fn out(
    searcher: &Searcher,
    known: Field,
    asked: &Understood,
    found: Vec<(f32, DocAddress)>,
) -> Result<Vec<Hit>, SearchError> {
    let best = found.first().map_or(0.0, |(worth, _)| *worth);
    let scale = if best > 0.0 { best.recip() } else { 1.0 };
    let mut found = found.into_iter().map(|(worth, at)| (worth * scale, at));
    let looked_at: Vec<_> = found.by_ref().take(LOOKED_AT).collect();
    let weighed = weighed(searcher, known, asked, looked_at)?;
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
    let mut hits = spread(near, asked.weights.again);
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
    known: Field,
    asked: &Understood,
    found: Vec<(f32, DocAddress)>,
) -> Result<Vec<(u64, BTreeSet<u64>, Candidate)>, SearchError> {
    let worths = Worths::new(searcher, known, &asked.circumstances, &asked.weights)?;
    let mut segments: HashMap<u32, Columns> = HashMap::new();
    let mut weighed = Vec::with_capacity(found.len());
    for (words, address) in found {
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
        let worth = words * (1.0 + asked.weights.likeness * likeness)
            + columns.circumstances.worth(case)
            + asked.weights.tells * tells;
        let leaning = (asked.weights.outcome * asked.leaning.of(&cause)).exp();
        let hit = Hit {
            number,
            score: worth.max(LEAST) * leaning,
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

fn spread(near: Vec<Candidate>, worth_again: f32) -> Vec<Hit> {
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
        hits.push(Hit {
            score,
            ..near[place].hit.clone()
        });
    }
    hits
}
