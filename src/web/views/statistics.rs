//! Statistics: a selection, its key figures, and sections of tables and plots.

use askama::Template;

use super::Link;
use super::bar::ShareBar;
use super::chart::{Chart, DataTable};
use super::form::Field;
use super::page::Page;

/// A page of statistics.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "statistics.html")]
pub struct StatisticsPage {
    /// The frame.
    pub page: Page,
    /// The pages of statistics, and which is shown.
    pub ways: Vec<Way>,
    /// Address of this page, to which the filters are sent by GET.
    pub action: String,
    /// The filters.
    pub filters: Vec<Field>,
    /// Whether any filter is set.
    pub filtered: bool,
    /// What is counted, such as "412 closed incidents".
    pub summary: String,
    /// Why there is nothing to show; none if there is.
    pub empty: Option<String>,
    /// The figures to read first.
    pub figures: Vec<KeyFigure>,
    /// What to know before reading on.
    pub remarks: Vec<String>,
    /// Tables and plots.
    pub sections: Vec<Part>,
    /// How it was computed, a paragraph each.
    pub method: Vec<String>,
}

/// One of the pages.
#[derive(Clone, Debug)]
pub struct Way {
    /// The page.
    pub link: Link,
    /// Whether it is the one shown.
    pub current: bool,
}

/// A figure with what stands behind it.
#[derive(Clone, Debug)]
pub struct KeyFigure {
    /// What it is.
    pub name: String,
    /// The figure.
    pub value: String,
    /// Interval and sample.
    pub detail: String,
}

/// A section of the page.
#[derive(Clone, Debug, Default)]
pub struct Part {
    /// Unique on the page; letters, digits and hyphens.
    pub id: String,
    /// Heading.
    pub title: String,
    /// One or two sentences.
    pub intro: String,
    /// What the data say, in words.
    pub verdict: Option<Verdict>,
    /// Shares with bars.
    pub shares: Option<ShareTable>,
    /// Drawings.
    pub charts: Vec<Chart>,
    /// Plain tables.
    pub tables: Vec<DataTable>,
    /// Address of the whole table as a file.
    pub export: Option<String>,
    /// Where to go on.
    pub ways: Vec<Link>,
}

/// What can be said.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// How it is to be read.
    pub tone: super::Tone,
    /// The sentence.
    pub headline: String,
    /// What it rests on.
    pub reasons: Vec<String>,
}

/// Shares of a whole.
#[derive(Clone, Debug, Default)]
pub struct ShareTable {
    /// What the rows are.
    pub heading: String,
    /// How many cases the shares are out of.
    pub sample: u64,
    /// The end of the bars' axis, such as "40 %".
    pub axis_end: String,
    /// One row a group, the most frequent first.
    pub rows: Vec<ShareRow>,
}

/// One group of cases.
#[derive(Clone, Debug, Default)]
pub struct ShareRow {
    /// The group, leading to its page if it has one.
    pub name: String,
    /// Its page.
    pub href: Option<String>,
    /// What else there is to say of it.
    pub about: String,
    /// How many cases.
    pub cases: u64,
    /// Address of these cases.
    pub cases_href: Option<String>,
    /// The share, such as "23 %".
    pub share: String,
    /// Its interval, such as "17 to 31 %".
    pub interval: String,
    /// The same, drawn.
    pub bar: ShareBar,
    /// Labour, such as "41 h".
    pub labour: String,
    /// Time down, such as "310 h".
    pub down: String,
}
