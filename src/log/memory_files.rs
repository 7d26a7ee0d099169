//! A file system in memory that can fail at any operation and lose power.
//!
//! It keeps for every file what is written and what is durable, and for every folder which names are durable. A power
//! cut keeps each write since the last sync whole, in part (by 512-byte sectors) or not at all, and each folder's new
//! names up to some point, as a seed says. Deliberately simpler than a disk: folders are durable as soon as they are
//! made, every file is its owner's alone, and bytes that were durable never change by themselves (tests change those with [`MemoryFiles::patch`]).

mod disk;

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use disk::{Chance, Disk, Go, NameChange, failed, files_of, overwrite};
pub use disk::{Fault, FaultKind, Operation};

use super::files::{FileStamp, Files, Lock, MODE_PRIVATE, OpenFile};
use super::format::{narrow, wide};

const SECTOR_BYTES: usize = 512;

/// The file system; clones share it.
#[derive(Clone, Default)]
pub struct MemoryFiles {
    disk: Arc<Mutex<Disk>>,
}

impl MemoryFiles {
    /// An empty file system.
    pub fn new() -> MemoryFiles {
        MemoryFiles::default()
    }

    /// Sets the fault to come, or none, and begins to count operations from 0.
    pub fn set_fault(&self, fault: Option<Fault>) {
        let mut disk = self.disk();
        disk.fault = fault;
        disk.trace.clear();
    }

    /// How many operations there were since the fault was set or a life began.
    pub fn operations(&self) -> u64 {
        wide(self.disk().trace.len())
    }

    /// Those operations, in order.
    #[must_use]
    pub fn trace(&self) -> Vec<Operation> {
        self.disk().trace.clone()
    }

    /// The power is cut and comes back. What was not durable is kept, torn or lost as the seed says.
    pub fn crash(&self, seed: u64) {
        let mut disk = self.disk();
        let mut chance = Chance(seed);
        let kept = chance.below(disk.name_changes.len() + 1);
        let mut changes = std::mem::take(&mut disk.name_changes);
        changes.truncate(kept);
        changes.into_iter().for_each(|change| disk.settle_name(change));
        disk.names = disk.durable_names.clone();
        for inode in &mut disk.inodes {
            for (offset, bytes) in std::mem::take(&mut inode.pending) {
                let mode = chance.below(3);
                let mut at = offset;
                for sector in bytes.chunks(SECTOR_BYTES) {
                    if mode == 0 || (mode == 1 && chance.below(2) == 0) {
                        overwrite(&mut inode.durable, sector, at);
                    }
                    at += wide(sector.len());
                }
            }
            inode.content = inode.durable.clone();
        }
        disk.begin_new_life();
    }

    /// The process ends and another starts; the machine stays up, so what was written can still be read.
    pub fn restart(&self) {
        self.disk().begin_new_life();
    }

    /// Changes a file behind everybody's back, durably: to damage it.
    pub fn patch(&self, path: &Path, change: impl FnOnce(&mut Vec<u8>)) -> io::Result<()> {
        let mut disk = self.disk();
        let number = disk.find(path)?;
        let inode = disk.inode(number)?;
        change(&mut inode.content);
        inode.durable = inode.content.clone();
        inode.pending.clear();
        Ok(())
    }

    /// A separate copy, with what is durable and what is not; no fault is set, nothing is locked.
    pub fn copy(&self) -> MemoryFiles {
        let mut copy = self.disk().clone();
        copy.begin_new_life();
        MemoryFiles {
            disk: Arc::new(Mutex::new(copy)),
        }
    }

    /// Every file with its content.
    pub fn contents(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        files_of(&self.disk()).collect()
    }

    fn disk(&self) -> MutexGuard<'_, Disk> {
        self.disk.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn handle(&self, disk: &Disk, inode: usize, writable: bool) -> Box<dyn OpenFile> {
        Box::new(MemoryFile {
            files: self.clone(),
            inode,
            writable,
            life: disk.life,
        })
    }
}

struct MemoryFile {
    files: MemoryFiles,
    inode: usize,
    writable: bool,
    life: u64,
}

impl MemoryFile {
    fn disk(&self) -> io::Result<MutexGuard<'_, Disk>> {
        let disk = self.files.disk();
        if disk.life == self.life {
            Ok(disk)
        } else {
            Err(failed("a handle of a process that ended"))
        }
    }
}

impl OpenFile for MemoryFile {
    fn length(&self) -> io::Result<u64> {
        self.disk()?.run(Operation::Length, |disk| {
            Ok(wide(disk.inode(self.inode)?.content.len()))
        })
    }

    fn read_at(&self, buffer: &mut [u8], offset: u64) -> io::Result<usize> {
        self.disk()?.run(Operation::ReadAt, |disk| {
            let rest = disk
                .inode(self.inode)?
                .content
                .get(narrow(offset)..)
                .unwrap_or_default();
            let count = rest.len().min(buffer.len());
            if let (Some(to), Some(from)) = (buffer.get_mut(..count), rest.get(..count)) {
                to.copy_from_slice(from);
            }
            Ok(count)
        })
    }

