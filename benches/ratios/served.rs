//! The row of durable commands over HTTP, against one-row inserts; and the servers that rows over HTTP need.

use super::client::{Server, load};
use super::million::found_at;
use super::postgres::Cluster;
use super::shop::Shop;
use super::table::{ROUNDS, bound, interleave, row, skipped};
use pourbook::domain::*;
use pourbook::http::{Role, Tokens};
use pourbook::node::{BookFolder, Line, open_desk};
use std::net::SocketAddr;
use std::path::Path;
use std::time::Duration;

/// Connections that send commands.
const COMMANDING: usize = 128;
/// How long the server may go on writing behind the last command: views and tiles, once a second each.
const BEHIND: Duration = Duration::from_secs(3);
/// Commands of one measurement.
const COMMANDS: usize = 8_000;

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
        pourbook::node::serve(&BookFolder::at(folder), listen, Line::Plain).unwrap();
    } else {
        super::shown::bare(folder, listen);
    }
}

/// A token for the office, written into the book.
pub fn token(folder: &BookFolder) -> String {
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
    let mut used = [0.0; 4];
    let rates = interleave(
        || {
            let requests: Vec<_> = pieces.by_ref().take(COMMANDS).map(&mut request).collect();
            let before = server.cpu();
            let rate = load(server.address, COMMANDING, &requests, 201).rate;
            // What is written behind the commands is counted with them.
            std::thread::sleep(BEHIND);
            let after = server.cpu();
            used = std::array::from_fn(|i| used[i] + after[i] - before[i]);
            rate
        },
        || cluster.inserts(clients).unwrap(),
    );
    row(&format!("{work}, {clients} clients"), rates, ">= 1.2");
    let [writer, views, tiles, rest] = used.map(|micros| micros / (COMMANDS * ROUNDS) as f64);
    let value = format!(
        "writer {writer:.0}, views {views:.0}, tiles {tiles:.1}, handlers and the rest {rest:.0} microseconds"
    );
    bound("processor time of the server for one of them", &value, "none");
}
