//! Shapes of logger files: each is read right, or refused with a reason that is true.
//!
//! Forms by the habits of loggers and spreadsheets (common practice, no source); pressures by the exact
//! definitions of their units (NIST SP 811, appendix B.8).

use super::{LogError, LogOptions, LogReader, PressureLog, read_log};
use crate::vacuum::units::{PressureUnit, TimeUnit};

fn read(text: &str, options: &LogOptions<'_>) -> Result<PressureLog, LogError> {
    read_log(text.as_bytes(), options)
}

/// Asserts that the first readings are these seconds from the first, and these pressures in Pa.
#[track_caller]
fn gives(text: &str, options: &LogOptions<'_>, expect: &[(f64, f64)]) -> PressureLog {
    let log = read(text, options).unwrap_or_else(|error| panic!("{text:?}: {error}"));
    assert!(log.seconds.len() >= expect.len(), "{text:?}: {log:?}");
    for (index, (seconds, pascals)) in expect.iter().enumerate() {
        let time = log.seconds[index] - log.seconds[0];
        assert!((time - seconds).abs() < 1e-5, "{text:?}: {log:?}");
        let ratio = log.pascals[index] / pascals;
        assert!((ratio - 1.0).abs() < 1e-9, "{text:?}: {log:?}");
    }
    log
}

/// The error of a log, or its first problem, with its line.
fn problem(text: &str, options: &LogOptions<'_>) -> String {
    match read(text, options) {
        Err(error) => error.to_string(),
        Ok(log) => {
            let first = log.problems.listed.first();
            let first = first.unwrap_or_else(|| panic!("nothing is told of {text:?}: {log:?}"));
            format!("line {}: {}", first.line, first.problem)
        }
    }
}

const NONE: LogOptions<'static> = LogOptions {
    pressure_unit: None,
    time_unit: None,
    pressure_column: None,
};
const MILLIBAR: LogOptions<'static> = LogOptions {
    pressure_unit: Some(PressureUnit::Millibar),
    ..NONE
};

/// Readings a minute apart, of 1e-6 and 2e-6 mbar.
const MINUTE: &[(f64, f64)] = &[(0.0, 1e-4), (60.0, 2e-4)];
/// The same ten seconds apart.
const TEN: &[(f64, f64)] = &[(0.0, 1e-4), (10.0, 2e-4)];

/// A column of one value throughout is no pressure where another moves that may be the chamber's as well.
#[test]
fn a_column_that_stands_still_is_not_the_pressure() {
    for heading in [
        "t_s;Druck Pumpe (mbar);Druck Tank (mbar)",
        "t_s;Pression primaire (mbar);Pression secondaire (mbar)",
        "t_s;Pressure (mbar);Pressure (mbar)",
        "t_s;CG1 (mbar);IG (mbar)",
        "t_s;Gauge 1 (mbar);Gauge 2 (mbar)",
    ] {
        let text = format!("{heading}\n0;5e-4;1e-6\n10;5e-4;2e-6\n20;5e-4;3e-6\n");
        let log = gives(&text, &NONE, TEN);
        let told = |words: &String| words.contains("stands still throughout");
        assert!(log.assumed.iter().any(told), "{heading}: {:?}", log.assumed);
        // The one that was chosen is taken.
        let chosen = LogOptions {
            pressure_column: Some("2"),
            ..NONE
        };
        assert!(read(&text, &chosen).unwrap().pascals[2] > 1e-3);
    }
    // What moves in another place is none of the chamber.
    let text = "t_s;Chamber (mbar);Foreline (mbar)\n0;5e-4;1e-2\n10;5e-4;2e-2\n";
    assert_eq!(read(text, &NONE).unwrap().pascals, [5e-2, 5e-2]);
}

/// Without headings, the numbers over decades are the pressures; what counts the lines is no time where another column
/// rises too.
#[test]
fn without_headings_the_numbers_over_decades_are_the_pressures() {
    let rows = |row: &dyn Fn(i32) -> String| (0..20).map(|at| row(at) + "\n").collect::<String>();
    let warm = rows(&|at| {
        format!(
            "{},{:.1},{}e-6",
            10 * at,
            21.5 + 0.1 * f64::from(at),
            at + 1
        )
    });
    gives(&warm, &MILLIBAR, TEN);
    let counted = rows(&|at| format!("{at};{};{}e-6", 10 * at, at + 1));
    assert!(problem(&counted, &MILLIBAR).contains("may count the readings"));
    let every_second = rows(&|at| format!("{at};{}e-6;{}", at + 1, 21 - at % 2));
    gives(&every_second, &MILLIBAR, &[(0.0, 1e-4), (1.0, 2e-4)]);
}

