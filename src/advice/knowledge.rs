//! Common practice as plain numbers: causes, what they show, and the checks that find
//! them, checked once and then addressed by dense indices.

use std::collections::{BTreeMap, HashMap};

use super::error::{AdviceError, chance, minutes, within};

/// The state of a tool.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum State {
    /// Under high vacuum.
    Pumped,
    /// Chamber at atmosphere, the high-vacuum pump running behind its valve.
    Vented,
    /// High-vacuum pump stopped and purged.
    StoppedPurged,
}

impl State {
    /// Every state.
    pub const ALL: [Self; 3] = [Self::Pumped, Self::Vented, Self::StoppedPurged];
}

/// A cause as common practice sees it.
#[derive(Clone, Debug, Default)]
pub struct CauseFacts {
    /// Identifier.
    pub id: String,
    /// The component that fails; a tool without it cannot have the cause.
    pub component: String,
    /// Pseudo-count, 0 to 10⁶.
    pub weight: f64,
    /// Pseudo-count by class, where it differs.
    pub weights: BTreeMap<String, f64>,
    /// Minutes to mend it.
    pub fix_minutes: f64,
    /// The least state mending and its proof need (one further on in [`State::ALL`] does as
    /// well), if the time to finish is to count in the order.
    pub fix_state: Option<State>,
    /// Chance of each sign if this is the cause; one not listed has its background chance.
    pub signs: BTreeMap<String, f64>,
    /// Chance of each antecedent if this is the cause.
    pub antecedents: BTreeMap<String, f64>,
    /// Usual decades of pressure lost, low and high.
    pub decades: Option<(f64, f64)>,
}

/// A tool class.
#[derive(Clone, Debug, Default)]
pub struct ClassFacts {
    /// Identifier.
    pub id: String,
    /// Components a tool of the class can have, the optional ones among them.
    pub components: Vec<String>,
    /// Pumped to vented, minutes.
    pub vent: f64,
    /// Vented to pumped, minutes.
    pub pump_down: f64,
    /// Pump stopped and purged, minutes.
    pub stop_and_purge: f64,
    /// From stopped and purged, the chamber under vacuum, to pumped, minutes.
    pub restart: f64,
}

impl ClassFacts {
    /// Minutes from each state (first index, order of [`State::ALL`]) to each state; no way by a
    /// third one is quicker. Behind its shut gate valve the chamber stays under vacuum while the
    /// pump is stopped. Who stops it on a vented tool has the chamber to pump down beside the
    /// restart, whichever takes longer; what that takes more than the restart is counted when the
    /// pump is stopped.
    pub fn changes(&self) -> [[f64; 3]; 3] {
        let pump_down_left = (self.pump_down - self.restart).max(0.0);
        [
            [0.0, self.vent, self.stop_and_purge],
            [self.pump_down, 0.0, self.stop_and_purge + pump_down_left],
            [self.restart, self.restart + self.vent, 0.0],
        ]
    }
}

/// A sign or an antecedent.
#[derive(Clone, Debug, Default)]
pub struct Observation {
    /// Identifier.
    pub id: String,
    /// Chance of it when the cause has nothing to do with it.
    pub background: f64,
}

/// A check.
#[derive(Clone, Debug)]
pub struct CheckFacts {
    /// Identifier.
    pub id: String,
    /// State the tool has to be in.
    pub state: State,
    /// Whether the tool is pumped down in the course of it, so that what was made for others in
    /// its state has ended.
    pub leaves_pumped: bool,
    /// Whether it vents the chamber while the pump is stopped, which otherwise stays under vacuum.
    pub vents: bool,
    /// Minutes, 0 to 10⁶, without changing the tool's state.
    pub minutes: f64,
    /// Whether it splits the candidates rather than reveal one.
    pub isolating: bool,
    /// Chance of "found" when none of its causes is present.
    pub false_alarm: f64,
    /// Chance of "found" for each cause it answers to.
    pub reveals: BTreeMap<String, f64>,
    /// Checks that have to come before, whatever they cost. A tool on which one of them
    /// cannot be made cannot have this check. What is made in another state than pumped lasts
    /// until the tool leaves that state.
    pub needs_first: Vec<String>,
    /// The same, of those that can be made on the tool: there is no supply to lock out of a
    /// source it does not have.
    pub needs_first_if_fitted: Vec<String>,
    /// Components without which it makes no sense.
    pub needs_components: Vec<String>,
}

impl CheckFacts {
    /// Minutes that pumping the chamber down takes, after the check, more than the restart beside it;
    /// `changes` are those of the class.
    pub(crate) fn pump_down_left(&self, changes: &[[f64; 3]; 3]) -> f64 {
        let (pumped, vented, stopped) = (State::Pumped, State::Vented, State::StoppedPurged);
        match self.vents {
            true => {
                changes[vented as usize][stopped as usize]
                    - changes[pumped as usize][stopped as usize]
            }
            false => 0.0,
        }
    }

    /// The state the tool is in after it.
    pub(crate) fn after(&self) -> State {
        match self.leaves_pumped && !self.isolating {
            true => State::Pumped,
            false => self.state,
        }
    }
}

