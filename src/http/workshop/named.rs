//! Names for ids in what the book says: refusals are written for programs and for people, and an id says nothing to a person.

use crate::domain::{Consignment, Lot, Melt, Order, Piece, Refining, Sale, Series};
use crate::http::App;
use crate::http::conditions::hyphenated;
use crate::views::{Table, Tabled};
use uuid::Uuid;

/// How many characters an id has.
const LENGTH: usize = 36;

/// The text with what people call each thing in place of its id.
#[must_use]
pub fn in_words(app: &App, text: &str) -> String {
    let mut told = String::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let id = rest.get(..LENGTH).and_then(hyphenated);
        let name = id.and_then(|id| of(app, id));
        let step = name.as_ref().map_or(first.len_utf8(), |_| LENGTH);
        match name {
            Some(name) => told.push_str(&name),
            None => told.push(first),
        }
        rest = rest.get(step..).unwrap_or_default();
    }
    told
}

/// What people call a thing; none for what has no name, or is not there.
#[must_use]
pub fn of(app: &App, id: Uuid) -> Option<String> {
    let table = app.views.table_of(id).ok().flatten()?;
    match table {
        Table::Piece => row::<Piece>(app, id).map(|row| piece(&row)),
        Table::Series => row::<Series>(app, id).map(|row| row.code.to_string()),
        Table::Lot => row::<Lot>(app, id).map(|row| row.number.to_string()),
        Table::Melt => row::<Melt>(app, id).map(|row| row.number.to_string()),
        Table::Consignment => row::<Consignment>(app, id).map(|row| row.number.to_string()),
        Table::Order => row::<Order>(app, id).map(|row| row.number.to_string()),
        Table::Sale => row::<Sale>(app, id).map(|row| row.number.to_string()),
        Table::Refining => row::<Refining>(app, id).map(|row| row.number.to_string()),
        _ => None,
    }
}

fn row<T: Tabled>(app: &App, id: Uuid) -> Option<T> {
    app.views.row(id).ok().flatten()
}

/// What people call a piece: its serial once it has one, else its number at the mould.
#[must_use]
pub fn piece(piece: &Piece) -> String {
    let serial = piece.serial.as_ref().map(ToString::to_string);
    serial.unwrap_or_else(|| piece.pour.to_string())
}
