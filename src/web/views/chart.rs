//! A drawn plot with the same numbers as a table beside it, and plain tables.

use askama::Template;
use askama::filters::HtmlSafe;

use super::SafeHtml;
use super::words::Words;

/// A plot. The table says the same to those who cannot see it.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "parts/chart.html")]
pub struct Chart {
    /// Unique on the page; letters, digits and hyphens.
    pub id: String,
    /// What is drawn, shown above it.
    pub title: String,
    /// One sentence that says what the plot shows, read out in place of the drawing.
    pub description: String,
    /// The drawing, from the `<svg>` element on. It must not hold scripts or style attributes.
    pub svg: SafeHtml,
    /// The numbers.
    pub table: DataTable,
}

impl HtmlSafe for Chart {}

/// A plain table.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "parts/data-table.html")]
pub struct DataTable {
    /// What the table holds.
    pub caption: String,
    /// One heading a column, with its unit.
    pub headings: Vec<String>,
    /// The rows, each as long as the headings.
    pub rows: Vec<Vec<String>>,
}

impl HtmlSafe for DataTable {}
