//! Orders as promises and reservations: never more than can be had; first come, first served.

use super::bench::{Bench, STOCKED, WORKSHOP, check};
use pourbook::domain::*;

/// Of `SN`, four ovals and a slab can be had: three ovals and the slab are in stock, one oval is still to be made.
const GIVEN: &[&[&str]] = &[WORKSHOP, STOCKED];

#[track_caller]
fn then(given: &[&str], when: &str, then: &str) {
    check(&[WORKSHOP, STOCKED, given], when, then);
}

fn order(bench: &Bench, name: &str) -> Order {
    bench.book.order(OrderId(bench.id(name))).unwrap().clone()
}

fn oval(bench: &Bench) -> Availability {
    let shape = Shape::parse("oval").unwrap();
    bench.book.availability(SeriesId(bench.id("SN")), &shape).unwrap()
}

#[test]
fn a_promise_is_kept_within_what_can_be_had() {
    then(&[], "order O of SN oval 4 slab 1", "O is order 1");
    then(
        &["order O of SN oval 2", "order R of SN slab 1"],
        "order T of SN oval 2",
        "T is order 3",
    );
    then(
        &["order O of SN oval 2"],
        "order R of SN slab 1 oval 3",
        "refused: of shape oval 2 are promised and 4 can still be had: 3 more cannot be promised (/shapes/1/count)",
    );
    then(
        &[],
        "order O of SN oval 4294967295",
        "refused: of shape oval 0 are promised and 4 can still be had: 4294967295 more cannot be promised \
         (/shapes/0/count)",
    );
    // An edition of which nothing is poured yet can be promised whole, and no further.
    check(&[WORKSHOP], "order O of TW oval 2 slab 1", "O is order 1");
    check(
        &[WORKSHOP, &["order O of TW oval 2"]],
        "order R of TW oval 1",
        "refused: of shape oval 2 are promised and 2 can still be had: 1 more cannot be promised (/shapes/0/count)",
    );
}

#[test]
fn a_promise_says_what_and_of_what() {
    then(
        &[],
        "order O of SN",
        "refused: a promise of no pieces is none (/shapes)",
    );
    then(
        &[],
        "order O of SN slab 1 oval 0",
        "refused: a promise of no pieces is none (/shapes/1/count)",
    );
    then(
        &[],
        "order O of SN slab 1 bar 1",
        "refused: the series has no shape bar (/shapes/1/shape)",
    );
    then(
        &[],
        "order O of SN oval 1 slab 1 oval 1",
        "refused: the line cannot be so: its shape is named twice (/shapes/2/shape)",
    );
    then(
        &[],
        "order O of DW bar 1",
        "refused: this is an open series: only an edition has numbers, spares, orders and a close (/series)",
    );
    then(
        &[],
        "order O of nothing oval 1",
        "refused: there is no series 00000000-0000-0000-0000-00000000dead (/series)",
    );
}

#[test]
fn what_is_sold_or_kept_without_an_order_is_not_promised_again() {
    then(
        &["reserve Q1"],
        "order O of SN oval 4",
        "refused: of shape oval 1 are promised and 4 can still be had: 4 more cannot be promised (/shapes/0/count)",
    );
    then(&["reserve Q1"], "order O of SN oval 3", "O is order 1");
    then(
        &["sell V Q1"],
        "order O of SN oval 4",
        "refused: of shape oval 0 are promised and 3 can still be had: 4 more cannot be promised (/shapes/0/count)",
    );
    then(
        &["sell V Q1", "hand_over V Q1", "return Q1"],
        "order O of SN oval 4",
        "refused: of shape oval 0 are promised and 3 can still be had: 4 more cannot be promised (/shapes/0/count)",
    );
    then(
        &["sell V Q1", "hand_over V Q1", "return Q1", "restock Q1"],
        "order O of SN oval 4",
        "O is order 1",
    );
    then(
        &["steal Q1"],
        "order O of SN oval 4",
        "refused: of shape oval 0 are promised and 3 can still be had: 4 more cannot be promised (/shapes/0/count)",
    );
    then(
        &["steal Q1", "recover Q1"],
        "order O of SN oval 4",
        "O is order 1",
    );
}

