//! Belief, learning and advice against exact inference, and on bad input.

use std::collections::BTreeMap;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use super::{sequence::Effort, *};
use crate::statistics::{Case, Ledger, NOT_FOUND, Outcome, tables::Lessons};

fn listed(row: &Value, prefix: &str) -> BTreeMap<String, f64> {
    let values = row.as_array().unwrap().iter().enumerate();
    values
        .filter_map(|(at, value)| Some((format!("{prefix}{at}"), value.as_f64()?)))
        .collect()
}

fn class(id: &str, components: &[&str]) -> ClassFacts {
    ClassFacts {
        id: id.to_owned(),
        components: components.iter().map(|&part| part.to_owned()).collect(),
        vent: 15.0,
        pump_down: 60.0,
        stop_and_purge: 150.0,
        restart: 200.0,
    }
}

fn cause(id: &str, component: &str, weight: f64, signs: &[(&str, f64)]) -> CauseFacts {
    CauseFacts {
        id: id.to_owned(),
        component: component.to_owned(),
        weight,
        fix_minutes: 20.0,
        signs: signs
            .iter()
            .map(|&(sign, chance)| (sign.to_owned(), chance))
            .collect(),
        decades: Some((0.5, 1.5)),
        ..CauseFacts::default()
    }
}

fn check(id: &str, state: State, minutes: f64, reveals: &[(&str, f64)]) -> CheckFacts {
    CheckFacts {
        id: id.to_owned(),
        state,
        minutes,
        isolating: false,
        false_alarm: 0.02,
        reveals: reveals
            .iter()
            .map(|&(cause, chance)| (cause.to_owned(), chance))
            .collect(),
        needs_first: Vec::new(),
        needs_components: Vec::new(),
    }
}

fn observation(id: &str, background: f64) -> Observation {
    Observation {
        id: id.to_owned(),
        background,
    }
}

fn small() -> Knowledge {
    let parts = ["door", "pump", "water"];
    let mut valve = check(
        "open-the-valve",
        State::StoppedPurged,
        20.0,
        &[("pump-tired", 0.9)],
    );
    valve.needs_first = vec!["purge".to_owned()];
    let mut scan = check(
        "scan",
        State::Pumped,
        10.0,
        &[("door-dirty", 0.9), ("pump-tired", 0.1)],
    );
    scan.isolating = true;
    Knowledge::new(
        vec![
            class("box", &parts),
            class("tube", &parts),
            class("dry", &["door", "pump"]),
        ],
        vec![
            cause("door-dirty", "door", 5.0, &[("hiss", 0.7), ("slow", 0.1)]),
            cause("pump-tired", "pump", 3.0, &[("hiss", 0.02), ("slow", 0.9)]),
            cause(
                "water-line",
                "water",
                2.0,
                &[("hiss", 0.1), ("slow", 0.6), ("wet", 0.9)],
            ),
        ],
        vec![
            observation("hiss", 0.05),
            observation("slow", 0.2),
            observation("wet", 0.03),
        ],
        vec![observation("door-opened", 0.5)],
        vec![
            check("look-at-door", State::Vented, 10.0, &[("door-dirty", 0.8)]),
            check("pressure-test", State::Pumped, 30.0, &[("water-line", 0.9)]),
            check("purge", State::StoppedPurged, 5.0, &[]),
            valve,
            scan,
        ],
    )
    .unwrap()
}

fn case(number: i64, class: &str, cause: &str, hiss: bool) -> Case {
    Case {
        number,
        tool: "T-1".to_owned(),
        tool_class: class.to_owned(),
        site: "ALD".to_owned(),
        cause: cause.to_owned(),
        component: None,
        kind: None,
        occurred_day: number,
        labour_minutes: 30.0,
        down_hours: 2.0,
        signs: vec![("hiss".to_owned(), hiss)],
        antecedents: Vec::new(),
        checks: vec![("look-at-door".to_owned(), Outcome::Found, 12.0)],
        loss_decades: Some(1.0),
    }
}

