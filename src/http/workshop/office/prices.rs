//! A quotation, reckoned again from what was kept with it; and what was charged for a thing.

use super::super::forms::prices::is_for;
use super::super::names::{Names, money_words};
use super::super::offered::of_now;
use super::super::{App, Seen, Visit, named};
use super::fact;
use crate::domain::{Charge, PieceState as S, QuoteId};
use crate::http::problem::Problem;
use crate::http::{private, quotes};
use crate::pages::workshop::html;
use crate::pages::workshop::office::{Line, Office, Section, Way};
use serde_json::{Map, Value};
use uuid::Uuid;

/// `GET /quotes/{quote}`.
///
/// # Errors
/// 404 for a quotation that is not there.
pub fn quote(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let id = QuoteId(visit.asked.id("quote")?);
    let found = of_now(app, |book| {
        let row = book.quote(id)?.clone();
        let spot = book.spot(row.spot)?.clone();
        let state = row
            .piece
            .and_then(|piece| book.piece(piece))
            .map(|piece| piece.state);
        Some((row, spot, state))
    })?;
    let (row, spot, state) = found.ok_or_else(|| Problem::not_found("there is no quotation with that id"))?;
    let zone = app.settings.workshop.zone;
    let shown = private::of_subject(app, id.0, Some(visit.role()))?;
    let again = quotes::recomputed(&shown);
    let mut facts = vec![match row.piece {
        Some(piece) => {
            let name = named::of(app, piece.0).unwrap_or_default();
            (
                "For",
                html! { "Piece " a href=(format!("/pieces/{piece}")) { (name) } },
            )
        }
        None => ("For", html! { (metal_words(&again, row.metal.word())) }),
    }];
    if visit.role().sees_private() {
        for (member, word) in [("net", "Net"), ("vat", "VAT"), ("gross", "Together")] {
            let words = shown.get(member).and_then(money_words);
            facts.extend(words.map(|words| (word, html! { strong { (words) } })));
        }
        facts.push(("Reckoned again", html! { (reckoned(&again)) }));
        let formula = again.get("formula").and_then(Value::as_str);
        facts.extend(formula.map(|formula| ("How", html! { (formula) })));
    }
    facts.push((
        "Rests on",
        html! { (spot.metal) " at " (spot.price) " a troy ounce, " (zone.in_words(spot.priced_at)) },
    ));
    facts.push((
        "Made",
        html! { (zone.in_words(row.at)) ", entry " a href=(format!("/entries/{}", row.since)) { (row.since) } },
    ));
    for (member, word) in [("buyer", "For whom"), ("note", "Note")] {
        facts.extend(fact(app, visit, id.0, member, word)?);
    }
    let sells = row
        .piece
        .filter(|_| matches!(state, Some(S::Certified | S::Reserved)));
    let sell = sells.map(|piece| Way::new("Sell it", format!("/sales/new?piece={piece}")));
    let page = Office {
        title: format!("Quotation {}", row.number),
        facts,
        ways: sell.into_iter().collect(),
        ..Office::default()
    };
    Ok(super::page(visit, page, "").into())
}

/// What the metal is that was quoted for, as far as it was kept.
fn metal_words(again: &Value, metal: &str) -> String {
    let price = again.pointer("/inputs/price");
    let part = |name: &str| price.and_then(|price| price.get(name)?.as_str());
    match (part("mass"), part("fineness")) {
        (Some(mass), Some(fineness)) => format!("{mass} g of {metal} {fineness} ‰"),
        (Some(mass), None) => format!("{mass} g of {metal}"),
        _ => metal.to_owned(),
    }
}

fn reckoned(again: &Value) -> String {
    let is = |name: &str| again.get(name).and_then(Value::as_bool) == Some(true);
    match (is("known"), is("equal")) {
        (true, true) => "From what was kept with it: the same.".to_owned(),
        (true, false) => "From what was kept with it: something else than was quoted.".to_owned(),
        (false, _) => {
            let why = again.get("why").and_then(Value::as_str).unwrap_or_default();
            format!("It cannot be: {why}.")
        }
    }
}

/// What was charged for a thing, for who may see money; and the form that records more.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn charged(app: &App, visit: &Visit, (member, id): (&str, Uuid)) -> Result<Section, Problem> {
    if !visit.role().sees_private() {
        return Ok(Section::default());
    }
    let mut charges: Vec<Charge> = of_now(app, |book| {
        let of_it = book.charges().filter(|charge| is_for(charge, id));
        of_it.cloned().collect()
    })?;
    charges.sort_by_key(|charge| charge.since);
    let names = Names::new(app, visit);
    let mut lines = Vec::new();
    for charge in &charges {
        let shown: Map<String, Value> = private::of_subject(app, charge.charge.0, Some(visit.role()))?;
        let amount = shown.get("amount").and_then(money_words);
        let document = names.text_of(charge.charge.0, "document")?;
        lines.push(Line {
            words: amount.unwrap_or_else(|| "erased".to_owned()),
            path: Some(format!("/entries/{}", charge.since)),
            more: document.unwrap_or_default(),
            ways: Vec::new(),
        });
    }
    Ok(Section {
        title: "What was charged for it".to_owned(),
        lines,
        none: "No bill is recorded: what its pieces cost is not known whole.",
        ways: vec![Way::new("Record a bill", format!("/charges/new?{member}={id}"))],
        ..Section::default()
    })
}
