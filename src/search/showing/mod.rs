//! What a person is shown of it: why a case was found, and what he may be about to type.

pub(in crate::search) mod excerpt;
pub(in crate::search) mod suggest;
