//! The rows of opening a long book: how long it takes after `kill -9`, and how much memory the process ever held.
//!
//! A child process opens it, so that nothing that making it used is counted.

use super::books::Grown;
use super::client::load;
use super::commands::weighing;
use super::server::{CHILD, Server};
use super::shop::PIECES;
use super::table::{Asked, ROUNDS, Taken, row, seconds, value};
use pourbook::domain::Draw;
use pourbook::node::{BookFolder, Node, open_desk};
use sha2::{Digest, Sha256};
use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

/// Commands that are answered before the process is killed.
const BEFORE: usize = 270;

/// Opens as the environment says, and prints seconds, peak memory in KiB, CPU seconds.
pub fn child(what: &str) {
    let (how, path) = what.split_once(':').unwrap();
    let folder = BookFolder::at(Path::new(path));
    let start = Instant::now();
    let told = || {
        println!(
            "{} {} {}",
            start.elapsed().as_secs_f64(),
            peak_kib(),
            cpu_seconds()
        )
    };
    if how == "opens-desk" {
        let desk = open_desk(&folder).unwrap();
        told();
        drop(desk);
    } else {
        let node = Node::open(&folder).unwrap();
        let size = node.app.store.head().size;
        assert!(node.app.views.wait_for(size - 1, Duration::from_secs(1_800)));
        told();
        node.stop().unwrap();
    }
}

/// What an opening took.
pub struct Opened {
    pub seconds: f64,
    pub peak_bytes: f64,
    pub cpu_seconds: f64,
}

/// Opens in a child: the `desk` alone, or with its `views` as a server does.
pub fn open(how: &str, path: &Path) -> Opened {
    let output = Command::new(std::env::current_exe().unwrap())
        .env(CHILD, format!("opens-{how}:{}", path.display()))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let told = String::from_utf8(output.stdout).unwrap();
    let mut words = told.split_whitespace().map(|word| word.parse::<f64>().unwrap());
    let mut next = || words.next().unwrap();
    Opened {
        seconds: next(),
        peak_bytes: next() * 1024.0,
        cpu_seconds: next(),
    }
}

/// Reads and hashes all files of the log in one go.
fn read_and_hash(book: &Path) {
    let mut hash = Sha256::new();
    let mut paths: Vec<_> = std::fs::read_dir(book.join("log"))
        .unwrap()
        .map(|item| item.unwrap().path())
        .filter(|path| path.is_file())
        .collect();
    paths.sort();
    for path in paths {
        hash.update(std::fs::read(path).unwrap());
    }
    black_box(hash.finalize());
}

pub fn rows(grown: &mut Grown, entries: usize) {
    let size = grown.to(entries);
    let pieces = grown.at_the_desk(|shop| shop.pour((BEFORE * ROUNDS).div_ceil(PIECES)));
    let first = open("views", grown.path());
    value(
        &format!("first opening of {size} entries by serve, or after `rebuild`: builds the views"),
        " s",
        &Taken(vec![first.seconds]),
        Asked::Nothing,
    );
    let mut draw = Draw::new([13; 32]);
    let (mut ours, mut limit, mut opened) = (Taken(Vec::new()), Taken(Vec::new()), Vec::new());
    for pieces in pieces.chunks(BEFORE).take(ROUNDS) {
        let server = Server::start("book", grown.path());
        let weigh = |piece: &_| weighing(grown.session, *piece, &grown.token, &mut draw);
        let requests: Vec<_> = pieces.iter().map(weigh).collect();
        load(server.address, 32, &requests, 201);
        // Dropped, the process is killed.
        drop(server);
        let took = open("views", grown.path());
        ours.0.push(took.seconds);
        opened.push(took);
        limit.0.push(seconds(|| read_and_hash(grown.path())));
    }
    row(
        &format!("opening {size} entries after kill -9, as serve does, until it may answer"),
        "reading and hashing the log in one go",
        " s",
        &(ours, limit),
        Asked::AtMost(6.0),
    );
    let taken = |of: fn(&Opened) -> f64, opened: &[Opened]| Taken(opened.iter().map(of).collect());
    let cpu = taken(|o| o.cpu_seconds, &opened);
    value("the same, processor time", " s", &cpu, Asked::Nothing);
    let peak = taken(|o| o.peak_bytes / 1048576.0, &opened);
    value("the same, memory at most", " MiB", &peak, Asked::AtMost(1024.0));
    let desk: Vec<_> = (0..ROUNDS).map(|_| open("desk", grown.path())).collect();
    value(
        "opening without views",
        " s",
        &taken(|o| o.seconds, &desk),
        Asked::AtMost(6.0),
    );
}

/// User and system time of all threads so far, from /proc (ticks of 10 ms).
fn cpu_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after = stat.rsplit(')').next().unwrap_or_default();
    let ticks = after.split_whitespace().skip(11).take(2);
    ticks.filter_map(|ticks| ticks.parse::<f64>().ok()).sum::<f64>() / 100.0
}

/// The most memory that this process ever held, KiB.
fn peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().strip_suffix(" kB")?.trim().parse().ok())
        .unwrap_or(0)
}
