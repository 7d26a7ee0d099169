//! `audit`: a whole log checked, from a folder or over HTTP.

use super::Failure;
use super::arguments::{book_folder, json};
use crate::check::{Audit, AuditReport, BLOCK};
use crate::log::{FileStore, FileStoreOptions, Store};
use crate::node::clock::Stopwatch;
use crate::proof::tile::{FULL, TileLevel, TilePath, tiles, unbundle};
use crate::proof::{Checkpoint, Tree, leaf_hash, tile::width_at};
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use std::path::PathBuf;

/// The longest wait between two requests that an audit puts up with, seconds.
const WAIT_SECONDS_MAX: u64 = 60;

/// What is audited.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  pourbook audit ./book\n  pourbook audit http://127.0.0.1:4747 --token \"$AUDITOR_TOKEN\"\n\n\
Exit code: 0 it holds, 1 an entry is wrong (the first one is named), 2 it cannot be read."
)]
pub struct AuditArguments {
    /// A book's folder, or the address of a served book.
    book: String,
    /// An auditor's token, where entries are not public.
    #[arg(long, env = "POURBOOK_TOKEN", hide_env_values = true)]
    token: Option<String>,
    /// The root thumbprint that you trust; without it the one found is printed for you to compare.
    #[arg(long)]
    root: Option<String>,
    /// Verify every signature strictly, one by one, instead of in batches.
    #[arg(long)]
    strict: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn audit(arguments: &AuditArguments) -> Result<String, Failure> {
    let watch = Stopwatch::start();
    let (report, notices) = if arguments.book.starts_with("http://") || arguments.book.starts_with("https://")
    {
        (audit_served(arguments)?, Vec::new())
    } else {
        audit_folder(arguments)?
    };
    if arguments
        .root
        .as_ref()
        .is_some_and(|root| *root != report.root_key)
    {
        return Err(Failure::refused(format!(
            "the log descends from root {}, not from the one you trust",
            report.root_key
        )));
    }
    if arguments.json {
        return Ok(json(&serde_json::json!({ "report": report, "notices": notices })));
    }
    let mut text = format!(
        "holds: {} entries, every byte, signature ({}), key, chain and rule; {} private members erased\nroot hash {}\nroot key  {}\n{} ms\n",
        report.size,
        report.signatures,
        report.erased,
        report.root,
        report.root_key,
        watch.elapsed().as_millis(),
    );
    for (kid, from) in &report.suspect_keys {
        text.push_str(&format!("in doubt: what key {kid} signed from entry {from} on\n"));
    }
    for notice in notices {
        text.push_str(&format!("note: {notice}\n"));
    }
    Ok(text)
}

fn workers() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
}

fn progress(size: u64) -> ProgressBar {
    let style = ProgressStyle::with_template("{bar:40} {pos}/{len} entries  {per_sec}  {eta} left");
    ProgressBar::new(size).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
}

fn audit_folder(arguments: &AuditArguments) -> Result<(AuditReport, Vec<String>), Failure> {
    let folder = book_folder(&PathBuf::from(&arguments.book));
    let settings = folder.settings().map_err(Failure::unusable)?;
    let mut options = FileStoreOptions::read_only();
    options.second_pin = settings.second_pin;
    let store = FileStore::open(folder.path(), options, folder.files()).map_err(Failure::unusable)?;
    let head = store.head();
    let note = head
        .checkpoint
        .ok_or_else(|| Failure::unusable("the log is empty"))?;
    let bar = progress(head.size);
    let mut audit = Audit::new(&settings.origin, arguments.strict, workers());
    let mut block = Vec::with_capacity(BLOCK);
    let mut outcome = Ok(());
    store
        .scan(0, &mut |index, bytes| {
            block.push(bytes.to_vec());
            if block.len() == BLOCK || index.saturating_add(1) == head.size {
                outcome = audit.take(&block, &|each| {
                    store.scan(0, each).map_err(|error| error.to_string())
                });
                block.clear();
                bar.set_position(audit.size());
            }
            outcome.is_ok() && index.saturating_add(1) < head.size
        })
        .map_err(Failure::unusable)?;
    outcome.map_err(Failure::refused)?;
    bar.finish_and_clear();
    let report = audit.finish(&note).map_err(Failure::refused)?;
    if let Some(pinned) = store.pinned() {
        audit.agrees(&pinned).map_err(Failure::refused)?;
    }
    let mut notices: Vec<String> = store.notices().iter().map(ToString::to_string).collect();
    let kept = store.torn_kept().map_err(Failure::unusable)?;
    notices.extend(
        kept.iter()
            .map(|name| format!("log/{name} keeps the bytes of a group that was torn")),
    );
    Ok((report, notices))
}

