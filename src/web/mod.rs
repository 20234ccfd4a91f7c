//! The outside: pages for people, the API for programs, styles and scripts.
//!
//! Thin: handlers read what was sent, call the domain, the store, the search and the
//! fleet's knowledge, and show what came back. Rules of the domain are not decided here.

mod api;
mod asked_cases;
mod asked_sequence;
mod assets;
mod attaching;
mod computing;
mod door;
mod fault;
mod fields;
mod finding;
mod groupings;
mod guard;
mod holding;
mod pages;
mod plot;
mod replaying;
mod router;
mod show;
mod state;
mod suggesting;
pub mod views;

pub use door::serve;
pub use router::router;
pub use state::App;
