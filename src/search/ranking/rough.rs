//! The pressures of a segment's cases to a sixteenth of a decade, kept in memory: enough to tell of most
//! cases that none of theirs can be near one asked for, without a look into the columns.

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, PoisonError},
};

use tantivy::{DocId, Searcher, SegmentReader, columnar::Column, index::SegmentId};

use super::rank;
use crate::search::{
    asking::plan::Understood,
    indexed::schema::{BEFORE, FAULT},
    reading::pressure::Told,
};

/// Steps of a decade.
const STEPS: f64 = 16.0;

/// The power of ten of a pascal where they begin; below it and beyond their end is one step each.
const LOWEST: f64 = -11.0;

/// No pressure, and pressures of more steps than are kept.
const NONE: u8 = 0;
const MANY: u8 = u8::MAX;

/// Steps kept of one case.
const KEPT: usize = 2;

/// The pressures of a segment's cases at the fault and before it.
#[derive(Debug)]
pub(in crate::search) struct Rough {
    fault: Vec<[u8; KEPT]>,
    before: Vec<[u8; KEPT]>,
}

/// Of the segments in use.
#[derive(Debug, Default)]
pub(in crate::search) struct Roughs(Mutex<HashMap<SegmentId, Arc<Rough>>>);

/// What the pressures asked for can add to a score at most, by a case's steps.
pub(in crate::search) struct Limits {
    fault: [f32; 256],
    before: [f32; 256],
    /// What they can add by a pressure of another time.
    other: f32,
}

impl Roughs {
    /// Of each segment, made where it is new.
    pub(in crate::search) fn of(&self, searcher: &Searcher) -> Vec<Arc<Rough>> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let segments = searcher.segment_readers();
        kept.retain(|id, _| segments.iter().any(|segment| segment.segment_id() == *id));
        segments
            .iter()
            .map(|segment| {
                let rough = kept
                    .entry(segment.segment_id())
                    .or_insert_with(|| Arc::new(Rough::new(segment)));
                Arc::clone(rough)
            })
            .collect()
    }
}

impl Rough {
    fn new(segment: &SegmentReader) -> Self {
        let steps = |name: &str| {
            let column = segment.fast_fields().f64(name).ok();
            let cases = 0..segment.max_doc();
            cases.map(|case| steps_of(column.as_ref(), case)).collect()
        };
        Self {
            fault: steps(FAULT),
            before: steps(BEFORE),
        }
    }
}

impl Limits {
    pub(in crate::search) fn new(asked: &Understood) -> Self {
        let mut limits = Self {
            fault: [0.0; 256],
            before: [0.0; 256],
            other: 0.0,
        };
        for pressure in &asked.pressures {
            let other = asked.weights.pressure * rank::OTHER_TIME as f32;
            let steps = match pressure.reading.told {
                Told::Now => &mut limits.fault,
                Told::Before => &mut limits.before,
                Told::Aside => continue,
                Told::Elsewhere => {
                    limits.other += asked.weights.pressure;
                    continue;
                }
            };
            for (step, most) in steps.iter_mut().enumerate().skip(1) {
                let (low, high) = match step as u8 {
                    MANY => (f64::NEG_INFINITY, f64::INFINITY),
                    step => ends(step),
                };
                let closest = rank::closest(&pressure.reading, low, high) as f32;
                *most += (asked.weights.pressure * closest - other).max(0.0);
            }
            limits.other += other;
        }
        limits
    }

    /// What a case's pressures can add at most.
    pub(in crate::search) fn of(&self, rough: &Rough, case: DocId) -> f32 {
        let fault = rough.fault[case as usize].map(|step| self.fault[usize::from(step)]);
        let before = rough.before[case as usize].map(|step| self.before[usize::from(step)]);
        // A little more, since sums are rounded.
        1.0001 * (self.other + fault.iter().sum::<f32>() + before.iter().sum::<f32>())
    }
}

fn steps_of(column: Option<&Column<f64>>, case: DocId) -> [u8; KEPT] {
    let mut kept = [NONE; KEPT];
    for power in column.iter().flat_map(|column| column.values_for_doc(case)) {
        let step = step(power);
        if kept.contains(&step) {
            continue;
        }
        match kept.iter_mut().find(|kept| **kept == NONE) {
            Some(free) => *free = step,
            None => return [MANY, NONE],
        }
    }
    kept
}

fn step(power: f64) -> u8 {
    let step = ((power - LOWEST) * STEPS).floor() + 2.0;
    step.clamp(1.0, f64::from(MANY - 1)) as u8
}

/// The ends between which the pressures of a step lie.
fn ends(step: u8) -> (f64, f64) {
    let end = |step: u8| LOWEST + (f64::from(step) - 2.0) / STEPS;
    let low = if step <= 1 {
        f64::NEG_INFINITY
    } else {
        end(step)
    };
    let high = if step >= MANY - 1 {
        f64::INFINITY
    } else {
        end(step + 1)
    };
    (low, high)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn a_pressure_lies_between_the_ends_of_its_step(power in -40.0_f64..40.0) {
            let (low, high) = ends(step(power));
            prop_assert!(low <= power && power <= high);
        }
    }
}
