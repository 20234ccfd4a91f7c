//! What somebody typed: its language, the names and phrases in it, and what it states or denies.

pub(in crate::search) mod denied;
pub(in crate::search) mod happened;
pub(in crate::search) mod held;
pub(in crate::search) mod language;
pub(in crate::search) mod naming;
pub(in crate::search) mod noted;
pub(in crate::search) mod phrase;
pub(in crate::search) mod plan;
pub(in crate::search) mod remark;
pub(in crate::search) mod stated;
pub(in crate::search) mod unseen;
