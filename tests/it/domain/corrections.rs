//! Corrections: what is said instead, what follows from it, and what it would make impossible.

use super::bench::{Bench, CLOSED, FINAL, POURED, STOCKED, WORKSHOP};
use pourbook::domain::*;
use pourbook::metal::Metal;

const WEIGHED: &str = "weigh from_mould in D P1 50.42 P2 49.10 P3 52.00 P4 50.60";

/// As `CLOSED`, with less of a heel: there is room for a heavier piece.
const LIGHTER: &[&str] = &["balance M in D heel 95.00 prills PR 0.50"];

/// Every entry of the bench as the log would hand it out.
fn past(bench: &Bench) -> Vec<PastEntry> {
    let entry = |(index, recorded): (usize, &super::bench::Recorded)| PastEntry {
        stamp: recorded.stamp,
        leaf: format!("leaf-{index}"),
        events: recorded.drafts.iter().map(|draft| draft.event.clone()).collect(),
    };
    bench.entries.iter().enumerate().map(entry).collect()
}

/// Corrects entries, each given by its index and by the line that should have been; a line that is empty withdraws.
fn try_correct(bench: &Bench, corrections: &[(usize, &str)]) -> Result<Corrected, Refused> {
    let corrections = corrections.iter().map(|(index, line)| Correction {
        index: *index as u64,
        instead: (!line.is_empty()).then(|| Box::new(bench.read(line).0)),
    });
    let command = CorrectEntries {
        corrections: corrections.collect(),
        reason: CorrectionReason::Mistyped,
        note: Some("said at the bench".to_owned()),
    };
    let mut correcting = Correcting::new(&bench.book, &command)?;
    for entry in past(bench) {
        correcting.take(&entry)?;
    }
    let stamp = bench.stamp();
    let mut moment = Moment {
        now: stamp.at,
        by: stamp.by,
        draw: Draw::new([9; 32]),
    };
    correcting.finish(stamp.index, &mut moment)
}

/// The book that somebody comes to who reads the log and the correction, and nothing else.
fn replay(bench: &Bench, corrected: &Corrected) -> Book {
    let Event::EntryCorrected(event) = &corrected.drafts[0].event else {
        panic!("a correction begins with what it corrects")
    };
    let mut book = bench.book.anew(event);
    for entry in past(bench) {
        for event in book.said(entry.stamp.index, entry.events.iter()) {
            book.take(&entry.stamp, &event).unwrap();
        }
        book.keep();
    }
    for draft in &corrected.drafts {
        book.take(&bench.stamp(), &draft.event).unwrap();
    }
    book.keep();
    book
}

fn correct(bench: &mut Bench, corrections: &[(usize, &str)]) -> Corrected {
    let corrected = match try_correct(bench, corrections) {
        Ok(corrected) => corrected,
        Err(refused) => panic!("{}", bench.say_refused(&refused)),
    };
    assert!(
        replay(bench, &corrected) == corrected.book,
        "the log leads to another book"
    );
    for metal in [Metal::Silver, Metal::Gold, Metal::Copper] {
        let difference = corrected.book.masses(metal).unwrap().difference().unwrap();
        assert_eq!(difference, Amount::default(), "{metal}");
    }
    bench.book = corrected.book.clone();
    corrected
}

fn refused(bench: &Bench, corrections: &[(usize, &str)]) -> String {
    match try_correct(bench, corrections) {
        Ok(_) => "corrected".to_owned(),
        Err(refused) => bench.say_refused(&refused),
    }
}

/// The entry that a line of what was given made.
fn entry(given: &[&[&str]], line: &str) -> usize {
    given
        .iter()
        .copied()
        .flatten()
        .position(|given| *given == line)
        .unwrap()
}

