//! Fineness: parts per thousand of the fine metal, as an exact count of 0.0001 parts per thousand.
//!
//! Deliberately absent: carats, named standards and the tolerances of assay methods. Those are rows of dated tables.

use std::fmt;
use std::str::FromStr;

use super::digits::{Unreadable, read_count, serde_as_text, write_count};
use super::ratio::Ratio;
use super::rounding::Rounding;

/// Decimals of a part per thousand that a fineness can hold.
pub(super) const FINENESS_DECIMALS: u32 = 4;
/// The count of pure metal: 1000 parts per thousand.
pub(super) const PURE_COUNT: u32 = 10_000_000;
const FINENESS_LIMIT: &str = "1000 parts per thousand";

/// A fineness from 0 to 1000 parts per thousand, exact to 0.0001.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Fineness(u32);

impl Fineness {
    /// None of the metal: alloy metal as seen from the precious one. It is made here only; no text reads as zero.
    pub const ZERO: Self = Self(0);
    /// Pure metal, 1000 parts per thousand.
    pub const PURE: Self = Self(PURE_COUNT);

    /// A fineness from a count of 0.0001 parts per thousand; `None` beyond 1000 parts per thousand.
    #[must_use]
    pub const fn from_units(units: u32) -> Option<Self> {
        if units > PURE_COUNT {
            None
        } else {
            Some(Self(units))
        }
    }

    /// The count of 0.0001 parts per thousand.
    #[must_use]
    pub const fn units(self) -> u32 {
        self.0
    }

    /// Reads parts per thousand: plain digits with at most four decimals, above 0 and at most 1000.
    ///
    /// # Errors
    /// The fact that keeps the text from being a fineness.
    pub fn parse(text: &str) -> Result<Self, Unreadable> {
        let count = read_count(text, FINENESS_DECIMALS, u128::from(PURE_COUNT), FINENESS_LIMIT)?;
        match u32::try_from(count) {
            Ok(0) => Err(Unreadable::Zero),
            Ok(units) => Ok(Self(units)),
            Err(_) => Err(Unreadable::TooLarge(FINENESS_LIMIT)),
        }
    }

    /// The fineness as an exact fraction of the whole.
    #[must_use]
    pub fn to_ratio(self) -> Ratio {
        Ratio::new(u128::from(self.0), u128::from(PURE_COUNT)).unwrap_or(Ratio::ZERO)
    }

    /// The fineness that may be claimed of a blend: the fraction rounded **down** to `decimals` (at most four) of a part
    /// per thousand, since a claim never exceeds the metal. `None` for a fraction above one or too long to compute.
    #[must_use]
    pub fn floor_from(fraction: Ratio, decimals: u32) -> Option<Self> {
        let dropped = 10_u128.checked_pow(FINENESS_DECIMALS.checked_sub(decimals)?)?;
        let steps = u128::from(PURE_COUNT).checked_div(dropped)?;
        let count =
            Rounding::Down.divide(fraction.numerator().checked_mul(steps)?, fraction.denominator())?;
        Self::from_units(u32::try_from(count.checked_mul(dropped)?).ok()?)
    }
}

/// Parts per thousand with at least one decimal: `999.0`, `958.4`, `916.6667`.
impl fmt::Display for Fineness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_count(f, false, u128::from(self.0), FINENESS_DECIMALS, 1)
    }
}

impl FromStr for Fineness {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        Self::parse(text)
    }
}

serde_as_text!(Fineness);
