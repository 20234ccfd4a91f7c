//! Calculations kept with incidents, for the pages and the API: attaching one, finding one, and
//! computing it again.

use std::collections::BTreeMap;

use serde_json::{Map, Value};

use super::{computing, fault::Fault, state::App};
use crate::{
    calculation::{
        FieldError,
        again::{Difference, differences},
        healthy_pump_down::{HealthyPumpDown, may_be_healthy},
        healthy_rise::HealthyRise,
        named::{Computed, Named},
        pump_down::HealthyFrom,
        rise::KeptRise,
    },
    casebook::Calculation,
    store::{Attached, KeptReport, Keyed},
    vacuum::units::Typed,
};

/// The largest request that is kept with an incident, in bytes.
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
    /// Its request, as JSON.
    pub(super) request: Vec<u8>,
    /// The key of a request that may be sent again.
    pub(super) key: Option<Keyed>,
}

/// Computes and keeps a calculation; gives its number with it, or the fields of its request that
/// cannot be taken.
///
/// # Errors
/// A request too large to be kept, or a store that refuses it.
pub(super) async fn attach(
    app: &App,
    wanted: Wanted,
) -> Result<Result<Attached, Vec<FieldError>>, Fault> {
    if wanted.request.len() > KEPT {
        return Err(Fault::TooLarge);
    }
    let request = match wanted.named {
        Named::Rise | Named::PumpDown => {
            let filed = app.store.incident(&app.asker(), wanted.number).await?;
            match filed {
                Some(filed) => {
                    let tool = filed.current().incident.tool.clone();
                    beside_healthy(app, wanted.named, tool.as_str(), wanted.request).await?
                }
                None => wanted.request,
            }
        }
        _ => wanted.request,
    };
    let computed = match computing::compute(app, wanted.named, request).await? {
        Ok(computed) => computed,
        Err(errors) => return Ok(Err(errors)),
    };
    let calculation = Calculation {
        kind: wanted.named.id().to_owned(),
        made_at: app.now(),
        by: wanted.by,
        program_version: VERSION.to_owned(),
        request: json(computed.request())?,
        report: json(computed.report())?,
    };
    let id = app
        .store
        .attach(wanted.number, calculation.clone(), wanted.key)
        .await?;
    Ok(Ok(Attached { id, calculation }))
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
    let Some(attached) = attached else {
        return Ok(false);
    };
    // Its log may be long.
    let read = move || HealthyPumpDown::of(&attached.calculation.request, from);
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
    Ok(
        match computing::compute(app, named, kept.request.to_string().into_bytes()).await? {
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
        },
    )
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

/// The signs of this catalogue that the calculations of an incident set; a later one outweighs
/// an earlier one.
pub(super) fn signs(app: &App, attached: &[Attached]) -> BTreeMap<String, bool> {
    attached
        .iter()
        .flat_map(|attached| attached.calculation.signs())
        .filter(|(id, _)| app.catalogue.sign(id).is_some())
        .collect()
}

/// Text that serde wrote, as a value.
fn json(text: serde_json::Result<String>) -> Result<Value, Fault> {
    text.and_then(|text| serde_json::from_str(&text))
        .map_err(|error| Fault::Internal(std::sync::Arc::new(error.into())))
}
