//! The check sequence of a tool or a class.

use axum::{
    extract::{Path, State},
    response::{Html, IntoResponse, Redirect, Response},
};

use super::{checks::hazards, report::unit_id};
use crate::{
    advice::{Advice, Shift, Step},
    catalogue::{Catalogue, Kind, ToolState},
    search::Stated,
    statistics::Outcome,
    vacuum::units::{PressureUnit, TypedPressure, read_pressure},
    web::{
        asked_sequence::{AGAIN, About, Answer, MADE, in_order_made, pressure_pairs},
        fault::{self, Fault},
        fields::{Asked, Pairs, address, place},
        show,
        state::App,
        views::{
            Link,
            bar::ShareBar,
            form::{ErrorSummary, Field, Fields, Hidden, LineKind, OptionGroup, SelectOption},
            page::{Page, Section},
            sequence::{
                Belief, Carried, EvidenceForm, SequencePage, SequenceStartPage, SequenceStep,
            },
        },
    },
};

/// An outcome that tells nothing, as a form sends it.
const UNSURE: &str = "inconclusive";

/// Causes below this chance are not listed.
const NEGLIGIBLE: f64 = 0.001;

pub(super) async fn choose(State(app): State<App>, asked: Asked) -> Result<Response, Fault> {
    let asker = app.asker();
    let mut errors = ErrorSummary::default();
    if let Some(id) = asked.get("tool") {
        if app.store.tool(&asker, id).await?.is_some() {
            return Ok(Redirect::to(&place("/sequence/tools", id)).into_response());
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
    let here = place("/sequence/tools", tool.id.as_str());
    let mut view = view(&app, &About::Tool(&tool), &asked, here).await?;
    view.tool = Some(Link::new(
        tool.id.as_str(),
        place("/tools", tool.id.as_str()),
    ));
    view.page.title = format!("What to check next on {}", tool.id);
    let mut report: Vec<(String, String)> = vec![("tool".to_owned(), tool.id.to_string())];
    if view.found.is_empty() {
        report.push(("status".to_owned(), "open".to_owned()));
    }
    for (row, (check, outcome)) in in_order_made(&app.catalogue, &asked)
        .into_iter()
        .enumerate()
    {
        report.push((format!("checks.{row}.check"), check.to_owned()));
        report.push((format!("checks.{row}.outcome"), outcome.to_owned()));
    }
    for group in ["signs.", "antecedents.", "pressures."] {
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
    let mut view = view(&app, &About::Class(class), &asked, here).await?;
    view.page.title = format!("What to check next: {}", class.name);
    fault::page(&view)
}

async fn view(
    app: &App,
    about: &About<'_>,
    asked: &Pairs,
    here: String,
) -> Result<SequencePage, Fault> {
    let catalogue = &app.catalogue;
    let mut question = about.question();
    let mut messages: Vec<(String, String)> = Vec::new();
    for refusal in question.state_form(catalogue, asked) {
        let message = format!("{}; accepted: {}", refusal.problem, refusal.accepted);
        messages.push((refusal.field, message));
    }
    let mut typed = |which: &str| {
        let field = format!("pressures.{which}");
        let text = asked.get(&format!("{field}.value"))?;
        let unit = asked.get(&format!("{field}.unit"));
        let read = read_pressure(text, unit.and_then(|unit| unit.parse().ok()));
        read.map_err(|error| messages.push((field, error.to_string())))
            .ok()
    };
    let (healthy, faulty) = (typed("healthy"), typed("faulty"));
    if let Some(faulty) = faulty
        && let Err(refusal) = question.loss(healthy.unwrap_or_else(|| about.healthy_base()), faulty)
    {
        let message = format!("{}; accepted: {}", refusal.problem, refusal.accepted);
        messages.push((refusal.field, message));
    }
    let site_price = about.price_of_help(app).await?;
    let stated_price = question.price();
    question.priced(site_price);
    let price = question.price().map(|minutes| Price {
        minutes,
        of_site: stated_price.is_none(),
    });
    let state = question.state;
    let made = question.made(catalogue);
    let answer = question.ask(app).await?;
    let advice = &answer.advice;
    let mut evidence = evidence(app, about, advice, here, site_price);
    for (name, value) in asked.iter() {
        // The last outcome that could be judged is the one that counts, so it is sent again.
        let judged = |(other, value): (&str, &str)| other == name && value != UNSURE;
        if value != UNSURE || !asked.iter().any(judged) {
            evidence.fill(name, value);
        }
    }
    if !made.is_empty() {
        evidence.hidden.push(Hidden {
            name: MADE.to_owned(),
            value: made,
        });
    }
    for (field, message) in messages {
        evidence.refuse(&field, &message);
    }
    let saved = advice.practice_mended_minutes - advice.mended_minutes;
    let carried = carried(catalogue, asked);
    let mut page = Page::new("What to check next", Section::Sequence);
    page.trail = vec![Link::new("Next check", "/sequence")];
    Ok(SequencePage {
        page,
        tool: None,
        tool_class: show::class_name(catalogue, about.class().as_str()),
        basis: basis(catalogue, advice),
        carried,
        steps: steps(catalogue, &answer, state),
        found: found(catalogue, &answer),
        expected: show::minutes(advice.expected_minutes),
        practice: show::minutes(advice.practice_minutes),
        if_found: if_found(advice),
        mended: show::minutes(advice.mended_minutes),
        practice_mended: show::minutes(advice.practice_mended_minutes),
        saving: if saved.round() >= 1.0 {
            format!("{} less than common practice", show::minutes(saved))
        } else {
            String::new()
        },
        proven: advice.proven,
        method: method(advice),
        stop: stop(catalogue, &answer, price),
        end: end(&answer, price),
        warnings: warnings(catalogue, &answer),
        beliefs: beliefs(catalogue, advice),
        evidence,
        report: None,
    })
}

/// The address of the sequence of a tool or a class, with what a search states filled in as far as it is
/// asked of such tools.
pub(super) fn address_from_search(
    about: &About<'_>,
    typed: &str,
    stated: &Stated,
    catalogue: &Catalogue,
) -> String {
    let components = about.components();
    let healthy = about.healthy_base();
    let answer = |seen: &bool| if *seen { "seen" } else { "absent" };
    let mut pairs: Vec<(String, String)> = Vec::new();
    for sign in catalogue.signs_asked_of(&components) {
        let told = stated.signs.get(&sign.id);
        pairs.extend(told.map(|seen| (format!("signs.{}", sign.id), answer(seen).to_owned())));
    }
    for before in catalogue.antecedents_asked_of(&components) {
        let told = stated.antecedents.get(&before.id);
        pairs.extend(told.map(|seen| {
            (
                format!("antecedents.{}", before.id),
                answer(seen).to_owned(),
            )
        }));
    }
    if let Some((value, written)) = stated.faulty {
        let unit = written.unwrap_or(healthy.unit);
        // Three digits are more than anybody typed; computing them back from a logarithm adds more.
        let rounded = format!("{value:.2e}").parse().unwrap_or(value);
        let faulty = TypedPressure {
            value: rounded,
            unit,
        };
        let pascals = |typed: TypedPressure| typed.pressure().map_or(0.0, |p| p.pascals());
        // A pressure that is no loss says nothing of what is lost.
        if pascals(faulty) > pascals(healthy) {
            pairs.extend(pressure_pairs("faulty", faulty));
            if written.is_none() {
                pairs.push((UNIT_TAKEN.to_owned(), unit_id(unit).to_owned()));
            }
        }
    }
    pairs.push((
        SEARCH.to_owned(),
        typed.chars().take(LONGEST_SEARCH).collect(),
    ));
    let page = match about {
        About::Tool(tool) => place("/sequence/tools", tool.id.as_str()),
        About::Class(class) => place("/sequence/classes", class.id.as_str()),
    };
    address(
        &page,
        pairs
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str())),
    )
}

/// Under this name the address of a sequence holds the search that led to it.
const SEARCH: &str = "search";

/// Under this name it holds the unit that the search's pressure was taken to be in, since none was typed.
const UNIT_TAKEN: &str = "search_unit";

/// So many characters of it: an address has to fit everywhere.
const LONGEST_SEARCH: usize = 300;

/// What the search that led here brought along, in words; none if none did.
fn carried(catalogue: &Catalogue, asked: &Pairs) -> Option<Carried> {
    let typed = asked.get(SEARCH)?;
    let told = |group: &str, name: &dyn Fn(&str) -> Option<String>| -> Vec<String> {
        let each = asked.below(group).filter_map(|(id, answer)| {
            let no = if ["seen", "true"].contains(&answer) {
                ""
            } else {
                "not: "
            };
            Some(format!("{no}{}", name(id)?))
        });
        each.collect()
    };
    let mut all = told("signs.", &|id| Some(catalogue.sign(id)?.name.clone()));
    all.extend(told("antecedents.", &|id| {
        Some(catalogue.antecedent(id)?.name.clone())
    }));
    let unit = asked.get("pressures.faulty.unit").unwrap_or_default();
    let value = asked.get("pressures.faulty.value");
    let taken = asked.get(UNIT_TAKEN) == Some(unit);
    all.extend(value.map(|value| match unit.parse::<PressureUnit>() {
        Ok(unit) if taken => format!(
            "{value} at the fault, taken as {unit} since no unit was typed: change it where the tool \
             reads another"
        ),
        Ok(unit) => format!("{value} {unit} at the fault"),
        Err(_) => format!("{value} at the fault"),
    }));
    Some(Carried {
        search: Link::new(typed, address("/search", [("q", typed)])),
        what: all.join("; "),
    })
}

fn basis(catalogue: &Catalogue, advice: &Advice) -> String {
    format!(
        "{} of this class, {} in the fleet, and common practice (no source). {}",
        show::counted(advice.belief.class_cases, "closed case", "closed cases"),
        show::count(advice.belief.fleet_cases),
        show::old_cases(catalogue.half_life_days()),
    )
}

fn method(advice: &Advice) -> String {
    let counted = "Minutes of venting, pumping down and starting the pump again are counted, and \
                   that a fix may need the tool in another state than the check that finds it.";
    if advice.proven {
        format!("{counted} No other order has fewer expected minutes until the fix is proven.")
    } else {
        format!(
            "{counted} Too many checks are left to try every order: the best one could be up to \
             {} shorter.",
            show::minutes(advice.expected_minutes - advice.lower_bound)
        )
    }
}

/// What bringing help costs, and who says so.
#[derive(Clone, Copy)]
struct Price {
    minutes: f64,
    of_site: bool,
}

/// The checks that have found something, in words; empty if none has.
fn found(catalogue: &Catalogue, answer: &Answer) -> String {
    let checks = answer.found.iter();
    let names: Vec<String> = checks
        .filter_map(|id| catalogue.check(id.as_str()))
        .map(|check| format!("“{}”", check.name))
        .collect();
    show::all_of(&names.iter().map(String::as_str).collect::<Vec<_>>())
}

fn stop(catalogue: &Catalogue, answer: &Answer, price: Option<Price>) -> String {
    let advice = &answer.advice;
    let Some(price) = price else {
        return String::new();
    };
    if !answer.found.is_empty() {
        return "Not now: something is found. Mend it and pump down first; help is of use if the \
                pressure does not come back."
            .to_owned();
    }
    let costs = costs(price);
    let Some(stop) = advice.stop else {
        if answer.ended() {
            return String::new();
        }
        return format!(
            "As long as the checks come out as assumed here, going on is expected to cost less \
             than bringing help does: {costs}."
        );
    };
    let place = stop
        .after
        .checked_sub(1)
        .and_then(|at| advice.steps.get(at));
    let when = match place.and_then(|step| catalogue.check(&step.check)) {
        Some(check) => format!("If “{}” leaves the cause open", check.name),
        None => "Now".to_owned(),
    };
    let left = format!(
        "the checks left would take {} on average, more than bringing help costs: {costs}.",
        show::minutes(stop.left_minutes)
    );
    let to_make = stop.before_help.and_then(|before| {
        let last = advice.steps.get(stop.after + before.checks - 1)?;
        let last = catalogue.check(&last.check)?;
        let which = match before.checks {
            1 => format!("“{}”", last.name),
            more => format!("the next {more} checks, down to “{}”,", last.name),
        };
        Some((which, before))
    });
    match help(answer) {
        Some(help) => match to_make {
            Some((which, before)) => format!(
                "{}, {left} Still make {which} before you bring {help}: the chance to find the cause \
                 by that is {}, and with help only where it stays open the search takes no more than {} on average.{}",
                if stop.after == 0 {
                    "As it stands"
                } else {
                    &when
                },
                show::percent(before.chance),
                show::minutes(before.minutes),
                blind(catalogue, answer)
            ),
            None => format!("{when}, bring {help}: {left}{}", blind(catalogue, answer)),
        },
        None => format!(
            "{when}, look for what is not listed here, or have the helium leak test or the residual gas \
             analysis made again, since both were made: {left}"
        ),
    }
}

/// That help would most likely find nothing, since neither kind of it sees what a gauge or a pump lacks;
/// empty where it is as likely to.
fn blind(catalogue: &Catalogue, answer: &Answer) -> String {
    let unseen = |id: &str| {
        let cause = catalogue.cause(id);
        cause.is_some_and(|cause| matches!(cause.kind, Kind::GaugeFault | Kind::PumpingFault))
    };
    let causes = answer.advice.belief.causes.iter();
    let chance: f64 = causes
        .filter(|cause| unseen(&cause.id))
        .map(|cause| cause.chance)
        .sum();
    if chance <= 0.5 {
        return String::new();
    }
    format!(
        " By what is known it is a fault of a gauge or a pump with {}, which neither shows: they help to \
         rule a leak out.",
        show::percent(chance)
    )
}

/// How much of the expected time is for a search that these checks end.
fn if_found(advice: &Advice) -> String {
    let found = advice.found;
    if found.share <= 0.0 {
        return String::new();
    }
    format!(
        "The mean of all searches. These checks find the cause in {} of them, after {} on average; in the \
         others all are made and none finds it.",
        show::percent(found.share),
        show::minutes(found.minutes / found.share)
    )
}

/// The help that has not been had yet; none if both kinds have.
fn help(answer: &Answer) -> Option<&'static str> {
    let had = |checks: [&str; 2]| checks.iter().any(|check| answer.judged.contains(*check));
    let helium = had(["helium-leak-test", "helium-leak-test-hired"]);
    let analyser = had(["residual-gas-scan", "residual-gas-analysis-hired"]);
    match (helium, analyser) {
        (false, false) => Some("the helium leak detector or the residual gas analyser"),
        (false, true) => Some("the helium leak detector"),
        (true, false) => Some("the residual gas analyser"),
        (true, true) => None,
    }
}

