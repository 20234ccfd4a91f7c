//! What not knowing costs: a trial on made-up fleets, whose true chances are stated.
//!
//! For each seed and tool class, after 0 to 1000 cases a class: expected minutes to the cause of the
//! advice over those of a searcher who knows every true chance (`/knowing`), over those of
//! the fixed common-practice order (`/fixed`), and over those of the same advice before any
//! case (`/untaught`); then the expected calibration error of the likeliest cause and the
//! log loss on held-out cases, searches that ended without a cause among them.
//!
//! The knowing searcher's chances are computed here from `Fleet::model` alone. Minutes are
//! averaged over the true chances given what is seen of each held-out case, so that no luck
//! of the draw is left in them.
//!
//! `cargo bench --bench regret -- [SEED ...]`; `WALKS` sets the timed cases a class and size.

use std::collections::BTreeMap;

use coldtrap::advice::{
    Belief, Evidence, Knowledge, Learned, Request, State, advise,
    sequence::{self, CheckOption, Effort, Problem},
};
use coldtrap::casebook::{Finding, Incident};
use coldtrap::catalogue::{self, Catalogue};
use coldtrap::knowledge::practice;
use coldtrap::statistics::{Case, Ledger, NOT_FOUND, Outcome};
use coldtrap::synthesise::{Fleet, Model, ModelClass};

const SIZES: [usize; 6] = [0, 10, 30, 100, 300, 1000];
const HELD_OUT: usize = 5000;
/// Branches rarer than this are not planned anew.
const RARE: f64 = 0.05;

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
        "seed class                 cases  /knowing  /fixed  /untaught  calibration  log loss"
    );
    let mut means: BTreeMap<usize, Vec<[f64; 5]>> = BTreeMap::new();
    for seed in seeds {
        for (class, size, row) in trial(&catalogue, seed, walks) {
            println!(
                "{seed:4} {class:22} {size:4}   {:.3}     {:.3}   {:.3}      {:.3}        {:.3}",
                row[0], row[1], row[2], row[3], row[4]
            );
            means.entry(size).or_default().push(row);
        }
    }
    for (size, rows) in means {
        let mean = |at: usize| rows.iter().map(|row| row[at]).sum::<f64>() / rows.len() as f64;
        let worst = |at: usize| rows.iter().map(|row| row[at]).fold(0.0, f64::max);
        println!(
            "mean (worst) {size:4} cases: knowing {:.3} ({:.3}) fixed {:.3} ({:.3}) untaught {:.3} ({:.3}) calibration {:.3} ({:.3}) log loss {:.3}",
            mean(0),
            worst(0),
            mean(1),
            worst(1),
            mean(2),
            worst(2),
            mean(3),
            worst(3),
            mean(4)
        );
    }
}

