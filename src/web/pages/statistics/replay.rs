//! Would the advice have helped? The replay of the closed incidents.

use axum::{extract::State, response::Html};

use super::{share, ways};
use crate::{
    advice::{Score, backtest::Times},
    statistics::Interval,
    web::{
        fault::{self, Fault},
        fields::Asked,
        plot::{Axis, Curves, Mark, Series},
        replaying::{Kept, MOST},
        show,
        state::App,
        views::{
            chart::{Chart, DataTable},
            page::{Page, Section},
            replay::{ReplayPage, ReplayResult},
        },
    },
};

pub(super) async fn show(State(app): State<App>, asked: Asked) -> Result<Html<String>, Fault> {
    let look = app.replays.look(&app);
    let page = Page::new("Would the advice have helped?", Section::Statistics);
    fault::page(&ReplayPage {
        page,
        ways: ways(&asked, "/statistics/replay"),
        running: look.running.map(running).unwrap_or_default(),
        failed: if look.failed {
            "The replay failed; the log says why. It is tried again once an incident is filed or \
             corrected."
                .to_owned()
        } else {
            String::new()
        },
        result: look
            .kept
            .filter(|kept| kept.replay.all.cases > 0)
            .map(|kept| result(&app, &kept))
            .transpose()?,
    })
}

fn running((done, all): (usize, usize)) -> String {
    match all {
        0 => "The replay is being computed.".to_owned(),
        all => format!(
            "The replay is being computed: {} of {} done.",
            show::count(done as u64),
            show::counted(all as u64, "incident", "incidents")
        ),
    }
}

fn result(app: &App, kept: &Kept) -> Result<ReplayResult, Fault> {
    let all = &kept.replay.all;
    let mut summary = format!(
        "{}, {} of them with a cause that could be timed.",
        show::counted(all.cases, "closed incident", "closed incidents"),
        show::count(all.timed)
    );
    if kept.older > 0 {
        summary.push_str(&format!(
            " The newest {} are replayed; {} before them are not.",
            show::count(MOST as u64),
            show::count(kept.older as u64)
        ));
    }
    Ok(ReplayResult {
        summary,
        plain: plain(app, kept),
        times: times(all),
        classes: classes(app, kept),
        chances: chances(all),
        reliability: reliability(all)?,
        left_out: kept
            .replay
            .left_out
            .iter()
            .map(|(number, reason)| format!("Incident {number}: {reason}"))
            .collect(),
    })
}

/// What the figures say, also where the advice did worse.
fn plain(app: &App, kept: &Kept) -> Vec<String> {
    let all = &kept.replay.all;
    let mut sentences = Vec::new();
    if all.timed > 0 {
        sentences.push(format!(
            "Following the advice would have taken {} to the cause on average: {} the fixed \
             common-practice order ({}), and {} what people did ({}).",
            show::minutes(all.advice.minutes),
            against(all.advice.minutes, all.practice.minutes),
            show::minutes(all.practice.minutes),
            against(all.advice.minutes, all.people.minutes),
            show::minutes(all.people.minutes),
        ));
    }
    let losses = format!(
        "log loss {:.3} against {:.3}, Brier score {:.3} against {:.3}",
        all.log_loss, all.practice_log_loss, all.brier, all.practice_brier
    );
    sentences.push(
        match (all.log_loss < all.practice_log_loss, all.brier < all.practice_brier) {
            (true, true) => format!(
                "The chances stated with the fleet's cases were better than those of common practice \
                 alone: {losses}."
            ),
            (false, false) => format!(
                "The chances stated with the fleet's cases were NOT better than those of common \
                 practice alone ({losses}): here the cases have not taught it better chances."
            ),
            _ => format!(
                "Whether the chances stated with the fleet's cases were better than those of common \
                 practice alone depends on the measure: {losses}."
            ),
        },
    );
    let worse: Vec<String> = kept
        .replay
        .classes
        .iter()
        .filter(|(_, score)| {
            score.log_loss > score.practice_log_loss || score.brier > score.practice_brier
        })
        .map(|(id, _)| show::class_name(&app.catalogue, id))
        .collect();
    if !worse.is_empty() {
        let worse: Vec<&str> = worse.iter().map(String::as_str).collect();
        sentences.push(format!(
            "By one of the two measures or both they were WORSE in {}.",
            show::all_of(&worse)
        ));
    }
    sentences
}

