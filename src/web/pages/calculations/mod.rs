//! The pages of the calculations: a form, and with it the result once it was sent.
//!
//! A page turns its form into the same JSON that the API takes, so that both are judged by the
//! same rules and a refusal finds its field by its path.

mod attached;
mod conductance;
mod form;
mod gas_load;
mod gauge;
mod leak_conversion;
mod overlay;
mod pump_down;
mod pump_downs;
mod residual_gas;
mod result;
mod rise;
mod upload;

use axum::{
    Router,
    extract::{DefaultBodyLimit, Path, Request, State},
    http::StatusCode,
    response::{Html, IntoResponse, Response},
    routing::{get, post},
};

pub(super) use attached::lines;
pub(super) use overlay::link as overlay_link;
pub(super) use pump_downs::link as pump_downs_link;

use super::{checks::cautions, markdown};
use crate::{
    calculation::{
        FieldError,
        healthy_rise::HealthyRise,
        named::{Computed, Named},
    },
    casebook::{Pressures, Tool},
    catalogue::{Catalogue, CautionId},
    store::KeptReport,
    web::{
        asked_sequence::pressure_pairs,
        attaching::{self, KEPT},
        computing::{self, FILE_MARGIN},
        fault::{self, Fault},
        fields::{Asked, address, place},
        show,
        state::App,
        views::{
            CautionBox, Link, SafeHtml,
            calculation::{
                CalculationForm, CalculationLine, CalculationPage, CalculationResult,
                CalculationsPage,
            },
            form::{Control, Fields, Hidden},
            page::{Page, Section},
        },
    },
};

/// Sent along with a form that asks for its result, so that an empty one is told from none.
const ASKED: &str = "calculate";

/// The largest form that is read to its end, in bytes. A file in it that is larger than is taken is
/// not kept; the form comes back with what else was filled in.
const READ_TO_ITS_END: usize = 1 << 30;

/// Every page with its address.
pub(super) fn routes() -> Router<App> {
    let pages = Router::new()
        .route("/calculations", get(list))
        .route("/calculations/{name}", get(blank))
        .route(
            "/calculations/attach",
            post(attached::attach).layer(DefaultBodyLimit::max(KEPT + FILE_MARGIN)),
        )
        .route(
            "/incidents/{number}/calculations/{id}",
            get(attached::show_again),
        )
        .route(
            "/incidents/{number}/calculations/{id}/logs/{field}",
            get(attached::log),
        )
        .route("/tools/{tool}/rises", get(overlay::show))
        .route("/tools/{tool}/pump-downs", get(pump_downs::show));
    Named::ALL
        .into_iter()
        .filter(|named| named.takes_file())
        .fold(pages, |router, named| {
            let page = get(move |app, asked| show_page(app, named, asked))
                .post(move |app, request| compute_upload(app, named, request));
            router.route(
                &format!("/calculations/{}", named.id()),
                page.layer(DefaultBodyLimit::max(READ_TO_ITS_END)),
            )
        })
}

/// What a person reads about a calculation before using it.
struct About {
    /// Its name.
    name: &'static str,
    /// The question it answers.
    answers: &'static str,
    /// What one needs for it.
    needs: &'static str,
    /// When to use it and what it cannot do.
    intro: &'static str,
    /// The check by which one measures what goes in; its cautions stand first.
    check: Option<&'static str>,
    /// Formulas and sources, in Markdown.
    method: &'static str,
}

/// Formulas and sources; of residual gas also the patterns in use, of a rise test its rule.
fn method(app: &App, named: Named) -> SafeHtml {
    let method = about(named).method;
    match named {
        Named::ResidualGas => markdown::render(&format!(
            "{method}\n\n{}",
            residual_gas::patterns(&app.patterns)
        )),
        Named::Rise => markdown::render(&format!("{method}\n\n{}", rise::AS_HEALTHY)),
        Named::PumpDown => markdown::render(&format!("{method}\n\n{}", pump_down::HEALTHY)),
        _ => markdown::render(method),
    }
}

