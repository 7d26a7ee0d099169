//! The audit of a whole log: every byte, leaf, signature, key, chain and rule, from the first entry on.
//!
//! Entries come in blocks. Both cores read a block and hash its leaves; then one core chains it and replays it through the book
//! while the other verifies in batches the signatures that are due so far, and whoever is done first helps. What is reported
//! is the first entry that is wrong, whichever core found it. A failed batch is verified again one by one, so that the entry is
//! named.

use super::evidence::log_verifiers;
use super::fault::{Fault, Faulty};
use super::replay::{Leaf, Past, Replay};
use crate::domain::{Book, Event};
use crate::proof::{Checkpoint, Unproven};
use crate::record::{Keys, PublicKey};
use serde::Serialize;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Mutex, PoisonError};

/// Entries that are taken together.
pub const BLOCK: usize = 8_192;
/// Signatures that are verified together.
const BATCH: usize = 1_024;

/// The first entry that is wrong, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, thiserror::Error)]
#[error("entry {index}: {why}")]
pub struct Wrong {
    /// Its index.
    pub index: u64,
    /// Why.
    pub why: String,
}

impl From<Faulty> for Wrong {
    fn from(Faulty { index, fault }: Faulty) -> Self {
        Self {
            index,
            why: fault.to_string(),
        }
    }
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
    strict: bool,
    workers: usize,
    replay: Replay,
    erased: u64,
}

/// A signature to verify: which entry of the block, and by which key.
type Due = (usize, PublicKey);

impl Audit {
    /// An audit of the log of this origin. `strict` verifies signatures one by one, as every other verifier does.
    #[must_use]
    pub fn new(origin: &str, strict: bool, workers: usize) -> Self {
        Self {
            strict,
            workers: workers.max(1),
            replay: Replay::new(origin),
            erased: 0,
        }
    }

