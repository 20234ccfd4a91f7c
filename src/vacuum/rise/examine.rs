//! Judges a pressure-rise test: is the record fit to be judged, and what does it say.
//!
//! Works on a [`TidyRecord`]: cuts off readings before the valve closed and after it opened, looks
//! for steps and falls no sealed chamber shows, weighs the shapes and refuses to conclude where
//! they cannot be told apart. Must not import I/O.

use super::beginning::{after_slow_start, below, between_falls};
use super::reduce::{Block, blocks, largest};
use super::weigh::{Weighed, weigh, weigh_blocks};
use crate::vacuum::log::{Mark, MarkKind, TidyRecord};

/// What a pressure-rise test says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RiseVerdict {
    /// A steady inflow that makes most of the rise, or beside which no gas from inside shows.
    Leak,
    /// Both a steady inflow and gas from inside.
    LeakAndOutgassing,
    /// Gas from inside makes most of the rise.
    Outgassing,
    /// The record does not tell.
    CannotTell,
}

/// Why a record does not tell.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Doubt {
    /// Not enough readings.
    #[error("only {readings} usable readings; {FEWEST_READINGS} or more are needed")]
    FewReadings {
        /// Usable readings.
        readings: usize,
    },
    /// Too short a time.
    #[error("the usable record lasts {seconds:.0} s; {SHORTEST:.0} s or more are needed")]
    Short {
        /// Its length in seconds.
        seconds: f64,
    },
    /// The pressure hardly rose.
    #[error(
        "the pressure rose only by a factor of {factor:.2}; it must at least double to show a shape"
    )]
    LittleRise {
        /// Fitted pressure at the end over that at the start.
        factor: f64,
    },
    /// The reading stepped in the middle.
    #[error(
        "the reading steps at {seconds:.0} s (line {line}), as when a gauge changes its range or sensor; use one gauge range for the whole test"
    )]
    Crossover {
        /// Seconds from the first reading.
        seconds: f64,
        /// Line of the log.
        line: u32,
    },
    /// The pressure fell while the chamber should have been sealed.
    #[error(
        "the pressure falls within the test: a valve was opened, a pump still draws on the chamber, or a cold cathode gauge pumps it; close all valves for the whole test, send the log from the shutting of the valves on, or use a gauge that does not pump"
    )]
    Falls,
    /// Every reading is the same.
    #[error(
        "the reading stands still throughout: the gauge at an end of its range or not read, or a column that is no measured pressure"
    )]
    StandsStill,
    /// The rise quickens.
    #[error(
        "the rise quickens, which neither a leak nor gas from inside does: the valve was not shut at first, was opened between several tests in one log, or something else changed within the test"
    )]
    Quickens,
    /// The rise began after half of the record.
    #[error(
        "the rise begins only at {seconds:.0} s, after more than half of the record: the valve closed late, or the gauge was at its lower end until then"
    )]
    ValveLate {
        /// Seconds from the first reading.
        seconds: f64,
    },
    /// Too much of the record is missing.
    #[error("{share:.0} % of the test has no readings")]
    Gaps {
        /// Share of the time, in percent.
        share: f64,
    },
    /// The readings scatter too much.
    #[error("the readings scatter by {percent:.0} %; at most {MOST_SCATTER:.0} % can be judged")]
    Scatter {
        /// Scatter in percent.
        percent: f64,
    },
    /// The pressure is too high for the models.
    #[error("the pressure reaches {reached}; above {most} a leak no longer flows steadily")]
    High {
        /// Highest pressure.
        reached: String,
        /// Up to which a leak flows steadily.
        most: String,
    },
    /// The shapes cannot be told apart.
    #[error(
        "a leak and gas from inside fit these readings alike: the leak may make from {low:.0} to {high:.0} % of the rise"
    )]
    Alike {
        /// Lower end of the leak's share in percent.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// The inflow stopped within the test, or the gauge stood still.
    #[error(
        "the pressure rises straight and stands still from {seconds:.0} s on, as no leak and no gas from inside does: what came in was shut off, or the gauge no longer followed; repeat the test"
    )]
    Stops {
        /// Seconds from the first reading.
        seconds: f64,
    },
    /// The readings are written in steps too coarse for a shape.
    #[error(
        "the readings come in steps of {percent:.0} % and more, as where they are written in one figure; log more figures"
    )]
    Coarse {
        /// The usual step between neighbouring values, in percent.
        percent: f64,
    },
    /// Only a time constant that the gauge's own pumping would give.
    #[error(
        "the rise flattens, but a cold cathode gauge pumps, and a leak against its pumping flattens too; repeat with the gauge switched off between readings"
    )]
    GaugeMayPump,
}

