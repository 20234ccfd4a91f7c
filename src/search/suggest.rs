//! What somebody may be about to type: words the fleet has written, causes, tools.
//!
//! All in memory, found by how they begin (a cause by any of its words), and where nothing begins
//! so, by words a slip away. Pure; what there is to suggest is handed in.

use std::collections::{BTreeMap, HashMap};

use super::{
    SearchError, SearchIndex,
    analysis::{folded, split},
    pressure::readings,
    spelling::{forgiven, slips},
    words::WordList,
};

/// Only the end of what was typed is looked at, so many characters of it.
const LOOKED_AT: usize = 120;

/// The most words of what was typed that one suggestion takes the place of.
const MOST_REPLACED: usize = 4;

/// Words kept at most, the commonest first.
const MOST_WORDS: usize = 30_000;

/// A word that fewer cases hold is more likely a slip.
const FEWEST: u32 = 2;

/// Suggestions of each sort.
const EACH: usize = 4;

/// What a suggestion is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sort {
    /// A word that cases hold.
    Word,
    /// A cause.
    Cause,
    /// A tool.
    Tool,
}

impl Sort {
    const ALL: [Self; 3] = [Self::Word, Self::Cause, Self::Tool];

    /// The name people read.
    pub fn name(self) -> &'static str {
        match self {
            Self::Word => "word",
            Self::Cause => "cause",
            Self::Tool => "tool",
        }
    }
}

/// Something to go on with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suggestion {
    /// As shown.
    pub text: String,
    /// What it is.
    pub sort: Sort,
    /// The whole search once it is chosen.
    pub query: String,
}

/// Everything that can be suggested.
#[derive(Debug, Default)]
pub struct Suggester {
    items: Vec<Item>,
    /// How an item may begin, folded, in order.
    keys: Vec<(String, u32)>,
}

#[derive(Debug)]
struct Item {
    text: String,
    sort: Sort,
    cases: u32,
}

impl SearchIndex {
    /// Suggestions of words as these texts write them, the commonest in all cases of the index
    /// first, and of causes and tools.
    ///
    /// # Errors
    /// An index or word list that cannot be used.
    pub fn suggester(
        &self,
        texts: impl IntoIterator<Item = String>,
        causes: impl IntoIterator<Item = String>,
        tools: impl IntoIterator<Item = String>,
    ) -> Result<Suggester, SearchError> {
        let vocabulary = self.vocabulary(&self.reader.searcher())?;
        let held = |stem: &str| vocabulary.cases_of(stem);
        Suggester::new(texts, held, causes, tools)
    }
}

impl Suggester {
    /// From texts of the fleet, how many cases hold a stem, and names of causes and tools.
    fn new(
        texts: impl IntoIterator<Item = String>,
        held: impl Fn(&str) -> u32,
        causes: impl IntoIterator<Item = String>,
        tools: impl IntoIterator<Item = String>,
    ) -> Result<Self, SearchError> {
        // A stem is written in several ways; the ways share its cases as these texts do.
        let mut written: HashMap<String, HashMap<String, u32>> = HashMap::new();
        for text in texts {
            let mut own: Vec<_> = split(&text, &readings(&text))
                .into_iter()
                .filter(|word| !word.common && tellable(&word.plain))
                .map(|word| (word.stem.to_string(), word.plain.to_string()))
                .collect();
            own.sort_unstable();
            own.dedup();
            for (stem, plain) in own {
                *written.entry(stem).or_default().entry(plain).or_default() += 1;
            }
        }
        let mut cases: HashMap<String, u32> = HashMap::new();
        for (stem, ways) in written {
            let all: u32 = ways.values().sum();
            let held = held(&stem);
            for (plain, count) in ways {
                let share = u64::from(held) * u64::from(count) / u64::from(all);
                cases.insert(plain, count.max(u32::try_from(share).unwrap_or(u32::MAX)));
            }
        }
        cases.retain(|_, count| *count >= FEWEST);
        for (word, _) in WordList::built_in()?.written() {
            cases.entry(word.to_owned()).or_default();
        }
        let mut words: Vec<_> = cases.into_iter().collect();
        words.sort_unstable_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        words.truncate(MOST_WORDS);
        let words = words.into_iter().map(|(text, cases)| Item {
            text,
            sort: Sort::Word,
            cases,
        });
        let named = |sort| {
            move |text| Item {
                text,
                sort,
                cases: 0,
            }
        };
        let items: Vec<Item> = words
            .chain(causes.into_iter().map(named(Sort::Cause)))
            .chain(tools.into_iter().map(named(Sort::Tool)))
            .collect();
        let mut keys = Vec::new();
        for (item, at) in items.iter().zip(0..) {
            let whole = folded(&item.text);
            let starts = match item.sort {
                Sort::Cause => word_starts(&whole),
                Sort::Word | Sort::Tool => vec![0],
            };
            keys.extend(
                starts
                    .into_iter()
                    .map(|start| (whole[start..].to_owned(), at)),
            );
        }
        keys.sort_unstable();
        Ok(Self { items, keys })
    }

