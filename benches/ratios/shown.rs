//! The rows of what strangers read: proof files, records and pages, against a handler that does nothing but send the same bytes
//! and against nginx with the same files; and the first proof after a newer entry, against verifying the signatures of that file.

use super::books::{beside_the_build, certify, found_at, token};
use super::client::{Load, Reader, load};
use super::nginx::Nginx;
use super::server::Server;
use super::shop::Shop;
use super::table::{Asked, ROUNDS, Taken, bound, median, row, scaled, seconds, skipped};
use actix_web::web::{self, Bytes, Data};
use actix_web::{App, HttpRequest, HttpResponse, HttpServer};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ed25519_dalek::{Signature, VerifyingKey};
use pourbook::domain::*;
use pourbook::node::open_desk;
use pourbook::proof::TlogProof;
use pourbook::record::{self, PublicKey};
use std::collections::HashMap;
use std::net::SocketAddr;
use std::path::Path;
use std::time::{Duration, Instant};

/// Connections that ask.
const ASKING: usize = 64;
/// Serials that are asked for.
const SERIALS: usize = 10_000;
/// How often each serial is asked for in one measurement.
const TIMES: usize = 3;
/// Pieces that something new happens to.
const MOVED: usize = 20;

/// Version of a piece that is certified: poured, weighed, given its serial, finally weighed, certified.
const VERSION: u64 = 5;

/// What is asked of each serial: before it, after it, the media type, and what the row calls it.
const SHOWN: [(&str, &str, &str, &str); 3] = [
    ("/v1/serials/", "/proof", "application/json", "proof replies"),
    ("/v1/serials/", "", "application/json", "public records"),
    ("/p/", "", "text/html; charset=utf-8", "buyers' pages"),
];

/// The limit: a handler that looks bytes up by the path and sends them with such headers.
pub fn bare(folder: &Path, listen: SocketAddr) {
    let files = std::fs::read_dir(folder).unwrap().map(|item| {
        let path = item.unwrap().path();
        let asked = path.file_name().unwrap().to_str().unwrap().replace('+', "/");
        (asked, Bytes::from(std::fs::read(path).unwrap()))
    });
    let files: Data<HashMap<String, Bytes>> = Data::new(files.collect());
    let reply = |files: Data<HashMap<String, Bytes>>, request: HttpRequest| async move {
        let body = files.get(request.path()).unwrap().clone();
        let shown = SHOWN.iter().find(|shown| request.path().starts_with(shown.0));
        HttpResponse::Ok()
            .insert_header(("content-type", shown.unwrap().2))
            .insert_header(("cache-control", "no-cache"))
            .body(body)
    };
    actix_web::rt::System::new()
        .block_on(async move {
            let factory = move || {
                App::new()
                    .app_data(files.clone())
                    .default_service(web::get().to(reply))
            };
            HttpServer::new(factory).bind(listen).unwrap().run().await
        })
        .unwrap();
}

pub fn get(path: &str) -> Vec<u8> {
    format!("GET {path} HTTP/1.1\r\nhost: book\r\n\r\n").into_bytes()
}

/// In an order that no cache of neighbours helps.
pub fn shuffled(requests: Vec<Vec<u8>>) -> Vec<Vec<u8>> {
    let mut draw = Draw::new([3; 32]);
    let mut mixed: Vec<_> = requests
        .into_iter()
        .map(|request| (draw.bytes(), request))
        .collect();
    mixed.sort();
    mixed.into_iter().map(|(_, request)| request).collect()
}

pub fn rows(events: u64) {
    let dir = beside_the_build();
    let folder = found_at(&dir.path().join("book"));
    let mut shop = Shop::begin(open_desk(&folder).unwrap(), Draw::new([8; 32]));
    shop.turn = 2_048;
    // The rest of the book is other work: a melt is 12 entries and 29 events.
    let rest = usize::try_from(events * 12 / 29).unwrap();
    let pieces = certify(&mut shop, scaled(SERIALS), |shop| shop.work(rest));
    shop.desk.release().unwrap();
    drop(shop);
    let token = token(&folder);
    let server = Server::start("book", folder.path());
    for shown in SHOWN {
        let beside = dir.path().join(shown.3.replace(' ', "-"));
        against_others(&server, shown, &pieces, &beside);
    }
    after_a_newer_entry(&server, &token, &pieces);
}

/// One kind of reply of all serials, against the handler that does nothing and nginx.
fn against_others(
    server: &Server,
    (before, after, media_type, says): (&str, &str, &str, &str),
    pieces: &[(Serial, PieceId)],
    beside: &Path,
) {
    let paths = pieces
        .iter()
        .map(|(serial, _)| format!("{before}{serial}{after}"));
    let paths: Vec<String> = paths.collect();
    let requests: Vec<_> = paths.iter().map(|path| get(path)).collect();
    // The first time builds them, and shows what the others are to send.
    let (flat, tree) = (beside.join("flat"), beside.join("tree"));
    std::fs::create_dir_all(&flat).unwrap();
    let mut bytes = 0;
    let mut reader = Reader::open(server.address);
    for (path, request) in paths.iter().zip(&requests) {
        let body = reader.body(request);
        bytes += body.len();
        let file = tree.join(&path[1..]);
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(file, &body).unwrap();
        std::fs::write(flat.join(path.replace('/', "+")), body).unwrap();
    }
    let bare = Server::start("bare", &flat);
    let nginx = Nginx::start(&tree, &beside.join("nginx"), media_type);
    let requests = shuffled(vec![requests; TIMES].concat());
    let mut taken: [Vec<Load>; 3] = std::array::from_fn(|_| Vec::new());
    for _ in 0..ROUNDS {
        taken[0].push(load(server.address, ASKING, &requests, 200));
        taken[1].push(load(bare.address, ASKING, &requests, 200));
        if let Ok(nginx) = &nginx {
            taken[2].push(load(nginx.address, ASKING, &requests, 200));
        }
    }
    let [ours, bare, static_files] = taken;
    let rates = |loads: &[Load]| Taken(loads.iter().map(|load| load.rate).collect());
    let p99 = |loads: &[Load]| Taken(loads.iter().map(|load| load.p99 * 1e3).collect());
    let work = format!(
        "{says}, {} serials, {} bytes each",
        paths.len(),
        bytes / paths.len()
    );
    let peer = "bare actix handler, the same bytes";
    row(
        &work,
        peer,
        " /s",
        &(rates(&ours), rates(&bare)),
        Asked::AtLeast(0.6),
    );
    row(
        &format!("{says}, p99"),
        peer,
        " ms",
        &(p99(&ours), p99(&bare)),
        Asked::AtMost(5.0),
    );
    match nginx {
        Ok(_) => {
            let taken = (rates(&ours), rates(&static_files));
            row(
                &work,
                "nginx, the same bytes as static files",
                " /s",
                &taken,
                Asked::AtLeast(0.5),
            );
        }
        Err(why) => skipped(&work, &why),
    }
}

