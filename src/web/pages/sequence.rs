//! The check sequence of a tool or a class.

use axum::{
    extract::{Path, State},
    response::{Html, IntoResponse, Redirect, Response},
};

use super::checks::hazards;
use crate::{
    catalogue::{Check, ToolState},
    knowledge::{Advice, AdvisedCheck},
    web::{
        asked_sequence::{self, About},
        fault::{self, Fault},
        fields::{Asked, Pairs, address},
        show,
        state::App,
        views::{
            Link,
            bar::ShareBar,
            form::{ErrorSummary, Field, Fields, OptionGroup, SelectOption},
            page::{Page, Section},
            sequence::{Belief, EvidenceForm, SequencePage, SequenceStartPage, SequenceStep},
        },
    },
};

/// Likely causes named per check.
const NAMED: usize = 6;

/// Causes below this chance are not listed.
const NEGLIGIBLE: f64 = 0.001;

pub(super) async fn choose(State(app): State<App>, asked: Asked) -> Result<Response, Fault> {
    let asker = app.asker();
    let mut errors = ErrorSummary::default();
    if let Some(id) = asked.get("tool") {
        if app.store.tool(&asker, id).await?.is_some() {
            return Ok(Redirect::to(&format!("/sequence/tools/{id}")).into_response());
        }
        errors = ErrorSummary::new(
            &[format!("The fleet has no tool called {id:?}.")],
            Vec::new(),
        );
    }
    let tools = app.store.tools(&asker).await?;
    let mut groups = vec![OptionGroup {
        label: String::new(),
        options: vec![SelectOption::new("", "Choose…")],
    }];
    for site in app.store.sites(&asker).await? {
        groups.push(OptionGroup {
            label: format!("{} · {}", site.code, site.name),
            options: tools
                .iter()
                .filter(|tool| tool.site == site.code)
                .map(|tool| {
                    let class = show::class_name(&app.catalogue, tool.class.as_str());
                    SelectOption::new(tool.id.as_str(), format!("{} · {class}", tool.id))
                })
                .collect(),
        });
    }
    let page = fault::page(&SequenceStartPage {
        page: Page::new("What to check next", Section::Sequence),
        tool: (!tools.is_empty()).then(|| Field::select("tool", "Tool", groups)),
        classes: app
            .catalogue
            .classes()
            .map(|class| {
                Link::new(
                    class.name.clone(),
                    format!("/sequence/classes/{}", class.id),
                )
            })
            .collect(),
        errors,
    })?;
    Ok(page.into_response())
}

pub(super) async fn of_tool(
    State(app): State<App>,
    Path(id): Path<String>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let tool = app
        .store
        .tool(&app.asker(), &id)
        .await?
        .ok_or_else(|| Fault::NotFound(format!("The fleet has no tool called {id:?}.")))?;
    let here = format!("/sequence/tools/{}", tool.id);
    let mut view = view(&app, &About::Tool(&tool), &asked, here);
    view.tool = Some(Link::new(tool.id.as_str(), format!("/tools/{}", tool.id)));
    view.page.title = format!("What to check next on {}", tool.id);
    let mut report: Vec<(String, String)> = vec![("tool".to_owned(), tool.id.to_string())];
    for (row, (check, outcome)) in asked.below("outcomes.").enumerate() {
        report.push((format!("checks.{row}.check"), check.to_owned()));
        report.push((format!("checks.{row}.outcome"), outcome.to_owned()));
    }
    for group in ["signs.", "antecedents."] {
        for (id, answer) in asked.below(group) {
            report.push((format!("{group}{id}"), answer.to_owned()));
        }
    }
    view.report = Some(Link::new(
        "Write the report",
        address(
            "/incidents/new",
            report.iter().map(|(n, v)| (n.as_str(), v.as_str())),
        ),
    ));
    fault::page(&view)
}

