//! Calculations kept with incidents. Attached once, never changed or deleted.

use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};

use super::{
    Keyed, Store, StoreError,
    fleet::{encode, scope},
    next,
};
use crate::casebook::{Asker, CALCULATION_BYTES, CALCULATION_LIMIT, Calculation};

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
                report: json(&row.report)?,
                kind: row.name,
                by: row.author,
                program_version: row.version,
            },
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
            if let Some(key) = &key {
                let known: Option<(String, i64)> = sqlx::query_as(
                    "select digest, calculation from calculation_key where key = $1",
                )
                .bind(&key.key)
                .fetch_optional(&mut *tx)
                .await?;
                match known {
                    Some((digest, id)) if digest == key.digest => return Ok(id),
                    Some(_) => return Err(StoreError::KeyReused(key.key.clone())),
                    None => {}
                }
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
            if count > CALCULATION_LIMIT as i64 || bytes > CALCULATION_BYTES as i64 {
                return Err(StoreError::Full { number });
            }
            if let Some(key) = &key {
                sqlx::query(
                    "insert into calculation_key (key, digest, calculation) values ($1, $2, $3)",
                )
                .bind(&key.key)
                .bind(&key.digest)
                .bind(id)
                .execute(&mut *tx)
                .await?;
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
        let rows: Vec<Row> = sqlx::query_as(
            "select c.id, c.name, c.at, c.author, c.version, c.request, c.report \
             from calculation c \
             join incident i on i.number = c.number join tool t on t.id = i.tool \
             where c.number = $1 and (cast($2 as text) is null or t.site = $2) order by c.id",
        )
        .bind(number)
        .bind(scope(asker))
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(Attached::try_from).collect()
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
    .execute(connection)
    .await?;
    Ok(id)
}
