//! The unit of pressure in which a spectrum speaks, where it holds partial pressures instead of ion currents.

use crate::vacuum::units::PressureUnit;

/// The unit named in the heading, or behind the first current; none for ion currents.
pub(super) fn pressure_unit(text: &str) -> Option<PressureUnit> {
    let lines = text
        .trim_start_matches('\u{feff}')
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with('#'));
    for line in lines {
        let unit = line.split(|c: char| !c.is_alphabetic()).find_map(named);
        let data = line.starts_with(|c: char| c.is_ascii_digit());
        if unit.is_some() || data {
            return unit;
        }
    }
    None
}

/// A word that is a unit of pressure; the picoampere differs from one by case alone.
fn named(word: &str) -> Option<PressureUnit> {
    (word != "pA").then(|| word.parse().ok()).flatten()
}
