//! What of an incident a search hit, in words and as an excerpt.

use std::{collections::BTreeMap, ops::Range};

use crate::search::{
    Entry,
    asking::{
        language::Named,
        noted,
        plan::{Understood, Wanted},
    },
    indexed::document::Part,
    ranking::rank,
    reading::{
        analysis::{Analysed, aside_term, concept_term, lacking_term, stem_term},
        quantity::{Quantity, Sort},
    },
};

/// About so many characters of a text are shown.
const LENGTH: usize = 220;

/// What an incident holds of what was searched for, and where.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Matches {
    /// Quantities that are near, then the words that were hit as written, with the parts that hold them
    /// (parts that hold the same ones together), then what tool and circumstances share,
    /// e.g. `symptom, fix: foil, stuck`.
    pub why: Vec<String>,
    /// The part the excerpt is from.
    pub part: &'static str,
    /// The text that shows most of them.
    pub excerpt: Excerpt,
}

/// A piece of text with the parts that were hit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Excerpt {
    /// The piece, unescaped.
    pub text: String,
    /// The parts that were hit, in bytes of `text`, in order, not overlapping.
    pub marks: Vec<Range<usize>>,
}

impl Excerpt {
    /// As HTML: everything escaped, hits in `<mark>`.
    pub fn html(&self) -> String {
        let mut html = String::with_capacity(self.text.len() + 32);
        let mut done = 0;
        for mark in &self.marks {
            escape(&self.text[done..mark.start], &mut html);
            html.push_str("<mark>");
            escape(&self.text[mark.clone()], &mut html);
            html.push_str("</mark>");
            done = mark.end;
        }
        escape(&self.text[done..], &mut html);
        html
    }
}

/// The most words that a reason names; a case like another shares dozens.
const NAMED: usize = 6;

/// Words as written, each with what it was searched for as if otherwise.
type Words = BTreeMap<String, Option<String>>;

/// A hit in a text: where, the words as written, and as they were searched for if otherwise.
struct Found {
    place: Range<usize>,
    written: String,
    meant: Option<String>,
}

/// The part that shows most of what was searched for.
struct Best<'a> {
    /// Whether it is in somebody's own words.
    own: bool,
    hits: usize,
    part: Part,
    text: &'a str,
    places: Vec<Range<usize>>,
}

impl Matches {
    /// Looks in an incident for what a search was understood to ask.
    pub fn new(asked: &Understood, entry: &Entry) -> Self {
        let mut why: Vec<String> = rank::near(asked, entry)
            .into_iter()
            .map(|near| {
                format!(
                    "{}pressure {}, {} {}",
                    near.place, near.own, near.how, near.asked
                )
            })
            .collect();
        why.extend(quantities(asked, entry));
        why.extend(names(asked, entry));
        let whole_case = asked.weights.tells > 0.0;
        let mut best: Option<Best<'_>> = None;
        let mut told: Vec<(Vec<&str>, Words)> = Vec::new();
        for (part, text) in entry.parts() {
            let mut analysed = asked.analysis.read(text);
            if part == Part::Notes {
                noted::prove_nothing_absent(&mut analysed, &entry.noted);
            }
            let found = found(asked, &analysed, text);
            let mut named: Vec<(&str, Words)> = Vec::new();
            for hit in &found {
                let name = entry.name_at(part, hit.place.start);
                let word = (hit.written.to_lowercase(), hit.meant.clone());
                match named.iter_mut().find(|(known, _)| *known == name) {
                    Some((_, words)) => _ = words.entry(word.0).or_insert(word.1),
                    None => named.push((name, Words::from([word]))),
                }
            }
            for (name, mut words) in named {
                // What a case's signs are called says less than its texts, and a case like another names
                // the signs that both have.
                if name == Part::Facts.name() {
                    words.retain(|word, _| told.iter().all(|(_, words)| !words.contains_key(word)));
                    if whole_case || words.is_empty() {
                        continue;
                    }
                }
                match told.iter_mut().find(|(_, known)| *known == words) {
                    Some((names, _)) => names.push(name),
                    None => told.push((vec![name], words)),
                }
            }
            let mut places: Vec<_> = found.into_iter().map(|hit| hit.place).collect();
            let hits = places.len();
            let prose = part != Part::Cause && part != Part::Facts;
            if prose {
                places.extend(near_readings(asked, &analysed, entry));
            }
            places.sort_by_key(|place| (place.start, std::cmp::Reverse(place.end)));
            places.dedup_by(|next, before| next.start < before.end);
            // The cause is named beside the excerpt, so somebody's own words come before its catalogue text.
            let own = prose && hits > 0;
            let tells_more = |known: &Best<'_>| (own, hits) > (known.own, known.hits);
            if !places.is_empty() && best.as_ref().is_none_or(tells_more) {
                best = Some(Best {
                    own,
                    hits,
                    part,
                    text,
                    places,
                });
            }
        }
        let shared = asked.circumstances.shared(&entry.circumstances);
        if whole_case {
            why.extend(shared);
            why.extend(in_common(&told));
        } else {
            let reasons = told.into_iter();
            why.extend(reasons.map(|(names, words)| listed(&names.join(", "), words.into_iter())));
            why.extend(shared);
        }
        let told = entry.cause.as_deref().filter(|_| whole_case);
        if told.is_some_and(|cause| asked.told.stands_out(cause)) {
            why.push("cases told in such words often had this cause".to_owned());
        }
        if why.is_empty() && asked.silent {
            let words: Vec<_> = asked.wanted.iter().map(|wanted| &*wanted.shown).collect();
            why.push(format!("does not speak of {}", words.join(", ")));
        }
        if why.is_empty() {
            let phrases = asked.phrases.iter();
            why.extend(phrases.map(|phrase| format!("holds “{}”", phrase.shown)));
        }
        if why.is_empty() {
            why.extend(left_out(asked));
        }
        let (part, excerpt) = match best {
            Some(best) => {
                let first = best.places.first().map_or(0, |place| place.start);
                let noted = (best.part == Part::Notes).then(|| entry.noted_with(&best.places));
                match noted.flatten() {
                    // Of what is put together only that which the name says.
                    Some((name, own)) => {
                        let within = |place: &&Range<usize>| {
                            own.start <= place.start && place.end <= own.end
                        };
                        let places = best.places.iter().filter(within);
                        let places = places.map(|p| p.start - own.start..p.end - own.start);
                        let places: Vec<_> = places.collect();
                        (name, cut(best.text.get(own).unwrap_or_default(), &places))
                    }
                    None => (
                        entry.name_at(best.part, first),
                        cut(best.text, &best.places),
                    ),
                }
            }
            None => (Part::Symptom.name(), cut(&entry.symptom, &[])),
        };
        Self { why, part, excerpt }
    }
}

