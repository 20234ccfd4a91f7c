//! A power cut at any moment loses nothing that was acknowledged.

use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
    time::Duration,
};

use serde_json::{Value, json};
use tempfile::TempDir;

use crate::support::{
    process::{self, Server},
    record,
};

#[test]
fn killed_right_after_the_acknowledgement_the_report_is_found_on_restart() {
    let folder = TempDir::new().expect("a folder");
    let rounds = 6;
    for round in 1..=rounds {
        let server = Server::serve(folder.path());
        let body = record::with("symptom", json!(format!("quenchword{round} at the tool")));
        let (status, answer) = server.request("POST", "/api/incidents", &body.to_string());
        assert_eq!(status, 201, "{answer}");
        // The index commits within milliseconds of the store; this is between the two, or
        // nearly so, and whichever side it falls on the report has to be there.
        server.kill();
    }
    let server = Server::serve(folder.path());
    for round in 1..=rounds {
        let (status, answer) =
            server.request("GET", &format!("/api/search?q=quenchword{round}"), "");
        assert_eq!(status, 200);
        let found: Value = serde_json::from_str(&answer).expect("JSON");
        assert_eq!(found["total"], 1, "round {round}: {answer}");
    }
    server.kill();
    let verified = process::run_on(folder.path(), &["verify"], b"");
    assert!(verified.status.success(), "{verified:?}");
}

