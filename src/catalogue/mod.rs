//! The catalogue: tool classes, components, causes, signs, antecedents, cautions and
//! checks, as data files a service lead can edit.
//!
//! [`parse`] is pure and gathers every mistake with file and line; [`source`] is the
//! thin edge that reads a folder or the copy built into the program. Nothing here
//! knows of incidents, the store or the web.

mod by_id;
mod entries;
mod ids;
mod kind;
mod parse;
pub mod source;

use std::collections::BTreeSet;

use by_id::ById;
pub use entries::{
    Antecedent, Cause, Caution, Check, Component, Sign, StateMinutes, ToolClass, ToolState,
};
pub(crate) use ids::identifiers;
pub use ids::{AntecedentId, CauseId, CautionId, CheckId, ClassId, ComponentId, SignId};
pub use kind::Kind;
pub use parse::{Mistake, Mistakes, NOT_FOUND, SourceFile, parse};

/// Everything the trade knows beforehand, checked.
#[derive(Clone, Debug, Default)]
pub struct Catalogue {
    cautions: ById<CautionId, Caution>,
    components: ById<ComponentId, Component>,
    classes: ById<ClassId, ToolClass>,
    class_order: Vec<ClassId>,
    causes: ById<CauseId, Cause>,
    cause_order: Vec<CauseId>,
    signs: ById<SignId, Sign>,
    sign_order: Vec<SignId>,
    /// Groups of signs of which only one can be seen.
    exclusive: Vec<Vec<SignId>>,
    antecedents: ById<AntecedentId, Antecedent>,
    antecedent_order: Vec<AntecedentId>,
    checks: ById<CheckId, Check>,
    half_life_days: Option<f64>,
}

impl Catalogue {
    /// A caution by identifier.
    pub fn caution(&self, id: &str) -> Option<&Caution> {
        self.cautions.get(id)
    }

    /// Every caution, by identifier.
    pub fn cautions(&self) -> impl Iterator<Item = &Caution> {
        self.cautions.values()
    }

    /// A component by identifier.
    pub fn component(&self, id: &str) -> Option<&Component> {
        self.components.get(id)
    }

    /// A component with a number of its own below [`Catalogue::component_count`].
    pub(crate) fn numbered_component(&self, id: &str) -> Option<(usize, &Component)> {
        self.components.numbered(id)
    }

    /// How many components there are.
    pub(crate) fn component_count(&self) -> usize {
        self.components.len()
    }

    /// Every component, by identifier.
    pub fn components(&self) -> impl Iterator<Item = &Component> {
        self.components.values()
    }

    /// A tool class by identifier.
    pub fn class(&self, id: &str) -> Option<&ToolClass> {
        self.classes.get(id)
    }

    /// Every tool class in the order of the data file.
    pub fn classes(&self) -> impl Iterator<Item = &ToolClass> {
        self.class_order
            .iter()
            .filter_map(|id| self.classes.get(id))
    }

    /// A cause by identifier.
    pub fn cause(&self, id: &str) -> Option<&Cause> {
        self.causes.get(id)
    }

    /// Every cause in the order of the data file.
    pub fn causes(&self) -> impl Iterator<Item = &Cause> {
        self.cause_order.iter().filter_map(|id| self.causes.get(id))
    }

    /// A sign by identifier.
    pub fn sign(&self, id: &str) -> Option<&Sign> {
        self.signs.get(id)
    }

    /// Groups of signs of which only one can be seen at a time, by their meaning.
    pub fn exclusive_signs(&self) -> impl Iterator<Item = &[SignId]> {
        self.exclusive.iter().map(Vec::as_slice)
    }

