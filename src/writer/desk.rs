//! One turn of the writer: take what waits, decide it, make it durable, answer.
//!
//! The desk is the only one that decides, and it decides in the order in which it appends, so no decision can be
//! overtaken and nothing is retried. It reads no clock and no view: the time comes in with the turn.

use super::landing::{Landing, distinct, unreadable};
use super::published::{Published, Released};
use super::requests::{content_digest, same_content};
use super::submission::{Ask, Recorded, Submission, SubmitError};
use crate::check::{ChainEnd, Operators};
use crate::domain::{
    Book, Command, Draw, Event, FieldErased, Moment, OperatorId, Refused, Row, Timestamp, Touched,
};
use crate::log::{Group, Store, StoreError, VaultKind, VaultRecord};
use crate::proof::{Checkpoint, Hash, NoteSigner, leaf_hash};
use crate::record::{Entry, Keys, Signer};
use std::collections::HashMap;
use std::sync::Arc;
use uuid::Uuid;

/// How far back the clock may stand before the writer refuses, seconds: within it the last time is repeated.
const CLOCK_BACK_SECONDS: i64 = 5;
/// How far ahead the clock may stand before the writer refuses, seconds (400 days).
const CLOCK_AHEAD_SECONDS: i64 = 400 * 86_400;
/// The keys that a desk signs with, and the secret of its request digests.
pub struct DeskKeys {
    /// Signs entries.
    pub recorder: Signer,
    /// Signs checkpoints.
    pub log: NoteSigner,
    /// Signs them too, as soon as the key chain lets it: the key that is to follow.
    pub next_log: Option<NoteSigner>,
    /// Keys the digests of requests.
    pub secret: [u8; 32],
}

/// An entry that stands in the log, as followers are told of it.
#[derive(Clone, Debug)]
pub struct Appended {
    /// Its index.
    pub index: u64,
    /// Its leaf hash.
    pub leaf: Hash,
    /// What it says.
    pub entry: Arc<Entry>,
    /// The rows of the book that it changed, as they were after it.
    pub rows: Vec<Row>,
    /// Rows that are no more: only a correction can withdraw one.
    pub gone: Vec<Touched>,
}

/// Told of each entry from one on, in order, once it is durable.
pub struct Observer {
    pub(super) from: u64,
    pub(super) tell: Box<dyn FnMut(Appended) + Send>,
}

impl Observer {
    /// An observer of the entries from index `from` on.
    pub fn new(from: u64, tell: impl FnMut(Appended) + Send + 'static) -> Self {
        Self {
            from,
            tell: Box::new(tell),
        }
    }

    /// Nobody.
    #[must_use]
    pub fn none() -> Self {
        Self::new(u64::MAX, drop)
    }

    pub(super) const fn observes(&self, index: u64) -> bool {
        index >= self.from
    }
}

/// The writer without its thread.
pub struct Desk {
    pub(super) store: Arc<dyn Store>,
    pub(super) origin: String,
    pub(super) deskkeys: DeskKeys,
    /// The keys that may sign checkpoints, with their thumbprints.
    pub(super) sealers: Vec<(String, NoteSigner)>,
    pub(super) book: Book,
    pub(super) keys: Keys,
    pub(super) chains: HashMap<Uuid, ChainEnd>,
    pub(super) requests: HashMap<Uuid, u64>,
    pub(super) operators: Operators,
    pub(super) published: Arc<Published>,
    pub(super) last: Timestamp,
    pub(super) sealed: Option<Released>,
    pub(super) observer: Observer,
}

impl Desk {
    /// What readers may see.
    #[must_use]
    pub fn published(&self) -> Arc<Published> {
        Arc::clone(&self.published)
    }

    /// The book as it stands.
    #[must_use]
    pub const fn book(&self) -> &Book {
        &self.book
    }

    /// The key chain as it stands.
    #[must_use]
    pub const fn keys(&self) -> &Keys {
        &self.keys
    }

    /// Where the log is kept.
    #[must_use]
    pub fn store(&self) -> Arc<dyn Store> {
        Arc::clone(&self.store)
    }

    /// How many entries a chain has.
    #[must_use]
    pub fn version(&self, subject: Uuid) -> u64 {
        self.chains.get(&subject).map_or(0, |end| end.version)
    }

    pub(super) fn size(&self) -> u64 {
        self.published.tree().size()
    }

