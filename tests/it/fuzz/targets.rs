//! What is fed, and what each must hold of whatever it takes. The tests feed them with a mutator of their own, the programs under
//! `tests/fuzz` with one that is guided by what was reached.

use super::asked::{bodies, body, command, commands};
use crate::log::workshop;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use pourbook::check::{Conclusion, ProofFile, Trust, check_piece};
use pourbook::domain::{Serial, SeriesCode};
use pourbook::http::{PassedIn, Proxies};
use pourbook::log::{FileStore, FileStoreOptions, MemoryFiles, Store};
use pourbook::metal::{Fineness, Mass, MassDifference, Money, Reading};
use pourbook::proof::tile::{TilePath, bundle, unbundle};
use pourbook::proof::{Checkpoint, NoteSigner, NoteVerifier, Policy, TlogProof, open};
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::sync::{Arc, LazyLock};

/// Something that reads foreign bytes.
pub struct Target {
    pub name: &'static str,
    /// How many inputs are made.
    pub inputs: usize,
    /// Seeds beside those of its folder.
    pub seeds: fn() -> Vec<Vec<u8>>,
    /// Feeds an input; panics when a promise is broken.
    pub feed: fn(&[u8]),
}

const fn target(name: &'static str, inputs: usize, seeds: fn() -> Vec<Vec<u8>>, feed: fn(&[u8])) -> Target {
    Target {
        name,
        inputs,
        seeds,
        feed,
    }
}

pub const TARGETS: &[Target] = &[
    target("entry", 6_000, entries, entry),
    target("payload", 6_000, payloads, payload),
    target("disclosure", 6_000, disclosures, disclosure),
    target("note", 4_000, notes, note),
    target("checkpoint", 6_000, checkpoints, checkpoint),
    target("policy", 6_000, policies, policy),
    target("tlog_proof", 3_000, tlog_proofs, tlog_proof),
    target("proof_file", 150, proof_files, proof_file),
    target("tile_path", 20_000, none, tile_path),
    target("bundle", 10_000, bundles, bundle_of_entries),
    target("segment", 1_500, segments, segment),
    target("vault", 1_500, vaults, vault),
    target("pin", 2_000, pins, pin),
    target("body", 6_000, bodies, body),
    target("command", 6_000, commands, command),
    target("serial", 30_000, none, serial),
    target("mass", 30_000, none, mass),
    target("key_file", 6_000, key_files, key_file),
    target("settings", 3_000, none, settings),
    target("picture", 300, none, picture),
    target("forwarded", 20_000, none, forwarded),
    target("prices", 10_000, none, prices),
];

/// Bytes that are text.
pub fn text_of(bytes: &[u8]) -> Option<&str> {
    std::str::from_utf8(bytes).ok()
}

/// The folder of the project, also from where the package of `tests/fuzz` is built.
pub fn root() -> &'static Path {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors()
        .find(|folder| folder.join("api/golden").is_dir())
        .unwrap()
}

fn none() -> Vec<Vec<u8>> {
    Vec::new()
}

fn golden(part: &str) -> Vec<serde_json::Value> {
    let folder = root().join("api/golden");
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|item| item.unwrap().path())
        .collect();
    paths.sort();
    let named = paths.iter().filter(|path| path.to_string_lossy().ends_with(part));
    named
        .map(|path| serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap())
        .collect()
}

/// Short golden entries, one of each kind.
fn entries() -> Vec<Vec<u8>> {
    let short = golden(".v1.entry.json").into_iter();
    short
        .map(|golden| golden["entry"].as_str().unwrap().as_bytes().to_vec())
        .collect()
}

fn entry(bytes: &[u8]) {
    if let Ok(read) = pourbook::record::read(bytes) {
        assert!(bytes.len() <= 40_000 && bytes.is_ascii());
        assert!(read.payload.events.len() < 10_000);
    }
}

/// The payload alone is changed, and the entry written around it.
fn payloads() -> Vec<Vec<u8>> {
    let parts = entries().into_iter();
    parts
        .map(|entry| {
            let text = String::from_utf8(entry).unwrap();
            URL_SAFE_NO_PAD.decode(text.split('.').nth(1).unwrap()).unwrap()
        })
        .collect()
}

