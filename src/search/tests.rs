//! The pure parts of the search, and the index in memory.

use std::sync::Arc;

use proptest::prelude::*;
use tantivy::{
    DocAddress, DocId, Index, Score, SegmentReader,
    collector::{Count, TopDocs},
    schema::{FAST, FieldType, INDEXED, Schema},
    tokenizer::TextAnalyzer,
};

use crate::{
    casebook::Asker,
    search::{
        Answer, Entry, Filters, Names, Reached, Request, SearchIndex, Shelf, Standing, Why,
        asking::{
            language::parse,
            plan::{self, Understood},
        },
        indexed::{
            document::{Measured, Shown, When},
            index::payload,
            schema::{ELSEWHERE, UNSEEN, schema},
            vocabulary::Vocabulary,
        },
        ranking::{circumstances::Circumstances, rank::Scorer, shortlist::Allowed, walk},
        reading::{
            analysis::{self, Analysed, Analysis},
            pressure::{Reading, Told, rates, readings, tail},
            quantity::quantities,
            words::WordList,
        },
    },
    vacuum::units::PressureUnit,
};

fn analysis() -> Analysis {
    Analysis::new(Arc::new(
        WordList::built_in().expect("the built-in list is right"),
    ))
}

#[track_caller]
fn one(text: &str) -> Reading {
    let found = readings(text);
    assert_eq!(found.len(), 1, "{text:?}: {found:?}");
    found[0].clone()
}

/// Low and high end in the number's own unit, to four figures.
fn ends(reading: &Reading) -> (f64, f64) {
    let round = |power: f64| format!("{:.3e}", 10_f64.powf(power)).parse().unwrap_or(0.0);
    (round(reading.low), round(reading.high))
}

#[test]
fn the_spellings_people_use_are_read() {
    use PressureUnit::{Micron, Millibar, Millitorr, Pascal, Torr};
    for (text, value, unit) in [
        ("stuck at 5.3E-5 mbar since", 5.3e-5, Some(Millibar)),
        ("stuck 4e-5 after new foil", 4e-5, None),
        ("5x10^-6 Torr", 5e-6, Some(Torr)),
        ("and 6*10^-5 mbar.", 6e-5, Some(Millibar)),
        ("5×10⁻⁶ mbar", 5e-6, Some(Millibar)),
        ("5 · 10-6 Pa", 5e-6, Some(Pascal)),
        ("2,3e-4", 2.3e-4, None),
        ("5.3E-6mbar", 5.3e-6, Some(Millibar)),
        ("hangs at 40 microns now", 40.0, Some(Micron)),
        ("0.6 mtorr all night", 0.6, Some(Millitorr)),
        ("0.6 m torr all night", 0.6, Some(Millitorr)),
        (".5 mTorr", 0.5, Some(Millitorr)),
        ("10^-6 torr", 1e-6, Some(Torr)),
        ("10⁻⁶", 1e-6, None),
        ("Four point two E minus five, and a tape", 4.2e-5, None),
        ("Four minus six and rising", 4e-6, None),
        ("~3e-6", 3e-6, None),
        ("base=3e-6", 3e-6, None),
        ("2.0-6", 2e-6, None),
        ("2.10-6", 2.1e-6, None),
        ("stuck at 5,3-7 mbar", 5.3e-7, Some(Millibar)),
        ("4.2-5 torr since noon", 4.2e-5, Some(Torr)),
        ("4.e-5 torr", 4e-5, Some(Torr)),
        ("4x10(-5) torr", 4e-5, Some(Torr)),
        ("4e-5/mbar", 4e-5, Some(Millibar)),
        ("4 microns of mercury", 4.0, Some(Micron)),
        // Slips of the hand.
        ("4e-5 mabr", 4e-5, Some(Millibar)),
        ("4e-5 tor", 4e-5, Some(Torr)),
        ("4e-5 mbr", 4e-5, Some(Millibar)),
        ("4e-5 torn foil", 4e-5, None),
    ] {
        let reading = one(text);
        assert_eq!(ends(&reading), (value, value), "{text:?}");
        assert_eq!(reading.unit, unit, "{text:?}");
        assert!(!reading.bounded, "{text:?}");
    }
}

#[test]
fn parts_of_a_decade_and_ranges_are_read() {
    for (text, low, high, bounded) in [
        ("mid -6s torr", 3.3e-6, 6.6e-6, false),
        ("low e-7", 1e-7, 3.3e-7, false),
        ("high 10^-6 range", 6.6e-6, 1e-5, false),
        ("in the -6 range", 1e-6, 1e-5, false),
        ("between 1e-6 and 1e-5 torr", 1e-6, 1e-5, true),
        ("1e-6..1e-5 torr", 1e-6, 1e-5, true),
        ("base varies 1.7 to 4.4e-6", 1.7e-6, 4.4e-6, true),
        ("1e-6-1e-5", 1e-6, 1e-5, true),
    ] {
        let reading = one(text);
        assert_eq!(ends(&reading), (low, high), "{text:?}");
        assert_eq!(reading.bounded, bounded, "{text:?}");
    }
    let above = one("> 1e-5 torr");
    assert!(above.high.is_infinite() && above.bounded);
    assert_eq!(ends(&one("<= 2e-6")).1, 2e-6);
}

#[test]
fn what_was_before_is_told_from_what_is_now() {
    let told = |text: &str| {
        let found = readings(text);
        found.iter().map(|reading| reading.told).collect::<Vec<_>>()
    };
    assert_eq!(told("2e-6 mbar, was 5e-7"), [Told::Now, Told::Before]);
    assert_eq!(told("5e-6 instead of 3e-7"), [Told::Now, Told::Before]);
    assert_eq!(told("from 5e-7 to 4e-5 torr"), [Told::Before, Told::Now]);
    assert_eq!(told("it was stuck at 4e-5"), [Told::Now]);
    assert_eq!(told("normally 4e-7, now 3e-6"), [Told::Before, Told::Now]);
    assert_eq!(told("4e-5, 5e-7 before"), [Told::Now, Told::Before]);
    assert_eq!(
        told("was 5e-7 before, 4e-5 torr now"),
        [Told::Before, Told::Now]
    );
    assert_eq!(told("4e-5 before the regen"), [Told::Now]);
    // By itself too.
    assert_eq!(told("up from 3e-7"), [Told::Before]);
    assert_eq!(
        told("up from 7e-7 friday, 2.1e-6"),
        [Told::Before, Told::Now]
    );
    assert_eq!(told("since yesterday 4e-5"), [Told::Now]);
    assert_eq!(told("4e-5 a day after the foil"), [Told::Now]);
    // In the foreline, whatever is named besides.
    for text in [
        "250 mTorr foreline scroll",
        "4 microns of mercury in foreline",
        "130 mtorr at the turbo exhaust",
    ] {
        assert_eq!(told(text), [Told::Elsewhere], "{text}");
    }
    assert_eq!(told("250 mtorr foreline valve shut"), [Told::Now]);
}

