//! One suite of promises that every store keeps.

use std::path::Path;
use std::sync::Arc;

use pourbook::log::{FileStore, Group, MemoryStore, RealFiles, Store, StoreError, VaultKind, VaultRecord};

use super::workshop::{SECRET, assert_holds, buyer, disclosure, group, new_book, note, open, options};

/// A way to make an empty store and to open it again as another process would.
trait Kind {
    fn open(&mut self) -> Box<dyn Store>;
}

struct InMemory(Option<Arc<MemoryStore>>);
struct OnMemoryFiles(pourbook::log::MemoryFiles);
struct OnDisk(tempfile::TempDir);

struct Shared(Arc<MemoryStore>);

impl Store for Shared {
    fn head(&self) -> pourbook::log::Head {
        self.0.head()
    }
    fn append(&self, group: &Group) -> Result<(), StoreError> {
        self.0.append(group)
    }
    fn read(&self, index: u64) -> Result<Option<Arc<[u8]>>, StoreError> {
        self.0.read(index)
    }
    fn sealed(&self, size: u64) -> Result<Option<String>, StoreError> {
        self.0.sealed(size)
    }
    fn scan(&self, from: u64, each: &mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), StoreError> {
        self.0.scan(from, each)
    }
    fn private(&self, index: u64) -> Result<Vec<VaultRecord>, StoreError> {
        self.0.private(index)
    }
    fn erase(&self, index: u64, kind: &VaultKind) -> Result<(), StoreError> {
        self.0.erase(index, kind)
    }
    fn pin(&self, released: &str) -> Result<(), StoreError> {
        self.0.pin(released)
    }
    fn pinned(&self) -> Option<String> {
        self.0.pinned()
    }
}

impl Kind for InMemory {
    fn open(&mut self) -> Box<dyn Store> {
        let next = Arc::new(
            self.0
                .as_ref()
                .map_or_else(MemoryStore::default, |store| store.reopen()),
        );
        self.0 = Some(Arc::clone(&next));
        Box::new(Shared(next))
    }
}

impl Kind for OnMemoryFiles {
    fn open(&mut self) -> Box<dyn Store> {
        Box::new(open(&self.0).unwrap())
    }
}

impl Kind for OnDisk {
    fn open(&mut self) -> Box<dyn Store> {
        let second = self.0.path().join("second-pin");
        Box::new(
            FileStore::open(
                &self.0.path().join("book"),
                options(Some(&second)),
                Arc::new(RealFiles),
            )
            .unwrap(),
        )
    }
}

fn check(promise: impl Fn(&mut dyn Kind)) {
    promise(&mut InMemory(None));
    promise(&mut OnMemoryFiles(new_book()));
    let dir = tempfile::tempdir().unwrap();
    FileStore::create(&dir.path().join("book"), &RealFiles, &SECRET).unwrap();
    promise(&mut OnDisk(dir));
}

fn four_groups() -> Vec<Group> {
    vec![group(0, 1), group(1, 3), group(4, 7), group(11, 2)]
}

#[test]
fn a_new_store_is_empty() {
    check(|kind| {
        let store = kind.open();
        assert_holds(&*store, &[]);
        assert_eq!(store.pinned(), None);
    });
}

#[test]
fn what_is_appended_is_there_now_and_at_the_next_opening() {
    check(|kind| {
        let groups = four_groups();
        let store = kind.open();
        for (count, group) in groups.iter().enumerate() {
            store.append(group).unwrap();
            assert_holds(&*store, &groups[..=count]);
        }
        drop(store);
        assert_holds(&*kind.open(), &groups);
    });
}

#[test]
fn the_checkpoint_of_each_group_is_found_by_the_size_after_it_and_by_no_other() {
    check(|kind| {
        let holds = |store: &dyn Store| {
            for size in 0..=14 {
                let mut groups = four_groups().into_iter();
                let ended = groups.find(|group| group.first + group.entries.len() as u64 == size);
                let wanted = ended.map(|group| group.checkpoint);
                assert_eq!(store.sealed(size).unwrap(), wanted, "size {size}");
            }
        };
        let store = kind.open();
        for group in four_groups() {
            store.append(&group).unwrap();
        }
        holds(&*store);
        drop(store);
        holds(&*kind.open());
    });
}

#[test]
fn a_scan_stops_when_told() {
    check(|kind| {
        let store = kind.open();
        four_groups()
            .iter()
            .for_each(|group| store.append(group).unwrap());
        let mut seen = Vec::new();
        store
            .scan(2, &mut |index, _| {
                seen.push(index);
                index < 6
            })
            .unwrap();
        assert_eq!(seen, [2, 3, 4, 5, 6]);
    });
}

