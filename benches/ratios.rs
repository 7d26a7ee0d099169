//! What the book costs, held against what the same machine can do at most, in one run.
//!
//! Each row is our rate and a limit, taken in turns (ours, limit, ours, limit, ...) and as medians of three, so that a
//! busy machine slows both. The table is for reading; nothing here fails because a machine is slow.
//! `N=<entries>` sets the size of the book. Left out: PostgreSQL, HTTP, and the rate of proofs.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::float_arithmetic,
    clippy::print_stdout,
    clippy::disallowed_methods
)]

#[path = "../tests/it/shop.rs"]
mod shop;

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
use std::time::Instant;

const ORIGIN: &str = "ratios.example/book";
/// Both cores of the machine that this is meant for.
const WORKERS: usize = 2;
/// How often each rate is taken; the middle one counts.
const ROUNDS: usize = 3;

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

/// Things a second.
fn rate(count: usize, work: impl FnOnce()) -> f64 {
    let start = Instant::now();
    work();
    count as f64 / start.elapsed().as_secs_f64()
}

fn median(mut rates: Vec<f64>) -> f64 {
    rates.sort_by(f64::total_cmp);
    rates[rates.len() / 2]
}

/// Takes both rates in turns; their medians.
fn interleave(mut ours: impl FnMut() -> f64, mut limit: impl FnMut() -> f64) -> (f64, f64) {
    let taken: Vec<(f64, f64)> = (0..ROUNDS).map(|_| (ours(), limit())).collect();
    let (ours, limits) = taken.into_iter().unzip();
    (median(ours), median(limits))
}

fn row(work: &str, (ours, limit): (f64, f64), asked: &str) {
    let ratio = ours / limit;
    println!("{work:<58} | {ours:>10.0} | {limit:>10.0} | {ratio:>6.2} | {asked}");
}

fn audit(entries: &[Vec<u8>], note: &str) {
    let mut audit = Audit::new(ORIGIN, false, WORKERS);
    for block in entries.chunks(BLOCK) {
        audit.take(block).unwrap();
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

fn main() {
    let n = std::env::var("N").map_or(20_000, |n| n.parse().expect("N is a number of entries"));
    let (store, entries) = synthetic(n);
    let note = store.head().checkpoint.unwrap();
    let n = entries.len();
    println!("{n} entries, {WORKERS} workers, medians of {ROUNDS}; rates are things a second\n");
    println!(
        "{:<58} | {:>10} | {:>10} | {:>6} | asked",
        "work | limit", "ours", "limit", "ratio"
    );
    let rates = interleave(
        || rate(n, || audit(&entries, &note)),
        || rate(n, || verify_each(&entries)),
    );
    row("audit | signatures one by one, both cores", rates, "> 1");
    let rates = interleave(
        || {
            rate(n, || {
                black_box(
                    Desk::open(
                        Arc::clone(&store),
                        ORIGIN,
                        deskkeys(ORIGIN, [9; 32]),
                        Observer::none(),
                    )
                    .unwrap(),
                );
            })
        },
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
    row("opening | reading and hashing the same bytes", rates, "none");
    durable();
    println!("\nLeft out: PostgreSQL, HTTP, and the rate of proofs.");
}