/// Fewest usable readings.
pub const FEWEST_READINGS: usize = 20;
/// Shortest usable record in seconds.
pub const SHORTEST: f64 = 60.0;
/// Least rise, as a factor.
pub const LEAST_FACTOR: f64 = 2.0;
/// Most scatter in percent.
pub const MOST_SCATTER: f64 = 25.0;
/// Highest pressure in Pa: about a tenth of the pressure outside, below which inflow of air is
/// choked and steady.
pub const HIGHEST: f64 = 1e4;

/// A judged pressure-rise test.
#[derive(Clone, Debug)]
pub struct RiseTest {
    /// The verdict.
    pub verdict: RiseVerdict,
    /// Why there is none, if there is none.
    pub doubts: Vec<Doubt>,
    /// What was odd in the record, by time.
    pub marks: Vec<Mark>,
    /// Seconds from the first reading at which the used part begins and ends.
    pub used: (f64, f64),
    /// Readings used.
    pub readings: usize,
    /// The shapes weighed on the used part, if it can be fitted at all.
    pub weighed: Option<Weighed>,
}

/// Judges a record; `cold_cathode` says that the gauge pumps.
///
/// Rates are left to the caller, as the rise over the record times the volume over its length. A record
/// not [in order](TidyRecord::is_in_order) is judged as one without readings; whatever lies outside the
/// ranges of this module is a [`Doubt`] and no verdict. Sources: those of [`crate::vacuum::rise`].
pub fn examine(record: &TidyRecord, cold_cathode: bool) -> RiseTest {
    let none = TidyRecord::default();
    let record = if record.is_in_order() { record } else { &none };
    let low = below(record, HIGHEST, FEWEST_READINGS, SHORTEST);
    let record = low.as_ref().unwrap_or(record);
    match between_falls(record) {
        Some(one_test) => examine_one(&one_test, cold_cathode),
        None => examine_one(record, cold_cathode),
    }
}

/// Judges a record of one test.
fn examine_one(record: &TidyRecord, cold_cathode: bool) -> RiseTest {
    let mut marks = record.marks.clone();
    let mut doubts = Vec::new();
    let whole = blocks(&record.seconds, &record.pascals);
    let end = cut_end(record, &whole, &mut marks, &mut doubts);
    let whole = if end < record.seconds.len() {
        blocks(&record.seconds[..end], &record.pascals[..end])
    } else {
        whole
    };
    let start = if falls_first(record, &whole, &mut marks, &mut doubts) {
        0
    } else if let Some(later) = after_slow_start(record, &whole) {
        return examine_one(&later, cold_cathode);
    } else {
        cut_start(record, end, &whole, &mut marks, &mut doubts)
    };
    let seconds = &record.seconds[start..end];
    let pascals = &record.pascals[start..end];
    let used = match (seconds.first(), seconds.last()) {
        (Some(&first), Some(&last)) => (first, last),
        _ => (0.0, 0.0),
    };
    let length = used.1 - used.0;
    if seconds.len() < FEWEST_READINGS {
        doubts.push(Doubt::FewReadings {
            readings: seconds.len(),
        });
    }
    if length < SHORTEST {
        doubts.push(Doubt::Short { seconds: length });
    }
    let missing = longest_gap(seconds);
    if missing > 0.3 * length && length > 0.0 {
        doubts.push(Doubt::Gaps {
            share: 100.0 * missing / length,
        });
    }
    if pascals
        .iter()
        .all(|pressure| Some(pressure) == pascals.first())
        && !pascals.is_empty()
    {
        doubts.push(Doubt::StandsStill);
    }
    let highest = largest(pascals.iter().copied());
    if highest > HIGHEST {
        doubts.push(Doubt::High {
            reached: record.shown(highest),
            most: record.shown(HIGHEST),
        });
    }
    let weighed = if start == 0 {
        weigh_blocks(&whole, length)
    } else {
        weigh(seconds, pascals)
    };
    let mut verdict = RiseVerdict::CannotTell;
    if let Some(weighed) = &weighed {
        // A pressure that falls and rises steps where the valve was shut.
        let stepped = step(weighed).filter(|_| !doubts.contains(&Doubt::Falls));
        if let Some((index, size)) = stepped {
            let at = start + index;
            let (seconds, line) = (record.seconds[at], record.lines[at]);
            marks.push(Mark {
                kind: MarkKind::Crossover,
                line,
                seconds,
                words: format!(
                    "the reading steps by {:+.0} % at {}",
                    100.0 * (size.exp() - 1.0),
                    record.shown(record.pascals[at])
                ),
            });
            doubts.push(Doubt::Crossover { seconds, line });
        }
        doubts.extend(doubts_of(weighed));
        if doubts.is_empty() {
            let (found, doubt) = judge(weighed, used.0, cold_cathode);
            verdict = found;
            doubts.extend(doubt);
        }
    }
    // Steps of the print are none of the gauge, and no quickening.
    let is_of_print = |doubt: &Doubt| matches!(doubt, Doubt::Quickens | Doubt::Crossover { .. });
    if doubts.iter().any(is_of_print)
        && let Some(percent) = coarse_steps(&record.pascals)
    {
        doubts.retain(|doubt| !is_of_print(doubt));
        marks.retain(|mark| !matches!(mark.kind, MarkKind::Quickens | MarkKind::Crossover));
        doubts.push(Doubt::Coarse { percent });
    }
    marks.sort_by(|a, b| a.seconds.total_cmp(&b.seconds));
    RiseTest {
        verdict,
        doubts,
        marks,
        used,
        readings: seconds.len(),
        weighed,
    }
}

