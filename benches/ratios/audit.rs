//! The rows of an audit of the whole log on disk, against nothing but the signatures.

use super::books::Grown;
use super::table::{Asked, ROUNDS, Taken, rate, row, skipped};
use super::{ORIGIN, WORKERS};
use pourbook::node::{BookReader, audit};
use pourbook::record::{self, PublicKey, verify_signature};
use std::collections::HashMap;
use std::process::Command;

/// Seconds for which the other library signs, and verifies.
const SECONDS: &str = "2";

/// Verifies the signatures one by one on all cores, and nothing else.
fn verify_each(signed: &[(Vec<u8>, PublicKey)]) {
    std::thread::scope(|scope| {
        for part in signed.chunks(signed.len().div_ceil(WORKERS)) {
            scope.spawn(move || {
                for (entry, key) in part {
                    verify_signature(entry, key).unwrap();
                }
            });
        }
    });
}

/// Every entry with the key that signed it.
fn signed(entries: Vec<Vec<u8>>) -> Vec<(Vec<u8>, PublicKey)> {
    let mut keys = HashMap::new();
    let mut signed = Vec::with_capacity(entries.len());
    for bytes in entries {
        let entry = record::read(&bytes).unwrap();
        for event in entry.events() {
            if let pourbook::domain::Event::KeyAdded(key) = event {
                keys.insert(key.kid.clone(), PublicKey::from_base64url(&key.x).unwrap());
            }
        }
        signed.push((bytes, keys[&entry.kid].clone()));
    }
    signed
}

/// The whole audit, from the bytes on disk; entries a second.
pub fn audited(reader: &BookReader) -> f64 {
    let head = reader.head();
    let note = head.checkpoint.unwrap();
    rate(usize::try_from(head.size).unwrap(), || {
        audit(reader.store(), ORIGIN, (head.size, &note), false, &mut |_, _| ()).unwrap();
    })
}

/// Verifications a second that `openssl speed` tells, one process on each core.
fn openssl() -> Result<f64, String> {
    let output = Command::new("openssl")
        .args([
            "speed",
            "-seconds",
            SECONDS,
            "-multi",
            &WORKERS.to_string(),
            "ed25519",
        ])
        .output()
        .map_err(|_| "openssl is not installed")?;
    let told = String::from_utf8_lossy(&output.stdout);
    // The columns are seconds to sign, seconds to verify, signatures a second, verifications a second.
    let line = told.lines().find(|line| line.contains("EdDSA (Ed25519)"));
    let last = line.and_then(|line| line.split_whitespace().last()?.parse().ok());
    last.ok_or_else(|| format!("openssl speed says {told}"))
}

pub fn rows(grown: &mut Grown, entries: usize) {
    let size = grown.to(entries);
    let signed = signed(grown.entries());
    let reader = grown.reader();
    let (mut ours, mut each, mut other) = (Taken(Vec::new()), Taken(Vec::new()), Vec::new());
    for _ in 0..ROUNDS {
        ours.0.push(audited(&reader));
        each.0.push(rate(signed.len(), || verify_each(&signed)));
        other.push(openssl());
    }
    let work = format!("audit of {size} entries on disk: bytes, tree, signatures, keys, rules");
    let peer = "ed25519-dalek verifications one by one, both cores";
    row(&work, peer, " /s", &(ours.clone(), each), Asked::AtLeast(1.6));
    match other.into_iter().collect::<Result<Vec<_>, _>>() {
        Ok(other) => row(
            &work,
            "verifications of `openssl speed ed25519`, both cores",
            " /s",
            &(ours, Taken(other)),
            Asked::AtLeast(8.0),
        ),
        Err(why) => skipped(&work, &why),
    }
}
