//! What words mean by the company they keep, learnt from the fleet's own cases.
//!
//! Latent semantic analysis (Deerwester and others 1990, from memory): the words of each case,
//! weighted by rarity, are a row of a matrix; the few directions in which the rows differ most are
//! its strongest right singular vectors. Two texts that share no word lie near each other there if
//! their words occur with the same others. The directions are found by subspace iteration; only the
//! space they span counts, so no singular values are needed. Words are the digests that
//! [`super::surface`] keeps, so that nothing is stored for this. Pure, and the same for the same cases.

use nalgebra::DMatrix;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Directions kept at most.
const DIRECTIONS: usize = 64;

/// Cases learnt from at most.
pub(super) const MOST_CASES: usize = 10_000;

/// With fewer there is nothing to learn.
const FEWEST_CASES: usize = 50;

/// A word of fewer cases keeps no telling company.
const FEWEST: u32 = 2;

const ROUNDS: usize = 5;

/// Every digest there can be.
const DIGESTS: usize = 1 << 16;

/// The directions of every word known.
#[derive(Clone, Debug, Default)]
pub(super) struct Meaning {
    /// Where the directions of a word begin, by its digest; none if it is not known.
    places: Vec<Option<u32>>,
    /// Weighted by how rare the word is.
    directions: Vec<f32>,
    width: usize,
}

/// A text in the space of the directions, of length one; empty if nothing of it is known.
pub(super) type Sense = Vec<f32>;

impl Meaning {
    /// Learns from the words of cases.
    pub(super) fn new(cases: &[Vec<u64>]) -> Self {
        if cases.len() < FEWEST_CASES {
            return Self::default();
        }
        let mut held = vec![0_u32; DIGESTS];
        for word in cases.iter().flatten() {
            held[place(*word)] += 1;
        }
        let mut places = vec![None; DIGESTS];
        let mut rarity: Vec<f32> = Vec::new();
        for (digest, held) in held.iter().enumerate() {
            if *held >= FEWEST {
                places[digest] = Some(rarity.len() as u32);
                let all = cases.len() as f32;
                rarity.push((1.0 + (all - *held as f32 + 0.5) / (*held as f32 + 0.5)).ln());
            }
        }
        let width = DIRECTIONS.min(rarity.len() / 4).min(cases.len() / 4);
        if width == 0 {
            return Self::default();
        }
        let rows: Vec<Vec<(usize, f32)>> = cases
            .iter()
            .map(|case| {
                let words = case.iter().filter_map(|word| places[place(*word)]);
                let words: Vec<usize> = words.map(|word| word as usize).collect();
                let length = words.iter().map(|w| rarity[*w].powi(2)).sum::<f32>().sqrt();
                let share = |word| (word, rarity[word] / length.max(f32::MIN_POSITIVE));
                words.into_iter().map(share).collect()
            })
            .collect();
        let mut dice = ChaCha8Rng::seed_from_u64(1);
        let mut space = DMatrix::from_fn(rarity.len(), width, |_, _| dice.random::<f32>() - 0.5);
        for _ in 0..ROUNDS {
            space = turned(&rows, &space).qr().q();
        }
        let mut directions = Vec::with_capacity(rarity.len() * width);
        for (row, rarity) in space.row_iter().zip(&rarity) {
            directions.extend(row.iter().map(|share| share * rarity));
        }
        for place in places.iter_mut().flatten() {
            *place *= width as u32;
        }
        Self {
            places,
            directions,
            width,
        }
    }

    /// Where a text lies, its words each with how much it counts.
    pub(super) fn sense(&self, words: impl IntoIterator<Item = (u64, f32)>) -> Sense {
        let mut sense = vec![0.0; self.width];
        for (word, counts) in words {
            let Some(Some(from)) = self.places.get(place(word)) else {
                continue;
            };
            let from = *from as usize;
            for (sum, share) in sense.iter_mut().zip(&self.directions[from..]) {
                *sum += counts * share;
            }
        }
        let length = sense.iter().map(|x| x * x).sum::<f32>().sqrt();
        if length < 1e-6 {
            return Vec::new();
        }
        sense.iter_mut().for_each(|x| *x /= length);
        sense
    }
}

