//! `openapi.yaml` against the table of routes, against its own examples, and against every reply that a test of the API gets.

mod coverage;
mod examples;
mod pages;
mod problems;
mod router;
pub mod steps;

use crate::http::Reply;
use jsonschema::Validator;
use pourbook::http::routes::{Deed, ROUTES, Who};
use serde_json::{Value, json};
use std::collections::{BTreeSet, HashMap};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

/// The description, read once.
static DESCRIPTION: LazyLock<Value> = LazyLock::new(description);
/// The description as the tests hold replies to it: an object has no member that it does not name.
static STRICT: LazyLock<Value> = LazyLock::new(|| {
    let mut strict = DESCRIPTION.clone();
    close(&mut strict);
    strict
});
/// Validators by the pointer of their schema.
static VALIDATORS: LazyLock<Mutex<HashMap<String, Arc<Validator>>>> = LazyLock::new(Mutex::default);

pub fn description() -> Value {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/openapi.yaml")).unwrap();
    serde_saphyr::from_str(&text).unwrap()
}

#[test]
fn every_reference_leads_somewhere_and_every_operation_has_a_name_of_its_own() {
    let description = description();
    let mut names = BTreeSet::new();
    for operations in description["paths"].as_object().unwrap().values() {
        for operation in operations.as_object().unwrap().values() {
            let name = operation["operationId"].as_str().unwrap();
            assert!(names.insert(name.to_owned()), "{name} is used twice");
        }
    }
    let mut waiting = vec![&description];
    while let Some(value) = waiting.pop() {
        match value {
            Value::Object(members) => {
                if let Some(Value::String(reference)) = members.get("$ref") {
                    let pointer = reference.strip_prefix('#').unwrap();
                    assert!(description.pointer(pointer).is_some(), "{reference}");
                }
                waiting.extend(members.values());
            }
            Value::Array(items) => waiting.extend(items),
            _ => {}
        }
    }
}

/// What may be said instead of what an entry says: every command of a route, but those whose entries no correction changes
/// and those that are nothing without their private members, which a correction leaves as they were.
#[test]
fn a_correction_is_described_with_every_command_that_it_may_give() {
    let never = [
        "GiveSerials",
        "NumberPieces",
        "IssueCertificates",
        "SupersedeCertificate",
        "PrintCertificates",
        "EraseField",
        "SetClock",
        "RevokeOperator",
        "CorrectEntries",
        "MakeQuote",
        "RecordCharge",
    ];
    let commands = ROUTES.iter().filter_map(|route| match route.deed {
        Deed::Command(command) => Some(command.name),
        Deed::AddPhotograph => Some("PhotographPiece"),
        _ => None,
    });
    let wanted: BTreeSet<String> = commands
        .filter(|name| !never.contains(name))
        .map(snake_case)
        .collect();
    let instead = &DESCRIPTION["components"]["schemas"]["Correction"]["properties"]["instead"];
    let described = instead["properties"]["command"]["enum"].as_array().unwrap();
    let described: BTreeSet<String> = described
        .iter()
        .map(|word| word.as_str().unwrap().into())
        .collect();
    assert_eq!(described, wanted);
}

fn snake_case(name: &str) -> String {
    let spelt = name.char_indices().flat_map(|(at, letter)| {
        let gap = (at > 0 && letter.is_uppercase()).then_some('_');
        gap.into_iter().chain(letter.to_lowercase())
    });
    spelt.collect()
}

/// Closes every schema with named members that does not say itself whether others may stand beside them.
fn close(value: &mut Value) {
    match value {
        Value::Object(members) => {
            members.values_mut().for_each(close);
            if members.contains_key("properties") && !members.contains_key("additionalProperties") {
                members.insert("additionalProperties".into(), json!(false));
            }
        }
        Value::Array(items) => items.iter_mut().for_each(close),
        _ => {}
    }
}

/// Follows a reference within the strict description; the pointer of what is meant.
fn follow(pointer: &str) -> String {
    let reference = STRICT.pointer(pointer).and_then(|value| value["$ref"].as_str());
    reference.map_or_else(
        || pointer.to_owned(),
        |reference| follow(reference.trim_start_matches('#')),
    )
}

