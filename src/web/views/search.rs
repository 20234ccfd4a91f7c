//! Search results.

use askama::Template;

use super::form::{Field, SelectOption};
use super::home::IncidentLine;
use super::page::Page;
use super::pager::Pager;
use super::{Link, SafeHtml};

/// A page of search results.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "search.html")]
pub struct SearchPage {
    /// The frame.
    pub page: Page,
    /// What was asked, as typed.
    pub query: String,
    /// The filters, as typed.
    pub filters: SearchFilters,
    /// How many were found and what was searched, such as "132 cases of 2,412".
    pub summary: String,
    /// What could not be read of the query, or what was relaxed; shown above the results.
    pub remarks: Vec<String>,
    /// The causes of the nearest cases, such as "of the 40 nearest, 22 door seal, 9 gauge"; empty if not known.
    pub nearest: String,
    /// The check sequence that these cases lead to.
    pub sequence: Option<Link>,
    /// The results of this page.
    pub hits: Vec<Hit>,
    /// The steps to the other pages.
    pub pager: Pager,
    /// Ways on when nothing was found.
    pub suggestions: Vec<Link>,
    /// What is sent to keep this search: names and values; empty if there is nothing to keep.
    pub keep: Vec<(String, String)>,
    /// Searches kept before.
    pub kept: Vec<Kept>,
}

/// A search kept under a name.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    /// Its name.
    pub name: String,
    /// Where it leads.
    pub href: String,
    /// Where the form goes that takes it off the list.
    pub hide: String,
}

/// The filters of a search.
#[derive(Clone, Debug, Default)]
pub struct SearchFilters {
    /// Tool classes; the first is "any".
    pub tool_class: Vec<SelectOption>,
    /// Kinds of cause; the first is "any".
    pub kind: Vec<SelectOption>,
    /// First day, as `2025-03-04` or as typed.
    pub from: String,
    /// Last day.
    pub to: String,
    /// What is wrong with the days, if anything.
    pub message: Option<String>,
    /// Whether any filter is set.
    pub active: bool,
}

/// One result.
#[derive(Clone, Debug, Default)]
pub struct Hit {
    /// The incident.
    pub incident: IncidentLine,
    /// Its symptom with the words found in `<mark>`, escaped already, where the line shows it whole.
    pub symptom: Option<SafeHtml>,
    /// Excerpts with the words found in `<mark>`, escaped already.
    pub excerpts: Vec<Excerpt>,
    /// Why it matched, each in a few words.
    pub why: Vec<String>,
}

/// A part of an incident's text.
#[derive(Clone, Debug, Default)]
pub struct Excerpt {
    /// Where it is from, such as "Fix".
    pub part: String,
    /// The text, escaped, with `<mark>` around the words found.
    pub text: SafeHtml,
}

/// Results shown below something else, such as the cases like an incident.
#[derive(Clone, Debug, Default)]
pub struct SimilarCases {
    /// The causes of the nearest cases, such as "Of the 40 nearest with a cause: 22 door seal"; empty
    /// if not known.
    pub nearest: String,
    /// The nearest cases.
    pub hits: Vec<Hit>,
    /// All of them.
    pub all: Option<Link>,
}

impl SearchFilters {
    fn fields(&self) -> Vec<Field> {
        use super::form::LineKind::Date;
        vec![
            Field::flat_select("tool_class", "Tool class", self.tool_class.clone()),
            Field::flat_select("kind", "Kind of cause", self.kind.clone()),
            Field::line("from", "From", Date).with(&self.from),
            Field::line("to", "To", Date).with(&self.to),
        ]
    }
}
