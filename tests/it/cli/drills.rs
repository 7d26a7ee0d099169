//! What to do when a key, a token or a backup is stolen or lost, done with the built program. DEVELOPERS.md has the page.

use super::backups::{key_of, put_away, record};
use super::{Desk, pourbook, text};
use crate::log::served::{Served, found_book};
use crate::torture::clients::files_under;
use pourbook::domain::KeyRole;
use pourbook::node::BookFolder;
use pourbook::proof::{Checkpoint, NoteSigner};
use serde_json::json;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::time::SystemTime;

fn book_with_root_apart(desk: &Desk) -> (String, String, String) {
    let book = desk.at("book");
    let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap();
    let token = found_book(Path::new(&book), 9, i64::try_from(now.as_secs()).unwrap());
    let root = desk.at("root.key");
    fs::rename(format!("{book}/keys/root.key"), &root).unwrap();
    (book, root, token)
}

fn kid_of(path: &str) -> String {
    text(path).split_whitespace().nth(2).unwrap().to_owned()
}

fn add(book: &str, role: &str, key: &str, root: &str) {
    pourbook(&[
        "key",
        "add",
        book,
        "--role",
        role,
        "--key",
        key,
        "--root-key",
        root,
    ])
    .ends(0, &["Recorded"]);
}

fn revoke(book: &str, kid: &str, root: &str) {
    pourbook(&["key", "revoke", book, kid, "--root-key", root]).ends(0, &["Recorded"]);
}

/// The recorder key is stolen: a new one takes its place, the old one is revoked, and what it signed since is in doubt.
#[test]
fn a_stolen_recorder_key() {
    let desk = Desk::new();
    let (book, root, token) = book_with_root_apart(&desk);
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(1)).unwrap().0, 201);
    served.stop();
    let (present, stolen) = (format!("{book}/keys/recorder.key"), desk.at("stolen.key"));
    fs::copy(&present, &stolen).unwrap();
    let kid = kid_of(&present);

    let new = format!("{book}/keys/recorder-2.key");
    add(&book, "recorder", &new, &root);
    // Both may sign until one is revoked, so that nothing stands still meanwhile.
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(2)).unwrap().0, 201);
    served.stop();
    fs::rename(&new, &present).unwrap();
    revoke(&book, &kid, &root);
    pourbook(&["key", "suspect", &book, &kid, "--from", "5", "--root-key", &root]).ends(0, &["Recorded"]);
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(3)).unwrap().0, 201);
    served.stop();
    pourbook(&["audit", &book]).ends(
        0,
        &[
            "holds: 9 entries",
            &format!("in doubt: what key {kid} signed from entry 5 on"),
        ],
    );

    // The thief, with the whole book: the stolen key records nothing more.
    let theirs = desk.at("theirs");
    put_away(&book, &theirs);
    fs::copy(&stolen, format!("{theirs}/keys/recorder.key")).unwrap();
    let served = Served::start(Path::new(&theirs));
    let (status, told) = record(&served, &token, &key_of(4)).unwrap();
    assert_eq!(status, 409, "{told}");
    assert!(told["detail"].as_str().unwrap().contains("revoked"), "{told}");
    served.stop();
}

/// The log key is replaced with overlap: both sign, then the old one is revoked. Readers of either policy take it.
#[test]
fn a_stolen_log_key() {
    let desk = Desk::new();
    let (book, root, token) = book_with_root_apart(&desk);
    let (present, next) = (
        format!("{book}/keys/log.key"),
        format!("{book}/keys/log-next.key"),
    );
    let (stolen, old) = (desk.at("stolen.key"), kid_of(&present));
    fs::copy(&present, &stolen).unwrap();
    let policy = || text(&format!("{book}/policy"));
    let (old_policy, signatures) = (policy(), |book: &str| {
        text(&format!("{book}/pin")).matches("\n\u{2014} ").count()
    });
    assert_eq!(signatures(&book), 1);
    add(&book, "log", &next, &root);
    let both = policy();
    // Made and added, but the group that adds it is signed by it already: it is valid for the size that covers its own entry.
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(1)).unwrap().0, 201);
    served.stop();
    assert_eq!(signatures(&book), 2);
    let note = text(&format!("{book}/pin"));
    for policy in [&old_policy, &both] {
        opens(&note, policy, true);
    }
    pourbook(&["audit", &book]).ends(0, &["holds: 5 entries"]);

    revoke(&book, &old, &root);
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(2)).unwrap().0, 201);
    served.stop();
    assert_eq!(signatures(&book), 1);
    let note = text(&format!("{book}/pin"));
    opens(&note, &old_policy, false);
    opens(&note, &policy(), true);
    fs::rename(&next, &present).unwrap();
    pourbook(&["rebuild", &book]).ends(0, &["7 entries"]);
    pourbook(&["audit", &book]).ends(0, &["holds: 7 entries"]);
    // The key that seals is not revoked while nothing follows it.
    pourbook(&["key", "revoke", &book, &kid_of(&present), "--root-key", &root])
        .ends(1, &["put the new log key in its place first"]);

    // The thief signs the same history with the stolen key: nobody takes it for a checkpoint.
    let theirs = desk.at("theirs");
    put_away(&book, &theirs);
    fs::copy(&stolen, format!("{theirs}/keys/log.key")).unwrap();
    pourbook(&["rebuild", &theirs]).ends(2, &["may not sign its checkpoints", "was revoked"]);
    let seed = BookFolder::at(Path::new(&book))
        .key_at(Path::new(&stolen), KeyRole::Log)
        .unwrap()
        .seed;
    let checkpoint = Checkpoint::peek(&note).unwrap();
    let forged = checkpoint.sign(&NoteSigner::new(&checkpoint.origin, &seed).unwrap());
    fs::write(format!("{theirs}/pin"), forged).unwrap();
    pourbook(&["audit", &theirs]).ends(1, &["does not hold"]);
}

