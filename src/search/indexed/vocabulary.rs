//! Every word the fleet has written with how many cases hold it, for spelling, joins and splits.
//!
//! A copy in memory of the index's own list of terms, so that a misspelt word costs no walk
//! through the index. Bounded: beyond [`MOST_WORDS`] the rest is not offered as a spelling. It is made
//! of the whole index from time to time; the words of what was filed since are added as they come.

use std::{
    cmp::Reverse,
    collections::{BTreeMap, HashMap, HashSet},
    ops::Range,
    sync::{Arc, Mutex, PoisonError},
};

use tantivy::{Searcher, SegmentReader, index::SegmentId};

use super::schema::Fields;
use crate::search::{
    SearchError,
    ranking::circumstances::{CLASS, Circumstances, GAUGE, PUMP},
    reading::{
        analysis::{Analysed, Word, any_term, denied_word, is_written, split},
        everyday::is_everyday,
        quantity::Sort,
        spelling::{Typed, forgiven, slips},
        words::WordList,
    },
};

/// Words kept in memory at most.
const MOST_WORDS: usize = 200_000;

/// A segment of no more cases is read while a search waits: what was filed just now. Larger ones are
/// merged of what was read, or of an import.
const FEW_CASES: u32 = 5_000;

/// How many times rarer than a word its misspellings are, at least.
const RARER: u32 = 20;

/// The same of a word of the list, of which it is known that people write it.
const RARER_LISTED: u32 = 5;

/// In a shorter word a slip makes another word.
const SHORTEST_SLIPPED: usize = 4;

/// Words written in one: how many, how long each is at least, and how long they are together.
const MOST_PIECES: usize = 3;
const SHORTEST_PIECE: usize = 3;
const SHORTEST_JOINED: usize = 8;
const LONGEST_JOINED: usize = 30;

/// A word is like another that nobody meant if so many letters of it are right, of three.
const ALIKE_IN: usize = 2;

/// Words of a search at most that the index is asked for.
const MOST_ASKED: usize = 64;

/// Spellings offered for one word at most.
const OFFERED: usize = 3;

/// The words of the fleet.
#[derive(Clone, Debug, Default)]
pub(in crate::search) struct Vocabulary {
    /// Those of the whole index as it was.
    words: Arc<Words>,
    /// Those met since.
    newer: Words,
    /// The segments whose words are among them, or are too many to be read beside a search.
    read: Arc<Mutex<HashSet<SegmentId>>>,
    /// Words of the list as written, each with its stem.
    listed: Arc<Vec<(String, String)>>,
    stems_listed: Arc<HashSet<String>>,
    /// Words that some case denies, or denies another with.
    denied: Arc<HashSet<String>>,
    /// Classes, pumps and gauges of the fleet, each with the stems of its name.
    named: Arc<Vec<(String, Vec<String>)>>,
    /// Of which sorts of quantities any case holds one, in the order of [`Sort::ALL`].
    measured: [bool; Sort::ALL.len()],
}

/// Words with how many cases hold each, and by their lengths.
#[derive(Clone, Debug, Default)]
struct Words {
    cases: HashMap<String, u32>,
    by_length: Vec<Vec<String>>,
}

impl Words {
    fn new(cases: HashMap<String, u32>) -> Self {
        let mut by_length: Vec<Vec<String>> = Vec::new();
        for word in cases.keys().filter(|word| spellable(word)) {
            let length = word.chars().count();
            if by_length.len() <= length {
                by_length.resize(length + 1, Vec::new());
            }
            by_length[length].push(word.clone());
        }
        for words in &mut by_length {
            words.sort_unstable();
        }
        Self { cases, by_length }
    }

    fn of_length(&self, length: usize) -> &[String] {
        self.by_length.get(length).map_or(&[], Vec::as_slice)
    }
}

