//! After an erasure no file of the book has the value any more, in clear or as base64url, nor its salt, nor the record as it
//! was stored, nor its key; every proof still holds.

use super::clients::{copy_folder, files_under};
use crate::log::served::{Served, run};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use pourbook::domain::{Draw, EraseField, EraseReason, OperatorId, Timestamp};
use pourbook::log::{Store, VaultKind};
use pourbook::node::{BookFolder, BookReader, open_desk};
use pourbook::writer::{Ask, Submission};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// What must be nowhere, and what it is of.
#[derive(Clone)]
pub struct Needle {
    pub bytes: Vec<u8>,
    pub what: String,
}

/// How many bytes of a needle are looked up first.
const BEGINS: usize = 6;

/// Many needles, found in one pass over a file.
pub struct Search {
    by_beginning: HashMap<[u8; BEGINS], Vec<Needle>>,
}

impl Search {
    pub fn new(needles: impl IntoIterator<Item = Needle>) -> Search {
        let mut by_beginning: HashMap<[u8; BEGINS], Vec<Needle>> = HashMap::new();
        for needle in needles {
            let beginning = needle.bytes[..BEGINS].try_into().unwrap();
            by_beginning.entry(beginning).or_default().push(needle);
        }
        Search { by_beginning }
    }

    /// What is found in the files of a folder, with the file.
    pub fn found(&self, dir: &Path) -> BTreeMap<String, PathBuf> {
        let mut found = BTreeMap::new();
        for (path, bytes) in files_under(dir) {
            for what in self.within(&bytes) {
                found.insert(what, path.clone());
            }
        }
        found
    }

    /// What is found in some bytes.
    pub fn within(&self, bytes: &[u8]) -> BTreeSet<String> {
        let mut found = BTreeSet::new();
        // Segments end in many zeros.
        let end = bytes
            .iter()
            .rposition(|byte| *byte != 0)
            .map_or(0, |last| last + 1);
        let bytes = &bytes[..(end + BEGINS).min(bytes.len())];
        for at in 0..bytes.len().saturating_sub(BEGINS - 1) {
            let beginning: [u8; BEGINS] = bytes[at..at + BEGINS].try_into().unwrap();
            if beginning == [0; BEGINS] {
                continue;
            }
            for needle in self.by_beginning.get(&beginning).into_iter().flatten() {
                if bytes[at..].starts_with(&needle.bytes) {
                    found.insert(needle.what.clone());
                }
            }
        }
        found
    }
}

/// A value as it is, and the symbols of its base64url that do not depend on what stands beside it, at each of the three places
/// where it can begin within four symbols.
pub fn disguises(value: &[u8], what: &str) -> Vec<Needle> {
    let mut all = vec![value.to_vec()];
    for shift in 0..3 {
        let text = URL_SAFE_NO_PAD.encode([&vec![b'x'; shift], value].concat());
        let first = [0, 2, 3][shift];
        all.push(text.as_bytes()[first..text.len() - 1].to_vec());
    }
    all.into_iter()
        .filter(|bytes| bytes.len() >= BEGINS)
        .map(|bytes| Needle {
            bytes,
            what: what.to_owned(),
        })
        .collect()
}

/// A private record of the book, with all that must be nowhere once it is erased.
pub struct Private {
    index: u64,
    event: u16,
    pub member: String,
    /// Value, salt and disclosure, which stand nowhere in clear at any time.
    pub clear: Vec<Needle>,
    /// The record as it was stored, and its key.
    pub stored: Vec<Needle>,
    /// The value.
    pub value: String,
}

/// Where a record stands in a segment of the vault, by the description of the format (`src/log/format.rs`).
fn stored_record(
    vault: &BTreeMap<PathBuf, Vec<u8>>,
    index: u64,
    event: u16,
    member: &str,
) -> (Vec<u8>, usize) {
    let head = [
        index.to_le_bytes().as_slice(),
        &[1, member.len() as u8],
        &event.to_le_bytes(),
    ]
    .concat();
    for (path, bytes) in vault {
        let mut from = 0;
        while let Some(at) = bytes[from..].windows(12).position(|window| window == head) {
            let at = from + at;
            if path.to_string_lossy().ends_with(".records") && bytes[at + 28..].starts_with(member.as_bytes())
            {
                let number = |place: usize| {
                    u32::from_le_bytes(bytes[at + place..at + place + 4].try_into().unwrap()) as usize
                };
                let from = at + 28 + member.len() + 32;
                return (bytes[from..from + number(12)].to_vec(), number(16));
            }
            from = at + 1;
        }
    }
    panic!("entry {index} has no stored {member}");
}

