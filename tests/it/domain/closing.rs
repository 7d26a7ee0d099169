//! Spares, burned numbers, numbers on the metal, and the close of an edition.

use super::bench::{Bench, CLOSED, FINAL, POURED, WORKSHOP, check};
use pourbook::domain::*;

/// An edition of two ovals, three good pieces of it finally weighed, with a session that held.
const EDITION: &[&str] = &["edition ED silver 999 limits 50.00 50.00 51.20 exempt"];
const THREE: &[&str] = &[
    "melt M in D silver lot A 160.00",
    "pour M ED oval P1 P2 P3",
    "weigh from_mould in D P1 50.42 P2 50.50 P3 50.60",
    "balance M in D heel 8.40",
    "serials P1 P2 P3",
    "weigh final in D P1 50.42 P2 50.50 P3 50.60",
];
const HELD: &[&str] = &["close D 100.00 shows 100.00"];

/// The edition with its terms.
fn edition(terms: &str) -> String {
    format!("{}{terms} oval 2", EDITION[0])
}

#[test]
fn a_spare_is_a_finally_weighed_piece_of_an_edition() {
    let plain = edition("");
    let opened: &[&str] = &[&plain];
    let given: &[&[&str]] = &[WORKSHOP, opened, THREE];
    check(given, "spare P3 P1", "P3 spare; P1 spare");
    check(&[given, &[&["spare P3"]]].concat(), "numbers P3", "P3 is 1 of 2");
    check(
        &[given, &[&["spare P3"]]].concat(),
        "condemn P3 unwanted",
        "piece.condemned",
    );
    check(
        &[given, &[&["spare P3"]]].concat(),
        "spare P3",
        "refused: the piece is spare, so it cannot be set aside as a spare (/pieces/0)",
    );
    check(
        &[given, &[&["numbers P3"]]].concat(),
        "spare P3",
        "refused: the piece is numbered, so it cannot be set aside as a spare (/pieces/0)",
    );
    check(
        &[given, &[&["numbers P1 P2", "spare P3"]]].concat(),
        "numbers P3",
        "refused: all 2 numbers of shape oval are given (/pieces/0)",
    );
    check(
        &[WORKSHOP, &[&plain], &THREE[..5]],
        "spare P1",
        "refused: the piece has had no final weighing (/pieces/0)",
    );
    check(
        &[given, &[&["fault P1 crack"]]].concat(),
        "spare P1",
        "refused: the piece is graded faulty, so it cannot be set aside as a spare (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            &["move P2 to DW", "serials P2", "weigh final in D P2 49.10"],
        ],
        "spare P2",
        "refused: this is an open series: only an edition has numbers, spares, orders and a close (/pieces/0)",
    );
    check(
        &[given, &[&["close D 100.00 shows 100.10"]]].concat(),
        "spare P1",
        "refused: the weight of record is suspect: a check of session D failed after it; weigh again (/pieces/0)",
    );
}

#[test]
fn a_spare_is_certified_without_a_number_only_where_the_terms_allow() {
    let (strict, lenient) = (edition(""), edition(" spares_sold"));
    let aside: &[&str] = &["numbers P1 P2", "spare P3"];
    check(
        &[WORKSHOP, &[&strict], THREE, HELD, aside],
        "certify P3",
        "refused: the terms of the edition do not allow a spare to be sold without a number (/pieces/0)",
    );
    check(
        &[WORKSHOP, &[&lenient], THREE, HELD, aside],
        "certify P3",
        "P3 states 50.60 +-0.03, at least 50.57; P3 certified, issue 1",
    );
    // Only what was set aside: any other piece of the edition gets its number first.
    check(
        &[WORKSHOP, &[&lenient], THREE, HELD],
        "certify P3",
        "refused: a piece of an edition gets its number before its certificate (/pieces/0)",
    );
    let bench = Bench::with(&[WORKSHOP, &[&lenient], THREE, HELD, aside, &["certify P3"]]);
    assert_eq!(bench.piece("P3").number, None);
    check(
        &[WORKSHOP, &[&lenient], THREE, HELD, aside, &["certify P3"]],
        "numbers P3",
        "refused: the piece is certified, so it cannot be numbered (/pieces/0)",
    );
}

