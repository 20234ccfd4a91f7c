//! Which parts wear out, and when it is cheapest to replace one by plan.

use std::{collections::HashMap, sync::Arc};

use axum::{
    extract::State,
    response::{IntoResponse, Response},
};

use super::{
    SHOWN, Selection, ask, chance, figure, figures, file, number, refused, rules_of, selection,
    watched, ways,
};
use crate::{
    casebook::Refusal,
    catalogue::{Catalogue, Cause, ToolClass, ToolState},
    knowledge::Knowledge,
    statistics::{
        Dimension, Filter, Interval,
        observation::{Lives, Watch},
        survival::{Life, SurvivalStep, kaplan_meier},
        trend::benjamini_hochberg,
        trends::CALLED,
        wear_out::{
            AgeSpread, CostSpread, Replacement, Weibull, age_replacement, bootstrap_age, fit,
        },
    },
    web::{
        fault::{self, Fault},
        fields::Asked,
        plot::{Axis, Curves, Mark, Series},
        show,
        state::App,
        views::{
            Link, Tone,
            chart::{Chart, DataTable},
            form::{Field, LineKind, SelectOption},
            page::{Page, Section},
            statistics::{self, Part, StatisticsPage},
        },
    },
};

const PATH: &str = "/statistics/wear-out";
const TITLE: &str = "What wears out";
const DAYS_PER_YEAR: f64 = 365.25;

/// Failures below which no shape is judged.
const JUDGED_FROM: usize = 5;

/// What the lives of one part say.
struct Worn {
    cause: String,
    failures: usize,
    running: usize,
    /// Lives that a planned service ended.
    planned: u64,
    unknown: u64,
    /// Planned services that begin no life.
    early: u64,
    fitted: u64,
    /// The longest life, ended or not, in days.
    longest: f64,
    weibull: Option<Weibull>,
    /// Chance of such a shape if failures were random, adjusted over the causes judged.
    adjusted: Option<f64>,
}

fn worn(knowledge: &Knowledge, causes: &[String], filter: &Filter, today: i64) -> Vec<Worn> {
    let mut all: Vec<Worn> = causes
        .iter()
        .filter_map(|cause| {
            let lives = knowledge.lives(cause, filter, today);
            let flat = lives.all();
            let failures = flat.iter().filter(|life| life.failed).count();
            (failures > 0 || lives.unknown > 0).then(|| Worn {
                cause: cause.clone(),
                failures,
                running: flat.len() - failures - lives.planned as usize,
                planned: lives.planned,
                unknown: lives.unknown,
                early: lives.early,
                fitted: lives.fitted,
                longest: flat.iter().map(|life| life.time).fold(0.0, f64::max),
                weibull: fit(&flat).ok().filter(|_| failures >= JUDGED_FROM),
                adjusted: None,
            })
        })
        .collect();
    let chances: Vec<f64> = all
        .iter()
        .filter_map(|worn| Some(worn.weibull?.p_random()))
        .collect();
    let mut adjusted = benjamini_hochberg(&chances).unwrap_or_default().into_iter();
    for worn in all.iter_mut().filter(|worn| worn.weibull.is_some()) {
        worn.adjusted = adjusted.next();
    }
    all.sort_by(|a, b| {
        // Parts that wear out come first: for them something can be done.
        let rank = |worn: &Worn| match worn.weibull {
            Some(weibull) if weibull.shape > 1.0 => weibull.p_random(),
            Some(weibull) => 1.0 + weibull.p_random(),
            None => 3.0,
        };
        rank(a)
            .total_cmp(&rank(b))
            .then_with(|| b.failures.cmp(&a.failures))
            .then_with(|| a.cause.cmp(&b.cause))
    });
    all
}

impl Worn {
    fn says(&self) -> &'static str {
        match (self.weibull, self.adjusted) {
            (Some(weibull), Some(chance)) if chance <= CALLED && weibull.shape > 1.0 => "wears out",
            (Some(_), Some(chance)) if chance <= CALLED => "fails early after a repair",
            (Some(_), _) => "looks random",
            _ => "too few failures to judge",
        }
    }
}

