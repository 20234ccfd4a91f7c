//! The rules a report must keep, all in one place.
//!
//! Every refusal names its field and what would be accepted. The same rules serve the
//! forms, the API and the import.

use std::collections::{BTreeMap, BTreeSet};

use jiff::{Timestamp, civil::Date, tz::TimeZone};
use serde_json::Value;

use super::{
    Calculation, CalculationDraft, CheckDone, CheckDraft, Draft, Finding, Incident, KeptLog,
    LOG_LIMIT, Outcome, PackedLog, PlannedService, Pressures, Refusal, ServiceDraft, Site,
    SiteCode, Status, Tool, ToolDetails, ToolId,
};
use crate::calculation::{named::Named, packed};
use crate::catalogue::{
    AntecedentId, Catalogue, CauseId, Check, CheckId, ComponentId, NOT_FOUND, SignId, ToolClass,
};
use crate::day;

/// What the rules look a report up against.
#[derive(Clone, Copy, Debug)]
pub struct Context<'a> {
    /// Causes, checks, signs, antecedents.
    pub catalogue: &'a Catalogue,
    /// The tool the report names, if the fleet has it.
    pub tool: Option<&'a Tool>,
    /// The present, so that a time in the future can be refused.
    pub now: Timestamp,
}

/// Turns a draft into an incident.
///
/// # Errors
/// Every rule the draft breaks, each with its field and what would be accepted.
pub fn accept(draft: &Draft, context: &Context<'_>) -> Result<Incident, Vec<Refusal>> {
    accept_whole(draft.clone(), context)
}

/// As [`accept`], for a draft that is of no further use.
///
/// # Errors
/// Every rule the draft breaks.
pub fn accept_whole(draft: Draft, context: &Context<'_>) -> Result<Incident, Vec<Refusal>> {
    let mut judge = Judge {
        context,
        refusals: Vec::new(),
    };
    let incident = judge.incident(draft);
    match incident {
        Some(incident) if judge.refusals.is_empty() => Ok(incident),
        _ => Err(judge.refusals),
    }
}

/// As [`accept`], for an earlier state of a record: its tool may be one the store does
/// not know any more, so what hangs on the tool is judged only where it is known.
///
/// # Errors
/// Every rule the draft breaks.
pub fn accept_earlier(draft: &Draft, context: &Context<'_>) -> Result<Incident, Vec<Refusal>> {
    let mut judge = Judge {
        context,
        refusals: Vec::new(),
    };
    let incident = judge.incident(draft.clone());
    if context.tool.is_none() {
        judge.refusals.retain(|refusal| refusal.field != "tool");
    }
    match incident {
        Some(incident) if judge.refusals.is_empty() => Ok(incident),
        _ => Err(judge.refusals),
    }
}

/// The calculations kept with a record.
///
/// # Errors
/// Every rule they break, with the place in the list.
pub fn calculations(
    drafts: &[CalculationDraft],
    now: Timestamp,
) -> Result<Vec<Calculation>, Vec<Refusal>> {
    let mut refusals = Vec::new();
    let accepted = drafts
        .iter()
        .enumerate()
        .filter_map(|(place, draft)| calculation(place, draft, now, &mut refusals))
        .collect();
    if refusals.is_empty() {
        Ok(accepted)
    } else {
        Err(refusals)
    }
}

