//! Many Ed25519 signatures, held together in one equation.
//!
//! It is that of Bernstein, Duif, Lange, Schwabe and Yang, "High-speed high-security signatures" (2012), section 5: with
//! k = SHA-512(R, A, M) of each signature (R, s) under a key A, and a weight z of 128 bits for each that nobody could foresee,
//! `(-sum z s) B + sum z R + sum (z k) A` is the neutral element. A log has few keys, so what stands before the same key is
//! added up and the key multiplied once: that halves the points and saves the long scalars, which `ed25519-dalek` cannot, as
//! it takes every key for another.
//!
//! Deliberately absent: which one is wrong where they do not hold together, and the strictness of the check of one.

use curve25519_dalek::constants::ED25519_BASEPOINT_POINT;
use curve25519_dalek::edwards::CompressedEdwardsY;
use curve25519_dalek::traits::{IsIdentity as _, VartimeMultiscalarMul as _};
use curve25519_dalek::{EdwardsPoint, Scalar};
use ed25519_dalek::{Signature, VerifyingKey};
use sha2::{Digest as _, Sha256, Sha512};
use std::collections::BTreeMap;

/// What was signed, the signature, and under which key.
#[derive(Clone)]
pub(super) struct Signed<'a> {
    pub message: &'a [u8],
    pub signature: Signature,
    pub key: &'a VerifyingKey,
}

impl Signed<'_> {
    /// k, before it is taken modulo the order of the group.
    fn hash(&self) -> [u8; 64] {
        Sha512::new()
            .chain_update(self.signature.r_bytes())
            .chain_update(self.key.as_bytes())
            .chain_update(self.message)
            .finalize()
            .into()
    }
}

/// Whether all hold. Those that do not pass with a chance of 2^-128.
pub(super) fn hold_together(all: &[Signed<'_>]) -> bool {
    sum(all).is_some_and(|sum| sum.is_identity())
}

fn sum(all: &[Signed<'_>]) -> Option<EdwardsPoint> {
    let hashes: Vec<[u8; 64]> = all.iter().map(Signed::hash).collect();
    let mut before_base = Scalar::ZERO;
    let mut before_keys: BTreeMap<&[u8; 32], (Scalar, EdwardsPoint)> = BTreeMap::new();
    let mut scalars = Vec::with_capacity(all.len());
    let mut points = Vec::with_capacity(all.len());
    for ((one, hash), weight) in all.iter().zip(&hashes).zip(weights(all, &hashes)) {
        let s = Scalar::from_canonical_bytes(*one.signature.s_bytes()).into_option()?;
        before_base -= weight * s;
        before_keys
            .entry(one.key.as_bytes())
            .or_insert_with(|| (Scalar::ZERO, one.key.to_edwards()))
            .0 += weight * Scalar::from_bytes_mod_order_wide(hash);
        scalars.push(weight);
        points.push(CompressedEdwardsY(*one.signature.r_bytes()).decompress());
    }
    let few = before_keys
        .into_values()
        .chain([(before_base, ED25519_BASEPOINT_POINT)]);
    for (scalar, point) in few {
        scalars.push(scalar);
        points.push(Some(point));
    }
    EdwardsPoint::optional_multiscalar_mul(scalars, points)
}

/// The weights: 128 bits each, drawn from a hash of all that they weigh. Nobody can choose a signature after its weight, for
/// with each choice all weights are others.
fn weights(all: &[Signed<'_>], hashes: &[[u8; 64]]) -> impl Iterator<Item = Scalar> {
    let mut seed = Sha256::new();
    for (one, hash) in all.iter().zip(hashes) {
        seed.update(hash);
        seed.update(one.signature.s_bytes());
    }
    let seed = seed.finalize();
    (0_u64..).map(move |number| {
        let drawn = Sha256::new()
            .chain_update(seed)
            .chain_update(number.to_le_bytes())
            .finalize();
        let mut weight = [0; 16];
        weight.copy_from_slice(drawn.split_at(16).0);
        Scalar::from(u128::from_le_bytes(weight))
    })
}

#[cfg(test)]
mod tests;
