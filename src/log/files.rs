//! The one door to the disk for everything that the book keeps.
//!
//! Only this file names `std::fs` for the book, so that a double ([`super::MemoryFiles`]) can stand in its place and
//! fail at any operation. It knows paths and bytes, nothing of logs or vaults. What it promises: after `sync` a file's
//! content, after `sync_dir` a folder's names survive a power cut (as far as the disk tells the truth).

use std::collections::BTreeSet;
use std::fs::{DirBuilder, File, OpenOptions, TryLockError};
use std::io;
use std::os::unix::fs::{DirBuilderExt, FileExt, MetadataExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Readable by the owner's programs and by others.
pub const MODE_OPEN: u32 = 0o644;
/// Readable by the owner only.
pub const MODE_PRIVATE: u32 = 0o600;
/// A folder that others may look into.
pub const MODE_DIR_OPEN: u32 = 0o755;
/// A folder for the owner only.
pub const MODE_DIR_PRIVATE: u32 = 0o700;

/// What tells one version of a file from another without reading it: a file that was replaced has another one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileStamp {
    /// When it was written, as far as the system says.
    pub modified: Option<SystemTime>,
    /// Its length in bytes.
    pub bytes: u64,
    /// The number by which the file system knows it.
    pub number: u64,
    /// Who may read and write it: the permission bits.
    pub mode: u32,
}

/// An exclusive lock that ends when it is dropped.
pub trait Lock: Send + Sync {}

/// A file that is open; every access names its offset, so that readers and the writer never share a cursor.
pub trait OpenFile: Send + Sync {
    /// Its length in bytes.
    fn length(&self) -> io::Result<u64>;
    /// Reads until `buffer` is full or the file ends; says how many bytes it read.
    fn read_at(&self, buffer: &mut [u8], offset: u64) -> io::Result<usize>;
    /// Writes all of `bytes`, or says that it could not.
    fn write_at(&self, bytes: &[u8], offset: u64) -> io::Result<()>;
    /// Makes what was written durable.
    fn sync(&self) -> io::Result<()>;
}

/// A file system as the book needs it.
pub trait Files: Send + Sync {
    /// Makes a folder and those above it, durably; content when it exists.
    fn create_dirs(&self, path: &Path, mode: u32) -> io::Result<()>;
    /// Whether a file or folder of this name exists.
    fn exists(&self, path: &Path) -> io::Result<bool>;
    /// Which version of a file stands there; none when there is no file.
    fn stamp(&self, path: &Path) -> io::Result<Option<FileStamp>>;
    /// The names in a folder, sorted; none when there is no such folder.
    fn list(&self, path: &Path) -> io::Result<Vec<String>>;
    /// Opens a file that exists.
    fn open(&self, path: &Path, writable: bool) -> io::Result<Box<dyn OpenFile>>;
    /// Makes a new file; an error when there is one.
    fn create(&self, path: &Path, mode: u32) -> io::Result<Box<dyn OpenFile>>;
    /// Renames a file over whatever had the new name.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Removes a file.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Makes the names in a folder durable.
    fn sync_dir(&self, path: &Path) -> io::Result<()>;
    /// Takes the exclusive lock of a file, made if it is not there; none when another holds it.
    fn lock(&self, path: &Path) -> io::Result<Option<Box<dyn Lock>>>;

    /// The mode of a file that others than its owner may read or write; none when it is the owner's alone, or not there.
    fn open_to_others(&self, path: &Path) -> io::Result<Option<u32>> {
        let mode = self.stamp(path)?.map(|stamp| stamp.mode);
        Ok(mode.filter(|mode| mode & 0o077 != 0))
    }

    /// A whole file.
    fn read_whole(&self, path: &Path) -> io::Result<Vec<u8>> {
        let file = self.open(path, false)?;
        let length =
            usize::try_from(file.length()?).map_err(|_| io::Error::from(io::ErrorKind::FileTooLarge))?;
        let mut bytes = vec![0; length];
        let read = file.read_at(&mut bytes, 0)?;
        bytes.truncate(read);
        Ok(bytes)
    }

    /// Makes a new file with this content, durable with its name; an error when there is one of that name.
    fn write_new_synced(&self, path: &Path, bytes: &[u8], mode: u32) -> io::Result<()> {
        let file = self.create(path, mode)?;
        file.write_at(bytes, 0)?;
        file.sync()?;
        self.sync_dir(folder(path))
    }

    /// Replaces a file as one step: after a crash it has the old content or the new, and when this returns the new.
    fn replace_synced(&self, path: &Path, bytes: &[u8], mode: u32) -> io::Result<()> {
        self.replace_all_synced(&[(path, bytes)], mode)
    }

