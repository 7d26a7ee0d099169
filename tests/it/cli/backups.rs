//! Backups, by the built program: the drill that DEVELOPERS.md describes, and everything that is refused.

use super::{Desk, pourbook, text, verify};
use crate::log::served::{Served, found_book};
use crate::torture::clients::{copy_folder, files_under};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, SystemTime};

pub fn now() -> i64 {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap();
    i64::try_from(since.as_secs()).unwrap()
}

/// Sends one scale with a private member; status and answer.
pub fn record(served: &Served, token: &str, key: &str) -> Option<(u16, Value)> {
    let agent: ureq::Agent = ureq::Agent::config_builder()
        .http_status_as_error(false)
        .timeout_global(Some(Duration::from_secs(20)))
        .build()
        .into();
    let body = json!({"class": "II", "e": "0.01", "d": "0.01", "max": "500", "verified": true,
        "repeatability": "0.004", "label": format!("the bench of {key}")});
    let sent = agent
        .post(format!("{}/v1/scales", served.address))
        .header("authorization", format!("Bearer {token}"))
        .header("idempotency-key", key)
        .header("content-type", "application/json")
        .send(body.to_string());
    let mut reply = sent.ok()?;
    let status = reply.status().as_u16();
    let body = reply.body_mut().read_to_string().ok()?;
    Some((status, serde_json::from_str(&body).ok()?))
}

pub fn key_of(number: u32) -> String {
    format!("11111111-2222-4333-8444-{number:012}")
}

fn add_second_pin(book: &str, pin: &str) {
    let settings = format!("{book}/pourbook.toml");
    // A top-level member stands before any table.
    fs::write(&settings, format!("second_pin = \"{pin}\"\n{}", text(&settings))).unwrap();
}

/// A machine with a book whose second pin is on another disk, and a token.
pub fn workshop(desk: &Desk) -> (String, String, String) {
    let book = desk.at("book");
    let token = found_book(Path::new(&book), 7, now());
    fs::create_dir(desk.at("stick")).unwrap();
    let pin = desk.at("stick/pin");
    add_second_pin(&book, &pin);
    // An opening for writing puts the pin there.
    pourbook(&["rebuild", &book]).ends(0, &[]);
    (book, pin, token)
}

/// Copies a folder, as somebody would who puts a backup away.
pub fn put_away(from: &str, to: &str) {
    copy_folder(Path::new(from), Path::new(to));
}

