//! Logs as loggers and people write them, and logs that nobody should trust.

use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{
    LogError, LogOptions, LogReader, Mark, MarkKind, PressureLog, TidyRecord, read_log, tidy,
};
use crate::vacuum::units::{PressureUnit, TimeUnit};

fn read(text: &str) -> Result<PressureLog, LogError> {
    read_log(text.as_bytes(), &LogOptions::default())
}

/// Asserts that the log gives these seconds from its first reading, and these pressures in Pa.
#[track_caller]
fn check(text: &str, expect: &[(f64, f64)]) {
    let log = read(text).unwrap();
    let got: Vec<(f64, f64)> = log
        .seconds
        .iter()
        .zip(&log.pascals)
        .map(|(time, pressure)| (time - log.seconds[0], *pressure))
        .collect();
    assert_eq!(got.len(), expect.len(), "{got:?} {:?}", log.problems);
    for (got, expect) in got.iter().zip(expect) {
        assert!((got.0 - expect.0).abs() < 1e-5, "{got:?} {expect:?}");
        assert!((got.1 / expect.1 - 1.0).abs() < 1e-9, "{got:?} {expect:?}");
    }
}

/// The error or first problem of a log must hold all of `parts`.
#[track_caller]
fn refused(text: &str, parts: &[&str]) {
    let message = match read(text) {
        Err(error) => error.to_string(),
        Ok(log) => {
            let first = log.problems.listed.first().expect("no problem was noted");
            format!("line {}: {}", first.line, first.problem)
        }
    };
    for part in parts {
        assert!(message.contains(part), "{part:?} not in {message:?}");
    }
}

const TWO: &[(f64, f64)] = &[(0.0, 2.3e-2), (10.0, 4.5e-2)];

#[test]
fn reads_every_separator_and_decimal_mark() {
    check("time (s),pressure (mbar)\n0,2.3e-4\n10,4.5e-4\n", TWO);
    check("time (s);pressure (mbar)\n0;2,3e-4\n10;4,5e-4\n", TWO);
    check("t [s]\tp [Pa]\r\n0\t2.3E-02\r\n10\t4.5E-02\r\n", TWO);
    check("Zeit s;Druck mbar\n0,0;2,3e-4\n10,0;4,5e-4", TWO);
    check("0 2.3e-4 mbar\n10 4.5e-4 mbar\n", TWO);
    check("0,0   2,3e-4   mbar\n10,0  4,5e-4   mbar\n", TWO);
    check("0 | 2.3e-4 mbar\n10 | 4.5e-4 mbar\n", TWO);
    check(
        "\u{feff}\"time_s\",\"p_mbar\"\n\"0\",\"2,3e-4\"\n\"10\",\"4,5e-4\"\n",
        TWO,
    );
    check(
        "# logger 7, rate 0.1/s\n# unit: mbar\n\ntime\tvalue\n0\t2.3e-4\n10\t4.5e-4\n",
        TWO,
    );
}

/// A reading that failed before the first whole one is a line of its own, and no header: its
/// header's unit of time would be lost with it.
#[test]
fn readings_that_failed_first_are_told_and_the_header_kept() {
    for failed in ["offline", "UNDER", "<1E-6", "-", ""] {
        let text = format!("time min,pressure Torr\n0,{failed}\n1,{failed}\n2,1e-6\n3,2e-6\n");
        let log = read_log(text.as_bytes(), &LogOptions::default()).unwrap();
        assert_eq!(log.seconds, [120.0, 180.0], "{failed:?}");
        assert_eq!(log.problems.count, 2, "{failed:?}");
        assert_eq!(log.problems.listed[0].line, 2, "{failed:?}");
        assert!(
            log.assumed
                .iter()
                .any(|words| words.contains("pressure Torr"))
        );
    }
}

#[test]
fn clocks_of_two_parts_are_read_as_the_header_says_and_refused_without() {
    let seconds =
        |text: &str| read_log(text.as_bytes(), &LogOptions::default()).map(|log| log.seconds);
    let differ = |text: &str| {
        let seconds = seconds(text).unwrap();
        seconds[1] - seconds[0]
    };
    assert_eq!(differ("time (mm:ss),p_pa\n59:55,2e-2\n60:05,4e-2\n"), 10.0);
    assert_eq!(
        differ("time (mm:ss),p_pa\n59:55,2e-2\n1:00:05,4e-2\n"),
        10.0
    );
    assert_eq!(differ("time,p_pa\n0:05.5,2e-2\n0:15.5,4e-2\n"), 10.0);
    assert_eq!(differ("time (hh:mm),p_pa\n10:20,2e-2\n10:30,4e-2\n"), 600.0);
    assert_eq!(
        differ("date,clock,p_pa\n2025-03-04,10:20,2e-2\n2025-03-04,10:30,4e-2\n"),
        600.0
    );
    let refused = seconds("time,p_pa\n10:20,2e-2\n10:30,4e-2\n")
        .unwrap_err()
        .to_string();
    assert!(
        refused.starts_with("line 2: ") && refused.contains("mm:ss"),
        "{refused}"
    );
}

#[test]
fn reads_every_form_of_time() {
    check(
        "time,p_pa\n2025-03-04T10:20:00Z,2.3e-2\n2025-03-04T11:20:10+01:00,4.5e-2\n",
        TWO,
    );
    check(
        "time,p_pa\n2025-03-04 23:59:55,2.3e-2\n2025-03-05 00:00:05,4.5e-2\n",
        TWO,
    );
    check(
        "time,p_pa\n2024-02-28 23:59:55,2.3e-2\n2024-02-29 00:00:05,4.5e-2\n",
        TWO,
    );
    check(
        "2025-03-04 10:20:00.500 2.3e-2 Pa\n2025-03-04 10:20:10.500 4.5e-2 Pa\n",
        TWO,
    );
    check(
        "date;clock;p_pa\n04.03.2025;10:20:00;2,3e-2\n04.03.2025;10:20:10;4,5e-2\n",
        TWO,
    );
    check(
        "date,clock,p_pa\n3/14/2025,11:59:55 AM,2.3e-2\n3/14/2025,12:00:05 PM,4.5e-2\n",
        TWO,
    );
    check("clock,p_pa\n23:59:55,2.3e-2\n00:00:05,4.5e-2\n", TWO);
    check("clock;p_pa\n00:00:00,5;2,3e-2\n00:00:10,5;4,5e-2\n", TWO);
    check("epoch,p_pa\n1741083600,2.3e-2\n1741083610,4.5e-2\n", TWO);
    check(
        "epoch,p_pa\n1741083600000,2.3e-2\n1741083610000,4.5e-2\n",
        TWO,
    );
    check("t (min),p_pa\n0,2.3e-2\n0.166666666667,4.5e-2\n", TWO);
    check("t_ms,p_pa\n0,2.3e-2\n10000,4.5e-2\n", TWO);
    let options = LogOptions {
        pressure_unit: Some(PressureUnit::Pascal),
        time_unit: Some(TimeUnit::Hour),
        ..LogOptions::default()
    };
    let log = read_log("0 2e-2\n1 3e-2\n".as_bytes(), &options).unwrap();
    assert_eq!(log.seconds, [0.0, 3600.0]);
}

