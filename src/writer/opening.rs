//! Opening a book: every entry is replayed, and what it leads to must be what was pinned.

use super::desk::{Appended, ChainEnd, Desk, DeskKeys, Observer, erase};
use super::published::{Published, Released};
use crate::domain::{Book, Event, FieldErased, Refusal, Stamp, Timestamp};
use crate::log::{Store, StoreError};
use crate::proof::{Checkpoint, NoteVerifier, Unproven, leaf_hash};
use crate::record::{Keys, Malformed};
use std::collections::HashMap;
use std::sync::Arc;

/// Why a book does not open. Nothing was changed.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The store says so.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An entry cannot be read.
    #[error("entry {index} cannot be read: {malformed}")]
    Malformed {
        /// Its index.
        index: u64,
        /// Why.
        malformed: Malformed,
    },
    /// An entry is of a kind that this version does not know.
    #[error("entry {index} is of a kind or version that this program does not understand: use a newer one")]
    NotUnderstood {
        /// Its index.
        index: u64,
    },
    /// An entry breaks a rule of the book.
    #[error("entry {index} breaks a rule of the book: {refusal}")]
    Broken {
        /// Its index.
        index: u64,
        /// Which.
        refusal: Refusal,
    },
    /// The key chain does not take an entry.
    #[error("entry {index} breaks the key chain: {why}")]
    KeyChain {
        /// Its index.
        index: u64,
        /// Why.
        why: String,
    },
    /// A checkpoint does not fit the entries.
    #[error("the {which} checkpoint does not fit the entries: {why}")]
    Checkpoint {
        /// `sealed` or `pinned`.
        which: &'static str,
        /// Why.
        why: Unproven,
    },
    /// The log was altered behind a checkpoint that had left the house.
    #[error(
        "the log differs from the pinned checkpoint of size {size}: it was altered or put back from another copy"
    )]
    Forked {
        /// Size of the pinned checkpoint.
        size: u64,
    },
}

impl Desk {
    /// Opens a book on its store: replays every entry, holds the result against the sealed and the pinned checkpoint,
    /// and repeats every erasure. The observer is told of every entry, from the first.
    ///
    /// # Errors
    /// [`OpenError`]; nothing is changed then.
    pub fn open(
        store: Arc<dyn Store>,
        origin: &str,
        deskkeys: DeskKeys,
        observer: Observer,
    ) -> Result<Self, OpenError> {
        let mut desk = Self {
            store: Arc::clone(&store),
            origin: origin.to_owned(),
            deskkeys,
            book: Book::default(),
            keys: Keys::default(),
            chains: HashMap::new(),
            requests: HashMap::new(),
            published: Arc::new(Published::default()),
            last: Timestamp(0),
            sealed: None,
            observer,
        };
        let mut erasures = Vec::new();
        let mut outcome = Ok(());
        store.scan(0, &mut |index, bytes| {
            outcome = desk.replay(index, bytes, &mut erasures);
            outcome.is_ok()
        })?;
        outcome?;
        let index = desk.size().saturating_sub(1);
        desk.book
            .settled()
            .map_err(|refusal| OpenError::Broken { index, refusal })?;
        desk.hold_checkpoints()?;
        for erased in &erasures {
            erase(&*store, erased)?;
        }
        Ok(desk)
    }

    fn replay(&mut self, index: u64, bytes: &[u8], erasures: &mut Vec<FieldErased>) -> Result<(), OpenError> {
        let entry =
            crate::record::read(bytes).map_err(|malformed| OpenError::Malformed { index, malformed })?;
        let leaf = leaf_hash(bytes);
        self.published.push(leaf);
        let stamp = Stamp {
            index,
            at: entry.payload.iat,
            by: entry.payload.by,
        };
        let mut known = 0;
        for event in entry.events() {
            known += 1;
            self.book
                .take(&stamp, event)
                .map_err(|refusal| OpenError::Broken { index, refusal })?;
            if let Event::FieldErased(erased) = event {
                erasures.push(erased.clone());
            }
        }
        if known != entry.payload.events.len() {
            return Err(OpenError::NotUnderstood { index });
        }
        let touched = self.book.keep();
        if entry.is_key_entry() {
            self.keys
                .apply(index, &entry, bytes)
                .map_err(|why| OpenError::KeyChain {
                    index,
                    why: why.to_string(),
                })?;
            self.published.note_key_entry(index);
        } else {
            self.last = entry.payload.iat;
        }
        self.requests.insert(entry.payload.jti, index);
        let subjects: Vec<_> = entry.payload.prev.keys().copied().collect();
        for subject in &subjects {
            let version = self.version(*subject).saturating_add(1);
            self.chains.insert(*subject, ChainEnd { leaf, version });
        }
        (self.observer)(&Appended {
            index,
            leaf,
            bytes: bytes.into(),
            entry: Arc::new(entry),
            subjects: &subjects,
            touched: &touched,
        });
        Ok(())
    }

    /// The sealed checkpoint must be the tree's own; the pinned one must be one that the tree went through.
    fn hold_checkpoints(&mut self) -> Result<(), OpenError> {
        let verifier = [self.deskkeys.log.verifier()];
        if let Some(note) = self.store.head().checkpoint {
            let sealed = open_checkpoint("sealed", &note, &verifier)?;
            let tree = self.published.tree();
            if sealed.size != tree.size() || sealed.root != tree.root() {
                return Err(OpenError::Forked { size: sealed.size });
            }
            drop(tree);
            self.sealed = Some(Released {
                note,
                size: sealed.size,
                root: sealed.root,
            });
        }
        if let Some(note) = self.store.pinned() {
            let pinned = open_checkpoint("pinned", &note, &verifier)?;
            if self.published.tree().root_at(pinned.size) != Some(pinned.root) {
                return Err(OpenError::Forked { size: pinned.size });
            }
            self.published.release(Released {
                note,
                size: pinned.size,
                root: pinned.root,
            });
        }
        Ok(())
    }
}

fn open_checkpoint(
    which: &'static str,
    note: &str,
    verifiers: &[NoteVerifier],
) -> Result<Checkpoint, OpenError> {
    Checkpoint::open(note, verifiers).map_err(|why| OpenError::Checkpoint { which, why })
}