/// What a correction says of each entry: asked for or following, and its events.
fn said(bench: &Bench, corrected: &Corrected) -> Vec<String> {
    let Event::EntryCorrected(event) = &corrected.drafts[0].event else {
        panic!()
    };
    let restated = event.entries.iter().map(|restated| {
        let events: Vec<String> = restated
            .events
            .iter()
            .map(|told| bench.say_event(&told.0))
            .collect();
        let how = if restated.asked { "asked" } else { "follows" };
        format!("{how}: {}", events.join("; "))
    });
    restated.collect()
}

#[test]
fn a_weight_typed_wrong_changes_its_grading_and_the_balance_of_its_melt() {
    let given = [WORKSHOP, POURED, LIGHTER];
    let mut bench = Bench::with(&given);
    let index = entry(&given, WEIGHED);
    let corrected = correct(
        &mut bench,
        &[(index, "weigh from_mould in D P1 50.42 P2 50.30 P3 52.00 P4 50.60")],
    );
    assert_eq!(
        said(&bench, &corrected),
        [
            "asked: P1 weighs 50.42; P1 accepted; P2 weighs 50.30; P2 accepted; P3 weighs 52.00; P3 over; \
             P4 weighs 50.60; P4 accepted",
            "follows: M lost 1.18; PR takes 0.50 of M",
        ]
        .map(|line| line.replace("             ", "")),
    );
    assert_eq!(bench.piece("P2").grading.as_ref().unwrap().grade, Grade::Accepted);
    assert!(corrected.subjects.contains(&bench.id("P2")) && corrected.subjects.contains(&bench.id("M")));
}

#[test]
fn a_piece_typed_for_another_in_a_charge_is_itself_again() {
    let given: [&[&str]; 4] = [
        WORKSHOP,
        POURED,
        CLOSED,
        &[
            "condemn P2 under",
            "condemn P3 over",
            "melt N in D silver lot A 100.00 piece P2",
        ],
    ];
    let mut bench = Bench::with(&given);
    let index = bench.entries.len() - 1;
    let corrected = correct(&mut bench, &[(index, "melt N in D silver lot A 100.00 piece P3")]);
    assert_eq!(said(&bench, &corrected).len(), 1);
    assert_eq!(bench.piece("P2").state, PieceState::Condemned);
    assert_eq!(bench.piece("P3").state, PieceState::Remelted);
    let melt = bench.book.melt(MeltId(bench.id("N"))).unwrap();
    assert_eq!(melt.charge.to_string(), "152.00");
    for piece in ["P2", "P3"] {
        assert!(corrected.subjects.contains(&bench.id(piece)), "{piece}");
    }
}

#[test]
fn a_final_weight_typed_wrong_supersedes_the_certificate_that_states_it() {
    let given = [
        WORKSHOP,
        POURED,
        CLOSED,
        FINAL,
        &["numbers P1 P4", "certify P1 P4"],
    ];
    let mut bench = Bench::with(&given);
    let index = entry(&given, "weigh final in D P1 50.42 P4 50.60");
    let corrected = correct(&mut bench, &[(index, "weigh final in D P1 50.24 P4 50.60")]);
    let kinds: Vec<&str> = corrected.drafts.iter().map(|draft| draft.event.kind()).collect();
    assert_eq!(
        kinds,
        [
            "entry.corrected",
            "certificate.issued",
            "certificate.superseded",
            "piece.certified"
        ]
    );
    let piece = bench.piece("P1");
    let newest = bench.book.certificate(piece.certificate.unwrap()).unwrap();
    assert_eq!((piece.state, newest.issue), (PieceState::Certified, 2));
    let older = bench.book.certificate(CertificateId(bench.id("P1#1"))).unwrap();
    assert_eq!(older.superseded, Some(newest.certificate));
    assert_eq!(
        bench
            .book
            .certificate(bench.piece("P4").certificate.unwrap())
            .unwrap()
            .issue,
        1
    );
}

