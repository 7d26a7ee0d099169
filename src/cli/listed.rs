//! `show --list`: all things of one kind, in the order in which they were made.

use super::arguments::json;
use crate::domain::Book;
use crate::http::Said;
use crate::views::Tabled;
use clap::ValueEnum;
use uuid::Uuid;

/// What is listed.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum Kind {
    Lots,
    Scales,
    Sessions,
    Jars,
    Series,
    Melts,
    Pieces,
    Certificates,
    Dies,
    Consignments,
    Orders,
    Sales,
    Refinings,
    Owners,
    Spots,
    Quotes,
    Charges,
}

/// The rows as lines for people, or as JSON.
pub(super) fn list(book: &Book, kind: Kind, as_json: bool) -> String {
    match kind {
        Kind::Lots => rows(book.lots(), as_json),
        Kind::Scales => rows(book.scales(), as_json),
        Kind::Sessions => rows(book.sessions(), as_json),
        Kind::Jars => rows(book.jars(), as_json),
        Kind::Series => rows(book.all_series(), as_json),
        Kind::Melts => rows(book.melts(), as_json),
        Kind::Pieces => rows(book.pieces(), as_json),
        Kind::Certificates => rows(book.certificates(), as_json),
        Kind::Dies => rows(book.dies(), as_json),
        Kind::Consignments => rows(book.consignments(), as_json),
        Kind::Orders => rows(book.orders(), as_json),
        Kind::Sales => rows(book.sales(), as_json),
        Kind::Refinings => rows(book.refinings(), as_json),
        Kind::Owners => rows(book.owners(), as_json),
        Kind::Spots => rows(book.spots(), as_json),
        Kind::Quotes => rows(book.quotes(), as_json),
        Kind::Charges => rows(book.charges(), as_json),
    }
}

fn rows<'a, T: Tabled + Said + 'a>(rows: impl Iterator<Item = &'a T>, as_json: bool) -> String {
    let mut rows: Vec<&T> = rows.collect();
    // Of one entry the words decide: the book keeps no order within it.
    rows.sort_by_cached_key(|row| (row.since(), row.said(), row.id()));
    if as_json {
        return json(&rows);
    }
    let line = |row: &&T| -> String {
        let id: Uuid = row.id();
        format!("{id}  {}\n", row.said())
    };
    rows.iter().map(line).collect()
}
