//! The assay office: what goes there, what comes back line by line, and what may be stated of it then.

use super::bench::{Bench, CLOSED, FINAL, POURED, WORKSHOP, check, difference};
use pourbook::domain::*;
use pourbook::metal::Fineness;

/// An edition that needs hallmarks, open series at the same and a lower standard, and six pieces, five of them serialled.
const HALL: &[&str] = &[
    "edition HM silver 999 limits 50.00 50.00 51.20 required oval 3 slab 1",
    "open HX silver 925 required",
    "open HY silver 999 required",
    "melt M in D silver lot A 320.00",
    "pour M HM oval P1 P2 P3 P4 P5 P6",
    "weigh from_mould in D P1 50.42 P2 50.50 P3 50.60 P4 50.44 P5 50.46 P6 50.48",
    "balance M in D heel 17.00",
    "serials P1 P2 P3 P4 P5",
];
const SENT: &[&str] = &["consign C 999 P1 P2 P3 P4"];

fn fineness(text: &str) -> Fineness {
    Fineness::parse(text).unwrap()
}

fn consignment(bench: &Bench, name: &str) -> Consignment {
    bench
        .book
        .consignment(ConsignmentId(bench.id(name)))
        .unwrap()
        .clone()
}

#[test]
fn a_consignment_declares_count_weights_and_fineness() {
    check(
        &[WORKSHOP, HALL],
        "consign C 999 P2 P1",
        "C is consignment 1: 2 of 100.92 g at 999.0; P2 in C; P1 in C",
    );
    check(
        &[WORKSHOP, HALL, SENT],
        "consign C2 999 marks sponsor+fineness+office+date_letter P5",
        "C2 is consignment 2: 1 of 50.46 g at 999.0; P5 in C2",
    );
    let bench = Bench::with(&[WORKSHOP, HALL, SENT]);
    let row = consignment(&bench, "C");
    assert_eq!(
        row.marks,
        [MarkKind::Sponsor, MarkKind::Fineness, MarkKind::Office]
    );
    assert_eq!((row.state, row.pieces.len()), (ConsignmentState::AtOffice, 4));
    assert_eq!(bench.piece("P1").state, PieceState::AtOffice);
}

#[test]
fn a_piece_is_in_one_consignment_at_a_time() {
    check(
        &[WORKSHOP, HALL, SENT],
        "consign C2 999 P5 P2",
        "refused: piece P2 is in consignment C (/pieces/1)",
    );
    check(
        &[WORKSHOP, HALL],
        "consign C 999 P1 P1",
        "refused: P1 is named twice in one command (/pieces/1)",
    );
    for line in [
        "weigh final in D P1 50.42",
        "numbers P1",
        "certify P1",
        "condemn P1 unwanted",
        "move P1 to HX",
    ] {
        let mut bench = Bench::with(&[WORKSHOP, HALL, SENT]);
        assert!(
            bench.run(line).is_err(),
            "a piece at the office was taken by {line}"
        );
    }
}