/// A reason that names some words, as written and as meant.
fn listed(name: &str, words: impl ExactSizeIterator<Item = (String, Option<String>)>) -> String {
    let more = match words.len().saturating_sub(NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let words: Vec<_> = words
        .take(NAMED)
        .map(|(written, meant)| match meant {
            Some(meant) => format!("{written} (for {meant})"),
            None => written,
        })
        .collect();
    format!("{name}: {}{more}", words.join(", "))
}

/// What the texts of a case like another share, whichever part it stands in: first what most parts hold.
fn in_common(told: &[(Vec<&str>, Words)]) -> Option<String> {
    let mut counted: BTreeMap<&String, (usize, &Option<String>)> = BTreeMap::new();
    for (names, words) in told {
        for (written, meant) in words {
            counted.entry(written).or_insert((0, meant)).0 += names.len();
        }
    }
    let mut words: Vec<_> = counted.into_iter().collect();
    words.sort_by_key(|(_, (parts, _))| std::cmp::Reverse(*parts));
    let words = words.into_iter();
    let words = words.map(|(written, (_, meant))| (written.clone(), meant.clone()));
    (words.len() > 0).then(|| listed("words in common", words))
}

/// What a case was asked to be by name.
fn names(asked: &Understood, entry: &Entry) -> Vec<String> {
    let wanted = asked.named.iter().filter(|name| !name.left_out);
    wanted
        .filter_map(|name| {
            let known = &entry.circumstances;
            let is = |id: &String| match name.named {
                Named::Number => entry.number.to_string() == *id,
                Named::Tool => entry.tool.to_lowercase() == *id,
                Named::Site => entry.site.to_lowercase() == *id,
                Named::Class => entry.class == *id,
                Named::Status => entry.status == id,
                Named::Kind => entry.kind.is_some_and(|kind| kind.id() == id),
                Named::Cause => entry.cause.as_ref() == Some(id),
                Named::Sign | Named::Unseen => {
                    let mut signs = known.signs.iter();
                    let seen = name.named == Named::Sign;
                    signs.any(|(own, was)| *was == seen && own.as_str() == id)
                }
                Named::Antecedent => {
                    let mut before = known.antecedents.iter();
                    before.any(|(own, happened)| *happened && own.as_str() == id)
                }
            };
            let (_, said) = name.values.iter().find(|(id, _)| is(id))?;
            Some(format!("{} {said}, as asked", name.named.name()))
        })
        .collect()
}

/// What a case does not hold, where nothing else was asked.
fn left_out(asked: &Understood) -> Option<String> {
    let words = asked.left_out.iter().map(|strict| strict.shown.as_str());
    let names = asked.named.iter().filter(|name| name.left_out);
    let pressures = asked.pressures_left_out.iter().map(|p| p.shown.trim());
    let denied = asked.quantities_denied.iter();
    let denied = denied.map(|quantity| quantity.shown.trim_start_matches("no "));
    let all: Vec<_> = words
        .chain(names.map(|name| name.shown.as_str()))
        .chain(pressures)
        .chain(denied)
        .collect();
    (!all.is_empty()).then(|| format!("without {}", all.join(", ")))
}

/// The quantities of a case that are near those asked for; those typed as one, such as the masses of
/// `28/32`, together.
fn quantities(asked: &Understood, entry: &Entry) -> Vec<String> {
    let mut near: Vec<String> = Vec::new();
    for typed in asked.quantities.chunk_by(|a, b| a.place == b.place) {
        let mut own: Vec<&str> = Vec::new();
        let mut far = false;
        for quantity in typed {
            let nearest = entry
                .quantities
                .iter()
                .filter(|own| quantity.is_near(own) || (asked.nearest && own.sort == quantity.sort))
                .min_by(|a, b| {
                    let off = |q: &Quantity| (q.value / quantity.value).ln().abs();
                    off(a).total_cmp(&off(b))
                });
            far |= nearest.is_some_and(|own| !quantity.is_near(own));
            own.extend(
                nearest
                    .map(|own| &*own.shown)
                    .filter(|shown| !own.contains(shown)),
            );
        }
        if let (Some(first), false) = (typed.first(), own.is_empty()) {
            let how = match first.sort {
                _ if far => "the nearest there is to",
                Sort::Mass => "for",
                _ => "near",
            };
            let told = format!("{}, {how} {}", own.join(", "), first.shown);
            if !near.contains(&told) {
                near.push(told);
            }
        }
    }
    near
}

fn near_readings(asked: &Understood, analysed: &Analysed, entry: &Entry) -> Vec<Range<usize>> {
    analysed
        .readings
        .iter()
        .filter(|reading| rank::reading_is_near(asked, reading, entry.unit))
        .map(|reading| reading.place.clone())
        .collect()
}

fn found(asked: &Understood, analysed: &Analysed, text: &str) -> Vec<Found> {
    let mut found = Vec::new();
    let words = analysed.words.iter().enumerate();
    for (at, word) in words.filter(|(_, word)| !word.common || word.in_phrase()) {
        let lacks = word.lacking && asked.wanting(&lacking_term(&word.stem)).is_some();
        let term = match word.ruled_out {
            _ if word.common => aside_term(&word.stem),
            true => analysed.ruled_out_term(at),
            false if lacks => lacking_term(&word.stem),
            false => stem_term(&word.stem, false),
        };
        if let Some(wanted) = asked.wanting(&term) {
            let corrected = wanted.corrected && wanted.terms.first().is_none_or(|t| t.0 != term);
            if !stands_beside(analysed, at, wanted, &term) {
                continue;
            }
            let denied = word.ruled_out || lacks;
            found.push(Found {
                place: word.place.clone(),
                written: as_told(text, word.place.clone(), word.denial.filter(|_| denied)),
                meant: corrected.then(|| wanted.shown.clone()),
            });
        }
    }
    for mention in &analysed.mentions {
        let words = &analysed.words[mention.words.clone()];
        let (Some(first), Some(last)) = (words.first(), words.last()) else {
            continue;
        };
        let place = first.place.start..last.place.end;
        let held = analysed.held(mention).iter();
        let mut plain = held.map(|concept| concept_term(*concept, first.ruled_out));
        let lacking = analysed.lacks(mention);
        let held = mention.held(true).iter().filter(|_| lacking.is_some());
        let mut lack = held.map(|concept| lacking_term(&concept_term(*concept, false)));
        let (wanted, denied) = match lack.find_map(|term| asked.wanting(&term)) {
            Some(wanted) => (wanted, lacking),
            None => match plain.find_map(|term| asked.wanting(&term)) {
                Some(wanted) => (wanted, Some(first).filter(|first| first.ruled_out)),
                None => continue,
            },
        };
        let written = text[place.clone()].to_owned();
        if found.iter().any(|hit| hit.place == place) {
            continue;
        }
        found.retain(|hit| hit.place.start < place.start || hit.place.end > place.end);
        let denial = denied.and_then(|word| word.denial);
        let same = written.eq_ignore_ascii_case(&wanted.shown);
        found.push(Found {
            written: as_told(text, place.clone(), denial),
            place,
            meant: (!same).then(|| wanted.shown.clone()),
        });
    }
    found
}

/// What stands at a place; where it is said not to be so, quoted with the words that say it.
fn as_told(text: &str, place: Range<usize>, denial: Option<(u32, u32)>) -> String {
    const LONGEST: usize = 60;
    let Some((from, to)) = denial else {
        return text[place].to_owned();
    };
    let all = place.start.min(from as usize)..place.end.max(to as usize);
    match text
        .get(all)
        .filter(|all| all.len() <= LONGEST && !all.contains('\n'))
    {
        Some(all) => format!("“{all}”"),
        None => format!("“{}” ruled out", &text[place]),
    }
}

/// Whether a word that was wanted beside another stands beside it.
fn stands_beside(analysed: &Analysed, at: usize, wanted: &Wanted, term: &str) -> bool {
    let Some(pair) = wanted.pair.as_ref().filter(|pair| {
        pair.iter().any(|one| one == term) && wanted.terms.iter().all(|(own, _)| own != term)
    }) else {
        return true;
    };
    let is = |at: Option<usize>, one: &String| {
        let word = at.and_then(|at| Some((at, analysed.words.get(at)?)));
        word.is_some_and(|(at, word)| match word.ruled_out {
            true => analysed.ruled_out_term(at) == *one,
            false => *word.stem == **one,
        })
    };
    (pair[0] == term && is(Some(at + 1), &pair[1]))
        || (pair[1] == term && is(at.checked_sub(1), &pair[0]))
}

/// The piece of `text` that holds most hits, cut at white space.
fn cut(text: &str, hits: &[Range<usize>]) -> Excerpt {
    let start = hits
        .iter()
        .enumerate()
        .max_by_key(|(index, first)| {
            let inside = hits[*index..]
                .iter()
                .take_while(|hit| hit.end <= first.start + LENGTH)
                .count();
            (inside, std::cmp::Reverse(*index))
        })
        .map_or(0, |(_, hit)| hit.start);
    let from = if text.len() <= LENGTH {
        0
    } else {
        let back = text.floor_char_boundary(start.saturating_sub(LENGTH / 5));
        if back == 0 {
            0
        } else {
            text[back..start]
                .find(char::is_whitespace)
                .map_or(start, |at| back + at)
        }
    };
    let to = if text.len() - from <= LENGTH {
        text.len()
    } else {
        let end = text.floor_char_boundary(from + LENGTH);
        text[from..end]
            .rfind(char::is_whitespace)
            .filter(|at| *at > LENGTH / 2)
            .map_or(end, |at| from + at)
    };
    let mut piece = String::new();
    if from > 0 {
        piece.push('…');
    }
    let shift = piece.len();
    let trimmed = from + (text[from..to].len() - text[from..to].trim_start().len());
    piece.push_str(&text[trimmed..to]);
    if to < text.len() {
        piece.push('…');
    }
    let marks = hits
        .iter()
        .filter(|hit| hit.start >= trimmed && hit.end <= to)
        .map(|hit| hit.start - trimmed + shift..hit.end - trimmed + shift)
        .collect();
    Excerpt { text: piece, marks }
}

fn escape(text: &str, into: &mut String) {
    for character in text.chars() {
        match character {
            '&' => into.push_str("&amp;"),
            '<' => into.push_str("&lt;"),
            '>' => into.push_str("&gt;"),
            '"' => into.push_str("&quot;"),
            '\'' => into.push_str("&#39;"),
            other => into.push(other),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::search::{
        indexed::vocabulary::Vocabulary,
        reading::{analysis::Analysis, words::WordList},
    };

    fn hits(text: &str, typed: &str) -> Excerpt {
        let list = WordList::built_in().expect("the built-in list is right");
        let analysis = Analysis::new(std::sync::Arc::new(list));
        let asked = Understood::new(typed, &analysis, &Vocabulary::default());
        let found = found(&asked, &analysis.read(text), text);
        let places: Vec<_> = found.into_iter().map(|hit| hit.place).collect();
        cut(text, &places)
    }

    #[test]
    fn marks_inflected_words_but_no_common_ones_and_escapes_the_rest() {
        let html = hits("foil <b>wrapped</b> & it was leaking", "leaks wrap it was").html();
        assert_eq!(
            html,
            "foil &lt;b&gt;<mark>wrapped</mark>&lt;/b&gt; &amp; it was <mark>leaking</mark>"
        );
    }

    #[test]
    fn cuts_around_the_hit_without_splitting_letters() {
        let text = format!(
            "{} Überdruckventil undicht {}",
            "äöü ".repeat(200),
            "ß ".repeat(200)
        );
        let excerpt = hits(&text, "undicht");
        assert!(excerpt.text.contains("undicht"));
        assert!(excerpt.text.len() < LENGTH + 60);
        assert_eq!(&excerpt.text[excerpt.marks[0].clone()], "undicht");
    }
}
