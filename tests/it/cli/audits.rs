//! `audit`, from a folder and over HTTP: what it says while it works, and that the first wrong entry is named for every
//! kind of damage.

use super::{Desk, pourbook};
use crate::log::served::Served;
use pourbook::cli::demo::make;
use pourbook::domain::{
    CondemnReason, Draft, Draw, KeyRole, OperatorId, OperatorRevoked, PieceCondemned, PieceId, PieceState,
    Private, Timestamp,
};
use pourbook::log::{FileStore, FileStoreOptions, Group, RealFiles, Store};
use pourbook::node::{BookFolder, BookReader};
use pourbook::proof::tile::{TileLevel, TilePath, bundle};
use pourbook::proof::{Checkpoint, Hash, NoteSigner, Tree, leaf_hash};
use pourbook::record::{Signer, Unsealed, read, seal};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::path::Path;
use std::sync::Arc;
use uuid::Uuid;

const ORIGIN: &str = "brackenfold.example/log";
/// Entries of the demo.
const SIZE: u64 = 428;

/// Every entry of a book.
pub fn entries(book: &str) -> Vec<Vec<u8>> {
    let reader = BookReader::open(&BookFolder::at(Path::new(book))).unwrap();
    let mut all = Vec::new();
    let each = &mut |_, bytes: &[u8]| {
        all.push(bytes.to_vec());
        true
    };
    reader.store().scan(0, each).unwrap();
    all
}

fn tree_of(entries: &[Vec<u8>]) -> Tree {
    let mut tree = Tree::new();
    entries.iter().for_each(|entry| tree.push(leaf_hash(entry)));
    tree
}

/// A checkpoint over these entries by the book's own log key: whoever forges can have it.
fn checkpoint(book: &str, tree: &Tree) -> String {
    let log = BookFolder::at(Path::new(book)).key(KeyRole::Log).unwrap();
    let checkpoint = Checkpoint {
        origin: ORIGIN.to_owned(),
        size: tree.size(),
        root: tree.root(),
    };
    checkpoint.sign(&NoteSigner::new(ORIGIN, &log.seed).unwrap())
}

/// An entry that follows all of the book's rules but those that the test breaks: a certified piece is condemned.
pub fn condemns_a_certified_piece(book: &str, all: &[Vec<u8>], signer: &Signer) -> Vec<u8> {
    let reader = BookReader::open(&BookFolder::at(Path::new(book))).unwrap();
    let piece: PieceId = reader
        .book()
        .pieces()
        .find(|piece| piece.state == PieceState::Certified)
        .unwrap()
        .piece;
    let previous: u64 = *reader.chain(piece.0).last().unwrap();
    let last = read(all.last().unwrap()).unwrap().payload;
    let event = PieceCondemned {
        piece,
        reason: CondemnReason::Unwanted,
    };
    let drafts = [Draft {
        event: event.into(),
        private: Private::none(),
    }];
    let unsealed = Unsealed {
        iss: ORIGIN,
        jti: Uuid::from_u128(0x4000_8000_0000_0000_0001),
        iat: Timestamp(last.iat.0 + 60),
        by: OperatorId(Uuid::nil()),
        at: None,
        keys: last.keys,
        drafts: &drafts,
        prev: [(piece.0, Some(leaf_hash(&all[previous as usize])))].into(),
    };
    seal(&unsealed, signer, &mut Draw::new([9; 32]))
        .unwrap()
        .entry
        .to_vec()
}

/// Appends an entry to the files of a book behind the writer's back, with everything that a whole group has; its checkpoint.
pub fn append(book: &str, entry: Vec<u8>) -> String {
    let mut all = entries(book);
    let first = all.len() as u64;
    all.push(entry.clone());
    let checkpoint = checkpoint(book, &tree_of(&all));
    let options = FileStoreOptions::new(Box::new(|| [3; 32]));
    let store = FileStore::open(Path::new(book), options, Arc::new(RealFiles)).unwrap();
    let group = Group {
        first,
        entries: vec![entry.into()],
        checkpoint: checkpoint.clone(),
        vault: Vec::new(),
    };
    store.append(&group).unwrap();
    checkpoint
}

