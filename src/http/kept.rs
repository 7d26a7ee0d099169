//! Bodies that are kept after they were made, at most so many bytes of them in all: the oldest go first.
//!
//! Each is known to be true as of a position of the views. As long as they stand there it is sent as it is; once they have
//! moved it is held against them again, since what moved is mostly something else.

use std::collections::{HashMap, VecDeque};
use std::hash::Hash;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What is reckoned for a body beside its own bytes: its row, its tag.
const OVERHEAD: usize = 512;
/// How many places of bodies that were kept anew may stand before they are cleared away.
const PLACES_SPARE: usize = 64;

/// Bodies by key, each true as of a position of the views.
pub struct KeptBodies<K, V> {
    kept: Bounded<K, Seen<V>>,
}

#[derive(Clone)]
struct Seen<V> {
    value: V,
    /// The position of the views at which it was last seen to be true.
    at: Arc<AtomicU64>,
}

impl<K: Hash + Eq + Clone, V: Clone> KeptBodies<K, V> {
    /// Room for so many bytes.
    #[must_use]
    pub fn new(bytes_max: usize) -> Self {
        Self {
            kept: Bounded::new(bytes_max),
        }
    }

    /// What is kept under a key and true as of a position, which was read before: `is_true` is asked where the views have moved
    /// since it was asked last.
    ///
    /// # Errors
    /// As `is_true`.
    pub fn find<E>(
        &self,
        key: &K,
        position: u64,
        is_true: impl FnOnce(&V) -> Result<bool, E>,
    ) -> Result<Option<V>, E> {
        let Some(seen) = self.kept.find(key) else {
            return Ok(None);
        };
        if seen.at.load(Ordering::Relaxed) != position {
            if !is_true(&seen.value)? {
                return Ok(None);
            }
            seen.at.store(position, Ordering::Relaxed);
        }
        Ok(Some(seen.value))
    }

    /// Keeps a body of so many bytes, in the place of the one before under the same key. The position was read before anything
    /// that the body was made from.
    pub fn keep(&self, key: K, value: V, bytes: usize, position: u64) {
        let at = Arc::new(AtomicU64::new(position));
        self.kept.keep(key, Seen { value, at }, bytes);
    }
}

/// Things by key, so many bytes of them at most.
pub struct Bounded<K, V> {
    bytes_max: usize,
    inner: Mutex<Inner<K, V>>,
}

struct Inner<K, V> {
    rows: HashMap<K, Row<V>>,
    /// Keys in the order in which their things were kept, each with the number of that keeping.
    order: VecDeque<(K, u64)>,
    bytes: usize,
    kept: u64,
}

struct Row<V> {
    value: V,
    bytes: usize,
    number: u64,
}

impl<K: Hash + Eq + Clone, V: Clone> Bounded<K, V> {
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
        self.lock().rows.get(key).map(|row| row.value.clone())
    }

    fn lock(&self) -> MutexGuard<'_, Inner<K, V>> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Keeps something of so many bytes, in the place of what was kept before under the same key.
    pub fn keep(&self, key: K, value: V, bytes: usize) {
        let bytes = bytes.saturating_add(OVERHEAD);
        let inner = &mut *self.lock();
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
            // What was kept anew has a later place.
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
    use super::{Bounded, KeptBodies};
    use std::convert::Infallible;

    /// While the views stand, nothing is asked again; once they have moved it is, once; and what is true no more is not found.
    #[test]
    fn what_is_kept_is_held_against_views_that_have_moved() {
        let kept = KeptBodies::new(10_000);
        kept.keep(7, 70, 100, 1);
        let mut asked = 0;
        let mut find = |position, is_true| {
            kept.find(&7, position, |_| {
                asked += 1;
                Ok::<_, Infallible>(is_true)
            })
            .unwrap()
        };
        assert_eq!(find(1, false), Some(70));
        assert_eq!(find(2, true), Some(70));
        assert_eq!(find(2, false), Some(70));
        assert_eq!(find(3, false), None);
        assert_eq!(asked, 2);
        // What is kept in its place while it was asked is not taken for seen.
        let put_between = kept.find(&7, 4, |_| {
            kept.keep(7, 71, 100, 3);
            Ok::<_, Infallible>(true)
        });
        assert_eq!(put_between, Ok(Some(70)));
        assert_eq!(kept.find(&7, 4, |_| Err("asked")), Err("asked"));
    }

    /// The oldest bodies go when there is no room, a body that was kept anew counts as young, and its old bytes are given back.
    #[test]
    fn the_oldest_go_first_and_the_bytes_are_bounded() {
        let kept = Bounded::new(10_000);
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
        let kept = Bounded::new(10_000);
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
