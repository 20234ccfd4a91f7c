//! Conductance of the path between chamber and pump, and the speed left at the chamber.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::spoken::{Spoken, in_percent};
use super::{FieldError, FieldErrors, Outcome};
use crate::vacuum::conductance::{
    Behind, Chain, ChainFlow, ConductanceError, Part, PartFlow, Regime, Shape, Stage, aperture,
    effective_speed, long_tube,
};
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{
    Conductance, Length, LengthUnit, Pressure, PressureUnit, Speed, SpeedUnit, Temperature,
    TemperatureUnit, Throughput, ThroughputUnit, Typed, TypedPressure,
};

/// The path from chamber to pump.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Request {
    /// The parts, chamber side first. Neighbouring parts of different branches lie side by side.
    pub parts: Vec<PartRequest>,
    /// The gas; air unless given.
    pub gas: Option<Gas>,
    /// Its temperature; 20 °C unless given.
    pub temperature: Option<Typed<TemperatureUnit>>,
    /// The pump behind the last part.
    pub pump: Option<PumpRequest>,
    /// Pressure at the chamber's end, for viscous or transitional flow.
    pub inlet_pressure: Option<TypedPressure>,
    /// Pressure at the pump's end; that which the pump makes there unless given.
    pub outlet_pressure: Option<TypedPressure>,
}

/// One part of the path.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartRequest {
    /// Its shape.
    pub shape: ShapeName,
    /// Inner diameter.
    pub diameter: Typed<LengthUnit>,
    /// Length, along the axis for an elbow.
    pub length: Option<Typed<LengthUnit>>,
    /// The angle an elbow turns; 90° unless given.
    pub angle_degrees: Option<f64>,
    /// Conductance of a valve, for air at 20 °C, as its manual gives it.
    pub conductance: Option<Typed<SpeedUnit>>,
    /// The branch it belongs to, where the path runs side by side; none for a part that all gas
    /// passes. Parts of one branch follow each other in the order given.
    pub branch: Option<BranchName>,
}

/// A branch of a path that runs side by side with others.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BranchName {
    /// The first.
    A,
    /// The second.
    B,
    /// The third.
    C,
    /// The fourth.
    D,
}

impl BranchName {
    /// Its letter.
    pub fn letter(self) -> &'static str {
        match self {
            Self::A => "a",
            Self::B => "b",
            Self::C => "c",
            Self::D => "d",
        }
    }
}

/// The shape of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ShapeName {
    /// A thin opening.
    Opening,
    /// A straight tube.
    Tube,
    /// A bent tube.
    Elbow,
    /// A valve with a stated conductance.
    Valve,
}

/// A pump.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PumpRequest {
    /// Speed at its own inlet, for the gas of the request.
    pub speed: Typed<SpeedUnit>,
    /// Diameter of its inlet; that of the last part unless given.
    pub inlet_diameter: Option<Typed<LengthUnit>>,
}

/// The path's conductance.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// Verdict, assumptions, signs, next checks and cautions.
    #[serde(flatten)]
    pub outcome: Outcome,
    /// The gas.
    pub gas: Gas,
    /// Flow regime: molecular unless pressures say otherwise; transitional if the parts differ.
    pub regime: Regime,
    /// Mean free path over diameter at the mean pressure, lowest of all parts, if pressures were given.
    pub knudsen_number: Option<f64>,
    /// Pressure at the pump's end, if pressures were given.
    pub outlet_pressure: Option<TypedPressure>,
    /// What flows through between the pressures, at the temperature of the gas, if pressures were given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub throughput: Option<Typed<ThroughputUnit>>,
    /// The most it can be, where gas leaves a part nearly at the speed of sound: `throughput` and all that
    /// follows from it are then the least.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub throughput_at_most: Option<Typed<ThroughputUnit>>,
    /// Each part alone, in molecular flow.
    pub parts: Vec<PartReport>,
    /// Conductance of the whole path, each opening counted once.
    pub conductance: Typed<SpeedUnit>,
    /// By the plain rule 1/C = Σ 1/Cᵢ, which counts the openings between parts anew; molecular only.
    pub conductance_by_plain_rule: Option<Typed<SpeedUnit>>,
    /// Speed at the chamber, if a pump was given.
    pub speed_at_chamber: Option<Typed<SpeedUnit>>,
    /// The same by the plain rule 1/S = 1/S₀ + 1/C.
    pub speed_at_chamber_by_plain_rule: Option<Typed<SpeedUnit>>,
    /// Speed at the chamber over that of the pump.
    pub speed_share_left: Option<f64>,
    /// Below this pressure the flow in every part is molecular.
    pub molecular_below: Option<TypedPressure>,
}

/// One part alone.
#[derive(Clone, Debug, Serialize)]
pub struct PartReport {
    /// Its shape.
    pub shape: ShapeName,
    /// The branch it belongs to, if to one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub branch: Option<BranchName>,
    /// The chance that a molecule gets through.
    pub transmission_probability: f64,
    /// Its conductance between two wide volumes, molecular flow.
    pub conductance_alone: Typed<SpeedUnit>,
    /// What the formula for long tubes gives, for tubes of at least 20 diameters.
    pub long_tube_formula: Option<Typed<SpeedUnit>>,
    /// By how much that formula is too high, as a share of the true value.
    pub long_tube_formula_excess: Option<f64>,
    /// The flow in it between the pressures given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub between: Option<BetweenReport>,
}

/// The flow in one part between the pressures given.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct BetweenReport {
    /// Pressure before it.
    pub inlet: TypedPressure,
    /// Pressure behind it.
    pub outlet: TypedPressure,
    /// Its conductance there; none where nothing drops along it.
    pub conductance: Option<Typed<SpeedUnit>>,
    /// Mean free path over diameter at its mean pressure.
    pub knudsen_number: f64,
    /// The regime of that.
    pub regime: Regime,
}

