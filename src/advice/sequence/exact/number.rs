//! Numbers a table can hold: narrow ones, which take half the memory, or wide ones.

use std::ops::{Add, Mul, Sub};

pub(super) trait Number:
    Copy
    + Default
    + PartialOrd
    + Send
    + Sync
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
{
    const INFINITY: Self;
    /// How far the value of a cell can be off for each step that is left of a search, as a
    /// share of all that was added up; 0 if the table is to be taken at its word.
    const SLIP: f64;

    fn of(value: f64) -> Self;
    fn wide(self) -> f64;

    /// The lesser of two numbers that are none of them NaN: one instruction.
    #[inline(always)]
    fn lesser(self, other: Self) -> Self {
        if other < self { other } else { self }
    }
}

impl Number for f32 {
    const INFINITY: Self = Self::INFINITY;
    // A step rounds mass, product, sum, and twice what finishing costs, half a unit each.
    const SLIP: f64 = 4.0 * Self::EPSILON as f64;

    fn of(value: f64) -> Self {
        value as Self
    }

    fn wide(self) -> f64 {
        Self::into(self)
    }
}

impl Number for f64 {
    const INFINITY: Self = Self::INFINITY;
    const SLIP: f64 = 0.0;

    fn of(value: f64) -> Self {
        value
    }

    fn wide(self) -> f64 {
        self
    }
}
