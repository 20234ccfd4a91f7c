//! What is meant by the value after `tool:`, `site:`, `class:`, `status:` and `kind:`.
//!
//! A value may be written as pages show it, without its dashes, or begun. What names nothing is left
//! aside and told with what there is, unless the asker may not see the whole fleet.

use std::ops::{Range, RangeInclusive};

use tantivy::{Searcher, Term, schema::Field};

use super::{
    denied::terms_of,
    language::{Named, NamedValue, is_field},
    plan::{AskedName, Strict, Understood},
    remark::{Known, Remark},
};
use crate::{
    casebook::Site,
    catalogue::{Catalogue, Kind},
    search::{
        SearchError, SearchIndex,
        indexed::document::{Part, certain},
        ranking::circumstances::{HAPPENED, SEEN},
        reading::analysis::{Analysis, Mention, concept_term, split, stem_term},
    },
};

/// Names looked through at most.
const MOST_NAMES: usize = 50_000;

/// The identifier of something in the catalogue and its name.
type IdAndName = (String, String);

/// The names of a catalogue that may stand after a field word.
#[derive(Clone, Debug, Default)]
pub struct Names {
    /// Identifier and name of each tool class.
    classes: Vec<(String, String)>,
    /// Identifier of each cause, with its name and what its component and its kind are called.
    causes: Vec<(String, Vec<String>)>,
    /// Identifier and name of each component, with the causes that are its own.
    components: Vec<(IdAndName, Vec<IdAndName>)>,
    /// Code, in small letters, and name of each site.
    sites: Vec<(String, String)>,
    /// Identifier and name of each sign.
    signs: Vec<(String, String)>,
    /// Identifier and name of each thing that may have happened before.
    antecedents: Vec<(String, String)>,
}

impl Names {
    /// Those of a catalogue.
    pub fn of(catalogue: &Catalogue) -> Self {
        let classes = catalogue.classes();
        let causes = catalogue.causes().map(|cause| {
            let component = catalogue.component(cause.component.as_str());
            let component = component.map(|component| component.thing.clone());
            // Of a pumping fault or a change of process the kind names no thing.
            let kind = match cause.kind {
                Kind::PumpingFault | Kind::ProcessChange => None,
                kind => Some(kind.name().to_owned()),
            };
            let names = std::iter::once(cause.name.clone());
            let names = names.chain(component).chain(kind);
            (cause.id.to_string(), names.collect())
        });
        let components = catalogue.components().map(|component| {
            let own = catalogue
                .causes()
                .filter(|cause| cause.component == component.id);
            let own = own.map(|cause| (cause.id.to_string(), cause.name.clone()));
            let named = (component.id.to_string(), component.name.clone());
            (named, own.collect())
        });
        Self {
            causes: causes.collect(),
            components: components.collect(),
            sites: Vec::new(),
            signs: catalogue
                .signs()
                .map(|sign| (sign.id.to_string(), sign.name.clone()))
                .collect(),
            antecedents: catalogue
                .antecedents()
                .map(|before| (before.id.to_string(), before.name.clone()))
                .collect(),
            classes: classes
                .map(|class| (class.id.to_string(), class.name.clone()))
                .collect(),
        }
    }

