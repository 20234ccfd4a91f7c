//! Whether time passed while a log has no readings, or its clock alone went forward: the pressure before
//! and behind tells, where it moves.
//!
//! A straight line is laid through the readings on each side. If time passed, both meet in the middle of
//! the gap; if the clock alone jumped, they meet as two neighbours do. Bends hardly matter in the middle,
//! where both lines are off by as much. Must not import I/O.

/// What went forward.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Forward {
    /// The clock alone.
    Clock,
    /// Time itself, without readings.
    Time,
}

/// Times and pressures of neighbouring readings.
pub(super) type Readings<'a> = (&'a [f64], &'a [f64]);

/// Fewest and most readings on a side.
const COUNT: (usize, usize) = (8, 300);
/// Readings on a side reach this many gaps far: farther off a rise may bend.
const REACH: f64 = 3.0;
/// Within so many standard errors both sides meet, and beyond so many they do not.
const MEET: f64 = 2.5;
const APART: f64 = 5.0;
/// Wander of a gauge's gain from one side to the other, as a share (common practice, no source).
const WANDER: f64 = 0.01;

/// What the pressure tells of a step of the clock between the readings `before` and `behind` it, where one
/// comes every `usual` seconds; `None` where it fits both or neither.
pub(super) fn told_by_pressure(
    before: Readings<'_>,
    behind: Readings<'_>,
    step: f64,
    usual: f64,
) -> Option<Forward> {
    let count = ((REACH * step / usual) as usize).clamp(COUNT.0, COUNT.1);
    let even = |from: f64, to: f64| (0.0..=5.0 * usual).contains(&(to - from));
    let (times, pascals) = before;
    let last = times.len().checked_sub(1)?;
    let near = times
        .windows(2)
        .rev()
        .take(count)
        .take_while(|two| even(two[0], two[1]))
        .count();
    let first = last - near;
    let left = Line::through(&times[first..], &pascals[first..], times[last])?;
    let (times, pascals) = behind;
    let near = times
        .windows(2)
        .take(count)
        .take_while(|two| even(two[0], two[1]))
        .count();
    let right = Line::through(&times[..=near], &pascals[..=near], *times.first()?)?;
    let error = |step: f64| {
        let wander = WANDER * 0.5 * (left.level + right.level);
        (left.at(0.5 * step).1 + right.at(-0.5 * step).1 + wander * wander).sqrt()
    };
    let apart = |step: f64| (left.at(0.5 * step).0 - right.at(-0.5 * step).0).abs() / error(step);
    // A rise that has all but ended behind the gap is no clock that jumped: even the slower of both
    // slopes has to show that no time passed.
    let slower = if left.slope.abs() < right.slope.abs() {
        left.slope
    } else {
        right.slope
    };
    let stood = (left.level + slower * step - right.level).abs() / error(step);
    match (apart(usual), apart(step)) {
        (clock, time) if clock < MEET && time > APART && stood > APART => Some(Forward::Clock),
        (clock, time) if time < MEET && clock > APART => Some(Forward::Time),
        _ => None,
    }
}

/// A straight line through readings that err by a share of their value, with what is not known of it.
struct Line {
    level: f64,
    slope: f64,
    /// Variances of level and slope, and their covariance.
    variances: (f64, f64, f64),
}

impl Line {
    /// Through these readings, with its level at the time `zero`; `None` if they are too few.
    fn through(times: &[f64], pascals: &[f64], zero: f64) -> Option<Self> {
        let count = times.len().min(pascals.len());
        if count < COUNT.0 {
            return None;
        }
        let mean = pascals.iter().sum::<f64>() / count as f64;
        let (mut level, mut slope) = (mean, 0.0);
        let mut variances = (0.0, 0.0, 0.0);
        // First with equal weights, then with those of errors by share.
        for round in 0..2 {
            let weight = |time: f64| match round {
                0 => mean.powi(-2),
                _ => f64::max(level + slope * time, 0.2 * mean).powi(-2),
            };
            let mut sums = [0.0; 5];
            for (time, pressure) in times.iter().zip(pascals) {
                let time = time - zero;
                let weight = weight(time);
                let terms = [1.0, time, time * time, *pressure, pressure * time];
                for (sum, term) in sums.iter_mut().zip(terms) {
                    *sum += weight * term;
                }
            }
            let [one, t, tt, p, pt] = sums;
            let spread = one * tt - t * t;
            if spread.is_nan() || spread <= 0.0 {
                return None;
            }
            let fitted = ((tt * p - t * pt) / spread, (one * pt - t * p) / spread);
            let left: f64 = times
                .iter()
                .zip(pascals)
                .map(|(time, pressure)| {
                    let time = time - zero;
                    weight(time) * (pressure - fitted.0 - fitted.1 * time).powi(2)
                })
                .sum();
            let variance = left / (count - 2) as f64;
            variances = (
                variance * tt / spread,
                variance * one / spread,
                -variance * t / spread,
            );
            (level, slope) = fitted;
        }
        Some(Self {
            level,
            slope,
            variances,
        })
    }

    /// Its height at a time from its zero, and the variance of that.
    fn at(&self, time: f64) -> (f64, f64) {
        let (level, slope, both) = self.variances;
        let variance = level + 2.0 * time * both + time * time * slope;
        (self.level + self.slope * time, variance)
    }
}
