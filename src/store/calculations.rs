//! Calculations kept with incidents. Attached once, never changed or deleted.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde_json::Value;
use sqlx::{FromRow, SqliteConnection};

use super::{
    Store, StoreError,
    fleet::{encode, scope},
    key::{Asking, Keyed},
    next,
};
use crate::casebook::{
    Asker, CALCULATION_BYTES, CALCULATION_LIMIT, Calculation, KeptLog, PackedLog,
};

/// A calculation as attached.
#[derive(Clone, Debug, PartialEq)]
pub struct Attached {
    /// Its number, over all incidents.
    pub id: i64,
    /// The calculation.
    pub calculation: Calculation,
}

#[derive(FromRow)]
struct Row {
    id: i64,
    name: String,
    at: i64,
    author: String,
    version: String,
    request: String,
    report: String,
}

impl TryFrom<Row> for Attached {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let damaged = |problem: String| StoreError::Damaged {
            what: format!("calculation {}", row.id),
            problem,
        };
        let json = |text: &str| serde_json::from_str(text).map_err(|e| damaged(e.to_string()));
        Ok(Self {
            id: row.id,
            calculation: Calculation {
                made_at: Timestamp::from_microsecond(row.at).map_err(|e| damaged(e.to_string()))?,
                request: json(&row.request)?,
                logs: BTreeMap::new(),
                report: json(&row.report)?,
                kind: row.name,
                by: row.author,
                program_version: row.version,
            },
        })
    }
}

/// The report of a kept calculation, without what went into it.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptReport {
    /// Its number, over all incidents.
    pub id: i64,
    /// The incident with which it is kept.
    pub incident: i64,
    /// When it was made.
    pub made_at: Timestamp,
    /// Whether it was made after a fix: its incident is closed with the pressure restored below
    /// the faulty one, it was made no earlier than the closing, and no other incident of the tool
    /// was open at the time.
    pub after_fix: bool,
    /// What came out.
    pub report: Value,
}

#[derive(FromRow)]
struct ReportRow {
    id: i64,
    number: i64,
    at: i64,
    report: String,
    after_fix: i64,
}

impl TryFrom<ReportRow> for KeptReport {
    type Error = StoreError;

    fn try_from(row: ReportRow) -> Result<Self, StoreError> {
        let damaged = |problem: String| StoreError::Damaged {
            what: format!("calculation {}", row.id),
            problem,
        };
        Ok(Self {
            id: row.id,
            incident: row.number,
            made_at: Timestamp::from_microsecond(row.at).map_err(|e| damaged(e.to_string()))?,
            after_fix: row.after_fix == 1,
            report: serde_json::from_str(&row.report).map_err(|e| damaged(e.to_string()))?,
        })
    }
}

