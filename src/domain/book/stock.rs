//! What can still be had of each shape of an edition, what of that is kept, and which orders wait for it.
//!
//! A tally beside the rows, so that a promise is checked without looking at ten thousand pieces. It follows the tables of
//! pieces and orders through their journals: whatever rule moves a piece on or off the shelf, the tally hears of it.
//! Deliberately absent: rules. They stand where promises are made and pieces are sold.

use super::table::Table;
use super::{Book, Mark, Order, Piece};
use crate::domain::{OrderState, PieceId, PieceState, Refusal, SeriesId, SeriesKind, SeriesState, Shape};
use std::collections::{BTreeMap, BTreeSet};
use std::hash::Hash;

/// The tally of one shape of an edition.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(in crate::domain) struct Stock {
    /// Pieces that hold a place of the edition and are not sold.
    unsold: u32,
    /// Of these, the ones kept for somebody without an order.
    kept: u32,
    /// Numbers of the open orders that still lack a piece: neither kept for them nor sold under them.
    waiting: BTreeSet<u32>,
}

/// What can be had of one shape of an edition, and what of that is spoken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Availability {
    /// Places that can still be given, and pieces that hold one and are not sold.
    pub available: u32,
    /// Promised by open orders and not yet sold, and kept for somebody without an order.
    pub promised: u32,
}

/// Where a piece counts.
#[derive(PartialEq, Eq)]
struct Shelf {
    series: SeriesId,
    shape: Shape,
    kept: bool,
}

impl Book {
    /// What can be had of a shape, and what of that is spoken for. `None` if the series is no edition with that shape.
    #[must_use]
    pub fn availability(&self, series: SeriesId, shape: &Shape) -> Option<Availability> {
        let row = self.series(series)?;
        let counted = row.shapes.iter().zip(row.numbers.iter().zip(row.promised.iter()));
        let (size, (taken, promised)) = counted.into_iter().find(|(size, _)| size.shape == *shape)?;
        let stock = self.stock.find(&(series, shape.clone()));
        let (unsold, kept) = stock.map_or((0, 0), |stock| (stock.unsold, stock.kept));
        let givable = match row.state {
            SeriesState::Open => size.size.saturating_sub(*taken),
            SeriesState::Closed => 0,
        };
        Some(Availability {
            available: givable.saturating_add(unsold),
            promised: promised.saturating_add(kept),
        })
    }

    /// Refuses to take one more piece of a shape from those who have no order, when all that can be had is spoken for.
    /// A piece that holds no place of an edition is promised to nobody.
    pub(super) fn not_promised(&self, piece: &Piece) -> Result<(), Refusal> {
        if self.shelf(piece).is_none() {
            return Ok(());
        }
        match self.availability(piece.series, &piece.shape) {
            Some(Availability { available, promised }) if promised >= available => {
                Err(Refusal::PromisedToOthers {
                    shape: piece.shape.to_string(),
                    promised,
                    available,
                })
            }
            _ => Ok(()),
        }
    }

    /// Refuses to serve an order while an earlier one still waits for the shape.
    pub(super) fn in_turn(&self, order: &Order, shape: &Shape) -> Result<(), Refusal> {
        let stock = self.stock.find(&(order.series, shape.clone()));
        match stock.and_then(|stock| stock.waiting.first()) {
            Some(first) if *first < order.number => Err(Refusal::EarlierOrder {
                number: *first,
                shape: shape.to_string(),
            }),
            _ => Ok(()),
        }
    }

    /// Brings the tally up to date with what changed since `mark`.
    pub(super) fn recount(&mut self, mark: &Mark) {
        let pieces: Vec<(Option<Shelf>, Option<Shelf>)> = replaced(&self.pieces, mark.pieces)
            .map(|(id, before)| {
                (
                    before.and_then(|piece| self.shelf(piece)),
                    self.piece(id).and_then(|piece| self.shelf(piece)),
                )
            })
            .filter(|(before, now)| before != now)
            .collect();
        for (before, now) in pieces {
            if let Some(shelf) = before {
                self.put_stock(shelf.series, &shelf.shape, |stock| {
                    stock.unsold = stock.unsold.saturating_sub(1);
                    stock.kept = stock.kept.saturating_sub(u32::from(shelf.kept));
                });
            }
            if let Some(shelf) = now {
                self.put_stock(shelf.series, &shelf.shape, |stock| {
                    stock.unsold = stock.unsold.saturating_add(1);
                    stock.kept = stock.kept.saturating_add(u32::from(shelf.kept));
                });
            }
        }
        let orders: Vec<Order> = replaced(&self.orders, mark.orders)
            .filter_map(|(id, _)| self.order(id).cloned())
            .collect();
        for order in orders {
            for count in &order.shapes {
                let waits = order.state == OrderState::Open && order.lacks(&count.shape) > 0;
                self.put_stock(order.series, &count.shape, |stock| {
                    if waits {
                        stock.waiting.insert(order.number);
                    } else {
                        stock.waiting.remove(&order.number);
                    }
                });
            }
        }
    }

    fn put_stock(&mut self, series: SeriesId, shape: &Shape, change: impl FnOnce(&mut Stock)) {
        let key = (series, shape.clone());
        let mut stock = self.stock.find(&key).cloned().unwrap_or_default();
        change(&mut stock);
        self.stock.put(key, stock);
    }

    /// Where a piece counts as unsold: with a number or, where pieces get none, once it is certified.
    fn shelf(&self, piece: &Piece) -> Option<Shelf> {
        let series = self.series(piece.series)?;
        let holds_place = match piece.state {
            PieceState::Numbered => true,
            PieceState::Certified | PieceState::Reserved => series.unnumbered || piece.number.is_some(),
            _ => false,
        };
        (series.kind_of == SeriesKind::Edition && holds_place).then(|| Shelf {
            series: piece.series,
            shape: piece.shape.clone(),
            kept: piece.state == PieceState::Reserved && piece.order.is_none(),
        })
    }

    /// The pieces kept for an order, wherever they are. It looks at every piece, and only when an order is cancelled.
    pub(in crate::domain) fn kept_for(&self, order: &Order) -> Vec<PieceId> {
        if order.reserved.iter().all(|count| *count == 0) {
            return Vec::new();
        }
        let mut kept: Vec<&Piece> = self
            .pieces()
            .filter(|piece| piece.order == Some(order.order) && piece.sale.is_none())
            .collect();
        kept.sort_unstable_by_key(|piece| (piece.since, piece.piece));
        kept.iter().map(|piece| piece.piece).collect()
    }
}

impl Order {
    /// How many pieces of a shape are neither kept for it nor sold under it.
    #[must_use]
    pub fn lacks(&self, shape: &Shape) -> u32 {
        let counted = self.shapes.iter().zip(self.reserved.iter().zip(self.sold.iter()));
        counted
            .into_iter()
            .find(|(count, _)| count.shape == *shape)
            .map_or(0, |(count, (reserved, sold))| {
                count.count.saturating_sub(*reserved).saturating_sub(*sold)
            })
    }
}

/// Rows that were replaced since `mark`, each once, as they were at `mark`.
fn replaced<K: Copy + Ord + Hash, V>(
    table: &Table<K, V>,
    mark: usize,
) -> impl Iterator<Item = (K, Option<&V>)> {
    let mut first = BTreeMap::new();
    for (key, before) in table.since(mark) {
        first.entry(*key).or_insert(before);
    }
    first.into_iter()
}
