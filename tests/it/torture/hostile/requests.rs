//! Requests that are not what they seem: paths that climb, headers without end, keys that come again, two requests in one.

use super::siege::{Siege, counted, short};
use super::wire::{attacker, connect, exchange, heard, request};
use crate::torture::is_long;
use pourbook::domain::Draw;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use tokio::io::AsyncWriteExt;
use tokio::task::JoinSet;

const LEFT_BEHIND: &[u8] = b"nobody put this here to be read";

fn rounds() -> usize {
    if is_long() { 50 } else { 5 }
}

/// What follows the name of a folder that is served.
fn climbs() -> Vec<String> {
    let mut all = Vec::new();
    let to = [
        "tokens.json",
        "pourbook.toml",
        "keys/recorder.key",
        "vault/secret",
        "etc/passwd",
    ];
    for up in [
        "../",
        "..%2f",
        "%2e%2e/",
        "%2e%2e%2f",
        "%252e%252e%252f",
        "..\\",
        "..%5c",
        "..;/",
        "%c0%ae%c0%ae/",
        "....//",
    ] {
        for to in to {
            for depth in [1, 2, 4, 6] {
                all.push(format!("{}{to}", up.repeat(depth)));
            }
        }
    }
    for odd in [
        "left-behind",
        "/etc/passwd",
        "%00",
        "000%00",
        "000.p/1%00.json",
        "000.p/1/..",
        "000.p/1/../1",
        "000.p%2f1",
        "x000/000",
        "000.p/257",
        "000.p/0",
        "000.p/-1",
        "000.p/01",
        "999/999/999/999/999/999/999/999",
        "%",
        "%zz",
        "%2",
        "+",
        " ",
        "~",
        ".",
        "..",
        "",
        "x001/x234/x067/001",
        "18446744073709551616",
        "%ef%bc%8e%ef%bc%8e/tokens.json",
        "CON",
        "aux",
        "?",
        "#",
    ] {
        all.push(odd.to_owned());
    }
    all.push("a".repeat(30_000));
    all.push("000/".repeat(7_000));
    all.push("%2e".repeat(9_000));
    all
}

/// No path leads to a file that is not meant to be read.
#[test]
fn no_path_climbs_out_of_what_is_served() {
    let siege = Siege::lay(short());
    let dir = siege.folder.path().join("book");
    // A path climbs only out of a folder that is there.
    for folder in ["derived/tiles/tile/0", "derived/tiles/tile/entries", "photos/00"] {
        std::fs::create_dir_all(dir.join(folder)).unwrap();
        // What stands in a folder that is served need not be what is served from it.
        std::fs::write(dir.join(folder).join("left-behind"), LEFT_BEHIND).unwrap();
    }
    let read = |name: &str| std::fs::read(dir.join(name)).unwrap();
    // What stands in files that nobody may fetch.
    let mut hidden: Vec<Vec<u8>> = [
        "tokens.json",
        "keys/recorder.key",
        "vault/secret",
        "pourbook.toml",
    ]
    .map(|name| read(name)[..24].to_vec())
    .to_vec();
    hidden.push(LEFT_BEHIND.to_vec());
    let at = siege.at;
    let told = siege.row("paths that climb", 60, async move {
        let mut sent = Vec::new();
        for folder in [
            "/log/tile/0/",
            "/log/tile/entries/",
            "/log/tile/",
            "/log/",
            "/photographs/",
            "/assets/",
            "/check/",
            "/bench/modules/",
            "/problems/",
            "/p/",
            "/trust/",
            "/",
        ] {
            for climb in climbs() {
                let line = format!("GET {folder}{climb} HTTP/1.1\r\nhost: book\r\nconnection: close\r\n\r\n");
                sent.push(line.into_bytes());
            }
        }
        let mut replies = Vec::new();
        for part in sent.chunks(50) {
            let mut set = JoinSet::new();
            for (number, sent) in part.iter().cloned().enumerate() {
                let hidden = hidden.clone();
                set.spawn(async move {
                    let reply = exchange(attacker(number), at, &sent).await;
                    let shown = String::from_utf8_lossy(&sent[..sent.len().min(200)]).into_owned();
                    for hidden in &hidden {
                        let found = reply.0.windows(hidden.len()).any(|window| window == hidden);
                        assert!(!found, "{shown}: {}", reply.text());
                    }
                    // A page at the end of a path, and a tile without its width, are what they always are.
                    let known = [200, 303, 400, 404, 414, 422, 429, 431];
                    let status = reply.status();
                    assert!(
                        status.is_some_and(|status| known.contains(&status)),
                        "{shown}: {}",
                        reply.text()
                    );
                    reply
                });
            }
            replies.extend(set.join_all().await);
        }
        counted(replies)
    });
    assert!(told["404"] > 1_000, "{told:?}");
    siege.end();
}

