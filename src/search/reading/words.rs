//! The words of the trade: which mean the same, and which mean something narrower.
//!
//! [`WordList::parse`] is pure and gathers every mistake with its line; [`WordList::built_in`]
//! reads the copy of `seed-data/words.toml` built into the program. A form may be of several
//! words and is compared by stems, so `backing lines` is `backing line`.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use rust_embed::RustEmbed;
use serde::Deserialize;
use toml::Spanned;

use super::analysis::{Word, split};
use crate::{catalogue::Mistake, quick::Quickly, search::indexed::digest::Digest};

/// The file in `seed-data`, and in a site's data folder.
pub(in crate::search) const FILE: &str = "words.toml";

/// Longer words are no abbreviations.
const LONGEST_ABBREVIATION: usize = 4;

/// The most words one form may have.
const LONGEST_FORM: usize = 5;

#[derive(RustEmbed)]
#[folder = "$CARGO_MANIFEST_DIR/seed-data"]
#[include = "words.toml"]
struct BuiltIn;

/// Everything that is wrong with a word list.
#[derive(Clone, Debug, thiserror::Error)]
#[error("the word list cannot be used:\n{}", .0.iter().map(|m| format!("  {m}")).collect::<Vec<_>>().join("\n"))]
pub struct WordMistakes(pub Vec<Mistake>);

/// What a group of equivalent words means; numbered in the order of the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(in crate::search) struct Concept(pub(in crate::search) u32);

/// The stems of a form after its first, and what it means.
type Form = (Vec<String>, Vec<Concept>);

/// The word list, checked.
#[derive(Clone, Debug, Default)]
pub(in crate::search) struct WordList {
    forms: HashMap<Vec<String>, Vec<Concept>>,
    /// The same by the first stem: the other stems and the concepts, the longest form first.
    beginning_with: HashMap<String, Vec<Form>, Quickly>,
    written: BTreeSet<(String, String)>,
    fingerprint: u64,
}

