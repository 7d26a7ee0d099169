//! The price of metal by weight, recomputed to the penny from what was stored.
//!
//! net = round(ounces x spot x (1 + premium) + fees), tax = round(net x rate), gross = net + tax. The ounces are rounded by a
//! named rule first, since they are what the buyer is told; then everything is an exact fraction until it is rounded, once for
//! the net and once for the tax, by the rule that is stored with the price. Source of the rounding of tax: half up is the
//! revenue's plain rule; rounding down is a concession to traders who issue invoices, and no retailer may.
//! Deliberately absent: rates of exchange, the day's spot, and what a piece costs.

use serde::{Deserialize, Serialize};

use super::Metal;
use super::bullion::WeightRule;
use super::digits::Unreadable;
use super::fine_mass::{FineMass, fine_mass};
use super::fineness::Fineness;
use super::mass::Mass;
use super::money::Money;
use super::percent::Percent;
use super::ratio::Ratio;
use super::rounding::Rounding;
use super::troy::{OUNCE_PICOGRAMS, TROY_OUNCE_GRAMS};
use super::vat::VatUsed;

/// The most decimals of an amount.
const DECIMALS_MAX: u8 = 8;
/// Decimals to which an amount is shown before it is rounded.
const SHOWN_DECIMALS: u32 = 8;
/// How amounts are rounded, unless something else is said: half up to hundredths.
pub const TO_THE_PENNY: MoneyRounding = MoneyRounding {
    rule: Rounding::HalfUp,
    decimals: 2,
};

/// How an amount is rounded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MoneyRounding {
    /// The rule.
    pub rule: Rounding,
    /// Decimals of the currency, 2 for pounds and pence.
    pub decimals: u8,
}

/// All that a price is made from: with it an old quotation recomputes, whatever today's tables say.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PriceInputs {
    /// The metal.
    pub metal: Metal,
    /// Grams, as weighed.
    pub mass: Mass,
    /// Parts per thousand, if it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fineness: Option<Fineness>,
    /// Whether the fine metal alone is priced, and not the whole weight.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub by_fine_weight: bool,
    /// The spot price of a troy ounce.
    pub spot: Money,
    /// What is asked on top of it, per cent; below zero for metal that is bought.
    pub premium_percent: Percent,
    /// Fees on top, in the same currency.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fees: Option<Money>,
    /// By which rule the weight is priced.
    pub weight: WeightRule,
    /// The rate of tax that was used.
    pub vat: VatUsed,
    /// How amounts are rounded.
    pub rounding: MoneyRounding,
}

/// A price.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Price {
    /// The troy ounces that are priced.
    pub ounces: String,
    /// The net amount before it is rounded, shown to eight decimals.
    pub unrounded: String,
    /// Without tax.
    pub net: Money,
    /// Tax.
    pub vat: Money,
    /// With tax.
    pub gross: Money,
    /// The formula with the numbers put in.
    pub formula: String,
}

/// Why there is no price.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PriceError {
    /// A mass of zero.
    #[error("a mass of zero has no price")]
    ZeroMass,
    /// The metal is not sold by the troy ounce.
    #[error("{0} is not priced by the troy ounce")]
    NotPrecious(Metal),
    /// A spot price that is none.
    #[error("a spot price is above zero, this is {0}")]
    SpotNotPositive(Money),
    /// A gross amount below zero.
    #[error("a gross amount is never below zero, this is {0}")]
    GrossNegative(Money),
    /// Fees below zero.
    #[error("fees are never below zero: give a premium below zero for a discount; this is {0}")]
    FeesNegative(Money),
    /// Two currencies in one price.
    #[error(
        "the fees are in {fees}, the spot price is in {spot}: currencies are not mixed, and none is converted"
    )]
    CurrenciesMixed {
        /// Of the spot price.
        spot: super::Currency,
        /// Of the fees.
        fees: super::Currency,
    },
    /// More decimals than an amount has.
    #[error("an amount has at most 8 decimals, {0} are asked")]
    TooManyDecimals(u8),
    /// Fine metal of which the fineness is not said.
    #[error("the fine metal cannot be priced without its fineness")]
    FinenessNotSaid,
    /// A rate of tax that is none.
    #[error("a rate of tax is not below zero")]
    RateNegative,
    /// Beyond what amounts can hold.
    #[error("the price is beyond what an amount of money can hold")]
    TooLarge,
}

