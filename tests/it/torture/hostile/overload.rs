//! Three times as many commands as the server can record, for ten minutes (`TORTURE=long`; else ten seconds): what it takes it
//! keeps, the rest is told to come again, its memory does not grow beyond what the book itself needs, and it is well at once
//! when it is over.

use super::siege::{Others, Siege, memory};
use super::wire::{attacker, connect};
use crate::torture::clients::{Answer, Seen, Sent, audit, hold_entries};
use crate::torture::is_long;
use pourbook::config::Load;
use pourbook::domain::Draw;
use serde_json::Value;
use std::net::SocketAddr;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use uuid::Uuid;

const JAR: &str = r#"{"metal":"silver","fineness":"999","residue":"lemel"}"#;
/// Connections by which it is measured what the server can do.
const CALM: usize = 12;
/// Connections that ask for more, and commands that may wait: fewer.
const EAGER: usize = 120;
const WAITING: usize = 4;
const TIMES: f64 = 3.0;
/// How much more memory the process may have than one that opens the same book, MiB.
const GROWTH_MAX: u64 = 96;

/// A client that keeps its connection.
struct Client {
    stream: TcpStream,
    bearer: String,
    draw: Draw,
    sent: Vec<Sent>,
    refused: usize,
    asked: usize,
}

impl Client {
    async fn connect(number: usize, at: SocketAddr, token: &str) -> Client {
        let mut seed = [0; 32];
        seed[..8].copy_from_slice(&(number as u64).to_le_bytes());
        seed[8..24].copy_from_slice(
            &std::time::SystemTime::now()
                .duration_since(std::time::UNIX_EPOCH)
                .unwrap()
                .as_nanos()
                .to_le_bytes(),
        );
        Client {
            stream: connect(attacker(number), at).await.unwrap(),
            bearer: token.to_owned(),
            draw: Draw::new(seed),
            sent: Vec::new(),
            refused: 0,
            asked: 0,
        }
    }

    /// One command, and what it came to. Anything but 201 and 503 with Retry-After is a failure.
    async fn command(&mut self) {
        let key = self.draw.uuid();
        let request = format!(
            "POST /v1/jars HTTP/1.1\r\nhost: book\r\nauthorization: Bearer {}\r\nidempotency-key: {key}\r\n\
             content-type: application/json\r\ncontent-length: {}\r\n\r\n{JAR}",
            self.bearer,
            JAR.len()
        );
        self.stream.write_all(request.as_bytes()).await.unwrap();
        let (status, head, body) = self.reply().await;
        self.asked += 1;
        match status {
            201 => self.sent.push(recorded(key, &body)),
            503 => {
                assert!(head.contains("retry-after: "), "{head}");
                self.refused += 1;
            }
            other => panic!("{other}: {head}{}", String::from_utf8_lossy(&body)),
        }
    }

    /// Reads the whole list of jars, page by page; how many there are.
    async fn list_jars(&mut self) -> usize {
        let mut count = 0;
        let mut after = String::new();
        loop {
            let request = format!(
                "GET /v1/jars?limit=200{after} HTTP/1.1\r\nhost: book\r\nauthorization: Bearer {}\r\n\r\n",
                self.bearer
            );
            self.stream.write_all(request.as_bytes()).await.unwrap();
            let (status, head, body) = self.reply().await;
            assert_eq!(status, 200, "{head}{}", String::from_utf8_lossy(&body));
            let page: Value = serde_json::from_slice(&body).unwrap();
            count += page["items"].as_array().unwrap().len();
            let Some(next) = page["next"].as_str() else {
                return count;
            };
            after = format!("&after={next}");
        }
    }

    async fn reply(&mut self) -> (u16, String, Vec<u8>) {
        let mut got = Vec::new();
        let mut part = [0; 4_096];
        loop {
            let count = self.stream.read(&mut part).await.unwrap();
            assert!(count > 0, "the server closed: {}", String::from_utf8_lossy(&got));
            got.extend_from_slice(&part[..count]);
            // By the standard library's own search, which is quick in every build: who asks so much must be.
            let text = std::str::from_utf8(&got).unwrap();
            let Some((head, body)) = text.split_once("\r\n\r\n") else {
                continue;
            };
            let (_, length) = head.split_once("content-length: ").unwrap();
            let length: usize = length.split("\r\n").next().unwrap().parse().unwrap();
            if body.len() >= length {
                let status = head.split(' ').nth(1).unwrap().parse().unwrap();
                return (status, head.to_owned(), body.as_bytes().to_vec());
            }
        }
    }
}

