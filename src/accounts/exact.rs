//! Exact fractions as they are written: whole in themselves, and rounded once where they are printed.

use crate::metal::Money;
use num_bigint::{BigInt, BigUint};
use num_integer::Integer as _;
use num_rational::BigRational;
use num_traits::{One as _, Signed as _, Zero as _};
use std::collections::BTreeMap;

/// Steps of mass in a gram: a step is 10 micrograms.
const UNITS_OF_A_GRAM: i64 = 100_000;
/// Picograms in a gram.
const PICOGRAMS_OF_A_GRAM: i64 = 1_000_000_000_000;
/// Decimals of a gram that are printed: 0.01 mg.
pub const GRAM_DECIMALS: u32 = 5;

/// A whole number as a fraction.
#[must_use]
pub fn whole(number: impl Into<BigInt>) -> BigRational {
    BigRational::from_integer(number.into())
}

/// A fraction of whole numbers that are not negative; zero over nothing.
#[must_use]
pub fn part(above: &BigUint, below: &BigUint) -> BigRational {
    let (mut above, mut below) = (above.clone(), below.clone());
    if below.is_zero() || above.is_zero() {
        return BigRational::zero();
    }
    // Halving both as often as goes is quick; over a power of two, as shares are once they were cut off, it is all.
    let halves = above.trailing_zeros().min(below.trailing_zeros()).unwrap_or(0);
    above >>= halves;
    below >>= halves;
    if below.bits().checked_sub(1) == below.trailing_zeros() {
        return BigRational::new_raw(above.into(), below.into());
    }
    BigRational::new(above.into(), below.into())
}

/// One over another; `None` over zero.
#[must_use]
pub fn over(above: &BigRational, below: &BigRational) -> Option<BigRational> {
    (!below.is_zero()).then(|| above / below)
}

/// A fraction times a whole number. The fraction is in its lowest terms, so only the small number need be held against
/// it: a division of long numbers for each piece would cost more than all the rest.
#[must_use]
pub fn times(fraction: &BigRational, number: i64) -> BigRational {
    if number == 0 {
        return BigRational::zero();
    }
    let size = BigInt::from(number.unsigned_abs());
    let shared = (fraction.denom() % &size).gcd(&size);
    BigRational::new_raw(
        fraction.numer() * (BigInt::from(number) / &shared),
        fraction.denom() / shared,
    )
}

/// A fraction over a whole number; zero over zero. As [`times`], it spares the long division.
#[must_use]
pub fn by(fraction: &BigRational, number: i64) -> BigRational {
    if number == 0 {
        return BigRational::zero();
    }
    let size = BigInt::from(number.unsigned_abs());
    let shared = (fraction.numer() % &size).gcd(&size);
    let above = fraction.numer() / &shared;
    let below = fraction.denom() * (size / shared);
    BigRational::new_raw(if number < 0 { -above } else { above }, below)
}

/// The sum of products of whole numbers and fractions, over a whole number: one fraction is made at the end.
#[must_use]
pub fn sum_of_products(products: &[(&BigUint, &BigRational)], below: &BigUint) -> BigRational {
    let denominators = products.iter().map(|(_, factor)| factor.denom());
    let over_all = denominators.fold(BigInt::one(), |so_far, denominator| so_far.lcm(denominator));
    let scaled = products.iter().map(|(number, factor)| {
        BigInt::from((*number).clone()) * factor.numer() * (&over_all / factor.denom())
    });
    let sum: BigInt = scaled.sum();
    let size = part(sum.magnitude(), &(below * over_all.magnitude()));
    if sum.is_negative() { -size } else { size }
}

/// The sum of many fractions, few of which differ in what they are over: those are summed first.
#[must_use]
pub fn sum<'a>(fractions: impl Iterator<Item = &'a BigRational>) -> BigRational {
    let mut by_denominator: BTreeMap<&BigInt, BigInt> = BTreeMap::new();
    for fraction in fractions {
        *by_denominator.entry(fraction.denom()).or_default() += fraction.numer();
    }
    let mut over_all = BigInt::one();
    for denominator in by_denominator.keys() {
        let shared = (&over_all % *denominator).gcd(denominator);
        over_all *= *denominator / shared;
    }
    let scaled = by_denominator
        .iter()
        .map(|(denominator, numerator)| numerator * (&over_all / *denominator));
    let sum: BigInt = scaled.sum();
    let size = part(sum.magnitude(), over_all.magnitude());
    if sum.is_negative() { -size } else { size }
}

/// The fraction in its lowest terms, always with both numbers: `2397/5995`, `0/1`.
#[must_use]
pub fn text(fraction: &BigRational) -> String {
    format!("{}/{}", fraction.numer(), fraction.denom())
}

/// The fraction with so many decimals, its size rounded half up.
#[must_use]
pub fn rounded(fraction: &BigRational, decimals: u32) -> String {
    let count = rounded_count(fraction, decimals);
    count_text(&count, decimals)
}

/// The fraction in steps of the last decimal, its size rounded half up.
#[must_use]
pub fn rounded_count(fraction: &BigRational, decimals: u32) -> BigInt {
    let steps = BigInt::from(BigUint::from(10_u8).pow(decimals));
    let twice: BigInt = (fraction.numer() * steps).abs() * 2 + fraction.denom();
    let count: BigInt = twice / (fraction.denom() * 2);
    if fraction.is_negative() { -count } else { count }
}

/// A count of steps of the last decimal, as a decimal number.
#[must_use]
pub fn count_text(count: &BigInt, decimals: u32) -> String {
    let places = usize::try_from(decimals).unwrap_or(usize::MAX).min(4_096);
    let digits = format!("{:0>width$}", count.magnitude(), width = places.saturating_add(1));
    let (whole, rest) = digits.split_at(digits.len().saturating_sub(places));
    let sign = if count.is_negative() { "-" } else { "" };
    match rest {
        "" => format!("{sign}{whole}"),
        rest => format!("{sign}{whole}.{rest}"),
    }
}

/// Grams of a fraction of steps of mass.
#[must_use]
pub fn grams_of_units(units: &BigRational) -> BigRational {
    by(units, UNITS_OF_A_GRAM)
}

/// Grams of a fraction of picograms.
#[must_use]
pub fn grams_of_picograms(picograms: &BigRational) -> BigRational {
    by(picograms, PICOGRAMS_OF_A_GRAM)
}

/// An amount of money, without its currency.
#[must_use]
pub fn amount(money: Money) -> BigRational {
    let amount = money.amount();
    let below = BigInt::from(10_u8).pow(amount.scale());
    BigRational::new(BigInt::from(amount.mantissa()), below)
}

/// Grams, exact and rounded to 0.01 mg.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Grams {
    /// The fraction.
    pub exact: String,
    /// With five decimals, rounded half up for itself.
    pub grams: String,
}

impl Grams {
    /// Of a fraction of grams.
    #[must_use]
    pub fn of(grams: &BigRational) -> Self {
        Self {
            exact: text(grams),
            grams: rounded(grams, GRAM_DECIMALS),
        }
    }

    /// Of a fraction of steps of mass.
    #[must_use]
    pub fn of_units(units: &BigRational) -> Self {
        Self::of(&grams_of_units(units))
    }

    /// Of a fraction of picograms.
    #[must_use]
    pub fn of_picograms(picograms: &BigRational) -> Self {
        Self::of(&grams_of_picograms(picograms))
    }
}