#[test]
fn the_drill_a_machine_is_lost_and_the_book_is_put_back_from_its_backups() {
    let desk = Desk::new();
    let (book, pin, token) = workshop(&desk);
    let (log, private) = (desk.at("disk/log"), desk.at("disk/private"));
    fs::create_dir(desk.at("disk")).unwrap();

    // While the server works, backups are taken, one after the other; each can be audited as it is.
    let served = Served::start(Path::new(&book));
    let busy = AtomicBool::new(true);
    let answered = AtomicUsize::new(0);
    let mut answers = Vec::new();
    std::thread::scope(|scope| {
        let working = scope.spawn(|| {
            let mut answers = Vec::new();
            for number in 0.. {
                if !busy.load(Ordering::Relaxed) {
                    break;
                }
                answers.push(record(&served, &token, &key_of(number)).unwrap());
                answered.store(answers.len(), Ordering::Relaxed);
            }
            answers
        });
        // Four backups at least, and as many as a slow disk needs for twenty answers beside them.
        let mut taken = 0;
        while !working.is_finished() && (taken < 4 || answered.load(Ordering::Relaxed) <= 20) {
            taken += 1;
            pourbook(&["backup", &book, &log, "--json"]).ends(0, &[]);
            pourbook(&["backup", &book, &private, "--private", "--json"]).ends(0, &[]);
            pourbook(&["audit", &log]).ends(0, &["holds: "]);
        }
        busy.store(false, Ordering::Relaxed);
        answers = working.join().unwrap();
    });
    assert!(
        answers.len() > 20 && answers.iter().all(|(status, _)| *status == 201),
        "{}",
        answers.len()
    );
    served.stop();
    let before = desk.at("before");
    pourbook(&["backup", &book, &private, "--private"]).ends(0, &["can be read, 0 are erased"]);
    put_away(&private, &before);

    // Somebody asks to be forgotten.
    pourbook(&["erase", &book, "3", "0", "label", "--reason", "request"]).ends(0, &["Erased"]);
    let told = pourbook(&["backup", &book, &log, "--json"]).ends(0, &[]).json();
    let size = told["size"].as_u64().unwrap();
    assert_eq!(
        size,
        answers.len() as u64 + 4,
        "three keys, what was answered, one erasure"
    );
    let erased = pourbook(&["backup", &book, &private, "--private", "--json"])
        .ends(0, &[])
        .json();
    assert_eq!(
        (&erased["private"]["erased"], &erased["private"]["erased_now"]),
        (&json!(1), &json!(2)),
        "the member and the code of its request"
    );
    let again = pourbook(&["backup", &book, &private, "--private", "--json"])
        .ends(0, &[])
        .json();
    assert_eq!(
        (&again["written"], &again["private"]["erased_now"]),
        (&json!(0), &json!(0))
    );

    // The keys that sign were kept apart. The machine is gone; the second pin was on a stick.
    let safe = desk.at("safe");
    put_away(&format!("{book}/keys"), &safe);
    let audited = pourbook(&["audit", &book, "--json"]).ends(0, &[]).json();
    fs::remove_dir_all(&book).unwrap();

    // Even a private backup of before the erasure does not bring the value back.
    for (place, private) in [("book-2", &private), ("book", &before)] {
        let book = desk.at(place);
        let restored = pourbook(&[
            "restore",
            &log,
            &book,
            "--private",
            private,
            "--keys",
            &safe,
            "--json",
        ]);
        let told = restored.ends(0, &[]).json();
        assert_eq!(told["root"], audited["root"]);
        assert_eq!(told["second_pin"], json!({"path": pin, "size": size}));
        assert_eq!(told["keys"], json!(["recorder", "log"]));
        assert_eq!(
            (&told["private"]["erased"], &told["lost"]),
            (&json!(1), &json!(0))
        );
        assert_eq!(told["private"]["readable"], json!(answers.len() - 1));
    }
    // It goes on where it was: what was answered is answered alike, and new things are recorded.
    let token = pourbook(&["token", "add", &book, "--role", "office"])
        .ends(0, &[])
        .out;
    let token = token.lines().next().unwrap().to_owned();
    let served = Served::start(Path::new(&book));
    for (number, (_, answer)) in (0..).zip(&answers).take(5) {
        let (status, other) = record(&served, &token, &key_of(number)).unwrap();
        // It is another operator's token now, so the answer is not shown; that it stands is.
        assert_eq!(status, 422, "{other} {answer}");
    }
    assert_eq!(record(&served, &token, &key_of(999_999)).unwrap().0, 201);
    served.stop();
    pourbook(&["audit", &book]).ends(0, &[&format!("holds: {} entries", size + 1)]);
    pourbook(&["backup", &book, &log]).ends(0, &["1 of them new"]);
}