/// Doubts about the record as a whole.
fn doubts_of(weighed: &Weighed) -> Vec<Doubt> {
    let mut doubts = Vec::new();
    let best = &weighed.shapes[0];
    let (Some(first), Some(last)) = (best.pascals_at(0.0), best.pascals_at(weighed.length)) else {
        return doubts;
    };
    let factor = last / first;
    if factor < LEAST_FACTOR || weighed.rise.low <= 0.0 {
        doubts.push(Doubt::LittleRise { factor });
    }
    if weighed.scatter * 100.0 > MOST_SCATTER {
        doubts.push(Doubt::Scatter {
            percent: weighed.scatter * 100.0,
        });
    }
    doubts
}

/// The verdict on a record without other doubts.
fn judge(weighed: &Weighed, begins: f64, cold_cathode: bool) -> (RiseVerdict, Option<Doubt>) {
    let chosen = weighed.shapes[0].shape;
    let share = weighed.share;
    if weighed.quickens {
        (RiseVerdict::CannotTell, Some(Doubt::Quickens))
    } else if weighed.leak_shown && chosen.has_leak() {
        // Gas from inside is named where it shows: in the shape chosen, and by an interval without zero.
        let gas_shown = chosen.has_gas() && weighed.slowing.low > 0.0;
        if !gas_shown || (share.low > 0.5 && share.high > 0.85) {
            (RiseVerdict::Leak, None)
        } else {
            (RiseVerdict::LeakAndOutgassing, None)
        }
    } else if let Some(stops) = weighed.stops {
        let seconds = begins + stops;
        (RiseVerdict::CannotTell, Some(Doubt::Stops { seconds }))
    } else if share.high < 0.5 && chosen.has_gas() {
        if cold_cathode {
            (RiseVerdict::CannotTell, Some(Doubt::GaugeMayPump))
        } else {
            (RiseVerdict::Outgassing, None)
        }
    } else {
        let doubt = Doubt::Alike {
            low: 100.0 * share.low,
            high: 100.0 * share.high,
        };
        (RiseVerdict::CannotTell, Some(doubt))
    }
}

/// The usual step between neighbouring values, in percent, where few different values are repeated and they lie a
/// tenth and more apart.
fn coarse_steps(pascals: &[f64]) -> Option<f64> {
    let mut values = pascals.to_vec();
    values.sort_unstable_by(f64::total_cmp);
    let count = values.len();
    values.dedup_by(|above, below| *above <= *below * (1.0 + 1e-9));
    if 3 * values.len() > count || values.len() < 2 {
        return None;
    }
    let mut steps: Vec<f64> = values.windows(2).map(|two| two[1] / two[0] - 1.0).collect();
    let middle = steps.len() / 2;
    let step = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
    (step >= 0.1).then_some(100.0 * step)
}

/// Mean of `p` over the blocks around a share of the record, and its standard error.
fn level(blocks: &[Block], from: f64, to: f64, scatter: f64) -> Option<(f64, f64)> {
    let (mut sum, mut count, mut readings) = (0.0, 0.0, 0.0);
    for block in blocks {
        if (from..=to).contains(&block.at) {
            sum += block.log_pressure.exp() * block.count;
            count += block.count;
            readings += block.count;
        }
    }
    (count > 0.0).then(|| {
        let mean = sum / count;
        // A drift of 1 % is allowed for at every level.
        let share = (scatter * scatter / readings + 1e-4).sqrt();
        (mean, mean * share)
    })
}

