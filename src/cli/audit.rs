//! `audit`: a whole log checked, from a folder or over HTTP.

mod kept;
mod token;

use super::Failure;
use super::arguments::{book_folder, json};
use super::pace::Pace;
use super::verify::thumbprint;
use crate::check::{Audit, AuditError, AuditReport, BLOCK, Wrong};
use crate::domain::Book;
use crate::log::{FileStore, FileStoreOptions, PhotographState, Store, StoreError};
use crate::node::{AuditStopped, BookFolder};
use crate::proof::tile::{FULL, TileLevel, TilePath, tiles, unbundle};
use crate::proof::{Checkpoint, Tree, leaf_hash, tile::width_at};
use clap::Args;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The longest wait between two requests that an audit puts up with, seconds.
const WAIT_SECONDS_MAX: u64 = 60;

/// What is audited.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook audit ./book
  pourbook audit ./book --root kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k
  pourbook audit ./book --checkpoint kept-in-spring
  pourbook audit http://127.0.0.1:4747 --token-file ./auditor.token

How far it is stands on standard error: a bar on a terminal, else a line now and then.
Exit code: 0 it holds; 1 it does not, and the first wrong entry is named; 2 it cannot be read.
With --json: {\"holds\", \"size\", \"root\", \"root_key\", \"signatures\", \"erased\", \"suspect_keys\": [{\"kid\", \"from\"}],
\"notices\": [text], \"first_wrong\": index or null, \"why\": text or null}; what was not reached is null.")]
pub struct AuditArguments {
    /// A book's folder, or the address of a served book.
    book: String,
    /// A file with an auditor's token, where entries are not public; else what stands in POURBOOK_TOKEN.
    #[arg(long, value_name = "FILE")]
    token_file: Option<PathBuf>,
    /// The root thumbprint that you trust; without it the one found is printed for you to compare.
    #[arg(long, value_parser = thumbprint, allow_hyphen_values = true)]
    root: Option<String>,
    /// A checkpoint that you kept: the log must be one that went through it.
    #[arg(long, value_name = "FILE")]
    checkpoint: Option<PathBuf>,
    /// Verify every signature strictly, one by one, instead of in batches.
    #[arg(long)]
    strict: bool,
    /// Seconds between two lines about how far it is, where standard error is no terminal.
    #[arg(long, default_value_t = 5, value_name = "SECONDS")]
    every: u64,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// What an audit comes to.
struct Audited {
    report: AuditReport,
    notices: Vec<String>,
    took: Duration,
}

/// Why it came to nothing.
enum Stopped {
    /// It does not hold; the first wrong entry, where one is to blame.
    Wrong(Option<u64>, String),
    /// It cannot be read.
    Unreadable(String),
}

impl From<AuditError> for Stopped {
    fn from(error: AuditError) -> Self {
        let index = match &error {
            AuditError::Entry(wrong) => Some(wrong.index),
            AuditError::Checkpoint(_) => None,
        };
        Self::Wrong(index, error.to_string())
    }
}

impl From<AuditStopped> for Stopped {
    fn from(stopped: AuditStopped) -> Self {
        match stopped {
            AuditStopped::Store(error) => error.into(),
            AuditStopped::Audit(error) => error.into(),
        }
    }
}

impl From<Wrong> for Stopped {
    fn from(wrong: Wrong) -> Self {
        AuditError::from(wrong).into()
    }
}

impl From<StoreError> for Stopped {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Corrupt { .. } | StoreError::BehindPin { .. } => Self::wrong(error),
            _ => Self::unreadable(error),
        }
    }
}

impl Stopped {
    fn wrong(why: impl ToString) -> Self {
        Self::Wrong(None, why.to_string())
    }

    fn unreadable(why: impl ToString) -> Self {
        Self::Unreadable(why.to_string())
    }

    fn why(&self) -> &str {
        match self {
            Self::Wrong(_, why) | Self::Unreadable(why) => why,
        }
    }
}

/// Makes the audit and gives what to print, and the exit code.
pub(super) fn audit(arguments: &AuditArguments) -> Result<(String, u8), Failure> {
    let served = ["http://", "https://"];
    let outcome = if served.iter().any(|scheme| arguments.book.starts_with(scheme)) {
        audit_served(arguments)
    } else {
        audit_folder(arguments)
    };
    let outcome = outcome.and_then(|audited| match &arguments.root {
        Some(root) if *root != audited.report.root_key => Err(Stopped::wrong(format!(
            "the log descends from root {}, not from the one you trust",
            audited.report.root_key
        ))),
        _ => Ok(audited),
    });
    match outcome {
        Ok(audited) if arguments.json => Ok((json(&held(&audited)), 0)),
        Ok(audited) => Ok((told(&audited), 0)),
        Err(Stopped::Wrong(index, why)) if arguments.json => Ok((json(&not_held(index, &why)), 1)),
        Err(Stopped::Wrong(_, why)) => Err(Failure::refused(format!("does not hold: {why}"))),
        Err(Stopped::Unreadable(why)) => Err(Failure::unusable(why)),
    }
}

