//! Logs that nobody should trust, through the API and on the pages of the calculations that take
//! one: each told with its line, and nothing that was sent lost.

use std::fmt::Write;

use axum::{
    body::Body,
    http::{Request, header},
};
use serde_json::{Value, json};

use crate::support::{app::TestApp, record};

/// The calculations whose logs these are.
const NAMES: [&str; 2] = ["rise", "pump-down"];

/// What is wrong with a log, and what must be said of it.
struct Case {
    what: &'static str,
    log: String,
    /// Whether the log as a whole is refused; if not, its good lines are used.
    refused: bool,
    /// The field that the message stands beside, if the log is refused.
    field: &'static str,
    /// The line that must be named; none where there is no line.
    line: Option<u32>,
    words: &'static str,
}

/// Sixty readings from line 2 on, with one of them written differently.
fn with_row(row: usize, written: &str) -> String {
    let mut text = "time (s),pressure (mbar)\n".to_owned();
    for at in 0..60 {
        if at == row {
            let _ = writeln!(text, "{written}");
        } else {
            let _ = writeln!(text, "{},{:e}", 10 * at, 1e-5 * (1.0 + at as f64));
        }
    }
    text
}

fn cases() -> Vec<Case> {
    let refused = |what, log: &str, field, line, words| Case {
        what,
        log: log.to_owned(),
        refused: true,
        field,
        line,
        words,
    };
    let told = |what, row: usize, written, words| Case {
        what,
        log: with_row(row, written),
        refused: false,
        field: "",
        line: Some(row as u32 + 2),
        words,
    };
    vec![
        refused("an empty file", "", "log", None, "empty"),
        refused("blank lines", " \n\n \n", "log", None, "empty"),
        refused(
            "a heading alone",
            "time (s),pressure (mbar)\n",
            "log",
            Some(1),
            "no readings behind it",
        ),
        refused(
            "one row",
            "\ntime (s),pressure (mbar)\n\n0,1e-5\n",
            "log",
            Some(4),
            "only reading",
        ),
        refused(
            "text columns",
            "when,how much\nearly,little\nlate,much\n",
            "log",
            Some(1),
            "no time and pressure",
        ),
        refused(
            "text columns under a heading",
            "time (s),pressure (mbar)\nearly,little\nlate,much\n",
            "log",
            Some(2),
            "early,little",
        ),
        refused(
            "a wrong delimiter",
            "time_pressure\n0_1e-5\n1_2e-5\n",
            "log",
            Some(2),
            "separated by",
        ),
        refused(
            "a wrong delimiter in all lines but the last",
            "time (s),pressure (mbar)\n0_1e-5\n1_2e-5\n2,3e-5\n",
            "log",
            Some(2),
            "0_1e-5",
        ),
        refused(
            "a unit of something else from the second line on",
            "time,pressure\n0,1e-5 mbar\n1,2 furlong\n2,3 furlong\n",
            "log",
            Some(3),
            "furlong",
        ),
        refused(
            "a month that is none",
            "time,pressure (mbar)\n30-Foo-2026 14:05:02,1e-5\n30-Foo-2026 14:05:12,2e-5\n",
            "log",
            Some(2),
            "30-Foo-2026",
        ),
        refused(
            "dates of which nobody can tell the day from the month",
            "time,pressure (mbar)\n03/04/2026 10:00:00,1e-5\n05/04/2026 10:00:10,2e-5\n",
            "log",
            Some(3),
            "with the year first (2026-11-30)",
        ),
        refused(
            "dates of both orders",
            "time,pressure (mbar)\n13/04/2026 10:00:00,1e-5\n04/14/2026 10:00:10,2e-5\n",
            "log",
            Some(3),
            "one order for all dates",
        ),
        refused(
            "clocks of two parts",
            "time,pressure (mbar)\n10:20,1e-5\n10:30,2e-5\n",
            "log",
            Some(2),
            "mm:ss in the header",
        ),
        refused(
            "commas between columns and in numbers",
            "0,5,2,3e-4\n1,0,4,5e-4\n",
            "log",
            Some(1),
            "commas",
        ),
        refused(
            "no unit",
            "time (s),value\n0,1e-5\n1,2e-5\n",
            "pressure_unit",
            Some(2),
            "no unit",
        ),
        refused(
            "every pressure negative",
            "time (s),pressure (mbar)\n0,-1\n1,-2\n",
            "log",
            Some(2),
            "negative",
        ),
        refused(
            "no plain text",
            "0\0,\x001\0\n\0",
            "log",
            Some(1),
            "not plain text",
        ),
        told("a word for a pressure", 7, "70,OFF", "OFF"),
        told("a word for a time", 8, "later,9e-5", "later"),
        told("not a number", 9, "90,NaN", "not a finite number"),
        told("an infinite pressure", 10, "100,inf", "inf"),
        told("a negative pressure", 11, "110,-1.2e-4", "negative"),
        told("a pressure of zero", 12, "120,0", "zero"),
        told("no pressure", 13, "130,", "no pressure"),
        told("another unit", 14, "140,1.5e-2 Pa", "Pa"),
        told("a time that stands twice", 15, "140,1.6e-4", "stands twice"),
        told("a clock that goes back", 16, "20,1.7e-4", "went back"),
        told(
            "another delimiter in one line",
            17,
            "170;1.8e-4",
            "170;1.8e-4",
        ),
        told(
            "a line as long as a file",
            18,
            &"9".repeat(70_000),
            "too long",
        ),
    ]
}

