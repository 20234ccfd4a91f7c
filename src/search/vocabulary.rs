//! Every word the fleet has written with how many cases hold it, for spelling, joins and splits.
//!
//! A copy in memory of the index's own list of terms, so that a misspelt word costs no walk
//! through the index. Bounded: beyond [`MOST_WORDS`] the rest is not offered as a spelling.

use std::collections::{BTreeMap, HashMap};

use tantivy::Searcher;

use super::{
    SearchError,
    analysis::{Analysed, Word, is_written, split},
    circumstances::{CLASS, Circumstances, GAUGE, PUMP},
    schema::Fields,
    spelling::{forgiven, slips},
    words::WordList,
};

/// Words kept in memory at most.
const MOST_WORDS: usize = 200_000;

/// Spellings offered for one word at most.
const OFFERED: usize = 3;

/// The words of the fleet.
#[derive(Debug, Default)]
pub(super) struct Vocabulary {
    words: HashMap<String, u32>,
    by_length: Vec<Vec<String>>,
    /// Classes, pumps and gauges of the fleet, each with the stems of its name.
    named: Vec<(String, Vec<String>)>,
}

impl Vocabulary {
    /// Gathers the words of these fields, and of the word list.
    pub(super) fn new(
        searcher: &Searcher,
        fields: &Fields,
        list: &WordList,
    ) -> Result<Self, SearchError> {
        let mut words: HashMap<String, u32> = HashMap::new();
        for segment in searcher.segment_readers() {
            for field in fields.texts() {
                let index = segment.inverted_index(field)?;
                let mut stream = index.terms().stream()?;
                while stream.advance() {
                    let Ok(term) = std::str::from_utf8(stream.key()) else {
                        continue;
                    };
                    if !is_written(term) {
                        continue;
                    }
                    let cases = stream.value().doc_freq;
                    if let Some(known) = words.get_mut(term) {
                        *known += cases;
                    } else if words.len() < MOST_WORDS {
                        words.insert(term.to_owned(), cases);
                    }
                }
            }
        }
        let named = named(searcher, fields)?;
        for (_, stem) in list.written() {
            words.entry(stem.to_owned()).or_insert(0);
        }
        let mut by_length: Vec<Vec<String>> = Vec::new();
        for word in words.keys().filter(|word| spellable(word)) {
            let length = word.chars().count();
            if by_length.len() <= length {
                by_length.resize(length + 1, Vec::new());
            }
            by_length[length].push(word.clone());
        }
        for words in &mut by_length {
            words.sort_unstable();
        }
        Ok(Self {
            words,
            by_length,
            named,
        })
    }

    /// How many times a word is held, over all fields; none if nobody wrote it.
    pub(super) fn cases_of(&self, stem: &str) -> u32 {
        self.words.get(stem).copied().unwrap_or_default()
    }

    /// Whether it was written, or is on the word list.
    pub(super) fn knows(&self, stem: &str) -> bool {
        self.words.contains_key(stem)
    }

    /// Which class, pump and gauges a text names: a class by all words of its name, a gauge by
    /// the last, which says what it is.
    pub(super) fn circumstances(&self, text: &Analysed, list: &WordList) -> Circumstances {
        let said = |stem: &String| {
            let meant = list.concept(stem);
            let word = |word: &Word| !word.ruled_out && *word.stem == **stem;
            text.words.iter().any(word)
                || text.mentions.iter().any(|mention| {
                    let ruled_out = text.words[mention.words.start].ruled_out;
                    !ruled_out && meant.is_some_and(|meant| mention.concepts.contains(&meant))
                })
        };
        let mut found = Circumstances::default();
        for (word, stems) in &self.named {
            if let Some(gauge) = word.strip_prefix(GAUGE) {
                if stems.last().is_some_and(said) {
                    found.gauges.push(gauge.to_owned());
                }
            } else if !stems.is_empty() && stems.iter().all(said) {
                match (word.strip_prefix(CLASS), word.strip_prefix(PUMP)) {
                    (Some(class), _) => found.class = Some(class.to_owned()),
                    (_, Some(pump)) => found.pump = Some(pump.to_owned()),
                    _ => {}
                }
            }
        }
        found
    }