fn about(named: Named) -> &'static About {
    match named {
        Named::Rise => &rise::ABOUT,
        Named::PumpDown => &pump_down::ABOUT,
        Named::GasLoad => &gas_load::ABOUT,
        Named::Gauge => &gauge::ABOUT,
        Named::ResidualGas => &residual_gas::ABOUT,
        Named::LeakConversion => &leak_conversion::ABOUT,
        Named::Conductance => &conductance::ABOUT,
    }
}

/// An empty form with the rows that these names need, and what is known of the tool.
fn form(named: Named, names: &[&str], context: &Context) -> CalculationForm {
    let mut form = match named {
        Named::Rise => rise::form(),
        Named::PumpDown => pump_down::form(),
        Named::GasLoad => gas_load::form(names),
        Named::Gauge => gauge::form(names),
        Named::ResidualGas => residual_gas::form(),
        Named::LeakConversion => leak_conversion::form(),
        Named::Conductance => conductance::form(names),
    };
    form.action = format!("/calculations/{}", named.id());
    form.post = named.takes_file();
    form.hidden.push(Hidden {
        name: ASKED.to_owned(),
        value: "yes".to_owned(),
    });
    for (name, value) in context.passed() {
        form.hidden.push(Hidden {
            name: name.to_owned(),
            value: value.to_owned(),
        });
    }
    if let Some(tool) = &context.tool {
        prefill(&mut form, tool);
    }
    prefill_pressures(&mut form, &context.pressures);
    if let (Named::Rise, Some(healthy)) = (named, &context.healthy_rise) {
        rise::prefill(&mut form, healthy);
    }
    if let (Named::PumpDown, Some(healthy)) = (named, &context.healthy_pump_down) {
        pump_down::tell_healthy(&mut form, healthy);
    }
    form
}

/// Volume, speed and healthy base pressure of a tool, where the form asks for them.
fn prefill(form: &mut CalculationForm, tool: &Tool) {
    let litres = show::trimmed(tool.volume_litres, 3);
    let speed = show::trimmed(tool.speed_litres_per_second, 3);
    let healthy = tool.healthy_base;
    for (name, value) in [
        ("volume.value", litres.as_str()),
        ("volume.unit", "l"),
        ("speed.value", &speed),
        ("speed.unit", "l/s"),
        ("speed_at_chamber.value", &speed),
        ("speed_at_chamber.unit", "l/s"),
        ("healthy.value", &form::plain(healthy.value)),
        ("healthy.unit", healthy.unit.id()),
        ("faulty.unit", healthy.unit.id()),
    ] {
        form.fill(name, value);
    }
}

/// The base pressures that an incident tells, where the form asks for them.
fn prefill_pressures(form: &mut CalculationForm, told: &Pressures) {
    for (name, typed) in [("healthy", told.healthy), ("faulty", told.faulty)] {
        if let Some(typed) = typed {
            form.fill(&format!("{name}.value"), &form::plain(typed.value));
            form.fill(&format!("{name}.unit"), typed.unit.id());
        }
    }
}

/// The result of a calculation as a page shows it.
fn shown(computed: &Computed, catalogue: &Catalogue) -> Result<CalculationResult, Fault> {
    let mut result = match computed {
        Computed::Rise(both) => rise::shown(&both.1),
        Computed::PumpDown(both) => pump_down::show(&both.1),
        Computed::GasLoad(both) => gas_load::show(&both.1),
        Computed::Gauge(both) => gauge::show(&both.0, &both.1),
        Computed::ResidualGas(both) => residual_gas::show(&both.1),
        Computed::LeakConversion(both) => leak_conversion::show(&both.0, &both.1),
        Computed::Conductance(both) => conductance::show(&both.0, &both.1),
    }?;
    result.next = result::next(&computed.outcome().next_checks, catalogue);
    Ok(result)
}

