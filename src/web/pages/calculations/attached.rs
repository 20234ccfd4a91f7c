//! Calculations attached to incidents: attaching one, and looking at it again.

use std::{collections::BTreeMap, sync::Arc};

use axum::{
    extract::{Path, State},
    http::HeaderMap,
    response::{Html, IntoResponse, Redirect, Response},
};
use serde_json::Value;

use super::{about, all_cautions, beside, method, result::percent, shown, upload::Upload};
use crate::{
    calculation::{
        FieldError,
        again::{Difference, gathered, same},
        named::{Computed, Named},
        sent::{Logs, SentRequest},
    },
    casebook::{Calculation, Incident, KeptLog, Refusal, read_all},
    catalogue::Catalogue,
    store::Attached,
    web::{
        attaching::{self, Again, KEPT, VERSION, Wanted},
        computing::FILE_MARGIN,
        fault::{self, Fault},
        fields::Asked,
        holding::HELD_FOR_WORDS,
        pages::{number, search::filed},
        show,
        state::App,
        views::{
            Link, Tone,
            calculation::{
                AttachForm, AttachedLine, CalculationForm, CalculationPage, CalculationResult,
                Verdict,
            },
            chart::DataTable,
            form::{Field, Hidden, LineKind},
            page::{Page, Section},
        },
    },
};

/// Differences listed at most, and how much of each value.
const LISTED: usize = 50;
const LONGEST: usize = 80;

/// Before the name of a log, the name of the field that says where it is held.
const HELD: &str = "held.";