#[test]
fn finds_the_pressure_among_other_columns() {
    check(
        "no,time (s),shutter,chamber pressure (Pa),foreline (Pa)\n1,0,0,2.3e-2,7\n2,10,1,4.5e-2,8\n",
        TWO,
    );
    let log = read("t (s),p1 (Pa),p2 (Pa)\n0,1,2\n1,2,3\n").unwrap();
    assert!(
        log.assumed.iter().any(|line| line.contains("p2 (Pa)")),
        "{:?}",
        log.assumed
    );
}

#[test]
fn takes_units_line_by_line_and_says_so() {
    check("0 2.3e-4 mbar\n10 4.5e-2 Pa\n", TWO);
    refused("0 2.3e-4 mbar\n10 4.5e-2 Pa\n", &["line 2", "Pa", "mbar"]);
    check("t,p\n0,2.3e-4 mbar\n10,4.5×10⁻² Pa\n", TWO);
}

#[test]
fn refuses_bad_input_with_its_line() {
    refused("", &["empty"]);
    refused(" \n\n", &["empty"]);
    refused("time,p_pa\n0,1\n", &["line 2", "only reading"]);
    refused(
        "hello there\nold friend\n",
        &["line 1", "comma, semicolon, tab"],
    );
    refused("0_1e-5\n1_2e-5\n", &["line 1", "0_1e-5"]);
    refused("0,1e-5\n1,2e-5\n", &["line 1", "no unit", "Torr"]);
    refused("0,5,2,3e-4\n1,0,4,5e-4\n", &["line 1", "decimal commas"]);
    refused(
        "t_s,p_pa\n0,1\n1,nan\n2,3\n",
        &["line 3", "not a finite number"],
    );
    refused("t_s,p_pa\n0,1\n1,-4e-3\n2,3\n", &["line 3", "negative"]);
    refused("t_s,p_pa\n0,1\n1,0\n2,3\n", &["line 3", "zero"]);
    refused("t_s,p_pa\n0,1\n1,OFF\n2,3\n", &["line 3", "OFF"]);
    refused(
        "t_s,p_pa\n0,1\nlater,2\n2,3\n",
        &["line 3", "later", "time"],
    );
    refused("t_s,p_pa\n0,1\n1,\n2,3\n", &["line 3", "no pressure"]);
    refused("t_s,p_pa\n0,1\n1,1e999\n2,3\n", &["line 3", "not a finite"]);
    let utf16: Vec<u8> = "0,1\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    let error = read_log(utf16.as_slice(), &LogOptions::default()).unwrap_err();
    assert!(error.to_string().contains("UTF-8"), "{error}");
}

#[test]
fn a_line_too_long_is_told_wherever_it_is_cut() {
    let long = "9".repeat(70_000);
    for before in [3, 200] {
        let mut text = "t_s,p_pa\n".to_owned();
        for row in 0..300 {
            text.push_str(&if row == before {
                format!("{long}\n")
            } else {
                format!("{row},1.5\n")
            });
        }
        for piece in [1, 1000, 65_536, 100_000] {
            let mut reader = LogReader::new();
            for piece in text.as_bytes().chunks(piece) {
                reader.push(piece);
            }
            let log = reader.finish(&LogOptions::default()).unwrap();
            assert_eq!(log.seconds.len(), 299);
            assert_eq!(log.problems.count, 1);
            let told = &log.problems.listed[0];
            assert_eq!(told.line, before + 2);
            assert!(told.problem.contains("too long"), "{told:?}");
        }
    }
}

/// What the sender knows of units comes last, as in a form whose fields follow the file.
#[test]
fn units_may_be_given_after_the_log() {
    let options = LogOptions {
        pressure_unit: Some(PressureUnit::Millibar),
        time_unit: Some(TimeUnit::Minute),
        ..LogOptions::default()
    };
    let mut text = "0;1e-3\n".to_owned();
    for row in 1..200 {
        text.push_str(&match row {
            70 => "70;2 Pa\n".to_owned(),
            71 => "71;3 mbar\n".to_owned(),
            _ => format!("{row};1e-3\n"),
        });
    }
    let log = read_log(text.as_bytes(), &options).unwrap();
    assert_eq!(log.seconds[199], 199.0 * 60.0);
    assert_eq!(log.pascals[69..73], [0.1, 2.0, 300.0, 0.1]);
    assert_eq!(log.unit, Some(PressureUnit::Millibar));
    let told: Vec<_> = log
        .problems
        .listed
        .iter()
        .map(|problem| problem.line)
        .collect();
    assert_eq!(
        (told, log.problems.count),
        (vec![71], 1),
        "{:?}",
        log.problems
    );
    let missing = read_log(text.as_bytes(), &LogOptions::default()).unwrap_err();
    assert!(missing.to_string().contains("line 1"), "{missing}");
}

#[test]
fn keeps_what_is_good_and_counts_what_is_not() {
    let mut text = "t_s,p_pa\n".to_owned();
    for row in 0..1000 {
        text.push_str(&format!(
            "{row},{}\n",
            if row % 2 == 0 { "1.5" } else { "bad" }
        ));
    }
    let log = read(&text).unwrap();
    assert_eq!((log.seconds.len(), log.problems.count), (500, 500));
    assert_eq!(log.problems.listed.len(), 100);
    assert_eq!(log.lines[1], 4);
}

/// A million rows made while they are read, so that no text of the whole ever exists.
#[test]
fn streams_a_million_rows() {
    struct Rows {
        row: usize,
        line: Vec<u8>,
    }
    impl std::io::Read for Rows {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            if self.line.is_empty() && self.row < 1_000_000 {
                self.line = format!("{};{}\n", self.row, 1 + self.row).into_bytes();
                self.row += 1;
            }
            let count = self.line.len().min(buffer.len());
            buffer[..count].copy_from_slice(&self.line[..count]);
            self.line.drain(..count);
            Ok(count)
        }
    }
    let rows = Rows {
        row: 0,
        line: b"t_s;p_pa\n".to_vec(),
    };
    let log = read_log(std::io::BufReader::new(rows), &LogOptions::default()).unwrap();
    assert_eq!(log.seconds.len(), 1_000_000);
    assert_eq!(log.pascals[999_999], 1e6);
    assert_eq!(log.lines[999_999], 1_000_001);
    assert_eq!(log.problems.count, 0);
}

/// A log of a rise of 1 Pa/s read every 10 s from 1 Pa, with its rows changed by `edit`.
fn rise(edit: impl Fn(usize, &mut f64, &mut f64)) -> TidyRecord {
    let mut text = "t_s,p_pa\n".to_owned();
    for row in 0..200 {
        let (mut time, mut pressure) = (10.0 * row as f64, 1.0 + 10.0 * row as f64);
        edit(row, &mut time, &mut pressure);
        text.push_str(&format!("{time},{pressure}\n"));
    }
    tidy(read(&text).unwrap())
}

