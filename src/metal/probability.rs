//! Probability: the normal distribution, and how probable it is that a piece conforms, given a reading.
//!
//! The probability of conformity is that of JCGM 106:2012, 7.4, for a reading whose error is normal and a flat prior: a
//! workshop's spread is much wider than the uncertainty of its scale. The error function is a library's. Deliberately
//! absent: a decision. Decisions are made in whole numbers by the guard band of `tolerance`.
#![expect(clippy::float_arithmetic, reason = "statistics: a probability is a float")]

use std::fmt;
use std::str::FromStr;

use statrs::function::erf::erfc;

use super::digits::{Unreadable, read_count, serde_as_text};
use super::floats::{count, grams};
use super::mass::Mass;

/// Decimals that a probability is read with.
const PROBABILITY_DECIMALS: u32 = 9;
const PROBABILITY_ONE: u32 = 1_000_000_000;
/// What is printed of a probability that is neither nought nor one never reads as either.
const SHOWN_LEAST: f64 = 0.000_001;

/// A probability, from 0 to 1.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Probability(f64);

impl Probability {
    /// A probability; `None` for what is not a number from 0 to 1. What rounding put a hair outside is put back.
    #[must_use]
    pub fn new(value: f64) -> Option<Self> {
        (value > -1e-9 && value < 1.0 + 1e-9).then(|| Self(value.clamp(0.0, 1.0)))
    }

    /// The probability as a number from 0 to 1.
    #[must_use]
    pub const fn value(self) -> f64 {
        self.0
    }

    /// Whether it is neither impossible nor certain.
    #[must_use]
    pub fn is_open(self) -> bool {
        self.0 > 0.0 && self.0 < 1.0
    }
}

/// Six decimals. What is neither impossible nor certain is printed as neither.
impl fmt::Display for Probability {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let shown = if self.is_open() {
            self.0.clamp(SHOWN_LEAST, 1.0 - SHOWN_LEAST)
        } else {
            self.0
        };
        write!(f, "{shown:.6}")
    }
}

impl FromStr for Probability {
    type Err = Unreadable;

    /// Reads plain digits from 0 to 1 with at most nine decimals, such as `0.95`.
    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let units = read_count(
            text,
            PROBABILITY_DECIMALS,
            u128::from(PROBABILITY_ONE),
            "1, which is certain",
        )?;
        let units = u64::try_from(units).unwrap_or_default();
        Ok(Self(count(units) / f64::from(PROBABILITY_ONE)))
    }
}

serde_as_text!(Probability);

/// The standard normal distribution function: the probability of a value up to `z`. Exact to about 1e-15 of itself.
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// The probability of a value between two bounds of the standard normal distribution, `low <= high`.
///
/// In either tail the difference is taken on the side where both figures are small, so that it keeps its digits.
#[must_use]
pub fn normal_between(low: f64, high: f64) -> f64 {
    if low > 0.0 {
        normal_cdf(-low) - normal_cdf(-high)
    } else {
        normal_cdf(high) - normal_cdf(low)
    }
}

/// The probability that the mass itself stands within limits, given a reading with the standard uncertainty `u` grams.
///
/// `p = Phi((upper - x)/u) - Phi((lower - x)/u)`; without an upper limit the first term is one. Source: JCGM 106:2012,
/// 7.4. `None` for an uncertainty that is not above zero, or limits in the wrong order. It is never nought or one: a
/// reading is no proof.
#[must_use]
pub fn conformity(reading: Mass, u: f64, lower: Mass, upper: Option<Mass>) -> Option<Probability> {
    if !(u > 0.0 && u.is_finite()) || upper.is_some_and(|upper| upper < lower) {
        return None;
    }
    // Differences of masses are exact; only their quotients are floats.
    let from = |limit: Mass| signed(limit, reading) / u;
    let low = from(lower);
    let p = upper.map_or_else(|| normal_cdf(-low), |upper| normal_between(low, from(upper)));
    Some(Probability(p.clamp(f64::MIN_POSITIVE, 1.0 - f64::EPSILON)))
}

/// One mass less another in grams.
pub(super) fn signed(one: Mass, other: Mass) -> f64 {
    let difference = one.minus(other);
    let size = grams(difference.magnitude());
    if difference.is_negative() { -size } else { size }
}

/// The standard uncertainty of one weighing in grams: `u^2 = (MPE/sqrt 3)^2 + s^2 + 2 (d/sqrt 12)^2`, the model of
/// `tolerance`.
#[must_use]
pub fn standard_uncertainty(mpe: Mass, s: Mass, d: Mass) -> f64 {
    let square = |mass: Mass| grams(mass) * grams(mass);
    (square(mpe) / 3.0 + square(s) + square(d) / 6.0).sqrt()
}
