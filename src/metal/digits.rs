//! Reading and writing plain decimal digits, for every quantity of this floor.
//!
//! One reader, so that a comma, an exponent or a unit is refused in the same words wherever it is typed. It owns the
//! error of this floor. Deliberately absent: trimming, signs, thousands separators and any guess at what was meant.

use std::fmt;
use std::marker::PhantomData;
use std::str::FromStr;

use serde::de::{Deserializer, Error, Visitor};

/// The most characters of foreign text that an error repeats.
const QUOTED_CHARS_MAX: usize = 24;

/// Why a text is not the quantity it should be. It says the fact; the caller adds the name of the field.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// Nothing was given.
    #[error("is empty: give plain decimal digits, such as 50.42")]
    Empty,
    /// A minus sign before a quantity that is never negative.
    #[error("is negative: this quantity is never below zero")]
    Negative,
    /// Scientific notation.
    #[error("has an exponent: write the digits out")]
    Exponent,
    /// A comma, whether meant as a decimal sign or between thousands.
    #[error("has a comma for a point: write 1.5, and nothing between thousands")]
    Comma,
    /// A unit stands behind the number.
    #[error("{}", unit_message(.0))]
    Unit(String),
    /// More decimals than the quantity has.
    #[error("is too fine: at most {0} decimals")]
    TooFine(u32),
    /// Beyond the limit that is named.
    #[error("is too large: at most {0}")]
    TooLarge(&'static str),
    /// Below the limit that is named.
    #[error("is too small: at least {0}")]
    TooSmall(&'static str),
    /// A fineness of nothing.
    #[error("is zero: a fineness is above 0 and at most 1000 parts per thousand")]
    Zero,
    /// Water below its freezing point.
    #[error("is below 0 degrees Celsius: the density of water is known to us from 0 to 40 only")]
    Frozen,
    /// A density of nothing.
    #[error("is zero: a density is above 0")]
    Nought,
    /// Not a metal whose density is known here.
    #[error(
        "{0:?} is no metal whose density is known here: silver, gold, copper, zinc, tin, lead, bismuth, iron, nickel, molybdenum, tungsten, palladium"
    )]
    NotAMetal(String),
    /// Not the composition of an alloy.
    #[error(
        "{0:?} is no composition such as \"silver 925, copper 75\": parts per thousand, each metal once, 1000 in all"
    )]
    NotAnAlloy(String),
    /// Not a currency code.
    #[error("{0:?} is not a currency: three capital letters as in ISO 4217, such as GBP")]
    NotACurrency(String),
    /// Not grams and a fineness.
    #[error("{0:?} is not grams and a fineness, like 300@998.6")]
    NotAPart(String),
    /// Not a day.
    #[error("{0:?} is not a day like 2026-11-25")]
    NotADay(String),
    /// Not an amount with its currency.
    #[error("{0:?} is not an amount with its currency, like 24.51 GBP")]
    NotAnAmount(String),
    /// Not a fraction in its reduced form.
    #[error("{0:?} is not a reduced fraction such as 3/5")]
    NotAFraction(String),
    /// Anything else, the beginning of it repeated.
    #[error("{0:?} is not a plain decimal number such as 50.42")]
    NotANumber(String),
}

/// The error of a mass. One enum serves the whole floor; the name reads better beside a mass.
pub type MassError = Unreadable;

fn unit_message(unit: &str) -> String {
    let lower = unit.to_ascii_lowercase();
    if matches!(lower.as_str(), "oz" | "ounce" | "ounces" | "lb" | "lbs") {
        return format!("has the unit {unit:?}: ounces avoirdupois are refused, give grams without the unit");
    }
    format!("has the unit {unit:?}: give the bare number (a mass in grams, a fineness in parts per thousand)")
}

/// The beginning of a foreign text, short enough to repeat in an error.
pub(super) fn quote(text: &str) -> String {
    let mut quoted: String = text.chars().take(QUOTED_CHARS_MAX).collect();
    if text.chars().nth(QUOTED_CHARS_MAX).is_some() {
        quoted.push('…');
    }
    quoted
}

