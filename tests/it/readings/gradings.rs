//! Gradings reckoned again from what was recorded, by the version of the rule that each names.

use super::Written;
use crate::domain::bench::{Bench, CLOSED, POURED, WORKSHOP};
use crate::domain::histories;
use pourbook::accounts::GradingAgain;
use pourbook::domain::*;
use pourbook::metal::{GUARD_RULES, GuardRule, Mass};

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

fn of(bench: &Bench, name: &str, rules: &[GuardRule]) -> Vec<GradingAgain> {
    let position = bench.entries.len() as u64;
    let piece = bench.piece(name).piece;
    GradingAgain::of(&bench.book, position, &Written::of(bench), piece, rules).unwrap()
}

/// A piece of a hundred grams, on the scale of the handbook example: class II, e = d = 0.01 g, s = 0.006 g.
fn hundred(mass: &str) -> Bench {
    let weighed = format!("weigh from_mould in D P1 {mass}");
    Bench::with(&[
        WORKSHOP,
        &[
            "edition HR silver 999 limits 100.00 100.00 102.00 exempt oval 4",
            "melt M in D silver lot A 300.00",
            "pour M HR oval P1",
            &weighed,
        ],
    ])
}

/// u = 0.013638 g and p(>= 100) of 100.01, 100.03 and 100.00: computed with scipy from the formula of JCGM 106:2012, 7.4.
#[test]
fn a_grading_is_told_with_its_uncertainty_its_probability_and_what_may_be_claimed() {
    for (reading, grade, probability, least) in [
        ("100.00", Grade::Borderline, "0.50000", "99.97"),
        ("100.01", Grade::Borderline, "0.76829", "99.98"),
        ("100.03", Grade::Accepted, "0.98609", "100.00"),
        ("99.97", Grade::Under, "0.01391", "99.94"),
    ] {
        let bench = hundred(reading);
        let [told] = of(&bench, "P1", GUARD_RULES).try_into().unwrap();
        assert_eq!((told.grade, told.again, told.agrees), (grade, Some(grade), true));
        let shown = told.probability.unwrap();
        let shown: f64 = shown.parse().unwrap();
        assert_eq!(format!("{shown:.5}"), probability, "{reading}");
        let row = told.scale.permitted.unwrap();
        // 100 g is 10,000 e of 0.01 g: one interval new, two in service (OIML R 76-1:2006, Table 6 and 3.5.2).
        assert_eq!((row.error, row.intervals, row.from_year), (mass("0.02"), 2, 2006));
        assert!(row.source.starts_with("OIML R 76-1:2006, Table 6"));
        assert_eq!(row.u, "0.013639", "rounded up");
        assert_eq!(told.guard, Some(mass("0.03")));
        assert_eq!(
            told.claim.may,
            format!("{reading} g, +-0.03 g at k = 2; at least {least} g")
        );
        assert_eq!(
            told.claim.may_not,
            format!("{reading} g without its uncertainty; at least anything above {least} g")
        );
    }
}

#[test]
fn every_kind_of_grading_agrees_with_its_record() {
    let bench = Bench::with(&[
        WORKSHOP,
        POURED,
        CLOSED,
        &[
            "finish in D into LE P3 51.10",
            "move P2 to DW",
            "fault P4 crack",
            "weigh finished in D P4 50.58",
            "serials P1 P3",
            "weigh final in D P1 50.42 P3 51.10",
            "close D 100.00 shows 100.00",
            "numbers P1",
            "certify P1",
            "sell V P1",
            "hand_over V P1",
            "session E on S 100.00 shows 100.00",
            "buy_back P1 in E 50.41",
        ],
    ]);
    let told = |name: &str| -> Vec<(Grade, bool, String)> {
        let again = of(&bench, name, GUARD_RULES);
        again
            .into_iter()
            .map(|told| (told.grade, told.agrees, told.reading.mass.to_string()))
            .collect()
    };
    let yes = |grade, mass: &str| (grade, true, mass.to_owned());
    use Grade::{Accepted, Faulty, Over, Under};
    assert_eq!(
        told("P1"),
        [
            yes(Accepted, "50.42"),
            yes(Accepted, "50.42"),
            yes(Accepted, "50.41")
        ]
    );
    assert_eq!(
        told("P2"),
        [yes(Under, "49.10"), yes(Accepted, "49.10")],
        "moved to an open series"
    );
    assert_eq!(
        told("P3"),
        [yes(Over, "52.00"), yes(Accepted, "51.10"), yes(Accepted, "51.10")]
    );
    assert_eq!(
        told("P4"),
        [yes(Accepted, "50.60"), yes(Faulty, "50.58")],
        "a fault stays"
    );
}

