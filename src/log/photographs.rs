//! Photographs as files, each under the hash of its bytes: written and synced before the entry that names it.
//!
//! A file whose entry never landed is named by nothing; it does no harm, and one that a crash left stays. A file that is
//! missing or has other bytes than its name says hides no record: who reads it is told, and the entries stand as they did.
//! The same bytes put in again mend it. Deliberately absent: deletion of what an entry names, and looking into a picture.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::files::{Files, MODE_DIR_OPEN, MODE_OPEN};
use super::format::{narrow, wide};
use super::{OpenFile, StoreError};
use crate::domain::PhotographHash;
use sha2::{Digest, Sha256};

/// How many bytes of a file are held at a time.
const PART_BYTES: usize = 64 * 1024;

/// How the file of a photograph is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PhotographState {
    /// It is there, with the bytes that its name says.
    Whole,
    /// There is no such file.
    Missing,
    /// It has other bytes.
    Damaged,
}

/// A file whose bytes were seen to be those of its name.
pub struct OpenPhotograph {
    file: Box<dyn OpenFile>,
    bytes: u64,
}

/// The folder of photographs: `<aa>/<hash>`, where `aa` are the first two digits.
#[derive(Clone)]
pub struct PhotographFiles {
    files: Arc<dyn Files>,
    dir: PathBuf,
}

impl PhotographFiles {
    /// The photographs in a folder, which need not be there yet.
    #[must_use]
    pub fn new(files: Arc<dyn Files>, dir: PathBuf) -> Self {
        Self { files, dir }
    }

    /// Where a photograph stands.
    #[must_use]
    pub fn path(&self, hash: PhotographHash) -> PathBuf {
        let name = hash.to_string();
        let (first, _) = name.split_at_checked(2).unwrap_or_default();
        self.dir.join(first).join(&name)
    }

    /// Keeps a photograph under the hash of its bytes, durable with its name when this returns. One that stands there is
    /// left as it is; one that is damaged is mended.
    ///
    /// # Errors
    /// [`StoreError::Io`].
    pub fn keep(&self, bytes: &[u8]) -> Result<PhotographHash, StoreError> {
        let hash = PhotographHash::of(bytes);
        let path = self.path(hash);
        let done = match (self.state(hash)?, path.parent()) {
            // Whoever put it there may have ended before its name was durable.
            (PhotographState::Whole, Some(folder)) => self.files.sync_dir(folder),
            _ => self.write(&path, bytes),
        };
        done.map_err(StoreError::io("writing", &path))?;
        Ok(hash)
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        if let Some(folder) = path.parent() {
            self.files.create_dirs(folder, MODE_DIR_OPEN)?;
        }
        self.files.replace_synced(path, bytes, MODE_OPEN)
    }

    /// Removes the file of a photograph that no entry names: whether one does is for the caller to know.
    ///
    /// # Errors
    /// [`StoreError::Io`].
    pub fn remove(&self, hash: PhotographHash) -> Result<(), StoreError> {
        let path = self.path(hash);
        match self.files.remove(&path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => {
                Err(StoreError::io("removing", &path)(error))
            }
            _ => Ok(()),
        }
    }

    /// Whether a file of this name is there, without reading it.
    ///
    /// # Errors
    /// [`StoreError::Io`].
    pub fn is_there(&self, hash: PhotographHash) -> Result<bool, StoreError> {
        let path = self.path(hash);
        self.files
            .exists(&path)
            .map_err(StoreError::io("looking for", &path))
    }

    /// How the file of a photograph is, by reading all of it.
    ///
    /// # Errors
    /// [`StoreError::Io`].
    pub fn state(&self, hash: PhotographHash) -> Result<PhotographState, StoreError> {
        Ok(match self.open(hash)? {
            Ok(_) => PhotographState::Whole,
            Err(state) => state,
        })
    }

    /// Opens a photograph once all of it is seen to be what its name says, or says how it is.
    ///
    /// # Errors
    /// [`StoreError::Io`].
    pub fn open(&self, hash: PhotographHash) -> Result<Result<OpenPhotograph, PhotographState>, StoreError> {
        let path = self.path(hash);
        let opened = match self.files.open(&path, false) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                return Ok(Err(PhotographState::Missing));
            }
            Err(error) => return Err(StoreError::io("opening", &path)(error)),
        };
        let read = || {
            let bytes = opened.length()?;
            let mut open = OpenPhotograph { file: opened, bytes };
            let mut hasher = Sha256::new();
            let mut offset = 0;
            while let Some(part) = open.part(offset)? {
                offset = offset.saturating_add(wide(part.len()));
                hasher.update(&part);
            }
            open.bytes = offset;
            Ok((open, PhotographHash::from_bytes(hasher.finalize().into())))
        };
        let (open, found) = read().map_err(StoreError::io("reading", &path))?;
        Ok(if found == hash {
            Ok(open)
        } else {
            Err(PhotographState::Damaged)
        })
    }
}

impl OpenPhotograph {
    /// Its length in bytes.
    #[must_use]
    pub const fn bytes(&self) -> u64 {
        self.bytes
    }

    /// The next bytes from an offset on; none at the end.
    ///
    /// # Errors
    /// What the file system answers.
    pub fn part(&self, offset: u64) -> io::Result<Option<Vec<u8>>> {
        let left = self.bytes.saturating_sub(offset);
        let mut part = vec![0; narrow(left).min(PART_BYTES)];
        if part.is_empty() {
            return Ok(None);
        }
        let read = self.file.read_at(&mut part, offset)?;
        part.truncate(read);
        Ok((read > 0).then_some(part))
    }
}