/// One part looked at closely.
struct Closely {
    lives: Lives,
    curve: Vec<SurvivalStep>,
    weibull: Option<Weibull>,
    plan: Option<Replacement>,
    spread: Option<AgeSpread>,
}

fn closely(
    knowledge: &Knowledge,
    cause: &str,
    filter: &Filter,
    today: i64,
    costs: Option<(f64, f64)>,
) -> Closely {
    let lives = knowledge.lives(cause, filter, today);
    let flat = lives.all();
    let failures = flat.iter().filter(|life| life.failed).count();
    let weibull = fit(&flat).ok().filter(|_| failures >= JUDGED_FROM);
    let plan = weibull
        .as_ref()
        .zip(costs)
        .and_then(|(weibull, (planned, failure))| age_replacement(weibull, planned, failure).ok());
    let spread = match (plan, costs) {
        (Some(Replacement::Planned { age, .. }), Some((planned, failure))) => {
            bootstrap_age(&lives.tools, planned, failure, age)
        }
        _ => None,
    };
    Closely {
        curve: kaplan_meier(&flat).unwrap_or_default(),
        lives,
        weibull,
        plan,
        spread,
    }
}

/// Lives begin where they begin: a first day would only cut them.
async fn selected(app: &App, asked: &Asked) -> Result<Selection, Fault> {
    let mut selection = selection(app, asked).await?;
    selection.filter.from_day = None;
    selection.fields.retain(|field| field.id != "from");
    selection.refusals.retain(|refusal| refusal.field != "from");
    if let Some(id) = asked.get("cause")
        && app.catalogue.cause(id).is_none()
    {
        selection.refusals.push(Refusal::new(
            "cause",
            format!("no cause is called {id:?}"),
            "a cause of the catalogue, as its page’s address names it",
        ));
    }
    Ok(selection)
}

pub(super) async fn show(State(app): State<App>, asked: Asked) -> Result<Response, Fault> {
    let selection = selected(&app, &asked).await?;
    if !selection.refusals.is_empty() {
        let mut fields = selection.fields;
        if let Some(id) = asked.get("cause") {
            let options = app
                .catalogue
                .causes()
                .map(|cause| SelectOption::new(cause.id.as_str(), show::capital(&cause.name)));
            fields.push(
                Field::flat_select("cause", "Part that fails by", options.collect()).with(id),
            );
        }
        return refused(TITLE, PATH, &asked, fields, &selection.refusals);
    }
    let causes: Vec<String> = app
        .catalogue
        .causes()
        .map(|cause| cause.id.to_string())
        .collect();
    let filter = selection.filter.clone();
    let (all, watch) = ask(&app, move |knowledge, today| {
        (
            worn(knowledge, &causes, &filter, today),
            knowledge.watch(&filter, today),
        )
    })
    .await?;
    let chosen = asked
        .get("cause")
        .and_then(|id| app.catalogue.cause(id))
        .or_else(|| app.catalogue.cause(&all.first()?.cause));
    let mut sections = Vec::new();
    let mut fields = selection.fields.clone();
    let empty = all.is_empty().then(|| {
        if selection.filtered {
            "No closed incident with a cause matches these filters.".to_owned()
        } else {
            "No closed incident with a cause is on record yet.".to_owned()
        }
    });
    let mut title = TITLE.to_owned();
    if let Some(cause) = chosen.filter(|_| empty.is_none()) {
        title = format!("{TITLE}: {}", cause.name.to_lowercase());
        let (part, more) = one_part(&app, &asked, &selection, cause, &all).await?;
        fields.extend(more);
        sections.push(part);
        sections.push(list(&app, &asked, &all));
    }
    let page = fault::page(&StatisticsPage {
        page: Page::new(title, Section::Statistics),
        ways: ways(&asked, PATH),
        action: PATH.to_owned(),
        filters: fields,
        filtered: selection.filtered || asked.get("cause").is_some(),
        summary: if empty.is_some() {
            String::new()
        } else {
            let counted = show::counted(all.len() as u64, "cause", "causes");
            selection.summary(&app, format!("{counted} with a case on record"))
        },
        remarks: empty
            .is_none()
            .then(|| watched(&watch))
            .into_iter()
            .collect(),
        empty,
        sections,
        method: method(&watch),
        ..StatisticsPage::default()
    })?;
    Ok(page.into_response())
}

