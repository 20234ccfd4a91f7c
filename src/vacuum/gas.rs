//! The gases met in vacuum chambers, and the properties the formulas need.
//!
//! Imports only the units.

use serde::{Deserialize, Serialize};

use super::units::{Pressure, Temperature};

/// The molar gas constant, J/(mol·K); exact since 2019 (CODATA).
pub(crate) const GAS_CONSTANT: f64 = 8.314_462_618_153_24;

/// A gas met in vacuum chambers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gas {
    /// Dry air.
    Air,
    /// H₂.
    Hydrogen,
    /// He.
    Helium,
    /// CH₄.
    Methane,
    /// H₂O, as vapour.
    Water,
    /// Ne.
    Neon,
    /// CO.
    CarbonMonoxide,
    /// N₂.
    Nitrogen,
    /// O₂.
    Oxygen,
    /// Ar.
    Argon,
    /// CO₂.
    CarbonDioxide,
    /// Kr.
    Krypton,
    /// CH₃OH, as vapour.
    Methanol,
    /// (CH₃)₂CO, as vapour.
    Acetone,
}

impl Gas {
    /// Every gas, in the order in which a person is offered them.
    pub const ALL: [Self; 14] = [
        Self::Air,
        Self::Nitrogen,
        Self::Oxygen,
        Self::Argon,
        Self::Water,
        Self::Hydrogen,
        Self::Helium,
        Self::CarbonMonoxide,
        Self::CarbonDioxide,
        Self::Methane,
        Self::Neon,
        Self::Krypton,
        Self::Methanol,
        Self::Acetone,
    ];

