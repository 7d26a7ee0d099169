//! Mass: an exact count of 10 micrograms, never negative, and the difference of two masses, which may be.
//!
//! A step of 10 micrograms holds every reading of a class I balance of this trade and turns every sum into whole-number
//! arithmetic. Deliberately absent: a signed mass (a difference is its own type), units other than grams (see `troy`).

use std::fmt;
use std::str::FromStr;

use super::digits::{MassError, Unreadable, fixed_text, read_count, serde_as_text, write_count};
use super::rounding::Rounding;

/// Decimals of a gram that a mass can hold.
pub(super) const MASS_DECIMALS: u32 = 5;
/// Decimals that a mass is printed with even when they are zeros.
const SHOWN_DECIMALS_MIN: u32 = 2;
/// 100 tonnes, in steps of 10 micrograms.
const UNITS_MAX: i64 = 10_000_000_000_000;
pub(super) const MASS_LIMIT: &str = "100000000 g";

/// A mass as an exact count of 10 micrograms, from 0 up to 100 tonnes.
///
/// The limit is far beyond one workshop. It exists so that a slip of the keyboard is refused, that every mass that can
/// be summed can also be written and read back, and that squares of masses fit the arithmetic of `tolerance`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mass(i64);

impl Mass {
    /// No metal.
    pub const ZERO: Self = Self(0);
    /// 100 tonnes, the largest mass there is.
    pub const MAX: Self = Self(UNITS_MAX);

    /// A mass from a count of 10 micrograms; `None` below zero or beyond [`Mass::MAX`].
    #[must_use]
    pub const fn from_units(units: i64) -> Option<Self> {
        if units < 0 || units > UNITS_MAX {
            None
        } else {
            Some(Self(units))
        }
    }

    /// The count of 10 micrograms.
    #[must_use]
    pub const fn units(self) -> i64 {
        self.0
    }

    /// Reads grams: plain decimal digits with at most five decimals, no sign, exponent, comma, unit or blank.
    ///
    /// # Errors
    /// The fact that keeps the text from being a mass.
    pub fn parse(text: &str) -> Result<Self, MassError> {
        let units = read_count(text, MASS_DECIMALS, magnitude(UNITS_MAX), MASS_LIMIT)?;
        Self::from_count(units).ok_or(Unreadable::TooLarge(MASS_LIMIT))
    }

    /// Whether there is no metal at all.
    #[must_use]
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// The sum; `None` beyond [`Mass::MAX`].
    #[must_use]
    pub fn checked_add(self, other: Self) -> Option<Self> {
        Self::from_units(self.0.checked_add(other.0)?)
    }

    /// What remains; `None` when `other` is more than there is.
    #[must_use]
    pub fn checked_sub(self, other: Self) -> Option<Self> {
        Self::from_units(self.0.checked_sub(other.0)?)
    }

    /// This mass `times` over; `None` beyond [`Mass::MAX`].
    #[must_use]
    pub fn checked_mul(self, times: u32) -> Option<Self> {
        Self::from_units(self.0.checked_mul(i64::from(times))?)
    }

    /// The sum of many; `None` beyond [`Mass::MAX`].
    #[must_use]
    pub fn checked_sum(masses: impl IntoIterator<Item = Self>) -> Option<Self> {
        masses.into_iter().try_fold(Self::ZERO, Self::checked_add)
    }

    /// This mass less another, with its sign.
    #[must_use]
    pub const fn minus(self, other: Self) -> MassDifference {
        MassDifference(self.0 - other.0)
    }

    /// Whether the mass is a whole number of steps of a scale. No mass is a multiple of a step of zero, except zero.
    #[must_use]
    pub const fn is_multiple_of(self, step: Self) -> bool {
        if step.0 == 0 {
            self.0 == 0
        } else {
            self.0 % step.0 == 0
        }
    }

    /// Grams with exactly `decimals` decimals, rounded half up. More than five only add zeros; beyond 30 they stop.
    #[must_use]
    pub fn to_text(self, decimals: u32) -> String {
        count_text(false, self.count(), MASS_DECIMALS, decimals)
    }

