//! How weights are rounded in the trade in bars, and by which rule a weight is priced: rows of tables, each with its source.
//!
//! Deliberately absent: which bars a market accepts. That is asked, not reckoned.

use serde::{Deserialize, Serialize};

use super::Metal;
use super::digits::{Unreadable, fixed_text, read_count};
use super::fineness::{Fineness, PURE_COUNT};
use super::ratio::Ratio;
use super::rounding::Rounding;

/// Decimals of a troy ounce in which a bar is weighed: thousandths.
const BAR_DECIMALS: u32 = 3;
/// 10^6 troy ounces, some 31 tonnes: far beyond one bar.
const BAR_COUNT_MAX: u128 = 1_000_000_000;
const BAR_LIMIT: &str = "1000000 ozt";

/// How the gross weight of a bar is rounded, for one metal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BarRule {
    /// The metal.
    pub metal: Metal,
    /// The gross weight is a multiple of this, in thousandths of a troy ounce, rounded down.
    pub step: u64,
    /// By how much the bar must be over the multiple to turn the scale, in thousandths of a troy ounce.
    pub turn: u64,
    /// Decimals of a part per thousand in its fineness, at most.
    pub fineness_decimals: u32,
    /// From which year the edition speaks that the row follows.
    pub from_year: u16,
    /// Where the row comes from.
    pub source: &'static str,
}

/// The rows in force.
pub const BAR_RULES: [BarRule; 2] = [
    BarRule {
        metal: Metal::Gold,
        step: 25,
        turn: 2,
        fineness_decimals: 1,
        from_year: 2015,
        source: "published good-delivery rules for bars of the London market, annexes on weighing; the 0.025 ozt step and \
                 the 0.002 ozt turn of the scale from older published editions",
    },
    BarRule {
        metal: Metal::Silver,
        step: 100,
        turn: 0,
        fineness_decimals: 1,
        from_year: 2015,
        source: "published good-delivery rules for bars of the London market, annexes on weighing; the 0.1 ozt step from \
                 older published editions",
    },
];

/// Why a bar cannot be stated.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BarError {
    /// The weight or the fineness is not one.
    #[error(transparent)]
    Unreadable(#[from] Unreadable),
    /// No row speaks of the metal.
    #[error("no rule for bars of {0} is known here: gold and silver have one")]
    NoRule(Metal),
    /// More figures of fineness than the rule states.
    #[error("{0} parts per thousand has more figures than the rule for bars states: four")]
    TooManyFigures(Fineness),
}

/// A bar as it is stated.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Bar {
    /// Gross weight by the rule, troy ounces.
    pub gross: String,
    /// Fine weight, troy ounces to 0.001, rounded half up once.
    pub fine: String,
    /// Fine weight before rounding, troy ounces.
    pub exact: Ratio,
}

/// States a bar by the rule of its metal: gross weight in troy ounces as weighed (at most three decimals), and fineness.
///
/// # Errors
/// [`BarError`].
pub fn bar(metal: Metal, weighed: &str, fineness: Fineness) -> Result<Bar, BarError> {
    let rule = BAR_RULES.iter().find(|rule| rule.metal == metal);
    let rule = rule.ok_or(BarError::NoRule(metal))?;
    let dropped = 10_u32.pow(4_u32.saturating_sub(rule.fineness_decimals));
    if !fineness.units().is_multiple_of(dropped) {
        return Err(BarError::TooManyFigures(fineness));
    }
    let count = read_count(weighed, BAR_DECIMALS, BAR_COUNT_MAX, BAR_LIMIT)?;
    let step = u128::from(rule.step);
    // A bar that is not over by the turn of the scale does not carry the multiple.
    let over = count.saturating_sub(u128::from(rule.turn));
    let gross = Rounding::Down.divide(over, step).unwrap_or(0) * step;
    let thousandths = 10_u128.pow(BAR_DECIMALS);
    let too_large = || BarError::Unreadable(Unreadable::TooLarge(BAR_LIMIT));
    let exact = Ratio::new(
        gross * u128::from(fineness.units()),
        thousandths * u128::from(PURE_COUNT),
    )
    .ok_or_else(too_large)?;
    Ok(Bar {
        gross: fixed_text(false, gross, BAR_DECIMALS),
        fine: exact
            .to_decimal(BAR_DECIMALS, Rounding::HalfUp)
            .ok_or_else(too_large)?,
        exact,
    })
}

/// By which rule a weight is priced.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum WeightRule {
    /// Troy ounces, rounded down to 0.001.
    #[serde(rename = "ozt-0.001")]
    Thousandths,
    /// Troy ounces, rounded down to 0.0001.
    #[serde(rename = "ozt-0.0001")]
    TenThousandths,
    /// By the gram as weighed, nothing rounded.
    #[serde(rename = "gram")]
    Gram,
}

/// One row of the table of [`WeightRule`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WeightRow {
    /// The rule.
    pub rule: WeightRule,
    /// As it is written.
    pub word: &'static str,
    /// Decimals of a troy ounce that it rounds down to; none if it does not round.
    pub decimals: Option<u32>,
    /// When to take it, and where the row comes from.
    pub source: &'static str,
}

/// The rules by which weights are priced. The first is for silver. At 0.001 ozt the rounding of gold is worth pounds, so
/// gold is priced by one of the others.
pub const WEIGHT_ROWS: [WeightRow; 3] = [
    WeightRow {
        rule: WeightRule::Thousandths,
        word: "ozt-0.001",
        decimals: Some(3),
        source: "retail by weight, so that a buyer never gets less than is stated; common practice, no source",
    },
    WeightRow {
        rule: WeightRule::TenThousandths,
        word: "ozt-0.0001",
        decimals: Some(4),
        source: "as ozt-0.001, for gold; common practice, no source",
    },
    WeightRow {
        rule: WeightRule::Gram,
        word: "gram",
        decimals: None,
        source: "by the gram as weighed, for gold; common practice, no source",
    },
];

impl WeightRule {
    /// Its row.
    #[must_use]
    pub fn row(self) -> &'static WeightRow {
        let [thousandths, ten_thousandths, gram] = &WEIGHT_ROWS;
        match self {
            Self::Thousandths => thousandths,
            Self::TenThousandths => ten_thousandths,
            Self::Gram => gram,
        }
    }
}

impl std::str::FromStr for WeightRule {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let row = WEIGHT_ROWS.iter().find(|row| row.word == text);
        row.map(|row| row.rule)
            .ok_or_else(|| "must be ozt-0.001, ozt-0.0001 or gram".to_owned())
    }
}

impl std::fmt::Display for WeightRule {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.row().word)
    }
}
