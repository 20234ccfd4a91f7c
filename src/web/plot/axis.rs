//! Axes, linear and by decades, with ticks at round numbers.

use std::ops::Range;

use plotters::coord::ranged1d::{DefaultFormatting, KeyPointHint, Ranged};

/// About this many ticks.
const TICKS: f64 = 5.0;

/// An axis with its name and unit.
#[derive(Clone, Debug)]
pub(in crate::web) struct Axis {
    /// Name and unit, as `Pressure in Torr`.
    pub(in crate::web) title: String,
    /// Whether equal lengths are equal factors.
    pub(in crate::web) decades: bool,
    low: f64,
    high: f64,
}

impl Axis {
    /// An axis around the values, equal lengths being equal differences; none without values.
    pub(in crate::web) fn linear(
        title: &str,
        values: impl IntoIterator<Item = f64>,
    ) -> Option<Self> {
        let (low, high) = ends(values.into_iter().filter(|value| value.is_finite()))?;
        let margin = 0.04 * (high - low).max(1e-9 * high.abs().max(1e-300));
        Some(Self {
            title: title.to_owned(),
            decades: false,
            // An axis of amounts begins at nothing where that is near.
            low: if low >= 0.0 && low < 0.3 * high {
                0.0
            } else {
                low - margin
            },
            high: high + margin,
        })
    }

    /// An axis around the values above zero, equal lengths being equal factors; none without.
    pub(in crate::web) fn decades(
        title: &str,
        values: impl IntoIterator<Item = f64>,
    ) -> Option<Self> {
        let logs = values
            .into_iter()
            .filter(|value| value.is_finite() && *value > 0.0)
            .map(f64::log10);
        let (low, high) = ends(logs)?;
        let margin = (0.05 * (high - low)).max(0.15);
        Some(Self {
            title: title.to_owned(),
            decades: true,
            low: low - margin,
            high: high + margin,
        })
    }

    /// Where a value stands; none if it cannot on this axis.
    pub(super) fn place(&self, value: f64) -> Option<f64> {
        let place = if self.decades { value.log10() } else { value };
        place.is_finite().then_some(place)
    }

    /// Places of ticks.
    pub(super) fn ticks(&self) -> Vec<f64> {
        if !self.decades {
            return round_steps(self.low, self.high);
        }
        let (first, last) = (self.low.ceil() as i32, self.high.floor() as i32);
        if last - first >= 2 {
            let step = f64::from(last - first + 1) / (TICKS + 2.0);
            let step = step.ceil().max(1.0) as usize;
            return (first..=last).step_by(step).map(f64::from).collect();
        }
        let between: &[f64] = if self.high - self.low < 0.6 {
            &[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0]
        } else {
            &[1.0, 2.0, 5.0]
        };
        (self.low.floor() as i32..=last)
            .flat_map(|decade| between.iter().map(move |m| f64::from(decade) + m.log10()))
            .filter(|place| (self.low..=self.high).contains(place))
            .collect()
    }

    /// The number at a tick.
    pub(super) fn label(&self, place: f64) -> String {
        if self.decades {
            number(10f64.powf(place))
        } else {
            number(place)
        }
    }
}

/// The places of an axis, for the drawing library.
impl Ranged for Axis {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    fn map(&self, place: &f64, (first, last): (i32, i32)) -> i32 {
        let share = (place - self.low) / (self.high - self.low);
        first + (share * f64::from(last - first)).round() as i32
    }

    fn key_points<Hint: KeyPointHint>(&self, _: Hint) -> Vec<f64> {
        self.ticks()
    }

    fn range(&self) -> Range<f64> {
        self.low..self.high
    }
}

/// A round number as it is written at an axis: `250`, `0.05`, `10⁻⁶`, `2·10⁻⁶`.
pub(super) fn number(value: f64) -> String {
    let size = value.abs();
    if size < 1e-300 {
        return "0".to_owned();
    }
    if (0.01..1e4).contains(&(size * (1.0 + 1e-9))) {
        let places = (2.0 - size.log10().floor()).clamp(0.0, 4.0) as usize;
        let text = format!("{value:.places$}");
        return if text.contains('.') {
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        } else {
            text
        };
    }
    let text = format!("{value:.1e}");
    let Some((mantissa, exponent)) = text.split_once('e') else {
        return text;
    };
    let raised: String = exponent
        .chars()
        .map(|c| match c {
            '-' => '⁻',
            digit => "⁰¹²³⁴⁵⁶⁷⁸⁹"
                .chars()
                .nth(digit.to_digit(10).unwrap_or_default() as usize)
                .unwrap_or(digit),
        })
        .collect();
    match mantissa.trim_end_matches(".0") {
        "1" => format!("10{raised}"),
        mantissa => format!("{mantissa}·10{raised}"),
    }
}

fn ends(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.fold(None, |ends, value| match ends {
        None => Some((value, value)),
        Some((low, high)) => Some((f64::min(low, value), f64::max(high, value))),
    })
}

/// Round numbers between two ends.
fn round_steps(low: f64, high: f64) -> Vec<f64> {
    let rough = (high - low) / TICKS;
    let unit = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * unit)
        .find(|step| *step >= 0.999 * rough)
        .unwrap_or(rough);
    let first = (low / step).ceil();
    (0..20)
        .map(|n| (first + f64::from(n)) * step)
        .take_while(|tick| *tick <= high)
        .collect()
}
