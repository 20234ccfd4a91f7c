//! Calculations kept with incidents, for the pages and the API: attaching one, finding one, and
//! computing it again.

use std::{collections::BTreeMap, sync::Arc};

use axum::{
    http::{HeaderMap, header},
    response::{IntoResponse, Response},
};
use serde_json::{Map, Value};

use super::{computing, fault::Fault, state::App};
use crate::{
    calculation::{
        FieldError,
        again::{Difference, differences},
        healthy_pump_down::{HealthyPumpDown, may_be_healthy},
        healthy_rise::HealthyRise,
        named::{Computed, Named},
        packed::unpack,
        pump_down::HealthyFrom,
        rise::KeptRise,
        sent::{SentLog, SentRequest},
    },
    casebook::{Calculation, KeptLog, LOG_LIMIT},
    catalogue::SignId,
    store::{Attached, KeptReport, Keyed},
    vacuum::units::Typed,
};

/// The largest request that is kept with an incident, in bytes; a log that is longer is kept beside it.
pub(super) const KEPT: usize = 8 << 20;

/// The program's version, as kept with what it computes.
pub(super) const VERSION: &str = env!("CARGO_PKG_VERSION");

/// A calculation about to be computed and kept.
pub(super) struct Wanted {
    /// The incident, which the asker may see.
    pub(super) number: i64,
    /// The calculation.
    pub(super) named: Named,
    /// Who makes it.
    pub(super) by: String,
    /// Its request, with its logs as they arrived.
    pub(super) request: SentRequest,
    /// Those of its logs that are too long to stand in it.
    pub(super) long: BTreeMap<String, KeptLog>,
    /// The key of a request that may be sent again.
    pub(super) key: Option<Keyed>,
}

/// Computes and keeps a calculation; gives its number, or the fields of its request that cannot be
/// taken.
///
/// # Errors
/// A request too large to be kept, or a store that refuses it.
pub(super) async fn attach(
    app: &App,
    mut wanted: Wanted,
) -> Result<Result<i64, Vec<FieldError>>, Fault> {
    let short = |log: &&SentLog| log.text().is_some();
    let logs = wanted.request.logs.values().filter(short);
    let text = logs.map(SentLog::bytes).sum::<usize>();
    if wanted.request.json.len() + text > KEPT {
        return Err(Fault::TooLarge);
    }
    match wanted.named {
        Named::Rise | Named::PumpDown => {
            let filed = app.store.incident(&app.asker(), wanted.number).await?;
            match filed {
                Some(filed) if !wanted.request.logs.contains_key("healthy_log") => {
                    let tool = filed.current().incident.tool.clone();
                    let json = std::mem::take(&mut wanted.request.json);
                    wanted.request.json =
                        beside_healthy(app, wanted.named, tool.as_str(), json).await?;
                }
                _ => {}
            }
        }
        _ => {}
    }
    let computed = match computing::compute_sent(app, wanted.named, wanted.request).await? {
        Ok(computed) => computed,
        Err(errors) => return Ok(Err(errors)),
    };
    let calculation = Calculation {
        kind: wanted.named.id().to_owned(),
        made_at: app.now(),
        by: wanted.by,
        program_version: VERSION.to_owned(),
        request: json(computed.request())?,
        logs: wanted.long,
        report: json(computed.report())?,
    };
    let id = app
        .store
        .attach(wanted.number, calculation, wanted.key)
        .await?;
    Ok(Ok(id))
}

/// How many calculations made after fixes are looked through for one that can be compared with.
const LOOKED_THROUGH: i64 = 20;

/// The gas load of a tool when it was healthy: that of the newest comparable rise test kept after
/// a fix, if the asker may see one.
///
/// # Errors
/// The store failing.
pub(super) async fn healthy_rise(app: &App, tool: &str) -> Result<Option<HealthyRise>, Fault> {
    let kept = app
        .store
        .kept_reports(&app.asker(), tool, Named::Rise.id(), true, LOOKED_THROUGH)
        .await?;
    Ok(kept.iter().find_map(|kept| {
        let report = KeptRise::of(&kept.report);
        let load = report.gas_load.filter(|_| report.comparable)?;
        let end = |value| Typed::new(value, load.unit);
        (load.low > 0.0).then(|| HealthyRise {
            low: end(load.low),
            high: end(load.high),
            seconds: Some(report.used_seconds[1] - report.used_seconds[0]),
            pumped_for: report.pumped_for,
            incident: Some(kept.incident),
            calculation: Some(kept.id),
        })
    }))
}