    /// The count of 10 micrograms for arithmetic that cannot be negative.
    pub(super) fn count(self) -> u128 {
        magnitude(self.0)
    }

    /// The mass of a count that arithmetic has made.
    pub(super) fn from_count(count: u128) -> Option<Self> {
        Self::from_units(i64::try_from(count).ok()?)
    }
}

/// The magnitude of a count as the type that the divisions take.
fn magnitude(units: i64) -> u128 {
    u128::from(units.unsigned_abs())
}

/// A count of `10^-from` printed with `to` decimals, rounded half up. Never more than 30 decimals.
fn count_text(negative: bool, count: u128, from: u32, to: u32) -> String {
    let to = to.min(30);
    if let Some(dropped) = from.checked_sub(to) {
        let rounded = Rounding::HalfUp.divide(count, 10_u128.pow(dropped)).unwrap_or(0);
        return fixed_text(negative, rounded, to);
    }
    let mut text = fixed_text(negative, count, from);
    text.extend((from..to).map(|_| '0'));
    text
}

/// Grams with at least two decimals and more only where they are needed: `50.40`, `0.005`.
impl fmt::Display for Mass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_count(f, false, self.count(), MASS_DECIMALS, SHOWN_DECIMALS_MIN)
    }
}

impl FromStr for Mass {
    type Err = MassError;

    fn from_str(text: &str) -> Result<Self, MassError> {
        Self::parse(text)
    }
}

serde_as_text!(Mass);

/// One mass less another, as an exact count of 10 micrograms with its sign: a loss, which a scale can make negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MassDifference(i64);

impl MassDifference {
    /// No difference.
    pub const ZERO: Self = Self(0);

    /// A difference from a count of 10 micrograms; `None` beyond what a mass can hold on either side.
    #[must_use]
    pub const fn from_units(units: i64) -> Option<Self> {
        if units < -UNITS_MAX || units > UNITS_MAX {
            None
        } else {
            Some(Self(units))
        }
    }

    /// The count of 10 micrograms, with its sign.
    #[must_use]
    pub const fn units(self) -> i64 {
        self.0
    }

    /// Whether the second mass was the greater.
    #[must_use]
    pub const fn is_negative(self) -> bool {
        self.0 < 0
    }

    /// The size of the difference without its sign.
    #[must_use]
    pub const fn magnitude(self) -> Mass {
        Mass(self.0.abs())
    }

    /// The sum; `None` beyond what a mass can hold.
    #[must_use]
    pub fn checked_add(self, other: Self) -> Option<Self> {
        Self::from_units(self.0.checked_add(other.0)?)
    }

    /// Reads grams as [`Mass::parse`] does, with a minus before a difference below zero. `-0` is refused.
    ///
    /// # Errors
    /// The fact that keeps the text from being a difference of masses.
    pub fn parse(text: &str) -> Result<Self, MassError> {
        match text.strip_prefix('-') {
            None => Mass::parse(text).map(|mass| Self(mass.0)),
            Some(size) => match Mass::parse(size)? {
                Mass::ZERO => Err(Unreadable::NotANumber(text.to_owned())),
                mass => Ok(Self(-mass.0)),
            },
        }
    }

    /// Grams with exactly `decimals` decimals, the magnitude rounded half up.
    #[must_use]
    pub fn to_text(self, decimals: u32) -> String {
        count_text(self.is_negative(), magnitude(self.0), MASS_DECIMALS, decimals)
    }
}

impl fmt::Display for MassDifference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_count(
            f,
            self.is_negative(),
            magnitude(self.0),
            MASS_DECIMALS,
            SHOWN_DECIMALS_MIN,
        )
    }
}

impl FromStr for MassDifference {
    type Err = MassError;

    fn from_str(text: &str) -> Result<Self, MassError> {
        Self::parse(text)
    }
}

serde_as_text!(MassDifference);
