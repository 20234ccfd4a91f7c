//! Searches that people kept under a name.

use jiff::Timestamp;

use super::{Store, StoreError, fleet::scope, next};
use crate::casebook::Asker;

/// Searches shown at most, the newest first.
const SHOWN: i64 = 50;

/// A search that was kept.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct KeptSearch {
    /// Its number.
    pub id: i64,
    /// What it is called.
    pub name: String,
    /// What stands behind the question mark of its address.
    pub query: String,
}

impl Store {
    /// Keeps a search; one that is shown already under that name stays as it is.
    ///
    /// # Errors
    /// The database failing.
    pub async fn keep_search(
        &self,
        asker: &Asker,
        name: &str,
        query: &str,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        let (store, site) = (self.clone(), scope(asker).map(str::to_owned));
        let (name, query) = (name.to_owned(), query.to_owned());
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            let known: i64 = sqlx::query_scalar(
                "select count(*) from kept_search where hidden_at is null and name = $1 \
                 and query = $2 and coalesce(site, '') = coalesce(cast($3 as text), '')",
            )
            .bind(&name)
            .bind(&query)
            .bind(&site)
            .fetch_one(&mut *tx)
            .await?;
            if known == 0 {
                let id = next(&mut tx, "kept_search").await?;
                sqlx::query(
                    "insert into kept_search (id, name, query, site, at) values ($1, $2, $3, $4, $5)",
                )
                .bind(id)
                .bind(&name)
                .bind(&query)
                .bind(&site)
                .bind(at.as_microsecond())
                .execute(&mut *tx)
                .await?;
            }
            tx.commit().await?;
            Ok(())
        })
        .await?
    }

    /// The searches kept by the asker's site, or by anybody for one who sees all.
    ///
    /// # Errors
    /// The database failing.
    pub async fn kept_searches(&self, asker: &Asker) -> Result<Vec<KeptSearch>, StoreError> {
        Ok(sqlx::query_as(
            "select id, name, query from kept_search where hidden_at is null \
             and (cast($1 as text) is null or site = $1) order by id desc limit $2",
        )
        .bind(scope(asker))
        .bind(SHOWN)
        .fetch_all(&self.read)
        .await?)
    }

    /// Hides a kept search; whether there was one to hide.
    ///
    /// # Errors
    /// The database failing.
    pub async fn hide_search(
        &self,
        asker: &Asker,
        id: i64,
        at: Timestamp,
    ) -> Result<bool, StoreError> {
        let (store, site) = (self.clone(), scope(asker).map(str::to_owned));
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            let hidden = sqlx::query(
                "update kept_search set hidden_at = $1 where id = $2 and hidden_at is null \
                 and (cast($3 as text) is null or site = $3)",
            )
            .bind(at.as_microsecond())
            .bind(id)
            .bind(&site)
            .execute(&mut *tx)
            .await?;
            tx.commit().await?;
            Ok(hidden.rows_affected() > 0)
        })
        .await?
    }
}
