//! Checking paths: inclusion and consistency (RFC 9162 sections 2.1.3.2 and 2.1.4.2).

use super::Unproven;
use super::hash::{Hash, node_hash};

/// Checks that a leaf stands at `index` in a tree of `size` with `root`.
///
/// The path does not bind the size: some wrong sizes accept the same path. Take the size from a signed checkpoint.
///
/// # Errors
/// [`Unproven`].
pub fn verify_inclusion(
    index: u64,
    size: u64,
    leaf: &Hash,
    path: &[Hash],
    root: &Hash,
) -> Result<(), Unproven> {
    if index >= size {
        return Err(Unproven::OutsideTree { index, size });
    }
    let (mut from, mut last) = (index, size.saturating_sub(1));
    let mut reached = *leaf;
    for sibling in path {
        if last == 0 {
            return Err(Unproven::PathLength);
        }
        if from & 1 == 1 || from == last {
            reached = node_hash(sibling, &reached);
            skip_right_edge(&mut from, &mut last);
        } else {
            reached = node_hash(&reached, sibling);
        }
        from >>= 1;
        last >>= 1;
    }
    if last != 0 {
        return Err(Unproven::PathLength);
    }
    if reached == *root {
        Ok(())
    } else {
        Err(Unproven::OtherRoot)
    }
}

/// Checks that the tree of size `to` begins with the tree of size `from`.
///
/// # Errors
/// [`Unproven`]; `from` 0 is refused, since anything begins with nothing.
pub fn verify_consistency(
    from: u64,
    to: u64,
    from_root: &Hash,
    to_root: &Hash,
    path: &[Hash],
) -> Result<(), Unproven> {
    if from == 0 || from > to {
        return Err(Unproven::OutsideTree {
            index: from,
            size: to,
        });
    }
    if from == to {
        return match path {
            [] if from_root == to_root => Ok(()),
            [] => Err(Unproven::OtherRoot),
            _ => Err(Unproven::PathLength),
        };
    }
    let (first, rest) = if from.is_power_of_two() {
        (*from_root, path)
    } else {
        path.split_first()
            .map(|(first, rest)| (*first, rest))
            .ok_or(Unproven::PathLength)?
    };
    let (mut at, mut last) = (from.saturating_sub(1), to.saturating_sub(1));
    while at & 1 == 1 {
        at >>= 1;
        last >>= 1;
    }
    let (mut old, mut new) = (first, first);
    for hash in rest {
        if last == 0 {
            return Err(Unproven::PathLength);
        }
        if at & 1 == 1 || at == last {
            old = node_hash(hash, &old);
            new = node_hash(hash, &new);
            skip_right_edge(&mut at, &mut last);
        } else {
            new = node_hash(&new, hash);
        }
        at >>= 1;
        last >>= 1;
    }
    if last != 0 {
        return Err(Unproven::PathLength);
    }
    if old == *from_root && new == *to_root {
        Ok(())
    } else {
        Err(Unproven::OtherRoot)
    }
}

/// On the right edge there are levels without a sibling; they are passed over.
const fn skip_right_edge(at: &mut u64, last: &mut u64) {
    while *at & 1 == 0 && *at != 0 {
        *at >>= 1;
        *last >>= 1;
    }
}
