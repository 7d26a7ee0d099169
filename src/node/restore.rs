//! A book made of a backup: everything is proven first, then a new folder is filled, and the settings come last, so that a
//! folder whose filling was cut short is no book.
//!
//! What a pin can tell stands at [`Restored::second_pin`]: a book that was put back has lost what came after its backup,
//! and only a pin that was kept elsewhere knows that there was more.

mod lost;

use super::auditing::{AuditStopped, Progress, audit};
use super::backup::{BackupError, Marker, Of, copy_photographs, erased_by, hold_root, is_free, text_of};
use super::folder::{BookFolder, FolderError};
use crate::check::{Audit, AuditReport};
use crate::config::Settings;
use crate::domain::{KeyRole, Timestamp};
use crate::log::files::{MODE_DIR_OPEN, MODE_OPEN};
use crate::log::{Copying, FileStore, FileStoreOptions, Store, StoreError, VaultKind};
use crate::proof::{Checkpoint, Unproven};
use lost::{Second, second_pin};
use std::collections::HashSet;
use std::path::{Path, PathBuf};

/// The keys that are put back: what each signs, and what its file is called. The log key that is to follow is there only while
/// one is replaced.
const KEYS: [(KeyRole, &str); 3] = [
    (KeyRole::Recorder, "recorder"),
    (KeyRole::Log, "log"),
    (KeyRole::Log, NEXT_LOG),
];
const NEXT_LOG: &str = "log-next";

/// What is put back, and how much may be missing.
pub struct Restoring<'a> {
    /// A backup of a log.
    pub backup: &'a Path,
    /// A backup of its private records; without one they are lost.
    pub private: Option<&'a Path>,
    /// A folder with the recorder and log keys; without one the book cannot be written to yet.
    pub keys: Option<&'a Path>,
    /// How many released entries are given up, when the second pin is of a longer log: exactly so many.
    pub lost: u64,
    /// Whether a private backup is used whose term is over.
    pub past_term: bool,
    /// Seconds since 1970.
    pub now: Timestamp,
}

/// Why no book was made. The backup is not changed, and nothing is where the book should be unless it says so.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// The backup.
    #[error(transparent)]
    Backup(#[from] BackupError),
    /// The audit of the backup.
    #[error("the backup does not hold: {0}")]
    Audit(#[from] AuditStopped),
    /// There is something already.
    #[error("{path} is not empty: a book is put back into a folder of its own, and nothing is overwritten")]
    NotEmpty {
        /// The folder.
        path: String,
    },
    /// The second pin is of a longer log.
    #[error(
        "the second pin {path} is of {pinned} entries, the backup holds {size}: {lost} released entries would be lost. Look for a newer backup; --lost {lost} puts this one back without them"
    )]
    Behind {
        /// The second pin.
        path: String,
        /// Its size.
        pinned: u64,
        /// The size of the backup.
        size: u64,
        /// The difference.
        lost: u64,
    },
    /// More is given up than is lost.
    #[error("--lost {given} does not fit: {lost} released entries are known to be missing from this backup")]
    NotLost {
        /// What was given.
        given: u64,
        /// What is missing.
        lost: u64,
    },
    /// The second pin is of another history.
    #[error("the second pin {path} is not of the log in this backup: {why}")]
    Forked {
        /// The second pin.
        path: String,
        /// Why.
        why: String,
    },
    /// The term of the private backup is over.
    #[error(
        "{path} was to be destroyed by now ({days} days ago): what was promised to be gone would be back. Destroy it and restore without --private, or give --past-term"
    )]
    PastTerm {
        /// The private backup.
        path: String,
        /// How long ago.
        days: i64,
    },
    /// A private backup that no run finished.
    #[error("{path} was never finished: no run of `pourbook backup --private` came to its end")]
    Unfinished {
        /// The private backup.
        path: String,
    },
    /// A key that may not sign here.
    #[error("{path} may not sign in this book: {why}")]
    Key {
        /// The key file.
        path: String,
        /// Why.
        why: String,
    },
}

impl From<StoreError> for RestoreError {
    fn from(error: StoreError) -> Self {
        Self::Backup(error.into())
    }
}

impl From<FolderError> for RestoreError {
    fn from(error: FolderError) -> Self {
        Self::Backup(error.into())
    }
}

impl From<Unproven> for RestoreError {
    fn from(error: Unproven) -> Self {
        Self::Backup(error.into())
    }
}

