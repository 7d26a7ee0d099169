//! Displacement, the step of a scale that could tell, and the temperature of water.

use pourbook::metal::{IMMERSION_RULE, Immersion, Mass, WaterTemperature};
use proptest::prelude::*;

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

#[test]
fn both_methods_tell_the_same_displacement() {
    // By hand: 100.42 - 90.87 = 9.55.
    let displaced = Some(mass("9.55"));
    assert_eq!(
        Immersion::Hung.displaced(mass("100.42"), mass("90.87")),
        displaced
    );
    assert_eq!(Immersion::Cup.displaced(mass("100.42"), mass("9.55")), displaced);
    for (method, in_water) in [
        (Immersion::Hung, "100.42"),
        (Immersion::Hung, "100.43"),
        (Immersion::Hung, "0"),
        (Immersion::Cup, "0"),
        (Immersion::Cup, "100.42"),
    ] {
        assert_eq!(
            method.displaced(mass("100.42"), mass(in_water)),
            None,
            "{method} {in_water}"
        );
    }
}

/// 2 g on steps of 0.01 g, 20 g on steps of 0.1 g: common practice, no source.
#[test]
fn a_scale_tells_from_two_hundred_steps_on() {
    for (displaced, d, can) in [
        ("2.00", "0.01", true),
        ("1.99", "0.01", false),
        ("20.0", "0.1", true),
        ("19.9", "0.1", false),
        ("2.00", "0.02", false),
    ] {
        assert_eq!(
            IMMERSION_RULE.can_tell(mass(displaced), mass(d)),
            can,
            "{displaced} on {d}"
        );
    }
    for (displaced, step) in [
        ("23.76", Some("0.1")),
        ("9.50", Some("0.02")),
        ("2.96", Some("0.01")),
        ("0.00200", Some("0.00001")),
        ("0.00199", None),
        ("0", None),
    ] {
        assert_eq!(
            IMMERSION_RULE.step_that_could(mass(displaced)),
            step.map(mass),
            "{displaced}"
        );
    }
}

#[test]
fn water_has_a_temperature_of_tenths_from_nothing_to_forty() {
    for (text, shown) in [
        ("0", "0.0"),
        ("0.0", "0.0"),
        ("20", "20.0"),
        ("20.5", "20.5"),
        ("40.0", "40.0"),
    ] {
        let water = WaterTemperature::parse(text).unwrap();
        assert_eq!(water.to_string(), shown);
        assert_eq!(
            WaterTemperature::parse(shown),
            Ok(water),
            "one spelling is written"
        );
    }
    for (text, why) in [
        (
            "40.1",
            "is too large: at most 40.0 degrees Celsius: beyond that the table of water ends",
        ),
        (
            "100",
            "is too large: at most 40.0 degrees Celsius: beyond that the table of water ends",
        ),
        ("-0.1", "is negative: this quantity is never below zero"),
        ("20.55", "is too fine: at most 1 decimals"),
        ("", "is empty: give plain decimal digits, such as 50.42"),
        (
            "20,5",
            "has a comma for a point: write 1.5, and nothing between thousands",
        ),
    ] {
        assert_eq!(
            WaterTemperature::parse(text).unwrap_err().to_string(),
            why,
            "{text:?}"
        );
    }
}

proptest! {
    /// Whatever a display shows: what is displaced is more than nothing and less than the piece, and the step that is
    /// named for it could tell, while the next coarser one could not.
    #[test]
    fn a_step_that_is_named_could_tell(in_air in 0_i64..1_000_000_000, in_water in 0_i64..1_000_000_000) {
        let (in_air, in_water) = (Mass::from_units(in_air).unwrap(), Mass::from_units(in_water).unwrap());
        for method in [Immersion::Hung, Immersion::Cup] {
            let Some(displaced) = method.displaced(in_air, in_water) else { continue };
            prop_assert!(displaced > Mass::ZERO && displaced < in_air);
            if let Some(step) = IMMERSION_RULE.step_that_could(displaced) {
                prop_assert!(IMMERSION_RULE.can_tell(displaced, step));
                // Steps grow by 2 or 2.5, so what is 2.5 times as coarse is at least the next one.
                let coarser = Mass::from_units(step.units() * 5 / 2 + 1).unwrap();
                prop_assert!(!IMMERSION_RULE.can_tell(displaced, coarser));
            }
        }
    }
}
