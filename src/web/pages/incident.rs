//! One incident, as it stands and as it stood.

use axum::{
    extract::{Path, State},
    response::Html,
};

use super::{
    calculations, number,
    search::{beside, filed},
};
use crate::{
    calculation::named::Named,
    casebook::{Filed, Incident, Outcome, Revision, Status, Tool, rules},
    vacuum::units::TypedPressure,
    web::{
        asked_sequence, attaching,
        fault::{self, Fault},
        fields::{Asked, address, place},
        show,
        state::App,
        views::{
            Link,
            incident::{
                Change, CheckDone, Fact, IncidentPage, OldRevision, OutcomeMark, PressureLine,
                RevisionLine,
            },
            page::{Page, Section},
            scale::{DecadeScale, MarkKind},
        },
    },
};

pub(super) async fn show(
    State(app): State<App>,
    Path(text): Path<String>,
    asked: Asked,
) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let filed = filed(&app, &asker, number(&text)?).await?;
    let current = filed.current();
    let tool = app
        .store
        .tool(&asker, current.incident.tool.as_str())
        .await?;
    let mut view = view(&app, &filed, current, tool.as_ref());
    view.similar = beside(&app, &asker, &filed, tool.as_ref()).await?;
    view.edit = Some(format!("/incidents/{}/edit", filed.number));
    let attached = app.store.calculations(&asker, filed.number).await?;
    view.sequence = Some(Link::new(
        "What to check next",
        asked_sequence::address_for(
            &current.incident,
            tool.as_ref().map(|tool| tool.healthy_base),
            attaching::signs(&app, &current.incident.signs, &attached),
        ),
    ));
    view.calculations =
        calculations::lines(&app.catalogue, &current.incident, &attached, filed.number);
    let keeps = |named| {
        let kind = |kept: &crate::store::Attached| Named::of(&kept.calculation.kind);
        attached.iter().any(|kept| kind(kept) == Some(named))
    };
    let tool = current.incident.tool.as_str();
    view.rises = keeps(Named::Rise).then(|| calculations::overlay_link(tool));
    view.pump_downs = keeps(Named::PumpDown).then(|| calculations::pump_downs_link(tool));
    view.calculate = Some(Link::new(
        "Calculate for this incident",
        address(
            "/calculations",
            [
                ("tool", current.incident.tool.as_str()),
                ("incident", filed.number.to_string().as_str()),
            ],
        ),
    ));
    view.page.notice = match asked.get("done") {
        Some("filed") => Some(format!(
            "Filed as number {}. It can be found from now on.",
            filed.number
        )),
        Some("corrected") => Some(format!(
            "Corrected. This is revision {}; the earlier ones are kept below.",
            current.revision
        )),
        _ => None,
    };
    fault::page(&view)
}

pub(super) async fn revision(
    State(app): State<App>,
    Path((text, wanted)): Path<(String, String)>,
) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let filed = filed(&app, &asker, number(&text)?).await?;
    let position = filed
        .revisions
        .iter()
        .position(|revision| revision.revision.to_string() == wanted)
        .ok_or_else(|| {
            Fault::NotFound(format!(
                "Incident {} has no revision {wanted:?}; it has 1 to {}.",
                filed.number,
                filed.current().revision
            ))
        })?;
    let revision = &filed.revisions[position];
    let tool = app
        .store
        .tool(&asker, revision.incident.tool.as_str())
        .await?;
    let mut view = view(&app, &filed, revision, tool.as_ref());
    let here = format!("/incidents/{}", filed.number);
    view.page.title = format!("Incident {}, revision {}", filed.number, revision.revision);
    view.page.trail.push(Link::new(
        format!("Incident {}", filed.number),
        here.clone(),
    ));
    view.old_revision = Some(OldRevision {
        number: revision.revision,
        present: position + 1 == filed.revisions.len(),
        by: format!("{}, {}", revision.author, show::moment(revision.at)),
        reason: revision.reason.clone(),
        current: here,
        changes: position
            .checked_sub(1)
            .map(|before| changes(&filed.revisions[before].incident, &revision.incident))
            .unwrap_or_default(),
    });
    fault::page(&view)
}

