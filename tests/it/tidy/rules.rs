//! The rules, each a function from a source to what is wrong with it.

use super::reader::{code, functions, paths, without, words};

/// A source and where it stands, from the package's folder.
pub struct Source {
    pub place: String,
    pub text: String,
}

/// The floors, lowest first.
const FLOORS: [&[&str]; 10] = [
    &["proof", "metal"],
    &["domain", "calculators"],
    &["record"],
    &["check", "log"],
    &["writer", "views", "accounts", "photographs"],
    &["pages", "print"],
    &["http"],
    &["node", "config"],
    &["cli"],
    &["lib", "bin"],
];

/// The files that may name `std::fs`, each with its reason.
pub const FILE_SYSTEM: [(&str, &str); 3] = [
    (
        "src/log/files.rs",
        "the one file layer, under which faults can be injected",
    ),
    (
        "src/bin/pourbook-verify.rs",
        "reads the two files that it is given, and no book",
    ),
    (
        "src/node/running.rs",
        "clears the folders of what is derived, which can be built again",
    ),
];

/// What a module may know on its own floor beside itself, each with its reason.
const NEIGHBOURS: [(&str, &str, &str); 1] = [("node", "config", "the node is started from the settings")];

/// Function names with an empty word in them that is a term here, each with its reason.
const TERMS: [(&str, &str); 3] = [
    ("greatest_common_divisor", "arithmetic calls it so"),
    ("over_common", "both fractions over one common denominator"),
    (
        "mpe_in_service",
        "OIML R 76 calls it so: maximum permissible error in service",
    ),
];

const LINES_MAX: usize = 400;
const FUNCTION_LINES_MAX: usize = 60;
const EMPTY_WORDS: [&str; 9] = [
    "util", "utils", "helper", "helpers", "common", "manager", "managers", "service", "services",
];

/// Everything that is wrong with a source.
pub fn faults(source: &Source) -> Vec<String> {
    let code = code(&source.text);
    let (code, test_lines) = without(&code, "#[cfg(test)]");
    let (plain, _) = without(&code, "macro_rules!");
    let mut found = Vec::new();
    found.extend(floors(&source.place, &code));
    found.extend(places(&source.place, &code));
    found.extend(file_name(&source.place));
    if !source.text.starts_with("//!") {
        found.push("does not open with `//!`".to_owned());
    }
    let lines = source.text.lines().count().saturating_sub(test_lines);
    if lines > LINES_MAX {
        found.push(format!("has {lines} lines, {LINES_MAX} at most"));
    }
    for (name, lines) in functions(&plain) {
        if lines > FUNCTION_LINES_MAX {
            found.push(format!(
                "`{name}` has {lines} lines, {FUNCTION_LINES_MAX} at most"
            ));
        }
    }
    for (name, _) in functions(&code) {
        if TERMS.iter().any(|(term, _)| *term == name) {
            continue;
        }
        if name.starts_with("get_") || name.split('_').any(|word| EMPTY_WORDS.contains(&word)) {
            found.push(format!("the function name `{name}` says nothing"));
        }
    }
    for mark in [["to", "do!"], ["unimplemented", "!"], ["FIX", "ME"], ["TO", "DO"]] {
        if source.text.contains(&mark.concat()) {
            found.push(format!("work is left undone: {}", mark.concat()));
        }
    }
    found
        .iter()
        .map(|fault| format!("{}: {fault}", source.place))
        .collect()
}

fn floor(module: &str) -> Option<usize> {
    FLOORS.iter().position(|modules| modules.contains(&module))
}

/// The module path of a file: `src/log/files.rs` is `log`, `files`.
fn module(place: &str) -> Vec<&str> {
    place
        .trim_start_matches("src/")
        .trim_end_matches(".rs")
        .split('/')
        .collect()
}

fn floors(place: &str, code: &str) -> Vec<String> {
    let own_path = module(place);
    let own = own_path[0];
    let Some(own_floor) = floor(own) else {
        return vec![format!("the module `{own}` has no floor")];
    };
    let mut found: Vec<String> = paths(code)
        .iter()
        .filter_map(|path| top_module(path, own_path.len()))
        .filter(|top| match floor(top) {
            Some(other) => *top != own && other >= own_floor && !is_neighbour(own, top),
            // `crate::Name` of a macro or a type at the root is no module; only names that begin small are.
            None => top.starts_with(char::is_lowercase),
        })
        .map(|top| format!("names `{top}`, which is not on a floor below `{own}`"))
        .collect();
    found.sort();
    found.dedup();
    found
}

fn is_neighbour(own: &str, other: &str) -> bool {
    NEIGHBOURS
        .iter()
        .any(|(module, beside, _)| *module == own && *beside == other)
}

/// The top module of ours that a path names: behind `crate`, behind `pourbook` (the binaries), or by climbing.
fn top_module(path: &[String], depth: usize) -> Option<&str> {
    let climbed = path.iter().take_while(|word| *word == "super").count();
    let at = match path.first().map(String::as_str) {
        Some("crate" | "pourbook") => 1,
        Some("super") if climbed >= depth => climbed,
        Some("self") => {
            let climbed = path.iter().skip(1).take_while(|word| *word == "super").count();
            (climbed >= depth).then_some(climbed + 1)?
        }
        _ => return None,
    };
    path.get(at).map(String::as_str)
}

fn places(place: &str, code: &str) -> Vec<String> {
    let mut found = Vec::new();
    let views = place == "src/views.rs" || place.starts_with("src/views/");
    if !views && words(code).any(|(_, word)| word == "sled") {
        found.push("names sled, which only the views may".to_owned());
    }
    if names_file_system(code) && !FILE_SYSTEM.iter().any(|(allowed, _)| *allowed == place) {
        found.push("names std::fs, which only the file layer may".to_owned());
    }
    found
}

/// Whether a code names the file system of the standard library.
pub fn names_file_system(code: &str) -> bool {
    paths(code).iter().any(|path| {
        path.first().is_some_and(|word| word == "std") && path.get(1).is_some_and(|word| word == "fs")
    })
}

fn file_name(place: &str) -> Vec<String> {
    let mut found = Vec::new();
    if place.ends_with("/mod.rs") {
        found.push("is a `mod.rs`: write `x.rs` and `x/`".to_owned());
    }
    for part in module(place) {
        let empty = part.split('_').find(|word| EMPTY_WORDS.contains(word));
        if let Some(word) = empty.or(part.starts_with("get_").then_some("get_")) {
            found.push(format!("the file name `{part}` says nothing: `{word}`"));
        }
    }
    found
}
