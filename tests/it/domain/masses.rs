//! Where every gram is: the headings of the statement, in grams and in fine grams.

use super::bench::{Bench, WORKSHOP, check, difference};
use pourbook::domain::*;
use pourbook::metal::{FineMass, Metal};

/// Sterling: 370.00 g of silver at 999.0 with 29.60 g of copper are 399.60 g at 925.0 exactly. Two pieces are filed down
/// by 100 g together into a jar kept at 925, and a third is condemned.
const STERLING: &[&str] = &[
    "jar JS silver 925 lemel",
    "jar SW silver 925 sweeps",
    "open ST silver 925 exempt",
    "melt M in D silver lot B 370.00 lot K 29.60",
    "pour M ST bar P1 P2 P3",
    "weigh from_mould in D P1 150.00 P2 150.00 P3 60.00",
    "balance M in D heel 39.00",
    "finish in D into JS P1 100.00 P2 100.00",
    "fault P3 misrun",
    "condemn P3 faulty",
    "sweep SW 200.00 in D",
];

fn amount(mass: &str, fine: &str) -> Amount {
    Amount {
        mass: difference(mass),
        fine: fine.parse::<FineMass>().unwrap(),
    }
}

fn statement(given: &[&str]) -> MassStatement {
    let bench = Bench::with(&[WORKSHOP, STERLING, given]);
    bench.holds_every_gram();
    bench.replays();
    bench.book.masses(Metal::Silver).unwrap()
}

fn of_state(statement: &MassStatement, state: PieceState) -> Amount {
    let of = |pieces: &&StateMass| pieces.state == state;
    statement
        .pieces
        .iter()
        .find(of)
        .map_or_else(Amount::default, |pieces| pieces.amount)
}

#[test]
fn what_is_at_the_refiner_has_left_its_jar_and_its_piece() {
    let before = statement(&[]);
    assert_eq!(before.lemel, amount("100.00", "92.50"));
    assert_eq!(of_state(&before, PieceState::Condemned), amount("60.00", "55.50"));
    assert_eq!(before.sweeps, Amount::default());
    let sent = statement(&["refine R in D silver jar JS 99.98 jar SW 200.00 piece P3"]);
    assert_eq!(sent.at_refiner, amount("159.98", "147.9815"));
    assert_eq!(sent.finishing_loss, amount("0.02", "0.0185"));
    assert_eq!(sent.lemel, Amount::default());
    assert_eq!(of_state(&sent, PieceState::Condemned), Amount::default());
    assert_eq!(of_state(&sent, PieceState::Refined), Amount::default());
    assert_eq!(sent.refining_loss, Amount::default());
}

#[test]
fn parted_copper_is_a_loss_of_grams_and_not_of_silver() {
    // 100.00 g at 925 hold 92.50 g; 92.00 g at 999.9 hold 91.9908 g.
    let back = statement(&[
        "refine R in D silver jar JS 100.00",
        "refined R outturn L 92.00 999.9 in D",
    ]);
    assert_eq!(back.refining_loss, amount("8.00", "0.5092"));
    assert_eq!(back.at_refiner, Amount::default());
    assert_eq!(back.settled, Amount::default());
    let before = statement(&[]);
    assert_eq!(back.received, before.received, "an outturn is no receipt");
    assert_eq!(
        back.unmelted.mass.units(),
        before.unmelted.mass.units() + 9_200_000
    );
}

#[test]
fn settled_metal_has_a_heading_of_its_own() {
    // 160.00 g at 925 hold 148.00 g; 100.00 x 0.9999 = 99.99, 48.00 x 0.999 = 47.952.
    let back = statement(&[
        "refine R in D silver jar JS 100.00 piece P3",
        "refined R outturn L 100.00 999.9 in D settled 48.00 999.0",
    ]);
    assert_eq!(back.settled, amount("48.00", "47.952"));
    assert_eq!(back.refining_loss, amount("12.00", "0.058"));
}

#[test]
fn what_sweepings_bring_is_a_loss_below_zero() {
    let back = statement(&["refine R in D silver jar SW 198.00", "refined R settled 6.00 925"]);
    assert_eq!(back.settled, amount("6.00", "5.55"));
    assert_eq!(back.refining_loss, amount("-6.00", "-5.55"));
}

#[test]
fn copper_stays_in_the_account_that_it_was_alloyed_into() {
    let bench = Bench::with(&[
        WORKSHOP,
        STERLING,
        &[
            "refine R in D silver jar JS 100.00 piece P3",
            "refined R outturn L 147.00 999.9 in D",
            "melt N in D silver lot L 147.00 lot K 11.00",
        ],
    ]);
    let copper = bench.book.masses(Metal::Copper).unwrap();
    assert_eq!(copper.received, amount("50.00", "50.00"));
    assert_eq!(copper.alloyed_out, amount("40.60", "40.60"));
    assert_eq!(copper.unmelted, amount("9.40", "9.40"));
    assert_eq!(copper.refining_loss, Amount::default());
    assert_eq!(copper.difference().unwrap(), Amount::default());
}

