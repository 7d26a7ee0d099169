//! Bodies that are too large, too deep, packed, or too many at once.

use super::siege::{Siege, counted, short};
use super::wire::{Reply, attacker, connect, exchange, heard, request};
use crate::torture::is_long;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder};
use pourbook::config::Load;
use std::collections::BTreeMap;
use tokio::io::AsyncWriteExt;
use tokio::task::JoinSet;

const JSON: (&str, &str) = ("content-type", "application/json");
const CONVERT: &str = "/v1/calculations/convert";
/// As long as a body may be.
const LARGEST: usize = 256 * 1024;

fn rounds() -> usize {
    if is_long() { 400 } else { 40 }
}

/// Sends each of these so often, some at once.
async fn each(siege: &Siege, sent: Vec<Vec<u8>>, rounds: usize) -> Vec<Reply> {
    let at = siege.at;
    let mut replies = Vec::new();
    for round in 0..rounds {
        let mut set = JoinSet::new();
        for (number, sent) in sent.iter().cloned().enumerate() {
            set.spawn(async move { exchange(attacker(round * 7 + number), at, &sent).await });
        }
        replies.extend(set.join_all().await);
    }
    replies
}

fn with_token(siege: &Siege, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Vec<u8> {
    let bearer = format!("Bearer {}", siege.token);
    let mut all = vec![
        ("authorization", bearer.as_str()),
        ("idempotency-key", "8e03978e-40d5-43e8-bc93-6894a57f9324"),
    ];
    all.extend(headers);
    request("POST", path, &all, body)
}

#[test]
fn a_body_that_is_too_large_is_refused_before_it_is_read() {
    let siege = Siege::lay(short());
    let at = siege.at;
    let bearer = siege.token.clone();
    let told = siege.row("bodies of up to 1 GiB", 60, async {
        let mut sent = Vec::new();
        for path in ["/v1/jars", CONVERT] {
            for says in [LARGEST + 1, 1 << 30, usize::MAX] {
                sent.push(format!(
                    "POST {path} HTTP/1.1\r\nhost: book\r\ncontent-type: application/json\r\nauthorization: Bearer {bearer}\r\n\
                     idempotency-key: 8e03978e-40d5-43e8-bc93-6894a57f9324\r\ncontent-length: {says}\r\n\r\n{{"
                )
                .into_bytes());
            }
        }
        let mut replies = each(&siege, sent, rounds() / 8).await;
        // Without a length it is counted as it comes: 64 MiB in chunks.
        let mut set = JoinSet::new();
        for number in 0..8 {
            set.spawn(async move {
                let mut stream = connect(attacker(number), at).await.unwrap();
                let head = format!(
                    "POST {CONVERT} HTTP/1.1\r\nhost: book\r\nconnection: close\r\ncontent-type: application/json\r\n\
                     transfer-encoding: chunked\r\n\r\n"
                );
                stream.write_all(head.as_bytes()).await.unwrap();
                let chunk = [b"10000\r\n".to_vec(), vec![b' '; 0x1_0000], b"\r\n".to_vec()].concat();
                for _ in 0..1_024 {
                    if stream.write_all(&chunk).await.is_err() {
                        break;
                    }
                }
                heard(&mut stream).await
            });
        }
        replies.extend(set.join_all().await);
        counted(replies)
    });
    // Of those that go on sending, some are closed before they hear it.
    assert!(told["413"] >= 6 * (rounds() / 8), "{told:?}");
    assert!(told.get("closed").is_none_or(|closed| *closed <= 8), "{told:?}");
    siege.end();
}

#[test]
fn json_that_is_deep_or_wide_is_answered_and_no_more() {
    let siege = Siege::lay(short());
    let told = siege.row("JSON of 256 KiB, deep and wide", 160, async {
        let fill = |part: &str, ends: &str| {
            let times = (LARGEST - ends.len() - 1) / part.len();
            format!("{}{ends}", part.repeat(times)).into_bytes()
        };
        let wide = |part: &str| {
            let inner = fill(&format!("{part},"), part);
            [b"[".to_vec(), inner, b"]".to_vec()].concat()
        };
        let mut bodies = vec![fill("[", ""), fill("{\"a\":", "1"), fill("[{\"a\":", "")];
        bodies.extend(
            ["[]", "{}", "0", "\"\"", "[[[[]]]]", "\"\\u0000\""]
                .map(wide)
                .map(|mut body| {
                    body.truncate(LARGEST);
                    body
                }),
        );
        let names: Vec<String> = (0..20_000).map(|name| format!("\"{name}\":0")).collect();
        bodies.push(format!("{{{}}}", names.join(",")).into_bytes());
        let digits = format!("{{\"amount\":{}}}", "9".repeat(200_000));
        bodies.push(digits.into_bytes());
        let mut sent = Vec::new();
        for body in &bodies {
            sent.push(request("POST", CONVERT, &[JSON], body));
            sent.push(with_token(&siege, "/v1/jars", &[JSON], body));
        }
        // One level more than is read, and far fewer than the library would stop at.
        let nested = |levels: usize| format!("{}1{}", "[".repeat(levels), "]".repeat(levels));
        for (levels, wanted) in [(16, 422), (17, 400), (100, 400)] {
            let sent = request("POST", CONVERT, &[JSON], nested(levels).as_bytes());
            let reply = exchange(attacker(levels), siege.at, &sent).await;
            assert_eq!(reply.status(), Some(wanted), "{levels} levels: {}", reply.text());
        }
        counted(each(&siege, sent, rounds() / 8).await)
    });
    let known: usize = ["400", "413", "422"]
        .iter()
        .filter_map(|told_| told.get(*told_))
        .sum();
    assert_eq!(known, told.values().sum::<usize>(), "{told:?}");
    siege.end();
}

/// 200 MiB of zeros as a zlib stream (RFC 1950), which is what `deflate` means (RFC 9110, section 8.4.1.2): the pixels of a
/// picture, as a library packs them.
pub fn packed_zeros() -> Vec<u8> {
    let mut png = Vec::new();
    let encoder = PngEncoder::new_with_quality(&mut png, CompressionType::Best, FilterType::NoFilter);
    let zeros = vec![0; 14_000 * 15_000];
    encoder
        .write_image(&zeros, 14_000, 15_000, ExtendedColorType::L8)
        .unwrap();
    let mut packed = Vec::new();
    let mut at = 8;
    while at + 8 <= png.len() {
        let length = u32::from_be_bytes(png[at..at + 4].try_into().unwrap()) as usize;
        if &png[at + 4..at + 8] == b"IDAT" {
            packed.extend_from_slice(&png[at + 8..at + 8 + length]);
        }
        at += length + 12;
    }
    assert!(
        packed.len() < LARGEST && packed.len() > 1_000,
        "{} bytes",
        packed.len()
    );
    packed
}

#[test]
fn a_packed_body_is_never_unpacked() {
    let siege = Siege::lay(short());
    let told = siege.row("packed bodies, 200 MiB of zeros", 60, async {
        let packed = packed_zeros();
        let mut sent = Vec::new();
        for encoding in [
            "deflate",
            "gzip",
            "br",
            "zstd",
            "x-gzip",
            "gzip, gzip, gzip",
            "identity, deflate",
            "\"\"",
        ] {
            let headers = [JSON, ("content-encoding", encoding)];
            sent.push(request("POST", CONVERT, &headers, &packed));
            sent.push(with_token(&siege, "/v1/jars", &headers, &packed));
        }
        // Sent twice it could be read either way.
        let twice = [
            JSON,
            ("content-encoding", "identity"),
            ("content-encoding", "deflate"),
        ];
        sent.push(request("POST", CONVERT, &twice, &packed));
        counted(each(&siege, sent, rounds() / 8).await)
    });
    let each = rounds() / 8;
    assert_eq!(
        told,
        BTreeMap::from([("400".to_owned(), each), ("415".to_owned(), 16 * each)])
    );
    siege.end();
}

/// Strangers' bodies that come slowly have so much room in all; whoever has a token has room of his own.
#[test]
fn bodies_that_wait_have_so_much_room_and_callers_their_own() {
    let load = Load {
        bodies_mebibytes: 1,
        body_seconds: 4,
        ..short()
    };
    let siege = Siege::lay(load);
    let at = siege.at;
    let told = siege.row("400 large bodies that wait", 60, async move {
        let mut set = JoinSet::new();
        for number in 0..400 {
            set.spawn(async move {
                let mut stream = connect(attacker(number % 40), at).await.unwrap();
                let head = format!(
                    "POST {CONVERT} HTTP/1.1\r\nhost: book\r\nconnection: close\r\ncontent-type: application/json\r\n\
                     content-length: {LARGEST}\r\n\r\n"
                );
                stream.write_all(head.as_bytes()).await.unwrap();
                let _ = stream.write_all(&vec![b' '; LARGEST / 2]).await;
                heard(&mut stream).await
            });
        }
        counted(set.join_all().await)
    });
    // One MiB has room for three, with what is reckoned beside each.
    assert_eq!(told["408"], 3, "{told:?}");
    assert!(told["503"] >= 300, "{told:?}");
    siege.end();
}