/// The form by which a result is attached to an incident. `held` says which logs of it are held
/// where; none if not all that went in is in the request or held.
pub(super) fn form(
    computed: &Computed,
    held: Option<Vec<(String, String)>>,
    incident: &str,
) -> Result<AttachForm, Fault> {
    let request = computed
        .request()
        .map_err(|error| Fault::Internal(std::sync::Arc::new(error.into())))?;
    let why_not = match &held {
        Some(_) => format!(
            "What went in is more than {} MB beside its logs and cannot be kept.",
            KEPT >> 20
        ),
        None => {
            "What went in could not be held on this server’s disk, so that it cannot be kept now. \
                 Tell whoever runs the server, and calculate again."
                .to_owned()
        }
    };
    Ok(AttachForm {
        why_not,
        name: computed.named().id().to_owned(),
        request: (held.is_some() && request.len() <= KEPT + FILE_MARGIN / 2).then_some(request),
        held: held
            .into_iter()
            .flatten()
            .map(|(log, sha256)| Hidden {
                name: format!("{HELD}{log}"),
                value: sha256,
            })
            .collect(),
        held_for: HELD_FOR_WORDS.to_owned(),
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
    let filed = filed(&app, &app.asker(), number).await?;
    let (logs, long) = held(&app, &sent, &request).await?;
    let id = attaching::attach(
        &app,
        Wanted {
            number: filed.number,
            named,
            by: author,
            request: SentRequest::new(request.into_bytes(), logs),
            long,
            key: None,
        },
    )
    .await?
    .map_err(Fault::Refused)?;
    let address = format!("/incidents/{number}/calculations/{id}?done=attached");
    Ok(Redirect::to(&address).into_response())
}

/// The logs that a form says are held here, as they go into a calculation and as they are kept.
async fn held(
    app: &App,
    sent: &Upload,
    request: &str,
) -> Result<(Logs, BTreeMap<String, KeptLog>), Fault> {
    let mut long = BTreeMap::new();
    for (name, sha256) in &sent.fields {
        let Some(field) = name.strip_prefix(HELD) else {
            continue;
        };
        let kept = match app.holding.read(sha256) {
            Some(read) => Some(read.map_err(|error| Fault::Internal(Arc::new(error.into())))?),
            // Kept with another calculation meanwhile.
            None => app.store.kept_log(sha256).await?,
        };
        let Some(log) = kept else {
            return Err(Fault::Refused(vec![Refusal::new(
                field,
                format!("the log is no longer held here, which it is for {HELD_FOR_WORDS}"),
                "the file once more: go back to the calculation, choose it, calculate, and attach the \
                 result",
            )]));
        };
        long.insert(field.to_owned(), log);
    }
    // What is no JSON is refused where it is computed.
    let request: Value = serde_json::from_str(request).unwrap_or_default();
    let read = move || Ok((read_all(&long, &request)?, long));
    tokio::task::spawn_blocking(read)
        .await?
        .map_err(|problem: String| Fault::Internal(Arc::new(anyhow::anyhow!(problem))))
}

/// A log of a calculation of an incident, as a file.
pub(super) async fn log(
    State(app): State<App>,
    Path((incident, id, field)): Path<(String, String, String)>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let filed = filed(&app, &app.asker(), number(&incident)?).await?;
    let attached = attaching::find(&app, filed.number, &id).await?;
    attaching::log_file(&app, attached, &field, &headers).await
}

/// A calculation of an incident, computed again by today's program.
pub(super) async fn show_again(
    State(app): State<App>,
    Path((incident, id)): Path<(String, String)>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let filed = filed(&app, &app.asker(), number(&incident)?).await?;
    let attached = attaching::find(&app, filed.number, &id).await?;
    let kept = &attached.calculation;
    let named = Named::of(&kept.kind).ok_or_else(|| {
        Fault::NotFound(format!(
            "This program knows no calculation {:?}.",
            kept.kind
        ))
    })?;
    let again = attaching::again(&app, kept).await?;
    let logs = log_links(kept, filed.number, attached.id);
    let (result, same, computed) = match &again {
        Again::Computed {
            computed,
            differences,
            ..
        } => {
            let mut result = shown(computed, &app.catalogue)?;
            let told: Vec<_> = differences
                .iter()
                .filter(|d| !d.is_new())
                .cloned()
                .collect();
            result.tables.extend(table(&told));
            (result, same(differences), Some(computed))
        }
        Again::Refused(errors) => (no_longer(kept, errors), false, None),
    };
    let result = CalculationResult {
        data: logs,
        ..result
    };
    let about = about(named);
    let title = format!("{} of incident {}", about.name, filed.number);
    let mut page = Page::new(title, Section::Search);
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
        intro: history(kept, filed.number, same, &again),
        cautions: all_cautions(&app, named, computed),
        form: CalculationForm::default(),
        result: Some(result),
        method: method(&app, named),
        beside: beside(
            named,
            Some(filed.current().incident.tool.as_str()),
            computed,
        ),
        attach: None,
    })
}

/// The logs that went into a calculation, to be taken home.
fn log_links(kept: &Calculation, incident: i64, id: i64) -> Vec<Link> {
    let fields = Named::of(&kept.kind).map_or(&[][..], Named::logs);
    fields
        .iter()
        .filter_map(|field| {
            let bytes = match kept.logs.get(*field) {
                Some(log) => log.bytes,
                None => kept.request.get(*field)?.as_str()?.len() as u64,
            };
            let name = if *field == "log" {
                "The log that went in"
            } else {
                "The healthy log that went in"
            };
            Some(Link::new(
                format!("{name} ({})", show::bytes(bytes)),
                format!("/incidents/{incident}/calculations/{id}/logs/{field}"),
            ))
        })
        .collect()
}

