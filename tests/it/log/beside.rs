//! Looking at a book while another process writes it.

use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex};

use pourbook::log::files::Lock;
use pourbook::log::{
    FileStamp, FileStore, FileStoreOptions, Files, Group, MemoryFiles, OpenFile, Store, StoreError,
};

use super::workshop::{BOOK, assert_holds, group, new_book, open};

/// Does something once, between the reader's look at the log and its look at the vault.
struct Meanwhile {
    files: MemoryFiles,
    act: Mutex<Option<Box<dyn FnOnce() + Send>>>,
}

impl Files for Meanwhile {
    fn create_dirs(&self, path: &Path, mode: u32) -> io::Result<()> {
        self.files.create_dirs(path, mode)
    }
    fn exists(&self, path: &Path) -> io::Result<bool> {
        self.files.exists(path)
    }
    fn stamp(&self, path: &Path) -> io::Result<Option<FileStamp>> {
        self.files.stamp(path)
    }
    fn list(&self, path: &Path) -> io::Result<Vec<String>> {
        if path.ends_with("vault")
            && let Some(act) = self.act.lock().unwrap().take()
        {
            act();
        }
        self.files.list(path)
    }
    fn open(&self, path: &Path, writable: bool) -> io::Result<Box<dyn OpenFile>> {
        self.files.open(path, writable)
    }
    fn create(&self, path: &Path, mode: u32) -> io::Result<Box<dyn OpenFile>> {
        self.files.create(path, mode)
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.files.rename(from, to)
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        self.files.remove(path)
    }
    fn sync_dir(&self, path: &Path) -> io::Result<()> {
        self.files.sync_dir(path)
    }
    fn lock(&self, path: &Path) -> io::Result<Option<Box<dyn Lock>>> {
        self.files.lock(path)
    }
}

fn look(files: &MemoryFiles, act: impl FnOnce() + Send + 'static) -> Result<FileStore, StoreError> {
    let meanwhile = Meanwhile {
        files: files.clone(),
        act: Mutex::new(Some(Box::new(act))),
    };
    FileStore::open(
        Path::new(BOOK),
        FileStoreOptions::read_only(),
        Arc::new(meanwhile),
    )
}

#[test]
fn a_reader_beside_a_busy_writer_sees_a_whole_earlier_book() {
    // From one group, which leaves room in the segment, to several full segments.
    for before in 0..6 {
        for more in 0..6 {
            let files = new_book();
            let writer = open(&files).unwrap();
            let groups: Vec<Group> = (0..before).map(|turn| group(turn * 3, 3)).collect();
            groups.iter().for_each(|group| writer.append(group).unwrap());
            let reader = look(&files, move || {
                for turn in before..before + more {
                    writer.append(&group(turn * 3, 3)).unwrap();
                }
            });
            let reader = reader.unwrap_or_else(|error| panic!("{before} groups and {more} more: {error}"));
            assert_holds(&reader, &groups);
        }
    }
}

/// The same sight without a writer is a log that was cut, and a reader says so too.
#[test]
fn a_reader_tells_a_cut_log_from_a_writer_at_work() {
    let files = new_book();
    let writer = open(&files).unwrap();
    (0..4).for_each(|first| writer.append(&group(first, 1)).unwrap());
    drop(writer);
    let path = Path::new(BOOK).join("log/00000000000000000000.entries");
    let bytes = files.contents()[&path].clone();
    let heads: Vec<usize> = (0..bytes.len() - 8)
        .filter(|at| bytes[*at..].starts_with(b"\xFFPBGROUP"))
        .collect();
    for (kept, torn) in [(heads[1], 0), (heads[2], 0), (heads[2], 60)] {
        let cut = files.copy();
        cut.patch(&path, |bytes| bytes[kept + torn..].fill(0)).unwrap();
        let refused = look(&cut, || ());
        assert!(
            matches!(refused, Err(StoreError::Corrupt { .. })),
            "{kept} {torn}"
        );
    }
}
