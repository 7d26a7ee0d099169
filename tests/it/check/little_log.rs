//! A log written from the entries of a workbench, honestly or not: whoever holds the recorder key and the log key can sign
//! whatever they like, and what they cannot make is a life that adds up.

use crate::domain::bench::{Bench, Recorded};
use pourbook::check::{Ancestry, Lineage, Materials, ProofFile, Report, Trust, build, check_piece};
use pourbook::domain::*;
use pourbook::proof::{Checkpoint, Hash, NoteSigner, TlogProof, Tree, leaf_hash};
use pourbook::record::{Entry, KeyEntryDraft, Signer, Unsealed, read, seal, seal_key_entry};
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;
use uuid::Uuid;

const ORIGIN: &str = "brackenfold.example/log";

/// What an entry of a log is to say, and the seed of the key that signs it.
#[derive(Clone)]
pub struct Said {
    /// Its place in the log that it was taken from, which corrections name.
    pub place: u64,
    pub at: Timestamp,
    pub by: OperatorId,
    pub drafts: Vec<Draft>,
    /// The chains that it moves.
    pub subjects: BTreeSet<Uuid>,
    pub signer: u8,
}

impl Said {
    /// An entry about a key, signed by the root key.
    pub fn of_key(place: u64, event: Event) -> Self {
        Self {
            place,
            at: Timestamp(1_789_000_000),
            by: OperatorId(Uuid::nil()),
            drafts: vec![Draft {
                event,
                private: Private::none(),
            }],
            subjects: BTreeSet::new(),
            signer: 1,
        }
    }

    pub fn is_about_keys(&self) -> bool {
        let mut events = self.drafts.iter().map(|draft| &draft.event);
        events.any(|e| {
            matches!(
                e,
                Event::KeyAdded(_) | Event::KeyRevoked(_) | Event::KeySuspect(_)
            )
        })
    }
}

/// The key of a seed is added in a role.
pub fn added(seed: u8, role: KeyRole) -> Event {
    let signer = Signer::from_seed(&[seed; 32]);
    KeyAdded {
        kid: signer.kid().to_owned(),
        role,
        x: signer.public().to_base64url(),
    }
    .into()
}

/// The entries of a bench behind the keys of the seeds 1, 2 and 3.
pub fn said(recorded: &[Recorded]) -> Vec<Said> {
    let keys = [(1, KeyRole::Root), (2, KeyRole::Recorder), (3, KeyRole::Log)];
    let keys = (0..)
        .zip(keys)
        .map(|(place, (seed, role))| Said::of_key(place, added(seed, role)));
    let entries = (3..)
        .zip(recorded)
        .map(|(place, Recorded { stamp, drafts })| Said {
            place,
            at: stamp.at,
            by: stamp.by,
            drafts: drafts.clone(),
            subjects: drafts.iter().flat_map(|draft| draft.event.subjects()).collect(),
            signer: 2,
        });
    keys.chain(entries).collect()
}

/// A log in memory, with its signed checkpoint.
pub struct LittleLog {
    entries: Vec<Arc<[u8]>>,
    read: Vec<Arc<Entry>>,
    tree: Tree,
    histories: HashMap<Uuid, Vec<u64>>,
    newest: HashMap<Uuid, Hash>,
    keys: Option<Hash>,
    root: String,
    note: String,
}

impl LittleLog {
    /// Writes the entries in their order, each sealed and chained to those before it. Keys have the seeds 1, 2 and 3.
    pub fn written(recorded: &[Recorded]) -> Self {
        Self::of(&said(recorded)).unwrap()
    }

    /// Writes what is said, each entry sealed and chained to those before it; a correction names the entries as they stand here.
    /// `None` if an entry would be too long.
    pub fn of(said: &[Said]) -> Option<Self> {
        let mut log = Self {
            entries: Vec::new(),
            read: Vec::new(),
            tree: Tree::new(),
            histories: HashMap::new(),
            newest: HashMap::new(),
            keys: None,
            root: Signer::from_seed(&[1; 32]).kid().to_owned(),
            note: String::new(),
        };
        let mut draw = Draw::new([5; 32]);
        let mut places = HashMap::new();
        for one in said {
            let entry = match one.is_about_keys() {
                true => log.key_entry(one, &mut draw)?,
                false => log.sealed(one, &mut draw, &places)?,
            };
            places.insert(one.place, log.tree.size());
            log.push(entry);
            if one.is_about_keys() {
                log.keys = log.entries.last().map(|entry| leaf_hash(entry));
            }
        }
        log.note = log.checkpoint(log.tree.size(), 3);
        Some(log)
    }

