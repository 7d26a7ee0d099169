//! What a failed check puts in doubt: which readings, and which decisions would be others.

use super::Written;
use crate::domain::bench::{Bench, CLOSED, POURED, WORKSHOP};
use crate::domain::histories;
use pourbook::accounts::{Decision, Deviation, Remedy, SuspectReading, Suspicion};
use pourbook::domain::*;
use pourbook::metal::Mass;
use proptest::prelude::*;

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

fn of(bench: &Bench, session: &str) -> Option<Suspicion> {
    let position = bench.entries.len() as u64;
    let session = SessionId(bench.id(session));
    Suspicion::of(&bench.book, position, &Written::of(bench), session).unwrap()
}

fn reading(reading: &SuspectReading) -> String {
    let share = reading
        .proportion
        .map(|mass| mass.to_string())
        .unwrap_or_default();
    let remedy = match reading.remedy {
        Remedy::WeighAgain => "again".to_owned(),
        Remedy::WeighedAgain { again } => format!("again in {again}"),
        Remedy::Gone { state } => state.map_or("gone".to_owned(), |state| state.to_string()),
    };
    format!(
        "{} {} {} {share} {remedy}",
        reading.name, reading.mass, reading.offset
    )
}

fn decision(decision: &Decision) -> String {
    let share = decision.proportion.as_deref().unwrap_or("-");
    format!(
        "{} {}: {} {} {share}",
        decision.name, decision.kind, decision.recorded, decision.offset
    )
}

fn told(suspicion: &Suspicion) -> (Vec<String>, Vec<String>) {
    (
        suspicion.readings.iter().map(reading).collect(),
        suspicion.decisions.iter().map(decision).collect(),
    )
}

/// A second scale of the same kind, on which pieces are weighed, and which is then found 0.10 g off at 100 g.
const OTHER: &[&str] = &[
    "scale F class II e 0.01 d 0.01 max 1000 s 0.006",
    "session E on F 100.00 shows 100.00",
    "melt M in D silver lot A 300.00",
    "pour M TW oval P1 P2 P3",
    "pour M TW slab P4",
];
const OFF: &str = "close E 100.00 shows 100.10";

/// By hand: the offset takes 0.10 g off each reading, the proportion multiplies it by 100/100.1. The limits are 50.00 g to
/// 51.20 g with bands of 0.02 g up to 50 g and 0.03 g above, so 50.00 g is borderline, 50.04995 g is accepted, 51.15 g is
/// accepted and 51.1988 g is borderline.
#[test]
fn the_readings_since_the_last_good_check_are_told_with_the_decisions_that_would_be_others() {
    let bench = Bench::with(&[
        WORKSHOP,
        OTHER,
        &[
            "weigh from_mould in E P1 50.10 P2 50.60 P3 51.25 P4 49.10",
            OFF,
            "balance M in D heel 98.45",
        ],
    ]);
    let suspicion = of(&bench, "E").unwrap();
    let check = suspicion.check.as_ref().unwrap();
    assert_eq!(
        (
            check.nominal.to_string(),
            check.reading.to_string(),
            check.deviation.to_string()
        ),
        ("100.00".to_owned(), "100.10".to_owned(), "0.10".to_owned())
    );
    let (readings, decisions) = told(&suspicion);
    assert_eq!(
        readings,
        [
            "piece 1-01 50.10 50.00 50.04995 again",
            "piece 1-02 50.60 50.50 50.54945 again",
            "piece 1-03 51.25 51.15 51.1988 again",
            "piece 1-04 49.10 49.00 49.05095 again",
        ]
    );
    assert_eq!(suspicion.to_weigh, 4);
    // The loss: 300.00 - (50.10 + 50.60 + 51.25 + 49.10) - 98.45 = 0.50, and 0.40 more by the offset; by the proportion
    // 0.05005 + 0.05055 + 0.0512 + 0.04905 = 0.20085 more.
    assert_eq!(
        decisions,
        [
            "piece 1-01 grade: accepted borderline accepted",
            "piece 1-03 grade: over accepted borderline",
            "melt 1 melt_loss: 0.50 0.90 0.70085",
        ]
    );
}