/// What remains where no check is left; empty as long as there is one.
fn end(answer: &Answer, price: Option<Price>) -> String {
    if !answer.ended() || !answer.found.is_empty() {
        return String::new();
    }
    let left =
        "No check is left that could find the cause on this tool, so no time to it can be told.";
    let costs = match price {
        Some(price) => format!(", which costs {}", costs(price)),
        None => String::new(),
    };
    match help(answer) {
        Some(help) => {
            format!("{left} Bring {help}{costs}, or look for what is not listed here.")
        }
        None => format!(
            "{left} Helium leak test and residual gas analysis were made: look for what is not listed \
             here, or make again what was made in haste."
        ),
    }
}

/// What bringing help costs, and who says so, in words.
fn costs(price: Price) -> String {
    format!(
        "{} ({})",
        show::minutes(price.minutes),
        if price.of_site {
            "as this site has set"
        } else {
            "as stated below"
        }
    )
}

fn warnings(catalogue: &Catalogue, answer: &Answer) -> Vec<String> {
    let advice = &answer.advice;
    let mut warnings = answer.notes.clone();
    if let Some(contradiction) = &advice.belief.contradiction {
        let pair = match &contradiction.pair {
            Some((one, other)) => format!(
                " Two faults at once would fit better: {} and {}.",
                catalogue.cause_name(one).to_lowercase(),
                catalogue.cause_name(other).to_lowercase()
            ),
            None => " Two faults at once fit it no better.".to_owned(),
        };
        warnings.push(format!(
            "What is stated fits no single cause well. Look at it again, or expect something \
             that is not listed.{pair}"
        ));
    }
    for blocked in &advice.blocked {
        let name = |id: &str| {
            catalogue
                .check(id)
                .map_or(id.to_owned(), |c| c.name.clone())
        };
        warnings.push(format!(
            "“{}” is left out: “{}” has to come first and cannot be made on this tool.",
            name(&blocked.check),
            name(&blocked.missing)
        ));
    }
    let unfindable = advice.without_check.iter();
    let unfindable: Vec<_> = unfindable
        .filter(|find| find.chance >= NEGLIGIBLE)
        .map(|find| {
            let name = catalogue.cause_name(&find.cause).to_lowercase();
            format!("{name} ({})", show::percent(find.chance))
        })
        .collect();
    if !unfindable.is_empty() {
        warnings.push(format!(
            "No check that is left can find {}.",
            unfindable.join(", ")
        ));
    }
    if advice.belief.unlisted > 0.2 {
        warnings.push(format!(
            "The chance that it is something not listed here is {}.",
            show::percent(advice.belief.unlisted)
        ));
    }
    warnings
}