fn against(minutes: f64, other: f64) -> &'static str {
    match minutes / other {
        ratio if ratio < 0.99 => "less than",
        ratio if ratio <= 1.01 => "about as much as",
        _ => "MORE than",
    }
}

fn times(all: &Score) -> DataTable {
    let timed = |figure: String| match all.timed {
        0 => "none timed".to_owned(),
        _ => figure,
    };
    let row = |who: &str, times: &Times, [minutes, checks]: [Option<Interval>; 2]| {
        vec![
            who.to_owned(),
            timed(with_ends(times.minutes, minutes, 0)),
            timed(with_ends(times.checks, checks, 1)),
        ]
    };
    let less = |what: &str, other: &Times, minutes: Option<Interval>| {
        vec![
            what.to_owned(),
            timed(with_ends(all.advice.minutes - other.minutes, minutes, 0)),
            timed(format!("{:.1}", all.advice.checks - other.checks)),
        ]
    };
    let intervals = &all.intervals;
    DataTable {
        caption: format!("Means over {} timed incidents", show::count(all.timed)),
        headings: ["Order of checks", "Minutes to the cause", "Checks"]
            .map(str::to_owned)
            .into(),
        rows: vec![
            row("As advised", &all.advice, intervals.advice),
            row(
                "Fixed common-practice order",
                &all.practice,
                intervals.practice,
            ),
            row("What people did", &all.people, intervals.people),
            row(
                "What the advice had announced, never finding it included",
                &all.announced,
                intervals.announced,
            ),
            less(
                "As advised less the fixed order",
                &all.practice,
                intervals.over_practice,
            ),
            less(
                "As advised less what people did",
                &all.people,
                intervals.over_people,
            ),
        ],
    }
}

/// A mean with its interval, as "51 (46 to 57)".
fn with_ends(mean: f64, interval: Option<Interval>, digits: usize) -> String {
    match interval {
        Some(Interval { low, high }) => {
            format!("{mean:.digits$} ({low:.digits$} to {high:.digits$})")
        }
        None => format!("{mean:.digits$}"),
    }
}

fn classes(app: &App, kept: &Kept) -> DataTable {
    let every = kept
        .replay
        .classes
        .iter()
        .map(|(id, score)| (show::class_name(&app.catalogue, id), score))
        .chain([("All classes".to_owned(), &kept.replay.all)]);
    DataTable {
        caption: "By tool class: incidents timed, mean minutes to the cause, and how often the \
                  true cause was the likeliest or among the three likeliest"
            .to_owned(),
        headings: [
            "Tool class",
            "Incidents",
            "Timed",
            "As advised, min",
            "Common practice, min",
            "People, min",
            "Likeliest was true",
            "Among first three",
            "Calibration error",
        ]
        .map(str::to_owned)
        .into(),
        rows: every
            .map(|(name, score)| {
                let timed = |minutes: f64, [interval, _]: [Option<Interval>; 2]| match score.timed {
                    0 => "none timed".to_owned(),
                    _ => with_ends(minutes, interval, 0),
                };
                let intervals = &score.intervals;
                vec![
                    name,
                    show::count(score.cases),
                    show::count(score.timed),
                    timed(score.advice.minutes, intervals.advice),
                    timed(score.practice.minutes, intervals.practice),
                    timed(score.people.minutes, intervals.people),
                    score
                        .top_1
                        .as_ref()
                        .map_or_else(String::new, |top| share(top, "no case")),
                    score
                        .top_3
                        .as_ref()
                        .map_or_else(String::new, |top| share(top, "no case")),
                    format!("{:.3}", score.calibration_error),
                ]
            })
            .collect(),
    }
}