#[test]
fn what_a_good_check_stands_behind_is_not_in_doubt() {
    let given: &[&str] = &[
        "weigh from_mould in E P1 50.10 P2 50.60",
        "check E 100.00 shows 100.00",
    ];
    let rest: &[&str] = &["weigh from_mould in E P3 50.60", "check E 100.00 shows 99.90"];
    let bench = Bench::with(&[WORKSHOP, OTHER, given, rest]);
    let suspicion = of(&bench, "E").unwrap();
    let (readings, decisions) = told(&suspicion);
    assert_eq!(readings, ["piece 1-03 50.60 50.70 50.65065 again"]);
    assert_eq!(
        decisions,
        Vec::<String>::new(),
        "heavier by that, it is accepted still"
    );
    assert_eq!(suspicion.check.unwrap().deviation.to_string(), "-0.10");
    for (line, session) in [
        ("close E 100.00 shows 100.01", "E"),
        ("check E 100.00 shows 100.01", "E"),
        ("", "D"),
    ] {
        let lines: &[&str] = if line.is_empty() { &[] } else { &[line] };
        let bench = Bench::with(&[WORKSHOP, OTHER, given, lines]);
        let suspicion = of(&bench, session).unwrap();
        assert_eq!(
            (suspicion.check, suspicion.readings, suspicion.decisions),
            (None, vec![], vec![])
        );
        assert_eq!(Suspicion::failed_sessions(&bench.book), vec![]);
    }
    assert_eq!(of(&bench, "Z"), None, "there is no such session");
}

#[test]
fn each_reading_says_whether_it_can_be_taken_again() {
    let bench = Bench::with(&[
        WORKSHOP,
        OTHER,
        &[
            "weigh from_mould in D P1 50.10 P2 49.10 P3 50.60 P4 50.60",
            "balance M in D heel 99.10",
        ],
        &[
            "lot C silver 999 declared 10.00 in E",
            "lot N silver 999 declared 20.00 in E",
            "weigh finished in E P1 50.10 P2 49.10 P3 50.60 P4 50.60",
            OFF,
            "weigh finished in D P1 50.00",
            "condemn P2 unwanted",
            "destroy P4 A. Witness",
            "melt N2 in D silver lot N 5.00 piece P2",
        ],
    ]);
    let suspicion = of(&bench, "E").unwrap();
    let again = bench.entries.len() - 4;
    let (readings, _) = told(&suspicion);
    assert_eq!(
        readings,
        [
            "lot 5 10.00 9.90 9.99001 again".to_owned(),
            "lot 6 20.00 19.90 19.98002 gone".to_owned(),
            format!("piece 1-01 50.10 50.00 50.04995 again in {again}"),
            "piece 1-02 49.10 49.00 49.05095 remelted".to_owned(),
            "piece 1-03 50.60 50.50 50.54945 again".to_owned(),
            "piece 1-04 50.60 50.50 50.54945 destroyed".to_owned(),
        ]
    );
    assert_eq!(suspicion.to_weigh, 2);
}

