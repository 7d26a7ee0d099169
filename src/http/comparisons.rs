//! What a buyer measured, held against the record of a piece. Nothing of it is kept.

use super::asked::Asked;
use super::found::Found;
use super::problem::Problem;
use super::public_record::{piece_of, serial_of};
use super::{App, commands, failed, json, located};
use crate::accounts::{AsOf, Compared, Observed, Unlikely};
use crate::domain::{PieceState, Serial};
use serde::Serialize;
use serde_json::Value;

/// What came of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ComparedTold {
    /// The serial.
    pub serial: Serial,
    /// As of which position of the log.
    pub position: u64,
    /// Where the record says the piece is.
    pub state: PieceState,
    /// The answer.
    #[serde(flatten)]
    pub compared: Compared,
    /// What no measurement says.
    pub says: &'static str,
}

/// What no measurement says.
pub const SAYS: &str = "A measurement can agree or disagree with the record, and can exclude materials. It cannot say that an object \
                        is genuine: a copy can carry a real number and weigh the same.";

/// Holds what was measured against the record. The first question after a start replays the log, so it is asked apart.
///
/// # Errors
/// As [`serial_of`] and [`piece_of`]; 422 for what cannot be, at its member.
pub fn told(app: &App, asked: &Asked, observed: &Observed) -> Result<ComparedTold, Problem> {
    let (serial, _) = serial_of(asked)?;
    let piece = piece_of(app, &serial)?;
    let asked = app.accounts.ask(AsOf::Newest, |reckoning| {
        let row = reckoning.book().piece(piece.piece);
        let row = row.ok_or_else(|| Problem::internal("a piece of the views is not in the book"))?;
        let compared = observed.held_against(reckoning.book(), row).map_err(unlikely)?;
        Ok((reckoning.position(), row.state, compared))
    });
    let (position, state, compared) = asked.map_err(failed)??;
    Ok(ComparedTold {
        serial,
        position,
        state,
        compared,
        says: SAYS,
    })
}

/// `POST /v1/serials/{serial}/comparisons`.
///
/// # Errors
/// As [`told`]; 422 for a member that does not fit.
pub fn answer(app: &App, asked: &Asked, body: &Value) -> Result<Found, Problem> {
    let observed: Observed = located::read(body).map_err(commands::misfit)?;
    let told = serde_json::to_value(told(app, asked, &observed)?).map_err(failed)?;
    Ok(Found::json(&told, "no-store").posted())
}

/// What cannot be, as a problem at its member.
fn unlikely(Unlikely { at, fact }: Unlikely) -> Problem {
    let pointer: String = at.iter().map(|member| json::segment(member)).collect();
    Problem::invalid(fact).at(pointer)
}
