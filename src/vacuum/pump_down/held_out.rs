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

use super::{Course, ExplanationKind, compare, late_phase, volume_phase};
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

/// A tool and its logger; times in seconds, pressures in Pa.
#[derive(Clone, Copy)]
struct Tool {
    rate: f64,
    /// Speed over volume below 5 Pa, where the high-vacuum pump works.
    fine_rate: f64,
    length: f64,
    exponent: f64,
    /// Gas from the walls at the end.
    at_end: f64,
    floor: f64,
    /// Seconds between readings, in the first half hour and later.
    steps: (f64, f64),
}

impl Tool {
    fn random(random: &mut ChaCha8Rng) -> Self {
        let rate = between(random, 5.0, 120.0).recip();
        let fine_rate = rate * between(random, 1.0, 30.0);
        let length = 3600.0 * between(random, 2.0, 24.0);
        let exponent = 0.5 + 0.8 * random.random::<f64>();
        let at_end = between(random, 1e-6, 1e-3);
        Self {
            rate,
            fine_rate,
            length,
            exponent,
            at_end,
            floor: at_end * between(random, 1.0 / 30.0, 3.0),
            steps: (between(random, 1.0, 5.0), between(random, 5.0, 60.0)),
        }
    }

    /// A minute at atmosphere and a pump-down; `gas` makes what reaches the gauge of the tool's own gas
    /// and the time since pumping began.
    fn record(
        &self,
        gauge: Gauge,
        random: &mut ChaCha8Rng,
        gas: impl Fn(f64, f64) -> f64,
    ) -> TidyRecord {
        let crossover = (101_325.0f64 / 5.0).ln() / self.rate;
        let mut record = TidyRecord::default();
        let mut truths = Vec::new();
        let mut time = -60.0;
        while time <= self.length {
            let pumped = f64::max(time, 0.0);
            let fine = (pumped - crossover).max(0.0);
            let air = 101_325.0 * (-self.rate * (pumped - fine) - self.fine_rate * fine).exp();
            let since = f64::max(pumped, 30.0);
            let own = self.at_end * (since / self.length).powf(-self.exponent) + self.floor;
            record.seconds.push(time + 60.0);
            record.lines.push(truths.len() as u32 + 2);
            truths.push(air + gas(own, since));
            time += if time < 1800.0 {
                self.steps.0
            } else {
                self.steps.1
            };
        }
        let whole = self.length + 60.0;
        let shares: Vec<f64> = record.seconds.iter().map(|time| time / whole).collect();
        let gain = gauge.gain(&shares, whole, random);
        for (truth, gain) in truths.iter().zip(&gain) {
            let error = gain + SCATTER * normal(random);
            record.pascals.push(truth * error.exp());
        }
        record
    }
}

fn trial(gauge: Gauge, random: &mut ChaCha8Rng, tally: &mut Tally) {
    let tool = Tool::random(random);
    let record = tool.record(gauge, random, |own, _| own);
    tally[0].note(
        volume_phase(&record).map(|phase| phase.speed_over_volume),
        tool.rate,
    );
    let phase = late_phase(&record, &Course::of(&record)).ok();
    tally[1].note(phase.as_ref().map(|phase| phase.exponent), tool.exponent);
    tally[2].note(phase.as_ref().map(|phase| phase.floor), tool.floor);
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
    for count in run(921_457) {
        assert!(count.trials * 10 >= TRIALS * 9, "{count:?}");
        assert!((count.share() - 0.95).abs() <= OFF, "{count:?}");
    }
}

/// How the tool's own gas differs from one healthy pump-down to the next, as `ln` of a factor: by as much
/// throughout, by its exponent, or by a slow wander.
struct Difference {
    level: f64,
    tilt: f64,
    /// At even times from the start of pumping to its end.
    wander: Vec<f64>,
}

impl Difference {
    const STEPS: usize = 60;

    /// Of a standard deviation of 15 % at the end.
    fn random(random: &mut ChaCha8Rng) -> Self {
        let mut difference = Self {
            level: 0.0,
            tilt: 0.0,
            wander: vec![0.0; Self::STEPS + 1],
        };
        match random.random_range(0..3) {
            0 => difference.level = 0.15 * normal(random),
            1 => {
                difference.level = 0.14 * normal(random);
                difference.tilt = 0.04 * normal(random);
            }
            _ => {
                // A memory of four times the pump-down.
                let carry = f64::exp(-0.25 / Self::STEPS as f64);
                let mut now = 0.15 * normal(random);
                for wander in &mut difference.wander {
                    *wander = now;
                    now = carry * now + 0.15 * (1.0 - carry * carry).sqrt() * normal(random);
                }
            }
        }
        difference
    }

