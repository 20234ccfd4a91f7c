//! Readings that stand still: at a limit of the gauge, repeated by a logger, or held until the gauge answers. Must not
//! import I/O.

use super::tidy::{Mark, MarkKind, Marks, TidyRecord};
use super::wild::SIDES_AGREE;
use crate::vacuum::units::PressureUnit;

/// Fewest equal readings that can be a limit of the gauge.
pub(super) const STUCK: usize = 5;

/// Takes out readings that stand still at the top or bottom of the gauge's range.
pub(super) fn drop_stuck(record: &mut TidyRecord) {
    let n = record.pascals.len();
    if n < 2 * STUCK {
        return;
    }
    let (mut low, mut high) = (f64::INFINITY, 0.0f64);
    for &pressure in &record.pascals {
        low = if pressure < low { pressure } else { low };
        high = if pressure > high { pressure } else { high };
    }
    if low == high {
        return;
    }
    for (limit, kind) in [(high, MarkKind::Saturated), (low, MarkKind::UnderRange)] {
        let at_limit = record.pascals.iter().filter(|p| **p == limit).count();
        if at_limit < STUCK {
            continue;
        }
        // The longest run of readings equal to the limit, and of any other value.
        let (mut longest, mut at, mut other) = (0, 0, 0);
        let mut run = 0;
        for index in 0..n {
            run = if index > 0 && record.pascals[index] == record.pascals[index - 1] {
                run + 1
            } else {
                1
            };
            if record.pascals[index] == limit {
                if run > longest {
                    (longest, at) = (run, index + 1 - run);
                }
            } else {
                other = other.max(run);
            }
        }
        if longest < STUCK || longest < 4 * other {
            continue;
        }
        // A gauge meets its limit at a kink; a pressure that settles does not.
        let width = (longest / 2).max(3);
        let neighbour = match kind {
            MarkKind::Saturated => at.checked_sub(width).map(|index| record.pascals[index]),
            _ => record.pascals.get(at + longest + width - 1).copied(),
        };
        let kinked = neighbour.is_some_and(|pressure| (pressure / limit).ln().abs() > 0.1);
        if !kinked {
            continue;
        }
        let end = if kind == MarkKind::Saturated {
            "top of the gauge's range, or one that was repeated"
        } else {
            "bottom of the gauge's range"
        };
        record.marks.push(Mark {
            kind,
            line: record.lines[at],
            seconds: record.seconds[at],
            words: format!(
                "{longest} readings stand still at {}, the {end}; readings at this limit are not used",
                record.shown(limit)
            ),
        });
        let keep: Vec<bool> = record.pascals.iter().map(|p| *p != limit).collect();
        record.leave_out_still(&keep);
        return;
    }
}

/// Fewest equal readings that are one repeated, where those before scatter.
const REPEATED: usize = 15;
/// Fewest and most readings before them by which their scatter is judged.
const BEFORE: (usize, usize) = (15, 60);
/// The coarsest resolution, in standard deviations of the scatter, at which equal neighbours are rare: less than
/// one in four readings is like the one before, and so many in a row come once in 10⁸ by chance.
const COARSEST: f64 = 0.8;

/// Takes out readings that repeat one to the last figure, where those before scatter beyond their
/// resolution: a logger that has lost its gauge goes on with what it read last, which would look like a rise
/// that has ended.
pub(super) fn drop_repeated(record: &mut TidyRecord) {
    let unit = record.unit;
    let pascals = &record.pascals;
    // Nothing is repeated so often where fewer readings are like the one before.
    if repeats(pascals) + 1 < REPEATED {
        return;
    }
    // Where the least is repeated the gauge may be at its lower limit.
    let least = pascals.iter().copied().fold(f64::INFINITY, f64::min);
    let mut keep = vec![true; pascals.len()];
    let mut marks = Marks::default();
    let mut from = 0;
    while from < pascals.len() {
        let same = |pressure: &&f64| **pressure == pascals[from];
        let count = pascals[from..].iter().take_while(same).count();
        // One that was repeated goes on from those before it; what leaps and stands is none.
        let goes_on = from.checked_sub(1).is_some_and(|before| {
            let before = pascals[before];
            (before / SIDES_AGREE..=before * SIDES_AGREE).contains(&pascals[from])
        });
        if count >= REPEATED
            && pascals[from] > least
            && goes_on
            && scatters(&pascals[from.saturating_sub(BEFORE.1)..=from], unit)
        {
            let at = from + 1;
            marks.note(MarkKind::StandsStill, record.lines[at], record.seconds[at], || {
                format!(
                    "the same reading of {} comes {} times more, where those before scatter; taken as one that was repeated, and not used again",
                    record.shown(pascals[from]),
                    count - 1
                )
            });
            keep[at..from + count].fill(false);
        }
        from += count;
    }
    record.leave_out_still(&keep);
    record.marks.append(&mut marks.finish());
}

