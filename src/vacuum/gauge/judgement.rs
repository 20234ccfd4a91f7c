//! The verdict on the gauges of one chamber.

use serde::Serialize;

use super::{GaugeError, GaugeKind, Principle, correction};
use crate::vacuum::gas::Gas;
use crate::vacuum::units::{Pressure, PressureUnit, to_figures};

/// Gauges agree within this factor, whatever they are: common practice, no source. [`agree_within`] asks more
/// of those that can do better.
const AGREE: f64 = 3.0;

/// Where a head that reads with its heat-loss side alone stops, Pa: 8e-5 to 1.5e-3 Torr.
pub(in crate::vacuum) const PIRANI_LIMIT: std::ops::RangeInclusive<f64> = 0.0107..=0.2;

/// Where a dirty cathode that hardly burns stops, Pa: from two decades below the heat-loss limit up to it, 8e-7
/// to 8e-5 Torr.
const DECADES_LOWER: std::ops::RangeInclusive<f64> = 1.07e-4..=0.0107;

/// Below this, Pa, an ion gauge says that the chamber is in high vacuum.
const HIGH_VACUUM: f64 = 1e-2;

/// High vacuum ends here, Pa (ISO 3529-1:2019, from memory).
const HIGH_VACUUM_ENDS: f64 = 0.1;

/// Above this, Pa, a cathode or filament is off by design: common practice, no source.
const ION_SIDE_OFF: f64 = 1.0;

/// Above this, Pa, no usual tool has its high-vacuum valve open (a crossover of 0.05 to 0.1 mbar: common
/// practice, no source).
const VALVE_STAYS_SHUT: f64 = 10.0;

/// What one gauge shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// The kind of gauge.
    pub kind: GaugeKind,
    /// What it shows; zero where it reads below zero.
    pub pressure: Pressure,
    /// How far below zero it reads, as a diaphragm whose zero is off can.
    pub below_zero: Option<Pressure>,
    /// Whether its cathode or filament is lit, if looked at.
    pub lit: Option<bool>,
    /// Whether the reading moves when the pressure must (a valve shut, a pump off), if tried.
    pub moves: Option<bool>,
}

/// The gauges of one chamber and what is known about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Situation {
    /// What the gauges show at the same time.
    pub readings: Vec<Reading>,
    /// The gas that makes up most of the chamber, if known.
    pub gas: Option<Gas>,
    /// Whether the chamber is known by other means to be in high vacuum.
    pub surely_high_vacuum: Option<bool>,
    /// The unit in which the reason speaks of pressures.
    pub unit: PressureUnit,
}

/// What the readings say about the gauges.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// They agree, or the one there is moves as it must.
    Consistent,
    /// The reading is the lower end of the heat-loss side; the ion side does not take part.
    StuckAtPiraniLimit,
    /// The cathode burns but hardly answers.
    StuckDecadesLower,
    /// Cathode or filament is off.
    NotLit,
    /// The gauges differ as this gas makes them.
    GasDependent,
    /// The heat-loss gauge shows pressure where there is none for it to see.
    PiraniZeroOff,
    /// The capacitance gauge reads below zero.
    CapacitanceZeroOff,
    /// The readings cannot tell.
    CannotTell,
}

/// The verdict with its reason and what to do next.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// Why, in one sentence.
    pub reason: String,
    /// What would decide, in order.
    pub next: Vec<Step>,
    /// Highest over lowest of the readings that can be compared, if two or more can; at least this much where
    /// one of them only bounds the pressure.
    pub disagreement: Option<f64>,
    /// The same after the gas factors, if the gas is known and all factors are.
    pub disagreement_corrected: Option<f64>,
    /// Up to this factor gauges as those that can be compared agree.
    pub agree_within: f64,
}

/// Something to do next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Step {
    /// Shut the gate valve and open it again.
    TryWhetherItMoves,
    /// Look at cathode or filament.
    SeeWhetherLit,
    /// Switch the ion side on again.
    SwitchOn,
    /// See that the ion side is off where it must not burn.
    SeeThatItIsOff,
    /// Compare with another gauge.
    SecondGauge,
    /// Set the zero of the heat-loss side.
    SetZero,
    /// Look for a coated wire.
    LookAtWire,
    /// Find out which gas fills the chamber.
    FindGas,
    /// Compare again without the gas.
    CompareWithoutGas,
    /// Clean or change the head.
    Clean,
}

impl Step {
    /// Every step.
    pub const ALL: [Self; 10] = [
        Self::TryWhetherItMoves,
        Self::SeeWhetherLit,
        Self::SwitchOn,
        Self::SeeThatItIsOff,
        Self::SecondGauge,
        Self::SetZero,
        Self::LookAtWire,
        Self::FindGas,
        Self::CompareWithoutGas,
        Self::Clean,
    ];

