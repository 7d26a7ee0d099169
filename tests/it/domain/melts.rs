//! Melts: what may be charged, what it comes to, and how it is weighed out.

use super::bench::{Bench, CLOSED, POURED, WORKSHOP, check, difference};
use pourbook::domain::*;
use pourbook::metal::{Mass, Metal};

/// P2 is condemned, and there is a second lot of silver left to melt it with.
const CONDEMNED: &[&str] = &["condemn P2 under"];

#[test]
fn a_charge_is_the_blend_of_what_is_declared() {
    check(
        &[WORKSHOP],
        "melt M in D silver lot A 300.00",
        "M is melt 1: 300.00 g at 999.9",
    );
    // (200 x 999.9 + 100 x 999.0) / 300 = 999.6 exactly.
    check(
        &[WORKSHOP],
        "melt M in D silver lot A 200.00 lot B 100.00",
        "M is melt 1: 300.00 g at 999.6",
    );
    // (500 x 999.0) / 540 = 925.0 exactly: copper counts as none of the silver.
    check(
        &[WORKSHOP],
        "melt M in D silver lot B 370.00 lot K 29.60",
        "M is melt 1: 399.60 g at 925.0",
    );
    // (100 x 999.9 + 200 x 999.0) / 300 = 999.3; a little less of the finer, 999.29..., is claimed as 999.2.
    check(
        &[WORKSHOP],
        "melt M in D silver lot A 99.00 lot B 200.00",
        "M is melt 1: 299.00 g at 999.2",
    );
}

#[test]
fn a_charge_is_of_one_metal_and_copper() {
    check(
        &[WORKSHOP],
        "melt M in D silver",
        "refused: nothing is named: at least one is needed",
    );
    check(
        &[WORKSHOP],
        "melt M in D silver lot G 10.00",
        "refused: this is gold, silver is needed (/lots/0/lot)",
    );
    check(
        &[WORKSHOP],
        "melt M in D copper lot K 10.00",
        "refused: copper has no fineness of its own to sell by (/metal)",
    );
    check(
        &[WORKSHOP],
        "melt M in D silver lot K 10.00",
        "refused: a fineness above zero and at most 1000 is needed (/metal)",
    );
    check(
        &[WORKSHOP],
        "melt M in D silver lot A 10.00 lot A 10.00",
        "refused: A is named twice in one command (/lots/1/lot)",
    );
    check(
        &[WORKSHOP, &["close D 100.00 shows 100.00"]],
        "melt M in D silver lot A 10.00",
        "refused: session D is closed (/session)",
    );
}

#[test]
fn a_lot_cannot_be_overdrawn() {
    let drawn: &[&str] = &["melt M in D silver lot B 300.00"];
    check(
        &[WORKSHOP, drawn],
        "melt N in D silver lot B 100.00",
        "N is melt 2: 100.00 g at 999.0",
    );
    check(
        &[WORKSHOP, drawn],
        "melt N in D silver lot A 50.00 lot B 100.01",
        "refused: lot B holds 100.00 g, 100.01 g are asked (/lots/1/mass)",
    );
    check(
        &[WORKSHOP],
        "melt N in D silver lot A 0.00",
        "refused: a mass of zero is no metal (/lots/0/mass)",
    );
    check(
        &[WORKSHOP],
        "melt N in D silver lot A 10.001",
        "refused: 10.001 g is finer than the scale shows: its step is 0.01 g (/lots/0/mass)",
    );
}

#[test]
fn a_heel_goes_whole_into_one_later_melt() {
    check(
        &[WORKSHOP, POURED],
        "melt N in D silver heel M",
        "refused: melt M is not weighed out yet (/heels/0)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "melt N in D silver heel M",
        "N is melt 2: 97.00 g at 999.9",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, &["melt N in D silver heel M"]],
        "melt O in D silver heel M",
        "refused: melt M has no heel, or another melt took it (/heels/0)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "melt N in D gold lot G 10.00 heel M",
        "refused: this is silver, gold is needed (/heels/0)",
    );
    let dry: &[&str] = &["balance M in D heel 0"];
    check(
        &[
            WORKSHOP,
            &[
                "melt M in D silver lot A 50.50",
                "pour M TW oval P1",
                "weigh from_mould in D P1 50.42",
            ],
            dry,
        ],
        "melt N in D silver heel M",
        "refused: melt M has no heel, or another melt took it (/heels/0)",
    );
}