#[test]
fn a_piece_that_is_promised_is_not_reserved_or_sold_to_others() {
    let promised: &[&str] = &["order O of SN oval 3 slab 1"];
    then(promised, "reserve Q1", "Q1 reserved");
    then(promised, "sell V Q1", "V is sale 1; Q1 sold");
    then(
        promised,
        "sell V Q1 Q2",
        "refused: of shape oval 3 can still be had and 3 are promised: this one is spoken for (/items/1/piece)",
    );
    then(
        &["order O of SN oval 3 slab 1", "reserve Q1"],
        "reserve Q2",
        "refused: of shape oval 4 can still be had and 4 are promised: this one is spoken for (/piece)",
    );
    then(
        promised,
        "reserve Q4",
        "refused: of shape slab 1 can still be had and 1 are promised: this one is spoken for (/piece)",
    );
    // A piece of an open series is promised to nobody, whatever is.
    then(promised, "sell V Q5", "V is sale 1; Q5 sold");
}

#[test]
fn a_piece_that_is_kept_for_somebody_goes_to_them_whatever_happened_since() {
    let short: &[&str] = &["order O of SN oval 3", "reserve Q1", "steal Q2"];
    let bench = Bench::with(&[WORKSHOP, STOCKED, short]);
    assert!(
        oval(&bench).promised > oval(&bench).available,
        "a theft left too many promises"
    );
    then(short, "sell V Q1", "V is sale 1; Q1 sold");
    then(
        short,
        "sell V Q3",
        "refused: of shape oval 3 can still be had and 4 are promised: this one is spoken for (/items/0/piece)",
    );
}

#[test]
fn a_reservation_is_for_an_order_or_a_person() {
    let given: &[&str] = &["order O of SN oval 1", "order R of SN oval 1"];
    then(given, "reserve Q1 under O", "Q1 reserved");
    then(
        &["order O of SN oval 1", "reserve Q1 under O"],
        "reserve Q2 under O",
        "refused: order 1 has all its pieces of shape oval (/order)",
    );
    then(
        given,
        "reserve Q4 under O",
        "refused: the piece is not of the order's edition and shapes (/piece)",
    );
    then(
        given,
        "reserve Q5 under O",
        "refused: the piece is not of the order's edition and shapes (/piece)",
    );
    then(
        &["order O of SN oval 1", "reserve Q1 under O"],
        "reserve Q1",
        "refused: the piece is kept for order 1 (/piece)",
    );
    then(
        &["reserve Q1"],
        "reserve Q1",
        "refused: the piece is kept for somebody without an order (/piece)",
    );
    then(
        &["sell V Q1"],
        "reserve Q1",
        "refused: the piece is in sale 1, which stands (/piece)",
    );
    then(
        &["steal Q1"],
        "reserve Q1",
        "refused: the piece is stolen, so it cannot be reserved (/piece)",
    );
    then(
        &[],
        "reserve Q1 under nothing",
        "refused: there is no order 00000000-0000-0000-0000-00000000dead (/order)",
    );
    then(
        &[],
        "reserve nothing",
        "refused: there is no piece 00000000-0000-0000-0000-00000000dead (/piece)",
    );
}

#[test]
fn first_come_first_served() {
    let given: &[&str] = &["order O of SN oval 2", "order R of SN oval 1 slab 1"];
    then(
        given,
        "reserve Q1 under R",
        "refused: order 1 came first and still waits for shape oval (/order)",
    );
    then(
        given,
        "sell V under R Q1",
        "refused: order 1 came first and still waits for shape oval (/items/0/piece)",
    );
    // The earlier order does not ask for a slab.
    then(given, "reserve Q4 under R", "Q4 reserved");
    let kept: &[&str] = &[given[0], given[1], "reserve Q1 under O", "sell V under O Q2"];
    then(kept, "reserve Q3 under R", "Q3 reserved");
    then(
        &[given[0], given[1], "cancel_order O"],
        "reserve Q3 under R",
        "Q3 reserved",
    );
    // What is kept for the later order stays its own when the earlier one loses a piece.
    let lost: &[&str] = &[
        given[0],
        given[1],
        "reserve Q1 under O",
        "reserve Q2 under O",
        "reserve Q3 under R",
        "steal Q2",
        "release Q2",
    ];
    then(lost, "sell V under R Q3", "V is sale 1; Q3 sold");
    then(
        &[
            lost[0],
            lost[1],
            lost[2],
            lost[3],
            lost[4],
            lost[5],
            lost[6],
            "release Q3",
        ],
        "reserve Q3 under R",
        "refused: order 1 came first and still waits for shape oval (/order)",
    );
}

