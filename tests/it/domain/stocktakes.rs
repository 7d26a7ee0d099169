//! Stock-takes: counted blind, posted as variances, and nothing else.

use super::bench::{Bench, CLOSED, POURED, WORKSHOP, check, difference};
use pourbook::domain::*;
use pourbook::metal::{FineMass, Mass, MassDifference, Metal};

/// Two melts whose lemel and prills stand in the jars, a heel each, and some of lot A drawn.
const WORKED: &[&str] = &[
    "finish in D into LE P3 51.00",
    "melt N in D silver lot B 120.00",
    "pour N DW oval Q1",
    "weigh from_mould in D Q1 60.00",
    "balance N in D heel 59.20 prills PR 0.50",
    "finish in D into LE Q1 59.50",
];

fn worked(more: &[&str]) -> Bench {
    Bench::with(&[WORKSHOP, POURED, CLOSED, WORKED, more])
}

fn then(when: &str, outcome: &str) {
    check(&[WORKSHOP, POURED, CLOSED, WORKED], when, outcome);
}

fn variance(bench: &Bench) -> Amount {
    bench.book.masses(Metal::Silver).unwrap().stocktake_variance
}

#[test]
fn what_was_counted_is_what_the_book_says_from_then_on() {
    then(
        "count C in D lot A 499.99",
        "C is stock-take 1; A weighs 499.99, 0.01 missing, explained",
    );
    then(
        "count C in D lot A 480.00",
        "C is stock-take 1; A weighs 480.00, 20.00 missing, unexplained",
    );
    then(
        "count C in D heel M 97.10",
        "C is stock-take 1; heel of M weighs 97.10, -0.10 missing, unexplained",
    );
    then(
        "count C in D jar PR 0.90",
        "C is stock-take 1; PR weighs 0.90, 0.10 missing, unexplained",
    );
    then(
        "count C in D lot A 499.90 lot B 280.00 heel M 97.00 heel N 59.20 jar PR 1.00 jar LE 1.50",
        "C is stock-take 1; A weighs 499.90, 0.10 missing, unexplained; B weighs 280.00, 0.00 missing, explained; \
         heel of M weighs 97.00, 0.00 missing, explained; heel of N weighs 59.20, 0.00 missing, explained; \
         PR weighs 1.00, 0.00 missing, explained; LE weighs 1.50, 0.00 missing, explained",
    );
    let bench = worked(&["count C in D lot A 499.90 heel M 96.00 jar LE 0.00"]);
    assert_eq!(
        bench.book.lot(LotId(bench.id("A"))).unwrap().left,
        Mass::parse("499.90").unwrap()
    );
    assert_eq!(
        bench.book.melt(MeltId(bench.id("M"))).unwrap().heel,
        Mass::parse("96.00").ok()
    );
    let jar = bench.book.jar(JarId(bench.id("LE"))).unwrap();
    assert!(jar.mass.is_zero() && jar.holds.is_empty());
    assert_eq!(variance(&bench).mass, difference("2.60"));
    let row = bench.book.stocktake(StocktakeId(bench.id("C"))).unwrap();
    assert_eq!(row.lines.len(), 3);
    assert_eq!(row.lines.iter().filter(|line| line.explained).count(), 0);
}

#[test]
fn metal_goes_on_with_what_was_counted() {
    let counted: &[&str] = &["count C in D lot A 480.00 heel M 96.00 jar PR 0.90"];
    let given: &[&[&str]] = &[WORKSHOP, POURED, CLOSED, WORKED, counted];
    check(
        given,
        "melt O in D silver lot A 480.01",
        "refused: lot A holds 480.00 g, 480.01 g are asked (/lots/0/mass)",
    );
    // 10 at 999.9, 96 at 999.9 and 0.9 at 999.0 make 106.90 at 999.89...
    check(
        given,
        "melt O in D silver lot A 10.00 heel M jar PR 0.90",
        "O is melt 3: 106.90 g at 999.8",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, WORKED, &["count C in D heel M 0"]],
        "melt O in D silver heel M",
        "refused: melt M has no heel, or another melt took it (/heels/0)",
    );
    // More than the book said is there as well.
    check(
        &[WORKSHOP, POURED, CLOSED, WORKED, &["count C in D lot A 510.00"]],
        "melt O in D silver lot A 505.00",
        "O is melt 3: 505.00 g at 999.9",
    );
}