fn calculation(
    place: usize,
    draft: &CalculationDraft,
    now: Timestamp,
    refusals: &mut Vec<Refusal>,
) -> Option<Calculation> {
    let mut refuse = |field: &str, problem: &str, accepted: String| {
        let field = format!("calculations[{place}].{field}");
        refusals.push(Refusal::new(field, problem, accepted));
    };
    let kinds = || Named::ALL.map(Named::id).join(", ");
    match draft.kind.as_deref() {
        None => refuse("kind", "is missing", kinds()),
        Some(kind) if Named::of(kind).is_none() => {
            refuse("kind", "is no calculation known here", kinds());
        }
        Some(_) => {}
    }
    match draft.made_at {
        None => refuse(
            "made_at",
            "is missing",
            "the time it was made, like 2025-03-04T10:20:00Z".to_owned(),
        ),
        Some(at) if at > now => refuse(
            "made_at",
            "lies in the future",
            "a time that has been".to_owned(),
        ),
        Some(_) => {}
    }
    if draft.by.is_none() {
        refuse("by", "is missing", "who made it".to_owned());
    }
    if draft.program_version.is_none() {
        refuse(
            "program_version",
            "is missing",
            "the version of the program that computed it".to_owned(),
        );
    }
    if draft.request.is_none() {
        refuse("request", "is missing", "what went in".to_owned());
    }
    match &draft.report {
        None => refuse("report", "is missing", "what came out".to_owned()),
        Some(report) if !report.get("verdict").is_some_and(Value::is_string) => refuse(
            "report.verdict",
            "is missing or no text",
            "the verdict in words".to_owned(),
        ),
        Some(report) if !report.get("signs").is_some_and(Value::is_object) => refuse(
            "report.signs",
            "is missing or no object",
            "signs of the catalogue with true or false".to_owned(),
        ),
        Some(_) => {}
    }
    let logs = kept_logs(draft, &mut refuse);
    Some(Calculation {
        kind: draft.kind.clone()?,
        made_at: draft.made_at?,
        by: draft.by.clone()?,
        program_version: draft.program_version.clone()?,
        request: Value::Object(draft.request.clone()?),
        logs: logs?,
        report: Value::Object(draft.report.clone()?),
    })
}

/// The logs beside a request, each unpacked to see that it is what it says.
fn kept_logs(
    draft: &CalculationDraft,
    refuse: &mut impl FnMut(&str, &str, String),
) -> Option<BTreeMap<String, KeptLog>> {
    let named = draft.kind.as_deref().and_then(Named::of);
    let fields = named.map_or(&[][..], Named::logs);
    let mut logs = BTreeMap::new();
    let mut whole = true;
    for (name, log) in draft.logs.iter().flatten() {
        let place = |field: &str| match field {
            "" => format!("logs.{name}"),
            field => format!("logs.{name}.{field}"),
        };
        let mut wrong = |field: &str, problem: &str, accepted: &str| {
            refuse(&place(field), problem, accepted.to_owned());
            whole = false;
        };
        if !fields.contains(&name.as_str()) {
            wrong(
                "",
                "is no log of this calculation",
                &match fields {
                    [] => "no logs".to_owned(),
                    fields => fields.join(", "),
                },
            );
            continue;
        }
        let packed = log.get("packed").and_then(Value::as_str);
        let Some(packed) = packed.and_then(PackedLog::of_base64) else {
            let accepted = "the log packed as in an export: zlib in base 64";
            wrong("packed", "is missing or cannot be read", accepted);
            continue;
        };
        let found = match packed::unpack(&packed.0[..], LOG_LIMIT, |_| {}) {
            Ok(found) => found,
            Err(error) => {
                let accepted =
                    "the log packed as in an export: zlib in base 64, at most 50 MB unpacked";
                wrong("packed", &error.to_string(), accepted);
                continue;
            }
        };
        if log.get("sha256").and_then(Value::as_str) != Some(&found.sha256) {
            wrong("sha256", "is not that of the log", &found.sha256);
        }
        if log.get("bytes").and_then(Value::as_u64) != Some(found.bytes) {
            wrong(
                "bytes",
                "is not the length of the log",
                &found.bytes.to_string(),
            );
        }
        logs.insert(name.clone(), KeptLog::new(found, Some(packed)));
    }
    whole.then_some(logs)
}

