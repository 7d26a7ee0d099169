//! Events about prices: what the market asked, and what the workshop quoted.
//!
//! A spot price is public knowledge, so it stands here with its digits. What the workshop asks on top of it, and for what it
//! offered a piece to whom, is private: all that a quotation was made from is one private member, so that it recomputes from
//! what was stored with it and can be erased whole.

use crate::domain::{ChargeId, ConsignmentId, DieId, PieceId, QuoteId, SaleId, SpotId, Timestamp};
use crate::metal::{Metal, Money};
use serde::{Deserialize, Serialize};

/// A spot price was noted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpotRecorded {
    /// The spot price.
    pub spot: SpotId,
    /// The metal.
    pub metal: Metal,
    /// Of a troy ounce.
    pub price: Money,
    /// When it was the price.
    pub priced_at: Timestamp,
}

/// A price was quoted, for a piece or for so much metal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct QuoteMade {
    /// The quotation.
    pub quote: QuoteId,
    /// Its number in the workshop, from 1.
    pub number: u32,
    /// The metal.
    pub metal: Metal,
    /// The spot price that it rests on.
    pub spot: SpotId,
    /// The piece, if it is for one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<PieceId>,
}

/// Something was charged: by the assay office for a consignment, by the cutter for a die, by the carrier for a sale.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChargeRecorded {
    /// The charge.
    pub charge: ChargeId,
    /// The consignment, if it is for one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub consignment: Option<ConsignmentId>,
    /// The die, if it is for one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub die: Option<DieId>,
    /// The sale, if it is for one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sale: Option<SaleId>,
}
