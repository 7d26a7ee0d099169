//! Orders as promises, and reservations.
//!
//! No more of a shape is promised than can be had: what can still be given a place in the edition, and what holds one and
//! is not sold. Who came first is served first. What happens against the workshop's will - a theft, a loss, a piece that
//! must be condemned - may leave it with too many promises, and is never refused for that.
//! Deliberately absent: who ordered, and money (private members); deposits.

use super::owed::Owed;
use super::{Availability, Book, Counted, Order, Piece};
use crate::domain::{
    OrderCancelled, OrderId, OrderRecorded, OrderState, PieceReleased, PieceReserved, PieceState, Refusal,
    SeriesId, SeriesKind, Shape, ShapeCount, Stamp,
};

impl Book {
    pub(super) fn take_order(&mut self, stamp: &Stamp, e: &OrderRecorded) -> Result<(), Refusal> {
        self.free(e.order.0)?;
        self.count(Counted::Order, e.number)?;
        if self.known_series(e.series)?.kind_of != SeriesKind::Edition {
            return Err(Refusal::NotAnEdition);
        }
        if e.shapes.is_empty() {
            return Err(Refusal::NothingPromised);
        }
        for (place, count) in e.shapes.iter().enumerate() {
            self.may_promise(e.series, count)?;
            if e.shapes
                .iter()
                .take(place)
                .any(|other| other.shape == count.shape)
            {
                return Err(Refusal::LineImpossible {
                    why: "its shape is named twice",
                });
            }
        }
        for count in &e.shapes {
            self.promise(e.series, &count.shape, |promised| {
                promised.saturating_add(count.count)
            })?;
        }
        let order = Order {
            order: e.order,
            number: e.number,
            series: e.series,
            shapes: e.shapes.clone(),
            reserved: e.shapes.iter().map(|_| 0).collect(),
            sold: e.shapes.iter().map(|_| 0).collect(),
            state: OrderState::Open,
            since: stamp.index,
            at: stamp.at,
        };
        self.orders.put(e.order, order);
        Ok(())
    }

    /// The number that the next order gets.
    pub(in crate::domain) fn next_order_number(&self) -> Result<u32, Refusal> {
        self.next(Counted::Order)
    }

    /// Whether so many more of a shape may be promised.
    pub(in crate::domain) fn may_promise(&self, series: SeriesId, count: &ShapeCount) -> Result<(), Refusal> {
        if count.count == 0 {
            return Err(Refusal::NothingPromised);
        }
        let shape = count.shape.to_string();
        let Some(Availability { available, promised }) = self.availability(series, &count.shape) else {
            return Err(Refusal::NotAShapeOfSeries { shape });
        };
        if promised.saturating_add(count.count) > available {
            return Err(Refusal::OverPromised {
                shape,
                promised,
                available,
                asked: count.count,
            });
        }
        Ok(())
    }

    /// What of a shape is promised, changed.
    pub(super) fn promise(
        &mut self,
        id: SeriesId,
        shape: &Shape,
        change: impl Fn(u32) -> u32,
    ) -> Result<(), Refusal> {
        let mut series = self.known_series(id)?.clone();
        let counted = series.shapes.iter().zip(series.promised.iter_mut());
        for (_, promised) in counted.filter(|(size, _)| size.shape == *shape) {
            *promised = change(*promised);
        }
        self.series.put(id, series);
        Ok(())
    }

    /// An order that may still be served.
    pub(super) fn open_order(&self, id: OrderId) -> Result<&Order, Refusal> {
        let order = self.known_order(id)?;
        match order.state {
            OrderState::Open => Ok(order),
            state => Err(Refusal::OrderClosed {
                number: order.number,
                state,
            }),
        }
    }

    /// What is not sold is promised no longer, and what was kept for it is released in the same entry.
    pub(super) fn take_order_cancel(&mut self, e: &OrderCancelled) -> Result<(), Refusal> {
        let mut order = self.open_order(e.order)?.clone();
        let kept = self.kept_for(&order);
        for (count, sold) in order.shapes.iter().zip(&order.sold) {
            let unsold = count.count.saturating_sub(*sold);
            self.promise(order.series, &count.shape, |promised| {
                promised.saturating_sub(unsold)
            })?;
        }
        order.state = OrderState::Cancelled;
        self.orders.put(e.order, order);
        let order = e.order;
        self.owe_each(kept.into_iter().map(|piece| Owed::Releasing { piece, order }))
    }

