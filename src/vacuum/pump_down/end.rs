//! Cuts off what comes after the pump-down: the venting, or a gauge that was switched off.

use super::FROM_ATMOSPHERE;
use super::late::LATE_BEGINS;
use crate::vacuum::log::{MarkKind, TidyRecord};

/// From one reading to the next a pressure rises by less than this factor before the chamber is vented (common practice,
/// no source).
const UNTIL_VENTED: f64 = 1.5;
/// A signal that is lost at the end falls at once by this factor.
const LOST: f64 = 10.0;

/// The record of a pump-down without the venting at its end, and without a signal that is lost there, each with a mark.
pub(crate) fn without_end(record: TidyRecord) -> TidyRecord {
    let Some((from, words)) = vented(&record).or_else(|| lost(&record)) else {
        return record;
    };
    let mark = record.mark_at(from, MarkKind::DroppedReadings, words);
    record.part(0..from, mark)
}

/// From where the pressure rises from high vacuum to atmosphere, to stay there.
fn vented(record: &TidyRecord) -> Option<(usize, String)> {
    let pascals = &record.pascals;
    let last = *pascals.last()?;
    if last < FROM_ATMOSPHERE {
        return None;
    }
    let lowest_at = |pascals: &[f64]| pascals.iter().rposition(|pressure| *pressure < LATE_BEGINS);
    let mut from = lowest_at(pascals)? + 1;
    // The first readings of the rise.
    while from > 1 && pascals[from - 1] > UNTIL_VENTED * pascals[from - 2] {
        from -= 1;
    }
    Some((
        from,
        format!(
            "the pressure rises to {} at the end, as where the chamber is vented; not used from here on",
            record.shown(last)
        ),
    ))
}

/// From where the readings fall at once to a value that they keep to the end.
fn lost(record: &TidyRecord) -> Option<(usize, String)> {
    let pascals = &record.pascals;
    let last = *pascals.last()?;
    let from = pascals.iter().rposition(|pressure| *pressure != last)? + 1;
    let short = 5 * (pascals.len() - from) <= pascals.len();
    (short && pascals[from - 1] > LOST * last && pascals[from - 1] < LATE_BEGINS).then(|| {
        (
            from,
            format!(
                "the reading falls at once to {} and keeps it to the end, as where the gauge is off; not used from here on",
                record.shown(last)
            ),
        )
    })
}
