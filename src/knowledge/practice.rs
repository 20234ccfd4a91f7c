//! The catalogue as the plain numbers of [`crate::advice`].

use std::collections::BTreeMap;

use crate::{
    advice::{AdviceError, CauseFacts, CheckFacts, ClassFacts, Knowledge, Observation, State},
    casebook, catalogue,
    catalogue::Catalogue,
    statistics,
};

/// Common practice as advice takes it.
///
/// # Errors
/// A catalogue whose numbers cannot be used.
pub fn of(catalogue: &Catalogue) -> Result<Knowledge, AdviceError> {
    let classes = catalogue
        .classes()
        .map(|class| ClassFacts {
            id: class.id.to_string(),
            components: class
                .components
                .iter()
                .chain(&class.optional)
                .map(ToString::to_string)
                .collect(),
            vent: class.minutes.vent,
            pump_down: class.minutes.pump_down,
            stop_and_purge: class.minutes.stop_and_purge,
            restart: class.minutes.restart,
        })
        .collect();
    let causes = catalogue
        .causes()
        .map(|cause| CauseFacts {
            id: cause.id.to_string(),
            component: cause.component.to_string(),
            weight: cause.weight,
            weights: named(&cause.weights),
            fix_minutes: cause.fix_minutes,
            fix_state: Some(state(cause.fix_state)),
            signs: named(&cause.signs),
            antecedents: named(&cause.antecedents),
            decades: cause.decades,
        })
        .collect();
    let signs = catalogue
        .signs()
        .map(|sign| Observation {
            id: sign.id.to_string(),
            background: sign.background,
        })
        .collect();
    let antecedents = catalogue
        .antecedents()
        .map(|antecedent| Observation {
            id: antecedent.id.to_string(),
            background: antecedent.background,
        })
        .collect();
    let checks = catalogue
        .checks()
        .map(|check| CheckFacts {
            id: check.id.to_string(),
            state: state(check.state),
            leaves_pumped: check.leaves != check.state,
            vents: check.vents,
            minutes: check.minutes,
            isolating: check.isolating,
            false_alarm: check.false_alarm,
            reveals: named(&check.reveals),
            needs_first: check.needs_first.iter().map(ToString::to_string).collect(),
            needs_first_if_fitted: check
                .needs_first_if_fitted
                .iter()
                .map(ToString::to_string)
                .collect(),
            needs_components: check
                .needs_components
                .iter()
                .map(ToString::to_string)
                .collect(),
        })
        .collect();
    Knowledge::new(classes, causes, signs, antecedents, checks)
}

/// The state of a tool as advice names it.
pub fn state(state: catalogue::ToolState) -> State {
    match state {
        catalogue::ToolState::Pumped => State::Pumped,
        catalogue::ToolState::Vented => State::Vented,
        catalogue::ToolState::StoppedPurged => State::StoppedPurged,
    }
}

/// The outcome of a check as statistics and advice name it.
pub fn outcome(outcome: casebook::Outcome) -> statistics::Outcome {
    match outcome {
        casebook::Outcome::Found => statistics::Outcome::Found,
        casebook::Outcome::Clear => statistics::Outcome::Clear,
        casebook::Outcome::Inconclusive => statistics::Outcome::Inconclusive,
    }
}

fn named<K: ToString>(chances: &BTreeMap<K, f64>) -> BTreeMap<String, f64> {
    chances
        .iter()
        .map(|(id, chance)| (id.to_string(), *chance))
        .collect()
}