/// Scatter of one reading from the second differences of block means: robust, without a model.
pub(super) fn scatter_of(blocks: &[Block]) -> f64 {
    let mut bends: Vec<f64> = blocks
        .windows(3)
        .map(|three| {
            let bend =
                three[1].log_pressure - 0.5 * (three[0].log_pressure + three[2].log_pressure);
            let weight =
                three[1].count.recip() + 0.25 * (three[0].count.recip() + three[2].count.recip());
            bend.abs() / weight.sqrt()
        })
        .collect();
    if bends.is_empty() {
        return 0.0;
    }
    let middle = bends.len() / 2;
    *bends.select_nth_unstable_by(middle, f64::total_cmp).1 / 0.6745
}

/// Index after the last reading before the pressure falls at the end; doubts a fall in between.
fn cut_end(
    record: &TidyRecord,
    blocks: &[Block],
    marks: &mut Vec<Mark>,
    doubts: &mut Vec<Doubt>,
) -> usize {
    let all = record.seconds.len();
    if blocks.len() < 8 {
        return all;
    }
    let smooth = smooth(blocks);
    let Some(top) = (0..smooth.len()).max_by(|&a, &b| smooth[a].0.total_cmp(&smooth[b].0)) else {
        return all;
    };
    let (last, last_error) = smooth[smooth.len() - 1];
    let fall = smooth[top].0 - last;
    let error = smooth[top].1.hypot(last_error);
    if fall < LEAST_FALL || fall < 7.0 * error {
        return all;
    }
    let top_block = &blocks[top + 1];
    let end_at = blocks[blocks.len() - 1].at;
    // How much of the fall happens within one twentieth of the record after the last high block.
    let high = blocks
        .iter()
        .rposition(|block| block.log_pressure > smooth[top].0 - 0.25 * fall)
        .unwrap_or(top + 1);
    let low = blocks
        .iter()
        .position(|block| block.at > top_block.at && block.log_pressure < last + 0.25 * fall)
        .unwrap_or(blocks.len() - 1);
    let sudden = blocks[low].at - blocks[high.min(low)].at <= 0.05 && low >= high;
    if sudden && blocks[high].at >= 0.3 && (fall > 0.3 || end_at - blocks[high].at < 0.1) {
        // A valve that opens slowly lets the first readings fall by little: nothing from the last block on that
        // stands at the top is used.
        let scatter = scatter_of(blocks);
        let stands = |block: &Block| {
            block.log_pressure > smooth[top].0 - 0.03 - 3.0 * scatter / block.count.sqrt()
        };
        let before = blocks[..=high].iter().rposition(stands).unwrap_or(high);
        let cut = (blocks[before].first + blocks[before].count as usize)
            .saturating_sub(1)
            .max(2);
        marks.push(Mark {
            kind: MarkKind::ValveOpened,
            line: record.lines[cut],
            seconds: record.seconds[cut],
            words: "the pressure falls at once, as when the valve is opened; later readings are not used".to_owned(),
        });
        return cut;
    }
    let at = top_block.first;
    marks.push(Mark {
        kind: MarkKind::GaugePumps,
        line: record.lines[at],
        seconds: record.seconds[at],
        words: format!(
            "from here the pressure falls by {:.0} % in a chamber that should be sealed",
            100.0 * (1.0 - (-fall).exp())
        ),
    });
    doubts.push(Doubt::Falls);
    all
}

/// Running level of `ln p` over each three neighbouring blocks, without most of the scatter, and its error.
fn smooth(blocks: &[Block]) -> Vec<(f64, f64)> {
    let scatter = scatter_of(blocks);
    blocks
        .windows(3)
        .map(|near| {
            let count: f64 = near.iter().map(|block| block.count).sum();
            let sum: f64 = near
                .iter()
                .map(|block| block.log_pressure * block.count)
                .sum();
            (sum / count, scatter / count.sqrt())
        })
        .collect()
}