#[test]
fn an_old_backup_is_told_by_the_second_pin_and_what_is_given_up_is_counted() {
    let desk = Desk::new();
    let (book, pin, token) = workshop(&desk);
    let (log, keys) = (desk.at("log"), desk.at("keys"));
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(1)).unwrap().0, 201);
    served.stop();
    pourbook(&["backup", &book, &log]).ends(0, &["holds 4 entries"]);
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(2)).unwrap().0, 201);
    assert_eq!(record(&served, &token, &key_of(3)).unwrap().0, 201);
    served.stop();
    put_away(&format!("{book}/keys"), &keys);
    // The backup itself is read without the pin that went on.
    pourbook(&["audit", &log]).ends(0, &["holds: 4 entries"]);

    let (first, second) = (desk.at("first"), desk.at("second"));
    pourbook(&["restore", &log, &first]).ends(
        1,
        &[
            "is of 6 entries, the backup holds 4: 2 released entries would be lost",
            "--lost 2",
        ],
    );
    pourbook(&["restore", &log, &first, "--lost", "3"]).ends(1, &["2 released entries are known"]);
    assert!(!Path::new(&first).exists());
    let lost = text(&pin);
    pourbook(&["restore", &log, &second, "--lost", "2", "--keys", &keys]).ends(
        0,
        &[
            "2 released entries are lost",
            "publish",
            "those of the entries from 0 on are lost",
        ],
    );
    assert_eq!(text(&format!("{second}/pin.lost-6")), lost);
    assert_ne!(text(&pin), lost);
    pourbook(&["audit", &second]).ends(0, &["holds: 4 entries"]);
    let token = pourbook(&["token", "add", &second, "--role", "office"])
        .ends(0, &[])
        .out;
    let served = Served::start(Path::new(&second));
    assert_eq!(
        record(&served, token.lines().next().unwrap(), &key_of(2))
            .unwrap()
            .0,
        201
    );
    served.stop();
    // The lost history is another one from here on: the old book and the new one are told apart.
    pourbook(&["backup", &second, &log]).ends(0, &["1 of them new"]);
    pourbook(&["backup", &book, &log]).ends(1, &[", byte ", "went on by itself"]);
    fs::remove_file(&pin).unwrap();
    pourbook(&["backup", &book, &log]).ends(1, &[", byte ", "of another history"]);
    fs::write(&pin, lost).unwrap();
    pourbook(&["audit", &second]).ends(1, &["a checkpoint of 6 entries was released"]);
}

#[test]
fn the_log_alone_proves_a_piece() {
    let desk = Desk::new();
    let book = desk.demo();
    let log = desk.at("log");
    let root = pourbook(&["audit", &book, "--json"]).ends(0, &[]).json()["root_key"].clone();
    pourbook(&["backup", &book, &log]).ends(0, &["every byte makes the root"]);
    let (proof, of_book) = (desk.at("proof.json"), desk.at("of-the-book.json"));
    pourbook(&["proof", &book, "ST-0012-18", "-o", &of_book]).ends(0, &[]);
    fs::remove_dir_all(&book).unwrap();
    pourbook(&["proof", &log, "ST-0012-18", "-o", &proof]).ends(0, &[]);
    assert_eq!(text(&proof), text(&of_book));
    verify(&[&proof, "--root", root.as_str().unwrap()]).ends(0, &["The record of ST-0012-18 holds"]);
    // Nothing private and nothing that signs is in it.
    for name in ["vault", "keys", "tokens.json", "derived"] {
        assert!(!Path::new(&log).join(name).exists(), "{name}");
    }
    pourbook(&["serve", &log]).ends(2, &["is a backup"]);
    pourbook(&["rebuild", &log]).ends(2, &["is a backup"]);
}

#[test]
fn a_private_backup_has_a_term() {
    let desk = Desk::new();
    let book = desk.demo();
    let (log, private) = (desk.at("log"), desk.at("private"));
    pourbook(&["backup", &book, &log]).ends(0, &[]);
    let told = pourbook(&["backup", &book, &private, "--private", "--days", "7", "--json"])
        .ends(0, &[])
        .json();
    let by = told["private"]["destroy_by"].as_i64().unwrap();
    assert!((by - now() - 7 * 86_400).abs() < 60, "{by}");
    let marker = format!("{private}/backup.json");
    let over = text(&marker).replace(&by.to_string(), &(now() - 3 * 86_400).to_string());
    fs::write(&marker, over).unwrap();
    let restored = desk.at("restored");
    pourbook(&["restore", &log, &restored, "--private", &private])
        .ends(1, &["was to be destroyed by now (3 days ago)", "--past-term"]);
    assert!(!Path::new(&restored).exists());
    pourbook(&["restore", &log, &restored, "--private", &private, "--past-term"]).ends(
        0,
        &[&format!(
            "{} can be read, {} are erased",
            told["private"]["readable"], told["private"]["erased"]
        )],
    );
    pourbook(&["backup", &book, &private, "--days", "9"]).ends(2, &["--private"]);
    pourbook(&["backup", &book, &private, "--private", "--days", "0"]).ends(2, &["0 is not in 1..=366"]);
}

