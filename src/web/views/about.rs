//! What the words mean and how the figures come about.

use askama::Template;

use super::incident::Fact;
use super::page::Page;
use super::{CautionBox, SafeHtml};

/// Help.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "about.html")]
pub struct AboutPage {
    /// The frame.
    pub page: Page,
    /// General cautions of work on vacuum tools.
    pub cautions: Vec<CautionBox>,
    /// What is in the store: incidents, tools, causes, checks.
    pub counts: Vec<Fact>,
    /// How the query language works, sanitised; empty to leave it out.
    pub query_help: SafeHtml,
}
