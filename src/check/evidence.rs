//! The entries of a proof file, once their inclusion and signatures are checked.

use super::ancestry::Ancestry;
use super::corrected::{Corrections, restated};
use super::proof_file::ProofFile;
use crate::domain::{Event, KeyRole};
use crate::proof::{Checkpoint, Hash, NoteVerifier, TlogProof, Unproven, leaf_hash, verify_inclusion};
use crate::record::{Entry, Keys, RecordedEvent};
use std::collections::BTreeMap;
use std::sync::Arc;
use uuid::Uuid;

/// One entry of the file.
pub(super) struct Held {
    pub entry: Arc<Entry>,
    /// What it says as corrected by later entries of the file.
    pub said: Arc<Entry>,
    pub bytes: Vec<u8>,
    pub leaf: Hash,
    path: Vec<Hash>,
}

/// The file's entries, by index, and the checkpoint that all of them stand on.
pub(super) struct Evidence {
    pub entries: BTreeMap<u64, Held>,
    note: String,
}

/// Why entries cannot be taken from the file.
pub(super) enum Spoilt {
    /// It has not the form.
    Unreadable(String),
    /// It holds something that this version does not know.
    NotUnderstood(String),
}

impl Evidence {
    /// Takes the proofs apart. Nothing is believed yet.
    pub fn read(file: &ProofFile) -> Result<Self, Spoilt> {
        let mut evidence = Self {
            entries: BTreeMap::new(),
            note: String::new(),
        };
        let mut last = None;
        for (place, text) in file.proofs.iter().enumerate() {
            let unreadable = |why: &str| Spoilt::Unreadable(format!("proof {place}: {why}"));
            let proof: TlogProof = TlogProof::parse(text).map_err(|why| unreadable(&why.to_string()))?;
            if last.is_some_and(|last| proof.index <= last) {
                return Err(unreadable("the proofs are not in the order of the log"));
            }
            last = Some(proof.index);
            if place == 0 {
                evidence.note.clone_from(&proof.checkpoint);
            } else if evidence.note != proof.checkpoint {
                return Err(unreadable("it stands on another checkpoint than the first"));
            }
            let extra = proof.extra.ok_or_else(|| unreadable("it carries no entry"))?;
            let bytes =
                public_part(&extra).ok_or_else(|| unreadable("it does not carry one entry and `~`"))?;
            let entry = crate::record::read(bytes).map_err(|why| unreadable(&why.to_string()))?;
            if let Some(unknown) = entry.payload.events.iter().find_map(unknown) {
                return Err(Spoilt::NotUnderstood(format!(
                    "entry {} holds {unknown}",
                    proof.index
                )));
            }
            let entry = Arc::new(entry);
            let held = Held {
                leaf: leaf_hash(bytes),
                said: Arc::clone(&entry),
                entry,
                bytes: bytes.to_vec(),
                path: proof.path,
            };
            evidence.entries.insert(proof.index, held);
        }
        if evidence.entries.is_empty() {
            return Err(Spoilt::Unreadable("it holds no proof".to_owned()));
        }
        evidence.correct();
        Ok(evidence)
    }

    /// Puts what corrections say in the place of what they correct.
    fn correct(&mut self) {
        let mut corrections = Corrections::default();
        for held in self.entries.values() {
            corrections.take(&held.entry);
        }
        for (index, held) in &mut self.entries {
            held.said = corrections.apply(*index, Arc::clone(&held.entry));
        }
    }

    /// Every correction of the file names the entries that it corrects as they stand in the file, and comes after them.
    pub fn corrected(&self) -> Result<(), String> {
        for (index, held) in &self.entries {
            for restated in restated(&held.entry) {
                let named = self
                    .entries
                    .get(&restated.index)
                    .map(|named| named.leaf.to_base64url());
                if restated.index >= *index || named.is_some_and(|leaf| leaf != restated.entry) {
                    return Err(format!(
                        "entry {index} corrects another entry than entry {}",
                        restated.index
                    ));
                }
            }
        }
        Ok(())
    }

    /// Follows the key chain from the root that the reader trusts.
    pub fn keys(&self, root: &str) -> Result<Keys, String> {
        let mut keys = Keys::default();
        for (index, held) in self.entries.iter().filter(|(_, held)| held.entry.is_key_entry()) {
            keys.apply(*index, &held.entry, &held.bytes)
                .map_err(|why| format!("entry {index}: {why}"))?;
        }
        match keys.root() {
            None => Err("the root key's own entry is missing".to_owned()),
            Some(found) if found != root => {
                Err(format!("the log begins with root {found}, trusted is {root}"))
            }
            Some(_) => Ok(keys),
        }
    }

