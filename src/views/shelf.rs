//! All that the views know: records in the order of their keys, those that changed lately in memory, all others in sled.
//!
//! A write to sled costs more than the rest of following an entry. So what a batch of entries changes stands in memory
//! first, where readers see the whole of it at once, and goes to sled behind: a session that moves a thousand times a second
//! is written once, and neighbours are written together (`sheets`). What is in memory only is followed again after a restart,
//! for sled's position is written after all that was changed up to it.
//!
//! Changes go to sled in two generations. `leaving` is closed and is being written, beside those who follow; `newest` takes
//! what changes meanwhile, and leaves after it. Readers look at `newest`, then at `leaving`, then at sled, in that order: what
//! left memory in between is in sled already.

use super::ViewError;
use super::sheets::{self, Change, Records, split};
use sled::IVec;
use std::collections::{BTreeMap, HashMap, VecDeque};
use std::ops::Bound;
use std::sync::{Arc, Mutex, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

/// What a record in memory costs beside its bytes.
const OVERHEAD: usize = 96;
/// How many changes in memory and how many sheets a range looks at together.
const CHANGES_LOOKED_AT: usize = 64;
const SHEETS_LOOKED_AT: usize = 8;
const POSITION: &[u8] = b"position";

/// Changes that sled does not have yet.
#[derive(Default)]
struct Changes {
    records: BTreeMap<IVec, Option<IVec>>,
    /// Bytes of keys and records, with what holding them costs.
    bytes: usize,
    /// How far was followed when the last of them was made.
    followed: Option<Vec<u8>>,
}

impl Changes {
    fn cost(key: &IVec, value: Option<&IVec>) -> usize {
        let value = value.map_or(0, |value| value.len());
        key.len().saturating_add(value).saturating_add(OVERHEAD)
    }

    fn insert(&mut self, key: IVec, value: Option<IVec>) {
        let cost = Self::cost(&key, value.as_ref());
        self.bytes = self.bytes.saturating_add(cost);
        let size = key.len();
        if let Some(before) = self.records.insert(key, value) {
            let before = before.map_or(0, |before| before.len());
            let cost = size.saturating_add(before).saturating_add(OVERHEAD);
            self.bytes = self.bytes.saturating_sub(cost);
        }
    }
}

#[derive(Default)]
struct Unsettled {
    newest: Changes,
    leaving: Arc<Changes>,
    /// How many generations have left.
    left: u64,
}

/// Sheets that whoever changes records has read from sled, as long as nothing leaves memory: one that is written meanwhile
/// differs only by what is found in memory.
#[derive(Default)]
pub(super) struct SheetsRead {
    sheets: HashMap<IVec, Option<IVec>>,
    left: u64,
}

/// The records. One thread writes.
pub(super) struct Shelf {
    db: sled::Db,
    kept: sled::Tree,
    unsettled: RwLock<Unsettled>,
    /// Held by whoever settles.
    settling: Mutex<()>,
}

impl Shelf {
    /// The records of a store.
    pub fn open(db: sled::Db) -> Result<Self, ViewError> {
        Ok(Self {
            kept: db.open_tree("sheets")?,
            db,
            unsettled: RwLock::default(),
            settling: Mutex::default(),
        })
    }

    /// How far was followed when sled was last settled.
    pub fn followed(&self) -> Result<Option<IVec>, ViewError> {
        Ok(self.db.get(POSITION)?)
    }

    /// Forgets all of it. The position goes last, so that a clearing that is cut short is begun again.
    pub fn clear(&self) -> Result<(), ViewError> {
        *self.write() = Unsettled::default();
        self.kept.clear()?;
        self.db.remove(POSITION)?;
        Ok(())
    }

    fn read(&self) -> RwLockReadGuard<'_, Unsettled> {
        self.unsettled.read().unwrap_or_else(PoisonError::into_inner)
    }

    fn write(&self) -> RwLockWriteGuard<'_, Unsettled> {
        self.unsettled.write().unwrap_or_else(PoisonError::into_inner)
    }

    /// What stands under a key.
    pub fn find(&self, key: &[u8]) -> Result<Option<IVec>, ViewError> {
        if let Some(changed) = self.read().find(key) {
            return Ok(changed);
        }
        let (sheet, within) = split(key);
        let sheet = self.kept.get(sheet)?;
        sheet.map_or(Ok(None), |sheet| sheets::find(&sheet, within))
    }

    /// As [`Shelf::find`], for one who looks into the same sheets again and again.
    pub fn find_again(&self, key: &[u8], read: &mut SheetsRead) -> Result<Option<IVec>, ViewError> {
        let (changed, left) = {
            let unsettled = self.read();
            (unsettled.find(key), unsettled.left)
        };
        if let Some(changed) = changed {
            return Ok(changed);
        }
        if read.left != left {
            read.sheets.clear();
            read.left = left;
        }
        let (sheet, within) = split(key);
        if let Some(sheet) = read.sheets.get(sheet) {
            return sheet
                .as_ref()
                .map_or(Ok(None), |sheet| sheets::find(sheet, within));
        }
        let found = self.kept.get(sheet)?;
        let record = found
            .as_ref()
            .map_or(Ok(None), |sheet| sheets::find(sheet, within));
        read.sheets.insert(sheet.into(), found);
        record
    }

    /// The records from a key on and before another.
    pub fn range(&self, from: Bound<Vec<u8>>, end: Vec<u8>) -> Range<'_> {
        Range {
            shelf: self,
            from: Some(from),
            end,
            ready: VecDeque::new(),
        }
    }

    /// The records whose keys begin so.
    pub fn beginning_with(&self, prefix: &[u8]) -> Range<'_> {
        let mut end = prefix.to_vec();
        while end.last() == Some(&u8::MAX) {
            end.pop();
        }
        if let Some(last) = end.last_mut() {
            *last = last.saturating_add(1);
        }
        self.range(Bound::Included(prefix.to_vec()), end)
    }

    /// Shows changes to readers, all of them at once; they lead up to `followed`.
    pub fn show(&self, changes: impl IntoIterator<Item = Change>, followed: Vec<u8>) {
        let newest = &mut self.write().newest;
        for (key, value) in changes {
            newest.insert(key, value);
        }
        newest.followed = Some(followed);
    }

    /// How much is in memory and not in sled yet, bytes.
    pub fn unsettled_bytes(&self) -> usize {
        let Unsettled { newest, leaving, .. } = &*self.read();
        newest.bytes.saturating_add(leaving.bytes)
    }

    /// Writes what sled does not have yet: all that leads up to what was shown before this began, then the position behind it.
    pub fn settle(&self) -> Result<(), ViewError> {
        let _alone = self.settling.lock().unwrap_or_else(PoisonError::into_inner);
        // One that failed left a generation behind.
        self.write_leaving()?;
        {
            let Unsettled { newest, leaving, .. } = &mut *self.write();
            *leaving = Arc::new(std::mem::take(newest));
        }
        self.write_leaving()
    }

    fn write_leaving(&self) -> Result<(), ViewError> {
        let leaving = Arc::clone(&self.read().leaving);
        let Some(followed) = &leaving.followed else {
            return Ok(());
        };
        let records: Vec<(&IVec, &Option<IVec>)> = leaving.records.iter().collect();
        for changes in records.chunk_by(|(one, _), (other, _)| split(one).0 == split(other).0) {
            let Some((key, _)) = changes.first() else { continue };
            let sheet = split(key).0;
            let before = self.kept.get(sheet)?;
            match sheets::changed(before.as_deref(), changes)? {
                Some(after) => self.kept.insert(sheet, after)?,
                None => self.kept.remove(sheet)?,
            };
        }
        self.db.flush()?;
        self.db.insert(POSITION, followed.as_slice())?;
        let unsettled = &mut *self.write();
        unsettled.leaving = Arc::default();
        unsettled.left = unsettled.left.saturating_add(1);
        Ok(())
    }
}

