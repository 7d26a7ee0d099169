//! Backups of a book: of its log, kept for ever, and of its private records, kept for a term.
//!
//! The log's backup is a folder like a book's without `vault/` and `keys/`: it can be audited and read as it is, and proves
//! every public fact. The private one is apart, so that it can be destroyed when its term is over: what was erased in the
//! book is erased in it at the next run, and in copies that nobody runs again by destroying them. Both are taken beside a
//! running server, up to the last released checkpoint, and only what is new is written. Keys that sign and tokens are
//! never in either.

mod photographs;
mod place;

use super::auditing::Progress;
use super::folder::{BookFolder, FolderError, io};
use crate::domain::{Event, FieldErased, Timestamp};
use crate::log::files::{MODE_OPEN, MODE_PRIVATE};
use crate::log::{Copied, Copying, FileStore, FileStoreOptions, Files, Store, StoreError, VaultKind};
use crate::proof::{Checkpoint, Hash, Tree, Unproven, leaf_hash};
use std::cell::RefCell;
use std::collections::HashSet;
use std::path::{Path, PathBuf};

pub(super) use photographs::copy as copy_photographs;
pub(super) use place::{Marker, Of, Place};

/// Why there is no backup, or no book from one. Nothing that was finished before is changed.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The folder of the book.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The log or the vault, here or there.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is something else in the folder.
    #[error("{path} is not empty and holds no backup: name a folder of its own")]
    NotABackup {
        /// The folder.
        path: String,
    },
    /// A backup of something else.
    #[error("{path} holds {found}, not {wanted}")]
    Other {
        /// The folder.
        path: String,
        /// What it holds.
        found: String,
        /// What is wanted.
        wanted: String,
    },
    /// The backup would stand in the book, or the book in it.
    #[error("{path} and the book lie in one another: a backup belongs on another disk")]
    Within {
        /// The folder.
        path: String,
    },
    /// Another backup runs there.
    #[error("another run is writing to {path}")]
    Busy {
        /// The folder.
        path: String,
    },
    /// The backup knows more than the book.
    #[error(
        "the backup holds {held} entries, the book has released {size}: the book was cut or put back from an older copy. Nothing was changed; `pourbook restore` makes a book of the backup"
    )]
    Ahead {
        /// Entries of the backup.
        held: u64,
        /// Entries that the book has released.
        size: u64,
    },
    /// No checkpoint was released.
    #[error("no checkpoint was released yet, so there is nothing to copy up to")]
    NoCheckpoint,
    /// A checkpoint that is none.
    #[error(transparent)]
    Checkpoint(#[from] Unproven),
    /// What stands in the copy is not what the checkpoint signs.
    #[error("the copy in {path} makes the root {found} at {size} entries, the checkpoint says {wanted}")]
    Root {
        /// The folder.
        path: String,
        /// Count of entries.
        size: u64,
        /// The root of what was copied, base64.
        found: String,
        /// The root of the checkpoint, base64.
        wanted: String,
    },
}

/// What a run did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BackedUp {
    /// Entries that the backup holds.
    pub size: u64,
    /// Root hash of their tree, base64.
    pub root: String,
    /// Entries that it held before.
    pub held: u64,
    /// What was copied.
    pub copied: Copied,
    /// Photographs that were copied.
    pub photographs: u64,
    /// Until when a private backup is to be destroyed.
    pub destroy_by: Option<Timestamp>,
    /// Private members in it that can be read, and that are erased.
    pub private: Option<(u64, u64)>,
    /// What a person should hear of.
    pub notices: Vec<String>,
}

/// Copies the log of a book, with its settings, policy and photographs, up to the last released checkpoint.
///
/// # Errors
/// [`BackupError`].
pub fn back_up(folder: &BookFolder, to: &Path, at: Progress<'_>) -> Result<BackedUp, BackupError> {
    let files = folder.files();
    let source = Source::open(folder)?;
    let place = Place::take(folder, to, Of::Log, &source.origin)?;
    let pin = to.join("pin");
    let held = match files.exists(&pin).map_err(|error| io(&pin, error))? {
        true => Checkpoint::peek(&folder.text(&pin)?)?.size,
        false => 0,
    };
    source.not_behind(held)?;
    let size = source.checkpoint.size;
    let copying = source.copying(folder, to, held);
    let copied = copying.log(&mut |done| at(done, size))?;
    hold_root(folder, to, &source.checkpoint)?;
    let mut notices = source.notices.clone();
    let photographs = copy_photographs(folder, &BookFolder::at(to), &mut notices)?;
    for name in ["policy", "pourbook.toml"] {
        place.put(name, &folder.text(&folder.path().join(name))?, MODE_OPEN)?;
    }
    // Last: what the pin covers is whole.
    place.put("pin", &source.note, MODE_OPEN)?;
    Ok(BackedUp {
        size,
        root: source.checkpoint.root.to_base64(),
        held,
        copied,
        photographs,
        destroy_by: None,
        private: None,
        notices,
    })
}

