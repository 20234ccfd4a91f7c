//! What gets worse and what better, against the time tools were in service.
//!
//! Many causes and tools are tested at once, so chances are adjusted by Benjamini and
//! Hochberg over all that have enough cases to be tested, and only what stays below
//! [`CALLED`] is called a trend. The number of cases needed is fixed beforehand, not
//! chosen by what they show.

use std::collections::BTreeMap;

use super::{
    Filter, Group, Ledger,
    interval::{Rate, poisson_rate},
    observation::{self, Clock, Watch},
    trend::{
        PowerLaw, TrendTest, benjamini_hochberg, change_point, laplace, power_law, power_law_test,
    },
};

/// Days in a month: a twelfth of 365.25 days.
pub const DAYS_PER_MONTH: f64 = 30.4375;
/// Fewer cases are not tested.
pub const TESTED_FROM: usize = 4;
/// The share of false calls among the trends called.
pub const CALLED: f64 = 0.05;

/// What the tests say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Too few cases to test.
    TooFew,
    /// The data show no trend; that is not to say that there is none.
    NotShown,
    /// Coming faster.
    Rising,
    /// Coming more slowly.
    Falling,
}

impl Verdict {
    /// As programs name it.
    pub fn id(self) -> &'static str {
        match self {
            Self::TooFew => "too-few",
            Self::NotShown => "not-shown",
            Self::Rising => "rising",
            Self::Falling => "falling",
        }
    }
}

/// One stream of cases.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// What the cases have in common; empty for all of them.
    pub id: String,
    /// Cases.
    pub events: u64,
    /// Days in service of the tools that can have them.
    pub tool_days: f64,
    /// Laplace's test, if there are enough cases.
    pub laplace: Option<TrendTest>,
    /// The test of MIL-HDBK-189.
    pub power_law_test: Option<TrendTest>,
    /// The power law fitted.
    pub power_law: Option<PowerLaw>,
    /// Chance of Laplace's test (two-sided), adjusted for the number of tests made.
    pub adjusted: Option<f64>,
    /// Where the rate may have changed once.
    pub change: Option<Change>,
    /// What can be said.
    pub verdict: Verdict,
}

/// One change of a rate, in days and in cases a tool and month.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Chance that the rate changed at all, even odds before looking.
    pub chance: f64,
    /// The day it is as likely to have come before as after.
    pub day: i64,
    /// Central 95 % of the days.
    pub days: (i64, i64),
    /// Rate before that day.
    pub before: f64,
    /// Rate after it.
    pub after: f64,
}

/// Trends of a selection.
#[derive(Clone, Debug, PartialEq)]
pub struct Trends {
    /// The time the tools were watched for.
    pub watch: Watch,
    /// All cases together.
    pub all: Trend,
    /// By cause, adjusted together; the smallest chances first.
    pub causes: Vec<Trend>,
    /// By tool, adjusted together; the smallest chances first.
    pub tools: Vec<Trend>,
}

impl Trend {
    /// Cases a tool and month, with an exact 95 % interval; none without time in service.
    pub fn rate(&self) -> Option<Rate> {
        poisson_rate(self.events, self.tool_days / DAYS_PER_MONTH, 0.95).ok()
    }

    fn of(id: &str, times: &[f64], clock: &Clock) -> Self {
        let end = clock.total();
        Self::on(id, times, end, || change(times, clock))
    }

    fn on(id: &str, times: &[f64], end: f64, change: impl FnOnce() -> Option<Change>) -> Self {
        let tested = times.len() >= TESTED_FROM;
        Self {
            id: id.to_owned(),
            events: times.len() as u64,
            tool_days: end,
            laplace: laplace(times, end).ok().filter(|_| tested),
            power_law_test: power_law_test(times, end).ok().filter(|_| tested),
            power_law: power_law(times, end).ok().filter(|_| tested),
            adjusted: None,
            change: change(),
            verdict: Verdict::TooFew,
        }
    }
}

impl Ledger {
    /// Trends of a selection; `last_day` is the last day of the record.
    pub fn trends(&self, filter: &Filter, last_day: i64) -> Trends {
        let tools = observation::watched(self, filter, last_day);
        let clock = Clock::of(&tools, None);
        let mut days: Vec<i64> = Vec::new();
        let mut by_tool = Vec::new();
        for watched in &tools {
            let mut own: Vec<f64> = Vec::new();
            for (_, day) in watched.events() {
                days.push(day);
                own.push((day - watched.start) as f64 + 0.5);
            }
            if own.is_empty() {
                continue;
            }
            own.sort_by(f64::total_cmp);
            let name = self.symbols.name(watched.tool);
            by_tool.push(Trend::on(name, &own, watched.days(), || None));
        }
        let mut all = vec![Trend::of("", &clock.times(&days), &clock)];
        judge(&mut all);
        let mut causes: Vec<Trend> = observation::by_cause(self, &tools)
            .iter()
            .map(|(cause, (times, clock))| Trend::of(cause, times, clock))
            .collect();
        judge(&mut causes);
        judge(&mut by_tool);
        Trends {
            watch: observation::summary(self, filter, &tools),
            all: all.remove(0),
            causes,
            tools: by_tool,
        }
    }