    /// The same for the person at the tool.
    pub fn words(self) -> &'static str {
        match self {
            Self::TryWhetherItMoves => {
                "If the gate valve is open, shut it for a minute and open it again, below the crossover pressure of the tool only: a true reading rises and falls back"
            }
            Self::SeeWhetherLit => {
                "See on the controller whether the cathode or filament is on, and its current"
            }
            Self::SwitchOn => {
                "Switch it on again at a pressure its manual allows, and wait some minutes: a cold cathode can be slow to strike"
            }
            Self::SeeThatItIsOff => {
                "See on the controller that the cathode or filament is off, and switch it off if it is lit: above its range a filament burns out and a cathode gets dirty; what it shows there is no pressure"
            }
            Self::SecondGauge => "Compare with a second gauge on the same chamber, or borrow one",
            Self::SetZero => {
                "With the chamber surely in high vacuum, compare the Pirani, convection or capacitance gauge with its lowest reading and set its zero by its manual"
            }
            Self::LookAtWire => "Look for a coated or dirty wire if the zero will not hold",
            Self::FindGas => {
                "Find out which gas fills the chamber, by a residual gas scan or by shutting the gas inlets"
            }
            Self::CompareWithoutGas => {
                "Read the corrected pressures, and compare again without that gas"
            }
            Self::Clean => {
                "Switch the gauge off, isolate it, and clean or change its head by its manual"
            }
        }
    }
}

/// Judges the gauges of one chamber.
///
/// Rules in order: a sensor that is off where it should not be; a reading that does not move near the heat-loss
/// limit or one or two decades below, unless an independent ion gauge agrees with it; a gauge that
/// shows pressure in sure high vacuum, a diaphragm that reads below zero, a gauge that stands still above a lit ion gauge that moves there; a difference that
/// the known gas explains; agreement as well as such gauges can (a factor of three, less for those without an ion
/// side); otherwise the readings cannot tell. A gauge without an ion side near its lower end
/// ([`GaugeKind::rests_up_to`]), and any gauge below its range, says no more than that the pressure is not above
/// that, and one above its range no more than that it is not below: such a reading contradicts others, and
/// confirms none. Nor does a combination head at its Pirani limit alone, unless it was seen to move. A sensor is
/// off by design above 0.01 mbar, and beside one that is lit and moves a gauge of nothing but an ion side may be a spare.
/// An error without a reading, or for one of zero on a gauge with an ion side. The limits are common practice, no
/// source.
pub fn judge(situation: &Situation) -> Result<Judgement, GaugeError> {
    let readings = &situation.readings;
    if readings.is_empty() {
        return Err(GaugeError::NoReading);
    }
    let no_ion_gauge_shows = |r: &Reading| r.pressure.pascals() <= 0.0 && r.kind.must_be_lit();
    if let Some(place) = readings.iter().position(no_ion_gauge_shows) {
        return Err(GaugeError::Zero { number: place + 1 });
    }
    let held = held_against_each_other(readings, situation.gas)?;
    let (compared, set_aside) = (held.compared, held.aside);
    let disagreement = spread(compared.iter().map(|r| r.pressure.pascals()));
    let disagreement_corrected = situation.gas.and_then(|gas| {
        let corrected: Option<Vec<f64>> = compared.iter().map(|r| corrected(r, gas)).collect();
        spread(corrected?.into_iter())
    });
    let agree_within = agree_within(&compared, disagreement_corrected.is_some());
    let unit = situation.unit;
    let (verdict, mut reason, mut next) = not_lit(readings, unit)
        .or_else(|| stuck(readings, unit))
        .or_else(|| zero_off(situation))
        .or_else(|| below_zero(readings, unit))
        .or_else(|| no_high_vacuum(situation))
        .unwrap_or_else(|| match &compared[..] {
            [] => bounded(&set_aside, unit),
            [one] => alone(one, set_aside.first(), unit),
            _ => {
                let differ = Differ {
                    corrected: disagreement_corrected,
                    at_least: held.at_least,
                    agree_within,
                };
                compare(situation, &compared, differ)
            }
        });
    if verdict != Verdict::CapacitanceZeroOff
        && let Some((_, also, steps)) = below_zero(readings, unit)
    {
        let also = also.trim_start_matches("The ");
        reason.push_str(&format!("; the {also}"));
        next.extend(steps);
    }
    let off = readings.iter().find(|r| r.is_off());
    if let Some(off) = off.filter(|_| verdict != Verdict::NotLit) {
        reason.push_str(&format!(
            "; the {}, which is off, was not asked",
            off.kind.name()
        ));
    }
    if let Some(lit) = readings.iter().find(|r| r.burns_too_high()) {
        reason.push_str(&format!(
            "; the {} is said to be lit at {}, above its range, where it should be off",
            lit.kind.name(),
            shown(lit.pressure, unit)
        ));
        let of_the_same = [Step::SeeThatItIsOff, Step::SeeWhetherLit, Step::SwitchOn];
        next.retain(|step| !of_the_same.contains(step));
        next.insert(0, Step::SeeThatItIsOff);
    }
    // Where no gauge has one, nobody can look at a cathode or filament; at rough pressures none should be lit,
    // and the valve is shut.
    let has_ion_side = readings.iter().any(|r| r.kind.must_be_lit());
    let rough = compared
        .iter()
        .chain(set_aside.iter().map(|bound| &bound.at))
        .any(|r| r.pressure.pascals() > VALVE_STAYS_SHUT);
    next.retain(|step| match step {
        Step::SeeWhetherLit | Step::SwitchOn => has_ion_side && !rough,
        Step::TryWhetherItMoves => !rough,
        _ => true,
    });
    if next.is_empty() {
        next.push(Step::SecondGauge);
    }
    Ok(Judgement {
        verdict,
        reason,
        next,
        disagreement,
        disagreement_corrected,
        agree_within,
    })
}

