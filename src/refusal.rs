//! A refusal that a person can act on: what, where, and what would be accepted. Shared by
//! everything that takes something in; it must not import anything of the project.

use std::fmt;

use serde::Serialize;

/// One field that cannot be taken, and what would be.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Refusal {
    /// The field's path in what was sent, e.g. `pressures.restored` or `checks[2].minutes`.
    pub field: String,
    /// What is wrong with it.
    pub problem: String,
    /// What would be accepted.
    pub accepted: String,
}

impl Refusal {
    /// Builds a refusal.
    pub fn new(
        field: impl Into<String>,
        problem: impl Into<String>,
        accepted: impl Into<String>,
    ) -> Self {
        Self {
            field: field.into(),
            problem: problem.into(),
            accepted: accepted.into(),
        }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: {}; accepted: {}",
            self.field, self.problem, self.accepted
        )
    }
}