    /// Cases and tool-months in service by month of the watch (of [`DAYS_PER_MONTH`] days,
    /// rounded to whole ones), each with its first day. The last one may be short.
    pub fn per_month(&self, filter: &Filter, last_day: i64) -> Vec<(i64, u64, f64)> {
        let tools = observation::watched(self, filter, last_day);
        let clock = Clock::of(&tools, None);
        let Some((first, end)) = clock.days() else {
            return Vec::new();
        };
        let start = |month: usize| first + (month as f64 * DAYS_PER_MONTH).round() as i64;
        let mut months: Vec<(i64, u64, f64)> = (0..)
            .map(start)
            .take_while(|day| *day < end)
            .map(|day| (day, 0, 0.0))
            .collect();
        for at in 0..months.len() {
            let next = months.get(at + 1).map_or(end, |month| month.0);
            months[at].2 = (clock.before(next) - clock.before(months[at].0)) / DAYS_PER_MONTH;
        }
        for (_, day) in tools.iter().flat_map(|watched| watched.events()) {
            let at = months.partition_point(|month| month.0 <= day);
            if let Some(month) = at.checked_sub(1).and_then(|at| months.get_mut(at)) {
                month.1 += 1;
            }
        }
        months
    }

    /// Where the rate of one tool of a selection may have changed once.
    pub fn change_of_tool(&self, tool: &str, filter: &Filter, last_day: i64) -> Option<Change> {
        let filter = Filter {
            tool: Some(tool.to_owned()),
            ..filter.clone()
        };
        let tools = observation::watched(self, &filter, last_day);
        let days: Vec<i64> = tools
            .iter()
            .flat_map(|watched| watched.events().map(|(_, day)| day))
            .collect();
        let clock = Clock::of(&tools, None);
        change(&clock.times(&days), &clock)
    }

    /// The time the tools of a selection were watched for, and the cases that came meanwhile.
    pub fn watched(&self, filter: &Filter, last_day: i64) -> (Watch, Group) {
        let tools = observation::watched(self, filter, last_day);
        let days = tools
            .iter()
            .map(|watched| (watched.history, watched.start, watched.end));
        let cases = self.on_watch(days);
        (observation::summary(self, filter, &tools), cases)
    }

    /// The time the tools of a selection were watched for.
    pub fn watch(&self, filter: &Filter, last_day: i64) -> Watch {
        let tools = observation::watched(self, filter, last_day);
        observation::summary(self, filter, &tools)
    }

    /// Watched tools that have the part whose failure is `cause`, by class.
    pub fn fitted(&self, cause: &str, filter: &Filter, last_day: i64) -> BTreeMap<String, u64> {
        let tools = observation::watched(self, filter, last_day);
        observation::fitted(self, cause, &tools)
    }

    /// Lives of the part whose failure is `cause`.
    pub fn lives(&self, cause: &str, filter: &Filter, last_day: i64) -> observation::Lives {
        let tools = observation::watched(self, filter, last_day);
        observation::lives(self, cause, &tools)
    }
}

/// Adjusts the chances of streams tested together, judges them, and puts the smallest
/// chances first.
pub fn judge(trends: &mut [Trend]) {
    let chances: Vec<f64> = trends
        .iter()
        .filter_map(|trend| Some(trend.laplace?.p()))
        .collect();
    // Chances of a test lie within 0 to 1.
    let mut adjusted = benjamini_hochberg(&chances).unwrap_or_default().into_iter();
    for trend in &mut *trends {
        let Some(test) = trend.laplace else { continue };
        trend.adjusted = adjusted.next();
        trend.verdict = match trend.adjusted {
            Some(chance) if chance <= CALLED && test.statistic > 0.0 => Verdict::Rising,
            Some(chance) if chance <= CALLED => Verdict::Falling,
            _ => Verdict::NotShown,
        };
    }
    trends.sort_by(|a, b| {
        let rank = |trend: &Trend| trend.laplace.map_or(2.0, |test| test.p());
        rank(a)
            .total_cmp(&rank(b))
            .then_with(|| b.events.cmp(&a.events))
            .then_with(|| a.id.cmp(&b.id))
    });
}

fn change(times: &[f64], clock: &Clock) -> Option<Change> {
    let change = change_point(times, clock.total()).ok()?;
    Some(Change {
        chance: change.chance,
        day: clock.day(change.time),
        days: (
            clock.day(change.interval.low),
            clock.day(change.interval.high),
        ),
        before: change.rate_before * DAYS_PER_MONTH,
        after: change.rate_after * DAYS_PER_MONTH,
    })
}
