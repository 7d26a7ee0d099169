//! Permissible errors, uncertainty, guard band, and grading by limits.

use pourbook::metal::{
    LimitGrade, MPE_TABLE, Mass, ScaleClass, at_least, expanded_uncertainty, expanded_uncertainty_fine,
    grade_by_limits, guard_band, mpe, mpe_in_service,
};
use proptest::prelude::*;

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

#[test]
fn permissible_errors_of_oiml_r_76() {
    // OIML R 76-1:2006, Table 6, as several public sources quote it alike (the document itself was not read): class, e,
    // load, error at initial verification. A boundary belongs to the lower band.
    use ScaleClass::{I, II, III};
    for (class, e, load, permitted) in [
        (II, "0.01", "0.00", "0.005"),
        (II, "0.01", "50.00", "0.005"),
        (II, "0.01", "50.00001", "0.01"),
        (II, "0.01", "100.00", "0.01"),
        (II, "0.01", "200.00", "0.01"),
        (II, "0.01", "200.01", "0.015"),
        (II, "0.01", "1000.00", "0.015"),
        (II, "0.1", "100.00", "0.05"),
        (I, "0.001", "50.000", "0.0005"),
        (I, "0.001", "50.001", "0.001"),
        (I, "0.001", "200.000", "0.001"),
        (I, "0.001", "200.001", "0.0015"),
        (III, "0.1", "50.0", "0.05"),
        (III, "0.1", "50.1", "0.1"),
        (III, "0.1", "200.0", "0.1"),
        (III, "0.1", "200.1", "0.15"),
    ] {
        let (e, load, permitted) = (mass(e), mass(load), mass(permitted));
        assert_eq!(mpe(class, e, load), Some(permitted), "{class:?} e {e} at {load}");
        // 3.5.2: in service it is twice that.
        assert_eq!(
            mpe_in_service(class, e, load),
            permitted.checked_mul(2),
            "{class:?} e {e} at {load}"
        );
    }
    assert_eq!(MPE_TABLE.from_year, 2006);
}

#[test]
fn beyond_its_class_a_scale_has_no_permissible_error() {
    // The most intervals of a class: OIML R 76-1:2006, Table 3, from memory.
    assert_eq!(mpe(ScaleClass::II, mass("0.01"), mass("1000.01")), None);
    assert_eq!(mpe(ScaleClass::III, mass("0.1"), mass("1000.1")), None);
    assert_eq!(mpe_in_service(ScaleClass::III, mass("0.1"), mass("1000.1")), None);
    assert!(mpe(ScaleClass::III, mass("0.1"), mass("1000")).is_some());
    assert!(mpe(ScaleClass::I, mass("0.001"), mass("5000")).is_some());
    assert_eq!(mpe(ScaleClass::I, Mass::ZERO, mass("1")), None);
}

#[test]
fn half_an_odd_interval_is_rounded_up_and_doubled_exactly() {
    let odd = mass("0.00001");
    assert_eq!(mpe(ScaleClass::I, odd, mass("0.1")), Some(odd));
    assert_eq!(mpe_in_service(ScaleClass::I, odd, mass("0.1")), Some(odd));
}

#[test]
fn guard_band_and_uncertainty() {
    // Computed in exact fractions with Python from u^2 = MPE^2/3 + s^2 + d^2/6: w = 1.645 u and U = 2 u, each rounded up
    // to a multiple of d, and U rounded up to 10 micrograms. The first: u = 0.013638 g.
    for (permitted, s, d, w, u, u_fine) in [
        ("0.02", "0.006", "0.01", "0.03", "0.03", "0.02728"),
        ("0.10", "0.03", "0.01", "0.11", "0.14", "0.13039"),
        ("0.005", "0.0015", "0.001", "0.006", "0.007", "0.00656"),
        ("0", "0", "0.01", "0.01", "0.01", "0.00817"),
        ("0.01", "0", "0.01", "0.02", "0.02", "0.01415"),
        ("0.15", "0.05", "0.1", "0.2", "0.3", "0.21603"),
        ("0.02", "0.01", "0.02", "0.04", "0.04", "0.03465"),
        // No scale is so coarse and so fine at once; it shows every digit of 1.645 squared.
        (
            "10000",
            "0",
            "0.00001",
            "9497.41193",
            "11547.00539",
            "11547.00539",
        ),
    ] {
        let (m, s, d) = (mass(permitted), mass(s), mass(d));
        assert_eq!(guard_band(m, s, d), Some(mass(w)), "w of {permitted}, {s}, {d}");
        assert_eq!(
            expanded_uncertainty(m, s, d),
            Some(mass(u)),
            "U of {permitted}, {s}, {d}"
        );
        assert_eq!(
            expanded_uncertainty_fine(m, s, d),
            Some(mass(u_fine)),
            "fine U of {permitted}, {s}, {d}"
        );
    }
    assert_eq!(guard_band(mass("0.02"), mass("0.006"), Mass::ZERO), None);
    assert_eq!(expanded_uncertainty(Mass::MAX, Mass::MAX, Mass::MAX), None);
}

