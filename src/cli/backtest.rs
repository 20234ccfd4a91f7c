//! `backtest`.

use std::{io, io::Write, process::ExitCode};

use clap::Args;
use serde_json::{Value, json};

use super::StoreAt;
use crate::{
    advice::{
        Replay, Score,
        backtest::{Bin, Times},
    },
    casebook::Asker,
    knowledge::Knowledge,
    replay::History,
    statistics::{Interval, Share},
};

#[derive(Debug, Args)]
pub(super) struct Backtest {
    #[command(flatten)]
    store: StoreAt,
}

impl Backtest {
    pub(super) async fn run(self) -> anyhow::Result<ExitCode> {
        let (store, catalogue) = self.store.open_existing().await?;
        let history = History::read(&store, &catalogue, &Asker::console(), usize::MAX).await?;
        let bar = super::import::bar(history.cases.len() as u64);
        let knowledge = Knowledge::new(&catalogue)?;
        let components = |id: &str| history.components(id);
        let replay = tokio::task::block_in_place(|| {
            knowledge.replay(&history.cases, &components, &mut |done| {
                bar.set_position(done as u64)
            })
        })?;
        bar.finish_and_clear();
        let text = serde_json::to_string_pretty(&as_json(&replay))? + "\n";
        super::until_pipe_closes(io::stdout().write_all(text.as_bytes()).map_err(Into::into))
    }
}

fn as_json(replay: &Replay) -> Value {
    let classes: serde_json::Map<_, _> = replay
        .classes
        .iter()
        .map(|(class, score)| (class.clone(), score_json(score)))
        .collect();
    let left_out: Vec<_> = replay
        .left_out
        .iter()
        .map(|(number, reason)| json!({"number": number, "reason": reason}))
        .collect();
    json!({
        "method": "closed incidents in time order, each advised on from those closed before it \
                   began, as they stand on record now, with the quick search for an order; a check \
                   nobody made is taken to find the true cause with its listed chance; the fixed \
                   common-practice order and the advice before any case with the same signs are \
                   timed by the same rule; people's minutes are those \
                   noted up to the check that found the cause (ended; else all), and in all \
                   (people_whole), with the same minutes for changes of state, over the cases in \
                   which every check has them (noted); what was announced counts \
                   never finding, causes that their checks miss, and acting on false alarms; announced_where_found \
                   and advice_where_found are of searches for a listed cause as far as following the advice \
                   finds it; what an \
                   isolating check that nobody made shows is drawn; signs are those of the report, also \
                   such as a check of that very search showed, whose minutes are not counted; \
                   intervals are of 95 %, of means by resampling the cases, of shares by Wilson's \
                   score",
        "all": score_json(&replay.all),
        "classes": classes,
        "left_out": left_out,
    })
}

fn score_json(score: &Score) -> Value {
    let ends = |interval: Option<Interval>| interval.map(|i| [i.low, i.high]);
    // A mean over nothing is no number.
    let of_cases = |mean: f64| (score.cases > 0).then_some(mean);
    let times = |sample: u64, times: &Times, [minutes, checks]: [Option<Interval>; 2]| {
        json!({
            "minutes": (sample > 0).then_some(times.minutes),
            "minutes_interval": ends(minutes),
            "checks": (sample > 0).then_some(times.checks),
            "checks_interval": ends(checks),
        })
    };
    let (timed, noted) = (score.timed, score.noted);
    let intervals = &score.intervals;
    let share = |share: &Share| {
        json!({
            "count": share.count,
            "sample": share.sample,
            "share": share.value,
            "interval": share.interval.map(|i| [i.low, i.high]),
        })
    };
    let bin = |bin: &Bin| {
        json!({
            "from": bin.from,
            "to": bin.to,
            "stated": bin.stated,
            "came_true": share(&bin.came_true),
        })
    };
    json!({
        "cases": score.cases,
        "timed": score.timed,
        "noted": score.noted,
        "advice": times(timed, &score.advice, intervals.advice),
        "advice_before_any_case": times(timed, &score.untaught, intervals.untaught),
        "common_practice": times(timed, &score.practice, intervals.practice),
        "people": times(noted, &score.people, intervals.people),
        "people_whole": times(noted, &score.people_whole, intervals.people_whole),
        "ended": score.ended,
        "advice_where_noted": times(noted, &score.advice_noted, [None; 2]),
        "announced": times(timed, &score.announced, intervals.announced),
        "announced_where_found": times(timed, &score.announced_found, intervals.announced_found),
        "advice_where_found": times(timed, &score.advice_found, intervals.advice_found),
        "minutes_over_announced_where_found_interval": ends(intervals.over_announced),
        "minutes_over_advice_before_any_case_interval": ends(intervals.over_untaught),
        "minutes_over_common_practice_interval": ends(intervals.over_practice),
        "minutes_over_people_interval": ends(intervals.over_people),
        "log_loss": of_cases(score.log_loss),
        "log_loss_interval": ends(intervals.log_loss[0]),
        "common_practice_log_loss": of_cases(score.practice_log_loss),
        "common_practice_log_loss_interval": ends(intervals.log_loss[1]),
        "log_loss_over_common_practice_interval": ends(intervals.over_practice_losses[0]),
        "brier": of_cases(score.brier),
        "brier_interval": ends(intervals.brier[0]),
        "common_practice_brier": of_cases(score.practice_brier),
        "common_practice_brier_interval": ends(intervals.brier[1]),
        "brier_over_common_practice_interval": ends(intervals.over_practice_losses[1]),
        "top_1": score.top_1.as_ref().map(share),
        "top_3": score.top_3.as_ref().map(share),
        "common_practice_top_1": score.practice_tops[0].as_ref().map(share),
        "common_practice_top_3": score.practice_tops[1].as_ref().map(share),
        "top_1_over_common_practice_interval": ends(intervals.over_practice_tops[0]),
        "top_3_over_common_practice_interval": ends(intervals.over_practice_tops[1]),
        "calibration_error": of_cases(score.calibration_error),
        "common_practice_calibration_error": of_cases(score.practice_calibration_error),
        "reliability": score.reliability.iter().map(bin).collect::<Vec<_>>(),
    })
}
