//! One index: searching it, writing to it with the position that brings it to, and telling
//! whether its files are whole. Which folder it lies in is [`crate::search::indexed::shelf`]'s matter.

use std::{
    fs,
    path::{Path, PathBuf},
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, AtomicI64, Ordering},
        mpsc::Receiver,
    },
};

use serde::{Deserialize, Serialize};
use tantivy::{
    Index, IndexReader, IndexWriter, ReloadPolicy, Searcher, TantivyDocument, Term,
    directory::{MmapDirectory, error::LockError},
    index::SegmentComponent,
    indexer::{IndexWriterOptions, UserOperation},
    tokenizer::TextAnalyzer,
};

use super::{
    digest::Digest,
    kept::{Kept, Wait},
    schema::{DIGEST, Fields, schema},
    vocabulary::Vocabulary,
};
use crate::search::{
    Entry, SearchError,
    ranking::{learning::Learning, rough::Roughs},
    reading::analysis::{self, Analysis, split},
};

/// Memory one writing thread gathers documents in before it writes a segment, in bytes, while
/// searches are served.
pub(in crate::search) const SERVING_MEMORY: usize = 64 << 20;

/// The same where a file is taken in: fewer segments have to be merged.
pub(in crate::search) const FILLING_MEMORY: usize = 256 << 20;

/// Documents handed to the writing thread at once. It is woken for each lot, but may fall ten
/// thousand lots behind, all of them in memory.
const HANDED: usize = 4;

/// The words of so much of a search, in bytes, are looked up in the index.
const LONGEST_ASKED: usize = 8_000;

/// So many segments are left as they are after a file was taken in: looking into each costs a search
/// little, merging them a seventh of the time of the import.
const FEW_SEGMENTS: usize = 8;

/// One thread merges segments, so that searches keep the other processors.
const MERGING_THREADS: usize = 1;

/// How far the index has followed the store; stored in the index's own commit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reached {
    /// Which store it is a copy of.
    pub identity: i64,
    /// What the names of causes, signs and classes in it were taken from.
    pub names: u64,
    /// The last change that is in it.
    pub seq: i64,
    /// Whether it once held everything there was; before that it is still being filled.
    pub whole: bool,
}

/// The position with a sum over it, so that a flipped digit is noticed.
#[derive(Serialize, Deserialize)]
struct Payload {
    #[serde(flatten)]
    reached: Reached,
    sum: u64,
}

/// What the index holds of an incident, for comparing it with the store.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Held {
    /// Its number.
    pub number: i64,
    /// The revision it was made from.
    pub revision: i64,
    /// [`Entry::digest`] of what was indexed.
    pub digest: u64,
}

/// An incident as it is put into an index.
#[derive(Debug)]
pub struct Prepared {
    number: i64,
    document: TantivyDocument,
}

impl Prepared {
    /// The number of the incident.
    pub fn number(&self) -> i64 {
        self.number
    }
}

/// An index opened for searching, and for writing where this process may.
pub struct SearchIndex {
    pub(in crate::search) fields: Fields,
    pub(in crate::search) reader: IndexReader,
    pub(in crate::search) analysis: Analysis,
    vocabulary: Kept<Vocabulary>,
    learning: Kept<Learning>,
    pub(in crate::search) roughs: Roughs,
    index: Index,
    writer: Option<Mutex<Option<IndexWriter>>>,
    folder: Option<PathBuf>,
    /// No incident with a higher number was ever put in.
    highest: AtomicI64,
    /// Set once another index has taken its place: its folder goes with it.
    retired: AtomicBool,
}

impl std::fmt::Debug for SearchIndex {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SearchIndex")
            .field("documents", &self.reader.searcher().num_docs())
            .finish_non_exhaustive()
    }
}

impl Drop for SearchIndex {
    fn drop(&mut self) {
        if let Some(folder) = &self.folder
            && self.retired.load(Ordering::Relaxed)
            && let Err(error) = fs::remove_dir_all(folder)
        {
            tracing::warn!(%error, folder = %folder.display(), "an old search index could not be deleted");
        }
    }
}

