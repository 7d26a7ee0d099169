//! Certificates: what they need, what they state, and how a newer issue takes an older one's place.

use super::bench::{Bench, CLOSED, FINAL, POURED, WORKSHOP, check};
use pourbook::domain::*;

const CERTIFIED: &[&str] = &["numbers P1 P4", "certify P1"];

#[test]
fn a_certificate_states_what_the_reading_supports() {
    // u^2 = (0.02/sqrt 3)^2 + 0.006^2 + 2 (0.01/sqrt 12)^2, U = 2 u = 0.0273 g, up to 0.03 g: the scale has 0.02 g in
    // service above 50 g, that is 5,000 intervals (OIML R 76-1:2006, Table 6).
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, &["numbers P1"]],
        "certify P1",
        "P1 states 50.42 +-0.03, at least 50.39; P1 certified, issue 1",
    );
}

#[test]
fn a_certificate_has_a_code_that_the_log_does_not_hold() {
    let mut bench = Bench::with(&[WORKSHOP, POURED, CLOSED, FINAL, &["numbers P1 P4"]]);
    let drafts = bench.run("certify P1 P4").unwrap();
    let codes: Vec<String> = drafts
        .iter()
        .flat_map(|draft| draft.private.iter())
        .map(|(name, value)| format!("{name} {}", serde_json::to_string(value).unwrap()))
        .collect();
    assert_eq!(codes.len(), 2);
    assert_ne!(codes[0], codes[1]);
    assert!(
        codes
            .iter()
            .all(|code| code.starts_with("code ") && code.len() == "code \"0123456789A\"".len()),
        "{codes:?}"
    );
}

#[test]
fn a_certificate_needs_a_closed_session_that_held() {
    let open = &FINAL[..FINAL.len() - 1];
    check(
        &[WORKSHOP, POURED, CLOSED, open, &["numbers P1"]],
        "certify P1",
        "refused: session D of the weight of record has no closing check yet (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            open,
            &["numbers P1", "close D 100.00 shows 100.10"],
        ],
        "certify P1",
        "refused: the weight of record is suspect: a check of session D failed after it; weigh again (/pieces/0)",
    );
}

/// What became of the scale after a check that held says nothing of the readings before it.
#[test]
fn a_check_that_held_after_the_reading_is_enough() {
    let open = &FINAL[..FINAL.len() - 1];
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            open,
            &[
                "numbers P1",
                "check D 100.00 shows 100.00",
                "close D 100.00 shows 100.10",
            ],
        ],
        "certify P1",
        "P1 states 50.42 +-0.03, at least 50.39; P1 certified, issue 1",
    );
}

#[test]
fn a_certificate_comes_after_everything_else() {
    check(
        &[WORKSHOP, POURED, CLOSED],
        "certify P1",
        "refused: the piece has no serial yet (/pieces/0)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL],
        "certify P1",
        "refused: a piece of an edition gets its number before its certificate (/pieces/0)",
    );
    let odd: &[&str] = &["move P2 to DW", "serials P2"];
    check(
        &[WORKSHOP, POURED, CLOSED, odd],
        "certify P2",
        "refused: the piece has had no final weighing (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            odd,
            &["weigh final in D P2 49.10", "close D 100.00 shows 100.00"],
        ],
        "certify P2",
        // Below 5,000 intervals the scale has 0.01 g in service: U = 0.0185 g, up to 0.02 g.
        "P2 states 49.10 +-0.02, at least 49.08; P2 certified, issue 1",
    );
    let pocket: &[&str] = &[
        "scale U class II e 0.01 d 0.01 max 500 s 0.01 unverified",
        "session E on U 100.00 shows 100.00",
        "weigh final in E P2 49.10",
        "close E 100.00 shows 100.00",
    ];
    check(
        &[WORKSHOP, POURED, CLOSED, odd, pocket],
        "certify P2",
        "refused: the scale is unverified: it supports no stated weight (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            odd,
            &[
                "weigh final in D P2 49.10",
                "fault P2 crack",
                "close D 100.00 shows 100.00",
            ],
        ],
        "certify P2",
        "refused: the piece is graded faulty, so it cannot be certified (/pieces/0)",
    );
}

#[test]
fn a_piece_has_one_first_certificate() {
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, CERTIFIED],
        "certify P4 P1",
        "refused: the piece has certificate issue 1; supersede it (/pieces/1)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, CERTIFIED],
        "supersede P4 damaged",
        "refused: the piece has no certificate (/piece)",
    );
}

#[test]
fn a_newer_issue_supersedes() {
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, CERTIFIED],
        "supersede P1 damaged",
        "P1 states 50.42 +-0.03, at least 50.39; P1#1 superseded; P1 certified, issue 2",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            FINAL,
            CERTIFIED,
            &["supersede P1 damaged"],
        ],
        "supersede P1 mistake",
        "P1 states 50.42 +-0.03, at least 50.39; P1#2 superseded; P1 certified, issue 3",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, CERTIFIED],
        "supersede P1 reweighed",
        "refused: the piece has had no final weighing (/reason)",
    );
    let again: &[&str] = &[
        "session E on S 100.00 shows 100.00",
        "weigh final in E P1 50.40",
        "close E 100.00 shows 100.00",
    ];
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, CERTIFIED, again],
        "supersede P1 reweighed",
        "P1 states 50.40 +-0.03, at least 50.37; P1#1 superseded; P1 certified, issue 2",
    );
    let bench = Bench::with(&[
        WORKSHOP,
        POURED,
        CLOSED,
        FINAL,
        CERTIFIED,
        again,
        &["supersede P1 reweighed"],
    ]);
    let older = bench.book.certificate(CertificateId(bench.id("P1#1"))).unwrap();
    assert_eq!(older.superseded, Some(CertificateId(bench.id("P1#2"))));
    assert_eq!(bench.piece("P1").certificate, older.superseded);
}

#[test]
fn the_newest_issue_is_printed_as_of_a_log_that_holds_it() {
    let certified: &[&[&str]] = &[WORKSHOP, POURED, CLOSED, FINAL, CERTIFIED];
    check(certified, "print P1#1 of P1 at once_issued", "P1#1 printed");
    for size in ["before", "9999"] {
        let bench = Bench::with(certified);
        let since = bench
            .book
            .certificate(CertificateId(bench.id("P1#1")))
            .unwrap()
            .since;
        let said = if size == "before" {
            since.to_string()
        } else {
            size.to_owned()
        };
        check(
            certified,
            &format!("print P1#1 of P1 at {size}"),
            &format!(
                "refused: a log of {said} entries does not hold entry {since}, which issued the certificate, or is not \
                 there yet (/certificates/0)"
            ),
        );
    }
    let refused = Bench::with(certified).run("print P1#1 of P4 at once_issued");
    let refusal = refused.unwrap_err().refusal;
    assert!(matches!(refusal, Refusal::Contradicts { .. }), "{refusal}");
}