#[test]
fn headers_without_end_are_refused() {
    let siege = Siege::lay(short());
    let at = siege.at;
    let told = siege.row("header floods", 60, async move {
        let head = "GET /healthz HTTP/1.1\r\nhost: book\r\nconnection: close\r\n";
        let floods = [
            format!(
                "{head}{}\r\n",
                (0..10_000).map(|n| format!("x-{n}: 1\r\n")).collect::<String>()
            ),
            format!("{head}{}\r\n", "x: 1\r\n".repeat(200)),
            format!("{head}x: {}\r\n\r\n", "a".repeat(1 << 20)),
            format!("{head}{}: 1\r\n\r\n", "a".repeat(70_000)),
            format!("{head}cookie: {}\r\n\r\n", "a=b; ".repeat(20_000)),
            // Without an end at all.
            format!("{head}x: {}", "a".repeat(200_000)),
            format!(
                "GET /{} HTTP/1.1\r\nhost: book\r\nconnection: close\r\n\r\n",
                "a".repeat(70_000)
            ),
            // Behind a first request.
            format!(
                "GET /healthz HTTP/1.1\r\nhost: book\r\n\r\n{head}x: {}",
                "a".repeat(200_000)
            ),
            format!("\r\n{}", "\r\n".repeat(100_000)),
        ];
        let mut replies = Vec::new();
        for round in 0..rounds() {
            let mut set = JoinSet::new();
            for (number, sent) in floods.iter().cloned().enumerate() {
                set.spawn(async move { exchange(attacker(round * 10 + number), at, sent.as_bytes()).await });
            }
            replies.extend(set.join_all().await);
        }
        counted(replies)
    });
    // Who is still sending when he is closed may not hear why; a first request is answered, its second is what is refused.
    let refused: usize = ["400", "414", "431", "408", "closed"]
        .iter()
        .filter_map(|kind| told.get(*kind))
        .sum();
    let first = told.get("200").copied().unwrap_or(0);
    assert!(first <= rounds(), "{told:?}");
    assert_eq!(refused + first, 9 * rounds(), "{told:?}");
    assert!(told["431"] >= rounds(), "{told:?}");
    siege.end();
}

/// What the library would still take: a head that ends, of fewer headers than it counts.
#[test]
fn a_head_has_its_bound_and_what_is_within_is_read() {
    let siege = Siege::lay(short());
    let at = siege.at;
    let told = siege.row("heads of 30 and of 100 KiB", 40, async move {
        let head = |kibibytes: usize| {
            let filler = "a".repeat(kibibytes * 1024);
            format!("GET /healthz HTTP/1.1\r\nhost: book\r\nconnection: close\r\nx: {filler}\r\n\r\n")
        };
        let (within, beyond) = (head(30), head(100));
        let mut replies = Vec::new();
        for round in 0..rounds() {
            let reply = exchange(attacker(round), at, within.as_bytes()).await;
            assert_eq!(reply.status(), Some(200), "{}", reply.text());
            let reply = exchange(attacker(round), at, beyond.as_bytes()).await;
            assert_eq!(reply.status(), Some(431), "{}", reply.text());
            replies.push(reply);
        }
        counted(replies)
    });
    assert_eq!(told, BTreeMap::from([("431".to_owned(), rounds())]));
    siege.end();
}