impl Store {
    /// Attaches a calculation to an incident and gives its number; the number given before for
    /// a repeat with the same key. It is on disk when this returns, whether or not the caller
    /// waits.
    ///
    /// # Errors
    /// No such incident, one that is full, a key that was used for another request, or the
    /// database failing.
    pub async fn attach(
        &self,
        number: i64,
        calculation: Calculation,
        key: Option<Keyed>,
    ) -> Result<i64, StoreError> {
        let store = self.clone();
        // A task of its own, so that a client that hangs up cannot stop a write half-way.
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            if let Some(key) = &key
                && let Some(id) = key.answered(&mut tx, Asking::Attaching).await?
            {
                return Ok(id);
            }
            let known: Option<i64> =
                sqlx::query_scalar("select number from incident where number = $1")
                    .bind(number)
                    .fetch_optional(&mut *tx)
                    .await?;
            known.ok_or(StoreError::NoIncident(number))?;
            let id = put_calculation(&mut tx, number, &calculation).await?;
            let (count, bytes): (i64, i64) = sqlx::query_as(
                "select count(*), coalesce(sum(octet_length(request) + octet_length(report)), 0) \
                 from calculation where number = $1",
            )
            .bind(number)
            .fetch_one(&mut *tx)
            .await?;
            // As an export has them: four characters for three bytes.
            let packed: i64 = sqlx::query_scalar(
                "select coalesce(sum((octet_length(k.packed) + 2) / 3 * 4), 0) from calculation c \
                 join calculation_log l on l.calculation = c.id \
                 join kept_log k on k.sha256 = l.sha256 where c.number = $1",
            )
            .bind(number)
            .fetch_one(&mut *tx)
            .await?;
            let bytes = bytes + packed;
            if count > CALCULATION_LIMIT as i64 || bytes > CALCULATION_BYTES as i64 {
                return Err(StoreError::Full { number });
            }
            if let Some(key) = &key {
                key.keep(&mut tx, Asking::Attaching, id).await?;
            }
            tx.commit().await?;
            Ok(id)
        })
        .await?
    }

    /// The calculations of an incident that the asker may see, oldest first.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn calculations(
        &self,
        asker: &Asker,
        number: i64,
    ) -> Result<Vec<Attached>, StoreError> {
        self.kept(asker, number, None).await
    }

    /// One calculation of an incident that the asker may see.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn calculation(
        &self,
        asker: &Asker,
        number: i64,
        id: i64,
    ) -> Result<Option<Attached>, StoreError> {
        Ok(self.kept(asker, number, Some(id)).await?.pop())
    }

    async fn kept(
        &self,
        asker: &Asker,
        number: i64,
        id: Option<i64>,
    ) -> Result<Vec<Attached>, StoreError> {
        let rows: Vec<Row> = sqlx::query_as(
            "select c.id, c.name, c.at, c.author, c.version, c.request, c.report \
             from calculation c \
             join incident i on i.number = c.number join tool t on t.id = i.tool \
             where c.number = $1 and (cast($2 as text) is null or t.site = $2) \
             and (cast($3 as bigint) is null or c.id = $3) order by c.id",
        )
        .bind(number)
        .bind(scope(asker))
        .bind(id)
        .fetch_all(&self.read)
        .await?;
        let mut kept: Vec<Attached> = rows
            .into_iter()
            .map(Attached::try_from)
            .collect::<Result<_, _>>()?;
        let logs: Vec<(i64, String, String, i64)> = sqlx::query_as(
            "select l.calculation, l.field, k.sha256, k.bytes from calculation c \
             join calculation_log l on l.calculation = c.id join kept_log k on k.sha256 = l.sha256 \
             where c.number = $1 order by l.calculation, l.field",
        )
        .bind(number)
        .fetch_all(&self.read)
        .await?;
        for (calculation, field, sha256, bytes) in logs {
            if let Some(kept) = kept.iter_mut().find(|kept| kept.id == calculation) {
                let log = KeptLog {
                    sha256,
                    bytes: bytes.unsigned_abs(),
                    packed: None,
                };
                kept.calculation.logs.insert(field, log);
            }
        }
        Ok(kept)
    }

    /// A log that is kept with some calculation, by its SHA-256.
    ///
    /// # Errors
    /// The database failing.
    pub async fn kept_log(&self, sha256: &str) -> Result<Option<KeptLog>, StoreError> {
        let row: Option<(i64, Vec<u8>)> =
            sqlx::query_as("select bytes, packed from kept_log where sha256 = $1")
                .bind(sha256)
                .fetch_optional(&self.read)
                .await?;
        Ok(row.map(|(bytes, packed)| KeptLog {
            sha256: sha256.to_owned(),
            bytes: bytes.unsigned_abs(),
            packed: Some(PackedLog(packed)),
        }))
    }

    /// Reads the logs of a calculation themselves, where they are not with it yet.
    ///
    /// # Errors
    /// The database failing, or a log that is not there.
    pub async fn read_logs(&self, calculation: &mut Calculation) -> Result<(), StoreError> {
        for log in calculation
            .logs
            .values_mut()
            .filter(|log| log.packed.is_none())
        {
            let kept = self.kept_log(&log.sha256).await?;
            *log = kept.ok_or_else(|| StoreError::Damaged {
                what: format!("log {}", log.sha256),
                problem: "it is not there".to_owned(),
            })?;
        }
        Ok(())
    }

    /// The reports of one kind kept with the incidents of a tool that the asker may see, newest
    /// first and at most so many; those made after a fix alone if asked.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn kept_reports(
        &self,
        asker: &Asker,
        tool: &str,
        kind: &str,
        only_after_fix: bool,
        limit: i64,
    ) -> Result<Vec<KeptReport>, StoreError> {
        let rows: Vec<ReportRow> = sqlx::query_as(
            "select * from (select c.id, c.number, c.at, c.report, \
             case when i.status = 'closed' and c.at >= i.closed_at \
             and i.restored_pa < i.faulty_pa and not exists (select 1 from incident other \
             where other.tool = i.tool and other.number <> i.number \
             and other.occurred_at <= c.at \
             and (other.closed_at is null or other.closed_at > c.at)) \
             then 1 else 0 end as after_fix \
             from calculation c \
             join incident i on i.number = c.number join tool t on t.id = i.tool \
             where i.tool = $1 and c.name = $2 \
             and (cast($3 as text) is null or t.site = $3)) kept \
             where cast($4 as integer) = 0 or after_fix = 1 order by at desc, id desc limit $5",
        )
        .bind(tool)
        .bind(kind)
        .bind(scope(asker))
        .bind(i64::from(only_after_fix))
        .bind(limit)
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(KeptReport::try_from).collect()
    }

    /// How many calculations of one kind are kept with the incidents of a tool that the asker may
    /// see.
    ///
    /// # Errors
    /// The database failing.
    pub async fn kept_count(
        &self,
        asker: &Asker,
        tool: &str,
        kind: &str,
    ) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar(
            "select count(*) from calculation c \
             join incident i on i.number = c.number join tool t on t.id = i.tool \
             where i.tool = $1 and c.name = $2 \
             and (cast($3 as text) is null or t.site = $3)",
        )
        .bind(tool)
        .bind(kind)
        .bind(scope(asker))
        .fetch_one(&self.read)
        .await?)
    }

    /// The numbers of the incidents that hold calculations, from the lowest.
    ///
    /// # Errors
    /// The database failing.
    pub async fn with_calculations(&self) -> Result<Vec<i64>, StoreError> {
        Ok(
            sqlx::query_scalar("select distinct number from calculation order by number")
                .fetch_all(&self.read)
                .await?,
        )
    }
}

