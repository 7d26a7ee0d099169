//! Copies of a book: at every size, only what is new, faults at every operation, damage on either side, and erasing.

use std::cell::Cell;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use pourbook::log::{
    Copied, Copying, Fault, FaultKind, FileStore, FileStoreOptions, Files, Group, MemoryFiles, Store,
    StoreError, VaultKind,
};

use super::workshop::{BOOK, SECRET, assert_holds, buyer, disclosure, group, new_book, open};

const COPY: &str = "/disk/copy";
const SIZES: [u64; 6] = [1, 3, 2, 4, 1, 5];

fn groups() -> Vec<Group> {
    let mut first = 0;
    SIZES
        .into_iter()
        .map(|count| {
            first += count;
            group(first - count, count)
        })
        .collect()
}

/// The book with the first so many groups.
fn book_of(groups: &[Group]) -> MemoryFiles {
    let files = new_book();
    files.create_dirs(Path::new(COPY), 0o755).unwrap();
    let store = open(&files).unwrap();
    groups.iter().for_each(|group| store.append(group).unwrap());
    drop(store);
    files.crash(0);
    files
}

fn size_of(groups: &[Group]) -> u64 {
    groups.iter().map(|group| group.entries.len() as u64).sum()
}

fn copying(files: &MemoryFiles, size: u64, finished: u64) -> Copying<'static> {
    Copying {
        files: Arc::new(files.clone()),
        from: Path::new(BOOK),
        to: Path::new(COPY),
        size,
        finished,
    }
}

/// Log and vault, with erasures that entries order.
fn copy(files: &MemoryFiles, size: u64, finished: u64) -> Result<Copied, StoreError> {
    let copying = copying(files, size, finished);
    let log = copying.log(&mut |_| {})?;
    let vault = copying.vault(&|_, _| Ok(true), &mut |_| {})?;
    copying.prove_vault(&|_, _| Ok(false))?;
    Ok(Copied {
        groups: log.groups,
        written: log.written + vault.written,
        erased: vault.erased,
    })
}

fn open_copy(files: &MemoryFiles) -> Result<FileStore, StoreError> {
    FileStore::open(
        Path::new(COPY),
        FileStoreOptions::read_only(),
        Arc::new(files.clone()),
    )
}

fn with_erased(groups: &[Group]) -> Vec<Group> {
    let mut groups = groups.to_vec();
    for record in groups.iter_mut().flat_map(|group| &mut group.vault) {
        if record.index == 2 && record.kind == disclosure() {
            record.body = Vec::new();
        }
    }
    groups
}

fn in_copy(files: &MemoryFiles) -> Vec<(PathBuf, Vec<u8>)> {
    let all = files.contents().into_iter();
    all.filter(|(path, _)| path.starts_with(COPY)).collect()
}

#[test]
fn a_copy_holds_the_book_up_to_each_of_its_groups() {
    let all = groups();
    let files = book_of(&all);
    for count in 1..=all.len() {
        let copied = files.copy();
        let part = &all[..count];
        let done = copy(&copied, size_of(part), 0).unwrap();
        assert_eq!(done.groups, count as u64);
        assert_holds(&open_copy(&copied).unwrap(), part);
    }
    let between = copy(&files.copy(), 2, 0).unwrap_err();
    assert!(matches!(between, StoreError::Misfit { .. }), "{between}");
    let beyond = copy(&files.copy(), 17, 0).unwrap_err();
    assert!(matches!(beyond, StoreError::Misfit { .. }), "{beyond}");
}

#[test]
fn a_second_run_writes_only_what_is_new() {
    let all = groups();
    for early in 1..all.len() {
        let files = book_of(&all);
        let (part, whole) = (size_of(&all[..early]), size_of(&all));
        let first = copy(&files, part, 0).unwrap().written;
        let before = in_copy(&files);
        let second = copy(&files, whole, part).unwrap().written;
        assert!(first > 0 && second > 0);
        assert_holds(&open_copy(&files).unwrap(), &all);
        for (path, bytes) in before {
            let now = files.contents()[&path].clone();
            assert!(now.starts_with(&bytes), "{} was written over", path.display());
        }
        assert_eq!(copy(&files, whole, whole).unwrap().written, 0);
        let in_one = {
            let files = book_of(&all);
            copy(&files, whole, 0).unwrap().written
        };
        assert_eq!(first + second, in_one);
    }
}

