//! From what was typed into a form to the members of a command, and from a JSON pointer back to the field.
//!
//! Nothing is decided here: text that does not fit goes into the body as it is, and the command's own reader refuses it. Only
//! what people write differently is put as programs write it: a comma for a point, spaces, the unit behind the figure, a time
//! of the workshop's own clock.

use crate::http::Settings;
use crate::http::json::segment;
use crate::metal::typed;
use crate::pages::workshop::{Field, Kind, Rows, Taken, Typed};
use serde_json::{Map, Value, json};

/// Where the command stands that a correction puts in the place of another.
const CORRECTED: &str = "/corrections/0/instead";

/// The members of a command that a form gave.
#[derive(Clone, Debug, Default)]
pub struct Members {
    /// The body.
    pub body: Map<String, Value>,
    /// Where each line of a table stands in the body, by JSON pointer, with what its fields' names begin with.
    places: Vec<(String, String)>,
}

impl Members {
    /// The name of the field that a JSON pointer is about.
    #[must_use]
    pub fn name_of(&self, pointer: &str) -> String {
        // A form of a correction has the members of the command that should have been given.
        let pointer = pointer.strip_prefix(CORRECTED).unwrap_or(pointer);
        for (place, name) in &self.places {
            match pointer.strip_prefix(place.as_str()) {
                Some("") => return name.clone(),
                Some(rest) if rest.starts_with('/') => return format!("{name}{rest}"),
                _ => {}
            }
        }
        pointer.trim_start_matches('/').to_owned()
    }
}

/// Reads what was typed.
#[must_use]
pub fn members(fields: &[Field], typed: &Typed, settings: &Settings) -> Members {
    let mut members = Members::default();
    for field in fields {
        match field.kind {
            Kind::Rows(rows) => table(&mut members, field, &rows, typed, settings),
            _ => {
                if let Some(value) = value(field, field.member, typed, settings) {
                    put(&mut members.body, field.member, value);
                }
            }
        }
    }
    members
}

/// Puts a value where a member stands, within others if need be.
fn put(body: &mut Map<String, Value>, member: &str, value: Value) {
    match member.split_once('/') {
        None => {
            body.insert(member.to_owned(), value);
        }
        Some((outer, inner)) => {
            let within = body.entry(outer).or_insert_with(|| Value::Object(Map::new()));
            if let Value::Object(within) = within {
                put(within, inner, value);
            }
        }
    }
}

/// The value of one field; nothing for one that was left empty, so that the command says what is missing.
fn value(field: &Field, name: &str, typed: &Typed, settings: &Settings) -> Option<Value> {
    let text = typed.text(name).trim();
    match field.kind {
        Kind::Tick => return Some(Value::Bool(!text.is_empty())),
        Kind::Fixed(word) => return Some(json!(word)),
        _ if text.is_empty() => return None,
        _ => {}
    }
    Some(match field.kind {
        Kind::Mass => json!(typed::digits(text).unwrap_or_else(|_| text.to_owned())),
        Kind::Decimal(unit) => json!(figure(text, unit)),
        Kind::Money => json!({"amount": figure(text, &settings.currency), "currency": settings.currency}),
        Kind::Whole => text
            .parse::<u64>()
            .map_or_else(|_| json!(text), |count| json!(count)),
        Kind::Moment => json!(settings.workshop.zone.moment(text)),
        _ => json!(text.replace("\r\n", "\n")),
    })
}

/// A figure as programs write it: without spaces and its unit, and with a point where somebody wrote one comma.
fn figure(text: &str, unit: &str) -> String {
    let text = text.strip_suffix(unit).unwrap_or(text);
    let mut figure: String = text.chars().filter(|letter| !letter.is_whitespace()).collect();
    // With a point beside it, or a second one, nobody can say what a comma means: the reader refuses it.
    if figure.matches(',').count() == 1 && !figure.contains('.') {
        figure = figure.replace(',', ".");
    }
    figure
}

fn table(members: &mut Members, field: &Field, rows: &Rows, typed: &Typed, settings: &Settings) {
    let ids: Vec<String> = match rows.taken {
        Taken::Blank(count) => (1..=count).map(|number| number.to_string()).collect(),
        Taken::Ticked | Taken::All | Taken::Filled => typed.all(field.member).map(str::to_owned).collect(),
    };
    let mut items = Vec::new();
    for id in ids {
        let start = format!("{}/{id}", field.member);
        let mut item = Map::new();
        for below in rows.fields {
            if let Some(value) = value(below, &format!("{start}/{}", below.member), typed, settings) {
                put(&mut item, below.member, value);
            }
        }
        if matches!(rows.taken, Taken::Blank(_) | Taken::Filled) && is_blank(rows, &item) {
            continue;
        }
        members.places.push((
            format!("{}/{}", pointer(field.member), items.len()),
            start.clone(),
        ));
        if rows.versioned {
            let version = typed.text(&format!("{start}/version")).parse::<u64>();
            item.extend(version.ok().map(|version| ("version".to_owned(), json!(version))));
        }
        match rows.id {
            Some(member) => {
                item.insert(member.to_owned(), json!(id));
                items.push(Value::Object(item));
            }
            None if rows.fields.is_empty() => items.push(json!(id)),
            None => items.push(Value::Object(item)),
        }
    }
    if field.required || !items.is_empty() {
        put(&mut members.body, field.member, Value::Array(items));
    }
}

/// Whether nothing was typed into a line: boxes and fixed words say something in every one.
fn is_blank(rows: &Rows, item: &Map<String, Value>) -> bool {
    let mut said = rows.fields.iter().filter(|field| match field.kind {
        Kind::Fixed(_) => false,
        Kind::Tick => item.get(field.member) == Some(&Value::Bool(true)),
        _ => item.contains_key(field.member.split('/').next().unwrap_or_default()),
    });
    said.next().is_none()
}

fn pointer(member: &str) -> String {
    member.split('/').map(segment).collect()
}
