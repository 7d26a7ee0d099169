//! Every cut and every flipped bit of a small book is told by its place, or it stands in the last, unreleased group.

use std::path::{Path, PathBuf};

use pourbook::log::{Group, MemoryFiles, Store, StoreError};

use super::workshop::{BOOK, SECOND_PIN, assert_holds, group, new_book, note, open, open_read_only};

/// Four groups over several segments; the first three are released.
fn small_book() -> (MemoryFiles, Vec<Group>) {
    let files = new_book();
    let groups = vec![group(0, 2), group(2, 3), group(5, 1), group(6, 2)];
    let store = open(&files).unwrap();
    groups.iter().for_each(|group| store.append(group).unwrap());
    store.pin(&note(6)).unwrap();
    drop(store);
    (files, groups)
}

fn files_in(files: &MemoryFiles, folder: &str, suffix: &str) -> Vec<(PathBuf, usize)> {
    let folder = Path::new(BOOK).join(folder);
    let all = files
        .contents()
        .into_iter()
        .map(|(path, bytes)| (path, bytes.len()));
    all.filter(|(path, _)| path.starts_with(&folder) && path.to_string_lossy().ends_with(suffix))
        .collect()
}

#[derive(Debug, PartialEq, Eq, Clone, Copy)]
enum Outcome {
    Refused,
    /// The last group is cut, kept aside and reported.
    Torn,
    /// The last group is absent, as if it had never been written.
    Absent,
    Whole,
}

/// Opens a damaged copy, first for reading and then for writing, and judges what it shows.
fn outcome(files: &MemoryFiles, groups: &[Group], place: &str) -> Outcome {
    let before = files.contents();
    let reading = open_read_only(files).map(|store| store.head());
    assert_eq!(files.contents(), before, "{place}: looking changed something");
    let store = match open(files) {
        Ok(store) => store,
        Err(error) => {
            assert_eq!(files.contents(), before, "{place}: a refusal changed something");
            assert!(
                reading.is_err(),
                "{place}: refused for writing but not for reading: {error}"
            );
            match error {
                StoreError::Corrupt { at, .. } => assert!(at.contains(", byte "), "{place}: {at}"),
                StoreError::BehindPin { size, pinned, .. } => assert!(size < pinned, "{place}"),
                other => panic!("{place}: {other}"),
            }
            return Outcome::Refused;
        }
    };
    let head = store.head();
    let shown = if head.size == 8 { groups } else { &groups[..3] };
    for (index, entry) in shown.iter().flat_map(|group| &group.entries).enumerate() {
        assert_eq!(store.read(index as u64).unwrap().as_ref(), Some(entry), "{place}");
        // A private record is as it was, or its reading is refused; it is never another and never seems erased.
        let written = shown.iter().flat_map(|group| &group.vault);
        let written: Vec<_> = written
            .into_iter()
            .filter(|record| record.index == index as u64)
            .cloned()
            .collect();
        match store.private(index as u64) {
            Ok(records) => assert_eq!(records, written, "{place}"),
            Err(error) => assert!(matches!(error, StoreError::Corrupt { .. }), "{place}: {error}"),
        }
    }
    assert_eq!(
        store.head().size,
        shown.iter().map(|group| group.entries.len() as u64).sum::<u64>(),
        "{place}"
    );
    let Some(torn) = head.torn else {
        return if head.size == 8 {
            Outcome::Whole
        } else {
            Outcome::Absent
        };
    };
    assert_eq!(torn.index, head.size, "{place}");
    let kept = files.contents()[&torn.kept.unwrap()].clone();
    assert_eq!(kept.len() as u64, torn.bytes, "{place}");
    let found = before
        .values()
        .any(|bytes| bytes.windows(kept.len()).any(|window| window == kept));
    assert!(found, "{place}: what is kept is not what was cut");
    assert_eq!(reading.unwrap().torn.unwrap().kept, None);
    Outcome::Torn
}

fn flip(files: &MemoryFiles, path: &Path, byte: usize) -> MemoryFiles {
    let damaged = files.copy();
    damaged
        .patch(path, |bytes| bytes[byte] ^= 1 << (byte % 8))
        .unwrap();
    damaged
}

#[test]
fn the_small_book_is_whole_and_spans_segments() {
    let (files, groups) = small_book();
    assert!(files_in(&files, "log", ".entries").len() > 1);
    assert_eq!(outcome(&files, &groups, "undamaged"), Outcome::Whole);
}

