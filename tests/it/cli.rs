//! The program as its user meets it: what each command prints, the shape of its JSON, and its exit code.

mod audits;
mod backups;
mod calculators;
mod codes;
mod drills;
mod keys;
mod restoring;
mod tour;

use crate::log::served::run;
use serde_json::Value;
use std::path::Path;
use std::process::Output;
use tempfile::TempDir;

/// What a command came to.
pub struct Outcome {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Outcome {
    fn of(output: Output) -> Self {
        Self {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Ends with this code, says all of this, and nothing on the other stream that a script would stumble over. How far it
    /// is stands on standard error where it takes long.
    #[track_caller]
    pub fn ends(self, code: i32, says: &[&str]) -> Self {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        for text in says {
            assert!(
                self.out.contains(text) || self.err.contains(text),
                "no {text:?} in: {}{}",
                self.out,
                self.err
            );
        }
        let progress = |line: &str| line.contains(" entries, ") && line.contains(" a second, ");
        assert_eq!(
            self.err.lines().all(progress),
            code == 0 || !self.out.is_empty(),
            "{}{}",
            self.out,
            self.err
        );
        self
    }

    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|_| panic!("no JSON: {}{}", self.out, self.err))
    }

    /// The names of the members that it prints.
    #[track_caller]
    pub fn members(&self) -> Vec<String> {
        self.json().as_object().unwrap().keys().cloned().collect()
    }
}

/// Runs `pourbook` in a folder.
#[track_caller]
pub fn pourbook(arguments: &[&str]) -> Outcome {
    Outcome::of(run(arguments))
}

pub fn verify(arguments: &[&str]) -> Outcome {
    let program = env!("CARGO_BIN_EXE_pourbook-verify");
    Outcome::of(
        std::process::Command::new(program)
            .args(arguments)
            .output()
            .unwrap(),
    )
}

/// A folder for one test, with paths in it as text.
pub struct Desk(pub TempDir);

impl Desk {
    pub fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub fn at(&self, name: &str) -> String {
        self.0.path().join(name).to_str().unwrap().to_owned()
    }

    /// A demo book.
    pub fn demo(&self) -> String {
        let book = self.at("demo");
        pourbook(&["demo", &book]).ends(0, &["Made "]);
        book
    }

    /// An empty book.
    pub fn book(&self) -> String {
        let book = self.at("book");
        pourbook(&["init", &book, "--origin", "book.example/log", "--currency", "GBP"]).ends(0, &["Founded"]);
        book
    }
}

pub fn text(path: &str) -> String {
    std::fs::read_to_string(Path::new(path)).unwrap()
}
