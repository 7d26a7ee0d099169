//! The payload of an entry, and the one way in which it is written.
//!
//! Sealing and reading share this writer: what is read must be, byte for byte, what it writes. So there is no second
//! spelling of an entry (white space, escapes, order, `null` for absent) in which something could hide.

use super::event_form::write_event;
use crate::domain::{Event, OperatorId, Timestamp};
use crate::proof::Hash;
use std::collections::BTreeMap;
use uuid::Uuid;

/// An entry as it was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// RFC 7638 thumbprint of the key that signed it, from its header.
    pub kid: String,
    /// What it says.
    pub payload: Payload,
}

/// What an entry says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Payload {
    /// Origin of the log.
    pub iss: String,
    /// The request that it answers.
    pub jti: Uuid,
    /// The writer's clock.
    pub iat: Timestamp,
    /// Who gave the command, on the server's word.
    pub by: OperatorId,
    /// When it was done, if the operator says another time.
    pub at: Option<Timestamp>,
    /// Leaf hash of the newest key entry; absent in entry 0 only.
    pub keys: Option<Hash>,
    /// Its events, in order.
    pub events: Vec<RecordedEvent>,
    /// For each chain that it moves, the leaf hash of the entry before; `None` at its first.
    pub prev: BTreeMap<Uuid, Option<Hash>>,
}

/// An event as it stands in an entry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RecordedEvent {
    /// An event of a kind and version that this program knows.
    Known {
        /// The event.
        event: Event,
        /// The digests of its private members, decoys among them, sorted as their text sorts.
        sd: Vec<Hash>,
    },
    /// A kind or version that this program does not know. It makes an entry neither true nor false: it says that this
    /// program cannot tell.
    Unknown {
        /// The kind.
        kind: String,
        /// The version.
        v: u64,
        /// Its digests.
        sd: Vec<Hash>,
    },
}

impl RecordedEvent {
    /// The event, if its kind and version are known.
    #[must_use]
    pub const fn event(&self) -> Option<&Event> {
        match self {
            Self::Known { event, .. } => Some(event),
            Self::Unknown { .. } => None,
        }
    }

    /// Its kind, as the log spells it.
    #[must_use]
    pub fn kind(&self) -> &str {
        match self {
            Self::Known { event, .. } => event.kind(),
            Self::Unknown { kind, .. } => kind,
        }
    }

    /// Its digests, decoys among them.
    #[must_use]
    pub fn digests(&self) -> &[Hash] {
        match self {
            Self::Known { sd, .. } | Self::Unknown { sd, .. } => sd,
        }
    }
}

impl Entry {
    /// The events whose kind and version are known, in order.
    pub fn events(&self) -> impl Iterator<Item = &Event> {
        self.payload.events.iter().filter_map(RecordedEvent::event)
    }

    /// Whether every event is of a kind and version that this program knows.
    #[must_use]
    pub fn is_understood(&self) -> bool {
        self.payload.events.iter().all(|event| event.event().is_some())
    }

    /// Whether it is about keys: such an entry is signed by the root key and moves the key chain.
    #[must_use]
    pub fn is_key_entry(&self) -> bool {
        self.events().any(is_key_event)
    }
}

/// Whether an event is about keys.
pub(super) const fn is_key_event(event: &Event) -> bool {
    matches!(
        event,
        Event::KeyAdded(_) | Event::KeyRevoked(_) | Event::KeySuspect(_)
    )
}

/// What stands around the events of a payload.
pub(super) struct Frame<'a> {
    pub iss: &'a str,
    pub jti: Uuid,
    pub iat: Timestamp,
    pub by: OperatorId,
    pub at: Option<Timestamp>,
    pub keys: Option<Hash>,
    pub prev: &'a BTreeMap<Uuid, Option<Hash>>,
}

impl Payload {
    /// What stands around its events.
    pub(super) fn frame(&self) -> Frame<'_> {
        Frame {
            iss: &self.iss,
            jti: self.jti,
            iat: self.iat,
            by: self.by,
            at: self.at,
            keys: self.keys,
            prev: &self.prev,
        }
    }
}

/// Writes a payload.
pub(super) fn write_payload<'a>(
    out: &mut Vec<u8>,
    frame: &Frame<'_>,
    events: impl Iterator<Item = (&'a Event, &'a [Hash])>,
) {
    out.extend_from_slice(br#"{"iss":"#);
    write_json(out, frame.iss);
    out.extend_from_slice(br#","jti":"#);
    write_json(out, &frame.jti);
    out.extend_from_slice(br#","iat":"#);
    write_json(out, &frame.iat);
    out.extend_from_slice(br#","by":"#);
    write_json(out, &frame.by);
    if let Some(at) = frame.at {
        out.extend_from_slice(br#","at":"#);
        write_json(out, &at);
    }
    if let Some(keys) = frame.keys {
        out.extend_from_slice(br#","keys":"#);
        write_hash(out, &keys);
    }
    out.extend_from_slice(br#","events":["#);
    let mut any_digest = false;
    for (number, (event, sd)) in events.enumerate() {
        if number > 0 {
            out.push(b',');
        }
        any_digest |= !sd.is_empty();
        write_event(out, event, sd);
    }
    out.extend_from_slice(br#"],"prev":{"#);
    for (number, (subject, leaf)) in frame.prev.iter().enumerate() {
        if number > 0 {
            out.push(b',');
        }
        write_json(out, subject);
        out.push(b':');
        match leaf {
            Some(leaf) => write_hash(out, leaf),
            None => out.extend_from_slice(b"null"),
        }
    }
    out.push(b'}');
    if any_digest {
        out.extend_from_slice(br#","_sd_alg":"sha-256""#);
    }
    out.push(b'}');
}

/// Writes a hash as a JSON string.
pub(super) fn write_hash(out: &mut Vec<u8>, hash: &Hash) {
    out.push(b'"');
    out.extend_from_slice(hash.to_base64url().as_bytes());
    out.push(b'"');
}

/// Writes a value as JSON.
pub(super) fn write_json<T: serde::Serialize + ?Sized>(out: &mut Vec<u8>, value: &T) {
    let written = serde_json::to_writer(out, value);
    assert!(
        written.is_ok(),
        "no value of ours has a key that is not text or a writer that can fail, so JSON can always be written"
    );
}