/// Sixty readings of a rise of 1e-6 mbar/s, 10 s apart, under times that `written` makes of seconds.
fn timed(heading: &str, mark: char, written: impl Fn(u32) -> String) -> String {
    let mut text = format!("{heading}{mark}pressure (mbar)\n");
    for row in 0..60 {
        let pressure = 1e-5 * (1.0 + f64::from(row));
        let _ = writeln!(text, "{}{mark}{pressure:e}", written(10 * row));
    }
    text
}

/// The same test under every form of time that loggers write: nine minutes and fifty seconds, over
/// midnight where there is a date (forms by ISO 8601, RFC 5322 and `strftime`, from memory).
fn forms() -> Vec<(&'static str, String)> {
    // Begins five minutes before midnight of the 29th of November 2026.
    let day = |second: u32| 29 + (86_100 + second) / 86_400;
    let hms = |second: u32| {
        let second = (86_100 + second) % 86_400;
        (second / 3600, second / 60 % 60, second % 60)
    };
    let clock = move |second: u32| {
        let (h, m, s) = hms(second);
        format!("{h:02}:{m:02}:{s:02}")
    };
    let half = move |second: u32| {
        let (h, m, s) = hms(second);
        let twelve = (h + 11) % 12 + 1;
        format!(
            "{twelve}:{m:02}:{s:02} {}",
            if h < 12 { "AM" } else { "PM" }
        )
    };
    let plain = move |second: u32| clock(second).replace(':', "");
    let epoch = |second: u32| 1_796_000_100_u64 + u64::from(second);
    vec![
        (
            "month as a word",
            timed("time", ',', |t| format!("{}-Nov-2026 {}", day(t), clock(t))),
        ),
        (
            "month first as a word",
            timed("time", ',', |t| format!("Nov {} 2026 {}", day(t), half(t))),
        ),
        (
            "short year",
            timed("time", ',', |t| format!("{}.11.26 {}", day(t), clock(t))),
        ),
        (
            "US order",
            timed("time", ',', |t| format!("11/{}/2026 {}", day(t), half(t))),
        ),
        (
            "US order, short year",
            timed("time", ',', |t| format!("11/{}/26 {}", day(t), clock(t))),
        ),
        (
            "year first, short",
            timed("time", ',', |t| format!("26-11-{} {}", day(t), clock(t))),
        ),
        (
            "basic",
            timed("time", ',', |t| format!("202611{}T{}", day(t), plain(t))),
        ),
        (
            "basic with a space",
            timed("time", ',', |t| format!("202611{} {}", day(t), plain(t))),
        ),
        (
            "basic in two columns",
            timed("date,time", ',', |t| {
                format!("202611{},{}", day(t), plain(t))
            }),
        ),
        (
            "fourteen digits",
            timed("time", ',', |t| format!("202611{}{}", day(t), plain(t))),
        ),
        (
            "offset",
            timed("time", ',', |t| {
                format!("2026-11-{}T{}+05:30", day(t), clock(t))
            }),
        ),
        (
            "universal time",
            timed("time", ',', |t| format!("2026-11-{}T{}Z", day(t), clock(t))),
        ),
        (
            "fraction behind a comma",
            timed("time", ';', |t| {
                format!("2026-11-{} {},250", day(t), clock(t))
            }),
        ),
        (
            "the same between commas",
            timed("time", ',', |t| {
                format!("2026-11-{} {},250", day(t), clock(t))
            }),
        ),
        ("epoch", timed("time", ',', |t| epoch(t).to_string())),
        (
            "epoch in milliseconds",
            timed("time", ',', |t| (1000 * epoch(t)).to_string()),
        ),
        (
            "days of a spreadsheet",
            timed("Date/Time", ',', |t| {
                format!("{:.7}", 46_355.996_527_8 + f64::from(t) / 86_400.0)
            }),
        ),
    ]
}