/// One byte a letter, as panels and spreadsheets of Western Europe write (ISO/IEC 8859-1: µ is 0xB5, ü 0xFC).
#[test]
fn letters_of_one_byte_are_read() {
    for heading in ["t_s;P (µbar)", "t_s;Kühlfalle (°C);P (µbar)"] {
        let cold = if heading.contains("Kühl") {
            "-196;"
        } else {
            ""
        };
        let text = format!("{heading}\n0;{cold}1e-3\n10;{cold}2e-3\n");
        let bytes: Vec<u8> = text.chars().map(|letter| u32::from(letter) as u8).collect();
        let log = read_log(bytes.as_slice(), &NONE).unwrap();
        for (pressure, expected) in log.pascals.iter().zip([1e-4, 2e-4]) {
            assert!(
                (pressure / expected - 1.0).abs() < 1e-9,
                "{heading}: {log:?}"
            );
        }
    }
}

/// Blanks before the number belong to its column: the last line is as whole as the others.
#[test]
fn the_last_line_of_right_aligned_columns_is_read() {
    let mut text = "      time/s      p/mbar\n".to_owned();
    for row in 0..240 {
        text.push_str(&format!(
            "{:>10}{:>14.3e}\n",
            5 * row,
            1e-6 * f64::from(row + 1)
        ));
    }
    let log = read(text.trim_end_matches('\n'), &NONE).unwrap();
    assert_eq!(
        (log.seconds.len(), log.problems.count),
        (240, 0),
        "{:?}",
        log.problems
    );
}

/// The newest first, past midnight without a date, and over the hour that comes twice.
#[test]
fn the_newest_first_is_turned_round_past_midnight() {
    let clock = |seconds: i32| {
        let seconds = seconds.rem_euclid(86_400);
        format!(
            "{:02}:{:02}:{:02}",
            seconds / 3600,
            seconds / 60 % 60,
            seconds % 60
        )
    };
    let log = |from: i32, back: i32| {
        let mut text = "Time;p (mbar)\n".to_owned();
        for row in (0..60).rev() {
            let second = if row < 30 { 0 } else { back };
            text.push_str(&format!(
                "{};{:e}\n",
                clock(from + 10 * row - second),
                1e-6 * f64::from(row + 1)
            ));
        }
        text
    };
    let midnight = gives(&log(86_400 - 300, 0), &NONE, TEN);
    assert!(midnight.seconds.is_sorted());
    assert_eq!(midnight.seconds[59] - midnight.seconds[0], 590.0);
    let hour = gives(&log(2 * 3600 + 3300, 3600), &NONE, TEN);
    assert!(
        hour.assumed
            .iter()
            .any(|words| words.contains("newest reading stands first"))
    );
}

/// Where a column says how much time is left, the lines stand in their order.
#[test]
fn a_time_that_counts_down_is_no_log_with_the_newest_first() {
    for heading in ["Remaining time (s)", "Time left (s)"] {
        let rows = (0..20).map(|row| format!("{};{}e-6\n", 600 - 10 * row, row + 1));
        let log = gives(
            &format!("{heading};p (mbar)\n{}", rows.collect::<String>()),
            &NONE,
            TEN,
        );
        assert!(log.seconds.is_sorted());
        assert!(log.assumed.iter().any(|words| words.contains("count down")));
    }
}

#[test]
fn numbers_are_read_whole_in_every_spelling() {
    for (first, second) in [
        ("1 E-6", "2 E-6"),
        ("1x10^-6", "2x10^-6"),
        ("1 × 10⁻⁶", "2 × 10⁻⁶"),
        ("1*10^-6", "2*10^-6"),
        ("1e−06", "2e−06"),
        ("1.0D-06", "2.0D-06"),
        ("+1.0E-06", "+2.0E-06"),
        ("1e-6 mbar", "2e-6 mbar"),
        ("1e-7 kPa", "2e-7 kPa"),
    ] {
        for separator in ["\t", ",", ";", " | ", "  "] {
            let text = format!(
                "Time (s){separator}Pressure (mbar)\n0{separator}{first}\n10{separator}{second}\n"
            );
            gives(&text, &NONE, TEN);
        }
    }
    for (text, cell) in [
        ("t_s\tp_mbar\n0\t1.0? 5\n1\t1.1? 5\n", "1.0? 5"),
        ("t_s,p_mbar\n0,1.5e-6*\n1,1.6e-6*\n", "1.5e-6*"),
        ("t_s,p_mbar\n0,\"1,013.25\"\n1,\"1,012.25\"\n", "1,013.25"),
        ("0;1'013.25\n1;1'012.25\n", "1'013.25"),
        ("t,p_mbar\n0.00:00:05,1e-6\n0.00:00:15,2e-6\n", "0.00:00:05"),
    ] {
        let told = problem(text, &MILLIBAR);
        assert!(
            told.starts_with("line ") && told.contains(&format!("cannot read {cell:?}")),
            "{told}"
        );
    }
}

