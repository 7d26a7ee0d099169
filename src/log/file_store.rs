//! The store on disk: log, vault and pin under one lock, opened and checked together.
//!
//! It owns the order of things: everything is read and judged before anything is changed; private records are durable
//! before their group; a failed write ends all writing. What it does not do: verify signatures or roots (the writer
//! does), and check the CRC of a group again after opening (its reader knows the leaf hash, which says more).

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use super::copying::MARKER;
use super::entries::{Body, Entries};
use super::files::{Files, Lock, MODE_DIR_OPEN, MODE_DIR_PRIVATE, MODE_OPEN};
use super::format::wide;
use super::options::{FileStoreOptions, Notice, SEGMENT_BYTES_MAX};
use super::pin::{self, Pins};
use super::secret;
use super::segments::{Bad, End, LOG, Segments};
use super::standing::Standing;
use super::vault::{Orphan, Vault};
use super::{Group, Head, Store, StoreError, TornGroup, VaultKind, VaultRecord, check_group};

/// The book's store on disk.
pub struct FileStore {
    files: Arc<dyn Files>,
    dir: PathBuf,
    read_only: bool,
    entries: Entries,
    vault: Vault,
    pins: Pins,
    torn: Option<TornGroup>,
    /// One change at a time: append, erase and pin.
    changing: Mutex<()>,
    poisoned: AtomicBool,
    notices: Vec<Notice>,
    /// None in a read-only opening.
    lock: Option<(Box<dyn Lock>, Standing)>,
}

impl FileStore {
    /// Makes the folders of a new book and its secret. Refuses when there is a book already.
    pub fn create(dir: &Path, files: &dyn Files, secret: &[u8; 32]) -> Result<(), StoreError> {
        let (log, vault) = (dir.join("log"), dir.join("vault"));
        let path = secret::path(dir);
        let there = files
            .exists(&path)
            .map_err(StoreError::io("looking for", &path))?;
        if there
            || !files
                .list(&log)
                .map_err(StoreError::io("listing", &log))?
                .is_empty()
        {
            return Err(StoreError::BookExists {
                path: dir.display().to_string(),
            });
        }
        files
            .create_dirs(dir, MODE_DIR_OPEN)
            .map_err(StoreError::io("making", dir))?;
        files
            .create_dirs(&log, MODE_DIR_OPEN)
            .map_err(StoreError::io("making", &log))?;
        files
            .create_dirs(&vault, MODE_DIR_PRIVATE)
            .map_err(StoreError::io("making", &vault))?;
        secret::write(files, dir, secret)
    }

    /// Opens a book: locks it, reads and judges everything, and only then cuts a torn last group, drops private
    /// records whose entries never landed, and repairs a pin that is behind the other. On refusal nothing is changed.
    pub fn open(
        dir: &Path,
        options: FileStoreOptions,
        files: Arc<dyn Files>,
    ) -> Result<FileStore, StoreError> {
        let log_dir = dir.join("log");
        if !files
            .exists(&log_dir)
            .map_err(StoreError::io("looking for", &log_dir))?
        {
            return Err(StoreError::NoBook {
                path: dir.display().to_string(),
            });
        }
        let lock = if options.read_only {
            None
        } else {
            may_be_written(&*files, dir)?;
            Some(take_lock(&*files, dir)?)
        };
        let mut notices = Vec::new();
        // The pin is read before the log, so that a writer beside a reader cannot seem to be behind its pin.
        let paths = std::iter::once(dir.join("pin"))
            .chain(options.second_pin)
            .collect();
        let pins = Pins::open(Arc::clone(&files), paths, &mut notices)?;
        let writable = !options.read_only;
        let segment_bytes = options.segment_bytes.min(SEGMENT_BYTES_MAX);
        let segments = Segments::open(Arc::clone(&files), log_dir, LOG, segment_bytes, writable)?;
        let (entries, end) = Entries::open(segments, pins.found())?;
        let size = entries.size();
        let (vault, orphan) = Vault::open(
            &files,
            dir.join("vault"),
            segment_bytes,
            writable,
            options.chance,
            size,
            &|| entries.segments.has_grown(end.next),
        )?;
        let secret = if writable {
            Some(secret::wanted(&*files, dir)?)
        } else {
            secret::read(&*files, dir)?
        };
        let mut store = FileStore {
            files,
            dir: dir.to_owned(),
            read_only: options.read_only,
            entries,
            vault,
            pins,
            torn: None,
            changing: Mutex::new(()),
            poisoned: AtomicBool::new(false),
            notices,
            lock,
        };
        store.settle(&end, &orphan)?;
        if let Some(secret) = secret.filter(|secret| writable && !secret.checked) {
            secret::write(&*store.files, dir, &secret.bytes)?;
        }
        store.observe();
        Ok(store)
    }

    /// Makes a new secret, in a book that has none: one that was restored without its private records.
    ///
    /// # Errors
    /// [`StoreError::BookExists`] when there is one.
    pub fn found_secret(dir: &Path, files: &dyn Files, secret: &[u8; 32]) -> Result<(), StoreError> {
        match secret::read(files, dir)? {
            None => secret::write(files, dir, secret),
            Some(_) => Err(StoreError::BookExists {
                path: secret::path(dir).display().to_string(),
            }),
        }
    }

    /// The secret of the book's request codes.
    ///
    /// # Errors
    /// [`StoreError::Corrupt`] when it is missing, as in a copy without private records, or does not match its check.
    pub fn secret(&self) -> Result<[u8; 32], StoreError> {
        Ok(secret::wanted(&*self.files, &self.dir)?.bytes)
    }

    /// What this opening found that a person should hear of.
    pub fn notices(&self) -> &[Notice] {
        &self.notices
    }

