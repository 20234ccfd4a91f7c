//! Every formula outside each limit of its range, at it and inside: an error outside, a finite number
//! inside; and none left out.
//!
//! A formula is any public function of [`crate::vacuum`] that takes or gives a quantity or a number. The
//! last test reads them off the source, so that a new one has to be given its limits here, or a reason
//! why it has none, before the tests pass.

use std::fmt::Debug;
use std::path::Path;

use proptest::prelude::*;

use super::conductance::{
    Behind, Chain, Part, Shape, aperture, effective_speed, elbow_transmission, knudsen_number,
    long_tube, parallel, series, short_or_long_tube, transmission,
};
use super::gas::Gas;
use super::gas_load::{Uncertainty, base_pressure, extra_load, foreline_share, gas_load};
use super::gauge::{self, GaugeKind, Reading, Situation, correction};
use super::leak::{Across, HeliumTest, convert, equivalent_diameter, flow_through_orifice};
use super::log::TidyRecord;
use super::pump_down::time_to_pump;
use super::units::{
    FlowTemperatures, Length, LengthUnit, Pressure, PressureUnit, Seconds, Speed, SpeedUnit,
    Temperature, TemperatureUnit, Throughput, ThroughputUnit, TimeUnit, Unit, Volume, VolumeUnit,
};
use super::{pump_down, residual_gas, rise};

/// A number, or why there is none.
type Figure = Result<f64, String>;

fn late_phase(record: &TidyRecord) -> Result<pump_down::LatePhase, String> {
    pump_down::late_phase(record, &pump_down::Course::of(record)).map_err(|_| none())
}

/// A formula as a function of plain SI numbers.
struct Formula {
    /// The file in `src/vacuum` and the function.
    name: &'static str,
    compute: fn(&[f64]) -> Figure,
    /// Numbers well inside all limits.
    typical: &'static [f64],
    /// Lowest and highest of each number with the others typical.
    limits: &'static [Limits],
}

/// Where a range ends: numbers outside and inside of each end.
#[derive(Clone, Copy)]
struct Limits {
    low_out: f64,
    low_in: f64,
    high_in: f64,
    high_out: f64,
}

/// Between these numbers.
const fn near(low_out: f64, low_in: f64, high_in: f64, high_out: f64) -> Limits {
    Limits {
        low_out,
        low_in,
        high_in,
        high_out,
    }
}

const JUST: f64 = 1e-9;

/// From `low` to `high`, both in the range.
const fn from(low: f64, high: f64) -> Limits {
    let least = if low == 0.0 {
        -1e-300
    } else {
        low * (1.0 - JUST)
    };
    near(least, low, high, high * (1.0 + JUST))
}

/// Above `low`, which is out, up to `high`.
const fn above(low: f64, high: f64) -> Limits {
    let least = if low == 0.0 {
        1e-12
    } else {
        low * (1.0 + JUST)
    };
    near(low, least, high, high * (1.0 + JUST))
}

/// From `low` to below `high`, which is out.
const fn below(low: f64, high: f64) -> Limits {
    Limits {
        high_in: high * (1.0 - JUST),
        high_out: high,
        ..from(low, high)
    }
}

/// The most of any quantity.
const MOST: f64 = 1e30;
/// 250 K to 400 K, in which viscosities are known.
const WARM: Limits = from(250.0, 400.0);
/// 24 K to 2000 K, in which air is a gas.
const GASEOUS: Limits = from(24.0, 2000.0);
/// Time constants of a millionth to a billion of seconds, at 10 L/s and for 100 L.
const HELIUM_VOLUMES: Limits = near(0.99e-8, 1.01e-8, 0.99e7, 1.01e7);
const HELIUM_SPEEDS: Limits = near(0.99e-10, 1.01e-10, 0.99e5, 1.01e5);
const DIAMETERS: Limits = from(1e-6, 100.0);
/// Up to 1000 radii, for a tube of 30 cm and for one of 10 cm in diameter.
const TUBE_DIAMETERS: Limits = near(5.99e-4, 6.01e-4, 100.0, 100.001);
const TUBE_LENGTHS: Limits = near(0.99e-30, 1e-30, 49.9, 50.1);
/// From a billionth to all of the 0.9089 m³/s that an opening of 10 cm passes at 20 °C, and the opening
/// that passes just 0.01 m³/s.
const THROUGH_TEN_CENTIMETRES: Limits = near(9.08e-10, 9.10e-10, 0.9089, 0.9090);
const OPENINGS_OF_TEN_LITRES: Limits = near(0.010_48, 0.010_49, 100.0, 100.001);

fn text(error: impl Debug) -> String {
    format!("{error:?}")
}

fn length(metres: f64) -> Result<Length, String> {
    Length::from_metres(metres).map_err(text)
}

fn pressure(pascals: f64) -> Result<Pressure, String> {
    Pressure::from_pascals(pascals).map_err(text)
}

fn speed(cubic_metres_per_second: f64) -> Result<Speed, String> {
    Speed::from_cubic_metres_per_second(cubic_metres_per_second).map_err(text)
}

fn kelvin(kelvin: f64) -> Result<Temperature, String> {
    Temperature::from_kelvin(kelvin).map_err(text)
}

fn rate(rate: f64) -> Result<Throughput, String> {
    Throughput::from_pascal_cubic_metres_per_second(rate).map_err(text)
}

fn none() -> String {
    "none".to_owned()
}

