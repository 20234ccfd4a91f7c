//! The index: its fields, what an incident is in it, the folder it lies in, and what is made of it whole.

pub(in crate::search) mod digest;
pub(in crate::search) mod document;
pub(in crate::search) mod in_use;
pub(in crate::search) mod index;
pub(in crate::search) mod kept;
pub(in crate::search) mod schema;
pub(in crate::search) mod shelf;
pub(in crate::search) mod vocabulary;
