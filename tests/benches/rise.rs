//! Times the reading and judging of a pressure-rise log, for `tests/reference/rise_speed.py`.
//!
//! Takes the log's path and prints, as JSON, the best of several runs in seconds: reading the text,
//! and judging (marks, five shapes, four intervals) of the readings.

use std::fs::File;
use std::io::BufReader;
use std::time::Instant;

use coldtrap::vacuum::log::{LogOptions, read_log, tidy};
use coldtrap::vacuum::rise::examine;

const RUNS: usize = 15;

fn main() {
    // `cargo bench` passes `--bench` too.
    let Some(path) = std::env::args()
        .skip(1)
        .find(|argument| !argument.starts_with("--"))
    else {
        eprintln!("give the path of a log, as tests/reference/rise_speed.py does");
        return;
    };
    let (mut read_best, mut judge_best) = (f64::INFINITY, f64::INFINITY);
    let mut outcome = String::new();
    for _ in 0..RUNS {
        let clock = Instant::now();
        let file =
            BufReader::with_capacity(1 << 16, File::open(&path).expect("the log can be opened"));
        let log = read_log(file, &LogOptions::default()).expect("the log can be read");
        read_best = read_best.min(clock.elapsed().as_secs_f64());
        let clock = Instant::now();
        let test = examine(&tidy(log), false);
        judge_best = judge_best.min(clock.elapsed().as_secs_f64());
        outcome = format!("{:?}, {} readings", test.verdict, test.readings);
    }
    println!(
        "{{\"read_seconds\": {read_best}, \"judge_seconds\": {judge_best}, \"outcome\": {outcome:?}}}"
    );
}
