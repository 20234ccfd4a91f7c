//! Times the cause statistics of one tool class over many incidents, for
//! `tests/reference/statistics_speed.py`.
//!
//! `statistics FILE [ROWS]` draws the incidents, writes them to FILE as a table, tells the
//! ledger of them one by one, and prints as JSON what the ledger says of one class, over all
//! days, a year, and days that begin and end within a month, and how long each answer took;
//! beside them the figures by tool and the trends of the whole fleet.

use std::{
    fs::File,
    io::{BufWriter, Write},
    time::Instant,
};

use coldtrap::statistics::{Breakdown, Case, Dimension, Filter, Ledger, NOT_FOUND, Outcome};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const ROWS: i64 = 1_000_000;
const CLASSES: usize = 6;
const SITES: usize = 12;
const CAUSES: usize = 40;
const TOOLS: usize = 10_000;
const DAYS: i64 = 2190;
const CLASS: &str = "class-0";
const ANSWERS: usize = 41;

fn main() {
    // `cargo bench` passes `--bench` too.
    let mut arguments = std::env::args()
        .skip(1)
        .filter(|argument| !argument.starts_with("--"));
    let Some(path) = arguments.next() else {
        eprintln!("give a file to write, as tests/reference/statistics_speed.py does");
        return;
    };
    let rows = arguments
        .next()
        .map_or(ROWS, |rows| rows.parse().expect("a number of rows"));
    let mut table = BufWriter::new(File::create(path).expect("the file can be made"));
    writeln!(
        table,
        "number,tool,tool_class,site,cause,component,day,labour_minutes,down_hours,first_hit"
    )
    .expect("the file can be written");
    let mut rng = ChaCha8Rng::seed_from_u64(20);
    let mut ledger = Ledger::new();
    let mut told = 0.0;
    for number in 1..=rows {
        let case = drawn(&mut rng, number);
        writeln!(
            table,
            "{number},{},{},{},{},{},{},{},{},{}",
            case.tool,
            case.tool_class,
            case.site,
            case.cause,
            case.component.as_deref().unwrap_or(NOT_FOUND),
            case.occurred_day,
            case.labour_minutes,
            case.down_hours,
            u8::from(case.checks[0].1 == Outcome::Found),
        )
        .expect("the file can be written");
        let clock = Instant::now();
        ledger.apply(number, Some(&case)).expect("a sound case");
        told += clock.elapsed().as_secs_f64();
    }
    table.flush().expect("the file can be written");

    let whole = Filter {
        class: Some(CLASS.to_owned()),
        ..Filter::default()
    };
    let a_year = Filter {
        from_day: Some(DAYS / 3),
        to_day: Some(DAYS / 3 + 364),
        ..whole.clone()
    };
    // Begins and ends within a month.
    let some_days = Filter {
        from_day: Some(DAYS / 2 - 10),
        to_day: Some(DAYS - 100),
        ..whole.clone()
    };
    let (seconds, answer) = timed(ANSWERS, || ledger.by(Dimension::Cause, &whole));
    let (year_seconds, year) = timed(ANSWERS, || ledger.by(Dimension::Cause, &a_year));
    let (days_seconds, days) = timed(ANSWERS, || ledger.by(Dimension::Cause, &some_days));
    let (tool_seconds, tools) = timed(5, || ledger.by(Dimension::Tool, &whole));
    let (trend_seconds, trends) = timed(5, || ledger.trends(&Filter::default(), DAYS));
    assert_eq!(tools.sample, answer.sample);
    println!(
        "{{\"rows\": {rows}, \"class\": {CLASS:?}, \"sample\": {}, \"seconds\": {seconds}, \
         \"year_seconds\": {year_seconds}, \"days_seconds\": {days_seconds}, \
         \"tool_seconds\": {tool_seconds}, \"tools\": {}, \"trend_seconds\": {trend_seconds}, \
         \"trends\": {}, \"microseconds_a_change\": {}, \"groups\": {}, \
         \"year_groups\": {}, \"days_groups\": {}}}",
        answer.sample,
        tools.groups.len(),
        trends.causes.len() + trends.tools.len(),
        1e6 * told / rows as f64,
        listed(&answer),
        listed(&year),
        listed(&days),
    );
}

/// The figures of every cause, as JSON.
fn listed(answer: &Breakdown) -> String {
    let groups: Vec<String> = answer
        .groups
        .iter()
        .map(|group| {
            format!(
                "{{\"cause\": {:?}, \"cases\": {}, \"labour\": {}, \"labour_mean\": {}, \
                 \"labour_median\": {}, \"down\": {}, \"down_mean\": {}, \"down_median\": {}, \
                 \"first_hits\": {}, \"repeats_30\": {}, \"repeats_90\": {}}}",
                group.id,
                group.share.count,
                group.labour.sum,
                group.labour.mean.expect("a mean"),
                group.labour.median.expect("a median"),
                group.down.sum,
                group.down.mean.expect("a mean"),
                group.down.median.expect("a median"),
                group.first_check.count,
                group.repeat_30.count,
                group.repeat_90.count,
            )
        })
        .collect();
    format!("[{}]", groups.join(", "))
}

/// The median time of several answers, and the answer.
fn timed<T>(answers: usize, mut ask: impl FnMut() -> T) -> (f64, T) {
    let mut seconds = Vec::new();
    loop {
        let clock = Instant::now();
        let answer = std::hint::black_box(ask());
        seconds.push(clock.elapsed().as_secs_f64());
        if seconds.len() == answers {
            seconds.sort_by(f64::total_cmp);
            return (seconds[answers / 2], answer);
        }
    }
}

fn drawn(rng: &mut ChaCha8Rng, number: i64) -> Case {
    let tool = rng.random_range(0..TOOLS);
    // Some causes are far more frequent than others.
    let cause = (CAUSES as f64 * rng.random::<f64>().powi(2)) as usize;
    let found = rng.random_bool(0.95);
    // Times as people write them: whole minutes, tenths of an hour, with a long tail.
    let labour = (40.0 * (-(1.0 - rng.random::<f64>()).ln()).powf(1.4) + 5.0).round();
    let down = (10.0 * (labour / 60.0 + 3.0 + 20.0 * rng.random::<f64>())).round() / 10.0;
    Case {
        number,
        tool: format!("T-{tool}"),
        tool_class: format!("class-{}", tool % CLASSES),
        site: format!("S{}", tool % SITES),
        cause: if found {
            format!("cause-{cause}")
        } else {
            NOT_FOUND.to_owned()
        },
        component: found.then(|| format!("component-{}", cause / 2)),
        kind: found.then(|| format!("kind-{}", cause % 6)),
        occurred_day: rng.random_range(0..DAYS),
        labour_minutes: labour,
        down_hours: down,
        signs: Vec::new(),
        antecedents: Vec::new(),
        checks: vec![(
            "look".to_owned(),
            if rng.random_bool(0.3) {
                Outcome::Found
            } else {
                Outcome::Clear
            },
            Some(10.0),
        )],
        loss_decades: None,
    }
}
