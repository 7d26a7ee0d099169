//! All that the views know: records in the order of their keys, those that changed lately in memory, all others in sled.
//!
//! A write to sled costs more than the rest of following an entry. So what a batch of entries changes stands in memory
//! first, where readers see the whole of it at once, and goes to sled behind: a session that moves a thousand times a second
//! is written once, and neighbours are written together (`sheets`). What is in memory only is followed again after a restart,
//! for sled's position is written after all that was changed up to it.
//!
//! Changes go to sled in two generations. `leaving` is closed and is written bit by bit; `newest` takes what changes
//! meanwhile, and leaves once the other is gone. Readers look at `newest`, then at `leaving`, then at sled, in that order:
//! what left memory in between is in sled already.

use super::ViewError;
use super::sheets::{self, Change, Records, split};
use sled::IVec;
use std::collections::{BTreeMap, VecDeque};
use std::ops::Bound;
use std::sync::{Mutex, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

/// How many records leave memory at a time: about a millisecond of work.
const LEAVING_TOGETHER: usize = 512;
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

    fn first(&self) -> Vec<Change> {
        let first = self.records.iter().take(LEAVING_TOGETHER);
        first.map(|(key, value)| (key.clone(), value.clone())).collect()
    }

    fn drop_first(&mut self, count: usize) -> Vec<Change> {
        let mut dropped = Vec::with_capacity(count);
        while dropped.len() < count
            && let Some((key, value)) = self.records.pop_first()
        {
            self.bytes = self.bytes.saturating_sub(Self::cost(&key, value.as_ref()));
            dropped.push((key, value));
        }
        dropped
    }
}

