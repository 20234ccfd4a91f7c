//! Over which time the tools were watched, and when what befell them on that clock.
//!
//! Cases say nothing about the time before anybody kept records. A site is watched from
//! the day after its first known case (that case opens the record and is not counted, so
//! that the rest is a fair sample), a tool from its first day in service if that is later;
//! a tool of which no such day is known from the day after its own first known case. The
//! watch ends with the last day in service, or the last day asked for. Whoever ends it with
//! the record ends it the day before the newest case: a watch that ends for a case's sake makes
//! cases seem to come faster.
//!
//! The clock of several tools together is the sum of their days in service: on it a
//! constant rate for each tool is a constant rate, however the fleet grew.

use std::collections::{BTreeMap, HashMap};

use super::{
    Filter, Ledger, NOT_FOUND,
    ledger::{Fitted, ToolHistory},
    survival::Life,
};

/// The longest watch, in days: 200 years.
const LONGEST: i64 = 73_050;

/// The time tools were watched for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Watch {
    /// First day any of them was watched; none if there is nothing to watch.
    pub first_day: Option<i64>,
    /// Last day of the watch.
    pub last_day: i64,
    /// Tools watched for at least a day.
    pub tools: u64,
    /// Those of them watched only from their first known case on.
    pub undated: u64,
    /// Sum of their days in service.
    pub tool_days: f64,
    /// Cases on those days.
    pub events: u64,
    /// Cases of the selection that do not count: they opened a record, or lie outside the
    /// time in service.
    pub outside: u64,
}

/// A tool under watch, from `start` to the day before `end`.
pub(super) struct Watched<'a> {
    pub(super) tool: u32,
    pub(super) history: &'a ToolHistory,
    pub(super) start: i64,
    pub(super) end: i64,
    /// It went into service within the record, so its parts were new then.
    new: bool,
    undated: bool,
    /// First day from which every renewal of its parts is on record, whatever days were
    /// asked for.
    known_from: i64,
}

impl Watched<'_> {
    fn has(&self, component: Option<u32>) -> bool {
        match (&self.history.service, component) {
            (Some(Fitted { components, .. }), Some(component)) => components.contains(&component),
            _ => true,
        }
    }

    /// Days on which the part was renewed before the end of the watch, and whether because
    /// it had failed by `cause`, also before [`Self::known_from`].
    fn renewals(&self, cause: u32) -> Vec<(i64, bool)> {
        let cases = self.history.causes.get(&cause);
        let failures = cases.into_iter().flat_map(|line| line.days());
        let failures = failures.map(|day| (day, true));
        let service = self.history.service.as_ref();
        let planned = service.and_then(|service| service.services.get(&cause));
        let mut days: Vec<(i64, bool)> = planned
            .into_iter()
            .flatten()
            .map(|day| (*day, false))
            .chain(failures)
            .filter(|(day, _)| *day < self.end)
            .collect();
        // On one day the failure comes first.
        days.sort_by_key(|(day, failed)| (*day, !failed));
        days
    }

    pub(super) fn days(&self) -> f64 {
        (self.end - self.start) as f64
    }

    /// Days of its cases while watched, by cause.
    pub(super) fn events(&self) -> impl Iterator<Item = (u32, i64)> + '_ {
        self.history.causes.iter().flat_map(|(cause, cases)| {
            let watched = cases.between(self.start, self.end.saturating_sub(1));
            watched.iter().map(|(day, _)| (*cause, i64::from(*day)))
        })
    }
}