#[test]
fn nothing_may_be_claimed_of_a_reading_in_doubt_or_of_an_unverified_scale() {
    let bench = Bench::with(&[
        WORKSHOP,
        &[
            "scale U class II e 0.01 d 0.01 max 500 s 0.01 unverified",
            "session E on U 100.00 shows 100.00",
        ],
        POURED,
        &[
            "pour M TW oval P5",
            "weigh from_mould in E P5 50.60",
            "close D 100.00 shows 100.10",
        ],
    ]);
    let [told] = of(&bench, "P5", GUARD_RULES).try_into().unwrap();
    assert!(told.agrees && told.grade == Grade::Borderline);
    assert_eq!((told.scale.permitted, told.probability), (None, None));
    assert_eq!(told.claim.may, "nothing");
    assert!(
        told.claim.may_not.contains("unverified"),
        "{}",
        told.claim.may_not
    );
    let [told] = of(&bench, "P1", GUARD_RULES).try_into().unwrap();
    assert!(told.agrees && told.reading.suspect);
    assert_eq!(
        (told.claim.may.as_str(), told.claim.uncertainty),
        ("nothing", None)
    );
    assert!(
        told.claim.may_not.contains("a check of the scale failed"),
        "{}",
        told.claim.may_not
    );
}

#[test]
fn what_came_after_a_position_is_not_told() {
    let mut bench = Bench::with(&[WORKSHOP, POURED, CLOSED]);
    let (book, position) = (bench.book.clone(), bench.entries.len() as u64);
    bench.run("weigh finished in D P1 50.41").unwrap();
    let piece = bench.piece("P1").piece;
    let told = |book: &Book, position: u64| {
        let told = GradingAgain::of(book, position, &Written::of(&bench), piece, GUARD_RULES);
        told.unwrap().len()
    };
    assert_eq!((told(&book, position), told(&bench.book, position + 1)), (1, 2));
}

/// A wider band, as a later version of the rule might have it: 2.576 u, for a one-sided risk of 0.5 %. Of this test alone.
const WIDER: GuardRule = GuardRule {
    word: "guarded-2",
    from_year: 2030,
    source: "of this test alone",
    thousandths: 2_576,
};

#[test]
fn a_newer_version_of_the_rule_leaves_old_gradings_as_they_were() {
    let rules = [GUARD_RULES, &[WIDER]].concat();
    let bench = hundred("100.03");
    let [told] = of(&bench, "P1", &rules).try_into().unwrap();
    assert!(told.agrees, "it is reckoned by the version that it names");
    assert_eq!(told.rule.rule, "guarded-1");
    // The newer version would have it otherwise: 2.576 u is 0.0351 g, a band of 0.04 g.
    let scale = bench.book.scales().next().unwrap();
    let within = Some((mass("100.00"), mass("102.00")));
    let newer = scale.grade(&WIDER, mass("100.03"), within, false);
    assert_eq!(newer, (Grade::Borderline, Some(mass("0.04"))));
    let older = scale.grade(&GUARD_RULES[0], mass("100.03"), within, false);
    assert_eq!(older, (Grade::Accepted, Some(mass("0.03"))));
    // Had somebody changed the old version instead of adding a new one, it would show; had they dropped it, too.
    let changed = GuardRule {
        word: "guarded-1",
        ..WIDER
    };
    let [told] = of(&bench, "P1", &[changed]).try_into().unwrap();
    assert_eq!((told.agrees, told.again), (false, Some(Grade::Borderline)));
    let [told] = of(&bench, "P1", &[WIDER]).try_into().unwrap();
    assert_eq!((told.agrees, told.again, told.rule.source), (false, None, None));
}

#[test]
fn the_versions_of_the_rule_are_those_that_gradings_name() {
    let words: Vec<&str> = GUARD_RULES.iter().map(|rule| rule.word).collect();
    assert_eq!(words, GradeRule::WORDS);
    assert_eq!(GUARD_RULES.last().unwrap().word, GradeRule::NEWEST.word());
}

#[test]
fn every_grading_of_random_histories_agrees() {
    let mut draw = Draw::new([21; 32]);
    let mut met = 0;
    for _ in 0..6 {
        let bench = histories::book(&histories::steps(&mut draw, 500));
        let (log, position) = (Written::of(&bench), bench.entries.len() as u64);
        for piece in bench.book.pieces() {
            let told = GradingAgain::of(&bench.book, position, &log, piece.piece, GUARD_RULES).unwrap();
            assert!(told.iter().all(|told| told.agrees), "{told:#?}");
            let last = told.last().map(|told| told.grade);
            let faulty = piece
                .grading
                .as_ref()
                .is_some_and(|grading| grading.fault.is_some());
            assert!(faulty || last == piece.grading.as_ref().map(|grading| grading.grade));
            met += told.len();
        }
    }
    assert!(met > 200, "only {met} gradings");
}
