//! The held-out trial of the intervals: pump-downs of tools, loggers and gauges other than those the
//! cut of the profiles was set on.
//!
//! Volume phases of 5 s to 2 min a factor of e, walls from clean to wet with exponents from 0.5 to
//! 1.3, floors from a thirtieth of the rest to three times it, 2 to 24 hours, readings every 1 to 5 s
//! at first and every 5 to 60 s later, 5 % scatter, and the six gauges of the rise test's trial
//! ([`crate::vacuum::rise::held_out`]). The cut was set on seeds below 1,000; nothing may be tuned on
//! these.

use std::thread;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{late_phase, volume_phase};
use crate::vacuum::log::TidyRecord;
use crate::vacuum::rise::Interval;
use crate::vacuum::rise::held_out::{GAUGES, Gauge, between, normal};

/// Fewer where the program is built for speed of building.
const TRIALS: usize = if cfg!(debug_assertions) { 600 } else { 2000 };
/// How far from 95 % the share held may lie: two per cent, and one more for fewer trials.
const OFF: f64 = if cfg!(debug_assertions) { 0.03 } else { 0.02 };
const SCATTER: f64 = 0.05;

#[derive(Clone, Copy, Default, Debug)]
struct Count {
    trials: usize,
    held: usize,
}

impl Count {
    fn note(&mut self, interval: Option<Interval>, truth: f64) {
        if let Some(interval) = interval {
            self.trials += 1;
            self.held += usize::from((interval.low..=interval.high).contains(&truth));
        }
    }

    fn share(self) -> f64 {
        self.held as f64 / self.trials as f64
    }
}

/// Rate of the volume phase, exponent and floor.
type Tally = [Count; 3];

fn trial(gauge: Gauge, random: &mut ChaCha8Rng, tally: &mut Tally) {
    let rate = between(random, 5.0, 120.0).recip();
    let fine_rate = rate * between(random, 1.0, 30.0);
    let length = 3600.0 * between(random, 2.0, 24.0);
    let exponent = 0.5 + 0.8 * random.random::<f64>();
    let at_end = between(random, 1e-6, 1e-3);
    let floor = at_end * between(random, 1.0 / 30.0, 3.0);
    let (early, late) = (between(random, 1.0, 5.0), between(random, 5.0, 60.0));
    let crossover = (101_325.0f64 / 5.0).ln() / rate;
    let mut record = TidyRecord::default();
    let mut truths = Vec::new();
    let mut time = -60.0;
    while time <= length {
        let pumped = f64::max(time, 0.0);
        let fine = (pumped - crossover).max(0.0);
        let air = 101_325.0 * (-rate * (pumped - fine) - fine_rate * fine).exp();
        let walls = at_end * (f64::max(pumped, 30.0) / length).powf(-exponent);
        record.seconds.push(time + 60.0);
        record.lines.push(truths.len() as u32 + 2);
        truths.push(air + walls + floor);
        time += if time < 1800.0 { early } else { late };
    }
    let whole = length + 60.0;
    let shares: Vec<f64> = record.seconds.iter().map(|time| time / whole).collect();
    let gain = gauge.gain(&shares, whole, random);
    for (truth, gain) in truths.iter().zip(&gain) {
        let error = gain + SCATTER * normal(random);
        record.pascals.push(truth * error.exp());
    }
    tally[0].note(
        volume_phase(&record).map(|phase| phase.speed_over_volume),
        rate,
    );
    let phase = late_phase(&record);
    tally[1].note(phase.as_ref().map(|phase| phase.exponent), exponent);
    tally[2].note(phase.as_ref().map(|phase| phase.floor), floor);
}

fn run(seed: u64) -> Tally {
    let half = |which: u64| {
        let mut random = ChaCha8Rng::seed_from_u64(seed + which);
        let mut tallies = [Tally::default(); GAUGES.len()];
        for index in 0..TRIALS / 2 {
            let gauge = index % GAUGES.len();
            trial(GAUGES[gauge], &mut random, &mut tallies[gauge]);
        }
        tallies
    };
    let (mut tallies, other) = thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        (half(0), other.join().expect("the other half ended"))
    });
    let mut all = Tally::default();
    for (gauge, (tally, other)) in GAUGES.iter().zip(tallies.iter_mut().zip(&other)) {
        for (place, count) in tally.iter_mut().enumerate() {
            count.trials += other[place].trials;
            count.held += other[place].held;
            all[place].trials += count.trials;
            all[place].held += count.held;
        }
        print(&format!("{gauge:?}"), tally);
    }
    print("all gauges", &all);
    all
}

fn print(name: &str, tally: &Tally) {
    let [rate, exponent, floor] =
        tally.map(|count| format!("{:.1} % of {}", 100.0 * count.share(), count.trials));
    println!("{name:12} speed over volume {rate}, exponent {exponent}, floor {floor}");
}

#[test]
fn speed_exponent_and_floor_lie_in_their_intervals() {
    for count in run(903_017) {
        assert!(count.trials * 10 >= TRIALS * 9, "{count:?}");
        assert!((count.share() - 0.95).abs() <= OFF, "{count:?}");
    }
}
