//! Events about promises, sales and what comes after them.

use crate::domain::{OrderId, PieceId, SaleId, SeriesId, SessionId, Shape};
use crate::metal::{Mass, MassDifference, Reading};
use serde::{Deserialize, Serialize};

/// So many of one shape.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShapeCount {
    /// The shape.
    pub shape: Shape,
    /// How many, at least 1.
    pub count: u32,
}

/// Pieces of an edition were promised.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OrderRecorded {
    /// The order.
    pub order: OrderId,
    /// Its number in the workshop, from 1: first come, first served.
    pub number: u32,
    /// The edition.
    pub series: SeriesId,
    /// How many of each shape.
    pub shapes: Vec<ShapeCount>,
}

/// What an order still promised is promised no longer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OrderCancelled {
    /// The order.
    pub order: OrderId,
}

/// A piece is kept for somebody.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceReserved {
    /// The piece.
    pub piece: PieceId,
    /// The order, if there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<OrderId>,
}

/// A piece is no longer kept for anybody.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceReleased {
    /// The piece.
    pub piece: PieceId,
}

/// Pieces were sold to one buyer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SaleMade {
    /// The sale.
    pub sale: SaleId,
    /// Its number in the workshop, from 1.
    pub number: u32,
    /// The pieces.
    pub pieces: Vec<PieceId>,
    /// The order that it supplies.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<OrderId>,
}

/// A piece is sold; its sale stands in the same entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceSold {
    /// The piece.
    pub piece: PieceId,
    /// The sale.
    pub sale: SaleId,
}

/// A sale of a piece was cancelled.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceUnsold {
    /// The piece.
    pub piece: PieceId,
    /// The sale.
    pub sale: SaleId,
}

/// Pieces of a sale were sent, in one parcel.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SaleDispatched {
    /// The sale.
    pub sale: SaleId,
    /// The pieces in the parcel.
    pub pieces: Vec<PieceId>,
}

/// A piece is on its way; its parcel stands in the same entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceDispatched {
    /// The piece.
    pub piece: PieceId,
    /// The sale.
    pub sale: SaleId,
}

/// A piece was handed to the buyer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceHandedOver {
    /// The piece.
    pub piece: PieceId,
    /// The sale.
    pub sale: SaleId,
}

/// A piece arrived.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceDelivered {
    /// The piece.
    pub piece: PieceId,
    /// The sale.
    pub sale: SaleId,
}

/// A piece was lost in transit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceLost {
    /// The piece.
    pub piece: PieceId,
    /// The sale.
    pub sale: SaleId,
}

/// A piece that was lost in transit turned up.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceFound {
    /// The piece.
    pub piece: PieceId,
}

/// A piece came back undelivered; it is still sold.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceSentBack {
    /// The piece.
    pub piece: PieceId,
    /// The sale.
    pub sale: SaleId,
}

/// The buyer gave a piece back: its sale is over.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceReturned {
    /// The piece.
    pub piece: PieceId,
    /// The sale.
    pub sale: SaleId,
}

/// A piece that came back is for sale again.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceRestocked {
    /// The piece.
    pub piece: PieceId,
}

/// The workshop bought a piece back, and weighed it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceBoughtBack {
    /// The piece.
    pub piece: PieceId,
    /// The session, which names the scale.
    pub session: SessionId,
    /// As typed, grams.
    pub mass: Reading,
    /// Its last reading before, grams.
    pub before: Mass,
    /// The reading before less this one, grams.
    pub difference: MassDifference,
    /// Whether the uncertainty of the two readings (k = 2) explains the difference.
    pub explained: bool,
}

/// A piece was stolen.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceStolen {
    /// The piece.
    pub piece: PieceId,
}

/// A stolen piece is back, and is again what it was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceRecovered {
    /// The piece.
    pub piece: PieceId,
}

/// A piece was destroyed before a witness.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceDestroyed {
    /// The piece.
    pub piece: PieceId,
}
