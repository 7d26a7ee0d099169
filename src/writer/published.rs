//! What readers may see of the log while the writer goes on: the tree, and the last released checkpoint.

use crate::proof::{Hash, Tree};
use std::sync::{Arc, PoisonError, RwLock, RwLockReadGuard};

/// A checkpoint that has left, or may leave, the process. It is pinned before it stands here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Released {
    /// The signed note.
    pub note: String,
    /// How many entries it covers.
    pub size: u64,
    /// The root hash.
    pub root: Hash,
}

/// The tree and the released checkpoint, shared with readers. Only sizes up to the released one may be shown.
#[derive(Debug, Default)]
pub struct Published {
    tree: RwLock<Tree>,
    released: RwLock<Option<Arc<Released>>>,
    key_entries: RwLock<Arc<[u64]>>,
}

impl Published {
    pub(super) fn new(tree: Tree, key_entries: Vec<u64>) -> Self {
        Self {
            tree: RwLock::new(tree),
            released: RwLock::default(),
            key_entries: RwLock::new(key_entries.into()),
        }
    }

    /// The tree, for reading.
    pub fn tree(&self) -> RwLockReadGuard<'_, Tree> {
        self.tree.read().unwrap_or_else(PoisonError::into_inner)
    }

    /// The last released checkpoint.
    #[must_use]
    pub fn released(&self) -> Option<Arc<Released>> {
        self.released
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Indexes of the key entries, in log order.
    #[must_use]
    pub fn key_entries(&self) -> Arc<[u64]> {
        Arc::clone(&self.key_entries.read().unwrap_or_else(PoisonError::into_inner))
    }

    pub(super) fn push(&self, leaf: Hash) {
        self.tree
            .write()
            .unwrap_or_else(PoisonError::into_inner)
            .push(leaf);
    }

    pub(super) fn release(&self, released: Released) {
        *self.released.write().unwrap_or_else(PoisonError::into_inner) = Some(Arc::new(released));
    }

    pub(super) fn note_key_entry(&self, index: u64) {
        let mut entries = self.key_entries.write().unwrap_or_else(PoisonError::into_inner);
        *entries = entries.iter().copied().chain([index]).collect();
    }
}