    /// The same with the names of sites.
    pub fn with_sites<'a>(mut self, sites: impl IntoIterator<Item = &'a Site>) -> Self {
        let sites = sites.into_iter();
        let named = sites.map(|site| (site.code.as_str().to_lowercase(), site.name.clone()));
        self.sites = named.collect();
        self
    }

    /// The causes, each with what it may be called by.
    pub(in crate::search) fn causes(&self) -> impl Iterator<Item = (&str, &[String])> {
        let causes = self.causes.iter();
        causes.map(|(cause, names)| (cause.as_str(), names.as_slice()))
    }

    /// Identifier and name of each sign.
    pub(in crate::search) fn signs(&self) -> &[(String, String)] {
        &self.signs
    }

    /// Identifier and name of each thing that may have happened before.
    pub(in crate::search) fn antecedents(&self) -> &[(String, String)] {
        &self.antecedents
    }

    /// What the value of a field word names that asks for words of a part: where it is an id of the catalogue
    /// or a name in full, what has it is meant and nothing else that holds its words.
    fn in_full(&self, strict: &Strict) -> Option<(Named, Vec<(String, String)>)> {
        let part = strict.part?;
        let wanted = plain(&strict.shown);
        let is = |id: &str, name: &str| plain(id) == wanted || plain(name) == wanted;
        let own = |known: &[(String, String)]| {
            let known = known.iter().find(|(id, name)| is(id, name));
            known.map(|known| vec![known.clone()])
        };
        if strict.component {
            let mut components = self.components.iter();
            let component = components.find(|((id, name), _)| is(id, name));
            if let Some((_, causes)) = component {
                return Some((Named::Cause, causes.clone()));
            }
        }
        match part {
            Part::Cause => {
                let mut causes = self.causes.iter();
                let named = |(id, names): &(String, Vec<String>)| {
                    let name = names.first()?;
                    is(id, name).then(|| vec![(id.clone(), name.clone())])
                };
                Some((Named::Cause, causes.find_map(named)?))
            }
            Part::Facts => own(&self.signs)
                .map(|sign| (Named::Sign, sign))
                .or_else(|| Some((Named::Antecedent, own(&self.antecedents)?))),
            Part::Symptom | Part::Fix | Part::Notes => None,
        }
    }

    /// The signs that what stands behind `sign:` says not to be so: those whose names hold all of its words.
    fn unseen(&self, strict: &Strict, analysis: &Analysis) -> Vec<(String, String)> {
        let read = analysis.read(&strict.shown);
        let told = split(&strict.shown, &read.readings);
        let words = read.words.iter().zip(&told);
        let words = words.filter(|(_, plain)| !plain.common);
        let asked: Vec<String> = words
            .map(|(word, _)| {
                let here = |mention: &&Mention| {
                    read.words[mention.words.clone()]
                        .iter()
                        .any(|own| own.place == word.place)
                };
                let meant = read.mentions.iter().find(here);
                match meant.and_then(|mention| mention.concepts.first()) {
                    Some(concept) => concept_term(*concept, false),
                    None => stem_term(&word.stem, false),
                }
            })
            .collect();
        if strict.part != Some(Part::Facts) || !read.words.iter().any(|word| word.ruled_out) {
            return Vec::new();
        }
        let holds = |name: &str| {
            let terms = terms_of(certain(name), analysis);
            asked.iter().all(|term| terms.contains(term))
        };
        let signs = self.signs.iter().filter(|(_, name)| holds(name));
        signs.cloned().collect()
    }

    /// The sign or antecedent whose name, of several words, is all that was typed.
    fn spelled_out(&self, typed: &str) -> Option<(Named, &str)> {
        const WORDS: usize = 4;
        let wanted = plain(typed);
        let is = |(_, name): &&(String, String)| {
            name.split_whitespace().count() >= WORDS && plain(name) == wanted
        };
        let sign = self.signs.iter().find(is);
        let before = || self.antecedents.iter().find(is);
        sign.map(|(_, name)| (Named::Sign, name.as_str()))
            .or_else(|| before().map(|(_, name)| (Named::Antecedent, name.as_str())))
    }
}