fn request(class: &str) -> Request {
    Request {
        class: class.to_owned(),
        components: None,
        state: State::Pumped,
        evidence: Evidence::default(),
        price_of_help: None,
        effort: Effort::Full,
    }
}

/// 200 random models, against variable elimination by pgmpy (tests/reference/belief.py)
/// and against Bayes' theorem written out.
#[test]
fn posteriors_agree_with_variable_elimination() {
    let reference: Value =
        serde_json::from_str(include_str!("../../tests/reference/belief.json")).unwrap();
    let models = reference["models"].as_array().unwrap();
    assert_eq!(models.len(), 200);
    for model in models {
        let rows = |name: &str| model[name].as_array().unwrap().clone();
        let causes = rows("weights").len();
        let part = |at: usize| format!("part{at}");
        let parts: Vec<String> = (0..causes).map(part).collect();
        let facts = (0..causes)
            .map(|at| CauseFacts {
                id: format!("cause{at}"),
                component: part(at),
                weight: model["weights"][at].as_f64().unwrap(),
                signs: listed(&model["signs"][at], "sign"),
                ..CauseFacts::default()
            })
            .collect();
        let signs = rows("background")
            .iter()
            .enumerate()
            .map(|(at, value)| observation(&format!("sign{at}"), value.as_f64().unwrap()))
            .collect();
        let checks = rows("false_alarm")
            .iter()
            .enumerate()
            .map(|(at, alarm)| {
                let mut facts = check(&format!("check{at}"), State::Pumped, 5.0, &[]);
                facts.false_alarm = alarm.as_f64().unwrap();
                for cause in 0..causes {
                    if let Some(chance) = model["reveals"][cause][at].as_f64() {
                        facts.reveals.insert(format!("cause{cause}"), chance);
                    }
                }
                facts
            })
            .collect();
        let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
        let knowledge =
            Knowledge::new(vec![class("box", &parts)], facts, signs, Vec::new(), checks).unwrap();
        let learned = Learned::from(&knowledge, &Lessons::default());
        let known = |name: &str| -> Vec<(usize, bool)> {
            let values = model[name].as_array().unwrap().iter().enumerate();
            values
                .filter_map(|(at, value)| Some((at, value.as_bool()?)))
                .collect()
        };
        let evidence = Evidence {
            signs: known("seen")
                .iter()
                .map(|&(at, seen)| (format!("sign{at}"), seen))
                .collect(),
            outcomes: known("outcomes")
                .iter()
                .map(|&(at, found)| {
                    let outcome = if found {
                        Outcome::Found
                    } else {
                        Outcome::Clear
                    };
                    (format!("check{at}"), outcome)
                })
                .collect(),
            ..Evidence::default()
        };
        let belief = Belief::of(&knowledge, &learned, "box", None, &evidence).unwrap();
        let want = crate::statistics::reference::numbers(&model["posterior"]);
        let mut total = belief.unlisted;
        for found in &belief.causes {
            let at: usize = found.id["cause".len()..].parse().unwrap();
            assert!(
                (found.chance - want[at]).abs() < 1e-9,
                "{found:?} against {}",
                want[at]
            );
            assert!(found.interval.low <= found.interval.high);
            total += found.chance;
        }
        assert!((belief.unlisted - want[causes]).abs() < 1e-9);
        assert!((total - 1.0).abs() < 1e-12);
    }
}

#[test]
fn without_cases_the_belief_is_common_practice() {
    let knowledge = small();
    let learned = Learned::from(&knowledge, &Lessons::default());
    for name in ["box", "dry"] {
        let belief = Belief::of(&knowledge, &learned, name, None, &Evidence::default()).unwrap();
        for cause in &belief.causes {
            assert!((cause.chance - cause.practice).abs() < 1e-12, "{cause:?}");
        }
        assert!((belief.unlisted - learned::UNLISTED_SHARE).abs() < 1e-12);
        assert_eq!(belief.causes.len(), if name == "box" { 3 } else { 2 });
    }
}