fn validator(pointer: &str) -> Arc<Validator> {
    let mut kept = VALIDATORS.lock().unwrap_or_else(PoisonError::into_inner);
    let made = kept.entry(pointer.to_owned()).or_insert_with(|| {
        // A reference is a URI, which takes no braces (RFC 3986).
        let fragment = pointer.replace('{', "%7B").replace('}', "%7D");
        let schema = json!({
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "$ref": format!("#{fragment}"),
            "paths": STRICT["paths"],
            "components": STRICT["components"],
        });
        Arc::new(jsonschema::validator_for(&schema).unwrap())
    });
    Arc::clone(made)
}

fn segment(text: &str) -> String {
    text.replace('~', "~0").replace('/', "~1")
}

/// Whether an address is one of a route: a member takes one part, `{tile:.+}` all that is left.
fn fits(template: &str, path: &str) -> bool {
    let mut parts = path.split('/');
    for wanted in template.split('/') {
        let Some(part) = parts.next() else {
            return false;
        };
        if wanted.ends_with(":.+}") {
            return !part.is_empty();
        }
        if wanted != part && (!wanted.starts_with('{') || part.is_empty()) {
            return false;
        }
    }
    parts.next().is_none()
}

/// Holds a reply to the description: its status is named for its operation, its media type too, and its body fits.
#[track_caller]
pub fn hold(method: &str, path: &str, reply: &Reply) {
    let method = if method == "HEAD" { "GET" } else { method };
    if pages::is_one(path) {
        return pages::hold(method, path, reply);
    }
    let mut matching = ROUTES.iter().filter(|route| fits(route.path, path));
    let is_path = ROUTES.iter().any(|route| fits(route.path, path));
    let route = matching.find(|route| route.method == method);
    let template = route.map_or_else(|| path.to_owned(), |route| route.path.replace(":.+}", "}"));
    let responses = format!(
        "/paths/{}/{}/responses",
        segment(&template),
        method.to_lowercase()
    );
    let is_said = STRICT.pointer(&format!("{responses}/{}", reply.status)).is_some();
    // What stands at no address, what takes no such method, and what failed, is described once for all.
    let once = match (route, reply.status) {
        (None, 404) if !is_path => Some("NothingThere"),
        (None, 405) if is_path => Some("MethodNotAllowed"),
        (None, 204) if is_path && method == "OPTIONS" => Some("Preflight"),
        (Some(_), 500) => Some("Failed"),
        (Some(_), 503) if !is_said => Some("Unavailable"),
        _ => None,
    };
    let what = format!("{method} {template} {}", reply.status);
    let response = once.map_or_else(
        || follow(&format!("{responses}/{}", reply.status)),
        |once| format!("/components/responses/{once}"),
    );
    let described = STRICT.pointer(&response);
    let described = described.unwrap_or_else(|| panic!("{what} is not described: {}", reply.text()));
    for name in described["headers"]
        .as_object()
        .into_iter()
        .flat_map(|headers| headers.keys())
    {
        let Some(value) = reply.header(name) else {
            // A last page has no link, and a reply to a command about no row has no entity tag.
            assert!(["Link", "ETag"].contains(&name.as_str()), "{what} lacks {name}");
            continue;
        };
        let schema = format!("{}/schema", follow(&format!("{response}/headers/{name}")));
        assert!(
            validator(&schema).is_valid(&json!(value)),
            "{what}: {name} is {value:?}"
        );
    }
    guarded(&what, reply);
    let Some(contents) = described["content"].as_object() else {
        assert!(reply.body.is_empty(), "{what} has a body");
        return;
    };
    let media = reply.header("content-type").unwrap_or("");
    let media = media.split(';').next().unwrap_or("").trim();
    assert!(contents.contains_key(media), "{what} is {media:?}");
    if media.ends_with("json") && !reply.body.is_empty() {
        let schema = format!("{response}/content/{}/schema", segment(media));
        let body = reply.json();
        let faults: Vec<String> = validator(&schema)
            .iter_errors(&body)
            .map(|fault| format!("{}: {fault}", fault.instance_path()))
            .collect();
        assert!(faults.is_empty(), "{what}: {faults:#?}\n{body:#}");
    }
}