/// Records in the order of their keys, as they stand when they are reached.
pub(super) struct Range<'a> {
    shelf: &'a Shelf,
    /// Where to look on; nothing once the end was reached.
    from: Option<Bound<Vec<u8>>>,
    end: Vec<u8>,
    ready: VecDeque<(IVec, IVec)>,
}

impl Range<'_> {
    /// Looks on. Memory is looked at before sled, so that nothing is missed that goes from one to the other meanwhile.
    fn look(&mut self, from: Bound<Vec<u8>>) -> Result<(), ViewError> {
        if matches!(&from, Bound::Included(key) | Bound::Excluded(key) if *key >= self.end) {
            return Ok(());
        }
        let until = Bound::Excluded(self.end.as_slice());
        let from_key = from.as_ref().map(Vec::as_slice);
        let (changes, mut last) = self.shelf.read().between(from_key, until);
        let mut found: BTreeMap<IVec, IVec> = BTreeMap::new();
        let begin = match &from {
            Bound::Included(key) | Bound::Excluded(key) => split(key).0,
            Bound::Unbounded => &[],
        };
        let sheets = self.shelf.kept.range::<&[u8], _>((Bound::Included(begin), until));
        for (number, sheet) in sheets.enumerate() {
            let (key, sheet) = sheet?;
            if last.as_ref().is_some_and(|last| split(last).0 < key.as_ref()) {
                break;
            }
            let mut newest = None;
            for record in Records(&sheet) {
                let (within, value) = record?;
                let key: IVec = [key.as_ref(), within].concat().into();
                newest = Some(key.clone());
                let follows = match &from {
                    Bound::Included(from) => key.as_ref() >= from.as_slice(),
                    Bound::Excluded(from) => key.as_ref() > from.as_slice(),
                    Bound::Unbounded => true,
                };
                if follows && key.as_ref() < self.end.as_slice() {
                    found.insert(key, value.into());
                }
            }
            if number >= SHEETS_LOOKED_AT {
                last = [last, newest].into_iter().flatten().min();
                break;
            }
        }
        if let Some(last) = &last {
            let beyond = (Bound::Excluded(last.clone()), Bound::Unbounded);
            found.extract_if(beyond, |_, _| true).for_each(drop);
        }
        for (key, value) in changes {
            match value {
                _ if last.as_ref().is_some_and(|last| key > *last) => {}
                Some(value) => drop(found.insert(key, value)),
                None => drop(found.remove(&key)),
            }
        }
        self.ready = found.into_iter().collect();
        self.from = last.map(|last| Bound::Excluded(last.to_vec()));
        Ok(())
    }
}