    fn key_entry(&self, said: &Said, draw: &mut Draw) -> Option<Arc<[u8]>> {
        let draft = KeyEntryDraft {
            iss: ORIGIN,
            jti: draw.uuid(),
            iat: said.at,
            by: said.by,
            keys: self.keys,
            event: said.drafts[0].event.clone(),
        };
        let entry = seal_key_entry(&draft, &Signer::from_seed(&[said.signer; 32])).ok()?;
        Some(entry.into())
    }

    fn sealed(&self, said: &Said, draw: &mut Draw, places: &HashMap<u64, u64>) -> Option<Arc<[u8]>> {
        let mut drafts = said.drafts.clone();
        for draft in &mut drafts {
            let Event::EntryCorrected(corrected) = &mut draft.event else {
                continue;
            };
            for restated in &mut corrected.entries {
                restated.index = *places.get(&restated.index).unwrap_or(&restated.index);
                if let Some(entry) = self.entries.get(restated.index as usize) {
                    restated.entry = leaf_hash(entry).to_base64url();
                }
            }
        }
        let prev = said
            .subjects
            .iter()
            .map(|subject| (*subject, self.newest.get(subject).copied()));
        let unsealed = Unsealed {
            iss: ORIGIN,
            jti: draw.uuid(),
            iat: said.at,
            by: said.by,
            at: None,
            keys: self.keys,
            drafts: &drafts,
            prev: prev.collect(),
        };
        Some(
            seal(&unsealed, &Signer::from_seed(&[said.signer; 32]), draw)
                .ok()?
                .entry,
        )
    }

    /// A checkpoint of a size that the log had, signed by the key of a seed.
    pub fn checkpoint(&self, size: u64, seed: u8) -> String {
        let checkpoint = Checkpoint {
            origin: ORIGIN.to_owned(),
            size,
            root: self.tree.root_at(size).unwrap(),
        };
        checkpoint.sign(&NoteSigner::new(ORIGIN, &[seed; 32]).unwrap())
    }

    fn push(&mut self, bytes: Arc<[u8]>) {
        let leaf = leaf_hash(&bytes);
        let index = self.tree.size();
        let entry = read(&bytes).unwrap();
        for subject in entry.payload.prev.keys() {
            self.newest.insert(*subject, leaf);
            self.histories.entry(*subject).or_default().push(index);
        }
        self.tree.push(leaf);
        self.entries.push(bytes);
        self.read.push(Arc::new(entry));
    }

    /// The proof file of a piece under a serial.
    pub fn proof(&self, piece: PieceId, serial: &Serial) -> ProofFile {
        self.proof_at(piece, serial, self.tree.size(), &self.note)
            .unwrap()
            .0
    }

    /// The same on a checkpoint of an earlier size, with what was followed; none where that cannot be followed.
    pub fn proof_at(
        &self,
        piece: PieceId,
        serial: &Serial,
        size: u64,
        note: &str,
    ) -> Option<(ProofFile, Lineage)> {
        let materials = Materials {
            origin: ORIGIN,
            checkpoint: note,
            size,
            policy: "",
            bytes: &|index| self.entries.get(index as usize).cloned(),
            path: &|index| self.tree.inclusion(index, size),
        };
        build(piece, serial, self, &materials).ok()
    }

    /// A proof of an entry on the newest checkpoint.
    pub fn proof_of(&self, index: u64) -> Option<TlogProof> {
        let mut extra = self.entries.get(index as usize)?.to_vec();
        extra.push(b'~');
        Some(TlogProof {
            extra: Some(extra),
            index,
            path: self.tree.inclusion(index, self.tree.size())?,
            checkpoint: self.note.clone(),
        })
    }

    pub fn root(&self) -> &str {
        &self.root
    }

    pub fn size(&self) -> u64 {
        self.tree.size()
    }

    /// The check of a proof file by somebody who trusts this log's root.
    pub fn check(&self, file: &ProofFile) -> Report {
        let trust = Trust {
            root: self.root.clone(),
            policy: None,
        };
        check_piece(&file.to_bytes(), &trust)
    }
}

impl Ancestry for LittleLog {
    fn history(&self, subject: Uuid) -> Vec<u64> {
        self.histories.get(&subject).cloned().unwrap_or_default()
    }

    fn entry(&self, index: u64) -> Option<Arc<Entry>> {
        self.read.get(index as usize).cloned()
    }

    fn key_entries(&self) -> Vec<u64> {
        let about_keys = (0..).zip(&self.read).filter(|(_, entry)| entry.is_key_entry());
        about_keys.map(|(index, _)| index).collect()
    }
}

/// The checks of all pieces of a bench that have a serial.
pub fn every_report(bench: &Bench) -> Vec<(PieceId, Report)> {
    let log = LittleLog::written(&bench.entries);
    let serialled = bench.book.pieces().filter_map(|piece| {
        let serial = piece.serial.as_ref()?;
        Some((piece.piece, log.check(&log.proof(piece.piece, serial))))
    });
    serialled.collect()
}
