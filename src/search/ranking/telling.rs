//! What the words of a case tell of its cause, learnt from the fleet's own cases.
//!
//! Logistic regression with one class a cause (Cox 1958; several classes: Theil 1969, from memory)
//! on the words of each case weighted by rarity, with a penalty on large weights, fitted by
//! stochastic gradient descent with steps of AdaGrad (Duchi, Hazan and Singer 2011, from memory).
//! Words are the digests of [`crate::search::ranking::rarity`]. Bounded in cases, words and causes; the same for the
//! same cases. Pure.

use std::collections::{BTreeMap, HashMap};

use rand::{SeedableRng, seq::SliceRandom};
use rand_chacha::ChaCha8Rng;

use super::rarity::{Rarity, Row};

/// Causes told apart at most, the commonest.
const MOST_CAUSES: usize = 128;

/// A cause of fewer cases cannot be learnt.
const FEWEST: usize = 2;

/// How much the cases count against the penalty on large weights.
const TRUST: f32 = 5.0;

const ROUNDS: usize = 10;

const STEP: f32 = 0.5;

/// How much of how common a cause is, as a power, is taken out of what words tell of it: the nearest
/// cases say that already ([`crate::search::ranking::spread`]), and a cause that is rare would never be told.
const EVENED: f32 = 0.75;

/// A cause stands out with at least this chance, and this share of the highest.
const LIKELY: f32 = 0.25;
const NEARLY: f32 = 0.7;

/// The sum of squares that steps begin with.
const BEGINNING: f32 = 1e-3;

/// What each word tells.
#[derive(Clone, Debug, Default)]
pub(in crate::search) struct Telling {
    causes: HashMap<String, usize>,
    /// For each word what it says for each cause.
    words: Vec<f32>,
    /// How common each cause is.
    common: Vec<f32>,
    /// What the chance of each cause is divided by, so that what words tell beside that is left.
    evened: Vec<f32>,
}

/// What the words of one text tell of each cause; nothing if nothing was learnt.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::search) struct Told {
    /// Chances, evened between common and rare causes.
    chances: Vec<f32>,
    highest: f32,
    /// The causes that stand out by how likely they are.
    likely: Vec<String>,
}

impl Telling {
    /// Learns from cases, each with its words and its cause, if it has one.
    pub(in crate::search) fn new(rarity: &Rarity, cases: &[(Vec<u64>, Option<String>)]) -> Self {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        for cause in cases.iter().filter_map(|(_, cause)| cause.as_deref()) {
            *counts.entry(cause).or_default() += 1;
        }
        let mut causes: Vec<_> = counts
            .into_iter()
            .filter(|(_, count)| *count >= FEWEST)
            .collect();
        causes.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
        causes.truncate(MOST_CAUSES);
        if causes.len() < 2 || rarity.len() == 0 {
            return Self::default();
        }
        let causes: HashMap<String, usize> = causes
            .into_iter()
            .enumerate()
            .map(|(at, (cause, _))| (cause.to_owned(), at))
            .collect();
        let rows: Vec<(Row, usize)> = cases
            .iter()
            .filter_map(|(words, cause)| {
                let cause = *causes.get(cause.as_ref()?)?;
                let row = rarity.row(words.iter().map(|word| (*word, 1.0)));
                Some((row, cause))
            })
            .collect();
        let (words, common) = fitted(rarity, &rows, causes.len());
        let mut evened = vec![0.0_f32; causes.len()];
        for (_, cause) in &rows {
            evened[*cause] += 1.0;
        }
        evened.iter_mut().for_each(|held| *held = held.powf(EVENED));
        Self {
            causes,
            words,
            common,
            evened,
        }
    }

    /// What the words of a text tell, each with how much it counts.
    pub(in crate::search) fn told(&self, row: &Row) -> Told {
        if self.causes.is_empty() || row.is_empty() {
            return Told::default();
        }
        let mut chances = said(row, &self.words, &self.common);
        into_chances(&mut chances);
        let highest = chances.iter().copied().fold(0.0, f32::max);
        let stands_out = |at: usize| chances[at] >= LIKELY && chances[at] >= NEARLY * highest;
        let likely = self.causes.iter().filter(|(_, at)| stands_out(**at));
        let mut likely: Vec<String> = likely.map(|(cause, _)| cause.clone()).collect();
        likely.sort_unstable();
        let common = self.evened.iter();
        chances.iter_mut().zip(common).for_each(|(x, y)| *x /= y);
        let all: f32 = chances.iter().sum();
        chances.iter_mut().for_each(|x| *x /= all);
        let highest = chances.iter().copied().fold(0.0, f32::max);
        Told {
            chances,
            highest,
            likely,
        }
    }

    /// How much words tell of this cause, against the one they tell most of: from 0 to 1.
    pub(in crate::search) fn of_cause(&self, told: &Told, cause: &str) -> f32 {
        let Some(chance) = self.causes.get(cause).and_then(|at| told.chances.get(*at)) else {
            return 0.0;
        };
        chance / told.highest
    }
}

impl Told {
    /// Whether nothing is told.
    pub(in crate::search) fn is_empty(&self) -> bool {
        self.chances.is_empty()
    }

    /// Whether the words tell of this cause more than of most.
    pub(in crate::search) fn stands_out(&self, cause: &str) -> bool {
        self.likely.iter().any(|likely| likely == cause)
    }

    /// The same as [`Telling::of_cause`] of a text whose cause is not known, as far as its own
    /// words tell it.
    pub(in crate::search) fn of_text(&self, other: &Self) -> f32 {
        let both = self.chances.iter().zip(&other.chances);
        let both: f32 = both.map(|(a, b)| a * b).sum();
        if self.highest > 0.0 {
            both / self.highest
        } else {
            0.0
        }
    }
}