/// What was filed off is a difference of two readings: where both are in doubt the offset falls out of it.
#[test]
fn differences_and_balances_that_rest_on_suspect_readings_are_told() {
    let bench = Bench::with(&[
        WORKSHOP,
        OTHER,
        &[
            "weigh from_mould in D P1 50.42 P2 49.10 P3 52.00 P4 52.00",
            "balance M in E heel 95.78 prills PR 0.20",
            "finish in E into LE P3 51.10",
            "weigh finished in E P4 52.00",
            "finish in E into LE P4 51.00",
            "melt N in E silver lot A 100.00 jar LE 1.90",
            OFF,
        ],
    ]);
    let (readings, decisions) = told(&of(&bench, "E").unwrap());
    assert_eq!(readings.len(), 7, "{readings:#?}");
    // 300.00 - 203.52 - 95.78 - 0.20 = 0.50 lost. Heel and prills are 0.10 g less each by the offset; by the proportion the
    // heel is 95.68432 g and the prills are 0.1998 g.
    assert!(
        decisions.contains(&"melt 1 melt_loss: 0.50 0.70 0.59588".to_owned()),
        "{decisions:#?}"
    );
    // P3: 52.00 by the good scale less 51.10. P4: 52.00 less 51.00, both in doubt.
    assert!(
        decisions.contains(&"piece 1-03 filed: 0.90 1.00 0.95105".to_owned()),
        "{decisions:#?}"
    );
    assert!(
        decisions.contains(&"piece 1-04 filed: 1.00 1.00 0.999".to_owned()),
        "{decisions:#?}"
    );
    // The jar held 1.90 g by the book, and weighed so; 1.80 g or 1.8981 g would be short of it.
    let jar = "jar of lemel, silver jar_shortfall: 0.00 0.10 0.0019";
    assert!(decisions.contains(&jar.to_owned()), "{decisions:#?}");
}

#[test]
fn a_piece_bought_back_and_metal_at_the_refiner_are_told() {
    let bench = Bench::with(&[
        WORKSHOP,
        POURED,
        CLOSED,
        &[
            "serials P1",
            "weigh final in D P1 50.42",
            "condemn P2 under",
            "scale F class II e 0.01 d 0.01 max 1000 s 0.006",
            "close D 100.00 shows 100.00",
            "numbers P1",
            "certify P1",
            "sell V P1",
            "hand_over V P1",
            "session E on F 100.00 shows 100.00",
            "buy_back P1 in E 50.46",
            "refine R in E silver jar PR 0.50 piece P2",
            "refined R outturn O 49.00 999.5 in E",
            OFF,
        ],
    ]);
    let (readings, decisions) = told(&of(&bench, "E").unwrap());
    assert_eq!(readings.len(), 3, "{readings:#?}");
    // Each reading wobbles by 0.027 g (k = 2), so both explain 0.038 g: not 0.04 g, not the 0.06 g by the offset, but the
    // 0.01 g by the proportion (50.46 g becomes 50.40959 g).
    let explained = "piece 1-01 explained: unexplained unexplained explained";
    assert!(decisions.contains(&explained.to_owned()), "{decisions:#?}");
    // Sent 0.50 + 49.10, back 49.00: 0.60 lost. The jar is 0.10 g less by the offset, and so is the outturn.
    assert!(
        decisions.contains(&"refining 1 refining_loss: 0.60 0.60 0.64845".to_owned()),
        "{decisions:#?}"
    );
    assert!(
        decisions.contains(&"jar of prills, silver jar_shortfall: 0.00 0.10 0.0005".to_owned()),
        "{decisions:#?}"
    );
}

/// The heel was weighed out on the good scale, and then counted on the other one: so it went into the next melt.
#[test]
fn what_a_stock_take_weighed_is_in_doubt_too() {
    let bench = Bench::with(&[
        WORKSHOP,
        OTHER,
        &[
            "weigh from_mould in D P1 50.42 P2 50.42 P3 50.42 P4 50.42",
            "balance M in D heel 97.82",
            "count T in E lot B 400.00 heel M 97.82",
            OFF,
            "melt N in D silver heel M",
            "balance N in D heel 97.00",
        ],
    ]);
    let (readings, decisions) = told(&of(&bench, "E").unwrap());
    assert_eq!(
        readings,
        [
            "lot 2 400.00 399.90 399.6004 again",
            "melt 1 97.82 97.72 97.72228 gone"
        ]
    );
    assert_eq!(
        decisions,
        [
            "lot 2 variance: 0.00, explained 0.10, unexplained 0.3996, unexplained",
            "melt 1 variance: 0.00, explained 0.10, unexplained 0.09772, unexplained",
            "melt 2 melt_loss: 0.82 0.72 0.72228",
        ]
    );
}

