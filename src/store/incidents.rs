//! Incidents: filing, correcting, reading.

use std::collections::{BTreeMap, HashMap};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use sqlx::{QueryBuilder, Sqlite, SqliteConnection, Transaction};

use super::{
    Journal, Store, StoreError,
    calculations::put_calculation,
    fleet::{add_site, add_tool, encode, scope},
    key::{Asking, Keyed},
    next,
    row::RevisionRow,
};
use crate::casebook::{
    self, Asker, Calculation, Filed, Incident, NewRevision, Revision, Site, Status, Tool, ToolId,
};
use crate::vacuum::units::TypedPressure;

/// Rows that a bulk filing writes in one statement.
const TOGETHER: usize = 200;

/// The most numbers asked for in one statement.
const BATCH: usize = 500;

/// Memory in which a bulk filing keeps pages before it writes them, in KiB.
const BULK_CACHE: i64 = 64 << 10;

/// The same for single writes, as SQLite has it by default.
const CACHE: i64 = 2_000;

/// A report about to be stored.
#[derive(Clone, Debug)]
pub struct Filing {
    /// The number it already has, from an export; none lets the store give one.
    pub number: Option<i64>,
    /// Earlier states, oldest first, from an export.
    pub earlier: Vec<Revision>,
    /// When the newest state was written.
    pub at: Timestamp,
    /// Who wrote the newest state; the report's author unless it is a correction.
    pub author: String,
    /// Why, if it is a correction.
    pub reason: String,
    /// The report.
    pub incident: Incident,
    /// Calculations kept with it, oldest first, from an export.
    pub calculations: Vec<Calculation>,
    /// Its tool and that tool's site, where the store has not met them yet.
    pub new_tool: Option<(Site, Tool)>,
}

impl Filing {
    /// A report filed for the first time.
    pub fn new(incident: Incident, at: Timestamp) -> Self {
        Self {
            number: None,
            earlier: Vec::new(),
            at,
            author: incident.author.clone(),
            reason: String::new(),
            incident,
            calculations: Vec::new(),
            new_tool: None,
        }
    }
}

/// A report in one state as its rows hold it, so that it need not be judged again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// The number it already has, from an export; none lets the store give one.
    pub number: Option<i64>,
    at: i64,
    author: String,
    reason: String,
    tool: String,
    status: Status,
    occurred_at: i64,
    closed_at: Option<i64>,
    cause: Option<String>,
    pascals: [Option<f64>; 3],
    labour_minutes: Option<f64>,
    down_hours: Option<f64>,
    /// The report as JSON on one line; kept apart from the rest.
    #[serde(skip)]
    pub record: String,
}

impl Row {
    /// The newest state of a report.
    ///
    /// # Errors
    /// A report that cannot be written as JSON.
    pub fn of(filing: &Filing) -> Result<Self, StoreError> {
        let incident = &filing.incident;
        let pressures = incident.pressures;
        Ok(Self {
            number: filing.number,
            at: filing.at.as_microsecond(),
            author: filing.author.clone(),
            reason: filing.reason.clone(),
            tool: incident.tool.to_string(),
            status: incident.status,
            occurred_at: incident.occurred_at.as_microsecond(),
            closed_at: incident.closed_at.map(Timestamp::as_microsecond),
            cause: incident.cause.as_ref().map(|cause| cause.id().to_owned()),
            pascals: [pressures.healthy, pressures.faulty, pressures.restored].map(pascals),
            labour_minutes: incident.labour_minutes,
            down_hours: incident.down_hours,
            record: casebook::to_json(incident).map_err(encode)?,
        })
    }

    /// The name of its tool.
    pub fn tool(&self) -> &str {
        &self.tool
    }

    /// When it began.
    pub fn occurred_at(&self) -> Timestamp {
        Timestamp::from_microsecond(self.occurred_at).unwrap_or_default()
    }
}

/// A report on its way into the store: its newest state, and what else an export gave it.
#[derive(Debug)]
struct Waiting {
    number: i64,
    row: Row,
    earlier: Vec<Revision>,
    calculations: Vec<Calculation>,
}

impl Waiting {
    fn revision(&self) -> i64 {
        self.earlier.len() as i64 + 1
    }
}

