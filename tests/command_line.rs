//! The commands of the contract, from outside.

use std::time::{Duration, Instant};

use coldtrap::search::Shelf;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::support::{
    process::{self, Server},
    record,
};

#[test]
fn every_verb_has_help_and_errors_go_to_standard_error() {
    for verb in [
        "demo",
        "serve",
        "import",
        "export",
        "verify",
        "backtest",
        "synthesise",
    ] {
        let help = process::run(&[verb, "--help"], b"");
        assert!(help.status.success(), "{verb}");
        assert!(
            String::from_utf8_lossy(&help.stdout).contains("Usage"),
            "{verb}"
        );
    }
    let folder = TempDir::new().expect("a folder");
    // What only reads a store makes none, and its help says so.
    for verb in ["export", "verify", "backtest"] {
        let help = process::run(&[verb, "--help"], b"");
        let help = String::from_utf8_lossy(&help.stdout).into_owned();
        let words: Vec<&str> = help.split_whitespace().collect();
        let told = words.join(" ");
        assert!(
            told.contains("serve and import make it if it is not there"),
            "{told}"
        );
    }
    let db = process::db(folder.path());
    let missing = process::run(&["backtest", "--db", &db], b"");
    assert_eq!(missing.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&missing.stderr).contains("cannot open the store"));
    let files = std::fs::read_dir(folder.path()).expect("a folder");
    assert_eq!(files.count(), 0);
    let missing = process::run_on(folder.path(), &["import", "/no/such/file"], b"");
    assert_eq!(missing.status.code(), Some(1));
    assert!(missing.stdout.is_empty());
    assert!(String::from_utf8_lossy(&missing.stderr).contains("/no/such/file"));
}

#[test]
fn only_this_machine_is_served() {
    let folder = TempDir::new().expect("a folder");
    let refused = process::run(
        &[
            "serve",
            "--db",
            &process::db(folder.path()),
            "--data",
            &folder.path().display().to_string(),
            "--listen",
            "0.0.0.0:0",
        ],
        b"",
    );
    assert_eq!(refused.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("loopback"));
}

#[test]
fn the_demo_answers_and_a_filed_report_is_found_within_a_second() {
    let server = Server::start(&["demo", "--listen", "127.0.0.1:0"]);
    let (status, page) = server.request("GET", "/", "");
    assert_eq!(status, 200);
    assert!(page.contains("68 tools at 10 sites"), "{page}");
    let (status, _) = server.request("GET", "/health/ready", "");
    assert_eq!(status, 200);

    let body = record::with("symptom", json!("marzipanwort in the load lock"));
    let (status, answer) = server.request("POST", "/api/incidents", &body.to_string());
    assert_eq!(status, 201, "{answer}");
    let acknowledged = Instant::now();
    loop {
        let (_, answer) = server.request("GET", "/api/search?q=marzipanwort", "");
        let found: Value = serde_json::from_str(&answer).expect("JSON");
        if found["total"] == 1 {
            break;
        }
        assert!(
            acknowledged.elapsed() < Duration::from_secs(1),
            "not found after a second"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
    let (status, _) = server.request("GET", "/api/incidents/999999", "");
    assert_eq!(status, 404);
}

#[test]
fn an_import_beside_a_serving_process_is_found_when_it_ends() {
    let folder = TempDir::new().expect("a folder");
    let server = Server::serve(folder.path());
    let row = record::closed().to_string();
    let taken = process::run_on(folder.path(), &["import", "/dev/stdin"], row.as_bytes());
    assert!(taken.status.success(), "{taken:?}");
    let (_, answer) = server.request("GET", "/api/search?q=foil", "");
    let answer: Value = serde_json::from_str(&answer).expect("JSON");
    assert_eq!(answer["total"], 1, "{answer}");
}

/// Its rows are stored, so that it comes no further is told and no error.
#[test]
fn an_import_beside_a_process_that_comes_no_further_says_so_and_succeeds() {
    let folder = TempDir::new().expect("a folder");
    let stuck = Shelf::open(folder.path()).expect("the lock of a serving process");
    let row = record::closed().to_string();
    let import = ["import", "/dev/stdin", "--wait", "1"];
    let taken = process::run_on(folder.path(), &import, row.as_bytes());
    assert!(taken.status.success(), "{taken:?}");
    let told = String::from_utf8_lossy(&taken.stdout).into_owned();
    assert!(told.contains("1 accepted"), "{told}");
    assert!(told.contains("has 0 of 1 changes"), "{told}");
    drop(stuck);
    let verified = process::run_on(folder.path(), &["verify"], b"");
    assert!(verified.status.success(), "{verified:?}");
}

#[test]
fn verify_beside_a_serving_process_waits_for_it_and_agrees() {
    let folder = TempDir::new().expect("a folder");
    let server = Server::serve(folder.path());
    for _ in 0..5 {
        let (status, _) = server.request("POST", "/api/incidents", &record::closed().to_string());
        assert_eq!(status, 201);
    }
    let verified = process::run_on(folder.path(), &["verify"], b"");
    assert!(verified.status.success(), "{verified:?}");
    assert!(String::from_utf8_lossy(&verified.stdout).contains("index: 5 incidents"));
}

#[test]
fn the_replay_says_how_the_advice_would_have_done() {
    let folder = TempDir::new().expect("a folder");
    let made = process::run(&["synthesise", "--incidents", "120", "--seed", "3"], b"");
    let taken = process::run_on(folder.path(), &["import", "/dev/stdin"], &made.stdout);
    assert!(taken.status.success(), "{taken:?}");
    let db = process::db(folder.path());
    let replayed = process::run(&["backtest", "--db", &db], b"");
    assert!(replayed.status.success(), "{replayed:?}");
    let told: Value = serde_json::from_slice(&replayed.stdout).expect("JSON");
    let all = &told["all"];
    let number = |value: &Value| value.as_f64().expect("a number");
    assert_eq!(
        all["cases"].as_u64().expect("a count") as usize
            + told["left_out"].as_array().expect("a list").len(),
        120
    );
    for way in ["advice", "common_practice", "people"] {
        assert!(number(&all[way]["minutes"]) > 0.0, "{way}");
    }
    // Brier score of several causes: 0 to 2 (Brier 1950).
    assert!((0.0..=2.0).contains(&number(&all["brier"])));
    assert!(number(&all["top_1"]["share"]) <= number(&all["top_3"]["share"]));
}

#[test]
fn a_replay_of_nothing_scores_nothing() {
    let folder = TempDir::new().expect("a folder");
    let taken = process::run_on(folder.path(), &["import", "/dev/stdin"], b"");
    assert!(taken.status.success(), "{taken:?}");
    let replayed = process::run(&["backtest", "--db", &process::db(folder.path())], b"");
    assert!(replayed.status.success(), "{replayed:?}");
    let told: Value = serde_json::from_slice(&replayed.stdout).expect("JSON");
    let all = &told["all"];
    for way in ["advice", "common_practice", "people", "announced"] {
        for figure in ["minutes", "checks"] {
            assert!(all[way][figure].is_null(), "{way} {figure}: {all}");
        }
    }
    for figure in ["log_loss", "brier", "calibration_error"] {
        assert!(all[figure].is_null(), "{figure}: {all}");
        assert!(
            all[format!("common_practice_{figure}")].is_null(),
            "{figure}: {all}"
        );
    }
}
