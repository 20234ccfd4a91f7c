//! Puts a log's readings in an order that can be analysed, and marks what was odd.
//!
//! Sets clock jumps right, keeps repeated times, finds dropped readings and readings stuck at a
//! limit of the gauge. Each change is a [`Mark`] with its line. Must not import I/O.

use super::PressureLog;
use super::forward::{self, Forward};
use crate::vacuum::units::PressureUnit;

/// Something odd in a record, shown on the plot and in the list beside it.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Mark {
    /// What it is.
    pub kind: MarkKind,
    /// Line of the log.
    pub line: u32,
    /// Seconds from the first reading of the log.
    pub seconds: f64,
    /// What was seen and what became of it, in words.
    pub words: String,
}

/// Kinds of oddity in a record of pressures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum MarkKind {
    /// The clock jumped.
    ClockJump,
    /// Several readings carry one time.
    RepeatedTime,
    /// Readings are missing.
    DroppedReadings,
    /// The gauge stood at the top of its range.
    Saturated,
    /// The gauge stood at the bottom of its range.
    UnderRange,
    /// Readings that scattered before stand still, as when the logger repeats the last it has.
    StandsStill,
    /// The reading stepped as if the gauge had changed its range or sensor.
    Crossover,
    /// The pressure fell in a sealed chamber, as when a cold cathode gauge pumps.
    GaugePumps,
    /// The rise began after the record.
    ValveClosedLate,
    /// The record ends with a fall, as when the valve is opened again.
    ValveOpened,
    /// The rise quickens.
    Quickens,
}

/// Readings in order of time, with marks.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TidyRecord {
    /// Seconds from the first reading; never falls.
    pub seconds: Vec<f64>,
    /// Pressures in Pa, above zero.
    pub pascals: Vec<f64>,
    /// Line of each reading.
    pub lines: Vec<u32>,
    /// What was odd.
    pub marks: Vec<Mark>,
}

impl TidyRecord {
    /// Whether it is what its fields say: as many of each, times that never fall, pressures above zero,
    /// all of them finite and within 1e-30 to 1e30.
    pub fn is_in_order(&self) -> bool {
        let count = self.seconds.len();
        self.pascals.len() == count
            && self.lines.len() == count
            && in_order(&self.seconds, &self.pascals)
    }

    /// Keeps those readings, one flag for each; marks stay.
    pub(in crate::vacuum) fn retain(&mut self, keep: &[bool]) {
        if keep.iter().all(|keep| *keep) {
            return;
        }
        let mut kept = keep.iter();
        self.seconds.retain(|_| kept.next() != Some(&false));
        let mut kept = keep.iter();
        self.lines.retain(|_| kept.next() != Some(&false));
        let mut kept = keep.iter();
        self.pascals.retain(|_| kept.next() != Some(&false));
    }
}

/// The shortest time, s, over which anything can be fitted.
pub(in crate::vacuum) const SHORTEST_SPAN: f64 = 1e-6;

/// Whether times never fall and pressures are above zero, all finite and within 1e-30 to 1e30.
pub(in crate::vacuum) fn in_order(seconds: &[f64], pascals: &[f64]) -> bool {
    seconds.len() == pascals.len()
        && seconds.is_sorted()
        && seconds.first().is_none_or(|first| *first >= -1e30)
        && seconds.last().is_none_or(|last| *last <= 1e30)
        && pascals
            .iter()
            .all(|pressure| (1e-30..=1e30).contains(pressure))
}

/// A step this many times the usual one is a gap.
const GAP: f64 = 5.0;
/// Fewest equal readings that can be a limit of the gauge.
const STUCK: usize = 5;
/// The most marks of one kind that are listed.
const LISTED: usize = 20;

/// Sets the readings of a log in order and marks what was odd.
pub fn tidy(log: PressureLog) -> TidyRecord {
    let unit = log.unit;
    let mut record = TidyRecord {
        seconds: log.seconds,
        pascals: log.pascals,
        lines: log.lines,
        marks: Vec::new(),
    };
    let usual = usual_step(&record.seconds);
    straighten(&mut record, usual);
    drop_wild(&mut record);
    drop_dips(&mut record);
    drop_stuck(&mut record);
    drop_repeated(&mut record, unit);
    record
}

/// The most steps that are looked at for the usual one.
const LOOKED_AT: usize = 4096;

