//! The tree of RFC 6962 section 2.1, with every node of a complete subtree kept in memory.
//!
//! Level 0 holds the leaves, level `l` the roots of complete subtrees of `2^l` leaves. A path is then a handful of
//! look-ups; only nodes on the right edge, whose subtrees are not complete, are hashed anew. It costs 64 bytes a leaf.

use super::hash::{Hash, empty_root, node_hash};

/// An append-only tree. It answers for every size that it ever had.
#[derive(Clone, Debug, Default)]
pub struct Tree {
    levels: Vec<Vec<Hash>>,
}

impl Tree {
    /// An empty tree.
    #[must_use]
    pub const fn new() -> Self {
        Self { levels: Vec::new() }
    }

    /// Number of leaves.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.levels.first().map_or(0, |leaves| to_u64(leaves.len()))
    }

    /// Adds a leaf.
    pub fn push(&mut self, leaf: Hash) {
        let mut node = leaf;
        let mut level = 0;
        loop {
            if self.levels.len() == level {
                self.levels.push(Vec::new());
            }
            let Some(nodes) = self.levels.get_mut(level) else {
                return;
            };
            nodes.push(node);
            let [.., left, right] = nodes.as_slice() else {
                return;
            };
            if nodes.len() % 2 == 1 {
                return;
            }
            node = node_hash(left, right);
            level = level.saturating_add(1);
        }
    }

    /// A leaf hash.
    #[must_use]
    pub fn leaf(&self, index: u64) -> Option<Hash> {
        self.node(0, index)
    }

    /// The root.
    #[must_use]
    pub fn root(&self) -> Hash {
        self.range(0, self.size()).unwrap_or_else(empty_root)
    }

    /// The root that the tree had at `size`.
    #[must_use]
    pub fn root_at(&self, size: u64) -> Option<Hash> {
        match size {
            0 => Some(empty_root()),
            _ if size <= self.size() => self.range(0, size),
            _ => None,
        }
    }

    /// `PATH(index, D[size])` of RFC 6962 section 2.1.1, leaf's sibling first.
    #[must_use]
    pub fn inclusion(&self, index: u64, size: u64) -> Option<Vec<Hash>> {
        if index >= size || size > self.size() {
            return None;
        }
        let (mut start, mut end) = (0_u64, size);
        let mut path = Vec::new();
        while end.checked_sub(start)? > 1 {
            let middle = start.checked_add(split(end.checked_sub(start)?))?;
            if index < middle {
                path.push(self.range(middle, end)?);
                end = middle;
            } else {
                path.push(self.range(start, middle)?);
                start = middle;
            }
        }
        path.reverse();
        Some(path)
    }

    /// `PROOF(from, D[to])` of RFC 6962 section 2.1.2. `from` is at least 1; equal sizes have an empty proof.
    #[must_use]
    pub fn consistency(&self, from: u64, to: u64) -> Option<Vec<Hash>> {
        if from == 0 || from > to || to > self.size() {
            return None;
        }
        let (mut start, mut end) = (0_u64, to);
        let mut path = Vec::new();
        // Whether the old tree is wholly the left part of what is looked at: its root is then known to the verifier.
        let mut known = true;
        while end != from {
            let middle = start.checked_add(split(end.checked_sub(start)?))?;
            if from <= middle {
                path.push(self.range(middle, end)?);
                end = middle;
            } else {
                path.push(self.range(start, middle)?);
                start = middle;
                known = false;
            }
        }
        if !known {
            path.push(self.range(start, end)?);
        }
        path.reverse();
        Some(path)
    }

    /// The first `width` hashes (at most 256) of tile `n` at tile level `level`, as bytes.
    #[must_use]
    pub fn tile(&self, level: u8, n: u64, width: u16) -> Option<Vec<u8>> {
        let depth = usize::from(level).checked_mul(8)?;
        let start = usize::try_from(n.checked_mul(256)?).ok()?;
        if width == 0 || width > 256 {
            return None;
        }
        let hashes = self
            .levels
            .get(depth)?
            .get(start..start.checked_add(usize::from(width))?)?;
        Some(hashes.iter().flat_map(|hash| hash.0).collect())
    }

    fn node(&self, level: usize, n: u64) -> Option<Hash> {
        self.levels.get(level)?.get(usize::try_from(n).ok()?).copied()
    }

    /// `MTH(D[start:end])` where `start` is a multiple of the greatest power of two in the range.
    fn range(&self, start: u64, end: u64) -> Option<Hash> {
        let mut right: Option<Hash> = None;
        let mut end = end;
        // Complete subtrees from the right: each is stored; joined from the right, as the recursion joins them.
        while end > start {
            let count = end.checked_sub(start)?;
            let level = count.trailing_zeros();
            let width = 1_u64.checked_shl(level)?;
            let first = end.checked_sub(width)?;
            let node = self.node(usize::try_from(level).ok()?, first.checked_shr(level)?)?;
            right = Some(right.map_or(node, |right| node_hash(&node, &right)));
            end = first;
        }
        right
    }
}

/// The greatest power of two below `count`, which is at least 2.
const fn split(count: u64) -> u64 {
    let below = count.saturating_sub(1);
    1_u64 << (63_u32.saturating_sub(below.leading_zeros()))
}

fn to_u64(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}
