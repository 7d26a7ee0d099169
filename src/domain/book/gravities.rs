//! Weighing in water: the two readings from which a piece's density is reckoned where it is shown.
//!
//! Only readings are kept: a density is a statistic with an uncertainty, and no rule of the book rests on one. Water that
//! is dried off does not undo a weighing, so the weight of record stays (common practice, no source). Each measuring is
//! an event of its own and the newest is the piece's: who hangs it three times records three. Deliberately absent: the
//! density, and a limit on it.

use super::{Book, GravityReading, Piece, Scale};
use crate::domain::{PieceGravity, PieceState, Refusal, Stamp};
use crate::metal::{IMMERSION_RULE, Mass};

/// In the workshop, weighed, and not at its end.
const IN_HAND: &[PieceState] = &[
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
    pub(super) fn take_gravity(&mut self, stamp: &Stamp, e: &PieceGravity) -> Result<(), Refusal> {
        self.may_measure(e)?;
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.gravities.push(GravityReading {
            session: e.session,
            method: e.method,
            in_air: e.in_air.clone(),
            in_water: e.in_water.clone(),
            water: e.water,
            index: stamp.index,
        });
        self.pieces.put(e.piece, piece);
        self.count_readings(e.session, 2)
    }

    /// Whether a piece is in hand, its readings are such as it can have, and the scale is fine enough for them.
    pub(in crate::domain) fn may_measure(&self, e: &PieceGravity) -> Result<(), Refusal> {
        let piece = self.known_piece(e.piece)?;
        if piece.readings.is_empty() {
            return Err(Refusal::NotWeighed);
        }
        piece.is_in(IN_HAND, "weighed in water")?;
        self.weighed(e.session, &e.in_air)?;
        self.shown(e.session, &e.in_water)?;
        self.as_weighed(piece, e)?;
        let displaced = e.method.displaced(e.in_air.mass(), e.in_water.mass());
        let displaced = displaced.ok_or_else(|| Refusal::DisplacementImpossible {
            in_air: e.in_air.clone(),
            in_water: e.in_water.clone(),
            method: e.method,
        })?;
        let step = self.scale_in_session(e.session)?.d;
        if IMMERSION_RULE.can_tell(displaced, step) {
            return Ok(());
        }
        let could = match IMMERSION_RULE.step_that_could(displaced) {
            Some(step) => format!("a scale with steps of {step} g"),
            None => "no scale that this book knows".to_owned(),
        };
        Err(Refusal::TooCoarseForGravity {
            displaced,
            step,
            could,
        })
    }

    /// Refuses a weight in air that the piece's last reading does not explain: it is wet, or another piece. A reading that
    /// is suspect explains nothing.
    fn as_weighed(&self, piece: &Piece, e: &PieceGravity) -> Result<(), Refusal> {
        let last = piece.reading().ok_or(Refusal::NotWeighed)?;
        if self.is_suspect(last) {
            let session = last.session;
            return Err(Refusal::ReadingSuspect { session });
        }
        let (weighed, in_air): (Mass, Mass) = (last.mass.mass(), e.in_air.mass());
        let (before, now) = (self.scale_of(last)?, self.scale_in_session(e.session)?);
        if Scale::explain(before, weighed, now, in_air) {
            return Ok(());
        }
        Err(Refusal::NotAsWeighed {
            weighed,
            in_air: e.in_air.clone(),
        })
    }
}
