//! A SHA-256 hash, and the two ways in which the tree uses it (RFC 6962 section 2.1).

use base64::Engine as _;
use base64::engine::general_purpose::{GeneralPurpose, STANDARD, URL_SAFE_NO_PAD};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};
use std::fmt;

/// 32 bytes of SHA-256.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hash(pub [u8; 32]);

impl Hash {
    /// Standard base64 with padding, as C2SP texts spell it.
    #[must_use]
    pub fn to_base64(&self) -> String {
        STANDARD.encode(self.0)
    }

    /// Reads standard base64; `None` for anything but the canonical form of 32 bytes.
    #[must_use]
    pub fn from_base64(text: &str) -> Option<Self> {
        if text.len() == 44 {
            Self::decoded(&STANDARD, text)
        } else {
            None
        }
    }

    /// Base64url without padding, as JOSE texts spell it.
    #[must_use]
    pub fn to_base64url(&self) -> String {
        URL_SAFE_NO_PAD.encode(self.0)
    }

    /// Reads base64url without padding; `None` for anything but the canonical form of 32 bytes.
    #[must_use]
    pub fn from_base64url(text: &str) -> Option<Self> {
        if text.len() == 43 {
            Self::decoded(&URL_SAFE_NO_PAD, text)
        } else {
            None
        }
    }

    /// Decodes without touching the heap: logs are read by the million. The engines refuse aliases.
    fn decoded(engine: &GeneralPurpose, text: &str) -> Option<Self> {
        // 33 bytes are what 44 characters can hold; a text that fills the last one is refused.
        let mut bytes = [0; 33];
        let length = engine.decode_slice(text, &mut bytes).ok()?;
        bytes
            .split_first_chunk::<32>()
            .filter(|_| length == 32)
            .map(|(hash, _)| Self(*hash))
    }
}

/// Leaf hash: SHA-256(0x00 || entry).
#[must_use]
pub fn leaf_hash(entry: &[u8]) -> Hash {
    Hash(
        Sha256::new()
            .chain_update([0])
            .chain_update(entry)
            .finalize()
            .into(),
    )
}

/// Node hash: SHA-256(0x01 || left || right).
#[must_use]
pub fn node_hash(left: &Hash, right: &Hash) -> Hash {
    // One piece of 65 bytes: hashing three pieces one by one costs half as much again.
    let mut bytes = [1; 65];
    let [_, sides @ ..] = &mut bytes;
    let (first, second) = sides.split_at_mut(32);
    first.copy_from_slice(&left.0);
    second.copy_from_slice(&right.0);
    Hash(Sha256::digest(bytes).into())
}

/// Root of the empty tree: SHA-256 of nothing.
pub(super) fn empty_root() -> Hash {
    Hash(Sha256::digest([]).into())
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digit = |nibble: u8| {
            if nibble < 10 {
                b'0'.saturating_add(nibble)
            } else {
                b'a'.saturating_add(nibble.saturating_sub(10))
            }
        };
        let mut text = [0; 64];
        for (pair, byte) in text.chunks_exact_mut(2).zip(self.0) {
            pair.copy_from_slice(&[digit(byte >> 4), digit(byte & 15)]);
        }
        f.write_str(std::str::from_utf8(&text).unwrap_or_default())
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl Serialize for Hash {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.to_base64url())
    }
}

impl<'de> Deserialize<'de> for Hash {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Text;
        impl serde::de::Visitor<'_> for Text {
            type Value = Hash;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("43 characters of canonical base64url")
            }

            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Hash, E> {
                Hash::from_base64url(text)
                    .ok_or_else(|| E::invalid_value(serde::de::Unexpected::Str(text), &self))
            }
        }
        deserializer.deserialize_str(Text)
    }
}
