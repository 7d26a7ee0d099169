//! The audit of a whole log: every byte, leaf, signature, key, chain and rule, from the first entry on.
//!
//! Entries come in blocks. Both cores read a block and hash its leaves; then one core replays it through the book while
//! the other verifies signatures in batches, and whoever is done first helps. What is reported is the first entry that
//! is wrong, whichever core found it. A failed batch is verified again one by one, so that the entry is named.

use super::evidence::log_verifiers;
use crate::domain::{Book, Event, KeyRole, Stamp, Timestamp};
use crate::proof::{Checkpoint, Hash, Tree, Unproven, leaf_hash};
use crate::record::{Entry, Keys, PublicKey};
use serde::Serialize;
use std::collections::{HashMap, HashSet};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use uuid::Uuid;

/// Entries that are taken together.
pub const BLOCK: usize = 8_192;
/// Signatures that are verified together.
const BATCH: usize = 512;

/// The first entry that is wrong, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, thiserror::Error)]
#[error("entry {index}: {why}")]
pub struct Wrong {
    /// Its index.
    pub index: u64,
    /// Why.
    pub why: String,
}

/// Why an audit does not hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AuditError {
    /// An entry is wrong.
    #[error(transparent)]
    Entry(#[from] Wrong),
    /// The checkpoint does not fit the entries.
    #[error("the checkpoint does not fit the entries: {0}")]
    Checkpoint(String),
}

/// What an audit that holds has seen.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct AuditReport {
    /// Number of entries.
    pub size: u64,
    /// Root hash of the tree, base64.
    pub root: String,
    /// RFC 7638 thumbprint of the root key.
    pub root_key: String,
    /// Whether signatures were verified in batches or strictly one by one.
    pub signatures: &'static str,
    /// Private members that were erased.
    pub erased: u64,
    /// Keys in doubt, with the first index in doubt.
    pub suspect_keys: Vec<(String, u64)>,
}

/// An audit under way.
pub struct Audit {
    origin: String,
    strict: bool,
    workers: usize,
    book: Book,
    keys: Keys,
    tree: Tree,
    chains: HashMap<Uuid, Hash>,
    requests: HashSet<Uuid>,
    last: Timestamp,
    erased: u64,
}

/// An entry of a block, read.
struct Read {
    entry: Entry,
    leaf: Hash,
}

/// A signature to verify: which entry of the block, and by which key.
type Due = (usize, PublicKey);

impl Audit {
    /// An audit of the log of this origin. `strict` verifies signatures one by one, as every other verifier does.
    #[must_use]
    pub fn new(origin: &str, strict: bool, workers: usize) -> Self {
        Self {
            origin: origin.to_owned(),
            strict,
            workers: workers.max(1),
            book: Book::default(),
            keys: Keys::default(),
            tree: Tree::new(),
            chains: HashMap::new(),
            requests: HashSet::new(),
            last: Timestamp(0),
            erased: 0,
        }
    }

