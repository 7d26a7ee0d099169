//! Figures reckoned from the log: the one pattern in which all of them are asked and answered.
//!
//! A figure reads its query, asks for the reckoning as of the position that `at` names, and answers an object; the
//! position and the date of its last entry are put in front. A route is `read("/v1/…", who, Deed::Figure(function))`; it
//! runs on a thread that may wait.

use super::asked::Asked;
use super::found::{Found, PRIVATE};
use super::problem::Problem;
use super::query::Parameters;
use super::{App, failed};
use crate::accounts::{AsOf, AskError, Reckoning};
use serde_json::{Map, Value, json};

/// What answers a route.
pub type Figure = fn(&App, &Asked) -> Result<Found, Problem>;

/// Takes `at` out of a query: as of which position or day. Without it, as of now.
///
/// # Errors
/// 400 when it is neither.
pub fn as_of(query: &mut Parameters) -> Result<AsOf, Problem> {
    let at = query.parse("at", "a position in the log, or a day like 2026-11-25")?;
    Ok(at.unwrap_or_default())
}

/// Answers from the reckoning as of a position.
///
/// # Errors
/// 400 for a position beyond the log, 500 when the log cannot be read, and what the answer itself says.
pub fn answered(
    app: &App,
    as_of: AsOf,
    answer: impl FnOnce(&Reckoning) -> Result<Map<String, Value>, Problem>,
) -> Result<Found, Problem> {
    let asked = app.accounts.ask(as_of, |reckoning| {
        let mut body = Map::new();
        body.insert("position".into(), json!(reckoning.position()));
        let recorded = reckoning.recorded();
        body.extend(recorded.map(|recorded| ("recorded".to_owned(), json!(recorded))));
        body.extend(answer(reckoning)?);
        Ok(Found::json(&Value::Object(body), PRIVATE))
    });
    asked.map_err(|error| match error {
        AskError::Beyond { .. } => Problem::unreadable(format!("the query parameter \"at\": {error}")),
        AskError::Reckon(error) => failed(error),
    })?
}
