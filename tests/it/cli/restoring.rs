//! Putting a book back, and what a backup is proven by: pins, damage that no check value tells, and terms.

use super::audits::{append, condemns_a_certified_piece, entries};
use super::backups::{key_of, now, put_away, record, workshop};
use super::{Desk, pourbook, text};
use crate::log::served::{PROGRAM, Served};
use pourbook::domain::{EraseField, EraseReason, KeyRole, OperatorId, Timestamp};
use pourbook::node::{BookFolder, back_up_private, open_desk};
use pourbook::writer::{Ask, Submission};
use std::fs;
use std::path::Path;

/// Both pins stand again, whatever became of the second one; and while the book is not whole, it says what it said.
#[test]
fn a_restore_pins_again_when_the_book_is_whole() {
    let desk = Desk::new();
    let (book, pin, token) = workshop(&desk);
    let log = desk.at("log");
    pourbook(&["backup", &book, &log]).ends(0, &["holds 3 entries"]);
    let older = text(&pin);
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(1)).unwrap().0, 201);
    served.stop();
    let newer = text(&pin);
    let early = desk.at("early");
    put_away(&log, &early);
    pourbook(&["backup", &book, &log]).ends(0, &["holds 4 entries"]);
    for (name, second) in [("none", None), ("older", Some(&older)), ("alike", Some(&newer))] {
        let dir = desk.at(name);
        let _ = fs::remove_file(&pin);
        if let Some(second) = second {
            fs::write(&pin, second).unwrap();
        }
        pourbook(&["restore", &log, &dir]).ends(0, &["holds 4 entries"]);
        assert_eq!(
            (text(&format!("{dir}/pin")), text(&pin)),
            (newer.clone(), newer.clone()),
            "{name}"
        );
        pourbook(&["audit", &dir]).ends(0, &["holds: 4 entries"]);
    }
    // Where the disk of the second pin is away, its folder is not made.
    fs::rename(desk.at("stick"), desk.at("away")).unwrap();
    pourbook(&["restore", &log, &desk.at("stickless")]).ends(0, &["mount "]);
    assert_eq!(text(&desk.at("stickless/pin")), newer);
    assert!(!Path::new(&desk.at("stick")).exists());
    fs::rename(desk.at("away"), desk.at("stick")).unwrap();

    // What the second pin knows of lost entries is not given away for a book that is not whole.
    let dir = desk.at("cut-short");
    let last = format!("{dir}/pourbook.toml.new");
    let fails = [
        "-P",
        &last,
        "-e",
        "trace=rename",
        "-e",
        "inject=rename:error=EIO:when=1",
    ];
    let restore = [PROGRAM, "restore", &early, &dir, "--lost", "1"];
    let strace = std::process::Command::new("strace")
        .args(["-D", "-f", "-qq", "-o", "/dev/null"])
        .args(fails)
        .args(restore)
        .output();
    match strace {
        Ok(output) if String::from_utf8_lossy(&output.stderr).contains("os error 5") => {
            assert_eq!(text(&pin), newer);
            fs::remove_dir_all(&dir).unwrap();
            pourbook(&["restore", &early, &dir, "--lost", "1"]).ends(0, &["1 released entries are lost"]);
            assert_eq!((text(&format!("{dir}/pin.lost-4")), text(&pin)), (newer, older));
        }
        other => println!("skipped: there is no strace here that may trace: {other:?}"),
    }
}

/// The secret of the request codes is a private record too: without it no request would be known again.
#[test]
fn a_private_backup_whose_secret_is_damaged_is_refused_before_anything_is_made() {
    let desk = Desk::new();
    let book = desk.demo();
    let (log, private) = (desk.at("log"), desk.at("private"));
    pourbook(&["backup", &book, &log]).ends(0, &[]);
    pourbook(&["backup", &book, &private, "--private"]).ends(0, &[]);
    let secret = format!("{private}/vault/secret");
    let mut bytes = fs::read(&secret).unwrap();
    bytes[3] ^= 1;
    fs::write(&secret, &bytes).unwrap();
    let restored = desk.at("restored");
    let restore = ["restore", &log, &restored, "--private", &private];
    pourbook(&restore).ends(1, &["vault/secret, byte 0"]);
    assert!(!Path::new(&restored).exists());
    fs::remove_file(&secret).unwrap();
    pourbook(&restore).ends(1, &["vault/secret, byte 0", "is missing"]);
    fs::remove_file(format!("{log}/policy")).unwrap();
    pourbook(&["restore", &log, &restored]).ends(2, &["policy"]);
    assert!(!Path::new(&restored).exists());
}

/// Somebody else asks to be forgotten while the private backup is taken: that is no damage.
#[test]
fn what_is_erased_while_a_private_backup_is_taken_is_erased_in_it() {
    let desk = Desk::new();
    let (book, _, token) = workshop(&desk);
    let served = Served::start(Path::new(&book));
    for number in 1..=3 {
        assert_eq!(record(&served, &token, &key_of(number)).unwrap().0, 201);
    }
    served.stop();
    let folder = BookFolder::at(Path::new(&book));
    let erase = |index: u64| {
        let mut desk = open_desk(&folder).unwrap();
        let command = EraseField {
            index,
            event: 0,
            member: "label".to_owned(),
            reason: EraseReason::Request,
            entry: String::new(),
        };
        let submission = Submission {
            request: uuid::Uuid::from_u128(u128::from(index)),
            by: OperatorId(uuid::Uuid::from_u128(7)),
            at: None,
            expected: Vec::new(),
            ask: Ask::Command(command.into()),
        };
        desk.turn(Timestamp(now()), [1; 32], vec![submission])
            .unwrap()
            .remove(0)
            .unwrap();
    };
    let private = desk.at("private");
    let run = |at: &mut dyn FnMut(u64, u64)| {
        back_up_private(&folder, Path::new(&private), (Timestamp(now()), 30), at).unwrap()
    };
    run(&mut |_, _| {});
    erase(3);
    let done = run(&mut |done, _| {
        if done == 4 {
            erase(5);
        }
    });
    // Of the second one the key is gone; the code of its request was read before, and goes with the next run.
    assert_eq!((done.private, done.copied.erased), (Some((1, 2)), 3));
    assert_eq!(run(&mut |_, _| {}).copied.erased, 1);
}