/// An audit that does not hold, in both forms; what it says, and which entry it blames.
#[track_caller]
fn refused(book: &str, says: &str) -> Value {
    pourbook(&["audit", book]).ends(1, &["does not hold: ", says]);
    pourbook(&["audit", book, "--strict"]).ends(1, &[says]);
    let told = pourbook(&["audit", book, "--json"]);
    assert_eq!(told.code, 1);
    let told = told.json();
    assert_eq!(told["holds"], false);
    assert!(told["why"].as_str().unwrap().contains(says), "{told}");
    told["first_wrong"].clone()
}

#[test]
fn an_audit_that_holds_says_so_in_one_shape() {
    let desk = Desk::new();
    let book = desk.demo();
    let told = pourbook(&["audit", &book, "--json"]).ends(0, &[]);
    let members = told.members();
    let other = desk.at("other");
    let strange = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k";
    assert_eq!(
        refused_members(&book, strange),
        members,
        "one shape, whatever comes of it"
    );
    let root = told.json()["root_key"].as_str().unwrap().to_owned();
    pourbook(&["audit", &book, "--root", &root]).ends(0, &["holds: 428 entries", "2 private members erased"]);
    pourbook(&["audit", &book, "--root", strange]).ends(1, &["not from the one you trust"]);
    pourbook(&["audit", &book, "--root", "abc"]).ends(2, &["a root thumbprint has 43 characters"]);
    pourbook(&["audit", &other]).ends(2, &["holds no book"]);
    pourbook(&["audit", "http://127.0.0.1:1"]).ends(2, &["cannot be reached"]);
}

fn refused_members(book: &str, root: &str) -> Vec<String> {
    pourbook(&["audit", book, "--root", root, "--json"]).members()
}

/// Standard error is a pipe here: no bar, but a line each time the interval is over.
#[test]
fn without_a_terminal_a_long_audit_says_how_far_it_is() {
    let desk = Desk::new();
    let book = desk.demo();
    let told = pourbook(&["audit", &book, "--every", "0"]);
    assert_eq!(told.code, 0);
    assert!(told.err.starts_with("428 of 428 entries, "), "{}", told.err);
    assert!(told.err.contains(" a second, 0 s left\n"), "{}", told.err);
    told.ends(0, &["holds: 428 entries"]);
    let quiet = pourbook(&["audit", &book, "--every", "3600"]);
    assert_eq!(quiet.err, "", "one that ends before says nothing");
}

/// A byte of an entry in the segment file: the group that begins with it is named, wherever it stands.
#[test]
fn a_flipped_byte_on_disk_names_its_entry() {
    let desk = Desk::new();
    let book = desk.demo();
    let all = entries(&book);
    let segment = std::fs::read_dir(format!("{book}/log"))
        .unwrap()
        .next()
        .unwrap()
        .unwrap()
        .path();
    let whole = std::fs::read(&segment).unwrap();
    for index in [3, 40, SIZE - 2, SIZE - 1] {
        let entry = &all[index as usize];
        let at = whole
            .windows(entry.len())
            .position(|window| window == entry)
            .unwrap();
        let mut damaged = whole.clone();
        damaged[at + entry.len() / 2] ^= 1;
        std::fs::write(&segment, damaged).unwrap();
        refused(
            &book,
            &format!("the group that begins with entry {index} is damaged"),
        );
    }
    std::fs::write(&segment, &whole).unwrap();
    pourbook(&["audit", &book]).ends(0, &["holds"]);
}

#[test]
fn an_entry_by_a_key_that_may_not_sign_there_is_named() {
    let desk = Desk::new();
    let book = desk.demo();
    let stranger = Signer::from_seed(&[0x77; 32]);
    append(
        &book,
        condemns_a_certified_piece(&book, &entries(&book), &stranger),
    );
    assert_eq!(
        refused(
            &book,
            &format!("entry 428: {} is not a key of this log", stranger.kid())
        ),
        428
    );
}

