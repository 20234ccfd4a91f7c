//! What not knowing costs: a trial on made-up fleets, whose true chances are stated.
//!
//! For each seed and tool class, after 0 to 300 cases a class: expected minutes to the cause (and
//! of the changes of state to mend and prove it that an order can save) of the advice over those of a searcher who knows every true chance (`/knowing`), over those of
//! the fixed common-practice order (`/fixed`), and over those of the same advice before any
//! case (`/untaught`); then the expected calibration error of the likeliest cause, in tenths,
//! and the log loss on 5,000 held-out cases, searches that ended without a cause among them.
//! `apart` is how far the true chances lie from common practice (half the sum of distances).
//! The summary counts how many true chances of a cause the 95 % intervals held before any evidence.
//!
//! The knowing searcher's chances are computed here from `Fleet::model` alone, and it orders
//! with all the work an answer to a person gets, the advice with what a replay gets. Minutes are
//! averaged over the true chances given what is seen of each held-out case, so that no luck
//! of the draw is left in them; standard errors are those of the mean over those cases.
//!
//! `cargo bench --bench regret -- [SEED ...]`; `WALKS` sets the timed cases a class and size.

use std::collections::BTreeMap;

use coldtrap::advice::{
    Belief, Chances, Evidence, Knowledge, Learned, Request, State, advise, order,
    sequence::{self, CheckOption, Effort, Problem},
};
use coldtrap::casebook::{Finding, Incident};
use coldtrap::catalogue::{self, Catalogue};
use coldtrap::knowledge::practice;
use coldtrap::statistics::{Case, Ledger, NOT_FOUND, Outcome, tables::Lessons};
use coldtrap::synthesise::{Fleet, Model, ModelClass};

const SIZES: [usize; 5] = [0, 10, 30, 100, 300];
/// Held-out cases come after these of each class.
const TAUGHT: usize = 300;
const HELD_OUT: usize = 5000;
/// Branches rarer than this are not planned anew.
const RARE: f64 = 0.05;
/// Chance from which on a cause counts as a likely one.
const LIKELY: f64 = 0.03;

struct Row {
    seed: u64,
    class: String,
    size: usize,
    /// Distance of the true chances from common practice.
    apart: f64,
    /// Minutes of the advice, of the knowing searcher, of the fixed order and of the advice
    /// before any case, by timed case.
    minutes: Vec<[f64; 4]>,
    /// What was stated of the likeliest cause less how often it was true, summed by tenths.
    bins: [f64; 10],
    log_loss: f64,
    /// True chances held by their 95 % interval before any evidence, and all of them: of every
    /// cause, of those stated to be likely, and of those that are.
    held: [[u32; 2]; 3],
}

impl Row {
    fn calibration(&self) -> f64 {
        self.bins.iter().map(|bin| bin.abs()).sum::<f64>() / HELD_OUT as f64
    }

    /// Minutes of the advice over those of another, with the standard error of the ratio.
    fn over(&self, other: usize) -> (f64, f64) {
        let sum = |at: usize| self.minutes.iter().map(|row| row[at]).sum::<f64>();
        let ratio = sum(0) / sum(other);
        let squares: f64 = self
            .minutes
            .iter()
            .map(|row| (row[0] - ratio * row[other]).powi(2))
            .sum();
        (ratio, squares.sqrt() / sum(other))
    }
}