pub fn private_of(dir: &Path) -> Vec<Private> {
    let reader = BookReader::open(&BookFolder::at(dir)).unwrap();
    // Of segments that are mostly zeros only the front is looked through.
    let vault = files_under(&dir.join("vault"))
        .into_iter()
        .map(|(path, mut bytes)| {
            let end = bytes
                .iter()
                .rposition(|byte| *byte != 0)
                .map_or(0, |last| last + 1);
            bytes.truncate(end + 40);
            (path, bytes)
        });
    let vault: BTreeMap<PathBuf, Vec<u8>> = vault.collect();
    let keys = &vault[&dir.join("vault/keys")];
    let mut all = Vec::new();
    for index in 0..reader.head().size {
        for record in reader.store().private(index).unwrap() {
            let VaultKind::Disclosure { event, member } = record.kind else {
                continue;
            };
            if record.body.is_empty() {
                continue;
            }
            let what = format!("entry {index}, event {event}, {member}");
            let decoded = URL_SAFE_NO_PAD.decode(&record.body).unwrap();
            let parts: Vec<serde_json::Value> = serde_json::from_slice(&decoded).unwrap();
            let salt = parts[0].as_str().unwrap();
            let value = parts[2]
                .as_str()
                .map_or_else(|| parts[2].to_string(), str::to_owned);
            let mut clear = disguises(&record.body, &format!("{what}: the disclosure"));
            clear.extend(disguises(&decoded, &format!("{what}: the disclosure")));
            clear.extend(disguises(salt.as_bytes(), &format!("{what}: the salt")));
            clear.extend(disguises(
                &URL_SAFE_NO_PAD.decode(salt).unwrap(),
                &format!("{what}: the salt"),
            ));
            clear.extend(disguises(
                value.as_bytes(),
                &format!("{what}: the value {value:?}"),
            ));
            let (stored, slot) = stored_record(&vault, index, event, &member);
            let stored = vec![
                Needle {
                    bytes: stored,
                    what: format!("{what}: the stored record"),
                },
                Needle {
                    bytes: keys[slot * 40..slot * 40 + 32].to_vec(),
                    what: format!("{what}: the key"),
                },
            ];
            all.push(Private {
                index,
                event,
                member,
                clear,
                stored,
                value,
            });
        }
    }
    all
}

/// Erases in a book that nobody serves. Codes of certificates and all else that is private can be erased.
fn erase(dir: &Path, records: &[&Private]) {
    let mut desk = open_desk(&BookFolder::at(dir)).unwrap();
    let mut last = 0;
    let store = desk.store();
    store
        .scan(0, &mut |_, bytes| {
            last = pourbook::record::read(bytes).unwrap().payload.iat.0.max(last);
            true
        })
        .unwrap();
    let mut draw = Draw::new([8; 32]);
    for records in records.chunks(64) {
        let submissions = records.iter().map(|record| {
            let command = EraseField {
                index: record.index,
                event: record.event,
                member: record.member.clone(),
                reason: EraseReason::Request,
                entry: String::new(),
            };
            Submission {
                request: draw.uuid(),
                by: OperatorId(Uuid::from_u128(7)),
                at: None,
                expected: Vec::new(),
                ask: Ask::Command(command.into()),
            }
        });
        let submissions: Vec<Submission> = submissions.collect();
        let outcomes = desk
            .turn(Timestamp(last + 60), draw.bytes(), submissions)
            .unwrap();
        for (record, outcome) in records.iter().zip(outcomes) {
            outcome.unwrap_or_else(|error| panic!("{} {}: {error}", record.index, record.member));
        }
    }
    desk.release().unwrap();
}

