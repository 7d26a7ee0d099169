//! `pourbook tls`: what a tablet is to trust.

use super::Failure;
use super::arguments::{book_folder, json};
use crate::domain::instant::in_words;
use crate::node::Root;
use clap::Args;
use std::path::PathBuf;

/// Whose root is shown.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  pourbook tls ./book

Compare the fingerprint with the one that a tablet shows under /trust, before it trusts the certificate.
Exit code: 0 shown; 1 the book has no root of its own yet: serve it with --tls once; 2 its file cannot be used.
With --json: {\"fingerprint\", \"names\", \"ends\": a day}.")]
pub struct TlsArguments {
    /// The book.
    dir: PathBuf,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn tls(arguments: &TlsArguments) -> Result<String, Failure> {
    let folder = book_folder(&arguments.dir)?;
    let root = Root::kept(&folder).map_err(Failure::unusable)?;
    let none =
        "the book has no root of its own: `pourbook serve --tls` makes one, unless [tls] names a certificate";
    let root = root.ok_or_else(|| Failure::refused(none))?;
    if arguments.json {
        return Ok(json(&serde_json::json!({
            "fingerprint": root.fingerprint(),
            "names": root.names(),
            "ends": in_words(root.ends()),
        })));
    }
    Ok(format!(
        "The workshop's root certificate, SHA-256:\n  {}\nIt vouches for {} and for nothing else, until {}.\n\
         On the tablet open /trust, compare pair for pair, then install it.",
        root.fingerprint(),
        root.names().join(", "),
        in_words(root.ends()),
    ))
}