#[derive(Default)]
struct Unsettled {
    newest: Changes,
    leaving: Changes,
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
        {
            let Unsettled { newest, leaving } = &*self.read();
            let changed = newest.records.get(key).or_else(|| leaving.records.get(key));
            if let Some(changed) = changed {
                return Ok(changed.clone());
            }
        }
        let (sheet, within) = split(key);
        let sheet = self.kept.get(sheet)?;
        sheet.map_or(Ok(None), |sheet| sheets::find(&sheet, within))
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
        let Unsettled { newest, leaving } = &*self.read();
        newest.bytes.saturating_add(leaving.bytes)
    }

    /// Writes some of what sled does not have yet; whether anything is left. Once a generation is written, and only then,
    /// the position behind it is.
    pub fn settle_some(&self) -> Result<bool, ViewError> {
        let _alone = self.settling.lock().unwrap_or_else(PoisonError::into_inner);
        let first = self.read().leaving.first();
        if first.is_empty() {
            let followed = self.read().leaving.followed.clone();
            if let Some(followed) = followed {
                self.db.flush()?;
                self.db.insert(POSITION, followed)?;
            }
            let Unsettled { newest, leaving } = &mut *self.write();
            *leaving = std::mem::take(newest);
            return Ok(leaving.followed.is_some());
        }
        for changes in first.chunk_by(|(one, _), (other, _)| split(one).0 == split(other).0) {
            let Some((key, _)) = changes.first() else { continue };
            let sheet = split(key).0;
            let before = self.kept.get(sheet)?;
            match sheets::changed(before.as_deref(), changes)? {
                Some(after) => self.kept.insert(sheet, after)?,
                None => self.kept.remove(sheet)?,
            };
        }
        // Freed after the lock.
        let _gone = self.write().leaving.drop_first(first.len());
        Ok(true)
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
    /// The first changes within bounds, and the key of the last of them where there may be more.
    fn between(
        &self,
        from: Bound<&[u8]>,
        until: Bound<&[u8]>,
    ) -> (BTreeMap<IVec, Option<IVec>>, Option<IVec>) {
        let mut changes = BTreeMap::new();
        let mut last: Option<IVec> = None;
        for generation in [&self.leaving, &self.newest] {
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
mod tests {
    use super::super::keys::{Aspect, Cursor, Home};
    use super::super::{Views, config};
    use super::{LEAVING_TOGETHER, Shelf};
    use sled::IVec;
    use std::collections::BTreeMap;
    use std::ops::Bound;
    use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

    fn shelf() -> Shelf {
        Shelf::open(config().temporary(true).open().unwrap()).unwrap()
    }

    /// Keys of things that share sheets, and of records that have one each.
    fn key(number: u64) -> Vec<u8> {
        let cursor = Cursor {
            index: number / 100,
            place: u32::try_from(number % 50).unwrap(),
        };
        match number % 3 {
            0 => format!("n{number}").into_bytes(),
            _ => Home { table: 7, cursor }.key(Aspect::Row).to_vec(),
        }
    }

    fn all(shelf: &Shelf, from: Bound<Vec<u8>>, end: &[u8]) -> Vec<(Vec<u8>, Vec<u8>)> {
        let found = shelf.range(from, end.to_vec()).map(Result::unwrap);
        found.map(|(key, value)| (key.to_vec(), value.to_vec())).collect()
    }

    /// Whatever stands in memory, is leaving it or has left it: what is found is what a plain map has.
    #[test]
    fn memory_and_sled_answer_as_one_map() {
        let shelf = shelf();
        let mut model: BTreeMap<Vec<u8>, Vec<u8>> = BTreeMap::new();
        let mut draw = 7_u64;
        let mut below = |bound: u64| {
            draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (draw >> 33) % bound
        };
        for round in 0..300_u64 {
            let mut changes = BTreeMap::new();
            for _ in 0..below(60) {
                let key = key(below(2_000));
                let value =
                    (below(4) > 0).then(|| vec![round.to_be_bytes()[7]; usize::try_from(below(90)).unwrap()]);
                match &value {
                    Some(value) => model.insert(key.clone(), value.clone()),
                    None => model.remove(&key),
                };
                changes.insert(IVec::from(key), value.map(IVec::from));
            }
            shelf.show(changes, round.to_be_bytes().to_vec());
            for _ in 0..below(4) {
                shelf.settle_some().unwrap();
            }
            for _ in 0..20 {
                let key = key(below(2_000));
                let found = shelf.find(&key).unwrap().map(|value| value.to_vec());
                assert_eq!(found.as_ref(), model.get(&key), "round {round}");
            }
            let (one, other) = (key(below(2_000)), key(below(2_000)));
            let (low, high) = (one.clone().min(other.clone()), one.max(other));
            for from in [Bound::Included(low.clone()), Bound::Excluded(low)] {
                let wanted = model.range((from.clone(), Bound::Unbounded));
                let wanted = wanted.take_while(|(key, _)| **key < high);
                let wanted: Vec<_> = wanted.map(|(key, value)| (key.clone(), value.clone())).collect();
                assert_eq!(all(&shelf, from, &high), wanted, "round {round}");
            }
        }
        while shelf.settle_some().unwrap() {}
        assert_eq!(
            shelf.unsettled_bytes(),
            0,
            "what has left memory is not counted any more"
        );
        let wanted: Vec<_> = model.into_iter().collect();
        assert_eq!(all(&shelf, Bound::Unbounded, &[255]), wanted);
    }

    /// A process that ends anywhere leaves a position that is not ahead of its rows.
    #[test]
    fn the_position_is_written_after_all_that_it_stands_for() {
        let folder = tempfile::tempdir().unwrap();
        let open = || {
            for _ in 0..1_000 {
                match config().path(folder.path()).open() {
                    Ok(db) => return Shelf::open(db).unwrap(),
                    Err(_) => std::thread::sleep(std::time::Duration::from_millis(5)),
                }
            }
            panic!("the lock is still held");
        };
        let many = u64::try_from(LEAVING_TOGETHER).unwrap() * 3;
        for steps in 0..9 {
            let shelf = open();
            shelf.clear().unwrap();
            let first = (0..many).map(|number| (IVec::from(key(number * 3)), Some(IVec::from(b"first"))));
            shelf.show(first, b"first".to_vec());
            for step in 0..steps {
                shelf.settle_some().unwrap();
                if step == 0 {
                    // While the first leave, others come.
                    let next =
                        (0..many).map(|number| (IVec::from(key(number * 3)), Some(IVec::from(b"next"))));
                    shelf.show(next, b"next".to_vec());
                }
            }
            drop(shelf);
            let shelf = open();
            let stands = |at_least: &[&[u8]]| {
                (0..many).all(|number| {
                    let found = shelf.find(&key(number * 3)).unwrap();
                    found.is_some_and(|found| at_least.contains(&found.as_ref()))
                })
            };
            match shelf.followed().unwrap().as_deref() {
                None => assert!(steps < 5, "{steps}"),
                Some(b"first") => assert!(stands(&[b"first", b"next"]), "{steps}"),
                Some(b"next") => assert!(stands(&[b"next"]), "{steps}"),
                other => panic!("{other:?}"),
            }
        }
    }

    /// What is shown together is seen together, and what was shown is never missed, while it goes from memory to sled.
    #[test]
    fn a_reader_sees_whole_batches_and_misses_nothing_that_was_shown() {
        let shelf = shelf();
        let (shown, over) = (AtomicU64::new(0), AtomicBool::new(false));
        let ends: [&[u8]; 2] = [b"a", b"z"];
        std::thread::scope(|scope| {
            scope.spawn(|| {
                while !over.load(Ordering::SeqCst) {
                    shelf.settle_some().unwrap();
                }
            });
            scope.spawn(|| {
                for number in 1..4_000_u64 {
                    let value = IVec::from(&number.to_be_bytes());
                    let mut changes: BTreeMap<IVec, Option<IVec>> = BTreeMap::new();
                    changes.extend(ends.map(|end| (IVec::from(end), Some(value.clone()))));
                    let added = [b"m".as_slice(), &number.to_be_bytes()].concat();
                    changes.insert(added.into(), Some(value));
                    shelf.show(changes, Vec::new());
                    shown.store(number, Ordering::SeqCst);
                }
                over.store(true, Ordering::SeqCst);
            });
            scope.spawn(|| {
                while !over.load(Ordering::SeqCst) {
                    let before = shown.load(Ordering::SeqCst);
                    let from = before.saturating_sub(90);
                    let begin = [b"m".as_slice(), &from.to_be_bytes()].concat();
                    let seen = all(&shelf, Bound::Excluded(begin), b"n");
                    let seen = seen
                        .iter()
                        .map(|(_, value)| u64::from_be_bytes(value[..].try_into().unwrap()));
                    let seen: Vec<u64> = seen.filter(|number| *number <= before).collect();
                    assert_eq!(seen, (from + 1..=before).collect::<Vec<_>>());
                    let Some(a) = shelf.find(b"a").unwrap() else {
                        continue;
                    };
                    let z = shelf.find(b"z").unwrap().unwrap();
                    assert!(a <= z, "{a:?} {z:?}");
                }
            });
        });
    }

    /// Two things change their places again and again; whoever asks for one never gets the other.
    #[test]
    fn a_thing_is_never_taken_for_the_one_that_took_its_place() {
        use super::super::draft::Draft;
        use uuid::Uuid;
        let views = Views::temporary().unwrap();
        let ids = [1, 2].map(Uuid::from_u128);
        let homes = [1, 2].map(|place| Home {
            table: 7,
            cursor: Cursor { index: 1, place },
        });
        let over = AtomicBool::new(false);
        let house = |turned: bool| {
            let shelf = &views.inner.shelf;
            let mut draft = Draft::new(shelf);
            for (id, home) in ids.iter().zip(if turned { [homes[1], homes[0]] } else { homes }) {
                draft.put(&super::super::keys::home_key(*id), home.to_bytes().to_vec());
                draft.put(&home.key(Aspect::Row), id.as_bytes().to_vec());
            }
            draft.show(Vec::new());
        };
        house(false);
        std::thread::scope(|scope| {
            scope.spawn(|| {
                for round in 0..100_000 {
                    house(round % 2 == 0);
                }
                over.store(true, Ordering::SeqCst);
            });
            while !over.load(Ordering::SeqCst) {
                let (_, found) = views.at_home(ids[0], Aspect::Row, |_| true).unwrap().unwrap();
                assert_eq!(found, ids[0].as_bytes());
            }
        });
    }
}