#[test]
fn a_burned_number_is_never_given_again() {
    let plain = edition("");
    let burned: &[&str] = &["numbers P1", "condemn P1 unwanted"];
    check(
        &[WORKSHOP, &[&plain], THREE, burned],
        "numbers P2",
        "P2 is 2 of 2",
    );
    check(
        &[WORKSHOP, &[&plain], THREE, burned, &["numbers P2"]],
        "numbers P3",
        "refused: all 2 numbers of shape oval are given (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            &[&plain],
            THREE,
            burned,
            &["melt N in D silver piece P1"],
        ],
        "numbers P2",
        "P2 is 2 of 2",
    );
}

#[test]
fn a_number_on_the_metal_is_followed_by_the_weighing_of_record() {
    let terms = edition(" number_on_metal");
    let numbered: &[&str] = &["numbers P1"];
    check(
        &[WORKSHOP, &[&terms], THREE, numbered, HELD],
        "certify P1",
        "refused: the number was put on the metal after the last weighing: weigh it again (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            &[&terms],
            THREE,
            numbered,
            &["weigh final in D P1 50.41"],
            HELD,
        ],
        "certify P1",
        "P1 states 50.41 +-0.03, at least 50.38; P1 certified, issue 1",
    );
    // The punch took it below its limit: no certificate; its number burns with it.
    let under: &[&str] = &["weigh final in D P1 49.90"];
    check(
        &[WORKSHOP, &[&terms], THREE, numbered, under, HELD],
        "certify P1",
        "refused: the piece is graded under, so it cannot be certified (/pieces/0)",
    );
    check(
        &[WORKSHOP, &[&terms], THREE, numbered, under, &["condemn P1 under"]],
        "numbers P2",
        "P2 is 2 of 2",
    );
    check(
        &[WORKSHOP, &[&terms], THREE, numbered, under],
        "move P1 to DW",
        "refused: the piece has number 1 (/piece)",
    );
}

#[test]
fn an_unnumbered_edition_counts_its_certificates() {
    let terms = edition(" unnumbered");
    check(
        &[WORKSHOP, &[&terms], THREE, HELD],
        "numbers P1",
        "refused: the pieces of the series get no numbers (/pieces/0)",
    );
    check(
        &[WORKSHOP, &[&terms], THREE, HELD],
        "certify P1 P3",
        "P1 states 50.42 +-0.03, at least 50.39; P1 certified, issue 1; \
         P3 states 50.60 +-0.03, at least 50.57; P3 certified, issue 1",
    );
    check(
        &[WORKSHOP, &[&terms], THREE, HELD, &["certify P1 P3"]],
        "certify P2",
        "refused: all 2 numbers of shape oval are given (/pieces/0)",
    );
    check(
        &[WORKSHOP, &[&terms], THREE, HELD, &["spare P1", "certify P2 P3"]],
        "certify P1",
        "refused: all 2 numbers of shape oval are given (/pieces/0)",
    );
    // A newer issue takes no place.
    let bench = Bench::with(&[
        WORKSHOP,
        &[&terms],
        THREE,
        HELD,
        &["certify P1", "supersede P1 damaged"],
    ]);
    let series = bench.book.series(SeriesId(bench.id("ED"))).unwrap();
    assert_eq!(series.numbers, [1]);
}