impl SearchIndex {
    /// Finds what is meant by the values typed after field words; `open` is whether names of the whole
    /// fleet may be told.
    pub(in crate::search) fn name(
        &self,
        searcher: &Searcher,
        names: &Names,
        open: bool,
        asked: &mut Understood,
    ) -> Result<(), SearchError> {
        self.name_in_full(searcher, names, asked)?;
        for typed in std::mem::take(&mut asked.typed_names) {
            let known = self.known(searcher, names, &typed)?;
            let field = match typed.named {
                Named::Kind => "kind",
                Named::Class => "class",
                other => other.name(),
            };
            let shown = format!("{field}:{}", typed.value);
            let values = match typed.named {
                Named::Number => known.clone(),
                _ => matching(&typed.value, &known),
            };
            if values.is_empty() {
                asked.remarks.push(unknown(&typed, &known, open));
                continue;
            }
            if values.len() > 1 && open {
                asked.remarks.push(Remark::Several {
                    typed: shown.clone(),
                    names: names_of(&values),
                });
            }
            asked.named.push(AskedName {
                named: typed.named,
                values,
                shown,
                left_out: typed.left_out,
            });
        }
        Ok(())
    }

    /// Takes ids and whole names of the catalogue after field words for what they name, as far as a case has it.
    fn name_in_full(
        &self,
        searcher: &Searcher,
        names: &Names,
        asked: &mut Understood,
    ) -> Result<(), SearchError> {
        for left_out in [false, true] {
            let list = match left_out {
                true => &mut asked.left_out,
                false => &mut asked.required,
            };
            let mut others = Vec::with_capacity(list.len());
            for strict in std::mem::take(list) {
                let known = names.in_full(&strict);
                let mut held = 0;
                if let Some((named, values)) = &known {
                    for (id, _) in values {
                        held += searcher.doc_freq(&self.of_catalogue(*named, id))?;
                    }
                }
                let (named, values) = match known {
                    Some(known) if held > 0 => known,
                    known => {
                        let unseen = names.unseen(&strict, &asked.analysis);
                        if !unseen.is_empty() {
                            asked.remarks.push(Remark::NotSeen {
                                typed: strict.shown.clone(),
                                signs: names_of(&unseen),
                            });
                            asked.named.push(AskedName {
                                named: Named::Unseen,
                                shown: format!("sign:{}", strict.shown),
                                values: unseen,
                                left_out,
                            });
                            continue;
                        }
                        asked
                            .remarks
                            .extend(known.map(|(named, _)| Remark::NoneHas {
                                what: match strict.component {
                                    true => "component",
                                    false => named.name(),
                                },
                                name: strict.shown.clone(),
                            }));
                        others.push(strict);
                        continue;
                    }
                };
                asked.leave_untold(&strict.shown);
                asked.named.push(AskedName {
                    named,
                    shown: format!("{}:{}", named.name(), strict.shown),
                    values,
                    left_out,
                });
            }
            match left_out {
                true => asked.left_out = others,
                false => asked.required = others,
            }
        }
        Ok(())
    }

    /// The index term of a cause, a sign seen or an antecedent.
    pub(in crate::search) fn of_catalogue(&self, named: Named, id: &str) -> Term {
        match named {
            Named::Sign => Term::from_field_text(self.fields.known, &format!("{SEEN}{id}")),
            Named::Antecedent => {
                Term::from_field_text(self.fields.known, &format!("{HAPPENED}{id}"))
            }
            _ => Term::from_field_text(self.fields.cause, id),
        }
    }

    /// A search that is the whole name of a sign or antecedent as one for the cases that have it, and what was
    /// made of it.
    pub(in crate::search) fn name_typed(
        &self,
        names: &Names,
        typed: &str,
    ) -> Option<(String, Remark)> {
        let (named, name) = names.spelled_out(typed)?;
        let what = named.name();
        let typed = typed.trim().to_owned();
        Some((
            format!("{what}:\"{name}\""),
            Remark::WholeName { typed, what },
        ))
    }