/// The median of the steps above zero, of a long record of [`LOOKED_AT`] steps spread over it; zero if
/// there is none.
fn usual_step(seconds: &[f64]) -> f64 {
    let all = seconds.len().saturating_sub(1);
    // Places by the golden ratio are even and fall in with no rhythm of a logger.
    let place = |index: usize| match all {
        ..=LOOKED_AT => index,
        _ => ((index as f64 * 0.618_033_988_749_894_9).fract() * all as f64) as usize,
    };
    let mut steps: Vec<f64> = (0..all.min(LOOKED_AT))
        .map(place)
        .map(|at| seconds[at + 1] - seconds[at])
        .filter(|step| *step > 0.0)
        .collect();
    if steps.is_empty() {
        return 0.0;
    }
    let middle = steps.len() / 2;
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Steps on each side of one that say what is usual there.
const NEIGHBOURS: usize = 5;

/// The step that is usual around that to the reading `index`: the larger of the medians of those before and
/// behind it, since a logger may be set to another rate.
fn usual_around(seconds: &[f64], index: usize) -> f64 {
    let median = |readings: &[f64]| {
        let mut steps: Vec<f64> = readings.windows(2).map(|two| two[1] - two[0]).collect();
        steps.retain(|step| *step > 0.0);
        steps.sort_unstable_by(f64::total_cmp);
        steps.get(steps.len() / 2).copied().unwrap_or(0.0)
    };
    let before = &seconds[index.saturating_sub(NEIGHBOURS + 1)..index];
    let behind = &seconds[index..(index + NEIGHBOURS + 1).min(seconds.len())];
    median(before).max(median(behind))
}

fn straighten(record: &mut TidyRecord, everywhere: f64) {
    let Some(&origin) = record.seconds.first() else {
        return;
    };
    let mut shift = -origin;
    let mut before = origin;
    let mut marks = Marks::default();
    let mut last_repeat: Option<usize> = None;
    for index in 0..record.seconds.len() {
        let raw = record.seconds[index];
        let step = raw - before;
        let (line, at) = (record.lines[index], before + shift);
        let mut usual = everywhere;
        if step > GAP * everywhere {
            let here = usual_around(&record.seconds, index);
            // Within twice of each other they are the same rate.
            if here > 2.0 * everywhere {
                usual = here;
            }
        }
        if step < 0.0 {
            shift += usual - step;
            marks.note(MarkKind::ClockJump, line, at, || {
                format!(
                    "the clock went back by {}; the readings after it are taken to follow without a pause",
                    duration(-step)
                )
            });
        } else if index > 0 && step == 0.0 {
            if last_repeat != Some(index - 1) {
                marks.note(MarkKind::RepeatedTime, line, at, || {
                    "a time stands twice; both readings are used".to_owned()
                });
            }
            last_repeat = Some(index);
        } else if usual > 0.0 && step > GAP * usual {
            let change = (record.pascals[index] / record.pascals[index - 1])
                .ln()
                .abs();
            let hour = (step - 3600.0).abs() <= 2.0 * usual + 2.0;
            // Times before are in order already, those from here on as logged.
            let told = forward::told_by_pressure(
                (&record.seconds[..index], &record.pascals[..index]),
                (&record.seconds[index..], &record.pascals[index..]),
                step,
                usual,
            );
            match told {
                Some(Forward::Clock) => {
                    shift -= step - usual;
                    marks.note(MarkKind::ClockJump, line, at, || {
                        format!(
                            "the clock went forward by {} while the pressure went on as if no time had passed; taken as a clock change",
                            duration(step - usual)
                        )
                    });
                }
                Some(Forward::Time) => marks.note(MarkKind::DroppedReadings, line, at, || {
                    format!(
                        "no readings for {}, where one comes every {}, and the pressure went on meanwhile",
                        duration(step),
                        duration(usual)
                    )
                }),
                None if hour && change < 0.2 => {
                    shift -= step - usual;
                    marks.note(MarkKind::ClockJump, line, at, || {
                        "the clock went forward by an hour while the pressure hardly moved; taken as a clock change".to_owned()
                    });
                }
                None => marks.note(MarkKind::DroppedReadings, line, at, || {
                    format!(
                        "no readings for {}, where one comes every {}, or a clock that jumped: the pressure does not tell which; taken as missing readings",
                        duration(step),
                        duration(usual)
                    )
                }),
            }
        }
        before = raw;
        record.seconds[index] = raw + shift;
    }
    record.marks.append(&mut marks.finish());
}

/// A reading above those on both sides by this factor and more is none of a chamber's pressure, which does not come
/// back as soon (common practice, no source); a burst of gas may look so where readings come seldom.
const WILD: f64 = 10.0;
/// The most such readings in a row.
const LONGEST_WILD: usize = 2;

/// Takes out readings that jump up at once and are back at the next, as of a head that strikes again or a mark for
/// over-range that was written as a number.
fn drop_wild(record: &mut TidyRecord) {
    let pascals = &record.pascals;
    let mut keep = vec![true; pascals.len()];
    let mut marks = Marks::default();
    let mut at = 1;
    while at + 1 < pascals.len() {
        let before = pascals[at - 1];
        if pascals[at] <= WILD * before {
            at += 1;
            continue;
        }
        let high = |pressure: &&f64| **pressure > WILD * before;
        let count = pascals[at..]
            .iter()
            .take(LONGEST_WILD + 1)
            .take_while(high)
            .count();
        let is_back = pascals
            .get(at + count)
            .is_some_and(|behind| (before / SIDES_AGREE..=before * SIDES_AGREE).contains(behind));
        if is_back && count <= LONGEST_WILD {
            marks.note(MarkKind::DroppedReadings, record.lines[at], record.seconds[at], || {
                format!(
                    "the reading jumps at once to {:.1e} Pa and is back {} later: a wild reading, or a short burst of gas; not used",
                    pascals[at],
                    if count == 1 { "one reading" } else { "two readings" }
                )
            });
            keep[at..at + count].fill(false);
        }
        at += count.max(1);
    }
    record.retain(&keep);
    record.marks.append(&mut marks.finish());
}

/// The most readings of one dip.
const LONGEST_DIP: usize = 20;
/// A reading of a dip is below those on both sides by this factor and more (common practice, no source).
const DIP: f64 = 3.0;
/// Those on both sides agree within this factor.
const SIDES_AGREE: f64 = 1.5;

/// Takes out readings that fall at once and come back at once, as where a gauge's signal drops out: no pressure of
/// a chamber does.
fn drop_dips(record: &mut TidyRecord) {
    let pascals = &record.pascals;
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
        let is_back = behind
            .is_some_and(|behind| (before / SIDES_AGREE..=before * SIDES_AGREE).contains(behind));
        if is_back && count <= LONGEST_DIP {
            marks.note(MarkKind::DroppedReadings, record.lines[at], record.seconds[at], || {
                format!(
                    "the reading falls at once to {:.1e} Pa and comes back {} later, as where the signal drops out; not used in between",
                    pascals[at],
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

/// Takes out readings that stand still at the top or bottom of the gauge's range.
fn drop_stuck(record: &mut TidyRecord) {
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
                "{longest} readings stand still at {limit:.3e} Pa, the {end}; readings at this limit are not used"
            ),
        });
        let keep: Vec<bool> = record.pascals.iter().map(|p| *p != limit).collect();
        record.retain(&keep);
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
fn drop_repeated(record: &mut TidyRecord, unit: Option<PressureUnit>) {
    let pascals = &record.pascals;
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
                    "the same reading of {:.3e} Pa comes {} times more, where those before scatter; taken as one that was repeated, and not used again",
                    pascals[from],
                    count - 1
                )
            });
            keep[at..from + count].fill(false);
        }
        from += count;
    }
    record.retain(&keep);
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

