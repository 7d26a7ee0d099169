//! Rounding: one division of whole numbers, by a rule that is named.
//!
//! Every rounded figure of this floor passes through `divide`, so that no figure is rounded twice and none by accident.

use serde::{Deserialize, Serialize};

/// How a figure that does not come out even is rounded. For a figure below zero it is the magnitude that is rounded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rounding {
    /// Towards zero: for what is claimed of a piece, which never exceeds the metal.
    Down,
    /// To the nearest, a half away from zero.
    HalfUp,
    /// Away from zero: for uncertainties and guard bands, which are never stated too small.
    Up,
}

impl std::str::FromStr for Rounding {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "down" => Ok(Self::Down),
            "half-up" => Ok(Self::HalfUp),
            "up" => Ok(Self::Up),
            _ => Err("must be down, half-up or up"),
        }
    }
}

impl Rounding {
    /// `numerator / denominator` as a whole number by this rule; `None` when the denominator is zero.
    #[must_use]
    pub fn divide(self, numerator: u128, denominator: u128) -> Option<u128> {
        let quotient = numerator.checked_div(denominator)?;
        let remainder = numerator.checked_rem(denominator)?;
        let up = match self {
            Self::Down => false,
            // The same as 2 * remainder >= denominator, without the doubling that could overflow.
            Self::HalfUp => remainder >= denominator - remainder,
            Self::Up => remainder > 0,
        };
        quotient.checked_add(u128::from(up))
    }
}
