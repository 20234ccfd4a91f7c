//! Search over incidents: a tantivy index that is a disposable copy of the store.
//!
//! The index follows the store's change log; the position it has reached is stored in
//! the index's own commit, so after any crash it resumes exactly where it was. Words are
//! analysed in one place (`analysis`) for documents, queries and excerpts alike.
//! Nothing here knows of the web or the store; [`crate::follow`] brings the two together.

mod asking;
mod indexed;
mod query;
mod ranking;
mod reading;
mod showing;
#[cfg(test)]
mod tests;

pub use asking::naming::Names;
pub use asking::plan::Understood;
pub use asking::remark::{Figure, Known, Remark};
pub use asking::stated::Stated;
pub use indexed::document::Entry;
pub use indexed::in_use::IndexInUse;
pub use indexed::index::{Held, Prepared, Reached, SearchIndex};
pub use indexed::shelf::{Found, Shelf, Standing, Why};
pub use query::{Answer, Filters, Hit, Request};
pub use ranking::circumstances::Circumstances;
pub use ranking::leaning::Leaning;
pub use ranking::weights::Weights;
pub use reading::words::WordMistakes;
pub use showing::excerpt::{Excerpt, Matches};
pub use showing::suggest::{Offered, Sort, Suggester, Suggestion};

/// What can go wrong with the index.
#[derive(Debug, thiserror::Error)]
pub enum SearchError {
    /// The search library refused or failed.
    #[error("the search index failed: {0}")]
    Index(#[from] tantivy::TantivyError),
    /// A file of the index could not be read.
    #[error("the search index cannot be read: {0}")]
    Unreadable(#[from] std::io::Error),
    /// A file of the index could not be reached.
    #[error("the search index folder {path} cannot be used: {cause}")]
    Folder {
        /// Which folder.
        path: String,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The word list built in cannot be used.
    #[error(transparent)]
    Words(#[from] WordMistakes),
    /// Another process writes to the index.
    #[error("another process is writing to the search index")]
    Busy,
    /// An earlier failure left the index so that it cannot be written.
    #[error("the search index cannot be written since an earlier failure")]
    Broken,
}