impl Vocabulary {
    /// Gathers the words of these fields, and of the word list.
    pub(in crate::search) fn new(
        searcher: &Searcher,
        fields: &Fields,
        list: &WordList,
    ) -> Result<Self, SearchError> {
        let mut words: HashMap<String, u32> = HashMap::new();
        let mut denied = HashSet::new();
        for segment in searcher.segment_readers() {
            each_term(segment, fields, |word, cases| {
                if let Some(word) = denied_word(word) {
                    if denied.len() < MOST_WORDS && !denied.contains(word) {
                        denied.insert(word.to_owned());
                    }
                    return;
                }
                if !is_written(word) {
                    return;
                }
                if let Some(known) = words.get_mut(word) {
                    *known += cases;
                } else if words.len() < MOST_WORDS {
                    words.insert(word.to_owned(), cases);
                }
            })?;
        }
        let named = named(searcher, fields)?;
        let listed: Vec<(String, String)> = list
            .written()
            .map(|(plain, stem)| (plain.to_owned(), stem.to_owned()))
            .collect();
        for (_, stem) in &listed {
            words.entry(stem.clone()).or_insert(0);
        }
        let segments = searcher.segment_readers().iter();
        let read = segments.map(SegmentReader::segment_id).collect();
        Ok(Self {
            words: Arc::new(Words::new(words)),
            newer: Words::default(),
            read: Arc::new(Mutex::new(read)),
            stems_listed: Arc::new(listed.iter().map(|(_, stem)| stem.clone()).collect()),
            listed: Arc::new(listed),
            named: Arc::new(named),
            measured: Sort::ALL.map(|sort| measured(searcher, sort)),
            denied: Arc::new(denied),
        })
    }

    /// The same with the words of what was filed since, and with those of `asked` that a case holds, as
    /// `held` tells; none if that brings nothing new. Costs a look at the segments where there is none.
    pub(in crate::search) fn grown(
        &self,
        searcher: &Searcher,
        fields: &Fields,
        asked: &[Word],
        held: impl Fn(&str) -> Result<u64, SearchError>,
    ) -> Result<Option<Self>, SearchError> {
        let mut new: HashMap<String, u32> = HashMap::new();
        let mut denied: Option<HashSet<String>> = None;
        for segment in self.unread(searcher) {
            if segment.max_doc() > FEW_CASES {
                continue;
            }
            each_term(segment, fields, |word, cases| {
                if is_written(word) && !self.knows(word) {
                    *new.entry(word.to_owned()).or_default() += cases;
                }
            })?;
        }
        for word in asked.iter().take(MOST_ASKED) {
            if !self.knows(&word.stem) && !new.contains_key(&*word.stem) {
                let cases = held(&word.stem)?;
                if cases > 0 {
                    new.insert(
                        word.stem.to_string(),
                        u32::try_from(cases).unwrap_or(u32::MAX),
                    );
                    continue;
                }
                if self.denies(&word.stem) {
                    continue;
                }
                let [_, forms @ ..] = any_term(&word.stem);
                let mut told = 0;
                for form in forms {
                    told += held(&form)?;
                }
                if told > 0 {
                    let denied = denied.get_or_insert_with(|| (*self.denied).clone());
                    denied.insert(word.stem.to_string());
                }
            }
        }
        if new.is_empty() && denied.is_none() {
            return Ok(None);
        }
        if self.words.cases.len() + self.newer.cases.len() < MOST_WORDS {
            new.extend(self.newer.cases.clone());
        }
        Ok(Some(Self {
            newer: Words::new(new),
            denied: denied.map_or_else(|| Arc::clone(&self.denied), Arc::new),
            ..self.clone()
        }))
    }

