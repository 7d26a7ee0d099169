//! Scales, sessions and lots: what a scale may show, and what a failed check makes suspect.

use super::bench::{Bench, CLOSED, FINAL, POURED, WORKSHOP, check};
use pourbook::domain::*;

const SCALE: &[&str] = &["scale S class II e 0.01 d 0.01 max 1000 s 0.006"];
const POCKET: &[&str] = &["scale S class II e 0.1 d 0.1 max 500 s 0.1 unverified"];
const OPEN: &[&str] = &["session D on S 100.00 shows 100.00"];

#[test]
fn a_scale_is_such_as_can_be_built() {
    check(
        &[],
        "scale S class II e 0.01 d 0.01 max 1000 s 0.006",
        "scale.registered",
    );
    // A common legal balance: e is ten times d.
    check(
        &[],
        "scale S class II e 0.1 d 0.01 max 2000 s 0.01",
        "scale.registered",
    );
    for (line, why) in [
        ("scale S class II e 0.01 d 0 max 1000 s 0", "its step is zero"),
        (
            "scale S class II e 0.01 d 0.1 max 1000 s 0",
            "its step d is greater than its verification interval e",
        ),
        (
            "scale S class II e 0.03 d 0.02 max 1000 s 0",
            "its verification interval e is not a whole number of steps d",
        ),
        (
            "scale S class II e 0.01 d 0.01 max 0 s 0",
            "its greatest load is not a whole number of steps above the interval e",
        ),
        (
            // Class II has at most 100,000 intervals (OIML R 76-1:2006, Table 3).
            "scale S class II e 0.01 d 0.01 max 1000.01 s 0",
            "a scale of its class has fewer intervals than its greatest load needs",
        ),
        (
            "scale S class II e 0.01 d 0.01 max 100 s 101",
            "its repeatability is greater than its greatest load",
        ),
    ] {
        check(&[], line, &format!("refused: the scale cannot be so: {why}"));
    }
}

#[test]
fn a_session_opens_with_a_check_that_holds() {
    // Class II, e = 0.01 g, 100 g = 10,000 e: one interval when new, two in service (OIML R 76-1:2006, Table 6, 3.5.2).
    check(&[SCALE], "session D on S 100.00 shows 100.02", "session.opened");
    check(
        &[SCALE],
        "session D on S 100.00 shows 100.03",
        "refused: the check weighing shows 100.03 g for 100.00 g; within 0.02 g would hold: level, clean and adjust \
         the scale (/reading)",
    );
    check(&[POCKET], "session D on S 100.0 shows 100.2", "session.opened");
    check(
        &[POCKET],
        "session D on S 100.0 shows 99.7",
        "refused: the check weighing shows 99.7 g for 100.00 g; within 0.20 g would hold: level, clean and adjust the \
         scale (/reading)",
    );
    check(
        &[SCALE],
        "session D on S 100.00 shows 100.001",
        "refused: 100.001 g is finer than the scale shows: its step is 0.01 g (/reading)",
    );
    check(
        &[SCALE],
        "session D on S 0 shows 0.00",
        "refused: a mass of zero is no metal (/nominal)",
    );
    check(
        &[SCALE],
        "session D on S 2000 shows 1000.00",
        "refused: 1000.00 g is above the scale's greatest load of 1000.00 g (/reading)",
    );
    check(
        &[SCALE],
        "session D on Z 100 shows 100.00",
        "refused: there is no scale 00000000-0000-0000-0000-00000000dead (/scale)",
    );
}

#[test]
fn a_scale_is_in_one_session_at_a_time() {
    check(
        &[SCALE, OPEN],
        "session E on S 100.00 shows 100.00",
        "refused: the scale is already in session D; close that one first (/scale)",
    );
    check(
        &[SCALE, OPEN, &["close D 100.00 shows 100.00"]],
        "session E on S 100.00 shows 100.00",
        "session.opened",
    );
}

#[test]
fn a_check_that_fails_ends_its_session() {
    check(&[SCALE, OPEN], "check D 100.00 shows 100.02", "D held");
    check(&[SCALE, OPEN], "check D 100.00 shows 99.97", "D failed");
    check(&[SCALE, OPEN], "close D 100.00 shows 100.00", "D confirmed");
    check(&[SCALE, OPEN], "close D 100.00 shows 100.50", "D failed");
    for ended in ["check D 100.00 shows 99.97", "close D 100.00 shows 100.00"] {
        for line in [
            "check D 100.00 shows 100.00",
            "close D 100.00 shows 100.00",
            "lot A silver 999 declared 1.00 in D",
        ] {
            check(
                &[SCALE, OPEN, &[ended]],
                line,
                "refused: session D is closed (/session)",
            );
        }
    }
}

