//! What is known of a case beside its words: class, pump and gauges of the tool, signs and
//! antecedents, whether its cause was confirmed, and its age; and what sharing them is worth.
//!
//! The index keeps them as a few words of a fixed form in one column, so that weighing a case
//! reads neither text nor store. Only the first hits are weighed by them.

use std::collections::{BTreeMap, HashMap};

use tantivy::{
    DocId, Searcher, SegmentReader, Term,
    columnar::{Column, StrColumn},
    schema::Field,
};

use super::weights::Weights;
use crate::{
    casebook::{Finding, Incident, Status, Tool},
    catalogue::{AntecedentId, Catalogue, SignId},
    search::{
        SearchError,
        indexed::schema::{KNOWN, UNSEEN},
    },
};

/// How fast what a case's age is worth falls: to 1/e in so many microseconds, five years.
const AGES: f64 = 5.0 * 365.25 * 86_400e6;

/// A sign or antecedent that only one in e^4 cases has, or fewer, counts in full.
const RAREST: f32 = 4.0;

/// Signs that a reason names at most.
const NAMED: usize = 4;

/// What is known of a case or of what is asked, beside words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Circumstances {
    /// Tool class.
    pub class: Option<String>,
    /// High-vacuum pump.
    pub pump: Option<String>,
    /// Gauges of the tool.
    pub gauges: Vec<String>,
    /// Signs seen and not seen.
    pub signs: BTreeMap<SignId, bool>,
    /// What happened before, and what did not.
    pub antecedents: BTreeMap<AntecedentId, bool>,
    /// Whether its cause was named, mended and proven.
    pub confirmed: bool,
}

/// Which sort of word of the column says what.
pub(in crate::search) const CLASS: &str = "class ";
pub(in crate::search) const PUMP: &str = "pump ";
pub(in crate::search) const GAUGE: &str = "gauge ";
pub(in crate::search) const SEEN: &str = "seen ";
pub(in crate::search) const HAPPENED: &str = "before ";
const CONFIRMED: &str = "confirmed";

impl Circumstances {
    /// Of a case, with its signs and antecedents.
    pub(in crate::search) fn new(incident: Incident, tool: &Tool, catalogue: &Catalogue) -> Self {
        let pump = catalogue.class(tool.class.as_str()).map(|c| c.pump.clone());
        Self {
            class: Some(tool.class.to_string()),
            pump,
            gauges: tool.gauges.clone(),
            signs: incident.signs,
            antecedents: incident.antecedents,
            confirmed: incident.status == Status::Closed
                && matches!(incident.cause, Some(Finding::Cause(_)))
                && incident.pressures.restored.is_some()
                && incident.not_restored_reason.is_empty(),
        }
    }

    /// What of this another case shares, in a few plain words each.
    pub(in crate::search) fn shared(&self, other: &Self) -> Vec<String> {
        let mut shared = Vec::new();
        if self.class.is_some() && self.class == other.class {
            shared.push("same tool class".to_owned());
        } else if self.pump.is_some() && self.pump == other.pump {
            shared.push("same pump".to_owned());
        }
        if self.gauges.iter().any(|gauge| other.gauges.contains(gauge)) {
            shared.push("same gauge".to_owned());
        }
        for (name, both) in [
            ("signs in common", in_both(&self.signs, &other.signs)),
            (
                "before both",
                in_both(&self.antecedents, &other.antecedents),
            ),
        ] {
            if !both.is_empty() {
                shared.push(format!("{name}: {}", both.join(", ")));
            }
        }
        shared
    }

