//! Pieces: pouring, weighing and grading, finishing, moving, giving up.

use super::bench::{Bench, CLOSED, FINAL, POURED, WORKSHOP, check, difference};
use pourbook::domain::*;
use pourbook::metal::Metal;

const MELT: &[&str] = &["melt M in D silver lot A 300.00"];

#[test]
fn each_pour_has_a_number_at_the_mould() {
    check(
        &[WORKSHOP, MELT],
        "pour M TW oval P1 P2",
        "P1 is pour 1-01; P2 is pour 1-02",
    );
    check(
        &[WORKSHOP, MELT, &["pour M TW oval P1"]],
        "pour M DW anything P2",
        "P2 is pour 1-02",
    );
    check(
        &[WORKSHOP, MELT],
        "pour M TW hexagon P1",
        "refused: the series has no shape hexagon (/pours/0/shape)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "pour M TW oval P9",
        "refused: melt M is closed (/melt)",
    );
    check(
        &[WORKSHOP, MELT],
        "pour M TW oval x65",
        "refused: 65 are named, at most 64 fit in one command: split it (/pours)",
    );
    check(
        &[WORKSHOP, MELT, &["pour M TW oval x64"]],
        "pour M TW oval x36",
        "refused: 100 are named, at most 99 fit in one command: split it (/pours)",
    );
    check(
        &[WORKSHOP, MELT],
        "pour M TW oval",
        "refused: nothing is named: at least one is needed (/pours)",
    );
}

#[test]
fn metal_is_poured_only_for_a_series_that_it_suits() {
    check(
        &[WORKSHOP, &["melt M in D gold lot G 90.00"]],
        "pour M TW oval P1",
        "refused: this is gold, silver is needed (/pours/0/series)",
    );
    check(
        &[WORKSHOP, &["melt M in D silver lot A 90.00 lot K 0.10"]],
        "pour M TW oval P1",
        "refused: the metal is 998.7 parts per thousand as declared, the series states 999.0 (/pours/0/series)",
    );
    check(
        &[WORKSHOP, MELT],
        "pour M XX oval P1",
        "refused: there is no series 00000000-0000-0000-0000-00000000dead (/pours/0/series)",
    );
}

#[test]
fn a_weighed_piece_is_graded_with_the_scale_allowed_for() {
    let poured: &[&str] = &["pour M TW oval P1"];
    // Up to 50.00 g, that is 5,000 intervals, this scale has 0.01 g in service and 1.645 u is 0.016 g; above it has
    // 0.02 g and 1.645 u is 0.023 g (OIML R 76-1:2006, Table 6): bands of 0.02 g and 0.03 g in its steps of 0.01 g.
    for (mass, grade) in [
        ("49.98", "under"),
        ("49.99", "borderline"),
        ("50.00", "borderline"),
        ("50.02", "borderline"),
        ("50.03", "accepted"),
        ("51.17", "accepted"),
        ("51.18", "borderline"),
        ("51.22", "borderline"),
        ("51.23", "over"),
    ] {
        check(
            &[WORKSHOP, MELT, poured],
            &format!("weigh from_mould in D P1 {mass}"),
            &format!("P1 weighs {mass}; P1 {grade}"),
        );
    }
}

#[test]
fn nothing_is_accepted_on_an_unverified_scale() {
    let pocket: &[&str] = &[
        "scale U class II e 0.01 d 0.01 max 500 s 0.01 unverified",
        "session E on U 100.00 shows 100.00",
    ];
    check(
        &[WORKSHOP, MELT, &["pour M TW oval P1"], pocket],
        "weigh from_mould in E P1 50.60",
        "P1 weighs 50.60; P1 borderline",
    );
    check(
        &[WORKSHOP, MELT, &["pour M DW oval P1"], pocket],
        "weigh from_mould in E P1 50.60",
        "P1 weighs 50.60; P1 borderline",
    );
    check(
        &[WORKSHOP, MELT, &["pour M DW oval P1"], pocket],
        "weigh from_mould in D P1 12.60",
        "P1 weighs 12.60; P1 accepted",
    );
}

