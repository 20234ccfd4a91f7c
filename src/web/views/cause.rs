//! The causes of the catalogue, and one of them.

use askama::Template;

use super::Link;
use super::check::Reveal;
use super::home::IncidentLine;
use super::incident::Fact;
use super::page::Page;

/// The causes by kind.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "causes.html")]
pub struct CausesPage {
    /// The frame.
    pub page: Page,
    /// The kinds.
    pub kinds: Vec<CauseKind>,
}

/// The causes of one kind.
#[derive(Clone, Debug, Default)]
pub struct CauseKind {
    /// Letters and hyphens, unique on the page.
    pub id: String,
    /// The kind in words.
    pub name: String,
    /// What it means, in one sentence.
    pub about: String,
    /// The causes.
    pub causes: Vec<CauseLine>,
}

/// One cause of the list.
#[derive(Clone, Debug, Default)]
pub struct CauseLine {
    /// Its name.
    pub name: String,
    /// Its page.
    pub href: String,
    /// The component.
    pub component: String,
    /// The mechanism.
    pub mechanism: String,
    /// How many cases the fleet has had.
    pub cases: u64,
}

/// One cause.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "cause.html")]
pub struct CausePage {
    /// The frame.
    pub page: Page,
    /// Its name.
    pub name: String,
    /// The kind in words.
    pub kind: String,
    /// Component, mechanism, usual size of the loss, time to fix and the like.
    pub facts: Vec<Fact>,
    /// Signs and how often they are seen with it.
    pub signs: Vec<Reveal>,
    /// What had often happened before.
    pub antecedents: Vec<Reveal>,
    /// The checks that find it.
    pub checks: Vec<Reveal>,
    /// How often it was the cause, by tool class, such as "14 of 88 cases".
    pub shares: Vec<Fact>,
    /// The last cases.
    pub incidents: Vec<IncidentLine>,
    /// All cases.
    pub all_incidents: Option<Link>,
    /// Where these figures are from.
    pub basis: String,
}