impl SearchIndex {
    /// Opens the index in `folder` for writing as well, or begins an empty one there.
    pub(in crate::search) fn open_or_begin(
        folder: &Path,
        analysis: Analysis,
        memory: usize,
    ) -> Result<Self, SearchError> {
        let index = Index::open_or_create(directory(folder)?, schema().0)?;
        Self::with(index, Some(folder), Some(memory), analysis)
    }

    /// Opens the index in `folder` for reading only.
    pub(in crate::search) fn open_to_read(
        folder: &Path,
        analysis: Analysis,
    ) -> Result<Self, SearchError> {
        Self::with(
            Index::open(directory(folder)?)?,
            Some(folder),
            None,
            analysis,
        )
    }

    /// An index in memory.
    pub(in crate::search) fn in_memory(analysis: Analysis) -> Result<Self, SearchError> {
        let index = Index::create_in_ram(schema().0);
        Self::with(index, None, Some(SERVING_MEMORY), analysis)
    }

    fn with(
        index: Index,
        folder: Option<&Path>,
        memory: Option<usize>,
        analysis: Analysis,
    ) -> Result<Self, SearchError> {
        let tokenizer = TextAnalyzer::from(analysis::Handed::default());
        index.tokenizers().register(analysis::NAME, tokenizer);
        let reader = index
            .reader_builder()
            .reload_policy(if memory.is_some() {
                ReloadPolicy::Manual
            } else {
                ReloadPolicy::OnCommitWithDelay
            })
            .try_into()?;
        let writer = if let Some(memory) = memory {
            let options = IndexWriterOptions::builder()
                .num_worker_threads(1)
                .memory_budget_per_thread(memory)
                .num_merge_threads(MERGING_THREADS)
                .build();
            match index.writer_with_options(options) {
                Ok(writer) => Some(Mutex::new(Some(writer))),
                Err(tantivy::TantivyError::LockFailure(LockError::LockBusy, _)) => {
                    return Err(SearchError::Busy);
                }
                Err(error) => return Err(error.into()),
            }
        } else {
            None
        };
        let highest = highest(&reader.searcher()).unwrap_or(i64::MAX);
        Ok(Self {
            fields: schema().1,
            highest: AtomicI64::new(highest),
            reader,
            analysis,
            vocabulary: Kept::default(),
            learning: Kept::default(),
            roughs: Roughs::default(),
            index,
            writer,
            folder: folder.map(Path::to_owned),
            retired: AtomicBool::new(false),
        })
    }

    /// Says that another index has taken its place: its folder is deleted once the last
    /// search on it ends.
    pub fn retire(&self) {
        self.retired.store(true, Ordering::Relaxed);
    }

    /// Where it lies; none in memory.
    pub(in crate::search) fn folder(&self) -> Option<&Path> {
        self.folder.as_deref()
    }

    /// The words of the fleet.
    pub(in crate::search) fn vocabulary(
        &self,
        searcher: &Searcher,
    ) -> Result<Arc<Vocabulary>, SearchError> {
        let (fields, list) = (self.fields, self.analysis.shared_list());
        self.vocabulary
            .current(searcher, Wait::Always, move |searcher| {
                Vocabulary::new(searcher, &fields, &list)
            })
    }

    /// The same for a search: with the words of what was filed since, and with whatever of the search a
    /// case holds.
    pub(in crate::search) fn vocabulary_for(
        &self,
        searcher: &Searcher,
        typed: &str,
    ) -> Result<Arc<Vocabulary>, SearchError> {
        let made = self.vocabulary(searcher)?;
        let end = typed.floor_char_boundary(typed.len().min(LONGEST_ASKED));
        let asked = split(&typed[..end], &[]);
        let held = |stem: &str| self.frequency(searcher, stem);
        match made.grown(searcher, &self.fields, &asked, held)? {
            None => Ok(made),
            Some(grown) => {
                let grown = Arc::new(grown);
                self.vocabulary.amend(&made, &grown);
                Ok(grown)
            }
        }
    }

    /// What the fleet's own cases teach.
    pub(in crate::search) fn learning(
        &self,
        searcher: &Searcher,
    ) -> Result<Arc<Learning>, SearchError> {
        self.learning.current(searcher, Wait::Few, Learning::new)
    }

    /// How far the index on disk has followed the store; nowhere, if that cannot be told.
    ///
    /// # Errors
    /// An index that cannot be read.
    pub fn reached(&self) -> Result<Reached, SearchError> {
        Ok(reached(&self.index)?)
    }

