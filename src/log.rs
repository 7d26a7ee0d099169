//! Where the book's bytes are kept: the log of entries, the vault of private records, the pin, photographs and full tiles
//! as files.
//!
//! This module owns what is on disk and what is promised of it: an acknowledged group is there after any crash, private
//! records are durable before the group that refers to them, an erased value is gone, and damage is refused by its
//! place instead of being repaired in silence. It stores bytes: it never looks into an entry, checks no signature and
//! holds no tree. Deliberately absent: deleting, rewriting, compaction, and any repair beyond cutting a torn last group.
//!
//! The exact file formats stand in [`mod@format`]; all file work goes through [`files`].

mod copying;
mod entries;
mod file_store;
pub mod files;
pub mod format;
mod keys;
mod memory_files;
mod memory_store;
mod options;
mod photographs;
mod pin;
mod secret;
mod segments;
mod standing;
mod tiles;
mod vault;

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

pub use copying::vault::Ordered;
pub use copying::{Copied, Copying, MARKER};
pub use file_store::FileStore;
pub use files::{FileStamp, Files, OpenFile, RealFiles};
pub use memory_files::{Fault, FaultKind, MemoryFiles, Operation};
pub use memory_store::{MemoryFault, MemoryStore};
pub use options::{FileStoreOptions, Notice, SEGMENT_BYTES};
pub use photographs::{OpenPhotograph, PhotographFiles, PhotographState};
pub use tiles::{Kept, TileFiles};

/// The most bytes that the body of a request record may have.
pub const REQUEST_BYTES_MAX: usize = 96;

/// Entries that become durable together, closed by the sealed checkpoint that covers them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// Index of the first entry; equal to the size of the log before the group.
    pub first: u64,
    /// The entries, in order; at least one.
    pub entries: Vec<Arc<[u8]>>,
    /// The sealed checkpoint, the text of a signed note.
    pub checkpoint: String,
    /// Private records of these entries, in any order.
    pub vault: Vec<VaultRecord>,
}

/// One private record, kept beside the log so that it can be erased.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VaultRecord {
    /// Index of the entry that it belongs to.
    pub index: u64,
    /// What it is.
    pub kind: VaultKind,
    /// Its bytes; empty when it has been erased (so an empty one is never stored).
    pub body: Vec<u8>,
}

/// The kinds of private record.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum VaultKind {
    /// The disclosure of one private member; encrypted under a key of its own.
    Disclosure {
        /// Which event of the entry, counted from 0.
        event: u16,
        /// The name of the member. It stays readable after erasing.
        member: String,
    },
    /// What tells whether a repeated request has the same content: an opaque code of at most
    /// [`REQUEST_BYTES_MAX`] bytes.
    Request,
}

/// Where the log ends.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Head {
    /// Count of entries.
    pub size: u64,
    /// The sealed checkpoint of the last group; none in an empty log.
    pub checkpoint: Option<String>,
    /// The torn last group that this opening found, if it found one.
    pub torn: Option<TornGroup>,
}

/// A last group that was not written whole. It was never acknowledged, or it was damaged: the two look alike.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TornGroup {
    /// Index that its first entry would have had.
    pub index: u64,
    /// How many bytes of it were found.
    pub bytes: u64,
    /// Where the cut bytes are kept; none in a read-only opening, which cuts nothing.
    pub kept: Option<PathBuf>,
}

/// The book's store: one appends, many read.
///
/// All methods may be called from any thread; reads never wait for a sync.
pub trait Store: Send + Sync {
    /// Where the log ends now.
    fn head(&self) -> Head;

    /// Makes a group durable, its private records first. When it returns an I/O error the group may or may not be
    /// there at the next opening, and the store refuses all further changes.
    fn append(&self, group: &Group) -> Result<(), StoreError>;

    /// One entry; none when `index` is not below the size.
    fn read(&self, index: u64) -> Result<Option<Arc<[u8]>>, StoreError>;

    /// The sealed checkpoint of the group that ended when the log had `size` entries; none if no group ended there.
    fn sealed(&self, size: u64) -> Result<Option<String>, StoreError>;

    /// Hands out the entries from `from` on, in order, until `each` says false or the end (as it was at the call).
    fn scan(&self, from: u64, each: &mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), StoreError>;

    /// The private records of one entry, in the order in which they were given. Erased ones have an empty body.
    fn private(&self, index: u64) -> Result<Vec<VaultRecord>, StoreError>;

    /// Overwrites a private record with zeros and destroys its key; durable when it returns. Erasing what is erased
    /// already, or was never there, changes nothing.
    fn erase(&self, index: u64, kind: &VaultKind) -> Result<(), StoreError>;

    /// Keeps a released checkpoint durably, at every pin path, before it may leave the process.
    fn pin(&self, released: &str) -> Result<(), StoreError>;

    /// The newest released checkpoint that was pinned.
    fn pinned(&self) -> Option<String>;
}

