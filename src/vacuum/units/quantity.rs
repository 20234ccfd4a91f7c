//! Volume, speed, length, temperature and time, SI inside.

use super::typed::unit_enum;
use super::{Unit, UnitError};

/// Declares a quantity held as one SI number.
macro_rules! quantity {
    ($(#[$about:meta])* $name:ident, $noun:literal, $from:ident, $get:ident, $si:literal, $lowest:ident) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("From ", $si, "; an error if not finite, too low or above 1e30.")]
            pub fn $from(value: f64) -> Result<Self, UnitError> {
                $crate::vacuum::units::quantity::$lowest($noun, value).map(Self)
            }

            #[doc = concat!("In ", $si, ".")]
            pub fn $get(self) -> f64 {
                self.0
            }
        }
    };
}
pub(super) use quantity;

/// The least and the most of any quantity in SI units, so that no product of a few leaves the range of
/// numbers. What is wider than any chamber, or finer than any atom, each formula refuses for itself.
const LEAST: f64 = 1e-30;
const MOST: f64 = 1e30;

pub(super) fn zero_or_more(quantity: &'static str, value: f64) -> Result<f64, UnitError> {
    bounded(quantity, value, value >= 0.0, "zero or more")?;
    within(quantity, value, 0.0, "at most 1e30")
}

pub(super) fn above_zero(quantity: &'static str, value: f64) -> Result<f64, UnitError> {
    bounded(quantity, value, value > 0.0, "above zero")?;
    within(quantity, value, LEAST, "from 1e-30 to 1e30")
}

fn within(
    quantity: &'static str,
    value: f64,
    least: f64,
    accepted: &'static str,
) -> Result<f64, UnitError> {
    if (least..=MOST).contains(&value) {
        Ok(value)
    } else {
        Err(UnitError::OutOfRange {
            quantity,
            value,
            accepted,
        })
    }
}

fn bounded(
    quantity: &'static str,
    value: f64,
    in_range: bool,
    accepted: &'static str,
) -> Result<(), UnitError> {
    if !value.is_finite() {
        Err(UnitError::NotFinite { quantity, value })
    } else if in_range {
        Ok(())
    } else {
        Err(UnitError::TooLow {
            quantity,
            value,
            accepted,
        })
    }
}

quantity! {
    /// The volume of a chamber or line, 1e-30 to 1e30 m³.
    Volume, "a volume", from_cubic_metres, cubic_metres, "cubic metres", above_zero
}

quantity! {
    /// A pumping speed or a conductance (the same dimension), zero to 1e30 m³/s.
    Speed, "a speed or conductance", from_cubic_metres_per_second, cubic_metres_per_second,
    "cubic metres per second", zero_or_more
}

/// The conductance of a tube, valve or opening: throughput over pressure difference.
pub type Conductance = Speed;

quantity! {
    /// A length or diameter, 1e-30 to 1e30 m.
    Length, "a length", from_metres, metres, "metres", above_zero
}

quantity! {
    /// An absolute temperature, 1e-30 to 1e30 K.
    Temperature, "an absolute temperature", from_kelvin, kelvin, "kelvin", above_zero
}

quantity! {
    /// A span of time, zero to 1e30 s.
    Seconds, "a time", from_seconds, seconds, "seconds", zero_or_more
}

impl Temperature {
    /// From degrees Celsius; an error at or below absolute zero, or above 1e30.
    pub fn from_celsius(celsius: f64) -> Result<Self, UnitError> {
        Self::from_kelvin(celsius + 273.15)
    }

    /// 0 °C, the reference of a standard cubic centimetre unless another is given.
    pub const ZERO_CELSIUS: Self = Self(273.15);

    /// 20 °C, taken for a room and its gas unless another is given.
    pub const ROOM: Self = Self(293.15);

    /// In degrees Celsius.
    pub fn celsius(self) -> f64 {
        self.0 - 273.15
    }
}

unit_enum! {
    /// A unit of volume.
    VolumeUnit, "volume",
    {
        /// A thousandth of a cubic metre.
        Litre = "l", "L", ["litre", "litres", "liter", "liters"];
        /// The SI unit.
        CubicMetre = "m3", "m³", [];
        /// A millionth of a cubic metre.
        CubicCentimetre = "cm3", "cm³", ["cc", "ml"];
    }
}

