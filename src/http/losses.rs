//! Losses over HTTP: of melts, with what is usual, and of jars, the book against the scale.

use super::App;
use super::asked::Asked;
use super::figures::{Part, answered_in_parts, as_of, members};
use super::found::Found;
use super::metal_statement::metal_of;
use super::problem::Problem;
use crate::domain::JarId;
use serde_json::{Map, json};

/// `GET /v1/losses/{metal}`: the loss of every melt that is weighed out, and what is usual.
///
/// # Errors
/// 400; 404 for a metal that there is not.
pub fn losses(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let part = Part::of(&mut query, "how many melts to pass over")?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    let metal = metal_of(asked)?;
    answered_in_parts(app, asked, as_of, |reckoning| {
        let mut losses = reckoning.losses(metal);
        let items = std::mem::take(&mut losses.items);
        let mut body = members(&losses)?;
        let told = items.iter().skip(part.from).take(part.limit);
        part.put(&mut body, items.len(), told.map(|loss| json!(loss)));
        Ok(body)
    })
}

/// `GET /v1/jars/{jar}/emptyings`: what the book expected of a jar each time it was emptied, and what the scale showed.
///
/// # Errors
/// 400; 404 for a jar that is not known.
pub fn emptyings(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let part = Part::of(&mut query, "how many emptyings to pass over")?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    let jar = JarId(asked.id("jar")?);
    answered_in_parts(app, asked, as_of, |reckoning| {
        if reckoning.book().jar(jar).is_none() {
            return Err(Problem::not_found(format!("there is no jar {}", jar.0)));
        }
        let all = reckoning.emptyings(Some(jar));
        let mut body = Map::new();
        body.insert("emptyings".into(), json!(all.len()));
        let told = all.iter().skip(part.from).take(part.limit);
        part.put(&mut body, all.len(), told.map(|emptied| json!(emptied)));
        Ok(body)
    })
}