/// Within which factor gauges as these agree in a gas that is known or not. Common practice, no source: diaphragms,
/// which no gas matters to, to some per cent from 100 mbar on (a head of 1,000 mbar whose zero is off by a
/// hundredth of it is 10 mbar off) and to a half or twice below; gauges of heat loss in a gas that is known to
/// twice, a Pirani near atmosphere and all others to three times.
fn agree_within(compared: &[Reading], gas_is_known: bool) -> f64 {
    let own = |r: &Reading| {
        let pascals = r.pressure.pascals();
        match r.kind {
            GaugeKind::Capacitance if pascals > 1e4 => 1.2,
            GaugeKind::Capacitance if pascals > 1e3 => 1.5,
            GaugeKind::Capacitance => 2.0,
            GaugeKind::Pirani if gas_is_known && pascals < 1e3 => 2.0,
            GaugeKind::Convection if gas_is_known => 2.0,
            _ => AGREE,
        }
    };
    compared.iter().map(own).reduce(f64::max).unwrap_or(AGREE)
}

/// How two readings or more differ.
#[derive(Clone, Copy, Debug)]
struct Differ {
    /// Highest over lowest after the gas factors, if all are known.
    corrected: Option<f64>,
    /// Whether one of them only bounds the pressure, so that they differ by at least so much.
    at_least: bool,
    /// Up to this factor they agree.
    agree_within: f64,
}

type Outcome = (Verdict, String, Vec<Step>);

/// What a reading says of the pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Says {
    /// It is this.
    Is,
    /// It is no more: the gauge may be at its lower end.
    NotAbove,
    /// It is no less: the gauge is above its range.
    NotBelow,
}

/// A reading that confirms none and contradicts none, with what it says.
#[derive(Clone, Copy, Debug)]
struct Bound {
    /// As it was read.
    read: Reading,
    says: Says,
    /// The pressure that it says.
    at: Reading,
}

impl Bound {
    /// The same, beside the word of `another` gauge.
    fn beside(&self, another: &Reading, unit: PressureUnit) -> String {
        let (name, shown) = (self.read.kind.name(), shown(self.read.pressure, unit));
        let range = self.read.kind.range();
        let agrees = ratio(self.read.pressure.pascals(), another.pressure.pascals()) <= AGREE;
        match self.says {
            Says::NotBelow if agrees => format!(
                ", and the {name} agrees with it at {shown}, but above what it can measure, so that it bears nothing out"
            ),
            Says::NotBelow => format!(", and the {name} shows {shown}, above what it can measure"),
            _ if self.read.pressure.pascals() < *range.start() && !self.read.rests() => {
                format!(", and the {name} shows {shown}, below what it can measure")
            }
            _ => format!(
                ", and the {name} rests at {shown}, near the lowest it can show, as it does in high vacuum"
            ),
        }
    }
}

/// Readings sorted by what they say.
struct Held {
    /// Those that say what the pressure is, with the bounds that contradict one of them or another bound put at
    /// the pressure that they say.
    compared: Vec<Reading>,
    /// Whether a bound is among them, so that they differ by at least what is shown.
    at_least: bool,
    /// The bounds that contradict none.
    aside: Vec<Bound>,
}

