//! Tells whether bare whole numbers may be clocks without marks, `100530` for 10:05:30 or `1005` for 10:05,
//! and no time that passed: read as seconds, they would make every test longer than it was.

/// The fewest numbers that show by their steps how they go on.
const FEWEST: usize = 5;
/// The fewest among which seconds that passed would meet 60 to 99 in their last two figures, more often than not.
const MANY: usize = 20;
const DAY: f64 = 86_400.0;

/// Whether these numbers may be such clocks: no last two figures reach 60 (nor those before them, in clocks of
/// six), and either the steps are evener as clocks than as they stand, or the numbers begin far from
/// zero and are so many that chance does not explain it.
pub(super) fn may_be(numbers: &[f64]) -> bool {
    // From one and from ten o'clock on; earlier clocks are told by their steps alone.
    is_as(numbers, in_seconds, 10_000.0) || is_as(numbers, in_minutes, 1_000.0)
}

fn is_as(numbers: &[f64], read: fn(u32) -> Option<u32>, large: f64) -> bool {
    const LARGEST: f64 = 240_000.0;
    let clock = |value: &f64| {
        let packed = value.fract() == 0.0 && (0.0..=LARGEST).contains(value);
        packed.then(|| read(*value as u32)).flatten().map(f64::from)
    };
    let Some(clocks) = numbers.iter().map(clock).collect::<Option<Vec<f64>>>() else {
        return false;
    };
    if numbers.len() < FEWEST {
        return false;
    }
    let (as_clocks, as_numbers) = (even(&clocks, DAY), even(numbers, f64::INFINITY));
    // Nearly all: where a reading is missing, the step is uneven too.
    let mostly = 5 * as_clocks >= 4 * (numbers.len() - 1);
    let evener = mostly && as_clocks > as_numbers;
    let goes_on = numbers.len() >= MANY && numbers[0] >= large && numbers[0] != numbers[1];
    evener || goes_on
}

/// How many steps are within half of the median step, of times that begin anew after `round`.
fn even(times: &[f64], round: f64) -> usize {
    let steps: Vec<f64> = times
        .windows(2)
        .map(|two| (two[1] - two[0]).abs())
        .map(|step| step.min(round - step))
        .collect();
    let mut sorted = steps.clone();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2];
    let near = |step: &&f64| median > 0.0 && (*step - median).abs() <= 0.5 * median;
    steps.iter().filter(near).count()
}

/// Seconds of `100530`.
fn in_seconds(packed: u32) -> Option<u32> {
    let (hours, minutes, seconds) = (packed / 10_000, packed / 100 % 100, packed % 100);
    (hours <= 24 && minutes < 60 && seconds < 60).then(|| 3_600 * hours + 60 * minutes + seconds)
}

/// Seconds of `1005`.
fn in_minutes(packed: u32) -> Option<u32> {
    let (hours, minutes) = (packed / 100, packed % 100);
    (hours <= 24 && minutes < 60).then(|| 3_600 * hours + 60 * minutes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every `step` seconds from 10:05:00.
    fn clocks(step: u32, count: u32) -> Vec<f64> {
        (0..count)
            .map(|row| 36_300 + step * row)
            .map(|at| f64::from(10_000 * (at / 3_600) + 100 * (at / 60 % 60) + at % 60))
            .collect()
    }

    #[test]
    fn clocks_without_marks_are_told() {
        for (step, count) in [(1, 60), (2, 60), (5, 30), (10, 10), (30, 10), (60, 60)] {
            assert!(may_be(&clocks(step, count)), "{step} {count}");
        }
        let minutes: Vec<f64> = clocks(60, 60)
            .iter()
            .map(|at| (at / 100.0).floor())
            .collect();
        assert!(may_be(&minutes));
        assert!(may_be(&[2355.0, 2356.0, 2357.0, 2358.0, 2359.0, 0.0, 1.0]));
    }

    /// Seconds that passed reach 60 to 99 in their last two figures, or begin at zero with even steps.
    #[test]
    fn times_that_passed_are_not() {
        for step in [
            1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 50.0, 60.0, 100.0, 300.0, 600.0, 1000.0,
        ] {
            for start in [0.0, step, 3600.0] {
                let times: Vec<f64> = (0..60).map(|row| start + step * f64::from(row)).collect();
                assert!(!may_be(&times), "{start} {step}");
            }
        }
        assert!(!may_be(&[0.0, 10.0, 30.0, 100.0, 300.0, 1000.0]));
        assert!(!may_be(&[0.0, 100.0, 200.0, 400.0, 500.0, 600.0]));
        assert!(!may_be(&[0.0, 0.5, 1.0, 1.5, 2.0, 2.5]));
    }
}
