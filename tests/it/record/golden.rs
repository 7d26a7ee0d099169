//! Golden entries: their bytes come out of `seal` again, read back, verify, chain, and fit their schemas.

use super::samples::{Golden, ORIGIN, Workshop, id, root, rows, workshop};
use pourbook::domain::{Event, OperatorId, Timestamp};
use pourbook::proof::leaf_hash;
use pourbook::record::{
    ENTRY_BYTES_MAX, KeyEntryDraft, Keys, PublicKey, RecordedEvent, disclose, read, seal_key_entry,
    verify_batch, verify_signature,
};
use serde_json::json;
use std::collections::BTreeSet;
use std::path::PathBuf;

/// How the files are written that a new kind needs.
const WRITE: &str = "append a row to tests/it/record/samples/longest.rs, run \
    `cargo test --test it record::golden::write -- --ignored` and commit what it writes";

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("api/golden")
}

pub fn golden() -> Vec<Golden> {
    let mut all: Vec<Golden> = std::fs::read_dir(folder())
        .unwrap()
        .map(|file| file.unwrap().path())
        .filter(|path| path.to_string_lossy().ends_with(".entry.json"))
        .map(|path| serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap())
        .collect();
    all.sort_by_key(|golden| golden.index);
    all
}

/// Run by hand when a kind is added. It never writes over a file: what was once written stays.
#[test]
#[ignore = "writes the golden files that are not there yet"]
fn write_missing_golden_files() {
    let Workshop { golden, .. } = workshop();
    for golden in golden {
        let path = folder().join(format!("{}.entry.json", golden.name));
        if !path.exists() {
            std::fs::write(path, serde_json::to_string_pretty(&golden).unwrap() + "\n").unwrap();
        }
    }
}

#[test]
fn sealing_gives_the_golden_bytes_again() {
    let Workshop { golden: made, .. } = workshop();
    let stored = golden();
    let names = |all: &[Golden]| {
        all.iter()
            .map(|golden| golden.name.clone())
            .collect::<BTreeSet<_>>()
    };
    let missing: Vec<String> = names(&made).difference(&names(&stored)).cloned().collect();
    assert!(missing.is_empty(), "no golden file for {missing:?}: {WRITE}");
    let left: Vec<String> = names(&stored).difference(&names(&made)).cloned().collect();
    assert!(
        left.is_empty(),
        "nothing makes the golden files {left:?} any more"
    );
    for (made, stored) in made.iter().zip(&stored) {
        assert_eq!(
            made, stored,
            "{} is sealed to other bytes than once. Rows are only appended, and a kind is changed by a new `v`",
            stored.name
        );
    }
}

#[test]
fn every_kind_has_a_golden_entry() {
    let mut missing: BTreeSet<&str> = Event::KINDS.iter().copied().collect();
    for golden in golden() {
        for recorded in read(golden.entry.as_bytes()).unwrap().payload.events {
            missing.remove(recorded.event().unwrap().kind());
        }
    }
    assert_eq!(missing, BTreeSet::new(), "kinds without a golden entry: {WRITE}");
}

#[test]
fn golden_entries_read_verify_chain_and_open() {
    let mut keys = Keys::default();
    for golden in golden() {
        let bytes = golden.entry.as_bytes();
        let entry = read(bytes).unwrap();
        assert!(bytes.len() <= ENTRY_BYTES_MAX);
        assert_eq!(leaf_hash(bytes).to_base64url(), golden.leaf, "{}", golden.name);
        if entry.is_key_entry() {
            keys.apply(golden.index, &entry, bytes).unwrap();
        } else {
            let key = keys.signer_of(golden.index, &entry).unwrap();
            assert_eq!(key, &PublicKey::from_base64url(&golden.x).unwrap());
            verify_signature(bytes, key).unwrap();
        }
        let texts: Vec<&str> = golden.disclosures.iter().map(|d| d.text.as_str()).collect();
        let opened = disclose(&entry, &texts).unwrap();
        for (opened, written) in opened.iter().zip(&golden.disclosures) {
            assert_eq!(
                (opened.event, opened.member),
                (written.event, written.member.as_str())
            );
        }
        assert_eq!(disclose::<&str>(&entry, &[]), Ok(Vec::new()));
    }
    assert!(keys.is_suspect(super::samples::recorder().kid(), 9));
}

/// Kinds of the root key: they have no list and no text, and stand alone.
const OF_THE_ROOT_KEY: [&str; 3] = ["key.added", "key.revoked", "key.suspect"];

