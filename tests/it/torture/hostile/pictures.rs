//! Pictures made to fill the memory: of sizes that nobody has, packed zeros, parts that unpack without end, very many frames.

use super::bodies::packed_zeros;
use super::siege::{Siege, counted, short};
use super::wire::{Reply, attacker, exchange, request};
use crate::torture::is_long;
use pourbook::domain::Draw;
use std::collections::BTreeMap;
use tokio::task::JoinSet;

/// CRC-32 as W3C PNG, annex D has it, bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    let crc = bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            if crc & 1 == 1 {
                0xedb8_8320 ^ (crc >> 1)
            } else {
                crc >> 1
            }
        })
    });
    !crc
}

fn chunk(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let told = [kind.as_slice(), body].concat();
    [
        (body.len() as u32).to_be_bytes().as_slice(),
        &told,
        &crc32(&told).to_be_bytes(),
    ]
    .concat()
}

/// A PNG (W3C PNG, section 5) that says a size, with these chunks behind it.
fn png(width: u32, height: u32, depth: u8, colour: u8, chunks: &[(&[u8; 4], Vec<u8>)]) -> Vec<u8> {
    let size = [width.to_be_bytes(), height.to_be_bytes()].concat();
    let mut all = b"\x89PNG\r\n\x1a\n".to_vec();
    all.extend(chunk(b"IHDR", &[size, vec![depth, colour, 0, 0, 0]].concat()));
    for (kind, body) in chunks {
        all.extend(chunk(kind, body));
    }
    all.extend(chunk(b"IEND", b""));
    all
}

/// A WebP (RFC 9649, section 2.7) with chunks.
fn webp(chunks: &[(&[u8; 4], Vec<u8>)]) -> Vec<u8> {
    let mut body = b"WEBP".to_vec();
    for (kind, bytes) in chunks {
        body.extend_from_slice(kind.as_slice());
        body.extend((bytes.len() as u32).to_le_bytes());
        body.extend(bytes);
        body.extend(vec![0; bytes.len() % 2]);
    }
    [b"RIFF".as_slice(), &(body.len() as u32).to_le_bytes(), &body].concat()
}

/// Each with the media type that it says, and whether its bytes may be taken for a picture.
fn bombs() -> Vec<(&'static str, Vec<u8>)> {
    let zeros = packed_zeros();
    let pixels = || (b"IDAT", zeros.clone());
    let named = |kind: &[u8]| [kind, b"\0\0", &zeros].concat();
    let frames: Vec<(&[u8; 4], Vec<u8>)> = (0..5_000_u32)
        .map(|number| (b"fcTL", [number.to_be_bytes().as_slice(), &[0; 22]].concat()))
        .collect();
    let mut moving = vec![(b"acTL", [5_000_u32.to_be_bytes(), [0; 4]].concat())];
    moving.extend(frames);
    let mut behind = vec![pixels()];
    behind.extend((0..20).map(|_| (b"zTXt", named(b"note"))));
    let canvas = [vec![2, 0, 0, 0], vec![0xff; 6]].concat();
    let anmf: Vec<(&[u8; 4], Vec<u8>)> = (0..5_000).map(|_| (b"ANMF", vec![0; 24])).collect();
    let mut webp_moving = vec![(b"VP8X", canvas.clone()), (b"ANIM", vec![0; 6])];
    webp_moving.extend(anmf);
    let mut jpeg = b"\xff\xd8".to_vec();
    // A frame of 65,535 by 65,535 (ITU-T T.81, B.2.2), then scan upon scan.
    jpeg.extend(b"\xff\xc0\0\x0b\x08\xff\xff\xff\xff\x01\x01\x11\0");
    jpeg.extend(b"\xff\xda\0\x08\x01\x01\0\0\x3f\0\0".repeat(90));
    jpeg.extend(b"\xff\xd9");
    vec![
        ("image/png", png(60_000, 60_000, 8, 2, &[pixels()])),
        ("image/png", png(u32::MAX, u32::MAX, 16, 6, &[pixels()])),
        // As large as may be, and 200 MiB of zeros behind it: more than its pixels are, and less.
        ("image/png", png(7_000, 7_000, 8, 6, &[pixels()])),
        ("image/png", png(7_000, 7_000, 8, 0, &[pixels()])),
        ("image/png", png(10_000, 5_000, 16, 6, &[pixels()])),
        ("image/png", png(1, 1, 1, 0, &[pixels()])),
        (
            "image/png",
            png(100, 100, 8, 2, &[(b"iCCP", named(b"icc")), pixels()]),
        ),
        (
            "image/png",
            png(100, 100, 8, 2, &[(b"zTXt", named(b"note")), pixels()]),
        ),
        ("image/png", png(100, 100, 8, 2, &behind)),
        ("image/png", png(100, 100, 8, 2, &moving)),
        ("image/webp", webp(&[(b"VP8X", canvas)])),
        ("image/webp", webp(&webp_moving)),
        (
            "image/webp",
            webp(&[(b"VP8L", vec![0x2f, 0xff, 0xff, 0xff, 0x0f, 0])]),
        ),
        ("image/jpeg", jpeg),
        ("image/jpeg", vec![0xff; 1_000_000]),
    ]
}

#[test]
fn pictures_that_are_bombs_are_refused_within_bounds() {
    let siege = Siege::lay(short());
    let (at, bearer) = (siege.at, format!("Bearer {}", siege.token));
    let bombs = bombs();
    let rounds = if is_long() { 20 } else { 1 };
    // One picture is decoded at a time: its pixels with transparency, the same without, and what the library needs beside.
    let told = siege.row("pictures that are bombs", 420, async move {
        let mut replies: Vec<Reply> = Vec::new();
        let mut draw = Draw::new([9; 32]);
        for _ in 0..rounds {
            let mut set = JoinSet::new();
            for (number, (media, bytes)) in bombs.iter().cloned().enumerate() {
                let (key, bearer) = (draw.uuid().to_string(), bearer.clone());
                let path =
                    "/v1/pieces/11111111-1111-4111-8111-111111111111/photographs?stage=from_mould&side=back";
                set.spawn(async move {
                    loop {
                        let headers = [
                            ("authorization", bearer.as_str()),
                            ("idempotency-key", key.as_str()),
                            ("content-type", media),
                            ("if-match", "\"1\""),
                        ];
                        let sent = request("POST", path, &headers, &bytes);
                        let reply = exchange(attacker(number), at, &sent).await.owes();
                        // Others are coming in: again, as it says.
                        if reply.status() != Some(503) {
                            return reply;
                        }
                        tokio::time::sleep(std::time::Duration::from_millis(200)).await;
                    }
                });
            }
            replies.extend(set.join_all().await);
        }
        counted(replies)
    });
    // What can be read is a picture of a piece that there is not.
    let known = BTreeMap::from_iter(
        told.iter()
            .filter(|(told, _)| ["404", "422"].contains(&told.as_str())),
    );
    assert_eq!(known.len(), told.len(), "{told:?}");
    assert!(told["422"] >= 9 * rounds, "{told:?}");
    siege.end();
}
