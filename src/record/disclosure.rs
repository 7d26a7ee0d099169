//! Disclosures of RFC 9901: the salted text whose digest stands in an event, made and checked.
//!
//! Deliberately absent: where disclosures are kept, to whom they are shown, and how they are erased.

use super::payload::{Entry, RecordedEvent, write_json};
use crate::domain::{Event, PrivateValue};
use crate::proof::Hash;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeSet;

/// Why disclosures do not belong to an entry. `place` counts the disclosures from 0.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DisclosureFault {
    /// It is not canonical base64url of `[salt,name,value]` with a salt of 128 bits and a value of ours.
    #[error("disclosure {place} is not base64url of a salt, a name and a value: {why}")]
    Form {
        /// Which.
        place: usize,
        /// The fact.
        why: String,
    },
    /// No event of the entry has its digest.
    #[error("disclosure {place} belongs to no event of this entry")]
    Unmatched {
        /// Which.
        place: usize,
    },
    /// It was given before.
    #[error("disclosure {place} was given twice")]
    Twice {
        /// Which.
        place: usize,
    },
    /// Its event has that member already.
    #[error("disclosure {place} gives {member} of an event a second time")]
    Collision {
        /// Which.
        place: usize,
        /// The member.
        member: String,
    },
    /// The kind of its event has no such private member.
    #[error("disclosure {place} gives {member}, which is no private member of {kind}")]
    NotAMember {
        /// Which.
        place: usize,
        /// The member.
        member: String,
        /// The kind.
        kind: String,
    },
    /// Its event is of a kind or version that this program does not know.
    #[error("disclosure {place} belongs to an event that this version does not understand")]
    NotUnderstood {
        /// Which.
        place: usize,
    },
}

/// A private member that was disclosed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Disclosed {
    /// Which event of the entry, from 0.
    pub event: u16,
    /// The member.
    pub member: &'static str,
    /// Its value.
    pub value: PrivateValue,
}

/// The digest of a disclosure: over its base64url text, not over what it encodes (RFC 9901, section 4.2.3).
#[must_use]
pub fn disclosure_digest(text: &str) -> Hash {
    Hash(Sha256::digest(text).into())
}

/// The disclosure of a private member, and its digest.
pub(super) fn make_disclosure(salt: &[u8; 16], member: &str, value: &PrivateValue) -> (String, Hash) {
    let mut json = Vec::with_capacity(64);
    write_json(&mut json, &(URL_SAFE_NO_PAD.encode(salt), member, value));
    let text = URL_SAFE_NO_PAD.encode(json);
    let digest = disclosure_digest(&text);
    (text, digest)
}

/// Opens private members of an entry by the rules of RFC 9901, section 7.1. A digest without a disclosure is withheld or
/// erased or a decoy, and is passed over; a disclosure that does not belong is refused, and with it the whole.
///
/// # Errors
/// The first disclosure that does not belong.
pub fn disclose<T: AsRef<str>>(entry: &Entry, disclosures: &[T]) -> Result<Vec<Disclosed>, DisclosureFault> {
    let mut given = BTreeSet::new();
    let mut opened: Vec<Disclosed> = Vec::with_capacity(disclosures.len());
    for (place, text) in disclosures.iter().enumerate() {
        let text = text.as_ref();
        let digest = disclosure_digest(text);
        if !given.insert(digest) {
            return Err(DisclosureFault::Twice { place });
        }
        let (event, kind) = find_event(entry, &digest, place)?;
        let (member, value) = read_disclosure(text).map_err(|why| DisclosureFault::Form { place, why })?;
        let Some(private) = Event::private_members(kind)
            .iter()
            .find(|private| private.name == member)
        else {
            return Err(DisclosureFault::NotAMember {
                place,
                member,
                kind: kind.to_owned(),
            });
        };
        if opened
            .iter()
            .any(|other| other.event == event && other.member == private.name)
        {
            return Err(DisclosureFault::Collision { place, member });
        }
        opened.push(Disclosed {
            event,
            member: private.name,
            value,
        });
    }
    Ok(opened)
}

/// The event that has the digest.
fn find_event<'a>(entry: &'a Entry, digest: &Hash, place: usize) -> Result<(u16, &'a str), DisclosureFault> {
    let mut numbered = (0_u16..).zip(&entry.payload.events);
    match numbered.find(|(_, event)| event.digests().contains(digest)) {
        None => Err(DisclosureFault::Unmatched { place }),
        Some((_, RecordedEvent::Unknown { .. })) => Err(DisclosureFault::NotUnderstood { place }),
        Some((number, recorded)) => Ok((number, recorded.kind())),
    }
}

fn read_disclosure(text: &str) -> Result<(String, PrivateValue), String> {
    let json = URL_SAFE_NO_PAD
        .decode(text)
        .map_err(|_| "it is not canonical base64url".to_owned())?;
    let (salt, member, value): (String, String, PrivateValue) =
        serde_json::from_slice(&json).map_err(|error| error.to_string())?;
    match URL_SAFE_NO_PAD.decode(&salt) {
        Ok(salt) if salt.len() == 16 => Ok((member, value)),
        _ => Err("its salt is not 128 bits in base64url".to_owned()),
    }
}
