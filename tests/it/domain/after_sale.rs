//! What comes after a sale, and the whole table of what may happen to a piece in which state once it is made.

use super::bench::{Bench, STOCKED, WORKSHOP, check, difference};
use pourbook::domain::*;

const SOLD: &[&str] = &[
    "session F on S 100.00 shows 100.00",
    "sell V Q1 Q2",
    "hand_over V Q1",
];

#[track_caller]
fn then(given: &[&str], when: &str, then: &str) {
    check(&[WORKSHOP, STOCKED, SOLD, given], when, then);
}

fn after(given: &[&str]) -> Bench {
    Bench::with(&[WORKSHOP, STOCKED, SOLD, given])
}

#[test]
fn a_returned_piece_is_not_in_stock_before_somebody_says_so() {
    then(&[], "return Q1", "Q1 returned");
    then(&["return Q1"], "restock Q1", "Q1 restocked");
    then(
        &["return Q1"],
        "reserve Q1",
        "refused: the piece is returned, so it cannot be reserved (/piece)",
    );
    then(
        &["return Q1"],
        "return Q1",
        "refused: the piece is returned, so it cannot be returned (/piece)",
    );
    then(
        &[],
        "return Q2",
        "refused: the piece is sold, so it cannot be returned (/piece)",
    );
    then(
        &[],
        "return nothing",
        "refused: there is no piece 00000000-0000-0000-0000-00000000dead (/piece)",
    );
    then(
        &["return Q1"],
        "cancel_sale V Q1",
        "refused: piece Q1 is not in the sale, or its sale is over (/pieces/0)",
    );
    then(
        &["return Q1", "fault Q1 crack"],
        "restock Q1",
        "refused: the piece is graded faulty, so it cannot be restocked (/piece)",
    );
    let bench = after(&["return Q1", "restock Q1"]);
    let piece = bench.piece("Q1");
    assert_eq!((piece.state, piece.number), (PieceState::Certified, Some(1)));
    assert!(piece.certificate.is_some() && piece.sale.is_none());
}

#[test]
fn a_piece_that_came_back_damaged_goes_the_way_of_metal() {
    let given: &[&str] = &["return Q1", "condemn Q1 damaged"];
    then(
        given,
        "melt N in F silver piece Q1",
        "N is melt 2: 50.40 g at 999.9; Q1 remelted",
    );
    then(
        given,
        "restock Q1",
        "refused: the piece is condemned, so it cannot be restocked (/piece)",
    );
}

#[test]
fn a_piece_bought_back_is_weighed_and_graded() {
    // One reading: U = 0.0273 g above 50 g on this scale (OIML R 76-1:2006, Table 6; u^2 = (0.02/sqrt 3)^2 + 0.006^2 +
    // 2 (0.01/sqrt 12)^2, U = 2 u); two: 0.0386 g. So 0.03 g is within, 0.04 g is not.
    then(
        &[],
        "buy_back Q1 in F 50.38",
        "Q1 bought back, 0.02 lighter, explained; Q1 accepted",
    );
    then(
        &[],
        "buy_back Q1 in F 50.37",
        "Q1 bought back, 0.03 lighter, explained; Q1 accepted",
    );
    then(
        &[],
        "buy_back Q1 in F 50.36",
        "Q1 bought back, 0.04 lighter, unexplained; Q1 accepted",
    );
    then(
        &[],
        "buy_back Q1 in F 50.43",
        "Q1 bought back, -0.03 lighter, explained; Q1 accepted",
    );
    then(
        &[],
        "buy_back Q1 in F 50.44",
        "Q1 bought back, -0.04 lighter, unexplained; Q1 accepted",
    );
    then(
        &[],
        "buy_back Q1 in F 49.10",
        "Q1 bought back, 1.30 lighter, unexplained; Q1 under",
    );
    let bench = after(&["buy_back Q1 in F 50.38"]);
    let piece = bench.piece("Q1");
    assert_eq!(piece.state, PieceState::BoughtBack);
    assert_eq!((piece.sale, piece.order), (None, None));
    let reading = piece.readings.last().unwrap();
    assert_eq!(
        (reading.stage, reading.mass.to_string().as_str()),
        (Stage::Returned, "50.38")
    );
    let sale = bench.book.sale(SaleId(bench.id("V"))).unwrap();
    assert_eq!(sale.undone, [piece.piece]);
    let silver = bench.book.masses(pourbook::metal::Metal::Silver).unwrap();
    assert_eq!(silver.weighing_variance.mass, difference("0.02"));
    then(&["buy_back Q1 in F 50.38"], "restock Q1", "Q1 restocked");
    then(&["buy_back Q1 in F 49.10"], "condemn Q1 under", "piece.condemned");
}

