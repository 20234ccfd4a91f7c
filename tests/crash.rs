//! A power cut at any moment loses nothing that was acknowledged.

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

#[test]
fn an_index_behind_foreign_or_damaged_is_put_right_on_start() {
    let folder = TempDir::new().expect("a folder");
    let other = TempDir::new().expect("a folder");
    for (place, word) in [(&folder, "heathfern"), (&other, "saltmarsh")] {
        let body = record::with("symptom", json!(word)).to_string() + "\n";
        let taken = process::run_on(place.path(), &["import", "/dev/stdin"], body.as_bytes());
        assert!(taken.status.success(), "{taken:?}");
    }
    let index = |place: &TempDir| {
        std::fs::read_dir(place.path())
            .expect("the folder")
            .map(|entry| entry.expect("an entry").path())
            .find(|path| path.is_dir())
            .expect("the index is a folder")
    };
    let finds = |word: &str| {
        let server = Server::serve(folder.path());
        let (_, answer) = server.request("GET", &format!("/api/search?q={word}"), "");
        serde_json::from_str::<Value>(&answer).expect("JSON")["total"].clone()
    };
    // Another store's index in place of our own.
    let own = index(&folder);
    std::fs::remove_dir_all(&own).expect("removed");
    std::fs::rename(index(&other), &own).expect("moved");
    assert_eq!(finds("heathfern"), 1);
    assert_eq!(finds("saltmarsh"), 0);
    // A damaged one.
    std::fs::write(own.join("meta.json"), b"{ damaged").expect("written");
    assert_eq!(finds("heathfern"), 1);
    // None at all.
    std::fs::remove_dir_all(&own).expect("removed");
    assert_eq!(finds("heathfern"), 1);
}
