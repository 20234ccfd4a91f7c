//! Pressure, in pascals inside.

use super::quantity::zero_or_more;
use super::typed::unit_enum;
use super::{Typed, Unit, UnitError};

/// An absolute pressure, from zero to 1e30 Pa.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Pressure(f64);

impl Pressure {
    /// From pascals; an error unless from zero to 1e30.
    pub fn from_pascals(pascals: f64) -> Result<Self, UnitError> {
        zero_or_more("a pressure", pascals).map(Self)
    }

    /// In pascals.
    pub fn pascals(self) -> f64 {
        self.0
    }

    /// The number of such units.
    pub fn in_unit(self, unit: PressureUnit) -> f64 {
        self.0 / unit.pascals_per_unit()
    }
}

unit_enum! {
    /// A unit of pressure that people at vacuum tools read and type.
    PressureUnit, "pressure",
    {
        /// 101 325/760 Pa.
        Torr = "torr", "Torr", ["torrs"];
        /// A thousandth of a Torr.
        Millitorr = "mtorr", "mTorr", ["mtorrs", "millitorr", "millitorrs"];
        /// The trade's micron of mercury, taken as one mTorr (as all gauges read it today).
        Micron = "micron", "micron", ["microns"];
        /// 100 Pa.
        Millibar = "mbar", "mbar", ["mbars", "millibar", "millibars", "mb"];
        /// 100 Pa.
        Hectopascal = "hpa", "hPa", ["hectopascal", "hectopascals"];
        /// The SI unit.
        Pascal = "pa", "Pa", ["pascal", "pascals"];
        /// 101 325 Pa.
        Atmosphere = "atm", "atm", ["atmosphere", "atmospheres"];
    }
}

impl PressureUnit {
    /// Pascals in one unit, by exact definition (NIST SP 811, appendix B.8).
    pub fn pascals_per_unit(self) -> f64 {
        match self {
            Self::Torr => 101_325.0 / 760.0,
            Self::Millitorr | Self::Micron => 101.325 / 760.0,
            Self::Millibar | Self::Hectopascal => 100.0,
            Self::Pascal => 1.0,
            Self::Atmosphere => 101_325.0,
        }
    }
}

impl Unit for PressureUnit {
    type Quantity = Pressure;

    fn quantity(self, value: f64) -> Result<Pressure, UnitError> {
        Pressure::from_pascals(value * self.pascals_per_unit())
    }
}

/// A pressure as typed: `{"value": 5.3e-6, "unit": "torr"}`.
pub type TypedPressure = Typed<PressureUnit>;

impl TypedPressure {
    /// The pressure; an error if the number is negative or out of range.
    pub fn pressure(self) -> Result<Pressure, UnitError> {
        self.quantity()
    }
}
