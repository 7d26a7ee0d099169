//! A book opened for reading: beside a running server, or from a copy. It takes no lock and changes nothing.

use super::folder::{BookFolder, FolderError};
use crate::check::{Ancestry, BuildError, Materials, ProofFile, build};
use crate::domain::{Book, PieceId, Serial, Stamp};
use crate::log::{FileStore, FileStoreOptions, Head, Store};
use crate::proof::{Checkpoint, Hash, Policy, Tree, Unproven, leaf_hash};
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
    #[error("entry {index}: {why}")]
    Entry {
        /// Its index.
        index: u64,
        /// Why.
        why: String,
    },
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
    origin: String,
    policy: Policy,
    book: Book,
    tree: Tree,
    histories: HashMap<Uuid, Vec<u64>>,
    key_entries: Vec<u64>,
}

impl BookReader {
    /// Reads the book in a folder.
    ///
    /// # Errors
    /// [`ReadError`].
    pub fn open(folder: &BookFolder) -> Result<Self, ReadError> {
        let settings = folder.settings()?;
        let mut options = FileStoreOptions::read_only();
        options.second_pin.clone_from(&settings.second_pin);
        let store = FileStore::open(folder.path(), options, folder.files())?;
        let policy = Policy::parse(&folder.text(&folder.path().join("policy"))?)?;
        let mut reader = Self {
            store,
            origin: settings.origin,
            policy,
            book: Book::default(),
            tree: Tree::new(),
            histories: HashMap::new(),
            key_entries: Vec::new(),
        };
        reader.replay()?;
        Ok(reader)
    }

    fn replay(&mut self) -> Result<(), ReadError> {
        let Self {
            store,
            book,
            tree,
            histories,
            key_entries,
            ..
        } = self;
        let mut outcome = Ok(());
        store.scan(0, &mut |index, bytes| {
            outcome = replay_entry(index, bytes, book, histories, key_entries);
            tree.push(leaf_hash(bytes));
            outcome.is_ok()
        })?;
        outcome.map_err(|(index, why)| ReadError::Entry { index, why })
    }

    /// The book.
    #[must_use]
    pub const fn book(&self) -> &Book {
        &self.book
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
        self.tree.leaf(*self.key_entries.last()?)
    }

    /// The piece that has a serial.
    ///
    /// # Errors
    /// [`ReadError::UnknownSerial`].
    pub fn piece(&self, serial: &Serial) -> Result<PieceId, ReadError> {
        let mut pieces = self.book.pieces();
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
            origin: &self.origin,
            checkpoint: &note,
            size: checkpoint.size,
            policy: &policy,
            bytes: &|index| self.store.read(index).ok().flatten(),
            path: &|index| self.tree.inclusion(index, checkpoint.size),
        };
        Ok(build(piece, serial, self, &materials)?.0)
    }
}

fn replay_entry(
    index: u64,
    bytes: &[u8],
    book: &mut Book,
    histories: &mut HashMap<Uuid, Vec<u64>>,
    key_entries: &mut Vec<u64>,
) -> Result<(), (u64, String)> {
    let entry = crate::record::read(bytes).map_err(|why| (index, why.to_string()))?;
    let stamp = Stamp {
        index,
        at: entry.payload.iat,
        by: entry.payload.by,
    };
    for event in entry.events() {
        book.take(&stamp, event)
            .map_err(|refusal| (index, refusal.to_string()))?;
    }
    book.keep();
    if entry.is_key_entry() {
        key_entries.push(index);
    }
    for subject in entry.payload.prev.keys() {
        histories.entry(*subject).or_default().push(index);
    }
    Ok(())
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
        self.key_entries.clone()
    }
}