/// Words of a mention, by index, and what they mean.
pub(in crate::search) use super::analysis::Mention;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    same: Vec<Same>,
    #[serde(default)]
    narrower: Vec<Narrower>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Same {
    words: Vec<Spanned<String>>,
    basis: Spanned<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Narrower {
    words: Vec<Spanned<String>>,
    than: Spanned<String>,
    basis: Spanned<String>,
}

impl WordList {
    /// The list built into the program.
    pub(in crate::search) fn built_in() -> Result<Self, WordMistakes> {
        Self::parse(FILE, &Self::built_in_text()?)
    }

    /// The list built in with a site's own: a group that shares a form with one built in joins it.
    pub(in crate::search) fn with_site(path: &str, text: &str) -> Result<Self, WordMistakes> {
        Self::parse_all(&[(FILE, &Self::built_in_text()?), (path, text)])
    }

    /// Reads a list.
    pub(in crate::search) fn parse(path: &str, text: &str) -> Result<Self, WordMistakes> {
        Self::parse_all(&[(path, text)])
    }

    fn built_in_text() -> Result<String, WordMistakes> {
        match BuiltIn::get(FILE) {
            Some(file) => Ok(String::from_utf8_lossy(&file.data).into_owned()),
            None => Err(WordMistakes(vec![Mistake {
                path: FILE.to_owned(),
                line: 0,
                problem: "this file was missing when the program was built".to_owned(),
            }])),
        }
    }

    fn parse_all(lists: &[(&str, &str)]) -> Result<Self, WordMistakes> {
        let mut reader = Reader {
            path: "",
            text: "",
            joins: false,
            count: 0,
            mistakes: Vec::new(),
            list: Self::default(),
            groups: BTreeMap::new(),
            plurals: Vec::new(),
            broader: BTreeMap::new(),
        };
        for (at, (path, text)) in lists.iter().enumerate() {
            (reader.path, reader.text, reader.joins) = (path, text, at > 0);
            match toml::from_str::<File>(text) {
                Ok(file) => reader.file(&file),
                Err(error) => {
                    let at = error.span().map(|span| span.start);
                    reader.complain(at, error.message().to_owned());
                }
            }
        }
        reader.close();
        if reader.mistakes.is_empty() {
            let texts: String = lists.iter().map(|(_, text)| *text).collect();
            reader.list.fingerprint = fingerprint(&texts);
            Ok(reader.list)
        } else {
            Err(WordMistakes(reader.mistakes))
        }
    }

    /// A number that changes with the list's text, so that an index made with another list
    /// is known.
    pub(in crate::search) fn fingerprint(&self) -> u64 {
        self.fingerprint
    }

    /// Every single word on the list, as written and its stem.
    pub(in crate::search) fn written(&self) -> impl Iterator<Item = (&str, &str)> {
        self.written
            .iter()
            .map(|(plain, stem)| (plain.as_str(), stem.as_str()))
    }

    /// What a single stem means, if it is on the list.
    pub(in crate::search) fn concept(&self, stem: &str) -> Option<Concept> {
        self.concepts(stem).first().copied()
    }

    /// What a single stem means, the concept as written first, broader ones after it.
    pub(in crate::search) fn concepts(&self, stem: &str) -> &[Concept] {
        self.forms
            .get(std::slice::from_ref(&stem.to_owned()))
            .map_or(&[], Vec::as_slice)
    }

    /// What of the list a text mentions: at each place the longest form.
    pub(in crate::search) fn mentions(&self, text: &str, words: &[Word]) -> Vec<Mention> {
        let mut mentions = Vec::new();
        let mut at = 0;
        while at < words.len() {
            let forms = self.beginning_with.get(&*words[at].stem);
            let found = forms.into_iter().flatten().find(|(rest, _)| {
                // A common word means something only beside others: he is no helium.
                (!rest.is_empty() || !words[at].common)
                    && words.len() - at > rest.len()
                    && rest.iter().enumerate().all(|(place, stem)| {
                        let next = &words[at + place + 1];
                        *next.stem == **stem
                            && said_alike(&words[at], next)
                            && adjoin(text, &words[at + place], next)
                    })
            });
            match found {
                Some((rest, concepts)) => {
                    let end = at + 1 + rest.len();
                    mentions.push(Mention {
                        words: at..end,
                        concepts: concepts.clone(),
                    });
                    at = end;
                }
                None => at += 1,
            }
        }
        mentions
    }
}

/// Whether two words of a form are both ruled out or neither: the leak of `leak check negative` is ruled out,
/// and no check. What denies a form itself belongs to it: `no start`.
fn said_alike(first: &Word, next: &Word) -> bool {
    first.ruled_out == next.ruled_out || *first.plain == *"no"
}

/// Whether two words stand side by side, parted by no more than a space or a hyphen.
pub(in crate::search) fn adjoin(text: &str, a: &Word, b: &Word) -> bool {
    text.get(a.place.end..b.place.start).is_some_and(|gap| {
        gap.len() <= 4
            && gap.chars().all(|c| {
                (c.is_whitespace() && c != '\n') || matches!(c, '-' | '‐' | '‑' | '\'' | '’' | '/')
            })
    })
}

struct Reader<'a> {
    path: &'a str,
    text: &'a str,
    /// Whether its groups may join those read before.
    joins: bool,
    /// Concepts so far.
    count: u32,
    mistakes: Vec<Mistake>,
    list: WordList,
    /// The concept of each form.
    groups: BTreeMap<Vec<String>, Concept>,
    /// Stems of plurals of abbreviations, each with that of one.
    plurals: Vec<(String, String)>,
    /// The wider concepts of each concept.
    broader: BTreeMap<Concept, BTreeSet<Concept>>,
}