/// The proof files of every tenth piece that has a serial, and the thumbprint to check them with.
fn proofs(dir: &Path, to: &Path) -> (Vec<PathBuf>, String) {
    let reader = BookReader::open(&BookFolder::at(dir)).unwrap();
    let serials: Vec<_> = reader
        .book()
        .pieces()
        .filter_map(|piece| piece.serial.clone())
        .collect();
    let files = serials.iter().step_by(10).map(|serial| {
        let path = to.join(format!("{serial}.json"));
        std::fs::create_dir_all(to).unwrap();
        std::fs::write(&path, reader.proof(serial).unwrap().to_bytes()).unwrap();
        path
    });
    (files.collect(), reader.policy().root.clone().unwrap())
}

#[test]
fn what_was_erased_is_in_no_file_of_the_book_and_every_proof_still_holds() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("book");
    pourbook::cli::demo::make(&BookFolder::at(&dir)).unwrap_or_else(|_| panic!("no demo"));
    // Views and tiles stand there before anything is erased.
    Served::start(&dir).stop();
    let private = private_of(&dir);
    let (before, root) = proofs(&dir, &folder.path().join("before"));
    // Five stay, so that erasing all is not what makes the rest unreadable.
    let stay = |place: usize| place.is_multiple_of(private.len() / 5);
    let erased: Vec<&Private> = private
        .iter()
        .enumerate()
        .filter(|(place, _)| !stay(*place))
        .map(|(_, p)| p)
        .collect();
    let kept: Vec<&Private> = private
        .iter()
        .enumerate()
        .filter(|(place, _)| stay(*place))
        .map(|(_, p)| p)
        .collect();
    let all_stored = Search::new(private.iter().flat_map(|record| record.stored.iter().cloned()));
    let found = all_stored.found(&dir);
    assert_eq!(found.len(), private.len() * 2, "the search finds what is stored");

    erase(&dir, &erased);
    let gone = erased
        .iter()
        .flat_map(|record| record.clear.iter().chain(&record.stored).cloned());
    let gone = Search::new(gone);
    let needles: usize = gone.by_beginning.values().map(Vec::len).sum();
    let mut searched = 0;
    for after in ["erasing", "serving", "rebuilding"] {
        match after {
            "serving" => Served::start(&dir).stop(),
            "rebuilding" => assert!(run(&["rebuild", dir.to_str().unwrap()]).status.success()),
            _ => {}
        }
        let found = gone.found(&dir);
        assert!(found.is_empty(), "after {after}: {found:#?}");
        searched += files_under(&dir).len();
    }
    // The search does find a value, wherever in its base64url it begins.
    let probe = folder.path().join("probe");
    copy_folder(&dir.join("keys"), &probe);
    for shift in 0..3 {
        let value = b"Pellworth Metals Counter";
        let text = URL_SAFE_NO_PAD.encode([&vec![b'?'; shift], value.as_slice(), b"tail"].concat());
        std::fs::write(probe.join("probe"), text).unwrap();
        assert!(
            !Search::new(disguises(value, "probe")).found(&probe).is_empty(),
            "shift {shift}"
        );
    }
    let reader = BookReader::open(&BookFolder::at(&dir)).unwrap();
    let body = |record: &Private| {
        let records = reader.store().private(record.index).unwrap();
        let kind = VaultKind::Disclosure {
            event: record.event,
            member: record.member.clone(),
        };
        records.into_iter().find(|found| found.kind == kind).unwrap().body
    };
    assert!(erased.iter().all(|record| body(record).is_empty()));
    assert!(kept.iter().all(|record| !body(record).is_empty()));
    let (after, _) = proofs(&dir, &folder.path().join("after"));
    for proof in before.iter().chain(&after) {
        let output = run(&["verify", proof.to_str().unwrap(), "--root", &root]);
        assert_eq!(
            output.status.code(),
            Some(0),
            "{}",
            String::from_utf8_lossy(&output.stdout)
        );
    }
    assert_eq!(run(&["audit", dir.to_str().unwrap()]).status.code(), Some(0));
    println!(
        "{} private members erased of {}: {needles} texts sought in {searched} files, none found; {} proofs of before and {} of \
         after hold",
        erased.len(),
        private.len(),
        before.len(),
        after.len()
    );
}
