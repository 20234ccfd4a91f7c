//! One closed incident as statistics and advice see it: identifiers and numbers, no words.

/// The cause of a case in which nobody found one.
pub const NOT_FOUND: &str = "not-found";

/// What a check gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Outcome {
    /// It pointed at a cause.
    Found,
    /// It pointed at nothing.
    Clear,
    /// It could not be judged; taken as no evidence.
    Inconclusive,
}

/// A closed incident.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// Number of the incident.
    pub number: i64,
    /// The tool.
    pub tool: String,
    /// Its class.
    pub tool_class: String,
    /// Its site.
    pub site: String,
    /// The cause, or [`NOT_FOUND`].
    pub cause: String,
    /// The component that failed, if a cause was found.
    pub component: Option<String>,
    /// The kind of the cause, if one was found.
    pub kind: Option<String>,
    /// Day it happened, in days since 1 January 1970.
    pub occurred_day: i64,
    /// Time worked on it, minutes, 0 to 10⁹.
    pub labour_minutes: f64,
    /// Time the tool was down, hours, 0 to 10⁹.
    pub down_hours: f64,
    /// Signs looked for, and whether they were seen.
    pub signs: Vec<(String, bool)>,
    /// Antecedents asked about, and whether they had happened.
    pub antecedents: Vec<(String, bool)>,
    /// Checks in the order they were made, with outcome and, if anybody noted them, minutes.
    pub checks: Vec<(String, Outcome, Option<f64>)>,
    /// Decades of base pressure lost, if both pressures are known.
    pub loss_decades: Option<f64>,
}
