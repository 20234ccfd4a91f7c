//! The index on disk: opening, writing with its position, reading.

use std::{
    fs, io,
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError},
};

use serde::{Deserialize, Serialize};
use tantivy::{
    Index, IndexReader, IndexWriter, ReloadPolicy, Searcher, TantivyDocument, Term,
    directory::{MmapDirectory, error::LockError},
    schema::Value,
    tokenizer::TextAnalyzer,
};

use super::{
    Entry, SearchError,
    analysis::{self, Analysis},
    schema::{Fields, VERSION, schema},
    vocabulary::Vocabulary,
    words::WordList,
};

/// Memory one writing thread gathers documents in before it writes a segment, in bytes.
const WRITER_MEMORY: usize = 64 << 20;

/// How far the index has followed the store; stored in the index's own commit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reached {
    /// Which store it is a copy of.
    pub identity: i64,
    /// The last change that is in it.
    pub seq: i64,
}

/// An index opened for searching, and for writing where this process may.
pub struct SearchIndex {
    pub(super) fields: Fields,
    pub(super) reader: IndexReader,
    pub(super) analysis: Analysis,
    vocabulary: Mutex<Arc<Vocabulary>>,
    index: Index,
    writer: Option<Mutex<IndexWriter>>,
}

impl std::fmt::Debug for SearchIndex {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SearchIndex")
            .field("documents", &self.reader.searcher().num_docs())
            .finish_non_exhaustive()
    }
}

impl SearchIndex {
    /// Opens the index below `data`, for writing as well; one that is missing, damaged or
    /// of another version is begun anew, since the store can fill it again.
    ///
    /// # Errors
    /// [`SearchError::Busy`] when another process writes to it; a folder that cannot be used.
    pub fn open(data: &Path) -> Result<Self, SearchError> {
        let analysis = built_in()?;
        let folder = folder(data, &analysis)?;
        match Self::open_for_writing(&folder, &analysis) {
            Err(SearchError::Index(error)) => {
                tracing::warn!(%error, "the search index cannot be read and is begun anew");
                fs::remove_dir_all(&folder).map_err(|cause| unusable(&folder, cause))?;
                Self::open_for_writing(&crate::search::index::folder(data, &analysis)?, &analysis)
            }
            opened => opened,
        }
    }

    /// Opens the index below `data` for reading only, beside a process that writes to it.
    ///
    /// # Errors
    /// A missing or unreadable index.
    pub fn open_read_only(data: &Path) -> Result<Self, SearchError> {
        let analysis = built_in()?;
        let index = Index::open(directory(&folder(data, &analysis)?)?)?;
        Self::with(index, false, analysis)
    }

    /// An index in memory, for tests and trials.
    ///
    /// # Errors
    /// The search library failing.
    pub fn in_memory() -> Result<Self, SearchError> {
        Self::with(Index::create_in_ram(schema().0), true, built_in()?)
    }

    fn open_for_writing(folder: &Path, analysis: &Analysis) -> Result<Self, SearchError> {
        let index = Index::open_or_create(directory(folder)?, schema().0)?;
        Self::with(index, true, analysis.clone())
    }

    fn with(index: Index, writing: bool, analysis: Analysis) -> Result<Self, SearchError> {
        let tokenizer = TextAnalyzer::from(analysis.clone());
        index.tokenizers().register(analysis::NAME, tokenizer);
        let reader = index
            .reader_builder()
            .reload_policy(if writing {
                ReloadPolicy::Manual
            } else {
                ReloadPolicy::OnCommitWithDelay
            })
            .try_into()?;
        let writer = if writing {
            match index.writer_with_num_threads(1, WRITER_MEMORY) {
                Ok(writer) => Some(Mutex::new(writer)),
                Err(tantivy::TantivyError::LockFailure(LockError::LockBusy, _)) => {
                    return Err(SearchError::Busy);
                }
                Err(error) => return Err(error.into()),
            }
        } else {
            None
        };
        Ok(Self {
            fields: schema().1,
            reader,
            analysis,
            vocabulary: Mutex::default(),
            index,
            writer,
        })
    }