    /// A search with the tools that it names as people type them, `brk04` or `KSM 3`, named by the field word, and
    /// what was made of them.
    pub(in crate::search) fn tools_typed(
        &self,
        searcher: &Searcher,
        typed: &str,
    ) -> Result<(String, Vec<Remark>), SearchError> {
        let mut text = String::new();
        let mut told = Vec::new();
        let mut done = 0;
        for (place, letters, figures) in tools_in(typed) {
            let written = &typed[place.clone()];
            let widths = figures.len()..=LONGEST_NUMBER;
            let ids = widths.map(|width| format!("{letters}-{figures:0>width$}"));
            let mut known = None;
            for id in std::iter::once(format!("{letters}{figures}")).chain(ids) {
                let term = Term::from_field_text(self.fields.tool, &id);
                if searcher.doc_freq(&term)? > 0 {
                    known = Some(id);
                    break;
                }
            }
            let Some(id) = known else {
                let site = Term::from_field_text(self.fields.site, &letters);
                if searcher.doc_freq(&site)? > 0 {
                    told.push(Remark::SiteOfTool {
                        typed: written.to_owned(),
                        site: letters.to_uppercase(),
                    });
                    // Its figures would be found in any text.
                    text.push_str(&typed[done..place.start]);
                    text.push_str("site:");
                    text.push_str(&letters);
                    done = place.end;
                }
                continue;
            };
            let (before, denied) = undenied(&typed[done..place.start]);
            text.push_str(before);
            text.push_str(if denied { "-tool:" } else { "tool:" });
            text.push_str(&id);
            done = place.end;
            told.push(Remark::Tool {
                typed: written.to_owned(),
                tool: id.to_uppercase(),
                left_out: denied,
            });
        }
        text.push_str(&typed[done..]);
        Ok((text, told))
    }

    /// Identifier and name of all that may be meant; only itself if the value is one of them.
    fn known(
        &self,
        searcher: &Searcher,
        names: &Names,
        typed: &NamedValue,
    ) -> Result<Vec<(String, String)>, SearchError> {
        Ok(match typed.named {
            Named::Number => {
                let number = typed.value.parse::<i64>().map(|number| number.to_string());
                number.into_iter().map(|n| (n.clone(), n)).collect()
            }
            Named::Status => ["open", "closed"]
                .map(|s| (s.to_owned(), s.to_owned()))
                .into(),
            Named::Kind => Kind::ALL
                .map(|kind| (kind.id().to_owned(), kind.name().to_owned()))
                .into(),
            Named::Class => {
                let mut known = names.classes.clone();
                for id in terms(searcher, self.fields.class)? {
                    if !known.iter().any(|(other, _)| *other == id) {
                        known.push((id.clone(), id));
                    }
                }
                known
            }
            Named::Tool | Named::Site => {
                let field = match typed.named {
                    Named::Tool => self.fields.tool,
                    _ => self.fields.site,
                };
                let own = typed.value.to_lowercase();
                let exact = Term::from_field_text(field, &own);
                if searcher.doc_freq(&exact)? > 0 {
                    return Ok(vec![(own.clone(), own.to_uppercase())]);
                }
                let named = |id: &String| {
                    let mut sites = names.sites.iter().filter(|_| typed.named == Named::Site);
                    let site = sites.find(|(code, _)| code == id);
                    site.map_or_else(|| id.to_uppercase(), |(_, name)| name.clone())
                };
                let all = terms(searcher, field)?.into_iter();
                all.map(|id| (id.clone(), named(&id))).collect()
            }
            Named::Cause | Named::Sign | Named::Unseen | Named::Antecedent => Vec::new(),
        })
    }
}

/// A text before a name without the word at its end by which that is left out, and whether there was one:
/// `not BRK-04`, `all except BRK-04`.
fn undenied(before: &str) -> (&str, bool) {
    let trimmed = before.trim_end();
    let space = trimmed.char_indices().rfind(|(_, c)| c.is_whitespace());
    let from = space.map_or(0, |(at, c)| at + c.len_utf8());
    let last = trimmed[from..].to_lowercase();
    let denied = ["not", "except", "without", "excluding", "besides", "no"];
    match trimmed.len() < before.len() && denied.contains(&&*last) {
        true => (&before[..from], true),
        false => (before, false),
    }
}