/// `GET /statistics/wear-out.csv`: a row a cause.
pub(super) async fn table(State(app): State<App>, asked: Asked) -> Result<Response, Fault> {
    let selection = selected(&app, &asked).await?.sound()?;
    let mut typed_costs: HashMap<String, (f64, f64)> = HashMap::new();
    // What was typed is about the part shown on the page.
    if let Some(cause) = asked.get("cause").and_then(|id| app.catalogue.cause(id)) {
        let typed = costs(&app, &asked, &selection, cause);
        if !typed.refusals.is_empty() {
            return Err(Fault::Refused(typed.refusals));
        }
        typed_costs.extend(typed.both.map(|both| (cause.id.to_string(), both)));
    }
    let catalogue = Arc::clone(&app.catalogue);
    let rows = ask(&app, move |knowledge, today| {
        let causes: Vec<String> = catalogue
            .causes()
            .map(|cause| cause.id.to_string())
            .collect();
        let proposed = |id: &str| {
            let cause = catalogue.cause(id)?;
            let (planned, failure) =
                proposed(&catalogue, knowledge, &selection.filter, today, cause);
            planned.zip(failure)
        };
        worn(knowledge, &causes, &selection.filter, today)
            .iter()
            .map(|worn| {
                let weibull = worn.weibull;
                let typed = typed_costs.get(&worn.cause).copied();
                let costs = typed.or_else(|| proposed(&worn.cause));
                let plan = plan_cells(
                    &closely(knowledge, &worn.cause, &selection.filter, today, costs),
                    costs,
                );
                let mut row = vec![
                    worn.cause.clone(),
                    worn.fitted.to_string(),
                    worn.failures.to_string(),
                    worn.running.to_string(),
                    worn.planned.to_string(),
                    worn.unknown.to_string(),
                    worn.early.to_string(),
                    number(weibull.map(|w| w.shape)),
                    number(weibull.map(|w| w.shape_interval.low)),
                    number(weibull.map(|w| w.shape_interval.high)),
                    number(weibull.map(|w| w.scale)),
                    number(weibull.map(|w| w.scale_interval.low)),
                    number(weibull.map(|w| w.scale_interval.high)),
                    number(weibull.map(|w| w.mean())),
                    number(weibull.map(|w| w.mean_interval().low)),
                    number(weibull.map(|w| w.mean_interval().high)),
                    number(worn.adjusted),
                    worn.says().to_owned(),
                ];
                row.extend(plan);
                row
            })
            .collect::<Vec<_>>()
    })
    .await?;
    let headings = [
        "cause",
        "tools_with_the_component",
        "failures",
        "still_running",
        "ended_by_planned_service",
        "failures_of_unknown_age",
        "services_before_the_record",
        "shape",
        "shape_low",
        "shape_high",
        "scale_days",
        "scale_days_low",
        "scale_days_high",
        "mean_life_days",
        "mean_life_days_low",
        "mean_life_days_high",
        "chance_if_random_adjusted",
        "verdict",
        "planned_service_hours",
        "failure_hours",
        "replace_every_days",
        "replace_every_days_low",
        "replace_every_days_high",
        "planned_hours_a_year",
        "planned_hours_a_year_low",
        "planned_hours_a_year_high",
        "unplanned_hours_a_year",
        "unplanned_hours_a_year_low",
        "unplanned_hours_a_year_high",
        "saved_hours_a_year",
        "saved_hours_a_year_low",
        "saved_hours_a_year_high",
    ];
    file("wear-out.csv", &headings, rows)
}