    /// The segments that came since, told once.
    fn unread<'a>(&self, searcher: &'a Searcher) -> Vec<&'a SegmentReader> {
        let mut read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        let segments = searcher.segment_readers().iter();
        segments
            .filter(|segment| read.insert(segment.segment_id()))
            .collect()
    }

    /// Whether any case holds a quantity of a sort, so that a number of it finds what is near.
    pub(in crate::search) fn measures(&self, sort: Sort) -> bool {
        self.measured[sort as usize]
    }

    /// How many times a word is held, over all fields; none if nobody wrote it.
    pub(in crate::search) fn cases_of(&self, stem: &str) -> u32 {
        let own = |words: &Words| words.cases.get(stem).copied();
        own(&self.words)
            .or_else(|| own(&self.newer))
            .unwrap_or_default()
    }

    /// Whether it was written, or is on the word list.
    pub(in crate::search) fn knows(&self, stem: &str) -> bool {
        self.words.cases.contains_key(stem) || self.newer.cases.contains_key(stem)
    }

    /// Whether a case tells that it is not so.
    pub(in crate::search) fn denies(&self, stem: &str) -> bool {
        self.denied.contains(stem)
    }

    /// Which class, pump and gauges a text names: a class by all words of its name, a gauge by
    /// the last, which says what it is.
    pub(in crate::search) fn circumstances(
        &self,
        text: &Analysed,
        list: &WordList,
    ) -> Circumstances {
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
        for (word, stems) in &*self.named {
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

    /// What was meant by a word nobody wrote, nearest first, each with what it is worth. A word of
    /// everyday English is meant as it stands.
    pub(in crate::search) fn meant_by(&self, plain: &str, stem: &str) -> Vec<(String, f32)> {
        if is_everyday(plain) {
            return Vec::new();
        }
        if let Some(one) = self.one_of(plain) {
            return vec![(one.to_owned(), 1.0)];
        }
        // Slips, whether it is no word of the list as written, how rare, the stem meant.
        let mut found: Vec<(usize, bool, Reverse<u32>, &String)> = Vec::new();
        if let Some(most) = forgiven(plain) {
            let typed: Vec<char> = plain.chars().collect();
            for (written, stem) in &*self.listed {
                if let Some(slips) =
                    slips(&typed, written, most).filter(|_| begins_like(plain, written))
                {
                    found.push((slips, false, Reverse(self.cases_of(stem)), stem));
                }
            }
            for (word, slips) in self.within(stem, forgiven(stem).unwrap_or_default()) {
                // In a short word one slip makes any of everyday English.
                let other = typed.len() <= SHORTEST_SLIPPED && is_everyday(word);
                if begins_like(plain, word) && !other {
                    found.push((slips, true, Reverse(self.cases_of(word)), word));
                }
            }
            let ends = Typed::new(plain);
            let first = typed.first().copied().unwrap_or_default();
            for words in self.of_lengths(0..typed.len()) {
                for word in beginning_with(words, first) {
                    if let Some(slips) = ends.slips_to(word, most) {
                        found.push((slips.max(1), true, Reverse(self.cases_of(word)), word));
                    }
                }
            }
        }
        // Of three letters only one is forgiven that is missing inside: `dor`.
        let mut ends = plain.chars();
        if let (Some(first), Some(_), Some(last), None) =
            (ends.next(), ends.next(), ends.next(), ends.next())
        {
            let typed: Vec<char> = plain.chars().collect();
            for (written, stem) in &*self.listed {
                let inside = written.starts_with(first) && written.ends_with(last);
                if inside && written.len() == 4 && slips(&typed, written, 1).is_some() {
                    found.push((1, false, Reverse(self.cases_of(stem)), stem));
                }
            }
        }
        if stem.chars().count() > 3 {
            let length = stem.chars().count();
            let longer = self.of_lengths(length + 1..length + 7);
            for word in longer.flatten().filter(|word| word.starts_with(stem)) {
                found.push((2, true, Reverse(self.cases_of(word)), word));
            }
        }
        found.sort();
        let fewest = found.first().map_or(0, |(slips, ..)| *slips);
        let mut meant: Vec<(String, f32)> = Vec::new();
        for (slips, .., word) in found {
            let near = slips <= fewest + usize::from(fewest == 0);
            if near && meant.len() < OFFERED && meant.iter().all(|(known, _)| known != word) {
                meant.push((word.clone(), if slips < 2 { 0.9 } else { 0.6 }));
            }
        }
        meant
    }

    /// The word that another is the plain plural of, as of an abbreviation: PCBs.
    fn one_of<'a>(&self, plain: &'a str) -> Option<&'a str> {
        let one = plain.strip_suffix('s')?;
        (one.len() > 1 && self.knows(one)).then_some(one)
    }

    /// How others misspelt a word: one slip away, the first letter right, far rarer, and no word of
    /// its own in the trade or in everyday English.
    pub(in crate::search) fn misspellings(&self, stem: &str) -> Vec<String> {
        if stem.chars().count() < SHORTEST_SLIPPED {
            return Vec::new();
        }
        let letters: Vec<char> = stem.chars().collect();
        let rarest = self.cases_of(stem) / RARER;
        let near = self.of_lengths(letters.len() - 1..letters.len() + 2);
        near.flat_map(|words| beginning_with(words, letters[0]))
            .filter(|word| {
                slips(&letters, word, 1) == Some(1)
                    && looks_slipped(stem, word, false)
                    && (1..=rarest.max(1)).contains(&self.cases_of(word))
                    && !self.stems_listed.contains(*word)
                    && !is_everyday(word)
            })
            .take(OFFERED)
            .cloned()
            .collect()
    }

    /// The word that somebody misspelt so: far commoner, one slip away that looks like one, the first letter
    /// right. A word of its own in the trade or in everyday English is no slip.
    pub(in crate::search) fn slip_of(&self, plain: &str, stem: &str) -> Option<&str> {
        let letters: Vec<char> = stem.chars().collect();
        let short = letters.len() < SHORTEST_SLIPPED || !spellable(stem);
        if short || self.stems_listed.contains(stem) || is_everyday(plain) || is_everyday(stem) {
            return None;
        }
        let cases = self.cases_of(stem).max(1);
        let (least, least_listed) = (
            cases.saturating_mul(RARER),
            cases.saturating_mul(RARER_LISTED),
        );
        // Before an ending the last letter of a stem is inside the word: `rouging`.
        let ended = plain.len() > stem.len() + 1;
        let near = self.of_lengths(letters.len() - 1..letters.len() + 2);
        near.flat_map(|words| beginning_with(words, letters[0]))
            .filter(|word| {
                let listed = || self.stems_listed.contains(word.as_str());
                let common = self.cases_of(word);
                (common >= least || (common >= least_listed && listed()))
                    && slips(&letters, word, 1) == Some(1)
                    && looks_slipped(word, stem, ended)
            })
            .max_by_key(|word| self.cases_of(word))
            .map(String::as_str)
    }

    /// The words that one is made of that nobody wrote, with spaces between them: `doorsealdirty`.
    pub(in crate::search) fn parted(&self, plain: &str) -> Option<Vec<String>> {
        let long = (SHORTEST_JOINED..=LONGEST_JOINED).contains(&plain.len());
        if !long || !plain.bytes().all(|b| b.is_ascii_lowercase()) || is_everyday(plain) {
            return None;
        }
        self.pieces(plain, MOST_PIECES)
            .filter(|pieces| pieces.len() > 1)
    }

    /// Known words that a text is made of, the longest first.
    fn pieces(&self, text: &str, most: usize) -> Option<Vec<String>> {
        let mut ends = (SHORTEST_PIECE..=text.len()).rev();
        ends.find_map(|end| {
            let (first, rest) = text.split_at(end);
            let word = split(first, &[]).into_iter().next()?;
            let known = self.cases_of(&word.stem) > 1 || self.stems_listed.contains(&*word.stem);
            if !known {
                return None;
            }
            if rest.is_empty() {
                return Some(vec![first.to_owned()]);
            }
            let mut pieces = match rest.len() >= SHORTEST_PIECE && most > 1 {
                true => self.pieces(rest, most - 1)?,
                false => return None,
            };
            pieces.insert(0, first.to_owned());
            Some(pieces)
        })
    }

    /// Words of cases that are most like one that nobody wrote and that is no slip of any: two letters of
    /// three are right, in order. They begin alike.
    pub(in crate::search) fn most_like(&self, stem: &str) -> Vec<String> {
        let letters: Vec<char> = stem.chars().collect();
        if letters.len() < SHORTEST_SLIPPED || !spellable(stem) || is_everyday(stem) {
            return Vec::new();
        }
        let most = letters.len() - (letters.len() * ALIKE_IN).div_ceil(3);
        let lengths = self.of_lengths(letters.len() - most..letters.len() + most + 1);
        let begun = lengths.flat_map(|words| beginning_with(words, letters[0]));
        let held = begun.filter(|word| self.cases_of(word) > 0);
        let mut like: Vec<_> = held
            .filter_map(|word| {
                let off = slips(&letters, word, most)?;
                Some((off, Reverse(self.cases_of(word)), word))
            })
            .collect();
        like.sort();
        like.dedup();
        let first = like.first().map_or(0, |(off, ..)| *off);
        let like = like.into_iter().filter(|(off, ..)| *off == first);
        like.take(OFFERED).map(|(.., word)| word.clone()).collect()
    }

    /// Where a word falls into two that are both known, the commoner the better.
    pub(in crate::search) fn split(&self, plain: &str) -> Option<[String; 2]> {
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

    /// The words of some lengths, those of one length in order.
    fn of_lengths(&self, lengths: Range<usize>) -> impl Iterator<Item = &[String]> {
        lengths.flat_map(|length| [self.words.of_length(length), self.newer.of_length(length)])
    }

    fn within(&self, stem: &str, most: usize) -> impl Iterator<Item = (&String, usize)> {
        let letters: Vec<char> = stem.chars().collect();
        let from = letters.len().saturating_sub(most);
        self.of_lengths(from..letters.len() + most + 1)
            .flatten()
            .filter_map(move |word| Some((word, slips(&letters, word, most)?)))
    }
}

