//! The folder in which indexes lie side by side, and which of them is good for what.
//!
//! An index is named by what its documents are made with (version, word list) and by how
//! often it was begun anew. It counts once its own commit says that it is whole, so the
//! commit that makes a new index whole is what puts it in the old one's place, at one
//! stroke, whenever the process may be killed. One process at a time holds the lock that
//! allows writing; it ends with the process.

use std::{
    cmp::Reverse,
    fs::{self, File, TryLockError},
    io,
    path::{Path, PathBuf},
    sync::Arc,
};

use serde_json::Value;
use tantivy::Index;

use super::{
    document::names,
    index::{FILLING_MEMORY, SERVING_MEMORY, damage, look_at, payload, reached},
    schema::{VERSION, can_be_searched},
};
use crate::{
    catalogue::Catalogue,
    search::{
        Reached, SearchError, SearchIndex,
        reading::{analysis::Analysis, site, words::WordList},
    },
};

/// What every index folder's name begins with.
const PREFIX: &str = "index-";

/// The file whose lock allows writing.
const LOCK: &str = "index.lock";

/// A folder of indexes that this process may write to.
#[derive(Debug)]
pub struct Shelf {
    place: Place,
    analysis: Analysis,
    /// Memory that an index may gather documents in.
    memory: usize,
}

#[derive(Debug)]
enum Place {
    Folder {
        data: PathBuf,
        /// Held for as long as the shelf is.
        _lock: File,
    },
    Memory,
}

/// The store, as far as an index has to agree with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standing {
    /// Which store.
    pub identity: i64,
    /// Its last change.
    pub last: i64,
    /// The catalogue's names.
    pub names: u64,
}

/// Why an index has to be filled anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// There is none yet.
    Missing,
    /// Its files are not as they were written.
    Damaged,
    /// It is a copy of another store.
    Foreign,
    /// It is ahead of the store, which was put back to an earlier state.
    Ahead,
    /// It was made by another version, or with another word list or catalogue.
    Outdated,
}

impl Why {
    /// In words, after "the search index".
    pub fn told(self) -> &'static str {
        match self {
            Self::Missing => "is being filled for the first time",
            Self::Damaged => "was damaged and is being rebuilt",
            Self::Foreign => "was a copy of another store and is being rebuilt",
            Self::Ahead => "was ahead of the store and is being rebuilt",
            Self::Outdated => "is being rebuilt for this version, word list and catalogue",
        }
    }
}

/// What there is to go on with.
#[derive(Debug)]
pub struct Found {
    /// The index to bring up to date.
    pub target: Arc<SearchIndex>,
    /// How far it is.
    pub reached: Reached,
    /// An older one to search until that is done.
    pub old: Option<Arc<SearchIndex>>,
    /// Why it is being filled, unless it is whole.
    pub why: Option<Why>,
}

impl Standing {
    /// What a store with this catalogue asks of its index.
    pub fn new(identity: i64, last: i64, catalogue: &Catalogue) -> Self {
        Self {
            identity,
            last,
            names: names(catalogue),
        }
    }

    /// Where an index of this store begins.
    pub fn beginning(&self) -> Reached {
        Reached {
            identity: self.identity,
            names: self.names,
            seq: 0,
            whole: false,
        }
    }

    /// What is wrong with an index that has reached this, if anything.
    fn judge(&self, reached: Reached) -> Option<Why> {
        if reached == Reached::default() || reached.seq < 0 {
            // Nothing was ever committed, the position itself is damaged, or parts were left out.
            Some(Why::Damaged)
        } else if reached.identity != self.identity {
            Some(Why::Foreign)
        } else if reached.seq > self.last {
            Some(Why::Ahead)
        } else if reached.names != self.names {
            Some(Why::Outdated)
        } else {
            None
        }
    }
}

