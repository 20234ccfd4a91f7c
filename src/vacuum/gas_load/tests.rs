//! Balances against closed forms, and the interval against a simulation.

use proptest::prelude::*;

use super::*;
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{Pressure, PressureUnit, Speed, Throughput, Typed};

fn mbar(value: f64) -> Pressure {
    Typed::new(value, PressureUnit::Millibar)
        .pressure()
        .unwrap()
}

fn litres(value: f64) -> Speed {
    Speed::from_cubic_metres_per_second(value / 1e3).unwrap()
}

fn in_millibar_litres(load: Throughput) -> f64 {
    load.pascal_cubic_metres_per_second() * 10.0
}

#[track_caller]
fn close(left: f64, right: f64, tolerance: f64) {
    assert!(
        (left / right - 1.0).abs() <= tolerance,
        "{left} is not {right} within {tolerance}"
    );
}

/// p = Q/S: 1.65e-4 mbar·L/s on 500 L/s is 3.3e-7 mbar.
#[test]
fn load_and_pressure_balance() {
    let load = gas_load(mbar(3.3e-7), litres(500.0)).unwrap();
    close(in_millibar_litres(load), 1.65e-4, 1e-9);
    close(
        base_pressure(load, litres(500.0))
            .unwrap()
            .in_unit(PressureUnit::Millibar),
        3.3e-7,
        1e-9,
    );
    assert!(matches!(
        gas_load(mbar(0.1), litres(500.0)),
        Err(GasLoadError::TooHigh { .. })
    ));
    assert!(matches!(
        base_pressure(load, litres(0.0)),
        Err(GasLoadError::Zero { .. })
    ));
}

/// 1000 L/s · (5e-6 − 5e-7) mbar = 4.5e-3 mbar·L/s, the definition of pumping speed.
#[test]
fn extra_load_comes_with_its_interval() {
    let extra = extra_load(
        mbar(5e-7),
        mbar(5e-6),
        litres(1000.0),
        Uncertainty::default(),
    )
    .unwrap();
    close(in_millibar_litres(extra.extra), 4.5e-3, 1e-9);
    close(extra.ratio, 9.0, 1e-9);
    close(extra.speed_share_instead, 0.1, 1e-9);
    assert!(extra.is_shown());
    assert!(extra.low < extra.extra && extra.extra < extra.high);
    assert_eq!(FaultSize::of(extra.extra), FaultSize::Middling);

    let none = extra_load(
        mbar(5e-7),
        mbar(5.2e-7),
        litres(1000.0),
        Uncertainty::default(),
    )
    .unwrap();
    assert!(!none.is_shown());
    assert_eq!(none.low.pascal_cubic_metres_per_second(), 0.0);
    let better = extra_load(
        mbar(5e-7),
        mbar(4e-7),
        litres(1000.0),
        Uncertainty::default(),
    )
    .unwrap();
    assert_eq!(better.extra.pascal_cubic_metres_per_second(), 0.0);
    let bad = Uncertainty {
        scale: f64::NAN,
        ..Uncertainty::default()
    };
    assert!(matches!(
        extra_load(mbar(5e-7), mbar(5e-6), litres(1000.0), bad),
        Err(GasLoadError::Uncertainty { .. })
    ));
}

/// Splitmix64 with a fixed seed, and a normal deviate from it by Box and Muller.
struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.uniform()).ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// A factor whose logarithm is normal, within ±ln(1 + share) in 95 % of draws.
    fn factor(&mut self, share: f64) -> f64 {
        (self.normal() * share.ln_1p() / 1.959_964).exp()
    }
}

/// Of 4,000 seeded trials for each size of loss, the interval of the load and that of the ratio
/// hold the truth in 95 ± 2 %.
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    let mut chance = Chance(7);
    let spread = Uncertainty::default();
    for times in [1.5, 2.0, 5.0, 100.0] {
        let (healthy, speed) = (5e-5, 1.0);
        let truth = healthy * (times - 1.0) * speed;
        let (mut loads, mut ratios) = (0, 0);
        for _ in 0..4000 {
            let scale = chance.factor(spread.scale);
            let mut read =
                |p: f64| Pressure::from_pascals(p * scale * chance.factor(spread.repeat)).unwrap();
            let (low, high) = (read(healthy), read(healthy * times));
            let told =
                Speed::from_cubic_metres_per_second(speed * chance.factor(spread.speed)).unwrap();
            let extra = extra_load(low, high, told, spread).unwrap();
            let within = extra.low.pascal_cubic_metres_per_second()
                ..=extra.high.pascal_cubic_metres_per_second();
            loads += i32::from(within.contains(&truth));
            ratios += i32::from((extra.ratio_low..=extra.ratio_high).contains(&(times - 1.0)));
        }
        assert!(
            (3720..=3880).contains(&loads),
            "{times}: {loads} of 4000 loads"
        );
        assert!(
            (3720..=3880).contains(&ratios),
            "{times}: {ratios} of 4000 ratios"
        );
    }
}