    fn factor(&self, share: f64) -> f64 {
        let at = (share * Self::STEPS as f64) as usize;
        (self.level - self.tilt * share.ln() + self.wander[at.min(Self::STEPS)]).exp()
    }
}

/// What can be wrong, with the size that a comparison should find.
const KINDS: [ExplanationKind; 4] = [
    ExplanationKind::LowerSpeed,
    ExplanationKind::GaugeScale,
    ExplanationKind::SteadyLoad,
    ExplanationKind::MoreOutgassing,
];

/// One pump-down against a healthy one, each with a gauge of its own; what is wrong makes the pressure
/// at the end 1.3 to 30 times the healthy one. Whether the true explanation fits, and its interval.
fn compared(kind: ExplanationKind, random: &mut ChaCha8Rng, count: &mut Count) -> bool {
    let tool = Tool::random(random);
    let gauge = |random: &mut ChaCha8Rng| GAUGES[random.random_range(0..GAUGES.len())];
    let (now, then) = (gauge(random), gauge(random));
    let healthy = tool.record(then, random, |own, _| own);
    let difference = Difference::random(random);
    let more = between(random, 0.3, 30.0);
    let extra = more * (tool.at_end + tool.floor);
    let exponent = between(random, 0.5, 1.5);
    let own = |gas: f64, since: f64| gas * difference.factor(since / tool.length);
    let falling = |since: f64| extra * (since / tool.length).powf(-exponent);
    let record = match kind {
        ExplanationKind::LowerSpeed => Tool {
            fine_rate: tool.fine_rate / (1.0 + more),
            ..tool
        }
        .record(now, random, |gas, since| (1.0 + more) * own(gas, since)),
        ExplanationKind::GaugeScale => {
            let mut record = tool.record(now, random, own);
            let scale = |pascals: &mut f64| *pascals *= 1.0 + more;
            record.pascals.iter_mut().for_each(scale);
            record
        }
        ExplanationKind::SteadyLoad => {
            tool.record(now, random, |gas, since| own(gas, since) + extra)
        }
        _ => tool.record(now, random, |gas, since| own(gas, since) + falling(since)),
    };
    let comparison = compare(
        (&record, &Course::of(&record)),
        (&healthy, &Course::of(&healthy)),
    );
    let found = comparison.explanations.iter().find(|one| one.kind == kind);
    let truth = match (kind, comparison.common) {
        (ExplanationKind::SteadyLoad, _) => extra,
        (ExplanationKind::MoreOutgassing, Some((_, end))) => falling(end),
        _ => 1.0 + more,
    };
    count.note(found.and_then(|one| one.size), truth);
    found.is_some_and(|one| one.fits)
}

/// The zero of a gauge has the shape of a steady load and its size, so it is not drawn beside it.
fn run_comparisons(seed: u64) -> [(Count, usize); 4] {
    let half = |which: u64| {
        let mut random = ChaCha8Rng::seed_from_u64(seed + which);
        let mut counts = [(Count::default(), 0); KINDS.len()];
        for index in 0..COMPARISONS / 2 {
            let place = index % KINDS.len();
            let (count, fits) = &mut counts[place];
            *fits += usize::from(compared(KINDS[place], &mut random, count));
        }
        counts
    };
    let (mut counts, other) = thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        (half(0), other.join().expect("the other half ended"))
    });
    for (((count, fits), (other, more)), kind) in counts.iter_mut().zip(other).zip(KINDS) {
        count.trials += other.trials;
        count.held += other.held;
        *fits += more;
        println!(
            "{kind:?}: size in its interval {:.1} % of {}, fits in {:.1} %",
            100.0 * count.share(),
            count.trials,
            100.0 * *fits as f64 / count.trials as f64
        );
    }
    counts
}

/// Fewer where the program is built for speed of building.
const COMPARISONS: usize = if cfg!(debug_assertions) { 400 } else { 8000 };

#[test]
fn sizes_of_explanations_lie_in_their_intervals() {
    let counts = run_comparisons(907_031);
    let mut all = Count::default();
    for (count, _) in counts {
        assert!(count.trials * 40 >= COMPARISONS * 9, "{count:?}");
        let off = if cfg!(debug_assertions) { 0.05 } else { 0.02 };
        assert!((count.share() - 0.95).abs() <= off, "{count:?}");
        all.trials += count.trials;
        all.held += count.held;
    }
    assert!((all.share() - 0.95).abs() <= OFF, "{all:?}");
}
