//! Masses and readings: what is read, what is refused and in which words, and what comes out again.

use pourbook::metal::{Mass, MassDifference, MassError, Reading};
use proptest::prelude::*;

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

#[test]
fn a_mass_counts_ten_micrograms() {
    for (text, units, printed) in [
        ("0", 0, "0.00"),
        ("50.42", 5_042_000, "50.42"),
        ("50.4", 5_040_000, "50.40"),
        ("0.00001", 1, "0.00001"),
        ("50.4210", 5_042_100, "50.421"),
        ("100000000", 10_000_000_000_000, "100000000.00"),
    ] {
        assert_eq!(mass(text).units(), units, "{text}");
        assert_eq!(mass(text).to_string(), printed);
    }
}

#[test]
fn each_refusal_says_its_own_fact() {
    let unit = |unit: &str| MassError::Unit(unit.to_owned());
    for (text, error) in [
        ("", MassError::Empty),
        ("  ", MassError::Empty),
        ("-1", MassError::Negative),
        ("-0", MassError::Negative),
        ("\u{2212}3", MassError::Negative),
        ("1e3", MassError::Exponent),
        ("1.5E-2", MassError::Exponent),
        ("1,5", MassError::Comma),
        ("1,000.50", MassError::Comma),
        ("5oz", unit("oz")),
        ("5 oz", unit("oz")),
        ("5 ozt", unit("ozt")),
        ("50.42 g", unit("g")),
        ("50.420001", MassError::TooFine(5)),
        ("50.420000", MassError::TooFine(5)),
        ("100000000.00001", MassError::TooLarge("100000000 g")),
    ] {
        assert_eq!(Mass::parse(text), Err(error), "{text:?}");
    }
    for text in [
        "abc", "NaN", "inf", "+5", ".5", "5.", ".", "1.2.3", "007", " 5", "5 ", "1_000", "٥", "0x10",
    ] {
        let refused = Mass::parse(text).unwrap_err();
        // "0x10" reads as a number with something behind it; what matters is that it is no mass.
        assert!(
            matches!(refused, MassError::NotANumber(_) | MassError::Unit(_)),
            "{text:?}: {refused:?}"
        );
    }
}

#[test]
fn the_words_of_a_refusal_help() {
    let words = |text: &str| Mass::parse(text).unwrap_err().to_string();
    assert!(words("1,5").contains("a comma for a point"));
    assert!(words("5 oz").contains("avoirdupois are refused, give grams"));
    assert!(!words("5 g").contains("avoirdupois"));
    assert!(words("0.000001").contains("at most 5 decimals"));
    // Foreign text is repeated only in part.
    assert!(words(&"x".repeat(100_000)).len() < 200);
    assert!(words(&"9".repeat(100_000)).contains("at most 100000000 g"));
}

#[test]
fn sums_and_differences_stay_within_what_there_is() {
    assert_eq!(mass("0.10").checked_add(mass("0.20")), Some(mass("0.30")));
    assert_eq!(mass("1").checked_sub(mass("1.00001")), None);
    assert_eq!(Mass::MAX.checked_add(mass("0.00001")), None);
    assert_eq!(Mass::checked_sum([Mass::MAX, mass("0.00001")]), None);
    assert_eq!(mass("33.33333").checked_mul(3), Some(mass("99.99999")));
    assert_eq!(Mass::MAX.checked_mul(2), None);
    assert_eq!(Mass::from_units(-1), None);
    assert_eq!(mass("50.00").minus(mass("50.01")).to_string(), "-0.01");
    assert_eq!(mass("50.01").minus(mass("50.00")).to_string(), "0.01");
    assert_eq!(mass("50.00").minus(mass("50.01")).magnitude(), mass("0.01"));
}

#[test]
fn a_difference_reads_back_and_has_one_zero() {
    for text in ["-0.01", "0.00", "0.50", "-100000000.00"] {
        assert_eq!(MassDifference::parse(text).unwrap().to_string(), text);
    }
    for text in ["-0", "-0.00", "--1", "-", "-1,5"] {
        assert!(MassDifference::parse(text).is_err(), "{text:?}");
    }
}

