//! Filing a report and correcting one. A refused form comes back filled in, with the
//! message beside each field; nothing typed is lost.

use std::collections::BTreeMap;

use axum::{
    extract::{Path, State},
    http::{HeaderName, StatusCode, header},
    response::{Html, IntoResponse, Redirect, Response},
};
use serde_json::{Map, Value, json};

use super::{number, search::filed};
use crate::{
    casebook::{self, Asker, Filed, Incident, NewRevision, Refusal, rules},
    catalogue::Kind,
    store::{Filing, Keyed, StoreError},
    vacuum::units::{PressureUnit, read_pressure},
    web::{
        fault::{self, Fault},
        fields::{Asked, Pairs, Sent},
        show,
        state::App,
        views::{
            Link,
            form::{Control, Fields, Hidden, OptionGroup, SelectOption},
            page::{Page, Section},
            report::{IncidentForm, ReportChoices, ReportPage},
        },
    },
};

/// Rows added by the "more rows" button.
const MORE_ROWS: usize = 3;

pub(super) async fn blank(State(app): State<App>, asked: Asked) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let choices = choices(&app, &asker).await?;
    let mut form = IncidentForm::blank(&choices, IncidentForm::rows_for(names(&asked)), false);
    fill(&mut form, &asked);
    if let Some(id) = asked.get("tool")
        && let Some(tool) = app.store.tool(&asker, id).await?
    {
        let given = |which: &str| asked.get(&format!("pressures.{which}.value")).is_some();
        if !given("healthy") {
            form.healthy.set(&number_of(tool.healthy_base.value));
        }
        // What was typed keeps the unit it was typed in.
        for (which, field) in [
            ("healthy", &mut form.healthy),
            ("faulty", &mut form.faulty),
            ("restored", &mut form.restored),
        ] {
            if !given(which) {
                field.set_unit(unit_id(tool.healthy_base.unit));
            }
        }
    }
    keyed(&mut form);
    if asked.get("occurred_at").is_none() {
        let now = show::form_moment(app.now());
        // To the minute: nobody notices a lost base pressure by the second.
        form.occurred_at.set(now.get(..16).unwrap_or(&now));
    }
    new_page(form)
}

pub(super) async fn file(State(app): State<App>, sent: Sent) -> Result<Response, Fault> {
    let asker = app.asker();
    let choices = choices(&app, &asker).await?;
    let mut form = IncidentForm::blank(&choices, IncidentForm::rows_for(names(&sent)), false);
    fill(&mut form, &sent);
    match sent.get("key") {
        Some(key) => hide(&mut form, "key", key),
        None => keyed(&mut form),
    }
    if sent.get("action") == Some("more-rows") {
        form.add_rows(&choices, MORE_ROWS);
        return Ok(new_page(form)?.into_response());
    }
    let incident = match judge(&app, &asker, &sent).await? {
        Ok(incident) => incident,
        Err(refusals) => return Ok(refused(new_page(with_messages(form, &refusals))?)),
    };
    // Sent twice by an impatient finger, it is still one report.
    let key = sent.get("key").map(|key| Keyed {
        key: format!("form {key}"),
        digest: sent.digest(),
    });
    match app.store.file(Filing::new(incident, app.now()), key).await {
        Ok(number) => Ok(done(&format!("/incidents/{number}?done=filed"))),
        Err(StoreError::KeyReused(_)) => {
            form.general.push(
                "A report was filed from this form already, and this one differs from it. If it \
                 is another report, file it again; to change the first, correct that one."
                    .to_owned(),
            );
            keyed(&mut form);
            let mut response = new_page(form)?.into_response();
            *response.status_mut() = StatusCode::CONFLICT;
            Ok(response)
        }
        Err(StoreError::Busy) => {
            form.general.push(StoreError::Busy.to_string());
            Ok(busy(new_page(form)?))
        }
        Err(error) => Err(error.into()),
    }
}

pub(super) async fn edit(
    State(app): State<App>,
    Path(text): Path<String>,
) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let filed = filed(&app, &asker, number(&text)?).await?;
    let choices = choices(&app, &asker).await?;
    let sent = as_sent(&filed.current().incident);
    let rows = IncidentForm::rows_for(sent.iter().map(|(name, _)| name.as_str()));
    let mut form = IncidentForm::blank(&choices, rows, true);
    for (name, value) in &sent {
        form.fill(name, value);
    }
    form.author.set("");
    based_on(&mut form, filed.current().revision);
    edit_page(&filed, form)
}

