//! Tests of the floor `proof`: published values, a naive second implementation, and libraries that others wrote.

mod demo_log;
mod lengths;
mod libraries;
mod naive;
mod notes;
mod policies;
mod published;
mod texts;

use pourbook::proof::{Hash, Tree, leaf_hash};

/// A tree over entries.
fn tree_of<E: AsRef<[u8]>>(entries: impl IntoIterator<Item = E>) -> Tree {
    let mut tree = Tree::new();
    for entry in entries {
        tree.push(leaf_hash(entry.as_ref()));
    }
    tree
}

/// A hash from lower-case hex.
fn hash_of_hex(hex: &str) -> Hash {
    Hash(bytes_of_hex(hex).try_into().unwrap())
}

fn bytes_of_hex(hex: &str) -> Vec<u8> {
    (0..hex.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap())
        .collect()
}