    /// A certified piece is kept: for an order, in its turn; for somebody without one, if it is promised to nobody.
    pub(super) fn take_reservation(&mut self, e: &PieceReserved) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        if let Some(id) = e.order {
            self.open_order(id)?;
        }
        if piece.state == PieceState::Reserved {
            return Err(self.kept_otherwise(&piece));
        }
        self.no_live_sale(&piece)?;
        piece.is_in(&[PieceState::Certified], "reserved")?;
        match e.order {
            None => self.not_promised(&piece)?,
            Some(id) => {
                self.may_serve(self.open_order(id)?, &piece)?;
                self.count_order(id, &piece.shape, |reserved, _| {
                    *reserved = reserved.saturating_add(1);
                })?;
            }
        }
        piece.state = PieceState::Reserved;
        piece.order = e.order;
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    /// Whether a piece that is kept for nobody may go to an order. A numbered edition promises numbers, so a spare that is
    /// sold without one goes to nobody's order.
    pub(super) fn may_serve(&self, order: &Order, piece: &Piece) -> Result<(), Refusal> {
        of_order(order, piece)?;
        if piece.number.is_none() && !self.known_series(piece.series)?.unnumbered {
            return Err(Refusal::OrderNeedsNumber);
        }
        if order.lacks(&piece.shape) == 0 {
            return Err(Refusal::OrderFilled {
                number: order.number,
                shape: piece.shape.to_string(),
            });
        }
        self.in_turn(order, &piece.shape)
    }

    /// For whom a piece is kept.
    pub(super) fn kept_otherwise(&self, piece: &Piece) -> Refusal {
        let keeper = match piece.order.and_then(|order| self.order(order)) {
            Some(order) => format!("order {}", order.number),
            None => "somebody without an order".to_owned(),
        };
        Refusal::ReservedOtherwise { keeper }
    }

    /// What of a shape is kept for an order and sold under it, changed.
    pub(super) fn count_order(
        &mut self,
        id: OrderId,
        shape: &Shape,
        change: impl FnOnce(&mut u32, &mut u32),
    ) -> Result<(), Refusal> {
        let mut order = self.known_order(id)?.clone();
        let place = order.shapes.iter().position(|count| count.shape == *shape);
        let place = place.ok_or(Refusal::NotOfOrder)?;
        if let (Some(reserved), Some(sold)) = (order.reserved.get_mut(place), order.sold.get_mut(place)) {
            change(reserved, sold);
        }
        if order.state != OrderState::Cancelled {
            let all_sold = order
                .shapes
                .iter()
                .zip(&order.sold)
                .all(|(count, sold)| count.count == *sold);
            order.state = match all_sold {
                true => OrderState::Supplied,
                false => OrderState::Open,
            };
        }
        self.orders.put(id, order);
        Ok(())
    }

    /// A reservation ends: because it is given up, or with its order. One of a piece that was stolen or destroyed ends
    /// too, so that its order can be served with another.
    pub(super) fn take_release(&mut self, e: &PieceReleased) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        let with_order = |owed: &Owed| matches!(owed, Owed::Releasing { piece, .. } if *piece == e.piece);
        if self.owed().iter().any(with_order) {
            self.pay("piece.released", with_order)?;
        }
        match (piece.state, piece.before) {
            (PieceState::Reserved, _) => piece.state = PieceState::Certified,
            (PieceState::Stolen | PieceState::Destroyed, Some(PieceState::Reserved)) => {
                piece.before = Some(PieceState::Certified);
            }
            _ => piece.is_in(&[PieceState::Reserved], "released")?,
        }
        if let Some(order) = piece.order.take() {
            self.count_order(order, &piece.shape, |reserved, _| {
                *reserved = reserved.saturating_sub(1);
            })?;
        }
        self.pieces.put(e.piece, piece);
        Ok(())
    }
}

/// Refuses a piece that an order does not ask for.
pub(super) fn of_order(order: &Order, piece: &Piece) -> Result<(), Refusal> {
    let asked = order.shapes.iter().any(|count| count.shape == piece.shape);
    if order.series == piece.series && asked {
        Ok(())
    } else {
        Err(Refusal::NotOfOrder)
    }
}