    /// What the end of `typed` may be the beginning of, at most `limit`.
    pub fn suggest(&self, typed: &str, limit: usize) -> Vec<Suggestion> {
        let tail = typed
            .char_indices()
            .rev()
            .nth(LOOKED_AT)
            .map_or(0, |(at, c)| at + c.len_utf8());
        let end = &typed[tail..];
        if end.trim().is_empty() || end.ends_with(char::is_whitespace) {
            return Vec::new();
        }
        if let Some((only, value, start)) = field(end) {
            let found = self.beginning(&folded(value), &[only]);
            return self.shown(found, &typed[..tail + start], limit);
        }
        let mut starts = word_starts(end);
        starts.reverse();
        starts.truncate(MOST_REPLACED);
        let mut found: Vec<(usize, Sort, u32)> = Vec::new();
        for start in starts.iter().rev() {
            let phrase = folded(&end[*start..]);
            let single = starts.first() == Some(start);
            let sorts = if single {
                &Sort::ALL[..]
            } else {
                &[Sort::Cause][..]
            };
            for item in self.beginning(&phrase, sorts) {
                found.push((*start, self.items[item as usize].sort, item));
            }
        }
        if found.is_empty()
            && let Some(start) = starts.first()
        {
            let meant = self.nearly(&folded(&end[*start..]));
            found.extend(meant.into_iter().map(|item| (*start, Sort::Word, item)));
        }
        let mut shown: Vec<Suggestion> = Vec::new();
        for sort in Sort::ALL {
            let mut of_sort: Vec<(usize, u32)> = Vec::new();
            for (start, own, item) in &found {
                let known = of_sort.iter().any(|(_, known)| known == item);
                if *own == sort && !known && of_sort.len() < EACH {
                    of_sort.push((*start, *item));
                }
            }
            for (start, item) in of_sort {
                shown.extend(self.shown(vec![item], &typed[..tail + start], 1));
            }
        }
        shown.truncate(limit);
        shown
    }

    fn shown(&self, found: Vec<u32>, before: &str, limit: usize) -> Vec<Suggestion> {
        let items = found.into_iter().map(|item| &self.items[item as usize]);
        let suggestions = items.map(|item| {
            let put = match item.sort {
                Sort::Word => item.text.clone(),
                Sort::Cause => format!("cause:\"{}\"", item.text.replace('"', " ")),
                Sort::Tool => format!("tool:{}", item.text),
            };
            Suggestion {
                text: item.text.clone(),
                sort: item.sort,
                query: format!("{before}{put}"),
            }
        });
        suggestions.take(limit).collect()
    }

    /// The items that begin so, the commonest words first.
    fn beginning(&self, phrase: &str, sorts: &[Sort]) -> Vec<u32> {
        if phrase.is_empty() {
            return Vec::new();
        }
        let from = self.keys.partition_point(|(key, _)| key.as_str() < phrase);
        let mut found: Vec<u32> = self.keys[from..]
            .iter()
            .take_while(|(key, _)| key.starts_with(phrase))
            .map(|(_, item)| *item)
            .filter(|item| sorts.contains(&self.items[*item as usize].sort))
            .filter(|item| {
                let item = &self.items[*item as usize];
                item.sort != Sort::Word || item.text != phrase
            })
            .collect();
        found.sort_by_key(|item| {
            let item = &self.items[*item as usize];
            (std::cmp::Reverse(item.cases), item.text.clone())
        });
        found.dedup();
        found
    }