#[test]
fn what_was_recorded_twice_is_withdrawn_and_what_came_after_keeps_its_number() {
    let given: [&[&str]; 2] = [
        WORKSHOP,
        &[
            "lot C silver 999.9 assayed 90.00 in D",
            "lot E silver 999.9 assayed 90.00 in D",
        ],
    ];
    let mut bench = Bench::with(&given);
    let index = bench.entries.len() - 2;
    correct(&mut bench, &[(index, "")]);
    assert_eq!(bench.book.lot(LotId(bench.id("C"))), None);
    assert_eq!(bench.book.lot(LotId(bench.id("E"))).unwrap().number, 6);
    bench.run("lot F silver 999.9 assayed 10.00 in D").unwrap();
    assert_eq!(bench.book.lot(LotId(bench.id("F"))).unwrap().number, 7);
}

/// What stood before an entry was withdrawn, then the entry itself is corrected: it gives the numbers that it gave, to each of
/// what it makes.
#[test]
fn a_corrected_entry_gives_the_numbers_that_it_gave() {
    let given: &[&str] = &[
        "melt M in D silver lot A 100.00",
        "melt N in D silver lot A 110.00",
        "pour N TW oval P1 P2",
        "melt E in D silver lot A 50.00",
        "lot C silver 999.9 assayed 90.00 in D",
        "count T in D silently found X1 silver 900 1.00 found X2 silver 900 2.00",
        "lot L silver 999.9 assayed 10.00 in D",
    ];
    let mut bench = Bench::with(&[WORKSHOP, given]);
    let at = |begins: &str| {
        let lines = [WORKSHOP, given].concat();
        lines.iter().position(|line| line.starts_with(begins)).unwrap()
    };
    correct(&mut bench, &[(at("melt M"), ""), (at("lot C"), "")]);
    let (poured, empty) = (MeltId(bench.id("N")), MeltId(bench.id("E")));
    let melts = |book: &Book| [poured, empty].map(|melt| book.melt(melt).unwrap().number);
    let lots = ["X1", "X2", "L"].map(|name| LotId(bench.id(name)));
    let lots = |book: &Book| lots.map(|lot| book.lot(lot).unwrap().number);
    assert_eq!((melts(&bench.book), lots(&bench.book)), ([2, 3], [6, 7, 8]));
    let corrected = correct(
        &mut bench,
        &[
            (at("melt N"), "melt N in D silver lot A 111.00"),
            (at("melt E"), "melt E in D silver lot A 51.00"),
            (
                at("count T"),
                "count T in D silently found X1 silver 900 1.50 found X2 silver 900 2.00",
            ),
        ],
    );
    assert_eq!(said(&bench, &corrected).len(), 3);
    assert_eq!((melts(&bench.book), lots(&bench.book)), ([2, 3], [6, 7, 8]));
    // What is new is behind them all.
    bench.run("melt F in D silver lot A 10.00").unwrap();
    assert_eq!(bench.book.melt(MeltId(bench.id("F"))).unwrap().number, 4);
}

#[test]
fn a_correction_that_would_make_a_later_fact_impossible_names_it() {
    let given: [&[&str]; 3] = [WORKSHOP, STOCKED, &["sell V Q1"]];
    let lines: Vec<&str> = given.iter().copied().flatten().copied().collect();
    let bench = Bench::with(&given);
    let poured = lines
        .iter()
        .position(|line| line.starts_with("pour M SN oval"))
        .unwrap();
    assert_eq!(
        refused(&bench, &[(poured, "")]),
        "refused: by that, piece.weighed of entry 14 could not be: there is no piece Q1 (/corrections)"
            .replace("14", &(poured + 3).to_string()),
    );
    // Far too light, it would never have been accepted.
    let weighed = lines
        .iter()
        .position(|line| line.starts_with("weigh from_mould"))
        .unwrap();
    let light = "weigh from_mould in D Q1 40.40 Q2 50.40 Q3 50.40 Q4 50.40 Q5 50.40";
    let says = refused(&bench, &[(weighed, light)]);
    assert!(says.contains("piece.serialled of entry"), "{says}");
}

