//! What comes after a sale: returns, buying back, theft, destruction.
//!
//! What comes back is not in stock before somebody says so. A stolen piece remembers what it was; a destroyed one too, and
//! has no way out. Deliberately absent: who the witness was (a private member); money.

use super::owed::Owed;
use super::standing::IN_HAND;
use super::{Book, PieceReading, Scale, agree};
use crate::domain::{
    Grade, PieceBoughtBack, PieceDestroyed, PieceId, PieceRecovered, PieceRestocked, PieceReturned,
    PieceState, PieceStolen, Refusal, SessionId, Stage, Stamp,
};
use crate::metal::Reading;

impl Book {
    pub(super) fn take_return(&mut self, e: &PieceReturned) -> Result<(), Refusal> {
        let mut piece = self.in_sale(e.piece, e.sale)?;
        piece.is_in(&[PieceState::Delivered], "returned")?;
        piece.state = PieceState::Returned;
        self.end_sale(piece)
    }

    /// A piece that came back keeps its number and its certificate, and is for sale again; a faulty one is not.
    pub(super) fn take_restock(&mut self, e: &PieceRestocked) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        let verb = "restocked";
        piece.is_in(&[PieceState::Returned, PieceState::BoughtBack], verb)?;
        let grade = piece.grading.as_ref().map(|grading| grading.grade);
        if let Some(grade) = grade.filter(|grade| *grade == Grade::Faulty) {
            return Err(Refusal::WrongGrade { grade, verb });
        }
        piece.state = PieceState::Certified;
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    /// A piece bought back is weighed, and so graded anew in the same entry. A difference that the two readings do not
    /// explain is recorded, not refused: it is what the reading is for.
    pub(super) fn take_buy_back(&mut self, stamp: &Stamp, e: &PieceBoughtBack) -> Result<(), Refusal> {
        agree(e, &self.reckon_buy_back(e.piece, e.session, &e.mass)?)?;
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.readings.push(PieceReading {
            session: e.session,
            stage: Stage::Returned,
            mass: e.mass.clone(),
            index: stamp.index,
        });
        piece.state = PieceState::BoughtBack;
        self.end_sale(piece)?;
        self.count_readings(e.session, 1)?;
        self.owe(Owed::Grading { piece: e.piece })
    }

    /// What a reading says of a piece that a buyer sells back, held against its last reading before, and whether both
    /// readings' uncertainty explains the difference.
    pub(in crate::domain) fn reckon_buy_back(
        &self,
        id: PieceId,
        session: SessionId,
        mass: &Reading,
    ) -> Result<PieceBoughtBack, Refusal> {
        let piece = self.known_piece(id)?;
        piece.is_in(&[PieceState::Delivered], "bought back")?;
        self.weighed(session, mass)?;
        let reading = piece.reading().ok_or(Refusal::NotWeighed)?;
        let before = reading.mass.mass();
        let difference = before.minus(mass.mass());
        let (then, now) = (self.scale_of(reading)?, self.scale_in_session(session)?);
        Ok(PieceBoughtBack {
            piece: id,
            session,
            mass: mass.clone(),
            before,
            difference,
            explained: Scale::explain(then, before, now, mass.mass()),
        })
    }

    pub(super) fn take_theft(&mut self, e: &PieceStolen) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        // In the workshop or with its buyer.
        if piece.state != PieceState::Delivered {
            piece.is_in(IN_HAND, "stolen")?;
        }
        piece.before = Some(piece.state);
        piece.state = PieceState::Stolen;
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    pub(super) fn take_recovery(&mut self, e: &PieceRecovered) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.is_in(&[PieceState::Stolen], "recovered")?;
        if let Some(before) = piece.before.take() {
            piece.state = before;
        }
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    /// The end of a piece, wherever it was; a sale of it stands until it is cancelled.
    pub(super) fn take_destruction(&mut self, e: &PieceDestroyed) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        let at_its_end = [
            PieceState::Poured,
            PieceState::Remelted,
            PieceState::Refined,
            PieceState::Destroyed,
        ];
        if at_its_end.contains(&piece.state) {
            return Err(Refusal::WrongState {
                state: piece.state,
                verb: "destroyed",
            });
        }
        piece.before = piece.before.or(Some(piece.state));
        piece.state = PieceState::Destroyed;
        self.pieces.put(e.piece, piece);
        Ok(())
    }
}
