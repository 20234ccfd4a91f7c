//! Sites and tools as people keep them up: the price of help, days in service, planned services;
//! by form and by program, kept apart by site, carried by an export, and counted.

use axum::{body::Body, http::Request};
use coldtrap::{
    casebook::{Asker, SiteCode, SiteScope, Tool, upkeep::Signed},
    catalogue::source,
    demo,
    store::Store,
};
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::support::{
    app::{Answer, TestApp},
    process,
};

async fn patch(app: &TestApp, address: &str, body: &Value) -> Answer {
    let request = Request::patch(address)
        .header("content-type", "application/json")
        .body(Body::from(body.to_string()))
        .expect("a request");
    app.send(request).await
}

/// A price set on the site's page is the one the check sequence of its tools takes, says so,
/// and gives way to one typed with the question.
#[tokio::test(flavor = "multi_thread")]
async fn the_price_of_help_of_a_site_counts_where_none_is_typed() {
    let app = TestApp::demo().await;
    app.get("/sites/BRK").await.expect(200).assert_shows("2 h");
    let refused = app
        .form(
            "/sites/BRK",
            &[
                ("price.help_minutes", "a lot"),
                ("price.author", "mk"),
                ("price.reason", ""),
            ],
        )
        .await
        .expect(422);
    refused.assert_shows("value=\"a lot\"");
    refused.assert_shows("value=\"mk\"");
    refused.assert_shows("is not a number of minutes; accepted: 0 to 1000000");
    refused.assert_shows("Nothing you typed is lost.");
    let taken = app
        .form(
            "/sites/BRK",
            &[
                ("price.help_minutes", "5"),
                ("price.author", "mk"),
                ("price.reason", "detector <bought>"),
            ],
        )
        .await
        .expect(303);
    let page = app.get(&taken.location.expect("a place")).await.expect(200);
    page.assert_shows("costs this site 5 min");
    page.assert_shows("Price of help: 5 min, before 2 h.");
    page.assert_shows("detector &#60;bought&#62;");

    let sequence = app.get("/sequence/tools/BRK-04").await.expect(200);
    sequence.assert_shows("5 min (as this site has set)");
    sequence.assert_shows("The site has set 5 min");
    let typed = app
        .get("/sequence/tools/BRK-04?help_minutes=90000")
        .await
        .expect(200);
    typed.assert_shows("1500 h (as stated below)");
    let answer = app
        .post("/api/sequence", &json!({"tool": "BRK-04"}))
        .await
        .expect(200)
        .json();
    assert_eq!(answer["help_minutes"], 5.0);
    assert_eq!(answer["help_minutes_from"], "site");
    assert_eq!(answer["stop"]["after_checks"], 0);
    let answer = app
        .post(
            "/api/sequence",
            &json!({"tool": "BRK-04", "help_minutes": 90000}),
        )
        .await
        .expect(200)
        .json();
    assert_eq!(answer["help_minutes_from"], "request");
    assert!(answer["stop"].is_null());
    let class = app
        .post("/api/sequence", &json!({"tool_class": "cryo-evaporator"}))
        .await
        .expect(200)
        .json();
    assert!(class["help_minutes"].is_null() && class["stop"].is_null());
}

#[tokio::test(flavor = "multi_thread")]
async fn programs_set_prices_and_days_and_are_refused_in_words() {
    let app = TestApp::demo().await;
    let sites = app.get("/api/sites").await.expect(200).json();
    assert_eq!(sites["sites"].as_array().expect("sites").len(), 10);
    let set = json!({"help_minutes": 77, "author": "mk", "reason": "nearer"});
    let site = patch(&app, "/api/sites/TMY", &set).await.expect(200).json();
    assert_eq!(site["help_minutes"], 77.0);
    assert_eq!(site["changes"][0]["was"], "480");
    // Set to what it is, nothing changes and nothing is written down.
    let site = patch(&app, "/api/sites/TMY", &set).await.expect(200).json();
    assert_eq!(site["changes"].as_array().expect("changes").len(), 1);
    let unsigned = json!({"help_minutes": 3}).clone();
    let refused = patch(&app, "/api/sites/TMY", &unsigned).await.expect(422);
    for field in ["author", "reason"] {
        refused.assert_shows(field);
    }
    for wrong in [json!(-1), json!("soon"), json!([3]), json!(1e7)] {
        let body = json!({"help_minutes": wrong, "author": "mk", "reason": "r"});
        let _ = patch(&app, "/api/sites/TMY", &body).await.expect(422);
    }
    let _ = patch(&app, "/api/sites/XYZ", &set).await.expect(404);

    let days = json!({"out_of_service": "2026-01-31", "author": "mk"});
    let tool = patch(&app, "/api/tools/TMY-01", &days).await.expect(200);
    assert_eq!(tool.json()["out_of_service"], "2026-01-31");
    let again = json!({"out_of_service": null, "author": "mk"});
    let refused = patch(&app, "/api/tools/TMY-01", &again).await.expect(422);
    refused.assert_shows("reason");
    let days = json!({"out_of_service": "1999-01-31", "author": "mk", "reason": "sold"});
    let refused = patch(&app, "/api/tools/BRK-04", &days).await.expect(422);
    refused.assert_shows("lies before the first day in service");
}

