//! Every fault at every operation, and then the whole book is held against what was acknowledged.

use pourbook::log::{Fault, FaultKind, Group, MemoryFiles, Store, StoreError, VaultKind};

use super::workshop::{assert_holds, disclosure, group, new_book, note, open};

/// What a process was told before it stopped.
#[derive(Default)]
struct Told {
    acknowledged: Vec<Group>,
    /// The group whose append failed, if one did.
    doubtful: Option<Group>,
    erased: bool,
    erase_failed: bool,
    pinned: u64,
    pin_failed: Option<u64>,
}

const SIZES: [u64; 6] = [1, 3, 2, 4, 1, 5];

/// Opens, appends six groups over several segments, pins, erases; stops at the first failure, as a process would.
fn work(files: &MemoryFiles, told: &mut Told) -> Result<(), StoreError> {
    let store = open(files)?;
    let mut first = 0;
    for (turn, count) in SIZES.into_iter().enumerate() {
        let group = group(first, count);
        first += count;
        if let Err(error) = store.append(&group) {
            told.doubtful = Some(group);
            // A store that has failed stays shut.
            assert!(matches!(
                store.append(&super::workshop::group(0, 1)),
                Err(StoreError::Poisoned)
            ));
            assert!(matches!(store.pin(&note(0)), Err(StoreError::Poisoned)));
            assert!(matches!(
                store.erase(0, &VaultKind::Request),
                Err(StoreError::Poisoned)
            ));
            return Err(error);
        }
        told.acknowledged.push(group);
        if turn == 2 {
            told.pin_failed = Some(first);
            store.pin(&note(first))?;
            told.pin_failed = None;
            told.pinned = first;
            told.erase_failed = true;
            store.erase(2, &disclosure())?;
            told.erase_failed = false;
            told.erased = true;
        }
    }
    Ok(())
}

/// The groups with entry 2's disclosure as it now is.
fn with_erased(groups: &[Group], erased: bool) -> Vec<Group> {
    let mut groups = groups.to_vec();
    for record in groups.iter_mut().flat_map(|group| &mut group.vault) {
        if erased && record.index == 2 && record.kind == disclosure() {
            record.body = Vec::new();
        }
    }
    groups
}

/// Opens after the fault and holds everything against what was told.
fn look(files: &MemoryFiles, told: &Told, place: &str) {
    let store = open(files).unwrap_or_else(|error| panic!("{place}: {error}"));
    let acknowledged: u64 = told
        .acknowledged
        .iter()
        .map(|group| group.entries.len() as u64)
        .sum();
    let mut expected = told.acknowledged.clone();
    if store.head().size != acknowledged {
        let doubtful = told
            .doubtful
            .clone()
            .unwrap_or_else(|| panic!("{place}: {:?}", store.head()));
        expected.push(doubtful);
    }
    if told.erase_failed {
        // Begun but not answered: it is repeated at opening, as the recorder's log says it must be.
        store
            .erase(2, &disclosure())
            .unwrap_or_else(|error| panic!("{place}: {error}"));
    }
    assert_holds(&store, &with_erased(&expected, told.erased || told.erase_failed));
    let pinned = store.pinned();
    let doubtful_pin = told.pin_failed.map(note);
    let known_pin = (told.pinned > 0).then(|| note(told.pinned));
    assert!(
        pinned == known_pin || (pinned.is_some() && pinned == doubtful_pin),
        "{place}: {pinned:?}"
    );
    // And work goes on.
    let next = group(store.head().size, 3);
    store.append(&next).unwrap();
    expected.push(next);
    drop(store);
    files.crash(99);
    let store = open(files).unwrap();
    assert_holds(&store, &with_erased(&expected, told.erased || told.erase_failed));
}

fn operations_of_the_work() -> u64 {
    let files = new_book();
    files.set_fault(None);
    work(&files, &mut Told::default()).unwrap();
    files.operations()
}

fn run(kind: FaultKind, power_cut: bool, seeds: &[u64]) {
    let operations = operations_of_the_work();
    assert!(operations > 100, "{operations}");
    for at in 0..operations {
        for &seed in seeds {
            let files = new_book();
            files.set_fault(Some(Fault { at, kind }));
            let mut told = Told::default();
            let done = work(&files, &mut told);
            assert!(done.is_err(), "the fault at {at} was swallowed");
            if power_cut {
                files.crash(seed)
            } else {
                files.restart()
            }
            look(
                &files,
                &told,
                &format!("{kind:?} at operation {at}, seed {seed}, power cut {power_cut}"),
            );
        }
    }
}

#[test]
fn an_error_anywhere_and_a_new_process() {
    run(FaultKind::Error, false, &[0]);
}

#[test]
fn an_error_anywhere_and_a_power_cut() {
    run(FaultKind::Error, true, &[1, 2, 3]);
}

#[test]
fn a_torn_write_anywhere_and_a_new_process() {
    run(FaultKind::Torn, false, &[0]);
}

#[test]
fn a_torn_write_anywhere_and_a_power_cut() {
    run(FaultKind::Torn, true, &[1, 2, 3]);
}

#[test]
fn a_power_cut_before_anything() {
    run(FaultKind::CrashBefore, true, &[1, 2, 3, 4, 5, 6]);
}