#[test]
fn only_a_serialled_accepted_piece_of_a_series_that_needs_it_is_sent() {
    let striking: &[&str] = &[
        "edition ST silver 999 limits 50.00 50.00 51.20 required struck oval 2",
        "die DA workshop",
        "melt N in D silver lot A 60.00",
        "pour N ST oval Q1",
        "weigh from_mould in D Q1 50.60",
        "balance N in D heel 9.30",
        "serials Q1",
    ];
    for (given, line, then) in [
        (
            &[][..],
            "consign C 999 P1 P6",
            "refused: the piece has no serial yet (/pieces/1)",
        ),
        (
            &["fault P1 crack"][..],
            "consign C 999 P1",
            "refused: the piece is graded faulty, so it cannot be sent to the assay office (/pieces/0)",
        ),
        (
            &["condemn P1 unwanted"][..],
            "consign C 999 P1",
            "refused: the piece is condemned, so it cannot be sent to the assay office (/pieces/0)",
        ),
        (
            &["consign C 999 P1", "back C P1 marked"][..],
            "consign C 999 P1",
            "refused: the piece is hallmarked, so it cannot be sent to the assay office (/pieces/0)",
        ),
        (
            &["consign C 999 P1", "back C P1 missing"][..],
            "consign C 999 P1",
            "refused: the piece is missing, so it cannot be sent to the assay office (/pieces/0)",
        ),
        (
            striking,
            "consign C 999 P1 Q1",
            "refused: the series asks for a strike before that (/pieces/1)",
        ),
        (
            &["die DA workshop", "strike DA P1 weak"][..],
            "consign C 999 P1",
            "refused: the piece is mis_struck, so it cannot be sent to the assay office (/pieces/0)",
        ),
        (
            &[][..],
            "consign C 999",
            "refused: nothing is named: at least one is needed (/pieces)",
        ),
        (
            &[][..],
            "consign C 999 PX",
            "refused: there is no piece 00000000-0000-0000-0000-00000000dead (/pieces/0)",
        ),
    ] {
        check(&[WORKSHOP, HALL, given], line, then);
    }
    check(
        &[WORKSHOP, HALL, striking, &["strike DA Q1 good"]],
        "consign C 999 Q1",
        "C is consignment 1: 1 of 50.60 g at 999.0; Q1 in C",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, &["serials P1"]],
        "consign C 999 P1",
        "refused: the series is exempt from marking (/pieces/0)",
    );
}

#[test]
fn a_claim_is_what_the_series_states_and_never_more_than_the_metal() {
    check(
        &[WORKSHOP, HALL],
        "consign C 1000 P1",
        "refused: 1000.0 parts per thousand are claimed, the metal is 999.9 as declared (/pieces/0)",
    );
    for claimed in ["925", "999.9", "998.9"] {
        check(
            &[WORKSHOP, HALL],
            &format!("consign C {claimed} P1"),
            &format!(
                "refused: {} parts per thousand is not what the series states: 999.0 (/pieces/0)",
                fineness(claimed)
            ),
        );
    }
    check(
        &[WORKSHOP, HALL, &["move P2 to HX"]],
        "consign C 999 P1 P2",
        "refused: 999.0 parts per thousand is not what the series states: 925.0 (/pieces/1)",
    );
}

#[test]
fn a_hallmark_has_three_marks_at_least_each_kind_once() {
    let missing =
        "refused: a hallmark has at least a sponsor's, a fineness and an office's mark, each kind once";
    for marks in [
        "sponsor",
        "sponsor+fineness",
        "fineness+office",
        "sponsor+office+date_letter",
        "sponsor+fineness+office+office",
    ] {
        check(
            &[WORKSHOP, HALL],
            &format!("consign C 999 marks {marks} P1"),
            &format!("{missing} (/marks)"),
        );
    }
    for marks in [
        "sponsor+office",
        "fineness+office+date_letter",
        "sponsor+fineness+office+sponsor",
    ] {
        check(
            &[WORKSHOP, HALL, &["consign C 999 P1 P2"]],
            &format!("back C P2 missing P1 marked/{marks}"),
            &format!("{missing} (/lines/1/hallmark/marks)"),
        );
    }
    // A mark that cannot be read is on the piece all the same, and the record says so.
    let bench = Bench::with(&[
        WORKSHOP,
        HALL,
        &[
            "consign C 999 P1",
            "back C P1 marked/sponsor+fineness+office?+date_letter+commemorative+other",
        ],
    ]);
    let hallmark = bench.piece("P1").hallmark.clone().unwrap();
    let unread: Vec<MarkKind> = hallmark
        .marks
        .iter()
        .filter(|seen| !seen.legible)
        .map(|seen| seen.mark)
        .collect();
    assert_eq!((hallmark.marks.len(), unread), (6, vec![MarkKind::Office]));
}

