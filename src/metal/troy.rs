//! Troy ounces, both ways, by the exact factor 31.1034768 g.
//!
//! The factor is 480 grains of 64.79891 mg (Weights and Measures Act 1985: the pound is 0.45359237 kg exactly, the grain
//! a seven-thousandth of it, the ounce troy 12/175 of it). Deliberately absent: the avoirdupois ounce, which precious
//! metal is not sold in and which is refused, never converted; pennyweights and grains, which nothing here uses.

use super::digits::{MassError, Unreadable, fixed_text, read_count};
use super::mass::{MASS_LIMIT, Mass};
use super::rounding::Rounding;

/// One troy ounce in grams, exactly.
pub const TROY_OUNCE_GRAMS: &str = "31.1034768";

/// One troy ounce in picograms.
pub const OUNCE_PICOGRAMS: u128 = 31_103_476_800_000;
/// 100 troy ounces in steps of 10 micrograms: one ounce is not a whole number of steps, a hundred are.
const HUNDRED_OUNCES_UNITS: u128 = 311_034_768;
/// Decimals of a troy ounce that are shown to people: finer than the steps of a workshop's scales.
pub const OUNCE_DECIMALS: u32 = 4;
/// Decimals of a troy ounce that are read or written: finer than one step of mass.
const OUNCE_DECIMALS_MAX: u32 = 9;
/// More than the largest mass holds, so that the limit that is named is the one of mass.
const OUNCE_COUNT_MAX: u128 = 10_000_000_000_000_000;

/// A mass in troy ounces with exactly `decimals` decimals (at most nine) by the given rule.
#[must_use]
pub fn troy_ounces(mass: Mass, decimals: u32, rounding: Rounding) -> String {
    // A mass of at most 10^13 steps, times a hundred, leaves ample room for nine decimals in 128 bits.
    ounces_text(
        false,
        mass.count() * 100,
        HUNDRED_OUNCES_UNITS,
        decimals,
        rounding,
    )
}

/// `count / per_ounce` as text. Both callers stay below 10^26, so nine more decimals fit in 128 bits.
pub(super) fn ounces_text(
    negative: bool,
    count: u128,
    per_ounce: u128,
    decimals: u32,
    rounding: Rounding,
) -> String {
    let decimals = decimals.min(OUNCE_DECIMALS_MAX);
    let scaled = count.saturating_mul(10_u128.pow(decimals));
    fixed_text(
        negative,
        rounding.divide(scaled, per_ounce).unwrap_or(0),
        decimals,
    )
}

impl Mass {
    /// The mass of a number of troy ounces, given as plain digits with at most nine decimals, rounded to 10 micrograms
    /// by the given rule. The exact value is rounded once.
    ///
    /// # Errors
    /// The fact that keeps the text from being a number of troy ounces.
    pub fn from_troy_ounces(text: &str, rounding: Rounding) -> Result<Self, MassError> {
        let too_large = || Unreadable::TooLarge(MASS_LIMIT);
        let count = read_count(text, OUNCE_DECIMALS_MAX, OUNCE_COUNT_MAX, MASS_LIMIT)?;
        let numerator = count.checked_mul(HUNDRED_OUNCES_UNITS).ok_or_else(too_large)?;
        let units = rounding
            .divide(numerator, 100 * 10_u128.pow(OUNCE_DECIMALS_MAX))
            .ok_or_else(too_large)?;
        Self::from_count(units).ok_or_else(too_large)
    }
}