/// The tool and site a record describes, for a fleet that has not met the tool yet.
///
/// # Errors
/// What is missing or unknown in the description.
pub fn tool_from_record(
    draft: &Draft,
    catalogue: &Catalogue,
    now: Timestamp,
) -> Result<(Site, Tool), Vec<Refusal>> {
    let mut refusals = Vec::new();
    let id = draft.tool.clone();
    let class = draft
        .tool_class
        .as_deref()
        .and_then(|class| catalogue.class(class));
    if class.is_none() {
        let known: Vec<_> = catalogue.classes().map(|class| class.id.as_str()).collect();
        let problem = match &draft.tool_class {
            Some(class) => format!("no tool class is called {class:?}"),
            None => "is missing, and the tool is not known here".to_owned(),
        };
        refusals.push(Refusal::new("tool_class", problem, known.join(", ")));
    }
    let site = match &draft.site {
        Some(site) if is_site_code(site) => Some(SiteCode::new(site)),
        Some(site) => {
            refusals.push(Refusal::new(
                "site",
                format!("{site:?} is not a site code"),
                "2 to 8 capital letters or digits",
            ));
            None
        }
        None => {
            refusals.push(Refusal::new(
                "site",
                "is missing, and the tool is not known here",
                "the code of the site where the tool stands",
            ));
            None
        }
    };
    let (Some(id), Some(class), Some(site)) = (id, class, site) else {
        return Err(refusals);
    };
    let mut tool = Tool::as_built(ToolId::new(id), site.clone(), class);
    let mut name = site.to_string();
    let mut place = String::new();
    let mut help_minutes = None;
    if let Some(details) = &draft.tool_details {
        name = details.site_name.clone().unwrap_or(name);
        place = details.site_place.clone().unwrap_or_default();
        help_minutes = details.site_help_minutes;
        refusals.extend(fit(&mut tool, class, details, now));
    }
    if refusals.is_empty() {
        Ok((
            Site {
                code: site,
                name,
                place,
                help_minutes,
            },
            tool,
        ))
    } else {
        Err(refusals)
    }
}

/// What is said of an incident that lies outside the days its tool was in service: it is taken, as
/// an export with a day corrected since has to be, and rates leave it out.
pub fn not_counted(tool: &Tool, occurred_at: Timestamp) -> Option<Refusal> {
    let day = day::of(occurred_at);
    let beyond = |date: Option<Date>, is: fn(i64, i64) -> bool| {
        date.filter(|date| day::of_date(*date).is_some_and(|of| is(day, of)))
    };
    let (said, other, date) = match beyond(tool.in_service, |day, first| day < first) {
        Some(first) => ("before the tool’s first", ["later", "earlier first"], first),
        None => {
            let last = beyond(tool.out_of_service, |day, last| day > last)?;
            ("after the tool’s last", ["earlier", "later last"], last)
        }
    };
    let began = TimeZone::UTC.to_datetime(occurred_at).date();
    Some(Refusal::new(
        "occurred_at",
        format!("{began} lies {said} day in service, {date}, so that no rate counts it"),
        format!("{date} or {}, or an {} day in service", other[0], other[1]),
    ))
}

fn is_site_code(code: &str) -> bool {
    (2..=8).contains(&code.len())
        && code
            .bytes()
            .all(|b| b.is_ascii_uppercase() || b.is_ascii_digit())
}