#[track_caller]
fn only_mark(record: &TidyRecord, kind: MarkKind, line: u32) {
    let found: Vec<_> = record
        .marks
        .iter()
        .map(|mark| (mark.kind, mark.line))
        .collect();
    assert_eq!(found, [(kind, line)], "{:?}", record.marks);
    assert!(record.seconds.is_sorted());
}

#[test]
fn sets_times_right_and_marks_it() {
    assert_eq!(rise(|_, _, _| {}).marks, []);
    let back = rise(|row, time, _| {
        if row >= 100 {
            *time -= 3600.0;
        }
    });
    only_mark(&back, MarkKind::ClockJump, 102);
    assert_eq!(back.seconds[199], 1990.0);
    let forward = rise(|row, time, _| {
        if row >= 100 {
            *time += 3600.0;
        }
    });
    only_mark(&forward, MarkKind::ClockJump, 102);
    assert_eq!(forward.seconds[199], 1990.0);
    let gap = rise(|row, time, pressure| {
        if row >= 100 {
            *time += 300.0;
            *pressure += 300.0;
        }
    });
    only_mark(&gap, MarkKind::DroppedReadings, 102);
    assert_eq!(gap.seconds[199], 2290.0);
    let twice = rise(|row, time, _| {
        if row == 100 {
            *time -= 10.0;
        }
    });
    only_mark(&twice, MarkKind::RepeatedTime, 102);
    assert_eq!(twice.seconds.len(), 200);
}

/// A logger may be set to another rate, or read ever more rarely: nothing is missing then.
#[test]
fn another_rate_is_no_gap() {
    let of = |times: &[f64]| {
        let rows = times.iter().map(|time| format!("{time},{}\n", 1.0 + time));
        tidy(read(&format!("t_s,p_pa\n{}", rows.collect::<String>())).unwrap())
    };
    let mut rarer: Vec<f64> = (0..600).map(f64::from).collect();
    rarer.extend((0..100).map(|row| 659.0 + 60.0 * f64::from(row)));
    assert_eq!(of(&rarer).marks, []);
    let even_in_logarithm: Vec<f64> = (0..120).map(|row| 1.1_f64.powi(row)).collect();
    assert_eq!(of(&even_in_logarithm).marks, []);
    // Where one comes every minute, ten are missing here, and the words say so.
    rarer[650..].iter_mut().for_each(|time| *time += 600.0);
    let gap = of(&rarer);
    only_mark(&gap, MarkKind::DroppedReadings, 652);
    assert!(
        gap.marks[0].words.contains("one comes every 60.000 s"),
        "{:?}",
        gap.marks
    );
}

#[test]
fn takes_out_readings_stuck_at_a_limit() {
    let top = rise(|_, _, pressure| *pressure = pressure.min(1500.0));
    only_mark(&top, MarkKind::Saturated, 152);
    assert_eq!(top.pascals.len(), 150);
    let bottom = rise(|_, _, pressure| *pressure = pressure.max(500.0));
    only_mark(&bottom, MarkKind::UnderRange, 2);
    assert_eq!(bottom.pascals.len(), 150);
}

/// Long logs go a quick way through their plain lines; oddities among them must still be found.
#[test]
fn a_long_log_is_read_as_a_short_one_is() {
    let mut text = "no;time (min);pressure (mbar)\n".to_owned();
    for row in 0..200 {
        let line = match row {
            100 => "100;50;nan\n".to_owned(),
            101 => "101;50.5;-1e-3\n".to_owned(),
            102 => "102;51;3e-2 Pa\n".to_owned(),
            103 => "103;51.5;\n".to_owned(),
            104 => "104;\"52\";2.5e-4\n".to_owned(),
            105 => "105;52.5;0.00000000000000000000000000000000250\n".to_owned(),
            106 => "106; 53 ; 1e-3 \r\n".to_owned(),
            107 => "107;53.5;1,5e-3\n".to_owned(),
            108 => "# 108;54;1\n".to_owned(),
            _ => format!(
                "{row};{};{:e}\n",
                0.5 * f64::from(row),
                1e-4 + 1e-6 * f64::from(row)
            ),
        };
        text.push_str(&line);
    }
    let log = read(&text).unwrap();
    let problems: Vec<u32> = log.problems.listed.iter().map(|p| p.line).collect();
    // One decimal mark a log: another may stand between thousands.
    assert_eq!(problems, [102, 103, 104, 105, 109], "{:?}", log.problems);
    let at = |line: u32| {
        let index = log.lines.iter().position(|l| *l == line).unwrap();
        (log.seconds[index], log.pascals[index])
    };
    assert_eq!(at(104), (3060.0, 3e-2));
    assert_eq!(at(106), (3120.0, 2.5e-4 * 100.0));
    assert_eq!(at(107), (3150.0, 2.5e-33 * 100.0));
    assert_eq!(at(108), (3180.0, 1e-3 * 100.0));
    assert_eq!(at(199), (98.5 * 60.0, (1e-4 + 1e-6 * 197.0) * 100.0));
}

proptest! {
    #[test]
    fn never_panics(text in "[-0-9:;,. \te\n/TZapmAPM\"|#µ¹x]{0,300}") {
        let _ = read(&text);
    }

    #[test]
    fn pieces_of_any_length_give_the_same(
        rows in proptest::collection::vec("[-0-9.e]{1,6}[,;\t ][-0-9.e,]{1,8}( mbar| Pa|\"|;1)?", 1..90),
        heading in proptest::option::of("t_(s|min),p(_pa)?"),
        piece in 1usize..50,
    ) {
        let mut text = heading.map_or(String::new(), |heading| format!("{heading}\n"));
        text.push_str(&rows.join("\n"));
        let options = LogOptions { pressure_unit: Some(PressureUnit::Torr), ..LogOptions::default() };
        let mut reader = LogReader::new();
        for piece in text.as_bytes().chunks(piece) {
            reader.push(piece);
        }
        match (read_log(text.as_bytes(), &options), reader.finish(&options)) {
            (Ok(whole), Ok(in_pieces)) => prop_assert_eq!(whole, in_pieces),
            (whole, in_pieces) => prop_assert_eq!(
                whole.map_err(|error| error.to_string()).err(),
                in_pieces.map_err(|error| error.to_string()).err()
            ),
        }
    }

    #[test]
    fn never_panics_on_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let _ = read_log(bytes.as_slice(), &LogOptions::default());
    }

    #[test]
    fn gives_back_the_numbers_written(
        rows in proptest::collection::vec((1e-9f64..1e5, 0.001f64..100.0), 2..40),
        separator in prop_oneof![Just(","), Just(";"), Just("\t")],
    ) {
        let mut text = format!("time (s){separator}pressure (Pa)\n");
        let mut time = 0.0;
        let mut expect = Vec::new();
        for (pressure, step) in rows {
            time += step;
            text.push_str(&format!("{time}{separator}{pressure:e}\n"));
            expect.push((time, pressure));
        }
        let log = read(&text).unwrap();
        let got: Vec<(f64, f64)> = log.seconds.into_iter().zip(log.pascals).collect();
        prop_assert_eq!(got, expect);
    }
}