#[test]
fn a_condemned_piece_enters_one_melt_only() {
    check(
        &[WORKSHOP, POURED, CLOSED, CONDEMNED],
        "melt N in D silver piece P2 lot B 100.00",
        "N is melt 2: 149.10 g at 999.2; P2 remelted",
    );
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            CONDEMNED,
            &["melt N in D silver piece P2"],
        ],
        "melt O in D silver piece P2",
        "refused: piece P2 went into melt N (/pieces/0)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "melt N in D silver lot B 10.00 piece P1",
        "refused: piece P1 is graded: only a condemned piece goes back into the crucible (/pieces/0)",
    );
    check(
        &[WORKSHOP, POURED, CONDEMNED],
        "melt N in D silver piece P2",
        "refused: melt M is not weighed out yet (/pieces/0)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, CONDEMNED],
        "melt N in D silver piece P2 piece P2",
        "refused: P2 is named twice in one command (/pieces/1)",
    );
    let remelted: &[&str] = &["melt N in D silver piece P2"];
    for (line, then) in [
        (
            "weigh finished in D P2 49.10",
            "refused: the piece is remelted, so it cannot be weighed (/items/0/piece)",
        ),
        (
            "condemn P2 under",
            "refused: the piece is remelted, so it cannot be condemned (/piece)",
        ),
        (
            "fault P2 crack",
            "refused: the piece is remelted, so it cannot be graded faulty (/piece)",
        ),
        (
            "move P2 to DW",
            "refused: the piece is remelted, so it cannot be moved (/piece)",
        ),
        (
            "serials P2",
            "refused: the piece is remelted, so it cannot be given a serial (/pieces/0)",
        ),
        (
            "finish in D into LE P2 49.00",
            "refused: the piece is remelted, so it cannot be finished (/items/0/piece)",
        ),
    ] {
        check(&[WORKSHOP, POURED, CLOSED, CONDEMNED, remelted], line, then);
    }
}

#[test]
fn a_jar_is_emptied_whole_and_its_shortfall_is_finishing_loss() {
    let bench = {
        let mut bench = Bench::with(&[WORKSHOP, POURED, CLOSED, &["finish in D into LE P3 51.00"]]);
        bench
            .run("melt N in D silver jar PR 0.50 jar LE 0.97 lot B 50.00")
            .unwrap();
        bench
    };
    let statement = bench.book.masses(Metal::Silver).unwrap();
    assert_eq!(statement.finishing_loss.mass, difference("0.03"));
    assert_eq!(statement.lemel, Amount::default());
    assert_eq!(statement.prills, Amount::default());
    bench.holds_every_gram();
    check(
        &[WORKSHOP, POURED, CLOSED],
        "melt N in D silver jar LE 0.97",
        "refused: jar LE is empty in the book (/jars/0/jar)",
    );
    // A jar that weighs more than its book says is taken at what it weighs: the finishing loss is then below zero.
    check(
        &[WORKSHOP, POURED, CLOSED],
        "melt N in D silver jar PR 0.52",
        "N is melt 2: 0.52 g at 999.0",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "melt N in D silver jar PR 0.60",
        "N is melt 2: 0.60 g at 999.0",
    );
    check(
        &[WORKSHOP, POURED, CLOSED, &["jar GP gold 999 prills"]],
        "melt N in D gold lot G 1.00 jar PR 0.50",
        "refused: this is silver, gold is needed (/jars/0/jar)",
    );
}

#[test]
fn the_basis_of_a_melt_is_its_weakest_ground_through_remelts() {
    let bench = Bench::with(&[
        WORKSHOP,
        POURED,
        CLOSED,
        CONDEMNED,
        &[
            "melt N in D silver heel M piece P2",
            "melt O in D silver lot A 10.00 lot B 1.00",
            "melt Q in D silver lot A 9.00 lot K 1.00",
        ],
    ]);
    let basis = |name: &str| bench.book.melt(MeltId(bench.id(name))).unwrap().basis;
    assert_eq!(basis("M"), FinenessBasis::Assayed);
    assert_eq!(basis("N"), FinenessBasis::Assayed);
    assert_eq!(basis("O"), FinenessBasis::Declared);
    assert_eq!(
        basis("Q"),
        FinenessBasis::Assayed,
        "copper claims nothing about silver"
    );
}

#[test]
fn the_loss_of_a_melt_is_derived() {
    // 300.00 - (50.42 + 49.10 + 52.00 + 50.60) - 97.00 - 0.50 = 0.38
    check(
        &[WORKSHOP, POURED],
        "balance M in D heel 97.00 prills PR 0.50",
        "M lost 0.38; PR takes 0.50 of M",
    );
    check(&[WORKSHOP, POURED], "balance M in D heel 97.00", "M lost 0.88");
    check(
        &[WORKSHOP, POURED, &["pour M TW oval P5"]],
        "balance M in D heel 47.00",
        "refused: 1 pieces of the melt are not weighed from the mould yet (/melt)",
    );
    check(
        &[WORKSHOP, POURED, CLOSED],
        "balance M in D heel 97.00",
        "refused: melt M is closed (/melt)",
    );
    check(
        &[WORKSHOP, &["melt M in D silver lot A 10.00"]],
        "balance M in D heel 0",
        "refused: a melt with no piece and no heel and no prills cannot be weighed out (/melt)",
    );
    check(
        &[WORKSHOP, &["melt M in D silver lot A 10.00"]],
        "balance M in D heel 10.00",
        "M lost 0.00",
    );
}