/// The new key takes the place of the old one at once, so nothing was sealed by both: what the old one sealed last still holds,
/// for whoever kept it, and for a book whose process ended before it pinned the entry that revokes the key.
#[test]
fn what_a_log_key_sealed_just_before_it_was_revoked_still_holds() {
    let desk = Desk::new();
    let (book, root, token) = book_with_root_apart(&desk);
    let (present, new) = (format!("{book}/keys/log.key"), desk.at("new.key"));
    let old = kid_of(&present);
    add(&book, "log", &new, &root);
    let (kept, pin) = (desk.at("kept"), format!("{book}/pin"));
    fs::copy(&pin, &kept).unwrap();
    fs::rename(&new, &present).unwrap();
    revoke(&book, &old, &root);
    assert_eq!(text(&kept).lines().nth(1), Some("4"));
    pourbook(&["audit", &book, "--checkpoint", &kept]).ends(0, &["holds: 5 entries"]);
    fs::copy(&kept, &pin).unwrap();
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(1)).unwrap().0, 201);
    served.stop();
}

/// Whether a note opens with the log lines of a policy, by a library that others wrote.
#[track_caller]
fn opens(note: &str, policy: &str, holds: bool) {
    use signed_note::{Note, StandardVerifier, VerifierList};
    let vkeys = policy.lines().filter_map(|line| line.strip_prefix("log "));
    let verifiers = vkeys.map(|rest| {
        let vkey = rest.split_whitespace().next().unwrap();
        Box::new(StandardVerifier::new(vkey).unwrap()) as Box<dyn signed_note::Verifier>
    });
    let known = VerifierList::new(verifiers.collect());
    let opened = Note::from_bytes(note.as_bytes()).unwrap().verify(&known);
    assert_eq!(opened.is_ok(), holds, "{policy}");
}

/// Both working keys are lost with the machine; the root key makes new ones.
#[test]
fn lost_keys() {
    let desk = Desk::new();
    let (book, root, token) = book_with_root_apart(&desk);
    let (log, recorder) = (
        format!("{book}/keys/log.key"),
        format!("{book}/keys/recorder.key"),
    );
    let lost = [kid_of(&log), kid_of(&recorder)];
    fs::remove_file(&log).unwrap();
    fs::remove_file(&recorder).unwrap();
    pourbook(&["rebuild", &book]).ends(2, &["recorder.key"]);
    // The recorder key first would leave nobody to seal it.
    pourbook(&[
        "key",
        "add",
        &book,
        "--role",
        "recorder",
        "--key",
        &recorder,
        "--root-key",
        &root,
    ])
    .ends(2, &["log.key"]);
    add(&book, "log", &log, &root);
    add(&book, "recorder", &recorder, &root);
    for kid in &lost {
        revoke(&book, kid, &root);
    }
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(1)).unwrap().0, 201);
    served.stop();
    pourbook(&["audit", &book]).ends(0, &["holds: 8 entries"]);

    // A log key that no entry adds seals nothing, not even an entry about keys.
    let stray = desk.at("stray");
    put_away(&book, &stray);
    let key = format!("{stray}/keys/log.key");
    fs::remove_file(&key).unwrap();
    fs::remove_file(format!("{stray}/keys/recorder.key")).unwrap();
    pourbook(&[
        "key",
        "add",
        &stray,
        "--role",
        "log",
        "--key",
        &key,
        "--slip",
        &desk.at("slip"),
    ])
    .ends(0, &[]);
    pourbook(&[
        "key",
        "add",
        &stray,
        "--role",
        "recorder",
        "--key",
        &desk.at("r.key"),
        "--root-key",
        &root,
    ])
    .ends(1, &["no key at hand could seal"]);
    pourbook(&["audit", &stray]).ends(0, &["holds: 8 entries"]);
    add(&stray, "log", &key, &root);
}

