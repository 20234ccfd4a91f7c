//! What of an incident a search hit, in words and as an excerpt.

use std::{collections::BTreeMap, ops::Range};

use super::{
    Entry, analysis,
    analysis::Word,
    query::{near_miss_distance, stems},
};

/// About so many characters of a text are shown.
const LENGTH: usize = 220;

/// Which typed words an incident holds, and where.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Matches {
    /// For each field that was hit, the words as written there, e.g. `symptom: foil, stuck`.
    pub why: Vec<String>,
    /// The field the excerpt is from.
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

impl Matches {
    /// Looks for the words of `typed` in an incident.
    pub fn new(typed: &str, entry: &Entry) -> Self {
        let wanted = stems(typed);
        let mut why = Vec::new();
        let mut best: Option<(usize, &'static str, &str, Vec<Word>)> = None;
        for (field, text) in entry.texts() {
            let hits: Vec<Word> = analysis::words(text)
                .into_iter()
                .filter(|word| wanted.iter().any(|stem| fits(stem, &word.stem)))
                .collect();
            if hits.is_empty() {
                continue;
            }
            let mut distinct: BTreeMap<&str, String> = BTreeMap::new();
            for word in &hits {
                distinct
                    .entry(&word.stem)
                    .or_insert_with(|| text[word.from..word.to].to_lowercase());
            }
            let count = distinct.len();
            let words: Vec<_> = distinct.into_values().collect();
            why.push(format!("{field}: {}", words.join(", ")));
            if best.as_ref().is_none_or(|(most, ..)| count > *most) {
                best = Some((count, field, text, hits));
            }
        }
        let (part, excerpt) = match best {
            Some((_, field, text, hits)) => (field, cut(text, &hits)),
            None => ("symptom", cut(&entry.symptom, &[])),
        };
        Self { why, part, excerpt }
    }
}

fn fits(wanted: &str, stem: &str) -> bool {
    wanted == stem
        || near_miss_distance(wanted).is_some_and(|distance| within(wanted, stem, distance))
}

/// Whether two words differ by at most `distance` slips: a letter wrong, missing, extra,
/// or two neighbours swapped.
fn within(a: &str, b: &str, distance: u8) -> bool {
    let a: Vec<char> = a.chars().collect();
    let b: Vec<char> = b.chars().collect();
    let distance = usize::from(distance);
    if a.len().abs_diff(b.len()) > distance {
        return false;
    }
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let same = usize::from(a[i - 1] != b[j - 1]);
            row[j] = (last[j - 1] + same).min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before[j - 2] + 1);
            }
        }
        before = last;
        last = row;
    }
    last[b.len()] <= distance
}

/// The piece of `text` that holds most hits, cut at white space.
fn cut(text: &str, hits: &[Word]) -> Excerpt {
    let start = hits
        .iter()
        .enumerate()
        .max_by_key(|(index, first)| {
            let inside = hits[*index..]
                .iter()
                .take_while(|word| word.to <= first.from + LENGTH)
                .count();
            (inside, std::cmp::Reverse(*index))
        })
        .map_or(0, |(_, word)| word.from);
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
        .filter(|word| word.from >= trimmed && word.to <= to)
        .map(|word| word.from - trimmed + shift..word.to - trimmed + shift)
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

    fn hits(text: &str, typed: &str) -> Excerpt {
        let wanted = stems(typed);
        let words: Vec<_> = analysis::words(text)
            .into_iter()
            .filter(|word| wanted.iter().any(|stem| fits(stem, &word.stem)))
            .collect();
        cut(text, &words)
    }

    #[test]
    fn marks_inflected_and_misspelt_words_and_escapes_the_rest() {
        let html = hits("foil <b>wrapped</b> & leaking", "leaks wraped").html();
        assert_eq!(
            html,
            "foil &lt;b&gt;<mark>wrapped</mark>&lt;/b&gt; &amp; <mark>leaking</mark>"
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

    #[test]
    fn a_swap_is_one_slip_and_short_words_have_none() {
        assert!(within("foil", "fiol", 1));
        assert!(!within("seal", "sole", 1));
        assert!(!fits("o2", "o3"));
        assert!(!fits("gas", "gap"));
    }
}
