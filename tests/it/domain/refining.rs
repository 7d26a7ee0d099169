//! Sweepings, what goes to the refiner, and what comes back.

use super::bench::{Bench, CLOSED, POURED, WORKSHOP, check};
use pourbook::domain::*;

/// A jar of sweeps, filings in the jar of lemel, and two condemned pieces; PR holds 0.50 g.
const SCRAP: &[&str] = &[
    "jar SW silver 925 sweeps",
    "finish in D into LE P4 50.10",
    "condemn P2 under",
    "condemn P3 over",
];
const SWEPT: &[&str] = &["sweep SW 140.00 in D"];
/// Lemel, prills and a piece: 0.50 + 0.48 + 49.10 g.
const SENT: &[&str] = &["refine R in D silver jar LE 0.50 jar PR 0.48 piece P2"];

fn scrap(given: &[&str], when: &str, then: &str) {
    check(&[WORKSHOP, POURED, CLOSED, SCRAP, given], when, then);
}

#[test]
fn sweepings_have_a_gross_weight_and_their_own_jar() {
    scrap(&[], "sweep SW 140.00 in D", "SW takes 140.00 of sweepings");
    scrap(
        &[],
        "sweep LE 140.00 in D",
        "refused: only a jar of sweeps takes sweepings (/jar)",
    );
    scrap(
        &[],
        "sweep nowhere 140.00 in D",
        "refused: there is no jar 00000000-0000-0000-0000-00000000dead (/jar)",
    );
    scrap(
        &[],
        "sweep SW 0.00 in D",
        "refused: a mass of zero is no metal (/mass)",
    );
    scrap(
        &["close D 100.00 shows 100.00"],
        "sweep SW 140.00 in D",
        "refused: session D is closed (/session)",
    );
    let bench = Bench::with(&[WORKSHOP, POURED, CLOSED, SCRAP, SWEPT, &["sweep SW 20.00 in D"]]);
    let jar = bench.book.jar(JarId(bench.id("SW"))).unwrap();
    assert_eq!(
        (jar.swept.to_string(), jar.mass.to_string()),
        ("160.00".into(), "0.00".into())
    );
}

#[test]
fn sweepings_do_not_go_into_a_crucible_nor_filings_into_their_jar() {
    scrap(
        SWEPT,
        "melt N in D silver jar SW 140.00",
        "refused: sweepings go to the refiner, not into a crucible (/jars/0/jar)",
    );
    scrap(
        SWEPT,
        "finish in D into SW P1 50.41",
        "refused: the jar is for sweeps, not for lemel (/jar)",
    );
}

#[test]
fn jars_and_condemned_pieces_go_to_the_refiner_and_are_gone() {
    scrap(
        &[],
        "refine R in D silver jar LE 0.50 jar PR 0.48 piece P2",
        "R is refining 1: 50.08 g; LE emptied; PR emptied; P2 refined",
    );
    // Of sweepings nothing is counted; they may have dried since.
    scrap(
        SWEPT,
        "refine R in D silver jar SW 120.00 piece P2 piece P3",
        "R is refining 1: 101.10 g; SW emptied; P2 refined; P3 refined",
    );
    scrap(
        SWEPT,
        "refine R in D silver jar SW 141.00",
        "R is refining 1: 0.00 g; SW emptied",
    );
    scrap(
        SENT,
        "refine T in D silver jar LE 0.50",
        "refused: jar LE is empty in the book (/jars/0/jar)",
    );
    scrap(
        &["sweep SW 140.00 in D", "refine R in D silver jar SW 140.00"],
        "refine T in D silver jar SW 140.00",
        "refused: jar SW is empty in the book (/jars/0/jar)",
    );
    scrap(
        SENT,
        "refine T in D silver piece P2",
        "refused: piece P2 is refined: only a condemned piece goes back into the crucible (/pieces/0)",
    );
    scrap(
        SENT,
        "melt N in D silver piece P2",
        "refused: piece P2 is refined: only a condemned piece goes back into the crucible (/pieces/0)",
    );
    scrap(
        &["melt N in D silver piece P2"],
        "refine R in D silver piece P2",
        "refused: piece P2 went into melt N (/pieces/0)",
    );
}

