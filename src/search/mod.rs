//! Search over incidents: a tantivy index that is a disposable copy of the store.
//!
//! The index follows the store's change log; the position it has reached is stored in
//! the index's own commit, so after any crash it resumes exactly where it was. Words are
//! analysed in one place (`analysis`) for documents, queries and excerpts alike.
//! Nothing here knows of the web or the store; [`crate::follow`] brings the two together.

mod analysis;
mod document;
mod excerpt;
mod index;
mod query;
mod schema;

pub use document::Entry;
pub use excerpt::{Excerpt, Matches};
pub use index::{Reached, SearchIndex};
pub use query::{Answer, Filters, Hit, Request};

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
    /// Another process writes to the index.
    #[error("another process is writing to the search index")]
    Busy,
}