fn main() {
    let seeds: Vec<u64> = std::env::args()
        .filter_map(|word| word.parse().ok())
        .collect();
    let seeds = if seeds.is_empty() {
        vec![101, 102, 103]
    } else {
        seeds
    };
    let walks = std::env::var("WALKS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(40);
    let catalogue = catalogue::source::built_in().expect("a catalogue");
    println!(
        "seed class                 apart cases  /knowing        /fixed          /untaught       calibration  log loss"
    );
    let mut rows: Vec<Row> = Vec::new();
    for seed in seeds {
        trial(&catalogue, seed, walks, &mut |row| {
            let [knowing, fixed, untaught] = [1, 2, 3].map(|at| {
                let (ratio, error) = row.over(at);
                format!("{ratio:.3} +- {error:.3}")
            });
            println!(
                "{:4} {:22} {:.2} {:4}   {knowing}  {fixed}  {untaught}  {:.3}        {:.3}",
                row.seed,
                row.class,
                row.apart,
                row.size,
                row.calibration(),
                row.log_loss
            );
            rows.push(row);
        });
    }
    for size in SIZES {
        let of_size: Vec<&Row> = rows.iter().filter(|row| row.size == size).collect();
        let summed = |values: &dyn Fn(&Row) -> f64| {
            let all: Vec<f64> = of_size.iter().map(|row| values(row)).collect();
            let mean = all.iter().sum::<f64>() / all.len() as f64;
            format!("{mean:.3} ({:.3})", all.iter().copied().fold(0.0, f64::max))
        };
        let mut fleets: BTreeMap<u64, Vec<&Row>> = BTreeMap::new();
        for row in &of_size {
            fleets.entry(row.seed).or_default().push(row);
        }
        let of_fleets = fleets.values().map(|classes| {
            let bin = |at: usize| classes.iter().map(|row| row.bins[at]).sum::<f64>().abs();
            (0..10).map(bin).sum::<f64>() / (classes.len() * HELD_OUT) as f64
        });
        println!(
            "mean (worst) of {} after {size} cases: knowing {}, fixed {}, untaught {}, calibration {}, worst of a whole fleet {:.3}, stated too high by {:.4}, log loss {}",
            of_size.len(),
            summed(&|row| row.over(1).0),
            summed(&|row| row.over(2).0),
            summed(&|row| row.over(3).0),
            summed(&|row| row.calibration()),
            of_fleets.fold(0.0, f64::max),
            of_size
                .iter()
                .map(|row| row.bins.iter().sum::<f64>())
                .sum::<f64>()
                / (of_size.len() * HELD_OUT) as f64,
            summed(&|row| row.log_loss),
        );
        let held = |of: usize| {
            let sum = |at: usize| of_size.iter().map(|row| row.held[of][at]).sum::<u32>();
            format!("{} of {}", sum(0), sum(1))
        };
        println!(
            "  true chances in their 95 % interval: {}, stated at least {LIKELY} {}, true at least {LIKELY} {}",
            held(0),
            held(1),
            held(2),
        );
    }
}

fn trial(catalogue: &Catalogue, seed: u64, walks: usize, told: &mut dyn FnMut(Row)) {
    let fleet = Fleet::new(catalogue, seed);
    let model = fleet.model();
    let knowledge = practice(catalogue).expect("usable");
    let untaught = Learned::from(&knowledge, &Lessons::default());
    let mut by_class: BTreeMap<String, Vec<Case>> = BTreeMap::new();
    for (number, made) in fleet.incidents(40_000).enumerate() {
        let case = case(number as i64 + 1, &made.incident, made.tool.class.as_str());
        by_class
            .entry(case.tool_class.clone())
            .or_default()
            .push(case);
    }
    let learned = SIZES.map(|size| {
        let mut ledger = Ledger::new();
        for case in by_class.values().flat_map(|cases| &cases[..size]) {
            ledger.apply(case.number, Some(case)).expect("a case");
        }
        Learned::from(&knowledge, &ledger.lessons(None))
    });
    for (class, cases) in &by_class {
        let truth = &model.classes[class.as_str()];
        let built = catalogue.class(class).expect("a class");
        let parts = built.components.iter().map(ToString::to_string).collect();
        let trial = Trial::new(&knowledge, &model, class, truth, parts);
        let practised = truth.causes.iter().map(|(cause, chance)| {
            let believed = truth.common_practice.get(cause).copied();
            (chance - believed.unwrap_or_default()).abs()
        });
        let apart = 0.5 * practised.sum::<f64>();
        let usual = trial.usual(&untaught);
        let held_out = &cases[TAUGHT..TAUGHT + HELD_OUT];
        let mut minutes: Vec<Vec<[f64; 4]>> = vec![Vec::new(); SIZES.len()];
        for case in &held_out[..walks] {
            let belief = trial.posterior(case);
            let knowing = trial.minutes(&belief, &mut |path, state| {
                trial.knowing(&belief, path, state)
            });
            let fixed = trial.minutes(&belief, &mut |path, _| {
                let made = |id: &str| path.iter().any(|(other, _)| other == id);
                usual.iter().filter(|(id, _)| !made(id)).cloned().collect()
            });
            let advised = |learned: &Learned| {
                trial.minutes(&belief, &mut |path, state| {
                    trial.advised(learned, case, path, state)
                })
            };
            let before = advised(&untaught);
            for (size, rows) in minutes.iter_mut().enumerate() {
                let ours = match SIZES[size] {
                    0 => before,
                    _ => advised(&learned[size]),
                };
                rows.push([ours, knowing, fixed, before]);
            }
        }
        for ((size, minutes), learned) in SIZES.into_iter().zip(minutes).zip(&learned) {
            let (bins, log_loss) = trial.stated(learned, held_out);
            told(Row {
                seed,
                class: class.clone(),
                size,
                apart,
                minutes,
                bins,
                log_loss,
                held: trial.held(learned),
            });
        }
    }
}

fn case(number: i64, incident: &Incident, class: &str) -> Case {
    Case {
        number,
        tool: incident.tool.to_string(),
        tool_class: class.to_owned(),
        site: "S".to_owned(),
        cause: match &incident.cause {
            Some(Finding::Cause(cause)) => cause.to_string(),
            _ => NOT_FOUND.to_owned(),
        },
        component: None,
        kind: None,
        occurred_day: number,
        labour_minutes: 0.0,
        down_hours: 0.0,
        signs: incident
            .signs
            .iter()
            .map(|(id, seen)| (id.to_string(), *seen))
            .collect(),
        antecedents: incident
            .antecedents
            .iter()
            .map(|(id, seen)| (id.to_string(), *seen))
            .collect(),
        checks: incident
            .checks
            .iter()
            .map(|done| {
                (
                    done.check.to_string(),
                    coldtrap::knowledge::outcome(done.outcome),
                    Some(1.0),
                )
            })
            .collect(),
        loss_decades: incident.loss_decades(),
    }
}

/// Checks with the outcomes they gave, or are taken to give.
type Path = Vec<(String, Outcome)>;
/// How to go on after a path, in a state.
type Planner<'p> = dyn FnMut(&[(String, Outcome)], State) -> Path + 'p;

struct Trial<'t> {
    knowledge: &'t Knowledge,
    model: &'t Model<'t>,
    class: &'t str,
    truth: &'t ModelClass<'t>,
    causes: Vec<&'t str>,
    /// Checks that tell something here, with those they need.
    checks: Vec<&'t str>,
    changes: [[f64; 3]; 3],
    /// By cause and state: minutes to bring the tool where it can be mended and back under
    /// vacuum, beyond the least from any state.
    finish: Vec<[f64; 3]>,
    /// Tools of a made-up fleet are built as their class is built, without options.
    parts: Vec<String>,
}

