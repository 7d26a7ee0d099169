//! Sales: one live sale per piece, to those for whom it is kept, and its way to the buyer.

use super::bench::{Bench, STOCKED, WORKSHOP, check};
use pourbook::domain::*;

#[track_caller]
fn then(given: &[&str], when: &str, then: &str) {
    check(&[WORKSHOP, STOCKED, given], when, then);
}

fn order(bench: &Bench, name: &str) -> Order {
    bench.book.order(OrderId(bench.id(name))).unwrap().clone()
}

#[test]
fn pieces_are_sold_together() {
    then(&[], "sell V Q1 Q4 Q5", "V is sale 1; Q1 sold; Q4 sold; Q5 sold");
    then(&["sell V Q1"], "sell W Q2", "W is sale 2; Q2 sold");
    then(
        &[],
        "sell V",
        "refused: nothing is named: at least one is needed (/items)",
    );
    then(
        &[],
        "sell V Q1 Q2 Q1",
        "refused: Q1 is named twice in one command (/items/2/piece)",
    );
    then(
        &[],
        "sell V Q1 nothing",
        "refused: there is no piece 00000000-0000-0000-0000-00000000dead (/items/1/piece)",
    );
    then(
        &[],
        "sell V under nothing Q1",
        "refused: there is no order 00000000-0000-0000-0000-00000000dead (/order)",
    );
}

#[test]
fn a_piece_has_one_live_sale() {
    for given in [
        &["sell V Q1"][..],
        &["sell V Q1", "dispatch V Q1"],
        &["sell V Q1", "hand_over V Q1"],
        &["sell V Q1", "dispatch V Q1", "send_back V Q1"],
        &["sell V Q1", "dispatch V Q1", "lose V Q1", "find Q1"],
        &["sell V Q1", "steal Q1", "recover Q1"],
    ] {
        then(
            given,
            "sell W Q2 Q1",
            "refused: the piece is in sale 1, which stands (/items/1/piece)",
        );
    }
    then(
        &["sell V Q1", "cancel_sale V Q1"],
        "sell W Q1",
        "W is sale 2; Q1 sold",
    );
    then(
        &["sell V Q1", "hand_over V Q1", "return Q1", "restock Q1"],
        "sell W Q1",
        "W is sale 2; Q1 sold",
    );
}

#[test]
fn what_is_gone_or_not_in_stock_is_not_sold() {
    for (given, state) in [
        (&["steal Q1"][..], "stolen"),
        (&["sell V Q1", "steal Q1"], "stolen"),
        (&["sell V Q1", "dispatch V Q1", "lose V Q1"], "lost"),
        (
            &["sell V Q1", "dispatch V Q1", "lose V Q1", "cancel_sale V Q1"],
            "lost",
        ),
        (&["destroy Q1 the caretaker"], "destroyed"),
        (&["sell V Q1", "hand_over V Q1", "return Q1"], "returned"),
    ] {
        let text = format!("refused: the piece is {state}, so it cannot be sold (/items/0/piece)");
        then(given, "sell W Q1", &text);
    }
    check(
        &[WORKSHOP, &STOCKED[..11]],
        "sell V Q1",
        "refused: the piece is numbered, so it cannot be sold (/items/0/piece)",
    );
}

#[test]
fn a_kept_piece_is_sold_to_those_for_whom_it_is_kept() {
    let given: &[&str] = &[
        "order O of SN oval 1",
        "order R of SN oval 1",
        "reserve Q1 under O",
    ];
    then(given, "sell V under O Q1", "V is sale 1; Q1 sold");
    then(
        given,
        "sell V Q1",
        "refused: the piece is kept for order 1 (/items/0/piece)",
    );
    then(
        given,
        "sell V under R Q1",
        "refused: the piece is kept for order 1 (/items/0/piece)",
    );
    then(&["reserve Q1"], "sell V Q1", "V is sale 1; Q1 sold");
    then(
        &["order O of SN oval 1", "reserve Q1"],
        "sell V under O Q1",
        "refused: the piece is kept for somebody without an order (/items/0/piece)",
    );
}