#[test]
fn every_flipped_byte_of_the_log_is_refused_or_stands_in_the_last_group() {
    let (files, groups) = small_book();
    let last: usize = group(6, 2).entries.iter().map(|entry| entry.len()).sum();
    let (mut refused, mut torn) = (0, 0);
    for (path, length) in files_in(&files, "log", ".entries") {
        let bytes = files.contents()[&path].clone();
        // Where the last group begins, if it stands in this file.
        let needle = [
            b"\xFFPBGROUP".as_slice(),
            &1_u32.to_le_bytes(),
            &2_u32.to_le_bytes(),
            &6_u64.to_le_bytes(),
        ];
        let needle = needle.concat();
        let begin = bytes
            .windows(needle.len())
            .position(|window| window == needle)
            .unwrap_or(length);
        let end = bytes.iter().rposition(|byte| *byte != 0).unwrap() + 1;
        for byte in 0..length {
            let place = format!("{} byte {byte}", path.display());
            let outcome = outcome(&flip(&files, &path, byte), &groups, &place);
            match outcome {
                Outcome::Refused => refused += 1,
                Outcome::Torn => torn += 1,
                other => panic!("{place}: {other:?}"),
            }
            let in_last = (begin..end).contains(&byte);
            let expected = if in_last { Outcome::Torn } else { Outcome::Refused };
            // Beyond the end a stray byte in the last segment is itself a torn group.
            if byte < end {
                assert_eq!(outcome, expected, "{place}");
            }
        }
    }
    assert!(refused > 300 && torn > last, "{refused} {torn}");
}

#[test]
fn every_cut_of_the_log_is_refused_or_takes_only_the_last_group() {
    let (files, groups) = small_book();
    let mut seen = Vec::new();
    for (path, length) in files_in(&files, "log", ".entries") {
        for kept in 0..length {
            let damaged = files.copy();
            damaged.patch(&path, |bytes| bytes.truncate(kept)).unwrap();
            seen.push(outcome(
                &damaged,
                &groups,
                &format!("{} cut to {kept}", path.display()),
            ));
        }
    }
    for expected in [Outcome::Refused, Outcome::Torn, Outcome::Absent, Outcome::Whole] {
        assert!(seen.contains(&expected), "{expected:?}");
    }
}

#[test]
fn every_flipped_byte_of_the_vault_is_refused_at_opening_or_at_reading() {
    let (files, groups) = small_book();
    let mut places = files_in(&files, "vault", ".records");
    places.extend(
        files_in(&files, "vault", "keys")
            .into_iter()
            .map(|(path, length)| (path, length.min(300))),
    );
    let mut seen = Vec::new();
    for (path, length) in places {
        for byte in 0..length {
            let place = format!("{} byte {byte}", path.display());
            seen.push(outcome(&flip(&files, &path, byte), &groups, &place));
        }
    }
    assert!(seen.contains(&Outcome::Refused) && seen.contains(&Outcome::Whole));
    assert!(
        seen.iter()
            .all(|outcome| matches!(outcome, Outcome::Refused | Outcome::Whole))
    );
}

#[test]
fn a_damaged_private_record_is_not_handed_out() {
    let (files, _) = small_book();
    let path = Path::new(BOOK).join("vault/00000000000000000000.records");
    // The first record is the request of entry 0: frame head 40, record head 28, hash 32.
    let damaged = flip(&files, &path, 40 + 28 + 32 + 3);
    let store = open(&damaged).unwrap();
    assert!(matches!(store.private(0), Err(StoreError::Corrupt { .. })));
    assert!(store.private(1).is_ok());
}

#[test]
fn every_cut_of_the_vault_is_refused_unless_it_takes_only_zeros() {
    let (files, groups) = small_book();
    for (path, length) in files_in(&files, "vault", ".records") {
        let end = files.contents()[&path]
            .iter()
            .rposition(|byte| *byte != 0)
            .unwrap()
            + 1;
        for kept in 0..length {
            let damaged = files.copy();
            damaged.patch(&path, |bytes| bytes.truncate(kept)).unwrap();
            let outcome = outcome(&damaged, &groups, &format!("{} cut to {kept}", path.display()));
            assert_eq!(
                outcome,
                if kept < end {
                    Outcome::Refused
                } else {
                    Outcome::Whole
                },
                "cut to {kept}"
            );
        }
    }
}