fn one_part(diameter: f64, shape: Shape) -> Result<Part, String> {
    Ok(Part {
        diameter: length(diameter)?,
        shape,
    })
}

fn one_tube(diameter: f64, long: f64) -> Result<Part, String> {
    let length = length(long)?;
    one_part(diameter, Shape::Tube { length })
}

fn one_valve(diameter: f64, conductance: f64) -> Result<Part, String> {
    let conductance = speed(conductance)?;
    one_part(diameter, Shape::Stated { conductance })
}

fn chain(diameter: f64, long: f64) -> Result<Chain, String> {
    Chain::new(vec![one_tube(diameter, long)?]).map_err(text)
}

fn uncertain(scale: f64, repeat: f64, speed: f64) -> Uncertainty {
    Uncertainty {
        scale,
        repeat,
        speed,
    }
}

fn helium_test(n: &[f64]) -> Result<HeliumTest, String> {
    let volume = Volume::from_cubic_metres(n[0]).map_err(text)?;
    HeliumTest::new(volume, speed(n[1])?, n[2]).map_err(text)
}

fn across(upstream: f64, downstream: f64) -> Result<Across, String> {
    Across::new(pressure(upstream)?, pressure(downstream)?).map_err(text)
}

/// A straight rise by a factor of 30 with 40 readings, over so many seconds, from so many Pa.
fn rising(seconds: f64, start: f64) -> TidyRecord {
    let share = |index: u32| f64::from(index) / 39.0;
    TidyRecord {
        seconds: (0..40).map(|index| seconds * share(index)).collect(),
        pascals: (0..40)
            .map(|index| start * (1.0 + 29.0 * share(index)))
            .collect(),
        lines: (0..40).collect(),
        ..TidyRecord::default()
    }
}

/// A pump-down from atmosphere to a floor of so many Pa, with its time in units of so many seconds.
fn falling(second: f64, floor: f64) -> TidyRecord {
    let mut record = TidyRecord::default();
    for index in 0..2000_u32 {
        let time = 10.0 * f64::from(index);
        let walls = 0.03 / (time / 3600.0).max(0.02);
        record.seconds.push(second * time);
        record
            .pascals
            .push(1e5 * (-0.03 * time).exp() + walls * floor / 1e-3 + floor);
        record.lines.push(index);
    }
    record
}

