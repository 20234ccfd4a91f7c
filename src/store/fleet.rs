//! Sites and tools.

use std::collections::HashMap;

use jiff::Timestamp;
use sqlx::SqliteConnection;

use super::{
    Store, StoreError,
    row::{SiteRow, ToolRow},
};
use crate::casebook::{Asker, Site, SiteCode, SiteScope, Tool, ToolId};

const TOOL_COLUMNS: &str = "select id, site, class, serial, in_service, volume_litres, \
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
            "select code, name, place from site where (cast($1 as text) is null or code = $1) order by code",
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
        let rows: Vec<ToolRow> = sqlx::query_as(TOOL_COLUMNS)
            .bind(scope(asker))
            .bind(None::<&str>)
            .fetch_all(&self.read)
            .await?;
        rows.into_iter().map(Tool::try_from).collect()
    }

    /// How many tools there are. They are only ever added, so that an equal number means
    /// the same tools.
    ///
    /// # Errors
    /// The database failing.
    pub async fn tool_total(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar("select count(*) from tool")
            .fetch_one(&self.read)
            .await?)
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
        let row: Option<ToolRow> = sqlx::query_as(TOOL_COLUMNS)
            .bind(scope(asker))
            .bind(id)
            .fetch_optional(&self.read)
            .await?;
        row.map(Tool::try_from).transpose()
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
        "insert into site (code, name, place) values ($1, $2, $3) on conflict (code) do nothing",
    )
    .bind(site.code.as_str())
    .bind(&site.name)
    .bind(&site.place)
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
    sqlx::query(
        "insert into tool (id, site, class, serial, in_service, volume_litres, \
         speed_litres_per_second, healthy_value, healthy_unit, components, gauges) \
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) on conflict (id) do nothing",
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
    .execute(connection)
    .await?;
    Ok(())
}

pub(super) fn encode(error: serde_json::Error) -> sqlx::Error {
    sqlx::Error::Encode(Box::new(error))
}
