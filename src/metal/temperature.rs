//! The temperature of water in which a piece is weighed: an exact count of tenths of a degree.
//!
//! The density of water is known to the liquid between its freezing and 40 °C (see `water`), so nothing else is read.
//! Deliberately absent: other scales of temperature, and the temperature of metal.

use std::fmt;
use std::str::FromStr;

use super::digits::{Unreadable, fixed_text, read_count, serde_as_text};

/// Decimals of a degree: finer than a kitchen thermometer, and a tenth of a degree moves water by 2 parts in 100,000.
const DECIMALS: u32 = 1;
const TENTHS_MAX: u16 = 400;
const LIMIT: &str = "40.0 degrees Celsius: beyond that the table of water ends";

/// A temperature of liquid water from 0.0 to 40.0 degrees Celsius, written with one decimal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WaterTemperature(u16);

impl WaterTemperature {
    /// A temperature from tenths of a degree; `None` beyond 40.0 degrees.
    #[must_use]
    pub const fn from_tenths(tenths: u16) -> Option<Self> {
        if tenths > TENTHS_MAX {
            None
        } else {
            Some(Self(tenths))
        }
    }

    /// Tenths of a degree Celsius.
    #[must_use]
    pub const fn tenths(self) -> u16 {
        self.0
    }

    /// Reads degrees Celsius: plain decimal digits with at most one decimal.
    ///
    /// # Errors
    /// The fact that keeps the text from being a temperature of water.
    pub fn parse(text: &str) -> Result<Self, Unreadable> {
        let tenths = read_count(text, DECIMALS, u128::from(TENTHS_MAX), LIMIT)?;
        let tenths = u16::try_from(tenths).map_err(|_| Unreadable::TooLarge(LIMIT))?;
        Self::from_tenths(tenths).ok_or(Unreadable::TooLarge(LIMIT))
    }
}

/// Degrees with one decimal: `20.5`.
impl fmt::Display for WaterTemperature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&fixed_text(false, u128::from(self.0), DECIMALS))
    }
}

impl FromStr for WaterTemperature {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        Self::parse(text)
    }
}

serde_as_text!(WaterTemperature);
