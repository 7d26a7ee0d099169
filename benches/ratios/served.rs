//! The rows over HTTP: durable commands against one-row inserts, and proof replies against a handler that does nothing
//! but send the same bytes.

use super::client::{Server, bodies, load};
use super::million::found_at;
use super::postgres::Cluster;
use super::shop::{Shop, mass, reading};
use super::table::{ROUNDS, bound, interleave, row, skipped};
use actix_web::web::{self, Bytes, Data, Path as InPath};
use actix_web::{App, HttpResponse, HttpServer};
use pourbook::domain::*;
use pourbook::http::{Role, Tokens};
use pourbook::node::{BookFolder, open_desk};
use std::collections::HashMap;
use std::net::SocketAddr;
use std::path::Path;

/// Connections that send commands.
const COMMANDING: usize = 128;
/// Connections that ask for proofs.
const ASKING: usize = 64;
/// Commands of one measurement.
const COMMANDS: usize = 8_000;
/// Serials whose proofs are asked for.
const SERIALS: usize = 10_000;

/// Serves as the environment of a child says: `how:port:folder`.
pub fn child(what: &str) {
    let mut parts = what.splitn(3, ':');
    let (how, port, folder) = (
        parts.next().unwrap(),
        parts.next().unwrap(),
        parts.next().unwrap(),
    );
    let listen = SocketAddr::from(([127, 0, 0, 1], port.parse().unwrap()));
    let folder = Path::new(folder);
    if how == "book" {
        pourbook::node::serve(&BookFolder::at(folder), listen).unwrap();
    } else {
        bare(folder, listen);
    }
}

/// The limit: a handler that looks bytes up by the serial and sends them with the same headers.
fn bare(folder: &Path, listen: SocketAddr) {
    let files = std::fs::read_dir(folder).unwrap().map(|item| {
        let path = item.unwrap().path();
        let serial = path.file_name().unwrap().to_str().unwrap().to_owned();
        (serial, Bytes::from(std::fs::read(path).unwrap()))
    });
    let files: Data<HashMap<String, Bytes>> = Data::new(files.collect());
    let reply = |files: Data<HashMap<String, Bytes>>, serial: InPath<String>| async move {
        let body = files.get(serial.as_str()).unwrap().clone();
        HttpResponse::Ok()
            .insert_header(("content-type", "application/json"))
            .insert_header(("cache-control", "no-cache"))
            .body(body)
    };
    actix_web::rt::System::new()
        .block_on(async move {
            let factory = move || {
                App::new()
                    .app_data(files.clone())
                    .route("/v1/serials/{serial}/proof", web::get().to(reply))
            };
            HttpServer::new(factory).bind(listen).unwrap().run().await
        })
        .unwrap();
}

/// A token for the office, written into the book.
fn token(folder: &BookFolder) -> String {
    let mut tokens = Tokens::read(&folder.tokens()).unwrap();
    let token = tokens.add(&mut Draw::new([6; 32]), Role::Office, None, None);
    tokens.write(&folder.tokens()).unwrap();
    token
}

pub fn commands() {
    let work = "durable commands over HTTP, 128 connections | PostgreSQL inserts";
    let dir = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let folder = found_at(&dir.path().join("book"));
    let mut shop = Shop::begin(open_desk(&folder).unwrap(), Draw::new([8; 32]));
    shop.turn = 2_048;
    let mut pieces = shop
        .pour((COMMANDS * ROUNDS).div_ceil(super::shop::PIECES))
        .into_iter();
    let (session, token) = (shop.session, token(&folder));
    shop.desk.release().unwrap();
    let mut draw = shop.draw;
    drop(shop.desk);
    let server = Server::start("book", folder.path());
    let cluster = match Cluster::start() {
        Ok(cluster) => cluster,
        Err(why) => return skipped(work, &why),
    };
    let tried = [32, 64, 128].map(|clients| (cluster.inserts(clients).unwrap(), clients));
    let (_, clients) = tried.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
    let mut request = |piece: PieceId| {
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
    };
    let mut used = [0.0; 3];
    let rates = interleave(
        || {
            let requests: Vec<_> = pieces.by_ref().take(COMMANDS).map(&mut request).collect();
            let before = server.cpu();
            let rate = load(server.address, COMMANDING, &requests, 201);
            let after = server.cpu();
            used = std::array::from_fn(|i| used[i] + after[i] - before[i]);
            rate
        },
        || cluster.inserts(clients).unwrap(),
    );
    row(&format!("{work}, {clients} clients"), rates, ">= 1.2");
    let [writer, views, rest] = used.map(|micros| micros / (COMMANDS * ROUNDS) as f64);
    let value = format!("writer {writer:.0}, views {views:.0}, handlers and the rest {rest:.0} microseconds");
    bound("processor time of the server for one of them", &value, "none");
}

/// A book with certified pieces; their serials.
fn certified(folder: &BookFolder) -> Vec<Serial> {
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
    serials.into_iter().take(SERIALS).collect()
}

pub fn proofs() {
    let dir = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let folder = found_at(&dir.path().join("book"));
    let serials = certified(&folder);
    let server = Server::start("book", folder.path());
    let request = |serial: &Serial| {
        format!("GET /v1/serials/{serial}/proof HTTP/1.1\r\nhost: book\r\n\r\n").into_bytes()
    };
    let requests: Vec<_> = serials.iter().map(request).collect();
    // The first time builds them, and shows what the other handler is to send.
    let bare = dir.path().join("bare");
    std::fs::create_dir(&bare).unwrap();
    let mut bytes = 0;
    for (serial, body) in serials.iter().zip(bodies(server.address, &requests)) {
        bytes += body.len();
        std::fs::write(bare.join(serial.to_string()), body).unwrap();
    }
    let limit = Server::start("bare", &bare);
    let mut draw = Draw::new([3; 32]);
    let mut shuffled: Vec<_> = requests
        .into_iter()
        .map(|request| (draw.bytes(), request))
        .collect();
    shuffled.sort();
    let shuffled: Vec<_> = shuffled.into_iter().map(|(_, request)| request).collect();
    let rates = interleave(
        || load(server.address, ASKING, &shuffled, 200),
        || load(limit.address, ASKING, &shuffled, 200),
    );
    let work = format!(
        "proof replies, {} serials, {} bytes each | bare handler",
        serials.len(),
        bytes / serials.len()
    );
    row(&work, rates, ">= 0.5");
}