/// The path in molecular flow, with all that was read for it.
pub(super) struct Path {
    pub(super) gas: Gas,
    pub(super) at: Temperature,
    parts: Vec<(ShapeName, Part)>,
    /// The branch of each part.
    branches: Vec<Option<BranchName>>,
    chain: Chain,
    /// The place among the parts of each part of the chain, branch after branch.
    order: Vec<usize>,
    /// The units of the request.
    spoken: Spoken,
}

/// Computes the path.
pub fn run(request: &Request) -> Result<Report, Vec<FieldError>> {
    let mut errors = FieldErrors::new();
    let path = Path::read(request, &mut errors);
    let pump = request
        .pump
        .as_ref()
        .map(|pump| read_pump(pump, &mut errors));
    let inlet = pressure("inlet_pressure", request.inlet_pressure, &mut errors);
    let outlet = pressure("outlet_pressure", request.outlet_pressure, &mut errors);
    let (Some(path), Some(inlet), Some(outlet)) = (path, inlet, outlet) else {
        return Err(errors.into_vec());
    };
    if pump.as_ref().is_some_and(Option::is_none) {
        return Err(errors.into_vec());
    }
    let pump = pump.flatten();
    let mut assumed = path.assumed(request);
    let denser = match (inlet, outlet, pump) {
        (Some(inlet), Some(outlet), _) => {
            path.at_pressures(inlet, Behind::Pressure(outlet), request, &mut errors)
        }
        (Some(inlet), None, Some((speed, _))) => {
            assumed.push("The pressure at the pump's end is the one at which the pump takes what the path brings".to_owned());
            path.at_pressures(inlet, Behind::Pump(speed), request, &mut errors)
        }
        (None, None, _) => None,
        (inlet, ..) => {
            errors.refuse(
                if inlet.is_some() {
                    "outlet_pressure"
                } else {
                    "inlet_pressure"
                },
                "is missing, though the other pressure is given",
                "both pressures, or the one at the chamber's end and a pump, or neither for molecular flow",
            );
            None
        }
    };
    if denser
        .as_ref()
        .is_some_and(|flow| flow.regime != Regime::Molecular)
    {
        assumed.push("Each part conducts at its own mean pressure; elbows and valves count as the straight tubes with their molecular conductance; good to some 20 %, straight tubes of 10 diameters or more to some 10 %".to_owned());
    }
    if denser.as_ref().is_some_and(|flow| flow.at_most.is_some()) {
        assumed.push("Where gas leaves a part nearly at the speed of sound, as much pressure is taken to stand in its mouth as keeps it at 0.3 of that speed: what passes is the least, and the most is stated beside it".to_owned());
    }
    let given = denser.as_ref().zip(inlet.zip(request.inlet_pressure));
    let unit = request
        .pump
        .as_ref()
        .map_or(SpeedUnit::LitrePerSecond, |pump| pump.speed.unit);
    let Some(figures) = path.figures((pump, unit), outlet, given, &mut errors) else {
        return Err(errors.into_vec());
    };
    errors.finish()?;
    if figures.regime == Regime::Molecular {
        assumed
            .push("Molecular flow, with molecules leaving the walls in all directions".to_owned());
    }
    Ok(Report {
        gas: path.gas,
        regime: figures.regime,
        knudsen_number: denser.as_ref().map(|flow| {
            let each = flow.parts.iter().map(|part| part.knudsen);
            each.fold(f64::INFINITY, f64::min)
        }),
        outlet_pressure: denser
            .as_ref()
            .zip(request.inlet_pressure)
            .map(|(flow, typed)| in_unit_of(flow.outlet, typed)),
        throughput: denser.as_ref().map(|flow| millibar_litres(flow.throughput)),
        throughput_at_most: denser
            .as_ref()
            .and_then(|flow| flow.at_most)
            .map(millibar_litres),
        outcome: Outcome {
            verdict: figures.verdict(path.gas, denser.as_ref().and_then(more_at_most)),
            concluded: true,
            assumed,
            ..Outcome::default()
        },
        parts: figures.parts,
        conductance: litres(figures.conductance),
        conductance_by_plain_rule: figures.plain.map(litres),
        speed_at_chamber: figures.speed.map(litres),
        speed_at_chamber_by_plain_rule: figures.plain_speed.map(litres),
        speed_share_left: figures.share,
        molecular_below: path.molecular_below(),
    })
}

/// By how many per cent more could flow than is given, where bounds are.
fn more_at_most(flow: &ChainFlow) -> Option<f64> {
    let most = flow.at_most?.pascal_cubic_metres_per_second();
    Some(100.0 * (most / flow.throughput.pascal_cubic_metres_per_second() - 1.0))
}

struct Figures {
    regime: Regime,
    parts: Vec<PartReport>,
    conductance: Conductance,
    plain: Option<Conductance>,
    speed: Option<Speed>,
    plain_speed: Option<Speed>,
    share: Option<f64>,
}

impl Figures {
    fn verdict(&self, gas: Gas, more: Option<f64>) -> String {
        let least = match more {
            Some(more) => format!(
                "at least {} and up to {:.0} % more",
                figure(self.conductance),
                more.ceil()
            ),
            None => figure(self.conductance),
        };
        let path = format!(
            "The path passes {least} of {} in {} flow",
            gas.name(),
            self.regime.name()
        );
        match (self.speed, self.share) {
            (Some(speed), Some(share)) => format!(
                "{path}; the pump is left with {} at the chamber, {} of its speed",
                figure(speed),
                in_percent(share)
            ),
            _ => path,
        }
    }
}

