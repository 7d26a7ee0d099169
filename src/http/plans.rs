//! How many of each shape of a series are still to be poured, over HTTP.

use super::asked::Asked;
use super::figures::{answered, as_of};
use super::found::Found;
use super::problem::Problem;
use super::{App, failed};
use crate::accounts::PlanAsked;
use crate::domain::SeriesId;
use serde_json::{Map, json};

/// `GET /v1/series/{series}/plan`: the record of each shape, and the plan that follows from it.
///
/// # Errors
/// 404 without such a series, 400 for a parameter that cannot be read, 422 for a plan that cannot be made.
pub fn plan(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let series = SeriesId(asked.id("series")?);
    let mut query = asked.parameters()?;
    let wanted = PlanAsked {
        confidence: query.parse("confidence", "a probability between 0 and 1, like 0.95")?,
        prior: query.parse("prior", "a beta distribution like 1:1")?,
        cavities: query.parse("cavities", "how many cavities one melt pours")?,
        melts: query.parse("melts", "a number of melts")?,
    };
    let as_of = as_of(&mut query)?;
    query.finish()?;
    answered(app, as_of, |reckoning| {
        let plan = reckoning.plan(series, wanted);
        let plan = plan.ok_or_else(|| Problem::not_found("there is no series with that id"))?;
        let answer = plan
            .answer()
            .map_err(|impossible| Problem::invalid(format!("the plan cannot be made: {impossible}")))?;
        let mut body = Map::new();
        body.insert("series".into(), json!(series));
        body.insert("code".into(), json!(plan.code));
        body.insert(
            "shapes".into(),
            serde_json::to_value(&plan.shapes).map_err(failed)?,
        );
        body.extend(answer.map(|answer| ("plan".to_owned(), answer.to_json())));
        Ok(body)
    })
}
