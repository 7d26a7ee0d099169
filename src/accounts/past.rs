//! What entries say, as of a position: read again where a row of the book does not keep it.

use crate::check::Ancestry;
use crate::domain::{Book, Event, PieceId};
use std::collections::BTreeSet;

/// The entries before a position, as the book of that position has them said.
pub(super) struct Past<'a> {
    pub book: &'a Book,
    pub source: &'a dyn Ancestry,
    pub position: u64,
}

/// An entry that the book rests on and that cannot be read again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("entry {index} cannot be read again")]
pub struct Unread {
    /// Which.
    pub index: u64,
}

impl Past<'_> {
    /// The events of an entry, as corrected.
    pub fn said(&self, index: u64) -> Result<Vec<Event>, Unread> {
        let entry = self.source.entry(index).ok_or(Unread { index })?;
        Ok(self.book.said(index, entry.events()))
    }

    /// The events about a piece, each with the index of its entry: those of its chain, and those that a correction in its
    /// chain gave it.
    pub fn of_piece(&self, piece: PieceId) -> Result<Vec<(u64, Event)>, Unread> {
        let mut indexes: BTreeSet<u64> = self.source.history(piece.0).into_iter().collect();
        for index in indexes.clone().range(..self.position) {
            let entry = self.source.entry(*index).ok_or(Unread { index: *index })?;
            for event in entry.events() {
                if let Event::EntryCorrected(corrected) = event {
                    indexes.extend(corrected.entries.iter().map(|restated| restated.index));
                }
            }
        }
        let mut own = Vec::new();
        for index in indexes.range(..self.position) {
            let events = self.said(*index)?;
            let of_it = events.into_iter().filter(|event| event.piece() == Some(piece));
            own.extend(of_it.map(|event| (*index, event)));
        }
        Ok(own)
    }
}
