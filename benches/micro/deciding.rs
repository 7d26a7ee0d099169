//! Deciding one command of each step of the work, and what is reckoned of one piece.

use super::books::Grown;
use super::shop::{NOW, charge, lot, reading};
use criterion::Criterion;
use pourbook::accounts::recall::Source;
use pourbook::accounts::shares::Shares;
use pourbook::accounts::told::{RecallTold, SharesTold};
use pourbook::domain::*;

pub fn steps(criterion: &mut Criterion, grown: &mut Grown) {
    grown.at_the_desk(|shop| {
        let (session, series) = (shop.session, shop.series);
        let pieces = shop.pour(2);
        let lots = shop.record(vec![lot(session).into()], |event| match event {
            Event::LotReceived(e) => Some(e.lot),
            _ => None,
        });
        let charging = charge(session, lots[0], "240.00");
        let melts = shop.record(vec![charging.clone().into()], |event| match event {
            Event::MeltCharged(e) => Some(e.melt),
            _ => None,
        });
        let items = pieces.iter().take(9).map(|piece| Weighing {
            piece: *piece,
            mass: reading("50.42"),
        });
        let tray = WeighPieces {
            session,
            stage: Stage::FromMould,
            items: items.collect(),
        };
        let pours = PourPieces {
            melt: melts[0],
            pours: vec![
                Pour {
                    series,
                    shape: Shape::parse("oval").unwrap(),
                    mould: None,
                };
                4
            ],
        };
        let commands: [(&str, Command); 5] = [
            ("a lot is received", lot(session).into()),
            ("a melt is charged", charging.into()),
            ("four pieces are poured", pours.into()),
            ("a tray of one is weighed", shop.weighing(pieces[0])),
            ("a tray of nine is weighed", tray.into()),
        ];
        for (says, command) in commands {
            let by = OperatorId(uuid::Uuid::nil());
            criterion.bench_function(&format!("decided and undone: {says}"), |b| {
                b.iter(|| {
                    let would = shop.desk.would(NOW, [1; 32], by, std::slice::from_ref(&command));
                    assert!(would[0].is_ok(), "{would:?}");
                });
            });
        }
    });
    let reader = grown.reader();
    let book = reader.book();
    let shares = Shares::of(book);
    let piece = book.piece(grown.certified[0].1).unwrap();
    criterion.bench_function("shares of one piece", |b| {
        b.iter(|| SharesTold::of(book, &shares, piece.melt, super::shop::mass("50.42")).unwrap());
    });
    let lot = book.lots().next().unwrap().lot;
    criterion.bench_function("recall of a lot", |b| {
        b.iter(|| RecallTold::of(book, &shares, Source::Lot(lot)).unwrap());
    });
}