#[test]
fn times_with_their_units_and_dates_without_years_are_read() {
    for (first, second) in [
        ("0 min", "1 min"),
        ("0", "1 min"),
        ("0.5 h", "0.516666666667 h"),
        ("12 s", "72 s"),
        ("1 h 5 min", "1 h 6 min"),
        ("23h59m30s", "00h00m30s"),
        ("T+00:00:05", "T+00:01:05"),
        ("2026-11-30_23-59-30", "2026-12-01_00-00-30"),
        ("2026-11-30 23.59.30", "2026-12-01 00.00.30"),
        ("Nov 30 23:59:30", "Dec  1 00:00:30"),
        ("30 Nov 14:05:02", "30 Nov 14:06:02"),
        ("Nov 30, 2026 14:05:02", "Nov 30, 2026 14:06:02"),
        ("Nov 30, 2026 2:05:02 PM", "Nov 30, 2026 2:06:02 PM"),
        (
            "Monday, November 30, 2026 14:05:02",
            "Monday, November 30, 2026 14:06:02",
        ),
    ] {
        for separator in ["\t", ",", ";"] {
            let text = format!(
                "Time{separator}Pressure (mbar)\n{first}{separator}1e-6\n{second}{separator}2e-6\n"
            );
            gives(&text, &NONE, MINUTE);
        }
    }
    for text in [
        "Nov 30 14:05:02 1e-6 mbar\nNov 30 14:06:02 2e-6 mbar\n",
        "0 min 1e-6 mbar\n1 min 2e-6 mbar\n",
        "Time p_mbar\n0.5 h 1e-6\n0.516666666666667 h 2e-6\n",
        "Time p_mbar\n1 h 5 min 1e-6\n1 h 6 min 2e-6\n",
        "Date,Time,Pressure (mbar)\nNov 30, 2026, 14:05:02,1e-6\nNov 30, 2026, 14:06:02,2e-6\n",
        "Time;Unit;Pressure;Unit\n0;min;1e-6;mbar\n1;min;2e-6;mbar\n",
        "Elapsed (min:sec),p_mbar\n0:05,1e-6\n1:05,2e-6\n",
    ] {
        gives(text, &NONE, MINUTE);
    }
    let year_ends = "Dec 31 23:59:55,1e-6\nJan  1 00:00:05,2e-6\n";
    let told = problem(year_ends, &MILLIBAR);
    assert!(
        told.starts_with("line 2: ") && told.contains("no year"),
        "{told}"
    );
    let february = "Feb 28 23:59:55,1e-6\nMar  1 00:00:05,2e-6\n";
    assert!(problem(february, &MILLIBAR).contains("no year"));
}

#[test]
fn units_scales_and_columns_are_those_of_the_heading() {
    for heading in [
        "Zeit in Minuten;Druck in mbar",
        "Zeit (Minuten);Kammerdruck [mbar]",
        "Tiempo (minutos);Presión (mbar)",
        "Temps (minutes);Pression (mbar)",
        "Elapsed_min;p_mbar",
        "TimeMin;PressureMbar",
        "t/min;p/mbar",
        "Time (min);Pressure (mbar abs)",
        "Time;Pressure\nmin;mbar",
        "# units: min, mbar\ntime;value",
    ] {
        gives(&format!("{heading}\n0;1e-6\n1;2e-6\n"), &NONE, MINUTE);
    }
    for heading in [
        "Time (min);Pressure (1e-6 mbar)",
        "Time (min);Pressure (x10^-6 mbar)",
        "Time (min);Pressure [10⁻⁶ mbar]",
    ] {
        gives(&format!("{heading}\n0;1\n1;2\n"), &NONE, MINUTE);
    }
    gives("Time (min);p (kPa)\n0;1e-7\n1;2e-7\n", &MILLIBAR, MINUTE);
    gives("Time (µs);p (mPa)\n0;0.1\n60000000;0.2\n", &NONE, MINUTE);
    // Thousandths of a second that are as large as an epoch.
    gives("t_ms,p_mbar\n499990000,1e-6\n500000000,2e-6\n", &NONE, TEN);
    for (text, column) in [
        (
            "Time (s),Rate (mbar/s),Pressure (mbar)\n0,5,1e-6\n10,6,2e-6\n",
            "Pressure (mbar)",
        ),
        (
            "Rate (mbar/s),Time (s),Pressure (mbar)\n5,0,1e-6\n5,10,2e-6\n",
            "Pressure (mbar)",
        ),
        (
            "Time (s),Setpoint (mbar),p (mbar)\n0,5,1e-6\n10,5,2e-6\n",
            "p (mbar)",
        ),
        (
            "Time (s),Foreline (mbar),Chamber (mbar)\n0,5,1e-6\n10,5,2e-6\n",
            "Chamber (mbar)",
        ),
        (
            "Time,Setpoint,Pressure\ns,mbar,mbar\n0,5,1e-6\n10,5,2e-6\n",
            "Pressure (mbar)",
        ),
        (
            "Time (s),Pressure min (mbar),Pressure avg (mbar)\n0,5,1e-6\n10,5,2e-6\n",
            "Pressure avg (mbar)",
        ),
        (
            "Time (s),Temp (°C),P (mbar)\n0,22,1e-6\n10,22,2e-6\n",
            "P (mbar)",
        ),
        (
            "Time (s) Q (mbar·L/s) P (mbar)\n0 5 1e-6\n10 5 2e-6\n",
            "P (mbar)",
        ),
    ] {
        let log = gives(text, &NONE, TEN);
        let said = log.assumed.join("; ");
        assert!(
            said.contains(&format!("pressure from {column:?}")),
            "{said}"
        );
    }
}

