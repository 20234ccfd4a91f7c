//! Share of the searches of a class that end without a listed cause.
//!
//! How often people give up or meet something that no list holds has more to do with the
//! people than with the class, so classes are pooled in a model of their own: the share of a
//! class is beta distributed around one share of the fleet, as closely as a strength says.
//! Both are averaged over a grid by the Beta-binomial marginal likelihood of all classes
//! (Gelman et al., Bayesian Data Analysis, chapter 5; formula from memory). Common practice
//! counts as a few cases; without any other it stands.

use super::{UNLISTED_SHARE, ln_rising, shares_of};

/// Cases that common practice is worth.
const PRACTICE_CASES: f64 = 30.0;
/// Cases that the fleet's share is worth in a class.
const STRENGTHS: [f64; 6] = [10.0, 32.0, 100.0, 320.0, 1000.0, 3200.0];
/// Steps of the fleet's share, even in the square root.
const STEPS: u32 = 120;

/// A share and its variance.
pub(super) struct Share {
    pub(super) mean: f64,
    pub(super) variance: f64,
}

/// The shares of the classes, from how many cases of each ended so and how many there were.
pub(super) fn shares(counts: &[(f64, f64)]) -> Vec<Share> {
    let grid = grid();
    let fits: Vec<f64> = grid
        .iter()
        .map(
            |&Setting {
                 practice,
                 share,
                 strength,
             }| {
                counts.iter().fold(practice, |fit, &(unlisted, cases)| {
                    fit + ln_rising(strength * share, unlisted)
                        + ln_rising(strength * (1.0 - share), cases - unlisted)
                        - ln_rising(strength, cases)
                })
            },
        )
        .collect();
    let parts = shares_of(&fits);
    counts
        .iter()
        .map(|&(unlisted, cases)| {
            let (mut mean, mut square) = (0.0, 0.0);
            for (set, part) in grid.iter().zip(&parts) {
                let worth = set.strength + cases;
                let of = (set.strength * set.share + unlisted) / worth;
                mean += part * of;
                square += part * of * (of * worth + 1.0) / (worth + 1.0);
            }
            let variance = (square - mean * mean).max(0.0);
            Share { mean, variance }
        })
        .collect()
}

struct Setting {
    /// ln of what common practice makes of it.
    practice: f64,
    share: f64,
    strength: f64,
}

/// Settings that come to common practice without any case.
fn grid() -> Vec<Setting> {
    let (a, b) = (
        PRACTICE_CASES * UNLISTED_SHARE,
        PRACTICE_CASES * (1.0 - UNLISTED_SHARE),
    );
    let steps: Vec<(f64, f64)> = (0..STEPS)
        .map(|step| {
            let share = ((f64::from(step) + 0.5) / f64::from(STEPS)).powi(2);
            // Steps are as wide as the square root of the share.
            let practice = (a - 0.5) * share.ln() + (b - 1.0) * (1.0 - share).ln();
            (practice, share)
        })
        .collect();
    let parts = shares_of(&steps.iter().map(|step| step.0).collect::<Vec<_>>());
    let mean: f64 = steps
        .iter()
        .zip(&parts)
        .map(|(step, part)| part * step.1)
        .sum();
    steps
        .into_iter()
        .flat_map(|(practice, share)| {
            STRENGTHS.map(|strength| Setting {
                practice,
                share: (share * UNLISTED_SHARE / mean).min(0.999),
                strength,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_alike_are_pooled_and_classes_apart_are_not() {
        let alike = shares(&[(30.0, 300.0); 5].map(|count| count));
        let lonely = shares(&[(0.0, 0.0), (30.0, 300.0), (33.0, 300.0), (27.0, 300.0)]);
        assert!((alike[0].mean - 0.1).abs() < 0.005, "{}", alike[0].mean);
        assert!((lonely[0].mean - 0.1).abs() < 0.02, "{}", lonely[0].mean);
        assert!(lonely[0].variance > 3.0 * alike[0].variance);
        let apart = shares(&[(3.0, 300.0), (90.0, 300.0), (6.0, 300.0), (60.0, 300.0)]);
        assert!((apart[1].mean - 0.3).abs() < 0.02 && apart[0].mean < 0.025);
        let nothing = shares(&[(0.0, 0.0); 2]);
        assert!((nothing[1].mean - UNLISTED_SHARE).abs() < 1e-12);
        assert!(nothing[1].variance > 0.0);
    }
}
