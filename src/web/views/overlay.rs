//! Rise tests, and pump-downs, of one tool laid over each other.

use askama::Template;

use super::SafeHtml;
use super::chart::Chart;
use super::form::Field;
use super::page::Page;

/// Kept calculations of one kind and one tool, laid over each other.
#[derive(Clone, Debug, Default)]
pub struct LaidOver {
    /// The tool.
    pub code: String,
    /// How many are kept and shown, in words.
    pub summary: String,
    /// The newest against another, in words; empty where there is nothing to say.
    pub comparison: String,
    /// The choice of unit, sent back by GET; none where nothing is drawn.
    pub unit: Option<Field>,
    /// Where it is sent.
    pub action: String,
    /// The plot; none where none has readings.
    pub chart: Option<Chart>,
    /// What counts as healthy, sanitised.
    pub rule: SafeHtml,
    /// Where another is computed for this tool.
    pub calculate: String,
}

/// The rise tests of one tool in one plot, with their rates beside it.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "rises.html")]
pub struct RisesPage {
    /// The frame.
    pub page: Page,
    /// What it has in common with the other.
    pub laid: LaidOver,
    /// The tests, newest first.
    pub tests: Vec<RiseLine>,
}

/// One rise test.
#[derive(Clone, Debug, Default)]
pub struct RiseLine {
    /// Its number in the plot.
    pub number: usize,
    /// When it was made.
    pub when: String,
    /// The calculation as kept.
    pub href: String,
    /// The incident with which it is kept.
    pub incident: i64,
    /// How long the chamber had been pumped before; a dash where that is not known.
    pub pumped: String,
    /// Steady inflow with its unit; a dash for none.
    pub leak: String,
    /// Its interval; empty for none.
    pub leak_interval: String,
    /// Gas from inside with its unit; a dash for none.
    pub outgassing: String,
    /// Its interval; empty for none.
    pub outgassing_interval: String,
    /// The verdict in words.
    pub verdict: String,
    /// Whether it was made after a fix.
    pub after_fix: bool,
}

/// The pump-downs of one tool in one plot, with their phases beside it.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "pump-downs.html")]
pub struct PumpDownsPage {
    /// The frame.
    pub page: Page,
    /// What it has in common with the other.
    pub laid: LaidOver,
    /// What the table holds.
    pub floors_in: String,
    /// The pump-downs, newest first.
    pub pump_downs: Vec<PumpDownLine>,
}

/// One pump-down. Sizes come with their intervals, which are empty where there is none.
#[derive(Clone, Debug, Default)]
pub struct PumpDownLine {
    /// Its number in the plot.
    pub number: usize,
    /// When it was made.
    pub when: String,
    /// The calculation as kept.
    pub href: String,
    /// The incident with which it is kept.
    pub incident: i64,
    /// Speed over volume while roughing, exponent of the outgassing phase, floor.
    pub sizes: [(String, String); 3],
    /// The verdict in words.
    pub verdict: String,
    /// Whether later pump-downs are held against it.
    pub healthy: bool,
}