#[test]
fn what_comes_back_adds_up_to_what_was_sent() {
    check(
        &[WORKSHOP, HALL, &["consign C 999 P1 P2 P3 P4 P5"]],
        "back C P3 cut P1 marked P5 missing P2 unmarked/damaged P4 kept",
        "P3 cut; P1 hallmarked 999.0; P5 missing; P2 unmarked as damaged; P4 kept; \
         C back: 5 = 1 marked + 1 unmarked + 2 kept + 1 missing",
    );
    let bench = Bench::with(&[
        WORKSHOP,
        HALL,
        &[
            "consign C 999 P1 P2 P3 P4 P5",
            "back C P3 cut P1 marked P5 missing P2 unmarked/damaged P4 kept",
        ],
    ]);
    let row = consignment(&bench, "C");
    // In the order in which they were sent.
    assert_eq!(
        row.outcomes,
        [
            AssayOutcome::Marked,
            AssayOutcome::Unmarked,
            AssayOutcome::Cut,
            AssayOutcome::Kept,
            AssayOutcome::Missing
        ]
    );
    assert_eq!(row.state, ConsignmentState::Returned);
    let states: Vec<PieceState> = ["P1", "P2", "P3", "P4", "P5"]
        .map(|name| bench.piece(name).state)
        .to_vec();
    assert_eq!(
        states,
        [
            PieceState::Hallmarked,
            PieceState::Unmarked,
            PieceState::Kept,
            PieceState::Kept,
            PieceState::Missing
        ]
    );
}

#[test]
fn a_return_that_does_not_add_up_is_refused() {
    for (line, then) in [
        (
            "back C P1 marked P2 marked P4 marked",
            "refused: the return does not add up: 3 lines for 4 pieces sent; piece P3 is on none (/lines)",
        ),
        (
            "back C P1 marked P2 marked P3 marked P4 marked P5 marked",
            "refused: piece P5 is not in the consignment (/lines/4/piece)",
        ),
        (
            "back C P1 marked P2 marked P3 marked P3 missing",
            "refused: P3 is named twice in one command (/lines/3/piece)",
        ),
        (
            "back C P1 marked P2 marked P3 marked P5 marked",
            "refused: piece P5 is not in the consignment (/lines/3/piece)",
        ),
        (
            "back C P1 marked P2 marked P3 marked PX marked",
            "refused: there is no piece 00000000-0000-0000-0000-00000000dead (/lines/3/piece)",
        ),
        (
            "back C",
            "refused: nothing is named: at least one is needed (/lines)",
        ),
        (
            "back CX P1 marked",
            "refused: there is no consignment 00000000-0000-0000-0000-00000000dead (/consignment)",
        ),
    ] {
        check(&[WORKSHOP, HALL, SENT], line, then);
    }
    let back: &[&str] = &["back C P1 marked P2 marked P3 marked P4 marked"];
    check(
        &[WORKSHOP, HALL, SENT, back],
        "back C P1 marked P2 marked P3 marked P4 marked",
        "refused: the consignment is back (/consignment)",
    );
    // Of two consignments each counts its own.
    check(
        &[WORKSHOP, HALL, SENT, &["consign C2 999 P5"]],
        "back C2 P1 marked",
        "refused: piece P1 is not in the consignment (/lines/0/piece)",
    );
}

#[test]
fn a_line_says_what_goes_with_its_outcome_and_nothing_else() {
    for (line, why, member) in [
        ("marked/bare", "a marked piece bears a hallmark", "hallmark"),
        ("unmarked", "an unmarked piece came back for a reason", "reason"),
        (
            "unmarked/damaged/f999",
            "only a marked piece bears a hallmark",
            "hallmark",
        ),
        ("missing/f999", "only a marked piece bears a hallmark", "hallmark"),
        (
            "kept/damaged",
            "only an unmarked piece came back for a reason",
            "reason",
        ),
        (
            "marked/a999",
            "what was found is noted of a piece that is unmarked, kept or cut",
            "assay",
        ),
        (
            "missing/a999",
            "what was found is noted of a piece that is unmarked, kept or cut",
            "assay",
        ),
        (
            "unmarked/below_standard/a999",
            "refused for its fineness, and what was found is not below what was claimed",
            "assay",
        ),
    ] {
        check(
            &[WORKSHOP, HALL, &["consign C 999 P1 P2"]],
            &format!("back C P1 marked P2 {line}"),
            &format!("refused: the line cannot be so: {why} (/lines/1/{member})"),
        );
    }
    for marked in ["999.9", "925"] {
        check(
            &[WORKSHOP, HALL, &["consign C 999 P1 P2"]],
            &format!("back C P2 missing P1 marked/f{marked}"),
            &format!(
                "refused: the fineness mark says {}, 999.0 was claimed (/lines/1/hallmark/fineness)",
                fineness(marked)
            ),
        );
    }
}

