//! The front page: search first, then what is open now.

use askama::Template;

use super::Link;
use super::page::Page;
use super::search::Kept;

/// The front page.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "home.html")]
pub struct HomePage {
    /// The frame.
    pub page: Page,
    /// How many incidents are known, such as "412".
    pub known: String,
    /// How many tools at how many sites, such as "64 tools at 8 sites".
    pub fleet: String,
    /// Incidents being worked on, newest first.
    pub open: Vec<IncidentLine>,
    /// The last incidents closed, newest first.
    pub closed: Vec<IncidentLine>,
    /// Searches to try, as links.
    pub examples: Vec<Link>,
    /// Searches kept under a name, as links.
    pub kept: Vec<Kept>,
}

/// One incident in a list.
#[derive(Clone, Debug, Default)]
pub struct IncidentLine {
    /// Its number.
    pub number: i64,
    /// Where it leads.
    pub href: String,
    /// The symptom, cut short.
    pub symptom: String,
    /// The tool's code.
    pub tool: String,
    /// The tool class.
    pub tool_class: String,
    /// When it was first seen, such as "4 Mar 2025".
    pub when: String,
    /// The same in machine form, such as "2025-03-04T10:20:00Z".
    pub when_machine: String,
    /// The pressures in few words, such as "5e-7 to 3e-5 Torr"; empty if none is known.
    pub pressures: String,
    /// The cause in words; empty while open.
    pub cause: String,
    /// Whether it is still open.
    pub open: bool,
}
