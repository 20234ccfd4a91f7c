//! Calculations as a page or the API asks for them: quantities with their units in, and a report
//! with a verdict, its assumptions, the signs it sets and the cautions it needs out.
//!
//! Each module has a `Request`, a `Report` and `run`. Pure, as [`crate::vacuum`] is; nothing here
//! may import from the store, the search or the web. [`named`] runs any of them by its name.

pub mod again;
#[cfg(test)]
mod anything;
pub mod conductance;
pub mod gas_load;
pub mod gauge;
pub mod healthy_pump_down;
pub mod healthy_rise;
pub mod leak_conversion;
pub mod log;
pub mod named;
mod numbers;
pub mod outcome;
pub mod packed;
pub mod pump_down;
mod read;
pub mod residual_gas;
pub mod rise;
#[cfg(test)]
mod rise_held_out;
pub mod sent;
mod spoken;
mod wet_walls;

use serde::Serialize;

pub use outcome::Outcome;

use spoken::Spoken;

use crate::vacuum::units::{
    Seconds, Speed, SpeedUnit, TimeUnit, Typed, Unit, UnitError, Volume, VolumeUnit,
};

/// One field of a request that cannot be taken, and what would be.
pub use crate::refusal::Refusal as FieldError;

/// Below this, m³/s, nothing is pumped.
const LEAST_SPEED: f64 = 1e-15;

/// Volumes of what is pumped, m³, from a cubic millimetre to the largest halls, and the longest time of a test or of
/// pumping before it, s, thirty years: beyond them a unit or a power of ten is wrong (common practice, no source).
const VOLUMES: std::ops::RangeInclusive<f64> = 1e-9..=1e5;
const LONGEST: f64 = 1e9;

/// Two ends of a range in one unit: `{"low": 1e-5, "high": 3e-5, "unit": "mbar-l/s"}`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Interval<U> {
    /// The lower end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
    /// The unit of both.
    pub unit: U,
}

/// Gathers the errors of all fields, so that a person sees them at once and not one by one.
#[derive(Debug, Default)]
pub struct FieldErrors(Vec<FieldError>);

impl FieldErrors {
    /// No errors yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Notes one error.
    pub fn refuse(
        &mut self,
        field: impl Into<String>,
        problem: impl Into<String>,
        accepted: impl Into<String>,
    ) {
        self.0.push(FieldError::new(field, problem, accepted));
    }

    /// Notes an error made elsewhere.
    pub fn note(&mut self, error: FieldError) {
        self.0.push(error);
    }

    /// The value, or `None` with the error noted under that field.
    pub fn take<T, E: std::fmt::Display>(
        &mut self,
        field: &str,
        accepted: &str,
        result: Result<T, E>,
    ) -> Option<T> {
        result
            .map_err(|error| self.refuse(field, error.to_string(), accepted))
            .ok()
    }

    /// The quantity of a typed number, or `None` with the error noted under that field.
    pub fn quantity<U: Unit>(&mut self, field: &str, typed: Typed<U>) -> Option<U::Quantity> {
        self.made(field, typed, typed.quantity())
    }

    /// What was made of a typed number, or `None` with the error noted under that field in the unit that was typed.
    pub(crate) fn made<U: std::fmt::Display, Q>(
        &mut self,
        field: &str,
        typed: Typed<U>,
        made: Result<Q, UnitError>,
    ) -> Option<Q> {
        made.map_err(|error| {
            let (problem, accepted) = spoken::typed(&error, &typed);
            self.refuse(field, problem, accepted);
        })
        .ok()
    }

    /// The volume of a chamber, or `None` with the error noted under that field.
    pub fn volume(&mut self, field: &str, typed: Typed<VolumeUnit>) -> Option<Volume> {
        let volume = self.quantity(field, typed)?;
        if VOLUMES.contains(&volume.cubic_metres()) {
            return Some(volume);
        }
        let told = |cubic_metres| Spoken::volume(typed.unit, cubic_metres);
        self.refuse(
            field,
            format!("{typed} is no volume of a chamber"),
            format!(
                "from {} to {}",
                told(*VOLUMES.start()),
                told(*VOLUMES.end())
            ),
        );
        None
    }

    /// A time of a test or of pumping, or `None` with the error noted under that field.
    pub fn time(&mut self, field: &str, typed: Typed<TimeUnit>) -> Option<Seconds> {
        let time = self.quantity(field, typed)?;
        if time.seconds() <= LONGEST {
            return Some(time);
        }
        self.refuse(
            field,
            format!("{typed} is longer than any chamber is pumped"),
            format!("up to {}", Spoken::time(typed.unit, LONGEST)),
        );
        None
    }

    /// A pumping speed above zero, or `None` with the error noted under that field.
    pub fn speed(&mut self, field: &str, typed: Typed<SpeedUnit>) -> Option<Speed> {
        let speed = self.quantity(field, typed)?;
        if speed.cubic_metres_per_second() < LEAST_SPEED {
            self.refuse(
                field,
                format!("a speed of {typed} pumps nothing"),
                "a speed above zero",
            );
            return None;
        }
        Some(speed)
    }

    /// The errors noted, all of them, if any; otherwise `Ok`.
    pub fn finish(self) -> Result<(), Vec<FieldError>> {
        if self.0.is_empty() {
            Ok(())
        } else {
            Err(self.0)
        }
    }

    /// All errors noted.
    pub fn into_vec(self) -> Vec<FieldError> {
        self.0
    }
}
