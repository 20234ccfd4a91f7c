//! Where one test begins and ends in a record: between two openings of the valve, after readings that lag, and below
//! the pressure up to which a leak flows steadily.
//!
//! No chamber that is shut loses most of its pressure from one reading to the next, and no leak and no gas from inside
//! rises faster later than sooner. Must not import I/O.

use super::examine::scatter_of;
use super::reduce::Block;
use crate::vacuum::log::{MarkKind, TidyRecord, any_apart};

/// A fall by this factor within [`AT_ONCE`] readings is that of a valve that opens (common practice, no source).
const FALL: f64 = 10.0;
const AT_ONCE: usize = 3;
/// Readings before the first such fall, up to which they are no test of their own.
const FEW: usize = 3;
/// What rises by less is no test (see [`super::examine::LEAST_FACTOR`]).
const RISES: f64 = super::examine::LEAST_FACTOR;

/// The record up to its first reading above `highest`, with a mark, where these are as many and last as long as a test
/// needs.
pub(super) fn below(
    record: &TidyRecord,
    highest: f64,
    readings: usize,
    lasts: f64,
) -> Option<TidyRecord> {
    let above = |pressure: &f64| *pressure > highest;
    if !any_apart(&record.pascals, 0, |pressure, _| above(&pressure)) {
        return None;
    }
    let first = record.pascals.iter().position(above)?;
    let last = first.checked_sub(1)?;
    if first < readings || record.seconds[last] - record.seconds[0] < lasts {
        return None;
    }
    let words = format!(
        "the pressure comes to {}; above {} a leak no longer flows steadily, and later readings are not used",
        record.shown(record.pascals[first]),
        record.shown(highest)
    );
    Some(record.part(0..first, record.mark_at(first, MarkKind::TooHigh, words)))
}

/// The longest test of a record that holds several, or whose first readings stand far above the rest, with a mark;
/// `None` where there is one.
pub(super) fn between_falls(record: &TidyRecord) -> Option<TidyRecord> {
    let pascals = &record.pascals;
    let falls = |before: f64, low: f64| low * FALL < before;
    if !(1..=AT_ONCE).any(|readings| any_apart(pascals, readings, falls)) {
        return None;
    }
    // Each fall: the last reading before it and the lowest after.
    let mut falls: Vec<(usize, usize)> = Vec::new();
    let mut at = 0;
    while at + 1 < pascals.len() {
        let behind = &pascals[at + 1..(at + 1 + AT_ONCE).min(pascals.len())];
        let Some(after) = behind.iter().position(|low| *low * FALL < pascals[at]) else {
            at += 1;
            continue;
        };
        let mut low = at + 1 + after;
        while pascals
            .get(low + 1)
            .is_some_and(|next| 1.5 * next < pascals[low])
        {
            low += 1;
        }
        // The first readings of a fall are no part of the rise before it.
        let mut last = at;
        while last > 0 && pascals[last] < 0.9 * pascals[last - 1] {
            last -= 1;
        }
        falls.push((last, low));
        at = low;
    }
    if falls.is_empty() {
        return None;
    }
    let ends = falls
        .iter()
        .map(|(last, _)| last + 1)
        .chain([pascals.len()]);
    let starts = [0].into_iter().chain(falls.iter().map(|(_, low)| *low));
    let rising: Vec<(usize, usize)> = starts
        .zip(ends)
        .filter(|&(from, to)| to > from + FEW && rises(&pascals[from..to]))
        .collect();
    let seconds = &record.seconds;
    let length = |&(from, to): &(usize, usize)| seconds[to - 1] - seconds[from];
    let &(from, to) = rising
        .iter()
        .max_by(|one, other| length(one).total_cmp(&length(other)))?;
    // A fall after which nothing rises is the opening at the end.
    if from == 0 && rising.len() == 1 {
        return None;
    }
    let (kind, place, words) = if from > 0
        && falls[0].1 <= FEW + 1
        && from == falls[0].1
        && to == pascals.len()
    {
        (
            MarkKind::DroppedReadings,
            0,
            format!(
                "the first readings, up to {:.0} s, stand more than {FALL} times above those behind them, as before the valve was shut or where a gauge was just switched on; not used",
                seconds[from]
            ),
        )
    } else {
        (
            MarkKind::ValveOpened,
            falls[0].1,
            format!(
                "the pressure falls at once by more than {FALL} times and rises again, as where the valve was opened between two tests; of {} tests the longest, from {:.0} to {:.0} s, is judged",
                rising.len().max(2),
                seconds[from],
                seconds[to - 1]
            ),
        )
    };
    Some(record.part(from..to, record.mark_at(place, kind, words)))
}