impl<'t> Trial<'t> {
    fn new(
        knowledge: &'t Knowledge,
        model: &'t Model<'t>,
        class: &'t str,
        truth: &'t ModelClass<'t>,
        parts: Vec<String>,
    ) -> Self {
        let facts = knowledge.class(class).expect("a class");
        let causes: Vec<&str> = truth.causes.keys().copied().collect();
        let mut checks: Vec<&str> = Vec::new();
        let mut wanted: Vec<&str> = truth.checks.clone();
        while let Some(check) = wanted.pop() {
            let known = &model.checks[check];
            let fits = known
                .needs_components
                .iter()
                .all(|part| facts.components.iter().any(|other| other == part));
            if fits && !checks.contains(&check) {
                checks.push(check);
                wanted.extend(known.needs_first.iter().copied());
            }
        }
        checks.sort_unstable();
        let changes = facts.changes();
        let finish = causes.iter().map(|cause| {
            let need = state(model.causes[cause].fix_state);
            let back = [0, 1, 2].map(|from: usize| {
                let ways = State::ALL.into_iter().filter(|at| *at >= need);
                // Mended vented, the chamber has to be pumped down, whichever pump has stopped meanwhile.
                let proof = |at: State| match need {
                    State::Vented => changes[at as usize][0].max(changes[need as usize][0]),
                    _ => changes[at as usize][0],
                };
                ways.map(|at| changes[from][at as usize] + proof(at))
                    .fold(f64::INFINITY, f64::min)
            });
            back.map(|minutes| minutes - back.into_iter().fold(f64::INFINITY, f64::min))
        });
        Self {
            finish: finish.collect(),
            knowledge,
            model,
            class,
            truth,
            causes,
            checks,
            changes,
            parts,
        }
    }

