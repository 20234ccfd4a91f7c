//! How text becomes words, pressures and other quantities, the same for cases, searches and excerpts.

pub(in crate::search) mod abbreviations;
pub(in crate::search) mod analysis;
pub(in crate::search) mod everyday;
pub(in crate::search) mod lexer;
pub(in crate::search) mod moments;
pub(in crate::search) mod negation;
pub(in crate::search) mod pairs;
pub(in crate::search) mod pressure;
pub(in crate::search) mod quantity;
pub(in crate::search) mod site;
pub(in crate::search) mod spelling;
pub(in crate::search) mod surface;
pub(in crate::search) mod words;