#[test]
fn every_flipped_byte_of_a_pin_leaves_the_book_or_is_refused() {
    let (files, groups) = small_book();
    for path in [Path::new(BOOK).join("pin"), PathBuf::from(SECOND_PIN)] {
        let length = files.contents()[&path].len();
        for byte in 0..length {
            let outcome = outcome(
                &flip(&files, &path, byte),
                &groups,
                &format!("{} byte {byte}", path.display()),
            );
            assert!(matches!(outcome, Outcome::Refused | Outcome::Whole));
        }
    }
}

#[test]
fn a_missing_segment_is_refused() {
    let (files, groups) = small_book();
    let segments = [
        files_in(&files, "log", ".entries"),
        files_in(&files, "vault", ".records"),
    ]
    .concat();
    for (path, _) in segments {
        let damaged = files.copy();
        pourbook::log::Files::remove(&damaged, &path).unwrap();
        let outcome = outcome(&damaged, &groups, &path.display().to_string());
        assert!(
            matches!(outcome, Outcome::Refused | Outcome::Absent),
            "{}: {outcome:?}",
            path.display()
        );
    }
}

/// Without any pin the vault still tells that more than one group is gone.
#[test]
fn two_groups_cut_away_are_told_by_the_vault() {
    let files = new_book();
    let groups = [group(0, 1), group(1, 1), group(2, 1), group(3, 1)];
    let store = open(&files).unwrap();
    let mut ends = Vec::new();
    let path = Path::new(BOOK).join("log/00000000000000000000.entries");
    for group in &groups {
        store.append(group).unwrap();
        ends.push(
            files.contents()[&path]
                .iter()
                .rposition(|byte| *byte != 0)
                .unwrap()
                + 1,
        );
    }
    drop(store);
    assert_eq!(files_in(&files, "log", ".entries").len(), 1);
    let cut = |kept: usize| {
        let damaged = files.copy();
        damaged
            .patch(&path, |bytes| bytes.truncate(ends[kept - 1]))
            .unwrap();
        open(&damaged)
    };
    assert_holds(&cut(3).unwrap(), &groups[..3]);
    assert!(matches!(cut(2), Err(StoreError::Corrupt { .. })));
    assert!(matches!(cut(1), Err(StoreError::Corrupt { .. })));
}

#[test]
fn a_group_of_another_version_is_refused_and_not_cut() {
    let (files, groups) = small_book();
    let (path, _) = files_in(&files, "log", ".entries").pop().unwrap();
    files
        .patch(&path, |bytes| {
            let head = bytes
                .windows(8)
                .rposition(|window| window == b"\xFFPBGROUP")
                .unwrap();
            bytes[head + 8] = 2;
            let crc = crc32c::crc32c(&bytes[head..head + 36]);
            bytes[head + 36..head + 40].copy_from_slice(&crc.to_le_bytes());
        })
        .unwrap();
    assert_eq!(outcome(&files, &groups, "another version"), Outcome::Refused);
}

/// One segment, four groups, and no pin.
fn book_in_one_segment() -> (MemoryFiles, Vec<Group>, PathBuf) {
    let files = new_book();
    let groups: Vec<Group> = (0..4).map(|first| group(first, 1)).collect();
    let store = open(&files).unwrap();
    groups.iter().for_each(|group| store.append(group).unwrap());
    drop(store);
    (
        files,
        groups,
        Path::new(BOOK).join("log/00000000000000000000.entries"),
    )
}

/// A copy of the log alone, as an auditor may have: what follows a bad group is what tells damage from a crash.
#[test]
fn damage_before_the_last_group_is_refused_also_without_vault_and_pin() {
    let (files, _, path) = book_in_one_segment();
    for (vault, _) in files_in(&files, "vault", ".records") {
        pourbook::log::Files::remove(&files, &vault).unwrap();
    }
    let bytes = files.contents()[&path].clone();
    let last = bytes
        .windows(8)
        .rposition(|window| window == b"\xFFPBGROUP")
        .unwrap();
    for byte in 0..last {
        let refused = open_read_only(&flip(&files, &path, byte));
        assert!(matches!(refused, Err(StoreError::Corrupt { .. })), "byte {byte}");
    }
    assert_eq!(open_read_only(&flip(&files, &path, last)).unwrap().head().size, 3);
}