pub(super) async fn of_class(
    State(app): State<App>,
    Path(id): Path<String>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let class = app.catalogue.class(&id).ok_or_else(|| {
        Fault::NotFound(format!("The catalogue has no tool class called {id:?}."))
    })?;
    let here = format!("/sequence/classes/{}", class.id);
    fault::page(&view(&app, &About::Class(class), &asked, here))
}

fn view(app: &App, about: &About<'_>, asked: &Pairs, here: String) -> SequencePage {
    let catalogue = &app.catalogue;
    let mut question = about.question();
    let mut refusals = Vec::new();
    for (name, value) in asked.iter().filter(|(_, value)| !value.trim().is_empty()) {
        if let Err(refusal) = asked_sequence::state(&mut question, catalogue, name, value.trim()) {
            refusals.push(refusal);
        }
    }
    let advice = app.knowledge.advise(&question, catalogue);
    let mut evidence = evidence(app, about, &advice, here);
    for (name, value) in asked.iter() {
        evidence.fill(name, value);
    }
    for refusal in refusals {
        evidence.refuse(
            &refusal.field,
            &format!("{}; accepted: {}", refusal.problem, refusal.accepted),
        );
    }
    let saved = advice.practice_minutes - advice.expected_minutes;
    let mut page = Page::new("What to check next", Section::Sequence);
    page.trail = vec![Link::new("Next check", "/sequence")];
    SequencePage {
        page,
        tool: None,
        tool_class: show::class_name(catalogue, about.class().as_str()),
        basis: basis(&advice),
        steps: steps(app, &advice),
        expected: show::minutes(advice.expected_minutes),
        practice: show::minutes(advice.practice_minutes),
        saving: if saved.round() >= 1.0 {
            format!("{} less than common practice", show::minutes(saved))
        } else {
            String::new()
        },
        proven: false,
        method: "Each step is the check with most chance of finding the cause per minute, the \
                 minutes of venting or pumping down included; a later step may still change what \
                 is best."
            .to_owned(),
        warnings: Vec::new(),
        beliefs: beliefs(&advice),
        evidence,
        report: None,
    }
}

fn basis(advice: &Advice<'_>) -> String {
    format!(
        "{} of this class, {} in the fleet, and common practice (no source)",
        show::counted(advice.class_cases, "closed case", "closed cases"),
        show::count(advice.fleet_cases),
    )
}

fn beliefs(advice: &Advice<'_>) -> Vec<Belief> {
    let full = ShareBar::axis_end(advice.believed.iter().map(|b| b.chance));
    advice
        .believed
        .iter()
        .filter(|b| b.chance >= NEGLIGIBLE)
        .map(|b| Belief {
            cause: Some(Link::new(
                b.cause.name.clone(),
                format!("/causes/{}", b.cause.id),
            )),
            chance: show::percent(b.chance),
            bar: ShareBar::new(b.chance, b.chance, b.chance, full),
        })
        .collect()
}

fn steps(app: &App, advice: &Advice<'_>) -> Vec<SequenceStep> {
    let highs = advice.checks.iter().map(|step| {
        step.interval
            .map_or(step.chance, |interval| interval.high.max(step.chance))
    });
    let full = ShareBar::axis_end(highs);
    let mut state = ToolState::Pumped;
    advice
        .checks
        .iter()
        .enumerate()
        .map(|(index, step)| {
            let view = step_view(app, advice, index + 1, step, state, full);
            state = step.check.state;
            view
        })
        .collect()
}