impl Shelf {
    /// The indexes below `data`, for writing, with the words a site keeps there.
    ///
    /// # Errors
    /// [`SearchError::Busy`] when another process writes to them; a folder that cannot be used.
    pub fn open(data: &Path) -> Result<Self, SearchError> {
        fs::create_dir_all(data).map_err(|cause| unusable(data, cause))?;
        let path = data.join(LOCK);
        let lock = File::options()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&path)
            .map_err(|cause| unusable(&path, cause))?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(SearchError::Busy),
            Err(TryLockError::Error(cause)) => return Err(unusable(&path, cause)),
        }
        Ok(Self {
            place: Place::Folder {
                data: data.to_owned(),
                _lock: lock,
            },
            analysis: site::analysis(data)?,
            memory: SERVING_MEMORY,
        })
    }

    /// The same with more memory for writing, where nothing is served beside it.
    #[must_use]
    pub fn for_filling(self) -> Self {
        Self {
            memory: FILLING_MEMORY,
            ..self
        }
    }

    /// One index in memory, for tests and trials.
    ///
    /// # Errors
    /// A word list that cannot be used.
    pub fn in_memory() -> Result<Self, SearchError> {
        Ok(Self {
            place: Place::Memory,
            analysis: built_in()?,
            memory: SERVING_MEMORY,
        })
    }

    /// Finds the index to go on with, and one to search meanwhile. Reads every file of it.
    ///
    /// # Errors
    /// A folder that cannot be used.
    pub fn find(&self, store: Standing) -> Result<Found, SearchError> {
        let Place::Folder { data, .. } = &self.place else {
            return self.anew(store, Why::Missing);
        };
        let own = Made::with(&self.analysis);
        let mut why = Why::Missing;
        let mut resumed = None;
        let mut old = None;
        for (made, folder) in folders(data)? {
            let judged = judge(&folder, store);
            let problem = match &judged {
                Ok((_, None)) if made.same_as(own) => None,
                Ok((_, None)) => Some(Why::Outdated),
                Ok((_, Some(why))) => Some(*why),
                Err(_) => Some(Why::Damaged),
            };
            if let Err(error) = &judged {
                tracing::warn!(%error, folder = %folder.display(), "a search index cannot be read");
            }
            let reached = judged.map_or(Reached::default(), |(reached, _)| reached);
            match problem {
                None if reached.whole => {
                    let target = self.to_write(&folder)?;
                    self.keep_only(&[&target]);
                    return Ok(Found {
                        target,
                        reached,
                        old: None,
                        why: None,
                    });
                }
                None => resumed = resumed.or(Some((folder, reached))),
                Some(problem) => {
                    if why == Why::Missing {
                        why = problem;
                    }
                    if old.is_none() && problem != Why::Foreign {
                        old = self.to_serve(&folder, made, store);
                    }
                }
            }
        }
        let mut found = match resumed {
            Some((folder, reached)) => Found {
                target: self.to_write(&folder)?,
                reached,
                old: None,
                why: Some(why),
            },
            None => self.anew(store, why)?,
        };
        found.old = old.map(Arc::new);
        Ok(found)
    }

    /// Begins an empty index beside those there are.
    ///
    /// # Errors
    /// A folder that cannot be used.
    pub fn anew(&self, store: Standing, why: Why) -> Result<Found, SearchError> {
        let target = match &self.place {
            Place::Memory => Arc::new(SearchIndex::in_memory(self.analysis.clone())?),
            Place::Folder { data, .. } => {
                let own = Made::with(&self.analysis);
                let last = folders(data)?.iter().map(|(made, _)| made.begun).max();
                let begun = last.map_or(0, |last| last + 1);
                let folder = data.join(Made { begun, ..own }.name());
                fs::create_dir_all(&folder).map_err(|cause| unusable(&folder, cause))?;
                self.to_write(&folder)?
            }
        };
        let reached = store.beginning();
        target.commit(reached)?;
        Ok(Found {
            target,
            reached,
            old: None,
            why: Some(why),
        })
    }

    /// Begins one beside an index of which files were found damaged. That is to be searched meanwhile as
    /// far as it is whole, opened anew; with nothing of it to be searched the new one is.
    ///
    /// # Errors
    /// A folder that cannot be used.
    pub fn beside_damaged(
        &self,
        damaged: &SearchIndex,
        store: Standing,
    ) -> Result<Found, SearchError> {
        let found = self.anew(store, Why::Damaged)?;
        let named = |folder: &Path| Made::from_name(folder.file_name()?.to_str()?);
        let old = damaged
            .folder()
            .and_then(|folder| self.to_serve(folder, named(folder)?, store));
        Ok(Found {
            old: old.map(Arc::new),
            ..found
        })
    }

    /// Deletes every index but these. One that is still searched goes when it is let go.
    pub fn keep_only(&self, kept: &[&SearchIndex]) {
        let Place::Folder { data, .. } = &self.place else {
            return;
        };
        for (_, folder) in folders(data).unwrap_or_default() {
            if kept
                .iter()
                .all(|index| index.folder() != Some(folder.as_path()))
                && let Err(error) = fs::remove_dir_all(&folder)
            {
                tracing::warn!(%error, folder = %folder.display(), "an old search index could not be deleted");
            }
        }
    }

    fn to_write(&self, folder: &Path) -> Result<Arc<SearchIndex>, SearchError> {
        SearchIndex::open_or_begin(folder, self.analysis.clone(), self.memory).map(Arc::new)
    }

    /// An index that is to be replaced, as far as it can still be searched: what of it is
    /// damaged is left out. Another word list numbers its meanings otherwise, so words alone
    /// are searched then.
    fn to_serve(&self, folder: &Path, made: Made, store: Standing) -> Option<SearchIndex> {
        let index = look_at(folder).or_else(|_| {
            fs::remove_file(folder.join(".managed.json"))?;
            look_at(folder)
        });
        let index = index.ok()?;
        let reached = reached(&index).ok()?;
        if reached.identity != store.identity || !reached.whole || !can_be_searched(&index.schema())
        {
            return None;
        }
        set_aside_damaged(folder, &index, reached).ok()?;
        let analysis = if made.list == self.analysis.list().fingerprint() {
            self.analysis.clone()
        } else {
            Analysis::default()
        };
        let index = SearchIndex::open_to_read(folder, analysis).ok()?;
        (index.count() > 0).then_some(index)
    }
}