fn chances(all: &Score) -> DataTable {
    let number = |value: f64| format!("{value:.3}");
    let intervals = &all.intervals;
    DataTable {
        caption: format!(
            "Chances stated before each of {}",
            show::counted(all.cases, "incident", "incidents")
        ),
        headings: [
            "Measure",
            "With the cases closed before",
            "Common practice alone",
            "Difference",
        ]
        .map(str::to_owned)
        .into(),
        rows: vec![
            vec![
                "Log loss".to_owned(),
                with_ends(all.log_loss, intervals.log_loss[0], 3),
                with_ends(all.practice_log_loss, intervals.log_loss[1], 3),
                with_ends(
                    all.log_loss - all.practice_log_loss,
                    intervals.over_practice_losses[0],
                    3,
                ),
            ],
            vec![
                "Brier score, 0 to 2".to_owned(),
                with_ends(all.brier, intervals.brier[0], 3),
                with_ends(all.practice_brier, intervals.brier[1], 3),
                with_ends(
                    all.brier - all.practice_brier,
                    intervals.over_practice_losses[1],
                    3,
                ),
            ],
            vec![
                "Expected calibration error".to_owned(),
                number(all.calibration_error),
                number(all.practice_calibration_error),
                number(all.calibration_error - all.practice_calibration_error),
            ],
        ],
    }
}

fn reliability(all: &Score) -> Result<Option<Chart>, Fault> {
    const ABOUT: &str = "Stated chance of the likeliest cause against how often it was the true \
                         one, by tenths; on the broken line both agree.";
    let percent = |share: f64| 100.0 * share;
    let seen: Vec<(f64, f64)> = all
        .reliability
        .iter()
        .filter_map(|bin| Some((percent(bin.stated), percent(bin.came_true.value?))))
        .collect();
    let ends = |end: fn(&crate::statistics::Interval) -> f64| {
        all.reliability
            .iter()
            .filter_map(|bin| {
                Some((
                    percent(bin.stated),
                    percent(end(bin.came_true.interval.as_ref()?)),
                ))
            })
            .collect::<Vec<_>>()
    };
    let whole = [0.0, 100.0];
    let (Some(across), Some(up)) = (
        Axis::linear("Stated chance in %", whole),
        Axis::linear("Came true in %", whole),
    ) else {
        return Ok(None);
    };
    let series = |name: &str, mark, points| Series {
        name: name.to_owned(),
        mark,
        points,
    };
    let svg = Curves {
        title: "Stated chances against what came true",
        description: ABOUT,
        across,
        up,
        series: vec![
            series("Came true", Mark::Circles, seen),
            series("95 % interval, lower end", Mark::Dots, ends(|i| i.low)),
            series("95 % interval, upper end", Mark::Dots, ends(|i| i.high)),
            series(
                "Where both agree",
                Mark::Dashes,
                vec![(0.0, 0.0), (100.0, 100.0)],
            ),
        ],
    }
    .draw()?;
    Ok(Some(Chart {
        id: "reliability".to_owned(),
        title: "Stated chances against what came true".to_owned(),
        description: ABOUT.to_owned(),
        svg,
        table: DataTable {
            caption: "Stated chance of the likeliest cause and how often it was true".to_owned(),
            headings: ["Stated between", "Mean stated", "Came true"]
                .map(str::to_owned)
                .into(),
            rows: all
                .reliability
                .iter()
                .map(|bin| {
                    vec![
                        format!("{} and {}", show::percent(bin.from), show::percent(bin.to)),
                        show::percent(bin.stated),
                        share(&bin.came_true, "no case"),
                    ]
                })
                .collect(),
        },
    }))
}
