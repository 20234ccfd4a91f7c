//! What somebody may be about to type: words the fleet has written, causes, tools, and after a field
//! word its values.
//!
//! All in memory, found by how they begin (a name by any of its words), and where nothing begins
//! so, by words a slip away. Words that the fleet writes behind the word before come first. Nothing
//! is suggested that no case holds, and nothing that what is typed already rules out. Pure; what
//! there is to suggest is handed in.

use std::collections::{BTreeMap, HashMap};

use tantivy::Term;

use crate::search::{
    SearchError, SearchIndex,
    ranking::circumstances::SEEN,
    reading::{
        analysis::{Analysis, folded, split},
        pressure::readings,
        spelling::{forgiven, slips},
        words::WordList,
    },
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

/// Two words that fewer texts write side by side say nothing of what comes next.
const FEWEST_SIDE_BY_SIDE: u32 = 2;

/// What a suggestion is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sort {
    /// A word that cases hold.
    Word,
    /// A cause.
    Cause,
    /// A tool.
    Tool,
    /// A tool class.
    Class,
    /// A kind of cause.
    Kind,
    /// A sign.
    Sign,
    /// Open or closed.
    Status,
    /// A site.
    Site,
}

impl Sort {
    /// Those suggested without a field word.
    const PLAIN: [Self; 3] = [Self::Word, Self::Cause, Self::Tool];

    /// Those that a field word asks for.
    const NAMED: [Self; 7] = [
        Self::Cause,
        Self::Tool,
        Self::Class,
        Self::Kind,
        Self::Sign,
        Self::Status,
        Self::Site,
    ];

    /// The name people read, and the field word.
    pub fn name(self) -> &'static str {
        match self {
            Self::Word => "word",
            Self::Cause => "cause",
            Self::Tool => "tool",
            Self::Class => "class",
            Self::Kind => "kind",
            Self::Sign => "sign",
            Self::Status => "status",
            Self::Site => "site",
        }
    }

    /// Whether a case has no more than one, so that two of them ask for nothing.
    fn is_single(self) -> bool {
        !matches!(self, Self::Word | Self::Sign)
    }
}

/// Something of the catalogue or the fleet by which cases are asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offered {
    /// What it is.
    pub sort: Sort,
    /// Its id.
    pub id: String,
    /// The name people read.
    pub name: String,
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
    /// The words written behind a word, and how many texts write them so.
    behind: HashMap<String, HashMap<String, u32>>,
}

#[derive(Debug)]
struct Item {
    text: String,
    sort: Sort,
    cases: u32,
    /// What is put into the search.
    put: String,
}

impl SearchIndex {
    /// Suggestions of words as these texts write them, the commonest in all cases of the index
    /// first, and of what is offered as far as cases have it.
    ///
    /// # Errors
    /// An index or word list that cannot be used.
    pub fn suggester(
        &self,
        texts: impl IntoIterator<Item = String>,
        offered: impl IntoIterator<Item = Offered>,
    ) -> Result<Suggester, SearchError> {
        let searcher = self.reader.searcher();
        let vocabulary = self.vocabulary(&searcher)?;
        let held = |stem: &str| vocabulary.cases_of(stem);
        let mut had = Vec::new();
        for offered in offered {
            let (field, id) = match offered.sort {
                Sort::Word => continue,
                Sort::Cause => (self.fields.cause, offered.id.clone()),
                Sort::Tool => (self.fields.tool, offered.id.to_lowercase()),
                Sort::Class => (self.fields.class, offered.id.clone()),
                Sort::Kind => (self.fields.kind, offered.id.clone()),
                Sort::Sign => (self.fields.known, format!("{SEEN}{}", offered.id)),
                Sort::Status => (self.fields.status, offered.id.clone()),
                Sort::Site => (self.fields.site, offered.id.to_lowercase()),
            };
            let cases = searcher.doc_freq(&Term::from_field_text(field, &id))?;
            if cases > 0 {
                had.push((offered, u32::try_from(cases).unwrap_or(u32::MAX)));
            }
        }
        Suggester::new(texts, held, had)
    }
}

