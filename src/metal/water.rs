//! Water: its density by temperature, from 0 to 40 degrees Celsius.
//!
//! Source: M. Tanaka et al., Recommended table for the density of water between 0 C and 40 C based on recent experimental
//! reports, Metrologia 38 (2001) 301, formula and constants. It holds for air-free water; tap water differs by less than
//! what a bubble does. Deliberately absent: salt, alcohol, and any temperature outside the formula.
#![expect(clippy::float_arithmetic, reason = "statistics: a density is a float")]

use std::fmt;
use std::str::FromStr;

use super::digits::{Unreadable, read_count, serde_as_text, write_count};

const DECIMALS: u32 = 2;
const WARMEST: u16 = 4_000;
const LIMIT: &str = "40 degrees Celsius: the density of water is known to us from 0 to 40 only";

/// The temperature of liquid water, from 0 to 40 degrees Celsius in steps of 0.01.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WaterTemperature(u16);

impl WaterTemperature {
    /// A temperature from a count of 0.01 degrees; `None` beyond 40 degrees.
    #[must_use]
    pub const fn from_units(units: u16) -> Option<Self> {
        if units > WARMEST { None } else { Some(Self(units)) }
    }

    /// Degrees Celsius.
    #[must_use]
    pub fn degrees(self) -> f64 {
        f64::from(self.0) / 100.0
    }

    /// The density of water at this temperature, g/cm3.
    #[must_use]
    pub fn density(self) -> f64 {
        density_at(self.degrees())
    }

    /// How much the density changes for half a degree, as a share of itself, without its sign.
    #[must_use]
    pub fn change_of_half_a_degree(self) -> f64 {
        let t = self.degrees();
        ((density_at(t + 0.5) - density_at(t - 0.5)) / 2.0 / density_at(t)).abs()
    }
}

/// `rho = a5 (1 - (t + a1)^2 (t + a2) / (a3 (t + a4)))` in kg/m3, here in g/cm3.
fn density_at(t: f64) -> f64 {
    let (a1, a2, a3, a4, a5) = (-3.983_035, 301.797, 522_528.9, 69.348_81, 999.974_950);
    a5 * (1.0 - (t + a1) * (t + a1) * (t + a2) / (a3 * (t + a4))) / 1000.0
}

impl fmt::Display for WaterTemperature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_count(f, false, u128::from(self.0), DECIMALS, 0)
    }
}

impl FromStr for WaterTemperature {
    type Err = Unreadable;

    /// Reads degrees Celsius: plain digits from 0 to 40 with at most two decimals.
    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let units = read_count(text, DECIMALS, u128::from(WARMEST), LIMIT).map_err(|error| match error {
            Unreadable::Negative => Unreadable::Frozen,
            other => other,
        })?;
        let units = u16::try_from(units).ok().and_then(Self::from_units);
        units.ok_or(Unreadable::TooLarge(LIMIT))
    }
}

serde_as_text!(WaterTemperature);