/// Which incidents a list shows.
#[derive(Clone, Debug, Default)]
pub struct Listing {
    /// Only of this tool.
    pub tool: Option<ToolId>,
    /// Only of this status.
    pub status: Option<Status>,
    /// How many to leave out, newest first.
    pub skip: i64,
    /// How many at most.
    pub limit: i64,
}

/// What a list shows of an incident.
#[derive(Clone, Debug)]
pub struct Overview {
    /// Its number.
    pub number: i64,
    /// The report as it stands.
    pub incident: Incident,
}

impl Store {
    /// Stores a report. It is on disk when this returns, whether or not the caller waits.
    ///
    /// # Errors
    /// The database failing, or a key that was used for another request.
    pub async fn file(&self, filing: Filing, key: Option<Keyed>) -> Result<i64, StoreError> {
        let store = self.clone();
        // A task of its own, so that a client that hangs up cannot stop a write half-way.
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            if let Some(key) = &key
                && let Some(number) = key.answered(&mut tx, Asking::Filing).await?
            {
                return Ok(number);
            }
            let (number, seq) = file_one(&mut tx, &filing).await?;
            if let Some(key) = &key {
                key.keep(&mut tx, Asking::Filing, number).await?;
            }
            tx.commit().await?;
            store.announce(seq);
            Ok(number)
        })
        .await?
    }

    /// Begins to store many reports, all or none. Other writers wait until it ends; so do
    /// readers where the store holds no report yet and nobody has it open.
    ///
    /// # Errors
    /// The database failing.
    pub async fn begin_filing(&self) -> Result<BulkFiling, StoreError> {
        let journal = match self.highest_number().await? {
            0 => self.switch(Journal::File).await?,
            _ => Journal::Log,
        };
        let mut tx = self.begin().await?;
        keep_pages(&mut tx, BULK_CACHE).await?;
        let put_off = match journal {
            Journal::File => put_off_indexes(&mut tx).await?,
            Journal::Log => Vec::new(),
        };
        let incidents = counted(&mut tx, "incident").await?;
        let changes = counted(&mut tx, "change").await?;
        Ok(BulkFiling {
            store: self.clone(),
            tx,
            journal,
            put_off,
            incidents,
            changes,
            waiting: Vec::new(),
            filed: 0,
        })
    }

    /// Stores a correction as a new revision.
    ///
    /// # Errors
    /// No such incident, one changed by someone else meanwhile, the database failing.
    pub async fn revise(&self, new: NewRevision) -> Result<i64, StoreError> {
        let store = self.clone();
        tokio::spawn(async move {
            let mut tx = store.begin().await?;
            let current: Option<i64> =
                sqlx::query_scalar("select revision from incident where number = $1")
                    .bind(new.number)
                    .fetch_optional(&mut *tx)
                    .await?;
            let current = current.ok_or(StoreError::NoIncident(new.number))?;
            if current != new.based_on {
                return Err(StoreError::Outdated {
                    number: new.number,
                    current,
                    based_on: new.based_on,
                });
            }
            let revision = current + 1;
            put_present(&mut tx, new.number, revision, &new.incident).await?;
            put_revision(
                &mut tx,
                new.number,
                &Revision {
                    revision,
                    at: new.at,
                    author: new.author,
                    reason: new.reason,
                    incident: new.incident,
                },
            )
            .await?;
            let seq = put_change(&mut tx, new.number, revision).await?;
            tx.commit().await?;
            store.announce(seq);
            Ok(revision)
        })
        .await?
    }

    /// An incident with its history, if there is one and the asker may see it.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn incident(&self, asker: &Asker, number: i64) -> Result<Option<Filed>, StoreError> {
        let rows: Vec<RevisionRow> = sqlx::query_as(
            "select r.number, r.revision, r.at, r.author, r.reason, r.record from revision r \
             join incident i on i.number = r.number join tool t on t.id = i.tool \
             where r.number = $1 and (cast($2 as text) is null or t.site = $2) \
             order by r.revision",
        )
        .bind(number)
        .bind(scope(asker))
        .fetch_all(&self.read)
        .await?;
        let revisions: Vec<Revision> = rows
            .into_iter()
            .map(Revision::try_from)
            .collect::<Result<_, _>>()?;
        Ok((!revisions.is_empty()).then_some(Filed { number, revisions }))
    }

    /// The present state of those of `numbers` that exist and the asker may see.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn present(
        &self,
        asker: &Asker,
        numbers: &[i64],
    ) -> Result<HashMap<i64, Revision>, StoreError> {
        let mut found = HashMap::with_capacity(numbers.len());
        for batch in numbers.chunks(BATCH) {
            let mut query = QueryBuilder::<Sqlite>::new(
                "select r.number, r.revision, r.at, r.author, r.reason, r.record from incident i \
                 join revision r on r.number = i.number and r.revision = i.revision \
                 join tool t on t.id = i.tool where i.number in (",
            );
            let mut list = query.separated(", ");
            for number in batch {
                list.push_bind(*number);
            }
            query.push(")");
            if let Some(site) = scope(asker) {
                query.push(" and t.site = ").push_bind(site.to_owned());
            }
            let rows: Vec<RevisionRow> = query.build_query_as().fetch_all(&self.read).await?;
            for row in rows {
                found.insert(row.number, Revision::try_from(row)?);
            }
        }
        Ok(found)
    }

    /// Whether a number is taken.
    ///
    /// # Errors
    /// The database failing.
    pub async fn has_incident(&self, number: i64) -> Result<bool, StoreError> {
        let found: Option<i64> =
            sqlx::query_scalar("select number from incident where number = $1")
                .bind(number)
                .fetch_optional(&self.read)
                .await?;
        Ok(found.is_some())
    }

    /// The highest number an incident ever had.
    ///
    /// # Errors
    /// The database failing.
    pub async fn highest_number(&self) -> Result<i64, StoreError> {
        let mut connection = self.read.acquire().await?;
        Ok(counted(&mut connection, "incident").await?)
    }

    /// Whole incidents after `number`, in order of their numbers, for export and checks.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn filed_after(&self, number: i64, limit: i64) -> Result<Vec<Filed>, StoreError> {
        let rows: Vec<RevisionRow> = sqlx::query_as(
            "select r.number, r.revision, r.at, r.author, r.reason, r.record from revision r \
             where r.number in (select number from incident where number > $1 \
             order by number limit $2) order by r.number, r.revision",
        )
        .bind(number)
        .bind(limit)
        .fetch_all(&self.read)
        .await?;
        let mut filed: BTreeMap<i64, Vec<Revision>> = BTreeMap::new();
        for row in rows {
            filed
                .entry(row.number)
                .or_default()
                .push(Revision::try_from(row)?);
        }
        Ok(filed
            .into_iter()
            .map(|(number, revisions)| Filed { number, revisions })
            .collect())
    }

    /// A list of incidents, newest first, and how many there are in all.
    ///
    /// # Errors
    /// The database failing or holding something unreadable.
    pub async fn list(
        &self,
        asker: &Asker,
        listing: &Listing,
    ) -> Result<(Vec<Overview>, i64), StoreError> {
        const MATCHING: &str = "from incident i join tool t on t.id = i.tool \
             where (cast($1 as text) is null or t.site = $1) \
             and (cast($2 as text) is null or i.tool = $2) \
             and (cast($3 as text) is null or i.status = $3)";
        let tool = listing.tool.as_ref().map(ToolId::as_str);
        let status = listing.status.map(Status::id);
        let total: i64 =
            sqlx::query_scalar(sqlx::AssertSqlSafe(format!("select count(*) {MATCHING}")))
                .bind(scope(asker))
                .bind(tool)
                .bind(status)
                .fetch_one(&self.read)
                .await?;
        let numbers: Vec<i64> = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
            "select i.number {MATCHING} order by i.occurred_at desc, i.number desc limit $4 offset $5"
        )))
        .bind(scope(asker))
        .bind(tool)
        .bind(status)
        .bind(listing.limit)
        .bind(listing.skip)
        .fetch_all(&self.read)
        .await?;
        let mut present = self.present(asker, &numbers).await?;
        let overviews = numbers
            .into_iter()
            .filter_map(|number| {
                let incident = present.remove(&number)?.incident;
                Some(Overview { number, incident })
            })
            .collect();
        Ok((overviews, total))
    }

    /// How many incidents there are: open, closed.
    ///
    /// # Errors
    /// The database failing.
    pub async fn counts(&self) -> Result<(i64, i64), StoreError> {
        Ok(sqlx::query_as(
            "select coalesce(sum(case when status = 'open' then 1 else 0 end), 0), \
             coalesce(sum(case when status = 'closed' then 1 else 0 end), 0) from incident",
        )
        .fetch_one(&self.read)
        .await?)
    }

    /// The newest revision of every incident, by number.
    ///
    /// # Errors
    /// The database failing.
    pub async fn present_revisions(&self) -> Result<Vec<(i64, i64)>, StoreError> {
        Ok(
            sqlx::query_as("select number, revision from incident order by number")
                .fetch_all(&self.read)
                .await?,
        )
    }

    fn announce(&self, seq: i64) {
        self.written.send_replace(seq);
    }
}

