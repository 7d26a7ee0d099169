//! The metal statement over HTTP.

use super::asked::Asked;
use super::figures::{answered, as_of};
use super::found::Found;
use super::problem::Problem;
use super::{App, failed};
use crate::accounts::{Reckoning, Statement};
use crate::metal::Metal;
use serde_json::{Map, Value};

/// The words for metals.
const METALS: [&str; 5] = ["silver", "gold", "platinum", "palladium", "copper"];

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
            let statement = reckoning.statement(metal);
            let statement: Statement =
                statement.ok_or_else(|| failed("a sum beyond what a mass can hold"))?;
            metals.push(serde_json::to_value(statement).map_err(failed)?);
        }
        Ok(Map::from_iter([("metals".to_owned(), Value::Array(metals))]))
    })
}

/// The metal that was asked for, or all that ever came in.
fn asked_for(reckoning: &Reckoning, metal: Option<Metal>) -> Vec<Metal> {
    let here = |metal: &Metal| reckoning.book().lots().any(|lot| lot.metal == *metal);
    metal.map_or_else(
        || Metal::ALL.into_iter().filter(here).collect(),
        |metal| vec![metal],
    )
}
