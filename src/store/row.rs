//! Rows as they come from the database, and what they become.

use jiff::Timestamp;
use sqlx::FromRow;

use super::StoreError;
use crate::{
    casebook::{Incident, PlannedService, Revision, Site, SiteCode, Tool, ToolId},
    catalogue::{ClassId, ComponentId},
    vacuum::units::{PressureUnit, TypedPressure},
};

#[derive(FromRow)]
pub(super) struct SiteRow {
    code: String,
    name: String,
    place: String,
    help_minutes: Option<f64>,
}

impl From<SiteRow> for Site {
    fn from(row: SiteRow) -> Self {
        Self {
            code: SiteCode::new(row.code),
            name: row.name,
            place: row.place,
            help_minutes: row.help_minutes,
        }
    }
}

#[derive(FromRow)]
pub(super) struct ToolRow {
    id: String,
    site: String,
    class: String,
    serial: String,
    in_service: Option<String>,
    out_of_service: Option<String>,
    volume_litres: f64,
    speed_litres_per_second: f64,
    healthy_value: f64,
    healthy_unit: String,
    components: String,
    gauges: String,
}

impl TryFrom<ToolRow> for Tool {
    type Error = StoreError;

    fn try_from(row: ToolRow) -> Result<Self, StoreError> {
        let damaged = |problem: String| StoreError::Damaged {
            what: format!("tool {}", row.id),
            problem,
        };
        let components: Vec<ComponentId> =
            serde_json::from_str(&row.components).map_err(|e| damaged(e.to_string()))?;
        let gauges = serde_json::from_str(&row.gauges).map_err(|e| damaged(e.to_string()))?;
        let unit: PressureUnit = row
            .healthy_unit
            .parse()
            .map_err(|_| damaged(format!("pressure unit {:?}", row.healthy_unit)))?;
        let day = |text: &Option<String>| {
            text.as_deref()
                .map(str::parse)
                .transpose()
                .map_err(|e| damaged(format!("a day in service: {e}")))
        };
        let (in_service, out_of_service) = (day(&row.in_service)?, day(&row.out_of_service)?);
        Ok(Self {
            id: ToolId::new(row.id),
            site: SiteCode::new(row.site),
            class: ClassId::new(row.class),
            serial: row.serial,
            in_service,
            out_of_service,
            volume_litres: row.volume_litres,
            speed_litres_per_second: row.speed_litres_per_second,
            healthy_base: TypedPressure {
                value: row.healthy_value,
                unit,
            },
            components: components.into_iter().collect(),
            gauges,
            services: Vec::new(),
        })
    }
}

#[derive(FromRow)]
pub(super) struct ServiceRow {
    pub(super) tool: String,
    id: i64,
    component: String,
    done_on: String,
    note: String,
    author: String,
    at: i64,
}

impl TryFrom<ServiceRow> for PlannedService {
    type Error = StoreError;

    fn try_from(row: ServiceRow) -> Result<Self, StoreError> {
        let damaged = |problem: String| StoreError::Damaged {
            what: format!("service {}", row.id),
            problem,
        };
        Ok(Self {
            id: Some(row.id),
            on: row
                .done_on
                .parse()
                .map_err(|e| damaged(format!("the day: {e}")))?,
            at: Some(Timestamp::from_microsecond(row.at).map_err(|e| damaged(e.to_string()))?),
            component: ComponentId::new(row.component),
            note: row.note,
            author: row.author,
        })
    }
}

#[derive(FromRow)]
pub(super) struct RevisionRow {
    pub(super) number: i64,
    revision: i64,
    at: i64,
    author: String,
    reason: String,
    record: String,
}

impl TryFrom<RevisionRow> for Revision {
    type Error = StoreError;

    fn try_from(row: RevisionRow) -> Result<Self, StoreError> {
        let what = || format!("incident {} revision {}", row.number, row.revision);
        let incident: Incident =
            serde_json::from_str(&row.record).map_err(|error| StoreError::Damaged {
                what: what(),
                problem: error.to_string(),
            })?;
        let at = Timestamp::from_microsecond(row.at).map_err(|error| StoreError::Damaged {
            what: what(),
            problem: error.to_string(),
        })?;
        Ok(Self {
            revision: row.revision,
            at,
            author: row.author,
            reason: row.reason,
            incident,
        })
    }
}