/// The cautions of measuring for it, then those of what its result suggests: as the report names
/// them, and as the catalogue in use has them for the checks suggested.
fn all_cautions(app: &App, named: Named, computed: Option<&Computed>) -> Vec<CautionBox> {
    let catalogue = &app.catalogue;
    let of_check = |id: &str| {
        let check = catalogue.check(id);
        check
            .map(|check| check.cautions.clone())
            .unwrap_or_default()
    };
    let mut ids: Vec<CautionId> = about(named).check.map(of_check).unwrap_or_default();
    for outcome in computed.iter().map(|computed| computed.outcome()) {
        let told = outcome.cautions.iter();
        let told = told.filter_map(|id| catalogue.caution(id).map(|caution| caution.id.clone()));
        let suggested = outcome.next_checks.iter().flat_map(|id| of_check(id));
        for id in told.chain(suggested) {
            if !ids.contains(&id) {
                ids.push(id);
            }
        }
    }
    cautions(ids.iter(), catalogue)
}

async fn list(State(app): State<App>, asked: Asked) -> Result<Html<String>, Fault> {
    let context = Context::of(&app, asked.get("tool"), asked.get("incident")).await?;
    let mut page = Page::new("Calculate", Section::Calculations);
    page.notice = context.notice();
    fault::page(&CalculationsPage {
        page,
        calculations: Named::ALL
            .into_iter()
            .map(|named| {
                let about = about(named);
                CalculationLine {
                    name: about.name.to_owned(),
                    href: address(&format!("/calculations/{}", named.id()), context.passed()),
                    answers: about.answers.to_owned(),
                    needs: about.needs.to_owned(),
                }
            })
            .collect(),
    })
}

async fn blank(app: State<App>, Path(name): Path<String>, asked: Asked) -> Result<Response, Fault> {
    let named = Named::of(&name)
        .ok_or_else(|| Fault::NotFound(format!("No calculation is called {name:?}.")))?;
    show_page(app, named, asked).await
}

/// The form, and its result if the address asks for one.
async fn show_page(State(app): State<App>, named: Named, asked: Asked) -> Result<Response, Fault> {
    let context = Context::of(&app, asked.get("tool"), asked.get("incident")).await?;
    let names: Vec<_> = asked.iter().map(|(name, _)| name).collect();
    let mut form = form(named, &names, &context);
    for (name, value) in asked.iter() {
        form.fill(name, value);
    }
    if asked.get(ASKED).is_none() || form.post {
        return Ok(page(&app, named, &context, form, None, &[])?.into_response());
    }
    answer(&app, named, &context, form, Vec::new()).await
}

/// The form with a file.
async fn compute_upload(
    State(app): State<App>,
    named: Named,
    request: Request,
) -> Result<Response, Fault> {
    let sent = upload::Upload::take(request, &app, named.logs()).await?;
    let context = Context::of(&app, sent.value("tool"), sent.value("incident")).await?;
    let mut form = form(named, &[], &context);
    for (name, value) in &sent.fields {
        form.fill(name, value);
    }
    answer(&app, named, &context, form, sent.files).await
}

/// Computes what a filled form asks for, and shows both.
async fn answer(
    app: &App,
    named: Named,
    context: &Context,
    mut form: CalculationForm,
    files: Vec<upload::File>,
) -> Result<Response, Fault> {
    let read = form::read(&form, files, named.logs());
    let mut request = read.request;
    let given = request.logs.contains_key("healthy_log");
    if let (Named::PumpDown, Some(tool), false) = (named, &context.tool, given) {
        let tool = tool.id.as_str();
        request.json = attaching::beside_healthy(app, named, tool, request.json).await?;
    }
    let computed = if read.errors.is_empty() {
        computing::compute_sent(app, named, request).await?
    } else {
        let mut errors = read.errors;
        if form.post {
            // What is wrong with a log or a spectrum hangs on nothing else, so it is told now.
            let found = computing::compute_sent(app, named, request).await?;
            let found = found.err().unwrap_or_default().into_iter();
            errors.extend(found.filter(|error| is_of_a_text(&form, error)));
        }
        Err(errors)
    };
    for (name, text) in &read.kept {
        form.fill(name, text);
    }
    match computed {
        Ok(computed) => {
            let mut held = Vec::new();
            for (field, log) in read.held {
                held.push((field, log.sha256().to_owned()));
                app.holding.put(log);
            }
            let result = Some((&computed, read.whole.then_some(held)));
            Ok(page(app, named, context, form, result, &read.taken)?.into_response())
        }
        Err(errors) => {
            for error in errors {
                let mut error = read.rows.as_typed(error);
                if read.from_files.contains(&error.field) {
                    error.field.push_str(upload::FILE);
                }
                refuse(&mut form, error);
            }
            for (name, _) in &read.kept {
                say_beside_file(
                    &mut form,
                    name,
                    "What it holds now stands as text beside it.",
                );
            }
            for name in &read.lost {
                say_beside_file(
                    &mut form,
                    name,
                    "Choose the file again: it is not kept after a refusal, and no page can choose it for you.",
                );
            }
            let page = page(app, named, context, form, None, &[])?;
            let status = if read.too_large {
                StatusCode::PAYLOAD_TOO_LARGE
            } else {
                StatusCode::UNPROCESSABLE_ENTITY
            };
            Ok((status, page).into_response())
        }
    }
}