#[test]
fn a_power_cut_after_anything() {
    run(FaultKind::CrashAfter, true, &[1, 2, 3, 4, 5, 6]);
}

/// What no program can mend: the disk says "durable" and forgets. The book may then end earlier or be refused, but it
/// never shows an entry or a private record that was not written.
#[test]
fn a_disk_that_lies_about_a_sync_loses_or_refuses_but_never_invents() {
    let (mut whole, mut shorter, mut refused) = (0, 0, 0);
    for at in 0..operations_of_the_work() {
        for seed in [1, 2, 3] {
            let files = new_book();
            files.set_fault(Some(Fault {
                at,
                kind: FaultKind::LostSync,
            }));
            let mut told = Told::default();
            work(&files, &mut told).unwrap();
            files.crash(seed);
            let place = format!("lost sync at {at}, seed {seed}");
            match open(&files) {
                Err(StoreError::Corrupt { .. } | StoreError::BehindPin { .. }) => refused += 1,
                Err(StoreError::Io { path, .. }) => panic!("{place}: {path}"),
                Err(other) => panic!("{place}: {other}"),
                Ok(store) => {
                    let size = store.head().size;
                    let mut kept = told.acknowledged.clone();
                    kept.retain(|group| group.first < size);
                    if kept.len() == told.acknowledged.len() {
                        whole += 1
                    } else {
                        shorter += 1
                    }
                    assert_holds_entries(&store, &kept, &place);
                }
            }
        }
    }
    assert!(whole > 0 && shorter > 0, "{whole} {shorter} {refused}");
}

fn assert_holds_entries(store: &dyn Store, groups: &[Group], place: &str) {
    let entries: Vec<_> = groups.iter().flat_map(|group| group.entries.clone()).collect();
    assert_eq!(store.head().size, entries.len() as u64, "{place}");
    for (index, entry) in entries.iter().enumerate() {
        assert_eq!(store.read(index as u64).unwrap().as_ref(), Some(entry), "{place}");
        for record in store.private(index as u64).unwrap_or_default() {
            let written = groups.iter().flat_map(|group| &group.vault);
            let fits = |known: &&pourbook::log::VaultRecord| {
                known.index == record.index
                    && known.kind == record.kind
                    && (record.body.is_empty() || known.body == record.body)
            };
            assert!(written.filter(fits).count() == 1, "{place}: {record:?}");
        }
    }
}

/// A store that failed in the middle of a group knows no more what stands on the disk. Whoever goes on with it, with another group
/// in the place of the one that failed, is refused, or what they were told holds: never a book that does not open.
#[test]
fn who_goes_on_after_a_failure_spoils_nothing() {
    let operations = {
        let files = new_book();
        let store = open(&files).unwrap();
        files.set_fault(None);
        store.append(&group(0, 1)).unwrap();
        files.operations()
    };
    let mut between = 0;
    for at in 0..operations {
        for kind in [FaultKind::Error, FaultKind::Torn] {
            let place = format!("{kind:?} at operation {at}");
            let files = new_book();
            let store = open(&files).unwrap();
            files.set_fault(Some(Fault { at, kind }));
            store.append(&group(0, 1)).unwrap_err();
            let others = group(0, 3);
            let told = store.append(&others);
            drop(store);
            files.restart();
            let store = open(&files).unwrap_or_else(|error| panic!("{place}: went on, and now {error}"));
            match (told, store.head().size) {
                (Ok(()), _) => assert_holds(&store, &[others]),
                (Err(_), 0) => assert_holds(&store, &[]),
                (Err(_), _) => {
                    between += 1;
                    assert_holds(&store, &[group(0, 1)]);
                }
            }
        }
    }
    assert!(between > 0, "no failure came between the write and the answer");
}

/// After a failed sync the bytes may be readable and yet not be on the disk; the next opening must make them so.
#[test]
fn a_group_found_after_a_failed_sync_is_durable_before_it_counts() {
    let operations = operations_of_the_work();
    let mut found = 0;
    for at in 0..operations {
        let files = new_book();
        files.set_fault(Some(Fault {
            at,
            kind: FaultKind::Error,
        }));
        let mut told = Told::default();
        work(&files, &mut told).unwrap_err();
        files.restart();
        let size = open(&files).unwrap().head().size;
        let acknowledged: u64 = told
            .acknowledged
            .iter()
            .map(|group| group.entries.len() as u64)
            .sum();
        found += u64::from(size > acknowledged);
        for seed in 0..4 {
            let later = files.copy();
            later.crash(seed);
            assert_eq!(
                open(&later).unwrap().head().size,
                size,
                "operation {at}, seed {seed}"
            );
        }
    }
    assert!(found > 0, "no failed sync left a group behind");
}

#[test]
fn a_read_only_opening_takes_no_lock_and_changes_nothing() {
    let files = new_book();
    let mut told = Told::default();
    work(&files, &mut told).unwrap();
    let writing = open(&files).unwrap();
    let before = files.contents();
    let reading = super::workshop::open_read_only(&files).unwrap();
    assert_eq!(reading.head().size, writing.head().size);
    assert!(matches!(
        reading.append(&group(writing.head().size, 1)),
        Err(StoreError::ReadOnly)
    ));
    drop(reading);
    assert_eq!(files.contents(), before);
}
