//! Chances of signs, antecedents and findings of checks by cause, from how often they were
//! looked for and seen.
//!
//! A chance starts at common practice `p`, worth `c` cases, and becomes
//! `(c p + seen) / (c + looked)`; `c` is averaged over a grid by the Beta-binomial marginal
//! likelihood of all cells (Gelman et al., Bayesian Data Analysis, chapter 5; formula from
//! memory), apart for chances a cause lists and for background. The background of an item
//! starts at what all other causes that do not list it showed.
//!
//! People write down what they saw sooner than what they looked for in vain, of which only
//! `exp(-shift)`, the same for all, gets written. Then the share seen among what was written
//! down is not the chance, but has larger odds: `logit q = logit p + shift`. The shift is
//! averaged over a grid too, by how well it foretells that share, and the chances are freed of
//! it, since seen and not seen are evidence by `p` and `1 - p` whatever made people write them.
//!
//! Where hardly anything but what was seen is written, that share tells nothing of the chance
//! any more; how many of the cases have it does. So signs and antecedents are learnt with what
//! was looked for in vain and not written put back ([`Cells::written_out`]): how often an item
//! is looked for at all is taken from the causes that list it, whose cases show it as often as
//! it is looked for times its chance. Of a check that was not made nothing is put back, since
//! checks end with the one that finds the cause: there the odds alone are brought back.

use super::{ln_rising, ln_sum, shares_of};
use crate::statistics::tables::Looked;

/// Worths of common practice, in cases.
const STRENGTHS: [f64; 8] = [2.0, 8.0, 32.0, 128.0, 512.0, 2048.0, 8192.0, 32768.0];
/// Expected beforehand, with a spread in natural logarithm.
const STRENGTH: (f64, f64) = (32.0, 2.0);
const SHIFTS: [f64; 8] = [0.0, 0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 5.0];
const SHIFT_SPREAD: f64 = 2.0;
/// A shift that fits worse than the best by this in ln is the last that is tried.
const HOPELESS: f64 = 40.0;
/// Cases that hold how often an item is looked for at what it is for all items.
const LOOKED_PSEUDO_CASES: f64 = 2.0;
/// A shift of a lesser share counts for nothing.
const LEAST_SHARE: f64 = 1e-4;

/// What is known of items under causes: one row a cause, the last of none of them.
pub(super) struct Cells {
    /// Common practice, and whether the cause lists the item.
    pub(super) practice: Vec<Vec<(f64, bool)>>,
    pub(super) counts: Vec<Vec<Looked>>,
    /// Cases of each cause, if an item that was not written down may have been looked for.
    pub(super) cases: Option<Vec<f64>>,
}

/// Chances by cause and item, the last row of the cause that is not listed.
#[derive(Clone, Debug)]
pub(crate) struct Observed {
    pub(crate) chances: Vec<Vec<f64>>,
    /// How many cases, real and pseudo, each chance is worth when one more comes.
    pub(crate) worths: Vec<Vec<f64>>,
}

/// One shift, with what it makes of the worths.
struct Setting {
    shift: f64,
    /// How often each item was seen under the causes that do not list it.
    totals: Vec<Looked>,
    listed: Vec<f64>,
    background: Vec<f64>,
    whole: Vec<f64>,
}