#[test]
fn a_bought_back_piece_needs_a_scale_that_can_have_shown_it() {
    then(
        &[],
        "buy_back Q1 in D 50.38",
        "refused: session D is closed (/session)",
    );
    then(
        &[],
        "buy_back Q1 in nothing 50.38",
        "refused: there is no session 00000000-0000-0000-0000-00000000dead (/session)",
    );
    then(
        &[],
        "buy_back Q1 in F 50.385",
        "refused: 50.385 g is finer than the scale shows: its step is 0.01 g (/mass)",
    );
    then(
        &[],
        "buy_back Q1 in F 1000.01",
        "refused: 1000.01 g is above the scale's greatest load of 1000.00 g (/mass)",
    );
    then(
        &[],
        "buy_back Q1 in F 0.00",
        "refused: a mass of zero is no metal (/mass)",
    );
    then(
        &[],
        "buy_back Q2 in F 50.40",
        "refused: the piece is sold, so it cannot be bought back (/piece)",
    );
}

#[test]
fn a_stolen_piece_is_again_what_it_was() {
    then(&[], "steal Q1", "Q1 stolen");
    then(&["steal Q1"], "recover Q1", "Q1 recovered");
    then(
        &["steal Q1"],
        "steal Q1",
        "refused: the piece is stolen, so it cannot be stolen (/piece)",
    );
    then(
        &[],
        "recover Q1",
        "refused: the piece is delivered, so it cannot be recovered (/piece)",
    );
    let bench = after(&["steal Q1", "recover Q1"]);
    let piece = bench.piece("Q1");
    assert_eq!((piece.state, piece.before), (PieceState::Delivered, None));
    assert!(piece.sale.is_some(), "its sale stands");
    then(
        &["steal Q1"],
        "cancel_sale V Q1",
        "refused: the piece is stolen, so it cannot be taken out of its sale (/pieces/0)",
    );
    then(&["steal Q2"], "cancel_sale V Q2", "Q2 unsold");
}

/// What was kept for an order is free for another piece at once.
#[test]
fn an_order_is_served_with_another_piece_when_the_one_kept_for_it_is_destroyed() {
    let mut bench = Bench::with(&[WORKSHOP, STOCKED, &["order O of SN oval 1", "reserve Q2 under O"]]);
    let says = bench.run("destroy Q2 the caretaker").unwrap();
    let kinds: Vec<&str> = says.iter().map(|draft| draft.event.kind()).collect();
    assert_eq!(kinds, ["piece.released", "piece.destroyed"]);
    bench.run("reserve Q3 under O").unwrap();
    bench.run("steal Q3").unwrap();
    bench.run("destroy Q3 the caretaker").unwrap();
    let order = bench.book.orders().next().unwrap();
    assert!(order.reserved.iter().all(|reserved| *reserved == 0), "{order:?}");
}

#[test]
fn a_destruction_has_a_witness_and_no_way_out() {
    then(&[], "destroy Q1 the caretaker", "Q1 destroyed");
    then(
        &[],
        "destroy Q1",
        "refused: a destruction has a witness (/witness)",
    );
    let mut bench = after(&[]);
    let piece = PieceId(bench.id("Q1"));
    for witness in ["  ", "\t\n"] {
        let command = DestroyPiece {
            piece,
            witness: witness.to_owned(),
            note: None,
        };
        let refused = bench.decide(&command.into()).unwrap_err();
        assert_eq!(refused.refusal, Refusal::WitnessMissing);
    }
    let drafts = bench.run("destroy Q1 the caretaker").unwrap();
    let names: Vec<&str> = drafts[0].private.iter().map(|(name, _)| name).collect();
    assert_eq!(names, ["witness"]);
    assert!(
        !serde_json::to_string(&drafts[0].event)
            .unwrap()
            .contains("caretaker")
    );
    let gone: &[&str] = &["destroy Q1 the caretaker"];
    for verb in [
        "destroy Q1 the caretaker",
        "recover Q1",
        "steal Q1",
        "restock Q1",
        "find Q1",
    ] {
        assert!(after(gone).run(verb).is_err(), "{verb}");
    }
}