    /// How many entries were taken.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.replay.tree.size()
    }

    /// The book that the entries lead to.
    #[must_use]
    pub const fn book(&self) -> &Book {
        &self.replay.book
    }

    /// The key chain that the entries lead to.
    #[must_use]
    pub const fn keys(&self) -> &Keys {
        &self.replay.keys
    }

    /// Takes the next entries, best [`BLOCK`] of them. `past` hands out those before again, for a correction.
    ///
    /// # Errors
    /// The first entry of the block that is wrong. The audit is then over.
    pub fn take(&mut self, block: &[Vec<u8>], past: Past<'_>) -> Result<(), Wrong> {
        let first = self.size();
        let (read, unreadable) = read_block(block, self.workers, first);
        let (hand, due) = channel();
        let due = Mutex::new(due);
        let strict = self.strict;
        let workers = self.workers;
        let (order, forged) = std::thread::scope(|scope| {
            let helpers: Vec<_> = (1..workers)
                .map(|_| scope.spawn(|| verify_due(block, &due, strict)))
                .collect();
            let order = self.chain_block(first, block, &read, hand);
            let order = earlier(order, self.replay_block(first, &read, past));
            let mut forged = verify_due(block, &due, strict);
            for helper in helpers {
                forged = sooner(forged, helper.join().unwrap_or(Some(0)));
            }
            (order, forged)
        });
        let forged = forged.map(|place| Wrong {
            index: first.saturating_add(to_u64(place)),
            why: "the signature does not hold".to_owned(),
        });
        earlier(earlier(unreadable, order), forged).map_or(Ok(()), Err)
    }

    /// What holds each entry to those before it, in order. Hands on which signatures are due.
    fn chain_block(
        &mut self,
        first: u64,
        block: &[Vec<u8>],
        read: &[Leaf],
        hand: Sender<Vec<Due>>,
    ) -> Option<Wrong> {
        let mut wrong = None;
        let mut due = Vec::with_capacity(BATCH);
        for (place, (leaf, bytes)) in read.iter().zip(block).enumerate() {
            let index = first.saturating_add(to_u64(place));
            match self.replay.chain(index, leaf, bytes) {
                Ok(public) => due.extend(public.map(|public| (place, public))),
                Err(fault) => {
                    wrong = Some(Faulty { index, fault }.into());
                    break;
                }
            }
            if due.len() == BATCH {
                // Those who take them stay until all are handed on.
                let _ = hand.send(std::mem::replace(&mut due, Vec::with_capacity(BATCH)));
            }
        }
        let _ = hand.send(due);
        wrong
    }

    fn replay_block(&mut self, first: u64, read: &[Leaf], past: Past<'_>) -> Option<Wrong> {
        for (place, Leaf { entry, .. }) in read.iter().enumerate() {
            let index = first.saturating_add(to_u64(place));
            if let Err(fault) = self.replay.take(index, entry, past) {
                return Some(Faulty { index, fault }.into());
            }
            let erasures = entry.events().filter(|e| matches!(e, Event::FieldErased(_)));
            self.erased = self.erased.saturating_add(to_u64(erasures.count()));
        }
        None
    }

    /// Ends the audit: the checkpoint must be signed by a log key and be that of the entries.
    ///
    /// # Errors
    /// [`AuditError::Checkpoint`].
    pub fn finish(&self, note: &str) -> Result<AuditReport, AuditError> {
        let wrong = |why: String| AuditError::Checkpoint(why);
        self.replay.settled().map_err(Wrong::from)?;
        let checkpoint = self.open(note, self.size())?;
        if checkpoint.size != self.size() || checkpoint.root != self.replay.tree.root() {
            return Err(wrong(format!(
                "it says size {} and root {}, the entries make {} and {}",
                checkpoint.size,
                checkpoint.root.to_base64(),
                self.size(),
                self.replay.tree.root().to_base64()
            )));
        }
        Ok(AuditReport {
            size: self.size(),
            root: self.replay.tree.root().to_base64(),
            root_key: self.replay.keys.root().unwrap_or_default().to_owned(),
            signatures: if self.strict { "one by one" } else { "batch" },
            erased: self.erased,
            suspect_keys: self
                .replay
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
        if self.replay.tree.root_at(checkpoint.size) == Some(checkpoint.root) {
            return Ok(());
        }
        let size = checkpoint.size;
        Err(AuditError::Checkpoint(format!(
            "the checkpoint of size {size} that was released is of another log"
        )))
    }

    fn open(&self, note: &str, size: u64) -> Result<Checkpoint, AuditError> {
        let wrong = |why: Unproven| AuditError::Checkpoint(why.to_string());
        let verifiers = log_verifiers(&self.replay.keys, &self.replay.origin, size).map_err(wrong)?;
        Checkpoint::open(note, &verifiers).map_err(wrong)
    }
}

fn to_u64(place: usize) -> u64 {
    u64::try_from(place).unwrap_or(u64::MAX)
}

/// Reads a block on all workers. What comes back ends before the first entry that cannot be read.
fn read_block(block: &[Vec<u8>], workers: usize, first: u64) -> (Vec<Leaf>, Option<Wrong>) {
    let part = block.len().div_ceil(workers).max(1);
    let parts: Vec<(Vec<Leaf>, Option<Fault>)> = std::thread::scope(|scope| {
        let readers: Vec<_> = block
            .chunks(part)
            .map(|chunk| scope.spawn(|| read_part(chunk)))
            .collect();
        let failed = || (Vec::new(), Some(Fault::Bug));
        readers
            .into_iter()
            .map(|reader| reader.join().unwrap_or_else(|_| failed()))
            .collect()
    });
    let mut read = Vec::with_capacity(block.len());
    for (entries, fault) in parts {
        read.extend(entries);
        if let Some(fault) = fault {
            let index = first.saturating_add(to_u64(read.len()));
            return (read, Some(Faulty { index, fault }.into()));
        }
    }
    (read, None)
}

fn read_part(chunk: &[Vec<u8>]) -> (Vec<Leaf>, Option<Fault>) {
    let mut read = Vec::with_capacity(chunk.len());
    for bytes in chunk {
        match Leaf::read(bytes) {
            Ok(leaf) => read.push(leaf),
            Err(fault) => return (read, Some(fault)),
        }
    }
    (read, None)
}

/// Verifies batches until no more are handed on; the place of the earliest entry that fails.
fn verify_due(block: &[Vec<u8>], due: &Mutex<Receiver<Vec<Due>>>, strict: bool) -> Option<usize> {
    let mut forged = None;
    loop {
        let next = due.lock().unwrap_or_else(PoisonError::into_inner).recv();
        let Ok(batch) = next else { return forged };
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