#[test]
fn a_column_may_be_chosen_by_its_heading_or_number() {
    let text =
        "Time (s),Setpoint (mbar),IG (mbar),CG (Torr),Rate (mbar/s)\n0,5,1e-6,7,1\n10,5,2e-6,8,1\n";
    let of = |column| LogOptions {
        pressure_column: Some(column),
        ..NONE
    };
    gives(text, &NONE, TEN);
    for ig in ["IG (mbar)", " ig (MBAR) ", "3", ""] {
        gives(text, &of(ig), TEN);
    }
    gives(text, &of("2"), &[(0.0, 500.0), (10.0, 500.0)]);
    let torr = 101_325.0 / 760.0;
    let chosen = gives(
        text,
        &of("cg (torr)"),
        &[(0.0, 7.0 * torr), (10.0, 8.0 * torr)],
    );
    assert_eq!(chosen.unit, Some(PressureUnit::Torr));
    for none in ["Rate (mbar/s)", "5", "1", "9", "p"] {
        let told = read(text, &of(none)).unwrap_err().to_string();
        assert!(
            told.contains("no column of pressures") && told.contains("\"IG (mbar)\""),
            "{told}"
        );
    }
    // Every column is read while the log arrives, the quick way and with care.
    let mut long = "Time (s),IG (mbar),CG (mbar)\n".to_owned();
    for row in 0..500 {
        long.push_str(&match row {
            300 => "300,off,1 mbar\n".to_owned(),
            _ => format!("{row},{:e},{row}.5\n", 1e-6 * f64::from(row + 1)),
        });
    }
    let ig = read(&long, &of("IG (mbar)")).unwrap();
    let cg = read(&long, &of("CG (mbar)")).unwrap();
    assert_eq!((ig.seconds.len(), ig.problems.count), (499, 1));
    assert_eq!((cg.seconds.len(), cg.problems.count), (500, 0));
    assert_eq!(cg.pascals[300..302], [100.0, 30_150.0]);
}

