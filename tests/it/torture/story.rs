//! A small book on a disk in memory, told by a desk: the same steps each time, so that a story that was cut short can be told
//! again from its beginning. What was answered must then be a repetition.

use crate::log::workshop::{BOOK, SECOND_PIN, SECRET};
use crate::shop;
use pourbook::check::{Audit, BLOCK};
use pourbook::domain::*;
use pourbook::log::{FileStore, FileStoreOptions, Files, MemoryFiles, Store, StoreError, VaultKind};
use pourbook::proof::Hash;
use pourbook::writer::{Ask, Desk, Observer, Submission, SubmitError};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use uuid::Uuid;

pub const ORIGIN: &str = "brackenfold.example/torture";
const SEGMENT_BYTES: u64 = 6 * 1024;
const BY: OperatorId = OperatorId(Uuid::from_u128(11));
/// One step is told with the clock set back behind the last entry, within what is put up with, seconds.
const CLOCK_BACK: i64 = 63;
/// The steps of the story.
pub const STEPS: usize = 11;
/// The step that appends two entries, of which one erases.
pub const ERASING: usize = 6;
/// A step that appends two entries, and the last that pins.
pub const APPENDING: usize = 8;
pub const PINNING: usize = 10;

/// What somebody was told who gave the commands.
#[derive(Clone, Default)]
pub struct Told {
    /// The making of the book was begun, and was answered.
    begun: bool,
    made: bool,
    /// Request, index and leaf of what was answered with success.
    pub answered: BTreeMap<Uuid, (u64, Hash)>,
    /// What was refused.
    pub refused: Vec<Uuid>,
    pub released: Vec<String>,
    /// The bytes that must be nowhere once the erasure was answered: the record as it was stored, and its key.
    remains: Vec<Vec<u8>>,
    erased: bool,
    lives: i64,
    /// Where the last opening ended, in operations.
    pub opened: u64,
    /// Where each step ended, in operations.
    pub ends: Vec<u64>,
}

impl Told {
    /// How many processes told it.
    pub fn lives(&self) -> i64 {
        self.lives
    }
}

/// A disk with the folders beside the book.
pub fn empty_disk() -> MemoryFiles {
    let files = MemoryFiles::new();
    for folder in ["/stick", "/shop"] {
        files.create_dirs(Path::new(folder), 0o755).unwrap();
    }
    files
}

/// `life` makes the keys of private records others in each life, as chance does.
pub fn open_store(files: &MemoryFiles, life: i64) -> Result<FileStore, StoreError> {
    let mut chance = Draw::new([life as u8; 32]);
    let options = FileStoreOptions {
        segment_bytes: SEGMENT_BYTES,
        second_pin: Some(SECOND_PIN.into()),
        ..FileStoreOptions::new(Box::new(move || chance.bytes()))
    };
    FileStore::open(Path::new(BOOK), options, Arc::new(files.clone()))
}

/// As a stranger looks at the stored bytes: takes no lock, changes nothing.
pub fn look(files: &MemoryFiles) -> Result<FileStore, StoreError> {
    let options = FileStoreOptions {
        second_pin: Some(SECOND_PIN.into()),
        ..FileStoreOptions::read_only()
    };
    FileStore::open(Path::new(BOOK), options, Arc::new(files.clone()))
}

pub fn open_desk(files: &MemoryFiles, life: i64) -> Result<Desk, String> {
    let store = Arc::new(open_store(files, life).map_err(|error| error.to_string())?);
    let secret = store.secret().map_err(|error| error.to_string())?;
    let keys = shop::deskkeys(ORIGIN, secret);
    Desk::open(store, ORIGIN, keys, Observer::none()).map_err(|error| error.to_string())
}

/// Makes the book unless it is made, opens it, and tells the first steps. Ends at the first failure, as a process would.
pub fn tell(files: &MemoryFiles, told: &mut Told, steps: usize) -> Result<(), String> {
    if !told.made {
        let made = FileStore::create(Path::new(BOOK), files, &SECRET);
        match made {
            Ok(()) => {}
            // It was made by a process that did not live to say so.
            Err(StoreError::BookExists { .. }) if told.begun => {}
            Err(error) => {
                told.begun = true;
                return Err(error.to_string());
            }
        }
        told.made = true;
    }
    told.lives += 1;
    let mut desk = open_desk(files, told.lives)?;
    told.opened = files.operations();
    told.ends.clear();
    for step in 0..steps {
        tell_step(files, &mut desk, told, step)?;
        told.ends.push(files.operations());
    }
    Ok(())
}

