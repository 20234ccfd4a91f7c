//! What people change about sites and tools: each write keeps what was there before, who
//! changed it and why, in the same transaction.

use jiff::{Timestamp, civil::Date};
use sqlx::{FromRow, SqliteConnection};

use super::{Store, StoreError, fleet::scope, next};
use crate::casebook::{
    Asker, PlannedService, SiteCode, Tool, ToolId,
    upkeep::{ServiceDays, Signed},
};

/// A change of a site or a tool.
#[derive(Clone, Debug, PartialEq)]
pub struct FleetChange {
    /// When.
    pub at: Timestamp,
    /// Who.
    pub author: String,
    /// Why; may be empty.
    pub reason: String,
    /// What: `help_minutes`, `in_service`, `out_of_service` or `service`.
    pub field: String,
    /// What it was; empty for nothing.
    pub was: String,
    /// What it became; empty for nothing.
    pub becomes: String,
}

#[derive(FromRow)]
struct ChangeRow {
    at: i64,
    author: String,
    reason: String,
    field: String,
    was: String,
    becomes: String,
}

/// The site or tool that changes.
#[derive(Clone, Copy)]
enum Of<'a> {
    Site(&'a str),
    Tool(&'a str),
}

impl Store {
    /// Sets what bringing help costs a site, in minutes; none: not known.
    ///
    /// # Errors
    /// The database failing.
    pub async fn set_help_price(
        &self,
        site: &SiteCode,
        minutes: Option<f64>,
        signed: Signed,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        let (store, site) = (self.clone(), site.clone());
        // A task of its own, so that a client that hangs up cannot stop a write half-way.
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            let was: Option<f64> =
                sqlx::query_scalar("select help_minutes from site where code = $1")
                    .bind(site.as_str())
                    .fetch_one(&mut *tx)
                    .await?;
            if was == minutes {
                return Ok(());
            }
            sqlx::query("update site set help_minutes = $1 where code = $2")
                .bind(minutes)
                .bind(site.as_str())
                .execute(&mut *tx)
                .await?;
            let words = |minutes: Option<f64>| minutes.map_or_else(String::new, |m| m.to_string());
            let change = ("help_minutes", words(was), words(minutes));
            put_change(&mut tx, Of::Site(site.as_str()), &signed, at, change).await?;
            tx.commit().await?;
            store.tell();
            Ok(())
        })
        .await?
    }

    /// Sets the days a tool went into and out of service.
    ///
    /// # Errors
    /// The database failing.
    pub async fn set_service_days(
        &self,
        tool: &ToolId,
        days: ServiceDays,
        signed: Signed,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        let (store, tool) = (self.clone(), tool.clone());
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            let (first, last): (Option<String>, Option<String>) =
                sqlx::query_as("select in_service, out_of_service from tool where id = $1")
                    .bind(tool.as_str())
                    .fetch_one(&mut *tx)
                    .await?;
            let words = |day: Option<Date>| day.map(|day| day.to_string());
            sqlx::query("update tool set in_service = $1, out_of_service = $2 where id = $3")
                .bind(words(days.first))
                .bind(words(days.last))
                .bind(tool.as_str())
                .execute(&mut *tx)
                .await?;
            for (field, was, becomes) in [
                ("in_service", first, words(days.first)),
                ("out_of_service", last, words(days.last)),
            ] {
                if was != becomes {
                    let change = (field, was.unwrap_or_default(), becomes.unwrap_or_default());
                    put_change(&mut tx, Of::Tool(tool.as_str()), &signed, at, change).await?;
                }
            }
            tx.commit().await?;
            store.tell();
            Ok(())
        })
        .await?
    }

    /// Writes a planned service down and gives its number, and whether it is new: the same
    /// component on the same day is one service, however often it is sent.
    ///
    /// # Errors
    /// The database failing.
    pub async fn add_service(
        &self,
        tool: &ToolId,
        service: PlannedService,
        at: Timestamp,
    ) -> Result<(i64, bool), StoreError> {
        let (store, tool) = (self.clone(), tool.clone());
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            let known: Option<i64> = sqlx::query_scalar(
                "select id from service where tool = $1 and component = $2 and done_on = $3 \
                 and withdrawn_at is null",
            )
            .bind(tool.as_str())
            .bind(service.component.as_str())
            .bind(service.on.to_string())
            .fetch_optional(&mut *tx)
            .await?;
            if let Some(id) = known {
                return Ok((id, false));
            }
            let id = put_service(&mut tx, &tool, &service, at).await?;
            let signed = Signed {
                author: service.author.clone(),
                reason: service.note.clone(),
            };
            let change = ("service", String::new(), named(&service));
            put_change(&mut tx, Of::Tool(tool.as_str()), &signed, at, change).await?;
            tx.commit().await?;
            store.tell();
            Ok((id, true))
        })
        .await?
    }

    /// Withdraws a service that was written down by mistake; says whether there was one.
    ///
    /// # Errors
    /// The database failing.
    pub async fn withdraw_service(
        &self,
        tool: &Tool,
        id: i64,
        signed: Signed,
        at: Timestamp,
    ) -> Result<bool, StoreError> {
        let Some(service) = tool.services.iter().find(|s| s.id == Some(id)).cloned() else {
            return Ok(false);
        };
        let (store, tool) = (self.clone(), tool.id.clone());
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            let withdrawn = sqlx::query(
                "update service set withdrawn_at = case when at > $1 then at else $1 end \
                 where id = $2 and tool = $3 and withdrawn_at is null",
            )
            .bind(at.as_microsecond())
            .bind(id)
            .bind(tool.as_str())
            .execute(&mut *tx)
            .await?
            .rows_affected();
            if withdrawn == 0 {
                return Ok(false);
            }
            let change = ("service", named(&service), String::new());
            put_change(&mut tx, Of::Tool(tool.as_str()), &signed, at, change).await?;
            tx.commit().await?;
            store.tell();
            Ok(true)
        })
        .await?
    }

    /// The newest changes of a site, or of a tool, that the asker may see, at most so many.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn changes_of_tool(
        &self,
        asker: &Asker,
        tool: &ToolId,
        limit: i64,
    ) -> Result<Vec<FleetChange>, StoreError> {
        let rows = sqlx::query_as(
            "select c.at, c.author, c.reason, c.field, c.was, c.becomes from fleet_change c \
             join tool t on t.id = c.tool where c.tool = $1 \
             and (cast($2 as text) is null or t.site = $2) order by c.seq desc limit $3",
        )
        .bind(tool.as_str())
        .bind(scope(asker))
        .bind(limit)
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(read).collect()
    }

    /// The newest changes of a site that the asker may see, at most so many.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn changes_of_site(
        &self,
        asker: &Asker,
        site: &SiteCode,
        limit: i64,
    ) -> Result<Vec<FleetChange>, StoreError> {
        let rows = sqlx::query_as(
            "select at, author, reason, field, was, becomes from fleet_change where site = $1 \
             and (cast($2 as text) is null or site = $2) order by seq desc limit $3",
        )
        .bind(site.as_str())
        .bind(scope(asker))
        .bind(limit)
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(read).collect()
    }

    /// Two numbers of which one grows with every change of the sites and tools.
    ///
    /// # Errors
    /// The database failing.
    pub async fn fleet_position(&self) -> Result<(i64, i64), StoreError> {
        Ok(sqlx::query_as(
            "select (select count(*) from tool), (select value from counter where name = 'fleet')",
        )
        .fetch_one(&self.read)
        .await?)
    }

    /// Lets a follower in this process look again.
    fn tell(&self) {
        self.written.send_modify(|_| {});
    }
}

