//! Leaks against kinetic theory, handbook sizes and closed forms.

use proptest::prelude::*;

use super::*;
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{
    FlowTemperatures, Length, Pressure, Seconds, Speed, Temperature, Throughput, ThroughputUnit,
    Volume,
};

const ROOM: Temperature = Temperature::ROOM;

fn rate(millibar_litres: f64) -> Throughput {
    Throughput::from_unit(
        millibar_litres,
        ThroughputUnit::MillibarLitre,
        FlowTemperatures::default(),
    )
    .unwrap()
}

fn in_millibar_litres(rate: Throughput) -> f64 {
    rate.in_unit(ThroughputUnit::MillibarLitre, FlowTemperatures::default())
}

fn atmosphere() -> Pressure {
    Pressure::from_pascals(101_325.0).unwrap()
}

#[track_caller]
fn close(left: f64, right: f64, tolerance: f64) {
    assert!(
        (left / right - 1.0).abs() <= tolerance,
        "{left} is not {right} within {tolerance}"
    );
}

/// Roots of molar masses; helium to air viscous 1.07 to 1.08 from viscosities at 20 °C
/// (CRC Handbook, from memory).
#[test]
fn factors_from_helium_are_the_known_ones() {
    for (gas, molecular) in [
        (Gas::Air, 0.3717),
        (Gas::Nitrogen, 0.3780),
        (Gas::Argon, 0.3165),
        (Gas::Hydrogen, 1.409),
        (Gas::Water, 0.4714),
    ] {
        let converted = convert(rate(1e-9), Gas::Helium, gas, 1.0, ROOM).unwrap();
        assert_eq!(converted.regime, LeakRegime::Molecular);
        close(in_millibar_litres(converted.low) / 1e-9, molecular, 1e-3);
    }
    let viscous = convert(rate(1e-2), Gas::Helium, Gas::Air, 1.0, ROOM).unwrap();
    assert_eq!(viscous.regime, LeakRegime::Viscous);
    let factor = in_millibar_litres(viscous.high) / 1e-2;
    assert!((1.07..=1.08).contains(&factor), "{factor}");
}

/// Between the regimes a leak is neither for certain, so both factors are told (handbooks differ on where
/// it turns, from memory).
#[test]
fn between_the_regimes_both_factors_are_the_range() {
    let between = convert(rate(1e-5), Gas::Helium, Gas::Air, 1.0, ROOM).unwrap();
    assert_eq!(between.regime, LeakRegime::Between);
    assert_eq!(
        (between.low, between.high),
        (between.if_molecular, between.if_viscous)
    );
    let back = convert(rate(1e-5), Gas::Air, Gas::Helium, 1.0, ROOM).unwrap();
    assert!(back.low <= back.high);
}

/// Helium of a tenth at the leak gives a tenth of the signal: partial pressures, Dalton's law.
#[test]
fn a_thinner_spray_means_a_larger_leak() {
    let thin = convert(rate(1e-9), Gas::Helium, Gas::Air, 0.1, ROOM).unwrap();
    let full = convert(rate(1e-9), Gas::Helium, Gas::Air, 1.0, ROOM).unwrap();
    close(
        in_millibar_litres(thin.low),
        10.0 * in_millibar_litres(full.low),
        1e-9,
    );
    for share in [0.0, -0.1, 1.1, f64::NAN] {
        assert!(matches!(
            convert(rate(1e-9), Gas::Helium, Gas::Air, share, ROOM),
            Err(LeakError::Share { .. })
        ));
    }
    assert_eq!(
        convert(rate(0.0), Gas::Helium, Gas::Air, 1.0, ROOM),
        Err(LeakError::NoLeak)
    );
}

