//! A chain between two pressures, in whichever regime they put each of its parts.
//!
//! The pressures between the parts are found by iteration: each part passes the same throughput,
//! at a conductance of its own mean pressure. Molecular flow comes out as [`Chain::conductance`] has
//! it, each opening counted once.

use std::f64::consts::PI;

use super::chain::{Shape, Stage};
use super::transmission::LONGEST;
use super::tube::{Gases, poiseuille_length};
use super::{Chain, ConductanceError, Part, Regime, knudsen_number, transmission};
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{Conductance, Pressure, Speed, Temperature, Throughput};

/// The flow through a chain between two pressures.
#[derive(Clone, Debug, PartialEq)]
pub struct ChainFlow {
    /// Conductance at these pressures, m³/s: throughput over pressure drop.
    pub conductance: Conductance,
    /// The regime of all parts; transitional if they differ.
    pub regime: Regime,
    /// Pressure at the outlet of the last part.
    pub outlet: Pressure,
    /// What flows through, above zero.
    pub throughput: Throughput,
    /// The most it can be, where gas leaves a part nearly at the speed of sound and all else here is for
    /// the least that it can be.
    pub at_most: Option<Throughput>,
    /// Each part, in the order of the chain and of the branches in it.
    pub parts: Vec<PartFlow>,
}

/// The flow through one part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartFlow {
    /// Pressure before it.
    pub inlet: Pressure,
    /// Pressure behind it.
    pub outlet: Pressure,
    /// What it passes over the drop along it, m³/s; none where nothing drops.
    pub conductance: Option<Conductance>,
    /// Mean free path over diameter at its mean pressure.
    pub knudsen: f64,
    /// The regime of that.
    pub regime: Regime,
}

/// What lies behind the chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Behind {
    /// A stated pressure, below that at the inlet.
    Pressure(Pressure),
    /// A pump of this speed at its own inlet, which is as wide as the last part.
    Pump(Speed),
}

/// The largest share of the pressure drop that speeding up the gas may take.
const SPEEDING_UP: f64 = 0.1;
/// Pressure taken by speeding up a gas and shaping its flow at an entrance, over its density times
/// the square of its mean speed: Hagenbach's correction of laminar flow, 2.28/2, from memory.
const ENTRANCE: f64 = 1.14;
/// The same for a bend of 90° (laminar flow, some 1.2/2; handbooks, from memory).
const BEND: f64 = 0.6;
/// Length in diameters by which a tube is longer for viscous flow that comes from a wide place and
/// goes to one: Sampson's opening, 3π/16.
const BOTH_ENDS: f64 = 3.0 * PI / 16.0;