/// What an entry says instead may be one thing more, or one less: a jar takes what is filed off, and nothing if nothing is.
#[test]
fn a_jar_takes_filings_from_the_finishing_that_they_then_came_from() {
    let given: [&[&str]; 4] = [
        WORKSHOP,
        POURED,
        CLOSED,
        &["finish in D into LE P3 51.90", "finish in D into LE P3 51.90"],
    ];
    let (first, second) = (bench_len(&given) - 2, bench_len(&given) - 1);
    let mut bench = Bench::with(&given);
    let withdrawn = try_correct(&bench, &[(first, "")]).unwrap_or_else(|_| panic!("it could be"));
    assert!(replay(&bench, &withdrawn) == withdrawn.book);
    assert_eq!(
        said(&bench, &withdrawn),
        [
            "asked: ",
            "follows: P3 filed by 0.10; P3 weighs 51.90; P3 over; LE takes 0.10 of M",
        ]
    );
    let none = correct(
        &mut bench,
        &[(first, "finish in D into LE P3 52.00"), (second, "")],
    );
    assert_eq!(
        said(&bench, &none),
        ["asked: P3 filed by 0.00; P3 weighs 52.00; P3 over", "asked: "]
    );
    let later: [&[&str]; 4] = [WORKSHOP, POURED, CLOSED, &["finish in D into LE P3 51.90"]];
    let mut bench = Bench::with(&later);
    let weighed = entry(&later, WEIGHED);
    let lighter = correct(
        &mut bench,
        &[(
            weighed,
            "weigh from_mould in D P1 50.42 P2 49.10 P3 51.90 P4 50.60",
        )],
    );
    assert_eq!(
        said(&bench, &lighter).last().unwrap(),
        "follows: P3 filed by 0.00; P3 weighs 51.90; P3 over",
    );
}

/// A destruction of the wrong piece is told again of the right one: who saw it stays as it was recorded.
#[test]
fn a_destruction_typed_of_the_wrong_piece_is_told_of_the_right_one() {
    let given: [&[&str]; 3] = [WORKSHOP, STOCKED, &["destroy Q1 the caretaker"]];
    let index = bench_len(&given) - 1;
    let mut bench = Bench::with(&given);
    assert!(
        bench.run("destroy Q2").is_err(),
        "beside a correction, a witness is asked for"
    );
    let says = refused(&bench, &[(index, "destroy Q2 the caretaker")]);
    assert!(says.contains("private members"), "{says}");
    let corrected = correct(&mut bench, &[(index, "destroy Q2")]);
    assert_eq!(said(&bench, &corrected), ["asked: Q2 destroyed"]);
    assert_eq!(bench.piece("Q1").state, PieceState::Certified);
    assert_eq!(bench.piece("Q2").state, PieceState::Destroyed);
}

/// A piece that was bought back has no final weighing, so its certificate cannot be issued again yet.
#[test]
fn a_final_weight_is_corrected_of_a_piece_that_was_bought_back() {
    let given: [&[&str]; 3] = [
        WORKSHOP,
        STOCKED,
        &[
            "sell V Q1",
            "hand_over V Q1",
            "session E on S 100.00 shows 100.00",
            "buy_back Q1 in E 50.41",
        ],
    ];
    let index = entry(
        &given,
        "weigh final in D Q1 50.40 Q2 50.40 Q3 50.40 Q4 50.40 Q5 50.40",
    );
    let mut bench = Bench::with(&given);
    let corrected = correct(
        &mut bench,
        &[(
            index,
            "weigh final in D Q1 50.42 Q2 50.40 Q3 50.40 Q4 50.40 Q5 50.40",
        )],
    );
    let kinds: Vec<&str> = corrected.drafts.iter().map(|draft| draft.event.kind()).collect();
    assert_eq!(kinds, ["entry.corrected"]);
    let restated = said(&bench, &corrected).join("\n");
    assert!(restated.contains("Q1 states 50.42"), "{restated}");
}