/// Fetches, and waits as it is told to when the server says that it is asked too often.
fn fetch_patiently(
    agent: &ureq::Agent,
    address: &str,
    token: Option<&str>,
) -> Result<ureq::http::Response<ureq::Body>, ureq::Error> {
    loop {
        let mut request = agent.get(address);
        if let Some(token) = token {
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
            Some(seconds) if status.as_u16() == 429 && seconds <= WAIT_SECONDS_MAX => {
                std::thread::sleep(std::time::Duration::from_secs(seconds));
            }
            _ => return Err(ureq::Error::StatusCode(status.as_u16())),
        }
    }
}

fn audit_served(arguments: &AuditArguments) -> Result<AuditReport, Failure> {
    let base = arguments.book.trim_end_matches('/');
    let agent = ureq::Agent::new_with_defaults();
    let fetch = |path: &str| -> Result<Vec<u8>, Failure> {
        let mut reply = fetch_patiently(&agent, &format!("{base}/log/{path}"), arguments.token.as_deref())
            .map_err(|error| Failure::unusable(format!("{path}: {error}")))?;
        let limited = reply.body_mut().with_config().limit(32 * 1024 * 1024);
        limited
            .read_to_vec()
            .map_err(|error| Failure::unusable(format!("{path}: {error}")))
    };
    let note = String::from_utf8(fetch("checkpoint")?).map_err(Failure::unusable)?;
    let checkpoint = Checkpoint::peek(&note).map_err(Failure::unusable)?;
    let bar = progress(checkpoint.size);
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
        again.map_err(|failure| failure.message)
    };
    each_bundle(&fetch, checkpoint.size, &mut |entries| {
        entries.iter().for_each(|entry| tree.push(leaf_hash(entry)));
        block.extend(entries);
        if block.len() >= BLOCK {
            audit.take(&block, &past).map_err(Failure::refused)?;
            block.clear();
            bar.set_position(audit.size());
        }
        Ok(true)
    })?;
    if !block.is_empty() {
        audit.take(&block, &past).map_err(Failure::refused)?;
    }
    bar.finish_and_clear();
    let report = audit.finish(&note).map_err(Failure::refused)?;
    audit_tiles(&tree, &fetch)?;
    Ok(report)
}

/// Fetches the bundles of entries, one after the other, until it is told to stop.
fn each_bundle(
    fetch: &dyn Fn(&str) -> Result<Vec<u8>, Failure>,
    size: u64,
    each: &mut dyn FnMut(Vec<Vec<u8>>) -> Result<bool, Failure>,
) -> Result<(), Failure> {
    for n in 0..size.div_ceil(u64::from(FULL)) {
        let width = width_at(TileLevel::Entries, n, size);
        let level = TileLevel::Entries;
        let path = TilePath { level, n, width }.to_string();
        let entries = unbundle(&fetch(&path)?).map_err(Failure::refused)?;
        if entries.len() != usize::from(width) {
            return Err(Failure::refused(format!(
                "{path} holds {} entries",
                entries.len()
            )));
        }
        if !each(entries)? {
            break;
        }
    }
    Ok(())
}

/// Holds every tile of hashes that is served against the tree of the entries: others make their proofs from them.
fn audit_tiles(tree: &Tree, fetch: &dyn Fn(&str) -> Result<Vec<u8>, Failure>) -> Result<(), Failure> {
    for path in tiles(tree.size()) {
        let wanted = match path.level {
            TileLevel::Hashes(level) => tree.tile(level, path.n, path.width),
            TileLevel::Entries => None,
        };
        if wanted != Some(fetch(&path.to_string())?) {
            return Err(Failure::refused(format!(
                "{path} is not the tile of the tree that the checkpoint signs"
            )));
        }
    }
    Ok(())
}
