//! The chain of each subject: which entries it has.
//!
//! A chain is kept in parts of a fixed length, so that one more entry rewrites little however long the chain is. The open
//! part stands under the subject alone; a part that is full is closed: it moves to a key of its own, the subject and its
//! first index. A part says how many entries stand before it, so that a version needs one part and not the whole chain.

use super::keys::{number, subject_key};
use super::{ViewError, Views};
use uuid::Uuid;

/// How many entries one part has.
const PART_MAX: usize = 64;

/// A part of a chain.
#[derive(Debug, Default, PartialEq, Eq)]
struct Part {
    before: u64,
    entries: Vec<u64>,
}

impl Part {
    fn read(bytes: &[u8]) -> Result<Self, ViewError> {
        let mut numbers = bytes.chunks(8).map(number);
        let mut next = || numbers.next().map(|n| n.ok_or(ViewError::Unreadable("chains")));
        let before = next().unwrap_or(Err(ViewError::Unreadable("chains")))?;
        let entries = std::iter::from_fn(next).collect::<Result<_, _>>()?;
        Ok(Self { before, entries })
    }

    fn to_bytes(&self) -> Vec<u8> {
        let numbers = std::iter::once(&self.before).chain(&self.entries);
        numbers.flat_map(|number| number.to_be_bytes()).collect()
    }

    /// How many entries of the chain stand up to `index`.
    fn version_at(&self, index: u64) -> u64 {
        let within = self.entries.partition_point(|entry| *entry <= index);
        let within = u64::try_from(within).unwrap_or(u64::MAX);
        self.before.saturating_add(within)
    }
}

impl Views {
    /// How many entries stand in the chain of a subject: its version. 0 for one that is not known.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn version(&self, subject: Uuid) -> Result<u64, ViewError> {
        self.version_at(subject, u64::MAX)
    }

    /// The version that a subject had once entry `index` stood.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn version_at(&self, subject: Uuid, index: u64) -> Result<u64, ViewError> {
        let open = self.open_part(subject)?;
        if open.entries.first().is_some_and(|first| *first <= index) {
            return Ok(open.version_at(index));
        }
        let closed = self.closed_at(subject, index)?;
        Ok(closed.map_or(0, |(_, part)| part.version_at(index)))
    }

    /// The entries of a subject's chain, oldest first.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn history(&self, subject: Uuid) -> Result<Vec<u64>, ViewError> {
        self.history_from(subject, 0, usize::MAX)
    }

    /// The entries of a subject's chain from index `from` on, oldest first, at most `limit`.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn history_from(&self, subject: Uuid, from: u64, limit: usize) -> Result<Vec<u64>, ViewError> {
        // The open part first: should it be closed meanwhile, its entries are met twice, never not at all.
        let open = self.open_part(subject)?;
        let begin = match self.closed_at(subject, from)? {
            Some((key, _)) => key,
            None => subject_key(subject, &from.to_be_bytes()),
        };
        let end = subject_key(subject, &u64::MAX.to_be_bytes());
        let mut entries: Vec<u64> = Vec::new();
        let mut add = |part: Part| {
            let last = entries.last().copied();
            let new = part.entries.into_iter().filter(|entry| *entry >= from);
            entries.extend(new.filter(|entry| last.is_none_or(|last| *entry > last)));
            entries.len() < limit
        };
        let mut more = true;
        for found in self.inner.chains.range(begin..=end) {
            more = add(Part::read(&found?.1)?);
            if !more {
                break;
            }
        }
        if more {
            add(open);
        }
        entries.truncate(limit);
        Ok(entries)
    }

    /// Adds entries to the end of a chain, oldest first. Those that it has already change nothing. `is_new` says that the
    /// chain begins with the first of them.
    pub(super) fn lengthen(&self, subject: Uuid, entries: &[u64], is_new: bool) -> Result<(), ViewError> {
        let mut open = match is_new {
            true => Part::default(),
            false => self.open_part(subject)?,
        };
        for entry in entries {
            if open.entries.last().is_some_and(|last| last >= entry) {
                continue;
            }
            if open.entries.len() >= PART_MAX {
                let first = open.entries.first().copied().unwrap_or_default();
                let key = subject_key(subject, &first.to_be_bytes());
                self.inner.chains.insert(key, open.to_bytes())?;
                open.before = open.version_at(u64::MAX);
                open.entries.clear();
            }
            open.entries.push(*entry);
        }
        self.inner.chains.insert(subject.as_bytes(), open.to_bytes())?;
        Ok(())
    }

    fn open_part(&self, subject: Uuid) -> Result<Part, ViewError> {
        let found = self.inner.chains.get(subject.as_bytes())?;
        found.map_or_else(|| Ok(Part::default()), |bytes| Part::read(&bytes))
    }

    /// The closed part in which `index` would stand, or the last one before it.
    fn closed_at(&self, subject: Uuid, index: u64) -> Result<Option<(Vec<u8>, Part)>, ViewError> {
        let from = subject_key(subject, &0_u64.to_be_bytes());
        let to = subject_key(subject, &index.to_be_bytes());
        let Some(found) = self.inner.chains.range(from..=to).next_back() else {
            return Ok(None);
        };
        let (key, bytes) = found?;
        Ok(Some((key.to_vec(), Part::read(&bytes)?)))
    }
}
