//! What a charge will be, and what raises or lowers it.
//!
//! Values marked "computed" come from Python's exact fractions, by the formula beside them, and not from this code.

use pourbook::metal::alloying::{
    Aim, AlloyingError, BlendInputs, Content, Direction, Lot, Part, Raise, RaiseInputs,
};
use pourbook::metal::{Fineness, Mass, Ratio};
use proptest::prelude::*;

fn mass(text: &str) -> Mass {
    text.parse().unwrap()
}

fn fineness(text: &str) -> Fineness {
    text.parse().unwrap()
}

fn part(grams: &str, parts: &str) -> Part {
    Part {
        mass: mass(grams),
        fineness: parts.parse().unwrap(),
    }
}

fn lot(parts: &str, left: Option<&str>) -> Lot {
    Lot {
        name: None,
        fineness: parts.parse().unwrap(),
        left: left.map(mass),
    }
}

fn aim(standard: &str, uncertainty: Option<&str>) -> Aim {
    Aim {
        standard: fineness(standard),
        uncertainty: uncertainty.map(fineness),
    }
}

fn inputs(charge: &[(&str, &str)], standard: &str, lots: &[(&str, Option<&str>)], step: &str) -> RaiseInputs {
    RaiseInputs {
        charge: charge.iter().map(|(grams, parts)| part(grams, parts)).collect(),
        aim: aim(standard, None),
        lots: lots.iter().map(|(parts, left)| lot(parts, *left)).collect(),
        step: mass(step),
    }
}

fn added(raise: &Raise) -> Vec<(usize, String)> {
    let additions = raise.additions.iter();
    additions
        .map(|addition| (addition.lot, addition.mass.to_string()))
        .collect()
}

fn exact(raise: &Raise) -> String {
    let exact = raise.additions.last().unwrap().exact.unwrap();
    exact.to_decimal(4, pourbook::metal::Rounding::HalfUp).unwrap()
}

#[test]
fn what_must_be_added_to_raise_or_lower() {
    // Computed: m2 = m1 (f - f1) / (f2 - f).
    let grain = inputs(&[("300", "998.6")], "999.0", &[("999.9", None)], "0.01")
        .raise()
        .unwrap();
    assert_eq!(exact(&grain), "133.3333");
    assert_eq!(grain.additions[0].exact, Ratio::new(400, 3));
    // Rounded up to the step, or the target would not be met.
    assert_eq!(
        (added(&grain), grain.direction),
        (vec![(0, "133.34".into())], Direction::Raise)
    );
    assert_eq!((grain.fineness, grain.mass), (fineness("999.0"), mass("433.34")));

    let scrap = inputs(&[("800", "916")], "925", &[("999", None)], "0.01")
        .raise()
        .unwrap();
    assert_eq!(
        (exact(&scrap).as_str(), added(&scrap)),
        ("97.2973", vec![(0, "97.30".into())])
    );

    let copper = inputs(&[("500", "999")], "925", &[("alloy", None)], "0.01")
        .raise()
        .unwrap();
    assert_eq!(
        (exact(&copper).as_str(), copper.direction),
        ("40.0000", Direction::Lower)
    );
    assert_eq!(
        (added(&copper), copper.fineness),
        (vec![(0, "40.00".into())], fineness("925.0"))
    );
    assert_eq!(copper.exact, fineness("925").to_ratio());
}

#[test]
fn lowering_is_rounded_down_so_that_the_standard_is_still_met() {
    // Computed: 501.37 (999 - 925) / 925 = 40.109600 g of copper; 40.10 at a step of 0.01, 40 at a step of 1.
    for (step, expected) in [("0.01", "40.10"), ("1", "40.00")] {
        let lowered = inputs(&[("501.37", "999")], "925", &[("alloy", None)], step)
            .raise()
            .unwrap();
        assert_eq!(added(&lowered), [(0, expected.to_owned())]);
        assert!(lowered.exact >= fineness("925").to_ratio());
    }
}

#[test]
fn the_formula_shows_the_numbers() {
    let grain = inputs(&[("300", "998.6")], "999.0", &[("999.9", None)], "0.01")
        .raise()
        .unwrap();
    assert_eq!(
        grain.formula,
        "m2 = m1 (f - f1) / (f2 - f) = 300.00 g x (999.0 - 998.6) / (999.9 - 999.0) = 133.3333 g, to the step of 0.01 g: \
         133.34 g; (300.00 g x 998.6 + 133.34 g x 999.9) / 433.34 g = 999.0 parts per thousand, rounded down"
    );
    let blend = BlendInputs {
        parts: vec![part("500", "999"), part("40", "alloy")],
        aim: Some(aim("925", None)),
    };
    let blend = blend.blend().unwrap();
    assert_eq!((blend.fineness, blend.reached), (fineness("925.0"), Some(true)));
    assert_eq!(
        blend.formula,
        "(500.00 g x 999.0 + 40.00 g x 0.0) / 540.00 g = 499.50 g fine / 540.00 g = 925.0 parts per thousand, rounded down"
    );
}

