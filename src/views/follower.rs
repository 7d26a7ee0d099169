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
use std::collections::{BTreeMap, HashMap};
use std::sync::PoisonError;
use uuid::Uuid;

/// An entry that stands in the log, and the rows that it changed, as they were after it.
#[derive(Clone, Copy)]
pub struct Heard<'a> {
    /// Its index.
    pub index: u64,
    /// Its leaf hash.
    pub leaf: Hash,
    /// What it says.
    pub entry: &'a Entry,
    /// The rows.
    pub rows: &'a [Row],
    /// Rows that it withdrew: only a correction can.
    pub gone: &'a [Touched],
}

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

    /// Takes one entry with the rows that it changed. One that the views already hold changes nothing.
    ///
    /// # Errors
    /// As [`Follower::follow_all`].
    pub fn follow(&mut self, heard: Heard<'_>) -> Result<(), ViewError> {
        self.follow_all(&[heard])
    }

    /// Takes entries that follow one another. A row that several of them changed is written once, as the last left it,
    /// so what a busy turn costs is what it changed in the end.
    ///
    /// # Errors
    /// [`ViewError::OutOfTurn`] when one comes after the entry that is due; [`ViewError::Store`].
    pub fn follow_all(&mut self, told: &[Heard<'_>]) -> Result<(), ViewError> {
        let due = told.iter().skip_while(|told| told.index < self.next);
        let due: Vec<&Heard<'_>> = due.collect();
        for (wanted, told) in (self.next..).zip(&due) {
            if told.index != wanted {
                let found = told.index;
                return Err(ViewError::OutOfTurn { wanted, found });
            }
        }
        if let Some(last) = due.last() {
            self.views.follow(&due)?;
            self.next = last.index.saturating_add(1);
        }
        Ok(())
    }
}