fn held_against_each_other(readings: &[Reading], gas: Option<Gas>) -> Result<Held, GaugeError> {
    let (mut compared, mut doubtful, mut bounds) = (Vec::new(), Vec::new(), Vec::new());
    for read in readings.iter().filter(|r| !r.is_off()) {
        let (says, pascals) = read.says();
        let at = Reading {
            pressure: Pressure::from_pascals(pascals)?,
            ..*read
        };
        match says {
            Says::Is if read.may_be_at_pirani_limit() => doubtful.push(*read),
            Says::Is => compared.push(*read),
            _ => bounds.push(Bound {
                read: *read,
                says,
                at,
            }),
        }
    }
    // Beside a gauge that says what the pressure is, such a head agrees with it or differs.
    if compared.is_empty() {
        bounds.extend(doubtful.iter().map(|read| Bound {
            read: *read,
            says: Says::NotAbove,
            at: *read,
        }));
    } else {
        compared.append(&mut doubtful);
    }
    // By how much the first is above the second, as read or in the gas.
    let above = |high: &Reading, low: &Reading| {
        let as_read = high.pressure.pascals() / low.pressure.pascals();
        let in_gas = gas.and_then(|gas| Some(corrected(high, gas)? / corrected(low, gas)?));
        in_gas.map_or(as_read, |in_gas| in_gas.max(as_read)) > AGREE
    };
    let contradicts = |bound: &Bound| {
        let others = bounds.iter().filter(|other| other.says != bound.says);
        let mut others = compared.iter().chain(others.map(|other| &other.at));
        match bound.says {
            Says::NotAbove => others.any(|other| above(other, &bound.at)),
            _ => others.any(|other| above(&bound.at, other)),
        }
    };
    let (against, aside): (Vec<Bound>, Vec<Bound>) = bounds.iter().partition(|b| contradicts(b));
    let at_least = !against.is_empty();
    compared.extend(against.into_iter().map(|bound| bound.at));
    Ok(Held {
        compared,
        at_least,
        aside,
    })
}

impl Reading {
    /// Whether its cathode or filament is said to burn above the pressure at which it should be off.
    fn burns_too_high(&self) -> bool {
        self.kind.must_be_lit()
            && self.lit == Some(true)
            && self.pressure.pascals() > self.burns_up_to()
    }

    /// Whether its reading is inside the range of its kind, and its sensor not known to be off.
    fn means_something(&self) -> bool {
        !self.is_off() && self.kind.range().contains(&self.pressure.pascals())
    }

    /// Whether it reads with a sensor that is said to be off. A combination head reads with its heat-loss side
    /// above the end of that, and its ion side is off there.
    fn is_off(&self) -> bool {
        let by_heat = self.is_combination() && self.pressure.pascals() > *PIRANI_LIMIT.end();
        self.kind.must_be_lit() && self.lit == Some(false) && !by_heat
    }

    /// The pressure, Pa, above which its cathode or filament should be off.
    fn burns_up_to(&self) -> f64 {
        self.kind.range().end().min(ION_SIDE_OFF)
    }

    /// What it says of the pressure, and which pressure, Pa.
    fn says(&self) -> (Says, f64) {
        let (pascals, range) = (self.pressure.pascals(), self.kind.range());
        if pascals > *range.end() {
            (Says::NotBelow, *range.end())
        } else if self.rests() || pascals < *range.start() {
            (Says::NotAbove, pascals.max(*range.start()))
        } else {
            (Says::Is, pascals)
        }
    }

    /// Whether it may be at its lower end, so that it shows only what the pressure is not above.
    fn rests(&self) -> bool {
        let limit = self.kind.rests_up_to();
        limit.is_some_and(|limit| self.pressure.pascals() <= limit)
    }

    /// Whether its heat-loss side alone may be what reads.
    fn may_be_at_pirani_limit(&self) -> bool {
        self.is_combination()
            && self.moves != Some(true)
            && PIRANI_LIMIT.contains(&self.pressure.pascals())
    }

    fn principle(&self) -> Principle {
        self.kind.principle(self.pressure.pascals())
    }

    fn is_combination(&self) -> bool {
        matches!(
            self.kind,
            GaugeKind::CombinationColdCathode | GaugeKind::CombinationHotFilament
        )
    }
}

fn not_lit(readings: &[Reading], unit: PressureUnit) -> Option<Outcome> {
    let off = readings.iter().find(|r| r.is_off())?;
    let another_measures = readings.iter().any(|r| {
        r.means_something()
            && match r.principle() {
                // A combination head is read whether it is lit or not: one that stands above another gauge at
                // high vacuum is no spare.
                Principle::Ion => {
                    let stands_above = off.is_combination()
                        && off.pressure.pascals() > AGREE * r.pressure.pascals();
                    r.lit == Some(true) && r.moves == Some(true) && !stands_above
                }
                _ => !r.rests() && r.pressure.pascals() > ION_SIDE_OFF,
            }
    });
    if another_measures {
        return None;
    }
    Some((
        Verdict::NotLit,
        format!(
            "The {} is not lit, so its reading of {} says nothing about high vacuum",
            off.kind.name(),
            shown(off.pressure, unit)
        ),
        vec![Step::SwitchOn, Step::Clean, Step::SecondGauge],
    ))
}