pub(super) async fn correct(
    State(app): State<App>,
    Path(text): Path<String>,
    sent: Sent,
) -> Result<Response, Fault> {
    let asker = app.asker();
    let filed = filed(&app, &asker, number(&text)?).await?;
    let choices = choices(&app, &asker).await?;
    let mut form = IncidentForm::blank(&choices, IncidentForm::rows_for(names(&sent)), true);
    fill(&mut form, &sent);
    let revision = sent.get("based_on").and_then(|text| text.parse().ok());
    based_on(&mut form, revision.unwrap_or(filed.current().revision));
    if sent.get("action") == Some("more-rows") {
        form.add_rows(&choices, MORE_ROWS);
        return Ok(edit_page(&filed, form)?.into_response());
    }
    let reason = sent.get("reason").unwrap_or_default().to_owned();
    let mut judged = judge(&app, &asker, &sent).await?;
    if reason.is_empty() {
        let refusal = Refusal::new(
            "reason",
            "is missing",
            "why the report is corrected, in a few words",
        );
        match &mut judged {
            Ok(_) => judged = Err(vec![refusal]),
            Err(refusals) => refusals.push(refusal),
        }
    }
    let Some(revision) = revision else {
        form.general.push(
            "The form did not say which revision it was made on. Nothing is lost: compare with \
             the incident in another window, then save again."
                .to_owned(),
        );
        return Ok(refused(edit_page(&filed, form)?));
    };
    let mut incident = match judged {
        Ok(incident) => incident,
        Err(refusals) => return Ok(refused(edit_page(&filed, with_messages(form, &refusals))?)),
    };
    let before = &filed.current().incident;
    // The author of the report stays its author; who corrected it stands in the revision.
    let author = std::mem::replace(&mut incident.author, before.author.clone());
    // A form shows times to the minute or so; one that was not touched stays as it was.
    if sent.get("occurred_at") == Some(&show::form_moment(before.occurred_at)) {
        incident.occurred_at = before.occurred_at;
    }
    if let Some(closed) = before.closed_at
        && sent.get("closed_at") == Some(&show::form_moment(closed))
    {
        incident.closed_at = Some(closed);
    }
    let revised = app
        .store
        .revise(NewRevision {
            number: filed.number,
            based_on: revision,
            at: app.now(),
            author,
            reason,
            incident,
        })
        .await;
    match revised {
        Ok(_) => Ok(done(&format!("/incidents/{}?done=corrected", filed.number))),
        Err(StoreError::Outdated { current, .. }) => {
            form.general.push(format!(
                "Someone corrected this incident while you were typing; it is at revision {current} \
                 now. Nothing of yours is stored yet and nothing is lost: compare with the incident \
                 in another window, then save again to put yours on top."
            ));
            based_on(&mut form, current);
            let mut response = edit_page(&filed, form)?.into_response();
            *response.status_mut() = StatusCode::CONFLICT;
            Ok(response)
        }
        Err(StoreError::Busy) => {
            form.general.push(StoreError::Busy.to_string());
            Ok(busy(edit_page(&filed, form)?))
        }
        Err(error) => Err(error.into()),
    }
}

/// Reads and judges what a form sent.
async fn judge(
    app: &App,
    asker: &Asker,
    sent: &Pairs,
) -> Result<Result<Incident, Vec<Refusal>>, Fault> {
    let Recorded {
        record,
        rows,
        mut refusals,
    } = record(sent);
    let (draft, unread) = casebook::read_record(&record);
    refusals.extend(unread.into_iter().map(|refusal| at_row(refusal, &rows)));
    let tool = match &draft.tool {
        Some(id) => app.store.tool(asker, id).await?,
        None => None,
    };
    let context = rules::Context {
        catalogue: &app.catalogue,
        tool: tool.as_ref(),
        now: app.now(),
    };
    Ok(match rules::accept(&draft, &context) {
        Ok(incident) if refusals.is_empty() => Ok(incident),
        Ok(_) => Err(refusals),
        Err(broken) => {
            let broken = broken.into_iter().map(|refusal| at_row(refusal, &rows));
            Err(rules::merged(refusals, broken.collect()))
        }
    })
}