#[test]
fn small_variances_are_posted_and_summed_too() {
    let mut bench = worked(&[]);
    for day in 1..=5_i64 {
        bench
            .run(&format!("count C{day} in D lot A {}.{:02}", 499, 100 - day))
            .unwrap();
        assert_eq!(variance(&bench).mass.units(), day * 1_000, "day {day}");
        let row = bench
            .book
            .stocktake(StocktakeId(bench.id(&format!("C{day}"))))
            .unwrap();
        assert!(row.lines[0].explained, "day {day}");
        bench.holds_every_gram();
    }
}

#[test]
fn the_uncertainty_of_a_count_is_of_the_readings_it_comes_from() {
    let bench = worked(&[
        "count C in D lot A 499.90",
        "melt O in D silver lot A 100.00",
        "count E in D lot A 399.80",
    ]);
    let scale = bench.book.scale(ScaleId(bench.id("S"))).unwrap();
    let root = |loads: &[&str]| {
        let squares: f64 = loads
            .iter()
            .map(|load| scale.wobble(Mass::parse(load).unwrap()).unwrap().units() as f64)
            .map(|units| units * units)
            .sum();
        Mass::from_units(squares.sqrt().ceil() as i64).unwrap()
    };
    let line = |name: &str| bench.book.stocktake(StocktakeId(bench.id(name))).unwrap().lines[0].clone();
    // Weighed in at 800 g, drawn once at 300 g, and counted; then from the count on.
    assert_eq!(line("C").uncertainty, root(&["800.00", "300.00", "499.90"]));
    assert_eq!(line("E").uncertainty, root(&["499.90", "100.00", "399.80"]));
    assert_eq!(line("E").expected, Mass::parse("399.90").unwrap());
}

/// M is declared 999.9, N 999.0, and the jar is kept at 999.0: so is what is missing of it, whoever finds that.
#[test]
fn what_a_jar_is_short_of_is_as_fine_when_it_is_counted_as_when_it_is_emptied() {
    let silver = |more: &[&str]| worked(more).book.masses(Metal::Silver).unwrap();
    let counted = silver(&["count C in D jar LE 1.01"]);
    let emptied = silver(&["melt O in D silver jar LE 1.01"]);
    let fine = FineMass::from_picograms(49_000 * 9_990_000).unwrap();
    assert_eq!(counted.stocktake_variance.mass, difference("0.49"));
    assert_eq!(counted.stocktake_variance.fine, fine);
    assert_eq!(emptied.finishing_loss, counted.stocktake_variance);
    // What was given up when the residue went in stays given up.
    assert_eq!(counted.revaluation, silver(&[]).revaluation);
}

#[test]
fn what_a_jar_holds_is_scaled_and_still_its_mass() {
    let holds = |bench: &Bench, jar: &str| -> Vec<(MeltId, String)> {
        let jar = bench.book.jar(JarId(bench.id(jar))).unwrap();
        jar.holds
            .iter()
            .map(|share| (share.melt, share.mass.to_string()))
            .collect()
    };
    let bench = worked(&[]);
    let (m, n) = (MeltId(bench.id("M")), MeltId(bench.id("N")));
    assert_eq!(
        holds(&bench, "LE"),
        [(m, "1.00".to_owned()), (n, "0.50".to_owned())]
    );
    // 1.00 x 1.01 / 1.50 = 0.67333 rounded down; the rest is the last one's.
    let bench = worked(&["count C in D jar LE 1.01"]);
    assert_eq!(
        holds(&bench, "LE"),
        [(m, "0.67333".to_owned()), (n, "0.33667".to_owned())]
    );
    let heavier = worked(&["count C in D jar LE 3.00"]);
    assert_eq!(
        holds(&heavier, "LE"),
        [(m, "2.00".to_owned()), (n, "1.00".to_owned())]
    );
    bench.holds_every_gram();
    heavier.holds_every_gram();
    // The jar's mass is now one reading, and goes on as such.
    assert_eq!(bench.book.jar(JarId(bench.id("LE"))).unwrap().readings, 1);
    check(
        &[WORKSHOP, POURED, CLOSED, WORKED, &["count C in D jar LE 1.01"]],
        "melt O in D silver jar LE 1.00",
        "O is melt 3: 1.00 g at 999.0",
    );
}

