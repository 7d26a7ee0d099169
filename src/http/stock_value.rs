//! What the stock is worth, over HTTP.

use super::asked::Asked;
use super::figures::{answered, as_of, members};
use super::found::Found;
use super::problem::Problem;
use super::{App, failed, private, traced};
use crate::accounts::margin::{self, Margin};
use crate::accounts::stock::Stock;
use crate::domain::{Book, ChargeId, Event, Piece};
use crate::metal::{Money, Percent};
use serde_json::Value;

/// `GET /v1/stock-value`: at cost, at spot and for the insurer.
///
/// # Errors
/// 400.
pub fn stock_value(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    let making: Option<Percent> = query.parse("making_percent", "per cent from 0 to 100000")?;
    query.finish()?;
    let making = making.unwrap_or_default();
    if making < Percent::ZERO {
        return Err(Problem::unreadable(
            "the query parameter \"making_percent\" must be per cent from 0 to 100000",
        ));
    }
    answered(app, as_of, |reckoning| {
        let stock = Stock::of(reckoning, making, |lots| traced::prices(app, lots, asked.role()))?;
        members(&stock)
    })
}

/// `GET /v1/pieces/{piece}/margin`: what a piece cost, part by part, and what is left of its price.
///
/// # Errors
/// 404 for a piece that is not known at that position.
pub fn piece_margin(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    answered(app, as_of, |reckoning| {
        let piece = traced::piece_of(reckoning, asked)?;
        let charge = |charge: ChargeId| -> Result<Option<Money>, Problem> {
            money(private::of_subject(app, charge.0, asked.role())?.remove("amount"))
        };
        let sold = |piece: &Piece| sold_for(app, asked, piece, reckoning.book());
        let private = margin::Private {
            prices: &|lots| traced::prices(app, lots, asked.role()),
            charge: &charge,
            sold: &sold,
        };
        members(&Margin::of(reckoning, piece, &private)?)
    })
}

fn money(told: Option<Value>) -> Result<Option<Money>, Problem> {
    let told = told.filter(|told| !told.is_null());
    told.map(serde_json::from_value).transpose().map_err(failed)
}

/// The price in the entry of a piece's sale.
fn sold_for(app: &App, asked: &Asked, piece: &Piece, book: &Book) -> Result<Option<Money>, Problem> {
    let Some(sale) = piece.sale.and_then(|sale| book.sale(sale)) else {
        return Ok(None);
    };
    let entry = app.entry(sale.since)?;
    let is_of = |event: &Event| matches!(event, Event::PieceSold(e) if e.piece == piece.piece);
    let found = entry.events().position(is_of);
    let Some(place) = found else {
        return Ok(None);
    };
    let mut told = private::of_event(app, sale.since, place, &entry, asked.role())?;
    money(told.remove("price"))
}
