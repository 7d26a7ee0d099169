//! The workshop's own reads: one row, lists, a piece's history, entries by position.

use super::asked::Asked;
use super::commands::event_json;
use super::found::{Found, PRIVATE};
use super::private;
use super::problem::Problem;
use super::query::Parameters;
use super::{App, failed};
use crate::domain::{
    Certificate, Consignment, ConsignmentState, Die, DieState, Event, Grade, Jar, Lot, Melt, MeltState,
    Order, OrderState, Owner, Piece, PieceId, PieceState, Refining, RefiningState, Residue, Sale, Scale,
    Series, SeriesKind, Session, SessionState,
};
use crate::metal::Metal;
use crate::record::{self, Entry};
use crate::views::{Filter, Table, Tabled};
use serde_json::{Map, Value, json};
use uuid::Uuid;

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
    if !private.is_empty() {
        body.insert("private".into(), Value::Object(private));
    }
    let version = app.views.version(id).map_err(failed)?;
    Ok(Found::json(&Value::Object(body), PRIVATE).version(version, exact))
}

fn row_json<T: Tabled>(app: &App, row: &T) -> Result<Map<String, Value>, Problem> {
    let value = serde_json::to_value(row).map_err(|error| Problem::internal(error.to_string()))?;
    let Value::Object(mut members) = value else {
        return Err(Problem::internal("a row is no object"));
    };
    let version = app.views.version(row.id()).map_err(failed)?;
    members.insert("version".into(), json!(version));
    Ok(members)
}

/// One page of a list.
///
/// # Errors
/// 400 for a parameter that is not known or not of its form.
pub fn list(app: &App, asked: &Asked, table: Table) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    match table {
        Table::Lot => {
            let metal: Option<Metal> = query.word("metal", &["silver", "gold", "copper"])?;
            page::<Lot>(app, asked, query, &|row| fits(&metal, &row.metal))
        }
        Table::Scale => page::<Scale>(app, asked, query, &|_| true),
        Table::Session => {
            let state: Option<SessionState> = query.word("state", SessionState::WORDS)?;
            let scale: Option<Uuid> = query.parse("scale", "an id")?;
            page::<Session>(app, asked, query, &|row| {
                fits(&state, &row.state) && fits(&scale, &row.scale.0)
            })
        }
        Table::Jar => {
            let residue: Option<Residue> = query.word("residue", Residue::WORDS)?;
            page::<Jar>(app, asked, query, &|row| fits(&residue, &row.residue))
        }
        Table::Series => {
            let kind: Option<SeriesKind> = query.word("kind_of", SeriesKind::WORDS)?;
            let code = query.take("code");
            page::<Series>(app, asked, query, &|row| {
                fits(&kind, &row.kind_of) && code.as_deref().is_none_or(|code| code == row.code.as_str())
            })
        }
        Table::Melt => {
            let state: Option<MeltState> = query.word("state", MeltState::WORDS)?;
            page::<Melt>(app, asked, query, &|row| fits(&state, &row.state))
        }
        Table::Piece => pieces(app, asked, query),
        Table::Certificate => {
            let piece: Option<Uuid> = query.parse("piece", "an id")?;
            page::<Certificate>(app, asked, query, &|row| fits(&piece, &row.piece.0))
        }
        Table::Die => {
            let state: Option<DieState> = query.word("state", DieState::WORDS)?;
            page::<Die>(app, asked, query, &|row| fits(&state, &row.state))
        }
        Table::Consignment => {
            let state: Option<ConsignmentState> = query.word("state", ConsignmentState::WORDS)?;
            page::<Consignment>(app, asked, query, &|row| fits(&state, &row.state))
        }
        Table::Order => {
            let state: Option<OrderState> = query.word("state", OrderState::WORDS)?;
            let series: Option<Uuid> = query.parse("series", "an id")?;
            page::<Order>(app, asked, query, &|row| {
                fits(&state, &row.state) && fits(&series, &row.series.0)
            })
        }
        Table::Sale => {
            let order: Option<Uuid> = query.parse("order", "an id")?;
            page::<Sale>(app, asked, query, &|row| {
                order.is_none() || order == row.order.map(|order| order.0)
            })
        }
        Table::Refining => {
            let state: Option<RefiningState> = query.word("state", RefiningState::WORDS)?;
            page::<Refining>(app, asked, query, &|row| fits(&state, &row.state))
        }
        Table::Owner => page::<Owner>(app, asked, query, &|_| true),
    }
}

fn pieces(app: &App, asked: &Asked, mut query: Parameters) -> Result<Found, Problem> {
    let state: Option<PieceState> = query.word("state", PieceState::WORDS)?;
    let grade: Option<Grade> = query.word("grade", Grade::WORDS)?;
    let series: Option<Uuid> = query.parse("series", "an id")?;
    let melt: Option<Uuid> = query.parse("melt", "an id")?;
    let shape = query.take("shape");
    page::<Piece>(app, asked, query, &|row| {
        fits(&state, &row.state)
            && grade.is_none_or(|grade| row.grading.as_ref().is_some_and(|grading| grading.grade == grade))
            && fits(&series, &row.series.0)
            && fits(&melt, &row.melt.0)
            && shape.as_deref().is_none_or(|shape| shape == row.shape.as_str())
    })
}

fn fits<T: PartialEq>(wanted: &Option<T>, found: &T) -> bool {
    wanted.as_ref().is_none_or(|wanted| wanted == found)
}

fn page<T: Tabled>(
    app: &App,
    asked: &Asked,
    mut query: Parameters,
    filter: Filter<'_, T>,
) -> Result<Found, Problem> {
    let limit = query.limit()?;
    let after = query.cursor()?;
    query.finish()?;
    let page = app.views.list(filter, after, limit).map_err(failed)?;
    let items: Result<Vec<Value>, Problem> = page
        .rows
        .iter()
        .map(|row| row_json(app, row).map(Value::Object))
        .collect();
    let mut body = Map::new();
    body.insert("items".into(), Value::Array(items?));
    let mut link = None;
    if let Some(next) = page.next {
        let cursor = next.to_text();
        link = Some(next_link(asked, "after", &cursor));
        body.insert("next".into(), json!(cursor));
    }
    let mut found = Found::json(&Value::Object(body), PRIVATE);
    found.link = link;
    Ok(found)
}

fn next_link(asked: &Asked, name: &str, value: &str) -> String {
    format!(
        "<{}?{}>; rel=\"next\"",
        asked.path,
        Parameters::with(&asked.query, name, value)
    )
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
    found.link = next.map(|next| next_link(asked, "from", &next.to_string()));
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
    members.insert("leaf".into(), json!(app.views.leaf(index).map_err(failed)?));
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
    let mut entries = Vec::new();
    let mut position = from;
    let end = app.views.position();
    while position < end && entries.len() < limit {
        let bytes = app.bytes(position)?;
        let entry = record::read(&bytes).map_err(|error| Problem::internal(error.to_string()))?;
        let mut told = told(app, position, &entry)?;
        told.insert(
            "events".into(),
            Value::Array(entry.events().map(event_json).collect()),
        );
        told.insert("entry".into(), json!(String::from_utf8_lossy(&bytes)));
        entries.push(Value::Object(told));
        position = position.saturating_add(1);
    }
    let body = json!({"entries": entries, "position": position});
    let mut found = Found::json(&body, PRIVATE);
    found.link = (position < end).then(|| next_link(asked, "from", &position.to_string()));
    Ok(found)
}
