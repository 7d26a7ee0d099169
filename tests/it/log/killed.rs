//! The built program, killed at random moments while clients give it commands, and started again.
//!
//! After each start: what was answered with 201 stands under the same index with the same leaf hash, repeating its key
//! gives the same answer, what was sent without an answer can be sent again and stands once, every checkpoint that was
//! ever shown is one that the tree went through, the views have what was recorded (also after `derived/` was deleted), and
//! an audit accepts.
//!
//! SIGKILL ends the process, not the machine: what was written can still be read, whether it was synced or not. Lost
//! power is what `simulation` and `log::crash` are for. A failure names its seed: `SEED=<n>` begins in the same way (the
//! system's scheduling differs each time), `SLOW=1` kills many more times.

use super::served::{Served, found_book, run};
use pourbook::domain::Draw;
use pourbook::proof::{Checkpoint, Tree, leaf_hash, tile};
use serde_json::{Value, json};
use std::collections::{BTreeSet, HashMap};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, SystemTime};
use uuid::Uuid;

const CLIENTS: u8 = 4;

/// One request, and what came back.
#[derive(Clone, Debug)]
struct Sent {
    key: Uuid,
    path: &'static str,
    body: Value,
    /// Index, leaf and events of a 201.
    answer: Option<(u64, String, Value)>,
    location: String,
}

/// What the clients of one life of the server saw.
#[derive(Default)]
struct Seen {
    sent: Vec<Sent>,
    checkpoints: BTreeSet<String>,
    /// How many of what was sent have been sent again since.
    repeated: usize,
}

struct Client {
    agent: ureq::Agent,
    address: String,
    token: String,
    draw: Draw,
    scales: Vec<String>,
}

impl Client {
    fn new(served: &Served, token: &str, draw: Draw) -> Client {
        let agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .timeout_global(Some(Duration::from_secs(20)))
            .build();
        Client {
            agent: agent.into(),
            address: served.address.clone(),
            token: token.to_owned(),
            draw,
            scales: Vec::new(),
        }
    }

