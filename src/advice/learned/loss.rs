//! How large a loss of pressure a cause leads to.
//!
//! Two pictures of each cause, weighed by how well they foretold its cases (Bayesian model
//! averaging; Hoeting et al., Stat. Sci. 14 (1999) 382, from memory): the usual range of
//! common practice, evenly filled and with a little beyond; and a normal distribution whose
//! mean and variance the cases move (Gelman et al., Bayesian Data Analysis, section 3.3).
//! How much the range is trusted beforehand is averaged over all causes.

use std::collections::BTreeMap;

use statrs::function::gamma::ln_gamma;

use super::shares_of;
use crate::statistics::tables::Losses;

/// What the range of common practice is worth as a normal distribution, in cases.
const WORTH: f64 = 4.0;
/// Share of the losses that lie outside the usual range.
const BEYOND: f64 = 0.03;
/// Decades by which rounding may carry a loss over the edge of its range.
const ROUNDING: f64 = 0.05;
/// Trust in the ranges: the chance that losses of a cause fill the range evenly.
const TRUSTS: [f64; 5] = [0.1, 0.3, 0.5, 0.7, 0.9];

/// Chance density of the decades lost.
#[derive(Clone, Debug)]
pub(crate) struct LossModel {
    /// Share of the even range.
    share: f64,
    range: (f64, f64),
    seen: Losses,
    normal: Student,
    /// The normal distribution before any case: what lies beyond the range.
    beyond: Student,
}

/// Student's t distribution.
#[derive(Clone, Copy, Debug)]
struct Student {
    mean: f64,
    scale: f64,
    degrees: f64,
    constant: f64,
}

/// The models of causes with these usual ranges and these losses seen.
pub(super) fn models(causes: &[((f64, f64), Losses)]) -> Vec<LossModel> {
    let drafts: Vec<(LossModel, f64)> = causes
        .iter()
        .map(|(range, seen)| {
            let draft = LossModel {
                share: 0.0,
                range: *range,
                seen: seen.clone(),
                normal: Student::learned(*range, seen),
                beyond: Student::learned(*range, &Losses::default()),
            };
            let against = draft.ln_range_against_normal(seen);
            (draft, against)
        })
        .collect();
    let fits = TRUSTS.map(|trust| {
        drafts
            .iter()
            .map(|(_, ln)| (trust * ln.exp() + 1.0 - trust).ln())
            .sum()
    });
    let shares = shares_of(&fits);
    drafts
        .into_iter()
        .map(|(draft, ln)| {
            let of_range = |trust: f64| trust / (trust + (1.0 - trust) * (-ln).exp());
            let parts = TRUSTS.iter().zip(&shares);
            LossModel {
                share: parts.map(|(trust, share)| share * of_range(*trust)).sum(),
                ..draft
            }
        })
        .collect()
}

impl LossModel {
    /// ln of the density at a loss.
    pub(crate) fn ln_density(&self, decades: f64) -> f64 {
        self.mixed(decades, &self.normal)
    }

    /// Mean and variance of [`LossModel::ln_density`] over the losses that the cause leads to.
    pub(crate) fn ln_density_expected(&self) -> (f64, f64) {
        // The steps are half the least scatter a model has, that of reading.
        let steps = (-400..=400).map(|step| 0.05 * f64::from(step));
        let (mut mass, mut sum, mut squares) = (0.0, 0.0, 0.0);
        for ln in steps.map(|at| self.ln_density(at)) {
            let density = ln.exp();
            mass += density;
            sum += density * ln;
            squares += density * ln * ln;
        }
        let mean = sum / mass;
        (mean, (squares / mass - mean * mean).max(0.0))
    }

    /// As [`LossModel::ln_density`], had a case with this loss not been counted.
    pub(super) fn ln_density_without(&self, decades: f64, weight: f64) -> f64 {
        let left = Losses {
            cases: (self.seen.cases - weight).max(0.0),
            sum: self.seen.sum - weight * decades,
            squares: self.seen.squares - weight * decades * decades,
            tenths: BTreeMap::new(),
        };
        self.mixed(decades, &Student::learned(self.range, &left))
    }

    fn mixed(&self, decades: f64, normal: &Student) -> f64 {
        let even = self.share * self.even(decades);
        (even + (1.0 - self.share) * normal.ln_density(decades).exp())
            .max(f64::MIN_POSITIVE)
            .ln()
    }

    fn even(&self, decades: f64) -> f64 {
        let (low, high) = (self.range.0 - ROUNDING, self.range.1 + ROUNDING);
        let inside = if (low..=high).contains(&decades) {
            (1.0 - BEYOND) / (high - low)
        } else {
            0.0
        };
        inside + BEYOND * self.beyond.ln_density(decades).exp()
    }