fn fit(tool: &mut Tool, class: &ToolClass, details: &ToolDetails, now: Timestamp) -> Vec<Refusal> {
    let today = TimeZone::UTC.to_datetime(now).date();
    let mut refusals = Vec::new();
    let days = [
        ("in_service".to_owned(), details.in_service),
        ("out_of_service".to_owned(), details.out_of_service),
    ];
    let services = details.services.iter().enumerate();
    let services = services.map(|(at, service)| (format!("services[{at}].on"), service.on));
    for (field, day) in days.into_iter().chain(services) {
        if day.is_some_and(|day| day > today) {
            refusals.push(Refusal::new(
                format!("tool_details.{field}"),
                "lies in the future",
                format!("{today} or a day before"),
            ));
        }
    }
    tool.serial = details.serial.clone().unwrap_or_default();
    tool.in_service = details.in_service;
    tool.out_of_service = details.out_of_service;
    if let (Some(first), Some(last)) = (tool.in_service, tool.out_of_service)
        && last < first
    {
        refusals.push(Refusal::new(
            "tool_details.out_of_service",
            format!("{last} lies before the first day in service"),
            format!("{first} or later"),
        ));
    }
    tool.volume_litres = details.volume_litres.unwrap_or(tool.volume_litres);
    tool.speed_litres_per_second = details
        .speed_litres_per_second
        .unwrap_or(tool.speed_litres_per_second);
    tool.healthy_base = details.healthy_base.unwrap_or(tool.healthy_base);
    tool.gauges.clone_from(&details.gauges);
    for component in &details.fitted {
        if class.optional.iter().any(|id| id.as_str() == component) {
            tool.components.insert(ComponentId::new(component));
        } else {
            let known: Vec<_> = class.optional.iter().map(ComponentId::as_str).collect();
            refusals.push(Refusal::new(
                "tool_details.fitted",
                format!("{component:?} is not an optional component of the class"),
                known.join(", "),
            ));
        }
    }
    for component in &details.lacking {
        if !tool.components.remove(component.as_str()) {
            let known: Vec<_> = class.components.iter().map(ComponentId::as_str).collect();
            refusals.push(Refusal::new(
                "tool_details.lacking",
                format!("{component:?} is not a component the class is built with"),
                known.join(", "),
            ));
        }
    }
    for (at, service) in details.services.iter().enumerate() {
        match planned(service, tool) {
            Ok(service) => tool.services.push(service),
            Err((field, problem, accepted)) => refusals.push(Refusal::new(
                format!("tool_details.services[{at}].{field}"),
                problem,
                accepted,
            )),
        }
    }
    tool.services.sort_by_key(|service| service.on);
    // The same component on the same day is one service.
    let mut seen = BTreeSet::new();
    tool.services
        .retain(|service| seen.insert((service.component.clone(), service.on)));
    refusals
}

fn planned(
    draft: &ServiceDraft,
    tool: &Tool,
) -> Result<PlannedService, (&'static str, String, String)> {
    let component = draft.component.as_deref().unwrap_or_default();
    if !tool.components.contains(component) {
        let fitted: Vec<_> = tool.components.iter().map(ComponentId::as_str).collect();
        let problem = format!("{component:?} is not fitted to the tool");
        return Err(("component", problem, fitted.join(", ")));
    }
    let missing = |accepted: &str| ("is missing".to_owned(), accepted.to_owned());
    let on = draft.on.ok_or_else(|| {
        let (problem, accepted) = missing("the day it was done, like 2025-03-04");
        ("on", problem, accepted)
    })?;
    let author = draft.author.clone().ok_or_else(|| {
        let (problem, accepted) = missing("who wrote it down");
        ("author", problem, accepted)
    })?;
    Ok(PlannedService {
        id: None,
        component: ComponentId::new(component),
        on,
        note: draft.note.clone().unwrap_or_default(),
        author,
        at: draft.at,
    })
}

struct Judge<'a> {
    context: &'a Context<'a>,
    refusals: Vec<Refusal>,
}

