//! Sheets of labels for the pieces of a series that are in the workshop: made when they are asked for, recorded nowhere.

use super::asked::Asked;
use super::found::{Found, PRIVATE};
use super::problem::Problem;
use super::{App, failed, lists, prints, private};
use crate::domain::{Event, Piece, PieceState, Serial, Series, SeriesId, Timestamp};
use crate::print::{self, LABELS_MAX, Label, Labels, PLACES};
use crate::proof::Policy;

/// How many pieces are read at a time.
const PAGE: usize = 200;

/// `GET /v1/series/{series}/labels`: by serial, as many as eight sheets hold; `Link` leads to the rest.
///
/// # Errors
/// 400 for a parameter that cannot be read, 404 without such a series or pieces of it, 409 while the book has no address.
pub fn labels(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let id = SeriesId(asked.id("series")?);
    let mut query = asked.parameters()?;
    let free = "how many places of the first sheet stay free, 0 to 23";
    let skip: usize = query.parse("skip", free)?.unwrap_or(0);
    let after: Option<Serial> = query.parse("after", "a serial, like TW-0007-65")?;
    query.finish()?;
    if skip >= PLACES {
        let says = format!("the query parameter \"skip\" must be {free}");
        return Err(Problem::unreadable(says));
    }
    if app.settings.address.is_empty() {
        return Err(Problem::no_address(
            "the setting `address` of the book is empty, so no code can lead to it",
        ));
    }
    let series = app.views.series(id).map_err(failed)?;
    let series = series.ok_or_else(|| Problem::not_found("there is no series with that id"))?;
    let mut pieces = of_series(app, id, after.as_ref())?;
    let room = LABELS_MAX.saturating_sub(skip);
    let more = pieces.len() > room;
    pieces.truncate(room);
    let Some((last, _)) = pieces.last() else {
        return Err(Problem::not_found(
            "no piece of this series that is in the workshop has a serial, or none after that one",
        ));
    };
    let last = last.to_string();
    let bytes = print::labels(&told(app, &series, skip, pieces)?).map_err(prints::not_set)?;
    let mut found = Found::bytes("application/pdf", bytes, PRIVATE);
    // The sheets of this page are full, so the next begins with a fresh one.
    let rest = Asked {
        query: without_skip(&asked.query),
        ..asked.clone()
    };
    found.link = more.then(|| lists::next_link(&rest, "after", &last));
    Ok(found)
}

fn without_skip(query: &str) -> String {
    let kept: Vec<&str> = query
        .split('&')
        .filter(|pair| !pair.starts_with("skip="))
        .collect();
    kept.join("&")
}

/// Whether a piece gets a label: it has a serial and is in the workshop. What was given up waits for the crucible.
#[must_use]
pub fn is_labelled(piece: &Piece) -> bool {
    piece.serial.is_some() && !piece.state.is_away() && piece.state != PieceState::Condemned
}

/// The pieces of a series that get a label, by serial.
fn of_series(app: &App, series: SeriesId, after: Option<&Serial>) -> Result<Vec<(Serial, Piece)>, Problem> {
    let wanted = |piece: &Piece| {
        let later = piece
            .serial
            .as_ref()
            .is_some_and(|serial| after.is_none_or(|after| serial > after));
        piece.series == series && is_labelled(piece) && later
    };
    let mut found = Vec::new();
    let mut from = None;
    loop {
        let page = app.views.list::<Piece>(&wanted, from, PAGE).map_err(failed)?;
        let rows = page.rows.into_iter();
        found.extend(rows.filter_map(|piece| Some((piece.serial.clone()?, piece))));
        from = page.next;
        if from.is_none() {
            break;
        }
    }
    found.sort_by(|one, other| one.0.cmp(&other.0));
    Ok(found)
}

fn told(app: &App, series: &Series, skip: usize, pieces: Vec<(Serial, Piece)>) -> Result<Labels, Problem> {
    let policy = Policy::parse(&app.settings.policy).map_err(failed)?;
    let thumbprint = policy
        .root
        .ok_or_else(|| Problem::internal("the policy names no root"))?;
    let mut labels = Vec::with_capacity(pieces.len());
    let mut newest = Timestamp(0);
    for (serial, piece) in pieces {
        let (label, at) = label(app, series, serial, piece)?;
        newest = newest.max(at);
        labels.push(label);
    }
    // What everybody may see, whoever asks: a label goes out with its piece.
    let public = private::of_subject(app, series.series.0, None)?;
    Ok(Labels {
        title: public
            .get("title")
            .and_then(serde_json::Value::as_str)
            .map(str::to_owned),
        code: series.code.as_str().to_owned(),
        unit: series.unit,
        maker: app.settings.maker.clone(),
        address: app.settings.address.clone(),
        thumbprint,
        at: newest,
        skip,
        labels,
    })
}

/// One label, and when the newest of what it says was recorded.
fn label(app: &App, series: &Series, serial: Serial, piece: Piece) -> Result<(Label, Timestamp), Problem> {
    let (mut weight, mut at) = (None, piece.at);
    if let Some(id) = piece.certificate {
        let unknown = || Problem::internal("the certificate of a piece is not in the views");
        let row = app.views.certificate(id).map_err(failed)?.ok_or_else(unknown)?;
        let entry = app.entry(row.since)?;
        weight = entry.events().find_map(|event| match event {
            Event::CertificateIssued(issued) if issued.certificate == id => Some(issued.mass.clone()),
            _ => None,
        });
        at = at.max(row.at);
    }
    let size = series.shapes.iter().find(|known| known.shape == piece.shape);
    let label = Label {
        serial,
        number: piece.number.zip(size.map(|known| known.size)),
        shape: piece.shape,
        weight,
    };
    Ok((label, at))
}
