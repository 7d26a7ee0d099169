//! Opening a book: every entry is replayed, and what it leads to must be what was pinned.

use super::desk::{Appended, Desk, DeskKeys, Observer, erase};
use super::published::{Published, Released};
use super::requests::is_secret_of;
use crate::check::{Faulty, Replay, log_verifiers};
use crate::domain::{Event, KeyRole};
use crate::log::{Store, StoreError};
use crate::proof::{Checkpoint, NoteSigner, Unproven};
use crate::record::{KeyFault, thumbprint};
use std::sync::Arc;

/// Why a book does not open. Nothing was changed.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The store says so.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An entry is not what may stand there.
    #[error(transparent)]
    Entry(#[from] Faulty),
    /// A checkpoint does not fit the entries.
    #[error("the {which} checkpoint does not fit the entries: {why}")]
    Checkpoint {
        /// `sealed` or `pinned`.
        which: &'static str,
        /// Why.
        why: Unproven,
    },
    /// The key that should sign checkpoints may not.
    #[error("the log key of this book may not sign its checkpoints: {0}")]
    LogKey(KeyFault),
    /// Repeated requests would seem to have other content.
    #[error(
        "vault/secret is not the secret of this book's request codes: it was damaged or put there from another book"
    )]
    OtherSecret,
    /// The log was altered behind a checkpoint that had left the house.
    #[error(
        "the log differs from the pinned checkpoint of size {size}: it was altered, or another copy of this book went on by itself. Nothing was changed; open the copy that the checkpoint was released from"
    )]
    Forked {
        /// Size of the pinned checkpoint.
        size: u64,
    },
}

impl Desk {
    /// Opens a book on its store: replays every entry, holds the result against the sealed and the pinned checkpoint,
    /// and repeats every erasure. The observer is told of every entry from where it begins.
    ///
    /// # Errors
    /// [`OpenError`]; nothing is changed then.
    pub fn open(
        store: Arc<dyn Store>,
        origin: &str,
        deskkeys: DeskKeys,
        observer: Observer,
    ) -> Result<Self, OpenError> {
        Self::open_by(store, origin, deskkeys, observer, Self::hold_log_key)
    }

    /// Opens a book whose log key may be gone. Until an entry adds the log key at hand, nothing else is recorded.
    ///
    /// # Errors
    /// As [`Desk::open`].
    pub fn open_for_keys(store: Arc<dyn Store>, origin: &str, deskkeys: DeskKeys) -> Result<Self, OpenError> {
        Self::open_by(store, origin, deskkeys, Observer::none(), |_| Ok(()))
    }

    fn open_by(
        store: Arc<dyn Store>,
        origin: &str,
        deskkeys: DeskKeys,
        observer: Observer,
        hold_log_key: fn(&Self) -> Result<(), OpenError>,
    ) -> Result<Self, OpenError> {
        let mut observer = observer;
        let mut erasures = Vec::new();
        let mut replay = Replay::new(origin);
        replay.run(
            |each| store.scan(0, each),
            &|each| store.scan(0, each).map_err(|error| error.to_string()),
            |taken| {
                erasures.extend(taken.leaf.entry.events().filter_map(|event| match event {
                    Event::FieldErased(erased) => Some(erased.clone()),
                    _ => None,
                }));
                if observer.observes(taken.index) {
                    (observer.tell)(Appended {
                        index: taken.index,
                        leaf: taken.leaf.hash,
                        entry: taken.leaf.entry,
                        rows: taken.book.rows(&taken.changed.touched),
                        gone: taken.changed.gone,
                    });
                }
            },
        )??;
        let mut desk = Self::resume(store, deskkeys, observer, replay);
        hold_log_key(&desk)?;
        desk.hold_checkpoints()?;
        if !is_secret_of(&*desk.store, &desk.deskkeys.secret)? {
            return Err(OpenError::OtherSecret);
        }
        for erased in &erasures {
            erase(&*desk.store, erased)?;
        }
        Ok(desk)
    }

    fn resume(store: Arc<dyn Store>, deskkeys: DeskKeys, observer: Observer, replay: Replay) -> Self {
        let logs = [Some(deskkeys.log.clone()), deskkeys.next_log.clone()];
        let sealers = logs.into_iter().flatten();
        let sealers = sealers.map(|log| (thumbprint(&log.verifier().public()), log));
        Self {
            store,
            origin: replay.origin,
            sealers: sealers.collect(),
            deskkeys,
            book: replay.book,
            keys: replay.keys,
            chains: replay.chains,
            requests: replay.requests,
            operators: replay.operators,
            published: Arc::new(Published::new(replay.tree, replay.key_entries)),
            last: replay.last,
            sealed: None,
            observer,
        }
    }

    /// The sealed checkpoint must be the tree's own; the pinned one must be one that the tree went through.
    fn hold_checkpoints(&mut self) -> Result<(), OpenError> {
        if let Some(note) = self.store.head().checkpoint {
            let sealed = self.open_checkpoint("sealed", &note)?;
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
            let pinned = self.open_checkpoint("pinned", &note)?;
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

    /// A checkpoint by a key that may not sign one would be sealed, but no audit would take it.
    fn hold_log_key(&self) -> Result<(), OpenError> {
        let size = self.published.tree().size();
        if size == 0 {
            return Ok(());
        }
        let mut fault = None;
        for (kid, _) in &self.sealers {
            match self.keys.valid(kid, KeyRole::Log, size) {
                Ok(_) => return Ok(()),
                Err(why) => fault = fault.or(Some(why)),
            }
        }
        fault.map_or(Ok(()), |fault| Err(OpenError::LogKey(fault)))
    }

    /// The keys at hand that may sign a checkpoint of this size.
    pub(super) fn sealers_at(&self, size: u64) -> Vec<&NoteSigner> {
        let may = |kid: &str| self.keys.valid(kid, KeyRole::Log, size).is_ok();
        let may_sign = self.sealers.iter().filter(|(kid, _)| may(kid));
        may_sign.map(|(_, log)| log).collect()
    }

    /// Opens a checkpoint by any log key that was valid at its size: the key may have been replaced since.
    fn open_checkpoint(&self, which: &'static str, note: &str) -> Result<Checkpoint, OpenError> {
        let opened = Checkpoint::peek(note).and_then(|claimed| {
            let verifiers = log_verifiers(&self.keys, &self.origin, claimed.size)?;
            Checkpoint::open(note, &verifiers)
        });
        opened.map_err(|why| OpenError::Checkpoint { which, why })
    }
}
