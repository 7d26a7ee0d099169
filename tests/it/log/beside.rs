//! Looking at a book while another process writes it.

use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex};

use pourbook::log::files::Lock;
use pourbook::log::{
    FileStamp, FileStore, FileStoreOptions, Files, Group, MemoryFiles, OpenFile, Store, StoreError,
};

use super::workshop::{BOOK, assert_holds, group, new_book, open};

type Act = Arc<Mutex<Option<Box<dyn FnOnce() + Send>>>>;

/// Does something once: between the reader's look at the log and its look at the vault, or while it reads a segment of the log
/// and has come to some byte.
struct Meanwhile {
    files: MemoryFiles,
    act: Act,
    byte: Option<u64>,
}

/// A segment of the log that is written while it is read.
struct Read {
    file: Box<dyn OpenFile>,
    act: Act,
    byte: u64,
}

impl OpenFile for Read {
    fn length(&self) -> io::Result<u64> {
        self.file.length()
    }
    fn read_at(&self, buffer: &mut [u8], offset: u64) -> io::Result<usize> {
        let before = self.byte.saturating_sub(offset) as usize;
        if before >= buffer.len() {
            return self.file.read_at(buffer, offset);
        }
        let (one, other) = buffer.split_at_mut(before);
        let read = self.file.read_at(one, offset)?;
        if let Some(act) = self.act.lock().unwrap().take() {
            act();
        }
        Ok(read + self.file.read_at(other, offset + before as u64)?)
    }
    fn write_at(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        self.file.write_at(bytes, offset)
    }
    fn sync(&self) -> io::Result<()> {
        self.file.sync()
    }
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
            && self.byte.is_none()
            && let Some(act) = self.act.lock().unwrap().take()
        {
            act();
        }
        self.files.list(path)
    }
    fn open(&self, path: &Path, writable: bool) -> io::Result<Box<dyn OpenFile>> {
        let file = self.files.open(path, writable)?;
        match self.byte.filter(|_| path.to_string_lossy().ends_with(".entries")) {
            Some(byte) => Ok(Box::new(Read {
                file,
                act: Arc::clone(&self.act),
                byte,
            })),
            None => Ok(file),
        }
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
    look_while(files, None, act)
}

fn look_while(
    files: &MemoryFiles,
    byte: Option<u64>,
    act: impl FnOnce() + Send + 'static,
) -> Result<FileStore, StoreError> {
    let meanwhile = Meanwhile {
        files: files.clone(),
        act: Arc::new(Mutex::new(Some(Box::new(act)))),
        byte,
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

/// A file is read page by page: the writer appends behind and before where the reader is. What it then has of a group is half.
#[test]
fn a_group_that_is_written_while_its_segment_is_read_is_no_damage() {
    let files = new_book();
    let groups: Vec<Group> = (0..3).map(|turn| group(turn, 1)).collect();
    let writer = open(&files).unwrap();
    writer.append(&groups[0]).unwrap();
    drop(writer);
    let path = Path::new(BOOK).join("log/00000000000000000000.entries");
    let end = files.contents()[&path]
        .iter()
        .rposition(|byte| *byte != 0)
        .unwrap() as u64;
    let mut seen = Vec::new();
    for byte in end - 20..end + 500 {
        let files = files.copy();
        let writer = open(&files).unwrap();
        let more = groups.clone();
        let reader = look_while(&files, Some(byte), move || {
            more[1..].iter().for_each(|group| writer.append(group).unwrap());
        });
        let reader = reader.unwrap_or_else(|error| panic!("byte {byte}: {error}"));
        let count = reader.head().size as usize;
        assert!(reader.head().torn.is_none(), "byte {byte}");
        for (index, group) in groups[..count].iter().enumerate() {
            assert_eq!(
                reader.read(index as u64).unwrap().as_ref(),
                Some(&group.entries[0])
            );
        }
        seen.push(count);
    }
    assert!(seen.contains(&1) && seen.contains(&3), "{seen:?}");
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
