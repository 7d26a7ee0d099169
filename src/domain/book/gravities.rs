//! Weighing in water: the two readings from which a piece's density is reckoned where it is shown.
//!
//! Only readings are kept: a density is a statistic with an uncertainty, and no rule of the book rests on one. Water that
//! is dried off does not undo a weighing, so the weight of record stays (common practice, no source). Each measuring is
//! an event of its own and the newest is the piece's: who hangs it three times records three. Deliberately absent: the
//! density, and a limit on it.

use super::standing::IN_HAND;
use super::{Book, GravityReading, Piece, Scale};
use crate::domain::{Immersion, PieceGravity, Refusal, Stamp};
use crate::metal::gravity::{FineEnough, Impossible, Weighing};
use crate::metal::water::WaterTemperature;
use crate::metal::{Mass, Reading};

impl Immersion {
    /// A weighing by this method on a scale with steps of `step` grams.
    ///
    /// # Errors
    /// [`Impossible`]: what sinks displaces more than nothing and less than it weighs.
    pub fn weighing(
        self,
        in_air: &Reading,
        in_water: &Reading,
        water: WaterTemperature,
        step: Mass,
    ) -> Result<Weighing, Impossible> {
        let (air, shown) = (in_air.mass(), in_water.mass());
        match self {
            Self::Hung => Weighing::hung(air, shown, water, step),
            Self::Cup => Weighing::cup(air, shown, water, step),
        }
    }
}

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
        let step = self.scale_in_session(e.session)?.d;
        let weighing = e.method.weighing(&e.in_air, &e.in_water, e.water, step);
        let weighing = weighing.map_err(|why| Refusal::DisplacementImpossible {
            in_air: e.in_air.clone(),
            in_water: e.in_water.clone(),
            why,
        })?;
        let could = match weighing.fine_enough() {
            FineEnough::Yes => return Ok(()),
            FineEnough::WithStep(step) => format!("a scale with steps of {step} g could"),
            FineEnough::No => "no scale could, since bubbles alone are worth too much of it".to_owned(),
        };
        Err(Refusal::TooCoarseForGravity {
            displaced: weighing.displacement(),
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