impl SearchIndex {
    /// The index below `data` that is in use by the process that may write there, for
    /// reading beside it; none until one is whole.
    ///
    /// # Errors
    /// A folder or an index that cannot be read.
    pub fn beside_writer(data: &Path, store: Standing) -> Result<Option<Self>, SearchError> {
        let analysis = site::analysis(data)?;
        let own = Made::with(&analysis);
        for (made, folder) in folders(data)? {
            if made.same_as(own)
                && let Ok((reached, None)) = judge(&folder, store)
                && reached.whole
            {
                return Self::open_to_read(&folder, analysis).map(Some);
            }
        }
        Ok(None)
    }

    /// How far the index below `data` is that the process that may write there fills or has in use;
    /// nowhere, where there is none. Reads none of its files but the list of them.
    ///
    /// # Errors
    /// A folder that cannot be read.
    pub fn reached_beside(data: &Path, store: Standing) -> Result<Reached, SearchError> {
        let own = Made::with(&site::analysis(data)?);
        for (made, folder) in folders(data)? {
            // Files come and go beside a writer; one that cannot be read just now is looked at again.
            if made.same_as(own)
                && let Ok(index) = look_at(&folder)
                && let Ok(reached) = reached(&index)
                && store.judge(reached).is_none()
            {
                return Ok(reached);
            }
        }
        Ok(Reached::default())
    }