/// Many reports on their way into the store. Dropped without [`BulkFiling::commit`],
/// none of them is stored.
///
/// The write lock is held from the start, so the counters are kept here and written once,
/// and rows go in by the hundred: one statement for each would take longer than all else.
#[derive(Debug)]
pub struct BulkFiling {
    store: Store,
    tx: Transaction<'static, Sqlite>,
    journal: Journal,
    /// What makes the indexes that are made once all rows are there.
    put_off: Vec<String>,
    /// The last number given to an incident.
    incidents: i64,
    /// The last number given to a change.
    changes: i64,
    waiting: Vec<Waiting>,
    /// How many changes it has made.
    filed: i64,
}

impl BulkFiling {
    /// The last change before those of this filing.
    pub fn after(&self) -> i64 {
        self.changes - self.filed
    }

    /// The number that a report without one is given next.
    pub fn next_number(&self) -> i64 {
        self.incidents + 1
    }

    /// Adds a report and returns its number.
    ///
    /// # Errors
    /// [`StoreError::NumberTaken`], after which others can still be added; the database
    /// failing.
    pub async fn add(&mut self, filing: Filing) -> Result<i64, StoreError> {
        if let Some((site, tool)) = &filing.new_tool {
            add_site(&mut self.tx, site).await?;
            add_tool(&mut self.tx, tool).await?;
        }
        let row = Row::of(&filing)?;
        self.put(row, filing.earlier, filing.calculations).await
    }