/// The formulas. Limits that hang on another number are those beside its typical value.
const FORMULAS: &[Formula] = &[
    Formula {
        name: "gas.rs viscosity",
        compute: |n| Gas::Argon.viscosity(kelvin(n[0])?).ok_or_else(none),
        typical: &[293.15],
        limits: &[WARM],
    },
    Formula {
        name: "gas.rs vapour_pressure",
        compute: |n| {
            let saturated = Gas::Water.vapour_pressure(kelvin(n[0])?);
            saturated.map(Pressure::pascals).ok_or_else(none)
        },
        typical: &[293.15],
        limits: &[WARM],
    },
    Formula {
        name: "gas.rs mean_speed",
        compute: |n| Gas::Air.mean_speed(kelvin(n[0])?).ok_or_else(none),
        typical: &[293.15],
        limits: &[GASEOUS],
    },
    Formula {
        name: "gas.rs mean_free_path",
        compute: |n| {
            let path = Gas::Air.mean_free_path(kelvin(n[0])?, pressure(n[1])?);
            path.ok_or_else(none)
        },
        typical: &[293.15, 1.0],
        limits: &[WARM, from(1e-30, 1e6)],
    },
    Formula {
        name: "conductance/transmission.rs transmission",
        compute: |n| transmission(n[0]).map_err(text),
        typical: &[3.0],
        limits: &[from(0.0, 1000.0)],
    },
    Formula {
        name: "conductance/elbow.rs elbow_transmission",
        compute: |n| elbow_transmission(n[0], n[1]).map_err(text),
        typical: &[3.6, 90.0],
        // 2·tan(45°) to 1000; a turn that leaves 1.8 radii a leg is at most 120°.
        limits: &[from(2.0, 1000.0), above(0.0, 120.0)],
    },
    Formula {
        name: "conductance/molecular.rs aperture",
        compute: |n| {
            let passes = aperture(length(n[0])?, Gas::Air, kelvin(n[1])?).map_err(text)?;
            Ok(passes.cubic_metres_per_second())
        },
        typical: &[0.1, 293.15],
        limits: &[DIAMETERS, GASEOUS],
    },
    Formula {
        name: "conductance/molecular.rs short_or_long_tube",
        compute: |n| {
            let (diameter, long) = (length(n[0])?, length(n[1])?);
            let passes = short_or_long_tube(diameter, long, Gas::Air, kelvin(n[2])?);
            Ok(passes.map_err(text)?.cubic_metres_per_second())
        },
        typical: &[0.1, 0.3, 293.15],
        limits: &[TUBE_DIAMETERS, TUBE_LENGTHS, GASEOUS],
    },
    Formula {
        name: "conductance/molecular.rs long_tube",
        compute: |n| {
            let passes = long_tube(length(n[0])?, length(n[1])?, Gas::Air, kelvin(n[2])?);
            Ok(passes.map_err(text)?.cubic_metres_per_second())
        },
        typical: &[0.1, 4.0, 293.15],
        limits: &[
            near(3.99e-5, 4.01e-5, 0.199, 0.201),
            near(1.99, 2.01, 9.99e3, 1.001e4),
            GASEOUS,
        ],
    },
    Formula {
        name: "conductance/regime.rs knudsen_number",
        compute: |n| {
            let (diameter, at) = (length(n[0])?, kelvin(n[2])?);
            knudsen_number(diameter, pressure(n[1])?, Gas::Air, at).map_err(text)
        },
        typical: &[0.1, 1.0, 293.15],
        limits: &[DIAMETERS, from(1e-30, 1e6), WARM],
    },
    Formula {
        name: "conductance/chain.rs Part::transmission",
        compute: |n| {
            let part = one_valve(n[0], n[1])?;
            part.transmission(Gas::Air, kelvin(n[2])?).map_err(text)
        },
        typical: &[0.1, 0.01, 293.15],
        limits: &[OPENINGS_OF_TEN_LITRES, THROUGH_TEN_CENTIMETRES, GASEOUS],
    },
    Formula {
        name: "conductance/chain.rs Part::conductance",
        compute: |n| {
            let part = one_tube(n[0], n[1])?;
            let passes = part.conductance(Gas::Air, kelvin(n[2])?).map_err(text)?;
            Ok(passes.cubic_metres_per_second())
        },
        typical: &[0.1, 0.3, 293.15],
        limits: &[TUBE_DIAMETERS, TUBE_LENGTHS, GASEOUS],
    },
    Formula {
        name: "conductance/chain.rs Chain::conductance",
        compute: |n| {
            let passes = chain(n[0], n[1])?.conductance(Gas::Air, kelvin(n[2])?);
            Ok(passes.map_err(text)?.cubic_metres_per_second())
        },
        typical: &[0.1, 0.3, 293.15],
        limits: &[TUBE_DIAMETERS, TUBE_LENGTHS, GASEOUS],
    },
    Formula {
        name: "conductance/chain.rs Chain::conductance_by_plain_rule",
        compute: |n| {
            let passes = chain(n[0], n[1])?.conductance_by_plain_rule(Gas::Air, kelvin(n[2])?);
            Ok(passes.map_err(text)?.cubic_metres_per_second())
        },
        typical: &[0.1, 0.3, 293.15],
        limits: &[TUBE_DIAMETERS, TUBE_LENGTHS, GASEOUS],
    },
    Formula {
        name: "conductance/chain.rs Chain::speed_at_chamber",
        compute: |n| {
            let (pump, inlet) = (speed(n[0])?, length(n[1])?);
            let left = chain(0.1, 0.3)?.speed_at_chamber(pump, inlet, Gas::Air, kelvin(n[2])?);
            Ok(left.map_err(text)?.cubic_metres_per_second())
        },
        typical: &[0.01, 0.1, 293.15],
        limits: &[THROUGH_TEN_CENTIMETRES, OPENINGS_OF_TEN_LITRES, GASEOUS],
    },
    Formula {
        name: "conductance/chain.rs series",
        compute: |n| {
            let all = series(&[speed(n[0])?, speed(n[1])?]).map_err(text)?;
            Ok(all.cubic_metres_per_second())
        },
        typical: &[1.0, 1.0],
        limits: &[from(1e-24, MOST), from(1e-24, MOST)],
    },
    Formula {
        name: "conductance/chain.rs parallel",
        compute: |n| {
            let all = parallel(&[speed(n[0])?, speed(n[1])?]).map_err(text)?;
            Ok(all.cubic_metres_per_second())
        },
        typical: &[1.0, 1.0],
        limits: &[from(0.0, MOST), from(0.0, MOST)],
    },
    Formula {
        name: "conductance/chain.rs effective_speed",
        compute: |n| {
            let left = effective_speed(speed(n[0])?, speed(n[1])?).map_err(text)?;
            Ok(left.cubic_metres_per_second())
        },
        typical: &[1.0, 1.0],
        limits: &[from(1e-24, MOST), from(1e-24, MOST)],
    },
    Formula {
        name: "conductance/between.rs flow_between",
        compute: |n| {
            let (inlet, behind) = (pressure(n[0])?, Behind::Pressure(pressure(n[1])?));
            let flow = chain(0.1, 0.3)?.flow_between(inlet, behind, Gas::Air, kelvin(n[2])?);
            let flow = flow.map_err(text)?;
            let parts = flow
                .parts
                .iter()
                .map(|part| part.knudsen * part.outlet.pascals());
            Ok(flow.conductance.cubic_metres_per_second() * (1.0 + parts.sum::<f64>()))
        },
        // Below the pressure above which no gas is dilute, this tube's would leave too fast.
        typical: &[1e-3, 1e-5, 293.15],
        limits: &[near(1e-5, 1.001e-5, 0.1, 2e6), below(0.0, 1e-3), WARM],
    },
    Formula {
        name: "gas_load/extra.rs gas_load",
        compute: |n| {
            let load = gas_load(pressure(n[0])?, speed(n[1])?).map_err(text)?;
            Ok(load.pascal_cubic_metres_per_second())
        },
        typical: &[1e-5, 1.0],
        limits: &[from(0.0, 1.0), from(0.0, MOST)],
    },
    Formula {
        name: "gas_load/extra.rs base_pressure",
        compute: |n| {
            let base = base_pressure(rate(n[0])?, speed(n[1])?).map_err(text)?;
            Ok(base.pascals())
        },
        typical: &[1e-5, 1.0],
        limits: &[from(0.0, 1.0), from(1e-5, MOST)],
    },
    Formula {
        name: "gas_load/extra.rs extra_load",
        compute: |n| {
            let (healthy, faulty) = (pressure(n[0])?, pressure(n[1])?);
            let uncertain = uncertain(n[3], n[4], n[5]);
            let load = extra_load(healthy, faulty, speed(n[2])?, uncertain).map_err(text)?;
            let rates = [load.healthy, load.extra, load.low, load.high];
            let rates = rates.map(Throughput::pascal_cubic_metres_per_second);
            let ratios = load.ratio + load.ratio_low + load.ratio_high;
            Ok(rates.iter().sum::<f64>() + ratios + load.speed_share_instead)
        },
        typical: &[1e-5, 1e-4, 1.0, 0.3, 0.1, 0.2],
        limits: &[
            from(1e-15, 1.0),
            from(1e-15, 1.0),
            from(1e-15, MOST),
            from(0.0, 2.0),
            from(0.0, 2.0),
            from(0.0, 2.0),
        ],
    },
    Formula {
        name: "gas_load/turbo.rs foreline_share",
        compute: |n| {
            let share = foreline_share(pressure(n[0])?, pressure(n[1])?, n[2]).map_err(text)?;
            Ok(share.behind.pascals() + share.share + share.compression_needed)
        },
        typical: &[1.0, 1e-6, 1e6],
        limits: &[from(0.0, 1e4), from(1e-15, 1.0), above(1.0, 1e20)],
    },
    Formula {
        name: "gauge/correction.rs correction",
        compute: |n| {
            let ion = correction(GaugeKind::ColdCathode, pressure(n[0])?, Gas::Argon);
            let thermal = correction(GaugeKind::Pirani, pressure(n[1])?, Gas::Argon);
            let force = correction(GaugeKind::Capacitance, pressure(n[2])?, Gas::Argon);
            let factor = |one: Result<gauge::Correction, _>| one.map(|one| one.true_over_reading);
            Ok(factor(ion).map_err(text)?
                + factor(thermal).map_err(text)?
                + factor(force).map_err(text)?)
        },
        typical: &[1e-4, 1.0, 1.0],
        limits: &[from(1e-7, 1.0), from(0.05, 100.0), from(0.02, 1.2e5)],
    },
    Formula {
        name: "gauge/correction.rs apply",
        compute: |n| {
            let reading = pressure(n[0])?;
            let factor = correction(GaugeKind::Pirani, reading, Gas::Argon).map_err(text)?;
            Ok(factor.apply(reading).map_err(text)?.pascals())
        },
        typical: &[1.0],
        limits: &[from(0.05, 100.0)],
    },
    Formula {
        name: "gauge/judgement.rs judge",
        compute: |n| {
            let reading = |pascals| {
                Ok::<_, String>(Reading {
                    kind: GaugeKind::CombinationColdCathode,
                    pressure: pressure(pascals)?,
                    below_zero: None,
                    lit: None,
                    moves: None,
                })
            };
            let judgement = gauge::judge(&Situation {
                readings: vec![reading(n[0])?, reading(n[1])?],
                gas: Some(Gas::Argon),
                surely_high_vacuum: None,
                unit: PressureUnit::Torr,
            });
            let judgement = judgement.map_err(text)?;
            Ok(judgement.disagreement.unwrap_or(1.0)
                + judgement.disagreement_corrected.unwrap_or(1.0))
        },
        typical: &[1e-4, 1e-4],
        limits: &[above(0.0, MOST), above(0.0, MOST)],
    },
    Formula {
        name: "leak/across.rs new",
        compute: |n| across(n[0], n[1]).map(|across| across.upstream().pascals()),
        typical: &[1e5, 10.0],
        limits: &[above(10.0, 1e6), below(0.0, 1e5)],
    },
    Formula {
        name: "leak/across.rs molecular_ratio",
        compute: |n| Ok(across(n[0], n[1])?.molecular_ratio(across(n[2], n[3])?)),
        typical: &[1e5, 10.0, 2e5, 1.0],
        limits: &[
            above(10.0, 1e6),
            below(0.0, 1e5),
            above(1.0, 1e6),
            below(0.0, 2e5),
        ],
    },
    Formula {
        name: "leak/across.rs viscous_ratio",
        compute: |n| Ok(across(n[0], n[1])?.viscous_ratio(across(n[2], n[3])?)),
        typical: &[1e5, 10.0, 2e5, 1.0],
        limits: &[
            above(10.0, 1e6),
            below(0.0, 1e5),
            above(1.0, 1e6),
            below(0.0, 2e5),
        ],
    },
    Formula {
        name: "leak/conversion.rs convert",
        compute: |n| {
            let (from, to) = (Gas::Helium, Gas::Air);
            let other = convert(rate(n[0])?, from, to, n[1], kelvin(n[2])?).map_err(text)?;
            Ok(other.low.pascal_cubic_metres_per_second()
                + other.high.pascal_cubic_metres_per_second())
        },
        typical: &[1e-6, 1.0, 293.15],
        limits: &[from(1e-20, 1e3), from(1e-6, 1.0), WARM],
    },
    Formula {
        name: "leak/conversion.rs across",
        compute: |n| {
            let (from, to) = (Gas::Helium, Gas::Air);
            let other = convert(rate(1e-6)?, from, to, 1.0, kelvin(293.15)?).map_err(text)?;
            let other = other.across(across(n[0], n[1])?, across(n[2], n[3])?);
            Ok(other.map_err(text)?.high.pascal_cubic_metres_per_second())
        },
        typical: &[1e5, 10.0, 2e5, 1.0],
        limits: &[
            above(10.0, 1e6),
            below(0.0, 1e5),
            above(1.0, 1e6),
            below(0.0, 2e5),
        ],
    },
    Formula {
        name: "leak/helium_test.rs new",
        compute: |n| helium_test(n).map(|_| 1.0),
        typical: &[0.1, 0.01, 1.0],
        limits: &[HELIUM_VOLUMES, HELIUM_SPEEDS, from(1e-6, 1.0)],
    },
    Formula {
        name: "leak/helium_test.rs time_constant",
        compute: |n| Ok(helium_test(n)?.time_constant().map_err(text)?.seconds()),
        typical: &[0.1, 0.01, 1.0],
        limits: &[HELIUM_VOLUMES, HELIUM_SPEEDS, from(1e-6, 1.0)],
    },
    Formula {
        name: "leak/helium_test.rs response",
        compute: |n| {
            let spray = Seconds::from_seconds(n[3]).map_err(text)?;
            helium_test(n)?.response(spray).map_err(text)
        },
        typical: &[0.1, 0.01, 1.0, 5.0],
        limits: &[
            HELIUM_VOLUMES,
            HELIUM_SPEEDS,
            from(1e-6, 1.0),
            from(0.0, MOST),
        ],
    },
    Formula {
        name: "leak/helium_test.rs smallest_leak",
        compute: |n| {
            let (change, spray) = (pressure(n[3])?, Seconds::from_seconds(n[4]).map_err(text)?);
            let least = helium_test(n)?.smallest_leak(change, spray).map_err(text)?;
            Ok(least.pascal_cubic_metres_per_second())
        },
        typical: &[0.1, 0.01, 1.0, 1e-8, 5.0],
        limits: &[
            near(0.99e-8, 1.01e-8, 4.9e4, 5.1e4),
            near(1.9e-8, 2.1e-8, 0.99e5, 1.01e5),
            from(1e-6, 1.0),
            near(3.9e-19, 4e-19, MOST, 2e30),
            near(0.99e-5, 1.01e-5, MOST, 2e30),
        ],
    },
    Formula {
        name: "leak/orifice.rs flow_through_orifice",
        compute: |n| {
            let (diameter, upstream) = (length(n[0])?, pressure(n[1])?);
            let flow = flow_through_orifice(diameter, upstream, Gas::Air, kelvin(n[2])?);
            Ok(flow.map_err(text)?.pascal_cubic_metres_per_second())
        },
        // Ten mean free paths are 0.667 µm at 1e5 Pa, and 1 mm at 66.7 Pa.
        typical: &[1e-3, 1e5, 293.15],
        limits: &[
            near(6.6e-7, 6.7e-7, 1.0, 1.001),
            near(66.5, 66.7, 1e6, 1.001e6),
            WARM,
        ],
    },
    Formula {
        name: "leak/orifice.rs equivalent_diameter",
        compute: |n| {
            let (leak, upstream) = (rate(n[0])?, pressure(n[1])?);
            let hole = equivalent_diameter(leak, upstream, Gas::Air, kelvin(n[2])?);
            Ok(hole.map_err(text)?.metres())
        },
        // From ten mean free paths to 1 m wide: π/4·d²·p·198.6 m/s.
        typical: &[1e-2, 1e5, 293.15],
        limits: &[
            near(6.8e-6, 7.0e-6, 1.55e7, 1.57e7),
            near(68.5, 69.8, 1e6, 1.001e6),
            WARM,
        ],
    },
    Formula {
        name: "pump_down/volume.rs time_to_pump",
        compute: |n| {
            let volume = Volume::from_cubic_metres(n[0]).map_err(text)?;
            let (from, to, lowest) = (pressure(n[2])?, pressure(n[3])?, pressure(n[4])?);
            let time = time_to_pump(volume, speed(n[1])?, from, to, lowest);
            Ok(time.map_err(text)?.seconds())
        },
        typical: &[0.5, 0.01, 1e5, 100.0, 1.0],
        limits: &[
            near(0.99e-30, 1e-30, 1e27, 1e28),
            from(1e-15, MOST),
            above(100.0, 2e5),
            below(10.0, 1e5),
            below(0.0, 100.0),
        ],
    },
    Formula {
        name: "rise/weigh.rs weigh",
        compute: |n| {
            let record = rising(n[0], n[1]);
            let weighed = rise::weigh(&record.seconds, &record.pascals).ok_or_else(none)?;
            let sizes = [
                weighed.straight,
                weighed.slowing,
                weighed.rise,
                weighed.share,
            ];
            let sizes = sizes.map(|one| (one.best + one.low + one.high) / (1.0 + one.high));
            Ok(sizes.iter().sum())
        },
        typical: &[600.0, 1e-3],
        limits: &[from(1e-6, MOST), near(0.99e-30, 1e-30, 3.3e28, 3.4e28)],
    },
    Formula {
        name: "rise/weigh.rs pascals_at",
        compute: |n| {
            let record = rising(600.0, 1e-3);
            let weighed = rise::weigh(&record.seconds, &record.pascals).ok_or_else(none)?;
            weighed.shapes[0].pascals_at(n[0]).ok_or_else(none)
        },
        typical: &[100.0],
        limits: &[from(0.0, 600.0)],
    },
    Formula {
        name: "rise/examine.rs examine",
        compute: |n| {
            let test = rise::examine(&rising(n[0], n[1]), false);
            match test.doubts.first() {
                Some(doubt) => Err(doubt.to_string()),
                None => Ok(test.weighed.ok_or_else(none)?.straight.best),
            }
        },
        typical: &[600.0, 1e-3],
        limits: &[from(60.0, MOST), near(0.99e-30, 1e-30, 660.0, 662.0)],
    },
    Formula {
        name: "pump_down/volume.rs volume_phase",
        compute: |n| {
            let phase = pump_down::volume_phase(&falling(n[0], n[1])).ok_or_else(none)?;
            Ok(phase.speed_over_volume.best)
        },
        typical: &[1.0, 1e-4],
        limits: &[near(0.0, 0.1, 1e20, 1e26), near(0.0, 1e-8, 1.0, 1e31)],
    },
    Formula {
        name: "pump_down/late.rs late_phase",
        compute: |n| {
            let phase = late_phase(&falling(n[0], n[1]))?;
            Ok(phase.exponent.best + phase.floor.best)
        },
        typical: &[1.0, 1e-4],
        limits: &[near(0.0, 0.1, 1e20, 1e26), near(0.0, 1e-8, 0.02, 1.0)],
    },
    Formula {
        name: "pump_down/late.rs pascals_at",
        compute: |n| {
            let phase = late_phase(&falling(1.0, 1e-4))?;
            phase.pascals_at(n[0]).ok_or_else(none)
        },
        typical: &[10_000.0],
        limits: &[near(0.0, 1_500.0, 19_989.0, 19_991.0)],
    },
];

