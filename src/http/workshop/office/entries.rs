//! One entry of the book: what was recorded, by whom and when, what holds now, and how it is corrected.

use super::super::forms::corrections::{deeds, entry_of, said_now};
use super::super::names::{Names, money_words};
use super::super::{App, Seen, Visit, named};
use crate::domain::{EntryCorrected, Event, SessionId, Timestamp};
use crate::http::access::Role;
use crate::http::commands::event_json;
use crate::http::conditions::hyphenated;
use crate::http::problem::Problem;
use crate::http::{failed, private};
use crate::pages::workshop::office::{Facts, Office, Section, Way};
use crate::pages::workshop::{Markup, html};
use crate::record::Entry;
use crate::views::Table;
use rust_decimal::Decimal;
use serde_json::{Map, Value};
use uuid::Uuid;

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
    let names = Names::new(app, visit);
    let corrected = now != then;
    let mut recorded = Vec::new();
    for (place, event) in then.iter().enumerate() {
        let private = private::of_event(app, index, place, &entry, Some(visit.role()))?;
        recorded.push(told(&names, event, Some(&private), corrected)?);
    }
    let holds = now.iter().map(|event| told(&names, event, None, false));
    let holds = holds.collect::<Result<Vec<Markup>, Problem>>()?;
    leaf.main = html! {
        (leaf.main)
        @if corrected {
            h2 { "What holds now" }
            p .help { "The entry was corrected; what was first recorded stands below, struck through." }
            @if now.is_empty() { p .none { "It was withdrawn: it says nothing any more." } }
            @for event in &holds { (event) }
        }
        h2 { "As it was recorded" }
        @for event in &recorded { (event) }
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

/// What members are called where their name alone says little.
const WORDS: [(&str, &str); 6] = [
    ("basis", "fineness rests on"),
    ("d", "step it shows (d)"),
    ("e", "verification interval (e)"),
    ("kind_of", "kind"),
    ("max", "greatest load"),
    ("size", "entries in the log then"),
];

fn member_words(name: &str) -> String {
    let known = WORDS.iter().find(|(known, _)| *known == name);
    known.map_or_else(|| name.replace('_', " "), |(_, words)| (*words).to_owned())
}

/// One event: what kind it is, and its members with the names of things in place of their ids, the thing itself first.
fn told(
    names: &Names<'_>,
    event: &Event,
    private: Option<&Map<String, Value>>,
    struck: bool,
) -> Result<Markup, Problem> {
    let members = match event_json(event) {
        Value::Object(members) => members,
        _ => Map::new(),
    };
    let own = event.kind().split('.').next().unwrap_or_default();
    let mut shown = Vec::new();
    for (name, value) in &members {
        if ["kind", "v", "entries"].contains(&name.as_str()) || is_told_by(names, own, &members, name) {
            continue;
        }
        shown.push((name != own, member_words(name), words(names, name, value)?));
    }
    shown.sort_by_key(|(other, ..)| *other);
    let mut hidden = Vec::new();
    for (name, value) in private.into_iter().flatten() {
        hidden.push((
            format!("{}, private", member_words(name)),
            words(names, name, value)?,
        ));
    }
    Ok(html! {
        section .told {
            h3 { (named::kind_words(event.kind())) }
            dl .label {
                @for (_, name, words) in &shown {
                    div { dt { (name) } dd { @if struck { s { (words) } } @else { (words) } } }
                }
                @for (name, words) in &hidden { div { dt { (name) } dd { (words) } } }
            }
        }
    })
}

/// Whether a number is what the thing itself is called by anyway.
fn is_told_by(names: &Names<'_>, own: &str, members: &Map<String, Value>, name: &str) -> bool {
    let id = members.get(own).and_then(Value::as_str).and_then(hyphenated);
    let called = id
        .filter(|_| name == "number")
        .and_then(|id| named::of(names.app, id));
    called.is_some() && called == members.get(name).map(Value::to_string)
}

/// A member's value in words, with its unit; a thing leads to its page.
fn words(names: &Names<'_>, name: &str, value: &Value) -> Result<Markup, Problem> {
    Ok(match value {
        Value::String(text) => match hyphenated(text) {
            Some(id) => thing(names, id)?,
            None => html! { (text_words(name, text)) },
        },
        Value::Null => html! { "erased" },
        Value::Bool(true) => html! { "yes" },
        Value::Bool(false) => html! { "no" },
        Value::Number(number) => match (name, number.as_i64()) {
            ("priced_at" | "to", Some(at)) => {
                html! { (names.app.settings.workshop.zone.in_words(Timestamp(at))) }
            }
            _ => html! { (number) },
        },
        Value::Array(items) => {
            let each = items.iter().map(|item| words(names, name, item));
            let each = each.collect::<Result<Vec<Markup>, Problem>>()?;
            html! { @for (place, item) in each.iter().enumerate() { @if place > 0 { "; " } (item) } }
        }
        Value::Object(members) => match money_words(value) {
            Some(money) => html! { (money) },
            None => {
                let there = members
                    .iter()
                    .filter(|(_, value)| **value != Value::Array(Vec::new()));
                let each = there.map(|(name, value)| Ok((member_words(name), words(names, name, value)?)));
                let each = each.collect::<Result<Vec<(String, Markup)>, Problem>>()?;
                html! {
                    @for (place, (name, item)) in each.iter().enumerate() {
                        @if place > 0 { ", " }
                        (name) " " (item)
                    }
                }
            }
        },
    })
}

fn text_words(name: &str, text: &str) -> String {
    let unit = UNITS.iter().find(|(_, names)| names.contains(&name));
    match unit {
        Some((unit, _)) if text.parse::<Decimal>().is_ok() => format!("{text} {unit}"),
        // What a quotation was made from is kept for programs; its page says it in words.
        _ if name == "inputs" => "kept, and reckoned again on the page of the quotation".to_owned(),
        _ if text.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_') => text.replace('_', " "),
        _ => text.to_owned(),
    }
}

/// A thing as the workshop calls it, with its page where it has one.
fn thing(names: &Names<'_>, id: Uuid) -> Result<Markup, Problem> {
    let table = names.app.views.table_of(id).map_err(failed)?;
    let called = match table {
        Some(Table::Session) => {
            let begun = named::of(names.app, id).unwrap_or_default();
            Some(format!("{}, {begun}", names.scale_of(SessionId(id))?))
        }
        Some(Table::Scale | Table::Jar | Table::Die) => names.text_of(id, "label")?,
        Some(Table::Owner) => names.text_of(id, "name")?,
        _ => None,
    };
    let called = called
        .or_else(|| named::of(names.app, id))
        .unwrap_or_else(|| id.to_string());
    let page = table.and_then(|table| named::page_of(table, id));
    Ok(html! { @match page { Some(page) => a href=(page) { (called) }, None => (called) } })
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
