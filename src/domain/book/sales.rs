//! Sales and what becomes of a sold piece on its way.
//!
//! A piece has at most one live sale: its own row names it, and the sale's row names the pieces that are out of it again.
//! A piece kept for somebody is sold to them: under their order, or without one. Handed over and arrived are one state,
//! delivered. Deliberately absent: to whom, for what price, by which carrier (private members); payment.

use super::owed::Owed;
use super::{Book, Counted, Piece, Sale, once};
use crate::domain::{
    PieceDelivered, PieceDispatched, PieceFound, PieceHandedOver, PieceId, PieceLost, PieceSentBack,
    PieceSold, PieceState, PieceUnsold, Refusal, SaleDispatched, SaleId, SaleMade, Stamp,
};

impl Book {
    /// A sale owes one event of each of its pieces, and each of those is held against what is known of its piece.
    pub(super) fn take_sale(&mut self, stamp: &Stamp, e: &SaleMade) -> Result<(), Refusal> {
        self.free(e.sale.0)?;
        self.count(Counted::Sale, e.number)?;
        named(&e.pieces)?;
        if let Some(order) = e.order {
            self.open_order(order)?;
        }
        let sale = Sale {
            sale: e.sale,
            number: e.number,
            pieces: e.pieces.clone(),
            order: e.order,
            undone: Vec::new(),
            since: stamp.index,
            at: stamp.at,
        };
        self.sales.put(e.sale, sale);
        let sale = e.sale;
        self.owe_each(e.pieces.iter().map(|piece| Owed::Selling { piece: *piece, sale }))
    }

    /// The number that the next sale gets.
    pub(in crate::domain) fn next_sale_number(&self) -> Result<u32, Refusal> {
        self.next(Counted::Sale)
    }

    pub(super) fn take_sold(&mut self, e: &PieceSold) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        self.pay(
            "piece.sold",
            |owed| matches!(owed, Owed::Selling { piece, sale } if *piece == e.piece && *sale == e.sale),
        )?;
        // Stolen or lost is the nearer fact, also where a sale stands.
        if ![PieceState::Stolen, PieceState::Lost].contains(&piece.state) {
            self.no_live_sale(&piece)?;
        }
        piece.is_in(&[PieceState::Certified, PieceState::Reserved], "sold")?;
        let kept = piece.state == PieceState::Reserved;
        let order = self.known_sale(e.sale)?.order;
        if kept && piece.order != order {
            return Err(self.kept_otherwise(&piece));
        }
        match order {
            Some(id) => {
                if !kept {
                    self.may_serve(self.known_order(id)?, &piece)?;
                }
                self.count_order(id, &piece.shape, |reserved, sold| {
                    *reserved = reserved.saturating_sub(u32::from(kept));
                    *sold = sold.saturating_add(1);
                })?;
                self.promise(piece.series, &piece.shape, |promised| promised.saturating_sub(1))?;
            }
            // What is kept for somebody without an order counts among what is promised, and leaves with the piece.
            None if kept => {}
            None => self.not_promised(&piece)?,
        }
        piece.state = PieceState::Sold;
        piece.order = order;
        piece.sale = Some(e.sale);
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    /// Refuses a piece whose sale stands.
    pub(super) fn no_live_sale(&self, piece: &Piece) -> Result<(), Refusal> {
        match piece.sale {
            Some(sale) => Err(Refusal::LiveSale {
                number: self.known_sale(sale)?.number,
            }),
            None => Ok(()),
        }
    }

    /// A sale is cancelled for a piece that the buyer never had. One that is gone stays gone; its sale is over. What it was
    /// promised for is promised again.
    pub(super) fn take_unsold(&mut self, e: &PieceUnsold) -> Result<(), Refusal> {
        let mut piece = self.in_sale(e.piece, e.sale)?;
        let verb = "taken out of its sale";
        let had = match (piece.state, piece.before) {
            (PieceState::Sold, _) => {
                piece.state = PieceState::Certified;
                false
            }
            (PieceState::Stolen, Some(PieceState::Sold)) => {
                piece.before = Some(PieceState::Certified);
                false
            }
            (PieceState::Destroyed, before) => before == Some(PieceState::Delivered),
            _ => {
                piece.is_in(&[PieceState::Lost], verb)?;
                false
            }
        };
        if let Some(order) = piece.order.filter(|_| !had) {
            self.count_order(order, &piece.shape, |_, sold| *sold = sold.saturating_sub(1))?;
            if self.open_order(order).is_ok() {
                self.promise(piece.series, &piece.shape, |promised| promised.saturating_add(1))?;
            }
        }
        self.end_sale(piece)
    }