/// The classes differ from practice; the chances have to come to the truth, the class
/// without cases has to lean towards the others, and signs have to be learnt.
#[test]
fn chances_come_to_what_the_cases_say() {
    let knowledge = small();
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let mut ledger = Ledger::new();
    let untaught = Learned::from(&knowledge, ledger.tables());
    for number in 0..800 {
        let class = if number % 2 == 0 { "box" } else { "tube" };
        let draw: f64 = rng.random();
        let cause = match draw {
            0.0..0.10 => "door-dirty",
            0.10..0.25 => "pump-tired",
            0.25..0.95 => "water-line",
            _ => NOT_FOUND,
        };
        let hiss = rng.random_bool(if cause == "water-line" { 0.6 } else { 0.05 });
        ledger
            .apply(number, Some(&case(number, class, cause, hiss)))
            .unwrap();
    }
    let learned = Learned::from(&knowledge, ledger.tables());
    let chance = |learned: &Learned, class: &str, cause: &str, evidence: &Evidence| {
        let belief = Belief::of(&knowledge, learned, class, None, evidence).unwrap();
        belief
            .causes
            .into_iter()
            .find(|known| known.id == cause)
            .unwrap()
    };
    let nothing = Evidence::default();
    let water = chance(&learned, "box", "water-line", &nothing);
    assert!((water.chance - 0.70).abs() < 0.05, "{water:?}");
    assert!(
        water.interval.low < 0.70 && 0.70 < water.interval.high,
        "{water:?}"
    );
    assert!(water.interval.high - water.interval.low < 0.12, "{water:?}");
    let before = chance(&untaught, "box", "water-line", &nothing);
    assert!(
        before.interval.high - before.interval.low > 0.3,
        "{before:?}"
    );
    // No case of the class "dry", which has no water: door against pump as elsewhere.
    let door = chance(&learned, "dry", "door-dirty", &nothing);
    assert!(door.chance < chance(&untaught, "dry", "door-dirty", &nothing).chance - 0.05);
    let hiss = Evidence {
        signs: vec![("hiss".to_owned(), true)],
        ..nothing.clone()
    };
    assert!(chance(&untaught, "box", "water-line", &hiss).chance < 0.2);
    assert!(chance(&learned, "box", "water-line", &hiss).chance > 0.9);
}

#[test]
fn a_clear_outcome_lowers_a_cause_and_does_not_kill_it() {
    let knowledge = small();
    let learned = Learned::from(&knowledge, &Lessons::default());
    let chance = |outcomes: &[Outcome]| {
        let outcomes = outcomes
            .iter()
            .map(|outcome| ("look-at-door".to_owned(), *outcome))
            .collect();
        let evidence = Evidence {
            outcomes,
            ..Evidence::default()
        };
        let belief = Belief::of(&knowledge, &learned, "box", None, &evidence).unwrap();
        belief
            .causes
            .into_iter()
            .find(|cause| cause.id == "door-dirty")
            .unwrap()
            .chance
    };
    let (start, clear) = (chance(&[]), chance(&[Outcome::Clear]));
    assert!(0.05 < clear && clear < start);
    assert!(chance(&[Outcome::Found]) > 0.9);
    assert_eq!(chance(&[Outcome::Inconclusive]), start);
    assert_eq!(
        chance(&[Outcome::Found, Outcome::Clear, Outcome::Inconclusive]),
        clear
    );
}

