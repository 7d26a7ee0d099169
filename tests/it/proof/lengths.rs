//! A path that is right for one size must not pass for a smaller one, although it leads to the same root.
//!
//! Here the path itself is genuine and only the numbers lie. The check that a path is not longer than its tree is deep
//! is all that stands between: the hashes come out equal.

use super::tree_of;
use pourbook::proof::{Unproven, verify_consistency, verify_inclusion};

#[test]
fn the_path_of_the_last_leaf_does_not_pass_for_a_smaller_tree() {
    let tree = tree_of((0..64).map(|i| format!("entry {i}\n")));
    for height in 1..=6_u32 {
        let size = 1 << height;
        let leaf = tree.leaf(size - 1).unwrap();
        let path = tree.inclusion(size - 1, size).unwrap();
        let root = tree.root_at(size).unwrap();
        verify_inclusion(size - 1, size, &leaf, &path, &root).unwrap();
        for lower in 0..height {
            let claimed = 1 << lower;
            assert_eq!(
                verify_inclusion(claimed - 1, claimed, &leaf, &path, &root),
                Err(Unproven::PathLength),
                "leaf {} of {size} as leaf {} of {claimed}",
                size - 1,
                claimed - 1
            );
        }
    }
}

#[test]
fn a_consistency_proof_does_not_pass_for_smaller_trees() {
    let tree = tree_of((0..64).map(|i| format!("entry {i}\n")));
    for height in 3..=6_u32 {
        let to = 1 << height;
        let from = to - 1;
        let path = tree.consistency(from, to).unwrap();
        let (from_root, to_root) = (tree.root_at(from).unwrap(), tree.root_at(to).unwrap());
        verify_consistency(from, to, &from_root, &to_root, &path).unwrap();
        for lower in 2..height {
            let claimed = 1 << lower;
            assert_eq!(
                verify_consistency(claimed - 1, claimed, &from_root, &to_root, &path),
                Err(Unproven::PathLength),
                "{from} to {to} as {} to {claimed}",
                claimed - 1
            );
        }
    }
}