impl Chain {
    /// The flow from `inlet` to what lies behind, in any regime.
    ///
    /// Each part conducts Poiseuille's flow at its mean pressure plus Knudsen's share of the molecular,
    /// (1 + 2.507·r/λ)/(1 + 3.095·r/λ), with r/λ at its mean pressure, or just the molecular where all
    /// parts are in molecular flow; the resistances 1/C add, and
    /// branches side by side conduct together. A part's molecular conductance is its share of the
    /// chain's by [`Chain::conductance`]. Where the gas comes from a wider place, Poiseuille's length is
    /// longer by 3π/16 diameters (Sampson's opening), so short tubes and openings are computed too.
    /// An elbow and a part of stated conductance count as the straight tube with their molecular
    /// conductance. Good to some 20 %, straight tubes of 10 diameters or more to some 10 %.
    ///
    /// Holds while, in every part that is not molecular, the Reynolds number is up to 2000, and speeding
    /// up the gas at entrances and bends takes up to a tenth of the whole pressure drop; 250 K to 400 K,
    /// from 1e-15 Pa to 1e6 Pa at the inlet. An error otherwise. Where gas that is not molecular leaves a
    /// part faster than 0.3 of sound, as it does from dense flow into a good vacuum, the throughput is
    /// bounded: it is no more than without the pressure that speeding up takes, and no less than with
    /// pressure enough in that part's mouth to keep it that slow, since less pressure behind a part never
    /// lessens what it passes. The least is given, and the most beside it; an error where they are more
    /// than 1.5 times apart, or the chain has branches.
    ///
    /// Sources: Knudsen, Ann. Phys. 28 (1909) 75, in the form of Guthrie and Wakerling, Vacuum
    /// Equipment and Techniques (1949); Sampson, Phil. Trans. R. Soc. A 182 (1891) 449; Dagan, Weinbaum
    /// and Pfeffer, J. Fluid Mech. 115 (1982) 505, for the sum of both; all from memory. That this is
    /// done part by part along a chain is our own step.
    pub fn flow_between(
        &self,
        inlet: Pressure,
        behind: Behind,
        gas: Gas,
        at: Temperature,
    ) -> Result<ChainFlow, ConductanceError> {
        let gases = Gases::new(gas, at)?;
        let mut elements = Vec::new();
        let row = elements_of(self.stages(), gas, at, &mut elements)?;
        let (outlet, pump) = match behind {
            Behind::Pressure(outlet) if inlet <= outlet => {
                return Err(ConductanceError::NoPressureDrop);
            }
            Behind::Pressure(outlet) => (outlet.pascals(), 0.0),
            Behind::Pump(speed) if speed.cubic_metres_per_second() < 1e-24 => {
                return Err(ConductanceError::Nothing);
            }
            Behind::Pump(speed) => (0.0, speed.cubic_metres_per_second().recip()),
        };
        let inlet_pascals = inlet.pascals();
        if !(1e-15..=1e6).contains(&inlet_pascals) {
            return Err(ConductanceError::Pressure {
                pascals: inlet_pascals,
            });
        }
        let middle = 0.5 * (inlet_pascals + outlet);
        for element in &mut elements {
            (element.inlet, element.outlet) = (middle, middle);
        }
        let mut flow = 0.0;
        for round in 0..ROUNDS {
            let resistance = row.resistance(&elements, &gases) + pump;
            let now = (inlet_pascals - outlet) / resistance;
            let moved = row.assign(&mut elements, &gases, inlet_pascals, now);
            let settled = (now - flow).abs() <= 1e-12 * now && moved <= 1e-10 * inlet_pascals;
            flow = now;
            if settled {
                break;
            }
            if round + 1 == ROUNDS {
                return Err(ConductanceError::Unsettled);
            }
        }
        let mut at_most = None;
        for element in &mut elements {
            let mean = (0.5 * (element.inlet + element.outlet)).max(1e-300);
            let knudsen = gases.path_at_one_pascal / mean / element.part.diameter.metres();
            element.dense = Regime::of(knudsen) != Regime::Molecular;
            if element.dense {
                gases.within_laminar(element.part.diameter, element.flow)?;
            }
        }
        let too_fast = elements.iter().position(|element| {
            let diameter = element.part.diameter;
            element.dense && gases.leaves_too_fast(diameter, element.flow, element.outlet)
        });
        if let Some(place) = too_fast {
            let element = &elements[place];
            let too_fast = ConductanceError::TooFast {
                part: place + 1,
                mach: gases.mach(element.part.diameter, element.flow, element.outlet),
                branches: row.0.iter().any(|node| matches!(node, Node::Beside(..))),
            };
            at_most = Some(Throughput::from_pascal_cubic_metres_per_second(flow)?);
            let least = slowest(
                &row,
                &mut elements,
                &gases,
                inlet_pascals,
                (outlet, pump),
                flow,
            )
            .filter(|least| flow <= WIDEST_BOUNDS * least);
            flow = least.ok_or(too_fast)?;
        }
        let parts_of = |elements: &[Element]| {
            elements
                .iter()
                .map(|element| element.part_flow(gas, at))
                .collect::<Result<Vec<_>, _>>()
        };
        let mut parts = parts_of(&elements)?;
        if common_regime(&parts) == Regime::Molecular {
            // What Knudsen's share takes off at the edge of the regime is left out throughout, so that the
            // throughput is that of the conductance.
            elements.iter_mut().for_each(|element| element.thin = true);
            flow = (inlet_pascals - outlet) / (row.resistance(&elements, &gases) + pump);
            row.assign(&mut elements, &gases, inlet_pascals, flow);
            parts = parts_of(&elements)?;
        }
        let outlet_pascals = flow * pump + outlet;
        within_range(&elements, &parts, &gases, inlet_pascals - outlet_pascals)?;
        let regime = common_regime(&parts);
        let conductance = if regime == Regime::Molecular {
            self.conductance(gas, at)?
        } else {
            Conductance::from_cubic_metres_per_second(flow / (inlet_pascals - outlet_pascals))?
        };
        Ok(ChainFlow {
            conductance,
            regime,
            outlet: Pressure::from_pascals(outlet_pascals)?,
            throughput: Throughput::from_pascal_cubic_metres_per_second(flow)?,
            at_most,
            parts,
        })
    }
}