fn read(row: ChangeRow) -> Result<FleetChange, StoreError> {
    let at = Timestamp::from_microsecond(row.at).map_err(|error| StoreError::Damaged {
        what: "the time of a change of the fleet".to_owned(),
        problem: error.to_string(),
    })?;
    Ok(FleetChange {
        at,
        author: row.author,
        reason: row.reason,
        field: row.field,
        was: row.was,
        becomes: row.becomes,
    })
}

fn named(service: &PlannedService) -> String {
    format!("{} on {}", service.component, service.on)
}

pub(super) async fn put_service(
    connection: &mut SqliteConnection,
    tool: &ToolId,
    service: &PlannedService,
    at: Timestamp,
) -> Result<i64, sqlx::Error> {
    let id = next(connection, "service").await?;
    sqlx::query(
        "insert into service (id, tool, component, done_on, note, author, at) \
         values ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(id)
    .bind(tool.as_str())
    .bind(service.component.as_str())
    .bind(service.on.to_string())
    .bind(&service.note)
    .bind(&service.author)
    .bind(at.as_microsecond())
    .execute(connection)
    .await?;
    Ok(id)
}

async fn put_change(
    connection: &mut SqliteConnection,
    of: Of<'_>,
    signed: &Signed,
    at: Timestamp,
    (field, was, becomes): (&str, String, String),
) -> Result<(), sqlx::Error> {
    let seq = next(connection, "fleet").await?;
    let (site, tool) = match of {
        Of::Site(site) => (Some(site), None),
        Of::Tool(tool) => (None, Some(tool)),
    };
    sqlx::query(
        "insert into fleet_change (seq, at, author, reason, site, tool, field, was, becomes) \
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
    )
    .bind(seq)
    .bind(at.as_microsecond())
    .bind(&signed.author)
    .bind(&signed.reason)
    .bind(site)
    .bind(tool)
    .bind(field)
    .bind(was)
    .bind(becomes)
    .execute(connection)
    .await?;
    Ok(())
}
