//! Ed25519 over entries: signing, the strict check, the check of many at once, and the name of a key.
//!
//! The name of a key is its RFC 7638 thumbprint. Deliberately absent: which key may sign what, and when (`keys`).

use super::batch::{Signed, hold_together};
use crate::proof::Hash;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ed25519_dalek::{Signature, Signer as _, SigningKey, VerifyingKey};
use sha2::{Digest as _, Sha256};
use std::fmt;

/// What stands in the header before the thumbprint. Nothing else is accepted: no other `alg`, no `jwk`, no `crit`.
pub(super) const HEADER_BEFORE_KID: &str = r#"{"alg":"Ed25519","typ":"pourbook-entry+sd-jwt","kid":""#;
/// What stands in the header after the thumbprint.
pub(super) const HEADER_AFTER_KID: &str = r#""}"#;

/// The signature of an entry does not hold under the key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the signature does not hold under this key")]
pub struct BadSignature;

/// A public key that may be held against signatures: never one of small order, under which anything would hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PublicKey(VerifyingKey);

impl PublicKey {
    /// A key from its 32 bytes; `None` if they are no point of the curve, one of small order, or an alias of a point: y
    /// of the field's prime or more, which RFC 8032 (section 5.1.3) refuses and the library takes.
    #[must_use]
    pub fn from_bytes(bytes: &[u8; 32]) -> Option<Self> {
        let [low, middle @ .., high] = bytes;
        let is_alias = *low >= 0xed && middle.iter().all(|byte| *byte == 0xff) && high & 0x7f == 0x7f;
        let key = VerifyingKey::from_bytes(bytes).ok()?;
        (!is_alias && !key.is_weak()).then_some(Self(key))
    }

    /// A key from the `x` of its JWK (RFC 8037): canonical base64url without padding.
    #[must_use]
    pub fn from_base64url(x: &str) -> Option<Self> {
        Self::from_bytes(&Hash::from_base64url(x)?.0)
    }

    /// Its 32 bytes.
    #[must_use]
    pub fn to_bytes(&self) -> [u8; 32] {
        self.0.to_bytes()
    }

    /// The `x` of its JWK.
    #[must_use]
    pub fn to_base64url(&self) -> String {
        URL_SAFE_NO_PAD.encode(self.0.as_bytes())
    }

    /// Its RFC 7638 thumbprint.
    #[must_use]
    pub fn thumbprint(&self) -> String {
        thumbprint(self.0.as_bytes())
    }
}

/// The RFC 7638 thumbprint of an Ed25519 key: SHA-256 over its JWK with the required members in order (RFC 8037).
#[must_use]
pub fn thumbprint(public: &[u8; 32]) -> String {
    let jwk = format!(
        r#"{{"crv":"Ed25519","kty":"OKP","x":"{}"}}"#,
        URL_SAFE_NO_PAD.encode(public)
    );
    URL_SAFE_NO_PAD.encode(Sha256::digest(jwk))
}

/// A key that signs entries. Its secret is in no log and in no debug text.
#[derive(Clone)]
pub struct Signer {
    key: SigningKey,
    kid: String,
    header: String,
}

impl Signer {
    /// A signer from the 32 bytes of its secret.
    #[must_use]
    pub fn from_seed(seed: &[u8; 32]) -> Self {
        let key = SigningKey::from_bytes(seed);
        let kid = thumbprint(key.verifying_key().as_bytes());
        let header = URL_SAFE_NO_PAD.encode(format!("{HEADER_BEFORE_KID}{kid}{HEADER_AFTER_KID}"));
        Self { key, kid, header }
    }

    /// The RFC 7638 thumbprint of its public key.
    #[must_use]
    pub fn kid(&self) -> &str {
        &self.kid
    }

    /// Its public key.
    #[must_use]
    pub fn public(&self) -> PublicKey {
        PublicKey(self.key.verifying_key())
    }

    /// The header of what it signs, as it stands in an entry.
    pub(super) fn header(&self) -> &str {
        &self.header
    }

    /// Signs the header and payload of an entry.
    pub(super) fn sign(&self, signed: &[u8]) -> [u8; 64] {
        self.key.sign(signed).to_bytes()
    }
}

impl fmt::Debug for Signer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Signer({})", self.kid)
    }
}

/// What is signed of an entry, and its signature; `None` if the last part is no canonical base64url of 64 bytes.
fn split_signature(entry: &[u8]) -> Option<(&[u8], Signature)> {
    let dot = entry.iter().rposition(|byte| *byte == b'.')?;
    let (signed, rest) = entry.split_at_checked(dot)?;
    Some((signed, Signature::from_bytes(&decode_signature(rest.get(1..)?)?)))
}

/// The 64 bytes of a signature in canonical base64url.
pub(super) fn decode_signature(text: &[u8]) -> Option<[u8; 64]> {
    let mut signature = [0; 64];
    let length = URL_SAFE_NO_PAD.decode_slice(text, &mut signature).ok()?;
    (length == signature.len()).then_some(signature)
}

/// Checks the signature of an entry strictly: canonical values, no point of small order.
///
/// # Errors
/// [`BadSignature`].
pub fn verify_signature(entry: &[u8], key: &PublicKey) -> Result<(), BadSignature> {
    let (signed, signature) = split_signature(entry).ok_or(BadSignature)?;
    key.0.verify_strict(signed, &signature).map_err(|_| BadSignature)
}

/// Checks the signatures of many entries at once (see `batch`), which is some four times as fast as one by one; when the
/// whole does not hold, they are checked strictly one by one.
///
/// A whole that holds is a weaker word than [`verify_signature`] of each: whoever has a secret key can make a signature
/// with a part of small order that passes here and not there. Nobody without the key can make either.
///
/// # Errors
/// The place in `entries` of the first that does not hold.
pub fn verify_batch(entries: &[(&[u8], &PublicKey)]) -> Result<(), usize> {
    let signed: Option<Vec<Signed<'_>>> = entries
        .iter()
        .map(|(entry, key)| {
            let (message, signature) = split_signature(entry)?;
            let key = &key.0;
            Some(Signed {
                message,
                signature,
                key,
            })
        })
        .collect();
    // Where one has no signature at all, something before it may be wrong as well, and the first is to be named.
    if signed.is_some_and(|signed| hold_together(&signed)) {
        return Ok(());
    }
    verify_each(entries)
}

fn verify_each(entries: &[(&[u8], &PublicKey)]) -> Result<(), usize> {
    let bad = |(entry, key): &(&[u8], &PublicKey)| verify_signature(entry, key).is_err();
    entries.iter().position(bad).map_or(Ok(()), Err)
}
