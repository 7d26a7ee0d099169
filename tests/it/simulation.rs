//! The whole writer on a disk that fails: random commands, faults at random operations of store and vault, power cuts.
//!
//! After each restart every answer that was given still stands, with the same index and leaf; the book is that of a
//! replay; the views, which stand in a folder of their own and end at any moment too, answer as views that were built anew
//! from the log and have the rows of the book, whether they followed, caught up, or were deleted; every released checkpoint is one that the tree went
//! through. A failing seed is named: run it again with
//! `SEED=<n>`; `SLOW=1` runs many more.

use crate::shop::{self, mass, reading};
use pourbook::check::Replay;
use pourbook::domain::*;
use pourbook::log::{Fault, FaultKind, FileStore, FileStoreOptions, MemoryFiles, Store};
use pourbook::metal::{Fineness, Metal};
use pourbook::proof::{Checkpoint, verify_consistency};
use pourbook::views::{Follower, Heard, Views};
use pourbook::writer::{Ask, Desk, Observer, Submission};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

const ORIGIN: &str = "simulation.example/log";

struct World {
    seed: u64,
    chance: Draw,
    files: MemoryFiles,
    now: i64,
    desk: Option<Desk>,
    /// Every submission that was answered with success, and the answer.
    answered: Vec<(Submission, u64, pourbook::proof::Hash)>,
    released: Vec<String>,
    /// Where the views stand, as `derived/` does beside a book.
    derived: tempfile::TempDir,
    views: Option<Views>,
    counted: Counted,
}

/// What a run went through.
#[derive(Clone, Copy, Debug, Default)]
struct Counted {
    answers: usize,
    restarts: u32,
    /// How often the views were compared: as they had followed, behind the log, after their folder was deleted.
    followed: u32,
    behind: u32,
    deleted: u32,
    /// How many entries were corrected.
    corrections: usize,
}

impl World {
    fn new(seed: u64) -> Self {
        let mut bytes = [0; 32];
        bytes[..8].copy_from_slice(&seed.to_be_bytes());
        let files = MemoryFiles::new();
        FileStore::create(Path::new("/book"), &files, &[5; 32]).unwrap();
        let mut world = Self {
            seed,
            chance: Draw::new(bytes),
            files,
            now: 1_767_340_800,
            desk: None,
            answered: Vec::new(),
            released: Vec::new(),
            derived: tempfile::tempdir().unwrap(),
            views: None,
            counted: Counted::default(),
        };
        world.open();
        let keys = shop::founding(ORIGIN, Timestamp(world.now), &mut world.chance);
        keys.into_iter().for_each(|key| world.submit(vec![key]));
        world
    }

    fn below(&mut self, bound: usize) -> usize {
        usize::from(self.chance.bytes()[0]) * 256 % bound.max(1)
            + usize::from(self.chance.bytes()[1]) % bound.max(1) % 7 % bound.max(1)
    }

    fn pick<T: Copy>(&mut self, from: &[T]) -> Option<T> {
        let place = usize::from(self.chance.bytes()[3]) % from.len().max(1);
        from.get(place).copied()
    }

    fn open(&mut self) {
        let mut chance = Draw::new(self.chance.bytes());
        let options = FileStoreOptions {
            segment_bytes: 64 * 1024,
            ..FileStoreOptions::new(Box::new(move || chance.bytes()))
        };
        let store = FileStore::open(Path::new("/book"), options, Arc::new(self.files.clone()));
        let store = Arc::new(store.unwrap_or_else(|error| panic!("seed {}: {error}", self.seed)));
        let keys = shop::deskkeys(ORIGIN, store.secret().unwrap());
        let views = crate::views::reopen(&self.derived.path().join("views"));
        self.counted.behind += u32::from(views.position() < store.head().size);
        let desk = Desk::open(store, ORIGIN, keys, observer(self.follower(views.clone())));
        self.views = Some(views);
        self.desk = Some(desk.unwrap_or_else(|error| panic!("seed {}: {error}", self.seed)));
    }