fn beliefs(catalogue: &Catalogue, advice: &Advice) -> Vec<Belief> {
    let shown = || {
        advice
            .belief
            .causes
            .iter()
            .filter(|cause| cause.chance >= NEGLIGIBLE)
    };
    let full = ShareBar::axis_end(shown().map(|cause| cause.interval.high));
    let mut beliefs: Vec<_> = shown()
        .map(|cause| Belief {
            cause: Some(cause_link(catalogue, &cause.id)),
            chance: show::percent(cause.chance),
            bar: ShareBar::new(cause.chance, cause.interval.low, cause.interval.high, full),
        })
        .collect();
    beliefs.push(Belief {
        cause: Some(Link::new("Something not listed", "/causes")),
        chance: show::percent(advice.belief.unlisted),
        bar: ShareBar::new(
            advice.belief.unlisted,
            advice.belief.unlisted,
            advice.belief.unlisted,
            full,
        ),
    });
    beliefs
}

fn cause_link(catalogue: &Catalogue, id: &str) -> Link {
    Link::new(catalogue.cause_name(id), format!("/causes/{id}"))
}

fn steps(catalogue: &Catalogue, answer: &Answer, now: ToolState) -> Vec<SequenceStep> {
    let steps = &answer.advice.steps;
    let full = ShareBar::axis_end(steps.iter().map(|step| step.interval.high));
    let mut state = now;
    let mut shown = Vec::new();
    for (index, step) in steps.iter().enumerate() {
        let Some(check) = catalogue.check(&step.check) else {
            continue;
        };
        if step.anew {
            let before = &steps[..index];
            let first = !before.iter().any(|other| other.check == step.check);
            shown.push(SequenceStep {
                again: match first {
                    true => format!("{AGAIN}{}", check.id),
                    false => String::new(),
                },
                place: index + 1,
                id: format!("{}-again-{}", check.id, index + 1),
                name: check.name.clone(),
                href: format!("/checks/{}", check.id),
                anew: true,
                minutes: show::minutes(check.minutes),
                state: show::capital(check.state.name()),
                change: change(step.change_minutes, state, check.state),
                hazards: hazards(check, catalogue),
                ..SequenceStep::default()
            });
            state = check.leaves;
            continue;
        }
        let isolating_before = steps[..index]
            .iter()
            .rev()
            .find(|earlier| earlier.isolating)
            .filter(|earlier| earlier.check != step.check);
        let mut view = SequenceStep {
            place: index + 1,
            id: check.id.to_string(),
            anew: false,
            again: String::new(),
            name: check.name.clone(),
            href: format!("/checks/{}", check.id),
            isolating: check.isolating,
            chance: show::percent(step.chance),
            interval: format!(
                "{} to {}",
                show::percent(step.interval.low),
                show::percent(step.interval.high)
            ),
            alarm: match !step.isolating && step.true_chance < 0.5 * step.chance {
                true => format!(
                    "{} that a cause is there which it finds; the rest is a false alarm",
                    show::percent(step.true_chance)
                ),
                false => String::new(),
            },
            bar: ShareBar::new(step.chance, step.interval.low, step.interval.high, full),
            minutes: match step.leave_minutes > 0.0 {
                true => format!(
                    "{}, then pumping down: {}",
                    show::minutes(check.minutes),
                    show::minutes(step.leave_minutes)
                ),
                false if step.minutes > check.minutes => format!(
                    "{}, and {} of pumping the vented chamber down beside the restart",
                    show::minutes(check.minutes),
                    show::minutes(step.minutes - check.minutes)
                ),
                false => show::minutes(check.minutes),
            },
            state: show::capital(check.state.name()),
            change: change(step.change_minutes, state, check.state),
            hazards: hazards(check, catalogue),
            reveals: step
                .finds
                .iter()
                .map(|find| cause_link(catalogue, &find.cause))
                .collect(),
            cases: cases(step, &answer.advice),
            case_links: answer
                .cases_behind(check)
                .into_iter()
                .map(|number| Link::new(number.to_string(), format!("/incidents/{number}")))
                .collect(),
            moved: step.moved,
            moved_by: shift(
                catalogue,
                step.moved_by.as_ref(),
                "by common practice",
                "here",
            ),
            if_clear: shift(catalogue, step.if_clear.as_ref(), "before", "if clear"),
        };
        if let Some(earlier) = isolating_before
            && let Some(told) = catalogue.check(&earlier.check)
        {
            let assumed = match earlier.assumed {
                Outcome::Found => "found",
                Outcome::Clear => "clear",
                Outcome::Inconclusive => "unsure",
            };
            view.if_clear = format!(
                "{}{}Its place takes for granted that “{}” comes out {assumed}; state the outcome \
                 and the order is made anew.",
                view.if_clear,
                if view.if_clear.is_empty() { "" } else { ". " },
                told.name
            );
        }
        state = check.leaves;
        shown.push(view);
    }
    shown
}

