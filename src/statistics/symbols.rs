//! Identifiers to dense indices and back, so that a million cases stay small.

use std::collections::HashMap;

#[derive(Clone, Debug, Default)]
pub(crate) struct Symbols {
    names: Vec<String>,
    index: HashMap<String, u32>,
}

impl Symbols {
    pub(crate) fn intern(&mut self, name: &str) -> u32 {
        if let Some(&index) = self.index.get(name) {
            return index;
        }
        let index = self.names.len() as u32;
        self.names.push(name.to_owned());
        self.index.insert(name.to_owned(), index);
        index
    }

    pub(crate) fn get(&self, name: &str) -> Option<u32> {
        self.index.get(name).copied()
    }

    pub(crate) fn name(&self, index: u32) -> &str {
        self.names.get(index as usize).map_or("", String::as_str)
    }
}
