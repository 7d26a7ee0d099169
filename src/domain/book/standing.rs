//! Where a piece stands on its way: what it must have behind it before the next thing may happen.
//!
//! The order of a piece's life stands here once: accepted, struck where its series asks for it, hallmarked unless its
//! series is exempt, finally weighed, numbered, certified.

use super::{Book, Piece};
use crate::domain::{Grade, Marking, PieceState, Refusal, SeriesId, SeriesState, Stage, StrikeOutcome};
use crate::metal::Fineness;

/// In the workshop, weighed, and not at its end.
pub(in crate::domain::book) const IN_HAND: &[PieceState] = &[
    PieceState::Graded,
    PieceState::Condemned,
    PieceState::Serialled,
    PieceState::Struck,
    PieceState::MisStruck,
    PieceState::Archived,
    PieceState::Hallmarked,
    PieceState::Unmarked,
    PieceState::Spare,
    PieceState::Numbered,
    PieceState::Certified,
    PieceState::Reserved,
    PieceState::Sold,
    PieceState::Returned,
    PieceState::BoughtBack,
];

impl Book {
    /// Refuses a piece whose series asks for a hallmark that it has not, or for a strike that it has not.
    pub(super) fn marked(&self, piece: &Piece) -> Result<(), Refusal> {
        let series = self.known_series(piece.series)?;
        if series.struck && !piece.is_struck() {
            return Err(Refusal::NotStruck);
        }
        if series.marking == Marking::Required && piece.hallmark.is_none() {
            return Err(Refusal::NotHallmarked);
        }
        Ok(())
    }

    /// Refuses a piece whose last reading is not final, or has something behind it that touched the metal: a strike, the
    /// assay office, or a number put on it.
    pub(in crate::domain) fn finally_weighed(&self, piece: &Piece) -> Result<(), Refusal> {
        let reading = piece
            .reading()
            .filter(|reading| reading.stage == Stage::Final && !piece.back_unweighed)
            .ok_or(Refusal::NotFinallyWeighed)?;
        if piece.strikes.iter().any(|strike| strike.index >= reading.index) {
            return Err(Refusal::NotFinallyWeighed);
        }
        let on_metal = self.known_series(piece.series)?.number_on_metal;
        if on_metal && piece.numbered_at.is_some_and(|index| index >= reading.index) {
            return Err(Refusal::WeighAfterNumber);
        }
        Ok(())
    }

    /// Refuses a fineness at which an office refused the piece, and one above what an assay found in it or, unless it
    /// bears a mark of its own, in its melt.
    pub(super) fn not_above_assay(&self, piece: &Piece, stated: Fineness) -> Result<(), Refusal> {
        if let Some(claimed) = piece.refused_at.filter(|claimed| stated >= *claimed) {
            return Err(Refusal::RefusedForFineness { claimed });
        }
        let of_melt = match &piece.hallmark {
            Some(hallmark) => Some(hallmark.fineness),
            None => self.known_melt(piece.melt)?.assayed,
        };
        match piece.assay.into_iter().chain(of_melt).min() {
            Some(found) if stated > found => Err(Refusal::ClaimAboveAssay { stated, found }),
            _ => Ok(()),
        }
    }

    /// Refuses a series that is closed.
    pub(super) fn open_series(&self, series: SeriesId) -> Result<(), Refusal> {
        match self.known_series(series)?.state {
            SeriesState::Open => Ok(()),
            SeriesState::Closed => Err(Refusal::SeriesClosed),
        }
    }
}

impl Piece {
    /// Whether a strike on it came out well, and none did not.
    #[must_use]
    pub fn is_struck(&self) -> bool {
        !self.strikes.is_empty()
            && self
                .strikes
                .iter()
                .all(|strike| strike.outcome == StrikeOutcome::Good)
    }

    /// Refuses a piece that its last grading does not accept.
    pub(super) fn is_accepted(&self, verb: &'static str) -> Result<(), Refusal> {
        let grade = self.grading.as_ref().map(|grading| grading.grade);
        match grade.ok_or(Refusal::NotWeighed)? {
            Grade::Accepted => Ok(()),
            grade => Err(Refusal::WrongGrade { grade, verb }),
        }
    }

    /// Refuses a piece that is in none of the states in which something may happen to it.
    pub(super) fn is_in(&self, states: &[PieceState], verb: &'static str) -> Result<(), Refusal> {
        if states.contains(&self.state) {
            return Ok(());
        }
        Err(Refusal::WrongState {
            state: self.state,
            verb,
        })
    }
}