fn held(audited: &Audited) -> Value {
    let report = &audited.report;
    let suspect = report.suspect_keys.iter();
    let suspect: Vec<Value> = suspect
        .map(|(kid, from)| json!({ "kid": kid, "from": from }))
        .collect();
    json!({
        "holds": true, "size": report.size, "root": report.root, "root_key": report.root_key,
        "signatures": report.signatures, "erased": report.erased, "suspect_keys": suspect,
        "notices": audited.notices, "first_wrong": null, "why": null,
    })
}

fn not_held(index: Option<u64>, why: &str) -> Value {
    json!({
        "holds": false, "size": null, "root": null, "root_key": null, "signatures": null, "erased": null,
        "suspect_keys": null, "notices": [], "first_wrong": index, "why": why,
    })
}

fn told(audited: &Audited) -> String {
    let report = &audited.report;
    let mut text = format!(
        "holds: {} entries, every byte, signature ({}), key, chain and rule; {} private members erased\nroot hash {}\nroot key  {}\n{} ms\n",
        report.size,
        report.signatures,
        report.erased,
        report.root,
        report.root_key,
        audited.took.as_millis(),
    );
    for (kid, from) in &report.suspect_keys {
        text.push_str(&format!("in doubt: what key {kid} signed from entry {from} on\n"));
    }
    for notice in &audited.notices {
        text.push_str(&format!("note: {notice}\n"));
    }
    text
}

fn workers() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
}

fn audit_folder(arguments: &AuditArguments) -> Result<Audited, Stopped> {
    let folder =
        book_folder(Path::new(&arguments.book)).map_err(|failure| Stopped::Unreadable(failure.message))?;
    let settings = folder.settings().map_err(Stopped::unreadable)?;
    let mut options = FileStoreOptions::read_only();
    options.second_pin = settings.second_pin;
    let store = FileStore::open(folder.path(), options, folder.files())?;
    let head = store.head();
    let note = head
        .checkpoint
        .ok_or_else(|| Stopped::unreadable("the log is empty"))?;
    let every = Duration::from_secs(arguments.every);
    let mut pace = Pace::start(head.size, every);
    let whole = (head.size, note.as_str());
    let outcome = crate::node::audit(
        &store,
        &settings.origin,
        whole,
        arguments.strict,
        &mut |done, _| {
            if done > 0 {
                pace.at(done);
            }
        },
    );
    let took = pace.end();
    let (audit, report) = outcome?;
    kept::hold(&audit, &report, arguments.checkpoint.as_deref())?;
    if let Some(pinned) = store.pinned() {
        audit.agrees(&pinned)?;
    }
    let mut notices: Vec<String> = store.notices().iter().map(ToString::to_string).collect();
    let kept = store.torn_kept()?;
    notices.extend(
        kept.iter()
            .map(|name| format!("log/{name} keeps the bytes of a group that was torn")),
    );
    notices.extend(photographs_lost(&folder, audit.book())?);
    Ok(Audited {
        report,
        notices,
        took,
    })
}

/// Every photograph that the record names, read whole: those that are missing or damaged. The record stands without them.
fn photographs_lost(folder: &BookFolder, book: &Book) -> Result<Vec<String>, Stopped> {
    let files = folder.photographs();
    let mut lost = Vec::new();
    for hash in book.photographs() {
        let how = match files.state(hash)? {
            PhotographState::Whole => continue,
            PhotographState::Missing => "is missing",
            PhotographState::Damaged => "has other bytes than its name says",
        };
        lost.push(format!(
            "{} {how}: put it back from a copy",
            files.path(hash).display()
        ));
    }
    Ok(lost)
}

/// Fetches a file of the log from a served book.
struct Fetching<'a> {
    base: &'a str,
    token: Option<String>,
    agent: ureq::Agent,
}