/// A form's fields as a record.
struct Recorded {
    record: Value,
    /// For each check of the record, the row of the form it came from.
    rows: Vec<usize>,
    /// What cannot be read at all.
    refusals: Vec<Refusal>,
}

fn record(sent: &Pairs) -> Recorded {
    let mut fields = Map::new();
    let mut refusals = Vec::new();
    for name in [
        "status",
        "tool",
        "symptom",
        "cause",
        "fix",
        "proof",
        "not_restored_reason",
        "notes",
        "author",
    ] {
        if let Some(text) = sent.get(name) {
            fields.insert(name.to_owned(), json!(text));
        }
    }
    for name in ["occurred_at", "closed_at"] {
        if let Some(text) = sent.get(name) {
            match text.parse::<jiff::civil::DateTime>() {
                Ok(time) => {
                    fields.insert(name.to_owned(), json!(format!("{time}Z")));
                }
                Err(_) => refusals.push(Refusal::new(
                    name,
                    format!("{text:?} is not a time"),
                    "a day and time in UTC like 2025-03-04 10:20",
                )),
            }
        }
    }
    for name in ["labour_minutes", "down_hours"] {
        if let Some(text) = sent.get(name) {
            match plain_number(text) {
                Some(value) => {
                    fields.insert(name.to_owned(), json!(value));
                }
                None => refusals.push(not_a_number(name, text)),
            }
        }
    }
    let mut pressures = Map::new();
    for which in ["healthy", "faulty", "restored"] {
        let unit = sent
            .get(&format!("pressures.{which}.unit"))
            .and_then(|unit| unit.parse::<PressureUnit>().ok());
        let Some(text) = sent.get(&format!("pressures.{which}.value")) else {
            continue;
        };
        match read_pressure(text, unit) {
            Ok(typed) => {
                pressures.insert(which.to_owned(), json!(typed));
            }
            Err(error) => refusals.push(Refusal::new(
                format!("pressures.{which}"),
                error.to_string(),
                "a number like 5e-6, 5.0x10^-6 or 2,3e-4",
            )),
        }
    }
    fields.insert("pressures".to_owned(), pressures.into());
    for group in ["signs", "antecedents"] {
        let mut answers = Map::new();
        for (id, answer) in sent.below(&format!("{group}.")) {
            match answer {
                "seen" | "absent" => {
                    answers.insert(id.to_owned(), json!(answer == "seen"));
                }
                other => refusals.push(Refusal::new(
                    format!("{group}.{id}"),
                    format!("{other:?} is neither yes nor no"),
                    "yes, no, or not looked",
                )),
            }
        }
        fields.insert(group.to_owned(), answers.into());
    }
    let parts: Vec<_> = sent
        .get("parts")
        .unwrap_or_default()
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .collect();
    fields.insert("parts".to_owned(), json!(parts));
    let (checks, rows) = checks(sent, &mut refusals);
    fields.insert("checks".to_owned(), checks);
    Recorded {
        record: fields.into(),
        rows,
        refusals,
    }
}

/// The rows of checks that were filled in, and which rows of the form they were.
fn checks(sent: &Pairs, refusals: &mut Vec<Refusal>) -> (Value, Vec<usize>) {
    let mut rows: BTreeMap<usize, Map<String, Value>> = BTreeMap::new();
    for (rest, value) in sent.below("checks.") {
        let Some((row, part)) = rest.split_once('.') else {
            continue;
        };
        let Ok(row) = row.parse::<usize>() else {
            continue;
        };
        let entry = rows.entry(row).or_default();
        if part == "minutes" {
            match plain_number(value) {
                Some(minutes) => {
                    entry.insert(part.to_owned(), json!(minutes));
                }
                None => refusals.push(not_a_number(&format!("checks[{row}].minutes"), value)),
            }
        } else {
            entry.insert(part.to_owned(), json!(value));
        }
    }
    let (numbers, rows): (Vec<_>, Vec<_>) = rows.into_iter().unzip();
    (rows.into_iter().map(Value::Object).collect(), numbers)
}

/// Points a message about the n-th check of a record at the row of the form it came from.
fn at_row(mut refusal: Refusal, rows: &[usize]) -> Refusal {
    if let Some(rest) = refusal.field.strip_prefix("checks[")
        && let Some((index, rest)) = rest.split_once(']')
        && let Some(row) = index
            .parse::<usize>()
            .ok()
            .and_then(|index| rows.get(index))
    {
        refusal.field = format!("checks[{row}]{rest}");
    }
    refusal
}

