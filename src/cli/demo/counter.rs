//! The counter and the packing table: promises, sales, parcels, and what comes back. Each tells the book and the ledger.

use super::crucible::{money, shown};
use super::ledger::Holder;
use super::workshop::Workshop;
use crate::cli::Failure;
use crate::domain::{
    BuyBackPiece, CancelOrder, CancelSale, DeliverPieces, DestroyPiece, DispatchPieces, Event, FindPiece,
    HandOverPieces, LosePieces, OrderId, PieceId, PieceState, RecordOrder, RecoverPiece, ReleasePiece,
    ReservePiece, RestockPiece, ReturnPiece, SaleId, SaleItem, SellPieces, SendBackPieces, SeriesId,
    SessionId, Shape, ShapeCount, StealPiece,
};

/// A sale as the people who made it remember it.
pub(super) struct Deal {
    pub sale: SaleId,
    pub pieces: Vec<PieceId>,
    pub buyer: &'static str,
    /// Index of its entry.
    pub index: u64,
}

/// A promise as it is remembered.
pub(super) struct Promise {
    pub order: OrderId,
    pub series: SeriesId,
    pub buyer: &'static str,
    pub left: Vec<(Shape, u32)>,
}

impl Workshop {
    /// Promises so many pieces of each shape.
    pub(super) fn promise(
        &mut self,
        series: SeriesId,
        buyer: &'static str,
        shapes: &[(&str, u32)],
    ) -> Result<Promise, Failure> {
        let mut left = Vec::new();
        for (name, count) in shapes {
            left.push((Self::shape(name)?, *count));
        }
        let counted = left.iter().map(|(shape, count)| ShapeCount {
            shape: shape.clone(),
            count: *count,
        });
        let recorded = self.record(RecordOrder {
            series,
            shapes: counted.collect(),
            buyer: Some(buyer.to_owned()),
            note: None,
        })?;
        let order = Self::event(&recorded, |event| match event {
            Event::OrderRecorded(e) => Some(e.order),
            _ => None,
        })?;
        for (shape, count) in &left {
            let key = (series, shape.clone());
            *self.ledger.promised.entry(key).or_default() += count;
        }
        Ok(Promise {
            order,
            series,
            buyer,
            left,
        })
    }

    /// Gives up what of a promise is not sold; what was kept for it is in stock again.
    pub(super) fn cancel_promise(&mut self, promise: Promise, kept: &[PieceId]) -> Result<(), Failure> {
        self.record(CancelOrder {
            order: promise.order,
            note: Some("changed their mind".to_owned()),
        })?;
        for (shape, count) in promise.left {
            let promised = self.ledger.promised.entry((promise.series, shape)).or_default();
            *promised = promised.saturating_sub(count);
        }
        for piece in kept {
            self.ledger.go(*piece, PieceState::Certified, Holder::Workshop);
        }
        Ok(())
    }

    /// Keeps a piece for an order, or for somebody without one.
    pub(super) fn reserve(
        &mut self,
        piece: PieceId,
        order: Option<&Promise>,
        buyer: Option<&str>,
    ) -> Result<(), Failure> {
        self.record(ReservePiece {
            piece,
            order: order.map(|promise| promise.order),
            buyer: buyer.map(str::to_owned),
            note: None,
        })?;
        self.ledger.go(piece, PieceState::Reserved, Holder::Workshop);
        Ok(())
    }

    /// Gives up a reservation.
    pub(super) fn release(&mut self, piece: PieceId) -> Result<(), Failure> {
        self.record(ReleasePiece { piece, note: None })?;
        self.ledger.go(piece, PieceState::Certified, Holder::Workshop);
        Ok(())
    }

    /// Sells pieces, each for the same price.
    pub(super) fn sell(
        &mut self,
        buyer: &'static str,
        pieces: &[PieceId],
        price: &str,
    ) -> Result<Deal, Failure> {
        self.sell_under(None, buyer, pieces, price)
    }

    /// Sells pieces that were promised.
    pub(super) fn supply(
        &mut self,
        promise: &mut Promise,
        pieces: &[PieceId],
        price: &str,
    ) -> Result<Deal, Failure> {
        let deal = self.sell_under(Some(promise.order), promise.buyer, pieces, price)?;
        for piece in pieces {
            let shape = self.ledger.pieces.get(piece).map(|fate| fate.shape.clone());
            for (promised, left) in &mut promise.left {
                if Some(&*promised) == shape.as_ref() {
                    *left = left.saturating_sub(1);
                    let key = (promise.series, promised.clone());
                    let open = self.ledger.promised.entry(key).or_default();
                    *open = open.saturating_sub(1);
                }
            }
        }
        Ok(deal)
    }

    fn sell_under(
        &mut self,
        order: Option<OrderId>,
        buyer: &'static str,
        pieces: &[PieceId],
        price: &str,
    ) -> Result<Deal, Failure> {
        let price = money(price)?;
        let items = pieces.iter().map(|piece| SaleItem {
            piece: *piece,
            price: Some(price),
        });
        let recorded = self.record(SellPieces {
            items: items.collect(),
            order,
            buyer: Some(buyer.to_owned()),
            document: Some(format!("BP-{}", self.ledger.entries)),
            note: None,
        })?;
        let sale = Self::event(&recorded, |event| match event {
            Event::SaleMade(e) => Some(e.sale),
            _ => None,
        })?;
        self.all(pieces, PieceState::Sold, Holder::Workshop);
        Ok(Deal {
            sale,
            pieces: pieces.to_vec(),
            buyer,
            index: recorded.index,
        })
    }