#[test]
fn what_is_not_known_is_refused_by_name() {
    for (text, parts) in [
        (
            "Time (s),Pressure (foo)\n0,1\n1,2\n",
            &["line 1", "\"foo\"", "mbar"][..],
        ),
        (
            "Time (s),Pressure (MPA)\n0,1\n1,2\n",
            &["line 1", "\"MPA\""],
        ),
        (
            "Time (s),Pressure (barg)\n0,1\n1,2\n",
            &["line 1", "\"barg\""],
        ),
        (
            "Time (s),Pressure x1e-6 (mbar)\n0,1\n1,2\n",
            &["line 1", "\"x1e-6\""],
        ),
        (
            "Time (s),Pressure (Torr x 1e-6)\n0,1\n1,2\n",
            &["line 1", "\"Torr x 1e-6\""],
        ),
        (
            "Time (s),log10(p/mbar)\n0,-6\n1,-5\n",
            &["line 1", "log10(p/mbar)"],
        ),
        (
            "Time (godziny),p (mbar)\n0,1\n1,2\n",
            &["line 1", "\"godziny\"", "min"],
        ),
        (
            "Time of day,p (mbar)\n12.5,1\n12.6,2\n",
            &["line 1", "of day"],
        ),
        (
            "0 godz 1e-6 mbar\n1 godz 2e-6 mbar\n",
            &["line 1", "\"godz\""],
        ),
        ("0 1.5 V\n1 1.6 V\n", &["line 1", "\"V\""]),
        ("# unit: V\ntime,value\n0,1\n1,2\n", &["line 1", "\"V\""]),
        ("0;1;mbar\n1;2;mbar\n2;3;kVA\n", &["line 3", "kVA"]),
        (
            "Time (s),Setpoint (mbar)\n0,1\n1,2\n",
            &["line 1", "no pressure that was measured"],
        ),
        (
            "Time (s),Rate (mbar/s)\n0,1\n1,2\n",
            &["line 1", "no column is a pressure", "a rate"],
        ),
        ("Time (s),Gauge (V)\n0,1\n1,2\n", &["line 1", "a voltage"]),
        (
            "t (s),p (mbar)\n0,1\n1,2\nt (s),p (Torr)\n2,3\n",
            &["line 4", "\"t (s),p (Torr)\"", "one heading a log"],
        ),
        (
            "t (s),p (1e-6 mbar)\n0,1\n1,2\n2,3 mbar\n",
            &["line 4", "another scale"],
        ),
        (
            "{\"t\":0,\"p\":1}\n{\"t\":1,\"p\":2}\n",
            &["line 1", "JSON"],
        ),
        (
            "<table><tr><td>0</td></tr>\n",
            &["line 1", "angle brackets"],
        ),
        (
            "t=0 p=1e-6\nt=1 p=2e-6\n",
            &["line 1", "no time and pressure"],
        ),
        (
            "t (s),p (mbar)\r0,1\r1,2\r",
            &["line 1", "carriage returns"],
        ),
        (
            "# base pressure: 3e-7 mbar\ntime,value\n0,1\n1,2\n",
            &["line 3", "no unit"],
        ),
        (
            "# site: Graz, PA\ntime,value\n0,1\n1,2\n",
            &["line 3", "no unit"],
        ),
    ] {
        let told = problem(text, &NONE);
        for part in parts {
            assert!(told.contains(part), "{part:?} not in {told:?} of {text:?}");
        }
    }
    // A unit chosen does not make up for one that is not understood, unless the column is named too.
    let foo = "Time (s),Pressure (foo)\n0,1e-6\n10,2e-6\n";
    assert!(read(foo, &MILLIBAR).is_err());
    let named = LogOptions {
        pressure_column: Some("2"),
        ..MILLIBAR
    };
    let log = gives(foo, &named, TEN);
    assert!(
        log.assumed.join("; ").contains("\"foo\""),
        "{:?}",
        log.assumed
    );
}

#[test]
fn what_the_log_says_against_what_was_chosen_is_told() {
    let of = |unit| LogOptions {
        time_unit: Some(unit),
        ..MILLIBAR
    };
    for (text, options, said) in [
        (
            "Time (s),p\n0,1e-6\n10,2e-6\n",
            of(TimeUnit::Minute),
            "are in s, as the log itself says",
        ),
        (
            "Time,p\n10:00:00,1e-6\n10:00:10,2e-6\n",
            of(TimeUnit::Minute),
            "min, as chosen, was not used",
        ),
        (
            "Time (takt),p\n0,1e-6\n10,2e-6\n",
            of(TimeUnit::Second),
            "\"takt\" of \"Time (takt)\" is no unit of time known here",
        ),
        (
            "t (s),p (Pa)\n0,1e-6 mbar\n10,2e-6 mbar\n",
            NONE,
            "in mbar, as stands beside them, and not in Pa",
        ),
        (
            "# gauge unit: Torr\nt (s),p (mbar)\n0,1e-6\n10,2e-6\n",
            NONE,
            "in mbar, as the heading says, and not in Torr",
        ),
        ("t (s),p (1e-6 mbar)\n0,1\n10,2\n", NONE, "is 1e-6 mbar"),
    ] {
        let log = gives(text, &options, TEN);
        let assumed = log.assumed.join("; ");
        assert!(assumed.contains(said), "{said:?} not in {assumed:?}");
    }
}

/// Rows of readings ten seconds apart, each made of its number.
fn rows(heading: &str, row: impl Fn(usize) -> String) -> String {
    let rows: Vec<String> = (0..120).map(row).collect();
    format!("{heading}{}\n", rows.join("\n"))
}

/// A pressure that rises, in mbar: 1.061e-06, and so on.
fn risen(row: usize) -> String {
    format!("{:.3}e-06", 1.061 + 5.081 * row as f64)
}

/// The same with a decimal comma.
fn risen_comma(row: usize) -> String {
    risen(row).replace('.', ",")
}

