//! Sites and tools.

use std::collections::HashMap;

use jiff::{Timestamp, civil::Date, tz::TimeZone};
use sqlx::{QueryBuilder, Sqlite, SqliteConnection};

use super::{
    Store, StoreError,
    row::{ServiceRow, SiteRow, ToolRow},
    upkeep::put_service,
};
use crate::casebook::{Asker, PlannedService, Site, SiteCode, SiteScope, Tool, ToolId};

const TOOL_COLUMNS: &str = "select id, site, class, serial, in_service, out_of_service, volume_litres, \
     speed_litres_per_second, healthy_value, healthy_unit, components, gauges from tool \
     where (cast($1 as text) is null or site = $1) and (cast($2 as text) is null or id = $2) order by site, id";

impl Store {
    /// Adds sites and tools; those already there keep what the store knows of them.
    ///
    /// # Errors
    /// The database failing, or a tool at a site that is neither given nor known.
    pub async fn add_fleet(&self, sites: &[Site], tools: &[Tool]) -> Result<(), StoreError> {
        let store = self.clone();
        let (sites, tools) = (sites.to_vec(), tools.to_vec());
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            for site in &sites {
                add_site(&mut tx, site).await?;
            }
            for tool in &tools {
                add_tool(&mut tx, tool).await?;
            }
            tx.commit().await?;
            Ok(())
        })
        .await?
    }

    /// The sites an asker may see, by code.
    ///
    /// # Errors
    /// The database failing.
    pub async fn sites(&self, asker: &Asker) -> Result<Vec<Site>, StoreError> {
        let rows: Vec<SiteRow> = sqlx::query_as(
            "select code, name, place, help_minutes from site where (cast($1 as text) is null or code = $1) order by code",
        )
        .bind(scope(asker))
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().map(Site::from).collect())
    }

    /// The tools an asker may see, by site and name.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn tools(&self, asker: &Asker) -> Result<Vec<Tool>, StoreError> {
        self.tools_called(asker, None).await
    }

    async fn tools_called(&self, asker: &Asker, id: Option<&str>) -> Result<Vec<Tool>, StoreError> {
        let rows: Vec<ToolRow> = sqlx::query_as(TOOL_COLUMNS)
            .bind(scope(asker))
            .bind(id)
            .fetch_all(&self.read)
            .await?;
        let services: Vec<ServiceRow> = sqlx::query_as(
            "select s.tool, s.id, s.component, s.done_on, s.note, s.author, s.at from service s \
             join tool t on t.id = s.tool where s.withdrawn_at is null \
             and (cast($1 as text) is null or t.site = $1) \
             and (cast($2 as text) is null or t.id = $2) order by s.done_on, s.id",
        )
        .bind(scope(asker))
        .bind(id)
        .fetch_all(&self.read)
        .await?;
        let mut of_tools: HashMap<String, Vec<PlannedService>> = HashMap::new();
        for row in services {
            let tool = row.tool.clone();
            of_tools.entry(tool).or_default().push(row.try_into()?);
        }
        rows.into_iter()
            .map(|row| {
                let mut tool = Tool::try_from(row)?;
                tool.services = of_tools.remove(tool.id.as_str()).unwrap_or_default();
                Ok(tool)
            })
            .collect()
    }

    /// The tools of those of these incidents that the asker may see, without their planned
    /// services.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn tools_of(&self, asker: &Asker, numbers: &[i64]) -> Result<Vec<Tool>, StoreError> {
        let mut query = QueryBuilder::<Sqlite>::new(
            "select id, site, class, serial, in_service, out_of_service, volume_litres, \
             speed_litres_per_second, healthy_value, healthy_unit, components, gauges from tool \
             where id in (select tool from incident where number in (",
        );
        let mut list = query.separated(", ");
        for number in numbers {
            list.push_bind(*number);
        }
        query.push("))");
        if let Some(site) = scope(asker) {
            query.push(" and site = ").push_bind(site.to_owned());
        }
        let rows: Vec<ToolRow> = query.build_query_as().fetch_all(&self.read).await?;
        rows.into_iter().map(Tool::try_from).collect()
    }

    /// How many incidents each tool had that the asker may see; tools without any are left out.
    ///
    /// # Errors
    /// The database failing.
    pub async fn tool_counts(
        &self,
        asker: &Asker,
    ) -> Result<HashMap<ToolId, ToolCount>, StoreError> {
        let rows: Vec<(String, i64, i64, i64)> = sqlx::query_as(
            "select i.tool, count(*), sum(case when i.status = 'open' then 1 else 0 end), \
             max(i.occurred_at) from incident i join tool t on t.id = i.tool \
             where (cast($1 as text) is null or t.site = $1) group by i.tool",
        )
        .bind(scope(asker))
        .fetch_all(&self.read)
        .await?;
        Ok(rows
            .into_iter()
            .map(|(tool, all, open, last)| {
                let count = ToolCount {
                    all: all.unsigned_abs(),
                    open: open.unsigned_abs(),
                    last: Timestamp::from_microsecond(last).ok(),
                };
                (ToolId::new(tool), count)
            })
            .collect())
    }

    /// One tool, if the fleet has it and the asker may see it.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn tool(&self, asker: &Asker, id: &str) -> Result<Option<Tool>, StoreError> {
        Ok(self.tools_called(asker, Some(id)).await?.pop())
    }
}

