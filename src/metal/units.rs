//! Units of mass of the trade, and converting between them exactly.
//!
//! Every unit is a whole number of 10 nanograms, so a conversion is one exact fraction, rounded once when it is printed.
//! The grain is 1/7000 of the pound of 0.45359237 kg, the pennyweight 24 grains, the ounce troy 480 (Weights and Measures
//! Act 1985, section 1 and schedule 1). Deliberately absent: the avoirdupois ounce and pound. Precious metal is not sold
//! in them, and an "oz" that is taken for the wrong one is a tenth of the metal: it is refused, never converted.

use serde::{Deserialize, Serialize};

use super::digits::{Unreadable, fixed_text, quote, read_count};
use super::ratio::Ratio;

/// Decimals of an amount that is converted.
const AMOUNT_DECIMALS: u32 = 9;
/// 10^12 units, in steps of 10^-9. Times the largest unit, 10^11, it stays below 2^128.
const AMOUNT_COUNT_MAX: u128 = 1_000_000_000_000_000_000_000;
const AMOUNT_LIMIT: &str = "1000000000000";

/// A unit of mass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Unit {
    /// Milligram.
    Milligram,
    /// Gram.
    Gram,
    /// Kilogram.
    Kilogram,
    /// Grain, 64.79891 mg.
    Grain,
    /// Pennyweight, 24 grains, 1.55517384 g.
    Pennyweight,
    /// Troy ounce, 480 grains, 31.1034768 g.
    TroyOunce,
}

/// Why a word is not a unit here.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// It might be avoirdupois.
    #[error(
        "{0:?} is an avoirdupois unit, in which precious metal is not weighed: it is refused, never converted; \
         say ozt for troy ounces"
    )]
    Avoirdupois(String),
    /// Nothing that is known here.
    #[error("{0:?} is no unit that is known here: mg, g, kg, gr, dwt or ozt")]
    Unknown(String),
}

impl Unit {
    /// Every unit, smallest first.
    pub const ALL: [Self; 6] = [
        Self::Milligram,
        Self::Grain,
        Self::Gram,
        Self::Pennyweight,
        Self::TroyOunce,
        Self::Kilogram,
    ];

    /// How it is written.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Milligram => "mg",
            Self::Gram => "g",
            Self::Kilogram => "kg",
            Self::Grain => "gr",
            Self::Pennyweight => "dwt",
            Self::TroyOunce => "ozt",
        }
    }

    /// Its mass in milligrams, with five decimals, which is exact.
    #[must_use]
    pub fn milligrams(self) -> String {
        fixed_text(false, self.steps(), 5)
    }

    /// Its mass in steps of 10 nanograms, exactly.
    const fn steps(self) -> u128 {
        match self {
            Self::Milligram => 100_000,
            Self::Gram => 100_000_000,
            Self::Kilogram => 100_000_000_000,
            Self::Grain => 6_479_891,
            Self::Pennyweight => 24 * 6_479_891,
            Self::TroyOunce => 480 * 6_479_891,
        }
    }
}

impl std::str::FromStr for Unit {
    type Err = UnitError;

    fn from_str(text: &str) -> Result<Self, UnitError> {
        if let Some(unit) = Self::ALL.into_iter().find(|unit| unit.symbol() == text) {
            return Ok(unit);
        }
        let lower = text.to_ascii_lowercase();
        let avoirdupois = [
            "oz", "ozs", "ounce", "ounces", "lb", "lbs", "pound", "pounds", "dr", "oz av",
        ];
        if avoirdupois.contains(&lower.trim_matches('.')) {
            Err(UnitError::Avoirdupois(quote(text)))
        } else {
            Err(UnitError::Unknown(quote(text)))
        }
    }
}

impl TryFrom<String> for Unit {
    type Error = UnitError;

    fn try_from(text: String) -> Result<Self, UnitError> {
        text.parse()
    }
}

impl From<Unit> for String {
    fn from(unit: Unit) -> Self {
        unit.symbol().to_owned()
    }
}

impl std::fmt::Display for Unit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.symbol())
    }
}

/// An amount of one unit in another, exactly.
///
/// # Errors
/// The fact that keeps the text from being an amount.
pub fn convert(amount: &str, from: Unit, to: Unit) -> Result<Ratio, Unreadable> {
    let too_large = || Unreadable::TooLarge(AMOUNT_LIMIT);
    let count = read_count(amount, AMOUNT_DECIMALS, AMOUNT_COUNT_MAX, AMOUNT_LIMIT)?;
    let whole = count.checked_mul(from.steps()).ok_or_else(too_large)?;
    Ratio::new(whole, to.steps() * 10_u128.pow(AMOUNT_DECIMALS)).ok_or_else(too_large)
}