impl Judge<'_> {
    fn refuse(
        &mut self,
        field: impl Into<String>,
        problem: impl Into<String>,
        accepted: impl Into<String>,
    ) {
        self.refusals.push(Refusal::new(field, problem, accepted));
    }

    fn incident(&mut self, mut draft: Draft) -> Option<Incident> {
        let status = self.status(&draft);
        let tool = self.tool(&draft);
        let occurred_at = self.occurred_at(&draft);
        if draft.symptom.is_empty() {
            self.refuse(
                "symptom",
                "is missing",
                "what the person at the tool saw, in their words",
            );
        }
        if draft.author.is_empty() {
            self.refuse(
                "author",
                "is missing",
                "the name or initials of who writes this",
            );
        }
        let signs = self.signs(std::mem::take(&mut draft.signs));
        let antecedents = self.antecedents(std::mem::take(&mut draft.antecedents));
        let checks = self.checks(std::mem::take(&mut draft.checks));
        let cause = self.cause(&draft);
        let pressures = Pressures {
            healthy: draft.healthy,
            faulty: draft.faulty,
            restored: draft.restored,
        };
        self.restored(&draft, status);
        self.closing(&draft, status, occurred_at);
        Some(Incident {
            status: status?,
            tool: tool?,
            occurred_at: occurred_at?,
            closed_at: draft.closed_at,
            symptom: draft.symptom,
            signs,
            antecedents,
            pressures,
            checks,
            cause,
            fix: draft.fix,
            parts: draft.parts,
            labour_minutes: draft.labour_minutes,
            down_hours: draft.down_hours,
            proof: draft.proof,
            not_restored_reason: draft.not_restored_reason,
            notes: draft.notes,
            author: draft.author,
        })
    }

    fn status(&mut self, draft: &Draft) -> Option<Status> {
        let problem = match draft.status.as_deref() {
            None => "is missing".to_owned(),
            Some(text) => match text.parse() {
                Ok(status) => return Some(status),
                Err(()) => format!("{text:?} is not a status"),
            },
        };
        self.refuse("status", problem, "open or closed");
        None
    }

    fn tool(&mut self, draft: &Draft) -> Option<ToolId> {
        let Some(name) = &draft.tool else {
            self.refuse("tool", "is missing", "the name of a tool of the fleet");
            return None;
        };
        let Some(tool) = self.context.tool else {
            let unknown = ToolId::new(name);
            self.refuse(
                "tool",
                format!("no tool is called {name:?}"),
                "a tool of the fleet list, or tool_class and site beside the name of a new one",
            );
            return Some(unknown);
        };
        if let Some(class) = &draft.tool_class
            && class != tool.class.as_str()
        {
            self.refuse(
                "tool_class",
                format!("{class:?} is not the class of {name}"),
                tool.class.to_string(),
            );
        }
        if let Some(site) = &draft.site
            && site != tool.site.as_str()
        {
            self.refuse(
                "site",
                format!("{name} does not stand at {site:?}"),
                tool.site.to_string(),
            );
        }
        Some(tool.id.clone())
    }

    fn occurred_at(&mut self, draft: &Draft) -> Option<Timestamp> {
        match draft.occurred_at {
            None => {
                if !self.already("occurred_at") {
                    self.refuse("occurred_at", "is missing", "when the loss was noticed");
                }
                None
            }
            Some(time) => {
                self.not_in_future("occurred_at", time);
                if time < EARLIEST {
                    self.refuse("occurred_at", "lies before 1950", "a time since 1950");
                }
                Some(time)
            }
        }
    }

    fn already(&self, field: &str) -> bool {
        self.refusals.iter().any(|refusal| refusal.field == field)
    }

    fn not_in_future(&mut self, field: &str, time: Timestamp) {
        if time > self.context.now {
            let now = self.context.now.strftime("%Y-%m-%d %H:%M UTC");
            self.refuse(
                field,
                "lies in the future",
                format!("a time up to now, {now}"),
            );
        }
    }

    fn signs(&mut self, signs: BTreeMap<SignId, bool>) -> BTreeMap<SignId, bool> {
        let catalogue = self.context.catalogue;
        let seen = signs.iter().filter(|(_, seen)| **seen);
        let seen: Vec<&str> = seen.map(|(id, _)| id.as_str()).collect();
        for (at, sign) in seen.iter().enumerate() {
            if let Some(other) = catalogue.excluded(sign, seen[..at].iter().copied()) {
                self.refuse(
                    format!("signs.{sign}"),
                    catalogue.contradiction(sign, other),
                    "one of the two as seen".to_owned(),
                );
            }
        }
        let ids = signs.keys().map(SignId::as_str);
        for id in ids.filter(|id| catalogue.sign(id).is_none()) {
            let known = catalogue.signs().map(|sign| sign.id.as_str());
            let accepted = nearest(id, known);
            self.refuse(
                format!("signs.{}", shortened(id)),
                "no sign is called that",
                accepted,
            );
        }
        signs
    }

    fn antecedents(
        &mut self,
        antecedents: BTreeMap<AntecedentId, bool>,
    ) -> BTreeMap<AntecedentId, bool> {
        let catalogue = self.context.catalogue;
        let ids = antecedents.keys().map(AntecedentId::as_str);
        for id in ids.filter(|id| catalogue.antecedent(id).is_none()) {
            let known = catalogue.antecedents().map(|a| a.id.as_str());
            let accepted = nearest(id, known);
            self.refuse(
                format!("antecedents.{}", shortened(id)),
                "no antecedent is called that",
                accepted,
            );
        }
        antecedents
    }

    fn checks(&mut self, checks: Vec<CheckDraft>) -> Vec<CheckDone> {
        let mut done = Vec::with_capacity(checks.len());
        for (index, check) in checks.into_iter().enumerate() {
            if let Some(check) = self.check(index, check) {
                done.push(check);
            }
        }
        done
    }

    fn check(&mut self, index: usize, draft: CheckDraft) -> Option<CheckDone> {
        let known = self.context.catalogue.check(&draft.check);
        if known.is_none() {
            let problem = if draft.check.is_empty() {
                "is missing".to_owned()
            } else {
                format!("no check is called {:?}", shortened(&draft.check))
            };
            let checks = self
                .context
                .catalogue
                .checks()
                .map(|check| check.id.as_str());
            let accepted = nearest(&draft.check, checks);
            self.refuse(format!("checks[{index}].check"), problem, accepted);
        }
        self.fitting(index, known);
        let outcome = draft.outcome.parse::<Outcome>();
        if outcome.is_err() {
            let problem = if draft.outcome.is_empty() {
                "is missing".to_owned()
            } else {
                format!("{:?} is not an outcome", shortened(&draft.outcome))
            };
            self.refuse(
                format!("checks[{index}].outcome"),
                problem,
                "found, clear or inconclusive",
            );
        }
        known?;
        Some(CheckDone {
            check: CheckId::new(draft.check),
            outcome: outcome.ok()?,
            minutes: draft.minutes,
            note: draft.note,
        })
    }

    /// A check of something the tool does not have was not done on it.
    fn fitting(&mut self, index: usize, check: Option<&Check>) {
        let (Some(check), Some(tool)) = (check, self.context.tool) else {
            return;
        };
        let lacks = check
            .needs_components
            .iter()
            .find(|component| !tool.components.contains(*component));
        if let Some(component) = lacks {
            let name = self
                .context
                .catalogue
                .component(component.as_str())
                .map_or(component.as_str(), |component| component.name.as_str());
            self.refuse(
                format!("checks[{index}].check"),
                format!("{} needs \"{name}\", which {} lacks", check.name, tool.id),
                "a check of something the tool has",
            );
        }
    }

    fn cause(&mut self, draft: &Draft) -> Option<Finding> {
        let id = draft.cause.as_deref()?;
        if id == NOT_FOUND {
            return Some(Finding::NotFound);
        }
        let Some(cause) = self.context.catalogue.cause(id) else {
            let known = self
                .context
                .catalogue
                .causes()
                .map(|cause| cause.id.as_str());
            let accepted = format!("{}, or {NOT_FOUND}", nearest(id, known));
            self.refuse(
                "cause",
                format!("no cause is called {:?}", shortened(id)),
                accepted,
            );
            return None;
        };
        if let Some(tool) = self.context.tool
            && !tool.components.contains(&cause.component)
        {
            let component = self
                .context
                .catalogue
                .component(cause.component.as_str())
                .map_or(cause.component.as_str(), |component| {
                    component.name.as_str()
                });
            self.refuse(
                "cause",
                format!(
                    "{} lies on the component \"{component}\", which {} lacks",
                    cause.name, tool.id
                ),
                "a cause on a component the tool has, or not-found",
            );
        }
        Some(Finding::Cause(CauseId::new(id)))
    }

    fn restored(&mut self, draft: &Draft, status: Option<Status>) {
        let explained = !draft.not_restored_reason.is_empty();
        let pascals = |typed: Option<crate::vacuum::units::TypedPressure>| {
            typed
                .and_then(|typed| typed.pressure().ok())
                .map(|p| p.pascals())
        };
        match (pascals(draft.faulty), pascals(draft.restored)) {
            (Some(faulty), Some(restored)) if restored > faulty && !explained => {
                self.refuse(
                    "pressures.restored",
                    "is above the pressure at the fault",
                    "a pressure not above the faulty one, or why it is above in \"not restored\"",
                );
            }
            (_, None)
                if status == Some(Status::Closed)
                    && !explained
                    && !self.already("pressures.restored") =>
            {
                self.refuse(
                    "pressures.restored",
                    "is missing",
                    "the pressure reached after the fix, or why there is none in \"not restored\"",
                );
            }
            _ => {}
        }
    }

    fn closing(&mut self, draft: &Draft, status: Option<Status>, occurred_at: Option<Timestamp>) {
        match status {
            Some(Status::Open) if draft.closed_at.is_some() => {
                self.refuse(
                    "closed_at",
                    "is given though the incident is open",
                    "nothing while open, or status closed",
                );
            }
            Some(Status::Closed) => {
                match draft.closed_at {
                    None => self.refuse(
                        "closed_at",
                        "is missing",
                        "when the tool was back in use or given up on",
                    ),
                    Some(closed) => {
                        self.not_in_future("closed_at", closed);
                        if occurred_at.is_some_and(|occurred| closed < occurred) {
                            self.refuse(
                                "closed_at",
                                "lies before the loss was noticed",
                                "a time not before occurred_at",
                            );
                        }
                    }
                }
                if draft.cause.is_none() {
                    self.refuse("cause", "is missing", "the root cause, or not-found");
                }
                if draft.fix.is_empty() {
                    self.refuse("fix", "is missing", "what was done, even if it was nothing");
                }
                if draft.labour_minutes.is_none() {
                    self.refuse(
                        "labour_minutes",
                        "is missing",
                        "minutes of labour, 0 or more",
                    );
                }
                if draft.down_hours.is_none() {
                    self.refuse(
                        "down_hours",
                        "is missing",
                        "hours the tool was down, 0 or more",
                    );
                }
            }
            _ => {}
        }
        if let (Some(hours), Some(from)) = (draft.down_hours, occurred_at) {
            self.down(hours, from, draft.closed_at);
        }
    }

    /// A tool is down for its loss no longer than the incident lasts, or has lasted yet.
    fn down(&mut self, hours: f64, from: Timestamp, closed: Option<Timestamp>) {
        let lasted = closed.unwrap_or(self.context.now).duration_since(from);
        let lasted = lasted.as_secs_f64() / 3600.0;
        if lasted >= 0.0 && hours > lasted + HOURS_ROUNDED_UP {
            let problem = match closed {
                Some(_) => "is more than there is from occurred_at to closed_at",
                None => "is more than there has been since occurred_at",
            };
            let most = (10.0 * lasted).ceil() / 10.0;
            self.refuse(
                "down_hours",
                problem,
                format!("at most {most} hours, or other times"),
            );
        }
    }
}

