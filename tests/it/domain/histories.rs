//! Random histories: whatever a workshop does, in whatever order, what must always hold does.

use super::bench::{Bench, WORKSHOP, reading};
use pourbook::domain::*;
use pourbook::metal::{Mass, Metal};
use proptest::prelude::*;
use std::collections::HashSet;
use uuid::Uuid;

/// Numbers from which a step makes its choices.
type Choice = (u8, u32, u32, u32);

/// One of many, by a number; ids are sorted first, so that a failing case can be run again.
fn one<T: Clone>(items: &[T], by: u32) -> Option<T> {
    (!items.is_empty()).then(|| items[by as usize % items.len()].clone())
}

fn grams(units: i64) -> pourbook::metal::Reading {
    // Whole steps of 0.01 g, written as such a scale shows them.
    let mass = Mass::from_units((units.max(0) / 1000) * 1000).unwrap();
    reading(&mass.to_text(2))
}

struct Shop {
    bench: Bench,
}

impl Shop {
    fn pieces(&self, is: impl Fn(&Piece) -> bool) -> Vec<PieceId> {
        let mut ids: Vec<PieceId> = self
            .bench
            .book
            .pieces()
            .filter(|piece| is(piece))
            .map(|piece| piece.piece)
            .collect();
        ids.sort_unstable();
        ids
    }

    fn melts(&self, is: impl Fn(&Melt) -> bool) -> Vec<MeltId> {
        let mut ids: Vec<MeltId> = self
            .bench
            .book
            .melts()
            .filter(|melt| is(melt))
            .map(|melt| melt.melt)
            .collect();
        ids.sort_unstable();
        ids
    }

    fn session(&self) -> SessionId {
        let open = self
            .bench
            .book
            .sessions()
            .find(|session| session.state == SessionState::Open);
        open.map_or(SessionId(Uuid::from_u128(0xdead)), |session| session.session)
    }

    fn jar(&self, residue: Residue) -> Jar {
        self.bench
            .book
            .jars()
            .find(|jar| jar.residue == residue)
            .unwrap()
            .clone()
    }

    /// Around a mass: mostly as it is, sometimes a little off, sometimes far off.
    fn around(mass: Mass, by: u32) -> pourbook::metal::Reading {
        let off = match by % 10 {
            0 => 5_000,
            1 => -5_000,
            2 => 1_000,
            3 => -1_000,
            4 => -40_000,
            _ => 0,
        };
        grams(mass.units() + off)
    }

    fn charge(&self, a: u32, b: u32, c: u32) -> Command {
        let mut lots: Vec<Lot> = self.bench.book.lots().cloned().collect();
        lots.sort_by_key(|lot| lot.number);
        let lots = (0..b % 3)
            .filter_map(|i| one(&lots, a.wrapping_add(i)))
            .map(|lot| LotDraw {
                lot: lot.lot,
                mass: grams(i64::from(c % 200) * 100_000),
            })
            .collect();
        let closed = self.melts(|melt| melt.state == MeltState::Closed);
        let condemned = self.pieces(|piece| piece.state == PieceState::Condemned);
        let (prills, lemel) = (self.jar(Residue::Prills), self.jar(Residue::Lemel));
        let jars = [prills, lemel]
            .into_iter()
            .filter(|jar| b % 5 == 1 && !jar.mass.is_zero());
        ChargeMelt {
            metal: if a.is_multiple_of(7) {
                Metal::Gold
            } else {
                Metal::Silver
            },
            session: self.session(),
            lots,
            heels: one(&closed, c)
                .into_iter()
                .filter(|_| b.is_multiple_of(2))
                .collect(),
            jars: jars
                .map(|jar| JarDraw {
                    jar: jar.jar,
                    mass: Self::around(jar.mass, c),
                })
                .collect(),
            pieces: one(&condemned, a).into_iter().collect(),
            note: None,
        }
        .into()
    }