/// The root key is stolen: the thief can give themselves keys, and no entry can mend that. What was released stands against
/// them: whoever kept a checkpoint tells their history from ours.
#[test]
fn a_stolen_root_key() {
    let desk = Desk::new();
    let (book, root, token) = book_with_root_apart(&desk);
    let theirs = desk.at("theirs");
    put_away(&book, &theirs);
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(1)).unwrap().0, 201);
    served.stop();
    let published = text(&format!("{book}/pin"));

    let key = format!("{theirs}/keys/log.key");
    fs::remove_file(&key).unwrap();
    add(&theirs, "log", &key, &root);
    // By itself their book holds, under the same root.
    let root_kid = kid_of(&root);
    pourbook(&["audit", &theirs, "--root", &root_kid]).ends(0, &["holds: 4 entries"]);
    // Held against the checkpoint that was published it does not.
    fs::write(format!("{theirs}/pin"), &published).unwrap();
    pourbook(&["audit", &theirs]).ends(1, &["is not the one that was pinned"]);
    // A book under a new root is another book: the old root vouches for nothing in it.
    let elsewhere = Desk::new();
    let new = elsewhere.book();
    pourbook(&["audit", &new, "--root", &root_kid]).ends(1, &["not from the one you trust"]);
}

/// A token is stolen: it ends at once, while the server runs.
#[test]
fn a_stolen_token() {
    let desk = Desk::new();
    let (book, _, _) = book_with_root_apart(&desk);
    let made = pourbook(&[
        "token", "add", &book, "--role", "office", "--name", "tablet", "--json",
    ])
    .ends(0, &[])
    .json();
    let (token, operator) = (
        made["token"].as_str().unwrap(),
        made["operator"].as_str().unwrap(),
    );
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, token, &key_of(1)).unwrap().0, 201);
    pourbook(&["token", "revoke", &book, operator]).ends(0, &["1 revoked"]);
    assert_eq!(record(&served, token, &key_of(2)).unwrap().0, 401);
    // While it is served, only the server can say so in the log.
    let revoke = ["token", "revoke", &book, operator, "--record"];
    pourbook(&revoke).ends(
        1,
        &["0 revoked, but not said in the log", "held by another process"],
    );
    served.stop();
    pourbook(&revoke).ends(0, &["recorded as entry 4: no later entry is theirs"]);
    pourbook(&revoke).ends(1, &["was revoked at entry 4"]);
    let theirs = pourbook(&["token", "entries", &book, operator, "--json"])
        .ends(0, &[])
        .json();
    assert_eq!(theirs["entries"].as_array().unwrap().len(), 1);
    assert_eq!(
        (&theirs["entries"][0]["index"], &theirs["entries"][0]["kinds"]),
        (&json!(3), &json!(["scale.registered"]))
    );
    // Even where the file of tokens is put back, nothing is recorded in their name any more.
    let tokens = format!("{book}/tokens.json");
    let mut older: serde_json::Value = serde_json::from_str(&text(&tokens)).unwrap();
    older["tokens"]
        .as_array_mut()
        .unwrap()
        .iter_mut()
        .for_each(|row| {
            row.as_object_mut().unwrap().remove("revoked");
        });
    fs::write(&tokens, older.to_string()).unwrap();
    let served = Served::start(Path::new(&book));
    let (status, told) = record(&served, token, &key_of(3)).unwrap();
    assert_eq!(status, 409, "{told}");
    assert!(
        told["detail"]
            .as_str()
            .unwrap()
            .contains("was revoked at entry 4"),
        "{told}"
    );
    served.stop();
    pourbook(&["audit", &book]).ends(0, &["holds: 5 entries"]);
    assert!(!text(&format!("{book}/tokens.json")).contains(token));
    // Revoked tokens do not come back with a backup: no token is in one.
    let (log, restored) = (desk.at("log"), desk.at("restored"));
    pourbook(&["backup", &book, &log]).ends(0, &[]);
    pourbook(&["restore", &log, &restored]).ends(0, &["Tokens are not in a backup"]);
    let list = pourbook(&["token", "list", &restored, "--json"])
        .ends(0, &[])
        .json();
    assert_eq!(list, json!({"tokens": []}));
}

