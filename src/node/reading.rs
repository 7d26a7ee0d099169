//! A book opened for reading: beside a running server, or from a copy. It takes no lock and changes nothing.

use super::folder::{BookFolder, FolderError};
use crate::accounts::Accounts;
use crate::check::{Ancestry, BuildError, Faulty, Materials, ProofFile, Replay, build};
use crate::config::Settings;
use crate::domain::{Book, PieceId, Serial};
use crate::log::{FileStore, FileStoreOptions, Head, Store};
use crate::proof::{Checkpoint, Hash, Policy, Unproven};
use crate::record::Entry;
use std::collections::HashMap;
use std::sync::Arc;
use uuid::Uuid;

/// Why a book cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The folder.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The store.
    #[error(transparent)]
    Store(#[from] crate::log::StoreError),
    /// An entry does not go into the book.
    #[error(transparent)]
    Entry(#[from] Faulty),
    /// No checkpoint was released.
    #[error("no checkpoint was released yet")]
    NoCheckpoint,
    /// The checkpoint cannot be read.
    #[error(transparent)]
    Checkpoint(#[from] Unproven),
    /// No piece has the serial.
    #[error("no piece of this book has the serial {0}")]
    UnknownSerial(Serial),
    /// The proof cannot be made.
    #[error(transparent)]
    Build(#[from] BuildError),
}

/// A book read whole into memory.
pub struct BookReader {
    store: FileStore,
    policy: Policy,
    replay: Replay,
    histories: HashMap<Uuid, Vec<u64>>,
}

impl BookReader {
    /// Reads the book in a folder.
    ///
    /// # Errors
    /// [`ReadError`].
    pub fn open(folder: &BookFolder) -> Result<Self, ReadError> {
        let settings = folder.settings()?;
        let store = open_store(folder, &settings)?;
        let policy = Policy::parse(&folder.text(&folder.path().join("policy"))?)?;
        let mut replay = Replay::new(&settings.origin);
        let mut histories: HashMap<Uuid, Vec<u64>> = HashMap::new();
        replay.run(
            |each| store.scan(0, each),
            &|each| store.scan(0, each).map_err(|error| error.to_string()),
            |taken| {
                for subject in taken.leaf.entry.payload.prev.keys() {
                    histories.entry(*subject).or_default().push(taken.index);
                }
            },
        )??;
        Ok(Self {
            store,
            policy,
            replay,
            histories,
        })
    }

    /// The book.
    #[must_use]
    pub const fn book(&self) -> &Book {
        &self.replay.book
    }

    /// Where the log ends.
    #[must_use]
    pub fn head(&self) -> Head {
        self.store.head()
    }

    /// The store.
    #[must_use]
    pub const fn store(&self) -> &FileStore {
        &self.store
    }

    /// The policy of the book.
    #[must_use]
    pub const fn policy(&self) -> &Policy {
        &self.policy
    }

    /// The entries of a chain.
    #[must_use]
    pub fn chain(&self, subject: Uuid) -> &[u64] {
        self.histories.get(&subject).map_or(&[], Vec::as_slice)
    }

    /// Leaf hash of the newest key entry.
    #[must_use]
    pub fn newest_key_entry(&self) -> Option<Hash> {
        self.replay.tree.leaf(*self.replay.key_entries.last()?)
    }

    /// The piece that has a serial.
    ///
    /// # Errors
    /// [`ReadError::UnknownSerial`].
    pub fn piece(&self, serial: &Serial) -> Result<PieceId, ReadError> {
        let mut pieces = self.replay.book.pieces();
        let found = pieces
            .find(|piece| piece.serial.as_ref() == Some(serial))
            .map(|piece| piece.piece);
        found.ok_or_else(|| ReadError::UnknownSerial(serial.clone()))
    }

    /// The proof file of a piece, as of the last released checkpoint.
    ///
    /// # Errors
    /// [`ReadError`].
    pub fn proof(&self, serial: &Serial) -> Result<ProofFile, ReadError> {
        let piece = self.piece(serial)?;
        let note = self.store.pinned().ok_or(ReadError::NoCheckpoint)?;
        let checkpoint = Checkpoint::peek(&note)?;
        let policy = self.policy.to_string();
        let materials = Materials {
            origin: &self.replay.origin,
            checkpoint: &note,
            size: checkpoint.size,
            policy: &policy,
            bytes: &|index| self.store.read(index).ok().flatten(),
            path: &|index| self.replay.tree.inclusion(index, checkpoint.size),
        };
        Ok(build(piece, serial, self, &materials)?.0)
    }
}

/// What is reckoned from the log of a book in a folder.
///
/// # Errors
/// [`ReadError`].
pub fn accounts(folder: &BookFolder) -> Result<Accounts, ReadError> {
    let settings = folder.settings()?;
    let store = open_store(folder, &settings)?;
    Ok(Accounts::new(Arc::new(store), &settings.origin))
}

fn open_store(folder: &BookFolder, settings: &Settings) -> Result<FileStore, ReadError> {
    let mut options = FileStoreOptions::read_only();
    options.second_pin.clone_from(&settings.second_pin);
    Ok(FileStore::open(folder.path(), options, folder.files())?)
}

impl Ancestry for BookReader {
    fn history(&self, subject: Uuid) -> Vec<u64> {
        self.chain(subject).to_vec()
    }

    fn entry(&self, index: u64) -> Option<Arc<Entry>> {
        let bytes = self.store.read(index).ok().flatten()?;
        crate::record::read(&bytes).ok().map(Arc::new)
    }

    fn key_entries(&self) -> Vec<u64> {
        self.replay.key_entries.clone()
    }
}
