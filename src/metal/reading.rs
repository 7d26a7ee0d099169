//! A reading: what the display of a scale showed, digit for digit, and the mass that it says.
//!
//! "50.40" is not "50.4": the trailing zero says how finely the scale reads, so a reading keeps its digits as typed.

use std::cmp::Ordering;
use std::fmt;
use std::str::FromStr;

use super::digits::{MassError, serde_as_text};
use super::mass::Mass;

/// A mass as typed from a display, in grams. Two readings are equal when their digits are.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Reading {
    text: String,
    mass: Mass,
}

impl Reading {
    /// Reads grams by the rules of [`Mass::parse`] and keeps the digits.
    ///
    /// # Errors
    /// The fact that keeps the text from being a mass.
    pub fn parse(text: &str) -> Result<Self, MassError> {
        let mass = Mass::parse(text)?;
        Ok(Self {
            text: text.to_owned(),
            mass,
        })
    }

    /// The mass that the digits say.
    #[must_use]
    pub const fn mass(&self) -> Mass {
        self.mass
    }

    /// The digits as typed.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// How many decimals were typed.
    #[must_use]
    pub fn decimals(&self) -> usize {
        self.text
            .split_once('.')
            .map_or(0, |(_, fraction)| fraction.len())
    }

    /// How the masses of two readings compare, whatever their digits.
    #[must_use]
    pub fn compare_mass(&self, other: &Self) -> Ordering {
        self.mass.cmp(&other.mass)
    }
}

impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl FromStr for Reading {
    type Err = MassError;

    fn from_str(text: &str) -> Result<Self, MassError> {
        Self::parse(text)
    }
}

serde_as_text!(Reading);
