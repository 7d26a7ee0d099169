//! One entry of the book: what was recorded, by whom and when, what holds now, and how it is corrected.

use super::super::forms::corrections::{deeds, entry_of, said_now};
use super::super::{App, Seen, Visit, named};
use crate::domain::{EntryCorrected, Event};
use crate::http::access::Role;
use crate::http::commands::event_json;
use crate::http::private;
use crate::http::problem::Problem;
use crate::pages::workshop::office::{Facts, Office, Section, Way};
use crate::pages::workshop::{Markup, html};
use crate::record::Entry;
use rust_decimal::Decimal;
use serde_json::{Map, Value};

/// `GET /entries/{entry}`.
///
/// # Errors
/// 404 for an entry that is not there.
pub fn entry(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let (index, entry) = entry_of(app, visit)?;
    let now = said_now(app, index, &entry)?;
    let then: Vec<Event> = entry.events().cloned().collect();
    let page = Office {
        title: format!("Entry {index}"),
        facts: facts(app, &entry),
        ways: ways(visit, index, &entry, &now),
        sections: Vec::<Section>::new(),
        ..Office::default()
    };
    let mut leaf = super::page(visit, page, "");
    let mut private = Vec::new();
    for place in 0..then.len() {
        private.push(private::of_event(app, index, place, &entry, Some(visit.role()))?);
    }
    let corrected = now != then;
    leaf.main = html! {
        (leaf.main)
        @if corrected {
            h2 { "What holds now" }
            p .help { "The entry was corrected; what was first recorded stands below, struck through." }
            @if now.is_empty() { p .none { "It was withdrawn: it says nothing any more." } }
            @for event in &now { (told(app, event, None, false)) }
        }
        h2 { "As it was recorded" }
        @for (event, private) in then.iter().zip(&private) { (told(app, event, Some(private), corrected)) }
        p .fine { "This is entry " (index) " of the log, as it stands there for ever. Its leaf hash is "
            code .hash { @if let Some(leaf) = app.leaf(index) { (leaf.to_base64url()) } } "." }
    };
    Ok(leaf.into())
}

fn facts(app: &App, entry: &Entry) -> Facts {
    let zone = app.settings.workshop.zone;
    let who = app.access.name_of(entry.payload.by);
    let mut facts = vec![
        ("Recorded", html! { (zone.in_words(entry.payload.iat)) }),
        (
            "By",
            html! { (who.unwrap_or_else(|| "somebody whose name is not kept".to_owned())) },
        ),
    ];
    if let Some(at) = entry.payload.at {
        facts.push((
            "Done",
            html! { (zone.in_words(at)) ", by the word of who recorded it" },
        ));
    }
    for event in entry.events() {
        if let Event::EntryCorrected(corrected) = event {
            facts.push(("Corrects", corrects(corrected)));
        }
    }
    facts
}

fn corrects(corrected: &EntryCorrected) -> Markup {
    html! {
        @for entry in &corrected.entries {
            a href=(format!("/entries/{}", entry.index)) { "entry " (entry.index) }
            @if !entry.asked { " (which follows)" }
            " "
        }
        "as " (corrected.reason.word().replace('_', " "))
    }
}

fn ways(visit: &Visit, index: u64, entry: &Entry, now: &[Event]) -> Vec<Way> {
    let mut ways = Vec::new();
    if visit.role() != Role::Office {
        return ways;
    }
    if entry
        .events()
        .any(|event| matches!(event, Event::CertificatePrinted(_)))
    {
        ways.push(Way::new("The PDF", format!("/prints/{index}")));
    }
    for (place, form) in deeds(entry) {
        let withdrawn = now.is_empty() && place == "withdrawal";
        if !withdrawn {
            ways.push(Way::new(form.sheet.title, format!("/entries/{index}/{place}")));
        }
    }
    ways
}

