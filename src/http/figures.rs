//! Figures reckoned from the log: the one pattern in which all of them are asked and answered.
//!
//! A figure reads its query, asks for the reckoning as of the position that `at` names, and answers an object; the
//! position and the date of its last entry are put in front. A route is `read("/v1/…", who, Deed::Figure(function))`; it
//! runs on a thread that may wait.

use super::asked::Asked;
use super::found::{Found, PRIVATE};
use super::lists::next_link;
use super::problem::Problem;
use super::query::Parameters;
use super::{App, failed};
use crate::accounts::{AsOf, AskError, NoPosition, Reckoning};
use serde::Serialize;
use serde_json::{Map, Value, json};

/// What answers a route.
pub type Figure = fn(&App, &Asked) -> Result<Found, Problem>;

/// Takes `at` out of a query: as of which position or day. Without it, as of now.
///
/// # Errors
/// 400 when it is neither, 422 for a day that no calendar has.
pub fn as_of(query: &mut Parameters) -> Result<AsOf, Problem> {
    let Some(at) = query.take("at") else {
        return Ok(AsOf::Newest);
    };
    at.parse().map_err(|error| match error {
        NoPosition::Form => Problem::unreadable(format!("the query parameter \"at\" {error}")),
        NoPosition::NoSuchDay => Problem::invalid(format!("the query parameter \"at\" {error}")),
    })
}

/// Answers from the reckoning as of a position.
///
/// # Errors
/// 422 for a position beyond the log, 500 when the log cannot be read, and what the answer itself says.
pub fn answered(
    app: &App,
    as_of: AsOf,
    answer: impl FnOnce(&Reckoning) -> Result<Map<String, Value>, Problem>,
) -> Result<Found, Problem> {
    asked_of(app, as_of, |reckoning| {
        let mut body = Map::new();
        body.insert("position".into(), json!(reckoning.position()));
        let recorded = reckoning.recorded();
        body.extend(recorded.map(|recorded| ("recorded".to_owned(), json!(recorded))));
        body.extend(answer(reckoning)?);
        Ok(Found::json(&Value::Object(body), PRIVATE))
    })
}

/// Asks the reckoning as of a position.
///
/// # Errors
/// As [`answered`].
pub fn asked_of<T>(
    app: &App,
    as_of: AsOf,
    question: impl FnOnce(&Reckoning) -> Result<T, Problem>,
) -> Result<T, Problem> {
    app.accounts.ask(as_of, question).map_err(|error| match error {
        AskError::Beyond { .. } => Problem::invalid(format!("the query parameter \"at\": {error}")),
        AskError::Reckon(error) => failed(error),
    })?
}

/// What is told, as the members of an answer.
///
/// # Errors
/// 500 for what is no object.
pub fn members(told: &impl Serialize) -> Result<Map<String, Value>, Problem> {
    match serde_json::to_value(told).map_err(failed)? {
        Value::Object(members) => Ok(members),
        _ => Err(Problem::internal("an answer is no object")),
    }
}

/// Which part of a list that is reckoned as a whole is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Part {
    /// How many items are passed over.
    pub from: usize,
    /// How many are told at most.
    pub limit: usize,
}

impl Part {
    /// Takes `from` and `limit` out of a query.
    ///
    /// # Errors
    /// 400.
    pub fn of(query: &mut Parameters, what: &str) -> Result<Self, Problem> {
        let limit = query.limit()?;
        let from = query.index("from", what)?.unwrap_or(0);
        Ok(Self {
            from: usize::try_from(from).map_err(failed)?,
            limit,
        })
    }

    /// Puts the items of this part into an answer, and where the next part of `count` items begins.
    pub fn put(self, body: &mut Map<String, Value>, count: usize, items: impl Iterator<Item = Value>) {
        body.insert("items".into(), items.collect());
        let end = self.from.saturating_add(self.limit);
        if end < count {
            body.insert("next".into(), json!(end));
        }
    }
}

/// As [`answered`], with a link to the next part where the answer names one.
///
/// # Errors
/// As [`answered`].
pub fn answered_in_parts(
    app: &App,
    asked: &Asked,
    as_of: AsOf,
    answer: impl FnOnce(&Reckoning) -> Result<Map<String, Value>, Problem>,
) -> Result<Found, Problem> {
    let mut next = None;
    let mut found = answered(app, as_of, |reckoning| {
        let body = answer(reckoning)?;
        next = body.get("next").and_then(Value::as_u64);
        Ok(body)
    })?;
    found.link = next.map(|next| next_link(asked, "from", &next.to_string()));
    Ok(found)
}
