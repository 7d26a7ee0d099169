//! Replaying a log: what each entry must be to the entries before it, and what the book becomes by it.
//!
//! Opening for writing, the audit, and a book that is read beside its server all go through here, so no two of them can
//! take one log for two books. An entry goes through two halves: [`Replay::chain`] holds its origin, key, request,
//! chains and date; [`Replay::take`] hands its events to the book. They are apart so that an audit can let signatures
//! be verified while the book is reckoned. [`Replay::run`] does both, and reads ahead on the other cores.
//!
//! Deliberately absent: verifying the signatures of entries that are not about keys (whoever needs it is told the key),
//! and checkpoints (what they are held against is here: the tree).

use super::read_ahead::read_ahead;
use crate::domain::{Book, Event, KeyRole, Refusal, Stamp, Timestamp, Touched};
use crate::proof::{Hash, Tree, leaf_hash};
use crate::record::{Entry, KeyFault, Keys, Malformed, PublicKey};
use std::collections::HashMap;
use std::sync::Arc;
use uuid::Uuid;

/// What is wrong with an entry, in its place in the log.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// It is no entry.
    #[error("it cannot be read: {0}")]
    Malformed(#[from] Malformed),
    /// It belongs to another log.
    #[error("it is of {found}, the log is {origin}")]
    OtherLog {
        /// What it says.
        found: String,
        /// Which log this is.
        origin: String,
    },
    /// `keys` is not the leaf hash of the newest key entry.
    #[error("it does not name the newest key entry")]
    OtherKeys,
    /// Its request was answered before.
    #[error("request {request} is recorded twice")]
    Twice {
        /// The request.
        request: Uuid,
    },
    /// `prev` is not where a chain ended.
    #[error("it does not follow the last entry about {subject}")]
    Unchained {
        /// The chain.
        subject: Uuid,
    },
    /// An erasure that names an entry by another hash than its own.
    #[error("it erases a member of entry {index}, and names another")]
    OtherErased {
        /// The entry that is said to be meant.
        index: u64,
    },
    /// `prev` leaves out a chain that its events move.
    #[error("its chains are not those that its events move")]
    OtherChains,
    /// The key chain does not take it, or its key may not sign it.
    #[error("{0}")]
    Key(#[from] KeyFault),
    /// Time runs backwards, and nobody vouched for the clock.
    #[error("it is dated before the entry before it")]
    Backdated,
    /// It holds an event of a kind or version that this program does not know.
    #[error("it holds a kind of event that this version does not know: use a newer one")]
    NotUnderstood,
    /// It breaks a rule of the book.
    #[error("{kind} breaks a rule of the book: {refusal}")]
    Broken {
        /// The kind of its event.
        kind: &'static str,
        /// The rule.
        refusal: Refusal,
    },
    /// The log ends with something owed.
    #[error("it is not whole: {0}")]
    Unsettled(Refusal),
    /// A thread that read ahead ended by a bug.
    #[error("the reading of it ended by a bug of this program")]
    Bug,
}

/// A fault, and the index of the entry that has it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("entry {index}: {fault}")]
pub struct Faulty {
    /// The index.
    pub index: u64,
    /// The fault.
    pub fault: Fault,
}

/// An entry that was read, with its leaf hash.
#[derive(Clone, Debug)]
pub struct Leaf {
    /// What it says.
    pub entry: Arc<Entry>,
    /// Its leaf hash (RFC 6962).
    pub hash: Hash,
}

impl Leaf {
    /// Reads an entry.
    ///
    /// # Errors
    /// [`Fault::Malformed`].
    pub fn read(bytes: &[u8]) -> Result<Self, Fault> {
        Ok(Self {
            entry: Arc::new(crate::record::read(bytes)?),
            hash: leaf_hash(bytes),
        })
    }
}

/// Where a chain ends, and how many entries it has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ChainEnd {
    /// Leaf hash of its last entry.
    pub leaf: Hash,
    /// How many entries it has: the version of its subject.
    pub version: u64,
}

/// An entry that went into the book.
pub struct Taken<'a> {
    /// Its index.
    pub index: u64,
    /// What it says, and its leaf hash.
    pub leaf: Leaf,
    /// The rows of the book that it changed.
    pub touched: Vec<Touched>,
    /// The book after it.
    pub book: &'a Book,
}

/// A log as far as it was replayed.
pub struct Replay {
    /// Origin of the log.
    pub origin: String,
    /// The book that the entries lead to.
    pub book: Book,
    /// The key chain.
    pub keys: Keys,
    /// Indexes of the entries about keys, in log order.
    pub key_entries: Vec<u64>,
    /// The tree of the leaves.
    pub tree: Tree,
    /// Where each chain ends.
    pub chains: HashMap<Uuid, ChainEnd>,
    /// Which entry answered a request.
    pub requests: HashMap<Uuid, u64>,
    /// Date of the last entry that is not about keys.
    pub last: Timestamp,
}