/// The costs and the plan of a row of the file; empty where nothing is to be planned.
fn plan_cells(closely: &Closely, costs: Option<(f64, f64)>) -> Vec<String> {
    let mut cells = vec![
        number(costs.map(|costs| costs.0)),
        number(costs.map(|costs| costs.1)),
    ];
    let Some(plan) = Plan::of(closely) else {
        cells.resize(14, String::new());
        return cells;
    };
    cells.extend([
        number(Some(plan.age)),
        number(Some(plan.low)),
        number(plan.high),
    ]);
    let year = |rate: f64| number(Some(DAYS_PER_YEAR * rate));
    for (rate, interval) in [
        (plan.planned, plan.costs.planned),
        (plan.unplanned, plan.costs.unplanned),
        (plan.unplanned - plan.planned, plan.costs.saved),
    ] {
        cells.extend([year(rate), year(interval.low), year(interval.high)]);
    }
    cells
}

/// A plan with its uncertainty: by bootstrap over tools, or where there is none that of the fit.
struct Plan {
    age: f64,
    low: f64,
    high: Option<f64>,
    planned: f64,
    unplanned: f64,
    costs: CostSpread,
}

impl Plan {
    fn of(closely: &Closely) -> Option<Self> {
        let Some(Replacement::Planned {
            age,
            interval,
            cost_rate,
            cost_rate_unplanned,
            costs,
        }) = closely.plan
        else {
            return None;
        };
        let (low, high, costs) = match closely.spread {
            Some(spread) => (spread.low, spread.high, spread.costs),
            None => (interval.low, Some(interval.high), costs),
        };
        Some(Self {
            age,
            low,
            high,
            planned: cost_rate,
            unplanned: cost_rate_unplanned,
            costs,
        })
    }
}

/// What a planned service and a failure may cost, in hours down.
type Proposed = (Option<f64>, Option<f64>);

/// The catalogue's time for a planned service, that of bringing the tools that have the part into
/// the state it takes and back among it, and the mean time down of the cases on record.
fn proposed(
    catalogue: &Catalogue,
    knowledge: &Knowledge,
    filter: &Filter,
    today: i64,
    cause: &Cause,
) -> Proposed {
    let to_state_and_back = |class: &ToolClass| match cause.fix_state {
        ToolState::Pumped => 0.0,
        ToolState::StoppedPurged => class.minutes.stop_and_purge + class.minutes.restart,
        ToolState::Vented => class.minutes.vent + class.minutes.pump_down,
    };
    let fitted = knowledge.fitted(cause.id.as_str(), filter, today);
    let mut tools: Vec<(f64, f64)> = fitted
        .iter()
        .filter_map(|(class, tools)| {
            Some((to_state_and_back(catalogue.class(class)?), *tools as f64))
        })
        .collect();
    if tools.is_empty() {
        // Nobody has one yet: any class that can.
        tools = catalogue
            .classes()
            .filter(|class| class.components.contains(&cause.component))
            .filter(|class| {
                let wanted = filter.class.as_deref();
                wanted.is_none_or(|wanted| wanted == class.id.as_str())
            })
            .map(|class| (to_state_and_back(class), 1.0))
            .collect();
    }
    let count: f64 = tools.iter().map(|(_, tools)| tools).sum();
    let minutes: f64 = tools.iter().map(|(minutes, tools)| minutes * tools).sum();
    let state = minutes / count.max(1.0);
    let failure = knowledge
        .by(Dimension::Cause, filter)
        .groups
        .iter()
        .find(|group| group.id == cause.id.as_str())
        .and_then(|group| group.down.mean);
    // As the page proposes them, to a tenth of an hour.
    let tenths = |hours: f64| (10.0 * hours).round() / 10.0;
    (
        Some(tenths((cause.fix_minutes + state) / 60.0)),
        failure.map(tenths),
    )
}

/// The costs, as typed or proposed, in hours down.
struct Costs {
    fields: Vec<Field>,
    both: Option<(f64, f64)>,
    /// What was typed and is no cost.
    refusals: Vec<Refusal>,
}

