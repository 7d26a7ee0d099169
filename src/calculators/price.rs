//! The price of metal by weight with its tax, and the tax contained in a gross amount.

use super::{Answer, Calculator, Impossible};
use crate::metal::bullion::WeightRule;
use crate::metal::price::{MoneyRounding, PriceError, PriceInputs, TO_THE_PENNY, vat_contained};
use crate::metal::vat::{self, Day, NEWEST, Treatment, VAT_ROWS, VatError, VatUsed};
use crate::metal::{Amount, Fineness, Mass, Metal, Percent, Rounding};
use clap::Args;
use serde::Deserialize;
use serde_json::json;

/// A weight, the spot price and what is asked on top of it.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Price {
    /// Silver, gold, platinum or palladium.
    #[arg(long)]
    metal: Metal,
    /// Grams, as weighed.
    #[arg(long, value_name = "GRAMS")]
    mass: Mass,
    /// Parts per thousand, if it matters.
    #[arg(long)]
    fineness: Option<Fineness>,
    /// Price the fine metal alone, and not the whole weight.
    #[arg(long, requires = "fineness")]
    #[serde(default)]
    by_fine_weight: bool,
    /// The spot price of a troy ounce with its currency, like "24.51 GBP".
    #[arg(long, value_name = "AMOUNT")]
    spot: Amount,
    /// What is asked on top of it, per cent; below zero for metal that is bought.
    #[arg(long, value_name = "PERCENT")]
    premium_percent: Percent,
    /// Fees on top, in the same currency.
    #[arg(long, value_name = "AMOUNT")]
    fees: Option<Amount>,
    /// By which rule the weight is priced: ozt-0.001, ozt-0.0001 or gram.
    #[arg(long, value_name = "RULE")]
    weight: WeightRule,
    /// What was decided about value added tax: standard, investment_gold or not_registered.
    #[arg(long, value_name = "TREATMENT")]
    vat: Treatment,
    /// By the table of which day, like 2026-11-25; by its newest row if nothing is said.
    #[arg(long)]
    day: Option<Day>,
    /// How amounts are rounded: down, half-up (if nothing is said) or up.
    #[arg(long, value_name = "RULE")]
    rounding: Option<Rounding>,
    /// Decimals of the currency; 2 if nothing is said.
    #[arg(long, value_name = "COUNT")]
    decimals: Option<u8>,
}

/// What the help of `price` ends with.
pub const PRICE_HELP: &str = "Examples:
  pourbook price --metal silver --mass 102.53 --spot \"24.51 GBP\" --premium-percent 28 --weight ozt-0.001 --vat standard
  pourbook price --metal gold --mass 20.00 --fineness 999.9 --spot \"2600 GBP\" --premium-percent 6.5 --weight gram --vat standard

Exit code: 0 answered; 1 impossible, and why; 2 the arguments cannot be read.
With --json: {\"ounces\", \"unrounded\", \"net\", \"vat\", \"gross\", \"vat_row\": {\"treatment\", \"percent\", \"from\", \"source\"},
\"formula\", \"notes\"}.";

const NO_ADVICE: &str =
    "Which treatment a supply falls under is the workshop's decision, with licensed advice; this is none.";

fn rounding(rule: Option<Rounding>, decimals: Option<u8>) -> MoneyRounding {
    MoneyRounding {
        rule: rule.unwrap_or(TO_THE_PENNY.rule),
        decimals: decimals.unwrap_or(TO_THE_PENNY.decimals),
    }
}

fn used(
    treatment: Treatment,
    metal: Metal,
    fineness: Option<Fineness>,
    day: Option<&Day>,
) -> Result<VatUsed, Impossible> {
    let day = day.map_or(NEWEST, Day::as_str);
    vat::rate(&VAT_ROWS, treatment, metal, fineness, day).map_err(|error| {
        let member = match error {
            VatError::NoRow => "day",
            _ => "vat",
        };
        Impossible::of(member, error)
    })
}

fn refused(error: PriceError) -> Impossible {
    let member = error.pointer().rsplit('/').next();
    // What several inputs bring about together is said of the first.
    let member = member.filter(|member| !member.is_empty()).unwrap_or("mass");
    Impossible::of(member, error)
}

impl Calculator for Price {
    const WORD: &'static str = "price";
    const QUESTION: &'static str = "PriceQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        let vat = used(self.vat, self.metal, self.fineness, self.day.as_ref())?;
        let row = json!(vat);
        let inputs = PriceInputs {
            metal: self.metal,
            mass: self.mass,
            fineness: self.fineness,
            by_fine_weight: self.by_fine_weight,
            spot: self.spot.0,
            premium_percent: self.premium_percent,
            fees: self.fees.map(|fees| fees.0),
            weight: self.weight,
            vat,
            rounding: rounding(self.rounding, self.decimals),
        };
        let price = inputs.price().map_err(refused)?;
        let mut answer = Answer::default()
            .figure("ounces", "priced", &price.ounces, "ozt")
            .hidden("unrounded", price.unrounded)
            .figure("net", "net", price.net, "")
            .figure("vat", "value added tax", price.vat, "")
            .figure("gross", "gross", price.gross, "")
            .hidden("vat_row", row)
            .formula(price.formula);
        for question in vat::questions(self.vat, self.metal, self.fineness) {
            answer = answer.note(question);
        }
        Ok(answer.note(NO_ADVICE))
    }
}

/// A gross amount.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Vat {
    /// The amount with tax, with its currency, like "141.60 GBP".
    #[arg(long, value_name = "AMOUNT")]
    gross: Amount,
    /// By the table of which day, like 2026-11-25; by its newest row if nothing is said.
    #[arg(long)]
    day: Option<Day>,
    /// How amounts are rounded: down, half-up (if nothing is said) or up.
    #[arg(long, value_name = "RULE")]
    rounding: Option<Rounding>,
    /// Decimals of the currency; 2 if nothing is said.
    #[arg(long, value_name = "COUNT")]
    decimals: Option<u8>,
}

/// What the help of `vat` ends with.
pub const VAT_HELP: &str = "Example:
  pourbook vat --gross \"141.60 GBP\"

Exit code: 0 answered; 1 impossible, and why; 2 the arguments cannot be read.
With --json: {\"vat\", \"net\", \"vat_row\": {\"treatment\", \"percent\", \"from\", \"source\"}, \"formula\", \"notes\"}.";

impl Calculator for Vat {
    const WORD: &'static str = "vat";
    const QUESTION: &'static str = "VatQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        let used = used(Treatment::Standard, Metal::Silver, None, self.day.as_ref())?;
        let (gross, percent) = (self.gross.0, used.percent);
        let rounding = rounding(self.rounding, self.decimals);
        let refused = |error: PriceError| match error {
            PriceError::TooManyDecimals(_) => refused(error),
            _ => Impossible::of("gross", error),
        };
        let vat = vat_contained(gross, percent, rounding).map_err(refused)?;
        let net = gross.checked_sub(vat);
        let net = net.ok_or_else(|| Impossible::of("gross", "is beyond what can be reckoned with"))?;
        Ok(Answer::default()
            .figure("vat", "value added tax in it", vat, "")
            .figure("net", "net", net, "")
            .hidden("vat_row", json!(used))
            .formula(format!("{gross} x {percent} / (100 + {percent}) = {vat}"))
            .note(NO_ADVICE))
    }
}