#[test]
fn what_cannot_be_sent_is_named_where_it_stands() {
    scrap(
        &[],
        "refine R in D silver",
        "refused: nothing is named: at least one is needed",
    );
    scrap(
        &[],
        "refine R in D copper piece P2",
        "refused: copper has no fineness of its own to sell by (/metal)",
    );
    scrap(
        &[],
        "refine R in D gold piece P2",
        "refused: this is silver, gold is needed (/pieces/0)",
    );
    scrap(
        &[],
        "refine R in D gold jar LE 0.50",
        "refused: this is silver, gold is needed (/jars/0/jar)",
    );
    scrap(
        &[],
        "refine R in D silver piece P2 piece P1",
        "refused: piece P1 is graded: only a condemned piece goes back into the crucible (/pieces/1)",
    );
    scrap(
        &[],
        "refine R in D silver piece P2 piece P2",
        "refused: P2 is named twice in one command (/pieces/1)",
    );
    scrap(
        &[],
        "refine R in D silver jar LE 0.50 jar LE 0.50",
        "refused: LE is named twice in one command (/jars/1/jar)",
    );
    scrap(
        &[],
        "refine R in D silver jar LE 0.00",
        "refused: a mass of zero is no metal (/jars/0/mass)",
    );
    scrap(
        &["close D 100.00 shows 100.00"],
        "refine R in D silver piece P2",
        "refused: session D is closed (/session)",
    );
    check(
        &[WORKSHOP, POURED, &["condemn P2 under"]],
        "refine R in D silver piece P2",
        "refused: melt M is not weighed out yet (/pieces/0)",
    );
}

#[test]
fn a_jar_is_weighed_against_the_book_when_it_goes_out() {
    // What a jar weighs counts, more than its book says or less; what was expected is finishing loss.
    scrap(
        &[],
        "refine R in D silver jar LE 0.53",
        "R is refining 1: 0.53 g; LE emptied",
    );
    scrap(
        &[],
        "refine R in D silver jar LE 0.60",
        "R is refining 1: 0.60 g; LE emptied",
    );
    let bench = Bench::with(&[WORKSHOP, POURED, CLOSED, SCRAP, SENT]);
    let statement = bench.book.masses(pourbook::metal::Metal::Silver).unwrap();
    assert_eq!(statement.finishing_loss.mass.to_string(), "0.02");
    let jar = bench.book.jar(JarId(bench.id("PR"))).unwrap();
    assert!(jar.mass.is_zero() && jar.holds.is_empty() && jar.readings == 0);
}

#[test]
fn the_refiner_accounts_in_metal_in_money_or_both_once() {
    scrap(
        SENT,
        "refined R outturn L 49.90 999.9 in D",
        "R lost 0.18 of 50.08; L is lot 5: 49.90 g at 999.9",
    );
    scrap(SENT, "refined R settled 49.80 999.0", "R lost 0.28 of 50.08");
    scrap(
        SENT,
        "refined R outturn L 30.00 999.9 in D settled 20.00 999.9",
        "R lost 0.08 of 50.08; L is lot 5: 30.00 g at 999.9",
    );
    // Nothing was found, and the refiner said so.
    scrap(SENT, "refined R settled 0.00 999.0", "R lost 50.08 of 50.08");
    scrap(
        SENT,
        "refined R",
        "refused: nothing is named: at least one is needed",
    );
    scrap(
        &[SENT[0], "refined R settled 49.80 999.0"],
        "refined R settled 49.80 999.0",
        "refused: the refiner has accounted for that (/refining)",
    );
    scrap(
        &[],
        "refined R settled 49.80 999.0",
        "refused: there is no refining 00000000-0000-0000-0000-00000000dead (/refining)",
    );
    scrap(
        SENT,
        "refined R outturn L 0.00 999.9 in D",
        "refused: a mass of zero is no metal (/outturn/mass)",
    );
    scrap(
        SENT,
        "refined R outturn L 49.905 999.9 in D",
        "refused: 49.905 g is finer than the scale shows: its step is 0.01 g (/outturn/mass)",
    );
    scrap(
        &[SENT[0], "close D 100.00 shows 100.00"],
        "refined R outturn L 49.90 999.9 in D",
        "refused: session D is closed (/outturn/session)",
    );
}

#[test]
fn no_more_fine_metal_comes_back_than_grams_were_sent() {
    // 50.12 x 999.9 = 50.11 g fine, 0.03 g above: four readings of some 0.02 g (k = 2) explain that; 0.40 g they do not.
    scrap(
        SENT,
        "refined R outturn L 50.12 999.9 in D",
        "R lost -0.04 of 50.08; L is lot 5: 50.12 g at 999.9",
    );
    scrap(
        SENT,
        "refined R outturn L 50.50 999.9 in D",
        "refused: 50.49495 g are accounted for, 50.08 g were sent (/outturn/mass)",
    );
    scrap(
        SENT,
        "refined R settled 50.50 925",
        "refused: 50.50 g are accounted for, 50.08 g were sent (/settled/mass)",
    );
    scrap(
        SENT,
        "refined R outturn L 30.00 999.9 in D settled 30.00 999.9",
        "refused: 59.997 g are accounted for, 50.08 g were sent (/outturn/mass)",
    );
    // Alloyed afresh by the refiner: 54.00 g at 925 hold 49.95 g of silver.
    scrap(
        SENT,
        "refined R outturn L 54.00 925 in D",
        "R lost -3.92 of 50.08; L is lot 5: 54.00 g at 925.0",
    );
}

