//! The change log that the index and the statistics follow.

use super::{Store, StoreError};

/// Something was written to an incident.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct Change {
    /// Position in the log, from 1, without gaps.
    pub seq: i64,
    /// Which incident.
    pub number: i64,
    /// The revision that was written.
    pub revision: i64,
}

impl Store {
    /// At most `limit` changes after position `seq`, in order.
    ///
    /// # Errors
    /// The database failing.
    pub async fn changes_after(&self, seq: i64, limit: i64) -> Result<Vec<Change>, StoreError> {
        Ok(sqlx::query_as(
            "select seq, number, revision from change where seq > $1 order by seq limit $2",
        )
        .bind(seq)
        .bind(limit)
        .fetch_all(&self.read)
        .await?)
    }

    /// The position of the newest change, 0 when nothing was ever written.
    ///
    /// # Errors
    /// The database failing.
    pub async fn last_change(&self) -> Result<i64, StoreError> {
        Ok(
            sqlx::query_scalar("select coalesce(max(seq), 0) from change")
                .fetch_one(&self.read)
                .await?,
        )
    }

    /// A number that tells this store from every other.
    ///
    /// # Errors
    /// The database failing.
    pub async fn identity(&self) -> Result<i64, StoreError> {
        Ok(
            sqlx::query_scalar("select value from counter where name = 'identity'")
                .fetch_one(&self.read)
                .await?,
        )
    }
}
