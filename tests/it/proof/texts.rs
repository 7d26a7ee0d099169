//! Texts: what is written is read back the same, what is read was written so, and no bytes make a reader panic.

use super::demo_log;
use pourbook::proof::tile::{self, TileLevel, TilePath};
use pourbook::proof::{
    Checkpoint, Hash, NoteSigner, NoteVerifier, Policy, TlogProof, Unproven, leaf_hash, open, sign,
};
use proptest::collection::vec;
use proptest::prelude::*;
use sha2::{Digest, Sha256};

fn sha256(text: &str) -> Hash {
    Hash(Sha256::digest(text).into())
}

// transparency-dev/formats, proof/tlog_proof_test.go: the three texts of its TestMarshal.
#[test]
fn proofs_have_the_published_texts() {
    let (one, two) = (sha256("hash1"), sha256("hash2"));
    for (extra, index, path, checkpoint, want) in [
        (
            None,
            5,
            vec![one, two],
            "test checkpoint\n",
            format!(
                "c2sp.org/tlog-proof@v1\nindex 5\n{}\n{}\n\ntest checkpoint\n",
                one.to_base64(),
                two.to_base64()
            ),
        ),
        (
            Some(b"extra information".to_vec()),
            10,
            vec![one],
            "checkpoint data\n",
            format!(
                "c2sp.org/tlog-proof@v1\nextra ZXh0cmEgaW5mb3JtYXRpb24=\nindex 10\n{}\n\ncheckpoint data\n",
                one.to_base64()
            ),
        ),
        (
            None,
            0,
            vec![],
            "checkpoint\n",
            "c2sp.org/tlog-proof@v1\nindex 0\n\ncheckpoint\n".to_owned(),
        ),
    ] {
        let proof = TlogProof {
            extra,
            index,
            path,
            checkpoint: checkpoint.to_owned(),
        };
        assert_eq!(proof.to_string(), want);
        assert_eq!(TlogProof::parse(&want), Ok(proof));
    }
}

#[test]
fn proofs_in_another_form_are_refused() {
    let hash = sha256("hash1").to_base64();
    let long = "A".repeat(64_004);
    for text in [
        // transparency-dev/formats, proof/tlog_proof_test.go: TestUnmarshalErrors.
        "wrong-header\nindex 0\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nextra !!notbase64!!\nindex 0\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\n\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nindex notanumber\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nindex -5\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nindex 0\n!!notbase64!!\n\ncheckpoint\n".to_owned(),
        format!(
            "c2sp.org/tlog-proof@v1\nindex 0\n{}==\n\ncheckpoint\n",
            "A".repeat(86)
        ),
        format!("c2sp.org/tlog-proof@v1\nindex 0\n{}\n", "a".repeat(65 * 1024)),
        // Ours: other spellings of the same, and what is beyond every bound.
        String::new(),
        "c2sp.org/tlog-proof@v1".to_owned(),
        "c2sp.org/tlog-proof@v1\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nindex 00\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nindex +1\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nindex 18446744073709551616\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\r\nindex 0\r\n\r\ncheckpoint\r\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nindex 0\nextra AAAA\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nextra AAAA\nextra AAAA\nindex 0\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nextra AAA\nindex 0\n\ncheckpoint\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nextra AAB=\nindex 0\n\ncheckpoint\n".to_owned(),
        format!("c2sp.org/tlog-proof@v1\nindex 0\n{}\n\ncheckpoint\n", &hash[..43]),
        format!(
            "c2sp.org/tlog-proof@v1\nindex 0\n{}\n\ncheckpoint\n",
            format!("{hash}\n").repeat(65).trim_end()
        ),
        format!("c2sp.org/tlog-proof@v1\nextra {long}\nindex 0\n\ncheckpoint\n"),
        "c2sp.org/tlog-proof@v1\nindex 0\n\n".to_owned(),
        "c2sp.org/tlog-proof@v1\nindex 0\n\ncheckpoint".to_owned(),
        format!(
            "c2sp.org/tlog-proof@v1\nindex 0\n\n{}",
            "checkpoint\n".repeat(6_000)
        ),
    ] {
        assert!(
            matches!(TlogProof::parse(&text), Err(Unproven::Form { .. })),
            "{text:?}"
        );
    }
}

