//! Would the advice have helped? Closed cases replayed in time order, each advised on from
//! what was known before it: a case teaches those that began after it was closed.
//!
//! What is on record now counts as what was known then: a report corrected later, and a tool
//! fitted otherwise since, are replayed as they are. Orders come from the quick search.
//!
//! What nobody recorded has to be modelled: a check that was not made in the case is taken
//! to find the true cause with its listed chance, and times are averages over that; an
//! isolating check that was not made gives what is drawn by its listed chance, once for a case. A check
//! that was made gives what it gave. The fixed common-practice order is timed by the same
//! rule, and so is what would be advised with the same signs before any case, which shows what
//! the cases are worth. The people's time is what they typed, with the same minutes for changes of state, to
//! the check that found the cause, as for the orders, and beside it to their last check. It is
//! not known, and nothing is compared with it, where they noted no check, or one without its
//! minutes.
//! Cases whose cause was not found, or is not listed for the tool, have no time and count
//! only for the stated chances. What the advice announces holds such searches to their end as well, by
//! their chance, a cause that its check misses, and acting on false alarms. So beside it stands what it
//! expects of searches for a listed cause that find it, and what such searches take in the replay.

use std::collections::BTreeMap;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{
    AdviceError, Chances, CheckFacts, Evidence, Found, Knowledge, Learned, Order, Ordered, Request,
    State, advise, order, sequence::Effort,
};
use crate::statistics::{
    Case, Interval, Ledger, Outcome, Share,
    tables::{Aging, Lessons},
};

/// What is left is not ordered anew once the chance that the cause is still hidden is below this.
const HIDDEN: f64 = 0.005;
const BINS: usize = 10;
const RESAMPLES: usize = 1_000;
const RESAMPLING: u64 = 1;
/// Cases from which on a mean has an interval.
const FEWEST: usize = 6;
/// Chances enter the log loss no smaller than this.
const LEAST_CHANCE: f64 = 1e-9;

/// A closed case with the time it was open.
#[derive(Clone, Debug, PartialEq)]
pub struct Past {
    /// The case.
    pub case: Case,
    /// When it began, in microseconds since 1 January 1970.
    pub began: i64,
    /// When it was closed, which is when its cause was known.
    pub closed: i64,
}

/// How a replay went.
#[derive(Clone, Debug, PartialEq)]
pub struct Replay {
    /// All classes together.
    pub all: Score,
    /// By tool class.
    pub classes: BTreeMap<String, Score>,
    /// Cases left out, each with the reason.
    pub left_out: Vec<(i64, String)>,
}

/// Figures of a replay. Without cases its means are 0 and say nothing, nor do those of minutes
/// and checks without timed ones, and of people without noted ones.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Score {
    /// Cases whose stated chances were scored.
    pub cases: u64,
    /// Cases that were timed as well.
    pub timed: u64,
    /// Timed cases whose people noted the minutes of every check they made, and made one.
    pub noted: u64,
    /// Noted cases in which a check is said to have found the cause; in the others all that
    /// people did counts.
    pub ended: u64,
    /// Means over the timed cases.
    pub advice: Times,
    /// As advised with the same signs and no cases.
    pub untaught: Times,
    /// The fixed common-practice order.
    pub practice: Times,
    /// What the people did until the cause was found, over the noted cases.
    pub people: Times,
    /// All that the people did, over the noted cases.
    pub people_whole: Times,
    /// As advised, over the noted cases alone.
    pub advice_noted: Times,
    /// Means of what the advice had announced, never finding it included.
    pub announced: Times,
    /// The same of searches for a listed cause that find it by following the advice, without acting on
    /// false alarms.
    pub announced_found: Times,
    /// As advised, as far as following it finds the cause.
    pub advice_found: Times,
    /// Mean of `-ln` of the chance given to the true cause.
    pub log_loss: f64,
    /// The same of common practice with the same signs, but no cases.
    pub practice_log_loss: f64,
    /// Mean of the squared distance between stated chances and truth (Brier 1950), 0 to 2.
    pub brier: f64,
    /// The same of common practice with the same signs, but no cases.
    pub practice_brier: f64,
    /// Cases whose likeliest cause was the true one.
    pub top_1: Option<Share>,
    /// Cases whose true cause was among the three likeliest.
    pub top_3: Option<Share>,
    /// The same two of common practice with the same signs, but no cases.
    pub practice_tops: [Option<Share>; 2],
    /// Stated chance of the likeliest cause against how often it was true, by tenths.
    pub reliability: Vec<Bin>,
    /// Mean distance between the two, weighted by cases: expected calibration error.
    pub calibration_error: f64,
    /// The same of common practice with the same signs, but no cases.
    pub practice_calibration_error: f64,
    /// How well the cases fix the means.
    pub intervals: Intervals,
}

