//! What can go wrong with the store.

/// A store that cannot do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The address is of a kind this program cannot open.
    #[error("cannot open {0:?} as a store; accepted is sqlite://PATH")]
    Address(String),
    /// The database refused or failed.
    #[error("the store failed: {0}")]
    Database(sqlx::Error),
    /// Another process has been writing for too long.
    #[error("another process is writing to the store; nothing was stored, try again in a minute")]
    Busy,
    /// The tables could not be brought up to date.
    #[error("the store's tables could not be brought up to date: {0}")]
    Migration(#[from] sqlx::migrate::MigrateError),
    /// Something in the store cannot be read back.
    #[error("the store holds {what} that cannot be read: {problem}")]
    Damaged {
        /// Which row.
        what: String,
        /// Why.
        problem: String,
    },
    /// The record was changed by someone else meanwhile.
    #[error(
        "incident {number} is at revision {current} by now; the change was made on revision {based_on}"
    )]
    Outdated {
        /// Which incident.
        number: i64,
        /// Its present revision.
        current: i64,
        /// The revision the writer had before them.
        based_on: i64,
    },
    /// There is no such incident.
    #[error("there is no incident {0}")]
    NoIncident(i64),
    /// The number is taken.
    #[error("incident {0} is in the store already; leave `number` out to file it as a new one")]
    NumberTaken(i64),
    /// A request key came back with another request.
    #[error("the key {0:?} was used for another request; a key belongs to one request")]
    KeyReused(String),
    /// An incident holds as many calculations as are kept with one.
    #[error(
        "incident {number} holds as many calculations as are kept with one incident; file what is new as an incident of its own"
    )]
    Full {
        /// Which incident.
        number: i64,
    },
    /// Writes go into the file at once, since it could not be put back to a log beside it.
    #[error("the database did not go back to its write-ahead log: {0}")]
    NoLog(String),
    /// The task that writes ended early.
    #[error("the write did not finish: {0}")]
    Interrupted(#[from] tokio::task::JoinError),
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        // SQLITE_BUSY and its extended forms; the low byte is the primary code.
        let busy = error
            .as_database_error()
            .and_then(|error| error.code())
            .and_then(|code| code.parse::<i64>().ok())
            .is_some_and(|code| code & 0xff == 5);
        if busy || matches!(error, sqlx::Error::PoolTimedOut) {
            Self::Busy
        } else {
            Self::Database(error)
        }
    }
}
