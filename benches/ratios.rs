//! What the book costs, held against what the same machine can do at most, in one run.
//!
//! Each row is our rate and a limit, taken in turns (ours, limit, ours, limit, ...) and as medians of three, so that a
//! busy machine slows both. The table is for reading; nothing here fails because a machine is slow.
//! `N=<entries>` sets the size of the book. Left out: PostgreSQL, HTTP, and the rate of proofs.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::float_arithmetic,
    clippy::print_stdout,
    clippy::disallowed_methods
)]

use pourbook::check::{Audit, BLOCK};
use pourbook::domain::*;
use pourbook::log::{FileStore, FileStoreOptions, MemoryStore, RealFiles, Store};
use pourbook::metal::{Fineness, Mass, Metal, Reading, ScaleClass};
use pourbook::proof::{NoteSigner, leaf_hash};
use pourbook::record::{KeyEntryDraft, PublicKey, Signer, seal_key_entry, verify_signature};
use pourbook::writer::{Ask, Desk, DeskKeys, Recorded, Submission};
use std::hint::black_box;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

const ORIGIN: &str = "ratios.example/book";
const NOW: Timestamp = Timestamp(1_767_340_800);
/// Both cores of the machine that this is meant for.
const WORKERS: usize = 2;
/// How often each rate is taken; the middle one counts.
const ROUNDS: usize = 3;
/// Submissions of a full turn, and melts that are worked on together.
const TURN: usize = 128;
/// Pieces of one melt.
const PIECES: usize = 9;

/// A workshop without hands: it keeps the desk busy.
struct Shop {
    desk: Desk,
    draw: Draw,
    session: Option<SessionId>,
    series: Option<SeriesId>,
}

fn deskkeys(secret: [u8; 32]) -> DeskKeys {
    DeskKeys {
        recorder: Signer::from_seed(&[2; 32]),
        log: NoteSigner::new(ORIGIN, &[3; 32]).unwrap(),
        secret,
    }
}

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

fn reading(text: &str) -> Reading {
    Reading::parse(text).unwrap()
}

impl Shop {
    /// Founds a book on an empty store: keys, scale, session, series.
    fn found(store: Arc<dyn Store>, secret: [u8; 32]) -> Self {
        let desk = Desk::open(store, ORIGIN, deskkeys(secret), Box::new(|_| {})).unwrap();
        let mut shop = Self {
            desk,
            draw: Draw::new([7; 32]),
            session: None,
            series: None,
        };
        shop.add_keys();
        let scale = RegisterScale {
            class: ScaleClass::II,
            e: mass("0.01"),
            d: mass("0.01"),
            max: mass("500"),
            verified: true,
            repeatability: mass("0.004"),
            label: None,
            note: None,
        };
        let scale = shop.record(vec![scale.into()], |event| match event {
            Event::ScaleRegistered(e) => Some(e.scale),
            _ => None,
        })[0];
        let opening = OpenSession {
            scale,
            nominal: mass("100"),
            reading: reading("100.00"),
        };
        let sessions = shop.record(vec![opening.into()], |event| match event {
            Event::SessionOpened(e) => Some(e.session),
            _ => None,
        });
        shop.session = sessions.first().copied();
        let series = OpenSeries {
            code: SeriesCode::parse("DW").unwrap(),
            kind_of: SeriesKind::Open,
            metal: Metal::Silver,
            fineness: Fineness::parse("999").unwrap(),
            unit: WeightUnit::Gram,
            shapes: Vec::new(),
            limits: None,
            digits: 4,
            marking: Marking::Exempt,
            ground: Some(ExemptGround::Bullion),
            exempt_below: None,
            exempt_from: None,
            unnumbered: false,
            number_on_metal: false,
            struck: false,
            spares_sold: false,
            title: Some("Driftweight".to_owned()),
            commissioner: None,
            decided: None,
            note: None,
        };
        let opened = shop.record(vec![series.into()], |event| match event {
            Event::SeriesOpened(e) => Some(e.series),
            _ => None,
        });
        shop.series = opened.first().copied();
        shop
    }

    fn add_keys(&mut self) {
        let mut newest = None;
        for (seed, role) in [(1, KeyRole::Root), (2, KeyRole::Recorder), (3, KeyRole::Log)] {
            let signer = Signer::from_seed(&[seed; 32]);
            let added = KeyAdded {
                kid: signer.kid().to_owned(),
                role,
                x: signer.public().to_base64url(),
            };
            let draft = KeyEntryDraft {
                iss: ORIGIN,
                jti: self.draw.uuid(),
                iat: NOW,
                by: OperatorId(uuid::Uuid::nil()),
                keys: newest,
                event: Event::from(added),
            };
            let entry = seal_key_entry(&draft, &Signer::from_seed(&[1; 32])).unwrap();
            newest = Some(leaf_hash(&entry));
            let mut submission = self.submission(SetClock {}.into());
            (submission.request, submission.by) = (draft.jti, draft.by);
            submission.ask = Ask::KeyEntry(entry);
            self.turn(vec![submission]);
        }
    }

