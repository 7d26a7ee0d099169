//! The keys of the records: a byte for what they tell, and numbers big-endian, so that they sort as numbers.

use crate::proof::Hash;
use std::ops::Bound;
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

/// What is told of a thing stands under its table and the entry that made it: things that one entry made lie together.
const THING: u8 = b't';
/// Where a thing has its place stands under its id.
const HOME: u8 = b'i';
/// What a name names.
const NAME: u8 = b'n';
/// The certificates of a piece.
const ISSUE: u8 = b'c';
/// A part of a chain that is full.
const PART: u8 = b'p';
/// A private member that was erased.
const ERASED: u8 = b'e';
/// How long the key of a thing is, and how much of it is that of the sheet of the entry that made it.
const THING_LENGTH: usize = 27;
const THING_SHEET: usize = 10;

/// How much of a key is that of the sheet in which its record is.
pub(super) fn sheet_length(key: &[u8]) -> usize {
    let is_thing = key.first() == Some(&THING) && key.len() == THING_LENGTH;
    if is_thing { THING_SHEET } else { key.len() }
}

/// What is told of a thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Aspect {
    /// Its row.
    Row,
    /// The open part of its chain.
    Chain,
    /// The place of the event that made it within the entry.
    Place,
}

/// Where a thing stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Home {
    /// The byte of its table.
    pub table: u8,
    /// The entry that made it.
    pub since: u64,
}

impl Home {
    /// In place of a table: what has no row any more, and what has a chain and never had a row. `since` is then the entry
    /// that brought it there.
    pub const WITHDRAWN: u8 = u8::MAX;
    pub const NEVER: u8 = 0;

    /// The beginning of the keys of all that stand there.
    fn sheet(self) -> [u8; THING_SHEET] {
        let mut key = [THING; THING_SHEET];
        let (head, since) = key.split_at_mut(2);
        head.copy_from_slice(&[THING, self.table]);
        since.copy_from_slice(&self.since.to_be_bytes());
        key
    }

    /// The key of what is told of one thing.
    pub fn key(self, id: Uuid, aspect: Aspect) -> [u8; THING_LENGTH] {
        let mut key = [0; THING_LENGTH];
        let (sheet, within) = key.split_at_mut(THING_SHEET);
        sheet.copy_from_slice(&self.sheet());
        let (of, told) = within.split_at_mut(16);
        of.copy_from_slice(id.as_bytes());
        told.copy_from_slice(&[match aspect {
            Aspect::Row => 0,
            Aspect::Chain => 1,
            Aspect::Place => 2,
        }]);
        key
    }

    /// What a key is of: the entry that made the thing, its id, and what is told.
    pub fn of(key: &[u8]) -> Option<(u64, Uuid, Aspect)> {
        let (since, within) = key.get(2..)?.split_at_checked(8)?;
        let (of, told) = within.split_at_checked(16)?;
        let aspect = match told {
            [0] => Aspect::Row,
            [1] => Aspect::Chain,
            [2] => Aspect::Place,
            _ => return None,
        };
        Some((number(since)?, id(of)?, aspect))
    }

    pub fn to_bytes(self) -> [u8; 9] {
        let mut bytes = [self.table; 9];
        let (_, since) = bytes.split_at_mut(1);
        since.copy_from_slice(&self.since.to_be_bytes());
        bytes
    }

    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (table, since) = bytes.split_first()?;
        Some(Self {
            table: *table,
            since: number(since)?,
        })
    }
}

/// The key under which it stands where a thing has its place.
pub(super) fn home_key(id: Uuid) -> [u8; 17] {
    subject_key(HOME, id)
}

/// The beginning of the keys of all that is kept under a subject.
fn subject_key(kind: u8, subject: Uuid) -> [u8; 17] {
    let mut key = [kind; 17];
    let (_, id) = key.split_at_mut(1);
    id.copy_from_slice(subject.as_bytes());
    key
}

/// The keys of one table from an entry on, and where they end.
pub(super) fn things(table: u8, since: u64) -> (Bound<Vec<u8>>, Vec<u8>) {
    let from = Home { table, since }.sheet();
    (
        Bound::Included(from.to_vec()),
        vec![THING, table.saturating_add(1)],
    )
}

/// The key of a full part of a chain: they are counted from 0.
pub(super) fn part_key(subject: Uuid, part: u64) -> Vec<u8> {
    [subject_key(PART, subject).as_slice(), &part.to_be_bytes()].concat()
}

/// The beginning of the keys of all certificates, or of those of one piece.
pub(super) fn issues(piece: Option<Uuid>) -> Vec<u8> {
    piece.map_or(vec![ISSUE], |piece| subject_key(ISSUE, piece).to_vec())
}

/// The key of one certificate of a piece.
pub(super) fn issue_key(piece: Uuid, issue: u32) -> Vec<u8> {
    [issues(Some(piece)).as_slice(), &issue.to_be_bytes()].concat()
}

/// The key of a name.
pub(super) fn name_key(kind: u8, name: &str) -> Vec<u8> {
    [&[NAME, kind], name.as_bytes()].concat()
}

/// The beginning of the keys of all names.
pub(super) fn names() -> Vec<u8> {
    vec![NAME]
}

/// The place of one private member.
pub(super) fn member_key(index: u64, event: u16, member: &str) -> Vec<u8> {
    let place = [index.to_be_bytes().as_slice(), &event.to_be_bytes()].concat();
    [&[ERASED], place.as_slice(), member.as_bytes()].concat()
}

/// How far was followed, and the leaf hash of the last entry.
pub(super) fn followed(bytes: &[u8]) -> Option<(u64, Option<Hash>)> {
    let (position, leaf) = bytes.split_at_checked(8)?;
    Some((number(position)?, leaf.try_into().ok().map(Hash)))
}

/// As [`followed`] reads it.
pub(super) fn followed_bytes(position: u64, last: Option<Hash>) -> Vec<u8> {
    let leaf = last.iter().flat_map(|leaf| leaf.0);
    position.to_be_bytes().into_iter().chain(leaf).collect()
}

/// A number of eight bytes, big-endian.
pub(super) fn number(bytes: &[u8]) -> Option<u64> {
    Some(u64::from_be_bytes(bytes.try_into().ok()?))
}

/// A place within an entry.
pub(super) fn place(bytes: &[u8]) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.try_into().ok()?))
}

/// An id of sixteen bytes.
pub(super) fn id(bytes: &[u8]) -> Option<Uuid> {
    Uuid::from_slice(bytes).ok()
}
