//! Readings that no pressure of a chamber gives: they jump up or fall and come back at once, or are marks for
//! over-range. Must not import I/O.

use super::tidy::{Mark, MarkKind, Marks, TidyRecord};

/// A reading above the one before by this factor and more, with the pressure back behind it, is none of a chamber's
/// pressure (common practice, no source); a burst of gas may look so where readings come seldom.
const WILD: f64 = 3.0;
/// The most such readings in a row; more are a rise of the pressure.
const LONGEST_WILD: usize = 2;
/// Readings before the last ones by which these may be wild, without any behind them.
const BEFORE_LAST: usize = 5;

/// Takes out readings that jump up at once and are back at the next, as of a head that strikes again or a mark for
/// over-range that was written as a number; at the end of a log, those that jump up alone.
pub(super) fn drop_wild(record: &mut TidyRecord) {
    let pascals = &record.pascals;
    if !any_apart(pascals, 1, |before, reading| reading > WILD * before) {
        return;
    }
    let mut keep = vec![true; pascals.len()];
    let mut marks = Marks::default();
    let mut at = 1;
    while at < pascals.len() {
        let Some(count) = wild_from(pascals, at) else {
            at += 1;
            continue;
        };
        marks.note(MarkKind::DroppedReadings, record.lines[at], record.seconds[at], || {
            let readings = if count == 1 { "one reading" } else { "two readings" };
            let came_back = match pascals.get(at + count) {
                Some(_) => format!("is back {readings} later"),
                None => format!("ends {readings} later"),
            };
            format!(
                "the reading jumps at once from {} to {} and {came_back}: a wild reading, or a short burst of gas; not used",
                record.shown(pascals[at - 1]),
                record.shown(pascals[at])
            )
        });
        keep[at..at + count].fill(false);
        at += count + 1;
    }
    record.retain(&keep);
    record.marks.append(&mut marks.finish());
}

/// Whether any pair of readings, one so many places behind the other, is so. Looks at all of them, without a branch in
/// between: most logs hold none, and are soon told.
pub(in crate::vacuum) fn any_apart(
    pascals: &[f64],
    places: usize,
    is_so: impl Fn(f64, f64) -> bool,
) -> bool {
    let behind = pascals.get(places..).unwrap_or_default();
    let pairs = pascals.iter().zip(behind);
    pairs.fold(false, |any, (one, other)| any | is_so(*one, *other))
}

/// How many readings from this place on are wild, if any.
fn wild_from(pascals: &[f64], at: usize) -> Option<usize> {
    let before = pascals[at - 1];
    let most = LONGEST_WILD.min(pascals.len() - at);
    let jump = pascals[at..at + most]
        .iter()
        .take_while(|pressure| **pressure > WILD * before)
        .count();
    (1..=jump).find(|count| {
        let (jump, behind) = pascals[at..].split_at(*count);
        let is_below = |pressure: f64| pressure <= before * SIDES_AGREE;
        match behind {
            [] => at >= BEFORE_LAST,
            [next] => is_below(*next),
            // Where the next alone lies far below both, that one is the odd one.
            [next, later, ..] if is_below(*next) => *next * DIP >= before || is_below(*later),
            // In a steep rise the next is above the one before the jump; a burst that is pumped away falls on.
            [next, later, ..] => {
                !is_below(*next)
                    && later >= next
                    && jump.iter().all(|pressure| *pressure > WILD * next)
            }
        }
    })
}

/// No gauge of a vacuum shows more than this, Pa, not even with its scale or the unit of its log off: an atmosphere in bar
/// for mbar is a tenth (common practice, no source).
const HIGHEST_SHOWN: f64 = 1e9;

/// Takes out marks for over-range that were written as numbers; where most are as high, the unit is wrong, and they stay.
pub(super) fn drop_over_range(record: &mut TidyRecord) {
    let is_over = |pressure: &f64| *pressure > HIGHEST_SHOWN;
    if !any_apart(&record.pascals, 0, |pressure, _| is_over(&pressure)) {
        return;
    }
    let count = record
        .pascals
        .iter()
        .filter(|pressure| is_over(pressure))
        .count();
    let Some(first) = record.pascals.iter().position(is_over) else {
        return;
    };
    if 2 * count > record.pascals.len() {
        return;
    }
    record.marks.push(Mark {
        kind: MarkKind::Saturated,
        line: record.lines[first],
        seconds: record.seconds[first],
        words: format!(
            "{count} readings above {}, which no vacuum gauge shows: a mark for over-range; not used",
            record.shown(HIGHEST_SHOWN)
        ),
    });
    let keep: Vec<bool> = record
        .pascals
        .iter()
        .map(|pressure| !is_over(pressure))
        .collect();
    record.retain(&keep);
}

/// The most readings of one dip.
const LONGEST_DIP: usize = 20;
/// A reading of a dip is below those on both sides by this factor and more (common practice, no source).
const DIP: f64 = 3.0;
/// Those on both sides agree within this factor.
pub(super) const SIDES_AGREE: f64 = 1.5;

/// Takes out readings that fall at once and come back at once, as where a gauge's signal drops out: no pressure of
/// a chamber does.
pub(super) fn drop_dips(record: &mut TidyRecord) {
    let pascals = &record.pascals;
    if !any_apart(pascals, 1, |before, reading| reading * DIP < before) {
        return;
    }
    let mut keep = vec![true; pascals.len()];
    let mut marks = Marks::default();
    let mut at = 1;
    while at < pascals.len() {
        let before = pascals[at - 1];
        if pascals[at] * DIP >= before {
            at += 1;
            continue;
        }
        let low = |pressure: &&f64| **pressure * DIP < before;
        let count = pascals[at..]
            .iter()
            .take(LONGEST_DIP + 1)
            .take_while(low)
            .count();
        let behind = pascals.get(at + count);
        // Over a reading or two a steep rise goes on.
        let most = match count {
            ..=LONGEST_WILD => f64::INFINITY,
            _ => before * SIDES_AGREE,
        };
        let is_back = behind.is_some_and(|behind| (before / SIDES_AGREE..=most).contains(behind));
        if is_back && count <= LONGEST_DIP {
            marks.note(MarkKind::DroppedReadings, record.lines[at], record.seconds[at], || {
                format!(
                    "the reading falls at once to {} and comes back {} later, as where the signal drops out; not used in between",
                    record.shown(pascals[at]),
                    if count == 1 { "one reading".to_owned() } else { format!("{count} readings") }
                )
            });
            keep[at..at + count].fill(false);
        }
        at += count.max(1);
    }
    record.retain(&keep);
    record.marks.append(&mut marks.finish());
}
