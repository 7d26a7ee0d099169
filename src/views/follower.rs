//! Following the log: the rows that each entry changed are written whole.
//!
//! Whoever replays or records hands the rows over as they were after the entry, so nothing here knows a rule, and the
//! book is held in memory once.

use super::keys::{Cursor, member_key, subject_key};
use super::lists::order_key;
use super::row::{Table, Tabled};
use super::{ViewError, Views, name_key, row_key};
use crate::domain::{Event, Row, Told, Touched};
use crate::proof::Hash;
use crate::record::Entry;
use uuid::Uuid;

/// The one writer of the views.
pub struct Follower {
    views: Views,
    next: u64,
}

impl Follower {
    /// A follower that goes on where the views end.
    #[must_use]
    pub fn new(views: Views) -> Self {
        let next = views.position();
        Self { views, next }
    }

    /// Index of the entry that is due.
    #[must_use]
    pub const fn next(&self) -> u64 {
        self.next
    }

    /// The views that it writes.
    #[must_use]
    pub const fn views(&self) -> &Views {
        &self.views
    }

    /// Takes one entry with the rows that it changed, and those that it withdrew. One that the views already hold changes nothing.
    ///
    /// # Errors
    /// [`ViewError::OutOfTurn`] when it comes after the entry that is due; [`ViewError::Store`].
    pub fn follow(
        &mut self,
        index: u64,
        leaf: Hash,
        entry: &Entry,
        rows: &[Row],
        gone: &[Touched],
    ) -> Result<(), ViewError> {
        if index > self.next {
            return Err(ViewError::OutOfTurn {
                wanted: self.next,
                found: index,
            });
        }
        if index == self.next {
            self.views.follow(index, leaf, entry, rows, gone)?;
            self.next = index.saturating_add(1);
        }
        Ok(())
    }
}

impl Views {
    /// Writes what one entry changed. Following an entry twice changes nothing.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn follow(
        &self,
        index: u64,
        leaf: Hash,
        entry: &Entry,
        rows: &[Row],
        gone: &[Touched],
    ) -> Result<(), ViewError> {
        for touched in gone {
            self.forget(*touched)?;
        }
        for row in rows {
            self.write(entry, row, index)?;
        }
        for subject in entry.payload.prev.keys() {
            let before = match index.checked_sub(1) {
                Some(before) => self.version_at(*subject, before)?,
                None => 0,
            };
            let key = subject_key(*subject, &index.to_be_bytes());
            let version = before.saturating_add(1);
            self.inner.history.insert(key, &version.to_be_bytes())?;
        }
        for event in entry.events() {
            if let Event::FieldErased(erased) = event {
                let key = member_key(erased.index, erased.event, &erased.member);
                self.inner.erased.insert(key, &[])?;
            }
        }
        self.inner.leaves.insert(index.to_be_bytes(), &leaf.0)?;
        self.advance(index.saturating_add(1).max(self.position()));
        Ok(())
    }

    fn write(&self, entry: &Entry, row: &Row, index: u64) -> Result<(), ViewError> {
        match row {
            Row::Lot(row) => self.put(index, entry, row.as_ref()),
            Row::Scale(row) => self.put(index, entry, row.as_ref()),
            Row::Session(row) => self.put(index, entry, row.as_ref()),
            Row::Jar(row) => self.put(index, entry, row.as_ref()),
            Row::Series(row) => {
                self.name(b'c', row.code.as_str(), row.as_ref())?;
                self.put(index, entry, row.as_ref())
            }
            Row::Melt(row) => self.put(index, entry, row.as_ref()),
            Row::Piece(row) => {
                self.name(b'p', &row.pour, row.as_ref())?;
                if let Some(serial) = &row.serial {
                    self.name(b's', &serial.to_string(), row.as_ref())?;
                }
                self.put(index, entry, row.as_ref())
            }
            Row::Certificate(row) => {
                let key = subject_key(row.piece.0, &row.issue.to_be_bytes());
                self.inner.issues.insert(key, row.id().as_bytes())?;
                self.put(index, entry, row.as_ref())
            }
            Row::Die(row) => self.put(index, entry, row.as_ref()),
            Row::Consignment(row) => self.put(index, entry, row.as_ref()),
            Row::Order(row) => self.put(index, entry, row.as_ref()),
            Row::Sale(row) => self.put(index, entry, row.as_ref()),
            Row::Refining(row) => self.put(index, entry, row.as_ref()),
            Row::Owner(row) => self.put(index, entry, row.as_ref()),
        }
    }

    fn name<T: Tabled>(&self, kind: u8, name: &str, row: &T) -> Result<(), ViewError> {
        self.inner
            .names
            .insert(name_key(kind, name), row.id().as_bytes())?;
        Ok(())
    }

    fn put<T: Tabled>(&self, index: u64, entry: &Entry, row: &T) -> Result<(), ViewError> {
        let table: Table = T::TABLE;
        let id = row.id();
        let body = serde_json::to_vec(row).map_err(|_| ViewError::Unreadable(table.plural()))?;
        self.inner.rows.insert(row_key(table, id), body)?;
        if let Some(place) = made_at(entry, index, row.since(), id) {
            let index = row.since();
            let key = order_key(table.byte(), Cursor { index, place });
            self.inner.order.insert(key, id.as_bytes())?;
            self.inner.kinds.insert(id.as_bytes(), &[table.byte()])?;
        }
        Ok(())
    }

    /// Removes a row that a correction withdrew, and every way to it. Its history stays: that was recorded.
    fn forget(&self, touched: Touched) -> Result<(), ViewError> {
        let (table, id) = Table::of(touched);
        self.inner.rows.remove(row_key(table, id))?;
        self.inner.kinds.remove(id.as_bytes())?;
        for tree in [&self.inner.order, &self.inner.names, &self.inner.issues] {
            for found in tree {
                let (key, value) = found?;
                if value == id.as_bytes() {
                    tree.remove(key)?;
                }
            }
        }
        Ok(())
    }
}

/// Which place in its entry the event has that made a thing: in the entry that is followed or, when that corrects the
/// one in which the thing was made, in what is said instead. `None` where the entry makes nothing of the kind.
fn made_at(entry: &Entry, index: u64, since: u64, id: Uuid) -> Option<u32> {
    let place = if since == index {
        let made = entry.events().position(|event| event.subjects().contains(&id));
        made.unwrap_or(0)
    } else {
        entry.events().find_map(|event| match event {
            Event::EntryCorrected(corrected) => {
                let restated = corrected
                    .entries
                    .iter()
                    .find(|restated| restated.index == since)?;
                restated
                    .events
                    .iter()
                    .position(|Told(event)| event.subjects().contains(&id))
            }
            _ => None,
        })?
    };
    Some(u32::try_from(place).unwrap_or(u32::MAX))
}