/// How many incidents a tool had.
#[derive(Clone, Copy, Debug, Default)]
pub struct ToolCount {
    /// In all.
    pub all: u64,
    /// Still open.
    pub open: u64,
    /// When the last one was noticed.
    pub last: Option<Timestamp>,
}

/// The one site an asker is kept to, or none.
pub(super) fn scope(asker: &Asker) -> Option<&str> {
    match &asker.scope {
        SiteScope::All => None,
        SiteScope::Only(site) => Some(SiteCode::as_str(site)),
    }
}

pub(super) async fn add_site(
    connection: &mut SqliteConnection,
    site: &Site,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "insert into site (code, name, place, help_minutes) values ($1, $2, $3, $4) \
         on conflict (code) do nothing",
    )
    .bind(site.code.as_str())
    .bind(&site.name)
    .bind(&site.place)
    .bind(site.help_minutes)
    .execute(connection)
    .await?;
    Ok(())
}

pub(super) async fn add_tool(
    connection: &mut SqliteConnection,
    tool: &Tool,
) -> Result<(), sqlx::Error> {
    let components = serde_json::to_string(&tool.components).map_err(encode)?;
    let gauges = serde_json::to_string(&tool.gauges).map_err(encode)?;
    let added = sqlx::query(
        "insert into tool (id, site, class, serial, in_service, volume_litres, \
         speed_litres_per_second, healthy_value, healthy_unit, components, gauges, \
         out_of_service) \
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12) on conflict (id) do nothing",
    )
    .bind(tool.id.as_str())
    .bind(tool.site.as_str())
    .bind(tool.class.as_str())
    .bind(&tool.serial)
    .bind(tool.in_service.map(|date| date.to_string()))
    .bind(tool.volume_litres)
    .bind(tool.speed_litres_per_second)
    .bind(tool.healthy_base.value)
    .bind(tool.healthy_base.unit.to_string())
    .bind(components)
    .bind(gauges)
    .bind(tool.out_of_service.map(|date| date.to_string()))
    .execute(&mut *connection)
    .await?;
    // A tool that was there keeps the services the store knows of.
    if added.rows_affected() > 0 {
        for service in &tool.services {
            let written = service.at.unwrap_or_else(|| start_of(service.on));
            put_service(connection, &tool.id, service, written).await?;
        }
    }
    Ok(())
}

/// The first moment of a day, UTC: when a service of unknown date of writing counts as written.
fn start_of(day: Date) -> Timestamp {
    day.to_zoned_datetime(TimeZone::UTC)
        .map_or(Timestamp::UNIX_EPOCH, |start| start.timestamp())
}

pub(super) fn encode(error: serde_json::Error) -> sqlx::Error {
    sqlx::Error::Encode(Box::new(error))
}