/// Every reply of the API, whatever it says, is what its media type says, runs nothing, is framed by nobody, and says how long
/// it may be kept: a problem, what a command came to and what is private not at all by others.
#[track_caller]
fn guarded(what: &str, reply: &Reply) {
    assert_eq!(reply.header("x-content-type-options"), Some("nosniff"), "{what}");
    let policy = reply.header("content-security-policy").unwrap_or_default();
    assert!(policy.contains("frame-ancestors 'none'"), "{what}: {policy:?}");
    let media = reply.header("content-type").unwrap_or_default();
    let is_closed = policy.starts_with("default-src 'none'");
    assert!(
        is_closed || media == "application/pdf",
        "{what}: {media}: {policy:?}"
    );
    let kept = reply.header("cache-control").unwrap_or_default();
    match reply.status {
        204 => {}
        400.. => assert_eq!(kept, "no-store", "{what}"),
        _ => assert!(!kept.is_empty(), "{what} does not say how long it may be kept"),
    }
    // What only some may read is kept by no cache that others share (RFC 9111, section 5.2.2.7), and differs by who asks.
    if reply.header("access-control-allow-origin").is_none() && reply.status < 400 && reply.status != 204 {
        assert!(
            kept.contains("no-store") || kept.contains("private"),
            "{what}: {kept}"
        );
        let vary = reply.header("vary").unwrap_or_default();
        assert!(
            vary.contains("authorization") && vary.contains("cookie"),
            "{what}: {vary}"
        );
    }
}

#[test]
fn each_operation_says_who_may_call_it_and_what_stands_in_its_path() {
    for route in ROUTES.iter().filter(|route| !route.is_page()) {
        let path = route.path.replace(":.+}", "}");
        let operation = &DESCRIPTION["paths"][&path][route.method.to_lowercase()];
        let what = format!("{} {path}", route.method);
        let says = operation["description"].as_str().unwrap();
        let open = json!([]);
        match route.who {
            Who::Roles(roles) => {
                let roles: Vec<Value> = roles.iter().map(|role| json!(role)).collect();
                let roles: Vec<&str> = roles.iter().map(|role| role.as_str().unwrap()).collect();
                let wanted = format!("Roles: {}.", roles.join(", "));
                assert!(says.starts_with(&wanted), "{what}: {says}");
                assert_eq!(operation["security"], json!([{"bearer": []}]), "{what}");
            }
            Who::Public => {
                assert!(says.starts_with("Everybody."), "{what}: {says}");
                assert_eq!(operation["security"], open, "{what}");
            }
            Who::Entries => assert!(says.starts_with("Everybody if"), "{what}: {says}"),
        }
        let in_path: BTreeSet<&str> = path
            .split('/')
            .filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'))
            .collect();
        let parameters = operation["parameters"].as_array();
        let described: BTreeSet<&str> = parameters
            .into_iter()
            .flatten()
            .filter(|parameter| parameter["in"] == "path" && parameter["required"] == true)
            .map(|parameter| parameter["name"].as_str().unwrap())
            .collect();
        assert_eq!(in_path, described, "{what}");
    }
}

#[test]
fn every_problem_is_described_as_a_problem() {
    let mut seen = 0;
    for (path, operations) in DESCRIPTION["paths"].as_object().unwrap() {
        for (method, operation) in operations.as_object().unwrap() {
            for status in operation["responses"].as_object().unwrap().keys() {
                if status.starts_with(['4', '5']) {
                    let operation = format!("/paths/{}/{method}", segment(path));
                    let response = follow(&format!("{operation}/responses/{status}"));
                    let media = STRICT.pointer(&response).unwrap()["content"].as_object().unwrap();
                    let media: Vec<&String> = media.keys().collect();
                    assert_eq!(media, ["application/problem+json"], "{method} {path} {status}");
                    seen += 1;
                }
            }
        }
    }
    assert!(seen > 200);
}

#[test]
fn every_command_has_an_example_that_its_reader_takes() {
    let mut taken = 0;
    for route in ROUTES {
        let Deed::Command(recording) = route.deed else {
            continue;
        };
        let mut body = DESCRIPTION["components"]["schemas"][recording.name]["example"].clone();
        assert!(body.is_object(), "{} has no example", recording.name);
        // What the path and the tray's versions give is put where the reader looks for it.
        if let Some(subject) = recording.subject {
            body[subject] = json!("5d0a2a0e-8f9c-4f6e-9a53-0b7a4c1d9e21");
        }
        if recording.tray {
            for item in body["items"].as_array_mut().unwrap() {
                assert!(item.as_object_mut().unwrap().remove("version").is_some());
            }
        }
        if let Err(misfit) = (recording.read)(&body) {
            panic!("{}: {misfit}", recording.name);
        }
        let at = &DESCRIPTION["components"]["schemas"][recording.name]["properties"]["at"];
        assert_eq!(
            at["$ref"], "#/components/schemas/DoneAt",
            "{} does not describe the member `at`, which every command has",
            recording.name
        );
        taken += 1;
    }
    assert!(taken >= 21);
}
