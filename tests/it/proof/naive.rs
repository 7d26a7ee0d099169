//! Every index and size up to 64, against the recursive definitions of RFC 6962 section 2.1 written out once more, and
//! every small change of a proof, which must be refused.

use super::tree_of;
use pourbook::proof::{Hash, leaf_hash, node_hash, verify_consistency, verify_inclusion};

const MOST: u64 = 64;

fn entries(count: u64) -> Vec<String> {
    (0..count).map(|index| format!("leaf {index}")).collect()
}

/// The largest power of two below `n`.
fn k(n: usize) -> usize {
    let mut k = 1;
    while k * 2 < n {
        k *= 2;
    }
    k
}

/// MTH(D[n]).
fn mth(d: &[Hash]) -> Hash {
    match d {
        [] => "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855".pipe(super::hash_of_hex),
        [one] => *one,
        _ => {
            let (left, right) = d.split_at(k(d.len()));
            node_hash(&mth(left), &mth(right))
        }
    }
}

trait Pipe: Sized {
    fn pipe<T>(self, f: impl FnOnce(Self) -> T) -> T {
        f(self)
    }
}
impl Pipe for &str {}

/// PATH(m, D[n]).
fn path(m: usize, d: &[Hash]) -> Vec<Hash> {
    if d.len() <= 1 {
        return Vec::new();
    }
    let (left, right) = d.split_at(k(d.len()));
    let (mut path, sibling) = if m < left.len() {
        (path(m, left), mth(right))
    } else {
        (path(m - left.len(), right), mth(left))
    };
    path.push(sibling);
    path
}

/// SUBPROOF(m, D[n], b).
fn subproof(m: usize, d: &[Hash], b: bool) -> Vec<Hash> {
    if m == d.len() {
        return if b { Vec::new() } else { vec![mth(d)] };
    }
    let (left, right) = d.split_at(k(d.len()));
    let (mut proof, other) = if m <= left.len() {
        (subproof(m, left, b), mth(right))
    } else {
        (subproof(m - left.len(), right, false), mth(left))
    };
    proof.push(other);
    proof
}

#[test]
fn every_root_and_path_up_to_64_is_that_of_the_definition() {
    let tree = tree_of(entries(MOST));
    let leaves: Vec<Hash> = entries(MOST).iter().map(|e| leaf_hash(e.as_bytes())).collect();
    for size in 0..=MOST {
        let d = &leaves[..size as usize];
        let root = mth(d);
        assert_eq!(tree.root_at(size), Some(root), "size {size}");
        for index in 0..size {
            let found = tree.inclusion(index, size).unwrap();
            assert_eq!(found, path(index as usize, d), "{index} in {size}");
            assert_eq!(
                verify_inclusion(index, size, &leaves[index as usize], &found, &root),
                Ok(())
            );
            assert_eq!(tree.leaf(index), Some(leaves[index as usize]));
        }
        assert_eq!(tree.inclusion(size, size), None);
        for from in 1..=size {
            let found = tree.consistency(from, size).unwrap();
            assert_eq!(found, subproof(from as usize, d, true), "{from} to {size}");
            let old = mth(&leaves[..from as usize]);
            assert_eq!(verify_consistency(from, size, &old, &root, &found), Ok(()));
        }
        assert_eq!(tree.consistency(0, size), None);
        assert_eq!(tree.consistency(size + 1, size), None);
    }
    assert_eq!(tree.inclusion(0, MOST + 1), None);
    assert_eq!(tree.consistency(1, MOST + 1), None);
    assert_eq!(tree.leaf(MOST), None);
}

#[test]
fn a_tree_that_grew_since_gives_the_paths_of_its_earlier_sizes() {
    let grown = tree_of(entries(1000));
    for size in [1, 2, 3, 255, 256, 257, 511, 512, 513, 999, 1000] {
        let then = tree_of(entries(size));
        assert_eq!(grown.root_at(size), Some(then.root()));
        for index in [0, size / 2, size - 1] {
            assert_eq!(grown.inclusion(index, size), then.inclusion(index, size));
        }
        assert_eq!(
            grown.consistency(size.div_ceil(2), size),
            then.consistency(size.div_ceil(2), size)
        );
    }
}

fn flips(hash: &Hash) -> impl Iterator<Item = Hash> {
    (0..256).map(move |bit| {
        let mut other = *hash;
        other.0[bit / 8] ^= 1 << (bit % 8);
        other
    })
}

#[test]
fn every_flipped_bit_of_an_inclusion_proof_is_refused() {
    let tree = tree_of(entries(13));
    for size in 1..=13 {
        let root = tree.root_at(size).unwrap();
        for index in 0..size {
            let leaf = tree.leaf(index).unwrap();
            let path = tree.inclusion(index, size).unwrap();
            let holds = |index, leaf: &Hash, path: &[Hash], root: &Hash| {
                verify_inclusion(index, size, leaf, path, root).is_ok()
            };
            assert!(holds(index, &leaf, &path, &root));
            assert!(flips(&leaf).all(|other| !holds(index, &other, &path, &root)));
            assert!(flips(&root).all(|other| !holds(index, &leaf, &path, &other)));
            for place in 0..path.len() {
                for other in flips(&path[place]) {
                    let mut changed = path.clone();
                    changed[place] = other;
                    assert!(!holds(index, &leaf, &changed, &root));
                }
                let mut shorter = path.clone();
                shorter.remove(place);
                assert!(!holds(index, &leaf, &shorter, &root));
                let mut longer = path.clone();
                longer.insert(place, path[place]);
                assert!(!holds(index, &leaf, &longer, &root));
            }
            assert!((0..64).all(|bit| !holds(index ^ (1 << bit), &leaf, &path, &root)));
        }
    }
}

