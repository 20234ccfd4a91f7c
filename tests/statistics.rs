//! Statistics from outside: pages, files and the API say the same, a number comes with its
//! sample, and nothing is made of nothing.

use serde_json::Value;

use crate::support::app::TestApp;

const PAGES: [&str; 4] = [
    "/statistics",
    "/statistics/trends",
    "/statistics/wear-out",
    "/statistics/reliability",
];
const FILES: [&str; 5] = [
    "/statistics/table.csv",
    "/statistics/trends.csv",
    "/statistics/trends.csv?by=tool",
    "/statistics/wear-out.csv",
    "/statistics/reliability.csv",
];

fn rows(text: &str) -> Vec<Vec<String>> {
    csv::Reader::from_reader(text.as_bytes())
        .records()
        .map(|row| {
            let row = row.expect("a row as long as the headings");
            row.iter().map(str::to_owned).collect()
        })
        .collect()
}

#[tokio::test]
async fn nothing_is_made_of_nothing_and_no_number_is_nonsense() {
    let empty = TestApp::empty().await;
    let demo = TestApp::demo().await;
    for app in [&empty, &demo] {
        for address in PAGES {
            for query in [
                "",
                "?tool_class=turbo-sputter",
                "?tool_class=none&site=none",
                "?from=2025-06-01&to=2025-05-01",
                "?from=soon",
                "?from=1900-01-01&to=1900-02-01",
                "?cause=scroll-tip-seals-worn&planned=0&failure=-3",
                "?cause=scroll-tip-seals-worn&planned=9&failure=3",
                "?by=site&planned=x",
                "?by=tool&tool=QSB-02",
                "?tool=nobody",
            ] {
                let page = app.get(&format!("{address}{query}")).await.expect(200);
                page.assert_shows("<main");
                for nonsense in ["NaN", "inf ", ">inf<", "-0 ", " safe "] {
                    assert!(
                        !page.text.contains(nonsense),
                        "{address}{query}: {nonsense}"
                    );
                }
            }
        }
        for address in FILES {
            let file = app.get(address).await.expect(200);
            assert!(file.kind.starts_with("text/csv"), "{address}");
            assert!(!file.text.contains("NaN") && !file.text.contains("inf"));
        }
    }
    for address in PAGES {
        let page = empty.get(address).await.expect(200);
        page.assert_shows("on record yet");
    }
    for address in FILES {
        let file = empty.get(address).await.expect(200);
        let left = rows(&file.text).len();
        assert!(left <= 1, "{address} has {left} rows of nothing");
    }
}

#[tokio::test]
async fn every_cut_adds_up_to_the_same_cases() {
    let app = TestApp::demo().await;
    let mut samples = Vec::new();
    for by in ["cause", "component", "kind", "tool_class", "site", "tool"] {
        let file = app
            .get(&format!("/statistics/table.csv?by={by}"))
            .await
            .expect(200);
        let rows = rows(&file.text);
        let cases: u64 = rows
            .iter()
            .map(|row| row[2].parse::<u64>().expect("cases"))
            .sum();
        let last: f64 = rows.last().expect("a row")[7].parse().expect("a share");
        assert!((last - 1.0).abs() < 1e-6, "{by}: {last}");
        assert_eq!(rows[0][3], cases.to_string());
        samples.push(cases);
        let page = app.get(&format!("/statistics?by={by}")).await.expect(200);
        page.assert_shows(&format!("{cases} closed incidents"));
        page.assert_shows("Pareto plot");
        // Long tables are cut, and the page says so.
        if rows.len() > 12 {
            page.assert_shows(&format!("{} more are in the file", rows.len() - 12));
        }
    }
    assert!(
        samples.windows(2).all(|pair| pair[0] == pair[1]),
        "{samples:?}"
    );
}

/// The contract of the call: each cause has cases, share, interval, hours and trend, and
/// they are those of the files behind the pages.
#[tokio::test]
async fn the_api_says_what_the_pages_say() {
    let app = TestApp::demo().await;
    let query = "tool_class=turbo-sputter&from=2023-01-01&to=2026-06-30";
    let answer = app
        .get(&format!("/api/statistics/causes?{query}"))
        .await
        .expect(200)
        .json();
    let table = rows(
        &app.get(&format!("/statistics/table.csv?{query}"))
            .await
            .expect(200)
            .text,
    );
    let trends = rows(
        &app.get(&format!("/statistics/trends.csv?{query}"))
            .await
            .expect(200)
            .text,
    );
    let page = app.get(&format!("/statistics?{query}")).await.expect(200);
    let same = |value: &Value, cell: &str| match value.as_f64() {
        None => assert_eq!(cell, ""),
        Some(value) => {
            let cell: f64 = cell.parse().expect("a number");
            assert!(
                (value - cell).abs() < 1e-6 * value.abs().max(1.0),
                "{value} and {cell}"
            );
        }
    };
    let causes = answer["causes"].as_array().expect("causes");
    assert!(causes.len() > 5);
    assert_eq!(causes.len(), table.len());
    for (cause, row) in causes.iter().zip(&table) {
        assert_eq!(cause["cause"], row[0].as_str());
        assert_eq!(cause["cases"].to_string(), row[2]);
        assert_eq!(cause["sample"].to_string(), row[3]);
        same(&cause["share"], &row[4]);
        same(&cause["interval"][0], &row[5]);
        same(&cause["interval"][1], &row[6]);
        same(&cause["labour_minutes"], &row[8]);
        same(&cause["labour_minutes_median"], &row[12]);
        same(&cause["down_hours"], &row[15]);
        let trend = &cause["trend"];
        assert!(trend["verdict"].is_string());
        let listed = trends.iter().find(|trend| trend[0] == row[0]);
        match listed {
            None => assert_eq!(trend["cases"], 0),
            Some(listed) => {
                assert_eq!(trend["cases"].to_string(), listed[1]);
                same(&trend["tool_days"], &listed[2]);
                same(&trend["cases_per_tool_month"], &listed[3]);
                same(&trend["interval"][0], &listed[4]);
                same(&trend["interval"][1], &listed[5]);
                same(&trend["chance_adjusted"], &listed[8]);
                assert_eq!(trend["verdict"], listed[12].as_str());
            }
        }
    }
    for cause in &causes[..5] {
        let name = cause["name"].as_str().expect("a name");
        page.assert_shows(&name[1..]);
    }
}

/// Wear-out says where its planned services come from, and does not plan what is random.
#[tokio::test]
async fn wear_out_and_reliability_say_what_they_cannot_tell() {
    let app = TestApp::demo().await;
    let page = app
        .get("/statistics/wear-out?cause=cold-cathode-contaminated")
        .await
        .expect(200);
    page.assert_shows("A planned service of the component, written down on the tool’s page");
    page.assert_shows("renewed by plan before");
    page.assert_shows("whose age is not known");
    let dear = app
        .get("/statistics/wear-out?cause=scroll-tip-seals-worn&planned=20&failure=4")
        .await
        .expect(200);
    dear.assert_shows("is no more than a planned service");
    let page = app.get("/statistics/reliability").await.expect(200);
    for state in [
        "SEMI E10",
        "Productive time",
        "Standby time",
        "Engineering time",
        "Scheduled downtime",
        "Unscheduled downtime",
        "Non-scheduled time",
    ] {
        page.assert_shows(state);
    }
}
