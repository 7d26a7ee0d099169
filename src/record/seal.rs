//! Sealing: from what was decided to the bytes of an entry, its leaf hash and its disclosures.
//!
//! The cost is close to one signature: every event is written once, straight into the payload.

use super::ENTRY_BYTES_MAX;
use super::disclosure::make_disclosure;
use super::event_form::sort_as_text;
use super::payload::{Entry, Frame, Payload, RecordedEvent, is_key_event, write_payload};
use super::signature::Signer;
use crate::domain::{Draft, Draw, Event, OperatorId, Timestamp};
use crate::proof::{Hash, leaf_hash};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;
use std::sync::Arc;
use uuid::Uuid;

/// What an entry is to say.
#[derive(Debug)]
pub struct Unsealed<'a> {
    /// Origin of the log.
    pub iss: &'a str,
    /// The request that it answers.
    pub jti: Uuid,
    /// The writer's clock.
    pub iat: Timestamp,
    /// Who gave the command.
    pub by: OperatorId,
    /// When it was done, if the operator says another time.
    pub at: Option<Timestamp>,
    /// Leaf hash of the newest key entry.
    pub keys: Option<Hash>,
    /// Its events with their private members, in order.
    pub drafts: &'a [Draft],
    /// For each chain that it moves, the leaf hash of the entry before.
    pub prev: BTreeMap<Uuid, Option<Hash>>,
}

/// An entry, ready to be appended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sealed {
    /// Its bytes.
    pub entry: Arc<[u8]>,
    /// Its leaf hash (RFC 6962).
    pub leaf: Hash,
    /// What it says: what reading its bytes gives.
    pub says: Entry,
    /// The disclosures of its private members, for the vault.
    pub disclosures: Vec<SealedDisclosure>,
}

/// The disclosure of one private member.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SealedDisclosure {
    /// Which event of the entry, from 0.
    pub event: u16,
    /// The member.
    pub member: String,
    /// The disclosure as RFC 9901 has it: base64url of `[salt,name,value]`.
    pub text: String,
}

/// The entry would be longer than an entry may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the entry would have {bytes} bytes, and at most {ENTRY_BYTES_MAX} are allowed: split it")]
pub struct TooLarge {
    /// How long it would be.
    pub bytes: usize,
}

/// Seals an entry. Salts and decoys come from `draw`.
///
/// # Errors
/// [`TooLarge`].
///
/// # Panics
/// If a draft has a private member that its kind does not have, or there are more drafts than can be numbered: bugs of
/// the program.
pub fn seal(unsealed: &Unsealed<'_>, recorder: &Signer, draw: &mut Draw) -> Result<Sealed, TooLarge> {
    let mut disclosures = Vec::new();
    let mut digests = Vec::with_capacity(unsealed.drafts.len());
    for (number, draft) in unsealed.drafts.iter().enumerate() {
        let Ok(number) = u16::try_from(number) else {
            unreachable!("a command names at most 64 subjects, and each gives few events");
        };
        digests.push(conceal(number, draft, draw, &mut disclosures));
    }
    let frame = Frame {
        iss: unsealed.iss,
        jti: unsealed.jti,
        iat: unsealed.iat,
        by: unsealed.by,
        at: unsealed.at,
        keys: unsealed.keys,
        prev: &unsealed.prev,
    };
    let events = unsealed
        .drafts
        .iter()
        .map(|draft| &draft.event)
        .zip(digests.iter().map(Vec::as_slice));
    let entry = sign_payload(&frame, events, recorder)?;
    let events = unsealed.drafts.iter().zip(digests);
    let events = events.map(|(draft, sd)| RecordedEvent::Known {
        event: draft.event.clone(),
        sd,
    });
    let payload = Payload {
        iss: unsealed.iss.to_owned(),
        jti: unsealed.jti,
        iat: unsealed.iat,
        by: unsealed.by,
        at: unsealed.at,
        keys: unsealed.keys,
        events: events.collect(),
        prev: unsealed.prev.clone(),
    };
    Ok(Sealed {
        leaf: leaf_hash(&entry),
        entry: entry.into(),
        says: Entry {
            kid: recorder.kid().to_owned(),
            payload,
        },
        disclosures,
    })
}