#[test]
fn what_came_back_is_weighed_before_anything_is_stated_of_it() {
    let back: &[&str] = &["consign C 999 P1 P2", "back C P1 marked P2 unmarked/damaged"];
    for line in ["numbers P1", "certify P1", "spare P1"] {
        check(
            &[WORKSHOP, HALL, back],
            line,
            "refused: the piece has had no final weighing (/pieces/0)",
        );
    }
    check(
        &[WORKSHOP, HALL, back],
        "weigh final in D P2 50.42",
        "refused: the piece is unmarked, so it cannot be weighed (/items/0/piece)",
    );
    check(
        &[WORKSHOP, HALL, back, &["weigh final in D P1 50.39"]],
        "numbers P1",
        "P1 is 1 of 3",
    );
    // Before the office 50.42 g, after it 50.39 g: the office took 0.03 g, and no later reading changes that.
    let bench = Bench::with(&[
        WORKSHOP,
        HALL,
        back,
        &[
            "weigh final in D P1 50.39",
            "close D 100.00 shows 100.10",
            "session E on S 100.00 shows 100.00",
            "weigh final in E P1 50.38",
        ],
    ]);
    assert_eq!(bench.piece("P1").assay_loss, difference("0.03"));
    bench.holds_every_gram();
    // Without a hallmark nothing of it goes on.
    for line in ["numbers P5", "certify P5", "spare P5"] {
        check(
            &[WORKSHOP, HALL],
            line,
            "refused: the series requires a hallmark, and the piece has none (/pieces/0)",
        );
    }
    check(
        &[WORKSHOP, HALL],
        "weigh final in D P5 50.42",
        "refused: the series requires a hallmark, and the piece has none (/items/0/piece)",
    );
}

#[test]
fn a_final_weighing_before_the_office_counts_for_nothing_after_it() {
    // Finally weighed in an exempt edition, and then moved to where a hallmark is needed.
    let moved: &[&str] = &[
        "open HY silver 999 required",
        "session E on S 100.00 shows 100.00",
        "move P1 to HY",
    ];
    let back: &[&str] = &["consign C 999 P1", "back C P1 marked"];
    check(
        &[WORKSHOP, POURED, CLOSED, FINAL, moved, back],
        "certify P1",
        "refused: the piece has had no final weighing (/pieces/0)",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            FINAL,
            moved,
            back,
            &["weigh final in E P1 50.40", "close E 100.00 shows 100.00"],
        ],
        "certify P1",
        "P1 states 50.40 +-0.03, at least 50.37; P1 certified, issue 1",
    );
}

#[test]
fn an_unmarked_piece_goes_in_again_or_is_given_up() {
    for reason in ["damaged", "no_room", "withdrawn", "other"] {
        let back = format!("back C P1 unmarked/{reason}");
        let given: &[&str] = &["consign C 999 P1", &back];
        check(
            &[WORKSHOP, HALL, given],
            "consign C2 999 P1",
            "C2 is consignment 2: 1 of 50.42 g at 999.0; P1 in C2",
        );
        check(&[WORKSHOP, HALL, given], "condemn P1 unmarked", "piece.condemned");
        // Twice at the office, once weighed after: what both took is one loss.
        let bench = Bench::with(&[
            WORKSHOP,
            HALL,
            given,
            &[
                "consign C2 999 P1",
                "back C2 P1 marked",
                "weigh final in D P1 50.40",
            ],
        ]);
        assert_eq!(bench.piece("P1").assay_loss, difference("0.02"));
        assert_eq!(bench.piece("P1").unmarked, None);
    }
    check(
        &[WORKSHOP, HALL],
        "condemn P1 unmarked",
        "refused: the piece is serialled, so it cannot be condemned as unmarked (/piece)",
    );
}