impl Path {
    /// Reads the parts, gas and temperature; `None` with the errors noted.
    pub(super) fn read(request: &Request, errors: &mut FieldErrors) -> Option<Self> {
        let gas = request.gas.unwrap_or(Gas::Air);
        let spoken = Spoken {
            temperature: request
                .temperature
                .map_or(TemperatureUnit::Celsius, |typed| typed.unit),
            ..Spoken::SI
        };
        let at = match request.temperature {
            Some(typed) => errors.quantity("temperature", typed),
            None => Some(Temperature::ROOM),
        };
        let at = at.filter(|at| {
            let kelvin = at.kelvin();
            let gaseous = gas.temperatures().contains(&kelvin);
            if !gaseous {
                let error = ConductanceError::Temperature { gas, kelvin };
                errors.refuse(
                    "temperature",
                    spoken.conductance(&error),
                    "a temperature at which the chamber can hold this gas",
                );
            }
            gaseous
        });
        let parts: Vec<Option<(ShapeName, Part)>> = request
            .parts
            .iter()
            .enumerate()
            .map(|(place, part)| read_part(place, part, gas, at, errors))
            .collect();
        let parts: Vec<(ShapeName, Part)> = parts.into_iter().collect::<Option<_>>()?;
        let branches: Vec<_> = request.parts.iter().map(|part| part.branch).collect();
        let (stages, order) = stages(&parts, &branches, errors)?;
        let chain = errors.take(
            "parts",
            "at least one part, chamber side first",
            Chain::of_stages(stages),
        )?;
        Some(Self {
            gas,
            at: at?,
            parts,
            branches,
            chain,
            order,
            spoken,
        })
    }

    /// Speed at the chamber of a pump behind it, each opening counted once.
    pub(super) fn speed_at_chamber(
        &self,
        pump: (Speed, Option<Length>),
        unit: SpeedUnit,
        errors: &mut FieldErrors,
    ) -> Option<Speed> {
        let (speed, inlet) = pump;
        if inlet.is_none() && matches!(self.branches.last(), Some(Some(_))) {
            errors.refuse(
                "pump.inlet_diameter",
                "is missing, and the path ends in branches, whose diameter says nothing of the pump",
                "the diameter of the pump's inlet",
            );
            return None;
        }
        let inlet = inlet.or_else(|| self.parts.last().map(|(_, part)| part.diameter))?;
        let spoken = Spoken {
            speed: unit,
            ..self.spoken
        };
        self.chain
            .speed_at_chamber(speed, inlet, self.gas, self.at)
            .map_err(|error| {
                errors.refuse(
                    "pump",
                    spoken.conductance(&error),
                    "a speed at the pump's own inlet and the diameter of that inlet",
                );
            })
            .ok()
    }

    fn assumed(&self, request: &Request) -> Vec<String> {
        let mut assumed = Vec::new();
        if request.gas.is_none() {
            assumed.push("The gas is air".to_owned());
        }
        if request.temperature.is_none() {
            assumed.push("The gas is at 20 °C".to_owned());
        }
        if self.parts.iter().any(|(name, _)| *name == ShapeName::Elbow) {
            assumed.push(
                "An elbow is taken as mitred, with legs of equal length: its chance to let a molecule pass is fitted to molecules followed one by one, good to some 3 %"
                    .to_owned(),
            );
        }
        if self.parts.len() > 1 {
            assumed.push(
                "At each part the gas is taken to come from all directions anew, each opening counted once: paths come out some 3 to 12 % low; give a straight tube as one part"
                    .to_owned(),
            );
        }
        if self.branches.iter().any(Option::is_some) {
            assumed.push(
                "Branches side by side count as one part, whose opening is the sum of theirs; the gas spreads over them evenly"
                    .to_owned(),
            );
        }
        if request
            .pump
            .as_ref()
            .is_some_and(|pump| pump.inlet_diameter.is_none())
        {
            assumed.push("The pump's inlet is as wide as the last part".to_owned());
        }
        assumed
    }

    /// The flow between two pressures, or to the pump.
    fn at_pressures(
        &self,
        inlet: Pressure,
        behind: Behind,
        request: &Request,
        errors: &mut FieldErrors,
    ) -> Option<ChainFlow> {
        let typed = request.inlet_pressure?;
        let spoken = Spoken {
            pressure: typed.unit,
            ..self.spoken
        };
        let error = match self.chain.flow_between(inlet, behind, self.gas, self.at) {
            Ok(flow) => return Some(flow),
            Err(error) => error,
        };
        let (field, accepted) = match (&error, behind) {
            (ConductanceError::NoViscosity { .. }, _) => (
                "temperature",
                "such a temperature, or no pressures for molecular flow".to_owned(),
            ),
            (ConductanceError::TooFast { .. } | ConductanceError::SpeedsUp { .. }, Behind::Pressure(outlet)) => (
                "outlet_pressure",
                match self.least_outlet(inlet, outlet) {
                    Some(least) => format!(
                        "{:.3e} {} or more at the pump's end with this pressure at the chamber's",
                        least.in_unit(typed.unit),
                        typed.unit
                    ),
                    None => "a longer or narrower path, or a lower pressure at the chamber's end".to_owned(),
                },
            ),
            (ConductanceError::TooFast { .. } | ConductanceError::SpeedsUp { .. }, Behind::Pump(speed)) => (
                "inlet_pressure",
                match self.most_inlet(inlet, speed) {
                    Some(most) => format!(
                        "at most {:.3e} {} at the chamber's end with this pump and path",
                        most.in_unit(typed.unit),
                        typed.unit
                    ),
                    None => "a lower pressure at the chamber's end, a slower pump, or a longer or narrower path".to_owned(),
                },
            ),
            (ConductanceError::Turbulent { .. }, _) => (
                "inlet_pressure",
                "a lower pressure at the chamber's end, or a smaller drop along the path".to_owned(),
            ),
            (ConductanceError::NoPressureDrop, _) => (
                "outlet_pressure",
                "a pressure below that at the chamber's end".to_owned(),
            ),
            _ => (
                "inlet_pressure",
                format!(
                    "a pressure from {} to {}, above that at the pump's end",
                    spoken.pressure(1e-15),
                    spoken.pressure(1e6)
                ),
            ),
        };
        errors.refuse(field, spoken.conductance(&error), accepted);
        None
    }

