//! A table of rows with a journal: what was there before is kept until the change is kept or undone.
//!
//! A command may need many changes and all of them or none, so every `put` remembers the row that it replaced.
//! Deliberately absent: removing a row. Nothing in the book is ever deleted.

use std::collections::{HashMap, HashSet};
use std::hash::Hash;

/// Rows by key, and the rows that the open changes replaced.
#[derive(Clone, Debug)]
pub(in crate::domain) struct Table<K, V> {
    rows: HashMap<K, V>,
    journal: Vec<(K, Option<V>)>,
}

impl<K, V> Default for Table<K, V> {
    fn default() -> Self {
        Self {
            rows: HashMap::new(),
            journal: Vec::new(),
        }
    }
}

/// Two tables are equal when their rows are; an open journal is no part of what a book says.
impl<K: Eq + Hash, V: PartialEq> PartialEq for Table<K, V> {
    fn eq(&self, other: &Self) -> bool {
        self.rows == other.rows
    }
}

impl<K: Clone + Eq + Hash, V> Table<K, V> {
    /// The row of a key.
    pub(super) fn find(&self, key: &K) -> Option<&V> {
        self.rows.get(key)
    }

    /// How many rows there are.
    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    /// Every row, in no particular order.
    pub(super) fn rows(&self) -> impl Iterator<Item = &V> {
        self.rows.values()
    }

    /// Every key with its row, in no particular order.
    pub(super) fn entries(&self) -> impl Iterator<Item = (&K, &V)> {
        self.rows.iter()
    }

    /// Puts a row in place of the one that was there.
    pub(super) fn put(&mut self, key: K, row: V) {
        let before = self.rows.insert(key.clone(), row);
        self.journal.push((key, before));
    }

    /// Where the journal stands now.
    pub(super) fn mark(&self) -> usize {
        self.journal.len()
    }

    /// Every change made since `mark`, the oldest first: the key, and the row that was replaced.
    pub(super) fn since(&self, mark: usize) -> impl Iterator<Item = (&K, Option<&V>)> {
        let journal = self.journal.iter().skip(mark);
        journal.map(|(key, before)| (key, before.as_ref()))
    }

    /// Undoes every change made since `mark`, the newest first.
    pub(super) fn rewind(&mut self, mark: usize) {
        while self.journal.len() > mark {
            match self.journal.pop() {
                Some((key, Some(before))) => {
                    self.rows.insert(key, before);
                }
                Some((key, None)) => {
                    self.rows.remove(&key);
                }
                None => {}
            }
        }
    }

    /// Closes the journal; the keys whose rows changed, each once, in the order in which they first did.
    pub(super) fn keep(&mut self) -> Vec<K> {
        let mut seen = HashSet::new();
        self.journal
            .drain(..)
            .map(|(key, _)| key)
            .filter(|key| seen.insert(key.clone()))
            .collect()
    }
}
