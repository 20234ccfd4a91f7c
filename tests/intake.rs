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

/// What the model states has to be what the incidents are drawn from: the share of each cause
/// in a class, and how often a sign was seen with a cause, within four standard errors.
#[test]
fn the_stated_model_is_the_one_incidents_come_from() {
    let model = || process::run(&["synthesise", "--model", "--seed", "41"], b"").stdout;
    assert_eq!(model(), model());
    let stated: Value = serde_json::from_slice(&model()).expect("JSON");
    let made = process::run(&["synthesise", "--incidents", "6000", "--seed", "41"], b"");
    let rows: Vec<Value> = String::from_utf8(made.stdout)
        .expect("text")
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect();
    let mut held = 0;
    let mut hold = |chance: f64, seen: usize, of: usize, what: &str| {
        let error = (chance * (1.0 - chance) / of as f64)
            .sqrt()
            .max(1.0 / of as f64);
        let share = seen as f64 / of as f64;
        assert!(
            (share - chance).abs() < 4.5 * error,
            "{what}: {share} of {of} against {chance}"
        );
        held += 1;
    };
    let found = |row: &Value| row["cause"] != "not-found";
    let missed = rows.iter().filter(|row| !found(row)).count();
    hold(
        number(&stated["not_found_share"]),
        missed,
        rows.len(),
        "not found",
    );
    for (class, truth) in stated["classes"].as_object().expect("classes") {
        let causes = truth["causes"].as_object().expect("causes");
        let total: f64 = causes.values().map(number).sum();
        assert!((total - 1.0).abs() < 1e-9);
        let of_class: Vec<&Value> = rows
            .iter()
            .filter(|row| row["tool_class"] == class.as_str() && found(row))
            .collect();
        for (cause, chance) in causes {
            let cases = of_class
                .iter()
                .filter(|row| row["cause"] == cause.as_str())
                .count();
            hold(number(chance), cases, of_class.len(), cause);
        }
    }
    for (cause, truth) in stated["causes"].as_object().expect("causes") {
        let with: Vec<&Value> = rows
            .iter()
            .filter(|row| row["cause"] == cause.as_str())
            .collect();
        for (sign, chance) in truth["signs"].as_object().expect("signs") {
            let looked: Vec<bool> = with
                .iter()
                .filter_map(|row| row["signs"][sign.as_str()].as_bool())
                .collect();
            if looked.len() >= 20 {
                let seen = looked.iter().filter(|seen| **seen).count();
                hold(number(chance), seen, looked.len(), sign);
            }
        }
    }
    assert!(held > 500, "{held}");
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
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
    assert!(left.status.success() && left.stdout.is_empty());
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
    assert!(told.contains("line 3: number: 5 is taken"), "{told}");
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

#[test]
fn every_row_of_a_large_made_up_fleet_keeps_the_rules() {
    let made = process::run(&["synthesise", "--incidents", "20000", "--seed", "7"], b"");
    let folder = TempDir::new().expect("a folder");
    let taken = process::run_on(
        folder.path(),
        &["import", "/dev/stdin", "--dry-run"],
        &made.stdout,
    );
    let told = String::from_utf8_lossy(&taken.stderr).into_owned();
    assert!(taken.status.success(), "{told}");
    assert!(String::from_utf8_lossy(&taken.stdout).contains("20000 accepted, 0 refused"));
}

#[test]
fn earlier_states_of_a_record_keep_the_same_rules() {
    let earlier = |path: &str, value: Value| {
        let mut old = record::with(path, value);
        for name in ["tool_class", "site"] {
            old.as_object_mut().expect("an object").remove(name);
        }
        let mut new = record::closed();
        new["revisions"] = json!([
            {"revision": 1, "at": "2025-03-05T08:00:00Z", "author": "a", "record": old},
            {"revision": 2, "at": "2025-03-06T08:00:00Z", "author": "b", "reason": "looked again"}
        ]);
        new
    };
    let good = earlier("fix", json!("wiped"));
    let mut backwards = good.clone();
    backwards["revisions"][1]["at"] = json!("2025-03-04T08:00:00Z");
    let mut misnumbered = good.clone();
    misnumbered["revisions"][0]["revision"] = json!(77);
    let cases = [
        (
            earlier("pressures.faulty.value", json!(-5)),
            "revisions[0].record.pressures.faulty.value",
        ),
        (
            earlier("cause", json!("gremlins")),
            "revisions[0].record.cause",
        ),
        (
            earlier("symptom", json!("x".repeat(900_000))),
            "revisions[0].record.symptom",
        ),
        (earlier("author", json!("")), "revisions[0].record.author"),
        (
            earlier("occurred_at", json!("2090-01-01T00:00:00Z")),
            "revisions[0].record.occurred_at",
        ),
        (backwards, "revisions[1].at"),
        (misnumbered, "revisions[0].revision"),
        (record::with("number", json!(1.5)), "number"),
        (
            record::with(
                "pressures.restored",
                json!({"value": 5e-324, "unit": "micron"}),
            ),
            "pressures.restored",
        ),
        (
            record::with("occurred_at", json!("0001-01-01T00:00:00Z")),
            "occurred_at",
        ),
        (record::with("author", json!("\u{202e}live")), "author"),
        (
            record::with(
                "checks",
                json!([{"check": "turbo-health-check", "outcome": "clear"}]),
            ),
            "checks[0].check",
        ),
    ];
    let folder = TempDir::new().expect("a folder");
    let mut file = jsonl(&[good]);
    for (row, _) in &cases {
        file.extend(jsonl(std::slice::from_ref(row)));
    }
    let taken = process::run_on(
        folder.path(),
        &["import", "/dev/stdin", "--keep-good"],
        &file,
    );
    let told = String::from_utf8_lossy(&taken.stderr).into_owned();
    for (index, (_, field)) in cases.iter().enumerate() {
        let line = format!("line {}: {field}: ", index + 2);
        assert!(told.contains(&line), "no {line:?} in:\n{told}");
    }
    assert!(String::from_utf8_lossy(&taken.stdout).contains("1 accepted, 12 refused"));
}

#[test]
fn the_demo_records_need_no_fleet_file() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data/incidents");
    for entry in std::fs::read_dir(root).expect("the folder") {
        let path = entry.expect("an entry").path();
        let folder = TempDir::new().expect("a folder");
        let file = path.display().to_string();
        let taken = process::run_on(folder.path(), &["import", &file], b"");
        assert!(
            taken.status.success(),
            "{}",
            String::from_utf8_lossy(&taken.stderr)
        );
    }
}