#[test]
fn a_failed_check_makes_the_readings_since_the_last_good_one_suspect() {
    let mut bench = Bench::with(&[
        WORKSHOP,
        &[
            "melt M in D silver lot A 300.00",
            "pour M TW oval P1 P2 P3",
            "weigh from_mould in D P1 50.42",
            "check D 100.00 shows 100.00",
            "weigh from_mould in D P2 50.50 P3 50.43",
        ],
    ]);
    let session = SessionId(bench.id("D"));
    assert_eq!(bench.book.suspects(session), vec![]);
    let index = bench.entries.len() as u64 - 1;
    bench.run("close D 100.00 shows 100.10").unwrap();
    let mut expected = vec![(PieceId(bench.id("P2")), index), (PieceId(bench.id("P3")), index)];
    expected.sort_unstable();
    assert_eq!(bench.book.suspects(session), expected);
    assert!(
        !bench.book.is_suspect(&bench.piece("P1").readings[0]),
        "a good check stands after it"
    );
    assert!(bench.book.is_suspect(&bench.piece("P2").readings[0]));
}

#[test]
fn no_serial_rests_on_a_suspect_reading() {
    let failed: &[&str] = &["close D 100.00 shows 100.10"];
    check(
        &[WORKSHOP, POURED, CLOSED, failed],
        "serials P1",
        "refused: the weight of record is suspect: a check of session D failed after it; weigh again (/pieces/0)",
    );
    let again: &[&str] = &[
        "session E on S 100.00 shows 100.00",
        "weigh finished in E P1 50.41",
    ];
    check(
        &[WORKSHOP, POURED, CLOSED, failed, again],
        "serials P1",
        "P1 is TW-0001-83",
    );
    let last = FINAL.len() - 1;
    check(
        &[WORKSHOP, POURED, CLOSED, &FINAL[..last], failed],
        "numbers P1",
        "refused: the weight of record is suspect: a check of session D failed after it; weigh again (/pieces/0)",
    );
}

#[test]
fn a_lot_is_weighed_here_and_numbered() {
    let given: &[&[&str]] = &[SCALE, OPEN, &["lot A silver 999.9 assayed 500.00 in D"]];
    check(given, "lot B gold 999.9 declared 31.10 in D", "B is lot 2");
    check(given, "lot B copper 1000 declared 31.10 in D", "B is lot 2");
    check(
        given,
        "lot B silver 999 declared 0.00 in D",
        "refused: a mass of zero is no metal (/mass)",
    );
    check(
        given,
        "lot B silver 999 declared 10.005 in D",
        "refused: 10.005 g is finer than the scale shows: its step is 0.01 g (/mass)",
    );
    check(
        given,
        "lot B silver 999 declared 1000.01 in D",
        "refused: 1000.01 g is above the scale's greatest load of 1000.00 g (/mass)",
    );
    check(
        given,
        "lot B copper 999 declared 10.00 in D",
        "refused: an alloy metal is entered at 1000 parts per thousand of itself (/fineness)",
    );
    check(
        given,
        "lot B silver 999 declared 10.00 in Z",
        "refused: there is no session 00000000-0000-0000-0000-00000000dead (/session)",
    );
    check(
        given,
        "lot B silver 999 declared 10.00 in D note 2000",
        "B is lot 2",
    );
    check(
        given,
        "lot B silver 999 declared 10.00 in D note 2001",
        "refused: a text may have at most 2000 characters (/note)",
    );
}

#[test]
fn what_is_private_stays_out_of_the_event() {
    let mut bench = Bench::with(&[SCALE, OPEN]);
    let drafts = bench
        .run("lot A silver 999.9 assayed 500.00 in D note 3")
        .unwrap();
    let private: Vec<&str> = drafts[0].private.iter().map(|(name, _)| name).collect();
    assert_eq!(private, vec!["note", "seller"]);
    let public = serde_json::to_string(&drafts[0].event).unwrap();
    assert!(
        !public.contains("Pellworth") && !public.contains("xxx"),
        "{public}"
    );
}
