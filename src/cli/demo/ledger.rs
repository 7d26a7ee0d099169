//! What really happened in the invented workshop, kept apart from the book: true masses, to which tests hold the book.

use crate::domain::{PieceId, SeriesId};
use std::collections::BTreeMap;

/// True masses in steps of 10 micrograms, and counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ledger {
    /// Silver that came in.
    pub silver_received: i64,
    /// Gold that came in.
    pub gold_received: i64,
    /// Silver that is still in its lots.
    pub silver_in_lots: i64,
    /// What each melt lost in fume, flux and spill, in order.
    pub melt_losses: Vec<i64>,
    /// The heel that is left over.
    pub heel: i64,
    /// Prills gathered and not melted again.
    pub prills: i64,
    /// Lemel gathered and not melted again.
    pub lemel: i64,
    /// Every piece that still is one, and what it weighs.
    pub pieces: BTreeMap<PieceId, i64>,
    /// Pieces that went back into the crucible.
    pub remelted: u32,
    /// Certificates issued for the first time, by series.
    pub certified: BTreeMap<SeriesId, u32>,
    /// Entries that the story made, the three founding ones not counted.
    pub entries: u64,
    /// Checks of the scale that failed.
    pub failed_checks: u32,
}

impl Ledger {
    /// One line for whoever ran the command.
    #[must_use]
    pub fn summary(&self) -> String {
        let certified: u32 = self.certified.values().sum();
        format!(
            "{} entries: {} melts, {} pieces ({certified} certified), {} remelted",
            self.entries,
            self.melt_losses.len(),
            self.pieces.len(),
            self.remelted
        )
    }
}
