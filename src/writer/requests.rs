//! Requests that were answered before: the same key, operator and content get the same answer, for ever.
//!
//! Beside each entry the vault holds a keyed digest of the canonical command, so that other content under the same key
//! is noticed without keeping the content. It is erased with the disclosures that it covers, and the key then answers
//! without comparing.

use super::submission::{Ask, Submission};
use crate::domain::Timestamp;
use crate::log::{Store, StoreError, VaultKind};
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use subtle::ConstantTimeEq;

/// HMAC-SHA-256 (RFC 2104) of what is asked and of when it was done, under a secret of the book.
pub fn content_digest(secret: &[u8; 32], submission: &Submission) -> Vec<u8> {
    let canonical = match &submission.ask {
        Ask::Command(command) => serde_json::to_vec(command).unwrap_or_default(),
        Ask::KeyEntry(entry) => entry.clone(),
    };
    digest(secret, &canonical, submission.at)
}

fn digest(secret: &[u8; 32], canonical: &[u8], at: Option<Timestamp>) -> Vec<u8> {
    let mut mac = Hmac::<Sha256>::new_from_slice(secret)
        .unwrap_or_else(|_| unreachable!("HMAC takes a key of any length"));
    mac.update(canonical);
    if let Some(at) = at {
        // Neither JSON in one line nor a key entry holds a line feed, so no other content reads the same.
        mac.update(format!("\n{}", at.0).as_bytes());
    }
    mac.finalize().into_bytes().to_vec()
}

/// Whether a stored digest fits what is asked now; an erased one fits everything.
pub fn same_content(stored: &[u8], asked: &[u8]) -> bool {
    stored.is_empty() || bool::from(stored.ct_eq(asked))
}

/// Whether the digests of a book were made under this secret, as far as can be told: a book begins with a key entry, whose
/// content is the entry itself, so that its digest can be made again. A book without that digest tells nothing.
///
/// # Errors
/// [`StoreError`] when the first entry or its digest cannot be read.
pub fn is_secret_of(store: &dyn Store, secret: &[u8; 32]) -> Result<bool, StoreError> {
    let Some(first) = store.read(0)? else {
        return Ok(true);
    };
    let key_entry = crate::record::read(&first).is_ok_and(|entry| entry.is_key_entry());
    let mut records = store.private(0)?.into_iter();
    let stored = records.find(|record| record.kind == VaultKind::Request);
    Ok(match stored {
        Some(stored) if key_entry => same_content(&stored.body, &digest(secret, &first, None)),
        _ => true,
    })
}
