//! Kinds of problems: each that code can make has its page, and each that has a page can be made.
//!
//! Nothing is listed here by hand: codes come from the code's own lists, and where each is made is read from the sources.

use crate::http::{ADDRESS, TestApp};
use pourbook::domain::Refusal;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn sources(under: &Path, found: &mut Vec<PathBuf>) {
    for item in std::fs::read_dir(under).unwrap() {
        let path = item.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
}

/// A source, and all others under a folder beside it.
fn source_and_rest(folder: &str, file: &str) -> (String, String) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let (mut own, mut rest) = (String::new(), String::new());
    let mut found = Vec::new();
    sources(&root.join(folder), &mut found);
    for path in found {
        let text = std::fs::read_to_string(&path).unwrap();
        if path == root.join(file) {
            own = text;
        } else {
            rest.push_str(&text);
        }
    }
    (own, rest)
}

/// `name "code" STATUS "title"` as the list of kinds in `problem.rs` has it: name and code.
fn kinds(source: &str) -> Vec<(String, String)> {
    let list = source
        .split_once("\nkinds! {")
        .unwrap()
        .1
        .split_once("\n}\n")
        .unwrap()
        .0;
    let rows = list.lines().filter_map(|line| {
        let (name, rest) = line.trim().split_once(" \"")?;
        let (code, _) = rest.split_once('"')?;
        (!name.is_empty()).then(|| (name.to_owned(), code.to_owned()))
    });
    rows.collect()
}

/// `"code" "message" => Variant` as the list of refusals has it: variant and code.
fn refusals(source: &str) -> Vec<(String, String)> {
    let list = source
        .split_once("\nrefusals! {")
        .unwrap()
        .1
        .split_once("\n}\n")
        .unwrap()
        .0;
    let rows = list.lines().filter_map(|line| {
        let (code, rest) = line.trim().strip_prefix('"')?.split_once('"')?;
        let variant = rest.rsplit_once("=> ")?.1;
        let end = variant.find([' ', ';', '{']).unwrap_or(variant.len());
        Some((variant[..end].to_owned(), code.to_owned()))
    });
    rows.collect()
}

/// Whether a source names a word, not only as a part of a longer one.
fn names(source: &str, word: &str) -> bool {
    let part = |letter: char| letter.is_alphanumeric() || letter == '_';
    source
        .match_indices(word)
        .any(|(at, _)| !source[..at].ends_with(part) && !source[at + word.len()..].starts_with(part))
}

#[test]
fn every_kind_of_problem_is_made_somewhere_and_none_twice() {
    let (own, rest) = source_and_rest("http", "http/problem.rs");
    let kinds = kinds(&own);
    let (refused, book) = source_and_rest("", "domain/refusal.rs");
    let refusals = refusals(&refused);
    let listed: Vec<&str> = pourbook::http::problem_codes().collect();
    let read: Vec<&str> = kinds
        .iter()
        .chain(&refusals)
        .map(|(_, code)| code.as_str())
        .collect();
    assert_eq!(
        listed, read,
        "the lists were not read from the sources as the compiler reads them"
    );
    assert_eq!(
        listed.iter().collect::<BTreeSet<_>>().len(),
        listed.len(),
        "a code stands twice"
    );
    let top = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/src/http.rs")).unwrap();
    let idle: Vec<&str> = kinds
        .iter()
        .filter(|(name, _)| {
            let made = format!("Problem::{name}(");
            !rest.contains(&made) && !top.contains(&made)
        })
        .chain(refusals.iter().filter(|(variant, _)| !names(&book, variant)))
        .map(|(_, code)| code.as_str())
        .collect();
    assert!(idle.is_empty(), "nothing makes these: {idle:?}");
    for code in impossible(&own) {
        assert!(Refusal::CODES.contains(&code.as_str()), "{code} is no refusal");
    }
}

/// The codes of refusals that are answered with 422.
fn impossible(source: &str) -> Vec<String> {
    let list = source.split_once("const IMPOSSIBLE: &[&str] = &[").unwrap().1;
    let list = list.split_once(']').unwrap().0;
    list.split('"').skip(1).step_by(2).map(str::to_owned).collect()
}

#[actix_web::test]
async fn every_kind_has_its_own_page_and_nothing_else_has_one() {
    let app = TestApp::start().await;
    let mut pages = BTreeSet::new();
    for code in pourbook::http::problem_codes() {
        let page = app.get(&format!("/problems/{code}")).await.expect(200);
        assert_eq!(page.header("content-type"), Some("text/html; charset=utf-8"));
        let text = page.text();
        assert!(text.contains(&format!("<code>{code}</code>")), "{code}");
        assert!(pages.insert(text), "{code} has the page of another");
        for near in [format!("{code}x"), code.to_uppercase(), format!("%20{code}")] {
            app.get(&format!("/problems/{near}")).await.expect(404);
        }
    }
    assert!(pages.len() > Refusal::CODES.len() + 20);
    // What a refusal says stands on its page, as a form.
    for (code, message) in Refusal::MESSAGES {
        let page = app.get(&format!("/problems/{code}")).await.text();
        let shown = message
            .replace('&', "&amp;")
            .replace('<', "&lt;")
            .replace('>', "&gt;");
        assert!(page.contains(&shown), "{code}: {page}");
    }
    let reply = app.get("/problems/nonsense").await.expect(404);
    assert_eq!(reply.json()["type"], format!("{ADDRESS}/problems/not-found"));
}
