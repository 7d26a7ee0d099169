//! Pieces in a stock-take: who is there by the book, who was seen, and who was not.

use crate::domain::book::standing::IN_HAND;
use crate::domain::book::{Book, Piece, once};
use crate::domain::{PieceId, PieceState, PiecesCounted, Refusal, SeriesId};
use std::collections::HashSet;

/// The most pieces that one stock-take sees: more do not fit into an entry.
pub(in crate::domain) const SEEN_MAX: usize = 512;

impl Piece {
    /// Whether it is in the workshop by the book.
    #[must_use]
    pub fn is_here(&self) -> bool {
        self.state == PieceState::Poured || IN_HAND.contains(&self.state)
    }
}

impl Book {
    /// What was seen held against what is there by the book.
    pub(in crate::domain) fn reckon_seen(
        &self,
        series: Option<SeriesId>,
        seen: &[PieceId],
    ) -> Result<PiecesCounted, Refusal> {
        if let Some(series) = series {
            self.known_series(series)?;
        }
        if seen.len() > SEEN_MAX {
            return Err(Refusal::TooMany {
                count: seen.len(),
                most: SEEN_MAX,
            });
        }
        once(seen.iter().map(|piece| piece.0))?;
        for piece in seen {
            self.known_piece(*piece)?;
        }
        let there = |piece: &Piece| series.is_none_or(|series| piece.series == series) && piece.is_here();
        let named: HashSet<PieceId> = seen.iter().copied().collect();
        let mut unseen: Vec<&Piece> = self
            .pieces()
            .filter(|piece| there(piece) && !named.contains(&piece.piece))
            .collect();
        unseen.sort_unstable_by(|a, b| (a.since, &a.pour).cmp(&(b.since, &b.pour)));
        let unexpected = seen
            .iter()
            .filter(|piece| !self.piece(**piece).is_some_and(there));
        Ok(PiecesCounted {
            series,
            seen: seen.to_vec(),
            unseen: unseen.iter().map(|piece| piece.piece).collect(),
            unexpected: unexpected.copied().collect(),
        })
    }
}