#[test]
fn an_uncertainty_that_comes_out_even_is_not_rounded_further() {
    // By hand: MPE 0.01, s 0, d 0.02 give 6 u^2 = 0.0002 + 0.0004 = 0.0006, so u = 0.01 and U = 0.02 exactly: one step.
    assert_eq!(
        expanded_uncertainty_fine(mass("0.01"), Mass::ZERO, mass("0.02")),
        Some(mass("0.02"))
    );
    assert_eq!(
        expanded_uncertainty(mass("0.01"), Mass::ZERO, mass("0.02")),
        Some(mass("0.02"))
    );
}

#[test]
fn a_reading_is_graded_with_its_guard_band() {
    use LimitGrade::{Accepted, Borderline, Over, Under};
    let grade = |text| grade_by_limits(mass(text), mass("100.00"), Some(mass("102.00")), mass("0.03"));
    for (reading, expected) in [
        ("99.97", Under),
        ("99.98", Borderline),
        ("99.99", Borderline),
        ("100.00", Borderline),
        ("100.02", Borderline),
        ("100.03", Accepted),
        ("101.97", Accepted),
        ("101.98", Borderline),
        ("102.02", Borderline),
        ("102.03", Over),
        ("0", Under),
    ] {
        assert_eq!(grade(reading), expected, "{reading}");
    }
    // Without an upper limit nothing is over.
    assert_eq!(
        grade_by_limits(Mass::MAX, mass("100"), None, mass("0.03")),
        Accepted
    );
    // A guard band wider than the limits leaves nothing to accept.
    assert_eq!(
        grade_by_limits(mass("1.5"), mass("1"), Some(mass("2")), mass("0.6")),
        Borderline
    );
    // A lower limit of zero: nothing can be under by a band.
    assert_eq!(
        grade_by_limits(Mass::ZERO, Mass::ZERO, None, mass("0.03")),
        Borderline
    );
    assert_eq!(serde_json::to_string(&Borderline).unwrap(), "\"borderline\"");
}

#[test]
fn a_reading_supports_itself_less_its_uncertainty() {
    assert_eq!(at_least(mass("50.42"), mass("0.03")).to_string(), "50.39");
    assert_eq!(at_least(mass("0.02"), mass("0.03")), Mass::ZERO);
}

proptest! {
    #[test]
    fn a_band_is_the_smallest_multiple_that_suffices(
        m in 0_i64..20_000, s in 0_i64..20_000, d in 1_i64..20_000,
    ) {
        let units = |count| Mass::from_units(count).unwrap();
        let six_variances = i128::from(2 * m * m + 6 * s * s + d * d);
        let suffices = |band: i64, above: i128, below: i128| {
            below * i128::from(band) * i128::from(band) >= above * six_variances
        };
        let w = guard_band(units(m), units(s), units(d)).unwrap().units();
        prop_assert!(w % d == 0 && suffices(w, 2_706_025, 6_000_000) && !suffices(w - d, 2_706_025, 6_000_000));
        let u = expanded_uncertainty(units(m), units(s), units(d)).unwrap().units();
        prop_assert!(u % d == 0 && suffices(u, 4, 6) && !suffices(u - d, 4, 6));
        let fine = expanded_uncertainty_fine(units(m), units(s), units(d)).unwrap().units();
        prop_assert!(suffices(fine, 4, 6) && !suffices(fine - 1, 4, 6) && fine <= u);
    }

    #[test]
    fn grades_follow_the_reading_upwards(
        low in 0_i64..10_000, width in 0_i64..10_000, guard in 0_i64..10_000, x in 0_i64..20_000,
    ) {
        let units = |count| Mass::from_units(count).unwrap();
        let grade = grade_by_limits(units(x), units(low), Some(units(low + width)), units(guard));
        if grade == LimitGrade::Accepted {
            prop_assert!(x - guard >= low && x + guard <= low + width);
        }
        if grade == LimitGrade::Under {
            prop_assert!(x + guard <= low);
        }
        if grade == LimitGrade::Over {
            prop_assert!(x - guard >= low + width);
        }
    }
}
