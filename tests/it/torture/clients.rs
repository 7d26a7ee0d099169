//! Clients of a served book, and what they were told: the requests that they sent, the answers, the checkpoints that they saw;
//! and how a server that starts again is held against all of it. Beside them small ways to write into a book and to copy one.

use crate::log::served::{FOUNDED, Served, found_book, run};
use crate::shop;
use pourbook::domain::{Draw, OperatorId, Timestamp};
use pourbook::http::{Role, Tokens};
use pourbook::log::StoreError;
use pourbook::node::{BookFolder, open_desk};
use pourbook::proof::{Checkpoint, Tree, leaf_hash, tile};
use pourbook::writer::{Ask, Desk, Recorded, Submission};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, SystemTime};
use uuid::Uuid;

const CLIENTS: u8 = 4;

/// What came of a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// None came: it may have been recorded or not.
    None,
    /// Index, leaf and events of a 201.
    Recorded(u64, String, Value),
    /// The book forbids it.
    Refused(u16),
}

/// One request, and what came back.
#[derive(Clone, Debug)]
pub struct Sent {
    pub key: Uuid,
    path: &'static str,
    body: Value,
    pub answer: Answer,
    location: String,
}

impl Sent {
    /// What another client sent and was told.
    pub fn answered(key: Uuid, answer: Answer) -> Sent {
        Sent {
            key,
            path: "",
            body: Value::Null,
            answer,
            location: String::new(),
        }
    }

    pub fn was_answered(&self) -> bool {
        self.answer != Answer::None
    }
}

/// What the clients saw, of one life of the server or of all.
#[derive(Default)]
pub struct Seen {
    pub sent: Vec<Sent>,
    pub checkpoints: BTreeSet<String>,
    /// How many of what was sent have been sent again since.
    repeated: usize,
}

impl Seen {
    pub fn of(sent: Vec<Sent>) -> Seen {
        Seen {
            sent,
            ..Seen::default()
        }
    }

    pub fn answered(&self) -> usize {
        self.sent.iter().filter(|sent| sent.was_answered()).count()
    }

    pub fn take(&mut self, more: Seen) {
        self.sent.extend(more.sent);
        self.checkpoints.extend(more.checkpoints);
    }
}

/// The tokens of somebody at the bench's office, and of the admin, who erases.
#[derive(Clone)]
pub struct Keyring {
    pub office: String,
    pub admin: String,
}

/// A book that was founded now, to be served.
pub fn found_now(dir: &Path, seed: u8) -> Keyring {
    let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap();
    found_at(dir, seed, i64::try_from(now.as_secs()).unwrap())
}

/// A book that was founded at some time.
pub fn found_at(dir: &Path, seed: u8, now: i64) -> Keyring {
    found_book(dir, seed, now);
    let mut tokens = Tokens::default();
    let mut draw = Draw::new([seed; 32]);
    let office = tokens.add(&mut draw, Role::Office, None, None);
    let admin = tokens.add(&mut draw, Role::Admin, None, None);
    tokens.write(&BookFolder::at(dir).tokens()).unwrap();
    Keyring { office, admin }
}

pub struct Client {
    agent: ureq::Agent,
    address: String,
    keyring: Keyring,
    draw: Draw,
    scales: Vec<String>,
    /// Entries of scales whose label was not erased yet.
    labelled: Vec<u64>,
}

impl Client {
    pub fn new(served: &Served, keyring: &Keyring, draw: Draw) -> Client {
        let agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .timeout_global(Some(Duration::from_secs(20)))
            .build();
        Client {
            agent: agent.into(),
            address: served.address.clone(),
            keyring: keyring.clone(),
            draw,
            scales: Vec::new(),
            labelled: Vec::new(),
        }
    }

