//! The examples of the description, and the members of events that it takes from `api/events`.

use super::{DESCRIPTION, STRICT, follow, segment, validator};
use pourbook::domain::Event;
use serde_json::{Map, Value, json};
use std::fmt::Write as _;

const FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/openapi.yaml");
const BEGIN: &str =
    "    # What follows is made from api/events by `BLESS=1 cargo test --test it contract::examples`.\n";
const END: &str = "    # Here it ends.\n";

/// Every object of the description with its pointer.
fn objects(pointer: &str, value: &'static Value, each: &mut dyn FnMut(&str, &'static Map<String, Value>)) {
    match value {
        Value::Object(members) => {
            each(pointer, members);
            for (name, member) in members {
                if name != "example" {
                    objects(&format!("{pointer}/{}", segment(name)), member, each);
                }
            }
        }
        Value::Array(items) => {
            for (at, item) in items.iter().enumerate() {
                objects(&format!("{pointer}/{at}"), item, each);
            }
        }
        _ => {}
    }
}

#[test]
fn every_example_is_of_its_schema_wherever_it_stands() {
    let mut held = 0;
    let mut wrong = Vec::new();
    objects("", &STRICT, &mut |pointer, object| {
        let Some(example) = object.get("example") else {
            return;
        };
        // A member of an object may be called so itself.
        if pointer.ends_with("/properties") {
            return;
        }
        let schema = match object.contains_key("schema") {
            true => format!("{pointer}/schema"),
            false => pointer.to_owned(),
        };
        held += 1;
        if !validator(&schema).is_valid(example) {
            wrong.push(format!("{pointer}: {example}"));
        }
    });
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(held > 50, "only {held} examples were found");
}

#[test]
fn every_parameter_header_and_body_shows_an_example() {
    let mut seen = 0;
    let mut silent = Vec::new();
    objects("", &STRICT, &mut |pointer, object| {
        let is_header = pointer.rsplit('/').nth(1) == Some("headers") && !object.contains_key("$ref");
        let is_parameter = object.contains_key("in") && object.contains_key("schema");
        let is_body = pointer.contains("/requestBody/content/") && pointer.matches('/').count() == 6;
        if !is_header && !is_parameter && !is_body {
            return;
        }
        seen += 1;
        let schema = STRICT.pointer(&follow(&format!("{pointer}/schema"))).unwrap();
        let shown = object.contains_key("example")
            || ["example", "enum", "const"]
                .iter()
                .any(|name| schema.get(name).is_some());
        if !shown {
            silent.push(pointer.to_owned());
        }
    });
    assert!(silent.is_empty(), "these have no example: {silent:#?}");
    assert!(seen > 60, "only {seen} were found");
}

/// The schema of one kind as a reply shows it: without the digests, with private members where it has any.
fn shown(kind: &str) -> Value {
    let mut schema = crate::record::schemas::schema(kind);
    let members = schema.as_object_mut().unwrap();
    members.remove("$schema");
    members.remove("$id");
    let properties = members["properties"].as_object_mut().unwrap();
    if properties.remove("_sd").is_some() {
        properties.insert("private".into(), json!({"$ref": "#/components/schemas/Private"}));
    }
    members["required"]
        .as_array_mut()
        .unwrap()
        .retain(|name| name != "_sd");
    // What a correction says of an entry is shown as any event is, which has no digests either.
    let text = schema
        .to_string()
        .replace("urn:pourbook:told", "#/components/schemas/Event");
    serde_json::from_str(&text).unwrap()
}

/// The part of the description that is made from `api/events`: `Event`, and one schema per kind.
fn events() -> String {
    let refer = |kind: &str| format!("#/components/schemas/{kind}");
    let forms: Vec<Value> = Event::KINDS
        .iter()
        .map(|kind| json!({"$ref": refer(kind)}))
        .collect();
    let mapping: Map<String, Value> = Event::KINDS
        .iter()
        .map(|kind| ((*kind).to_owned(), json!(refer(kind))))
        .collect();
    let event = json!({
        "description": "An event, without its digests.",
        "discriminator": {"propertyName": "kind", "mapping": mapping},
        "oneOf": forms,
    });
    let mut text = format!("    Event: {event}\n");
    for kind in Event::KINDS {
        writeln!(text, "    {kind}: {}", shown(kind)).unwrap();
    }
    text
}

#[test]
fn each_kind_of_event_is_described_as_its_schema_has_it() {
    let text = std::fs::read_to_string(FILE).unwrap();
    let (before, rest) = text
        .split_once(BEGIN)
        .expect("openapi.yaml has lost the line that begins the events");
    let (found, after) = rest
        .split_once(END)
        .expect("openapi.yaml has lost the line that ends the events");
    let wanted = events();
    if std::env::var_os("BLESS").is_some() {
        std::fs::write(FILE, [before, BEGIN, &wanted, END, after].concat()).unwrap();
        return;
    }
    for (found, wanted) in found.lines().zip(wanted.lines()) {
        assert_eq!(
            found, wanted,
            "api/events says otherwise; BLESS=1 writes it into openapi.yaml"
        );
    }
    assert_eq!(
        found.lines().count(),
        wanted.lines().count(),
        "BLESS=1 writes the events anew"
    );
    // And as YAML readers have it.
    for kind in Event::KINDS {
        assert_eq!(DESCRIPTION["components"]["schemas"][kind], shown(kind), "{kind}");
    }
}

#[test]
fn what_is_no_event_is_not_taken_for_one() {
    let event = validator("/components/schemas/Event");
    let whole = json!({"kind": "clock.set", "v": 1, "to": 1_790_000_000});
    assert!(event.is_valid(&whole), "{:?}", event.iter_errors(&whole).count());
    for bad in [
        json!({"kind": "clock.set", "v": 2, "to": 1}),
        json!({"kind": "clock.set", "v": 1, "to": 1, "private": {}}),
        json!({"kind": "clock.set", "v": 1, "to": 1, "seller": "x"}),
        json!({"kind": "clock.set", "v": 1}),
        json!({"kind": "clock.unset", "v": 1, "to": 1}),
        json!({"kind": "piece.weighed", "v": 1}),
    ] {
        assert!(!event.is_valid(&bad), "{bad}");
    }
}