    fn submission(&mut self, command: Command) -> Submission {
        Submission {
            request: self.draw.uuid(),
            by: OperatorId(uuid::Uuid::nil()),
            at: None,
            expected: Vec::new(),
            ask: Ask::Command(command),
        }
    }

    /// One turn, in which nothing may be refused.
    fn turn(&mut self, submissions: Vec<Submission>) -> Vec<Recorded> {
        let seed = self.draw.bytes();
        let outcomes = self.desk.turn(NOW, seed, submissions).unwrap();
        outcomes.into_iter().map(Result::unwrap).collect()
    }

    /// Records commands in full turns, and picks from their events.
    fn record<T>(&mut self, commands: Vec<Command>, pick: impl Fn(&Event) -> Option<T>) -> Vec<T> {
        let mut picked = Vec::new();
        let submissions: Vec<_> = commands.into_iter().map(|c| self.submission(c)).collect();
        for batch in submissions.chunks(TURN) {
            for recorded in self.turn(batch.to_vec()) {
                picked.extend(recorded.events.iter().filter_map(&pick));
            }
        }
        picked
    }

    /// Lots, one melt of each, and the pieces that are poured from it and not weighed yet.
    fn pour(&mut self, melts: usize) -> Vec<PieceId> {
        let (session, series) = (self.session.unwrap(), self.series.unwrap());
        let lot = ReceiveLot {
            metal: Metal::Silver,
            fineness: Fineness::parse("999.5").unwrap(),
            basis: FinenessBasis::Declared,
            session,
            mass: reading("480.00"),
            invoiced: None,
            owner: None,
            seller: Some("Pellworth Metals Counter".to_owned()),
            document: None,
            price: None,
            note: None,
        };
        let lots = self.record(vec![lot.into(); melts], |event| match event {
            Event::LotReceived(e) => Some(e.lot),
            _ => None,
        });
        let charge = |lot| ChargeMelt {
            metal: Metal::Silver,
            session,
            lots: vec![LotDraw {
                lot,
                mass: reading("480.00"),
            }],
            heels: Vec::new(),
            jars: Vec::new(),
            pieces: Vec::new(),
            note: None,
        };
        let charges = lots.into_iter().map(|lot| charge(lot).into()).collect();
        let melts = self.record(charges, |event| match event {
            Event::MeltCharged(e) => Some(e.melt),
            _ => None,
        });
        let oval = Pour {
            series,
            shape: Shape::parse("oval").unwrap(),
        };
        let pours = melts.into_iter().map(|melt| PourPieces {
            melt,
            pours: vec![oval.clone(); PIECES],
        });
        self.record(pours.map(Command::from).collect(), |event| match event {
            Event::PiecePoured(e) => Some(e.piece),
            _ => None,
        })
    }

    fn weighing(&self, piece: PieceId) -> Command {
        WeighPieces {
            session: self.session.unwrap(),
            stage: Stage::FromMould,
            items: vec![Weighing {
                piece,
                mass: reading("50.42"),
            }],
        }
        .into()
    }

    fn size(&self) -> usize {
        self.desk.published().tree().size() as usize
    }
}

/// A valid book of `n` entries in memory: mostly single weighings, as in a workshop.
fn synthetic(n: usize) -> (Arc<dyn Store>, Vec<Vec<u8>>) {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new([]));
    let mut shop = Shop::found(Arc::clone(&store), [9; 32]);
    while shop.size() < n {
        let melts = TURN.min((n - shop.size()).div_ceil(PIECES + 3));
        let pieces = shop.pour(melts);
        let left = n.saturating_sub(shop.size());
        let weighings = pieces.into_iter().take(left).map(|p| shop.weighing(p)).collect();
        shop.record(weighings, |_| None::<()>);
    }
    let mut entries = Vec::new();
    store
        .scan(0, &mut |_, bytes| {
            entries.push(bytes.to_vec());
            true
        })
        .unwrap();
    (store, entries)
}

/// Things a second.
fn rate(count: usize, work: impl FnOnce()) -> f64 {
    let start = Instant::now();
    work();
    count as f64 / start.elapsed().as_secs_f64()
}

fn median(mut rates: Vec<f64>) -> f64 {
    rates.sort_by(f64::total_cmp);
    rates[rates.len() / 2]
}

/// Takes both rates in turns; their medians.
fn interleave(mut ours: impl FnMut() -> f64, mut limit: impl FnMut() -> f64) -> (f64, f64) {
    let taken: Vec<(f64, f64)> = (0..ROUNDS).map(|_| (ours(), limit())).collect();
    let (ours, limits) = taken.into_iter().unzip();
    (median(ours), median(limits))
}

