//! What the book costs, held against what the same machine can do at most, in one run.
//!
//! Each row is our rate and a limit, taken in turns (ours, limit, ours, limit, ...) and as medians of three, so that a
//! busy machine slows both. The table is for reading; nothing here fails because a machine is slow.
//! `N=<entries>` sets the size of the book that is audited, `EVENTS=<n>` of the one that is opened, and `ROWS="log turns
//! commands shown shares million"` chooses. Servers, and what is to be measured for memory, run in child processes.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::float_arithmetic,
    clippy::print_stdout,
    clippy::disallowed_methods
)]

mod client;
mod million;
mod postgres;
mod served;
mod shares;
#[path = "../../tests/it/shop.rs"]
mod shop;
mod shown;
mod table;

use pourbook::check::{Audit, BLOCK};
use pourbook::domain::*;
use pourbook::log::{FileStore, FileStoreOptions, MemoryStore, RealFiles, Store};
use pourbook::proof::leaf_hash;
use pourbook::record::{PublicKey, Signer, verify_signature};
use pourbook::writer::{Desk, Observer};
use shop::{Shop, TURN, deskkeys};
use std::hint::black_box;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::Arc;
use table::{ROUNDS, interleave, rate, row};

const ORIGIN: &str = "ratios.example/book";
/// Both cores of the machine that this is meant for.
const WORKERS: usize = 2;
/// A valid book of `n` entries in memory: mostly single weighings, as in a workshop.
fn synthetic(n: usize) -> (Arc<dyn Store>, Vec<Vec<u8>>) {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new([]));
    Shop::found(Arc::clone(&store), ORIGIN, [9; 32]).work(n);
    let mut entries = Vec::new();
    store
        .scan(0, &mut |_, bytes| {
            entries.push(bytes.to_vec());
            true
        })
        .unwrap();
    (store, entries)
}

fn audit(entries: &[Vec<u8>], note: &str) {
    let mut audit = Audit::new(ORIGIN, false, WORKERS);
    for block in entries.chunks(BLOCK) {
        audit.take(block, &|_| Ok(())).unwrap();
    }
    audit.finish(note).unwrap();
}

fn verify_each(entries: &[Vec<u8>]) {
    let (root, recorder) = (Signer::from_seed(&[1; 32]), Signer::from_seed(&[2; 32]));
    let signed: Vec<(&[u8], PublicKey)> = (0..)
        .zip(entries)
        .map(|(i, e)| {
            (
                e.as_slice(),
                if i < 3 { root.public() } else { recorder.public() },
            )
        })
        .collect();
    std::thread::scope(|scope| {
        for part in signed.chunks(signed.len().div_ceil(WORKERS)) {
            scope.spawn(move || {
                for (entry, key) in part {
                    verify_signature(entry, key).unwrap();
                }
            });
        }
    });
}

/// `count` commands in turns of `size`, each a weighing of another piece; what is sent is made before the clock runs.
fn turns(shop: &mut Shop, pieces: &mut impl Iterator<Item = PieceId>, size: usize, count: usize) -> f64 {
    let mut batches = Vec::new();
    for _ in 0..count {
        let commands: Vec<_> = pieces.take(size).map(|piece| shop.weighing(piece)).collect();
        batches.push(commands.into_iter().map(|c| shop.submission(c)).collect());
    }
    rate(size * count, || {
        for batch in batches {
            black_box(shop.turn(batch));
        }
    })
}

/// `fdatasync` of 4 KiB written into a file whose blocks are there already, a second.
fn syncs(path: &Path, count: usize) -> f64 {
    let mut file = std::fs::File::create(path).unwrap();
    file.write_all(&vec![1; 4096 * count]).unwrap();
    file.sync_all().unwrap();
    file.seek(SeekFrom::Start(0)).unwrap();
    rate(count, || {
        for _ in 0..count {
            file.write_all(&[2; 4096]).unwrap();
            file.sync_data().unwrap();
        }
    })
}

fn durable() {
    // Beside the build, since the folder for temporary files is often not on a disk.
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let book = folder.path().join("book");
    let files = Arc::new(RealFiles);
    FileStore::create(&book, &*files, &[5; 32]).unwrap();
    let mut chance = Draw::new([6; 32]);
    let options = FileStoreOptions::new(Box::new(move || chance.bytes()));
    let store = Arc::new(FileStore::open(&book, options, files).unwrap());
    let secret = store.secret().unwrap();
    let mut shop = Shop::found(store, ORIGIN, secret);
    let mut pieces = shop.pour(2 * TURN).into_iter().cycle();
    for (size, count) in [(1, 100), (32, 40), (128, 20)] {
        let rates = interleave(
            || turns(&mut shop, &mut pieces, size, count),
            || syncs(&folder.path().join("preallocated"), 100),
        );
        let asked = if size == 1 {
            "none (a turn syncs vault and log)"
        } else {
            "none"
        };
        row(
            &format!("durable commands, {size} a turn | fdatasync"),
            rates,
            asked,
        );
    }
}

/// What tells a child process what to do.
const CHILD: &str = "POURBOOK_BENCH_CHILD";

fn whole_log(n: usize) {
    let (store, entries) = synthetic(n);
    let note = store.head().checkpoint.unwrap();
    let n = entries.len();
    let rates = interleave(
        || rate(n, || audit(&entries, &note)),
        || rate(n, || verify_each(&entries)),
    );
    row("audit | signatures one by one, both cores", rates, "> 1");
    let open = || {
        Desk::open(
            Arc::clone(&store),
            ORIGIN,
            deskkeys(ORIGIN, [9; 32]),
            Observer::none(),
        )
    };
    let rates = interleave(
        || rate(n, || drop(black_box(open().unwrap()))),
        || {
            rate(n, || {
                store
                    .scan(0, &mut |_, bytes| {
                        black_box(leaf_hash(bytes));
                        true
                    })
                    .unwrap();
            })
        },
    );
    row(
        "replaying | reading and hashing the same bytes, one core",
        rates,
        "none",
    );
}

fn number(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |n| n.parse().expect("it is a number"))
}

fn main() {
    if let Ok(what) = std::env::var(CHILD) {
        return if what.starts_with("opens-") {
            million::child(&what)
        } else {
            served::child(&what)
        };
    }
    let chosen =
        std::env::var("ROWS").unwrap_or_else(|_| "log turns commands shown shares million".to_owned());
    let n = usize::try_from(number("N", 20_000)).unwrap();
    let events = number("EVENTS", 1_000_000);
    println!("{n} entries, {WORKERS} workers, medians of {ROUNDS}; rates are things a second\n");
    table::head();
    for rows in chosen.split_whitespace() {
        match rows {
            "log" => whole_log(n),
            "turns" => durable(),
            "commands" => served::commands(),
            "shown" => shown::rows(events),
            "million" => million::rows(events),
            "shares" => shares::rows(),
            other => panic!("there are no rows {other}"),
        }
    }
}