#[test]
fn a_reservation_is_given_up() {
    then(&["reserve Q1"], "release Q1", "Q1 released");
    then(
        &["order O of SN oval 1", "reserve Q1 under O"],
        "release Q1",
        "Q1 released",
    );
    then(
        &[],
        "release Q1",
        "refused: the piece is certified, so it cannot be released (/piece)",
    );
    then(
        &["sell V Q1"],
        "release Q1",
        "refused: the piece is sold, so it cannot be released (/piece)",
    );
    let given: &[&str] = &["order O of SN oval 1", "reserve Q1 under O", "steal Q1"];
    then(given, "release Q1", "Q1 released");
    let mut bench = Bench::with(&[WORKSHOP, STOCKED, given]);
    let state = bench.piece("Q1").state;
    assert_eq!(
        order(&bench, "O").reserved,
        [1],
        "it is kept until it is released"
    );
    bench.run("release Q1").unwrap();
    assert_eq!(order(&bench, "O").reserved, [0]);
    assert_eq!(bench.piece("Q1").state, state, "a piece that is gone stays gone");
    assert_eq!(bench.piece("Q1").before, Some(PieceState::Certified));
    assert_eq!(bench.piece("Q1").order, None);
    assert!(
        bench.run("reserve Q2 under O").is_ok(),
        "another may take its place"
    );
    assert!(bench.run("release Q1").is_err(), "once");
    then(
        &["reserve Q1", "steal Q1", "release Q1"],
        "recover Q1",
        "Q1 recovered",
    );
    let bench = Bench::with(&[
        WORKSHOP,
        STOCKED,
        &["reserve Q1", "steal Q1", "release Q1", "recover Q1"],
    ]);
    assert_eq!(bench.piece("Q1").state, PieceState::Certified);
}

#[test]
fn an_order_is_given_up_as_far_as_it_is_not_supplied() {
    let given: &[&str] = &[
        "order O of SN oval 3 slab 1",
        "reserve Q1 under O",
        "reserve Q4 under O",
        "sell V under O Q2",
    ];
    then(given, "cancel_order O", "O cancelled; Q1 released; Q4 released");
    let mut bench = Bench::with(&[WORKSHOP, STOCKED, given]);
    assert_eq!(
        oval(&bench),
        Availability {
            available: 3,
            promised: 2
        }
    );
    bench.run("cancel_order O").unwrap();
    assert_eq!(
        oval(&bench),
        Availability {
            available: 3,
            promised: 0
        }
    );
    let row = order(&bench, "O");
    assert_eq!(row.state, OrderState::Cancelled);
    assert_eq!((row.reserved, row.sold), (vec![0, 0], vec![1, 0]));
    assert_eq!(bench.piece("Q1").state, PieceState::Certified);
    assert_eq!(bench.piece("Q2").state, PieceState::Sold);
    for again in ["cancel_order O", "reserve Q1 under O"] {
        let text = bench.run(again).unwrap_err();
        assert_eq!(text.to_string(), "order 1 is cancelled");
        assert_eq!(text.pointer.as_deref(), Some("/order"));
    }
    then(
        &["order O of SN oval 1", "reserve Q1 under O", "steal Q1"],
        "cancel_order O",
        "O cancelled; Q1 released",
    );
    then(
        &["order O of SN oval 1", "sell V under O Q1"],
        "cancel_order O",
        "refused: order 1 is supplied (/order)",
    );
    then(
        &[],
        "cancel_order nothing",
        "refused: there is no order 00000000-0000-0000-0000-00000000dead (/order)",
    );
}

#[test]
fn a_closed_edition_promises_what_is_in_stock_and_no_more() {
    let closed: &[&str] = &["end SN"];
    then(closed, "order O of SN oval 3", "O is order 1");
    then(
        closed,
        "order O of SN oval 4",
        "refused: of shape oval 0 are promised and 3 can still be had: 4 more cannot be promised (/shapes/0/count)",
    );
}