/// What words say for each cause, and how common each cause is.
fn fitted(rarity: &Rarity, rows: &[(Row, usize)], causes: usize) -> (Vec<f32>, Vec<f32>) {
    let mut words = vec![0.0_f32; rarity.len() * causes];
    let mut squares = vec![BEGINNING; words.len()];
    let mut common = vec![0.0_f32; causes];
    let mut common_squares = vec![BEGINNING; causes];
    let mut order: Vec<usize> = (0..rows.len()).collect();
    let mut dice = ChaCha8Rng::seed_from_u64(1);
    for _ in 0..ROUNDS {
        order.shuffle(&mut dice);
        for at in &order {
            let (row, cause) = &rows[*at];
            let mut off = said(row, &words, &common);
            into_chances(&mut off);
            off[*cause] -= 1.0;
            for (word, share) in row {
                // A word meets its penalty once for each case that holds it.
                let penalty = 1.0 / (TRUST * rarity.held(*word) as f32);
                let own = word * causes..(word + 1) * causes;
                let own = words[own.clone()].iter_mut().zip(&mut squares[own]);
                for ((weight, squares), off) in own.zip(&off) {
                    let slope = share * off + penalty * *weight;
                    *squares += slope * slope;
                    *weight -= STEP * slope / squares.sqrt();
                }
            }
            for ((weight, squares), off) in common.iter_mut().zip(&mut common_squares).zip(&off) {
                *squares += off * off;
                *weight -= STEP * off / squares.sqrt();
            }
        }
    }
    (words, common)
}

fn said(row: &Row, words: &[f32], common: &[f32]) -> Vec<f32> {
    let mut said = common.to_vec();
    for (word, share) in row {
        let own = &words[word * common.len()..(word + 1) * common.len()];
        for (sum, weight) in said.iter_mut().zip(own) {
            *sum += share * weight;
        }
    }
    said
}

/// Chances in proportion to the exponentials.
fn into_chances(said: &mut [f32]) {
    let most = said.iter().copied().fold(f32::MIN, f32::max);
    said.iter_mut().for_each(|x| *x = (*x - most).exp());
    let all: f32 = said.iter().sum();
    said.iter_mut().for_each(|x| *x /= all);
}

#[cfg(test)]
mod tests {
    use rand::RngExt;

    use super::*;

    /// Two causes, each told in words of its own among common ones.
    fn cases() -> Vec<(Vec<u64>, Option<String>)> {
        let mut dice = ChaCha8Rng::seed_from_u64(7);
        let case = |n: u64, dice: &mut ChaCha8Rng| {
            let cause = n % 2;
            let own = 100 * (1 + cause) + dice.random_range(0..6);
            let mut words = vec![own, dice.random_range(0..20), dice.random_range(20..40)];
            words.sort_unstable();
            (words, Some(format!("cause-{cause}")))
        };
        (0..200).map(|n| case(n, &mut dice)).collect()
    }

    fn learnt(cases: &[(Vec<u64>, Option<String>)]) -> (Rarity, Telling) {
        let rarity = Rarity::new(cases.iter().map(|(words, _)| words.as_slice()));
        let telling = Telling::new(&rarity, cases);
        (rarity, telling)
    }

    #[test]
    fn words_of_a_cause_tell_it_and_common_ones_do_not() {
        let (rarity, telling) = learnt(&cases());
        let told = |words: &[u64]| telling.told(&rarity.row(words.iter().map(|w| (*w, 1.0))));
        let first = told(&[102, 5]);
        assert!((telling.of_cause(&first, "cause-0") - 1.0).abs() < 1e-6);
        assert!(telling.of_cause(&first, "cause-1") < 0.3);
        assert!(telling.of_cause(&first, "cause-2").abs() < 1e-6);
        let same = first.of_text(&told(&[104, 30]));
        let other = first.of_text(&told(&[204, 30]));
        assert!(same > 2.0 * other, "{same} against {other}");
        assert!(told(&[9_999]).is_empty());
    }

    #[test]
    fn a_rare_cause_is_told_beside_a_common_one_though_it_stays_unlikely() {
        let mut dice = ChaCha8Rng::seed_from_u64(11);
        let case = |n: u64| {
            let cause = u64::from(n.is_multiple_of(10));
            let own = 100 * (1 + cause) + dice.random_range(0..6);
            let mut words = vec![own, dice.random_range(0..20), dice.random_range(20..40)];
            words.sort_unstable();
            (words, Some(format!("cause-{cause}")))
        };
        let cases: Vec<_> = (0..400).map(case).collect();
        let (rarity, telling) = learnt(&cases);
        let told = telling.told(&rarity.row([(5, 1.0), (25, 1.0)]));
        assert!(told.stands_out("cause-0") && !told.stands_out("cause-1"));
        let rare = telling.of_cause(&told, "cause-1");
        // Nine in ten cases have the other: by chances alone it would be told a ninth of it.
        assert!(rare > 0.3, "{rare}");
    }

    #[test]
    fn the_same_cases_teach_the_same_and_one_cause_nothing() {
        let (rarity, telling) = learnt(&cases());
        let (_, again) = learnt(&cases());
        let row = rarity.row([(102, 1.0)]);
        assert_eq!(telling.told(&row), again.told(&row));
        let mut one = cases();
        one.retain(|(_, cause)| cause.as_deref() == Some("cause-0"));
        let (rarity, telling) = learnt(&one);
        assert!(telling.told(&rarity.row([(102, 1.0)])).is_empty());
    }
}