#[test]
fn heights_of_a_pasted_spectrum_are_no_pressures_and_its_masses_are_read() {
    for (text, pressures, masses) in [
        ("RGA 18=8.1e-7 28=2e-8 32=1e-9 40=1e-9", 0, &[18.0][..]),
        ("m/e 2: 3e-9, 18: 4e-7, 28: 6e-8", 0, &[18.0, 28.0]),
        ("4e-6 torr, 18=8e-7 28=7e-7", 1, &[18.0, 28.0]),
        ("base=3e-6", 1, &[]),
        ("06:12 4.2e-6; 06:42 4.1e-6", 2, &[]),
        ("gauge 1: 4e-6, gauge 2: 5e-6", 2, &[]),
    ] {
        assert_eq!(readings(text).len(), pressures, "{text}");
        let found = quantities(text, &[]).into_iter();
        let found: Vec<f64> = found.map(|quantity| quantity.value).collect();
        assert_eq!(found, masses, "{text}");
    }
}

#[test]
fn the_end_of_a_pressure_is_no_word_of_a_phrase() {
    for (text, rest) in [
        ("mbar after reload", " after reload"),
        ("Torr by evening", " by evening"),
        ("minus six", ""),
        ("minus six all night", " all night"),
        ("foil after reload", "foil after reload"),
        ("on the door", "on the door"),
    ] {
        assert_eq!(&text[tail(text)..], rest, "{text}");
    }
}

#[test]
fn pieces_of_a_number_are_no_words() {
    let read = analysis().read("seals at 9,800 h, 1.4 A, posts 1,2");
    let words = read.words.iter().filter(|word| !word.common);
    let words: Vec<&str> = words.map(|word| &*word.plain).collect();
    assert_eq!(words, ["seals", "h", "posts", "1", "2"]);
}

#[test]
fn a_pressure_typed_again_counts_once() {
    let asked = |typed: &str| {
        let asked = Understood::new(typed, &analysis(), &Vocabulary::default());
        asked.pressures.len()
    };
    assert_eq!(asked("4e-6 4e-6 4e-6 4e-6 foil"), 1);
    assert_eq!(asked("06:12 HV 4.2E-6; 06:42 4.1E-6; 07:12 4.1E-6"), 1);
    assert_eq!(asked("4e-6 torr, was 4e-7"), 2);
    assert_eq!(asked("4e-6 mbar 4e-6 torr"), 2);
}

#[test]
fn what_is_no_pressure_is_not_read_as_one() {
    for text in [
        "tested with 5 bar for half hour",
        "leak 3e-8 mbar l/s",
        "leak 3e-8 mbar·l/s",
        "2e-9 std cc/s",
        "1e-7 Pa m3/s",
        "BRK-04 on 2025-03-04 at 07:40",
        "post 3 turns, 28/32 is 4:1",
        "1.5e-3 A emission",
        "KF-25",
        "e-beam",
        "120 l/s",
        "",
        "-",
        "e",
        "mid",
    ] {
        assert_eq!(readings(text), [], "{text:?}");
    }
}

