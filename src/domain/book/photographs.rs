//! Photographs of pieces: which the book takes, and of what.
//!
//! A photograph changes nothing of a piece and can be recorded some while after it was taken, as when a parcel leaves at
//! noon and the pictures are sent in at night. So it is taken of every piece that is somewhere: in the workshop, at the
//! office, under way, with its buyer. Not of one that no longer exists, and not of one that nobody has: then the record
//! would say that somebody does. What the stage says must have happened to the piece; when it was taken is the operator's
//! word. Deliberately absent: replacing and deleting. One of the wrong piece is corrected.

use super::{Book, Photograph, Piece};
use crate::domain::{
    PHOTOGRAPH_PIXELS_MAX, PHOTOGRAPH_SIDE_MAX, PHOTOGRAPHS_MAX, PhotographHash, PhotographStage,
    PiecePhotographed, PieceState, Refusal, Stamp,
};
use std::collections::BTreeSet;

/// Gone, or in nobody's hands.
const NOWHERE: &[PieceState] = &[
    PieceState::Remelted,
    PieceState::Refined,
    PieceState::Destroyed,
    PieceState::Kept,
    PieceState::Missing,
    PieceState::Lost,
    PieceState::Stolen,
];

impl Book {
    /// Every photograph and thumbnail that the book names, as corrected.
    #[must_use]
    pub fn photographs(&self) -> BTreeSet<PhotographHash> {
        let photographs = self.pieces().flat_map(|piece| &piece.photographs);
        photographs
            .flat_map(|kept| [kept.photograph, kept.thumbnail])
            .collect()
    }

    pub(super) fn take_photograph(&mut self, stamp: &Stamp, e: &PiecePhotographed) -> Result<(), Refusal> {
        let piece = self.known_piece(e.piece)?;
        if NOWHERE.contains(&piece.state) {
            let (state, verb) = (piece.state, "photographed");
            return Err(Refusal::WrongState { state, verb });
        }
        can_be_kept(e)?;
        has_been(piece, e.stage)?;
        let known = |photograph: &&Photograph| photograph.photograph == e.photograph;
        if let Some(photograph) = piece.photographs.iter().find(known) {
            let index = photograph.index;
            return Err(Refusal::PhotographedAlready { index });
        }
        if piece.photographs.len() >= PHOTOGRAPHS_MAX {
            let most = PHOTOGRAPHS_MAX;
            return Err(Refusal::PhotographsEnough { most });
        }
        let mut piece = piece.clone();
        piece.photographs.push(Photograph {
            photograph: e.photograph,
            thumbnail: e.thumbnail,
            width: e.width,
            height: e.height,
            stage: e.stage,
            side: e.side,
            index: stamp.index,
            at: stamp.at,
        });
        self.pieces.put(e.piece, piece);
        Ok(())
    }
}

/// Refuses a size that nothing which was kept can have.
fn can_be_kept(e: &PiecePhotographed) -> Result<(), Refusal> {
    let (width, height) = (e.width, e.height);
    let side = |pixels: u32| (1..=PHOTOGRAPH_SIDE_MAX).contains(&pixels);
    let pixels = u64::from(width).saturating_mul(u64::from(height));
    if side(width) && side(height) && pixels <= PHOTOGRAPH_PIXELS_MAX {
        return Ok(());
    }
    Err(Refusal::PhotographImpossible { width, height })
}

/// Refuses a stage that the piece has not come to.
fn has_been(piece: &Piece, stage: PhotographStage) -> Result<(), Refusal> {
    let came_back = |state| matches!(state, PieceState::Returned | PieceState::BoughtBack);
    let (has, why) = match stage {
        PhotographStage::FromMould => (true, ""),
        PhotographStage::Finished => (!piece.readings.is_empty(), "it has not been weighed"),
        PhotographStage::Hallmarked => (piece.hallmark.is_some(), "it bears no hallmark"),
        PhotographStage::AsSold => (piece.certificate.is_some(), "it has no certificate"),
        PhotographStage::Returned => (came_back(piece.state), "it has not just come back from a buyer"),
    };
    match has {
        true => Ok(()),
        false => Err(Refusal::NotYetSo { stage, why }),
    }
}
