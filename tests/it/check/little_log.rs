//! A log written from the entries of a workbench, honestly or not: whoever holds the recorder key and the log key can sign
//! whatever they like, and what they cannot make is a life that adds up.

use crate::domain::bench::{Bench, Recorded};
use pourbook::check::{Ancestry, Materials, ProofFile, Report, Trust, build, check_piece};
use pourbook::domain::*;
use pourbook::proof::{Checkpoint, Hash, NoteSigner, Tree, leaf_hash};
use pourbook::record::{Entry, KeyEntryDraft, Signer, Unsealed, read, seal, seal_key_entry};
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;
use uuid::Uuid;

const ORIGIN: &str = "brackenfold.example/log";

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
        let root = Signer::from_seed(&[1; 32]);
        let mut log = Self {
            entries: Vec::new(),
            read: Vec::new(),
            tree: Tree::new(),
            histories: HashMap::new(),
            newest: HashMap::new(),
            keys: None,
            root: root.kid().to_owned(),
            note: String::new(),
        };
        let mut draw = Draw::new([5; 32]);
        for (seed, role) in [(1, KeyRole::Root), (2, KeyRole::Recorder), (3, KeyRole::Log)] {
            let signer = Signer::from_seed(&[seed; 32]);
            let draft = KeyEntryDraft {
                iss: ORIGIN,
                jti: draw.uuid(),
                iat: Timestamp(1_789_000_000),
                by: OperatorId(Uuid::nil()),
                keys: log.keys,
                event: KeyAdded {
                    kid: signer.kid().to_owned(),
                    role,
                    x: signer.public().to_base64url(),
                }
                .into(),
            };
            let entry = seal_key_entry(&draft, &root).unwrap();
            log.keys = Some(leaf_hash(&entry));
            log.push(entry.into());
        }
        let recorder = Signer::from_seed(&[2; 32]);
        for Recorded { stamp, drafts } in recorded {
            let subjects = drafts.iter().flat_map(|draft| draft.event.subjects());
            let prev: BTreeMap<Uuid, Option<Hash>> = subjects
                .map(|subject| (subject, log.newest.get(&subject).copied()))
                .collect();
            let unsealed = Unsealed {
                iss: ORIGIN,
                jti: draw.uuid(),
                iat: stamp.at,
                by: stamp.by,
                at: None,
                keys: log.keys,
                drafts,
                prev,
            };
            let sealed = seal(&unsealed, &recorder, &mut draw).unwrap();
            log.push(sealed.entry);
        }
        let checkpoint = Checkpoint {
            origin: ORIGIN.to_owned(),
            size: log.tree.size(),
            root: log.tree.root(),
        };
        log.note = checkpoint.sign(&NoteSigner::new(ORIGIN, &[3; 32]).unwrap());
        log
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
        let materials = Materials {
            origin: ORIGIN,
            checkpoint: &self.note,
            size: self.tree.size(),
            policy: "",
            bytes: &|index| self.entries.get(index as usize).cloned(),
            path: &|index| self.tree.inclusion(index, self.tree.size()),
        };
        build(piece, serial, self, &materials).unwrap().0
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
        vec![0, 1, 2]
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
