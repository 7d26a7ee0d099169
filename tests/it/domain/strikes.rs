//! Dies and strikes: what a strike needs, what it makes of a piece, and how a die goes.

use super::bench::{Bench, WORKSHOP, check};
use pourbook::domain::*;

/// An edition that asks for a strike, the commissioner's die for it, and one of the workshop's own.
const DIES: &[&str] = &[
    "edition ST silver 999 limits 50.00 50.00 51.20 exempt struck oval 2 slab 1",
    "die DC commissioner for ST",
    "die DA workshop",
];
const POURED: &[&str] = &[
    "melt M in D silver lot A 300.00",
    "pour M ST oval P1 P2 P3",
    "pour M ST slab P4",
    "weigh from_mould in D P1 50.42 P2 50.50 P3 52.00 P4 50.60",
];
const OUT: &[&str] = &["balance M in D heel 96.40"];

fn die(bench: &Bench, name: &str) -> Die {
    bench.book.die(DieId(bench.id(name))).unwrap().clone()
}

#[test]
fn a_good_strike_makes_a_piece_struck_and_any_other_mis_struck() {
    check(
        &[WORKSHOP, DIES, POURED, OUT],
        "strike DC P1 good P2 double P4 off_centre",
        "P1 struck good; P2 struck double; P4 struck off_centre",
    );
    for (outcome, state) in [
        ("good", PieceState::Struck),
        ("double", PieceState::MisStruck),
        ("off_centre", PieceState::MisStruck),
        ("weak", PieceState::MisStruck),
        ("slipped", PieceState::MisStruck),
        ("wrong_die", PieceState::MisStruck),
        ("cracked", PieceState::MisStruck),
        ("other", PieceState::MisStruck),
    ] {
        let strike = format!("strike DC P1 {outcome}");
        let bench = Bench::with(&[WORKSHOP, DIES, POURED, OUT, &[&strike]]);
        assert_eq!(bench.piece("P1").state, state, "{outcome}");
    }
    // One more strike on a struck piece may spoil it; none makes a spoilt one good.
    let bench = Bench::with(&[
        WORKSHOP,
        DIES,
        POURED,
        OUT,
        &["strike DC P1 good", "strike DA P1 good", "strike DA P1 slipped"],
    ]);
    assert_eq!(bench.piece("P1").state, PieceState::MisStruck);
    assert_eq!(bench.piece("P1").strikes.len(), 3);
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["strike DC P1 weak"]],
        "strike DC P1 good",
        "refused: the piece is mis_struck, so it cannot be struck (/items/0/piece)",
    );
}

#[test]
fn a_die_counts_its_strikes_on_whatever_piece() {
    let bench = Bench::with(&[
        WORKSHOP,
        DIES,
        POURED,
        OUT,
        &[
            "strike DC P1 good P2 double",
            "strike DA P1 good",
            "strike DC P4 good",
        ],
    ]);
    assert_eq!((die(&bench, "DC").strikes, die(&bench, "DA").strikes), (3, 1));
    // A refused command strikes nothing.
    check(
        &[WORKSHOP, DIES, POURED, OUT],
        "strike DC P1 good P2 good P1 good",
        "refused: P1 is named twice in one command (/items/2/piece)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["strike DC P1 good P2 double"]],
        "dispose DC returned",
        "DC returned after 2",
    );
}

#[test]
fn only_an_accepted_piece_of_a_melt_that_is_weighed_out_is_struck() {
    check(
        &[WORKSHOP, DIES, POURED, OUT],
        "strike DC P1 good P3 good",
        "refused: the piece is graded over, so it cannot be struck (/items/1/piece)",
    );
    check(
        &[WORKSHOP, DIES, POURED],
        "strike DC P1 good",
        "refused: melt M is not weighed out yet (/items/0/piece)",
    );
    check(
        &[
            WORKSHOP,
            DIES,
            &["melt M in D silver lot A 300.00", "pour M ST oval P1"],
        ],
        "strike DC P1 good",
        "refused: the piece is poured, so it cannot be struck (/items/0/piece)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["fault P1 crack"]],
        "strike DC P1 good",
        "refused: the piece is graded faulty, so it cannot be struck (/items/0/piece)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["serials P1", "fault P1 crack"]],
        "strike DC P1 good",
        "refused: the piece is graded faulty, so it cannot be struck (/items/0/piece)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["condemn P1 unwanted"]],
        "strike DC P1 good",
        "refused: the piece is condemned, so it cannot be struck (/items/0/piece)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT],
        "strike DX P1 good",
        "refused: there is no die 00000000-0000-0000-0000-00000000dead (/die)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT],
        "strike DC",
        "refused: nothing is named: at least one is needed (/items)",
    );
}

