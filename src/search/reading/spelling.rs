//! How far a word is from another: slips of the finger. Pure.

/// How many slips are forgiven in a word; short words and numbers have to be right.
pub(in crate::search) fn forgiven(word: &str) -> Option<usize> {
    if word.bytes().any(|b| b.is_ascii_digit()) {
        return None;
    }
    match word.chars().count() {
        0..=3 => None,
        4..=7 => Some(1),
        _ => Some(2),
    }
}

/// How many slips lie between two words, if no more than `most`: a letter wrong, missing or
/// too many, or two neighbours swapped.
pub(in crate::search) fn slips(a: &[char], b: &str, most: usize) -> Option<usize> {
    const LONGEST: usize = 48;
    let mut letters = ['\0'; LONGEST];
    let mut length = 0;
    for c in b.chars() {
        *letters.get_mut(length)? = c;
        length += 1;
    }
    let b = &letters[..length];
    if a.len() >= LONGEST || a.len().abs_diff(length) > most {
        return None;
    }
    let mut before = [0_usize; LONGEST];
    let mut last = [0_usize; LONGEST];
    for (j, cell) in last.iter_mut().enumerate().take(length + 1) {
        *cell = j;
    }
    for i in 1..=a.len() {
        let mut row = [0_usize; LONGEST];
        row[0] = i;
        let mut least = i;
        for j in 1..=length {
            let wrong = usize::from(a[i - 1] != b[j - 1]);
            row[j] = (last[j - 1] + wrong).min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before[j - 2] + 1);
            }
            least = least.min(row[j]);
        }
        if least > most {
            return None;
        }
        before = last;
        last = row;
    }
    (last[length] <= most).then_some(last[length])
}

/// Endings that words are written with behind their stems.
const ENDINGS: [&str; 22] = [
    "s", "es", "ed", "er", "ers", "ing", "ings", "ion", "ions", "tion", "ation", "ations", "ment",
    "al", "ance", "ence", "able", "ity", "y", "e", "ator", "ators",
];

/// A word nobody wrote, with what its ends are as endings.
pub(in crate::search) struct Typed {
    letters: Vec<char>,
    /// For each place, how many slips lie between what follows and an ending; none beyond one.
    endings: Vec<Option<usize>>,
}

impl Typed {
    pub(in crate::search) fn new(word: &str) -> Self {
        let letters: Vec<char> = word.chars().collect();
        let of = |rest: &[char]| {
            let near = ENDINGS.iter().filter_map(|ending| slips(rest, ending, 1));
            near.min()
        };
        Self {
            endings: (0..letters.len()).map(|at| of(&letters[at..])).collect(),
            letters,
        }
    }

    /// How many slips lie between the word and a stem with an ending, if no more than `most`.
    pub(in crate::search) fn slips_to(&self, stem: &str, most: usize) -> Option<usize> {
        let length = stem.chars().count();
        let ends = length.saturating_sub(most)..=length + most;
        let ends = ends.filter(|end| *end >= SHORTEST_STEM && *end < self.letters.len());
        ends.filter_map(|end| {
            let ending = self.endings[end]?;
            let left = most.checked_sub(ending)?;
            Some(slips(&self.letters[..end], stem, left)? + ending)
        })
        .min()
    }
}

/// A shorter stem with an ending may be anything.
const SHORTEST_STEM: usize = 4;

#[cfg(test)]
mod tests {
    use super::*;

    fn apart(a: &str, b: &str) -> Option<usize> {
        slips(&a.chars().collect::<Vec<_>>(), b, 2)
    }

    #[test]
    fn a_slip_in_an_ending_is_one() {
        let apart = |word: &str, stem: &str| Typed::new(word).slips_to(stem, 2);
        assert_eq!(apart("regeneraton", "regener"), Some(1));
        assert_eq!(apart("regenration", "regener"), Some(1));
        assert_eq!(apart("leakign", "leak"), Some(1));
        assert_eq!(apart("insluator", "insul"), Some(1));
        assert_eq!(apart("insulatro", "insul"), Some(1));
        assert_eq!(apart("contaminatoin", "contamin"), Some(1));
        assert_eq!(apart("regatta", "regener"), None);
    }

    #[test]
    fn a_swap_is_one_slip_and_short_words_have_none() {
        assert_eq!(apart("foil", "fiol"), Some(1));
        assert_eq!(apart("seal", "seal"), Some(0));
        assert_eq!(apart("seal", "sells"), Some(2));
        assert_eq!(apart("seal", "sole"), None);
        assert_eq!(apart("forlin", "forelin"), Some(1));
        assert_eq!(apart("gate", "turbine"), None);
        assert_eq!(forgiven("o2"), None);
        assert_eq!(forgiven("gas"), None);
    }
}
