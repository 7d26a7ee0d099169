//! What forms offer of the book as of now: pieces to tick, series, orders, sessions to choose from.
//!
//! A form may be opened for a part of what there is, by the query of its address: `series` leaves pieces of one series,
//! `piece` ticks one, `tick=all` ticks as many as one entry takes. Nothing is decided here: what is offered and can still not
//! be is refused by the book, beside its line.

use super::{App, Visit, named};
use crate::accounts::AsOf;
use crate::domain::{Book, Die, Jar, OwnerId, Piece, Series, SeriesId, SeriesKind, SeriesState, Session};
use crate::http::problem::Problem;
use crate::http::{failed, private};
use crate::pages::workshop::{Choice, Offer, Row, office};
use serde_json::Value;
use std::collections::BTreeMap;
use uuid::Uuid;

/// How many things one entry takes.
const TAKEN_MOST: usize = 64;
/// How many lines a form shows.
const SHOWN_MOST: usize = 300;

/// Answers from the book of now.
///
/// # Errors
/// When the log cannot be read.
pub fn of_now<T>(app: &App, answer: impl FnOnce(&Book) -> T) -> Result<T, Problem> {
    let asked = app
        .accounts
        .ask(AsOf::Newest, |reckoning| answer(reckoning.book()));
    asked.map_err(failed)
}

/// A private text of a thing, as far as the role may see it.
///
/// # Errors
/// When the views or the vault cannot be read.
pub fn said(app: &App, visit: &Visit, id: Uuid, member: &str) -> Result<Option<String>, Problem> {
    let shown = private::of_subject(app, id, Some(visit.role()))?;
    Ok(shown.get(member).and_then(Value::as_str).map(str::to_owned))
}

/// A customer by name, as far as the role may see it.
///
/// # Errors
/// When the views or the vault cannot be read.
pub fn customer(app: &App, visit: &Visit, id: OwnerId) -> Result<String, Problem> {
    let name = said(app, visit, id.0, "name")?;
    Ok(name.unwrap_or_else(|| customer_by_id(id)))
}

/// A customer by the beginning of the id: enough to tell two of them apart.
#[must_use]
pub fn customer_by_id(id: OwnerId) -> String {
    let id = id.to_string();
    format!("Customer {}", id.get(..8).unwrap_or_default())
}

/// A die by its label, as far as the role may see it.
///
/// # Errors
/// When the views or the vault cannot be read.
pub fn die(app: &App, visit: &Visit, row: &Die) -> Result<String, Problem> {
    let label = said(app, visit, row.die.0, "label")?;
    Ok(label.unwrap_or_else(|| format!("Die of the {}", row.owner)))
}

/// A jar by its label, as far as the role may see it.
///
/// # Errors
/// When the views or the vault cannot be read.
pub fn jar(app: &App, visit: &Visit, row: &Jar) -> Result<String, Problem> {
    let label = said(app, visit, row.jar.0, "label")?;
    Ok(label.unwrap_or_else(|| format!("Jar of {}", row.residue)))
}

/// What is known of a piece, small: its series, shape, mass and grade.
#[must_use]
pub fn more_of(book: &Book, piece: &Piece) -> String {
    let mut parts = Vec::new();
    parts.extend(book.series(piece.series).map(|series| series.code.to_string()));
    parts.push(piece.shape.as_str().replace('_', " "));
    if piece.serial.is_some() {
        parts.push(format!("poured as {}", piece.pour));
    }
    parts.extend(piece.number.map(|number| format!("number {number}")));
    parts.extend(piece.mass().map(|mass| format!("{mass} g")));
    let grade = piece.grading.as_ref().map(|grading| grading.grade.word());
    parts.extend(grade.map(str::to_owned));
    parts.join(", ")
}

/// Pieces in the order in which people look for them: by series, then as they were poured.
#[must_use]
pub fn sorted<'a>(book: &'a Book, pieces: impl Iterator<Item = &'a Piece>) -> Vec<&'a Piece> {
    let mut found: Vec<&Piece> = pieces.collect();
    let place = |piece: &&Piece| {
        let series = book.series(piece.series).map_or(0, |series| series.since);
        (series, piece.serial.clone(), piece.since, piece.pour.clone())
    };
    found.sort_by_cached_key(place);
    found
}

/// A piece as a line of a form.
#[must_use]
pub fn line(book: &Book, piece: &Piece) -> Row {
    Row {
        id: piece.piece.to_string(),
        words: named::piece(piece),
        more: more_of(book, piece),
        version: 0,
    }
}

