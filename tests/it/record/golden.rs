//! Golden entries: their bytes come out of `seal` again, read back, verify, chain, and fit their schemas.

use super::samples::{Golden, Workshop, workshop};
use pourbook::domain::Event;
use pourbook::proof::leaf_hash;
use pourbook::record::{
    ENTRY_BYTES_MAX, Keys, PublicKey, RecordedEvent, disclose, read, verify_batch, verify_signature,
};
use std::collections::BTreeSet;
use std::path::PathBuf;

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
    assert_eq!(made.len(), stored.len());
    for (made, stored) in made.iter().zip(&stored) {
        assert_eq!(made, stored, "{}", stored.name);
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
    assert_eq!(missing, BTreeSet::new());
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

#[test]
fn the_longest_entries_are_nearly_as_long_as_allowed() {
    let longest: Vec<Golden> = golden()
        .into_iter()
        .filter(|golden| golden.name.ends_with(".longest"))
        .collect();
    assert_eq!(longest.len(), 9);
    for golden in longest {
        let subjects = read(golden.entry.as_bytes()).unwrap().payload.prev.len();
        assert!(
            golden.entry.len() > 36_000 || subjects == 64,
            "{} {subjects}",
            golden.name
        );
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
