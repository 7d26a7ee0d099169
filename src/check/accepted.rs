//! What a check accepted: the entries of a proof file, for whoever tells them further.
//!
//! It exists only where every step held, so that nothing is told of a piece that was not checked first.

use super::ancestry::Lineage;
use super::evidence::Evidence;
use crate::domain::{Event, PieceId, Timestamp};
use crate::proof::{Checkpoint, Hash};
use crate::record::Entry;
use std::collections::BTreeMap;
use std::sync::Arc;

/// The entries of a proof file that holds.
#[derive(Clone, Debug)]
pub struct Accepted {
    /// The piece.
    pub piece: PieceId,
    /// The signed checkpoint on which all of it stands.
    pub checkpoint: Checkpoint,
    /// The entries by index, in the order of the log.
    pub entries: BTreeMap<u64, AcceptedEntry>,
    /// Which of them stand behind the piece, and where its metal came from.
    pub lineage: Lineage,
}

/// One entry of a proof file that holds.
#[derive(Clone, Debug)]
pub struct AcceptedEntry {
    /// Its leaf hash.
    pub leaf: Hash,
    /// What it said when it was recorded.
    pub recorded: Arc<Entry>,
    /// What it says since later entries of the file corrected it; the same where none did.
    pub said: Arc<Entry>,
}

impl AcceptedEntry {
    /// When it was recorded, by the writer's clock.
    #[must_use]
    pub fn at(&self) -> Timestamp {
        self.recorded.payload.iat
    }

    /// Whether a later entry of the file says otherwise.
    #[must_use]
    pub fn is_corrected(&self) -> bool {
        !Arc::ptr_eq(&self.recorded, &self.said)
    }
}

impl Accepted {
    pub(super) fn of(piece: PieceId, checkpoint: Checkpoint, evidence: Evidence, lineage: Lineage) -> Self {
        let entries = evidence.entries.into_iter().map(|(index, held)| {
            let entry = AcceptedEntry {
                leaf: held.leaf,
                recorded: held.entry,
                said: held.said,
            };
            (index, entry)
        });
        Self {
            piece,
            checkpoint,
            entries: entries.collect(),
            lineage,
        }
    }

    /// Every event as it is said now, with the index of its entry.
    pub fn events(&self) -> impl Iterator<Item = (u64, &Event)> {
        let entries = self.entries.iter();
        entries.flat_map(|(index, entry)| entry.said.events().map(|event| (*index, event)))
    }

    /// The entry of the piece that was recorded last.
    #[must_use]
    pub fn newest(&self) -> Option<(u64, &AcceptedEntry)> {
        let index = self.lineage.own.last()?;
        Some((*index, self.entries.get(index)?))
    }
}
