//! A book that is served over TLS: what its attackers can do that they cannot do without. Handshakes that stop, drip or come
//! without end, bytes that are no handshake, and the connections behind a handshake, which are held to the same patience.

use super::connections::{LATE, all, ask_once, drip, drip_head, many, silent, still_open, until_closed};
use super::siege::{Siege, counted, open_files, short};
use super::wire::{Reply, attacker, connect, connect_tls, exchange_tls, heard_within, request};
use crate::torture::is_long;
use pourbook::config::Load;
use rustls::pki_types::ServerName;
use rustls::{ClientConfig, ClientConnection};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::io::AsyncWriteExt;
use tokio::time::sleep;
use tokio_rustls::TlsConnector;

/// How long the server waits for a handshake.
const HANDSHAKE: Duration = Duration::from_secs(5);
/// A TLS record of the handshake that says it is the longest there is (RFC 8446, section 5.1), and a hello of 16 MiB in it.
const ENDLESS: &[u8] = b"\x16\x03\x01\x40\x00\x01\xff\xff\xff";

/// The first bytes of a handshake, as a library makes them.
fn hello(config: &Arc<ClientConfig>) -> Vec<u8> {
    let name = ServerName::try_from("localhost").unwrap();
    let mut connection = ClientConnection::new(Arc::clone(config), name).unwrap();
    let mut bytes = Vec::new();
    connection.write_tls(&mut bytes).unwrap();
    bytes
}

fn connector(siege: &Siege) -> TlsConnector {
    siege.tls.clone().unwrap()
}

/// Nobody who does not finish his handshake is waited for longer than the server says.
#[test]
fn a_handshake_that_stops_or_drips_is_ended() {
    let siege = Siege::lay_over_tls(short());
    let (at, patience) = (siege.at, HANDSHAKE + LATE);
    let hello: &'static [u8] = hello(connector(&siege).config()).leak();
    let told = siege.row("handshakes that stop", 40, async move {
        let replies = all(many(), move |number| async move {
            let sent = match number % 3 {
                0 => b"",
                1 => &hello[..hello.len() / 2],
                _ => hello,
            };
            let begun = Instant::now();
            let mut stream = connect(attacker(number), at).await.unwrap();
            stream.write_all(sent).await.unwrap();
            let reply = heard_within(&mut stream, patience).await;
            assert!(begun.elapsed() > Duration::from_secs(2), "it was not waited for");
            // Whoever has said his hello has heard the server's.
            assert_eq!(reply.0.is_empty(), number % 3 != 2);
            Reply::default()
        });
        counted(replies.await)
    });
    assert_eq!(told, BTreeMap::from([("closed".to_owned(), many())]));
    let told = siege.row("handshakes, a byte at a time", 40, async move {
        let replies = all(many(), move |number| async move {
            let stream = connect(attacker(number), at).await.unwrap();
            let bytes = if number % 2 == 0 { hello } else { ENDLESS };
            let reply = drip(stream, bytes, patience).await;
            assert!(reply.is_some(), "a handshake may drip for ever");
            Reply::default()
        });
        counted(replies.await)
    });
    assert_eq!(told, BTreeMap::from([("closed".to_owned(), many())]));
    siege.end();
}

/// Where all places are taken by handshakes that nobody goes on with, those go, and whoever makes his comes in.
#[test]
fn handshakes_that_stop_keep_nobody_out() {
    let load = Load {
        connections: 200,
        ..short()
    };
    let siege = Siege::lay_over_tls(load);
    let (at, number) = (siege.at, siege.served.number());
    let told = siege.row("more such than places (200)", 40, async move {
        let first = silent(190, Duration::ZERO, at).await;
        sleep(Duration::from_millis(1_500)).await;
        let more = silent(900, Duration::from_millis(10), at).await;
        let files = open_files(number);
        assert!(files < 200 + 150, "{files} files are open");
        let held = still_open(&first) + still_open(&more);
        assert!(held <= 200, "{held} are held");
        BTreeMap::from([
            ("held".to_owned(), held),
            ("turned away".to_owned(), 1_090 - held),
        ])
    });
    assert!(told["held"] > 100, "{told:?}");
    siege.end();
}

