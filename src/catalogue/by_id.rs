//! Entries by their identifiers: found by hash, since an import looks up dozens for every row, and walked in
//! the order of the identifiers.

use std::{borrow::Borrow, collections::HashMap, hash::Hash};

use crate::quick::Quickly;

/// Entries, each under its identifier.
#[derive(Clone, Debug)]
pub(super) struct ById<I, T> {
    entries: Vec<(I, T)>,
    /// Where each stands among the entries.
    places: HashMap<I, usize, Quickly>,
    /// The places in the order of the identifiers.
    order: Vec<usize>,
}

impl<I, T> Default for ById<I, T> {
    fn default() -> Self {
        Self {
            entries: Vec::new(),
            places: HashMap::default(),
            order: Vec::new(),
        }
    }
}

impl<I: Clone + Eq + Hash + Ord, T> ById<I, T> {
    /// Puts an entry in; one that was there under this identifier is no more.
    pub(super) fn insert(&mut self, id: I, entry: T) {
        if let Some(place) = self.places.get(&id) {
            self.entries[*place].1 = entry;
            return;
        }
        let place = self.entries.len();
        let before = self.order.partition_point(|at| self.entries[*at].0 < id);
        self.order.insert(before, place);
        self.places.insert(id.clone(), place);
        self.entries.push((id, entry));
    }

    pub(super) fn get<Q: Eq + Hash + ?Sized>(&self, id: &Q) -> Option<&T>
    where
        I: Borrow<Q>,
    {
        self.numbered(id).map(|(_, entry)| entry)
    }

    /// The same with its number, from 0, which is its own as long as none is added.
    pub(super) fn numbered<Q: Eq + Hash + ?Sized>(&self, id: &Q) -> Option<(usize, &T)>
    where
        I: Borrow<Q>,
    {
        let place = *self.places.get(id)?;
        Some((place, &self.entries[place].1))
    }

    pub(super) fn len(&self) -> usize {
        self.entries.len()
    }

    pub(super) fn contains_key(&self, id: &str) -> bool
    where
        I: Borrow<str>,
    {
        self.places.contains_key(id)
    }

    /// The entries, in the order of their identifiers.
    pub(super) fn values(&self) -> impl Iterator<Item = &T> {
        self.order.iter().map(|at| &self.entries[*at].1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SignId;

    #[test]
    fn entries_are_found_and_walked_in_order() {
        let mut entries = ById::default();
        for (at, id) in ["hiss", "door", "water", "door", "arc"]
            .into_iter()
            .enumerate()
        {
            entries.insert(SignId::new(id), at);
        }
        assert_eq!(entries.values().copied().collect::<Vec<_>>(), [4, 3, 0, 2]);
        assert_eq!(entries.get("door"), Some(&3));
        assert!(entries.get("window").is_none() && !entries.contains_key("window"));
    }
}
