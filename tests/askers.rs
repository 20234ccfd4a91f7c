//! What somebody who may see one site gets of the others, through the web: nothing.

use coldtrap::casebook::{Asker, PlannedService, SiteCode, SiteScope, Tool};
use serde_json::json;

use crate::support::app::TestApp;

const OWN: &str = "BRK";

/// Pages and answers that name tools, sites or incidents, or count them.
const ADDRESSES: [&str; 29] = [
    "/",
    "/fleet",
    "/fleet?site=TMY",
    "/search?q=leak",
    "/search?q=leak&site=TMY",
    "/incidents/new",
    "/sequence",
    "/sequence/tools/BRK-04",
    "/sequence/classes/cryo-evaporator",
    "/causes",
    "/causes/door-seal-flattened",
    "/causes/cryo-not-cold",
    "/checks",
    "/statistics",
    "/statistics?by=tool",
    "/statistics?by=site",
    "/statistics?by=tool&site=TMY",
    "/statistics/table.csv?by=tool",
    "/statistics/table.csv?by=site",
    "/statistics/trends",
    "/statistics/trends.csv?by=tool",
    "/statistics/wear-out",
    "/statistics/reliability",
    "/statistics/reliability.csv",
    "/tools/BRK-04",
    "/tools/BRK-04/rises",
    "/api/search?q=leak",
    "/api/suggestions?q=TMY",
    "/api/statistics/causes?site=TMY",
];

#[tokio::test]
async fn somebody_of_one_site_gets_nothing_of_another() {
    let whole = TestApp::demo().await;
    let own = TestApp::demo_for(OWN).await;
    let everybody = Asker::console();
    let tools = own.store.tools(&everybody).await.expect("the fleet");
    let mut foreign: Vec<String> = tools
        .iter()
        .filter(|tool| tool.site.as_str() != OWN)
        .map(|tool| tool.id.to_string())
        .collect();
    let sites = own.store.sites(&everybody).await.expect("the sites");
    let others = sites.iter().filter(|site| site.code.as_str() != OWN);
    foreign.extend(others.map(|site| site.name.clone()));
    let names = |text: &str| foreign.iter().any(|name| text.contains(name.as_str()));
    let mut told = Vec::new();
    let mut named = 0;
    for address in ADDRESSES {
        let answer = own.get(address).await.expect(200);
        if names(&answer.text) {
            told.push(address);
        }
        named += usize::from(names(&whole.get(address).await.expect(200).text));
    }
    assert!(told.is_empty(), "names of other sites stand on {told:?}");
    // Else the test could not fail.
    assert!(
        named >= 15,
        "only {named} pages name other sites to anybody"
    );

    let elsewhere = tools.iter().find(|tool| tool.site.as_str() != OWN);
    let elsewhere = elsewhere.expect("a tool of another site");
    for address in [
        format!("/tools/{}", elsewhere.id),
        format!("/tools/{}/change", elsewhere.id),
        format!("/tools/{}/rises", elsewhere.id),
        format!("/sequence/tools/{}", elsewhere.id),
        format!("/api/tools/{}", elsewhere.id),
    ] {
        let _ = own.get(&address).await.expect(404);
    }
    let asked = json!({"tool": elsewhere.id.to_string()});
    let _ = own.post("/api/sequence", &asked).await.expect(422);

    // What is counted is what they may see, whatever site they ask for.
    let asked = "/api/statistics/causes?site=TMY";
    let sample = |answer: &serde_json::Value| answer["sample"].as_u64().expect("a sample");
    let ours = own.get("/api/statistics/causes").await.expect(200).json();
    let theirs = own.get(asked).await.expect(200).json();
    let of_all = whole.get(asked).await.expect(200).json();
    assert_eq!(sample(&theirs), sample(&ours));
    assert_ne!(sample(&of_all), sample(&ours));
}

/// The replay of somebody of one site is made of that site's incidents.
#[tokio::test(flavor = "multi_thread")]
async fn the_replay_of_one_site_holds_its_own_incidents_alone() {
    let own = TestApp::demo_for(OWN).await;
    let started = std::time::Instant::now();
    let page = loop {
        let page = own.get("/statistics/replay").await.expect(200);
        if !page.text.contains("being computed") {
            break page;
        }
        // A guard against hanging, not a measure.
        assert!(started.elapsed().as_secs() < 900, "never ends");
        tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    };
    let ours = own.get("/api/statistics/causes").await.expect(200).json();
    let sample = ours["sample"].as_u64().expect("a sample");
    assert!((20..410).contains(&sample), "{sample}");
    page.assert_shows(&format!("{sample} closed incidents"));
    let everybody = Asker::console();
    for tool in own.store.tools(&everybody).await.expect("the fleet") {
        let named = page.text.contains(tool.id.as_str());
        assert!(tool.site.as_str() == OWN || !named, "{} is named", tool.id);
    }
}