#[test]
fn a_mistyped_store_is_no_empty_store() {
    let folder = TempDir::new().expect("a folder");
    for verb in ["export", "verify"] {
        let output = process::run_on(folder.path(), &[verb], b"");
        assert_eq!(output.status.code(), Some(1), "{verb}");
    }
}

fn made_up(incidents: &str, seed: &str) -> Vec<u8> {
    let made = process::run(
        &["synthesise", "--incidents", incidents, "--seed", seed],
        b"",
    );
    assert!(made.status.success());
    made.stdout
}

/// A file on a disc goes into store and index as it is judged, one that is sent after it was.
#[test]
fn a_file_on_a_disc_is_taken_as_one_that_is_sent() {
    let rows = made_up("1500", "12");
    let (one, two) = (
        TempDir::new().expect("a folder"),
        TempDir::new().expect("a folder"),
    );
    let file = one.path().join("rows.jsonl");
    std::fs::write(&file, &rows).expect("written");
    let taken = process::run_on(one.path(), &["import", &file.display().to_string()], b"");
    assert!(taken.status.success(), "{taken:?}");
    let taken = process::run_on(two.path(), &["import", "/dev/stdin"], &rows);
    assert!(taken.status.success(), "{taken:?}");
    let exports = [one.path(), two.path()].map(|folder| {
        let verified = process::run_on(folder, &["verify"], b"");
        assert!(verified.status.success(), "{verified:?}");
        let told = String::from_utf8_lossy(&verified.stdout).into_owned();
        assert!(told.contains("index: 1500 incidents"), "{told}");
        process::run_on(folder, &["export"], b"").stdout
    });
    assert!(exports[0] == exports[1], "export differs");
}

