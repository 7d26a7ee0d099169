//! What a server takes while it does nothing, for a connection that stays open, and what it writes for a command.

use super::books::{beside_the_build, found_at};
use super::client::load;
use super::commands::Commanded;
use super::server::Server;
use super::table::{Asked, ROUNDS, Taken, scaled, value};
use std::net::TcpStream;
use std::time::Duration;

/// Connections that stay open and ask nothing: fewer than a process may have files here.
const IDLE: usize = 800;
/// Over how many connections commands come whose writing is measured, and how many.
const LOADS: [(usize, usize); 2] = [(2, 1_000), (128, 9_000)];

pub fn rows() {
    let mut rest = Taken(Vec::new());
    let mut connection = Taken(Vec::new());
    for _ in 0..ROUNDS {
        let dir = beside_the_build();
        let folder = found_at(&dir.path().join("book"));
        let server = Server::start("book", folder.path());
        let before = server.resident();
        rest.0.push(before / 1048576.0);
        let open: Vec<_> = (0..IDLE)
            .map(|_| TcpStream::connect(server.address).unwrap())
            .collect();
        std::thread::sleep(Duration::from_secs(1));
        connection
            .0
            .push((server.resident() - before) / IDLE as f64 / 1024.0);
        drop(open);
    }
    value(
        "memory of a server with an empty book",
        " MiB",
        &rest,
        Asked::Nothing,
    );
    value(
        "memory for an open connection that asks nothing",
        " KiB",
        &connection,
        Asked::Nothing,
    );
    for each in LOADS {
        written(each);
    }
}

/// What is written to the disk for a command, against the bytes of its entry.
fn written((connections, commands): (usize, usize)) {
    let commands = scaled(commands);
    let mut book = Commanded::start(commands * ROUNDS);
    let mut amplified = Taken(Vec::new());
    for _ in 0..ROUNDS {
        let requests = book.requests(commands);
        let before = book.server.written();
        load(book.server.address, connections, &requests, 201);
        // Views and tiles are written later, and belong to it.
        std::thread::sleep(Duration::from_secs(2));
        book.server.settle();
        amplified
            .0
            .push((book.server.written() - before) / (commands * book.entry) as f64);
    }
    value(
        &format!("bytes written to the disk for a byte of an entry, {connections} connections"),
        "",
        &amplified,
        Asked::Nothing,
    );
}