/// Writes a calculation and gives its number.
pub(super) async fn put_calculation(
    connection: &mut SqliteConnection,
    number: i64,
    calculation: &Calculation,
) -> Result<i64, sqlx::Error> {
    let id = next(connection, "calculation").await?;
    sqlx::query(
        "insert into calculation (id, number, name, at, author, version, request, report) \
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(id)
    .bind(number)
    .bind(&calculation.kind)
    .bind(calculation.made_at.as_microsecond())
    .bind(&calculation.by)
    .bind(&calculation.program_version)
    .bind(serde_json::to_string(&calculation.request).map_err(encode)?)
    .bind(serde_json::to_string(&calculation.report).map_err(encode)?)
    .execute(&mut *connection)
    .await?;
    for (field, log) in &calculation.logs {
        if let Some(packed) = &log.packed {
            sqlx::query(
                "insert into kept_log (sha256, bytes, packed) values ($1, $2, $3) \
                 on conflict (sha256) do nothing",
            )
            .bind(&log.sha256)
            .bind(log.bytes as i64)
            .bind(&packed.0)
            .execute(&mut *connection)
            .await?;
        }
        sqlx::query("insert into calculation_log (calculation, field, sha256) values ($1, $2, $3)")
            .bind(id)
            .bind(field)
            .bind(&log.sha256)
            .execute(&mut *connection)
            .await?;
    }
    Ok(id)
}