#[test]
fn sweepings_may_bring_what_they_weigh_and_no_more() {
    let sent: &[&str] = &["sweep SW 140.00 in D", "refine R in D silver jar SW 139.00"];
    scrap(
        sent,
        "refined R outturn L 4.20 999.0 in D",
        "R lost -4.20 of 0.00; L is lot 5: 4.20 g at 999.0",
    );
    scrap(
        sent,
        "refined R settled 140.00 999.0",
        "refused: 140.00 g are accounted for, 139.00 g were sent (/settled/mass)",
    );
}

#[test]
fn an_outturn_is_a_lot_by_the_refiners_assay_and_is_melted_like_any_other() {
    let outturn: &[&str] = &[SENT[0], "refined R outturn L 49.90 999.9 in D"];
    scrap(outturn, "lot Z silver 999.0 declared 1.00 in D", "Z is lot 6");
    scrap(
        outturn,
        "melt N in D silver lot L 49.90",
        "N is melt 2: 49.90 g at 999.9",
    );
    scrap(
        outturn,
        "melt N in D silver lot L 49.91",
        "refused: lot L holds 49.90 g, 49.91 g are asked (/lots/0/mass)",
    );
    let bench = Bench::with(&[WORKSHOP, POURED, CLOSED, SCRAP, outturn]);
    let lot = bench.book.lot(LotId(bench.id("L"))).unwrap();
    let refining = bench.book.refining(RefiningId(bench.id("R"))).unwrap();
    assert_eq!(lot.basis, FinenessBasis::Assayed);
    assert_eq!(lot.outturn_of, Some(refining.refining));
    assert_eq!(refining.outturn, Some(lot.lot));
    assert_eq!(refining.state, RefiningState::Returned);
    assert_eq!(bench.piece("P2").state, PieceState::Refined);
    assert_eq!(bench.piece("P2").refined, Some(refining.refining));
}

#[test]
fn who_it_was_sent_to_is_private() {
    let bench = Bench::with(&[WORKSHOP, POURED, CLOSED, SCRAP, SENT, &["owner O"]]);
    let privately = |kind: &str| {
        let mut drafts = bench.entries.iter().flat_map(|entry| &entry.drafts);
        let draft = drafts.rfind(|draft| draft.event.kind() == kind).unwrap();
        let public = serde_json::to_string(&draft.event).unwrap();
        assert!(
            !public.contains("Ashgrove") && !public.contains("Marrow"),
            "{public}"
        );
        draft.private.iter().map(|(name, _)| name).collect::<Vec<_>>()
    };
    assert_eq!(privately("refining.sent"), ["refiner", "seal"]);
    assert_eq!(privately("owner.registered"), ["name"]);
}

/// What a jar held is told by the book: a sending that leaves a share out, or names other melts, is none.
#[test]
fn a_sending_that_tells_another_content_is_refused() {
    let bench = Bench::with(&[WORKSHOP, POURED, CLOSED, SCRAP, SENT]);
    let (last, before) = bench.entries.split_last().unwrap();
    let mut book = Book::default();
    for entry in before {
        for draft in &entry.drafts {
            book.take(&entry.stamp, &draft.event).unwrap();
        }
    }
    let Event::RefiningSent(sent) = &last.drafts[0].event else {
        panic!("{:?}", last.drafts)
    };
    let forged = |change: fn(&mut RefiningSent)| {
        let mut event = sent.clone();
        change(&mut event);
        book.clone().take(&last.stamp, &event.into())
    };
    let contradicts = |taken| matches!(taken, Err(Refusal::Contradicts { .. }));
    assert!(forged(|_| ()).is_ok());
    assert!(contradicts(forged(|e| e.jars[0].holds.clear())));
    assert!(contradicts(forged(
        |e| e.jars[0].holds[0].melt = MeltId(uuid::Uuid::from_u128(9))
    )));
    assert!(contradicts(forged(|e| e.pieces[0].mass = e.mass)));
    assert!(contradicts(forged(|e| e.number = 2)));
}
