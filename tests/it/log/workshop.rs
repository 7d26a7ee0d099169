//! What the tests of the store share: groups made from numbers, and ways to open a small book.

use std::path::Path;
use std::sync::Arc;

use pourbook::log::{
    FileStore, FileStoreOptions, Files, Group, MemoryFiles, Store, StoreError, VaultKind, VaultRecord,
};

pub const BOOK: &str = "/shop/book";
pub const SECOND_PIN: &str = "/stick/pin";
pub const SECRET: [u8; 32] = [7; 32];

/// The value of the private member `buyer` of an entry.
pub fn buyer(index: u64) -> Vec<u8> {
    format!("[\"salt{index}\",\"buyer\",\"Odalys Ferncastle the {index}th\"]").into_bytes()
}

pub fn note(size: u64) -> String {
    format!("brackenfold.example/log\n{size}\nroot of {size}\n\n\u{2014} brackenfold.example/log signature\n")
}

pub fn disclosure() -> VaultKind {
    VaultKind::Disclosure {
        event: 0,
        member: "buyer".into(),
    }
}

/// A group of `count` entries from `first` on; every entry has a request record, every even one a disclosure.
pub fn group(first: u64, count: u64) -> Group {
    let entries = (first..first + count)
        .map(|index| Arc::from(entry(index)))
        .collect();
    let mut vault = Vec::new();
    for index in first..first + count {
        vault.push(VaultRecord {
            index,
            kind: VaultKind::Request,
            body: vec![index as u8 + 1; 32],
        });
        if index % 2 == 0 {
            vault.push(VaultRecord {
                index,
                kind: disclosure(),
                body: buyer(index),
            });
        }
    }
    Group {
        first,
        entries,
        checkpoint: note(first + count),
        vault,
    }
}

/// Entries of very different lengths.
pub fn entry(index: u64) -> Vec<u8> {
    let length = 20 + (index * 37 % 90) as usize + if index == 5 { 3000 } else { 0 };
    format!("entry {index} ")
        .into_bytes()
        .into_iter()
        .cycle()
        .take(length)
        .collect()
}

/// Keys that are all different and not zero.
pub fn chance() -> Box<dyn FnMut() -> [u8; 32] + Send> {
    let mut drawn = 0_u64;
    Box::new(move || {
        drawn += 1;
        let mut key = [0x5A; 32];
        key[..8].copy_from_slice(&drawn.to_le_bytes());
        key
    })
}

pub fn options(second_pin: Option<&Path>) -> FileStoreOptions {
    FileStoreOptions {
        segment_bytes: 1024,
        second_pin: second_pin.map(Path::to_owned),
        ..FileStoreOptions::new(chance())
    }
}

/// A new book on files in memory, with both pins.
pub fn new_book() -> MemoryFiles {
    let files = MemoryFiles::new();
    files.create_dirs(Path::new("/stick"), 0o755).unwrap();
    files.create_dirs(Path::new("/shop"), 0o755).unwrap();
    FileStore::create(Path::new(BOOK), &files, &SECRET).unwrap();
    files
}

pub fn open(files: &MemoryFiles) -> Result<FileStore, StoreError> {
    FileStore::open(
        Path::new(BOOK),
        options(Some(Path::new(SECOND_PIN))),
        Arc::new(files.clone()),
    )
}

pub fn open_read_only(files: &MemoryFiles) -> Result<FileStore, StoreError> {
    let options = FileStoreOptions {
        second_pin: Some(SECOND_PIN.into()),
        ..FileStoreOptions::read_only()
    };
    FileStore::open(Path::new(BOOK), options, Arc::new(files.clone()))
}

/// Holds everything in a store against the groups that it should have.
pub fn assert_holds(store: &dyn Store, groups: &[Group]) {
    let size = groups.iter().map(|group| group.entries.len() as u64).sum::<u64>();
    let head = store.head();
    assert_eq!(head.size, size);
    assert_eq!(
        head.checkpoint,
        groups.last().map(|group| group.checkpoint.clone())
    );
    let entries: Vec<_> = groups.iter().flat_map(|group| group.entries.clone()).collect();
    for (index, entry) in entries.iter().enumerate() {
        assert_eq!(
            store.read(index as u64).unwrap().as_ref(),
            Some(entry),
            "entry {index}"
        );
    }
    assert_eq!(store.read(size).unwrap(), None);
    for from in [0, 1, size / 2, size] {
        let mut seen = Vec::new();
        store
            .scan(from, &mut |index, bytes| {
                assert_eq!(index, from + seen.len() as u64);
                seen.push(Arc::from(bytes));
                true
            })
            .unwrap();
        assert_eq!(
            seen,
            entries.get(from as usize..).unwrap_or_default(),
            "scan from {from}"
        );
    }
    for group in groups {
        for index in group.first..group.first + group.entries.len() as u64 {
            let expected: Vec<_> = group
                .vault
                .iter()
                .filter(|record| record.index == index)
                .cloned()
                .collect();
            assert_eq!(
                store.private(index).unwrap(),
                expected,
                "private records of {index}"
            );
        }
    }
    assert_eq!(store.private(size).unwrap(), []);
}
