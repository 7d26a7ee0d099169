//! Files for the other verifier: `scripts/agree` has this test write them, gives them to `api/check`, and compares.
//!
//! Four kinds: true files; files whose bytes, proofs or entries were altered by whoever has no key; the same entries spelled
//! another way; and logs that a workshop with its own keys lies in, event by event. What this verifier says of each is written
//! beside it. That nothing crashes is part of what is asked.

mod altered;
mod lies;
mod spelled;

use super::little_log::{LittleLog, said};
use super::{DemoBook, lives, serials, trust};
use crate::domain::bench::Bench;
use crate::domain::{histories, promises};
use pourbook::check::{ProofFile, Trust, check_piece};
use pourbook::domain::{Draw, PieceId, Serial};
use std::io::{BufWriter, Write};

/// Random numbers from a seed (splitmix64: G. Steele et al., Fast splittable pseudorandom number generators, 2014; the
/// constants from memory).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, bound: usize) -> usize {
        (self.roll() % bound.max(1) as u64) as usize
    }

    pub fn one<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[self.below(of.len())]
    }

    pub fn chance(&mut self, in_a_hundred: usize) -> bool {
        self.below(100) < in_a_hundred
    }
}

/// Where the files go: for each a line of JSON (what it is, whom it is checked by, what was found), then its bytes.
pub struct Out {
    to: BufWriter<std::fs::File>,
    pub count: usize,
}

impl Out {
    fn give(&mut self, kind: &str, bytes: &[u8], root: &str) {
        let trust = Trust {
            root: root.to_owned(),
            policy: None,
        };
        let report = check_piece(bytes, &trust);
        let line = serde_json::json!({
            "kind": kind, "root": root, "bytes": bytes.len(), "exit": report.exit_code(), "report": report,
        });
        writeln!(self.to, "{line}").unwrap();
        self.to.write_all(bytes).unwrap();
        self.count += 1;
    }

    fn file(&mut self, kind: &str, file: &ProofFile, root: &str) {
        self.give(kind, &file.to_bytes(), root);
    }
}

/// A book under its keys, and the pieces of it that have a serial.
pub struct Shelf {
    pub said: Vec<super::little_log::Said>,
    pub log: LittleLog,
    pub pieces: Vec<(PieceId, Serial)>,
}

impl Shelf {
    fn of(bench: &Bench) -> Self {
        let said = said(&bench.entries);
        let serialled = |piece: &pourbook::domain::Piece| Some((piece.piece, piece.serial.clone()?));
        let mut pieces: Vec<_> = bench.book.pieces().filter_map(serialled).collect();
        pieces.sort_unstable();
        Self {
            log: LittleLog::of(&said).unwrap(),
            said,
            pieces,
        }
    }
}

/// Benches that chance made.
fn random_benches() -> Vec<Bench> {
    let mut draw = Draw::new([31; 32]);
    let mut steps = |count| histories::steps(&mut draw, count);
    let mut benches = vec![
        histories::book(&steps(400)),
        histories::book_with_customers(&steps(400)),
    ];
    benches.extend((0..6).map(|_| promises::book(&steps(250))));
    benches
}

#[test]
#[ignore = "writes the files of scripts/agree"]
fn files_for_the_other_verifier() {
    let path = std::env::var("AGREE_FILES").expect("scripts/agree says where they go");
    let wanted: usize = std::env::var("AGREE_COUNT").map_or(4_000, |count| count.parse().unwrap());
    let seed: u64 = std::env::var("SEED").map_or(1, |seed| seed.parse().unwrap());
    let mut dice = Dice::new(seed);
    let mut out = Out {
        to: BufWriter::new(std::fs::File::create(path).unwrap()),
        count: 0,
    };
    let told: Vec<Shelf> = lives::benches().iter().map(Shelf::of).collect();
    let random: Vec<Shelf> = random_benches()
        .iter()
        .map(Shelf::of)
        .filter(|shelf| !shelf.pieces.is_empty())
        .collect();
    for shelf in told.iter().chain(&random) {
        for (piece, serial) in &shelf.pieces {
            out.file("true", &shelf.log.proof(*piece, serial), shelf.log.root());
        }
    }
    let demo = DemoBook::make();
    let reader = demo.reader();
    let root = trust(&reader).root;
    for serial in serials(&reader) {
        out.file("true, of the demo", &reader.proof(&serial).unwrap(), &root);
    }
    let left = wanted.saturating_sub(out.count);
    altered::write(&mut out, &told, &mut dice, left * 3 / 10);
    spelled::write(&mut out, &told, &mut dice, left * 3 / 10);
    let story = lies::shelf_of_log(&super::entries(&reader), serials(&reader).as_slice(), &reader);
    lies::beyond_counting(&mut out, &told[0]);
    lies::about_keys(&mut out, &told, &mut dice, left / 20);
    lies::write(&mut out, &story, &told, &random, &mut dice, wanted);
    out.to.flush().unwrap();
    println!("{} files", out.count);
}
