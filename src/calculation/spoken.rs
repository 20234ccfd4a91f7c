//! Errors of the formulas in the units that were typed, where the formulas know only SI units.

use std::fmt::Display;

use crate::vacuum::conductance::ConductanceError;
use crate::vacuum::gas_load::GasLoadError;
use crate::vacuum::gauge::GaugeError;
use crate::vacuum::leak::LeakError;
use crate::vacuum::units::{
    FlowTemperatures, LengthUnit, PressureUnit, SpeedUnit, Temperature, TemperatureUnit,
    ThroughputUnit, TimeUnit, Typed, Unit, UnitError, VolumeUnit,
};

/// The units in which a request speaks of each quantity; SI where it does not.
#[derive(Clone, Copy)]
pub(super) struct Spoken {
    pub(super) speed: SpeedUnit,
    pub(super) pressure: PressureUnit,
    pub(super) temperature: TemperatureUnit,
    pub(super) length: LengthUnit,
    pub(super) throughput: (ThroughputUnit, FlowTemperatures),
}

impl Spoken {
    pub(super) const SI: Self = Self {
        speed: SpeedUnit::CubicMetrePerSecond,
        pressure: PressureUnit::Pascal,
        temperature: TemperatureUnit::Kelvin,
        length: LengthUnit::Metre,
        throughput: (
            ThroughputUnit::PascalCubicMetre,
            FlowTemperatures {
                reference: Temperature::ZERO_CELSIUS,
                gas: Temperature::ROOM,
            },
        ),
    };

    /// A volume, m³, in this unit.
    pub(super) fn volume(unit: VolumeUnit, cubic_metres: f64) -> String {
        let one = unit.quantity(1.0).map_or(1.0, |one| one.cubic_metres());
        told(cubic_metres / one, unit)
    }

    /// A time, s, in this unit.
    pub(super) fn time(unit: TimeUnit, seconds: f64) -> String {
        let one = unit.quantity(1.0).map_or(1.0, |one| one.seconds());
        told(seconds / one, unit)
    }

    /// A leak rate, Pa·m³/s.
    pub(super) fn rate(self, pascal_cubic_metres_per_second: f64) -> String {
        let (unit, at) = self.throughput;
        let one = unit.pascal_cubic_metres_per_unit(at);
        told(pascal_cubic_metres_per_second / one, unit)
    }

    fn speed(self, cubic_metres_per_second: f64) -> String {
        let of_one = SpeedUnit::quantity(self.speed, 1.0);
        let one = of_one.map_or(1.0, |speed| speed.cubic_metres_per_second());
        told(cubic_metres_per_second / one, self.speed)
    }

    pub(super) fn pressure(self, pascals: f64) -> String {
        let one = self.pressure.quantity(1.0).map_or(1.0, |one| one.pascals());
        told(pascals / one, self.pressure)
    }

    fn length(self, metres: f64) -> String {
        let one = self.length.quantity(1.0).map_or(1.0, |one| one.metres());
        told(metres / one, self.length)
    }

    fn temperature(self, kelvin: f64) -> String {
        let value = match self.temperature {
            TemperatureUnit::Kelvin => kelvin,
            TemperatureUnit::Celsius => kelvin - 273.15,
            TemperatureUnit::Fahrenheit => (kelvin - 273.15) * 1.8 + 32.0,
        };
        told((1e6 * value).round() / 1e6, self.temperature)
    }

