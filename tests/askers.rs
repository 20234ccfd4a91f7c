//! What somebody who may see one site gets of the others, through the web: nothing.

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
    let everybody = coldtrap::casebook::Asker::console();
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
