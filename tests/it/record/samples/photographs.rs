//! Entries about photographs.

use super::longest::{Row, row};
use super::{PIECE, draft, id};
use serde_json::json;

/// Sealed behind those of before; only appended to, as those are.
pub const ROWS: &[Row] = &[row("piece.photographed", 1, |_| {
    let members = json!({"piece": id(PIECE, 1), "photograph": "0123456789abcdef".repeat(4),
        "thumbnail": "f".repeat(64), "width": 65_535, "height": 762, "stage": "from_mould", "side": "detail"});
    vec![draft("piece.photographed", members)]
})];
