//! When a command was done, if the operator says another time than now: the member `at`, beside the command's own.
//!
//! It is a date and time of RFC 3339 in whole seconds and becomes the entry's `at`. It is the operator's word: what the
//! server saw stays the entry's `iat`. How it is read is in `domain::instant`.

use super::problem::Problem;
use crate::domain::{Timestamp, instant};
use serde_json::{Map, Value};

/// How far ahead of our clock another clock may stand, seconds.
const AHEAD_SECONDS: i64 = 5;

/// Takes `at` out of a body.
///
/// # Errors
/// 422, pointing at it: not of its form, no day of the calendar, before 1970, or still to come.
pub fn take(body: &mut Map<String, Value>, now: Timestamp) -> Result<Option<Timestamp>, Problem> {
    let Some(value) = body.remove("at") else {
        return Ok(None);
    };
    let read = value
        .as_str()
        .ok_or(instant::FORM)
        .and_then(|text| read(text, now));
    read.map(Some)
        .map_err(|detail| Problem::invalid(detail).at("/at"))
}

/// Reads such a time.
///
/// # Errors
/// What is wrong with it.
pub fn read(text: &str, now: Timestamp) -> Result<Timestamp, &'static str> {
    let at = instant::read(text)?;
    if at.0 > now.0.saturating_add(AHEAD_SECONDS) {
        return Err("is still to come: what is recorded has been done");
    }
    Ok(at)
}