    /// What keeps a conductance from being computed.
    pub(super) fn conductance(self, error: &ConductanceError) -> String {
        match *error {
            ConductanceError::FasterThanInlet { pump, inlet } => format!(
                "a pump of {} cannot be faster than its inlet, which passes {} of this gas",
                self.speed(pump),
                self.speed(inlet)
            ),
            ConductanceError::AboveOpening { stated, opening } => format!(
                "{} of this gas is above the {} that an opening of this diameter passes",
                self.speed(stated),
                self.speed(opening)
            ),
            ConductanceError::Shut { stated } => format!(
                "{} is less than a billionth of what its opening passes, or less than a hole of one atom does, so it is as good as shut",
                self.speed(stated)
            ),
            ConductanceError::Pressure { pascals } => format!(
                "{} is outside the pressures at which the gas is dilute and there is any",
                self.pressure(pascals)
            ),
            ConductanceError::Diameter { metres } => format!(
                "{} is no diameter of a part, which is from {} to {}",
                self.length(metres),
                self.length(1e-6),
                self.length(100.0)
            ),
            ConductanceError::Temperature { gas, kelvin } => {
                let (low, high) = gas.temperatures().into_inner();
                format!(
                    "{} is a gas here from {} to {}, not at {}",
                    gas.name(),
                    self.temperature(low),
                    self.temperature(high),
                    self.temperature(kelvin)
                )
            }
            ConductanceError::NoViscosity { kelvin } => self.no_viscosity(kelvin),
            ref other => other.to_string(),
        }
    }

    /// What keeps a leak from being computed.
    pub(super) fn leak(self, error: &LeakError) -> String {
        match *error {
            LeakError::Upstream { pascals } => format!(
                "the pressure upstream must be above zero and up to {}, not {}",
                self.pressure(1e6),
                self.pressure(pascals)
            ),
            LeakError::NoDrop {
                upstream,
                downstream,
            } => format!(
                "a leak needs more pressure upstream than downstream, not {} and {}",
                self.pressure(upstream),
                self.pressure(downstream)
            ),
            LeakError::Liquid {
                gas,
                pascals,
                most,
                kelvin,
            } => format!(
                "{} at {} is a vapour up to {}; at {} it is liquid, which passes a leak by other laws",
                gas.name(),
                self.temperature(kelvin),
                self.pressure(most),
                self.pressure(pascals)
            ),
            LeakError::NoViscosity { kelvin } => self.no_viscosity(kelvin),
            LeakError::NoLeak => "a leak rate must be above zero".to_owned(),
            LeakError::NotALeak { rate } => format!(
                "a leak of {} is above {}, an open port and not a leak",
                self.rate(rate),
                self.rate(1000.0)
            ),
            ref other => other.to_string(),
        }
    }

    /// What keeps a balance from being drawn.
    pub(super) fn gas_load(self, error: &GasLoadError) -> String {
        match *error {
            GasLoadError::Zero { what } => format!("{what} is zero, or too near to it to be one"),
            GasLoadError::TooHigh { pascals } => format!(
                "{} is above {}, where a high-vacuum pump's speed is no longer constant",
                self.pressure(pascals),
                self.pressure(1.0)
            ),
            GasLoadError::ForelineTooHigh { pascals } => format!(
                "a foreline of {} is above {}, against which no turbo pump compresses",
                self.pressure(pascals),
                self.pressure(1e4)
            ),
            ref other => other.to_string(),
        }
    }

    /// What keeps a reading from being corrected.
    pub(super) fn gauge(self, error: &GaugeError) -> String {
        match *error {
            GaugeError::OutsideRange {
                kind,
                pascals,
                low,
                high,
            } => format!(
                "a {} means something from {} to {}, not at {}",
                kind.name(),
                self.pressure(low),
                self.pressure(high),
                self.pressure(pascals)
            ),
            GaugeError::TooHighForThermal { millibars } => format!(
                "gas factors of a Pirani or convection gauge hold up to {}, not at {}",
                self.pressure(100.0),
                self.pressure(100.0 * millibars)
            ),
            GaugeError::TooHighForIon { millibars } => format!(
                "an ion gauge reads up to about {}, not {}",
                self.pressure(1.0),
                self.pressure(100.0 * millibars)
            ),
            ref other => other.to_string(),
        }
    }

    fn no_viscosity(self, kelvin: f64) -> String {
        format!(
            "the viscosity of the gas is known from {} to {}, not at {}",
            self.temperature(250.0),
            self.temperature(400.0),
            self.temperature(kelvin)
        )
    }
}

