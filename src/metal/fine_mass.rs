//! Fine mass: mass times fineness, exact, and what results when metals are mixed.
//!
//! A step of mass (10 micrograms) times a step of fineness (one ten-millionth) is one picogram, so a fine mass is a whole
//! number of picograms and sums of fine masses are exact. Deliberately absent: rounding before the figure is printed.

use std::fmt;
use std::str::FromStr;

use super::digits::{Unreadable, fixed_text, read_count, serde_as_text, write_count};
use super::fineness::{Fineness, PURE_COUNT};
use super::mass::Mass;
use super::ratio::Ratio;
use super::rounding::Rounding;
use super::troy;

/// Decimals of a gram in which a fine mass is whole: picograms.
pub(super) const FINE_DECIMALS: u32 = 12;
/// Beyond a million times the largest mass nothing is summed.
const PICOGRAMS_MAX: i128 = 100_000_000_000_000_000_000_000_000;
const FINE_LIMIT: &str = "100000000000000 g";

/// Fine metal as an exact count of picograms. Below zero it is a difference of two fine masses.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FineMass(i128);

/// The fine metal in a mass of the given fineness, exactly.
#[must_use]
pub fn fine_mass(mass: Mass, fineness: Fineness) -> FineMass {
    FineMass(i128::from(mass.units()) * i128::from(fineness.units()))
}

impl FineMass {
    /// No fine metal.
    pub const ZERO: Self = Self(0);

    /// The count of picograms, with its sign.
    #[must_use]
    pub const fn picograms(self) -> i128 {
        self.0
    }

    /// A fine mass from a count of picograms; `None` beyond 10^14 g on either side.
    #[must_use]
    pub const fn from_picograms(picograms: i128) -> Option<Self> {
        if picograms < -PICOGRAMS_MAX || picograms > PICOGRAMS_MAX {
            None
        } else {
            Some(Self(picograms))
        }
    }

    /// The sum; `None` beyond what a fine mass can hold.
    #[must_use]
    pub fn checked_add(self, other: Self) -> Option<Self> {
        Self::from_picograms(self.0.checked_add(other.0)?)
    }

    /// The difference, which may be below zero; `None` beyond what a fine mass can hold.
    #[must_use]
    pub fn checked_sub(self, other: Self) -> Option<Self> {
        Self::from_picograms(self.0.checked_sub(other.0)?)
    }

    /// The sum of many; `None` beyond what a fine mass can hold.
    #[must_use]
    pub fn checked_sum(masses: impl IntoIterator<Item = Self>) -> Option<Self> {
        masses.into_iter().try_fold(Self::ZERO, Self::checked_add)
    }

    /// Grams with exactly `decimals` decimals (at most twelve) by the given rule.
    #[must_use]
    pub fn grams(self, decimals: u32, rounding: Rounding) -> String {
        let decimals = decimals.min(FINE_DECIMALS);
        let dropped = 10_u128.pow(FINE_DECIMALS - decimals);
        let count = rounding.divide(self.0.unsigned_abs(), dropped).unwrap_or(0);
        fixed_text(self.0 < 0, count, decimals)
    }

    /// Grams with exactly `decimals` decimals (at most twelve), rounded half up.
    #[must_use]
    pub fn to_text(self, decimals: u32) -> String {
        self.grams(decimals, Rounding::HalfUp)
    }

    /// Troy ounces of fine metal with exactly `decimals` decimals (at most nine) by the given rule.
    #[must_use]
    pub fn troy_ounces(self, decimals: u32, rounding: Rounding) -> String {
        troy::ounces_text(
            self.0 < 0,
            self.0.unsigned_abs(),
            troy::OUNCE_PICOGRAMS,
            decimals,
            rounding,
        )
    }
}

/// Grams, exact, with at least two decimals and more only where they are needed.
impl fmt::Display for FineMass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_count(f, self.0 < 0, self.0.unsigned_abs(), FINE_DECIMALS, 2)
    }
}

impl FromStr for FineMass {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let (negative, size) = text.strip_prefix('-').map_or((false, text), |size| (true, size));
        let count = read_count(size, FINE_DECIMALS, PICOGRAMS_MAX.unsigned_abs(), FINE_LIMIT)?;
        let picograms = i128::try_from(count).map_err(|_| Unreadable::TooLarge(FINE_LIMIT))?;
        match (negative, picograms) {
            (true, 0) => Err(Unreadable::NotANumber(text.to_owned())),
            (true, picograms) => Ok(Self(-picograms)),
            (false, picograms) => Ok(Self(picograms)),
        }
    }
}

serde_as_text!(FineMass);

/// The fineness of a mixture as an exact fraction of the whole: the sum of mass times fineness over the sum of mass.
///
/// `None` when there is no metal or more than can be summed. The model is a well-mixed melt without loss.
#[must_use]
pub fn blend(parts: &[(Mass, Fineness)]) -> Option<Ratio> {
    let fine = FineMass::checked_sum(parts.iter().map(|(mass, fineness)| fine_mass(*mass, *fineness)))?;
    let whole = parts
        .iter()
        .try_fold(0_u128, |sum, (mass, _)| sum.checked_add(mass.count()))?;
    Ratio::new(fine.0.unsigned_abs(), whole.checked_mul(u128::from(PURE_COUNT))?)
}

/// The fineness that may be claimed of a mixture: [`blend`] rounded down to `decimals` (at most four) of a part per
/// thousand.
#[must_use]
pub fn blend_fineness(parts: &[(Mass, Fineness)], decimals: u32) -> Option<Fineness> {
    Fineness::floor_from(blend(parts)?, decimals)
}