    /// How many incidents can be found.
    pub fn count(&self) -> u64 {
        self.reader.searcher().num_docs()
    }

    /// Puts entries in place of what the index holds of those incidents. They can be found
    /// and are kept once [`SearchIndex::commit`] returns.
    ///
    /// # Errors
    /// [`SearchError::Busy`] when opened for reading only; the search library failing,
    /// in which case nothing since the last commit is in the index.
    pub fn add(&self, entries: &[Entry]) -> Result<(), SearchError> {
        self.put(entries.iter().map(|entry| self.prepare(entry)))
    }

    /// Brings an entry into the form in which it is put in, which takes most of the time.
    pub fn prepare(&self, entry: &Entry) -> Prepared {
        Prepared {
            number: entry.number,
            document: entry.document(&self.fields, &self.analysis),
        }
    }

    /// As [`SearchIndex::add`], with entries that were prepared for this index.
    ///
    /// # Errors
    /// As [`SearchIndex::add`].
    pub fn put(&self, entries: impl IntoIterator<Item = Prepared>) -> Result<(), SearchError> {
        self.write(|writer, fields| {
            let mut together = Vec::with_capacity(2 * HANDED);
            for Prepared { number, document } in entries {
                let highest = self.highest.fetch_max(number, Ordering::Relaxed);
                if number <= highest {
                    let term = Term::from_field_i64(fields.number, number);
                    together.push(UserOperation::Delete(term));
                }
                together.push(UserOperation::Add(document));
                if together.len() >= HANDED {
                    writer.run(together.drain(..))?;
                }
            }
            writer.run(together)?;
            Ok(())
        })
    }

    /// Keeps what was added, together with the position that brings the index to.
    ///
    /// # Errors
    /// As [`SearchIndex::add`].
    pub fn commit(&self, reached: Reached) -> Result<(), SearchError> {
        self.write(|writer, _| {
            let mut prepared = writer.prepare_commit()?;
            prepared.set_payload(&payload(reached));
            prepared.commit().map(|_| ())
        })?;
        self.reader.reload()?;
        Ok(())
    }

    /// Brings what was added onto the disk at once, and keeps it once it is told the position that
    /// brings the index to. Told that there is none, or nothing, it forgets it.
    ///
    /// # Errors
    /// As [`SearchIndex::add`].
    pub(crate) fn commit_once_told(
        &self,
        told: &Receiver<Option<Reached>>,
    ) -> Result<(), SearchError> {
        let early = told.try_recv();
        if matches!(early, Ok(None)) {
            return self.forget();
        }
        self.write(|writer, _| {
            let mut prepared = writer.prepare_commit()?;
            let reached = match early {
                Ok(reached) => reached,
                Err(_) => told.recv().unwrap_or_default(),
            };
            match reached {
                Some(reached) => {
                    prepared.set_payload(&payload(reached));
                    prepared.commit().map(|_| ())
                }
                None => prepared.abort().map(|_| ()),
            }
        })?;
        self.reader.reload()?;
        Ok(())
    }

    /// Forgets what was added since the last commit.
    ///
    /// # Errors
    /// As [`SearchIndex::add`].
    pub fn forget(&self) -> Result<(), SearchError> {
        self.write(|writer, _| writer.rollback().map(|_| ()))
    }

    /// Merges all segments into one where a file that was taken in left many: every search looks
    /// into each of them.
    ///
    /// # Errors
    /// As [`SearchIndex::add`].
    pub fn gather(&self) -> Result<(), SearchError> {
        let segments = self.index.searchable_segment_ids()?;
        if segments.len() > FEW_SEGMENTS {
            self.write(|writer, _| writer.merge(&segments).wait().map(|_| ()))?;
            self.reader.reload()?;
        }
        Ok(())
    }

    fn write(
        &self,
        change: impl FnOnce(&mut IndexWriter, &Fields) -> tantivy::Result<()>,
    ) -> Result<(), SearchError> {
        let writer = self.writer.as_ref().ok_or(SearchError::Busy)?;
        let mut kept = writer.lock().unwrap_or_else(PoisonError::into_inner);
        let writer = kept.as_mut().ok_or(SearchError::Broken)?;
        if let Err(error) = change(writer, &self.fields) {
            if writer.rollback().is_err() {
                // A writer that cannot even go back is of no further use.
                *kept = None;
            }
            return Err(error.into());
        }
        Ok(())
    }