/// A row refused late in a file leaves neither store nor index another; the good ones are kept
/// when asked, under the numbers that follow.
#[test]
fn a_row_refused_late_in_a_file_on_a_disc_leaves_nothing_of_it() {
    let folder = TempDir::new().expect("a folder");
    let before = made_up("300", "13");
    let taken = process::run_on(folder.path(), &["import", "/dev/stdin"], &before);
    assert!(taken.status.success(), "{taken:?}");
    let exported = || process::run_on(folder.path(), &["export"], b"").stdout;
    let verified = |incidents: &str| {
        let verified = process::run_on(folder.path(), &["verify"], b"");
        assert!(verified.status.success(), "{verified:?}");
        let told = String::from_utf8_lossy(&verified.stdout).into_owned();
        assert!(
            told.contains(&format!("index: {incidents} incidents")),
            "{told}"
        );
    };
    let kept = exported();
    let rows = made_up("1500", "14");
    let mut lines: Vec<&[u8]> = rows.split_inclusive(|byte| *byte == b'\n').collect();
    let bad = record::with("cause", json!("gremlins")).to_string() + "\n";
    lines.insert(1_000, bad.as_bytes());
    let file = folder.path().join("rows.jsonl");
    std::fs::write(&file, lines.concat()).expect("written");
    let file = file.display().to_string();
    let taken = process::run_on(folder.path(), &["import", &file], b"");
    assert_eq!(taken.status.code(), Some(1));
    let told = String::from_utf8_lossy(&taken.stdout).into_owned();
    assert!(
        told.contains("1500 accepted, 1 refused; nothing was stored"),
        "{told}"
    );
    assert!(exported() == kept, "something of it was stored");
    verified("300");
    let taken = process::run_on(folder.path(), &["import", &file, "--keep-good"], b"");
    assert_eq!(taken.status.code(), Some(1));
    verified("1800");
    let numbers: Vec<i64> = String::from_utf8(exported())
        .expect("text")
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok()?["number"].as_i64())
        .collect();
    assert_eq!(numbers, (1..=1800).collect::<Vec<_>>());
}

/// Killed at many moments of taking a file, store and index hold all of it or none.
#[test]
fn killed_while_a_file_is_taken_all_of_it_is_there_or_nothing() {
    let folder = TempDir::new().expect("a folder");
    let first = process::run_on(
        folder.path(),
        &["import", "/dev/stdin"],
        &jsonl(&[record::closed()]),
    );
    assert!(first.status.success(), "{first:?}");
    let file = folder.path().join("rows.jsonl");
    std::fs::write(&file, made_up("1000", "15")).expect("written");
    let mut held = 1;
    for milliseconds in [30, 90, 180, 320, 500, 800] {
        import_killed_after(milliseconds, folder.path(), &file);
        let verified = process::run_on(folder.path(), &["verify"], b"");
        assert!(verified.status.success(), "{verified:?}");
        let told = String::from_utf8_lossy(&verified.stdout).into_owned();
        let index = told
            .split("index: ")
            .nth(1)
            .and_then(|told| told.split(' ').next());
        let now: usize = index.and_then(|count| count.parse().ok()).expect("a count");
        assert!(now == held || now == held + 1_000, "{now} after {held}");
        held = now;
    }
}

/// Begins an import of a file and kills it after so many milliseconds.
fn import_killed_after(milliseconds: u64, folder: &std::path::Path, file: &std::path::Path) {
    let mut child = std::process::Command::new(process::PROGRAM)
        .args(["import", "--db", &process::db(folder), "--data"])
        .args([folder, file])
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .expect("the program starts");
    std::thread::sleep(std::time::Duration::from_millis(milliseconds));
    child.kill().expect("killed");
    child.wait().expect("ended");
}

/// The same where the store is made by the very import that is killed.
#[test]
fn killed_while_a_first_file_is_taken_the_store_goes_on() {
    let rows = made_up("800", "16");
    for milliseconds in [60, 200, 400] {
        let folder = TempDir::new().expect("a folder");
        let file = folder.path().join("rows.jsonl");
        std::fs::write(&file, &rows).expect("written");
        import_killed_after(milliseconds, folder.path(), &file);
        let one = jsonl(&[record::closed()]);
        let taken = process::run_on(folder.path(), &["import", "/dev/stdin"], &one);
        assert!(taken.status.success(), "{taken:?}");
        let verified = process::run_on(folder.path(), &["verify"], b"");
        assert!(verified.status.success(), "{verified:?}");
        let told = String::from_utf8_lossy(&verified.stdout).into_owned();
        let whole = ["index: 1 incidents", "index: 801 incidents"];
        assert!(whole.iter().any(|whole| told.contains(whole)), "{told}");
    }
}