/// Choked air at 20 °C and one atmosphere, 20 L/s per cm² (handbook, from memory); the rule of
/// thumb of 1e2, 1, 1e-2 mbar·L/s for 1 mm, 0.1 mm, 10 µm holds within a factor of two.
#[test]
fn openings_pass_what_the_handbook_says() {
    for (micrometres, exact) in [
        (1000.0, 158.0),
        (300.0, 14.2),
        (30.0, 0.142),
        (10.0, 0.0158),
        (1.0, 1.58e-4),
    ] {
        let diameter = Length::from_metres(micrometres * 1e-6).unwrap();
        let flow = in_millibar_litres(
            flow_through_orifice(diameter, atmosphere(), Gas::Air, ROOM).unwrap(),
        );
        close(flow, exact, 0.005);
    }
    for (micrometres, rule) in [(1000.0, 1e2), (10.0, 1e-2), (1.0, 1e-4)] {
        let diameter = Length::from_metres(micrometres * 1e-6).unwrap();
        let flow = in_millibar_litres(
            flow_through_orifice(diameter, atmosphere(), Gas::Air, ROOM).unwrap(),
        );
        assert!((0.5..2.0).contains(&(flow / rule)));
    }
    assert!(matches!(
        equivalent_diameter(rate(1e-6), atmosphere(), Gas::Air, ROOM),
        Err(LeakError::TooNarrow { .. })
    ));
    assert_eq!(
        equivalent_diameter(rate(0.0), atmosphere(), Gas::Air, ROOM),
        Err(LeakError::NoLeak)
    );
}

/// 100 L at 10 L/s answer with 10 s; sprayed for 30 s the signal comes to 1 − e⁻³.
#[test]
fn helium_test_answers_with_volume_over_speed() {
    let test = HeliumTest::new(
        Volume::from_cubic_metres(0.1).unwrap(),
        Speed::from_cubic_metres_per_second(0.01).unwrap(),
        1.0,
    )
    .unwrap();
    close(test.time_constant().unwrap().seconds(), 10.0, 1e-12);
    let spray = Seconds::from_seconds(30.0).unwrap();
    close(test.response(spray).unwrap(), 0.950_213, 1e-6);
    let smallest = test
        .smallest_leak(Pressure::from_pascals(1e-9).unwrap(), spray)
        .unwrap();
    close(in_millibar_litres(smallest), 1e-10 / 0.950_213, 1e-6);
    let half = HeliumTest::new(
        Volume::from_cubic_metres(0.1).unwrap(),
        Speed::from_cubic_metres_per_second(0.01).unwrap(),
        0.5,
    )
    .unwrap();
    let twice = half
        .smallest_leak(Pressure::from_pascals(1e-9).unwrap(), spray)
        .unwrap();
    close(
        in_millibar_litres(twice),
        2.0 * in_millibar_litres(smallest),
        1e-9,
    );
    let no_time = Seconds::from_seconds(0.0).unwrap();
    assert_eq!(
        test.smallest_leak(Pressure::from_pascals(1e-9).unwrap(), no_time),
        Err(LeakError::NoLeak)
    );
    let none = Speed::from_cubic_metres_per_second(0.0).unwrap();
    assert_eq!(
        HeliumTest::new(Volume::from_cubic_metres(0.1).unwrap(), none, 1.0),
        Err(LeakError::NoHeliumSpeed)
    );
}

/// From one atmosphere to vacuum against two atmospheres to one: molecular the same, viscous
/// (4 − 1)/1 = 3 times (Poiseuille, p₁² − p₂²); half an atmosphere to vacuum: a half and a quarter.
#[test]
fn other_pressures_change_a_viscous_leak_by_their_squares() {
    let bar = |upstream: f64, downstream: f64| {
        let pressure = |bar: f64| Pressure::from_pascals(1e5 * bar).unwrap();
        Across::new(pressure(upstream), pressure(downstream))
    };
    let vacuum = bar(1.0, 0.0).unwrap();
    for (wanted, molecular, viscous) in [
        (bar(2.0, 1.0).unwrap(), 1.0, 3.0),
        (bar(0.5, 0.0).unwrap(), 0.5, 0.25),
    ] {
        close(vacuum.molecular_ratio(wanted), molecular, 1e-12);
        close(vacuum.viscous_ratio(wanted), viscous, 1e-12);
        close(wanted.viscous_ratio(vacuum), 1.0 / viscous, 1e-12);
    }
    let between = convert(rate(1e-5), Gas::Air, Gas::Air, 1.0, ROOM).unwrap();
    let over = between.across(vacuum, bar(2.0, 1.0).unwrap()).unwrap();
    assert_eq!(over.regime, LeakRegime::Between);
    close(in_millibar_litres(over.low), 1e-5, 1e-9);
    close(in_millibar_litres(over.high), 3e-5, 1e-9);
    assert!(matches!(bar(1.0, 1.0), Err(LeakError::NoDrop { .. })));
}