/// Reads plain digits, `whole[.decimals]`, as a count of `10^-decimals`.
///
/// `units_max` is the largest count that passes and `limit` its words for the error.
pub(super) fn read_count(
    text: &str,
    decimals: u32,
    units_max: u128,
    limit: &'static str,
) -> Result<u128, Unreadable> {
    let (whole, fraction) = match text.split_once('.') {
        Some((whole, fraction)) => (whole, Some(fraction)),
        None => (text, None),
    };
    let plain = is_digits(whole) && fraction.is_none_or(is_digits);
    // A leading zero is refused, so that a number has one spelling up to its trailing zeros.
    if !plain || (whole.len() > 1 && whole.starts_with('0')) {
        return Err(explain(text));
    }
    let fraction = fraction.unwrap_or("");
    let fraction_digits = u32::try_from(fraction.len()).unwrap_or(u32::MAX);
    if fraction_digits > decimals {
        return Err(Unreadable::TooFine(decimals));
    }
    let too_large = || Unreadable::TooLarge(limit);
    let mut count: u128 = 0;
    for digit in whole.bytes().chain(fraction.bytes()) {
        count = count
            .checked_mul(10)
            .and_then(|tens| tens.checked_add(u128::from(digit - b'0')))
            .ok_or_else(too_large)?;
    }
    let missing = 10_u128
        .checked_pow(decimals - fraction_digits)
        .ok_or_else(too_large)?;
    let count = count.checked_mul(missing).ok_or_else(too_large)?;
    if count > units_max {
        Err(too_large())
    } else {
        Ok(count)
    }
}

fn is_digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())
}

/// Names the fact that keeps a text from being plain digits.
fn explain(text: &str) -> Unreadable {
    let Some(first) = text.chars().next() else {
        return Unreadable::Empty;
    };
    if text.trim().is_empty() {
        return Unreadable::Empty;
    }
    // U+2212 is the minus sign that word processors put in place of the hyphen.
    if matches!(first, '-' | '\u{2212}') {
        return Unreadable::Negative;
    }
    let number_end = text
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .unwrap_or(text.len());
    let (number, rest) = text.split_at(number_end);
    if !number.bytes().any(|byte| byte.is_ascii_digit()) {
        return Unreadable::NotANumber(quote(text));
    }
    if rest.starts_with(',') {
        return Unreadable::Comma;
    }
    if let Some(power) = rest.strip_prefix(['e', 'E']) {
        let power = power.strip_prefix(['+', '-']).unwrap_or(power);
        if is_digits(power) {
            return Unreadable::Exponent;
        }
    }
    let unit = rest.trim();
    if unit.starts_with(|c: char| c.is_alphabetic() || matches!(c, '%' | '‰')) {
        return Unreadable::Unit(quote(unit));
    }
    Unreadable::NotANumber(quote(text))
}

/// Writes a count of `10^-decimals` with as few decimals as it needs, but at least `decimals_min`.
pub(super) fn write_count(
    f: &mut fmt::Formatter<'_>,
    negative: bool,
    count: u128,
    decimals: u32,
    decimals_min: u32,
) -> fmt::Result {
    let (mut count, mut decimals) = (count, decimals);
    while decimals > decimals_min && count % 10 == 0 {
        count /= 10;
        decimals -= 1;
    }
    f.write_str(&fixed_text(negative, count, decimals))
}

/// A count of `10^-decimals` as text with exactly that many decimals.
pub(super) fn fixed_text(negative: bool, count: u128, decimals: u32) -> String {
    let sign = if negative && count > 0 { "-" } else { "" };
    let decimals = usize::try_from(decimals).unwrap_or(usize::MAX);
    let digits = format!("{count:0>width$}", width = decimals.saturating_add(1));
    let (whole, fraction) = digits.split_at(digits.len().saturating_sub(decimals));
    if fraction.is_empty() {
        format!("{sign}{whole}")
    } else {
        format!("{sign}{whole}.{fraction}")
    }
}

/// Reads a value from a string and from nothing else: a JSON number would already have lost its digits.
pub(super) fn deserialize_text<'de, D, T>(deserializer: D) -> Result<T, D::Error>
where
    D: Deserializer<'de>,
    T: FromStr<Err = Unreadable>,
{
    deserializer.deserialize_str(Text(PhantomData))
}

struct Text<T>(PhantomData<T>);

impl<T: FromStr<Err = Unreadable>> Visitor<'_> for Text<T> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a string of plain decimal digits")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<T, E> {
        text.parse().map_err(E::custom)
    }
}

/// Gives a quantity its string form in serde: its `Display` when written, its `FromStr` when read.
macro_rules! serde_as_text {
    ($quantity:ty) => {
        impl serde::Serialize for $quantity {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }
        impl<'de> serde::Deserialize<'de> for $quantity {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                $crate::metal::digits::deserialize_text(deserializer)
            }
        }
    };
}
pub(super) use serde_as_text;