#[test]
fn an_edition_closes_when_nothing_of_it_is_loose() {
    let plain = edition("");
    let opened: &[&str] = &[&plain];
    let given: &[&[&str]] = &[WORKSHOP, opened, THREE];
    let stock: &[&str] = &["numbers P1 P2", "close D 100.00 shows 100.00", "certify P1 P2"];
    let loose = |state: &str, count: u32| {
        format!("refused: piece P3 of the edition is still {state}; {count} such pieces are loose (/series)")
    };
    check(&[given, &[stock]].concat(), "end ED", &loose("serialled", 1));
    check(
        &[given, &[stock, &["spare P3"]]].concat(),
        "end ED",
        &loose("spare", 1),
    );
    check(
        &[given, &[stock, &["condemn P3 unwanted"]]].concat(),
        "end ED",
        &loose("condemned", 1),
    );
    check(
        &[given, &[stock, &["die DA workshop", "strike DA P3 weak"]]].concat(),
        "end ED",
        &loose("mis_struck", 1),
    );
    check(
        given,
        "end ED",
        "refused: piece P1 of the edition is still serialled; 3 such pieces are loose (/series)",
    );
    check(
        &[given, &[&["numbers P1"]]].concat(),
        "end ED",
        "refused: piece P1 of the edition is still numbered; 3 such pieces are loose (/series)",
    );
    let gone: &[&str] = &[
        "condemn P3 unwanted",
        "session E on S 100.00 shows 100.00",
        "melt N in E silver piece P3",
    ];
    check(
        &[given, &[stock, gone]].concat(),
        "end ED",
        "ED closed: oval 2 of 2 burned none; dies ",
    );
    check(
        &[
            given,
            &[stock, &["die DA workshop", "strike DA P3 weak", "archive P3"]],
        ]
        .concat(),
        "end ED",
        "ED closed: oval 2 of 2 burned none; dies ",
    );
    check(
        &[given, &[stock, &["move P3 to DW"]]].concat(),
        "end ED",
        "ED closed: oval 2 of 2 burned none; dies ",
    );
    check(
        &[given, &[stock, gone, &["end ED"]]].concat(),
        "end ED",
        "refused: the series is closed (/series)",
    );
    check(
        &[WORKSHOP],
        "end DW",
        "refused: this is an open series: only an edition has numbers, spares, orders and a close (/series)",
    );
    check(
        &[WORKSHOP],
        "end ZZ",
        "refused: there is no series 00000000-0000-0000-0000-00000000dead (/series)",
    );
}

#[test]
fn the_tally_names_what_was_given_and_what_was_burned() {
    let plain = edition(" ").replace("oval 2", "oval 3 slab 4");
    let line: &[&str] = &[
        "numbers P1 P2 P3",
        "condemn P2 unwanted",
        "condemn P1 unwanted",
        "melt N in D silver piece P1 piece P2",
    ];
    let end: &[&str] = &["close D 100.00 shows 100.00", "certify P3"];
    check(
        &[WORKSHOP, &[&plain], THREE, line, end],
        "end ED",
        "ED closed: oval 3 of 3 burned 1+2, slab 0 of 4 burned none; dies ",
    );
    // An edition of which nothing was made may be closed too.
    check(
        &[WORKSHOP],
        "end TW",
        "TW closed: oval 0 of 2 burned none, slab 0 of 1 burned none; dies ",
    );
}

/// Three ovals with their numbers and certificates.
const STOCK: &[&str] = &[
    "numbers P1 P2 P3",
    "close D 100.00 shows 100.00",
    "certify P1 P2 P3",
];

#[test]
fn lost_stolen_and_destroyed_pieces_burn_their_numbers() {
    let plain = edition("").replace("oval 2", "oval 4");
    let closed = |burned: &str| format!("ED closed: oval 3 of 4 burned {burned}; dies ");
    let lost: &[&str] = &["sell S1 P1", "dispatch S1 P1", "lose S1 P1"];
    let cases: [(&[&[&str]], &str); 7] = [
        (&[lost, &["steal P3"]], "1+3"),
        (&[&["destroy P2 neighbour"], lost], "1+2"),
        (&[lost, &["find P1"]], "none"),
        (&[lost, &["cancel_sale S1 P1"]], "1"),
        // Stolen and back in time is not burned; sold and with the buyer is not either.
        (&[&["steal P3", "recover P3"]], "none"),
        (&[&["sell S1 P1", "hand_over S1 P1"]], "none"),
        (&[&["steal P3", "destroy P3 neighbour"]], "3"),
    ];
    for (given, burned) in cases {
        let mut whole: Vec<&[&str]> = vec![WORKSHOP];
        let opened: &[&str] = &[&plain];
        whole.extend([opened, THREE, STOCK]);
        whole.extend(given);
        check(&whole, "end ED", &closed(burned));
    }
}

