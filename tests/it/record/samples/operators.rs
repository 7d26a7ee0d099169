//! The longest entry about an operator.

use super::longest::{Row, row};
use super::{draft, id};
use serde_json::json;

/// Its row, behind those that were there before.
pub const ROWS: &[Row] = &[row("operator.revoked", 1, |_| {
    vec![draft("operator.revoked", json!({"operator": id(9, 1)}))]
})];
