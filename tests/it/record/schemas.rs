//! The schemas under `api/`: strict, agreed with the code, and without a place for anything private.

use super::golden::golden;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use pourbook::domain::{Audience, Event};
use pourbook::record::read;
use serde_json::{Map, Value, json};
use std::path::PathBuf;

/// Every pattern that a plain member may have, and what it admits.
const PATTERNS: [(&str, &str); 15] = [
    (
        "id",
        "^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$",
    ),
    ("mass", r"^(0|[1-9][0-9]{0,8})\.[0-9]{2}([0-9]{0,2}[1-9])?$"),
    ("reading", r"^(0|[1-9][0-9]{0,8})(\.[0-9]{1,5})?$"),
    (
        "difference of masses",
        r"^(-?[1-9][0-9]{0,8}\.[0-9]{2}([0-9]{0,2}[1-9])?|-?0\.([0-9]{2}[0-9]{0,2}[1-9]|[0-9][1-9]|[1-9]0)|0\.00)$",
    ),
    (
        "fineness",
        r"^(1000\.0|[1-9][0-9]{0,2}\.[0-9]([0-9]{0,2}[1-9])?|0\.[0-9]{0,3}[1-9])$",
    ),
    ("hash or key", "^[A-Za-z0-9_-]{42}[AEIMQUYcgkosw048]$"),
    ("hash of a photograph", "^[0-9a-f]{64}$"),
    ("serial", "^[A-HJKMNP-TV-Z]{2,4}-[0-9]{4,6}-[0-9]{2}$"),
    ("series code", "^[A-HJKMNP-TV-Z]{2,4}$"),
    ("shape", "^[a-z][a-z0-9_]{0,15}$"),
    ("temperature of water", r"^(40|[1-3]?[0-9](\.[0-9]?[1-9])?)$"),
    ("day", "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"),
    // Of a spot price, which is public knowledge; no other money stands in plain.
    ("amount", r"^(0|[1-9][0-9]{0,12})(\.[0-9]{1,8})?$"),
    ("currency", "^[A-Z]{3}$"),
    ("pour number", "^[1-9][0-9]{0,9}-[0-9]{2,5}$"),
];

fn api(name: &str) -> Value {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("api").join(name);
    serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap()
}

pub fn schema(kind: &str) -> Value {
    api(&format!("events/{kind}.v1.json"))
}

fn payload(entry: &str) -> Value {
    serde_json::from_slice(&URL_SAFE_NO_PAD.decode(entry.split('.').nth(1).unwrap()).unwrap()).unwrap()
}

/// A member is an enumeration, a number, a flag, a text with one of the patterns, or made of such.
fn check_member(place: &str, member: &Value) {
    let has = |name: &str| member.get(name).is_some();
    if has("enum") || has("const") {
        return;
    }
    if member["$ref"] == "urn:pourbook:told" {
        // What may stand there is held to the schemas of the kinds themselves, below.
        return;
    }
    if let Some(forms) = member["oneOf"].as_array() {
        return forms.iter().for_each(|form| check_member(place, form));
    }
    match member["type"].as_str() {
        Some("boolean") => {}
        Some("integer") => assert!(
            has("minimum") && has("maximum"),
            "{place} is a number without bounds"
        ),
        Some("string") => {
            let pattern = member["pattern"].as_str().unwrap_or_default();
            assert!(
                PATTERNS.iter().any(|(_, known)| *known == pattern),
                "{place} could hold free text: {pattern}"
            );
        }
        Some("array") => check_member(&format!("{place}[]"), &member["items"]),
        Some("object") => check_object(place, member),
        _ => panic!("{place} could hold anything"),
    }
}

fn check_object(place: &str, object: &Value) {
    assert_eq!(
        object["additionalProperties"],
        json!(false),
        "{place} admits members that it does not name"
    );
    for (name, member) in object["properties"].as_object().unwrap() {
        check_member(&format!("{place}.{name}"), member);
    }
}

#[test]
fn nothing_private_has_a_plain_place() {
    for kind in Event::KINDS {
        let schema = schema(kind);
        assert!(jsonschema::meta::is_valid(&schema), "{kind}");
        check_object(kind, &schema);
        for private in Event::private_members(kind) {
            assert_eq!(
                schema["properties"].get(private.name),
                None,
                "{kind} has {} in plain",
                private.name
            );
        }
        let slots = Event::digest_slots(kind);
        let sd = &schema["properties"]["_sd"];
        assert_eq!(sd.is_null(), slots == 0, "{kind}");
        if slots > 0 {
            assert_eq!(
                (&sd["minItems"], &sd["maxItems"]),
                (&json!(slots), &json!(slots)),
                "{kind}"
            );
            assert!(
                schema["required"].as_array().unwrap().contains(&json!("_sd")),
                "{kind}"
            );
        }
    }
}

