//! Would the advice have helped? The replay of the closed incidents.

use axum::{extract::State, response::Html};

use super::{share, ways};
use crate::{
    advice::{Replay, Score, backtest::Times},
    catalogue::Catalogue,
    statistics::{Interval, Share},
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
        plain: plain(&app.catalogue, &kept.replay),
        times: times(all),
        classes: classes(app, kept),
        chances: chances(all),
        class_chances: class_chances(app, kept),
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
fn plain(catalogue: &Catalogue, replay: &Replay) -> Vec<String> {
    let all = &replay.all;
    let mut sentences = Vec::new();
    let classes = |holds: &dyn Fn(&Score) -> bool| -> Vec<String> {
        let classes = replay.classes.iter().filter(|(_, score)| holds(score));
        let names = classes.map(|(id, _)| show::class_name(catalogue, id));
        names.collect()
    };
    let intervals = &all.intervals;
    if all.timed > 0 {
        sentences.push(format!(
            "Following the advice would have taken {} to the cause on average: {} the fixed \
             common-practice order, which heeds no signs ({}), and {} the advice before any case, \
             with the same signs ({}).",
            show::minutes(all.advice.minutes),
            took(Shown::of(intervals.over_practice)),
            show::minutes(all.practice.minutes),
            took(Shown::of(intervals.over_untaught)),
            show::minutes(all.untaught.minutes),
        ));
        sentences.push(people(all));
        let slower = |score: &Score| match Shown::of(score.intervals.over_people) {
            Shown::More => Some(true),
            Shown::Neither if score.advice_noted.minutes > score.people.minutes => Some(false),
            _ => None,
        };
        for (surely, how) in [
            (true, "MORE"),
            (false, "more, by no more than luck may bring about,"),
        ] {
            let which = classes(&|score| score.noted > 0 && slower(score) == Some(surely));
            if !which.is_empty() {
                let which: Vec<&str> = which.iter().map(String::as_str).collect();
                sentences.push(format!(
                    "By class, following the advice would have taken {how} than what people did until \
                     the cause was found in {}.",
                    show::all_of(&which)
                ));
            }
        }
        sentences.push(format!(
            "When each search began, the advice announced {} on average: that holds also the walk through \
             all checks where none finds the cause, by the chance of that, and acting on false alarms. Of \
             searches in which its checks find the cause it expected {}, and {} were needed: {} it \
             expected.",
            show::minutes(all.announced.minutes),
            show::minutes(all.announced_found.minutes),
            show::minutes(all.advice_found.minutes),
            took(Shown::of(intervals.over_announced)),
        ));
    }
    let [log_loss, brier] = intervals.over_practice_losses.map(Shown::of);
    sentences.push(format!(
        "The chances stated with the fleet's cases were {} those of common practice alone by log \
         loss ({:.3} against {:.3}), and {} by Brier score ({:.3} against {:.3}).",
        stated(log_loss, " than"),
        all.log_loss,
        all.practice_log_loss,
        stated(brier, ""),
        all.brier,
        all.practice_brier,
    ));
    if let (Some(with), [Some(without), _]) = (all.top_1, all.practice_tops) {
        // More hits are better, where less of the other measures is.
        let hits = Shown::of(intervals.over_practice_tops[0]).turned();
        sentences.push(format!(
            "The likeliest cause was the true one in {} of {} with the fleet's cases and in {} by \
             common practice alone: {}.",
            with.count,
            with.sample,
            without.count,
            stated(hits, "")
        ));
    }
    let worse = |score: &Score| {
        let [log_loss, brier] = score.intervals.over_practice_losses.map(Shown::of);
        let hits = Shown::of(score.intervals.over_practice_tops[0]).turned();
        [log_loss, brier, hits].contains(&Shown::More)
    };
    let fewer_hits = |score: &Score| match (&score.top_1, &score.practice_tops[0]) {
        (Some(with), Some(without)) => with.count < without.count,
        _ => false,
    };
    let by_luck = |score: &Score| {
        !worse(score)
            && (score.log_loss > score.practice_log_loss
                || score.brier > score.practice_brier
                || fewer_hits(score))
    };
    for (which, what) in [
        (classes(&worse), "they were WORSE in"),
        (
            classes(&by_luck),
            "they were worse by no more than luck may bring about in",
        ),
    ] {
        if !which.is_empty() {
            let which: Vec<&str> = which.iter().map(String::as_str).collect();
            sentences.push(format!(
                "By one of these three measures or more {what} {}.",
                show::all_of(&which)
            ));
        }
    }
    sentences
}

/// The advice against what people did, where that is known.
fn people(all: &Score) -> String {
    if all.noted == 0 {
        return "In none of these incidents did people note the minutes of all their checks, so \
                their time is not known."
            .to_owned();
    }
    let among = match all.noted == all.timed {
        true => String::new(),
        false => format!(
            " in the {} of them in which people noted the minutes of all their checks",
            show::count(all.noted)
        ),
    };
    let unended = match all.noted - all.ended {
        0 => String::new(),
        some => format!(
            " In {} of these no check is said to have found the cause, and all that people did \
             counts.",
            show::count(some)
        ),
    };
    format!(
        "{} what people did until the cause was found{among}: {} against {}. With what they did \
         after that, as to make sure, it was {}.{unended}",
        show::capital(took(Shown::of(all.intervals.over_people))),
        show::minutes(all.advice_noted.minutes),
        show::minutes(all.people.minutes),
        show::minutes(all.people_whole.minutes),
    )
}

/// What the interval of a difference shows.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Shown {
    Less,
    More,
    Neither,
}

