//! Units of mass, and the weight of a bar as the wholesale trade states it.

use super::{Answer, Calculator, Impossible};
use crate::metal::bullion::{self, BarError};
use crate::metal::units::{self, Unit};
use crate::metal::{Fineness, Metal, Rounding};
use clap::Args;
use serde::Deserialize;

/// Decimals of a result when nothing is said: finer than 10 micrograms in every unit.
const DECIMALS: u32 = 9;
const DECIMALS_MAX: u32 = 12;

/// An amount of one unit, wanted in another.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Convert {
    /// Plain digits, at most nine decimals.
    amount: String,
    /// The unit that it is in: mg, g, kg, gr (grains), dwt (pennyweights) or ozt (troy ounces).
    from: Unit,
    /// The unit that is wanted.
    to: Unit,
    /// Decimals of the result, at most 12; 9 if nothing is said.
    #[arg(long, value_name = "COUNT")]
    decimals: Option<u32>,
    /// How the result is rounded: down, half-up (if nothing is said) or up.
    #[arg(long, value_name = "RULE")]
    rounding: Option<Rounding>,
}

/// What the help of `convert` ends with.
pub const CONVERT_HELP: &str = "Examples:
  pourbook convert 102.53 g ozt --decimals 3 --rounding down
  pourbook convert 5 ozt g

Avoirdupois ounces and pounds are refused, never converted.
Exit code: 0 answered; 1 impossible, and why; 2 the arguments cannot be read.
With --json: {\"result\", \"unit\", \"exact\" as a fraction, \"formula\", \"notes\"}.";

impl Calculator for Convert {
    const WORD: &'static str = "convert";
    const QUESTION: &'static str = "ConvertQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        let (from, to) = (self.from, self.to);
        let exact =
            units::convert(&self.amount, from, to).map_err(|error| Impossible::of("amount", error))?;
        let decimals = self.decimals.unwrap_or(DECIMALS);
        if decimals > DECIMALS_MAX {
            return Err(Impossible::of("decimals", "is more than 12"));
        }
        let rounding = self.rounding.unwrap_or(Rounding::HalfUp);
        let result = exact.to_decimal(decimals, rounding);
        let result = result.ok_or_else(|| Impossible::of("amount", "is too large to be written out"))?;
        let (per_from, per_to) = (from.milligrams(), to.milligrams());
        let formula = format!(
            "{} {from} x {per_from} mg per {from} / {per_to} mg per {to} = {result} {to}",
            self.amount
        );
        Ok(Answer::default()
            .figure("result", "result", &result, to.symbol())
            .hidden("unit", to.symbol())
            .hidden("exact", exact.to_string())
            .formula(formula))
    }
}

/// A bar as it was weighed.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bar {
    /// Gold or silver.
    #[arg(long)]
    metal: Metal,
    /// What it weighs, troy ounces, at most three decimals.
    #[arg(long, value_name = "OUNCES")]
    weighed: String,
    /// Its fineness, parts per thousand, four figures.
    #[arg(long)]
    fineness: Fineness,
}

/// What the help of `bar` ends with.
pub const BAR_HELP: &str = "Example:
  pourbook bar --metal gold --weighed 401.127 --fineness 995.8

Exit code: 0 answered; 1 impossible, and why; 2 the arguments cannot be read.
With --json: {\"gross\" by the rule, \"fine\" to 0.001, \"exact\" as a fraction, \"formula\", \"notes\"}.";

impl Calculator for Bar {
    const WORD: &'static str = "bar";
    const QUESTION: &'static str = "BarQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        let bar = bullion::bar(self.metal, &self.weighed, self.fineness).map_err(|error| {
            let member = match error {
                BarError::NoRule(_) => "metal",
                BarError::TooManyFigures(_) => "fineness",
                BarError::Unreadable(_) => "weighed",
            };
            Impossible::of(member, error)
        })?;
        let formula = format!(
            "fine = gross x fineness / 1000 = {} ozt x {} / 1000 = {} ozt, half up to 0.001",
            bar.gross, self.fineness, bar.fine
        );
        Ok(Answer::default()
            .figure("gross", "gross by the rule", &bar.gross, "ozt")
            .figure("fine", "fine", &bar.fine, "ozt")
            .hidden("exact", bar.exact.to_string())
            .formula(formula)
            .note("Which bars a market accepts is asked, not reckoned."))
    }
}
