//! The extra gas load between a healthy and a faulty base pressure, with its interval.

use serde::Serialize;

use super::GasLoadError;
use crate::vacuum::units::{Pressure, Speed, Throughput};

/// Above this pressure a high-vacuum pump's speed is not taken as constant, Pa.
const HIGHEST: f64 = 1.0;

/// Below this, Pa (or m³/s), a pressure or speed is none.
pub(super) const LOWEST: f64 = 1e-15;

/// Half widths of 95 % intervals, as shares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uncertainty {
    /// Of the gauge's scale, the same in both readings (wrong calibration, another gas).
    pub scale: f64,
    /// Of each single reading, by chance.
    pub repeat: f64,
    /// Of the pumping speed.
    pub speed: f64,
}

impl Default for Uncertainty {
    /// Scale 30 %, repeat 10 %, speed 20 %: common practice, no source.
    fn default() -> Self {
        Self {
            scale: 0.3,
            repeat: 0.1,
            speed: 0.2,
        }
    }
}

/// What a fault of some size of gas load usually is.
///
/// Bands of a decade or two that overlap in life: common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultSize {
    /// Below 1e-6 mbar·L/s.
    Traces,
    /// From 1e-6 to 1e-4 mbar·L/s.
    Fine,
    /// From 1e-4 to 1e-2 mbar·L/s.
    Middling,
    /// Above 1e-2 mbar·L/s.
    Coarse,
}

impl FaultSize {
    /// The band of a gas load.
    pub fn of(load: Throughput) -> Self {
        let millibar_litres = load.pascal_cubic_metres_per_second() * 10.0;
        if millibar_litres < 1e-6 {
            Self::Traces
        } else if millibar_litres < 1e-4 {
            Self::Fine
        } else if millibar_litres < 1e-2 {
            Self::Middling
        } else {
            Self::Coarse
        }
    }

    /// What is usually behind a load of this size.
    pub fn usual_causes(self) -> &'static str {
        match self {
            Self::Traces => {
                "permeation through elastomers, slow outgassing, or a leak so fine that only a helium test shows it"
            }
            Self::Fine => {
                "a particle or scratch on a seal, an aged seal, a weeping fitting, a fresh or wet surface"
            }
            Self::Middling => {
                "debris on a door or valve seal, a seal hurt by heat, a water seep, wet shields, a trapped volume"
            }
            Self::Coarse => {
                "a hair, tape or foil across a seal, a valve that does not close, a crack, a water leak one can see"
            }
        }
    }
}

/// The extra gas load and its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExtraLoad {
    /// Gas load at the healthy pressure.
    pub healthy: Throughput,
    /// Best value of the extra load; zero if the faulty pressure is not above the healthy one.
    pub extra: Throughput,
    /// Lower end of its 95 % interval; zero if a difference is not shown.
    pub low: Throughput,
    /// Upper end of its 95 % interval.
    pub high: Throughput,
    /// Extra over healthy load, best value. Free of the scale and the speed, which cancel.
    pub ratio: f64,
    /// Lower end of the ratio's 95 % interval (may be below zero).
    pub ratio_low: f64,
    /// Upper end of the ratio's 95 % interval.
    pub ratio_high: f64,
    /// The share of the healthy speed that alone would explain the faulty pressure.
    pub speed_share_instead: f64,
}

impl ExtraLoad {
    /// Whether the readings show a loss at all, beyond their scatter.
    pub fn is_shown(&self) -> bool {
        self.ratio_low > 0.0
    }

    /// Whether the faulty pressure is below the healthy one, beyond their scatter.
    pub fn is_below_healthy(&self) -> bool {
        self.ratio_high < 0.0
    }
}

/// The gas load that a pumping speed balances at this pressure, Pa·m³/s: S·p.
///
/// From zero to 1 Pa, above which the speed of a high-vacuum pump is no longer constant; an error
/// above. Source: the definition of pumping speed.
pub fn gas_load(pressure: Pressure, speed: Speed) -> Result<Throughput, GasLoadError> {
    below_highest(pressure)?;
    Ok(Throughput::from_pascal_cubic_metres_per_second(
        pressure.pascals() * speed.cubic_metres_per_second(),
    )?)
}