#[track_caller]
fn told(text: &str, options: &LogOptions<'_>, parts: &[&str]) {
    let told = problem(text, options);
    for part in parts {
        assert!(
            told.contains(part),
            "{part:?} not in {told:?} of {text:.80?}"
        );
    }
}

#[test]
fn decimal_commas_between_commas_are_refused() {
    let wide: &[&str] = &["line 2", "3 cells under a heading of 2", "semicolons"];
    told(
        &rows("Zeit (s),Druck (mbar)\n", |row| {
            format!("{},{}", 5 * row, risen_comma(row))
        }),
        &NONE,
        wide,
    );
    told(
        &rows("Zeit,Druck (mbar)\n", |row| {
            format!("30.11.2026 23:{:02}:00,{}", row % 60, risen_comma(row))
        }),
        &NONE,
        wide,
    );
    // Without a heading.
    for text in [
        rows("", |row| format!("{},{}", 5 * row, risen_comma(row))),
        rows("", |row| {
            format!("2026-11-30 10:{:02}:00,{}", row % 60, risen_comma(row))
        }),
    ] {
        told(&text, &MILLIBAR, &["line 1", "commas seem to stand both"]);
    }
    // A status behind the time tells by its column, and by the points of the others.
    let log = gives("0,0,1.0e-06\n10,0,2.0e-06\n", &MILLIBAR, TEN);
    assert!(
        log.assumed
            .join("; ")
            .contains("pressure from \"column 3\"")
    );
    // One such line among others is a line that is not used.
    let mut text = rows("t (s),p (mbar)\n", |row| {
        format!("{},{}", 5 * row, risen(row))
    });
    text.push_str("600,6,142E-06\n");
    let log = read(&text, &NONE).unwrap();
    assert_eq!((log.seconds.len(), log.problems.count), (120, 1));
    assert!(
        log.problems.listed[0]
            .problem
            .contains("3 cells under a heading of 2")
    );
    // Names and marks of further columns, and marks behind the last, change nothing.
    gives(
        "t (s),p (mbar),T (°C),\n0,1e-6,22,\n10,2e-6,22,,\n",
        &NONE,
        TEN,
    );
    gives("t (s);p (mbar)\n0;1e-6;ok\n10;2e-6;ok;\n", &NONE, TEN);
}

#[test]
fn marks_between_thousands_in_times_are_refused() {
    let thousands = |value: usize, mark: char| match value {
        ..1000 => value.to_string(),
        _ => format!("{}{mark}{:03}", value / 1000, value % 1000),
    };
    // The other mark than that of the pressures.
    told(
        &rows("Zeit (ms)\tDruck (mbar)\n", |row| {
            format!("{}\t{}", thousands(5000 * row, '.'), risen_comma(row))
        }),
        &NONE,
        &["line 3", "\"5.000\"", "numbers have decimal commas"],
    );
    told(
        &rows("Time (ms),Pressure (mbar)\n", |row| {
            format!("\"{}\",{}", thousands(5000 * row, ','), risen(row))
        }),
        &NONE,
        &["line 3", "\"5,000\"", "numbers have decimal points"],
    );
    // Pressures without any mark.
    told(
        &rows("Zeit (ms)\tDruck (mbar)\n", |row| {
            format!("{}\t{}e-06", thousands(5000 * row, ','), row + 1)
        }),
        &NONE,
        &["line 3", "\"5,000\"", "between thousands"],
    );
    // First behind the lines by which the layout is found, and with the decimal mark.
    told(
        &rows("Time (ms)\tPressure (mbar)\n", |row| {
            format!("{}\t{}", thousands(10 * row, '.'), risen(row))
        }),
        &NONE,
        &["line 102", "\"1.000\"", "nor can that of 19 lines more"],
    );
    // Decimals of a logger are as many in each line, or begin with a zero.
    for (first, second) in [("0.000", "10.000"), ("0.005", "10.005"), ("0", "10.0")] {
        gives(
            &format!("t_s\tp_mbar\n{first}\t1e-6\n{second}\t2e-6\n"),
            &NONE,
            TEN,
        );
    }
}

