//! Erasures and the clock, and what the journal promises to whoever keeps the book.

use super::bench::{Bench, CLOSED, FINAL, POURED, WORKSHOP, check};
use pourbook::domain::*;

#[test]
fn a_private_member_is_erased_once() {
    check(&[WORKSHOP], "erase 2 0 seller", "field.erased");
    check(
        &[WORKSHOP, &["erase 2 0 seller"]],
        "erase 2 0 note",
        "field.erased",
    );
    check(
        &[WORKSHOP, &["erase 2 0 seller"]],
        "erase 2 0 seller",
        "refused: that member is already erased (/member)",
    );
    check(
        &[WORKSHOP],
        "erase 10 0 seller",
        "refused: entry 10 has no private member seller in its event 0 (/member)",
    );
    let bench = Bench::with(&[WORKSHOP, &["erase 2 0 seller"]]);
    assert!(bench.book.is_erased(2, 0, "seller"));
    assert!(!bench.book.is_erased(2, 1, "seller"));
}

#[test]
fn the_clock_is_set_to_what_it_shows() {
    let mut bench = Bench::new();
    let now = bench.stamp().at;
    let drafts = bench.run("clock").unwrap();
    assert_eq!(drafts[0].event, Event::ClockSet(ClockSet { to: now }));
}

#[test]
fn keeping_names_each_changed_row_once() {
    let mut bench = Bench::with(&[WORKSHOP]);
    let stamp = bench.stamp();
    let mut moment = Moment {
        now: stamp.at,
        by: stamp.by,
        draw: Draw::new([9; 32]),
    };
    let charge = ChargeMelt {
        metal: pourbook::metal::Metal::Silver,
        session: SessionId(bench.id("D")),
        lots: vec![LotDraw {
            lot: LotId(bench.id("A")),
            mass: super::bench::reading("100.00"),
        }],
        heels: vec![],
        jars: vec![],
        pieces: vec![],
        note: None,
    };
    let drafts = bench
        .book
        .decide(stamp.index, &charge.into(), &mut moment)
        .unwrap();
    let Event::MeltCharged(charged) = &drafts[0].event else {
        panic!("{drafts:?}")
    };
    let (melt, series) = (charged.melt, SeriesId(bench.id("TW")));
    let pour = Pour {
        series,
        shape: Shape::parse("oval").unwrap(),
        mould: None,
    };
    let pours = PourPieces {
        melt,
        pours: vec![pour.clone(), pour],
    };
    let drafts = bench
        .book
        .decide(stamp.index + 1, &pours.into(), &mut moment)
        .unwrap();
    let mut touched = bench.book.keep();
    let mut expected = vec![
        Touched::Lot(LotId(bench.id("A"))),
        Touched::Session(SessionId(bench.id("D"))),
        Touched::Melt(melt),
    ];
    expected.extend(
        drafts
            .iter()
            .filter_map(|draft| draft.event.piece())
            .map(Touched::Piece),
    );
    touched.sort_unstable();
    expected.sort_unstable();
    assert_eq!(touched, expected);
    assert_eq!(bench.book.keep(), vec![]);
}

#[test]
fn undoing_goes_back_to_what_was_kept() {
    let bench = Bench::with(&[WORKSHOP, POURED, CLOSED, FINAL]);
    let mut book = Book::default();
    let halves = bench.entries.split_at(bench.entries.len() / 2);
    for (half, kept) in [(halves.0, true), (halves.1, false)] {
        for entry in half {
            for draft in &entry.drafts {
                book.take(&entry.stamp, &draft.event).unwrap();
            }
        }
        if kept {
            book.keep();
        }
    }
    assert!(book == bench.book);
    book.undo();
    let mut first = Book::default();
    for entry in halves.0 {
        for draft in &entry.drafts {
            first.take(&entry.stamp, &draft.event).unwrap();
        }
    }
    assert!(book == first, "undo does not lead back");
}
