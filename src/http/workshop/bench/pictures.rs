//! A piece before the camera.

use super::{App, Seen, Visit, seat};
use crate::domain::{PhotographStage, Piece, PieceId, PieceState as S};
use crate::http::failed;
use crate::http::problem::Problem;
use crate::http::workshop::named;
use crate::pages::workshop::bench::{self, Picture};

/// `GET /bench/pieces/{piece}/photograph`.
///
/// # Errors
/// 404 for a piece that is not there.
pub fn picture(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let id = PieceId(visit.asked.id("piece")?);
    let version = app.views.version(id.0).map_err(failed)?;
    let piece = app.views.piece(id).map_err(failed)?;
    let piece = piece.ok_or_else(|| Problem::not_found(format!("there is no piece {id}")))?;
    let page = Picture {
        seat: seat(visit),
        piece: id,
        version,
        name: named::piece(&piece),
        stage: stage(&piece),
        taken: piece.photographs.len(),
    };
    Ok(bench::picture(&page).into())
}

/// The point of its life at which it is most likely photographed now.
const fn stage(piece: &Piece) -> PhotographStage {
    match piece.state {
        S::Poured => PhotographStage::FromMould,
        S::Hallmarked => PhotographStage::Hallmarked,
        S::Certified | S::Reserved | S::Sold | S::Dispatched | S::Delivered => PhotographStage::AsSold,
        S::Returned | S::BoughtBack => PhotographStage::Returned,
        _ => PhotographStage::Finished,
    }
}