#[test]
fn times_whose_unit_is_not_known_are_refused_by_name() {
    for (heading, named) in [
        ("Čas v minutách;Tlak v mbar", "Čas v minutách"),
        ("Czas w minutach;Ciśnienie mbar", "Czas w minutach"),
        ("时间_分;压力_Pa", "时间_分"),
        ("时间（分钟）;压力（Pa）", "分钟"),
        ("Время, мин;p, mbar", "Время, мин"),
        ("Elapsed time HH.hh;p (mbar)", "HH.hh"),
        ("Time (0.1 s);p (mbar)", "0.1 s"),
        ("Time (x0.1 s);p (mbar)", "x0.1 s"),
        ("Time (10 ms);p (mbar)", "10 ms"),
    ] {
        let text = rows(&format!("{heading}\n"), |row| {
            format!("{}.5;{}", row, risen(row))
        });
        told(
            &text,
            &NONE,
            &["line 1", named, "no unit of time known here", "ms"],
        );
        let minutes = LogOptions {
            time_unit: Some(TimeUnit::Minute),
            ..NONE
        };
        let log = read(&text, &minutes).unwrap();
        assert_eq!(log.seconds[1] - log.seconds[0], 60.0, "{heading}");
    }
}

#[test]
fn what_is_no_time_is_none() {
    for (heading, what) in [
        ("No,Pressure (mbar)", "a count of readings"),
        ("Sample,Pressure (mbar)", "a count of readings"),
        ("#,Pressure (mbar)", "a count of readings"),
        (
            "Sample interval: 5 s\nScan,Pressure (mbar)",
            "a count of readings",
        ),
        ("Temp (°C),Pressure (mbar)", "a temperature"),
        ("Cold (mbar),Hot (mbar)", "a pressure"),
    ] {
        let text = rows(&format!("{heading}\n"), |row| {
            format!("{row},{}", risen(row))
        });
        told(
            &text,
            &NONE,
            &["no column is a time", what, "a column of times"],
        );
    }
    for heading in ["h;min;s;p (mbar)", "Day;Hour;Minute;p (mbar)"] {
        let text = rows(&format!("{heading}\n"), |row| {
            format!("12;{};{};{}", row / 12, 5 * (row % 12), risen(row))
        });
        told(&text, &NONE, &["line 1", "more than one column of numbers"]);
    }
    // The same time twice in two units is one.
    gives(
        "t (min);t (s);p (mbar)\n0.0;0;1e-6\n0.16666666667;10;2e-6\n",
        &NONE,
        TEN,
    );
}

#[test]
fn ticks_of_a_hundred_nanoseconds_are_told_by_their_size() {
    for start in [134_000_000_000_000_000_u64, 639_000_000_000_000_000] {
        let text = format!(
            "Timestamp,Pressure (mbar)\n{start},1e-6\n{},2e-6\n",
            start + 100_000_000
        );
        gives(&text, &NONE, TEN);
    }
    gives(
        "Timestamp,Pressure (mbar)\n1796000000000000000,1e-6\n1796000010000000000,2e-6\n",
        &NONE,
        TEN,
    );
}

#[test]
fn reasons_of_refusal_are_true() {
    for (text, parts) in [
        (
            "t (s),log p (mbar)\n0,5.97\n1,5.96\n",
            &["\"log p (mbar)\" is a logarithm"][..],
        ),
        (
            "t (s),Pressure (Torr)e-6\n0,1\n1,2\n",
            &["line 1", "multiplied by its \"e-6\""],
        ),
        (
            "t (s),Pressure (x1e-6) (mbar)\n0,1\n1,2\n",
            &["line 1", "multiplied by its \"x1e-6\""],
        ),
        (
            "t (s),Pressure (mbar) [Torr]\n0,1\n1,2\n",
            &["line 1", "two units, \"mbar\" and \"Torr\""],
        ),
        (
            "t (s),Pressure (mbar He)\n0,1\n1,2\n",
            &["\"mbar He\"", "no unit of pressure known here"],
        ),
        (
            "t (s);Давление, Торр\n0;1\n1;2\n",
            &["no unit of pressure known here stands in \"Давление, Торр\""],
        ),
        (
            "Time,p (mbar)\nT#5s,1.06e-6\nT#10s,2e-6\n",
            &["line 2", "\"T#5s\""],
        ),
        (
            "Time,p (mbar)\nPT0M5S,1.06e-6\nPT0M10S,2e-6\n",
            &["line 2", "\"PT0M5S\""],
        ),
        (
            "Time,p (mbar)\nDT#2026-11-30-23:55:00,1.06e-6\nDT#2026-11-30-23:55:05,1e-6\n",
            &["line 2", "\"DT#2026-11-30-23:55:00\""],
        ),
    ] {
        told(text, &NONE, parts);
    }
    gives("t (s),10^-6 mbar\n0,1\n10,2\n", &NONE, TEN);
    gives("t (s),p (N/m2)\n0,1e-4\n10,2e-4\n", &NONE, TEN);
}

