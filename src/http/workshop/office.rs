//! The office over HTTP: what each of its pages needs of the book, looked up when the page is asked for.

mod assay;
mod board;
mod entries;
mod files;
mod lots;
mod numbers;
mod orders;
mod prices;
mod setup;
mod stock;

pub use assay::{assay, consignment};
pub use board::board;
pub use entries::entry;
pub use files::{labels, packing_list};
pub use lots::lot;
pub use numbers::{numbers, waits_for_final};
pub use orders::{order, orders, sale};
pub use prices::quote;
pub use setup::setup;
pub use stock::stock;

use super::offered::{self, said};
use super::visit::may_open;
use super::{App, Visit, named};
use crate::domain::{Book, Piece, Timestamp};
use crate::http::problem::Problem;
use crate::pages::workshop::office::{self, Facts, Line, Office, Way};
use crate::pages::workshop::{Leaf, html};
use std::collections::BTreeMap;
use uuid::Uuid;

/// How many things of one kind a page shows.
const SHOWN_MOST: usize = 60;
const DAY_SECONDS: i64 = 86_400;

/// How long ago something was done, in words.
fn days_ago(app: &App, at: Timestamp) -> String {
    match days_since(app, at) {
        0 => "today".to_owned(),
        1 => "a day ago".to_owned(),
        days => format!("{days} days ago"),
    }
}

fn days_since(app: &App, at: Timestamp) -> i64 {
    (app.clock)().0.saturating_sub(at.0).max(0) / DAY_SECONDS
}

/// Since how many days something is so, in words.
fn since_days(app: &App, at: Timestamp) -> String {
    match days_since(app, at) {
        0 => "since today".to_owned(),
        1 => "for a day".to_owned(),
        days => format!("for {days} days"),
    }
}

/// A private text as a fact, where there is one that the role may see.
fn fact(app: &App, visit: &Visit, id: Uuid, member: &str, word: &'static str) -> Result<Facts, Problem> {
    let text = said(app, visit, id, member)?;
    Ok(text.map(|text| (word, html! { (text) })).into_iter().collect())
}

/// Pieces by series: its id, its code, how many.
pub fn by_series(book: &Book, wanted: impl Fn(&Piece) -> bool) -> Vec<(String, String, usize)> {
    let mut counts: BTreeMap<_, usize> = BTreeMap::new();
    for piece in book.pieces().filter(|piece| wanted(piece)) {
        let count = counts.entry(piece.series).or_default();
        *count = count.saturating_add(1);
    }
    let named = counts
        .into_iter()
        .filter_map(|(id, count)| Some((book.series(id)?, count)));
    let mut found: Vec<_> = named.collect();
    found.sort_by_key(|(series, _)| series.since);
    found
        .into_iter()
        .map(|(series, count)| (series.series.to_string(), series.code.to_string(), count))
        .collect()
}

/// The first pieces as lines, each with what may be done about it, and how many are left out.
fn lines_of(
    book: &Book,
    wanted: impl Fn(&Piece) -> bool,
    ways: impl Fn(&Piece) -> Vec<Way>,
) -> (Vec<Line>, usize) {
    let found = offered::sorted(book, book.pieces().filter(|piece| wanted(piece)));
    let (found, unshown) = shown(found);
    let line = |piece: &&Piece| Line {
        words: named::piece(piece),
        path: Some(format!("/pieces/{}", piece.piece)),
        more: offered::more_of(book, piece),
        ways: ways(piece),
    };
    (found.iter().map(line).collect(), unshown)
}

/// The first of some things, and how many are left out.
fn shown<T>(mut things: Vec<T>) -> (Vec<T>, usize) {
    let unshown = things.len().saturating_sub(SHOWN_MOST);
    things.truncate(SHOWN_MOST);
    (things, unshown)
}

/// A page of the office without what its visitor's role may not do: a link to a closed door tells nobody anything.
fn page(visit: &Visit, mut page: Office, here: &str) -> Leaf {
    open_to(visit, &mut page.ways);
    for section in &mut page.sections {
        open_to(visit, &mut section.ways);
        for line in &mut section.lines {
            open_to(visit, &mut line.ways);
        }
    }
    office::page(&page, here)
}

/// Leaves of some links those that the visitor's role may open.
fn open_to(visit: &Visit, ways: &mut Vec<Way>) {
    ways.retain(|way| may_open(visit.role(), &way.path));
}
