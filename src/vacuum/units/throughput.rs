//! Throughput: gas flowing per second, as pressure times volume at a stated temperature.
//!
//! Two temperatures matter and are easily mixed up. The *reference* temperature says how much
//! gas a standard cubic centimetre is (0 °C here unless given; 20 °C is 7 % less gas). The *gas*
//! temperature says at which temperature a flow of moles is written as pressure times volume.
//! Units that are themselves pressure times volume are taken at the gas temperature as they are.

use super::quantity::quantity;
use super::typed::{plain, unit_enum};
use super::{Temperature, Typed, UnitError};
use crate::vacuum::gas::GAS_CONSTANT;

/// Pa·m³ in one standard cubic centimetre, at its own reference temperature.
const STANDARD_CUBIC_CENTIMETRE: f64 = 101_325.0 * 1e-6;

quantity! {
    /// A throughput, in Pa·m³/s at the gas temperature; zero to 1e30.
    Throughput, "a throughput", from_pascal_cubic_metres_per_second,
    pascal_cubic_metres_per_second, "Pa·m³/s", zero_or_more
}

unit_enum! {
    /// A unit of throughput or leak rate.
    ThroughputUnit, "throughput",
    {
        /// mbar·L/s.
        MillibarLitre = "mbar-l/s", "mbar·L/s", ["mbarls1", "mbarl/sec"];
        /// Torr·L/s.
        TorrLitre = "torr-l/s", "Torr·L/s", ["torrls1", "torrl/sec"];
        /// The SI unit.
        PascalCubicMetre = "pa-m3/s", "Pa·m³/s", ["pam3s1", "pam3/sec"];
        /// One atmosphere times a cubic centimetre, each second.
        AtmosphereCubicCentimetre = "atm-cm3/s", "atm·cm³/s", ["atmcc/s", "atmcc/sec", "atmccs1", "atmcm3/sec", "atmcm3s1"];
        /// Standard cubic centimetre per minute, at the reference temperature and one atmosphere.
        StandardCubicCentimetrePerMinute = "sccm", "sccm",
            ["scc/min", "stdcc/min", "stdcm3/min", "standardcc/min"];
        /// A flow of moles.
        MolePerSecond = "mol/s", "mol/s", ["mols1", "mol/sec"];
        /// Standard cubic centimetre per second, at the reference temperature and one atmosphere.
        StandardCubicCentimetrePerSecond = "sccs", "sccs",
            ["scc/s", "scc/sec", "stdcc/s", "stdcc/sec", "stdcm3/s", "stdcm3/sec", "stdccs1", "stdcm3s1", "standardcc/s", "standardcm3/s"];
    }
}

/// The temperatures at which a throughput is meant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlowTemperatures {
    /// The reference of a standard cubic centimetre.
    pub reference: Temperature,
    /// The gas, where pressure times volume is measured.
    pub gas: Temperature,
}

impl Default for FlowTemperatures {
    /// Reference 0 °C, gas at 20 °C.
    fn default() -> Self {
        Self {
            reference: Temperature::ZERO_CELSIUS,
            gas: Temperature::ROOM,
        }
    }
}

impl ThroughputUnit {
    /// Why a unit that leak detectors show is not taken for one of a throughput; none of any other text.
    pub fn why_not(text: &str) -> Option<&'static str> {
        match plain(text).as_str() {
            "cc/s" | "cc/sec" | "cc/min" | "ccm" | "cm3/s" | "cm3/min" | "ml/s" | "ml/min"
            | "l/s" | "l/min" | "lpm" => Some(
                "a volume each second is a throughput at a stated pressure alone; write atm cc/s, or std cc/s for standard cubic centimetres",
            ),
            "torr" | "mbar" | "pa" | "torr/s" | "mbar/s" | "pa/s" => {
                Some("a throughput is a pressure times a volume each second, such as mbar L/s")
            }
            _ => None,
        }
    }

    /// Pa·m³/s at the gas temperature in one unit.
    ///
    /// Exact definitions; a flow of moles is n·R·T, for an ideal gas, which gases in vacuum are at any
    /// temperature. Source: NIST SP 811, appendix B.8, and the
    /// molar gas constant.
    pub fn pascal_cubic_metres_per_unit(self, at: FlowTemperatures) -> f64 {
        match self {
            Self::MillibarLitre => 0.1,
            Self::TorrLitre => 101.325 / 760.0,
            Self::PascalCubicMetre => 1.0,
            Self::AtmosphereCubicCentimetre => STANDARD_CUBIC_CENTIMETRE,
            Self::StandardCubicCentimetrePerMinute => {
                STANDARD_CUBIC_CENTIMETRE / 60.0 * (at.gas.kelvin() / at.reference.kelvin())
            }
            Self::StandardCubicCentimetrePerSecond => {
                STANDARD_CUBIC_CENTIMETRE * (at.gas.kelvin() / at.reference.kelvin())
            }
            Self::MolePerSecond => GAS_CONSTANT * at.gas.kelvin(),
        }
    }
}

impl Throughput {
    /// This many units at those temperatures; an error if negative or above 1e30 Pa·m³/s.
    pub fn from_unit(
        value: f64,
        unit: ThroughputUnit,
        at: FlowTemperatures,
    ) -> Result<Self, UnitError> {
        Self::from_pascal_cubic_metres_per_second(value * unit.pascal_cubic_metres_per_unit(at))
    }

    /// The number of such units at those temperatures.
    pub fn in_unit(self, unit: ThroughputUnit, at: FlowTemperatures) -> f64 {
        self.pascal_cubic_metres_per_second() / unit.pascal_cubic_metres_per_unit(at)
    }
}

/// A throughput as typed: `{"value": 2e-5, "unit": "mbar-l/s"}`.
pub type TypedThroughput = Typed<ThroughputUnit>;

impl TypedThroughput {
    /// The throughput at those temperatures; an error if negative or out of range.
    pub fn throughput(self, at: FlowTemperatures) -> Result<Throughput, UnitError> {
        Throughput::from_unit(self.value, self.unit, at)
    }
}