#[test]
fn a_piece_whose_reading_is_suspect_is_weighed_again_before_its_strike() {
    let failed: &[&str] = &[
        "close D 100.00 shows 100.10",
        "session E on S 100.00 shows 100.00",
    ];
    check(
        &[WORKSHOP, DIES, POURED, OUT, failed],
        "strike DC P1 good",
        "refused: the weight of record is suspect: a check of session D failed after it; weigh again (/items/0/piece)",
    );
    // Struck before the check failed: it is weighed again as it is, and only then gets its serial.
    let struck: &[&str] = &["strike DC P1 good"];
    check(
        &[WORKSHOP, DIES, POURED, OUT, struck, failed],
        "serials P1",
        "refused: the weight of record is suspect: a check of session D failed after it; weigh again (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            DIES,
            POURED,
            OUT,
            struck,
            failed,
            &["weigh finished in E P1 50.42"],
        ],
        "serials P1",
        "P1 is ST-0001-51",
    );
}

#[test]
fn a_die_strikes_only_the_edition_that_it_was_cut_for() {
    let other: &[&str] = &["die DT commissioner for TW"];
    for outcome in ["good", "double", "other"] {
        check(
            &[WORKSHOP, DIES, POURED, OUT, other],
            &format!("strike DT P1 {outcome}"),
            "refused: the die was cut for another edition: such a strike is a mis-strike by the wrong die \
             (/items/0/outcome)",
        );
    }
    let bench = Bench::with(&[WORKSHOP, DIES, POURED, OUT, other, &["strike DT P1 wrong_die"]]);
    assert_eq!(bench.piece("P1").state, PieceState::MisStruck);
    assert_eq!(die(&bench, "DT").strikes, 1);
    // An odd-weight piece has left the edition, and its die with it.
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["move P3 to DW"]],
        "strike DC P3 good",
        "refused: the die was cut for another edition: such a strike is a mis-strike by the wrong die \
         (/items/0/outcome)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["move P3 to DW"]],
        "strike DA P3 good",
        "P3 struck good",
    );
    check(
        &[WORKSHOP],
        "die DX commissioner for DW",
        "refused: this is an open series: only an edition has numbers, spares, orders and a close (/series)",
    );
    check(
        &[WORKSHOP],
        "die DX commissioner for ZZ",
        "refused: there is no series 00000000-0000-0000-0000-00000000dead (/series)",
    );
}

#[test]
fn a_die_goes_once_and_a_commissioners_is_not_kept() {
    for (line, then) in [
        ("dispose DC returned", "DC returned after 0"),
        ("dispose DC destroyed", "DC destroyed after 0"),
        (
            "dispose DC retired",
            "refused: a commissioner's die goes back or is destroyed (/how)",
        ),
        ("dispose DA destroyed", "DA destroyed after 0"),
        ("dispose DA retired", "DA retired after 0"),
        (
            "dispose DA returned",
            "refused: the workshop's own die has nobody to go back to: it is destroyed, or retired (/how)",
        ),
        (
            "dispose DX destroyed",
            "refused: there is no die 00000000-0000-0000-0000-00000000dead (/die)",
        ),
    ] {
        check(&[WORKSHOP, DIES], line, then);
    }
    for (gone, again, then) in [
        (
            "dispose DC returned",
            "dispose DC returned",
            "refused: die DC is returned: it strikes no more (/die)",
        ),
        (
            "dispose DC returned",
            "dispose DC destroyed",
            "refused: die DC is returned: it strikes no more (/die)",
        ),
        (
            "dispose DA destroyed",
            "dispose DA retired",
            "refused: die DA is destroyed: it strikes no more (/die)",
        ),
        (
            "dispose DA retired",
            "dispose DA retired",
            "refused: die DA is retired: it strikes no more (/die)",
        ),
        (
            "dispose DA retired",
            "dispose DA destroyed",
            "DA destroyed after 0",
        ),
    ] {
        check(&[WORKSHOP, DIES, &[gone]], again, then);
    }
    for gone in ["returned", "destroyed"] {
        check(
            &[WORKSHOP, DIES, POURED, OUT, &[&format!("dispose DC {gone}")]],
            "strike DC P1 good",
            &format!("refused: die DC is {gone}: it strikes no more (/die)"),
        );
    }
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["dispose DA retired"]],
        "strike DA P1 wrong_die",
        "refused: die DA is retired: it strikes no more (/die)",
    );
}