/// Whether the last of these readings lie above the first.
fn rises(pascals: &[f64]) -> bool {
    let low = pascals
        .iter()
        .take(FEW)
        .copied()
        .fold(f64::INFINITY, f64::min);
    let high = pascals
        .iter()
        .rev()
        .take(FEW)
        .copied()
        .fold(f64::INFINITY, f64::min);
    high > RISES * low
}

/// The share of the record by which a slow start has to be over (common practice, no source): one that goes on for
/// longer lies in the body of the test, and is doubted there.
const LATEST: f64 = 0.1;
/// First readings stand so many standard errors above the line of those behind them before any are cut off; they are cut
/// off until none stand as many as the second above it.
const SURE: f64 = 6.0;
const LEFT: f64 = 2.5;
/// Wander of a gauge's gain from the first readings to those behind them (common practice, no source).
const WANDER: f64 = 0.02;
/// A line is laid through blocks over this many times the time before it, and through this many at least.
const REACH: f64 = 3.0;
const FEWEST: usize = 5;

/// The record after a start that is slower than what follows, with a mark: a valve that takes seconds to shut, a gauge
/// that lags, a logger that was started before; `None` where no start is, or it takes longer than [`LATEST`].
pub(super) fn after_slow_start(record: &TidyRecord, blocks: &[Block]) -> Option<TidyRecord> {
    let scatter = scatter_of(blocks);
    if !starts_slowly(blocks, scatter, SURE) {
        return None;
    }
    let first = blocks.first()?.at;
    let cut = (1..blocks.len())
        .take_while(|cut| blocks[*cut].at - first <= LATEST)
        .find(|cut| !starts_slowly(&blocks[*cut..], scatter, LEFT))?;
    let index = blocks[cut].first;
    let words = format!(
        "up to {:.1} s the pressure rises more slowly than after it: the valve was not shut yet, or the gauge lags; earlier readings are not used",
        record.seconds[index]
    );
    let mark = record.mark_at(index, MarkKind::ValveClosedLate, words);
    Some(record.part(index..record.seconds.len(), mark))
}

/// Whether the first of the blocks, one or more, stand above the line through those behind them by so many standard
/// errors.
fn starts_slowly(blocks: &[Block], scatter: f64, errors: f64) -> bool {
    let Some(first) = blocks.first() else {
        return false;
    };
    (1..blocks.len())
        .take_while(|count| blocks[*count].at - first.at <= LATEST)
        .any(|count| {
            let (early, behind) = blocks.split_at(count);
            let reach = behind[0].at + REACH * (behind[0].at - first.at);
            let near = behind.partition_point(|block| block.at <= reach);
            let near = &behind[..near.max(FEWEST).min(behind.len())];
            near.len() >= FEWEST && stand_above(early, near, scatter) > errors
        })
}

/// By how many standard errors blocks stand above the line through those behind them.
fn stand_above(early: &[Block], behind: &[Block], scatter: f64) -> f64 {
    let level = |block: &Block| block.log_pressure.exp();
    // Readings err by a share, so each weighs as one over its square.
    let weight = |block: &Block| block.count / level(block).powi(2);
    let mean = |of: &dyn Fn(&Block) -> f64, blocks: &[Block]| {
        let sum: f64 = blocks.iter().map(|block| weight(block) * of(block)).sum();
        sum / blocks.iter().map(weight).sum::<f64>()
    };
    let at = |block: &Block| block.at;
    let (middle, height) = (mean(&at, behind), mean(&level, behind));
    let spread = mean(&|block| (block.at - middle).powi(2), behind);
    if spread.is_nan() || spread <= 0.0 {
        return 0.0;
    }
    let slope = mean(
        &|block| (block.at - middle) * (level(block) - height),
        behind,
    ) / spread;
    let (here, stands) = (mean(&at, early), mean(&level, early));
    let line = height + slope * (here - middle);
    let variance = |blocks: &[Block]| scatter * scatter / blocks.iter().map(weight).sum::<f64>();
    let error = variance(early)
        + variance(behind) * (1.0 + (here - middle).powi(2) / spread)
        + (WANDER * stands).powi(2);
    (stands - line) / error.sqrt()
}