#[test]
fn every_kind_has_its_longest_entry() {
    let mut missing: BTreeSet<&str> = Event::KINDS.iter().copied().collect();
    for kind in OF_THE_ROOT_KEY {
        missing.remove(kind);
    }
    for golden in golden().iter().filter(|golden| golden.name.ends_with(".longest")) {
        assert!(golden.entry.len() <= ENTRY_BYTES_MAX, "{}", golden.name);
        for recorded in read(golden.entry.as_bytes()).unwrap().payload.events {
            missing.remove(recorded.event().unwrap().kind());
        }
    }
    assert_eq!(missing, BTreeSet::new(), "kinds without a longest entry: {WRITE}");
}

/// Each holds as many subjects as a command may name, or one more would not fit.
#[test]
fn the_longest_entries_are_nearly_as_long_as_allowed() {
    for golden in golden().iter().filter(|golden| golden.name.ends_with(".longest")) {
        let subjects = read(golden.entry.as_bytes()).unwrap().payload.prev.len();
        let row = rows().find(|row| golden.name == format!("{}.v1.longest", row.kind));
        let whole = matches!(subjects, 64 | 65) || row.is_some_and(|row| row.together == 1);
        let length = golden.entry.len();
        // One more of what a command names brings at most two subjects.
        let one_more = length / subjects.max(1) * 2;
        assert!(
            whole || length + one_more > ENTRY_BYTES_MAX,
            "{} {subjects}",
            golden.name
        );
    }
}

#[test]
fn the_longest_entry_about_a_key_is_far_below_the_bound() {
    let kid = root().kid().to_owned();
    let x = root().public().to_base64url();
    for (kind, members) in [
        ("key.added", json!({"kid": kid, "role": "recorder", "x": x})),
        ("key.revoked", json!({"kid": kid})),
        ("key.suspect", json!({"kid": kid, "from": u64::MAX})),
    ] {
        assert!(OF_THE_ROOT_KEY.contains(&kind));
        let draft = KeyEntryDraft {
            iss: ORIGIN,
            jti: id(0xee, 1).parse().unwrap(),
            iat: Timestamp(253_402_300_799),
            by: OperatorId(id(0x0b, 1).parse().unwrap()),
            keys: Some(leaf_hash(b"any")),
            event: super::samples::event(kind, members),
        };
        assert!(seal_key_entry(&draft, &root()).unwrap().len() < 2_000, "{kind}");
    }
}

/// Any one byte of an entry changed: it is no entry any more, or its signature fails.
#[test]
fn every_changed_byte_is_noticed() {
    let golden = golden()
        .into_iter()
        .find(|golden| golden.name == "lot.received.v1")
        .unwrap();
    let key = PublicKey::from_base64url(&golden.x).unwrap();
    let mut bytes = golden.entry.into_bytes();
    for place in 0..bytes.len() {
        for flip in [0x01, 0x02, 0x20, 0x80] {
            bytes[place] ^= flip;
            let unnoticed = read(&bytes).is_ok() && verify_signature(&bytes, &key).is_ok();
            assert!(!unnoticed, "byte {place} with {flip:#x}");
            bytes[place] ^= flip;
        }
    }
    assert!(read(&bytes).is_ok() && verify_signature(&bytes, &key).is_ok());
}

#[test]
fn a_batch_names_its_first_bad_entry() {
    let golden = golden();
    let keys: Vec<PublicKey> = golden
        .iter()
        .map(|g| PublicKey::from_base64url(&g.x).unwrap())
        .collect();
    let batch: Vec<(&[u8], &PublicKey)> = golden.iter().map(|g| g.entry.as_bytes()).zip(&keys).collect();
    assert_eq!(verify_batch(&batch), Ok(()));
    assert_eq!(verify_batch(&[]), Ok(()));
    for bad in [0, 7, batch.len() - 1] {
        let mut spoilt = batch.clone();
        // The neighbour's signature under this text.
        let (text, _) = golden[bad].entry.rsplit_once('.').unwrap();
        let (_, other) = golden[bad.max(1) - 1 + usize::from(bad == 0)]
            .entry
            .rsplit_once('.')
            .unwrap();
        let forged = format!("{text}.{other}");
        spoilt[bad].0 = forged.as_bytes();
        let after = batch.len() - 1;
        spoilt[after].0 = if bad == after {
            forged.as_bytes()
        } else {
            b"no entry at all"
        };
        assert_eq!(verify_batch(&spoilt), Err(bad));
    }
}

#[test]
fn digests_fill_the_slots_of_their_kind_and_hide_how_many_are_real() {
    for golden in golden() {
        for recorded in read(golden.entry.as_bytes()).unwrap().payload.events {
            let RecordedEvent::Known { event, sd } = recorded else {
                panic!("{}", golden.name)
            };
            assert_eq!(sd.len(), Event::digest_slots(event.kind()));
        }
    }
}