impl Shown {
    fn of(difference: Option<Interval>) -> Self {
        match difference {
            Some(Interval { high, .. }) if high < 0.0 => Self::Less,
            Some(Interval { low, .. }) if low > 0.0 => Self::More,
            _ => Self::Neither,
        }
    }

    fn turned(self) -> Self {
        match self {
            Self::Less => Self::More,
            Self::More => Self::Less,
            Self::Neither => Self::Neither,
        }
    }
}

fn took(shown: Shown) -> &'static str {
    match shown {
        Shown::Less => "less than",
        Shown::More => "MORE than",
        Shown::Neither => "not shown to be more or less than",
    }
}

/// How chances did by a measure of which less is better.
fn stated(shown: Shown, than: &str) -> String {
    match shown {
        Shown::Less => format!("better{than}"),
        Shown::More => format!("WORSE{than}"),
        Shown::Neither => format!("not shown to be better or worse{than}"),
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
    let less = |what: &str, ours: &Times, other: &Times, minutes: Option<Interval>| {
        vec![
            what.to_owned(),
            timed(with_ends(ours.minutes - other.minutes, minutes, 0)),
            timed(format!("{:.1}", ours.checks - other.checks)),
        ]
    };
    // Of people only what is known: other cases, if fewer, and so a difference of its own.
    let noted = |mut row: Vec<String>| {
        match all.noted {
            0 => row[1..].fill("not noted".to_owned()),
            noted if noted < all.timed => {
                row[0] = format!("{}, {} with all minutes noted", row[0], show::count(noted));
            }
            _ => {}
        }
        row
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
                "As advised before any case, with the same signs",
                &all.untaught,
                intervals.untaught,
            ),
            row(
                "Fixed common-practice order",
                &all.practice,
                intervals.practice,
            ),
            noted(row(
                "What people did until the cause was found",
                &all.people,
                intervals.people,
            )),
            noted(row(
                "All that people did",
                &all.people_whole,
                intervals.people_whole,
            )),
            row(
                "What the advice had announced, never finding it included",
                &all.announced,
                intervals.announced,
            ),
            row(
                "The same of searches that find the cause",
                &all.announced_found,
                intervals.announced_found,
            ),
            less(
                "As advised less that before any case",
                &all.advice,
                &all.untaught,
                intervals.over_untaught,
            ),
            less(
                "As advised less the fixed order",
                &all.advice,
                &all.practice,
                intervals.over_practice,
            ),
            row(
                "As advised, as far as following it finds the cause",
                &all.advice_found,
                intervals.advice_found,
            ),
            less(
                "These less what was announced of searches that find the cause",
                &all.advice_found,
                &all.announced_found,
                intervals.over_announced,
            ),
            noted(less(
                "As advised less what people did until the cause was found",
                &all.advice_noted,
                &all.people,
                intervals.over_people,
            )),
        ],
    }
}

