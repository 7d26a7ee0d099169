//! The house rules that no compiler checks, read from the sources themselves.
//!
//! Floors (imports go downward only), an opening `//!` in every file, the length of files and functions, names, and the
//! two things that may be named in one place only: the view store and the file system. The reader below knows strings,
//! comments and braces, no more: it is no parser of Rust. Each rule is also fed a source that breaks it, so that a rule
//! that stopped seeing anything fails here.

mod dependencies;
mod measured;
mod reader;
mod rules;
mod scripts;

use rules::{FILE_SYSTEM, Source, faults};
use std::path::{Path, PathBuf};

fn sources(under: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for item in std::fs::read_dir(under).unwrap() {
        let path = item.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

fn read(path: &Path) -> Source {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let place = path
        .strip_prefix(root)
        .unwrap()
        .to_str()
        .unwrap()
        .replace('\\', "/");
    Source {
        place,
        text: std::fs::read_to_string(path).unwrap(),
    }
}

#[test]
fn every_source_keeps_the_house_rules() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let all: Vec<Source> = sources(&root).iter().map(|path| read(path)).collect();
    assert!(all.len() > 60, "only {} sources were found", all.len());
    let found: Vec<String> = all.iter().flat_map(faults).collect();
    assert!(found.is_empty(), "{} faults:\n{}", found.len(), found.join("\n"));
}

#[test]
fn every_test_file_says_why_it_exists() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let silent: Vec<String> = sources(&root)
        .iter()
        .map(|path| read(path))
        .filter(|source| !source.text.starts_with("//!"))
        .map(|source| source.place)
        .collect();
    assert!(silent.is_empty(), "no `//!` in {silent:?}");
}

#[test]
fn no_exception_stands_without_need() {
    for (place, _why) in FILE_SYSTEM {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(place);
        let source = read(&path);
        assert!(
            rules::names_file_system(&reader::code(&source.text)),
            "{place} no longer names std::fs: take it off the list"
        );
    }
}

/// Feeds one source and returns what was found in it.
fn check(place: &str, text: &str) -> Vec<String> {
    faults(&Source {
        place: place.to_owned(),
        text: text.to_owned(),
    })
}

#[track_caller]
fn caught(place: &str, text: &str, fault: &str) {
    let found = check(place, text);
    assert!(
        found.len() == 1 && found[0].contains(fault),
        "wanted `{fault}`, found {found:?}"
    );
}

#[track_caller]
fn clean(place: &str, text: &str) {
    assert_eq!(check(place, text), Vec::<String>::new());
}

#[test]
fn an_import_from_a_floor_above_is_caught() {
    caught(
        "src/metal/mass.rs",
        "//! x\nuse crate::domain::Book;\n",
        "names `domain`",
    );
    caught(
        "src/domain.rs",
        "//! x\nfn f() { crate::record::read(); }\n",
        "names `record`",
    );
    caught(
        "src/record/a.rs",
        "//! x\nuse crate::{domain::{self, Book}, proof::Hash, log::Store};\n",
        "names `log`",
    );
    caught(
        "src/log/a/b.rs",
        "//! x\nuse super::super::super::writer::Desk;\n",
        "names `writer`",
    );
    caught(
        "src/log/a.rs",
        "//! x\nuse super::super::{proof::Tree, check};\n",
        "names `check`",
    );
    caught(
        "src/views.rs",
        "//! x\npub(crate) use crate :: http :: App;\n",
        "names `http`",
    );
    clean(
        "src/domain/book.rs",
        "//! x\nuse crate::metal::{Mass, crate_of};\nuse super::event::Event;\n",
    );
    clean(
        "src/check.rs",
        "//! x\nuse crate::{proof::Hash, record, domain, metal};\nuse crate::check::a;\n",
    );
}

#[test]
fn modules_of_one_floor_do_not_know_each_other() {
    caught(
        "src/writer/turn.rs",
        "//! x\nuse crate::views::Views;\n",
        "names `views`",
    );
    caught(
        "src/metal.rs",
        "//! x\nuse crate::proof::Hash;\n",
        "names `proof`",
    );
    caught("src/log.rs", "//! x\nuse crate::check;\n", "names `check`");
}

#[test]
fn a_module_without_a_floor_is_caught() {
    caught("src/attic.rs", "//! x\n", "has no floor");
    caught("src/log/a.rs", "//! x\nuse crate::attic::Box;\n", "names `attic`");
    caught(
        "src/bin/pourbook.rs",
        "//! x\nuse pourbook::attic::Box;\n",
        "names `attic`",
    );
    clean(
        "src/bin/pourbook.rs",
        "//! x\nuse pourbook::cli;\nfn main() { pourbook::check::run() }\n",
    );
}

#[test]
fn what_only_tests_import_is_not_an_import() {
    clean(
        "src/metal.rs",
        "//! x\n#[cfg(test)]\nmod tests {\n    use crate::domain::Book;\n    fn get_it() {}\n}\n",
    );
    caught(
        "src/metal.rs",
        "//! x\n#[cfg(test)]\nmod tests { fn a() {} }\nuse crate::domain::Book;\n",
        "names `domain`",
    );
}