#[test]
fn a_group_that_does_not_fit_is_refused_and_changes_nothing() {
    check(|kind| {
        let store = kind.open();
        store.append(&group(0, 2)).unwrap();
        let fitting = group(2, 2);
        let mut odd = vec![
            group(0, 2),
            group(3, 1),
            Group {
                entries: Vec::new(),
                vault: Vec::new(),
                ..fitting.clone()
            },
            Group {
                checkpoint: String::new(),
                ..fitting.clone()
            },
        ];
        for record in [
            VaultRecord {
                index: 1,
                kind: VaultKind::Request,
                body: vec![1],
            },
            VaultRecord {
                index: 4,
                kind: VaultKind::Request,
                body: vec![1],
            },
            VaultRecord {
                index: 2,
                kind: VaultKind::Request,
                body: Vec::new(),
            },
            VaultRecord {
                index: 2,
                kind: VaultKind::Request,
                body: vec![1; 97],
            },
            VaultRecord {
                index: 2,
                kind: VaultKind::Disclosure {
                    event: 0,
                    member: "m".repeat(256),
                },
                body: vec![1],
            },
        ] {
            odd.push(Group {
                vault: vec![record],
                ..fitting.clone()
            });
        }
        for group in odd {
            assert!(
                matches!(store.append(&group), Err(StoreError::Misfit { .. })),
                "{group:?}"
            );
        }
        store.append(&fitting).unwrap();
        assert_holds(&*store, &[group(0, 2), fitting]);
    });
}

#[test]
fn an_erased_record_is_read_back_as_erased_and_the_others_stay() {
    check(|kind| {
        let store = kind.open();
        four_groups()
            .iter()
            .for_each(|group| store.append(group).unwrap());
        for _ in 0..2 {
            store.erase(4, &disclosure()).unwrap();
            store.erase(6, &VaultKind::Request).unwrap();
        }
        // Nothing of these kinds is there, so nothing happens.
        store.erase(5, &disclosure()).unwrap();
        store
            .erase(
                4,
                &VaultKind::Disclosure {
                    event: 1,
                    member: "buyer".into(),
                },
            )
            .unwrap();
        store.erase(999, &VaultKind::Request).unwrap();
        let look = |store: &dyn Store| {
            assert_eq!(store.private(4).unwrap()[0].body, vec![5; 32]);
            let erased = VaultRecord {
                index: 4,
                kind: disclosure(),
                body: Vec::new(),
            };
            assert_eq!(store.private(4).unwrap()[1], erased);
            assert_eq!(store.private(6).unwrap()[0].body, b"");
            assert_eq!(store.private(6).unwrap()[1].body, buyer(6));
            assert_eq!(store.private(2).unwrap()[1].body, buyer(2));
        };
        look(&*store);
        drop(store);
        let store = kind.open();
        look(&*store);
        store.append(&group(13, 1)).unwrap();
        look(&*store);
    });
}

#[test]
fn the_pin_goes_forward_only_and_never_beyond_the_log() {
    check(|kind| {
        let store = kind.open();
        four_groups()
            .iter()
            .for_each(|group| store.append(group).unwrap());
        store.pin(&note(4)).unwrap();
        store.pin(&note(4)).unwrap();
        for odd in [note(1), note(14), "no size".into(), "origin\n04\nroot\n\n".into()] {
            assert!(matches!(store.pin(&odd), Err(StoreError::Misfit { .. })), "{odd}");
        }
        assert_eq!(store.pinned(), Some(note(4)));
        store.pin(&note(13)).unwrap();
        drop(store);
        assert_eq!(kind.open().pinned(), Some(note(13)));
    });
}

#[test]
fn readers_read_while_one_appends() {
    check(|kind| {
        let store = kind.open();
        store.append(&group(0, 1)).unwrap();
        std::thread::scope(|scope| {
            for _ in 0..2 {
                scope.spawn(|| {
                    while store.head().size < 60 {
                        let last = store.head().size - 1;
                        assert_eq!(
                            store.read(last).unwrap().unwrap().as_ref(),
                            super::workshop::entry(last)
                        );
                        assert_eq!(store.private(last).unwrap()[0].body, vec![last as u8 + 1; 32]);
                    }
                });
            }
            (1..60).for_each(|first| store.append(&group(first, 1)).unwrap());
        });
        let mut count = 0;
        store
            .scan(0, &mut |_, _| {
                count += 1;
                true
            })
            .unwrap();
        assert_eq!(count, 60);
    });
}

#[test]
fn a_book_is_made_once() {
    let files = new_book();
    let again = FileStore::create(Path::new(super::workshop::BOOK), &files, &[1; 32]);
    assert!(matches!(again, Err(StoreError::BookExists { .. })));
    assert_eq!(open(&files).unwrap().secret().unwrap(), SECRET);
    let nowhere = FileStore::open(Path::new("/nowhere"), options(None), Arc::new(files));
    assert!(matches!(nowhere, Err(StoreError::NoBook { .. })));
}
