//! The store: the truth about sites, tools and incidents, in SQLite.
//!
//! Every write a person makes is one transaction: record, revision, change. Change
//! numbers come from a counter inside that transaction. SQL keeps to what PostgreSQL
//! would take as well (`$1` placeholders, `on conflict`, `returning`), so that a second
//! database is a matter of opening it. Nothing here knows of the index or the web.

mod calculations;
mod changes;
mod error;
mod fleet;
mod incidents;
mod key;
mod row;
mod searches;
mod upkeep;

use std::{
    str::FromStr,
    time::{Duration, Instant},
};

use sqlx::{
    Sqlite, SqliteConnection, SqlitePool, Transaction,
    migrate::Migrator,
    sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous},
};
use tokio::sync::watch;

pub use calculations::{Attached, KeptReport};
pub use changes::Change;
pub use error::StoreError;
pub use fleet::ToolCount;
pub use incidents::{BulkFiling, Filing, Listing, Overview, Row};
pub use key::Keyed;
pub use searches::KeptSearch;
pub use upkeep::FleetChange;

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations/sqlite");

/// Pages are read by as many connections as there are likely to be requests at once on
/// a small machine; one connection writes, so writers queue here and not in the file lock.
const READERS: u32 = 8;

/// KiB of pages that a reading connection keeps. The system keeps the file in memory anyway; so many
/// connections with what SQLite allows each by default would hold it a second time.
const READ_CACHE: u32 = 512;

/// How long a connection waits for another process to let go of the file.
const BUSY: Duration = Duration::from_secs(10);

/// How long readers of this process are waited for that may be about to let go of the file.
const LETTING_GO: Duration = Duration::from_millis(200);

/// Bytes of a page in a store that is made anew: three usual records fit into one.
const PAGE: u32 = 8192;

/// A handle on the store; clones share its connections.
#[derive(Clone, Debug)]
pub struct Store {
    read: SqlitePool,
    write: SqlitePool,
    written: watch::Sender<i64>,
}

impl Store {
    /// Opens the store at `sqlite://PATH`, makes it if it is not there, and brings its
    /// tables up to date.
    ///
    /// # Errors
    /// An address that is not `sqlite://…`, a file that cannot be opened, tables newer
    /// than this program.
    pub async fn open(url: &str) -> Result<Self, StoreError> {
        Self::open_or_make(url, true).await
    }

    /// As [`Store::open`], for a store that has to be there.
    ///
    /// # Errors
    /// As [`Store::open`], and a file that is not there.
    pub async fn open_existing(url: &str) -> Result<Self, StoreError> {
        Self::open_or_make(url, false).await
    }

    async fn open_or_make(url: &str, make: bool) -> Result<Self, StoreError> {
        if !url.starts_with("sqlite:") {
            return Err(StoreError::Address(url.to_owned()));
        }
        let options = SqliteConnectOptions::from_str(url)?
            .foreign_keys(true)
            .busy_timeout(BUSY);
        let writing = options
            .clone()
            .create_if_missing(make)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .page_size(PAGE);
        let write = SqlitePoolOptions::new()
            .max_connections(1)
            .connect_with(writing)
            .await?;
        MIGRATIONS.run(&write).await?;
        let reading = options
            .create_if_missing(false)
            .read_only(true)
            .pragma("cache_size", format!("-{READ_CACHE}"));
        let read = SqlitePoolOptions::new()
            .max_connections(READERS)
            .connect_with(reading)
            .await?;
        let (written, _) = watch::channel(0);
        Ok(Self {
            read,
            write,
            written,
        })
    }

    /// Lets a follower in this process know at once when something was written.
    pub fn written(&self) -> watch::Receiver<i64> {
        self.written.subscribe()
    }

    /// Closes every connection, folding the write-ahead log into the file.
    pub async fn close(&self) {
        self.read.close().await;
        self.write.close().await;
    }

    /// Begins a write. Immediate, because a transaction that turns from reading to
    /// writing half-way is refused without waiting.
    async fn begin(&self) -> Result<Transaction<'static, Sqlite>, StoreError> {
        Ok(self.write.begin_with("BEGIN IMMEDIATE").await?)
    }
}

/// How changes are kept until they are in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Journal {
    /// In a log beside the file that others read meanwhile, and from there into the file.
    Log,
    /// In the file at once; what they replace is kept until they are whole. Nobody else reads
    /// meanwhile.
    File,
}