impl Unit for VolumeUnit {
    type Quantity = Volume;

    fn quantity(self, value: f64) -> Result<Volume, UnitError> {
        Volume::from_cubic_metres(match self {
            Self::Litre => value / 1e3,
            Self::CubicMetre => value,
            Self::CubicCentimetre => value / 1e6,
        })
    }
}

unit_enum! {
    /// A unit of pumping speed or conductance.
    SpeedUnit, "pumping speed",
    {
        /// Litres per second.
        LitrePerSecond = "l/s", "L/s", ["ls1"];
        /// The SI unit.
        CubicMetrePerSecond = "m3/s", "m³/s", ["m3s1"];
        /// Cubic metres per hour.
        CubicMetrePerHour = "m3/h", "m³/h", ["m3/hr", "m3h1"];
        /// Litres per minute.
        LitrePerMinute = "l/min", "L/min", ["lpm", "lmin1"];
    }
}

impl Unit for SpeedUnit {
    type Quantity = Speed;

    fn quantity(self, value: f64) -> Result<Speed, UnitError> {
        Speed::from_cubic_metres_per_second(match self {
            Self::LitrePerSecond => value / 1e3,
            Self::CubicMetrePerSecond => value,
            Self::CubicMetrePerHour => value / 3_600.0,
            Self::LitrePerMinute => value / 60e3,
        })
    }
}

unit_enum! {
    /// A unit of length.
    LengthUnit, "length",
    {
        /// Millimetres.
        Millimetre = "mm", "mm", ["millimetre", "millimetres", "millimeter", "millimeters"];
        /// Centimetres.
        Centimetre = "cm", "cm", ["centimetre", "centimetres", "centimeter", "centimeters"];
        /// The SI unit.
        Metre = "m", "m", ["metre", "metres", "meter", "meters"];
        /// Micrometres.
        Micrometre = "um", "µm", ["micrometre", "micrometres", "micrometer", "micrometers"];
        /// 25.4 mm.
        Inch = "in", "in", ["inch", "inches", "\""];
    }
}

impl Unit for LengthUnit {
    type Quantity = Length;

    fn quantity(self, value: f64) -> Result<Length, UnitError> {
        Length::from_metres(match self {
            Self::Millimetre => value / 1e3,
            Self::Centimetre => value / 1e2,
            Self::Metre => value,
            Self::Micrometre => value / 1e6,
            Self::Inch => value * 0.0254,
        })
    }
}

unit_enum! {
    /// A unit of temperature.
    TemperatureUnit, "temperature",
    {
        /// Degrees Celsius.
        Celsius = "c", "°C", ["°c", "degc", "celsius"];
        /// The SI unit.
        Kelvin = "k", "K", ["kelvin"];
        /// Degrees Fahrenheit.
        Fahrenheit = "f", "°F", ["°f", "degf", "fahrenheit"];
    }
}

impl Unit for TemperatureUnit {
    type Quantity = Temperature;

    fn quantity(self, value: f64) -> Result<Temperature, UnitError> {
        match self {
            Self::Celsius => Temperature::from_celsius(value),
            Self::Kelvin => Temperature::from_kelvin(value),
            Self::Fahrenheit => Temperature::from_kelvin((value + 459.67) / 1.8),
        }
    }
}

unit_enum! {
    /// A unit of time.
    TimeUnit, "time",
    {
        /// The SI unit.
        Second = "s", "s", ["sec", "second", "seconds"];
        /// 60 s.
        Minute = "min", "min", ["mins", "minute", "minutes"];
        /// 3600 s.
        Hour = "h", "h", ["hr", "hrs", "hour", "hours"];
    }
}

impl Unit for TimeUnit {
    type Quantity = Seconds;

    fn quantity(self, value: f64) -> Result<Seconds, UnitError> {
        Seconds::from_seconds(match self {
            Self::Second => value,
            Self::Minute => value * 60.0,
            Self::Hour => value * 3_600.0,
        })
    }
}