/// Makes the disclosures of one event and gives the digests for its `_sd`: sorted, padded with decoys to the count that
/// its kind always has, so that neither order nor number tells what was filled in.
fn conceal(
    number: u16,
    draft: &Draft,
    draw: &mut Draw,
    disclosures: &mut Vec<SealedDisclosure>,
) -> Vec<Hash> {
    let kind = draft.event.kind();
    let slots = Event::digest_slots(kind);
    let allowed = Event::private_members(kind);
    let mut sd = Vec::with_capacity(slots);
    for (member, value) in draft.private.iter() {
        assert!(
            allowed.iter().any(|private| private.name == member),
            "an event has only the private members of its kind: {kind} has no {member}"
        );
        let (text, digest) = make_disclosure(&draw.salt(), member, value);
        sd.push(digest);
        disclosures.push(SealedDisclosure {
            event: number,
            member: member.to_owned(),
            text,
        });
    }
    assert!(
        sd.len() <= slots,
        "a kind has a slot for each of its private members: {kind} has {slots}"
    );
    while sd.len() < slots {
        sd.push(Hash(Sha256::digest(draw.bytes()).into()));
    }
    sort_as_text(&mut sd);
    sd
}

/// Writes a payload and signs it.
fn sign_payload<'a>(
    frame: &Frame<'_>,
    events: impl Iterator<Item = (&'a Event, &'a [Hash])>,
    signer: &Signer,
) -> Result<Vec<u8>, TooLarge> {
    let mut payload = Vec::with_capacity(1024);
    write_payload(&mut payload, frame, events);
    let mut entry = String::with_capacity(signer.header().len() + payload.len().div_ceil(3) * 4 + 88);
    entry.push_str(signer.header());
    entry.push('.');
    URL_SAFE_NO_PAD.encode_string(&payload, &mut entry);
    // A point and the 86 characters of a signature are still to come.
    let bytes = entry.len() + 87;
    if bytes > ENTRY_BYTES_MAX {
        return Err(TooLarge { bytes });
    }
    let signature = signer.sign(entry.as_bytes());
    entry.push('.');
    URL_SAFE_NO_PAD.encode_string(signature, &mut entry);
    Ok(entry.into_bytes())
}

/// What a key entry is to say: one event about a key. It needs no book and no server, so that the root key can stay on
/// another machine.
#[derive(Clone, Debug)]
pub struct KeyEntryDraft<'a> {
    /// Origin of the log.
    pub iss: &'a str,
    /// The request that will bring it.
    pub jti: Uuid,
    /// When it was signed.
    pub iat: Timestamp,
    /// Who signs.
    pub by: OperatorId,
    /// Leaf hash of the newest key entry; `None` for entry 0.
    pub keys: Option<Hash>,
    /// The event about a key.
    pub event: Event,
}

/// Makes a key entry, signed by the root key.
///
/// # Errors
/// [`TooLarge`], which only an endless origin could bring about.
///
/// # Panics
/// If the event is not about a key: a bug of the program.
pub fn seal_key_entry(draft: &KeyEntryDraft<'_>, root: &Signer) -> Result<Vec<u8>, TooLarge> {
    assert!(
        is_key_event(&draft.event),
        "the root key signs nothing but entries about keys"
    );
    let frame = Frame {
        iss: draft.iss,
        jti: draft.jti,
        iat: draft.iat,
        by: draft.by,
        at: None,
        keys: draft.keys,
        prev: &BTreeMap::new(),
    };
    sign_payload(&frame, std::iter::once((&draft.event, [].as_slice())), root)
}