/// A row of a logger, in one of the styles that go a quick way.
fn row(style: usize, index: usize, width: usize, pressure: f64) -> String {
    let time = 0.37 * index as f64 + 86_399.0 * (index / 70) as f64;
    let (day, second) = (4 + (time / 86_400.0) as u64, time % 86_400.0);
    let (hours, minutes) = (second as u64 / 3600, second as u64 / 60 % 60);
    let clock = format!("{hours:02}:{minutes:02}:{:06.3}", second % 60.0);
    match style {
        0 => format!("{time:.width$},{pressure:.3e}"),
        1 => format!("{index};{time};{pressure};-0.5"),
        2 => format!("{pressure:e}\t{time:.1}\tok"),
        3 => format!("2025-03-{day:02}T{clock},{pressure:.width$e}"),
        4 => {
            let with_commas = format!("{clock};{pressure:.2e};7").replace('.', ",");
            format!("{day:02}.03.2025 {with_commas}")
        }
        5 => format!("{time:12.3}  {pressure:.4e}"),
        6 => format!("{day:02}/03/2025\t{clock}\t{pressure:.4e}"),
        7 => format!("{clock} | {pressure:.1e} | x"),
        8 => format!("{time:.width$};{pressure:.3e}").replace('.', ","),
        9 => format!("2025-03-{day:02}  {clock} {pressure:.width$}"),
        10 => format!("{:.3},{pressure:.3e}", 1.741e9 + time),
        12 => format!("{clock} +0100 {index} {pressure:.3e}"),
        13 => format!("{time:.1} {index} ok {pressure:.width$e} 3"),
        14 => format!("{time:.1} s {pressure:.3e}"),
        15 => format!("{time:.1} {pressure:.3} {index} x 7"),
        _ => format!("03/{day:02}/2025 {clock},{pressure:.width$e}"),
    }
}

/// Something that is not such a row.
fn odd(kind: usize, row: &str) -> String {
    match kind {
        0 => String::new(),
        1 => "# pump valve shut".to_owned(),
        2 => row.replace(['1', '2'], "-"),
        3 => row.replacen('3', "x", 1),
        4 => format!("{row} mbar"),
        5 => format!("{row}\r"),
        6 => format!(" {row} "),
        7 => row.replacen('0', "\"0\"", 1),
        8 => row.replacen('e', "e9", 1),
        9 => format!("{row},,;\t9"),
        10 => row.replace([',', ';', '\t'], ""),
        11 => row.replacen([',', ';', '\t'], "nan", 1),
        12 => row.chars().take(row.len() / 2).collect(),
        13 => format!("{row}\u{b5}"),
        14 => row.replacen(':', ":7", 1),
        15 => row.replacen(['.', ','], "", 1),
        16 => format!("{row}{}", "9".repeat(70_000)),
        17 => format!("{row}\0"),
        18 => row.replace("00:", "99:"),
        19 => row.replacen('e', " E", 1),
        20 => row.replacen(' ', " min ", 1),
        21 => row.replacen(' ', " 5 E-3 ", 1),
        22 => row.replacen(' ', " +0200 ", 1),
        _ => row.replacen('2', "-2", 1),
    }
}

proptest! {
    /// What goes the quick way comes out as it does with care, whatever stands among it and however
    /// it is cut.
    #[test]
    fn the_quick_way_gives_what_care_gives(
        style in 0usize..16,
        width in 0usize..6,
        header in 0usize..3,
        levels in proptest::collection::vec(1e-7f64..9.9, 62..150),
        oddities in proptest::collection::vec((50usize..150, 0usize..24), 0..8),
        piece in prop_oneof![1usize..200, Just(1 << 20)],
        end in prop_oneof![Just("\n"), Just("\r\n")],
        column in prop_oneof![Just(None), Just(Some("2")), Just(Some("3"))],
    ) {
        let mut text = String::new();
        if header > 0 {
            let words = match style {
                0 | 8 | 10 if header == 1 => "t_us;p (1e-6 mbar)",
                0 | 8 | 10 => "t_min;p_pa",
                1 => "no;time (s);pressure (torr);t",
                _ => "",
            };
            text.push_str(&words.replace(';', if matches!(style, 0 | 10) { "," } else { ";" }));
            text.push_str(end);
        }
        for (index, level) in levels.iter().enumerate() {
            let row = row(style, index, width, *level);
            let odd_one = oddities.iter().find(|(at, _)| *at == index);
            text.push_str(&odd_one.map_or_else(|| row.clone(), |(_, kind)| odd(*kind, &row)));
            text.push_str(end);
        }
        let options = LogOptions {
            pressure_unit: Some(PressureUnit::Torr),
            pressure_column: column,
            time_unit: None,
        };
        let read = |mut reader: LogReader| {
            for piece in text.as_bytes().chunks(piece) {
                reader.push(piece);
            }
            reader.finish(&options).map_err(|error| error.to_string())
        };
        let (quick, careful) = (read(LogReader::new()), read(LogReader::careful()));
        prop_assert!(same_bits(&quick, &careful));
        prop_assert_eq!(quick, careful);
    }
}

/// Whether the numbers of two logs are the same to the last bit.
fn same_bits(one: &Result<PressureLog, String>, other: &Result<PressureLog, String>) -> bool {
    let bits = |numbers: &[f64]| numbers.iter().map(|n| n.to_bits()).collect::<Vec<_>>();
    match (one, other) {
        (Ok(one), Ok(other)) => {
            bits(&one.seconds) == bits(&other.seconds) && bits(&one.pascals) == bits(&other.pascals)
        }
        _ => true,
    }
}

/// The quick way is taken at all: a property that holds because nothing takes it would say nothing.
#[test]
fn every_style_goes_the_quick_way() {
    for style in 0..12 {
        let rows: Vec<String> = (1..=200).map(|at| row(style, at, 3, 1e-3)).collect();
        let text = rows.join("\n") + "\n";
        let options = LogOptions {
            pressure_unit: Some(PressureUnit::Pascal),
            ..LogOptions::default()
        };
        let mut reader = LogReader::new();
        reader.push(text.as_bytes());
        let quick = reader.quick_lines();
        assert!(quick > 120, "style {style}: {quick} lines");
        assert_eq!(
            reader.finish(&options).unwrap().seconds.len(),
            200,
            "style {style}"
        );
    }
}

/// Two readings ten seconds apart under these times, whatever else they may be.
#[track_caller]
fn times(first: &str, second: &str) {
    check(
        &format!("time;p_pa\n{first};2.3e-2\n{second};4.5e-2\n"),
        TWO,
    );
}