/// The tools of a selection under watch, to `last_day` at the latest.
pub(super) fn watched<'a>(ledger: &'a Ledger, filter: &Filter, last_day: i64) -> Vec<Watched<'a>> {
    let firsts = ledger.first_days();
    let last = filter.to_day.unwrap_or(i64::MAX).min(last_day);
    let mut all: Vec<Watched<'a>> = ledger
        .histories(filter)
        .filter_map(|(&tool, history)| {
            let opened = firsts.get(&history.site)?.saturating_add(1);
            let service = history.service.as_ref();
            let from = service.and_then(|service| service.from_day);
            let first = history
                .causes
                .values()
                .filter_map(|line| line.days().next());
            let start = match from {
                Some(day) => day.max(opened),
                None => first.min()?.saturating_add(1),
            };
            let new = from.is_some_and(|day| day >= opened);
            // Of a tool that is older, the case that opens the record is known as well.
            let known_from = start.saturating_sub(i64::from(!new));
            let new = new && filter.from_day.is_none_or(|day| day <= start);
            let start = start.max(filter.from_day.unwrap_or(i64::MIN));
            let until = service.and_then(|service| service.until_day);
            let end = until.unwrap_or(i64::MAX).min(last).saturating_add(1);
            (start < end && end.saturating_sub(start) <= LONGEST).then_some(Watched {
                tool,
                history,
                start,
                end,
                new,
                undated: from.is_none(),
                known_from,
            })
        })
        .collect();
    all.sort_by_key(|watched| watched.tool);
    all
}