impl Views {
    /// Writes what entries changed, then the position behind the last. Following an entry twice changes nothing.
    fn follow(&self, due: &[&Heard<'_>]) -> Result<(), ViewError> {
        let mut newest: HashMap<(Table, Uuid), u64> = HashMap::new();
        for told in due {
            newest.extend(told.rows.iter().map(|row| (place(row), told.index)));
        }
        let mut chains: BTreeMap<Uuid, (bool, Vec<u64>)> = BTreeMap::new();
        let mut end = self.position();
        for told in due {
            let index = told.index;
            for touched in told.gone {
                self.forget(*touched)?;
            }
            for row in told.rows {
                let is_newest = newest.get(&place(row)) == Some(&index);
                self.write(index, told.entry, row, is_newest)?;
            }
            for (subject, before) in &told.entry.payload.prev {
                let chain = chains.entry(*subject).or_default();
                chain.0 |= before.is_none();
                chain.1.push(index);
            }
            for event in told.entry.events() {
                if let Event::FieldErased(erased) = event {
                    let key = member_key(erased.index, erased.event, &erased.member);
                    self.inner.erased.insert(key, &[])?;
                }
            }
            end = end.max(index.saturating_add(1));
        }
        for (subject, (is_new, entries)) in chains {
            self.lengthen(subject, &entries, is_new)?;
        }
        if let Some(told) = due.last() {
            *self.inner.last.lock().unwrap_or_else(PoisonError::into_inner) = Some(told.leaf);
        }
        self.advance(end);
        Ok(())
    }

    fn write(&self, index: u64, entry: &Entry, row: &Row, is_newest: bool) -> Result<(), ViewError> {
        self.number(row)?;
        match row {
            Row::Lot(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Scale(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Session(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Jar(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Series(row) => {
                if may_be_named(entry, index, row.since) {
                    self.name(b'c', row.code.as_str(), row.as_ref())?;
                }
                self.put(index, entry, row.as_ref(), is_newest)
            }
            Row::Melt(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Piece(row) => {
                if may_be_named(entry, index, row.since) {
                    self.name(b'p', &row.pour, row.as_ref())?;
                }
                for photograph in &row.photographs {
                    for hash in [photograph.photograph, photograph.thumbnail] {
                        // One picture may show several pieces, so each has a name of its own for it.
                        self.name(b'h', &format!("{hash}{}", row.piece), row.as_ref())?;
                    }
                }
                if let Some(serial) = &row.serial {
                    self.name(b's', &serial.to_string(), row.as_ref())?;
                }
                self.put(index, entry, row.as_ref(), is_newest)
            }
            Row::Certificate(row) => {
                let key = subject_key(row.piece.0, &row.issue.to_be_bytes());
                self.inner.issues.insert(key, row.id().as_bytes())?;
                self.put(index, entry, row.as_ref(), is_newest)
            }
            Row::Die(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Consignment(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Order(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Sale(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Refining(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Owner(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Stocktake(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Spot(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Quote(row) => self.put(index, entry, row.as_ref(), is_newest),
            Row::Charge(row) => self.put(index, entry, row.as_ref(), is_newest),
        }
    }

    /// What is counted in the workshop is found by its number as well.
    fn number(&self, row: &Row) -> Result<(), ViewError> {
        match row {
            Row::Lot(row) => self.numbered(row.number, row.as_ref()),
            Row::Melt(row) => self.numbered(row.number, row.as_ref()),
            Row::Consignment(row) => self.numbered(row.number, row.as_ref()),
            Row::Order(row) => self.numbered(row.number, row.as_ref()),
            Row::Sale(row) => self.numbered(row.number, row.as_ref()),
            Row::Refining(row) => self.numbered(row.number, row.as_ref()),
            Row::Stocktake(row) => self.numbered(row.number, row.as_ref()),
            Row::Quote(row) => self.numbered(row.number, row.as_ref()),
            _ => Ok(()),
        }
    }

    fn numbered<T: Tabled>(&self, number: u32, row: &T) -> Result<(), ViewError> {
        self.name(T::TABLE.byte(), &number.to_string(), row)
    }

    fn name<T: Tabled>(&self, kind: u8, name: &str, row: &T) -> Result<(), ViewError> {
        // Looking costs less than writing, and a name is new once only.
        let (key, id) = (name_key(kind, name), row.id());
        if self.inner.names.get(&key)?.as_deref() != Some(id.as_bytes()) {
            self.inner.names.insert(key, id.as_bytes())?;
        }
        Ok(())
    }

    fn put<T: Tabled>(&self, index: u64, entry: &Entry, row: &T, is_newest: bool) -> Result<(), ViewError> {
        let table: Table = T::TABLE;
        let id = row.id();
        if is_newest {
            let body = serde_json::to_vec(row).map_err(|_| ViewError::Unreadable(table.plural()))?;
            self.inner.rows.insert(row_key(table, id), body)?;
        }
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
                let mut told = restated.events.iter();
                told.position(|Told(event)| event.subjects().contains(&id))
            }
            _ => None,
        })?
    };
    Some(u32::try_from(place).unwrap_or(u32::MAX))
}

/// Whether an entry can give or change the name that a thing has from its making: it makes it, or corrects the past.
fn may_be_named(entry: &Entry, index: u64, since: u64) -> bool {
    since == index
        || entry
            .events()
            .any(|event| matches!(event, Event::EntryCorrected(_)))
}

fn place(row: &Row) -> (Table, Uuid) {
    fn of<T: Tabled>(row: &T) -> (Table, Uuid) {
        (T::TABLE, row.id())
    }
    match row {
        Row::Lot(row) => of(row.as_ref()),
        Row::Scale(row) => of(row.as_ref()),
        Row::Session(row) => of(row.as_ref()),
        Row::Jar(row) => of(row.as_ref()),
        Row::Series(row) => of(row.as_ref()),
        Row::Melt(row) => of(row.as_ref()),
        Row::Piece(row) => of(row.as_ref()),
        Row::Certificate(row) => of(row.as_ref()),
        Row::Die(row) => of(row.as_ref()),
        Row::Consignment(row) => of(row.as_ref()),
        Row::Order(row) => of(row.as_ref()),
        Row::Sale(row) => of(row.as_ref()),
        Row::Refining(row) => of(row.as_ref()),
        Row::Owner(row) => of(row.as_ref()),
        Row::Stocktake(row) => of(row.as_ref()),
        Row::Spot(row) => of(row.as_ref()),
        Row::Quote(row) => of(row.as_ref()),
        Row::Charge(row) => of(row.as_ref()),
    }
}