#[test]
fn an_edition_with_an_open_promise_does_not_close() {
    let plain = edition("").replace("oval 2", "oval 4");
    let opened: &[&str] = &[&plain];
    let given: &[&[&str]] = &[WORKSHOP, opened, THREE, STOCK, &["order O of ED oval 2"]];
    check(
        given,
        "end ED",
        "refused: order 1 still promises pieces of the edition (/series)",
    );
    check(
        &[given, &[&["cancel_order O"]]].concat(),
        "end ED",
        "ED closed: oval 3 of 4 burned none; dies ",
    );
    check(
        &[given, &[&["sell S1 under O P1"]]].concat(),
        "end ED",
        "refused: order 1 still promises pieces of the edition (/series)",
    );
    check(
        &[given, &[&["sell S1 under O P1 P2"]]].concat(),
        "end ED",
        "ED closed: oval 3 of 4 burned none; dies ",
    );
}

#[test]
fn what_comes_back_after_the_close_gets_nothing_of_the_edition_any_more() {
    let (plain, hall) = (edition(""), edition("").replace("exempt", "required"));
    let back: &[&str] = &[
        "move P1 to DW",
        "move P2 to DW",
        "steal P3",
        "end ED",
        "recover P3",
        "die DA workshop",
    ];
    let closed = "refused: the series is closed (/pieces/0)";
    for line in ["numbers P3", "spare P3", "strike DA P3 good"] {
        let then = closed.replace(
            "/pieces/0",
            if line.starts_with("strike") {
                "/items/0/piece"
            } else {
                "/pieces/0"
            },
        );
        check(&[WORKSHOP, &[&plain], THREE, back], line, &then);
    }
    check(
        &[WORKSHOP, &[&plain], THREE, back],
        "move P3 to DW",
        "P3 moves from ED to DW; P3 accepted",
    );
    check(
        &[WORKSHOP, &[&hall], &THREE[..5], back],
        "consign C 999 P3",
        closed,
    );
    let unserialled: &[&str] = &[
        "condemn P1 unwanted",
        "condemn P2 unwanted",
        "melt N in D silver piece P1 piece P2",
    ];
    check(
        &[
            WORKSHOP,
            &[&plain],
            &THREE[..4],
            unserialled,
            &["steal P3", "end ED", "recover P3"],
        ],
        "serials P3",
        closed,
    );
    let numbered: &[&str] = &[
        "numbers P1",
        "condemn P2 unwanted",
        "condemn P3 unwanted",
        "melt N in D silver piece P2 piece P3",
    ];
    check(
        &[
            WORKSHOP,
            &[&plain],
            THREE,
            numbered,
            HELD,
            &["steal P1", "end ED", "recover P1"],
        ],
        "certify P1",
        closed,
    );
}

#[test]
fn an_edition_closes_only_when_its_dies_are_gone() {
    let plain = edition("");
    let dies: &[&str] = &[
        "die DC commissioner for ED",
        "die DA workshop for ED",
        "die DB workshop",
        "die DT workshop for TW",
    ];
    let loose =
        |die: &str| format!("refused: die {die} of the edition is neither returned nor destroyed (/series)");
    for (given, then) in [
        (&[][..], loose("DC")),
        (&["dispose DA destroyed"][..], loose("DC")),
        (&["dispose DC returned"][..], loose("DA")),
        (&["dispose DC destroyed", "dispose DA retired"][..], loose("DA")),
        (
            &[
                "dispose DC returned",
                "dispose DA retired",
                "dispose DA destroyed",
            ][..],
            "ED closed: oval 0 of 2 burned none; dies DC DA".to_owned(),
        ),
        (
            &["dispose DA destroyed", "dispose DC destroyed"][..],
            "ED closed: oval 0 of 2 burned none; dies DC DA".to_owned(),
        ),
    ] {
        check(&[WORKSHOP, &[&plain], dies, given], "end ED", &then);
    }
}

