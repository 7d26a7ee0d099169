//! Connections that cost the attacker nothing: slow, half open, idle, many, and such that take nothing of what they are sent.

use super::siege::{Siege, counted, open_files, short};
use super::wire::{Reply, attacker, connect, exchange, heard_within, request};
use crate::torture::is_long;
use pourbook::config::Load;
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tokio::time::sleep;

/// Between two bytes of somebody who is slow.
const DRIP: Duration = Duration::from_millis(100);
/// By how much a patience may be exceeded: the server looks now and then, and this machine is busy.
pub const LATE: Duration = Duration::from_secs(4);

pub fn many() -> usize {
    if is_long() { 1_000 } else { 150 }
}

/// Runs so many attackers at once and hears what each was told.
pub async fn all<F, T>(count: usize, of: impl Fn(usize) -> F) -> Vec<T>
where
    F: Future<Output = T> + Send + 'static,
    T: Send + 'static,
{
    let mut set = JoinSet::new();
    for number in 0..count {
        set.spawn(of(number));
    }
    set.join_all().await
}

/// Sends a byte now and then until the other side has had enough, and hears what it said; none where it put up with it.
pub async fn drip<S: AsyncRead + AsyncWrite + Unpin>(
    mut stream: S,
    bytes: &'static [u8],
    patience: Duration,
) -> Option<Reply> {
    let begun = Instant::now();
    let mut said = Vec::new();
    let mut part = [0; 1_024];
    for byte in bytes.iter().cycle() {
        tokio::select! {
            came = stream.read(&mut part) => match came {
                Ok(count) if count > 0 => said.extend_from_slice(&part[..count]),
                _ => return Some(Reply(said)),
            },
            () = sleep(DRIP) => {
                if stream.write_all(&[*byte]).await.is_err() || stream.flush().await.is_err() {
                    return Some(Reply(said));
                }
            }
        }
        if begun.elapsed() > patience {
            return None;
        }
    }
    None
}

/// Begins a head and never ends it; what it is told.
pub async fn drip_head<S: AsyncRead + AsyncWrite + Unpin>(mut stream: S, patience: Duration) -> Reply {
    let begun = b"GET /healthz HTTP/1.1\r\nhost: book\r\nx: ";
    stream.write_all(begun).await.unwrap();
    drip(stream, b"a", patience)
        .await
        .expect("a head may drip for ever")
}

/// Asks once, and then nothing more; what it is told until it is closed.
pub async fn ask_once<S: AsyncRead + AsyncWrite + Unpin>(mut stream: S, patience: Duration) -> Reply {
    let whole = b"GET /healthz HTTP/1.1\r\nhost: book\r\n\r\n";
    stream.write_all(whole).await.unwrap();
    heard_within(&mut stream, patience).await
}

/// Waits until the server holds no more files than these, as when everybody was closed.
pub async fn until_closed(number: u32, files: usize) {
    let begun = Instant::now();
    while open_files(number) > files {
        assert!(
            begun.elapsed() < Duration::from_secs(90),
            "they are still connected"
        );
        sleep(Duration::from_millis(200)).await;
    }
}

#[test]
fn a_head_that_drips_is_ended_also_behind_a_first_request() {
    let load = short();
    let siege = Siege::lay(load);
    let (at, patience) = (siege.at, Duration::from_secs(load.request_seconds) + LATE);
    let told = siege.row("heads, a byte at a time", 40, async move {
        let replies = all(many(), move |number| async move {
            drip_head(connect(attacker(number), at).await.unwrap(), patience).await
        });
        counted(replies.await)
    });
    assert_eq!(told, BTreeMap::from([("408".to_owned(), many())]));
    let told = siege.row("the same, as a second request", 40, async move {
        let replies = all(many(), move |number| async move {
            let mut stream = connect(attacker(number), at).await.unwrap();
            let first = b"GET /healthz HTTP/1.1\r\nhost: book\r\n\r\nGET /healthz HTTP/1.1\r\nx: ";
            stream.write_all(first).await.unwrap();
            let reply = drip(stream, b"a", patience)
                .await
                .expect("a second head may drip for ever");
            let [200, last] = reply.statuses()[..] else {
                panic!("{}", reply.text());
            };
            Reply(format!("HTTP/1.1 {last} ").into_bytes())
        });
        counted(replies.await)
    });
    assert_eq!(told, BTreeMap::from([("408".to_owned(), many())]));
    siege.end();
}