#[test]
fn the_target_is_never_the_limit() {
    // An assay of 0.5 parts per thousand at k = 2: aim at 925.5.
    let with_margin = RaiseInputs {
        aim: aim("925", Some("0.5")),
        ..inputs(&[("500", "999")], "925", &[("alloy", None)], "0.01")
    };
    let raise = with_margin.raise().unwrap();
    // Computed: 500 (999 - 925.5) / 925.5 = 39.708266 g.
    assert_eq!(
        (raise.target, added(&raise)),
        (fineness("925.5"), vec![(0, "39.70".into())])
    );
    let blend = BlendInputs {
        parts: vec![part("500", "999"), part("40", "alloy")],
        aim: Some(aim("925", Some("0.5"))),
    };
    assert_eq!(blend.blend().unwrap().reached, Some(false));
    // What no assay of that uncertainty can support.
    assert_eq!(
        aim("999", Some("2")).target(),
        Err(AlloyingError::MarginBeyondPure {
            standard: fineness("999"),
            uncertainty: fineness("2")
        })
    );
}

#[test]
fn several_lots_are_taken_the_finest_first_with_what_is_left_of_each() {
    // 300 g at 998.6 lack 120 mg fine of 999.0. Computed: 100 g at 999.9 bring 90 mg; 30 mg more are 60 g at 999.5.
    let two = inputs(
        &[("300", "998.6")],
        "999.0",
        &[("999.5", Some("500")), ("999.9", Some("100")), ("998.0", None)],
        "0.01",
    );
    let raise = two.raise().unwrap();
    assert_eq!(added(&raise), [(1, "100.00".to_owned()), (0, "60.00".to_owned())]);
    assert_eq!(
        (raise.added, raise.exact),
        (mass("160"), fineness("999").to_ratio())
    );
    // What is left of a lot counts in whole steps of the scale.
    let odd = inputs(
        &[("300", "998.6")],
        "999.0",
        &[("999.9", Some("100.009")), ("999.5", None)],
        "0.01",
    );
    assert_eq!(
        added(&odd.raise().unwrap()),
        [(0, "100.00".to_owned()), (1, "60.00".to_owned())]
    );
}

#[test]
fn a_target_that_cannot_be_reached_is_refused_with_the_best_that_can() {
    let refused = |inputs: RaiseInputs| match inputs.raise() {
        Err(AlloyingError::OutOfReach { best, .. }) => best.to_string(),
        other => panic!("{other:?}"),
    };
    // Computed: (300 x 998.6 + 100 x 999.9) / 400 = 998.925; what is at 998.9 would only lower that.
    let some = [("999.9", Some("100")), ("998.9", Some("50")), ("990", None)];
    assert_eq!(
        refused(inputs(&[("300", "998.6")], "999.0", &some, "0.01")),
        "998.925"
    );
    // Nothing finer than the target: what there is no end of never quite brings the mixture to its own fineness.
    let equal = [("999.0", None)];
    assert_eq!(
        refused(inputs(&[("300", "998.6")], "999.0", &equal, "0.01")),
        "998.9999"
    );
    assert_eq!(
        refused(inputs(&[("300", "998.6")], "999.0", &[], "0.01")),
        "998.6"
    );
    // Too fine, and nothing less fine than the target is offered, or too little.
    assert_eq!(
        refused(inputs(&[("500", "999")], "925", &[("958", None)], "0.01")),
        "999.0"
    );
    // Computed: 500 x 999 / 510 = 979.41176...
    let little = [("alloy", Some("10"))];
    assert_eq!(
        refused(inputs(&[("500", "999")], "925", &little, "0.01")),
        "979.4117"
    );
    let told = inputs(&[("500", "999")], "925", &[("958", None)], "0.01").raise();
    assert_eq!(
        told.unwrap_err().to_string(),
        "the target of 925.0 parts per thousand cannot be reached from 999.0: the best that can be is 999.0, rounded down"
    );
}

#[test]
fn what_is_there_already_needs_nothing() {
    let there = inputs(&[("500", "925")], "925", &[], "0.01").raise().unwrap();
    assert_eq!((there.direction, added(&there)), (Direction::Nothing, vec![]));
    // Above the target by less than a step of copper would take off.
    let nearly = inputs(&[("500", "925.01")], "925", &[("alloy", None)], "0.01")
        .raise()
        .unwrap();
    assert_eq!(nearly.direction, Direction::Nothing);
}