    /// What was meant by a word nobody wrote, nearest first, each with what it is worth.
    pub(super) fn meant_by(&self, stem: &str) -> Vec<(String, f32)> {
        let mut found: Vec<(usize, u32, &String)> = Vec::new();
        if let Some(most) = forgiven(stem) {
            for (word, slips) in self.within(stem, most) {
                found.push((slips, self.cases_of(word), word));
            }
        }
        if stem.chars().count() > 3 {
            let longer = self.by_length.iter().skip(stem.chars().count() + 1).take(6);
            for word in longer.flatten().filter(|word| word.starts_with(stem)) {
                found.push((2, self.cases_of(word), word));
            }
        }
        found.sort_by(|a, b| a.0.cmp(&b.0).then(b.1.cmp(&a.1)).then(a.2.cmp(b.2)));
        found.dedup_by(|a, b| a.2 == b.2);
        let fewest = found.first().map_or(0, |(slips, ..)| *slips);
        found
            .into_iter()
            .filter(|(slips, ..)| *slips <= fewest + usize::from(fewest == 0))
            .take(OFFERED)
            .map(|(slips, _, word)| (word.clone(), if slips < 2 { 0.9 } else { 0.6 }))
            .collect()
    }

    /// How others misspelt a word: one slip away, the first letter right, and far rarer.
    pub(super) fn misspellings(&self, stem: &str) -> Vec<String> {
        if stem.chars().count() < 5 {
            return Vec::new();
        }
        let letters: Vec<char> = stem.chars().collect();
        let rarest = self.cases_of(stem) / 20;
        let lengths = letters.len() - 1..=letters.len() + 1;
        let near = lengths.filter_map(|length| self.by_length.get(length));
        near.flat_map(|words| beginning_with(words, letters[0]))
            .filter(|word| {
                slips(&letters, word, 1) == Some(1)
                    && (1..=rarest.max(1)).contains(&self.cases_of(word))
            })
            .take(OFFERED)
            .cloned()
            .collect()
    }

    /// Where a word falls into two that are both known, the commoner the better.
    pub(super) fn split(&self, plain: &str) -> Option<[String; 2]> {
        let (at, _) = plain
            .char_indices()
            .filter(|(at, _)| *at >= 3 && plain.len() - at >= 3)
            .map(|(at, _)| {
                let rarer = self.cases_of(&plain[..at]).min(self.cases_of(&plain[at..]));
                (at, rarer)
            })
            .max_by_key(|(at, rarer)| (*rarer, std::cmp::Reverse(*at)))
            .filter(|(_, rarer)| *rarer > 1)?;
        Some([plain[..at].to_owned(), plain[at..].to_owned()])
    }

    fn within(&self, stem: &str, most: usize) -> impl Iterator<Item = (&String, usize)> {
        let letters: Vec<char> = stem.chars().collect();
        let from = letters.len().saturating_sub(most);
        self.by_length
            .iter()
            .skip(from)
            .take(letters.len() + most + 1 - from)
            .flatten()
            .filter_map(move |word| Some((word, slips(&letters, word, most)?)))
    }
}

/// Those of some sorted words that begin with a letter.
fn beginning_with(words: &[String], letter: char) -> &[String] {
    let first = |word: &String| word.chars().next();
    let from = words.partition_point(|word| first(word) < Some(letter));
    let until = words.partition_point(|word| first(word) <= Some(letter));
    &words[from..until]
}

/// The classes, pumps and gauges of the fleet.
fn named(searcher: &Searcher, fields: &Fields) -> Result<Vec<(String, Vec<String>)>, SearchError> {
    let mut named: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for segment in searcher.segment_readers() {
        let Ok(index) = segment.inverted_index(fields.known) else {
            continue;
        };
        for sort in [CLASS, PUMP, GAUGE] {
            let mut stream = index.terms().range().ge(sort).into_stream()?;
            while stream.advance() {
                let Some(word) = std::str::from_utf8(stream.key())
                    .ok()
                    .filter(|word| word.starts_with(sort))
                else {
                    break;
                };
                named.entry(word.to_owned()).or_insert_with(|| {
                    let name = split(&word[sort.len()..].replace('-', " "), &[]);
                    name.into_iter().map(|word| word.stem.to_string()).collect()
                });
            }
        }
    }
    Ok(named.into_iter().collect())
}

/// Numbers have to be right; so do words of less than four letters.
fn spellable(word: &str) -> bool {
    word.chars().count() > 3 && !word.bytes().any(|b| b.is_ascii_digit())
}