/// Copies the private records of a book, with their keys, up to the last released checkpoint, and erases there what was
/// erased in the book. The backup is to be destroyed after `days`.
///
/// # Errors
/// [`BackupError`].
pub fn back_up_private(
    folder: &BookFolder,
    to: &Path,
    (now, days): (Timestamp, u32),
    at: Progress<'_>,
) -> Result<BackedUp, BackupError> {
    let source = Source::open(folder)?;
    let place = Place::take(folder, to, Of::Vault, &source.origin)?;
    let held = place.marker.size.unwrap_or(0);
    source.not_behind(held)?;
    let size = source.checkpoint.size;
    let copying = source.copying(folder, to, held);
    let known = RefCell::new(HashSet::new());
    let ordered = |index: u64, kind: &VaultKind| {
        let erased = (index, kind.clone());
        if !known.borrow().contains(&erased) {
            // Looked up only now, and again: an erasure stands in the log before anything is erased, and a server erases
            // while this runs.
            let store = FileStore::open(folder.path(), FileStoreOptions::read_only(), folder.files())?;
            known.replace(erased_by(&store)?);
        }
        Ok(known.borrow().contains(&erased))
    };
    let copied = copying.vault(&ordered, &mut |done| at(done, size))?;
    let private = copying.prove_vault(&|_, _| Ok(false))?;
    let destroy_by = Timestamp(now.0.saturating_add(i64::from(days).saturating_mul(86_400)));
    let marker = Marker {
        size: Some(size),
        destroy_by: Some(destroy_by),
        ..place.marker.clone()
    };
    place.put(crate::log::MARKER, &marker.to_text(), MODE_PRIVATE)?;
    Ok(BackedUp {
        size,
        root: source.checkpoint.root.to_base64(),
        held,
        copied,
        photographs: 0,
        destroy_by: Some(destroy_by),
        private: Some(private),
        notices: source.notices,
    })
}

/// The book as it is copied.
struct Source {
    origin: String,
    note: String,
    checkpoint: Checkpoint,
    notices: Vec<String>,
}

impl Source {
    /// What copies from the book up to this checkpoint, where `finished` entries stand already.
    fn copying<'a>(&self, folder: &'a BookFolder, to: &'a Path, finished: u64) -> Copying<'a> {
        Copying {
            files: folder.files(),
            from: folder.path(),
            to,
            size: self.checkpoint.size,
            finished,
        }
    }

    fn open(folder: &BookFolder) -> Result<Self, BackupError> {
        let settings = folder.settings()?;
        let mut options = FileStoreOptions::read_only();
        options.second_pin = settings.second_pin;
        let store = FileStore::open(folder.path(), options, folder.files())?;
        let note = store.pinned().ok_or(BackupError::NoCheckpoint)?;
        Ok(Self {
            origin: settings.origin,
            checkpoint: Checkpoint::peek(&note)?,
            note,
            notices: store.notices().iter().map(ToString::to_string).collect(),
        })
    }

    fn not_behind(&self, held: u64) -> Result<(), BackupError> {
        let size = self.checkpoint.size;
        if held > size {
            return Err(BackupError::Ahead { held, size });
        }
        Ok(())
    }
}

/// Reads a copy of the log from its disk: every group must be whole, and its entries make the checkpoint's root.
pub(super) fn hold_root(folder: &BookFolder, to: &Path, checkpoint: &Checkpoint) -> Result<(), BackupError> {
    let store = FileStore::open(to, FileStoreOptions::read_only(), folder.files())?;
    let mut tree = Tree::new();
    store.scan(0, &mut |_, entry| {
        tree.push(leaf_hash(entry));
        true
    })?;
    let found: Option<Hash> = tree
        .root_at(checkpoint.size)
        .filter(|_| tree.size() == checkpoint.size);
    if found == Some(checkpoint.root) {
        return Ok(());
    }
    Err(BackupError::Root {
        path: to.display().to_string(),
        size: tree.size(),
        found: tree.root().to_base64(),
        wanted: checkpoint.root.to_base64(),
    })
}

/// What the entries of a log say was erased: private members, and the request codes that covered them.
pub(super) fn erased_by(store: &FileStore) -> Result<HashSet<(u64, VaultKind)>, StoreError> {
    let mut erased = HashSet::new();
    store.scan(0, &mut |_, bytes| {
        let Ok(entry) = crate::record::read(bytes) else {
            return true;
        };
        for event in entry.events() {
            if let Event::FieldErased(FieldErased {
                index, event, member, ..
            }) = event
            {
                let member = member.clone();
                erased.insert((
                    *index,
                    VaultKind::Disclosure {
                        event: *event,
                        member,
                    },
                ));
                erased.insert((*index, VaultKind::Request));
            }
        }
        true
    })?;
    Ok(erased)
}

/// A path as text, for what is told.
pub(super) fn text_of(path: &Path) -> String {
    path.display().to_string()
}

/// Whether a folder is not there, or holds nothing but what may be there.
pub(super) fn is_free(files: &dyn Files, path: &Path, but: &[&str]) -> Result<bool, BackupError> {
    let names = files.list(path).map_err(|error| io(path, error))?;
    Ok(names.iter().all(|name| but.contains(&name.as_str())))
}

/// Where a path leads, as far as it exists.
pub(super) fn resolved(path: &Path) -> PathBuf {
    let mut rest = Vec::new();
    let mut here = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    loop {
        if let Ok(real) = here.canonicalize() {
            return rest.iter().rev().fold(real, |path, name| path.join(name));
        }
        match (
            here.file_name().map(ToOwned::to_owned),
            here.parent().map(Path::to_owned),
        ) {
            (Some(name), Some(parent)) => {
                rest.push(name);
                here = parent;
            }
            _ => return path.to_owned(),
        }
    }
}
