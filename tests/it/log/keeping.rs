//! What is kept, what is gone, and who may write: pins, erasing, the lock, and a book written by an earlier version.

use std::collections::BTreeMap;
use std::fs::Permissions;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use pourbook::log::{FileStore, FileStoreOptions, Files, Notice, RealFiles, Store, StoreError, VaultKind};

use super::workshop::{
    BOOK, SECOND_PIN, SECRET, assert_holds, buyer, disclosure, group, new_book, note, open, open_read_only,
    options,
};

fn pin_path() -> PathBuf {
    Path::new(BOOK).join("pin")
}

#[test]
fn both_pins_are_written_and_the_newer_one_counts() {
    let files = new_book();
    let store = open(&files).unwrap();
    (0..4).for_each(|first| store.append(&group(first, 1)).unwrap());
    store.pin(&note(2)).unwrap();
    let first = files.copy();
    store.pin(&note(3)).unwrap();
    drop(store);
    let written = files.contents();
    assert_eq!(written[&pin_path()], note(3).into_bytes());
    assert_eq!(written[Path::new(SECOND_PIN)], note(3).into_bytes());
    for (older, newer) in [
        (pin_path(), PathBuf::from(SECOND_PIN)),
        (SECOND_PIN.into(), pin_path()),
    ] {
        let mixed = files.copy();
        mixed
            .patch(&older, |bytes| *bytes = first.contents()[&older].clone())
            .unwrap();
        let notice = Notice::PinOlder {
            path: older.clone(),
            size: 2,
            newest: 3,
        };
        let before = mixed.contents();
        assert_eq!(
            open_read_only(&mixed).unwrap().notices(),
            std::slice::from_ref(&notice)
        );
        assert_eq!(mixed.contents(), before);
        let store = open(&mixed).unwrap();
        assert_eq!(store.notices(), [notice]);
        assert_eq!(store.pinned(), Some(note(3)));
        assert_eq!(mixed.contents()[&older], mixed.contents()[&newer]);
    }
}

#[test]
fn a_deleted_pin_is_noticed_said_and_written_again() {
    let files = new_book();
    let store = open(&files).unwrap();
    store.append(&group(0, 2)).unwrap();
    assert_eq!(store.pinned(), None);
    store.pin(&note(2)).unwrap();
    drop(store);
    for gone in [pin_path(), PathBuf::from(SECOND_PIN)] {
        files.remove(&gone).unwrap();
        let store = open(&files).unwrap();
        assert_eq!(store.notices(), [Notice::PinMissing { path: gone.clone() }]);
        assert!(store.notices()[0].to_string().contains(gone.to_str().unwrap()));
        assert_eq!(store.pinned(), Some(note(2)));
        drop(store);
        assert_eq!(files.contents()[&gone], note(2).into_bytes());
        assert_eq!(open(&files).unwrap().notices(), []);
    }
    files.remove(&pin_path()).unwrap();
    files.remove(Path::new(SECOND_PIN)).unwrap();
    assert_eq!(open(&files).unwrap().notices(), [Notice::NoPin]);
}

/// The whole folder put back to an older state: the pin on the other disk tells.
#[test]
fn an_older_copy_of_the_whole_book_is_refused_by_the_second_pin() {
    let files = new_book();
    let store = open(&files).unwrap();
    store.append(&group(0, 2)).unwrap();
    store.pin(&note(2)).unwrap();
    let older = files.copy();
    store.append(&group(2, 1)).unwrap();
    store.pin(&note(3)).unwrap();
    let newer_pin = files.contents()[Path::new(SECOND_PIN)].clone();
    older
        .patch(Path::new(SECOND_PIN), |bytes| *bytes = newer_pin)
        .unwrap();
    let refused = open(&older).err().unwrap();
    assert!(
        matches!(
            refused,
            StoreError::BehindPin {
                size: 2,
                pinned: 3,
                ..
            }
        ),
        "{refused}"
    );
    assert!(refused.to_string().contains(SECOND_PIN));
}