/// 95 % bootstrap intervals of means over the cases (percentiles of 1,000 seeded resamples of
/// whole cases; Efron and Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13), from
/// six cases on: of fewer they would hold the truth far too seldom. How the cases before a case taught what it was advised on is taken as it was.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Intervals {
    /// Minutes and checks as advised.
    pub advice: [Option<Interval>; 2],
    /// The same with the same signs and no cases.
    pub untaught: [Option<Interval>; 2],
    /// The same in the fixed common-practice order.
    pub practice: [Option<Interval>; 2],
    /// The same of what people did until the cause was found.
    pub people: [Option<Interval>; 2],
    /// The same of all that people did.
    pub people_whole: [Option<Interval>; 2],
    /// The same of what the advice had announced.
    pub announced: [Option<Interval>; 2],
    /// The same of searches that find the cause.
    pub announced_found: [Option<Interval>; 2],
    /// The same as advised, as far as following it finds the cause.
    pub advice_found: [Option<Interval>; 2],
    /// Minutes as advised less those announced, both of searches that find the cause.
    pub over_announced: Option<Interval>,
    /// Minutes as advised less those as advised with no cases, case by case.
    pub over_untaught: Option<Interval>,
    /// Minutes as advised less those in the fixed order, case by case.
    pub over_practice: Option<Interval>,
    /// Minutes as advised less those people took until the cause was found, over the noted cases.
    pub over_people: Option<Interval>,
    /// Log loss with the cases, and of common practice alone.
    pub log_loss: [Option<Interval>; 2],
    /// Brier score with the cases, and of common practice alone.
    pub brier: [Option<Interval>; 2],
    /// Log loss and Brier score with the cases less those of common practice.
    pub over_practice_losses: [Option<Interval>; 2],
    /// Shares of cases whose likeliest cause, and one of whose three likeliest, was the true one
    /// with the cases, less those of common practice.
    pub over_practice_tops: [Option<Interval>; 2],
}

/// Means until the cause is found.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Times {
    /// Minutes, changes of state included.
    pub minutes: f64,
    /// Checks.
    pub checks: f64,
}

/// A tenth of the reliability diagram.
#[derive(Clone, Debug, PartialEq)]
pub struct Bin {
    /// Lower edge of the stated chance.
    pub from: f64,
    /// Upper edge.
    pub to: f64,
    /// Mean stated chance.
    pub stated: f64,
    /// How often it was true.
    pub came_true: Share,
}