fn tell_step(files: &MemoryFiles, desk: &mut Desk, told: &mut Told, step: usize) -> Result<(), String> {
    let now = Timestamp(shop::NOW.0 + 60 * step as i64);
    let submissions = submissions(desk.book(), step, now);
    if step == ERASING && told.remains.is_empty() {
        told.remains = remains_of_the_seller(files, lot_entry(desk.book()));
    }
    if submissions.is_empty() {
        desk.release().map_err(|error| error.to_string())?;
        told.released
            .extend(desk.published().released().map(|released| released.note.clone()));
        return Ok(());
    }
    let now = Timestamp(now.0 + 86_400 * told.lives - if step == 3 { CLOCK_BACK } else { 0 });
    let outcomes = desk
        .turn(now, [step as u8 + 1; 32], submissions.clone())
        .map_err(|error| error.to_string())?;
    for (submission, outcome) in submissions.into_iter().zip(outcomes) {
        let request = submission.request;
        match outcome {
            Ok(recorded) => {
                let stands = (recorded.index, recorded.leaf);
                if let Some(before) = told.answered.insert(request, stands) {
                    assert_eq!(before, stands, "step {step}: {request} was answered otherwise");
                    assert!(recorded.repeated, "step {step}: {request} is recorded twice");
                }
            }
            Err(SubmitError::Refused(_)) => {
                assert!(
                    !told.answered.contains_key(&request),
                    "step {step}: answered, then refused"
                );
                told.refused.push(request);
            }
            Err(other) => panic!("step {step}: {other}"),
        }
    }
    told.erased |= step == ERASING;
    Ok(())
}

/// What a step asks; nothing where it releases a checkpoint.
fn submissions(book: &Book, step: usize, now: Timestamp) -> Vec<Submission> {
    let mut draw = Draw::new([step as u8 + 101; 32]);
    if step == 0 {
        return shop::founding(ORIGIN, now, &mut draw);
    }
    commands(book, step)
        .into_iter()
        .map(|command| Submission {
            request: draw.uuid(),
            by: BY,
            at: None,
            expected: Vec::new(),
            ask: Ask::Command(command),
        })
        .collect()
}

fn commands(book: &Book, step: usize) -> Vec<Command> {
    let scale = || book.scales().min_by_key(|scale| scale.since).unwrap().scale;
    let session = || book.sessions().next().unwrap().session;
    // Nobody has such a piece, so this is refused whenever it is asked.
    let impossible = || -> Command {
        GiveSerials {
            pieces: vec![PieceId(Uuid::from_u128(404))],
        }
        .into()
    };
    let erase = || -> Command {
        EraseField {
            index: lot_entry(book),
            event: 0,
            member: "seller".to_owned(),
            reason: EraseReason::Request,
            entry: String::new(),
        }
        .into()
    };
    match step {
        1 => vec![shop::scale().into(), impossible()],
        2 => vec![
            OpenSession {
                scale: scale(),
                nominal: shop::mass("100"),
                reading: shop::reading("100.00"),
            }
            .into(),
        ],
        3 => vec![shop::lot(session()).into()],
        5 => vec![impossible(), shop::scale().into()],
        ERASING => vec![erase(), shop::series("TW").into()],
        7 => vec![erase()],
        APPENDING => vec![shop::lot(session()).into(), shop::scale().into()],
        9 => vec![shop::series("DW").into(), impossible()],
        _ => Vec::new(),
    }
}

fn lot_entry(book: &Book) -> u64 {
    book.lots().map(|lot| lot.since).min().unwrap()
}