#[test]
fn a_piece_refused_for_its_fineness_goes_on_only_at_a_lower_standard() {
    let refused: &[&str] = &["consign C 999 P1", "back C P1 unmarked/below_standard"];
    let then = "refused: the office refused it at 999.0 parts per thousand: resubmit it in an open series of a lower \
                standard";
    check(
        &[WORKSHOP, HALL, refused],
        "consign C2 999 P1",
        &format!("{then} (/pieces/0)"),
    );
    check(
        &[WORKSHOP, HALL, refused],
        "consign C2 925 P1",
        "refused: 925.0 parts per thousand is not what the series states: 999.0 (/pieces/0)",
    );
    check(
        &[WORKSHOP, HALL, refused],
        "move P1 to HY",
        &format!("{then} (/to)"),
    );
    check(
        &[WORKSHOP, HALL, refused],
        "move P1 to DW",
        &format!("{then} (/to)"),
    );
    check(
        &[WORKSHOP, HALL, refused],
        "move P1 to HX",
        "P1 moves from HM to HX; P1 accepted",
    );
    let lower: &[&str] = &["move P1 to HX", "consign C2 925 P1"];
    check(
        &[WORKSHOP, HALL, refused, lower],
        "back C2 P1 marked/f925",
        "P1 hallmarked 925.0; C2 back: 1 = 1 marked + 0 unmarked + 0 kept + 0 missing",
    );
    // It keeps its serial, and states the lower standard.
    let certified: &[&str] = &[
        "back C2 P1 marked/f925",
        "weigh final in D P1 50.40",
        "close D 100.00 shows 100.00",
    ];
    check(
        &[WORKSHOP, HALL, refused, lower, certified],
        "certify P1",
        "P1 states 50.40 +-0.03, at least 50.37; P1 certified, issue 1",
    );
    let bench = Bench::with(&[WORKSHOP, HALL, refused, lower, certified, &["certify P1"]]);
    let issued = bench
        .entries
        .last()
        .unwrap()
        .drafts
        .iter()
        .find_map(|draft| match &draft.event {
            Event::CertificateIssued(e) => Some(e.clone()),
            _ => None,
        });
    let issued = issued.unwrap();
    assert_eq!(issued.serial.code().as_str(), "HM");
    assert_eq!(
        (issued.fineness, issued.basis),
        (fineness("925"), FinenessBasis::Hallmarked)
    );
    assert_eq!(issued.hallmark, HallmarkStatement::Hallmarked);
    assert_eq!(issued.marks.unwrap().fineness, fineness("925"));
    // Once refused it never goes back up, whatever the office said to the lower claim.
    for back in ["back C2 P1 marked/f925", "back C2 P1 unmarked/damaged"] {
        check(
            &[WORKSHOP, HALL, refused, lower, &[back]],
            "move P1 to HY",
            &format!("{then} (/to)"),
        );
    }
    check(
        &[
            WORKSHOP,
            HALL,
            refused,
            lower,
            &["back C2 P1 unmarked/below_standard"],
        ],
        "consign C3 925 P1",
        "refused: the office refused it at 925.0 parts per thousand: resubmit it in an open series of a lower \
         standard (/pieces/0)",
    );
}