impl Reader<'_> {
    fn complain(&mut self, at: Option<usize>, problem: String) {
        let line = at.map_or(0, |at| {
            let end = at.min(self.text.len());
            1 + self.text.as_bytes()[..end]
                .iter()
                .filter(|b| **b == b'\n')
                .count()
        });
        self.mistakes.push(Mistake {
            path: self.path.to_owned(),
            line,
            problem,
        });
    }

    fn file(&mut self, file: &File) {
        for same in &file.same {
            let before = self.count;
            let concept = self.group(same);
            self.basis(&same.basis);
            if same.words.len() < 2 {
                self.complain(
                    same.words.first().map(|word| word.span().start),
                    "a group of words that mean the same has to have two or more".to_owned(),
                );
            }
            for word in &same.words {
                let Some(form) = self.form(word) else {
                    continue;
                };
                if let Some(other) = self.groups.get(&form).copied() {
                    if self.joins && other == concept && concept.0 < before {
                        continue;
                    }
                    let place = if other == concept {
                        "twice in this group, as word endings and hyphens do not matter"
                    } else {
                        "in another group already; words that mean the same stand in one"
                    };
                    self.complain(
                        Some(word.span().start),
                        format!("{:?} stands {place}", word.get_ref()),
                    );
                } else {
                    self.groups.insert(form, concept);
                }
            }
        }
        for narrower in &file.narrower {
            self.basis(&narrower.basis);
            let Some(than) = self.form(&narrower.than) else {
                continue;
            };
            let wide = self.concept_of(than);
            for word in &narrower.words {
                let Some(form) = self.form(word) else {
                    continue;
                };
                let narrow = self.concept_of(form);
                if narrow == wide {
                    self.complain(
                        Some(word.span().start),
                        format!(
                            "{:?} means the same as {:?} and cannot be narrower",
                            word.get_ref(),
                            narrower.than.get_ref()
                        ),
                    );
                }
                self.broader.entry(narrow).or_default().insert(wide);
                if narrow != wide && self.wider(narrow).contains(&narrow) {
                    self.complain(
                        Some(word.span().start),
                        format!("{:?} would be narrower than itself", word.get_ref()),
                    );
                }
            }
        }
    }

    /// The concept of a group: a new one, or the one a form of it has in a list read before.
    fn group(&mut self, same: &Same) -> Concept {
        let known = same.words.iter().find_map(|word| {
            let form: Vec<_> = split(word.get_ref(), &[])
                .into_iter()
                .map(|w| w.stem.to_string())
                .collect();
            self.groups.get(&form).copied()
        });
        if let Some(concept) = known.filter(|_| self.joins) {
            return concept;
        }
        self.count += 1;
        Concept(self.count - 1)
    }

    /// Every concept wider than this one.
    fn wider(&self, concept: Concept) -> Vec<Concept> {
        let mut wider: Vec<Concept> = Vec::new();
        let mut next = vec![concept];
        while let Some(concept) = next.pop() {
            for wide in self.broader.get(&concept).into_iter().flatten() {
                if !wider.contains(wide) {
                    wider.push(*wide);
                    next.push(*wide);
                }
            }
        }
        wider
    }

    fn basis(&mut self, basis: &Spanned<String>) {
        if basis.get_ref().trim().is_empty() {
            self.complain(
                Some(basis.span().start),
                "the basis is empty; accepted: a source, or \"common practice, no source\""
                    .to_owned(),
            );
        }
    }

    /// The stems of a form.
    fn form(&mut self, written: &Spanned<String>) -> Option<Vec<String>> {
        let words = split(written.get_ref(), &[]);
        if words.is_empty() || words.len() > LONGEST_FORM {
            self.complain(
                Some(written.span().start),
                format!(
                    "{:?} has {} words; accepted: 1 to {LONGEST_FORM}",
                    written.get_ref(),
                    words.len()
                ),
            );
            return None;
        }
        if words.len() == 1 && words[0].common {
            self.complain(
                Some(written.span().start),
                format!(
                    "{:?} is too common a word to be searched for",
                    written.get_ref()
                ),
            );
            return None;
        }
        for word in words.iter().filter(|word| !word.common) {
            self.list
                .written
                .insert((word.plain.to_string(), word.stem.to_string()));
        }
        if let [word] = words.as_slice() {
            self.plural(word);
        }
        Some(
            words
                .into_iter()
                .map(|word| word.stem.to_string())
                .collect(),
        )
    }

    /// Abbreviations have plurals that are no ordinary word ending: MFCs, RGAs.
    fn plural(&mut self, word: &Word) {
        let plural = split(&format!("{}s", word.plain), &[]);
        if let [plural] = plural.as_slice()
            && word.plain.len() <= LONGEST_ABBREVIATION
            && plural.stem != word.stem
        {
            self.plurals
                .push((plural.stem.to_string(), word.stem.to_string()));
        }
    }

    fn concept_of(&mut self, form: Vec<String>) -> Concept {
        *self.groups.entry(form).or_insert_with(|| {
            self.count += 1;
            Concept(self.count - 1)
        })
    }

    /// Gives every form its concept and all wider ones.
    fn close(&mut self) {
        for (plural, one) in std::mem::take(&mut self.plurals) {
            if let Some(concept) = self.groups.get(&vec![one]).copied() {
                self.groups.entry(vec![plural]).or_insert(concept);
            }
        }
        for (form, concept) in std::mem::take(&mut self.groups) {
            let mut concepts = vec![concept];
            concepts.extend(self.wider(concept));
            if let [first, rest @ ..] = form.as_slice() {
                let forms = self.list.beginning_with.entry(first.clone()).or_default();
                forms.push((rest.to_vec(), concepts.clone()));
            }
            self.list.forms.insert(form, concepts);
        }
        for forms in self.list.beginning_with.values_mut() {
            forms.sort_by_key(|(rest, _)| std::cmp::Reverse(rest.len()));
        }
    }
}

/// Any change of the text changes it.
fn fingerprint(text: &str) -> u64 {
    let mut digest = Digest::default();
    digest.bytes(text.as_bytes());
    digest.sum()
}
