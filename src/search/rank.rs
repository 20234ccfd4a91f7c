//! How near a case's pressures are to those asked for, and what that is worth.
//!
//! Nearness is in decades: a factor counts the same at 1e-3 as at 1e-8. A number without a
//! unit is read in the unit the case is written in first, in the other common ones for less.

use tantivy::{DocId, SegmentReader, columnar::Column};

use super::{
    Entry,
    document::{Measured, When},
    plan::{AskedPressure, Understood},
    pressure::{Reading, Told, scale},
    schema::{BEFORE, FAULT, OTHER, UNIT},
};
use crate::vacuum::units::PressureUnit;

/// So many decades off, a pressure is worth 1/e of one that fits.
const WIDTH: f64 = 0.3;

/// Cases further off than this, in decades, are not found by a pressure alone.
pub(super) const REACH: f64 = 0.4;

/// Worth of a pressure read at another time than the one asked for.
pub(super) const OTHER_TIME: f64 = 0.25;

/// Worth of a number without unit read in another unit than the case's own.
const OTHER_UNIT: f64 = 0.4;

/// Below this a pressure is not called near.
const CALLED_NEAR: f64 = 0.3;

/// Units a number without one may be in.
pub(super) const COMMON_UNITS: [PressureUnit; 3] = [
    PressureUnit::Torr,
    PressureUnit::Millibar,
    PressureUnit::Pascal,
];

/// A pressure of a case near one asked for, both as typed.
pub(super) struct Near {
    pub(super) own: String,
    pub(super) asked: String,
}

/// The pressures of a case that are near those asked for, the nearest for each.
pub(super) fn near(asked: &Understood, entry: &Entry) -> Vec<Near> {
    let mut near = Vec::new();
    for pressure in &asked.pressures {
        let nearness = |measured: &&Measured| {
            closeness(&pressure.reading, measured.power, scale(entry.unit))
                * at_time(pressure.reading.told, measured.when)
        };
        let best = entry
            .pressures
            .iter()
            .max_by(|a, b| nearness(a).total_cmp(&nearness(b)));
        if let Some(best) = best.filter(|best| nearness(best) >= CALLED_NEAR) {
            near.push(Near {
                own: best.shown.to_string(),
                asked: pressure.shown.clone(),
            });
        }
    }
    near
}

/// Whether a pressure in a text is near one asked for.
pub(super) fn reading_is_near(asked: &Understood, reading: &Reading, unit: PressureUnit) -> bool {
    let (low, high) = reading.pascals(unit);
    asked.pressures.iter().any(|pressure| {
        [low, high]
            .iter()
            .any(|power| closeness(&pressure.reading, *power, scale(unit)) >= CALLED_NEAR)
    })
}

/// The ends, in powers of ten of pascals, between which a pressure asked for may lie.
pub(super) fn stretches(reading: &Reading) -> Vec<(f64, f64)> {
    match reading.unit {
        Some(unit) => vec![reading.pascals(unit)],
        None => COMMON_UNITS
            .iter()
            .map(|unit| reading.pascals(*unit))
            .collect(),
    }
}

/// The most that pressures can add to a score.
pub(super) fn most(asked: &Understood) -> f32 {
    asked.weights.pressure * asked.pressures.len() as f32
}

/// Reads the pressures of a segment's cases and says what they add to a score.
pub(super) struct Scorer {
    asked: Vec<AskedPressure>,
    weight: f32,
    fault: Option<Column<f64>>,
    before: Option<Column<f64>>,
    other: Option<Column<f64>>,
    unit: Option<Column<f64>>,
}

impl Scorer {
    pub(super) fn new(asked: &Understood, segment: &SegmentReader) -> Self {
        let column = |name: &str| segment.fast_fields().f64(name).ok();
        Self {
            asked: asked.pressures.clone(),
            weight: asked.weights.pressure,
            fault: column(FAULT),
            before: column(BEFORE),
            other: column(OTHER),
            unit: column(UNIT),
        }
    }

    /// What the pressures of a case add to its score.
    pub(super) fn worth(&self, case: DocId) -> f32 {
        if self.asked.is_empty() {
            return 0.0;
        }
        let own = self
            .unit
            .as_ref()
            .and_then(|unit| unit.first(case))
            .unwrap_or_else(|| scale(PressureUnit::Torr));
        let mut worth = 0.0;
        for asked in &self.asked {
            let nearest = |column: &Option<Column<f64>>| {
                let powers = column.iter().flat_map(|column| column.values_for_doc(case));
                let closeness = powers.map(|power| closeness(&asked.reading, power, own));
                closeness.fold(0.0, f64::max)
            };
            let (column, others) = match asked.reading.told {
                Told::Now => (&self.fault, [&self.before, &self.other]),
                Told::Before => (&self.before, [&self.fault, &self.other]),
            };
            let mut best = nearest(column);
            // Of another time none is worth more than this.
            if best < OTHER_TIME {
                for column in others {
                    best = best.max(OTHER_TIME * nearest(column));
                }
            }
            worth += best;
        }
        self.weight * worth as f32
    }
}

fn at_time(told: Told, when: When) -> f64 {
    match (told, when) {
        (Told::Now, When::Fault) | (Told::Before, When::Before) => 1.0,
        _ => OTHER_TIME,
    }
}

/// From 0, far, to 1, within: `power` in pascals against what was asked; `own` is the scale
/// of the case's own unit.
fn closeness(asked: &Reading, power: f64, own: f64) -> f64 {
    let within = |scale: f64| {
        let off = (asked.low + scale - power)
            .max(power - asked.high - scale)
            .max(0.0);
        (-(off / WIDTH).powi(2)).exp()
    };
    match asked.unit {
        Some(unit) => within(scale(unit)),
        None => match within(own) {
            // Read in another unit none is worth more than this.
            own if own >= OTHER_UNIT => own,
            own => COMMON_UNITS
                .iter()
                .map(|unit| OTHER_UNIT * within(scale(*unit)))
                .fold(own, f64::max),
        },
    }
}

/// The closeness that no pressure between two ends exceeds, whatever unit its case is written in.
pub(super) fn closest(asked: &Reading, low: f64, high: f64) -> f64 {
    let within = |unit: &PressureUnit| {
        let off = (asked.low + scale(*unit) - high)
            .max(low - asked.high - scale(*unit))
            .max(0.0);
        (-(off / WIDTH).powi(2)).exp()
    };
    match &asked.unit {
        Some(unit) => within(unit),
        None => PressureUnit::ALL.iter().map(within).fold(0.0, f64::max),
    }
}
