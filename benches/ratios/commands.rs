//! The rows of durable commands over HTTP: how many, how late at half the peak, and what processor time one of them costs.
//!
//! A command weighs a tray of one piece. Every peer gets rows that are as long as the entry of such a command with its private
//! records, and as many clients as it is fastest with.

use super::books::{beside_the_build, found_at, token};
use super::client::load;
use super::open_loop::{open_loop, p99};
use super::peers::{Flushed, Sqlite, text};
use super::postgres::Cluster;
use super::server::Server;
use super::shop::{PIECES, Shop};
use super::table::{Asked, ROUNDS, Taken, bound, rate, row, scaled, skipped};
use super::turns::appended_syncs;
use ed25519_dalek::{Signer as _, SigningKey};
use pourbook::domain::*;
use pourbook::node::open_desk;
use std::hint::black_box;
use std::time::Duration;

/// Commands of one measurement.
const COMMANDS: usize = 12_000;
/// Commands before anything is measured, as the peers are tried before.
const WARMING: usize = 4_000;
/// Seconds of one open loop, and its connections.
const OPEN_SECONDS: usize = 3;
const OPEN_CONNECTIONS: usize = 64;
/// Commands a second that an open loop may come to at most.
const OPEN_RATE_MAX: usize = 12_000;
/// How long the server may go on writing behind the last command: views and tiles, once a second each.
const BEHIND: Duration = Duration::from_secs(3);
/// Signatures of one measurement.
const SIGNATURES: usize = 20_000;
const WORK: &str = "durable commands over HTTP";

/// A served book with pieces that wait to be weighed.
pub struct Commanded {
    pub server: Server,
    waiting: std::vec::IntoIter<PieceId>,
    session: SessionId,
    token: String,
    draw: Draw,
    _dir: tempfile::TempDir,
    /// Bytes of the entry of one command, and with its private records.
    pub entry: usize,
    bytes: usize,
}

impl Commanded {
    /// With so many pieces.
    pub fn start(wanted: usize) -> Self {
        let dir = beside_the_build();
        let folder = found_at(&dir.path().join("book"));
        let mut shop = Shop::begin(open_desk(&folder).unwrap(), Draw::new([8; 32]));
        shop.turn = 2_048;
        let mut waiting = shop.pour((wanted + 1).div_ceil(PIECES)).into_iter();
        let weighing = shop.weighing(waiting.next().unwrap());
        let submission = shop.submission(weighing);
        let index = shop.turn(vec![submission])[0].index;
        let store = shop.desk.store();
        let entry = store.read(index).unwrap().unwrap().len();
        let private: usize = store
            .private(index)
            .unwrap()
            .iter()
            .map(|record| record.body.len())
            .sum();
        let (session, token) = (shop.session, token(&folder));
        shop.desk.release().unwrap();
        drop(shop.desk);
        drop(store);
        Self {
            server: Server::start("book", folder.path()),
            waiting,
            session,
            token,
            draw: shop.draw,
            _dir: dir,
            entry,
            bytes: entry + private,
        }
    }

    pub fn requests(&mut self, count: usize) -> Vec<Vec<u8>> {
        let pieces: Vec<_> = self.waiting.by_ref().take(count).collect();
        assert_eq!(pieces.len(), count, "enough pieces were poured");
        let weigh = |piece| weighing(self.session, piece, &self.token, &mut self.draw);
        pieces.into_iter().map(weigh).collect()
    }

    /// Commands a second, and the processor time of the server for one, microseconds: writer, views, tiles,
    /// the rest.
    fn commands(&mut self, connections: usize) -> (f64, [f64; 4]) {
        let requests = self.requests(scaled(COMMANDS));
        let before = self.server.cpu();
        let rate = load(self.server.address, connections, &requests, 201).rate;
        // What is written behind the commands is counted with them.
        std::thread::sleep(BEHIND);
        let after = self.server.cpu();
        let used = std::array::from_fn(|i| (after[i] - before[i]) / requests.len() as f64);
        (rate, used)
    }
}

/// The request that weighs one piece fresh from the mould.
pub fn weighing(session: SessionId, piece: PieceId, token: &str, draw: &mut Draw) -> Vec<u8> {
    let body = format!(
        r#"{{"session":"{session}","stage":"from_mould","items":[{{"piece":"{piece}","mass":"50.42","version":1}}]}}"#
    );
    format!(
        "POST /v1/weighings HTTP/1.1\r\nhost: book\r\nauthorization: Bearer {token}\r\nidempotency-key: \"{}\"\r\n\
         content-type: application/json\r\ncontent-length: {}\r\n\r\n{body}",
        draw.uuid(),
        body.len()
    )
    .into_bytes()
}

/// A peer by name, what it is to be beaten by, and how it does its work once more.
type Peer<'a> = (String, f64, Box<dyn FnMut() -> f64 + 'a>);