#[test]
fn a_mass_prints_at_the_decimals_asked_for_and_rounds_half_up() {
    assert_eq!(mass("50.425").to_text(2), "50.43");
    assert_eq!(mass("50.42499").to_text(2), "50.42");
    // 99.996 must never be shown as 100.00 by the default form.
    assert_eq!(mass("99.996").to_string(), "99.996");
    assert_eq!(mass("0.5").to_text(0), "1");
    assert_eq!(mass("1").to_text(7), "1.0000000");
    assert_eq!(mass("1").to_text(u32::MAX).len(), 32);
}

#[test]
fn a_step_divides_or_it_does_not() {
    assert!(mass("50.42").is_multiple_of(mass("0.01")));
    assert!(!mass("50.42").is_multiple_of(mass("0.1")));
    assert!(mass("50.42").is_multiple_of(mass("0.02")));
    assert!(!mass("50.421").is_multiple_of(mass("0.01")));
    assert!(!mass("50.42").is_multiple_of(Mass::ZERO));
}

#[test]
fn a_reading_keeps_its_digits() {
    let long = Reading::parse("50.40").unwrap();
    let short = Reading::parse("50.4").unwrap();
    assert_eq!(long.mass(), short.mass());
    assert_ne!(long, short);
    assert_eq!((long.to_string().as_str(), long.decimals()), ("50.40", 2));
    assert_eq!(serde_json::to_string(&long).unwrap(), "\"50.40\"");
    assert_eq!(serde_json::from_str::<Reading>("\"50.4\"").unwrap(), short);
    assert_eq!(Reading::parse("50").unwrap().decimals(), 0);
}

#[test]
fn only_a_json_string_is_a_mass() {
    assert_eq!(serde_json::from_str::<Mass>("\"50.4\"").unwrap(), mass("50.40"));
    assert_eq!(serde_json::to_string(&mass("50.4")).unwrap(), "\"50.40\"");
    for json in [
        "50.4",
        "50",
        "null",
        "\"50.4 g\"",
        "[\"50.4\"]",
        "\" 50.4\"",
        "true",
    ] {
        assert!(serde_json::from_str::<Mass>(json).is_err(), "{json}");
        assert!(serde_json::from_str::<Reading>(json).is_err(), "{json}");
    }
}

proptest! {
    #[test]
    fn what_is_printed_reads_back(units in 0_i64..=10_000_000_000_000) {
        let mass = Mass::from_units(units).unwrap();
        prop_assert_eq!(Mass::parse(&mass.to_string()).unwrap(), mass);
        prop_assert_eq!(Mass::parse(&mass.to_text(5)).unwrap(), mass);
        let json = serde_json::to_string(&mass).unwrap();
        prop_assert_eq!(serde_json::from_str::<Mass>(&json).unwrap(), mass);
    }

    #[test]
    fn a_plain_text_means_what_a_decimal_library_says(text in "(0|[1-9][0-9]{0,7})(\\.[0-9]{1,5})?") {
        let ours = Mass::parse(&text).unwrap();
        let theirs = rust_decimal::Decimal::from_str_exact(&text).unwrap();
        prop_assert_eq!(rust_decimal::Decimal::new(ours.units(), 5), theirs);
        prop_assert_eq!(Reading::parse(&text).unwrap().to_string(), text);
    }

    #[test]
    fn a_rounded_mass_agrees_with_a_decimal_library(units in 0_i64..=10_000_000_000_000, decimals in 0_u32..=5) {
        use rust_decimal::{Decimal, RoundingStrategy};
        let theirs = Decimal::new(units, 5).round_dp_with_strategy(decimals, RoundingStrategy::MidpointAwayFromZero);
        let ours = Mass::from_units(units).unwrap().to_text(decimals);
        prop_assert_eq!(ours, format!("{:.*}", decimals as usize, theirs));
    }

    #[test]
    fn no_text_makes_it_panic(text in any::<String>()) {
        let _ = Mass::parse(&text).map_err(|refused| refused.to_string());
        let _ = MassDifference::parse(&text);
        let _ = Reading::parse(&text);
    }

    #[test]
    fn no_text_near_a_number_makes_it_panic_and_none_is_guessed_at(text in "[-+−]?[0-9.,eE ]{0,12}(oz|g|‰)?") {
        if let Ok(mass) = Mass::parse(&text) {
            let plain = text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
            prop_assert!(plain, "{text:?} was read as {mass}");
        }
    }
}