#[test]
fn a_body_that_drips_is_ended() {
    let load = short();
    let siege = Siege::lay(load);
    let (at, patience) = (siege.at, Duration::from_secs(load.body_seconds) + LATE);
    let told = siege.row("bodies, a byte at a time", 40, async move {
        let replies = all(many(), move |number| async move {
            let mut stream = connect(attacker(number), at).await.unwrap();
            let head =
                b"POST /v1/calculations/convert HTTP/1.1\r\nhost: book\r\ncontent-type: application/json\r\n\
                content-length: 2000\r\n\r\n{";
            stream.write_all(head).await.unwrap();
            let reply = drip(stream, b" ", patience)
                .await
                .expect("a body may drip for ever");
            assert!(
                reply.text().contains("/problems/body-too-slow"),
                "{}",
                reply.text()
            );
            reply
        });
        counted(replies.await)
    });
    assert_eq!(told, BTreeMap::from([("408".to_owned(), many())]));
    siege.end();
}

/// Who closes his side is answered what he asked, and closed; who stops in the middle, or asks nothing more, is closed in time.
#[test]
fn connections_that_are_half_open_are_closed() {
    let load = short();
    let siege = Siege::lay(load);
    let (at, patience) = (siege.at, Duration::from_secs(load.idle_seconds) + LATE);
    let told = siege.row("half-open connections", 40, async move {
        let replies = all(many(), move |number| async move {
            let mut stream = connect(attacker(number), at).await.unwrap();
            let whole = b"GET /healthz HTTP/1.1\r\nhost: book\r\n\r\n";
            let (sent, closes) = match number % 3 {
                0 => (&whole[..], true),
                1 => (&whole[..20], true),
                _ => (&whole[..], false),
            };
            stream.write_all(sent).await.unwrap();
            if closes {
                stream.shutdown().await.unwrap();
            }
            let reply = heard_within(&mut stream, patience).await;
            assert_eq!(reply.status() == Some(200), number % 3 != 1, "{}", reply.text());
            reply
        });
        counted(replies.await)
    });
    assert_eq!(told["200"] + told["closed"], many());
    siege.end();
}

/// Whoever is sent something and takes nothing of it is closed, and holds no more than what was under way to him.
#[test]
fn whoever_takes_nothing_of_what_he_is_sent_is_closed() {
    let siege = Siege::lay(short());
    let (at, number) = (siege.at, siege.served.number());
    let count = many() / 3;
    siege.row("readers that take nothing", 120, async move {
        let before = open_files(number);
        let mut open = Vec::new();
        for reader in 0..count {
            let mut stream = connect(attacker(reader), at).await.unwrap();
            // Far more than the system holds for a connection on both sides.
            let asked = b"GET /openapi.yaml HTTP/1.1\r\nhost: book\r\n\r\n".repeat(60);
            stream.write_all(&asked).await.unwrap();
            open.push(stream);
        }
        sleep(Duration::from_millis(500)).await;
        assert!(open_files(number) >= before + count / 2, "they are connected");
        until_closed(number, before + 5).await;
        assert_eq!(open.len(), count);
        BTreeMap::from([("ended".to_owned(), count)])
    });
    siege.end();
}

/// Opens silent connections one after the other, as many as the system gives.
pub async fn silent(count: usize, every: Duration, at: SocketAddr) -> Vec<TcpStream> {
    let mut open = Vec::new();
    for number in 0..count {
        match connect(attacker(number), at).await {
            Ok(stream) => {
                open.push(stream);
                sleep(every).await;
            }
            Err(why) => {
                println!(
                    "only {} of {count} connections could be opened here: {why}",
                    open.len()
                );
                break;
            }
        }
    }
    open
}