/// Arithmetic of p = p_fore/K (definition of compression: ISO 21360-4).
#[test]
fn foreline_explains_only_what_compression_lets_through() {
    let share =
        |fore, base, compression| foreline_share(mbar(fore), mbar(base), compression).unwrap();
    let nitrogen = share(1e-2, 1e-6, 1e8);
    close(nitrogen.behind.in_unit(PressureUnit::Millibar), 1e-10, 1e-9);
    assert_eq!(nitrogen.verdict, ForelineVerdict::CannotExplain);
    close(nitrogen.compression_needed, 1e4, 1e-9);
    let collapsed = share(1e-2, 1e-6, 1e4);
    assert_eq!(collapsed.verdict, ForelineVerdict::Explains);
    let hydrogen = share(1e-5, 5e-8, 1e3);
    close(hydrogen.behind.in_unit(PressureUnit::Millibar), 1e-8, 1e-9);
    assert_eq!(hydrogen.verdict, ForelineVerdict::Partly);
    close(
        share(5e-6, 1e-8, 1e5)
            .behind
            .in_unit(PressureUnit::Millibar),
        5e-11,
        1e-9,
    );
    // A share of the foreline's gas may be less than all that the chamber reads.
    let trace = share(1e-7, 1e-6, 1e4);
    assert_eq!(trace.verdict, ForelineVerdict::CannotExplain);
    close(trace.compression_needed, 0.1, 1e-9);
    for bad in [0.5, 1.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(
            foreline_share(mbar(1e-2), mbar(1e-6), bad),
            Err(GasLoadError::Compression { .. })
        ));
    }
    assert!(
        typical_compression(Gas::Hydrogen).unwrap().end()
            < typical_compression(Gas::Nitrogen).unwrap().start()
    );
}

/// A plain turbo pump is backed by less than 10 Pa (encyclopaedia, article on turbomolecular pumps, seen), one with a
/// drag stage by up to 1000 to 2000 Pa (Jou and others, on a turbo booster pump, page seen).
#[test]
fn compression_holds_up_to_the_critical_backing_pressure() {
    for (millibars, critical, backing) in [
        (1e-2, None, Backing::Holds),
        (5.0, None, Backing::Depends),
        (100.0, None, Backing::Collapsed),
        (5.0, Some(10.0), Backing::Holds),
        (5.0, Some(0.5), Backing::Collapsed),
    ] {
        assert_eq!(
            Backing::of(mbar(millibars), critical.map(mbar)),
            backing,
            "{millibars}"
        );
    }
}

/// The logarithm of a turbo pump's compression goes as the root of the molar mass (common practice, no
/// source). From the best of nitrogen that gives what the poorest of helium and hydrogen have, within
/// a factor of two; drag stages add to it.
#[test]
fn compressions_of_light_gases_follow_the_root_of_the_mass() {
    let nitrogen = typical_compression(Gas::Nitrogen).unwrap();
    for gas in [Gas::Helium, Gas::Hydrogen] {
        let root = (gas.molar_mass() / Gas::Nitrogen.molar_mass()).sqrt();
        let scaled = nitrogen.end().powf(root);
        let typical = typical_compression(gas).unwrap();
        let poorest = scaled / typical.start();
        assert!((0.5..2.0).contains(&poorest), "{gas:?}: {scaled:e}");
    }
}

proptest! {
    #[test]
    fn more_pressure_is_more_load(
        healthy in -8.0..-3.0_f64, step in 0.01..2.0_f64, speed in 1.0..5000.0_f64,
    ) {
        let healthy = 10_f64.powf(healthy);
        let load = |p: f64| gas_load(Pressure::from_pascals(p).unwrap(), litres(speed)).unwrap();
        prop_assert!(load(healthy * (1.0 + step)) > load(healthy));
        let extra = extra_load(
            Pressure::from_pascals(healthy).unwrap(),
            Pressure::from_pascals(healthy * (1.0 + step)).unwrap(),
            litres(speed),
            Uncertainty::default(),
        ).unwrap();
        prop_assert!(extra.low <= extra.extra && extra.extra <= extra.high);
    }
}