#[test]
fn a_tray_is_weighed_all_or_nothing() {
    let poured: &[&str] = &["pour M TW oval P1 P2 P3"];
    for (line, then) in [
        (
            "weigh from_mould in D P1 50.42 P2 50.421 P3 50.50",
            "refused: 50.421 g is finer than the scale shows: its step is 0.01 g (/items/1/mass)",
        ),
        (
            "weigh from_mould in D P1 50.42 P2 0.00",
            "refused: a mass of zero is no metal (/items/1/mass)",
        ),
        (
            "weigh from_mould in D P1 50.42 P2 1000.01",
            "refused: 1000.01 g is above the scale's greatest load of 1000.00 g (/items/1/mass)",
        ),
        (
            "weigh from_mould in D P1 50.42 P2 50.50 P1 50.42",
            "refused: P1 is named twice in one command (/items/2/piece)",
        ),
        (
            "weigh from_mould in D P1 50.42 P9 50.50",
            "refused: there is no piece 00000000-0000-0000-0000-00000000dead (/items/1/piece)",
        ),
        (
            "weigh from_mould in Z P1 50.42",
            "refused: there is no session 00000000-0000-0000-0000-00000000dead (/session)",
        ),
        (
            "weigh from_mould in D",
            "refused: nothing is named: at least one is needed (/items)",
        ),
    ] {
        check(&[WORKSHOP, MELT, poured], line, then);
    }
}

#[test]
fn each_stage_has_its_time() {
    check(
        &[WORKSHOP, POURED],
        "weigh finished in D P1 50.40",
        "refused: melt M is not weighed out yet (/items/0/piece)",
    );
    check(
        &[WORKSHOP, POURED],
        "weigh from_mould in D P1 50.40",
        "refused: the piece is graded accepted: a reading is corrected, not repeated (/items/0/piece)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "weigh from_mould in D P1 50.40",
        "refused: melt M is closed (/items/0/piece)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "weigh finished in D P1 50.40",
        "P1 weighs 50.40; P1 accepted",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "weigh final in D P1 50.40",
        "refused: the piece has no serial yet (/items/0/piece)",
    );
    let serial: &[&str] = &["serials P1"];
    check(
        &[WORKSHOP, POURED, CLOSED, serial],
        "weigh final in D P1 50.40",
        "P1 weighs 50.40; P1 accepted",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, serial],
        "weigh finished in D P1 50.40",
        "refused: the piece is serialled, so it cannot be weighed (/items/0/piece)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, &["condemn P2 under"]],
        "weigh finished in D P2 49.10",
        "refused: the piece is condemned, so it cannot be weighed (/items/0/piece)",
    );
}

#[test]
fn a_later_reading_supersedes_and_both_stay() {
    let bench = Bench::with(&[WORKSHOP, POURED, CLOSED, &["weigh finished in D P1 50.40"]]);
    let readings: Vec<&str> = bench
        .piece("P1")
        .readings
        .iter()
        .map(|reading| reading.mass.text())
        .collect();
    assert_eq!(readings, ["50.42", "50.40"]);
    // Nothing was filed off, so what the second weighing shows less is a variance, named and summed.
    let statement = bench.book.masses(Metal::Silver).unwrap();
    assert_eq!(statement.weighing_variance.mass, difference("0.02"));
}

#[test]
fn filings_go_from_the_piece_into_the_jar() {
    check(
        &[WORKSHOP, POURED, CLOSED],
        "finish in D into LE P3 51.00 P1 50.40",
        "P3 filed by 1.00; P3 weighs 51.00; P3 accepted; P1 filed by 0.02; P1 weighs 50.40; P1 accepted; \
         LE takes 1.02 of M",
    );
    // An over-weight piece may be filed again and again.
    check(
        &[WORKSHOP, POURED, CLOSED, &["finish in D into LE P3 51.60"]],
        "finish in D into LE P3 51.00",
        "P3 filed by 0.60; P3 weighs 51.00; P3 accepted; LE takes 0.60 of M",
    );
    // Two readings of at most 0.02 g each (k = 2): 0.01 g more is a wobble, and nothing went into the jar.
    check(
        &[WORKSHOP, POURED, CLOSED],
        "finish in D into LE P1 50.43",
        "P1 filed by 0.00; P1 weighs 50.43; P1 accepted",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "finish in D into LE P3 51.00 P1 50.52",
        "refused: 50.52 g after finishing, 50.42 g before: filing takes metal off (/items/1/mass)",
    );
}

#[test]
fn filings_need_a_jar_of_lemel_and_a_closed_melt() {
    for (jar, then) in [
        ("PR", "refused: the jar is for prills, not for lemel (/jar)"),
        ("GL", "refused: this is silver, gold is needed (/jar)"),
        (
            "FL",
            "refused: the jar is kept at 1000.0 parts per thousand, this metal is 999.9 (/jar)",
        ),
        (
            "ZZ",
            "refused: there is no jar 00000000-0000-0000-0000-00000000dead (/jar)",
        ),
    ] {
        check(
            &[
                WORKSHOP,
                POURED,
                CLOSED,
                &["jar GL gold 999 lemel", "jar FL silver 1000 lemel"],
            ],
            &format!("finish in D into {jar} P3 51.00"),
            then,
        );
    }
    check(
        &[WORKSHOP, POURED],
        "finish in D into LE P3 51.00",
        "refused: melt M is not weighed out yet (/items/0/piece)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, &["serials P1"]],
        "finish in D into LE P1 50.00",
        "refused: the piece has the serial TW-0001-83, which is given once (/items/0/piece)",
    );
}