#[test]
fn nothing_new_comes_to_a_closed_edition() {
    let plain = edition("");
    let ended: &[&str] = &["end ED", "melt M in D silver lot A 160.00"];
    check(
        &[WORKSHOP, &[&plain], ended],
        "pour M ED oval P1",
        "refused: the series is closed (/pours/0/series)",
    );
    check(
        &[WORKSHOP, &[&plain], ended],
        "die DX commissioner for ED",
        "refused: the series is closed (/series)",
    );
    // What is in stock stays in stock, and its certificate may be superseded.
    let stock: &[&str] = &[
        "numbers P1",
        "move P2 to DW",
        "move P3 to DW",
        "close D 100.00 shows 100.00",
        "certify P1",
        "end ED",
    ];
    check(
        &[WORKSHOP, &[&plain], THREE, stock],
        "supersede P1 damaged",
        "P1 states 50.42 +-0.03, at least 50.39; P1#1 superseded; P1 certified, issue 2",
    );
    let bench = Bench::with(&[WORKSHOP, &[&plain], THREE, stock]);
    let series = bench.book.series(SeriesId(bench.id("ED"))).unwrap();
    assert_eq!(series.state, SeriesState::Closed);
    assert_eq!(series.closed, Some(bench.entries.len() as u64 - 1));
}

#[test]
fn a_moved_piece_keeps_its_serial_and_leaves_the_count_of_its_edition() {
    let plain = edition("");
    let moved: &[&str] = &["move P1 to DW"];
    let bench = Bench::with(&[WORKSHOP, &[&plain], THREE, moved]);
    assert_eq!(bench.piece("P1").serial.as_ref().unwrap().code().as_str(), "ED");
    check(
        &[WORKSHOP, &[&plain], THREE, moved],
        "serials P1",
        &format!(
            "refused: the piece has the serial {}, which is given once (/pieces/0)",
            bench.piece("P1").serial.as_ref().unwrap()
        ),
    );
    // Nothing touched it since its final weighing, so it goes straight to its certificate.
    check(
        &[WORKSHOP, &[&plain], THREE, moved, HELD],
        "certify P1",
        "P1 states 50.42 +-0.03, at least 50.39; P1 certified, issue 1",
    );
    check(
        &[WORKSHOP, &[&plain], THREE, moved],
        "numbers P2 P3",
        "P2 is 1 of 2; P3 is 2 of 2",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            FINAL,
            &["open HM silver 999 required", "move P1 to HM"],
        ],
        "certify P1",
        "refused: the series requires a hallmark, and the piece has none (/pieces/0)",
    );
}

#[test]
fn an_exemption_by_weight_has_its_row_of_the_table() {
    // Common practice, no source: the exemption weight is a row of a dated table that the workshop keeps.
    for (line, why) in [
        (
            "edition TW silver 999 limits 5.00 5.00 5.20 exempt below weight 7.78 from 1999-01-01 oval 2",
            None,
        ),
        (
            "open DW silver 999 limits 5.00 5.00 5.20 exempt below weight 7.78 from 1999-01-01",
            None,
        ),
        (
            "open DW silver 999 exempt below",
            Some(
                "an exemption weight goes with the ground below_weight, and that ground with an exemption weight",
            ),
        ),
        (
            "open DW silver 999 exempt weight 7.78 from 1999-01-01",
            Some(
                "an exemption weight goes with the ground below_weight, and that ground with an exemption weight",
            ),
        ),
        (
            "open DW silver 999 limits 5.00 5.00 5.20 exempt below weight 7.78",
            Some("a row of the table of exemption weights has a weight and a day"),
        ),
        (
            "open DW silver 999 exempt below weight 7.78 from 1999-01-01",
            Some("its pieces would not be below the exemption weight: it needs an upper limit that is"),
        ),
        (
            "open DW silver 999 limits 5.00 7.00 7.78 exempt below weight 7.78 from 1999-01-01",
            Some("its pieces would not be below the exemption weight: it needs an upper limit that is"),
        ),
        (
            "open DW silver 999 exempt spares_sold",
            Some("an open series has no edition numbers and no spares"),
        ),
        (
            "edition TW silver 999 limits 5.00 5.00 5.20 exempt unnumbered number_on_metal oval 2",
            Some("its pieces get no numbers, so none is put on the metal"),
        ),
    ] {
        let then = why.map_or_else(
            || "series.opened".to_owned(),
            |why| format!("refused: the series cannot be so: {why}"),
        );
        check(&[], line, &then);
    }
}
