//! What can be typed, and which command it runs.

use super::verify::{VerifyArguments, verify};
use super::{Failure, access, audit, changing, demo, looking, making};
use crate::log::{Files, RealFiles};
use clap::{CommandFactory, Parser, Subcommand};
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

/// The book of a workshop that pours precious metal by hand.
#[derive(Debug, Parser)]
#[command(name = "pourbook", version, arg_required_else_help = true)]
struct Program {
    #[command(subcommand)]
    command: Typed,
}

#[derive(Debug, Subcommand)]
enum Typed {
    /// Found a new book.
    Init(making::InitArguments),
    /// Serve a book over HTTP.
    Serve(making::ServeArguments),
    /// Make the book of an invented workshop, to look at.
    Demo(demo::DemoArguments),
    /// Show what a book holds, or one piece.
    Show(looking::ShowArguments),
    /// Write the proof file of a piece.
    Proof(looking::ProofArguments),
    /// Check a proof file offline.
    Verify(VerifyArguments),
    /// Check a whole log, entry by entry.
    Audit(audit::AuditArguments),
    /// Build the views anew from the log.
    Rebuild(making::RebuildArguments),
    /// Tokens of those who use the API.
    #[command(subcommand)]
    Token(access::TokenCommand),
    /// Erase a private member of an entry.
    Erase(changing::EraseArguments),
    /// Keys that sign.
    #[command(subcommand)]
    Key(changing::KeyCommand),
    /// Print completions for a shell.
    Completions {
        /// Which shell.
        shell: clap_complete::Shell,
    },
}

/// Runs what was typed.
#[must_use]
pub fn run() -> ExitCode {
    let program = Program::parse();
    let outcome = match program.command {
        Typed::Init(arguments) => making::init(&arguments),
        Typed::Serve(arguments) => making::serve(&arguments),
        Typed::Demo(arguments) => demo::demo(&arguments),
        Typed::Show(arguments) => looking::show(&arguments),
        Typed::Proof(arguments) => looking::proof(&arguments),
        Typed::Verify(arguments) => match verify(&arguments, &|path| RealFiles.read_whole(path)) {
            Ok((text, 0)) => Ok(text),
            Ok((text, code)) => {
                say(&text);
                return ExitCode::from(code);
            }
            Err(failure) => Err(failure),
        },
        Typed::Audit(arguments) => audit::audit(&arguments),
        Typed::Rebuild(arguments) => making::rebuild(&arguments),
        Typed::Token(command) => access::token(&command),
        Typed::Erase(arguments) => changing::erase(&arguments),
        Typed::Key(command) => changing::key(&command),
        Typed::Completions { shell } => Ok(completions(shell)),
    };
    match outcome {
        Ok(text) => {
            say(&text);
            ExitCode::SUCCESS
        }
        Err(Failure { code, message }) => {
            // Nothing more can be said when even this cannot be written.
            let _ = writeln!(std::io::stderr(), "pourbook: {message}");
            ExitCode::from(code)
        }
    }
}

fn completions(shell: clap_complete::Shell) -> String {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Program::command(), "pourbook", &mut text);
    String::from_utf8(text).unwrap_or_default()
}

fn say(text: &str) {
    if !text.is_empty() {
        // A reader that has gone away, like `head`, needs no more.
        let _ = writeln!(std::io::stdout(), "{}", text.trim_end_matches('\n'));
    }
}

/// A path that must hold a book.
pub(super) fn book_folder(path: &Path) -> crate::node::BookFolder {
    crate::node::BookFolder::at(path)
}

/// Pretty JSON of a value.
pub(super) fn json(value: &impl serde::Serialize) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default()
}
