//! The chance that a molecule entering a cylindrical tube leaves at the other end.

use super::ConductanceError;

/// The longest tube for which [`transmission`] was compared with the exact solution.
pub(super) const LONGEST: f64 = 1000.0;

/// Transmission probability of a cylindrical tube in molecular flow, by length over *radius*.
///
/// Berman's closed form of the variational solution of Clausing's integral equation. Against a
/// solution of that equation by quadrature it is high by at most 7e-4 relative, near a length of 37
/// radii, and by less elsewhere (the tests carry the solution). Valid from 0 to 1000 radii, for
/// diffuse reflection; an error beyond.
///
/// Sources: Clausing, Ann. Phys. 12 (1932) 961; Berman, J. Appl. Phys. 36 (1965) 3356, equation
/// from memory; Cole, Prog. Astronaut. Aeronaut. 51 (1977) 261 for the exact values.
pub fn transmission(length_over_radius: f64) -> Result<f64, ConductanceError> {
    let l = length_over_radius;
    if !(0.0..=LONGEST).contains(&l) {
        return Err(ConductanceError::TooLong {
            ratio: l,
            most: LONGEST,
        });
    }
    if l < 0.005 {
        // The closed form loses its figures to cancellation here; the next term is below 2e-8.
        return Ok(1.0 - l / 2.0 + l * l / 4.0);
    }
    let r = (l * l + 4.0).sqrt();
    let above = (8.0 - l * l) * r + l.powi(3) - 16.0;
    let below = 72.0 * l * r - 288.0 * ((l + r) / 2.0).ln();
    Ok(1.0 + l * l / 4.0 - l * r / 4.0 - above * above / below)
}
