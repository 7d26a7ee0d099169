//! `openapi.yaml` against the table of routes: the same paths and methods, and every reference leads somewhere.

use pourbook::http::routes::ROUTES;
use serde_json::Value;
use std::collections::BTreeSet;

fn description() -> Value {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/openapi.yaml")).unwrap();
    serde_saphyr::from_str(&text).unwrap()
}

#[test]
fn router_and_description_have_the_same_routes() {
    let plain = |path: &str| path.replace(":.+}", "}");
    let registered: BTreeSet<(String, String)> = ROUTES
        .iter()
        .map(|route| (plain(route.path), route.method.to_lowercase()))
        .collect();
    let description = description();
    let mut described = BTreeSet::new();
    for (path, operations) in description["paths"].as_object().unwrap() {
        for method in operations.as_object().unwrap().keys() {
            described.insert((path.clone(), method.clone()));
        }
    }
    assert_eq!(registered, described);
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

#[test]
fn the_examples_are_of_their_schemas() {
    let description = description();
    for (name, schema) in description["components"]["schemas"].as_object().unwrap() {
        let Some(example) = schema.get("example") else {
            continue;
        };
        let mut alone = schema.clone();
        alone["components"] = description["components"].clone();
        let validator = jsonschema::validator_for(&alone).unwrap();
        assert!(validator.is_valid(example), "{name}");
    }
}