#[test]
fn a_correctly_signed_entry_that_breaks_a_rule_is_named() {
    let desk = Desk::new();
    let book = desk.demo();
    let recorder = BookFolder::at(Path::new(&book))
        .key(KeyRole::Recorder)
        .unwrap()
        .signer();
    append(
        &book,
        condemns_a_certified_piece(&book, &entries(&book), &recorder),
    );
    let blamed = refused(
        &book,
        "piece.condemned breaks a rule of the book: the piece is certified",
    );
    assert_eq!(blamed, 428);
}

/// A server that goes on in the name of an operator who was revoked signs as it should; an audit and an opening tell.
#[test]
fn an_entry_by_a_revoked_operator_is_named() {
    let desk = Desk::new();
    let book = desk.demo();
    let revoked = "47cb7ba0-ba75-4345-bc89-225410296a2b";
    pourbook(&["token", "revoke", &book, revoked, "--record"]).ends(0, &["recorded as entry 428"]);
    let all = entries(&book);
    let recorder = BookFolder::at(Path::new(&book))
        .key(KeyRole::Recorder)
        .unwrap()
        .signer();
    let last = read(all.last().unwrap()).unwrap().payload;
    let drafts = [Draft {
        event: OperatorRevoked {
            operator: OperatorId(Uuid::from_u128(5)),
        }
        .into(),
        private: Private::none(),
    }];
    let unsealed = Unsealed {
        iss: ORIGIN,
        jti: Uuid::from_u128(0x4000_8000_0000_0000_0002),
        iat: last.iat,
        by: OperatorId(revoked.parse().unwrap()),
        at: None,
        keys: last.keys,
        drafts: &drafts,
        prev: BTreeMap::new(),
    };
    let sealed = seal(&unsealed, &recorder, &mut Draw::new([9; 32])).unwrap();
    append(&book, sealed.entry.to_vec());
    let says = format!("operator {revoked} was revoked at entry 428");
    assert_eq!(refused(&book, &format!("entry 429: {says}")), 429);
    pourbook(&["rebuild", &book]).ends(2, &[&says]);
}

/// Serves a log as files, as another program would, until the test ends.
fn serve(entries: &[Vec<u8>], note: String) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("http://{}", listener.local_addr().unwrap());
    let tree = tree_of(entries);
    let entries = entries.to_vec();
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            let mut lines = BufReader::new(stream.try_clone().unwrap()).lines();
            let asked = lines.next().unwrap().unwrap();
            while lines
                .next()
                .is_some_and(|line| line.is_ok_and(|line| !line.is_empty()))
            {}
            let path = asked.split(' ').nth(1).unwrap();
            let body = match path.strip_prefix("/log/") {
                Some("checkpoint") => note.clone().into_bytes(),
                Some(path) => {
                    let tile = TilePath::parse(path).unwrap();
                    match tile.level {
                        TileLevel::Entries => {
                            let held = entries.chunks(256).nth(tile.n as usize).unwrap();
                            bundle(held.iter().map(Vec::as_slice)).unwrap()
                        }
                        TileLevel::Hashes(level) => tree.tile(level, tile.n, tile.width).unwrap(),
                    }
                }
                None => panic!("{asked}"),
            };
            write!(
                stream,
                "HTTP/1.1 200 OK\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
                body.len()
            )
            .unwrap();
            stream.write_all(&body).unwrap();
        }
    });
    address
}

