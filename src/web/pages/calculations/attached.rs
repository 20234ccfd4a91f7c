//! Calculations attached to incidents: attaching one, and looking at it again.

use std::collections::BTreeMap;

use axum::{
    extract::{Path, State},
    response::{Html, IntoResponse, Redirect, Response},
};
use serde::Deserialize;

use super::{about, all_cautions, shown, upload::Upload};
use crate::{
    calculation::named::{Computed, Named},
    casebook::Refusal,
    store::{Attached, NewCalculation},
    web::{
        computing,
        fault::{self, Fault},
        fields::Asked,
        pages::{markdown, number, search::filed},
        show,
        state::App,
        views::{
            Link, Tone,
            calculation::{
                AttachForm, AttachedLine, CalculationForm, CalculationPage, CalculationResult,
                Verdict,
            },
            form::{Field, LineKind},
            page::{Page, Section},
        },
    },
};

/// The largest request that is kept with an incident, in bytes.
const KEPT: usize = 1 << 20;

/// What is read of a stored report.
#[derive(Default, Deserialize)]
#[serde(default)]
struct Gist {
    verdict: String,
    signs: BTreeMap<String, bool>,
}

/// The form by which a result is attached to an incident.
pub(super) fn form(computed: &Computed, incident: &str) -> Result<AttachForm, Fault> {
    let request = computed
        .request()
        .map_err(|error| Fault::Internal(std::sync::Arc::new(error.into())))?;
    Ok(AttachForm {
        name: computed.named().id().to_owned(),
        request: (request.len() <= KEPT).then_some(request),
        limit: "1 MB".to_owned(),
        fields: vec![
            Field::line("incident", "Number of the incident", LineKind::Number).with(incident),
            Field::line("author", "Your initials or name", LineKind::Text),
        ],
    })
}

/// Computes once more what the form carries and stores request, report and version.
pub(super) async fn attach(State(app): State<App>, sent: Upload) -> Result<Response, Fault> {
    let mut refusals = Vec::new();
    let mut take = |name: &str, problem: &str, accepted: &str| match sent.value(name) {
        Some(value) => value.to_owned(),
        None => {
            refusals.push(Refusal::new(name, problem, accepted));
            String::new()
        }
    };
    let incident = take("incident", "is missing", "the number of an incident");
    let author = take("author", "is missing", "your initials or name");
    let name = take("name", "is missing", "the name of a calculation");
    let request = take("request", "is missing", "the request of a calculation");
    let number = incident.trim_start_matches('#').parse::<i64>();
    if !incident.is_empty() && number.is_err() {
        refusals.push(Refusal::new(
            "incident",
            format!("{incident:?} is not a number"),
            "the number of an incident",
        ));
    }
    let named = Named::of(&name);
    let (Ok(number), Some(named), true) = (number, named, refusals.is_empty()) else {
        return Err(Fault::Refused(refusals));
    };
    if request.len() > KEPT {
        return Err(Fault::TooLarge);
    }
    let filed = filed(&app, &app.asker(), number).await?;
    let computed = computing::compute(named, request)
        .await?
        .map_err(|errors| Fault::Refused(computing::refusals(errors)))?;
    let json = |text: serde_json::Result<String>| {
        text.map_err(|error| Fault::Internal(std::sync::Arc::new(error.into())))
    };
    let id = app
        .store
        .attach(NewCalculation {
            number: filed.number,
            name,
            at: app.now(),
            author,
            version: env!("CARGO_PKG_VERSION").to_owned(),
            request: json(computed.request())?,
            report: json(computed.report())?,
        })
        .await?;
    let address = format!("/incidents/{number}/calculations/{id}?done=attached");
    Ok(Redirect::to(&address).into_response())
}

/// A calculation of an incident, computed again by today's program.
pub(super) async fn show_again(
    State(app): State<App>,
    Path((incident, id)): Path<(String, String)>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let filed = filed(&app, &app.asker(), number(&incident)?).await?;
    let missing = || {
        Fault::NotFound(format!(
            "Incident {} has no calculation {id:?}.",
            filed.number
        ))
    };
    let wanted: i64 = id.parse().map_err(|_| missing())?;
    let attached = app
        .store
        .calculations(&app.asker(), filed.number)
        .await?
        .into_iter()
        .find(|attached| attached.id == wanted)
        .ok_or_else(missing)?;
    let request = app
        .store
        .calculation_request(filed.number, wanted)
        .await?
        .ok_or_else(missing)?;
    let named = Named::of(&attached.name).ok_or_else(missing)?;
    let again = computing::compute(named, request).await?;
    let (result, same) = match &again {
        Ok(computed) => {
            let report = computed
                .report()
                .map_err(|error| Fault::Internal(std::sync::Arc::new(error.into())))?;
            (shown(computed, &app.catalogue)?, report == attached.report)
        }
        Err(errors) => (no_longer(&attached, errors), false),
    };
    let about = about(named);
    let mut page = Page::new(about.name, Section::Search);
    page.trail = vec![
        Link::new("Search", "/"),
        Link::new(
            format!("Incident {}", filed.number),
            format!("/incidents/{}", filed.number),
        ),
    ];
    page.notice = (asked.get("done") == Some("attached"))
        .then(|| format!("Attached to incident {}.", filed.number));
    fault::page(&CalculationPage {
        page,
        name: about.name.to_owned(),
        intro: history(&attached, filed.number, same),
        cautions: all_cautions(&app, named, again.as_ref().ok()),
        form: CalculationForm::default(),
        result: Some(result),
        method: markdown::render(about.method),
        attach: None,
    })
}

/// By whom and by which program it was computed, and whether today's program agrees.
fn history(attached: &Attached, incident: i64, same: bool) -> String {
    let today = env!("CARGO_PKG_VERSION");
    let then = format!(
        "Attached to incident {incident} by {} on {}, computed by coldtrap {}.",
        attached.author,
        show::moment(attached.at),
        attached.version
    );
    if same {
        format!("{then} Computed again just now by coldtrap {today}: the same, shown below.")
    } else {
        format!(
            "{then} Computed again just now by coldtrap {today}: not the same. Below is today's \
             result. The verdict then: {}",
            gist(attached).verdict
        )
    }
}

/// The stored verdict, where today's program refuses the request.
fn no_longer(attached: &Attached, errors: &[crate::calculation::FieldError]) -> CalculationResult {
    CalculationResult {
        verdict: Some(Verdict {
            tone: Tone::Unsure,
            headline: gist(attached).verdict,
            reasons: errors
                .iter()
                .map(|error| format!("Today's program refuses the request: {error}."))
                .collect(),
        }),
        version: attached.version.clone(),
        ..CalculationResult::default()
    }
}

/// The calculations of an incident as lines, oldest first.
pub(in crate::web::pages) fn lines(attached: &[Attached], incident: i64) -> Vec<AttachedLine> {
    attached
        .iter()
        .map(|attached| AttachedLine {
            name: Named::of(&attached.name)
                .map_or(attached.name.as_str(), |named| about(named).name)
                .to_owned(),
            href: format!("/incidents/{incident}/calculations/{}", attached.id),
            verdict: gist(attached).verdict,
            by: format!("{}, {}", attached.author, show::moment(attached.at)),
        })
        .collect()
}

/// The signs that the calculations of an incident set; a later one outweighs an earlier one.
pub(in crate::web::pages) fn signs(attached: &[Attached]) -> BTreeMap<String, bool> {
    attached
        .iter()
        .flat_map(|attached| gist(attached).signs)
        .collect()
}

fn gist(attached: &Attached) -> Gist {
    serde_json::from_str(&attached.report).unwrap_or_default()
}