/// The peers that are to be had; the others are told as skipped.
fn peers<'a>(
    cluster: &'a Result<Cluster, String>,
    sqlite: &'a Result<Sqlite<'a>, String>,
    flushed: &'a Flushed,
    bytes: usize,
) -> Vec<Peer<'a>> {
    let mut peers: Vec<Peer> = Vec::new();
    match cluster {
        Ok(cluster) => {
            for (table, says, asked, tried) in [
                ("plain", "one-row inserts", 1.5, [32, 64, 128]),
                ("chained", "the same, hash chained in a trigger", 12.0, [1, 4, 16]),
            ] {
                let clients = cluster.best(table, &tried);
                let name = format!("PostgreSQL, {says}, {bytes} bytes, {clients} clients");
                peers.push((
                    name,
                    asked,
                    Box::new(move || cluster.inserts(table, clients).unwrap()),
                ));
            }
        }
        Err(why) => skipped(WORK, why),
    }
    match sqlite {
        Ok(sqlite) => {
            let name = format!("SQLite, WAL, synchronous=FULL, one-row transactions, {bytes} bytes");
            peers.push((name, 4.0, Box::new(|| sqlite.inserts())));
        }
        Err(why) => skipped(WORK, why),
    }
    let threads = flushed.best();
    let name = format!("sled, flushed after each insert, {bytes} bytes, {threads} threads");
    peers.push((name, 3.0, Box::new(move || flushed.inserts(threads))));
    peers
}

/// Microseconds of one signature over so many bytes.
fn signing(bytes: usize) -> f64 {
    let key = SigningKey::from_bytes(&[2; 32]);
    let body = text(bytes).into_bytes();
    1e6 / rate(scaled(SIGNATURES), || {
        for _ in 0..scaled(SIGNATURES) {
            black_box(key.sign(black_box(&body)));
        }
    })
}

pub fn rows() {
    let mut book = Commanded::start(scaled(
        WARMING + ROUNDS * (2 * COMMANDS + OPEN_SECONDS * OPEN_RATE_MAX),
    ));
    let others = beside_the_build();
    let cluster = Cluster::start(book.bytes);
    let sqlite = Sqlite::start(others.path(), book.bytes);
    let flushed = Flushed::start(others.path(), book.bytes);
    let mut peers = peers(&cluster, &sqlite, &flushed, book.bytes);
    let warming = book.requests(scaled(WARMING));
    load(book.server.address, 64, &warming, 201);
    let mut ours = [32, 128].map(|connections| (connections, Taken(Vec::new())));
    let mut theirs = vec![Taken(Vec::new()); peers.len()];
    let (mut used, mut parts, mut signed) = (Taken(Vec::new()), [0.0; 4], Taken(Vec::new()));
    for _ in 0..ROUNDS {
        for (connections, taken) in &mut ours {
            let (rate, cpu) = book.commands(*connections);
            taken.0.push(rate);
            if *connections == 128 {
                used.0.push(cpu.iter().sum());
                parts = std::array::from_fn(|i| parts[i] + cpu[i] / ROUNDS as f64);
            }
        }
        for ((_, _, peer), taken) in peers.iter_mut().zip(&mut theirs) {
            taken.0.push(peer());
        }
        // What is signed of an entry is all but its signature of 86 characters and the point before it.
        signed.0.push(signing(book.entry - 87));
    }
    for ((peer, asked, _), theirs) in peers.iter().zip(&theirs) {
        for (connections, taken) in &ours {
            let work = format!("{WORK}, {connections} connections");
            row(
                &work,
                peer,
                " /s",
                &(taken.clone(), theirs.clone()),
                Asked::AtLeast(*asked),
            );
        }
    }
    row(
        "processor time of one command, all threads of the server",
        &format!("Ed25519 signing of {} bytes", book.entry - 87),
        " us",
        &(used, signed),
        Asked::AtMost(2.5),
    );
    let [writer, views, tiles, rest] = parts;
    let told =
        format!("writer {writer:.0}, views {views:.0}, tiles {tiles:.1}, handlers and the rest {rest:.0} us");
    bound("of which", &told, "");
    if let Ok(cluster) = &cluster {
        cluster.holds().unwrap();
    }
    late(&mut book, ours[1].1.median() / 2.0);
}

/// How late replies come at such a rate, against one sync.
fn late(book: &mut Commanded, rate: f64) {
    let rate = rate.min(OPEN_RATE_MAX as f64);
    let folder = beside_the_build();
    let (mut ours, mut syncs) = (Taken(Vec::new()), Taken(Vec::new()));
    for round in 0..ROUNDS {
        let requests = book.requests(scaled(rate as usize * OPEN_SECONDS));
        let took = open_loop(book.server.address, OPEN_CONNECTIONS, &requests, rate, 201);
        ours.0.push(p99(&took) * 1e3);
        let took = appended_syncs(&folder.path().join(format!("appended{round}")));
        syncs.0.push(p99(&took) * 1e3);
    }
    row(
        &format!("{WORK}, open loop at half the peak ({rate:.0} /s), p99 from when they were due"),
        "one fdatasync of 4 KiB that were appended, p99",
        " ms",
        &(ours, syncs),
        Asked::AtMost(10.0),
    );
}
