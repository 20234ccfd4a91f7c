//! Records of incidents as JSON.

#![no_main]

use std::sync::LazyLock;

use coldtrap::{
    casebook::{read_record, rules},
    catalogue::{Catalogue, source},
};
use libfuzzer_sys::fuzz_target;

static CATALOGUE: LazyLock<Catalogue> =
    LazyLock::new(|| source::built_in().expect("the shipped catalogue"));

fuzz_target!(|text: &str| {
    let Ok(value) = serde_json::from_str(text) else {
        return;
    };
    let (draft, unread) = read_record(&value);
    let now = jiff::Timestamp::from_second(1_800_000_000).expect("a time");
    let described = rules::tool_from_record(&draft, &CATALOGUE, now);
    let context = rules::Context {
        catalogue: &CATALOGUE,
        tool: described.as_ref().ok().map(|(_, tool)| tool),
        now,
    };
    let _ = rules::calculations(&draft.calculations, now);
    let refusals = match rules::accept(&draft, &context) {
        Ok(_) => unread,
        Err(broken) => rules::merged(unread, broken),
    };
    for refusal in refusals {
        assert!(!refusal.field.is_empty() && !refusal.problem.is_empty());
        assert!(!refusal.accepted.is_empty(), "{refusal}");
    }
});