fn step_view(
    app: &App,
    advice: &Advice<'_>,
    place: usize,
    step: &AdvisedCheck<'_>,
    before: ToolState,
    full: f64,
) -> SequenceStep {
    let check = step.check;
    let (low, high) = step
        .interval
        .map_or((step.chance, step.chance), |interval| {
            (interval.low, interval.high)
        });
    SequenceStep {
        place,
        id: check.id.to_string(),
        name: check.name.clone(),
        href: format!("/checks/{}", check.id),
        isolating: check.isolating,
        chance: show::percent(step.chance),
        interval: step.interval.map_or_else(String::new, |interval| {
            format!(
                "{} to {} of the class's cases",
                show::percent(interval.low),
                show::percent(interval.high)
            )
        }),
        bar: ShareBar::new(step.chance, low, high, full),
        minutes: show::minutes(check.minutes),
        state: show::capital(check.state.name()),
        change: change(step.change_minutes, before, check.state),
        hazards: hazards(check, &app.catalogue),
        reveals: reveals(check, advice),
        cases: if check.isolating {
            String::new()
        } else {
            format!(
                "{} of {} in this class",
                show::count(step.case_count),
                show::counted(advice.class_cases, "case", "cases")
            )
        },
        case_links: step
            .cases
            .iter()
            .map(|number| Link::new(number.to_string(), format!("/incidents/{number}")))
            .collect(),
        moved: step.moved,
        moved_by: moved_by(step, advice),
        if_clear: step.if_clear.map_or_else(String::new, |(name, chance)| {
            format!("if clear, likeliest is: {name} ({})", show::percent(chance))
        }),
    }
}

fn change(minutes: f64, from: ToolState, to: ToolState) -> String {
    if minutes <= 0.0 {
        return String::new();
    }
    let what = match (from, to) {
        (_, ToolState::Vented) => "venting first",
        (_, ToolState::StoppedPurged) => "stopping and purging first",
        (ToolState::StoppedPurged, ToolState::Pumped) => "starting the pump again first",
        (_, ToolState::Pumped) => "pumping down first",
    };
    format!("{what}: {}", show::minutes(minutes))
}

/// The causes a check can find, likeliest first.
fn reveals(check: &Check, advice: &Advice<'_>) -> Vec<Link> {
    if check.isolating {
        return Vec::new();
    }
    advice
        .believed
        .iter()
        .filter(|b| check.reveals.contains_key(&b.cause.id))
        .take(NAMED)
        .map(|b| Link::new(b.cause.name.clone(), format!("/causes/{}", b.cause.id)))
        .collect()
}

/// The cause whose chance moved the check most against common practice.
fn moved_by(step: &AdvisedCheck<'_>, advice: &Advice<'_>) -> String {
    let moved = advice
        .believed
        .iter()
        .filter_map(|b| {
            let detection = step.check.reveals.get(&b.cause.id)?;
            Some((b, (b.chance - b.practice) * detection))
        })
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    match moved {
        Some((b, difference)) if difference.abs() >= 0.005 => format!(
            "{}: {} here, {} by common practice",
            b.cause.name,
            show::percent(b.chance),
            show::percent(b.practice)
        ),
        _ => String::new(),
    }
}

fn evidence(app: &App, about: &About<'_>, advice: &Advice<'_>, here: String) -> EvidenceForm {
    let catalogue = &app.catalogue;
    let components = about.components();
    let states = ToolState::ALL
        .into_iter()
        .map(|state| {
            let usual = state == ToolState::Pumped;
            SelectOption {
                selected: usual,
                // The usual state is not something stated.
                ..SelectOption::new(
                    if usual { "" } else { state.id() },
                    show::capital(state.name()),
                )
            }
        })
        .collect();
    let left = advice.checks.iter().map(|step| step.check);
    let done = catalogue
        .checks()
        .filter(|check| !advice.checks.iter().any(|step| step.check.id == check.id))
        .filter(|check| {
            check
                .needs_components
                .iter()
                .all(|component| components.contains(component))
        });
    EvidenceForm {
        hidden: Vec::new(),
        signs: catalogue
            .signs_of(&components)
            .map(|sign| EvidenceForm::question("signs", sign.id.as_str(), &sign.ask))
            .collect(),
        antecedents: catalogue
            .antecedents_of(&components)
            .map(|a| EvidenceForm::question("antecedents", a.id.as_str(), &a.name))
            .collect(),
        pressures: vec![Field::choice("state", "The tool is now", states)],
        outcomes: left
            .chain(done)
            .map(|check| EvidenceForm::outcome(check.id.as_str(), &check.name))
            .collect(),
        general: Vec::new(),
        clear: here,
    }
}