fn costs(app: &App, asked: &Asked, selection: &Selection, cause: &Cause) -> Costs {
    let (knowledge, today) = (&app.knowledge, app.today());
    let (planned, failure) = proposed(&app.catalogue, knowledge, &selection.filter, today, cause);
    let mut refusals = Vec::new();
    let mut field = |id: &str, label: &str, hint: &str, proposed: Option<f64>| {
        let proposed = proposed
            .map(|hours| show::trimmed(hours, 1))
            .unwrap_or_default();
        let typed = asked.get(id).unwrap_or(&proposed).to_owned();
        let number = typed.replace(',', ".").parse::<f64>().ok();
        let number = number.filter(|number| number.is_finite() && *number > 0.0);
        let mut field = Field::line(id, label, LineKind::Number)
            .with(&typed)
            .suffix("h")
            .hint(hint)
            .optional();
        if number.is_none() && !typed.is_empty() {
            const PROBLEM: &str = "is no number above 0";
            field.message = Some(PROBLEM.to_owned());
            let problem = format!("{typed:?} {PROBLEM}");
            refusals.push(Refusal::new(id, problem, "hours down, such as 4.5"));
        }
        (field, number)
    };
    let (planned_field, planned) = field(
        "planned",
        "A planned service costs",
        "Proposed: the catalogue’s time to mend it and to change the tool’s state (common practice, no \
         source).",
        planned,
    );
    let (mut failure_field, failure) = field(
        "failure",
        "A failure costs",
        "Proposed: the mean time down of its cases.",
        failure,
    );
    if let (Some(planned), Some(failure)) = (planned, failure)
        && failure <= planned
    {
        failure_field.message =
            Some("is no more than a planned service, so that planning cannot pay".to_owned());
    }
    Costs {
        fields: vec![planned_field, failure_field],
        both: planned.zip(failure),
        refusals,
    }
}

async fn one_part(
    app: &App,
    asked: &Asked,
    selection: &Selection,
    cause: &Cause,
    all: &[Worn],
) -> Result<(Part, Vec<Field>), Fault> {
    let costs = costs(app, asked, selection, cause);
    let both = costs.both;
    let (filter, id) = (selection.filter.clone(), cause.id.to_string());
    let closely = ask(app, move |knowledge, today| {
        closely(knowledge, &id, &filter, today, both)
    })
    .await?;
    let options = all
        .iter()
        .map(|worn| {
            SelectOption::new(
                worn.cause.as_str(),
                format!(
                    "{} ({})",
                    show::capital(app.catalogue.cause_name(&worn.cause)),
                    worn.failures + worn.unknown as usize
                ),
            )
        })
        .collect();
    let mut fields =
        vec![Field::flat_select("cause", "Part that fails by", options).with(cause.id.as_str())];
    fields.extend(costs.fields);
    let refused = !costs.refusals.is_empty();
    let component = app
        .catalogue
        .component(cause.component.as_str())
        .map_or_else(String::new, |component| component.name.clone());
    let mut part = Part {
        id: "part".to_owned(),
        title: show::capital(&cause.name),
        intro: format!(
            "{component}. {} fitted with it.",
            show::counted(closely.lives.fitted, "watched tool is", "watched tools are")
        ),
        verdict: Some(verdict(&closely, both, refused, all, cause)),
        ways: vec![Link::new(
            "About this cause",
            format!("/causes/{}", cause.id),
        )],
        ..Part::default()
    };
    part.charts.extend(curve(&closely)?);
    Ok((part, fields))
}

