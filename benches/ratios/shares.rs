//! Shares through a thousand melts: what one piece's shares and a whole recall cost, held against reading the same rows.
//!
//! The book is the worst that a workshop could make of it: every melt takes the heel and a condemned piece of the one
//! before, and metal of a lot of its own, so the last one has metal of a thousand lots in it.

use super::shop::{NOW, mass, reading};
use super::table::{Asked, Taken, interleave, rate, row, seconds, value};
use pourbook::accounts::recall::Source;
use pourbook::accounts::shares::Shares;
use pourbook::accounts::told::{RecallTold, SharesTold};
use pourbook::domain::*;
use pourbook::metal::{Fineness, Metal};
use std::hint::black_box;

const MELTS: usize = 1_000;
const PIECES: usize = 10;

/// A book without a log: what is decided is taken at once.
struct Decided {
    book: Book,
    index: u64,
    draw: Draw,
}

impl Decided {
    fn run<T>(&mut self, command: impl Into<Command>, pick: impl Fn(&Event) -> Option<T>) -> Vec<T> {
        let mut moment = Moment {
            now: NOW,
            by: OperatorId(uuid::Uuid::nil()),
            draw: Draw::new(self.draw.bytes()),
        };
        let drafts = self
            .book
            .decide(self.index, &command.into(), &mut moment)
            .unwrap();
        self.book.keep();
        self.index += 1;
        drafts.iter().filter_map(|draft| pick(&draft.event)).collect()
    }
}

/// Ten thousand pieces of a thousand melts.
fn chained() -> Decided {
    let mut decided = Decided {
        book: Book::default(),
        index: 0,
        draw: Draw::new([8; 32]),
    };
    let scale = decided.run(super::shop::scale(), |event| match event {
        Event::ScaleRegistered(e) => Some(e.scale),
        _ => None,
    })[0];
    let opening = OpenSession {
        scale,
        nominal: mass("100"),
        reading: reading("100.00"),
    };
    let session = decided.run(opening, |event| match event {
        Event::SessionOpened(e) => Some(e.session),
        _ => None,
    })[0];
    let series = decided.run(super::shop::series("DW"), |event| match event {
        Event::SeriesOpened(e) => Some(e.series),
        _ => None,
    })[0];
    let mut before: Option<(MeltId, PieceId)> = None;
    for _ in 0..MELTS {
        before = Some(melt(&mut decided, session, series, before));
    }
    decided
}

fn melt(
    decided: &mut Decided,
    session: SessionId,
    series: SeriesId,
    before: Option<(MeltId, PieceId)>,
) -> (MeltId, PieceId) {
    let lot = decided.run(
        ReceiveLot {
            fineness: Fineness::parse("999.5").unwrap(),
            ..super::shop::lot(session)
        },
        |event| match event {
            Event::LotReceived(e) => Some(e.lot),
            _ => None,
        },
    )[0];
    let grams = if before.is_some() { "379.38" } else { "480.00" };
    let charge = ChargeMelt {
        metal: Metal::Silver,
        heels: before.iter().map(|(melt, _)| *melt).collect(),
        pieces: before.iter().map(|(_, piece)| *piece).collect(),
        ..super::shop::charge(session, lot, grams)
    };
    let melt = decided.run(charge, |event| match event {
        Event::MeltCharged(e) => Some(e.melt),
        _ => None,
    })[0];
    let pour = Pour {
        series,
        shape: Shape::parse("oval").unwrap(),
        mould: None,
    };
    let pours = PourPieces {
        melt,
        pours: vec![pour; PIECES],
    };
    let pieces = decided.run(pours, |event| match event {
        Event::PiecePoured(e) => Some(e.piece),
        _ => None,
    });
    let items = pieces.iter().map(|piece| Weighing {
        piece: *piece,
        mass: reading("42.13"),
    });
    let weighing = WeighPieces {
        session,
        stage: Stage::FromMould,
        items: items.collect(),
    };
    decided.run(weighing, |_| None::<()>);
    let charged = decided.book.melt(melt).unwrap().charge.units();
    let heel = charged - 10 * 4_213_000 - 21_000;
    let closing = CloseMelt {
        melt,
        session,
        heel: reading(&pourbook::metal::Mass::from_units(heel).unwrap().to_text(2)),
        prills: None,
        note: None,
    };
    decided.run(closing, |_| None::<()>);
    let condemned = CondemnPiece {
        piece: pieces[0],
        reason: CondemnReason::Unwanted,
        note: None,
    };
    decided.run(condemned, |_| None::<()>);
    (melt, pieces[0])
}

fn milliseconds(work: impl Fn()) -> Taken {
    Taken((0..5).map(|_| seconds(&work) * 1e3).collect())
}

/// Every row of pieces and melts, read once.
fn read_rows(book: &Book) {
    for piece in book.pieces() {
        black_box(piece.clone());
    }
    for melt in book.melts() {
        black_box(melt.clone());
    }
}

pub fn rows() {
    let decided = chained();
    let book = &decided.book;
    let shares = Shares::of(book);
    let last = book.melts().max_by_key(|melt| melt.number).unwrap();
    let in_last = shares.melt(last.melt).unwrap().parts().count();
    let lot_of = |number: u32| book.lots().find(|lot| lot.number == number).unwrap().lot;
    let one = || black_box(SharesTold::of(book, &shares, last.melt, mass("42.13")).unwrap());
    let recall = |lot| black_box(RecallTold::of(book, &shares, Source::Lot(lot)).unwrap());
    let melt = book.melts().min_by_key(|melt| melt.number).unwrap().melt;
    let lots = format!("shares of one piece, {MELTS} melts deep, {in_last} lots");
    value(&lots, " ms", &milliseconds(|| drop(one())), Asked::AtMost(5.0));
    for (name, lot) in [("first", lot_of(1)), ("500th", lot_of(500))] {
        let held = recall(lot).held.len();
        let work = format!("recall of the {name} lot, {held} holders");
        value(
            &work,
            " ms",
            &milliseconds(|| drop(recall(lot))),
            Asked::AtMost(1_000.0),
        );
    }
    let of_melt = || RecallTold::of(book, &shares, Source::Melt(melt)).unwrap();
    let took = milliseconds(|| drop(black_box(of_melt())));
    value("recall of the first melt", " ms", &took, Asked::AtMost(1_000.0));
    let took = milliseconds(|| drop(black_box(Shares::of(book))));
    value(
        "learning the shares of all melts, once after a start",
        " ms",
        &took,
        Asked::Nothing,
    );
    let peer = "reading every row of pieces and melts once";
    let recalls = || rate(1, || drop(recall(lot_of(500))));
    let taken = interleave(recalls, || rate(1, || read_rows(book)));
    row("recalls", peer, " /s", &taken, Asked::Nothing);
    let shares = || rate(20, || (0..20).for_each(|_| drop(one())));
    let taken = interleave(shares, || rate(1, || read_rows(book)));
    row("shares of one piece", peer, " /s", &taken, Asked::Nothing);
}
