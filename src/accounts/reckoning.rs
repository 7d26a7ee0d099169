//! A log replayed to one position, with what is derived from its entries on the way.
//!
//! Recording costs nothing for it: whoever asks advances it first. Deliberately absent: any signature's verification
//! (the audit's), and anything of the time after its position: a correction that came later has not been heard of here.

use super::shares::Shares;
use crate::check::{Faulty, Replay};
use crate::domain::{Book, Event, Stamp, Timestamp};
use crate::log::{Store, StoreError};
use std::sync::{Arc, Mutex, PoisonError};

/// Why a log cannot be reckoned from.
#[derive(Debug, thiserror::Error)]
pub enum ReckonError {
    /// It cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An entry does not go into the book.
    #[error(transparent)]
    Entry(#[from] Faulty),
}

/// A log replayed to a position.
pub struct Reckoning {
    replay: Replay,
    stamps: Vec<Stamp>,
    /// The shares that somebody asked for, and at which position they were learned.
    shares: Mutex<(u64, Arc<Shares>)>,
}

impl Reckoning {
    /// Before the first entry of a log.
    #[must_use]
    pub fn new(origin: &str) -> Self {
        Self {
            replay: Replay::new(origin),
            stamps: Vec::new(),
            shares: Mutex::default(),
        }
    }

    /// Takes the entries before `position` that were not taken yet. After a failure it must not be used again.
    ///
    /// # Errors
    /// [`ReckonError`].
    pub fn advance(&mut self, store: &dyn Store, position: u64) -> Result<(), ReckonError> {
        let from = self.position();
        let stamps = &mut self.stamps;
        let mut corrected = false;
        self.replay.run(
            |each| store.scan(from, &mut |index, bytes| index < position && each(index, bytes)),
            &|each| store.scan(0, each).map_err(|error| error.to_string()),
            |taken| {
                let mut events = taken.leaf.entry.events();
                corrected |= events.any(|event| matches!(event, Event::EntryCorrected(_)));
                stamps.push(Stamp {
                    index: taken.index,
                    at: taken.leaf.entry.payload.iat,
                    by: taken.leaf.entry.payload.by,
                });
            },
        )??;
        if corrected {
            // What went into a melt may be another metal now: nothing that was learned holds.
            self.shares = Mutex::default();
        }
        Ok(())
    }

    /// The shares of every melt at the position, learned when they are first asked for and remembered.
    #[must_use]
    pub fn shares(&self) -> Arc<Shares> {
        let mut learned = self.shares.lock().unwrap_or_else(PoisonError::into_inner);
        if learned.0 != self.position() {
            Arc::make_mut(&mut learned.1).learn(self.book());
            learned.0 = self.position();
        }
        Arc::clone(&learned.1)
    }

    /// The book as it stood at the position.
    #[must_use]
    pub const fn book(&self) -> &Book {
        &self.replay.book
    }

    /// Index of the first entry that it does not know.
    #[must_use]
    pub fn position(&self) -> u64 {
        self.replay.tree.size()
    }

    /// When an entry was recorded and by whom.
    #[must_use]
    pub fn stamp(&self, index: u64) -> Option<&Stamp> {
        self.stamps.get(usize::try_from(index).ok()?)
    }

    /// When the last entry before the position was recorded; none before the first.
    #[must_use]
    pub fn recorded(&self) -> Option<Timestamp> {
        self.stamps.last().map(|stamp| stamp.at)
    }

    /// The position before the first entry that was recorded after a moment.
    #[must_use]
    pub fn position_at(&self, moment: Timestamp) -> u64 {
        let later = self.stamps.iter().find(|stamp| stamp.at > moment);
        later.map_or_else(|| self.position(), |stamp| stamp.index)
    }
}