impl Suggester {
    /// From texts of the fleet, how many cases hold a stem, and what else cases have, each with how
    /// many do.
    fn new(
        texts: impl IntoIterator<Item = String>,
        held: impl Fn(&str) -> u32,
        had: impl IntoIterator<Item = (Offered, u32)>,
    ) -> Result<Self, SearchError> {
        let mut behind: HashMap<String, HashMap<String, u32>> = HashMap::new();
        // A stem is written in several ways; the ways share its cases as these texts do.
        let mut written: HashMap<String, HashMap<String, u32>> = HashMap::new();
        for text in texts {
            let words = split(&text, &readings(&text));
            for pair in words.windows(2) {
                if !pair[1].common && tellable(&pair[1].plain) {
                    let own = behind.entry(pair[0].plain.to_string()).or_default();
                    *own.entry(pair[1].plain.to_string()).or_default() += 1;
                }
            }
            let mut own: Vec<_> = words
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
        for (word, stem) in WordList::built_in()?.written() {
            if held(stem) > 0 {
                cases.entry(word.to_owned()).or_default();
            }
        }
        behind.retain(|_, words| {
            words.retain(|_, count| *count >= FEWEST_SIDE_BY_SIDE);
            !words.is_empty()
        });
        let mut words: Vec<_> = cases.into_iter().collect();
        words.sort_unstable_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        words.truncate(MOST_WORDS);
        let words = words.into_iter().map(|(text, cases)| Item {
            put: text.clone(),
            text,
            sort: Sort::Word,
            cases,
        });
        let mut items: Vec<Item> = words.collect();
        let mut keys: Vec<(String, u32)> = Vec::new();
        for (item, at) in items.iter().zip(0..) {
            keys.push((folded(&item.text), at));
        }
        for ((offered, cases), at) in had.into_iter().zip(items.len() as u32..) {
            let Offered { sort, id, name } = offered;
            let field = sort.name();
            let put = match sort {
                Sort::Cause | Sort::Sign => format!("{field}:\"{}\"", name.replace('"', " ")),
                _ => format!("{field}:{id}"),
            };
            let whole = folded(&name);
            let starts = word_starts(&whole);
            keys.extend(
                starts
                    .into_iter()
                    .map(|start| (whole[start..].to_owned(), at)),
            );
            keys.push((folded(&id), at));
            items.push(Item {
                text: name,
                sort,
                cases,
                put,
            });
        }
        keys.sort_unstable();
        keys.dedup();
        Ok(Self {
            items,
            keys,
            behind,
        })
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
            let found = self.beginning(&folded(value), &[only], "");
            return self.shown(found, &typed[..tail + start], limit);
        }
        let mut starts = word_starts(end);
        starts.reverse();
        starts.truncate(MOST_REPLACED);
        let Some(last) = starts.first().copied() else {
            return Vec::new();
        };
        // After a minus, or where the word is said not to be so, only a word can be meant: a cause
        // or a tool would be asked for instead.
        let minus = usize::from(end[last..].starts_with('-'));
        let read = Analysis::default().read(end);
        let denied = read.words.last().is_some_and(|word| word.ruled_out);
        let before = &end[..last];
        let open = |sort: &Sort| match sort {
            Sort::Word => true,
            sort => minus == 0 && !denied && !asked_for(before, *sort),
        };
        let mut found: Vec<(usize, Sort, u32)> = Vec::new();
        for start in starts.iter().rev() {
            let single = *start == last;
            let shift = if single { minus } else { 0 };
            let phrase = folded(&end[*start + shift..]);
            if phrase.is_empty() {
                continue;
            }
            let sorts: Vec<Sort> = match single {
                true => Sort::PLAIN.into_iter().filter(open).collect(),
                false => [Sort::Cause].into_iter().filter(open).collect(),
            };
            let behind = match single {
                true => before.split_whitespace().next_back().unwrap_or_default(),
                false => "",
            };
            for item in self.beginning(&phrase, &sorts, &folded(behind)) {
                found.push((*start + shift, self.items[item as usize].sort, item));
            }
        }
        if found.is_empty() {
            let meant = self.nearly(&folded(&end[last + minus..]));
            found.extend(
                meant
                    .into_iter()
                    .map(|item| (last + minus, Sort::Word, item)),
            );
        }
        let mut shown: Vec<Suggestion> = Vec::new();
        for sort in Sort::PLAIN {
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
        let suggestions = items.map(|item| Suggestion {
            text: item.text.clone(),
            sort: item.sort,
            query: format!("{before}{}", item.put),
        });
        suggestions.take(limit).collect()
    }

    /// The items that begin so: words written behind `behind` first, then the commonest.
    fn beginning(&self, phrase: &str, sorts: &[Sort], behind: &str) -> Vec<u32> {
        let from = self.keys.partition_point(|(key, _)| key.as_str() < phrase);
        let mut found: Vec<u32> = self.keys[from..]
            .iter()
            .take_while(|(key, _)| key.starts_with(phrase))
            .map(|(_, item)| *item)
            .filter(|item| {
                let item = &self.items[*item as usize];
                sorts.contains(&item.sort) && (item.sort != Sort::Word || item.text != phrase)
            })
            .collect();
        let written = self.behind.get(behind);
        let side_by_side = |item: &Item| match (item.sort, written) {
            (Sort::Word, Some(written)) => written.get(&item.text).copied().unwrap_or_default(),
            _ => 0,
        };
        found.sort_by_key(|item| {
            let own = &self.items[*item as usize];
            let first = std::cmp::Reverse((side_by_side(own), own.cases));
            (first, own.text.clone(), *item)
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

/// A field word at the end whose values are known, its value so far, and where it begins; a minus
/// before it stays where it is.
fn field(end: &str) -> Option<(Sort, &str, usize)> {
    Sort::NAMED.into_iter().find_map(|sort| {
        let word = format!("{}:", sort.name());
        let start = end.rfind(&word)?;
        let value = &end[start + word.len()..];
        let quoted = value.starts_with('"');
        let value = value.trim_start_matches('"');
        let open = !value.contains('"') && (quoted || !value.contains(char::is_whitespace));
        let before = end[..start].strip_suffix('-').unwrap_or(&end[..start]);
        let begins = before.is_empty() || before.ends_with(char::is_whitespace);
        (open && begins && !asked_for(before, sort)).then_some((sort, value, start))
    })
}

/// Whether a value of this sort is asked for already, and a case has but one.
fn asked_for(before: &str, sort: Sort) -> bool {
    let word = format!("{}:", sort.name());
    let mut words = before.split_whitespace();
    sort.is_single() && words.any(|before| before.to_lowercase().starts_with(&word))
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
            "o ring rise",
            "o ring rise",
            "rise rise",
            "rise",
        ];
        Suggester::new(
            texts.map(str::to_owned),
            |_| 0,
            [
                (
                    Sort::Cause,
                    "door-seal-tape-or-foil",
                    "Tape or foil on the door seal",
                ),
                (Sort::Tool, "BRK-04", "BRK-04"),
                (Sort::Tool, "BRK-07", "BRK-07"),
                (Sort::Class, "cryo-sputter", "Cryo-pumped sputter tool"),
                (Sort::Kind, "air-leak", "air leak"),
                (Sort::Kind, "water-leak", "water leak"),
                (Sort::Status, "open", "open"),
                (
                    Sort::Sign,
                    "rise-linear",
                    "Pressure rise is a straight line",
                ),
            ]
            .map(|(sort, id, name)| {
                let (id, name) = (id.to_owned(), name.to_owned());
                (Offered { sort, id, name }, 3)
            }),
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
        let suggester = Suggester::new(texts, held, []).expect("the built-in list is right");
        let found: Vec<_> = suggester
            .suggest("fo", 2)
            .into_iter()
            .map(|s| s.text)
            .collect();
        assert_eq!(found, ["foreline", "foil"]);
    }

    #[test]
    fn a_field_word_brings_its_values() {
        assert_eq!(
            queries("foil kind:"),
            ["foil kind:air-leak", "foil kind:water-leak"]
        );
        assert_eq!(queries("kind:w"), ["kind:water-leak"]);
        assert_eq!(queries("-kind:a"), ["-kind:air-leak"]);
        for typed in ["class:cr", "class:sput", "class:"] {
            assert_eq!(queries(typed), ["class:cryo-sputter"], "{typed}");
        }
        assert_eq!(queries("status:o"), ["status:open"]);
        for typed in ["sign:r", "sign:straight", "sign:\"pressure ri"] {
            assert_eq!(
                queries(typed),
                ["sign:\"Pressure rise is a straight line\""],
                "{typed}"
            );
        }
        assert_eq!(queries("kind:gauge"), Vec::<String>::new());
    }

    /// What a suggestion leads to never asks for the opposite of what is typed, and never for
    /// something that no case has.
    #[test]
    fn nothing_is_suggested_that_leads_nowhere() {
        for typed in [
            "no do",
            "without ta",
            "-ta",
            "-do",
            "cause:\"x\" tape or f",
            "tool:brk-04 brk",
        ] {
            let found = queries(typed);
            let leads = found.iter().any(|query| {
                let new = query.replacen(typed.split(' ').next().unwrap_or_default(), "", 1);
                new.contains("cause:\"T") || new.contains("tool:BRK-0")
            });
            assert!(!leads, "{typed}: {found:?}");
        }
        assert_eq!(queries("-fo"), ["-foil", "-foreline"]);
        assert_eq!(queries("no fo"), ["no foil", "no foreline"]);
        // Words of the list that nobody wrote.
        assert_eq!(queries("isoprop"), Vec::<String>::new());
    }

    #[test]
    fn words_written_behind_the_word_before_come_first() {
        assert_eq!(queries("r")[..2], ["rise", "ring"]);
        assert_eq!(queries("o r")[..2], ["o ring", "o rise"]);
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
