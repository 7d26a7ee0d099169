//! `init`, `serve`, `rebuild`.

use super::Failure;
use super::arguments::{book_folder, json};
use crate::config::{EntriesFor, Load, Settings, Tls};
use crate::http::{Proxies, Quotas, WorkshopSettings};
use crate::log::StoreError;
use crate::node::{BookFolder, Founding, FoundingError, Line, chance, clock, found};
use clap::Args;
use std::net::SocketAddr;
use std::path::PathBuf;

/// What a new book is founded with.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  pourbook init ./book --origin book.example/log --address https://book.example --currency GBP

Then move keys/root.key to another machine or a stick: whoever has it can add keys to the book. `pourbook key --help`
says how it is used from there.
Exit code: 0 founded; 1 there is a book already, which is not touched; 2 a name or a folder cannot be used.
With --json: {\"root\": thumbprint of the root key, \"policy\": text of the policy file}.")]
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
    /// Who is named as the maker on what is printed; without it the origin is.
    #[arg(long)]
    maker: Option<String>,
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
        maker: arguments.maker.clone(),
        second_pin: arguments.second_pin.clone(),
        limits: Quotas::default(),
        workshop: WorkshopSettings::default(),
        tls: Tls::default(),
        proxy: Proxies::default(),
        load: Load::default(),
    };
    let founding = Founding {
        settings: &settings,
        now: clock::now(),
        seed: chance::bytes(),
    };
    let founded = found(&BookFolder::at(&arguments.dir), &founding).map_err(not_founded)?;
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

/// A book that is there is a refusal; anything else could not be used.
pub(super) fn not_founded(error: FoundingError) -> Failure {
    match error {
        FoundingError::Store(StoreError::BookExists { .. }) => Failure::refused(error),
        _ => Failure::unusable(error),
    }
}

/// How a book is served.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook serve ./book
  pourbook serve ./book --listen 127.0.0.1:8080 --links
  pourbook serve ./book --listen 0.0.0.0:4747 --tls

POURBOOK_LOG=debug says more on standard error. Ctrl-C stops it when all that was answered is on disk.
Exit code: 0 it was told to stop; 2 the book cannot be opened, or the address cannot be used.")]
pub struct ServeArguments {
    /// The book.
    dir: PathBuf,
    /// Address and port to listen on.
    #[arg(long, default_value = "127.0.0.1:4747", env = "POURBOOK_LISTEN")]
    listen: SocketAddr,
    /// Speak HTTPS: with the certificate of `[tls]` in pourbook.toml, or with one of the book's own (see `pourbook tls`).
    #[arg(long)]
    tls: bool,
    /// Print links to look at.
    #[arg(long)]
    links: bool,
}

pub(super) fn serve(arguments: &ServeArguments) -> Result<String, Failure> {
    let folder = book_folder(&arguments.dir)?;
    if arguments.links {
        super::looking::print_links(&folder, arguments.listen)?;
    }
    let line = match arguments.tls {
        true => Line::Tls,
        false => Line::Plain,
    };
    crate::node::serve(&folder, arguments.listen, line).map_err(Failure::unusable)?;
    Ok(String::new())
}

/// Which views are built anew.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  pourbook rebuild ./book

The server must be stopped. Only derived/ is replaced; the log is not touched.
Exit code: 0 done; 1 a server has the book open; 2 the book cannot be read.
With --json: {\"entries\": how many the views follow}.")]
pub struct RebuildArguments {
    /// The book.
    dir: PathBuf,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn rebuild(arguments: &RebuildArguments) -> Result<String, Failure> {
    let folder = book_folder(&arguments.dir)?;
    let position = crate::node::rebuild(&folder).map_err(super::erase::not_opened)?;
    if arguments.json {
        return Ok(json(&serde_json::json!({ "entries": position })));
    }
    Ok(format!("The views are built anew from {position} entries."))
}