    fn command(&mut self) -> Sent {
        let turn = self.draw.bytes();
        // A scale is in one session at a time.
        let scale = turn[0].is_multiple_of(3).then(|| self.scales.pop()).flatten();
        let (path, body) = match (turn[0] % 3, scale) {
            (0, Some(scale)) => (
                "/v1/sessions",
                json!({"scale": scale, "nominal": "100.00", "reading": "100.00"}),
            ),
            (1, _) => (
                "/v1/jars",
                json!({"metal": "silver", "fineness": "999", "residue": "lemel"}),
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
            answer: None,
            location: String::new(),
        }
    }

    /// Sends a request; whether the server still answers. A refusal is a failure of the test.
    fn send(&mut self, sent: &mut Sent) -> bool {
        let request = self
            .agent
            .post(format!("{}{}", self.address, sent.path))
            .header("authorization", format!("Bearer {}", self.token))
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
                sent.answer = Some((body["index"].as_u64().unwrap(), leaf, body["events"].clone()));
                sent.location = location.unwrap();
                true
            }
            // The writer has ended, or its queue is full: nothing is promised.
            503 => false,
            other => panic!("{other} for {}: {body}", sent.path),
        }
    }

    /// Sends commands until the server is gone.
    fn work(mut self, seen: &Mutex<Seen>) {
        loop {
            let mut sent = self.command();
            let goes_on = self.send(&mut sent);
            if sent.path == "/v1/scales" && sent.answer.is_some() {
                self.scales
                    .extend(sent.location.rsplit('/').next().map(str::to_owned));
            }
            let checkpoint = self.agent.get(format!("{}/log/checkpoint", self.address)).call();
            let note = checkpoint
                .ok()
                .filter(|reply| reply.status() == 200)
                .and_then(|mut reply| reply.body_mut().read_to_string().ok());
            let mut seen = seen.lock().unwrap();
            seen.checkpoints.extend(note);
            seen.sent.push(sent);
            if !goes_on {
                return;
            }
        }
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

/// Everything that was ever said, held against a server that has just started.
fn look(served: &Served, token: &str, all: &mut Seen, place: &str) {
    let mut client = Client::new(served, token, Draw::new([0; 32]));
    let (checkpoint, entries) = entries(served);
    let mut tree = Tree::new();
    entries.iter().for_each(|entry| tree.push(leaf_hash(entry)));
    assert_eq!(
        (tree.size(), tree.root()),
        (checkpoint.size, checkpoint.root),
        "{place}"
    );
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
    for sent in &all.sent {
        let Some((index, leaf, _)) = &sent.answer else {
            continue;
        };
        let stands = tree.leaf(*index).map(|leaf| leaf.to_base64url());
        assert_eq!(stands.as_ref(), Some(leaf), "{place}: {} was answered", sent.key);
    }
    let before = std::mem::replace(&mut all.repeated, all.sent.len());
    for (nth, sent) in all.sent.iter_mut().enumerate() {
        // Of what was repeated after an earlier start a part will do, another one each time.
        let every = 9.max(before / 100);
        if nth < before && nth % every != before % every {
            continue;
        }
        let mut again = sent.clone();
        assert!(client.send(&mut again), "{place}");
        if sent.answer.is_some() {
            assert_eq!(
                again.answer, sent.answer,
                "{place}: {} answers otherwise",
                sent.key
            );
        }
        let reply = client
            .agent
            .get(format!("{}{}", client.address, again.location))
            .header("authorization", format!("Bearer {token}"));
        assert_eq!(reply.call().unwrap().status(), 200, "{place}: {}", again.location);
        *sent = again;
    }
}

/// No request stands twice.
fn assert_each_once(served: &Served, all: &Seen, place: &str) {
    let (_, entries) = entries(served);
    let mut times = HashMap::new();
    for bytes in &entries {
        let entry = pourbook::record::read(bytes).unwrap();
        *times.entry(entry.payload.jti).or_insert(0) += 1;
    }
    assert!(times.values().all(|count| *count == 1), "{place}");
    for sent in &all.sent {
        assert!(times.contains_key(&sent.key), "{place}: {}", sent.key);
    }
}

fn audit(what: &str, place: &str) {
    let output = run(&["audit", what]);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{place}: {told}");
}

/// One life: clients work, the server is killed. How many requests were answered.
fn live(dir: &Path, token: &str, draw: &mut Draw, all: &mut Seen, place: &str) -> usize {
    let served = Served::start(dir);
    look(&served, token, all, place);
    audit(&served.address, place);
    let seen = Arc::new(Mutex::new(Seen::default()));
    let clients: Vec<_> = (0..CLIENTS)
        .map(|_| {
            let client = Client::new(&served, token, Draw::new(draw.bytes()));
            let seen = Arc::clone(&seen);
            std::thread::spawn(move || client.work(&seen))
        })
        .collect();
    let moment = u64::from(u16::from_be_bytes([draw.bytes()[0], draw.bytes()[1]])) % 700;
    std::thread::sleep(Duration::from_millis(moment));
    served.kill();
    for client in clients {
        client
            .join()
            .unwrap_or_else(|_| panic!("{place}: a client failed"));
    }
    let seen = std::mem::take(&mut *seen.lock().unwrap());
    let answered = seen.sent.iter().filter(|sent| sent.answer.is_some()).count();
    all.sent.extend(seen.sent);
    all.checkpoints.extend(seen.checkpoints);
    answered
}

#[test]
fn a_book_whose_server_is_killed_keeps_what_it_answered() {
    let seed: u8 = std::env::var("SEED").map_or(1, |seed| seed.parse().unwrap());
    let kills = if std::env::var_os("SLOW").is_some() { 30 } else { 5 };
    println!("seed {seed}, {kills} kills");
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("book");
    let now = SystemTime::now()
        .duration_since(SystemTime::UNIX_EPOCH)
        .unwrap()
        .as_secs();
    let token = found_book(&dir, seed, i64::try_from(now).unwrap());
    let mut draw = Draw::new([seed; 32]);
    let (mut all, mut answered) = (Seen::default(), 0);
    for kill in 0..kills {
        let place = format!("seed {seed}, after {kill} kills");
        answered += live(&dir, &token, &mut draw, &mut all, &place);
        if kill % 3 == 1 {
            // What is derived is made again from the log.
            std::fs::remove_dir_all(dir.join("derived")).unwrap();
        }
        if kill % 2 == 1 {
            Served::start_and_kill(&dir, Duration::from_millis(u64::from(draw.bytes()[0]) / 2));
        }
    }
    let unanswered = all.sent.len() - answered;
    let place = format!("seed {seed}, at the end");
    let served = Served::start(&dir);
    all.repeated = 0;
    look(&served, &token, &mut all, &place);
    served.stop();
    // What was sent again by the last look is released by now.
    let served = Served::start(&dir);
    assert_each_once(&served, &all, &place);
    audit(&served.address, &place);
    served.stop();
    audit(dir.to_str().unwrap(), &place);
    println!(
        "{answered} answered, {unanswered} cut off, {} checkpoints",
        all.checkpoints.len()
    );
    assert!(
        answered > kills && unanswered > 0,
        "{answered} answered, {unanswered} cut off"
    );
}
