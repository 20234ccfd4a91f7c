//! Parts one after another, and the speed left at the chamber.
//!
//! The plain rule 1/C = Σ 1/Cᵢ is right for parts with wide volumes between them. For parts
//! joined flange to flange it counts the entrance of each part anew, and is too low for short
//! ones; [`Chain`] counts each opening once.

use super::{ConductanceError, aperture, elbow_transmission, transmission};
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
    /// A tube with one mitred bend in its middle.
    Elbow {
        /// Length along the axis of both legs.
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
    /// The chance that a molecule of this gas gets through, in molecular flow.
    ///
    /// By [`transmission`] and [`elbow_transmission`], in their ranges; a stated conductance over
    /// [`aperture`], above a billionth of it and up to all of it. An error outside, and for a diameter
    /// or temperature outside the range of [`aperture`]. Sources: those of each.
    pub fn transmission(self, gas: Gas, at: Temperature) -> Result<f64, ConductanceError> {
        let opening = aperture(self.diameter, gas, at)?.cubic_metres_per_second();
        let radii = |length: Length| 2.0 * length.metres() / self.diameter.metres();
        match self.shape {
            Shape::Opening => Ok(1.0),
            Shape::Tube { length } => transmission(radii(length)),
            Shape::Elbow { axial, degrees } => elbow_transmission(radii(axial), degrees),
            Shape::Stated { conductance } => {
                let stated = conductance.cubic_metres_per_second();
                through_opening(stated, opening)?;
                if stated > opening {
                    return Err(ConductanceError::AboveOpening { stated, opening });
                }
                Ok(stated / opening)
            }
        }
    }

    /// Its conductance alone between two wide volumes, m³/s; molecular flow, in the range of
    /// [`Part::transmission`] and from its sources.
    pub fn conductance(self, gas: Gas, at: Temperature) -> Result<Conductance, ConductanceError> {
        let opening = aperture(self.diameter, gas, at)?.cubic_metres_per_second();
        Ok(Conductance::from_cubic_metres_per_second(
            opening * self.transmission(gas, at)?,
        )?)
    }
}

/// The least share of its opening that a part or pump may pass.
const SHUT: f64 = 1e-9;

/// Refuses a conductance or speed, m³/s, that is nothing or next to nothing beside its opening's.
fn through_opening(stated: f64, opening: f64) -> Result<(), ConductanceError> {
    if stated <= 0.0 {
        Err(ConductanceError::Nothing)
    } else if stated < SHUT * opening {
        Err(ConductanceError::Shut { stated })
    } else {
        Ok(())
    }
}

/// One step of a chain.
#[derive(Clone, Debug, PartialEq)]
pub enum Stage {
    /// A single part.
    Part(Part),
    /// Chains side by side that leave the same place and meet again.
    Branches(Vec<Chain>),
}

/// Stages joined flange to flange, chamber side first.
///
/// Branches side by side count as one part whose opening is the sum of theirs, at both ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Chain {
    stages: Vec<Stage>,
}

impl Chain {
    /// At least one part, chamber side first.
    pub fn new(parts: Vec<Part>) -> Result<Self, ConductanceError> {
        Self::of_stages(parts.into_iter().map(Stage::Part).collect())
    }

    /// At least one stage, chamber side first, and at least one branch where it branches.
    pub fn of_stages(stages: Vec<Stage>) -> Result<Self, ConductanceError> {
        let empty =
            |stage: &Stage| matches!(stage, Stage::Branches(branches) if branches.is_empty());
        if stages.is_empty() || stages.iter().any(empty) {
            return Err(ConductanceError::NoParts);
        }
        Ok(Self { stages })
    }

    /// Conductance of the whole in molecular flow with each opening counted once, m³/s.
    ///
    /// 1/C = 1/C₀ + Σ (1/Wᵢ − 1)/Aᵢ′ + Σ (1/Aᵢ₊₁′ − 1/Aᵢ′) over narrowings, in which A′ is the
    /// conductance of a stage's opening and C₀ that of the first. Branches have (1/Wᵢ − 1)/Aᵢ′ =
    /// 1/ΣCⱼ − 1/ΣAⱼ′ over their chains. Low by 1 to 8 % where the
    /// tests follow molecules through narrowings, a neck and branches. An error outside the range of
    /// [`Part::transmission`].
    /// Sources: Oatley, Br. J. Appl. Phys. 8 (1957) 15 (equal diameters); Haefer, Vacuum 30 (1980)
    /// 217 (unequal); both from memory. That branches count as one part is our own step.
    pub fn conductance(&self, gas: Gas, at: Temperature) -> Result<Conductance, ConductanceError> {
        let resistance = self.resistance(gas, at)?;
        Ok(Conductance::from_cubic_metres_per_second(1.0 / resistance)?)
    }

