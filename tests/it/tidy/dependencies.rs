//! Every direct dependency has its reason: the table in DEVELOPERS.md and Cargo.toml name the same crates.

use std::collections::BTreeSet;
use std::path::Path;

fn text(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

/// The crates that a manifest names directly.
fn named(manifest: &str) -> BTreeSet<String> {
    let manifest: toml::Table = toml::from_str(manifest).unwrap();
    let tables = ["dependencies", "dev-dependencies", "build-dependencies"];
    let tables = tables.iter().filter_map(|name| manifest.get(*name)?.as_table());
    tables.flat_map(|table| table.keys().cloned()).collect()
}

/// The crates of the table, each with a reason of some words.
fn explained(page: &str) -> BTreeSet<String> {
    let from = page.find("\n## Dependencies\n").expect("the page has the table");
    let section = page[from + 1..].split("\n## ").next().unwrap();
    let mut crates = BTreeSet::new();
    for row in section.lines().filter(|line| line.starts_with("| `")) {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        assert!(cells.len() == 4 && cells[2].len() > 2, "{row}");
        for name in cells[1].split(',') {
            let name = name.trim().trim_matches('`').to_owned();
            assert!(crates.insert(name), "{row}: named twice");
        }
    }
    crates
}

#[test]
fn every_direct_dependency_has_its_reason() {
    let (named, explained) = (named(&text("Cargo.toml")), explained(&text("DEVELOPERS.md")));
    assert!(named.len() > 30, "{named:?}");
    let without: Vec<_> = named.difference(&explained).collect();
    assert!(without.is_empty(), "no reason in DEVELOPERS.md for {without:?}");
    let gone: Vec<_> = explained.difference(&named).collect();
    assert!(gone.is_empty(), "no longer in Cargo.toml: {gone:?}");
}

#[test]
fn unsafe_code_is_forbidden() {
    let manifest: toml::Table = toml::from_str(&text("Cargo.toml")).unwrap();
    assert_eq!(manifest["lints"]["rust"]["unsafe_code"].as_str(), Some("forbid"));
}
