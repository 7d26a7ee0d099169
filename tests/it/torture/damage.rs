//! Every flipped bit and every cut of the log of a small book: refused with the place named, or in the last, unreleased group,
//! which is then kept aside and reported. Looking changes nothing.

use super::story::{Told, audit, empty_disk, look, open_desk, open_store, tell};
use super::{is_long, on_both_cores};
use crate::log::workshop::BOOK;
use pourbook::log::{Files, MemoryFiles, Operation, Store, StoreError};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Seven entries in five groups; the last group, of one entry, is not released.
const STEPS: usize = 6;
const ENTRIES: u64 = 7;
const RELEASED: u64 = 6;

struct Book {
    files: MemoryFiles,
    told: Told,
    segments: Vec<Segment>,
}

struct Segment {
    path: PathBuf,
    bytes: Vec<u8>,
    /// Where its groups begin, and then where the last one ends.
    groups: Vec<usize>,
    is_last: bool,
}

impl Segment {
    /// Where the group begins in which a byte stands, or the place after the last group.
    fn group_of(&self, byte: usize) -> usize {
        *self.groups.iter().rev().find(|begin| **begin <= byte).unwrap()
    }

    fn end(&self) -> usize {
        *self.groups.last().unwrap()
    }

    fn begins_last(&self, group: usize) -> bool {
        self.is_last && self.groups.len() > 1 && group == self.groups[self.groups.len() - 2]
    }
}

