//! Weighing again: a reading is not repeated until it pleases.

use super::bench::{Bench, CLOSED, WORKSHOP, check};
use pourbook::domain::{Grade, SessionId};

/// Beside the scale of the workshop (class II, 0.01 g): a finer one, one like it, one that is finer and not verified.
const SCALES: &[&str] = &[
    "scale F class I e 0.001 d 0.001 max 500 s 0.0005",
    "scale L class II e 0.01 d 0.01 max 1000 s 0.006",
    "scale V class I e 0.001 d 0.001 max 500 s 0.0005 unverified",
    "session FF on F 100.000 shows 100.000",
    "session LL on L 100.00 shows 100.00",
    "session VV on V 100.000 shows 100.000",
];

/// P1 is accepted, P2 borderline at the lower limit of 50.00 g, P3 under, P4 over.
const POURED: &[&str] = &[
    "melt M in D silver lot A 300.00",
    "pour M TW oval P1 P2 P3",
    "pour M TW slab P4",
    "weigh from_mould in D P1 50.42 P2 50.01 P3 49.10 P4 52.00",
];

const NO_REPEAT: &str = "a reading is corrected, not repeated (/items/0/piece)";

fn then(given: &[&str], when: &str, outcome: &str) {
    check(&[WORKSHOP, SCALES, POURED, given], when, outcome);
}

#[test]
fn only_a_borderline_piece_is_weighed_again_from_the_mould() {
    for (piece, grade) in [("P1", "accepted"), ("P3", "under"), ("P4", "over")] {
        for session in ["D", "FF"] {
            then(
                &[],
                &format!("weigh from_mould in {session} {piece} 50.50"),
                &format!("refused: the piece is graded {grade}: {NO_REPEAT}"),
            );
        }
    }
    then(
        &[],
        "weigh from_mould in FF P2 50.012",
        "P2 weighs 50.012; P2 accepted",
    );
}

#[test]
fn a_second_look_needs_a_better_scale() {
    let no_better = |this: &str| {
        format!("refused: this scale is no better: within {this} g here, within 0.02728 g before (/session)")
    };
    // Above 5,000 e = 50 g the MPE in service is 0.02 g (OIML R 76-1:2006, Table 6 and 3.5.2), so u = sqrt(0.02^2 / 3 +
    // 0.006^2 + 2 * 0.01^2 / 12) = 0.013638 g (computed) and U = 2 u = 0.02728 g, rounded up.
    then(&[], "weigh from_mould in D P2 50.03", &no_better("0.02728"));
    then(&[], "weigh from_mould in LL P2 50.03", &no_better("0.02728"));
    then(
        &[],
        "weigh from_mould in VV P2 50.030",
        &no_better("no known number of"),
    );
    // What an unverified scale showed is always borderline, and any verified scale is better, however coarse.
    let by_unverified: &[&str] = &[
        "melt N in D silver lot B 100.00",
        "pour N DW oval Q1",
        "weigh from_mould in VV Q1 50.500",
    ];
    then(
        by_unverified,
        "weigh from_mould in D Q1 50.50",
        "Q1 weighs 50.50; Q1 accepted",
    );
}

#[test]
fn there_is_one_second_look() {
    let finer: &[&str] = &[
        "scale G class I e 0.0001 d 0.0001 max 200 s 0.0001",
        "session GG on G 100.0000 shows 100.0000",
    ];
    let looked = [finer, &["weigh from_mould in FF P2 50.000"]].concat();
    then(
        &looked,
        "weigh from_mould in GG P2 50.0030",
        "refused: the piece was weighed again already: a borderline piece gets one second look (/items/0/piece)",
    );
    // It may still be worked on, and what is weighed then is another piece of metal.
    let closed = [&looked[..], CLOSED].concat();
    then(
        &closed,
        "finish in FF into LE P2 49.990",
        "P2 filed by 0.01; P2 weighs 49.990; P2 under; LE takes 0.01 of M",
    );
}

#[test]
fn a_suspect_reading_is_taken_anew_on_any_scale() {
    let failed: &[&str] = &["close D 100.00 shows 100.10"];
    then(
        failed,
        "weigh from_mould in LL P1 50.43",
        "P1 weighs 50.43; P1 accepted",
    );
    then(
        failed,
        "weigh from_mould in LL P3 49.10",
        "P3 weighs 49.10; P3 under",
    );
    // The suspect look is none: the new one still has its second.
    let anew = [failed, &["weigh from_mould in LL P2 50.01"]].concat();
    then(
        &anew,
        "weigh from_mould in LL P2 50.03",
        "refused: this scale is no better: within 0.02728 g here, within 0.02728 g before (/session)",
    );
    then(
        &anew,
        "weigh from_mould in FF P2 50.012",
        "P2 weighs 50.012; P2 accepted",
    );
    let bench = Bench::with(&[WORKSHOP, SCALES, POURED, failed]);
    assert_eq!(bench.book.suspects(SessionId(bench.id("D"))).len(), 4);
}