fn payload(bytes: &[u8]) {
    static AROUND: LazyLock<(String, String)> = LazyLock::new(|| {
        let text = String::from_utf8(entries()[0].clone()).unwrap();
        let parts: Vec<&str> = text.split('.').collect();
        (parts[0].to_owned(), parts[2].to_owned())
    });
    let (head, signature) = &*AROUND;
    let text = format!("{head}.{}.{signature}", URL_SAFE_NO_PAD.encode(bytes));
    entry(text.as_bytes());
}

fn disclosures() -> Vec<Vec<u8>> {
    let all = golden(".v1.entry.json");
    let texts = all
        .iter()
        .filter_map(|golden| golden["disclosures"].as_array())
        .flatten();
    texts
        .map(|one| URL_SAFE_NO_PAD.decode(one["text"].as_str().unwrap()).unwrap())
        .collect()
}

fn disclosure(bytes: &[u8]) {
    static ENTRY: LazyLock<pourbook::record::Entry> = LazyLock::new(|| {
        let all = golden("lot.received.v1.entry.json");
        pourbook::record::read(all[0]["entry"].as_str().unwrap().as_bytes()).unwrap()
    });
    let encoded = URL_SAFE_NO_PAD.encode(bytes);
    let plain = String::from_utf8_lossy(bytes).into_owned();
    for text in [encoded, plain] {
        // Only what the entry holds a digest of is disclosed by it.
        if let Ok(disclosed) = pourbook::record::disclose(&ENTRY, &[text.as_str()]) {
            assert_eq!(disclosed.len(), 1);
            assert!(disclosures().contains(&bytes.to_vec()));
        }
    }
}

fn signer() -> NoteSigner {
    NoteSigner::new("brackenfold.example/log", &[5; 32]).unwrap()
}

fn notes() -> Vec<Vec<u8>> {
    let other = NoteSigner::new("other.example", &[6; 32]).unwrap();
    let texts = [
        "one\n",
        "brackenfold.example/log\n3\nbHgyBdGaO5CwJPjyY1TXcwcQRcS+Pg6KVwTRl6V70Ik=\n",
    ];
    let signed = |text: &&str| pourbook::proof::sign(text, &[&signer(), &other]).into_bytes();
    texts.iter().map(signed).collect()
}

fn note(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    static TRUSTED: LazyLock<[NoteVerifier; 1]> = LazyLock::new(|| [signer().verifier()]);
    if let Ok(opened) = open(text, &*TRUSTED) {
        let signed = notes()
            .iter()
            .any(|note| note.starts_with(opened.text.as_bytes()));
        assert!(signed, "a text that nobody signed: {:?}", opened.text);
    }
}

fn checkpoints() -> Vec<Vec<u8>> {
    let texts = ["brackenfold.example/log\n422\nbHgyBdGaO5CwJPjyY1TXcwcQRcS+Pg6KVwTRl6V70Ik=\n"];
    texts.iter().map(|text| text.as_bytes().to_vec()).collect()
}

fn checkpoint(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    if let Ok(read) = Checkpoint::parse_text(text) {
        assert_eq!(read.text(), text, "one spelling");
    }
    let _ = Checkpoint::peek(text);
}

fn policies() -> Vec<Vec<u8>> {
    let proofs = golden("DW-0001-21.proof.json");
    proofs
        .iter()
        .map(|file| file["policy"].as_str().unwrap().as_bytes().to_vec())
        .collect()
}

fn policy(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    if let Ok(read) = Policy::parse(text) {
        let again = Policy::parse(&read.to_string()).unwrap();
        assert_eq!(again, read, "{text:?}");
    }
}

fn tlog_proofs() -> Vec<Vec<u8>> {
    let files = golden("DW-0001-21.proof.json");
    let proofs = files
        .iter()
        .filter_map(|file| file["proofs"].as_array())
        .flatten();
    proofs
        .take(4)
        .map(|proof| proof.as_str().unwrap().as_bytes().to_vec())
        .collect()
}

