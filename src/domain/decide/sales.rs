//! Deciding about sales.

use super::{Decision, listed, short};
use crate::domain::command::*;
use crate::domain::{
    Event, PieceDelivered, PieceDispatched, PieceFound, PieceHandedOver, PieceId, PieceLost, PieceSentBack,
    PieceSold, PieceUnsold, Private, Refusal, Refused, SaleDispatched, SaleId, SaleMade,
};

impl Decision<'_> {
    pub(super) fn sell_pieces(&mut self, c: &SellPieces) -> Result<(), Refused> {
        short(&[("buyer", &c.buyer), ("document", &c.document), ("note", &c.note)])?;
        listed(c.items.iter().map(|item| item.piece.0), "/items", "/piece")?;
        let sale = SaleId(self.fresh());
        let event = SaleMade {
            sale,
            number: self.book.next_sale_number()?,
            pieces: c.items.iter().map(|item| item.piece).collect(),
            order: c.order,
        };
        let private = Private::none()
            .text("buyer", c.buyer.as_deref())
            .text("document", c.document.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private)
            .map_err(|refusal| refusal.at("/order"))?;
        for (i, item) in c.items.iter().enumerate() {
            let piece = item.piece;
            let private = Private::none().money("price", item.price.as_ref());
            self.add_with(PieceSold { piece, sale }, private)
                .map_err(|refusal| refusal.at(format!("/items/{i}/piece")))?;
        }
        Ok(())
    }

    pub(super) fn cancel_sale(&mut self, c: &CancelSale) -> Result<(), Refused> {
        self.each_sold(c.sale, &c.pieces, &c.note, |piece, sale| {
            PieceUnsold { piece, sale }.into()
        })
    }

    pub(super) fn hand_over_pieces(&mut self, c: &HandOverPieces) -> Result<(), Refused> {
        self.each_sold(c.sale, &c.pieces, &c.note, |piece, sale| {
            PieceHandedOver { piece, sale }.into()
        })
    }

    pub(super) fn dispatch_pieces(&mut self, c: &DispatchPieces) -> Result<(), Refused> {
        short(&[
            ("weight", &c.weight),
            ("seal", &c.seal),
            ("carrier", &c.carrier),
            ("tracking", &c.tracking),
            ("note", &c.note),
        ])?;
        listed(c.pieces.iter().map(|piece| piece.0), "/pieces", "")?;
        let sale = c.sale;
        let event = SaleDispatched {
            sale,
            pieces: c.pieces.clone(),
        };
        let private = Private::none()
            .text("weight", c.weight.as_deref())
            .text("seal", c.seal.as_deref())
            .money("insured", c.insured.as_ref())
            .text("carrier", c.carrier.as_deref())
            .text("tracking", c.tracking.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private)
            .map_err(|refusal| refusal.at("/sale"))?;
        self.each(&c.pieces, |decision, piece| {
            decision.add(PieceDispatched { piece, sale })
        })
    }

    pub(super) fn deliver_pieces(&mut self, c: &DeliverPieces) -> Result<(), Refused> {
        self.each_sold(c.sale, &c.pieces, &c.note, |piece, sale| {
            PieceDelivered { piece, sale }.into()
        })
    }

    pub(super) fn lose_pieces(&mut self, c: &LosePieces) -> Result<(), Refused> {
        self.each_sold(c.sale, &c.pieces, &c.note, |piece, sale| {
            PieceLost { piece, sale }.into()
        })
    }

    pub(super) fn find_piece(&mut self, c: &FindPiece) -> Result<(), Refused> {
        self.about_piece(PieceFound { piece: c.piece }, &c.note)
    }

    pub(super) fn send_back_pieces(&mut self, c: &SendBackPieces) -> Result<(), Refused> {
        self.each_sold(c.sale, &c.pieces, &c.note, |piece, sale| {
            PieceSentBack { piece, sale }.into()
        })
    }

    /// The same for each of some pieces of a sale, all or nothing; the note goes with each.
    fn each_sold(
        &mut self,
        sale: SaleId,
        pieces: &[PieceId],
        note: &Option<String>,
        event: fn(PieceId, SaleId) -> Event,
    ) -> Result<(), Refused> {
        short(&[("note", note)])?;
        let known = self.book.known_sale(sale).map(|_| ());
        known.map_err(|refusal| refusal.at("/sale"))?;
        self.each(pieces, |decision, piece| {
            let private = Private::none().text("note", note.as_deref());
            decision.add_with(event(piece, sale), private)
        })
    }

    /// One event of one piece, with a private note.
    pub(super) fn about_piece(
        &mut self,
        event: impl Into<Event>,
        note: &Option<String>,
    ) -> Result<(), Refused> {
        short(&[("note", note)])?;
        self.add_with(event, Private::none().text("note", note.as_deref()))
            .map_err(|refusal: Refusal| refusal.at("/piece"))
    }
}