/// Replays `cases` in the order in which they began, then by number. `components` gives the components of a
/// tool (none: all its class can have); with a half-life old cases weigh less. `progress` is told how many cases are done.
///
/// # Errors
/// Common practice that contradicts itself; a case that cannot be used is left out and
/// named in the answer instead.
pub fn backtest(
    knowledge: &Knowledge,
    cases: &[Past],
    half_life_days: Option<f64>,
    components: &dyn Fn(&str) -> Option<Vec<String>>,
    progress: &mut dyn FnMut(usize),
) -> Result<Replay, AdviceError> {
    let mut order: Vec<&Past> = cases.iter().collect();
    order.sort_by_key(|past| (past.began, past.case.number));
    let mut closing = order.clone();
    closing.sort_by_key(|past| (past.closed, past.case.number));
    let mut closing = closing.into_iter().peekable();
    let untaught = Learned::from(knowledge, &Lessons::default());
    let mut ledger = Ledger::new();
    let mut learned = untaught.clone();
    let mut learned_from = 0;
    let mut sums: BTreeMap<String, Sum> = BTreeMap::new();
    let mut left_out = Vec::new();
    let mut usual = Usual::new();
    let mut teach = |ledger: &mut Ledger, left_out: &mut Vec<_>, before: i64| {
        while let Some(past) = closing.next_if(|past| past.closed < before) {
            let case = &past.case;
            if let Err(error) = ledger.apply(case.number, Some(case)) {
                left_out.push((case.number, error.to_string()));
            }
        }
    };
    for (done, past) in order.iter().enumerate() {
        let case = &past.case;
        teach(&mut ledger, &mut left_out, past.began);
        // Learning anew at each twentieth more cases uses, if anything, less than was known.
        if ledger.len() > learned_from + learned_from / 20 {
            let aging = half_life_days.map(|half_life_days| Aging {
                today: case.occurred_day,
                half_life_days,
            });
            learned = Learned::from(knowledge, &ledger.lessons(aging));
            learned_from = ledger.len();
        }
        let replay = Replayed {
            knowledge,
            learned: &learned,
            untaught: &untaught,
            case,
        };
        match replay.run(components(&case.tool), &mut usual) {
            Ok(result) => sums
                .entry(case.tool_class.clone())
                .or_default()
                .add(&result),
            Err(error) => left_out.push((case.number, error.to_string())),
        }
        progress(done + 1);
    }
    // What taught nobody is still counted, so that what cannot be counted is named.
    teach(&mut ledger, &mut left_out, i64::MAX);
    let mut all = Sum::default();
    for sum in sums.values() {
        all.join(sum);
    }
    Ok(Replay {
        all: all.score(),
        classes: sums
            .into_iter()
            .map(|(class, sum)| (class, sum.score()))
            .collect(),
        left_out,
    })
}

/// The fixed common-practice orders, by class and components.
type Usual = BTreeMap<(String, Option<Vec<String>>), Vec<String>>;

struct Replayed<'r> {
    knowledge: &'r Knowledge,
    learned: &'r Learned,
    untaught: &'r Learned,
    case: &'r Case,
}

struct Outcomes {
    taught: Stated,
    practice: Stated,
    timed: Option<Timed>,
}

struct Stated {
    /// Chance of the true cause, or that it is none of the listed.
    chance: f64,
    brier: f64,
    top_chance: f64,
    /// How many causes are likelier than the true one; none if it is not listed.
    rank: Option<usize>,
}

struct Timed {
    announced: Times,
    announced_found: Found,
    advice: Times,
    advice_found: Found,
    untaught: Times,
    practice: Times,
    people: Option<People>,
}

/// What people did, where they noted it.
#[derive(Clone, Copy)]
struct People {
    until_found: Times,
    whole: Times,
    ended: bool,
}