fn tlog_proof(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    if let Ok(read) = TlogProof::parse(text) {
        assert!(read.path.len() <= 63, "no path is longer");
    }
}

fn proof_files() -> Vec<Vec<u8>> {
    let path = root().join("api/golden/DW-0001-21.proof.json");
    vec![std::fs::read(path).unwrap()]
}

/// A changed file holds only where it says the same as the one that was not changed.
fn proof_file(bytes: &[u8]) {
    static WHOLE: LazyLock<(Vec<u8>, Trust)> = LazyLock::new(|| {
        let bytes = proof_files().remove(0);
        let file: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
        let policy = Policy::parse(file["policy"].as_str().unwrap()).unwrap();
        let root = policy.root.clone().unwrap();
        (bytes, Trust { root, policy: None })
    });
    let (whole, trust) = &*WHOLE;
    let report = check_piece(bytes, trust);
    if bytes != whole && matches!(report.conclusion, Conclusion::Holds { .. }) {
        let (read, other) = (ProofFile::read(bytes).unwrap(), ProofFile::read(whole).unwrap());
        assert_eq!((read.serial, read.piece), (other.serial, other.piece));
    }
}

fn tile_path(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    if let Ok(path) = TilePath::parse(text) {
        assert_eq!(path.to_string(), text, "one spelling");
    }
}

fn bundles() -> Vec<Vec<u8>> {
    let parts: Vec<&[u8]> = vec![b"one", b"two of them", b""];
    vec![bundle(parts).unwrap()]
}

fn bundle_of_entries(bytes: &[u8]) {
    if let Ok(entries) = unbundle(bytes) {
        assert_eq!(
            bundle(entries.iter().map(Vec::as_slice)).unwrap(),
            bytes,
            "one spelling"
        );
    }
}

/// A small book on files in memory.
fn book() -> &'static MemoryFiles {
    static BOOK: LazyLock<MemoryFiles> = LazyLock::new(|| {
        let files = workshop::new_book();
        let store = workshop::open(&files).unwrap();
        for (first, count) in [(0, 2), (2, 3), (5, 1), (6, 2)] {
            store.append(&workshop::group(first, count)).unwrap();
        }
        store.pin(&workshop::note(6)).unwrap();
        drop(store);
        files
    });
    &BOOK
}

fn of_book(folder: &str, suffix: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(workshop::BOOK).join(folder);
    let all = book().contents().into_iter();
    let wanted =
        all.filter(|(path, _)| path.starts_with(&folder) && path.to_string_lossy().ends_with(suffix));
    wanted.map(|(_, bytes)| bytes).collect()
}

fn segments() -> Vec<Vec<u8>> {
    of_book("log", ".entries")
}

fn vaults() -> Vec<Vec<u8>> {
    of_book("vault", ".records")
}

fn pins() -> Vec<Vec<u8>> {
    vec![workshop::note(6).into_bytes()]
}

/// Puts other bytes in the place of a file, opens the book for reading and for writing, and reads all of it: it is refused, or
/// what it shows was written.
fn with_file(path: &str, bytes: &[u8]) {
    let files = book().copy();
    let path = Path::new(workshop::BOOK).join(path);
    files.patch(&path, |held| *held = bytes.to_vec()).unwrap();
    let before = files.contents();
    let reading = FileStoreOptions::read_only();
    let read_only = FileStore::open(Path::new(workshop::BOOK), reading, Arc::new(files.clone()));
    assert_eq!(files.contents(), before, "looking changed something");
    for store in [read_only, workshop::open(&files)].into_iter().flatten() {
        let size = store.head().size;
        assert!(size <= 8);
        for index in 0..size {
            assert_eq!(
                store.read(index).unwrap().unwrap().to_vec(),
                workshop::entry(index)
            );
            if let Ok(records) = store.private(index) {
                for record in records
                    .iter()
                    .filter(|record| record.kind == workshop::disclosure())
                {
                    assert!(record.body.is_empty() || record.body == workshop::buyer(index));
                }
            }
        }
    }
}

fn segment(bytes: &[u8]) {
    with_file("log/00000000000000000000.entries", bytes);
}