/// A book that was put back.
pub struct Restored {
    /// What its audit has seen.
    pub report: AuditReport,
    /// Private members that can be read, and that are erased.
    pub private: (u64, u64),
    /// From which entry on private members are lost, if some are.
    pub private_until: Option<u64>,
    /// The second pin and its size, where one was found.
    pub second_pin: Option<(PathBuf, u64)>,
    /// Released entries that are known to be lost.
    pub lost: u64,
    /// Keys that were put back, by the names of their files.
    pub keys: Vec<&'static str>,
    /// What a person should hear of.
    pub notices: Vec<String>,
}

/// Everything that was proven, and read, before anything is written.
struct Proven {
    settings: Settings,
    /// The settings as they stand in the backup.
    toml: String,
    policy: String,
    checkpoint: Checkpoint,
    note: String,
    report: AuditReport,
    second: Second,
    /// How many entries the private backup covers, of those that are put back.
    covered: u64,
    keys: Vec<(&'static str, String)>,
}

/// Makes a book of a backup. `secret` is 32 fresh random bytes.
///
/// # Errors
/// [`RestoreError`].
pub fn restore(
    folder: &BookFolder,
    asked: &Restoring<'_>,
    secret: &[u8; 32],
    at: Progress<'_>,
) -> Result<Restored, RestoreError> {
    let path = folder.path();
    if !is_free(&*folder.files(), path, &[])? {
        return Err(RestoreError::NotEmpty { path: text_of(path) });
    }
    let proven = prove(folder, asked, at)?;
    let mut notices = proven.second.notices.clone();
    fill(folder, asked, &proven, secret, &mut notices)?;
    let private = erase_again(folder, &proven)?;
    // Last: without its settings the folder is no book.
    folder.write_open("pourbook.toml", &proven.toml)?;
    pin_elsewhere(folder, &proven)?;
    let size = proven.checkpoint.size;
    Ok(Restored {
        report: proven.report,
        private,
        private_until: (proven.covered < size).then_some(proven.covered),
        second_pin: proven
            .second
            .found
            .as_ref()
            .map(|(path, pin)| (path.clone(), pin.size)),
        lost: proven.second.lost,
        keys: proven.keys.iter().map(|(name, _)| *name).collect(),
        notices,
    })
}

/// Holds the backup, the second pin, the private backup and the keys against each other; writes nothing.
fn prove(folder: &BookFolder, asked: &Restoring<'_>, at: Progress<'_>) -> Result<Proven, RestoreError> {
    let from = BookFolder::at(asked.backup);
    let marker = Marker::read(&from, asked.backup, Of::Log, None)?;
    let settings = from.settings_as_written()?;
    let store = FileStore::open(asked.backup, FileStoreOptions::read_only(), folder.files())?;
    let note = store.pinned().ok_or(BackupError::NoCheckpoint)?;
    let checkpoint = Checkpoint::peek(&note)?;
    let (audit, report) = audit(&store, &marker.origin, (checkpoint.size, &note), false, at)?;
    let second = second_pin(&from, &settings, &checkpoint, &audit, asked.lost)?;
    let covered = covered(
        folder,
        asked,
        (&marker.origin, checkpoint.size),
        &erased_by(&store)?,
    )?;
    let keys = keys(&from, asked, &audit, checkpoint.size)?;
    let text = |name: &str| from.text(&asked.backup.join(name));
    Ok(Proven {
        settings,
        toml: text("pourbook.toml")?,
        policy: text("policy")?,
        checkpoint,
        note,
        report,
        second,
        covered,
        keys,
    })
}

/// How many of the entries the private backup covers; every record of it is read.
fn covered(
    folder: &BookFolder,
    asked: &Restoring<'_>,
    (origin, size): (&str, u64),
    erased: &HashSet<(u64, VaultKind)>,
) -> Result<u64, RestoreError> {
    let Some(private) = asked.private else {
        return Ok(0);
    };
    let from = BookFolder::at(private);
    let path = text_of(private);
    let marker = Marker::read(&from, private, Of::Vault, Some(origin))?;
    let (Some(held), Some(Timestamp(end))) = (marker.size, marker.destroy_by) else {
        return Err(RestoreError::Unfinished { path });
    };
    let over = asked.now.0.saturating_sub(end);
    if over >= 0 && !asked.past_term {
        return Err(RestoreError::PastTerm {
            path,
            days: over / 86_400,
        });
    }
    let covered = held.min(size);
    let copying = Copying {
        files: folder.files(),
        from: private,
        to: private,
        size: covered,
        finished: 0,
    };
    copying.prove_vault(&|index, kind| Ok(erased.contains(&(index, kind.clone()))))?;
    Ok(covered)
}

/// The keys that are put back, each one that may sign the next entry or checkpoint.
fn keys(
    from: &BookFolder,
    asked: &Restoring<'_>,
    audit: &Audit,
    size: u64,
) -> Result<Vec<(&'static str, String)>, RestoreError> {
    let Some(dir) = asked.keys else {
        return Ok(Vec::new());
    };
    let mut keys = Vec::new();
    for (role, name) in KEYS {
        let path = dir.join(format!("{name}.key"));
        let is_there = from.files().exists(&path);
        if name == NEXT_LOG && !is_there.map_err(StoreError::io("looking for", &path))? {
            continue;
        }
        let key = from.key_at(&path, role)?;
        if let Err(fault) = audit.keys().valid(key.signer().kid(), role, size) {
            return Err(RestoreError::Key {
                path: text_of(&path),
                why: fault.to_string(),
            });
        }
        keys.push((name, key.to_text()));
    }
    Ok(keys)
}

fn fill(
    folder: &BookFolder,
    asked: &Restoring<'_>,
    proven: &Proven,
    secret: &[u8; 32],
    notices: &mut Vec<String>,
) -> Result<(), RestoreError> {
    let (files, to, size) = (folder.files(), folder.path(), proven.checkpoint.size);
    let copying = |from, size, finished| Copying {
        files: folder.files(),
        from,
        to,
        size,
        finished,
    };
    files
        .create_dirs(to, MODE_DIR_OPEN)
        .map_err(StoreError::io("making", to))?;
    folder.lay_out()?;
    copying(asked.backup, size, 0).log(&mut |_| {})?;
    hold_root(folder, to, &proven.checkpoint)?;
    if let Some(private) = asked.private.filter(|_| proven.covered > 0) {
        copying(private, proven.covered, 0).vault(&|_, _| Ok(true), &mut |_| {})?;
    }
    copying(asked.backup, size, proven.covered).without_records()?;
    if proven.covered == 0 {
        FileStore::found_secret(to, &*files, secret)?;
    }
    copy_photographs(&BookFolder::at(asked.backup), folder, notices)?;
    folder.write_open("policy", &proven.policy)?;
    for (name, text) in &proven.keys {
        let path = to.join("keys").join(format!("{name}.key"));
        folder.write_private(&path, text)?;
    }
    folder.write_open("pin", &proven.note)?;
    if let Some((_, pin)) = proven.second.found.as_ref().filter(|_| proven.second.lost > 0) {
        // What it said stays: it is the evidence that there was more.
        folder.write_open(&format!("pin.lost-{}", pin.size), &pin.note)?;
    }
    Ok(())
}

/// Writes the second pin where it says something else. After the book is whole: until then it is all that knows of entries
/// that are lost, and a restore that was cut short must meet it again.
fn pin_elsewhere(folder: &BookFolder, proven: &Proven) -> Result<(), RestoreError> {
    let Some(path) = proven
        .settings
        .second_pin
        .as_ref()
        .filter(|_| proven.second.reachable)
    else {
        return Ok(());
    };
    let found = proven.second.found.as_ref();
    if found.is_some_and(|(_, pin)| pin.size == proven.checkpoint.size) {
        return Ok(());
    }
    let done = folder
        .files()
        .replace_synced(path, proven.note.as_bytes(), MODE_OPEN);
    Ok(done.map_err(StoreError::io("writing the pin", path))?)
}

/// Opens the new book for writing and erases once more what its entries say was erased. How many private members can be
/// read, and how many are erased.
fn erase_again(folder: &BookFolder, proven: &Proven) -> Result<(u64, u64), RestoreError> {
    let options = FileStoreOptions::new(Box::new(super::chance::bytes));
    let store = FileStore::open(folder.path(), options, folder.files())?;
    let erased = erased_by(&store)?;
    erased
        .iter()
        .try_for_each(|(index, kind)| store.erase(*index, kind))?;
    drop(store);
    let (from, size) = (folder.path(), proven.checkpoint.size);
    let copying = Copying {
        files: folder.files(),
        from,
        to: from,
        size,
        finished: 0,
    };
    Ok(copying.prove_vault(&|_, _| Ok(false))?)
}