#[test]
fn what_does_not_fit_is_refused_and_nothing_is_changed() {
    let desk = Desk::new();
    let book = desk.demo();
    let (log, private) = (desk.at("log"), desk.at("private"));
    let size = size_of(&pourbook(&["backup", &book, &log, "--json"]));
    pourbook(&["backup", &book, &private, "--private"]).ends(0, &[]);
    let before = files_under(Path::new(&log));

    pourbook(&["backup", &book, &log, "--private"]).ends(1, &["holds a backup of the log"]);
    pourbook(&["backup", &book, &private]).ends(1, &["holds a backup of the private records"]);
    let other = desk.book();
    pourbook(&["backup", &other, &log]).ends(
        1,
        &[
            "of brackenfold.example/log",
            "not a backup of the log of book.example/log",
        ],
    );
    pourbook(&["backup", &book, &other]).ends(1, &["is not empty and holds no backup"]);
    for within in [format!("{book}/copy"), desk.at("."), book.clone()] {
        pourbook(&["backup", &book, &within]).ends(1, &["lie in one another"]);
    }
    pourbook(&["backup", &log, &desk.at("twice")]).ends(0, &[&format!("holds {size} entries")]);
    pourbook(&["restore", &private, &desk.at("x")]).ends(1, &["holds a backup of the private records"]);
    pourbook(&["restore", &book, &desk.at("x")]).ends(1, &["holds no backup"]);
    pourbook(&["restore", &log, &other]).ends(1, &["nothing is overwritten"]);
    pourbook(&["restore", &log, &desk.at("x"), "--private", &log]).ends(1, &["holds a backup of the log"]);
    let keys = format!("{other}/keys");
    pourbook(&["restore", &log, &desk.at("x"), "--keys", &keys]).ends(
        1,
        &[
            "recorder.key may not sign in this book",
            "is not a key of this log",
        ],
    );

    // A backup that is damaged anywhere is not put back, and not gone on with.
    let segment = format!("{log}/log/00000000000000000000.entries");
    let bytes = fs::read(&segment).unwrap();
    for place in [50, bytes.len() / 2, bytes.len() - 3] {
        let mut damaged = bytes.clone();
        damaged[place] ^= 1;
        fs::write(&segment, &damaged).unwrap();
        pourbook(&["restore", &log, &desk.at("x")]).ends(1, &[", byte "]);
        pourbook(&["backup", &book, &log]).ends(1, &[", byte ", "one of the two is damaged"]);
    }
    fs::write(&segment, &bytes).unwrap();
    assert!(!Path::new(&desk.at("x")).exists());

    // A book that was put back from an older copy, and then went on, is told from its backup.
    let pin = text(&format!("{book}/pin"));
    let more = pin.replace(&format!("\n{size}\n"), &format!("\n{}\n", size + 1));
    fs::write(format!("{log}/pin"), more).unwrap();
    let told = format!(
        "the backup holds {} entries, the book has released {size}",
        size + 1
    );
    pourbook(&["backup", &book, &log]).ends(1, &[&told]);
    fs::write(format!("{log}/pin"), &pin).unwrap();
    assert_eq!(files_under(Path::new(&log)), before);
}