#[test]
fn a_copy_is_taken_beside_a_writer() {
    let all = groups();
    let files = book_of(&all[..2]);
    let writer = open(&files).unwrap();
    let mut finished = 0;
    for (count, group) in (3..).zip(&all[2..]) {
        writer.append(group).unwrap();
        let size = size_of(&all[..count]);
        copy(&files, size, finished).unwrap();
        assert_holds(&open_copy(&files).unwrap(), &all[..count]);
        finished = size;
    }
}

#[test]
fn every_flipped_byte_on_either_side_is_told_and_the_copy_stays() {
    let all = groups();
    let files = book_of(&all);
    let (part, whole) = (size_of(&all[..4]), size_of(&all));
    copy(&files, part, 0).unwrap();
    let mut told = 0;
    for (path, bytes) in files.contents() {
        let of_log = path.parent().unwrap().ends_with("log");
        let of_vault = path.to_string_lossy().ends_with(".records");
        let end = bytes.iter().rposition(|byte| *byte != 0).unwrap_or(0);
        if !of_log && !of_vault {
            continue;
        }
        for byte in 0..end {
            let damaged = files.copy();
            damaged.patch(&path, |bytes| bytes[byte] ^= 4).unwrap();
            let before = in_copy(&damaged);
            let place = format!("{} byte {byte}", path.display());
            let outcome = copy(&damaged, whole, part);
            // Of the private records that are new, the body is only known when it is read with its key, from the copy.
            match outcome {
                Err(StoreError::Corrupt { at, .. }) => assert!(at.contains(", byte "), "{place}: {at}"),
                other => panic!("{place}: {other:?}"),
            }
            told += 1;
            for (path, bytes) in before {
                let now = damaged.contents()[&path].clone();
                assert!(now.starts_with(&bytes), "{place}: {} was changed", path.display());
            }
        }
    }
    assert!(told > 6_000, "{told}");
}

#[test]
fn what_was_erased_in_the_book_is_erased_in_the_copy_if_an_entry_says_so() {
    let all = groups();
    let files = book_of(&all);
    let whole = size_of(&all);
    copy(&files, whole, 0).unwrap();
    assert_holds(&open_copy(&files).unwrap(), &all);
    open(&files).unwrap().erase(2, &disclosure()).unwrap();

    let unordered = files.copy();
    let before = in_copy(&unordered);
    let never = copying(&unordered, whole, whole).vault(&|_, _| Ok(false), &mut |_| {});
    let why = never.unwrap_err().to_string();
    assert!(why.contains("no entry says so"), "{why}");
    assert_eq!(in_copy(&unordered), before);

    let asked = Cell::new(None);
    let ordered = |index: u64, kind: &VaultKind| {
        asked.set(Some((index, *kind == disclosure())));
        Ok(true)
    };
    let done = copying(&files, whole, whole)
        .vault(&ordered, &mut |_| {})
        .unwrap();
    assert_eq!((done.erased, asked.get()), (1, Some((2, true))));
    assert_holds(&open_copy(&files).unwrap(), &with_erased(&all));
    // The key and the body are both gone; what is left of the copy before the erasure opens nothing.
    let old_keys = before.iter().find(|(path, _)| path.ends_with("keys")).unwrap();
    let new_keys = &files.contents()[&old_keys.0];
    assert_eq!(old_keys.1.len(), new_keys.len());
    let slots = old_keys.1.chunks(40).zip(new_keys.chunks(40));
    let changed: Vec<_> = slots.filter(|(old, new)| old != new).collect();
    assert_eq!(changed.len(), 1);
    assert!(changed[0].1.iter().all(|byte| *byte == 0));
    let again = copying(&files, whole, whole)
        .vault(&ordered, &mut |_| {})
        .unwrap();
    assert_eq!(again.erased, 0);
    assert!(!buyer(2).is_empty());
}