/// From 0, nothing in common, to 1.
pub(super) fn nearness(a: &Sense, b: &Sense) -> f32 {
    let cosine: f32 = a.iter().zip(b).map(|(x, y)| x * y).sum();
    cosine.clamp(0.0, 1.0)
}

fn place(digest: u64) -> usize {
    digest as usize % DIGESTS
}

/// The space turned towards the rows: the transposed matrix times the matrix times it.
fn turned(rows: &[Vec<(usize, f32)>], space: &DMatrix<f32>) -> DMatrix<f32> {
    let width = space.ncols();
    let flat = space.transpose();
    let old = flat.as_slice();
    let mut new = vec![0.0_f32; old.len()];
    let mut along = vec![0.0_f32; width];
    for row in rows {
        along.fill(0.0);
        for (word, share) in row {
            let own = &old[word * width..(word + 1) * width];
            for (sum, x) in along.iter_mut().zip(own) {
                *sum += share * x;
            }
        }
        for (word, share) in row {
            let own = &mut new[word * width..(word + 1) * width];
            for (x, sum) in own.iter_mut().zip(&along) {
                *x += share * sum;
            }
        }
    }
    DMatrix::from_row_slice(space.nrows(), width, &new)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cases of three sorts, each told in its own words, a few at a time.
    fn cases() -> Vec<Vec<u64>> {
        let mut dice = ChaCha8Rng::seed_from_u64(7);
        let words = |sort: u64, dice: &mut ChaCha8Rng| {
            let mut case: Vec<u64> = (0..4)
                .map(|_| 100 * sort + dice.random_range(0..12))
                .collect();
            case.sort_unstable();
            case.dedup();
            case
        };
        (0..300).map(|n| words(1 + n % 3, &mut dice)).collect()
    }

    #[test]
    fn words_of_the_same_company_lie_near_and_others_do_not() {
        let meaning = Meaning::new(&cases());
        let sense = |words: &[u64]| meaning.sense(words.iter().map(|word| (*word, 1.0)));
        let near = nearness(&sense(&[100, 101, 102]), &sense(&[105, 106, 107]));
        let far = nearness(&sense(&[100, 101, 102]), &sense(&[205, 206, 207]));
        assert!(near > far + 0.2, "{near} against {far}");
        assert!(sense(&[9_999]).is_empty());
    }

    #[test]
    fn the_same_cases_teach_the_same() {
        let sense = |meaning: &Meaning| meaning.sense([(100, 1.0), (110, 0.5)]);
        assert_eq!(
            sense(&Meaning::new(&cases())),
            sense(&Meaning::new(&cases()))
        );
        assert!(Meaning::new(&cases()[..10]).directions.is_empty());
    }

    /// The space is that of a full singular value decomposition (here nalgebra's own, another
    /// algorithm): a row keeps its length in it as far as it does there.
    #[test]
    fn the_space_is_that_of_the_strongest_singular_vectors() {
        let mut dice = ChaCha8Rng::seed_from_u64(3);
        let rows: Vec<Vec<(usize, f32)>> = (0..40)
            .map(|n| {
                let own = n % 3;
                (0..4)
                    .map(|k| (own * 4 + k, 1.0 + 0.3 * dice.random::<f32>()))
                    .collect()
            })
            .collect();
        let dense = DMatrix::from_fn(40, 12, |row, column| {
            let held = rows[row].iter().find(|(word, _)| *word == column);
            held.map_or(0.0, |(_, share)| *share)
        });
        let mut space = DMatrix::from_fn(12, 3, |_, _| dice.random::<f32>() - 0.5);
        for _ in 0..20 {
            space = turned(&rows, &space).qr().q();
        }
        let svd = dense.clone().svd(false, true);
        let right = svd.v_t.expect("asked for").rows(0, 3).transpose();
        let between = right.transpose() * &space;
        let kept = between.norm_squared();
        assert!((kept - 3.0).abs() < 1e-3, "{kept}");
    }
}