    /// How many entries were taken.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.tree.size()
    }

    /// The book that the entries lead to.
    #[must_use]
    pub const fn book(&self) -> &Book {
        &self.book
    }

    /// Takes the next entries, best [`BLOCK`] of them.
    ///
    /// # Errors
    /// The first entry of the block that is wrong. The audit is then over.
    pub fn take(&mut self, block: &[Vec<u8>]) -> Result<(), Wrong> {
        let first = self.size();
        let (read, unreadable) = read_block(block, self.workers, first);
        let due = Mutex::new(Vec::new());
        let mut order = self.chain_block(first, block, &read, &due);
        let due = due.into_inner().unwrap_or_else(PoisonError::into_inner);
        let next = AtomicUsize::new(0);
        let strict = self.strict;
        let workers = self.workers;
        let forged = std::thread::scope(|scope| {
            let helpers: Vec<_> = (1..workers)
                .map(|_| scope.spawn(|| verify_due(block, &due, &next, strict)))
                .collect();
            let broken = self.replay_block(first, &read);
            order = earlier(order.take(), broken);
            let mut forged = verify_due(block, &due, &next, strict);
            for helper in helpers {
                forged = sooner(forged, helper.join().unwrap_or(Some(0)));
            }
            forged
        });
        let forged = forged.map(|place| Wrong {
            index: first.saturating_add(to_u64(place)),
            why: "the signature does not hold".to_owned(),
        });
        earlier(earlier(unreadable, order), forged).map_or(Ok(()), Err)
    }

    /// Keys, chains, requests, times and leaves, in order.
    fn chain_block(
        &mut self,
        first: u64,
        block: &[Vec<u8>],
        read: &[Read],
        due: &Mutex<Vec<Due>>,
    ) -> Option<Wrong> {
        let mut due = due.lock().unwrap_or_else(PoisonError::into_inner);
        for (place, (Read { entry, leaf }, bytes)) in read.iter().zip(block).enumerate() {
            let index = first.saturating_add(to_u64(place));
            match self.chain_entry(index, entry, *leaf, bytes) {
                Ok(Some(public)) => due.push((place, public)),
                Ok(None) => {}
                Err(why) => return Some(Wrong { index, why }),
            }
        }
        None
    }

    fn chain_entry(
        &mut self,
        index: u64,
        entry: &Entry,
        leaf: Hash,
        bytes: &[u8],
    ) -> Result<Option<PublicKey>, String> {
        let payload = &entry.payload;
        if payload.iss != self.origin {
            return Err(format!("it is of {}, the log is {}", payload.iss, self.origin));
        }
        if payload.keys != self.keys.newest() {
            return Err("it does not name the newest key entry".to_owned());
        }
        if !self.requests.insert(payload.jti) {
            return Err(format!("request {} is recorded twice", payload.jti));
        }
        for (subject, previous) in &payload.prev {
            if self.chains.insert(*subject, leaf) != *previous {
                return Err(format!("it does not follow the last entry about {subject}"));
            }
        }
        let mut moved: HashSet<Uuid> = HashSet::new();
        for event in entry.events() {
            if let Event::FieldErased(erased) = event {
                let named = self.tree.leaf(erased.index).map(|leaf| leaf.to_base64url());
                if named.as_deref() != Some(erased.entry.as_str()) {
                    return Err(format!(
                        "it erases a member of entry {}, and names another",
                        erased.index
                    ));
                }
                self.erased = self.erased.saturating_add(1);
                moved.extend(payload.prev.keys());
            }
            moved.extend(event.subjects());
        }
        if moved.len() != payload.prev.len()
            || !moved.iter().all(|subject| payload.prev.contains_key(subject))
        {
            return Err("its chains are not those that its events move".to_owned());
        }
        self.tree.push(leaf);
        if entry.is_key_entry() {
            self.keys
                .apply(index, entry, bytes)
                .map_err(|why| why.to_string())?;
            return Ok(None);
        }
        let clock_set = entry.events().any(|event| matches!(event, Event::ClockSet(_)));
        if payload.iat < self.last && !clock_set {
            return Err("it is dated before the entry before it".to_owned());
        }
        self.last = payload.iat;
        let public = self
            .keys
            .valid(&entry.kid, KeyRole::Recorder, index)
            .map_err(|why| why.to_string())?;
        Ok(Some(public.clone()))
    }

    fn replay_block(&mut self, first: u64, read: &[Read]) -> Option<Wrong> {
        for (place, Read { entry, .. }) in read.iter().enumerate() {
            let index = first.saturating_add(to_u64(place));
            let stamp = Stamp {
                index,
                at: entry.payload.iat,
                by: entry.payload.by,
            };
            let mut known = 0;
            for event in entry.events() {
                known += 1;
                if let Err(refusal) = self.book.take(&stamp, event) {
                    return Some(Wrong {
                        index,
                        why: format!("{} breaks a rule of the book: {refusal}", event.kind()),
                    });
                }
            }
            if known != entry.payload.events.len() {
                return Some(Wrong {
                    index,
                    why: "it holds a kind of event that this version does not know".to_owned(),
                });
            }
            self.book.keep();
        }
        None
    }

    /// Ends the audit: the checkpoint must be signed by a log key and be that of the entries.
    ///
    /// # Errors
    /// [`AuditError::Checkpoint`].
    pub fn finish(&self, note: &str) -> Result<AuditReport, AuditError> {
        let wrong = |why: String| AuditError::Checkpoint(why);
        self.book.settled().map_err(|refusal| Wrong {
            index: self.size().saturating_sub(1),
            why: format!("it is not whole: {refusal}"),
        })?;
        let checkpoint = self.open(note, self.size())?;
        if checkpoint.size != self.size() || checkpoint.root != self.tree.root() {
            return Err(wrong(format!(
                "it says size {} and root {}, the entries make {} and {}",
                checkpoint.size,
                checkpoint.root.to_base64(),
                self.size(),
                self.tree.root().to_base64()
            )));
        }
        Ok(AuditReport {
            size: self.size(),
            root: self.tree.root().to_base64(),
            root_key: self.keys.root().unwrap_or_default().to_owned(),
            signatures: if self.strict { "one by one" } else { "batch" },
            erased: self.erased,
            suspect_keys: self
                .keys
                .rows()
                .iter()
                .filter_map(|row| Some((row.kid.clone(), row.suspect_from?)))
                .collect(),
        })
    }

    /// Whether another checkpoint, an older one perhaps, is of the log that was audited.
    ///
    /// # Errors
    /// [`AuditError::Checkpoint`].
    pub fn agrees(&self, note: &str) -> Result<(), AuditError> {
        let claimed = Checkpoint::peek(note).map_err(|why| AuditError::Checkpoint(why.to_string()))?;
        let checkpoint = self.open(note, claimed.size)?;
        if self.tree.root_at(checkpoint.size) == Some(checkpoint.root) {
            return Ok(());
        }
        let size = checkpoint.size;
        Err(AuditError::Checkpoint(format!(
            "the checkpoint of size {size} that was released is of another log"
        )))
    }

    fn open(&self, note: &str, size: u64) -> Result<Checkpoint, AuditError> {
        let wrong = |why: Unproven| AuditError::Checkpoint(why.to_string());
        let verifiers = log_verifiers(&self.keys, &self.origin, size).map_err(wrong)?;
        Checkpoint::open(note, &verifiers).map_err(wrong)
    }
}

