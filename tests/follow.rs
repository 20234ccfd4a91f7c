//! The follower with an index on disk: rebuilt beside the old one, which answers meanwhile.

use std::{
    fs,
    io::Write,
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};

use coldtrap::{
    casebook::{Asker, Tool},
    catalogue::{Catalogue, source},
    follow::Follower,
    intake::{self, Wish},
    knowledge::Knowledge,
    search::{Entry, IndexInUse, Reached, Request, SearchError, Shelf, Standing, Why},
    store::Store,
};
use jiff::Timestamp;
use serde_json::json;
use tempfile::TempDir;

use crate::support::record;

struct Fleet {
    folder: TempDir,
    store: Store,
    catalogue: Arc<Catalogue>,
}

impl Fleet {
    async fn new() -> Self {
        let folder = TempDir::new().expect("a folder");
        let url = format!("sqlite://{}", folder.path().join("store.db").display());
        Self {
            store: Store::open(&url).await.expect("a store"),
            catalogue: Arc::new(source::built_in().expect("the catalogue")),
            folder,
        }
    }

    /// One whose index holds 30 incidents of one word and 90 of another, each in a segment of its own.
    async fn in_two_batches() -> (Self, Follower) {
        let fleet = Self::new().await;
        let mut follower = fleet.follower().await;
        for (word, count) in [("heathfern", 30), ("saltmarsh", 90)] {
            fleet.take(word, count).await;
            follower.catch_up().await.expect("followed");
        }
        (fleet, follower)
    }

    async fn take(&self, word: &str, count: usize) {
        let rows: String = (0..count)
            .map(|n| record::with("symptom", json!(format!("{word} number{n}"))).to_string() + "\n")
            .collect();
        let report = intake::take(
            &self.store,
            &self.catalogue,
            rows.as_bytes(),
            Wish::default(),
            Timestamp::now(),
            |row| panic!("refused: {row}"),
            |_| {},
        )
        .await
        .expect("taken");
        assert!(report.stored);
    }

    async fn follower(&self) -> Follower {
        Follower::new(
            self.store.clone(),
            Shelf::open(&self.data()).expect("the shelf"),
            Arc::new(Knowledge::new(&self.catalogue).expect("knowledge")),
            Arc::clone(&self.catalogue),
        )
        .await
        .expect("a follower")
    }

    /// Brings the first incidents into the index that is to be filled, as a process does that is killed
    /// after its first commit.
    async fn fill_half(&self, count: i64) {
        let identity = self.store.identity().await.expect("a store");
        let last = self.store.last_change().await.expect("a store");
        let shelf = Shelf::open(&self.data()).expect("the shelf");
        let standing = Standing::new(identity, last, &self.catalogue);
        let found = shelf.find(standing).expect("an index to fill");
        assert_eq!(found.reached.seq, 0);
        let tools = self.store.tools(&Asker::console()).await.expect("tools");
        let filed = self.store.filed_after(0, count).await.expect("incidents");
        let entries = filed.iter().map(|filed| {
            let now = filed.current();
            let of_case = |tool: &&Tool| tool.id == now.incident.tool;
            let tool = tools.iter().find(of_case).expect("its tool");
            Entry::new(
                filed.number,
                now.revision,
                &now.incident,
                tool,
                &self.catalogue,
            )
        });
        let entries: Vec<_> = entries.collect();
        found.target.add(&entries).expect("added");
        let reached = Reached {
            seq: count,
            whole: false,
            ..found.reached
        };
        found.target.commit(reached).expect("committed");
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    fn indexes(&self) -> Vec<PathBuf> {
        let mut found: Vec<_> = fs::read_dir(self.data())
            .expect("the folder")
            .map(|entry| entry.expect("an entry").path())
            .filter(|path| path.is_dir())
            .collect();
        found.sort();
        found
    }
}

fn total(index: &IndexInUse, word: &str) -> Result<usize, SearchError> {
    let request = Request {
        text: word.to_owned(),
        limit: 5,
        ..Request::default()
    };
    let answer = index.current().search(&Asker::console(), &request)?;
    Ok(answer.total)
}

/// How many cases hold the words of the two batches.
fn totals(index: &IndexInUse) -> (usize, usize) {
    let held = |word: &str| total(index, word).expect("an answer");
    (held("heathfern"), held("saltmarsh"))
}

/// Flips a bit in one file of the kind: the segment with the second batch.
fn flip_one(index: &Path, kind: &str) {
    let mut files: Vec<_> = fs::read_dir(index)
        .expect("the index")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|own| own == kind))
        .collect();
    files.sort_by_key(|file| fs::metadata(file).expect("the file").len());
    let file = files.last().expect("a file");
    let mut bytes = fs::read(file).expect("the file");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    // In its place, since the file may be open.
    let mut open = fs::File::options()
        .write(true)
        .open(file)
        .expect("a file to write");
    open.write_all(&bytes).expect("written");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_index_answers_with_what_is_whole_until_the_new_one_takes_its_place() {
    let (fleet, follower) = Fleet::in_two_batches().await;
    drop(follower);
    let before = fleet.indexes();
    assert_eq!(before.len(), 1, "{before:?}");
    flip_one(&before[0], "pos");

    let mut follower = fleet.follower().await;
    let progress = *follower.progress().borrow();
    assert_eq!(progress.filling, Some(Why::Damaged));
    assert!(progress.old_serves && !progress.caught_up);
    let index = follower.index();
    assert_eq!(totals(&index), (30, 0));
    assert_eq!(fleet.indexes().len(), 2);

    let stop = Arc::new(AtomicBool::new(false));
    let (searched, stopped) = (index.clone(), Arc::clone(&stop));
    let searching = std::thread::spawn(move || {
        let mut answers = 0;
        while !stopped.load(Ordering::Relaxed) {
            let found = total(&searched, "heathfern").expect("an answer while it is rebuilt");
            assert_eq!(found, 30);
            answers += 1;
        }
        answers
    });
    follower.catch_up().await.expect("followed");
    assert_eq!(total(&index, "saltmarsh").expect("an answer"), 90);
    stop.store(true, Ordering::Relaxed);
    assert!(searching.join().expect("no search failed") > 0);
    let progress = *follower.progress().borrow();
    assert!(progress.caught_up && progress.filling.is_none());
    let after = fleet.indexes();
    assert_eq!(after.len(), 1, "{after:?}");
    assert_ne!(after, before);
}