/// Hours down are often told in whole ones.
const HOURS_ROUNDED_UP: f64 = 1.0;

/// Midnight of 1 January 1950, UTC: no tool of the kind is older.
const EARLIEST: Timestamp = Timestamp::constant(-631_152_000, 0);

fn shortened(text: &str) -> String {
    text.chars().take(60).collect()
}

/// The known identifiers most like the one typed, so that a slip is quickly mended.
fn nearest<'a>(typed: &str, known: impl Iterator<Item = &'a str>) -> String {
    const SHOWN: usize = 5;
    let typed = shortened(typed);
    let mut ranked: Vec<_> = known
        .map(|id| (strsim::levenshtein(&typed, id), id))
        .collect();
    ranked.sort();
    let shown: Vec<_> = ranked.iter().take(SHOWN).map(|(_, id)| *id).collect();
    format!(
        "an identifier of the catalogue, nearest are {}",
        shown.join(", ")
    )
}

/// What could not be read together with the rules that are broken; a field that could
/// not be read is not also reported as missing.
pub fn merged(unread: Vec<Refusal>, broken: Vec<Refusal>) -> Vec<Refusal> {
    let known: Vec<String> = unread.iter().map(|refusal| refusal.field.clone()).collect();
    let about = |refusal: &Refusal| {
        known.iter().any(|field| {
            *field == refusal.field
                || field
                    .strip_prefix(refusal.field.as_str())
                    .is_some_and(|rest| rest.starts_with('.'))
        })
    };
    unread
        .into_iter()
        .chain(broken.into_iter().filter(|refusal| !about(refusal)))
        .collect()
}
