//! Causes of the catalogue, with what the fleet knows of each.

use std::collections::HashMap;

use axum::{
    extract::{Path, State},
    response::Html,
};

use crate::{
    catalogue::{Kind, ToolState},
    statistics::{Dimension, Filter, Share},
    web::{
        fault::{self, Fault},
        fields::address,
        finding::tools_by_name,
        show,
        state::App,
        views::{
            Link,
            cause::{CauseKind, CauseLine, CausePage, CausesPage},
            check::Reveal,
            incident::Fact,
            page::{Page, Section},
        },
    },
};

/// Cases shown on a cause's page.
const SHOWN: usize = 12;

pub(super) async fn list(State(app): State<App>) -> Result<Html<String>, Fault> {
    let counts: HashMap<String, u64> = app
        .knowledge
        .totals(Dimension::Cause, None, app.asker().only_site())
        .into_iter()
        .map(|total| (total.id, total.cases))
        .collect();
    let kinds = Kind::ALL
        .into_iter()
        .map(|kind| CauseKind {
            id: kind.id().to_owned(),
            name: show::capital(kind.name()),
            about: about(kind).to_owned(),
            causes: app
                .catalogue
                .causes()
                .filter(|cause| cause.kind == kind)
                .map(|cause| CauseLine {
                    name: cause.name.clone(),
                    href: format!("/causes/{}", cause.id),
                    component: app
                        .catalogue
                        .component(cause.component.as_str())
                        .map_or_else(String::new, |component| component.name.clone()),
                    mechanism: cause.mechanism.clone(),
                    cases: counts.get(cause.id.as_str()).copied().unwrap_or_default(),
                })
                .collect(),
        })
        .collect();
    fault::page(&CausesPage {
        page: Page::new("Causes", Section::Causes),
        kinds,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    Path(id): Path<String>,
) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let catalogue = &app.catalogue;
    let cause = catalogue
        .cause(&id)
        .ok_or_else(|| Fault::NotFound(format!("The catalogue has no cause called {id:?}.")))?;
    let counted = app.knowledge.by(
        Dimension::Cause,
        &Filter {
            site: asker.only_site().map(str::to_owned),
            ..Filter::default()
        },
    );
    let group = counted.groups.iter().find(|group| group.id == id);
    let (cases, numbers) = group.map_or((0, &[][..]), |g| (g.share.count, &g.recent[..]));
    let shown: Vec<i64> = numbers.iter().take(SHOWN).copied().collect();
    let present = app.store.present(&asker, &shown).await?;
    let tools = tools_by_name(&app, &asker).await?;
    let chances = |chance: &f64| show::percent(*chance);
    let mut facts = vec![
        Fact::new(
            "Component",
            catalogue
                .component(cause.component.as_str())
                .map_or_else(String::new, |component| component.name.clone()),
        ),
        Fact::new("Mechanism", cause.mechanism.clone()),
        Fact::new("Time to mend", show::minutes(cause.fix_minutes)),
        Fact::new("Mending needs the tool", mending(cause.fix_state)),
    ];
    if let Some((low, high)) = cause.decades {
        facts.push(Fact::new(
            "Usual loss",
            format!(
                "{} to {} decades",
                show::trimmed(low, 1),
                show::trimmed(high, 1)
            ),
        ));
    }
    let mut finding: Vec<_> = catalogue
        .checks()
        .filter_map(|check| Some((check, *check.reveals.get(id.as_str())?)))
        .collect();
    finding.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.name.cmp(&b.0.name)));
    let mut page = Page::new(cause.name.clone(), Section::Causes);
    page.trail = vec![Link::new("Causes", "/causes")];
    fault::page(&CausePage {
        page,
        name: cause.name.clone(),
        kind: show::capital(cause.kind.name()),
        facts,
        signs: cause
            .signs
            .iter()
            .filter_map(|(id, chance)| {
                Some(Reveal {
                    what: catalogue.sign(id.as_str())?.name.clone(),
                    href: None,
                    chance: chances(chance),
                })
            })
            .collect(),
        antecedents: cause
            .antecedents
            .iter()
            .filter_map(|(id, chance)| {
                Some(Reveal {
                    what: catalogue.antecedent(id.as_str())?.name.clone(),
                    href: None,
                    chance: chances(chance),
                })
            })
            .collect(),
        checks: finding
            .into_iter()
            .map(|(check, chance)| Reveal {
                what: check.name.clone(),
                href: Some(format!("/checks/{}", check.id)),
                chance: show::percent(chance),
            })
            .collect(),
        shares: shares(&app, &id),
        incidents: shown
            .iter()
            .filter_map(|number| {
                let incident = &present.get(number)?.incident;
                let tool = tools.get(&incident.tool);
                Some(show::incident_line(*number, incident, tool, catalogue))
            })
            .collect(),
        all_incidents: (cases > SHOWN as u64).then(|| {
            Link::new(
                format!("All {}", show::counted(cases, "case", "cases")),
                address("/search", [("cause", id.as_str())]),
            )
        }),
        basis: cause.basis.clone(),
    })
}

/// The cause's share of each class's cases, where the class has any.
fn shares(app: &App, id: &str) -> Vec<Fact> {
    let asker = app.asker();
    app.catalogue
        .classes()
        .filter_map(|class| {
            let totals =
                app.knowledge
                    .totals(Dimension::Cause, Some(class.id.as_str()), asker.only_site());
            let sample = totals.iter().map(|total| total.cases).sum();
            let cases = totals.iter().find(|total| total.id == id)?.cases;
            let share = Share::of(cases, sample);
            let interval = share.interval?;
            Some(Fact::new(
                class.name.clone(),
                format!(
                    "{} of {}: {} ({} to {})",
                    share.count,
                    show::counted(share.sample, "case", "cases"),
                    show::percent(share.value?),
                    show::percent(interval.low),
                    show::percent(interval.high)
                ),
            ))
        })
        .collect()
}

fn mending(state: ToolState) -> &'static str {
    match state {
        ToolState::Pumped => "pumped or in any other state",
        ToolState::Vented => "vented",
        ToolState::StoppedPurged => "with its pump stopped and purged",
    }
}

fn about(kind: Kind) -> &'static str {
    match kind {
        Kind::AirLeak => "Air comes in from outside.",
        Kind::WaterLeak => "Cooling water comes in.",
        Kind::Outgassing => {
            "Gas comes from inside: a trapped volume, a seal, a wet or dirty surface."
        }
        Kind::GaugeFault => "The pressure is right and the reading is wrong.",
        Kind::PumpingFault => "A pump or its valves no longer keep up.",
        Kind::ProcessChange => "Something about the process or its materials changed.",
    }
}