    /// Molecular conductance by the plain rule, as if wide volumes stood between the parts, m³/s;
    /// [`series`] and [`parallel`] of what [`Part::conductance`] gives, with its errors and sources.
    pub fn conductance_by_plain_rule(
        &self,
        gas: Gas,
        at: Temperature,
    ) -> Result<Conductance, ConductanceError> {
        let each: Vec<_> = self
            .stages
            .iter()
            .map(|stage| match stage {
                Stage::Part(part) => part.conductance(gas, at),
                Stage::Branches(branches) => {
                    let each: Vec<_> = branches
                        .iter()
                        .map(|branch| branch.conductance_by_plain_rule(gas, at))
                        .collect::<Result<_, _>>()?;
                    parallel(&each)
                }
            })
            .collect::<Result<_, _>>()?;
        series(&each)
    }

    /// Speed at the chamber of a pump joined to the last stage, each opening counted once, m³/s.
    ///
    /// The pump is a last part that lets through S/A′ of what enters its inlet; refused if S is
    /// above what the inlet passes, or below a billionth of it. An error for both.
    /// Otherwise as [`Chain::conductance`], with its sources.
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
        through_opening(speed, inlet)?;
        let last = self.stages.last().ok_or(ConductanceError::NoParts)?;
        let resistance = self.resistance(gas, at)?
            + narrowing(last.flow(gas, at)?.exit, inlet)
            + (1.0 / speed - 1.0 / inlet);
        Ok(Speed::from_cubic_metres_per_second(1.0 / resistance)?)
    }

    pub(super) fn stages(&self) -> &[Stage] {
        &self.stages
    }

    fn resistance(&self, gas: Gas, at: Temperature) -> Result<f64, ConductanceError> {
        let mut resistance = 0.0;
        let mut before = None;
        for stage in &self.stages {
            let flow = stage.flow(gas, at)?;
            resistance += match before {
                None => 1.0 / flow.entrance,
                Some(before) => narrowing(before, flow.entrance),
            };
            resistance += flow.inside;
            before = Some(flow.exit);
        }
        Ok(resistance)
    }
}

/// Conductances of a stage's two openings, m³/s, and the resistance between them, s/m³.
pub(super) struct StageFlow {
    pub(super) entrance: f64,
    pub(super) inside: f64,
    pub(super) exit: f64,
}

impl Stage {
    pub(super) fn flow(&self, gas: Gas, at: Temperature) -> Result<StageFlow, ConductanceError> {
        match self {
            Self::Part(part) => {
                let opening = aperture(part.diameter, gas, at)?.cubic_metres_per_second();
                Ok(StageFlow {
                    entrance: opening,
                    inside: (1.0 / part.transmission(gas, at)? - 1.0) / opening,
                    exit: opening,
                })
            }
            Self::Branches(branches) => {
                let (mut entrance, mut through, mut exit) = (0.0, 0.0, 0.0);
                for Chain { stages } in branches {
                    let [first, ..] = &stages[..] else {
                        return Err(ConductanceError::NoParts);
                    };
                    let last = stages.last().unwrap_or(first);
                    entrance += first.flow(gas, at)?.entrance;
                    exit += last.flow(gas, at)?.exit;
                }
                for branch in branches {
                    through += 1.0 / branch.resistance(gas, at)?;
                }
                Ok(StageFlow {
                    entrance,
                    inside: 1.0 / through - 1.0 / entrance,
                    exit,
                })
            }
        }
    }
}

/// The resistance of a step from a wide opening to a narrow one; none the other way.
fn narrowing(from: f64, to: f64) -> f64 {
    (1.0 / to - 1.0 / from).max(0.0)
}

/// Conductance of parts in series by the plain rule, 1/C = Σ 1/Cᵢ, m³/s.
///
/// Right for parts with wide volumes between them. An error for no part, or one of less than 1e-24 m³/s
/// (a hole of one atom), which is shut.
/// Source: Normand, Ind. Eng. Chem. 40 (1948) 783.
pub fn series(parts: &[Conductance]) -> Result<Conductance, ConductanceError> {
    if parts.is_empty() {
        return Err(ConductanceError::NoParts);
    }
    for part in parts {
        let stated = part.cubic_metres_per_second();
        if stated <= 0.0 {
            return Err(ConductanceError::Nothing);
        } else if stated < 1e-24 {
            return Err(ConductanceError::Shut { stated });
        }
    }
    let resistance: f64 = parts
        .iter()
        .map(|part| 1.0 / part.cubic_metres_per_second())
        .sum();
    Ok(Conductance::from_cubic_metres_per_second(1.0 / resistance)?)
}

/// Conductance of parts side by side between the same two volumes, C = Σ Cᵢ, m³/s. An error for no part
/// or a sum above 1e30 m³/s. Source: as [`series`].
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

/// Speed of a pump behind a conductance by the plain rule, 1/S = 1/S₀ + 1/C, m³/s; range, errors and
/// source as [`series`].
pub fn effective_speed(pump: Speed, path: Conductance) -> Result<Speed, ConductanceError> {
    series(&[pump, path])
}