    pub fn command(&mut self) -> Sent {
        let turn = self.draw.bytes();
        // A scale is in one session at a time.
        let scale = turn[0].is_multiple_of(6).then(|| self.scales.pop()).flatten();
        let labelled = (turn[0] % 6 == 1).then(|| self.labelled.pop()).flatten();
        let nobodys = self.draw.uuid();
        let (path, body) = match (turn[0] % 6, scale, labelled) {
            (0, Some(scale), _) => (
                "/v1/sessions",
                json!({"scale": scale, "nominal": "100.00", "reading": "100.00"}),
            ),
            (1, _, Some(index)) => (
                "/v1/erasures",
                json!({"index": index, "event": 0, "member": "label", "reason": "request"}),
            ),
            (2, ..) => (
                "/v1/jars",
                json!({"metal": "silver", "fineness": "999", "residue": "lemel"}),
            ),
            (3, ..) => (
                "/v1/sessions",
                json!({"scale": nobodys, "nominal": "100.00", "reading": "100.00"}),
            ),
            _ => (
                "/v1/scales",
                json!({"class": "II", "e": "0.01", "d": "0.01", "max": "500", "verified": true,
                    "repeatability": "0.004", "label": "the bench by the window"}),
            ),
        };
        Sent {
            key: self.draw.uuid(),
            path,
            body,
            answer: Answer::None,
            location: String::new(),
        }
    }

    /// Sends a request; whether the server still answers.
    pub fn send(&mut self, sent: &mut Sent) -> bool {
        let token = match sent.path {
            "/v1/erasures" => &self.keyring.admin,
            _ => &self.keyring.office,
        };
        let request = self
            .agent
            .post(format!("{}{}", self.address, sent.path))
            .header("authorization", format!("Bearer {token}"))
            .header("idempotency-key", sent.key.to_string())
            .header("content-type", "application/json");
        let Ok(mut reply) = request.send(sent.body.to_string()) else {
            return false;
        };
        let status = reply.status().as_u16();
        let location = reply.headers().get("location");
        let location = location.map(|value| value.to_str().unwrap().to_owned());
        let Ok(body) = reply.body_mut().read_to_string() else {
            return false;
        };
        match status {
            201 => {
                let body: Value = serde_json::from_str(&body).unwrap();
                let leaf = body["leaf"].as_str().unwrap().to_owned();
                let index = body["index"].as_u64().unwrap();
                sent.answer = Answer::Recorded(index, leaf, body["events"].clone());
                sent.location = location.unwrap();
                true
            }
            // The writer has ended, or its queue is full, or the tokens are gone with the folder: nothing is promised.
            503 | 401 => false,
            404 | 409 | 422 if sent.path == "/v1/sessions" => {
                sent.answer = Answer::Refused(status);
                true
            }
            other => panic!("{other} for {}: {body}", sent.path),
        }
    }

    /// Sends commands until the server is gone, or some number of them.
    fn work(mut self, seen: &Mutex<Seen>, most: usize) {
        for _ in 0..most {
            let mut sent = self.command();
            let goes_on = self.send(&mut sent);
            if let ("/v1/scales", Answer::Recorded(index, ..)) = (sent.path, &sent.answer) {
                self.scales
                    .extend(sent.location.rsplit('/').next().map(str::to_owned));
                self.labelled.push(*index);
            }
            let note = self.checkpoint();
            let mut seen = seen.lock().unwrap();
            seen.checkpoints.extend(note);
            seen.sent.push(sent);
            if !goes_on {
                return;
            }
        }
    }

    fn checkpoint(&self) -> Option<String> {
        let reply = self.agent.get(format!("{}/log/checkpoint", self.address)).call();
        reply
            .ok()
            .filter(|reply| reply.status() == 200)
            .and_then(|mut reply| reply.body_mut().read_to_string().ok())
    }

    fn get(&self, path: &str) -> u16 {
        let request = self
            .agent
            .get(format!("{}{path}", self.address))
            .header("authorization", format!("Bearer {}", self.keyring.office));
        request.call().unwrap().status().as_u16()
    }
}

/// Four clients at work, each until the server is gone or it sent `most` commands.
pub struct Load {
    seen: Arc<Mutex<Seen>>,
    clients: Vec<JoinHandle<()>>,
}

