//! Requests that were answered before: the same key, operator and content get the same answer, for ever.
//!
//! Beside each entry the vault holds a keyed digest of the canonical command, so that other content under the same key
//! is noticed without keeping the content. It is erased with the disclosures that it covers, and the key then answers
//! without comparing.

use super::submission::{Ask, Submission};
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use subtle::ConstantTimeEq;

/// HMAC-SHA-256 (RFC 2104) of what is asked and of when it was done, under a secret of the book.
pub fn content_digest(secret: &[u8; 32], submission: &Submission) -> Vec<u8> {
    let canonical = match &submission.ask {
        Ask::Command(command) => serde_json::to_vec(command).unwrap_or_default(),
        Ask::KeyEntry(entry) => entry.clone(),
    };
    let mut mac = Hmac::<Sha256>::new_from_slice(secret)
        .unwrap_or_else(|_| unreachable!("HMAC takes a key of any length"));
    mac.update(&canonical);
    if let Some(at) = submission.at {
        // Neither JSON in one line nor a key entry holds a line feed, so no other content reads the same.
        mac.update(format!("\n{}", at.0).as_bytes());
    }
    mac.finalize().into_bytes().to_vec()
}

/// Whether a stored digest fits what is asked now; an erased one fits everything.
pub fn same_content(stored: &[u8], asked: &[u8]) -> bool {
    stored.is_empty() || bool::from(stored.ct_eq(asked))
}
