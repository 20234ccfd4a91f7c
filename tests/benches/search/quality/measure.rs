//! The measures, one code for every engine.

use std::collections::BTreeMap;

use super::task::Ranking;

/// One line of the table.
#[derive(Clone, Debug)]
pub struct Row {
    /// The set.
    pub set: String,
    /// What is measured.
    pub measure: &'static str,
    /// The figure.
    pub value: f64,
}

impl Row {
    /// A line.
    pub fn new(set: impl Into<String>, measure: &'static str, value: f64) -> Self {
        Self {
            set: set.into(),
            measure,
            value,
        }
    }
}

/// The mean; 0 of nothing.
pub fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for value in values {
        (sum, count) = (sum + value, count + 1.0);
    }
    if count > 0.0 { sum / count } else { 0.0 }
}

/// Normalised discounted cumulative gain with the gain 2^grade - 1 (Burges and others 2005).
pub fn ndcg(grades: &[u32], ranking: &Ranking, depth: usize) -> f64 {
    let gain = |grade: u32| f64::from((1_u32 << grade) - 1);
    let sum = |grades: &mut dyn Iterator<Item = u32>| {
        grades
            .take(depth)
            .zip(2_u32..)
            .map(|(grade, place)| gain(grade) / f64::from(place).log2())
            .sum::<f64>()
    };
    let mut ideal = grades.to_vec();
    ideal.sort_unstable_by_key(|grade| std::cmp::Reverse(*grade));
    sum(&mut ranking.iter().map(|(place, _)| grades[*place])) / sum(&mut ideal.into_iter())
}

/// Guesses of a label, best first, against the true one.
#[derive(Clone, Debug, Default)]
pub struct Guesses(pub Vec<(String, Vec<String>)>);

impl Guesses {
    /// Share of cases whose label is among the first so many guesses.
    pub fn among(&self, first: usize) -> f64 {
        mean(self.0.iter().map(|(truth, guesses)| {
            f64::from(guesses.iter().take(first).any(|guess| guess == truth))
        }))
    }

    /// F1 of each label that occurs, all labels counting the same.
    pub fn macro_f1(&self) -> f64 {
        let mut counts: BTreeMap<&str, [f64; 3]> = BTreeMap::new();
        for (truth, guesses) in &self.0 {
            let guess = guesses.first().map_or("", String::as_str);
            counts.entry(truth).or_default()[0] += 1.0;
            counts.entry(guess).or_default()[1] += 1.0;
            if guess == truth {
                counts.entry(truth).or_default()[2] += 1.0;
            }
        }
        let occurring = counts.values().filter(|[true_, ..]| *true_ > 0.0);
        mean(occurring.map(|[true_, guessed, right]| 2.0 * right / (true_ + guessed)))
    }
}