/// The folders of the indexes below a data folder.
fn indexes(data: &Path) -> Vec<PathBuf> {
    fs::read_dir(data)
        .expect("the folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.is_dir())
        .collect()
}

fn only_index(data: &Path) -> PathBuf {
    let mut found = indexes(data);
    assert_eq!(found.len(), 1, "{found:?}");
    found.remove(0)
}

fn import(folder: &Path, words: impl IntoIterator<Item = String>) {
    let rows: String = words
        .into_iter()
        .map(|word| record::with("symptom", json!(word)).to_string() + "\n")
        .collect();
    let taken = process::run_on(folder, &["import", "/dev/stdin"], rows.as_bytes());
    assert!(taken.status.success(), "{taken:?}");
}

fn found(server: &Server, word: &str) -> i64 {
    let (status, answer) = server.request("GET", &format!("/api/search?q={word}"), "");
    assert_eq!(status, 200, "{answer}");
    let answer: Value = serde_json::from_str(&answer).expect("JSON");
    answer["total"].as_i64().expect("a total")
}

fn until_ready(server: &Server) {
    for _ in 0..600 {
        if server.request("GET", "/health/ready", "").0 == 200 {
            return;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    panic!("not ready within half a minute");
}

/// Flips one bit in the middle of a file.
fn flip(file: &Path) {
    let mut bytes = fs::read(file).expect("the file");
    let middle = bytes.len() / 2;
    // A file that a kill left empty has no bit to flip.
    if let Some(byte) = bytes.get_mut(middle) {
        *byte ^= 0x10;
    }
    fs::write(file, bytes).expect("written");
}

#[test]
fn an_index_behind_foreign_or_damaged_is_put_right_on_start() {
    let folder = TempDir::new().expect("a folder");
    let other = TempDir::new().expect("a folder");
    import(folder.path(), ["heathfern".to_owned()]);
    import(other.path(), ["saltmarsh".to_owned()]);
    let finds = |word: &str| {
        let server = Server::serve(folder.path());
        until_ready(&server);
        found(&server, word)
    };
    // Another store's index in place of our own.
    let own = only_index(folder.path());
    fs::remove_dir_all(&own).expect("removed");
    fs::rename(only_index(other.path()), &own).expect("moved");
    let verified = process::run_on(folder.path(), &["verify"], b"");
    assert!(!verified.status.success(), "{verified:?}");
    assert!(String::from_utf8_lossy(&verified.stderr).contains("another store"));
    assert_eq!(finds("heathfern"), 1);
    assert_eq!(finds("saltmarsh"), 0);
    // A damaged list of its files.
    fs::write(only_index(folder.path()).join("meta.json"), b"{ damaged").expect("written");
    assert_eq!(finds("heathfern"), 1);
    // None at all.
    fs::remove_dir_all(only_index(folder.path())).expect("removed");
    assert_eq!(finds("heathfern"), 1);
}

/// Every kind of file an index consists of, with a bit flipped, cut short and removed.
#[test]
fn whatever_file_is_damaged_it_is_noticed_and_the_index_made_anew() {
    let folder = TempDir::new().expect("a folder");
    import(
        folder.path(),
        (0..40).map(|n| format!("heathfern number{n}")),
    );
    let kinds: BTreeSet<String> = files(&only_index(folder.path()))
        .iter()
        .filter_map(|file| Some(file.extension()?.to_str()?.to_owned()))
        .filter(|kind| !["json", "lock"].contains(&kind.as_str()))
        .collect();
    assert!(kinds.len() >= 6, "{kinds:?}");
    let spoil: [fn(&Path); 3] = [
        flip,
        |file| fs::write(file, b"").expect("written"),
        |file| fs::remove_file(file).expect("removed"),
    ];
    for (turn, kind) in kinds.iter().enumerate() {
        let before = only_index(folder.path());
        let file = files(&before)
            .into_iter()
            .find(|file| file.extension().is_some_and(|own| own == kind.as_str()))
            .expect("a file of the kind");
        spoil[turn % spoil.len()](&file);
        let verified = process::run_on(folder.path(), &["verify"], b"");
        assert_eq!(verified.status.code(), Some(1), "{kind}: {verified:?}");
        let told = String::from_utf8_lossy(&verified.stderr).into_owned();
        assert!(told.contains("not as it was written"), "{kind}: {told}");
        let server = Server::serve(folder.path());
        until_ready(&server);
        assert_eq!(found(&server, "heathfern"), 40, "{kind}");
        drop(server);
        assert_ne!(only_index(folder.path()), before, "{kind}");
        let verified = process::run_on(folder.path(), &["verify"], b"");
        assert!(verified.status.success(), "{kind}: {verified:?}");
    }
}

fn files(index: &Path) -> Vec<PathBuf> {
    let mut files: Vec<_> = fs::read_dir(index)
        .expect("the index")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    files
}

/// Killed at many moments of filling the index, the next start goes on and loses nothing.
#[test]
fn killed_at_any_moment_of_a_rebuild_nothing_is_lost() {
    let folder = TempDir::new().expect("a folder");
    import(
        folder.path(),
        (0..400).map(|n| format!("quagwort number{n}")),
    );
    let arguments = ["serve", "--db", &process::db(folder.path()), "--data"].map(str::to_owned);
    for milliseconds in (0..12).map(|turn| 40 + 35 * turn) {
        for index in indexes(folder.path()) {
            for file in files(&index) {
                if file.extension().is_some_and(|kind| kind == "store") {
                    flip(&file);
                }
            }
        }
        let mut child = std::process::Command::new(process::PROGRAM)
            .args(&arguments)
            .arg(folder.path())
            .args(["--listen", "127.0.0.1:0"])
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .spawn()
            .expect("the program starts");
        std::thread::sleep(Duration::from_millis(milliseconds));
        child.kill().expect("killed");
        child.wait().expect("ended");
    }
    let server = Server::serve(folder.path());
    until_ready(&server);
    assert_eq!(found(&server, "quagwort"), 400);
    drop(server);
    only_index(folder.path());
    let verified = process::run_on(folder.path(), &["verify"], b"");
    assert!(verified.status.success(), "{verified:?}");
}

/// A row of the store that was changed behind the program's back is a difference.
#[tokio::test]
async fn verify_tells_which_row_reads_otherwise() {
    let folder = TempDir::new().expect("a folder");
    import(
        folder.path(),
        ["heathfern".to_owned(), "saltmarsh".to_owned()],
    );
    let verified = process::run_on(folder.path(), &["verify"], b"");
    assert!(verified.status.success(), "{verified:?}");
    let pool = sqlx::SqlitePool::connect(&process::db(folder.path()))
        .await
        .expect("the store");
    for statement in [
        "drop trigger revision_is_final",
        "update revision set record = replace(record, 'saltmarsh', 'saltmarch') where number = 2",
    ] {
        sqlx::query(statement).execute(&pool).await.expect("done");
    }
    pool.close().await;
    let verified = process::run_on(folder.path(), &["verify"], b"");
    assert_eq!(verified.status.code(), Some(1), "{verified:?}");
    let told = String::from_utf8_lossy(&verified.stderr).into_owned();
    assert_eq!(
        told.trim(),
        "incident 2 reads otherwise in the store than in the index"
    );
    assert!(String::from_utf8_lossy(&verified.stdout).contains("differences: 1"));
}