#[test]
fn hashes_have_one_spelling() {
    let hash = leaf_hash(b"entry");
    assert_eq!(Hash::from_base64(&hash.to_base64()), Some(hash));
    assert_eq!(Hash::from_base64url(&hash.to_base64url()), Some(hash));
    let ones = Hash([0xff; 32]);
    assert_eq!(ones.to_base64url(), format!("{}8", "_".repeat(42)));
    // The last character holds two spare bits: an alias of the same bytes is refused.
    for last in ["9", "-", "_"] {
        assert_eq!(Hash::from_base64url(&format!("{}{last}", "_".repeat(42))), None);
    }
    for text in [
        "",
        "_",
        "=",
        &"/".repeat(43),
        &format!("{}8=", "_".repeat(42)),
        &"é".repeat(22),
    ] {
        assert_eq!(Hash::from_base64url(text), None, "{text:?}");
    }
    for text in [
        "",
        &ones.to_base64url(),
        &format!("{}9=", "/".repeat(42)),
        &"é".repeat(22),
    ] {
        assert_eq!(Hash::from_base64(text), None, "{text:?}");
    }
    assert_eq!(
        serde_json::to_string(&ones).unwrap(),
        format!("\"{}8\"", "_".repeat(42))
    );
    assert_eq!(
        serde_json::from_str::<Hash>(&format!("\"{}8\"", "_".repeat(42))).unwrap(),
        ones
    );
    assert!(serde_json::from_str::<Hash>(&format!("\"{}9\"", "_".repeat(42))).is_err());
    assert_eq!(Hash::from_base64(&"A".repeat(44)), None, "33 bytes are no hash");
    assert_eq!(format!("{ones}"), "ff".repeat(32));
    assert_eq!(format!("{ones:?}"), "ff".repeat(32));
}

// C2SP tlog-tiles (tlog-tiles.md): the path of tile 1234067, and the tiles of a log of 70,000 and of 256 entries.
#[test]
fn tiles_have_the_published_paths_and_widths() {
    let path = TilePath {
        level: TileLevel::Hashes(0),
        n: 1_234_067,
        width: 256,
    };
    assert_eq!(path.to_string(), "tile/0/x001/x234/067");
    assert_eq!(TilePath::parse("tile/0/x001/x234/067"), Ok(path));

    let shown = |size: u64| {
        let mut shown = std::collections::BTreeMap::<(TileLevel, u16), usize>::new();
        for path in tile::tiles(size) {
            assert_eq!(tile::width_at(path.level, path.n, size), path.width);
            *shown.entry((path.level, path.width)).or_default() += 1;
        }
        shown.into_iter().collect::<Vec<_>>()
    };
    let (zero, one, two) = (TileLevel::Hashes(0), TileLevel::Hashes(1), TileLevel::Hashes(2));
    let want = [
        ((zero, 112), 1),
        ((zero, 256), 273),
        ((one, 17), 1),
        ((one, 256), 1),
        ((two, 1), 1),
    ];
    assert_eq!(shown(70_000), want);
    assert_eq!(shown(256), [((zero, 256), 1), ((one, 1), 1)]);
    assert_eq!(shown(0), []);
    assert_eq!(tile::tiles(u64::MAX).take(3).count(), 3);
    assert_eq!(tile::width_at(TileLevel::Hashes(63), 0, u64::MAX), 0);
    assert_eq!(tile::width_at(zero, u64::MAX, u64::MAX), 0);
}

#[test]
fn tile_paths_in_another_form_are_refused() {
    for path in [
        "",
        "tile",
        "tile/",
        "tile/0",
        "tile/0/",
        "tile/0/0",
        "tile/0/0000",
        "tile/00/000",
        "tile/+0/000",
        "tile/64/000",
        "tile/256/000",
        "tile/Entries/000",
        "tile/0/x000/001",
        "tile/0/001/002",
        "tile/0/x001",
        "tile/0/x001/x002",
        "tile/0/xx01/002",
        "tile/0/000.p/0",
        "tile/0/000.p/256",
        "tile/0/000.p/01",
        "tile/0/000.p/",
        "tile/0/000.p/1/2",
        "tile/0/000.p/1.p/1",
        "/tile/0/000",
        "tile/0/000/",
        "tile/0/../000",
        "tile/0/0é",
        "tile/0/x018/x446/x744/x073/x709/x551/616",
    ] {
        assert!(TilePath::parse(path).is_err(), "{path:?}");
    }
}

#[test]
fn entry_bundles_that_are_cut_or_too_many_are_refused() {
    let longest = vec![7; 65_535];
    let bytes = tile::bundle([&b""[..], &b"a"[..], &longest[..]]).unwrap();
    assert_eq!(tile::unbundle(&bytes).unwrap(), [vec![], b"a".to_vec(), longest]);
    assert_eq!(tile::bundle([&vec![7; 65_536][..]]), None);
    for length in [1, 3, 4, 6, bytes.len() - 1] {
        assert!(tile::unbundle(&bytes[..length]).is_err(), "cut at {length}");
    }
    assert!(tile::unbundle(&[0; 512]).is_ok());
    assert!(tile::unbundle(&[0; 514]).is_err());
}

prop_compose! {
    fn any_hash()(bytes: [u8; 32]) -> Hash { Hash(bytes) }
}