fn view(app: &App, filed: &Filed, revision: &Revision, tool: Option<&Tool>) -> IncidentPage {
    let catalogue = &app.catalogue;
    let incident = &revision.incident;
    let mut page = Page::new(format!("Incident {}", filed.number), Section::Search);
    page.trail = vec![Link::new("Search", "/")];
    let split = |seen: bool| {
        incident
            .signs
            .iter()
            .filter(|(_, s)| **s == seen)
            .map(|(id, _)| {
                catalogue
                    .sign(id.as_str())
                    .map_or(id.to_string(), |s| s.name.clone())
            })
            .collect::<Vec<_>>()
    };
    let before = |happened: bool| {
        incident
            .antecedents
            .iter()
            .filter(|(_, h)| **h == happened)
            .map(|(id, _)| {
                catalogue
                    .antecedent(id.as_str())
                    .map_or(id.to_string(), |a| a.name.clone())
            })
            .collect::<Vec<_>>()
    };
    let cause_kind = match &incident.cause {
        Some(cause) => catalogue
            .cause(cause.id())
            .map_or_else(String::new, |cause| show::capital(cause.kind.name())),
        None => String::new(),
    };
    IncidentPage {
        page,
        number: filed.number,
        open: incident.status == Status::Open,
        old_revision: None,
        tool: Some(Link::new(
            incident.tool.as_str(),
            place("/tools", incident.tool.as_str()),
        )),
        tool_class: tool.map_or_else(String::new, |t| {
            show::class_name(catalogue, t.class.as_str())
        }),
        site: tool.map_or_else(String::new, |tool| tool.site.to_string()),
        symptom: incident.symptom.clone(),
        pressures: pressure_lines(incident),
        scale: scale(incident),
        signs_seen: split(true),
        signs_absent: split(false),
        antecedents_true: before(true),
        antecedents_false: before(false),
        checks: incident
            .checks
            .iter()
            .map(|done| CheckDone {
                check: Some(Link::new(
                    catalogue
                        .check(done.check.as_str())
                        .map_or(done.check.as_str(), |check| check.name.as_str()),
                    format!("/checks/{}", done.check),
                )),
                outcome: match done.outcome {
                    Outcome::Found => OutcomeMark::Found,
                    Outcome::Clear => OutcomeMark::Clear,
                    Outcome::Inconclusive => OutcomeMark::Inconclusive,
                },
                minutes: done.minutes.map_or_else(String::new, show::minutes),
                note: done.note.clone(),
            })
            .collect(),
        cause: incident
            .cause
            .as_ref()
            .map(|cause| show::cause_link(cause, catalogue)),
        cause_kind,
        fix: incident.fix.clone(),
        parts: incident.parts.clone(),
        proof: incident.proof.clone(),
        not_restored_reason: incident.not_restored_reason.clone(),
        notes: incident.notes.clone(),
        facts: facts(incident, tool),
        revisions: revisions(filed, revision.revision),
        similar: Default::default(),
        edit: None,
        sequence: None,
        calculations: Vec::new(),
        calculate: None,
        rises: None,
        pump_downs: None,
    }
}

fn three(incident: &Incident) -> [(MarkKind, Option<TypedPressure>); 3] {
    [
        (MarkKind::Healthy, incident.pressures.healthy),
        (MarkKind::Faulty, incident.pressures.faulty),
        (MarkKind::Restored, incident.pressures.restored),
    ]
}

fn pressure_lines(incident: &Incident) -> Vec<PressureLine> {
    three(incident)
        .into_iter()
        .filter_map(|(kind, typed)| {
            let typed = typed?;
            Some(PressureLine {
                kind,
                typed: typed.to_string(),
                pascals: if typed.unit == crate::vacuum::units::PressureUnit::Pascal {
                    String::new()
                } else {
                    show::pascals(typed)
                },
            })
        })
        .collect()
}

fn scale(incident: &Incident) -> Option<DecadeScale> {
    let marks: Vec<_> = three(incident)
        .into_iter()
        .filter_map(|(kind, typed)| Some((kind, typed?)))
        .collect();
    let unit = marks
        .iter()
        .find(|(kind, _)| *kind == MarkKind::Faulty)
        .or(marks.first())?
        .1
        .unit;
    let marks: Vec<_> = marks
        .into_iter()
        .filter_map(|(kind, typed)| Some((kind, typed.pressure().ok()?.pascals())))
        .collect();
    DecadeScale::new(&unit.to_string(), unit.pascals_per_unit(), &marks)
}