impl Replayed<'_> {
    fn run(
        &self,
        components: Option<Vec<String>>,
        usual: &mut Usual,
    ) -> Result<Outcomes, AdviceError> {
        let evidence = Evidence {
            signs: self.case.signs.clone(),
            antecedents: self.case.antecedents.clone(),
            loss_decades: self.case.loss_decades,
            outcomes: Vec::new(),
            ordered: usize::MAX,
            lapsed: Vec::new(),
            told: Vec::new(),
        };
        let class = &self.case.tool_class;
        let parts = components.as_deref();
        let knowledge = self.knowledge;
        let taught = Chances::of(knowledge, self.learned, class, parts, &evidence)?;
        let practice = Chances::of(knowledge, self.untaught, class, parts, &evidence)?;
        let (taught, practice) = (self.stated(&taught), self.stated(&practice));
        let timed = match self.knowledge.cause_index.get(&self.case.cause) {
            Some(&cause) if taught.rank.is_some() => {
                let request = Request {
                    class: class.clone(),
                    components,
                    state: State::Pumped,
                    evidence,
                    price_of_help: None,
                    effort: Effort::Quick,
                };
                let practice = self.usual(&request, usual)?;
                Some(self.times(request, cause, &practice)?)
            }
            _ => None,
        };
        Ok(Outcomes {
            taught,
            practice,
            timed,
        })
    }

    /// What chances say of the true cause.
    fn stated(&self, chances: &Chances) -> Stated {
        let causes = &chances.states[..chances.present.len()];
        let unlisted = chances.unlisted();
        let truth = self.knowledge.cause_index.get(&self.case.cause);
        let at = truth.and_then(|cause| chances.present.iter().position(|other| other == cause));
        let chance = at.map_or(unlisted, |at| causes[at]);
        let squares: f64 = causes.iter().map(|chance| chance.powi(2)).sum();
        Stated {
            chance,
            brier: squares + unlisted.powi(2) - chance.powi(2) + (1.0 - chance).powi(2),
            top_chance: chances.likeliest(self.knowledge).1,
            rank: at.map(|at| causes.iter().filter(|other| **other > causes[at]).count()),
        }
    }

    /// The fixed common-practice order: the best list before any case and any evidence.
    fn usual(&self, request: &Request, usual: &mut Usual) -> Result<Vec<String>, AdviceError> {
        let key = (request.class.clone(), request.components.clone());
        if let Some(order) = usual.get(&key) {
            return Ok(order.clone());
        }
        let plain = Request {
            evidence: Evidence::default(),
            effort: Effort::Full,
            ..request.clone()
        };
        let advice = advise(self.knowledge, self.untaught, self.untaught, &plain)?;
        usual.insert(key, advice.practice_order.clone());
        Ok(advice.practice_order)
    }

    fn times(
        &self,
        request: Request,
        cause: usize,
        usual: &[String],
    ) -> Result<Timed, AdviceError> {
        let changes = self.knowledge.class(&request.class)?.changes();
        let start = Walk {
            changes,
            state: State::Pumped,
            hidden: 1.0,
            spent: Times::default(),
            times: Times::default(),
            found: Found::default(),
        };
        let (_, untaught) = self.followed(self.untaught, request.clone(), cause, start)?;
        let (first, advice) = self.followed(self.learned, request, cause, start)?;
        let mut practice = start;
        for (at, id) in usual.iter().enumerate() {
            let check = self.knowledge.check_number(id)?;
            // What is made anew for those that wait for it finds nothing more.
            let finds = match usual[..at].contains(id) {
                true => 0.0,
                false => self.finds(check, cause),
            };
            practice.make(self.knowledge, check, finds);
        }
        Ok(Timed {
            announced: Times {
                minutes: first.expected_minutes,
                checks: first.expected_checks,
            },
            announced_found: first.found,
            advice: advice.times,
            advice_found: advice.found,
            untaught: untaught.times,
            practice: practice.times,
            people: self.people(start, cause),
        })
    }

    /// The advice at the beginning, and what comes of following it.
    fn followed(
        &self,
        learned: &Learned,
        mut request: Request,
        cause: usize,
        mut walk: Walk,
    ) -> Result<(Order, Walk), AdviceError> {
        let first = order(self.knowledge, learned, &request)?;
        let mut steps: Vec<Ordered> = first.steps.clone();
        'advised: loop {
            for step in &steps {
                let check = self.knowledge.check_number(&step.check)?;
                let finds = match step.anew {
                    true => 0.0,
                    false => self.finds(check, cause),
                };
                walk.make(self.knowledge, check, finds);
                let outcome = if step.isolating {
                    self.tells(check, cause)
                } else {
                    Outcome::Clear
                };
                request
                    .evidence
                    .outcomes
                    .push((step.check.clone(), outcome));
                request.state = step.after;
                if outcome != step.assumed && walk.hidden >= HIDDEN {
                    let next = order(self.knowledge, learned, &request)?;
                    steps = next.steps;
                    continue 'advised;
                }
            }
            break;
        }
        Ok((first, walk))
    }

    /// What people did; none if they noted no check, or one without its minutes.
    fn people(&self, mut walk: Walk, cause: usize) -> Option<People> {
        let mut until_found = None;
        for (id, outcome, minutes) in &self.case.checks {
            let check = self.knowledge.check_number(id).ok()?;
            let minutes = minutes.filter(|minutes| minutes.is_finite())?;
            walk.take(&self.knowledge.checks[check], minutes.max(0.0));
            // As it ends a search that follows an order.
            let found = *outcome == Outcome::Found && self.recorded(check) == Some(*outcome);
            if found && self.answers(check, cause).is_some() {
                until_found.get_or_insert(walk.times);
            }
        }
        (!self.case.checks.is_empty()).then_some(People {
            until_found: until_found.unwrap_or(walk.times),
            whole: walk.times,
            ended: until_found.is_some(),
        })
    }

    /// What is on record of a check: of several outcomes the last that could be judged.
    fn recorded(&self, check: usize) -> Option<Outcome> {
        let id = &self.knowledge.checks[check].id;
        let judged = self.case.checks.iter().rev();
        let judged = judged.map(|(other, outcome, _)| (other, *outcome));
        judged
            .filter(|(_, outcome)| *outcome != Outcome::Inconclusive)
            .find_map(|(other, outcome)| (other == id).then_some(outcome))
    }

    /// The listed chance that the check shows the cause for what it is; none if it cannot.
    fn answers(&self, check: usize, cause: usize) -> Option<f64> {
        let facts = &self.knowledge.checks[check];
        let listed = facts.reveals.get(&self.knowledge.causes[cause].id);
        listed.copied().filter(|_| !facts.isolating)
    }

    /// Chance that the check ends the search.
    fn finds(&self, check: usize, cause: usize) -> f64 {
        match self.answers(check, cause) {
            None => 0.0,
            Some(chance) => match self.recorded(check) {
                Some(Outcome::Found) => 1.0,
                Some(_) => 0.0,
                None => chance,
            },
        }
    }

    /// What an isolating check gives: what is on record, or else what is drawn, the same whichever
    /// order makes it.
    fn tells(&self, check: usize, cause: usize) -> Outcome {
        let facts = &self.knowledge.checks[check];
        let listed = facts.reveals.get(&self.knowledge.causes[cause].id);
        self.recorded(check).unwrap_or_else(|| {
            let mut rng = ChaCha8Rng::seed_from_u64(self.case.number.cast_unsigned());
            rng.set_stream(check as u64);
            match rng.random::<f64>() < *listed.unwrap_or(&facts.false_alarm) {
                true => Outcome::Found,
                false => Outcome::Clear,
            }
        })
    }
}

