//! What of a record stands against one fall from start to end, found once for all that ask.

use super::interruption::{Interruption, interruption};
use super::limit::{Stop, left_out_at_end, repeats_at_end, rested, stops_at_limit};
use crate::vacuum::log::TidyRecord;

/// Whether a record falls from start to end.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Course {
    /// Where the pressure rose in high vacuum and fell again.
    pub interrupted: Option<Interruption>,
    /// From where on the reading stands still: at a limit of the gauge, or repeated to the last figure.
    pub stands_still: Option<Stop>,
    /// Where a heat-loss gauge rested at its limit before the end, and until when in seconds since pumping began.
    pub rested: Option<(Stop, f64)>,
}

impl Course {
    /// That of a record; of one not [in order](TidyRecord::is_in_order) nothing is found.
    pub fn of(record: &TidyRecord) -> Self {
        if !record.is_in_order() {
            return Self::default();
        }
        Self {
            interrupted: interruption(record),
            stands_still: left_out_at_end(record)
                .or_else(|| stops_at_limit(record))
                .or_else(|| repeats_at_end(record)),
            rested: rested(record),
        }
    }
}