    /// Some of the time all stays in memory, some of the time nearly nothing does.
    fn follower(&self, views: Views) -> Follower {
        let held = [2_000, 100_000_000, 20_000];
        Follower::holding(views, held[self.counted.restarts as usize % held.len()])
    }

    /// One turn. When the disk fails the power goes, and the book is opened again.
    fn submit(&mut self, submissions: Vec<Submission>) {
        self.now += 30;
        let seed = self.chance.bytes();
        let outcome = self
            .desk
            .as_mut()
            .unwrap()
            .turn(Timestamp(self.now), seed, submissions.clone());
        match outcome {
            Ok(outcomes) => {
                for (submission, outcome) in submissions.into_iter().zip(outcomes) {
                    if let Ok(recorded) = outcome {
                        self.answered.push((submission, recorded.index, recorded.leaf));
                    }
                }
                if self.chance.bytes()[0] < 60 {
                    match self.desk.as_mut().unwrap().release() {
                        Ok(()) => self.released.extend(
                            self.desk
                                .as_ref()
                                .unwrap()
                                .published()
                                .released()
                                .map(|r| r.note.clone()),
                        ),
                        Err(_) => self.power_cut(),
                    }
                }
            }
            Err(_) => self.power_cut(),
        }
    }

    fn power_cut(&mut self) {
        // Some of the time the position was written just before; else the views begin again from an older one.
        if self.chance.bytes()[0] < 100 {
            self.views.as_ref().unwrap().settle().unwrap();
        }
        self.desk = None;
        self.views = None;
        self.counted.restarts += 1;
        if self.chance.bytes()[0] < 60 {
            self.derived = tempfile::tempdir().unwrap();
            self.counted.deleted += 1;
        }
        let seed = u64::from(self.chance.bytes()[0]);
        self.files.crash(seed);
        self.open();
        self.look();
    }

    /// Holds what is on disk against what was said.
    fn look(&mut self) {
        let seed = self.seed;
        let now = Timestamp(self.now);
        let draw = self.chance.bytes();
        let desk = self.desk.as_mut().unwrap();
        let again: Vec<Submission> = self
            .answered
            .iter()
            .map(|(submission, ..)| submission.clone())
            .collect();
        let outcomes = desk.turn(now, draw, again).unwrap();
        for ((submission, index, leaf), outcome) in self.answered.iter().zip(outcomes) {
            let recorded = outcome.unwrap_or_else(|error| {
                panic!("seed {seed}: {} was answered, now: {error}", submission.request)
            });
            assert!(
                recorded.repeated,
                "seed {seed}: {} is recorded twice",
                submission.request
            );
            assert_eq!((recorded.index, recorded.leaf), (*index, *leaf), "seed {seed}");
        }
        self.look_at_views();
        let desk = self.desk.as_ref().unwrap();
        let store = desk.store();
        let mut replay = Replay::new(ORIGIN);
        let again =
            &|each: &mut dyn FnMut(u64, &[u8]) -> bool| store.scan(0, each).map_err(|e| e.to_string());
        let replayed = replay.run(|each| store.scan(0, each), again, |_| {}).unwrap();
        replayed.unwrap_or_else(|error| panic!("seed {seed}: {error}"));
        let replayed = replay.book;
        assert!(
            replayed == *desk.book(),
            "seed {seed}: the book differs from its replay"
        );
        for metal in Metal::ALL {
            assert_eq!(
                desk.book()
                    .masses(metal)
                    .unwrap()
                    .difference()
                    .unwrap()
                    .mass
                    .units(),
                0,
                "seed {seed}: {metal}"
            );
        }
        let published = desk.published();
        let tree = published.tree();
        for note in &self.released {
            let old = Checkpoint::peek(note).unwrap();
            let path = tree
                .consistency(old.size, tree.size())
                .unwrap_or_else(|| panic!("seed {seed}: a released checkpoint is beyond the log"));
            verify_consistency(old.size, tree.size(), &old.root, &tree.root(), &path)
                .unwrap_or_else(|error| panic!("seed {seed}: {error}"));
        }
    }