    /// The words of the fleet, gathered again once a twentieth of the cases is new.
    pub(super) fn vocabulary(&self, searcher: &Searcher) -> Result<Arc<Vocabulary>, SearchError> {
        let mut kept = self
            .vocabulary
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let cases = searcher.num_docs();
        if kept.cases == 0 || kept.cases.abs_diff(cases) > kept.cases / 20 {
            let fields = self.fields.texts().map(|(field, _)| field);
            *kept = Arc::new(Vocabulary::new(searcher, &fields, self.analysis.list())?);
        }
        Ok(Arc::clone(&kept))
    }

    /// How far the index on disk has followed the store.
    ///
    /// # Errors
    /// An index that cannot be read.
    pub fn reached(&self) -> Result<Reached, SearchError> {
        let payload = self.index.load_metas()?.payload;
        Ok(payload
            .and_then(|text| serde_json::from_str(&text).ok())
            .unwrap_or_default())
    }

    /// How many incidents can be found.
    pub fn count(&self) -> u64 {
        self.reader.searcher().num_docs()
    }

    /// Puts entries in place of what the index held of those incidents, and commits
    /// them together with the position they bring it to.
    ///
    /// # Errors
    /// [`SearchError::Busy`] when opened for reading only; the search library failing,
    /// in which case nothing of this call is in the index.
    pub fn put(&self, entries: &[Entry], reached: Reached) -> Result<(), SearchError> {
        self.commit(reached, |writer, fields| {
            for entry in entries {
                writer.delete_term(Term::from_field_i64(fields.number, entry.number));
                writer.add_document(entry.document(fields))?;
            }
            Ok(())
        })
    }

    /// Empties the index.
    ///
    /// # Errors
    /// As [`SearchIndex::put`].
    pub fn clear(&self, reached: Reached) -> Result<(), SearchError> {
        self.commit(reached, |writer, _| {
            writer.delete_all_documents().map(|_| ())
        })
    }

    fn commit(
        &self,
        reached: Reached,
        change: impl FnOnce(&mut IndexWriter, &Fields) -> tantivy::Result<()>,
    ) -> Result<(), SearchError> {
        let writer = self.writer.as_ref().ok_or(SearchError::Busy)?;
        let mut writer = writer.lock().unwrap_or_else(PoisonError::into_inner);
        let committed = change(&mut writer, &self.fields).and_then(|()| {
            let mut prepared = writer.prepare_commit()?;
            let payload = format!(
                "{{\"identity\":{},\"seq\":{}}}",
                reached.identity, reached.seq
            );
            prepared.set_payload(&payload);
            prepared.commit()
        });
        if let Err(error) = committed {
            writer.rollback()?;
            return Err(error.into());
        }
        drop(writer);
        self.reader.reload()?;
        Ok(())
    }

    /// Every incident the index holds with the revision it was made from, in no order.
    ///
    /// # Errors
    /// An index that cannot be read.
    pub fn contents(&self) -> Result<Vec<(i64, i64)>, SearchError> {
        let searcher = self.reader.searcher();
        let mut contents = Vec::new();
        for segment in searcher.segment_readers() {
            let store = segment.get_store_reader(1)?;
            for document in store.iter::<TantivyDocument>(segment.alive_bitset()) {
                let document = document?;
                let read = |field| document.get_first(field).and_then(|v| v.as_i64());
                if let (Some(number), Some(revision)) =
                    (read(self.fields.number), read(self.fields.revision))
                {
                    contents.push((number, revision));
                }
            }
        }
        Ok(contents)
    }
}

fn built_in() -> Result<Analysis, SearchError> {
    Ok(Analysis::new(Arc::new(WordList::built_in()?)))
}

/// Named by what the documents were made with, so that another version or word list finds
/// an empty folder and the store fills it.
fn folder(data: &Path, analysis: &Analysis) -> Result<PathBuf, SearchError> {
    let list = analysis.list().fingerprint();
    let folder = data.join(format!("index-{VERSION}-{list:016x}"));
    fs::create_dir_all(&folder).map_err(|cause| unusable(&folder, cause))?;
    Ok(folder)
}

fn directory(folder: &Path) -> Result<MmapDirectory, SearchError> {
    MmapDirectory::open(folder).map_err(|error| SearchError::Index(error.into()))
}

fn unusable(folder: &Path, cause: io::Error) -> SearchError {
    SearchError::Folder {
        path: folder.display().to_string(),
        cause,
    }
}
