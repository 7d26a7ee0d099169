//! Libraries that others wrote, held against ours in both directions: `ct-merkle` (tree and proofs), `tlog_tiles`
//! (proofs, tiles, checkpoints) and `signed_note` (notes and keys).

use super::demo_log::{self, ORIGIN, VKEY};
use super::tree_of;
use ct_merkle::mem_backed_tree::MemoryBackedTree;
use ct_merkle::{ConsistencyProof, InclusionProof, RootHash};
use pourbook::proof::{
    Checkpoint, Hash, NoteSigner, NoteVerifier, Tree, leaf_hash, open, sign, verify_consistency,
    verify_inclusion,
};
use sha2::Sha256;
use tlog_tiles::{HashReader, Tile, TileHashReader, TileReader, tlog};

const MOST: u64 = 40;

fn entries(count: u64) -> Vec<String> {
    (0..count).map(|index| format!("leaf {index}")).collect()
}

fn bytes(path: &[Hash]) -> Vec<u8> {
    path.iter().flat_map(|hash| hash.0).collect()
}

fn hashes(bytes: &[u8]) -> Vec<Hash> {
    bytes
        .chunks(32)
        .map(|chunk| Hash(chunk.try_into().unwrap()))
        .collect()
}

#[test]
fn ct_merkle_verifies_our_proofs_and_we_verify_its() {
    let ours = tree_of(entries(MOST));
    let all = entries(MOST);
    let mut theirs = MemoryBackedTree::<Sha256, String>::new();
    let mut roots: Vec<RootHash<Sha256>> = Vec::new();
    for size in 1..=MOST {
        theirs.push(all[size as usize - 1].clone());
        let root = theirs.root();
        let our_root = ours.root_at(size).unwrap();
        assert_eq!(root.as_bytes().as_slice(), our_root.0);
        roots.push(root.clone());
        for index in 0..size {
            let proof = InclusionProof::try_from_bytes(bytes(&ours.inclusion(index, size).unwrap())).unwrap();
            root.verify_inclusion(&all[index as usize], index, &proof)
                .unwrap();
            assert!(
                root.verify_inclusion(&"another".to_owned(), index, &proof)
                    .is_err()
            );

            let proof = hashes(theirs.prove_inclusion(index as usize).as_bytes());
            let leaf = leaf_hash(all[index as usize].as_bytes());
            assert_eq!(verify_inclusion(index, size, &leaf, &proof, &our_root), Ok(()));
        }
        for from in 1..=size {
            let old = &roots[from as usize - 1];
            let proof =
                ConsistencyProof::try_from_bytes(bytes(&ours.consistency(from, size).unwrap())).unwrap();
            root.verify_consistency(old, &proof).unwrap();

            let proof = hashes(theirs.prove_consistency((size - from) as usize).as_bytes());
            let our_old = ours.root_at(from).unwrap();
            assert_eq!(
                verify_consistency(from, size, &our_old, &our_root, &proof),
                Ok(())
            );
        }
    }
}

/// A store of the hashes of `tlog_tiles`, filled by that crate.
struct Stored(Vec<tlog::Hash>);

impl HashReader for Stored {
    fn read_hashes(&self, indexes: &[u64]) -> Result<Vec<tlog::Hash>, tlog::Error> {
        Ok(indexes.iter().map(|index| self.0[*index as usize]).collect())
    }
}

fn theirs(path: &[Hash]) -> Vec<tlog::Hash> {
    path.iter().map(|hash| tlog::Hash(hash.0)).collect()
}

fn ours(path: &[tlog::Hash]) -> Vec<Hash> {
    path.iter().map(|hash| Hash(hash.0)).collect()
}

#[test]
fn tlog_tiles_verifies_our_proofs_and_we_verify_its() {
    let tree = tree_of(entries(MOST));
    let mut stored = Stored(Vec::new());
    for (index, entry) in (0_u64..).zip(entries(MOST)) {
        let more = tlog::stored_hashes(index, entry.as_bytes(), &stored).unwrap();
        stored.0.extend(more);
    }
    for size in 1..=MOST {
        let root = tree.root_at(size).unwrap();
        assert_eq!(tlog::tree_hash(size, &stored).unwrap().0, root.0);
        for index in 0..size {
            let leaf = tree.leaf(index).unwrap();
            let path = theirs(&tree.inclusion(index, size).unwrap());
            tlog::check_record(&path, size, tlog::Hash(root.0), index, tlog::Hash(leaf.0)).unwrap();
            let path = ours(&tlog::prove_record(size, index, &stored).unwrap());
            assert_eq!(verify_inclusion(index, size, &leaf, &path, &root), Ok(()));
        }
        for from in 1..=size {
            let old = tree.root_at(from).unwrap();
            let path = theirs(&tree.consistency(from, size).unwrap());
            tlog::check_tree(&path, size, tlog::Hash(root.0), from, tlog::Hash(old.0)).unwrap();
            let path = ours(&tlog::prove_tree(size, from, &stored).unwrap());
            assert_eq!(verify_consistency(from, size, &old, &root, &path), Ok(()));
        }
    }
}

