//! Where metal came from and where it went, what it cost, and what an assay makes one think, over HTTP.

use super::access::Role;
use super::asked::Asked;
use super::figures::{answered, as_of, members};
use super::found::Found;
use super::problem::Problem;
use super::query::Parameters;
use super::{App, failed, lists, private};
use crate::accounts::Reckoning;
use crate::accounts::costs::Prices;
use crate::accounts::recall::Source;
use crate::accounts::told::PieceCost;
use crate::domain::{LotId, MeltId, Piece, PieceId};
use crate::metal::{Fineness, Mass, Money};
use serde_json::{Map, Value, json};
use std::cell::Cell;

/// The piece in the path.
///
/// # Errors
/// 404 when it is not known at that position.
pub fn piece_of<'a>(reckoning: &'a Reckoning, asked: &Asked) -> Result<&'a Piece, Problem> {
    let id = asked.id("piece")?;
    let piece = reckoning.book().piece(PieceId(id));
    piece.ok_or_else(|| Problem::not_found(format!("there is no piece {id} at that position")))
}

/// `GET /v1/pieces/{piece}/shares`: of which lots it is.
///
/// # Errors
/// 404 for a piece that is not known at that position.
pub fn piece_shares(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    answered(app, as_of, |reckoning| {
        let piece = piece_of(reckoning, asked)?;
        let told = reckoning.shares_of_piece(piece);
        members(&told.ok_or_else(|| Problem::internal("the melt of a piece has no shares"))?)
    })
}

fn melt_of(reckoning: &Reckoning, asked: &Asked) -> Result<MeltId, Problem> {
    let id = MeltId(asked.id("melt")?);
    match reckoning.book().melt(id) {
        Some(_) => Ok(id),
        None => Err(Problem::not_found(format!(
            "there is no melt {id} at that position"
        ))),
    }
}

/// `GET /v1/melts/{melt}/shares`: of which lots its charge was.
///
/// # Errors
/// 404 for a melt that is not known at that position.
pub fn melt_shares(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    answered(app, as_of, |reckoning| {
        let melt = melt_of(reckoning, asked)?;
        let row = reckoning.book().melt(melt);
        let told = row.and_then(|row| reckoning.shares_of(melt, row.charge));
        let told = told.ok_or_else(|| Problem::internal("a melt has no shares"))?;
        let mut body = Map::new();
        body.insert("melt".into(), json!(melt));
        body.extend(row.map(|row| ("number".to_owned(), json!(row.number))));
        body.extend(members(&told)?);
        Ok(body)
    })
}

/// `GET /v1/lots/{lot}/recall`: everything that holds metal of it.
///
/// # Errors
/// 404 for a lot that is not known at that position.
pub fn lot_recall(app: &App, asked: &Asked) -> Result<Found, Problem> {
    recall(app, asked, |reckoning| {
        let id = asked.id("lot")?;
        let lot = reckoning.book().lot(LotId(id));
        let lot = lot.ok_or_else(|| Problem::not_found(format!("there is no lot {id} at that position")))?;
        let name = Map::from_iter([
            ("lot".to_owned(), json!(lot.lot)),
            ("number".to_owned(), json!(lot.number)),
        ]);
        Ok((Source::Lot(lot.lot), name))
    })
}

/// `GET /v1/melts/{melt}/recall`: everything that came from it.
///
/// # Errors
/// 404 for a melt that is not known at that position.
pub fn melt_recall(app: &App, asked: &Asked) -> Result<Found, Problem> {
    recall(app, asked, |reckoning| {
        let melt = melt_of(reckoning, asked)?;
        let row = reckoning.book().melt(melt);
        let mut name = Map::from_iter([("melt".to_owned(), json!(melt))]);
        name.extend(row.map(|row| ("number".to_owned(), json!(row.number))));
        Ok((Source::Melt(melt), name))
    })
}

/// A page of a recall. The next page is asked for as of the same position, so that nothing moves between them.
fn recall(
    app: &App,
    asked: &Asked,
    source: impl FnOnce(&Reckoning) -> Result<(Source, Map<String, Value>), Problem>,
) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    let limit = query.limit()?;
    let from = query.index("from", "how many come before the page")?.unwrap_or(0);
    let skipped = usize::try_from(from).map_err(failed)?;
    query.finish()?;
    let link = Cell::new(None);
    let mut found = answered(app, as_of, |reckoning| {
        let (source, mut body) = source(reckoning)?;
        let told = reckoning.recall(source);
        let told = told.ok_or_else(|| Problem::internal("what is looked for is not there"))?;
        let next = skipped.saturating_add(limit);
        if next < told.held.len() {
            let mut asked = asked.clone();
            asked.query = Parameters::with(&asked.query, "at", &reckoning.position().to_string());
            link.set(Some(lists::next_link(&asked, "from", &next.to_string())));
            body.insert("next".into(), json!(next));
        }
        body.insert("all".into(), json!(told.all));
        body.insert("untraced".into(), json!(told.untraced));
        body.insert("count".into(), json!(told.held.len()));
        let page: Vec<_> = told.held.iter().skip(skipped).take(limit).collect();
        body.insert("held".into(), json!(page));
        Ok(body)
    })?;
    found.link = link.take();
    Ok(found)
}

/// `GET /v1/pieces/{piece}/cost`: what its metal cost, by the prices of the lots in it.
///
/// # Errors
/// 404 for a piece that is not known at that position.
pub fn piece_cost(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    answered(app, as_of, |reckoning| {
        let piece = piece_of(reckoning, asked)?;
        let cost = PieceCost::of(reckoning, piece, |lots| prices(app, lots, asked.role()))?;
        let mut body = Map::new();
        body.insert("piece".into(), json!(piece.piece));
        body.insert("pour".into(), json!(piece.pour));
        body.insert("mass".into(), json!(piece.mass().unwrap_or(Mass::ZERO)));
        body.extend(members(&cost)?);
        Ok(body)
    })
}

/// What lots cost, as far as the vault knows: an erased price is none.
///
/// # Errors
/// 500 when the vault cannot be read.
pub fn prices(app: &App, lots: &[LotId], role: Option<Role>) -> Result<Prices, Problem> {
    let mut prices = Prices::new();
    for lot in lots {
        let mut private = private::of_subject(app, lot.0, role)?;
        let price = private.remove("price").filter(|price| !price.is_null());
        if let Some(price) = price {
            let price: Money = serde_json::from_value(price).map_err(failed)?;
            prices.insert(*lot, price);
        }
    }
    Ok(prices)
}

/// `GET /v1/lots/suspects`: which lots may be behind the assays that contradict what was declared.
///
/// # Errors
/// 400.
pub fn suspects(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    let stated: Option<Fineness> = query.parse(
        "assay_uncertainty",
        "parts per thousand above 0, at most four decimals",
    )?;
    query.finish()?;
    answered(app, as_of, |reckoning| {
        let told = json!(reckoning.suspects(stated));
        Ok(Map::from_iter([("metals".to_owned(), told)]))
    })
}
