//! How near a case's pressures are to those asked for, and what that is worth.
//!
//! Nearness is in decades: a factor counts the same at 1e-3 as at 1e-8. A number without a
//! unit is read in the unit the case is written in. A number that keeps others out is not near a
//! pressure but fits it or does not.

use tantivy::{DocId, SegmentReader, columnar::Column};

use crate::{
    search::{
        Entry,
        asking::plan::{AskedPressure, Understood},
        indexed::{
            document::{Measured, When},
            schema::{BEFORE, ELSEWHERE, FAULT, OTHER, UNIT},
        },
        reading::{
            pressure::{Reading, Told, scale},
            quantity::Quantity,
        },
    },
    vacuum::units::PressureUnit,
};

/// So many decades off, a pressure is worth 1/e of one that fits.
const WIDTH: f64 = 0.3;

/// Cases further off than this, in decades, are not found by a pressure alone.
const REACH: f64 = 0.4;

/// Worth of a pressure read at another time than the one asked for.
pub(in crate::search) const OTHER_TIME: f64 = 0.25;

/// How far a number may be off the end that it is read from, in decades, to lie within.
const ROUNDING: f64 = 1e-6;

/// A pressure of a case beside the one asked for, both as typed.
pub(in crate::search) struct Near {
    pub(in crate::search) own: String,
    pub(in crate::search) asked: String,
    /// How the one stands to the other, in a word.
    pub(in crate::search) how: &'static str,
    /// Where it was read, if not in the chamber.
    pub(in crate::search) place: &'static str,
}

/// The pressures of a case that are near those asked for, or fit them, the nearest for each.
pub(in crate::search) fn near(asked: &Understood, entry: &Entry) -> Vec<Near> {
    let own = scale(entry.unit);
    let mut near = Vec::new();
    for pressure in &asked.pressures {
        let reading = &pressure.reading;
        let off = |measured: &&Measured| off(reading, measured.power, own);
        let nearest = entry
            .pressures
            .iter()
            .filter(|measured| same_time(reading.told, measured.when))
            .min_by(|a, b| off(a).total_cmp(&off(b)));
        if let Some(nearest) = nearest.filter(|own| asked.nearest || off(own) <= reach(reading)) {
            near.push(Near {
                own: nearest.shown.to_string(),
                asked: pressure.shown.clone(),
                how: match off(&nearest) {
                    off if reading.bounded && off <= ROUNDING => "fits",
                    off if off <= REACH => "near",
                    _ => "the nearest there is to",
                },
                place: match reading.told {
                    Told::Elsewhere => "foreline ",
                    Told::Now | Told::Before | Told::Aside => "",
                },
            });
        }
    }
    near
}

/// Whether a pressure in a text is near one asked for.
pub(in crate::search) fn reading_is_near(
    asked: &Understood,
    reading: &Reading,
    unit: PressureUnit,
) -> bool {
    let (low, high) = reading.pascals(unit);
    asked.pressures.iter().any(|pressure| {
        let asked = &pressure.reading;
        [low, high]
            .iter()
            .any(|power| off(asked, *power, scale(unit)) <= reach(asked))
    })
}

/// How far off a pressure is still found by itself, in decades.
pub(in crate::search) fn reach(asked: &Reading) -> f64 {
    if asked.bounded { ROUNDING } else { REACH }
}

/// The scale of the unit that a case is written in.
pub(in crate::search) fn own_scale(unit: Option<&Column<f64>>, case: DocId) -> f64 {
    unit.and_then(|unit| unit.first(case))
        .unwrap_or_else(|| scale(PressureUnit::Torr))
}

/// The most that pressures can add to a score.
pub(in crate::search) fn most(asked: &Understood) -> f32 {
    asked.weights.pressure * asked.pressures.len() as f32
}

/// Reads the pressures of a segment's cases and says what they add to a score.
pub(in crate::search) struct Scorer {
    asked: Vec<AskedPressure>,
    weight: f32,
    fault: Option<Column<f64>>,
    before: Option<Column<f64>>,
    other: Option<Column<f64>>,
    elsewhere: Option<Column<f64>>,
    unit: Option<Column<f64>>,
}

impl Scorer {
    pub(in crate::search) fn new(asked: &Understood, segment: &SegmentReader) -> Self {
        let column = |name: &str| segment.fast_fields().f64(name).ok();
        Self {
            asked: asked.pressures.clone(),
            weight: asked.weights.pressure,
            fault: column(FAULT),
            before: column(BEFORE),
            other: column(OTHER),
            elsewhere: column(ELSEWHERE),
            unit: column(UNIT),
        }
    }

    /// What the pressures of a case add to its score.
    pub(in crate::search) fn worth(&self, case: DocId) -> f32 {
        if self.asked.is_empty() {
            return 0.0;
        }
        let own = own_scale(self.unit.as_ref(), case);
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
                Told::Elsewhere => (&self.elsewhere, [&None, &None]),
                Told::Aside => continue,
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

/// What the nearest cases are looked for to.
#[derive(Clone)]
pub(in crate::search) enum Sought {
    Pressure(Reading),
    Quantity(Quantity),
}

/// How far the cases of a segment are off what is sought, in decades; infinite where they say nothing
/// of the kind.
pub(in crate::search) struct Distance {
    sought: Sought,
    own: Option<Column<f64>>,
    unit: Option<Column<f64>>,
}

impl Distance {
    pub(in crate::search) fn new(sought: &Sought, segment: &SegmentReader) -> Self {
        let column = |name: &str| segment.fast_fields().f64(name).ok();
        Self {
            sought: sought.clone(),
            own: column(match sought {
                Sought::Pressure(asked) => match asked.told {
                    Told::Now => FAULT,
                    Told::Before => BEFORE,
                    Told::Elsewhere => ELSEWHERE,
                    Told::Aside => OTHER,
                },
                Sought::Quantity(asked) => asked.sort.column(),
            }),
            unit: column(UNIT),
        }
    }

    pub(in crate::search) fn of(&self, case: DocId) -> f32 {
        let scale = own_scale(self.unit.as_ref(), case);
        let own = self.own.iter().flat_map(|own| own.values_for_doc(case));
        let off = own.map(|own| match &self.sought {
            Sought::Pressure(asked) => off(asked, own, scale),
            Sought::Quantity(asked) => (own / asked.value).log10().abs(),
        });
        off.fold(f64::INFINITY, f64::min) as f32
    }
}

fn same_time(told: Told, when: When) -> bool {
    matches!(
        (told, when),
        (Told::Now, When::Fault)
            | (Told::Before, When::Before)
            | (Told::Elsewhere, When::Elsewhere)
    )
}

/// How many decades `power`, in pascals, is off what was asked; `own` is the scale of the case's own
/// unit.
pub(in crate::search) fn off(asked: &Reading, power: f64, own: f64) -> f64 {
    let scale = asked.unit.map_or(own, scale);
    (asked.low + scale - power)
        .max(power - asked.high - scale)
        .max(0.0)
}

/// From 0, far, to 1, within.
fn closeness(asked: &Reading, power: f64, own: f64) -> f64 {
    (-(off(asked, power, own) / WIDTH).powi(2)).exp()
}

/// The closeness that no pressure between two ends exceeds, whatever unit its case is written in.
pub(in crate::search) fn closest(asked: &Reading, low: f64, high: f64) -> f64 {
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