#[test]
fn what_the_office_found_binds_the_whole_melt() {
    let low: &[&str] = &[
        "consign C 999 P1 P2",
        "back C P1 unmarked/below_standard/a998.5 P2 marked",
    ];
    let above = "refused: 999.0 parts per thousand are above what an assay office found in this metal: 998.5";
    let bench = Bench::with(&[WORKSHOP, HALL, low]);
    assert_eq!(
        bench.book.melt(MeltId(bench.id("M"))).unwrap().assayed,
        Some(fineness("998.5"))
    );
    assert_eq!(bench.piece("P1").assay, Some(fineness("998.5")));
    // The mates are pointed out: the pieces of that melt that were not with it.
    let mates: Vec<PieceId> = ["P3", "P4", "P5", "P6"]
        .map(|name| PieceId(bench.id(name)))
        .to_vec();
    assert_eq!(consignment(&bench, "C").melt_mates, mates);
    check(
        &[WORKSHOP, HALL, low],
        "consign C2 999 P3",
        &format!("{above} (/pieces/0)"),
    );
    check(&[WORKSHOP, HALL, low], "move P3 to DW", &format!("{above} (/to)"));
    check(
        &[WORKSHOP, HALL, low],
        "move P3 to HX",
        "P3 moves from HM to HX; P3 accepted",
    );
    // One that the office marked bears its mark.
    check(
        &[
            WORKSHOP,
            HALL,
            low,
            &[
                "weigh final in D P2 50.50",
                "numbers P2",
                "close D 100.00 shows 100.00",
            ],
        ],
        "certify P2",
        "P2 states 50.50 +-0.03, at least 50.47; P2 certified, issue 1",
    );
    // An exempt series states no more than was found either.
    let exempt: &[&str] = &["open EX silver 998 exempt", "open EY silver 998.6 exempt"];
    check(
        &[WORKSHOP, HALL, low, exempt],
        "move P3 to EX",
        "P3 moves from HM to EX; P3 accepted",
    );
    check(
        &[WORKSHOP, HALL, low, exempt],
        "move P3 to EY",
        "refused: 998.6 parts per thousand are above what an assay office found in this metal: 998.5 (/to)",
    );
}

#[test]
fn a_piece_in_stock_of_a_melt_that_was_found_low_gets_no_newer_certificate() {
    // An exempt edition and one to be hallmarked are poured from one melt.
    let both: &[&str] = &[
        "edition HM silver 999 limits 50.00 50.00 51.20 required oval 3",
        "melt N in D silver lot A 110.00",
        "pour N HM oval Q1",
        "pour N TW oval Q2",
        "weigh from_mould in D Q1 50.60 Q2 50.60",
        "balance N in D heel 8.70",
        "serials Q1 Q2",
        "weigh final in D Q2 50.60",
        "numbers Q2",
        "close D 100.00 shows 100.00",
        "certify Q2",
        "consign C 999 Q1",
        "back C Q1 cut/a990",
    ];
    check(
        &[WORKSHOP, both],
        "supersede Q2 damaged",
        "refused: 999.0 parts per thousand are above what an assay office found in this metal: 990.0 (/piece)",
    );
    let bench = Bench::with(&[WORKSHOP, both]);
    assert_eq!(consignment(&bench, "C").melt_mates, [PieceId(bench.id("Q2"))]);
}

#[test]
fn the_lowest_that_was_found_counts() {
    let twice: &[&str] = &["consign C 999 P1 P2", "back C P1 kept/a998.0 P2 cut/a997.5"];
    let bench = Bench::with(&[WORKSHOP, HALL, twice]);
    assert_eq!(
        bench.book.melt(MeltId(bench.id("M"))).unwrap().assayed,
        Some(fineness("997.5"))
    );
    // Found as claimed, or finer: nothing is in doubt, and no mate is pointed at.
    let fine: &[&str] = &[
        "consign C 999 P1 P2",
        "back C P1 kept/a999.0 P2 unmarked/damaged/a999.5",
    ];
    let bench = Bench::with(&[WORKSHOP, HALL, fine]);
    assert_eq!(bench.book.melt(MeltId(bench.id("M"))).unwrap().assayed, None);
    assert!(consignment(&bench, "C").melt_mates.is_empty());
    // Refused without a figure: the mates are pointed out, and nothing is put into the office's mouth.
    let mute: &[&str] = &[
        "consign C 999 P1 P2",
        "back C P1 unmarked/below_standard P2 marked",
    ];
    let bench = Bench::with(&[WORKSHOP, HALL, mute]);
    assert_eq!(bench.book.melt(MeltId(bench.id("M"))).unwrap().assayed, None);
    assert_eq!(consignment(&bench, "C").melt_mates.len(), 4);
    // Damaged, and found low: it does not go in again at that claim.
    check(
        &[
            WORKSHOP,
            HALL,
            &["consign C 999 P1", "back C P1 unmarked/damaged/a998.8"],
        ],
        "consign C2 999 P1",
        "refused: 999.0 parts per thousand are above what an assay office found in this metal: 998.8 (/pieces/0)",
    );
}