#[test]
fn more_out_than_in_is_a_wobble_or_it_is_flagged() {
    let given: &[&[&str]] = &[WORKSHOP, &["melt M in D silver lot A 10.00"]];
    let melt = |line: &str| {
        let mut bench = Bench::with(given);
        bench.run(line).unwrap();
        bench.holds_every_gram();
        bench.replays();
        bench.book.melt(MeltId(bench.id("M"))).unwrap().clone()
    };
    // One reading in and one out at 10 g on class II, e = d = 0.01 g, s = 0.006 g: MPE in service 0.01 g, so u^2 =
    // 0.0001 / 3 + 0.000036 + 2 * 0.0001 / 12 = 0.000086 g^2 (the model of OIML R 76 and JCGM 100 as the scales have it),
    // U^2 = 4 u^2 = 0.000344; U is rounded up to 10 micrograms, and the root of twice its square again.
    let unflagged = melt("balance M in D heel 10.02");
    assert_eq!(unflagged.loss, Some(difference("-0.02")));
    assert_eq!(unflagged.uncertainty, Some(Mass::parse("0.02624").unwrap()));
    assert!(!unflagged.is_loss_flagged());
    let flagged = melt("balance M in D heel 10.03");
    assert_eq!(flagged.loss, Some(difference("-0.03")));
    assert!(flagged.is_loss_flagged());
    // A loss is never flagged for being large: that is for the chart of losses.
    assert!(!melt("balance M in D heel 1.00").is_loss_flagged());
}

#[test]
fn the_uncertainty_of_a_loss_counts_every_reading_once() {
    // Three lots in; three pieces, a heel and prills out: the squares add up.
    let bench = Bench::with(&[
        WORKSHOP,
        &[
            "melt M in D silver lot A 100.00 lot B 80.00",
            "pour M TW oval P1 P2",
            "weigh from_mould in D P1 50.42 P2 60.10",
            "balance M in D heel 68.00 prills PR 0.40",
        ],
    ]);
    let scale = bench.book.scale(ScaleId(bench.id("S"))).unwrap();
    let squares: u128 = ["100.00", "80.00", "50.42", "60.10", "68.00", "0.40"]
        .iter()
        .map(|load| scale.wobble(Mass::parse(load).unwrap()).unwrap().units() as u128)
        .map(|units| units * units)
        .sum();
    let root = (squares as f64).sqrt().ceil() as i64;
    let melt = bench.book.melt(MeltId(bench.id("M"))).unwrap();
    assert_eq!(melt.uncertainty, Mass::from_units(root));
}

#[test]
fn what_a_jar_may_be_off_grows_with_its_fillings() {
    let given: &[&[&str]] = &[
        WORKSHOP,
        POURED,
        CLOSED,
        &["finish in D into LE P3 51.00", "finish in D into LE P3 50.60"],
    ];
    let bench = Bench::with(given);
    let jar = bench.book.jar(JarId(bench.id("LE"))).unwrap();
    let weighed = Mass::parse("1.30").unwrap();
    let session = SessionId(bench.id("D"));
    let may_be_off = bench.book.uncertainty_of_jar(jar, session, weighed).unwrap();
    // Two fillings are four readings, and the jar is read once more: the root of 5 times one reading's 0.01855 g.
    assert_eq!(may_be_off, Mass::parse("0.04148").unwrap());
    assert!(is_flagged(difference("-0.05"), may_be_off));
    assert!(!is_flagged(difference("-0.04"), may_be_off));
    assert!(!is_flagged(difference("0.90"), may_be_off));
}

#[test]
fn prills_go_into_a_jar_of_their_own_kind() {
    check(
        &[WORKSHOP, POURED],
        "balance M in D heel 97.00 prills LE 0.50",
        "refused: the jar is for lemel, not for prills (/prills/jar)",
    );
    check(
        &[WORKSHOP, POURED, &["jar GP gold 999 prills"]],
        "balance M in D heel 97.00 prills GP 0.50",
        "refused: this is silver, gold is needed (/prills/jar)",
    );
    check(
        &[WORKSHOP, &["melt M in D silver lot B 100.00 lot K 5.00"]],
        "balance M in D heel 100.00 prills PR 0.50",
        "refused: the jar is kept at 999.0 parts per thousand, this metal is 951.4 (/prills/jar)",
    );
    check(
        &[WORKSHOP, POURED],
        "balance M in D heel 97.00 prills PR 0.00",
        "refused: a mass of zero is no metal (/prills/mass)",
    );
    check(
        &[WORKSHOP],
        "jar CU copper 1000 sweeps",
        "refused: copper has no fineness of its own to sell by (/metal)",
    );
}

#[test]
fn copper_leaves_its_own_account() {
    let bench = Bench::with(&[WORKSHOP, &["melt M in D silver lot B 370.00 lot K 29.60"]]);
    bench.holds_every_gram();
    let copper = bench.book.masses(Metal::Copper).unwrap();
    assert_eq!(copper.alloyed_out.mass, difference("29.60"));
    let silver = bench.book.masses(Metal::Silver).unwrap();
    assert_eq!(silver.alloyed_in.mass, difference("29.60"));
    assert_eq!(silver.crucible.mass, difference("399.60"));
    assert_eq!(silver.received.mass, difference("1200.00"));
}
