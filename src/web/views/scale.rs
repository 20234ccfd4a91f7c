//! Pressures on a ruled scale of decades, in the unit people read and in pascals.
//!
//! Positions are percentages of the drawing's width, so that the lettering keeps its size on a phone. The upper
//! side of the rule carries the unit as typed, the lower side pascals, as on a slide rule.

use askama::Template;
use askama::filters::HtmlSafe;

/// Which of an incident's pressures a mark stands for. Each has its own shape as well as its own colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MarkKind {
    /// What the tool reached when it was well: a ring.
    Healthy,
    /// What it reached at the fault: a triangle.
    Faulty,
    /// What it reached after the fix: a diamond.
    Restored,
}

impl MarkKind {
    /// The style class and the name of the shape in the sprite.
    pub fn class(self) -> &'static str {
        match self {
            MarkKind::Healthy => "healthy",
            MarkKind::Faulty => "faulty",
            MarkKind::Restored => "restored",
        }
    }

    /// The word people read.
    pub fn word(self) -> &'static str {
        match self {
            MarkKind::Healthy => "Healthy",
            MarkKind::Faulty => "At the fault",
            MarkKind::Restored => "After the fix",
        }
    }
}

/// A rule of decades with up to three marks.
#[derive(Clone, Debug, Template)]
#[template(path = "parts/scale.html")]
pub struct DecadeScale {
    description: String,
    unit: String,
    upper: Vec<Tick>,
    lower: Vec<Tick>,
    marks: Vec<Placed>,
    loss: Option<Span>,
}

impl HtmlSafe for DecadeScale {}

#[derive(Clone, Debug, PartialEq)]
struct Tick {
    at: String,
    /// The power of ten, on the ticks that carry one.
    power: Option<String>,
    major: bool,
}

#[derive(Clone, Debug, PartialEq)]
struct Placed {
    at: String,
    class: &'static str,
}

#[derive(Clone, Debug, PartialEq)]
struct Span {
    from: String,
    to: String,
    middle: String,
    text: String,
}

impl DecadeScale {
    /// A scale that holds these pressures, in pascals, lettered in `unit` (one of which is
    /// `pascals_per_unit` pascals) and in pascals.
    ///
    /// None if no pressure is above zero and finite, since a scale of decades has no place for the others.
    pub fn new(
        unit: &str,
        pascals_per_unit: f64,
        marks: &[(MarkKind, f64)],
    ) -> Option<DecadeScale> {
        if !(pascals_per_unit.is_finite() && pascals_per_unit > 0.0) {
            return None;
        }
        let mut known: Vec<(MarkKind, f64)> = marks
            .iter()
            .filter(|(_, pascals)| pascals.is_finite() && *pascals > 0.0)
            .map(|(kind, pascals)| (*kind, (pascals / pascals_per_unit).log10()))
            .collect();
        known.sort_by(|one, other| one.1.total_cmp(&other.1));
        let lowest = known.first()?.1;
        let highest = known.last()?.1;
        let mut start = (lowest - 0.15).floor();
        let mut end = (highest + 0.15).ceil();
        while end - start < 3.0 {
            start -= 1.0;
            if end - start < 3.0 {
                end += 1.0;
            }
        }
        let place = |exponent: f64| 100.0 * (exponent - start) / (end - start);
        let percent = |exponent: f64| format!("{:.2}%", place(exponent));

        let in_pascals = pascals_per_unit.log10();
        let one_unit = in_pascals.abs() < 1e-9;
        let every = if end - start > 7.0 { 2 } else { 1 };
        let find = |wanted: MarkKind| {
            known
                .iter()
                .find(|(kind, _)| *kind == wanted)
                .map(|(_, at)| *at)
        };
        let loss = match (find(MarkKind::Healthy), find(MarkKind::Faulty)) {
            (Some(healthy), Some(faulty)) if faulty > healthy => Some(Span {
                from: percent(healthy),
                to: percent(faulty),
                middle: format!("{:.2}%", place((healthy + faulty) / 2.0).clamp(14.0, 86.0)),
                text: format!("{:.1} decades lost", faulty - healthy),
            }),
            _ => None,
        };
        let spoken: Vec<String> = known
            .iter()
            .map(|(kind, at)| {
                format!(
                    "{} {:.1e} {unit}",
                    kind.word().to_lowercase(),
                    10f64.powf(*at)
                )
            })
            .collect();
        Some(DecadeScale {
            description: format!("Pressures on a scale of decades: {}.", spoken.join(", ")),
            unit: unit.to_owned(),
            upper: ticks(start, end, 0.0, every),
            lower: if one_unit {
                Vec::new()
            } else {
                ticks(start, end, in_pascals, every)
            },
            marks: known
                .iter()
                .map(|(kind, at)| Placed {
                    at: percent(*at),
                    class: kind.class(),
                })
                .collect(),
            loss,
        })
    }
}

