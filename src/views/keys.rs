//! The keys of the trees: numbers big-endian, so that they sort as numbers.

use crate::proof::Hash;
use uuid::Uuid;

/// Where a row stands in the order of creation: its entry, and the place of its event within the entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cursor {
    /// Index of the entry that made the row.
    pub index: u64,
    /// Place of the event that made it within the entry, from 0.
    pub place: u32,
}

impl Cursor {
    pub(super) fn key(self) -> [u8; 12] {
        let mut key = [0; 12];
        let (index, place) = key.split_at_mut(8);
        index.copy_from_slice(&self.index.to_be_bytes());
        place.copy_from_slice(&self.place.to_be_bytes());
        key
    }

    pub(super) fn from_key(key: &[u8]) -> Option<Self> {
        let (index, place) = key.split_at_checked(8)?;
        Some(Self {
            index: number(index)?,
            place: u32::from_be_bytes(place.try_into().ok()?),
        })
    }

    /// The opaque text that a client gives back to go on.
    #[must_use]
    pub fn to_text(self) -> String {
        use base64::Engine as _;
        base64::engine::general_purpose::URL_SAFE_NO_PAD.encode(self.key())
    }

    /// Reads what [`Cursor::to_text`] wrote; `None` for anything else.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        use base64::Engine as _;
        let key = base64::engine::general_purpose::URL_SAFE_NO_PAD
            .decode(text)
            .ok()?;
        Self::from_key(&key)
    }
}

/// `subject` and then a number: the keys of one subject lie together, in the order of the number.
pub(super) fn subject_key(subject: Uuid, tail: &[u8]) -> Vec<u8> {
    let mut key = subject.as_bytes().to_vec();
    key.extend_from_slice(tail);
    key
}

/// The place of one private member.
pub(super) fn member_key(index: u64, event: u16, member: &str) -> Vec<u8> {
    let mut key = index.to_be_bytes().to_vec();
    key.extend_from_slice(&event.to_be_bytes());
    key.extend_from_slice(member.as_bytes());
    key
}

/// How far was followed, and the leaf hash of the last entry; earlier versions wrote the number alone.
pub(super) fn followed(bytes: &[u8]) -> Option<(u64, Option<Hash>)> {
    let (position, leaf) = bytes.split_at_checked(8)?;
    Some((number(position)?, leaf.try_into().ok().map(Hash)))
}

/// A number of eight bytes, big-endian.
pub(super) fn number(bytes: &[u8]) -> Option<u64> {
    Some(u64::from_be_bytes(bytes.try_into().ok()?))
}

/// An id of sixteen bytes.
pub(super) fn id(bytes: &[u8]) -> Option<Uuid> {
    Uuid::from_slice(bytes).ok()
}
