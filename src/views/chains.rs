//! The chain of each subject: which entries it has.
//!
//! A chain is kept in parts of a fixed length, so that one more entry rewrites little however long the chain is. The open
//! part stands beside the subject's row; a part that is full is closed: it moves to a key of its own, the subject and its
//! number. A part says how many entries stand before it, so that a version needs one part and not the whole chain.

use super::draft::Draft;
use super::follower::Moved;
use super::keys::{Aspect, Home, number, part_key};
use super::{ViewError, Views};
use uuid::Uuid;

/// How many entries one part has.
const PART_MAX: u64 = 64;

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

    /// How many closed parts stand before it.
    const fn closed_before(&self) -> u64 {
        self.before / PART_MAX
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
        let closed = self.closed_at(subject, &open, index)?;
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
        // The open part first: all parts before it are closed, and stay as they are.
        let open = self.open_part(subject)?;
        let first = self.closed_at(subject, &open, from)?.map_or(0, |(part, _)| part);
        let mut entries: Vec<u64> = Vec::new();
        let mut add = |part: Part| {
            entries.extend(part.entries.into_iter().filter(|entry| *entry >= from));
            entries.len() < limit
        };
        let mut more = true;
        for part in first..open.closed_before() {
            more = add(self.closed(subject, part)?);
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

    fn open_part(&self, subject: Uuid) -> Result<Part, ViewError> {
        let found = self.at_home(subject, Aspect::Chain, |_| true)?;
        found.map_or_else(|| Ok(Part::default()), |(_, bytes)| Part::read(&bytes))
    }

    fn closed(&self, subject: Uuid, part: u64) -> Result<Part, ViewError> {
        let found = self.inner.shelf.find(&part_key(subject, part))?;
        Part::read(&found.ok_or(ViewError::Unreadable("chains"))?)
    }

    /// The closed part in which `index` would stand, or the last one before it, with its number.
    fn closed_at(&self, subject: Uuid, open: &Part, index: u64) -> Result<Option<(u64, Part)>, ViewError> {
        let (mut found, mut from, mut end) = (None, 0, open.closed_before());
        while from < end {
            let middle = from.midpoint(end);
            let part = self.closed(subject, middle)?;
            if part.entries.first().is_some_and(|first| *first <= index) {
                found = Some((middle, part));
                from = middle.saturating_add(1);
            } else {
                end = middle;
            }
        }
        Ok(found)
    }
}

impl Draft<'_> {
    /// Adds entries to the end of a chain. Those that it has already change nothing.
    pub(super) fn lengthen(&mut self, subject: Uuid, moved: &Moved) -> Result<(), ViewError> {
        let Moved { entries, is_new } = moved;
        let home = match self.home(subject)? {
            Some(home) => home,
            None => {
                let home = Home {
                    table: Home::NEVER,
                    since: entries.first().copied().unwrap_or_default(),
                };
                self.house(subject, home)?;
                home
            }
        };
        let key = home.key(subject, Aspect::Chain);
        let mut open = Part::default();
        if !*is_new && let Some(bytes) = self.find(&key)? {
            open = Part::read(&bytes)?;
        }
        for entry in entries {
            if open.entries.last().is_some_and(|last| last >= entry) {
                continue;
            }
            let end = open.version_at(u64::MAX);
            if end.saturating_sub(open.before) >= PART_MAX {
                self.put(&part_key(subject, open.closed_before()), &open.to_bytes());
                open.before = end;
                open.entries.clear();
            }
            open.entries.push(*entry);
        }
        self.put(&key, &open.to_bytes());
        Ok(())
    }
}
