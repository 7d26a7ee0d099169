//! Weighing in water: which pieces, which readings, and what a scale is too coarse for.

use super::bench::{Bench, CLOSED, FINAL, POURED, STOCKED, WORKSHOP, check};
use pourbook::domain::*;

#[test]
fn a_piece_in_hand_is_weighed_in_air_and_in_water() {
    // A piece of 50.42 g and density 10.49 g/cm3 displaces some 4.80 g of water.
    for (given, line) in [
        (POURED, "immerse P1 in D 50.42 hung 45.62 at 21"),
        (POURED, "immerse P1 in D 50.42 cup 4.80 at 0"),
        (POURED, "immerse P1 in D 50.42 cup 4.80 at 40"),
    ] {
        let said = line.replace(" in D", "").replace("immerse ", "");
        check(&[WORKSHOP, given], line, &said);
    }
    let mut bench = Bench::with(&[WORKSHOP, POURED]);
    let before = bench.piece("P1").clone();
    for in_water in ["45.61", "45.62", "45.63"] {
        bench
            .run(&format!("immerse P1 in D 50.42 hung {in_water} at 21"))
            .unwrap();
    }
    let piece = bench.piece("P1").clone();
    let shown: Vec<&str> = piece
        .gravities
        .iter()
        .map(|gravity| gravity.in_water.text())
        .collect();
    assert_eq!(shown, ["45.61", "45.62", "45.63"], "each is kept, oldest first");
    let but_for_that = Piece {
        gravities: before.gravities.clone(),
        ..piece
    };
    assert_eq!(but_for_that, before, "nothing else of the piece changes");
}

#[test]
fn readings_that_no_piece_can_have_are_refused() {
    let nothing =
        "water carried nothing of the piece: it must read less in water than in air, and the cup must gain";
    let floats = "the displacement is not below the weight in air: a piece of metal does not float";
    for (method, in_water, why) in [
        ("hung", "50.42", nothing),
        ("hung", "50.43", nothing),
        ("hung", "0.00", floats),
        ("cup", "0.00", nothing),
        ("cup", "50.42", floats),
        ("cup", "60.00", floats),
    ] {
        check(
            &[WORKSHOP, POURED],
            &format!("immerse P1 in D 50.42 {method} {in_water} at 21"),
            &format!("refused: 50.42 g in air and {in_water} g in water cannot be: {why} (/in_water)"),
        );
    }
    for (line, why) in [
        (
            "cup 4.801 at 21",
            "4.801 g is finer than the scale shows: its step is 0.01 g (/in_water)",
        ),
        (
            "cup 1000.01 at 21",
            "1000.01 g is above the scale's greatest load of 1000.00 g (/in_water)",
        ),
    ] {
        let line = format!("immerse P1 in D 50.42 {line}");
        check(&[WORKSHOP, POURED], &line, &format!("refused: {why}"));
    }
    for (in_air, why) in [
        (
            "50.421",
            "50.421 g is finer than the scale shows: its step is 0.01 g (/in_air)",
        ),
        ("0.00", "a mass of zero is no metal (/in_air)"),
        (
            "1000.01",
            "1000.01 g is above the scale's greatest load of 1000.00 g (/in_air)",
        ),
    ] {
        let line = format!("immerse P1 in D {in_air} cup 4.80 at 21");
        check(&[WORKSHOP, POURED], &line, &format!("refused: {why}"));
    }
}

/// 200 steps must be displaced, and 200 times what bubbles are worth: 2 g on 0.01 g, 20 g on 0.1 g (common practice, no
/// source).
#[test]
fn a_scale_that_is_too_coarse_cannot_tell() {
    check(
        &[WORKSHOP, POURED],
        "immerse P1 in D 50.42 cup 2.00 at 20",
        "P1 50.42 cup 2.00 at 20",
    );
    check(
        &[WORKSHOP, POURED],
        "immerse P1 in D 50.42 cup 1.99 at 20",
        "refused: cannot tell with this scale: 1.99 g of water on steps of 0.01 g; no scale could, since bubbles alone are \
         worth too much of it (/in_water)",
    );
    let coarse: &[&str] = &[
        "scale C class II e 0.1 d 0.1 max 2000 s 0.03",
        "session E on C 100.0 shows 100.0",
    ];
    check(
        &[WORKSHOP, POURED, coarse],
        "immerse P1 in E 50.4 hung 45.6 at 20",
        "refused: cannot tell with this scale: 4.80 g of water on steps of 0.10 g; a scale with steps of 0.01 g could \
         (/in_water)",
    );
}

