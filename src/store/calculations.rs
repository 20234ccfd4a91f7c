//! Calculations attached to incidents. Attached once, never changed or deleted.

use jiff::Timestamp;
use sqlx::FromRow;

use super::{Store, StoreError, fleet::scope, next};
use crate::casebook::Asker;

/// A calculation about to be attached.
#[derive(Clone, Debug)]
pub struct NewCalculation {
    /// The incident.
    pub number: i64,
    /// The calculation's name, such as `rise`.
    pub name: String,
    /// When it was attached.
    pub at: Timestamp,
    /// Who attached it.
    pub author: String,
    /// The program that computed it.
    pub version: String,
    /// What went in, as JSON.
    pub request: String,
    /// What came out, as JSON.
    pub report: String,
}

/// A calculation as attached.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attached {
    /// Its number, over all incidents.
    pub id: i64,
    /// The calculation's name, such as `rise`.
    pub name: String,
    /// When it was attached.
    pub at: Timestamp,
    /// Who attached it.
    pub author: String,
    /// The program that computed it.
    pub version: String,
    /// What came out, as JSON.
    pub report: String,
}

#[derive(FromRow)]
struct Row {
    id: i64,
    name: String,
    at: i64,
    author: String,
    version: String,
    report: String,
}

impl TryFrom<Row> for Attached {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let at = Timestamp::from_microsecond(row.at).map_err(|error| StoreError::Damaged {
            what: format!("calculation {}", row.id),
            problem: error.to_string(),
        })?;
        Ok(Self {
            id: row.id,
            name: row.name,
            at,
            author: row.author,
            version: row.version,
            report: row.report,
        })
    }
}

impl Store {
    /// Attaches a calculation to an incident and gives its number. It is on disk when this
    /// returns, whether or not the caller waits.
    ///
    /// # Errors
    /// No such incident, or the database failing.
    pub async fn attach(&self, new: NewCalculation) -> Result<i64, StoreError> {
        let store = self.clone();
        // A task of its own, so that a client that hangs up cannot stop a write half-way.
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            let known: Option<i64> =
                sqlx::query_scalar("select number from incident where number = $1")
                    .bind(new.number)
                    .fetch_optional(&mut *tx)
                    .await?;
            known.ok_or(StoreError::NoIncident(new.number))?;
            let id = next(&mut tx, "calculation").await?;
            sqlx::query(
                "insert into calculation (id, number, name, at, author, version, request, report) \
                 values ($1, $2, $3, $4, $5, $6, $7, $8)",
            )
            .bind(id)
            .bind(new.number)
            .bind(&new.name)
            .bind(new.at.as_microsecond())
            .bind(&new.author)
            .bind(&new.version)
            .bind(&new.request)
            .bind(&new.report)
            .execute(&mut *tx)
            .await?;
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
            "select c.id, c.name, c.at, c.author, c.version, c.report from calculation c \
             join incident i on i.number = c.number join tool t on t.id = i.tool \
             where c.number = $1 and (cast($2 as text) is null or t.site = $2) order by c.id",
        )
        .bind(number)
        .bind(scope(asker))
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(Attached::try_from).collect()
    }

    /// What went into a calculation, as JSON, if there is one of this number on this incident.
    ///
    /// # Errors
    /// The database failing.
    pub async fn calculation_request(
        &self,
        number: i64,
        id: i64,
    ) -> Result<Option<String>, StoreError> {
        Ok(
            sqlx::query_scalar("select request from calculation where number = $1 and id = $2")
                .bind(number)
                .bind(id)
                .fetch_optional(&self.read)
                .await?,
        )
    }
}