/// A mean with its interval, as "51 (46 to 57)".
fn with_ends(mean: f64, interval: Option<Interval>, digits: usize) -> String {
    let shown = |number: f64| {
        let shown = format!("{number:.digits$}");
        // What rounds to nothing has no sign.
        match shown.strip_prefix('-') {
            Some(rest) if rest.chars().all(|c| matches!(c, '0' | '.')) => rest.to_owned(),
            _ => shown,
        }
    };
    match interval {
        Some(Interval { low, high }) => {
            format!("{} ({} to {})", shown(mean), shown(low), shown(high))
        }
        None => shown(mean),
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
            "Before any case, min",
            "Common practice, min",
            "People until found, min",
            "As advised less people, min",
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
                    timed(score.untaught.minutes, intervals.untaught),
                    timed(score.practice.minutes, intervals.practice),
                    match (score.noted, score.timed) {
                        (0, 1..) => "not noted".to_owned(),
                        (noted, all) if noted < all => format!(
                            "{}, n = {}",
                            with_ends(score.people.minutes, intervals.people[0], 0),
                            show::count(noted)
                        ),
                        _ => timed(score.people.minutes, intervals.people),
                    },
                    match score.noted {
                        0 => "not noted".to_owned(),
                        _ => with_ends(
                            score.advice_noted.minutes - score.people.minutes,
                            intervals.over_people,
                            0,
                        ),
                    },
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
            hits("Likeliest was true", all, 0),
            hits("Among the three likeliest", all, 1),
        ],
    }
}

/// How often the true cause was among the likeliest, with the cases and of common practice.
fn hits(what: &str, score: &Score, at: usize) -> Vec<String> {
    let shown = |hits: &Option<Share>| {
        let hits = hits.as_ref();
        hits.map_or_else(String::new, |hits| share(hits, "no case"))
    };
    vec![
        what.to_owned(),
        shown(&[score.top_1, score.top_3][at]),
        shown(&score.practice_tops[at]),
        more_hits(score, at),
    ]
}

/// Percentage points by which the cases have made the true cause more often one of the likeliest.
fn more_hits(score: &Score, at: usize) -> String {
    let value = |hits: Option<Share>| hits.and_then(|hits| hits.value);
    let with = value([score.top_1, score.top_3][at]);
    let (Some(with), Some(without)) = (with, value(score.practice_tops[at])) else {
        return String::new();
    };
    let interval = score.intervals.over_practice_tops[at].map(|Interval { low, high }| Interval {
        low: 100.0 * low,
        high: 100.0 * high,
    });
    format!(
        "{} points",
        with_ends(100.0 * (with - without), interval, 1)
    )
}

