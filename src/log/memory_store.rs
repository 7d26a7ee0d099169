//! A store in memory, as simple as the trait allows, with faults on demand.
//!
//! For fast tests of what stands above the store. It keeps the promises of the trait except durability; what a disk does
//! to the real one is tested with [`super::FileStore`] on [`super::MemoryFiles`].

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::format::{narrow, wide};
use super::{Group, Head, Store, StoreError, VaultKind, VaultRecord, check_group, pin};

/// A fault that happens once, at the n-th call (from 0) of its kind; every change after it is refused as poisoned.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum MemoryFault {
    /// The append fails and nothing of the group is there.
    AppendLost(u64),
    /// The append fails, but the group will be there after [`MemoryStore::reopen`].
    AppendKept(u64),
    /// The erasing fails and the record is still there.
    Erase(u64),
    /// The pin fails and the one before it still counts.
    Pin(u64),
}

/// The store in memory.
#[derive(Default)]
pub struct MemoryStore {
    inner: Mutex<Inner>,
}

#[derive(Clone, Default)]
struct Inner {
    entries: Vec<Arc<[u8]>>,
    checkpoint: Option<String>,
    /// The checkpoints of all groups, by the size of the log after each.
    sealed: BTreeMap<u64, String>,
    vault: Vec<VaultRecord>,
    pinned: Option<String>,
    faults: BTreeSet<MemoryFault>,
    appends: u64,
    erasings: u64,
    pins: u64,
    poisoned: bool,
    /// A group whose append failed but that reached the disk, so to speak.
    kept: Option<Group>,
}

impl Inner {
    fn take(&mut self, group: &Group) {
        self.entries.extend(group.entries.iter().cloned());
        self.checkpoint = Some(group.checkpoint.clone());
        self.sealed
            .insert(wide(self.entries.len()), group.checkpoint.clone());
        let mut records = group.vault.clone();
        records.sort_by_key(|record| record.index);
        self.vault.extend(records);
    }

    fn fails(&mut self, fault: MemoryFault) -> bool {
        let fails = self.faults.remove(&fault);
        self.poisoned |= fails;
        fails
    }
}

fn injected() -> StoreError {
    StoreError::io("changing", Path::new("memory"))(io::Error::other("injected fault"))
}

impl MemoryStore {
    /// An empty store that will fail as told.
    pub fn new(faults: impl IntoIterator<Item = MemoryFault>) -> MemoryStore {
        let inner = Inner {
            faults: faults.into_iter().collect(),
            ..Inner::default()
        };
        MemoryStore {
            inner: Mutex::new(inner),
        }
    }

    /// What a process finds that starts after this one ended; faults still to come remain to come.
    pub fn reopen(&self) -> MemoryStore {
        let mut inner = self.inner().clone();
        inner.poisoned = false;
        if let Some(group) = inner.kept.take() {
            inner.take(&group);
        }
        MemoryStore {
            inner: Mutex::new(inner),
        }
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn changing(&self) -> Result<MutexGuard<'_, Inner>, StoreError> {
        let inner = self.inner();
        if inner.poisoned {
            Err(StoreError::Poisoned)
        } else {
            Ok(inner)
        }
    }
}

impl Store for MemoryStore {
    fn head(&self) -> Head {
        let inner = self.inner();
        Head {
            size: wide(inner.entries.len()),
            checkpoint: inner.checkpoint.clone(),
            torn: None,
        }
    }

    fn append(&self, group: &Group) -> Result<(), StoreError> {
        let mut inner = self.changing()?;
        check_group(group, wide(inner.entries.len()))?;
        let call = inner.appends;
        inner.appends += 1;
        if inner.fails(MemoryFault::AppendLost(call)) {
            return Err(injected());
        }
        if inner.fails(MemoryFault::AppendKept(call)) {
            inner.kept = Some(group.clone());
            return Err(injected());
        }
        inner.take(group);
        Ok(())
    }

    fn read(&self, index: u64) -> Result<Option<Arc<[u8]>>, StoreError> {
        Ok(self.inner().entries.get(narrow(index)).cloned())
    }

    fn sealed(&self, size: u64) -> Result<Option<String>, StoreError> {
        Ok(self.inner().sealed.get(&size).cloned())
    }

    fn scan(&self, from: u64, each: &mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), StoreError> {
        let entries: Vec<Arc<[u8]>> = self.inner().entries.iter().skip(narrow(from)).cloned().collect();
        for (index, entry) in (from..).zip(entries) {
            if !each(index, &entry) {
                break;
            }
        }
        Ok(())
    }

    fn private(&self, index: u64) -> Result<Vec<VaultRecord>, StoreError> {
        let inner = self.inner();
        let from = inner.vault.partition_point(|record| record.index < index);
        let records = inner.vault.iter().skip(from);
        Ok(records
            .take_while(|record| record.index == index)
            .cloned()
            .collect())
    }

    fn erase(&self, index: u64, kind: &VaultKind) -> Result<(), StoreError> {
        let mut inner = self.changing()?;
        let call = inner.erasings;
        inner.erasings += 1;
        if inner.fails(MemoryFault::Erase(call)) {
            return Err(injected());
        }
        let from = inner.vault.partition_point(|record| record.index < index);
        for record in inner
            .vault
            .iter_mut()
            .skip(from)
            .take_while(|record| record.index == index)
        {
            if record.kind == *kind {
                record.body = Vec::new();
            }
        }
        Ok(())
    }

    fn pin(&self, released: &str) -> Result<(), StoreError> {
        let mut inner = self.changing()?;
        let before = inner.pinned.as_deref().and_then(pin::stated_size);
        pin::check(released, wide(inner.entries.len()), before)?;
        let call = inner.pins;
        inner.pins += 1;
        if inner.fails(MemoryFault::Pin(call)) {
            return Err(injected());
        }
        inner.pinned = Some(released.to_owned());
        Ok(())
    }

    fn pinned(&self) -> Option<String> {
        self.inner().pinned.clone()
    }
}