    /// True chances of the causes given what is seen of a case; by Bayes' theorem.
    fn posterior(&self, case: &Case) -> Vec<f64> {
        let weights = self.causes.iter().map(|cause| {
            let truth = &self.model.causes[cause];
            let mut weight = self.truth.causes[cause];
            for (table, seen) in [
                (&truth.signs, &case.signs),
                (&truth.antecedents, &case.antecedents),
            ] {
                for (id, seen) in seen {
                    weight *= if *seen {
                        table[id.as_str()]
                    } else {
                        1.0 - table[id.as_str()]
                    };
                }
            }
            let [low, high] = truth.loss_decades;
            let loss = case.loss_decades.expect("both pressures");
            // Pressures are rounded to two figures.
            if loss < low - 0.05 || loss > high + 0.05 {
                0.0
            } else {
                weight / (high - low)
            }
        });
        normalised(weights.collect())
    }

    fn found(&self, check: &str, cause: &str) -> f64 {
        let check = &self.model.checks[check];
        check.found.get(cause).copied().unwrap_or(check.false_alarm)
    }

    fn state(&self, check: &str) -> State {
        state(self.model.checks[check].state)
    }

    fn after(&self, check: &str) -> State {
        state(self.model.checks[check].leaves)
    }

    /// What pumping down a chamber that the check vents takes more than the restart beside it.
    fn pump_down_left(&self, check: &str) -> f64 {
        let changes = self.knowledge.class(self.class).expect("a class").changes();
        match self.model.checks[check].vents {
            true => {
                changes[State::Vented as usize][State::StoppedPurged as usize]
                    - changes[State::Pumped as usize][State::StoppedPurged as usize]
            }
            false => 0.0,
        }
    }

