//! The calculators over HTTP, for those without a terminal: a question is posted, and nothing is kept of it.
//!
//! Everybody may ask, a buyer with a kitchen scale too; the limits of the public side hold, and each calculator bounds its
//! own work.

use super::bodies::{self, Sender};
use super::found::Found;
use super::located::{self, Misfit};
use super::problem::Problem;
use super::{App, commands, json};
use crate::calculators::{Answer, Calculator, Impossible};
use actix_web::HttpRequest;
use actix_web::web::Payload;
use serde_json::Value;

/// A calculator as a route has it.
#[derive(Clone, Copy, Debug)]
pub struct Calculation {
    /// The schema of its question in the description.
    pub question: &'static str,
    /// Reads a question and answers it.
    pub answer: fn(&Value) -> Result<Result<Answer, Impossible>, Misfit>,
}

impl Calculation {
    /// The route's part of a calculator.
    #[must_use]
    pub const fn of<Q: Calculator>() -> Self {
        Self {
            question: Q::QUESTION,
            answer: |body| located::read::<Q>(body).map(|question| question.answer()),
        }
    }
}

/// Reads the body of a question.
///
/// # Errors
/// As a command's body.
pub async fn body(app: &App, request: &HttpRequest, payload: Payload) -> Result<Value, Problem> {
    let sent = bodies::body(app, request, payload, "application/json", Sender::Stranger).await?;
    sent.json().await
}

/// Answers it.
///
/// # Errors
/// 422 for a member that does not fit, and for what is impossible, at its member.
pub fn answer(calculation: Calculation, body: &Value) -> Result<Found, Problem> {
    let answer = (calculation.answer)(body).map_err(commands::misfit)?;
    let answer =
        answer.map_err(|Impossible { member, fact }| Problem::invalid(fact).at(json::segment(member)))?;
    Ok(Found::json(&answer.to_json(), "no-store").posted())
}
