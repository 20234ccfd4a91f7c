//! Turbo compression: can this foreline pressure explain this base pressure?

use std::ops::RangeInclusive;

use serde::Serialize;

use super::GasLoadError;
use super::extra::{LOWEST, below_highest};
use crate::vacuum::gas::Gas;
use crate::vacuum::units::Pressure;

/// Above this, Pa, no turbo pump compresses (common practice, no source).
const HIGHEST_FORELINE: f64 = 1e4;

/// Up to this total foreline, Pa, any turbo pump holds its compression: a plain one has to be backed by less than
/// 10 Pa (encyclopaedia, article on turbomolecular pumps, seen).
const PLAIN_PUMP: f64 = 10.0;
/// Above this none does: a drag stage on the shaft allows 1000 to 2000 Pa (Jou and others, on a turbo booster
/// pump, introduction, page seen).
const WITH_DRAG_STAGE: f64 = 2000.0;

/// Whether a turbo pump holds its compression against a foreline.
///
/// The pressure from which it falls is its critical backing pressure, found by raising the foreline with no
/// gas at the inlet (ISO 21360-1:2012, from a text that quotes it).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Backing {
    /// It does.
    Holds,
    /// A pump with a drag stage does, a plain one does not.
    Depends,
    /// It does not: no figure of compression holds.
    Collapsed,
}

impl Backing {
    /// Judges the total pressure in the foreline by the pump's critical backing pressure, or where that is not known by
    /// what turbo pumps have.
    pub fn of(fore: Pressure, critical: Option<Pressure>) -> Self {
        match critical {
            Some(critical) if fore <= critical => Self::Holds,
            Some(_) => Self::Collapsed,
            None if fore.pascals() <= PLAIN_PUMP => Self::Holds,
            None if fore.pascals() <= WITH_DRAG_STAGE => Self::Depends,
            None => Self::Collapsed,
        }
    }
}

/// Whether gas coming back from the foreline explains the base pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ForelineVerdict {
    /// Half of the base pressure or more.
    Explains,
    /// Between a tenth and a half.
    Partly,
    /// Less than a tenth.
    CannotExplain,
}

/// What comes back from the foreline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForelineShare {
    /// Pressure of this gas at the pump's inlet that the foreline alone causes.
    pub behind: Pressure,
    /// That pressure over the base pressure.
    pub share: f64,
    /// The compression at which the foreline alone would make the base pressure; none would where it is 1 or less.
    pub compression_needed: f64,
    /// The verdict by the share.
    pub verdict: ForelineVerdict,
}

/// Compression of a healthy turbo pump by gas, low and high; `None` for a gas without a figure.
///
/// Orders of magnitude only, from memory: nitrogen 1e8 to 1e11, helium 1e4 to 1e7, hydrogen 1e3 to
/// 1e6; heavier gases at least as nitrogen. Take the pump's manual where it is at hand. Its
/// logarithm goes about as the root of the molar mass.
pub fn typical_compression(gas: Gas) -> Option<RangeInclusive<f64>> {
    match gas {
        Gas::Hydrogen => Some(1e3..=1e6),
        Gas::Helium => Some(1e4..=1e7),
        Gas::Air
        | Gas::Nitrogen
        | Gas::CarbonMonoxide
        | Gas::Oxygen
        | Gas::Argon
        | Gas::CarbonDioxide
        | Gas::Krypton => Some(1e8..=1e11),
        Gas::Methane | Gas::Water | Gas::Neon | Gas::Methanol | Gas::Acetone => None,
    }
}

/// The part of the base pressure that comes back through a turbo pump.
///
/// p = p_fore/K, with K the compression at zero throughput for this gas (ISO 21360-4) and `fore`
/// the *partial* pressure of this gas in the foreline. The gas load of the chamber comes on top.
/// Above the pump's critical backing pressure K collapses: see [`Backing`].
///
/// Source: the definition of compression in ISO 21360-4, from memory.
/// For a base pressure from 1e-15 Pa to 1 Pa, up to 1e4 Pa (100 mbar) of this gas in the foreline, and a
/// compression above 1 up to 1e20; an error outside. That the foreline as a whole lies above the base pressure, as
/// behind any turbo pump that runs, is for the caller to see: of one of its gases there may be less.
pub fn foreline_share(
    fore: Pressure,
    base: Pressure,
    compression: f64,
) -> Result<ForelineShare, GasLoadError> {
    if !(compression > 1.0 && compression <= 1e20) {
        return Err(GasLoadError::Compression { given: compression });
    }
    if base.pascals() < LOWEST {
        return Err(GasLoadError::Zero {
            what: "the base pressure",
        });
    }
    below_highest(base)?;
    if fore.pascals() > HIGHEST_FORELINE {
        return Err(GasLoadError::ForelineTooHigh {
            pascals: fore.pascals(),
        });
    }
    let behind = Pressure::from_pascals(fore.pascals() / compression)?;
    let share = behind.pascals() / base.pascals();
    Ok(ForelineShare {
        behind,
        share,
        compression_needed: fore.pascals() / base.pascals(),
        verdict: if share >= 0.5 {
            ForelineVerdict::Explains
        } else if share >= 0.1 {
            ForelineVerdict::Partly
        } else {
            ForelineVerdict::CannotExplain
        },
    })
}