/// Public functions with numbers in them that are no formula with a range, and why.
const NO_FORMULAS: &[(&str, &str)] = &[
    ("gas.rs molar_mass", "a constant of the gas"),
    ("gas.rs heat_capacity_ratio", "a constant of the gas"),
    ("gas.rs temperatures", "the range of the formulas below"),
    (
        "conductance/chain.rs new",
        "puts parts together; refuses none",
    ),
    (
        "conductance/chain.rs of_stages",
        "puts stages together; refuses none",
    ),
    ("gas_load/extra.rs of", "a band of any throughput"),
    ("gas_load/turbo.rs of", "a name for any pressures"),
    (
        "gas_load/turbo.rs typical_compression",
        "a constant of the gas",
    ),
    ("gauge/kind.rs range", "a constant of the kind"),
    ("gauge/kind.rs rests_up_to", "a constant of the kind"),
    (
        "gauge/kind.rs principle",
        "a name for any number, which gives no number",
    ),
    ("leak/across.rs upstream", "gives back what was put in"),
    ("leak/conversion.rs of", "a band of any throughput"),
    (
        "log/tidy.rs tidy",
        "puts readings in order; in the tests of the log",
    ),
    (
        "log/read.rs finish",
        "reads text; fuzzed, and in the tests of the log",
    ),
    (
        "log/read.rs read_log",
        "reads text; fuzzed, and in the tests of the log",
    ),
    (
        "pump_down/compare.rs compare",
        "leaves out what is no record; see the test below",
    ),
    (
        "residual_gas/decompose.rs decompose",
        "of a spectrum that was read; see the test below",
    ),
    (
        "pump_down/course.rs of",
        "what of a record stands against a fall; see the test below",
    ),
    (
        "pump_down/mod.rs pumping_begins",
        "a place in a record, which gives no number",
    ),
    (
        "residual_gas/judge.rs judge",
        "of a spectrum that was read; see the test below",
    ),
    (
        "residual_gas/judge.rs light_gas",
        "of spectra that were read; see the test below",
    ),
    (
        "residual_gas/nnls.rs non_negative_least_squares",
        "of any finite numbers; see the test below",
    ),
    (
        "residual_gas/patterns.rs parse",
        "reads text; in the tests of the patterns",
    ),
    (
        "residual_gas/spectrum.rs read",
        "reads text; in the tests of the spectrum",
    ),
    ("residual_gas/spectrum.rs at", "gives back what was read"),
    (
        "residual_gas/spectrum.rs currents",
        "gives back what was read",
    ),
    ("residual_gas/spectrum.rs floor", "gives back what was read"),
    ("residual_gas/spectrum.rs unit", "gives back what was read"),
    (
        "residual_gas/spectrum.rs stands_from",
        "a limit of what was read",
    ),
    (
        "residual_gas/spectrum.rs least_error",
        "an error of what was read",
    ),
    (
        "residual_gas/spectrum.rs highest",
        "gives back what was read",
    ),
    (
        "rise/weigh.rs scaled",
        "multiplies by a number the caller made",
    ),
    (
        "units/pressure.rs from_pascals",
        "a quantity; see the test below",
    ),
    ("units/pressure.rs pascals", "gives back what was put in"),
    ("units/pressure.rs in_unit", "divides by a constant"),
    (
        "units/pressure.rs pascals_per_unit",
        "a constant of the unit",
    ),
    (
        "units/pressure.rs pressure",
        "a quantity; see the test below",
    ),
    ("units/quantity.rs $from", "a quantity; see the test below"),
    ("units/quantity.rs $get", "gives back what was put in"),
    (
        "units/quantity.rs from_celsius",
        "a quantity; see the test below",
    ),
    ("units/quantity.rs celsius", "subtracts a constant"),
    (
        "units/reading.rs read_number",
        "gives the number as written; what it stands for has its own limits",
    ),
    (
        "units/reading.rs read_pressure",
        "reads text; fuzzed, and in the tests of the units",
    ),
    ("units/reading.rs read_signed_pressure", "the same"),
    (
        "units/throughput.rs pascal_cubic_metres_per_unit",
        "of any temperatures; see the test below",
    ),
    (
        "units/throughput.rs from_unit",
        "a quantity; see the test below",
    ),
    (
        "units/throughput.rs in_unit",
        "divides by a factor above zero; see the test below",
    ),
    (
        "units/throughput.rs throughput",
        "a quantity; see the test below",
    ),
    ("units/typed.rs new", "puts a number and its unit together"),
    ("units/typed.rs quantity", "a quantity; see the test below"),
    ("units/typed.rs to_figures", "writes a number"),
];