    /// A sign among those `seen` that this one excludes by its meaning.
    pub fn excluded<'s>(
        &self,
        sign: &str,
        seen: impl IntoIterator<Item = &'s str>,
    ) -> Option<&Sign> {
        let has = |group: &[SignId], id: &str| group.iter().any(|other| other.as_str() == id);
        // Most signs are in none.
        let groups: Vec<_> = self
            .exclusive_signs()
            .filter(|group| has(group, sign))
            .collect();
        let excludes = |other: &str| other != sign && groups.iter().any(|group| has(group, other));
        let other = seen
            .into_iter()
            .find(|other| !groups.is_empty() && excludes(other));
        other.and_then(|other| self.sign(other))
    }

    /// What is wrong with a sign that another seen one excludes.
    pub fn contradiction(&self, sign: &str, other: &Sign) -> String {
        let name = self.sign(sign).map_or(sign, |sign| sign.name.as_str());
        format!("“{name}” and “{}” exclude each other", other.name)
    }

    /// Every sign in the order of the data file.
    pub fn signs(&self) -> impl Iterator<Item = &Sign> {
        self.sign_order.iter().filter_map(|id| self.signs.get(id))
    }

    /// The signs worth asking about on a tool with these components: those that some
    /// cause on them brings about, in the order of the data file.
    pub fn signs_of<'a>(
        &'a self,
        components: &'a BTreeSet<ComponentId>,
    ) -> impl Iterator<Item = &'a Sign> {
        let told: BTreeSet<&SignId> = self
            .causes
            .values()
            .filter(|cause| components.contains(&cause.component))
            .flat_map(|cause| cause.signs.keys())
            .collect();
        self.signs().filter(move |sign| told.contains(&sign.id))
    }

    /// Those of them that somebody at the tool can look for.
    pub fn signs_asked_of<'a>(
        &'a self,
        components: &'a BTreeSet<ComponentId>,
    ) -> impl Iterator<Item = &'a Sign> {
        let signs = self.signs_of(components);
        signs.filter(|sign| has(components, &sign.needs_components))
    }

    /// Those of [`Catalogue::antecedents_of`] that can have happened to the tool.
    pub fn antecedents_asked_of<'a>(
        &'a self,
        components: &'a BTreeSet<ComponentId>,
    ) -> impl Iterator<Item = &'a Antecedent> {
        let antecedents = self.antecedents_of(components);
        antecedents.filter(|antecedent| has(components, &antecedent.needs_components))
    }

    /// Whether a check that shows a sign is to be expected to find something, or nothing, where the sign
    /// was seen or is lacking; none where that tells neither. An isolating check looks for more than one
    /// thing, so by common practice over all causes the odds have to move.
    pub fn expects(&self, check: &Check, sign: &SignId, seen: bool) -> Option<bool> {
        if !check.isolating {
            return Some(seen);
        }
        if !seen {
            return (check.shows.len() == 1).then_some(false);
        }
        let background = self.sign(sign.as_str())?.background;
        let odds = |weigh: &dyn Fn(&Cause) -> f64| {
            let (mut found, mut clear) = (0.0, 0.0);
            for cause in self.causes.values() {
                let chance = check.reveals.get(&cause.id).copied();
                let chance = chance.unwrap_or(check.false_alarm);
                found += weigh(cause) * chance;
                clear += weigh(cause) * (1.0 - chance);
            }
            found / clear
        };
        let of_sign = |cause: &Cause| cause.signs.get(sign).copied().unwrap_or(background);
        let moved = odds(&|cause| cause.weight * of_sign(cause)) / odds(&|cause| cause.weight);
        if moved > 1.6 {
            Some(true)
        } else {
            (moved < 0.6).then_some(false)
        }
    }

    /// Whether a sign or an antecedent is one of something that a tool with these components has.
    pub fn can_be_told(&self, id: &str, components: &BTreeSet<ComponentId>) -> bool {
        let sign = self.sign(id).map(|sign| &sign.needs_components);
        let needs = sign.or_else(|| Some(&self.antecedent(id)?.needs_components));
        needs.is_none_or(|needs| has(components, needs))
    }

    /// The antecedents worth asking about on a tool with these components.
    pub fn antecedents_of<'a>(
        &'a self,
        components: &'a BTreeSet<ComponentId>,
    ) -> impl Iterator<Item = &'a Antecedent> {
        let told: BTreeSet<&AntecedentId> = self
            .causes
            .values()
            .filter(|cause| components.contains(&cause.component))
            .flat_map(|cause| cause.antecedents.keys())
            .collect();
        self.antecedents()
            .filter(move |antecedent| told.contains(&antecedent.id))
    }

    /// An antecedent by identifier.
    pub fn antecedent(&self, id: &str) -> Option<&Antecedent> {
        self.antecedents.get(id)
    }

    /// Every antecedent in the order of the data file.
    pub fn antecedents(&self) -> impl Iterator<Item = &Antecedent> {
        self.antecedent_order
            .iter()
            .filter_map(|id| self.antecedents.get(id))
    }

    /// A check by identifier.
    pub fn check(&self, id: &str) -> Option<&Check> {
        self.checks.get(id)
    }

    /// Every check, by identifier.
    pub fn checks(&self) -> impl Iterator<Item = &Check> {
        self.checks.values()
    }

    /// Days after which a closed case counts half; none if old cases count in full.
    pub fn half_life_days(&self) -> Option<f64> {
        self.half_life_days
    }

    /// The name people read for a cause, including "not found".
    pub fn cause_name<'a>(&'a self, id: &'a str) -> &'a str {
        if id == NOT_FOUND {
            "not found"
        } else {
            self.cause(id).map_or(id, |cause| cause.name.as_str())
        }
    }
}

fn has(components: &BTreeSet<ComponentId>, needs: &[ComponentId]) -> bool {
    needs.iter().all(|part| components.contains(part))
}
