//! Exact fractions, and the one rounded division.

use pourbook::metal::Ratio;
use pourbook::metal::Rounding::{Down, HalfUp, Up};
use proptest::prelude::*;

fn ratio(text: &str) -> Ratio {
    text.parse().unwrap()
}

#[test]
fn shares_through_a_remelt_add_up() {
    // Worked by hand. Lots A and B give 300 g and 200 g to a first melt, so it is 3/5 of A. A second melt takes 399.5 g
    // of that and 200 g of B: its share of A is 3/5 * 399.5/599.5 = 2397/5995.
    let first = Ratio::new(300, 500).unwrap();
    assert_eq!(first, ratio("3/5"));
    let second = first.checked_mul(Ratio::new(3995, 5995).unwrap()).unwrap();
    assert_eq!(second, ratio("2397/5995"));
    let of_b = Ratio::ONE.checked_sub(second).unwrap();
    assert_eq!(second.checked_add(of_b), Some(Ratio::ONE));
    assert_eq!(second.to_decimal(5, HalfUp).unwrap(), "0.39983");
}

#[test]
fn a_fraction_has_one_spelling() {
    for text in [
        "6/10", "3/5 ", "03/5", "3/05", "3", "/5", "3/", "3/0", "0/0", "0/2", "-3/5", "3/5/1", "", "1.0/2",
    ] {
        assert!(text.parse::<Ratio>().is_err(), "{text:?}");
    }
    for text in ["0/1", "1/1", "3/5", "340282366920938463463374607431768211455/1"] {
        assert_eq!(ratio(text).to_string(), text);
    }
    assert_eq!(serde_json::to_string(&ratio("3/5")).unwrap(), "\"3/5\"");
    assert!(serde_json::from_str::<Ratio>("0.6").is_err());
    assert_eq!(Ratio::new(1, 0), None);
}

#[test]
fn a_fraction_that_does_not_fit_is_none_and_still_compares() {
    let (big, bigger) = (Ratio::new(u128::MAX - 1, u128::MAX).unwrap(), Ratio::ONE);
    assert!(big < bigger);
    let third = Ratio::new(u128::MAX / 2, u128::MAX - 1).unwrap();
    assert_eq!(big.checked_mul(third.checked_mul(ratio("1/2")).unwrap()), None);
    assert_eq!(Ratio::new(u128::MAX, 1).unwrap().checked_add(Ratio::ONE), None);
    assert_eq!(Ratio::ZERO.checked_sub(Ratio::ONE), None);
    assert_eq!(Ratio::new(u128::MAX, 1).unwrap().to_decimal(1, Down), None);
    assert_eq!(ratio("1/2").to_decimal(u32::MAX, Down), None);
}

#[test]
fn a_division_rounds_by_its_rule() {
    for (above, below, down, half_up, up) in [
        (5, 2, 2, 3, 3),
        (7, 3, 2, 2, 3),
        (8, 3, 2, 3, 3),
        (6, 3, 2, 2, 2),
        (0, 3, 0, 0, 0),
        (u128::MAX - 1, u128::MAX, 0, 1, 1),
    ] {
        let by = |rule: pourbook::metal::Rounding| rule.divide(above, below).unwrap();
        assert_eq!(
            (by(Down), by(HalfUp), by(Up)),
            (down, half_up, up),
            "{above}/{below}"
        );
    }
    assert_eq!(HalfUp.divide(1, 0), None);
    assert_eq!(serde_json::to_string(&HalfUp).unwrap(), "\"half-up\"");
}

proptest! {
    #[test]
    fn the_order_of_fractions_is_that_of_their_cross_products(
        a in any::<u64>(), b in 1_u64.., c in any::<u64>(), d in 1_u64..,
    ) {
        let (left, right) = (Ratio::new(a.into(), b.into()).unwrap(), Ratio::new(c.into(), d.into()).unwrap());
        let crossed = (u128::from(a) * u128::from(d)).cmp(&(u128::from(c) * u128::from(b)));
        prop_assert_eq!(left.cmp(&right), crossed);
        prop_assert_eq!(left == right, crossed.is_eq());
    }

    #[test]
    fn adding_and_taking_away_come_back(a in any::<u32>(), b in 1_u32.., c in any::<u32>(), d in 1_u32..) {
        let (left, right) = (Ratio::new(a.into(), b.into()).unwrap(), Ratio::new(c.into(), d.into()).unwrap());
        let sum = left.checked_add(right).unwrap();
        prop_assert_eq!(sum.checked_sub(right), Some(left));
        prop_assert_eq!(sum, right.checked_add(left).unwrap());
        prop_assert_eq!(sum.to_string().parse::<Ratio>().unwrap(), sum);
    }
}