#[test]
fn what_is_paid_and_to_whom_is_private() {
    let mut bench = after(&["steal Q2"]);
    let drafts = bench.run("buy_back Q1 in F 50.40").unwrap();
    let names: Vec<&str> = drafts[0].private.iter().map(|(name, _)| name).collect();
    assert_eq!(names, ["price"]);
    let long = || Some("x".repeat(TEXT_CHARACTERS_MAX + 1));
    let piece = PieceId(bench.id("Q5"));
    let commands: Vec<(Command, &str)> = vec![
        (
            StealPiece {
                piece,
                reference: long(),
                note: None,
            }
            .into(),
            "/reference",
        ),
        (
            StealPiece {
                piece,
                reference: None,
                note: long(),
            }
            .into(),
            "/note",
        ),
        (RestockPiece { piece, note: long() }.into(), "/note"),
        (
            DestroyPiece {
                piece,
                witness: long().unwrap(),
                note: None,
            }
            .into(),
            "/witness",
        ),
        (
            BuyBackPiece {
                piece,
                session: SessionId(bench.id("F")),
                mass: super::bench::reading("50.40"),
                seller: long(),
                price: None,
                note: None,
            }
            .into(),
            "/seller",
        ),
    ];
    for (command, pointer) in commands {
        let refused = bench.decide(&command).unwrap_err();
        assert_eq!(refused.pointer.as_deref(), Some(pointer), "{}", command.name());
    }
}

/// Every scene: another piece, `Z`, is in sale `W`; `P` is brought into a state.
const SCENE: &[&str] = &[
    "melt MZ in D silver lot A 60.00",
    "pour MZ DW bar Z",
    "weigh from_mould in D Z 50.40",
    "balance MZ in D heel 9.60",
    "serials Z",
    "weigh final in D Z 50.40",
    "close D 100.00 shows 100.00",
    "certify Z",
    "sell W Z",
    "session E on S 100.00 shows 100.00",
    "edition SN silver 999 limits 50.00 50.00 51.20 exempt oval 2",
    "edition HM silver 999 limits 50.00 50.00 51.20 required oval 2",
    "die DC workshop",
    "melt M in E silver lot A 60.00",
];

/// The sale that a command names: that of `P` if it was sold, else the other one.
fn scene(way: &str) -> Bench {
    let lines: Vec<&str> = way
        .split(';')
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .collect();
    Bench::with(&[WORKSHOP, SCENE, &lines])
}

const POURED: &str = "pour M SN oval P";
const GRADED: &str = "pour M SN oval P; weigh from_mould in E P 50.40; balance M in E heel 9.60";
const TO_MARK: &str = "pour M HM oval P; weigh from_mould in E P 50.40; balance M in E heel 9.60; serials P; \
                       consign CA 999 P";
const FINAL: &str = "serials P; weigh final in E P 50.40";
const STOCK: &str = "serials P; weigh final in E P 50.40; numbers P; close E 100.00 shows 100.00; certify P; \
                     session F on S 100.00 shows 100.00";

/// The commands of the table, each with the state of the piece after it.
type Ways = &'static [(&'static str, &'static str)];

const STEAL: (&str, &str) = ("steal", "stolen");
const DESTROY: (&str, &str) = ("destroy", "destroyed");
const RESERVE: (&str, &str) = ("reserve", "reserved");
const SELL: (&str, &str) = ("sell", "sold");