/// Forms by ISO 8601 (basic and extended), RFC 5322 and `strftime`'s `%c`, `%x` and `%y` (from memory).
#[test]
fn reads_months_as_words_short_years_and_times_without_signs() {
    times("30-Nov-2026 23:59:55", "01-Dec-2026 00:00:05");
    times("30-Nov-26 23:59:55", "1-Dec-26 00:00:05");
    times("30-NOV-2026T14:05:02", "30-NOV-2026T14:05:12");
    times("30-OCT-2026T14:05:02.5", "30-OCT-2026T14:05:12.5");
    times("Nov 30 2026 11:59:55 AM", "Nov 30 2026 12:00:05 PM");
    times("Nov 30, 2026 2:05:02 PM", "Nov 30, 2026 2:05:12 PM");
    times("Mon Nov 30 14:05:02 2026", "Mon Nov 30 14:05:12 2026");
    times(
        "Mon, 30 Nov 2026 23:59:55 +0100",
        "Mon, 30 Nov 2026 23:00:05 +0000",
    );
    times(
        "30. November 2026 14:05:02,250",
        "30. November 2026 14:05:12,250",
    );
    times("4. März 2026 14:05:02", "4. März 2026 14:05:12");
    times("30.11.26 14:05:02", "30.11.26 14:05:12");
    times("11/30/26 14:05:02", "11/30/26 14:05:12");
    times("26-11-30 14:05:02", "26-11-30 14:05:12");
    times("20261130T235955", "20261201T000005");
    times("20261130T140502.5Z", "20261130T150512.5+0100");
    times("20261130 140502", "20261130 140512");
    times("20261130_140502", "20261130_140512");
    times("20261130235955", "20261201000005");
    times("20261130140502,5", "20261130140512,5");
    times("2026-11-30T14:05:02,123", "2026-11-30T14:05:12,123");
    times("2026-11-30 14:05:02 UTC", "2026-11-30 15:05:12 +01:00");
    // Names of zones: RFC 5322, section 4.3, for North America; the tz database for Europe (both from memory).
    times("2026-11-30 14:05:02 CET", "2026-11-30 14:05:12 CET");
    times("2026-10-25 02:59:55 CEST", "2026-10-25 02:00:05 CET");
    times("2026-10-25 02:59:55 MESZ", "2026-10-25 02:00:05 MEZ");
    times("2026-11-01 01:59:55 EDT", "2026-11-01 01:00:05 EST");
    times("2026-11-30 02:05:02 PM PST", "2026-11-30 02:05:12 PM PST");
    times("2026-11-30 14:05:02 UTC+1", "2026-11-30 14:05:12 UTC+1");
    times("14:05:02Z", "14:05:12Z");
    times("1796047502", "1796047512");
    times("1796047502000", "1796047512000");
    for rows in [
        "Nov 30 2026 14:05:02 2.3e-2 Pa\nNov 30 2026 14:05:12 4.5e-2 Pa\n",
        "Mon Nov 30 14:05:02 2026 2.3e-2 Pa\nMon Nov 30 14:05:12 2026 4.5e-2 Pa\n",
        "30-Nov-2026 14:05:02 2.3e-2 Pa\n30-Nov-2026 14:05:12 4.5e-2 Pa\n",
        "30 Nov 2026 11:59:55 AM 2.3e-2 Pa\n30 Nov 2026 12:00:05 PM 4.5e-2 Pa\n",
        "11/30/2026 11:59:55 AM 2.3e-2 Pa\n11/30/2026 12:00:05 PM 4.5e-2 Pa\n",
        "2026-11-30 14:05:02 +0100 2.3e-2 Pa\n2026-11-30 14:05:12 +0100 4.5e-2 Pa\n",
        "date time p_pa\n20261130 235955 2.3e-2\n20261201 000005 4.5e-2\n",
        "time,p_pa\n2026-11-30 14:05:02,123,2.3e-2\n2026-11-30 14:05:12,123,4.5e-2\n",
        "date,clock,p_pa\n30-Nov-2026,14:05:02,2.3e-2\n30-Nov-2026,14:05:12,4.5e-2\n",
    ] {
        check(rows, TWO);
    }
    // Three digits behind a clock are a column of their own where the heading says so.
    let log = read("time,power,p_pa\n14:05:02,150,2.3e-2\n14:05:12,150,4.5e-2\n").unwrap();
    assert_eq!(
        (log.seconds[1] - log.seconds[0], log.pascals[0]),
        (10.0, 2.3e-2)
    );
}

/// Days from 1899-12-30 as spreadsheets count them: 46356.5868 is 2026-11-30 at 14:04:59.5 (ECMA-376 part
/// 1, 18.17.4, from memory).
#[test]
fn reads_days_of_a_spreadsheet_where_the_heading_says_time() {
    let days = "Date/Time,p_pa\n46356.586811,1\n46356.586927,2\n46356.587043,3\n";
    let log = read(days).unwrap();
    assert!((log.seconds[2] - log.seconds[0] - 20.0).abs() < 0.1);
    assert!(
        log.assumed
            .iter()
            .any(|words| words.contains("spreadsheet"))
    );
    // Whoever gives a unit knows better.
    let options = LogOptions {
        time_unit: Some(TimeUnit::Second),
        ..LogOptions::default()
    };
    let given = read_log(days.as_bytes(), &options).unwrap();
    assert!((given.seconds[2] - given.seconds[0] - 232e-6).abs() < 1e-8);
    check("t (days),p_pa\n0,2.3e-2\n0.000115740741,4.5e-2\n", TWO);
    for seconds in [
        "time (s),p_pa\n46356.5868,1\n46356.5968,2\n",
        "elapsed time,p_pa\n46356.5868,1\n46356.5968,2\n",
        "time,p_pa\n46356.5,1\n46357.5,2\n",
        "time,p_pa\n6356.5868,1\n6356.5968,2\n",
    ] {
        let log = read(seconds).unwrap();
        assert!(log.seconds[1] - log.seconds[0] < 1.1, "{seconds}");
    }
}

#[test]
fn the_whole_log_decides_which_number_is_the_month() {
    let log = |dates: &[&str]| {
        let rows = dates.iter().map(|date| format!("{date};1\n"));
        read(&format!("time;p_pa\n{}", rows.collect::<String>()))
    };
    let step = |dates: &[&str]| {
        let log = log(dates).unwrap();
        log.seconds[dates.len() - 1] - log.seconds[0]
    };
    let last_says = ["11/12/2026 23:59:55", "11/13/2026 00:00:05"];
    assert_eq!(step(&last_says), 10.0);
    assert_eq!(step(&["12/11/2026 23:59:55", "13/11/2026 00:00:05"]), 10.0);
    assert_eq!(step(&["12-11-26 23:59:55", "13-11-26 00:00:05"]), 10.0);
    assert_eq!(step(&["26/11/30 23:59:55", "26/12/01 00:00:05"]), 10.0);
    // Nothing is above 12, but only one order lets the days follow.
    assert_eq!(step(&["03/04/2026 23:59:55", "04/04/2026 00:00:05"]), 10.0);
    assert_eq!(step(&["04/03/2026 23:59:55", "04/04/2026 00:00:05"]), 10.0);
    assert_eq!(step(&["03/04/2026 10:00:00", "03/04/2026 10:00:10"]), 10.0);
    let said = |dates: &[&str]| log(dates).unwrap().assumed.join("; ");
    assert!(said(&last_says).contains("month, day, year"));
    let same = said(&["03/04/2026 10:00:00", "03/04/2026 10:00:10"]);
    assert!(same.contains("another order would give the same"), "{same}");
    // A day or a month on: nobody can tell.
    let refused = log(&[
        "03/04/2026 10:00:00",
        "03/04/2026 11:00:00",
        "05/04/2026 10:00:10",
    ]);
    let refused = refused.unwrap_err().to_string();
    assert!(
        refused.starts_with("line 4: ") && refused.contains("accepted: dates with the year first"),
        "{refused}"
    );
    let refused = log(&[
        "13/04/2026 10:00:00",
        "14/04/2026 11:00:00",
        "04/15/2026 10:00:10",
    ]);
    let refused = refused.unwrap_err().to_string();
    assert!(refused.starts_with("line 4: "), "{refused}");
    // The date may stand in a column of its own, and the quick way decides as care does.
    let mut text = "date;clock;p_pa\n".to_owned();
    for row in 0..400 {
        let (day, second) = (11 + (86_200 + row) / 86_400, (86_200 + row) % 86_400);
        let clock = format!(
            "{:02}:{:02}:{:02}",
            second / 3600,
            second / 60 % 60,
            second % 60
        );
        text.push_str(&format!("12/{day}/2026;{clock};1\n"));
    }
    let log = read(&text).unwrap();
    assert_eq!(log.seconds[399] - log.seconds[0], 399.0);
}