fn size_of(done: &super::Outcome) -> u64 {
    done.json()["size"].as_u64().unwrap()
}

#[test]
fn two_runs_do_not_write_to_one_backup() {
    let desk = Desk::new();
    let book = desk.demo();
    let log = desk.at("log");
    pourbook(&["backup", &book, &log]).ends(0, &[]);
    let lock = fs::File::options()
        .write(true)
        .open(format!("{log}/lock"))
        .unwrap();
    lock.lock().unwrap();
    pourbook(&["backup", &book, &log]).ends(1, &["another run is writing"]);
    drop(lock);
    pourbook(&["backup", &book, &log]).ends(0, &["0 of them new"]);
}

/// Runs that are killed leave a backup that the next run finishes.
#[test]
fn a_run_that_is_killed_is_gone_on_with() {
    let desk = Desk::new();
    let book = Arc::new(desk.demo());
    let (log, private) = (desk.at("log"), desk.at("private"));
    for wait in [0, 2, 5, 10, 20, 40, 80] {
        for options in [vec![log.as_str()], vec![private.as_str(), "--private"]] {
            let mut arguments = vec!["backup", book.as_str()];
            arguments.extend(options);
            let mut child = std::process::Command::new(crate::log::served::PROGRAM)
                .args(&arguments)
                .stdout(std::process::Stdio::null())
                .stderr(std::process::Stdio::null())
                .spawn()
                .unwrap();
            std::thread::sleep(Duration::from_millis(wait));
            child.kill().unwrap();
            child.wait().unwrap();
        }
    }
    let size = size_of(&pourbook(&["audit", &book, "--json"]));
    assert_eq!(size_of(&pourbook(&["backup", &book, &log, "--json"])), size);
    let mut held = Vec::new();
    for private in [&private, &desk.at("not-killed")] {
        let done = pourbook(&["backup", &book, private, "--private", "--json"]);
        held.push(done.ends(0, &[]).json()["private"]["readable"].clone());
    }
    assert!(held[0] == held[1] && held[0] != 0, "{held:?}");
    let told = format!("{} can be read", held[0]);
    pourbook(&["restore", &log, &desk.at("restored"), "--private", &private]).ends(0, &[&told]);
}

#[test]
fn photographs_are_copied_and_a_damaged_one_is_told() {
    use pourbook::node::BookFolder;
    let desk = Desk::new();
    let book = desk.book();
    let (log, restored) = (desk.at("log"), desk.at("restored"));
    let photographs = BookFolder::at(Path::new(&book)).photographs();
    let kept = [b"one picture".as_slice(), b"another"].map(|bytes| photographs.keep(bytes).unwrap());
    pourbook(&["backup", &book, &log]).ends(0, &["2 photographs are new"]);
    fs::write(photographs.path(kept[0]), "one pictura").unwrap();
    let told = pourbook(&["backup", &book, &log, "--json"]).ends(0, &[]).json();
    assert_eq!(
        told["photographs"], 0,
        "the copy has it whole, whatever became of it"
    );
    let in_copy = BookFolder::at(Path::new(&log)).photographs();
    fs::write(in_copy.path(kept[0]), "one pictura").unwrap();
    fs::write(in_copy.path(kept[1]), "anothe").unwrap();
    pourbook(&["backup", &book, &log]).ends(0, &["1 photographs are new", "is damaged, and not in the copy"]);
    fs::write(photographs.path(kept[0]), "one picture").unwrap();
    pourbook(&["backup", &book, &log]).ends(0, &["1 photographs are new"]);
    pourbook(&["restore", &log, &restored]).ends(0, &["holds 3 entries"]);
    let back = BookFolder::at(Path::new(&restored)).photographs();
    for (hash, bytes) in kept.iter().zip(["one picture", "another"]) {
        assert_eq!(fs::read(back.path(*hash)).unwrap(), bytes.as_bytes());
    }
}