    fn pour(&self, a: u32, b: u32, c: u32) -> Option<Command> {
        let melt = one(&self.melts(|melt| melt.state == MeltState::Open), a)?;
        let series = SeriesId(self.bench.id(if c.is_multiple_of(4) { "DW" } else { "TW" }));
        let shape = Shape::parse(if b.is_multiple_of(3) { "slab" } else { "oval" }).unwrap();
        Some(
            PourPieces {
                melt,
                pours: vec![Pour { series, shape }; 1 + (b % 4) as usize],
            }
            .into(),
        )
    }

    /// Pieces whose melt is weighed out.
    fn settled(&self, is: impl Fn(&Piece) -> bool) -> Vec<PieceId> {
        let closed = |melt: MeltId| {
            self.bench
                .book
                .melt(melt)
                .is_some_and(|melt| melt.state == MeltState::Closed)
        };
        self.pieces(|piece| is(piece) && closed(piece.melt))
    }

    fn weigh(&self, a: u32, b: u32, c: u32) -> Option<Command> {
        let (stage, pieces) = match a % 3 {
            0 => (
                Stage::FromMould,
                self.pieces(|piece| piece.state == PieceState::Poured),
            ),
            1 => (
                Stage::Finished,
                self.settled(|piece| piece.state == PieceState::Graded),
            ),
            _ => (Stage::Final, self.settled(|piece| piece.serial.is_some())),
        };
        let mut items: Vec<Weighing> = Vec::new();
        for i in 0..1 + b % 7 {
            let piece = one(&pieces, b.wrapping_add(i))?;
            // Now and then a tray names a piece twice, and is refused.
            if items.iter().any(|item| item.piece == piece) && !a.is_multiple_of(20) {
                continue;
            }
            let row = self.bench.book.piece(piece)?;
            let cast = grams(4_990_000 + i64::from(c.wrapping_add(i * 31) % 150) * 1000);
            let mass = row
                .mass()
                .map_or(cast, |mass| Self::around(mass, c.wrapping_add(i)));
            items.push(Weighing { piece, mass });
        }
        Some(
            WeighPieces {
                session: self.session(),
                stage,
                items,
            }
            .into(),
        )
    }

    fn weigh_out(&self, a: u32, b: u32) -> Option<Command> {
        let melt = self
            .bench
            .book
            .melt(one(&self.melts(|melt| melt.state == MeltState::Open), a)?)?;
        let pieces = Mass::checked_sum(
            melt.pieces
                .iter()
                .filter_map(|id| self.bench.book.piece(*id)?.mass()),
        )?;
        let left = melt.charge.minus(pieces).units();
        let prills = (b.is_multiple_of(3)).then(|| JarDraw {
            jar: self.jar(Residue::Prills).jar,
            mass: grams(50_000),
        });
        let heel = left - i64::from(b % 50) * 1000 - if prills.is_some() { 50_000 } else { 0 };
        Some(
            CloseMelt {
                melt: melt.melt,
                session: self.session(),
                heel: grams(heel),
                prills,
                note: None,
            }
            .into(),
        )
    }

    fn finish(&self, a: u32, b: u32) -> Option<Command> {
        let piece = one(&self.settled(|piece| piece.state == PieceState::Graded), a)?;
        let before = self.bench.book.piece(piece)?.mass()?;
        let off = [0, 1_000, 50_000, 120_000, -1_000, -90_000][b as usize % 6];
        let items = vec![Weighing {
            piece,
            mass: grams(before.units() - off),
        }];
        Some(
            FinishPieces {
                session: self.session(),
                jar: self.jar(Residue::Lemel).jar,
                items,
            }
            .into(),
        )
    }