    /// As [`Files::replace_synced`] for several files, each a step of its own. All are written before the first is synced, and a
    /// folder is synced once, so that the disk is waited for as seldom as can be. As many files are open as are given.
    fn replace_all_synced(&self, all: &[(&Path, &[u8])], mode: u32) -> io::Result<()> {
        let mut written = Vec::with_capacity(all.len());
        for (path, bytes) in all {
            let mut name = path.as_os_str().to_owned();
            name.push(".new");
            let fresh = PathBuf::from(name);
            // A crash may have left one behind; it was never the file itself.
            if self.exists(&fresh)? {
                self.remove(&fresh)?;
            }
            let file = self.create(&fresh, mode)?;
            file.write_at(bytes, 0)?;
            written.push((file, fresh, path));
        }
        for (file, ..) in &written {
            file.sync()?;
        }
        let mut folders = BTreeSet::new();
        for (_, fresh, path) in &written {
            self.rename(fresh, path)?;
            folders.insert(folder(path));
        }
        folders.into_iter().try_for_each(|folder| self.sync_dir(folder))
    }
}

/// The folder that a path stands in.
fn folder(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// The real file system.
#[derive(Clone, Copy, Debug, Default)]
pub struct RealFiles;

struct RealFile(File);

struct RealLock {
    held: File,
}

impl Lock for RealLock {}

impl Drop for RealLock {
    /// Closing alone would leave the lock to a child that was forked meanwhile, until it runs its program.
    fn drop(&mut self) {
        let _ = self.held.unlock();
    }
}

impl OpenFile for RealFile {
    fn length(&self) -> io::Result<u64> {
        Ok(self.0.metadata()?.len())
    }

    fn read_at(&self, buffer: &mut [u8], offset: u64) -> io::Result<usize> {
        let mut read = 0;
        while let Some(rest) = buffer.get_mut(read..).filter(|rest| !rest.is_empty()) {
            let at = offset.saturating_add(u64::try_from(read).unwrap_or(u64::MAX));
            match self.0.read_at(rest, at) {
                Ok(0) => break,
                Ok(count) => read += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(read)
    }

    fn write_at(&self, bytes: &[u8], offset: u64) -> io::Result<()> {
        self.0.write_all_at(bytes, offset)
    }

    fn sync(&self) -> io::Result<()> {
        self.0.sync_data()
    }
}

impl Files for RealFiles {
    fn create_dirs(&self, path: &Path, mode: u32) -> io::Result<()> {
        let mut missing: Vec<&Path> = Vec::new();
        let mut here = path;
        while !here.as_os_str().is_empty() && !here.try_exists()? {
            missing.push(here);
            here = match here.parent() {
                Some(parent) => parent,
                None => break,
            };
        }
        for new in missing.iter().rev() {
            DirBuilder::new().mode(mode).create(new)?;
            self.sync_dir(folder(new))?;
        }
        Ok(())
    }

    /// Without making its bytes zeros first.
    #[expect(clippy::disallowed_methods, reason = "this file is the one door to the disk")]
    fn read_whole(&self, path: &Path) -> io::Result<Vec<u8>> {
        std::fs::read(path)
    }

    fn exists(&self, path: &Path) -> io::Result<bool> {
        path.try_exists()
    }

    fn stamp(&self, path: &Path) -> io::Result<Option<FileStamp>> {
        match path.metadata() {
            Ok(found) => Ok(Some(FileStamp {
                modified: found.modified().ok(),
                bytes: found.len(),
                number: found.ino(),
                mode: found.mode() & 0o7777,
            })),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn list(&self, path: &Path) -> io::Result<Vec<String>> {
        let entries = match path.read_dir() {
            Ok(entries) => entries,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(error),
        };
        let mut names = Vec::new();
        for entry in entries {
            // A name that is not UTF-8 is not one of ours.
            names.extend(entry?.file_name().into_string().ok());
        }
        names.sort();
        Ok(names)
    }

    fn open(&self, path: &Path, writable: bool) -> io::Result<Box<dyn OpenFile>> {
        Ok(Box::new(RealFile(
            OpenOptions::new().read(true).write(writable).open(path)?,
        )))
    }

    fn create(&self, path: &Path, mode: u32) -> io::Result<Box<dyn OpenFile>> {
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create_new(true)
            .mode(mode)
            .open(path)?;
        Ok(Box::new(RealFile(file)))
    }

    #[expect(clippy::disallowed_methods, reason = "this file is the one door to the disk")]
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        std::fs::rename(from, to)
    }

    #[expect(clippy::disallowed_methods, reason = "this file is the one door to the disk")]
    fn remove(&self, path: &Path) -> io::Result<()> {
        std::fs::remove_file(path)
    }

    fn sync_dir(&self, path: &Path) -> io::Result<()> {
        OpenOptions::new().read(true).open(path)?.sync_all()
    }

    fn lock(&self, path: &Path) -> io::Result<Option<Box<dyn Lock>>> {
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(MODE_OPEN)
            .open(path)?;
        match file.try_lock() {
            Ok(()) => Ok(Some(Box::new(RealLock { held: file }))),
            Err(TryLockError::WouldBlock) => Ok(None),
            Err(TryLockError::Error(error)) => Err(error),
        }
    }
}
