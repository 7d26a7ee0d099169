//! The rows of single turns of the desk, without HTTP, against syncs of the same disk.

use super::ORIGIN;
use super::books::beside_the_build;
use super::shop::{PIECES, Shop};
use super::table::{Asked, ROUNDS, interleave, rate, row, seconds};
use pourbook::domain::*;
use pourbook::log::{FileStore, FileStoreOptions, RealFiles};
use std::hint::black_box;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::Arc;

/// Commands of a turn, and turns of one measurement.
const TURNS: [(usize, usize); 3] = [(1, 100), (32, 40), (128, 20)];
/// Syncs whose latencies are taken together.
const SYNCS: usize = 3_000;

/// `count` turns of `size` commands, each a weighing of another piece; what is sent is made before the clock runs.
pub fn turns(shop: &mut Shop, pieces: &mut impl Iterator<Item = PieceId>, size: usize, count: usize) -> f64 {
    let mut batches = Vec::new();
    for _ in 0..count {
        let commands: Vec<_> = pieces.take(size).map(|piece| shop.weighing(piece)).collect();
        assert_eq!(commands.len(), size, "enough pieces were poured");
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

/// Seconds that each append of 4 KiB with its `fdatasync` took, shortest first.
pub fn appended_syncs(path: &Path) -> Vec<f64> {
    let mut file = std::fs::File::create(path).unwrap();
    let mut took: Vec<f64> = (0..SYNCS)
        .map(|_| {
            seconds(|| {
                file.write_all(&[2; 4096]).unwrap();
                file.sync_data().unwrap();
            })
        })
        .collect();
    took.sort_by(f64::total_cmp);
    took
}

pub fn rows() {
    let folder = beside_the_build();
    let book = folder.path().join("book");
    let files = Arc::new(RealFiles);
    FileStore::create(&book, &*files, &[5; 32]).unwrap();
    let mut chance = Draw::new([6; 32]);
    let options = FileStoreOptions::new(Box::new(move || chance.bytes()));
    let store = Arc::new(FileStore::open(&book, options, files).unwrap());
    let secret = store.secret().unwrap();
    let mut shop = Shop::found(store, ORIGIN, secret);
    // A piece is weighed in its mould once.
    let commands: usize = TURNS.iter().map(|(size, count)| size * count * ROUNDS).sum();
    let mut pieces = shop.pour(commands.div_ceil(PIECES)).into_iter();
    for (size, count) in TURNS {
        let taken = interleave(
            || turns(&mut shop, &mut pieces, size, count),
            || syncs(&folder.path().join("preallocated"), 100),
        );
        row(
            &format!("durable commands at the desk, {size} a turn (which syncs vault and log)"),
            "fdatasync of 4 KiB in a file that is there",
            " /s",
            &taken,
            Asked::Nothing,
        );
    }
}
