//! coldtrap: a fleet-wide incident knowledge base with search, for high-vacuum
//! thin-film tools that no longer reach their base pressure.
//!
//! The code map, in the order data flows, stands in DEVELOPERS.md.

pub mod advice;
pub mod calculation;
pub mod casebook;
pub mod catalogue;
pub mod cli;
pub mod day;
pub mod demo;
pub mod follow;
pub mod intake;
pub mod knowledge;
mod quick;
pub mod refusal;
pub mod replay;
pub mod search;
pub mod statistics;
pub mod store;
pub mod synthesise;
pub mod vacuum;
pub mod web;