/// A torn group is the end of all that was written. Bytes behind it were written by nobody who stopped there, also where they are no
/// group: without vault and pin nothing but the look behind it tells so.
#[test]
fn a_torn_group_with_something_behind_it_is_damage() {
    let (files, _, path) = book_in_one_segment();
    for (vault, _) in files_in(&files, "vault", ".records") {
        pourbook::log::Files::remove(&files, &vault).unwrap();
    }
    let end = files.contents()[&path]
        .iter()
        .rposition(|byte| *byte != 0)
        .unwrap();
    let torn = flip(&files, &path, end);
    assert_eq!(open_read_only(&torn).unwrap().head().size, 3);
    torn.patch(&path, |bytes| bytes[end + 20] = 1).unwrap();
    match open_read_only(&torn).err() {
        Some(StoreError::Corrupt { why, .. }) => {
            assert!(why.contains("more was written behind it"), "{why}")
        }
        other => panic!("{other:?}"),
    }
}

/// A segment without a group says only by its name where it belongs. The next group would go into it, and be found nowhere.
#[test]
fn an_empty_segment_that_is_out_of_its_place_is_refused() {
    let (files, groups) = small_book();
    let empty = |first: u64, suffix: &str| {
        let files = files.copy();
        let folder = if suffix == "entries" { "log" } else { "vault" };
        let path = Path::new(BOOK).join(format!("{folder}/{first:020}.{suffix}"));
        let segment = pourbook::log::Files::create(&files, &path, 0o600).unwrap();
        segment.write_at(&[0; 1024], 0).unwrap();
        segment.sync().unwrap();
        (outcome(&files, &groups, &path.display().to_string()), path)
    };
    for suffix in ["entries", "records"] {
        // One that was just made when the power was cut is where the next group goes.
        assert_eq!(empty(8, suffix).0, Outcome::Whole, "{suffix}");
        for first in [7, 9, 99] {
            let (outcome, path) = empty(first, suffix);
            assert_eq!(outcome, Outcome::Refused, "{}", path.display());
        }
    }
}

#[test]
fn a_last_group_that_was_released_is_never_cut() {
    let (files, groups, path) = book_in_one_segment();
    open(&files).unwrap().pin(&note(4)).unwrap();
    let bytes = files.contents()[&path].clone();
    let last = bytes
        .windows(8)
        .rposition(|window| window == b"\xFFPBGROUP")
        .unwrap();
    let end = bytes.iter().rposition(|byte| *byte != 0).unwrap() + 1;
    for byte in last..end {
        let damaged = flip(&files, &path, byte);
        let before = damaged.contents();
        assert!(
            matches!(open(&damaged), Err(StoreError::Corrupt { .. })),
            "byte {byte}"
        );
        assert_eq!(damaged.contents(), before, "byte {byte}");
    }
    let shorter = files.copy();
    shorter.patch(&path, |bytes| bytes.truncate(last)).unwrap();
    assert!(matches!(
        open(&shorter),
        Err(StoreError::BehindPin {
            size: 3,
            pinned: 4,
            ..
        })
    ));
    assert_holds(&open(&files).unwrap(), &groups);
}

/// Writes a right CRC over a frame head that begins at `head`.
fn seal_head(bytes: &mut [u8], head: usize) {
    let crc = crc32c::crc32c(&bytes[head..head + 36]);
    bytes[head + 36..head + 40].copy_from_slice(&crc.to_le_bytes());
}

/// Where frames of the vault begin in a file.
fn vault_frames(bytes: &[u8]) -> Vec<usize> {
    let windows = bytes.windows(8).enumerate();
    windows
        .filter(|(_, window)| *window == b"\xFFPBVAULT")
        .map(|(at, _)| at)
        .collect()
}

/// A forged count with a right CRC is refused at its frame, before anything is made as large as it says.
#[test]
fn a_vault_frame_that_claims_more_entries_than_the_log_has_is_refused_by_its_place() {
    let (files, _) = small_book();
    let mut forged = 0;
    for (path, _) in files_in(&files, "vault", ".records") {
        for at in vault_frames(&files.contents()[&path]) {
            let damaged = files.copy();
            damaged
                .patch(&path, |bytes| {
                    bytes[at + 12..at + 16].copy_from_slice(&(1_u32 << 26).to_le_bytes());
                    seal_head(bytes, at);
                })
                .unwrap();
            let place = format!("{}, byte {at}", path.display());
            for refused in [open(&damaged), open_read_only(&damaged)] {
                match refused.err() {
                    Some(StoreError::Corrupt { at, .. }) => assert_eq!(at, place),
                    other => panic!("{place}: {other:?}"),
                }
            }
            forged += 1;
        }
    }
    assert_eq!(forged, 4);
}