/// Everything known beforehand, checked and indexed.
#[derive(Clone, Debug)]
pub struct Knowledge {
    pub(crate) causes: Vec<CauseFacts>,
    pub(crate) classes: Vec<ClassFacts>,
    pub(crate) signs: Vec<Observation>,
    pub(crate) antecedents: Vec<Observation>,
    pub(crate) checks: Vec<CheckFacts>,
    pub(crate) cause_index: HashMap<String, usize>,
    pub(crate) class_index: HashMap<String, usize>,
    pub(crate) sign_index: HashMap<String, usize>,
    pub(crate) antecedent_index: HashMap<String, usize>,
    pub(crate) check_index: HashMap<String, usize>,
}

impl Knowledge {
    /// Takes common practice in.
    ///
    /// # Errors
    /// An identifier given twice or used without being given, a chance outside 0 to 1,
    /// minutes outside 0 to 10⁶, or checks that wait for each other.
    pub fn new(
        classes: Vec<ClassFacts>,
        causes: Vec<CauseFacts>,
        signs: Vec<Observation>,
        antecedents: Vec<Observation>,
        checks: Vec<CheckFacts>,
    ) -> Result<Self, AdviceError> {
        let knowledge = Self {
            cause_index: indexed("cause", causes.iter().map(|cause| &cause.id))?,
            class_index: indexed("tool class", classes.iter().map(|class| &class.id))?,
            sign_index: indexed("sign", signs.iter().map(|sign| &sign.id))?,
            antecedent_index: indexed("antecedent", antecedents.iter().map(|item| &item.id))?,
            check_index: indexed("check", checks.iter().map(|check| &check.id))?,
            causes,
            classes,
            signs,
            antecedents,
            checks,
        };
        knowledge.accept()?;
        Ok(knowledge)
    }

    /// The class, by identifier.
    ///
    /// # Errors
    /// A class nobody knows.
    pub fn class(&self, id: &str) -> Result<&ClassFacts, AdviceError> {
        self.class_number(id).map(|index| &self.classes[index])
    }

    pub(crate) fn class_number(&self, id: &str) -> Result<usize, AdviceError> {
        found(&self.class_index, "tool class", id)
    }

    pub(crate) fn check_number(&self, id: &str) -> Result<usize, AdviceError> {
        found(&self.check_index, "check", id)
    }

    /// The pseudo-count of a cause in a class, 0 if the class cannot have it.
    pub(crate) fn weight(&self, class: usize, cause: usize) -> f64 {
        let (class, cause) = (&self.classes[class], &self.causes[cause]);
        if class.components.contains(&cause.component) {
            cause
                .weights
                .get(&class.id)
                .copied()
                .unwrap_or(cause.weight)
        } else {
            0.0
        }
    }

    fn accept(&self) -> Result<(), AdviceError> {
        for class in &self.classes {
            for (what, value) in [
                ("vent", class.vent),
                ("pump_down", class.pump_down),
                ("stop_and_purge", class.stop_and_purge),
                ("restart", class.restart),
            ] {
                minutes(what, &class.id, value)?;
            }
        }
        for item in self.signs.iter().chain(&self.antecedents) {
            chance("background", &item.id, item.background)?;
        }
        for cause in &self.causes {
            minutes("fix_minutes", &cause.id, cause.fix_minutes)?;
            for &weight in cause.weights.values().chain([&cause.weight]) {
                within("weight", &cause.id, weight, (0.0, 1e6), "0 to 1e6")?;
            }
            for (sign, &value) in &cause.signs {
                found(&self.sign_index, "sign", sign)?;
                chance("chance of a sign", &cause.id, value)?;
            }
            for (antecedent, &value) in &cause.antecedents {
                found(&self.antecedent_index, "antecedent", antecedent)?;
                chance("chance of an antecedent", &cause.id, value)?;
            }
            if let Some((low, high)) = cause.decades {
                within("decades", &cause.id, low, (-20.0, 20.0), "-20 to 20")?;
                within(
                    "decades",
                    &cause.id,
                    high,
                    (low, 20.0),
                    "the low value to 20",
                )?;
            }
        }
        for check in &self.checks {
            minutes("minutes", &check.id, check.minutes)?;
            chance("false_alarm", &check.id, check.false_alarm)?;
            for (cause, &value) in &check.reveals {
                found(&self.cause_index, "cause", cause)?;
                chance("chance of revealing", &check.id, value)?;
            }
            for id in check.needs_first.iter().chain(&check.needs_first_if_fitted) {
                let first = &self.checks[found(&self.check_index, "check", id)?];
                // A secured state ends when the tool leaves it.
                if first.state != State::Pumped && (first.isolating || first.state != check.state) {
                    return Err(AdviceError::LapsesBefore {
                        first: id.clone(),
                        check: check.id.clone(),
                    });
                }
            }
        }
        Ok(())
    }
}

fn indexed<'a>(
    what: &'static str,
    ids: impl Iterator<Item = &'a String>,
) -> Result<HashMap<String, usize>, AdviceError> {
    let mut index = HashMap::new();
    for (at, id) in ids.enumerate() {
        if index.insert(id.clone(), at).is_some() {
            return Err(AdviceError::Twice {
                what,
                id: id.clone(),
            });
        }
    }
    Ok(index)
}

fn found(
    index: &HashMap<String, usize>,
    what: &'static str,
    id: &str,
) -> Result<usize, AdviceError> {
    index.get(id).copied().ok_or_else(|| AdviceError::Unknown {
        what,
        id: id.to_owned(),
    })
}
