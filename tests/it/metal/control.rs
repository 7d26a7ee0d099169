//! The individuals chart against the handbook's worked example, and by what must hold for any figures.

use pourbook::metal::control::{FIGURES_LEAST, Figure, Judged, limits, mean, parts_per_million, usual};
use pourbook::metal::{Mass, MassDifference};
use proptest::prelude::*;

fn figures(values: &[f64]) -> Vec<Figure> {
    values.iter().map(|value| Figure::new(*value).unwrap()).collect()
}

/// The flow rates of ten batches, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 "Individuals control charts":
/// mean 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041. From memory; the arithmetic was done again by hand.
#[test]
fn the_handbooks_ten_batches_have_the_handbooks_limits() {
    let batches = figures(&[49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]);
    let usual = usual(&batches).unwrap();
    for (found, published) in [
        (usual.centre, 50.81),
        (usual.lower, 45.8159),
        (usual.upper, 55.8041),
    ] {
        assert!(
            (found.value() - published).abs() < 0.000_06,
            "{found} {published}"
        );
    }
    assert_eq!(
        batches
            .iter()
            .filter(|batch| usual.judge(**batch) != Judged::Within)
            .count(),
        0
    );
}

#[test]
fn nothing_is_usual_before_ten_figures() {
    let ten = figures(&[1.0, 2.0, 1.0, 2.0, 1.0, 2.0, 1.0, 2.0, 1.0, 2.0]);
    assert_eq!(FIGURES_LEAST, 10);
    assert_eq!(usual(&ten[..9]), None);
    assert!(usual(&ten).is_some());
    assert_eq!(usual(&[]), None);
    assert_eq!(mean(&[]), None);
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert_eq!(Figure::new(bad), None);
    }
}

/// A figure far off is found even if it was among the first, and what it did to the limits is undone.
#[test]
fn one_that_is_far_off_does_not_excuse_another() {
    let mut values = vec![
        520.0, 480.0, 420.0, 640.0, 43_361.0, 460.0, 500.0, 550.0, 451.0, 575.0, 480.0, 655.0,
    ];
    values.push(4_000.0);
    let all = figures(&values);
    let first = limits(&all).unwrap();
    assert_eq!(first.judge(all[12]), Judged::Within, "hidden at first");
    let usual = usual(&all).unwrap();
    let outside: Vec<f64> = all
        .iter()
        .filter(|figure| usual.judge(**figure) == Judged::Above)
        .map(|figure| figure.value())
        .collect();
    assert_eq!(outside, [43_361.0, 4_000.0]);
    assert_eq!(usual.judge(Figure::new(-3_000.0).unwrap()), Judged::Below);
}

/// Twenty figures that rise by one each: their standard deviation is 5.92, which would call all of them usual; the moving
/// range is one.
#[test]
fn a_drift_does_not_hide_itself() {
    let rising: Vec<f64> = (1..=20).map(f64::from).collect();
    let first = limits(&figures(&rising)).unwrap();
    assert!((first.upper.value() - (10.5 + 3.0 / 1.128)).abs() < 1e-9);
    assert_eq!(first.judge(Figure::new(20.0).unwrap()), Judged::Above);
}

#[test]
fn parts_per_million_are_of_the_charge_and_signed() {
    let mass = |text| Mass::parse(text).unwrap();
    let lost = |text| MassDifference::parse(text).unwrap();
    let told = |loss, charge| parts_per_million(lost(loss), mass(charge)).map(|figure| figure.to_string());
    assert_eq!(told("0.50", "250").as_deref(), Some("2000.0"));
    assert_eq!(told("-0.03", "480").as_deref(), Some("-62.5"));
    assert_eq!(told("0", "480").as_deref(), Some("0.0"));
    assert_eq!(told("1", "0"), None);
    assert_eq!(told("0", "0"), None);
}

proptest! {
    /// Whatever the figures are, limits are finite and the centre lies between them; moved together, the limits move too.
    #[test]
    fn limits_are_finite_and_move_with_their_figures(
        values in prop::collection::vec(prop::num::f64::NORMAL, 0..40),
        by in -1000_i32..1000,
    ) {
        if let Some(usual) = usual(&figures(&values)) {
            for limit in [usual.lower, usual.centre, usual.upper] {
                prop_assert!(limit.value().is_finite());
            }
            prop_assert!(usual.lower <= usual.centre && usual.centre <= usual.upper);
        }
        let small: Vec<f64> = values.iter().map(|value| (value % 1000.0).round()).collect();
        let moved: Vec<f64> = small.iter().map(|value| value + f64::from(by)).collect();
        if let (Some(here), Some(there)) = (limits(&figures(&small)), limits(&figures(&moved))) {
            prop_assert!((there.upper.value() - here.upper.value() - f64::from(by)).abs() < 1e-6);
            prop_assert!((there.lower.value() - here.lower.value() - f64::from(by)).abs() < 1e-6);
        }
    }
}
