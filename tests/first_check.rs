//! The order begins where the program itself expects the shortest search.

use std::collections::BTreeSet;

use coldtrap::{
    advice::{
        Evidence, Learned, Request, State, problem_of,
        sequence::{Effort, minutes_beginning_with, plan},
    },
    casebook::Asker,
    knowledge::practice,
    replay::History,
    statistics::Ledger,
};

use crate::support::app::TestApp;

/// On every tool of the demo (in a debug build one of each class), with what its closed incidents
/// teach: no isolating check that could be made first leads to a search the program expects to be
/// shorter by more than 4 %.
#[tokio::test]
async fn no_isolating_check_of_a_demo_tool_is_a_better_beginning() {
    let app = TestApp::demo().await;
    let asker = Asker::console();
    let history = History::read(&app.store, &app.catalogue, &asker, 10_000)
        .await
        .expect("the demo's incidents");
    let knowledge = practice(&app.catalogue).expect("a usable catalogue");
    let mut ledger = Ledger::new();
    for past in &history.cases {
        let case = &past.case;
        ledger.apply(case.number, Some(case)).expect("a case");
    }
    let learned = Learned::from(&knowledge, &ledger.lessons(None));
    let (mut asked, mut worst) = (0, (1.0, String::new()));
    let mut classes = BTreeSet::new();
    for tool in app.store.tools(&asker).await.expect("the demo's tools") {
        if cfg!(debug_assertions) && !classes.insert(tool.class.clone()) {
            continue;
        }
        let request = Request {
            class: tool.class.to_string(),
            components: Some(tool.components.iter().map(ToString::to_string).collect()),
            state: State::Pumped,
            evidence: Evidence::default(),
            price_of_help: None,
            effort: Effort::Full,
        };
        let problem = problem_of(&knowledge, &learned, &request).expect("a problem");
        let ours = plan(&problem, Effort::Full)
            .expect("a plan")
            .expected_minutes;
        let isolating = (0..problem.checks.len()).filter(|&at| problem.checks[at].isolating);
        for first in isolating {
            let begun = minutes_beginning_with(&problem, first, Effort::Full).expect("a plan");
            let Some(minutes) = begun else { continue };
            asked += 1;
            if ours / minutes > worst.0 {
                worst = (ours / minutes, format!("{}: check {first}", tool.id));
            }
        }
    }
    println!("{asked} beginnings, worst {worst:?}");
    assert!(asked > 40, "only {asked} beginnings were tried");
    assert!(worst.0 < 1.04, "{worst:?}");
}
