//! `show` and `proof`: reading a book, beside a running server or not.

use super::Failure;
use super::arguments::{book_folder, json};
use super::listed::{self, Kind};
use crate::domain::{Piece, PieceState, Serial};
use crate::log::{Files, RealFiles};
use crate::node::{BookFolder, BookReader};
use clap::Args;
use std::collections::BTreeMap;
use std::io::Write;
use std::net::SocketAddr;
use std::path::PathBuf;

/// What is shown.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook show ./book
  pourbook show ./book TW-0007-65
  pourbook show ./book --serials --json
  pourbook show ./book --list orders

It reads beside a running server too, and changes nothing.
Exit code: 0 shown; 1 no piece has the serial; 2 the book or the serial cannot be read.
With --json: {\"size\", \"root_key\", \"pieces\": {state: count}, \"torn\"} of the book; {\"piece\", \"entries\": [index]} of a
piece, its members as GET /v1/pieces/{piece} has them; [serial] with --serials; [row] with --list, the members of each as
the lists of the API have them, without names and money.")]
pub struct ShowArguments {
    /// The book.
    dir: PathBuf,
    /// A piece, by its serial.
    serial: Option<String>,
    /// List the serials of certified pieces.
    #[arg(long, conflicts_with = "serial")]
    serials: bool,
    /// List all of one kind, in the order in which they were made.
    #[arg(long, value_name = "KIND", conflicts_with_all = ["serial", "serials"])]
    list: Option<Kind>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn show(arguments: &ShowArguments) -> Result<String, Failure> {
    let reader = BookReader::open(&book_folder(&arguments.dir)?).map_err(Failure::unusable)?;
    if arguments.serials {
        let serials = certified(&reader);
        return Ok(if arguments.json {
            json(&serials)
        } else {
            serials.join("\n")
        });
    }
    if let Some(kind) = arguments.list {
        return Ok(listed::list(reader.book(), kind, arguments.json));
    }
    match &arguments.serial {
        Some(serial) => show_piece(&reader, serial, arguments.json),
        None => Ok(show_book(&reader, arguments.json)),
    }
}

fn certified(reader: &BookReader) -> Vec<String> {
    let mut serials: Vec<String> = reader
        .book()
        .pieces()
        .filter(|piece| piece.certificate.is_some())
        .filter_map(|piece| piece.serial.as_ref().map(Serial::to_string))
        .collect();
    serials.sort();
    serials
}

fn show_piece(reader: &BookReader, typed: &str, as_json: bool) -> Result<String, Failure> {
    let serial =
        Serial::parse_typed(typed).map_err(|error| Failure::unusable(format!("{typed}: {error}")))?;
    let id = reader.piece(&serial).map_err(Failure::refused)?;
    let piece = reader.book().piece(id);
    let entries = reader.chain(id.0);
    match piece {
        Some(piece) if !as_json => Ok(describe(piece, entries)),
        _ => Ok(json(&serde_json::json!({ "piece": piece, "entries": entries }))),
    }
}

/// A piece in the words of the workshop.
fn describe(piece: &Piece, entries: &[u64]) -> String {
    let serial = piece.serial.as_ref().map(Serial::to_string).unwrap_or_default();
    let mut text = format!("{serial}  {}  {}\n", piece.shape, piece.state.word());
    text.push_str(&format!("pour number    {}\n", piece.pour));
    if let Some(number) = piece.number {
        text.push_str(&format!("edition number {number}\n"));
    }
    for strike in &piece.strikes {
        text.push_str(&format!(
            "struck         {} (entry {})\n",
            strike.outcome, strike.index
        ));
    }
    if let Some(hallmark) = &piece.hallmark {
        text.push_str(&format!("hallmark       {}\n", hallmark.fineness));
    }
    for reading in &piece.readings {
        let (stage, mass, index) = (reading.stage.word(), &reading.mass, reading.index);
        text.push_str(&format!("{stage:<14} {mass} g (entry {index})\n"));
    }
    if let Some(grading) = &piece.grading {
        text.push_str(&format!("graded         {}\n", grading.grade.word()));
    }
    let entries: Vec<String> = entries.iter().map(u64::to_string).collect();
    text.push_str(&format!("entries        {}\n", entries.join(", ")));
    text
}

fn show_book(reader: &BookReader, as_json: bool) -> String {
    let head = reader.head();
    let book = reader.book();
    let mut states: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
    for piece in book.pieces() {
        let count = states.entry(piece.state.word()).or_default();
        *count = count.saturating_add(1);
    }
    let root = reader.policy().root.clone().unwrap_or_default();
    if as_json {
        return json(
            &serde_json::json!({ "size": head.size, "root_key": root, "pieces": states, "torn": head.torn.is_some() }),
        );
    }
    let mut text = format!("{} entries; root thumbprint {root}\n", head.size);
    for (state, count) in states {
        text.push_str(&format!("{count:>6} pieces {state}\n"));
    }
    if let Some(torn) = head.torn {
        text.push_str(&format!(
            "A torn last group begins at entry {}: {} bytes.\n",
            torn.index, torn.bytes
        ));
    }
    text
}

/// Which proof file is written.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  pourbook proof ./book TW-0007-65 -o TW-0007-65.proof.json

Exit code: 0 written; 1 no piece has the serial, or nothing can be proved of it yet; 2 the book or the serial cannot be read.
With --json (and -o): {\"file\", \"serial\", \"entries\", \"bytes\"}. Without -o the file itself is printed.")]
pub struct ProofArguments {
    /// The book.
    dir: PathBuf,
    /// The piece's serial.
    serial: String,
    /// Where to write it; printed if not given.
    #[arg(short, long)]
    output: Option<PathBuf>,
    /// Print JSON about what was written.
    #[arg(long, requires = "output")]
    json: bool,
}

pub(super) fn proof(arguments: &ProofArguments) -> Result<String, Failure> {
    let serial = Serial::parse_typed(&arguments.serial)
        .map_err(|error| Failure::unusable(format!("{}: {error}", arguments.serial)))?;
    let reader = BookReader::open(&book_folder(&arguments.dir)?).map_err(Failure::unusable)?;
    let file = reader.proof(&serial).map_err(Failure::refused)?;
    let bytes = file.to_bytes();
    match &arguments.output {
        Some(path) => {
            RealFiles
                .replace_synced(path, &bytes, crate::log::files::MODE_OPEN)
                .map_err(|error| Failure::unusable(format!("{}: {error}", path.display())))?;
            if arguments.json {
                return Ok(json(&serde_json::json!({
                    "file": path, "serial": file.serial, "entries": file.proofs.len(), "bytes": bytes.len(),
                })));
            }
            Ok(format!(
                "{}: {} entries, {} bytes",
                path.display(),
                file.proofs.len(),
                bytes.len()
            ))
        }
        None => String::from_utf8(bytes).map_err(Failure::unusable),
    }
}

/// Of the pieces with a certificate, the newest one in each state.
fn one_of_each(reader: &BookReader) -> BTreeMap<PieceState, String> {
    let pieces = reader.book().pieces().filter(|piece| piece.certificate.is_some());
    let mut pieces: Vec<_> = pieces.collect();
    pieces.sort_by_key(|piece| (piece.since, &piece.serial));
    let told = pieces.into_iter();
    told.filter_map(|piece| Some((piece.state, piece.serial.as_ref()?.to_string())))
        .collect()
}

/// Prints what to open in a browser or fetch, before the server starts.
pub(super) fn print_links(folder: &BookFolder, listen: SocketAddr) -> Result<(), Failure> {
    let reader = BookReader::open(folder).map_err(Failure::unusable)?;
    let mut text = format!("Serving {}\n", folder.path().display());
    for path in ["/healthz", "/openapi.yaml", "/v1/policy", "/log/checkpoint"] {
        text.push_str(&format!("  http://{listen}{path}\n"));
    }
    for (state, serial) in one_of_each(&reader) {
        text.push_str(&format!(
            "  http://{listen}/v1/serials/{serial}        {state}\n  http://{listen}/v1/serials/{serial}/proof\n"
        ));
    }
    // A reader that has gone away needs no more.
    let _ = write!(std::io::stdout(), "{text}");
    Ok(())
}
