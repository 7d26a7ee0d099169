//! Money: a decimal amount with its currency, digits kept as given.
//!
//! "3.4200" stays "3.4200", since an old document must recompute from what was stored with it. Deliberately absent:
//! rates of exchange, rounding to a currency's coins, and any arithmetic between two currencies.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::digits::{Unreadable, deserialize_text, quote, read_count, serde_as_text};

/// Decimals of an amount: a price per gram needs more than a currency has coins.
const AMOUNT_DECIMALS_MAX: u32 = 8;
/// The largest amount on either side of zero, in whole units of its currency.
const AMOUNT_WHOLE_MAX: u64 = 1_000_000_000_000;
const AMOUNT_LIMIT: &str = "1000000000000";

/// A currency by its three letters of ISO 4217. Whether the letters are assigned is not checked here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Currency([u8; 3]);

impl Currency {
    /// Reads three capital letters.
    ///
    /// # Errors
    /// `NotACurrency` for anything else.
    pub fn parse(text: &str) -> Result<Self, Unreadable> {
        match <[u8; 3]>::try_from(text.as_bytes()) {
            Ok(letters) if letters.iter().all(u8::is_ascii_uppercase) => Ok(Self(letters)),
            _ => Err(Unreadable::NotACurrency(quote(text))),
        }
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0
            .iter()
            .try_for_each(|letter| write!(f, "{}", char::from(*letter)))
    }
}

impl FromStr for Currency {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        Self::parse(text)
    }
}

serde_as_text!(Currency);

/// An amount of one currency, at most 10^12 on either side of zero with at most eight decimals.
///
/// Equality is of value: 3.42 equals 3.4200 as an amount, though each is written with the digits it came with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Money {
    #[serde(with = "amount_text")]
    amount: Decimal,
    currency: Currency,
}

impl Money {
    /// An amount of a currency.
    ///
    /// # Errors
    /// `TooLarge` or `TooFine` beyond the limits of the type; `NotANumber` for a zero below zero.
    pub fn new(amount: Decimal, currency: Currency) -> Result<Self, Unreadable> {
        Ok(Self {
            amount: check_amount(amount)?,
            currency,
        })
    }

    /// Reads an amount (plain digits, a minus before one below zero) and a currency.
    ///
    /// # Errors
    /// The fact that keeps either text from being what it should be.
    pub fn parse(amount: &str, currency: &str) -> Result<Self, Unreadable> {
        Ok(Self {
            amount: parse_amount(amount)?,
            currency: Currency::parse(currency)?,
        })
    }

    /// The amount with its digits.
    #[must_use]
    pub const fn amount(&self) -> Decimal {
        self.amount
    }

    /// The currency.
    #[must_use]
    pub const fn currency(&self) -> Currency {
        self.currency
    }

    /// The sum; `None` for two currencies or beyond the limit.
    #[must_use]
    pub fn checked_add(self, other: Self) -> Option<Self> {
        self.combine(other, Decimal::checked_add)
    }

    /// The difference; `None` for two currencies or beyond the limit.
    #[must_use]
    pub fn checked_sub(self, other: Self) -> Option<Self> {
        self.combine(other, Decimal::checked_sub)
    }

    fn combine(self, other: Self, by: fn(Decimal, Decimal) -> Option<Decimal>) -> Option<Self> {
        if self.currency != other.currency {
            return None;
        }
        let mut amount = by(self.amount, other.amount)?;
        if amount.is_zero() {
            // A sum that comes out even has no sign.
            amount.set_sign_positive(true);
        }
        Self::new(amount, self.currency).ok()
    }
}

/// The amount and then the currency: `24.51 GBP`.
impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.amount, self.currency)
    }
}

/// An amount and its currency in one text, `24.51 GBP`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Amount(pub Money);

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for Amount {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let (amount, currency) = text
            .split_once(' ')
            .ok_or_else(|| Unreadable::NotAnAmount(quote(text)))?;
        Money::parse(amount, currency).map(Self)
    }
}

serde_as_text!(Amount);

fn parse_amount(text: &str) -> Result<Decimal, Unreadable> {
    let size = text.strip_prefix('-').unwrap_or(text);
    read_count(size, AMOUNT_DECIMALS_MAX, u128::MAX, AMOUNT_LIMIT)?;
    // The library reads more forms than we do (exponents, underscores); by now only plain digits are left.
    let amount = Decimal::from_str_exact(text).map_err(|_| Unreadable::TooLarge(AMOUNT_LIMIT))?;
    if amount.is_zero() && text.starts_with('-') {
        return Err(Unreadable::NotANumber(quote(text)));
    }
    check_amount(amount)
}

fn check_amount(amount: Decimal) -> Result<Decimal, Unreadable> {
    if amount.scale() > AMOUNT_DECIMALS_MAX {
        return Err(Unreadable::TooFine(AMOUNT_DECIMALS_MAX));
    }
    if amount.abs() > Decimal::from(AMOUNT_WHOLE_MAX) {
        return Err(Unreadable::TooLarge(AMOUNT_LIMIT));
    }
    if amount.is_zero() && amount.is_sign_negative() {
        return Err(Unreadable::NotANumber(quote(&amount.to_string())));
    }
    Ok(amount)
}

/// The string form of an amount, stricter than the library's own: plain digits only, never a number.
mod amount_text {
    use super::{Decimal, FromStr, Unreadable, deserialize_text, parse_amount};

    struct Amount(Decimal);

    impl FromStr for Amount {
        type Err = Unreadable;

        fn from_str(text: &str) -> Result<Self, Unreadable> {
            parse_amount(text).map(Amount)
        }
    }

    pub fn serialize<S: serde::Serializer>(amount: &Decimal, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(amount)
    }

    pub fn deserialize<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Decimal, D::Error> {
        deserialize_text(deserializer).map(|Amount(amount)| amount)
    }
}