fn verdict(
    closely: &Closely,
    costs: Option<(f64, f64)>,
    refused: bool,
    all: &[Worn],
    cause: &Cause,
) -> statistics::Verdict {
    let flat = closely.lives.all();
    let failures = flat.iter().filter(|life| life.failed).count();
    let mut reasons = vec![format!(
        "{} of known age, {} still running, {} renewed by plan before, {} whose age is not known \
         and that are left out.",
        show::counted(failures as u64, "failure", "failures"),
        show::counted(
            (flat.len() - failures) as u64 - closely.lives.planned,
            "part",
            "parts"
        ),
        show::count(closely.lives.planned),
        show::counted(closely.lives.unknown, "failure", "failures"),
    )];
    if closely.lives.early > 0 {
        reasons.push(format!(
            "{} before the record, or before the tool went into service, and begin no life.",
            match closely.lives.early {
                1 => "1 planned service lies".to_owned(),
                more => format!("{} planned services lie", show::count(more)),
            }
        ));
    }
    let Some(weibull) = &closely.weibull else {
        return statistics::Verdict {
            tone: Tone::Unsure,
            headline: format!(
                "Too little to judge: {JUDGED_FROM} failures of known age are needed."
            ),
            reasons,
        };
    };
    reasons.push(format!(
        "Weibull shape {} (95 %: {}); above 1 the part wears out, at 1 failures are random, below 1 \
         it fails early.",
        figure(weibull.shape),
        figures(weibull.shape_interval)
    ));
    let longest = flat.iter().map(|life| life.time).fold(0.0, f64::max);
    reasons.push(format!(
        "Mean life {} days (95 %: {}); 63 % have failed after {} days (95 %: {}){}.",
        figure(weibull.mean()),
        figures(weibull.mean_interval()),
        figure(weibull.scale),
        figures(weibull.scale_interval),
        if weibull.scale > longest {
            format!(
                ", which lies beyond the longest life seen, {} days, and is the fit’s word alone",
                figure(longest)
            )
        } else {
            String::new()
        }
    ));
    let adjusted = all
        .iter()
        .find(|worn| worn.cause == cause.id.as_str())
        .and_then(|worn| worn.adjusted);
    if let Some(chance) = adjusted.filter(|chance| *chance > CALLED)
        && (weibull.shape_interval.low > 1.0 || weibull.shape_interval.high < 1.0)
    {
        reasons.push(format!(
            "Taken alone the shape stands clear of 1; among all the causes looked at it does not \
             (adjusted chance {}).",
            self::chance(chance)
        ));
    }
    let early = weibull.shape_interval.high < 1.0;
    if early {
        reasons.push(format!(
            "Half of the failures of known age came within {} days of the part being made good. Tools \
             that fail far more often than others make it look so as well.",
            figure(median_age(&flat))
        ));
    }
    let (tone, headline) = match closely.plan {
        _ if early && adjusted.is_none_or(|chance| chance <= CALLED) => (
            Tone::Bad,
            "Do not plan: it fails early, soon after it was made good. Look at the repair; a part \
             changed by plan would begin anew with that."
                .to_owned(),
        ),
        _ if early => (
            Tone::Unsure,
            "Do not plan. Taken alone it fails early, soon after it was made good; among all the \
             causes looked at that is not shown."
                .to_owned(),
        ),
        None if refused => (
            Tone::Unsure,
            "Nothing is planned until both costs are numbers of hours above 0.".to_owned(),
        ),
        None if costs.is_none() => (
            Tone::Unsure,
            "Nothing is planned until it is stated what a planned service and a failure cost."
                .to_owned(),
        ),
        None if costs.is_some_and(|(planned, failure)| failure <= planned) => (
            Tone::Unsure,
            "No plan: a planned service has to cost less than a failure.".to_owned(),
        ),
        None => (
            Tone::Unsure,
            "No plan can be computed from these lives.".to_owned(),
        ),
        // An early one was told above.
        Some(Replacement::Random { .. } | Replacement::Early { .. }) => (
            Tone::Unsure,
            "Do not plan: failures are random, as far as these lives show.".to_owned(),
        ),
        Some(Replacement::Planned {
            age,
            interval,
            cost_rate,
            cost_rate_unplanned,
            costs,
        }) => {
            reasons.push(match closely.spread {
                Some(AgeSpread {
                    low,
                    high: Some(high),
                    fitted,
                    ..
                }) => format!(
                    "95 % by bootstrap over tools: {} to {} days ({fitted} resamples).",
                    figure(low),
                    figure(high)
                ),
                Some(AgeSpread { low, never, .. }) => format!(
                    "95 % by bootstrap over tools: from {} days without an upper limit; in {} of \
                     the resamples no planned service pays.",
                    figure(low),
                    show::percent(never)
                ),
                None => format!(
                    "95 % by the uncertainty of the fit: {} days.",
                    figures(interval)
                ),
            });
            let costs = closely.spread.map_or(costs, |spread| spread.costs);
            let year = |rate: f64, interval: Interval| {
                let of = |rate: f64| figure(DAYS_PER_YEAR * rate);
                format!(
                    "{} h (95 %: {} to {})",
                    of(rate),
                    of(interval.low),
                    of(interval.high)
                )
            };
            reasons.push(format!(
                "Cost in the long run, down a year: {} with the plan, {} without; the plan saves {}.",
                year(cost_rate, costs.planned),
                year(cost_rate_unplanned, costs.unplanned),
                year(cost_rate_unplanned - cost_rate, costs.saved)
            ));
            let saves = costs.saved.low > 0.0;
            if !saves {
                reasons.push(
                    "That the plan saves anything is not shown: its interval reaches down to nothing."
                        .to_owned(),
                );
            }
            let plan = format!(
                "replace every {} days, if it has not failed before",
                figure(age)
            );
            // What the list of all causes calls random is not to be called a plan here.
            match (saves, adjusted.is_none_or(|chance| chance <= CALLED)) {
                (true, true) => (Tone::Good, format!("Least cost in the long run: {plan}.")),
                (true, false) => (
                    Tone::Unsure,
                    format!(
                        "Not shown to wear out among all the causes looked at. Taken alone, least \
                         cost: {plan}."
                    ),
                ),
                (false, _) => (
                    Tone::Unsure,
                    format!("Not shown that a plan saves anything. As fitted, least cost: {plan}."),
                ),
            }
        }
    };
    statistics::Verdict {
        tone,
        headline,
        reasons,
    }
}

