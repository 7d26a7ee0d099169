//! The rows of what strangers read: proof files and pages, against a handler that does nothing but send the same bytes,
//! and the first proof after a newer entry, against verifying the signatures of that file.

use super::client::{Load, Reader, Server, load};
use super::million::found_at;
use super::served::token;
use super::shop::{Shop, mass, reading};
use super::table::{ROUNDS, bound, median, row};
use actix_web::web::{self, Bytes, Data};
use actix_web::{App, HttpRequest, HttpResponse, HttpServer};
use pourbook::domain::*;
use pourbook::node::{BookFolder, open_desk};
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
/// Pieces that something new happens to.
const MOVED: usize = 20;

/// Version of a piece that is certified: poured, weighed, given its serial, finally weighed, certified.
const VERSION: u64 = 5;

/// What is asked of each serial: before it, after it, the media type, and what the row calls it.
const SHOWN: [(&str, &str, &str, &str); 2] = [
    ("/v1/serials/", "/proof", "application/json", "proof replies"),
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

/// A book with certified pieces; their serials.
fn certified(folder: &BookFolder, events: u64) -> Vec<(Serial, PieceId)> {
    let mut shop = Shop::begin(open_desk(folder).unwrap(), Draw::new([8; 32]));
    shop.turn = 2_048;
    let pieces = shop.pour(SERIALS.div_ceil(super::shop::PIECES));
    let session = shop.session;
    let weigh = |shop: &mut Shop, stage| {
        let weighings = pieces.chunks(9).map(|pieces| {
            let items = pieces.iter().map(|piece| Weighing {
                piece: *piece,
                mass: reading("50.42"),
            });
            WeighPieces {
                session,
                stage,
                items: items.collect(),
            }
            .into()
        });
        let weighings = weighings.collect();
        shop.record(weighings, |_| None::<()>);
    };
    weigh(&mut shop, Stage::FromMould);
    let melts: Vec<MeltId> = shop.desk.book().melts().map(|melt| melt.melt).collect();
    let closings = melts.into_iter().map(|melt| {
        CloseMelt {
            melt,
            session,
            heel: reading("26.00"),
            prills: None,
            note: None,
        }
        .into()
    });
    shop.record(closings.collect(), |_| None::<()>);
    let trays = |pieces: &[PieceId]| {
        GiveSerials {
            pieces: pieces.to_vec(),
        }
        .into()
    };
    let serials = shop.record(pieces.chunks(9).map(trays).collect(), |event| match event {
        Event::PieceSerialled(e) => Some(e.serial.clone()),
        _ => None,
    });
    weigh(&mut shop, Stage::Final);
    // The rest of the book is other work: a melt is 12 entries and 29 events.
    shop.work(usize::try_from(events * 12 / 29).unwrap());
    let closing = CloseSession {
        session,
        nominal: mass("100"),
        reading: reading("100.00"),
    };
    shop.record(vec![closing.into()], |_| None::<()>);
    let issues = pieces.chunks(9).map(|pieces| {
        IssueCertificates {
            pieces: pieces.to_vec(),
        }
        .into()
    });
    shop.record(issues.collect(), |_| None::<()>);
    shop.desk.release().unwrap();
    serials.into_iter().zip(pieces).take(SERIALS).collect()
}

fn get(path: &str) -> Vec<u8> {
    format!("GET {path} HTTP/1.1\r\nhost: book\r\n\r\n").into_bytes()
}

/// In an order that no cache of neighbours helps.
fn shuffled(requests: Vec<Vec<u8>>) -> Vec<Vec<u8>> {
    let mut draw = Draw::new([3; 32]);
    let mut mixed: Vec<_> = requests
        .into_iter()
        .map(|request| (draw.bytes(), request))
        .collect();
    mixed.sort();
    mixed.into_iter().map(|(_, request)| request).collect()
}

pub fn rows(events: u64) {
    let dir = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let folder = found_at(&dir.path().join("book"));
    let pieces = certified(&folder, events);
    let token = token(&folder);
    let server = Server::start("book", folder.path());
    for (number, (before, after, _, says)) in SHOWN.iter().enumerate() {
        let paths: Vec<String> = pieces
            .iter()
            .map(|(serial, _)| format!("{before}{serial}{after}"))
            .collect();
        let requests: Vec<_> = paths.iter().map(|path| get(path)).collect();
        // The first time builds them, and shows what the other handler is to send.
        let bare = dir.path().join(format!("bare{number}"));
        std::fs::create_dir(&bare).unwrap();
        let mut bytes = 0;
        let mut reader = Reader::open(server.address);
        for (path, request) in paths.iter().zip(&requests) {
            let body = reader.body(request);
            bytes += body.len();
            std::fs::write(bare.join(path.replace('/', "+")), body).unwrap();
        }
        let limit = Server::start("bare", &bare);
        let requests = shuffled(requests);
        let taken: Vec<(Load, Load)> = (0..ROUNDS)
            .map(|_| {
                let ours = load(server.address, ASKING, &requests, 200);
                (ours, load(limit.address, ASKING, &requests, 200))
            })
            .collect();
        let middle = |of: fn(&(Load, Load)) -> f64| median(taken.iter().map(of).collect());
        let each = bytes / paths.len();
        let work = format!(
            "{says}, {} serials, {each} bytes each | bare handler",
            paths.len()
        );
        row(&work, (middle(|t| t.0.rate), middle(|t| t.1.rate)), ">= 0.5");
        let (ours, limit) = (middle(|t| t.0.p99), middle(|t| t.1.p99));
        let value = format!(
            "{:.1} ms | {:.1} ms | {:.2}",
            ours * 1e3,
            limit * 1e3,
            ours / limit
        );
        bound(&format!("{says}, p99 | bare handler's"), &value, "< 5");
    }
    after_a_newer_entry(&server, &token, &pieces);
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
        let start = Instant::now();
        record::verify_batch(&signed).unwrap();
        taken.push((ours, start.elapsed().as_secs_f64()));
    }
    let middle = |of: fn(&(f64, f64)) -> f64| median(taken.iter().map(of).collect());
    let (ours, limit) = (middle(|t| t.0), middle(|t| t.1));
    let value = format!(
        "{:.2} ms | {:.2} ms | {:.2}",
        ours * 1e3,
        limit * 1e3,
        ours / limit
    );
    bound(
        "first proof after a newer entry | batch-verifying its signatures",
        &value,
        "<= 2",
    );
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