/// What was weighed on a scale that was found off, and then in a stock-take on a good one, need not be weighed once more.
#[test]
fn a_stock_take_weighs_again_what_was_in_doubt() {
    let doubted: &[&str] = &[
        "lot C silver 999.0 declared 200.00 in E",
        "weigh from_mould in D P1 50.42 P2 50.42 P3 50.42 P4 50.42",
        "balance M in E heel 97.82 prills PR 0.40",
        "count T in E lot B 400.00 jar PR 0.40",
        OFF,
        "scale G class II e 0.01 d 0.01 max 1000 s 0.006",
        "session H on G 100.00 shows 100.00",
    ];
    let readings = |more: &[&str]| told(&of(&Bench::with(&[WORKSHOP, OTHER, doubted, more]), "E").unwrap()).0;
    let again = |entry: u64| {
        [
            format!("lot 5 200.00 199.90 199.8002 again in {entry}"),
            format!("melt 1 97.82 97.72 97.72228 again in {entry}"),
            "jar of prills, silver 0.40 0.30 0.3996 gone".to_owned(),
            format!("lot 2 400.00 399.90 399.6004 again in {entry}"),
            format!("jar of prills, silver 0.40 0.30 0.3996 again in {entry}"),
        ]
    };
    let count: &[&str] = &["count U in H lot C 199.90 lot B 399.90 heel M 97.72 jar PR 0.40"];
    let bench = Bench::with(&[WORKSHOP, OTHER, doubted, count]);
    let entry = bench.entries.len() as u64 - 1;
    assert_eq!(readings(count), again(entry));
    // Also where metal was drawn from it since; and not where that scale was found off as well.
    let drawn = [count, &["melt N in H silver lot C 50.00 heel M"]].concat();
    assert_eq!(readings(&drawn), again(entry));
    // What was emptied before it was counted is another content.
    let emptied: &[&str] = &[
        "melt N in H silver jar PR 0.40",
        count[0].trim_end_matches(" jar PR 0.40"),
        "count V in H jar PR 0",
    ];
    assert_eq!(
        readings(emptied)[4],
        "jar of prills, silver 0.40 0.30 0.3996 gone"
    );
    let off_too = [count, &["close H 100.00 shows 100.10"]].concat();
    assert_eq!(readings(&off_too)[1], "melt 1 97.82 97.72 97.72228 again");
}

/// A scale that shows nothing for a weight has no proportion.
#[test]
fn a_scale_that_is_dead_has_an_offset_and_no_proportion() {
    let bench = Bench::with(&[
        WORKSHOP,
        OTHER,
        &["weigh from_mould in E P1 50.10", "close E 100.00 shows 0.00"],
    ]);
    let (readings, decisions) = told(&of(&bench, "E").unwrap());
    assert_eq!(readings, ["piece 1-01 50.10 150.10  again"]);
    assert_eq!(decisions, ["piece 1-01 grade: accepted over -"]);
    let dead = Deviation {
        nominal: mass("100.00"),
        shown: Mass::ZERO,
    };
    assert_eq!(dead.both(mass("50.10")), (mass("150.10"), None));
}

#[test]
fn readings_in_water_are_in_doubt_too() {
    let bench = Bench::with(&[
        WORKSHOP,
        OTHER,
        &[
            "weigh from_mould in D P1 50.42",
            "immerse P1 in E 50.42 hung 45.62 at 21",
            OFF,
        ],
    ]);
    let suspicion = of(&bench, "E").unwrap();
    let (readings, decisions) = told(&suspicion);
    assert_eq!(
        readings,
        [
            "piece 1-01 50.42 50.32 50.36963 again",
            "piece 1-01 45.62 45.52 45.57443 again"
        ]
    );
    assert_eq!(decisions, Vec::<String>::new());
    let again: &[&str] = &["immerse P1 in D 50.42 hung 45.62 at 21"];
    let mut bench = bench;
    bench.run(again[0]).unwrap();
    assert_eq!(of(&bench, "E").unwrap().to_weigh, 0);
}