#[test]
fn found_metal_is_a_lot_and_no_receipt() {
    then(
        "count C in D found X silver 900 3.20",
        "C is stock-take 1; X is lot 5, found: 3.20 g at 900.0",
    );
    let bench = worked(&["count C in D found X silver 900 3.20"]);
    let silver = bench.book.masses(Metal::Silver).unwrap();
    assert_eq!(silver.received.mass, difference("1200.00"));
    assert_eq!(silver.stocktake_variance.mass, difference("-3.20"));
    assert_eq!(
        silver.stocktake_variance.fine,
        FineMass::from_picograms(-320_000 * 9_000_000).unwrap()
    );
    let lot = bench.book.lot(LotId(bench.id("X"))).unwrap();
    assert_eq!((lot.basis, lot.owner), (FinenessBasis::Declared, None));
    // It is melted like any other.
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            WORKED,
            &["count C in D found X silver 999 3.20"],
        ],
        "melt O in D silver lot X 3.20",
        "O is melt 3: 3.20 g at 999.0",
    );
    // Nobody's word makes it finer than what the workshop has.
    then(
        "count C in D found X silver 999.9 3.20",
        "refused: found metal is entered at no more than the lowest that the book has of silver: 999.0 (/found/0/fineness)",
    );
    then(
        "count C in D found X copper 900 3.20",
        "refused: an alloy metal is entered at 1000 parts per thousand of itself (/found/0/fineness)",
    );
    then(
        "count C in D found X silver 900 0.00",
        "refused: a mass of zero is no metal (/found/0/mass)",
    );
}

#[test]
fn pieces_that_are_not_seen_are_named_and_stay_what_they_are() {
    then(
        "count C seen P1 P2 P3 P4 Q1",
        "C is stock-take 1: 5 seen, unseen , unexpected ",
    );
    then(
        "count C seen P1 Q1",
        "C is stock-take 1: 2 seen, unseen P2+P3+P4, unexpected ",
    );
    then(
        "count C of TW seen P4 P2",
        "C is stock-take 1: 2 seen, unseen P1+P3, unexpected ",
    );
    then(
        "count C of DW seen P1",
        "C is stock-take 1: 1 seen, unseen Q1, unexpected P1",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            WORKED,
            &["steal P1", "condemn P2 under", "melt O in D silver piece P2"],
        ],
        "count C seen P1 P3 P4 Q1",
        "C is stock-take 1: 4 seen, unseen , unexpected P1",
    );
    let bench = worked(&["count C seen"]);
    assert_eq!(bench.piece("P1").state, PieceState::Graded);
    assert_eq!(variance(&bench), Amount::default());
}

