//! What a case is worth to a search, and in which order the best ones come.

pub(in crate::search) mod beside;
pub(in crate::search) mod circumstances;
pub(in crate::search) mod leaning;
pub(in crate::search) mod learning;
pub(in crate::search) mod rank;
pub(in crate::search) mod rarity;
pub(in crate::search) mod rough;
pub(in crate::search) mod shortlist;
pub(in crate::search) mod side_by_side;
pub(in crate::search) mod spread;
pub(in crate::search) mod telling;
pub(in crate::search) mod walk;
pub(in crate::search) mod weights;
