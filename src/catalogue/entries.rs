//! The entries of the catalogue once they have been checked: every reference
//! resolves, every chance lies in 0..=1, every minute is finite and not negative.

use std::collections::BTreeMap;

use super::{AntecedentId, CauseId, CautionId, CheckId, ClassId, ComponentId, Kind, SignId};
use crate::vacuum::units::TypedPressure;

/// A hazard and the caution that stands before the work.
#[derive(Clone, Debug)]
pub struct Caution {
    /// Identifier.
    pub id: CautionId,
    /// The hazard in a few words.
    pub hazard: String,
    /// Markdown, one or two sentences.
    pub text: String,
}

/// A part that can fail.
#[derive(Clone, Debug)]
pub struct Component {
    /// Identifier.
    pub id: ComponentId,
    /// Name people read.
    pub name: String,
    /// What the name names, without what it says more of it: the `Foreline valve` of the cryopump.
    pub thing: String,
}

/// Minutes it takes to bring a tool of a class from one state to another.
#[derive(Clone, Copy, Debug)]
pub struct StateMinutes {
    /// Pumped to vented.
    pub vent: f64,
    /// Vented to pumped, until base pressure can be judged.
    pub pump_down: f64,
    /// High-vacuum pump stopped, warmed or spun down, and purged.
    pub stop_and_purge: f64,
    /// From stopped and purged back to a running high-vacuum pump, the chamber under vacuum.
    pub restart: f64,
}

/// Tools that share a build, for which causes are counted together.
#[derive(Clone, Debug)]
pub struct ToolClass {
    /// Identifier.
    pub id: ClassId,
    /// Name people read.
    pub name: String,
    /// One or two sentences on the build.
    pub about: String,
    /// High-vacuum pump, in words.
    pub pump: String,
    /// Components every tool of the class is built with.
    pub components: Vec<ComponentId>,
    /// Components some tools of the class have.
    pub optional: Vec<ComponentId>,
    /// Usual chamber volume in litres.
    pub volume_litres: f64,
    /// Usual pumping speed at the chamber in litres per second.
    pub speed_litres_per_second: f64,
    /// Usual healthy base pressure.
    pub healthy_base: TypedPressure,
    /// What changing the tool's state costs.
    pub minutes: StateMinutes,
}

/// A component and what went wrong with it.
#[derive(Clone, Debug)]
pub struct Cause {
    /// Identifier.
    pub id: CauseId,
    /// Name people read.
    pub name: String,
    /// The component that fails.
    pub component: ComponentId,
    /// How it fails, in a few words.
    pub mechanism: String,
    /// What sort of loss it is.
    pub kind: Kind,
    /// Common-practice pseudo-count.
    pub weight: f64,
    /// Pseudo-count for a class, where it differs.
    pub weights: BTreeMap<ClassId, f64>,
    /// Minutes to mend it once found.
    pub fix_minutes: f64,
    /// The least the tool has to be brought to for mending, and for a proof that means
    /// something. What can be mended on a pumped tool can be mended in any state, what on a
    /// vented one also with the pump stopped.
    pub fix_state: ToolState,
    /// Whether it is wear that a planned service of the component takes away.
    pub wears: bool,
    /// Where the numbers come from.
    pub basis: String,
    /// Chance of each sign if this is the cause.
    pub signs: BTreeMap<SignId, f64>,
    /// Chance of each antecedent if this is the cause.
    pub antecedents: BTreeMap<AntecedentId, f64>,
    /// Usual loss of base pressure in decades, low and high.
    pub decades: Option<(f64, f64)>,
}

impl Cause {
    /// The common-practice pseudo-count in a class.
    pub fn weight_in(&self, class: &ClassId) -> f64 {
        self.weights.get(class).copied().unwrap_or(self.weight)
    }
}

/// A structured observation.
#[derive(Clone, Debug)]
pub struct Sign {
    /// Identifier.
    pub id: SignId,
    /// Name people read.
    pub name: String,
    /// The question put to the person at the tool.
    pub ask: String,
    /// Chance of seeing it when the cause has nothing to do with it.
    pub background: f64,
    /// The calculation whose verdict sets it, if one does.
    pub calculation: Option<String>,
    /// Components without which nobody can look for it.
    pub needs_components: Vec<ComponentId>,
}

/// What happened shortly before.
#[derive(Clone, Debug)]
pub struct Antecedent {
    /// Identifier.
    pub id: AntecedentId,
    /// Name people read.
    pub name: String,
    /// Chance of it before any incident.
    pub background: f64,
    /// Components without which it cannot happen.
    pub needs_components: Vec<ComponentId>,
}

/// The state a tool has to be in for a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum ToolState {
    /// Under high vacuum.
    Pumped,
    /// Chamber at atmosphere, high-vacuum pump isolated and running.
    Vented,
    /// High-vacuum pump stopped and purged to atmosphere.
    StoppedPurged,
}

impl ToolState {
    /// Every state, from the least to the most invasive.
    pub const ALL: [Self; 3] = [Self::Pumped, Self::Vented, Self::StoppedPurged];

    /// The identifier used in data files and the API.
    pub fn id(self) -> &'static str {
        match self {
            Self::Pumped => "pumped",
            Self::Vented => "vented",
            Self::StoppedPurged => "stopped-purged",
        }
    }

    /// The name people read.
    pub fn name(self) -> &'static str {
        match self {
            Self::Pumped => "pumped",
            Self::Vented => "vented",
            Self::StoppedPurged => "pump stopped and purged",
        }
    }
}

/// Something a person does to find a cause.
#[derive(Clone, Debug)]
pub struct Check {
    /// Identifier.
    pub id: CheckId,
    /// Name people read.
    pub name: String,
    /// State the tool has to be in.
    pub state: ToolState,
    /// State the tool is in after it: the same, or pumped where the check pumps it down.
    pub leaves: ToolState,
    /// Signs that it looks for itself, so that stated together with its outcome they are one look.
    pub shows: Vec<SignId>,
    /// Whether it vents the chamber while the pump is stopped, so that it has to be pumped down
    /// beside the restart.
    pub vents: bool,
    /// Minutes it takes, without changing the tool's state.
    pub minutes: f64,
    /// Splits the candidates instead of revealing one.
    pub isolating: bool,
    /// Chance of the outcome "found" when none of its causes is present.
    pub false_alarm: f64,
    /// Cautions that stand before the procedure.
    pub cautions: Vec<CautionId>,
    /// Checks that have to come first, whatever they cost.
    pub needs_first: Vec<CheckId>,
    /// The same, of those that can be made on the tool.
    pub needs_first_if_fitted: Vec<CheckId>,
    /// Components without which the check makes no sense.
    pub needs_components: Vec<ComponentId>,
    /// Where the numbers come from.
    pub basis: String,
    /// Chance of the outcome "found" for each cause it answers to.
    pub reveals: BTreeMap<CauseId, f64>,
    /// For each class the components that it clears if it finds nothing: it shows most of what the causes of
    /// each weigh there by common practice.
    pub clears: BTreeMap<ClassId, Vec<ComponentId>>,
    /// Markdown.
    pub procedure: String,
}

impl Check {
    /// All that has to come first, if it can be made on the tool or not.
    pub fn first(&self) -> impl Iterator<Item = &CheckId> {
        self.needs_first.iter().chain(&self.needs_first_if_fitted)
    }
}