/// Whether an error is about a text of many lines or the unit of what it holds.
fn is_of_a_text(form: &CalculationForm, error: &FieldError) -> bool {
    let of_text = form
        .fields()
        .into_iter()
        .any(|field| field.id == error.field && matches!(field.control, Control::Area { .. }));
    // One that was not sent at all is told by the form.
    (of_text && error.problem.contains("line"))
        || [
            "pressure_unit",
            "pressure_column",
            "healthy_pressure_column",
        ]
        .contains(&error.field.as_str())
}

/// Puts words beside the field of a file, named by itself or by the text it stands for.
fn say_beside_file(form: &mut CalculationForm, name: &str, words: &str) {
    let name = name.strip_suffix(upload::FILE).unwrap_or(name);
    let of_file = format!("{name}{}", upload::FILE);
    for field in form.fields_mut() {
        if field.id == of_file {
            field.hint = Some(match field.hint.take() {
                Some(hint) => format!("{hint} {words}"),
                None => words.to_owned(),
            });
        }
    }
}

fn refuse(form: &mut CalculationForm, error: FieldError) {
    let field = if error.field == "body" {
        ""
    } else {
        &error.field
    };
    form.refuse(
        field,
        &format!("{}; accepted: {}", error.problem, error.accepted),
    );
}

/// Names of the logs that are held for a result, and where.
type HeldBy = Vec<(String, String)>;

/// The page, with what was computed if anything, where logs of it are held if that can be kept with an
/// incident, and which units were `taken` where two were given.
fn page(
    app: &App,
    named: Named,
    context: &Context,
    form: CalculationForm,
    computed: Option<(&Computed, Option<HeldBy>)>,
    taken: &[String],
) -> Result<Html<String>, Fault> {
    let (computed, held) = computed.unzip();
    let about = about(named);
    let title = match &computed {
        Some(_) => format!("Result: {}", about.name),
        None => form.summary().titled(about.name),
    };
    let mut page = Page::new(title, Section::Calculations);
    page.trail = vec![Link::new("Calculate", "/calculations")];
    page.notice = context.notice();
    let result = match computed {
        Some(computed) => {
            let mut result = shown(computed, &app.catalogue)?;
            result
                .next
                .extend(next(app, context.tool.as_ref(), computed));
            let taken = taken.iter().map(|words| result::sentence(words));
            result.assumptions.extend(taken);
            Some(result)
        }
        None => None,
    };
    fault::page(&CalculationPage {
        page,
        name: about.name.to_owned(),
        intro: about.intro.to_owned(),
        cautions: all_cautions(app, named, computed),
        form,
        result,
        method: method(app, named),
        beside: beside(
            named,
            context.tool.as_ref().map(|tool| tool.id.as_str()),
            computed,
        ),
        attach: match computed {
            Some(computed) => Some(attached::form(computed, held.flatten(), &context.incident)?),
            None => None,
        },
    })
}

/// What of the same tool stands beside it: its other rise tests, its other pump-downs, and the
/// healthy pump-down it was held against.
fn beside(named: Named, tool: Option<&str>, computed: Option<&Computed>) -> Vec<Link> {
    let others: Option<fn(&str) -> Link> = match named {
        Named::Rise => Some(overlay::link),
        Named::PumpDown => Some(pump_downs::link),
        _ => None,
    };
    let healthy = match computed {
        Some(Computed::PumpDown(both)) => both.1.healthy_from.map(pump_down::healthy_link),
        _ => None,
    };
    let others = others.zip(tool).map(|(link, tool)| link(tool));
    healthy.into_iter().chain(others).collect()
}