fn trial(catalogue: &Catalogue, seed: u64, walks: usize) -> Vec<(String, usize, [f64; 5])> {
    let fleet = Fleet::new(catalogue, seed);
    let model = fleet.model();
    let knowledge = practice(catalogue).expect("usable");
    let untaught = Learned::from(&knowledge, Ledger::new().tables());
    let mut by_class: BTreeMap<String, Vec<Case>> = BTreeMap::new();
    for (number, made) in fleet.incidents(40_000).enumerate() {
        let case = case(number as i64 + 1, &made.incident, made.tool.class.as_str());
        by_class
            .entry(case.tool_class.clone())
            .or_default()
            .push(case);
    }
    let mut rows = Vec::new();
    let mut plain: BTreeMap<(String, usize), [f64; 3]> = BTreeMap::new();
    for size in SIZES {
        let mut ledger = Ledger::new();
        for case in by_class.values().flat_map(|cases| &cases[..size]) {
            ledger.apply(case.number, Some(case)).expect("a case");
        }
        let learned = Learned::from(&knowledge, ledger.tables());
        for (class, cases) in &by_class {
            let truth = &model.classes[class.as_str()];
            let built = catalogue.class(class).expect("a class");
            let parts = built.components.iter().map(ToString::to_string).collect();
            let trial = Trial::new(&knowledge, &model, class, truth, parts);
            let mut times = [0.0; 4];
            for (at, case) in cases[1000..1000 + walks].iter().enumerate() {
                let belief = trial.posterior(case);
                let known = plain.entry((class.clone(), at)).or_insert_with(|| {
                    [
                        trial.minutes(&belief, &mut |path, state| {
                            trial.knowing(&belief, path, state)
                        }),
                        trial.fixed(&belief, &untaught),
                        trial.minutes(&belief, &mut |path, state| {
                            trial.advised(&untaught, &untaught, case, path, state)
                        }),
                    ]
                });
                let ours = if size == 0 {
                    known[2]
                } else {
                    trial.minutes(&belief, &mut |path, state| {
                        trial.advised(&learned, &untaught, case, path, state)
                    })
                };
                for (sum, minutes) in times.iter_mut().zip([ours, known[0], known[1], known[2]]) {
                    *sum += minutes;
                }
            }
            let (calibration, loss) = trial.stated(&learned, &cases[1000..1000 + HELD_OUT]);
            rows.push((
                class.clone(),
                size,
                [
                    times[0] / times[1],
                    times[0] / times[2],
                    times[0] / times[3],
                    calibration,
                    loss,
                ],
            ));
        }
    }
    rows
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
                    1.0,
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
        Self {
            knowledge,
            model,
            class,
            truth,
            causes,
            checks,
            changes: facts.changes(),
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
        match self.model.checks[check].state {
            "pumped" => State::Pumped,
            "vented" => State::Vented,
            _ => State::StoppedPurged,
        }
    }

    /// The plan of one who knows the true chances and what was done so far.
    fn knowing(&self, belief: &[f64], path: &[(String, Outcome)], state: State) -> Path {
        let mut chances = belief.to_vec();
        for (check, outcome) in path {
            for (chance, cause) in chances.iter_mut().zip(&self.causes) {
                let found = self.found(check, cause);
                *chance *= if *outcome == Outcome::Found {
                    found
                } else {
                    1.0 - found
                };
            }
        }
        let left: Vec<&str> = self
            .checks
            .iter()
            .copied()
            .filter(|check| {
                let made = path.iter().any(|(id, _)| id == check);
                !made
            })
            .collect();
        let checks = left.iter().map(|check| {
            let known = &self.model.checks[check];
            CheckOption {
                minutes: known.minutes,
                state: self.state(check),
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
                    .filter_map(|(at, cause)| Some((at, *known.found.get(cause)?)))
                    .collect(),
            }
        });
        let problem = Problem {
            chances: normalised(chances),
            checks: checks.collect(),
            changes: self.changes,
            state,
            finish: Vec::new(),
        };
        let plan = sequence::plan(&problem, Effort::Quick).expect("a plan");
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
            },
            price_of_help: None,
            effort: Effort::Quick,
        }
    }

    fn advised(
        &self,
        learned: &Learned,
        untaught: &Learned,
        case: &Case,
        path: &[(String, Outcome)],
        state: State,
    ) -> Path {
        let request = self.request(case, path, state);
        let advice = advise(self.knowledge, learned, untaught, &request).expect("advice");
        advice
            .steps
            .into_iter()
            .map(|step| (step.check, step.assumed))
            .collect()
    }

    fn fixed(&self, belief: &[f64], untaught: &Learned) -> f64 {
        let mut request = self.request(&empty(), &[], State::Pumped);
        request.evidence = Evidence::default();
        let advice = advise(self.knowledge, untaught, untaught, &request).expect("advice");
        let order: Path = advice
            .practice_order
            .into_iter()
            .map(|check| (check, Outcome::Clear))
            .collect();
        self.minutes(belief, &mut |path, _| {
            order
                .iter()
                .filter(|(id, _)| !path.iter().any(|(made, _)| made == id))
                .cloned()
                .collect()
        })
    }

    /// Expected minutes until the cause is found, over the true chances, of a way to go on.
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
            minutes += mass * (self.changes[state as usize][to as usize] + known.minutes);
            state = to;
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
            } else {
                for (weight, cause) in weights.iter_mut().zip(&self.causes) {
                    *weight *= 1.0 - known.found.get(cause).copied().unwrap_or(0.0);
                }
            }
            path.push((check, assumed));
        }
        minutes
    }

    /// Expected calibration error of the likeliest cause, in tenths, and mean log loss.
    fn stated(&self, learned: &Learned, cases: &[Case]) -> (f64, f64) {
        let (mut bins, mut loss) = ([0.0; 10], 0.0);
        for case in cases {
            let evidence = self.request(case, &[], State::Pumped).evidence;
            let belief = Belief::of(
                self.knowledge,
                learned,
                self.class,
                Some(&self.parts),
                &evidence,
            )
            .expect("a belief");
            let best = &belief.causes[0];
            let bin = ((best.chance * 10.0) as usize).min(9);
            bins[bin] += best.chance - f64::from(u8::from(best.id == case.cause));
            let stated = belief.causes.iter().find(|cause| cause.id == case.cause);
            loss -= stated
                .map_or(belief.unlisted, |cause| cause.chance)
                .max(1e-9)
                .ln();
        }
        let count = cases.len() as f64;
        (
            bins.iter().map(|bin: &f64| bin.abs()).sum::<f64>() / count,
            loss / count,
        )
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