#[test]
fn evidence_against_every_single_cause_is_said() {
    let facts: Vec<CauseFacts> = ["left", "right"]
        .iter()
        .map(|side| {
            let signs: Vec<(String, f64)> = ["left", "right"]
                .iter()
                .flat_map(|other| {
                    let chance = if side == other { 0.95 } else { 0.02 };
                    (0..4).map(move |at| (format!("{other}{at}"), chance))
                })
                .collect();
            CauseFacts {
                signs: signs.into_iter().collect(),
                ..cause(side, "part", 1.0, &[])
            }
        })
        .collect();
    let signs: Vec<Observation> = ["left", "right"]
        .iter()
        .flat_map(|side| (0..4).map(move |at| observation(&format!("{side}{at}"), 0.02)))
        .collect();
    let knowledge = Knowledge::new(
        vec![class("box", &["part"])],
        facts,
        signs,
        Vec::new(),
        Vec::new(),
    )
    .unwrap();
    let learned = Learned::from(&knowledge, &Lessons::default());
    let of = |sides: &[&str]| {
        let seen = |at: usize| sides.iter().map(move |side| (format!("{side}{at}"), true));
        let evidence = Evidence {
            signs: (0..4).flat_map(seen).collect(),
            ..Evidence::default()
        };
        Belief::of(&knowledge, &learned, "box", None, &evidence).unwrap()
    };
    assert_eq!(of(&["left"]).contradiction, None);
    let both = of(&["left", "right"]).contradiction.unwrap();
    assert!(both.surprise > belief::SURPRISE);
    assert_eq!(both.pair, Some(("left".to_owned(), "right".to_owned())));
}

#[test]
fn advice_orders_safely_and_gives_reasons() {
    let knowledge = small();
    let learned = Learned::from(&knowledge, &Lessons::default());
    let mut asked = request("box");
    asked.price_of_help = Some(1.0);
    let advice = advise(&knowledge, &learned, &learned, &asked).unwrap();
    let at = |id: &str| advice.steps.iter().position(|step| step.check == id);
    assert!(advice.proven && advice.gap == 0.0);
    assert!(at("purge").unwrap() < at("open-the-valve").unwrap());
    assert!(advice.expected_minutes <= advice.practice_minutes + 1e-9);
    assert_eq!(advice.stop.unwrap().after, 0);
    assert!(advice.without_check.is_empty() && advice.blocked.is_empty());
    let door = &advice.steps[at("look-at-door").unwrap()];
    assert_eq!(door.finds[0].cause, "door-dirty");
    assert_eq!(door.if_clear.as_ref().unwrap().cause, "door-dirty");
    assert!(door.interval.low < door.chance && door.chance < door.interval.high);

    // The purge has been made but the pump runs again: it has to be made again.
    asked.evidence.outcomes = vec![("purge".to_owned(), Outcome::Clear)];
    let again = advise(&knowledge, &learned, &learned, &asked).unwrap();
    let at = |id: &str| again.steps.iter().position(|step| step.check == id);
    assert!(at("purge").unwrap() < at("open-the-valve").unwrap());
    asked.state = State::StoppedPurged;
    let purged = advise(&knowledge, &learned, &learned, &asked).unwrap();
    assert!(!purged.steps.iter().any(|step| step.check == "purge"));

    // A tool without water: its cause and its check go.
    asked.components = Some(vec!["door".to_owned(), "pump".to_owned()]);
    let dry = advise(&knowledge, &learned, &learned, &asked).unwrap();
    assert_eq!(dry.belief.causes.len(), 2);
    assert!(!dry.steps.iter().any(|step| step.check == "pressure-test"));
}