fn cases(step: &Step, advice: &Advice) -> String {
    format!(
        "{} of {} in this class, {} of {} in the fleet",
        show::count(step.class_cases),
        show::counted(advice.belief.class_cases, "case", "cases"),
        show::count(step.fleet_cases),
        show::count(advice.belief.fleet_cases),
    )
}

fn shift(catalogue: &Catalogue, shift: Option<&Shift>, before: &str, after: &str) -> String {
    shift.map_or_else(String::new, |shift| {
        format!(
            "{}: {} {before}, {} {after}",
            catalogue.cause_name(&shift.cause),
            show::percent(shift.from),
            show::percent(shift.to)
        )
    })
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

fn evidence(
    app: &App,
    about: &About<'_>,
    advice: &Advice,
    here: String,
    site_price: Option<f64>,
) -> EvidenceForm {
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
    let left = advice
        .steps
        .iter()
        .filter(|step| !step.anew)
        .filter_map(|step| catalogue.check(&step.check));
    let done = catalogue
        .checks()
        .filter(|check| {
            !advice
                .steps
                .iter()
                .any(|step| !step.anew && step.check == check.id.as_str())
        })
        .filter(|check| {
            check
                .needs_components
                .iter()
                .all(|component| components.contains(component))
        });
    let healthy = about.healthy_base();
    let units: Vec<_> = PressureUnit::ALL
        .into_iter()
        .map(|unit| SelectOption {
            selected: unit == healthy.unit,
            ..SelectOption::new(unit_id(unit), unit.to_string())
        })
        .collect();
    EvidenceForm {
        hidden: Vec::new(),
        signs: catalogue
            .signs_asked_of(&components)
            .map(|sign| EvidenceForm::question("signs", sign.id.as_str(), &sign.ask))
            .collect(),
        antecedents: catalogue
            .antecedents_asked_of(&components)
            .map(|a| EvidenceForm::question("antecedents", a.id.as_str(), &a.name))
            .collect(),
        pressures: vec![
            Field::quantity("pressures.healthy", "Healthy base pressure", units.clone())
                .hint(&format!("{healthy} unless given."))
                .optional(),
            Field::quantity("pressures.faulty", "Base pressure now", units)
                .hint("The size of the loss counts.")
                .optional(),
            Field::choice("state", "The tool is now", states),
            Field::line(
                "help_minutes",
                "Bringing a helium leak detector or residual gas analyser costs this site",
                LineKind::Number,
            )
            .suffix("minutes")
            .hint(&match site_price {
                Some(minutes) => format!(
                    "Waiting included. The site has set {}; a number here counts instead, this \
                     once.",
                    show::minutes(minutes)
                ),
                None => "Waiting included. The page then says from where on help costs less. A \
                         site’s own price is set on its page."
                    .to_owned(),
            })
            .optional(),
        ],
        outcomes: left
            .chain(done)
            .map(|check| EvidenceForm::outcome(check.id.as_str(), &check.name))
            .collect(),
        general: Vec::new(),
        clear: here,
    }
}
