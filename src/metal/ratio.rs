//! An exact fraction, never negative: shares of lots in a melt, the part of a piece that is traced, the result of a blend.
//!
//! Every operation is checked: a fraction that grows beyond 128 bits is `None`, never a rounded one. Deliberately absent:
//! rounding a fraction to a shorter one, which is a decision of whoever records the residue.

use std::cmp::Ordering;
use std::fmt;
use std::str::FromStr;

use super::digits::{Unreadable, fixed_text, quote, read_count, serde_as_text};
use super::rounding::Rounding;

/// A fraction in lowest terms. Zero is 0/1 and one is 1/1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Ratio {
    numerator: u128,
    denominator: u128,
}

impl Ratio {
    /// Nothing.
    pub const ZERO: Self = Self {
        numerator: 0,
        denominator: 1,
    };
    /// The whole.
    pub const ONE: Self = Self {
        numerator: 1,
        denominator: 1,
    };

    /// A fraction in lowest terms; `None` when the denominator is zero.
    #[must_use]
    pub fn new(numerator: u128, denominator: u128) -> Option<Self> {
        let divisor = greatest_common_divisor(numerator, denominator);
        if denominator == 0 {
            return None;
        }
        Some(Self {
            numerator: numerator.checked_div(divisor)?,
            denominator: denominator.checked_div(divisor)?,
        })
    }

    /// The number above the line, in lowest terms.
    #[must_use]
    pub const fn numerator(self) -> u128 {
        self.numerator
    }

    /// The number below the line, in lowest terms, never zero.
    #[must_use]
    pub const fn denominator(self) -> u128 {
        self.denominator
    }

    /// The sum, exact; `None` when it does not fit.
    #[must_use]
    pub fn checked_add(self, other: Self) -> Option<Self> {
        let (left, right, common) = self.over_common(other)?;
        Self::new(left.checked_add(right)?, common)
    }

    /// The difference, exact; `None` when it would be below zero or does not fit.
    #[must_use]
    pub fn checked_sub(self, other: Self) -> Option<Self> {
        let (left, right, common) = self.over_common(other)?;
        Self::new(left.checked_sub(right)?, common)
    }

    /// The product, exact; `None` when it does not fit.
    #[must_use]
    pub fn checked_mul(self, other: Self) -> Option<Self> {
        // Cancelling crosswise first keeps the factors as small as they can be.
        let a = Self::new(self.numerator, other.denominator)?;
        let b = Self::new(other.numerator, self.denominator)?;
        Self::new(
            a.numerator.checked_mul(b.numerator)?,
            a.denominator.checked_mul(b.denominator)?,
        )
    }

    /// The fraction as a decimal with exactly `decimals` decimals by the given rule; `None` when it does not fit.
    #[must_use]
    pub fn to_decimal(self, decimals: u32, rounding: Rounding) -> Option<String> {
        let scaled = self.numerator.checked_mul(10_u128.checked_pow(decimals)?)?;
        Some(fixed_text(
            false,
            rounding.divide(scaled, self.denominator)?,
            decimals,
        ))
    }

    /// Both numerators over the least common denominator.
    fn over_common(self, other: Self) -> Option<(u128, u128, u128)> {
        let divisor = greatest_common_divisor(self.denominator, other.denominator);
        let left_by = other.denominator.checked_div(divisor)?;
        let right_by = self.denominator.checked_div(divisor)?;
        let common = self.denominator.checked_mul(left_by)?;
        Some((
            self.numerator.checked_mul(left_by)?,
            other.numerator.checked_mul(right_by)?,
            common,
        ))
    }
}

fn greatest_common_divisor(a: u128, b: u128) -> u128 {
    let (mut a, mut b) = (a, b);
    while let Some(rest) = a.checked_rem(b) {
        (a, b) = (b, rest);
    }
    a
}

/// Compares by whole parts and then by the turned-over remainders, so that nothing is multiplied and nothing overflows.
fn compare(a: Ratio, b: Ratio) -> Ordering {
    let (mut a, mut b) = ((a.numerator, a.denominator), (b.numerator, b.denominator));
    let mut turned = false;
    loop {
        let order = match (a.0.checked_div(a.1), b.0.checked_div(b.1)) {
            // A zero denominator arises only from turning over a remainder of zero: that side is beyond every bound.
            (None, None) => return Ordering::Equal,
            (None, Some(_)) => Ordering::Greater,
            (Some(_), None) => Ordering::Less,
            (Some(left), Some(right)) => left.cmp(&right),
        };
        if order != Ordering::Equal {
            return if turned { order.reverse() } else { order };
        }
        a = (a.1, a.0.checked_rem(a.1).unwrap_or(0));
        b = (b.1, b.0.checked_rem(b.1).unwrap_or(0));
        turned = !turned;
    }
}

impl Ord for Ratio {
    fn cmp(&self, other: &Self) -> Ordering {
        compare(*self, *other)
    }
}

impl PartialOrd for Ratio {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// `numerator/denominator` in lowest terms, `0/1` and `1/1` included.
impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.numerator, self.denominator)
    }
}

impl FromStr for Ratio {
    type Err = Unreadable;

    /// Reads the form that `Display` writes and no other, so that a fraction has one spelling.
    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let refused = || Unreadable::NotAFraction(quote(text));
        let (above, below) = text.split_once('/').ok_or_else(refused)?;
        let read =
            |part| read_count(part, 0, u128::MAX, "a fraction of 128-bit numbers").map_err(|_| refused());
        let ratio = Self::new(read(above)?, read(below)?).ok_or_else(refused)?;
        if ratio.to_string() == text {
            Ok(ratio)
        } else {
            Err(refused())
        }
    }
}

serde_as_text!(Ratio);
