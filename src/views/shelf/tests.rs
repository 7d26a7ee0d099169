//! Memory and sled as one, whatever is on its way from the one to the other.

use super::super::draft::Draft;
use super::super::keys::{Aspect, Home};
use super::super::{ViewError, Views, config};
use super::{SheetsRead, Shelf, Unsettled};
use sled::IVec;
use std::collections::BTreeMap;
use std::ops::Bound;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use uuid::Uuid;

fn shelf() -> Shelf {
    Shelf::open(config().temporary(true).open().unwrap()).unwrap()
}

/// Keys of things that share sheets, and of records that have one each.
fn key(number: u64) -> Vec<u8> {
    let home = Home {
        table: 7,
        since: number / 20,
    };
    match number % 3 {
        0 => format!("n{number}").into_bytes(),
        _ => home.key(Uuid::from_u128(number.into()), Aspect::Row).to_vec(),
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
    let mut read = SheetsRead::default();
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
        if below(3) == 0 {
            shelf.settle().unwrap();
        } else if below(3) == 0 {
            // What is on its way out is found as well.
            let Unsettled { newest, leaving, .. } = &mut *shelf.write();
            if leaving.followed.is_none() {
                *leaving = Arc::new(std::mem::take(newest));
            }
        }
        for _ in 0..20 {
            let key = key(below(2_000));
            let found = shelf.find(&key).unwrap().map(|value| value.to_vec());
            assert_eq!(found.as_ref(), model.get(&key), "round {round}");
            let found = shelf
                .find_again(&key, &mut read)
                .unwrap()
                .map(|value| value.to_vec());
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
    shelf.settle().unwrap();
    assert_eq!(
        shelf.unsettled_bytes(),
        0,
        "what has left memory is not counted any more"
    );
    let wanted: Vec<_> = model.into_iter().collect();
    assert_eq!(all(&shelf, Bound::Unbounded, &[255]), wanted);
}

/// A settling that ends in between leaves a position that is not ahead of its rows, and nothing is lost from memory.
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
    let show = |shelf: &Shelf, value: &[u8]| {
        let changes = [b"n1", b"n2", b"n3"].map(|key| (IVec::from(key), Some(IVec::from(value))));
        shelf.show(changes, value.to_vec());
    };
    let values = |shelf: &Shelf| [b"n1", b"n2", b"n3"].map(|key| shelf.find(key).unwrap().unwrap().to_vec());
    let shelf = open();
    show(&shelf, b"first");
    shelf.settle().unwrap();
    // The last sheet cannot be written.
    shelf.kept.insert(b"n3", b"no sheet").unwrap();
    show(&shelf, b"second");
    assert!(matches!(shelf.settle(), Err(ViewError::Unreadable("sheets"))));
    assert_eq!(shelf.followed().unwrap().unwrap(), b"first");
    show(&shelf, b"third");
    assert_eq!(values(&shelf), [b"third"; 3]);
    assert!(
        shelf.settle().is_err(),
        "what failed is tried again before anything else"
    );
    assert_eq!(values(&shelf), [b"third"; 3]);
    drop(shelf);
    let shelf = open();
    assert_eq!(shelf.followed().unwrap().unwrap(), b"first");
    assert_eq!(
        shelf.find(b"n1").unwrap().unwrap(),
        b"second",
        "rows may be ahead"
    );
    shelf.kept.remove(b"n3").unwrap();
    show(&shelf, b"third");
    shelf.settle().unwrap();
    drop(shelf);
    let shelf = open();
    assert_eq!(
        (values(&shelf), shelf.followed().unwrap().unwrap().to_vec()),
        ([b"third"; 3].map(|v| v.to_vec()), b"third".to_vec())
    );
}

const READERS: usize = 8;

/// What is shown together is seen together, and what was shown is never missed, while it goes from memory to sled.
#[test]
fn a_reader_sees_whole_batches_and_misses_nothing_that_was_shown() {
    let shelf = shelf();
    let (shown, over) = (AtomicU64::new(0), AtomicBool::new(false));
    let ends: [&[u8]; 2] = [b"a", b"z"];
    std::thread::scope(|scope| {
        scope.spawn(|| {
            while !over.load(Ordering::SeqCst) {
                shelf.settle().unwrap();
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
        let read = || {
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
        };
        // More than there are cores, so that some are put aside in the middle of looking.
        for _ in 0..READERS {
            scope.spawn(read);
        }
    });
}

/// A thing stands elsewhere after each correction; whoever asks for it finds it all the same.
#[test]
fn a_thing_is_found_while_it_is_moved() {
    let views = Views::temporary().unwrap();
    let id = Uuid::from_u128(1);
    let over = AtomicBool::new(false);
    let house = |since: u64| {
        let mut draft = Draft::new(&views.inner.shelf);
        draft.house(id, Home { table: 7, since }).unwrap();
        draft.show(Vec::new());
    };
    house(0);
    let mut draft = Draft::new(&views.inner.shelf);
    draft.put(&Home { table: 7, since: 0 }.key(id, Aspect::Row), b"a row");
    draft.show(Vec::new());
    std::thread::scope(|scope| {
        scope.spawn(|| {
            (1..100_000).for_each(house);
            over.store(true, Ordering::SeqCst);
        });
        while !over.load(Ordering::SeqCst) {
            let found = views.at_home(id, Aspect::Row, |_| true).unwrap();
            assert_eq!(found.unwrap().1, b"a row");
        }
    });
}
