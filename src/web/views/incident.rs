//! One incident, as it stands or as it stood.

use askama::Template;

use super::Link;
use super::calculation::AttachedLine;
use super::page::Page;
use super::scale::{DecadeScale, MarkKind};
use super::search::SimilarCases;

/// One incident. The same page shows an earlier revision.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "incident.html")]
pub struct IncidentPage {
    /// The frame.
    pub page: Page,
    /// Its number.
    pub number: i64,
    /// Whether it is still open.
    pub open: bool,
    /// Set when an earlier revision is shown.
    pub old_revision: Option<OldRevision>,
    /// The tool, leading to its page.
    pub tool: Option<Link>,
    /// The tool class in words.
    pub tool_class: String,
    /// The site; empty where the reader may not know it.
    pub site: String,
    /// What was seen, as typed. Line breaks are kept.
    pub symptom: String,
    /// The three pressures, those that are known.
    pub pressures: Vec<PressureLine>,
    /// The same on a rule of decades.
    pub scale: Option<DecadeScale>,
    /// Signs that were seen.
    pub signs_seen: Vec<String>,
    /// Signs that were looked for and not there.
    pub signs_absent: Vec<String>,
    /// What had happened shortly before.
    pub antecedents_true: Vec<String>,
    /// What had not happened.
    pub antecedents_false: Vec<String>,
    /// The checks done, in order.
    pub checks: Vec<CheckDone>,
    /// The cause, leading to its page; none while it is not known.
    pub cause: Option<Link>,
    /// The kind of cause in words.
    pub cause_kind: String,
    /// What was done, as typed.
    pub fix: String,
    /// The parts used.
    pub parts: Vec<String>,
    /// How the fix was proven.
    pub proof: String,
    /// Why the pressure was not restored; empty if it was.
    pub not_restored_reason: String,
    /// Anything else, as typed.
    pub notes: String,
    /// Times and costs: first seen, closed, labour, hours down, author.
    pub facts: Vec<Fact>,
    /// All its revisions, newest first.
    pub revisions: Vec<RevisionLine>,
    /// Cases like it.
    pub similar: SimilarCases,
    /// Where it can be corrected; none for a reader who may not.
    pub edit: Option<String>,
    /// The check sequence with what is known of this incident.
    pub sequence: Option<Link>,
    /// The calculations attached to it, oldest first.
    pub calculations: Vec<AttachedLine>,
    /// Where to calculate for it; none on an earlier revision.
    pub calculate: Option<Link>,
    /// The rise tests of the tool laid over each other, if this incident holds one.
    pub rises: Option<Link>,
    /// The pump-downs of the tool, where one is kept with this incident.
    pub pump_downs: Option<Link>,
}

/// That an earlier revision is shown.
#[derive(Clone, Debug, Default)]
pub struct OldRevision {
    /// The number of the revision shown.
    pub number: i64,
    /// Whether it is how the report stands now.
    pub present: bool,
    /// Who made it and when.
    pub by: String,
    /// Why.
    pub reason: String,
    /// The incident as it stands now.
    pub current: String,
    /// What this revision changed against the one before.
    pub changes: Vec<Change>,
}

/// One value that a revision changed.
#[derive(Clone, Debug, Default)]
pub struct Change {
    /// The field's label.
    pub field: String,
    /// What stood there; empty if nothing.
    pub before: String,
    /// What stands there now; empty if nothing.
    pub after: String,
}

/// One pressure.
#[derive(Clone, Debug)]
pub struct PressureLine {
    /// Which of the three.
    pub kind: MarkKind,
    /// As typed, such as "5.3e-6 Torr".
    pub typed: String,
    /// In pascals, such as "7.07e-4 Pa"; empty if it was typed in pascals.
    pub pascals: String,
}

/// A check that was done.
#[derive(Clone, Debug, Default)]
pub struct CheckDone {
    /// The check, leading to its procedure.
    pub check: Option<Link>,
    /// What it showed.
    pub outcome: OutcomeMark,
    /// How long it took, such as "15 min".
    pub minutes: String,
    /// What was noted.
    pub note: String,
}

/// What a check showed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum OutcomeMark {
    /// It found the fault.
    Found,
    /// It found nothing.
    #[default]
    Clear,
    /// It could not tell.
    Inconclusive,
}

impl OutcomeMark {
    /// The word for it, which is also its style class and the name of its shape.
    pub fn word(self) -> &'static str {
        match self {
            OutcomeMark::Found => "found",
            OutcomeMark::Clear => "clear",
            OutcomeMark::Inconclusive => "unsure",
        }
    }
}

/// A name and a value.
#[derive(Clone, Debug, Default)]
pub struct Fact {
    /// What it is.
    pub name: String,
    /// How much.
    pub value: String,
}

impl Fact {
    /// A name with its value.
    pub fn new(name: impl Into<String>, value: impl Into<String>) -> Fact {
        Fact {
            name: name.into(),
            value: value.into(),
        }
    }
}

/// A revision in the list.
#[derive(Clone, Debug, Default)]
pub struct RevisionLine {
    /// Its number.
    pub number: i64,
    /// Where it leads.
    pub href: String,
    /// When it was made.
    pub when: String,
    /// Who made it.
    pub author: String,
    /// Why; of the first, that it was filed.
    pub reason: String,
    /// Whether it is the one shown.
    pub shown: bool,
}