/// Which of the commands of sale and after are possible in which state: the whole of it, written down by hand.
const TABLE: &[(&str, &str, Ways)] = &[
    ("poured", "", &[]),
    ("graded", "", &[STEAL, DESTROY]),
    ("condemned", "condemn P unwanted", &[STEAL, DESTROY]),
    ("remelted", "condemn P unwanted; melt N in E silver piece P", &[]),
    ("refined", "condemn P unwanted; refine R in E silver piece P", &[]),
    ("serialled", "serials P", &[STEAL, DESTROY]),
    ("struck", "strike DC P good", &[STEAL, DESTROY]),
    ("mis_struck", "strike DC P double", &[STEAL, DESTROY]),
    ("archived", "strike DC P double; archive P", &[STEAL, DESTROY]),
    ("at_office", "", &[DESTROY]),
    ("hallmarked", "back CA P marked", &[STEAL, DESTROY]),
    ("unmarked", "back CA P unmarked/damaged", &[STEAL, DESTROY]),
    ("kept", "back CA P kept", &[DESTROY]),
    ("missing", "back CA P missing", &[DESTROY]),
    ("spare", "spare P", &[STEAL, DESTROY]),
    ("numbered", "numbers P", &[STEAL, DESTROY]),
    ("certified", "", &[RESERVE, SELL, STEAL, DESTROY]),
    (
        "reserved",
        "reserve P",
        &[("release", "certified"), SELL, STEAL, DESTROY],
    ),
    (
        "sold",
        "sell V P",
        &[
            ("cancel_sale", "certified"),
            ("hand_over", "delivered"),
            ("dispatch", "dispatched"),
            STEAL,
            DESTROY,
        ],
    ),
    (
        "dispatched",
        "sell V P; dispatch V P",
        &[
            ("deliver", "delivered"),
            ("lose", "lost"),
            ("send_back", "sold"),
            DESTROY,
        ],
    ),
    (
        "delivered",
        "sell V P; hand_over V P",
        &[
            ("return", "returned"),
            ("buy_back", "bought_back"),
            STEAL,
            DESTROY,
        ],
    ),
    (
        "lost",
        "sell V P; dispatch V P; lose V P",
        &[("cancel_sale", "lost"), ("find", "dispatched"), DESTROY],
    ),
    (
        "lost",
        "sell V P; dispatch V P; lose V P; cancel_sale V P",
        &[("find", "returned"), DESTROY],
    ),
    (
        "returned",
        "sell V P; hand_over V P; return P",
        &[("restock", "certified"), STEAL, DESTROY],
    ),
    (
        "bought_back",
        "sell V P; hand_over V P; buy_back P in F 50.40",
        &[("restock", "certified"), STEAL, DESTROY],
    ),
    ("stolen", "steal P", &[("recover", "certified"), DESTROY]),
    (
        "stolen",
        "reserve P; steal P",
        &[("release", "stolen"), ("recover", "reserved"), DESTROY],
    ),
    (
        "stolen",
        "sell V P; steal P",
        &[("cancel_sale", "stolen"), ("recover", "sold"), DESTROY],
    ),
    (
        "stolen",
        "sell V P; hand_over V P; steal P",
        &[("recover", "delivered"), DESTROY],
    ),
    ("destroyed", "destroy P the caretaker", &[]),
    ("destroyed", "reserve P; destroy P the caretaker", &[]),
    (
        "destroyed",
        "sell V P; destroy P the caretaker",
        &[("cancel_sale", "destroyed")],
    ),
];

/// What comes before the way of a row.
fn start(state: &str) -> [&'static str; 2] {
    match state {
        "poured" => [POURED, ""],
        "at_office" | "hallmarked" | "unmarked" | "kept" | "missing" => [TO_MARK, ""],
        "graded" | "condemned" | "remelted" | "refined" | "serialled" | "struck" | "mis_struck"
        | "archived" => [GRADED, ""],
        "spare" | "numbered" => [GRADED, FINAL],
        _ => [GRADED, STOCK],
    }
}

#[test]
fn every_state_of_a_piece_allows_what_it_allows_and_nothing_else() {
    let mut states = std::collections::BTreeSet::new();
    for (state, way, ways) in TABLE {
        let way = format!("{}; {way}", start(state).join("; "));
        assert_eq!(scene(&way).piece("P").state.word(), *state, "{way}");
        states.insert(*state);
        let sale = if way.contains("sell V") { "V" } else { "W" };
        for verb in [
            "reserve",
            "release",
            "sell",
            "cancel_sale",
            "hand_over",
            "dispatch",
            "deliver",
            "lose",
            "find",
            "send_back",
            "return",
            "restock",
            "buy_back",
            "steal",
            "recover",
            "destroy",
        ] {
            let line = match verb {
                "sell" => "sell X P".to_owned(),
                "cancel_sale" | "hand_over" | "dispatch" | "deliver" | "lose" | "send_back" => {
                    format!("{verb} {sale} P")
                }
                "buy_back" => "buy_back P in F 50.40".to_owned(),
                "destroy" => "destroy P the caretaker".to_owned(),
                _ => format!("{verb} P"),
            };
            let mut bench = scene(&way);
            let before = bench.book.clone();
            let outcome = bench.run(&line);
            let allowed = ways.iter().find(|(allowed, _)| *allowed == verb);
            match (&outcome, allowed) {
                (Ok(_), Some((_, to))) => {
                    assert_eq!(bench.piece("P").state.word(), *to, "{way}: {line}");
                }
                (Err(refused), None) => {
                    assert!(bench.book == before, "a refusal changed the book: {way}: {line}");
                    assert!(refused.pointer.is_some(), "{way}: {line}: {refused}");
                }
                (Ok(_), None) => panic!("{way}: {line} was taken, and is not in the table"),
                (Err(refused), Some(_)) => panic!("{way}: {line} was refused: {refused}"),
            }
            bench.holds_every_gram();
        }
    }
    for state in PieceState::WORDS {
        assert!(states.contains(state), "{state} is not in the table");
    }
}