fn vault(bytes: &[u8]) {
    with_file("vault/00000000000000000000.records", bytes);
}

fn pin(bytes: &[u8]) {
    with_file("pin", bytes);
}

fn serial(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    if let Ok(code) = SeriesCode::parse(text) {
        assert_eq!(code.as_str(), text, "one spelling");
    }
    if let Ok(typed) = Serial::parse_typed(text) {
        assert_eq!(Serial::parse_typed(&typed.to_string()).unwrap(), typed);
        assert_eq!(Serial::parse_loose(text).unwrap(), (typed, true));
    }
}

fn mass(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    if let Ok(mass) = Mass::parse(text) {
        assert_eq!(Mass::parse(&mass.to_string()), Ok(mass));
    }
    if let Ok(reading) = Reading::parse(text) {
        assert_eq!(reading.text(), text, "a reading keeps its digits");
    }
    if let Ok(difference) = MassDifference::parse(text) {
        assert_eq!(MassDifference::parse(&difference.to_string()), Ok(difference));
    }
    if let Ok(fineness) = Fineness::parse(text) {
        assert_eq!(Fineness::parse(&fineness.to_string()).unwrap(), fineness);
    }
    if let Ok(money) = Money::parse(text, "GBP") {
        assert!(money.checked_sub(money).is_some());
    }
}

fn key_files() -> Vec<Vec<u8>> {
    let file = pourbook::node::KeyFile {
        role: pourbook::domain::KeyRole::Log,
        seed: [8; 32],
    };
    vec![file.to_text().into_bytes()]
}

fn key_file(bytes: &[u8]) {
    use pourbook::domain::KeyRole;
    let Some(text) = text_of(bytes) else { return };
    for role in [KeyRole::Root, KeyRole::Recorder, KeyRole::Log] {
        if let Ok(file) = pourbook::node::KeyFile::read(text, role) {
            // Whoever knows a seed can write its thumbprint, so other keys may be read; but each has one spelling.
            let words: Vec<&str> = text.split_whitespace().collect();
            assert_eq!(file.to_text(), format!("{}\n", words.join(" ")));
            assert_eq!(file.role, role);
        }
    }
}

fn settings(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    if let Ok(read) = pourbook::config::Settings::read(text) {
        let again = pourbook::config::Settings::read(&read.to_text().unwrap());
        assert_eq!(again, Ok(read));
    }
}

fn picture(bytes: &[u8]) {
    if let Ok(developed) = pourbook::photographs::develop(bytes) {
        assert!(developed.width > 0 && developed.height > 0);
        assert!(developed.photograph.starts_with(&[0xff, 0xd8]));
    }
}

/// Who called, from a connection and what it passes on: nobody whom no trusted proxy named.
fn forwarded(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    let trusted = IpAddr::from([10, 0, 0, 2]);
    let stranger = IpAddr::from([192, 0, 2, 7]);
    for header in [PassedIn::XForwardedFor, PassedIn::Forwarded] {
        let proxies = Proxies {
            trusted: vec![trusted],
            header,
        };
        assert_eq!(proxies.caller(stranger, text.lines()), stranger);
        let caller = proxies.caller(trusted, text.lines());
        let written = text.contains(&caller.to_string()) || text.contains(':');
        assert!(caller == trusted || written, "{caller} stands nowhere");
        // What stands before what a proxy wrote at the end counts for nothing.
        let ended = format!(
            "{text}\n{}",
            ["192.0.2.9", "for=192.0.2.9"][usize::from(header == PassedIn::Forwarded)]
        );
        assert_eq!(proxies.caller(trusted, ended.lines()).to_string(), "192.0.2.9");
    }
}

/// What a file of prices says can also be written as JSON, and is then the same.
fn prices(bytes: &[u8]) {
    use pourbook::cli::price_file::{PRICES_MAX, read};
    if let Ok(prices) = read(bytes) {
        assert!((1..=PRICES_MAX).contains(&prices.len()));
        let again = serde_json::to_vec(&prices).unwrap();
        assert_eq!(read(&again).unwrap(), prices);
    }
}
