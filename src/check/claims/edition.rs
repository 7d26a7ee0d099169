//! The series that the piece is in now and, if that was an edition that is closed, what its close says of the piece.

use super::{Claims, Told, follow};
use crate::domain::{Event, PieceState as S, SeriesClosed, SeriesId, SeriesKind, SeriesOpened, ShapeTally};

/// A number whose piece is in one of these at the close is burned.
const BURNED: &[S] = &[
    S::Lost,
    S::Stolen,
    S::Destroyed,
    S::Condemned,
    S::Remelted,
    S::Refined,
];
/// A piece in one of these is on its way to a certificate or to the crucible: nothing closes over it.
const LOOSE: &[S] = &[
    S::Poured,
    S::Graded,
    S::Condemned,
    S::Serialled,
    S::Struck,
    S::MisStruck,
    S::AtOffice,
    S::Hallmarked,
    S::Unmarked,
    S::Spare,
    S::Numbered,
];

/// The close of a series, with the index of its entry, if the file holds it.
pub(in crate::check) fn close_of<'a>(
    claims: &'a Claims<'_>,
    id: SeriesId,
) -> Option<(u64, &'a SeriesClosed)> {
    claims.evidence.events().find_map(|(index, event)| match event {
        Event::SeriesClosed(closed) if closed.series == id => Some((index, closed)),
        _ => None,
    })
}

/// The piece is not loose at the close of its edition, its number is counted, and burned only if the piece was gone.
pub(in crate::check) fn edition(claims: &Claims<'_>, told: &Told) -> Result<String, String> {
    let id = told.life.series;
    let series = claims.series(id)?;
    let code = series.code.as_str();
    let kind = match (series.kind_of, told.life.number) {
        (SeriesKind::Open, _) => format!("open series {code}"),
        (SeriesKind::Edition, Some((number, of))) => format!("edition {code}, {number} of {of}"),
        (SeriesKind::Edition, None) => format!("edition {code}, without a number"),
    };
    let Some((index, closed)) = close_of(claims, id) else {
        return Ok(format!("{kind}; no close of it is told here"));
    };
    let at = |why: String| format!("entry {index}: {why}");
    if series.kind_of == SeriesKind::Open {
        return Err(at("an open series is not closed".to_owned()));
    }
    tallies(series, closed).map_err(at)?;
    nothing_after(claims, index)?;
    let then = follow(claims, index)?.life;
    if then.series == id && LOOSE.contains(&then.state) {
        return Err(at(format!(
            "the edition closed while the piece was {}",
            then.state
        )));
    }
    let tally = closed.shapes.iter().find(|tally| tally.shape == then.shape);
    let tally = tally.ok_or_else(|| at("it does not count the shape of the piece".to_owned()))?;
    counted(series, tally, &then).map_err(at)?;
    let burned = match then.number {
        Some((number, _)) if tally.burned.contains(&number) => ", the number is burned",
        _ => "",
    };
    Ok(format!("{kind}; closed: {} given{burned}", tally.given))
}

/// The tallies are of the shapes of the edition, and no number is beyond what was given.
fn tallies(series: &SeriesOpened, closed: &SeriesClosed) -> Result<(), String> {
    let sizes = series.shapes.iter().map(|size| (&size.shape, size.size));
    if !closed
        .shapes
        .iter()
        .map(|tally| (&tally.shape, tally.size))
        .eq(sizes)
    {
        return Err("the tally is not of the shapes and sizes of the edition".to_owned());
    }
    for tally in &closed.shapes {
        let ascending = tally
            .burned
            .iter()
            .zip(tally.burned.iter().skip(1))
            .all(|(a, b)| a < b);
        let within = tally
            .burned
            .iter()
            .all(|number| *number != 0 && *number <= tally.given);
        if tally.given > tally.size || !ascending || !within {
            return Err(format!("the tally of {} cannot be", tally.shape));
        }
    }
    Ok(())
}

/// The piece's place is among those given, and burned if and only if the piece was gone at the close.
fn counted(series: &SeriesOpened, tally: &ShapeTally, then: &super::Life) -> Result<(), String> {
    let given = tally.given;
    let Some((number, _)) = then.number else {
        let placed = series.unnumbered && then.was_certified();
        if placed && given == 0 {
            return Err("it counts no certificate, and the piece had one".to_owned());
        }
        return Ok(());
    };
    if number > given {
        return Err(format!(
            "it counts {given} numbers given, the piece had number {number}"
        ));
    }
    match (tally.burned.contains(&number), BURNED.contains(&then.state)) {
        (true, false) => Err(format!(
            "number {number} is burned, and the piece was {}",
            then.state
        )),
        (false, true) => Err(format!(
            "number {number} is not burned, and the piece was {}",
            then.state
        )),
        _ => Ok(()),
    }
}

/// Nothing is made for a closed edition.
fn nothing_after(claims: &Claims<'_>, close: u64) -> Result<(), String> {
    for (index, event) in claims.own().filter(|(index, _)| *index >= close) {
        let making = match event {
            Event::PiecePoured(_)
            | Event::PieceSerialled(_)
            | Event::PieceNumbered(_)
            | Event::PieceStruck(_)
            | Event::PieceConsigned(_)
            | Event::PieceSpared(_)
            | Event::PieceMoved(_) => true,
            Event::PieceCertified(e) => e.issue == 1,
            _ => false,
        };
        if making {
            return Err(format!(
                "entry {index}, {}: the edition was closed by entry {close}",
                event.kind()
            ));
        }
    }
    Ok(())
}
