//! Random histories: whatever a workshop does, in whatever order, what must always hold does.

mod refining;
mod stocktakes;

use super::bench::{Bench, WORKSHOP, reading};
use pourbook::domain::*;
use pourbook::metal::gravity::FineEnough;
use pourbook::metal::water::WaterTemperature;
use pourbook::metal::{Mass, Metal};
use proptest::prelude::*;
use std::collections::HashSet;
use uuid::Uuid;

/// Numbers from which a step makes its choices.
pub type Choice = (u8, u32, u32, u32);

/// So many steps, drawn.
pub fn steps(draw: &mut Draw, count: usize) -> Vec<Choice> {
    (0..count).map(|_| step(draw.bytes())).collect()
}

/// The same, of which one in so many is of one kind.
fn steps_often(draw: &mut Draw, count: usize, kind: u8, one_in: u8) -> Vec<Choice> {
    let steps = (0..count).map(|_| draw.bytes()).map(|drawn| {
        let (chosen, a, b, c) = step(drawn);
        let often = drawn[1].is_multiple_of(one_in);
        (if often { kind } else { chosen }, a, b, c)
    });
    steps.collect()
}

fn step(drawn: [u8; 32]) -> Choice {
    let number = |at: usize| u32::from_be_bytes([drawn[at], drawn[at + 1], drawn[at + 2], drawn[at + 3]]);
    (drawn[0], number(4), number(8), number(12))
}

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
        let series = ["DW", "TW", "TW", "HM", "HM", "HM", "PN", "MT"][c as usize % 8];
        let series = SeriesId(self.bench.id(series));
        let shape = Shape::parse(if b.is_multiple_of(3) { "slab" } else { "oval" }).unwrap();
        Some(
            PourPieces {
                melt,
                pours: vec![
                    Pour {
                        series,
                        shape,
                        mould: None
                    };
                    1 + (b % 4) as usize
                ],
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

    /// A piece in water: mostly silver, sometimes what floats, or what a scale cannot tell.
    fn immerse(&self, a: u32, b: u32, c: u32) -> Option<Command> {
        let pieces = self.pieces(|piece| b.is_multiple_of(9) || piece.state != PieceState::Poured);
        let piece = one(&pieces, a)?;
        let mass = self.bench.book.piece(piece)?.mass().unwrap_or(Mass::ZERO);
        let displaced = match c % 12 {
            0 => 0,
            1 => mass.units(),
            2 => 100_000,
            _ => mass.units() * 10 / 105,
        };
        let in_air = Self::around(mass, c / 12);
        let (method, in_water) = match b.is_multiple_of(2) {
            true => (Immersion::Hung, grams(in_air.mass().units() - displaced)),
            false => (Immersion::Cup, grams(displaced)),
        };
        Some(
            MeasureGravity {
                piece,
                session: self.session(),
                method,
                in_air,
                in_water,
                water: WaterTemperature::from_units((b % 4_001) as u16)?,
            }
            .into(),
        )
    }

    /// A picture of some piece, one of few, so that the same one comes again.
    fn photograph(&self, a: u32, b: u32, c: u32) -> Option<Command> {
        Some(
            PhotographPiece {
                piece: one(&self.pieces(|_| true), a)?,
                photograph: PhotographHash::of(&[(b % 40) as u8]),
                thumbnail: PhotographHash::of(&[(b % 40) as u8, 0]),
                width: 65_530 + c % 7,
                height: 760 + c % 4,
                stage: PhotographStage::ALL[b as usize % 5],
                side: PhotographSide::ALL[c as usize % 5],
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
        if kind == refining::KIND && self.bench.book.owners().next().is_some() {
            return self.refining(a, b, c);
        }
        if kind == stocktakes::KIND && self.bench.book.stocktakes().next().is_some() {
            return Some(self.stocktake(a, b, c));
        }
        if (138..143).contains(&kind) {
            return self.immerse(a, b, c);
        }
        if kind == 143 {
            return self.photograph(a, b, c);
        }
        if (144..200).contains(&kind) {
            return self.marking(a, b, c);
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
                    .settled(|piece| {
                        matches!(piece.state, PieceState::Graded | PieceState::Struck)
                            && piece.serial.is_none()
                    })
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
                let pieces =
                    self.pieces(|piece| READY.contains(&piece.state) && (weighed(piece) || c % 4 == 0));
                NumberPieces {
                    pieces: one(&pieces, a)
                        .into_iter()
                        .chain(one(&pieces, b).filter(|_| b.is_multiple_of(3)))
                        .collect(),
                }
                .into()
            }
            16 => {
                let ready = |piece: &Piece| {
                    piece.state == PieceState::Numbered
                        || (READY.contains(&piece.state) && (weighed(piece) || c % 4 == 0))
                };
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
        self.refinings_hold();
        self.marks_hold();
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
            for gravity in &piece.gravities {
                let session = self.bench.book.session(gravity.session).unwrap();
                let step = self.bench.book.scale(session.scale).unwrap().d;
                let weighing =
                    gravity
                        .method
                        .weighing(&gravity.in_air, &gravity.in_water, gravity.water, step);
                assert_eq!(weighing.unwrap().fine_enough(), FineEnough::Yes);
                let weighed = piece.readings.iter().any(|reading| reading.index < gravity.index);
                assert!(weighed, "weighed in water before it was weighed");
            }
        }
        for lot in self.bench.book.lots() {
            assert!(
                lot.left
                    <= lot
                        .counted
                        .as_ref()
                        .map_or(lot.mass.mass(), |count| count.mass.mass())
            );
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

/// Dies and strikes, the assay office, spares and the close of an edition.
mod marking {
    use super::*;

    /// An edition that asks for a strike and a hallmark, one without numbers, one with them on the metal, an open series of
    /// a lower standard, dies, and pieces to begin with: a history is too short to get far from bare metal.
    pub(super) const SHOP: &[&str] = &[
        "edition HM silver 999 limits 50.00 50.00 51.20 required struck oval 2 slab 2",
        "edition PN silver 999 limits 50.00 50.00 51.20 exempt unnumbered oval 1 slab 1",
        "edition MT silver 999 limits 50.00 50.00 51.20 exempt number_on_metal struck spares_sold oval 1 slab 1",
        "open HX silver 925 required",
        "die DA workshop",
        "die DC commissioner for HM",
        "lot C silver 999.9 assayed 900.00 in D",
        "melt M in D silver lot C 620.00",
        "pour M HM oval P1 P2 P3 P4",
        "pour M HM slab P5 P6 P7",
        "pour M PN oval P8 P9",
        "pour M MT slab PA PB",
        "weigh from_mould in D P1 50.42 P2 50.50 P3 50.60 P4 50.44 P5 50.46 P6 50.48 P7 50.55 P8 50.51 P9 50.52 \
         PA 50.53 PB 50.54",
        "balance M in D heel 64.40",
        "strike DC P1 good P2 good P3 good P5 good P6 good",
        "serials P1 P2 P3 P5 P6",
    ];
    const LOOSE: &[&str] = &[
        "poured",
        "graded",
        "condemned",
        "serialled",
        "struck",
        "mis_struck",
        "at_office",
        "hallmarked",
        "unmarked",
        "spare",
        "numbered",
    ];
    const GOOD: &[&str] = &["sponsor", "fineness", "office", "date_letter"];

    impl Shop {
        pub(super) fn marking(&self, a: u32, b: u32, c: u32) -> Option<Command> {
            let note = None;
            Some(match c % 12 {
                0..=2 => self.strike(a, b)?,
                3 | 4 => self.consign(a, b)?,
                5 | 6 => self.back(a, b)?,
                7 | 8 => SparePieces {
                    pieces: one(
                        &self.pieces(|piece| READY.contains(&piece.state) && weighed(piece)),
                        a,
                    )
                    .into_iter()
                    .collect(),
                }
                .into(),
                9 if !b.is_multiple_of(6) => MovePiece {
                    piece: one(&self.pieces(|piece| piece.state == PieceState::Unmarked), a)?,
                    to: SeriesId(self.bench.id(["HX", "DW"][b as usize % 2])),
                    note,
                }
                .into(),
                9 if b.is_multiple_of(36) => DisposeDie {
                    die: DieId(self.bench.id(["DA", "DC"][a as usize % 2])),
                    how: [
                        DieDisposal::Returned,
                        DieDisposal::Retired,
                        DieDisposal::Destroyed,
                    ][b as usize % 3],
                    note,
                }
                .into(),
                10 if b.is_multiple_of(2) => ArchivePiece {
                    piece: one(&self.pieces(|piece| piece.state == PieceState::MisStruck), a)?,
                    note,
                }
                .into(),
                10 => CondemnPiece {
                    piece: one(
                        &self.pieces(|piece| !matches!(piece.state, PieceState::Poured)),
                        a,
                    )?,
                    reason: CondemnReason::Unwanted,
                    note,
                }
                .into(),
                _ => {
                    let id = SeriesId(self.bench.id(["HM", "TW", "PN", "MT", "DW"][a as usize % 5]));
                    // An edition without a number is closed seldom: else the history ends before it began.
                    let begun = self.bench.book.series(id)?.numbers.iter().any(|given| *given > 0);
                    (begun || b.is_multiple_of(50)).then_some(())?;
                    CloseSeries { series: id, note }.into()
                }
            })
        }

        fn strike(&self, a: u32, b: u32) -> Option<Command> {
            let outcome = match b % 9 {
                0 => StrikeOutcome::Double,
                1 => StrikeOutcome::WrongDie,
                2 => StrikeOutcome::Weak,
                _ => StrikeOutcome::Good,
            };
            let pieces = self.settled(|piece| {
                let accepted = piece
                    .grading
                    .as_ref()
                    .is_some_and(|grading| grading.grade == Grade::Accepted);
                let unstruck = piece.strikes.is_empty() && accepted;
                (unstruck && matches!(piece.state, PieceState::Graded | PieceState::Serialled))
                    || (b.is_multiple_of(7) && piece.state != PieceState::Poured)
            });
            let first = self.bench.book.piece(one(&pieces, a)?)?;
            let own = first.series == SeriesId(self.bench.id("HM")) && !a.is_multiple_of(5);
            let mut struck: Vec<PieceId> = one(&pieces, a)
                .into_iter()
                .chain(one(&pieces, a / 7).filter(|_| b.is_multiple_of(2)))
                .collect();
            struck.dedup();
            Some(
                StrikePieces {
                    die: DieId(self.bench.id(if own { "DC" } else { "DA" })),
                    items: struck
                        .into_iter()
                        .map(|piece| Strike { piece, outcome })
                        .collect(),
                    note: None,
                }
                .into(),
            )
        }

        fn consign(&self, a: u32, b: u32) -> Option<Command> {
            let sendable = |piece: &Piece| {
                let series = self.bench.book.series(piece.series).unwrap();
                let ready = matches!(
                    piece.state,
                    PieceState::Serialled | PieceState::Struck | PieceState::Unmarked
                );
                (series.marking == Marking::Required && ready && piece.serial.is_some())
                    || b.is_multiple_of(11)
            };
            let pieces = self.pieces(sendable);
            let first = one(&pieces, a)?;
            let series = self.bench.book.piece(first)?.series;
            // Mostly of one series; sometimes whatever lies there.
            let mut sent: Vec<PieceId> = pieces
                .into_iter()
                .filter(|piece| {
                    b.is_multiple_of(5) || self.bench.book.piece(*piece).unwrap().series == series
                })
                .take(1 + b as usize % 4)
                .collect();
            if sent.is_empty() {
                sent.push(first);
            }
            let stated = self.bench.book.series(series)?.fineness;
            let claimed = match b % 13 {
                0 => pourbook::metal::Fineness::parse("999.9").unwrap(),
                _ => stated,
            };
            Some(
                SendConsignment {
                    pieces: sent,
                    fineness: claimed,
                    marks: vec![MarkKind::Sponsor, MarkKind::Fineness, MarkKind::Office],
                    office: None,
                    seal: None,
                    note: None,
                }
                .into(),
            )
        }

        fn back(&self, a: u32, b: u32) -> Option<Command> {
            let mut open: Vec<&Consignment> = self.bench.book.consignments().collect();
            open.sort_by_key(|row| row.number);
            open.retain(|row| row.state == ConsignmentState::AtOffice || b.is_multiple_of(9));
            let row = one(&open, a)?;
            let mut lines: Vec<ReturnLine> = row
                .pieces
                .iter()
                .zip(0_u32..)
                .map(|(sent, i)| self.line(row, sent.piece, a / 16 + i * 5))
                .collect();
            match b % 12 {
                0 => drop(lines.pop()),
                1 => lines.extend(lines.first().cloned()),
                2 => lines.extend(one(&self.pieces(|_| true), b).map(|piece| self.line(row, piece, a))),
                _ => {}
            }
            Some(
                ReturnConsignment {
                    consignment: row.consignment,
                    lines,
                    note: None,
                }
                .into(),
            )
        }

        fn line(&self, row: &Consignment, piece: PieceId, by: u32) -> ReturnLine {
            let fineness = |text| pourbook::metal::Fineness::parse(text).unwrap();
            let seen = |mark: &&str| MarkSeen {
                mark: serde_json::from_value((*mark).into()).unwrap(),
                legible: !by.is_multiple_of(3),
            };
            let (outcome, reason, assay) = match by % 11 {
                0 => (
                    AssayOutcome::Unmarked,
                    Some(UnmarkedReason::BelowStandard),
                    Some(fineness("990")),
                ),
                1 => (AssayOutcome::Unmarked, Some(UnmarkedReason::BelowStandard), None),
                2 | 3 => (AssayOutcome::Unmarked, Some(UnmarkedReason::Damaged), None),
                4 => (AssayOutcome::Cut, None, Some(fineness("999.2"))),
                5 => (AssayOutcome::Missing, None, None),
                _ => (AssayOutcome::Marked, None, None),
            };
            let marked = outcome == AssayOutcome::Marked;
            ReturnLine {
                piece,
                outcome,
                hallmark: marked.then(|| Hallmark {
                    fineness: row.fineness,
                    marks: GOOD.iter().skip((by % 40 / 39) as usize).map(seen).collect(),
                }),
                reason,
                assay,
            }
        }

        /// What must hold of strikes, marks, numbers and closed editions.
        pub(super) fn marks_hold(&self) {
            let book = &self.bench.book;
            let mut away = HashSet::new();
            for row in book.consignments() {
                let ids: Vec<PieceId> = row.pieces.iter().map(|sent| sent.piece).collect();
                if row.state == ConsignmentState::AtOffice {
                    for id in ids {
                        assert!(away.insert(id), "a piece is in two consignments");
                        let piece = book.piece(id).unwrap();
                        assert_eq!(piece.state, PieceState::AtOffice);
                        assert_eq!(piece.consignment, Some(row.consignment));
                    }
                } else {
                    assert_eq!(row.outcomes.len(), ids.len(), "every piece sent is accounted for");
                }
            }
            for piece in book.pieces() {
                assert_eq!(piece.state == PieceState::AtOffice, away.contains(&piece.piece));
                self.marks_of_piece_hold(piece);
            }
            for die in book.dies() {
                let strikes = book.pieces().flat_map(|piece| &piece.strikes);
                assert_eq!(
                    strikes.filter(|strike| strike.die == die.die).count(),
                    die.strikes as usize
                );
            }
            if let Some(entry) = self.bench.entries.last() {
                entry
                    .drafts
                    .iter()
                    .for_each(|draft| self.event_holds(&draft.event));
            }
        }

        fn marks_of_piece_hold(&self, piece: &Piece) {
            let book = &self.bench.book;
            let series = book.series(piece.series).unwrap();
            if piece.number.is_some() || piece.certificate.is_some() || piece.state == PieceState::Spare {
                let good = piece
                    .strikes
                    .iter()
                    .all(|strike| strike.outcome == StrikeOutcome::Good);
                assert!(good, "a mis-struck piece went on");
                assert!(
                    !series.struck || !piece.strikes.is_empty(),
                    "an unstruck piece went on"
                );
                assert!(
                    series.marking == Marking::Exempt || piece.hallmark.is_some(),
                    "an unmarked piece went on"
                );
                assert!(piece.serial.is_some(), "a piece without a serial went on");
                let last_touch = [
                    piece.strikes.last().map(|strike| strike.index),
                    piece
                        .consignment
                        .and_then(|id| book.consignment(id).unwrap().returned),
                    piece
                        .numbered_at
                        .filter(|_| series.number_on_metal && piece.certificate.is_some()),
                ];
                let last_touch = last_touch.into_iter().flatten().max().unwrap_or_default();
                assert!(
                    piece
                        .readings
                        .iter()
                        .any(|reading| reading.stage == Stage::Final && reading.index > last_touch),
                    "nothing weighed it after the last thing that touched it"
                );
            }
            if let Some(hallmark) = &piece.hallmark {
                assert!(piece.assay.is_none_or(|found| hallmark.fineness <= found));
                assert!(piece.refused_at.is_none_or(|claimed| hallmark.fineness < claimed));
            }
            if let Some(closed) = series.closed {
                assert!(piece.since < closed, "poured for a closed edition");
                assert!(
                    piece.numbered_at.is_none_or(|index| index < closed),
                    "numbered after the close"
                );
            }
        }

        fn event_holds(&self, event: &Event) {
            let book = &self.bench.book;
            match event {
                Event::ConsignmentReturned(e) => {
                    assert_eq!(e.marked + e.unmarked + e.kept + e.missing, e.sent);
                    let row = book.consignment(e.consignment).unwrap();
                    assert_eq!(row.pieces.len(), e.sent as usize);
                }
                Event::CertificateIssued(e) => {
                    let piece = book.piece(e.piece).unwrap();
                    assert!(piece.assay.is_none_or(|found| e.fineness <= found));
                    let melt = book.melt(piece.melt).unwrap();
                    assert!(piece.hallmark.is_some() || melt.assayed.is_none_or(|found| e.fineness <= found));
                    assert_eq!(e.marks.is_some(), e.hallmark == HallmarkStatement::Hallmarked);
                }
                Event::SeriesClosed(e) => {
                    let of_it = |piece: &&Piece| piece.series == e.series;
                    let loose = book
                        .pieces()
                        .filter(of_it)
                        .find(|piece| LOOSE.contains(&piece.state.word()));
                    assert!(loose.is_none(), "{loose:?} in a closed edition");
                    for tally in &e.shapes {
                        let of_shape =
                            |piece: &&Piece| piece.series == e.series && piece.shape == tally.shape;
                        let alive = book
                            .pieces()
                            .filter(of_shape)
                            .filter(|piece| {
                                piece.certificate.is_some() && piece.state == PieceState::Certified
                            })
                            .filter(|piece| {
                                book.series(e.series).unwrap().unnumbered || piece.number.is_some()
                            });
                        assert!(tally.given <= tally.size);
                        assert!(alive.count() + tally.burned.len() <= tally.given as usize);
                        assert!(
                            tally
                                .burned
                                .iter()
                                .all(|number| (1..=tally.given).contains(number))
                        );
                    }
                }
                _ => {}
            }
        }
    }
}

/// Finally weighed, or on the way there.
const READY: &[PieceState] = &[
    PieceState::Serialled,
    PieceState::Struck,
    PieceState::Hallmarked,
    PieceState::Spare,
];

fn weighed(piece: &Piece) -> bool {
    piece
        .reading()
        .is_some_and(|reading| reading.stage == Stage::Final)
}

/// Runs the steps; how many were taken, and how many refused.
fn run(steps: &[Choice]) -> (Shop, usize, usize) {
    run_in(&[WORKSHOP, marking::SHOP], steps)
}

/// Runs the steps in a workshop that begins with something.
fn run_in(given: &[&[&str]], steps: &[Choice]) -> (Shop, usize, usize) {
    let mut shop = Shop {
        bench: Bench::with(given),
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

/// The bench that random steps lead to, for whoever reads its entries.
pub fn book(steps: &[Choice]) -> Bench {
    run(steps).0.bench
}

/// The same in a workshop with customers' metal, in which every third step is about the refiner and some are stock-takes.
pub fn book_with_customers(steps: &[Choice]) -> Bench {
    let kind = |i: u32, kind: u8| match (i % 3, i % 11) {
        (0, _) => refining::KIND,
        (_, 4) => stocktakes::KIND,
        _ => kind,
    };
    let steps: Vec<Choice> = steps
        .iter()
        .zip(0..)
        .map(|((chosen, a, b, c), i): (&Choice, u32)| (kind(i, *chosen), *a, *b, *c))
        .collect();
    run_in(
        &[WORKSHOP, marking::SHOP, refining::SHOP, stocktakes::SHOP],
        &steps,
    )
    .0
    .bench
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
        let steps = steps(&mut draw, 700);
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
        let full = |series: &Series| {
            let taken = series.numbers.iter().zip(&series.shapes);
            taken.into_iter().any(|(given, size)| *given == size.size)
        };
        if shop.bench.book.all_series().any(full) {
            reached.insert("a full edition");
        }
        for piece in shop.bench.book.pieces() {
            if piece.hallmark.is_some() && piece.number.is_some() {
                reached.insert("a hallmarked piece with its number");
            }
            if piece.hallmark.is_some() && piece.refused_at.is_some() {
                reached.insert("a piece marked at a lower standard");
            }
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
        "piece.gravity",
        "piece.photographed",
        "piece.struck",
        "piece.archived",
        "die.disposed",
        "consignment.returned",
        "piece.hallmarked",
        "piece.unmarked",
        "piece.kept",
        "piece.missing",
        "piece.spared",
        "series.closed",
        "a hallmarked piece with its number",
        "a piece marked at a lower standard",
    ] {
        assert!(reached.contains(kind), "{kind} was never reached: {reached:?}");
    }
    assert!(taken > 1_000 && refused > 300, "{taken} taken, {refused} refused");
}