#[test]
fn a_pin_that_is_not_the_checkpoint_of_the_log_is_refused() {
    let files = new_book();
    let store = open(&files).unwrap();
    store.append(&group(0, 2)).unwrap();
    store.pin(&note(2)).unwrap();
    drop(store);
    for path in [pin_path(), PathBuf::from(SECOND_PIN)] {
        files
            .patch(&path, |bytes| {
                *bytes = b"brackenfold.example/log\n2\nother root\n\nsigned\n".to_vec()
            })
            .unwrap();
    }
    assert!(matches!(open(&files), Err(StoreError::Corrupt { .. })));
}

#[test]
fn the_lock_fences_a_second_opening() {
    let files = new_book();
    let first = open(&files).unwrap();
    let refused = open(&files).err().unwrap();
    assert!(matches!(refused, StoreError::Fenced { .. }));
    assert!(refused.to_string().contains("/shop/book/lock") && refused.to_string().contains("read-only"));
    drop(first);
    drop(open(&files).unwrap());

    let dir = tempfile::tempdir().unwrap();
    let book = dir.path().join("book");
    FileStore::create(&book, &RealFiles, &SECRET).unwrap();
    let first = FileStore::open(&book, options(None), Arc::new(RealFiles)).unwrap();
    let second = FileStore::open(&book, options(None), Arc::new(RealFiles));
    assert!(matches!(second, Err(StoreError::Fenced { .. })));
    first.append(&group(0, 1)).unwrap();
    let reading = FileStore::open(&book, FileStoreOptions::read_only(), Arc::new(RealFiles)).unwrap();
    assert_holds(&reading, &[group(0, 1)]);
    assert!(matches!(reading.append(&group(1, 1)), Err(StoreError::ReadOnly)));
    assert!(matches!(reading.pin(&note(1)), Err(StoreError::ReadOnly)));
    assert!(matches!(
        reading.erase(0, &VaultKind::Request),
        Err(StoreError::ReadOnly)
    ));
    drop(first);
    FileStore::open(&book, options(None), Arc::new(RealFiles)).unwrap();
}

#[test]
fn what_is_private_is_readable_by_its_owner_only() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let book = dir.path().join("book");
    FileStore::create(&book, &RealFiles, &SECRET).unwrap();
    let store = FileStore::open(&book, options(None), Arc::new(RealFiles)).unwrap();
    store.append(&group(0, 1)).unwrap();
    assert_eq!(store.secret().unwrap(), SECRET);
    let mode = |path: &str| std::fs::metadata(book.join(path)).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode("vault"), 0o700);
    for file in ["vault/secret", "vault/keys", "vault/00000000000000000000.records"] {
        assert_eq!(mode(file), 0o600, "{file}");
    }
}

/// All files under a folder.
fn all_files(dir: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(all_files(&path));
        } else {
            let bytes = std::fs::read(&path).unwrap();
            found.insert(path, bytes);
        }
    }
    found
}

fn holds(dir: &Path, needle: &[u8]) -> bool {
    all_files(dir)
        .values()
        .any(|bytes| bytes.windows(needle.len()).any(|window| window == needle))
}

/// The value as it is, and the symbols of its base64url that do not depend on what stands beside it, at each of the
/// three places where it can begin within four symbols.
fn disguises(value: &[u8]) -> Vec<Vec<u8>> {
    let mut all = vec![value.to_vec()];
    for shift in 0..3 {
        let text = URL_SAFE_NO_PAD.encode([&vec![b'x'; shift], value].concat());
        let first = [0, 2, 3][shift];
        all.push(text.as_bytes()[first..text.len() - 1].to_vec());
    }
    all
}

