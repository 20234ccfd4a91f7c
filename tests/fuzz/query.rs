//! Words of a search as people type them.

#![no_main]

use std::sync::{Arc, LazyLock};

use coldtrap::{
    casebook::Asker,
    catalogue::source,
    search::{Request, SearchIndex, Shelf, Standing},
};
use libfuzzer_sys::fuzz_target;

/// An index without incidents: what is typed is read in full all the same.
static INDEX: LazyLock<Arc<SearchIndex>> = LazyLock::new(|| {
    let catalogue = source::built_in().expect("the shipped catalogue");
    let shelf = Shelf::in_memory().expect("an index in memory");
    let found = shelf.find(Standing::new(1, 0, &catalogue));
    found.expect("a fresh index").target
});

fuzz_target!(|text: &str| {
    let request = Request {
        text: text.to_owned(),
        limit: 5,
        relax: true,
        ..Request::default()
    };
    let answer = INDEX
        .search(&Asker::console(), &request)
        .expect("an answer");
    assert!(answer.hits.is_empty());
});