/// Where the old index cannot be read at all, the new one answers with what it has.
#[tokio::test]
async fn an_index_that_cannot_be_read_leaves_the_searches_to_the_new_one() {
    let fleet = Fleet::new().await;
    let mut follower = fleet.follower().await;
    fleet.take("heathfern", 30).await;
    follower.catch_up().await.expect("followed");
    drop(follower);
    fs::write(fleet.indexes()[0].join("meta.json"), b"{ damaged").expect("written");
    let mut follower = fleet.follower().await;
    let progress = *follower.progress().borrow();
    assert_eq!(progress.filling, Some(Why::Damaged));
    assert!(!progress.old_serves && !progress.caught_up);
    let index = follower.index();
    assert_eq!(total(&index, "heathfern").expect("an answer"), 0);
    follower.catch_up().await.expect("followed");
    assert_eq!(total(&index, "heathfern").expect("an answer"), 30);
    assert_eq!(fleet.indexes().len(), 1);
}

#[tokio::test]
async fn what_was_rebuilt_half_is_gone_on_with_and_a_mended_index_is_not_taken_for_whole() {
    let (fleet, follower) = Fleet::in_two_batches().await;
    drop(follower);
    flip_one(&fleet.indexes()[0], "fast");
    // Begun, and ended before anything was done.
    for _ in 0..3 {
        let follower = fleet.follower().await;
        assert_eq!(follower.progress().borrow().filling, Some(Why::Damaged));
        assert_eq!(fleet.indexes().len(), 2);
        drop(follower);
    }
    let mut follower = fleet.follower().await;
    follower.catch_up().await.expect("followed");
    assert_eq!(
        total(&follower.index(), "saltmarsh").expect("an answer"),
        90
    );
    drop(follower);
    let follower = fleet.follower().await;
    assert_eq!(follower.progress().borrow().filling, None);
    assert_eq!(fleet.indexes().len(), 1);
}

/// Damage to an index that is being served is noticed as soon as it is doubted, and so is the next, soon
/// after: until the new index is whole the undamaged part answers.
#[tokio::test(flavor = "multi_thread")]
async fn damage_while_serving_is_noticed_each_time() {
    let (fleet, follower) = Fleet::in_two_batches().await;
    let (index, mut progress) = (follower.index(), follower.progress());
    let (stop, stopped) = tokio::sync::watch::channel(false);
    let following = tokio::spawn(follower.run(stopped));
    for _ in 0..2 {
        let before = index.current();
        let newest = fleet.indexes().pop().expect("an index");
        flip_one(&newest, "idx");
        index.doubt();
        let patience = Duration::from_secs(5);
        assert!(
            index.replaced(&before, patience).await,
            "nothing was noticed"
        );
        assert!(total(&index, "heathfern").is_ok());
        let whole = progress.wait_for(|p| p.caught_up && p.filling.is_none());
        let whole = tokio::time::timeout(patience, whole).await;
        let _ = *whole.expect("rebuilt").expect("still followed");
        assert_eq!(totals(&index), (30, 90));
    }
    stop.send_replace(true);
    following.await.expect("it ends");
    assert_eq!(fleet.indexes().len(), 1);
}