    fn write_at(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        let mut disk = self.disk()?;
        if !self.writable {
            return Err(io::ErrorKind::PermissionDenied.into());
        }
        let go = disk.begin(Operation::WriteAt)?;
        let done = if go == Go::Tear {
            bytes.get(..bytes.len() / 2).unwrap_or_default()
        } else {
            bytes
        };
        let inode = disk.inode(self.inode)?;
        overwrite(&mut inode.content, done, offset);
        inode.pending.push((offset, done.to_vec()));
        disk.end(&go, ())
    }

    fn sync(&self) -> io::Result<()> {
        let mut disk = self.disk()?;
        let go = disk.begin(Operation::Sync)?;
        if matches!(go, Go::Do | Go::ThenStop) {
            let inode = disk.inode(self.inode)?;
            for (offset, bytes) in std::mem::take(&mut inode.pending) {
                overwrite(&mut inode.durable, &bytes, offset);
            }
        }
        disk.end(&go, ())
    }
}

struct MemoryLock {
    files: MemoryFiles,
    path: PathBuf,
    life: u64,
}

impl Lock for MemoryLock {}

impl Drop for MemoryLock {
    fn drop(&mut self) {
        let mut disk = self.files.disk();
        if disk.life == self.life {
            disk.locks.remove(&self.path);
        }
    }
}

impl Files for MemoryFiles {
    fn create_dirs(&self, path: &Path, _mode: u32) -> io::Result<()> {
        self.disk().run(Operation::CreateDirs, |disk| {
            disk.dirs.extend(path.ancestors().map(Path::to_owned));
            Ok(())
        })
    }

    fn exists(&self, path: &Path) -> io::Result<bool> {
        self.disk().run(Operation::Exists, |disk| {
            Ok(disk.names.contains_key(path) || disk.has_dir(path))
        })
    }

    fn stamp(&self, path: &Path) -> io::Result<Option<FileStamp>> {
        self.disk().run(Operation::Stamp, |disk| {
            let Ok(number) = disk.find(path) else {
                return Ok(None);
            };
            let bytes = wide(disk.inode(number)?.content.len());
            Ok(Some(FileStamp {
                modified: None,
                bytes,
                number: wide(number),
                mode: MODE_PRIVATE,
            }))
        })
    }

    fn list(&self, path: &Path) -> io::Result<Vec<String>> {
        self.disk().run(Operation::List, |disk| {
            let inside = disk
                .names
                .keys()
                .chain(&disk.dirs)
                .filter(|name| name.parent() == Some(path));
            let mut names: Vec<String> = inside
                .filter_map(|name| Some(name.file_name()?.to_str()?.to_owned()))
                .collect();
            names.sort();
            Ok(names)
        })
    }

    fn open(&self, path: &Path, writable: bool) -> io::Result<Box<dyn OpenFile>> {
        self.disk().run(Operation::Open, |disk| {
            Ok(self.handle(disk, disk.find(path)?, writable))
        })
    }

    fn create(&self, path: &Path, _mode: u32) -> io::Result<Box<dyn OpenFile>> {
        self.disk().run(Operation::Create, |disk| {
            if disk.names.contains_key(path) {
                return Err(io::ErrorKind::AlreadyExists.into());
            }
            if !path.parent().is_some_and(|parent| disk.has_dir(parent)) {
                return Err(io::ErrorKind::NotFound.into());
            }
            let inode = disk.link(path);
            Ok(self.handle(disk, inode, true))
        })
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.disk().run(Operation::Rename, |disk| {
            let inode = disk.find(from)?;
            disk.names.remove(from);
            disk.names.insert(to.to_owned(), inode);
            disk.name_changes
                .push(NameChange::Rename(from.to_owned(), to.to_owned()));
            Ok(())
        })
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.disk().run(Operation::Remove, |disk| {
            disk.find(path)?;
            disk.names.remove(path);
            disk.name_changes.push(NameChange::Unlink(path.to_owned()));
            Ok(())
        })
    }

    fn sync_dir(&self, path: &Path) -> io::Result<()> {
        let mut disk = self.disk();
        let go = disk.begin(Operation::SyncDir)?;
        if matches!(go, Go::Do | Go::ThenStop) {
            disk.settle_names(|change| Disk::is_in(change, path));
        }
        disk.end(&go, ())
    }

    fn lock(&self, path: &Path) -> io::Result<Option<Box<dyn Lock>>> {
        // The lock is made outside: when the machine stops after this operation it would be dropped inside, where the
        // disk is held.
        let life = self.disk().run(Operation::Lock, |disk| {
            if !disk.names.contains_key(path) {
                disk.link(path);
            }
            Ok(disk.locks.insert(path.to_owned()).then_some(disk.life))
        })?;
        let Some(life) = life else { return Ok(None) };
        let lock = MemoryLock {
            files: self.clone(),
            path: path.to_owned(),
            life,
        };
        Ok(Some(Box::new(lock)))
    }
}
