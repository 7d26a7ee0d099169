//! A quotation is reckoned again from what was stored with it, whenever it is shown.
//!
//! Today's tables and today's spot price have no part in it. What was erased cannot be reckoned, and that is said.

use crate::domain::QuoteInputs;
use serde_json::{Map, Value, json};

/// The price that the stored inputs give, and whether it is what was quoted.
#[must_use]
pub fn recomputed(private: &Map<String, Value>) -> Value {
    let Some(kept) = private.get("inputs").and_then(Value::as_str) else {
        return json!({"known": false, "why": "what the price was made from was erased"});
    };
    let inputs: QuoteInputs = match serde_json::from_str(kept) {
        Ok(inputs) => inputs,
        Err(error) => {
            return json!({"known": false, "why": format!("what was stored cannot be read: {error}")});
        }
    };
    let price = match inputs.price.price() {
        Ok(price) => price,
        Err(error) => return json!({"known": false, "why": error.to_string()}),
    };
    let quoted = |member: &str, value: Value| {
        private.get(member).is_none_or(Value::is_null) || private.get(member) == Some(&value)
    };
    let equal = quoted("net", json!(price.net))
        && quoted("vat", json!(price.vat))
        && quoted("gross", json!(price.gross));
    json!({
        "known": true, "equal": equal, "net": price.net, "vat": price.vat, "gross": price.gross, "ounces": price.ounces,
        "formula": price.formula, "inputs": inputs,
    })
}