pub(super) fn below_highest(pressure: Pressure) -> Result<(), GasLoadError> {
    let pascals = pressure.pascals();
    if pascals > HIGHEST {
        return Err(GasLoadError::TooHigh { pascals });
    }
    Ok(())
}

/// The pressure that a gas load causes at this pumping speed, Q/S.
///
/// For a speed above zero (1e-15 m³/s) and a pressure of up to 1 Pa; an error otherwise. No load causes no pressure.
/// Source: the definition of pumping speed.
pub fn base_pressure(load: Throughput, speed: Speed) -> Result<Pressure, GasLoadError> {
    if speed.cubic_metres_per_second() < LOWEST {
        return Err(GasLoadError::Zero {
            what: "the pumping speed",
        });
    }
    let pascals = load.pascal_cubic_metres_per_second() / speed.cubic_metres_per_second();
    let pressure = Pressure::from_pascals(pascals)?;
    below_highest(pressure)?;
    Ok(pressure)
}

/// The gas load that came on top, S·(faulty − healthy), if the pumping speed is unchanged. Source: the
/// definition of pumping speed.
///
/// Both pressures from 1e-15 Pa to 1 Pa, a speed of 1e-15 m³/s or more, uncertainties from 0 to 2 (200 %); an error
/// otherwise. Chance errors of the two readings are taken on the
/// logarithm of their ratio, errors of scale and speed as factors on the load; on the logarithm they
/// add in quadrature, about the best value (the usual propagation of errors, as in the Guide to the
/// Expression of Uncertainty in Measurement, JCGM 100:2008, from memory). Where the ratio's interval reaches zero no loss is
/// shown and the lower end is zero. The tests measure how often the interval holds the truth.
pub fn extra_load(
    healthy: Pressure,
    faulty: Pressure,
    speed: Speed,
    uncertainty: Uncertainty,
) -> Result<ExtraLoad, GasLoadError> {
    for (what, value) in [
        ("the healthy pressure", healthy.pascals()),
        ("the faulty pressure", faulty.pascals()),
        ("the pumping speed", speed.cubic_metres_per_second()),
    ] {
        if value < LOWEST {
            return Err(GasLoadError::Zero { what });
        }
    }
    for (what, given) in [
        ("the uncertainty of the gauge's scale", uncertainty.scale),
        ("the uncertainty of a single reading", uncertainty.repeat),
        ("the uncertainty of the pumping speed", uncertainty.speed),
    ] {
        if !(0.0..=2.0).contains(&given) {
            return Err(GasLoadError::Uncertainty { what, given });
        }
    }
    let healthy_load = gas_load(healthy, speed)?;
    gas_load(faulty, speed)?;
    let base = healthy_load.pascal_cubic_metres_per_second();
    let times = faulty.pascals() / healthy.pascals();
    let half_width = 2_f64.sqrt() * uncertainty.repeat.ln_1p();
    let (ratio, ratio_low, ratio_high) = (
        times - 1.0,
        times * (-half_width).exp() - 1.0,
        times * half_width.exp() - 1.0,
    );
    let extra = base * ratio.max(0.0);
    let common = uncertainty.scale.ln_1p().hypot(uncertainty.speed.ln_1p());
    // The healthy reading's own chance error is in the base as well as in the ratio, so the ends
    // are taken for the difference of the two readings.
    let chance = uncertainty.repeat * healthy.pascals().hypot(faulty.pascals())
        / (faulty.pascals() - healthy.pascals());
    let (low, high) = if ratio_low > 0.0 {
        let below = if chance < 1.0 {
            common.hypot((1.0 - chance).ln())
        } else {
            f64::INFINITY
        };
        let above = common.hypot(chance.ln_1p());
        (extra * (-below).exp(), extra * above.exp())
    } else {
        (0.0, base * ratio_high.max(0.0) * common.exp())
    };
    let load = Throughput::from_pascal_cubic_metres_per_second;
    Ok(ExtraLoad {
        healthy: healthy_load,
        extra: load(extra)?,
        low: load(low)?,
        high: load(high)?,
        ratio,
        ratio_low,
        ratio_high,
        speed_share_instead: (1.0 / times).min(1.0),
    })
}