    /// ln of how much better the even range foretold the losses than the normal
    /// distribution; at most 500 either way.
    fn ln_range_against_normal(&self, seen: &Losses) -> f64 {
        let even: f64 = seen
            .tenths
            .iter()
            .map(|(tenth, cases)| {
                let middle = (f64::from(*tenth) + 0.5) / 10.0;
                cases * self.even(middle).max(f64::MIN_POSITIVE).ln()
            })
            .sum();
        (even - Student::ln_marginal(self.range, seen)).clamp(-500.0, 500.0)
    }
}

impl Student {
    fn learned(range: (f64, f64), seen: &Losses) -> Self {
        let (mean, _) = normal(range);
        let worth = WORTH + seen.cases;
        let degrees = 2.0 * WORTH + seen.cases;
        let square = squares(range, seen) / degrees;
        let scale = (square * (1.0 + 1.0 / worth)).sqrt();
        Self {
            mean: (WORTH * mean + seen.sum) / worth,
            scale,
            degrees,
            constant: ln_gamma((degrees + 1.0) / 2.0)
                - ln_gamma(degrees / 2.0)
                - 0.5 * (degrees * std::f64::consts::PI).ln()
                - scale.ln(),
        }
    }

    fn ln_density(&self, decades: f64) -> f64 {
        let z = (decades - self.mean) / self.scale;
        self.constant - (self.degrees + 1.0) / 2.0 * (z * z / self.degrees).ln_1p()
    }

    /// ln of the chance density of all losses seen, before any of them.
    fn ln_marginal(range: (f64, f64), seen: &Losses) -> f64 {
        let (before, after) = (2.0 * WORTH, 2.0 * WORTH + seen.cases);
        let half_ln = |degrees: f64, squares: f64| degrees / 2.0 * squares.ln();
        ln_gamma(after / 2.0) - ln_gamma(before / 2.0)
            + half_ln(before, squares(range, &Losses::default()))
            - half_ln(after, squares(range, seen))
            + 0.5 * (WORTH / (WORTH + seen.cases)).ln()
            - seen.cases / 2.0 * std::f64::consts::PI.ln()
    }
}

/// Mean and variance of a range evenly filled, with the error of reading.
fn normal((low, high): (f64, f64)) -> (f64, f64) {
    ((low + high) / 2.0, (high - low).powi(2) / 12.0 + 0.01)
}

/// Sum of squares about the mean that prior and cases are worth together.
fn squares(range: (f64, f64), seen: &Losses) -> f64 {
    let (mean, variance) = normal(range);
    let before = 2.0 * WORTH * variance;
    if seen.cases <= 0.0 {
        return before;
    }
    let average = seen.sum / seen.cases;
    let scatter = (seen.squares - seen.cases * average * average).max(0.0);
    let shift = WORTH * seen.cases / (WORTH + seen.cases) * (average - mean).powi(2);
    before + scatter + shift
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(losses: &[f64]) -> Losses {
        let mut seen = Losses::default();
        for loss in losses {
            seen.cases += 1.0;
            seen.sum += loss;
            seen.squares += loss * loss;
            *seen.tenths.entry((loss * 10.0).floor() as i32).or_default() += 1.0;
        }
        seen
    }

    #[test]
    fn every_model_is_a_density() {
        let inside: Vec<f64> = (0..30).map(|at| 0.5 + f64::from(at) / 20.0).collect();
        let narrow: Vec<f64> = (0..30).map(|at| 3.0 + f64::from(at) / 100.0).collect();
        let causes = [
            ((0.5, 2.0), Losses::default()),
            ((0.5, 2.0), seen(&inside)),
            ((0.5, 2.0), seen(&narrow)),
            ((1.0, 1.0), seen(&[1.0])),
        ];
        for model in models(&causes) {
            let steps = (-30_000..30_000).map(|step| f64::from(step) / 1000.0);
            let whole: f64 = steps.map(|at| model.ln_density(at).exp() / 1000.0).sum();
            assert!((whole - 1.0).abs() < 1e-2, "{whole} of {model:?}");
        }
    }

    #[test]
    fn cases_tell_whether_the_usual_range_holds() {
        let even: Vec<f64> = (0..60).map(|at| 0.5 + f64::from(at % 30) / 20.0).collect();
        let elsewhere: Vec<f64> = (0..30).map(|at| 3.0 + f64::from(at) / 100.0).collect();
        let causes = [((0.5, 2.0), seen(&even)), ((0.5, 2.0), seen(&elsewhere))];
        let [holds, fails] = models(&causes).try_into().unwrap();
        assert!(
            holds.share > 0.9 && fails.share < 0.01,
            "{holds:?} {fails:?}"
        );
        assert!(fails.ln_density(3.15) > fails.ln_density(1.0) + 2.0);
        // Without the only case that lay there, the loss is a surprise.
        let single = models(&[((0.5, 2.0), seen(&[4.0]))]).remove(0);
        assert!(single.ln_density_without(4.0, 1.0) < single.ln_density(4.0));
    }
}