/// Which of them the server has not ended.
pub fn still_open(streams: &[TcpStream]) -> usize {
    let mut byte = [0];
    let is_open = |stream: &&TcpStream| {
        let read = stream.try_read(&mut byte);
        read.is_err_and(|why| why.kind() == std::io::ErrorKind::WouldBlock)
    };
    streams.iter().filter(is_open).count()
}

#[test]
fn as_many_idle_connections_as_are_stated_are_held_and_others_are_served() {
    let count = if is_long() { 10_000 } else { 1_500 };
    let load = Load {
        connections: count + 20,
        request_seconds: 120,
        idle_seconds: 120,
        ..short()
    };
    let siege = Siege::lay(load);
    let (at, number) = (siege.at, siege.served.number());
    let told = siege.row(
        &format!("{count} idle connections"),
        40 + count as u64 * 24 / 1024,
        async move {
            let open = silent(count, Duration::ZERO, at).await;
            sleep(Duration::from_secs(if is_long() { 30 } else { 2 })).await;
            let held = still_open(&open);
            assert_eq!(held, open.len(), "some were ended");
            assert!(open_files(number) >= held);
            BTreeMap::from([("held".to_owned(), held)])
        },
    );
    assert!(told["held"] > 0);
    siege.end();
}

/// Where all places are taken by silence, the silent go, and whoever asks something comes in.
#[test]
fn silence_keeps_nobody_out() {
    let load = Load {
        connections: 200,
        request_seconds: 120,
        idle_seconds: 120,
        ..short()
    };
    let siege = Siege::lay(load);
    let (at, number) = (siege.at, siege.served.number());
    let told = siege.row("more idle ones than places (200)", 40, async move {
        let first = silent(190, Duration::ZERO, at).await;
        sleep(Duration::from_secs(2)).await;
        let more = silent(400, Duration::from_millis(10), at).await;
        sleep(Duration::from_secs(2)).await;
        let (first, more) = (still_open(&first), still_open(&more));
        assert!(first + more <= 200, "{first} and {more} are held");
        assert!(open_files(number) < 200 + 150);
        BTreeMap::from([
            ("held".to_owned(), first + more),
            ("turned away".to_owned(), 590 - first - more),
        ])
    });
    assert!(told["held"] > 100, "{told:?}");
    siege.end();
}

#[test]
fn one_address_has_its_share_of_the_places() {
    let load = Load {
        connections_per_address: 50,
        request_seconds: 120,
        idle_seconds: 120,
        ..short()
    };
    let siege = Siege::lay(load);
    let at = siege.at;
    let told = siege.row("150 connections of one address", 40, async move {
        let mut open = Vec::new();
        for _ in 0..50 {
            open.push(connect(attacker(0), at).await.unwrap());
        }
        sleep(Duration::from_millis(300)).await;
        let refused = all(100, move |_| async move {
            exchange(attacker(0), at, &request("GET", "/healthz", &[], b"")).await
        });
        let told = counted(refused.await);
        assert_eq!(still_open(&open), 50);
        told
    });
    assert_eq!(told, BTreeMap::from([("503".to_owned(), 100)]));
    siege.end();
}

/// Where the system gives few open files, fewer connections are held, and the book never lacks a file: what is recorded is
/// recorded, in a new segment too.
#[test]
fn connections_never_take_the_files_of_the_book() {
    let few = ["sh", "-c", "ulimit -n 1000 && exec \"$@\"", "sh"];
    let load = Load {
        request_seconds: 120,
        idle_seconds: 120,
        ..short()
    };
    let siege = Siege::lay_under(&few, load);
    assert!(
        siege.served.told().contains("have 1000 files open"),
        "{}",
        siege.served.told()
    );
    let (at, number) = (siege.at, siege.served.number());
    let told = siege.row("800 connections, 1,000 open files", 60, async move {
        let open = silent(800, Duration::from_millis(10), at).await;
        sleep(Duration::from_secs(2)).await;
        let held = still_open(&open);
        assert!(open_files(number) < 700, "{} files are open", open_files(number));
        BTreeMap::from([
            ("held".to_owned(), held),
            ("turned away".to_owned(), open.len() - held),
        ])
    });
    assert!((100..=232).contains(&told["held"]), "{told:?}");
    siege.end();
}