fn stuck(readings: &[Reading], unit: PressureUnit) -> Option<Outcome> {
    readings.iter().enumerate().find_map(|(place, r)| {
        if r.moves != Some(false) || !r.kind.must_be_lit() {
            return None;
        }
        // One that does not move either bears it out only if both are seen to be lit: then the pressure stands.
        let agrees = readings.iter().enumerate().any(|(other, o)| {
            other != place
                && (o.moves != Some(false) || o.lit == Some(true) && r.lit == Some(true))
                && o.means_something()
                && !o.rests()
                && !o.may_be_at_pirani_limit()
                && o.principle() != Principle::Thermal
                && ratio(o.pressure.pascals(), r.pressure.pascals()) <= AGREE
        });
        if agrees {
            return None;
        }
        let pascals = r.pressure.pascals();
        if r.is_combination() && PIRANI_LIMIT.contains(&pascals) {
            Some((
                Verdict::StuckAtPiraniLimit,
                format!(
                    "The {} stays at {}, the lowest its Pirani side can show, whatever the pump does, so its ion side does not take part",
                    r.kind.name(),
                    shown(r.pressure, unit)
                ),
                vec![Step::SeeWhetherLit, Step::SecondGauge, Step::Clean],
            ))
        } else if DECADES_LOWER.contains(&pascals) {
            Some((
                Verdict::StuckDecadesLower,
                format!(
                    "The {} stays at {}, one or two decades below the Pirani limit, whatever the pump does, as a dirty or weak ion sensor does",
                    r.kind.name(),
                    shown(r.pressure, unit)
                ),
                vec![Step::Clean, Step::SecondGauge, Step::SeeWhetherLit],
            ))
        } else {
            None
        }
    })
}

fn zero_off(situation: &Situation) -> Option<Outcome> {
    if situation.surely_high_vacuum != Some(true) {
        return None;
    }
    let thermal = situation
        .readings
        .iter()
        .find(|r| matches!(r.kind, GaugeKind::Pirani | GaugeKind::Convection) && !r.rests())?;
    let no_ion_gauge_objects = situation
        .readings
        .iter()
        .filter(|r| r.means_something() && r.principle() == Principle::Ion)
        .all(|r| r.pressure.pascals() < HIGH_VACUUM);
    no_ion_gauge_objects.then(|| {
        (
            Verdict::PiraniZeroOff,
            format!(
                "The {} shows {} in a chamber that is surely in high vacuum, where it should show its lowest reading, so its zero is off",
                thermal.kind.name(),
                shown(thermal.pressure, situation.unit)
            ),
            vec![Step::SetZero, Step::LookAtWire],
        )
    })
}

/// A diaphragm that reads farther below zero than the least that it can measure: no pressure is below zero, whatever the
/// chamber holds.
fn below_zero(readings: &[Reading], unit: PressureUnit) -> Option<Outcome> {
    let (read, below) = readings.iter().find_map(|r| {
        let below = r.below_zero?;
        (below.pascals() > *r.kind.range().start()).then_some((r, below))
    })?;
    Some((
        Verdict::CapacitanceZeroOff,
        format!(
            "The {} reads {} below zero, and no pressure is, so its zero is off by at least that",
            read.kind.name(),
            shown(below, unit)
        ),
        vec![Step::SetZero],
    ))
}

/// Another gauge that shows pressure in a chamber that is said to be in high vacuum.
fn no_high_vacuum(situation: &Situation) -> Option<Outcome> {
    if situation.surely_high_vacuum != Some(true) {
        return None;
    }
    let unit = situation.unit;
    let mut readings = situation.readings.iter().filter(|r| r.means_something());
    readings.find_map(|r| {
        let (name, shown) = (r.kind.name(), shown(r.pressure, unit));
        if r.kind == GaugeKind::Capacitance && !r.rests() {
            return Some((
                Verdict::CannotTell,
                format!("The {name} shows {shown} in a chamber that is surely in high vacuum, where it should show its lowest reading, so its zero is off or the chamber is not in high vacuum"),
                vec![Step::SetZero, Step::TryWhetherItMoves, Step::SecondGauge],
            ));
        }
        if r.may_be_at_pirani_limit() {
            return Some((
                Verdict::CannotTell,
                format!("The {name} shows {shown}, as its Pirani side alone does in high vacuum; if the chamber surely is in high vacuum, its ion side takes no part"),
                vec![Step::SeeWhetherLit, Step::TryWhetherItMoves, Step::SecondGauge],
            ));
        }
        let contradicts = r.kind.must_be_lit()
            && r.pressure.pascals() > AGREE * HIGH_VACUUM_ENDS;
        contradicts.then(|| {
            (
                Verdict::CannotTell,
                format!("The {name} shows {shown}, and the chamber is said to be surely in high vacuum: one of the two is wrong"),
                vec![Step::SecondGauge, Step::TryWhetherItMoves, Step::SeeWhetherLit],
            )
        })
    })
}