/// What members are measured in, wherever they stand. A name may mean something else in another kind, so a unit is printed
/// beside numbers only.
const UNITS: [(&str, &[&str]); 3] = [
    (
        "g",
        &[
            "at_least",
            "before",
            "charge",
            "d",
            "difference",
            "e",
            "exempt_below",
            "expected",
            "filed",
            "guard",
            "heel",
            "in_air",
            "in_water",
            "invoiced",
            "loss",
            "lower",
            "mass",
            "max",
            "nominal",
            "reading",
            "repeatability",
            "returned",
            "sent",
            "uncertainty",
            "upper",
            "variance",
        ],
    ),
    ("\u{2030}", &["assay", "fineness"]),
    ("\u{b0}C", &["water"]),
];

/// One event: what kind it is, and its members with the names of things in place of their ids.
fn told(app: &App, event: &Event, private: Option<&Map<String, Value>>, struck: bool) -> Markup {
    let members = match event_json(event) {
        Value::Object(members) => members,
        _ => Map::new(),
    };
    let kind = event.kind().replace(['.', '_'], " ");
    let shown = members
        .iter()
        .filter(|(name, _)| !["kind", "v", "entries"].contains(&name.as_str()));
    let shown: Vec<(String, String)> = shown
        .map(|(name, value)| (name.replace('_', " "), value_words(app, name, value)))
        .collect();
    let private: Vec<(String, String)> = private
        .into_iter()
        .flatten()
        .map(|(name, value)| {
            (
                format!("{}, private", name.replace('_', " ")),
                value_words(app, name, value),
            )
        })
        .collect();
    html! {
        section .told {
            h3 { (kind) }
            dl .label {
                @for (name, words) in &shown {
                    div { dt { (name) } dd { @if struck { s { (words) } } @else { (words) } } }
                }
                @for (name, words) in &private { div { dt { (name) } dd { (words) } } }
            }
        }
    }
}

/// A member's value in words, with its unit.
fn value_words(app: &App, name: &str, value: &Value) -> String {
    match value {
        Value::String(text) => match UNITS.iter().find(|(_, names)| names.contains(&name)) {
            Some((unit, _)) if text.parse::<Decimal>().is_ok() => format!("{text} {unit}"),
            _ => named::in_words(app, text),
        },
        Value::Null => "erased".to_owned(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::Number(number) => number.to_string(),
        Value::Array(items) => {
            let words: Vec<String> = items.iter().map(|item| value_words(app, name, item)).collect();
            words.join("; ")
        }
        Value::Object(members) => {
            let words = members.iter().map(|(name, value)| {
                let words = value_words(app, name, value);
                format!("{} {words}", name.replace('_', " "))
            });
            words.collect::<Vec<String>>().join(", ")
        }
    }
}

#[cfg(test)]
#[expect(clippy::disallowed_methods, reason = "the schemas stand beside the code")]
mod tests {
    use super::UNITS;
    use serde_json::Value;
    use std::path::Path;

    /// Each name in a schema whose text has the form of a mass.
    fn masses(name: &str, schema: &Value, found: &mut Vec<String>) {
        let pattern = schema["pattern"].as_str().unwrap_or_default();
        if pattern.starts_with("^(0|[1-9][0-9]{0,8})") || pattern.starts_with("^(-?[1-9][0-9]{0,8}") {
            found.push(name.to_owned());
        }
        masses_of(schema, found);
        if !schema["items"].is_null() {
            masses(name, &schema["items"], found);
        }
    }

    fn masses_of(schema: &Value, found: &mut Vec<String>) {
        for (name, schema) in schema["properties"].as_object().into_iter().flatten() {
            masses(name, schema, found);
        }
    }

    #[test]
    fn every_mass_of_every_kind_of_event_has_its_unit() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("api/events");
        let mut found = Vec::new();
        for file in std::fs::read_dir(folder).unwrap() {
            let text = std::fs::read(file.unwrap().path()).unwrap();
            masses_of(&serde_json::from_slice(&text).unwrap(), &mut found);
        }
        assert!(found.len() > 30, "{found:?}");
        let grams = UNITS[0].1;
        found.retain(|name| !grams.contains(&name.as_str()));
        assert_eq!(found, Vec::<String>::new());
    }
}