#[tokio::test]
async fn every_form_of_time_is_read_through_page_and_api() {
    let app = TestApp::empty().await;
    for (what, log) in forms() {
        let body = json!({"log": log, "volume": {"value": 123, "unit": "l"}});
        let answer = app
            .post("/api/calculations/rise", &body)
            .await
            .expect(200)
            .json();
        assert_eq!(answer["readings"], 60, "{what}: {answer}");
        assert_eq!(answer["line_problem_count"], 0, "{what}: {answer}");
        let used = answer["used_seconds"][1].as_f64().expect("seconds");
        // Days with seven figures behind the point are known to 9 ms.
        assert!((used - 590.0).abs() < 0.02, "{what}: {used}");
        let page = app
            .upload("rise", &[("volume.value", "123")], &[("log_file", &log)])
            .await
            .expect(200);
        assert!(page.shows("60 of 60"), "{what}: {}", page.text);
    }
}

/// The words with their signs as they stand in a page.
fn in_page(words: &str) -> String {
    words.replace('"', "&#34;").replace('\'', "&#39;")
}

#[tokio::test]
async fn the_api_tells_each_fault_of_a_log_with_its_line() {
    let app = TestApp::empty().await;
    for name in NAMES {
        for case in cases() {
            let request = json!({"log": case.log, "volume": {"value": 123, "unit": "l"}});
            let answer = app
                .post(&format!("/api/calculations/{name}"), &request)
                .await
                .expect(if case.refused { 422 } else { 200 })
                .json();
            let what = format!("{name}, {}: {answer}", case.what);
            if case.refused {
                let errors = answer["errors"].as_array().expect("errors");
                assert_eq!(errors.len(), 1, "{what}");
                assert_eq!(errors[0]["field"], case.field, "{what}");
                let told = format!("{} {}", errors[0]["problem"], errors[0]["accepted"]);
                assert!(told.contains(case.words), "{what}");
                let line = case
                    .line
                    .map_or(String::new(), |line| format!("line {line}"));
                assert!(told.contains(&line), "{what}");
            } else {
                assert!(is_told(&answer, &case), "{what}");
            }
        }
    }
}

/// Whether a report names the line with these words, among what was odd or not used.
fn is_told(report: &Value, case: &Case) -> bool {
    let listed = |list: &str, words: &str| {
        report[list].as_array().into_iter().flatten().any(|entry| {
            entry["line"].as_u64() == case.line.map(u64::from)
                && entry[words]
                    .as_str()
                    .is_some_and(|text| text.contains(case.words))
        })
    };
    listed("line_problems", "problem") || listed("flags", "words")
}

#[tokio::test]
async fn the_pages_tell_each_fault_of_a_log_with_its_line_and_come_back_filled_in() {
    let app = TestApp::empty().await;
    let chamber = [("volume.value", "123"), ("volume.unit", "m3")];
    for name in NAMES {
        for case in cases() {
            let pasted = [&chamber[..], &[("log", case.log.as_str())]].concat();
            let sent_as = [
                (
                    "a file",
                    app.upload(name, &chamber, &[("log_file", &case.log)]).await,
                ),
                ("text", app.upload(name, &pasted, &[]).await),
            ];
            for (how, page) in sent_as {
                if how == "text" && case.log.trim().is_empty() {
                    page.expect(422).assert_shows("id=\"log.message\"");
                    continue;
                }
                let page = page.expect(if case.refused { 422 } else { 200 });
                let what = format!("{name}, {} as {how}", case.what);
                let shows = |words: &str| {
                    assert!(page.shows(words), "{what}: no {words:?} in {}", page.text);
                };
                shows("name=\"volume.value\" value=\"123\"");
                shows("<option value=\"m3\" selected>");
                if let Some(first) = case.log.lines().find(|line| !line.trim().is_empty())
                    && !first.contains('\0')
                {
                    shows(first);
                }
                shows(&in_page(case.words));
                if case.refused {
                    // What is wrong with a file is told where it was chosen.
                    let field = match (how, case.field) {
                        ("a file", "log") => "log_file",
                        (_, field) => field,
                    };
                    shows(&format!("id=\"{field}.message\""));
                    let line = case
                        .line
                        .map_or(String::new(), |line| format!("line {line}"));
                    shows(&line);
                    assert!(!page.text.contains("id=\"result\""), "{what}");
                } else {
                    shows(&format!("Line {}", case.line.expect("a line")));
                }
            }
        }
    }
}