/// Whether the pressure falls before it rises, which is marked and doubted: a gauge that pumps, or a pump
/// that still draws, hides how much comes in meanwhile, and the time before the valve closed does not end
/// where the fall does.
fn falls_first(
    record: &TidyRecord,
    blocks: &[Block],
    marks: &mut Vec<Mark>,
    doubts: &mut Vec<Doubt>,
) -> bool {
    if blocks.len() < 8 {
        return false;
    }
    let smooth = smooth(blocks);
    let Some(lowest) = (0..smooth.len()).min_by(|&a, &b| {
        let level = |at: usize| smooth[at].0 + 2.0 * smooth[at].1;
        level(a).total_cmp(&level(b))
    }) else {
        return false;
    };
    // How surely the pressure stood higher before.
    let above = |at: &usize| {
        let fall = smooth[*at].0 - smooth[lowest].0;
        (fall, fall / smooth[*at].1.hypot(smooth[lowest].1))
    };
    let Some(top) = (0..lowest).max_by(|a, b| above(a).1.total_cmp(&above(b).1)) else {
        return false;
    };
    let (fall, errors) = above(&top);
    let rises = smooth[smooth.len() - 1].0 - smooth[lowest].0 > fall.max(LEAST_FALL);
    if fall < LEAST_FALL || errors < 7.0 || !rises {
        return false;
    }
    let at = blocks[top].first;
    let turns = record.seconds[blocks[lowest + 1].first];
    marks.push(Mark {
        kind: MarkKind::GaugePumps,
        line: record.lines[at],
        seconds: record.seconds[at],
        words: format!(
            "from here the pressure falls by {:.0} %, and rises only from {turns:.0} s on: a cold cathode gauge pumps, or a pump still draws",
            100.0 * (1.0 - (-fall).exp())
        ),
    });
    doubts.push(Doubt::Falls);
    true
}

/// The least fall, in `ln p`, that is more than the wander of a gauge.
const LEAST_FALL: f64 = 0.1;

/// Index of the first reading after the valve closed.
///
/// No leak and no gas from inside rises faster later than sooner. A start that is flat against
/// what follows is a time before the valve closed; another quickening is a doubt.
fn cut_start(
    record: &TidyRecord,
    end: usize,
    blocks: &[Block],
    marks: &mut Vec<Mark>,
    doubts: &mut Vec<Doubt>,
) -> usize {
    if blocks.len() < 8 {
        return 0;
    }
    let scatter = scatter_of(blocks);
    let Some((start, start_error)) = level(blocks, 0.0, 0.01, scatter) else {
        return 0;
    };
    let mut quickens = None;
    let mut flat_until = None;
    for step in 1..=20 {
        let x = 0.025 * f64::from(step);
        let (Some((near, near_error)), Some((far, far_error))) = (
            level(blocks, x - 0.01, x + 0.01, scatter),
            level(blocks, 2.0 * x - 0.01, 2.0 * x + 0.01, scatter),
        ) else {
            continue;
        };
        let (first, second) = (near - start, far - near);
        let error =
            (4.0 * near_error * near_error + far_error * far_error + start_error * start_error)
                .sqrt();
        if second - first > 5.0 * error && second > 1.6 * first.max(0.0) && second > 0.2 * start {
            quickens = Some(x);
            if first < 0.25 * second {
                flat_until = Some(x);
            }
        }
    }
    let Some(at) = quickens else {
        return 0;
    };
    if flat_until.is_some() {
        let (closed, share) = bend(&record.seconds[..end], blocks, scatter);
        let seconds = record.seconds[closed];
        marks.push(Mark {
            kind: MarkKind::ValveClosedLate,
            line: record.lines[closed],
            seconds,
            words: format!(
                "the pressure stands still until {seconds:.0} s: the valve closed late, or the gauge was at its lower end until then; earlier readings are not used"
            ),
        });
        if share > 0.5 {
            doubts.push(Doubt::ValveLate { seconds });
        }
        return closed;
    }
    let index = blocks.iter().position(|block| block.at >= at).unwrap_or(0);
    let reading = blocks[index].first;
    marks.push(Mark {
        kind: MarkKind::Quickens,
        line: record.lines[reading],
        seconds: record.seconds[reading],
        words: "the pressure rises faster after this time than before".to_owned(),
    });
    doubts.push(Doubt::Quickens);
    0
}