/// A process that ended while it followed leaves an index that holds a part of the store: it answers with
/// that until it has the rest.
#[tokio::test]
async fn an_index_that_was_left_behind_answers_with_what_it_has() {
    let fleet = Fleet::new().await;
    let mut follower = fleet.follower().await;
    fleet.take("heathfern", 30).await;
    follower.catch_up().await.expect("followed");
    drop(follower);
    fleet.take("saltmarsh", 90).await;
    let mut follower = fleet.follower().await;
    let progress = *follower.progress().borrow();
    assert_eq!((progress.index, progress.filling), (30, None));
    assert!(!progress.caught_up);
    let index = follower.index();
    assert_eq!(totals(&index), (30, 0));
    follower.catch_up().await.expect("followed");
    assert_eq!(totals(&index), (30, 90));
}

/// One that was killed while an index was filled for the first time goes on where the last commit was,
/// and searches are answered with what is in.
#[tokio::test]
async fn an_index_filled_half_is_searched_and_gone_on_with() {
    let fleet = Fleet::new().await;
    fleet.take("heathfern", 30).await;
    fleet.take("saltmarsh", 90).await;
    fleet.fill_half(40).await;
    let mut follower = fleet.follower().await;
    let progress = *follower.progress().borrow();
    assert_eq!((progress.index, progress.filling), (40, Some(Why::Missing)));
    assert!(!progress.old_serves && !progress.caught_up);
    let index = follower.index();
    assert_eq!(totals(&index), (30, 10));
    let before = fleet.indexes();
    follower.catch_up().await.expect("followed");
    assert_eq!(totals(&index), (30, 90));
    assert_eq!(fleet.indexes(), before);
}

/// The same beside an old index: that one answers, with more than the new one has, until the new one is whole.
#[tokio::test]
async fn an_index_filled_half_beside_an_old_one_does_not_answer_before_it_is_whole() {
    let (fleet, follower) = Fleet::in_two_batches().await;
    drop(follower);
    // The segment of the second batch, so that the first can still be searched.
    flip_one(&fleet.indexes()[0], "idx");
    fleet.fill_half(20).await;
    let mut follower = fleet.follower().await;
    let progress = *follower.progress().borrow();
    assert_eq!((progress.index, progress.filling), (20, Some(Why::Damaged)));
    assert!(progress.old_serves && !progress.caught_up);
    let index = follower.index();
    assert_eq!(total(&index, "heathfern").expect("an answer"), 30);
    follower.catch_up().await.expect("followed");
    assert_eq!(totals(&index), (30, 90));
    assert_eq!(fleet.indexes().len(), 1);
}

#[tokio::test]
async fn a_store_put_back_to_an_earlier_state_gets_its_index_anew() {
    let fleet = Fleet::new().await;
    fleet.take("heathfern", 3).await;
    // A copy of the store as it is now, as a backup would be.
    let copy = fleet.folder.path().join("copy.db");
    let pool = sqlx::SqlitePool::connect(&format!(
        "sqlite://{}",
        fleet.folder.path().join("store.db").display()
    ))
    .await
    .expect("the store");
    sqlx::query("vacuum into $1")
        .bind(copy.display().to_string())
        .execute(&pool)
        .await
        .expect("copied");
    pool.close().await;
    fleet.take("saltmarsh", 3).await;
    let mut follower = fleet.follower().await;
    follower.catch_up().await.expect("followed");
    drop(follower);
    let earlier = Fleet {
        store: Store::open(&format!("sqlite://{}", copy.display()))
            .await
            .expect("the copy"),
        catalogue: Arc::clone(&fleet.catalogue),
        folder: fleet.folder,
    };
    let mut follower = earlier.follower().await;
    assert_eq!(follower.progress().borrow().filling, Some(Why::Ahead));
    follower.catch_up().await.expect("followed");
    let index = follower.index();
    assert_eq!(totals(&index), (3, 0));
}

#[tokio::test]
async fn only_one_process_writes() {
    let fleet = Fleet::new().await;
    let _follower = fleet.follower().await;
    let second = Shelf::open(&fleet.data());
    assert!(matches!(second, Err(SearchError::Busy)), "{second:?}");
}