/// By whom and by which program it was computed, and whether today's program agrees.
fn history(kept: &Calculation, incident: i64, same: bool, again: &Again) -> String {
    let then = format!(
        "Attached to incident {incident} by {} on {}, computed by coldtrap {}. Computed again just now \
         by coldtrap {VERSION}",
        kept.by,
        show::moment(kept.made_at),
        kept.program_version
    );
    let verdict = match again {
        Again::Computed { differences, .. } if same => {
            let new = differences.len();
            let more = if new > 0 {
                format!(
                    " This version tells {} besides.",
                    show::counted(new as u64, "value more", "values more")
                )
            } else {
                String::new()
            };
            return format!("{then}: the same, shown below.{more}");
        }
        Again::Computed { computed, .. } if computed.outcome().verdict == kept.verdict() => {
            "The verdict is the same".to_owned()
        }
        _ => format!("The verdict then: {}", kept.verdict()),
    };
    let why = if kept.program_version == VERSION {
        "The version is the same, so what it reads besides must have changed, such as the patterns of \
         a mass spectrum."
    } else {
        "Another version may compute otherwise."
    };
    format!(
        "{then}: not the same. {why} Below is today's result, with a table of what is not as it was. \
         {verdict}"
    )
}

/// What is not as it was.
fn table(differences: &[Difference]) -> Option<DataTable> {
    let value = |value: &Option<Value>| match value {
        None => "–".to_owned(),
        Some(Value::String(text)) => shortened(text),
        Some(other) => shortened(&other.to_string()),
    };
    let moved = gathered(differences);
    let left_out = moved.len().saturating_sub(LISTED);
    let mut caption = "What is not as it was".to_owned();
    if left_out > 0 {
        caption.push_str(&format!(", {left_out} more left out"));
    }
    (!moved.is_empty()).then(|| DataTable {
        caption,
        headings: ["Field of the result", "Then", "Now", "Change"]
            .map(str::to_owned)
            .into(),
        rows: moved
            .iter()
            .take(LISTED)
            .map(|moved| {
                let (field, at_most) = match moved.count {
                    1 => (moved.first.field.clone(), ""),
                    count => (
                        format!("{}, {count} values, the first", moved.field),
                        "at most ",
                    ),
                };
                vec![
                    field,
                    value(&moved.first.then),
                    value(&moved.first.now),
                    moved.at_most.map_or_else(
                        || "–".to_owned(),
                        |share| format!("{at_most}{}", percent(share)),
                    ),
                ]
            })
            .collect(),
    })
}

fn shortened(text: &str) -> String {
    if text.chars().count() <= LONGEST {
        text.to_owned()
    } else {
        text.chars().take(LONGEST).chain(['…']).collect()
    }
}

/// The stored verdict, where today's program refuses the request.
fn no_longer(kept: &Calculation, errors: &[FieldError]) -> CalculationResult {
    CalculationResult {
        verdict: Some(Verdict {
            tone: Tone::Unsure,
            headline: kept.verdict().to_owned(),
            reasons: errors
                .iter()
                .map(|error| format!("Today's program refuses the request: {error}."))
                .collect(),
        }),
        version: kept.program_version.clone(),
        ..CalculationResult::default()
    }
}

/// The calculations of an incident as lines, oldest first; those that its report contradicts say so.
pub(in crate::web::pages) fn lines(
    catalogue: &Catalogue,
    report: &Incident,
    attached: &[Attached],
    incident: i64,
) -> Vec<AttachedLine> {
    let verdict = |calculation: &Calculation| {
        let contradicted = attaching::contradicted(&report.signs, calculation);
        let Some(sign) = contradicted.and_then(|id| catalogue.sign(id.as_str())) else {
            return calculation.verdict().to_owned();
        };
        let verdict = calculation.verdict().trim_end_matches('.');
        let name = &sign.name;
        format!(
            "{verdict}. Its signs are not used for what to check next: the report says otherwise of “{name}”. See which is true, and correct the report or calculate again."
        )
    };
    attached
        .iter()
        .map(|Attached { id, calculation }| AttachedLine {
            name: Named::of(&calculation.kind)
                .map_or(calculation.kind.as_str(), |named| about(named).name)
                .to_owned(),
            href: format!("/incidents/{incident}/calculations/{id}"),
            verdict: verdict(calculation),
            by: format!("{}, {}", calculation.by, show::moment(calculation.made_at)),
        })
        .collect()
}