/// Where the healthy pump-down of a tool is kept, if the asker may see one: the newest made after a
/// fix that has a phase to compare and was not itself found worse.
///
/// # Errors
/// The store failing.
pub(super) async fn healthy_pump_down(app: &App, tool: &str) -> Result<Option<KeptReport>, Fault> {
    let kind = Named::PumpDown.id();
    let kept = app
        .store
        .kept_reports(&app.asker(), tool, kind, true, LOOKED_THROUGH)
        .await?;
    Ok(kept.into_iter().find(|kept| may_be_healthy(&kept.report)))
}

/// The request of a rise test or a pump-down with what is kept of the tool when it was healthy,
/// unless it gives that itself. Kept so, it gives the same result again whatever is kept later.
///
/// # Errors
/// The store failing.
pub(super) async fn beside_healthy(
    app: &App,
    named: Named,
    tool: &str,
    request: Vec<u8>,
) -> Result<Vec<u8>, Fault> {
    let Ok(Value::Object(mut fields)) = serde_json::from_slice(&request) else {
        return Ok(request);
    };
    let put = match named {
        Named::Rise => {
            let given = fields.get("healthy").is_some_and(|given| !given.is_null());
            match healthy_rise(app, tool).await?.filter(|_| !given) {
                Some(healthy) => {
                    fields.insert("healthy".to_owned(), json(serde_json::to_string(&healthy))?);
                    true
                }
                None => false,
            }
        }
        Named::PumpDown => match healthy_pump_down(app, tool).await? {
            Some(kept) => put_pump_down(app, &kept, &mut fields).await?,
            None => false,
        },
        _ => false,
    };
    Ok(if put {
        Value::Object(fields).to_string().into_bytes()
    } else {
        request
    })
}

/// Puts the record of a kept pump-down into a request; gives whether it did.
async fn put_pump_down(
    app: &App,
    kept: &KeptReport,
    fields: &mut Map<String, Value>,
) -> Result<bool, Fault> {
    let attached = app
        .store
        .calculation(&app.asker(), kept.incident, kept.id)
        .await?;
    let from = HealthyFrom {
        incident: kept.incident,
        calculation: kept.id,
    };
    let Some(mut attached) = attached else {
        return Ok(false);
    };
    app.store.read_logs(&mut attached.calculation).await?;
    // Its log may be long.
    let read = move || {
        let calculation = &attached.calculation;
        let mut logs = calculation.sent_logs().ok()?;
        let log = logs.remove("log").map(|log| log.into_parts().0);
        HealthyPumpDown::of(&calculation.request, log, from)
    };
    let healthy = tokio::task::spawn_blocking(read).await?;
    Ok(healthy.is_some_and(|healthy| healthy.put_into(fields)))
}

/// What today's program makes of a kept calculation.
pub(super) enum Again {
    /// What came out.
    Computed {
        /// As computed.
        computed: Computed,
        /// Its report as JSON.
        report: Value,
        /// Where it differs from the one kept.
        differences: Vec<Difference>,
    },
    /// It refuses these fields of the request.
    Refused(Vec<FieldError>),
}

/// Computes a kept calculation again.
///
/// # Errors
/// A kept calculation of a kind that this program does not know.
pub(super) async fn again(app: &App, kept: &Calculation) -> Result<Again, Fault> {
    let named = Named::of(&kept.kind).ok_or_else(|| {
        Fault::NotFound(format!(
            "This program knows no calculation {:?}.",
            kept.kind
        ))
    })?;
    let mut whole = kept.clone();
    app.store.read_logs(&mut whole).await?;
    let json_of = whole.request.to_string().into_bytes();
    let logs = tokio::task::spawn_blocking(move || whole.sent_logs()).await?;
    let logs = logs.map_err(|problem| Fault::Internal(Arc::new(anyhow::anyhow!(problem))))?;
    let request = SentRequest::new(json_of, logs);
    Ok(match computing::compute_sent(app, named, request).await? {
        Ok(computed) => {
            let report = json(computed.report())?;
            let differences = differences(&kept.report, &report);
            Again::Computed {
                computed,
                report,
                differences,
            }
        }
        Err(errors) => Again::Refused(errors),
    })
}

