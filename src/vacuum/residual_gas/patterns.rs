//! Cracking patterns from their editable text. Imports nothing of the project.

use std::collections::{BTreeMap, BTreeSet};

use serde::Deserialize;
use toml::Spanned;

/// The highest mass that a pattern or a spectrum may have.
pub(crate) const HIGHEST_MASS: u16 = 300;

/// Relative uncertainty of a peak height where the row states none.
const USUAL_SPREAD: f64 = 0.3;

/// The pattern of one gas.
#[derive(Clone, Debug, PartialEq)]
pub struct Gas {
    /// Name in data, e.g. `carbon-monoxide`.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Ion current for the same pressure, nitrogen = 1.
    pub sensitivity: f64,
    /// Where the sensitivity comes from.
    pub sensitivity_source: String,
    /// Relative uncertainty of a peak height, above 0 and at most 1.
    pub spread: f64,
    /// Where the heights come from.
    pub source: String,
    /// Mass of the highest peak.
    pub base: u16,
    /// Height of each peak as a share of the highest, 0 to 1, by mass.
    pub peaks: BTreeMap<u16, f64>,
}

/// All patterns known.
#[derive(Clone, Debug, PartialEq)]
pub struct Patterns {
    gases: Vec<Gas>,
    origin: String,
}

/// A mistake in a pattern file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cracking patterns, line {line}: {problem}")]
pub struct PatternError {
    /// Line, counted from 1.
    pub line: usize,
    /// What is wrong and what would be accepted.
    pub problem: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    gas: Vec<Spanned<Row>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct Row {
    id: Spanned<String>,
    name: String,
    sensitivity: Spanned<f64>,
    sensitivity_source: String,
    spread: Option<Spanned<f64>>,
    source: String,
    peaks: Spanned<BTreeMap<String, f64>>,
}

impl Patterns {
    /// Reads patterns from TOML: `[[gas]]` rows of `id`, `name`, `sensitivity` (nitrogen = 1),
    /// `sensitivity-source`, `source`, `peaks` (mass to height in per cent of the highest) and,
    /// where it is not 0.3, `spread`. `origin` says where the file is from, in words.
    ///
    /// # Errors
    /// Every mistake, with its line; of a file that is no TOML only the first.
    pub fn parse(text: &str, origin: impl Into<String>) -> Result<Self, Vec<PatternError>> {
        let at = |offset: usize| 1 + text[..offset.min(text.len())].matches('\n').count();
        let wrong = |offset: usize, problem: String| PatternError {
            line: at(offset),
            problem,
        };
        let file: File = toml::from_str(text).map_err(|error| {
            let offset = error.span().map_or(0, |span| span.start);
            vec![wrong(
                offset,
                error.message().trim_end_matches('.').to_owned(),
            )]
        })?;
        let mut mistakes = Vec::new();
        if file.gas.is_empty() {
            mistakes.push(wrong(0, "no [[gas]] row in the file".into()));
        }
        let mut seen = BTreeSet::new();
        let mut gases = Vec::with_capacity(file.gas.len());
        for row in file.gas {
            let row = row.into_inner();
            let at_id = row.id.span().start;
            let id = row.id.into_inner();
            if !seen.insert(id.clone()) {
                mistakes.push(wrong(at_id, format!("the gas {id} is there twice")));
            }
            let sensitivity = *row.sensitivity.get_ref();
            if !(sensitivity.is_finite() && sensitivity > 0.0) {
                mistakes.push(wrong(
                    row.sensitivity.span().start,
                    format!("sensitivity of {id} must be a finite number above zero"),
                ));
            }
            let spread = row.spread.as_ref().map_or(USUAL_SPREAD, |s| *s.get_ref());
            if !(spread > 0.0 && spread <= 1.0) {
                mistakes.push(wrong(
                    row.spread.map_or(at_id, |s| s.span().start),
                    format!("spread of {id} must be above 0 and at most 1"),
                ));
            }
            match heights(row.peaks.get_ref()) {
                Ok((base, peaks)) => gases.push(Gas {
                    id,
                    name: row.name,
                    sensitivity,
                    sensitivity_source: row.sensitivity_source,
                    spread,
                    source: row.source,
                    base,
                    peaks,
                }),
                Err(why) => {
                    mistakes.push(wrong(row.peaks.span().start, format!("{id}: {why}")));
                }
            }
        }
        if mistakes.is_empty() {
            Ok(Self {
                gases,
                origin: origin.into(),
            })
        } else {
            mistakes.sort_by_key(|mistake| mistake.line);
            Err(mistakes)
        }
    }

    /// The gases in the order of the file.
    pub fn gases(&self) -> &[Gas] {
        &self.gases
    }

    /// Where the file is from, in words.
    pub fn origin(&self) -> &str {
        &self.origin
    }
}

fn heights(typed: &BTreeMap<String, f64>) -> Result<(u16, BTreeMap<u16, f64>), String> {
    let mut peaks = BTreeMap::new();
    for (mass, &height) in typed {
        let mass = mass
            .parse::<u16>()
            .ok()
            .filter(|mass| (1..=HIGHEST_MASS).contains(mass))
            .ok_or_else(|| {
                format!("mass {mass} must be a whole number from 1 to {HIGHEST_MASS}")
            })?;
        if !(height > 0.0 && height <= 100.0) {
            return Err(format!(
                "height at mass {mass} must be above 0 and at most 100"
            ));
        }
        peaks.insert(mass, height / 100.0);
    }
    let highest: Vec<u16> = peaks
        .iter()
        .filter(|&(_, &height)| height == 1.0)
        .map(|(&mass, _)| mass)
        .collect();
    match highest[..] {
        [base] => Ok((base, peaks)),
        _ => Err("exactly one peak must have the height 100".into()),
    }
}
