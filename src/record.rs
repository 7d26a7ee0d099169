//! The record: an entry of the log, its disclosures, and the keys that may sign it.
//!
//! An entry is a compact JWS (RFC 7515) by an Ed25519 key (RFC 8032, named as in RFC 9864). It is also the issuer-signed
//! JWT of an SD-JWT (RFC 9901): what is private stands in it as a salted digest, and its value travels, or is erased,
//! beside it. An entry has one spelling; it is stored once and never written again.
//!
//! Deliberately absent: the tree, the store, the clock and chance (they come in as data), and any judgement of what an
//! event says. Whether an event may follow another is the book's to say.

mod batch;
mod disclosure;
mod event_form;
mod keys;
mod payload;
mod read;
mod seal;
mod signature;

pub use disclosure::{Disclosed, DisclosureFault, disclose, disclosure_digest};
pub use keys::{KeyFault, KeyRow, Keys};
pub use payload::{Entry, Payload, RecordedEvent};
pub use read::{Malformed, read};
pub use seal::{KeyEntryDraft, Sealed, SealedDisclosure, TooLarge, Unsealed, seal, seal_key_entry};
pub use signature::{BadSignature, PublicKey, Signer, thumbprint, verify_batch, verify_signature};

use crate::domain::Event;
use uuid::Uuid;

/// The longest entry, bytes: a tlog-proof carries it in `extra`, and readers of those refuse long lines.
pub const ENTRY_BYTES_MAX: usize = 40_000;

/// The chains that an event moves.
#[must_use]
pub fn subjects(event: &Event) -> Vec<Uuid> {
    event.subjects()
}