    /// The files that are missing or no longer as they were written.
    ///
    /// # Errors
    /// An index whose list of files cannot be read.
    pub fn damage(&self) -> Result<Vec<String>, SearchError> {
        let look = || match &self.folder {
            // Opened anew, so that reading every file leaves none of it in the memory of this one.
            Some(folder) => Ok::<_, SearchError>(damage(&look_at(folder)?)?),
            None => Ok(damage(&self.index)?),
        };
        let mut damaged = look()?;
        if !damaged.is_empty() {
            // Segments that were merged meanwhile took their files with them.
            let again = look()?;
            damaged.retain(|file| again.contains(file));
        }
        Ok(damaged.into_iter().map(|(_, file)| file).collect())
    }

    /// What the index holds of every incident, in no order.
    ///
    /// # Errors
    /// An index that cannot be read.
    pub fn contents(&self) -> Result<Vec<Held>, SearchError> {
        let searcher = self.reader.searcher();
        let mut contents = Vec::new();
        for segment in searcher.segment_readers() {
            let columns = segment.fast_fields();
            let (numbers, revisions) = (columns.i64("number")?, columns.i64("revision")?);
            let digests = columns.u64(DIGEST)?;
            for document in segment.doc_ids_alive() {
                if let (Some(number), Some(revision)) =
                    (numbers.first(document), revisions.first(document))
                {
                    contents.push(Held {
                        number,
                        revision,
                        digest: digests.first(document).unwrap_or_default(),
                    });
                }
            }
        }
        Ok(contents)
    }
}

/// The highest number of an incident in any segment, taken out or not.
fn highest(searcher: &Searcher) -> tantivy::Result<i64> {
    let mut highest = 0;
    for segment in searcher.segment_readers() {
        highest = highest.max(segment.fast_fields().i64("number")?.max_value());
    }
    Ok(highest)
}

/// Opens the index in a folder just to look at it.
pub(in crate::search) fn look_at(folder: &Path) -> Result<Index, SearchError> {
    Ok(Index::open(directory(folder)?)?)
}

/// How far an index has followed its store; nowhere, if that cannot be told.
pub(in crate::search) fn reached(index: &Index) -> tantivy::Result<Reached> {
    let kept = index.load_metas()?.payload;
    Ok(kept
        .and_then(|text| serde_json::from_str::<Payload>(&text).ok())
        .filter(|kept| kept.sum == sum(kept.reached))
        .map(|kept| kept.reached)
        .unwrap_or_default())
}

/// The files of an index that are missing or no longer as they were written, each with the
/// segment it belongs to.
pub(in crate::search) fn damage(index: &Index) -> tantivy::Result<Vec<(String, String)>> {
    let mut damaged = Vec::new();
    for segment in index.searchable_segment_metas()? {
        let deletes = segment.has_deletes().then_some(SegmentComponent::Delete);
        let needed = [
            SegmentComponent::Terms,
            SegmentComponent::Postings,
            SegmentComponent::Positions,
            SegmentComponent::FastFields,
            SegmentComponent::FieldNorms,
            SegmentComponent::Store,
        ];
        for component in needed.into_iter().chain(deletes) {
            let file = segment.relative_path(component);
            if !index.directory().validate_checksum(&file).unwrap_or(false) {
                damaged.push((segment.id().uuid_string(), file.display().to_string()));
            }
        }
    }
    Ok(damaged)
}

/// A position as the index keeps it.
pub(in crate::search) fn payload(reached: Reached) -> String {
    let sum = sum(reached);
    serde_json::to_string(&Payload { reached, sum }).unwrap_or_default()
}

fn sum(reached: Reached) -> u64 {
    let mut digest = Digest::default();
    for number in [
        reached.identity.to_le_bytes(),
        reached.names.to_le_bytes(),
        reached.seq.to_le_bytes(),
        u64::from(reached.whole).to_le_bytes(),
    ] {
        digest.bytes(&number);
    }
    digest.sum()
}

fn directory(folder: &Path) -> Result<MmapDirectory, SearchError> {
    MmapDirectory::open(folder).map_err(|error| SearchError::Index(error.into()))
}