/// A path does not bind the size: where leaf and right edge lie apart, a tree with more or fewer leaves on the right
/// asks for as many hashes on the same sides. A size with another number of levels is always refused, and the true
/// size comes from a signed checkpoint.
#[test]
fn a_flipped_bit_of_the_size_is_refused_or_leaves_the_shape_of_the_path_as_it_was() {
    let tree = tree_of(entries(40));
    let mut accepted = 0;
    for size in 1..=40_u64 {
        let root = tree.root_at(size).unwrap();
        for index in 0..size {
            let leaf = tree.leaf(index).unwrap();
            let path = tree.inclusion(index, size).unwrap();
            for bit in 0..64 {
                let other = size ^ (1 << bit);
                let holds = verify_inclusion(index, other, &leaf, &path, &root).is_ok();
                assert_eq!(
                    holds,
                    other > index && sides(index, other) == sides(index, size),
                    "{index} {size} {other}"
                );
                accepted += usize::from(holds);
            }
        }
    }
    assert!(
        accepted > 0,
        "the subtlety is real: some wrong sizes accept the path"
    );
}

/// On which side each sibling of a path stands, by the recursion of RFC 6962 section 2.1.1.
fn sides(index: u64, size: u64) -> Vec<bool> {
    let (mut m, mut n, mut sides) = (index, size, Vec::new());
    while n > 1 {
        let k = 1_u64 << (63 - (n - 1).leading_zeros());
        sides.push(m < k);
        (m, n) = if m < k { (m, k) } else { (m - k, n - k) };
    }
    sides
}

#[test]
fn every_flipped_bit_of_a_consistency_proof_is_refused() {
    let tree = tree_of(entries(13));
    for to in 1..=13 {
        for from in 1..=to {
            let (old, new) = (tree.root_at(from).unwrap(), tree.root_at(to).unwrap());
            let path = tree.consistency(from, to).unwrap();
            let holds =
                |old: &Hash, new: &Hash, path: &[Hash]| verify_consistency(from, to, old, new, path).is_ok();
            assert!(holds(&old, &new, &path));
            assert!(flips(&old).all(|other| !holds(&other, &new, &path)));
            assert!(flips(&new).all(|other| !holds(&old, &other, &path)));
            for place in 0..path.len() {
                for other in flips(&path[place]) {
                    let mut changed = path.clone();
                    changed[place] = other;
                    assert!(!holds(&old, &new, &changed));
                }
                let mut shorter = path.clone();
                shorter.remove(place);
                assert!(!holds(&old, &new, &shorter));
            }
            let mut longer = path.clone();
            longer.push(new);
            assert!(!holds(&old, &new, &longer));
        }
    }
}

/// On which side each hash of a consistency proof stands, and whether it begins with the old root itself
/// (RFC 6962 section 2.1.2).
fn shape(from: u64, to: u64) -> (Vec<bool>, bool) {
    let (mut m, mut n, mut sides, mut known) = (from, to, Vec::new(), true);
    while m != n {
        let k = 1_u64 << (63 - (n - 1).leading_zeros());
        sides.push(m <= k);
        (m, n, known) = if m <= k {
            (m, k, known)
        } else {
            (m - k, n - k, false)
        };
    }
    (sides, known)
}

/// As with an inclusion path: other sizes are refused, unless they ask for the same hashes on the same sides.
#[test]
fn other_sizes_of_a_consistency_proof_are_refused_or_leave_its_shape_as_it_was() {
    let tree = tree_of(entries(20));
    for to in 1..=20 {
        for from in 1..=to {
            let (old, new) = (tree.root_at(from).unwrap(), tree.root_at(to).unwrap());
            let path = tree.consistency(from, to).unwrap();
            for (other_from, other_to) in (0..=40).flat_map(|a| (0..=40).map(move |b| (a, b))) {
                let holds = verify_consistency(other_from, other_to, &old, &new, &path).is_ok();
                let same =
                    (1..=other_to).contains(&other_from) && shape(other_from, other_to) == shape(from, to);
                assert_eq!(holds, same, "{from} to {to} taken for {other_from} to {other_to}");
            }
        }
    }
}

#[test]
fn a_proof_with_numbers_that_cannot_be_is_refused_without_a_panic() {
    let hash = leaf_hash(b"");
    let path = vec![hash; 64];
    for index in [0, 1, u64::MAX - 1, u64::MAX] {
        for size in [0, 1, u64::MAX - 1, u64::MAX] {
            assert!(verify_inclusion(index, size, &hash, &path, &hash_other()).is_err());
            assert!(verify_consistency(index, size, &hash, &hash_other(), &path).is_err());
        }
    }
    assert!(
        verify_consistency(0, 5, &hash, &hash, &[]).is_err(),
        "nothing is shown from size 0"
    );
}

fn hash_other() -> Hash {
    leaf_hash(b"other")
}