/// A slot far behind the others would make the file of keys as long as it says.
#[test]
fn a_private_record_whose_key_stands_out_of_order_is_refused() {
    let (files, groups) = small_book();
    let path = Path::new(BOOK).join("vault/00000000000000000000.records");
    // The second record is the disclosure of entry 0: behind the frame head and the request's head, hash and 32 bytes.
    let at = 40 + 28 + 32 + 32;
    let member = b"buyer";
    for slot in [1_u32, 7, 1 << 30] {
        let damaged = files.copy();
        damaged
            .patch(&path, |bytes| {
                assert_eq!((bytes[at + 8], &bytes[at + 16..at + 20]), (1, &[0; 4][..]));
                bytes[at + 16..at + 20].copy_from_slice(&slot.to_le_bytes());
                let crc = crc32c::crc32c_append(crc32c::crc32c(&bytes[at..at + 24]), member);
                bytes[at + 24..at + 28].copy_from_slice(&crc.to_le_bytes());
            })
            .unwrap();
        assert_eq!(
            outcome(&damaged, &groups, &format!("slot {slot}")),
            Outcome::Refused
        );
    }
}

#[test]
fn a_damaged_secret_is_refused_at_opening() {
    let (files, groups) = small_book();
    let path = Path::new(BOOK).join("vault/secret");
    let length = files.contents()[&path].len();
    assert_eq!(length, 40);
    for byte in 0..length {
        for bit in 0..8 {
            let damaged = files.copy();
            damaged.patch(&path, |bytes| bytes[byte] ^= 1 << bit).unwrap();
            let place = format!("secret byte {byte} bit {bit}");
            assert_eq!(outcome(&damaged, &groups, &place), Outcome::Refused);
        }
    }
    for kept in (0..length).filter(|kept| *kept != 32) {
        let damaged = files.copy();
        damaged.patch(&path, |bytes| bytes.truncate(kept)).unwrap();
        let place = format!("secret cut to {kept}");
        assert_eq!(outcome(&damaged, &groups, &place), Outcome::Refused);
    }
    let refused = open(&flip(&files, &path, 3)).err().unwrap().to_string();
    assert!(
        refused.contains("vault/secret") && refused.contains("check"),
        "{refused}"
    );
    let missing = files.copy();
    pourbook::log::Files::remove(&missing, &path).unwrap();
    assert!(matches!(open(&missing), Err(StoreError::Corrupt { .. })));
    // A copy for reading may come without it.
    assert!(open_read_only(&missing).unwrap().secret().is_err());
}

/// As books were made before the secret had a check.
#[test]
fn a_secret_without_a_check_is_taken_and_gets_one_when_the_book_is_opened_for_writing() {
    let (files, groups) = small_book();
    let path = Path::new(BOOK).join("vault/secret");
    let whole = files.contents()[&path].clone();
    files.patch(&path, |bytes| bytes.truncate(32)).unwrap();
    assert_eq!(
        open_read_only(&files).unwrap().secret().unwrap(),
        super::workshop::SECRET
    );
    assert_eq!(files.contents()[&path].len(), 32);
    assert_eq!(open(&files).unwrap().secret().unwrap(), super::workshop::SECRET);
    assert_eq!(files.contents()[&path], whole);
    files.crash(0);
    assert_eq!(files.contents()[&path], whole);
    assert_holds(&open(&files).unwrap(), &groups);
}

/// A sound secret that is not this book's, or a damaged one without a check, is told by the digest of the first entry.
#[test]
fn a_secret_of_another_book_is_refused_when_a_desk_opens() {
    use super::served::{FOUNDED, found_book};
    use pourbook::node::{BookFolder, NodeError, open_desk};
    use pourbook::writer::OpenError;
    let folder = tempfile::tempdir().unwrap();
    let (ours, other) = (folder.path().join("ours"), folder.path().join("other"));
    found_book(&ours, 1, FOUNDED);
    found_book(&other, 2, FOUNDED);
    let path = ours.join("vault/secret");
    let right = std::fs::read(&path).unwrap();
    let mut without_check = right[..32].to_vec();
    without_check[7] ^= 1;
    for wrong in [std::fs::read(other.join("vault/secret")).unwrap(), without_check] {
        std::fs::write(&path, wrong).unwrap();
        match open_desk(&BookFolder::at(&ours)).err() {
            Some(NodeError::Open(OpenError::OtherSecret)) => {}
            error => panic!("{error:?}"),
        }
    }
    for right in [&right[..], &right[..32]] {
        std::fs::write(&path, right).unwrap();
        open_desk(&BookFolder::at(&ours)).unwrap();
    }
}