    /// Adds a report in its only state, as [`Row::of`] made it, of a tool the store knows.
    ///
    /// # Errors
    /// As [`BulkFiling::add`].
    pub async fn add_row(&mut self, row: Row) -> Result<i64, StoreError> {
        self.put(row, Vec::new(), Vec::new()).await
    }

    async fn put(
        &mut self,
        row: Row,
        earlier: Vec<Revision>,
        calculations: Vec<Calculation>,
    ) -> Result<i64, StoreError> {
        let number = match row.number {
            None => self.incidents + 1,
            // Above every number there ever was, so nobody has it.
            Some(number) if number > self.incidents => number,
            Some(number) => {
                let waiting = self.waiting.iter().any(|other| other.number == number);
                if waiting || taken(&mut self.tx, number).await? {
                    return Err(StoreError::NumberTaken(number));
                }
                number
            }
        };
        self.incidents = self.incidents.max(number);
        self.waiting.push(Waiting {
            number,
            row,
            earlier,
            calculations,
        });
        if self.waiting.len() == TOGETHER {
            self.write().await?;
        }
        Ok(number)
    }

    /// Makes everything added durable, and returns the last change.
    ///
    /// # Errors
    /// The database failing; nothing is stored then.
    pub async fn commit(mut self) -> Result<i64, StoreError> {
        self.write().await?;
        for index in std::mem::take(&mut self.put_off) {
            sqlx::query(sqlx::AssertSqlSafe(index))
                .execute(&mut *self.tx)
                .await?;
        }
        for (counter, value) in [("incident", self.incidents), ("change", self.changes)] {
            sqlx::query("update counter set value = $1 where name = $2")
                .bind(value)
                .bind(counter)
                .execute(&mut *self.tx)
                .await?;
        }
        keep_pages(&mut self.tx, CACHE).await?;
        self.tx.commit().await?;
        if self.journal == Journal::File {
            self.store.back_to_log().await;
        }
        if self.filed > 0 {
            self.store.announce(self.changes);
        }
        Ok(self.changes)
    }

