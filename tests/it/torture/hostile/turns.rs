//! Questions that come together on one connection, behind each other and before the first is answered.

use super::connections::{all, many};
use super::siege::{Siege, counted, short};
use super::wire::{Reply, attacker, connect, heard};
use crate::torture::is_long;
use std::time::Duration;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};

const GRAMS: &str = r#"{"amount":"1","from":"ozt","to":"g"}"#;

fn read(path: &str) -> String {
    format!("GET {path} HTTP/1.1\r\nhost: book\r\n\r\n")
}

fn last(path: &str) -> String {
    format!("GET {path} HTTP/1.1\r\nhost: book\r\nconnection: close\r\n\r\n")
}

fn measured(body: &str) -> String {
    format!(
        "POST /v1/calculations/convert HTTP/1.1\r\nhost: book\r\ncontent-type: application/json\r\n\
        content-length: {}\r\n\r\n{body}",
        body.len()
    )
}

/// A body in chunks of so many bytes (RFC 9112 section 7.1).
fn chunked(body: &str, bytes: usize) -> String {
    let mut text =
        "POST /v1/calculations/convert HTTP/1.1\r\nhost: book\r\ncontent-type: application/json\r\n\
        transfer-encoding: chunked\r\n\r\n"
            .to_owned();
    for chunk in body.as_bytes().chunks(bytes) {
        text.push_str(&format!(
            "{:x}\r\n{}\r\n",
            chunk.len(),
            String::from_utf8_lossy(chunk)
        ));
    }
    text.push_str("0\r\n\r\n");
    text
}

/// Bodies with empty lines in them, as long as what one read takes and longer; empty lines between questions.
fn mixed() -> (String, Vec<u16>) {
    let long = format!("{{\n\n\r\n\r\n{}{}", " \n\n".repeat(7_000), &GRAMS[1..]);
    let parts = [
        (read("/healthz"), 200),
        (measured(GRAMS), 200),
        (format!("\r\n\r\n{}", read("/nothing-here")), 404),
        (chunked(GRAMS, 7), 200),
        (measured(&long), 200),
        (read("/healthz").replace("\r\n", "\n"), 200),
        (chunked(&long, 1_500), 200),
        (measured("{\n\n}"), 422),
        (chunked("{}", 1), 422),
        (measured(""), 400),
        (read("/openapi.yaml"), 200),
        (last("/healthz"), 200),
    ];
    let statuses = parts.iter().map(|(_, status)| *status).collect();
    (parts.into_iter().map(|(part, _)| part).collect(), statuses)
}

#[test]
fn questions_that_come_together_are_answered_in_turn() {
    let siege = Siege::lay(short());
    let (at, (sent, statuses)) = (siege.at, mixed());
    let sent: &'static [u8] = sent.leak().as_bytes();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    // All at once, and cut into ever larger pieces.
    for bytes in [sent.len(), 1, 3, 40, 700, 4_096, 9_000] {
        let reply = runtime.block_on(async move {
            let (mut hears, mut says) = connect(attacker(bytes % 250), at).await.unwrap().into_split();
            let saying = tokio::spawn(async move {
                let sent = if bytes < 40 { sent.split_at(2_000).0 } else { sent };
                for piece in sent.chunks(bytes) {
                    says.write_all(piece).await.unwrap();
                    tokio::task::yield_now().await;
                }
                says
            });
            let reply = heard(&mut hears).await;
            drop(saying.await.unwrap());
            reply
        });
        println!("{bytes}: {:?}", reply.statuses());
        let told = reply.statuses();
        if bytes < 40 {
            assert!(
                told.len() > 4 && statuses.starts_with(&told[..told.len() - 1]),
                "{bytes}: {told:?}"
            );
            continue;
        }
        assert_eq!(told, statuses, "in pieces of {bytes}: {}", reply.text());
        assert_eq!(
            reply.text().matches(r#""result":"31.103476800""#).count(),
            4,
            "in pieces of {bytes}"
        );
    }
    siege.end();
}

/// More than the system holds for a connection is answered, and nothing of it taken for a while; then all of it is.
#[test]
fn whoever_takes_his_answers_late_gets_them_all() {
    let siege = Siege::lay(short());
    let at = siege.at;
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let sent = [&*read("/openapi.yaml").repeat(39), &*last("/openapi.yaml")].concat();
    let reply = runtime.block_on(async move {
        let mut stream = connect(attacker(1), at).await.unwrap();
        stream.write_all(sent.as_bytes()).await.unwrap();
        tokio::time::sleep(Duration::from_secs(1)).await;
        heard(&mut stream).await
    });
    assert_eq!(reply.statuses(), vec![200; 40]);
    siege.end();
}

/// The library takes apart all that it is given: that is one question and not all that came.
#[test]
fn questions_that_come_together_cost_no_more_than_one() {
    let siege = Siege::lay(short());
    let at = siege.at;
    let first = [
        ("three thousand questions at once", String::new()),
        ("the same, behind a body", measured(GRAMS)),
        ("the same, behind a body in chunks", chunked(GRAMS, 9)),
    ];
    for (name, first) in first {
        let sent: &'static str = [first, read("/openapi.yaml").repeat(3_000)].concat().leak();
        // Each of them is also somebody who takes nothing of a long answer.
        let grows_mebibytes_max = if is_long() { 120 } else { 40 };
        siege.row(name, grows_mebibytes_max, async move {
            let replies = all(many(), move |number| async move {
                let mut stream = connect(attacker(number), at).await.unwrap();
                // What the server does not take waits here.
                let saying = stream.write_all(sent.as_bytes());
                let _ = tokio::time::timeout(Duration::from_secs(1), saying).await;
                let mut begun = Vec::new();
                while !begun.ends_with(b"\r\n\r\n") {
                    begun.push(stream.read_u8().await.unwrap());
                }
                tokio::time::sleep(Duration::from_millis(500)).await;
                Reply(begun)
            });
            counted(replies.await)
        });
    }
    siege.end();
}
