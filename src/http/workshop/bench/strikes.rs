//! Pieces that wait for a strike.

use super::{App, Seen, Visit, offered, seat, with_versions};
use crate::accounts::Reckoning;
use crate::domain::{Book, Die, DieState, Grade, Piece, PieceState as S};
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
    let find = |reckoning: &Reckoning| {
        let book = reckoning.book();
        let mut dies: Vec<Die> = book
            .dies()
            .filter(|die| die.state == DieState::InUse)
            .cloned()
            .collect();
        dies.sort_by_key(|die| die.since);
        // One that is gone strikes nothing, whatever the address says.
        let chosen = dies.iter().find(|die| wanted == Some(die.die.0));
        let chosen = chosen.map(|die| (die.die, waiting(book, die)));
        Ok((dies, chosen))
    };
    let ((dies, chosen), versions) = with_versions(app, find, |(_, chosen)| {
        let pieces = chosen.iter().flat_map(|(_, pieces)| pieces);
        pieces.map(|piece| piece.piece).collect()
    })?;
    let (die, pieces) = chosen.map_or_else(|| (None, Vec::new()), |(die, pieces)| (Some(die), pieces));
    let seen = dies.iter().map(|die| {
        Ok(DieSeen {
            die: die.die,
            name: offered::die(app, visit, die)?,
            strikes: die.strikes,
        })
    });
    let seen: Result<Vec<DieSeen>, Problem> = seen.collect();
    let pieces = pieces.iter().map(|piece| {
        let version = versions.get(&piece.piece).copied().unwrap_or(0);
        (piece.piece, version, named::piece(piece))
    });
    let page = Strikes {
        seat: seat(visit),
        dies: seen?,
        die,
        pieces: pieces.collect(),
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
