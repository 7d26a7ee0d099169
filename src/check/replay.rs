//! Replaying a log: what each entry must be to the entries before it, and what the book becomes by it.
//!
//! Opening for writing, the audit, and a book that is read beside its server all go through here, so no two of them can
//! take one log for two books. An entry goes through two halves: [`Replay::chain`] holds its origin, key, request,
//! chains and date; [`Replay::take`] hands its events to the book. They are apart so that an audit can let signatures
//! be verified while the book is reckoned. [`Replay::run`] does both, and reads ahead on the other cores.
//!
//! Deliberately absent: verifying the signatures of entries that are not about keys (whoever needs it is told the key),
//! and checkpoints (what they are held against is here: the tree).

use super::fault::{Fault, Faulty};
use super::operators::Operators;
use super::read_ahead::read_ahead;
use crate::domain::{Book, EntryCorrected, Event, KeyRole, Stamp, Timestamp, Touched};
use crate::proof::{Hash, Tree, leaf_hash};
use crate::record::{Entry, Keys, PublicKey};
use std::collections::HashMap;
use std::sync::Arc;
use uuid::Uuid;

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

/// Hands out the entries of a log again, from the first on, until it is told to stop. A correction needs it: the past is
/// then taken anew.
pub type Past<'a> = &'a dyn Fn(&mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), String>;

/// What an entry changed in the book.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Changed {
    /// Rows that are new or otherwise.
    pub touched: Vec<Touched>,
    /// Rows that are no more: only a correction can withdraw one.
    pub gone: Vec<Touched>,
}

/// An entry that went into the book.
pub struct Taken<'a> {
    /// Its index.
    pub index: u64,
    /// What it says, and its leaf hash.
    pub leaf: Leaf,
    /// What it changed in the book.
    pub changed: Changed,
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
    /// Operators who were revoked.
    pub operators: Operators,
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
            operators: Operators::default(),
            last: Timestamp(0),
        }
    }

    /// Replays a log, or what came after the entries that were replayed already. `scan` hands out its entries from there
    /// on, in order, until it is told to stop, and `past` does so from the first on when a correction asks for it; `each`
    /// is told of every entry that went into the book.
    ///
    /// # Errors
    /// Of `scan`; inside, the first entry that has a fault. The replay is then over.
    pub fn run<E>(
        &mut self,
        scan: impl FnOnce(&mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), E>,
        past: Past<'_>,
        mut each: impl FnMut(Taken<'_>),
    ) -> Result<Result<(), Faulty>, E> {
        let outcome = read_ahead(self.tree.size(), scan, &mut |index, leaf, bytes| {
            self.chain(index, &leaf, bytes)?;
            let changed = self.take(index, &leaf.entry, past)?;
            each(Taken {
                index,
                leaf,
                changed,
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
        self.operators.take(index, payload.by, entry.events())?;
        self.move_chains(leaf)?;
        self.hold_named(entry)?;
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

    /// An erasure or a correction names an entry by index and hash, and moves its chains too; only the log knows them.
    /// That any other entry moves just the chains of its events, reading has seen.
    fn hold_named(&self, entry: &Entry) -> Result<(), Fault> {
        let mut names = false;
        for event in entry.events() {
            let named: Vec<(u64, &str)> = match event {
                Event::FieldErased(erased) => vec![(erased.index, &erased.entry)],
                Event::EntryCorrected(corrected) => {
                    let entries = corrected.entries.iter();
                    entries
                        .map(|restated| (restated.index, restated.entry.as_str()))
                        .collect()
                }
                _ => continue,
            };
            names = true;
            for (index, says) in named {
                if self.tree.leaf(index).map(|leaf| leaf.to_base64url()).as_deref() != Some(says) {
                    return Err(Fault::OtherNamed { index });
                }
            }
        }
        if names && !moves_all(entry, entry.events()) {
            return Err(Fault::OtherChains);
        }
        Ok(())
    }

    /// Takes the events of an entry into the book; what that changed. `past` is asked only for a correction.
    ///
    /// # Errors
    /// [`Fault::NotUnderstood`] and [`Fault::Broken`]; the book is then as it was before the entry.
    pub fn take(&mut self, index: u64, entry: &Entry, past: Past<'_>) -> Result<Changed, Fault> {
        if !entry.is_understood() {
            return Err(Fault::NotUnderstood);
        }
        let corrected = entry.events().find_map(|event| match event {
            Event::EntryCorrected(corrected) => Some(corrected),
            _ => None,
        });
        let Some(corrected) = corrected else {
            let touched = take_events(&mut self.book, &stamp_of(index, entry), entry.events())?;
            let gone = Vec::new();
            return Ok(Changed { touched, gone });
        };
        let mut book = self.past_anew(index, entry, corrected, past)?;
        take_events(&mut book, &stamp_of(index, entry), entry.events())?;
        let (touched, gone) = book.differences(&self.book);
        self.book = book;
        Ok(Changed { touched, gone })
    }

    /// The book as it is before the entry at `until`, with what that entry corrects. It must have moved the chains of
    /// what was said as well as of what is said now.
    fn past_anew(
        &self,
        until: u64,
        entry: &Entry,
        corrected: &EntryCorrected,
        past: Past<'_>,
    ) -> Result<Book, Fault> {
        let mut book = self.book.anew(corrected);
        let names = |index| corrected.entries.iter().any(|restated| restated.index == index);
        let mut fault = None;
        let scanned = past(&mut |index, bytes| {
            if index >= until {
                return false;
            }
            let taken = Leaf::read(bytes).and_then(|leaf| {
                if self.tree.leaf(index) != Some(leaf.hash) {
                    let why = format!("entry {index} is now another one");
                    return Err(Fault::PastUnreadable { why });
                }
                if names(index) && !moves_all(entry, self.book.said(index, leaf.entry.events()).iter()) {
                    return Err(Fault::OtherChains);
                }
                let said = book.said(index, leaf.entry.events());
                take_events(&mut book, &stamp_of(index, &leaf.entry), said.iter())
            });
            fault = taken.err();
            fault.is_none()
        });
        match (scanned, fault) {
            (Err(why), _) => Err(Fault::PastUnreadable { why }),
            (Ok(()), Some(fault)) => Err(fault),
            (Ok(()), None) => Ok(book),
        }
    }
}

fn stamp_of(index: u64, entry: &Entry) -> Stamp {
    Stamp {
        index,
        at: entry.payload.iat,
        by: entry.payload.by,
    }
}

fn take_events<'a>(
    book: &mut Book,
    stamp: &Stamp,
    events: impl Iterator<Item = &'a Event>,
) -> Result<Vec<Touched>, Fault> {
    for event in events {
        if let Err(refusal) = book.take(stamp, event) {
            book.undo();
            let kind = event.kind();
            return Err(Fault::Broken { kind, refusal });
        }
    }
    Ok(book.keep())
}

/// Whether an entry moves every chain that these events move.
fn moves_all<'a>(entry: &Entry, mut events: impl Iterator<Item = &'a Event>) -> bool {
    events.all(|event| {
        let subjects = event.subjects();
        subjects
            .iter()
            .all(|subject| entry.payload.prev.contains_key(subject))
    })
}
