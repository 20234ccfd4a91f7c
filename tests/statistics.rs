//! Statistics from outside: pages, files and the API say the same, a number comes with its
//! sample, and nothing is made of nothing.

use serde_json::{Value, json};

use crate::support::{app::TestApp, record};

const GROUPINGS: [&str; 6] = [
    "causes",
    "components",
    "kinds",
    "tool-classes",
    "sites",
    "tools",
];
const PAGES: [&str; 4] = [
    "/statistics",
    "/statistics/trends",
    "/statistics/wear-out",
    "/statistics/reliability",
];
const FILES: [&str; 6] = [
    "/statistics/table.csv",
    "/statistics/trends.csv",
    "/statistics/trends.csv?by=tool",
    "/statistics/trends.csv?by=tool_class",
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
                "?from=1900-01-01&to=1900-02-01",
                "?from=2999-01-01",
                "?cause=scroll-tip-seals-worn&planned=0&failure=-3",
                "?cause=scroll-tip-seals-worn&planned=9&failure=3",
                "?by=site&planned=x",
            ] {
                let page = app.get(&format!("{address}{query}")).await.expect(200);
                page.assert_shows("<main");
                for nonsense in ["NaN", "inf ", ">inf<", "-0 ", ">-0.00<", " safe "] {
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
        for path in GROUPINGS {
            let answer = app.get(&format!("/api/statistics/{path}")).await;
            let answer = answer.expect(200);
            assert!(!answer.text.contains(":-0.0,"), "{}", answer.text);
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

/// Pages, files and API take the same, and say of anything else what is wrong and what would
/// be taken; a page keeps the form as it was typed, and counts nothing.
#[tokio::test]
async fn what_cannot_be_counted_is_refused_with_what_would_be_taken() {
    let app = TestApp::demo().await;
    let bad = [
        (
            "tool_class=none",
            "no tool class is called",
            "turbo-sputter",
        ),
        ("site=NOWHERE", "no site is called", "BRK"),
        (
            "tool=nobody",
            "no tool is called",
            "the name of a tool of the fleet",
        ),
        ("to=soon", "is not a day", "a day like 2025-03-04"),
        ("to=2025-02-30", "is not a day", "a day like 2025-03-04"),
    ];
    let backwards = (
        "from=2025-06-01&to=2025-05-01",
        "lies after the last day",
        "a day up to 2025-05-01",
    );
    for (query, problem, accepted) in bad.into_iter().chain([backwards]) {
        let api = GROUPINGS
            .iter()
            .map(|path| format!("/api/statistics/{path}"));
        let pages = PAGES.iter().chain(&FILES).map(|&path| path.to_owned());
        for address in api.chain(pages) {
            // Lives have no first day.
            if address.contains("wear-out") && query == backwards.0 {
                continue;
            }
            let mark = if address.contains('?') { '&' } else { '?' };
            let answer = app.get(&format!("{address}{mark}{query}")).await;
            let answer = answer.expect(422);
            answer.assert_shows(problem);
            answer.assert_shows(accepted);
            if PAGES.contains(&address.as_str()) {
                let typed = query.rsplit('=').next().expect("a value");
                answer.assert_shows(&format!("value=\"{typed}\""));
                answer.assert_shows("Nothing is counted until");
                assert!(!answer.text.contains("How this was computed"), "{address}");
            }
        }
    }
    for (address, problem, accepted) in [
        ("/statistics?by=colour", "not counted by", "component"),
        (
            "/statistics/table.csv?by=colour",
            "not counted by",
            "component",
        ),
        (
            "/statistics/trends.csv?by=site",
            "not counted by",
            "cause, tool_class, tool",
        ),
        (
            "/statistics/wear-out?cause=nope",
            "no cause is called",
            "catalogue",
        ),
        (
            "/statistics/wear-out.csv?cause=nope",
            "no cause is called",
            "catalogue",
        ),
        ("/statistics/pooled.csv", "one tool class", "turbo-sputter"),
        (
            "/statistics/pooled.csv?tool_class=turbo-sputter&from=2025-01-01",
            "over all sites, tools and days",
            "turbo-sputter",
        ),
    ] {
        let answer = app.get(address).await.expect(422);
        answer.assert_shows(problem);
        answer.assert_shows(accepted);
    }
}

/// Every figure of every grouping stands in the file and in the answer, with its interval.
#[tokio::test]
async fn every_grouping_has_every_figure_with_its_interval() {
    let app = TestApp::demo().await;
    for (by, path, plural) in [
        ("cause", "causes", "causes"),
        ("component", "components", "components"),
        ("kind", "kinds", "kinds"),
        ("tool_class", "tool-classes", "tool_classes"),
        ("site", "sites", "sites"),
        ("tool", "tools", "tools"),
    ] {
        let answer = app
            .get(&format!("/api/statistics/{path}?to=2026-03-31"))
            .await;
        let answer = answer.expect(200).json();
        let file = format!("/statistics/table.csv?by={by}&to=2026-03-31");
        let file = app.get(&file).await.expect(200);
        let mut reader = csv::Reader::from_reader(file.text.as_bytes());
        let headings = reader.headers().expect("headings").clone();
        let groups = answer[plural].as_array().expect("groups");
        let table = rows(&file.text);
        assert_eq!(groups.len(), table.len());
        assert!(groups.len() > 2, "{by}");
        let (mut seen, mut shares) = (0, 0);
        for (group, row) in groups.iter().zip(&table) {
            assert_eq!(group[by], row[0].as_str());
            for (heading, cell) in headings.iter().zip(row).skip(2) {
                let value = match in_answer(heading) {
                    (name, Some(end)) => &group[name.as_str()][end],
                    (name, None) => &group[name.as_str()],
                };
                same(value, cell);
                seen += usize::from(!value.is_null());
                assert!(group.get(in_answer(heading).0).is_some(), "{heading}");
            }
            // A share has an interval where it has a sample, and nothing else.
            for (name, sample) in [
                ("first_check", "first_check_sample"),
                ("repeat_30", "repeat_sample"),
                ("repeat_90", "repeat_sample"),
                ("not_found", "cases"),
            ] {
                let none = group[sample] == 0;
                assert_eq!(group[format!("{name}_share")].is_null(), none);
                assert_eq!(group[format!("{name}_interval")].is_null(), none);
                shares += usize::from(!none);
            }
            assert_eq!(
                group["labour_minutes_mean_interval"].is_null(),
                group["cases"].as_u64() < Some(6)
            );
            if group[by] == "not-found" && by != "tool" {
                assert_eq!(group["repeat_sample"], 0);
                assert!(group["repeat_30_share"].is_null());
            }
            let tested = ["cause", "tool", "tool_class"].contains(&by);
            assert_eq!(group.get("trend").is_some(), tested, "{by}");
        }
        assert!(
            seen > 25 * groups.len() && shares > 3 * groups.len(),
            "{by}"
        );
        assert_eq!(answer["all"]["cases"], answer["sample"]);
    }
    let page = app.get("/statistics").await.expect(200);
    page.assert_shows("cause not known");
}

/// Where a column of the file stands in an answer.
fn in_answer(heading: &str) -> (String, Option<usize>) {
    let (name, end) = match (heading.strip_suffix("_low"), heading.strip_suffix("_high")) {
        (Some(name), _) => (name, Some(0)),
        (_, Some(name)) => (name, Some(1)),
        _ => return (heading.to_owned(), None),
    };
    let name = match name.strip_suffix("share") {
        Some(stem) => format!("{stem}interval"),
        None => format!("{name}_interval"),
    };
    (name, end)
}

#[track_caller]
fn same(value: &Value, cell: &str) {
    match value.as_f64() {
        None => assert_eq!(cell, ""),
        Some(value) => {
            let cell: f64 = cell.parse().expect("a number");
            assert!(
                (value - cell).abs() < 1e-6 * value.abs().max(1.0),
                "{value} and {cell}"
            );
        }
    }
}

/// Pooled shares in file, answer and page are the same, and add up with what is not listed.
#[tokio::test]
async fn pooled_shares_are_told_with_their_posterior_intervals() {
    let app = TestApp::demo().await;
    let class = "tool_class=cryo-evaporator";
    let answer = app.get(&format!("/api/statistics/causes?{class}")).await;
    let answer = answer.expect(200).json();
    let pooled = answer["pooled"].as_array().expect("pooled shares");
    let file = app.get(&format!("/statistics/pooled.csv?{class}")).await;
    let table = rows(&file.expect(200).text);
    assert_eq!(pooled.len(), table.len());
    for (one, row) in pooled.iter().zip(&table) {
        assert_eq!(one["cause"], row[0].as_str());
        same(&one["share"], &row[2]);
        same(&one["interval"][0], &row[3]);
        same(&one["interval"][1], &row[4]);
        let number = |value: &Value| value.as_f64().expect("a number");
        assert!(number(&one["interval"][0]) < number(&one["share"]));
        assert!(number(&one["share"]) < number(&one["interval"][1]));
    }
    let sum: f64 = pooled.iter().filter_map(|one| one["share"].as_f64()).sum();
    assert!((0.8..=1.0 + 1e-9).contains(&sum), "{sum}");
    // Over some days nothing is pooled.
    let days = app
        .get(&format!("/api/statistics/causes?{class}&from=2025-01-01"))
        .await;
    assert_eq!(days.expect(200).json().get("pooled"), None);
}

/// Statistics come out of the memory that follows the store: with every table of the store but
/// sites, tools and planned services out of the way they answer as before, where a page of an incident cannot.
#[tokio::test]
async fn statistics_do_not_read_incidents_from_the_store() {
    let app = TestApp::demo().await;
    let addresses: Vec<String> = PAGES
        .iter()
        .chain(&FILES)
        .map(|&path| path.to_owned())
        .chain(
            GROUPINGS
                .iter()
                .map(|path| format!("/api/statistics/{path}")),
        )
        .chain(
            [
                "by=tool&site=BRK",
                "by=component&tool_class=turbo-sputter",
                "tool=BRK-04",
            ]
            .map(|query| format!("/statistics?{query}")),
        )
        .collect();
    let mut before = Vec::new();
    for address in &addresses {
        before.push(app.get(address).await.expect(200).text);
    }
    let hidden = app.hide_tables_but(&["site", "tool", "service"]).await;
    assert!(hidden.iter().any(|table| table == "incident"), "{hidden:?}");
    let _ = app.get("/incidents/1").await.expect(500);
    for (address, before) in addresses.iter().zip(before) {
        let after = app.get(address).await.expect(200).text;
        assert!(after == before, "{address} says something else");
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
    // A printed page shows no form, so what was counted says what it was narrowed to.
    page.assert_shows(
        "closed incidents: Turbo-pumped sputter tool, from 1 Jan 2023, to 30 Jun 2026",
    );
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

/// The watch ends for the newest case's sake, so that case lies at its end whatever the rate is:
/// of these five the first opens the record and the last closes it, and three are too few to
/// test. Counted up to the newest, Laplace's test gave z = 2.08, and "faster than before".
#[tokio::test]
async fn the_newest_case_is_no_evidence_of_a_trend() {
    let mut app = TestApp::empty().await;
    for day in [
        "2018-01-01",
        "2020-07-24",
        "2021-06-29",
        "2022-03-11",
        "2022-08-28",
    ] {
        let mut record = record::with("occurred_at", json!(format!("{day}T08:00:00Z")));
        record["closed_at"] = json!(format!("{day}T18:00:00Z"));
        let _ = app.post("/api/incidents", &record).await.expect(201);
    }
    app.settle().await;
    let page = app.get("/statistics/trends").await.expect(200);
    page.assert_shows("Too few cases to test for a trend.");
    page.assert_shows("The watch ends the day before the newest case on record");
    assert!(!page.shows("faster than before"));
    let file = app.get("/statistics/trends.csv?by=tool").await.expect(200);
    assert_eq!(rows(&file.text)[0][..2], ["TST-01", "3"]);
}

/// A service copied from a log of before the record makes no life of the years in between, in
/// which failures were not written down: with four of them the mean life used to double.
#[tokio::test]
async fn services_from_before_the_record_move_no_plan() {
    let mut app = TestApp::demo().await;
    let seals = async |app: &TestApp| {
        let file = app.get("/statistics/wear-out.csv").await.expect(200);
        let mut rows = rows(&file.text).into_iter();
        let row = rows.find(|row| row[0] == "scroll-tip-seals-worn");
        row.expect("the cause")
    };
    let mut before = seals(&app).await;
    for tool in ["LMT-03", "WNK-08", "BRK-03", "LMT-01"] {
        let service =
            json!({"component": "scroll-backing-pump", "on": "2016-03-01", "author": "t"});
        let address = format!("/api/tools/{tool}/services");
        let _ = app.post(&address, &service).await.expect(201);
    }
    app.settle().await;
    let page = app
        .get("/statistics/wear-out?cause=scroll-tip-seals-worn")
        .await
        .expect(200);
    page.assert_shows("4 planned services lie before the record");
    let after = seals(&app).await;
    assert_eq!(before[6], "0");
    before[6] = "4".to_owned();
    assert_eq!(after, before);
}

/// A part that fails early is not called random: the repair is to be looked at.
#[tokio::test]
async fn what_fails_early_is_told_so() {
    let app = TestApp::demo().await;
    let page = app
        .get("/statistics/wear-out?cause=door-seal-particulate")
        .await
        .expect(200);
    page.assert_shows("Do not plan: it fails early, soon after it was made good.");
    page.assert_shows("Half of the failures of known age came within");
    assert!(!page.shows("failures are random, as far"));
}

/// Wear-out says where its planned services come from, and does not plan what is random.
#[tokio::test]
async fn wear_out_and_reliability_say_what_they_cannot_tell() {
    let app = TestApp::demo().await;
    let page = app
        .get("/statistics/wear-out?cause=cathode-gauge-contaminated")
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
    dear.assert_shows("No plan: a planned service has to cost less than a failure.");
    // What cannot be read is no verdict, and no file is made of something else instead.
    for typed in ["planned=abc", "planned=-3", "failure=0"] {
        let query = format!("?cause=scroll-tip-seals-worn&{typed}");
        let page = app.get(&format!("/statistics/wear-out{query}")).await;
        let page = page.expect(200);
        page.assert_shows("Nothing is planned until both costs are numbers of hours above 0.");
        assert!(!page.shows("has to cost less than a failure"), "{typed}");
        let file = app.get(&format!("/statistics/wear-out.csv{query}")).await;
        file.expect(422).assert_shows("such as 4.5");
    }
    // By hand: 90 minutes to mend, on a stopped pump; 30 and 35 to stop and start it in the one
    // class, in the other 35 and 40, where nobody opens a chamber.
    for (class, cause, hours) in [
        ("turbo-sputter", "scroll-tip-seals-worn", "2.6"),
        ("glove-box-evaporator", "scroll-tip-seals-worn", "2.8"),
    ] {
        let page = format!("/statistics/wear-out?cause={cause}&tool_class={class}");
        let page = app.get(&page).await.expect(200);
        assert!(page.text.contains(&format!("value=\"{hours}\"")), "{class}");
    }
    // The head of a plan says what its reasons say: one that is not shown to save is not praised.
    for (costs, saves) in [("", true), ("&planned=3&failure=3.5", false)] {
        let page = format!("/statistics/wear-out?cause=scroll-tip-seals-worn{costs}");
        let page = app.get(&page).await.expect(200);
        let praised = page.shows("Least cost in the long run: replace every");
        let unclear = page.shows("Not shown that a plan saves anything.");
        let reason = page.shows("That the plan saves anything is not shown");
        assert_eq!(
            [praised, unclear, reason],
            [saves, !saves, !saves],
            "{costs}"
        );
    }
    // Past the newest case nobody is watched, though tools are in service.
    let later = app.get("/statistics/reliability?from=2026-11-20").await;
    let later = later.expect(200);
    later.assert_shows("watched on these days");
    assert!(!later.shows("was in service on these days"));
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