/// Whoever speaks something else at the port of TLS is closed at once, and the server's own log says nothing of it.
#[test]
fn what_is_no_handshake_is_closed_at_once() {
    let siege = Siege::lay_over_tls(short());
    let at = siege.at;
    let odd = vec![
        request("GET", "/healthz", &[], b""),
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n".to_vec(),
        vec![0; 100_000],
        vec![0xff; 100_000],
        // A hello of SSL 2.0, as browsers sent it before 2005 (RFC 6101, appendix E; from memory).
        b"\x80\x2e\x01\x00\x02\x00\x15\x00\x00\x00\x10".repeat(4),
        // An alert, application data and a change of cipher before any handshake.
        b"\x15\x03\x03\x00\x02\x01\x00".repeat(1_000),
        b"\x17\x03\x03\x00\x05aaaaa".repeat(1_000),
        b"\x14\x03\x03\x00\x01\x01".repeat(1_000),
        // A record that is longer than any may be, and a handshake that never was.
        [b"\x16\x03\x01\xff\xff".to_vec(), vec![1; 70_000]].concat(),
        b"\x16\x03\x01\x00\x04\xfe\x00\x00\x00".to_vec(),
        // A hello of 16 MiB, as it would go on.
        [
            ENDLESS.to_vec(),
            vec![0; 0x3ffc],
            b"\x16\x03\x01\x40\x00".to_vec(),
            vec![0; 200_000],
        ]
        .concat(),
        // Empty records of a handshake.
        b"\x16\x03\x01\x00\x00".repeat(20_000),
    ];
    let count = odd.len();
    let rounds = if is_long() { 100 } else { 10 };
    let told = siege.row("no handshakes", 40, async move {
        let mut replies = Vec::new();
        for round in 0..rounds {
            let odd = odd.clone();
            let told = all(count, move |number| {
                let sent = odd[number].clone();
                async move {
                    let begun = Instant::now();
                    let mut stream = connect(attacker(round * 20 + number), at).await.unwrap();
                    let _ = stream.write_all(&sent).await;
                    let reply = heard_within(&mut stream, HANDSHAKE + LATE).await;
                    let at_once = begun.elapsed() < Duration::from_secs(3);
                    assert!(at_once, "{number}: closed only after {:?}", begun.elapsed());
                    // An alert of seven bytes (RFC 8446, section 6) or nothing.
                    assert!(reply.0.len() <= 7, "{number}: {:?}", reply.0);
                    Reply::default()
                }
            });
            replies.extend(told.await);
        }
        counted(replies)
    });
    assert_eq!(told, BTreeMap::from([("closed".to_owned(), count * rounds)]));
    siege.end();
}

/// Handshakes without end cost the processor most; others get their turn.
#[test]
fn a_flood_of_handshakes_leaves_others_their_turn() {
    let siege = Siege::lay_over_tls(short());
    let (at, tls) = (siege.at, connector(&siege));
    let lasts = Duration::from_secs(if is_long() { 60 } else { 6 });
    let told = siege.row("whole handshakes, 32 at a time", 60, async move {
        let made = all(32, move |number| {
            let tls = tls.clone();
            async move {
                // Each as if nobody had been here before: nothing is resumed.
                let mut config = (**tls.config()).clone();
                config.resumption = rustls::client::Resumption::disabled();
                let tls = TlsConnector::from(Arc::new(config));
                let (begun, mut made) = (Instant::now(), 0);
                while begun.elapsed() < lasts {
                    made += usize::from(connect_tls(&tls, attacker(number), at).await.is_ok());
                }
                made
            }
        });
        BTreeMap::from([("handshakes".to_owned(), made.await.into_iter().sum())])
    });
    assert!(told["handshakes"] > 500, "{told:?}");
    siege.end();
}