/// Two readings or more.
fn compare(situation: &Situation, compared: &[Reading], differ: Differ) -> Outcome {
    let Differ {
        at_least,
        agree_within,
        ..
    } = differ;
    let by = if at_least { "by at least" } else { "by" };
    let factor = spread(compared.iter().map(|r| r.pressure.pascals())).unwrap_or(1.0);
    if let Some(outcome) = stands_above_one_that_moves(compared, situation.unit) {
        return outcome;
    }
    if compared.iter().any(|r| r.moves == Some(false)) {
        return (
            Verdict::CannotTell,
            "A reading that should move does not, and the others do not show why".to_owned(),
            vec![Step::SeeWhetherLit, Step::SecondGauge, Step::Clean],
        );
    }
    let one_principle = compared
        .windows(2)
        .all(|two| two[0].principle() == two[1].principle());
    match (situation.gas, differ.corrected) {
        (Some(gas), Some(corrected)) => {
            compare_in(gas, compared, factor, corrected, agree_within)
        }
        (Some(gas), None) if !one_principle => (
            Verdict::CannotTell,
            format!(
                "The gauges differ by a factor of {} as read, and for {} no factor of each of them is known here, so the gas may make or hide a difference",
                times(factor),
                gas.name()
            ),
            vec![
                Step::CompareWithoutGas,
                Step::TryWhetherItMoves,
                Step::SecondGauge,
            ],
        ),
        _ if factor <= agree_within => agree(compared, factor),
        _ => match gas_that_reconciles(compared).filter(|_| situation.gas.is_none() && !at_least) {
            Some((gas, left)) => (
                Verdict::CannotTell,
                format!(
                    "The gauges differ by a factor of {}; in a chamber full of {} a factor of {} of it would be left, as little as between sound gauges, but a faulty gauge would make the difference too",
                    times(factor),
                    gas.name(),
                    times(left)
                ),
                vec![Step::FindGas, Step::TryWhetherItMoves, Step::SecondGauge],
            ),
            None => outvoted(compared, factor, by, |r| Some(r.pressure.pascals())).unwrap_or_else(|| {
                (
                    Verdict::CannotTell,
                    format!(
                        "The gauges differ {by} a factor of {}{}, so at least one is wrong, and the readings do not say which",
                        times(factor),
                        the_higher(compared.iter().map(|r| (r.kind, r.pressure.pascals())))
                    ),
                    WHICH_IS_WRONG.into(),
                )
            }),
        },
    }
}

/// A gauge without an ion side that stands still above a lit ion gauge in high vacuum that moves: its zero is off.
fn stands_above_one_that_moves(compared: &[Reading], unit: PressureUnit) -> Option<Outcome> {
    let moving = compared.iter().find(|r| {
        r.principle() == Principle::Ion
            && r.lit == Some(true)
            && r.moves == Some(true)
            && r.pressure.pascals() < HIGH_VACUUM
    })?;
    let standing = compared.iter().find(|r| {
        !r.kind.must_be_lit()
            && r.moves == Some(false)
            && r.pressure.pascals() > AGREE * moving.pressure.pascals()
    })?;
    let reason = format!(
        "The {} stands at {} while the {}, which is lit, moves at {} as the pressure must, so the zero of the first is off",
        standing.kind.name(),
        shown(standing.pressure, unit),
        moving.kind.name(),
        shown(moving.pressure, unit)
    );
    Some(match standing.principle() {
        Principle::Thermal => (
            Verdict::PiraniZeroOff,
            reason,
            vec![Step::SetZero, Step::LookAtWire],
        ),
        _ => (
            Verdict::CannotTell,
            reason,
            vec![Step::SetZero, Step::SecondGauge],
        ),
    })
}

/// What decides which of two gauges is wrong.
const WHICH_IS_WRONG: [Step; 4] = [
    Step::TryWhetherItMoves,
    Step::SeeWhetherLit,
    Step::SetZero,
    Step::SecondGauge,
];