/// Whatever a workshop does: every failed session is told, its readings stand where they must, what is told of pieces is
/// what the book counts, no decision is told that is the same, and no certificate rests on a suspect reading.
#[test]
fn every_failed_check_of_random_histories_is_told() {
    let mut draw = Draw::new([22; 32]);
    let (mut sessions, mut certificates, mut kinds) = (0, 0, std::collections::BTreeSet::new());
    for _ in 0..10 {
        let bench = histories::book(&histories::steps(&mut draw, 500));
        let (log, position) = (Written::of(&bench), bench.entries.len() as u64);
        for (failed_at, id) in Suspicion::failed_sessions(&bench.book) {
            let suspicion = Suspicion::of(&bench.book, position, &log, id).unwrap().unwrap();
            let check = suspicion.check.unwrap();
            assert_eq!(check.index, failed_at);
            let within =
                |reading: &SuspectReading| check.last_good < reading.index && reading.index < check.index;
            assert!(suspicion.readings.iter().all(within), "{:#?}", suspicion.readings);
            let weighed =
                |reading: &&SuspectReading| ["piece.weighed", "piece.bought_back"].contains(&reading.kind);
            let told: Vec<_> = suspicion
                .readings
                .iter()
                .filter(weighed)
                .map(|r| (r.index, r.subject))
                .collect();
            let mut counted: Vec<_> = bench
                .book
                .suspects(id)
                .iter()
                .map(|(piece, index)| (*index, piece.0))
                .collect();
            counted.sort_unstable();
            let mut sorted = told.clone();
            sorted.sort_unstable();
            assert_eq!(sorted, counted);
            for decision in &suspicion.decisions {
                let same = decision.recorded == decision.offset
                    && decision.proportion.as_ref() == Some(&decision.recorded);
                assert!(!same, "{decision:?}");
                kinds.insert(decision.kind);
            }
            sessions += 1;
        }
        for entry in &bench.entries {
            for draft in &entry.drafts {
                let Event::CertificateIssued(issued) = &draft.event else {
                    continue;
                };
                let readings = bench.book.piece(issued.piece).unwrap().readings.iter();
                let of_record = readings.rev().find(|reading| reading.index < entry.stamp.index);
                let of_record = of_record.unwrap();
                assert_eq!(of_record.session, issued.session);
                assert!(
                    !bench.book.is_suspect(of_record),
                    "a certificate rests on a suspect reading"
                );
                certificates += 1;
            }
        }
    }
    assert!(sessions > 5, "only {sessions} sessions failed");
    assert!(certificates > 5, "only {certificates} certificates");
    for kind in ["grade", "melt_loss"] {
        assert!(kinds.contains(kind), "{kind} was never told: {kinds:?}");
    }
}

proptest! {
    /// By both models a check that was not off changes nothing, a reading of the check weight becomes the check weight, and
    /// a greater reading stays the greater one.
    #[test]
    fn both_models_make_the_check_weight_of_what_was_shown_for_it(
        nominal in 1_i64..100_000_000, shown in 1_i64..100_000_000, reading in 0_i64..100_000_000, more in 0_i64..1_000_000,
    ) {
        let units = |count| Mass::from_units(count).unwrap();
        let (nominal, shown, reading, more) = (units(nominal), units(shown), units(reading), units(reading + more));
        let off = Deviation { nominal, shown };
        prop_assert_eq!(off.both(shown), (nominal, Some(nominal)));
        let none = Deviation { nominal, shown: nominal };
        prop_assert_eq!(none.both(reading), (reading, Some(reading)));
        prop_assert!(off.offset(more) >= off.offset(reading));
        // A share of a reading may be beyond any mass; then there is none.
        if let (Some(a), Some(b)) = (off.proportion(reading), off.proportion(more)) {
            prop_assert!(b >= a);
        }
    }
}
