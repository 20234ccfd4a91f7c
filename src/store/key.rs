//! Requests that may be sent again: the key a client chose, what came with it, and the answer
//! that was given.

use sqlx::SqliteConnection;

use super::StoreError;

/// A request key with a digest of what came with it.
#[derive(Clone, Debug)]
pub struct Keyed {
    /// The key the client chose.
    pub key: String,
    /// A digest of the request, so that a key cannot be used for two.
    pub digest: String,
}

/// What requests with a key ask for; the keys of one are no keys of another.
#[derive(Clone, Copy, Debug)]
pub(super) enum Asking {
    /// To file an incident, answered with its number.
    Filing,
    /// To attach a calculation, answered with its number.
    Attaching,
}

impl Keyed {
    /// The answer given before to this request; an error if the key was used for another.
    pub(super) async fn answered(
        &self,
        connection: &mut SqliteConnection,
        asking: Asking,
    ) -> Result<Option<i64>, StoreError> {
        let known: Option<(String, i64)> = sqlx::query_as(match asking {
            Asking::Filing => "select digest, number from filing_key where key = $1",
            Asking::Attaching => "select digest, calculation from calculation_key where key = $1",
        })
        .bind(&self.key)
        .fetch_optional(connection)
        .await?;
        match known {
            Some((digest, answer)) if digest == self.digest => Ok(Some(answer)),
            Some(_) => Err(StoreError::KeyReused(self.key.clone())),
            None => Ok(None),
        }
    }

    /// Keeps the answer for a request that comes again.
    pub(super) async fn keep(
        &self,
        connection: &mut SqliteConnection,
        asking: Asking,
        answer: i64,
    ) -> Result<(), StoreError> {
        sqlx::query(match asking {
            Asking::Filing => "insert into filing_key (key, digest, number) values ($1, $2, $3)",
            Asking::Attaching => {
                "insert into calculation_key (key, digest, calculation) values ($1, $2, $3)"
            }
        })
        .bind(&self.key)
        .bind(&self.digest)
        .bind(answer)
        .execute(connection)
        .await?;
        Ok(())
    }
}
