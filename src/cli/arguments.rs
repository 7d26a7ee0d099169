//! What can be typed, and which command it runs.

use super::verify::{VerifyArguments, verify};
use super::{
    Failure, access, audit, backup, demo, doubts, erase, keys, looking, losses, making, plan, reckon, routes,
    statement, stock, traced, trusting,
};
use crate::calculators::{self, Bar, Blend, Comparison, Conformity, Convert, Gravity, Price, Raise, Vat};
use crate::log::{Files, RealFiles};
use crate::node::BookFolder;
use clap::{CommandFactory, Parser, Subcommand};
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

/// The book of a workshop that pours precious metal by hand.
#[derive(Debug, Parser)]
#[command(
    name = "pourbook",
    version,
    arg_required_else_help = true,
    after_help = "Examples:
  pourbook demo ./demo-book && pourbook serve ./demo-book --links
  pourbook init ./book --origin book.example/log --currency GBP

Exit code of every command: 0 done, or it holds; 1 it does not hold, or the book refuses; 2 it cannot be read or used.
Errors stand on standard error. --json prints one value on standard output; each command's help says its members."
)]
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
    /// Show the root certificate that the book made itself, for tablets to trust.
    Tls(trusting::TlsArguments),
    /// Make the book of an invented workshop, to look at.
    Demo(demo::DemoArguments),
    /// Show what a book holds, or one piece.
    Show(looking::ShowArguments),
    /// Tell of which lots a piece is, through heels, remelts, jars and the refiner.
    Shares(traced::SharesArguments),
    /// Tell everything that holds metal of a lot, or came from a melt.
    Recall(traced::RecallArguments),
    /// Tell which lots may be behind an assay that contradicts what was declared.
    Suspects(traced::SuspectsArguments),
    /// Write the proof file of a piece.
    Proof(looking::ProofArguments),
    /// Check a proof file offline.
    Verify(VerifyArguments),
    /// Check a whole log, entry by entry.
    Audit(audit::AuditArguments),
    /// Copy a book to another disk, beside a running server, and only what is new.
    Backup(backup::BackupArguments),
    /// Make a book of a backup.
    Restore(backup::RestoreArguments),
    /// What failed checks of scales put in doubt.
    Doubts(doubts::DoubtsArguments),
    /// Build the views anew from the log.
    Rebuild(making::RebuildArguments),
    /// Show where every gram is, heading by heading.
    Statement(statement::StatementArguments),
    /// Show what melts lost and jars were short of, and what is usual.
    Losses(losses::LossesArguments),
    /// Show who may call what: every route, every role.
    #[command(after_help = routes::HELP)]
    Routes,
    /// Tokens of those who use the API.
    #[command(subcommand, after_help = access::TOKEN_EXAMPLES)]
    Token(access::TokenCommand),
    /// What the stock is worth: at cost, at spot, for the insurer.
    Stock(stock::StockArguments),
    /// Note spot prices, typed or from a file.
    Spot(stock::SpotArguments),
    /// Erase a private member of an entry.
    Erase(erase::EraseArguments),
    /// Keys that sign.
    #[command(subcommand, after_help = keys::KEY_EXAMPLES)]
    Key(keys::KeyCommand),
    /// Calculate the density of a piece weighed in air and in water, and what it says.
    #[command(after_help = calculators::GRAVITY_HELP, allow_negative_numbers = true)]
    Gravity(reckon::Reckoned<Gravity>),
    /// Calculate what fineness a charge will have.
    #[command(after_help = calculators::BLEND_HELP, allow_negative_numbers = true)]
    Blend(reckon::Reckoned<Blend>),
    /// Calculate what to add to a charge to raise or lower its fineness.
    #[command(after_help = calculators::RAISE_HELP, allow_negative_numbers = true)]
    Raise(reckon::Reckoned<Raise>),
    /// Convert between units of mass.
    #[command(after_help = calculators::CONVERT_HELP, allow_negative_numbers = true)]
    Convert(reckon::Reckoned<Convert>),
    /// Calculate how a bar is stated in the wholesale trade.
    #[command(after_help = calculators::BAR_HELP, allow_negative_numbers = true)]
    Bar(reckon::Reckoned<Bar>),
    /// Calculate the price of metal by weight, and the tax on it.
    #[command(after_help = calculators::PRICE_HELP, allow_negative_numbers = true)]
    Price(reckon::Reckoned<Price>),
    /// Calculate the tax contained in a gross amount.
    #[command(after_help = calculators::VAT_HELP, allow_negative_numbers = true)]
    Vat(reckon::Reckoned<Vat>),
    /// Calculate what a reading says of limits: uncertainty, guard band, grade, probability, claim.
    #[command(after_help = calculators::CONFORMITY_HELP, allow_negative_numbers = true)]
    Conformity(reckon::Reckoned<Conformity>),
    /// Compare two readings of one piece, each with its uncertainty.
    #[command(after_help = calculators::COMPARISON_HELP, allow_negative_numbers = true)]
    Compare(reckon::Reckoned<Comparison>),
    /// Calculate how many to pour of each shape, by a book's record or without a book.
    #[command(after_help = plan::HELP, allow_negative_numbers = true)]
    Plan(plan::PlanArguments),
    /// Answer many questions of the calculators, one line of JSON each.
    Reckon(reckon::ReckonArguments),
    /// Print completions for a shell.
    #[command(
        after_help = "Example:\n  pourbook completions bash > ~/.local/share/bash-completion/completions/pourbook"
    )]
    Completions {
        /// Which shell.
        shell: clap_complete::Shell,
    },
}