#[test]
fn an_erased_value_is_in_no_file_and_neither_is_its_key_or_its_cipher() {
    // The search itself finds what is there.
    let probe = tempfile::tempdir().unwrap();
    for shift in 0..3 {
        let text = URL_SAFE_NO_PAD.encode([&vec![b'?'; shift], buyer(2).as_slice(), b"tail"].concat());
        std::fs::write(probe.path().join("probe"), text).unwrap();
        assert!(
            disguises(&buyer(2))
                .iter()
                .any(|needle| holds(probe.path(), needle)),
            "shift {shift}"
        );
    }

    let dir = tempfile::tempdir().unwrap();
    let book = dir.path().join("book");
    FileStore::create(&book, &RealFiles, &SECRET).unwrap();
    let store = FileStore::open(&book, options(None), Arc::new(RealFiles)).unwrap();
    [group(0, 3), group(3, 4)]
        .iter()
        .for_each(|group| store.append(group).unwrap());
    assert_eq!(store.private(2).unwrap()[1].body, buyer(2));
    // The second key drawn is that of entry 2; it stands in the second slot.
    let key = [2_u64.to_le_bytes().as_slice(), &[0x5A; 24]].concat();
    let records = std::fs::read(book.join("vault/00000000000000000000.records")).unwrap();
    let head = [2_u64.to_le_bytes().as_slice(), &[1, 5, 0, 0]].concat();
    let at = records.windows(12).position(|window| window == head).unwrap();
    let length = u32::from_le_bytes(records[at + 12..at + 16].try_into().unwrap()) as usize;
    let cipher = records[at + 28 + 5 + 32..][..length].to_vec();
    let digest = records[at + 28 + 5..][..32].to_vec();
    let code = vec![3_u8; 32];
    let gone = [&key, &cipher, &digest, &code];
    assert!(gone.iter().all(|needle| holds(dir.path(), needle)));

    store.erase(2, &disclosure()).unwrap();
    store.erase(2, &VaultKind::Request).unwrap();
    for needle in gone.into_iter().cloned().chain(disguises(&buyer(2))) {
        assert!(
            !holds(dir.path(), &needle),
            "{}",
            String::from_utf8_lossy(&needle)
        );
    }
    drop(store);
    let store = FileStore::open(&book, options(None), Arc::new(RealFiles)).unwrap();
    assert!(
        store
            .private(2)
            .unwrap()
            .iter()
            .all(|record| record.body.is_empty())
    );
    assert_eq!(store.private(4).unwrap()[1].body, buyer(4));
    assert_eq!(
        store.read(2).unwrap().unwrap().as_ref(),
        super::workshop::entry(2)
    );
}

/// No private value stands in clear in any file, also before it is erased.
#[test]
fn disclosures_are_encrypted_and_bound_to_their_place() {
    let files = new_book();
    let store = open(&files).unwrap();
    store.append(&group(0, 3)).unwrap();
    drop(store);
    for needle in disguises(&buyer(0)) {
        let found = files
            .contents()
            .into_values()
            .any(|file| file.windows(needle.len()).any(|part| part == needle));
        assert!(!found);
    }
    // The key of another record does not open it.
    let keys = Path::new(BOOK).join("vault/keys");
    files.patch(&keys, |bytes| bytes.copy_within(40..80, 0)).unwrap();
    let store = open(&files).unwrap();
    assert!(matches!(store.private(0), Err(StoreError::Corrupt { .. })));
    drop(store);
    // Without the keys nothing is readable, and that is said.
    files.remove(&keys).unwrap();
    let reading = open_read_only(&files).unwrap();
    assert!(reading.notices().contains(&Notice::KeysMissing));
    assert_eq!(reading.private(0).unwrap()[1].body, b"");
}

/// However far the destroying of a key came, it is there or it is not; what is neither is damage.
#[test]
fn a_key_is_there_until_it_is_marked_and_never_half() {
    let files = new_book();
    open(&files).unwrap().append(&group(0, 3)).unwrap();
    let keys = Path::new(BOOK).join("vault/keys");
    let read = |with: &dyn Fn(&mut [u8])| {
        let files = files.copy();
        files.patch(&keys, |bytes| with(&mut bytes[..40])).unwrap();
        let reading = open_read_only(&files).unwrap();
        reading.private(0).map(|records| records[1].body.clone())
    };
    assert_eq!(read(&|_| ()).unwrap(), buyer(0));
    for zeros in 0..=40 {
        let marked = |slot: &mut [u8]| {
            slot[39] = 0xa5;
            slot[..zeros].fill(0);
        };
        assert_eq!(read(&marked).unwrap(), b"", "{zeros} zeros");
        let unmarked = read(&|slot| slot[..zeros].fill(0));
        match zeros {
            0 => assert_eq!(unmarked.unwrap(), buyer(0)),
            1..36 => assert!(
                matches!(unmarked, Err(StoreError::Corrupt { .. })),
                "{zeros} zeros"
            ),
            _ => assert_eq!(unmarked.unwrap(), b""),
        }
    }
    for (place, bit) in (36..40).flat_map(|place| (0..8).map(move |bit| (place, bit))) {
        let flipped = read(&|slot| slot[place] ^= 1 << bit);
        assert!(
            matches!(flipped, Err(StoreError::Corrupt { .. })),
            "{place}, {bit}"
        );
    }
}

