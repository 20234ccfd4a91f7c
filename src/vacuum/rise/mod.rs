//! The pressure-rise test: pumps valved off, pressure against time.
//!
//! A leak lets gas in at a steady rate, so the pressure rises straight; gas from inside (a trapped
//! volume, wet walls) comes ever slower, so the rise flattens. The shapes are fitted to `ln p`,
//! since a gauge errs by a share of its reading, with a noise of scatter and slow drift. What the
//! shapes cannot tell is refused: an inflow that takes longer than the test to slow looks
//! steady, and the verdict says so. So does a leak where something in the chamber pumps, look like gas from
//! inside.
//!
//! Ranges: at least [`FEWEST_READINGS`] readings over [`SHORTEST`] seconds, the pressure at least
//! doubled, below [`HIGHEST`] Pa. Rates are `V dp/dt` (O'Hanlon, User's Guide to Vacuum Technology;
//! Umrath, Fundamentals of Vacuum Technology; from memory). Imports the log and units only.

mod beginning;
pub(crate) mod drift;
mod examine;
pub(crate) mod fit;
pub(crate) mod reduce;
mod rivals;
pub(crate) mod shape;
mod weigh;

#[cfg(test)]
pub(crate) mod held_out;
#[cfg(test)]
mod reference;
#[cfg(test)]
mod tests;

pub use examine::{
    Doubt, FEWEST_READINGS, HIGHEST, LEAST_FACTOR, MOST_SCATTER, RiseTest, RiseVerdict, SHORTEST,
    examine,
};
pub use weigh::{FEWEST, Interval, RiseShape, ShapeFit, Weighed, weigh};
