//! What the causes cost: cases, shares with intervals, hours, per tool class.

use askama::Template;

use super::Link;
use super::bar::ShareBar;
use super::form::Field;
use super::page::Page;

/// Cause statistics.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "statistics.html")]
pub struct StatisticsPage {
    /// The frame.
    pub page: Page,
    /// The filters, sent to `/statistics` by GET.
    pub filters: Vec<Field>,
    /// Whether any filter is set.
    pub filtered: bool,
    /// What is counted, such as "412 closed incidents, 3 Jan 2021 to 14 Nov 2025".
    pub summary: String,
    /// How shares and intervals were made, in one or two sentences.
    pub method: String,
    /// One table a tool class.
    pub tables: Vec<CauseTable>,
}

/// The causes of one tool class.
#[derive(Clone, Debug, Default)]
pub struct CauseTable {
    /// Unique on the page; letters, digits and hyphens.
    pub id: String,
    /// The tool class in words.
    pub title: String,
    /// How many cases the shares are out of.
    pub sample_size: u64,
    /// The end of the bars' axis, such as "40 %".
    pub axis_end: String,
    /// One row a cause, the most frequent first.
    pub rows: Vec<CauseRow>,
    /// Labour over all causes, such as "212 h".
    pub labour_total: String,
    /// Time down over all causes.
    pub down_total: String,
    /// The check sequence of this class.
    pub sequence: Option<Link>,
    /// Address of the table as a file.
    pub export: String,
    /// What to know about it, such as "Fewer than 20 cases: the intervals are wide".
    pub remark: String,
}

/// One cause.
#[derive(Clone, Debug, Default)]
pub struct CauseRow {
    /// The cause, leading to its page.
    pub cause: Option<Link>,
    /// Its kind in words.
    pub kind: String,
    /// How many cases.
    pub cases: u64,
    /// Address of these cases.
    pub cases_href: String,
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

impl StatisticsPage {
    /// Whether there is anything to show.
    fn is_empty(&self) -> bool {
        self.tables.iter().all(|table| table.rows.is_empty())
    }
}