/// One gauge that differs from all others, which agree with each other by pressures as given, and either move as they must
/// or measure in different ways: two such gauges do not go wrong alike (common practice, no source).
fn outvoted(
    compared: &[Reading],
    factor: f64,
    by: &str,
    pascals: impl Fn(&Reading) -> Option<f64>,
) -> Option<Outcome> {
    let others = |place: usize| {
        let others = compared.iter().enumerate();
        others
            .filter(move |(other, _)| *other != place)
            .map(|(_, r)| r)
    };
    let two_principles = |place: usize| {
        let mut principles = others(place).map(Reading::principle);
        let first = principles.next();
        principles.any(|principle| Some(principle) != first)
    };
    let all_move = |place: usize| others(place).all(|r| r.moves == Some(true));
    let is_odd = |place: usize| {
        let rest: Vec<Reading> = others(place).copied().collect();
        let pressures: Option<Vec<f64>> = rest.iter().map(&pascals).collect();
        pressures
            .and_then(|pressures| spread(pressures.into_iter()))
            .is_some_and(|factor| factor <= agree_within(&rest, false))
            && rest
                .iter()
                .all(|r| !r.rests() && r.kind.range().contains(&r.pressure.pascals()))
            && (all_move(place) || two_principles(place))
    };
    let mut odd = (0..compared.len()).filter(|place| is_odd(*place));
    let (Some(place), None) = (odd.next(), odd.next()) else {
        return None;
    };
    let odd = &compared[place];
    let chamber = others(place)
        .map(|r| r.pressure.pascals())
        .fold(f64::INFINITY, f64::min);
    let next = match odd.principle() {
        Principle::Thermal => vec![Step::SetZero, Step::LookAtWire, Step::SecondGauge],
        Principle::Ion if chamber > odd.burns_up_to() => {
            vec![Step::SeeThatItIsOff, Step::SecondGauge]
        }
        Principle::Ion => vec![Step::SeeWhetherLit, Step::Clean, Step::SecondGauge],
        Principle::Force => vec![Step::TryWhetherItMoves, Step::SecondGauge],
    };
    let why = if all_move(place) {
        "agree with each other and move when the pressure must"
    } else {
        "agree with each other and measure in different ways"
    };
    Some((
        Verdict::CannotTell,
        format!(
            "The gauges differ {by} a factor of {}; all but the {} {why}, so that one is the likeliest to be wrong",
            times(factor),
            odd.kind.name()
        ),
        next,
    ))
}

/// Two readings or more in a gas for which all have a factor.
fn compare_in(
    gas: Gas,
    compared: &[Reading],
    factor: f64,
    corrected: f64,
    agree_within: f64,
) -> Outcome {
    match (factor <= agree_within, corrected <= agree_within) {
        (true, true) => (
            Verdict::Consistent,
            format!(
                "{} gauges agree within a factor of {} as read and of {} once corrected for {}, which is as well as such gauges can",
                compared.len(),
                times(factor),
                times(corrected),
                gas.name()
            ),
            vec![Step::TryWhetherItMoves],
        ),
        (false, true) => (
            Verdict::GasDependent,
            format!(
                "The gauges differ by a factor of {} as read, but by {} once corrected for {}, so the gas makes the difference",
                times(factor),
                times(corrected),
                gas.name()
            ),
            vec![Step::CompareWithoutGas],
        ),
        (_, false) => outvoted(compared, corrected, &format!("once corrected for {} by", gas.name()), |r| self::corrected(r, gas)).unwrap_or_else(|| {
            let true_pressures = compared
                .iter()
                .filter_map(|r| Some((r.kind, self::corrected(r, gas)?)));
            (
                Verdict::CannotTell,
                format!(
                    "Once corrected for {} the gauges differ by a factor of {}{} ({} as read), so at least one is wrong or another gas fills the chamber, and the readings do not say which",
                    gas.name(),
                    times(corrected),
                    the_higher(true_pressures),
                    times(factor)
                ),
                WHICH_IS_WRONG.into_iter().chain([Step::FindGas]).collect(),
            )
        }),
    }
}

fn agree(compared: &[Reading], factor: f64) -> Outcome {
    (
        Verdict::Consistent,
        format!(
            "{} gauges agree within a factor of {}, which is as well as such gauges can",
            compared.len(),
            times(factor)
        ),
        vec![Step::TryWhetherItMoves],
    )
}

/// Which kind shows the most, as a clause; nothing where the highest and the lowest are of one kind.
fn the_higher(pressures: impl Iterator<Item = (GaugeKind, f64)> + Clone) -> String {
    let by_size = |a: &(GaugeKind, f64), b: &(GaugeKind, f64)| a.1.total_cmp(&b.1);
    let (low, high) = (pressures.clone().min_by(by_size), pressures.max_by(by_size));
    match (low, high) {
        (Some((low, _)), Some((high, _))) if low != high => {
            format!(", the {} the higher", high.name())
        }
        _ => String::new(),
    }
}

