//! Every entry of the demo against the published schemas, by a JSON Schema validator that others wrote.

use super::{DemoBook, entries};
use base64::Engine as _;
use pourbook::domain::{Audience, Event};
use serde_json::Value;
use std::collections::BTreeMap;

fn api(name: &str) -> Value {
    let path = format!("{}/api/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_slice(&std::fs::read(&path).unwrap_or_else(|error| panic!("{path}: {error}"))).unwrap()
}

fn payload(entry: &[u8]) -> Value {
    let middle = entry.split(|byte| *byte == b'.').nth(1).unwrap();
    serde_json::from_slice(
        &base64::engine::general_purpose::URL_SAFE_NO_PAD
            .decode(middle)
            .unwrap(),
    )
    .unwrap()
}

#[test]
fn every_kind_has_a_schema_and_every_demo_entry_is_valid() {
    let demo = DemoBook::make();
    let mut registry = jsonschema::Registry::new();
    for kind in Event::KINDS {
        registry = registry
            .add(
                format!("urn:pourbook:event:{kind}:1"),
                api(&format!("events/{kind}.v1.json")),
            )
            .unwrap();
    }
    let registry = registry
        .add("urn:pourbook:told", api("told.schema.json"))
        .unwrap();
    let registry = registry.prepare().unwrap();
    let frame = jsonschema::options()
        .with_registry(&registry)
        .build(&api("entry.schema.json"))
        .unwrap();
    let schema = |kind: &&str| {
        (
            kind.to_string(),
            jsonschema::options()
                .with_registry(&registry)
                .build(&api(&format!("events/{kind}.v1.json")))
                .unwrap(),
        )
    };
    let events: BTreeMap<String, _> = Event::KINDS.iter().map(schema).collect();
    let mut seen = BTreeMap::<String, usize>::new();
    for (index, entry) in entries(&demo.reader()).iter().enumerate() {
        let payload = payload(entry);
        assert!(
            frame.is_valid(&payload),
            "entry {index}: {:?}",
            frame.iter_errors(&payload).next().map(|e| e.to_string())
        );
        for event in payload["events"].as_array().unwrap() {
            let kind = event["kind"].as_str().unwrap();
            let errors: Vec<String> = events[kind]
                .iter_errors(event)
                .map(|error| error.to_string())
                .collect();
            assert!(errors.is_empty(), "entry {index}, {kind}: {errors:?}");
            *seen.entry(kind.to_owned()).or_default() += 1;
        }
    }
    // The clock of an invented workshop needs no setting, nobody takes its keys or its tokens, and a server prints.
    let absent = [
        "certificate.printed",
        "clock.set",
        "key.revoked",
        "key.suspect",
        "operator.revoked",
    ];
    let missing: Vec<&&str> = Event::KINDS
        .iter()
        .filter(|kind| !seen.contains_key(**kind) && !absent.contains(kind))
        .collect();
    assert!(missing.is_empty(), "the demo shows none of {missing:?}");
}

#[test]
fn a_schema_refuses_an_unknown_member_and_a_number_for_a_mass() {
    let demo = DemoBook::make();
    let schema = jsonschema::validator_for(&api("events/piece.weighed.v1.json")).unwrap();
    let all = entries(&demo.reader());
    let mut payloads = all.iter().map(|entry| payload(entry));
    let events = payloads.find_map(|payload| {
        let events = payload["events"].as_array().unwrap().clone();
        events.into_iter().find(|event| event["kind"] == "piece.weighed")
    });
    let mut event = events.unwrap();
    assert!(schema.is_valid(&event));
    event["note"] = "free text".into();
    assert!(!schema.is_valid(&event), "private text must have no plain member");
    event.as_object_mut().unwrap().remove("note");
    event["mass"] = 50.4.into();
    assert!(!schema.is_valid(&event), "a mass is text");
}

#[test]
fn the_table_of_private_members_is_that_of_the_code() {
    let table = api("private.json");
    let kinds = table["kinds"].as_object().unwrap();
    assert_eq!(kinds.len(), Event::KINDS.len());
    for kind in Event::KINDS {
        assert_eq!(kinds[*kind]["slots"], Event::digest_slots(kind), "{kind}");
        let private = kinds[*kind]["private"].as_object().unwrap();
        let members = Event::private_members(kind);
        assert_eq!(private.len(), members.len(), "{kind}");
        let schema = api(&format!("events/{kind}.v1.json"));
        for member in members {
            let audience = match member.audience {
                Audience::Public => "public",
                Audience::Holder => "holder",
                Audience::Staff => "staff",
                Audience::Nobody => "nobody",
            };
            assert_eq!(private[member.name], audience, "{kind} {}", member.name);
            assert!(
                schema["properties"].get(member.name).is_none(),
                "{kind} {} stands in plain",
                member.name
            );
        }
    }
}