fn facts(incident: &Incident, tool: Option<&Tool>) -> Vec<Fact> {
    let mut facts = vec![Fact::new("First seen", show::moment(incident.occurred_at))];
    if let Some(note) = tool.and_then(|tool| rules::not_counted(tool, incident.occurred_at)) {
        facts.push(Fact::new(
            "Not counted in rates",
            format!(
                "{}: correct the day on the tool’s page, or the time here",
                note.problem
            ),
        ));
    }
    if let Some(closed) = incident.closed_at {
        facts.push(Fact::new("Closed", show::moment(closed)));
    }
    if let Some(minutes) = incident.labour_minutes {
        facts.push(Fact::new("Labour", show::minutes(minutes)));
    }
    if let Some(hours) = incident.down_hours {
        facts.push(Fact::new("Tool down", show::hours(hours)));
    }
    facts.push(Fact::new("Reported by", incident.author.clone()));
    facts
}

fn revisions(filed: &Filed, shown: i64) -> Vec<RevisionLine> {
    filed
        .revisions
        .iter()
        .rev()
        .map(|revision| RevisionLine {
            number: revision.revision,
            href: if revision.revision == filed.current().revision {
                format!("/incidents/{}", filed.number)
            } else {
                format!(
                    "/incidents/{}/revisions/{}",
                    filed.number, revision.revision
                )
            },
            when: show::moment(revision.at),
            author: revision.author.clone(),
            reason: if revision.revision == 1 {
                "Filed".to_owned()
            } else {
                revision.reason.clone()
            },
            shown: revision.revision == shown,
        })
        .collect()
}

/// What differs between two states, field by field.
fn changes(before: &Incident, after: &Incident) -> Vec<Change> {
    let values = |incident: &Incident| -> Vec<(String, String)> {
        let typed =
            |typed: Option<TypedPressure>| typed.map_or_else(String::new, |t| t.to_string());
        let flags = |flags: Vec<(String, bool)>| {
            flags
                .into_iter()
                .map(|(id, seen)| format!("{id}: {}", if seen { "yes" } else { "no" }))
                .collect::<Vec<_>>()
                .join(", ")
        };
        let checks: Vec<_> = incident
            .checks
            .iter()
            .map(|done| {
                let minutes = done
                    .minutes
                    .map_or_else(String::new, |m| format!(", {}", show::minutes(m)));
                let note = if done.note.is_empty() {
                    String::new()
                } else {
                    format!(", {}", done.note)
                };
                format!("{}: {}{minutes}{note}", done.check, done.outcome.id())
            })
            .collect();
        let optional = |value: Option<f64>| value.map_or_else(String::new, |v| show::trimmed(v, 2));
        let named: [(&str, String); 19] = [
            ("Status", incident.status.id().to_owned()),
            ("Tool", incident.tool.to_string()),
            ("First seen", show::moment(incident.occurred_at)),
            (
                "Closed",
                incident.closed_at.map_or_else(String::new, show::moment),
            ),
            ("Symptom", incident.symptom.clone()),
            ("Healthy base pressure", typed(incident.pressures.healthy)),
            ("Pressure at the fault", typed(incident.pressures.faulty)),
            ("Pressure after the fix", typed(incident.pressures.restored)),
            (
                "Signs",
                flags(
                    incident
                        .signs
                        .iter()
                        .map(|(id, s)| (id.to_string(), *s))
                        .collect(),
                ),
            ),
            (
                "Before it happened",
                flags(
                    incident
                        .antecedents
                        .iter()
                        .map(|(id, h)| (id.to_string(), *h))
                        .collect(),
                ),
            ),
            ("Checks", checks.join("; ")),
            (
                "Cause",
                incident
                    .cause
                    .as_ref()
                    .map_or_else(String::new, ToString::to_string),
            ),
            ("Fix", incident.fix.clone()),
            ("Parts", incident.parts.join(", ")),
            ("Labour in minutes", optional(incident.labour_minutes)),
            ("Hours down", optional(incident.down_hours)),
            ("Proof", incident.proof.clone()),
            ("Reason not restored", incident.not_restored_reason.clone()),
            ("Notes", incident.notes.clone()),
        ];
        named
            .into_iter()
            .map(|(name, value)| (name.to_owned(), value))
            .collect()
    };
    values(before)
        .into_iter()
        .zip(values(after))
        .filter(|((_, before), (_, after))| before != after)
        .map(|((field, before), (_, after))| Change {
            field,
            before,
            after,
        })
        .collect()
}