/// The age by which half of the parts that failed had.
fn median_age(lives: &[Life]) -> f64 {
    let failed = lives.iter().filter(|life| life.failed);
    let mut ages: Vec<f64> = failed.map(|life| life.time).collect();
    ages.sort_by(f64::total_cmp);
    match (ages.get(ages.len() / 2), ages.len() % 2) {
        (None, _) => 0.0,
        (Some(upper), 0) => (ages[ages.len() / 2 - 1] + upper) / 2.0,
        (Some(middle), _) => *middle,
    }
}

fn curve(closely: &Closely) -> Result<Option<Chart>, Fault> {
    let flat = closely.lives.all();
    let longest = flat.iter().map(|life| life.time).fold(0.0, f64::max);
    let (Some(across), Some(up)) = (
        Axis::linear("Days since new", [0.0, longest]),
        Axis::linear("Share still running in %", [0.0, 100.0]),
    ) else {
        return Ok(None);
    };
    if closely.curve.is_empty() || longest <= 0.0 {
        return Ok(None);
    }
    let mut steps = vec![(0.0, 100.0)];
    let mut before = 100.0;
    for step in &closely.curve {
        let after = 100.0 * step.survival;
        steps.extend([(step.time, before), (step.time, after)]);
        before = after;
    }
    steps.push((longest, before));
    let mut series = vec![Series {
        name: "observed (Kaplan-Meier)".to_owned(),
        mark: Mark::Line,
        points: steps,
    }];
    if let Some(weibull) = &closely.weibull {
        series.push(Series {
            name: "fitted (Weibull)".to_owned(),
            mark: Mark::Dashes,
            points: (0..=80)
                .map(|at| longest * f64::from(at) / 80.0)
                .map(|time| (time, 100.0 * weibull.survival(time)))
                .collect(),
        });
    }
    let title = "Share of parts still running";
    let description = format!(
        "{} lives of the part, by days since it was new; parts still running count until the end \
         of the watch or a planned service.",
        flat.len()
    );
    Ok(Some(Chart {
        id: "survival".to_owned(),
        title: title.to_owned(),
        description: description.clone(),
        svg: Curves {
            title,
            description: &description,
            across,
            up,
            series,
        }
        .draw()?,
        table: DataTable {
            caption: "Kaplan-Meier estimate with 95 % intervals".to_owned(),
            headings: [
                "Days",
                "At risk",
                "Failures",
                "Still running",
                "95 % interval",
            ]
            .map(str::to_owned)
            .to_vec(),
            rows: closely
                .curve
                .iter()
                .map(|step| {
                    vec![
                        figure(step.time),
                        step.at_risk.to_string(),
                        step.failures.to_string(),
                        show::percent(step.survival),
                        step.interval.map_or_else(
                            || "–".to_owned(),
                            |i| format!("{} to {}", show::percent(i.low), show::percent(i.high)),
                        ),
                    ]
                })
                .collect(),
        },
    }))
}