/// How far apart the bounds of a throughput may be.
const WIDEST_BOUNDS: f64 = 1.5;

/// The throughput, Pa·m³/s, with pressure enough in the mouth of each part of denser flow that nothing
/// leaves too fast, whose pressures it leaves in the parts; none for a chain with branches.
fn slowest(
    row: &Row,
    elements: &mut [Element],
    gases: &Gases,
    inlet: f64,
    behind: (f64, f64),
    highest: f64,
) -> Option<f64> {
    let (mut low, mut high) = (0.0, highest);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if march(row, elements, gases, behind, middle)? <= inlet {
            low = middle;
        } else {
            high = middle;
        }
    }
    march(row, elements, gases, behind, low)?;
    Some(low)
}

/// Puts the pressures of a throughput into the parts, from what lies behind up to the chamber, and
/// gives that at the chamber's end; none for a chain with branches.
fn march(
    row: &Row,
    elements: &mut [Element],
    gases: &Gases,
    (outlet, pump): (f64, f64),
    flow: f64,
) -> Option<f64> {
    let mut behind = outlet + flow * pump;
    for node in row.0.iter().rev() {
        let Node::Element(place) = node else {
            return None;
        };
        let element = &mut elements[*place];
        element.flow = flow;
        let mouth = if element.dense {
            behind.max(gases.lowest_mouth(element.part.diameter, flow))
        } else {
            behind
        };
        // A part passes more the higher the pressure before it.
        let (mut low, mut high) = (mouth, mouth + flow * element.molecular / LEAST_FADE);
        for _ in 0..100 {
            element.inlet = 0.5 * (low + high);
            element.outlet = mouth;
            if (element.inlet - mouth) < flow * element.resistance(gases) {
                low = element.inlet;
            } else {
                high = element.inlet;
            }
        }
        element.outlet = behind;
        behind = element.inlet;
    }
    Some(behind)
}

/// Knudsen's flow dips to this share of the molecular one.
const LEAST_FADE: f64 = 0.8;

const ROUNDS: usize = 500;

/// One part with its share of the molecular resistance and its length for viscous flow.
struct Element {
    part: Part,
    /// s/m³; zero for an opening that is no narrower than what comes before.
    molecular: f64,
    /// m.
    viscous_length: f64,
    /// Whether the gas speeds up at its entrance.
    entrance: bool,
    /// Whether its flow is denser than molecular.
    dense: bool,
    /// Whether all of the path is molecular.
    thin: bool,
    /// Degrees that it turns.
    turn: f64,
    /// Pa, as iterated.
    inlet: f64,
    outlet: f64,
    /// Pa·m³/s, as iterated.
    flow: f64,
}

/// Elements one after another or side by side, by their places in a list.
enum Node {
    Element(usize),
    /// Rows side by side, with the molecular resistance of their common entrance, which each row
    /// counts once too often: zero or less, s/m³.
    Beside(Vec<Row>, f64),
}