    /// The files, in `log/`, in which openings have kept torn groups, this one and earlier ones.
    pub fn torn_kept(&self) -> Result<Vec<String>, StoreError> {
        let dir = self.entries.segments.dir();
        let names = self.files.list(dir).map_err(StoreError::io("listing", dir))?;
        Ok(names
            .into_iter()
            .filter(|name| name.starts_with("torn-"))
            .collect())
    }

    /// Notes what is missing, though the book can be opened without it.
    fn observe(&mut self) {
        let has_entries = self.entries.size() > 0;
        let missing = [
            (has_entries && self.pins.newest().is_none(), Notice::NoPin),
            (has_entries && self.vault.is_empty(), Notice::VaultMissing),
            (self.vault.lacks_keys, Notice::KeysMissing),
        ];
        self.notices.extend(
            missing
                .into_iter()
                .filter_map(|(is_so, notice)| is_so.then_some(notice)),
        );
    }

    /// Makes the end of the log and of the vault sound and durable.
    fn settle(&mut self, end: &End, orphan: &Orphan) -> Result<(), StoreError> {
        let mut kept = None;
        if !self.read_only {
            if let Some(bad) = &end.bad {
                kept = Some(self.keep_torn(end.next, &bad.bytes)?);
                self.entries
                    .segments
                    .cut(&bad.segment, bad.offset, wide(bad.bytes.len()))?;
            }
            self.entries.segments.settle(end)?;
            self.vault.settle(orphan)?;
            self.pins.repair()?;
        }
        if let Some(Bad { bytes, .. }) = &end.bad {
            let (index, bytes) = (end.next, wide(bytes.len()));
            self.notices.push(Notice::Torn { index, bytes });
            self.torn = Some(TornGroup { index, bytes, kept });
        }
        Ok(())
    }

    fn keep_torn(&self, index: u64, bytes: &[u8]) -> Result<PathBuf, StoreError> {
        for attempt in 1_u32.. {
            let name = if attempt == 1 {
                format!("torn-{index}")
            } else {
                format!("torn-{index}-{attempt}")
            };
            let path = self.entries.segments.dir().join(name);
            if !self
                .files
                .exists(&path)
                .map_err(StoreError::io("looking for", &path))?
            {
                let done = self.files.write_new_synced(&path, bytes, MODE_OPEN);
                return done
                    .map(|()| path.clone())
                    .map_err(StoreError::io("keeping a torn group in", &path));
            }
        }
        Err(StoreError::Misfit {
            why: "too many torn groups are kept".into(),
        })
    }

    /// Runs a change; an I/O error ends all further ones.
    fn change(&self, act: impl FnOnce(u64) -> Result<(), StoreError>) -> Result<(), StoreError> {
        if self.read_only {
            return Err(StoreError::ReadOnly);
        }
        let _one = self.changing.lock().unwrap_or_else(PoisonError::into_inner);
        if self.poisoned.load(Ordering::Acquire) {
            return Err(StoreError::Poisoned);
        }
        let size = self.entries.size();
        // Without the lock another process may be writing.
        let held = self
            .lock
            .as_ref()
            .map_or(Ok(()), |(_, standing)| standing.hold(&*self.files));
        let done = held.and_then(|()| act(size));
        if !matches!(done, Ok(()) | Err(StoreError::Misfit { .. })) {
            self.poisoned.store(true, Ordering::Release);
        }
        done
    }
}

impl Store for FileStore {
    fn head(&self) -> Head {
        Head {
            torn: self.torn.clone(),
            ..self.entries.head()
        }
    }

    fn append(&self, group: &Group) -> Result<(), StoreError> {
        self.change(|size| {
            check_group(group, size)?;
            let body = Body::new(group)?;
            self.vault.append(group)?;
            self.entries.append(group, body)
        })
    }

    fn read(&self, index: u64) -> Result<Option<Arc<[u8]>>, StoreError> {
        self.entries.read(index)
    }

    fn sealed(&self, size: u64) -> Result<Option<String>, StoreError> {
        self.entries.sealed(size)
    }

    fn scan(&self, from: u64, each: &mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), StoreError> {
        self.entries.scan(from, each)
    }

    fn private(&self, index: u64) -> Result<Vec<VaultRecord>, StoreError> {
        self.vault.private(index)
    }

    fn erase(&self, index: u64, kind: &VaultKind) -> Result<(), StoreError> {
        self.change(|_| self.vault.erase(index, kind))
    }

    fn pin(&self, released: &str) -> Result<(), StoreError> {
        self.change(|size| {
            let stated = pin::check(released, size, self.pins.newest().map(|pin| pin.size))?;
            self.pins.set(stated, released)
        })
    }

    fn pinned(&self) -> Option<String> {
        self.pins.newest().map(|pin| pin.note)
    }
}

/// Refuses a backup, and a book whose secrets others may read.
fn may_be_written(files: &dyn Files, dir: &Path) -> Result<(), StoreError> {
    for secret in [secret::path(dir), dir.join("vault").join("keys")] {
        StoreError::refuse_open(files, &secret)?;
    }
    let path = dir.join(MARKER);
    match files
        .exists(&path)
        .map_err(StoreError::io("looking for", &path))?
    {
        false => Ok(()),
        true => Err(StoreError::Backup {
            path: dir.display().to_string(),
        }),
    }
}

fn take_lock(files: &dyn Files, dir: &Path) -> Result<(Box<dyn Lock>, Standing), StoreError> {
    let path = dir.join("lock");
    let lock = files.lock(&path).map_err(StoreError::io("locking", &path))?;
    let lock = lock.ok_or_else(|| StoreError::Fenced {
        lock: path.display().to_string(),
    })?;
    Ok((lock, Standing::of(files, &path)?))
}