    /// The views as they are answer like views that followed the log from nothing.
    fn look_at_views(&mut self) {
        let (store, views) = (self.desk.as_ref().unwrap().store(), self.views.as_ref().unwrap());
        let fresh = Views::temporary().unwrap();
        crate::views::follow(&*store, fresh.clone());
        let (seen, wanted) = (
            crate::views::answers(&*store, views),
            crate::views::answers(&*store, &fresh),
        );
        for (seen, wanted) in seen.iter().zip(&wanted) {
            assert_eq!(
                seen, wanted,
                "seed {}: the views differ from a rebuild",
                self.seed
            );
        }
        assert_eq!(seen.len(), wanted.len(), "seed {}", self.seed);
        assert_eq!(views.position(), store.head().size, "seed {}", self.seed);
        crate::views::assert_rows_of(self.desk.as_ref().unwrap().book(), views);
        self.counted.followed += 1;
    }

    fn command(&mut self) -> Option<Command> {
        let book = self.desk.as_ref().unwrap().book();
        let open_sessions: Vec<SessionId> = sorted(
            book.sessions()
                .filter(|s| s.state == SessionState::Open)
                .map(|s| s.session),
        );
        let scales: Vec<ScaleId> = sorted(book.scales().map(|s| s.scale));
        let lots: Vec<LotId> = sorted(book.lots().map(|lot| lot.lot));
        let series: Vec<SeriesId> = sorted(book.all_series().map(|series| series.series));
        let melts: Vec<MeltId> = sorted(book.melts().map(|melt| melt.melt));
        let pieces: Vec<PieceId> = sorted(book.pieces().map(|piece| piece.piece));
        let weights = ["50.42", "49.10", "50.90", "51.60", "50.02", "0.30", "12.5"];
        let weight = weights[usize::from(self.chance.bytes()[5]) % weights.len()];
        let sales: Vec<SaleId> = sorted(book.sales().map(|sale| sale.sale));
        let size = self.desk.as_ref().unwrap().store().head().size;
        let command = match self.below(38) {
            0 => shop::scale().into(),
            1 | 2 => OpenSession {
                scale: self.pick(&scales)?,
                nominal: mass("100"),
                reading: reading("100.00"),
            }
            .into(),
            3 => CloseSession {
                session: self.pick(&open_sessions)?,
                nominal: mass("100"),
                reading: reading("100.01"),
            }
            .into(),
            4 | 5 => {
                let note = Some("simulated".to_owned());
                let lot = shop::lot(self.pick(&open_sessions)?);
                ReceiveLot { note, ..lot }.into()
            }
            6 => shop::series(["TW", "DW", "KW"][usize::from(self.chance.bytes()[6]) % 3]).into(),
            7 => shop::charge(self.pick(&open_sessions)?, self.pick(&lots)?, "160.00").into(),
            8 => PourPieces {
                melt: self.pick(&melts)?,
                pours: vec![Pour {
                    series: self.pick(&series)?,
                    shape: Shape::parse("oval").unwrap(),
                    mould: None,
                }],
            }
            .into(),
            9 | 10 => WeighPieces {
                session: self.pick(&open_sessions)?,
                stage: Stage::FromMould,
                items: vec![Weighing {
                    piece: self.pick(&pieces)?,
                    mass: reading(weight),
                }],
            }
            .into(),
            11 => CloseMelt {
                melt: self.pick(&melts)?,
                session: self.pick(&open_sessions)?,
                heel: reading("20.00"),
                prills: None,
                note: None,
            }
            .into(),
            12 => GiveSerials {
                pieces: vec![self.pick(&pieces)?],
            }
            .into(),
            13 | 14 => WeighPieces {
                session: self.pick(&open_sessions)?,
                stage: Stage::Final,
                items: vec![Weighing {
                    piece: self.pick(&pieces)?,
                    mass: reading(weight),
                }],
            }
            .into(),
            15 => IssueCertificates {
                pieces: vec![self.pick(&pieces)?],
            }
            .into(),
            16 => SellPieces {
                items: vec![SaleItem {
                    piece: self.pick(&pieces)?,
                    price: None,
                }],
                order: None,
                buyer: Some("somebody".to_owned()),
                document: None,
                note: None,
            }
            .into(),
            17 => {
                let sale = self.pick(&sales)?;
                let pieces = self.desk.as_ref().unwrap().book().sale(sale)?.pieces.clone();
                self.on_its_way(sale, pieces)
            }
            18 => self.come_back(&pieces)?,
            19 => CondemnPiece {
                piece: self.pick(&pieces)?,
                reason: CondemnReason::Unwanted,
                note: None,
            }
            .into(),
            20..=23 => self.correction(size)?,
            24..=33 => self.of_the_office(&pieces, &series, &open_sessions)?,
            _ => EraseField {
                index: u64::from(self.chance.bytes()[7]) % 40,
                event: 0,
                member: "note".to_owned(),
                reason: EraseReason::Request,
                entry: String::new(),
            }
            .into(),
        };
        Some(command)
    }