/// Why the store could not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Another process holds the book.
    #[error(
        "this book is already open: `{lock}` is held by another process. Stop that one, or open this one read-only"
    )]
    Fenced {
        /// The lock file.
        lock: String,
    },
    /// The bytes on disk are not what was written.
    #[error("damaged at {at}: {why}. Nothing was changed; restore a copy, or keep this one for examination")]
    Corrupt {
        /// File and byte.
        at: String,
        /// What was found there.
        why: String,
    },
    /// The log ends before a checkpoint that has already left the process.
    #[error(
        "the log holds {size} entries, but a checkpoint of {pinned} entries was released ({path}): it was cut or replaced by an older copy. Nothing was changed; put the newest copy of `log` and `vault` in its place, together"
    )]
    BehindPin {
        /// Count of whole entries found.
        size: u64,
        /// Size of the pinned checkpoint.
        pinned: u64,
        /// The pin file.
        path: String,
    },
    /// A file that is written lost its name: what is written to it is gone when the process ends.
    #[error(
        "{path} was removed or replaced while the book was open, so nothing more is acknowledged. Put back the folder that was moved, or restore a copy, and open the book again"
    )]
    Gone {
        /// The file.
        path: String,
    },
    /// An earlier write or sync failed: what is on disk is unknown until the book is opened again.
    #[error("an earlier write failed, so nothing more is written; open the book again")]
    Poisoned,
    /// The book was opened for reading.
    #[error("this book was opened read-only")]
    ReadOnly,
    /// What was given does not fit the log. Nothing was written.
    #[error("refused before writing: {why}")]
    Misfit {
        /// What does not fit.
        why: String,
    },
    /// A secret that others may read.
    #[error(
        "{path} can be read by others (mode {mode:04o}). If somebody else uses this machine, take it for stolen; else: chmod 600 {path}"
    )]
    OpenToOthers {
        /// The file.
        path: String,
        /// Its mode.
        mode: u32,
    },
    /// A backup, which is only ever read and added to.
    #[error("{path} is a backup: it can be audited and read, and `pourbook restore` makes a book of it")]
    Backup {
        /// The folder.
        path: String,
    },
    /// There is no book here.
    #[error("there is no book at {path}")]
    NoBook {
        /// The folder.
        path: String,
    },
    /// There is a book here already.
    #[error("there is a book at {path} already; it is not touched")]
    BookExists {
        /// The folder.
        path: String,
    },
    /// The file system said no.
    #[error("{doing} {path}: {source}")]
    Io {
        /// What was being done.
        doing: &'static str,
        /// To which file.
        path: String,
        /// What the system answered.
        source: io::Error,
    },
}

impl StoreError {
    /// Turns the system's answer into ours, with what was being done and to which file.
    pub(crate) fn io(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> StoreError {
        let path = path.display().to_string();
        move |source| StoreError::Io { doing, path, source }
    }

    /// Refuses a file that holds a secret and that others than its owner may read.
    pub(crate) fn refuse_open(files: &dyn Files, path: &Path) -> Result<(), StoreError> {
        let open = files
            .open_to_others(path)
            .map_err(StoreError::io("looking at", path))?;
        open.map_or(Ok(()), |mode| {
            Err(StoreError::OpenToOthers {
                path: path.display().to_string(),
                mode,
            })
        })
    }

    /// A refusal that names the place.
    fn corrupt(file: &str, offset: u64, why: impl Into<String>) -> StoreError {
        StoreError::Corrupt {
            at: format!("{file}, byte {offset}"),
            why: why.into(),
        }
    }
}

/// Refuses a group that does not fit, before anything is written; the same rules for every store.
fn check_group(group: &Group, size: u64) -> Result<(), StoreError> {
    let misfit = |why: String| Err(StoreError::Misfit { why });
    if group.first != size {
        return misfit(format!(
            "the group begins at {}, but the log holds {size} entries",
            group.first
        ));
    }
    if group.entries.is_empty() || group.checkpoint.is_empty() {
        return misfit("a group has at least one entry and a checkpoint".into());
    }
    if group.entries.iter().any(|entry| entry.is_empty()) {
        return misfit("an entry has at least one byte".into());
    }
    let Some(end) = u64::try_from(group.entries.len())
        .ok()
        .and_then(|count| size.checked_add(count))
    else {
        return misfit("a log has fewer than 2^64 entries".into());
    };
    for (place, record) in group.vault.iter().enumerate() {
        if record.index < size || record.index >= end {
            return misfit(format!(
                "private record {place} is of entry {}, not of this group",
                record.index
            ));
        }
        if record.body.is_empty() {
            return misfit(format!(
                "private record {place} is empty, and an empty one means erased"
            ));
        }
        if record.kind == VaultKind::Request && record.body.len() > REQUEST_BYTES_MAX {
            return misfit(format!(
                "private record {place} has more than {REQUEST_BYTES_MAX} bytes"
            ));
        }
        if matches!(&record.kind, VaultKind::Disclosure { member, .. } if member.len() > usize::from(u8::MAX))
        {
            return misfit(format!(
                "private record {place} has a member name of more than 255 bytes"
            ));
        }
    }
    Ok(())
}