#[test]
fn a_finished_piece_is_looked_at_again_only_on_a_better_scale() {
    let closed: &[&str] = CLOSED;
    let finished = [closed, &["finish in D into LE P4 51.19"]].concat();
    let bench = Bench::with(&[WORKSHOP, SCALES, POURED, &finished]);
    let grade = |bench: &Bench| bench.piece("P4").grading.as_ref().map(|grading| grading.grade);
    assert_eq!(grade(&bench), Some(Grade::Borderline));
    then(
        &finished,
        "weigh finished in D P4 51.16",
        "refused: this scale is no better: within 0.02728 g here, within 0.02728 g before (/session)",
    );
    then(
        &finished,
        "weigh finished in FF P4 51.188",
        "P4 weighs 51.188; P4 accepted",
    );
    let looked = [&finished[..], &["weigh finished in FF P4 51.188"]].concat();
    then(
        &looked,
        "weigh finished in FF P4 51.100",
        &format!("refused: the piece is graded accepted: {NO_REPEAT}"),
    );
    // Filed again it is another piece of metal, on whatever scale.
    then(
        &finished,
        "finish in D into LE P4 51.00",
        "P4 filed by 0.19; P4 weighs 51.00; P4 accepted; LE takes 0.19 of M",
    );
}

#[test]
fn a_final_weighing_is_not_repeated_until_it_passes() {
    let accepted: &[&str] = &[
        "scale G class I e 0.0001 d 0.0001 max 200 s 0.00005",
        "session GG on G 100.0000 shows 100.0000",
        "melt M in D silver lot A 300.00",
        "pour M TW oval P1 P2 P5",
        "weigh from_mould in D P1 50.42 P2 50.42 P5 50.60",
        "balance M in D heel 148.00 prills PR 0.50",
        "serials P1 P2 P5",
        "weigh final in D P1 50.42 P2 50.01 P5 49.90",
    ];
    let then = |more: &[&str], when: &str, outcome: &str| {
        check(&[WORKSHOP, SCALES, accepted, more], when, outcome);
    };
    for (piece, grade) in [("P1", "accepted"), ("P5", "under")] {
        for session in ["D", "FF"] {
            then(
                &[],
                &format!("weigh final in {session} {piece} 50.50"),
                &format!("refused: the piece is graded {grade}: {NO_REPEAT}"),
            );
        }
    }
    then(
        &[],
        "weigh final in D P2 50.03",
        "refused: this scale is no better: within 0.02728 g here, within 0.02728 g before (/session)",
    );
    // What is borderline is looked at on better and better scales, until one can tell.
    let looked: &[&str] = &["weigh final in FF P2 50.001"];
    then(&[], looked[0], "P2 weighs 50.001; P2 borderline");
    then(
        looked,
        "weigh final in GG P2 50.0010",
        "P2 weighs 50.0010; P2 accepted",
    );
    then(
        &[looked, &["weigh final in GG P2 50.0010"]].concat(),
        "weigh final in GG P2 50.0010",
        &format!("refused: the piece is graded accepted: {NO_REPEAT}"),
    );
    // A suspect reading is none.
    let failed: &[&str] = &["close D 100.00 shows 100.10"];
    then(
        failed,
        "weigh final in LL P5 50.60",
        "P5 weighs 50.60; P5 accepted",
    );
}

#[test]
fn a_weight_that_a_certificate_states_may_be_taken_anew_once_for_each_issue() {
    let given: &[&[&str]] = &[
        WORKSHOP,
        SCALES,
        super::bench::POURED,
        CLOSED,
        super::bench::FINAL,
        &["numbers P1", "certify P1"],
    ];
    let again: &[&str] = &["weigh final in LL P1 50.40"];
    check(given, again[0], "P1 weighs 50.40; P1 accepted");
    let refused = format!("refused: the piece is graded accepted: {NO_REPEAT}");
    let once = [given, &[again]].concat();
    check(&once, "weigh final in LL P1 50.42", &refused);
    let issued: &[&str] = &["close LL 100.00 shows 100.00", "supersede P1 reweighed"];
    check(
        &[&once[..], &[issued]].concat(),
        "weigh final in FF P1 50.400",
        "P1 weighs 50.400; P1 accepted",
    );
}

#[test]
fn a_number_put_on_the_metal_asks_for_a_final_weighing() {
    let stamped: &[&str] = &[
        "edition NM silver 999 limits 50.00 50.00 51.20 exempt number_on_metal oval 2",
        "melt M in D silver lot A 300.00",
        "pour M NM oval P1",
        "weigh from_mould in D P1 50.42",
        "balance M in D heel 248.00 prills PR 0.50",
        "serials P1",
        "weigh final in D P1 50.42",
    ];
    check(
        &[WORKSHOP, stamped],
        "weigh final in D P1 50.41",
        &format!("refused: the piece is graded accepted: {NO_REPEAT}"),
    );
    check(
        &[WORKSHOP, stamped, &["numbers P1"]],
        "weigh final in D P1 50.41",
        "P1 weighs 50.41; P1 accepted",
    );
}