/// Whether readings scatter beyond the resolution of the last of them.
///
/// Gauges err by a share, so both are taken of logarithms. The scatter is that of how the steps change, which a
/// rise hardly touches; it has to grow and shrink by turns, which no bend does.
fn scatters(pascals: &[f64], unit: Option<PressureUnit>) -> bool {
    if pascals.len() <= BEFORE.0 {
        return false;
    }
    let logs: Vec<f64> = pascals.iter().map(|pressure| pressure.ln()).collect();
    let mut bends: Vec<f64> = logs
        .windows(3)
        .map(|three| three[2] - 2.0 * three[1] + three[0])
        .collect();
    let turns = bends.windows(2).filter(|two| two[0] * two[1] < 0.0).count();
    if 5 * turns < 2 * bends.len() {
        return false;
    }
    bends.iter_mut().for_each(|bend| *bend = bend.abs());
    let middle = bends.len() / 2;
    let middle = *bends.select_nth_unstable_by(middle, f64::total_cmp).1;
    // Of normal errors: the median of their sizes, and the variance of a sum of one, minus two and one of them.
    let scatter = middle / 0.674_5 / 6.0_f64.sqrt();
    resolution(pascals, unit) <= COARSEST * scatter
}

/// The resolution of the last reading as a share, at most: by the figures that were written, and by how near two
/// different readings come, since a converter's steps may be coarser than what is written.
fn resolution(pascals: &[f64], unit: Option<PressureUnit>) -> f64 {
    let Some(&last) = pascals.last() else {
        return f64::INFINITY;
    };
    let mut sorted = pascals.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let apart = sorted
        .windows(2)
        .filter(|two| two[1] > two[0] * (1.0 + SAME));
    let (share, step) = apart.fold((f64::INFINITY, f64::INFINITY), |(share, step), two| {
        (share.min((two[1] / two[0]).ln()), step.min(two[1] - two[0]))
    });
    // In the unit in which they were written.
    let per_unit = unit.map_or(1.0, PressureUnit::pascals_per_unit);
    let (mut most_figures, mut finest) = (0, f64::INFINITY);
    for pressure in pascals {
        let (figures, place) = figures(pressure / per_unit);
        most_figures = most_figures.max(figures);
        finest = finest.min(place);
    }
    let written = last / per_unit;
    let by_figures = 10_f64.powi(written.log10().floor() as i32 + 1 - most_figures);
    share.max(step / last).max(by_figures.max(finest) / written)
}

/// Two pressures nearer than this are one, converted to pascals in two ways.
const SAME: f64 = 1e-12;

/// How many significant figures a number was written with, and the place of the last of them: `1.25e-6` has three,
/// the last in the place of 1e-8.
fn figures(value: f64) -> (i32, f64) {
    let text = format!("{value:.9e}");
    let (mantissa, power) = text.split_once('e').unwrap_or((&text, "0"));
    let written = mantissa.trim_end_matches('0');
    let count = written.bytes().filter(u8::is_ascii_digit).count() as i32;
    let power: i32 = power.parse().unwrap_or_default();
    (count, 10_f64.powi(power + 1 - count))
}

/// How many values are the same as the one before.
pub(super) fn repeats(values: &[f64]) -> usize {
    values.windows(2).filter(|two| two[0] == two[1]).count()
}

/// Fewest lines that a value is held over, and fewest values that are left.
const HELD: usize = 3;
const VALUES: usize = 20;

/// Keeps the first of equal readings, where values are held over about as many lines each: a gauge that answers more
/// slowly than the logger asks.
pub(super) fn use_held_once(record: &mut TidyRecord) {
    let pascals = &record.pascals;
    if HELD * repeats(pascals) < (HELD - 1) * pascals.len().saturating_sub(HELD) {
        return;
    }
    let lengths: Vec<usize> = pascals
        .chunk_by(|one, next| one == next)
        .map(<[f64]>::len)
        .collect();
    let mut sorted = lengths.clone();
    let (_, usual, _) = sorted.select_nth_unstable(lengths.len() / 2);
    let usual = *usual;
    // Two values may be alike.
    let is_even = |length: &&usize| {
        let values = ((**length as f64) / usual as f64).round().max(1.0);
        (**length as f64 - values * usual as f64).abs() <= values
    };
    let even = lengths.iter().filter(is_even).count();
    if usual < HELD || lengths.len() < VALUES || 10 * even < 9 * lengths.len() {
        return;
    }
    // A slow rise between two figures, or between a converter's steps, stands as evenly, and goes on by equal steps.
    let values: Vec<f64> = pascals
        .chunk_by(|one, next| one == next)
        .map(|run| run[0])
        .collect();
    let logs: Vec<f64> = values.iter().map(|value| value.ln()).collect();
    if goes_by_equal_steps(&values) || goes_by_equal_steps(&logs) {
        return;
    }
    record.marks.push(Mark {
        kind: MarkKind::StandsStill,
        line: record.lines[0],
        seconds: record.seconds[0],
        words: format!(
            "each reading comes about {usual} times, as where the gauge answers more slowly than the logger asks; each is used once, at its first time"
        ),
    });
    let mut keep = vec![false; pascals.len()];
    let mut from = 0;
    for length in lengths {
        keep[from] = true;
        from += length;
    }
    record.retain(&keep);
}

/// Whether most steps from one value to the next are about the same.
fn goes_by_equal_steps(values: &[f64]) -> bool {
    let mut steps: Vec<f64> = values
        .windows(2)
        .map(|two| (two[1] - two[0]).abs())
        .collect();
    let middle = steps.len() / 2;
    let usual = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
    let equal = steps
        .iter()
        .filter(|step| (**step - usual).abs() <= 0.1 * usual);
    2 * equal.count() > steps.len()
}