#[test]
fn where_pieces_get_no_numbers_a_certified_one_can_be_had() {
    let unnumbered: &[&str] = &[
        "edition NN silver 999 limits 50.00 50.00 51.20 exempt unnumbered oval 2",
        "melt M in D silver lot A 110.00",
        "pour M NN oval P1 P2",
        "weigh from_mould in D P1 50.40 P2 50.40",
        "balance M in D heel 9.00",
        "serials P1 P2",
        "weigh final in D P1 50.40 P2 50.40",
        "close D 100.00 shows 100.00",
        "certify P1",
    ];
    let bench = Bench::with(&[WORKSHOP, unnumbered]);
    let series = bench.book.series(SeriesId(bench.id("NN"))).unwrap();
    let can = |bench: &Bench| {
        bench
            .book
            .availability(series.series, &series.shapes[0].shape)
            .unwrap()
    };
    assert_eq!(
        can(&bench),
        Availability {
            available: 2,
            promised: 0
        }
    );
    check(
        &[WORKSHOP, unnumbered, &["sell V P1"]],
        "order O of NN oval 2",
        "refused: of shape oval 0 are promised and 1 can still be had: 2 more cannot be promised (/shapes/0/count)",
    );
    check(
        &[WORKSHOP, unnumbered, &["order O of NN oval 2"]],
        "sell V P1",
        "refused: of shape oval 2 can still be had and 2 are promised: this one is spoken for (/items/0/piece)",
    );
    check(&[WORKSHOP, unnumbered], "order O of NN oval 2", "O is order 1");
}

#[test]
fn a_spare_without_a_number_is_promised_to_nobody() {
    let spares: &[&str] = &[
        "edition SP silver 999 limits 50.00 50.00 51.20 exempt spares_sold oval 1",
        "melt M in D silver lot A 110.00",
        "pour M SP oval P1 P2",
        "weigh from_mould in D P1 50.40 P2 50.40",
        "balance M in D heel 9.00",
        "serials P1 P2",
        "weigh final in D P1 50.40 P2 50.40",
        "close D 100.00 shows 100.00",
        "numbers P1",
        "spare P2",
        "certify P1 P2",
        "order O of SP oval 1",
    ];
    check(&[WORKSHOP, spares], "sell V P2", "V is sale 1; P2 sold");
    check(
        &[WORKSHOP, spares],
        "sell V P1",
        "refused: of shape oval 1 can still be had and 1 are promised: this one is spoken for (/items/0/piece)",
    );
    let needs = "refused: an order of a numbered edition is served with a number, and the piece has none";
    check(
        &[WORKSHOP, spares],
        "reserve P2 under O",
        &format!("{needs} (/piece)"),
    );
    check(
        &[WORKSHOP, spares],
        "sell V under O P2",
        &format!("{needs} (/items/0/piece)"),
    );
    check(&[WORKSHOP, spares], "sell V under O P1", "V is sale 1; P1 sold");
}

#[test]
fn names_and_notes_of_an_order_are_private() {
    let mut bench = Bench::with(GIVEN);
    let drafts = bench.run("order O of SN oval 1").unwrap();
    let names: Vec<&str> = drafts[0].private.iter().map(|(name, _)| name).collect();
    assert_eq!(names, ["buyer"]);
    let text = serde_json::to_string(&drafts[0].event).unwrap();
    assert!(!text.contains("Buyer"), "{text}");
}

#[test]
fn a_long_text_is_refused_where_it_stands() {
    let mut bench = Bench::with(GIVEN);
    let command = |note: Option<String>, buyer: Option<String>| RecordOrder {
        series: SeriesId(bench.id("SN")),
        shapes: vec![],
        buyer,
        note,
    };
    let long = || Some("x".repeat(TEXT_CHARACTERS_MAX + 1));
    for (command, pointer) in [
        (command(long(), None), "/note"),
        (command(None, long()), "/buyer"),
    ] {
        let refused = bench.decide(&command.into()).unwrap_err();
        assert_eq!(refused.pointer.as_deref(), Some(pointer));
        assert_eq!(refused.refusal.code(), "text-too-long");
    }
}