/// What a correction says of an entry has the form of its kind, without digests; what no correction changes is not there.
#[test]
fn an_event_inside_a_correction_has_the_form_of_its_kind() {
    let once = [
        "key.added",
        "key.revoked",
        "key.suspect",
        "clock.set",
        "operator.revoked",
        "field.erased",
        "entry.corrected",
    ];
    let forms = Event::KINDS
        .iter()
        .filter(|kind| !once.contains(kind))
        .map(|kind| {
            let mut form = schema(kind);
            let members = form.as_object_mut().unwrap();
            members.remove("$schema");
            members.remove("$id");
            members["properties"].as_object_mut().unwrap().remove("_sd");
            members["required"]
                .as_array_mut()
                .unwrap()
                .retain(|member| member != "_sd");
            form
        });
    let told = api("told.schema.json");
    assert_eq!(told["oneOf"], Value::Array(forms.collect()));
}

#[test]
fn there_is_a_schema_per_kind_and_no_other() {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("api/events");
    let mut files: Vec<String> = std::fs::read_dir(path)
        .unwrap()
        .map(|file| file.unwrap().file_name().into_string().unwrap())
        .collect();
    let mut kinds: Vec<String> = Event::KINDS
        .iter()
        .map(|kind| format!("{kind}.v1.json"))
        .collect();
    files.sort();
    kinds.sort();
    assert_eq!(files, kinds);
}

#[test]
fn the_table_of_private_members_is_that_of_the_code() {
    let mut kinds = Map::new();
    for kind in Event::KINDS {
        let private: Map<String, Value> = Event::private_members(kind)
            .iter()
            .map(|member| {
                let audience = match member.audience {
                    Audience::Public => "public",
                    Audience::Holder => "holder",
                    Audience::Staff => "staff",
                    Audience::Nobody => "nobody",
                };
                (member.name.to_owned(), json!(audience))
            })
            .collect();
        kinds.insert(
            (*kind).to_owned(),
            json!({"slots": Event::digest_slots(kind), "private": private}),
        );
    }
    assert_eq!(api("private.json")["kinds"], Value::Object(kinds));
}

#[test]
fn golden_entries_fit_their_schemas() {
    let mut registry = jsonschema::Registry::new();
    for kind in Event::KINDS {
        registry = registry
            .add(format!("urn:pourbook:event:{kind}:1"), schema(kind))
            .unwrap();
    }
    let registry = registry
        .add("urn:pourbook:told", api("told.schema.json"))
        .unwrap();
    let registry = registry.prepare().unwrap();
    let whole = jsonschema::options()
        .with_registry(&registry)
        .build(&api("entry.schema.json"))
        .unwrap();
    for golden in golden() {
        let mut payload = payload(&golden.entry);
        whole
            .validate(&payload)
            .unwrap_or_else(|error| panic!("{}: {error}", golden.name));
        payload["events"][0]["note"] = json!("free text");
        assert!(
            !whole.is_valid(&payload),
            "{} takes an unknown member",
            golden.name
        );
    }
}

/// The reader and the schema refuse the same: a text where a mass stands, spelt in every way that is not its own.
#[test]
fn a_mass_has_one_spelling_for_reader_and_schema() {
    let validator = jsonschema::validator_for(&schema("jar.filled")).unwrap();
    let jar = golden()
        .into_iter()
        .find(|golden| golden.name == "jar.filled.v1")
        .unwrap();
    let mut event = payload(&jar.entry)["events"][0].take();
    assert!(validator.is_valid(&event) && read(jar.entry.as_bytes()).is_ok());
    for mass in [
        "1.2", "1,20", "01.20", "1.200", "1.20 g", "-1.20", "1e3", "", ".20", "1.234567", "note",
    ] {
        event["mass"] = json!(mass);
        assert!(!validator.is_valid(&event), "{mass}");
        let respelt = super::strict::respell(&jar.entry, |text| {
            text.replace(r#""mass":"1.20""#, &format!(r#""mass":"{mass}""#))
        });
        assert!(read(respelt.as_bytes()).is_err(), "{mass}");
    }
}