/// A search under way: averages over whether the cause is still hidden.
#[derive(Clone, Copy)]
struct Walk {
    changes: [[f64; 3]; 3],
    state: State,
    hidden: f64,
    /// Of a search that has not found it yet.
    spent: Times,
    /// Until it is found.
    times: Times,
    found: Found,
}

impl Walk {
    fn make(&mut self, knowledge: &Knowledge, check: usize, finds: f64) {
        let check = &knowledge.checks[check];
        self.take(check, check.minutes);
        let found = self.hidden * finds;
        self.hidden -= found;
        self.found.share += found;
        self.found.minutes += found * self.spent.minutes;
        self.found.checks += found * self.spent.checks;
    }

    fn take(&mut self, check: &CheckFacts, minutes: f64) {
        let (state, after) = (check.state, check.after());
        let mut change = self.changes[self.state as usize][state as usize];
        if after != state {
            change += self.changes[state as usize][after as usize];
        }
        change += check.pump_down_left(&self.changes);
        self.spent.minutes += change + minutes;
        self.spent.checks += 1.0;
        self.times.minutes += self.hidden * (change + minutes);
        self.times.checks += self.hidden;
        self.state = after;
    }
}

#[derive(Clone, Default)]
struct Sum {
    cases: u64,
    timed: u64,
    noted: u64,
    ended: u64,
    advice: Times,
    untaught: Times,
    practice: Times,
    people: Times,
    people_whole: Times,
    advice_noted: Times,
    announced: Times,
    log_loss: f64,
    practice_log_loss: f64,
    brier: f64,
    practice_brier: f64,
    /// With the cases, and of common practice.
    top_1: [u64; 2],
    top_3: [u64; 2],
    bins: Bins,
    practice_bins: Bins,
    /// By timed case: minutes and checks as advised, as advised with no cases, in the fixed
    /// order, and as announced; then shares, minutes and checks of what is found, as announced and as
    /// advised.
    of_timed: Vec<[f64; 14]>,
    /// By noted case: minutes and checks of people until the cause was found and in all, and
    /// minutes as advised.
    of_noted: Vec<[f64; 5]>,
    /// By case: log losses, Brier scores, and whether the true cause was the likeliest or among
    /// the three likeliest, each with the cases and of common practice.
    of_cases: Vec<[f64; 8]>,
}