/// Idle connections are held once their handshake is made, as many as are stated, and cost a bounded memory each.
#[test]
fn idle_connections_over_tls_are_held_and_others_are_served() {
    let count = if is_long() { 10_000 } else { 1_000 };
    let load = Load {
        connections: count + 20,
        request_seconds: 120,
        idle_seconds: 120,
        ..short()
    };
    let siege = Siege::lay_over_tls(load);
    let (at, tls, number) = (siege.at, connector(&siege), siege.served.number());
    let told = siege.row(
        &format!("{count} idle connections over TLS"),
        40 + count as u64 * 48 / 1024,
        async move {
            let mut open = Vec::new();
            for caller in 0..count {
                match connect_tls(&tls, attacker(caller), at).await {
                    Ok(stream) => open.push(stream),
                    Err(why) => {
                        println!("only {caller} of {count} connections could be opened here: {why}");
                        break;
                    }
                }
            }
            sleep(Duration::from_secs(2)).await;
            // What TLS itself sent behind the handshake is not an end: the files that the server holds are counted.
            let held = open_files(number).saturating_sub(20);
            assert!(held + 20 >= open.len(), "{held} of {} are held", open.len());
            BTreeMap::from([("held".to_owned(), open.len())])
        },
    );
    assert!(told["held"] > 0);
    siege.end();
}

/// Behind a handshake the same patience holds: for a head, for a connection that asks no more, and for one that takes nothing.
#[test]
fn behind_a_handshake_patience_is_the_same() {
    let load = short();
    let siege = Siege::lay_over_tls(load);
    let (at, tls) = (siege.at, connector(&siege));
    let patience = Duration::from_secs(load.request_seconds) + LATE;
    let dripping = tls.clone();
    let told = siege.row("heads over TLS, a byte at a time", 40, async move {
        let replies = all(many(), move |number| {
            let tls = dripping.clone();
            async move {
                let stream = connect_tls(&tls, attacker(number), at).await.unwrap();
                drip_head(stream, patience).await
            }
        });
        counted(replies.await)
    });
    assert_eq!(told, BTreeMap::from([("408".to_owned(), many())]));
    let (idle, patience) = (tls.clone(), Duration::from_secs(load.idle_seconds) + LATE);
    let told = siege.row("idle over TLS behind a question", 40, async move {
        let replies = all(many(), move |number| {
            let tls = idle.clone();
            async move {
                let stream = connect_tls(&tls, attacker(number), at).await.unwrap();
                ask_once(stream, patience).await
            }
        });
        counted(replies.await)
    });
    assert_eq!(told, BTreeMap::from([("200".to_owned(), many())]));
    let number = siege.served.number();
    let count = many() / 3;
    siege.row("readers over TLS that take nothing", 120, async move {
        let before = open_files(number);
        let mut open = Vec::new();
        for reader in 0..count {
            let mut stream = connect_tls(&tls, attacker(reader), at).await.unwrap();
            let asked = b"GET /openapi.yaml HTTP/1.1\r\nhost: book\r\n\r\n".repeat(60);
            stream.write_all(&asked).await.unwrap();
            stream.flush().await.unwrap();
            open.push(stream);
        }
        until_closed(number, before + 5).await;
        assert_eq!(open.len(), count);
        BTreeMap::from([("ended".to_owned(), count)])
    });
    siege.end();
}

/// One address has its share of the places over TLS too: whoever has no place is closed before a handshake costs anything.
#[test]
fn one_address_has_its_share_over_tls() {
    let load = Load {
        connections_per_address: 50,
        request_seconds: 120,
        idle_seconds: 120,
        ..short()
    };
    let siege = Siege::lay_over_tls(load);
    let (at, tls) = (siege.at, connector(&siege));
    let told = siege.row("150 connections of one address", 40, async move {
        let mut open = Vec::new();
        for _ in 0..50 {
            open.push(connect_tls(&tls, attacker(0), at).await.unwrap());
        }
        let refused = all(100, move |_| {
            let tls = tls.clone();
            async move { exchange_tls(&tls, attacker(0), at, &request("GET", "/healthz", &[], b"")).await }
        });
        let told = counted(refused.await);
        drop(open);
        told
    });
    assert_eq!(told, BTreeMap::from([("closed".to_owned(), 100)]));
    siege.end();
}