#[test]
fn words_in_comments_and_strings_are_not_imports() {
    clean(
        "src/metal.rs",
        "//! crate::domain\n// crate::http\n/* crate::log /* crate::cli */ sled::Db */\n",
    );
    clean(
        "src/metal.rs",
        "//! x\nconst A: &str = \"crate::http \\\" sled::Db\";\n",
    );
    clean(
        "src/metal.rs",
        "//! x\nconst A: &str = r#\"crate::http \" std::fs\"#;\n",
    );
    clean(
        "src/metal.rs",
        "//! x\nfn a<'x>(b: &'x str) -> char { '\"' }\nconst B: &str = \"std::fs\";\n",
    );
    caught(
        "src/metal.rs",
        "//! x\nfn a() -> [char; 3] { ['\"', '\\'', '{'] }\nuse crate::http::App;\n",
        "names `http`",
    );
}

#[test]
fn a_file_that_does_not_say_why_it_exists_is_caught() {
    caught("src/metal.rs", "use std::fmt;\n", "does not open with `//!`");
    caught("src/metal.rs", "// just a remark\n", "does not open with `//!`");
}

#[test]
fn a_long_file_is_caught_and_its_tests_do_not_count() {
    let lines = |count: usize| "const A: u8 = 1;\n".repeat(count);
    clean("src/metal.rs", &format!("//! x\n{}", lines(399)));
    caught("src/metal.rs", &format!("//! x\n{}", lines(400)), "401 lines");
    let tests = format!(
        "//! x\n{}#[cfg(test)]\nmod tests {{\n{}}}\n",
        lines(390),
        lines(300)
    );
    clean("src/metal.rs", &tests);
}

#[test]
fn a_long_function_is_caught() {
    let function = |body: usize| format!("//! x\nfn pour() {{\n{}}}\n", "    act();\n".repeat(body));
    clean("src/metal.rs", &function(60));
    caught("src/metal.rs", &function(61), "`pour` has 61 lines");
    let within = format!(
        "//! x\nimpl A {{\n    fn weigh(a: [u8; 2]) -> u8\n    where\n        A: B,\n    {{\n{}    }}\n}}\n",
        "        a();\n".repeat(61)
    );
    caught("src/metal.rs", &within, "`weigh` has 61 lines");
    let declared = format!(
        "//! x\nmacro_rules! table {{\n    () => {{\n fn long() {{\n{}}}\n    }};\n}}\n",
        "a();\n".repeat(80)
    );
    clean("src/metal.rs", &declared);
    let remarks = format!("//! x\nfn pour() {{\n{}}}\n", "    // why\n\n".repeat(61));
    clean("src/metal.rs", &remarks);
}

#[test]
fn names_that_say_nothing_are_caught() {
    caught("src/metal/utils.rs", "//! x\n", "`utils`");
    caught("src/log/file_helpers.rs", "//! x\n", "`helpers`");
    caught("src/log/common/a.rs", "//! x\n", "`common`");
    caught("src/metal/mod.rs", "//! x\n", "`mod.rs`");
    caught("src/metal.rs", "//! x\nfn get_mass() {}\n", "`get_mass`");
    caught(
        "src/metal.rs",
        "//! x\nimpl A { pub const fn lot_manager(&self) {} }\n",
        "`lot_manager`",
    );
    caught("src/metal.rs", "//! x\nfn service() {}\n", "`service`");
    clean(
        "src/metal.rs",
        "//! x\nfn target_mass() {}\nfn commonest() {}\nfn budget_() {}\n",
    );
}

#[test]
fn the_view_store_has_one_place() {
    caught(
        "src/http/lists.rs",
        "//! x\nfn a(db: &sled::Db) {}\n",
        "names sled",
    );
    caught("src/log.rs", "//! x\nuse sled as store;\n", "names sled");
    clean("src/views/rows.rs", "//! x\nuse sled::Tree;\n");
    clean("src/views.rs", "//! x\nuse sled::Db;\n");
    clean("src/log.rs", "//! x\nfn reassembled() {}\n");
}

#[test]
fn the_file_system_has_one_place() {
    caught("src/log/vault.rs", "//! x\nuse std::fs::File;\n", "names std::fs");
    caught("src/log/vault.rs", "//! x\nuse std::{io, fs};\n", "names std::fs");
    caught(
        "src/log/vault.rs",
        "//! x\nuse std::{fs::{self, File}, io};\n",
        "names std::fs",
    );
    caught(
        "src/log/vault.rs",
        "//! x\nuse std::{\n    io,\n    fs::File,\n};\n",
        "names std::fs",
    );
    clean(
        "src/log/vault.rs",
        "//! x\nuse std::{io::{self, fs_like}, fmt};\n",
    );
    clean("src/log/files.rs", "//! x\nuse std::fs::File;\n");
}

#[test]
fn work_left_undone_is_caught() {
    caught(
        "src/metal.rs",
        &["//! x\nfn a() { to", "do!() }\n"].concat(),
        "left undone",
    );
    caught(
        "src/metal.rs",
        &["//! x\n// FIX", "ME: later\n"].concat(),
        "left undone",
    );
}
