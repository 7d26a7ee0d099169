//! Pieces that wait for a strike.

use super::{App, Seen, Visit, label, of_now, seat};
use crate::domain::{Book, Die, DieId, DieState, Grade, Piece, PieceState as S};
use crate::http::failed;
use crate::http::problem::Problem;
use crate::http::workshop::named;
use crate::pages::workshop::bench::{self, DieSeen, Strikes};
use uuid::Uuid;

/// `GET /bench/strike`.
///
/// # Errors
/// When the log or the views cannot be read.
pub fn strikes(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let mut query = visit.asked.parameters()?;
    let wanted: Option<Uuid> = query.parse("die", "an id")?;
    let (dies, pieces) = of_now(app, |reckoning| {
        let book = reckoning.book();
        let mut dies: Vec<Die> = book
            .dies()
            .filter(|die| die.state == DieState::InUse)
            .cloned()
            .collect();
        dies.sort_by_key(|die| die.since);
        let chosen = wanted.and_then(|id| book.die(DieId(id)));
        (dies, chosen.map(|die| waiting(book, die)).unwrap_or_default())
    })?;
    let seen = dies.iter().map(|die| {
        let name = label(app, visit, die.die.0)?;
        let name = name.unwrap_or_else(|| format!("Die of the {}", die.owner));
        Ok(DieSeen {
            die: die.die,
            name,
            strikes: die.strikes,
        })
    });
    let seen: Result<Vec<DieSeen>, Problem> = seen.collect();
    let pieces = pieces.iter().map(|piece| {
        let version = app.views.version(piece.piece.0).map_err(failed)?;
        Ok((piece.piece, version, named::piece(piece)))
    });
    let pieces: Result<Vec<_>, Problem> = pieces.collect();
    let page = Strikes {
        seat: seat(visit),
        dies: seen?,
        die: wanted.map(DieId),
        pieces: pieces?,
        plain: Some("/bench/strikes/new".to_owned()),
    };
    Ok(bench::strikes(&page).into())
}

/// The pieces that a die may strike: of its edition, or of every series that is struck.
pub fn waiting(book: &Book, die: &Die) -> Vec<Piece> {
    let fits = |piece: &&Piece| {
        let of_series = die.series.is_none_or(|series| series == piece.series);
        let struck = book.series(piece.series).is_some_and(|series| series.struck);
        let grade = piece.grading.as_ref().map(|grading| grading.grade);
        let ready = match piece.state {
            S::Serialled => true,
            S::Graded => grade == Some(Grade::Accepted),
            _ => false,
        };
        ready && of_series && struck
    };
    let mut pieces: Vec<Piece> = book.pieces().filter(fits).cloned().collect();
    pieces.sort_by_key(named::piece);
    pieces
}
