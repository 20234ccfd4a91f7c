//! The held-out trial of a rise test's verdict as people ask for it: a chamber of some volume, walls that
//! were pumped for an hour or a week, leaks of every size, with and without the time of pumping and the
//! healthy tool's rise.
//!
//! [`crate::vacuum::rise::held_out`] draws walls that were pumped no longer than the test lasts, whose rise
//! slows; here it hardly does. Walls give off 1e-9 to 4e-8 mbar·L/s per cm² after an hour (Elsey, Vacuum 25
//! (1975) 347, from memory: unbaked stainless steel), falling with an exponent of 0.9 to 1.2, from one to
//! five times the surface of a cube; seals of 0.1 to 1 % of it give 3e-7 to 1.5e-6, falling as the root of
//! the time (O'Hanlon, appendix C, from memory). The first reading is the base pressure of 50 to 1,000 L/s.
//! Nothing may be tuned on these.

use std::thread;

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::healthy_rise::HealthyRise;
use super::log::Columns;
use super::rise::{Conclusion, Report, Request, run};
use crate::vacuum::rise::held_out::{GAUGES, Gauge, between, normal};
use crate::vacuum::units::{PressureUnit, ThroughputUnit, TimeUnit, Typed, VolumeUnit};

/// Fewer where the program is built for speed of building.
const TRIALS: usize = if cfg!(debug_assertions) { 600 } else { 2000 };
const SCATTER: f64 = 0.05;

/// A tool with its walls; m, s and Pa.
#[derive(Clone, Copy)]
struct Tool {
    volume: f64,
    speed: f64,
    /// Gas of the metal and of the seals after an hour, Pa·m³/s, and the exponent of the metal.
    metal: f64,
    seals: f64,
    exponent: f64,
}

impl Tool {
    fn random(random: &mut impl Rng) -> Self {
        let volume = 1e-3 * between(random, 20.0, 500.0);
        let area = 6.0 * volume.powf(2.0 / 3.0);
        // 1 mbar·L/s per cm² is 1e3 Pa·m³/s per m².
        let metal = 1e3 * between(random, 1e-9, 4e-8) * area * between(random, 1.0, 5.0);
        let seals = 1e3 * between(random, 3e-7, 1.5e-6) * area * between(random, 1e-3, 1e-2);
        Self {
            volume,
            speed: 1e-3 * between(random, 50.0, 1000.0),
            metal,
            seals,
            exponent: 0.9 + 0.3 * random.random::<f64>(),
        }
    }

    /// Gas of the walls after so many hours, Pa·m³/s.
    fn walls(&self, hours: f64) -> f64 {
        self.metal * hours.powf(-self.exponent) + self.seals * hours.powf(-0.5)
    }

    /// Gas that came within `seconds` after `hours` of pumping, Pa·m³: a sum over steps, since every power
    /// would need its own integral.
    fn given_off(&self, hours: f64, times: &[f64]) -> Vec<f64> {
        let mut sum = 0.0;
        let mut before = 0.0;
        times
            .iter()
            .map(|time| {
                let middle = hours + 0.5 * (before + time) / 3600.0;
                sum += self.walls(middle) * (time - before);
                before = *time;
                sum
            })
            .collect()
    }

    /// A test of it after `hours` of pumping, with a leak in Pa·m³/s.
    fn test(
        &self,
        leak: f64,
        hours: f64,
        length: f64,
        gauge: Gauge,
        random: &mut impl Rng,
    ) -> Request {
        let interval = between(random, 0.5, 10.0).min(length / 60.0);
        let count = (length / interval) as usize + 1;
        let times: Vec<f64> = (0..count).map(|row| interval * row as f64).collect();
        let shares: Vec<f64> = times.iter().map(|time| time / length).collect();
        let gain = gauge.gain(&shares, length, random);
        let start = (leak + self.walls(hours)) / self.speed;
        let walls = self.given_off(hours, &times);
        let pressures = (0..count)
            .map(|row| {
                let pressure = start + (leak * times[row] + walls[row]) / self.volume;
                pressure * (gain[row] + SCATTER * normal(random)).exp()
            })
            .collect();
        Request {
            readings: Some(Columns {
                seconds: times,
                pressures,
            }),
            pressure_unit: Some(PressureUnit::Pascal),
            volume: Some(Typed::new(self.volume, VolumeUnit::CubicMetre)),
            ..Request::default()
        }
    }
}