impl Load {
    pub fn start(served: &Served, keyring: &Keyring, draw: &mut Draw, most: usize) -> Load {
        let seen = Arc::new(Mutex::new(Seen::default()));
        let clients = (0..CLIENTS).map(|_| {
            let client = Client::new(served, keyring, Draw::new(draw.bytes()));
            let seen = Arc::clone(&seen);
            std::thread::spawn(move || client.work(&seen, most))
        });
        let clients = clients.collect();
        Load { seen, clients }
    }

    pub fn end(self, place: &str) -> Seen {
        for client in self.clients {
            client
                .join()
                .unwrap_or_else(|_| panic!("{place}: a client failed"));
        }
        std::mem::take(&mut *self.seen.lock().unwrap())
    }

    pub fn answered(&self) -> usize {
        self.seen.lock().unwrap().answered()
    }
}

/// All entries that the released checkpoint covers.
fn entries(served: &Served) -> (Checkpoint, Vec<Vec<u8>>) {
    let (status, _, note) = served.get("/log/checkpoint");
    assert_eq!(status, 200);
    let checkpoint = Checkpoint::peek(std::str::from_utf8(&note).unwrap()).unwrap();
    let mut entries = Vec::new();
    for n in 0..checkpoint.size.div_ceil(256) {
        let path = tile::TilePath {
            level: tile::TileLevel::Entries,
            n,
            width: tile::width_at(tile::TileLevel::Entries, n, checkpoint.size),
        };
        let (status, _, bundle) = served.get(&format!("/log/{path}"));
        assert_eq!(status, 200, "{path}");
        entries.extend(tile::unbundle(&bundle).unwrap());
    }
    (checkpoint, entries)
}

/// The entries as a server serves them, and their tree, which is that of its checkpoint.
fn served_log(served: &Served, place: &str) -> (Vec<Vec<u8>>, Tree) {
    let (checkpoint, entries) = entries(served);
    let mut tree = Tree::new();
    entries.iter().for_each(|entry| tree.push(leaf_hash(entry)));
    assert_eq!(
        (tree.size(), tree.root()),
        (checkpoint.size, checkpoint.root),
        "{place}"
    );
    (entries, tree)
}

/// Everything that was ever said, held against a server that has just started: what was answered stands where it was said and
/// once, what was refused does not stand, every checkpoint that was shown is one that the tree went through. What had no answer
/// is sent again; of what was answered a part, which must be repeated.
pub fn look(served: &Served, keyring: &Keyring, all: &mut Seen, place: &str) {
    let mut client = Client::new(served, keyring, Draw::new([0; 32]));
    let (entries, tree) = served_log(served, place);
    for note in &all.checkpoints {
        let old = Checkpoint::peek(note).unwrap();
        let root = tree.root_at(old.size);
        assert_eq!(
            root,
            Some(old.root),
            "{place}: a checkpoint of {} was shown",
            old.size
        );
    }
    assert_each_once(&entries, &tree, all, place);
    let before = std::mem::replace(&mut all.repeated, all.sent.len());
    for (nth, sent) in all.sent.iter_mut().enumerate() {
        // Of what was repeated after an earlier start a part will do, another one each time.
        let every = 9.max(before / 30);
        if nth < before && nth % every != before % every {
            continue;
        }
        if matches!(sent.answer, Answer::Refused(_)) {
            continue;
        }
        let mut again = sent.clone();
        assert!(client.send(&mut again), "{place}");
        if sent.was_answered() {
            assert_eq!(
                again.answer, sent.answer,
                "{place}: {} answers otherwise",
                sent.key
            );
        }
        // An erasure has no row of its own.
        if matches!(again.answer, Answer::Recorded(..)) && again.path != "/v1/erasures" {
            assert_eq!(client.get(&again.location), 200, "{place}: {}", again.location);
        }
        *sent = again;
    }
}

/// What was answered stands in the log as it is served now; nothing is sent again.
pub fn hold_entries(served: &Served, all: &Seen, place: &str) {
    let (entries, tree) = served_log(served, place);
    assert_each_once(&entries, &tree, all, place);
}

