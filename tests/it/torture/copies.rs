//! Copies of a book: an older one put back, one that went on by itself, the log of another one, and a second process on the
//! same one. Each is refused by name, with what to do, and nothing is changed by the refusal.

use super::clients::{copy_folder, files_under, record};
use crate::log::served::{FOUNDED, PROGRAM, Served, found_book, run};
use pourbook::node::BookFolder;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

/// A book with a pin on another disk, as far as a folder beside it can be one.
struct Shop {
    folder: tempfile::TempDir,
}

impl Shop {
    fn new() -> Shop {
        let folder = tempfile::tempdir().unwrap();
        let shop = Shop { folder };
        found_book(&shop.book(), 1, FOUNDED);
        let settings = shop.book().join("pourbook.toml");
        let mut text = std::fs::read_to_string(&settings).unwrap();
        text.insert_str(0, &format!("second_pin = {:?}\n", shop.stick()));
        std::fs::write(settings, text).unwrap();
        record(&shop.book(), 1, 3);
        shop
    }

    fn book(&self) -> PathBuf {
        self.folder.path().join("book")
    }

    fn stick(&self) -> PathBuf {
        self.folder.path().join("stick-pin")
    }

    fn beside(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
}

/// Runs `serve` where it must refuse: it ends by itself.
fn serve_refused(dir: &Path) -> Output {
    let mut child = Command::new(PROGRAM)
        .args(["serve", dir.to_str().unwrap(), "--listen", "127.0.0.1:0"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if begun.elapsed() > Duration::from_secs(30) {
            child.kill().unwrap();
            panic!("it serves: {:?}", child.wait_with_output());
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    child.wait_with_output().unwrap()
}

/// `serve`, `audit` and `erase` refuse, say all of this, and change nothing.
#[track_caller]
fn assert_refused(dir: &Path, says: &[&str]) {
    let before = files_under(dir);
    let erase = [
        "erase",
        dir.to_str().unwrap(),
        "3",
        "0",
        "label",
        "--reason",
        "request",
    ];
    for (what, output) in [
        ("serve", serve_refused(dir)),
        ("audit", run(&["audit", dir.to_str().unwrap()])),
        ("erase", run(&erase)),
    ] {
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(!output.status.success(), "{what} went on: {told}");
        for part in says {
            assert!(told.contains(part), "{what} does not say `{part}`: {told}");
        }
    }
    assert!(files_under(dir) == before, "a refusal changed something");
}

#[test]
fn an_older_copy_that_was_put_back_is_refused() {
    let shop = Shop::new();
    let (older, newer) = (shop.beside("older"), shop.beside("newer"));
    copy_folder(&shop.book(), &older);
    record(&shop.book(), 2, 3);
    copy_folder(&shop.book(), &newer);
    let stick = shop.stick().display().to_string();
    let what_to_do = "put the newest copy of `log` and `vault` in its place";
    // The whole folder: the pin on the other disk tells.
    let whole = shop.beside("whole");
    copy_folder(&older, &whole);
    assert_refused(
        &whole,
        &[
            "the log holds 6 entries",
            "checkpoint of 9 entries",
            &stick,
            what_to_do,
        ],
    );
    // The log alone, beside its newer pin and vault, and the log with its vault.
    for parts in [&["log"][..], &["log", "vault"]] {
        let mixed = shop.beside(&format!("mixed-{}", parts.len()));
        copy_folder(&newer, &mixed);
        for part in parts {
            std::fs::remove_dir_all(mixed.join(part)).unwrap();
            copy_folder(&older.join(part), &mixed.join(part));
        }
        assert_refused(&mixed, &["checkpoint of 9 entries", what_to_do]);
    }
    // The vault alone: private records would be missing.
    let mixed = shop.beside("mixed-vault");
    copy_folder(&newer, &mixed);
    std::fs::remove_dir_all(mixed.join("vault")).unwrap();
    copy_folder(&older.join("vault"), &mixed.join("vault"));
    let output = serve_refused(&mixed);
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(
        told.contains("the log has 9 entries, but there are private records of 6"),
        "{told}"
    );
    // The newest one opens.
    Served::start(&newer).stop();
}

/// Without a pin elsewhere nothing in the folder tells, but whoever kept a checkpoint can.
#[test]
fn a_checkpoint_that_somebody_kept_tells_an_older_copy_and_a_fork() {
    let folder = tempfile::tempdir().unwrap();
    let (book, older, fork) = (
        folder.path().join("book"),
        folder.path().join("older"),
        folder.path().join("fork"),
    );
    found_book(&book, 1, FOUNDED);
    record(&book, 1, 3);
    copy_folder(&book, &older);
    copy_folder(&book, &fork);
    record(&book, 2, 3);
    record(&fork, 3, 5);
    let kept = folder.path().join("kept");
    std::fs::copy(book.join("pin"), &kept).unwrap();
    let audit = |dir: &Path| {
        let output = run(&[
            "audit",
            dir.to_str().unwrap(),
            "--checkpoint",
            kept.to_str().unwrap(),
        ]);
        (
            output.status.code(),
            String::from_utf8_lossy(&output.stderr).into_owned(),
        )
    };
    assert_eq!(audit(&book).0, Some(0), "{:?}", audit(&book));
    let (code, told) = audit(&older);
    assert_eq!(code, Some(1), "{told}");
    assert!(
        told.contains("the log ends at 6 entries") && told.contains("checkpoint of size 9"),
        "{told}"
    );
    let (code, told) = audit(&fork);
    assert_eq!(code, Some(1), "{told}");
    assert!(
        told.contains("checkpoint of size 9") && told.contains("another log"),
        "{told}"
    );
    // Without the checkpoint that was kept all three are books that hold.
    for dir in [&book, &older, &fork] {
        assert_eq!(run(&["audit", dir.to_str().unwrap()]).status.code(), Some(0));
    }
}

/// Two copies went on by themselves while the pin on the other disk was away: whichever meets the pin of the other is refused,
/// and the pin is not written over.
#[test]
fn a_copy_that_went_on_by_itself_is_refused() {
    let shop = Shop::new();
    let fork = shop.beside("fork");
    copy_folder(&shop.book(), &fork);
    record(&shop.book(), 2, 3);
    let pin = std::fs::read(shop.stick()).unwrap();
    // Of the same length, longer, and longer with a group that ends elsewhere.
    for (name, entries) in [("alike", vec![3]), ("longer", vec![3, 1]), ("past", vec![5])] {
        let copy = shop.beside(name);
        copy_folder(&fork, &copy);
        std::fs::remove_file(shop.stick()).unwrap();
        for (turn, count) in (20..).zip(entries) {
            record(&copy, turn, count);
        }
        std::fs::write(shop.stick(), &pin).unwrap();
        assert_refused(&copy, &["another copy of this book"]);
        assert_eq!(
            std::fs::read(shop.stick()).unwrap(),
            pin,
            "{name}: the pin was written over"
        );
    }
    Served::start(&shop.book()).stop();
}

/// Views of the newer book beside an older log would show what nobody recorded there, and hide what is recorded from now on.
#[test]
fn views_of_another_log_are_emptied() {
    let folder = tempfile::tempdir().unwrap();
    let (book, older, fork) = (
        folder.path().join("book"),
        folder.path().join("older"),
        folder.path().join("fork"),
    );
    let token = found_book(&book, 1, FOUNDED);
    record(&book, 1, 3);
    copy_folder(&book, &older);
    copy_folder(&book, &fork);
    record(&book, 2, 3);
    record(&fork, 3, 3);
    Served::start(&book).stop();
    for copy in [&older, &fork] {
        let _ = std::fs::remove_dir_all(copy.join("derived"));
        copy_folder(&book.join("derived"), &copy.join("derived"));
        let served = Served::start(copy);
        let reader = pourbook::node::BookReader::open(&BookFolder::at(copy)).unwrap();
        let mut wanted: Vec<String> = reader
            .book()
            .scales()
            .map(|scale| scale.scale.0.to_string())
            .collect();
        wanted.sort();
        let mut shown = Vec::new();
        // The views follow beside the service.
        for _ in 0..200 {
            let scales = super::clients::list(&served, &token, "/v1/scales");
            shown = scales
                .iter()
                .map(|row| row["scale"].as_str().unwrap().to_owned())
                .collect();
            shown.sort();
            if shown == wanted {
                break;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        assert_eq!(shown, wanted);
        assert!(
            served.told().contains("the views had followed another log"),
            "{}",
            served.told()
        );
        served.stop();
    }
    // Those of the log itself are kept.
    let served = Served::start(&book);
    assert!(!served.told().contains("another log"), "{}", served.told());
    served.stop();
}

/// The log of another workshop in this one's folder.
#[test]
fn the_log_of_another_book_is_refused() {
    let shop = Shop::new();
    let other = shop.beside("other");
    found_book(&other, 9, FOUNDED);
    record(&other, 1, 3);
    for parts in [&["log"][..], &["log", "vault"]] {
        let mixed = shop.beside(&format!("of-two-{}", parts.len()));
        copy_folder(&shop.book(), &mixed);
        for part in parts {
            std::fs::remove_dir_all(mixed.join(part)).unwrap();
            copy_folder(&other.join(part), &mixed.join(part));
        }
        let before = files_under(&mixed);
        let output = serve_refused(&mixed);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(
            !output.status.success() && told.contains("is not the one that was pinned"),
            "{told}"
        );
        assert!(files_under(&mixed) == before, "a refusal changed something");
    }
}

#[test]
fn a_second_process_on_the_same_book_is_refused() {
    let shop = Shop::new();
    let dir = shop.book();
    let served = Served::start(&dir);
    let link = shop.beside("by-another-name");
    std::os::unix::fs::symlink(&dir, &link).unwrap();
    for path in [&dir, &link] {
        for (what, output) in [
            ("serve", serve_refused(path)),
            ("rebuild", run(&["rebuild", path.to_str().unwrap()])),
            (
                "erase",
                run(&[
                    "erase",
                    path.to_str().unwrap(),
                    "3",
                    "0",
                    "label",
                    "--reason",
                    "request",
                ]),
            ),
        ] {
            let told = String::from_utf8_lossy(&output.stderr).into_owned();
            assert!(!output.status.success(), "{what}: {told}");
            assert!(
                told.contains("already open") && told.contains("Stop that one"),
                "{what}: {told}"
            );
        }
    }
    assert_eq!(served.get("/healthz").0, 200);
    served.stop();
}

/// Who removes the lock lets a second process in; the first one then records nothing more.
#[test]
fn a_process_whose_lock_was_removed_records_nothing_more() {
    let shop = Shop::new();
    let dir = shop.book();
    let mut first = super::clients::desk(&dir);
    std::fs::remove_file(dir.join("lock")).unwrap();
    let mut second = super::clients::desk(&dir);
    let error = super::clients::register_scales(&mut first, 7, 1)
        .unwrap_err()
        .to_string();
    assert!(error.contains("lock was removed or replaced"), "{error}");
    super::clients::register_scales(&mut second, 8, 1).unwrap();
    drop((first, second));
    assert_eq!(run(&["audit", dir.to_str().unwrap()]).status.code(), Some(0));
}