    fn checks(&self, a: u32, b: u32) -> Command {
        let (nominal, session) = (Mass::parse("100").unwrap(), self.session());
        let reading = reading(if b.is_multiple_of(6) { "100.10" } else { "100.01" });
        if self.bench.book.session(session).is_none() {
            let scale = ScaleId(self.bench.id("S"));
            return OpenSession {
                scale,
                nominal,
                reading,
            }
            .into();
        }
        match a % 3 {
            0 => CheckSession {
                session,
                nominal,
                reading,
            }
            .into(),
            _ => CloseSession {
                session,
                nominal,
                reading,
            }
            .into(),
        }
    }

    fn command(&self, (kind, a, b, c): Choice) -> Option<Command> {
        let graded = |grade: Grade| {
            self.pieces(|piece| {
                piece.state == PieceState::Graded
                    && piece
                        .grading
                        .as_ref()
                        .is_some_and(|grading| grading.grade == grade)
            })
        };
        let note = None;
        // Without a session nothing can be weighed: mostly one is opened first.
        if a % 4 > 0 && self.bench.book.session(self.session()).is_none() {
            return Some(self.checks(a, b));
        }
        Some(match kind % 18 {
            0 => ReceiveLot {
                metal: if a.is_multiple_of(5) {
                    Metal::Gold
                } else {
                    Metal::Silver
                },
                fineness: pourbook::metal::Fineness::parse(["999.9", "999.0", "925"][b as usize % 3])
                    .unwrap(),
                basis: [FinenessBasis::Assayed, FinenessBasis::Declared][c as usize % 2],
                session: self.session(),
                mass: grams(i64::from(c % 900) * 100_000),
                invoiced: None,
                owner: None,
                seller: None,
                document: None,
                price: None,
                note,
            }
            .into(),
            1 | 2 => self.checks(a, b),
            3 | 4 => self.charge(a, b, c),
            5 | 6 => self.pour(a, b, c)?,
            7..=9 => self.weigh(a, b, c)?,
            10 => self.weigh_out(a, b)?,
            11 => self.finish(a, b)?,
            12 => {
                let (grade, reason) = [
                    (Grade::Under, CondemnReason::Under),
                    (Grade::Over, CondemnReason::Over),
                    (Grade::Faulty, CondemnReason::Faulty),
                    (Grade::Accepted, CondemnReason::Unwanted),
                ][b as usize % 4];
                CondemnPiece {
                    piece: one(&graded(grade), a)?,
                    reason,
                    note,
                }
                .into()
            }
            13 => MovePiece {
                piece: one(&graded(Grade::Under), a)?,
                to: SeriesId(self.bench.id("DW")),
                note,
            }
            .into(),
            14 if b % 5 > 0 => GiveSerials {
                pieces: self
                    .settled(|piece| piece.state == PieceState::Graded)
                    .into_iter()
                    .skip(a as usize % 3)
                    .take(1)
                    .collect(),
            }
            .into(),
            14 => GiveSerials {
                pieces: graded(Grade::Accepted)
                    .into_iter()
                    .take(1 + b as usize % 4)
                    .collect(),
            }
            .into(),
            15 => {
                let pieces = self.pieces(|piece| piece.state == PieceState::Serialled);
                NumberPieces {
                    pieces: one(&pieces, a).into_iter().chain(one(&pieces, b)).collect(),
                }
                .into()
            }
            16 => {
                let ready =
                    |piece: &Piece| matches!(piece.state, PieceState::Numbered | PieceState::Serialled);
                IssueCertificates {
                    pieces: one(&self.pieces(ready), a).into_iter().collect(),
                }
                .into()
            }
            _ if a.is_multiple_of(2) => {
                let piece = one(&self.pieces(|piece| piece.certificate.is_some()), b)?;
                SupersedeCertificate {
                    piece,
                    reason: SupersedeReason::Damaged,
                    note,
                }
                .into()
            }
            _ => FaultPiece {
                piece: one(&self.pieces(|_| true), b)?,
                fault: Fault::Crack,
                note,
            }
            .into(),
        })
    }