    /// The highest pressure at the chamber's end, in steps of a hundredth of a decade from a millionth of this
    /// one, up to which the flow to a pump can be computed.
    fn most_inlet(&self, inlet: Pressure, speed: Speed) -> Option<Pressure> {
        let computed = |pressure: &Pressure| {
            self.chain
                .flow_between(*pressure, Behind::Pump(speed), self.gas, self.at)
                .is_ok()
        };
        (0..600)
            .map(|step| 10_f64.powf(f64::from(step) / 100.0 - 6.0))
            .filter_map(|share| Pressure::from_pascals(share * inlet.pascals()).ok())
            .take_while(computed)
            .last()
    }

    /// The lowest pressure at the pump's end, in steps of one part in a hundred of the decades to that at
    /// the chamber's, from which on the flow can be computed.
    fn least_outlet(&self, inlet: Pressure, outlet: Pressure) -> Option<Pressure> {
        let between = |share: f64| {
            let pascals = inlet.pascals().powf(share)
                * outlet
                    .pascals()
                    .max(1e-6 * inlet.pascals())
                    .powf(1.0 - share);
            Pressure::from_pascals(pascals).ok()
        };
        let computed = |share: f64| {
            between(share).is_some_and(|outlet| {
                let behind = Behind::Pressure(outlet);
                self.chain
                    .flow_between(inlet, behind, self.gas, self.at)
                    .is_ok()
            })
        };
        // From the chamber's pressure down, until it can be computed no more.
        let steps = (0..1000).rev().map(|step| f64::from(step) / 1000.0);
        let least = steps.take_while(|share| computed(*share)).last()?;
        between(least)
    }

    fn figures(
        &self,
        (pump, pump_unit): (Option<(Speed, Option<Length>)>, SpeedUnit),
        outlet: Option<Pressure>,
        denser: Option<(&ChainFlow, (Pressure, TypedPressure))>,
        errors: &mut FieldErrors,
    ) -> Option<Figures> {
        let spoken = Spoken {
            speed: pump_unit,
            ..self.spoken
        };
        let told = |error: ConductanceError| spoken.conductance(&error);
        let parts: Vec<Option<PartReport>> = self
            .parts
            .iter()
            .enumerate()
            .map(|(place, (name, part))| self.part_report(place, *name, *part, errors))
            .collect();
        let mut parts: Vec<PartReport> = parts.into_iter().collect::<Option<_>>()?;
        if let Some((flow, (_, unit))) = denser {
            for (place, between) in self.order.iter().zip(&flow.parts) {
                parts[*place].between = Some(between_report(between, unit));
            }
        }
        if let Some((flow, (inlet, _))) =
            denser.filter(|(flow, _)| flow.regime != Regime::Molecular)
        {
            let speed = match (pump, outlet) {
                (None, _) => None,
                (Some((speed, _)), Some(_)) => Some(errors.take(
                    "pump.speed",
                    "a speed above zero",
                    effective_speed(speed, flow.conductance).map_err(told),
                )?),
                // What the pump takes at its own pressure, over the pressure at the chamber.
                (Some((speed, _)), None) => Some(errors.take(
                    "pump.speed",
                    "a speed above zero",
                    Speed::from_cubic_metres_per_second(
                        speed.cubic_metres_per_second() * flow.outlet.pascals() / inlet.pascals(),
                    ),
                )?),
            };
            return Some(Figures {
                regime: flow.regime,
                parts,
                conductance: flow.conductance,
                plain: None,
                speed,
                plain_speed: None,
                share: share(speed, pump),
            });
        }
        let conductance = errors.take(
            "parts",
            "parts within the range of the formulas",
            self.chain.conductance(self.gas, self.at).map_err(told),
        )?;
        let plain = errors.take(
            "parts",
            "parts within the range of the formulas",
            self.chain
                .conductance_by_plain_rule(self.gas, self.at)
                .map_err(told),
        )?;
        let (speed, plain_speed) = match pump {
            Some(pump) => (
                Some(self.speed_at_chamber(pump, pump_unit, errors)?),
                Some(errors.take(
                    "pump.speed",
                    "a speed above zero",
                    effective_speed(pump.0, plain).map_err(told),
                )?),
            ),
            None => (None, None),
        };
        Some(Figures {
            regime: Regime::Molecular,
            parts,
            conductance,
            plain: Some(plain),
            speed,
            plain_speed,
            share: share(speed, pump),
        })
    }

    fn part_report(
        &self,
        place: usize,
        shape: ShapeName,
        part: Part,
        errors: &mut FieldErrors,
    ) -> Option<PartReport> {
        let field = format!("parts[{place}]");
        let accepted = "a part within the range of the formulas";
        let transmission = errors.take(&field, accepted, part.transmission(self.gas, self.at))?;
        let alone = errors.take(&field, accepted, part.conductance(self.gas, self.at))?;
        let long = match part.shape {
            Shape::Tube { length } => long_tube(part.diameter, length, self.gas, self.at).ok(),
            _ => None,
        };
        Some(PartReport {
            shape,
            branch: self.branches.get(place).copied().flatten(),
            transmission_probability: transmission,
            conductance_alone: litres(alone),
            long_tube_formula: long.map(litres),
            long_tube_formula_excess: long
                .map(|long| long.cubic_metres_per_second() / alone.cubic_metres_per_second() - 1.0),
            between: None,
        })
    }

    /// The pressure at which the mean free path is half the widest part.
    pub(super) fn molecular_below(&self) -> Option<TypedPressure> {
        let pascal = Pressure::from_pascals(1.0).ok()?;
        let path_at_one_pascal = self.gas.mean_free_path(self.at, pascal)?;
        let widest = self
            .parts
            .iter()
            .map(|(_, part)| part.diameter.metres())
            .fold(0.0, f64::max);
        Some(Typed::new(
            path_at_one_pascal / (0.5 * widest) / 100.0,
            PressureUnit::Millibar,
        ))
    }
}