impl Cells {
    /// Learns the chances; none leaves `1 - surest` to `surest`.
    pub(super) fn learn(&self, surest: f64) -> Observed {
        let start = |p: f64| p.clamp(1.0 - surest, surest);
        let known = self.counts.iter().flatten().any(|cell| cell.looked > 0.0);
        if !known {
            let rows = self.practice.iter();
            return Observed {
                chances: rows
                    .map(|row| row.iter().map(|(p, _)| start(*p)).collect())
                    .collect(),
                worths: vec![vec![STRENGTH.0; self.items()]; self.practice.len()],
            };
        }
        let mut settings = Vec::new();
        let mut fits = Vec::new();
        for shift in SHIFTS {
            let (setting, fit) = self.fitted(shift, &start);
            settings.push(setting);
            fits.push(fit - 0.5 * (shift / SHIFT_SPREAD).powi(2));
            let best = fits.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            if fits.last().is_some_and(|fit| best - fit > HOPELESS) {
                break;
            }
        }
        let shares = shares_of(&fits);
        let mut chances = vec![vec![0.0; self.items()]; self.practice.len()];
        let mut pull_of_one = chances.clone();
        let counted = settings.iter().zip(&shares);
        let counted = counted.filter(|(_, share)| **share > LEAST_SHARE);
        for (setting, share) in counted.clone() {
            let whole = self.written_out(setting.shift, &start).map(|cells| {
                let (setting, _) = cells.fitted(0.0, &start);
                (cells, setting)
            });
            let (cells, setting) = match &whole {
                Some((cells, setting)) => (cells, setting),
                None => (self, setting),
            };
            for (row, (practice, counts)) in cells.practice.iter().zip(&cells.counts).enumerate() {
                for (item, (&(p, listed), &seen)) in practice.iter().zip(counts).enumerate() {
                    let (base, strengths) = if listed {
                        (shifted(start(p), setting.shift), &setting.listed)
                    } else {
                        let base = setting.background(start(p), setting.totals[item], seen);
                        (base, &setting.background)
                    };
                    let mean = updated(base, seen, strengths);
                    chances[row][item] += share * shifted(mean, -setting.shift);
                    let pulls = STRENGTHS.iter().zip(strengths);
                    let pull: f64 = pulls.map(|(c, part)| part / (c + seen.looked)).sum();
                    pull_of_one[row][item] += share * pull;
                }
            }
        }
        let total: f64 = counted.map(|(_, share)| share).sum();
        for chance in chances.iter_mut().flatten() {
            *chance = start(*chance / total);
        }
        let worths = pull_of_one.into_iter().map(|row| {
            row.into_iter()
                .map(|pull: f64| total / pull.max(f64::MIN_POSITIVE))
                .collect()
        });
        Observed {
            chances,
            worths: worths.collect(),
        }
    }

    fn items(&self) -> usize {
        self.practice.first().map_or(0, Vec::len)
    }

    /// How often an item was seen under the causes that do not list it.
    fn total(&self, item: usize) -> Looked {
        let rows = self.practice.iter().zip(&self.counts);
        rows.filter(|(practice, _)| !practice[item].1).fold(
            Looked::default(),
            |sum, (_, counts)| Looked {
                seen: sum.seen + counts[item].seen,
                looked: sum.looked + counts[item].looked,
            },
        )
    }

    /// The cells with what was looked for in vain and not written put back, if only
    /// `exp(-shift)` of it was written; none if nothing can be put back.
    fn written_out(&self, shift: f64, start: &dyn Fn(f64) -> f64) -> Option<Self> {
        let cases = self.cases.as_ref()?;
        let unwritten = 1.0 - (-shift).exp();
        let rates = self.looked_for(cases, start);
        let whole = |(counts, cases): (&Vec<Looked>, &f64)| {
            let of = |(counts, rate): (&Looked, &f64)| {
                let in_vain = (cases * rate - counts.seen).max(0.0);
                Looked {
                    seen: counts.seen,
                    looked: counts.looked + unwritten * in_vain,
                }
            };
            counts.iter().zip(&rates).map(of).collect()
        };
        Some(Self {
            practice: self.practice.clone(),
            counts: self.counts.iter().zip(cases).map(whole).collect(),
            cases: None,
        })
    }