/// The check sequence with the signs that the result sets.
fn next(app: &App, tool: Option<&Tool>, computed: &Computed) -> Option<Link> {
    let signs = &computed.outcome().signs;
    let tool = tool?;
    if signs.is_empty() {
        return None;
    }
    let mut pairs: Vec<_> = signs
        .iter()
        .map(|(id, seen)| {
            let answer = if *seen { "seen" } else { "absent" };
            (format!("signs.{id}"), answer.to_owned())
        })
        .collect();
    if let Computed::GasLoad(both) = computed {
        let request = &both.0;
        for (which, typed) in [("healthy", request.healthy), ("faulty", request.faulty)] {
            pairs.extend(pressure_pairs(which, typed));
        }
    }
    let named: Vec<_> = signs
        .iter()
        .filter_map(|(id, seen)| {
            let name = &app.catalogue.sign(id)?.name;
            Some(format!("{name}: {}", if *seen { "yes" } else { "no" }))
        })
        .collect();
    Some(Link::new(
        format!("What to check next on {} ({})", tool.id, named.join("; ")),
        address(
            &place("/sequence/tools", tool.id.as_str()),
            pairs
                .iter()
                .map(|(name, answer)| (name.as_str(), answer.as_str())),
        ),
    ))
}

/// What a calculation is done for.
#[derive(Default)]
struct Context {
    /// The tool, of which volume and speed are known.
    tool: Option<Tool>,
    /// Its gas load when it was healthy, where a rise test after a fix is kept.
    healthy_rise: Option<HealthyRise>,
    /// Its pump-down when it was healthy, where one made after a fix is kept.
    healthy_pump_down: Option<KeptReport>,
    /// The number of the incident, as asked; empty for none.
    incident: String,
    /// The pressures that its report tells.
    pressures: Pressures,
}

impl Context {
    async fn of(app: &App, tool: Option<&str>, incident: Option<&str>) -> Result<Self, Fault> {
        let tool =
            match tool {
                None => None,
                Some(id) => Some(app.store.tool(&app.asker(), id).await?.ok_or_else(|| {
                    Fault::NotFound(format!("The fleet has no tool called {id:?}."))
                })?),
            };
        let healthy_rise = match &tool {
            None => None,
            Some(tool) => attaching::healthy_rise(app, tool.id.as_str()).await?,
        };
        let healthy_pump_down = match &tool {
            None => None,
            Some(tool) => attaching::healthy_pump_down(app, tool.id.as_str()).await?,
        };
        // What is no incident's number is told where a result is attached to it.
        let pressures = match incident.and_then(|number| number.parse().ok()) {
            None => None,
            Some(number) => app.store.incident(&app.asker(), number).await?,
        };
        let pressures = pressures.map(|filed| filed.current().incident.pressures);
        Ok(Self {
            tool,
            healthy_rise,
            healthy_pump_down,
            incident: incident.unwrap_or_default().to_owned(),
            pressures: pressures.unwrap_or_default(),
        })
    }

    /// What is passed on from page to page.
    fn passed(&self) -> impl Iterator<Item = (&str, &str)> {
        let tool = self.tool.iter().map(|tool| ("tool", tool.id.as_str()));
        let incident = Some(("incident", self.incident.as_str()));
        tool.chain(incident.filter(|(_, number)| !number.is_empty()))
    }

    fn notice(&self) -> Option<String> {
        let tool = self.tool.as_ref()?;
        let healthy = self.pressures.healthy.unwrap_or(tool.healthy_base);
        let at_fault = self.pressures.faulty.map_or_else(String::new, |faulty| {
            format!(", at the fault {faulty} by incident {}", self.incident)
        });
        Some(format!(
            "For {}: chamber {} L, {} L/s at the chamber, healthy base pressure {healthy}{at_fault}.",
            tool.id,
            show::trimmed(tool.volume_litres, 1),
            show::trimmed(tool.speed_litres_per_second, 1),
        ))
    }
}