/// Water is a vapour up to 2.3388 kPa at 20 °C (table of its vapour pressure, seen), methanol up to about 13 kPa
/// and acetone up to about 25 kPa (handbooks, from memory): none of them stands before a leak at one atmosphere.
#[test]
fn a_vapour_at_one_atmosphere_is_a_liquid_and_refused() {
    let into_vacuum = |pascals: f64| {
        let pressure = |pascals| Pressure::from_pascals(pascals).unwrap();
        Across::new(pressure(pascals), pressure(0.0)).unwrap()
    };
    let air = into_vacuum(101_325.0);
    for (gas, most) in [
        (Gas::Water, 2338.8),
        (Gas::Methanol, 13e3),
        (Gas::Acetone, 24.7e3),
    ] {
        let to = convert(rate(1e-3), Gas::Helium, gas, 1.0, ROOM).unwrap();
        let refused = to.across(air, air).unwrap_err();
        assert!(matches!(refused, LeakError::Liquid { gas: liquid, .. } if liquid == gas));
        assert!(to.across(air, into_vacuum(1.02 * most)).is_err());
        assert!(to.across(air, into_vacuum(0.98 * most)).is_ok());
        // Measured as a share of the gas outside it may be there.
        let from = convert(rate(1e-3), gas, Gas::Air, 0.01, ROOM).unwrap();
        assert!(from.across(air, air).is_ok());
        let from = convert(rate(1e-3), gas, Gas::Air, 1.0, ROOM).unwrap();
        assert!(from.across(air, air).is_err());
        let opening = equivalent_diameter(rate(1.0), atmosphere(), gas, ROOM);
        assert!(matches!(opening, Err(LeakError::Liquid { .. })));
    }
}

/// After 1 to 6 time constants the signal stands at 63.2, 86.46, 95.02, 98.16, 99.3 and 99.75 % of its end:
/// 1 - exp(-n), by arithmetic, rounded.
#[test]
fn the_signal_of_a_helium_test_rises_as_an_exponential() {
    let volume = Volume::from_cubic_metres(0.1).unwrap();
    let speed = Speed::from_cubic_metres_per_second(0.01).unwrap();
    let test = HeliumTest::new(volume, speed, 1.0).unwrap();
    for (times, percent) in [
        (1.0, 63.2),
        (2.0, 86.46),
        (3.0, 95.02),
        (4.0, 98.16),
        (5.0, 99.3),
        (6.0, 99.75),
    ] {
        let spray = Seconds::from_seconds(10.0 * times).unwrap();
        close(100.0 * test.response(spray).unwrap(), percent, 1e-3);
    }
}

/// Air at 68 °F leaves a choked opening at 1129 ft/s of sound (tutorial on choked flow, seen); of the
/// density outside, (2/2.4)^3 passes at that speed, since density and speed fall on the way.
#[test]
fn a_choked_opening_passes_gas_at_the_speed_of_sound() {
    let diameter = Length::from_metres(1e-3).unwrap();
    let flow = flow_through_orifice(diameter, atmosphere(), Gas::Air, ROOM).unwrap();
    let per_area =
        flow.pascal_cubic_metres_per_second() / (101_325.0 * std::f64::consts::FRAC_PI_4 * 1e-6);
    close(per_area, 1129.0 * 0.3048 * (2.0_f64 / 2.4).powi(3), 0.005);
}

proptest! {
    #[test]
    fn conversions_between_gases_invert(
        exponent in -12.0..-8.0_f64,
        from in prop::sample::select(Gas::ALL.to_vec()),
        to in prop::sample::select(Gas::ALL.to_vec()),
    ) {
        let there = convert(rate(10_f64.powf(exponent)), from, to, 1.0, ROOM).unwrap();
        let back = convert(there.if_molecular, to, from, 1.0, ROOM).unwrap();
        prop_assert!((in_millibar_litres(back.if_molecular) / 10_f64.powf(exponent) - 1.0).abs() < 1e-9);
        let back = convert(there.if_viscous, to, from, 1.0, ROOM).unwrap();
        prop_assert!((in_millibar_litres(back.if_viscous) / 10_f64.powf(exponent) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn opening_and_flow_invert(micrometres in 0.7..5000.0_f64) {
        let diameter = Length::from_metres(micrometres * 1e-6).unwrap();
        let flow = flow_through_orifice(diameter, atmosphere(), Gas::Air, ROOM).unwrap();
        let back = equivalent_diameter(flow, atmosphere(), Gas::Air, ROOM).unwrap();
        prop_assert!((back.metres() / diameter.metres() - 1.0).abs() < 1e-9);
    }
}