/// By class, the losses of stated chances less those of common practice alone.
fn class_chances(app: &App, kept: &Kept) -> DataTable {
    let classes = kept.replay.classes.iter();
    DataTable {
        caption:
            "By tool class: with the cases closed before, less common practice alone; better is \
                  below 0 of the two losses, above 0 of the hits"
                .to_owned(),
        headings: [
            "Tool class",
            "Incidents",
            "Log loss",
            "Brier score",
            "Likeliest was true",
            "Among the three likeliest",
        ]
        .map(str::to_owned)
        .into(),
        rows: classes
            .map(|(id, score)| {
                let [log_loss, brier] = score.intervals.over_practice_losses;
                vec![
                    show::class_name(&app.catalogue, id),
                    show::count(score.cases),
                    with_ends(score.log_loss - score.practice_log_loss, log_loss, 3),
                    with_ends(score.brier - score.practice_brier, brier, 3),
                    more_hits(score, 0),
                    more_hits(score, 1),
                ]
            })
            .collect(),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::source;

    fn times(minutes: f64) -> Times {
        Times {
            minutes,
            checks: 1.0,
        }
    }

    /// What is said of a replay with one class or none.
    fn said_of(all: Score, class: Option<(&str, Score)>) -> String {
        let replay = Replay {
            all,
            classes: class
                .into_iter()
                .map(|(id, score)| (id.to_owned(), score))
                .collect(),
            left_out: Vec::new(),
        };
        let catalogue = source::built_in().expect("the built-in catalogue is right");
        plain(&catalogue, &replay).join(" ")
    }

    /// A class is called worse by any of the three measures that luck does not explain, its hits
    /// among them, and worse by luck where the interval holds 0.
    #[test]
    fn a_class_with_fewer_hits_is_called_worse() {
        let hits = |low: f64, high: f64| {
            let mut score = Score {
                cases: 48,
                top_1: Some(Share::of(38, 48)),
                practice_tops: [Some(Share::of(42, 48)), None],
                ..Score::default()
            };
            score.intervals.over_practice_tops[0] = Some(Interval { low, high });
            said_of(Score::default(), Some(("load-lock-turbo", score)))
        };
        let worse = "they were WORSE in Load-locked turbo";
        let luck = "worse by no more than luck may bring about in Load-locked turbo";
        let said = hits(-0.167, -0.021);
        assert!(said.contains(worse) && !said.contains(luck), "{said}");
        let said = hits(-0.167, 0.021);
        assert!(said.contains(luck) && !said.contains(worse), "{said}");
    }

    /// A class in which people were quicker than the advice is named, though all classes together were not.
    #[test]
    fn a_class_whose_people_were_quicker_is_named() {
        let said = |low: f64, high: f64| {
            let mut score = Score {
                cases: 9,
                timed: 9,
                noted: 9,
                ended: 9,
                advice_noted: times(57.0),
                people: times(49.0),
                ..Score::default()
            };
            score.intervals.over_people = Some(Interval { low, high });
            let all = Score {
                people: times(66.0),
                ..score.clone()
            };
            said_of(all, Some(("glove-box-evaporator", score)))
        };
        let glove_box = "than what people did until the cause was found in Turbo-pumped";
        let luck = said(-5.0, 24.0);
        assert!(
            luck.contains(&format!("luck may bring about, {glove_box}")),
            "{luck}"
        );
        let surely = said(5.0, 24.0);
        assert!(
            surely.contains(&format!("taken MORE {glove_box}")),
            "{surely}"
        );
        assert!(!said(-24.0, -5.0).contains(glove_box));
    }

    /// What was announced stands beside what was needed with what either counts.
    #[test]
    fn announced_and_needed_minutes_are_told_apart() {
        let said = |low: f64, high: f64| {
            let mut all = Score {
                cases: 9,
                timed: 9,
                advice: times(55.0),
                announced: times(197.0),
                announced_found: times(70.0),
                advice_found: times(54.0),
                ..Score::default()
            };
            all.intervals.over_announced = Some(Interval { low, high });
            said_of(all, None)
        };
        let less = said(-20.0, -10.0);
        assert!(less.contains("announced 3 h 17 min on average"), "{less}");
        assert!(
            less.contains("it expected 1 h 10 min, and 54 min were needed: less than it"),
            "{less}"
        );
        assert!(said(-20.0, 10.0).contains("were needed: not shown to be more or less than it"));
        assert!(said(2.0, 10.0).contains("were needed: MORE than it"));
    }
}
