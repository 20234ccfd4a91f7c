//! Logs of pressure against time, whole and in pieces.

#![no_main]

use coldtrap::vacuum::{
    log::{LogOptions, LogReader, read_log, tidy},
    rise::examine,
    units::PressureUnit,
};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: (u8, Vec<u8>)| {
    let (piece, bytes) = input;
    let options = LogOptions {
        pressure_unit: Some(PressureUnit::Millibar),
        ..LogOptions::default()
    };
    let whole = read_log(bytes.as_slice(), &options);
    let mut reader = LogReader::new();
    for piece in bytes.chunks(usize::from(piece).max(1)) {
        reader.push(piece);
    }
    let in_pieces = reader.finish(&options);
    match (whole, in_pieces) {
        (Ok(whole), Ok(in_pieces)) => {
            assert_eq!(whole, in_pieces);
            assert_eq!(whole.seconds.len(), whole.pascals.len());
            assert_eq!(whole.seconds.len(), whole.lines.len());
            // The newest reading may stand first.
            let turned = whole.lines.is_sorted_by(|one, next| one >= next);
            assert!(whole.lines.is_sorted() || turned);
            assert!(whole.pascals.iter().all(|p| p.is_finite() && *p > 0.0));
            assert!(whole.seconds.iter().all(|seconds| seconds.is_finite()));
            let record = tidy(whole);
            assert!(record.seconds.is_sorted());
            let _ = examine(&record, false);
        }
        (Err(whole), Err(in_pieces)) => assert_eq!(whole.to_string(), in_pieces.to_string()),
        (whole, in_pieces) => panic!("{whole:?} in one, {in_pieces:?} in pieces"),
    }
});
