//! What one operation costs in books of growing size, as a table and a chart; and what a book takes of memory and disk.
//!
//! One book is made longer from size to size. What is asked of a server is asked on one connection, one after another; proofs and
//! pages are each of a piece that nobody asked for before, so that nothing kept answers.

use super::audit::audited;
use super::books::Grown;
use super::chart::{Line, chart};
use super::client::Reader;
use super::opening::open;
use super::server::Server;
use super::shop::{PIECES, TURN};
use super::shown::get;
use super::table::{Asked, ROUNDS, Taken, figure, median, seconds, value};
use super::turns::turns;
use std::path::Path;

/// Questions of one kind; there are as many certified pieces for proofs, and for pages.
const ASKED: usize = 36;
/// Questions that are reckoned from the whole book.
const RECKONED: usize = 9;
/// Turns that are timed.
const TURNS: usize = 20;
/// What is measured at every size, in the order of `at`; each in microseconds.
const OPERATIONS: [&str; 9] = [
    "opening, for an entry",
    "audit, for an entry",
    "append, a command in a turn of 128",
    "proof file, not kept",
    "piece page, proof not kept",
    "statement of metal, first after a start",
    "statement of metal",
    "recall of a lot",
    "search for a serial",
];
/// Growth beyond that of the logarithm that is still taken for noise.
const NOISE: f64 = 1.5;

/// What a book of one size costs.
struct Size {
    entries: usize,
    pieces: usize,
    microseconds: [f64; 9],
    resident: f64,
    log: f64,
    vault: f64,
    derived: f64,
}

/// What is told of a size beside the operations.
type Taking = (&'static str, fn(&Size) -> f64);

/// Bytes of all files below a folder.
fn on_disk(folder: &Path) -> f64 {
    let mut bytes = 0.0;
    for item in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = item.path();
        bytes += if path.is_dir() {
            on_disk(&path)
        } else {
            item.metadata().map_or(0.0, |data| data.len() as f64)
        };
    }
    bytes
}

/// Microseconds that a reply takes, the middle of them all.
fn asked(reader: &mut Reader, requests: impl Iterator<Item = Vec<u8>>) -> f64 {
    median(
        requests
            .map(|request| seconds(|| drop(reader.body(&request))) * 1e6)
            .collect(),
    )
}

fn at(grown: &mut Grown, entries: usize) -> Size {
    let size = grown.to(entries);
    let each = |seconds: f64| seconds * 1e6 / size as f64;
    let opening = median((0..ROUNDS).map(|_| open("desk", grown.path()).seconds).collect());
    let reader = grown.reader();
    let audit = 1e6 / median((0..ROUNDS).map(|_| audited(&reader)).collect());
    let lot = reader.book().lots().next().unwrap().lot;
    let pieces = reader.book().pieces().count();
    drop(reader);
    let append = grown.at_the_desk(|shop| {
        let mut pieces = shop.pour((TURNS * TURN).div_ceil(PIECES)).into_iter();
        1e6 / turns(shop, &mut pieces, TURN, TURNS)
    });
    let server = Server::start("book", grown.path());
    let resident = server.resident();
    let mut connection = Reader::open(server.address);
    let (for_proofs, for_pages) = grown.certified.split_at(ASKED);
    let proof = |piece: &(_, _)| get(&format!("/v1/serials/{}/proof", piece.0));
    let proof = asked(&mut connection, for_proofs.iter().map(proof));
    let page = |piece: &(_, _)| get(&format!("/p/{}", piece.0));
    let page = asked(&mut connection, for_pages.iter().map(page));
    let office = |path: String| {
        format!(
            "GET {path} HTTP/1.1\r\nhost: book\r\nauthorization: Bearer {}\r\n\r\n",
            grown.token
        )
        .into_bytes()
    };
    let again = |path: &str| vec![office(path.to_owned()); RECKONED].into_iter();
    let first = asked(&mut connection, again("/v1/statement").take(1));
    let statement = asked(&mut connection, again("/v1/statement"));
    let recall = asked(&mut connection, again(&format!("/v1/lots/{lot}/recall")));
    let finds = grown
        .certified
        .iter()
        .map(|(serial, _)| office(format!("/v1/find?q={serial}")));
    let find = asked(&mut connection, finds);
    drop(server);
    let path = grown.path();
    Size {
        entries: size,
        pieces,
        microseconds: [
            each(opening),
            audit,
            append,
            proof,
            page,
            first,
            statement,
            recall,
            find,
        ],
        resident,
        log: on_disk(&path.join("log")),
        vault: on_disk(&path.join("vault")),
        derived: on_disk(&path.join("derived")),
    }
}