/// By tenth of the stated chance of the likeliest cause: cases, how often it was the true
/// one, and the sum of what was stated.
#[derive(Clone, Default)]
struct Bins([(u64, u64, f64); BINS]);

impl Bins {
    fn add(&mut self, stated: &Stated) {
        let bin = &mut self.0[((stated.top_chance * BINS as f64) as usize).min(BINS - 1)];
        bin.0 += 1;
        bin.1 += u64::from(stated.rank == Some(0));
        bin.2 += stated.top_chance;
    }

    fn join(&mut self, other: &Self) {
        for (bin, more) in self.0.iter_mut().zip(&other.0) {
            bin.0 += more.0;
            bin.1 += more.1;
            bin.2 += more.2;
        }
    }

    /// Mean distance of what was stated from what came true.
    fn error(&self, cases: f64) -> f64 {
        let distances = self.0.iter().map(|bin| (bin.2 - bin.1 as f64).abs());
        distances.sum::<f64>() / cases
    }
}

impl Sum {
    fn add(&mut self, outcomes: &Outcomes) {
        self.cases += 1;
        let (taught, practice) = (&outcomes.taught, &outcomes.practice);
        let loss = |stated: &Stated| -stated.chance.max(LEAST_CHANCE).ln();
        let losses = [loss(taught), loss(practice), taught.brier, practice.brier];
        let within = |places: usize| {
            [taught, practice]
                .map(|stated| u64::from(stated.rank.is_some_and(|rank| rank < places)))
        };
        let (first, three) = (within(1), within(3));
        let mut row = [0.0; 8];
        row[..4].copy_from_slice(&losses);
        for (to, hit) in row[4..].iter_mut().zip(first.into_iter().chain(three)) {
            *to = hit as f64;
        }
        self.of_cases.push(row);
        self.log_loss += losses[0];
        self.practice_log_loss += losses[1];
        self.brier += taught.brier;
        self.practice_brier += practice.brier;
        add_each(&mut self.top_1, first);
        add_each(&mut self.top_3, three);
        self.bins.add(taught);
        self.practice_bins.add(practice);
        if let Some(timed) = &outcomes.timed {
            self.timed += 1;
            self.announced.add(timed.announced);
            self.advice.add(timed.advice);
            self.untaught.add(timed.untaught);
            self.practice.add(timed.practice);
            let all = [
                timed.advice,
                timed.untaught,
                timed.practice,
                timed.announced,
            ];
            let mut row = [0.0; 14];
            for (pair, times) in row.chunks_exact_mut(2).zip(all) {
                pair.copy_from_slice(&[times.minutes, times.checks]);
            }
            let found = [timed.announced_found, timed.advice_found];
            for (three, found) in row[8..].chunks_exact_mut(3).zip(found) {
                three.copy_from_slice(&[found.share, found.minutes, found.checks]);
            }
            self.of_timed.push(row);
            if let Some(people) = timed.people {
                self.add_noted(&people, timed.advice);
            }
        }
    }

