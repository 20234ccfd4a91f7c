//! Kinds of gauges, how they work, and the range in which they mean something.

use std::ops::RangeInclusive;

use serde::{Deserialize, Serialize};

/// A kind of gauge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GaugeKind {
    /// Heat loss of a wire.
    Pirani,
    /// Heat loss with convection, reading to atmosphere.
    Convection,
    /// Cold cathode alone.
    ColdCathode,
    /// Hot filament ion gauge alone.
    HotFilament,
    /// Diaphragm, the same for all gases.
    Capacitance,
    /// Pirani and cold cathode in one head with one reading.
    CombinationColdCathode,
    /// Pirani or convection, and hot filament, in one head with one reading.
    CombinationHotFilament,
}

/// What moves a gauge's reading at some pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Principle {
    /// Heat carried by the gas.
    Thermal,
    /// Ions made of the gas.
    Ion,
    /// Force on a diaphragm.
    Force,
}

/// Where a combination head goes over from its heat-loss to its ion side, Pa (about 1e-3 Torr).
const CROSSOVER: f64 = 0.13;

impl GaugeKind {
    /// Every kind, in the order in which a person is offered them.
    pub const ALL: [Self; 7] = [
        Self::CombinationColdCathode,
        Self::CombinationHotFilament,
        Self::ColdCathode,
        Self::HotFilament,
        Self::Pirani,
        Self::Convection,
        Self::Capacitance,
    ];

    /// Its name in plain words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Pirani => "Pirani gauge",
            Self::Convection => "convection gauge",
            Self::ColdCathode => "cold cathode gauge",
            Self::HotFilament => "hot filament gauge",
            Self::Capacitance => "capacitance gauge",
            Self::CombinationColdCathode => "combination gauge with cold cathode",
            Self::CombinationHotFilament => "combination gauge with hot filament",
        }
    }

    /// The pressures, Pa, at which it means something: common practice, no source.
    pub fn range(self) -> RangeInclusive<f64> {
        match self {
            Self::Pirani => 0.05..=1e4,
            Self::Convection => 0.1..=1.2e5,
            Self::ColdCathode => 1e-7..=1.0,
            Self::HotFilament => 1e-8..=0.1,
            Self::Capacitance => 0.02..=1.2e5,
            Self::CombinationColdCathode | Self::CombinationHotFilament => 1e-7..=1.2e5,
        }
    }

    /// The reading, Pa, up to which it may be at its lower end, whatever lies below: three times the least that
    /// means something (most Piranis rest at 5e-4 to 1e-3 mbar in high vacuum: common practice, no source).
    /// None for a gauge with an ion side, which goes on below.
    pub fn rests_up_to(self) -> Option<f64> {
        match self {
            Self::Pirani | Self::Convection | Self::Capacitance => Some(3.0 * self.range().start()),
            _ => None,
        }
    }

    /// What moves its reading at this pressure, Pa.
    pub fn principle(self, pascals: f64) -> Principle {
        match self {
            Self::Pirani | Self::Convection => Principle::Thermal,
            Self::ColdCathode | Self::HotFilament => Principle::Ion,
            Self::Capacitance => Principle::Force,
            Self::CombinationColdCathode | Self::CombinationHotFilament => {
                if pascals < CROSSOVER {
                    Principle::Ion
                } else {
                    Principle::Thermal
                }
            }
        }
    }

    /// Whether it has a cathode or filament that must be lit.
    pub fn must_be_lit(self) -> bool {
        !matches!(self, Self::Pirani | Self::Convection | Self::Capacitance)
    }
}
