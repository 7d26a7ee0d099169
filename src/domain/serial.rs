//! Serials and certificate codes: what is printed, and how a slip in typing is caught.

use super::draw::Draw;
use crate::metal::check_digits;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::{fmt, str::FromStr};

/// The letters and digits of codes: without I, L, O and U, which are misread.
const SYMBOLS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// The code of a series: 2 to 4 capital letters without I, L, O and U.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SeriesCode(String);

/// A serial: series code, number of 4 to 6 digits, two check digits of ISO/IEC 7064 MOD 97-10 over code and number.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Serial {
    code: SeriesCode,
    number: String,
}

/// Why a text is no serial.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SerialError {
    /// It does not have the form.
    #[error(
        "a serial is a code of 2 to 4 letters, a number of 4 to 6 digits and two check digits, like TW-0007-65"
    )]
    Form,
    /// The check digits do not fit: a slip in typing, or another serial.
    #[error("the check digits do not fit: one character is wrong, or two are swapped")]
    Slip,
}

impl SeriesCode {
    /// Reads a code.
    ///
    /// # Errors
    /// [`SerialError::Form`] if it is not 2 to 4 capital letters without I, L, O and U.
    pub fn parse(text: &str) -> Result<Self, SerialError> {
        let letters = text
            .bytes()
            .all(|b| b.is_ascii_uppercase() && SYMBOLS.contains(&b));
        if (2..=4).contains(&text.len()) && letters {
            Ok(Self(text.to_owned()))
        } else {
            Err(SerialError::Form)
        }
    }

    /// The code as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Serial {
    /// The serial of `number` in a series, written with `digits` digits (4 to 6); `None` if it does not fit.
    #[must_use]
    pub fn new(code: SeriesCode, number: u32, digits: u8) -> Option<Self> {
        let width = usize::from(digits);
        let number = format!("{number:0width$}");
        ((4..=6).contains(&width) && number.len() == width).then_some(Self { code, number })
    }

    /// The two check digits.
    #[must_use]
    pub fn check(&self) -> String {
        check_digits::mod_97_10(&format!("{}{}", self.code.0, self.number)).unwrap_or_default()
    }

    /// The code of its series.
    #[must_use]
    pub const fn code(&self) -> &SeriesCode {
        &self.code
    }

    /// The number's digits, zeros in front included.
    #[must_use]
    pub fn number(&self) -> &str {
        &self.number
    }

    /// Reads what a person typed: any case, spaces and hyphens ignored, check digits required.
    ///
    /// # Errors
    /// [`SerialError::Form`] or [`SerialError::Slip`].
    pub fn parse_typed(text: &str) -> Result<Self, SerialError> {
        match Self::parse_loose(text)? {
            (serial, true) => Ok(serial),
            (_, false) => Err(SerialError::Form),
        }
    }

    /// Reads what a person typed, with or without check digits; the flag says whether they were there (and held).
    /// Without them the number must be 4 digits wide or written with its hyphens, or it could be read two ways.
    ///
    /// # Errors
    /// [`SerialError::Form`] or [`SerialError::Slip`].
    pub fn parse_loose(text: &str) -> Result<(Self, bool), SerialError> {
        if text.len() > 40 {
            return Err(SerialError::Form);
        }
        let upper = text.trim().to_ascii_uppercase();
        let parts: Vec<&str> = upper.split([' ', '-']).filter(|p| !p.is_empty()).collect();
        let joined = parts.concat();
        let letters = joined.bytes().take_while(u8::is_ascii_uppercase).count();
        let (code, digits) = joined.split_at_checked(letters).ok_or(SerialError::Form)?;
        let code = SeriesCode::parse(code)?;
        if !digits.bytes().all(|b| b.is_ascii_digit()) {
            return Err(SerialError::Form);
        }
        let bare = digits.len() == 4 || (parts.len() == 2 && (4..=6).contains(&digits.len()));
        if bare {
            return Ok((
                Self {
                    code,
                    number: digits.to_owned(),
                },
                false,
            ));
        }
        if !(6..=8).contains(&digits.len()) {
            return Err(SerialError::Form);
        }
        let (number, check) = digits
            .split_at_checked(digits.len().saturating_sub(2))
            .ok_or(SerialError::Form)?;
        let serial = Self {
            code,
            number: number.to_owned(),
        };
        if serial.check() == check {
            Ok((serial, true))
        } else {
            Err(SerialError::Slip)
        }
    }
}

/// Draws a certificate code: 10 symbols and a check character of ISO/IEC 7064 MOD 37,36, drawn again when the check
/// character is not one of the 32 symbols.
pub fn certificate_code(draw: &mut Draw) -> String {
    loop {
        let payload: String = draw
            .bytes()
            .iter()
            .take(10)
            .filter_map(|byte| SYMBOLS.get(usize::from(byte % 32)))
            .map(|symbol| char::from(*symbol))
            .collect();
        if let Some(check) = check_digits::mod_37_36(&payload)
            && SYMBOLS.iter().any(|symbol| char::from(*symbol) == check)
        {
            return format!("{payload}{check}");
        }
    }
}

/// Why a text is no certificate code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CodeError {
    /// It does not have the form.
    #[error("a certificate code has 11 letters and digits, without I, L, O and U")]
    Form,
    /// Its check character does not fit: a slip in typing.
    #[error("the last character does not fit the rest: one character is wrong, or two are swapped")]
    Slip,
}

/// Reads a certificate code as a person typed it: any case, spaces and hyphens ignored.
///
/// # Errors
/// [`CodeError`].
pub fn read_certificate_code(text: &str) -> Result<String, CodeError> {
    if text.len() > 40 {
        return Err(CodeError::Form);
    }
    let code: String = text
        .chars()
        .filter(|letter| !matches!(letter, ' ' | '-'))
        .collect();
    let code = code.to_ascii_uppercase();
    let known = code.len() == 11 && code.bytes().all(|letter| SYMBOLS.contains(&letter));
    let (payload, check) = code
        .split_at_checked(10)
        .filter(|_| known)
        .ok_or(CodeError::Form)?;
    match check.chars().next() {
        Some(check) if check_digits::holds_37_36(payload, check) => Ok(code),
        _ => Err(CodeError::Slip),
    }
}

impl fmt::Display for SeriesCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Display for Serial {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{}-{}", self.code, self.number, self.check())
    }
}

impl FromStr for Serial {
    type Err = SerialError;

    /// The printed form only; see [`Serial::parse_typed`] for what people type.
    fn from_str(text: &str) -> Result<Self, SerialError> {
        let serial = Self::parse_typed(text)?;
        if serial.to_string() == text {
            Ok(serial)
        } else {
            Err(SerialError::Form)
        }
    }
}

impl Serialize for SeriesCode {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for SeriesCode {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(deserializer)?).map_err(|_| {
            serde::de::Error::custom("a series code is 2 to 4 capital letters without I, L, O and U")
        })
    }
}

impl Serialize for Serial {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Serial {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?
            .parse()
            .map_err(serde::de::Error::custom)
    }
}
