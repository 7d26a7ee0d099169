//! Keys: with the root key on another machine, which is another folder here that nothing but slips and signed entries
//! enters and leaves.

use super::{Desk, pourbook, text};
use serde_json::json;

/// A book whose root key was moved to another folder: book, root machine.
fn parted(desk: &Desk) -> (String, String) {
    let book = desk.book();
    let machine = desk.at("root-machine");
    std::fs::create_dir(&machine).unwrap();
    std::fs::rename(format!("{book}/keys/root.key"), format!("{machine}/root.key")).unwrap();
    (book, machine)
}

fn carry(from: &str, to: &str, name: &str) {
    std::fs::copy(format!("{from}/{name}"), format!("{to}/{name}")).unwrap();
}

fn kid_of(book: &str, role: &str, place: usize) -> String {
    let keys = pourbook(&["key", "list", book, "--json"]).ends(0, &[]).json();
    let keys = keys["keys"].as_array().unwrap().clone();
    let of_role: Vec<_> = keys.iter().filter(|key| key["role"] == role).collect();
    of_role[place]["kid"].as_str().unwrap().to_owned()
}

#[test]
fn a_recorder_key_is_replaced_with_the_root_key_on_another_machine() {
    let desk = Desk::new();
    let (book, machine) = parted(&desk);
    let new = format!("{book}/keys/recorder-2.key");
    let slip = format!("{book}/add.json");
    pourbook(&["key", "add", &book, "--role", "recorder", "--key", &new])
        .ends(2, &["the root key is not here", "--slip"]);
    pourbook(&[
        "key", "add", &book, "--role", "recorder", "--key", &new, "--slip", &slip,
    ])
    .ends(
        0,
        &[
            "asks to add the recorder key",
            "pourbook key sign",
            "pourbook key record",
        ],
    );
    assert!(
        !text(&slip).contains(text(&new).split_whitespace().last().unwrap()),
        "no secret travels"
    );

    carry(&book, &machine, "add.json");
    let (slip, root) = (format!("{machine}/add.json"), format!("{machine}/root.key"));
    let signed = format!("{machine}/add.entry");
    pourbook(&["key", "sign", &slip, "--root-key", &root, "-o", &signed])
        .ends(0, &["for the book book.example/log", "to add the recorder key"]);
    carry(&machine, &book, "add.entry");
    let signed = format!("{book}/add.entry");
    pourbook(&["key", "record", &book, &signed]).ends(0, &["Recorded as entry 3, to add the recorder key"]);
    let again = pourbook(&["key", "record", &book, &signed, "--json"]).ends(0, &[]);
    assert_eq!(again.members(), ["entry", "index", "kid", "kind", "leaf", "slip"]);
    assert_eq!(
        (&again.json()["index"], &again.json()["kind"]),
        (&json!(3), &json!("key.added"))
    );

    std::fs::rename(&new, format!("{book}/keys/recorder.key")).unwrap();
    let old = kid_of(&book, "recorder", 0);
    pourbook(&["key", "revoke", &book, &old, "--root-key", &root]).ends(0, &["to revoke the key"]);
    pourbook(&[
        "key",
        "suspect",
        &book,
        &old,
        "--from",
        "3",
        "--root-key",
        &root,
        "--json",
    ])
    .ends(0, &["\"index\": 5"]);
    pourbook(&["key", "list", &book]).ends(0, &["revoked at 4", "in doubt from 3 on"]);
    pourbook(&["audit", &book]).ends(0, &["holds: 6 entries", "in doubt"]);
    pourbook(&["key", "revoke", &book, &old, "--root-key", &root]).ends(1, &["revoked at 4 already"]);
}

