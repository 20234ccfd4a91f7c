//! Requests of calculations as JSON, whole and while they arrive.

#![no_main]

use std::sync::LazyLock;

use coldtrap::{
    calculation::{
        named::{self, Named, Refused},
        sent::SentJson,
    },
    catalogue::source,
    vacuum::residual_gas::Patterns,
};
use libfuzzer_sys::fuzz_target;

static PATTERNS: LazyLock<Patterns> =
    LazyLock::new(|| source::built_in_patterns().expect("the shipped patterns"));

fuzz_target!(|input: (u8, u8, String)| {
    let (which, piece, text) = input;
    let named = Named::ALL[usize::from(which) % Named::ALL.len()];
    let whole = named::run(named, text.as_bytes(), &PATTERNS);
    let mut sent = SentJson::new(named);
    for piece in text.as_bytes().chunks(usize::from(piece).max(1)) {
        sent.push(piece);
    }
    let mut sent = sent.finish();
    let logs = std::mem::take(&mut sent.logs);
    let columns = std::mem::take(&mut sent.columns);
    let arrived = named::run_with(named, &sent.json, logs, columns, &PATTERNS);
    match (whole, arrived) {
        (Ok(whole), Ok(arrived)) => {
            let report = |computed: &named::Computed| computed.report().expect("a report");
            assert_eq!(report(&whole), report(&arrived));
        }
        (Err(Refused::Fields(whole)), Err(Refused::Fields(arrived))) => {
            assert_eq!(whole, arrived);
            assert!(!whole.is_empty());
        }
        (Err(Refused::NotJson(whole)), Err(Refused::NotJson(arrived))) => {
            assert_eq!(whole.line(), arrived.line());
            let column = sent.column_as_sent(arrived.line(), arrived.column());
            assert_eq!(whole.column(), column);
        }
        (whole, arrived) => panic!("{whole:?} in one, {arrived:?} as it arrived"),
    }
});