fn list(app: &App, asked: &Asked, all: &[Worn]) -> Part {
    let rows = all
        .iter()
        .take(SHOWN)
        .map(|worn| {
            vec![
                show::capital(app.catalogue.cause_name(&worn.cause)),
                worn.says().to_owned(),
                worn.failures.to_string(),
                worn.running.to_string(),
                worn.planned.to_string(),
                worn.unknown.to_string(),
                worn.weibull.map_or_else(
                    || "–".to_owned(),
                    |w| format!("{} ({})", figure(w.shape), figures(w.shape_interval)),
                ),
                worn.adjusted.map_or_else(|| "–".to_owned(), chance),
                worn.weibull.map_or_else(
                    || "–".to_owned(),
                    |w| {
                        let beyond = if w.mean() > worn.longest {
                            format!("; beyond the longest life seen, {}", figure(worn.longest))
                        } else {
                            String::new()
                        };
                        format!(
                            "{} ({}{beyond})",
                            figure(w.mean()),
                            figures(w.mean_interval())
                        )
                    },
                ),
            ]
        })
        .collect();
    let left = all.len().saturating_sub(SHOWN);
    Part {
        id: "all".to_owned(),
        title: "All causes".to_owned(),
        intro: if left > 0 {
            format!("The {SHOWN} that wear out most clearly; {left} more are in the file.")
        } else {
            "Those that wear out most clearly come first.".to_owned()
        },
        tables: vec![DataTable {
            caption: "Shape of the lives that end in each cause".to_owned(),
            headings: [
                "Cause",
                "What the lives show",
                "Failures",
                "Still running",
                "Renewed by plan",
                "Age not known",
                "Shape (95 %)",
                "Chance if random, adjusted",
                "Mean life, days (95 %)",
            ]
            .map(str::to_owned)
            .to_vec(),
            rows,
        }],
        export: Some(asked.address("/statistics/wear-out.csv", "by", "")),
        ..Part::default()
    }
}

fn method(watch: &Watch) -> Vec<String> {
    let lives = [
        "A life begins when a case of the cause was mended (the part counts as new from then on), \
         or on the tool’s first day in service if that lies within the record; none begins before the \
         watch. It ends with the next \
         case of the same cause; one that has not come by the end of the watch is still running. A \
         failure before which no beginning is known has no age and is left out."
            .to_owned(),
        "A planned service of the component, written down on the tool’s page, ends a life without a \
         failure and begins a new one, for every cause of that component that the catalogue calls \
         wear. One of before the site’s first case on record, or of before the tool’s own first day \
         in service or first case, begins none: a failure since would not be known. One that nobody \
         wrote down counts as if the part had run on, which makes lives look longer than they are. A tool that \
         was taken out of service is watched until its last day."
            .to_owned(),
    ];
    let fits = [
        "Kaplan and Meier (1958), intervals by Greenwood’s variance on the log-minus-log scale. \
         Weibull by maximum likelihood with lives that have not ended (NIST/SEMATECH e-Handbook \
         8.4.1.3), intervals by the observed information on the logarithms, of the mean life by the delta method. Chance if random: that \
         of the shape’s logarithm against 0, adjusted over the causes with five failures or more by \
         Benjamini and Hochberg (1995).",
        "Age replacement of least cost in the long run (Barlow and Proschan 1965, chapter 4; from \
         memory). It is only given where the 95 % interval of the shape lies above 1. Bootstrap: \
         whole tools with all their lives are drawn 200 times.",
        "Lives of different tools are taken as alike. Tools that are used harder mix short lives with \
         long ones, which makes the shape look smaller. The tool’s manual and the maker’s service \
         intervals come first.",
    ]
    .map(str::to_owned);
    lives
        .into_iter()
        .chain(rules_of(watch))
        .chain(fits)
        .collect()
}