/// Backups are stolen. The log's shows what an auditor may see; the private one shows names and prices as well.
#[test]
fn a_stolen_backup() {
    let desk = Desk::new();
    let (book, _, token) = book_with_root_apart(&desk);
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(1)).unwrap().0, 201);
    served.stop();
    let (log, private) = (desk.at("log"), desk.at("private"));
    pourbook(&["backup", &book, &log]).ends(0, &[]);
    pourbook(&["backup", &book, &private, "--private"]).ends(0, &[]);
    let seed = text(&format!("{book}/keys/recorder.key"))
        .split_whitespace()
        .last()
        .unwrap()
        .to_owned();
    let secret = fs::read(format!("{book}/vault/secret")).unwrap();
    for (_, bytes) in files_under(Path::new(&log)) {
        for hidden in [
            b"the bench of".as_slice(),
            seed.as_bytes(),
            token.as_bytes(),
            &secret[..32],
        ] {
            assert!(!bytes.windows(hidden.len()).any(|window| window == hidden));
        }
    }
    // With the private one on top the values can be read: so it is kept apart, for its owner only.
    for (path, _) in files_under(Path::new(&private)) {
        let mode = fs::metadata(&path).unwrap().permissions().mode() & 0o077;
        assert!(mode == 0 || path.ends_with("lock"), "{} {mode:o}", path.display());
    }
    pourbook(&["restore", &log, &desk.at("theirs"), "--private", &private]).ends(0, &["1 can be read"]);
    // Neither lets anybody record anything: no key that signs was in them.
    pourbook(&["rebuild", &desk.at("theirs")]).ends(2, &["recorder.key"]);
}

#[test]
fn a_secret_that_others_may_read_is_refused_by_name() {
    let desk = Desk::new();
    let (book, root, _) = book_with_root_apart(&desk);
    let open = |path: &str, mode: u32| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    for name in ["keys/recorder.key", "keys/log.key", "vault/secret", "vault/keys"] {
        let path = format!("{book}/{name}");
        for mode in [0o640, 0o604, 0o620, 0o644] {
            open(&path, mode);
            let says = [
                format!("{path} can be read by others (mode 0{mode:o})"),
                format!("chmod 600 {path}"),
            ];
            let served = Served::start_or_refusal(Path::new(&book));
            let told = served
                .err()
                .unwrap_or_else(|| panic!("it serves with {path} open"));
            assert!(says.iter().all(|part| told.contains(part)), "{told}");
            pourbook(&["rebuild", &book]).ends(2, &says.each_ref().map(String::as_str));
        }
        open(&path, 0o600);
        pourbook(&["rebuild", &book]).ends(0, &[]);
    }
    open(&root, 0o644);
    let slip = desk.at("slip");
    let kid = kid_of(&format!("{book}/keys/recorder.key"));
    pourbook(&["key", "suspect", &book, &kid, "--from", "1", "--root-key", &root]).ends(2, &["chmod 600"]);
    pourbook(&["key", "suspect", &book, &kid, "--from", "1", "--slip", &slip]).ends(0, &[]);
    pourbook(&["key", "sign", &slip, "--root-key", &root, "-o", &desk.at("entry")]).ends(2, &["chmod 600"]);
    open(&root, 0o600);
    pourbook(&["key", "sign", &slip, "--root-key", &root, "-o", &desk.at("entry")])
        .ends(0, &["signed by root"]);
}

/// The machine is lost while the log key is replaced: the key that is to follow is put back with the others, and one that may
/// not sign is refused by name, as the others are.
#[test]
fn a_machine_that_is_lost_while_a_log_key_is_replaced() {
    let desk = Desk::new();
    let (book, root, token) = book_with_root_apart(&desk);
    add(&book, "log", &format!("{book}/keys/log-next.key"), &root);
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, &token, &key_of(1)).unwrap().0, 201);
    served.stop();
    let unknown = desk.at("unknown.key");
    pourbook(&[
        "key",
        "add",
        &book,
        "--role",
        "log",
        "--key",
        &unknown,
        "--slip",
        &desk.at("s.json"),
    ])
    .ends(0, &[]);
    let (log, safe) = (desk.at("log"), desk.at("safe"));
    pourbook(&["backup", &book, &log]).ends(0, &[]);
    put_away(&format!("{book}/keys"), &safe);
    fs::remove_dir_all(&book).unwrap();

    let restored = pourbook(&["restore", &log, &book, "--keys", &safe, "--json"])
        .ends(0, &[])
        .json();
    assert_eq!(
        restored["keys"],
        serde_json::json!(["recorder", "log", "log-next"])
    );
    let added = pourbook(&["token", "add", &book, "--role", "office"])
        .ends(0, &[])
        .out;
    let token = added.lines().next().unwrap();
    let served = Served::start(Path::new(&book));
    assert_eq!(record(&served, token, &key_of(2)).unwrap().0, 201);
    served.stop();
    let signatures = text(&format!("{book}/pin")).matches("\n\u{2014} ").count();
    assert_eq!(signatures, 2, "both keys sign");

    fs::copy(&unknown, format!("{safe}/log-next.key")).unwrap();
    pourbook(&["restore", &log, &desk.at("other"), "--keys", &safe])
        .ends(1, &["log-next.key may not sign in this book"]);
    assert!(!Path::new(&desk.at("other")).exists());
}
