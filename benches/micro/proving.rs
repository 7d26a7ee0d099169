//! A tree of a million leaves, and the proof file of a certified piece.

use super::books::Grown;
use criterion::{BatchSize, Criterion};
use pourbook::check::{ProofFile, Trust, check_piece};
use pourbook::log::Store;
use pourbook::proof::{Hash, Tree, leaf_hash, verify_inclusion};
use std::hint::black_box;

const LEAVES: u64 = 1_000_000;
/// Leaves that are added in one measurement.
const ADDED: u64 = 1_024;

fn leaf(index: u64) -> Hash {
    leaf_hash(&index.to_be_bytes())
}

pub fn steps(criterion: &mut Criterion, grown: &Grown) {
    let leaves: Vec<Hash> = (0..ADDED).map(leaf).collect();
    let filled = || {
        let mut tree = Tree::new();
        leaves.iter().for_each(|leaf| tree.push(*leaf));
        tree
    };
    criterion.bench_function(&format!("tree of {ADDED} leaves from their hashes"), |b| {
        b.iter_batched(|| (), |()| filled(), BatchSize::SmallInput);
    });
    let mut tree = Tree::new();
    (0..LEAVES).for_each(|index| tree.push(leaf(index)));
    let mut index = 0;
    let mut next = || {
        // A step that meets every leaf, without an order.
        index = (index + 611_953) % LEAVES;
        index
    };
    criterion.bench_function("path in a tree of a million", |b| {
        b.iter(|| tree.inclusion(next(), LEAVES).unwrap())
    });
    criterion.bench_function("root of a tree of a million", |b| b.iter(|| tree.root()));
    let (at, root) = (next(), tree.root());
    let path = tree.inclusion(at, LEAVES).unwrap();
    criterion.bench_function("path of a million verified", |b| {
        b.iter(|| verify_inclusion(at, LEAVES, black_box(&leaf(at)), &path, &root).unwrap());
    });

    let reader = grown.reader();
    let serial = &grown.certified[0].0;
    let first = reader.store().read(0).unwrap().unwrap();
    let trust = Trust {
        root: pourbook::record::read(&first).unwrap().kid,
        policy: None,
    };
    let file = reader.proof(serial).unwrap();
    let bytes = file.to_bytes();
    let says = |step: &str| {
        format!(
            "proof file of {} entries, {} bytes: {step}",
            file.proofs.len(),
            bytes.len()
        )
    };
    criterion.bench_function(&says("built"), |b| b.iter(|| reader.proof(serial).unwrap()));
    criterion.bench_function(&says("written"), |b| b.iter(|| file.to_bytes()));
    criterion.bench_function(&says("read"), |b| {
        b.iter(|| ProofFile::read(black_box(&bytes)).unwrap())
    });
    let holds = check_piece(&bytes, &trust);
    assert!(
        matches!(holds.conclusion, pourbook::check::Conclusion::Holds { .. }),
        "{holds:?}"
    );
    criterion.bench_function(&says("checked"), |b| {
        b.iter(|| check_piece(black_box(&bytes), &trust))
    });
}