/// Of two answers to one question the last must not count silently, wherever the name stands.
#[test]
fn a_name_given_twice_is_refused_with_its_line() {
    let folder = TempDir::new().expect("a folder");
    let good = record::closed().to_string();
    let twice = [
        good.replacen(
            "\"signs\":{",
            "\"signs\":{\"hiss-heard\":true,\"hiss-heard\":false,",
            1,
        ),
        good.replacen("{\"", "{\"author\":\"one\",\"author\":\"other\",\"", 1),
    ];
    for line in &twice {
        assert_ne!(line, &good);
    }
    let file = format!("{good}\n{}\n{}\n", twice[0], twice[1]);
    let taken = process::run_on(folder.path(), &["import", "/dev/stdin"], file.as_bytes());
    assert_eq!(taken.status.code(), Some(1));
    let told = String::from_utf8_lossy(&taken.stderr).into_owned();
    for line in ["line 2: ", "line 3: "] {
        let of_line = told.lines().find(|told| told.contains(line));
        let of_line = of_line.unwrap_or_else(|| panic!("{line}: {told}"));
        assert!(of_line.contains("is given twice"), "{of_line}");
    }
    assert!(told.contains("hiss-heard"), "{told}");
}

/// A tool cannot have gone into service, or been served, on a day that has not been.
#[test]
fn days_of_a_tool_that_lie_ahead_are_refused_by_line() {
    let details = json!({
        "in_service": "2999-01-01",
        "services": [{"component": "door-seal", "on": "2999-02-01", "author": "mk"}],
    });
    let mut rows = vec![record::closed(), record::with("tool", json!("TST-02"))];
    rows[1]["tool_details"] = details;
    let folder = TempDir::new().expect("a folder");
    let taken = process::run_on(folder.path(), &["import", "/dev/stdin"], &jsonl(&rows));
    assert!(!taken.status.success());
    let told = [&taken.stderr, &taken.stdout].map(|told| String::from_utf8_lossy(told));
    let told = told.concat();
    for field in ["tool_details.in_service", "tool_details.services[0].on"] {
        let line = told.lines().find(|line| line.contains(field));
        let line = line.unwrap_or_else(|| panic!("no {field} in {told}"));
        assert!(
            line.contains('2') && line.contains("lies in the future"),
            "{line}"
        );
    }
}

/// Rates leave it out, so whoever brings it is told at the row; it is taken, since an export holds what
/// was on record before a tool's first day was corrected.
#[test]
fn a_row_outside_the_days_in_service_is_taken_and_told() {
    let folder = TempDir::new().expect("a folder");
    let days = |first: &str, last: Value| json!({"in_service": first, "out_of_service": last});
    let mut rows = [
        // Brings the tool, whose first day comes later.
        record::with("tool_details", days("2025-06-01", Value::Null)),
        // The tool as the row before has it.
        record::closed(),
        record::with("tool_details", days("2020-01-01", json!("2025-03-03"))),
        record::with("tool_details", days("2020-01-01", json!("2025-03-04"))),
    ];
    for (row, tool) in rows
        .iter_mut()
        .zip(["TST-01", "TST-01", "TST-02", "TST-03"])
    {
        row["tool"] = json!(tool);
    }
    let file: String = rows.iter().map(|row| format!("{row}\n")).collect();
    let taken = process::run_on(folder.path(), &["import", "/dev/stdin"], file.as_bytes());
    let told = String::from_utf8_lossy(&taken.stderr).into_owned();
    assert_eq!(taken.status.code(), Some(0), "{told}");
    for line in [1, 2] {
        let said = format!(
            "line {line}, taken: occurred_at: 2025-03-04 lies before the tool’s first day in service, \
             2025-06-01, so that no rate counts it; to have it counted: 2025-06-01 or later, or an \
             earlier first day in service"
        );
        assert!(told.contains(&said), "{told}");
    }
    assert!(
        told.contains("line 3, taken: occurred_at: 2025-03-04 lies after the tool’s last day in service, 2025-03-03"),
        "{told}"
    );
    assert!(!told.contains("line 4"), "{told}");
    let said = String::from_utf8_lossy(&taken.stdout).into_owned();
    assert!(
        said.contains("4 accepted (3 of them outside their tool’s days in service), 0 refused; the accepted ones are stored"),
        "{said}"
    );
}
