//! The tools by site, and one tool.

use askama::Template;

use super::Link;
use super::form::Field;
use super::home::IncidentLine;
use super::incident::Fact;
use super::page::Page;

/// The tools by site.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "fleet.html")]
pub struct FleetPage {
    /// The frame.
    pub page: Page,
    /// The filters, sent to `/fleet` by GET.
    pub filters: Vec<Field>,
    /// Whether any filter is set.
    pub filtered: bool,
    /// What is shown, such as "64 tools at 8 sites".
    pub summary: String,
    /// The sites.
    pub sites: Vec<SiteTools>,
}

/// The tools of one site.
#[derive(Clone, Debug, Default)]
pub struct SiteTools {
    /// Its code.
    pub code: String,
    /// Its name.
    pub name: String,
    /// Its tools.
    pub tools: Vec<ToolLine>,
}

/// One tool of the list.
#[derive(Clone, Debug, Default)]
pub struct ToolLine {
    /// Its code.
    pub code: String,
    /// Its page.
    pub href: String,
    /// The tool class.
    pub tool_class: String,
    /// What it reaches when it is well.
    pub healthy: String,
    /// How many incidents it has had.
    pub incidents: u64,
    /// How many of them are open.
    pub open: u64,
    /// When the last one was, in words; empty if there was none.
    pub last: String,
}

/// One tool.
#[derive(Clone, Debug, Template)]
#[template(path = "tool.html")]
pub struct ToolPage {
    /// The frame.
    pub page: Page,
    /// Its code.
    pub code: String,
    /// The tool class in words.
    pub tool_class: String,
    /// The site.
    pub site: String,
    /// What it reaches when it is well, as stated.
    pub healthy: String,
    /// The same in pascals; empty if stated in pascals.
    pub healthy_pascals: String,
    /// What else is known: serial, volume, pumping speed, gauges, times to change state.
    pub facts: Vec<Fact>,
    /// Components it has.
    pub components: Vec<String>,
    /// Components that other tools of the class have and this one lacks.
    pub lacks: Vec<String>,
    /// Its incidents, newest first.
    pub incidents: Vec<IncidentLine>,
    /// How many there are, in words.
    pub incident_summary: String,
    /// Address of all its incidents, if not all are shown.
    pub all_incidents: Option<Link>,
    /// Its rise tests laid over each other.
    pub rises: Link,
    /// The check sequence of this tool.
    pub sequence: String,
    /// Where a report about it is started.
    pub report: String,
}