#[test]
fn what_the_office_kept_or_lost_does_not_come_back() {
    for end in ["kept", "cut", "missing"] {
        let back = format!("back C P1 {end} P2 marked");
        for line in [
            "condemn P1 unwanted",
            "consign C2 999 P1",
            "weigh final in D P1 50.42",
            "move P1 to HX",
            "numbers P1",
            "fault P1 crack",
            "certify P1",
        ] {
            let mut bench = Bench::with(&[WORKSHOP, HALL, &["consign C 999 P1 P2", &back]]);
            assert!(bench.run(line).is_err(), "{end}, and {line}");
        }
        let bench = Bench::with(&[WORKSHOP, HALL, &["consign C 999 P1 P2", &back]]);
        let state = bench.piece("P1").state;
        let statement = bench.book.masses(pourbook::metal::Metal::Silver).unwrap();
        let gone = statement
            .pieces
            .iter()
            .find(|pieces| pieces.state == state)
            .unwrap();
        assert_eq!(gone.amount.mass, difference("50.42"));
    }
}

#[test]
fn a_piece_destroyed_at_the_office_is_missing_on_its_return_and_stays_destroyed() {
    let gone: &[&str] = &["consign C 999 P1 P2", "destroy P1 assayer"];
    check(
        &[WORKSHOP, HALL, gone],
        "back C P1 missing P2 marked",
        "P1 missing; P2 hallmarked 999.0; C back: 2 = 1 marked + 0 unmarked + 0 kept + 1 missing",
    );
    for line in ["marked", "kept", "unmarked/damaged"] {
        check(
            &[WORKSHOP, HALL, gone],
            &format!("back C P2 marked P1 {line}"),
            "refused: piece P1 is not in the consignment (/lines/1/piece)",
        );
    }
    let bench = Bench::with(&[WORKSHOP, HALL, gone, &["back C P1 missing P2 marked"]]);
    assert_eq!(bench.piece("P1").state, PieceState::Destroyed);
    // One that was destroyed after it came back is not told of by another return.
    check(
        &[
            WORKSHOP,
            HALL,
            gone,
            &["back C P1 missing P2 marked", "consign C2 999 P3"],
        ],
        "back C2 P3 marked P1 missing",
        "refused: piece P1 is not in the consignment (/lines/1/piece)",
    );
}

#[test]
fn what_the_office_took_is_a_heading_of_its_own() {
    let bench = Bench::with(&[
        WORKSHOP,
        HALL,
        &[
            "consign C 999 P1 P2",
            "back C P1 marked P2 marked",
            "weigh final in D P1 50.39",
            "close D 100.00 shows 100.10",
            "session E on S 100.00 shows 100.00",
            "weigh final in E P1 50.38",
        ],
    ]);
    let statement = bench.book.masses(pourbook::metal::Metal::Silver).unwrap();
    assert_eq!(statement.assay_loss.mass, difference("0.03"));
    assert_eq!(statement.weighing_variance.mass, difference("0.01"));
}

#[test]
fn an_exempt_series_goes_straight_to_its_final_weighing_and_says_so() {
    let line: &[&str] = &["numbers P1", "certify P1"];
    let bench = Bench::with(&[WORKSHOP, POURED, CLOSED, FINAL, line]);
    let issued = bench
        .entries
        .last()
        .unwrap()
        .drafts
        .iter()
        .find_map(|draft| match &draft.event {
            Event::CertificateIssued(e) => Some(e.clone()),
            _ => None,
        });
    let issued = issued.unwrap();
    assert_eq!(issued.hallmark, HallmarkStatement::NotHallmarked);
    assert_eq!((issued.marks, issued.basis), (None, FinenessBasis::Assayed));
}

