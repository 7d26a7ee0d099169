//! From poured to sold: each piece stays at one step, and each step is the next one and what stayed.

use super::now;
use crate::check::DemoBook;
use pourbook::accounts::{AsOf, Fate, Reached, ShapeYield, Stay, Step};
use pourbook::domain::{PieceId, PieceState, Shape};
use pourbook::node::accounts;
use pourbook::pages::metal::{SeriesSeen, series, yield_picture};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A step is the next one and what stayed between them; nobody is counted twice.
fn holds(told: &ShapeYield) -> BTreeSet<PieceId> {
    let mut named = BTreeSet::new();
    for (number, reached) in told.steps.iter().enumerate() {
        let next = told.steps.get(number + 1).map_or(0, |next| next.pieces);
        let stay: usize = reached.stay.iter().map(|stay| stay.pieces.len()).sum();
        match number + 1 == told.steps.len() {
            true => assert_eq!(stay, 0),
            false => assert_eq!(
                reached.pieces,
                next + stay,
                "{:?} of {}",
                reached.step,
                told.shape
            ),
        }
        for stay in &reached.stay {
            assert!(!stay.pieces.is_empty());
            for (piece, _) in &stay.pieces {
                assert!(named.insert(*piece), "{piece:?} stays twice");
            }
        }
    }
    named
}

#[test]
fn every_piece_of_the_demo_stays_once_or_is_with_its_buyer() {
    let demo = DemoBook::make();
    let asked = accounts(&demo.folder()).unwrap();
    asked
        .ask(AsOf::Newest, |reckoning| {
            let book = reckoning.book();
            let mut poured = 0;
            for row in book.all_series() {
                for told in reckoning.yields(row.series).unwrap() {
                    let named = holds(&told);
                    let own: Vec<_> = book
                        .pieces()
                        .filter(|piece| {
                            piece.poured_for.unwrap_or(piece.series) == row.series
                                && piece.shape == told.shape
                        })
                        .collect();
                    assert_eq!(told.steps[0].pieces, own.len());
                    poured += own.len();
                    for piece in own {
                        let there = piece.state == PieceState::Delivered && piece.series == row.series;
                        assert_eq!(named.contains(&piece.piece), !there, "{}", piece.pour);
                    }
                    let count = |step: Step| {
                        told.steps
                            .iter()
                            .find(|reached| reached.step == step)
                            .map(|reached| reached.pieces)
                    };
                    assert_eq!(count(Step::Struck).is_some(), row.struck);
                    let sold = |row: &&pourbook::domain::Piece| row.sale.is_some();
                    let here = book.pieces().filter(|piece| {
                        piece.series == row.series && piece.poured_for.is_none() && piece.shape == told.shape
                    });
                    assert_eq!(count(Step::Sold), Some(here.filter(sold).count()), "{}", row.code);
                }
            }
            assert_eq!(poured, book.pieces().count());
        })
        .unwrap();
}

fn made(poured: usize, light: usize) -> ShapeYield {
    let pieces = |from: usize, count: usize| {
        (from..from + count)
            .map(|number| (PieceId(Uuid::from_u128(number as u128)), format!("1-{number}")))
            .collect()
    };
    let reached = |step, pieces, stay| Reached { step, pieces, stay };
    let stays = |fate, pieces: Vec<(PieceId, String)>| match pieces.is_empty() {
        true => Vec::new(),
        false => vec![Stay { fate, pieces }],
    };
    let left = poured - light;
    ShapeYield {
        shape: Shape::parse("oval").unwrap(),
        steps: vec![
            reached(Step::Poured, poured, Vec::new()),
            reached(
                Step::Weighed,
                poured,
                stays(
                    Fate::GivenUp(pourbook::domain::CondemnReason::Under, PieceState::Remelted),
                    pieces(0, light),
                ),
            ),
            reached(Step::Accepted, left, Vec::new()),
            reached(Step::Certified, left, Vec::new()),
            reached(Step::Sold, left, Vec::new()),
            reached(Step::Delivered, left, Vec::new()),
        ],
    }
}

#[test]
fn none_one_and_a_thousand_are_drawn_with_what_fell_away() {
    for (poured, light) in [(0, 0), (1, 0), (1, 1), (1_000, 1)] {
        let told = made(poured, light);
        holds(&told);
        let picture = yield_picture("TW", &told).picture().0;
        assert!(
            !picture.contains("ACCOUNTED") && !picture.contains("NOWHERE"),
            "{poured}, {light}: {picture}"
        );
        assert_eq!(
            picture.contains(">too light, melted<"),
            light > 0,
            "{poured}, {light}"
        );
        assert_eq!(
            picture.contains(">With buyers<"),
            poured > light,
            "{poured}, {light}"
        );
    }
    let weights = [];
    let page = series(&SeriesSeen {
        code: "TW",
        title: Some("Tidewheel"),
        weights: &weights,
        yields: &[],
        standing: now(),
    });
    assert!(page.main.0.contains("Nothing was poured for it yet."));
}