#[test]
fn an_order_is_supplied_piece_by_piece() {
    let mut bench = Bench::with(&[
        WORKSHOP,
        STOCKED,
        &["order O of SN oval 2 slab 1", "reserve Q1 under O"],
    ]);
    bench.run("sell V under O Q1").unwrap();
    let row = order(&bench, "O");
    assert_eq!(
        (row.reserved, row.sold, row.state),
        (vec![0, 0], vec![1, 0], OrderState::Open)
    );
    bench.run("sell W under O Q2 Q4").unwrap();
    let row = order(&bench, "O");
    assert_eq!((row.sold, row.state), (vec![2, 1], OrderState::Supplied));
    let promised = &bench.book.series(SeriesId(bench.id("SN"))).unwrap().promised;
    assert_eq!(promised, &[0, 0]);
    assert_eq!(bench.piece("Q2").order, Some(row.order), "it was sold under it");
    then(
        &["order O of SN oval 1"],
        "sell V under O Q1 Q2",
        "refused: order 1 has all its pieces of shape oval (/items/1/piece)",
    );
    then(
        &["order O of SN oval 1", "sell V under O Q1"],
        "sell W under O Q2",
        "refused: order 1 is supplied (/order)",
    );
    then(
        &["order O of SN oval 1", "cancel_order O"],
        "sell W under O Q2",
        "refused: order 1 is cancelled (/order)",
    );
    then(
        &["order O of SN oval 1"],
        "sell W under O Q4",
        "refused: the piece is not of the order's edition and shapes (/items/0/piece)",
    );
    // One that is kept for the order has its place; one that is not has none left.
    then(
        &["order O of SN oval 1", "reserve Q1 under O"],
        "sell V under O Q2",
        "refused: order 1 has all its pieces of shape oval (/items/0/piece)",
    );
}

#[test]
fn a_sale_cancelled_before_it_was_had_is_promised_again() {
    let cases: &[&[&str]] = &[
        &[],
        &["dispatch V Q1", "lose V Q1"],
        &["steal Q1"],
        &["destroy Q1 the caretaker"],
    ];
    for on_the_way in cases {
        let given = &["order O of SN oval 1", "sell V under O Q1"];
        let mut bench = Bench::with(&[WORKSHOP, STOCKED, given, on_the_way]);
        let was = bench.piece("Q1").state;
        bench.run("cancel_sale V Q1").unwrap();
        let row = order(&bench, "O");
        assert_eq!(
            (row.sold, row.state),
            (vec![0], OrderState::Open),
            "{on_the_way:?}"
        );
        let series = bench.book.series(SeriesId(bench.id("SN"))).unwrap();
        assert_eq!(series.promised, [1, 0]);
        let piece = bench.piece("Q1");
        assert_eq!((piece.sale, piece.order), (None, None));
        let stays = if was == PieceState::Sold {
            PieceState::Certified
        } else {
            was
        };
        assert_eq!(piece.state, stays, "a piece that is gone stays gone");
        let sale = bench.book.sale(SaleId(bench.id("V"))).unwrap();
        assert_eq!(sale.undone, [piece.piece]);
        let again = bench.run("cancel_sale V Q1").unwrap_err();
        assert_eq!(again.refusal.code(), "not-in-sale");
        bench.holds_every_gram();
        bench.replays();
    }
}

#[test]
fn a_promise_that_was_kept_stays_kept() {
    for given in [
        &["hand_over V Q1", "return Q1"][..],
        &["dispatch V Q1", "deliver V Q1", "return Q1", "restock Q1"],
        &["hand_over V Q1", "destroy Q1 the caretaker", "cancel_sale V Q1"],
        &[
            "hand_over V Q1",
            "steal Q1",
            "destroy Q1 the caretaker",
            "cancel_sale V Q1",
        ],
        &[
            "session F on S 100.00 shows 100.00",
            "hand_over V Q1",
            "buy_back Q1 in F 50.40",
        ],
    ] {
        let bench = Bench::with(&[
            WORKSHOP,
            STOCKED,
            &["order O of SN oval 1", "sell V under O Q1"],
            given,
        ]);
        let row = order(&bench, "O");
        assert_eq!(
            (row.sold, row.state),
            (vec![1], OrderState::Supplied),
            "{given:?}"
        );
        let series = bench.book.series(SeriesId(bench.id("SN"))).unwrap();
        assert_eq!(series.promised, [0, 0]);
        assert_eq!(bench.piece("Q1").sale, None);
    }
}

#[test]
fn a_sale_cancelled_under_a_cancelled_order_promises_nothing() {
    let given = &[
        "order O of SN oval 2",
        "sell V under O Q1",
        "cancel_order O",
        "cancel_sale V Q1",
    ];
    let bench = Bench::with(&[WORKSHOP, STOCKED, given]);
    let row = order(&bench, "O");
    assert_eq!((row.sold, row.state), (vec![0], OrderState::Cancelled));
    assert_eq!(
        bench.book.series(SeriesId(bench.id("SN"))).unwrap().promised,
        [0, 0]
    );
}

#[test]
fn a_stolen_piece_whose_sale_is_cancelled_comes_back_unsold() {
    let bench = Bench::with(&[
        WORKSHOP,
        STOCKED,
        &["sell V Q1", "steal Q1", "cancel_sale V Q1", "recover Q1"],
    ]);
    assert_eq!(bench.piece("Q1").state, PieceState::Certified);
    assert_eq!(bench.piece("Q1").sale, None);
}