/// Of the records that are new only the copy is read with their keys: one that does not open is told before the run ends.
#[test]
fn a_private_record_that_does_not_open_is_told_by_the_run_that_copies_it() {
    let desk = Desk::new();
    let book = desk.demo();
    let private = desk.at("private");
    let records = format!("{book}/vault/00000000000000000000.records");
    let whole = fs::read(&records).unwrap();
    let end = whole.iter().rposition(|byte| *byte != 0).unwrap();
    let mut damaged = whole.clone();
    damaged[end - 2] ^= 1;
    fs::write(&records, damaged).unwrap();
    pourbook(&["backup", &book, &private, "--private"])
        .ends(1, &["/vault/", ", byte ", "does not match its hash"]);
    assert!(
        !text(&format!("{private}/backup.json")).contains("size"),
        "it is not finished"
    );
    // What was never finished is not put back, and the next run ends it.
    let log = desk.at("log");
    pourbook(&["backup", &book, &log]).ends(0, &[]);
    let restore = ["restore", &log, &desk.at("restored"), "--private", &private];
    pourbook(&restore).ends(1, &["was never finished"]);
    fs::write(&records, whole).unwrap();
    pourbook(&["backup", &book, &private, "--private"]).ends(0, &[]);
    pourbook(&restore).ends(0, &[]);
}

/// Somebody changed an entry and reckoned its check values anew: only the root of the checkpoint tells.
#[test]
fn a_log_that_does_not_make_its_root_is_not_backed_up() {
    let desk = Desk::new();
    let book = desk.book();
    let segment = format!("{book}/log/00000000000000000000.entries");
    let mut bytes = fs::read(&segment).unwrap();
    // A byte of entry 0, and the two check values of its group (`src/log/format.rs`).
    let length = u32::from_le_bytes(bytes[24..28].try_into().unwrap()) as usize;
    bytes[144] ^= 1;
    let body = crc32c::crc32c(&bytes[40..40 + length]);
    bytes[28..32].copy_from_slice(&body.to_le_bytes());
    let head = crc32c::crc32c(&bytes[..36]);
    bytes[36..40].copy_from_slice(&head.to_le_bytes());
    fs::write(&segment, bytes).unwrap();
    let log = desk.at("log");
    pourbook(&["backup", &book, &log]).ends(1, &["makes the root", "the checkpoint says"]);
    assert!(!Path::new(&log).join("pin").exists(), "nothing is finished");
}

/// A backup whose every byte is what was written, and whose entries break a rule or were signed by nobody who may.
#[test]
fn a_backup_that_does_not_audit_is_not_put_back() {
    for signs in [KeyRole::Recorder, KeyRole::Log] {
        let desk = Desk::new();
        let book = desk.demo();
        let signer = BookFolder::at(Path::new(&book)).key(signs).unwrap().signer();
        let note = append(&book, condemns_a_certified_piece(&book, &entries(&book), &signer));
        fs::write(format!("{book}/pin"), note).unwrap();
        let (log, restored) = (desk.at("log"), desk.at("restored"));
        pourbook(&["backup", &book, &log]).ends(0, &["holds 429 entries"]);
        pourbook(&["restore", &log, &restored]).ends(1, &["the backup does not hold: entry 428: "]);
        assert!(!Path::new(&restored).exists());
    }
}

/// The second pin is of another book, or of another history of this one.
#[test]
fn a_second_pin_of_another_log_is_refused() {
    let desk = Desk::new();
    let (book, pin, token) = workshop(&desk);
    let fork = desk.at("fork");
    put_away(&book, &fork);
    let went_on = |book: &str, number: u32| {
        let served = Served::start(Path::new(book));
        assert_eq!(record(&served, &token, &key_of(number)).unwrap().0, 201);
        served.stop();
    };
    let pinned = text(&pin);
    went_on(&book, 1);
    let (log, restored) = (desk.at("log"), desk.at("restored"));
    pourbook(&["backup", &book, &log]).ends(0, &[]);
    fs::write(&pin, pinned).unwrap();
    went_on(&fork, 2);
    let restore = ["restore", &log, &restored];
    pourbook(&restore).ends(
        1,
        &[&format!("the second pin {pin} is not of the log in this backup")],
    );
    let elsewhere = Desk::new();
    fs::copy(format!("{}/pin", elsewhere.book()), &pin).unwrap();
    pourbook(&restore).ends(
        1,
        &["is not of the log in this backup: it is of book.example/log"],
    );
    fs::write(&pin, "no checkpoint").unwrap();
    pourbook(&restore).ends(1, &["is not of the log in this backup"]);
    assert!(!Path::new(&restored).exists());
}