/// Two pieces that went to the assay office.
const MARKED: &[&str] = &[
    "edition HM silver 999 limits 50.00 50.00 51.20 required oval 4",
    "melt T in D silver lot A 160.00",
    "pour T HM oval R1 R2 R3",
    "weigh from_mould in D R1 50.42 R2 50.50 R3 50.60",
    "balance T in D heel 8.40",
    "serials R1 R2",
    "consign CA 999 R1 R2",
];

#[test]
fn what_the_assay_office_takes_off_is_assay_loss_and_what_it_misses_stays_in_the_statement() {
    let with = |more: &[&str]| {
        let given: Vec<&str> = MARKED.iter().chain(more).copied().collect();
        statement(&given)
    };
    let at_office = with(&[]);
    assert_eq!(
        of_state(&at_office, PieceState::AtOffice),
        amount("100.92", "100.909908")
    );
    let back = with(&["back CA R1 marked R2 missing"]);
    assert_eq!(of_state(&back, PieceState::Missing), amount("50.50", "50.49495"));
    assert_eq!(back.assay_loss, Amount::default());
    // 0.04 g off one piece at 999.9; a later reading that shows 0.01 g more is a variance and no assay loss.
    let weighed = with(&["back CA R1 marked R2 missing", "weigh final in D R1 50.38"]);
    assert_eq!(weighed.assay_loss, amount("0.04", "0.039996"));
    assert_eq!(weighed.weighing_variance, at_office.weighing_variance);
    let again = with(&[
        "back CA R1 marked R2 missing",
        "weigh final in D R1 50.38",
        "close D 100.00 shows 100.10",
        "session E on S 100.00 shows 100.00",
        "weigh final in E R1 50.39",
    ]);
    assert_eq!(again.assay_loss, weighed.assay_loss);
    assert_eq!(
        again.weighing_variance.mass.units(),
        at_office.weighing_variance.mass.units() - 1_000
    );
}

#[test]
fn metal_that_an_assay_found_below_its_declaration_goes_on_at_what_was_found() {
    let refused: Vec<&str> = MARKED
        .iter()
        .copied()
        .chain(["back CA R1 marked R2 unmarked/below_standard/a998.0"])
        .collect();
    check(
        &[WORKSHOP, STERLING, &refused],
        "melt V in D silver heel T",
        "V is melt 3: 8.40 g at 998.0",
    );
    check(
        &[WORKSHOP, STERLING, &refused, &["condemn R3 unwanted"]],
        "melt V in D silver piece R3",
        "V is melt 3: 50.60 g at 998.0; R3 remelted",
    );
    // The jar is kept at 999.
    check(
        &[WORKSHOP, STERLING, &refused],
        "finish in D into LE R3 50.10",
        "refused: the jar is kept at 999.0 parts per thousand, this metal is 998.0 (/jar)",
    );
    // Metal that was in the jar before it was known.
    let filed: Vec<&str> = MARKED
        .iter()
        .copied()
        .chain([
            "finish in D into LE R3 50.10",
            "back CA R1 marked R2 unmarked/below_standard/a998.0",
        ])
        .collect();
    check(
        &[WORKSHOP, STERLING, &filed],
        "melt V in D silver jar LE 0.50",
        "V is melt 3: 0.50 g at 998.0",
    );
    // 8.40 g at 999.9 as declared are 8.40 g at 998.0 as found: 8.39916 - 8.3832 g of silver were never there.
    let before = statement(&refused);
    let charged: Vec<&str> = refused
        .iter()
        .copied()
        .chain(["melt V in D silver heel T"])
        .collect();
    let after = statement(&charged);
    assert_eq!(
        after.revaluation.checked_sub(before.revaluation),
        Some("0.01596".parse().unwrap())
    );
}

/// The difference is a test of the rules: a statement in which a heading is another one does not add up.
#[test]
fn a_statement_that_forgets_metal_shows_it() {
    let whole = statement(&[
        "refine R in D silver jar JS 100.00",
        "refined R settled 92.00 999.9",
        "refine T in D silver piece P3",
    ]);
    assert_eq!(whole.difference().unwrap(), Amount::default());
    let forgets: [fn(&mut MassStatement); 4] = [
        |s| s.at_refiner = Amount::default(),
        |s| s.settled = Amount::default(),
        |s| s.refining_loss = Amount::default(),
        |s| s.unmelted.mass = difference("0.00"),
    ];
    for forget in forgets {
        let mut short = whole.clone();
        forget(&mut short);
        assert_ne!(short.difference().unwrap(), Amount::default());
    }
}