impl PriceError {
    /// Which of the inputs it is about, as a JSON pointer into them; the whole for what several bring about together.
    #[must_use]
    pub const fn pointer(&self) -> &'static str {
        match self {
            Self::ZeroMass => "/mass",
            Self::NotPrecious(_) => "/metal",
            Self::SpotNotPositive(_) => "/spot",
            Self::GrossNegative(_) => "/gross",
            Self::FeesNegative(_) | Self::CurrenciesMixed { .. } => "/fees",
            Self::TooManyDecimals(_) => "/rounding/decimals",
            Self::FinenessNotSaid => "/fineness",
            Self::RateNegative => "/vat",
            Self::TooLarge => "",
        }
    }
}

impl From<Unreadable> for PriceError {
    fn from(_: Unreadable) -> Self {
        Self::TooLarge
    }
}

/// An amount as an exact fraction; `None` below zero.
fn fraction(amount: Money) -> Option<Ratio> {
    let amount = amount.amount();
    let above = u128::try_from(amount.mantissa()).ok()?;
    Ratio::new(above, 10_u128.checked_pow(amount.scale())?)
}

/// The net amount, and so on, of an exact fraction.
fn rounded(exact: Ratio, spot: Money, rounding: MoneyRounding) -> Result<Money, PriceError> {
    let text = exact.to_decimal(u32::from(rounding.decimals), rounding.rule);
    let text = text.ok_or(PriceError::TooLarge)?;
    Ok(Money::parse(&text, &spot.currency().to_string())?)
}

impl PriceInputs {
    fn check(&self) -> Result<(), PriceError> {
        if self.mass.is_zero() {
            return Err(PriceError::ZeroMass);
        }
        if !self.metal.is_precious() {
            return Err(PriceError::NotPrecious(self.metal));
        }
        if self.by_fine_weight && self.fineness.is_none() {
            return Err(PriceError::FinenessNotSaid);
        }
        if self.rounding.decimals > DECIMALS_MAX {
            return Err(PriceError::TooManyDecimals(self.rounding.decimals));
        }
        if self.spot.amount().is_sign_negative() || self.spot.amount().is_zero() {
            return Err(PriceError::SpotNotPositive(self.spot));
        }
        let Some(fees) = self.fees else {
            return Ok(());
        };
        if fees.currency() != self.spot.currency() {
            return Err(PriceError::CurrenciesMixed {
                spot: self.spot.currency(),
                fees: fees.currency(),
            });
        }
        if fees.amount().is_sign_negative() {
            return Err(PriceError::FeesNegative(fees));
        }
        Ok(())
    }

    /// The metal that is priced: all of it, or the fine metal in it.
    fn priced(&self) -> FineMass {
        let part = self.fineness.filter(|_| self.by_fine_weight);
        fine_mass(self.mass, part.unwrap_or(Fineness::PURE))
    }

    /// The troy ounces that are priced, by the rule of the weight.
    fn ounces(&self) -> Option<Ratio> {
        let picograms = self.priced().picograms().unsigned_abs();
        let exact = Ratio::new(picograms, OUNCE_PICOGRAMS)?;
        let Some(decimals) = self.weight.row().decimals else {
            return Some(exact);
        };
        let steps = 10_u128.checked_pow(decimals)?;
        let count = Rounding::Down.divide(picograms.checked_mul(steps)?, OUNCE_PICOGRAMS)?;
        Ratio::new(count, steps)
    }