    /// Its name in plain words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Air => "air",
            Self::Hydrogen => "hydrogen",
            Self::Helium => "helium",
            Self::Methane => "methane",
            Self::Water => "water vapour",
            Self::Neon => "neon",
            Self::CarbonMonoxide => "carbon monoxide",
            Self::Nitrogen => "nitrogen",
            Self::Oxygen => "oxygen",
            Self::Argon => "argon",
            Self::CarbonDioxide => "carbon dioxide",
            Self::Krypton => "krypton",
            Self::Methanol => "methanol vapour",
            Self::Acetone => "acetone vapour",
        }
    }

    /// Molar mass, kg/mol.
    ///
    /// Source: standard atomic weights (IUPAC), from memory; air 28.9647 g/mol, US Standard
    /// Atmosphere composition.
    pub fn molar_mass(self) -> f64 {
        1e-3 * match self {
            Self::Air => 28.9647,
            Self::Hydrogen => 2.016,
            Self::Helium => 4.0026,
            Self::Methane => 16.043,
            Self::Water => 18.0153,
            Self::Neon => 20.1797,
            Self::CarbonMonoxide => 28.010,
            Self::Nitrogen => 28.0134,
            Self::Oxygen => 31.998,
            Self::Argon => 39.948,
            Self::CarbonDioxide => 44.0095,
            Self::Krypton => 83.798,
            Self::Methanol => 32.042,
            Self::Acetone => 58.080,
        }
    }

    /// Ratio of heat capacities near room temperature.
    ///
    /// Source: kinetic theory for one- and two-atomic gases; the rest from memory.
    pub fn heat_capacity_ratio(self) -> f64 {
        match self {
            Self::Helium | Self::Neon | Self::Argon | Self::Krypton => 5.0 / 3.0,
            Self::Air | Self::Hydrogen | Self::CarbonMonoxide | Self::Nitrogen | Self::Oxygen => {
                1.4
            }
            Self::Methane => 1.31,
            Self::Water => 1.33,
            Self::CarbonDioxide => 1.29,
            Self::Methanol => 1.20,
            Self::Acetone => 1.11,
        }
    }

    /// Viscosity, Pa·s, within about 2 % (solvent vapours 5 %) from 250 K to 400 K; `None` outside.
    ///
    /// A power law through the value at 300 K. Source: CRC Handbook, viscosity of gases, and
    /// White, Viscous Fluid Flow, table of exponents; both from memory.
    pub fn viscosity(self, at: Temperature) -> Option<f64> {
        let (at_300_kelvin, power) = match self {
            Self::Air => (18.6e-6, 0.67),
            Self::Hydrogen => (9.0e-6, 0.68),
            Self::Helium => (20.0e-6, 0.66),
            Self::Methane => (11.2e-6, 0.87),
            Self::Water => (10.0e-6, 1.04),
            Self::Neon => (32.1e-6, 0.66),
            Self::CarbonMonoxide => (17.8e-6, 0.71),
            Self::Nitrogen => (17.9e-6, 0.67),
            Self::Oxygen => (20.8e-6, 0.69),
            Self::Argon => (22.9e-6, 0.72),
            Self::CarbonDioxide => (15.0e-6, 0.79),
            Self::Krypton => (25.6e-6, 0.83),
            Self::Methanol => (9.7e-6, 1.0),
            Self::Acetone => (7.6e-6, 1.0),
        };
        let kelvin = at.kelvin();
        (250.0..=400.0)
            .contains(&kelvin)
            .then(|| at_300_kelvin * (kelvin / 300.0).powf(power))
    }

    /// The temperatures, K, at which it is a gas that a chamber can hold.
    ///
    /// From where its vapour pressure is some 1e-9 Pa, below which next to none of it flies about, by
    /// Clausius and Clapeyron from its triple point and heat of sublimation (from memory; air by its
    /// oxygen, helium from 1 K); up to 2000 K, and for vapours that come apart before, methane to 1000 K
    /// and solvents to 700 K (from memory).
    pub fn temperatures(self) -> std::ops::RangeInclusive<f64> {
        match self {
            Self::Helium => 1.0..=2000.0,
            Self::Hydrogen => 3.0..=2000.0,
            Self::Neon => 6.0..=2000.0,
            Self::Nitrogen => 19.0..=2000.0,
            Self::CarbonMonoxide => 21.0..=2000.0,
            Self::Argon => 21.0..=2000.0,
            Self::Air | Self::Oxygen => 24.0..=2000.0,
            Self::Methane => 27.0..=1000.0,
            Self::Krypton => 30.0..=2000.0,
            Self::CarbonDioxide => 65.0..=2000.0,
            Self::Acetone => 98.0..=700.0,
            Self::Methanol => 108.0..=700.0,
            Self::Water => 123.0..=2000.0,
        }
    }

    /// The pressure of its saturated vapour, above which it is a liquid, within 6 % from 250 K to 400 K; `None`
    /// outside, and for a gas that 10 bar do not make liquid there.
    ///
    /// Antoine's equation with the constants of the NIST Chemistry WebBook for 256 K to 373 K (water), 288 K to
    /// 357 K (methanol) and 259 K to 508 K (acetone), carried on to the ends. Source: those constants, seen in
    /// several open repositories that name it (of acetone and methanol `repository/Antoine.py` of
    /// jrhmanning/Music_python).
    pub fn vapour_pressure(self, at: Temperature) -> Option<Pressure> {
        let (a, b, c) = match self {
            Self::Water => (4.6543, 1435.264, -64.848),
            Self::Methanol => (5.20409, 1581.341, -33.5),
            Self::Acetone => (4.42448, 1312.253, -32.445),
            _ => return None,
        };
        let kelvin = at.kelvin();
        let bar = 10_f64.powf(a - b / (kelvin + c));
        let saturated = Pressure::from_pascals(1e5 * bar).ok();
        saturated.filter(|_| (250.0..=400.0).contains(&kelvin))
    }

    /// Mean speed of the molecules, m/s: √(8RT/πM), in the range of [`Gas::temperatures`]; `None`
    /// outside. Source: Maxwell's distribution.
    pub fn mean_speed(self, at: Temperature) -> Option<f64> {
        let square = 8.0 * GAS_CONSTANT * at.kelvin() / (std::f64::consts::PI * self.molar_mass());
        self.temperatures()
            .contains(&at.kelvin())
            .then(|| square.sqrt())
    }

    /// Mean free path, m: (η/p)·√(πRT/2M), from 1e-30 Pa to 1e6 Pa, where a gas is dilute, and from
    /// 250 K to 400 K, where its viscosity is known; `None` outside.
    ///
    /// Source: kinetic theory of viscosity; Roth, Vacuum Technology, chapter 2, from memory.
    pub fn mean_free_path(self, at: Temperature, pressure: Pressure) -> Option<f64> {
        let viscosity = self.viscosity(at)?;
        (1e-30..=1e6).contains(&pressure.pascals()).then(|| {
            viscosity / pressure.pascals()
                * (std::f64::consts::PI * GAS_CONSTANT * at.kelvin() / (2.0 * self.molar_mass()))
                    .sqrt()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published mean speeds at 20 °C: O'Hanlon, A User's Guide to Vacuum Technology, chapter 2.
    #[test]
    fn mean_speeds_are_the_published_ones() {
        for (gas, published) in [
            (Gas::Hydrogen, 1754.6),
            (Gas::Helium, 1246.0),
            (Gas::Water, 587.0),
            (Gas::Nitrogen, 471.0),
            (Gas::Air, 463.0),
            (Gas::Argon, 394.0),
            (Gas::CarbonDioxide, 376.0),
        ] {
            let speed = gas.mean_speed(Temperature::ROOM).unwrap();
            assert!((speed / published - 1.0).abs() < 0.005, "{gas:?}: {speed}");
        }
    }

    /// Speed of sound √(γRT/M) of the U.S. Standard Atmosphere at four heights (Mechanical Engineers'
    /// Handbook, volume 4, table 6, page seen), and its viscosity at 15 °C, 1.789e-5 Pa·s (page seen).
    #[test]
    fn air_is_that_of_the_standard_atmosphere() {
        for (kelvin, published) in [
            (288.15, 340.3),
            (255.68, 320.6),
            (223.25, 299.5),
            (216.65, 295.1),
        ] {
            let square =
                Gas::Air.heat_capacity_ratio() * GAS_CONSTANT * kelvin / Gas::Air.molar_mass();
            assert!((square.sqrt() / published - 1.0).abs() < 3e-4, "{kelvin}");
        }
        let viscosity = Gas::Air
            .viscosity(Temperature::from_celsius(15.0).unwrap())
            .unwrap();
        assert!((viscosity / 1.789e-5 - 1.0).abs() < 0.02, "{viscosity}");
    }

    /// Vapour over ice, IAPWS R14-08(2011), equation for the sublimation pressure, from memory, held to its
    /// check value of 8.94735 Pa at 230 K (release seen): some 1e-9 Pa where water starts to count as a gas.
    #[test]
    fn water_is_a_gas_from_where_ice_has_a_vapour_pressure() {
        let over_ice = |kelvin: f64| {
            let share = kelvin / 273.16;
            let sum: f64 = [
                (-21.214_400_6, 0.003_333_333_33),
                (27.320_381_9, 1.206_666_67),
                (-6.105_981_30, 1.703_333_33),
            ]
            .into_iter()
            .map(|(factor, power)| factor * share.powf(power))
            .sum();
            611.657 * (sum / share).exp()
        };
        assert!((over_ice(230.0) / 8.947_35 - 1.0).abs() < 1e-5);
        let coldest = *Gas::Water.temperatures().start();
        assert!(
            (3e-10..3e-9).contains(&over_ice(coldest)),
            "{}",
            over_ice(coldest)
        );
        let at = |kelvin| Temperature::from_kelvin(kelvin).unwrap();
        assert!(Gas::Water.mean_speed(at(coldest - 0.1)).is_none());
        assert!(Gas::Helium.mean_speed(at(4.2)).is_some());
        assert!(Gas::Nitrogen.mean_speed(at(77.0)).is_some());
        assert!(Gas::Acetone.mean_speed(at(800.0)).is_none());
    }

    /// Water: 2.3388 kPa at 20 °C and 12.344 kPa at 50 °C (table of its vapour pressure in an encyclopaedia, seen),
    /// 76.0 Pa over ice at 250 K (IAPWS R14-08, computed), 245.8 kPa at 400 K (steam tables, from memory). One
    /// atmosphere at the boiling points of methanol, 64.7 °C, and acetone, 56.05 °C (handbooks, from memory).
    #[test]
    fn vapours_are_saturated_where_the_tables_say() {
        for (gas, kelvin, pascals) in [
            (Gas::Water, 293.15, 2338.8),
            (Gas::Water, 323.15, 12_344.0),
            (Gas::Water, 373.15, 101_325.0),
            (Gas::Water, 250.0, 76.0),
            (Gas::Water, 400.0, 245_800.0),
            (Gas::Methanol, 337.85, 101_325.0),
            (Gas::Acetone, 329.2, 101_325.0),
        ] {
            let at = Temperature::from_kelvin(kelvin).unwrap();
            let saturated = gas.vapour_pressure(at).unwrap().pascals();
            assert!(
                (saturated / pascals - 1.0).abs() < 0.06,
                "{gas:?}, {kelvin}: {saturated}"
            );
        }
        assert_eq!(Gas::Argon.vapour_pressure(Temperature::ROOM), None);
    }

    /// Air at 20 °C: 1.82e-5 Pa·s, and a path of 0.066 µm at one atmosphere (Jennings, J. Aerosol
    /// Sci. 19 (1988) 159: 0.0665 µm at 23 °C), both from memory.
    #[test]
    fn viscosity_and_path_of_air_are_the_published_ones() {
        let viscosity = Gas::Air.viscosity(Temperature::ROOM).unwrap();
        assert!((viscosity / 1.82e-5 - 1.0).abs() < 0.02, "{viscosity}");
        let atmosphere = Pressure::from_pascals(101_325.0).unwrap();
        let path = Gas::Air
            .mean_free_path(Temperature::ROOM, atmosphere)
            .unwrap();
        assert!((path / 6.6e-8 - 1.0).abs() < 0.03, "{path}");
        let cold = Temperature::from_kelvin(77.0).unwrap();
        assert!(Gas::Air.viscosity(cold).is_none());
    }
}