#[test]
fn a_fault_at_any_operation_leaves_the_finished_copy_and_the_next_run_ends() {
    let all = groups();
    let files = book_of(&all);
    let (part, whole) = (size_of(&all[..3]), size_of(&all));
    copy(&files, part, 0).unwrap();
    open(&files).unwrap().erase(2, &disclosure()).unwrap();
    files.crash(0);
    let quiet = files.copy();
    quiet.set_fault(None);
    copy(&quiet, whole, part).unwrap();
    let operations = quiet.operations();
    assert!(operations > 60, "{operations}");
    let kinds = [
        FaultKind::Error,
        FaultKind::Torn,
        FaultKind::CrashBefore,
        FaultKind::CrashAfter,
    ];
    let mut tried = 0;
    for kind in kinds {
        for at in 0..operations {
            for seed in [1, 2] {
                let files = files.copy();
                files.set_fault(Some(Fault { at, kind }));
                let place = format!("{kind:?} at {at}, seed {seed}");
                assert!(copy(&files, whole, part).is_err(), "{place}: swallowed");
                files.set_fault(None);
                files.crash(seed);
                // What was finished before is there: every entry, and every private record that is not being erased.
                let copied = copying(&files, part, 0);
                let (readable, erased) = Copying {
                    from: Path::new(COPY),
                    ..copied
                }
                .prove_vault(&|index, _| Ok(index == 2))
                .unwrap_or_else(|why| panic!("{place}: {why}"));
                assert_eq!(readable + erased, 3, "{place}");
                let store = open_log_alone(&files, &place);
                for (index, entry) in all[..3].iter().flat_map(|group| &group.entries).enumerate() {
                    assert_eq!(store.read(index as u64).unwrap().as_ref(), Some(entry), "{place}");
                }
                copy(&files, whole, part).unwrap_or_else(|why| panic!("{place}: {why}"));
                assert_holds(&open_copy(&files).unwrap(), &with_erased(&all));
                tried += 1;
            }
        }
    }
    println!("{tried} faults while a copy was taken");
}

/// A run that failed leaves bytes that can be read and are on no disk. The run that ends the copy makes them durable.
#[test]
fn a_copy_that_a_second_run_ended_outlives_a_power_cut() {
    let all = groups();
    let files = book_of(&all);
    let (part, whole) = (size_of(&all[..2]), size_of(&all));
    copy(&files, part, 0).unwrap();
    let quiet = files.copy();
    quiet.set_fault(None);
    copy(&quiet, whole, part).unwrap();
    for at in 0..quiet.operations() {
        for kind in [FaultKind::Error, FaultKind::Torn] {
            for seed in 1..4 {
                let files = files.copy();
                files.set_fault(Some(Fault { at, kind }));
                assert!(copy(&files, whole, part).is_err());
                files.restart();
                copy(&files, whole, part).unwrap();
                files.crash(seed);
                let place = format!("{kind:?} at {at}, seed {seed}");
                let store = open_copy(&files).unwrap_or_else(|why| panic!("{place}: {why}"));
                assert_eq!(store.head().size, whole, "{place}");
                assert_holds(&store, &all);
            }
        }
    }
}

/// The log of the copy in a folder of its own: its vault may be ahead of it after a fault.
fn open_log_alone(files: &MemoryFiles, place: &str) -> FileStore {
    let alone = Path::new("/disk/alone");
    let files = files.copy();
    files.create_dirs(&alone.join("log"), 0o755).unwrap();
    for (path, bytes) in in_copy(&files) {
        if path.parent().unwrap().ends_with("log") {
            let to = alone.join("log").join(path.file_name().unwrap());
            files.write_new_synced(&to, &bytes, 0o644).unwrap();
        }
    }
    FileStore::open(alone, FileStoreOptions::read_only(), Arc::new(files))
        .unwrap_or_else(|why| panic!("{place}: {why}"))
}

#[test]
fn a_book_without_its_private_records_goes_on() {
    let all = groups();
    for covered in 0..all.len() {
        let files = book_of(&all);
        let (part, whole) = (size_of(&all[..covered]), size_of(&all));
        copying(&files, whole, 0).log(&mut |_| {}).unwrap();
        if covered > 0 {
            copying(&files, part, 0)
                .vault(&|_, _| Ok(true), &mut |_| {})
                .unwrap();
        }
        copying(&files, whole, part).without_records().unwrap();
        if covered == 0 {
            FileStore::found_secret(Path::new(COPY), &files, &SECRET).unwrap();
        }
        let options = super::workshop::options(None);
        let store = FileStore::open(Path::new(COPY), options, Arc::new(files.clone())).unwrap();
        let mut expected = all.clone();
        expected[covered..]
            .iter_mut()
            .for_each(|group| group.vault.clear());
        assert_holds(&store, &expected);
        let next = group(whole, 2);
        store.append(&next).unwrap();
        expected.push(next);
        assert_holds(&store, &expected);
    }
}

#[test]
fn a_backup_is_not_opened_for_writing() {
    let files = book_of(&groups());
    let marker = Path::new(BOOK).join(pourbook::log::MARKER);
    files.write_new_synced(&marker, b"{}", 0o644).unwrap();
    assert!(matches!(open(&files), Err(StoreError::Backup { .. })));
    assert!(super::workshop::open_read_only(&files).is_ok());
}
