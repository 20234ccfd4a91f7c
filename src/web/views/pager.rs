//! The steps from one page of a long list to the next.

use askama::Template;
use askama::filters::HtmlSafe;

/// Where in a long list the reader is, and the ways on.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "parts/pager.html")]
pub struct Pager {
    /// What is shown, such as "21 to 40 of 132".
    pub summary: String,
    /// Address of the page before, if there is one.
    pub previous: Option<String>,
    /// Address of the page after, if there is one.
    pub next: Option<String>,
}

impl HtmlSafe for Pager {}

impl Pager {
    /// Whether there is anywhere to go.
    pub fn has_steps(&self) -> bool {
        self.previous.is_some() || self.next.is_some()
    }
}