    /// As the index keeps them: which sort of word, and which; signs that were not seen are
    /// kept apart.
    pub(in crate::search) fn each(&self, mut told: impl FnMut(&'static str, &str)) {
        self.class.iter().for_each(|class| told(CLASS, class));
        self.pump.iter().for_each(|pump| told(PUMP, pump));
        self.gauges.iter().for_each(|gauge| told(GAUGE, gauge));
        for (id, _) in self.signs.iter().filter(|(_, seen)| **seen) {
            told(SEEN, id.as_str());
        }
        for (id, _) in self.antecedents.iter().filter(|(_, happened)| **happened) {
            told(HAPPENED, id.as_str());
        }
        if self.confirmed {
            told(CONFIRMED, "");
        }
    }

    /// Signs looked for and not seen.
    pub(in crate::search) fn unseen(&self) -> impl Iterator<Item = &str> {
        let unseen = self.signs.iter().filter(|(_, seen)| !**seen);
        unseen.map(|(id, _)| id.as_str())
    }
}

/// What is so in both, as people read it.
fn in_both<I: Ord + AsRef<str>>(
    own: &BTreeMap<I, bool>,
    others: &BTreeMap<I, bool>,
) -> Vec<String> {
    let both = own
        .iter()
        .filter(|(id, told)| **told && others.get(*id) == Some(&true));
    let named = both.map(|(id, _)| id.as_ref().replace('-', " "));
    named.take(NAMED).collect()
}

/// What each word of the column is worth to a search.
pub(in crate::search) struct Worths {
    words: Vec<(String, f32)>,
    /// Signs asked for that the case lacks.
    unseen: Vec<(String, f32)>,
    age: f32,
    newest: Option<i64>,
}

impl Worths {
    pub(in crate::search) fn new(
        searcher: &Searcher,
        field: Field,
        asked: &Circumstances,
        weights: &Weights,
    ) -> Result<Self, SearchError> {
        let cases = searcher.num_docs() as f32;
        let rarity = |word: &str| -> Result<f32, SearchError> {
            let holding = searcher.doc_freq(&Term::from_field_text(field, word))?;
            let rarity = (cases / holding.max(1) as f32).ln();
            Ok(rarity.clamp(0.0, RAREST) / RAREST)
        };
        let mut words = Vec::new();
        let mut unseen = Vec::new();
        words.extend(
            asked
                .class
                .iter()
                .map(|class| (format!("{CLASS}{class}"), weights.class)),
        );
        words.extend(
            asked
                .pump
                .iter()
                .map(|pump| (format!("{PUMP}{pump}"), weights.pump)),
        );
        let each = weights.gauge / asked.gauges.len().max(1) as f32;
        words.extend(asked.gauges.iter().map(|g| (format!("{GAUGE}{g}"), each)));
        for (id, seen) in &asked.signs {
            let has = format!("{SEEN}{id}");
            let rarity = rarity(&has)?;
            if *seen {
                words.push((has, weights.sign * rarity));
                unseen.push((id.to_string(), -weights.against * rarity));
            } else {
                words.push((has, -weights.against * rarity));
            }
        }
        for (id, _) in asked.antecedents.iter().filter(|(_, happened)| **happened) {
            let has = format!("{HAPPENED}{id}");
            let worth = weights.antecedent * rarity(&has)?;
            words.push((has, worth));
        }
        words.push((CONFIRMED.to_owned(), weights.confirmed));
        words.retain(|(_, worth)| *worth != 0.0);
        unseen.retain(|(_, worth)| *worth != 0.0);
        let mut newest = None;
        if weights.age > 0.0 {
            for segment in searcher.segment_readers() {
                let times = segment.fast_fields().i64("occurred_at")?;
                newest = newest.max(Some(times.max_value()));
            }
        }
        Ok(Self {
            words,
            unseen,
            age: weights.age,
            newest,
        })
    }

    /// For the cases of one segment; one of an older version may know nothing.
    pub(in crate::search) fn of_segment(
        &self,
        segment: &SegmentReader,
    ) -> Result<OfSegment, SearchError> {
        let columns = segment.fast_fields();
        let known = valued(columns.str(KNOWN).ok().flatten(), &self.words)?;
        let unseen = valued(columns.str(UNSEEN).ok().flatten(), &self.unseen)?;
        let times = columns.i64("occurred_at").ok();
        Ok(OfSegment {
            columns: known.into_iter().chain(unseen).collect(),
            age: self.newest.zip(times).map(|at| (self.age, at)),
        })
    }
}

/// A column, and what its words are worth by their numbers in it; none if nothing is.
type Valued = (StrColumn, HashMap<u64, f32>);

fn valued(
    column: Option<StrColumn>,
    words: &[(String, f32)],
) -> Result<Option<Valued>, SearchError> {
    let Some(column) = column else {
        return Ok(None);
    };
    let mut worths = HashMap::new();
    for (word, worth) in words {
        if let Some(ord) = column.dictionary().term_ord(word.as_bytes())? {
            *worths.entry(ord).or_default() += *worth;
        }
    }
    Ok((!worths.is_empty()).then_some((column, worths)))
}

/// The worths by the numbers that one segment gives the words.
pub(in crate::search) struct OfSegment {
    columns: Vec<Valued>,
    age: Option<(f32, (i64, Column<i64>))>,
}

impl OfSegment {
    /// What a case's circumstances are worth.
    pub(in crate::search) fn worth(&self, case: DocId) -> f32 {
        let told = self.columns.iter().flat_map(|(column, worths)| {
            let ords = column.term_ords(case);
            ords.filter_map(|ord| worths.get(&ord))
        });
        let shared: f32 = told.sum();
        let age = self.age.as_ref().map_or(0.0, |(weight, (newest, times))| {
            let old = times
                .first(case)
                .map_or(f64::MAX, |at| newest.saturating_sub(at) as f64);
            weight * (-old / AGES).exp() as f32
        });
        shared + age
    }
}
