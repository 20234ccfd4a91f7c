//! Pressures as people type them.

#![no_main]

use coldtrap::vacuum::units::{PressureUnit, read_pressure};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let alone = read_pressure(text, None);
    let with_unit = read_pressure(text, Some(PressureUnit::Millibar));
    if let Ok(typed) = &with_unit {
        let pascals = typed
            .pressure()
            .expect("a pressure that was read is one")
            .pascals();
        assert!(
            pascals.is_finite() && pascals >= 0.0,
            "{text:?} gave {pascals} Pa"
        );
        // What is shown is read as the same.
        let again = read_pressure(&typed.to_string(), None).expect("what was shown is read");
        assert_eq!(again, *typed, "{text:?}");
    }
    if let Ok(typed) = alone {
        assert_eq!(with_unit.expect("its own unit counts"), typed, "{text:?}");
    }
});