    /// What is wrong with the whole index below `data` that this program would go on with,
    /// a sentence each. Nothing if there is none: it would be filled from the store.
    ///
    /// # Errors
    /// A folder that cannot be read.
    pub fn faults(data: &Path, store: Standing) -> Result<Vec<String>, SearchError> {
        let own = Made::with(&site::analysis(data)?);
        for (made, folder) in folders(data)? {
            if !made.same_as(own) {
                continue;
            }
            let name = folder.file_name().unwrap_or_default().to_string_lossy();
            let index = match look_at(&folder) {
                Ok(index) => index,
                Err(error) => return Ok(vec![format!("{name} cannot be read: {error}")]),
            };
            let reached = reached(&index)?;
            let mut faults: Vec<_> = damage(&index)?
                .into_iter()
                .map(|(_, file)| format!("{name}/{file} is missing or not as it was written"))
                .collect();
            match store.judge(reached) {
                None if !reached.whole && faults.is_empty() => continue,
                None | Some(Why::Outdated | Why::Missing) => {}
                Some(Why::Damaged) => {
                    faults.push(format!("{name} does not say how far it has come"));
                }
                Some(Why::Foreign) => faults.push(format!("{name} is a copy of another store")),
                Some(Why::Ahead) => faults.push(format!(
                    "{name} has change {}, the store only {}",
                    reached.seq, store.last
                )),
            }
            return Ok(faults);
        }
        Ok(Vec::new())
    }
}

/// What an index was made with, as its folder's name tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Made {
    begun: u32,
    version: u32,
    list: u64,
}

impl Made {
    fn with(analysis: &Analysis) -> Self {
        Self {
            begun: 0,
            version: VERSION,
            list: analysis.list().fingerprint(),
        }
    }

    fn same_as(self, other: Self) -> bool {
        (self.version, self.list) == (other.version, other.list)
    }

    fn name(self) -> String {
        format!("{PREFIX}{}-{:016x}-{}", self.version, self.list, self.begun)
    }

    fn from_name(name: &str) -> Option<Self> {
        let mut parts = name.strip_prefix(PREFIX)?.split('-');
        Some(Self {
            version: parts.next()?.parse().ok()?,
            list: u64::from_str_radix(parts.next()?, 16).ok()?,
            begun: parts.next().unwrap_or("0").parse().ok()?,
        })
    }
}

/// The index folders below `data`, the one begun last first.
fn folders(data: &Path) -> Result<Vec<(Made, PathBuf)>, SearchError> {
    let mut found = Vec::new();
    for entry in fs::read_dir(data).map_err(|cause| unusable(data, cause))? {
        let entry = entry.map_err(|cause| unusable(data, cause))?;
        if let Some(made) = entry.file_name().to_str().and_then(Made::from_name)
            && entry.path().is_dir()
        {
            found.push((made, entry.path()));
        }
    }
    found.sort_by_key(|(made, _)| Reverse(*made));
    Ok(found)
}

/// How far the index in a folder has come, and what is wrong with it.
fn judge(folder: &Path, store: Standing) -> Result<(Reached, Option<Why>), SearchError> {
    let index = look_at(folder)?;
    let reached = reached(&index)?;
    let damaged = damage(&index)?;
    for (_, file) in &damaged {
        tracing::warn!(%file, folder = %folder.display(), "a file of the search index is damaged");
    }
    let why = store
        .judge(reached)
        .or((!damaged.is_empty()).then_some(Why::Damaged));
    Ok((reached, why))
}

/// Takes the damaged parts of an index off its list, so that the others can be searched. The
/// position goes too, so that what is left is never taken for a whole index.
fn set_aside_damaged(folder: &Path, index: &Index, reached: Reached) -> Result<(), SearchError> {
    let damaged = damage(index)?;
    if damaged.is_empty() {
        return Ok(());
    }
    let list = folder.join("meta.json");
    let mut meta: Value = serde_json::from_slice(&fs::read(&list)?).map_err(io::Error::from)?;
    if let Some(segments) = meta.get_mut("segments").and_then(Value::as_array_mut) {
        segments.retain(|segment| {
            let id = segment["segment_id"].as_str().unwrap_or_default();
            let id = id.replace('-', "");
            damaged.iter().all(|(segment, _)| *segment != id)
        });
    }
    meta["payload"] = payload(Reached { seq: -1, ..reached }).into();
    let written = folder.join("meta.json.new");
    fs::write(&written, meta.to_string())?;
    fs::rename(&written, &list)?;
    Ok(())
}

fn built_in() -> Result<Analysis, SearchError> {
    Ok(Analysis::new(Arc::new(WordList::built_in()?)))
}

fn unusable(folder: &Path, cause: io::Error) -> SearchError {
    SearchError::Folder {
        path: folder.display().to_string(),
        cause,
    }
}