fn between_report(part: &PartFlow, unit: TypedPressure) -> BetweenReport {
    BetweenReport {
        inlet: in_unit_of(part.inlet, unit),
        outlet: in_unit_of(part.outlet, unit),
        conductance: part.conductance.map(litres),
        knudsen_number: part.knudsen,
        regime: part.regime,
    }
}

fn in_unit_of(pressure: Pressure, typed: TypedPressure) -> TypedPressure {
    Typed::new(pressure.in_unit(typed.unit), typed.unit)
}

/// Reads a pump's speed and inlet; `None` with the errors noted.
pub(super) fn read_pump(
    pump: &PumpRequest,
    errors: &mut FieldErrors,
) -> Option<(Speed, Option<Length>)> {
    let speed = errors.quantity("pump.speed", pump.speed);
    let inlet = match pump.inlet_diameter {
        Some(typed) => Some(errors.quantity("pump.inlet_diameter", typed)?),
        None => None,
    };
    Some((speed?, inlet))
}

/// Parts that all gas passes, and between them the branches of neighbouring parts that have one;
/// with the place among the parts of each, in the order of the stages.
fn stages(
    parts: &[(ShapeName, Part)],
    branches: &[Option<BranchName>],
    errors: &mut FieldErrors,
) -> Option<(Vec<Stage>, Vec<usize>)> {
    let mut stages = Vec::new();
    let mut order = Vec::new();
    let mut place = 0;
    while let (Some((_, part)), Some(branch)) = (parts.get(place), branches.get(place)) {
        if branch.is_none() {
            stages.push(Stage::Part(*part));
            order.push(place);
            place += 1;
            continue;
        }
        let first = place;
        let mut side_by_side: BTreeMap<BranchName, Vec<usize>> = BTreeMap::new();
        while let Some(Some(branch)) = branches.get(place) {
            side_by_side.entry(*branch).or_default().push(place);
            place += 1;
        }
        if side_by_side.len() < 2 {
            errors.refuse(
                format!("parts[{first}].branch"),
                "is a branch with none beside it",
                "no branch here, or a neighbouring part in another branch",
            );
            return None;
        }
        order.extend(side_by_side.values().flatten());
        let chains = side_by_side
            .into_values()
            .map(|places| Chain::new(places.into_iter().map(|place| parts[place].1).collect()))
            .collect::<Result<_, _>>();
        stages.push(Stage::Branches(errors.take(
            &format!("parts[{first}].branch"),
            "a part in each branch",
            chains,
        )?));
    }
    Some((stages, order))
}

fn read_part(
    place: usize,
    part: &PartRequest,
    gas: Gas,
    at: Option<Temperature>,
    errors: &mut FieldErrors,
) -> Option<(ShapeName, Part)> {
    let field = |name: &str| format!("parts[{place}].{name}");
    let all_used = refuse_unused(part, &field, errors);
    let diameter = errors.quantity(&field("diameter"), part.diameter);
    let length = |errors: &mut FieldErrors| match part.length {
        Some(typed) => errors.quantity(&field("length"), typed),
        None => {
            errors.refuse(field("length"), "is missing", "the length along the axis");
            None
        }
    };
    let shape = match part.shape {
        ShapeName::Opening => Shape::Opening,
        ShapeName::Tube => Shape::Tube {
            length: length(errors)?,
        },
        ShapeName::Elbow => Shape::Elbow {
            axial: length(errors)?,
            degrees: part.angle_degrees.unwrap_or(90.0),
        },
        ShapeName::Valve => {
            let Some(typed) = part.conductance else {
                errors.refuse(
                    field("conductance"),
                    "is missing",
                    "the valve's conductance for air from its manual, or the shape `opening`",
                );
                return None;
            };
            let for_air = errors.quantity(&field("conductance"), typed)?;
            // What is no temperature of this gas was refused before.
            let scale = gas.mean_speed(at?)? / Gas::Air.mean_speed(Temperature::ROOM)?;
            Shape::Stated {
                conductance: errors.take(
                    &field("conductance"),
                    "a finite number above zero",
                    Conductance::from_cubic_metres_per_second(
                        for_air.cubic_metres_per_second() * scale,
                    ),
                )?,
            }
        }
    };
    let part_read = Part {
        diameter: diameter?,
        shape,
    };
    if !all_used {
        return None;
    }
    // An opening that cannot be computed is refused here, under its own field.
    if let Err(error) = aperture(part_read.diameter, gas, at?) {
        let spoken = Spoken {
            length: part.diameter.unit,
            ..Spoken::SI
        };
        errors.refuse(
            field("diameter"),
            spoken.conductance(&error),
            "a diameter of a part that can be made",
        );
        return None;
    }
    if let Err(error) = part_read.transmission(gas, at?) {
        let (name, accepted) = match error {
            ConductanceError::Angle { .. } => ("angle_degrees", "above 0° and at most 120°"),
            ConductanceError::AboveOpening { .. }
            | ConductanceError::Nothing
            | ConductanceError::Shut { .. } => (
                "conductance",
                "less than its opening passes, as its manual gives it for air, or another diameter",
            ),
            _ => ("length", "a length within the range of the formula"),
        };
        let spoken = Spoken {
            speed: part
                .conductance
                .map_or(SpeedUnit::LitrePerSecond, |typed| typed.unit),
            ..Spoken::SI
        };
        errors.refuse(field(name), spoken.conductance(&error), accepted);
        return None;
    }
    Some((part.shape, part_read))
}

