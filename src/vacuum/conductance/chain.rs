//! Parts one after another, and the speed left at the chamber.
//!
//! The plain rule 1/C = Σ 1/Cᵢ is right for parts with wide volumes between them. For parts
//! joined flange to flange it counts the entrance of each part anew, and is too low for short
//! ones; [`Chain`] counts each opening once.

use super::{ConductanceError, aperture, elbow_length, transmission};
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{Conductance, Length, Speed, Temperature};

/// The shape of one part between chamber and pump.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// A thin opening, such as an open valve plate.
    Opening,
    /// A straight tube.
    Tube {
        /// Its length.
        length: Length,
    },
    /// A bent tube.
    Elbow {
        /// Length along the axis.
        axial: Length,
        /// The angle it turns, degrees.
        degrees: f64,
    },
    /// A part of any shape, such as a valve, with the conductance of its manual.
    Stated {
        /// Conductance alone, for the gas and temperature computed; at most that of its opening.
        conductance: Conductance,
    },
}

/// One round part between chamber and pump.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Inner diameter.
    pub diameter: Length,
    /// Its shape.
    pub shape: Shape,
}

impl Part {
    /// The chance that a molecule of this gas gets through.
    pub fn transmission(self, gas: Gas, at: Temperature) -> Result<f64, ConductanceError> {
        let length = match self.shape {
            Shape::Opening => return Ok(1.0),
            Shape::Tube { length } => length,
            Shape::Elbow { axial, degrees } => elbow_length(self.diameter, axial, degrees)?,
            Shape::Stated { conductance } => {
                let stated = conductance.cubic_metres_per_second();
                let opening = aperture(self.diameter, gas, at)?.cubic_metres_per_second();
                return if stated <= 0.0 {
                    Err(ConductanceError::Nothing)
                } else if stated > opening {
                    Err(ConductanceError::AboveOpening { stated, opening })
                } else {
                    Ok(stated / opening)
                };
            }
        };
        transmission(2.0 * length.metres() / self.diameter.metres())
    }

    /// Its conductance alone between two wide volumes, m³/s; molecular flow.
    pub fn conductance(self, gas: Gas, at: Temperature) -> Result<Conductance, ConductanceError> {
        let opening = aperture(self.diameter, gas, at)?.cubic_metres_per_second();
        Ok(Conductance::from_cubic_metres_per_second(
            opening * self.transmission(gas, at)?,
        )?)
    }
}

/// Parts joined flange to flange, chamber side first; molecular flow.
#[derive(Clone, Debug, PartialEq)]
pub struct Chain {
    parts: Vec<Part>,
}

impl Chain {
    /// At least one part, chamber side first.
    pub fn new(parts: Vec<Part>) -> Result<Self, ConductanceError> {
        if parts.is_empty() {
            return Err(ConductanceError::NoParts);
        }
        Ok(Self { parts })
    }

    /// Conductance of the whole with each opening counted once, m³/s.
    ///
    /// 1/C = 1/C₀ + Σ (1/Wᵢ − 1)/Aᵢ′ + Σ (1/Aᵢ₊₁′ − 1/Aᵢ′) over narrowings, in which A′ is the
    /// conductance of a part's opening and C₀ that of the first. Good to some per cent.
    /// Sources: Oatley, Br. J. Appl. Phys. 8 (1957) 15 (equal diameters); Haefer, Vacuum 30 (1980)
    /// 217 (unequal); both from memory.
    pub fn conductance(&self, gas: Gas, at: Temperature) -> Result<Conductance, ConductanceError> {
        let resistance = self.resistance(gas, at)?;
        Ok(Conductance::from_cubic_metres_per_second(1.0 / resistance)?)
    }

    /// Conductance by the plain rule, as if wide volumes stood between the parts, m³/s.
    pub fn conductance_by_plain_rule(
        &self,
        gas: Gas,
        at: Temperature,
    ) -> Result<Conductance, ConductanceError> {
        let each: Vec<_> = self
            .parts
            .iter()
            .map(|part| part.conductance(gas, at))
            .collect::<Result<_, _>>()?;
        series(&each)
    }

    /// Speed at the chamber of a pump joined to the last part, each opening counted once, m³/s.
    ///
    /// The pump is a last part that lets through S/A′ of what enters its inlet; refused if S is
    /// above what the inlet passes.
    pub fn speed_at_chamber(
        &self,
        pump: Speed,
        pump_inlet: Length,
        gas: Gas,
        at: Temperature,
    ) -> Result<Speed, ConductanceError> {
        let speed = pump.cubic_metres_per_second();
        let inlet = aperture(pump_inlet, gas, at)?.cubic_metres_per_second();
        if speed > inlet {
            return Err(ConductanceError::FasterThanInlet { pump: speed, inlet });
        }
        if speed <= 0.0 {
            return Err(ConductanceError::Nothing);
        }
        let last = self.parts.last().ok_or(ConductanceError::NoParts)?;
        let last_opening = aperture(last.diameter, gas, at)?.cubic_metres_per_second();
        let resistance = self.resistance(gas, at)?
            + narrowing(last_opening, inlet)
            + (1.0 / speed - 1.0 / inlet);
        Ok(Speed::from_cubic_metres_per_second(1.0 / resistance)?)
    }

    fn resistance(&self, gas: Gas, at: Temperature) -> Result<f64, ConductanceError> {
        let mut resistance = 0.0;
        let mut before = None;
        for part in &self.parts {
            let opening = aperture(part.diameter, gas, at)?.cubic_metres_per_second();
            resistance += match before {
                None => 1.0 / opening,
                Some(before) => narrowing(before, opening),
            };
            resistance += (1.0 / part.transmission(gas, at)? - 1.0) / opening;
            before = Some(opening);
        }
        Ok(resistance)
    }
}

/// The resistance of a step from a wide opening to a narrow one; none the other way.
fn narrowing(from: f64, to: f64) -> f64 {
    (1.0 / to - 1.0 / from).max(0.0)
}

/// Conductance of parts in series by the plain rule, 1/C = Σ 1/Cᵢ, m³/s.
///
/// Right for parts with wide volumes between them. An error for no part or one that is shut.
pub fn series(parts: &[Conductance]) -> Result<Conductance, ConductanceError> {
    if parts.is_empty() {
        return Err(ConductanceError::NoParts);
    }
    if parts
        .iter()
        .any(|part| part.cubic_metres_per_second() <= 0.0)
    {
        return Err(ConductanceError::Nothing);
    }
    let resistance: f64 = parts
        .iter()
        .map(|part| 1.0 / part.cubic_metres_per_second())
        .sum();
    Ok(Conductance::from_cubic_metres_per_second(1.0 / resistance)?)
}

/// Conductance of parts side by side between the same two volumes, C = Σ Cᵢ, m³/s.
pub fn parallel(parts: &[Conductance]) -> Result<Conductance, ConductanceError> {
    if parts.is_empty() {
        return Err(ConductanceError::NoParts);
    }
    let sum = parts
        .iter()
        .map(|part| part.cubic_metres_per_second())
        .sum();
    Ok(Conductance::from_cubic_metres_per_second(sum)?)
}

/// Speed of a pump behind a conductance by the plain rule, 1/S = 1/S₀ + 1/C, m³/s.
pub fn effective_speed(pump: Speed, path: Conductance) -> Result<Speed, ConductanceError> {
    series(&[pump, path])
}