#[test]
fn a_slip_that_is_late_altered_or_for_another_book_is_refused() {
    let desk = Desk::new();
    let (book, machine) = parted(&desk);
    let root = format!("{machine}/root.key");
    let (slip, signed) = (desk.at("s.json"), desk.at("s.entry"));
    let log = kid_of(&book, "log", 0);
    let recorder = kid_of(&book, "recorder", 0);
    let sign = || {
        // No signed entry is written over another.
        let _ = std::fs::remove_file(&signed);
        pourbook(&["key", "sign", &slip, "--root-key", &root, "-o", &signed])
    };
    let made = pourbook(&[
        "key", "suspect", &book, &recorder, "--from", "2", "--slip", &slip, "--json",
    ])
    .ends(0, &[]);
    assert_eq!(
        (&made.json()["slip"], &made.json()["index"]),
        (&json!(slip), &json!(null))
    );
    let first = text(&slip);

    std::fs::write(&slip, first.replace("book.example", "other.example")).unwrap();
    sign().ends(0, &["for the book other.example/log"]);
    pourbook(&["key", "record", &book, &signed]).ends(1, &["it names another book"]);
    for (altered, says) in [
        (first.replace("\"v\": 1", "\"v\": 2"), "version 2"),
        (
            first.replace("\"from\": 2", "\"from\": 2, \"more\": 1"),
            "this is no slip",
        ),
        (first.replace("key.suspect", "piece.poured"), "this is no slip"),
        ("{".to_owned(), "this is no slip"),
    ] {
        std::fs::write(&slip, altered).unwrap();
        sign().ends(2, &[says]);
    }
    std::fs::write(&slip, &first).unwrap();
    let wrong_key = format!("{book}/keys/log.key");
    pourbook(&["key", "sign", &slip, "--root-key", &wrong_key, "-o", &signed])
        .ends(2, &["this is the log key, the root key is needed"]);
    sign().ends(0, &[]);
    let late = desk.at("late.entry");
    std::fs::copy(&signed, &late).unwrap();
    sign().ends(0, &[]);
    pourbook(&["key", "record", &book, &signed]).ends(0, &["Recorded as entry 3"]);
    pourbook(&["key", "record", &book, &late]).ends(1, &["keys does not name the newest key entry"]);
    std::fs::write(&signed, text(&signed).replacen('e', "f", 1)).unwrap();
    pourbook(&["key", "record", &book, &signed]).ends(2, &["this is no signed entry"]);
    pourbook(&["key", "revoke", &book, "abc", "--root-key", &root]).ends(2, &["43 characters"]);
    pourbook(&["key", "revoke", &book, &log, "--root-key", &root])
        .ends(1, &["put the new log key in its place first"]);
    let unknown = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k";
    pourbook(&["key", "revoke", &book, unknown, "--root-key", &root]).ends(1, &["is not a key of this log"]);
    // One thumbprint in 64 begins with a hyphen, and is no option for that.
    let hyphen = "-PrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k";
    for words in [
        ["key", "revoke", &book, hyphen, "--root-key", &root],
        ["key", "revoke", "--root-key", &root, &book, hyphen],
    ] {
        pourbook(&words).ends(
            1,
            &["-PrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k is not a key of this log"],
        );
    }
    pourbook(&["audit", &book, "--root", hyphen]).ends(1, &["not from the one you trust"]);
    pourbook(&["audit", &book]).ends(0, &["holds: 4 entries"]);
}

#[test]
fn a_log_key_is_replaced_and_the_policy_follows() {
    let desk = Desk::new();
    let (book, machine) = parted(&desk);
    let root = format!("{machine}/root.key");
    let new = desk.at("log-2.key");
    let old = kid_of(&book, "log", 0);
    let policy = || text(&format!("{book}/policy"));
    let before = policy();
    pourbook(&[
        "key",
        "add",
        &book,
        "--role",
        "log",
        "--key",
        &new,
        "--root-key",
        &root,
    ])
    .ends(
        0,
        &["to add the log key", "The policy file names the log keys anew"],
    );
    assert_eq!(policy().matches("\nlog ").count(), 2);
    std::fs::copy(&new, format!("{book}/keys/log.key")).unwrap();
    pourbook(&["key", "revoke", &book, &old, "--root-key", &root]).ends(0, &["Recorded as entry 4"]);
    assert_eq!(policy().matches("\nlog ").count(), 1);
    assert_ne!(policy(), before);
    pourbook(&["audit", &book]).ends(0, &["holds: 5 entries"]);
    pourbook(&["rebuild", &book]).ends(0, &["5 entries"]);

    // A key that the chain does not give the log seals nothing.
    let stray = desk.at("stray.key");
    pourbook(&[
        "key",
        "add",
        &book,
        "--role",
        "log",
        "--key",
        &stray,
        "--slip",
        &desk.at("never.json"),
    ])
    .ends(0, &[]);
    std::fs::copy(&stray, format!("{book}/keys/log.key")).unwrap();
    pourbook(&["rebuild", &book]).ends(2, &["may not sign its checkpoints"]);
}

/// A name that slipped is no key that is lost.
#[test]
fn what_is_signed_and_what_is_asked_is_written_over_nothing() {
    let desk = Desk::new();
    let (book, machine) = parted(&desk);
    let (root, slip) = (format!("{machine}/root.key"), desk.at("s.json"));
    let recorder = kid_of(&book, "recorder", 0);
    let ask = |to: &str| pourbook(&["key", "suspect", &book, &recorder, "--from", "2", "--slip", to]);
    ask(&slip).ends(0, &[]);
    for kept in [root.clone(), slip.clone(), format!("{book}/pourbook.toml")] {
        let before = std::fs::read(&kept).unwrap();
        pourbook(&["key", "sign", &slip, "--root-key", &root, "-o", &kept])
            .ends(2, &["nothing is written over it"]);
        ask(&kept).ends(2, &["nothing is written over it"]);
        assert!(std::fs::read(&kept).unwrap() == before, "{kept} was changed");
    }
}
