//! Every page answers, with what it should hold, and harmless whatever is typed.

use axum::{body::Body, http::Request};

use crate::support::app::TestApp;

#[tokio::test]
async fn every_page_of_an_empty_fleet_says_so_kindly() {
    let app = TestApp::empty().await;
    for address in [
        "/",
        "/search",
        "/search?q=anything",
        "/fleet",
        "/statistics",
        "/statistics/replay",
        "/sequence",
        "/causes",
        "/checks",
        "/about",
        "/incidents/new",
    ] {
        let page = app.get(address).await.expect(200);
        assert!(page.kind.starts_with("text/html"), "{address}");
        page.assert_shows("<main");
    }
}

#[tokio::test]
async fn what_is_not_there_has_a_page_of_its_own() {
    let app = TestApp::empty().await;
    for address in [
        "/nowhere",
        "/incidents/77",
        "/incidents/abc",
        "/tools/none",
        "/checks/none",
        "/causes/none",
        "/sequence/tools/none",
        "/assets/none.css",
    ] {
        let page = app.get(address).await.expect(404);
        page.assert_shows("<main");
    }
    let problem = app.get("/api/nowhere").await.expect(404);
    assert_eq!(problem.kind, "application/problem+json");
    let wrong = app
        .send(
            Request::delete("/fleet")
                .body(Body::empty())
                .expect("a request"),
        )
        .await
        .expect(405);
    wrong.assert_shows("<main");
}

#[tokio::test]
async fn cautions_stand_before_every_procedure() {
    let app = TestApp::demo().await;
    let mut with_cautions = 0;
    for check in app.catalogue.checks() {
        let page = app.get(&format!("/checks/{}", check.id)).await.expect(200);
        let lower = page.text.to_lowercase();
        for word in [" is safe", " safe to "] {
            assert!(!lower.contains(word), "{} says {word:?}", check.id);
        }
        if check.cautions.is_empty() {
            continue;
        }
        with_cautions += 1;
        let first = app
            .catalogue
            .caution(check.cautions[0].as_str())
            .expect("a known caution");
        let caution = page
            .text
            .find(first.hazard.as_str())
            .expect("the caution is shown");
        let procedure = page.text.find("id=\"procedure").expect("the procedure");
        assert!(caution < procedure, "{}: the caution comes late", check.id);
    }
    assert!(
        with_cautions > 40,
        "only {with_cautions} checks carry cautions"
    );
}

#[tokio::test]
async fn anything_typed_gives_results_or_words_and_nothing_unescaped() {
    let app = TestApp::demo().await;
    let long = "a ".repeat(10_000);
    let huge = "x".repeat(60_000);
    let typed = [
        "\"unbalanced",
        "AND OR NOT",
        "symptom:foo^9 +(",
        "'; drop table incident; --",
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "שלום עולם",
        "🙂🙃",
        "the of and",
        "!!! ??? ...",
        "%00",
        "[2 TO 5}",
        &long,
        &huge,
    ];
    for text in typed {
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("q", text)
            .finish();
        for address in [format!("/search?{query}"), format!("/api/search?{query}")] {
            let answer = app.get(&address).await.expect(200);
            assert!(!answer.text.contains("<script>alert"), "{text}");
            assert!(!answer.text.contains("<img src=x"), "{text}");
        }
    }
    let filtered = app
        .get("/search?q=foil&tool_class=none&kind=none&from=yesterday")
        .await
        .expect(200);
    filtered.assert_shows("yesterday");
}

#[tokio::test]
async fn another_sites_page_cannot_send_a_form_here() {
    let app = TestApp::empty().await;
    let foreign = Request::post("/incidents/new")
        .header("host", "127.0.0.1:8080")
        .header("origin", "http://elsewhere.example")
        .body(Body::from("status=open"))
        .expect("a request");
    let _ = app.send(foreign).await.expect(403);
    let rebound = Request::get("/")
        .header("host", "elsewhere.example")
        .body(Body::empty())
        .expect("a request");
    let _ = app.send(rebound).await.expect(403);
}

#[tokio::test]
async fn filters_narrow_and_pages_follow_each_other() {
    let app = TestApp::demo().await;
    let all = app
        .get("/api/search?q=pressure&limit=200")
        .await
        .expect(200)
        .json();
    let class = app
        .get("/api/search?q=pressure&tool_class=turbo-sputter&limit=200")
        .await
        .expect(200)
        .json();
    assert!(class["total"].as_u64() < all["total"].as_u64());
    for hit in class["hits"].as_array().expect("hits") {
        assert_eq!(hit["tool_class"], "turbo-sputter");
    }
    let kind = app
        .get("/api/search?q=pressure&kind=water-leak&limit=200")
        .await
        .expect(200)
        .json();
    for hit in kind["hits"].as_array().expect("hits") {
        let cause = hit["cause"].as_str().expect("a cause");
        let kind = app.catalogue.cause(cause).expect("a known cause").kind;
        assert_eq!(kind.id(), "water-leak");
    }
    let first = app.get("/search").await.expect(200);
    first.assert_shows("page=2");
    let second = app.get("/search?page=2").await.expect(200);
    second.assert_shows("21 to 40 of");
    let refused = app.get("/api/search?q=x&limit=0").await.expect(422);
    refused.assert_shows("limit");
}

/// Every call the description names is there, and a described answer has the described fields.
#[tokio::test]
async fn the_api_is_as_it_describes_itself() {
    let app = TestApp::demo().await;
    let description = app.get("/api/openapi.json").await.expect(200).json();
    assert_eq!(description["openapi"], "3.1.0");
    for (path, calls) in description["paths"].as_object().expect("paths") {
        let address = path.replace("{number}", "1");
        for (method, call) in calls.as_object().expect("calls") {
            let request = Request::builder()
                .method(method.to_uppercase().as_str())
                .uri(&address)
                .body(Body::from("{}"))
                .expect("a request");
            let answer = app.send(request).await;
            let status = answer.status.as_u16().to_string();
            let described = &call["responses"][&status];
            assert!(
                described.is_object(),
                "{method} {path}: {status} is not described"
            );
            let kind = described["content"]
                .as_object()
                .expect("content")
                .keys()
                .next();
            assert!(
                answer.kind.starts_with(kind.expect("a kind").as_str()),
                "{path}: {}",
                answer.kind
            );
            let schema = &described["content"][kind.expect("a kind")]["schema"];
            let name = schema["$ref"].as_str().and_then(|r| r.rsplit('/').next());
            if let Some(name) = name {
                let properties = &description["components"]["schemas"][name]["properties"];
                let body = answer.json();
                for field in body.as_object().expect("an object").keys() {
                    assert!(
                        properties[field].is_object(),
                        "{path}: {field} is not described"
                    );
                }
            }
        }
    }
}

/// The replay is computed beside the pages; looking again shows it.
#[tokio::test(flavor = "multi_thread")]
async fn the_replay_is_shown_once_it_is_computed() {
    let app = TestApp::demo().await;
    let first = app.get("/statistics/replay").await.expect(200);
    first.assert_shows("being computed");
    let started = std::time::Instant::now();
    let page = loop {
        let page = app.get("/statistics/replay").await.expect(200);
        if !page.text.contains("being computed") {
            break page;
        }
        // A guard against hanging, not a measure.
        assert!(started.elapsed().as_secs() < 900, "never ends");
        tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    };
    page.assert_shows("410 closed incidents");
    page.assert_shows("Fixed common-practice order");
    page.assert_shows("Came true");
    page.assert_shows("<svg");
}
