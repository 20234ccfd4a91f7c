//! Pressure, in pascals inside.

use super::quantity::zero_or_more;
use super::typed::{plain, unit_enum};
use super::{Typed, Unit, UnitError};

/// An absolute pressure, from zero to 1e30 Pa.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Pressure(f64);

impl Pressure {
    /// None at all.
    pub const ZERO: Self = Self(0.0);

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
        /// 100 000 Pa.
        Bar = "bar", "bar", ["bars"];
        /// 1000 Pa.
        Kilopascal = "kpa", "kPa", ["kilopascal", "kilopascals"];
        /// A conventional millimetre of mercury, 133.322 387 415 Pa: not quite a Torr.
        MillimetreOfMercury = "mmhg", "mmHg", [];
        /// A pound-force on a square inch, counted from zero: 6 894.757 293 168 Pa.
        PoundPerSquareInch = "psia", "psia", ["psiabs", "psi(a)", "psiabsolute"];
    }
}

impl PressureUnit {
    /// Pascals in one unit, by exact definition (NIST SP 811, appendices B.8 and B.9).
    pub fn pascals_per_unit(self) -> f64 {
        match self {
            Self::Torr => 101_325.0 / 760.0,
            Self::Millitorr | Self::Micron => 101.325 / 760.0,
            Self::Millibar | Self::Hectopascal => 100.0,
            Self::Pascal => 1.0,
            Self::Atmosphere => 101_325.0,
            Self::Bar => 1e5,
            Self::Kilopascal => 1e3,
            // 13 595.1 kg/m³ and 9.806 65 m/s², by definition.
            Self::MillimetreOfMercury => 133.322_387_415,
            // 0.453 592 37 kg, 9.806 65 m/s² and 0.0254 m, by definition.
            Self::PoundPerSquareInch => 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254),
        }
    }

    /// Why a unit that gauges show is not taken for one of an absolute pressure; none of any other text.
    pub fn why_not(text: &str) -> Option<&'static str> {
        match plain(text).as_str() {
            "psi" | "lb/in2" | "lbf/in2" => Some(
                "pounds per square inch may be counted from zero or from the pressure of the room; write psia if from zero",
            ),
            "psig" | "psi(g)" | "barg" | "bar(g)" | "mbarg" | "mbar(g)" | "kpag" | "kpa(g)" => {
                Some("it is counted from the pressure of the room; give the absolute pressure")
            }
            "inhg" | "inh2o" | "cmh2o" | "mmh2o" | "\"hg" => Some(
                "such a column mostly shows how far a pressure is below or above that of the room; give the absolute pressure, for example in mmHg",
            ),
            "mpa" => Some(
                "mPa and MPa are a thousand million apart and easily mixed up; write it in Pa or kPa",
            ),
            "torr/s" | "mbar/s" | "pa/s" | "torr/min" | "mbar/min" => {
                Some("it is the unit of a rate; give a pressure")
            }
            _ => None,
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