/// Two readers of the same bytes could see two requests where we see one: then neither is answered (RFC 9112, section 6.3
/// and 11.2). `hidden` is what would be heard of a request that was smuggled in.
#[test]
fn nothing_is_smuggled_behind_a_request() {
    let siege = Siege::lay(short());
    let at = siege.at;
    let hidden = "GET /problems/stale HTTP/1.1\r\nhost: book\r\n\r\n";
    let chunked = format!("0\r\n\r\n{hidden}");
    let head = format!(
        "POST {} HTTP/1.1\r\nhost: book\r\ncontent-type: application/json\r\n",
        "/v1/calculations/convert"
    );
    let length = chunked.len();
    let odd = [
        format!("{head}content-length: {length}\r\ntransfer-encoding: chunked\r\n\r\n{chunked}"),
        format!("{head}transfer-encoding: chunked\r\ncontent-length: {length}\r\n\r\n{chunked}"),
        format!("{head}content-length: 0\r\ncontent-length: {length}\r\n\r\n{chunked}"),
        format!("{head}content-length: {length}, 0\r\n\r\n{chunked}"),
        format!("{head}content-length: +{length}\r\n\r\n{chunked}"),
        format!("{head}content-length: -1\r\n\r\n{chunked}"),
        format!("{head}content-length: 0x10\r\n\r\n{chunked}"),
        format!("{head}content-length : {length}\r\n\r\n{chunked}"),
        format!("{head}transfer-encoding : chunked\r\n\r\n{chunked}"),
        format!("{head}transfer-encoding: xchunked\r\n\r\n{chunked}"),
        format!("{head}transfer-encoding: chunked, identity\r\n\r\n{chunked}"),
        format!("{head}transfer-encoding: chunked\r\ntransfer-encoding: identity\r\n\r\n{chunked}"),
        format!("{head}transfer-encoding: identity\r\ncontent-length: {length}\r\n\r\n{chunked}"),
        format!("{head}transfer-encoding:\x0bchunked\r\n\r\n{chunked}"),
        format!("{head}transfer-encoding: \"chunked\"\r\n\r\n{chunked}"),
        format!("{head}x: y\r\n transfer-encoding: chunked\r\n\r\n{chunked}"),
        format!("{head}transfer-encoding: chunked\r\n\r\nffffffffffffffffff\r\n{hidden}"),
        format!("{head}transfer-encoding: chunked\r\n\r\n-1\r\n{hidden}"),
        format!("{head}transfer-encoding: chunked\r\n\r\n1\r\nxx\r\n0\r\n\r\n{hidden}"),
        format!(
            "{head}transfer-encoding: chunked\r\n\r\n5;{}\r\n",
            "a".repeat(300_000)
        ),
        format!("GET /healthz HTTP/1.1\r\nhost: book\r\nhost: other\r\n\r\n{hidden}"),
        format!("GET /healthz HTTP/1.1\r\n\r\n{hidden}"),
        format!("GET /healthz HTTP/1.0\r\ntransfer-encoding: chunked\r\n\r\n{chunked}"),
        format!("GET /healthz HTTP/9.9\r\nhost: book\r\n\r\n{hidden}"),
        format!("GET  /healthz HTTP/1.1\r\nhost: book\r\n\r\n{hidden}"),
        format!("GET /healthz\x00 HTTP/1.1\r\nhost: book\r\n\r\n{hidden}"),
        format!("G\x01T /healthz HTTP/1.1\r\nhost: book\r\n\r\n{hidden}"),
        format!("PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n{hidden}"),
    ];
    let count = odd.len();
    let told = siege.row("two requests in one", 40, async move {
        let mut replies = Vec::new();
        for (number, sent) in odd.into_iter().enumerate() {
            let mut stream = connect(attacker(number), at).await.unwrap();
            let _ = stream.write_all(sent.as_bytes()).await;
            let reply = heard(&mut stream).await;
            let shown: String = sent.chars().take(220).collect();
            assert!(
                !reply.text().contains("has changed since you read it"),
                "{shown:?}: {}",
                reply.text()
            );
            let told = reply.statuses();
            assert!(
                told.len() <= 2 && told.iter().all(|told| (400..500).contains(told)),
                "{shown:?}: {told:?}"
            );
            replies.push(reply);
        }
        counted(replies)
    });
    assert!(told["400"] >= count - 4, "{told:?}");

    // Requests in order are what they should be, each answered in its turn.
    let told = siege.row("requests behind each other", 60, async move {
        let mut replies = Vec::new();
        for number in 0..rounds() {
            let mut sent = b"GET /healthz HTTP/1.1\r\nhost: book\r\n\r\n".repeat(999);
            sent.extend(request("GET", "/problems/stale", &[], b""));
            let reply = exchange(attacker(number), at, &sent).await;
            assert_eq!(reply.statuses(), vec![200; 1_000]);
            assert!(reply.text().ends_with("</html>\n"));
            replies.push(reply);
        }
        counted(replies)
    });
    assert_eq!(told["200"], rounds());
    siege.end();
}