/// By hand: venting takes 15 minutes and pumping down 60. Looking from outside (20 minutes)
/// finds the fault soonest, but it is mended with the tool vented, so that looking inside
/// (10 minutes) finds it where it can be mended at once.
#[test]
fn mending_and_proof_count_where_the_order_can_save_them() {
    let order = |fix_state: Option<State>| {
        let mut door = cause("door-dirty", "door", 5.0, &[]);
        door.fix_state = fix_state;
        let knowledge = Knowledge::new(
            vec![class("box", &["door"])],
            vec![door],
            Vec::new(),
            Vec::new(),
            vec![
                check("from-outside", State::Pumped, 20.0, &[("door-dirty", 1.0)]),
                check("from-inside", State::Vented, 10.0, &[("door-dirty", 1.0)]),
            ],
        )
        .unwrap();
        let learned = Learned::from(&knowledge, &Lessons::default());
        let advice = advise(&knowledge, &learned, &learned, &request("box")).unwrap();
        let chance = advice.belief.causes[0].chance;
        (advice, chance)
    };
    let (plain, chance) = order(None);
    assert_eq!(plain.steps[0].check, "from-outside");
    let after = plain.mended_minutes - plain.expected_minutes;
    assert!((after - 20.0 * chance).abs() < 0.01, "{after}");
    let (mended, chance) = order(Some(State::Vented));
    assert_eq!(mended.steps[0].check, "from-inside");
    assert!(mended.expected_minutes > plain.expected_minutes);
    let after = mended.mended_minutes - mended.expected_minutes;
    assert!((after - (20.0 + 60.0) * chance).abs() < 0.05, "{after}");
    assert!(mended.mended_minutes <= mended.practice_mended_minutes + 1e-9);
    // With the pump stopped the tool is vented as well, and has to be restarted anyway.
    let (stopped, _) = order(Some(State::StoppedPurged));
    let after = stopped.mended_minutes - stopped.expected_minutes;
    assert!(after > 200.0 * chance, "{after}");
    // Mended on a pumped tool, it can be mended in any state.
    let (pumped, _) = order(Some(State::Pumped));
    assert_eq!(pumped.steps[0].check, "from-outside");
}

#[test]
fn what_cannot_come_first_blocks_what_waits_for_it() {
    let mut purge = check("purge", State::StoppedPurged, 5.0, &[]);
    purge.needs_components = vec!["purge-line".to_owned()];
    let mut valve = check(
        "open-the-valve",
        State::StoppedPurged,
        20.0,
        &[("stuck", 0.9)],
    );
    valve.needs_first = vec!["purge".to_owned()];
    let knowledge = Knowledge::new(
        vec![class("box", &["pump"])],
        vec![cause("stuck", "pump", 1.0, &[])],
        Vec::new(),
        Vec::new(),
        vec![purge, valve],
    )
    .unwrap();
    let learned = Learned::from(&knowledge, &Lessons::default());
    let advice = advise(&knowledge, &learned, &learned, &request("box")).unwrap();
    assert!(advice.steps.is_empty());
    let blocked = Blocked {
        check: "open-the-valve".to_owned(),
        missing: "purge".to_owned(),
    };
    assert_eq!(advice.blocked, [blocked]);
    assert_eq!(advice.without_check[0].cause, "stuck");
}

#[test]
fn bad_requests_are_refused_in_words() {
    let knowledge = small();
    let learned = Learned::from(&knowledge, &Lessons::default());
    let refused = |change: &dyn Fn(&mut Request)| {
        let mut asked = request("box");
        change(&mut asked);
        advise(&knowledge, &learned, &learned, &asked)
            .unwrap_err()
            .to_string()
    };
    assert_eq!(
        refused(&|asked| asked.class = "sphere".to_owned()),
        "no tool class is called \"sphere\"; accepted is one of the catalogue"
    );
    assert_eq!(
        refused(&|asked| {
            asked.evidence.signs = vec![("hiss".to_owned(), true), ("hiss".to_owned(), false)];
        }),
        "\"hiss\" is given both as seen and as absent; accepted is one of them, or neither"
    );
    assert!(refused(&|asked| asked.evidence.signs = vec![("x".to_owned(), true)]).contains("sign"));
    assert!(refused(&|asked| asked.evidence.loss_decades = Some(f64::NAN)).contains("the loss"));
    assert!(refused(&|asked| asked.price_of_help = Some(-1.0)).contains("the price of help"));
    assert!(refused(&|asked| asked.components = Some(Vec::new())).contains("no cause is possible"));
    let parts = vec![class("box", &["door"])];
    let mut bad = cause("a", "door", 1.0, &[]);
    bad.weight = -1.0;
    let error = Knowledge::new(parts.clone(), vec![bad], Vec::new(), Vec::new(), Vec::new());
    assert_eq!(
        error.unwrap_err().to_string(),
        "weight of a is -1; accepted is 0 to 1e6"
    );
    let mut late = check("look", State::Pumped, -5.0, &[]);
    let error = Knowledge::new(
        parts.clone(),
        Vec::new(),
        Vec::new(),
        Vec::new(),
        vec![late.clone()],
    );
    assert_eq!(
        error.unwrap_err().to_string(),
        "minutes of look is -5; accepted is 0 to 1e6"
    );
    late.minutes = 5.0;
    let twice = vec![late.clone(), late];
    assert!(Knowledge::new(parts, Vec::new(), Vec::new(), Vec::new(), twice).is_err());
}