    fn submission(&mut self, command: Command) -> Submission {
        Submission {
            request: self.chance.uuid(),
            by: OperatorId(uuid::Uuid::from_u128(7)),
            at: None,
            expected: Vec::new(),
            ask: Ask::Command(command),
        }
    }

    fn tell(&mut self, command: impl Into<Command>) -> &Book {
        let submission = self.submission(command.into());
        let answers = self.answered.len();
        self.submit(vec![submission]);
        assert_eq!(
            self.answered.len(),
            answers + 1,
            "the beginning goes without a refusal"
        );
        self.desk.as_ref().unwrap().book()
    }

    /// A workshop with three pieces in stock and four that are struck and may go to the assay office: from there chance
    /// reaches the rest of a piece's life.
    fn begin(&mut self) {
        let scale = self.tell(shop::scale()).scales().next().unwrap().scale;
        let opening = OpenSession {
            scale,
            nominal: mass("100"),
            reading: reading("100.00"),
        };
        let session = self.tell(opening).sessions().next().unwrap().session;
        let lot = self.tell(shop::lot(session)).lots().next().unwrap().lot;
        let open = self.tell(shop::series("DW")).all_series().next().unwrap().series;
        let struck = self.tell(edition("ST")).all_series();
        let struck = struck.map(|row| row.series).find(|id| *id != open).unwrap();
        let melt = self
            .tell(shop::charge(session, lot, "400.00"))
            .melts()
            .next()
            .unwrap()
            .melt;
        let shape = Shape::parse("oval").unwrap();
        let pour = |series| Pour {
            series,
            shape: shape.clone(),
            mould: None,
        };
        let pours = [open, open, open, struck, struck, struck, struck]
            .map(pour)
            .into();
        let poured = self
            .tell(PourPieces { melt, pours })
            .melt(melt)
            .unwrap()
            .pieces
            .clone();
        let tray = |stage, pieces: &[PieceId]| WeighPieces {
            session,
            stage,
            items: pieces
                .iter()
                .map(|piece| Weighing {
                    piece: *piece,
                    mass: reading("50.60"),
                })
                .collect(),
        };
        self.tell(tray(Stage::FromMould, &poured));
        self.tell(CloseMelt {
            melt,
            session,
            heel: reading("45.70"),
            prills: None,
            note: None,
        });
        self.tell(GiveSerials {
            pieces: poured.clone(),
        });
        let (stock, marked) = poured.split_at(3);
        self.tell(tray(Stage::Final, stock));
        self.tell(CloseSession {
            session,
            nominal: mass("100"),
            reading: reading("100.00"),
        });
        self.tell(IssueCertificates {
            pieces: stock.to_vec(),
        });
        let register = RegisterDie {
            owner: DieOwner::Workshop,
            series: None,
            label: None,
            note: None,
        };
        let die = self.tell(register).dies().next().unwrap().die;
        let strike = |piece: &PieceId| Strike {
            piece: *piece,
            outcome: StrikeOutcome::Good,
        };
        let items = marked.iter().map(strike).collect();
        self.tell(StrikePieces {
            die,
            items,
            note: None,
        });
    }