impl Replay {
    /// A log of which nothing was replayed.
    #[must_use]
    pub fn new(origin: &str) -> Self {
        Self {
            origin: origin.to_owned(),
            book: Book::default(),
            keys: Keys::default(),
            key_entries: Vec::new(),
            tree: Tree::new(),
            chains: HashMap::new(),
            requests: HashMap::new(),
            last: Timestamp(0),
        }
    }

    /// Replays a whole log. `scan` hands out its entries from the first on, in order, until it is told to stop; `each`
    /// is told of every entry that went into the book.
    ///
    /// # Errors
    /// Of `scan`; inside, the first entry that has a fault. The replay is then over.
    pub fn run<E>(
        &mut self,
        scan: impl FnOnce(&mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), E>,
        mut each: impl FnMut(Taken<'_>),
    ) -> Result<Result<(), Faulty>, E> {
        let outcome = read_ahead(scan, &mut |index, leaf, bytes| {
            self.chain(index, &leaf, bytes)?;
            let touched = self.take(index, &leaf.entry)?;
            each(Taken {
                index,
                leaf,
                touched,
                book: &self.book,
            });
            Ok(())
        })?;
        Ok(outcome.and_then(|()| self.settled()))
    }

    /// Whether nothing is owed at the end of the log.
    ///
    /// # Errors
    /// [`Fault::Unsettled`] of the last entry.
    pub fn settled(&self) -> Result<(), Faulty> {
        self.book.settled().map_err(|refusal| Faulty {
            index: self.tree.size().saturating_sub(1),
            fault: Fault::Unsettled(refusal),
        })
    }

    /// Holds the next entry against the log before it: origin, keys, request, chains, date. What comes back is the key
    /// that must have signed it; none for an entry about keys, whose signature the key chain has verified.
    ///
    /// # Errors
    /// The fault; the replay is then over.
    pub fn chain(&mut self, index: u64, leaf: &Leaf, bytes: &[u8]) -> Result<Option<PublicKey>, Fault> {
        let entry = &*leaf.entry;
        let payload = &entry.payload;
        if payload.iss != self.origin {
            return Err(Fault::OtherLog {
                found: payload.iss.clone(),
                origin: self.origin.clone(),
            });
        }
        if payload.keys != self.keys.newest() {
            return Err(Fault::OtherKeys);
        }
        let request = payload.jti;
        if self.requests.insert(request, index).is_some() {
            return Err(Fault::Twice { request });
        }
        self.move_chains(leaf)?;
        self.hold_erasures(entry)?;
        self.tree.push(leaf.hash);
        if entry.is_key_entry() {
            self.keys.apply(index, entry, bytes)?;
            self.key_entries.push(index);
            return Ok(None);
        }
        let clock_set = || entry.events().any(|event| matches!(event, Event::ClockSet(_)));
        if payload.iat < self.last && !clock_set() {
            return Err(Fault::Backdated);
        }
        self.last = payload.iat;
        let public = self.keys.valid(&entry.kid, KeyRole::Recorder, index)?;
        Ok(Some(public.clone()))
    }

    fn move_chains(&mut self, leaf: &Leaf) -> Result<(), Fault> {
        for (subject, previous) in &leaf.entry.payload.prev {
            let end = self.chains.get(subject);
            if end.map(|end| end.leaf) != *previous {
                return Err(Fault::Unchained { subject: *subject });
            }
            let version = end.map_or(0, |end| end.version).saturating_add(1);
            let leaf = leaf.hash;
            self.chains.insert(*subject, ChainEnd { leaf, version });
        }
        Ok(())
    }

    /// An erasure names an entry by index and hash, and moves its chains too; only the log knows them. That any other
    /// entry moves just the chains of its events, reading has seen.
    fn hold_erasures(&self, entry: &Entry) -> Result<(), Fault> {
        let mut erases = false;
        for event in entry.events() {
            if let Event::FieldErased(erased) = event {
                erases = true;
                let named = self.tree.leaf(erased.index).map(|leaf| leaf.to_base64url());
                if named.as_deref() != Some(erased.entry.as_str()) {
                    return Err(Fault::OtherErased { index: erased.index });
                }
            }
        }
        let moves = |subject: &Uuid| entry.payload.prev.contains_key(subject);
        if erases && !entry.events().flat_map(Event::subjects).all(|s| moves(&s)) {
            return Err(Fault::OtherChains);
        }
        Ok(())
    }

    /// Takes the events of an entry into the book; the rows that changed.
    ///
    /// # Errors
    /// [`Fault::NotUnderstood`] and [`Fault::Broken`]; the book is then as it was before the entry.
    pub fn take(&mut self, index: u64, entry: &Entry) -> Result<Vec<Touched>, Fault> {
        if !entry.is_understood() {
            return Err(Fault::NotUnderstood);
        }
        let stamp = Stamp {
            index,
            at: entry.payload.iat,
            by: entry.payload.by,
        };
        for event in entry.events() {
            if let Err(refusal) = self.book.take(&stamp, event) {
                self.book.undo();
                return Err(Fault::Broken {
                    kind: event.kind(),
                    refusal,
                });
            }
        }
        Ok(self.book.keep())
    }
}