/// Numbers that are in no range.
const NOWHERE: [f64; 6] = [
    f64::NAN,
    f64::INFINITY,
    f64::NEG_INFINITY,
    1e300,
    -1e-300,
    -1.0,
];

#[test]
fn each_formula_is_an_error_outside_each_limit_and_a_number_inside() {
    for formula in FORMULAS {
        let Formula {
            name,
            compute,
            typical,
            limits,
        } = formula;
        assert_eq!(typical.len(), limits.len(), "{name}");
        let with = |place: usize, number: f64| {
            let mut numbers = typical.to_vec();
            numbers[place] = number;
            compute(&numbers)
        };
        for (place, limit) in limits.iter().enumerate() {
            for inside in [limit.low_in, typical[place], limit.high_in] {
                let figure = with(place, inside);
                assert!(
                    figure.as_ref().is_ok_and(|figure| figure.is_finite()),
                    "{name}, number {place} at {inside:e}: {figure:?}"
                );
            }
            for outside in [limit.low_out, limit.high_out].into_iter().chain(NOWHERE) {
                let figure = with(place, outside);
                assert!(
                    figure.is_err(),
                    "{name}, number {place} at {outside:e}: {figure:?}"
                );
            }
        }
    }
}

/// Numbers of every size and sign, with those that are none.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => (-320.0..308.0_f64).prop_map(|power| 10_f64.powf(power)),
        6 => (-12.0..6.0_f64).prop_map(|power| 10_f64.powf(power)),
        1 => (-320.0..308.0_f64).prop_map(|power| -10_f64.powf(power)),
        1 => prop::sample::select(NOWHERE.to_vec()),
        1 => Just(0.0),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    #[test]
    fn no_formula_gives_a_number_that_is_none(
        numbers in prop::collection::vec((any_number(), any::<bool>()), 6),
    ) {
        for formula in FORMULAS {
            let drawn: Vec<f64> = formula
                .typical
                .iter()
                .zip(&numbers)
                .map(|(typical, (number, whether))| if *whether { *number } else { *typical })
                .collect();
            if let Ok(figure) = (formula.compute)(&drawn) {
                prop_assert!(figure.is_finite(), "{} of {drawn:?}: {figure}", formula.name);
            }
        }
    }

    #[test]
    fn quantities_are_finite_and_read_back_finite(number in any_number(), hot in any_number(), cold in any_number()) {
        fn held<U: Unit>(units: &[U], number: f64, get: fn(U::Quantity) -> f64) {
            for unit in units {
                if let Ok(quantity) = unit.quantity(number) {
                    let si = get(quantity);
                    assert!((0.0..=MOST).contains(&si), "{number} {unit}: {si}");
                }
            }
        }
        held(&PressureUnit::ALL, number, Pressure::pascals);
        held(&VolumeUnit::ALL, number, Volume::cubic_metres);
        held(&SpeedUnit::ALL, number, Speed::cubic_metres_per_second);
        held(&LengthUnit::ALL, number, Length::metres);
        held(&TemperatureUnit::ALL, number, Temperature::kelvin);
        held(&TimeUnit::ALL, number, Seconds::seconds);
        if let (Ok(reference), Ok(gas)) = (Temperature::from_kelvin(hot), Temperature::from_kelvin(cold)) {
            let at = FlowTemperatures { reference, gas };
            for unit in ThroughputUnit::ALL {
                prop_assert!(unit.pascal_cubic_metres_per_unit(at) > 0.0);
                if let Ok(throughput) = Throughput::from_unit(number, unit, at) {
                    prop_assert!(throughput.in_unit(unit, at).is_finite());
                }
            }
        }
    }

    /// What is no record or no spectrum is left out or refused, and nothing panics.
    #[test]
    fn records_and_spectra_of_any_numbers_never_panic(
        seconds in prop::collection::vec(any_number(), 0..60),
        pascals in prop::collection::vec(any_number(), 0..60),
    ) {
        let mut record = TidyRecord {
            lines: (0..seconds.len() as u32).collect(),
            seconds: seconds.clone(),
            pascals: pascals.clone(),
            ..TidyRecord::default()
        };
        for _ in 0..2 {
            let in_order = record.is_in_order();
            let test = rise::examine(&record, false);
            prop_assert!(in_order || test.readings == 0);
            prop_assert!(in_order || pump_down::volume_phase(&record).is_none());
            prop_assert!(in_order || late_phase(&record).is_err());
            let with_course = (&record, &pump_down::Course::of(&record));
            let comparison = pump_down::compare(with_course, with_course);
            prop_assert!(in_order || comparison.explanations.is_empty() && comparison.leaves.is_none());
            // The same put in order as far as it can be.
            record.seconds.retain(|time| time.abs() <= MOST);
            record.seconds.sort_by(f64::total_cmp);
            record.pascals.retain(|pressure| (1e-30..=MOST).contains(pressure));
            let count = record.seconds.len().min(record.pascals.len());
            record.seconds.truncate(count);
            record.pascals.truncate(count);
            record.lines.truncate(count);
        }
        let peaks: Vec<String> = pascals
            .iter()
            .enumerate()
            .map(|(mass, current)| format!("{}:{current:e}", mass + 1))
            .collect();
        if let Ok(spectrum) = residual_gas::Spectrum::read(&peaks.join(" ")) {
            let judged = residual_gas::judge(&spectrum, residual_gas::Circumstances::default());
            prop_assert!(judged.standing <= spectrum.currents().len());
            let _ = residual_gas::light_gas(Some(&spectrum), &spectrum);
            let shipped = include_str!(concat!(
                env!("CARGO_MANIFEST_DIR"),
                "/seed-data/cracking-patterns.toml"
            ));
            let patterns = residual_gas::Patterns::parse(shipped, "a test").expect("shipped patterns");
            if let Ok(decomposed) = residual_gas::decompose(&spectrum, &patterns, 1) {
                prop_assert!(decomposed.unexplained.is_finite());
                for part in decomposed.gases {
                    for amount in [part.current, part.share] {
                        prop_assert!(amount.low.is_finite() && amount.high.is_finite(), "{amount:?}");
                        prop_assert!(amount.low <= amount.value && amount.value <= amount.high);
                    }
                }
            }
        }
    }
}

