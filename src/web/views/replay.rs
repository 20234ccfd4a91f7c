//! Would the advice have helped? What a replay of the closed incidents says.

use askama::Template;

use super::chart::{Chart, DataTable};
use super::page::Page;
use super::statistics::Way;

/// The replay.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "replay.html")]
pub struct ReplayPage {
    /// The frame.
    pub page: Page,
    /// The pages of statistics.
    pub ways: Vec<Way>,
    /// That one is being computed, and how far; empty if none is.
    pub running: String,
    /// That the last try failed; empty if it did not.
    pub failed: String,
    /// The figures of the last one.
    pub result: Option<ReplayResult>,
}

/// Figures of a replay.
#[derive(Clone, Debug, Default)]
pub struct ReplayResult {
    /// What was replayed, such as "410 closed incidents".
    pub summary: String,
    /// The answer in plain sentences, honest when it is worse.
    pub plain: Vec<String>,
    /// Minutes and checks to the cause, by who chose the order.
    pub times: DataTable,
    /// The same by tool class, with hit rates.
    pub classes: DataTable,
    /// How good the stated chances were.
    pub chances: DataTable,
    /// The same by tool class.
    pub class_chances: DataTable,
    /// Stated chance against how often it came true.
    pub reliability: Option<Chart>,
    /// Cases left out, each with the reason.
    pub left_out: Vec<String>,
}
