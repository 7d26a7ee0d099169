//! The book of the invented workshop against the ledger of what really happened there.

use super::DemoBook;
use pourbook::domain::{PieceState, SessionState};
use pourbook::metal::Metal;

#[test]
fn the_same_demo_is_made_every_time() {
    let head = |book: &DemoBook| book.reader().head().checkpoint;
    assert_eq!(head(&DemoBook::make()), head(&DemoBook::make()));
}

#[test]
fn a_book_that_is_there_is_not_touched() {
    let demo = DemoBook::make();
    let before = demo.reader().head();
    assert!(pourbook::cli::demo::make(&demo.folder()).is_err());
    assert_eq!(demo.reader().head(), before);
}

#[test]
fn every_gram_is_where_the_ledger_says() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let book = reader.book();
    let masses = book.masses(Metal::Silver).unwrap();
    assert!(masses.difference().unwrap().mass.units() == 0, "{masses:?}");
    // Each reading is within half a step (5 mg) of the truth; a sum of n readings within n halves.
    let near = |book: i64, truth: i64, readings: i64| (book - truth).abs() <= readings * 500;
    let lots: i64 = book
        .lots()
        .filter(|lot| lot.metal == Metal::Silver)
        .map(|lot| lot.left.units())
        .sum();
    assert!(
        near(lots, demo.ledger.silver_in_lots, 8),
        "{lots} {}",
        demo.ledger.silver_in_lots
    );
    let mut pieces = 0;
    for piece in book.pieces().filter(|piece| piece.state != PieceState::Remelted) {
        let truth = demo.ledger.pieces[&piece.piece];
        assert!(
            near(piece.mass().unwrap().units(), truth, 1),
            "{} weighs {truth}",
            piece.pour
        );
        pieces += 1;
    }
    assert_eq!(pieces, demo.ledger.pieces.len());
    let remelted = book
        .pieces()
        .filter(|piece| piece.state == PieceState::Remelted)
        .count();
    assert_eq!(remelted, demo.ledger.remelted as usize);
    let mut melts: Vec<_> = book.melts().collect();
    melts.sort_by_key(|melt| melt.number);
    for (melt, lost) in melts.iter().zip(&demo.ledger.melt_losses) {
        let readings = melt.inputs.len() + melt.pieces.len() + 2;
        assert!(
            near(melt.loss.unwrap().units(), *lost, readings as i64),
            "melt {}: {lost}",
            melt.number
        );
    }
    assert_eq!(melts.len(), demo.ledger.melt_losses.len());
}

#[test]
fn the_edition_is_full_and_never_over_full() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let edition = reader
        .book()
        .all_series()
        .find(|series| series.code.as_str() == "TW")
        .unwrap()
        .clone();
    assert_eq!(edition.numbers, [12, 12, 12]);
    let certified = reader
        .book()
        .pieces()
        .filter(|p| p.series == edition.series && p.certificate.is_some())
        .count();
    assert_eq!(certified, demo.ledger.certified[&edition.series] as usize);
    let failed = reader
        .book()
        .sessions()
        .filter(|session| session.state == SessionState::Failed)
        .count();
    assert_eq!(failed, demo.ledger.failed_checks as usize);
}