    /// Reckons the price.
    ///
    /// # Errors
    /// [`PriceError`].
    pub fn price(&self) -> Result<Price, PriceError> {
        self.check()?;
        let ounces = self.ounces().ok_or(PriceError::TooLarge)?;
        let exact = self.net_of(ounces).ok_or(PriceError::TooLarge)?;
        let net = rounded(exact, self.spot, self.rounding)?;
        let rate = self.vat.percent.part().ok_or(PriceError::RateNegative)?;
        let tax = fraction(net).and_then(|net| net.checked_mul(rate));
        let vat = rounded(tax.ok_or(PriceError::TooLarge)?, self.spot, self.rounding)?;
        let gross = net.checked_add(vat).ok_or(PriceError::TooLarge)?;
        let decimals = self.weight.row().decimals.unwrap_or(SHOWN_DECIMALS);
        let ounces = ounces.to_decimal(decimals, Rounding::HalfUp);
        let ounces = ounces.ok_or(PriceError::TooLarge)?;
        let unrounded = exact.to_decimal(SHOWN_DECIMALS, Rounding::HalfUp);
        let unrounded = unrounded.ok_or(PriceError::TooLarge)?;
        let formula = self.formula(&ounces, &unrounded, net, vat);
        Ok(Price {
            ounces,
            unrounded,
            net,
            vat,
            gross,
            formula,
        })
    }

    fn net_of(&self, ounces: Ratio) -> Option<Ratio> {
        let by_weight = ounces
            .checked_mul(fraction(self.spot)?)?
            .checked_mul(self.premium_percent.factor())?;
        match self.fees {
            Some(fees) => by_weight.checked_add(fraction(fees)?),
            None => Some(by_weight),
        }
    }

    fn formula(&self, ounces: &str, unrounded: &str, net: Money, vat: Money) -> String {
        let metal = match self.fineness.filter(|_| self.by_fine_weight) {
            Some(fineness) => format!("{} g x {fineness} / 1000", self.mass),
            None => format!("{} g", self.mass),
        };
        let premium = self.premium_percent.factor();
        let premium = premium.to_decimal(6, Rounding::HalfUp).unwrap_or_default();
        let premium = premium.trim_end_matches('0').trim_end_matches('.');
        let fees = self
            .fees
            .map_or_else(String::new, |fees| format!(" + {}", fees.amount()));
        let rule = match self.rounding.rule {
            Rounding::HalfUp => "half up",
            Rounding::Down => "down",
            Rounding::Up => "up",
        };
        format!(
            "{metal} / {TROY_OUNCE_GRAMS} g, rule {} = {ounces} ozt; {ounces} x {} x {premium}{fees} = {unrounded}, {rule} = {net}; \
             {net} x {} % = {vat}, {rule}",
            self.weight, self.spot, self.vat.percent,
        )
    }
}

/// The tax contained in a gross amount: gross x rate / (100 + rate), rounded once. At 20 % it is a sixth.
///
/// # Errors
/// [`PriceError::RateNegative`], [`PriceError::GrossNegative`], [`PriceError::TooManyDecimals`], [`PriceError::TooLarge`].
pub fn vat_contained(gross: Money, percent: Percent, rounding: MoneyRounding) -> Result<Money, PriceError> {
    if rounding.decimals > DECIMALS_MAX {
        return Err(PriceError::TooManyDecimals(rounding.decimals));
    }
    let rate = percent.part().ok_or(PriceError::RateNegative)?;
    let whole = percent.factor();
    let amount = fraction(gross).ok_or(PriceError::GrossNegative(gross))?;
    let turned = Ratio::new(whole.denominator(), whole.numerator());
    let part = turned.and_then(|turned| rate.checked_mul(turned));
    let tax = part.and_then(|part| amount.checked_mul(part));
    rounded(tax.ok_or(PriceError::TooLarge)?, gross, rounding)
}