#[test]
fn what_cannot_be_read_is_told_at_its_own_line_and_not_at_the_heading() {
    refused("time,p_pa\n", &["line 1", "heading", "no readings"]);
    refused("# pump 3\ntime,p_pa\n", &["line 2", "heading"]);
    refused(
        "time,p_pa\n30-Foo-2026 10:00,1\n",
        &["line 2", "30-Foo-2026"],
    );
    refused("time,pressure\n0_1e-5\n1_2e-5\n", &["line 2", "0_1e-5"]);
    refused("time,pressure\nearly,low\n", &["line 2", "early,low"]);
    refused(
        "t_s,p_pa\n0_1\n1_2\n2,3\n",
        &["line 2", "0_1", "line 4 is the only"],
    );
    // With two readings and more the lines in front of them are told too.
    let log = read("t_s,p_pa\n0_1\n1_2\n2,3\n3,4\n").unwrap();
    assert_eq!(log.problems.listed[0].line, 2);
    assert_eq!((log.seconds.len(), log.problems.count), (2, 2));
}

#[test]
fn a_forward_step_of_the_clock_is_told_by_the_pressure() {
    let stepped = |jump: bool| {
        let mut text = "t_s,p_pa\n".to_owned();
        for row in 0..400 {
            let behind = row >= 200;
            let time = f64::from(row) + if behind { 37.0 } else { 0.0 };
            let passed = if jump { f64::from(row) } else { time };
            // A scatter of 1 %.
            let scatter = 1.0 + 0.02 * ((f64::from(row) * 0.618_034).fract() - 0.5);
            text.push_str(&format!("{time},{}\n", (1.0 + 0.1 * passed) * scatter));
        }
        tidy(read(&text).unwrap())
    };
    let clock = stepped(true);
    only_mark(&clock, MarkKind::ClockJump, 202);
    assert_eq!(clock.seconds[399], 399.0);
    let missing = stepped(false);
    only_mark(&missing, MarkKind::DroppedReadings, 202);
    assert_eq!(missing.seconds[399], 436.0);
    // A pressure that stands still tells nothing.
    let still = rise(|row, time, pressure| {
        *pressure = 3.0 + (0.618_034 * row as f64).fract();
        if row >= 100 {
            *time += 370.0;
        }
    });
    only_mark(&still, MarkKind::DroppedReadings, 102);
    assert!(still.marks[0].words.contains("or a clock that jumped"));
}

/// A logger that lost its gauge repeats what it read last; a pressure that has settled, or one shown in few
/// figures, does not.
#[test]
fn a_reading_that_is_repeated_is_used_once() {
    let log = |pressure: &dyn Fn(usize) -> f64| {
        let pascals: Vec<f64> = (0..300).map(pressure).collect();
        tidy(PressureLog {
            seconds: (0..300).map(|index| 5.0 * index as f64).collect(),
            lines: (2..302).collect(),
            pascals,
            ..PressureLog::default()
        })
    };
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let scatter: Vec<f64> = (0..300)
        .map(|_| 1.0 + 0.07 * (random.random::<f64>() - 0.5))
        .collect();
    let stands = |record: &TidyRecord| {
        record
            .marks
            .iter()
            .filter(|mark| matches!(mark.kind, MarkKind::StandsStill | MarkKind::Saturated))
            .count()
    };
    let rising = |index: usize| (3.0 + 0.02 * index as f64) * scatter[index];
    for (from, to) in [(100, 300), (20, 300), (120, 200)] {
        let frozen = log(&|index| {
            rising(if (from..to).contains(&index) {
                from
            } else {
                index
            })
        });
        assert_eq!(stands(&frozen), 1, "{from}: {:?}", frozen.marks);
        // The last one is used, unless it was the highest, as at the top of the range.
        assert!((300..=301).contains(&(frozen.pascals.len() + to - from)));
        assert!(frozen.is_in_order());
    }
    let figures = |value: f64| (100.0 * value).round() / 100.0;
    for settled in [
        log(&|index| figures(50.0 * (1.0 - (-(index as f64) / 20.0).exp()) + 1.0)),
        log(&|index| (10.0 * rising(index)).round()),
        log(&rising),
    ] {
        assert_eq!(stands(&settled), 0, "{:?}", settled.marks);
        assert_eq!(settled.pascals.len(), 300);
    }
}

