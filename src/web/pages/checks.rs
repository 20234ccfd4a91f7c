//! Checks and their procedures.

use axum::{
    extract::{Path, State},
    response::Html,
};

use super::markdown;
use crate::{
    catalogue::{Catalogue, CautionId, Check, ToolState},
    web::{
        fault::{self, Fault},
        show,
        state::App,
        views::{
            CautionBox, Link,
            check::{CheckGroup, CheckLine, CheckPage, ChecksPage, Reveal},
            page::{Page, Section},
        },
    },
};

pub(super) async fn list(State(app): State<App>) -> Result<Html<String>, Fault> {
    let groups = ToolState::ALL
        .into_iter()
        .map(|state| CheckGroup {
            state: show::capital(state.name()),
            about: about(state).to_owned(),
            checks: app
                .catalogue
                .checks()
                .filter(|check| check.state == state)
                .map(|check| line(check, &app.catalogue))
                .collect(),
        })
        .filter(|group| !group.checks.is_empty())
        .collect();
    fault::page(&ChecksPage {
        page: Page::new("Checks", Section::Checks),
        groups,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Result<Html<String>, Fault> {
    let catalogue = &app.catalogue;
    let check = catalogue
        .check(&id)
        .ok_or_else(|| Fault::NotFound(format!("The catalogue has no check called {id:?}.")))?;
    let mut page = Page::new(check.name.clone(), Section::Checks);
    page.trail = vec![Link::new("Checks", "/checks")];
    let mut reveals: Vec<_> = check
        .reveals
        .iter()
        .filter_map(|(cause, chance)| Some((catalogue.cause(cause.as_str())?, *chance)))
        .collect();
    reveals.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.name.cmp(&b.0.name)));
    fault::page(&CheckPage {
        page,
        name: check.name.clone(),
        minutes: show::minutes(check.minutes),
        state: match check.leaves == check.state {
            true => show::capital(check.state.name()),
            false => format!(
                "{}, {} after it",
                show::capital(check.state.name()),
                check.leaves.name()
            ),
        },
        isolating: check.isolating,
        cautions: cautions(check.cautions.iter(), catalogue),
        needs_first: check
            .first()
            .filter_map(|first| catalogue.check(first.as_str()))
            .map(|first| {
                let name = match check.needs_first_if_fitted.contains(&first.id) {
                    true => format!("{} (where the tool has it)", first.name),
                    false => first.name.clone(),
                };
                Link::new(name, format!("/checks/{}", first.id))
            })
            .collect(),
        needs_components: check
            .needs_components
            .iter()
            .filter_map(|id| catalogue.component(id.as_str()))
            .map(|component| component.name.clone())
            .collect(),
        procedure: markdown::render(&check.procedure),
        reveals: reveals
            .into_iter()
            .map(|(cause, chance)| Reveal {
                what: cause.name.clone(),
                href: Some(format!("/causes/{}", cause.id)),
                chance: show::percent(chance),
            })
            .collect(),
        false_alarm: show::percent(check.false_alarm),
        basis: check.basis.clone(),
        back: None,
    })
}

/// Cautions in words.
pub(super) fn cautions<'a>(
    ids: impl Iterator<Item = &'a CautionId>,
    catalogue: &Catalogue,
) -> Vec<CautionBox> {
    ids.filter_map(|id| catalogue.caution(id.as_str()))
        .map(|caution| CautionBox {
            hazard: caution.hazard.clone(),
            text: markdown::render(&caution.text),
        })
        .collect()
}

/// The hazards of a check in few words.
pub(super) fn hazards(check: &Check, catalogue: &Catalogue) -> Vec<String> {
    check
        .cautions
        .iter()
        .filter_map(|id| catalogue.caution(id.as_str()))
        .map(|caution| caution.hazard.clone())
        .collect()
}

fn line(check: &Check, catalogue: &Catalogue) -> CheckLine {
    let causes = check.reveals.len() as u64;
    CheckLine {
        name: check.name.clone(),
        href: format!("/checks/{}", check.id),
        minutes: show::minutes(check.minutes),
        isolating: check.isolating,
        hazards: hazards(check, catalogue),
        reveals: if check.isolating {
            format!("splits {}", show::counted(causes, "cause", "causes"))
        } else {
            format!("reveals {}", show::counted(causes, "cause", "causes"))
        },
    }
}

fn about(state: ToolState) -> &'static str {
    match state {
        ToolState::Pumped => "The chamber stays under vacuum.",
        ToolState::Vented => "The chamber is at atmosphere, the high-vacuum pump shut off from it.",
        ToolState::StoppedPurged => {
            "The high-vacuum pump is stopped, warm or run down, and at atmosphere."
        }
    }
}