    fn all(&mut self, pieces: &[PieceId], state: PieceState, holder: Holder) {
        for piece in pieces {
            self.ledger.go(*piece, state, holder);
        }
    }

    /// Takes a sale back. Pieces that are gone stay gone.
    pub(super) fn cancel_sale(&mut self, deal: &Deal, gone: bool) -> Result<(), Failure> {
        let (sale, pieces) = (deal.sale, deal.pieces.clone());
        let note = Some("refunded".to_owned());
        self.record(CancelSale { sale, pieces, note })?;
        if !gone {
            self.all(&deal.pieces, PieceState::Certified, Holder::Workshop);
        }
        Ok(())
    }

    /// Over the counter.
    pub(super) fn hand_over(&mut self, deal: &Deal) -> Result<(), Failure> {
        let (sale, pieces) = (deal.sale, deal.pieces.clone());
        self.record(HandOverPieces {
            sale,
            pieces,
            note: None,
        })?;
        self.all(&deal.pieces, PieceState::Delivered, Holder::Buyer(deal.buyer));
        Ok(())
    }

    /// In one parcel.
    pub(super) fn dispatch(&mut self, deal: &Deal) -> Result<(), Failure> {
        let seal = 1_000 + self.below(9_000);
        self.record(DispatchPieces {
            sale: deal.sale,
            pieces: deal.pieces.clone(),
            weight: Some("412 g".to_owned()),
            seal: Some(format!("S{seal}")),
            insured: Some(money("500.00")?),
            carrier: Some("Harrow & Fen Carriers".to_owned()),
            tracking: Some(format!("HF-{}", self.ledger.entries)),
            note: None,
        })?;
        self.all(&deal.pieces, PieceState::Dispatched, Holder::Carrier);
        Ok(())
    }

    pub(super) fn deliver(&mut self, deal: &Deal) -> Result<(), Failure> {
        let (sale, pieces) = (deal.sale, deal.pieces.clone());
        self.record(DeliverPieces {
            sale,
            pieces,
            note: None,
        })?;
        self.all(&deal.pieces, PieceState::Delivered, Holder::Buyer(deal.buyer));
        Ok(())
    }

    pub(super) fn lose(&mut self, deal: &Deal) -> Result<(), Failure> {
        let (sale, pieces) = (deal.sale, deal.pieces.clone());
        let note = Some("the carrier has looked for a fortnight".to_owned());
        self.record(LosePieces { sale, pieces, note })?;
        self.all(&deal.pieces, PieceState::Lost, Holder::Unknown);
        Ok(())
    }

    /// A lost piece turned up; its sale stands.
    pub(super) fn find(&mut self, piece: PieceId) -> Result<(), Failure> {
        self.record(FindPiece { piece, note: None })?;
        self.ledger.go(piece, PieceState::Dispatched, Holder::Carrier);
        Ok(())
    }

    pub(super) fn send_back(&mut self, deal: &Deal) -> Result<(), Failure> {
        let (sale, pieces) = (deal.sale, deal.pieces.clone());
        let note = Some("nobody at the door, three times".to_owned());
        self.record(SendBackPieces { sale, pieces, note })?;
        self.all(&deal.pieces, PieceState::Sold, Holder::Workshop);
        Ok(())
    }

    /// The buyer gives a piece back.
    pub(super) fn take_back(&mut self, piece: PieceId) -> Result<(), Failure> {
        self.record(ReturnPiece { piece, note: None })?;
        self.ledger.go(piece, PieceState::Returned, Holder::Workshop);
        Ok(())
    }

    pub(super) fn restock(&mut self, piece: PieceId) -> Result<(), Failure> {
        self.record(RestockPiece { piece, note: None })?;
        self.ledger.go(piece, PieceState::Certified, Holder::Workshop);
        Ok(())
    }

    /// The workshop buys a piece back, which was worn by so much.
    pub(super) fn buy_back(
        &mut self,
        session: SessionId,
        piece: PieceId,
        worn: i64,
        seller: &str,
    ) -> Result<(), Failure> {
        self.ledger.change(piece, |fate| fate.mass -= worn);
        if let Some(metal) = self.ledger.pieces.get(&piece).map(|fate| fate.metal) {
            self.ledger.flow(metal).worn += worn;
        }
        let mass = shown(self.ledger.weighs(piece))?;
        self.record(BuyBackPiece {
            piece,
            session,
            mass,
            seller: Some(seller.to_owned()),
            price: Some(money("48.00")?),
            note: None,
        })?;
        self.ledger.go(piece, PieceState::BoughtBack, Holder::Workshop);
        Ok(())
    }

    pub(super) fn stolen(&mut self, piece: PieceId, reference: &str) -> Result<(), Failure> {
        self.record(StealPiece {
            piece,
            reference: Some(reference.to_owned()),
            note: None,
        })?;
        self.ledger.change(piece, |fate| {
            fate.before = Some((fate.state, fate.holder));
            fate.state = PieceState::Stolen;
            fate.holder = Holder::Unknown;
        });
        Ok(())
    }

    pub(super) fn recover(&mut self, piece: PieceId) -> Result<(), Failure> {
        self.record(RecoverPiece { piece, note: None })?;
        self.ledger.change(piece, |fate| {
            if let Some((state, holder)) = fate.before.take() {
                fate.state = state;
                fate.holder = holder;
            }
        });
        Ok(())
    }

    pub(super) fn destroy(&mut self, piece: PieceId, witness: &str) -> Result<(), Failure> {
        self.record(DestroyPiece {
            piece,
            witness: witness.to_owned(),
            note: None,
        })?;
        self.ledger.go(piece, PieceState::Destroyed, Holder::Gone);
        Ok(())
    }
}
