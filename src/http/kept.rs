//! Bodies that are kept after they were made, at most so many bytes of them in all: the oldest go first.

use std::collections::{HashMap, VecDeque};
use std::hash::Hash;
use std::sync::{Mutex, PoisonError};

/// What is reckoned for a body beside its own bytes: its row, its tag.
const OVERHEAD: usize = 512;
/// How many places of bodies that were kept anew may stand before they are cleared away.
const PLACES_SPARE: usize = 64;

/// Bodies by key.
pub struct KeptBodies<K, V> {
    bytes_max: usize,
    inner: Mutex<Inner<K, V>>,
}

struct Inner<K, V> {
    rows: HashMap<K, Row<V>>,
    /// Keys in the order in which their bodies were kept, each with the number of that keeping.
    order: VecDeque<(K, u64)>,
    bytes: usize,
    kept: u64,
}

struct Row<V> {
    value: V,
    bytes: usize,
    number: u64,
}

impl<K: Hash + Eq + Clone, V: Clone> KeptBodies<K, V> {
    /// Room for so many bytes.
    #[must_use]
    pub fn new(bytes_max: usize) -> Self {
        Self {
            bytes_max,
            inner: Mutex::new(Inner {
                rows: HashMap::new(),
                order: VecDeque::new(),
                bytes: 0,
                kept: 0,
            }),
        }
    }

    /// What is kept under a key.
    pub fn find(&self, key: &K) -> Option<V> {
        let inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        inner.rows.get(key).map(|row| row.value.clone())
    }

    /// Keeps a body of so many bytes, in the place of the one before under the same key.
    pub fn keep(&self, key: K, value: V, bytes: usize) {
        let bytes = bytes.saturating_add(OVERHEAD);
        let mut inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        let inner = &mut *inner;
        inner.kept = inner.kept.saturating_add(1);
        let row = Row {
            value,
            bytes,
            number: inner.kept,
        };
        inner.order.push_back((key.clone(), row.number));
        let before = inner.rows.insert(key, row);
        inner.bytes = inner.bytes.saturating_add(bytes);
        inner.bytes = inner.bytes.saturating_sub(before.map_or(0, |row| row.bytes));
        while inner.bytes > self.bytes_max
            && let Some((key, number)) = inner.order.pop_front()
        {
            // A body that was kept anew has a later place.
            if inner.rows.get(&key).is_some_and(|row| row.number == number)
                && let Some(row) = inner.rows.remove(&key)
            {
                inner.bytes = inner.bytes.saturating_sub(row.bytes);
            }
        }
        if inner.order.len() > inner.rows.len().saturating_mul(2).saturating_add(PLACES_SPARE) {
            let rows = &inner.rows;
            let stands = |key: &K, number: u64| rows.get(key).is_some_and(|row| row.number == number);
            inner.order.retain(|(key, number)| stands(key, *number));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::KeptBodies;

    /// The oldest bodies go when there is no room, a body that was kept anew counts as young, and its old bytes are given back.
    #[test]
    fn the_oldest_go_first_and_the_bytes_are_bounded() {
        let kept = KeptBodies::new(10_000);
        for key in 0..4 {
            kept.keep(key, key, 2_000 - super::OVERHEAD);
        }
        kept.keep(0, 10, 2_000 - super::OVERHEAD);
        kept.keep(4, 4, 2_000 - super::OVERHEAD);
        assert_eq!(
            [0, 1, 2, 3, 4].map(|key| kept.find(&key)),
            [Some(10), Some(1), Some(2), Some(3), Some(4)]
        );
        kept.keep(5, 5, 2_000 - super::OVERHEAD);
        assert_eq!(
            [0, 1, 2, 3, 4, 5].map(|key| kept.find(&key)),
            [Some(10), None, Some(2), Some(3), Some(4), Some(5)]
        );
        // A body larger than all the room is not kept, and nothing else is after it.
        kept.keep(6, 6, 20_000);
        assert_eq!([0, 5, 6].map(|key| kept.find(&key)), [None; 3]);
        assert_eq!(kept.inner.lock().unwrap().bytes, 0);
    }

    #[test]
    fn what_is_kept_anew_leaves_no_places_behind() {
        let kept = KeptBodies::new(10_000);
        for round in 0..10_000 {
            kept.keep(round % 3, round, 100);
        }
        let inner = kept.inner.lock().unwrap();
        assert_eq!(inner.rows.len(), 3);
        assert!(
            inner.order.len() <= 3 * 2 + super::PLACES_SPARE + 1,
            "{}",
            inner.order.len()
        );
        assert_eq!(inner.bytes, 3 * (100 + super::OVERHEAD));
    }
}
