//! What names a photograph, and the bounds that the book sets on one.
//!
//! A photograph is known by the hash of the bytes that are kept of it, so the record holds what it showed, and nobody can
//! put another in its place. Deliberately absent: the pictures, which the book never sees.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};
use std::fmt;
use std::str::FromStr;

/// How many photographs one piece may have.
pub const PHOTOGRAPHS_MAX: usize = 24;
/// How many pixels a photograph may have.
pub const PHOTOGRAPH_PIXELS_MAX: u64 = 50_000_000;
/// How many pixels it may be wide or high: the size fields of a JPEG frame have 16 bits (ITU-T T.81, table B.2).
pub const PHOTOGRAPH_SIDE_MAX: u32 = 65_535;

/// SHA-256 of the bytes of a photograph as they are kept, written as 64 lower hexadecimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PhotographHash([u8; 32]);

impl PhotographHash {
    /// The hash of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// A hash that was computed elsewhere.
    #[must_use]
    pub const fn from_bytes(hash: [u8; 32]) -> Self {
        Self(hash)
    }
}

impl fmt::Display for PhotographHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// Why a text is no hash of a photograph.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("must be the SHA-256 of a photograph: 64 lower hexadecimal digits")]
pub struct NoPhotographHash;

impl FromStr for PhotographHash {
    type Err = NoPhotographHash;

    /// Reads the one spelling there is.
    fn from_str(text: &str) -> Result<Self, NoPhotographHash> {
        let digit = |letter: u8| match letter {
            b'0'..=b'9' => Ok(letter.wrapping_sub(b'0')),
            b'a'..=b'f' => Ok(letter.wrapping_sub(b'a').wrapping_add(10)),
            _ => Err(NoPhotographHash),
        };
        let (pairs, rest) = text.as_bytes().as_chunks::<2>();
        let bytes = pairs
            .iter()
            .map(|[high, low]| Ok(digit(*high)? << 4 | digit(*low)?))
            .collect::<Result<Vec<u8>, NoPhotographHash>>()?;
        match <[u8; 32]>::try_from(bytes) {
            Ok(hash) if rest.is_empty() => Ok(Self(hash)),
            _ => Err(NoPhotographHash),
        }
    }
}

impl Serialize for PhotographHash {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for PhotographHash {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}