/// Runs what was typed.
#[must_use]
pub fn run() -> ExitCode {
    let program = Program::parse();
    let done = |outcome: Result<String, Failure>| outcome.map(|text| (text, 0));
    let outcome = match program.command {
        Typed::Init(arguments) => done(making::init(&arguments)),
        Typed::Serve(arguments) => done(making::serve(&arguments)),
        Typed::Tls(arguments) => done(trusting::tls(&arguments)),
        Typed::Demo(arguments) => done(demo::demo(&arguments)),
        Typed::Show(arguments) => done(looking::show(&arguments)),
        Typed::Shares(arguments) => done(traced::shares(&arguments)),
        Typed::Recall(arguments) => done(traced::recall(&arguments)),
        Typed::Suspects(arguments) => done(traced::suspects(&arguments)),
        Typed::Proof(arguments) => done(looking::proof(&arguments)),
        Typed::Verify(arguments) => verify(&arguments, &|path| RealFiles.read_whole(path)),
        Typed::Audit(arguments) => audit::audit(&arguments),
        Typed::Backup(arguments) => done(backup::backup(&arguments)),
        Typed::Restore(arguments) => done(backup::restore(&arguments)),
        Typed::Doubts(arguments) => done(doubts::doubts(&arguments)),
        Typed::Rebuild(arguments) => done(making::rebuild(&arguments)),
        Typed::Statement(arguments) => done(statement::statement(&arguments)),
        Typed::Losses(arguments) => done(losses::losses(&arguments)),
        Typed::Routes => done(Ok(routes::shown())),
        Typed::Token(command) => done(access::token(&command)),
        Typed::Stock(arguments) => done(stock::stock(&arguments)),
        Typed::Spot(arguments) => stock::spot(&arguments),
        Typed::Erase(arguments) => done(erase::erase(&arguments)),
        Typed::Key(command) => done(keys::key(&command)),
        Typed::Gravity(typed) => done(reckon::reckon(&typed)),
        Typed::Blend(typed) => done(reckon::reckon(&typed)),
        Typed::Raise(typed) => done(reckon::reckon(&typed)),
        Typed::Convert(typed) => done(reckon::reckon(&typed)),
        Typed::Bar(typed) => done(reckon::reckon(&typed)),
        Typed::Price(typed) => done(reckon::reckon(&typed)),
        Typed::Vat(typed) => done(reckon::reckon(&typed)),
        Typed::Conformity(typed) => done(reckon::reckon(&typed)),
        Typed::Compare(typed) => done(reckon::reckon(&typed)),
        Typed::Plan(typed) => done(plan::plan(&typed)),
        Typed::Reckon(_) => reckon::reckon_lines(),
        Typed::Completions { shell } => done(Ok(completions(shell))),
    };
    match outcome {
        Ok((text, code)) => {
            say(&text);
            ExitCode::from(code)
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

/// The folder of a book that is there.
pub(super) fn book_folder(path: &Path) -> Result<BookFolder, Failure> {
    let folder = BookFolder::at(path);
    let settings = path.join("pourbook.toml");
    if folder.files().exists(&settings).map_err(Failure::unusable)? {
        return Ok(folder);
    }
    let path = path.display();
    Err(Failure::unusable(format!(
        "{path} holds no book: there is no pourbook.toml in it. `pourbook init {path}` founds one"
    )))
}

/// Pretty JSON of a value.
pub(super) fn json(value: &impl serde::Serialize) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default()
}