    /// The plan of one who knows the true chances and what was done so far.
    fn knowing(&self, belief: &[f64], path: &[(String, Outcome)], state: State) -> Path {
        let mut chances = belief.to_vec();
        for (at, (check, outcome)) in path.iter().enumerate() {
            if path[..at].iter().any(|(before, _)| before == check) {
                continue;
            }
            for (chance, cause) in chances.iter_mut().zip(&self.causes) {
                let found = self.found(check, cause);
                *chance *= if *outcome == Outcome::Found {
                    found
                } else {
                    1.0 - found
                };
            }
        }
        let made = |check: &str| path.iter().any(|(id, _)| id == check);
        let waits: Vec<&str> = self
            .checks
            .iter()
            .filter(|check| !made(check))
            .flat_map(|check| self.model.checks[*check].needs_first.iter().copied())
            .collect();
        // What was made with the tool vented or stopped, for others to come, is made anew
        // once the tool has left that state.
        let lapses = |check: &str| self.state(check) != State::Pumped && waits.contains(&check);
        let holds = |check: &str| {
            let last = path.iter().rposition(|(id, _)| id == check);
            last.is_some_and(|last| {
                let mut later = path[last..].iter();
                self.state(check) == state
                    && later.all(|(id, _)| self.state(id) == state && self.after(id) == state)
            })
        };
        let left: Vec<&str> = self
            .checks
            .iter()
            .copied()
            .filter(|check| !made(check) || lapses(check))
            .collect();
        let checks = left.iter().map(|check| {
            let known = &self.model.checks[check];
            CheckOption {
                minutes: known.minutes + self.pump_down_left(check),
                state: self.state(check),
                leaves_pumped: self.after(check) != self.state(check),
                isolating: known.isolating,
                false_alarm: known.false_alarm,
                false_alarm_minutes: 0.0,
                needs_first: known
                    .needs_first
                    .iter()
                    .filter_map(|need| left.iter().position(|other| other == need))
                    .collect(),
                reveals: self
                    .causes
                    .iter()
                    .enumerate()
                    .filter(|_| !made(check))
                    .filter_map(|(at, cause)| Some((at, *known.found.get(cause)?)))
                    .collect(),
                made: holds(check),
            }
        });
        let problem = Problem {
            chances: normalised(chances),
            checks: checks.collect(),
            changes: self.changes,
            state,
            finish: self.finish.clone(),
        };
        let plan = sequence::plan(&problem, Effort::Full).expect("a plan");
        plan.places
            .iter()
            .map(|place| (left[place.check].to_owned(), place.assumed))
            .collect()
    }

    fn request(&self, case: &Case, path: &[(String, Outcome)], state: State) -> Request {
        Request {
            class: self.class.to_owned(),
            components: Some(self.parts.clone()),
            state,
            evidence: Evidence {
                signs: case.signs.clone(),
                antecedents: case.antecedents.clone(),
                loss_decades: case.loss_decades,
                outcomes: path.to_vec(),
                ordered: usize::MAX,
                lapsed: Vec::new(),
                told: Vec::new(),
            },
            price_of_help: None,
            effort: Effort::Quick,
        }
    }

    fn advised(
        &self,
        learned: &Learned,
        case: &Case,
        path: &[(String, Outcome)],
        state: State,
    ) -> Path {
        let request = self.request(case, path, state);
        let order = order(self.knowledge, learned, &request).expect("an order");
        order
            .steps
            .into_iter()
            .map(|step| (step.check, step.assumed))
            .collect()
    }

    /// The fixed common-practice order.
    fn usual(&self, untaught: &Learned) -> Path {
        let mut request = self.request(&empty(), &[], State::Pumped);
        request.evidence = Evidence::default();
        let advice = advise(self.knowledge, untaught, untaught, &request).expect("advice");
        advice
            .practice_order
            .into_iter()
            .map(|check| (check, Outcome::Clear))
            .collect()
    }

    /// Expected minutes until the cause is found, with those of changing states to mend it
    /// and prove it that an order can save, over the true chances, of a way to go on.
    fn minutes(&self, belief: &[f64], planned: &mut Planner<'_>) -> f64 {
        let first = planned(&[], State::Pumped);
        self.walk(belief.to_vec(), State::Pumped, Vec::new(), first, planned)
    }