/// Something new is recorded of a piece and released; then its proof is asked for, once, on a connection that stands.
fn after_a_newer_entry(server: &Server, token: &str, pieces: &[(Serial, PieceId)]) {
    let mut draw = Draw::new([11; 32]);
    let mut taken = Vec::new();
    let mut reader = Reader::open(server.address);
    for (serial, piece) in pieces.iter().step_by(pieces.len() / MOVED).take(MOVED) {
        let request = format!(
            "POST /v1/pieces/{piece}/reservation HTTP/1.1\r\nhost: book\r\nauthorization: Bearer {token}\r\n\
             idempotency-key: \"{}\"\r\nif-match: \"{VERSION}\"\r\ncontent-type: application/json\r\n\
             content-length: 2\r\n\r\n{{}}",
            draw.uuid()
        );
        load(server.address, 2, &[request.into_bytes()], 201);
        // Both sides begin alike, since a machine that has slept is slow at first: a pause (checkpoints come once a second), a
        // small request, then what is timed.
        pause(&mut reader);
        let request = get(&format!("/v1/serials/{serial}/proof"));
        let start = Instant::now();
        let file = reader.body(&request);
        let ours = start.elapsed().as_secs_f64();
        let signed = signed(&file);
        let signed: Vec<_> = signed
            .iter()
            .map(|(entry, key)| (entry.as_slice(), key))
            .collect();
        pause(&mut reader);
        let by_the_library = seconds(|| verify_by_the_library(&signed));
        pause(&mut reader);
        let by_ours = seconds(|| record::verify_batch(&signed).unwrap());
        taken.push((ours, by_the_library, by_ours));
    }
    let middle = |of: fn(&(f64, f64, f64)) -> f64| median(taken.iter().map(of).collect());
    let ours = middle(|t| t.0);
    for (by, limit, asked) in [
        ("ed25519-dalek", middle(|t| t.1), "<= 2"),
        ("our own equation", middle(|t| t.2), ""),
    ] {
        let (ours, limit, ratio) = (ours * 1e3, limit * 1e3, ours / limit);
        bound(
            &format!("first proof after a newer entry | batch-verifying its signatures by {by}"),
            &format!("{ours:.2} ms | {limit:.2} ms | {ratio:.2}"),
            asked,
        );
    }
}

/// Verifies signatures together as `ed25519-dalek` does, which takes every key for another.
fn verify_by_the_library(signed: &[(&[u8], &PublicKey)]) {
    let (mut messages, mut signatures, mut keys) = (Vec::new(), Vec::new(), Vec::new());
    for (entry, key) in signed {
        let dot = entry.iter().rposition(|byte| *byte == b'.').unwrap();
        let signature = URL_SAFE_NO_PAD.decode(&entry[dot + 1..]).unwrap();
        messages.push(&entry[..dot]);
        signatures.push(Signature::from_slice(&signature).unwrap());
        keys.push(VerifyingKey::from_bytes(&key.to_bytes()).unwrap());
    }
    ed25519_dalek::verify_batch(&messages, &signatures, &keys).unwrap();
}

fn pause(reader: &mut Reader) {
    std::thread::sleep(Duration::from_millis(1_500));
    reader.body(&get("/healthz"));
}

/// The entries of a proof file, each with the key that signed it.
fn signed(file: &[u8]) -> Vec<(Vec<u8>, PublicKey)> {
    let told: serde_json::Value = serde_json::from_slice(file).unwrap();
    let proofs = told["proofs"].as_array().unwrap().iter();
    let entries: Vec<Vec<u8>> = proofs
        .map(|proof| {
            let proof = TlogProof::parse(proof.as_str().unwrap()).unwrap();
            let mut entry = proof.extra.unwrap();
            assert_eq!(entry.pop(), Some(b'~'));
            entry
        })
        .collect();
    let read: Vec<_> = entries.iter().map(|entry| record::read(entry).unwrap()).collect();
    let keys: HashMap<String, PublicKey> = read
        .iter()
        .flat_map(|entry| entry.events())
        .filter_map(|event| match event {
            Event::KeyAdded(key) => Some((key.kid.clone(), PublicKey::from_base64url(&key.x).unwrap())),
            _ => None,
        })
        .collect();
    let signers: Vec<PublicKey> = read.iter().map(|entry| keys[&entry.kid].clone()).collect();
    entries.into_iter().zip(signers).collect()
}
