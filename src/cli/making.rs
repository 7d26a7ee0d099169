//! `init`, `serve`, `rebuild`.

use super::Failure;
use super::arguments::{book_folder, json};
use crate::config::{EntriesFor, Settings};
use crate::http::Quotas;
use crate::node::{Founding, chance, clock, found};
use clap::Args;
use std::net::SocketAddr;
use std::path::PathBuf;

/// What a new book is founded with.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  pourbook init ./book --origin book.example/log --address https://book.example --currency GBP\n\n\
Then move keys/root.key to another machine or a stick: whoever has it can add keys to the book."
)]
pub struct InitArguments {
    /// A folder that holds no book yet.
    dir: PathBuf,
    /// Name of the log, for ever: a host name and a path, without a scheme.
    #[arg(long)]
    origin: String,
    /// Where the book will be reached.
    #[arg(long, default_value = "http://127.0.0.1:4747")]
    address: String,
    /// Currency of its money, ISO 4217.
    #[arg(long)]
    currency: String,
    /// A second place for the pin, best on another disk.
    #[arg(long)]
    second_pin: Option<PathBuf>,
    /// Let everybody read entries, not only auditors.
    #[arg(long)]
    public_entries: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn init(arguments: &InitArguments) -> Result<String, Failure> {
    let settings = Settings {
        origin: arguments.origin.clone(),
        address: arguments.address.clone(),
        currency: arguments.currency.clone(),
        entries: if arguments.public_entries {
            EntriesFor::Public
        } else {
            EntriesFor::Auditors
        },
        second_pin: arguments.second_pin.clone(),
        limits: Quotas::default(),
    };
    let founding = Founding {
        settings: &settings,
        now: clock::now(),
        seed: chance::bytes(),
    };
    let founded = found(&book_folder(&arguments.dir), &founding).map_err(Failure::unusable)?;
    if arguments.json {
        return Ok(json(
            &serde_json::json!({ "root": founded.root, "policy": founded.policy.to_string() }),
        ));
    }
    Ok(format!(
        "Founded {}.\nRoot thumbprint: {}\n  Print it on your certificates: with it a stranger can check a piece.\n\
         Move {} to another machine or a stick now.\nNext: pourbook token add {} --role office --name <who>",
        arguments.dir.display(),
        founded.root,
        arguments.dir.join("keys/root.key").display(),
        arguments.dir.display(),
    ))
}

/// How a book is served.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  pourbook serve ./book --listen 127.0.0.1:4747")]
pub struct ServeArguments {
    /// The book.
    dir: PathBuf,
    /// Address and port to listen on.
    #[arg(long, default_value = "127.0.0.1:4747", env = "POURBOOK_LISTEN")]
    listen: SocketAddr,
    /// Print links to look at.
    #[arg(long)]
    links: bool,
}

pub(super) fn serve(arguments: &ServeArguments) -> Result<String, Failure> {
    let folder = book_folder(&arguments.dir);
    if arguments.links {
        super::looking::print_links(&folder, arguments.listen)?;
    }
    crate::node::serve(&folder, arguments.listen).map_err(Failure::unusable)?;
    Ok(String::new())
}

/// Which views are built anew.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  pourbook rebuild ./book\n\nThe server must be stopped. Only derived/ is replaced; the log is not touched."
)]
pub struct RebuildArguments {
    /// The book.
    dir: PathBuf,
}

pub(super) fn rebuild(arguments: &RebuildArguments) -> Result<String, Failure> {
    let folder = book_folder(&arguments.dir);
    let position = crate::node::rebuild(&folder).map_err(Failure::unusable)?;
    Ok(format!("The views are built anew from {position} entries."))
}
