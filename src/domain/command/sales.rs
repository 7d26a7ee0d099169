//! Commands about promises, sales and what comes after them.

use crate::domain::{OrderId, PieceId, SaleId, SeriesId, SessionId, ShapeCount};
use crate::metal::{Money, Reading};
use serde::{Deserialize, Serialize};

commands! {
    /// Pieces of an edition are promised, so many of each shape.
    RecordOrder {
        /// The edition.
        series: SeriesId,
        /// How many of each shape.
        shapes: Vec<ShapeCount>,
        /// To whom; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        buyer: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// An order is given up, as far as it is not yet supplied.
    CancelOrder {
        /// The order.
        order: OrderId,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A certified piece is kept for somebody.
    ReservePiece {
        /// The piece.
        piece: PieceId,
        /// For which order; for a person without an order if there is none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        order: Option<OrderId>,
        /// For whom; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        buyer: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A reservation is given up.
    ReleasePiece {
        /// The piece.
        piece: PieceId,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Pieces are sold to one buyer.
    SellPieces {
        /// The pieces, each with its price.
        items: Vec<SaleItem>,
        /// The order that this supplies.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        order: Option<OrderId>,
        /// To whom; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        buyer: Option<String>,
        /// Number of the invoice; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        document: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Pieces of a sale are not sold after all.
    CancelSale {
        /// The sale.
        sale: SaleId,
        /// The pieces of it.
        pieces: Vec<PieceId>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Sold pieces are handed to the buyer.
    HandOverPieces {
        /// The sale.
        sale: SaleId,
        /// The pieces of it.
        pieces: Vec<PieceId>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Sold pieces are sent, in one parcel.
    DispatchPieces {
        /// The sale.
        sale: SaleId,
        /// The pieces of it.
        pieces: Vec<PieceId>,
        /// What the parcel weighed; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        weight: Option<String>,
        /// Number of the seal; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        seal: Option<String>,
        /// Insured for; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        insured: Option<Money>,
        /// Who carries it; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        carrier: Option<String>,
        /// Number of the parcel; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        tracking: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Sent pieces arrived.
    DeliverPieces {
        /// The sale.
        sale: SaleId,
        /// The pieces of it.
        pieces: Vec<PieceId>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Sent pieces did not arrive and are given up as lost.
    LosePieces {
        /// The sale.
        sale: SaleId,
        /// The pieces of it.
        pieces: Vec<PieceId>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A piece that was lost in transit turned up.
    FindPiece {
        /// The piece.
        piece: PieceId,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Sent pieces came back undelivered.
    SendBackPieces {
        /// The sale.
        sale: SaleId,
        /// The pieces of it.
        pieces: Vec<PieceId>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// The buyer gave a piece back.
    ReturnPiece {
        /// The piece.
        piece: PieceId,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A piece that came back is for sale again.
    RestockPiece {
        /// The piece.
        piece: PieceId,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// The workshop buys a piece back, and weighs it.
    BuyBackPiece {
        /// The piece.
        piece: PieceId,
        /// The open session.
        session: SessionId,
        /// As the scale showed it, grams.
        mass: Reading,
        /// From whom; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        seller: Option<String>,
        /// What was paid; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        price: Option<Money>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A piece was stolen.
    StealPiece {
        /// The piece.
        piece: PieceId,
        /// Number of the police report; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reference: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A stolen piece is back: it is again what it was.
    RecoverPiece {
        /// The piece.
        piece: PieceId,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A piece was destroyed before a witness.
    DestroyPiece {
        /// The piece.
        piece: PieceId,
        /// Who saw it; private, so that it is left out of a correction.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        witness: String,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }
}

/// One piece of a sale.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SaleItem {
    /// The piece.
    pub piece: PieceId,
    /// Its price; private.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price: Option<Money>,
}
