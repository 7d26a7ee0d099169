//! The packing list of a consignment: made when it is asked for, recorded nowhere.

use super::asked::Asked;
use super::found::{Found, PRIVATE};
use super::problem::Problem;
use super::{App, failed, prints, private};
use crate::domain::{Consignment, ConsignmentId};
use crate::print::{self, PackedPiece, PackingList};
use serde_json::Value;

/// `GET /v1/consignments/{consignment}/packing-list`: the weights are those that were declared.
///
/// # Errors
/// 404 without such a consignment, 409 when something of it cannot be set in type.
pub fn packing_list(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let id = ConsignmentId(asked.id("consignment")?);
    asked.parameters()?.finish()?;
    let row = app.views.row::<Consignment>(id.0).map_err(failed)?;
    let row = row.ok_or_else(|| Problem::not_found("there is no consignment with that id"))?;
    let private = private::of_subject(app, id.0, asked.role())?;
    let said = |member: &str| match private.get(member) {
        Some(Value::String(text)) => Some(text.clone()),
        Some(Value::Null) => Some("erased from the book".to_owned()),
        _ => None,
    };
    let mut pieces = Vec::with_capacity(row.pieces.len());
    for sent in &row.pieces {
        let unknown = || Problem::internal("a piece of a consignment is not in the views");
        let piece = app.views.piece(sent.piece).map_err(failed)?.ok_or_else(unknown)?;
        pieces.push(PackedPiece {
            name: piece.serial.map_or(piece.pour, |serial| serial.to_string()),
            shape: piece.shape,
            mass: sent.mass,
        });
    }
    let list = PackingList {
        number: row.number,
        maker: app.settings.maker.clone(),
        at: row.at,
        office: said("office"),
        seal: said("seal"),
        fineness: row.fineness,
        marks: row.marks,
        pieces,
        mass: row.mass,
    };
    let bytes = print::packing_list(&list).map_err(prints::not_set)?;
    Ok(Found::bytes("application/pdf", bytes, PRIVATE))
}