/// Weighed in water was another piece. Nor does a weight become one that the reading in air contradicts.
#[test]
fn a_weighing_in_water_of_the_wrong_piece_is_told_of_the_right_one() {
    let given: [&[&str]; 3] = [WORKSHOP, POURED, &["immerse P1 in D 50.42 cup 4.80 at 20"]];
    let index = bench_len(&given) - 1;
    let mut bench = Bench::with(&given);
    let says = refused(
        &bench,
        &[(
            entry(&given, WEIGHED),
            "weigh from_mould in D P1 50.24 P2 49.10 P3 52.00 P4 50.60",
        )],
    );
    assert!(
        says.contains(&format!("piece.gravity of entry {index} could not be")),
        "{says}"
    );
    let corrected = correct(&mut bench, &[(index, "immerse P4 in D 50.60 cup 4.82 at 20")]);
    assert_eq!(said(&bench, &corrected), ["asked: P4 50.60 cup 4.82 at 20"]);
    assert_eq!(bench.piece("P1").gravities, []);
    assert_eq!(bench.piece("P4").gravities.len(), 1);
}

fn bench_len(given: &[&[&str]]) -> usize {
    given.iter().map(|lines| lines.len()).sum()
}

#[test]
fn facts_that_hang_together_are_corrected_together() {
    let given: [&[&str]; 4] = [
        WORKSHOP,
        POURED,
        CLOSED,
        &["condemn P2 under", "melt N in D silver lot A 100.00 piece P2"],
    ];
    let mut bench = Bench::with(&given);
    let condemned = bench.entries.len() - 2;
    let says = refused(&bench, &[(condemned, "condemn P3 over")]);
    assert!(
        says.starts_with("refused: by that, melt.charged of entry"),
        "{says}"
    );
    correct(
        &mut bench,
        &[
            (condemned, "condemn P3 over"),
            (condemned + 1, "melt N in D silver lot A 100.00 piece P3"),
        ],
    );
    assert_eq!(bench.piece("P2").state, PieceState::Graded);
    assert_eq!(bench.piece("P3").state, PieceState::Remelted);
}

#[test]
fn what_is_given_once_is_not_corrected() {
    let given = [
        WORKSHOP,
        POURED,
        CLOSED,
        FINAL,
        &["numbers P1 P4", "certify P1 P4"],
    ];
    let bench = Bench::with(&given);
    for (line, kind) in [
        ("serials P1 P4", "piece.serialled"),
        ("numbers P1 P4", "piece.numbered"),
        ("certify P1 P4", "certificate.issued"),
    ] {
        let index = entry(&given, line);
        assert_eq!(
            refused(&bench, &[(index, "")]),
            format!(
                "refused: entry {index} holds {kind}, which no correction changes (/corrections/0/index)"
            ),
        );
    }
}

#[test]
fn a_correction_says_what_is_wrong_with_itself() {
    let given = [WORKSHOP, POURED, CLOSED];
    let bench = Bench::with(&given);
    let index = entry(&given, WEIGHED);
    let cases: [(&[(usize, &str)], String); 5] = [
        (&[], "refused: nothing is named: at least one is needed (/corrections)".to_owned()),
        (
            &[(index, WEIGHED)],
            "refused: what is asked makes no difference (/corrections)".to_owned(),
        ),
        (
            &[(900, "")],
            "refused: there is no entry 900 (/corrections/0/index)".to_owned(),
        ),
        (
            &[(index, ""), (index, WEIGHED)],
            format!("refused: entry {index} is corrected twice in one command (/corrections/1/index)"),
        ),
        (
            &[(index, "weigh from_mould in D P1 50.421 P2 49.10")],
            "refused: 50.421 g is finer than the scale shows: its step is 0.01 g (/corrections/0/instead/items/0/mass)"
                .to_owned(),
        ),
    ];
    for (corrections, says) in cases {
        assert_eq!(refused(&bench, corrections), says);
    }
}