/// What is wrong with a typed number, and what would be accepted, in the unit that was typed.
pub(super) fn typed<U: Display>(error: &UnitError, typed: &Typed<U>) -> (String, String) {
    match *error {
        UnitError::TooLow {
            quantity, accepted, ..
        } => (
            format!("{quantity} must be {accepted}, not {typed}"),
            format!("a finite number, {accepted}"),
        ),
        UnitError::NotFinite { quantity, .. } | UnitError::OutOfRange { quantity, .. } => (
            format!("{typed} is too large or too small for {quantity}"),
            "a number of a size that can be measured".to_owned(),
        ),
        UnitError::UnknownUnit { ref accepted, .. } => (error.to_string(), accepted.clone()),
    }
}

/// A share in per cent: to a tenth from 10 % on, below that to two figures, however small.
pub(super) fn in_percent(share: f64) -> String {
    let percent = 100.0 * share;
    if percent >= 10.0 || percent <= 0.0 {
        return format!("{} %", (10.0 * percent).round() / 10.0);
    }
    let rounded: f64 = format!("{percent:.1e}").parse().unwrap_or(percent);
    format!("{rounded} %")
}

/// A number to four figures with its unit.
fn told<U: Display>(value: f64, unit: U) -> String {
    let rounded = format!("{value:.3e}").parse().unwrap_or(value);
    Typed::new(rounded, unit).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vacuum::gas::Gas;
    use crate::vacuum::gauge::GaugeKind;

    #[test]
    fn a_small_share_keeps_its_figures() {
        for (share, said) in [
            (0.5, "50 %"),
            (0.125, "12.5 %"),
            (0.0999, "10 %"),
            (0.083, "8.3 %"),
            (8.89e-4, "0.089 %"),
            (5.24e-6, "0.00052 %"),
            (1.0, "100 %"),
        ] {
            assert_eq!(in_percent(share), said);
        }
    }

    /// Conversions by definition; the hour of a cubic metre per hour has 3600 s.
    #[test]
    fn errors_speak_the_unit_that_was_typed() {
        let spoken = Spoken {
            speed: SpeedUnit::CubicMetrePerHour,
            pressure: PressureUnit::Millibar,
            temperature: TemperatureUnit::Celsius,
            length: LengthUnit::Millimetre,
            throughput: (ThroughputUnit::MillibarLitre, FlowTemperatures::default()),
        };
        let too_fast = ConductanceError::FasterThanInlet {
            pump: 0.5,
            inlet: 0.1,
        };
        assert!(spoken.conductance(&too_fast).contains("1800 m³/h cannot"));
        assert!(spoken.conductance(&too_fast).contains("360 m³/h of this"));
        let cold = ConductanceError::Temperature {
            gas: Gas::Water,
            kelvin: 73.15,
        };
        assert!(spoken.conductance(&cold).ends_with("not at -200 °C"));
        let wide = ConductanceError::Diameter { metres: 200.0 };
        assert!(spoken.conductance(&wide).starts_with("2e5 mm"));
        let port = LeakError::NotALeak { rate: 2000.0 };
        assert!(
            spoken
                .leak(&port)
                .starts_with("a leak of 20000 mbar·L/s is above 10000 mbar·L/s")
        );
        let dense = LeakError::Upstream { pascals: 2e6 };
        assert!(
            spoken
                .leak(&dense)
                .contains("up to 10000 mbar, not 20000 mbar")
        );
        let low = GaugeError::OutsideRange {
            kind: GaugeKind::Pirani,
            pascals: 0.01,
            low: 0.05,
            high: 1e4,
        };
        assert_eq!(
            spoken.gauge(&low),
            "a Pirani gauge means something from 5e-4 mbar to 100 mbar, not at 1e-4 mbar"
        );
        let dense = GaugeError::TooHighForThermal { millibars: 2.0 };
        assert!(
            spoken
                .gauge(&dense)
                .ends_with("up to 1 mbar, not at 2 mbar")
        );
        let high = GasLoadError::TooHigh { pascals: 2.0 };
        assert!(
            spoken
                .gas_load(&high)
                .starts_with("0.02 mbar is above 0.01 mbar")
        );
    }
}
