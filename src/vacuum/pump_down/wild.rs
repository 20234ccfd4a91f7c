//! Takes out readings that no pressure of a chamber gives: single ones far above their neighbours, and what comes
//! after the pump-down.

use super::FROM_ATMOSPHERE;
use super::late::LATE_BEGINS;
use crate::vacuum::log::{Mark, MarkKind, TidyRecord};

/// The most readings together that are wild; more are a rise of the pressure.
const MOST: usize = 2;
/// A wild reading is above the one before by this factor and more, and the one behind it is at most
/// [`SIDES_AGREE`] times that (common practice, no source).
const ABOVE: f64 = 3.0;
const SIDES_AGREE: f64 = 1.5;
/// The most such places that are listed.
const LISTED: usize = 20;
/// A signal that is lost at the end falls at once by this factor.
const LOST: f64 = 10.0;

/// The record of a pump-down without wild readings, without the venting at its end, and without a signal that is lost
/// there, each with a mark.
pub(crate) fn without_wild(record: TidyRecord) -> TidyRecord {
    without_end(without_spikes(record))
}

fn without_spikes(mut record: TidyRecord) -> TidyRecord {
    let pascals = &record.pascals;
    let mut keep = vec![true; pascals.len()];
    let mut marks: Vec<Mark> = Vec::new();
    let mut unlisted = 0;
    let mut at = 1;
    while at < pascals.len() {
        let before = pascals[at - 1];
        let count = pascals[at..]
            .iter()
            .take(MOST + 1)
            .take_while(|pressure| **pressure > ABOVE * before)
            .count();
        let is_back = pascals
            .get(at + count)
            .is_none_or(|behind| *behind <= SIDES_AGREE * before);
        if (1..=MOST).contains(&count) && is_back {
            keep[at..at + count].fill(false);
            if marks.len() < LISTED {
                marks.push(mark(
                    &record,
                    at,
                    format!(
                        "{} at {:.1e} Pa where the one before is at {before:.1e} Pa, as of a gauge that strikes again, a signal that is disturbed or a short burst of gas; not used",
                        if count == 1 { "one reading stands" } else { "two readings stand" },
                        pascals[at]
                    ),
                ));
            } else {
                unlisted += 1;
            }
        }
        at += count.max(1);
    }
    if let Some(last) = marks.last_mut()
        && unlisted > 0
    {
        last.words
            .push_str(&format!(" (and {unlisted} more such places)"));
    }
    record.retain(&keep);
    record.marks.append(&mut marks);
    record
}

fn mark(record: &TidyRecord, at: usize, words: String) -> Mark {
    Mark {
        kind: MarkKind::DroppedReadings,
        line: record.lines[at],
        seconds: record.seconds[at],
        words,
    }
}

/// Cuts the venting after the pump-down, or the readings of a gauge that was switched off.
fn without_end(mut record: TidyRecord) -> TidyRecord {
    let Some((from, words)) = vented(&record.pascals).or_else(|| lost(&record.pascals)) else {
        return record;
    };
    let mark = mark(&record, from, words);
    record.marks.push(mark);
    record.seconds.truncate(from);
    record.pascals.truncate(from);
    record.lines.truncate(from);
    record
}

/// From where the pressure rises from high vacuum to atmosphere, to stay there.
fn vented(pascals: &[f64]) -> Option<(usize, String)> {
    let last = *pascals.last()?;
    if last < FROM_ATMOSPHERE {
        return None;
    }
    let lowest_at = |pascals: &[f64]| pascals.iter().rposition(|pressure| *pressure < LATE_BEGINS);
    let mut from = lowest_at(pascals)? + 1;
    // The first readings of the rise.
    while from > 1 && pascals[from - 1] > SIDES_AGREE * pascals[from - 2] {
        from -= 1;
    }
    Some((
        from,
        format!(
            "the pressure rises to {last:.1e} Pa at the end, as where the chamber is vented; not used from here on"
        ),
    ))
}

/// From where the readings fall at once to a value that they keep to the end.
fn lost(pascals: &[f64]) -> Option<(usize, String)> {
    let last = *pascals.last()?;
    let from = pascals.iter().rposition(|pressure| *pressure != last)? + 1;
    let short = 5 * (pascals.len() - from) <= pascals.len();
    (short && pascals[from - 1] > LOST * last && pascals[from - 1] < LATE_BEGINS).then(|| {
        (
            from,
            format!(
                "the reading falls at once to {last:.1e} Pa and keeps it to the end, as where the gauge is off; not used from here on"
            ),
        )
    })
}