    /// The sale of a piece is over.
    pub(super) fn end_sale(&mut self, mut piece: Piece) -> Result<(), Refusal> {
        if let Some(id) = piece.sale.take() {
            let mut sale = self.known_sale(id)?.clone();
            sale.undone.push(piece.piece);
            self.sales.put(id, sale);
        }
        piece.order = None;
        self.pieces.put(piece.piece, piece);
        Ok(())
    }

    /// A piece whose live sale is this one.
    pub(super) fn in_sale(&self, id: PieceId, sale: SaleId) -> Result<Piece, Refusal> {
        self.known_sale(sale)?;
        let piece = self.known_piece(id)?;
        if piece.sale == Some(sale) {
            Ok(piece.clone())
        } else {
            Err(Refusal::NotInSale { piece: id })
        }
    }

    /// A piece of a sale goes on from one state to another.
    fn go_on(
        &mut self,
        (id, sale): (PieceId, SaleId),
        from: PieceState,
        verb: &'static str,
        to: PieceState,
    ) -> Result<(), Refusal> {
        let mut piece = self.in_sale(id, sale)?;
        piece.is_in(&[from], verb)?;
        piece.state = to;
        self.pieces.put(id, piece);
        Ok(())
    }

    pub(super) fn take_parcel(&mut self, e: &SaleDispatched) -> Result<(), Refusal> {
        self.known_sale(e.sale)?;
        named(&e.pieces)?;
        let sale = e.sale;
        self.owe_each(
            e.pieces
                .iter()
                .map(|piece| Owed::Dispatching { piece: *piece, sale }),
        )
    }

    pub(super) fn take_dispatch(&mut self, e: &PieceDispatched) -> Result<(), Refusal> {
        self.known_piece(e.piece)?;
        self.pay(
            "piece.dispatched",
            |owed| matches!(owed, Owed::Dispatching { piece, sale } if *piece == e.piece && *sale == e.sale),
        )?;
        let at = (e.piece, e.sale);
        self.go_on(at, PieceState::Sold, "dispatched", PieceState::Dispatched)
    }

    pub(super) fn take_hand_over(&mut self, e: &PieceHandedOver) -> Result<(), Refusal> {
        let at = (e.piece, e.sale);
        self.go_on(at, PieceState::Sold, "handed over", PieceState::Delivered)
    }

    pub(super) fn take_delivery(&mut self, e: &PieceDelivered) -> Result<(), Refusal> {
        let at = (e.piece, e.sale);
        self.go_on(at, PieceState::Dispatched, "delivered", PieceState::Delivered)
    }

    pub(super) fn take_lost(&mut self, e: &PieceLost) -> Result<(), Refusal> {
        let at = (e.piece, e.sale);
        self.go_on(at, PieceState::Dispatched, "lost in transit", PieceState::Lost)
    }

    /// A piece that turned up is on its way again if its sale stands; else it is back.
    pub(super) fn take_found(&mut self, e: &PieceFound) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.is_in(&[PieceState::Lost], "found")?;
        piece.state = match piece.sale {
            Some(_) => PieceState::Dispatched,
            None => PieceState::Returned,
        };
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    pub(super) fn take_sent_back(&mut self, e: &PieceSentBack) -> Result<(), Refusal> {
        let at = (e.piece, e.sale);
        self.go_on(at, PieceState::Dispatched, "sent back", PieceState::Sold)
    }
}

/// Refuses a list of no pieces, and one that names a piece twice.
fn named(pieces: &[PieceId]) -> Result<(), Refusal> {
    if pieces.is_empty() {
        return Err(Refusal::NothingNamed);
    }
    once(pieces.iter().map(|piece| piece.0))
}
