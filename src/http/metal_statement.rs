//! The metal statement over HTTP, and each of its figures opened to the movements behind it.

use super::asked::Asked;
use super::figures::{Part, answered, answered_in_parts, as_of};
use super::found::Found;
use super::problem::Problem;
use super::{App, failed};
use crate::accounts::{Heading, Reckoning};
use crate::metal::Metal;
use serde_json::{Map, Value, json};

/// `GET /v1/statement`: every heading of one metal, or of all that ever came in.
///
/// # Errors
/// 400.
pub fn statement(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let metal = query.word("metal", &Metal::ALL.map(Metal::word))?;
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
fn asked_for(reckoning: &Reckoning, metal: Option<Metal>) -> Vec<Metal> {
    metal.map_or_else(|| reckoning.metals(), |metal| vec![metal])
}

/// `GET /v1/statement/{metal}/{heading}`: the movements behind a figure, which is their sum.
///
/// # Errors
/// 400; 404 for a metal or a heading that there is not.
pub fn opened(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let part = Part::of(&mut query, "how many movements to pass over")?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    let metal = metal_of(asked)?;
    let heading: Heading = asked
        .member("heading")
        .parse()
        .map_err(|()| Problem::not_found("a statement has no heading of that name"))?;
    answered_in_parts(app, asked, as_of, |reckoning| {
        let postings = reckoning.postings();
        let amount = postings.amount(metal, heading);
        let amount = amount.ok_or_else(|| failed("a sum beyond what can be written"))?;
        let count = postings.count(metal, heading);
        let mut body = Map::new();
        body.insert("metal".into(), json!(metal));
        body.insert("heading".into(), json!(heading));
        body.insert("mass".into(), json!(amount.mass));
        body.insert("fine".into(), json!(amount.fine));
        body.insert("movements".into(), json!(count));
        let movements = reckoning.opened(metal, heading, part.from).take(part.limit);
        part.put(&mut body, count, movements.map(|movement| json!(movement)));
        Ok(body)
    })
}

/// The metal in the path.
///
/// # Errors
/// 404.
pub(super) fn metal_of(asked: &Asked) -> Result<Metal, Problem> {
    let metal = asked.member("metal").parse();
    metal.map_err(|_| Problem::not_found("there is no metal of that name"))
}
