//! What keeps gauge readings from being judged or corrected.

use super::GaugeKind;
use crate::vacuum::gas::Gas;
use crate::vacuum::units::UnitError;

/// A reading that cannot be judged or corrected.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GaugeError {
    /// No reading at all.
    #[error("there is no reading; give at least one gauge and what it shows")]
    NoReading,
    /// A reading of zero on a gauge with an ion side.
    #[error(
        "reading {number} is zero, which a lit cathode or filament does not show; give the lowest figure on its display, or say that it is not lit"
    )]
    Zero {
        /// Its place in the list, from 1.
        number: usize,
    },
    /// A heat-loss gauge above the pressure up to which its gas factors hold.
    #[error(
        "gas factors of a Pirani or convection gauge hold up to 1 mbar, not at {millibars} mbar"
    )]
    TooHighForThermal {
        /// The reading.
        millibars: f64,
    },
    /// An ion gauge above its range.
    #[error("an ion gauge reads up to about 0.01 mbar, not {millibars} mbar")]
    TooHighForIon {
        /// The reading.
        millibars: f64,
    },
    /// A reading outside the range in which this kind of gauge means something.
    #[error(
        "a {} means something from {low:e} Pa to {high:e} Pa, not at {pascals:e} Pa", kind.name()
    )]
    OutsideRange {
        /// The kind.
        kind: GaugeKind,
        /// The reading, Pa.
        pascals: f64,
        /// Lowest, Pa.
        low: f64,
        /// Highest, Pa.
        high: f64,
    },
    /// No factor is known for this gas.
    #[error(
        "no factor of this kind of gauge is known here for {}; take it from the gauge's manual, or compare with a gauge of another kind", gas.name()
    )]
    NoFactor {
        /// The gas.
        gas: Gas,
    },
    /// A number out of range.
    #[error(transparent)]
    Unit(#[from] UnitError),
}