/// Ticks at 1 to 9 of every decade between two exponents; `shift` is the exponent that the second unit adds.
fn ticks(start: f64, end: f64, shift: f64, every: i32) -> Vec<Tick> {
    let first = (start + shift).floor() as i32;
    let last = (end + shift).ceil() as i32;
    let mut ticks = Vec::new();
    for decade in first..=last {
        for step in 1..10u8 {
            let exponent = f64::from(decade) + f64::from(step).log10() - shift;
            if exponent < start - 1e-9 || exponent > end + 1e-9 {
                continue;
            }
            let share = (exponent - start) / (end - start);
            // A figure at the very edge would be cut off.
            let lettered =
                step == 1 && decade.rem_euclid(every) == 0 && (0.04..=0.96).contains(&share);
            ticks.push(Tick {
                at: format!("{:.2}%", 100.0 * share),
                power: lettered.then(|| decade.to_string().replace('-', "\u{2212}")),
                major: step == 1,
            });
        }
    }
    ticks
}

#[cfg(test)]
mod tests {
    use super::{DecadeScale, MarkKind};

    #[test]
    fn marks_stand_at_their_decade() {
        let marks = [(MarkKind::Healthy, 1e-5), (MarkKind::Faulty, 1e-3)];
        let scale = DecadeScale::new("Pa", 1.0, &marks).expect("both are above zero");
        // The rule runs from 1e-6 to 1e-2.
        assert_eq!(scale.marks[0].at, "25.00%");
        assert_eq!(scale.marks[1].at, "75.00%");
        assert_eq!(
            scale.loss.as_ref().expect("a loss").text,
            "2.0 decades lost"
        );
        assert!(scale.lower.is_empty(), "pascals twice say nothing new");
    }

    #[test]
    fn lower_side_is_shifted_by_the_unit() {
        let torr = 101_325.0 / 760.0;
        let scale =
            DecadeScale::new("Torr", torr, &[(MarkKind::Faulty, 5e-6 * torr)]).expect("above zero");
        let upper: Vec<_> = scale
            .upper
            .iter()
            .filter(|tick| tick.power.is_some())
            .collect();
        assert!(
            upper
                .iter()
                .any(|tick| tick.power.as_deref() == Some("\u{2212}6"))
        );
        let lower = scale
            .lower
            .iter()
            .find(|tick| tick.power.as_deref() == Some("\u{2212}4"))
            .expect("1e-4 Pa is on it");
        let upper = scale
            .upper
            .iter()
            .find(|tick| tick.power.as_deref() == Some("\u{2212}6"))
            .expect("1e-6 Torr is on it");
        let number = |text: &str| {
            text.trim_end_matches('%')
                .parse::<f64>()
                .expect("a percentage")
        };
        let decades = 3.0;
        let apart = (number(&upper.at) - number(&lower.at)) / 100.0 * decades;
        // 1e-6 Torr is 1.333e-4 Pa: 0.125 decades above 1e-4 Pa.
        assert!((apart - 0.1249).abs() < 1e-3, "{apart}");
    }

    #[test]
    fn nothing_to_draw_without_a_pressure_above_zero() {
        assert!(DecadeScale::new("Pa", 1.0, &[]).is_none());
        assert!(
            DecadeScale::new(
                "Pa",
                1.0,
                &[(MarkKind::Faulty, 0.0), (MarkKind::Healthy, f64::NAN)]
            )
            .is_none()
        );
        assert!(DecadeScale::new("Pa", 0.0, &[(MarkKind::Faulty, 1.0)]).is_none());
    }
}