/// What the watch amounts to.
pub(super) fn summary(ledger: &Ledger, filter: &Filter, tools: &[Watched<'_>]) -> Watch {
    let events: usize = tools.iter().map(|watched| watched.events().count()).sum();
    let all = ledger.count(filter) as usize;
    Watch {
        first_day: tools.iter().map(|watched| watched.start).min(),
        last_day: tools
            .iter()
            .map(|watched| watched.end - 1)
            .max()
            .unwrap_or_default(),
        tools: tools.len() as u64,
        undated: tools.iter().filter(|watched| watched.undated).count() as u64,
        // An empty sum is minus nothing.
        tool_days: tools.iter().map(Watched::days).sum::<f64>() + 0.0,
        events: events as u64,
        outside: all.saturating_sub(events) as u64,
    }
}

/// Calendar days to the summed days in service of several tools, and back.
pub(super) struct Clock {
    first: i64,
    /// Days in service before each day from the first on, and after the last.
    before: Vec<f64>,
}

impl Clock {
    /// The clock of the tools that have a component, or of all.
    pub(super) fn of(tools: &[Watched<'_>], component: Option<u32>) -> Self {
        let tools = || tools.iter().filter(|watched| watched.has(component));
        let first = tools().map(|watched| watched.start).min().unwrap_or(0);
        let end = tools().map(|watched| watched.end).max().unwrap_or(first);
        let mut steps = vec![0i64; (end - first) as usize + 1];
        for watched in tools() {
            steps[(watched.start - first) as usize] += 1;
            steps[(watched.end - first) as usize] -= 1;
        }
        let mut before = Vec::with_capacity(steps.len());
        let (mut running, mut sum) = (0, 0.0);
        for step in steps {
            before.push(sum);
            running += step;
            sum += running as f64;
        }
        Self { first, before }
    }

    /// Days in service in all.
    pub(super) fn total(&self) -> f64 {
        self.before.last().copied().unwrap_or_default()
    }

    /// The first day, and the day after the last; none without a tool.
    pub(super) fn days(&self) -> Option<(i64, i64)> {
        (self.before.len() > 1).then(|| (self.first, self.first + self.before.len() as i64 - 1))
    }

    /// Days in service before a day of the watch or the one after it.
    pub(super) fn before(&self, day: i64) -> f64 {
        let at = usize::try_from(day - self.first).unwrap_or(0);
        self.before.get(at).copied().unwrap_or_else(|| self.total())
    }

    /// The middle of a day on this clock; none on a day without a tool.
    pub(super) fn at(&self, day: i64) -> Option<f64> {
        let at = usize::try_from(day - self.first).ok()?;
        let (start, end) = (self.before.get(at)?, self.before.get(at + 1)?);
        (end > start).then_some((start + end) / 2.0)
    }

    /// The middles of days on this clock, in order, without those without a tool.
    pub(super) fn times(&self, days: &[i64]) -> Vec<f64> {
        // Far more cases than days: counting sorts them.
        let mut counts = vec![0usize; self.before.len()];
        for day in days {
            let at = usize::try_from(day - self.first).ok();
            if let Some(count) = at.and_then(|at| counts.get_mut(at)) {
                *count += 1;
            }
        }
        let mut times = Vec::with_capacity(days.len());
        for (day, count) in (self.first..).zip(counts) {
            let time = self.at(day).filter(|_| count > 0);
            times.extend(
                time.into_iter()
                    .flat_map(|time| std::iter::repeat_n(time, count)),
            );
        }
        times
    }

    /// The day on which this clock shows a time.
    pub(super) fn day(&self, time: f64) -> i64 {
        let after = self.before.partition_point(|before| *before <= time);
        self.first + after.saturating_sub(1) as i64
    }
}

/// Times of the cases of each cause on the clock of the tools that can have it.
pub(super) fn by_cause(
    ledger: &Ledger,
    tools: &[Watched<'_>],
) -> BTreeMap<String, (Vec<f64>, Clock)> {
    let components = ledger.components_of_causes();
    let nothing = ledger.symbols.get(NOT_FOUND);
    let mut days: HashMap<u32, Vec<i64>> = HashMap::new();
    for watched in tools {
        for (cause, day) in watched.events() {
            let component = components.get(&cause).copied();
            if watched.has(component.filter(|id| Some(*id) != nothing)) {
                days.entry(cause).or_default().push(day);
            }
        }
    }
    days.into_iter()
        .map(|(cause, days)| {
            let component = components.get(&cause).copied();
            let clock = Clock::of(tools, component.filter(|id| Some(*id) != nothing));
            let times = clock.times(&days);
            (ledger.symbols.name(cause).to_owned(), (times, clock))
        })
        .collect()
}

/// Lives of a part: from one renewal to the next failure, or to the end of the watch.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lives {
    /// The lives of each tool, in days.
    pub tools: Vec<Vec<Life>>,
    /// Failures before which the last renewal is not known: of no use for a life.
    pub unknown: u64,
    /// Lives that a planned service ended before they failed.
    pub planned: u64,
    /// Planned services that begin no life, since they lie before the record, which would not
    /// hold a failure since, or before the tool went into service.
    pub early: u64,
    /// Tools with the component.
    pub fitted: u64,
}

impl Lives {
    /// All lives.
    pub fn all(&self) -> Vec<Life> {
        self.tools.iter().flatten().copied().collect()
    }
}

/// The tools that have the part whose failure is `cause`, by class.
pub(super) fn fitted(ledger: &Ledger, cause: &str, tools: &[Watched<'_>]) -> BTreeMap<String, u64> {
    let mut found = BTreeMap::new();
    if let Some(cause) = ledger.symbols.get(cause) {
        let component = ledger.components_of_causes().get(&cause).copied();
        for watched in tools.iter().filter(|watched| watched.has(component)) {
            let class = ledger.symbols.name(watched.history.class).to_owned();
            *found.entry(class).or_default() += 1;
        }
    }
    found
}

/// The lives that end in a cause. A case renews the part, and so does a planned service of
/// its component, which ends the life before it without a failure; a tool that went into
/// service within the record started with a new one. Two cases on one day are one failure,
/// and a service on the day of a case belongs to its repair. What was renewed before the
/// record begins may have failed since unrecorded, so its age is not known; and as no life
/// begins before the watch does, none is seen only because it lasted so long.
pub(super) fn lives(ledger: &Ledger, cause: &str, tools: &[Watched<'_>]) -> Lives {
    let mut found = Lives::default();
    let Some(cause) = ledger.symbols.get(cause) else {
        return found;
    };
    let component = ledger.components_of_causes().get(&cause).copied();
    for watched in tools.iter().filter(|watched| watched.has(component)) {
        found.fitted += 1;
        let mut renewed = watched.new.then_some(watched.start);
        let mut lives = Vec::new();
        for (day, failed) in watched.renewals(cause) {
            if day < watched.known_from {
                found.early += u64::from(!failed);
                continue;
            }
            match renewed {
                Some(since) if day > since => {
                    lives.push(Life {
                        time: (day - since) as f64,
                        failed,
                    });
                    found.planned += u64::from(!failed);
                }
                None => found.unknown += u64::from(failed),
                Some(_) => {}
            }
            renewed = Some(day);
        }
        if let Some(since) = renewed
            && watched.end > since + 1
        {
            lives.push(Life {
                time: (watched.end - 1 - since) as f64,
                failed: false,
            });
        }
        if !lives.is_empty() {
            found.tools.push(lives);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;
    use crate::statistics::{Case, ToolService, trends::Verdict};

    fn case(number: i64, tool: &str, cause: &str, day: i64) -> Case {
        Case {
            number,
            tool: tool.to_owned(),
            tool_class: "turbo".to_owned(),
            site: "BRK".to_owned(),
            cause: cause.to_owned(),
            component: (cause != NOT_FOUND).then(|| "backing-pump".to_owned()),
            kind: (cause != NOT_FOUND).then(|| "pumping-fault".to_owned()),
            occurred_day: day,
            labour_minutes: 60.0,
            down_hours: 4.0,
            signs: Vec::new(),
            antecedents: Vec::new(),
            checks: Vec::new(),
            loss_decades: None,
        }
    }

    fn tool(name: &str, from_day: Option<i64>, until_day: Option<i64>) -> ToolService {
        ToolService {
            tool: name.to_owned(),
            tool_class: "turbo".to_owned(),
            site: "BRK".to_owned(),
            components: vec!["backing-pump".to_owned()],
            from_day,
            until_day,
            services: Vec::new(),
        }
    }

    /// By hand: the record opens on day 10 with case 1, so A (in service long before) is
    /// watched on days 11 to 100, B on its own days 50 to 79, C without a date from the day
    /// after its first case, 61 to 100.
    #[test]
    fn days_in_service_lives_and_what_does_not_count_are_as_by_hand() {
        let mut ledger = Ledger::new();
        ledger.set_fleet(&[
            tool("A", Some(-500), None),
            tool("B", Some(50), Some(79)),
            tool("C", None, None),
            tool("D", None, None),
        ]);
        let cases = [
            case(1, "A", "tip-seal", 10),
            case(2, "A", "tip-seal", 40),
            case(3, "A", NOT_FOUND, 45),
            case(4, "B", "tip-seal", 70),
            case(5, "C", "tip-seal", 60),
            case(6, "C", "tip-seal", 90),
            case(7, "B", "tip-seal", 95),
        ];
        for case in &cases {
            ledger.apply(case.number, Some(case)).unwrap();
        }
        let watch = ledger.watch(&Filter::default(), 100);
        assert_eq!((watch.tools, watch.undated), (3, 1));
        assert_eq!((watch.first_day, watch.last_day), (Some(11), 100));
        assert_eq!(watch.tool_days, 90.0 + 30.0 + 40.0);
        assert_eq!((watch.events, watch.outside), (4, 3));
        // Times are those of the same cases.
        let (same, counted) = ledger.watched(&Filter::default(), 100);
        assert_eq!(same, watch);
        assert_eq!((counted.share.count, counted.down.sample), (4, 4));
        assert_eq!(counted.recent, [6, 4, 3, 2]);
        let lives = ledger.lives("tip-seal", &Filter::default(), 100);
        let life = |time: f64, failed: bool| Life { time, failed };
        assert_eq!((lives.fitted, lives.unknown), (3, 2));
        assert_eq!(
            lives.tools,
            [
                vec![life(30.0, true), life(60.0, false)],
                vec![life(20.0, true), life(9.0, false)],
                vec![life(30.0, true), life(10.0, false)],
            ]
        );
        let months = ledger.per_month(&Filter::default(), 100);
        assert_eq!(
            months.iter().map(|month| month.0).collect::<Vec<_>>(),
            [11, 41, 72]
        );
        assert_eq!(
            months.iter().map(|month| month.1).collect::<Vec<_>>(),
            [1, 2, 1]
        );
        let days: f64 = months.iter().map(|month| 30.4375 * month.2).sum();
        assert!((days - 160.0).abs() < 1e-9);
        let year = Filter {
            from_day: Some(31),
            to_day: Some(60),
            ..Filter::default()
        };
        let watch = ledger.watch(&year, 100);
        assert_eq!((watch.tool_days, watch.events), (30.0 + 11.0, 2));
        // Told of again without its cases, the ledger is as new.
        for case in &cases {
            ledger.apply(case.number, None).unwrap();
        }
        assert_eq!(ledger.watch(&Filter::default(), 100), Watch::default());
        assert!(
            ledger
                .lives("tip-seal", &Filter::default(), 100)
                .tools
                .is_empty()
        );
    }

    /// By hand: a service ends a life without a failure and begins a new one; before the first
    /// renewal it makes the age known; on the day of a case it is part of the repair; after the
    /// last day in service, and of another cause's part, it is none.
    #[test]
    fn planned_services_end_lives_without_a_failure() {
        let mut ledger = Ledger::new();
        let mut serviced = tool("A", Some(-500), Some(90));
        let pump = |day: i64| ("tip-seal".to_owned(), day);
        serviced.services = vec![pump(20), pump(40), pump(60), pump(95)];
        let mut other = tool("B", Some(-500), None);
        other.services = vec![("door-seal-worn".to_owned(), 50)];
        let mut spared = tool("C", Some(-500), None);
        spared.services = vec![pump(5), pump(65), pump(70)];
        let mut young = tool("D", Some(50), None);
        young.services = vec![pump(45)];
        ledger.set_fleet(&[serviced, other, spared, young]);
        let cases = [
            case(1, "B", NOT_FOUND, 10),
            case(2, "A", "tip-seal", 40),
            case(3, "A", "tip-seal", 70),
            case(4, "B", "tip-seal", 30),
        ];
        for case in &cases {
            ledger.apply(case.number, Some(case)).unwrap();
        }
        let life = |time: f64, failed: bool| Life { time, failed };
        let lives = ledger.lives("tip-seal", &Filter::default(), 100);
        assert_eq!(
            lives.tools,
            [
                vec![
                    life(20.0, true),
                    life(20.0, false),
                    life(10.0, true),
                    life(20.0, false)
                ],
                vec![life(70.0, false)],
                // The service on day 5 lies before the record, which opens on day 10.
                vec![life(5.0, false), life(30.0, false)],
                // The service on day 45 lies before the first day in service.
                vec![life(50.0, false)],
            ]
        );
        assert_eq!((lives.planned, lives.unknown, lives.early), (2, 1, 2));
        let watch = ledger.watch(&Filter::default(), 100);
        assert_eq!(watch.tool_days, 80.0 + 90.0 + 90.0 + 51.0);
    }

    /// Services of before the record, copied from an old log, change no life: failures between
    /// them and the record are not known. With such services as beginnings the same lives had a
    /// mean of years.
    #[test]
    fn services_from_before_the_record_change_nothing() {
        let cases: Vec<Case> = (0..6i64)
            .flat_map(|of| {
                let at = move |day| case(10 * of + day, &format!("T{of}"), "tip-seal", day + of);
                [at(1), at(400), at(900)]
            })
            .collect();
        let lives = |services: &[i64]| {
            let mut ledger = Ledger::new();
            let fleet: Vec<ToolService> = (0..6)
                .map(|of| ToolService {
                    services: services
                        .iter()
                        .map(|day| ("tip-seal".to_owned(), *day))
                        .collect(),
                    ..tool(&format!("T{of}"), Some(-5000), None)
                })
                .collect();
            ledger.set_fleet(&fleet);
            for case in &cases {
                ledger.apply(case.number, Some(case)).unwrap();
            }
            ledger.lives("tip-seal", &Filter::default(), 1000)
        };
        let (without, with) = (lives(&[]), lives(&[-3000]));
        assert_eq!(without.tools, with.tools);
        assert_eq!((without.early, with.early), (0, 6));
        assert_eq!(without.unknown, with.unknown);
    }

    /// With a watch that ends the day before the newest case a constant rate is called a trend
    /// as seldom as stated: 1,500 fleets each of one tool with 6 and 8 cases a constant rate
    /// apart on average (of the case that opens the record and the newest none counts). Ended
    /// with the newest case, which it then counted, 9 and 8 in 100 were called rising.
    #[test]
    fn a_constant_rate_is_as_seldom_called_a_trend_as_stated() {
        let mut rng = ChaCha8Rng::seed_from_u64(1875);
        for count in [6, 8] {
            let mut called = [0; 2];
            for _ in 0..1500 {
                let mut ledger = Ledger::new();
                ledger.set_fleet(&[tool("A", Some(-500), None)]);
                let mut day = 0.0;
                for number in 0..count {
                    let case = case(number, "A", NOT_FOUND, day as i64);
                    ledger.apply(number, Some(&case)).unwrap();
                    day += -300.0 * (1.0 - rng.random::<f64>()).ln();
                }
                let (_, newest) = ledger.days().unwrap();
                let trends = ledger.trends(&Filter::default(), newest - 1);
                called[0] += u32::from(trends.all.verdict == Verdict::Rising);
                called[1] += u32::from(trends.all.verdict == Verdict::Falling);
            }
            for called in called {
                assert!(
                    (15..60).contains(&called),
                    "{called} of 1500, {count} cases"
                );
            }
        }
    }

    /// A fleet that doubles has twice the cases; on the clock of days in service that is no
    /// trend, on the calendar it would be one.
    #[test]
    fn a_growing_fleet_is_no_trend_and_a_worse_pump_is() {
        let mut ledger = Ledger::new();
        let fleet: Vec<_> = (0..40)
            .map(|n| tool(&format!("T{n}"), Some(if n < 10 { -9 } else { 500 }), None))
            .collect();
        ledger.set_fleet(&fleet);
        let mut number = 0;
        let mut add = |ledger: &mut Ledger, tool: i64, cause: &str, day: i64| {
            number += 1;
            let case = case(number, &format!("T{tool}"), cause, day);
            ledger.apply(number, Some(&case)).unwrap();
        };
        add(&mut ledger, 0, NOT_FOUND, -1);
        for tool in 0..40 {
            let start = if tool < 10 { 0 } else { 500 };
            for at in 0..20 {
                let day = start + (at * 53 + tool * 17) % 1000;
                if day < 1000 {
                    add(&mut ledger, tool, "steady", day);
                }
            }
        }
        for at in 0..12 {
            add(&mut ledger, at % 10, "worse", 900 + 8 * at);
        }
        let trends = ledger.trends(&Filter::default(), 999);
        let of = |id: &str| trends.causes.iter().find(|trend| trend.id == id).unwrap();
        assert_eq!(
            of("steady").verdict,
            Verdict::NotShown,
            "{:?}",
            of("steady")
        );
        assert_eq!(of("worse").verdict, Verdict::Rising);
        assert_eq!(trends.causes[0].id, "worse");
        let change = of("worse").change.unwrap();
        assert!(
            change.chance > 0.95 && (850..930).contains(&change.day),
            "{change:?}"
        );
        assert!(change.days.0 <= change.day && change.day <= change.days.1);
        let rate = of("steady").rate().unwrap();
        assert!(rate.interval.low < rate.value && rate.value < rate.interval.high);
        let nobody = Filter {
            class: Some("nobody".to_owned()),
            ..Filter::default()
        };
        let empty = ledger.trends(&nobody, 999);
        assert_eq!((empty.causes.len(), empty.tools.len()), (0, 0));
        assert_eq!(empty.all.verdict, Verdict::TooFew);
        assert_eq!(empty.all.rate(), None);
    }
}