    /// Editions that are struck and hallmarked, their dies, consignments and orders; the refiner.
    fn of_the_office(
        &mut self,
        pieces: &[PieceId],
        series: &[SeriesId],
        sessions: &[SessionId],
    ) -> Option<Command> {
        let book = self.desk.as_ref().unwrap().book();
        let dies: Vec<DieId> = sorted(book.dies().map(|die| die.die));
        let sent: Vec<ConsignmentId> = sorted(book.consignments().map(|row| row.consignment));
        let orders: Vec<OrderId> = sorted(book.orders().map(|order| order.order));
        let refinings: Vec<RefiningId> = sorted(book.refinings().map(|row| row.refining));
        let oval = Shape::parse("oval").unwrap();
        let note = None;
        Some(match self.below(15) {
            0 => edition(["ST", "SN"][usize::from(self.chance.bytes()[6]) % 2]).into(),
            1 => RegisterDie {
                owner: DieOwner::Workshop,
                series: None,
                label: None,
                note,
            }
            .into(),
            2 | 3 => StrikePieces {
                die: self.pick(&dies)?,
                items: vec![Strike {
                    piece: self.pick(pieces)?,
                    outcome: [StrikeOutcome::Good, StrikeOutcome::Weak]
                        [usize::from(self.chance.bytes()[7] > 200)],
                }],
                note,
            }
            .into(),
            4 | 5 => SendConsignment {
                pieces: vec![self.pick(pieces)?],
                fineness: Fineness::parse("999").unwrap(),
                marks: vec![MarkKind::Sponsor, MarkKind::Fineness, MarkKind::Office],
                office: Some("Eastmarch Assay Hall".to_owned()),
                seal: None,
                note,
            }
            .into(),
            6 | 7 => {
                let consignment = self.pick(&sent)?;
                self.return_of(consignment)?
            }
            8 => NumberPieces {
                pieces: vec![self.pick(pieces)?],
            }
            .into(),
            9 => RecordOrder {
                series: self.pick(series)?,
                shapes: vec![ShapeCount {
                    shape: oval,
                    count: 1,
                }],
                buyer: None,
                note,
            }
            .into(),
            10 => ReservePiece {
                piece: self.pick(pieces)?,
                order: self.pick(&orders),
                buyer: None,
                note,
            }
            .into(),
            11 => SendToRefiner {
                metal: Metal::Silver,
                session: self.pick(sessions)?,
                jars: Vec::new(),
                pieces: vec![self.pick(pieces)?],
                refiner: None,
                seal: None,
                document: None,
                note,
            }
            .into(),
            12 => {
                let lots = self.desk.as_ref().unwrap().book().lots();
                let (lot, left) = lots.map(|lot| (lot.lot, lot.left)).min()?;
                let mass = reading(&left.to_text(2));
                TakeStock {
                    session: Some(self.pick(sessions)?),
                    lots: vec![LotWeighed { lot, mass }],
                    heels: Vec::new(),
                    jars: Vec::new(),
                    found: Vec::new(),
                    pieces: Some(PiecesSeen {
                        series: None,
                        seen: pieces.to_vec(),
                    }),
                    note,
                }
                .into()
            }
            13 => MeasureGravity {
                piece: self.pick(pieces)?,
                session: self.pick(sessions)?,
                method: Immersion::Cup,
                in_air: reading("50.60"),
                in_water: reading("4.82"),
                water: "21".parse().unwrap(),
            }
            .into(),
            _ => ReturnRefining {
                refining: self.pick(&refinings)?,
                outturn: None,
                settled: Some(Settled {
                    mass: mass("10"),
                    fineness: Fineness::parse("999").unwrap(),
                }),
                price: None,
                charge: None,
                document: None,
                note,
            }
            .into(),
        })
    }