/// A planned service is written down once, shown, counted as a life that ended without a
/// failure, and withdrawn with a reason.
#[tokio::test(flavor = "multi_thread")]
async fn planned_services_are_kept_counted_and_withdrawn() {
    let mut app = TestApp::demo().await;
    let service = json!({"component": "scroll-backing-pump", "on": "2026-02-03", "author": "mk",
                         "note": "tip seals"});
    let address = "/api/tools/QSB-02/services";
    let before = ended_by_plan(&app).await;
    let id = app.post(address, &service).await.expect(201).json()["id"].clone();
    let again = app.post(address, &service).await.expect(200).json();
    assert_eq!(again["id"], id);
    app.settle().await;
    assert_eq!(ended_by_plan(&app).await, before + 1);
    let page = app.get("/tools/QSB-02").await.expect(200);
    page.assert_shows("3 Feb 2026");
    page.assert_shows("mk: tip seals");

    let refused = app
        .form(
            "/tools/QSB-02/services",
            &[
                ("service.component", "cryopump"),
                ("service.on", "2099-01-01"),
                ("service.note", "kept as typed"),
                ("service.author", ""),
            ],
        )
        .await
        .expect(422);
    refused.assert_shows("value=\"kept as typed\"");
    refused.assert_shows("is not fitted to this tool");
    refused.assert_shows("lies in the future");

    let withdrawal = format!("/tools/QSB-02/services/{id}/withdrawal");
    let prefix = format!("withdraw-{id}");
    let (author, reason) = (format!("{prefix}.author"), format!("{prefix}.reason"));
    app.form(
        &withdrawal,
        &[(author.as_str(), "mk"), (reason.as_str(), "")],
    )
    .await
    .expect(422)
    .assert_shows("is missing");
    let sent = [(author.as_str(), "mk"), (reason.as_str(), "wrong tool")];
    let _ = app.form(&withdrawal, &sent).await.expect(303);
    let _ = app.form(&withdrawal, &sent).await.expect(404);
    app.settle().await;
    assert_eq!(ended_by_plan(&app).await, before);
    let tool = app.get("/api/tools/QSB-02").await.expect(200).json();
    assert_eq!(tool["services"], json!([]));
    assert_eq!(tool["changes"][0]["reason"], "wrong tool");
}

/// Parts of backing pumps whose life a planned service ended, as the file says.
async fn ended_by_plan(app: &TestApp) -> u64 {
    let table = app.get("/statistics/wear-out.csv").await.expect(200).text;
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let column = rows
        .headers()
        .expect("headings")
        .iter()
        .position(|heading| heading == "ended_by_planned_service")
        .expect("the column");
    rows.records()
        .map(|row| row.expect("a row"))
        .find(|row| &row[0] == "scroll-tip-seals-worn")
        .expect("the cause")[column]
        .parse()
        .expect("a number")
}

fn signed() -> Signed {
    Signed {
        author: "mk".to_owned(),
        reason: "sold".to_owned(),
    }
}

/// What a store holds of a site and its tools travels with the incidents.
#[tokio::test(flavor = "multi_thread")]
async fn prices_days_and_services_travel_with_an_export() {
    let [from, to] = [(); 2].map(|()| TempDir::new().expect("a folder"));
    let catalogue = source::built_in().expect("the catalogue");
    let one = Store::open(&process::db(from.path()))
        .await
        .expect("a store");
    demo::fill(&one, &catalogue).await.expect("the demo");
    let exported = process::run_on(from.path(), &["export"], b"");
    let taken = process::run_on(to.path(), &["import", "/dev/stdin"], &exported.stdout);
    assert!(taken.status.success(), "{taken:?}");
    let other = Store::open(&process::db(to.path())).await.expect("a store");
    let plain = |mut tools: Vec<Tool>| {
        for service in tools.iter_mut().flat_map(|tool| &mut tool.services) {
            service.id = None;
        }
        tools
    };
    let asker = Asker::console();
    let tools = plain(one.tools(&asker).await.expect("tools"));
    assert_eq!(tools, plain(other.tools(&asker).await.expect("tools")));
    assert!(tools.iter().any(|tool| tool.services.len() > 1));
    assert!(tools.iter().any(|tool| tool.out_of_service.is_some()));
    let sites = one.sites(&asker).await.expect("sites");
    assert_eq!(sites, other.sites(&asker).await.expect("sites"));
    assert!(sites.iter().any(|site| site.help_minutes == Some(120.0)));
    // Nobody sees the tools of another site, nor what was changed there.
    let stranger = Asker {
        name: None,
        scope: SiteScope::Only(SiteCode::new("OLV")),
    };
    let code = SiteCode::new("BRK");
    one.set_help_price(&code, None, signed(), jiff::Timestamp::UNIX_EPOCH)
        .await
        .expect("set");
    assert_eq!(
        one.changes_of_site(&asker, &code, 9)
            .await
            .expect("a list")
            .len(),
        1
    );
    assert!(
        one.changes_of_site(&stranger, &code, 9)
            .await
            .expect("a list")
            .is_empty()
    );
    assert!(
        one.tools(&stranger)
            .await
            .expect("tools")
            .iter()
            .all(|tool| tool.site.as_str() == "OLV")
    );
}
