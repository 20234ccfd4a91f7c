//! What every report ends in: a verdict and what it rests on, the signs it sets, the checks it
//! suggests and the cautions that stand before them.
//!
//! A report names checks alone; their cautions follow from a list that a test holds to
//! the shipped catalogue. Pages add those of the catalogue in use.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::Value;

/// The part that all reports have in common.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Outcome {
    /// The verdict in plain words.
    pub verdict: String,
    /// Whether it is one, and no refusal to conclude.
    pub concluded: bool,
    /// What was assumed.
    pub assumed: Vec<String>,
    /// Signs of the catalogue that it sets: seen, or looked for and not seen.
    pub signs: BTreeMap<String, bool>,
    /// Ids of the checks that it suggests, in order.
    pub next_checks: Vec<String>,
    /// Ids of the cautions that stand before what it suggests.
    pub cautions: Vec<String>,
}

/// The verdict of a kept report, whichever version of the program made it; empty where it holds none.
pub fn verdict_of(report: &Value) -> &str {
    let verdict = report.get("verdict").and_then(Value::as_str);
    verdict.unwrap_or_default()
}

impl Outcome {
    /// Sets a sign.
    pub(super) fn sign(&mut self, id: &str, seen: bool) {
        self.signs.insert(id.to_owned(), seen);
    }

    /// Suggests checks, after those already suggested, with the cautions of each.
    pub(super) fn suggest(&mut self, checks: &[&str]) {
        for check in checks {
            put(&mut self.next_checks, check);
            for caution in cautions_of(check) {
                put(&mut self.cautions, caution);
            }
        }
    }
}

fn put(list: &mut Vec<String>, id: &str) {
    if !list.iter().any(|there| there == id) {
        list.push(id.to_owned());
    }
}

/// The cautions of each check that a calculation may suggest; none for one that it may not.
fn cautions_of(check: &str) -> &'static [&'static str] {
    SUGGESTED
        .iter()
        .find(|(id, _)| *id == check)
        .map_or(&[], |(_, cautions)| cautions)
}

/// Every check that a calculation may suggest, with its cautions as in the shipped catalogue.
const SUGGESTED: [(&str, &[&str]); 24] = [
    (
        "cathode-gauge-strike-check",
        &["high-voltage", "strong-magnets"],
    ),
    (
        "cathode-gauge-cleaning",
        &["high-voltage", "strong-magnets", "solvent", "toxic-deposit"],
    ),
    ("change-review", &[]),
    (
        "cooling-water-off-test",
        &[
            "hot-parts",
            "hot-water-or-steam",
            "compressed-air",
            "water-near-power",
        ],
    ),
    (
        "cryo-temperature-watch",
        &["asphyxiation", "cryogenic-cold"],
    ),
    (
        "extended-pumping-or-bake",
        &["hot-parts", "glass-under-vacuum", "hot-water-or-steam"],
    ),
    ("filament-gauge-check", &["high-voltage", "hot-parts"]),
    ("foreline-pressure-reading", &[]),
    (
        "gas-line-isolation-test",
        &["reactive-gas", "stored-pressure"],
    ),
    ("gate-valve-closed-test", &["rotating-parts"]),
    ("gate-valve-opening-check", &["rotating-parts"]),
    ("gauge-comparison", &["high-voltage"]),
    ("gauge-zero-check", &["high-voltage"]),
    (
        "helium-leak-test",
        &[
            "asphyxiation",
            "compressed-air",
            "high-voltage",
            "lifting",
            "turbo-stored-energy",
        ],
    ),
    ("pressure-rise-test", &["rotating-parts"]),
    ("pump-down-comparison", &[]),
    ("residual-gas-scan", &["high-voltage", "hot-parts"]),
    (
        "roughing-line-bore-inspection",
        &["stored-pressure", "toxic-deposit", "lifting"],
    ),
    ("roughing-pump-test", &["mains-electricity"]),
    (
        "roughing-pump-ultimate-check",
        &[
            "mains-electricity",
            "rotating-parts",
            "toxic-deposit",
            "hot-parts",
        ],
    ),
    (
        "backing-pump-quick-look",
        &["hot-parts", "rotating-parts", "toxic-deposit"],
    ),
    (
        "shields-and-deposit-inspection",
        &["high-voltage", "toxic-deposit", "hot-parts", "lifting"],
    ),
    (
        "trapped-volume-review",
        &["high-voltage", "toxic-deposit", "hot-parts"],
    ),
    (
        "turbo-health-check",
        &["turbo-stored-energy", "hot-parts", "mains-electricity"],
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cautions_of_checks_are_those_of_the_shipped_catalogue() {
        let catalogue = crate::catalogue::source::built_in().expect("the shipped catalogue");
        for (id, cautions) in SUGGESTED {
            let check = catalogue
                .check(id)
                .unwrap_or_else(|| panic!("no check {id}"));
            let shipped: Vec<String> = check.cautions.iter().map(ToString::to_string).collect();
            assert_eq!(shipped, cautions, "{id}");
        }
    }

    #[test]
    fn a_check_brings_its_cautions_once() {
        let mut outcome = Outcome::default();
        outcome.suggest(&["residual-gas-scan", "gauge-comparison", "residual-gas-scan"]);
        assert_eq!(
            outcome.next_checks,
            ["residual-gas-scan", "gauge-comparison"]
        );
        assert_eq!(outcome.cautions, ["high-voltage", "hot-parts"]);
    }
}