    fn walk(
        &self,
        mut weights: Vec<f64>,
        mut state: State,
        mut path: Path,
        plan: Path,
        planned: &mut Planner<'_>,
    ) -> f64 {
        let mut minutes = 0.0;
        for (check, assumed) in plan {
            let mass: f64 = weights.iter().sum();
            if mass < 1e-4 {
                break;
            }
            let known = &self.model.checks[check.as_str()];
            let to = self.state(&check);
            let after = self.after(&check);
            let leaving = if after == to {
                0.0
            } else {
                self.changes[to as usize][after as usize]
            };
            let change = self.changes[state as usize][to as usize];
            minutes += mass * (change + known.minutes + leaving);
            state = after;
            if known.isolating {
                let split = |found: bool| -> Vec<f64> {
                    let side = |chance: f64| if found { chance } else { 1.0 - chance };
                    weights
                        .iter()
                        .zip(&self.causes)
                        .map(|(weight, cause)| weight * side(self.found(&check, cause)))
                        .collect()
                };
                let (other, outcome) = match assumed {
                    Outcome::Found => (split(false), Outcome::Clear),
                    _ => (split(true), Outcome::Found),
                };
                if other.iter().sum::<f64>() > RARE {
                    let mut branch = path.clone();
                    branch.push((check.clone(), outcome));
                    let next = planned(&branch, state);
                    minutes += self.walk(other, state, branch, next, planned);
                    weights = split(assumed == Outcome::Found);
                }
            } else if path.iter().all(|(before, _)| *before != check) {
                for (at, (weight, cause)) in weights.iter_mut().zip(&self.causes).enumerate() {
                    let found = *weight * known.found.get(cause).copied().unwrap_or(0.0);
                    minutes += found * self.finish[at][state as usize];
                    *weight -= found;
                }
            }
            path.push((check, assumed));
        }
        minutes
    }

    /// What was stated of the likeliest cause less how often it was true, summed by tenths,
    /// and the mean log loss.
    fn stated(&self, learned: &Learned, cases: &[Case]) -> ([f64; 10], f64) {
        let (mut bins, mut loss) = ([0.0; 10], 0.0);
        for case in cases {
            let evidence = self.request(case, &[], State::Pumped).evidence;
            let parts = Some(self.parts.as_slice());
            let chances = Chances::of(self.knowledge, learned, self.class, parts, &evidence)
                .expect("chances");
            let (best, chance) = chances.likeliest(self.knowledge);
            let bin = ((chance * 10.0) as usize).min(9);
            bins[bin] += chance - f64::from(u8::from(best == case.cause));
            let stated = if case.cause == NOT_FOUND {
                chances.unlisted()
            } else {
                chances.of_cause(self.knowledge, &case.cause)
            };
            loss -= stated.max(1e-9).ln();
        }
        (bins, loss / cases.len() as f64)
    }

    /// How many true chances of a cause their 95 % intervals hold before any evidence.
    fn held(&self, learned: &Learned) -> [[u32; 2]; 3] {
        let parts = Some(self.parts.as_slice());
        let nothing = Evidence::default();
        let belief = Belief::of(self.knowledge, learned, self.class, parts, &nothing);
        let mut held = [[0; 2]; 3];
        for cause in belief.expect("a belief").causes {
            let found = 1.0 - self.model.not_found_share;
            let truth = found * self.truth.causes[cause.id.as_str()];
            let holds = (cause.interval.low..=cause.interval.high).contains(&truth);
            let counts = [true, cause.chance >= LIKELY, truth >= LIKELY];
            for (held, _) in held.iter_mut().zip(counts).filter(|(_, counts)| *counts) {
                held[0] += u32::from(holds);
                held[1] += 1;
            }
        }
        held
    }
}

fn state(id: &str) -> State {
    match id {
        "pumped" => State::Pumped,
        "vented" => State::Vented,
        _ => State::StoppedPurged,
    }
}

fn empty() -> Case {
    Case {
        number: 1,
        tool: String::new(),
        tool_class: String::new(),
        site: String::new(),
        cause: String::new(),
        component: None,
        kind: None,
        occurred_day: 0,
        labour_minutes: 0.0,
        down_hours: 0.0,
        signs: Vec::new(),
        antecedents: Vec::new(),
        checks: Vec::new(),
        loss_decades: None,
    }
}

fn normalised(mut weights: Vec<f64>) -> Vec<f64> {
    let total: f64 = weights.iter().sum();
    weights
        .iter_mut()
        .for_each(|weight| *weight /= total.max(f64::MIN_POSITIVE));
    weights
}