    /// Everything that was sent comes back marked, or nothing of it does.
    fn return_of(&mut self, consignment: ConsignmentId) -> Option<Command> {
        let marked = self.chance.bytes()[0] < 180;
        let row = self.desk.as_ref().unwrap().book().consignment(consignment)?;
        let seen = |mark| MarkSeen { mark, legible: true };
        let hallmark = Hallmark {
            fineness: row.fineness,
            marks: vec![
                seen(MarkKind::Sponsor),
                seen(MarkKind::Fineness),
                seen(MarkKind::Office),
            ],
        };
        let lines = row.pieces.iter().map(|sent| ReturnLine {
            piece: sent.piece,
            outcome: if marked {
                AssayOutcome::Marked
            } else {
                AssayOutcome::Missing
            },
            hallmark: marked.then(|| hallmark.clone()),
            reason: None,
            assay: None,
        });
        let (lines, note) = (lines.collect(), None);
        Some(
            ReturnConsignment {
                consignment,
                lines,
                note,
            }
            .into(),
        )
    }

    fn on_its_way(&mut self, sale: SaleId, pieces: Vec<PieceId>) -> Command {
        let note = None;
        match self.below(4) {
            0 => CancelSale { sale, pieces, note }.into(),
            1 => DispatchPieces {
                sale,
                pieces,
                weight: None,
                seal: None,
                insured: None,
                carrier: None,
                tracking: None,
                note,
            }
            .into(),
            2 => LosePieces { sale, pieces, note }.into(),
            _ => DeliverPieces { sale, pieces, note }.into(),
        }
    }

    fn come_back(&mut self, pieces: &[PieceId]) -> Option<Command> {
        let (piece, note) = (self.pick(pieces)?, None);
        Some(match self.below(5) {
            0 => ReturnPiece { piece, note }.into(),
            1 => RestockPiece { piece, note }.into(),
            2 => FindPiece { piece, note }.into(),
            3 => RecoverPiece { piece, note }.into(),
            _ => StealPiece {
                piece,
                reference: None,
                note,
            }
            .into(),
        })
    }

    /// An entry is withdrawn or, if it was a weighing, given another weight.
    fn correction(&mut self, size: u64) -> Option<Command> {
        let weighings = self
            .answered
            .iter()
            .filter_map(|(submission, index, _)| match &submission.ask {
                Ask::Command(Command::WeighPieces(weighing)) => Some((*index, weighing.clone())),
                _ => None,
            });
        let weighings: Vec<(u64, WeighPieces)> = weighings.collect();
        let (index, instead) = if self.below(3) == 0 || weighings.is_empty() {
            (
                u64::try_from(self.below(usize::try_from(size).ok()?.max(1))).ok()?,
                None,
            )
        } else {
            let (index, mut weighing) = weighings[self.below(weighings.len()) % weighings.len()].clone();
            weighing.items[0].mass = reading(["50.30", "50.55", "49.80"][self.below(3) % 3]);
            (index, Some(Box::new(weighing.into())))
        };
        let command = CorrectEntries {
            corrections: vec![Correction { index, instead }],
            reason: CorrectionReason::Mistyped,
            note: None,
        };
        Some(command.into())
    }
}

