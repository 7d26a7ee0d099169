//! What is typed at a scale, and whether it is likely: the cases that the browser's own reading is held to as well
//! (`tests/browser/tray.py` runs the same file), and the windows by hand-reckoned figures.

use pourbook::metal::likely::{Doubt, Ground, Likely, RULES, SlipRule};
use pourbook::metal::spread::Spread;
use pourbook::metal::typed::{Untaken, digits};
use pourbook::metal::{Mass, Reading};
use serde_json::Value;

fn cases() -> Value {
    serde_json::from_str(include_str!("../../vectors/typed.json")).unwrap()
}

fn rule() -> &'static SlipRule {
    RULES.last().unwrap()
}

fn grams(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

const fn word(why: Untaken) -> &'static str {
    match why {
        Untaken::Empty => "!empty",
        Untaken::Negative => "!negative",
        Untaken::Separators => "!separators",
        Untaken::Unit => "!unit",
        Untaken::NoNumber => "!number",
    }
}

#[test]
fn what_is_typed_becomes_a_reading_or_is_named() {
    let cases = cases();
    let typed = cases["typed"].as_array().unwrap();
    assert!(typed.len() > 30);
    for case in typed {
        let (text, wanted) = (case[0].as_str().unwrap(), case[1].as_str().unwrap());
        let found = match digits(text) {
            Err(why) => word(why).to_owned(),
            Ok(read) if Reading::parse(&read).is_err() => "!fine".to_owned(),
            Ok(read) => read,
        };
        assert_eq!(found, wanted, "{text:?}");
    }
}

#[test]
fn a_reading_far_from_the_mould_is_asked_about() {
    for window in cases()["doubts"].as_array().unwrap() {
        let of = |name: &str| grams(window[name].as_str().unwrap());
        let likely = Likely {
            low: of("low"),
            near: of("near"),
            high: of("high"),
            by: Ground::Limits,
        };
        for case in window["readings"].as_array().unwrap() {
            let found = likely
                .doubt(rule(), grams(case[0].as_str().unwrap()))
                .map(|doubt| match doubt {
                    Doubt::EmptyPan => "empty_pan".to_owned(),
                    Doubt::Light => "light".to_owned(),
                    Doubt::Heavy => "heavy".to_owned(),
                    Doubt::Tare(tare) => format!("tare {tare}"),
                });
            assert_eq!(found.as_deref(), case[1].as_str(), "{}", case[0]);
        }
    }
}

#[test]
fn the_mould_is_believed_from_five_readings_on() {
    let mut spread = Spread::default();
    for text in ["50.10", "50.20", "50.30", "50.40"] {
        spread.take(grams(text));
        assert_eq!(Likely::of_mould(rule(), &spread), None);
    }
    spread.take(grams("50.50"));
    // Deviations -0.2, -0.1, 0, 0.1, 0.2: squares 0.10, over n - 1 = 4 that is 0.025, its root 0.158113..., up to 0.15812.
    assert_eq!(spread.deviation_up(), Some(grams("0.15812")));
    let likely = Likely::of_mould(rule(), &spread).unwrap();
    assert_eq!(likely.near, grams("50.30"));
    assert_eq!((likely.low, likely.high), (grams("49.50"), grams("51.10")));
    assert_eq!(likely.by, Ground::Mould(5));
}

#[test]
fn equal_readings_leave_a_hundredth_on_either_side() {
    let mut spread = Spread::default();
    for _ in 0..6 {
        spread.take(grams("50.00"));
    }
    let likely = Likely::of_mould(rule(), &spread).unwrap();
    assert_eq!((likely.low, likely.high), (grams("49.50"), grams("50.50")));
}

#[test]
fn limits_and_last_readings_stand_in_for_a_mould() {
    let by_limits = Likely::of_limits(rule(), grams("50"), grams("52")).unwrap();
    assert_eq!(
        (by_limits.low, by_limits.near, by_limits.high),
        (grams("47.5"), grams("51"), grams("54.6"))
    );
    let by_last = Likely::of_last(rule(), grams("50")).unwrap();
    assert_eq!(
        (by_last.low, by_last.near, by_last.high),
        (grams("47.5"), grams("50"), grams("50.1"))
    );
}

#[test]
fn the_whole_deviation_is_that_of_the_floats_rounded_up() {
    let mut spread = Spread::default();
    let mut state = 7_u64;
    for _ in 0..200 {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        spread.take(Mass::from_units(5_000_000 + i64::try_from(state >> 46).unwrap()).unwrap());
        if let (Some(whole), Some(float)) = (spread.deviation_up(), spread.deviation()) {
            let float = float * 100_000.0;
            let units = f64::from(i32::try_from(whole.units()).unwrap());
            assert!(units >= float - 1e-3 && units < float + 1.001, "{units} {float}");
        }
    }
}
