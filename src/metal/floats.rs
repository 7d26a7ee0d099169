//! The one door between exact counts and binary floats, for the statistics files of this floor and above.
//!
//! A float that leaves this floor is printed, never added to a mass, a fineness or a price. Deliberately absent: the way
//! back from a float to a mass.
#![expect(
    clippy::float_arithmetic,
    reason = "statistics: probabilities, uncertainties and densities are floats"
)]

use super::mass::Mass;

/// A mass in grams. Every count of a mass is below 2^53, so only the division by 100,000 rounds.
#[must_use]
pub fn grams(mass: Mass) -> f64 {
    count(mass.units().unsigned_abs()) / 100_000.0
}

/// A whole number as a float: exact below 2^53, rounded once beyond.
#[must_use]
pub fn count(count: u64) -> f64 {
    let high = u32::try_from(count >> 32).unwrap_or(u32::MAX);
    let low = u32::try_from(count & 0xffff_ffff).unwrap_or(u32::MAX);
    f64::from(high) * 4_294_967_296.0 + f64::from(low)
}

/// A figure with so many decimals, rounded to the nearest.
#[must_use]
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    // What rounds to zero has no sign.
    if text.bytes().all(|byte| matches!(byte, b'-' | b'0' | b'.')) {
        return text.trim_start_matches('-').to_owned();
    }
    text
}

/// A figure with so many decimals (at most nine), rounded up: for uncertainties, which are never stated too small.
#[must_use]
pub fn fixed_up(value: f64, decimals: u8) -> String {
    let decimals = decimals.min(9);
    let scale = 10_f64.powi(i32::from(decimals));
    // A hair is taken off first, so that a figure that is exact in decimals stays.
    let up = (value * scale * (1.0 - 1e-12)).ceil() / scale;
    fixed(up, usize::from(decimals))
}