struct Row(Vec<Node>);

fn elements_of(
    stages: &[Stage],
    gas: Gas,
    at: Temperature,
    elements: &mut Vec<Element>,
) -> Result<Row, ConductanceError> {
    let mut row = Vec::new();
    let mut before: Option<f64> = None;
    for stage in stages {
        let flow = stage.flow(gas, at)?;
        let narrower = before.is_none_or(|before| flow.entrance < before * (1.0 - 1e-12));
        let opening = match before {
            None => flow.entrance.recip(),
            Some(before) => (flow.entrance.recip() - before.recip()).max(0.0),
        };
        match stage {
            Stage::Part(part) => {
                let length = equivalent_length(*part, gas, at)?;
                let diameter = part.diameter.metres();
                row.push(Node::Element(elements.len()));
                elements.push(Element {
                    part: *part,
                    molecular: opening + flow.inside,
                    viscous_length: length + if narrower { BOTH_ENDS * diameter } else { 0.0 },
                    entrance: narrower,
                    dense: false,
                    thin: false,
                    turn: match part.shape {
                        Shape::Elbow { degrees, .. } => degrees,
                        _ => 0.0,
                    },
                    inlet: 0.0,
                    outlet: 0.0,
                    flow: 0.0,
                });
            }
            Stage::Branches(branches) => {
                let rows = branches
                    .iter()
                    .map(|branch| elements_of(branch.stages(), gas, at, elements))
                    .collect::<Result<_, _>>()?;
                row.push(Node::Beside(rows, opening - flow.entrance.recip()));
            }
        }
        before = Some(flow.exit);
    }
    Ok(Row(row))
}

/// The straight tube that stands for a part, m.
fn equivalent_length(part: Part, gas: Gas, at: Temperature) -> Result<f64, ConductanceError> {
    match part.shape {
        Shape::Opening => Ok(0.0),
        Shape::Tube { length } => Ok(length.metres()),
        Shape::Elbow { .. } | Shape::Stated { .. } => {
            let chance = part.transmission(gas, at)?;
            let radius = 0.5 * part.diameter.metres();
            if chance < transmission(LONGEST)? {
                return Err(ConductanceError::TooLong {
                    ratio: 8.0 / (3.0 * chance),
                    most: LONGEST,
                });
            }
            let (mut short, mut long) = (0.0, LONGEST);
            for _ in 0..60 {
                let middle = 0.5 * (short + long);
                if transmission(middle)? > chance {
                    short = middle;
                } else {
                    long = middle;
                }
            }
            Ok(0.5 * (short + long) * radius)
        }
    }
}

impl Element {
    /// Resistance at its mean pressure over the molecular one; 1 in molecular flow.
    fn fade(&self, gases: &Gases) -> f64 {
        if self.thin {
            return 1.0;
        }
        let mean = 0.5 * (self.inlet + self.outlet);
        let viscous = if self.viscous_length > 0.0 {
            poiseuille_length(
                self.part.diameter,
                self.viscous_length,
                mean,
                gases.viscosity,
            )
        } else {
            // Nothing to rub along; only its opening, if it narrows, counts.
            0.0
        };
        let path = gases.path_at_one_pascal / mean.max(1e-300);
        let ratio = 0.5 * self.part.diameter.metres() / path;
        let knudsen_share = (1.0 + 2.507 * ratio) / (1.0 + 3.095 * ratio);
        1.0 / (viscous * self.molecular + knudsen_share)
    }

    fn resistance(&self, gases: &Gases) -> f64 {
        self.molecular * self.fade(gases)
    }

