//! Search over incidents: a tantivy index that is a disposable copy of the store.
//!
//! The index follows the store's change log; the position it has reached is stored in
//! the index's own commit, so after any crash it resumes exactly where it was. Words are
//! analysed in one place (`analysis`) for documents, queries and excerpts alike.
//! Nothing here knows of the web or the store; [`crate::follow`] brings the two together.

mod abbreviations;
mod analysis;
mod beside;
mod circumstances;
mod denied;
mod digest;
mod document;
mod everyday;
mod excerpt;
mod happened;
mod held;
mod in_use;
mod index;
mod kept;
mod language;
mod leaning;
mod learning;
mod lexer;
mod moments;
mod naming;
mod negation;
mod noted;
mod pairs;
mod phrase;
mod plan;
mod pressure;
mod quantity;
mod query;
mod rank;
mod rarity;
mod remark;
mod rough;
mod schema;
mod shelf;
mod shortlist;
mod side_by_side;
mod site;
mod spelling;
mod spread;
mod stated;
mod suggest;
mod surface;
mod telling;
#[cfg(test)]
mod tests;
mod unseen;
mod vocabulary;
mod walk;
mod weights;
mod words;

pub use circumstances::Circumstances;
pub use document::Entry;
pub use excerpt::{Excerpt, Matches};
pub use in_use::IndexInUse;
pub use index::{Held, Prepared, Reached, SearchIndex};
pub use leaning::Leaning;
pub use naming::Names;
pub use plan::Understood;
pub use query::{Answer, Filters, Hit, Request};
pub use remark::{Figure, Known, Remark};
pub use shelf::{Found, Shelf, Standing, Why};
pub use stated::Stated;
pub use suggest::{Offered, Sort, Suggester, Suggestion};
pub use weights::Weights;
pub use words::WordMistakes;

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