impl Fetching<'_> {
    fn fetch(&self, path: &str) -> Result<Vec<u8>, Stopped> {
        let url = format!("{}/log/{path}", self.base);
        let mut reply = self
            .patiently(&url)
            .map_err(|error| Stopped::Unreadable(explain(&url, &error)))?;
        let limited = reply.body_mut().with_config().limit(32 * 1024 * 1024);
        limited
            .read_to_vec()
            .map_err(|error| Stopped::Unreadable(format!("{url}: {error}")))
    }

    /// Waits as it is told to when the server says that it is asked too often.
    fn patiently(&self, url: &str) -> Result<ureq::http::Response<ureq::Body>, ureq::Error> {
        loop {
            let mut request = self.agent.get(url);
            if let Some(token) = &self.token {
                request = request.header("authorization", format!("Bearer {token}"));
            }
            let reply = request.config().http_status_as_error(false).build().call()?;
            let status = reply.status();
            if status.is_success() {
                return Ok(reply);
            }
            let wait = reply.headers().get("retry-after");
            let wait = wait.and_then(|wait| wait.to_str().ok()?.parse::<u64>().ok());
            match wait {
                Some(seconds) if matches!(status.as_u16(), 429 | 503) && seconds <= WAIT_SECONDS_MAX => {
                    std::thread::sleep(Duration::from_secs(seconds));
                }
                _ => return Err(ureq::Error::StatusCode(status.as_u16())),
            }
        }
    }
}

fn explain(url: &str, error: &ureq::Error) -> String {
    match error {
        ureq::Error::StatusCode(401 | 403) => {
            format!(
                "{url}: the entries of this book are for its auditors: give an auditor's token with --token-file"
            )
        }
        ureq::Error::StatusCode(404) => format!("{url}: not found; is this the address of a book?"),
        ureq::Error::StatusCode(status) => format!("{url}: the server answers {status}"),
        other => format!("{url} cannot be reached: {other}"),
    }
}

fn audit_served(arguments: &AuditArguments) -> Result<Audited, Stopped> {
    let fetching = Fetching {
        base: arguments.book.trim_end_matches('/'),
        token: token::read(arguments.token_file.as_deref())?,
        agent: ureq::Agent::new_with_defaults(),
    };
    let fetch = |path: &str| fetching.fetch(path);
    let note = String::from_utf8(fetch("checkpoint")?).map_err(Stopped::unreadable)?;
    let checkpoint = Checkpoint::peek(&note).map_err(Stopped::unreadable)?;
    let mut pace = Pace::start(checkpoint.size, Duration::from_secs(arguments.every));
    let mut audit = Audit::new(&checkpoint.origin, arguments.strict, workers());
    let mut block = Vec::with_capacity(BLOCK);
    let mut tree = Tree::new();
    let past = |each: &mut dyn FnMut(u64, &[u8]) -> bool| {
        let mut index = 0;
        let again = each_bundle(&fetch, checkpoint.size, &mut |entries| {
            Ok(entries.iter().all(|entry| {
                let goes_on = each(index, entry);
                index = index.saturating_add(1);
                goes_on
            }))
        });
        again.map_err(|stopped| stopped.why().to_owned())
    };
    each_bundle(&fetch, checkpoint.size, &mut |entries| {
        entries.iter().for_each(|entry| tree.push(leaf_hash(entry)));
        block.extend(entries);
        if block.len() >= BLOCK {
            audit.take(&block, &past)?;
            block.clear();
        }
        pace.at(tree.size());
        Ok(true)
    })?;
    if !block.is_empty() {
        audit.take(&block, &past)?;
    }
    let report = audit.finish(&note)?;
    kept::hold(&audit, &report, arguments.checkpoint.as_deref())?;
    audit_tiles(&tree, &fetch)?;
    Ok(Audited {
        report,
        notices: Vec::new(),
        took: pace.end(),
    })
}

/// Fetches the bundles of entries, one after the other, until it is told to stop.
fn each_bundle(
    fetch: &dyn Fn(&str) -> Result<Vec<u8>, Stopped>,
    size: u64,
    each: &mut dyn FnMut(Vec<Vec<u8>>) -> Result<bool, Stopped>,
) -> Result<(), Stopped> {
    for n in 0..size.div_ceil(u64::from(FULL)) {
        let width = width_at(TileLevel::Entries, n, size);
        let level = TileLevel::Entries;
        let path = TilePath { level, n, width }.to_string();
        let entries = unbundle(&fetch(&path)?).map_err(|why| Stopped::wrong(format!("{path}: {why}")))?;
        if entries.len() != usize::from(width) {
            return Err(Stopped::wrong(format!("{path} holds {} entries", entries.len())));
        }
        if !each(entries)? {
            break;
        }
    }
    Ok(())
}

/// Holds every tile of hashes that is served against the tree of the entries: others make their proofs from them.
fn audit_tiles(tree: &Tree, fetch: &dyn Fn(&str) -> Result<Vec<u8>, Stopped>) -> Result<(), Stopped> {
    for path in tiles(tree.size()) {
        let wanted = match path.level {
            TileLevel::Hashes(level) => tree.tile(level, path.n, path.width),
            TileLevel::Entries => None,
        };
        if wanted != Some(fetch(&path.to_string())?) {
            return Err(Stopped::wrong(format!(
                "{path} is not the tile of the tree that the checkpoint signs"
            )));
        }
    }
    Ok(())
}