    /// The words whose beginning is a slip or two away, nearest first.
    fn nearly(&self, word: &str) -> Vec<u32> {
        let Some(most) = forgiven(word) else {
            return Vec::new();
        };
        let letters: Vec<char> = word.chars().collect();
        let mut found: BTreeMap<(usize, u32, u32), ()> = BTreeMap::new();
        for (item, at) in self.items.iter().zip(0..) {
            if item.sort != Sort::Word || !item.text.starts_with(letters[0]) {
                continue;
            }
            let ends = item.text.char_indices().map(|(at, c)| at + c.len_utf8());
            let near = ends
                .skip(letters.len().saturating_sub(2))
                .take(3)
                .filter_map(|end| slips(&letters, &item.text[..end], most))
                .min();
            if let Some(near) = near {
                found.insert((near, u32::MAX - item.cases, at), ());
            }
        }
        found.into_keys().take(EACH).map(|(.., at)| at).collect()
    }
}

/// Whether a word is worth suggesting.
fn tellable(word: &str) -> bool {
    word.chars().count() > 2 && word.chars().all(char::is_alphabetic)
}

/// Where words begin.
fn word_starts(text: &str) -> Vec<usize> {
    let mut starts = Vec::new();
    let mut inside = false;
    for (at, c) in text.char_indices() {
        let word = !c.is_whitespace();
        if word && !inside {
            starts.push(at);
        }
        inside = word;
    }
    starts
}

/// A field word at the end whose values are known, its value so far, and where it begins.
fn field(end: &str) -> Option<(Sort, &str, usize)> {
    let fields = [("tool:", Sort::Tool), ("cause:", Sort::Cause)];
    fields.into_iter().find_map(|(word, sort)| {
        let start = end.rfind(word)?;
        let value = end[start + word.len()..].trim_start_matches('"');
        let open = !value.contains('"') && (sort == Sort::Cause || !value.contains(' '));
        let begins = start == 0 || end[..start].ends_with(char::is_whitespace);
        (open && begins && !value.is_empty()).then_some((sort, value, start))
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn suggester() -> Suggester {
        let texts = [
            "foil under the door",
            "foreline foil",
            "foreline hot",
            "foil",
        ];
        Suggester::new(
            texts.map(str::to_owned),
            |_| 0,
            ["Tape or foil on the door seal".to_owned()],
            ["BRK-04".to_owned(), "BRK-07".to_owned()],
        )
        .expect("the built-in list is right")
    }

    fn queries(typed: &str) -> Vec<String> {
        let found = suggester().suggest(typed, 8);
        found.into_iter().map(|s| s.query).collect()
    }

    #[test]
    fn words_causes_and_tools_are_found_by_how_they_begin() {
        let found = queries("slow after fo");
        assert_eq!(found[..2], ["slow after foil", "slow after foreline"]);
        let cause = "slow cause:\"Tape or foil on the door seal\"";
        assert!(queries("slow tape or f").contains(&cause.to_owned()));
        assert!(queries("slow door se").contains(&cause.to_owned()));
        assert!(queries("leak brk").contains(&"leak tool:BRK-04".to_owned()));
        assert_eq!(queries("tool:brk-07"), ["tool:BRK-07"]);
        assert_eq!(queries("foil "), Vec::<String>::new());
    }

    #[test]
    fn words_that_more_cases_of_the_whole_fleet_hold_come_first() {
        let texts = ["foil foreline", "foreline foil"].map(str::to_owned);
        let held = |stem: &str| if stem == "forelin" { 90 } else { 7 };
        let suggester = Suggester::new(texts, held, [], []).expect("the built-in list is right");
        let found: Vec<_> = suggester
            .suggest("fo", 2)
            .into_iter()
            .map(|s| s.text)
            .collect();
        assert_eq!(found, ["foreline", "foil"]);
    }

    #[test]
    fn a_slip_is_forgiven_where_nothing_begins_so() {
        assert!(queries("forle").contains(&"foreline".to_owned()));
        assert!(queries("froelin").contains(&"foreline".to_owned()));
    }

    proptest! {
        /// Anything typed is answered, with what stands before the end untouched.
        #[test]
        fn anything_typed_gives_few_suggestions(typed in ".{0,80}") {
            let found = suggester().suggest(&typed, 8);
            prop_assert!(found.len() <= 8);
        }
    }
}
