//! Weighing again a piece that nobody worked on: when a reading may be repeated at the same stage.
//!
//! A guard band protects only while nobody weighs until the scale says what is wanted. So a graded piece is weighed again
//! from the mould, or as finished, for two reasons only. A suspect reading is as good as none, and is taken anew. A piece
//! that is borderline gets a second look on a better scale: one from the mould; as finished each on a better scale than
//! the look before. What was mistyped is corrected, not weighed again.
//!
//! Deliberately absent: the final weighing and what comes after, which are repeated for reasons of their own (a number
//! put on the metal, a new issue of a certificate).

use super::{Book, Scale};
use crate::domain::{Grade, PieceWeighed, Refusal, Stage};
use crate::metal::Mass;

impl Book {
    /// Refuses to repeat a reading of a piece, unless it is suspect, or borderline and this scale is a better one.
    pub(super) fn may_look_again(&self, e: &PieceWeighed) -> Result<(), Refusal> {
        let piece = self.known_piece(e.piece)?;
        let Some(last) = piece.reading().filter(|reading| reading.stage == e.stage) else {
            return Ok(());
        };
        let struck_since = piece.strikes.iter().any(|strike| strike.index >= last.index);
        let repeats = matches!(e.stage, Stage::FromMould | Stage::Finished) && !struck_since;
        if !repeats || self.is_suspect(last) {
            return Ok(());
        }
        match piece.grading.as_ref().map(|grading| grading.grade) {
            Some(Grade::Borderline) => {}
            Some(grade) => return Err(Refusal::GradedAlready { grade }),
            None => return Err(Refusal::NotWeighed),
        }
        let counts = |stage| stage == Stage::FromMould && e.stage == stage;
        let looks = piece
            .readings
            .iter()
            .filter(|reading| counts(reading.stage) && !self.is_suspect(reading));
        if looks.count() > 1 {
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