/// Figures of a tool's name at most, those of naught before a shorter number among them.
const LONGEST_NUMBER: usize = 3;

/// Letters of a tool's name.
const LETTERS: RangeInclusive<usize> = 2..=5;

/// What stands between letters and number, as a keyboard has it.
const HYPHENS: [char; 6] = ['-', '_', '–', '‐', '‑', '−'];

/// Names looked for in a search at most.
const MOST_TYPED: usize = 32;

/// What may be the name of a tool: letters and a number, glued, with a hyphen or apart; its letters small.
/// What stands in quotation marks or behind a field word or a minus is none.
fn tools_in(typed: &str) -> Vec<(Range<usize>, String, &str)> {
    let mut found = Vec::new();
    let mut quoted = false;
    let mut before: Option<Range<usize>> = None;
    let mut of_field = false;
    let mut at = 0;
    while let Some(start) = typed[at..].find(|c: char| !c.is_whitespace()) {
        let start = at + start;
        let end = typed[start..].find(char::is_whitespace);
        let end = end.map_or(typed.len(), |end| start + end);
        at = end;
        let word = &typed[start..end];
        let open = quoted;
        quoted ^= word.matches(['"', '“', '”', '„']).count() % 2 == 1;
        let bare = word.trim_end_matches([',', ';', '.', '?', '!', ')']);
        let plain = bare
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || HYPHENS.contains(&c));
        let last = before.take();
        let named = std::mem::replace(&mut of_field, ends_field(word));
        if open || named || !plain || found.len() == MOST_TYPED {
            continue;
        }
        let figures = bare.trim_start_matches(|c: char| c.is_ascii_alphabetic());
        let letters = &bare[..bare.len() - figures.len()];
        let number = figures.strip_prefix(HYPHENS).unwrap_or(figures);
        let is_number = !number.is_empty()
            && number.len() <= LONGEST_NUMBER
            && number.bytes().all(|b| b.is_ascii_digit());
        if LETTERS.contains(&letters.len()) && is_number {
            found.push((
                start..start + bare.len(),
                letters.to_ascii_lowercase(),
                number,
            ));
        } else if letters.is_empty() && is_number && figures == number {
            if let Some(letters) = last {
                let name = typed[letters.clone()].to_ascii_lowercase();
                found.push((letters.start..start + bare.len(), name, number));
            }
        } else if figures.is_empty() && bare == word && LETTERS.contains(&letters.len()) {
            before = Some(start..end);
        }
    }
    found
}

/// Whether a word is a field word whose value stands apart: `tool: BRK-04`.
fn ends_field(word: &str) -> bool {
    let name = word.strip_prefix('-').unwrap_or(word);
    name.strip_suffix(':').is_some_and(is_field)
}

fn terms(searcher: &Searcher, field: Field) -> Result<Vec<String>, SearchError> {
    let mut all = Vec::new();
    for segment in searcher.segment_readers() {
        let index = segment.inverted_index(field)?;
        let mut stream = index.terms().stream()?;
        while stream.advance() && all.len() < MOST_NAMES {
            all.extend(std::str::from_utf8(stream.key()).map(str::to_owned));
        }
    }
    all.sort_unstable();
    all.dedup();
    Ok(all)
}

/// Letters and figures alone, small.
fn plain(text: &str) -> String {
    let kept = text.chars().filter(|c| c.is_alphanumeric());
    kept.flat_map(char::to_lowercase).collect()
}