#[test]
fn a_faulty_piece_stays_faulty() {
    check(&[WORKSHOP, POURED], "fault P1 cold_shut", "piece.faulted");
    let faulty: &[&str] = &["fault P1 cold_shut"];
    check(
        &[WORKSHOP, POURED, faulty],
        "weigh from_mould in D P1 50.42",
        "refused: the piece is graded faulty: a reading is corrected, not repeated (/items/0/piece)",
    );
    check(
        &[WORKSHOP, MELT, &["pour M TW oval P1", "fault P1 misrun"]],
        "weigh from_mould in D P1 50.42",
        "P1 weighs 50.42; P1 faulty",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, faulty],
        "weigh finished in D P1 50.42",
        "P1 weighs 50.42; P1 faulty",
    );
    check(
        &[WORKSHOP, POURED, faulty],
        "fault P1 crack",
        "refused: the piece is graded faulty, so it cannot be graded faulty again (/piece)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, faulty],
        "serials P1",
        "refused: the piece is graded faulty, so it cannot be given a serial (/pieces/0)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, faulty],
        "move P1 to DW",
        "refused: the piece is graded faulty, so it cannot be moved (/piece)",
    );
    let bench = Bench::with(&[WORKSHOP, MELT, &["pour M TW oval P1", "fault P1 misrun"]]);
    assert_eq!(
        bench.piece("P1").state,
        PieceState::Poured,
        "a fault is no weighing"
    );
    check(
        &[WORKSHOP, MELT, &["pour M TW oval P1", "fault P1 misrun"]],
        "weigh from_mould in D P1 50.60",
        "P1 weighs 50.60; P1 faulty",
    );
}

#[test]
fn an_odd_weight_piece_moves_to_an_open_series() {
    check(
        &[WORKSHOP, POURED],
        "move P2 to DW",
        "P2 moves from TW to DW; P2 accepted",
    );
    check(
        &[WORKSHOP, POURED],
        "move P2 to TW",
        "refused: pieces move only into an open series (/to)",
    );
    check(
        &[WORKSHOP, POURED, &["move P2 to DW"]],
        "move P2 to DW",
        "refused: the piece is in that series already (/to)",
    );
    check(
        &[WORKSHOP, POURED, &["open DG gold 999 exempt"]],
        "move P2 to DG",
        "refused: this is silver, gold is needed (/to)",
    );
    check(
        &[WORKSHOP, POURED, &["open DF silver 1000 exempt"]],
        "move P2 to DF",
        "refused: the metal is 999.9 parts per thousand as declared, the series states 1000.0 (/to)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, &["serials P1"]],
        "move P1 to DW",
        "P1 moves from TW to DW; P1 accepted",
    );
    check(
        &[WORKSHOP, MELT, &["pour M TW oval P1"]],
        "move P1 to DW",
        "refused: the piece is poured, so it cannot be moved (/piece)",
    );
    check(
        &[WORKSHOP, POURED],
        "move P2 to XX",
        "refused: there is no series 00000000-0000-0000-0000-00000000dead (/to)",
    );
}

#[test]
fn a_piece_is_condemned_for_what_its_grading_says() {
    check(&[WORKSHOP, POURED], "condemn P2 under", "piece.condemned");
    check(&[WORKSHOP, POURED], "condemn P3 over", "piece.condemned");
    check(&[WORKSHOP, POURED], "condemn P1 unwanted", "piece.condemned");
    check(
        &[WORKSHOP, POURED],
        "condemn P1 under",
        "refused: the piece is graded accepted, so it cannot be condemned as under (/reason)",
    );
    check(
        &[WORKSHOP, POURED, &["condemn P2 under"]],
        "condemn P2 under",
        "refused: the piece is condemned, so it cannot be condemned (/piece)",
    );
    check(
        &[WORKSHOP, MELT, &["pour M TW oval P1"]],
        "condemn P1 unwanted",
        "refused: the piece has not been weighed (/piece)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, &["numbers P1", "certify P1"]],
        "condemn P1 unwanted",
        "refused: the piece is certified, so it cannot be condemned (/piece)",
    );
}