fn small_book() -> Book {
    let files = empty_disk();
    let mut told = Told::default();
    tell(&files, &mut told, STEPS).unwrap();
    files.restart();
    assert_eq!(told.answered.len() as u64, ENTRIES);
    let mut segments = Vec::new();
    for (path, bytes) in files.contents() {
        if !path.starts_with(Path::new(BOOK).join("log")) {
            continue;
        }
        // A group is as long as its head says (`src/log/format.rs`).
        let mut groups = vec![0];
        while let Some(head) = bytes
            .get(groups[groups.len() - 1]..)
            .filter(|rest| rest.starts_with(b"\xFFPBGROUP"))
        {
            let body = u32::from_le_bytes(head[24..28].try_into().unwrap()) as usize;
            groups.push(groups[groups.len() - 1] + 40 + body);
        }
        let is_last = false;
        segments.push(Segment {
            path,
            bytes,
            groups,
            is_last,
        });
    }
    assert!(segments.len() > 1, "the book spans segments");
    segments.last_mut().unwrap().is_last = true;
    Book {
        files,
        told,
        segments,
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    /// Refused, and the place is named.
    Refused,
    /// Refused, since a released checkpoint is beyond the end.
    BehindPin,
    /// The last group was cut, kept aside and reported.
    KeptAside,
    /// What was flipped stands behind the last group: kept aside and reported, and nothing is missing.
    BehindTheEnd,
    /// The last group is absent, as if it had never been written.
    Absent,
    /// Only zeros were cut.
    Whole,
}

/// What changes a disk.
fn changes(operation: &Operation) -> bool {
    use Operation::{Create, CreateDirs, Lock, Remove, Rename, WriteAt};
    matches!(operation, Create | CreateDirs | Lock | Remove | Rename | WriteAt)
}

/// Looks at a damaged copy as a reader does, then opens it for writing.
fn outcome(book: &Book, damaged: &MemoryFiles, segment: &Segment, at: usize, place: &str) -> Outcome {
    damaged.set_fault(None);
    let looked = look(damaged);
    assert!(
        !damaged.trace().iter().any(changes),
        "{place}: looking changed something"
    );
    let store = match looked {
        Ok(store) => store,
        Err(refused) => return named(damaged, refused, segment, at, place),
    };
    let head = store.head();
    drop(store);
    assert!(head.size >= RELEASED, "{place}: {} entries", head.size);
    let before = damaged.contents();
    let store = open_store(damaged, 99).unwrap_or_else(|error| panic!("{place}: {error}"));
    let opened = store.head();
    assert_eq!(opened.size, head.size, "{place}");
    drop(store);
    if at.is_multiple_of(32) {
        // The whole book, too, is what it was without the group.
        drop(open_desk(damaged, 99).unwrap_or_else(|error| panic!("{place}: {error}")));
        let mut told = book.told.clone();
        told.answered.retain(|_, (index, _)| *index < head.size);
        audit(damaged, &told, place);
    }
    match (opened.torn, head.size) {
        (None, ENTRIES) => Outcome::Whole,
        (None, _) => Outcome::Absent,
        (Some(torn), size) => {
            assert_eq!(torn.index, size, "{place}");
            let kept = damaged.contents()[&torn.kept.unwrap()].clone();
            let from = segment.group_of(at.min(segment.end()));
            assert_eq!(kept.len() as u64, torn.bytes, "{place}");
            assert!(
                before[&segment.path][from..].starts_with(&kept),
                "{place}: other bytes are kept"
            );
            if size == ENTRIES {
                Outcome::BehindTheEnd
            } else {
                Outcome::KeptAside
            }
        }
    }
}

/// A refusal names the file and the byte where the damaged group begins, and opening for writing refuses alike.
fn named(damaged: &MemoryFiles, refused: StoreError, segment: &Segment, at: usize, place: &str) -> Outcome {
    let outcome = match &refused {
        StoreError::Corrupt { at: told, .. } => {
            let group = segment.group_of(at.min(segment.end()));
            let wanted = format!("{}, byte {group}", segment.path.display());
            assert_eq!(told, &wanted, "{place}: {refused}");
            Outcome::Refused
        }
        StoreError::BehindPin { size, pinned, .. } => {
            assert!(size < pinned, "{place}");
            Outcome::BehindPin
        }
        other => panic!("{place}: {other}"),
    };
    if at.is_multiple_of(16) {
        let before = damaged.contents();
        let error = open_desk(damaged, 99)
            .err()
            .unwrap_or_else(|| panic!("{place}: opened for writing"));
        assert_eq!(error, refused.to_string(), "{place}");
        assert!(
            damaged.contents() == before,
            "{place}: a refusal changed something"
        );
    }
    outcome
}

#[test]
fn every_flipped_bit_of_the_log_is_told_by_its_place_or_kept_aside() {
    let book = small_book();
    let mut flips = Vec::new();
    for (number, segment) in book.segments.iter().enumerate() {
        for byte in 0..segment.bytes.len() {
            // In the short form one bit of each byte, another one each time.
            let bits = if is_long() { 0..8 } else { byte % 8..byte % 8 + 1 };
            flips.extend(bits.map(|bit| (number, byte, bit)));
        }
    }
    let outcomes = on_both_cores(&flips, |(number, byte, bit)| {
        let segment = &book.segments[*number];
        let place = format!("{} byte {byte} bit {bit}", segment.path.display());
        let damaged = book.files.copy();
        damaged
            .patch(&segment.path, |bytes| bytes[*byte] ^= 1 << bit)
            .unwrap();
        let outcome = outcome(&book, &damaged, segment, *byte, &place);
        let wanted = match segment.group_of(*byte) {
            group if segment.begins_last(group) => Outcome::KeptAside,
            group if group == segment.end() && segment.is_last => Outcome::BehindTheEnd,
            _ => Outcome::Refused,
        };
        assert_eq!(outcome, wanted, "{place}");
        outcome
    });
    let told = count(&outcomes);
    println!(
        "{} bits flipped in the log of {ENTRIES} entries: {told:?}; entries lost of released ones: 0",
        flips.len()
    );
    assert!(told.len() == 3, "{told:?}");
}

#[test]
fn every_cut_of_the_log_is_told_or_takes_the_last_group_only() {
    let book = small_book();
    let mut cuts = Vec::new();
    for (number, segment) in book.segments.iter().enumerate() {
        let step = if is_long() { 1 } else { 5 };
        cuts.extend((0..segment.bytes.len()).step_by(step).map(|kept| (number, kept)));
    }
    let outcomes = on_both_cores(&cuts, |(number, kept)| {
        let segment = &book.segments[*number];
        let place = format!("{} cut to {kept}", segment.path.display());
        let damaged = book.files.copy();
        damaged
            .patch(&segment.path, |bytes| bytes.truncate(*kept))
            .unwrap();
        let outcome = outcome_of_a_cut(&book, &damaged, segment, *kept, &place);
        let whole = *kept >= segment.end();
        assert_eq!(outcome == Outcome::Whole, whole, "{place}: {outcome:?}");
        outcome
    });
    println!(
        "{} cuts of the log of {ENTRIES} entries: {:?}; entries lost of released ones: 0",
        cuts.len(),
        count(&outcomes)
    );
}

/// A cut at the end of a group leaves what looks whole, so it is the next segment or the pin that tells; the place is then
/// where the next group should begin.
fn outcome_of_a_cut(
    book: &Book,
    damaged: &MemoryFiles,
    segment: &Segment,
    kept: usize,
    place: &str,
) -> Outcome {
    let at_a_border = segment.groups.contains(&kept) && kept < segment.end();
    if !at_a_border {
        return outcome(book, damaged, segment, kept, place);
    }
    damaged.set_fault(None);
    match look(damaged) {
        Err(StoreError::Corrupt { at, .. }) => {
            assert!(at.contains(", byte ") && at.contains("/log/"), "{place}: {at}");
            Outcome::Refused
        }
        Err(StoreError::BehindPin { .. }) => Outcome::BehindPin,
        Err(other) => panic!("{place}: {other}"),
        Ok(store) => {
            assert_eq!(store.head().size, RELEASED, "{place}");
            Outcome::Absent
        }
    }
}

fn count(outcomes: &[Outcome]) -> BTreeMap<Outcome, usize> {
    let mut told = BTreeMap::new();
    for outcome in outcomes {
        *told.entry(*outcome).or_default() += 1;
    }
    told
}

/// Segments that were swapped, repeated or taken from another book are told by what should stand there.
#[test]
fn segments_in_each_others_place_are_refused_by_name() {
    let book = small_book();
    let [first, second, ..] = &book.segments[..] else {
        panic!("one segment")
    };
    let swapped = book.files.copy();
    swapped
        .patch(&first.path, |bytes| *bytes = second.bytes.clone())
        .unwrap();
    swapped
        .patch(&second.path, |bytes| *bytes = first.bytes.clone())
        .unwrap();
    let twice = book.files.copy();
    twice
        .patch(&second.path, |bytes| *bytes = first.bytes.clone())
        .unwrap();
    let gone = book.files.copy();
    gone.remove(&first.path).unwrap();
    for (what, files, path) in [
        ("swapped", &swapped, &first.path),
        ("twice", &twice, &second.path),
        ("gone", &gone, &second.path),
    ] {
        let before = files.contents();
        match look(files) {
            Err(StoreError::Corrupt { at, .. }) => {
                assert!(at.starts_with(path.to_str().unwrap()), "{what}: {at}")
            }
            Err(other) => panic!("{what}: {other}"),
            Ok(_) => panic!("{what}: opened"),
        }
        assert!(open_desk(files, 99).is_err(), "{what}");
        assert!(files.contents() == before, "{what}: a refusal changed something");
    }
}