/// Refuses what is given of a part and does not belong to its shape: left out without a word, a length would
/// be taken as counted. Whether all belongs to it.
fn refuse_unused(
    part: &PartRequest,
    field: &dyn Fn(&str) -> String,
    errors: &mut FieldErrors,
) -> bool {
    use ShapeName::{Elbow, Opening, Tube, Valve};
    let given = [
        (
            "length",
            part.length.is_some() && matches!(part.shape, Opening | Valve),
            "no length, or the shape `tube` or `elbow`",
        ),
        (
            "angle_degrees",
            part.angle_degrees.is_some() && part.shape != Elbow,
            "no angle, or the shape `elbow`",
        ),
        (
            "conductance",
            part.conductance.is_some() && part.shape != Valve,
            "no conductance, or the shape `valve`",
        ),
    ];
    let shape = match part.shape {
        Opening => "a thin opening",
        Tube => "a straight tube",
        Elbow => "an elbow",
        Valve => "a valve with a stated conductance",
    };
    let mut all_used = true;
    for (name, unused, accepted) in given {
        if unused {
            errors.refuse(
                field(name),
                format!("is given, but {shape} is computed without it"),
                accepted,
            );
            all_used = false;
        }
    }
    all_used
}

fn millibar_litres(rate: Throughput) -> Typed<ThroughputUnit> {
    // Throughput is p·V at the temperature of the gas, so none of the two temperatures matters.
    Typed::new(
        rate.pascal_cubic_metres_per_second() * 10.0,
        ThroughputUnit::MillibarLitre,
    )
}

/// The outer `None` is an error noted, the inner one a pressure not given.
#[allow(clippy::option_option)]
fn pressure(
    field: &str,
    typed: Option<TypedPressure>,
    errors: &mut FieldErrors,
) -> Option<Option<Pressure>> {
    match typed {
        Some(typed) => errors.quantity(field, typed).map(Some),
        None => Some(None),
    }
}

fn share(left: Option<Speed>, pump: Option<(Speed, Option<Length>)>) -> Option<f64> {
    let (left, (pump, _)) = (left?, pump?);
    Some(left.cubic_metres_per_second() / pump.cubic_metres_per_second())
}

pub(super) fn litres(speed: Speed) -> Typed<SpeedUnit> {
    Typed::new(
        speed.cubic_metres_per_second() * 1e3,
        SpeedUnit::LitrePerSecond,
    )
}