/// Both readings wobble by U (k = 2): on this scale 0.02 g at 50.42 g each time, so their difference by 0.03 g or less is
/// explained and 0.05 g is not (JCGM 100:2008, 5.1.2).
#[test]
fn a_piece_that_is_wet_or_another_one_is_refused() {
    check(
        &[WORKSHOP, POURED],
        "immerse P1 in D 50.44 hung 45.64 at 21",
        "P1 50.44 hung 45.64 at 21",
    );
    for in_air in ["50.47", "50.37", "49.10"] {
        check(
            &[WORKSHOP, POURED],
            &format!("immerse P1 in D {in_air} cup 4.80 at 21"),
            &format!(
                "refused: in air it shows {in_air} g, its last reading is 50.42 g, more than both readings' uncertainty \
                 explains: dry it and weigh it again, or it is another piece (/in_air)"
            ),
        );
    }
}

#[test]
fn a_piece_that_is_not_in_hand_or_not_weighed_is_refused() {
    check(
        &[WORKSHOP, POURED, &["pour M TW oval P9"]],
        "immerse P9 in D 50.42 cup 4.80 at 20",
        "refused: the piece has not been weighed (/piece)",
    );
    check(
        &[WORKSHOP, POURED],
        "immerse PX in D 50.42 cup 4.80 at 20",
        "refused: there is no piece 00000000-0000-0000-0000-00000000dead (/piece)",
    );
    let again = "session E on S 100.00 shows 100.00";
    for (then, state) in [
        (&["sell X Q1", "hand_over X Q1"][..], "delivered"),
        (&["sell X Q1", "dispatch X Q1"], "dispatched"),
        (&["sell X Q1", "dispatch X Q1", "lose X Q1"], "lost"),
        (&["steal Q1"], "stolen"),
        (&["destroy Q1 A. Witness"], "destroyed"),
    ] {
        check(
            &[WORKSHOP, STOCKED, &[again], then],
            "immerse Q1 in E 50.40 cup 4.80 at 20",
            &format!("refused: the piece is {state}, so it cannot be weighed in water (/piece)"),
        );
    }
    for then in [
        &["sell X Q1"][..],
        &[],
        &["reserve Q1"],
        &["steal Q1", "recover Q1"],
    ] {
        check(
            &[WORKSHOP, STOCKED, &[again], then],
            "immerse Q1 in E 50.40 cup 4.80 at 20",
            "Q1 50.40 cup 4.80 at 20",
        );
    }
    check(
        &[WORKSHOP, POURED, CLOSED, &["condemn P2 under"]],
        "immerse P2 in D 49.10 cup 4.68 at 20",
        "P2 49.10 cup 4.68 at 20",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            &["condemn P2 under", "melt N in D silver piece P2"],
        ],
        "immerse P2 in D 49.10 cup 4.68 at 20",
        "refused: the piece is remelted, so it cannot be weighed in water (/piece)",
    );
}

#[test]
fn nothing_is_measured_on_or_against_a_scale_that_was_found_off() {
    let failed: &[&str] = &["close D 100.00 shows 100.10"];
    check(
        &[WORKSHOP, POURED, failed],
        "immerse P1 in D 50.42 cup 4.80 at 20",
        "refused: session D is closed (/session)",
    );
    check(
        &[WORKSHOP, POURED, failed, &["session E on S 100.00 shows 100.00"]],
        "immerse P1 in E 50.42 cup 4.80 at 20",
        "refused: the weight of record is suspect: a check of session D failed after it; weigh again (/piece)",
    );
}

/// Water that is dried off does not undo a weighing (common practice, no source).
#[test]
fn the_weight_of_record_stays() {
    let last = FINAL.len() - 1;
    let wet: &[&str] = &["immerse P1 in D 50.42 cup 4.80 at 20"];
    check(
        &[WORKSHOP, POURED, CLOSED, &FINAL[..last], wet],
        "numbers P1",
        "P1 is 1 of 2",
    );
}