/// The names that a value may stand for: those it is, or else those it begins, or words of which it
/// begins.
fn matching(value: &str, known: &[(String, String)]) -> Vec<(String, String)> {
    let wanted = plain(value);
    if wanted.is_empty() {
        return Vec::new();
    }
    let pick = |fits: &dyn Fn(&str) -> bool| -> Vec<_> {
        let both = |(id, name): &&(String, String)| fits(id) || fits(name);
        known.iter().filter(both).cloned().collect()
    };
    let same = pick(&|name| plain(name) == wanted);
    if !same.is_empty() {
        return same;
    }
    let begun = pick(&|name| plain(name).starts_with(&wanted));
    if !begun.is_empty() {
        return begun;
    }
    let words: Vec<_> = value
        .split(|c: char| !c.is_alphanumeric())
        .map(plain)
        .collect();
    pick(&|name| {
        let own: Vec<_> = name
            .split(|c: char| !c.is_alphanumeric())
            .map(plain)
            .collect();
        let begins = |word: &String| own.iter().any(|own| own.starts_with(&**word));
        words.iter().filter(|word| !word.is_empty()).all(begins)
    })
}

fn names_of(known: &[(String, String)]) -> Vec<String> {
    known.iter().map(|(_, name)| name.clone()).collect()
}

/// What is remarked where a value names nothing.
fn unknown(typed: &NamedValue, known: &[(String, String)], open: bool) -> Remark {
    let NamedValue { named, value, .. } = typed;
    if *named == Named::Number {
        return Remark::NoNumber(value.clone());
    }
    let fleet = matches!(named, Named::Tool | Named::Site);
    let known = if known.is_empty() || (fleet && !open) {
        Known::Untold
    } else {
        let wanted = plain(value);
        Known::of(names_of(known), |name| {
            strsim::damerau_levenshtein(&wanted, &plain(name))
        })
    };
    Remark::NoneCalled {
        what: named.name(),
        name: value.clone(),
        known,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_tools_are_seen_as_people_type_them() {
        for (typed, names) in [
            ("brk04", &["brk 04"][..]),
            ("foil BRK04, stuck", &["brk 04"]),
            ("KSM 3 slow", &["ksm 3"]),
            ("ksm-3", &["ksm 3"]),
            ("QSB 08 and QSB-09.", &["qsb 08", "qsb 09"]),
            ("tool:brk04 -brk04 \"brk 04\" 4e-5 5e6 -6s", &[]),
            ("mass 40", &["mass 40"]),
            // Behind a field word, with or without a space.
            ("tool: BRK-04", &[]),
            ("-tool: brk-04 foil KSM-3", &["ksm 3"]),
            ("rga: BRK-04", &["brk 04"]),
            ("BRK–04 and brk_05", &["brk 04", "brk 05"]),
            ("ü 12 é-3 brk 1234", &[]),
        ] {
            let found = tools_in(typed).into_iter();
            let found: Vec<_> = found
                .map(|(place, letters, number)| {
                    assert!(typed.get(place).is_some(), "{typed}");
                    format!("{letters} {number}")
                })
                .collect();
            assert_eq!(found, names, "{typed}");
        }
    }

    #[test]
    fn names_are_found_as_pages_show_them() {
        let known: Vec<_> = [
            ("cryo-evaporator", "Cryo-pumped evaporator"),
            ("cryo-sputter", "Cryo-pumped sputter tool"),
            ("turbo-sputter", "Turbo-pumped sputter tool"),
        ]
        .map(|(id, name)| (id.to_owned(), name.to_owned()))
        .into();
        for (value, found) in [
            ("Cryo-pumped evaporator", &["cryo-evaporator"][..]),
            ("cryo evaporator", &["cryo-evaporator"]),
            ("CRYO_EVAPORATOR", &["cryo-evaporator"]),
            ("cryo", &["cryo-evaporator", "cryo-sputter"]),
            ("evaporator", &["cryo-evaporator"]),
            ("sputter tool", &["cryo-sputter", "turbo-sputter"]),
            ("turbo", &["turbo-sputter"]),
            ("furnace", &[]),
            ("-", &[]),
        ] {
            let ids: Vec<_> = matching(value, &known)
                .into_iter()
                .map(|(id, _)| id)
                .collect();
            assert_eq!(ids, found, "{value:?}");
        }
    }
}