#[test]
fn what_cannot_be_counted_is_refused() {
    for (when, outcome) in [
        ("count C", "refused: nothing is named: at least one is needed"),
        (
            "count C in D",
            "refused: nothing is named: at least one is needed",
        ),
        (
            "count C lot A 500.00",
            "refused: the line cannot be so: what is weighed in a stock-take is weighed in a session (/session)",
        ),
        (
            "count C in D lot Z9 1.00",
            "refused: there is no lot 00000000-0000-0000-0000-00000000dead (/lots/0/lot)",
        ),
        (
            "count C in D heel Z9 1.00",
            "refused: there is no melt 00000000-0000-0000-0000-00000000dead (/heels/0/melt)",
        ),
        (
            "count C in D jar Z9 1.00",
            "refused: there is no jar 00000000-0000-0000-0000-00000000dead (/jars/0/jar)",
        ),
        (
            "count C seen P1 Z9",
            "refused: there is no piece 00000000-0000-0000-0000-00000000dead (/pieces/seen/1)",
        ),
        (
            "count C of Z9 seen P1",
            "refused: there is no series 00000000-0000-0000-0000-00000000dead (/pieces/series)",
        ),
        (
            "count C in Z9 lot A 1.00",
            "refused: there is no session 00000000-0000-0000-0000-00000000dead (/session)",
        ),
        (
            "count C in D lot A 500.00 lot A 500.00",
            "refused: A is named twice in one command (/lots/1/lot)",
        ),
        (
            "count C seen P1 P1",
            "refused: P1 is named twice in one command (/pieces/seen/1)",
        ),
        (
            "count C in D lot A 500.001",
            "refused: 500.001 g is finer than the scale shows: its step is 0.01 g (/lots/0/mass)",
        ),
        (
            "count C in D lot A 1000.01",
            "refused: 1000.01 g is above the scale's greatest load of 1000.00 g (/lots/0/mass)",
        ),
    ] {
        then(when, outcome);
    }
    let failed: &[&str] = &["check D 100.00 shows 100.10"];
    let given: &[&[&str]] = &[WORKSHOP, POURED, CLOSED, WORKED, failed];
    check(
        given,
        "count C in D lot A 500.00",
        "refused: session D is closed (/session)",
    );
    let more: &[&str] = &[
        "jar SW silver 925 sweeps",
        "jar NE silver 900 lemel",
        "melt O in D silver heel N",
        "melt V in D silver lot B 1.00",
    ];
    let given: &[&[&str]] = &[WORKSHOP, POURED, CLOSED, WORKED, more];
    for (when, outcome) in [
        (
            "count C in D jar SW 100.00",
            "refused: sweepings are no metal in the book, so there is nothing to hold their weight against (/jars/0/jar)",
        ),
        (
            "count C in D jar NE 1.00",
            "refused: jar NE is empty in the book (/jars/0/jar)",
        ),
        (
            "count C in D jar NE 0.00",
            "C is stock-take 1; NE weighs 0.00, 0.00 missing, explained",
        ),
        (
            "count C in D heel N 59.20",
            "refused: melt N has no heel, or another melt took it (/heels/0/melt)",
        ),
        (
            "count C in D heel V 1.00",
            "refused: melt V is not weighed out yet (/heels/0/melt)",
        ),
    ] {
        check(given, when, outcome);
    }
}

#[test]
fn a_stocktake_is_not_longer_than_its_entry() {
    let mut bench = worked(&[]);
    let line = |n: usize| format!("found X{n} silver 900 1.00");
    let lines = |n: usize| (0..n).map(line).collect::<Vec<_>>().join(" ");
    let refused = bench.run(&format!("count C in D {}", lines(64))).unwrap_err();
    assert_eq!(refused.refusal.code(), "too-many");
    let drafts = bench.run(&format!("count C in D {}", lines(63))).unwrap();
    assert_eq!(drafts.len(), 64);
}

#[test]
fn a_line_stands_in_the_entry_of_its_stocktake() {
    let bench = worked(&["count C in D lot A 499.00"]);
    let drafts = &bench.entries.last().unwrap().drafts;
    let stamp = bench.entries.last().unwrap().stamp;
    // The same line again, with what the book would reckon by now: only its place is wrong.
    let Event::LotCounted(mut again) = drafts[1].event.clone() else {
        panic!()
    };
    again.expected = Mass::parse("499.00").unwrap();
    again.variance = MassDifference::ZERO;
    let scale = bench.book.scale(ScaleId(bench.id("S"))).unwrap();
    let once = scale.wobble(again.mass.mass()).unwrap().units() as f64;
    again.uncertainty = Mass::from_units((once * 2_f64.sqrt()).ceil() as i64).unwrap();
    again.explained = true;
    let again = Event::from(again);
    let mut book = bench.book.clone();
    let refused = book.take(&bench.stamp(), &again).unwrap_err().to_string();
    assert!(refused.contains("the stock-take of entry"), "{refused}");
    // Nor is one thing counted twice in one.
    let mut book = bench.book.clone();
    assert!(matches!(
        book.take(&stamp, &again),
        Err(Refusal::NamedTwice { .. })
    ));
}

#[test]
fn notes_of_a_stocktake_are_private() {
    let mut bench = worked(&[]);
    let drafts = bench.run("count C in D found X silver 900 3.20").unwrap();
    for draft in &drafts {
        let names: Vec<&str> = draft.private.iter().map(|(name, _)| name).collect();
        assert_eq!(names, ["note"], "{:?}", draft.event);
        let text = serde_json::to_string(&draft.event).unwrap();
        assert!(!text.contains("closing") && !text.contains("furnace"), "{text}");
    }
}
