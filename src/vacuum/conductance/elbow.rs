//! The chance that a molecule gets through a mitred elbow.

use super::transmission::LONGEST;
use super::{ConductanceError, transmission};

/// The sharpest single mitre, degrees.
const SHARPEST: f64 = 120.0;

/// Transmission probability of a mitred elbow in molecular flow: two round tubes of one diameter with
/// legs of equal length that meet in a plane, by the length along both axes over the *radius* and the
/// angle the elbow turns, in degrees.
///
/// That of a straight tube of l + e radii, with E·(l/2 − C)/(l/2 + D) for e. Turning costs some length;
/// near the least length the openings see more of each other across the mitre than a straight tube's,
/// and e is below zero. E, C and D are fitted to molecules followed one by one (diffuse reflection,
/// seeded) through elbows of 15° to 120° with legs of up to 15 radii; others, of other angles and legs of
/// up to 25 radii, not used in the fit, keep within 2 %, and the tests follow more. Valid from the least
/// length there is, 2·tan(θ/2), to 1000 radii and for angles above 0° up to 120°; an error outside. A
/// smooth bend has no such corner; its conductance lies between this and the straight tube's (from
/// memory).
///
/// Sources: the method is that of Davis, J. Appl. Phys. 31 (1960) 1169, from memory. Xu and Wang, Vacuum
/// 32 (1982) 655 (abstract seen), find as here that with the angle the conductance first falls, is
/// lowest between 49° and 73°, and rises again, where handbooks let it fall throughout; and that Davis
/// gives 90° the chance of a straight tube, from which those here differ by 6 % at most.
pub fn elbow_transmission(length_over_radius: f64, degrees: f64) -> Result<f64, ConductanceError> {
    let l = length_over_radius;
    if !(degrees > 0.0 && degrees <= SHARPEST) {
        return Err(ConductanceError::Angle { degrees });
    }
    let corner = (0.5 * degrees.to_radians()).tan();
    if !(0.0..=LONGEST).contains(&l) {
        return Err(ConductanceError::TooLong {
            ratio: l,
            most: LONGEST,
        });
    }
    let least = 2.0 * corner;
    if l < least {
        return Err(ConductanceError::ShortLegs {
            degrees,
            ratio: l,
            least,
        });
    }
    let leg = 0.5 * l;
    let square = (0.5 * degrees.to_radians()).sin().powi(2);
    let most = square * (13.19 - square * (14.77 + 1.78 * square));
    let even = corner * (1.86 - corner * (1.57 - 1.38 * corner));
    let slow = 15.76 - 8.06 * corner;
    let extra = most * (leg - even) / (leg + slow);
    transmission((l + extra).min(LONGEST))
}