/// The public functions of a file whose signature holds a number or a quantity.
fn with_numbers(source: &str) -> Vec<String> {
    const NUMBERS: [&str; 13] = [
        "f64",
        "Result<",
        "Interval",
        "Conductance",
        "Speed",
        "Throughput",
        "Pressure",
        "Length",
        "Seconds",
        "Volume",
        "Temperature",
        "TidyRecord",
        "Spectrum",
    ];
    let code = source
        .split("#[cfg(test)]\nmod tests {")
        .next()
        .unwrap_or("");
    code.split("pub fn ")
        .skip(1)
        .filter_map(|rest| {
            let (signature, _) = rest.split_once('{')?;
            let name = signature.split(['(', '<']).next()?;
            let numbers = NUMBERS.iter().any(|number| signature.contains(number));
            numbers.then(|| name.to_owned())
        })
        .collect()
}

fn sources(folder: &Path, found: &mut Vec<std::path::PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("the folder of the sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else {
            found.push(path);
        }
    }
}

#[test]
fn no_formula_is_left_out() {
    let folder = Path::new(file!()).parent().expect("this file's folder");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut found = Vec::new();
    sources(&folder, &mut found);
    let for_tests = [
        "tests.rs",
        "held_out.rs",
        "monte_carlo.rs",
        "reference.rs",
        "ranges.rs",
    ];
    let mut written: Vec<String> = Vec::new();
    for path in found {
        if for_tests.iter().any(|name| path.ends_with(name)) {
            continue;
        }
        let file = path.strip_prefix(&folder).expect("a file of the folder");
        let source = std::fs::read_to_string(&path).expect("a source");
        for name in with_numbers(&source) {
            written.push(format!("{} {name}", file.display()));
        }
    }
    assert!(written.len() > 60, "{written:?}");
    let mut known: Vec<String> = FORMULAS
        .iter()
        .map(|formula| formula.name)
        .chain(NO_FORMULAS.iter().map(|(name, _)| *name))
        .map(|name| {
            let (file, function) = name.split_once(' ').expect("a file and a function");
            let function = function.rsplit("::").next().expect("a function");
            format!("{file} {function}")
        })
        .collect();
    let mut missing = Vec::new();
    for name in written {
        match known.iter().position(|one| *one == name) {
            Some(place) => {
                known.swap_remove(place);
            }
            None => missing.push(name),
        }
    }
    assert!(
        missing.is_empty(),
        "give these their limits, or a reason: {missing:?}"
    );
    assert!(known.is_empty(), "these are no more: {known:?}");
    assert!(NO_FORMULAS.iter().all(|(_, why)| !why.is_empty()));
}