/// Marks by kind, with a last one that counts those not listed.
#[derive(Default)]
struct Marks {
    marks: Vec<Mark>,
    unlisted: Vec<(MarkKind, usize)>,
}

impl Marks {
    fn note(&mut self, kind: MarkKind, line: u32, seconds: f64, words: impl FnOnce() -> String) {
        if self.marks.iter().filter(|mark| mark.kind == kind).count() < LISTED {
            self.marks.push(Mark {
                kind,
                line,
                seconds,
                words: words(),
            });
        } else if let Some((_, count)) = self.unlisted.iter_mut().find(|(k, _)| *k == kind) {
            *count += 1;
        } else {
            self.unlisted.push((kind, 1));
        }
    }

    fn finish(mut self) -> Vec<Mark> {
        for (kind, count) in self.unlisted {
            if let Some(last) = self.marks.iter_mut().rev().find(|mark| mark.kind == kind) {
                last.words
                    .push_str(&format!(" (and {count} more such places)"));
            }
        }
        self.marks
    }
}

/// A time span in words.
fn duration(seconds: f64) -> String {
    if seconds < 120.0 {
        format!("{seconds:.3} s")
    } else if seconds < 7200.0 {
        format!("{:.1} min", seconds / 60.0)
    } else {
        format!("{:.1} h", seconds / 3600.0)
    }
}