    /// Decides what waits, in order, makes it durable with one group, and gives the answers in the same order.
    /// Refusals, too, are answered only when the group is durable, since they may rest on it.
    ///
    /// # Errors
    /// A failed write or sync. The desk must then be dropped: what landed is found by opening again.
    pub fn turn(
        &mut self,
        now: Timestamp,
        seed: [u8; 32],
        submissions: Vec<Submission>,
    ) -> Result<Vec<Result<Recorded, SubmitError>>, StoreError> {
        let mut draw = Draw::new(seed);
        let mut landings = Vec::new();
        let mut answers = Vec::with_capacity(submissions.len());
        for submission in submissions {
            answers.push(self.decide(now, &mut draw, submission, &mut landings)?);
        }
        self.land(landings)?;
        Ok(answers)
    }

    /// What deciding commands would come to now, each for itself: decided and undone. Nothing has changed, and nothing is
    /// recorded. An operator who was revoked is told so.
    pub fn would(
        &mut self,
        now: Timestamp,
        seed: [u8; 32],
        by: OperatorId,
        commands: &[Command],
    ) -> Vec<Result<(), Refused>> {
        let mut moment = Moment {
            now: now.max(self.last),
            by,
            draw: Draw::new(seed),
        };
        let index = self.size();
        let mut each = Vec::with_capacity(commands.len());
        for command in commands {
            each.push(match self.revoked(by, Some(command)) {
                Some(refused) => Err(refused),
                None => self.book.would(index, command, &mut moment),
            });
        }
        each
    }

    fn decide(
        &mut self,
        now: Timestamp,
        draw: &mut Draw,
        submission: Submission,
        landings: &mut Vec<Landing>,
    ) -> Result<Result<Recorded, SubmitError>, StoreError> {
        let digest = content_digest(&self.deskkeys.secret, &submission);
        if let Some(index) = self.requests.get(&submission.request).copied() {
            return self.repeat(index, &submission, &digest, landings);
        }
        let command = match &submission.ask {
            Ask::Command(command) => Some(command),
            Ask::KeyEntry(_) => None,
        };
        let revoked = self.revoked(submission.by, command).map(SubmitError::Refused);
        if let Some(refused) = revoked.or_else(|| self.stale(&submission)) {
            return Ok(Err(refused));
        }
        let landing = match &submission.ask {
            Ask::KeyEntry(bytes) => self.take_key_entry(bytes, &submission),
            Ask::Command(command) => match self.may_sign().and_then(|()| self.tell_time(now, command)) {
                Ok(now) => match command {
                    Command::CorrectEntries(c) => {
                        self.take_correction(now, draw, c, &submission, landings)?
                    }
                    command => self.take_command(now, draw, command, &submission)?,
                },
                Err(clock) => Err(clock),
            },
        };
        Ok(landing.map(|mut landing| {
            landing.digest = digest;
            self.requests.insert(submission.request, landing.index);
            let taken = self
                .operators
                .take(landing.index, landing.entry.payload.by, landing.events.iter());
            assert!(taken.is_ok(), "who was revoked has been refused above");
            let recorded = Recorded {
                index: landing.index,
                leaf: landing.leaf,
                subjects: landing.subjects.iter().map(|s| (*s, self.version(*s))).collect(),
                events: Arc::clone(&landing.events),
                repeated: false,
            };
            landings.push(landing);
            recorded
        }))
    }

    /// The answer to a request that was answered before.
    fn repeat(
        &self,
        index: u64,
        submission: &Submission,
        digest: &[u8],
        landings: &[Landing],
    ) -> Result<Result<Recorded, SubmitError>, StoreError> {
        let (by, leaf, stored, events, subjects) =
            if let Some(landing) = landings.iter().find(|landing| landing.index == index) {
                let subjects = landing.subjects.clone();
                (
                    landing.by,
                    landing.leaf,
                    landing.digest.clone(),
                    Arc::clone(&landing.events),
                    subjects,
                )
            } else {
                let Some(bytes) = self.store.read(index)? else {
                    return Ok(Err(SubmitError::Closed));
                };
                let entry = crate::record::read(&bytes).map_err(|malformed| unreadable(index, &malformed))?;
                let stored = self
                    .store
                    .private(index)?
                    .into_iter()
                    .find(|r| matches!(r.kind, VaultKind::Request));
                let events: Arc<[Event]> = entry.events().cloned().collect();
                // In the order of its first answer: as its events name them.
                let moved = &entry.payload.prev;
                let told = events.iter().flat_map(Event::subjects);
                let told = told.filter(|subject| moved.contains_key(subject));
                let subjects = distinct(told.chain(moved.keys().copied()));
                (
                    entry.payload.by,
                    leaf_hash(&bytes),
                    stored.map(|r| r.body).unwrap_or_default(),
                    events,
                    subjects,
                )
            };
        if by != submission.by {
            return Ok(Err(SubmitError::OtherOperator));
        }
        if !same_content(&stored, digest) {
            return Ok(Err(SubmitError::OtherContent));
        }
        let subjects = subjects.into_iter().map(|s| (s, self.version(s))).collect();
        Ok(Ok(Recorded {
            index,
            leaf,
            subjects,
            events,
            repeated: true,
        }))
    }