impl Unsettled {
    /// What a key has from now on, if that changed.
    fn find(&self, key: &[u8]) -> Option<Option<IVec>> {
        let newest = self.newest.records.get(key);
        newest.or_else(|| self.leaving.records.get(key)).cloned()
    }

    /// The first changes within bounds, and the key of the last of them where there may be more.
    fn between(
        &self,
        from: Bound<&[u8]>,
        until: Bound<&[u8]>,
    ) -> (BTreeMap<IVec, Option<IVec>>, Option<IVec>) {
        let mut changes = BTreeMap::new();
        let mut last: Option<IVec> = None;
        for generation in [&*self.leaving, &self.newest] {
            let within = generation.records.range::<[u8], _>((from, until));
            for (number, (key, value)) in within.enumerate() {
                if number >= CHANGES_LOOKED_AT {
                    break;
                }
                changes.insert(key.clone(), value.clone());
                if number.saturating_add(1) == CHANGES_LOOKED_AT {
                    last = Some(last.map_or_else(|| key.clone(), |last| last.min(key.clone())));
                }
            }
        }
        (changes, last)
    }
}

impl Iterator for Range<'_> {
    type Item = Result<(IVec, IVec), ViewError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(ready) = self.ready.pop_front() {
                return Some(Ok(ready));
            }
            let from = self.from.take()?;
            if let Err(error) = self.look(from) {
                return Some(Err(error));
            }
        }
    }
}

#[cfg(test)]
mod tests;