    fn add_noted(&mut self, people: &People, advice: Times) {
        let (found, whole) = (people.until_found, people.whole);
        self.noted += 1;
        self.ended += u64::from(people.ended);
        self.people.add(found);
        self.people_whole.add(whole);
        self.advice_noted.add(advice);
        let [found, whole] = [found, whole].map(|times| [times.minutes, times.checks]);
        self.of_noted
            .push([found[0], found[1], whole[0], whole[1], advice.minutes]);
    }

    fn join(&mut self, other: &Self) {
        self.cases += other.cases;
        self.timed += other.timed;
        self.noted += other.noted;
        self.ended += other.ended;
        self.advice.add(other.advice);
        self.untaught.add(other.untaught);
        self.practice.add(other.practice);
        self.people.add(other.people);
        self.people_whole.add(other.people_whole);
        self.advice_noted.add(other.advice_noted);
        self.announced.add(other.announced);
        self.of_timed.extend_from_slice(&other.of_timed);
        self.of_noted.extend_from_slice(&other.of_noted);
        self.of_cases.extend_from_slice(&other.of_cases);
        self.log_loss += other.log_loss;
        self.practice_log_loss += other.practice_log_loss;
        self.brier += other.brier;
        self.practice_brier += other.practice_brier;
        add_each(&mut self.top_1, other.top_1);
        add_each(&mut self.top_3, other.top_3);
        self.bins.join(&other.bins);
        self.practice_bins.join(&other.practice_bins);
    }

    fn score(&self) -> Score {
        let cases = self.cases.max(1) as f64;
        let (timed, noted) = (self.timed.max(1) as f64, self.noted.max(1) as f64);
        let any = self.cases > 0;
        let found =
            found(&means(&self.of_timed)).map(|[minutes, checks]| Times { minutes, checks });
        let reliability = self.bins.0.iter().enumerate().filter(|(_, bin)| bin.0 > 0);
        Score {
            cases: self.cases,
            timed: self.timed,
            noted: self.noted,
            ended: self.ended,
            advice: self.advice.over(timed),
            untaught: self.untaught.over(timed),
            practice: self.practice.over(timed),
            people: self.people.over(noted),
            people_whole: self.people_whole.over(noted),
            advice_noted: self.advice_noted.over(noted),
            announced: self.announced.over(timed),
            announced_found: found[0],
            advice_found: found[1],
            log_loss: self.log_loss / cases,
            practice_log_loss: self.practice_log_loss / cases,
            brier: self.brier / cases,
            practice_brier: self.practice_brier / cases,
            top_1: any.then(|| Share::of(self.top_1[0], self.cases)),
            top_3: any.then(|| Share::of(self.top_3[0], self.cases)),
            practice_tops: [self.top_1[1], self.top_3[1]]
                .map(|hits| any.then(|| Share::of(hits, self.cases))),
            reliability: reliability
                .map(|(at, bin)| Bin {
                    from: at as f64 / BINS as f64,
                    to: (at + 1) as f64 / BINS as f64,
                    stated: bin.2 / bin.0 as f64,
                    came_true: Share::of(bin.1, bin.0),
                })
                .collect(),
            calibration_error: self.bins.error(cases),
            practice_calibration_error: self.practice_bins.error(cases),
            intervals: self.intervals(),
        }
    }

