//! Shapes of logger files: each is read right, or refused with a reason that is true.
//!
//! Forms by the habits of loggers and spreadsheets (common practice, no source); pressures by the exact
//! definitions of their units (NIST SP 811, appendix B.8).

use super::{LogError, LogOptions, PressureLog, read_log};
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