fn plain_number(text: &str) -> Option<f64> {
    let text = text.trim().replace(',', ".");
    text.parse().ok().filter(|number: &f64| number.is_finite())
}

fn not_a_number(field: &str, text: &str) -> Refusal {
    Refusal::new(
        field,
        format!("{text:?} is not a number"),
        "a number, 0 or more",
    )
}

/// An incident as its form would send it.
fn as_sent(incident: &Incident) -> Vec<(String, String)> {
    let mut sent: Vec<(String, String)> = Vec::new();
    let mut put = |name: &str, value: String| sent.push((name.to_owned(), value));
    put("status", incident.status.id().to_owned());
    put("tool", incident.tool.to_string());
    put("occurred_at", show::form_moment(incident.occurred_at));
    if let Some(time) = incident.closed_at {
        put("closed_at", show::form_moment(time));
    }
    put("symptom", incident.symptom.clone());
    let three = [
        ("healthy", incident.pressures.healthy),
        ("faulty", incident.pressures.faulty),
        ("restored", incident.pressures.restored),
    ];
    for (which, typed) in three {
        if let Some(typed) = typed {
            put(&format!("pressures.{which}.value"), number_of(typed.value));
            put(
                &format!("pressures.{which}.unit"),
                unit_id(typed.unit).to_owned(),
            );
        }
    }
    let answer = |seen: &bool| if *seen { "seen" } else { "absent" }.to_owned();
    for (id, seen) in &incident.signs {
        put(&format!("signs.{id}"), answer(seen));
    }
    for (id, happened) in &incident.antecedents {
        put(&format!("antecedents.{id}"), answer(happened));
    }
    for (row, check) in incident.checks.iter().enumerate() {
        put(&format!("checks.{row}.check"), check.check.to_string());
        put(
            &format!("checks.{row}.outcome"),
            check.outcome.id().to_owned(),
        );
        if let Some(minutes) = check.minutes {
            put(&format!("checks.{row}.minutes"), minutes.to_string());
        }
        put(&format!("checks.{row}.note"), check.note.clone());
    }
    if let Some(cause) = &incident.cause {
        put("cause", cause.id().to_owned());
    }
    put("fix", incident.fix.clone());
    put("parts", incident.parts.join("\n"));
    if let Some(minutes) = incident.labour_minutes {
        put("labour_minutes", minutes.to_string());
    }
    if let Some(hours) = incident.down_hours {
        put("down_hours", hours.to_string());
    }
    put("proof", incident.proof.clone());
    put("not_restored_reason", incident.not_restored_reason.clone());
    put("notes", incident.notes.clone());
    sent
}

async fn choices(app: &App, asker: &Asker) -> Result<ReportChoices, Fault> {
    let mut tools: Vec<OptionGroup> = Vec::new();
    let sites = app.store.sites(asker).await?;
    let all = app.store.tools(asker).await?;
    for site in sites {
        let options: Vec<_> = all
            .iter()
            .filter(|tool| tool.site == site.code)
            .map(|tool| {
                let class = show::class_name(&app.catalogue, tool.class.as_str());
                SelectOption::new(tool.id.as_str(), format!("{} · {class}", tool.id))
            })
            .collect();
        if !options.is_empty() {
            tools.push(OptionGroup {
                label: format!("{} · {}", site.code, site.name),
                options,
            });
        }
    }
    let mut causes: Vec<OptionGroup> = Kind::ALL
        .into_iter()
        .map(|kind| OptionGroup {
            label: show::capital(kind.name()),
            options: app
                .catalogue
                .causes()
                .filter(|cause| cause.kind == kind)
                .map(|cause| SelectOption::new(cause.id.as_str(), cause.name.as_str()))
                .collect(),
        })
        .collect();
    causes.push(OptionGroup {
        label: "No cause".to_owned(),
        options: vec![SelectOption::new(crate::catalogue::NOT_FOUND, "Not found")],
    });
    let mut checks: Vec<_> = app
        .catalogue
        .checks()
        .map(|check| SelectOption::new(check.id.as_str(), check.name.as_str()))
        .collect();
    checks.sort_by(|a, b| a.label.cmp(&b.label));
    Ok(ReportChoices {
        tools,
        causes,
        checks,
        units: PressureUnit::ALL
            .into_iter()
            .map(|unit| SelectOption::new(unit_id(unit), unit.to_string()))
            .collect(),
        signs: app
            .catalogue
            .signs()
            .map(|sign| SelectOption::new(sign.id.as_str(), sign.ask.as_str()))
            .collect(),
        antecedents: app
            .catalogue
            .antecedents()
            .map(|antecedent| SelectOption::new(antecedent.id.as_str(), antecedent.name.as_str()))
            .collect(),
    })
}

