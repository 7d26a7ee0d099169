//! Entries about prices: the plain one of each kind, and the longest that a command can bring.

use super::longest::{MANY, Row, row};
use super::{PIECE, draft, id};
use serde_json::json;

const SPOT: u8 = 0x59;
const QUOTE: u8 = 0x90;
const CHARGE: u8 = 0xc4;
const CONSIGNMENT: u8 = 0xc0;

/// Sealed behind those of before; only appended to, as those are.
pub const ROWS: &[Row] = &[
    row("spot.recorded", 1, |_| {
        let members = json!({"spot": id(SPOT, 1), "metal": "palladium",
            "price": {"amount": "999999999999.99999999", "currency": "GBP"}, "priced_at": 253_402_300_799_u64});
        vec![draft("spot.recorded", members)]
    }),
    row("quote.made", 1, |_| {
        let members = json!({"quote": id(QUOTE, 1), "number": MANY, "metal": "palladium", "spot": id(SPOT, 1),
            "piece": id(PIECE, 1)});
        vec![draft("quote.made", members)]
    }),
    row("charge.recorded", 1, |_| {
        let members = json!({"charge": id(CHARGE, 1), "consignment": id(CONSIGNMENT, 1)});
        vec![draft("charge.recorded", members)]
    }),
];
