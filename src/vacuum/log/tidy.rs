//! Puts a log's readings in an order that can be analysed, and marks what was odd.
//!
//! Sets clock jumps right, keeps repeated times, finds dropped readings, those that are wild ([`super::wild`]) and those
//! that stand still ([`super::still`]). Each change is a [`Mark`] with its line. Must not import I/O.

use std::ops::Range;

use super::PressureLog;
use super::forward::{self, Forward};
use super::still::{STUCK, drop_repeated, drop_stuck, repeats, use_held_once};
use super::wild::{drop_dips, drop_over_range, drop_wild};
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
    /// Readings stand still, as when the logger repeats the last it has or asks faster than the gauge answers.
    StandsStill,
    /// The reading stepped as if the gauge had changed its range or sensor.
    Crossover,
    /// The pressure fell in a sealed chamber, as when a cold cathode gauge pumps.
    GaugePumps,
    /// The rise, or the whole of it, began after the record.
    ValveClosedLate,
    /// The pressure falls at once, as when the valve is opened again.
    ValveOpened,
    /// The rise quickens.
    Quickens,
    /// The pressure is so high that a leak no longer flows steadily.
    TooHigh,
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
    /// Unit in which the log was written.
    pub unit: Option<PressureUnit>,
    /// Where readings stood still and were left out, by time.
    pub stood_still: Vec<StoodStill>,
}

/// Readings that stood still and were left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StoodStill {
    /// Seconds of the first and the last of them.
    pub between: (f64, f64),
    /// The reading, Pa.
    pub pascals: f64,
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

    /// A pressure as it stands in the log.
    pub(in crate::vacuum) fn shown(&self, pascals: f64) -> String {
        let unit = self.unit.unwrap_or(PressureUnit::Pascal);
        format!("{:.2e} {unit}", pascals / unit.pascals_per_unit())
    }

    /// A mark at one of its readings.
    pub(in crate::vacuum) fn mark_at(&self, at: usize, kind: MarkKind, words: String) -> Mark {
        Mark {
            kind,
            line: self.lines[at],
            seconds: self.seconds[at],
            words,
        }
    }

    /// Some of its readings on end, with the marks of all and one more.
    pub(in crate::vacuum) fn part(&self, range: Range<usize>, mark: Mark) -> Self {
        let mut marks = self.marks.clone();
        marks.push(mark);
        Self {
            seconds: self.seconds[range.clone()].to_vec(),
            pascals: self.pascals[range.clone()].to_vec(),
            lines: self.lines[range].to_vec(),
            marks,
            unit: self.unit,
            stood_still: self.stood_still.clone(),
        }
    }

    /// Takes out readings that stood still, those without a flag, and notes where.
    pub(super) fn leave_out_still(&mut self, keep: &[bool]) {
        if keep.iter().all(|keep| *keep) {
            return;
        }
        let mut from = 0;
        for run in keep.chunk_by(|one, next| one == next) {
            let to = from + run.len();
            if !run[0] && run.len() >= STUCK {
                self.stood_still.push(StoodStill {
                    between: (self.seconds[from], self.seconds[to - 1]),
                    pascals: self.pascals[from],
                });
            }
            from = to;
        }
        self.stood_still
            .sort_by(|one, next| one.between.0.total_cmp(&next.between.0));
        self.retain(keep);
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
/// The most marks of one kind that are listed.
const LISTED: usize = 20;

/// Sets the readings of a log in order and marks what was odd.
pub fn tidy(log: PressureLog) -> TidyRecord {
    let mut record = TidyRecord {
        seconds: log.seconds,
        pascals: log.pascals,
        lines: log.lines,
        unit: log.unit,
        ..TidyRecord::default()
    };
    let mut usual = usual_step(&record.seconds);
    if spread_over_coarse_clock(&mut record) {
        usual = usual_step(&record.seconds);
    }
    exchange(&mut record, usual);
    straighten(&mut record, usual);
    drop_wild(&mut record);
    drop_over_range(&mut record);
    drop_dips(&mut record);
    drop_stuck(&mut record);
    drop_repeated(&mut record);
    use_held_once(&mut record);
    record
}

/// Fewest readings that usually carry one time, where the clock is coarser than the readings are apart.
const ON_ONE_TIME: usize = 3;

/// Spreads readings that carry one time evenly up to the next time, where most do: a clock that is written in whole
/// minutes, say.
fn spread_over_coarse_clock(record: &mut TidyRecord) -> bool {
    let seconds = &mut record.seconds;
    if repeats(seconds) * ON_ONE_TIME < seconds.len() * (ON_ONE_TIME - 1) || !seconds.is_sorted() {
        return false;
    }
    let (mut from, mut width) = (0, 0.0);
    while from < seconds.len() {
        let time = seconds[from];
        let to = from + seconds[from..].partition_point(|other| *other <= time);
        // Those on the last time come as those on the time before it.
        let step = match seconds.get(to) {
            Some(next) => (next - time) / (to - from) as f64,
            None => width,
        };
        for (place, second) in seconds[from..to].iter_mut().enumerate() {
            *second = time + step * place as f64;
        }
        (from, width) = (to, step);
    }
    if let (Some(line), Some(at)) = (record.lines.first(), record.seconds.first()) {
        record.marks.push(Mark {
            kind: MarkKind::RepeatedTime,
            line: *line,
            seconds: *at,
            words: "several readings carry each time, as of a clock in whole minutes; taken as evenly apart up to the next time".to_owned(),
        });
    }
    true
}

/// Puts neighbouring lines right that stand in the wrong order, as a logger over a network may write them: the later of
/// both comes two steps after the line before them, and the earlier one step.
fn exchange(record: &mut TidyRecord, usual: f64) {
    const NEAR: f64 = 0.25;
    let is_step = |step: f64, count: f64| (step - count * usual).abs() <= NEAR * usual;
    let mut marks = Marks::default();
    let origin = record.seconds.first().copied().unwrap_or_default();
    for at in 1..record.seconds.len().saturating_sub(2) {
        let [before, later, sooner, behind] =
            [0, 1, 2, 3].map(|place| record.seconds[at - 1 + place]);
        let exchanged = sooner < later
            && is_step(later - before, 2.0)
            && is_step(sooner - before, 1.0)
            && is_step(behind - later, 1.0);
        if exchanged {
            record.seconds.swap(at, at + 1);
            record.pascals.swap(at, at + 1);
            record.lines.swap(at, at + 1);
            marks.note(
                MarkKind::ClockJump,
                record.lines[at],
                sooner - origin,
                || "this line and the one before it stand in the wrong order; put right".to_owned(),
            );
        }
    }
    record.marks.append(&mut marks.finish());
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

/// Marks by kind, with a last one that counts those not listed.
#[derive(Default)]
pub(super) struct Marks {
    marks: Vec<Mark>,
    unlisted: Vec<(MarkKind, usize)>,
}

impl Marks {
    pub(super) fn note(
        &mut self,
        kind: MarkKind,
        line: u32,
        seconds: f64,
        words: impl FnOnce() -> String,
    ) {
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

    pub(super) fn finish(mut self) -> Vec<Mark> {
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