/// The comment before a function of a source: the lines that begin with three slashes.
fn doc_of(source: &str, function: &str) -> Vec<String> {
    let starts = [format!("pub fn {function}("), format!("pub fn {function}<")];
    let mut docs = Vec::new();
    let mut doc = String::new();
    for line in source.lines().map(str::trim) {
        if let Some(text) = line.strip_prefix("///") {
            doc.push_str(text);
        } else if !line.starts_with("#[") {
            let found = starts.iter().any(|start| line.starts_with(start.as_str()));
            let doc = std::mem::take(&mut doc);
            docs.extend(found.then_some(doc));
        }
    }
    docs
}

/// What is outside gives an error and not a number, which the tests above try; here, that the comment of
/// each formula says so, and where the formula is from.
#[test]
fn every_formula_says_its_range_and_its_source() {
    let folder = Path::new(file!()).parent().expect("this file's folder");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut silent = Vec::new();
    for formula in FORMULAS {
        let (file, function) = formula.name.split_once(' ').expect("a file and a function");
        let function = function.rsplit("::").next().expect("a function");
        let source = std::fs::read_to_string(folder.join(file)).expect("a source");
        let docs = doc_of(&source, function);
        assert!(!docs.is_empty(), "{}", formula.name);
        for doc in docs {
            let range = ["rror", "`None`", "Doubt", "range"]
                .iter()
                .any(|word| doc.contains(word));
            if !range || !doc.contains("ource") {
                silent.push(formula.name);
            }
        }
    }
    assert!(silent.is_empty(), "without a range or a source: {silent:?}");
}