#[test]
fn inputs_that_are_none_are_refused_by_name() {
    let empty = inputs(&[], "925", &[], "0.01").raise();
    assert_eq!(empty, Err(AlloyingError::NoMetal));
    let zero = inputs(&[("0", "999")], "925", &[], "0.01").raise();
    assert_eq!(zero, Err(AlloyingError::NoMetal));
    let no_step = inputs(&[("1", "999")], "925", &[], "0").raise();
    assert_eq!(no_step, Err(AlloyingError::NoStep));
    let many: Vec<(&str, &str)> = vec![("1", "999"); 65];
    assert_eq!(
        inputs(&many, "925", &[], "1").raise(),
        Err(AlloyingError::TooMany(65))
    );
    // 100 tonnes of 998.6 cannot be raised by what fits in a mass.
    let tonnes = inputs(&[("100000000", "998.6")], "999.0", &[("999.9", None)], "0.01").raise();
    assert_eq!(tonnes, Err(AlloyingError::TooMuch));
    assert!("1000.1".parse::<Content>().is_err());
    assert!("0".parse::<Content>().is_err());
}

fn any_content() -> impl Strategy<Value = Content> {
    (0_u32..=10_000_000).prop_map(|units| Content(Fineness::from_units(units).unwrap()))
}

fn any_inputs() -> impl Strategy<Value = RaiseInputs> {
    let parts = proptest::collection::vec((1_i64..100_000_000, any_content()), 1..4);
    let lots = proptest::collection::vec((proptest::option::of(0_i64..50_000_000), any_content()), 0..5);
    (
        parts,
        lots,
        1_u32..=10_000_000,
        prop_oneof![Just(1_i64), Just(1_000), Just(100_000)],
    )
        .prop_map(|(parts, lots, standard, step)| RaiseInputs {
            charge: parts
                .into_iter()
                .map(|(units, fineness)| Part {
                    mass: Mass::from_units(units).unwrap(),
                    fineness,
                })
                .collect(),
            aim: Aim {
                standard: Fineness::from_units(standard).unwrap(),
                uncertainty: None,
            },
            lots: lots
                .into_iter()
                .map(|(left, fineness)| Lot {
                    name: None,
                    fineness,
                    left: left.map(|units| Mass::from_units(units).unwrap()),
                })
                .collect(),
            step: Mass::from_units(step).unwrap(),
        })
}

proptest! {
    /// An answer meets the target, takes no more than there is, in whole steps, and one step less would not do: less of
    /// the last lot misses the target when raising, more of it when lowering.
    #[test]
    fn an_answer_meets_the_target_with_the_least(inputs in any_inputs()) {
        let Ok(raise) = inputs.raise() else { return Ok(()); };
        let target = raise.target.to_ratio();
        prop_assert!(raise.exact >= target);
        for addition in &raise.additions {
            prop_assert!(addition.mass.is_multiple_of(inputs.step));
            prop_assert!(inputs.lots[addition.lot].left.is_none_or(|left| addition.mass <= left));
        }
        let Some(last) = raise.additions.last() else { return Ok(()); };
        let mut parts = inputs.charge.clone();
        parts.extend(raise.additions.iter().map(|added| Part { mass: added.mass, fineness: added.fineness }));
        let changed = match raise.direction {
            Direction::Raise => last.mass.checked_sub(inputs.step).unwrap(),
            _ => last.mass.checked_add(inputs.step).unwrap(),
        };
        parts.last_mut().unwrap().mass = changed;
        let other = BlendInputs { parts, aim: None }.blend().unwrap();
        prop_assert!(other.exact < target, "{} would do", changed);
    }

    /// Whatever whole steps of the lots are tried, none that meets the target weighs less than the answer.
    #[test]
    fn no_other_choice_of_steps_is_lighter(
        charge in 800_u32..990, lots in proptest::collection::vec((900_u32..1000, 0_u32..6), 1..4), target in 900_u32..995
    ) {
        let whole = |parts: u32| Fineness::from_units(parts * 10_000).unwrap();
        prop_assume!(charge < target);
        let inputs = RaiseInputs {
            charge: vec![Part { mass: mass("10"), fineness: Content(whole(charge)) }],
            aim: Aim { standard: whole(target), uncertainty: None },
            lots: lots.iter().map(|(parts, left)| Lot { name: None, fineness: Content(whole(*parts)),
                left: Some(mass(&left.to_string())) }).collect(),
            step: mass("1"),
        };
        // Every choice, by whole grams and whole parts per thousand.
        let mut best: Option<u32> = None;
        let choices: u32 = lots.iter().map(|(_, left)| left + 1).product();
        for choice in 0..choices {
            let (mut rest, mut grams, mut fine) = (choice, 10, 10 * charge);
            for (parts, left) in &lots {
                let taken = rest % (left + 1);
                rest /= left + 1;
                grams += taken;
                fine += taken * parts;
            }
            if fine >= grams * target {
                best = Some(best.map_or(grams - 10, |best| best.min(grams - 10)));
            }
        }
        let found = inputs.raise().ok().map(|raise| raise.added);
        prop_assert_eq!(found, best.map(|grams| mass(&grams.to_string())));
    }
}