    fn stale(&self, submission: &Submission) -> Option<SubmitError> {
        submission.expected.iter().find_map(|expected| {
            let version = self.version(expected.subject);
            (version != expected.version).then(|| SubmitError::Stale {
                subject: expected.subject,
                version,
                pointer: expected.pointer.clone(),
            })
        })
    }

    /// The time that the entry will carry: never before the last one.
    fn tell_time(&self, now: Timestamp, command: &Command) -> Result<Timestamp, SubmitError> {
        let Timestamp(last) = self.last;
        let ahead = now.0.saturating_sub(last);
        let jumped = ahead < -CLOCK_BACK_SECONDS || (ahead > CLOCK_AHEAD_SECONDS && last != 0);
        if matches!(command, Command::SetClock(_)) {
            return Ok(now);
        }
        if jumped {
            return Err(SubmitError::Clock { now: now.0, last });
        }
        Ok(now.max(self.last))
    }

    /// Makes the turn durable: one group, one checkpoint; then erases what was to be erased, then tells the observer.
    fn land(&mut self, landings: Vec<Landing>) -> Result<(), StoreError> {
        let Some(first) = landings.first().map(|landing| landing.index) else {
            return Ok(());
        };
        let sealed = self.sealed_checkpoint();
        let mut vault = Vec::new();
        for landing in &landings {
            vault.extend(landing.private.iter().cloned());
            vault.push(VaultRecord {
                index: landing.index,
                kind: VaultKind::Request,
                body: landing.digest.clone(),
            });
        }
        let entries = landings
            .iter()
            .map(|landing| Arc::clone(&landing.bytes))
            .collect();
        self.store.append(&Group {
            first,
            entries,
            checkpoint: sealed.note.clone(),
            vault,
        })?;
        self.sealed = Some(sealed);
        for landing in landings {
            if let Some(erased) = &landing.erases {
                erase(&*self.store, erased)?;
            }
            if self.observer.observes(landing.index) {
                (self.observer.tell)(Appended {
                    index: landing.index,
                    leaf: landing.leaf,
                    entry: landing.entry,
                    rows: landing.changes.rows,
                    gone: landing.changes.gone,
                });
            }
        }
        Ok(())
    }

    pub(super) fn sealed_checkpoint(&self) -> Released {
        let (size, root) = {
            let tree = self.published.tree();
            (tree.size(), tree.root())
        };
        let note = Checkpoint {
            origin: self.origin.clone(),
            size,
            root,
        }
        .sign_by(&match self.sealers_at(size).as_slice() {
            // A book that is founded entry by entry adds its log key last.
            [] => vec![&self.deskkeys.log],
            sealers => sealers.to_vec(),
        });
        Released { note, size, root }
    }

    /// Releases the newest sealed checkpoint: pinned first, then shown. Nothing happens if it is released already.
    ///
    /// # Errors
    /// A failed write or sync of the pin.
    pub fn release(&mut self) -> Result<(), StoreError> {
        let Some(sealed) = &self.sealed else { return Ok(()) };
        if self
            .published
            .released()
            .is_some_and(|released| released.size == sealed.size)
        {
            return Ok(());
        }
        self.store.pin(&sealed.note)?;
        self.published.release(sealed.clone());
        Ok(())
    }
}

/// Erases what a `field.erased` names, and the request digest that covered it.
pub(super) fn erase(store: &dyn Store, erased: &FieldErased) -> Result<(), StoreError> {
    store.erase(
        erased.index,
        &VaultKind::Disclosure {
            event: erased.event,
            member: erased.member.clone(),
        },
    )?;
    store.erase(erased.index, &VaultKind::Request)
}