/// A gas that, if it filled the chamber, would make the gauges agree, and the factor between them then.
fn gas_that_reconciles(compared: &[Reading]) -> Option<(Gas, f64)> {
    [Gas::Argon, Gas::Helium, Gas::Hydrogen, Gas::Krypton]
        .into_iter()
        .find_map(|gas| {
            let values: Option<Vec<f64>> = compared.iter().map(|r| corrected(r, gas)).collect();
            let left = spread(values?.into_iter())
                .filter(|factor| *factor <= agree_within(compared, true))?;
            Some((gas, left))
        })
}

/// No reading that says what the pressure is.
fn bounded(bounds: &[Bound], unit: PressureUnit) -> Outcome {
    let ends: Vec<&Bound> = bounds
        .iter()
        .filter(|bound| bound.says == Says::NotAbove)
        .collect();
    let lowest = ends
        .iter()
        .min_by(|a, b| a.at.pressure.pascals().total_cmp(&b.at.pressure.pascals()));
    let Some(lowest) = lowest else {
        return (
            Verdict::CannotTell,
            "No gauge reads inside the range in which it means something".to_owned(),
            vec![Step::SecondGauge, Step::SeeWhetherLit],
        );
    };
    if let [one] = ends[..]
        && bounds.len() == 1
        && one.read.may_be_at_pirani_limit()
    {
        return alone(&one.read, None, unit);
    }
    let mut next = vec![Step::SeeWhetherLit, Step::SecondGauge];
    if bounds.iter().any(|bound| bound.read.moves.is_none()) {
        next.insert(0, Step::TryWhetherItMoves);
    }
    let names: Vec<String> = ends
        .iter()
        .map(|bound| {
            let moves = match bound.read.moves {
                Some(false) => ", which does not move,",
                _ => "",
            };
            let (name, shown) = (bound.read.kind.name(), shown(bound.read.pressure, unit));
            format!("the {name} at {shown}{moves}")
        })
        .collect();
    (
        Verdict::CannotTell,
        format!(
            "{} may {}be at its lower end, below which it shows nothing, so that the pressure is not above {} and may be far below it",
            capitalised(&names.join(" and ")),
            if ends.len() > 1 { "each " } else { "" },
            shown(lowest.at.pressure, unit)
        ),
        next,
    )
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// One reading that says what the pressure is, beside one that only bounds it.
fn alone(reading: &Reading, bound: Option<&Bound>, unit: PressureUnit) -> Outcome {
    let name = reading.kind.name();
    let beside = bound.map_or_else(String::new, |bound| bound.beside(reading, unit));
    match reading.moves {
        Some(true) => (
            Verdict::Consistent,
            format!(
                "The {name} moves when the pressure must, so it measures{beside}; how true its scale is, one gauge cannot show"
            ),
            vec![Step::SecondGauge],
        ),
        Some(false) => (
            Verdict::CannotTell,
            format!(
                "The {name} does not move, but {} is not where a known fault of its kind stops{beside}",
                shown(reading.pressure, unit)
            ),
            vec![Step::SeeWhetherLit, Step::SecondGauge, Step::Clean],
        ),
        None => (
            Verdict::CannotTell,
            format!(
                "One reading of a {name} does not show whether it would move with the pressure{beside}"
            ),
            vec![
                Step::TryWhetherItMoves,
                Step::SeeWhetherLit,
                Step::SecondGauge,
            ],
        ),
    }
}

fn corrected(reading: &Reading, gas: Gas) -> Option<f64> {
    correction(reading.kind, reading.pressure, gas)
        .and_then(|factor| factor.apply(reading.pressure))
        .ok()
        .map(Pressure::pascals)
}

/// Highest over lowest of two or more.
fn spread(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut count = 0;
    let (mut low, mut high) = (f64::INFINITY, 0.0_f64);
    for value in values {
        count += 1;
        low = low.min(value);
        high = high.max(value);
    }
    (count >= 2).then(|| high / low)
}

fn ratio(left: f64, right: f64) -> f64 {
    (left / right).max(right / left)
}

/// A factor to be read: `1.3`, `50`, `5e4`.
fn times(factor: f64) -> String {
    if factor < 10.0 {
        format!("{factor:.1}")
    } else if factor < 1e4 {
        format!("{factor:.0}")
    } else {
        format!("{factor:.0e}")
    }
}

fn shown(pressure: Pressure, unit: PressureUnit) -> String {
    format!("{} {unit}", to_figures(pressure.in_unit(unit), 2))
}
