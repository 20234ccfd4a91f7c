//! Quantities of vacuum work as types: SI inside, the reader's own units at the edges.
//!
//! Each quantity is its own type, so that a pumping speed cannot be passed for a volume, nor a
//! throughput for a power. The last is the reason for types of our own rather than a crate of
//! dimensions: Pa·m³/s has the dimension of the watt, so dimensional types would let a gas load
//! be added to an electrical power, and would take a throughput for a flow of moles without
//! asking the temperature that the step needs. The units here are also chosen by a person while
//! the program runs, which needs the table of names and factors kept in this module in any case.
//!
//! Invariants: a quantity is finite, not negative and at most 1e30 in SI units (lengths, volumes and
//! temperatures at least 1e-30); conversions use exact definitions and hold to 1e-9 relative. Imports nothing of the
//! project but the gas constant.

mod error;
mod pressure;
mod quantity;
mod reading;
mod throughput;
mod typed;

#[cfg(test)]
mod tests;

pub use error::{ReadingError, UnitError};
pub use pressure::{Pressure, PressureUnit, TypedPressure};
pub use quantity::{
    Conductance, Length, LengthUnit, Seconds, Speed, SpeedUnit, Temperature, TemperatureUnit,
    TimeUnit, Volume, VolumeUnit,
};
pub use reading::{read_number, read_pressure, read_signed_pressure};
pub use throughput::{FlowTemperatures, Throughput, ThroughputUnit, TypedThroughput};
pub use typed::{Typed, Unit, to_figures};