/// A key that comes again from many connections is recorded once; with another body it is refused, in whatever order they come.
#[test]
fn a_key_is_recorded_once_whoever_sends_it_again_and_how() {
    let siege = Siege::lay(short());
    let (at, bearer) = (siege.at, format!("Bearer {}", siege.token));
    let keys = rounds() * 2;
    let jar = |fineness: &str| format!(r#"{{"metal":"silver","fineness":"{fineness}","residue":"lemel"}}"#);
    let recorded = std::sync::Mutex::new(BTreeMap::<String, BTreeSet<u64>>::new());
    let told = siege.row("keys that come again", 60, async {
        let mut draw = Draw::new([4; 32]);
        let mut replies = Vec::new();
        for _ in 0..keys {
            let key = draw.uuid().to_string();
            let mut set = JoinSet::new();
            for number in 0..40 {
                // Two of three with the body that came first, mixed.
                let body = jar(if number % 3 == 2 { "925" } else { "999" });
                let headers = [
                    ("authorization", bearer.as_str()),
                    ("idempotency-key", key.as_str()),
                    ("content-type", "application/json"),
                ];
                let sent = request("POST", "/v1/jars", &headers, body.as_bytes());
                set.spawn(async move { (number, exchange(attacker(number), at, &sent).await) });
            }
            let told = set.join_all().await;
            let won: BTreeSet<bool> = told
                .iter()
                .filter(|(_, reply)| reply.status() == Some(201))
                .map(|(number, _)| number % 3 == 2)
                .collect();
            assert_eq!(won.len(), 1, "two bodies were recorded under one key");
            for (number, reply) in told {
                if won.contains(&(number % 3 == 2)) {
                    assert_eq!(reply.status(), Some(201), "{}", reply.text());
                    let body: Value = serde_json::from_slice(&reply.body()).unwrap();
                    let mut recorded = recorded.lock().unwrap();
                    recorded
                        .entry(key.clone())
                        .or_default()
                        .insert(body["index"].as_u64().unwrap());
                } else {
                    assert!(
                        reply.text().contains("/problems/idempotency-key-reused"),
                        "{}",
                        reply.text()
                    );
                }
                replies.push(reply);
            }
        }
        counted(replies)
    });
    assert_eq!(told.keys().collect::<Vec<_>>(), ["201", "422"]);
    let recorded = recorded.into_inner().unwrap();
    assert_eq!(recorded.len(), keys);
    let indices: BTreeSet<u64> = recorded.values().flatten().copied().collect();
    assert_eq!(indices.len(), keys, "each key stands at one index: {recorded:?}");
    siege.end();
}