/// Chances of 0 and 1, checks of no minutes, and causes nothing finds.
#[test]
fn extremes_give_numbers() {
    let mut sure = check(
        "sure",
        State::Pumped,
        0.0,
        &[("never", 1.0), ("always", 0.0)],
    );
    sure.false_alarm = 0.0;
    let knowledge = Knowledge::new(
        vec![class("box", &["part"])],
        vec![
            cause("always", "part", 1.0, &[("sign", 1.0)]),
            cause("never", "part", 1.0, &[("sign", 0.0)]),
        ],
        vec![observation("sign", 0.0)],
        Vec::new(),
        vec![sure],
    )
    .unwrap();
    let learned = Learned::from(&knowledge, &Lessons::default());
    for seen in [true, false] {
        for outcome in [Outcome::Found, Outcome::Clear] {
            let mut asked = request("box");
            asked.evidence.signs = vec![("sign".to_owned(), seen)];
            asked.evidence.outcomes = vec![("sure".to_owned(), outcome)];
            let advice = advise(&knowledge, &learned, &learned, &asked).unwrap();
            let chances = advice.belief.causes.iter().map(|cause| cause.chance);
            let total = chances.sum::<f64>() + advice.belief.unlisted;
            assert!((total - 1.0).abs() < 1e-12 && advice.expected_minutes == 0.0);
            assert_eq!(advice.without_check.len(), 2);
        }
    }
}

#[test]
fn a_replay_scores_what_was_known_before_each_case() {
    let knowledge = small();
    let mut cases: Vec<Case> = (0..120)
        .map(|number| case(number, "box", "pump-tired", false))
        .collect();
    cases.push(case(500, "box", NOT_FOUND, false));
    cases.push(case(501, "nobody", "pump-tired", false));
    let replay = backtest(&knowledge, &cases, &|_| None, &mut |_| {}).unwrap();
    assert_eq!((replay.all.cases, replay.all.timed), (121, 120));
    assert_eq!(replay.left_out.len(), 1);
    assert_eq!(replay.all, replay.classes["box"]);
    let score = &replay.all;
    assert!(score.top_1.unwrap().count > 100, "{score:?}");
    assert!(score.log_loss < 0.6 * score.practice_log_loss, "{score:?}");
    assert!(score.advice.minutes < score.practice.minutes, "{score:?}");
    // Vent, then look: what the people typed, with the change of state.
    assert!((score.people.minutes - 27.0).abs() < 1e-9 && score.people.checks == 1.0);

    // Case 0 was advised on from nothing: one replayed alone scores by common practice.
    let first = backtest(&knowledge, &cases[..1], &|_| None, &mut |_| {})
        .unwrap()
        .all;
    assert!((first.log_loss - first.practice_log_loss).abs() < 1e-12);
    let empty = backtest(&knowledge, &[], &|_| None, &mut |_| {}).unwrap();
    assert_eq!(
        (empty.all.cases, empty.all.top_1, empty.all.log_loss),
        (0, None, 0.0)
    );
}