/// Our tiles, served to `tlog_tiles`, which checks each against the root before it believes it.
struct Served<'a> {
    tree: &'a Tree,
    broken: bool,
}

impl TileReader for Served<'_> {
    fn height(&self) -> u8 {
        8
    }

    fn read_tiles(&self, tiles: &[Tile]) -> Result<Vec<Vec<u8>>, tlog::Error> {
        let read = |tile: &Tile| {
            let width = u16::try_from(tile.width()).unwrap();
            let mut bytes = self.tree.tile(tile.level(), tile.level_index(), width).unwrap();
            bytes[0] ^= u8::from(self.broken);
            bytes
        };
        Ok(tiles.iter().map(read).collect())
    }

    fn save_tiles(&self, _: &[Tile], _: &[Vec<u8>]) {}
}

#[test]
fn tlog_tiles_reads_a_log_from_our_tiles() {
    let tree = tree_of(entries(70_000));
    let (size, root) = (tree.size(), tree.root());
    let served = Served {
        tree: &tree,
        broken: false,
    };
    let reader = TileHashReader::new(size, tlog::Hash(root.0), &served);
    for index in [0, 255, 256, 65_535, 65_536, 69_999] {
        let path = ours(&tlog::prove_record(size, index, &reader).unwrap());
        assert_eq!(tree.inclusion(index, size).unwrap(), path);
    }
    for from in [1, 256, 300, 65_536, 69_999] {
        let path = ours(&tlog::prove_tree(size, from, &reader).unwrap());
        assert_eq!(tree.consistency(from, size).unwrap(), path);
    }
    let broken = Served {
        tree: &tree,
        broken: true,
    };
    let reader = TileHashReader::new(size, tlog::Hash(root.0), &broken);
    assert!(
        tlog::prove_record(size, 300, &reader).is_err(),
        "it does look at the tiles"
    );
}

/// The form of a private key that `signed_note` reads.
fn private_key(vkey: &str, seed: [u8; 32]) -> String {
    use base64::Engine as _;
    // Base64 has `+` too, so the key is what follows the second one.
    let mut parts = vkey.splitn(3, '+');
    let named = format!("{}+{}", parts.next().unwrap(), parts.next().unwrap());
    let mut key = vec![1];
    key.extend(seed);
    format!(
        "PRIVATE+KEY+{named}+{}",
        base64::engine::general_purpose::STANDARD.encode(key)
    )
}

#[test]
fn signed_note_opens_our_notes_and_we_open_its() {
    use signed_note::{Note, StandardSigner, StandardVerifier, VerifierList};
    for (name, first) in [(ORIGIN, 0), ("example.com/ä", 7)] {
        let signer = NoteSigner::new(name, &demo_log::seed(first)).unwrap();
        let vkey = signer.verifier().to_string();
        let known = VerifierList::new(vec![Box::new(StandardVerifier::new(&vkey).unwrap())]);
        for text in ["one line\n", "two\n\nparts\n", "\n"] {
            let note = sign(text, &[&signer]);
            let read = Note::from_bytes(note.as_bytes()).unwrap();
            assert_eq!(read.text(), text.as_bytes());
            assert_eq!(read.verify(&known).unwrap().0.len(), 1);

            let mut made = Note::new(text.as_bytes(), &[]).unwrap();
            let skey = private_key(&vkey, demo_log::seed(first));
            made.add_sigs(&[&StandardSigner::new(&skey).unwrap()]).unwrap();
            let made = String::from_utf8(made.to_bytes()).unwrap();
            assert_eq!(made, note, "Ed25519 signs the same text the same way");
            assert_eq!(
                open(&made, &[NoteVerifier::parse(&vkey).unwrap()]).unwrap().text,
                text
            );
        }
    }
}

#[test]
fn tlog_tiles_reads_our_checkpoints_and_we_read_its() {
    let tree = demo_log::tree();
    let checkpoint = Checkpoint {
        origin: ORIGIN.into(),
        size: 300,
        root: tree.root(),
    };
    let read = tlog_tiles::Checkpoint::from_bytes(checkpoint.text().as_bytes()).unwrap();
    assert_eq!(
        (read.origin(), read.size(), read.hash().0),
        (ORIGIN, 300, tree.root().0)
    );
    let made = tlog_tiles::Checkpoint::new(ORIGIN, 300, tlog::Hash(tree.root().0), "").unwrap();
    let made = String::from_utf8(made.to_bytes()).unwrap();
    assert_eq!(Checkpoint::parse_text(&made), Ok(checkpoint.clone()));
    let signed = checkpoint.sign(&demo_log::signer());
    assert_eq!(
        Checkpoint::open(&signed, &[NoteVerifier::parse(VKEY).unwrap()]),
        Ok(checkpoint)
    );
}