/// An offer of pieces under a member, those ticked that the address asks for.
///
/// # Errors
/// 400 for a query that cannot be read; 500 when the log cannot be.
pub fn pieces(
    app: &App,
    visit: &Visit,
    member: &'static str,
    wanted: impl Fn(&Book, &Piece) -> bool,
) -> Result<Offer, Problem> {
    pieces_up_to(app, visit, (member, TAKEN_MOST), wanted)
}

/// The same for an entry that takes more, or fewer.
///
/// # Errors
/// As [`pieces`].
pub fn pieces_up_to(
    app: &App,
    visit: &Visit,
    (member, most): (&'static str, usize),
    wanted: impl Fn(&Book, &Piece) -> bool,
) -> Result<Offer, Problem> {
    let mut query = visit.asked.parameters()?;
    let series: Option<Uuid> = query.parse("series", "an id")?;
    let one: Option<Uuid> = query.parse("piece", "an id")?;
    let all = query.take("tick").is_some_and(|word| word == "all");
    let (rows, parts) = of_now(app, |book| {
        let found = sorted(book, book.pieces().filter(|piece| wanted(book, piece)));
        let parts = parts(book, &found);
        let mut of_series = found
            .into_iter()
            .filter(|piece| series.is_none_or(|series| series == piece.series.0));
        let mut shown: Vec<&Piece> = of_series.by_ref().take(SHOWN_MOST).collect();
        // Whoever came for one piece finds it, however many stand before it.
        shown.extend(of_series.find(|piece| one == Some(piece.piece.0)));
        let rows: Vec<Row> = shown.into_iter().map(|piece| line(book, piece)).collect();
        (rows, parts)
    })?;
    let ticked = rows
        .iter()
        .filter(|row| one.is_some_and(|one| one.to_string() == row.id));
    let ticked = ticked.chain(rows.iter().take(if all { most } else { 0 }));
    let filled = ticked.map(|row| (member.to_owned(), row.id.clone())).collect();
    let about = office::narrowed(&office::Narrowed {
        path: &visit.asked.path,
        parts: &parts,
        part: series.map(|series| series.to_string()),
        count: rows.len(),
        most,
        shown_most: SHOWN_MOST,
    });
    Ok(Offer {
        about: Some(about),
        rows: vec![(member, rows)],
        filled,
        ..Offer::default()
    })
}

/// The series of some pieces, each with its id and how many there are.
fn parts(book: &Book, pieces: &[&Piece]) -> Vec<(String, String, usize)> {
    let mut counts: BTreeMap<SeriesId, usize> = BTreeMap::new();
    for piece in pieces {
        let count = counts.entry(piece.series).or_default();
        *count = count.saturating_add(1);
    }
    let named = counts
        .into_iter()
        .filter_map(|(id, count)| Some((book.series(id)?, count)));
    let mut parts: Vec<(u64, (String, String, usize))> = named
        .map(|(series, count)| {
            let part = (series.series.to_string(), series.code.to_string(), count);
            (series.since, part)
        })
        .collect();
    parts.sort();
    parts.into_iter().map(|(_, part)| part).collect()
}

/// Series to choose from, oldest first.
///
/// # Errors
/// When the log cannot be read.
pub fn series(app: &App, wanted: impl Fn(&Series) -> bool) -> Result<Vec<Choice>, Problem> {
    of_now(app, |book| {
        let mut found: Vec<&Series> = book.all_series().filter(|series| wanted(series)).collect();
        found.sort_by_key(|series| series.since);
        let choice = |series: &&Series| Choice {
            value: series.series.to_string(),
            words: series_words(series),
        };
        found.iter().map(choice).collect()
    })
}

/// A series in words.
#[must_use]
pub fn series_words(series: &Series) -> String {
    let kind = match series.kind_of {
        SeriesKind::Edition => "edition",
        SeriesKind::Open => "open series",
    };
    format!("{}, {kind} in {} {}", series.code, series.metal, series.fineness)
}

/// Whether a series is an edition that goes on.
#[must_use]
pub fn is_running_edition(series: &Series) -> bool {
    series.kind_of == SeriesKind::Edition && series.state == SeriesState::Open
}

/// One session to choose.
///
/// # Errors
/// When the vault cannot be read.
pub fn session_choice(app: &App, visit: &Visit, session: &Session) -> Result<Choice, Problem> {
    let label = said(app, visit, session.scale.0, "label")?;
    let began = app.settings.workshop.zone.shortly(session.at);
    Ok(Choice {
        value: session.session.to_string(),
        words: format!("{}, {began}", label.unwrap_or_else(|| "Scale".to_owned())),
    })
}