    /// Opens the checkpoint with the log keys of the chain.
    pub fn checkpoint(&self, origin: &str, keys: &Keys) -> Result<Checkpoint, String> {
        let claimed = Checkpoint::peek(&self.note).map_err(|why| why.to_string())?;
        let verifiers = log_verifiers(keys, origin, claimed.size).map_err(|why| why.to_string())?;
        let checkpoint = Checkpoint::open(&self.note, &verifiers).map_err(|why| why.to_string())?;
        if checkpoint.origin != origin {
            return Err(format!("it is of {}, the file says {origin}", checkpoint.origin));
        }
        Ok(checkpoint)
    }

    /// Every path leads to the checkpoint's root. The size is the signed one: a path alone does not bind it.
    pub fn included(&self, checkpoint: &Checkpoint) -> Result<(), String> {
        for (index, held) in &self.entries {
            verify_inclusion(*index, checkpoint.size, &held.leaf, &held.path, &checkpoint.root)
                .map_err(|why| format!("entry {index}: {why}"))?;
        }
        Ok(())
    }

    /// Every entry is of this log, signed by a recorder key valid at its index, and names the newest key entry.
    pub fn signed(&self, origin: &str, keys: &Keys) -> Result<(), String> {
        let mut newest = None;
        for (index, held) in &self.entries {
            let payload = &held.entry.payload;
            if payload.iss != origin {
                return Err(format!(
                    "entry {index} is of {}, the file says {origin}",
                    payload.iss
                ));
            }
            if payload.keys != newest {
                return Err(format!(
                    "entry {index} does not follow the key entries that the file holds"
                ));
            }
            if held.entry.is_key_entry() {
                newest = Some(held.leaf);
                continue;
            }
            let public = keys
                .valid(&held.entry.kid, KeyRole::Recorder, *index)
                .map_err(|why| format!("entry {index}: {why}"))?;
            crate::record::verify_signature(&held.bytes, public)
                .map_err(|why| format!("entry {index}: {why}"))?;
        }
        Ok(())
    }

    /// The entries of a chain are unbroken: the first follows nothing, each next one the one before.
    pub fn unbroken(&self, subject: Uuid) -> Result<usize, String> {
        let mut before: Option<Hash> = None;
        let mut count = 0;
        for (index, held) in &self.entries {
            let Some(previous) = held.entry.payload.prev.get(&subject) else {
                continue;
            };
            if *previous != before {
                return Err(format!(
                    "entry {index} does not follow the entry before it: one is missing or foreign"
                ));
            }
            before = Some(held.leaf);
            count += 1;
        }
        Ok(count)
    }

    /// Every event of the file, with the index of its entry.
    pub fn events(&self) -> impl Iterator<Item = (u64, &Event)> {
        self.entries
            .iter()
            .flat_map(|(index, held)| held.said.events().map(|event| (*index, event)))
    }
}

impl Ancestry for Evidence {
    fn history(&self, subject: Uuid) -> Vec<u64> {
        let of_chain = |held: &Held| held.entry.payload.prev.contains_key(&subject);
        self.entries
            .iter()
            .filter(|(_, held)| of_chain(held))
            .map(|(index, _)| *index)
            .collect()
    }

    fn entry(&self, index: u64) -> Option<Arc<Entry>> {
        self.entries.get(&index).map(|held| Arc::clone(&held.said))
    }

    fn key_entries(&self) -> Vec<u64> {
        let keys = self.entries.iter().filter(|(_, held)| held.entry.is_key_entry());
        keys.map(|(index, _)| *index).collect()
    }
}

/// The entry: what stands before the first `~`. The public file holds no disclosure after it.
fn public_part(extra: &[u8]) -> Option<&[u8]> {
    let (last, entry) = extra.split_last()?;
    (*last == b'~' && !entry.contains(&b'~')).then_some(entry)
}

fn unknown(event: &RecordedEvent) -> Option<String> {
    match event {
        RecordedEvent::Unknown { kind, v, .. } => Some(format!("{kind} version {v}")),
        RecordedEvent::Known { .. } => None,
    }
}

/// The log keys that may sign a checkpoint of this size.
pub fn log_verifiers(keys: &Keys, origin: &str, size: u64) -> Result<Vec<NoteVerifier>, Unproven> {
    let logs = keys
        .rows()
        .iter()
        .filter(|row| keys.valid(&row.kid, KeyRole::Log, size).is_ok());
    logs.map(|row| NoteVerifier::new(origin, row.public.to_bytes()))
        .collect()
}
