//! The workshop's own reads: one row, a piece's history, entries by position.

use super::asked::Asked;
use super::commands::event_json;
use super::found::{Found, PRIVATE};
use super::private;
use super::problem::Problem;
use super::{App, failed, lists, quotes};
use crate::domain::{
    Certificate, Charge, Consignment, Die, Event, Jar, Lot, Melt, Order, Owner, Piece, PieceId, Quote,
    Refining, Sale, Scale, Series, Session, Spot, Stocktake,
};
use crate::record::{self, Entry};
use crate::views::{Table, Tabled};
use serde_json::{Map, Value, json};

/// One row.
///
/// # Errors
/// 404 for an id that is not known.
pub fn show(app: &App, asked: &Asked, table: Table) -> Result<Found, Problem> {
    asked.parameters()?.finish()?;
    match table {
        Table::Lot => show_row::<Lot>(app, asked, true),
        Table::Scale => show_row::<Scale>(app, asked, false),
        Table::Session => show_row::<Session>(app, asked, false),
        Table::Jar => show_row::<Jar>(app, asked, true),
        Table::Series => show_row::<Series>(app, asked, false),
        Table::Melt => show_row::<Melt>(app, asked, false),
        Table::Piece => show_row::<Piece>(app, asked, true),
        Table::Certificate => show_row::<Certificate>(app, asked, true),
        Table::Die => show_row::<Die>(app, asked, false),
        Table::Consignment => show_row::<Consignment>(app, asked, true),
        Table::Order => show_row::<Order>(app, asked, false),
        Table::Sale => show_row::<Sale>(app, asked, false),
        Table::Refining => show_row::<Refining>(app, asked, true),
        Table::Owner => show_row::<Owner>(app, asked, true),
        Table::Stocktake => show_row::<Stocktake>(app, asked, true),
        Table::Spot => show_row::<Spot>(app, asked, true),
        Table::Quote => show_row::<Quote>(app, asked, true),
        Table::Charge => show_row::<Charge>(app, asked, true),
    }
}

/// `exact`: whether every change of the row is an entry of its own chain. Where it is not (a series counts serials that
/// its pieces get), the version serves `If-Match` only and no 304 is answered.
fn show_row<T: Tabled>(app: &App, asked: &Asked, exact: bool) -> Result<Found, Problem> {
    let word = T::TABLE.word();
    let id = asked.id(word)?;
    let row: Option<T> = app.views.row(id).map_err(failed)?;
    let row = row.ok_or_else(|| Problem::not_found(format!("there is no {word} {id}")))?;
    let mut body = row_json(app, &row)?;
    let private = private::of_subject(app, id, asked.role())?;
    if T::TABLE == Table::Quote && !private.is_empty() {
        body.insert("recomputed".into(), quotes::recomputed(&private));
    }
    if !private.is_empty() {
        body.insert("private".into(), Value::Object(private));
    }
    let version = app.views.version(id).map_err(failed)?;
    Ok(Found::json(&Value::Object(body), PRIVATE).version(version, exact))
}

/// A row with its version.
///
/// # Errors
/// 500 when the views cannot be read.
pub fn row_json<T: Tabled>(app: &App, row: &T) -> Result<Map<String, Value>, Problem> {
    let value = serde_json::to_value(row).map_err(|error| Problem::internal(error.to_string()))?;
    let Value::Object(mut members) = value else {
        return Err(Problem::internal("a row is no object"));
    };
    let version = app.views.version(row.id()).map_err(failed)?;
    members.insert("version".into(), json!(version));
    Ok(members)
}

/// A piece with all that was recorded of it, entry by entry.
///
/// # Errors
/// 404 for a piece that is not known.
pub fn history(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let limit = query.limit()?;
    let from = query.index("from", "an index")?.unwrap_or(0);
    query.finish()?;
    let id = asked.id("piece")?;
    let row: Option<Piece> = app.views.row(id).map_err(failed)?;
    let row = row.ok_or_else(|| Problem::not_found(format!("there is no piece {id}")))?;
    let mut indexes = app
        .views
        .history_from(id, from, limit.saturating_add(1))
        .map_err(failed)?;
    let next = indexes.get(limit).copied();
    indexes.truncate(limit);
    let mut entries = Vec::new();
    for index in indexes {
        let entry = app.entry(index)?;
        let mut told = told(app, index, &entry)?;
        let events = entry.events().enumerate();
        let mut of_piece = Vec::new();
        for (place, event) in events.filter(|(_, event)| concerns(event, row.piece)) {
            let mut event = event_json(event);
            let private = private::of_event(app, index, place, &entry, asked.role())?;
            if let (Value::Object(members), false) = (&mut event, private.is_empty()) {
                members.insert("private".into(), Value::Object(private));
            }
            of_piece.push(event);
        }
        told.insert("events".into(), Value::Array(of_piece));
        entries.push(Value::Object(told));
    }
    let version = app.views.version(id).map_err(failed)?;
    let mut body = Map::new();
    body.insert("piece".into(), Value::Object(row_json(app, &row)?));
    body.insert("entries".into(), Value::Array(entries));
    body.extend(next.map(|next| ("next".to_owned(), json!(next))));
    let mut found = Found::json(&Value::Object(body), PRIVATE).version(version, false);
    found.link = next.map(|next| lists::next_link(asked, "from", &next.to_string()));
    Ok(found)
}

fn concerns(event: &Event, piece: PieceId) -> bool {
    match event {
        Event::CertificateIssued(issued) => issued.piece == piece,
        other => other.subjects().contains(&piece.0),
    }
}

/// What every telling of an entry begins with.
fn told(app: &App, index: u64, entry: &Entry) -> Result<Map<String, Value>, Problem> {
    let mut members = Map::new();
    members.insert("index".into(), json!(index));
    members.insert("leaf".into(), json!(app.leaf(index)));
    members.insert("recorded".into(), json!(entry.payload.iat));
    members.insert("by".into(), json!(entry.payload.by));
    members.extend(entry.payload.at.map(|at| ("at".to_owned(), json!(at))));
    Ok(members)
}

/// Entries by position, whole, for an auditor.
///
/// # Errors
/// 400 for a parameter that is not of its form.
pub fn events(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let limit = query.limit()?;
    let from = query.index("from", "an index")?.unwrap_or(0);
    query.finish()?;
    let entries = told_whole(app, from, limit)?;
    let told = u64::try_from(entries.len()).map_err(failed)?;
    let position = from.saturating_add(told);
    let end = app.views.position();
    let body = json!({"entries": entries, "position": position});
    let mut found = Found::json(&body, PRIVATE);
    found.link = (position < end).then(|| lists::next_link(asked, "from", &position.to_string()));
    Ok(found)
}

/// Entries from a position on, whole, at most `limit`; what is not durable yet is not among them.
///
/// # Errors
/// 500 when the log cannot be read.
pub fn told_whole(app: &App, from: u64, limit: usize) -> Result<Vec<Value>, Problem> {
    let mut entries = Vec::new();
    for position in (from..app.views.position()).take(limit) {
        let bytes = app.bytes(position)?;
        let entry = record::read(&bytes).map_err(|error| Problem::internal(error.to_string()))?;
        let mut told = told(app, position, &entry)?;
        let events = entry.events().map(event_json);
        told.insert("events".into(), Value::Array(events.collect()));
        told.insert("entry".into(), json!(String::from_utf8_lossy(&bytes)));
        entries.push(Value::Object(told));
    }
    Ok(entries)
}