/// A million readings, and one line among them that is none.
#[tokio::test]
async fn a_million_rows_are_taken_and_the_one_bad_line_is_told() {
    let app = TestApp::empty().await;
    let mut log = "t_s;p_pa\n".to_owned();
    for row in 0..1_000_000 {
        if row == 777_777 {
            log.push_str("777777;off\n");
        } else {
            let _ = writeln!(log, "{row};{}e-3", 1000 + row);
        }
    }
    let body = json!({"log": log});
    let report = app
        .post("/api/calculations/rise", &body)
        .await
        .expect(200)
        .json();
    assert_eq!(report["readings"], 999_999);
    assert_eq!(report["line_problems"][0]["line"], 777_779);
    assert_eq!(report["line_problem_count"], 1);
    let page = app
        .upload("rise", &[("volume.value", "123")], &[("log_file", &log)])
        .await
        .expect(200);
    page.assert_shows("Line 777779");
    page.assert_shows("999999 of 999999");
    page.assert_shows("value=\"123\"");
    // Too long to go to the browser and back: held here, to be kept with an incident.
    page.assert_shows("name=\"held.log\"");
    page.assert_shows("held here for 2 hours");
}

/// Which of several columns is the pressure may be said behind the log, by its heading or its number.
#[tokio::test]
async fn the_column_of_the_pressures_may_be_chosen() {
    let app = TestApp::empty().await;
    let mut log = "time (s),foreline (mbar),chamber (mbar),rate (mbar/s)\n".to_owned();
    for row in 0..60 {
        let chamber = 1e-5 * (1.0 + f64::from(row));
        let _ = writeln!(
            log,
            "{},{},{chamber:e},1e-6",
            10 * row,
            5.0 + 0.01 * f64::from(row)
        );
    }
    for (column, pascals) in [("", 1e-3), ("3", 1e-3), ("Foreline (mbar)", 500.0)] {
        let sent = json!({"log": log, "pressure_column": column});
        let report = app
            .post("/api/calculations/rise", &sent)
            .await
            .expect(200)
            .json();
        let first = report["points"][0]["pascals"].as_f64().expect("a pressure");
        assert!((first / pascals - 1.0).abs() < 1e-6, "{column:?}: {report}");
    }
    let sent = json!({"log": log, "pressure_column": "rate (mbar/s)"});
    let refused = app.post("/api/calculations/rise", &sent).await.expect(422);
    refused.assert_shows("pressure_column");
    let fields = [("pressure_column", "2"), ("healthy_pressure_column", "3")];
    for name in NAMES {
        let fields = if name == "rise" {
            &fields[..1]
        } else {
            &fields[..]
        };
        let files = [
            ("log_file", log.as_str()),
            ("healthy_log_file", log.as_str()),
        ];
        let files = if name == "rise" {
            &files[..1]
        } else {
            &files[..]
        };
        let page = app.upload(name, fields, files).await.expect(200);
        page.assert_shows("pressure from &#34;foreline (mbar)&#34;");
        page.assert_shows("value=\"2\"");
    }
}

