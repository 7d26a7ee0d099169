//! Deciding about what comes after a sale.

use super::{Decision, pointed, short};
use crate::domain::command::*;
use crate::domain::{
    GradeRule, Piece, PieceDestroyed, PieceRecovered, PieceReleased, PieceRestocked, PieceReturned,
    PieceState, PieceStolen, Private, Refusal, Refused,
};

impl Decision<'_> {
    pub(super) fn return_piece(&mut self, c: &ReturnPiece) -> Result<(), Refused> {
        let at = |refusal: Refusal| refusal.at("/piece");
        let row = self.book.known_piece(c.piece).map_err(at)?;
        let sale = row.sale.filter(|_| row.state == PieceState::Delivered);
        let sale = sale.ok_or_else(|| {
            at(Refusal::WrongState {
                state: row.state,
                verb: "returned",
            })
        })?;
        self.about_piece(PieceReturned { piece: c.piece, sale }, &c.note)
    }

    pub(super) fn restock_piece(&mut self, c: &RestockPiece) -> Result<(), Refused> {
        self.about_piece(PieceRestocked { piece: c.piece }, &c.note)
    }

    pub(super) fn buy_back_piece(&mut self, c: &BuyBackPiece) -> Result<(), Refused> {
        short(&[("seller", &c.seller), ("note", &c.note)])?;
        let at = |refusal: Refusal| pointed(refusal, "/piece", "/mass", "/session");
        let event = self
            .book
            .reckon_buy_back(c.piece, c.session, &c.mass)
            .map_err(at)?;
        let private = Private::none()
            .text("seller", c.seller.as_deref())
            .money("price", c.price.as_ref())
            .text("note", c.note.as_deref());
        self.add_with(event, private).map_err(at)?;
        let grading = self.book.reckon_grading(c.piece, GradeRule::NEWEST).map_err(at)?;
        self.add(grading).map_err(at)
    }

    pub(super) fn steal_piece(&mut self, c: &StealPiece) -> Result<(), Refused> {
        short(&[("reference", &c.reference), ("note", &c.note)])?;
        let private = Private::none()
            .text("reference", c.reference.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(PieceStolen { piece: c.piece }, private)
            .map_err(|refusal| refusal.at("/piece"))
    }

    pub(super) fn recover_piece(&mut self, c: &RecoverPiece) -> Result<(), Refused> {
        self.about_piece(PieceRecovered { piece: c.piece }, &c.note)
    }

    /// That there was a witness is checked here, since who it was is private and no rule of the book can read it. A
    /// correction leaves private members as they were recorded. What is kept for an order is so no longer: the order can
    /// be served with another.
    pub(super) fn destroy_piece(&mut self, c: &DestroyPiece) -> Result<(), Refused> {
        let witness =
            Some(c.witness.clone()).filter(|_| !(self.moment.draw.is_again() && c.witness.is_empty()));
        short(&[("witness", &witness), ("note", &c.note)])?;
        if witness.as_ref().is_some_and(|witness| witness.trim().is_empty()) {
            return Err(Refusal::WitnessMissing.at("/witness"));
        }
        let kept =
            |row: &Piece| row.state == PieceState::Reserved || row.before == Some(PieceState::Reserved);
        if self.book.piece(c.piece).is_some_and(kept) {
            self.add(PieceReleased { piece: c.piece })
                .map_err(|refusal| refusal.at("/piece"))?;
        }
        let private = Private::none()
            .text("witness", witness.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(PieceDestroyed { piece: c.piece }, private)
            .map_err(|refusal| refusal.at("/piece"))
    }
}