#[test]
fn a_copy_without_its_vault_opens_for_reading_only() {
    let files = new_book();
    open(&files).unwrap().append(&group(0, 3)).unwrap();
    let vault = Path::new(BOOK).join("vault/00000000000000000000.records");
    files.remove(&vault).unwrap();
    assert!(
        open_read_only(&files)
            .unwrap()
            .notices()
            .contains(&Notice::VaultMissing)
    );
    assert!(matches!(open(&files), Err(StoreError::Corrupt { .. })));
}

/// The books that versions of this program wrote: 1 had no check of its secret.
fn golden(version: u8) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/vectors/log/book-{version}"))
}

/// A book that this version writes: three groups, one erased record, a pin.
fn write_book(book: &Path) {
    FileStore::create(book, &RealFiles, &SECRET).unwrap();
    let store = FileStore::open(book, options(None), Arc::new(RealFiles)).unwrap();
    [group(0, 1), group(1, 3), group(4, 3)]
        .iter()
        .for_each(|group| store.append(group).unwrap());
    store.pin(&note(4)).unwrap();
    store.erase(2, &disclosure()).unwrap();
}

/// All files of a book but its lock, by their paths within it.
fn files_of_book(book: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    all_files(book)
        .into_iter()
        .map(|(path, bytes)| (path.strip_prefix(book).unwrap().to_owned(), bytes))
        .filter(|(path, _)| path != Path::new("lock"))
        .collect()
}

#[test]
fn golden_books_of_every_version_open() {
    for version in [1, 2] {
        let dir = tempfile::tempdir().unwrap();
        let book = dir.path().join("book");
        for (path, bytes) in files_of_book(&golden(version)) {
            let to = book.join(path);
            std::fs::create_dir_all(to.parent().unwrap()).unwrap();
            std::fs::write(&to, bytes).unwrap();
            // As the book made them; a checkout of the sources does not keep it.
            std::fs::set_permissions(to, Permissions::from_mode(0o600)).unwrap();
        }
        let mut groups = [group(0, 1), group(1, 3), group(4, 3)];
        let erased = groups[1]
            .vault
            .iter_mut()
            .find(|record| record.index == 2 && record.kind == disclosure());
        erased.unwrap().body = Vec::new();
        let reading = FileStore::open(&book, FileStoreOptions::read_only(), Arc::new(RealFiles)).unwrap();
        assert_holds(&reading, &groups);
        assert_eq!(reading.pinned(), Some(note(4)));
        assert_eq!(reading.secret().unwrap(), SECRET);
        assert!(files_of_book(&book) == files_of_book(&golden(version)));
        let store = FileStore::open(&book, options(None), Arc::new(RealFiles)).unwrap();
        assert_eq!(store.notices(), []);
        // From now on it is a book of the newest version.
        assert!(
            files_of_book(&book) == files_of_book(&golden(2)),
            "version {version}"
        );
        assert_eq!(store.secret().unwrap(), SECRET);
        store.append(&group(7, 1)).unwrap();
    }
}

/// Set `POURBOOK_WRITE_GOLDEN=1` to write the golden book anew; that is a change of format and needs a new version.
#[test]
fn the_golden_book_is_still_written_byte_for_byte() {
    if std::env::var_os("POURBOOK_WRITE_GOLDEN").is_some() {
        std::fs::create_dir_all(golden(2).parent().unwrap()).unwrap();
        write_book(&golden(2));
        std::fs::remove_file(golden(2).join("lock")).unwrap();
    }
    let dir = tempfile::tempdir().unwrap();
    let fresh = dir.path().join("fresh");
    write_book(&fresh);
    assert!(
        files_of_book(&fresh) == files_of_book(&golden(2)),
        "the format has changed"
    );
}
