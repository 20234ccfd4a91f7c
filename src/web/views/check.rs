//! The checks and how each is done. Cautions always come before the procedure.

use askama::Template;

use super::page::Page;
use super::{CautionBox, Link, SafeHtml};

/// How one check is done.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "check.html")]
pub struct CheckPage {
    /// The frame.
    pub page: Page,
    /// Its name.
    pub name: String,
    /// How long it takes.
    pub minutes: String,
    /// The state it needs, such as "Tool vented".
    pub state: String,
    /// Whether it splits the candidates rather than finding one cause.
    pub isolating: bool,
    /// The cautions, shown first.
    pub cautions: Vec<CautionBox>,
    /// Checks that come before it.
    pub needs_first: Vec<Link>,
    /// The components a tool must have for it, in words.
    pub needs_components: Vec<String>,
    /// The procedure, sanitised.
    pub procedure: SafeHtml,
    /// What it can find, the surest first.
    pub reveals: Vec<Reveal>,
    /// How often it points at a fault that is not there, such as "5 %".
    pub false_alarm: String,
    /// Where these figures are from.
    pub basis: String,
    /// The sequence it was reached from.
    pub back: Option<Link>,
}

/// A cause, or a kind of cause, that a check can find.
#[derive(Clone, Debug, Default)]
pub struct Reveal {
    /// The cause or kind.
    pub what: String,
    /// Its page, if it has one.
    pub href: Option<String>,
    /// The chance of finding it if it is there, such as "90 %".
    pub chance: String,
}

/// All checks.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "checks.html")]
pub struct ChecksPage {
    /// The frame.
    pub page: Page,
    /// The checks by the state that they need.
    pub groups: Vec<CheckGroup>,
}

/// Checks that need the same state.
#[derive(Clone, Debug, Default)]
pub struct CheckGroup {
    /// The state, such as "Under vacuum".
    pub state: String,
    /// What that means, in one sentence.
    pub about: String,
    /// The checks.
    pub checks: Vec<CheckLine>,
}

/// One check of the list.
#[derive(Clone, Debug, Default)]
pub struct CheckLine {
    /// Its name.
    pub name: String,
    /// Its procedure.
    pub href: String,
    /// How long it takes.
    pub minutes: String,
    /// Whether it splits the candidates.
    pub isolating: bool,
    /// The hazards of its cautions, each in a few words.
    pub hazards: Vec<String>,
    /// What it can find, in few words.
    pub reveals: String,
}