#[test]
fn an_entry_of_the_office_stands_whole() {
    let bench = Bench::with(&[WORKSHOP, HALL, SENT]);
    let id = ConsignmentId(bench.id("C"));
    let piece = |name: &str| PieceId(bench.id(name));
    let mark = |name: &str| {
        Event::from(PieceHallmarked {
            piece: piece(name),
            consignment: id,
            hallmark: Hallmark {
                fineness: fineness("999"),
                marks: [MarkKind::Sponsor, MarkKind::Fineness, MarkKind::Office]
                    .map(|mark| MarkSeen { mark, legible: true })
                    .to_vec(),
            },
        })
    };
    let back = |sent: u32, marked: u32, missing: u32| {
        Event::from(ConsignmentReturned {
            consignment: id,
            sent,
            marked,
            unmarked: 0,
            kept: 0,
            missing,
        })
    };
    let gone = |name: &str| {
        Event::from(PieceMissing {
            piece: piece(name),
            consignment: id,
        })
    };
    let whole = [mark("P1"), mark("P2"), mark("P3"), gone("P4"), back(4, 3, 1)];
    let taken = |events: &[Event]| {
        let mut book = bench.book.clone();
        let stamp = bench.stamp();
        events
            .iter()
            .try_for_each(|event| book.take(&stamp, event))
            .and_then(|()| book.settled())
    };
    taken(&whole).unwrap();
    let text = |events: &[Event]| taken(events).unwrap_err().to_string();
    // A line without the return that counts it; a return without a line; a return that counts otherwise.
    assert_eq!(
        text(&whole[..4]),
        format!(
            "the event says nothing more in entry {}, the book reckons consignment.returned of {id}",
            bench.stamp().index
        )
    );
    assert_eq!(
        text(&whole[4..]),
        format!(
            "the return does not add up: 0 lines for 4 pieces sent; piece {} is on none",
            piece("P1")
        )
    );
    assert!(taken(&[&whole[..3], &whole[4..]].concat()).is_err());
    assert!(taken(&[&whole[..4], &[back(4, 4, 0)]].concat()).is_err());
    assert!(taken(&[&whole[..4], &[back(3, 3, 0)]].concat()).is_err());
    // The same line twice, and a piece that was told of and is told of again.
    assert!(taken(&[&whole[..2], &whole[1..]].concat()).is_err());
    // A piece that is said to go with a consignment that does not name it, and a consignment that goes without its pieces.
    let consigned = Event::from(PieceConsigned {
        piece: piece("P5"),
        consignment: id,
    });
    assert!(taken(&[consigned]).is_err());
    let sent = ConsignmentSent {
        consignment: ConsignmentId(uuid::Uuid::from_u128(77)),
        number: 2,
        fineness: fineness("999"),
        marks: vec![MarkKind::Sponsor, MarkKind::Fineness, MarkKind::Office],
        pieces: vec![PieceMass {
            piece: piece("P5"),
            mass: bench.piece("P5").mass().unwrap(),
        }],
        mass: bench.piece("P5").mass().unwrap(),
    };
    let goes = Event::from(PieceConsigned {
        piece: piece("P5"),
        consignment: sent.consignment,
    });
    taken(&[sent.clone().into(), goes.clone()]).unwrap();
    assert!(taken(&[sent.clone().into()]).is_err());
    let between = Event::from(PieceCondemned {
        piece: piece("P5"),
        reason: CondemnReason::Unwanted,
    });
    assert!(taken(&[sent.clone().into(), between, goes.clone()]).is_err());
    // A declared weight is the last reading, and nothing else.
    let mut light = sent;
    light.pieces[0].mass = pourbook::metal::Mass::parse("50.40").unwrap();
    light.mass = light.pieces[0].mass;
    assert!(taken(&[light.into(), goes]).is_err());
}
