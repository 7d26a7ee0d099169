//! The forms, each a row of data: which command it gives, its fields, what the book offers in it, and where it leads.

pub mod consignments;
pub mod corrections;
pub mod fates;
pub mod lots;
pub mod numbers;
pub mod orders;
pub mod prices;
pub mod refinings;
pub mod sales;
pub mod series;
pub mod setup;
pub mod steps;
pub mod stocktakes;
mod words;

use super::offered::{self, of_now};
use super::{App, Visit, named};
use crate::domain::PieceId;
use crate::http::problem::Problem;
use crate::pages::workshop::{Offer, html};
use crate::writer::Recorded;

/// Leads to the page that everybody comes to.
#[must_use]
pub fn to_home(_: &App, _: &Visit, _: &Recorded) -> String {
    super::HOME.to_owned()
}

/// Leads to the page of the piece that the path names.
#[must_use]
pub fn to_piece(_: &App, visit: &Visit, _: &Recorded) -> String {
    format!("/pieces/{}", visit.asked.member("piece"))
}

/// Leads to the page of the entry that was recorded.
#[must_use]
pub fn to_entry(_: &App, _: &Visit, recorded: &Recorded) -> String {
    format!("/entries/{}", recorded.index)
}

/// What a form about one piece begins with: which piece it is.
///
/// # Errors
/// 404 for a piece that is not there.
pub fn of_piece(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let id = PieceId(visit.asked.id("piece")?);
    let words = of_now(app, |book| {
        let piece = book.piece(id)?;
        Some((named::piece(piece), offered::more_of(book, piece)))
    })?;
    let (name, more) = words.ok_or_else(|| Problem::not_found("there is no piece with that id"))?;
    Ok(Offer {
        about: Some(html! { p .about { strong { (name) } ", " (more) "." } }),
        ..Offer::default()
    })
}