#[test]
fn a_corrected_entry_is_corrected_again() {
    let given = [WORKSHOP, POURED, LIGHTER];
    let mut bench = Bench::with(&given);
    let index = entry(&given, WEIGHED);
    for (mass, grade) in [
        ("50.30", Grade::Accepted),
        ("49.10", Grade::Under),
        ("51.30", Grade::Over),
    ] {
        let line = format!("weigh from_mould in D P1 50.42 P2 {mass} P3 52.00 P4 50.60");
        let corrected = correct(&mut bench, &[(index, &line)]);
        let (stamp, drafts) = (bench.stamp(), corrected.drafts);
        bench.entries.push(super::bench::Recorded { stamp, drafts });
        assert_eq!(bench.piece("P2").grading.as_ref().unwrap().grade, grade);
    }
}

#[test]
fn what_the_book_said_at_a_stocktake_is_said_anew() {
    let given: &[&str] = &[
        "melt M in D silver lot A 110.00",
        "pour M TW oval P1 P2",
        "weigh from_mould in D P1 50.42 P2 50.50",
        "balance M in D heel 9.00",
        "count C in D lot A 690.00 heel M 8.50 seen P1",
    ];
    let bench = Bench::with(&[WORKSHOP, given]);
    let index = bench.entries.len() - 5;
    // Less was drawn, and the second pour was none.
    let charged = "melt M in D silver lot A 109.00";
    let corrected = try_correct(
        &bench,
        &[
            (index, charged),
            (index + 1, "pour M TW oval P1"),
            (index + 2, "weigh from_mould in D P1 50.42"),
        ],
    )
    .unwrap();
    assert!(replay(&bench, &corrected) == corrected.book);
    let row = corrected.book.stocktake(StocktakeId(bench.id("C"))).unwrap();
    let lines = row.lines.iter();
    let lines: Vec<String> = lines
        .map(|line| format!("{} {}", line.expected, line.variance))
        .collect();
    assert_eq!(lines, ["691.00 1.00", "9.00 0.50"]);
    assert_eq!(row.pieces.as_ref().unwrap().unseen, []);
    let silver = corrected.book.masses(Metal::Silver).unwrap();
    assert_eq!(silver.difference().unwrap(), Amount::default());
    assert_eq!(silver.stocktake_variance.mass.to_string(), "1.50");
    // The count itself is corrected like anything else, or withdrawn.
    let again = "count C in D lot A 689.00 heel M 9.00 seen P1 P2";
    let corrected = try_correct(&bench, &[(index + 4, again)]);
    let refused = corrected.err().unwrap();
    assert_eq!(refused.refusal.code(), "correction-with-private");
    let withdrawn = try_correct(&bench, &[(index + 4, "")]).unwrap();
    assert!(withdrawn.book.stocktake(StocktakeId(bench.id("C"))).is_none());
    assert_eq!(
        withdrawn.book.masses(Metal::Silver).unwrap().stocktake_variance,
        Amount::default()
    );
}

#[test]
fn a_second_look_does_not_outlive_the_reading_that_called_for_it() {
    let given: &[&str] = &[
        "scale F class I e 0.001 d 0.001 max 500 s 0.0005",
        "session FF on F 100.000 shows 100.000",
        "melt M in D silver lot A 110.00",
        "pour M TW oval P1",
        "weigh from_mould in D P1 50.01",
        "weigh from_mould in FF P1 50.012",
    ];
    let bench = Bench::with(&[WORKSHOP, given]);
    let index = bench.entries.len() - 2;
    let accepted = "weigh from_mould in D P1 50.10";
    let refused = try_correct(&bench, &[(index, accepted)]).err().unwrap();
    assert_eq!(
        bench.say_refused(&refused),
        format!(
            "refused: by that, piece.weighed of entry {} could not be: the piece is graded accepted: a reading is \
             corrected, not repeated (/corrections)",
            index + 1
        )
    );
    let corrected = try_correct(&bench, &[(index, accepted), (index + 1, "")]).unwrap();
    let readings = &corrected.book.piece(PieceId(bench.id("P1"))).unwrap().readings;
    assert_eq!(readings.len(), 1);
}
