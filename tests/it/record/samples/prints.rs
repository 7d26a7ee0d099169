//! Entries about prints: as many certificates at once as a command can name.

use super::longest::{Row, row};
use super::{PIECE, draft, id};
use serde_json::json;

const CERTIFICATE: u8 = 0xce;

/// Sealed behind those of before; only appended to, as those are.
pub const ROWS: &[Row] = &[row("certificate.printed", 64, |count| {
    let printed = |n| {
        let members = json!({"certificate": id(CERTIFICATE, n), "piece": id(PIECE, n),
            "size": 9_007_199_254_740_991_u64, "paper": "a6", "template": u32::MAX});
        draft("certificate.printed", members)
    };
    (1..=count).map(printed).collect()
})];