    fn intervals(&self) -> Intervals {
        let timed = resampled(&self.of_timed, |mean| {
            let [announced, advised] = found(mean);
            [
                mean[0],
                mean[1],
                mean[2],
                mean[3],
                mean[4],
                mean[5],
                mean[6],
                mean[7],
                announced[0],
                announced[1],
                advised[0],
                advised[1],
                mean[0] - mean[2],
                mean[0] - mean[4],
                advised[0] - announced[0],
            ]
        });
        let noted = resampled(&self.of_noted, |mean| {
            [mean[0], mean[1], mean[2], mean[3], mean[4] - mean[0]]
        });
        // The losses, then each measure less that of common practice.
        let cases = resampled(&self.of_cases, |mean| {
            std::array::from_fn::<f64, 8, _>(|at| match at {
                0..4 => mean[at],
                at => mean[2 * (at - 4)] - mean[2 * (at - 4) + 1],
            })
        });
        Intervals {
            advice: [timed[0], timed[1]],
            untaught: [timed[2], timed[3]],
            practice: [timed[4], timed[5]],
            people: [noted[0], noted[1]],
            people_whole: [noted[2], noted[3]],
            announced: [timed[6], timed[7]],
            announced_found: [timed[8], timed[9]],
            advice_found: [timed[10], timed[11]],
            over_untaught: timed[12],
            over_practice: timed[13],
            over_announced: timed[14],
            over_people: noted[4],
            log_loss: [cases[0], cases[1]],
            brier: [cases[2], cases[3]],
            over_practice_losses: [cases[4], cases[5]],
            over_practice_tops: [cases[6], cases[7]],
        }
    }
}

fn add_each(sums: &mut [u64; 2], more: [u64; 2]) {
    for (sum, more) in sums.iter_mut().zip(more) {
        *sum += more;
    }
}

/// Mean minutes and checks of searches that find the cause, as announced and as advised, from means
/// over the timed cases.
fn found(mean: &[f64; 14]) -> [[f64; 2]; 2] {
    [8, 11].map(|at| {
        let share = mean[at].max(f64::MIN_POSITIVE);
        [mean[at + 1] / share, mean[at + 2] / share]
    })
}

/// Means of the columns.
fn means<const N: usize>(rows: &[[f64; N]]) -> [f64; N] {
    mean_of(rows.iter(), rows.len())
}

fn mean_of<'r, const N: usize>(rows: impl Iterator<Item = &'r [f64; N]>, count: usize) -> [f64; N] {
    let mut means = [0.0; N];
    for row in rows {
        for (sum, value) in means.iter_mut().zip(row) {
            *sum += value;
        }
    }
    means.map(|sum| sum / count.max(1) as f64)
}

/// 95 % intervals of figures made `of` the means of the columns, whole rows drawn anew.
fn resampled<const N: usize, const M: usize>(
    rows: &[[f64; N]],
    of: impl Fn(&[f64; N]) -> [f64; M],
) -> [Option<Interval>; M] {
    if rows.len() < FEWEST {
        return [None; M];
    }
    let mut rng = ChaCha8Rng::seed_from_u64(RESAMPLING);
    let mut figures = [(); M].map(|()| Vec::with_capacity(RESAMPLES));
    for _ in 0..RESAMPLES {
        let drawn = (0..rows.len()).map(|_| &rows[rng.random_range(0..rows.len())]);
        for (figures, figure) in figures.iter_mut().zip(of(&mean_of(drawn, rows.len()))) {
            figures.push(figure);
        }
    }
    figures.map(|mut figures| {
        figures.sort_by(f64::total_cmp);
        let cut = RESAMPLES / 40;
        Some(Interval {
            low: figures[cut - 1],
            high: figures[RESAMPLES - cut],
        })
    })
}

impl Times {
    fn add(&mut self, other: Self) {
        self.minutes += other.minutes;
        self.checks += other.checks;
    }

    fn over(self, count: f64) -> Self {
        Self {
            minutes: self.minutes / count,
            checks: self.checks / count,
        }
    }
}
