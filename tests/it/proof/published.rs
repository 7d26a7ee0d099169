//! Roots, paths and refusals that others published for the tree of RFC 6962.

use super::{bytes_of_hex, hash_of_hex, tree_of};
use base64::Engine as _;
use pourbook::proof::{Hash, Tree, leaf_hash, verify_consistency, verify_inclusion};
use serde::Deserialize;

// Leaves, roots and paths: transparency-dev/merkle, testonly/constants.go; the same tree as in the tests of RFC 6962's
// first implementations.
const LEAVES: [&str; 8] = [
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
];
const ROOTS: [&str; 9] = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
];
const NODE_1: &str = "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7";
const NODES_2_3: &str = "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e";
const NODES_4_7: &str = "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4";
const NODE_4: &str = "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b";
const NODES_6_7: &str = "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0";
const NODES_4_5: &str = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a";

fn tree() -> Tree {
    tree_of(LEAVES.map(bytes_of_hex))
}

fn path(hashes: &[&str]) -> Vec<Hash> {
    hashes.iter().map(|hex| hash_of_hex(hex)).collect()
}

#[test]
fn the_roots_are_the_published_ones() {
    let tree = tree();
    for (size, root) in ROOTS.iter().enumerate() {
        assert_eq!(
            tree.root_at(size as u64).unwrap().to_string(),
            *root,
            "size {size}"
        );
        let fresh = tree_of(LEAVES.iter().take(size).map(|hex| bytes_of_hex(hex)));
        assert_eq!(fresh.root().to_string(), *root, "size {size}");
    }
    assert_eq!(tree.root_at(9), None);
    assert_eq!(
        Tree::new().root().to_base64(),
        "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="
    );
}

#[test]
fn the_inclusion_paths_are_the_published_ones() {
    for (index, size, want) in [
        (0, 1, path(&[])),
        (0, 8, path(&[NODE_1, NODES_2_3, NODES_4_7])),
        (5, 8, path(&[NODE_4, NODES_6_7, ROOTS[4]])),
        (2, 3, path(&[ROOTS[2]])),
    ] {
        assert_eq!(tree().inclusion(index, size).unwrap(), want, "{index} in {size}");
        let leaf = leaf_hash(&bytes_of_hex(LEAVES[index as usize]));
        let root = hash_of_hex(ROOTS[size as usize]);
        assert_eq!(verify_inclusion(index, size, &leaf, &want, &root), Ok(()));
    }
}

#[test]
fn the_consistency_proofs_are_the_published_ones() {
    for (from, to, want) in [
        (1, 1, path(&[])),
        (1, 8, path(&[NODE_1, NODES_2_3, NODES_4_7])),
        (6, 8, path(&[NODES_4_5, NODES_6_7, ROOTS[4]])),
        (2, 5, path(&[NODES_2_3, NODE_4])),
    ] {
        assert_eq!(tree().consistency(from, to).unwrap(), want, "{from} to {to}");
        let roots = [from, to].map(|size| hash_of_hex(ROOTS[size as usize]));
        assert_eq!(verify_consistency(from, to, &roots[0], &roots[1], &want), Ok(()));
    }
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase", deny_unknown_fields)]
struct Inclusion {
    leaf_idx: u64,
    tree_size: u64,
    root: String,
    leaf_hash: String,
    proof: Option<Vec<String>>,
    #[serde(rename = "desc")]
    _desc: String,
    want_err: bool,
    name: String,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase", deny_unknown_fields)]
struct Consistency {
    size1: u64,
    size2: u64,
    root1: String,
    root2: String,
    proof: Option<Vec<String>>,
    #[serde(rename = "desc")]
    _desc: String,
    want_err: bool,
    name: String,
}

/// `None` where one of the texts is not the base64 of 32 bytes: such a proof is refused when it is read.
fn hashes(texts: Option<&Vec<String>>) -> Option<Vec<Hash>> {
    texts.map_or(Some(Vec::new()), |texts| {
        texts.iter().map(|text| Hash::from_base64(text)).collect()
    })
}

// Source: transparency-dev/merkle @417fb0c, testdata/inclusion (tests/vectors/merkle/README.md).
#[test]
fn the_98_published_inclusion_vectors_are_judged_as_published() {
    let vectors: Vec<Inclusion> =
        serde_json::from_str(include_str!("../../vectors/merkle/inclusion.json")).unwrap();
    assert_eq!(vectors.len(), 98);
    let mut held = 0;
    for v in &vectors {
        let read = || {
            let root = Hash::from_base64(&v.root)?;
            let leaf = Hash::from_base64(&v.leaf_hash)?;
            let path = hashes(v.proof.as_ref())?;
            verify_inclusion(v.leaf_idx, v.tree_size, &leaf, &path, &root).ok()
        };
        assert_eq!(read().is_none(), v.want_err, "{}", v.name);
        held += usize::from(!v.want_err);
    }
    assert!(held > 0 && held < 98, "the vectors have both kinds");
}

/// Some vectors put words in place of roots, as what they show does not depend on them (one of these holds: equal
/// sizes and equal roots). A hash of the words stands in for them here, equal where they are equal.
fn root(text: &str) -> Option<Hash> {
    let bytes = base64::engine::general_purpose::STANDARD.decode(text).ok()?;
    Some(Hash::from_base64(text).unwrap_or_else(|| leaf_hash(&bytes)))
}

// Source: transparency-dev/merkle @417fb0c, testdata/consistency (tests/vectors/merkle/README.md).
#[test]
fn the_98_published_consistency_vectors_are_judged_as_published() {
    let vectors: Vec<Consistency> =
        serde_json::from_str(include_str!("../../vectors/merkle/consistency.json")).unwrap();
    assert_eq!(vectors.len(), 98);
    let mut held = 0;
    for v in &vectors {
        let read = || {
            let roots = (root(&v.root1)?, root(&v.root2)?);
            let path = hashes(v.proof.as_ref())?;
            verify_consistency(v.size1, v.size2, &roots.0, &roots.1, &path).ok()
        };
        assert_eq!(read().is_none(), v.want_err, "{}", v.name);
        held += usize::from(!v.want_err);
    }
    assert!(held > 0 && held < 98, "the vectors have both kinds");
}