    fn part_flow(&self, gas: Gas, at: Temperature) -> Result<PartFlow, ConductanceError> {
        let mean = Pressure::from_pascals(0.5 * (self.inlet + self.outlet))?;
        let knudsen = knudsen_number(self.part.diameter, mean, gas, at)?;
        let conductance = self.flow / (self.inlet - self.outlet);
        Ok(PartFlow {
            conductance: Conductance::from_cubic_metres_per_second(conductance).ok(),
            inlet: Pressure::from_pascals(self.inlet)?,
            outlet: Pressure::from_pascals(self.outlet)?,
            knudsen,
            regime: Regime::of(knudsen),
        })
    }
}

impl Row {
    fn resistance(&self, elements: &[Element], gases: &Gases) -> f64 {
        self.0
            .iter()
            .map(|node| node.resistance(elements, gases))
            .sum()
    }

    /// Passes `flow` through from `inlet` down; gives the largest move of a pressure.
    fn assign(&self, elements: &mut [Element], gases: &Gases, inlet: f64, flow: f64) -> f64 {
        let mut here = inlet;
        let mut moved = 0.0f64;
        for node in &self.0 {
            let behind = (here - flow * node.resistance(elements, gases)).max(0.0);
            match node {
                Node::Element(place) => {
                    let element = &mut elements[*place];
                    moved = moved
                        .max((element.inlet - here).abs())
                        .max((element.outlet - behind).abs());
                    (element.inlet, element.outlet, element.flow) = (here, behind, flow);
                }
                Node::Beside(rows, entrance) => {
                    let entrance = entrance * fade_at_entrance(rows, elements, gases);
                    let start = here - flow * entrance;
                    for row in rows {
                        let resistance = row.resistance(elements, gases);
                        let share = if resistance > 0.0 {
                            (start - behind) / resistance
                        } else {
                            flow
                        };
                        moved = moved.max(row.assign(elements, gases, start, share));
                    }
                }
            }
            here = behind;
        }
        moved
    }

    /// The first element of the row, or of the first branch with which it starts.
    fn first(&self) -> Option<usize> {
        match self.0.first()? {
            Node::Element(place) => Some(*place),
            Node::Beside(rows, _) => rows.first()?.first(),
        }
    }
}

impl Node {
    fn resistance(&self, elements: &[Element], gases: &Gases) -> f64 {
        match self {
            Self::Element(place) => elements[*place].resistance(gases),
            Self::Beside(rows, entrance) => {
                let conductance: f64 = rows
                    .iter()
                    .map(|row| row.resistance(elements, gases).recip())
                    .sum();
                entrance * fade_at_entrance(rows, elements, gases) + conductance.recip()
            }
        }
    }
}

/// How much of its molecular resistance the entrance of branches keeps: that of the branch which
/// keeps least, so that what is taken off never exceeds what they count.
fn fade_at_entrance(rows: &[Row], elements: &[Element], gases: &Gases) -> f64 {
    rows.iter()
        .filter_map(Row::first)
        .map(|place| elements[place].fade(gases))
        .fold(1.0, f64::min)
}

fn common_regime(parts: &[PartFlow]) -> Regime {
    let first = parts.first().map_or(Regime::Molecular, |part| part.regime);
    if parts.iter().all(|part| part.regime == first) {
        first
    } else {
        Regime::Transitional
    }
}

/// Refuses flow that speeds up too much.
fn within_range(
    elements: &[Element],
    parts: &[PartFlow],
    gases: &Gases,
    drop: f64,
) -> Result<(), ConductanceError> {
    let mut taken = 0.0;
    for (element, part) in elements.iter().zip(parts) {
        if part.regime == Regime::Molecular {
            continue;
        }
        let area = PI / 4.0 * element.part.diameter.metres().powi(2);
        let swift = (element.flow / area).powi(2) / (gases.per_mass * element.inlet);
        let entrance = if element.entrance { ENTRANCE } else { 0.0 };
        taken += swift * (entrance + BEND * element.turn / 90.0);
    }
    let share = taken / drop;
    if share > SPEEDING_UP {
        return Err(ConductanceError::SpeedsUp {
            percent: 100.0 * share,
        });
    }
    Ok(())
}
