//! Deciding about orders and reservations.

use super::{Decision, ITEMS_MAX, short};
use crate::domain::command::*;
use crate::domain::{
    OrderCancelled, OrderId, OrderRecorded, PieceReleased, PieceReserved, Private, Refusal, Refused,
};

impl Decision<'_> {
    pub(super) fn record_order(&mut self, c: &RecordOrder) -> Result<(), Refused> {
        short(&[("buyer", &c.buyer), ("note", &c.note)])?;
        if c.shapes.len() > ITEMS_MAX {
            return Err(Refusal::TooMany {
                count: c.shapes.len(),
                most: ITEMS_MAX,
            }
            .at("/shapes"));
        }
        let event = OrderRecorded {
            order: OrderId(self.fresh()),
            number: self.book.next_order_number()?,
            series: c.series,
            shapes: c.shapes.clone(),
        };
        let private = Private::none()
            .text("buyer", c.buyer.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private).map_err(|refusal| match refusal {
            Refusal::UnknownSeries { .. } | Refusal::NotAnEdition => refusal.at("/series"),
            other => match self.promise_refused(c) {
                Some((place, member)) => other.at(format!("/shapes/{place}{member}")),
                None => other.at("/shapes"),
            },
        })
    }

    /// The first line of an order that cannot stand, and which member of it is at fault.
    fn promise_refused(&self, c: &RecordOrder) -> Option<(usize, &'static str)> {
        c.shapes.iter().enumerate().find_map(|(place, count)| {
            let twice = c
                .shapes
                .iter()
                .take(place)
                .any(|other| other.shape == count.shape);
            match self.book.may_promise(c.series, count) {
                Err(Refusal::NotAShapeOfSeries { .. }) => Some((place, "/shape")),
                Err(_) => Some((place, "/count")),
                Ok(()) => twice.then_some((place, "/shape")),
            }
        })
    }

    pub(super) fn cancel_order(&mut self, c: &CancelOrder) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        let at = |refusal: Refusal| refusal.at("/order");
        let kept = self.book.kept_for(self.book.known_order(c.order).map_err(at)?);
        if kept.len() > ITEMS_MAX {
            return Err(at(Refusal::TooMany {
                count: kept.len(),
                most: ITEMS_MAX,
            }));
        }
        let private = Private::none().text("note", c.note.as_deref());
        self.add_with(OrderCancelled { order: c.order }, private)
            .map_err(at)?;
        kept.into_iter()
            .try_for_each(|piece| self.add(PieceReleased { piece }))
            .map_err(at)
    }

    pub(super) fn reserve_piece(&mut self, c: &ReservePiece) -> Result<(), Refused> {
        short(&[("buyer", &c.buyer), ("note", &c.note)])?;
        let event = PieceReserved {
            piece: c.piece,
            order: c.order,
        };
        let private = Private::none()
            .text("buyer", c.buyer.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private).map_err(|refusal| match refusal {
            Refusal::UnknownOrder { .. }
            | Refusal::OrderClosed { .. }
            | Refusal::OrderFilled { .. }
            | Refusal::EarlierOrder { .. } => refusal.at("/order"),
            other => other.at("/piece"),
        })
    }

    pub(super) fn release_piece(&mut self, c: &ReleasePiece) -> Result<(), Refused> {
        self.about_piece(PieceReleased { piece: c.piece }, &c.note)
    }
}