fn figure(speed: Speed) -> String {
    let litres = speed.cubic_metres_per_second() * 1e3;
    if (0.1..1e5).contains(&litres) {
        let places = (2 - litres.log10().floor() as i32).max(0) as usize;
        format!("{litres:.places$} L/s")
    } else {
        format!("{litres:.1e} L/s")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run_json(json: &str) -> Result<Report, Vec<FieldError>> {
        run(&serde_json::from_str(json).unwrap())
    }

    /// Tube of 10 cm by 30 cm: transmission 0.27544 by Clausing's equation, 250.4 L/s of air.
    #[test]
    fn a_short_tube_before_a_pump() {
        let report = run_json(
            r#"{"parts": [{"shape": "tube", "diameter": {"value": 10, "unit": "cm"},
                "length": {"value": 30, "unit": "cm"}}],
                "pump": {"speed": {"value": 300, "unit": "l/s"}}}"#,
        )
        .unwrap();
        assert!(
            (report.conductance.value / 250.4 - 1.0).abs() < 0.002,
            "{report:?}"
        );
        let plain = report.speed_at_chamber_by_plain_rule.unwrap().value;
        assert!((plain / 136.5 - 1.0).abs() < 0.002, "{plain}");
        assert!(report.speed_at_chamber.unwrap().value > plain);
        assert!(report.parts[0].long_tube_formula.is_none());
        assert!(
            report.outcome.verdict.contains("molecular"),
            "{}",
            report.outcome.verdict
        );
        let below = report.molecular_below.unwrap().value;
        assert!((5e-4..5e-3).contains(&below), "{below}");
    }

    #[test]
    fn a_roughing_line_between_pressures_is_viscous() {
        let report = run_json(
            r#"{"parts": [{"shape": "tube", "diameter": {"value": 25, "unit": "mm"},
                "length": {"value": 1, "unit": "m"}}],
                "inlet_pressure": {"value": 1.01, "unit": "mbar"},
                "outlet_pressure": {"value": 1, "unit": "mbar"}}"#,
        )
        .unwrap();
        assert_eq!(report.regime, Regime::Viscous);
        assert!(report.conductance_by_plain_rule.is_none());
    }

    /// A valve, an elbow, a tube and two branches on the way to a pump: the throughput S·p at the
    /// pump's end is that at the chamber's, whatever the regime.
    #[test]
    fn a_whole_path_is_computed_in_every_regime() {
        let part = |rest: &str| format!(r#"{{"diameter": {{"value": 40, "unit": "mm"}}, {rest}}}"#);
        let length = |mm: f64| format!(r#""length": {{"value": {mm}, "unit": "mm"}}"#);
        let parts = [
            part(r#""shape": "valve", "conductance": {"value": 90, "unit": "l/s"}"#),
            part(&format!(r#""shape": "elbow", {}"#, length(80.0))),
            part(&format!(
                r#""shape": "tube", "branch": "b", {}"#,
                length(400.0)
            )),
            part(&format!(
                r#""shape": "tube", "branch": "a", {}"#,
                length(200.0)
            )),
            part(&format!(
                r#""shape": "tube", "branch": "b", {}"#,
                length(100.0)
            )),
            part(&format!(r#""shape": "tube", {}"#, length(900.0))),
        ]
        .join(", ");
        let mut before = 0.0;
        for (mbar, regime) in [
            (1e-4, Regime::Molecular),
            (2e-2, Regime::Transitional),
            (2.0, Regime::Viscous),
        ] {
            let report = run_json(&format!(
                r#"{{"parts": [{parts}], "inlet_pressure": {{"value": {mbar}, "unit": "mbar"}},
                    "pump": {{"speed": {{"value": 5, "unit": "l/s"}},
                              "inlet_diameter": {{"value": 40, "unit": "mm"}}}}}}"#
            ))
            .unwrap();
            assert_eq!(report.regime, regime, "{mbar}");
            assert!(report.conductance.value > before, "{mbar}");
            before = report.conductance.value;
            let outlet = report.outlet_pressure.unwrap().value;
            assert!(outlet < mbar);
            let each: Vec<BetweenReport> = report.parts.iter().filter_map(|p| p.between).collect();
            assert_eq!(each.len(), 6);
            // Branch b runs through its two parts, beside branch a.
            assert!((each[2].outlet.value / each[4].inlet.value - 1.0).abs() < 1e-9);
            assert!((each[3].outlet.value / each[4].outlet.value - 1.0).abs() < 1e-9);
            assert!(each[3].inlet.value > each[2].outlet.value);
            if regime != Regime::Molecular {
                let speed = report.speed_at_chamber.unwrap().value;
                assert!((speed * mbar / (5.0 * outlet) - 1.0).abs() < 1e-9);
            }
            let carried = report.conductance.value * (mbar - outlet);
            assert!((carried / (5.0 * outlet) - 1.0).abs() < 1e-7);
        }
    }

    /// Dense flow into nothing leaves a tube at the speed of sound (any text of gas dynamics), beyond what is
    /// computed for branches: the refusal says so, and up to where it is.
    #[test]
    fn branches_into_a_good_vacuum_are_refused_with_what_is_accepted() {
        let tube = |branch: &str| {
            format!(
                r#"{{"shape": "tube", "diameter": {{"value": 1, "unit": "cm"}},
                    "length": {{"value": 50, "unit": "cm"}}, "branch": "{branch}"}}"#
            )
        };
        let parts = format!(
            r#""parts": [{}, {}], "inlet_pressure": {{"value": 10, "unit": "mbar"}}"#,
            tube("a"),
            tube("b")
        );
        let behind = |behind: &str| {
            let mut errors = run_json(&format!("{{{parts}, {behind}}}")).unwrap_err();
            assert_eq!(errors.len(), 1, "{errors:?}");
            errors.swap_remove(0)
        };
        let vacuum = behind(r#""outlet_pressure": {"value": 0, "unit": "mbar"}"#);
        assert_eq!(vacuum.field, "outlet_pressure");
        assert!(
            vacuum.problem.contains("for a path without branches only"),
            "{}",
            vacuum.problem
        );
        assert!(vacuum.problem.len() < 250, "{}", vacuum.problem);
        assert!(
            vacuum.accepted.contains("mbar or more at the pump's end"),
            "{}",
            vacuum.accepted
        );
        let pump = behind(
            r#""pump": {"speed": {"value": 100, "unit": "l/s"}, "inlet_diameter": {"value": 10, "unit": "cm"}}"#,
        );
        assert_eq!(pump.field, "inlet_pressure");
        let most: f64 = pump.accepted.split(' ').nth(2).unwrap().parse().unwrap();
        assert!(
            pump.accepted.starts_with("at most ") && (1e-5..10.0).contains(&most),
            "{}",
            pump.accepted
        );
        let lower = parts.replace(
            r#""value": 10, "unit": "mbar""#,
            &format!(r#""value": {most}, "unit": "mbar""#),
        );
        let pump = r#""pump": {"speed": {"value": 100, "unit": "l/s"}, "inlet_diameter": {"value": 10, "unit": "cm"}}"#;
        assert!(run_json(&format!("{{{lower}, {pump}}}")).is_ok());
    }

    /// Side by side conductances add, one after another they do not (Normand, Ind. Eng. Chem. 40
    /// (1948) 783): two tubes of 13.5 L/s behind a wide opening pass 27.0 L/s.
    #[test]
    fn branches_lie_side_by_side() {
        let tube = |branch: &str| {
            format!(
                r#"{{"shape": "tube", "diameter": {{"value": 5, "unit": "cm"}},
                    "length": {{"value": 100, "unit": "cm"}}{branch}}}"#
            )
        };
        let (a, b) = (tube(r#", "branch": "a""#), tube(r#", "branch": "b""#));
        let opening = r#"{"shape": "opening", "diameter": {"value": 30, "unit": "cm"}}"#;
        let pump = r#""pump": {"speed": {"value": 300, "unit": "l/s"}"#;
        let inlet = r#", "inlet_diameter": {"value": 20, "unit": "cm"}}"#;
        let report = run_json(&format!(
            r#"{{"parts": [{opening}, {a}, {b}], {pump}{inlet}}}"#
        ))
        .unwrap();
        let close = |value: f64, expected: f64| {
            assert!((value / expected - 1.0).abs() < 0.005, "{value} {expected}");
        };
        close(report.conductance.value, 27.0);
        assert_eq!(report.parts[2].branch, Some(BranchName::B));
        assert!(
            report
                .outcome
                .assumed
                .iter()
                .any(|line| line.contains("Branches"))
        );
        let one = run_json(&format!(r#"{{"parts": [{}]}}"#, tube(""))).unwrap();
        close(one.conductance.value, 13.5);
        let fields = |json: String| run_json(&json).unwrap_err()[0].field.clone();
        assert_eq!(
            fields(format!(r#"{{"parts": [{opening}, {a}, {b}], {pump}}}}}"#)),
            "pump.inlet_diameter"
        );
        assert_eq!(
            fields(format!(r#"{{"parts": [{a}, {opening}, {b}]}}"#)),
            "parts[0].branch"
        );
    }

    /// A roughing line from 1 mbar to a pressure of molecular flow: the least that passes, the most beside
    /// it, and each part at its own pressure.
    #[test]
    fn dense_flow_into_a_good_vacuum_is_answered_with_its_bounds() {
        let line = |bar: &str| {
            format!(
                r#"{{"parts": [{{"shape": "tube", "diameter": {{"value": 25, "unit": "mm"}},
                        "length": {{"value": 2, "unit": "m"}}}},
                    {{"shape": "tube", "diameter": {{"value": 40, "unit": "mm"}},
                        "length": {{"value": 1, "unit": "m"}}}}],
                    "inlet_pressure": {{"value": 1, "unit": "mbar"}},
                    "outlet_pressure": {{"value": {bar}, "unit": "mbar"}}}}"#
            )
        };
        let report = run_json(&line("1e-4")).unwrap();
        assert_eq!(report.regime, Regime::Transitional);
        let (least, most) = (
            report.throughput.unwrap().value,
            report.throughput_at_most.unwrap().value,
        );
        assert!(least < most && most < 1.5 * least, "{least} {most}");
        assert!(
            report.outcome.verdict.contains("at least"),
            "{}",
            report.outcome.verdict
        );
        let between: Vec<BetweenReport> = report.parts.iter().filter_map(|p| p.between).collect();
        assert!((between[0].inlet.value - 1.0).abs() < 1e-6);
        assert!((between[1].outlet.value / 1e-4 - 1.0).abs() < 1e-6);
        assert_eq!(between[0].regime, Regime::Viscous);
        let slow = run_json(&line("0.9")).unwrap();
        assert!(slow.throughput_at_most.is_none() && slow.throughput.unwrap().value < least);
    }

    #[test]
    fn what_a_shape_does_not_use_is_refused() {
        let length = r#""length": {"value": 10, "unit": "cm"}"#;
        let angle = r#""angle_degrees": 90"#;
        let conductance = r#""conductance": {"value": 3, "unit": "l/s"}"#;
        let fields = |shape: &str, more: &[&str]| -> Vec<String> {
            let part = format!(
                r#"{{"shape": "{shape}", "diameter": {{"value": 5, "unit": "cm"}}, {}}}"#,
                more.join(", ")
            );
            match run_json(&format!(r#"{{"parts": [{part}]}}"#)) {
                Ok(_) => Vec::new(),
                Err(errors) => errors.into_iter().map(|error| error.field).collect(),
            }
        };
        assert_eq!(fields("opening", &[length]), ["parts[0].length"]);
        assert_eq!(fields("tube", &[length, angle]), ["parts[0].angle_degrees"]);
        assert_eq!(
            fields("tube", &[length, conductance]),
            ["parts[0].conductance"]
        );
        assert_eq!(
            fields("valve", &[length, angle, conductance]),
            ["parts[0].length", "parts[0].angle_degrees"]
        );
        assert_eq!(
            fields("elbow", &[length, angle, conductance]),
            ["parts[0].conductance"]
        );
        // What each does use is taken.
        let used: [(&str, &[&str]); 3] = [
            ("tube", &[length]),
            ("elbow", &[length, angle]),
            ("valve", &[conductance]),
        ];
        for (shape, more) in used {
            assert!(fields(shape, more).is_empty(), "{shape}");
        }
    }

    #[test]
    fn every_wrong_field_is_named() {
        let errors = run_json(
            r#"{"parts": [{"shape": "tube", "diameter": {"value": -1, "unit": "cm"}},
                {"shape": "valve", "diameter": {"value": 10, "unit": "cm"}}],
                "temperature": {"value": -300, "unit": "c"}}"#,
        )
        .unwrap_err();
        let fields: Vec<&str> = errors.iter().map(|e| e.field.as_str()).collect();
        assert_eq!(
            fields,
            [
                "temperature",
                "parts[0].diameter",
                "parts[0].length",
                "parts[1].conductance"
            ]
        );
        let empty = run_json(r#"{"parts": []}"#).unwrap_err();
        assert_eq!(empty[0].field, "parts");
        let one_pressure = run_json(
            r#"{"parts": [{"shape": "opening", "diameter": {"value": 1, "unit": "cm"}}],
                "inlet_pressure": {"value": 1, "unit": "mbar"}}"#,
        )
        .unwrap_err();
        assert_eq!(one_pressure[0].field, "outlet_pressure");
        let dense = run_json(
            r#"{"parts": [{"shape": "opening", "diameter": {"value": 1, "unit": "cm"}}],
                "inlet_pressure": {"value": 1, "unit": "mbar"},
                "outlet_pressure": {"value": 0.1, "unit": "mbar"}}"#,
        )
        .unwrap_err();
        assert_eq!(dense[0].field, "outlet_pressure");
        assert!(
            dense[0].accepted.contains("longer or narrower path"),
            "{dense:?}"
        );
        let short = run_json(
            r#"{"parts": [{"shape": "tube", "diameter": {"value": 1, "unit": "cm"},
                           "length": {"value": 5, "unit": "cm"}}],
                "inlet_pressure": {"value": 1, "unit": "mbar"},
                "outlet_pressure": {"value": 1e-4, "unit": "mbar"}}"#,
        )
        .unwrap_err();
        assert_eq!(short[0].field, "outlet_pressure");
        assert!(
            short[0]
                .accepted
                .ends_with("with this pressure at the chamber's"),
            "{short:?}"
        );
        let least = short[0].accepted.split(' ').next().unwrap();
        run_json(&format!(
            r#"{{"parts": [{{"shape": "tube", "diameter": {{"value": 1, "unit": "cm"}},
                             "length": {{"value": 5, "unit": "cm"}}}}],
                "inlet_pressure": {{"value": 1, "unit": "mbar"}},
                "outlet_pressure": {{"value": {least}, "unit": "mbar"}}}}"#
        ))
        .expect("what is said to be accepted is");
        let too_fast = run_json(
            r#"{"parts": [{"shape": "opening", "diameter": {"value": 1, "unit": "cm"}}],
                "pump": {"speed": {"value": 300, "unit": "l/s"}}}"#,
        )
        .unwrap_err();
        assert_eq!(too_fast[0].field, "pump");
        assert!(
            too_fast[0].problem.starts_with("a pump of 300 L/s"),
            "{too_fast:?}"
        );
        let cold = run_json(
            r#"{"parts": [{"shape": "tube", "diameter": {"value": 1, "unit": "cm"},
                           "length": {"value": 1, "unit": "m"}}],
                "gas": "water", "temperature": {"value": 1, "unit": "k"}}"#,
        )
        .unwrap_err();
        let fields: Vec<&str> = cold.iter().map(|error| error.field.as_str()).collect();
        assert_eq!(fields, ["temperature"]);
        assert!(cold[0].problem.contains("from 123 K to 2000 K"), "{cold:?}");
    }
}