#[test]
fn a_series_that_asks_for_a_strike_stops_without_one() {
    let serial: &[&str] = &["serials P1"];
    check(
        &[WORKSHOP, DIES, POURED, OUT, serial],
        "weigh final in D P1 50.42",
        "refused: the series asks for a strike before that (/items/0/piece)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, serial],
        "numbers P1",
        "refused: the series asks for a strike before that (/pieces/0)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, serial],
        "certify P1",
        "refused: the series asks for a strike before that (/pieces/0)",
    );
    let line: &[&str] = &["strike DC P1 good", "weigh final in D P1 50.42"];
    check(
        &[WORKSHOP, DIES, POURED, OUT, serial, line],
        "numbers P1",
        "P1 is 1 of 2",
    );
    // The serial may come before the strike or after it.
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["strike DC P1 good"]],
        "serials P1",
        "P1 is ST-0001-51",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["strike DC P1 good"]],
        "weigh final in D P1 50.42",
        "refused: the piece has no serial yet (/items/0/piece)",
    );
    check(
        &[
            WORKSHOP,
            DIES,
            POURED,
            OUT,
            &["strike DC P1 good", "serials P1", "weigh final in D P1 50.42"],
        ],
        "numbers P1",
        "P1 is 1 of 2",
    );
}

#[test]
fn a_strike_after_the_final_weighing_asks_for_another() {
    let line: &[&str] = &[
        "strike DC P1 good",
        "serials P1",
        "weigh final in D P1 50.42",
        "strike DA P1 good",
    ];
    check(
        &[WORKSHOP, DIES, POURED, OUT, line],
        "numbers P1",
        "refused: the piece has had no final weighing (/pieces/0)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, line, &["weigh final in D P1 50.40"]],
        "numbers P1",
        "P1 is 1 of 2",
    );
    // After its number nothing strikes it.
    check(
        &[
            WORKSHOP,
            DIES,
            POURED,
            OUT,
            line,
            &["weigh final in D P1 50.40", "numbers P1"],
        ],
        "strike DC P1 good",
        "refused: the piece is numbered, so it cannot be struck (/items/0/piece)",
    );
}

#[test]
fn a_mis_struck_piece_is_condemned_or_kept_and_nothing_else() {
    let spoilt: &[&str] = &["serials P1", "strike DC P1 double P2 weak"];
    for (line, then) in [
        (
            "numbers P1",
            "refused: the piece is mis_struck, so it cannot be numbered (/pieces/0)",
        ),
        (
            "numbers P2",
            "refused: the piece is mis_struck, so it cannot be numbered (/pieces/0)",
        ),
        (
            "serials P2",
            "refused: the piece is mis_struck, so it cannot be given a serial (/pieces/0)",
        ),
        (
            "certify P1",
            "refused: the series asks for a strike before that (/pieces/0)",
        ),
        (
            "spare P1",
            "refused: the piece is mis_struck, so it cannot be set aside as a spare (/pieces/0)",
        ),
        (
            "move P1 to DW",
            "refused: the piece is mis_struck, so it cannot be moved (/piece)",
        ),
        (
            "weigh final in D P1 50.42",
            "refused: the piece is mis_struck, so it cannot be weighed (/items/0/piece)",
        ),
        ("archive P1", "P1 archived"),
        ("condemn P1 mis_struck", "piece.condemned"),
        ("condemn P2 unwanted", "piece.condemned"),
        (
            "condemn P1 unmarked",
            "refused: the piece is mis_struck, so it cannot be condemned as unmarked (/piece)",
        ),
    ] {
        check(&[WORKSHOP, DIES, POURED, OUT, spoilt], line, then);
    }
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["strike DC P1 good"]],
        "archive P1",
        "refused: the piece is struck, so it cannot be archived (/piece)",
    );
    check(
        &[WORKSHOP, DIES, POURED, OUT, &["strike DC P1 good"]],
        "condemn P1 mis_struck",
        "refused: the piece is struck, so it cannot be condemned as mis-struck (/piece)",
    );
    for line in [
        "condemn P1 unwanted",
        "archive P1",
        "strike DC P1 good",
        "move P1 to DW",
        "numbers P1",
    ] {
        let mut bench = Bench::with(&[WORKSHOP, DIES, POURED, OUT, spoilt, &["archive P1"]]);
        assert!(bench.run(line).is_err(), "an archived piece was taken by {line}");
    }
    // Also where the series asks for no strike, a spoilt one forbids a number.
    check(
        &[
            WORKSHOP,
            super::bench::POURED,
            super::bench::CLOSED,
            &[
                "die DA workshop",
                "serials P1",
                "weigh final in D P1 50.42",
                "strike DA P1 slipped",
            ],
        ],
        "numbers P1",
        "refused: the piece is mis_struck, so it cannot be numbered (/pieces/0)",
    );
    // Its metal goes on like that of any condemned piece.
    check(
        &[WORKSHOP, DIES, POURED, OUT, spoilt, &["condemn P1 mis_struck"]],
        "melt N in D silver piece P1",
        "N is melt 2: 50.42 g at 999.9; P1 remelted",
    );
}