/// A unit as forms name it.
pub(in crate::web) fn unit_id(unit: PressureUnit) -> &'static str {
    match unit {
        PressureUnit::Torr => "torr",
        PressureUnit::Millitorr => "mtorr",
        PressureUnit::Micron => "micron",
        PressureUnit::Millibar => "mbar",
        PressureUnit::Hectopascal => "hpa",
        PressureUnit::Pascal => "pa",
        PressureUnit::Atmosphere => "atm",
        PressureUnit::Bar => "bar",
        PressureUnit::Kilopascal => "kpa",
        PressureUnit::MillimetreOfMercury => "mmhg",
        PressureUnit::PoundPerSquareInch => "psia",
    }
}

/// A pressure's number as it was typed: `5e-7`, `0.3`, `1013`.
fn number_of(value: f64) -> String {
    if (0.001..100_000.0).contains(&value) {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}

fn names(pairs: &Pairs) -> impl Iterator<Item = &str> {
    pairs.iter().map(|(name, _)| name)
}

fn fill(form: &mut IncidentForm, pairs: &Pairs) {
    for (name, value) in pairs.iter() {
        form.fill(name, value);
    }
}

fn based_on(form: &mut IncidentForm, revision: i64) {
    hide(form, "based_on", &revision.to_string());
}

/// Gives a form a key of its own, so that sending it twice is filing it once.
fn keyed(form: &mut IncidentForm) {
    hide(form, "key", &format!("{:032x}", rand::random::<u128>()));
}

fn hide(form: &mut IncidentForm, name: &str, value: &str) {
    form.hidden = vec![Hidden {
        name: name.to_owned(),
        value: value.to_owned(),
    }];
}

pub(super) fn busy(page: Html<String>) -> Response {
    (StatusCode::SERVICE_UNAVAILABLE, page).into_response()
}

fn with_messages(mut form: IncidentForm, refusals: &[Refusal]) -> IncidentForm {
    for refusal in refusals {
        form.refuse(
            &refusal.field,
            &format!("{}; accepted: {}", refusal.problem, refusal.accepted),
        );
    }
    form
}

fn new_page(mut form: IncidentForm) -> Result<Html<String>, Fault> {
    if matches!(&form.tool.control, Control::Select { groups } if groups.len() < 2) {
        form.general.push(
            "The fleet has no tools yet. Import incidents or send one to the API with its \
             tool_class, site and tool_details: that is how tools come in."
                .to_owned(),
        );
    }
    fault::page(&ReportPage {
        page: Page::new(form.summary().titled("New report"), Section::Report),
        action: "/incidents/new".to_owned(),
        cancel: "/".to_owned(),
        number: None,
        form,
    })
}

fn edit_page(filed: &Filed, form: IncidentForm) -> Result<Html<String>, Fault> {
    let here = format!("/incidents/{}", filed.number);
    let title = format!("Correct incident {}", filed.number);
    let mut page = Page::new(form.summary().titled(&title), Section::Report);
    page.trail = vec![Link::new(
        format!("Incident {}", filed.number),
        here.clone(),
    )];
    fault::page(&ReportPage {
        page,
        action: format!("{here}/edit"),
        cancel: here,
        number: Some(filed.number),
        form,
    })
}

pub(super) fn refused(page: Html<String>) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
}

/// On to the page that shows what was stored; never kept by a cache.
pub(super) fn done(to: &str) -> Response {
    const UNCACHED: [(HeaderName, &str); 1] = [(header::CACHE_CONTROL, "no-store")];
    (UNCACHED, Redirect::to(to)).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_come_back_as_they_were_typed() {
        assert_eq!(number_of(5e-7), "5e-7");
        assert_eq!(number_of(0.3), "0.3");
        assert_eq!(number_of(1013.0), "1013");
    }

    #[test]
    fn a_decimal_comma_is_a_point() {
        assert_eq!(plain_number("6,5"), Some(6.5));
        assert_eq!(plain_number("inf"), None);
    }
}
