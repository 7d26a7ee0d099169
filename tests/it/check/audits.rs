//! A whole log, and the first entry that is wrong.

use super::{DemoBook, entries};
use pourbook::check::{Audit, AuditError};
use pourbook::domain::{Draft, Draw, Event, KeyRole, Private};
use pourbook::log::Store;
use pourbook::metal::Reading;
use pourbook::record::{Unsealed, read, seal};

/// Is handed an entry and its index, and says whether to go on.
type Each<'a> = &'a mut dyn FnMut(u64, &[u8]) -> bool;

/// The entries once more, from the first on.
pub fn past(entries: &[Vec<u8>]) -> impl Fn(Each<'_>) -> Result<(), String> {
    move |each| {
        let mut entries = (0..).zip(entries);
        entries.all(|(index, bytes)| each(index, bytes));
        Ok(())
    }
}

fn audit(entries: &[Vec<u8>], note: &str, strict: bool) -> Result<u64, AuditError> {
    let mut audit = Audit::new("brackenfold.example/log", strict, 2);
    for block in entries.chunks(50) {
        audit.take(block, &past(entries))?;
    }
    audit.finish(note).map(|report| report.size)
}

fn wrong(entries: &[Vec<u8>], note: &str) -> (u64, String) {
    let batch = audit(entries, note, false).unwrap_err();
    let strict = audit(entries, note, true).unwrap_err();
    assert_eq!(batch, strict, "batch and strict verification name the same entry");
    match batch {
        AuditError::Entry(wrong) => (wrong.index, wrong.why),
        AuditError::Checkpoint(why) => (u64::MAX, why),
    }
}

fn log() -> (DemoBook, Vec<Vec<u8>>, String) {
    let book = DemoBook::make();
    let reader = book.reader();
    let note = reader.store().head().checkpoint.unwrap();
    let entries = entries(&reader);
    (book, entries, note)
}

#[test]
fn the_demo_holds() {
    let (_book, entries, note) = log();
    assert_eq!(audit(&entries, &note, false).unwrap(), entries.len() as u64);
    assert_eq!(audit(&entries, &note, true).unwrap(), entries.len() as u64);
}

#[test]
fn the_first_wrong_entry_is_named() {
    let (_book, entries, note) = log();
    for index in [0, 2, 3, 20, 60, entries.len() - 1] {
        let mut flipped = entries.clone();
        // A character in the middle of the signature.
        let place = flipped[index].len() - 40;
        flipped[index][place] = if flipped[index][place] == b'A' { b'B' } else { b'A' };
        assert_eq!(wrong(&flipped, &note).0, index as u64);
    }
    let mut swapped = entries.clone();
    swapped.swap(40, 41);
    assert!(wrong(&swapped, &note).0 <= 41);
    let mut fewer = entries.clone();
    fewer.remove(30);
    assert!(wrong(&fewer, &note).0 >= 30);
    let mut cut = entries.clone();
    cut.pop();
    assert_eq!(
        wrong(&cut, &note).0,
        u64::MAX,
        "a shorter log does not fit its checkpoint"
    );
}

#[test]
fn a_mass_that_was_altered_by_someone_with_the_recorder_key_breaks_a_rule() {
    let (book, mut entries, note) = log();
    let signer = book.folder().key(KeyRole::Recorder).unwrap().signer();
    let closed = |bytes: &Vec<u8>| {
        read(bytes)
            .unwrap()
            .events()
            .any(|event| matches!(event, Event::MeltClosed(_)))
    };
    let index = entries.iter().position(closed).unwrap();
    let entry = read(&entries[index]).unwrap();
    let mut drafts: Vec<Draft> = entry
        .events()
        .map(|event| Draft {
            event: event.clone(),
            private: Private::none(),
        })
        .collect();
    for draft in &mut drafts {
        if let Event::MeltClosed(melt) = &mut draft.event {
            melt.heel = Reading::parse("1.00").unwrap();
        }
    }
    let unsealed = Unsealed {
        iss: &entry.payload.iss,
        jti: entry.payload.jti,
        iat: entry.payload.iat,
        by: entry.payload.by,
        at: entry.payload.at,
        keys: entry.payload.keys,
        drafts: &drafts,
        prev: entry.payload.prev.clone(),
    };
    entries[index] = seal(&unsealed, &signer, &mut Draw::new([1; 32]))
        .unwrap()
        .entry
        .to_vec();
    let (at, why) = wrong(&entries, &note);
    assert_eq!(at, index as u64);
    assert!(why.contains("melt.closed breaks a rule of the book"), "{why}");
}

#[test]
fn a_checkpoint_of_another_log_does_not_fit() {
    let (_book, entries, note) = log();
    let size = entries.len();
    let other = note.replacen(&size.to_string(), &(size - 1).to_string(), 1);
    assert_eq!(wrong(&entries, &other).0, u64::MAX);
}
