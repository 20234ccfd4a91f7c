//! What is refused before it was read whole is still told in words, over a real connection.

use serde_json::Value;

use crate::support::process::Server;

/// An address of 100 kB is answered with a page, or a problem document, that says what to do.
#[test]
fn an_address_of_a_hundred_kilobytes_is_answered_in_words() {
    let server = Server::start(&["demo", "--listen", "127.0.0.1:0"]);
    let long = "x".repeat(100_000);
    let (status, page) = server.request("GET", &format!("/search?q={long}"), "");
    assert_eq!(status, 414);
    assert!(page.contains("<h1>") && page.contains("first 2,000 characters"));
    let (status, problem) = server.request("GET", &format!("/api/search?q={long}"), "");
    assert_eq!(status, 414);
    let problem: Value = serde_json::from_str(&problem).expect("a problem document");
    assert_eq!(problem["status"], 414);
    // What still arrives after the refusal takes nothing away from it.
    let many = "x".repeat(1_000_000);
    let parts = ["GET /api/search?q=", &long, &many, &many, &many];
    let (status, problem) = server.exchange(&parts);
    assert_eq!(status, 414);
    let problem: Value = serde_json::from_str(&problem).expect("a problem document");
    assert_eq!(problem["status"], 414);
    let (status, _) = server.request("GET", &format!("/search?q={}", "leak+".repeat(12_000)), "");
    assert_eq!(status, 200);
}

/// A report or a log far above what is taken gets its refusal, and no broken connection.
#[test]
fn what_is_too_large_is_refused_in_words_while_it_still_arrives() {
    let server = Server::start(&["demo", "--listen", "127.0.0.1:0"]);
    let much = "x".repeat(80_000_000);
    for address in ["/api/incidents", "/api/calculations/rise", "/api/search"] {
        let (status, problem) = server.request("POST", address, &much);
        assert_eq!(status, 413, "{address}");
        let problem: Value = serde_json::from_str(&problem).expect("a problem document");
        assert_eq!(problem["status"], 413, "{address}");
    }
    let (status, page) = server.request("POST", "/search", &much);
    assert_eq!(status, 413);
    assert!(page.contains("<h1>This is more than is taken at once"));
}
