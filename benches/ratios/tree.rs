//! The row of the tree alone: leaves and root, against hashing the same bytes in one go by the same library.

use super::books::Grown;
use super::table::{Asked, interleave, rate, row};
use pourbook::proof::{Tree, leaf_hash};
use sha2::{Digest, Sha256};
use std::hint::black_box;

/// Entries that are gone through again and again: they are real ones, and fit into memory.
const DISTINCT: usize = 100_000;

pub fn rows(grown: &mut Grown, leaves: usize) {
    grown.to(DISTINCT.min(leaves));
    let mut entries = grown.entries();
    entries.truncate(DISTINCT);
    let bytes: usize = entries.iter().map(Vec::len).sum::<usize>() / entries.len();
    let all = || entries.iter().cycle().take(leaves);
    let taken = interleave(
        || {
            rate(leaves, || {
                let mut tree = Tree::new();
                for entry in all() {
                    tree.push(leaf_hash(entry));
                }
                black_box(tree.root());
            })
        },
        || {
            rate(leaves, || {
                let mut hash = Sha256::new();
                for entry in all() {
                    hash.update(entry);
                }
                black_box(hash.finalize());
            })
        },
    );
    row(
        &format!("tree alone: leaves and root of {leaves} entries of {bytes} bytes, one core"),
        "SHA-256 of the same bytes in one go, one core",
        " /s",
        &taken,
        Asked::AtLeast(0.6),
    );
}