fn recorded(key: Uuid, body: &[u8]) -> Sent {
    let body: Value = serde_json::from_slice(body).unwrap();
    let leaf = body["leaf"].as_str().unwrap().to_owned();
    Sent::answered(
        key,
        Answer::Recorded(body["index"].as_u64().unwrap(), leaf, Value::Null),
    )
}

/// Clients that ask one after the other, or at a rate in all, for some time.
async fn load(clients: Vec<Client>, rate: Option<f64>, time: Duration) -> Vec<Client> {
    let begun = Instant::now();
    let every = rate.map(|rate| Duration::from_secs_f64(clients.len() as f64 / rate));
    let mut set = JoinSet::new();
    for (number, mut client) in clients.into_iter().enumerate() {
        set.spawn(async move {
            // Not all at the same moment.
            let mut next = begun + every.unwrap_or_default().mul_f64(number as f64 / EAGER as f64);
            while begun.elapsed() < time {
                if let Some(every) = every {
                    tokio::time::sleep_until(next.into()).await;
                    next += every;
                }
                client.command().await;
            }
            client
        });
    }
    set.join_all().await
}

#[test]
fn overloaded_three_times_it_loses_nothing_and_does_not_grow() {
    let time = Duration::from_secs(if is_long() { 600 } else { 10 });
    let siege = Siege::lay(Load {
        commands_waiting: WAITING,
        connections_per_address: 0,
        ..Load::default()
    });
    let (at, token, number) = (siege.at, siege.token.clone(), siege.served.number());
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let connected = |first: usize, count: usize| {
        let token = token.clone();
        async move {
            let mut clients = Vec::new();
            for number in first..first + count {
                clients.push(Client::connect(number, at, &token).await);
            }
            clients
        }
    };
    let calm = Duration::from_secs(3);
    let clients = runtime.block_on(connected(0, CALM));
    let clients = runtime.block_on(load(clients, None, calm));
    let of_calm: usize = clients.iter().map(|client| client.sent.len()).sum();
    let can = of_calm as f64 / calm.as_secs_f64();
    let mut seen: Vec<Sent> = clients.into_iter().flat_map(|client| client.sent).collect();

    let before = memory(number, "VmRSS");
    let others = Others::reading(&siege);
    let eager = runtime.block_on(connected(CALM, EAGER));
    let begun = Instant::now();
    let eager = runtime.block_on(load(eager, Some(can * TIMES), time));
    let took = begun.elapsed().as_secs_f64();
    let asked: usize = eager.iter().map(|client| client.asked).sum();
    let refused: usize = eager.iter().map(|client| client.refused).sum();
    seen.extend(eager.into_iter().flat_map(|client| client.sent));
    let others = others.end();
    let well = siege.recovers();
    let peak = memory(number, "VmHWM");
    let after = memory(number, "VmRSS");

    // A checkpoint is released once a second.
    std::thread::sleep(Duration::from_secs(2));
    // Everything that was answered, against the log as it is served and as it is opened again.
    let seen = Seen::of(seen);
    hold_entries(&siege.served, &seen, "overloaded");
    let Siege { served, folder, .. } = siege;
    let dir = folder.path().join("book");
    served.stop();
    let served = crate::log::served::Served::start(&dir);
    // The one that was busy has filled what the views may hold in memory: so does the other, before they are compared.
    let again = served.address.strip_prefix("http://").unwrap().parse().unwrap();
    let listed = runtime.block_on(async { Client::connect(0, again, &token).await.list_jars().await });
    assert!(listed >= seen.answered(), "{listed} jars are listed");
    std::thread::sleep(Duration::from_secs(1));
    let opened = memory(served.number(), "VmRSS");
    hold_entries(&served, &seen, "opened again");
    served.stop();
    audit(dir.to_str().unwrap(), "overloaded");
    println!(
        "overload for {took:.0} s: {can:.0} commands a second when calm, {:.0} asked for ({:.1} times), {:.0} recorded, {refused} \
         told to come again; {} acknowledged, 0 lost; memory {before} ^ {peak} > {after} MiB, opened anew {opened}; others {}; \
         well after {:.1} s",
        asked as f64 / took,
        asked as f64 / took / can,
        (asked - refused) as f64 / took,
        seen.answered(),
        others.told(),
        well.as_secs_f64()
    );
    others.hold("overload");
    assert!(refused > 0, "nobody was told to come again: it was no overload");
    // What it records under load is what it can: on a small machine the clients take their part of it.
    let recorded = asked - refused;
    assert!(
        asked as f64 >= 0.8 * TIMES * recorded as f64,
        "{asked} commands were asked for, and {recorded} recorded"
    );
    assert!(
        after <= opened + GROWTH_MAX,
        "{after} MiB, and {opened} for the same book opened anew"
    );
    assert!(well < Duration::from_secs(5), "well only after {well:?}");
}