/// What grew by more than the logarithm of the size did, from the first size to the last.
fn faster_than_logarithmic(sizes: &[Size]) -> Vec<String> {
    let (first, last) = (&sizes[0], &sizes[sizes.len() - 1]);
    let fair = (last.entries as f64).ln() / (first.entries as f64).ln();
    let grew = |i: usize| last.microseconds[i] / first.microseconds[i];
    (0..OPERATIONS.len())
        .filter(|i| grew(*i) > fair * NOISE)
        .map(|i| format!("{} ({} times)", OPERATIONS[i], figure(grew(i))))
        .collect()
}

/// Grows the book through the sizes; the table and what it says, as Markdown. The chart goes to `chart_to`.
pub fn rows(grown: &mut Grown, sizes: &[usize], chart_to: &Path) -> String {
    let sizes: Vec<Size> = sizes.iter().map(|entries| at(grown, *entries)).collect();
    let heads: String = sizes
        .iter()
        .map(|size| format!(" {} |", figure(size.entries as f64)))
        .collect();
    let mut told = format!(
        "## Growth\n\nMicroseconds for one operation in books of so many entries, three of four of them weighings of one piece.\n\n\
         | operation |{heads}\n|---|{}\n",
        "---|".repeat(sizes.len())
    );
    for (i, operation) in OPERATIONS.iter().enumerate() {
        let cells: String = sizes
            .iter()
            .map(|size| format!(" {} |", figure(size.microseconds[i])))
            .collect();
        told.push_str(&format!("| {operation} |{cells}\n"));
    }
    let taken: [Taking; 4] = [
        ("memory of the server at rest, MiB", |size| {
            size.resident / 1048576.0
        }),
        ("bytes of `log/` for an entry", |size| {
            size.log / size.entries as f64
        }),
        ("bytes of `vault/` for an entry", |size| {
            size.vault / size.entries as f64
        }),
        ("bytes of `derived/` for an entry", |size| {
            size.derived / size.entries as f64
        }),
    ];
    for (says, of) in taken {
        let cells: String = sizes
            .iter()
            .map(|size| format!(" {} |", figure(of(size))))
            .collect();
        told.push_str(&format!("| {says} |{cells}\n"));
    }
    let grows = faster_than_logarithmic(&sizes);
    told.push_str(&match grows.is_empty() {
        true => "\nNothing grew faster than the logarithm of the size.\n".to_owned(),
        false => format!(
            "\nFaster than the logarithm of the size grew: {}.\n",
            grows.join(", ")
        ),
    });
    told.push_str("\n![Microseconds for one operation against the entries of the book](growth.svg)\n");
    println!("\n{told}");
    let lines = OPERATIONS.iter().enumerate().map(|(i, name)| Line {
        name,
        points: sizes
            .iter()
            .map(|size| (size.entries as f64, size.microseconds[i]))
            .collect(),
    });
    std::fs::write(chart_to, chart(&lines.collect::<Vec<_>>())).unwrap();
    let (first, last) = (&sizes[0], &sizes[sizes.len() - 1]);
    if last.pieces > first.pieces {
        let bytes = (last.resident - first.resident) / (last.pieces - first.pieces) as f64;
        value(
            &format!(
                "memory for a million pieces, from {} to {} of them",
                first.pieces, last.pieces
            ),
            " MiB",
            &Taken(vec![bytes * 1e6 / 1048576.0]),
            Asked::Nothing,
        );
    }
    told
}
