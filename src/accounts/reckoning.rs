//! A log replayed to one position, with what is derived from its entries on the way.
//!
//! Recording costs nothing for it: whoever asks advances it first. Deliberately absent: any signature's verification
//! (the audit's), and anything of the time after its position: a correction that came later has not been heard of here.

use super::Postings;
use super::shares::Shares;
use crate::check::{Faulty, Leaf, Replay};
use crate::domain::{Book, Event, Stamp, Timestamp};
use crate::log::{Store, StoreError};
use crate::metal::Metal;
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
    postings: Postings,
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
            postings: Postings::default(),
            shares: Mutex::default(),
        }
    }

    /// Takes the entries before `position` that were not taken yet. After a failure it must not be used again.
    ///
    /// # Errors
    /// [`ReckonError`].
    pub fn advance(&mut self, store: &dyn Store, position: u64) -> Result<(), ReckonError> {
        let from = self.position();
        let mut corrected = false;
        let (stamps, postings) = (&mut self.stamps, &mut self.postings);
        self.replay.run(
            |each| store.scan(from, &mut |index, bytes| index < position && each(index, bytes)),
            &|each| store.scan(0, each).map_err(|error| error.to_string()),
            |taken| {
                let entry = &taken.leaf.entry;
                stamps.push(Stamp {
                    index: taken.index,
                    at: entry.payload.iat,
                    by: entry.payload.by,
                });
                corrected |= entry
                    .events()
                    .any(|event| matches!(event, Event::EntryCorrected(_)));
                post(postings, taken.index, entry.events());
            },
        )??;
        if corrected {
            // What went into a melt may be another metal now: nothing that was learned holds.
            self.shares = Mutex::default();
            self.post_anew(store)?;
        }
        Ok(())
    }

    /// After a correction every movement may be another one: all are posted anew, from what the entries say now.
    fn post_anew(&mut self, store: &dyn Store) -> Result<(), ReckonError> {
        let position = self.position();
        let mut postings = Postings::default();
        let mut faulty = None;
        store.scan(0, &mut |index, bytes| {
            if index >= position {
                return false;
            }
            match Leaf::read(bytes) {
                Ok(leaf) => post(
                    &mut postings,
                    index,
                    self.book().said(index, leaf.entry.events()).iter(),
                ),
                Err(fault) => faulty = Some(Faulty { index, fault }),
            }
            faulty.is_none()
        })?;
        self.postings = postings;
        faulty.map_or(Ok(()), |faulty| Err(faulty.into()))
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

    /// Every movement of metal up to the position.
    #[must_use]
    pub const fn postings(&self) -> &Postings {
        &self.postings
    }

    /// Every metal of which a lot came in.
    #[must_use]
    pub fn metals(&self) -> Vec<Metal> {
        let here = |metal: &Metal| self.book().lots().any(|lot| lot.metal == *metal);
        Metal::ALL.into_iter().filter(here).collect()
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

    /// When an entry was recorded; at no time for one that is not known.
    #[must_use]
    pub fn recorded_at(&self, index: u64) -> Timestamp {
        self.stamp(index).map_or(Timestamp(0), |stamp| stamp.at)
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

fn post<'a>(postings: &mut Postings, index: u64, events: impl Iterator<Item = &'a Event>) {
    for (place, event) in (0_u16..).zip(events) {
        postings.take(index, place, event);
    }
}