fn report(request: &Request) -> Report {
    run(request).expect("a request that can be taken")
}

/// What comes in steadily, Pa·m³/s: a leak, and the same with all that walls give beside it.
type Truth = (f64, f64);

/// Counts of conclusions, of trials whose leak rate's interval holds the truth, and of trials.
#[derive(Clone, Copy, Debug, Default)]
struct Tally {
    leak: usize,
    outgassing: usize,
    as_healthy: usize,
    refused: usize,
    covered: usize,
    /// Trials with a leak rate: a record that is itself in doubt has none.
    rated: usize,
    trials: usize,
}

impl Tally {
    fn note(&mut self, report: &Report, (leak, steady): Truth) {
        self.trials += 1;
        match report.conclusion {
            Conclusion::Leak | Conclusion::LeakAndOutgassing => self.leak += 1,
            Conclusion::Outgassing => self.outgassing += 1,
            Conclusion::AsHealthy => self.as_healthy += 1,
            Conclusion::CannotTell => self.refused += 1,
        }
        if let Some(rate) = report.leak_rate {
            self.rated += 1;
            self.covered += usize::from(rate.low <= steady && leak <= rate.high);
        }
    }

    fn add(&mut self, other: &Self) {
        self.leak += other.leak;
        self.outgassing += other.outgassing;
        self.as_healthy += other.as_healthy;
        self.refused += other.refused;
        self.covered += other.covered;
        self.rated += other.rated;
        self.trials += other.trials;
    }
}

/// Runs [`TRIALS`] seeded trials on two threads and prints what came of them.
fn tally(
    name: &str,
    seed: u64,
    trial: impl Fn(Gauge, &mut ChaCha8Rng) -> (Request, Truth) + Sync,
) -> Tally {
    let half = |which: u64| {
        let mut random = ChaCha8Rng::seed_from_u64(seed + which);
        let mut tally = Tally::default();
        for index in 0..TRIALS / 2 {
            let (request, truth) = trial(GAUGES[index % GAUGES.len()], &mut random);
            tally.note(&report(&request), truth);
        }
        tally
    };
    let (mut tally, other) = thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        (half(0), other.join().expect("the other half ended"))
    });
    tally.add(&other);
    let percent = |count: usize| 100.0 * count as f64 / tally.trials as f64;
    println!(
        "{name:52} {:5} trials: called leak {:5.2} %, outgassing {:5.1} %, as healthy {:5.1} %, refused {:5.1} %, leak rate in its interval {:5.1} % of {}",
        tally.trials,
        percent(tally.leak),
        percent(tally.outgassing),
        percent(tally.as_healthy),
        percent(tally.refused),
        100.0 * tally.covered as f64 / tally.rated as f64,
        tally.rated,
    );
    tally
}

fn hours(random: &mut impl Rng) -> f64 {
    between(random, 1.0, 168.0)
}

fn length(random: &mut impl Rng) -> f64 {
    between(random, 300.0, 3600.0)
}

#[track_caller]
fn no_false_leak(tally: &Tally) {
    assert!(tally.leak * 100 <= tally.trials, "{tally:?}");
}

/// No leak at all.
const NONE: Truth = (0.0, 0.0);