/// What was answered stands under its index, no request stands twice, none stands that was refused.
fn assert_each_once(entries: &[Vec<u8>], tree: &Tree, all: &Seen, place: &str) {
    let mut times = HashMap::new();
    for bytes in entries {
        let entry = pourbook::record::read(bytes).unwrap();
        *times.entry(entry.payload.jti).or_insert(0) += 1;
    }
    assert!(
        times.values().all(|count| *count == 1),
        "{place}: a request stands twice"
    );
    for sent in &all.sent {
        match &sent.answer {
            Answer::Recorded(index, leaf, _) => {
                let stands = tree.leaf(*index).map(|leaf| leaf.to_base64url());
                assert_eq!(stands.as_ref(), Some(leaf), "{place}: {} was answered", sent.key);
                assert!(
                    times.contains_key(&sent.key),
                    "{place}: {} was answered",
                    sent.key
                );
            }
            Answer::Refused(_) => assert!(
                !times.contains_key(&sent.key),
                "{place}: {} was refused",
                sent.key
            ),
            Answer::None => {}
        }
    }
}

pub fn audit(what: &str, place: &str) {
    let output = run(&["audit", what]);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{place}: {told}");
}

/// Starts the book again, holds everything against it, and stops it; then audits the folder.
pub fn look_again(dir: &Path, keyring: &Keyring, all: &mut Seen, place: &str) {
    all.repeated = 0;
    let served = Served::start(dir);
    look(&served, keyring, all, place);
    served.stop();
    // What was sent again by the last look is released by now.
    let served = Served::start(dir);
    look(&served, keyring, all, place);
    audit(&served.address, place);
    served.stop();
    audit(dir.to_str().unwrap(), place);
}

/// The rows of a list.
pub fn list(served: &Served, token: &str, path: &str) -> Vec<Value> {
    let agent = ureq::Agent::new_with_defaults();
    let reply = agent
        .get(format!("{}{path}", served.address))
        .header("authorization", format!("Bearer {token}"))
        .call();
    let text = reply.unwrap().body_mut().read_to_string().unwrap();
    let body: Value = serde_json::from_str(&text).unwrap();
    body["items"].as_array().unwrap().clone()
}

/// Opens the desk of a book that nobody serves.
pub fn desk(dir: &Path) -> Desk {
    open_desk(&BookFolder::at(dir)).unwrap()
}

/// Records scales in one turn, other ones for each seed.
pub fn register_scales(desk: &mut Desk, seed: u8, count: usize) -> Result<Vec<Recorded>, StoreError> {
    let mut draw = Draw::new([seed; 32]);
    let submissions = (0..count).map(|_| Submission {
        request: draw.uuid(),
        by: OperatorId(Uuid::from_u128(7)),
        at: None,
        expected: Vec::new(),
        ask: Ask::Command(shop::scale().into()),
    });
    let submissions: Vec<Submission> = submissions.collect();
    let now = Timestamp(FOUNDED + 60 * i64::from(seed));
    let outcomes = desk.turn(now, draw.bytes(), submissions)?;
    Ok(outcomes.into_iter().map(Result::unwrap).collect())
}

/// Records scales in a book that nobody serves, as one group, and releases the checkpoint.
pub fn record(dir: &Path, seed: u8, count: usize) {
    let mut desk = desk(dir);
    register_scales(&mut desk, seed, count).unwrap();
    desk.release().unwrap();
}

/// A copy of a folder with all that is in it.
pub fn copy_folder(from: &Path, to: &Path) {
    for (path, bytes) in files_under(from) {
        let copy = to.join(path.strip_prefix(from).unwrap());
        std::fs::create_dir_all(copy.parent().unwrap()).unwrap();
        std::fs::write(&copy, bytes).unwrap();
        let mode = std::fs::metadata(&path).unwrap().permissions();
        std::fs::set_permissions(&copy, mode).unwrap();
    }
}

/// All files under a folder.
pub fn files_under(dir: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files_under(&path));
        } else {
            let bytes = std::fs::read(&path).unwrap();
            found.insert(path, bytes);
        }
    }
    found
}
