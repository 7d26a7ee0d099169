//! Commands about prices.

use crate::domain::instant;
use crate::domain::{ConsignmentId, DieId, PieceId, SaleId, SpotId, Timestamp};
use crate::metal::bullion::WeightRule;
use crate::metal::price::MoneyRounding;
use crate::metal::vat::Treatment;
use crate::metal::{Fineness, Mass, Metal, Money, Percent};
use serde::{Deserialize, Serialize};

commands! {
    /// A spot price is noted, as it was read somewhere at some time.
    RecordSpot {
        /// The metal.
        metal: Metal,
        /// Of a troy ounce.
        price: Money,
        /// When it was the price.
        #[serde(with = "instant::text")]
        priced_at: Timestamp,
        /// Where it was read; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        source: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A price is quoted, for a piece by its last reading or for so much metal.
    MakeQuote {
        /// The spot price that it rests on.
        spot: SpotId,
        /// What is quoted for.
        of: Quoted,
        /// Whether the fine metal alone is priced, and not the whole weight.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        by_fine_weight: bool,
        /// What is asked on top of spot, per cent; private.
        premium_percent: Percent,
        /// Fees on top; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        fees: Option<Money>,
        /// By which rule the weight is priced; private.
        weight: WeightRule,
        /// What the workshop decided about tax; private.
        vat: Treatment,
        /// How amounts are rounded, half up to hundredths if nothing is said; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rounding: Option<MoneyRounding>,
        /// For whom; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        buyer: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Something was charged, for a consignment, a die or a sale: one of them.
    RecordCharge {
        /// The consignment.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        consignment: Option<ConsignmentId>,
        /// The die.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        die: Option<DieId>,
        /// The sale.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sale: Option<SaleId>,
        /// How much, zero for what was free; private.
        amount: Money,
        /// Number of the bill; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        document: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }
}

/// What a price is quoted for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Quoted {
    /// A piece, at its last reading and the fineness of its series; then nothing else is said here.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<PieceId>,
    /// Else so much metal, grams; private.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Mass>,
    /// Its fineness, if it matters, parts per thousand; private.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fineness: Option<Fineness>,
}