/// The log in a field of a kept calculation, as a file; one kept packed goes out as it is to whoever
/// takes zlib ("deflate" of RFC 9110, section 8.4.1.2).
///
/// # Errors
/// No log there, or the store failing.
pub(super) async fn log_file(
    app: &App,
    kept: Attached,
    field: &str,
    asked: &HeaderMap,
) -> Result<Response, Fault> {
    let Attached {
        id,
        calculation: mut kept,
    } = kept;
    kept.logs.retain(|name, _| name == field);
    app.store.read_logs(&mut kept).await?;
    let name = format!("attachment; filename=\"calculation-{id}-{field}.txt\"");
    let text = [
        (header::CONTENT_TYPE, "text/plain; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, name),
    ];
    if let Some(packed) = kept.logs.remove(field).and_then(|log| log.packed) {
        let takes = asked
            .get_all(header::ACCEPT_ENCODING)
            .iter()
            .filter_map(|value| value.to_str().ok())
            .flat_map(|value| value.split(','))
            .any(|coding| coding.trim() == "deflate");
        if takes {
            let coding = [(header::CONTENT_ENCODING, "deflate")];
            return Ok((text, coding, packed.0).into_response());
        }
        let whole = tokio::task::spawn_blocking(move || {
            let mut whole = Vec::new();
            unpack(&packed.0[..], LOG_LIMIT, |piece| {
                whole.extend_from_slice(piece)
            })
            .map(|_| whole)
        });
        let whole = whole
            .await?
            .map_err(|error| Fault::Internal(Arc::new(error.into())))?;
        return Ok((text, whole).into_response());
    }
    let fields = Named::of(&kept.kind).map_or(&[][..], Named::logs);
    match kept.request.get_mut(field).map(Value::take) {
        Some(Value::String(log)) if fields.contains(&field) => Ok((text, log).into_response()),
        _ => Err(Fault::NotFound(format!(
            "Calculation {id} has no log {field:?}."
        ))),
    }
}

/// A kept calculation of an incident by its number.
///
/// # Errors
/// None of this number there.
pub(super) async fn find(app: &App, number: i64, id: &str) -> Result<Attached, Fault> {
    let kept = match id.parse() {
        Ok(id) => app.store.calculation(&app.asker(), number, id).await?,
        Err(_) => None,
    };
    kept.ok_or_else(|| Fault::NotFound(format!("Incident {number} has no calculation {id:?}.")))
}

/// The signs of this catalogue that the calculations of an incident set, in the order in which they were made.
///
/// A later one outweighs an earlier one, and one that sets signs puts aside all that an earlier one of its kind
/// set. One that the report contradicts ([`contradicted`]) sets none, so that its other signs do not stand beside
/// what a person saw instead.
pub(super) fn signs(
    app: &App,
    reported: &BTreeMap<SignId, bool>,
    attached: &[Attached],
) -> BTreeMap<String, bool> {
    let mut kept: Vec<(&str, BTreeMap<String, bool>)> = Vec::new();
    for calculation in attached.iter().map(|attached| &attached.calculation) {
        let signs = calculation.signs();
        if !signs.is_empty() && contradicted(reported, calculation).is_none() {
            kept.retain(|(kind, _)| *kind != calculation.kind);
            kept.push((&calculation.kind, signs));
        }
    }
    kept.into_iter()
        .flat_map(|(_, signs)| signs)
        .filter(|(id, _)| app.catalogue.sign(id).is_some())
        .collect()
}

/// A sign of which a report says the opposite of what a calculation does.
pub(super) fn contradicted<'r>(
    reported: &'r BTreeMap<SignId, bool>,
    calculation: &Calculation,
) -> Option<&'r SignId> {
    let signs = calculation.signs();
    let opposite =
        |(id, seen): &(&SignId, &bool)| signs.get(id.as_str()).is_some_and(|said| said != *seen);
    reported.iter().find(opposite).map(|(id, _)| id)
}

/// Text that serde wrote, as a value.
fn json(text: serde_json::Result<String>) -> Result<Value, Fault> {
    text.and_then(|text| serde_json::from_str(&text))
        .map_err(|error| Fault::Internal(std::sync::Arc::new(error.into())))
}
