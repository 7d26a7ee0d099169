//! Rows of spot prices and quotations.

use crate::domain::{ChargeId, ConsignmentId, DieId, PieceId, QuoteId, SaleId, SpotId, Timestamp};
use crate::metal::{Metal, Money};

rows! {
    /// A spot price that was noted.
    Spot {
        /// Its id.
        spot: SpotId,
        /// The metal.
        metal: Metal,
        /// Of a troy ounce.
        price: Money,
        /// When it was the price.
        priced_at: Timestamp,
        /// Index of its entry.
        since: u64,
        /// When it was recorded.
        at: Timestamp,
    }

    /// A quotation.
    Quote {
        /// Its id.
        quote: QuoteId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// The metal.
        metal: Metal,
        /// The spot price that it rests on.
        spot: SpotId,
        /// The piece, if it is for one.
        piece: Option<PieceId>,
        /// Index of its entry.
        since: u64,
        /// When it was made.
        at: Timestamp,
    }

    /// A charge for a consignment, a die or a sale.
    Charge {
        /// Its id.
        charge: ChargeId,
        /// The consignment, if it is for one.
        consignment: Option<ConsignmentId>,
        /// The die, if it is for one.
        die: Option<DieId>,
        /// The sale, if it is for one.
        sale: Option<SaleId>,
        /// Index of its entry.
        since: u64,
        /// When it was recorded.
        at: Timestamp,
    }
}