#[test]
fn a_sold_piece_is_handed_over_or_sent() {
    let given: &[&str] = &["sell V Q1 Q2 Q5", "sell W Q3"];
    then(given, "hand_over V Q1 Q5", "Q1 handed over; Q5 handed over");
    then(
        given,
        "dispatch V Q1 Q2",
        "V parcel of 2; Q1 dispatched; Q2 dispatched",
    );
    for verb in [
        "cancel_sale",
        "hand_over",
        "dispatch",
        "deliver",
        "lose",
        "send_back",
    ] {
        let not_in = format!("{verb} V Q1 Q3");
        let refused = "refused: piece Q3 is not in the sale, or its sale is over (/pieces/1)";
        let given = match verb {
            "deliver" | "lose" | "send_back" => &[given[0], given[1], "dispatch V Q1", "dispatch W Q3"][..],
            _ => given,
        };
        then(given, &not_in, refused);
        then(
            given,
            &format!("{verb} V"),
            "refused: nothing is named: at least one is needed (/pieces)",
        );
        then(
            given,
            &format!("{verb} V Q1 Q1"),
            "refused: Q1 is named twice in one command (/pieces/1)",
        );
        then(
            given,
            &format!("{verb} nothing Q1"),
            "refused: there is no sale 00000000-0000-0000-0000-00000000dead (/sale)",
        );
    }
}

#[test]
fn nothing_is_sent_before_it_is_sold_or_twice() {
    then(
        &["sell V Q2"],
        "dispatch V Q1",
        "refused: piece Q1 is not in the sale, or its sale is over (/pieces/0)",
    );
    then(
        &["sell V Q1", "dispatch V Q1"],
        "dispatch V Q1",
        "refused: the piece is dispatched, so it cannot be dispatched (/pieces/0)",
    );
    then(
        &["sell V Q1", "dispatch V Q1"],
        "hand_over V Q1",
        "refused: the piece is dispatched, so it cannot be handed over (/pieces/0)",
    );
    then(
        &["sell V Q1", "dispatch V Q1"],
        "cancel_sale V Q1",
        "refused: the piece is dispatched, so it cannot be taken out of its sale (/pieces/0)",
    );
    then(
        &["sell V Q1", "cancel_sale V Q1"],
        "dispatch V Q1",
        "refused: piece Q1 is not in the sale, or its sale is over (/pieces/0)",
    );
    then(
        &["sell V Q1", "steal Q1"],
        "dispatch V Q1",
        "refused: the piece is stolen, so it cannot be dispatched (/pieces/0)",
    );
}

#[test]
fn a_parcel_arrives_is_lost_or_comes_back() {
    let sent: &[&str] = &["sell V Q1 Q2", "dispatch V Q1 Q2"];
    then(sent, "deliver V Q1 Q2", "Q1 delivered; Q2 delivered");
    then(sent, "lose V Q1 Q2", "Q1 lost; Q2 lost");
    then(sent, "send_back V Q1", "Q1 sent back");
    let after = |given: &[&str]| {
        let bench = Bench::with(&[WORKSHOP, STOCKED, sent, given]);
        (bench.piece("Q1").state, bench.piece("Q1").sale.is_some())
    };
    assert_eq!(after(&["send_back V Q1"]), (PieceState::Sold, true));
    assert_eq!(
        after(&["send_back V Q1", "dispatch V Q1"]),
        (PieceState::Dispatched, true)
    );
    assert_eq!(after(&["lose V Q1", "find Q1"]), (PieceState::Dispatched, true));
    assert_eq!(
        after(&["lose V Q1", "cancel_sale V Q1", "find Q1"]),
        (PieceState::Returned, false)
    );
    then(
        &["sell V Q1"],
        "deliver V Q1",
        "refused: the piece is sold, so it cannot be delivered (/pieces/0)",
    );
    then(
        &["sell V Q1"],
        "lose V Q1",
        "refused: the piece is sold, so it cannot be lost in transit (/pieces/0)",
    );
    then(
        &["sell V Q1", "dispatch V Q1"],
        "find Q1",
        "refused: the piece is dispatched, so it cannot be found (/piece)",
    );
}

#[test]
fn names_and_money_of_a_sale_are_private() {
    let mut bench = Bench::with(&[WORKSHOP, STOCKED]);
    let mut told = Vec::new();
    for line in ["sell V Q1", "dispatch V Q1"] {
        for draft in bench.run(line).unwrap() {
            let names: Vec<&str> = draft.private.iter().map(|(name, _)| name).collect();
            let text = serde_json::to_string(&draft.event).unwrap();
            for secret in ["Buyer", "95", "GBP", "212", "0417"] {
                assert!(!text.contains(&format!("\"{secret}")), "{text}");
            }
            told.push(format!("{}: {}", draft.event.kind(), names.join(" ")));
        }
    }
    assert_eq!(
        told,
        [
            "sale.made: buyer",
            "piece.sold: price",
            "sale.dispatched: insured seal weight",
            "piece.dispatched: "
        ]
    );
}