/// The stored bytes of the seller's record, and its key, from the formats' own description (`src/log/format.rs`).
fn remains_of_the_seller(files: &MemoryFiles, index: u64) -> Vec<Vec<u8>> {
    let head = [index.to_le_bytes().as_slice(), &[1, 6, 0, 0]].concat();
    let contents = files.contents();
    for (path, bytes) in &contents {
        let found = bytes.windows(12).position(|window| window == head);
        let Some(at) = found.filter(|_| path.to_string_lossy().ends_with(".records")) else {
            continue;
        };
        let number = |place: usize| u32::from_le_bytes(bytes[at + place..at + place + 4].try_into().unwrap());
        let (length, slot) = (number(12) as usize, number(16) as usize);
        let stored = bytes[at + 28 + 6 + 32..][..length].to_vec();
        let keys = &contents[&Path::new(BOOK).join("vault/keys")];
        let key = keys[slot * 40..slot * 40 + 32].to_vec();
        if stored.iter().all(|byte| *byte == 0) {
            return Vec::new();
        }
        return vec![stored, key];
    }
    panic!("entry {index} has no stored seller");
}

/// The whole book from its stored bytes: everything that was answered stands once and where it was said, nothing that was
/// refused stands, every signature, chain and rule holds, every checkpoint that was shown is the log's own, private values
/// are there unless they were erased, and then they are nowhere.
pub fn audit(files: &MemoryFiles, told: &Told, place: &str) {
    let store = match look(files) {
        Ok(store) => store,
        Err(_) if told.answered.is_empty() => return,
        Err(error) => panic!("{place}: {error}"),
    };
    let mut entries = Vec::new();
    store
        .scan(0, &mut |_, bytes| {
            entries.push(bytes.to_vec());
            true
        })
        .unwrap();
    if let Some(note) = store.head().checkpoint {
        let mut audit = Audit::new(ORIGIN, true, 1);
        let past =
            |each: &mut dyn FnMut(u64, &[u8]) -> bool| store.scan(0, each).map_err(|error| error.to_string());
        for block in entries.chunks(BLOCK) {
            audit
                .take(block, &past)
                .unwrap_or_else(|wrong| panic!("{place}: {wrong:?}"));
        }
        audit
            .finish(&note)
            .unwrap_or_else(|error| panic!("{place}: {error}"));
        for note in told.released.iter().chain(&store.pinned()) {
            audit
                .agrees(note)
                .unwrap_or_else(|error| panic!("{place}: {error}"));
        }
    }
    let mut standing: BTreeMap<Uuid, (u64, Hash)> = BTreeMap::new();
    for (index, bytes) in (0..).zip(&entries) {
        let entry = pourbook::record::read(bytes).unwrap();
        let leaf = pourbook::proof::leaf_hash(bytes);
        let twice = standing.insert(entry.payload.jti, (index, leaf));
        assert!(twice.is_none(), "{place}: {} stands twice", entry.payload.jti);
    }
    let mut half_erased = 0;
    for (request, stands) in &told.answered {
        assert_eq!(
            standing.get(request),
            Some(stands),
            "{place}: {request} was answered"
        );
        let records = match store.private(stands.0) {
            Ok(records) => records,
            // A record that is half zeros is of an erasure that was not answered; the next opening ends it.
            Err(StoreError::Corrupt { why, .. })
                if why.ends_with("does not match its hash") && !told.remains.is_empty() && !told.erased =>
            {
                half_erased += 1;
                continue;
            }
            Err(error) => panic!("{place}: {error}"),
        };
        for record in records {
            let is_seller = record.kind == seller();
            let goes = is_seller || record.kind == VaultKind::Request;
            // An erasure that was not answered may have begun.
            assert!(
                !record.body.is_empty() || goes && !told.remains.is_empty(),
                "{place}: entry {} lost {:?}",
                stands.0,
                record.kind
            );
        }
    }
    assert!(
        half_erased <= 1,
        "{place}: one entry is erased, {half_erased} are damaged"
    );
    for request in &told.refused {
        assert!(!standing.contains_key(request), "{place}: {request} was refused");
    }
    if told.erased {
        for (path, bytes) in files.contents() {
            for needle in &told.remains {
                let found = bytes.windows(needle.len()).any(|window| window == needle);
                assert!(!found, "{place}: {} still has what was erased", path.display());
            }
        }
    }
}

pub fn seller() -> VaultKind {
    VaultKind::Disclosure {
        event: 0,
        member: "seller".to_owned(),
    }
}
