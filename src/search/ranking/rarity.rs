//! Which words the cases hold, how rare each is, and a text as a row of such words. Pure.
//!
//! Words are the digests that [`crate::search::reading::surface`] keeps of them, so that nothing is stored for this.

/// A word of fewer cases tells nothing of others.
const FEWEST: u32 = 2;

/// Words told apart at most, the commonest.
const MOST_WORDS: usize = 20_000;

/// Every digest there can be.
const DIGESTS: usize = 1 << 16;

/// The words of cases.
#[derive(Clone, Debug, Default)]
pub(in crate::search) struct Rarity {
    /// The place of a word by its digest; none if it is not known.
    places: Vec<Option<u32>>,
    rare: Vec<f32>,
    held: Vec<u32>,
}

/// Places of words, each with its share in a text; of length one.
pub(in crate::search) type Row = Vec<(usize, f32)>;

impl Rarity {
    /// Of the words of cases, each word once a case.
    pub(in crate::search) fn new<'a>(cases: impl Iterator<Item = &'a [u64]>) -> Self {
        let mut counted = vec![0_u32; DIGESTS];
        let mut all = 0.0_f32;
        for case in cases {
            all += 1.0;
            for word in case {
                counted[digest(*word)] += 1;
            }
        }
        let mut fewest = FEWEST;
        while counted.iter().filter(|count| **count >= fewest).count() > MOST_WORDS {
            fewest += 1;
        }
        let mut rarity = Self {
            places: vec![None; DIGESTS],
            ..Self::default()
        };
        for (digest, count) in counted.into_iter().enumerate() {
            if count >= fewest {
                rarity.places[digest] = Some(rarity.rare.len() as u32);
                let held = count as f32;
                rarity
                    .rare
                    .push((1.0 + (all - held + 0.5) / (held + 0.5)).ln());
                rarity.held.push(count);
            }
        }
        rarity
    }

    /// How many words there are.
    pub(in crate::search) fn len(&self) -> usize {
        self.rare.len()
    }

    /// The place of a word, if it is known.
    pub(in crate::search) fn place(&self, word: u64) -> Option<usize> {
        let place = self.places.get(digest(word)).copied().flatten()?;
        Some(place as usize)
    }

    /// How many cases hold the word at a place.
    pub(in crate::search) fn held(&self, place: usize) -> u32 {
        self.held[place]
    }

    /// A text, its words each with how much it counts; empty if none is known.
    pub(in crate::search) fn row(&self, words: impl IntoIterator<Item = (u64, f32)>) -> Row {
        let known = words
            .into_iter()
            .filter_map(|(word, counts)| Some((self.place(word)?, counts)));
        let mut row: Row = known
            .map(|(place, counts)| (place, counts * self.rare[place]))
            .collect();
        let length = row.iter().map(|(_, share)| share * share).sum::<f32>();
        let length = length.sqrt().max(f32::MIN_POSITIVE);
        row.iter_mut().for_each(|(_, share)| *share /= length);
        row
    }
}

fn digest(word: u64) -> usize {
    word as usize % DIGESTS
}
