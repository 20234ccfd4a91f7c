//! The program as the tests hold it.

pub mod app;
pub mod process;
pub mod record;
pub mod searching;