/// A text, what it is read as: lower and upper end, none where open, in its own unit, and the unit.
type Bounded = (&'static str, Option<f64>, Option<f64>, Option<PressureUnit>);

#[test]
fn rates_and_flows_are_found_whole() {
    for (text, rate) in [
        ("rise 2e-5 torr/min, door", "2e-5 torr/min"),
        ("3e-6 mbar l/s", "3e-6 mbar l/s"),
        ("1.2e-5 Pa·m3/s at the door", "1.2e-5 Pa·m3/s"),
        ("climbing 1e-6 a day", "1e-6 a day"),
        ("2e-6 torr per hour", "2e-6 torr per hour"),
        ("5e-6 torr", ""),
    ] {
        let found = rates(text).into_iter().next();
        assert_eq!(found.map_or("", |place| &text[place]), rate, "{text}");
    }
}

#[test]
fn bounds_are_read_as_people_say_them() {
    use PressureUnit::{Millibar, Millitorr, Pascal, Torr};
    let rows: &[Bounded] = &[
        ("below 1e-6 torr", None, Some(1e-6), Some(Torr)),
        ("under 2e-7", None, Some(2e-7), None),
        ("less than 1e-6", None, Some(1e-6), None),
        ("lower than 1e-6 mbar", None, Some(1e-6), Some(Millibar)),
        ("better than 5e-7", None, Some(5e-7), None),
        ("at most 3e-6", None, Some(3e-6), None),
        ("up to 1e-5 torr", None, Some(1e-5), Some(Torr)),
        ("max 1e-5", None, Some(1e-5), None),
        ("1e-5 max", None, Some(1e-5), None),
        ("1e-6 or less", None, Some(1e-6), None),
        ("1e-6 torr or better", None, Some(1e-6), Some(Torr)),
        ("no more than 1e-5", None, Some(1e-5), None),
        ("not above 1e-5", None, Some(1e-5), None),
        ("base below about 1e-6", None, Some(1e-6), None),
        ("above 1e-5", Some(1e-5), None, None),
        ("over 4e-5 mbar", Some(4e-5), None, Some(Millibar)),
        ("stuck above 1e-5", Some(1e-5), None, None),
        ("more than 4e-5", Some(4e-5), None, None),
        ("greater than 10 mtorr", Some(10.0), None, Some(Millitorr)),
        ("worse than 1e-5", Some(1e-5), None, None),
        ("at least 1e-5", Some(1e-5), None, None),
        ("upwards of 1e-5", Some(1e-5), None, None),
        ("no less than 1e-5", Some(1e-5), None, None),
        ("1e-5 or more", Some(1e-5), None, None),
        ("1e-5 or worse", Some(1e-5), None, None),
        ("1e-5 and up", Some(1e-5), None, None),
        ("exceeding 2e-4 Pa", Some(2e-4), None, Some(Pascal)),
        (">= 1e-5", Some(1e-5), None, None),
        ("≤ 1e-6", None, Some(1e-6), None),
        ("> 1e-5 < 1e-4", Some(1e-5), Some(1e-4), None),
        (
            "above 1e-5 but below 1e-4 torr",
            Some(1e-5),
            Some(1e-4),
            Some(Torr),
        ),
        ("over 1e-5 and under 1e-4", Some(1e-5), Some(1e-4), None),
        (
            "less than 1e-4, more than 1e-5",
            Some(1e-5),
            Some(1e-4),
            None,
        ),
        ("1e-6 – 1e-5 torr", Some(1e-6), Some(1e-5), Some(Torr)),
        ("1e-6 — 1e-5", Some(1e-6), Some(1e-5), None),
        ("1e-6 .. 1e-5", Some(1e-6), Some(1e-5), None),
        ("1e-6…1e-5", Some(1e-6), Some(1e-5), None),
        ("1e-6 through 1e-5", Some(1e-6), Some(1e-5), None),
        ("between 1e-5 and 1e-6", Some(1e-6), Some(1e-5), None),
        (
            "between 5 and 20 mtorr",
            Some(5.0),
            Some(20.0),
            Some(Millitorr),
        ),
        ("5 to 20 mtorr", Some(5.0), Some(20.0), Some(Millitorr)),
        ("ranges from 1e-6 to 1e-5", Some(1e-6), Some(1e-5), None),
        ("1e-5..", Some(1e-5), None, None),
        ("..1e-5", None, Some(1e-5), None),
        ("1e-5 torr..", Some(1e-5), None, Some(Torr)),
        ("1e-5.. torr", Some(1e-5), None, Some(Torr)),
        ("..2e-6 mbar", None, Some(2e-6), Some(Millibar)),
        ("..40 mtorr", None, Some(40.0), Some(Millitorr)),
    ];
    for (text, low, high, unit) in rows {
        let reading = one(text);
        assert!(reading.bounded, "{text:?}");
        let (own_low, own_high) = ends(&reading);
        match low {
            Some(low) => assert_eq!(own_low, *low, "{text:?}"),
            None => assert!(reading.low.is_infinite(), "{text:?}"),
        }
        match high {
            Some(high) => assert_eq!(own_high, *high, "{text:?}"),
            None => assert!(reading.high.is_infinite(), "{text:?}"),
        }
        assert_eq!(reading.unit, *unit, "{text:?}");
        // Words of a bound are not searched for besides.
        let words = analysis().read(text).words;
        let searched: Vec<_> = words.iter().filter(|word| !word.common).collect();
        let beside = ["stuck", "base", "ranges"];
        assert!(
            searched.iter().all(|word| beside.contains(&&*word.plain)),
            "{text:?}: {searched:?}"
        );
    }
}

#[test]
fn what_a_reading_will_not_pass_keeps_nothing_out() {
    for (text, value) in [
        ("won't go below 5.3E-5 mbar", 5.3e-5),
        ("cannot get under 4e-5", 4e-5),
        ("never below 1e-6", 1e-6),
        ("does not reach below 2e-6", 2e-6),
        ("no better than 4e-5", 4e-5),
        ("not below 4e-5", 4e-5),
        ("took hours to get below 1e-5", 1e-5),
        ("went over 1e-4", 1e-4),
        ("rose above 1e-4", 1e-4),
        ("went up to 4e-5", 4e-5),
        ("unable to pump below 3e-6", 3e-6),
        // A pause is no open range.
        ("stuck at 4e-5..", 4e-5),
        ("4e-5... gate open", 4e-5),
        ("hm ...4e-5", 4e-5),
        ("no idea. 4e-5 again", 4e-5),
    ] {
        let reading = one(text);
        assert!(!reading.bounded, "{text:?}");
        assert_eq!(ends(&reading), (value, value), "{text:?}");
    }
}

#[test]
fn any_unit_and_any_spelling_is_read() {
    // Pascals: prefixes after the SI brochure, torr and psi after NIST SP 811 appendix B.8.
    for (text, pascals) in [
        ("5.3 mPa", 5.3e-3),
        ("5.3 MPA", 5.3e-3),
        ("40 µtorr", 5.333e-3),
        ("40 μTorr", 5.333e-3),
        ("40 microtorr", 5.333e-3),
        ("40 micro torr", 5.333e-3),
        ("40 utorr", 5.333e-3),
        ("2 kPa", 2e3),
        ("3 psi", 2.068e4),
        ("3 psia", 2.068e4),
        ("3e-8 bar", 3e-3),
        ("0.3 µbar", 3e-2),
        ("2 ubar", 0.2),
        ("2 microbar", 0.2),
        ("4 nbar", 4e-4),
        ("30 nanotorr", 4e-6),
        ("5 milli torr", 0.6666),
        ("5 milli bar", 5e2),
        ("35 mT", 4.666),
        ("4e-5 T", 5.333e-3),
        ("2 mmHg", 266.6),
        ("2 mm Hg", 266.6),
        ("50 µm Hg", 6.666),
        ("50 µ", 6.666),
        ("0.5 hPa", 50.0),
        ("3e-5 pascal", 3e-5),
        ("20 micropascal", 2e-5),
        ("10-6 torr", 1.333e-4),
        ("2e-006 torr", 2.666e-4),
        ("4 x 10 to the minus 6 torr", 5.333e-4),
        ("4 times ten to the minus six torr", 5.333e-4),
        ("4 exp -6 torr", 5.333e-4),
    ] {
        let reading = one(text);
        let (low, _) = reading.pascals(PressureUnit::Atmosphere);
        let off = 10_f64.powf(low) / pascals - 1.0;
        assert!(
            reading.unit.is_some() && off.abs() < 1e-3,
            "{text:?}: {reading:?}"
        );
    }
    for (text, value) in [
        ("0.00004", 4e-5),
        ("0,00004", 4e-5),
        ("0.000053", 5.3e-5),
        (".00002", 2e-5),
        ("0.0000000005", 5e-10),
        ("5.5 minus 6", 5.5e-6),
        ("4 minus 6", 4e-6),
        ("4 minus six", 4e-6),
        ("4.2 e minus 5", 4.2e-5),
        ("fives of ten to minus five", 5e-5),
        ("5 x ten to the minus 6", 5e-6),
        ("ten to the minus six", 1e-6),
        ("4 -5", 4e-5),
        ("4 -5 now", 4e-5),
        ("5 e -6", 5e-6),
    ] {
        assert_eq!(ends(&one(text)), (value, value), "{text:?}");
    }
    for (text, low, high) in [
        ("10-6 range", 1e-6, 1e-5),
        ("minus six range", 1e-6, 1e-5),
        ("e-6 torr", 1e-6, 1e-5),
        ("mid 6s", 3.3e-6, 6.6e-6),
        ("low sixes", 1e-6, 3.3e-6),
        ("high fives torr", 6.6e-5, 1e-4),
        ("a few ten-to-minus-six", 1e-6, 1e-5),
        ("low minus sixes", 1e-6, 3.3e-6),
        ("1e-6 torr range", 1e-6, 1e-5),
    ] {
        assert_eq!(ends(&one(text)), (low, high), "{text:?}");
    }
    for text in [
        "water held 5 bar",
        "45 psi air",
        "0.5 MPa",
        "25 inHg",
        "waited 4 -5 hours",
        "10-12 hours",
        "0.0005 mm",
        "0.0002 %",
        "slots 2 -7 swapped",
        "No helium response > 5e-11 anywhere",
        "helium leak rate 3e-9",
        "3 turns",
        "10-6",
        "4 - 5 screws",
        "T 40",
    ] {
        assert_eq!(readings(text), [], "{text:?}");
    }
}

#[test]
fn before_and_after_are_told_apart_however_it_is_put() {
    use Told::{Before, Now};
    for (text, expected) in [
        ("was 3e-7 now 4e-5", [Before, Now]),
        ("was 3e-7, now 4e-5", [Before, Now]),
        ("now 4e-5, was 3e-7", [Now, Before]),
        ("now 4e-5 was 3e-7", [Now, Before]),
        ("was 3e-7 is 4e-5", [Before, Now]),
        ("4e-5 up from 3e-7", [Now, Before]),
        ("4e-5, up from 3e-7", [Now, Before]),
        ("3e-7 down from 4e-5", [Now, Before]),
        ("last week 3e-7, today 4e-5", [Before, Now]),
        ("yesterday 3e-7, today 4e-5", [Before, Now]),
        ("yesterday 3e-7 today 4e-5", [Before, Now]),
        ("3e-7 yesterday, 4e-5 today", [Before, Now]),
        ("3e-7 yesterday 4e-5 today", [Before, Now]),
        ("3e-7 last week, now 4e-5", [Before, Now]),
        ("3e-7 two weeks ago, 4e-5 now", [Before, Now]),
        ("4e-5 today, 3e-7 yesterday", [Now, Before]),
        ("used to be 3e-7 now 4e-5", [Before, Now]),
        ("went from 3e-7 to 4e-5", [Before, Now]),
        ("went 3e-7 to 4e-5", [Before, Now]),
        ("3e-7 went to 4e-5", [Before, Now]),
        ("3e-7 jumped up to 4e-5", [Before, Now]),
        ("3e-7 -> 4e-5", [Before, Now]),
        ("3e-7 → 4e-5", [Before, Now]),
        ("3e-7 => 4e-5 torr", [Before, Now]),
        ("rose from 3e-7 to 4e-5 overnight", [Before, Now]),
        ("before 3e-7 after 4e-5", [Before, Now]),
        ("normally 3e-7, today 4e-5", [Before, Now]),
        ("3e-7 is normal, 4e-5 now", [Before, Now]),
        ("4e-5 instead of 3e-7", [Now, Before]),
        ("4e-5 vs 3e-7", [Now, Before]),
        ("4e-5, should be below 3e-7", [Now, Before]),
        ("4e-5 not 3e-7", [Now, Before]),
        ("monday 3e-7, today 4e-5", [Before, Now]),
        ("base 4e-5 (3e-7 before)", [Now, Before]),
        ("2e-6 where it was 3e-7", [Now, Before]),
        ("4e-5 at 3 pm, 5e-5 at 4 pm", [Now, Now]),
    ] {
        let found = readings(text);
        let told: Vec<_> = found.iter().map(|reading| reading.told).collect();
        assert_eq!(told, expected, "{text:?}: {found:?}");
        assert!(found.iter().all(|reading| !reading.bounded), "{text:?}");
    }
    // No fault is half of what was healthy: what fell was the fault, and what it fell to a test.
    for text in [
        "dropped from 4e-5 to 3e-7",
        "fell from 8e-6 torr to 7e-7 torr",
        "drops 9e-6 -> 2e-6 when rougher on",
        "went from 1e-2 Pa to 9e-6 mbar",
    ] {
        let found = readings(text);
        let told: Vec<_> = found.iter().map(|reading| reading.told).collect();
        assert_eq!(told, [Now, Told::Aside], "{text:?}: {found:?}");
    }
    for text in [
        "yesterday 4e-5",
        "4e-5 since last week",
        "it was 4e-5 at noon",
        "4e-5 yesterday",
    ] {
        assert_eq!(one(text).told, Now, "{text:?}");
    }
}

/// What a query asks for beside words, as numbers, is not searched for again in its parts.
#[test]
fn parts_of_a_quantity_are_no_words() {
    let index = index_of(&["mass 40 after 1.5 h at 400 watts, 18 K"]);
    let vocabulary = index.vocabulary(&index.reader.searcher()).expect("words");
    for (text, words) in [
        ("mass 40", &[][..]),
        ("40 amu", &[]),
        ("m/z=28", &[]),
        ("28/32/40", &[]),
        ("1.5h", &[]),
        ("1:30 h", &[]),
        ("1h 30", &[]),
        ("turbo 400 watts", &["turbo"]),
        ("0.4kW", &[]),
        ("mass18", &[]),
        ("stuck 40 min", &["stuck"]),
        ("below 1e-6 torr foil", &["foil"]),
        ("5.3 mPa", &[]),
        ("0.00004 foil", &["foil"]),
    ] {
        let asked = Understood::new(text, &analysis(), &vocabulary);
        let shown: Vec<_> = asked.wanted.iter().map(|wanted| &*wanted.shown).collect();
        assert_eq!(shown, words, "{text:?}");
        let denied = asked
            .remarks()
            .iter()
            .any(|told| !words.iter().any(|word| told.to_string().contains(word)));
        assert!(!denied, "{text:?}: {:?}", asked.remarks());
    }
}

fn terms(text: &str) -> Vec<String> {
    analysis()
        .read(text)
        .terms()
        .map(|(term, _)| term)
        .collect()
}

#[test]
fn what_is_ruled_out_is_marked_and_faults_are_not() {
    for (text, ruled_out) in [
        ("no water seen", "!water"),
        ("gate valve ruled out", "!+gate"),
        ("ruled out the gate valve", "!+valv"),
        ("no sign of water", "!water"),
        ("linear, door fine", "!door"),
        ("it is not the gauge", "!gaug"),
        ("tip seals therefore not guilty", "!+seal"),
        ("both doors are clean", "!door"),
        ("no big leak", "!leak"),
        ("no water leak", "!water"),
    ] {
        let terms = terms(text);
        assert!(terms.contains(&ruled_out.to_owned()), "{text:?}: {terms:?}");
        let plain = ruled_out.trim_start_matches(['!', '+']).to_owned();
        assert!(!terms.contains(&plain), "{text:?}: {terms:?}");
    }
    for (text, plain) in [
        ("vent valve does not seal", "seal"),
        ("stage will not turn", "turn"),
        ("no longer reaches base", "reach"),
        ("cathode not lit", "lit"),
        ("no helium, foil under the door", "foil"),
        ("no water but a hair on the seal", "hair"),
        ("no action except that all water was shut", "water"),
        // What is lacking is told apart from what is fine.
        ("no flow in the line", "-flow"),
        ("stage will not turn", "-turn"),
    ] {
        let terms = terms(text);
        assert!(terms.contains(&plain.to_owned()), "{text:?}: {terms:?}");
    }
}

/// `The valve` of which a text said before which it is, is no other valve.
#[test]
fn what_was_named_before_is_ruled_out_and_no_other_of_its_kind() {
    for (text, held) in [
        (
            "thought the slit valve had gone, but it was not the valve",
            "!+valv",
        ),
        ("not past the cryo's own valves", "!+valv"),
        ("it was not the valve", "!valv"),
        ("slit valve shut, not the valves", "!valv"),
    ] {
        let terms = terms(text);
        assert!(terms.contains(&held.to_owned()), "{text:?}: {terms:?}");
    }
}

/// What is said not to work is faulty, however that is put, and no lack of a fault.
#[test]
fn a_lack_that_is_the_fault_itself_is_found_by_its_other_names() {
    let index = index_of(&[
        "alarm working again",
        "alarm faulty",
        "horn works",
        "horn failed",
        "horn inoperative",
    ]);
    assert_eq!(found(&index, "alarm not working")[0], 2);
    let horns = found(&index, "horn doesn't work");
    assert_eq!(horns[..2].iter().max(), Some(&5), "{horns:?}");
    assert_eq!(horns[..2].iter().min(), Some(&4), "{horns:?}");
}

/// What no case says to be so, but one denies, is shown as that.
#[test]
fn what_is_only_denied_is_shown_as_denied() {
    let index = index_of(&["no power cut here", "foil on the door"]);
    let told = answer(&index, "power cut");
    let relaxing = Request {
        text: "power cut".to_owned(),
        limit: 10,
        relax: true,
        ..Request::default()
    };
    let relaxed = index
        .search(&Asker::console(), &relaxing)
        .expect("an answer");
    assert!(told.total == 1 || relaxed.total == 1, "{relaxed:?}");
    assert_eq!(relaxed.hits[0].number, 1);
}

fn concept_of(text: &str) -> Vec<String> {
    let mut terms: Vec<_> = terms(text)
        .into_iter()
        .filter(|term| term.starts_with('='))
        .collect();
    terms.truncate(1);
    terms
}

#[test]
fn words_of_the_trade_that_mean_the_same_share_a_term() {
    for (a, b) in [
        ("foreline", "backing lines"),
        ("o ring", "oring"),
        ("O-rings", "elastomer seal"),
        ("cryo", "cryopump"),
        ("pumpdown", "pump-down"),
        ("cathode gauge", "cold cathode"),
        ("regen", "regeneration"),
        ("40min", "40 minutes"),
    ] {
        assert_eq!(concept_of(a), concept_of(b), "{a:?} and {b:?}");
        assert!(!concept_of(a).is_empty(), "{a:?}");
    }
}

#[test]
fn a_narrower_word_is_found_by_the_wider_and_not_the_other_way() {
    let wide = concept_of("backing pump");
    assert!(terms("scroll pump").contains(&wide[0]));
    let narrow = concept_of("scroll pump");
    assert!(!terms("backing pump").contains(&narrow[0]));
}

#[test]
fn mistakes_in_the_word_list_are_told_with_their_line() {
    let text = "\
[[same]]
words = [\"alpha\", \"beta\"]
basis = \"\"

[[same]]
words = [\"gamma\", \"Betas\", \"the\"]
basis = \"common practice, no source\"

[[narrower]]
words = [\"alpha\"]
than = \"beta\"
basis = \"common practice, no source\"
";
    let mistakes = WordList::parse("words.toml", text)
        .expect_err("it is wrong")
        .0;
    let lines: Vec<_> = mistakes.iter().map(|mistake| mistake.line).collect();
    assert_eq!(lines, [3, 6, 6, 10], "{mistakes:?}");
    let broken = WordList::parse("words.toml", "\n[[same]]\nword = 1\n").expect_err("wrong");
    assert_eq!(broken.0[0].path, "words.toml");
    assert!(broken.0[0].line >= 2);
    let circle = "\
[[narrower]]
words = [\"alpha\"]
than = \"beta\"
basis = \"x\"
[[narrower]]
words = [\"beta\"]
than = \"alpha\"
basis = \"x\"
";
    assert!(WordList::parse("words.toml", circle).is_err());
}

#[test]
fn phrases_minus_and_field_words_are_taken_out_of_the_query() {
    let query = parse("foil \"door seal\" -gauge cause:\"tape or foil\" tool:BRK-04 kind:air-leak");
    assert!(query.plain.contains("foil") && !query.plain.contains("gauge"));
    assert_eq!(query.phrases[0].text, "door seal");
    assert_eq!(query.left_out[0].text, "gauge");
    assert_eq!(query.required[0].text, "tape or foil");
    assert_eq!(query.named[0].value, "BRK-04");
    assert_eq!(query.named[1].value, "air-leak");
    let query = parse("pressure:1e-6..1e-5 torr water");
    assert!(query.pressures[0].0.bounded);
    assert_eq!(query.pressures[0].0.unit, Some(PressureUnit::Torr));
    assert!(query.plain.contains("water"));
    assert_eq!(parse("mid -6s 07:40 \"open").phrases, []);
    for (typed, left) in [("cause:", ""), ("foil pressure: ", "foil"), ("proof:", "")] {
        let query = parse(typed);
        let plain = query.plain.replace(';', "");
        assert_eq!(plain.trim(), left, "{typed}");
        assert!(query.required.is_empty() && query.pressures.is_empty());
        assert!(
            query.remarks[0]
                .to_string()
                .contains("has nothing behind it"),
            "{typed}"
        );
    }
}

#[test]
fn a_hundred_kilobytes_and_ten_thousand_words_are_answered() {
    let index = SearchIndex::in_memory(analysis()).expect("an index in memory");
    let words: String = (0..10_000).map(|n| format!("wrd{n} ")).collect();
    for text in ["x".repeat(100_000), "foreline ".repeat(12_000), words] {
        let request = Request {
            text,
            relax: true,
            ..Request::default()
        };
        let answer = index
            .search(&Asker::console(), &request)
            .expect("an answer");
        assert_eq!(answer.total, 0);
        let cut = answer.understood.remarks().iter();
        assert!(
            cut.into_iter()
                .any(|told| told.to_string().contains("first 2000 characters"))
        );
    }
}

fn whole(analysed: &Analysed, text: &str) -> bool {
    let words = analysed.words.iter().map(|word| &word.place);
    let readings = analysed.readings.iter().map(|reading| &reading.place);
    words
        .chain(readings)
        .all(|place| text.get(place.clone()).is_some_and(|part| !part.is_empty()))
}

proptest! {
    #[test]
    fn any_text_is_read_without_panic_and_with_places_inside_it(text in ".{0,200}") {
        let analysed = analysis().read(&text);
        prop_assert!(whole(&analysed, &text));
        let _ = parse(&text);
    }

    #[test]
    fn text_like_queries_is_read_without_panic(
        text in "([0-9]{1,3}|[.,]|[eExX^*-]|10|torr|mbar|between|and|to|\\.\\.|\"|-|[a-z]+:|no|not|ruled out|⁻⁶|·|mid|minus|six| ){0,40}"
    ) {
        let analysed = analysis().read(&text);
        prop_assert!(whole(&analysed, &text));
        for reading in &analysed.readings {
            prop_assert!(reading.low <= reading.high || reading.low.is_infinite());
            prop_assert!(!reading.low.is_nan() && !reading.high.is_nan());
        }
        let ends: Vec<_> = analysed.readings.iter().map(|r| r.place.clone()).collect();
        prop_assert!(ends.windows(2).all(|pair| pair[0].end <= pair[1].start));
        let _ = parse(&text);
    }

    #[test]
    fn what_is_printed_is_read_back(value in 1.0e-9_f64..9.0e2, unit in 0_usize..6) {
        let unit = PressureUnit::ALL[unit];
        let text = format!("stuck at {value:.2e} {unit} since noon");
        let reading = one(&text);
        prop_assert_eq!(reading.unit, Some(unit));
        prop_assert!((10_f64.powf(reading.low) / value - 1.0).abs() < 0.01);
    }
}

fn told(number: i64, symptom: &str, power: f64) -> Entry {
    Entry {
        number,
        revision: 1,
        status: "closed",
        tool: "T-01".to_owned(),
        site: "T".to_owned(),
        class: "cryo-evaporator".to_owned(),
        kind: None,
        cause: None,
        occurred_at: number,
        symptom: symptom.to_owned(),
        cause_text: String::new(),
        fix: "door seal cleaned".to_owned(),
        notes: String::new(),
        facts: String::new(),
        circumstances: Circumstances::default(),
        unit: PressureUnit::Pascal,
        pressures: vec![Measured {
            power,
            when: When::Fault,
            shown: Shown::Text(String::new()),
        }],
        quantities: Vec::new(),
        ..Entry::of_text(number, symptom)
    }
}

/// An index as version 5 made it, which had pressures and times as terms too and no signs unseen,
/// is searched until the new one is whole.
#[test]
fn an_index_of_version_5_is_searched_while_a_new_one_is_filled() {
    let folder = tempfile::tempdir().expect("a folder");
    let catalogue = crate::catalogue::source::built_in().expect("the catalogue");
    let standing = Standing::new(7, 2, &catalogue);
    let shelf = Shelf::open(folder.path()).expect("a shelf");
    let analysis = analysis();
    let (own, fields) = schema();
    let mut older = Schema::builder();
    let newer = |name: &str| [UNSEEN, ELSEWHERE].contains(&name);
    for (_, entry) in own.fields().filter(|(_, entry)| !newer(entry.name())) {
        match entry.field_type() {
            FieldType::F64(_) => older.add_f64_field(entry.name(), INDEXED | FAST),
            FieldType::I64(_) if entry.name() == "occurred_at" => {
                older.add_i64_field(entry.name(), INDEXED | FAST)
            }
            _ => older.add_field(entry.clone()),
        };
    }
    let name = format!("index-5-{:016x}-0", analysis.list().fingerprint());
    let place = folder.path().join(name);
    std::fs::create_dir(&place).expect("a folder");
    let index = Index::create_in_dir(&place, older.build()).expect("an index");
    index.tokenizers().register(
        analysis::NAME,
        TextAnalyzer::from(analysis::Handed::default()),
    );
    let mut writer = index
        .writer_with_num_threads(1, 20 << 20)
        .expect("a writer");
    for (number, text) in [
        (1, "heathfern, stuck at 5e-6 Torr"),
        (2, "heathfern at 4e-3 Torr"),
    ] {
        let document = Entry::of_text(number, text).document(&fields, &analysis);
        writer.add_document(document).expect("added");
    }
    let reached = Reached {
        seq: 2,
        whole: true,
        ..standing.beginning()
    };
    let mut commit = writer.prepare_commit().expect("a commit");
    commit.set_payload(&payload(reached));
    commit.commit().expect("committed");
    drop(writer);

    let found = shelf.find(standing).expect("found");
    assert_eq!(found.why, Some(Why::Outdated));
    assert_eq!(found.target.count(), 0);
    let old = found.old.expect("the old one is searched");
    let request = |text: &str| Request {
        text: text.to_owned(),
        limit: 5,
        ..Request::default()
    };
    let asker = Asker::console();
    let answer = old
        .search(&asker, &request("heathfern"))
        .expect("an answer");
    assert_eq!(answer.total, 2);
    let near = old.search(&asker, &request("heathfern 5e-6 torr"));
    assert_eq!(near.expect("an answer").hits[0].number, 1);
}

/// An index of cases that are told in these words.
fn index_of(symptoms: &[&str]) -> SearchIndex {
    let entries = symptoms.iter().zip(1..);
    let entries: Vec<_> = entries
        .map(|(text, number)| Entry::of_text(number, text))
        .collect();
    let index = SearchIndex::in_memory(analysis()).expect("an index");
    index.add(&entries).expect("added");
    index.commit(Reached::default()).expect("committed");
    index
}

fn answer(index: &SearchIndex, typed: &str) -> Answer {
    let request = Request {
        text: typed.to_owned(),
        limit: 50,
        ..Request::default()
    };
    index
        .search(&Asker::console(), &request)
        .expect("an answer")
}

fn found(index: &SearchIndex, typed: &str) -> Vec<i64> {
    let hits = answer(index, typed).hits;
    hits.iter().map(|hit| hit.number).collect()
}

/// What was read several times counts once.
#[test]
fn a_pressure_typed_again_and_again_is_one() {
    let index = index_of(&["stuck at 4e-6 torr", "foil"]);
    let count = |typed: &str| answer(&index, typed).understood.pressures.len();
    assert_eq!(count("4e-6 4e-6 4e-6 foil"), 1);
    assert_eq!(count("06:12 HV 4.2E-6; 06:42 4.1E-6; 07:12 4.1E-6"), 1);
    assert_eq!(count("4e-6, foreline 4e-2"), 2);
    assert_eq!(count("was 4e-7 now 4e-6"), 2);
}

/// Where every figure was taken out of the texts, as from some open ones, no column finds a time.
#[test]
fn a_quantity_is_searched_as_words_where_no_case_holds_one() {
    let words = index_of(&["number hour service", "brake worn"]);
    assert_eq!(found(&words, "500 hr"), [1]);
    let figures = index_of(&["number hour service", "brake worn", "rose after 40 min"]);
    assert_eq!(found(&figures, "45 min"), [3]);
    assert_eq!(found(&figures, "500 hr"), Vec::<i64>::new());
}

#[test]
fn a_number_sign_names_an_incident_only_by_itself() {
    assert_eq!(parse("#31").named[0].value, "31");
    assert_eq!(parse(" #31. ").named[0].value, "31");
    assert_eq!(parse("#123 foil").named[0].value, "123");
    assert_eq!(parse("#123 foil").plain, " foil");
    for typed in [
        "post #3 hot",
        "fan #6",
        "#2 post",
        "change oil #1",
        "bay #123",
    ] {
        let query = parse(typed);
        assert_eq!(query.named, [], "{typed}");
        assert!(query.plain.contains('#'), "{typed}");
    }
}

/// One person's slip is forgiven to others, and finds what they meant; what others meant finds the slip.
#[test]
fn a_slip_that_somebody_wrote_is_still_a_slip() {
    let mut texts = ["gauge dirty", "shield bent", "stuck again"].repeat(25);
    texts.extend(["guage odd", "sheild odd", "stuk odd", "copse odd"]);
    let index = index_of(&texts);
    for (slip, meant) in [("guage", "gauge"), ("sheild", "shield"), ("stuk", "stuck")] {
        assert_eq!(answer(&index, slip).total, 26, "{slip}");
        assert_eq!(answer(&index, meant).total, 26, "{meant}");
    }
    assert_eq!(answer(&index, "copse").total, 1);
    // Of three letters one that is missing inside.
    let doors = index_of(&["door bent", "dust", "gate open"]);
    assert_eq!(found(&doors, "dor"), [1]);
    assert_eq!(found(&doors, "gat"), Vec::<i64>::new());
}

#[test]
fn words_written_in_one_are_parted_where_nobody_writes_them_so() {
    let index = index_of(&[
        "door seal dirty",
        "elastomer seal hard",
        "door dirty",
        "seal hard",
    ]);
    for (typed, first) in [("doorsealdirty", 1), ("elastomerseal", 2)] {
        let answer = answer(&index, typed);
        assert_eq!(answer.hits[0].number, first, "{typed}");
        let told = answer.understood.remarks().iter();
        let told: String = told.map(ToString::to_string).collect();
        assert!(told.contains("is read as"), "{typed}: {told}");
    }
    let whole = index_of(&["doorseal dirty", "door cold", "seal cold", "door seal"]);
    assert_eq!(answer(&whole, "doorseal").understood.remarks(), []);
}

/// Of a word that nobody wrote, and that is a slip of none, the words most like it are offered.
#[test]
fn a_word_that_no_case_holds_offers_those_most_like_it() {
    let index = index_of(&["vapour in the line", "door cold", "vaporise it"]);
    let request = Request {
        text: "vapourware".to_owned(),
        limit: 5,
        relax: true,
        ..Request::default()
    };
    let asker = Asker::console();
    let answer = index.search(&asker, &request).expect("an answer");
    assert_eq!(answer.hits[0].number, 1);
    assert!(
        answer.relaxed[0].to_string().contains("most like it"),
        "{answer:?}"
    );
    let request = Request {
        text: "zymurgy".to_owned(),
        ..request
    };
    let answer = index.search(&asker, &request).expect("an answer");
    assert_eq!(answer.total, 0);
}

/// Where the short list holds every match, it orders them as weighing all of them does.
#[test]
fn a_short_list_is_ordered_as_the_whole_is() {
    let words = ["foil", "door", "seal", "water", "gate", "slow", "rough"];
    let entries: Vec<_> = (1..=300_i64)
        .map(|number| {
            let symptom: Vec<_> = words
                .iter()
                .enumerate()
                .filter(|(at, _)| (number * 37 + 11) >> at & 1 == 1)
                .map(|(_, word)| *word)
                .collect();
            told(
                number,
                &symptom.join(" "),
                -6.0 + (number % 17) as f64 / 8.0,
            )
        })
        .collect();
    let index = SearchIndex::in_memory(analysis()).expect("an index");
    for part in entries.chunks(120) {
        index.add(part).expect("kept");
        index.commit(Reached::default()).expect("kept");
    }
    let searcher = index.reader.searcher();
    let vocabulary = index.vocabulary(&searcher).expect("words");
    let cryo = Filters {
        class: Some("cryo-evaporator".to_owned()),
        until: Some(250),
        ..Filters::default()
    };
    for (typed, filters, least) in [
        ("foil 2e-5 Pa", Filters::default(), 100),
        ("water at the gate, door seal", Filters::default(), 100),
        ("rough 3e-6 Pa slow", Filters::default(), 100),
        ("water at the gate", cryo.clone(), 100),
        ("foil waterdoor", cryo, 100),
        ("foil -slow symptom:gate", Filters::default(), 5),
        (
            "\"door seal\" gate between 1e-6 and 1e-5 Pa",
            Filters::default(),
            10,
        ),
        ("tool:t-01 foil -water", Filters::default(), 50),
    ] {
        let mut asked = Understood::new(typed, &index.analysis, &vocabulary);
        index
            .name(&searcher, &Names::default(), true, &mut asked)
            .expect("names");
        let plan = index
            .plan(&searcher, &asked, Vec::new(), &filters)
            .expect("a query");
        let near = asked.clone();
        let all = TopDocs::with_limit(300).tweak_score(move |segment: &SegmentReader| {
            let scorer = Scorer::new(&near, segment);
            move |case: DocId, score: Score| score + scorer.worth(case)
        });
        let (whole, total) = searcher
            .search(&plan.whole(), &(all, Count))
            .expect("found");
        let short = index
            .short(&searcher, &asked, &plan, 20)
            .expect("readable")
            .expect("a list");
        let listed = short.found;
        let worded: Vec<_> = whole
            .into_iter()
            .filter(|(_, address)| listed.iter().any(|(_, other)| other == address))
            .collect();
        let close = |a: &(f32, DocAddress), b: &(f32, DocAddress)| (a.0 - b.0).abs() < 1e-4;
        assert!(
            worded.len() == listed.len() && worded.iter().zip(&listed).all(|(a, b)| close(a, b)),
            "{typed}: {worded:?} {listed:?}"
        );
        assert!(
            short.total > least && short.total <= total,
            "{typed}: {} of {total}",
            short.total
        );
        assert!(short.or_more || short.total == total, "{typed}");
    }
}

/// The few best found without weighing each match are the best of all matches weighed.
#[test]
fn a_walk_finds_the_best_of_all() {
    let words = [
        "foil", "door", "seal", "water", "gate", "slow", "rough", "shield", "pump", "magnet",
    ];
    let index = SearchIndex::in_memory(analysis()).expect("an index");
    for segment in 0..3_i64 {
        let entries: Vec<_> = (1..=1_500_i64)
            .map(|number| number + segment * 1_500)
            .map(|number| {
                // Commoner and rarer words, once or several times.
                let mut drawn = number.wrapping_mul(0x9e37_79b9_7f4a_7c15_u64 as i64);
                let mut symptom = String::new();
                for (at, word) in (1_i64..).zip(words) {
                    drawn = drawn
                        .wrapping_mul(6_364_136_223_846_793_005)
                        .wrapping_add(at);
                    let draw = (drawn >> 33).rem_euclid(97);
                    if draw < 97 / at {
                        symptom += &format!("{word} ").repeat(1 + (draw % 3) as usize);
                    }
                }
                let mut entry = told(number, &symptom, -7.0 + (number % 311) as f64 / 90.0);
                if number % 5 == 0 {
                    entry.notes = "gate left open, water on the shield".to_owned();
                }
                entry.unit = [PressureUnit::Torr, PressureUnit::Millibar][(number % 2) as usize];
                if number % 7 == 0 {
                    let power = -8.0 + (number % 13) as f64 / 4.0;
                    entry.pressures.push(Measured {
                        power,
                        when: [When::Fault, When::Before, When::Other][(number % 3) as usize],
                        shown: Shown::Text(String::new()),
                    });
                }
                entry
            })
            .collect();
        index.add(&entries).expect("kept");
        index.commit(Reached::default()).expect("kept");
    }
    let searcher = index.reader.searcher();
    let vocabulary = index.vocabulary(&searcher).expect("words");
    for typed in [
        "foil",
        "magnet",
        "foil door seal water gate slow rough shield pump magnet",
        "slow pump, water at the gate 2e-6 Pa",
        "foil magnet 3e-6, was 2e-7 before",
        "4e-7 mbar",
        "door seal low e-7 torr, 8e-6 Pa shield",
        "pump magnet -foil",
        "shield symptom:magnet 5e-7",
        "gatevalve waterdoor shields between 1e-6 and 1e-4 Pa",
    ] {
        for most in [7, 60] {
            let asked = Understood::new(typed, &index.analysis, &vocabulary);
            let plan = index
                .plan(&searcher, &asked, Vec::new(), &Filters::default())
                .expect("a query");
            let near = asked.clone();
            let top = TopDocs::with_limit(most).tweak_score(move |segment: &SegmentReader| {
                let scorer = Scorer::new(&near, segment);
                move |case: DocId, score: Score| score + scorer.worth(case)
            });
            let whole = searcher.search(&plan.whole(), &top).expect("found");
            let allowed = Allowed::new(&searcher, &plan).expect("readable");
            let roughs = index.roughs.of(&searcher);
            let best = walk::best(&searcher, &plan, &allowed, &asked, &roughs, most)
                .expect("readable")
                .sorted();
            let close = |a: &(f32, DocAddress), b: &(f32, DocAddress)| (a.0 - b.0).abs() < 1e-3;
            assert!(
                best.len() == whole.len() && best.iter().zip(&whole).all(|(a, b)| close(a, b)),
                "{typed}: {best:?} {whole:?}"
            );
        }
    }
}

/// What a logger's file has around its figures is no pressure, and no figure is lost by a comma.
#[test]
fn lines_of_a_logger_are_read() {
    for (text, unit) in [
        ("2026-11-30T06:40:12 4.20E-06", None),
        ("2026-11-30T06:40:12,4.20E-06", None),
        ("1764484812,4.20E-06", None),
        ("06:40,4.2e-06", None),
        (
            "2026-11-30 06:40:12,HV1,4.20E-06,Torr",
            Some(PressureUnit::Torr),
        ),
        (
            "2024-10-08T09:15:00Z; 4.2e-06;mbar",
            Some(PressureUnit::Millibar),
        ),
    ] {
        let found = one(text);
        assert!(!found.bounded, "{text}: {found:?}");
        assert!(
            (found.low - 4.2e-6_f64.log10()).abs() < 1e-9,
            "{text}: {found:?}"
        );
        assert_eq!(found.unit, unit, "{text}");
    }
    assert_eq!(readings("2024-10-08T09:15:00Z foil"), []);
}

/// A pair that is told of the foreline is read there, and what it was before is nothing of the chamber.
#[test]
fn both_figures_of_a_foreline_are_read_there() {
    for text in [
        "foreline from 40 to 200 mtorr",
        "foreline 40 -> 200 mtorr",
        "foreline up from 40 mtorr to 200 mtorr",
    ] {
        let told: Vec<_> = readings(text).iter().map(|reading| reading.told).collect();
        assert_eq!(told, [Told::Aside, Told::Elsewhere], "{text}");
    }
    for text in [
        "foreline: 0.2 mbar",
        "foreline (0.2 mbar)",
        "foreline pressure: 0.2 mbar",
    ] {
        assert_eq!(one(text).told, Told::Elsewhere, "{text}");
    }
}

/// What a rise came to in some minutes is a rate, and what it rose to a pressure.
#[test]
fn a_rise_within_some_minutes_is_no_pressure() {
    for text in [
        "rise 3e-4 mbar in 10 min",
        "1e-3 torr in 10 min rise",
        "rises 2e-4 mbar in 5 minutes, linear",
    ] {
        assert_eq!(readings(text), [], "{text}");
        assert_eq!(
            crate::search::reading::pressure::rates(text).len(),
            1,
            "{text}"
        );
    }
    assert_eq!(readings("rises to 3e-4 mbar in 10 min").len(), 1);
}

/// A word written apart counts once, as the same written in one does.
#[test]
fn a_word_written_apart_counts_once() {
    let index = index_of(&["crumbs on the door seal", "o ring of the door"]);
    let vocabulary = index.vocabulary(&index.reader.searcher()).expect("words");
    for typed in ["crumbs door o-ring", "crumbs door o ring"] {
        let asked = Understood::new(typed, &analysis(), &vocabulary);
        let part = |wanted: &plan::Wanted| ["o", "ring"].contains(&&*wanted.shown);
        assert!(
            !asked.wanted.iter().any(part),
            "{typed}: {:?}",
            asked.wanted
        );
        assert_eq!(asked.neighbours.len(), 1, "{typed}: {:?}", asked.neighbours);
    }
}

/// How a test was set up denies no cause, and what is said not to be there does.
#[test]
fn a_setting_denies_nothing() {
    let denied = |text: &str| plan::denied(text, &analysis().read(text)).len();
    for text in [
        "no gas flowing",
        "no process gas on, valve shut",
        "no gas on",
    ] {
        assert_eq!(denied(text), 0, "{text}");
    }
    for text in ["no gas in the chamber", "no water on the floor"] {
        assert_eq!(denied(text), 1, "{text}");
    }
}

/// A mass said behind its number not to be there is left out, and thousands of hours are no cold head.
#[test]
fn masses_are_denied_before_and_behind() {
    for (text, masses) in [
        ("mass 18 not there", &[(18.0, true)][..]),
        ("28 peak no 32 peak", &[(28.0, false), (32.0, true)]),
        ("mass 18 there", &[(18.0, false)]),
    ] {
        let found = quantities(text, &[]);
        let told: Vec<_> = found.iter().map(|own| (own.value, own.denied)).collect();
        assert_eq!(told, masses, "{text}");
    }
    for text in ["pump at 12k hours", "hrs meter 10.4k"] {
        assert!(quantities(text, &[]).is_empty(), "{text}");
    }
    assert_eq!(quantities("cold head 12k", &[]).len(), 1);
}

/// An excerpt holds no more than the part that it is headed with.
#[test]
fn an_excerpt_is_of_one_part() {
    let mut entry = Entry::of_text(1, "slow");
    entry.notes = "base 5e-7 again\nflake on the tip\ntip seal kit".to_owned();
    entry.noted = [15, 32, 32, 45, 45];
    let index = index_of(&["slow", "tip seal kit"]);
    let asked = answer(&index, "tip seal").understood;
    let matches = crate::search::Matches::new(&asked, &entry);
    assert_eq!(matches.part, "parts", "{}", matches.excerpt.html());
    assert!(
        !matches.excerpt.html().contains("flake"),
        "{}",
        matches.excerpt.html()
    );
}