/// An edition that must be struck and hallmarked.
fn edition(code: &str) -> OpenSeries {
    let limits = Limits {
        nominal: mass("50"),
        lower: mass("50"),
        upper: mass("51.2"),
    };
    OpenSeries {
        kind_of: SeriesKind::Edition,
        shapes: vec![ShapeSize {
            shape: Shape::parse("oval").unwrap(),
            size: 3,
        }],
        limits: Some(limits),
        marking: Marking::Required,
        ground: None,
        struck: true,
        ..shop::series(code)
    }
}

/// The views follow each entry as soon as it is durable.
fn observer(mut follower: Follower) -> Observer {
    Observer::new(follower.next(), move |told| {
        follower
            .follow(Heard {
                index: told.index,
                leaf: told.leaf,
                entry: &told.entry,
                rows: &told.rows,
                gone: &told.gone,
            })
            .unwrap();
    })
}

fn sorted<T: Ord>(ids: impl Iterator<Item = T>) -> Vec<T> {
    let mut ids: Vec<T> = ids.collect();
    ids.sort();
    ids
}

fn simulate(seed: u64, reached: &mut BTreeSet<&'static str>) -> Counted {
    let mut world = World::new(seed);
    let kinds = [
        FaultKind::Error,
        FaultKind::Torn,
        FaultKind::CrashBefore,
        FaultKind::CrashAfter,
    ];
    world.begin();
    for turn in 0..160 {
        if turn % 12 == 11 {
            let at = world.files.operations() + u64::from(world.chance.bytes()[8]) % 12;
            let kind = kinds[usize::from(world.chance.bytes()[9]) % kinds.len()];
            world.files.set_fault(Some(Fault { at, kind }));
        }
        let count = 1 + usize::from(world.chance.bytes()[10]) % 3;
        let mut submissions = Vec::new();
        for _ in 0..count {
            if let Some(command) = world.command() {
                submissions.push(world.submission(command));
            }
        }
        world.submit(submissions);
        if turn % 40 == 20 {
            // What looks reads the log too, and must not meet the fault.
            world.files.set_fault(None);
            world.look_at_views();
        }
    }
    world.files.set_fault(None);
    world.power_cut();
    let corrects =
        |submission: &Submission| matches!(submission.ask, Ask::Command(Command::CorrectEntries(_)));
    let corrections = world
        .answered
        .iter()
        .filter(|(submission, ..)| corrects(submission));
    let names = world
        .answered
        .iter()
        .filter_map(|(submission, ..)| match &submission.ask {
            Ask::Command(command) => Some(command.name()),
            Ask::KeyEntry(_) => None,
        });
    reached.extend(names);
    Counted {
        answers: world.answered.len(),
        corrections: corrections.count(),
        ..world.counted
    }
}

#[test]
fn nothing_that_was_answered_is_lost_or_doubled() {
    let seeds: Vec<u64> = match std::env::var("SEED") {
        Ok(seed) => vec![seed.parse().unwrap()],
        Err(_) if std::env::var_os("SLOW").is_some() => (0..200).collect(),
        Err(_) => (0..8).collect(),
    };
    let (mut all, mut reached) = (Counted::default(), BTreeSet::new());
    for seed in seeds {
        let counted = simulate(seed, &mut reached);
        all.answers += counted.answers;
        all.corrections += counted.corrections;
        all.restarts += counted.restarts;
        all.followed += counted.followed;
        all.behind += counted.behind;
        all.deleted += counted.deleted;
    }
    println!("{all:?} {reached:?}");
    if std::env::var_os("SEED").is_none() {
        for name in [
            "StrikePieces",
            "ReturnConsignment",
            "SellPieces",
            "StealPiece",
            "SendToRefiner",
            "TakeStock",
            "MeasureGravity",
            "CorrectEntries",
        ] {
            assert!(reached.contains(name), "no {name} was answered");
        }
    }
    assert!(
        all.answers > 100 && all.restarts > 8 && all.corrections > 8,
        "{all:?}"
    );
    assert!(
        all.followed > all.restarts && all.behind > 0 && all.deleted > 0,
        "{all:?}"
    );
}
