//! A percentage, exact to 0.0001: a premium, which may be below zero, or a rate of tax.

use std::fmt;
use std::str::FromStr;

use super::digits::{Unreadable, read_count, serde_as_text, write_count};
use super::ratio::Ratio;

const PERCENT_DECIMALS: u32 = 4;
/// 100 %, in steps of 0.0001 %.
const WHOLE: i32 = 1_000_000;
/// 100,000 %.
const PERCENT_MAX: i32 = 1_000_000_000;
const PERCENT_LIMIT: &str = "100000 (per cent)";

/// A percentage from -100 to 100,000, as a count of 0.0001 %.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Percent(i32);

impl Percent {
    /// Nothing.
    pub const ZERO: Self = Self(0);

    /// A percentage from a count of 0.0001 %; `None` below -100 % or beyond 100,000 %.
    #[must_use]
    pub const fn from_units(units: i32) -> Option<Self> {
        if units < -WHOLE || units > PERCENT_MAX {
            None
        } else {
            Some(Self(units))
        }
    }

    /// What a whole becomes by it: 1.28 for 28 %, 0 for -100 %.
    #[must_use]
    pub fn factor(self) -> Ratio {
        let above = u128::from(WHOLE.saturating_add(self.0).unsigned_abs());
        Ratio::new(above, u128::from(WHOLE.unsigned_abs())).unwrap_or(Ratio::ONE)
    }

    /// The part of a whole that it is: 0.2 for 20 %; `None` below zero.
    #[must_use]
    pub fn part(self) -> Option<Ratio> {
        let count = u32::try_from(self.0).ok()?;
        Ratio::new(u128::from(count), u128::from(WHOLE.unsigned_abs()))
    }
}

/// As few decimals as it needs: `28`, `-2.5`.
impl fmt::Display for Percent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let count = u128::from(self.0.unsigned_abs());
        write_count(f, self.0 < 0, count, PERCENT_DECIMALS, 0)
    }
}

impl FromStr for Percent {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let (negative, size) = text.strip_prefix('-').map_or((false, text), |size| (true, size));
        let most = u128::from(PERCENT_MAX.unsigned_abs());
        let count = read_count(size, PERCENT_DECIMALS, most, PERCENT_LIMIT)?;
        let count = i32::try_from(count).map_err(|_| Unreadable::TooLarge(PERCENT_LIMIT))?;
        match (negative, count) {
            (true, 0) => Err(Unreadable::NotANumber(text.to_owned())),
            (true, beyond) if beyond > WHOLE => Err(Unreadable::TooSmall("-100 (per cent)")),
            (true, below) => Ok(Self(-below)),
            (false, above) => Ok(Self(above)),
        }
    }
}

serde_as_text!(Percent);
