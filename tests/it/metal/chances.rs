//! Probabilities: the normal distribution, conformity, and whether two readings agree.

use pourbook::metal::consistency::{Agreement, Assumed, agreement, normalised_error, shown_from};
use pourbook::metal::probability::{
    Probability, conformity, normal_between, normal_cdf, standard_uncertainty,
};
use pourbook::metal::{Mass, at_least, guard_band};
use proptest::prelude::*;

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

#[track_caller]
fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found}, not {wanted}");
}

#[test]
fn the_normal_distribution_has_its_published_values() {
    // Tables of the standard normal distribution, as every handbook of statistics prints them (from memory).
    for (z, p) in [
        (0.0, 0.5),
        (1.0, 0.841_344_7),
        (1.645, 0.950_015_1),
        (1.96, 0.975_002_1),
        (3.0, 0.998_650_1),
    ] {
        near(normal_cdf(z), p, 5e-8);
        near(normal_cdf(-z), 1.0 - p, 5e-8);
    }
    // The same the other way round: the values of z for the usual shares.
    for (p, z) in [(0.95, 1.644_853_6), (0.975, 1.959_964_0), (0.001, -3.090_232_3)] {
        near(normal_cdf(z), p, 5e-8);
    }
    // Far out in the tail the difference keeps its digits: computed with scipy.stats.norm.
    near(normal_between(8.0, 9.0) / 6.219_832_0e-16, 1.0, 1e-6);
}

#[test]
fn the_probability_of_conformity_of_the_published_example() {
    // JCGM 106:2012, 7.4 has these inputs (as quoted elsewhere): reading 13.6, u 1.8, limits 12.5 and 16.3; the figure was
    // computed with scipy.
    let p = conformity(mass("13.6"), 1.8, mass("12.5"), Some(mass("16.3"))).unwrap();
    near(p.value(), 0.66263, 0.000_005);
    assert_eq!(p.to_string(), "0.662630");
}

#[test]
fn a_reading_of_the_limit_itself_is_a_coin_toss() {
    // u of a class II scale, e = d = 0.01 g at 100 g in service: computed from the model, and the figures with scipy.
    let u = standard_uncertainty(mass("0.02"), mass("0.006"), mass("0.01"));
    near(u, 0.013_638, 0.000_000_5);
    near(2.0 * u, 0.0273, 0.000_05);
    for (reading, p, within) in [
        ("99.98", 0.071, 0.000_5),
        ("100.00", 0.500, 0.000_5),
        ("100.01", 0.76829, 0.000_005),
        ("100.02", 0.929, 0.000_5),
        ("100.03", 0.98609, 0.000_005),
        ("100.05", 0.9999, 0.000_05),
    ] {
        let found = conformity(mass(reading), u, mass("100"), None).unwrap();
        near(found.value(), p, within);
    }
    // The guard band that decides is computed in whole numbers: 1.645 u, rounded up to the step.
    assert_eq!(
        guard_band(mass("0.02"), mass("0.006"), mass("0.01")),
        Some(mass("0.03"))
    );
    assert_eq!(at_least(mass("100.05"), mass("0.03")), mass("100.02"));
}

#[test]
fn two_readings_agree_or_not_by_their_uncertainties() {
    // The formula of ISO 13528 (from memory); the figures were computed in Python.
    for (x, ux, y, uy, error, verdict) in [
        (100.39, 0.062, 100.42, 0.027, -0.44, Agreement::Agree),
        (100.21, 0.062, 100.42, 0.027, -3.11, Agreement::DoNotAgree),
        (10.44, 0.05, 10.47, 0.03, -0.51, Agreement::Agree),
        (10.36, 0.05, 10.47, 0.03, -1.89, Agreement::DoNotAgree),
        (10.40, 0.05, 10.47, 0.03, -1.20, Agreement::RepeatOnAnotherScale),
    ] {
        let found = normalised_error(x, ux, y, uy).unwrap();
        near(found, error, 0.005);
        assert_eq!(agreement(found), verdict, "{x} and {y}");
    }
    for (edge, verdict) in [
        (1.0, Agreement::Agree),
        (-1.0, Agreement::Agree),
        (1.000_1, Agreement::RepeatOnAnotherScale),
        (-1.5, Agreement::RepeatOnAnotherScale),
        (1.500_1, Agreement::DoNotAgree),
    ] {
        assert_eq!(agreement(edge), verdict, "{edge}");
    }
    near(shown_from(0.3, 0.4), 0.75, 1e-12);
}

#[test]
fn a_scale_of_which_only_the_step_is_known_is_assumed_to_be_a_cheap_one() {
    // The expanded uncertainties computed in Python: 0.062 g at a step of 0.01 g, 0.27 g at 0.1 g.
    let of = |step: &str| Assumed::of(mass(step)).unwrap();
    assert_eq!(of("0.01").error(), mass("0.05"));
    assert_eq!(of("0.01").uncertainty().to_text(3), "0.062");
    assert_eq!(of("0.1").uncertainty().to_text(2), "0.27");
    for step in ["0", "0.02", "0.0001", "10"] {
        assert!(Assumed::of(mass(step)).is_none(), "{step}");
    }
}

#[test]
fn what_is_no_number_is_no_probability_and_no_agreement() {
    for odd in [f64::NAN, f64::INFINITY, -0.1, 1.1] {
        assert_eq!(Probability::new(odd), None);
    }
    for (x, ux, y, uy) in [
        (1.0, 0.0, 1.0, 0.0),
        (1.0, -0.1, 1.0, 0.2),
        (f64::NAN, 0.1, 1.0, 0.1),
        (1.0, 0.1, f64::INFINITY, 0.1),
        (1.0, f64::NAN, 1.0, 0.1),
    ] {
        assert_eq!(normalised_error(x, ux, y, uy), None);
    }
    for u in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(conformity(mass("1"), u, mass("1"), None), None);
    }
    assert_eq!(conformity(mass("1"), 0.1, mass("2"), Some(mass("1"))), None);
    for text in ["-0.1", "1.000000001", "2", "95%", "0,95", "", "nan", "1e-3"] {
        assert!(text.parse::<Probability>().is_err(), "{text}");
    }
}

#[test]
fn what_is_not_certain_never_reads_as_certain() {
    let u = standard_uncertainty(mass("0.02"), mass("0.006"), mass("0.01"));
    let shown = |reading: &str| {
        conformity(mass(reading), u, mass("100"), None)
            .unwrap()
            .to_string()
    };
    assert_eq!(shown("200"), "0.999999");
    assert_eq!(shown("1"), "0.000001");
    assert_eq!("1".parse::<Probability>().unwrap().to_string(), "1.000000");
    assert_eq!("0".parse::<Probability>().unwrap().to_string(), "0.000000");
}

proptest! {
    #[test]
    fn a_probability_is_always_one(
        reading in 0_i64..10_000_000_000_000,
        lower in 0_i64..10_000_000_000_000,
        width in proptest::option::of(0_i64..10_000_000),
        u in prop_oneof![0.0_f64..1e6, Just(f64::MIN_POSITIVE), Just(1e300)],
    ) {
        let [reading, lower] = [reading, lower].map(|units| Mass::from_units(units).unwrap());
        let upper = width.and_then(|width| Mass::from_units(lower.units() + width));
        if let Some(p) = conformity(reading, u, lower, upper) {
            prop_assert!(p.is_open(), "{p:?}");
        } else {
            prop_assert!(u == 0.0);
        }
    }
}
