//! The metal statement over HTTP, and each of its figures opened to the movements behind it.

use super::asked::Asked;
use super::figures::{answered, as_of};
use super::found::Found;
use super::lists::next_link;
use super::problem::Problem;
use super::{App, failed};
use crate::accounts::{Heading, Leg, Reckoning};
use crate::metal::Metal;
use serde_json::{Map, Value, json};

/// The words for metals.
pub(super) const METALS: [&str; 5] = ["silver", "gold", "platinum", "palladium", "copper"];

/// `GET /v1/statement`: every heading of one metal, or of all that ever came in.
///
/// # Errors
/// 400.
pub fn statement(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let metal = query.word("metal", &METALS)?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    answered(app, as_of, |reckoning| {
        let mut metals = Vec::new();
        for metal in asked_for(reckoning, metal) {
            let statement = reckoning.statement(metal).map_err(failed)?;
            metals.push(serde_json::to_value(statement).map_err(failed)?);
        }
        Ok(Map::from_iter([("metals".to_owned(), Value::Array(metals))]))
    })
}

/// The metal that was asked for, or all that ever came in.
pub(super) fn asked_for(reckoning: &Reckoning, metal: Option<Metal>) -> Vec<Metal> {
    metal.map_or_else(|| reckoning.metals(), |metal| vec![metal])
}

/// `GET /v1/statement/{metal}/{heading}`: the movements behind a figure, which is their sum.
///
/// # Errors
/// 400; 404 for a metal or a heading that there is not.
pub fn opened(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let limit = query.limit()?;
    let from = query
        .index("from", "how many movements to pass over")?
        .unwrap_or(0);
    let as_of = as_of(&mut query)?;
    query.finish()?;
    let metal = Metal::ALL
        .into_iter()
        .find(|metal| metal.word() == asked.member("metal"));
    let metal = metal.ok_or_else(|| Problem::not_found("there is no metal of that name"))?;
    let heading: Heading = asked
        .member("heading")
        .parse()
        .map_err(|()| Problem::not_found("a statement has no heading of that name"))?;
    let place = usize::try_from(from).map_err(failed)?;
    let mut next = None;
    let mut found = answered(app, as_of, |reckoning| {
        let postings = reckoning.postings();
        let amount = postings.amount(metal, heading);
        let amount = amount.ok_or_else(|| failed("a sum beyond what can be written"))?;
        let count = postings.count(metal, heading);
        let end = place.saturating_add(limit);
        next = (end < count).then_some(end);
        let legs = postings.under(metal, heading, place).take(limit);
        let items: Vec<Value> = legs.map(|leg| told(reckoning, heading, &leg)).collect();
        let mut body = Map::new();
        body.insert("metal".into(), json!(metal));
        body.insert("heading".into(), json!(heading));
        body.insert("mass".into(), json!(amount.mass));
        body.insert("fine".into(), json!(amount.fine));
        body.insert("movements".into(), json!(count));
        body.insert("items".into(), Value::Array(items));
        body.extend(next.map(|next| ("next".to_owned(), json!(next))));
        Ok(body)
    })?;
    found.link = next.map(|next| next_link(asked, "from", &next.to_string()));
    Ok(found)
}

/// One movement as it stands under a heading: the entry that tells of it, what moved, and where from or to.
fn told(reckoning: &Reckoning, heading: Heading, leg: &Leg<'_>) -> Value {
    let posting = leg.posting;
    let other = if posting.to == heading {
        posting.from
    } else {
        posting.to
    };
    let stamp = reckoning.stamp(posting.index);
    json!({
        "index": posting.index,
        "event": posting.event,
        "recorded": stamp.map(|stamp| stamp.at),
        "by": stamp.map(|stamp| stamp.by),
        "subject": posting.subject,
        "other": other,
        "mass": leg.amount.mass,
        "fine": leg.amount.fine,
    })
}