#[tokio::test]
async fn searches_kept_at_another_site_are_neither_shown_nor_hidden() {
    let own = TestApp::demo_for(OWN).await;
    let keeping = [(OWN, "our own words"), ("TMY", "words of others")];
    for (site, name) in keeping {
        let asker = Asker {
            name: None,
            scope: SiteScope::Only(SiteCode::new(site)),
        };
        let at = jiff::Timestamp::now();
        let kept = own.store.keep_search(&asker, name, "q=leak", at);
        kept.await.expect("kept");
    }
    let page = own.get("/search").await.expect(200);
    page.assert_shows("our own words");
    assert!(!page.text.contains("words of others"), "{}", page.text);
    let everybody = own.store.kept_searches(&Asker::console()).await;
    let everybody = everybody.expect("kept searches");
    let hide = |name: &str| {
        let kept = everybody.iter().find(|kept| kept.name == name);
        format!("/searches/{}/hide", kept.expect("kept").id)
    };
    let _ = own.form(&hide("words of others"), &[]).await.expect(404);
    let _ = own.form(&hide("our own words"), &[]).await.expect(303);
    let left = own.store.kept_searches(&Asker::console()).await;
    let left: Vec<_> = left
        .expect("kept")
        .into_iter()
        .map(|kept| kept.name)
        .collect();
    assert_eq!(left, ["words of others"]);
}

/// Every form that keeps a site or a tool up: of another site it is not there.
#[tokio::test]
async fn sites_and_tools_of_others_cannot_be_kept_up() {
    let own = TestApp::demo_for(OWN).await;
    let everybody = Asker::console();
    let fleet = || async {
        let tools = own.store.tools(&everybody).await.expect("the fleet");
        let sites = own.store.sites(&everybody).await.expect("the sites");
        format!("{tools:?} {sites:?}")
    };
    let tools = own.store.tools(&everybody).await.expect("the fleet");
    let [at_ours, elsewhere] = [true, false].map(|ours| {
        let mut of_site = tools.iter();
        let tool = of_site.find(|tool| (tool.site.as_str() == OWN) == ours);
        tool.expect("a tool of ours, and one of others").clone()
    });
    for tool in [&at_ours, &elsewhere] {
        let service = PlannedService {
            id: None,
            component: tool.components.first().expect("a component").clone(),
            on: "2025-06-07".parse().expect("a day"),
            note: String::new(),
            author: "MT".to_owned(),
            at: None,
        };
        let at = jiff::Timestamp::now();
        let added = own.store.add_service(&tool.id, service, at);
        added.await.expect("a planned service");
    }
    let known = async |tool: &Tool| {
        let found = own.store.tool(&everybody, tool.id.as_str()).await;
        found.expect("the fleet").expect("the tool")
    };
    let (at_ours, elsewhere) = (known(&at_ours).await, known(&elsewhere).await);
    let forms = |tool: &Tool| {
        let service = tool.services.iter().find_map(|service| service.id);
        let (id, service) = (&tool.id, service.expect("its number"));
        let component = tool.components.first().expect("a component").to_string();
        let signed = |prefix: &str, more: &[(&str, &str)]| -> Vec<(String, String)> {
            let both = [("author", "MT"), ("reason", "a test")];
            let all = both.iter().chain(more);
            all.map(|(name, value)| (format!("{prefix}.{name}"), (*value).to_owned()))
                .collect()
        };
        [
            (
                format!("/sites/{}", tool.site),
                signed("price", &[("help_minutes", "77")]),
            ),
            (
                format!("/tools/{id}/days"),
                signed("days", &[("in_service", "2001-02-03")]),
            ),
            (
                format!("/tools/{id}/services"),
                signed(
                    "service",
                    &[("component", &component), ("on", "2026-01-02")],
                ),
            ),
            (
                format!("/tools/{id}/services/{service}/withdrawal"),
                signed(&format!("withdraw-{service}"), &[]),
            ),
        ]
    };
    let send = async |(address, fields): &(String, Vec<(String, String)>)| {
        let fields: Vec<_> = fields
            .iter()
            .map(|(n, v)| (n.as_str(), v.as_str()))
            .collect();
        own.form(address, &fields).await
    };
    let before = fleet().await;
    let foreign = forms(&elsewhere);
    for form in &foreign {
        let _ = send(form).await.expect(404);
    }
    let _ = own.get(&foreign[0].0).await.expect(404);
    assert_eq!(fleet().await, before);
    // Else the test could not fail.
    for form in &forms(&at_ours) {
        let answer = send(form).await;
        assert_ne!(answer.status.as_u16(), 404, "{}", form.0);
    }
    assert_ne!(fleet().await, before);
}
