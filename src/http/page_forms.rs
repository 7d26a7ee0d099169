//! The two forms of a piece's page: what a buyer measured, and the code of a certificate. Each is answered with a page.

use super::asked::Asked;
use super::bodies::{self, Sender};
use super::found::Found;
use super::pages::HTML;
use super::problem::Problem;
use super::public_record::serial_of;
use super::query::Parameters;
use super::{App, codes, comparisons};
use crate::accounts::{GravityObserved, Observed, WeightObserved};
use crate::pages::{self, Answered, CodeAnswer, Filled, Shown};
use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use actix_web::web::Payload;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::net::IpAddr;

/// What a browser sends of a form.
pub const MEDIA: &str = "application/x-www-form-urlencoded";
/// The fields of the form, each with the members of an observation that it stands for.
const FIELDS: &[(&str, &str)] = &[
    ("mass", "/weight/mass"),
    ("step", "/weight/step"),
    ("method", "/gravity/method"),
    ("in_air", "/gravity/in_air"),
    ("in_water", "/gravity/in_water"),
    ("water", "/gravity/water"),
    ("water_step", "/gravity/step"),
    ("magnet", "/magnet"),
    ("ring", "/ring"),
];
/// How many characters a field takes.
const FIELD_MAX: usize = 40;

/// A page with its status: what was typed wrong is answered with the form, and what is wrong with it.
pub type Answer = (StatusCode, Found);

/// The fields of a form that was sent.
///
/// # Errors
/// As a command's body; 400 for what is no form, or names a field twice.
pub async fn fields(app: &App, request: &HttpRequest, payload: Payload) -> Result<Parameters, Problem> {
    let sent = bodies::body(app, request, payload, MEDIA, Sender::Stranger).await?;
    let text = std::str::from_utf8(&sent).map_err(|_| Problem::unreadable("the form is not UTF-8"))?;
    Parameters::read(text)
}

fn page(status: StatusCode, html: String) -> Answer {
    (status, Found::bytes(HTML, html, "no-store").posted())
}

/// Answers what a buyer measured.
///
/// # Errors
/// As [`comparisons::told`], but for what was typed wrong: that is answered with the form.
pub fn comparison(app: &App, asked: &Asked, mut fields: Parameters) -> Result<Answer, Problem> {
    let (serial, _) = serial_of(asked)?;
    let mut filled = Filled::default();
    for (name, _) in FIELDS {
        let text: String = fields
            .take(name)
            .unwrap_or_default()
            .trim()
            .chars()
            .take(FIELD_MAX)
            .collect();
        filled.typed.insert((*name).to_owned(), text);
    }
    let outcome = observed(&filled).and_then(|observed| {
        comparisons::told(app, asked, &observed).map_err(|problem| match problem.errors.first() {
            Some((why, pointer)) if problem.code == "invalid" => Wrong::Typed(field_of(pointer), why.clone()),
            _ => Wrong::Problem(problem),
        })
    });
    let told = match outcome {
        Ok(told) => Some(told),
        Err(Wrong::Problem(problem)) => return Err(problem),
        Err(Wrong::Typed(field, why)) => {
            filled.fault = Some((field, why));
            None
        }
    };
    let html = pages::compared(&Answered {
        serial: told.as_ref().map_or(&serial, |told| &told.serial),
        state: told.as_ref().map(|told| told.state),
        position: told.as_ref().map(|told| told.position),
        compared: told.as_ref().map(|told| &told.compared),
        filled: &filled,
        origin: &app.settings.origin,
    });
    let status = told.map_or(StatusCode::UNPROCESSABLE_ENTITY, |_| StatusCode::OK);
    Ok(page(status, html))
}

/// What is wrong with a form.
enum Wrong {
    /// A field, and why.
    Typed(String, String),
    Problem(Problem),
}

fn field_of(pointer: &str) -> String {
    let field = FIELDS.iter().find(|(_, known)| *known == pointer);
    field.map_or_else(String::new, |(name, _)| (*name).to_owned())
}

/// What the fields say was measured. A part counts as measured when its first field is filled.
fn observed(filled: &Filled) -> Result<Observed, Wrong> {
    let given = |name: &str| filled.typed.get(name).is_some_and(|text| !text.is_empty());
    let mut observed = Observed::default();
    if given("mass") {
        observed.weight = Some(WeightObserved {
            mass: typed(filled, "mass")?,
            step: typed(filled, "step")?,
        });
    }
    if given("method") {
        observed.gravity = Some(GravityObserved {
            method: typed(filled, "method")?,
            in_air: typed(filled, "in_air")?,
            in_water: typed(filled, "in_water")?,
            water: typed(filled, "water")?,
            step: typed(filled, "water_step")?,
        });
    } else if let Some(name) = ["in_air", "in_water", "water"]
        .into_iter()
        .find(|name| given(name))
    {
        let why = format!(
            "say how it was weighed in water, or leave {} empty",
            name.replace('_', " ")
        );
        return Err(Wrong::Typed("method".to_owned(), why));
    }
    if given("magnet") {
        observed.magnet = Some(typed(filled, "magnet")?);
    }
    if given("ring") {
        observed.ring = Some(typed(filled, "ring")?);
    }
    Ok(observed)
}

/// What a field says; people write a decimal comma as well.
fn typed<T: DeserializeOwned>(filled: &Filled, name: &str) -> Result<T, Wrong> {
    let text = filled.typed.get(name).map_or("", String::as_str);
    let wrong = |why: String| Wrong::Typed(name.to_owned(), why);
    if text.is_empty() {
        return Err(wrong("is needed here".to_owned()));
    }
    serde_json::from_value(Value::String(text.replace(',', "."))).map_err(|error| wrong(error.to_string()))
}

/// Answers whether a code belongs to the record.
///
/// # Errors
/// As [`codes::told`], but for what is no code: that is answered with the form.
pub fn code(
    app: &App,
    asked: &Asked,
    peer: Option<IpAddr>,
    mut fields: Parameters,
) -> Result<Answer, Problem> {
    let typed = fields.take("code").unwrap_or_default();
    let (serial, _) = serial_of(asked)?;
    let told = match codes::told(app, asked, peer, &typed) {
        Ok(told) => told,
        Err(problem) if ["code-form", "code-slip"].contains(&problem.code) => {
            let html = pages::code(&CodeAnswer {
                serial: &serial,
                belongs: None,
                words: &format!("What you typed is no code: {}.", problem.detail),
                issue: None,
                issued: None,
                superseded: false,
                holder: &[],
                origin: &app.settings.origin,
            });
            return Ok(page(problem.status, html));
        }
        Err(problem) => return Err(problem),
    };
    let holder: Vec<Shown> = told.holder.iter().filter_map(shown).collect();
    let html = pages::code(&CodeAnswer {
        serial: &told.serial,
        belongs: Some(told.belongs),
        words: &told.words,
        issue: told.issue,
        issued: told.issued,
        superseded: told.superseded_by.is_some(),
        holder: &holder,
        origin: &app.settings.origin,
    });
    Ok(page(StatusCode::OK, html))
}

fn shown(told: &Value) -> Option<Shown> {
    Some(Shown {
        member: told.get("member")?.as_str()?.to_owned(),
        value: told.get("value")?.as_str()?.to_owned(),
    })
}