    /// How often each item is looked for in a case, as far as the causes that list it tell.
    fn looked_for(&self, cases: &[f64], start: &dyn Fn(f64) -> f64) -> Vec<f64> {
        let of_item = |item: usize| {
            let rows = self.practice.iter().zip(&self.counts).zip(cases);
            rows.filter(|((practice, _), _)| practice[item].1).fold(
                (0.0, 0.0),
                |(seen, expected), ((practice, counts), cases)| {
                    let expected = expected + cases * start(practice[item].0);
                    (seen + counts[item].seen, expected)
                },
            )
        };
        let items: Vec<(f64, f64)> = (0..self.items()).map(of_item).collect();
        let (seen, expected) = items
            .iter()
            .fold((0.0, 0.0), |sum, item| (sum.0 + item.0, sum.1 + item.1));
        let usual = if expected > 0.0 { seen / expected } else { 0.0 }.min(1.0);
        items
            .into_iter()
            .map(|(seen, expected)| {
                let seen = seen + LOOKED_PSEUDO_CASES * usual;
                (seen / (expected + LOOKED_PSEUDO_CASES)).min(1.0)
            })
            .collect()
    }

    fn fitted(&self, shift: f64, start: &dyn Fn(f64) -> f64) -> (Setting, f64) {
        let totals: Vec<Looked> = (0..self.items()).map(|item| self.total(item)).collect();
        let backgrounds = self.practice.last().into_iter().flatten();
        let whole = fits_of(
            backgrounds
                .zip(&totals)
                .map(|(&(p, _), &total)| (shifted(start(p), shift), total)),
        );
        let mut setting = Setting {
            shift,
            listed: Vec::new(),
            background: Vec::new(),
            whole: shares_of(&whole),
            totals,
        };
        let cells = |wanted: bool| {
            self.practice
                .iter()
                .zip(&self.counts)
                .flat_map(|(practice, counts)| practice.iter().zip(counts).enumerate())
                .filter(move |(_, ((_, listed), seen))| *listed == wanted && seen.looked > 0.0)
        };
        let listed =
            fits_of(cells(true).map(|(_, (&(p, _), &seen))| (shifted(start(p), shift), seen)));
        let background = fits_of(cells(false).map(|(item, (&(p, _), &seen))| {
            (
                setting.background(start(p), setting.totals[item], seen),
                seen,
            )
        }));
        setting.listed = shares_of(&listed);
        setting.background = shares_of(&background);
        (setting, ln_sum(&listed) + ln_sum(&background))
    }
}

impl Setting {
    /// Share seen that a background cell starts at: that of the item under all causes that
    /// do not list it, without the cell itself.
    fn background(&self, practice: f64, total: Looked, own: Looked) -> f64 {
        let others = Looked {
            seen: (total.seen - own.seen).max(0.0),
            looked: (total.looked - own.looked).max(0.0),
        };
        updated(shifted(practice, self.shift), others, &self.whole)
    }
}

/// ln of the marginal likelihood of cells (start, counts) at each strength, with the
/// expectation of the strength beforehand.
fn fits_of(cells: impl Iterator<Item = (f64, Looked)>) -> Vec<f64> {
    let mut fits: Vec<f64> = STRENGTHS
        .iter()
        .map(|c| -0.5 * ((c / STRENGTH.0).ln() / STRENGTH.1).powi(2))
        .collect();
    for (start, Looked { seen, looked }) in cells {
        for (fit, c) in fits.iter_mut().zip(STRENGTHS) {
            *fit += ln_rising(c * start, seen)
                + ln_rising(c * (1.0 - start), (looked - seen).max(0.0))
                - ln_rising(c, looked);
        }
    }
    fits
}

fn updated(start: f64, Looked { seen, looked }: Looked, strengths: &[f64]) -> f64 {
    STRENGTHS
        .iter()
        .zip(strengths)
        .map(|(c, share)| share * (c * start + seen) / (c + looked))
        .sum()
}

/// The chance whose logit is larger by `shift`.
fn shifted(p: f64, shift: f64) -> f64 {
    let factor = shift.exp();
    p * factor / (p * factor + 1.0 - p)
}
