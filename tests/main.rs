//! The one integration binary: the program from outside, in process, from the command
//! line and in a browser.

#![expect(
    unreachable_pub,
    reason = "nothing of a test binary can be reached from outside"
)]

mod support;

mod advice;
mod askers;
mod attached;
mod browser;
mod calculations;
mod catalogue;
mod command_line;
mod crash;
mod described;
mod door;
mod first_check;
mod fleet;
mod follow;
mod intake;
mod kept_logs;
mod logs;
mod odd_questions;
mod overlay;
mod pages;
mod search;
mod search_fields;
mod search_figures;
mod search_words;
mod statistics;
mod told_alike;
mod verdicts;
mod whole_line;