    /// Stores nothing of it.
    ///
    /// # Errors
    /// The database failing; nothing is stored all the same.
    pub async fn give_up(self) -> Result<(), StoreError> {
        self.tx.rollback().await?;
        if self.journal == Journal::File {
            self.store.back_to_log().await;
        }
        Ok(())
    }

    /// Writes what waits.
    async fn write(&mut self) -> Result<(), StoreError> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let waiting = std::mem::take(&mut self.waiting);
        let count = waiting.len();
        let mut present = sqlx::query(rows_of(
            "incident (number, revision, tool, status, occurred_at, closed_at, cause, \
             healthy_pa, faulty_pa, restored_pa, labour_minutes, down_hours)",
            12,
            count,
        ));
        let mut revisions = sqlx::query(rows_of(
            "revision (number, revision, at, author, reason, record)",
            6,
            count,
        ));
        let mut changes = sqlx::query(rows_of("change (seq, number, revision)", 3, count));
        let first = self.changes + 1;
        let mut whole = Vec::new();
        for (waiting, seq) in waiting.into_iter().zip(first..) {
            let revision = waiting.revision();
            let number = waiting.number;
            let row = waiting.row;
            let [healthy, faulty, restored] = row.pascals;
            present = present
                .bind(number)
                .bind(revision)
                .bind(row.tool)
                .bind(row.status.id())
                .bind(row.occurred_at)
                .bind(row.closed_at)
                .bind(row.cause)
                .bind(healthy)
                .bind(faulty)
                .bind(restored)
                .bind(row.labour_minutes)
                .bind(row.down_hours);
            revisions = revisions
                .bind(number)
                .bind(revision)
                .bind(row.at)
                .bind(row.author)
                .bind(row.reason)
                .bind(row.record);
            changes = changes.bind(seq).bind(number).bind(revision);
            if !waiting.earlier.is_empty() || !waiting.calculations.is_empty() {
                whole.push((number, waiting.earlier, waiting.calculations));
            }
        }
        present.execute(&mut *self.tx).await?;
        for (number, earlier, calculations) in &whole {
            for revision in earlier {
                put_revision(&mut self.tx, *number, revision).await?;
            }
            for calculation in calculations {
                put_calculation(&mut self.tx, *number, calculation).await?;
            }
        }
        revisions.execute(&mut *self.tx).await?;
        changes.execute(&mut *self.tx).await?;
        let written = count as i64;
        self.changes += written;
        self.filed += written;
        Ok(())
    }
}

/// Takes away the indexes of incidents until many are there, and says what makes them again: made
/// at once they are sorted, while row by row each puts a page anywhere in the file out of its place.
async fn put_off_indexes(connection: &mut SqliteConnection) -> Result<Vec<String>, StoreError> {
    let indexes: Vec<(String, String)> = sqlx::query_as(
        "select name, sql from sqlite_master \
         where type = 'index' and tbl_name = 'incident' and sql is not null order by name",
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut makes_again = Vec::with_capacity(indexes.len());
    for (name, makes) in indexes {
        let drops = format!("drop index {name}");
        sqlx::query(sqlx::AssertSqlSafe(drops))
            .execute(&mut *connection)
            .await?;
        makes_again.push(makes);
    }
    Ok(makes_again)
}

/// The statement that puts so many rows of so many columns into a table. Placeholders have no
/// numbers: SQLite would look each of thousands up among all.
fn rows_of(table: &str, columns: usize, rows: usize) -> sqlx::AssertSqlSafe<String> {
    let row = format!("({}?)", "?,".repeat(columns.saturating_sub(1)));
    let others = format!(",{row}").repeat(rows.saturating_sub(1));
    sqlx::AssertSqlSafe(format!("insert into {table} values {row}{others}"))
}

/// How many KiB of pages a connection keeps before it writes them.
async fn keep_pages(connection: &mut SqliteConnection, kib: i64) -> Result<(), sqlx::Error> {
    sqlx::query(sqlx::AssertSqlSafe(format!("pragma cache_size = -{kib}")))
        .execute(connection)
        .await?;
    Ok(())
}

async fn counted(connection: &mut SqliteConnection, counter: &str) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("select value from counter where name = $1")
        .bind(counter)
        .fetch_one(connection)
        .await
}