/// A drawn log, every 5 s, as written in so many significant figures; the pressure of each reading as drawn is a
/// function of its number and of a normal error of one.
fn written(
    random: &mut ChaCha8Rng,
    figures: usize,
    unit: PressureUnit,
    count: usize,
    pressure: &dyn Fn(usize, f64) -> f64,
) -> PressureLog {
    let mut log = PressureLog {
        unit: Some(unit),
        ..PressureLog::default()
    };
    for index in 0..count {
        // Twelve even numbers make a normal one, near enough.
        let error: f64 = (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
        let value = pressure(index, error);
        let value: f64 = format!("{value:.*e}", figures - 1).parse().unwrap();
        log.seconds.push(5.0 * index as f64);
        log.pascals.push(value * unit.pascals_per_unit());
        log.lines.push(index as u32 + 2);
    }
    log
}

fn standing(record: &TidyRecord) -> bool {
    let still = |mark: &Mark| matches!(mark.kind, MarkKind::StandsStill | MarkKind::Saturated);
    record.marks.iter().any(still)
}

/// One reading that both neighbours deny by decades is marked and left out; a pressure that has risen is none.
#[test]
fn a_wild_reading_is_marked_and_not_used() {
    let with = |wild: &dyn Fn(usize) -> Option<f64>| {
        tidy(PressureLog {
            seconds: (0..200).map(f64::from).collect(),
            lines: (2..202).collect(),
            pascals: (0..200)
                .map(|index| wild(index).unwrap_or(1e-4 * (index + 10) as f64))
                .collect(),
            ..PressureLog::default()
        })
    };
    let record = with(&|index| match index {
        50 => Some(1e5),
        120 | 121 => Some(9.9e9),
        _ => None,
    });
    let marks: Vec<(MarkKind, u32)> = record.marks.iter().map(|m| (m.kind, m.line)).collect();
    assert_eq!(
        marks,
        [
            (MarkKind::DroppedReadings, 52),
            (MarkKind::DroppedReadings, 122)
        ]
    );
    assert_eq!(record.pascals.len(), 197);
    assert!(record.is_in_order());
    // A burst that is pumped off again, and a valve that was opened for good.
    for burst in [60, 300] {
        let record = with(&|index| {
            (50..burst)
                .contains(&index)
                .then_some(1.0 + 0.01 * index as f64)
        });
        assert_eq!(record.pascals.len(), 200, "{:?}", record.marks);
    }
}

/// Where a rise is steep the reading behind a wild one stands far above that before it; the last has none behind it.
#[test]
fn a_wild_reading_of_a_steep_rise_is_marked() {
    let rise = |at: usize| 1e-4 + 5e-4 * at as f64;
    for (wild, value) in [(1, 100.0), (2, 1e-8), (4, 1.0), (5, 1e-8), (99, 10.0)] {
        let mut log = PressureLog {
            seconds: (0..100).map(f64::from).collect(),
            lines: (2..102).collect(),
            pascals: (0..100).map(rise).collect(),
            ..PressureLog::default()
        };
        log.pascals[wild] = value;
        let record = tidy(log);
        only_mark(&record, MarkKind::DroppedReadings, wild as u32 + 2);
        assert_eq!(record.pascals.len(), 99, "{wild}");
    }
    // A burst that is pumped away, and a mark for over-range that stands for long.
    let log = |odd: &[f64]| PressureLog {
        seconds: (0..100).map(f64::from).collect(),
        lines: (2..102).collect(),
        pascals: (0..100)
            .map(|at| {
                *odd.get(at - at.min(50))
                    .filter(|_| at >= 50)
                    .unwrap_or(&1e-3)
            })
            .collect(),
        ..PressureLog::default()
    };
    assert_eq!(tidy(log(&[1.0, 0.2, 0.05, 0.012, 0.003])).marks, []);
    let over = tidy(log(&[9.99e11; 20]));
    only_mark(&over, MarkKind::Saturated, 52);
    assert_eq!(over.pascals.len(), 80);
}

/// A gauge that answers every 10 s and is read every second: each value is one reading.
#[test]
fn a_value_held_over_lines_is_one_reading() {
    let of = |each: usize| {
        tidy(PressureLog {
            seconds: (0..600).map(f64::from).collect(),
            lines: (2..602).collect(),
            pascals: (0..600)
                .map(|at| {
                    let (at, scatter) = ((at / each * each) as f64, (at / each) as f64 * 0.618_034);
                    (1e-3 + 1e-4 * at) * (1.0 + 0.06 * (scatter.fract() - 0.5))
                })
                .collect(),
            ..PressureLog::default()
        })
    };
    for each in [6, 10, 30] {
        let record = of(each);
        only_mark(&record, MarkKind::StandsStill, 2);
        assert_eq!(record.seconds.len(), 600 / each);
        assert!((record.seconds[2] - 2.0 * each as f64).abs() < 1e-9);
    }
    assert_eq!(of(1).marks, []);
}

/// Whole minutes with several readings each, and two lines that a network exchanged.
#[test]
fn a_coarse_clock_and_exchanged_lines_are_put_right() {
    let coarse = rise(|row, time, _| *time = 60.0 * (row / 6) as f64);
    only_mark(&coarse, MarkKind::RepeatedTime, 2);
    assert!((coarse.seconds[7] - 70.0).abs() < 1e-9 && (coarse.seconds[199] - 1990.0).abs() < 35.0);
    let exchanged = rise(|row, time, pressure| {
        let other = match row {
            100 => 101,
            101 => 100,
            _ => row,
        };
        (*time, *pressure) = (10.0 * other as f64, 1.0 + 10.0 * other as f64);
    });
    only_mark(&exchanged, MarkKind::ClockJump, 103);
    assert_eq!(exchanged.seconds[199], 1990.0);
    assert!(exchanged.pascals.is_sorted());
}

/// A log that was copied while it was written ends within a number, which would be read as another.
#[test]
fn a_last_line_that_was_cut_is_no_reading() {
    for rows in [30, 90] {
        let mut text = "time (s)\tp (mbar)\n".to_owned();
        for row in 0..rows {
            text.push_str(&format!(
                "{}\t{:.3e}\n",
                100 + 5 * row,
                1e-6 * f64::from(row + 10)
            ));
        }
        let whole = read(&text).unwrap();
        assert_eq!(whole.problems.count, 0);
        for cut in ["9000\t5.982", "9000\t5", "9000\t5.98e"] {
            for piece in [1, 7, 5000] {
                let mut reader = LogReader::new();
                for piece in format!("{text}{cut}").as_bytes().chunks(piece) {
                    reader.push(piece);
                }
                let log = reader.finish(&LogOptions::default()).unwrap();
                assert_eq!(log.seconds, whole.seconds, "{cut}");
                let told = &log.problems.listed[0];
                assert_eq!(told.line as i32, rows + 2);
                assert!(
                    told.problem.contains("copied while it was written"),
                    "{told:?}"
                );
            }
        }
        // A last line that is whole, with and without its end.
        for end in ["9000\t9.990e-05", "9000\t9.990e-05\n"] {
            let log = read(&format!("{text}{end}")).unwrap();
            assert_eq!(log.seconds.len(), whole.seconds.len() + 1);
        }
    }
}

/// Historians of a plant write the newest reading first.
#[test]
fn a_log_whose_newest_reading_stands_first_is_turned_round() {
    for (times, step) in [
        (vec!["60", "50", "40", "30", "20", "10", "0"], 10.0),
        (
            vec![
                "2026-11-30 10:06:00",
                "2026-11-30 10:05:00",
                "2026-11-30 10:04:00",
                "2026-11-30 10:03:00",
                "2026-11-30 10:02:00",
                "2026-11-30 10:01:00",
                "2026-11-30 10:00:00",
            ],
            60.0,
        ),
    ] {
        let mut text = "Time (s),p (Pa)\n".to_owned();
        for (place, time) in times.iter().enumerate() {
            text.push_str(&format!("{time},{}\n", 7 - place));
        }
        let log = read(&text).unwrap();
        assert_eq!(log.pascals, [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]);
        assert_eq!(log.lines, [8, 7, 6, 5, 4, 3, 2]);
        assert!(
            log.assumed
                .last()
                .unwrap()
                .contains("newest reading stands first")
        );
        let record = tidy(log);
        assert!(record.marks.is_empty(), "{:?}", record.marks);
        assert_eq!(record.seconds[6], 6.0 * step);
    }
    // One clock that went back is none.
    let log = read("t_s,p_pa\n30,1\n40,2\n0,3\n10,4\n20,5\n30,6\n").unwrap();
    assert_eq!(log.pascals[0], 1.0);
}

/// A straight rise through decades, of a scatter of 2 %, whose logger froze: what was repeated is left out, also
/// where few readings stand before. In two figures the resolution may be coarser than the scatter, and nothing is said.
#[test]
fn frozen_loggers_are_found_in_any_decade() {
    let mut random = ChaCha8Rng::seed_from_u64(20_261_130);
    for (figures, frozen, least) in [
        (3, 180, 99),
        (3, 60, 98),
        (3, 20, 65),
        (4, 180, 99),
        (4, 60, 99),
        (4, 20, 65),
        (2, 180, 15),
    ] {
        let mut found = 0;
        for turn in 0..100 {
            let unit = [PressureUnit::Torr, PressureUnit::Millibar][turn % 2];
            let base = 10_f64.powf(random.random_range(-8.0..-5.0));
            let per_reading = base * 10_f64.powf(random.random_range(-1.5..1.0));
            let mut log = written(&mut random, figures, unit, 720, &|index, error| {
                (base + per_reading * index as f64) * (1.0 + 0.02 * error)
            });
            let last = log.pascals[frozen];
            log.pascals[frozen..].fill(last);
            let record = tidy(log);
            if standing(&record) {
                found += 1;
                assert!(record.pascals.len() <= frozen + 1);
            }
        }
        assert!(
            found >= least,
            "{figures} figures from {frozen}: {found} of 100"
        );
        println!("{figures} figures, frozen from reading {frozen} on: {found} of 100 found");
    }
}

/// Logs whose readings stand still in truth: a quiet gauge and a rise that levels off, few figures, a slow rise
/// between two figures, a converter's steps that are coarser than what is written.
#[test]
fn what_stands_still_in_truth_is_used() {
    let mut random = ChaCha8Rng::seed_from_u64(1_130);
    let mut drawn = 0;
    for turn in 0..600 {
        let figures = 2 + turn % 3;
        let unit = [PressureUnit::Torr, PressureUnit::Pascal][turn % 2];
        let base = 10_f64.powf(random.random_range(-8.0..-5.0));
        let scatter = [0.0, 0.000_3, 0.001, 0.003, 0.01, 0.02][turn / 3 % 6];
        let size = 10_f64.powf(random.random_range(-1.0..2.0));
        let time = 10_f64.powf(random.random_range(0.5..2.3));
        let slow = 10_f64.powf(random.random_range(-5.0..-3.0));
        let step = 10_f64.powf(random.random_range(-3.0..-1.5));
        for kind in 0..3 {
            let log = written(&mut random, figures, unit, 720, &|index, error| {
                let index = index as f64;
                let error = 1.0 + scatter * error;
                match kind {
                    0 => base * (1.0 + size * (1.0 - (-index / time).exp())) * error,
                    1 => base * (1.0 + slow * index) * error,
                    // Steps of a logarithmic converter, written in more figures.
                    _ => {
                        let level = base * (1.0 + size * (1.0 - (-index / time).exp())) * error;
                        ((level.ln() / step).round() * step).exp()
                    }
                }
            });
            let count = log.seconds.len();
            let record = tidy(log);
            let still = |mark: &&Mark| mark.kind == MarkKind::StandsStill;
            let marks: Vec<&Mark> = record.marks.iter().filter(still).collect();
            assert!(
                marks.is_empty(),
                "{kind}, {figures} figures, {scatter}, {step}: {marks:?} of {count}"
            );
            drawn += 1;
        }
    }
    println!("{drawn} logs that stand still, none called a logger that froze");
}

/// A signal that drops out to a floor for a reading or some, as no pressure of a chamber does.
#[test]
fn readings_that_drop_out_are_marked_and_not_used() {
    let record = tidy(PressureLog {
        seconds: (0..200).map(f64::from).collect(),
        lines: (2..202).collect(),
        pascals: (0..200)
            .map(|index| match index {
                50 | 51 | 52 | 120 => 1e-7,
                index => 1e-4 * f64::from(index + 10),
            })
            .collect(),
        ..PressureLog::default()
    });
    let marks: Vec<(MarkKind, u32)> = record.marks.iter().map(|m| (m.kind, m.line)).collect();
    assert_eq!(
        marks,
        [
            (MarkKind::DroppedReadings, 52),
            (MarkKind::DroppedReadings, 122)
        ]
    );
    assert_eq!(record.pascals.len(), 196);
    assert!(record.pascals.is_sorted() && record.is_in_order());
    // A valve that is opened to the pump: the pressure comes back slowly, or stays low.
    for back in [0.0, 1e-5] {
        let record = tidy(PressureLog {
            seconds: (0..200).map(f64::from).collect(),
            lines: (2..202).collect(),
            pascals: (0..200)
                .map(|index| match index {
                    ..100 => 1e-3,
                    index => 1e-5 + back * f64::from(index - 100),
                })
                .collect(),
            ..PressureLog::default()
        });
        assert!(record.marks.is_empty(), "{:?}", record.marks);
    }
}

/// Every 10 s from 10:05:00, in clocks without marks.
fn packed_clocks(before: &str, heading: &str) -> String {
    let rows = (0..60).map(|row| {
        let at = 36_300 + 10 * row;
        format!(
            "{before}{:02}{:02}{:02},{}e-6\n",
            at / 3600,
            at / 60 % 60,
            at % 60,
            2 + row
        )
    });
    format!("{heading},Pressure (Torr)\n{}", rows.collect::<String>())
}

#[test]
fn clocks_without_marks_are_not_taken_for_seconds() {
    let text = packed_clocks("", "Time");
    refused(&text, &["line 1", "\"Time\"", "10:05:30", "Time (s)"]);
    // A unit, in the heading or chosen, says that they are none.
    assert!(read(&packed_clocks("", "Time (s)")).is_ok());
    let chosen = LogOptions {
        time_unit: Some(TimeUnit::Second),
        ..LogOptions::default()
    };
    assert!(read_log(text.as_bytes(), &chosen).is_ok());
    let log = read(&packed_clocks("20260314,", "Date,Time")).unwrap();
    assert_eq!(log.seconds.last().unwrap() - log.seconds[0], 590.0);
}

#[test]
fn a_date_in_figures_does_not_hide_the_clock_beside_it() {
    for date in ["260314,", "140326,", "14032026,"] {
        refused(
            &packed_clocks(date, "Date,Time"),
            &["line 1", "\"Date\" and \"Time\"", "accepted"],
        );
    }
}

#[test]
fn a_unit_on_the_first_line_alone_is_not_said_to_be_missing_there() {
    let text = "0 2.0e-6 torr\n60 5.1e-5\n120 1.0e-4\n";
    refused(text, &["line 2", "no unit of pressure"]);
    let chosen = LogOptions {
        pressure_unit: Some(PressureUnit::Torr),
        ..LogOptions::default()
    };
    let log = read_log(text.as_bytes(), &chosen).unwrap();
    assert_eq!(log.pascals.len(), 3);
    assert!((log.pascals[2] / log.pascals[0] - 50.0).abs() < 1e-9);
}