fn to_u64(place: usize) -> u64 {
    u64::try_from(place).unwrap_or(u64::MAX)
}

/// Reads a block on all workers. What comes back ends before the first entry that cannot be read.
fn read_block(block: &[Vec<u8>], workers: usize, first: u64) -> (Vec<Read>, Option<Wrong>) {
    let part = block.len().div_ceil(workers).max(1);
    let parts: Vec<(Vec<Read>, Option<String>)> = std::thread::scope(|scope| {
        let readers: Vec<_> = block
            .chunks(part)
            .map(|chunk| scope.spawn(|| read_part(chunk)))
            .collect();
        let failed = || (Vec::new(), Some("the reader failed".to_owned()));
        readers
            .into_iter()
            .map(|reader| reader.join().unwrap_or_else(|_| failed()))
            .collect()
    });
    let mut read = Vec::with_capacity(block.len());
    for (entries, why) in parts {
        read.extend(entries);
        if let Some(why) = why {
            let index = first.saturating_add(to_u64(read.len()));
            return (read, Some(Wrong { index, why }));
        }
    }
    (read, None)
}

fn read_part(chunk: &[Vec<u8>]) -> (Vec<Read>, Option<String>) {
    let mut read = Vec::with_capacity(chunk.len());
    for bytes in chunk {
        match crate::record::read(bytes) {
            Ok(entry) => read.push(Read {
                leaf: leaf_hash(bytes),
                entry,
            }),
            Err(malformed) => return (read, Some(malformed.to_string())),
        }
    }
    (read, None)
}

/// Verifies batches until none is left; the place of the earliest entry that fails.
fn verify_due(block: &[Vec<u8>], due: &[Due], next: &AtomicUsize, strict: bool) -> Option<usize> {
    let mut forged = None;
    loop {
        let start = next.fetch_add(BATCH, Ordering::Relaxed);
        let Some(batch) = due
            .get(start..due.len().min(start.saturating_add(BATCH)))
            .filter(|b| !b.is_empty())
        else {
            return forged;
        };
        let signed: Vec<(&[u8], &PublicKey)> = batch
            .iter()
            .filter_map(|(place, public)| Some((block.get(*place)?.as_slice(), public)))
            .collect();
        let first = if strict {
            signed
                .iter()
                .position(|(bytes, public)| crate::record::verify_signature(bytes, public).is_err())
        } else {
            crate::record::verify_batch(&signed).err()
        };
        let place = first.and_then(|first| batch.get(first)).map(|(place, _)| *place);
        forged = sooner(forged, place);
    }
}

fn sooner(a: Option<usize>, b: Option<usize>) -> Option<usize> {
    [a, b].into_iter().flatten().min()
}

fn earlier(a: Option<Wrong>, b: Option<Wrong>) -> Option<Wrong> {
    [a, b].into_iter().flatten().min_by_key(|wrong| wrong.index)
}