prop_compose! {
    fn any_proof()(
        extra in proptest::option::of(vec(any::<u8>(), 0..200)),
        index: u64,
        path in vec(any_hash(), 0..=64),
        size: u64,
        root in any_hash(),
    ) -> TlogProof {
        let checkpoint = Checkpoint { origin: demo_log::ORIGIN.into(), size, root }.sign(&demo_log::signer());
        TlogProof { extra, index, path, checkpoint }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(200) })]

    #[test]
    fn a_proof_is_read_as_it_was_written(proof in any_proof()) {
        let text = proof.to_string();
        let read = TlogProof::parse(&text).unwrap();
        prop_assert_eq!(read.to_string(), text);
        prop_assert_eq!(read, proof);
    }

    #[test]
    fn a_changed_proof_is_refused_or_reads_as_another(proof in any_proof(), at: prop::sample::Index, to in 0_u8..128) {
        let text = proof.to_string();
        let mut bytes = text.clone().into_bytes();
        let at = at.index(bytes.len());
        if bytes[at] < 128 && bytes[at] != to {
            bytes[at] = to;
            let changed = String::from_utf8(bytes).unwrap();
            if let Ok(read) = TlogProof::parse(&changed) {
                prop_assert_ne!(&read, &proof);
                prop_assert_eq!(read.to_string(), changed);
            }
        }
    }

    #[test]
    fn a_checkpoint_is_read_as_it_was_written(size: u64, root in any_hash(), name in "[a-z./]{1,30}", seed: [u8; 32]) {
        let signer = NoteSigner::new(&name, &seed).unwrap();
        let vkey = signer.verifier().to_string();
        let verifier = NoteVerifier::parse(&vkey).unwrap();
        prop_assert_eq!(&verifier, &signer.verifier());
        prop_assert_eq!(verifier.to_string(), vkey);
        let checkpoint = Checkpoint { origin: name, size, root };
        prop_assert_eq!(Checkpoint::parse_text(&checkpoint.text()).unwrap(), checkpoint.clone());
        prop_assert_eq!(Checkpoint::open(&checkpoint.sign(&signer), &[verifier]).unwrap(), checkpoint);
    }

    #[test]
    fn a_note_is_read_as_it_was_written(text in "[^\\x00-\\x1f]{0,40}(\n[^\\x00-\\x1f]{0,20}){0,5}\n") {
        let signer = demo_log::signer();
        let opened = open(&sign(&text, &[&signer]), &[signer.verifier()]).unwrap();
        prop_assert_eq!(opened.text, text);
    }

    #[test]
    fn a_tile_path_is_read_as_it_was_written(level in proptest::option::of(0_u8..64), n: u64, width in 1_u16..=256) {
        let level = level.map_or(TileLevel::Entries, TileLevel::Hashes);
        let path = TilePath { level, n, width };
        prop_assert_eq!(TilePath::parse(&path.to_string()), Ok(path));
    }

    #[test]
    fn what_is_read_was_written_so(text in "tile/(entries|[0-9]{1,2})/(x[0-9]{3}/){0,3}[0-9]{3}(\\.p/[0-9]{1,3})?") {
        if let Ok(path) = TilePath::parse(&text) {
            prop_assert_eq!(path.to_string(), text);
        }
    }

    #[test]
    fn a_bundle_is_read_as_it_was_written(entries in vec(vec(any::<u8>(), 0..80), 0..=256)) {
        let bytes = tile::bundle(entries.iter().map(Vec::as_slice)).unwrap();
        prop_assert_eq!(tile::unbundle(&bytes).unwrap(), entries);
    }

    #[test]
    fn hashes_are_read_as_they_were_written(hash in any_hash()) {
        prop_assert_eq!(Hash::from_base64(&hash.to_base64()), Some(hash));
        prop_assert_eq!(Hash::from_base64url(&hash.to_base64url()), Some(hash));
        prop_assert_eq!(super::hash_of_hex(&hash.to_string()), hash);
    }

    #[test]
    fn no_bytes_make_a_reader_panic(bytes in vec(any::<u8>(), 0..400), text in "(\\PC|[\n—+ =/]){0,200}") {
        for text in [String::from_utf8_lossy(&bytes).as_ref(), text.as_str()] {
            read_everything(text);
        }
        let _ = tile::unbundle(&bytes);
    }

    #[test]
    fn no_damaged_text_makes_a_reader_panic(proof in any_proof(), cuts in vec((any::<prop::sample::Index>(), any::<u8>()), 1..6)) {
        let mut bytes = proof.to_string().into_bytes();
        for (at, to) in cuts {
            let at = at.index(bytes.len());
            if to < 40 { bytes.remove(at); } else { bytes[at] = to; }
        }
        read_everything(&String::from_utf8_lossy(&bytes));
    }
}

fn read_everything(text: &str) {
    let _ = Hash::from_base64(text);
    let _ = Hash::from_base64url(text);
    let _ = TlogProof::parse(text);
    let _ = Checkpoint::parse_text(text);
    let _ = Checkpoint::peek(text);
    let _ = Checkpoint::open(text, &[demo_log::signer().verifier()]);
    let _ = NoteVerifier::parse(text);
    let _ = Policy::parse(text);
    let _ = Policy::parse(&format!("log {text}\nquorum none\n"));
    let _ = TilePath::parse(text);
    let _ = TilePath::parse(&format!("tile/{text}"));
}
