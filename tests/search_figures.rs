//! Figures in a search from outside: those of the fault are found, those of what came after the fix, times and
//! dates are not.

use crate::support::{
    app::TestApp,
    searching::{hits, numbers, why},
};

/// Figures of what came after the fix are not those of the fault, and a figure at the fault comes first.
#[tokio::test]
async fn figures_of_what_came_after_the_fix_are_not_the_faults() {
    let app = TestApp::demo().await;
    for (typed, first, not) in [
        ("foreline 45 mtorr", &[134][..], &[257, 301][..]),
        ("foreline 90 microns", &[147], &[257]),
        ("foreline 130 mtorr", &[264], &[]),
        ("foreline 150 microns", &[405, 156, 264], &[]),
        ("foreline 45 Pa", &[136], &[171]),
        (
            "roughing takes 25 minutes usually 12",
            &[192],
            &[126, 145, 133],
        ),
        ("cold head 14 K base doubled", &[415], &[291, 382]),
        ("cryo ok 12K", &[], &[382, 152, 60]),
        ("pump is cold 11K but vacuum bad", &[], &[240, 154, 60]),
        ("12,100 h", &[209], &[3, 272]),
        ("9800 h", &[83], &[]),
        ("mass 57", &[27, 103, 108, 361], &[]),
        ("mass 58", &[42, 65], &[]),
        ("mass 43", &[27, 42, 65, 103, 108, 225, 292, 357], &[]),
        ("mass 40", &[28, 120, 358], &[]),
    ] {
        let found = hits(&app, typed).await;
        let numbers = numbers(&found);
        for (at, own) in first.iter().enumerate() {
            let place = numbers.iter().position(|number| number == own);
            assert!(place.is_some(), "{typed}: {own} of {numbers:?} ({at})");
        }
        for other in not {
            if !numbers.contains(other) {
                continue;
            }
            let why = why(&found, *other);
            let figure = why.contains("near ")
                || why.contains("Torr, ") && why.contains("foreline pressure");
            assert!(!figure, "{typed}: {other}: {why}");
        }
    }
    for typed in ["stuck in roughing 300 mtorr", "roughing stops at 0.3 torr"] {
        let found = hits(&app, typed).await;
        if numbers(&found).contains(&145) {
            assert!(!why(&found, 145).contains("foreline"), "{typed}");
        }
    }
    let far = hits(&app, "foreline 760 torr").await;
    assert!(
        far["remarks"].to_string().contains("in the foreline"),
        "{far}"
    );
}

/// A log pasted as it was printed is searched by what it says, not by when.
#[tokio::test]
async fn times_and_dates_of_a_pasted_log_are_no_words() {
    let app = TestApp::demo().await;
    for typed in [
        "05:40 base 3.1e-6 06:10 rise linear 06:40 door wiped no change 07:00 rougher on drops",
        "2024-05-03 07:12:05 PRESS 4.1E-05 mbar; 07:13:05 PRESS 4.1E-05 mbar; GATE OPEN; FORELINE 2.1E-02",
        "last event: foil change 2025-11-02",
    ] {
        let found = hits(&app, typed).await;
        for hit in found["hits"].as_array().expect("hits") {
            let why = hit["why"].to_string();
            let figures = [
                "05", "06", "07", "10", "11", "12", "13", "40", "00", "02", "2024", "2025",
            ];
            for figure in figures {
                let word = |why: &str| why.split([' ', ',', '"']).any(|word| word == figure);
                assert!(!word(&why), "{typed}: {figure}: {why}");
            }
        }
        assert!(
            !found["remarks"].to_string().contains("202"),
            "{typed}: {found}"
        );
    }
}