/// What a server that lies, or a wire that damages, sends: the entry is named over HTTP as well.
#[test]
fn over_http_the_first_wrong_entry_is_named() {
    let desk = Desk::new();
    let book = desk.demo();
    let all = entries(&book);
    let note = checkpoint(&book, &tree_of(&all));
    pourbook(&["audit", &serve(&all, note.clone())]).ends(0, &["holds: 428 entries"]);

    let mut flipped = all.clone();
    let middle = flipped[40].len() / 2;
    flipped[40][middle] ^= 1;
    flipped[90][200] ^= 1;
    assert_eq!(refused(&serve(&flipped, note.clone()), "entry 40: "), 40);

    let recorder = BookFolder::at(Path::new(&book))
        .key(KeyRole::Recorder)
        .unwrap()
        .signer();
    for (signer, says) in [
        (Signer::from_seed(&[0x77; 32]), "is not a key of this log"),
        (recorder, "breaks a rule of the book"),
    ] {
        let mut more = all.clone();
        more.push(condemns_a_certified_piece(&book, &all, &signer));
        let note = checkpoint(&book, &tree_of(&more));
        assert_eq!(refused(&serve(&more, note), says), 428);
    }

    // Cut short: the checkpoint does not fit, and no entry is to blame.
    let fewer = &all[..403];
    assert_eq!(
        refused(&serve(fewer, note.clone()), "holds 147 entries"),
        json!(null)
    );
    let forged = note.replacen(&tree_of(&all).root().to_base64(), &Hash([7; 32]).to_base64(), 1);
    assert_eq!(refused(&serve(&all, forged), "checkpoint"), json!(null));
    pourbook(&["audit", &serve(&all, "no note\n".to_owned())]).ends(2, &["form"]);
}

/// The record stands, whatever became of the pictures.
#[test]
fn an_audit_notes_every_photograph_that_is_missing_or_damaged() {
    let desk = Desk::new();
    let book = desk.demo();
    let folder = BookFolder::at(Path::new(&book));
    let reader = BookReader::open(&folder).unwrap();
    let named: Vec<_> = reader.book().photographs().into_iter().collect();
    assert_eq!(named.len(), 12, "six photographs and their thumbnails");
    let files = folder.photographs();
    let (gone, bent) = (files.path(named[0]), files.path(named[1]));
    assert_eq!(
        pourbook(&["audit", &book, "--json"]).ends(0, &[]).json()["notices"],
        json!([])
    );
    std::fs::remove_file(&gone).unwrap();
    let mut bytes = std::fs::read(&bent).unwrap();
    bytes[200] ^= 1;
    std::fs::write(&bent, bytes).unwrap();
    let told = pourbook(&["audit", &book, "--json"]).ends(0, &[]).json();
    assert_eq!(
        told["notices"],
        json!([
            format!("{} is missing: put it back from a copy", gone.display()),
            format!(
                "{} has other bytes than its name says: put it back from a copy",
                bent.display()
            ),
        ])
    );
    assert_eq!(told["holds"], true);
    pourbook(&["audit", &book]).ends(0, &["holds: 428 entries", "note: ", "is missing"]);
    // A server that opens it looks whether each is there; what is damaged it meets when somebody asks.
    let served = Served::start(Path::new(&book));
    let mut health = Value::Null;
    for _ in 0..100 {
        let (_, _, body) = served.get("/healthz");
        health = serde_json::from_slice(&body).unwrap();
        if health.get("photographs").is_some() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    assert_eq!(health["photographs"], json!({"missing": 1, "damaged": 0}));
    assert_eq!(served.get(&format!("/photographs/{}", named[1])).0, 500);
    assert_eq!(served.get(&format!("/photographs/{}", named[2])).0, 200);
    let (_, _, body) = served.get("/healthz");
    let health: Value = serde_json::from_slice(&body).unwrap();
    assert_eq!(health["photographs"], json!({"missing": 1, "damaged": 1}));
    served.stop();
}

/// The demo's own size, so that the numbers above are what they seem.
#[test]
fn the_demo_has_as_many_entries_as_the_tests_say() {
    let desk = Desk::new();
    let book = desk.at("demo");
    make(&BookFolder::at(Path::new(&book))).unwrap_or_else(|failure| panic!("{}", failure.message));
    assert_eq!(entries(&book).len() as u64, SIZE);
}