#[test]
fn walls_pumped_for_long_are_not_called_a_leak() {
    let without = tally("walls, no time given", SEED, |gauge, random| {
        let (tool, hours) = (Tool::random(random), hours(random));
        let length = length(random);
        (tool.test(0.0, hours, length, gauge, random), NONE)
    });
    let with = tally("walls, time given", SEED + 20, |gauge, random| {
        let (tool, hours) = (Tool::random(random), hours(random));
        let length = length(random);
        let mut request = tool.test(0.0, hours, length, gauge, random);
        request.pumped_for = Some(Typed::new(hours, TimeUnit::Hour));
        (request, NONE)
    });
    for tally in [without, with] {
        no_false_leak(&tally);
        assert!(tally.covered * 100 >= 95 * tally.rated, "{tally:?}");
    }
    no_false_leak(&tally(
        "walls, neither time nor volume",
        SEED + 40,
        |gauge, random| {
            let (tool, hours) = (Tool::random(random), hours(random));
            let length = length(random);
            let mut request = tool.test(0.0, hours, length, gauge, random);
            request.volume = None;
            (request, NONE)
        },
    ));
}

/// Leaks of each decade beside walls: what is larger than walls can be is named.
#[test]
fn leaks_larger_than_walls_can_be_are_named() {
    for decade in -6..=-1 {
        let [without, with] = [false, true].map(|given| {
            let name = format!(
                "leak of 1e{decade} to 1e{} mbar·L/s, time {}",
                decade + 1,
                if given { "given" } else { "not given" }
            );
            let seed = SEED + 100 + 20 * (decade + 6) as u64 + u64::from(given) * 10;
            tally(&name, seed, |gauge, random| {
                let (tool, hours) = (Tool::random(random), hours(random));
                let size = 10f64.powi(decade);
                // 1 mbar·L/s is 0.1 Pa·m³/s.
                let leak = 0.1 * between(random, size, 10.0 * size);
                let length = length(random);
                let mut request = tool.test(leak, hours, length, gauge, random);
                if given {
                    request.pumped_for = Some(Typed::new(hours, TimeUnit::Hour));
                }
                (request, (leak, leak + tool.walls(hours)))
            })
        });
        // Larger than walls give after an hour, or within a day or two.
        if decade >= -2 {
            assert!(without.leak * 10 >= 7 * without.trials, "{without:?}");
        }
        if decade >= -3 {
            assert!(with.leak * 10 >= 7 * with.trials, "{with:?}");
        }
    }
}

/// A healthy tool's rise says what walls give, whatever their size.
#[test]
fn the_healthy_rise_tells_a_leak_from_walls() {
    let pair = |random: &mut ChaCha8Rng, gauge: Gauge, times: f64| {
        let (tool, hours) = (Tool::random(random), hours(random));
        let length = length(random);
        let before = tool.test(0.0, hours, length, gauge, random);
        let again = hours * between(random, 0.8, 1.25);
        let leak = times * tool.walls(hours);
        let mut request = tool.test(leak, again, length, gauge, random);
        request.pumped_for = Some(Typed::new(again, TimeUnit::Hour));
        if let Some(load) = report(&before).gas_load {
            let end = |rate: f64| Typed::new(rate, ThroughputUnit::PascalCubicMetre);
            request.healthy = Some(HealthyRise {
                low: end(load.low),
                high: end(load.high),
                seconds: Some(length),
                pumped_for: Some(Typed::new(hours, TimeUnit::Hour)),
                incident: None,
                calculation: None,
            });
        }
        (request, (leak, leak + tool.walls(again)))
    };
    let same = tally("walls as before", SEED + 300, |gauge, random| {
        pair(random, gauge, 0.0)
    });
    // Walls whose healthy rise cannot be held against them are refused as without it.
    assert!(same.leak * 100 <= same.trials, "{same:?}");
    let leaks = tally(
        "walls as before and a leak of 3 to 30 times that",
        SEED + 320,
        |gauge, random| {
            let times = between(random, 3.0, 30.0);
            pair(random, gauge, times)
        },
    );
    assert_eq!(leaks.as_healthy, 0, "{leaks:?}");
    assert!(leaks.leak * 10 >= 6 * leaks.trials, "{leaks:?}");
}

const SEED: u64 = 740_000;
