//! Series, serials and edition numbers.

use super::bench::{CLOSED, FINAL, POURED, WORKSHOP, check};

const REQUIRED: &[&str] = &["open HM silver 999 required", "move P2 to HM"];

#[test]
fn a_series_is_whole_when_it_opens() {
    check(
        &[],
        "edition TW silver 999 limits 50.00 50.00 51.20 exempt oval 12",
        "series.opened",
    );
    check(
        &[],
        "edition TW silver 999 limits 50.00 50.00 51.20 required oval 12",
        "series.opened",
    );
    check(&[], "open DW gold 916.6 exempt", "series.opened");
    check(
        &[],
        "open DW gold 916.6 limits 1.00 1.00 2.00 exempt",
        "series.opened",
    );
    for (line, why) in [
        (
            "edition TW silver 999 limits 50.00 50.00 51.20 exempt",
            "an edition has shapes with their sizes, a nominal weight and its limits",
        ),
        (
            "edition TW silver 999 exempt oval 12",
            "an edition has shapes with their sizes, a nominal weight and its limits",
        ),
        (
            "edition TW silver 999 limits 50.00 50.00 51.20 exempt oval 0",
            "a shape has a size of zero",
        ),
        (
            "edition TW silver 999 limits 50.00 50.00 51.20 exempt oval 1 oval 2",
            "a shape is named twice",
        ),
        (
            "edition TW silver 999 limits 50.00 49.00 51.20 exempt oval 1",
            "its limits do not enclose its nominal weight",
        ),
        (
            "edition TW silver 999 limits 0 50.00 51.20 exempt oval 1",
            "its limits do not enclose its nominal weight",
        ),
        (
            "edition TW silver 999 limits 50.00 50.00 51.20 exempt oval 10000",
            "it is larger than its serials can count",
        ),
        ("open DW silver 999 exempt oval 3", "an open series has no sizes"),
        (
            "open DW silver 999 exempt digits 7",
            "its serials have 4 to 6 digits",
        ),
        (
            "open DW silver 999",
            "it is exempt from marking on a named ground, or it is not exempt",
        ),
    ] {
        check(&[], line, &format!("refused: the series cannot be so: {why}"));
    }
    check(
        &[],
        "open DW copper 1000 exempt",
        "refused: copper has no fineness of its own to sell by (/metal)",
    );
    check(
        &[WORKSHOP],
        "open D2 gold 999 exempt code TW",
        "refused: another series has the code TW (/code)",
    );
}

#[test]
fn a_serial_goes_to_an_accepted_piece_of_a_closed_melt() {
    check(
        &[WORKSHOP, POURED, CLOSED],
        "serials P4 P1",
        "P4 is TW-0001-83; P1 is TW-0002-80",
    );
    check(
        &[WORKSHOP, POURED],
        "serials P1",
        "refused: melt M is not weighed out yet (/pieces/0)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "serials P1 P2",
        "refused: the piece is graded under, so it cannot be given a serial (/pieces/1)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, &["move P2 to DW"]],
        "serials P2 P1",
        "P2 is DW-0001-21; P1 is TW-0001-83",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "serials P1 P1",
        "refused: P1 is named twice in one command (/pieces/1)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, &["serials P1"]],
        "serials P4 P1",
        "refused: the piece has the serial TW-0001-83, which is given once (/pieces/1)",
    );
}

#[test]
fn a_serial_is_not_given_again_when_its_piece_is_gone() {
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            &["serials P1", "condemn P1 unwanted", "melt N in D silver piece P1"],
        ],
        "serials P4",
        "P4 is TW-0002-80",
    );
}

#[test]
fn an_edition_number_comes_last_and_never_above_its_size() {
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL],
        "numbers P4 P1",
        "P4 is 1 of 1; P1 is 1 of 2",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, &["serials P1"]],
        "numbers P1",
        "refused: the piece has had no final weighing (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            &["serials P1", "weigh final in D P1 50.00"],
        ],
        "numbers P1",
        "refused: the piece is graded borderline, so it cannot be numbered (/pieces/0)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "numbers P1",
        "refused: the piece has no serial yet (/pieces/0)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, &["numbers P1"]],
        "numbers P1",
        "refused: the piece has number 1 (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            &["move P2 to DW", "serials P2", "weigh final in D P2 49.10"],
        ],
        "numbers P2",
        "refused: this is an open series: only an edition has numbers, spares, orders and a close (/pieces/0)",
    );
}

#[test]
fn a_full_edition_gives_no_number_and_a_burned_one_stays_burned() {
    let second: &[&str] = &[
        "session E on S 100.00 shows 100.00",
        "melt N in E silver lot A 110.00",
        "pour N TW slab Q1",
        "pour N TW oval Q2",
        "weigh from_mould in E Q1 50.60 Q2 50.60",
        "balance N in E heel 8.50",
        "serials Q1 Q2",
        "weigh final in E Q1 50.60 Q2 50.60",
    ];
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, &["numbers P4"], second],
        "numbers Q2 Q1",
        "refused: all 1 numbers of shape slab are given (/pieces/1)",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            FINAL,
            &["numbers P4", "condemn P4 unwanted"],
            second,
        ],
        "numbers Q1",
        "refused: all 1 numbers of shape slab are given (/pieces/0)",
    );
}

#[test]
fn a_series_that_needs_a_hallmark_stops_before_the_final_weighing() {
    check(
        &[WORKSHOP, POURED, CLOSED, REQUIRED],
        "serials P2",
        "P2 is HM-0001-64",
    );
    let serial: &[&str] = &["serials P2"];
    let then = "refused: the series requires a hallmark, and the piece has none";
    check(
        &[WORKSHOP, POURED, CLOSED, REQUIRED, serial],
        "weigh final in D P2 49.10",
        &format!("{then} (/items/0/piece)"),
    );
    check(
        &[WORKSHOP, POURED, CLOSED, REQUIRED, serial],
        "certify P2",
        &format!("{then} (/pieces/0)"),
    );
}
