//! Weighing again a piece that nobody worked on: when a reading may be repeated at the same stage.
//!
//! A guard band protects only while nobody weighs until the scale says what is wanted. So a graded piece is weighed again
//! from the mould, as finished or finally, for two reasons only. A suspect reading is as good as none, and is taken anew. A
//! piece that is borderline gets a second look on a better scale: one from the mould; later each on a better scale than
//! the look before. What was mistyped is corrected, not weighed again.
//!
//! A final weighing is no repetition where something touched the metal since, a number put on it too, nor where a
//! certificate states the reading already: the next issue may have to say that the piece has become lighter.
//! Deliberately absent: what comes back from a buyer, which is weighed as often as may be.

use super::{Book, Piece, PieceReading, Scale};
use crate::domain::{Grade, PieceWeighed, Refusal, Stage};
use crate::metal::Mass;

impl Book {
    /// Refuses to repeat a reading of a piece, unless it is suspect, or borderline and this scale is a better one.
    pub(super) fn may_look_again(&self, e: &PieceWeighed) -> Result<(), Refusal> {
        let piece = self.known_piece(e.piece)?;
        let Some(last) = piece.reading().filter(|reading| reading.stage == e.stage) else {
            return Ok(());
        };
        let repeats = match e.stage {
            Stage::FromMould | Stage::Finished => {
                !piece.strikes.iter().any(|strike| strike.index >= last.index)
            }
            Stage::Final => self.finally_weighed(piece).is_ok() && !self.is_certified(piece, last)?,
            Stage::Returned => false,
        };
        if !repeats || self.is_suspect(last) {
            return Ok(());
        }
        match piece.grading.as_ref().map(|grading| grading.grade) {
            Some(Grade::Borderline) => {}
            Some(grade) => return Err(Refusal::GradedAlready { grade }),
            None => return Err(Refusal::NotWeighed),
        }
        let looks = piece
            .readings
            .iter()
            .filter(|reading| reading.stage == Stage::FromMould && !self.is_suspect(reading));
        if e.stage == Stage::FromMould && looks.count() > 1 {
            return Err(Refusal::WeighedAgainAlready);
        }
        let (this, before) = (self.scale_in_session(e.session)?, self.scale_of(last)?);
        let load = last.mass.mass();
        match is_better(this, before, load) {
            true => Ok(()),
            false => Err(Refusal::ScaleNoBetter {
                this: within(this, load),
                before: within(before, load),
            }),
        }
    }

    /// Whether a certificate states a reading: it was issued after it.
    fn is_certified(&self, piece: &Piece, reading: &PieceReading) -> Result<bool, Refusal> {
        Ok(match piece.certificate {
            Some(certificate) => self.known_certificate(certificate)?.since > reading.index,
            None => false,
        })
    }
}

/// What a scale vouches for at a load (k = 2); an unverified one for nothing.
fn vouched(scale: &Scale, load: Mass) -> Option<Mass> {
    scale.wobble(load).filter(|_| scale.verified)
}

/// Whether a scale is better than another at a load: its uncertainty is smaller, or it has one and the other has none.
fn is_better(this: &Scale, other: &Scale, load: Mass) -> bool {
    match (vouched(this, load), vouched(other, load)) {
        (Some(this), Some(other)) => this < other,
        (this, other) => this.is_some() && other.is_none(),
    }
}

/// The uncertainty of a scale at a load as a refusal says it, grams.
fn within(scale: &Scale, load: Mass) -> String {
    vouched(scale, load).map_or_else(|| "no known number of".to_owned(), |wobble| wobble.to_string())
}