/// Tells of every term of a segment, with how many cases hold it in one field.
fn each_term(
    segment: &SegmentReader,
    fields: &Fields,
    mut told: impl FnMut(&str, u32),
) -> Result<(), SearchError> {
    for field in fields.texts() {
        let index = segment.inverted_index(field)?;
        let mut stream = index.terms().stream()?;
        while stream.advance() {
            if let Ok(word) = std::str::from_utf8(stream.key()) {
                told(word, stream.value().doc_freq);
            }
        }
    }
    Ok(())
}

/// Whether two words begin alike, or the shorter is long enough for a slip at its beginning to show:
/// `less` is no `bless`.
fn begins_like(typed: &str, word: &str) -> bool {
    let mut own = typed.chars();
    let mut other = word.chars();
    let (a, b) = (own.next(), other.next());
    a == b || typed.chars().count() > 5 || (own.next() == b && other.next() == a)
}

/// Whether a word one slip from another looks like a slip and not like another word: two letters
/// swapped, one missing or too many inside, or, in a long word, one wrong inside. Stuck is no stack,
/// and copper no coppery.
fn looks_slipped(word: &str, other: &str, ended: bool) -> bool {
    let last = |word: &str| word.chars().next_back();
    let (long, short) = (word.chars().count(), other.chars().count());
    if long == short {
        let apart = word.chars().zip(other.chars()).filter(|(a, b)| a != b);
        return apart.count() == 2 || (long > 6 && last(word) == last(other));
    }
    ended || last(word) == last(other)
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

/// Whether any case holds a quantity of a sort.
fn measured(searcher: &Searcher, sort: Sort) -> bool {
    searcher.segment_readers().iter().any(|segment| {
        let column = segment.fast_fields().f64(sort.column());
        column.is_ok_and(|column| column.values.num_vals() > 0)
    })
}

/// Numbers have to be right; so do words of less than four letters.
fn spellable(word: &str) -> bool {
    word.chars().count() > 3 && !word.bytes().any(|b| b.is_ascii_digit())
}