async fn taken(connection: &mut SqliteConnection, number: i64) -> Result<bool, sqlx::Error> {
    let taken: Option<i64> = sqlx::query_scalar("select number from incident where number = $1")
        .bind(number)
        .fetch_optional(connection)
        .await?;
    Ok(taken.is_some())
}

fn pascals(typed: Option<TypedPressure>) -> Option<f64> {
    Some(typed?.pressure().ok()?.pascals())
}

async fn file_one(
    connection: &mut SqliteConnection,
    filing: &Filing,
) -> Result<(i64, i64), StoreError> {
    if let Some((site, tool)) = &filing.new_tool {
        add_site(connection, site).await?;
        add_tool(connection, tool).await?;
    }
    let number = match filing.number {
        None => next(connection, "incident").await?,
        Some(number) => {
            if taken(connection, number).await? {
                return Err(StoreError::NumberTaken(number));
            }
            sqlx::query(
                "update counter set value = case when value < $1 then $1 else value end \
                 where name = 'incident'",
            )
            .bind(number)
            .execute(&mut *connection)
            .await?;
            number
        }
    };
    let newest = Revision {
        revision: filing.earlier.len() as i64 + 1,
        at: filing.at,
        author: filing.author.clone(),
        reason: filing.reason.clone(),
        incident: filing.incident.clone(),
    };
    put_present(connection, number, newest.revision, &newest.incident).await?;
    for revision in filing.earlier.iter().chain([&newest]) {
        put_revision(connection, number, revision).await?;
    }
    for calculation in &filing.calculations {
        put_calculation(connection, number, calculation).await?;
    }
    let seq = put_change(connection, number, newest.revision).await?;
    Ok((number, seq))
}

async fn put_present(
    connection: &mut SqliteConnection,
    number: i64,
    revision: i64,
    incident: &Incident,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "insert into incident (number, revision, tool, status, occurred_at, closed_at, cause, \
         healthy_pa, faulty_pa, restored_pa, labour_minutes, down_hours) \
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12) \
         on conflict (number) do update set revision = excluded.revision, tool = excluded.tool, \
         status = excluded.status, occurred_at = excluded.occurred_at, \
         closed_at = excluded.closed_at, cause = excluded.cause, \
         healthy_pa = excluded.healthy_pa, faulty_pa = excluded.faulty_pa, \
         restored_pa = excluded.restored_pa, labour_minutes = excluded.labour_minutes, \
         down_hours = excluded.down_hours",
    )
    .bind(number)
    .bind(revision)
    .bind(incident.tool.as_str())
    .bind(incident.status.id())
    .bind(incident.occurred_at.as_microsecond())
    .bind(incident.closed_at.map(Timestamp::as_microsecond))
    .bind(incident.cause.as_ref().map(|cause| cause.id().to_owned()))
    .bind(pascals(incident.pressures.healthy))
    .bind(pascals(incident.pressures.faulty))
    .bind(pascals(incident.pressures.restored))
    .bind(incident.labour_minutes)
    .bind(incident.down_hours)
    .execute(connection)
    .await?;
    Ok(())
}

async fn put_revision(
    connection: &mut SqliteConnection,
    number: i64,
    revision: &Revision,
) -> Result<(), sqlx::Error> {
    let record = serde_json::to_string(&revision.incident).map_err(encode)?;
    sqlx::query(
        "insert into revision (number, revision, at, author, reason, record) \
         values ($1, $2, $3, $4, $5, $6)",
    )
    .bind(number)
    .bind(revision.revision)
    .bind(revision.at.as_microsecond())
    .bind(&revision.author)
    .bind(&revision.reason)
    .bind(record)
    .execute(connection)
    .await?;
    Ok(())
}

async fn put_change(
    connection: &mut SqliteConnection,
    number: i64,
    revision: i64,
) -> Result<i64, sqlx::Error> {
    // Last in the transaction: on a database with many writers the counter's row is
    // what they queue for.
    let seq = next(connection, "change").await?;
    sqlx::query("insert into change (seq, number, revision) values ($1, $2, $3)")
        .bind(seq)
        .bind(number)
        .bind(revision)
        .execute(connection)
        .await?;
    Ok(seq)
}