/// Of more columns than are kept while a log arrives, any may be chosen before it; behind it the refusal says so.
#[tokio::test]
async fn a_column_far_to_the_right_may_be_chosen_before_the_log() {
    let app = TestApp::empty().await;
    let names: Vec<String> = (1..=9).map(|gauge| format!("G{gauge} (mbar)")).collect();
    let mut log = format!("time (s),{}\n", names.join(","));
    for row in 0..60 {
        let _ = write!(log, "{}", 10 * row);
        for gauge in 1..=9 {
            let _ = write!(
                log,
                ",{:e}",
                f64::from(gauge) * 1e-6 * (1.0 + f64::from(row))
            );
        }
        log.push('\n');
    }
    let text = json!(log).to_string();
    let first = format!(r#"{{"pressure_column": "g9 (mbar)", "log": {text}}}"#);
    let send = |body: String| {
        let request = Request::post("/api/calculations/rise")
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(body));
        app.send(request.expect("a request"))
    };
    let report = send(first).await.expect(200).json();
    let pascals = report["points"][0]["pascals"].as_f64().expect("a pressure");
    assert!((pascals / 9e-4 - 1.0).abs() < 1e-6, "{report}");
    let last = format!(r#"{{"log": {text}, "pressure_column": "g9 (mbar)"}}"#);
    let refused = send(last).await.expect(422);
    refused.assert_shows("sent before the log");
    // The form asks for it first.
    for name in NAMES {
        let files: &[(&str, &str)] = match name {
            "rise" => &[("log_file", &log)],
            _ => &[("log_file", &log), ("healthy_log_file", &log)],
        };
        let fields: &[(&str, &str)] = match name {
            "rise" => &[("pressure_column", "10")],
            _ => &[("pressure_column", "10"), ("healthy_pressure_column", "9")],
        };
        let page = app.upload(name, fields, files).await.expect(200);
        page.assert_shows("pressure from &#34;G9 (mbar)&#34;");
    }
    let form = app.get("/calculations/rise").await.expect(200).text;
    let place = |name: &str| form.find(&format!("name=\"{name}\"")).expect("a field");
    assert!(place("pressure_column") < place("log_file"));
}

#[tokio::test]
async fn a_file_that_is_too_large_is_refused_and_the_rest_of_the_form_comes_back() {
    let app = TestApp::empty().await;
    let large = "x".repeat((50 << 20) + 1);
    for (name, file) in [
        ("rise", "log_file"),
        ("pump-down", "healthy_log_file"),
        ("residual-gas", "spectrum_file"),
    ] {
        let pasted = [
            ("log", "0 1 Pa"),
            ("spectrum", "18:1"),
            ("pressure_unit", "mbar"),
        ];
        let fields = match name {
            "rise" => &pasted[2..],
            "pump-down" => &[pasted[0], pasted[2]][..],
            _ => &[("total_pressure.value", "3e-6")][..],
        };
        let page = app
            .upload(name, fields, &[(file, &large)])
            .await
            .expect(413);
        page.assert_shows(&format!("id=\"{file}.message\""));
        match name {
            "residual-gas" => {
                page.assert_shows("larger than 2 MB");
                page.assert_shows("value=\"3e-6\"");
            }
            _ => {
                page.assert_shows("larger than 50 MB");
                page.assert_shows("<option value=\"mbar\" selected>");
            }
        }
    }
    let too_long = format!("{{\"log\": \"{}\"}}", "x".repeat((51 << 20) + 1));
    let request = Request::post("/api/calculations/rise")
        .header(header::CONTENT_TYPE, "application/json")
        .body(Body::from(too_long))
        .expect("a request");
    let refused = app.send(request).await.expect(413);
    refused.assert_shows("50 MB");
}

/// A spectrum is taken up to 2 MB, and every one that is taken can be kept.
#[tokio::test]
async fn a_spectrum_too_long_for_one_scan_is_refused_and_a_long_one_is_kept() {
    let app = TestApp::empty().await;
    let filed = app.post("/api/incidents", &record::closed()).await;
    let number = filed.expect(201).json()["number"].clone();
    let address = format!("/api/incidents/{number}/calculations");
    let mut scan = "mass,current\n".to_owned();
    // A profile scan over and over, as an analyser left running writes it.
    while scan.len() + 100 < 2 << 20 {
        for (mass, current) in [
            (14, 2e-10),
            (18, 4e-9),
            (28, 2e-9),
            (32, 5e-10),
            (40, 3e-11),
        ] {
            let _ = writeln!(scan, "{mass},{current:e}");
        }
    }
    let body = |text: &str| json!({"kind": "residual-gas", "by": "K. M.", "request": {"spectrum": text, "earlier": text}});
    let kept = app.post(&address, &body(&scan)).await.expect(201).json();
    let again = format!("{address}/{}/again", kept["id"]);
    assert_eq!(app.get(&again).await.expect(200).json()["same"], true);

    let longer = format!("{scan}{}", &scan[..200_000]);
    let refused = app.post(&address, &body(&longer)).await.expect(422).json();
    for (error, field) in refused["errors"]
        .as_array()
        .expect("errors")
        .iter()
        .zip(["request.spectrum", "request.earlier"])
    {
        assert_eq!(error["field"], field);
        assert_eq!(error["problem"], "a spectrum of more than 2.19 MB");
        assert!(
            error["accepted"]
                .as_str()
                .is_some_and(|words| words.contains("up to 2 MB"))
        );
    }
    let request = json!({"spectrum": longer});
    let refused = app.post("/api/calculations/residual-gas", &request).await;
    refused.expect(422).assert_shows("up to 2 MB");
    let page = app
        .upload("residual-gas", &[("spectrum", &longer)], &[])
        .await;
    page.expect(422)
        .assert_shows("a spectrum of more than 2.19 MB");
}

/// Columns are no text that could be packed as it was sent: what is too long of them is refused, and
/// the answer says that a log is kept.
#[tokio::test]
async fn columns_too_long_to_be_kept_are_refused_with_what_would_be() {
    let app = TestApp::empty().await;
    let filed = app.post("/api/incidents", &record::closed()).await;
    let number = filed.expect(201).json()["number"].clone();
    let seconds: Vec<f64> = (0..450_000).map(|step| f64::from(step) * 0.1).collect();
    let pressures: Vec<f64> = seconds
        .iter()
        .map(|time| 1e-5 + 1.234_567e-8 * time)
        .collect();
    let request =
        json!({"readings": {"seconds": seconds, "pressures": pressures}, "pressure_unit": "mbar"});
    let computed = app.post("/api/calculations/rise", &request).await;
    assert_eq!(computed.expect(200).json()["readings"], 450_000);
    let body = json!({"kind": "rise", "by": "K. M.", "request": request});
    assert!(body.to_string().len() > 9 << 20);
    let refused = app
        .post(&format!("/api/incidents/{number}/calculations"), &body)
        .await
        .expect(413);
    refused.assert_shows("send them as the text of a log, which is kept up to 50 MB");
}

/// Fields of the wrong kind, out of range and unknown, told in one answer.
#[tokio::test]
async fn every_field_that_cannot_be_taken_is_told_at_once() {
    let app = TestApp::empty().await;
    let good = json!({"value": 5e-7, "unit": "torr"});
    let cases = [
        (
            "rise",
            json!({"log": "0 1 Pa\n", "volume": "big", "speed": {"value": "x", "unit": "furlong"},
                   "time_unit": 5, "colour": 1, "pumped_for": {"value": -1, "unit": "h"}}),
            &[
                "colour",
                "log",
                "pumped_for",
                "speed.unit",
                "speed.value",
                "time_unit",
                "volume",
            ][..],
        ),
        (
            "pump-down",
            json!({"log": 5, "healthy_log": "words", "pressure_unit": "psi"}),
            &["healthy_log", "log", "pressure_unit"],
        ),
        (
            "gas-load",
            json!({"healthy": {"value": "low", "unit": "psi"}, "faulty": 5, "speed_at_chamber": [1]}),
            &[
                "faulty",
                "healthy.unit",
                "healthy.value",
                "speed_at_chamber",
            ],
        ),
        (
            "gauge",
            json!({"readings": [{"kind": "dial", "pressure": good}, {"kind": "pirani"},
                                {"kind": "pirani", "pressure": good, "lit": "yes"}], "gas": 3}),
            &[
                "gas",
                "readings[0].kind",
                "readings[1].pressure",
                "readings[2].lit",
            ],
        ),
        (
            "conductance",
            json!({"parts": [{"shape": "ring"}, 5], "colour": true}),
            &["colour", "parts[0].diameter", "parts[0].shape", "parts[1]"],
        ),
        (
            "leak-conversion",
            json!({"rate": {"unit": 4}, "colour": "red"}),
            &["colour", "rate.unit", "rate.value"],
        ),
        (
            "residual-gas",
            json!({"spectrum": 18, "total_pressure": "high"}),
            &["spectrum", "total_pressure"],
        ),
    ];
    for (name, body, expected) in cases {
        let answer = app
            .post(&format!("/api/calculations/{name}"), &body)
            .await
            .expect(422)
            .json();
        let errors = answer["errors"].as_array().expect("errors");
        let mut fields: Vec<_> = errors
            .iter()
            .map(|error| error["field"].as_str().expect("a field"))
            .collect();
        fields.sort_unstable();
        assert_eq!(fields, expected, "{name}: {answer}");
        for error in errors {
            for part in ["problem", "accepted"] {
                assert!(error[part].as_str().is_some_and(|words| !words.is_empty()));
            }
        }
    }
}