impl Store {
    /// Changes where changes go, if nobody else has the store open. Returns where they go now.
    ///
    /// The way back to the log waits for others as a write does, and fails where they do not let go.
    async fn switch(&self, to: Journal) -> Result<Journal, StoreError> {
        // Our own readers have it open too. One that has read just now is given back a moment later.
        let begun = Instant::now();
        while self.read.size() > 0 && begun.elapsed() < LETTING_GO {
            match self.read.try_acquire() {
                Some(idle) => idle.close().await?,
                None => tokio::time::sleep(Duration::from_millis(1)).await,
            }
        }
        let mut connection = self.write.acquire().await?;
        let word = match to {
            Journal::Log => "pragma journal_mode = wal",
            Journal::File => "pragma journal_mode = delete",
        };
        if to == Journal::Log {
            let told: Result<String, _> =
                sqlx::query_scalar(word).fetch_one(&mut *connection).await;
            return match told {
                Ok(told) if told == "wal" => Ok(Journal::Log),
                Ok(told) => Err(StoreError::NoLog(format!("it stays with {told:?}"))),
                Err(error) => Err(StoreError::NoLog(error.to_string())),
            };
        }
        wait(&mut connection, Duration::ZERO).await?;
        // Refused while others have it open, which is no fault.
        let told: Result<String, _> = sqlx::query_scalar(word).fetch_one(&mut *connection).await;
        wait(&mut connection, BUSY).await?;
        Ok(match told.as_deref() {
            Ok("delete") => Journal::File,
            _ => Journal::Log,
        })
    }

    /// Goes back to the log after a filing that went into the file. What was stored is stored either
    /// way, so a failure is told and no more: readers then wait for writers until the store is opened
    /// anew, which tries again.
    async fn back_to_log(&self) {
        if let Err(error) = self.switch(Journal::Log).await {
            tracing::error!(
                %error,
                "the store was not put back to writing beside its readers; restart to try again"
            );
        }
    }
}

/// How long a connection waits for others.
async fn wait(connection: &mut SqliteConnection, time: Duration) -> Result<(), sqlx::Error> {
    let milliseconds = time.as_millis();
    let word = format!("pragma busy_timeout = {milliseconds}");
    sqlx::query(sqlx::AssertSqlSafe(word))
        .execute(connection)
        .await?;
    Ok(())
}

/// Takes the next number of a counter, inside the writing transaction.
async fn next(connection: &mut SqliteConnection, counter: &str) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("update counter set value = value + 1 where name = $1 returning value")
        .bind(counter)
        .fetch_one(connection)
        .await
}

#[cfg(test)]
mod tests {
    use sqlx::Connection;

    use super::*;

    /// A first file goes into the store's file at once and not through a log, even right after
    /// somebody of this process has read.
    #[tokio::test(flavor = "multi_thread")]
    async fn a_first_file_goes_into_no_log() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("store.db");
        let log = folder.path().join("store.db-wal");
        let store = Store::open(&format!("sqlite://{}", path.display())).await;
        let store = store.expect("a store");
        assert_eq!(store.last_change().await.expect("read"), 0);
        assert!(log.exists());
        let filing = store.begin_filing().await.expect("begun");
        assert!(!log.exists());
        filing.commit().await.expect("committed");
        assert_eq!(store.last_change().await.expect("read"), 0);
        assert!(log.exists());
        let indexes: i64 = sqlx::query_scalar(
            "select count(*) from sqlite_master where type = 'index' and name in \
             ('incident_by_tool', 'incident_by_status')",
        )
        .fetch_one(&store.read)
        .await
        .expect("read");
        assert_eq!(indexes, 2);
    }

    /// Somebody who reads keeps the store from going back to its log, which is told; once they let
    /// go it goes back.
    #[tokio::test]
    async fn a_store_that_does_not_go_back_to_its_log_says_so() {
        let folder = tempfile::tempdir().expect("a folder");
        let url = format!("sqlite://{}", folder.path().join("store.db").display());
        let store = Store::open(&url).await.expect("a store");
        let to = store.switch(Journal::File).await;
        assert_eq!(to.expect("switched"), Journal::File);
        {
            // Nobody waits ten seconds here.
            let mut connection = store.write.acquire().await.expect("the writer");
            wait(&mut connection, Duration::from_millis(50))
                .await
                .expect("set");
        }
        let mut reader = SqliteConnection::connect(&url).await.expect("a reader");
        let mut reading = reader.begin().await.expect("begun");
        let _: i64 = sqlx::query_scalar("select count(*) from incident")
            .fetch_one(&mut *reading)
            .await
            .expect("read");
        let back = store.switch(Journal::Log).await;
        assert!(matches!(back, Err(StoreError::NoLog(_))), "{back:?}");
        reading.rollback().await.expect("ended");
        let back = store.switch(Journal::Log).await;
        assert_eq!(back.expect("switched"), Journal::Log);
    }
}
