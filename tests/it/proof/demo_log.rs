//! A log of 300 entries, byte for byte.
//!
//! An own vector: entry `i` is the ASCII text `entry <i>` and a line feed, the log's key comes from the seed 00 01 .. 1f
//! and the witness's from 20 21 .. 3f. Four independent implementations agreed on every value below when it was made:
//! a program in Python from the RFC's definitions, the Go reference packages for notes and tiled logs, the Rust crates
//! `signed_note` and `tlog_tiles`, and the Rust crate `ct-merkle` (the witness's cosignature: Python only).

use super::tree_of;
use pourbook::proof::tile::{self, TileLevel, TilePath};
use pourbook::proof::{Checkpoint, NoteSigner, NoteVerifier, Tree, open, verify_inclusion};
use sha2::{Digest, Sha256};

pub const ORIGIN: &str = "maker.example/log";
pub const VKEY: &str = "maker.example/log+89825a72+AQOhB7/zzhC+HXDdGOdLwJln5NYwm6UNXx3chmQSVTG4";
const SIGNED: &str = "\
maker.example/log
300
4BsONTxLnszPUag63lJOdu1sTqFEed8GnTMm7B4r98M=

— maker.example/log iYJaco3n4l4GYu8at0LY065v+/U18EFmgVNh7mjO1educ6Auyy7d0atcMpiEa79u8tmEpQEIRe9pBLmQW/srPLbRMww=
";
const COSIGNED: &str = "\
— witness.example/w1 IDJKvgAAAABpJWtg3bd9AiVM/2kPQcrjkbE3DlfK31VDVlrYDuTGzf196ku7PbX33qQSKYnIdPmQiAI3T2l6T8hnH7kNvMYfxj6yCg==
";

pub fn entries() -> Vec<String> {
    (0..300).map(|index| format!("entry {index}\n")).collect()
}

pub fn tree() -> Tree {
    tree_of(entries())
}

pub fn seed(first: u8) -> [u8; 32] {
    std::array::from_fn(|at| first + at as u8)
}

pub fn signer() -> NoteSigner {
    NoteSigner::new(ORIGIN, &seed(0)).unwrap()
}

fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

#[test]
fn its_checkpoint_is_signed_as_four_implementations_sign_it() {
    let tree = tree();
    let checkpoint = Checkpoint {
        origin: ORIGIN.into(),
        size: tree.size(),
        root: tree.root(),
    };
    assert_eq!(signer().verifier().to_string(), VKEY);
    assert_eq!(checkpoint.sign(&signer()), SIGNED);

    let trusted = [NoteVerifier::parse(VKEY).unwrap()];
    assert_eq!(Checkpoint::open(SIGNED, &trusted), Ok(checkpoint.clone()));
    // A witness's line is of a key that is not known here, and is passed over.
    let both = format!("{SIGNED}{COSIGNED}");
    assert_eq!(Checkpoint::open(&both, &trusted), Ok(checkpoint));
    assert_eq!(open(&both, &trusted).unwrap().signed_by, [ORIGIN]);
}

#[test]
fn its_roots_and_the_path_of_entry_42_are_those_of_four_implementations() {
    let tree = tree();
    for (size, root) in [
        (
            1,
            "1621ce7da8b254a4a5258c908c7003736cfc346f2482abe60a60651fbc116791",
        ),
        (
            256,
            "4e8b3bded694dcf1936346c5cc7fc4712c1333cedbda602789d6e3b83c3ac205",
        ),
    ] {
        assert_eq!(tree.root_at(size).unwrap().to_string(), root);
    }
    let path = tree.inclusion(42, 300).unwrap();
    assert_eq!(path.len(), 9);
    assert_eq!(
        path[0].to_base64(),
        "9zSWQLoLEjDkpiJjALBnc3CV9W+JF1HhPJCSSy1J9WE="
    );
    assert_eq!(
        path[8].to_base64(),
        "N/9Ncd2dOVv94TcTtj1QPFdhGwYDat8eCdD+DQW0Kkc="
    );
    assert_eq!(
        verify_inclusion(42, 300, &tree.leaf(42).unwrap(), &path, &tree.root()),
        Ok(())
    );
}

#[test]
fn its_tiles_are_those_of_four_implementations() {
    let tree = tree();
    let mut shown = Vec::new();
    for path in tile::tiles(300) {
        let TileLevel::Hashes(level) = path.level else {
            panic!("only tiles of hashes are listed")
        };
        let bytes = tree.tile(level, path.n, path.width).unwrap();
        shown.push((path.to_string(), bytes.len(), sha256(&bytes)));
    }
    let want = [
        (
            "tile/0/000",
            8192,
            "f2728f07da41df6e7162e102f024bc7ca9281c63b468971acb9e9990e5062eaa",
        ),
        (
            "tile/0/001.p/44",
            1408,
            "e4e1808bb3c17da2b44397d717f5ef32483d4e722bfa3f831144b0e81c9f6ba1",
        ),
        (
            "tile/1/000.p/1",
            32,
            "aebe93cc3324716deb8b07b2192d631e1f97c226275d549a9db17086050b8f65",
        ),
    ];
    assert_eq!(
        shown,
        want.map(|(path, length, digest)| (path.to_owned(), length, digest.to_owned()))
    );
    assert_eq!(tree.tile(0, 1, 45), None, "there are only 44 hashes in it");
    assert_eq!(tree.tile(0, 2, 1), None);
    assert_eq!(tree.tile(0, 0, 0), None);
    assert_eq!(tree.tile(0, 0, 257), None);
    assert_eq!(tree.tile(63, u64::MAX, 256), None);
}

#[test]
fn its_entry_bundles_are_those_of_four_implementations() {
    let entries = entries();
    for (n, width, length, digest) in [
        (
            0,
            256,
            2962,
            "12f75dd8d581872fd76986057e513dc61cc74a1dfb3423eb3f6394246e0152d0",
        ),
        (
            1,
            44,
            528,
            "c9bacd50791128b8ac479b30f6f2b44f0cf5e0ca95c966a79a873ac0f97d8da4",
        ),
    ] {
        let path = TilePath {
            level: TileLevel::Entries,
            n,
            width,
        };
        assert_eq!(tile::width_at(path.level, n, 300), width);
        let of_it: Vec<&[u8]> = entries
            .iter()
            .skip(n as usize * 256)
            .take(256)
            .map(|entry| entry.as_bytes())
            .collect();
        let bytes = tile::bundle(of_it.iter().copied()).unwrap();
        assert_eq!((bytes.len(), sha256(&bytes).as_str()), (length, digest));
        assert_eq!(tile::unbundle(&bytes).unwrap(), of_it);
    }
    assert_eq!(tile::width_at(TileLevel::Entries, 2, 300), 0);
}
