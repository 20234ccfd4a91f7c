//! A share with its interval, drawn as a bar with a whisker.
//!
//! Positions are percentages of the drawing's width, so that it fits a phone and a printed page alike.

use askama::Template;
use askama::filters::HtmlSafe;

/// A share between 0 and 1 with its interval.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "parts/share-bar.html")]
pub struct ShareBar {
    share: f64,
    low: f64,
    high: f64,
    full: f64,
}

impl HtmlSafe for ShareBar {}

impl ShareBar {
    /// A bar for `share` with the interval `low` to `high`, on an axis that ends at `full`.
    ///
    /// Use one `full` for all the bars of a table. Values are held between 0 and `full`; a value that is not a
    /// number is drawn at 0.
    pub fn new(share: f64, low: f64, high: f64, full: f64) -> ShareBar {
        let full = if full.is_finite() && full > 0.0 {
            full
        } else {
            1.0
        };
        let held = |value: f64| {
            if value.is_finite() {
                value.clamp(0.0, full)
            } else {
                0.0
            }
        };
        ShareBar {
            share: held(share),
            low: held(low),
            high: held(high),
            full,
        }
    }

    /// The end of an axis that fits the largest of these upper ends: the next of a few round shares.
    pub fn axis_end(highs: impl IntoIterator<Item = f64>) -> f64 {
        let largest = highs
            .into_iter()
            .filter(|high| high.is_finite())
            .fold(0.0, f64::max);
        [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8]
            .into_iter()
            .find(|end| largest <= *end)
            .unwrap_or(1.0)
    }

    fn width(&self) -> String {
        self.percent(self.share)
    }

    fn from(&self) -> String {
        self.percent(self.low)
    }

    fn to(&self) -> String {
        self.percent(self.high)
    }

    fn percent(&self, value: f64) -> String {
        format!("{:.2}%", 100.0 * value / self.full)
    }
}

#[cfg(test)]
mod tests {
    use super::ShareBar;

    #[test]
    fn positions_are_shares_of_the_axis() {
        let bar = ShareBar::new(0.2, 0.1, 0.35, 0.4);
        assert_eq!(
            (bar.width().as_str(), bar.from().as_str(), bar.to().as_str()),
            ("50.00%", "25.00%", "87.50%")
        );
    }

    #[test]
    fn nothing_is_drawn_outside_the_axis() {
        let bar = ShareBar::new(f64::NAN, -0.2, 1.7, 0.0);
        assert_eq!(
            (bar.width().as_str(), bar.from().as_str(), bar.to().as_str()),
            ("0.00%", "0.00%", "100.00%")
        );
    }

    #[test]
    fn axis_ends_at_a_round_share_above_all() {
        assert_eq!(ShareBar::axis_end([0.12, 0.31, f64::NAN]), 0.4);
        assert_eq!(ShareBar::axis_end([0.93]), 1.0);
        assert_eq!(ShareBar::axis_end([]), 0.1);
    }
}
