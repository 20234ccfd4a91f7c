//! Taking a file: all or nothing, each refusal with line and field.

use serde_json::{Value, json};
use tempfile::TempDir;

use crate::support::{process, record};

fn jsonl(rows: &[Value]) -> Vec<u8> {
    rows.iter()
        .map(|row| format!("{row}\n"))
        .collect::<String>()
        .into_bytes()
}

#[test]
fn what_was_exported_and_taken_again_is_the_same_bytes() {
    let made = process::run(&["synthesise", "--incidents", "300", "--seed", "11"], b"");
    assert!(made.status.success());
    let (one, two) = (
        TempDir::new().expect("a folder"),
        TempDir::new().expect("a folder"),
    );
    let taken = process::run_on(one.path(), &["import", "/dev/stdin"], &made.stdout);
    assert!(taken.status.success(), "{taken:?}");
    let first = process::run_on(one.path(), &["export"], b"");
    assert_eq!(first.stdout.iter().filter(|b| **b == b'\n').count(), 300);
    let taken = process::run_on(two.path(), &["import", "/dev/stdin"], &first.stdout);
    assert!(taken.status.success(), "{taken:?}");
    let second = process::run_on(two.path(), &["export"], b"");
    assert!(first.stdout == second.stdout, "export differs after import");
    for folder in [one.path(), two.path()] {
        let verified = process::run_on(folder, &["verify"], b"");
        assert!(verified.status.success(), "{verified:?}");
        let told = String::from_utf8_lossy(&verified.stdout).into_owned();
        assert!(told.contains("index: 300 incidents"), "{told}");
    }
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let make =
        |seed: &str| process::run(&["synthesise", "--incidents", "50", "--seed", seed], b"").stdout;
    assert_eq!(make("7"), make("7"));
    assert_ne!(make("7"), make("8"));
}

#[test]
fn a_thousand_bad_lines_are_each_named_and_no_row_is_taken() {
    let folder = TempDir::new().expect("a folder");
    let mut file = jsonl(&[record::closed()]);
    let mut bad: Vec<Vec<u8>> = Vec::new();
    for turn in 0..1000 {
        bad.push(match turn % 10 {
            0 => record::without("tool").to_string().into_bytes(),
            1 => record::with("pressures.faulty.unit", json!("psi"))
                .to_string()
                .into_bytes(),
            2 => record::with("pressures.healthy.value", json!(-1))
                .to_string()
                .into_bytes(),
            3 => record::with(
                "symptom",
                json!("x".repeat(if turn < 20 { 1 << 20 } else { 20_001 })),
            )
            .to_string()
            .into_bytes(),
            4 => b"{\"symptom\": \"\xff\xfe\"}".to_vec(),
            5 => record::with("cause", json!("gremlins"))
                .to_string()
                .into_bytes(),
            6 => b"{\"symptom\": ".to_vec(),
            7 => b"[]".to_vec(),
            8 => record::with("checks", json!("many"))
                .to_string()
                .into_bytes(),
            _ => record::with("closed_at", json!(12))
                .to_string()
                .into_bytes(),
        });
    }
    for line in &bad {
        file.extend_from_slice(line);
        file.push(b'\n');
    }
    let taken = process::run_on(folder.path(), &["import", "/dev/stdin"], &file);
    assert_eq!(taken.status.code(), Some(1));
    let told = String::from_utf8_lossy(&taken.stderr).into_owned();
    for line in 2..=1001 {
        assert!(
            told.contains(&format!("line {line}: ")),
            "line {line} is not named"
        );
    }
    for field in [
        "tool:",
        "pressures.faulty.unit:",
        "pressures.healthy.value:",
        "symptom:",
        "cause:",
        "checks:",
        "closed_at:",
    ] {
        assert!(told.contains(field), "{field} is not named");
    }
    assert!(!told.contains("line 1: "));
    assert!(
        String::from_utf8_lossy(&taken.stdout)
            .contains("1 accepted, 1000 refused; nothing was stored")
    );
    let left = process::run_on(folder.path(), &["export"], b"");
    assert!(left.stdout.is_empty());
}

#[test]
fn good_rows_are_kept_when_asked_and_numbers_are_not_given_twice() {
    let folder = TempDir::new().expect("a folder");
    let file = jsonl(&[
        record::with("number", json!(5)),
        record::with("cause", json!("gremlins")),
        record::with("number", json!(5)),
        record::closed(),
    ]);
    let taken = process::run_on(
        folder.path(),
        &["import", "/dev/stdin", "--keep-good"],
        &file,
    );
    assert_eq!(taken.status.code(), Some(1));
    let told = String::from_utf8_lossy(&taken.stderr).into_owned();
    assert!(told.contains("line 2: cause: "), "{told}");
    assert!(
        told.contains("line 3: number: 5 is in the store already"),
        "{told}"
    );
    let left = process::run_on(folder.path(), &["export"], b"");
    let numbers: Vec<_> = String::from_utf8(left.stdout)
        .expect("text")
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).expect("JSON")["number"].clone())
        .collect();
    assert_eq!(numbers, [json!(5), json!(6)]);
}

#[test]
fn a_dry_run_looks_and_stores_nothing() {
    let folder = TempDir::new().expect("a folder");
    let file = jsonl(&[record::closed()]);
    let taken = process::run_on(folder.path(), &["import", "/dev/stdin", "--dry-run"], &file);
    assert!(taken.status.success());
    assert!(
        process::run_on(folder.path(), &["export"], b"")
            .stdout
            .is_empty()
    );
}
