//! Reads a record of pressure against time as loggers and people write it.
//!
//! Takes CSV, TSV and pasted columns: separated by comma, semicolon, tab, bar or spaces; with a
//! decimal point or comma; with a unit and a scale in the header, beside the number or given apart; with
//! times as ISO 8601, day and clock, clock alone, epoch, elapsed time or days of a spreadsheet. The input
//! comes in pieces of any length ([`LogReader`]): only the readings are kept (20 bytes each, for every
//! column that could be the pressure) and the line begun, never the text.
//!
//! Invariants: nothing is dropped in silence: a line that is not used stands in
//! [`PressureLog::problems`] with its number and reason; what was guessed stands in
//! [`PressureLog::assumed`]. No number is taken from a cell that was not read whole. What a heading says of a
//! unit or scale and is not known here is refused by name, and what the log says goes before what was
//! chosen, with a word. Never panics on any input. Imports only the units.

mod alike;
mod cell;
mod date_order;
mod figures;
mod forward;
mod heading;
mod layout;
mod packed_clock;
mod plain;
mod read;
mod readings;
mod still;
mod table;
mod tidy;
mod time;
mod time_column;
mod unit;
mod wild;

#[cfg(test)]
mod shapes;
#[cfg(test)]
mod tests;

pub use read::{LineProblem, LogError, LogOptions, LogReader, PressureLog, Problems, read_log};
pub use tidy::{Mark, MarkKind, StoodStill, TidyRecord, tidy};
pub(in crate::vacuum) use tidy::{SHORTEST_SPAN, in_order};
pub(in crate::vacuum) use wild::any_apart;