fn row(work: &str, (ours, limit): (f64, f64), asked: &str) {
    let ratio = ours / limit;
    println!("{work:<58} | {ours:>10.0} | {limit:>10.0} | {ratio:>6.2} | {asked}");
}

fn audit(entries: &[Vec<u8>], note: &str) {
    let mut audit = Audit::new(ORIGIN, false, WORKERS);
    for block in entries.chunks(BLOCK) {
        audit.take(block).unwrap();
    }
    audit.finish(note).unwrap();
}

fn verify_each(entries: &[Vec<u8>]) {
    let (root, recorder) = (Signer::from_seed(&[1; 32]), Signer::from_seed(&[2; 32]));
    let signed: Vec<(&[u8], PublicKey)> = (0..)
        .zip(entries)
        .map(|(i, e)| {
            (
                e.as_slice(),
                if i < 3 { root.public() } else { recorder.public() },
            )
        })
        .collect();
    std::thread::scope(|scope| {
        for part in signed.chunks(signed.len().div_ceil(WORKERS)) {
            scope.spawn(move || {
                for (entry, key) in part {
                    verify_signature(entry, key).unwrap();
                }
            });
        }
    });
}

/// `count` commands in turns of `size`, each a weighing of another piece; what is sent is made before the clock runs.
fn turns(shop: &mut Shop, pieces: &mut impl Iterator<Item = PieceId>, size: usize, count: usize) -> f64 {
    let mut batches = Vec::new();
    for _ in 0..count {
        let commands: Vec<_> = pieces.take(size).map(|piece| shop.weighing(piece)).collect();
        batches.push(commands.into_iter().map(|c| shop.submission(c)).collect());
    }
    rate(size * count, || {
        for batch in batches {
            black_box(shop.turn(batch));
        }
    })
}

/// `fdatasync` of 4 KiB written into a file whose blocks are there already, a second.
fn syncs(path: &Path, count: usize) -> f64 {
    let mut file = std::fs::File::create(path).unwrap();
    file.write_all(&vec![1; 4096 * count]).unwrap();
    file.sync_all().unwrap();
    file.seek(SeekFrom::Start(0)).unwrap();
    rate(count, || {
        for _ in 0..count {
            file.write_all(&[2; 4096]).unwrap();
            file.sync_data().unwrap();
        }
    })
}

fn durable() {
    // Beside the build, since the folder for temporary files is often not on a disk.
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let book = folder.path().join("book");
    let files = Arc::new(RealFiles);
    FileStore::create(&book, &*files, &[5; 32]).unwrap();
    let mut chance = Draw::new([6; 32]);
    let options = FileStoreOptions::new(Box::new(move || chance.bytes()));
    let store = Arc::new(FileStore::open(&book, options, files).unwrap());
    let secret = store.secret().unwrap();
    let mut shop = Shop::found(store, secret);
    let mut pieces = shop.pour(2 * TURN).into_iter().cycle();
    for (size, count) in [(1, 100), (32, 40), (128, 20)] {
        let rates = interleave(
            || turns(&mut shop, &mut pieces, size, count),
            || syncs(&folder.path().join("preallocated"), 100),
        );
        let asked = if size == 1 {
            "none (a turn syncs vault and log)"
        } else {
            "none"
        };
        row(
            &format!("durable commands, {size} a turn | fdatasync"),
            rates,
            asked,
        );
    }
}

fn main() {
    let n = std::env::var("N").map_or(20_000, |n| n.parse().expect("N is a number of entries"));
    let (store, entries) = synthetic(n);
    let note = store.head().checkpoint.unwrap();
    let n = entries.len();
    println!("{n} entries, {WORKERS} workers, medians of {ROUNDS}; rates are things a second\n");
    println!(
        "{:<58} | {:>10} | {:>10} | {:>6} | asked",
        "work | limit", "ours", "limit", "ratio"
    );
    let rates = interleave(
        || rate(n, || audit(&entries, &note)),
        || rate(n, || verify_each(&entries)),
    );
    row("audit | signatures one by one, both cores", rates, "> 1");
    let rates = interleave(
        || {
            rate(n, || {
                black_box(
                    Desk::open(Arc::clone(&store), ORIGIN, deskkeys([9; 32]), Box::new(|_| {})).unwrap(),
                );
            })
        },
        || {
            rate(n, || {
                store
                    .scan(0, &mut |_, bytes| {
                        black_box(leaf_hash(bytes));
                        true
                    })
                    .unwrap();
            })
        },
    );
    row("opening | reading and hashing the same bytes", rates, "none");
    durable();
    println!("\nLeft out: PostgreSQL, HTTP, and the rate of proofs.");
}