#[test]
fn pressures_of_another_kind_are_passed_over() {
    for other in [
        "Delta p",
        "Base pressure",
        "Reference",
        "Ar partial pressure",
        "log p",
    ] {
        let text = format!("t (s),{other} (mbar),Pressure (mbar)\n0,5,1e-6\n10,6,2e-6\n");
        gives(&text, &NONE, TEN);
    }
    // Of more than are kept, the further ones are named as what they are.
    let names: Vec<String> = (0..8).map(|place| format!("P{place} (mbar)")).collect();
    let row = |time: usize| format!("{time},1e-6,2e-6,3e-6,4e-6,5e-6,6e-6,7e-6,8e-6\n");
    let text = format!("t (s),{}\n{}{}", names.join(","), row(0), row(10));
    for wanted in ["P7 (mbar)", "9"] {
        let options = LogOptions {
            pressure_column: Some(wanted),
            ..NONE
        };
        // Chosen before the log comes it is read wherever it stands; chosen after, the refusal says how.
        let log = gives(&text, &options, &[(0.0, 8e-4), (10.0, 8e-4)]);
        assert!(
            log.assumed[1].contains("pressure from \"P7 (mbar)\""),
            "{:?}",
            log.assumed
        );
        let mut late = LogReader::new();
        late.push(text.as_bytes());
        let error = late.finish(&options).expect_err("not kept").to_string();
        for part in [
            "more pressures than are kept",
            "\"P5 (mbar)\"",
            "sent before the log",
        ] {
            assert!(error.contains(part), "{error}");
        }
    }
}

/// Numbers that rise by one under a heading that names no time may count the readings, unless their unit is said.
#[test]
fn what_may_count_the_readings_is_no_time() {
    for heading in ["", "Reading", "i", "X_Value", "Datensatz"] {
        let text = rows(&format!("{heading},Pressure (mbar)\n"), |row| {
            format!("{row},{}", risen(row))
        });
        told(&text, &NONE, &["line 1", "may count the readings"]);
        let seconds = LogOptions {
            time_unit: Some(TimeUnit::Second),
            ..NONE
        };
        assert_eq!(read(&text, &seconds).unwrap().seconds[9], 9.0, "{heading}");
    }
    for (heading, step) in [("Time", 1), ("t", 1), ("X", 5)] {
        let text = rows(&format!("{heading},Pressure (mbar)\n"), |row| {
            format!("{},{}", step * row, risen(row))
        });
        assert!(read(&text, &NONE).is_ok(), "{heading}");
    }
}

/// A fraction of three figures among whole times is one where the times go on by it, and a thousand times as much
/// would be hours away.
#[test]
fn a_fraction_among_whole_times_is_read_where_times_go_on_by_it() {
    let text = "t (s);p (mbar)\n0;1e-6\n30;2e-6\n60;3e-6\n61.500;3e-6\n90;4e-6\n";
    gives(
        text,
        &NONE,
        &[
            (0.0, 1e-4),
            (30.0, 2e-4),
            (60.0, 3e-4),
            (61.5, 3e-4),
            (90.0, 4e-4),
        ],
    );
    // Behind the first lines, by which the layout is found.
    let text = rows("t (s);p (mbar)\n", |row| match row {
        ..80 => format!("{row};{}", risen(row)),
        _ => format!("{row}.500;{}", risen(row)),
    });
    let log = read(&text, &NONE).unwrap();
    assert_eq!(log.problems.count, 0, "{:?}", log.problems.listed);
    assert!(log.seconds.contains(&80.5));
    for text in [
        "t (s);p (mbar)\n0;1e-6\n5.000;2e-6\n10.000;3e-6\n",
        "t (s);p (mbar)\n0;1e-6\n500;2e-6\n1.000;3e-6\n1.500;3e-6\n",
    ] {
        told(text, &NONE, &["mark between thousands"]);
    }
}

#[test]
fn months_of_several_languages_are_read_and_half_a_log_is_none() {
    for (first, second) in [
        ("30 nov. 2026 23:59:30", "01 déc. 2026 00:00:30"),
        ("30 nov 2026 23:59:30", "1 dic 2026 00:00:30"),
        ("31 août 2026 23:59:30", "1 sept. 2026 00:00:30"),
    ] {
        gives(
            &format!("Date;p (mbar)\n{first};1e-6\n{second};2e-6\n"),
            &NONE,
            MINUTE,
        );
    }
    let text = rows("Data;p (mbar)\n", |row| match row {
        ..60 => format!("30 Nov 2026 23:{row:02}:00;{}", risen(row)),
        _ => format!("1 gru 2026 00:{:02}:00;{}", row - 60, risen(row)),
    });
    told(
        &text,
        &NONE,
        &["line 62", "\"1 gru 2026 00:00:00\"", "59 lines more"],
    );
}