    /// What must hold after every command.
    fn holds(&self) {
        self.bench.holds_every_gram();
        let mut serials = HashSet::new();
        let mut numbers = HashSet::new();
        for piece in self.bench.book.pieces() {
            assert!(
                piece
                    .serial
                    .iter()
                    .all(|serial| serials.insert(serial.to_string())),
                "a serial was given twice"
            );
            if let Some(number) = piece.number {
                let series = self.bench.book.series(piece.series).unwrap();
                let size = series
                    .shapes
                    .iter()
                    .find(|size| size.shape == piece.shape)
                    .unwrap()
                    .size;
                assert!((1..=size).contains(&number), "number {number} of {size}");
                assert!(
                    numbers.insert((piece.series, piece.shape.clone(), number)),
                    "a number was given twice"
                );
            }
            assert_eq!(piece.state == PieceState::Remelted, piece.remelted.is_some());
        }
        for lot in self.bench.book.lots() {
            assert!(lot.left <= lot.mass.mass());
        }
        for certificate in self.bench.book.certificates() {
            let newest = self.bench.book.piece(certificate.piece).unwrap().certificate
                == Some(certificate.certificate);
            assert_eq!(
                certificate.superseded.is_none(),
                newest,
                "one certificate of a piece is in force"
            );
        }
    }
}

/// Runs the steps; how many were taken, and how many refused.
fn run(steps: &[Choice]) -> (Shop, usize, usize) {
    let mut shop = Shop {
        bench: Bench::with(&[WORKSHOP]),
    };
    let (mut taken, mut refused) = (0, 0);
    for step in steps {
        let Some(command) = shop.command(*step) else {
            continue;
        };
        let before = shop.bench.book.clone();
        match shop.bench.decide(&command) {
            Ok(_) => {
                taken += 1;
                shop.holds();
            }
            Err(_) => {
                refused += 1;
                assert!(
                    shop.bench.book == before,
                    "a refusal changed the book: {command:?}"
                );
            }
        }
    }
    (shop, taken, refused)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, max_shrink_iters: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_done_what_must_hold_does(steps in prop::collection::vec(any::<Choice>(), 60..160)) {
        let (shop, _, _) = run(&steps);
        shop.bench.replays();
    }
}

/// The random histories reach what they are meant to test: else they prove nothing.
#[test]
fn random_histories_reach_certificates_remelts_and_a_full_edition() {
    let mut reached = std::collections::BTreeSet::new();
    let (mut taken, mut refused) = (0, 0);
    let mut draw = Draw::new([4; 32]);
    for _ in 0..60 {
        let steps: Vec<Choice> = (0..400)
            .map(|_| {
                let b = draw.bytes();
                let number = |at: usize| u32::from_be_bytes([b[at], b[at + 1], b[at + 2], b[at + 3]]);
                (b[0], number(4), number(8), number(12))
            })
            .collect();
        let (shop, took, refusals) = run(&steps);
        taken += took;
        refused += refusals;
        let kinds = shop
            .bench
            .entries
            .iter()
            .flat_map(|entry| &entry.drafts)
            .map(|draft| draft.event.kind());
        reached.extend(kinds);
        let series = shop.bench.book.series(SeriesId(shop.bench.id("TW"))).unwrap();
        if series
            .numbers
            .iter()
            .zip(&series.shapes)
            .any(|(given, size)| *given == size.size)
        {
            reached.insert("a full edition");
        }
    }
    for kind in [
        "a full edition",
        "jar.filled",
        "melt.closed",
        "piece.finished",
        "piece.moved",
        "piece.remelted",
        "piece.numbered",
        "certificate.issued",
        "certificate.superseded",
        "session.closed",
        "piece.faulted",
    ] {
        assert!(reached.contains(kind), "{kind} was never reached: {reached:?}");
    }
    assert!(taken > 1_000 && refused > 300, "{taken} taken, {refused} refused");
}