/// Index of the first reading after a flat start, and its time as a share of the record: where the
/// mean of the flat part meets a straight line through the first blocks that rise.
fn bend(times: &[f64], blocks: &[Block], scatter: f64) -> (usize, f64) {
    let (mut sum, mut count) = (0.0, 0.0);
    let mut last = 0;
    for (index, block) in blocks.iter().enumerate() {
        let above = |block: &Block| {
            let limit =
                3.0 * (scatter * scatter * (block.count + count).recip() * 2.0 + 4e-4).sqrt();
            count > 0.0
                && block.log_pressure - sum / count > limit.max(3.0 * scatter / block.count.sqrt())
        };
        if above(block) && blocks.get(index + 1).is_none_or(above) {
            break;
        }
        sum += block.log_pressure * block.count;
        count += block.count;
        last = index;
    }
    let flat = (sum / count).exp();
    let rising = &blocks[(last + 1).min(blocks.len() - 1)..(last + 5).min(blocks.len())];
    let meets = line_through(rising)
        .filter(|(_, slope)| *slope > 0.0)
        .map_or(blocks[last].at, |(at_zero, slope)| (flat - at_zero) / slope);
    let next = rising.last().map_or(blocks[last].at, |block| block.at);
    let share = meets.clamp(blocks[last.saturating_sub(1)].at, next);
    let length = times[times.len() - 1] - times[0];
    let closed = times.partition_point(|time| *time - times[0] < share * length);
    (closed.min(times.len() - 1), share)
}

/// Pressure at time zero and slope of a straight line through block means.
fn line_through(blocks: &[Block]) -> Option<(f64, f64)> {
    let n = blocks.len() as f64;
    let mean_at = blocks.iter().map(|block| block.at).sum::<f64>() / n;
    let mean = blocks
        .iter()
        .map(|block| block.log_pressure.exp())
        .sum::<f64>()
        / n;
    let spread: f64 = blocks
        .iter()
        .map(|block| (block.at - mean_at).powi(2))
        .sum();
    let product: f64 = blocks
        .iter()
        .map(|block| (block.at - mean_at) * (block.log_pressure.exp() - mean))
        .sum();
    (spread > 0.0).then(|| (mean - product / spread * mean_at, product / spread))
}

fn longest_gap(seconds: &[f64]) -> f64 {
    largest(seconds.windows(2).map(|pair| pair[1] - pair[0]))
}

/// The largest step of the residuals that scatter and drift do not make: index of the first reading
/// after it, and its size in `ln p`.
fn step(weighed: &Weighed) -> Option<(usize, f64)> {
    const NEAR: usize = 5;
    let residuals = &weighed.residuals;
    let mean = |part: &[(f64, f64, usize, f64)]| {
        let count: f64 = part.iter().map(|(.., count)| count).sum();
        let sum: f64 = part
            .iter()
            .map(|(_, residual, _, count)| residual * count)
            .sum();
        (sum / count, weighed.scatter.powi(2) / count)
    };
    let mut best: Option<(usize, f64)> = None;
    for at in NEAR..residuals.len().saturating_sub(NEAR) {
        let (before, before_error) = mean(&residuals[at - NEAR..at]);
        let (after, after_error) = mean(&residuals[at..at + NEAR]);
        let size = after - before;
        let error = (before_error + after_error).sqrt();
        // How far a drift moves over the blocks in between.
        let apart = residuals[at + NEAR - 1].0 - residuals[at - NEAR].0;
        let moved = 2.0 * weighed.drift.powi(2) * -(-0.5 * apart / weighed.drift_memory).exp_m1();
        // The step must happen between two blocks and not over several.
        let (just_before, _) = mean(&residuals[at - 2..at]);
        let (just_after, _) = mean(&residuals[at..at + 2]);
        let sharp = (just_after - just_before) / size > 0.7;
        if size.abs() > 0.1
            && size.abs() > 6.0 * error
            && size.abs() > 3.5 * (error * error + moved).sqrt()
            && sharp
            && best.is_none_or(|(_, largest)| size.abs() > largest.abs())
        {
            best = Some((residuals[at].2, size));
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::coarse_steps;

    /// Readings in one significant figure step by 10 to 100 %: of the print, not of the gauge.
    #[test]
    fn readings_in_one_figure_are_coarse() {
        let in_one: Vec<f64> = (0..90).map(|at| f64::from(at % 9 + 1) * 1e-4).collect();
        let percent = coarse_steps(&in_one).unwrap();
        assert!((10.0..50.0).contains(&percent), "{percent}");
        let in_two: Vec<f64> = (0..360).map(|at| f64::from(at % 90 + 10) * 1e-5).collect();
        assert_eq!(coarse_steps(&in_two), None);
        let rising: Vec<f64> = (1..90).map(|at| f64::from(at) * 1e-4).collect();
        assert_eq!(coarse_steps(&rising), None);
    }
}
